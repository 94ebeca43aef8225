"""Cached calls into propmodel that several pages use. No physics, no widgets.

Every function takes frozen `Inputs` that were checked (see `explorer.inputs.with_defaults_for_bad`) and returns frozen
results. The results are cached for all visitors, with all values of the inputs as the key; each caller gets a copy.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import Any, Literal

import numpy as np
import streamlit as st
from numpy.typing import NDArray

from explorer.inputs import Inputs, flying
from explorer.inputs.measured_parts import OwnInputs, build_of
from propmodel.assembly.build import Build
from propmodel.assess import margins
from propmodel.assess.assessment import Assessment
from propmodel.assess.limits import Limit, limits
from propmodel.assess.performance import evaluate, status_of
from propmodel.base.arrays import quantiles
from propmodel.components.controller import command_from_duty, duty_from_throttle
from propmodel.flight.endurance import Profile, flight_time
from propmodel.flight.level import level_flight
from propmodel.flight.power_split import PowerSplit, where_watts_go
from propmodel.powertrain.throttle_curve import ThrottleCurve, throttle_curve
from propmodel.studies.spread import curve_bands, draw

__all__ = [
    "CACHED_ANSWERS",
    "THROTTLE",
    "Answers",
    "Headlines",
    "ThrottleBand",
    "answers",
    "build",
    "interval",
    "limits_in_brief",
    "over_label",
    "plain",
    "sorted_limits",
    "story",
    "watts",
]

THROTTLE = np.linspace(0.0, 1.0, 51)
BAND_THROTTLE = np.linspace(0.0, 1.0, 26)
DRAWS = 256
"""Number of draws for the intervals: from 256 to 4096 their ends change by less than a twentieth of the width. [-]"""
TAILS = (0.1, 0.9)
"""Quantiles at the ends of the 80 % interval. [-]"""
KEPT = 256
"""Number of results in each cache. [-]"""

# the key is the repr, because Python's hash is the same for -1 and -2
CACHED_ANSWERS: dict[str, Any] = {
    "show_spinner": False,
    "max_entries": KEPT,
    "hash_funcs": {Inputs: repr, OwnInputs: repr},
}


@dataclass(frozen=True)
class Headlines:
    """Headline outputs for pages, a part of `propmodel.assess.performance.Performance`; SI units."""

    mass: float
    thrust_to_weight: float
    thrust_to_weight_at_reserve: float
    hover_throttle: float
    hover_current: float
    hover_power: float
    hover_time: float
    lifting_share: float
    thrust_per_power: float
    full_throttle_current: float
    full_throttle_rev_per_s: float
    figure_of_merit: float
    minutes: float
    """Flight time of the user's mixed flight. [s]"""
    status: int


@dataclass(frozen=True)
class Answers:
    """Headline outputs of one build, and their 80 % intervals."""

    low: Headlines
    mid: Headlines
    high: Headlines


@dataclass(frozen=True)
class ThrottleBand:
    """Throttle curve as a function of the motor command, and its 80 % interval.

    ``throttle`` of the three curves is the motor command from idle to 1, as in logs.
    """

    curve: ThrottleCurve
    low: ThrottleCurve
    high: ThrottleCurve
    hover_command: float
    """Motor command in hover at the displayed charge, idle included; NaN where the craft cannot hover. [-]"""
    hover_current: float
    hover_power: float
    lifting_power: float
    """Ideal induced power in hover, all rotors. [W]"""


def build(inputs: Inputs) -> Build:
    """Build of the inputs, with measured parts in place of labelled ones; cached and shared by `inputs.to_build`."""
    return build_of(inputs)


def profile(inputs: Inputs) -> Profile:
    """Flight profile of the inputs, as a record of the engine."""
    way = flying(inputs)
    return Profile(
        way.hover_share,
        way.cruise_share,
        way.hard_share,
        way.full_share,
        cruise_speed=way.cruise_speed,
        hard_load=way.hard_load,
    )


def plain(inputs: Inputs) -> Inputs:
    """Inputs without names, so that a new name does not need a new computation."""
    return replace(inputs, name="", motor_name="", propeller_name="", pack_name="", controller_name="")


def answers(inputs: Inputs) -> Answers:
    """Headline outputs with their intervals."""
    return _answers(plain(inputs))


_ASKED = [f.name for f in fields(Headlines) if f.name not in ("minutes", "status")]


