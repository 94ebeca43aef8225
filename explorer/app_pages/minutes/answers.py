"""Results of page Minutes, cached as in `explorer.forecasts.headlines`. No widgets.

Every function has valid `Inputs` as argument; all builds for one result are computed in one call of `propmodel`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import streamlit as st
from numpy.typing import NDArray

from explorer.forecasts import headlines
from explorer.forecasts.bands import DRAWS, HIGH, LOW, craft_only, quantiles, way_reserve, without_dive
from explorer.inputs import Flying, Inputs, flying, mix
from propmodel.assembly.build import Build, with_fields
from propmodel.assess.assessment import Assessment
from propmodel.base.arrays import number
from propmodel.base.status import Status
from propmodel.base.units import CELSIUS_ZERO
from propmodel.components import battery
from propmodel.components.controller import throttle_from_duty
from propmodel.flight.best_speeds import BestSpeeds, best_speeds
from propmodel.flight.climb import climb_rate
from propmodel.flight.endurance import FlightTime, Profile, flight_time
from propmodel.flight.level import level_flight, steepest_tilt
from propmodel.flight.top_speed import TopSpeed, top_speed
from propmodel.powertrain.operating_point import at_duty
from propmodel.studies.spread import draw

__all__ = [
    "ROWS",
    "Cutoff",
    "FirmwareHover",
    "Ghosts",
    "Minutes",
    "PackAxis",
    "SpeedCurve",
    "cutoffs",
    "firmware_hover",
    "ghosts",
    "minutes",
    "pack_axis",
    "speed_curve",
    "turn_back",
]

SPEED_DRAWS, SPEED_POINTS = 32, 25

ROWS = ("hang still", "cruise", "your way", "flat out")
"""Flight conditions of the ledger: hover, cruise, mixed flight, full throttle."""

OLD_CYCLES = 250.0
"""Full cycles of the old pack in the comparison curve. [-] Estimate: about two seasons."""
COLD = CELSIUS_ZERO
"""Cell temperature of the cold pack in the comparison curve. [K]"""
COLD_MILD_FACTOR = 2.0
"""Resistance of a good hobby pack at 0 C over that at 25 C. [-] From memory; the measured LiPo pouch has 3.3."""


def _profile(shares: NDArray, way: Flying) -> Profile:
    hover, cruise, hard, full = (shares[..., k] for k in range(4))
    return Profile(hover, cruise, hard, full, cruise_speed=way.cruise_speed, hard_load=way.hard_load)


# ---- minutes ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Minutes:
    """Flights of one build from a full pack; SI units, charge in A h.

    Parameters
    ----------
    time, low, high : dict
        Key from `ROWS` -> time until the landing charge or the landing voltage, and ends of the band. [s]
    status : dict
        Key from `ROWS` -> code of `base.status.Status`.
    current : dict
        Key from `ROWS` -> mean pack current. [A]
    charge : float
        Drawn at landing, in mixed flight. [A h]
    warm : float
        Cell temperature at landing. [K]
    end_charge : float
        State of charge at landing. [-]
    by_voltage, by_throttle : bool
        True if the flight ends at the landing voltage before the landing charge, or earlier than both because full
        throttle no longer carries the weight.
    empty_time, empty_low, empty_high : float
        Mixed flight continued to the landing voltage. [s]
    curve_time, curve_charge, curve_volts : ndarray
        The same flight: time, state of charge, loaded voltage per cell. [s, -, V]
    band_time, band_low, band_high : ndarray
        80 % interval of the voltage against time. [s, V, V]
    cutoff : float
        Landing voltage per cell. [V]
    capacity : float
        Capacity of the pack at its age. [A h]
    needed : float
        Thrust for the cruise over available thrust. [-]
    """

    time: dict[str, float]
    low: dict[str, float]
    high: dict[str, float]
    status: dict[str, int]
    current: dict[str, float]
    charge: float
    warm: float
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
    """The same flight with a cold and with an old pack: times and loaded voltages per cell. [s, V]"""

    cold_time: NDArray
    cold_volts: NDArray
    mild_time: NDArray
    mild_volts: NDArray
    old_time: NDArray
    old_volts: NDArray
    cold_lands: tuple[float, float]
    """Landing with the cold pack: like the measured pouch, and with `COLD_MILD_FACTOR`. [s]"""
    old_lands: float
    """Landing with the old pack. [s]"""


@dataclass(frozen=True)
class PackAxis:
    """Flight time against the mass of the pack, for packs of the same kind.

    Parameters
    ----------
    mass, capacity, time : ndarray
        NaN in ``time`` where it cannot fly. [kg, A h, s]
    here_mass, here_time : float
        The current pack. [kg, s]
    best_mass, best_capacity, best_time : float
        Longest flight with at least `LEAST_THRUST_RATIO` at the end. [kg, A h, s]
    inside : bool
        True if the longest flight is a maximum of the curve, not the limit of `LEAST_THRUST_RATIO`.
    heaviest : float
        Pack mass above which thrust to weight at the end is below `LEAST_THRUST_RATIO`; NaN if there is none. [kg]
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
    """Mixed flight time against the landing voltage per cell. [s, V]"""

    volts: NDArray
    time: NDArray
    here_volts: float
    here_time: float


