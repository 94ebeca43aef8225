"""Meaning and unit of the headings of a measurement file.

Headings are matched by the stem of a word ("thrust", "volt"), not by an exact text, in the languages that are usual in
spreadsheets of the trade (common practice, from memory).
"""

from __future__ import annotations

import re
import unicodedata
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from propmodel.base.units import FOOT, GRAM, GRAM_FORCE, INCH, POUND_FORCE

__all__ = ["SI_NAMES", "SI_UNITS", "Heading", "guess_scale", "heading", "plain", "unit_factor"]

SI_NAMES = {
    "time": "time_s",
    "throttle": "throttle_share",
    "voltage": "voltage_v",
    "current": "current_a",
    "power": "power_w",
    "speed": "speed_rev_per_s",
    "thrust": "thrust_n",
    "torque": "torque_nm",
    "shaft_power": "shaft_power_w",
    "charge": "charge_ah",
}

"""Meaning -> column of the table in SI units; the end of the name is the unit."""
SI_UNITS = {
    "time": "s",
    "throttle": "share",
    "voltage": "V",
    "current": "A",
    "power": "W",
    "speed": "rev/s",
    "thrust": "N",
    "torque": "N m",
    "shaft_power": "W",
    "charge": "Ah",
}
"""Meaning -> unit of its column in the table in SI units."""
_OUNCE_FORCE = POUND_FORCE / 16.0
_CM = 0.01

# Kind of quantity -> unit -> factor into SI. Units are in lower case without spaces, dots, stars and hyphens.
_UNITS: dict[str, dict[str, float]] = {
    "thrust": {
        **dict.fromkeys(("g", "gf", "gr", "gram", "grams", "gramm", "grammes", "gforce"), GRAM_FORCE),
        **dict.fromkeys(("kg", "kgf", "kilo", "kilos", "kilogram", "kilograms"), GRAM_FORCE / GRAM),
        **dict.fromkeys(("n", "newton", "newtons"), 1.0),
        "mn": 1e-3,
        **dict.fromkeys(("lb", "lbs", "lbf", "pound", "pounds"), POUND_FORCE),
        **dict.fromkeys(("oz", "ozf", "ounce", "ounces"), _OUNCE_FORCE),
    },
    "torque": {
        **dict.fromkeys(("nm", "newtonmeter", "newtonmetre", "newtonmeters", "newtonmetres"), 1.0),
        "mnm": 1e-3,
        "ncm": _CM,
        "nmm": 1e-3,
        **dict.fromkeys(("gcm", "gfcm", "gramcm"), GRAM_FORCE * _CM),
        **dict.fromkeys(("kgcm", "kgfcm"), GRAM_FORCE / GRAM * _CM),
        **dict.fromkeys(("kgm", "kgfm"), GRAM_FORCE / GRAM),
        **dict.fromkeys(("gmm", "gfmm"), GRAM_FORCE * 1e-3),
        **dict.fromkeys(("lbft", "lbfft", "ftlb", "ftlbf", "ftlbs"), POUND_FORCE * FOOT),
        **dict.fromkeys(("lbin", "lbfin", "inlb", "inlbf", "inlbs"), POUND_FORCE * INCH),
        **dict.fromkeys(("ozin", "ozfin", "inoz"), _OUNCE_FORCE * INCH),
    },
    "speed": {
        **dict.fromkeys(("rpm", "r/min", "rev/min", "revs/min", "1/min", "min1", "u/min", "tr/min"), 1 / 60),
        **dict.fromkeys(("rad/s", "rad/sec", "rads1"), 1 / (2 * np.pi)),
        **dict.fromkeys(("rps", "rev/s", "revs/s", "r/s", "hz", "1/s", "u/s"), 1.0),
        **dict.fromkeys(("krpm", "kerpm"), 1000 / 60),
        "erpm": 1 / 60,
        "deg/s": 1 / 360,
    },
    "voltage": {**dict.fromkeys(("v", "volt", "volts"), 1.0), "mv": 1e-3, "cv": 1e-2, "dv": 0.1},
    "current": {**dict.fromkeys(("a", "amp", "amps", "ampere", "amperes"), 1.0), "ma": 1e-3, "ca": 1e-2},
    "power": {**dict.fromkeys(("w", "watt", "watts"), 1.0), "kw": 1e3, "mw": 1e-3},
    "throttle": {
        **dict.fromkeys(("%", "pct", "percent", "prozent"), 0.01),
        **dict.fromkeys(("us", "usec", "microsec", "microsecond", "microseconds"), np.nan),
    },
    "time": {
        **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), 1.0),
        **dict.fromkeys(("ms", "msec", "millisec", "millisecond", "milliseconds"), 1e-3),
        **dict.fromkeys(("us", "usec", "microsec", "microsecond", "microseconds"), 1e-6),
        **dict.fromkeys(("min", "minute", "minutes"), 60.0),
    },
    "charge": {"mah": 1e-3, "ah": 1.0},
    "temperature": {},
}
_FAMILY = {
    "erpm": "speed", "optical": "speed", "shaft_power": "power", "motor_output": "throttle", "motor_erpm": "speed",
}  # fmt: skip
_ANY_UNIT = {name for family in _UNITS.values() for name in family} | {
    *(
        "g/w",
        "gf/w",
        "n/w",
        "kgf/w",
        "lbf/w",
        "n/a",
        "degc",
        "c",
        "°c",
        "degf",
        "°f",
        "m/s",
        "km/h",
        "mph",
        "m",
    ),
    *("ft", "db", "dbm", "deg", "°", "wh", "ohm", "mohm", "m/s2", "kv", "x100", "1000"),
}

