"""Flight time: discharge of a pack by a mix of hover, cruise, hard manoeuvres and full-throttle bursts.

At each state of charge every flight condition has its own current and loaded voltage. The mean current, weighted by the
share of time, discharges the pack. There is no time stepping: the time is an integral over charge on the knots of the
cell table, and the end is located within its segment. The losses of the pack heat it and the air cools it. Its
temperature is integrated from knot to knot, and its resistance depends on the temperature.

At take-off the pack has the resistance of ten seconds: what minutes under load add to it has not developed then. From
the first knot on (5 % of the charge) it has that of minutes, and a cold pack has warmed by then. So it is not refused
for a sag that it never shows.

A flight requires the same impulse (thrust times time) from every pack. Hover, cruise and hard manoeuvres require a
given thrust. A burst requires the thrust at full throttle at that charge with a pack of this label, new and at 25 C; a
reading of the resistance does not change what is flown. If full throttle gives less than the required thrust, it is
held longer for the same impulse; this adds no flight time. The charge is the same, because at full throttle current is
proportional to torque, and torque to thrust. A colder, older or weaker pack of the same label therefore never lasts
longer: it uses the same charge or more for the same flight.

A flight ends at the reserve, at the cut-off voltage, where the bus voltage is too low for the electronics, or where
full throttle no longer supports the weight: the motor voltage in hover then exceeds the bus voltage times the command
cap.

Longer than others because the discharge is one algorithm: current, temperature and end are solved together at each
step of charge.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import Build, shape_of
from propmodel.base.checks import check_in, check_range, keep_arrays, quoted
from propmodel.base.status import Status
from propmodel.components import battery
from propmodel.components.controller import limited_ripple_coefficient
from propmodel.flight.trim import Airframe, trim
from propmodel.heat.pack_and_leads import PACK_HEAT, pack_cooling
from propmodel.powertrain.operating_point import OperatingPoint, at_duty, at_thrust
from propmodel.powertrain.prepared import PreparedPowertrain, at_state_of_charge, prepare
from propmodel.powertrain.rotor_speed import PASSES

__all__ = ["WAYS_OF_FLYING", "FlightTime", "Profile", "flight_time"]

_ZERO = np.asarray(0.0)  # a 0-d array is faster in numpy calls than a Python float

SEGMENTS = 20
RESISTANCE_FALL_PER_KELVIN = 0.03
"""Relative decrease of the cell resistance per kelvin (1.6 to 4 %); used only to damp the temperature step. [1/K]"""
LEAST_FLIGHT = 1.0 / 3600.0
"""Shortest flight; where the voltage ends it sooner, it is below the cut-off at once. [h]"""
END_STEPS = 6
"""Number of false-position steps that refine the charge at the end of a flight. [-]"""


@dataclass(frozen=True)
class Profile:
    """Shares of the flight time in each flight condition; they add up to 1 and may be arrays.

    Parameters
    ----------
    hover, cruise, hard, full : array_like
        Share of the time in hover, in level flight, in hard manoeuvres, and at full throttle of a pack as on its label,
        new and at 25 C. [-]
    cruise_speed : array_like
        Air speed of the level flight. [m/s]
    hard_load : array_like
        Thrust over weight in hard manoeuvres; limited to full throttle of such a pack. [-]
    name : str
        Name for display.

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
        keep_arrays(self)


WAYS_OF_FLYING: Mapping[str, Profile] = MappingProxyType(
    {
        # shares: common practice, from memory; the user can change them
        "hang still": Profile(1.0, name="hang still"),
        "cruise": Profile(0.10, 0.85, 0.05, 0.0, cruise_speed=14.0, name="cruise"),
        "play": Profile(0.15, 0.50, 0.30, 0.05, cruise_speed=15.0, hard_load=2.0, name="play"),
        "race": Profile(0.0, 0.35, 0.55, 0.10, cruise_speed=20.0, hard_load=2.5, name="race"),
    }
)


