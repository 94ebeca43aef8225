"""Results of page Choose besides its sweeps, cached: one build, steps to the next size, solving for one field."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import streamlit as st
from numpy.typing import NDArray

from explorer.app_pages.choose.counting import HOLD, CountedSweep
from explorer.app_pages.choose.looks import HEADLINES, LOOKS
from explorer.app_pages.choose.ranges import next_sold
from explorer.forecasts import headlines
from explorer.forecasts.mixed_flight import MIXED_TIME
from explorer.inputs import FIELDS, Inputs
from propmodel.assembly.build import Build, with_fields
from propmodel.assess import margins
from propmodel.assess.assessment import Assessment
from propmodel.assess.performance import OUTPUTS, evaluate
from propmodel.base.arrays import number
from propmodel.base.units import GRAM, INCH, MAH
from propmodel.flight.endurance import Profile, flight_time
from propmodel.studies.sensitivity import Effect, InputStep, steps
from propmodel.studies.solve_for import Solution, solve_for
from propmodel.studies.spread import READINGS, Contribution, contributions, draw, reading_gains

__all__ = [
    "SOLVED",
    "Change",
    "Solved",
    "bands_of",
    "changes",
    "over_of",
    "point_of",
    "points",
    "solved",
    "spread_of",
    "with_one",
]

BAND_DRAWS = 256
"""Number of random draws, as for the bands of the other pages. [-]"""


def points(inputs: Inputs, names: tuple[str, ...]) -> dict[str, float]:
    """Return results of one build by name, in SI units."""
    return _points(headlines.plain(inputs), names)


def point_of(inputs: Inputs, names: tuple[str, ...]) -> dict[str, float]:
    """Return results of one build by name, in SI units; NaN for the price."""
    return {n: math.nan for n in names} | points(inputs, names)


@st.cache_data(**headlines.CACHED_ANSWERS)
def _points(inputs: Inputs, names: tuple[str, ...]) -> dict[str, float]:
    made = headlines.build(inputs)
    found = {k: float(v) for k, v in _evaluate(Assessment(made, quick=True), names, headlines.profile(inputs)).items()}
    return {n: found[n] for n in names if n in found}


def _evaluate(whole: Assessment, names: Sequence[str], way: Profile) -> dict[str, Any]:
    """Return results by name, in SI units, including the mixed flight time; without the price."""
    found: dict[str, Any] = dict(evaluate(whole, [n for n in names if n in OUTPUTS]))
    if MIXED_TIME in names:
        found[MIXED_TIME] = flight_time(whole.build, way).time
    return found


def bands_of(
    answer: CountedSweep, picks: Sequence[int], names: tuple[str, ...], way: Profile
) -> dict[int, dict[str, Any]]:
    """Return the 80 % interval for the labels of some combinations: flat index -> result -> ends. [SI units]"""
    if not picks:
        return {}
    made = with_fields(answer.plan.base, answer.found.at(np.array(picks)))
    many = draw(made, draws=BAND_DRAWS).build
    drawn = _evaluate(Assessment(many, quick=True, drawn=True), names, way)
    if MIXED_TIME in drawn:
        # draws that cannot fly the mixed flight are left out, as in the headlines
        drawn[MIXED_TIME] = np.where(np.asarray(drawn[MIXED_TIME]) > 0.0, drawn[MIXED_TIME], np.nan)
    out: dict[int, dict[str, Any]] = {index: {} for index in picks}
    for name, values in drawn.items():
        spread_out = np.broadcast_to(values, (len(picks), BAND_DRAWS))
        for index, row in zip(picks, spread_out, strict=True):
            there = row[np.isfinite(row)]
            if there.size >= 0.5 * row.size:
                out[index][name] = tuple(float(v) for v in np.quantile(there, headlines.TAILS))
    return out


# ---- what should I change? --------------------------------------------------------------------------------

COUNTER = ("hover_time", "thrust_to_weight", "top_speed", "full_throttle_motor_current", "mass")
"""Results that a step can make worse; the largest weighted loss among these is displayed."""
WEIGHTS = {"full_throttle_motor_current": 0.5}
"""Weight of a relative loss: 1 % more current is less serious than 1 % less flight time. [-] Judgement."""


@dataclass(frozen=True)
class Change:
    """Effect of one step to another size on the selected result, and its largest loss in another result.

    Parameters
    ----------
    words : str
        The step in words.
    path, amount : str, float
        Field of the build, and its change. [SI units]
    buys : float
        Relative gain in the selected result; negative for a loss. [-]
    after, before : float
        The selected result. [SI units]
    cost_of : str
        Result with the largest loss; "" if there is none.
    cost : float
        Its relative loss. [-]
    cost_after, cost_before : float
        Values of that result. [SI units]
    over : tuple of str
        Limits that are exceeded only after the step, in words.
    """

    words: str
    path: str
    amount: float
    buys: float
    after: float
    before: float
    cost_of: str
    cost: float
    cost_after: float
    cost_before: float
    over: tuple[str, ...]


def changes(inputs: Inputs, output: str) -> list[Change]:
    """Return all steps to the next size sold, the largest gain first."""
    return _changes(headlines.plain(inputs), output)


@st.cache_data(**headlines.CACHED_ANSWERS)
def _changes(inputs: Inputs, output: str) -> list[Change]:
    made = headlines.build(inputs)
    names = list(dict.fromkeys([output, *COUNTER]))
    way = headlines.profile(inputs)
    before = {k: float(v) for k, v in _evaluate(Assessment(made), names, way).items()}
    now = _broken(made)
    effects = steps(made, [n for n in names if n != MIXED_TIME], moves=next_sold(inputs))
    if output == MIXED_TIME:
        effects = [_flown(made, effect, before[MIXED_TIME], way) for effect in effects]
    found = [_change(made, effect, output, before, now) for effect in effects]
    return sorted(found, key=lambda c: -c.buys)


def _flown(made: Build, effect: Effect, before: float, way: Profile) -> Effect:
    """Return the effect of a step with the mixed flight time added."""
    after = float(flight_time(stepped(made, effect.step), way).time)
    ratio = after / before - 1.0 if before > 0.0 else math.nan
    return effect._replace(values={**effect.values, MIXED_TIME: after}, relative={**effect.relative, MIXED_TIME: ratio})


def _gain(name: str, relative: float) -> float:
    return relative if LOOKS[name].better == "max" else -relative


def _change(made: Build, effect: Effect, output: str, before: dict[str, float], now: set[str]) -> Change:
    gains = {k: _gain(k, r) for k, r in effect.relative.items()}
    buys = gains.pop(output)
    # if mass is the selected result, it is not counted as a loss as well
    worst = min(gains, key=lambda k: WEIGHTS.get(k, 1.0) * (gains[k] if math.isfinite(gains[k]) else -9.0))
    cost = -gains[worst] if math.isfinite(gains[worst]) else math.inf
    real = cost > 0.002
    return Change(
        words=effect.step.words, path=effect.step.field, amount=effect.step.change, buys=buys,
        after=effect.values[output], before=before[output], cost_of=worst if real else "", cost=cost if real else 0.0,
        cost_after=effect.values[worst], cost_before=before[worst],
        over=tuple(sorted(_broken(stepped(made, effect.step)) - now)),
    )  # fmt: skip


def stepped(made: Build, step: InputStep) -> Build:
    """Return the build after one step."""
    part, _, name = step.field.partition(".")
    old = getattr(getattr(made, part), name) if name else getattr(made, part)
    return with_fields(made, {step.field: number(old) + step.change})


def _over(whole: Assessment, shape: tuple[int, ...] = ()) -> dict[str, NDArray]:
    """Return the name of each limit -> where it is exceeded; without excess that is usual for ten seconds."""
    names: dict[str, Any] = {**margins.SHARES, **margins.FITS}
    found = margins.evaluate(whole, hold=HOLD)
    return {
        names[key].name: np.broadcast_to(
            (used > 1.0) & ~margins.is_usual(getattr(names[key], "usual", None), used, whole.thrust_to_weight), shape
        )
        for key, used in found.items()
    }


def _broken(made: Build) -> set[str]:
    """Return the names of the limits that are exceeded."""
    return {name for name, over in _over(Assessment(made, quick=True)).items() if over}


def over_of(answer: CountedSweep, picks: list[int]) -> dict[int, tuple[str, ...]]:
    """Return the names of the limits that some combinations exceed, by flat index; all limits are checked."""
    if not picks:
        return {}
    made = with_fields(answer.plan.base, answer.found.at(np.array(picks)))
    over = _over(Assessment(made, quick=True), (len(picks),))
    return {index: tuple(name for name, bad in over.items() if bad[row]) for row, index in enumerate(picks)}


# ---- solve for --------------------------------------------------------------------------------------------

SOLVED: dict[str, tuple[str, float]] = {
    "capacity_mah": ("pack.capacity_ah", MAH),
    "kv": ("motor.kv", 1.0),
    "diameter_in": ("propeller.diameter", INCH),
    "pitch_in": ("propeller.pitch", INCH),
    "payload_g": ("craft.payload_mass", GRAM),
    "frame_g": ("craft.frame_mass", GRAM),
    "command_cap_percent": ("command_cap", 0.01),
}
"""Fields that can be solved for: (dotted field of the build, scale to SI units)."""
_SPANS = {"capacity_mah": (0.2, 8.0), "kv": (0.3, 3.0), "diameter_in": (0.6, 1.6), "pitch_in": (0.5, 2.0)}
"""Search range, relative to the present value. [-]"""


@dataclass(frozen=True)
class Solved:
    """Result of solving for one field.

    Parameters
    ----------
    solution : Solution
        In SI units.
    value : float
        In the unit of the field; NaN without a solution.
    low, high : float
        Search range, in the same unit.
    """

    solution: Solution
    value: float
    low: float
    high: float


def solved(inputs: Inputs, name: str, output: str, target: float) -> Solved:
    """Return the value of one field that gives the target value of a result. ``target`` is in SI units."""
    return _solved(headlines.plain(inputs), name, output, target)


@st.cache_data(**headlines.CACHED_ANSWERS)
def _solved(inputs: Inputs, name: str, output: str, target: float) -> Solved:
    path, scale = SOLVED[name]
    field = FIELDS[name]
    low, high = float(field.low or 0.0), float(field.high or 0.0)
    if name in _SPANS:
        least, most = (s * getattr(inputs, name) for s in _SPANS[name])
        low, high = max(low, least), min(high, most)
    elif name == "payload_g":
        high = min(high, 8.0 * float(headlines.build(inputs).mass) / GRAM)
    elif name == "frame_g":
        high = min(high, 8.0 * inputs.frame_g)
    found = solve_for(headlines.build(inputs), path, output, target, low=low * scale, high=high * scale)
    return Solved(found, found.value / scale, low, high)


def with_one(inputs: Inputs, name: str, entered: float, output: str) -> float:
    """Return a result with another value of one field, for parts of the same make. [SI units]"""
    path, scale = SOLVED[name]
    changed = with_fields(headlines.build(inputs), {path: entered * scale})
    return float(evaluate(Assessment(changed, quick=True), [output])[output])


# ---- where the spread comes from --------------------------------------------------------------------------


def spread_of(inputs: Inputs, output: str) -> tuple[list[Contribution], list[tuple[str, float]]]:
    """Return the share of each uncertain quantity in the spread of a result, and the effect of readings on its band.

    Returns
    -------
    list of Contribution, list of (words, share of the band's width)
        Contributions, and the relative reduction of the width by each reading. Both have the largest first. [-]
    """
    return _spread_of(headlines.plain(inputs), output)


@st.cache_data(**headlines.CACHED_ANSWERS)
def _spread_of(inputs: Inputs, output: str) -> tuple[list[Contribution], list[tuple[str, float]]]:
    made = headlines.build(inputs)
    gains = reading_gains(made, output)
    readings = [(READINGS[k].words, g) for k, g in sorted(gains.items(), key=lambda kv: -kv[1])]
    return contributions(made, output), readings


assert set(HEADLINES) <= set(OUTPUTS)