_REFUSED = re.compile(
    r"effic|effiz|wirkungsgrad|vibrat|\bacc|gyro|gps|altit|height|rssi|latit|longit|resist|pressure|humid|cost|"
    r"price|preis|\bair ?speed|wind|ground ?speed|\bgspd|vertical|\bp ?term|\bi ?term|\bd ?term|setpoint|rate\b|"
    r"debug|\bpid|loop|\brc ?command|error|\bload cell|left|right|spread|sd\b|std|stall"
)
_DEMOTED = re.compile(r"max|min\b|limit|target|burst|peak|tare|raw|drop|rest\b|cell|ref\b|avg|average|bec|5v|request")
# Order matters: the first rule that matches gives the meaning.
_RULES: tuple[tuple[str, re.Pattern[str]], ...] = tuple(
    (meaning, re.compile(pattern))
    for meaning, pattern in (
        ("date", r"^dat(e|um)\b"),
        ("time", r"^(time|zeit|temps|tempo|tiempo|t|elapsed|timestamp|clock|uhrzeit|heure|hora)\b"),
        ("motor_erpm", r"^(motor |m ?|esc ?)?e ?rpm ?\d+$|^(motor|m|esc) ?\d+ ?(e ?rpm|rpm)$|^rpm ?\d+$"),
        ("motor_output", r"^(motor|m|output|out|mot|servo output|esc|motor output) ?\d+$"),
        ("temperature", r"temp"),
        ("erpm", r"\be ?rpm\b|^electrical rpm"),
        ("optical", r"optic"),
        ("speed", r"rpm|\bspeed|drehzahl|\brevs?\b|\btours\b|rotation|velocidad de giro|r/min|\bgiri\b"),
        ("torque", r"torque|drehmoment|\bmoment\b|\bcouple\b|coppia|\bpar motor"),
        ("shaft_power", r"(mech|shaft|abgabe|output).*(power|leistung)|wellenleistung"),
        ("thrust", r"thrust|\bpull\b|\blift\b|schub|pouss|spinta|empuje|\bforce\b|traction|\bzugkraft"),
        ("power", r"power|\bwatt|leistung|puissance|potenza|potencia|^p ?el"),
        ("charge", r"\bm?ah\b|consum|energy|\bcharge|capacity|\bcapa\b|\bused\b|kapazit|verbrauch"),
        ("voltage", r"volt|vbat|spannung|tension|tensi[oó]n|\bpack v\b|\bu ?bat"),
        ("current", r"curr|\bamp(s|ere|eres|erage|\b)|amperage|strom|courant|corrente|corriente"),
        (
            "throttle",
            r"throt|signal|command|shot\b|pulse|\bpwm\b|stick|\bduty|^gas\b|\bthr\b|\besc\b|steuer|puls",
        ),
        ("propeller", r"\bprop|luftschraube|h[eé]lice|elica|\bblades?\b"),
        ("motor", r"^motors?\b|\bmodel\b|^moteur"),
        ("cells", r"^cells?\b|^pack\b|^battery$"),
    )
)
_WHOLE = {
    "%": ("throttle", "%"), "v": ("voltage", "v"), "u": ("voltage", ""), "a": ("current", "a"), "i": ("current", ""),
    "g": ("thrust", "g"), "gf": ("thrust", "gf"), "kgf": ("thrust", "kgf"), "kg": ("thrust", "kg"),
    "n": ("thrust", "n"), "lbf": ("thrust", "lbf"), "w": ("power", "w"), "nm": ("torque", "nm"),
    "rpm": ("speed", "rpm"), "rad/s": ("speed", "rad/s"), "us": ("throttle", "us"), "mah": ("charge", "mah"),
    "s": ("time", "s"), "ms": ("time", "ms"), "volts": ("voltage", "v"), "amps": ("current", "a"),
    "watts": ("power", "w"), "u/min": ("speed", "rpm"),
}  # fmt: skip
_OF_PACK = ("voltage", "current")
"""What a heading that names the pack measures when it has such a unit."""
_UNIT_ALONE = {"v": "voltage", "a": "current", "mah": "charge", "rpm": "speed", "w": "power", "nm": "torque"}