@dataclass(frozen=True)
class FlightTime:
    """A flight from the initial charge to the cut-off or the reserve, in SI units except for charge in A h.

    Parameters
    ----------
    time : ndarray
        Flight time; NaN where this flight is not possible. [s]
    energy : ndarray
        Energy delivered by the pack. [J]
    charge : ndarray
        Charge drawn from the pack, the value for a capacity alarm. [A h]
    mean_current : ndarray
        Mean pack current. [A]
    end_state_of_charge : ndarray
        State of charge at the end. [-]
    stopped_by_voltage : ndarray of bool
        True where the cut-off voltage, or the minimum voltage of the electronics, ended the flight before the reserve.
    stopped_by_throttle : ndarray of bool
        True where full throttle became insufficient for hover, or for the cruise of this flight, before the reserve.
    burst_voltage : ndarray
        Loaded pack voltage at full throttle at the end of the flight. [V]
    end_temperature : ndarray
        Temperature of the cells at the end. It is the highest of the flight unless the cells start warmer. More than
        60 C damages a pack and may set it on fire. [K]
    status : ndarray of int8
        Code of `Status`: THROTTLE_FULL where ``stopped_by_throttle``; any other code except OK is the reason why there
        is no flight time.
    curve_state_of_charge, curve_time, curve_voltage, curve_current, curve_temperature : ndarray
        History of the flight, with a leading axis of 21 nodes. [-, s, V, A, K]
    """

    time: NDArray
    energy: NDArray
    charge: NDArray
    mean_current: NDArray
    end_state_of_charge: NDArray
    stopped_by_voltage: NDArray
    stopped_by_throttle: NDArray
    burst_voltage: NDArray
    end_temperature: NDArray
    status: NDArray
    curve_state_of_charge: NDArray
    curve_time: NDArray
    curve_voltage: NDArray
    curve_current: NDArray
    curve_temperature: NDArray


def _bus_of(
    d: PreparedPowertrain, point: OperatingPoint | _Motor
) -> Callable[[NDArray, NDArray, NDArray], tuple[NDArray, NDArray]]:
    """Return a function for bus voltage and pack current at another charge, with the motors at ``point``.

    Its arguments are the open-circuit voltage [V], the resistance [ohm] and an estimate of the bus voltage [V].
    """
    volts = point.motor_voltage
    square = volts * volts
    steady = d.rotors * (volts * point.motor_current + d.controller.standby_power) + d.electronics_power
    coefficient = limited_ripple_coefficient(d.total_ripple_coefficient, steady, square)

    def at(emf: NDArray, resistance: NDArray, guess: NDArray) -> tuple[NDArray, NDArray]:
        # the ripple loss is linearised about the estimate; the pack equation is then solved in closed form
        share = square / guess
        ripple_volts = np.maximum(volts - share, _ZERO)
        ripple = coefficient * ripple_volts
        power = ripple_volts
        power *= ripple
        power += steady
        fall = share  # of the ripple with ln of the bus voltage
        fall *= ripple + ripple
        power -= fall
        slope = fall / guess
        voltage = battery.terminal_voltage(np.maximum(emf - resistance * slope, 0.5 * emf), resistance, power)
        power /= voltage
        power += slope
        return voltage, power

    return at


class _Motor(NamedTuple):
    """Voltage and current of one motor at a given thrust. [V, A]"""

    motor_voltage: NDArray
    motor_current: NDArray


class _Draw(NamedTuple):
    """Load on the pack at one state of charge."""

    voltage: NDArray
    """Loaded voltage at the mean current. [V]"""
    current: NDArray
    """Time mean of the current. [A]"""
    spare: NDArray
    """Bus voltage above the least at which full throttle suffices for hover and cruise. [V]"""
    square: NDArray | None
    """Time mean of the squared current; None for a constant current. [A^2]"""


@dataclass(frozen=True)
class Rundown:
    """A discharge: time [h], energy [W h], state of charge at the end [-], causes of the end, cell temperature [K]."""

    hours: NDArray
    energy: NDArray
    end: NDArray
    by_voltage: NDArray
    by_throttle: NDArray
    at_once: NDArray
    temperature: NDArray


class HoverTime(NamedTuple):
    """Flight time in one constant flight condition."""

    hours: NDArray
    """Flight time. [h]"""
    at_once: NDArray
    """True where the voltage is below the cut-off from the start."""
    by_throttle: NDArray
    """True where full throttle became insufficient before the reserve."""
    temperature: NDArray
    """Temperature of the cells at the end. [K]"""
    end: NDArray
    """State of charge at the end. [-]"""


DUTY_TOLERANCE = 1e-9
"""Tolerance by which a duty may exceed the command cap, for rounding errors. [-]"""


