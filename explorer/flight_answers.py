"""What the pages Minutes, Margins and Dive ask of the engine, each answer kept: as `explorer.compute`, no screen.

Every function takes checked `Inputs`; all builds that one answer needs go through the engine in one call.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import streamlit as st
from numpy.typing import NDArray

from explorer import compute
from explorer.inputs import Flying, Inputs, flying, mix
from propmodel import power_up
from propmodel.assembly.build import Build, subset, with_fields
from propmodel.assess import margins
from propmodel.assess.assessment import Assessment
from propmodel.base.status import Status
from propmodel.base.units import CELSIUS_ZERO
from propmodel.components import battery
from propmodel.components.controller import throttle_from_duty
from propmodel.dive.pull_out import dive_of, pull_out
from propmodel.dive.stepped import Delay, PullOut, WashBand, wash_band
from propmodel.flight.endurance import FlightTime, Profile, flight_time
from propmodel.flight.trim import (
    Airframe,
    BestSpeeds,
    TopSpeed,
    best_speeds,
    climb_rate,
    level_flight,
    steepest_tilt,
    top_speed,
    trim,
)
from propmodel.heat.motor import seconds_to_limit, steady_temperatures
from propmodel.powertrain import operating_point
from propmodel.studies.punch import punch, punch_band
from propmodel.studies.spread import draw

__all__ = [
    "ROWS",
    "Cutoff",
    "DiveAnswer",
    "FirmwareHover",
    "Ghosts",
    "HeatState",
    "Minutes",
    "PackAxis",
    "Response",
    "SpeedCurve",
    "bench_facts",
    "cutoffs",
    "dive",
    "firmware_hover",
    "ghosts",
    "heat_states",
    "minutes",
    "pack_axis",
    "parts_of_delay",
    "quick_response",
    "share_bands",
    "speed_curve",
    "turn_back",
    "wash",
]

DRAWS = compute.DRAWS
SPEED_DRAWS, SPEED_POINTS = 32, 25
LOW, HIGH = compute.TAILS

ROWS = ("hang still", "cruise", "your way", "flat out")
"""Ways of flying in the ledger."""

OLD_CYCLES = 250.0
"""Full cycles of the old pack in the ghost curve. [-] Estimate: about two seasons."""
COLD = CELSIUS_ZERO
"""Cells of the cold pack in the ghost curve. [K]"""
COLD_MILD_FACTOR = 2.0
"""Resistance of a kind hobby pack at 0 C over that at 25 C. [-] From memory; the measured LiPo pouch has 3.3."""


def _craft_only(inputs: Inputs) -> Inputs:
    """The same craft, flown the same way: a new mix or dive costs no new answer about level speed."""
    return replace(
        compute.plain(inputs), flying_style="play", mix_hover_percent=None, mix_cruise_percent=None,
        mix_hard_percent=None, mix_full_percent=None, drop_m=60.0, dive_kmh=None, reaction_s=0.5,
        hardest_pull_g=5.0, charge_left_percent=100.0,
    )  # fmt: skip


def _undived(inputs: Inputs) -> Inputs:
    """The same without the dive, which the minutes do not hang on."""
    return replace(
        compute.plain(inputs), drop_m=60.0, dive_kmh=None, reaction_s=0.5, hardest_pull_g=5.0, charge_left_percent=100.0
    )


def _profile(shares: NDArray, way: Flying) -> Profile:
    hover, cruise, hard, full = (shares[..., k] for k in range(4))
    return Profile(hover, cruise, hard, full, cruise_speed=way.cruise_speed, hard_load=way.hard_load)


def _quantiles(values: NDArray) -> tuple[float, float]:
    return compute.quantile(values, LOW), compute.quantile(values, HIGH)


# ---- minutes ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Minutes:
    """Flights of one build from a full pack, SI units, charge in A h.

    Parameters
    ----------
    time, low, high : dict
        By `ROWS`: seconds until the landing charge or the landing voltage, and the ends of the band. [s]
    status : dict
        Codes of `base.status.Status`.
    current : dict
        Mean current from the pack. [A]
    charge : float
        Drawn at landing, flown your way. [A h]
    end_charge : float
        State of charge at landing. [-]
    by_voltage, by_throttle : bool
        True where the landing voltage comes before the landing charge, or full throttle no longer holds it up before
        either.
    empty_time, empty_low, empty_high : float
        Flown on to the landing voltage. [s]
    curve_time, curve_charge, curve_volts : ndarray
        Flown on to the landing voltage: time, state of charge, loaded voltage of a cell. [s, -, V]
    band_time, band_low, band_high : ndarray
        Where 8 in 10 craft are. [s, V, V]
    cutoff : float
        Landing voltage of a cell. [V]
    capacity : float
        Of the pack, at its age. [A h]
    needed : float
        Thrust that the cruise needs over what there is. [-]
    """

    time: dict[str, float]
    low: dict[str, float]
    high: dict[str, float]
    status: dict[str, int]
    current: dict[str, float]
    charge: float
    end_charge: float
    by_voltage: bool
    by_throttle: bool
    empty_time: float
    empty_low: float
    empty_high: float
    curve_time: NDArray
    curve_charge: NDArray
    curve_volts: NDArray
    band_time: NDArray
    band_low: NDArray
    band_high: NDArray
    cutoff: float
    capacity: float
    needed: float


def _rows(inputs: Inputs) -> NDArray:
    mine = mix(inputs)
    return np.array([[1, 0, 0, 0], [0, 1, 0, 0], mine, [0, 0, 0, 1], mine], dtype=float)


@dataclass(frozen=True)
class Ghosts:
    """The same flight with a cold and with an old pack: times and loaded voltages of a cell. [s, V]"""

    cold_time: NDArray
    cold_volts: NDArray
    mild_time: NDArray
    mild_volts: NDArray
    old_time: NDArray
    old_volts: NDArray
    cold_lands: tuple[float, float]
    """Landing with the cold pack: as the measured pouch, and as a pack that minds the cold less. [s]"""
    old_lands: float
    """[s]"""


@dataclass(frozen=True)
class PackAxis:
    """Minutes against the mass of the pack, same kind of pack.

    Parameters
    ----------
    mass, capacity, time : ndarray
        NaN where it cannot fly so. [kg, A h, s]
    here_mass, here_time : float
        The pack of today. [kg, s]
    best_mass, best_capacity, best_time : float
        The longest flight that still pulls twice the weight at the end. [kg, A h, s]
    inside : bool
        True where the longest flight is a top of the curve, not the edge of what still pulls twice the weight.
    heaviest : float
        Pack beyond which it pulls less than twice its weight at the end; NaN where none tried does. [kg]
    """

    mass: NDArray
    capacity: NDArray
    time: NDArray
    here_mass: float
    here_time: float
    best_mass: float
    best_capacity: float
    best_time: float
    inside: bool
    heaviest: float


@dataclass(frozen=True)
class Cutoff:
    """Minutes flown your way against the landing voltage of a cell. [V, s]"""

    volts: NDArray
    time: NDArray
    here_volts: float
    here_time: float


def minutes(inputs: Inputs) -> Minutes:
    """The four ways in the ledger, and your flight on to the landing voltage, with their bands."""
    return _flights(_undived(inputs))[0]


def ghosts(inputs: Inputs) -> Ghosts:
    """Curves of a cold pack (a band between two packs) and of an old one."""
    return _flights(_undived(inputs))[1]


def pack_axis(inputs: Inputs) -> PackAxis:
    """Try packs from a third of the capacity up; mass, label amps and resistance follow."""
    return _flights(_undived(inputs))[2]


def cutoffs(inputs: Inputs) -> Cutoff:
    """What another landing voltage changes."""
    return _flights(_undived(inputs))[3]


PACKS, VOLTS = 30, 25
LEAST_PULL = 2.0
"""Pull over weight at the end of the flight below which no pack is called best (common practice). [-]"""


@st.cache_data(**compute.KEPT_ANSWERS)
def _flights(inputs: Inputs) -> tuple[Minutes, Ghosts, PackAxis, Cutoff]:
    """All single flights of the page in one call of the engine, and the drawn ones in another."""
    made, way, mine = compute.build(inputs), flying(inputs), mix(inputs)
    pack, cells = made.pack, float(np.asarray(made.pack.cells))
    reserve, here = way_reserve(made), float(battery.cutoff_voltage(pack))
    now, age = float(np.asarray(pack.temperature)), float(np.asarray(pack.cycles))
    warmer = np.linspace(battery.REFERENCE_TEMPERATURE, COLD - 20.0, 200)
    mild = float(np.interp(COLD_MILD_FACTOR, battery.temperature_factor(warmer), warmer))
    own = float(np.asarray(pack.capacity_ah))
    # an ideal hover is longest with a pack twice as heavy as all the rest: look a little beyond that
    heaviest = 3.6 * (float(made.mass) / float(battery.mass(pack)) - 1.0)
    packs = own * np.geomspace(0.3, max(heaviest, 3.0), PACKS)
    full = float(battery.open_circuit_voltage(pack, 1.0)) / cells
    volts = np.linspace(max(0.6 * full, here - 0.5), 0.93 * full, VOLTS)

    rows = _rows(
        inputs
    )  # four of the ledger and yours to the landing voltage; then cold, mild, old, twice; packs; volts
    count = 5 + 6 + PACKS + VOLTS
    shares = np.tile(np.array(mine), (count, 1))
    shares[:5] = rows
    keep, hot, cycles = np.full(count, reserve), np.full(count, now), np.full(count, age)
    capacity, cut = np.full(count, own), np.full(count, here)
    keep[4] = 0.0
    hot[5:11] = [min(COLD, now), min(mild, now), now] * 2
    cycles[[7, 10]] = max(age, OLD_CYCLES)
    keep[5:8] = 0.0
    capacity[11 : 11 + PACKS] = packs
    cut[11 + PACKS :] = volts
    tried = with_fields(
        made,
        {
            "pack.reserve": keep, "pack.temperature": hot, "pack.cycles": cycles, "pack.capacity_ah": capacity,
            "pack.cutoff_voltage_per_cell": cut,
        },
    )  # fmt: skip
    flown = flight_time(tried, _profile(shares, way))
    time, curve = flown.curve_time, flown.curve_voltage / cells
    land = np.where(flown.time > 0.0, flown.time, np.nan)
    mass = np.broadcast_to(battery.mass(tried.pack), (count,))
    ghost = Ghosts(
        time[:, 5], curve[:, 5], time[:, 6], curve[:, 6], time[:, 7], curve[:, 7],
        (float(flown.time[8]), float(flown.time[9])), float(flown.time[10]),
    )  # fmt: skip
    line = slice(11, 11 + PACKS)
    axis = _best_pack(made, mass[line], packs, land[line], here_time=float(land[2]))
    cutoff = Cutoff(volts, np.nan_to_num(flown.time[11 + PACKS :]), here, float(np.nan_to_num(flown.time[2])))
    return _with_bands(made, way, rows, flown, cells), ghost, axis, cutoff


def _best_pack(made: Build, mass: NDArray, capacity: NDArray, time: NDArray, *, here_time: float) -> PackAxis:
    """Longest flight among the packs that leave twice the weight of pull at the end."""
    low = Assessment(with_fields(made, {"pack.capacity_ah": capacity}), quick=True).thrust_to_weight_at_reserve
    weak = np.flatnonzero((low < LEAST_PULL) & (mass > float(battery.mass(made.pack))))
    heaviest = math.nan
    usable = np.where(low >= LEAST_PULL, time, np.nan)
    if weak.size and weak[0] > 0:
        k = int(weak[0])
        heaviest = float(np.interp(LEAST_PULL, [low[k], low[k - 1]], [mass[k], mass[k - 1]]))
    best_mass = best_capacity = best_time = math.nan
    inside = False
    if np.isfinite(usable).any():
        k = int(np.nanargmax(usable))
        best_mass, best_capacity, best_time = float(mass[k]), float(capacity[k]), float(usable[k])
        inside = 0 < k < mass.size - 1 and bool(np.isfinite(usable[k - 1 : k + 2]).all())
        if inside:
            x, y = np.log(mass[k - 1 : k + 2]), usable[k - 1 : k + 2]
            bent, slope, level = np.polyfit(x - x[1], y, 2)
            shift = -slope / (2.0 * bent) if bent < 0.0 else 0.0
            best_mass, best_time = float(mass[k] * math.exp(shift)), float(level + 0.5 * slope * shift)
            best_capacity = float(np.interp(best_mass, mass, capacity))
        elif math.isfinite(heaviest) and k + 1 < mass.size and heaviest > best_mass:
            best_mass, best_time = heaviest, float(np.interp(heaviest, mass, np.nan_to_num(time)))
            best_capacity = float(np.interp(heaviest, mass, capacity))
    return PackAxis(
        mass,
        capacity,
        time,
        float(battery.mass(made.pack)),
        here_time,
        best_mass,
        best_capacity,
        best_time,
        inside,
        heaviest,
    )


def _with_bands(made: Build, way: Flying, rows: NDArray, mid: FlightTime, cells: float) -> Minutes:
    """The first five flights with the bands that the labels allow."""
    kept = np.array([way_reserve(made)] * 4 + [0.0])[:, None]
    many = flight_time(
        with_fields(draw(made, draws=DRAWS).build, {"pack.reserve": kept}), _profile(rows[:, None, :], way)
    )
    grid, low, high = _curve_band(many.curve_time[:, 4, :], many.curve_voltage[:, 4, :] / cells)
    ends = [_quantiles(np.where(many.time[k] > 0.0, many.time[k], np.nan)) for k in range(5)]
    level = level_flight(made, way.cruise_speed)
    named = {name: k for k, name in enumerate(ROWS)}
    return Minutes(
        time={name: float(mid.time[k]) for name, k in named.items()},
        low={name: ends[k][0] for name, k in named.items()},
        high={name: ends[k][1] for name, k in named.items()},
        status={name: int(mid.status[k]) for name, k in named.items()},
        current={name: float(mid.mean_current[k]) for name, k in named.items()},
        charge=float(mid.charge[2]),
        end_charge=float(mid.end_state_of_charge[2]),
        by_voltage=bool(mid.stopped_by_voltage[2]),
        by_throttle=bool(mid.stopped_by_throttle[2]),
        empty_time=float(mid.time[4]),
        empty_low=ends[4][0],
        empty_high=ends[4][1],
        curve_time=mid.curve_time[:, 4],
        curve_charge=mid.curve_state_of_charge[:, 4],
        curve_volts=mid.curve_voltage[:, 4] / cells,
        band_time=grid,
        band_low=low,
        band_high=high,
        cutoff=float(battery.cutoff_voltage(made.pack)),
        capacity=float(battery.capacity(made.pack)),
        needed=float(level.thrust_needed_over_available),
    )


def way_reserve(made: Build) -> float:
    """Charge to land with. [-]"""
    return float(np.asarray(made.pack.reserve))


def _curve_band(time: NDArray, volts: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """Band of the voltage against time; knots along the first axis, craft along the second."""
    grid = np.linspace(0.0, max(float(np.quantile(time[-1], HIGH)), 1.0), 25)
    # the segment of each craft in which each time falls; those that have landed stay at their last voltage
    at = np.clip((time[None, :, :] <= grid[:, None, None]).sum(axis=1), 1, time.shape[0] - 1)
    t0, t1 = np.take_along_axis(time, at - 1, 0), np.take_along_axis(time, at, 0)
    v0, v1 = np.take_along_axis(volts, at - 1, 0), np.take_along_axis(volts, at, 0)
    share = np.clip((grid[:, None] - t0) / np.maximum(t1 - t0, 1e-9), 0.0, 1.0)
    found = v0 + share * (v1 - v0)
    return grid, np.quantile(found, LOW, axis=1), np.quantile(found, HIGH, axis=1)


@dataclass(frozen=True)
class FirmwareHover:
    """Hover command at both ends of the flight, for both kinds of firmware, and pull over weight. [-]"""

    start: float
    end: float
    linear_start: float
    linear_end: float
    pull_start: float
    pull_end: float
    hover_current: float
    """[A]"""


def firmware_hover(inputs: Inputs) -> FirmwareHover:
    """Command that holds a hover on a full pack and with the landing charge left."""
    return _firmware_hover(_undived(inputs))


@st.cache_data(**compute.KEPT_ANSWERS)
def _firmware_hover(inputs: Inputs) -> FirmwareHover:
    made = compute.build(inputs)
    a = Assessment(made)
    cap = np.asarray(made.command_cap)
    start, end = (
        float(throttle_from_duty(made.controller, p.duty, command_cap=cap)) for p in (a.hover, a.hover_at_reserve)
    )
    pull, pull_low = float(a.thrust_to_weight), float(a.thrust_to_weight_at_reserve)
    return FirmwareHover(start, end, 1.0 / pull, 1.0 / pull_low, pull, pull_low, float(a.hover.pack_current))


# ---- speed ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class SpeedCurve:
    """Level flight from hover to the top speed. SI units.

    Parameters
    ----------
    speed, power, current, tilt : ndarray
        On a full pack. [m/s, W, A, rad]
    held : ndarray of bool
        True where it can be held for minutes; beyond, the pack gives it for seconds only.
    low, high : ndarray
        Band of the power at every second speed; NaN where fewer than 8 in 10 craft can fly so. [W]
    time : ndarray
        Minutes aloft at that speed, to the landing. [s]
    best : BestSpeeds
    top : TopSpeed
    climb : float
        [m/s]
    steepest : float
        Steepest level tilt. [rad]
    """

    speed: NDArray
    power: NDArray
    held: NDArray
    current: NDArray
    tilt: NDArray
    low: NDArray
    high: NDArray
    time: NDArray
    best: BestSpeeds
    top: TopSpeed
    climb: float
    steepest: float


def speed_curve(inputs: Inputs) -> SpeedCurve:
    """Power against speed with its band, best and top speed, minutes at each speed."""
    return _speed_curve(replace(_craft_only(inputs), cruise_kmh=50.0))


@st.cache_data(**compute.KEPT_ANSWERS)
def _speed_curve(inputs: Inputs) -> SpeedCurve:
    made = compute.build(inputs)
    top = top_speed(made)
    most = float(top.speed)
    if not math.isfinite(most):
        gap, half = np.full(3, np.nan), np.full(2, np.nan)
        return SpeedCurve(
            np.array([0.0, 0.5, 1.0]), gap, gap > 0.0, gap, gap, half, half, gap, best_speeds(made, points=25), top,
            math.nan, math.nan,
        )  # fmt: skip
    speed = np.linspace(0.0, most, SPEED_POINTS)
    mid = level_flight(made, speed)
    last = int(np.flatnonzero(mid.status == Status.OK)[-1]) if (mid.status == Status.OK).any() else -1
    if 0 < last < SPEED_POINTS - 1:
        # the fastest that is held for minutes lies between two points: move the last one there
        between = np.linspace(speed[last], speed[last + 1], 60, endpoint=False)
        good = level_flight(made, between).status == Status.OK
        speed[last] = between[good][-1] if good.any() else speed[last]
        mid = level_flight(made, speed)
    held = mid.status == Status.OK
    many = level_flight(draw(made, draws=SPEED_DRAWS).build, speed[::2])
    power = np.where(many.status == Status.OK, many.electrical_power, np.nan)
    low, high = np.full(speed[::2].size, np.nan), np.full(speed[::2].size, np.nan)
    enough = np.isfinite(power).mean(axis=0) >= 0.8
    low[enough] = np.nanquantile(power[:, enough], LOW, axis=0)
    high[enough] = np.nanquantile(power[:, enough], HIGH, axis=0)
    flown = flight_time(made, Profile(0.0, 1.0, 0.0, 0.0, cruise_speed=speed))
    return SpeedCurve(
        speed, mid.electrical_power, held, mid.current, mid.tilt, low, high,
        np.where(flown.time > 0.0, flown.time, np.nan), best_speeds(made, points=25), top,
        float(climb_rate(made, quick=True).speed), float(steepest_tilt(Assessment(made).thrust_to_weight)),
    )  # fmt: skip


def turn_back(curve: SpeedCurve, wind: float) -> tuple[float, float, float]:
    """Farthest point from which it still comes home, out with the wind and back against it.

    Parameters
    ----------
    curve : SpeedCurve
    wind : float
        [m/s]

    Returns
    -------
    distance, speed, time : float
        Of the turning point [m], air speed to fly [m/s], time aloft [s]; NaN where it cannot make way.

    Notes
    -----
    Same air speed V both ways: out at V + w, back at V - w, so the turning point lies at T (V^2 - w^2)/(2 V).
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        reach = curve.time * (curve.speed**2 - wind**2) / (2.0 * curve.speed)
    reach = np.where(curve.speed > wind, reach, np.nan)
    if not np.isfinite(reach).any():
        return math.nan, math.nan, math.nan
    k = int(np.nanargmax(reach))
    return float(reach[k]), float(curve.speed[k]), float(curve.time[k])


