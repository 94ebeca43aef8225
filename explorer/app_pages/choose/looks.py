"""Results on page Choose: names, formats, direction of improvement, conditions. Pure functions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from explorer.app_pages.choose.ranges import PRICE
from explorer.forecasts.mixed_flight import MIXED_TIME
from explorer.text.numbers import NARROW, Units, quantity_of, value
from propmodel.assess.margins import FITS, SHARES
from propmodel.assess.performance import OUTPUTS
from propmodel.base.constants import STANDARD_GRAVITY
from propmodel.studies.sweep import Condition

__all__ = [
    "ASKED",
    "HEADLINES",
    "LIMIT_WISHES",
    "LOOKS",
    "USUAL",
    "Look",
    "asked_outputs",
    "change_words",
    "conditions",
    "fault_words",
    "reads",
]


@dataclass(frozen=True)
class Look:
    """Name and format of one result, and its direction of improvement.

    Parameters
    ----------
    words : str
        Name in a selection and on an axis.
    kind : str
        Key of `explorer.text.numbers.QUANTITIES`.
    better : "max" or "min"
        Direction of improvement.
    more, less : str
        Words for an increase and a decrease.
    verdict : str
        Name of the result in "falls to ...".
    scale : float
        SI value of the kind over the value of the result. [-]
    """

    words: str
    kind: str
    better: Literal["max", "min"]
    more: str
    less: str
    verdict: str
    scale: float = 1.0


LOOKS: dict[str, Look] = {
    "hover_time": Look("minutes in hover", "minutes", "max", "longer", "shorter", "the minutes"),
    MIXED_TIME: Look("minutes flown your way", "minutes", "max", "longer", "shorter", "the minutes flown your way"),
    "thrust_to_weight": Look(
        "thrust to weight", "thrust_to_weight", "max", "more thrust", "less thrust", "thrust to weight"
    ),
    "thrust_to_weight_at_reserve": Look(
        "thrust to weight, at landing", "thrust_to_weight", "max", "more thrust at the end", "less thrust at the end",
        "thrust to weight at the end",
    ),
    "mass": Look("take-off mass", "mass", "min", "heavier", "lighter", "the mass"),
    "top_speed": Look("top level speed", "road_speed", "max", "faster", "slower", "the top speed"),
    "thrust_per_power": Look(
        "grams lifted per watt", "grams_per_watt", "max", "thriftier", "thirstier", "the grams per watt",
        STANDARD_GRAVITY,
    ),
    "hover_throttle": Look("hover command", "percent", "min", "higher hover", "lower hover", "the hover command"),
    "hover_power": Look("watts in hover", "power", "min", "thirstier", "thriftier", "the watts"),
    "full_throttle_current": Look(
        "pack current flat out", "current", "min", "more amps", "fewer amps", "the pack current"
    ),
    "full_throttle_motor_current": Look(
        "current in each motor flat out", "current", "min", "more amps", "fewer amps", "the motor current"
    ),
    "pull_out_height": Look(
        "height a 40 m dive costs to pull out", "distance", "min", "lower pull-out", "higher pull-out", "the dive"
    ),
    "induced_velocity": Look("wash speed in the hover", "speed", "min", "stronger wash", "weaker wash", "the wash"),
    PRICE: Look("price of the listed parts", "money", "min", "dearer", "cheaper", "the price"),
}  # fmt: skip
"""Outputs available as objectives and conditions: those of `propmodel.assess.performance.OUTPUTS`, the flight time of
the user's mixed flight, and the price."""

ASKED = tuple(k for k in LOOKS if k != PRICE)
HEADLINES = tuple(k for k in ASKED if k != MIXED_TIME)
"""Results that can be solved for and have a spread."""


def reads(name: str, si: float, units: Units, *, unit: bool = True) -> str:
    """Return one result as text.

    Examples
    --------
    >>> reads("thrust_to_weight", 5.23, Units())
    '5.2\u202ftimes'
    """
    look = LOOKS[name]
    return value(look.kind, si * look.scale, units, unit=unit)


def in_axis_unit(name: str, si: NDArray | float, units: Units) -> NDArray:
    """Return results in the unit of the axis."""
    look = LOOKS[name]
    quantity = quantity_of(look.kind, units)
    return np.asarray(si, dtype=np.float64) * look.scale / quantity.scale + quantity.offset