def minutes(inputs: Inputs) -> Minutes:
    """Return the four flights of the ledger, and mixed flight to the landing voltage, with their bands."""
    return _flights(without_dive(inputs))[0]


def ghosts(inputs: Inputs) -> Ghosts:
    """Return the curves with a cold pack (a band between two packs) and with an old one."""
    return _flights(without_dive(inputs))[1]


def pack_axis(inputs: Inputs) -> PackAxis:
    """Return the flight time of packs from 0.3 of the capacity upwards; mass, label current and resistance follow."""
    return _flights(without_dive(inputs))[2]


def cutoffs(inputs: Inputs) -> Cutoff:
    """Return the mixed flight time for a range of landing voltages."""
    return _flights(without_dive(inputs))[3]


PACKS, VOLTS = 30, 25
LEAST_THRUST_RATIO = 2.0
"""Smallest thrust to weight at the end of the flight with the best pack (common practice). [-]"""


@st.cache_data(**headlines.CACHED_ANSWERS)
def _flights(inputs: Inputs) -> tuple[Minutes, Ghosts, PackAxis, Cutoff]:
    """Compute all flights of the page in one call of `flight_time`, and those of the random draws in another."""
    made, way, mine = headlines.build(inputs), flying(inputs), mix(inputs)
    pack, cells = made.pack, number(made.pack.cells)
    reserve, here = way_reserve(made), float(battery.cutoff_voltage(pack))
    now, age = number(pack.temperature), number(pack.cycles)
    warmer = np.linspace(battery.REFERENCE_TEMPERATURE, COLD - 20.0, 200)
    mild = float(np.interp(COLD_MILD_FACTOR, battery.temperature_factor(warmer), warmer))
    own = number(pack.capacity_ah)
    # the ideal hover time has its maximum at a pack of twice the other mass: go a little beyond
    heaviest = 3.6 * (float(made.mass) / float(battery.mass(pack)) - 1.0)
    packs = own * np.geomspace(0.3, max(heaviest, 3.0), PACKS)
    full = float(battery.open_circuit_voltage(pack, 1.0)) / cells
    volts = np.linspace(max(0.6 * full, here - 0.5), 0.93 * full, VOLTS)

    rows = _rows(inputs)  # ledger, mixed to cut-off; cold, mild, old, each twice; packs; volts
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
    """Return the pack with the longest flight of those with `LEAST_THRUST_RATIO` or more at the end."""
    low = Assessment(with_fields(made, {"pack.capacity_ah": capacity}), quick=True).thrust_to_weight_at_reserve
    # upper limit of the pack mass; very light packs also fall below the ratio, because their voltage drops
    weak = 1 + np.flatnonzero((low[:-1] >= LEAST_THRUST_RATIO) & (low[1:] < LEAST_THRUST_RATIO))
    heaviest = math.nan
    usable = np.where(low >= LEAST_THRUST_RATIO, time, np.nan)
    if weak.size:
        k = int(weak[0])
        heaviest = float(np.interp(LEAST_THRUST_RATIO, [low[k], low[k - 1]], [mass[k], mass[k - 1]]))
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
    """Return the first five flights with the bands from the spread of the labels."""
    reserve = np.array([way_reserve(made)] * 4 + [0.0])[:, None]
    many = flight_time(
        with_fields(draw(made, draws=DRAWS).build, {"pack.reserve": reserve}), _profile(rows[:, None, :], way)
    )
    grid, low, high = _curve_band(many.curve_time[:, 4, :], many.curve_voltage[:, 4, :] / cells)
    ends = [quantiles(np.where(many.time[k] > 0.0, many.time[k], np.nan)) for k in range(5)]
    level = level_flight(made, way.cruise_speed)
    named = {name: k for k, name in enumerate(ROWS)}
    return Minutes(
        time={name: float(mid.time[k]) for name, k in named.items()},
        low={name: ends[k][0] for name, k in named.items()},
        high={name: ends[k][1] for name, k in named.items()},
        status={name: int(mid.status[k]) for name, k in named.items()},
        current={name: float(mid.mean_current[k]) for name, k in named.items()},
        charge=float(mid.charge[2]),
        warm=float(mid.end_temperature[2]),
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


def _curve_band(time: NDArray, volts: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """Return times [s] and ends of the voltage band; axes of the arguments: (knots, craft)."""
    grid = np.linspace(0.0, max(float(np.quantile(time[-1], HIGH)), 1.0), 25)
    # the interval of each craft that contains each time; after landing the last voltage is used
    at = np.clip((time[None, :, :] <= grid[:, None, None]).sum(axis=1), 1, time.shape[0] - 1)
    t0, t1 = np.take_along_axis(time, at - 1, 0), np.take_along_axis(time, at, 0)
    v0, v1 = np.take_along_axis(volts, at - 1, 0), np.take_along_axis(volts, at, 0)
    share = np.clip((grid[:, None] - t0) / np.maximum(t1 - t0, 1e-9), 0.0, 1.0)
    found = v0 + share * (v1 - v0)
    return grid, np.quantile(found, LOW, axis=1), np.quantile(found, HIGH, axis=1)


@dataclass(frozen=True)
class FirmwareHover:
    """Hover throttle above idle at start and end, without and with thrust linearization; thrust to weight. [-]"""

    start: float
    end: float
    linear_start: float
    linear_end: float
    thrust_start: float
    hover_current: float
    """Pack current in hover. [A]"""


def firmware_hover(inputs: Inputs) -> FirmwareHover:
    """Return the throttle above idle in hover, on a full pack and at the landing charge."""
    return _firmware_hover(without_dive(inputs))


@st.cache_data(**headlines.CACHED_ANSWERS)
def _firmware_hover(inputs: Inputs) -> FirmwareHover:
    made = headlines.build(inputs)
    a = Assessment(made)
    cap = np.asarray(made.command_cap)
    start, end = (
        float(throttle_from_duty(made.controller, p.duty, command_cap=cap)) for p in (a.hover, a.hover_at_reserve)
    )
    # like the hover at landing, with the pack as warm as the flight has made it
    most = at_duty(a.landing_burst, a.cap).thrust
    thrust, thrust_low = float(a.thrust_to_weight), float(made.rotors * most / a.weight)
    return FirmwareHover(start, end, 1.0 / thrust, 1.0 / thrust_low, thrust, float(a.hover.pack_current))


# ---- speed ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class SpeedCurve:
    """Level flight from hover to top speed, in SI units.

    Parameters
    ----------
    speed, power, current, tilt : ndarray
        On a full pack. [m/s, W, A, rad]
    held : ndarray of bool
        True where the speed can be sustained for minutes; above, the pack supplies the current for seconds only.
    low, high : ndarray
        80 % interval of the power at every second speed; NaN where less than 80 % of the draws can fly. [W]
    time : ndarray
        Flight time at that speed until landing. [s]
    best : BestSpeeds
        Speeds of the longest flight and of the longest range.
    top : TopSpeed
        Highest level speed.
    climb : float
        Climb rate. [m/s]
    steepest : float
        Largest tilt in level flight. [rad]
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
    """Return power and flight time against speed, with the band of the power, and best and top speed."""
    return _speed_curve(replace(craft_only(inputs), cruise_kmh=50.0))


@st.cache_data(**headlines.CACHED_ANSWERS)
def _speed_curve(inputs: Inputs) -> SpeedCurve:
    made = headlines.build(inputs)
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
        # the highest sustained speed is between two points: move the last point there
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
    """Return the farthest turning point, flying out with the wind and back against it.

    Parameters
    ----------
    curve : SpeedCurve
        Level flight of the build.
    wind : float
        Wind speed. [m/s]

    Returns
    -------
    distance, speed, time : float
        Distance of the turning point [m], airspeed [m/s], flight time [s]; NaN if no airspeed exceeds the wind.

    Notes
    -----
    The airspeed V is the same both ways: V + w out, V - w back, so the turning point is at T (V^2 - w^2)/(2 V).
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        reach = curve.time * (curve.speed**2 - wind**2) / (2.0 * curve.speed)
    reach = np.where(curve.speed > wind, reach, np.nan)
    if not np.isfinite(reach).any():
        return math.nan, math.nan, math.nan
    k = int(np.nanargmax(reach))
    return float(reach[k]), float(curve.speed[k]), float(curve.time[k])
