"""Results of the first power-up and of single readings; cached where computing is slow. No widgets.

Functions of valid `Inputs` and plain values, as in `explorer.forecasts.headlines`; results are frozen.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import streamlit as st

from explorer.forecasts import headlines
from explorer.inputs import Inputs
from explorer.inputs.measured_parts import OwnParts, measured, without_measured
from propmodel import power_up
from propmodel.assess.assessment import Assessment
from propmodel.assess.performance import evaluate
from propmodel.base.arrays import number
from propmodel.bench.readings import NOISE, READINGS, conditioned, parts_from_readings, reading_shares, seen
from propmodel.components import motor as motor_model
from propmodel.power_up.steps import PowerUp
from propmodel.studies.spread import bands, draw

__all__ = [
    "READINGS",
    "READINGS_NAME",
    "Learned",
    "from_readings",
    "learned",
    "power",
    "reading_shares",
]

READINGS_NAME = "your bench readings"
"""Name of measured parts that come from readings."""
DRAWS = 512


# ---- first power-up ---------------------------------------------------------------------------------------


def power(inputs: Inputs, *, modern: bool | None, supply_voltage: float | None = None) -> PowerUp:
    """Return the expected readings of the first power-up, with the bands of this build.

    Parameters
    ----------
    inputs : Inputs
        The build.
    modern : bool or None
        Whether the ESC freewheels actively; None if unknown.
    supply_voltage : float or None
        Supply voltage of the motor tests; None for the full pack. [V]
    """
    return _power(headlines.plain(inputs), modern, supply_voltage)


@st.cache_data(**headlines.CACHED_ANSWERS)
def _power(inputs: Inputs, modern: bool | None, supply_voltage: float | None) -> PowerUp:
    made = headlines.build(inputs)
    low, mid, high = bands(made, draws=256)
    shares: dict[str, tuple[float, float]] = {}
    for name in ("hover_throttle", "hover_current", "full_throttle_motor_current", "full_throttle_thrust"):
        down, up = (float(getattr(side, name)) / float(getattr(mid, name)) for side in (low, high))
        if all(math.isfinite(v) and v > 0.0 for v in (down, up)):
            shares[name] = down, up
    own = getattr(inputs, "own", None)
    known = inputs.no_load_a is not None
    found = power_up.from_build(
        made, active_freewheeling=modern, no_load_known=known, supply_voltage=supply_voltage, bands=shares
    )
    if own is not None and own.motor is not None:
        # a calibrated KV applies under load; without a propeller the motor follows the KV of its label
        found = replace(found, kv=number(own.motor.kv) / motor_model.LOADED_KV_RATIO)
    return found


# ---- effect of readings -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Learned:
    """One headline result before and after some readings; SI units."""

    name: str
    """Key of `propmodel.assess.performance.OUTPUTS`."""
    before: tuple[float, float, float]
    after: tuple[float, float, float]
    """Low end, middle and high end of the 80 % interval."""

    @property
    def widths(self) -> tuple[float, float]:
        """Width of the band over its middle, before and after. [-]"""
        before, after = ((side[2] - side[0]) / side[1] for side in (self.before, self.after))
        return before, after


ANSWERS = ("thrust_to_weight", "hover_time", "full_throttle_current")


def learned(inputs: Inputs, shares: Mapping[str, float]) -> list[Learned]:
    """Return the effect of readings (as ratios to their forecast) on the headline bands."""
    return _learned(headlines.plain(inputs), tuple(sorted(shares.items())))


@st.cache_data(**headlines.CACHED_ANSWERS)
def _learned(inputs: Inputs, shares: tuple[tuple[str, float], ...]) -> list[Learned]:
    made = headlines.build(inputs)
    # the band before is that of the other pages, which is asymmetric; readings shift and narrow it
    headline = headlines.answers(inputs)
    whole = Assessment(draw(made, draws=DRAWS).build, quick=True)
    drawn = evaluate(whole, list(ANSWERS))
    x = np.array([seen(whole, kind, draws=DRAWS) for kind, _ in shares]).reshape(len(shares), DRAWS)
    out = []
    for name in ANSWERS:
        with np.errstate(invalid="ignore", divide="ignore"):
            y = np.log(np.broadcast_to(drawn[name], (DRAWS,)))
        good = np.isfinite(y) & np.isfinite(x).all(axis=0)
        low, middle, high = (float(getattr(side, name)) for side in (headline.low, headline.mid, headline.high))
        if good.sum() < 0.5 * DRAWS or not all(math.isfinite(v) and v > 0.0 for v in (low, middle, high)):
            continue
        shift, remaining = 0.0, 1.0
        if shares:
            noise = [NOISE[kind] for kind, _ in shares]
            found = conditioned(x[:, good], y[good], noise=noise, read=np.log([share for _, share in shares]))
            shift, remaining = found.shift, found.after / found.before if found.before > 0.0 else 1.0
        moved = middle * math.exp(shift)
        after = (moved * (low / middle) ** remaining, moved, moved * (high / middle) ** remaining)
        out.append(Learned(name, (low, middle, high), after))
    return out


def from_readings(inputs: Inputs, shares: Mapping[str, float]) -> OwnParts:
    """Return motor, propeller and controller adjusted to single readings."""
    made = headlines.build(headlines.plain(without_measured(inputs)))
    whole = Assessment(draw(made, draws=DRAWS).build, quick=True)
    motor, propeller, controller = parts_from_readings(made, whole, shares, draws=DRAWS)
    # a reading at full command contains no information on the throttle exponent
    hovered = bool({"hover_command", "hover_current"} & set(shares))
    return measured(
        inputs,
        READINGS_NAME,
        motor=motor,
        propeller=propeller,
        controller=controller if hovered else None,
    )