def from_axis_unit(name: str, entered: float, units: Units) -> float:
    """Return an entered limit in SI units: the inverse of `in_axis_unit`."""
    look = LOOKS[name]
    quantity = quantity_of(look.kind, units)
    return (entered - quantity.offset) * quantity.scale / look.scale


def unit_of(name: str, units: Units) -> str:
    """Return the unit on an axis or next to a limit."""
    unit = quantity_of(LOOKS[name].kind, units).unit
    return "times" if unit == "times" else unit


def change_words(name: str, after: float, before: float) -> str:
    """Return the change of a result in whole per cent and a word.

    Examples
    --------
    >>> change_words("hover_time", 330.0, 300.0)
    '10\u202f% longer'
    """
    if not (math.isfinite(after) and math.isfinite(before)) or before == 0:
        return "no longer possible" if math.isfinite(before) else "possible again"
    share = after / before - 1.0
    if abs(share) < 0.005:
        return "the same"
    look = LOOKS[name]
    percent = abs(share) * 100.0
    text = f"{percent:.0f}" if percent >= 0.95 else f"{percent:.1f}"
    return f"{text}{NARROW}% {look.more if share > 0 else look.less}"


def bound_si(name: str, entered: float) -> float:
    """Return an entered limit of the fixed conditions (minutes, ratio, grams, price) in SI units."""
    return entered * {"hover_time": 60.0, "mass": 1e-3}.get(name, 1.0)


# ---- conditions -------------------------------------------------------------------------------------------

LIMIT_WISHES = ("none", "what fits", "as usual", "all")
USUAL = "as usual"
"""All parts fit, and limits are exceeded only by amounts that are usual for some seconds at full throttle."""


def conditions(
    bounds: Sequence[tuple[str, Literal["at least", "at most"], float | None]], limits: str
) -> list[Condition]:
    """Return the conditions on the combinations.

    Parameters
    ----------
    bounds : sequence of (output, kind, SI value or None)
        None for no condition.
    limits : str
        One of `LIMIT_WISHES`. "what fits" is limited to cells, voltages and frame. For "as usual" the sweep must be
        processed by `explorer.app_pages.choose.picture.judged` first.

    Returns
    -------
    list of Condition
        All must be true.
    """
    found = [Condition(name, kind, float(v)) for name, kind, v in bounds if v is not None]
    return found + [Condition(name, "at most", 1.0) for name in _limits(limits)]


def _limits(wish: str) -> tuple[str, ...]:
    if wish not in LIMIT_WISHES:
        raise ValueError(f"limits must be one of {LIMIT_WISHES}, got {wish!r}")
    return {"none": (), "what fits": tuple(FITS)}.get(wish, (*FITS, *SHARES))


def asked_outputs(x: str, y: str, bounds: Sequence[str], limits: str) -> tuple[str, ...]:
    """Return the results that a sweep must contain, in a fixed order, so that equal requests have equal keys."""
    names = {x, y, *bounds, "hover_time", "thrust_to_weight", "mass"} - {PRICE}
    return (*(k for k in (*OUTPUTS, MIXED_TIME) if k in names), *_limits(limits))


def nice_ticks(low: float, high: float, most: int = 6) -> tuple[float, float, float]:
    """Return the ends and the step of an axis; the step is 1, 2 or 5 times a power of ten.

    Examples
    --------
    >>> nice_ticks(2.9, 11.2)
    (2.0, 12.0, 2.0)
    """
    span = max(high - low, 1e-9)
    power = math.floor(math.log10(span)) - 1
    for step in (s * 10.0**p for p in range(power, power + 4) for s in (1.0, 2.0, 5.0)):
        first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
        if last - first <= most:
            return tuple(float(f"{v:.6g}") for v in (first * step, last * step, step))  # type: ignore[return-value]
    raise AssertionError("a step of ten times the span always fits")  # pragma: no cover


def fault_words(condition: Condition) -> str:
    """Return the reason in words why a condition rejects a combination."""
    if condition.name in FITS:
        return FITS[condition.name].name
    if condition.name in SHARES:
        return SHARES[condition.name].name
    return LOOKS[condition.name].verdict