def lifts(point: OperatingPoint, cap: NDArray) -> NDArray:
    """True where the pack can supply an operating point and its duty is within the command cap."""
    return np.asarray((point.status == Status.OK) & (point.duty <= cap * (1.0 + DUTY_TOLERANCE)))


def _least_voltage(point: OperatingPoint | _Motor, cap: NDArray) -> NDArray:
    """Least bus voltage at which full throttle gives the motor voltage of a point. [V]"""
    return point.motor_voltage / (cap * (1.0 + DUTY_TOLERANCE))


def hover_hours(
    build: Build,
    d: PreparedPowertrain,
    point: OperatingPoint,
    *,
    start: ArrayLike = 1.0,
    cut: NDArray,
    reserve: NDArray,
    quick: bool = False,
) -> HoverTime:
    """Integrate only the flight time, for one constant flight condition.

    With ``quick`` the end is interpolated linearly within its segment.
    """
    bus = _bus_of(d, point)
    least = _least_voltage(point, build.duty_cap)

    def current(_: float | NDArray, emf: NDArray, r: NDArray, guess: NDArray) -> _Draw:
        voltage, amps = bus(emf, r, guess)
        return _Draw(voltage, amps, voltage - least, None)

    begin = np.asarray(start, dtype=np.float64)
    limit = np.maximum(cut * np.asarray(build.pack.cells), d.minimum_voltage)
    shape = point.rev_per_s.shape
    found, _ = _run_down(
        build, current, begin, limit, reserve, shape, amps=point.pack_current, time_only=True, quick=quick
    )
    return HoverTime(found.hours, found.at_once, found.by_throttle, found.temperature, found.end)


class _Warming:
    """Thermal model of the cells during a discharge: resistance from temperature, and temperature at the next knot."""

    def __init__(self, build: Build) -> None:
        pack = build.pack
        self.at_charge = battery.cell_tables(pack)
        self.leads = np.asarray(pack.lead_resistance, dtype=np.float64)
        self.air = np.asarray(build.air.temperature, dtype=np.float64)
        mass = battery.mass(pack)
        self.cooling = pack_cooling(mass)
        self.capacity = battery.capacity(pack)
        self.per_volt = self.capacity * (3600.0 / PACK_HEAT) / mass
        """Temperature rise per volt of ohmic drop while the whole charge is drawn, without cooling. [K/V]"""

    def resistance(self, string: NDArray, root: NDArray) -> NDArray:
        """Resistance of the cells for loads of minutes. [ohm]"""
        return string * (root * (root + (battery.SUSTAINED_FACTOR - 1.0)))

    def next(
        self, temperature: NDArray, draw: _Draw, per_amp: NDArray, lasting: NDArray, ten: NDArray | None, width: NDArray
    ) -> NDArray:
        """Temperature after a further step of charge: heating and cooling at its start, with semi-implicit damping. [K]

        The loss in the 10-second resistance depends on the mean square of the current, the rest on its mean over
        minutes. Because half of the change is taken implicitly, a colder pack remains colder for any step size.
        """
        heating = lasting * draw.current
        if ten is not None and draw.square is not None:
            heating = heating + ten * (draw.square * per_amp - draw.current)
        cooling = self.cooling * per_amp
        step = self.per_volt * width
        damping = heating * RESISTANCE_FALL_PER_KELVIN
        damping += cooling
        damping *= 0.5 * step
        damping += 1.0
        cooling *= temperature - self.air
        heating -= cooling
        heating *= step
        heating /= damping
        heating += temperature
        return heating


