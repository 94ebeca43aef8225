"""Ranges of parts: sizes sold, entered ranges, ranges around a build. Pure functions."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from explorer.inputs import CHEMISTRY_NAMES, FIELDS, Inputs
from explorer.text.numbers import number
from propmodel.base.units import GRAM, INCH, MAH, MM
from propmodel.studies.sensitivity import InputStep

__all__ = [
    "CELLS_SOLD",
    "LISTED",
    "MOST",
    "PRICE",
    "RANGES",
    "STATORS_SOLD",
    "RangeError",
    "TriedRange",
    "Values",
    "around",
    "dropped_by",
    "example",
    "inside",
    "many",
    "next_sold",
    "read_chemistries",
    "read_range",
    "read_stators",
    "span_text",
    "stator_text",
]

MOST = 2_000_000
"""Largest number of combinations of one sweep, which takes about 300 MB and 10 s. [-]"""
PRICE = "price"
"""Name of the result that is the sum of the price columns of the lists."""


class RangeError(ValueError):
    """An invalid range or list; the text is one sentence for the screen."""


# ---- sizes sold -------------------------------------------------------------------------------------------
# Sizes sold: common practice, from memory.


def _steps(*parts_: tuple[float, float, float]) -> tuple[float, ...]:
    """Return the steps of consecutive (first, last, step) pieces; the last value of a piece begins the next one."""
    found = [round(a + k * step, 3) for a, b, step in parts_ for k in range(round((b - a) / step))]
    return (*found, parts_[-1][1])


KV_SOLD = _steps((100, 600, 20), (600, 3000, 50), (3000, 6000, 100), (6000, 12000, 500), (12000, 30000, 1000))
DIAMETERS_SOLD = (1.2, 1.6, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 4.8, 5.0, 5.1, 5.2, 5.5, 6.0, 6.5, 7.0, 7.5, 8.0, 8.5, 9.0,
                  9.5, 10.0, 11.0, 12.0, 13.0, 14.0, 15.0, 16.0, 17.0, 18.0)  # fmt: skip
PITCHES_SOLD = _steps((0.8, 6.0, 0.1), (6.0, 12.0, 0.5))
CAPACITIES_SOLD = (300, 450, 550, 650, 750, 850, 1050, 1100, 1300, 1400, 1550, 1800, 2000, 2200, 2600, 3000, 3300, 4000,
                   4500, 5000, 6000, 7000, 8000, 10000, 12000, 16000, 22000)  # fmt: skip
STATORS_SOLD = tuple(
    (d, h)
    for d, heights in {
        8: (2,), 10: (2,), 11: (3, 4), 12: (4,), 13: (3, 3.5), 14: (4,), 15: (5, 7), 16: (4,), 18: (4,), 20: (4, 5),
        22: (4, 5, 6, 7, 8), 23: (6, 6.5, 7), 24: (7, 8), 25: (6, 7, 8), 26: (8,), 28: (6.5, 7, 8, 10, 12),
        31: (10, 15), 35: (8, 10), 40: (6, 8, 10), 41: (14,), 50: (8, 10),
    }.items()
    for h in heights
)  # fmt: skip


CELLS_SOLD = (1, 2, 3, 4, 6, 8, 12)
"""Common numbers of cells; packs of five and seven cells are rare."""


@dataclass(frozen=True)
class TriedRange:
    """One field or pair of fields that can have a range.

    Parameters
    ----------
    name : str
        Field of `Inputs`; "stator" for the two stator sizes.
    path : str
        Dotted field of the build.
    words, several, unit : str
        As displayed: for one value and for several.
    scale : float
        SI value over entered value.
    sold : tuple of float
        Sizes sold.
    kind : str
        Kind of part list that replaces it.
    """

    name: str
    path: str
    words: str
    several: str
    unit: str
    scale: float
    sold: tuple[float, ...]
    kind: str


RANGES: dict[str, TriedRange] = {
    r.name: r
    for r in (
        TriedRange("kv", "motor.kv", "KV", "KV values", "", 1.0, KV_SOLD, "motors"),
        TriedRange("stator", "stator", "Stator", "Stators", "", MM, (), "motors"),
        TriedRange(
            "diameter_in", "propeller.diameter", "Diameter", "Diameters", "in", INCH, DIAMETERS_SOLD, "propellers"
        ),
        TriedRange("pitch_in", "propeller.pitch", "Pitch", "Pitches", "in", INCH, PITCHES_SOLD, "propellers"),
        TriedRange("blades", "propeller.blades", "Blades", "Blade counts", "", 1.0, (2, 3, 4, 5, 6), "propellers"),
        TriedRange("cells", "pack.cells", "Cells", "Cell counts", "S", 1.0, tuple(range(1, 15)), "packs"),
        TriedRange("capacity_mah", "pack.capacity_ah", "Capacity", "Capacities", "mAh", MAH, CAPACITIES_SOLD, "packs"),
        TriedRange("chemistry", "pack.chemistry", "Chemistry", "Chemistries", "", 1.0, (), "packs"),
    )
}

LISTED = ("motors", "propellers", "packs", "controllers")

Pair = tuple[float, float]
Values = Mapping[str, tuple]
"""Values of each range: numbers as entered, (diameter, height) pairs in mm, names of chemistries."""


def _allowed(name: str) -> tuple[float, float]:
    """Return the allowed minimum and maximum of a field, in its own unit."""
    field = FIELDS[name]
    assert field.low is not None and field.high is not None, f"{name} is no number"
    return float(field.low), float(field.high)


# ---- entered ranges ---------------------------------------------------------------------------------------

_NUMBER = r"([0-9]+(?:\.[0-9]+)?)"
_SPAN = re.compile(rf"^{_NUMBER}\s*(?:to|until|\.\.|-|\u2013)\s*{_NUMBER}(?:\s*(?:by|step|every)\s*{_NUMBER})?$")


def _pieces(text: str, name: str) -> list[str]:
    plain = re.sub(r"(?<=[0-9])\s*(?:mah|kv|inches|inch|in|s|mm|\")\b", "", str(text)[:400].lower())
    found = [p.strip() for p in re.split(r"[,;\n]+", plain) if p.strip()]
    if not found:
        raise RangeError(f"{name} is empty: give one value, a list, or a range such as {_EXAMPLES[name]}.")
    return found


_EXAMPLES = {
    "KV": "1700 to 2100", "Stator": "2205 to 2307", "Diameter": "4.5 to 5.5", "Pitch": "3 to 4.5 by 0.5",
    "Blades": "2 to 4", "Cells": "4 to 6", "Capacity": "850 to 1550", "Chemistry": "LiPo",
}  # fmt: skip


def example(name: str) -> str:
    """Return an example of a range as it can be entered.

    Examples
    --------
    >>> example("cells")
    '4 to 6'
    """
    return _EXAMPLES[RANGES[name].words]


def read_range(text: str, name: str, present: float | None = None) -> tuple[float, ...]:
    """Read one range or list.

    Parameters
    ----------
    text : str
        "1750", "1750, 1950", "1700 to 2100" (the sizes sold in between) or "1700 to 2100 by 25".
    name : str
        Key of `RANGES`.
    present : float or None
        Value of the build; added if it is inside a range of sizes sold.

    Returns
    -------
    tuple of float
        In increasing order, in the entered unit.

    Raises
    ------
    RangeError
        With one sentence.

    Examples
    --------
    >>> read_range("4 to 6", "cells"), read_range("1700 to 1900, 2400", "kv", 1825.0)
    ((4.0, 5.0, 6.0), (1700.0, 1750.0, 1800.0, 1825.0, 1850.0, 1900.0, 2400.0))
    """
    spec, field = RANGES[name], FIELDS[name]
    found: set[float] = set()
    for piece in _pieces(text, spec.words):
        span = _SPAN.match(piece)
        if span is None:
            try:
                found.add(float(piece))
            except ValueError:
                raise RangeError(
                    f"{spec.words}: I could not read '{piece[:30]}'; write for example {_EXAMPLES[spec.words]}."
                ) from None
            continue
        low, high = float(span[1]), float(span[2])
        if low > high:
            raise RangeError(f"{spec.words} runs from {low:g} down to {high:g}: the smaller one must come first.")
        if span[3] is not None:
            found |= set(_by(spec.words, low, high, float(span[3])))
            continue
        inside_ = {float(v) for v in spec.sold if low - 1e-9 <= v <= high + 1e-9}
        if present is not None and low <= present <= high:
            inside_.add(float(present))
        if not inside_:
            raise RangeError(
                f"{spec.words}: nothing is sold between {low:g} and {high:g}; give a step, such as "
                f"{low:g} to {high:g} by {max(high - low, 0.1) / 2:g}."
            )
        found |= inside_
    values = tuple(sorted(found))
    unit = f" {spec.unit}" if spec.unit else ""
    least, most = _allowed(name)
    for value in (values[0], values[-1]):
        if not (math.isfinite(value) and least <= value <= most):
            raise RangeError(f"{spec.words} must stay within {least:g} and {most:g}{unit}, got {value:g}.")
    if field.kind == "whole" and any(v != round(v) for v in values):
        bad = next(v for v in values if v != round(v))
        raise RangeError(f"{spec.words} must be whole numbers, got {bad:g}.")
    return values


def _by(words: str, low: float, high: float, step: float) -> NDArray:
    if step <= 0.0:
        raise RangeError(f"{words}: the step must be above 0, got {step:g}.")
    steps = (high - low) / step
    if steps > MOST:
        raise RangeError(
            f"{words} alone would bring {many(int(steps) + 1)} values; {many(MOST)} combinations can be counted."
        )
    return np.round(low + step * np.arange(math.floor(steps + 1e-9) + 1), 6)


def read_stators(text: str, present: Pair | None = None) -> tuple[Pair, ...]:
    """Read stator sizes: "2207, 2306", or "2205 to 2307" for the sizes sold in between, by volume.

    Examples
    --------
    >>> read_stators("2207, 2806.5")
    ((22.0, 7.0), (28.0, 6.5))
    """
    found: set[Pair] = set()
    for piece in _pieces(text, "Stator"):
        ends = [p.strip() for p in re.split(r"\bto\b|\u2013|-", piece)]
        pairs = [_stator(p) for p in ends]
        if len(pairs) == 1:
            found.add(pairs[0])
            continue
        low, high = (_volume(p) for p in pairs[:2])
        if low > high:
            raise RangeError(f"Stator runs from {ends[0]} down to {ends[1]}: the smaller one must come first.")
        known = (*STATORS_SOLD, *pairs[:2], *(() if present is None else (present,)))
        widths = sorted(p[0] for p in pairs[:2])
        found |= {
            (float(d), float(h)) for d, h in known if low <= _volume((d, h)) <= high and widths[0] <= d <= widths[1]
        }
    return tuple(sorted(found, key=lambda p: (_volume(p), p)))


def _stator(text: str) -> Pair:
    match = re.fullmatch(r"(\d{2})(\d{2}(?:\.\d)?)", text)
    if match is None:
        raise RangeError(f"Stator: I could not read '{text[:30]}'; write the four digits on the motor, such as 2207.")
    d, h = float(match[1]), float(match[2])
    for value, name in ((d, "stator_d_mm"), (h, "stator_h_mm")):
        least, most = _allowed(name)
        if not least <= value <= most:
            raise RangeError(f"{FIELDS[name].label} must be {least:g} to {most:g} mm, got {value:g} mm.")
    return d, h


def _volume(pair: Pair) -> float:
    return pair[0] ** 2 * pair[1]


def stator_text(pair: Pair) -> str:
    """Return the stator size as printed on a motor.

    Examples
    --------
    >>> stator_text((22.0, 7.0)), stator_text((28.0, 6.5))
    ('2207', '2806.5')
    """
    d, h = pair
    height = f"{h:02.0f}" if h == round(h) else f"{h:04.1f}"
    return f"{d:02g}{height}"


def read_chemistries(names: Sequence[str]) -> tuple[str, ...]:
    """Return the selected chemistries; raises RangeError if there is none.

    Examples
    --------
    >>> read_chemistries(["lipo"])
    ('lipo',)
    """
    if not names:
        raise RangeError("Chemistry is empty: choose at least one.")
    return tuple(n for n in CHEMISTRY_NAMES if n in names)


def span_text(values: Sequence[float]) -> str:
    """Return values as text for `read_range`; evenly spaced values as a range with a step.

    Examples
    --------
    >>> span_text((1700.0, 1800.0, 1900.0)), span_text((4.0,)), span_text((5.0, 5.1, 5.5))
    ('1700 to 1900 by 100', '4', '5, 5.1, 5.5')
    """
    steps = {round(b - a, 6) for a, b in pairwise(values)}
    if len(values) > 2 and len(steps) == 1:
        step = steps.pop()
        end = "" if step == 1 else f" by {step:g}"
        return f"{values[0]:g} to {values[-1]:g}{end}"
    return ", ".join(f"{v:g}" for v in values)


def around(inputs: Inputs, *, wide: bool = False) -> dict[str, Any]:
    """Return ranges around a build as text: about 100,000 combinations, or nearly a million if ``wide``.

    Parameters
    ----------
    inputs : Inputs
        The build.
    wide : bool
        Whether to include more values.

    Returns
    -------
    dict
        Text for each range; a tuple of names for the chemistry.
    """
    k = 2.0 if wide else 1.0
    kv, d, p, mah = inputs.kv, inputs.diameter_in, inputs.pitch_in, inputs.capacity_mah
    out: dict[str, Any] = {}
    kv_step = next(s for s in (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0) if s >= 0.045 * kv or s == 2000.0)
    low, high = kv_step * round(kv * (1 - 0.22 * k) / kv_step), kv_step * round(kv * (1 + 0.22 * k) / kv_step)
    out["kv"] = _clipped("kv", low, high, kv_step)
    now = (inputs.stator_d_mm, inputs.stator_h_mm)
    near = sorted(STATORS_SOLD, key=lambda s: abs(math.log(_volume(s) / _volume(now))) + abs(s[0] - now[0]) / 25.0)
    out["stator"] = ", ".join(stator_text(s) for s in sorted({now, *near[: 6 if wide else 4]}, key=_volume))
    # propellers of one class, which fit the same frame: for 5 inch, 5 to 5.2
    least_d, most_d = (0.85 * d, 1.1 * d) if wide else (0.975 * d, 1.02 * d)
    out["diameter_in"] = _sold_text("diameter_in", least_d, most_d, d)
    step = 0.2 if p < 2.5 else 0.4 if p < 6.0 else 0.5
    pitches = sorted({round(p + step * n, 2) for n in range(-3 if wide else -2, 4 if wide else 3)})
    least, most = _allowed("pitch_in")
    out["pitch_in"] = span_text([v for v in pitches if least <= v <= most and 0.3 <= v / d <= 1.2] or [p])
    out["blades"] = "2 to 4" if d < 8.0 else "2, 3"
    out["cells"] = ", ".join(f"{n}" for n in _cells_near(inputs.cells, wide=wide))
    out["capacity_mah"] = _sold_text("capacity_mah", mah * (0.45 if wide else 0.6), mah * (2.0 if wide else 1.6), mah)
    out["chemistry"] = (inputs.chemistry,)
    return out


def _cells_near(cells: int, *, wide: bool) -> list[int]:
    """Return numbers of cells near the present one, of the packs sold."""
    sold = sorted({cells, *CELLS_SOLD})
    at = sold.index(cells)
    # more cells exceed the ratings of other parts: from 6 cells on only if wide
    return sold[max(at - 1, 0) : at + (2 if wide or cells < 6 else 1)]


def _clipped(name: str, low: float, high: float, step: float) -> str:
    least, most = _allowed(name)
    low, high = max(low, least), min(high, most)
    return f"{low:g} to {high:g} by {step:g}"


def _sold_text(name: str, low: float, high: float, now: float) -> str:
    least, most = _allowed(name)
    low, high = max(low, least), min(high, most)
    values = sorted({now, *(float(v) for v in RANGES[name].sold if low <= v <= high)})
    return ", ".join(f"{v:g}" for v in values)


def inside(inputs: Inputs, values: Values) -> bool:
    """Return whether the build is inside the ranges: between the minimum and maximum of each."""
    for name, several in values.items():
        if name == "stator":
            widths = [v[0] for v in several]
            if not min(widths) <= inputs.stator_d_mm <= max(widths):
                return False
        elif name == "chemistry":
            if inputs.chemistry not in several:
                return False
        elif not min(several) - 1e-9 <= getattr(inputs, name) <= max(several) + 1e-9:
            return False
    return True


def dropped_by(kind: str) -> tuple[str, ...]:
    """Return the ranges that a list of parts replaces.

    Examples
    --------
    >>> dropped_by("motors")
    ('kv', 'stator')
    """
    return tuple(r.name for r in RANGES.values() if r.kind == kind)


def many(count: int) -> str:
    """Return a number as text, with thousands separated by a narrow space.

    Examples
    --------
    >>> many(412000)
    '412\u202f000'
    """
    return number(float(count))


# ---- steps to the next size -------------------------------------------------------------------------------

_NEXT = {
    # dotted field of the build, its range, SI value of one entered unit, smallest relative step, text
    "motor.kv": ("kv", 1.0, 0.04, "{:g} KV"),
    "propeller.diameter": ("diameter_in", INCH, 0.015, "{:g} in propellers"),
    "propeller.pitch": ("pitch_in", INCH, 0.06, "{:g} in pitch"),
    "pack.capacity_ah": ("capacity_mah", MAH, 0.05, "a {:g} mAh pack"),
}


def next_sold(inputs: Inputs) -> tuple[InputStep, ...]:
    """Return the steps to the next size sold, up and down, and three steps without a purchase.

    Parameters
    ----------
    inputs : Inputs
        The build.

    Returns
    -------
    tuple of InputStep
        Field, change in SI units, and text.

    Examples
    --------
    >>> [step.words for step in next_sold(Inputs())][:4]
    ['2050 KV', '1850 KV', '5.2 in propellers', '5 in propellers']
    """
    found: list[InputStep] = []
    for path, (name, scale, least, words) in _NEXT.items():
        now = float(getattr(inputs, name))
        sold = RANGES[name].sold
        up = next((v for v in sold if v >= now * (1.0 + least)), None)
        down = next((v for v in reversed(sold) if v <= now * (1.0 - least)), None)
        found += [InputStep(path, (v - now) * scale, words.format(v)) for v in (up, down) if v is not None]
    for count in (inputs.blades + 1, inputs.blades - 1):
        found.append(InputStep("propeller.blades", float(count - inputs.blades), f"{count} blades"))
    wide, tall = inputs.stator_d_mm, inputs.stator_h_mm
    heights = sorted(h for d, h in STATORS_SOLD if d == wide)
    taller, flatter = [h for h in heights if h > tall][:1], [h for h in heights if h < tall][-1:]
    for height in taller + flatter:
        found.append(InputStep("motor.stator_height", (height - tall) * MM, f"{stator_text((wide, height))} motors"))
    sold_cells = sorted({inputs.cells, *CELLS_SOLD})
    at = sold_cells.index(inputs.cells)
    for cells in sold_cells[at + 1 : at + 2] + sold_cells[max(at - 1, 0) : at]:
        found.append(InputStep("pack.cells", float(cells - inputs.cells), f"{cells} cells"))
    return (
        *found,
        InputStep("craft.payload_mass", 50.0 * GRAM, "50 g more to carry"),
        InputStep("craft.frame_mass", -50.0 * GRAM, "50 g off the frame"),
        InputStep("command_cap", -0.10, "a throttle cap 10 points lower"),
    )