class Heading(NamedTuple):
    """One parsed heading."""

    meaning: str | None
    """``thrust``, ``voltage`` ...; None if unknown."""
    unit: str
    """Key of the unit table; empty if the heading has no unit."""
    penalty: int
    """0 for a clear heading; more for "max", "cell" and similar words, and for a meaning inferred from the unit."""
    index: int | None = None  # type: ignore[assignment]  # hides tuple.index, which nothing here needs
    """Number of the motor, if there are several."""


def plain(text: str) -> str:
    """Return a text in lower case with normalised characters (wrongly decoded, wide and look-alike ones).

    Parameters
    ----------
    text : str
        Text of a heading or unit.
    """
    text = text.replace("Â", "").replace("Ã‚", "").replace("Î¼", "µ").replace("â‹…", "·")
    text = unicodedata.normalize("NFKC", text).replace("μ", "µ").replace("−", "-").replace("⋅", "·")
    return text.replace("\ufffd", "·").strip().strip("\"'").strip().lower()


def _unit_key(text: str) -> str:
    key = re.sub(r"[\s.·*^\-_•∙]", "", plain(text)).replace("µ", "u").replace("newtonmeter", "nm")
    return key.replace("·", "")


def heading(text: str) -> Heading:
    """Parse a heading into its meaning and unit.

    Parameters
    ----------
    text : str
        Heading in the file; only the first 200 characters are used.

    Returns
    -------
    Heading
        The parsed heading.

    Examples
    --------
    >>> heading("Torque (N·m)")[:2], heading("thrust_g")[:2], heading("Voltage [V]")[:2]
    (('torque', 'nm'), ('thrust', 'g'), ('voltage', 'v'))
    """
    words = plain(text[:200])
    if not words:
        return Heading(None, "", 9)
    if _unit_key(words) in _WHOLE:
        meaning, unit = _WHOLE[_unit_key(words)]
        return Heading(meaning, unit, 0)
    unit = ""
    bracket = re.search(r"[(\[{]([^()\[\]{}]{0,40})[)\]}]\s*$", words)
    if bracket and not bracket.group(1).strip().isdigit():
        unit, words = _unit_key(bracket.group(1)), words[: bracket.start()]
    words = re.sub(r"[\[\](){}#:]", " ", words).replace("-", " ")
    if not unit:  # "Thrust, g"  "Current/A"  "voltage_V"  "Speed rpm"
        tail = re.match(r"(.*?)(?:\s*[,;/]\s*|[_\s]+|\s+in\s+)([^\s_,;]+)$", words)
        two = re.match(r"(.*?)[_\s,]+(\S+[ .·*]\S+)$", words)
        for match in (two, tail):
            if match and match.group(1).strip() and _unit_key(match.group(2)) in _ANY_UNIT:
                words, unit = match.group(1), _unit_key(match.group(2))
                break
    words = re.sub(r"[_\s.,;/]+", " ", words).strip()
    if unit and "/" in unit and unit not in _UNITS["speed"]:
        return Heading(None, unit, 9)  # a ratio: efficiency in one of its units, air speed
    if _REFUSED.search(words):
        return Heading(None, unit, 9)
    penalty = 2 if _DEMOTED.search(words) else 0
    for meaning, pattern in _RULES:
        if pattern.search(words):
            found = meaning
            if meaning == "speed" and unit and unit not in _UNITS["speed"]:
                continue
            if meaning == "speed" and unit == "erpm":
                found = "erpm"
            if meaning == "charge" and unit in ("wh", "j", "%"):
                continue
            if meaning == "current" and unit == "mah":
                found = "charge"
            if meaning == "cells" and (of_unit := next((m for m in _OF_PACK if unit in _UNITS[m]), None)):
                found = of_unit  # "pack volts", "battery A"
            if meaning == "motor_output" and unit in _UNITS["speed"]:
                found = "motor_erpm"
            number = re.search(r"(\d+)\b", words)
            return Heading(found, unit, penalty, int(number.group(1)) if number else None)
    if unit in _UNIT_ALONE:
        return Heading(_UNIT_ALONE[unit], unit, penalty + 3)
    return Heading(None, unit, 9)


