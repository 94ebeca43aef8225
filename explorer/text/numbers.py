"""Numbers as text: the digits depend on the spread, and a narrow space separates number and unit.

The user has three choices of unit (`Units`): thrust in grams or newtons, propellers in inches or millimetres,
temperature in Celsius or Fahrenheit. Every other quantity has one unit. The arguments are results in SI units.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from propmodel.base.units import CELSIUS_ZERO, GRAM, GRAM_FORCE, INCH, KMH, MAH, MILLIOHM, MINUTE, MM, RPM

__all__ = [
    "MINUS",
    "MISSING",
    "NARROW",
    "QUANTITIES",
    "Quantity",
    "Units",
    "band",
    "change",
    "decimals_for",
    "lowered",
    "number",
    "percent_change",
    "prose",
    "quantity_of",
    "spread",
    "thousands",
    "two_digits",
    "value",
]

NARROW = "\u202f"
"""Narrow no-break space: between number and unit, and between thousands from 10 000 on."""
MINUS = "\u2212"
MISSING = "\u2013"
"""Text for a missing number; the reason is given in words beside it."""


@dataclass(frozen=True)
class Units:
    """Units selected by the user."""

    thrust: Literal["g", "N"] = "g"
    propeller: Literal["in", "mm"] = "in"
    temperature: Literal["C", "F"] = "C"


@dataclass(frozen=True)
class Quantity:
    """Format of one kind of number.

    Parameters
    ----------
    unit : str
        Unit as displayed.
    scale, offset : float
        Displayed value = SI / scale + offset.
    steps : tuple of (limit, step)
        Below ``limit`` (displayed unit) the number is a multiple of ``step``; the last limit is infinite.
    more, less : str
        Words for an increase and a decrease.
    """

    unit: str
    scale: float
    steps: tuple[tuple[float, float], ...]
    more: str = "more"
    less: str = "less"
    offset: float = 0.0


_ALL = math.inf
QUANTITIES: dict[str, Quantity] = {
    "minutes": Quantity("min", MINUTE, ((10, 0.1), (_ALL, 1)), "longer", "shorter"),
    "seconds": Quantity("s", 1.0, ((1, 0.01), (10, 0.1), (_ALL, 1)), "slower", "quicker"),
    "thrust_to_weight": Quantity("times", 1.0, ((_ALL, 0.1),), "more", "less"),
    "thrust": Quantity("g", GRAM_FORCE, ((1000, 5), (_ALL, 10)), "more", "less"),
    "mass": Quantity("g", GRAM, ((_ALL, 1),), "heavier", "lighter"),
    "current": Quantity("A", 1.0, ((10, 0.1), (_ALL, 1)), "more", "less"),
    "power": Quantity("W", 1.0, ((_ALL, 1),), "more", "less"),
    "energy": Quantity("Wh", 3600.0, ((10, 0.1), (_ALL, 1)), "more", "less"),
    "percent": Quantity("%", 0.01, ((_ALL, 1),), "higher", "lower"),
    "charge": Quantity("mAh", MAH, ((_ALL, 10),), "more", "less"),
    "cell_voltage": Quantity("V", 1.0, ((_ALL, 0.01),), "higher", "lower"),
    "pack_voltage": Quantity("V", 1.0, ((_ALL, 0.1),), "higher", "lower"),
    "rpm": Quantity("rpm", RPM, ((_ALL, 100),), "faster", "slower"),
    "kv": Quantity("KV", 1.0, ((_ALL, 10),), "faster", "slower"),
    "distance": Quantity("m", 1.0, ((_ALL, 1),), "higher", "lower"),
    "range": Quantity("km", 1000.0, ((10, 0.1), (_ALL, 1)), "farther", "nearer"),
    "speed": Quantity("m/s", 1.0, ((10, 0.1), (_ALL, 1)), "faster", "slower"),
    "road_speed": Quantity("km/h", KMH, ((_ALL, 1),), "faster", "slower"),
    "temperature": Quantity("\u00b0C", 1.0, ((_ALL, 1),), "hotter", "cooler", -CELSIUS_ZERO),
    "warming": Quantity("\u00b0C", 1.0, ((_ALL, 1),), "hotter", "cooler"),
    "propeller": Quantity("in", INCH, ((_ALL, 0.1),), "larger", "smaller"),
    "resistance": Quantity("m\u03a9", MILLIOHM, ((10, 0.1), (_ALL, 1)), "higher", "lower"),
    "grams_per_watt": Quantity("g/W", GRAM_FORCE, ((_ALL, 0.1),), "thriftier", "thirstier"),
    "load": Quantity("g", 1.0, ((_ALL, 0.1),), "harder", "softer"),
    "angle": Quantity("\u00b0", math.pi / 180.0, ((_ALL, 1),), "steeper", "flatter"),
    "money": Quantity("", 1.0, ((10, 0.1), (_ALL, 1)), "dearer", "cheaper"),
    "count": Quantity("", 1.0, ((_ALL, 1),)),
}
"""Kind of number -> its format, for all kinds on the pages. Arguments of `value` are in SI units."""

_CHOSEN: dict[tuple[str, str], Quantity] = {
    ("thrust", "N"): Quantity("N", 1.0, ((10, 0.1), (_ALL, 1)), "more", "less"),
    ("grams_per_watt", "N"): Quantity("N/W", 1.0, ((_ALL, 0.001),), "thriftier", "thirstier"),
    ("propeller", "mm"): Quantity("mm", MM, ((_ALL, 1),), "larger", "smaller"),
    ("temperature", "F"): Quantity("\u00b0F", 5.0 / 9.0, ((_ALL, 1),), "hotter", "cooler", 32.0 - CELSIUS_ZERO * 1.8),
    ("warming", "F"): Quantity("\u00b0F", 5.0 / 9.0, ((_ALL, 1),), "hotter", "cooler"),
}
_KILOGRAMS = Quantity("kg", 1.0, ((_ALL, 0.01),), "heavier", "lighter")
_KILOGRAMS_OF_FORCE = Quantity("kg", 1000.0 * GRAM_FORCE, ((_ALL, 0.01),), "more", "less")
_PLAIN = Units()


def quantity_of(kind: str, units: Units = _PLAIN, *, largest: float = 0.0) -> Quantity:
    """Return the format of a kind of number in the selected units.

    Parameters
    ----------
    kind : str
        Key of `QUANTITIES`.
    units : Units
        Units selected by the user.
    largest : float
        Largest value shown together with this one; from 2 kg on, mass and thrust are in kg. [SI]

    Returns
    -------
    Quantity
        Unit, scale and steps.

    Examples
    --------
    >>> quantity_of("mass", largest=2.8).unit, quantity_of("mass", largest=0.69).unit
    ('kg', 'g')
    """
    choice = {
        "thrust": units.thrust,
        "grams_per_watt": units.thrust,
        "propeller": units.propeller,
        "temperature": units.temperature,
        "warming": units.temperature,
    }.get(kind, "")
    found = _CHOSEN.get((kind, choice), QUANTITIES[kind])
    if found.unit == "g" and kind in ("mass", "thrust") and abs(largest) / found.scale >= 2000.0:
        return _KILOGRAMS if kind == "mass" else _KILOGRAMS_OF_FORCE
    return found


def decimals_for(step: float) -> int:
    """Return the number of decimals of a step: 2 for 0.05, 0 for 10.

    Examples
    --------
    >>> decimals_for(0.1), decimals_for(5), decimals_for(0.01)
    (1, 0, 2)
    """
    return max(0, -math.floor(math.log10(step) + 1e-9)) if step < 1 else 0


def number(displayed: float, step: float = 1.0) -> str:
    """Return a number rounded to a step, with a minus sign (U+2212) and spaced thousands from 10 000.

    Parameters
    ----------
    displayed : float
        Value in the displayed unit.
    step : float
        The result is a multiple of it, in the same unit.

    Returns
    -------
    str
        `MISSING` for NaN and infinity.

    Examples
    --------
    >>> number(-3.26, 0.1), number(29612.0, 100.0), number(9612.0, 100.0)
    ('\u22123.3', '29\u202f600', '9600')
    """
    if not math.isfinite(displayed):
        return MISSING
    # halves are rounded away from zero; the small increment corrects binary errors, as of 0.35 / 0.1
    rounded = math.copysign(math.floor(abs(displayed) / step + 0.5 + 1e-9) * step, displayed)
    text = f"{abs(rounded):.{decimals_for(step)}f}"
    whole, point, fraction = text.partition(".")
    if len(whole) >= 5:
        whole = f"{int(whole):,}".replace(",", NARROW)
    sign = MINUS if rounded < 0 and float(text) != 0.0 else ""
    return f"{sign}{whole}{point}{fraction}"


def two_digits(displayed: float) -> str:
    """Return a number to two digits: near its best a curve is so flat that a third digit means nothing.

    Examples
    --------
    >>> two_digits(1452.0), two_digits(497.0), two_digits(10030.0)
    ('1500', '500', '10\u202f000')
    """
    return number(float(f"{displayed:.2g}")) if math.isfinite(displayed) else number(displayed)


_UNITS = "%|g|kg|mm|cm|m|in|W|Wh|A|V|s|N|KV|mAh|rpm|km/h|m/s|\u00b0C|cells?|times"


def prose(text: str, gap: str = "\u00a0") -> str:
    """Format a sentence of `propmodel` for the screen: degrees, thousands, minus sign, and no break before a unit.

    Parameters
    ----------
    text : str
        Plain text without HTML or formulas.
    gap : str
        Space between number and unit.

    Returns
    -------
    str
        The formatted sentence.

    Examples
    --------
    >>> prose("It turns 49,000 rpm at -4 C.", " ")
    'It turns 49\u202f000 rpm at \u22124 \u00b0C.'
    >>> prose("1,650 mAh or 11000 KV", " ")
    '1650 mAh or 11\u202f000 KV'
    """
    text = thousands(text)
    text = re.sub(r"(?<=\d) C(?![\w^'])", " \u00b0C", text)
    text = re.sub(r"(?<![\w.)])-(?=\d)", MINUS, text)
    return re.sub(rf"(?<=\d) (?=(?:{_UNITS})(?![\w^]))", gap, text)


def thousands(text: str) -> str:
    """Space the thousands of the numbers in a text, as `number` does; the rest of a formula is unchanged.

    Examples
    --------
    >>> thousands("1,650 mAh x 24,200 rpm - 3")
    '1650 mAh x 24\u202f200 rpm - 3'
    """
    return re.sub(r"(?<![\w.])(\d{1,3}(?:,\d{3})+|\d{5,})(?![\w,.]\d)", _spaced, text)


def _spaced(found: re.Match[str]) -> str:
    return number(float(found[0].replace(",", "")))


def lowered(sentence: str) -> str:
    """Return a sentence for use after a colon: with a small first letter, except for an abbreviation such as ESC.

    Examples
    --------
    >>> lowered("A punch pulls it down."), lowered("ESC and motors part."), lowered("108 A flow.")
    ('a punch pulls it down.', 'ESC and motors part.', '108 A flow.')
    """
    word = sentence.split(" ")[0]
    return sentence if len(word) > 1 and word[:2].isupper() else sentence[:1].lower() + sentence[1:]


def _step(quantity: Quantity, displayed: float, width: float) -> float:
    """Return the step of the last digit: from the value, and at least a tenth of the width of the band."""
    size = abs(displayed)
    step = quantity.steps[-1][1]
    for limit, candidate in quantity.steps:
        # 9.97 min would be rounded to "10.0 min": use the rounded value
        if size + 0.5 * candidate < limit:
            step = candidate
            break
    if math.isfinite(width) and width > 0:
        while step * 10 <= width / 10 * (1 + 1e-9):
            step *= 10
    return step


def _in_unit(quantity: Quantity, si: float) -> float:
    return si / quantity.scale + quantity.offset


def _with_unit(text: str, unit: str) -> str:
    if not unit or text == MISSING:
        return text
    gap = "" if unit == "\u00b0" else NARROW
    return f"{text}{gap}{unit}"


def value(
    kind: str,
    si: float,
    units: Units = _PLAIN,
    *,
    low: float | None = None,
    high: float | None = None,
    unit: bool = True,
) -> str:
    """Format one result.

    Parameters
    ----------
    kind : str
        Key of `QUANTITIES`.
    si : float
        The result. [SI units]
    units : Units
        Units selected by the user.
    low, high : float, optional
        Ends of its band; the step of the last digit is then at least a tenth of its width. [SI units]
    unit : bool
        Whether to write the unit.

    Returns
    -------
    str
        The number, with its unit if ``unit`` is True.

    Examples
    --------
    >>> value("minutes", 228.0), value("mass", 0.69), value("mass", 2.8)
    ('3.8\u202fmin', '690\u202fg', '2.80\u202fkg')
    >>> value("temperature", 285.15, Units(temperature="F"))
    '54\u202f\u00b0F'
    """
    quantity = quantity_of(kind, units, largest=_largest(si, low, high))
    displayed = _in_unit(quantity, float(si))
    text = number(displayed, _step(quantity, displayed, _width(quantity, low, high)))
    return _with_unit(text, quantity.unit) if unit else text


def _largest(*values: float | None) -> float:
    return max((abs(v) for v in values if v is not None and math.isfinite(v)), default=0.0)


def _width(quantity: Quantity, low: float | None, high: float | None) -> float:
    if low is None or high is None:
        return math.nan
    return abs(high - low) / quantity.scale


def spread(kind: str, low: float, high: float, units: Units = _PLAIN, *, unit: bool = False) -> str:
    """Format a band: "3.2 to 4.4".

    Parameters
    ----------
    kind : str
        Key of `QUANTITIES`.
    low, high : float
        Ends of the band. [SI units]
    units : Units
        Units selected by the user.
    unit : bool
        Whether to write the unit, once, at the end.

    Returns
    -------
    str
        Both ends in the same unit, with the same number of decimals.

    Examples
    --------
    >>> spread("minutes", 192.0, 264.0)
    '3.2 to 4.4'
    >>> spread("minutes", 1200.0, 1680.0, unit=True)
    '20 to 28\u202fmin'
    """
    quantity = quantity_of(kind, units, largest=_largest(low, high))
    a, b = _in_unit(quantity, float(low)), _in_unit(quantity, float(high))
    if not (math.isfinite(a) and math.isfinite(b)):
        return MISSING
    a, b = min(a, b), max(a, b)
    # both ends have the decimals of the upper end
    step = _step(quantity, max(abs(a), abs(b)), b - a)
    first, second = number(a, step), number(b, step)
    text = first if first == second else f"{first} to {second}"
    return _with_unit(text, quantity.unit) if unit else text


def band(kind: str, si: float, low: float, high: float, units: Units = _PLAIN) -> str:
    """Format a result with its band, all in SI units: "3.8 min (3.2 to 4.4)".

    Examples
    --------
    >>> band("minutes", 228.0, 192.0, 264.0)
    '3.8\u202fmin (3.2 to 4.4)'
    """
    if not all(math.isfinite(float(x)) for x in (si, low, high)):
        return value(kind, si, units)
    # one unit and one step for the value and both ends
    largest = _largest(si, low, high)
    quantity = quantity_of(kind, units, largest=largest)
    displayed = [_in_unit(quantity, float(x)) for x in (si, low, high)]
    step = _step(quantity, max(abs(x) for x in displayed), abs(displayed[2] - displayed[1]))
    mid, first, second = (number(x, step) for x in (displayed[0], *sorted(displayed[1:])))
    text = _with_unit(mid, quantity.unit)
    return text if first == second else f"{text} ({first} to {second})"


def percent_change(new: float, old: float) -> str:
    """Return the magnitude of a relative change in whole per cent; the caller adds the direction in words.

    Examples
    --------
    >>> percent_change(84.0, 100.0), percent_change(116.4, 100.0)
    ('16\u202f%', '16\u202f%')
    """
    if not (math.isfinite(new) and math.isfinite(old)) or old == 0:
        return MISSING
    return _with_unit(number(abs(new / old - 1.0) * 100.0, 1.0), "%")


def change(kind: str, new: float, old: float, units: Units = _PLAIN) -> str:
    """Return the difference between a result and that of the pinned build, as an amount and a word.

    Parameters
    ----------
    kind : str
        Key of `QUANTITIES`.
    new, old : float
        Values of the current and the pinned build. [SI units]
    units : Units
        Units selected by the user.

    Returns
    -------
    str
        "0.6 min longer", "5 degrees hotter"; "the same" if both have the same text.

    Examples
    --------
    >>> change("minutes", 264.0, 228.0)
    '0.6\u202fmin longer'
    >>> change("thrust_to_weight", 6.2, 7.2)
    '1.0 less'
    >>> change("money", 12.0, 12.0)
    'the same'
    """
    if not (math.isfinite(new) and math.isfinite(old)):
        return MISSING
    quantity = quantity_of(kind, units, largest=_largest(new, old))
    a, b = _in_unit(quantity, float(new)), _in_unit(quantity, float(old))
    step = _step(quantity, max(abs(a), abs(b)), math.nan)
    # the difference of the rounded values, so that it agrees with the displayed numbers
    difference = (math.floor(a / step + 0.5 + 1e-9) - math.floor(b / step + 0.5 + 1e-9)) * step
    if difference == 0:
        return "the same"
    text = number(abs(difference), step)
    unit = "" if quantity.unit == "times" else quantity.unit
    return f"{_with_unit(text, unit)} {quantity.more if difference > 0 else quantity.less}"