def _run_down(
    build: Build,
    current_at: Callable[..., _Draw],
    start: NDArray,
    limit: NDArray,
    reserve: NDArray,
    shape: tuple[int, ...],
    *,
    amps: NDArray,
    time_only: bool = False,
    quick: bool = False,
) -> tuple[Rundown, list[tuple[NDArray, ...]]]:
    """Integrate a discharge over the knots of the cell table; ``current_at(charge, emf, r, guess) -> _Draw``.

    The discharge ends where the pack voltage reaches ``limit``, or where ``spare`` of the load becomes negative.
    ``amps`` is an estimate of the current at take-off. At take-off the resistance is that of 10 seconds: what
    minutes add has not developed, and a cold pack has warmed by the time it has.
    With ``time_only`` only time, cause, end and temperature are computed; energy and curve keep their initial values.
    """
    floor = np.minimum(reserve, start)
    highest_floor = np.max(floor)
    warming = _Warming(build)
    at_charge = warming.at_charge
    # with a scalar initial charge every knot is a scalar, and the cell table is read once per knot
    flat = start.ndim == 0

    def knot_charge(knot: float) -> NDArray:
        low = np.minimum(knot, start)
        return low if flat else low * np.ones(shape)

    charge = knot_charge(1.0)
    emf, string = at_charge(charge)
    temperature = np.asarray(build.pack.temperature, dtype=np.float64)
    root = battery.cold_root(temperature)
    lasting = warming.resistance(string, root)
    at_first = string * (root * root) + warming.leads
    draw = current_at(1.0, emf, at_first, np.maximum(emf - amps * at_first, 0.5 * emf))
    voltage, current = draw.voltage, draw.current
    room = np.minimum(voltage - limit, draw.spare)
    alive = np.where(room >= 0.0, 1.0, 0.0)
    at_once = voltage < limit
    by_voltage, by_throttle = at_once & np.ones(shape, dtype=bool), np.zeros(shape, dtype=bool)
    hours, energy = np.zeros(shape), np.zeros(shape)
    end, end_temperature = charge * np.ones(shape), temperature * np.ones(shape)
    curve: list[tuple[NDArray, ...]] = [(end, hours, voltage, current, end_temperature)]
    per_amp, last, closing = 1.0 / current, None, np.zeros(shape, dtype=bool)
    for k in range(1, SEGMENTS + 1):
        knot = 1.0 - k / SEGMENTS
        low, above, upper_r = knot_charge(knot), emf, lasting + warming.leads
        width = charge - low
        ten = None if draw.square is None else string * (root * root)
        next_temperature = warming.next(temperature, draw, per_amp, lasting, ten, width)
        emf, string = at_charge(low)
        root = battery.cold_root(next_temperature)
        lasting = warming.resistance(string, root)
        follows = flat and low < start and charge < start
        # before take-off, and at the first knot after it, the resistance is or was that of seconds
        r = (lasting if follows else np.where(low < start, lasting, string * (root * root))) + warming.leads
        # the current changes less than the voltage
        draw = current_at(knot, emf, r, np.maximum(emf - current * r, 0.5 * emf))
        if not follows:
            draw = current_at(knot, emf, r, draw.voltage)
        next_voltage, next_current = draw.voltage, draw.current
        next_room = np.minimum(next_voltage - limit, draw.spare)
        next_per_amp = 1.0 / next_current
        short = (next_room < 0.0) & (alive > 0.0)
        ending = bool(np.any(short))
        if ending and quick and (not flat or charge >= start):
            first = current_at(knot, above, upper_r, voltage)
            room = np.where(charge < start, room, np.minimum(room, np.minimum(first.voltage - limit, first.spare)))
        share, stop_current, stop_per_amp = alive, next_current, next_per_amp
        if ending or not flat or low < highest_floor:
            by_floor = np.where(width > 0.0, (charge - floor) / np.maximum(width, 1e-12), 1.0)
            by_end = np.where(next_room < 0.0, room / np.maximum(room - next_room, 1e-12), 1.0)
            share = np.minimum(np.maximum(np.minimum(by_end, by_floor), 0.0), 1.0) * alive
            stop_current = current + share * (next_current - current)
            stop_per_amp = 1.0 / stop_current
        if ending:
            ends = short & (by_end < by_floor)
            throttle = draw.spare < next_voltage - limit
            by_throttle = by_throttle | (ends & throttle)
            by_voltage = by_voltage | (ends & ~throttle)
            if not quick:
                here = _Segment(
                    np.full(shape, k), charge, width, by_floor, room, next_room, next_voltage, hours, energy,
                    voltage, current, temperature, next_temperature,
                )  # fmt: skip
                last = _Segment(*(np.where(short, new, old) for new, old in zip(here, last or here, strict=True)))
                closing = closing | short
        step = width * share
        # trapezoid in charge of 1/I and of V
        mean_per_amp = per_amp + stop_per_amp
        mean_per_amp *= 0.5 * step
        hours = mean_per_amp + hours
        if share is not alive or not time_only:
            end_temperature = np.where(
                alive > 0.0, temperature + share * (next_temperature - temperature), end_temperature
            )
            end = np.where(alive > 0.0, charge - step, end)
        if not time_only:
            stop_voltage = voltage + share * (next_voltage - voltage)
            energy = energy + 0.5 * (voltage + stop_voltage) * step
            dead = alive == 0.0
            at_stop = np.where(dead, curve[-1][2], stop_voltage), np.where(dead, curve[-1][3], stop_current)
            curve.append((end, hours, *at_stop, end_temperature))
        landed = False
        if share is not alive:
            alive = np.where(share >= 1.0, alive, 0.0)
            landed = not alive.any()
        charge, voltage, current, room, temperature = low, next_voltage, next_current, next_room, next_temperature
        per_amp = next_per_amp
        if landed:
            break
    if time_only:
        end_temperature = np.where(alive > 0.0, temperature, end_temperature)
        end = np.where(alive > 0.0, charge, end)
    found = Rundown(hours, energy, end, by_voltage, by_throttle, at_once, end_temperature)
    if last is not None:

        def at(charge: NDArray, temperature: NDArray, guess: NDArray) -> _Draw:
            emf, string = at_charge(charge)
            r = warming.resistance(string, battery.cold_root(temperature)) + warming.leads
            return current_at(np.asarray(charge), emf, r, guess)

        found, curve = _with_exact_end(found, curve, closing, last, at, limit)
    hours = found.hours * warming.capacity
    at_once = found.at_once | (found.by_voltage & (hours < LEAST_FLIGHT))
    return replace(found, hours=hours, energy=found.energy * warming.capacity, at_once=at_once), curve