def unit_factor(meaning: str, unit: str) -> float | None:
    """Return the factor of a unit into SI (rev/s for speeds, A h for charge).

    Parameters
    ----------
    meaning : str
        ``thrust``, ``voltage`` ... as in `Heading`.
    unit : str
        Unit as written: ``N·m``, ``gf`` ...

    Returns
    -------
    float or None
        NaN for a pulse width, None for an unknown unit.
    """
    return _UNITS.get(_FAMILY.get(meaning, meaning), {}).get(_unit_key(unit))


_SHORTEST_LOG = 3.0
"""Length below which a log would not be kept. [s] Estimate."""


def guess_scale(meaning: str, values: NDArray[np.float64]) -> tuple[float, str, str]:
    """Infer the unit of a column from its values, if the heading has none.

    Parameters
    ----------
    meaning : str
        ``thrust``, ``voltage`` ... as in `Heading`.
    values : ndarray
        The column in its unknown unit.

    Returns
    -------
    (factor, unit, reason)
        Factor into SI, name of the unit, and reason in words.
    """
    finite = np.abs(values[np.isfinite(values)])
    if not finite.size:
        return 1.0, "", "no numbers in it"
    top, middle = float(np.max(finite)), float(np.median(finite))
    family = _FAMILY.get(meaning, meaning)
    if family == "voltage":
        for factor, unit in ((1.0, "V"), (1e-2, "hundredths of V"), (1e-3, "mV"), (0.1, "tenths of V")):
            if 2.5 <= middle * factor <= 75.0:
                return factor, unit, f"no unit in the heading; half the values lie above {middle:.4g}"
        return 1.0, "V", "no unit in the heading; not a voltage of a usual pack"
    if family == "throttle":
        if top <= 1.0:
            return 1.0, "share", f"no value above 1 (largest {top:.4g})"
        if top <= 110.0:
            return 0.01, "%", f"no value above 100 (largest {top:.4g})"
        running = finite[finite > 0]
        if top <= 2250.0 and np.min(running, initial=9999.0) >= 800.0:
            return float("nan"), "us", f"values between {np.min(running):.0f} and {top:.0f}: a pulse"
        return (
            -1.0,
            "digital command",
            f"values between {np.min(finite):.0f} and {top:.0f}: a digital command",
        )
    if family == "speed":
        if meaning in ("erpm", "motor_erpm") and top < 7000.0:
            return 100.0 / 60.0, "hundreds of electrical rpm", f"no value above {top:.0f}"
        return 1.0 / 60.0, "rpm", "no unit in the heading"
    if family == "time":
        steps = np.diff(values[np.isfinite(values)])
        step = float(np.median(np.abs(steps[steps != 0]))) if np.any(steps != 0) else 0.0
        # a whole log of less than this would be no flight: rows 100 apart are then a tenth of a second, not 100 us
        brief = step * steps.size < _SHORTEST_LOG * 1e6
        for limit, factor, unit in ((100.0, 1e-6, "us"), (5.0, 1e-3, "ms")):
            if step >= limit and not (unit == "us" and brief and step < 1e4):
                return factor, unit, f"no unit in the heading; rows {step:.4g} apart"
        return 1.0, "s", f"no unit in the heading; rows {step:.4g} apart"
    if family == "charge":
        return (1e-3, "mAh", "no unit in the heading") if top > 10 else (1.0, "Ah", f"no value above {top:.3g}")
    if family == "torque":
        return 1.0, "N m", "no unit in the heading: checked against the power where there is one"
    if family == "thrust":
        return GRAM_FORCE, "gf", "no unit in the heading: checked against the power where there is one"
    return 1.0, {"current": "A", "power": "W"}.get(family, ""), "no unit in the heading"