# ---- margins ----------------------------------------------------------------------------------------------


def share_bands(inputs: Inputs, hold: float) -> dict[str, tuple[float, float]]:
    """Band of every share used: where 8 in 10 craft with these labels land."""
    return _share_bands(_undived(inputs), hold)


@st.cache_data(**compute.KEPT_ANSWERS)
def _share_bands(inputs: Inputs, hold: float) -> dict[str, tuple[float, float]]:
    drawn = draw(compute.build(inputs), draws=128)
    a = Assessment(drawn.build, quick=True, thermal_factor=drawn.thermal_factor)
    found = margins.evaluate(a, hold=hold)
    out = {}
    for key in margins.SHARES:
        values = np.where(np.isnan(found[key]), np.nan, np.minimum(found[key], 1e3))
        out[key] = _quantiles(np.asarray(values))
    return out


@dataclass(frozen=True)
class HeatState:
    """Heat in one motor in one state: copper and iron [W], where it settles [K], and how long it may last [s]."""

    name: str
    copper: float
    iron: float
    winding: float
    body: float
    air: float
    seconds: float
    possible: bool

    @property
    def watts(self) -> float:
        """[W]"""
        return self.copper + self.iron

    @property
    def rise(self) -> float:
        """Of the bell over the air; NaN where it never settles. [K]"""
        return self.body - self.air


