"""Results of page Margins, cached: bands of the shares, temperatures, response."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import streamlit as st

from explorer.forecasts import headlines
from explorer.forecasts.bands import quantiles, without_dive
from explorer.inputs import Inputs, flying, mix
from propmodel import power_up
from propmodel.assembly.build import Build
from propmodel.assess import margins
from propmodel.assess.assessment import Assessment
from propmodel.base.arrays import number
from propmodel.base.status import Status
from propmodel.flight.trim import Airframe, trim
from propmodel.heat.motor import steady_temperatures
from propmodel.heat.motor_limits import seconds_to_limit
from propmodel.powertrain import operating_point
from propmodel.studies.punch import punch, punch_band
from propmodel.studies.spread import draw

__all__ = [
    "HeatState",
    "Response",
    "bench_facts",
    "heat_states",
    "quick_response",
    "share_bands",
]

# ---- margins ----------------------------------------------------------------------------------------------


def share_bands(inputs: Inputs, hold: float) -> dict[str, tuple[float, float]]:
    """Return the 80 % interval of the share used of each limit, for craft with these labels. [-]"""
    return _share_bands(without_dive(inputs), hold)


@st.cache_data(**headlines.CACHED_ANSWERS)
def _share_bands(inputs: Inputs, hold: float) -> dict[str, tuple[float, float]]:
    drawn = draw(headlines.build(inputs), draws=128)
    a = Assessment(drawn.build, quick=True, thermal_factor=drawn.thermal_factor)
    found = margins.evaluate(a, hold=hold)
    out = {}
    for key in margins.SHARES:
        values = np.where(np.isnan(found[key]), np.nan, np.minimum(found[key], 1e3))
        out[key] = quantiles(np.asarray(values))
    return out


@dataclass(frozen=True)
class HeatState:
    """Heat in one motor in one flight condition: copper and iron losses [W], final temperature [K], time limit [s]."""

    name: str
    copper: float
    iron: float
    winding: float
    body: float
    air: float
    seconds: float
    possible: bool

    @property
    def heat_flow(self) -> float:
        """Total loss in the motor. [W]"""
        return self.copper + self.iron

    @property
    def rise(self) -> float:
        """Temperature of the bell above the air; NaN without a final temperature. [K]"""
        return self.body - self.air


def heat_states(inputs: Inputs) -> list[HeatState]:
    """Return the heat in each motor in hover, cruise, mixed flight and at full throttle."""
    return _heat_states(without_dive(inputs))


@st.cache_data(**headlines.CACHED_ANSWERS)
def _heat_states(inputs: Inputs) -> list[HeatState]:
    made, way = headlines.build(inputs), flying(inputs)
    a = Assessment(made)
    _, cruise = trim(a.fresh_sustained, Airframe.of(made), np.asarray(way.cruise_speed), passes=60)
    lift = float(a.weight) / number(made.rotors)
    hard = operating_point.at_thrust(a.fresh_sustained, np.minimum(way.hard_load * lift, a.full_throttle.thrust))
    copper = np.array([float(a.winding_heat(p)) for p in (a.hover, cruise, hard, a.full_throttle)])
    iron = np.array([float(p.iron_loss) for p in (a.hover, cruise, hard, a.full_throttle)])
    shares = np.array(mix(inputs))
    can_hover = bool(a.can_hover)
    can_cruise = can_hover and float(cruise.duty) <= float(a.cap) and int(cruise.status) == Status.OK
    mixed = can_hover and (can_cruise or way.cruise_share == 0.0)
    # cruise and mixed flight: cooling as in hover; the airspeed is neglected, so temperatures are slightly high
    rows = (
        ("hover", copper[0], iron[0], a.thermal_hover, can_hover),
        ("cruising", copper[1], iron[1], a.thermal_hover, can_cruise),
        ("flown your way", float(shares @ copper), float(shares @ iron), a.thermal_hover, mixed),
        ("flat out", copper[3], iron[3], a.thermal_full, True),
    )
    air = number(made.air.temperature)
    found = []
    for name, cu, fe, cooling, possible in rows:
        steady = steady_temperatures(cu, fe, resistance=cooling, air_temperature=air)
        seconds = seconds_to_limit(
            cu, fe, resistance=cooling, capacity=a.heat_capacity, air_temperature=air,
            winding_limit=made.motor.winding_limit,
        )  # fmt: skip
        found.append(
            HeatState(
                name, float(cu), float(fe), float(steady.winding), float(steady.body), air, float(seconds), possible
            )
        )
    return found


@dataclass(frozen=True)
class Response:
    """Response of the thrust to a step to full throttle, with ends of the 80 % interval. All times in s."""

    time_63: float
    """From hover to 63 % of the full thrust. [s]"""
    time_90: float
    low_90: float
    high_90: float
    time_constant: float
    """Time constant of small changes of rotor speed, with the speed controller. [s]"""
    low_constant: float
    high_constant: float
    full_rev_per_s: float
    inertia: float
    """Moment of inertia of one rotor. [kg m^2]"""
    energy: float
    """Kinetic energy of one rotor in hover. [J]"""


def quick_response(inputs: Inputs) -> Response:
    """Return the response to full throttle, from hover on a full pack."""
    return _response(without_dive(inputs))


@st.cache_data(**headlines.CACHED_ANSWERS)
def _response(inputs: Inputs) -> Response:
    return response_of(headlines.build(inputs))


def response_of(made: Build) -> Response:
    """Return the response of one scalar build."""
    mid = punch(made)
    low, high = punch_band(made)
    return Response(
        float(mid.time_63),
        float(mid.time_90),
        float(low.time_90),
        float(high.time_90),
        float(mid.time_constant),
        float(low.time_constant),
        float(high.time_constant),
        float(mid.full_rev_per_s),
        float(mid.inertia),
        float(mid.energy),
    )


def bench_facts(inputs: Inputs) -> list[power_up.Fact]:
    """Return short events on the bus: blocked propeller, plug-in, braking on a bench supply."""
    return _bench_facts(without_dive(inputs))


@st.cache_data(**headlines.CACHED_ANSWERS)
def _bench_facts(inputs: Inputs) -> list[power_up.Fact]:
    return power_up.facts(power_up.from_build(headlines.build(inputs)))
