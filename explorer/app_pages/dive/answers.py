"""Results of page Dive, cached: the dive with its band, vortex ring state."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import streamlit as st
from numpy.typing import NDArray

from explorer.forecasts import headlines
from explorer.forecasts.bands import DRAWS, HIGH, LOW, way_reserve, without_dive
from explorer.inputs import Inputs, flying
from propmodel.assembly.build import take
from propmodel.assess.assessment import Assessment
from propmodel.base.arrays import number
from propmodel.base.status import Status
from propmodel.dive.pull_out import dive_of, pull_out
from propmodel.dive.stepped import Delay, PullOut, WashBand, wash_band
from propmodel.flight.level import level_flight
from propmodel.studies.punch import punch
from propmodel.studies.spread import draw

__all__ = [
    "DiveAnswer",
    "dive",
    "parts_of_delay",
    "path_alone",
    "wash",
]

# ---- dive -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class DiveAnswer:
    """One dive with its band, and the table of load factor against state of charge. SI units.

    Parameters
    ----------
    out : PullOut
        Forecast, with the paths.
    low, high : float
        80 % interval of the height lost; infinite if some craft cannot return to level flight. [m]
    delay : Delay
        Parts of the delay before the pull. [s]
    pulls, charges : ndarray
        Rows and columns of the table: thrust to weight of the pull, state of charge. [-]
    heights : ndarray
        Height lost, shape (pulls, charges); NaN if it cannot return to level flight. [m]
    held_back : ndarray of bool
        True if the motors or the pack supply less than the thrust asked for; same shape.
    available : float
        Available thrust to weight for the pull-out, after the margin for attitude control. [-]
    """

    out: PullOut
    low: float
    high: float
    delay: Delay
    pulls: NDArray
    charges: NDArray
    heights: NDArray
    held_back: NDArray
    available: float
    powered: bool
    """Whether the entered speed is higher than the fall reaches."""
    hovers: bool = True
    """Whether the thrust at full throttle exceeds the weight at this state of charge."""


def parts_of_delay(reaction: float, spool: float) -> Delay:
    """Return the delay: the reaction time split as in `propmodel`, and the spin-up time. Arguments in s."""
    base = Delay()
    known = number(base.see) + number(base.decide) + number(base.rotate)
    part = reaction / known
    return Delay(
        see=part * number(base.see),
        decide=part * number(base.decide),
        rotate=part * number(base.rotate),
        spool=spool,
    )


def dive(inputs: Inputs, *, entry: str = "nose_down", start_height: float | None = None) -> DiveAnswer:
    """Return the dive: fall, delay and pull-out, at the state of charge of the inputs.

    Parameters
    ----------
    inputs : Inputs
        The build, with drop, speed and reaction time.
    entry : {"nose_down", "flat"}
        Attitude at the start of the dive.
    start_height : float or None
        Height above the ground at which the dive begins. [m]

    Returns
    -------
    DiveAnswer
        Forecast, band and table.
    """
    return _dive(headlines.plain(inputs), entry, start_height)


def path_alone(inputs: Inputs, *, entry: str = "nose_down", start_height: float | None = None) -> PullOut:
    """Return the forecast of a dive without band and table, for pinned builds. Parameters as for `dive`."""
    return _path_alone(headlines.plain(inputs), entry, start_height)


@st.cache_data(**headlines.CACHED_ANSWERS)
def _path_alone(inputs: Inputs, entry: str, start_height: float | None) -> PullOut:
    return _forecast(inputs, entry, start_height).out


@dataclass(frozen=True)
class _Forecast:
    """Forecast of one dive, and the arguments of `pull_out` for the same dive of other craft."""

    out: PullOut
    drop: float | None
    delay: Delay
    spool: float
    asked: dict[str, Any]
    powered: bool


def _forecast(inputs: Inputs, entry: str, start_height: float | None) -> _Forecast:
    made, way = headlines.build(inputs), flying(inputs)
    spool = float(punch(made).time_90)
    if not math.isfinite(spool):
        spool = number(Delay().spool)
    delay = parts_of_delay(way.reaction, spool)
    asked: dict[str, Any] = {"entry": entry, "delay": delay}
    drop: float | None = way.drop
    if way.dive_speed:  # None and zero mean no entered speed
        asked["speed"] = way.dive_speed
    now: dict[str, Any] = {"state_of_charge": way.state_of_charge, "load_limit": way.load_limit, "keep_path": True}
    first = pull_out(made, drop, **now, **asked)
    powered = bool(way.dive_speed) and float(first.speed) < 0.98 * float(way.dive_speed or 0.0)
    if powered:
        drop = None
        first = pull_out(made, drop, **now, **asked)
    fallen = way.drop if powered else float(first.fall_height)
    if start_height is not None and start_height > fallen:
        first = pull_out(made, drop, height_at_command=start_height - fallen, **now, **asked)
    return _Forecast(replace(first, fall_height=np.asarray(fallen)), drop, delay, spool, asked, powered)


@st.cache_data(**headlines.CACHED_ANSWERS)
def _dive(inputs: Inputs, entry: str, start_height: float | None) -> DiveAnswer:
    made, way = headlines.build(inputs), flying(inputs)
    known = _forecast(inputs, entry, start_height)
    drop, delay, spool = known.drop, known.delay, known.spool
    pulls = np.array([2.0, 3.0, 4.0, 5.0, 6.0])
    charges = np.unique(np.array([1.0, 0.6, 0.4, way_reserve(made)]))[::-1][:4]
    cells = (pulls.size, charges.size)
    count = pulls.size * charges.size
    # the random draws fly this dive; the forecast follows, once for each cell of the table
    drawn = draw(made, draws=DRAWS, forecast=True)
    which = np.r_[:DRAWS, [DRAWS] * count]
    own = punch(drawn.build, factor=drawn.response_factor, quick=True).time_90
    asked = {**known.asked, "delay": replace(delay, spool=np.where(np.isfinite(own), own, spool)[which])}
    many = pull_out(
        take(drawn.build, which, (DRAWS + 1,)),
        drop,
        state_of_charge=np.r_[[way.state_of_charge] * DRAWS, np.tile(charges, pulls.size)],
        load_limit=np.r_[[way.load_limit] * DRAWS, np.repeat(pulls, charges.size)],
        **asked,
    )
    lost = np.sort(np.where(np.isnan(many.height_lost), np.inf, many.height_lost)[:DRAWS])
    low, high = float(lost[int(LOW * lost.size)]), float(lost[int(HIGH * lost.size)])
    there = dive_of(made, state_of_charge=way.state_of_charge, drop=way.drop)
    available = float(np.asarray(there.steering_share) * there.max_thrust / made.weight)
    return DiveAnswer(
        known.out, low, high, delay, pulls, charges, many.height_lost[DRAWS:].reshape(cells),
        many.peak_load[DRAWS:].reshape(cells) < pulls[:, None] - 1e-9, available, known.powered,
        int(level_flight(made, 0.0, state_of_charge=way.state_of_charge).status) == Status.OK,
    )  # fmt: skip


def wash(inputs: Inputs) -> tuple[WashBand, float]:
    """Return the band of descent speeds in the vortex ring state, and the induced velocity in hover. [m/s]"""
    return _wash(without_dive(inputs))


@st.cache_data(**headlines.CACHED_ANSWERS)
def _wash(inputs: Inputs) -> tuple[WashBand, float]:
    speed = float(Assessment(headlines.build(inputs)).wash_speed)
    return wash_band(speed), speed