def heat_states(inputs: Inputs) -> list[HeatState]:
    """Heat in each motor hovering, cruising, flown your way and flat out."""
    return _heat_states(_undived(inputs))


@st.cache_data(**compute.KEPT_ANSWERS)
def _heat_states(inputs: Inputs) -> list[HeatState]:
    made, way = compute.build(inputs), flying(inputs)
    a = Assessment(made)
    _, cruise = trim(a.fresh_sustained, Airframe.of(made), np.asarray(way.cruise_speed), passes=60)
    lift = float(a.weight) / float(np.asarray(made.rotors))
    hard = operating_point.at_thrust(a.fresh_sustained, np.minimum(way.hard_load * lift, a.full_throttle.thrust))
    copper = np.array([float(a.winding_heat(p)) for p in (a.hover, cruise, hard, a.full_throttle)])
    iron = np.array([float(p.iron_loss) for p in (a.hover, cruise, hard, a.full_throttle)])
    shares = np.array(mix(inputs))
    can_hover = bool(a.can_hover)
    can_cruise = can_hover and float(cruise.duty) <= float(a.cap) and int(cruise.status) == Status.OK
    mixed = can_hover and (can_cruise or way.cruise_share == 0.0)
    # cruise and mix: cooled as in hover, the wind of flying not counted, so a little too warm
    rows = (
        ("hanging still", copper[0], iron[0], a.thermal_hover, can_hover),
        ("cruising", copper[1], iron[1], a.thermal_hover, can_cruise),
        ("flown your way", float(shares @ copper), float(shares @ iron), a.thermal_hover, mixed),
        ("flat out", copper[3], iron[3], a.thermal_full, True),
    )
    air = float(np.asarray(made.air.temperature))
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
    """How quickly a punch comes, with the ends where 8 in 10 craft land. All times in s."""

    time_63: float
    """From hover to 63 % of the full pull."""
    time_90: float
    low_90: float
    high_90: float
    time_constant: float
    """Of small changes of speed, controller included."""
    low_constant: float
    high_constant: float
    full_rev_per_s: float
    inertia: float
    """Of one rotor. [kg m^2]"""
    energy: float
    """In one rotor in hover. [J]"""