@st.cache_data(**CACHED_ANSWERS)
def _answers(inputs: Inputs) -> Answers:
    made = build(inputs)
    whole = Assessment(made)
    mid = {name: float(v) for name, v in evaluate(whole, _ASKED).items()}
    status = int(status_of(whole))
    # the forecast is one of the draws, so one call suffices
    many = draw(made, draws=DRAWS, forecast=True).build
    drawn = evaluate(Assessment(many, quick=True, drawn=True), _ASKED)
    flown = np.asarray(flight_time(many, profile(inputs)).time)
    mid["minutes"] = float(flown[-1])
    drawn["minutes"] = np.where(flown > 0.0, flown, np.nan)
    ends = interval(np.stack([np.asarray(v)[:-1] for v in drawn.values()]))
    sides = [Headlines(**dict(zip(drawn, end.tolist(), strict=True)), status=status) for end in ends]
    return Answers(sides[0], Headlines(**mid, status=status), sides[1])


def interval(values: NDArray) -> NDArray:
    """Ends of the 80 % interval of the finite draws, shape (2, ...); NaN where most draws are not finite.

    Parameters
    ----------
    values : ndarray, shape (..., draws)
        In any unit.
    """
    return quantiles(np.where(np.isfinite(values), values, np.nan), TAILS)


def story(inputs: Inputs) -> ThrottleBand:
    """Throttle curve with its interval, at the displayed charge."""
    return _story(plain(inputs))


@st.cache_data(**CACHED_ANSWERS)
def _story(inputs: Inputs) -> ThrottleBand:
    made = build(inputs)
    charge = flying(inputs).state_of_charge
    low, _, high = curve_bands(made, BAND_THROTTLE, state_of_charge=charge)
    split = where_watts_go(made, "hover", state_of_charge=charge)
    flies = int(split.status) == 0
    # level flight at zero speed is the hover, with its duty
    still = level_flight(made, 0.0, state_of_charge=charge)
    esc = made.controller

    def over_command(curve: ThrottleCurve) -> ThrottleCurve:
        return replace(curve, throttle=command_from_duty(esc, duty_from_throttle(esc, curve.throttle)))

    hover = command_from_duty(esc, still.duty, command_cap=made.command_cap)
    return ThrottleBand(
        curve=over_command(throttle_curve(made, THROTTLE, state_of_charge=charge)),
        low=over_command(low),
        high=over_command(high),
        hover_command=float(hover) if flies else math.nan,
        hover_current=float(still.current) if flies else math.nan,
        hover_power=float(still.electrical_power) if flies else math.nan,
        lifting_power=float(split.induced_power),
    )


def sorted_limits(inputs: Inputs, hold: float = 10.0) -> list[Limit]:
    """All limits, the worst first, for full throttle during ``hold`` [s]."""
    return _sorted_limits(plain(inputs), hold, "all")


def limits_in_brief(inputs: Inputs) -> list[Limit]:
    """All limits, the worst first; with only the remedies that a first sentence names, because their search is slow."""
    return _sorted_limits(plain(inputs), 10.0, "worst")


@st.cache_data(**CACHED_ANSWERS)
def _sorted_limits(inputs: Inputs, hold: float, remedies: Literal["all", "worst"]) -> list[Limit]:
    return limits(build(inputs), hold=hold, remedies=remedies)


FIT_FIELDS = {
    "motor_cells": ("motor_max_cells",), "controller_cells": ("esc_min_cells", "esc_max_cells"),
    "video_voltage": ("vtx_max_cells",), "camera_voltage": ("camera_max_cells",),
    "regulator_voltage": ("regulator_max_v",), "receiver_voltage": ("receiver_max_v",),
    "capacitor_voltage": ("capacitor_v",), "frame_clearance": ("frame_propeller_in",),
    "mass_threshold": ("mass_threshold_g",),
}  # fmt: skip
"""Name of a fit -> the fields with its ratings."""
FIT_NAMES = frozenset(name for names in FIT_FIELDS.values() for name in names)


def over_label(inputs: Inputs) -> frozenset[str]:
    """Fields whose rating the build exceeds."""
    return _over_label(plain(inputs))


@st.cache_data(**CACHED_ANSWERS)
def _over_label(inputs: Inputs) -> frozenset[str]:
    whole = Assessment(build(inputs))
    found = {key: fit.of(whole) for key, fit in margins.FITS.items()}
    over = [FIT_FIELDS[key] for key, good in found.items() if good is not None and not bool(np.all(good))]
    named = {name for names in over for name in names}
    if inputs.esc_min_cells is None or inputs.cells >= inputs.esc_min_cells:
        named.discard("esc_min_cells")
    else:
        named.discard("esc_max_cells")
    return frozenset(named)


def watts(inputs: Inputs, state: str) -> PowerSplit:
    """Power balance in one state: "hover", "cruise" or "full"."""
    return _watts(plain(inputs), state)


@st.cache_data(**CACHED_ANSWERS)
def _watts(inputs: Inputs, state: str) -> PowerSplit:
    way = flying(inputs)
    return where_watts_go(build(inputs), state, speed=way.cruise_speed, state_of_charge=way.state_of_charge)