class _Segment(NamedTuple):
    """Segment in which a flight ended: the knot at its lower end, and the state at its upper end."""

    knot: NDArray
    charge: NDArray
    width: NDArray
    by_floor: NDArray
    room: NDArray
    next_room: NDArray
    guess: NDArray
    hours: NDArray
    energy: NDArray
    voltage: NDArray
    current: NDArray
    heat: NDArray
    next_heat: NDArray


def _with_exact_end(
    found: Rundown,
    curve: list[tuple[NDArray, ...]],
    closing: NDArray,
    last: _Segment,
    at: Callable[[NDArray, NDArray, NDArray], _Draw],
    limit: NDArray,
) -> tuple[Rundown, list[tuple[NDArray, ...]]]:
    """Refine the end of the flights to the charge at which the voltage margin is zero, in place of interpolation.

    ``at(charge, temperature, guess)`` returns the load; the temperature is linear along a segment.
    """
    low, high = np.zeros(closing.shape), np.ones(closing.shape)
    # at take-off the room was that of the first seconds
    upper = at(last.charge, last.heat, last.guess)
    room = np.minimum(upper.voltage - limit, upper.spare)
    left, right = np.maximum(np.minimum(room, last.room), 0.0), np.minimum(last.next_room, -1e-12)
    guess, warmer = last.guess, last.next_heat - last.heat
    for _ in range(END_STEPS):  # the margin is nearly linear, so false position gains two digits per step
        share = low + (high - low) * left / (left - right)
        draw = at(last.charge - share * last.width, last.heat + share * warmer, guess)
        guess = draw.voltage
        there = np.minimum(guess - limit, draw.spare)
        over = there < 0.0
        high, right = np.where(over, share, high), np.where(over, there, right)
        low, left = np.where(over, low, share), np.where(over, left, there)
    share = low + (high - low) * left / (left - right)
    ends = closing & (share < last.by_floor)
    share = np.clip(np.minimum(share, last.by_floor), 0.0, 1.0)
    charge, temperature = last.charge - share * last.width, last.heat + share * warmer
    draw = at(charge, temperature, guess)
    throttle = draw.spare < draw.voltage - limit
    # also at the reserve: interpolation would use a knot that the pack cannot reach, with an unconverged value
    voltage, current = draw.voltage, draw.current
    step = 0.5 * last.width * share
    hours = np.where(closing, last.hours + (1.0 / last.current + 1.0 / current) * step, found.hours)
    energy = np.where(closing, last.energy + (last.voltage + voltage) * step, found.energy)
    end = np.where(closing, charge, found.end)
    end_temperature = np.where(closing, temperature, found.temperature)
    result = np.broadcast_arrays(end, hours, voltage, current, end_temperature)
    for k, node in enumerate(curve):
        after = closing & (last.knot <= k)
        curve[k] = tuple(np.where(after, new, old) for new, old in zip(result, node, strict=True))
    return (
        replace(
            found,
            hours=hours,
            energy=energy,
            end=end,
            by_voltage=np.where(closing, ends & ~throttle, found.by_voltage),
            by_throttle=np.where(closing, ends & throttle, found.by_throttle),
            temperature=end_temperature,
        ),
        curve,
    )


