"""Minutes: a pack flown down by a mix of hover, cruise, hard flying and full-throttle bursts.

At each state of charge every way of flying draws its own current from its own loaded voltage; their mean, by share
of time, empties the pack. No time stepping: time is an integral over charge on the cell table's own knots, and the
cut-off is found inside its segment. The pack holds its temperature (no self-heating).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel import battery
from propmodel.build import Build, shape_of
from propmodel.drive import Drive, drive, recharge
from propmodel.errors import check_in, check_range
from propmodel.flight import Airframe, trim
from propmodel.operating_point import OperatingPoint, at_duty, at_thrust
from propmodel.status import Status

__all__ = ["WAYS_OF_FLYING", "FlightTime", "Profile", "flight_time"]

SEGMENTS = 20


@dataclass(frozen=True)
class Profile:
    """How the time aloft is spent; shares add up to 1 and may be arrays.

    Parameters
    ----------
    hover, cruise, hard, full : array_like
        Share of the time hanging still, in level flight, pulling hard, and at full throttle. [-]
    cruise_speed : array_like
        [m/s]
    hard_load : array_like
        Thrust over weight while pulling hard. [-]
    name : str

    Raises
    ------
    ValueError
        If a share is outside 0 to 1 or they do not add up to 1.
    """

    hover: ArrayLike = 1.0
    cruise: ArrayLike = 0.0
    hard: ArrayLike = 0.0
    full: ArrayLike = 0.0
    cruise_speed: ArrayLike = 15.0
    hard_load: ArrayLike = 2.0
    name: str = ""

    def __post_init__(self) -> None:
        total = np.zeros(())
        for name in ("hover", "cruise", "hard", "full"):
            total = total + check_range(f"share of {name}", getattr(self, name), 0.0, 1.0)
        if np.any(np.abs(total - 1.0) > 1e-6):
            worst = np.atleast_1d(total).ravel()[np.argmax(np.abs(np.atleast_1d(total).ravel() - 1.0))]
            raise ValueError(f"the shares of a flight must add up to 1, got {worst:.6g}")
        check_range("cruise_speed", self.cruise_speed, 0.0, 150.0, "m/s")
        check_range("hard_load", self.hard_load, 1.0, 10.0)


WAYS_OF_FLYING: Mapping[str, Profile] = MappingProxyType(
    {
        # shares: common practice, from memory; open them and put in your own
        "hang still": Profile(1.0, name="hang still"),
        "cruise": Profile(0.10, 0.85, 0.05, 0.0, cruise_speed=14.0, name="cruise"),
        "play": Profile(0.15, 0.50, 0.30, 0.05, cruise_speed=15.0, hard_load=2.0, name="play"),
        "race": Profile(0.0, 0.35, 0.55, 0.10, cruise_speed=20.0, hard_load=2.5, name="race"),
    }
)


@dataclass(frozen=True)
class FlightTime:
    """A flight from a charge down to the cut-off or the reserve. SI units, charge in A h.

    Parameters
    ----------
    time : ndarray
        NaN where the craft cannot fly so. [s]
    energy : ndarray
        Delivered. [J]
    charge : ndarray
        Drawn: the figure to type in as a capacity alarm. [A h]
    mean_current : ndarray
        [A]
    end_state_of_charge : ndarray
        [-]
    stopped_by_voltage : ndarray of bool
        True where the cut-off ended the flight before the reserve.
    burst_voltage : ndarray
        Loaded pack voltage at full throttle when the flight ends. [V]
    status : ndarray of int8
    curve_state_of_charge, curve_time, curve_voltage, curve_current : ndarray
        The flight along a leading axis of 21 nodes. [-, s, V, A]
    """

    time: NDArray
    energy: NDArray
    charge: NDArray
    mean_current: NDArray
    end_state_of_charge: NDArray
    stopped_by_voltage: NDArray
    burst_voltage: NDArray
    status: NDArray
    curve_state_of_charge: NDArray
    curve_time: NDArray
    curve_voltage: NDArray
    curve_current: NDArray


def _bus_of(d: Drive, point: OperatingPoint) -> Callable[[NDArray, NDArray, NDArray], tuple[NDArray, NDArray]]:
    """Bus voltage and pack current when the motors keep the speed and load of ``point`` at another charge.

    The function returned takes rest voltage, resistance and a guess of the bus voltage.
    """
    volts = point.motor_voltage
    square = volts * volts
    steady = d.rotors * (volts * point.motor_current + d.controller.standby_power) + d.electronics_power
    coefficient = d.rotors * np.asarray(d.controller.ripple_coefficient)

    def at(emf: NDArray, resistance: NDArray, guess: NDArray) -> tuple[NDArray, NDArray]:
        through = np.maximum(volts - square / guess, 0.0)
        power = steady + coefficient * through * through
        voltage = battery.terminal_voltage(emf, resistance, power)
        return voltage, power / voltage

    return at


@dataclass(frozen=True)
class Emptying:
    """A pack run down: time over capacity [h / (A h) x A h = h], energy [W h], where and why it ended."""

    hours: NDArray
    energy: NDArray
    end: NDArray
    by_voltage: NDArray
    at_once: NDArray


class HoverTime(NamedTuple):
    """Time of one steady way of flying [h], and True where it is below the cut-off at once."""

    hours: NDArray
    at_once: NDArray


def hover_hours(
    build: Build, d: Drive, point: OperatingPoint, *, start: ArrayLike = 1.0, cut: NDArray, reserve: NDArray
) -> HoverTime:
    """Lean quadrature for one steady way of flying: time only."""
    bus = _bus_of(d, point)

    def current(_: float, emf: NDArray, r: NDArray, guess: NDArray) -> tuple:
        return bus(emf, r, guess)

    begin = np.asarray(start, dtype=np.float64)
    found, _ = _empty(build, current, begin, cut, reserve, point.rev_per_s.shape, lean=True)
    return HoverTime(found.hours, found.at_once)


def _empty(build, current_at, start, cut, reserve, shape, *, lean=False):
    """Walk down the table's knots; ``current_at(charge, emf, r, guess) -> (voltage, current)``.

    Lean walks keep time only: energy, end, cause and curve stay as they were at the start.
    """
    limit = cut * np.asarray(build.pack.cells)
    capacity = battery.capacity(build.pack)
    floor = np.minimum(reserve, start)
    tables = battery.sustained_tables(build.pack)
    # a plain starting charge keeps every knot a plain number, and the cell table is read once per knot
    flat = start.ndim == 0

    def knot_charge(knot: float) -> NDArray:
        low = np.minimum(knot, start)
        return low if flat else low * np.ones(shape)

    charge = knot_charge(1.0)
    emf, r = tables(charge)
    voltage, current = current_at(1.0, emf, r, emf)
    voltage, current = current_at(1.0, emf, r, voltage)
    alive = np.where(voltage >= limit, 1.0, 0.0)
    at_once = alive == 0.0
    by_voltage = at_once
    hours, energy = np.zeros(shape), np.zeros(shape)
    end = charge * np.ones(shape)
    curve = [(end, hours, voltage, current)]
    head, per_amp = voltage - limit, 1.0 / current
    for k in range(1, SEGMENTS + 1):
        knot = 1.0 - k / SEGMENTS
        low = knot_charge(knot)
        emf, r = tables(low)
        next_voltage, next_current = current_at(knot, emf, r, voltage)
        width = charge - low
        next_head = next_voltage - limit
        by_cut = np.where(next_head < 0.0, head / np.maximum(head - next_head, 1e-12), 1.0)
        by_floor = np.where(width > 0.0, (charge - floor) / np.maximum(width, 1e-12), 1.0)
        share = np.minimum(np.maximum(np.minimum(by_cut, by_floor), 0.0), 1.0) * alive
        stop_current = current + share * (next_current - current)
        step = width * share
        # trapezoid in charge of 1/I and of V
        hours = hours + 0.5 * (per_amp + 1.0 / stop_current) * step
        if not lean:
            stop_voltage = voltage + share * (next_voltage - voltage)
            energy = energy + 0.5 * (voltage + stop_voltage) * step
            by_voltage = by_voltage | ((alive > 0.0) & (by_cut < 1.0) & (by_cut <= by_floor))
            end = np.where(alive > 0.0, charge - step, end)
            dead = alive == 0.0
            kept = np.where(dead, curve[-1][2], stop_voltage), np.where(dead, curve[-1][3], stop_current)
            curve.append((end, hours, *kept))
        alive = np.where(share >= 1.0, alive, 0.0)
        charge, voltage, current, head, per_amp = low, next_voltage, next_current, next_head, 1.0 / next_current
        if not alive.any():
            break
    return Emptying(hours * capacity, energy * capacity, end, by_voltage, at_once), curve


def flight_time(build: Build, profile: Profile | str = "hang still", *, state_of_charge: ArrayLike = 1.0) -> FlightTime:
    """Minutes of a mixed flight.

    Parameters
    ----------
    build : Build
        May hold arrays.
    profile : Profile or str
        Shares may be arrays that broadcast with the build; a name is one of `WAYS_OF_FLYING`.
    state_of_charge : array_like
        At take-off. [-]

    Returns
    -------
    FlightTime

    Raises
    ------
    ValueError
        If the state of charge is outside 0 to 1, or the name of the profile is not known.

    Examples
    --------
    >>> import propmodel
    >>> scree = propmodel.demo("scree")
    >>> bool(flight_time(scree, WAYS_OF_FLYING["race"]).time < flight_time(scree, Profile()).time)
    True
    """
    check_range("state_of_charge", state_of_charge, 0.0, 1.0)
    if isinstance(profile, str):
        profile = WAYS_OF_FLYING[check_in("way of flying", profile, WAYS_OF_FLYING)]
    shares = [np.asarray(getattr(profile, k), dtype=np.float64) for k in ("hover", "cruise", "hard", "full")]
    start = np.asarray(state_of_charge, dtype=np.float64)
    shape = np.broadcast_shapes(
        shape_of(build),
        start.shape,
        *(s.shape for s in shares),
        np.shape(profile.cruise_speed),
        np.shape(profile.hard_load),
    )
    d = drive(build, start, sustained=True)
    one = np.ones(shape)
    lift = build.weight / d.rotors * one
    hover = at_thrust(d, lift)
    _, cruise = trim(d, Airframe.of(build), np.asarray(profile.cruise_speed) * one, passes=60)
    cap = build.duty_cap * one
    punch = recharge(d, build, start)
    flat_out = at_duty(punch, cap)
    # nobody pulls harder than the craft can
    hard = at_thrust(d, np.minimum(lift * profile.hard_load, flat_out.thrust))
    steady = [(_bus_of(d, p), share) for p, share in zip((hover, cruise, hard), shares[:3], strict=True)]

    def at_charge(knots: NDArray) -> NDArray:
        return at_duty(recharge(d, build, np.minimum(knots, start)), build.duty_cap, passes=6).pack_current

    # full throttle hangs on the charge alone: for a few builds all knots are solved at once
    few = math.prod(shape) <= 4000 and bool(np.any(shares[3] > 0.0))
    knots = 1.0 - np.arange(SEGMENTS + 1) / SEGMENTS
    at_knots = at_charge(knots.reshape(-1, *(1,) * len(shape))) if few else None

    def full_current(knot: float) -> NDArray:
        return at_charge(np.asarray(knot)) if at_knots is None else at_knots[round((1.0 - knot) * SEGMENTS)]

    def current_at(knot: float, emf: NDArray, r: NDArray, guess: NDArray) -> tuple:
        mean = np.zeros(shape)
        for bus, share in steady:
            if np.any(share > 0.0):
                mean = mean + share * bus(emf, r, guess)[1]
        if np.any(shares[3] > 0.0):
            mean = mean + shares[3] * full_current(knot)
        return emf - mean * r, mean

    cut = battery.cutoff_voltage(build.pack)
    result, curve = _empty(build, current_at, start, cut, np.asarray(build.pack.reserve, float), shape)
    can_hover = flat_out.thrust >= lift
    can_cruise = (cruise.duty <= cap) & (cruise.status == Status.OK) | (shares[1] == 0.0)
    starved = np.zeros(shape, dtype=bool)
    for point, share in ((hover, shares[0]), (hard, shares[2])):
        starved = starved | (point.status == Status.BELOW_ELECTRONICS_MINIMUM) & (share > 0.0)
    status = np.select(
        [~can_hover, starved, ~can_cruise, result.at_once],
        [
            Status.CANNOT_HOVER,
            Status.BELOW_ELECTRONICS_MINIMUM,
            Status.CANNOT_FLY_AT_THIS_SPEED,
            Status.BELOW_CUTOFF_AT_ONCE,
        ],
        Status.OK,
    ).astype(np.int8)
    flies = can_hover & can_cruise & ~starved
    nan = np.where(flies, 1.0, np.nan)
    while len(curve) < SEGMENTS + 1:
        curve.append(curve[-1])
    columns = [np.stack(c) for c in zip(*curve, strict=True)]
    charge = (np.minimum(1.0, start) - result.end) * battery.capacity(build.pack)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean_current = np.where(result.hours > 0.0, charge / result.hours, columns[3][0])
    last = at_duty(recharge(d, build, result.end), cap)
    return FlightTime(
        time=result.hours * 3600.0 * nan,
        energy=result.energy * 3600.0 * nan,
        charge=charge * nan,
        mean_current=mean_current * nan,
        end_state_of_charge=result.end * nan,
        stopped_by_voltage=result.by_voltage,
        burst_voltage=last.bus_voltage * nan,
        status=status,
        curve_state_of_charge=columns[0],
        curve_time=columns[1] * battery.capacity(build.pack) * 3600.0,
        curve_voltage=columns[2],
        curve_current=columns[3],
    )