def quick_response(inputs: Inputs) -> Response:
    """How quickly a punch comes, from a hover on a full pack."""
    return _response(_undived(inputs))


@st.cache_data(**compute.KEPT_ANSWERS)
def _response(inputs: Inputs) -> Response:
    return response_of(compute.build(inputs))


def response_of(made: Build) -> Response:
    """Spin-up of one build of plain numbers."""
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
    """Short, violent things on the bus: blocked propeller, plug-in, braking on a supply."""
    return _bench_facts(_undived(inputs))


@st.cache_data(**compute.KEPT_ANSWERS)
def _bench_facts(inputs: Inputs) -> list[power_up.Fact]:
    return power_up.facts(power_up.from_build(compute.build(inputs)))


# ---- dive -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class DiveAnswer:
    """One dive with its band and the table of pulls against charge. SI units.

    Parameters
    ----------
    out : PullOut
        With the paths.
    low, high : float
        Height lost by 8 in 10 craft; infinite where some cannot level. [m]
    delay : Delay
    pulls, charges : ndarray
        Of the table: thrust over weight, state of charge. [-]
    heights : ndarray
        Height lost, pulls down, charges across; NaN where it cannot level. [m]
    held_back : ndarray of bool
        Where the motors or the pack give less than the pull asked for.
    available : float
        Pull over weight there is for the way out, after what steering takes. [-]
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
    """The speed asked for is more than the fall gives."""
    hovers: bool = True
    """Full throttle holds it up at this charge."""


def parts_of_delay(reaction: float, spool: float) -> Delay:
    """Split the time to see, decide and turn as the engine's default does, and add the spin-up of this craft."""
    base = Delay()
    known = float(np.asarray(base.see)) + float(np.asarray(base.decide)) + float(np.asarray(base.rotate))
    part = reaction / known
    return Delay(
        see=part * float(np.asarray(base.see)),
        decide=part * float(np.asarray(base.decide)),
        rotate=part * float(np.asarray(base.rotate)),
        spool=spool,
    )