def possible_temperature(temperature: NDArray) -> NDArray:
    """Clip to the range of a `battery.Pack`; NaN (no flight) becomes the lower limit. [K]"""
    low, high = battery.LEAST_TEMPERATURE, battery.MOST_TEMPERATURE
    return np.clip(np.nan_to_num(temperature, nan=low, posinf=high), low, high)


def flight_time(build: Build, profile: Profile | str = "hang still", *, state_of_charge: ArrayLike = 1.0) -> FlightTime:
    """Flight time of a mixed flight.

    Parameters
    ----------
    build : Build
        Its fields may be arrays.
    profile : Profile or str
        A profile, whose shares may be arrays that broadcast with the build; or a name from `WAYS_OF_FLYING`.
    state_of_charge : array_like
        State of charge at take-off, 0 to 1. [-]

    Returns
    -------
    FlightTime
        Of the broadcast shape of build, profile and state of charge.

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
    if not check_range("state_of_charge", state_of_charge, 0.0, 1.0).size:
        raise ValueError("state_of_charge must hold at least one value, got none")
    if isinstance(profile, str):
        profile = WAYS_OF_FLYING[check_in("way of flying", profile, WAYS_OF_FLYING)]
    if not isinstance(profile, Profile):
        known = ", ".join(WAYS_OF_FLYING)
        raise ValueError(f"profile must be a Profile or one of {known}, got {quoted(profile)}")
    shares = [np.asarray(getattr(profile, k), dtype=np.float64) for k in ("hover", "cruise", "hard", "full")]
    start = np.asarray(state_of_charge, dtype=np.float64)
    shape = np.broadcast_shapes(
        shape_of(build),
        start.shape,
        *(s.shape for s in shares),
        np.shape(profile.cruise_speed),
        np.shape(profile.hard_load),
    )
    d = prepare(build, start, sustained=True)
    one = np.ones(shape)
    lift = build.weight / d.rotors * one
    hover = at_thrust(d, lift)
    _, cruise = trim(d, Airframe.of(build), np.asarray(profile.cruise_speed) * one, passes=60)
    cap = build.duty_cap * one
    # the thrust required by bursts and hard manoeuvres does not depend on temperature, age and condition of the pack
    as_label = replace(build.pack, temperature=battery.REFERENCE_TEMPERATURE, cycles=0.0, cell_resistance=None)
    fresh = replace(build, pack=as_label)

    def flat_out(charge: NDArray, *, passes: int = 6) -> OperatingPoint:
        return at_duty(at_state_of_charge(d, fresh, np.minimum(charge, start)), cap, passes=passes)

    wanted = lift * profile.hard_load
    most_thrust = flat_out(start, passes=PASSES).thrust
    hard = at_thrust(d, np.minimum(wanted, most_thrust))
    pulls = bool(np.any(shares[2] > 0.0))
    reserve = np.asarray(build.pack.reserve, dtype=np.float64)
    # full throttle gives its least thrust at the start of the flight or at the last knot
    last_knot = np.floor(reserve * SEGMENTS * (1.0 + DUTY_TOLERANCE)) / SEGMENTS
    weak = pulls and bool(np.any(wanted > np.minimum(most_thrust, flat_out(last_knot).thrust)))
    asks = weak or bool(np.any(shares[3] > 0.0))

    # full throttle of the new pack depends only on the charge: for a few builds all knots are solved in one call
    few = math.prod(shape) <= 4000 and asks
    knots = 1.0 - np.arange(SEGMENTS + 1) / SEGMENTS
    at_knots = flat_out(knots.reshape(-1, *(1,) * len(shape))) if few else None

    def full_at(knot: float | NDArray) -> tuple[NDArray, ...]:
        if at_knots is None or not isinstance(knot, float):
            p = flat_out(np.asarray(knot))
            return p.thrust, p.motor_voltage, p.motor_current, p.pack_current
        p, k = at_knots, round((1.0 - knot) * SEGMENTS)
        return p.thrust[k], p.motor_voltage[k], p.motor_current[k], p.pack_current[k]

    def way_of(point: OperatingPoint | _Motor) -> tuple:
        return _bus_of(d, point), _least_voltage(point, cap)

    ways = [way_of(p) for p in (hover, cruise, hard)]
    mixed = shares[0] < 1.0
    any_mixed = bool(np.any(mixed))

    def current_at(knot: float | NDArray, emf: NDArray, r: NDArray, guess: NDArray) -> _Draw:
        mean, square, spare = np.zeros(shape), np.zeros(shape), np.full(shape, np.inf)
        thrust, volts, amps, most = full_at(knot) if asks else (mean, mean, mean, mean)
        for k, share in enumerate(shares[:3]):
            flown = np.any(share > 0.0)
            if k > 0 and not flown:
                continue
            if k == 2 and weak:
                less = thrust < wanted
                bus, least = way_of(
                    _Motor(np.where(less, volts, hard.motor_voltage), np.where(less, amps, hard.motor_current))
                )
            else:
                bus, least = ways[k]
            voltage, current = bus(emf, r, guess)
            if any_mixed:  # `guess` is the bus voltage at the mean current
                closer = bus(emf, r, voltage)
                voltage, current = np.where(mixed, closer[0], voltage), np.where(mixed, closer[1], current)
            if k == 2:
                # at full throttle the same impulse takes the same charge: use the current at the least sufficient bus,
                # which is the most, however little the pack has left
                current = np.minimum(current, bus(least, np.zeros(shape), least)[1])
            else:
                # every flight must be able to hover; a hard manoeuvre is held longer instead
                spare = np.minimum(spare, np.where((share > 0.0) | (k == 0), voltage - least, np.inf))
                spare = np.where(voltage < d.minimum_voltage, np.minimum(spare, voltage - d.minimum_voltage), spare)
            if flown:
                mean = mean + share * current
                square = square + share * (current * current)
        if np.any(shares[3] > 0.0):
            mean = mean + shares[3] * most
            square = square + shares[3] * (most * most)
        return _Draw(emf - mean * r, mean, spare, square)

    limit = np.maximum(battery.cutoff_voltage(build.pack) * np.asarray(build.pack.cells), d.minimum_voltage)
    result, curve = _run_down(build, current_at, start, limit, reserve, shape, amps=hover.pack_current)
    can_hover = lifts(hover, cap)
    starved = hover.status == Status.BELOW_ELECTRONICS_MINIMUM
    if pulls:
        # a hard manoeuvre at full throttle has the bus voltage of full throttle
        full = (hard.status == Status.PACK_CANNOT_DELIVER) | (hard.duty > cap * (1.0 + DUTY_TOLERANCE))
        least_bus = np.where(full, at_duty(d, cap).bus_voltage, hard.bus_voltage) if np.any(full) else hard.bus_voltage
        starved = starved | (least_bus < d.minimum_voltage) & (shares[2] > 0.0)
    can_cruise = lifts(cruise, cap) | (shares[1] == 0.0)
    status = np.select(
        [starved, ~can_hover, ~can_cruise, result.at_once, result.by_throttle],
        [
            Status.BELOW_ELECTRONICS_MINIMUM,
            Status.CANNOT_HOVER,
            Status.CANNOT_FLY_AT_THIS_SPEED,
            Status.BELOW_CUTOFF_AT_ONCE,
            Status.THROTTLE_FULL,
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
    warmed = replace(build, pack=replace(build.pack, temperature=possible_temperature(result.temperature)))
    last = at_duty(at_state_of_charge(d, warmed, result.end), cap)
    return FlightTime(
        time=result.hours * 3600.0 * nan,
        energy=result.energy * 3600.0 * nan,
        charge=charge * nan,
        mean_current=mean_current * nan,
        end_state_of_charge=result.end * nan,
        stopped_by_voltage=result.by_voltage & flies,
        stopped_by_throttle=result.by_throttle & flies,
        burst_voltage=last.bus_voltage * nan,
        end_temperature=result.temperature * nan,
        status=status,
        curve_state_of_charge=columns[0],
        curve_time=columns[1] * battery.capacity(build.pack) * 3600.0,
        curve_voltage=columns[2],
        curve_current=columns[3],
        curve_temperature=columns[4],
    )