def dive(inputs: Inputs, *, entry: str = "nose_down", start_height: float | None = None) -> DiveAnswer:
    """Fall, delay, pull, at the charge that is left.

    Parameters
    ----------
    inputs : Inputs
    entry : {"nose_down", "flat"}
    start_height : float or None
        Height above the ground at which the dive begins. [m]
    """
    return _dive(compute.plain(inputs), entry, start_height)


@st.cache_data(**compute.KEPT_ANSWERS)
def _dive(inputs: Inputs, entry: str, start_height: float | None) -> DiveAnswer:
    made, way = compute.build(inputs), flying(inputs)
    spool = float(punch(made).time_90)
    if not math.isfinite(spool):
        spool = float(np.asarray(Delay().spool))
    delay = parts_of_delay(way.reaction, spool)
    asked: dict[str, Any] = {"entry": entry, "delay": delay}
    drop: float | None = way.drop
    if way.dive_speed:  # zero would be no dive at all
        asked["speed"] = way.dive_speed
    now = {"state_of_charge": way.state_of_charge, "load_limit": way.load_limit, "keep_path": True}
    first = pull_out(made, drop, **now, **asked)
    powered = bool(way.dive_speed) and float(first.speed) < 0.98 * float(way.dive_speed or 0.0)
    if powered:
        drop = None
        first = pull_out(made, drop, **now, **asked)
    fallen = way.drop if powered else float(first.fall_height)
    if start_height is not None and start_height > fallen:
        first = pull_out(made, drop, height_at_command=start_height - fallen, **now, **asked)
    first = replace(first, fall_height=np.asarray(fallen))
    pulls = np.array([2.0, 3.0, 4.0, 5.0, 6.0])
    charges = np.unique(np.array([1.0, 0.6, 0.4, way_reserve(made)]))[::-1][:4]
    cells = (pulls.size, charges.size)
    count = pulls.size * charges.size
    # the drawn craft fly this dive; the forecast, behind them, flies one for each cell of the table
    drawn = draw(made, draws=DRAWS, forecast=True)
    which = np.r_[:DRAWS, [DRAWS] * count]
    own = punch(drawn.build, factor=drawn.response_factor, quick=True).time_90
    asked["delay"] = replace(delay, spool=np.where(np.isfinite(own), own, spool)[which])
    many = pull_out(
        subset(drawn.build, which, (DRAWS + 1,)),
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
        first, low, high, delay, pulls, charges, many.height_lost[DRAWS:].reshape(cells),
        many.peak_load[DRAWS:].reshape(cells) < pulls[:, None] - 1e-9, available, powered,
        int(level_flight(made, 0.0, state_of_charge=way.state_of_charge).status) == Status.OK,
    )  # fmt: skip


def wash(inputs: Inputs) -> tuple[WashBand, float]:
    """Descent speeds that sink into the own wash, and the wash speed in hover. [m/s]"""
    return _wash(_undived(inputs))


@st.cache_data(**compute.KEPT_ANSWERS)
def _wash(inputs: Inputs) -> tuple[WashBand, float]:
    speed = float(Assessment(compute.build(inputs)).wash_speed)
    return wash_band(speed), speed
