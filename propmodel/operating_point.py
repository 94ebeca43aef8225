"""Where motor, propeller, controller and pack agree.

Everything is solved by rotational speed. Given n, the chain is explicit: propeller torque, motor current, motor
voltage, power of all rotors, bus voltage (a quadratic in the pack), duty. A commanded duty d gives n as the upper
root of one equation, in which the ripple loss is explicit too because V/V_bus = d::

    F(n) = V (d E - V) - R d^2 P(n) = 0,    P = N (V I + P_0 + k_r (1 - d)^2 V^2) + P_electronics

with V(n), I(n) of the motor: a quadratic gives n to a thousandth, one or two of Halley's steps in ln n the rest (F
is concave in n). A required thrust gives n from a square root, with a few fixed-point passes on the coefficient's
slow change with Reynolds number (contraction about 0.05 a pass). No root finder, no loop over builds.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel import battery, controller
from propmodel import propeller as propellers
from propmodel.air import STANDARD, Air
from propmodel.build import COAXIAL_THRUST, Build, put, shape_of, subset, with_axis
from propmodel.errors import check_positive, check_range
from propmodel.motor import Motor, winding_part
from propmodel.status import Status

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "BenchCurve",
    "Drive",
    "OperatingPoint",
    "ThrottleCurve",
    "at_duty",
    "at_speed",
    "at_thrust",
    "bench_curve",
    "drive",
    "electrical",
    "recharge",
    "speed_for_thrust",
    "throttle_curve",
]

PASSES = 14
"""Halley's steps or fixed-point passes at most; mostly one or two are taken. [-]"""
STRAINED = 0.70
"""Bus over rest voltage below which the most the pack can give is looked up. [-]"""
STRAINED_PASSES = 24
TOLERANCE = 1e-11
"""Passes stop when no element moved by more than this share; quick estimates use fewer."""
FINEST = 1e-13
"""Near the most a pack can give the bus follows the square root of what a speed lacks. [-]"""
SETTLED = 1e-6
"""Step on a speed after which none is needed: some 1e-12 is left, and a fit may take differences of it. [-]"""

# numbers as arrays without axes: numpy takes them faster than plain ones
_ZERO, _ONE, _HALF, _TWO, _FOUR, _TURN = (np.asarray(x) for x in (0.0, 1.0, 0.5, 2.0, 4.0, 2.0 * np.pi))
_ABOVE_ONE, _STEEP, _NEAR, _TIGHT = (np.asarray(x) for x in (1.0 + 1e-9, 1e-3, 1e-3, 0.65))
_FIFTH, _EIGHT_TENTHS = np.asarray(0.2), np.asarray(0.81)
_SMALL_DUTY = np.asarray(1e-6)
_ALL_THROTTLE = np.linspace(0.0, 1.0, 101)
_ALL_THROTTLE.flags.writeable = False
_CANNOT_DELIVER = np.int8(Status.PACK_CANNOT_DELIVER)


@dataclass(frozen=True)
class Drive:
    """A build prepared for solving at one state of charge: plain arrays, derived once.

    Parameters
    ----------
    prop : PreparedPropeller
    controller : Controller
    density, diameter, disc_area : ndarray
        Of the air [kg/m^3]; of one propeller [m, m^2].
    rotors : ndarray
        [-]
    torque_constant : ndarray
        K_t. [N m/A]
    winding_resistance : ndarray
        The winding's part of ``resistance``. [ohm]
    iron_slope : ndarray
        Loss torque over n. [N m s]
    emf, pack_resistance : ndarray
        Rest voltage and resistance of the pack at this charge. [V, ohm]
    electronics_power : ndarray
        [W]
    minimum_voltage : ndarray
        Of the flight electronics. [V]
    """

    prop: propellers.PreparedPropeller
    controller: controller.Controller
    density: NDArray
    diameter: NDArray
    disc_area: NDArray
    rotors: NDArray
    thrust_share: NDArray
    """Installed over bare thrust: arms in the wash, coaxial loss. [-]"""
    volts_per_rev: NDArray
    """Back-EMF per rev/s, 2 pi K_t. [V s]"""
    torque_constant: NDArray
    resistance: NDArray
    """Effective motor resistance plus any extra of the controller. [ohm]"""
    winding_resistance: NDArray
    iron_slope: NDArray
    emf: NDArray
    pack_resistance: NDArray
    electronics_power: NDArray
    minimum_voltage: NDArray


@dataclass(frozen=True)
class OperatingPoint:
    """One rotor and its share of the pack at one speed; arrays of one shape.

    Thrust is installed, torque is at the shaft; ``pack_current`` and ``bus_voltage`` are of the whole craft. Losses
    are of one rotor, but ``pack_loss`` of the whole pack. Units are SI.

    Parameters
    ----------
    rev_per_s : ndarray
        [1/s]
    thrust, torque, shaft_power : ndarray
        [N, N m, W]
    motor_current, motor_voltage : ndarray
        Average over the switching. [A, V]
    duty : ndarray
        Motor over bus voltage. [-]
    bus_voltage, pack_current : ndarray
        [V, A]
    winding_loss, iron_loss, ripple_loss : ndarray
        [W]
    pack_loss : ndarray
        In cells, leads and connector. [W]
    status : ndarray of int8
        :class:`propmodel.status.Status`.
    """

    rev_per_s: NDArray
    thrust: NDArray
    torque: NDArray
    shaft_power: NDArray
    motor_current: NDArray
    motor_voltage: NDArray
    duty: NDArray
    bus_voltage: NDArray
    pack_current: NDArray
    pack_power: NDArray
    """At the pack's terminals: all rotors and electronics. [W]"""
    winding_loss: NDArray
    rest_loss: NDArray
    """The rest of the effective resistance: controller, leads, commutation. [W]"""
    iron_loss: NDArray
    ripple_loss: NDArray
    pack_loss: NDArray
    status: NDArray


def drive(build: Build, state_of_charge: ArrayLike = 1.0, *, sustained: bool = False) -> Drive:
    """Prepare a build for solving.

    Parameters
    ----------
    build : Build
    state_of_charge : array_like
        0 to 1, broadcasts with the build. [-]
    sustained : bool
        False: 10-second pack resistance (punch). True: over minutes (hover, cruise).

    Returns
    -------
    Drive
    """
    if np.ndim(state_of_charge) == 0:
        # plain numbers are asked again and again (a curve, a knob moved back): the last few stay prepared
        with suppress(TypeError):  # arrays cannot be looked up
            return _kept(build, float(state_of_charge), sustained)  # type: ignore[arg-type]
    return _prepared(build, state_of_charge, sustained)


@lru_cache(maxsize=64)
def _kept(build: Build, state_of_charge: float, sustained: bool) -> Drive:
    return _prepared(build, state_of_charge, sustained)


def _prepared(build: Build, state_of_charge: ArrayLike, sustained: bool) -> Drive:
    motor, craft = build.motor, build.craft
    share = 1.0 - np.asarray(craft.thrust_loss, dtype=np.float64)
    torque_constant = np.asarray(motor.torque_constant)
    # asarray: a number as an array without axes is quicker in what follows than a numpy scalar
    return Drive(
        prop=propellers.prepare(build.propeller, build.air),
        controller=build.controller,
        density=np.asarray(build.air.density, dtype=np.float64),
        diameter=np.asarray(build.propeller.diameter, dtype=np.float64),
        disc_area=np.asarray(build.disc_area),
        rotors=np.asarray(build.rotors, dtype=np.float64),
        thrust_share=np.asarray(share * (COAXIAL_THRUST if build.coaxial else 1.0)),
        volts_per_rev=np.asarray(2.0 * np.pi * torque_constant),
        torque_constant=torque_constant,
        resistance=np.asarray(np.asarray(motor.resistance, dtype=np.float64) + build.controller.resistance),
        winding_resistance=np.asarray(_winding(motor)),
        iron_slope=np.asarray(motor.iron_torque_slope),
        emf=np.asarray(battery.open_circuit_voltage(build.pack, state_of_charge)),
        pack_resistance=np.asarray(battery.resistance(build.pack, state_of_charge, sustained=sustained)),
        electronics_power=np.asarray(craft.electronics_power, dtype=np.float64),
        minimum_voltage=np.asarray(craft.electronics_min_voltage, dtype=np.float64),
    )


def _is_plain(build: Build) -> bool:
    """Whether a build holds plain numbers alone: arrays cannot be hashed."""
    try:
        hash(build)
    except TypeError:
        return False
    return True


def recharge(d: Drive, build: Build, state_of_charge: ArrayLike, *, sustained: bool = False) -> Drive:
    """Return the same drive at another state of charge: only the pack's side is worked out again.

    Parameters
    ----------
    d : Drive
    build : Build
        The build it was made from.
    state_of_charge : array_like
        0 to 1. [-]
    sustained : bool
        As for :func:`drive`.

    Returns
    -------
    Drive
    """
    return replace(
        d,
        emf=np.asarray(battery.open_circuit_voltage(build.pack, state_of_charge)),
        pack_resistance=np.asarray(battery.resistance(build.pack, state_of_charge, sustained=sustained)),
    )


def _winding(motor: Motor) -> NDArray:
    return np.minimum(winding_part(motor), np.asarray(motor.resistance, dtype=np.float64))


def electrical(
    d: Drive, rev_per_s: NDArray, torque: NDArray, thrust: NDArray, *, passes: int = 2, bus: NDArray | None = None
) -> OperatingPoint:
    """Everything electrical that follows from a speed and a shaft torque (explicit).

    Parameters
    ----------
    d : Drive
    rev_per_s : ndarray
        [1/s]
    torque : ndarray
        Propeller torque of one rotor. [N m]
    thrust : ndarray
        Installed thrust of one rotor, carried along. [N]
    passes : int
        Newton steps on the bus voltage, which the ripple loss follows, before a closed form ends it.
    bus : ndarray or None
        If it is known but for its last digits: then one closed form gives those. [V]

    Returns
    -------
    OperatingPoint
        With status PACK_CANNOT_DELIVER where the power is above what the pack can give (voltage held at half of
        the rest voltage) or the duty is above 1, BELOW_ELECTRONICS_MINIMUM where the bus is too low.
    """
    iron_torque = d.iron_slope * rev_per_s
    current = (torque + iron_torque) / d.torque_constant
    motor_voltage = d.volts_per_rev * rev_per_s + current * d.resistance
    # bus voltage: V^2 - E V + R P(V) = 0, where only the ripple loss follows V
    emf, r = d.emf, d.pack_resistance
    coefficient = d.rotors * np.asarray(d.controller.ripple_coefficient)
    fixed = d.rotors * (motor_voltage * current + d.controller.standby_power) + d.electronics_power
    half = _HALF * emf
    square = motor_voltage * motor_voltage
    if bus is None:
        # the ripple belongs to the voltage near enough without it: this lands some 1e-4 from the root
        through = motor_voltage - square / np.maximum(emf - r * fixed / emf, half)
        through = np.maximum(through, _ZERO)
        bus = battery.terminal_voltage(emf, r, fixed + coefficient * through * through)
        tight = bus < _TIGHT * emf
        if tight.any():
            # near half of the rest voltage two roots meet: begin above both, where Newton's method comes down safely
            asked = (emf, r, fixed, coefficient, motor_voltage)
            e, o, f, c, v = (np.broadcast_to(x, tight.shape)[tight] for x in asked)
            above = np.maximum(v - v * v / (_HALF * e), _ZERO)
            start = battery.terminal_voltage(e, o, f + c * above * above)
            bus = np.array(np.broadcast_to(bus, tight.shape))
            bus[tight] = _bus(e, o, f, c, v, start, passes=STRAINED_PASSES)
        bus = _bus(emf, r, fixed, coefficient, motor_voltage, bus, passes=passes)
    # last the closed form: whatever the ripple still lacks, volts, amps and watts agree to the last digit
    through = np.maximum(motor_voltage - square / np.maximum(bus, half), _ZERO)
    ripple = coefficient * through * through
    bus = battery.terminal_voltage(emf, r, fixed + ripple)
    power = fixed + ripple
    duty = motor_voltage / bus
    short = (power * r > half * half * _ABOVE_ONE) | (duty > _ABOVE_ONE)
    low = bus < d.minimum_voltage
    status = np.zeros(np.shape(duty), np.int8)
    if short.any() or low.any():
        status = np.where(
            short, _CANNOT_DELIVER, np.where(low, np.int8(Status.BELOW_ELECTRONICS_MINIMUM), np.int8(Status.OK))
        )
    pack_current = power / bus
    square = current * current
    return OperatingPoint(
        rev_per_s=rev_per_s,
        thrust=thrust,
        torque=torque,
        shaft_power=_TURN * rev_per_s * torque,
        motor_current=current,
        motor_voltage=motor_voltage,
        duty=duty,
        bus_voltage=bus,
        pack_current=pack_current,
        pack_power=power,
        winding_loss=square * d.winding_resistance,
        rest_loss=square * (d.resistance - d.winding_resistance),
        iron_loss=_TURN * rev_per_s * iron_torque,
        ripple_loss=ripple / d.rotors + d.controller.standby_power,
        pack_loss=pack_current * pack_current * r,
        status=status,
    )


def _bus(
    emf: NDArray,
    r: NDArray,
    fixed: NDArray,
    coefficient: NDArray,
    motor_voltage: NDArray,
    bus: NDArray,
    *,
    passes: int,
) -> NDArray:
    """Newton's method on V (V - E) + R (P_fixed + k (V_m (1 - V_m/V))^2) = 0, kept above half of the rest voltage."""
    square = motor_voltage * motor_voltage
    half, least = _HALF * emf, _STEEP * emf
    for _ in range(passes):
        share = square / bus
        through = np.maximum(motor_voltage - share, _ZERO)
        ripple = coefficient * through
        slope = bus + bus - emf + r * (ripple + ripple) * share / bus
        gap = bus * (bus - emf) + r * (fixed + ripple * through)
        bus = np.maximum(bus - gap / np.maximum(slope, least), half)
    return bus


def at_speed(d: Drive, rev_per_s: ArrayLike, *, bus_passes: int = 2) -> OperatingPoint:
    """Static operating point at a speed.

    Parameters
    ----------
    d : Drive
    rev_per_s : array_like
        [1/s]
    bus_passes : int
        Newton steps on the bus voltage; a pack near the most it can give needs many.

    Returns
    -------
    OperatingPoint
    """
    n = np.asarray(rev_per_s, dtype=np.float64)
    thrust, torque = _forces(d, n, *d.prop.static(n))
    return electrical(d, n, torque, thrust, passes=bus_passes)


def _forces(d: Drive, n: NDArray, c_t: NDArray, c_p: NDArray) -> tuple[NDArray, NDArray]:
    """Installed thrust and shaft torque of one rotor. [N, N m]"""
    area = d.diameter * d.diameter
    square = d.density * (area * area) * n * n
    return d.thrust_share * c_t * square, c_p * square * (d.diameter / _TURN)


def at_thrust(d: Drive, thrust: ArrayLike, *, passes: int = PASSES) -> OperatingPoint:
    """Static operating point that gives an installed thrust.

    Parameters
    ----------
    d : Drive
    thrust : array_like
        Installed thrust of one rotor. [N]
    passes : int
        Fixed-point passes at most.

    Returns
    -------
    OperatingPoint
    """
    return at_speed(d, speed_for_thrust(d, thrust, passes=passes))


def speed_for_thrust(d: Drive, thrust: ArrayLike, *, passes: int = PASSES) -> NDArray:
    """Static speed that gives an installed thrust.

    Parameters
    ----------
    d : Drive
    thrust : array_like
        Installed thrust of one rotor. [N]
    passes : int
        Fixed-point passes at most.

    Returns
    -------
    ndarray
        [1/s]
    """
    area = d.diameter * d.diameter
    base = np.maximum(np.asarray(thrust, dtype=np.float64), 0.0) / (d.thrust_share * d.density * (area * area))
    n = np.sqrt(base / 0.12)
    for _ in range(passes):
        new = np.sqrt(base / d.prop.static_c_t(n))
        moved = _moved(new, n)
        n = new
        if not moved:
            break
    return n


def at_duty(d: Drive, duty: ArrayLike, *, passes: int = PASSES) -> OperatingPoint:
    """Static operating point at a commanded duty.

    Parameters
    ----------
    d : Drive
    duty : array_like
        Average duty, 0 to 1. [-]
    passes : int
        Fixed-point passes at most.

    Returns
    -------
    OperatingPoint
        Where the duty is beyond the most the pack can deliver, the point of most power is held, with status
        PACK_CANNOT_DELIVER.
    """
    command = np.asarray(duty, dtype=np.float64)
    n, c_t, c_p = speed_for_duty(d, command, passes=passes)
    thrust, torque = _forces(d, n, c_t, c_p)
    # at that duty the bus is known but for the last digits; without a duty it is the rest voltage, nearly
    volts = d.volts_per_rev * n + d.resistance * ((torque + d.iron_slope * n) / d.torque_constant)
    idle = d.emf - d.pack_resistance * (d.rotors * d.controller.standby_power + d.electronics_power) / d.emf
    guess = np.where(command > _SMALL_DUTY, volts / np.maximum(command, _SMALL_DUTY), idle)
    point = electrical(d, n, torque, thrust, bus=guess)
    # beyond half of the rest voltage the root follows the low-voltage branch: hold the peak instead
    sound = (point.bus_voltage >= STRAINED * d.emf) & (np.abs(point.duty - command) <= _NEAR)
    if sound.all():
        return point
    shape = point.duty.shape
    some = ~sound & (command > 0.0)
    if not some.any():
        return point
    part, asked = subset(d, some, shape), np.broadcast_to(command, shape)[some]
    # near the most a pack can give the passes close slowly, and the bus hangs on the last digits of the speed
    many = STRAINED_PASSES if passes < PASSES else 4 * PASSES
    n_part = speed_for_duty(part, asked, passes=many, settled=FINEST)[0]
    # one start for all duties of a drive: what is held at the peak is then the same to the last digit
    peak_speed = most_speed(part, 0.3 * part.emf / part.volts_per_rev * np.ones_like(asked), passes=30)
    n_part = np.where((n_part > 0.0) & np.isfinite(n_part), n_part, peak_speed)
    beyond = asked >= at_speed(part, peak_speed, bus_passes=STRAINED_PASSES).duty * (1.0 - 1e-9)
    speed = np.where(beyond, peak_speed, np.minimum(n_part, peak_speed))
    held = at_speed(part, speed, bus_passes=STRAINED_PASSES)
    open_ = ~beyond & (np.abs(held.duty - asked) > 1e-9)
    if open_.any():
        # the passes do not close for a few: the duty grows with speed up to the peak, so halve
        few, wanted = subset(part, open_, asked.shape), asked[open_]
        low, high = np.zeros_like(wanted), peak_speed[open_]
        for _ in range(52):
            middle = 0.5 * (low + high)
            under = at_speed(few, middle, bus_passes=STRAINED_PASSES).duty < wanted
            low, high = np.where(under, middle, low), np.where(under, high, middle)
        speed[open_] = 0.5 * (low + high)
        held = at_speed(part, speed, bus_passes=STRAINED_PASSES)
    held = replace(held, status=np.where(beyond, Status.PACK_CANNOT_DELIVER, held.status).astype(np.int8))
    return OperatingPoint(*(put(getattr(point, f.name), some, getattr(held, f.name)) for f in fields(point)))


def speed_for_duty(
    d: Drive, duty: NDArray, *, passes: int = PASSES, settled: float = SETTLED
) -> tuple[NDArray, NDArray, NDArray]:
    """Static speed at a commanded duty, and the coefficients there.

    Parameters
    ----------
    d : Drive
    duty : ndarray
        0 to 1. [-]
    passes : int
        Halley's steps at most, after the quadratic.
    settled : float
        Share moved by a step that is the last one; what is left then is far smaller. [-]

    Returns
    -------
    (rev_per_s, c_t, c_p) : tuple of ndarray
        The coefficients follow the last step along their slope. [1/s, -, -]
    """
    asked, duty = duty, np.maximum(duty, _SMALL_DUTY)
    area = d.diameter * d.diameter
    iron_amps = d.iron_slope / d.torque_constant
    load_amps = d.density * (area * area * d.diameter) / (_TURN * d.torque_constant)
    rest = duty * d.emf
    sag = d.pack_resistance * duty * duty
    slip = d.rotors * sag
    emptied = sag * (d.rotors * d.controller.standby_power + d.electronics_power)
    off = _ONE - duty
    ripple = off * off * d.controller.ripple_coefficient
    with_ripple = _ONE + slip * ripple
    # the quadratic in n, with the ripple at nine tenths of the voltage: first with C_P at the middle Reynolds number,
    # then with its own
    total = d.resistance + slip
    linear = d.volts_per_rev + total * iron_amps
    square = linear * linear
    volts = np.maximum(rest - emptied / rest - _EIGHT_TENTHS * slip * ripple * rest, _FIFTH * rest)
    steep = (_FOUR * load_amps) * total * volts
    volts = volts + volts
    n = volts / (linear + np.sqrt(square + steep * d.prop.middle_c_p))
    n = volts / (linear + np.sqrt(square + steep * d.prop.static_c_p(n)))
    with np.errstate(all="ignore"):  # a pack at its end has no root: at_duty sees that and holds the peak
        for _ in range(passes):
            c_t, c_p, slope_c_t, slope_c_p = d.prop.static_with_slope(n)
            # V, I and what is left of the volts, with first and second derivatives in ln n: sums of powers of n
            grade = _TWO + slope_c_p
            iron, load, back = iron_amps * n, load_amps * c_p * n * n, d.volts_per_rev * n
            load_1 = grade * load
            current, current_1, current_2 = load + iron, load_1 + iron, grade * load_1 + iron
            volts, volts_1, volts_2 = (back + d.resistance * i for i in (current, current_1, current_2))
            left = rest - with_ripple * volts - slip * current
            left_1, left_2 = with_ripple * volts_1 + slip * current_1, with_ripple * volts_2 + slip * current_2
            gap = volts * left - emptied
            gap_1 = volts_1 * left - volts * left_1
            gap_2 = volts_2 * left - _TWO * volts_1 * left_1 - volts * left_2
            step = gap * gap_1 / (_HALF * gap * gap_2 - gap_1 * gap_1)
            n = n + n * (step + _HALF * step * step)
            if not (np.abs(step) > settled).any():
                break
        # the coefficients follow the last step along their slopes
        c_t, c_p = c_t + c_t * (slope_c_t * step), c_p + c_p * (slope_c_p * step)
    # standing still without a duty
    return np.where(asked > _ZERO, n, _ZERO), c_t, c_p


def most_speed(d: Drive, start: NDArray, *, passes: int = 12) -> NDArray:
    """Speed at which the pack gives its most power: bus at half of the rest voltage.

    Parameters
    ----------
    d : Drive
    start : ndarray
        Any positive speed, the nearer the better. [1/s]
    passes : int
        Newton steps in ln n.

    Returns
    -------
    ndarray
        [1/s]
    """
    n = np.maximum(start, 1e-3)
    half = 0.5 * d.emf
    most = d.emf * d.emf / (4.0 * np.maximum(d.pack_resistance, 1e-9))
    for _ in range(passes):
        _, c_p = d.prop.static(n)
        _, torque = _forces(d, n, c_p, c_p)
        current = (torque + d.iron_slope * n) / d.torque_constant
        growth = (2.0 * torque + d.iron_slope * n) / d.torque_constant
        volts = d.volts_per_rev * n + current * d.resistance
        ripple = controller.ripple_loss(d.controller, volts, half)
        per_rotor = np.maximum((most - d.electronics_power) / d.rotors - ripple, 1e-6)
        slope = (d.volts_per_rev * n + d.resistance * growth) / volts + growth / current
        step = np.log(per_rotor / (volts * current)) / slope
        n = n * np.exp(np.clip(step, -2.0, 2.0))
        if not np.any(np.abs(step) > FINEST):
            break
    return n


def _moved(new: NDArray, old: NDArray) -> bool:
    return bool(np.any(np.abs(new - old) > TOLERANCE * new))


@dataclass(frozen=True)
class ThrottleCurve:
    """Static behaviour against throttle; the throttle axis comes last.

    Parameters
    ----------
    throttle : ndarray
        Command. [-]
    rev_per_s : ndarray
        [1/s]
    thrust : ndarray
        Installed thrust of one rotor. [N]
    motor_current, pack_current : ndarray
        Of one motor; of the whole craft. [A]
    pack_voltage : ndarray
        Bus voltage under load. [V]
    shaft_power : ndarray
        Of one rotor. [W]
    electrical_power : ndarray
        All rotors and electronics, at the pack's terminals. [W]
    efficiency : ndarray
        Ideal induced power of the installed thrust over electrical power: the share of the watts that lifts. [-]
    status : ndarray of int8
        :class:`propmodel.status.Status`.
    """

    throttle: NDArray
    rev_per_s: NDArray
    thrust: NDArray
    motor_current: NDArray
    pack_current: NDArray
    pack_voltage: NDArray
    shaft_power: NDArray
    electrical_power: NDArray
    efficiency: NDArray
    status: NDArray

    def to_frame(self) -> pd.DataFrame:
        """Return the curve as a table, one row a point, with units in the headings.

        Returns
        -------
        pandas.DataFrame
            Curves of several builds follow one another; a column ``build`` numbers them.
        """
        import pandas as pd

        units = {
            "throttle": "-",
            "rev_per_s": "1/s",
            "thrust": "N",
            "motor_current": "A",
            "pack_current": "A",
            "pack_voltage": "V",
            "shaft_power": "W",
            "electrical_power": "W",
            "efficiency": "-",
            "status": "code",
        }
        shape = self.thrust.shape
        columns = {f"{k} [{u}]": np.broadcast_to(getattr(self, k), shape).ravel() for k, u in units.items()}
        if len(shape) > 1:
            columns = {"build": np.repeat(np.arange(int(np.prod(shape[:-1]))), shape[-1])} | columns
        return pd.DataFrame(columns)


def throttle_curve(
    build: Build, throttle: ArrayLike | None = None, *, state_of_charge: ArrayLike = 1.0
) -> ThrottleCurve:
    """Thrust, current and efficiency against throttle, standing still.

    Parameters
    ----------
    build : Build
        May hold arrays; its shape comes first.
    throttle : array_like or None
        Command, 0 to 1; None takes 101 points. One or more axes of throttle come last; a plain number adds no
        axis. [-]
    state_of_charge : array_like
        0 to 1, broadcasts with the build. [-]

    Returns
    -------
    ThrottleCurve
        Shape (build shape) + (throttle shape).

    Raises
    ------
    ValueError
        If throttle or state of charge is outside 0 to 1.

    Examples
    --------
    >>> import propmodel
    >>> curve = throttle_curve(propmodel.demo("scree"))
    >>> curve.thrust.shape
    (101,)
    """
    command = _ALL_THROTTLE if throttle is None else check_range("throttle", throttle, 0.0, 1.0)
    charge = check_range("state_of_charge", state_of_charge, 0.0, 1.0)
    axes = command.ndim
    shape = () if _is_plain(build) else shape_of(build)
    if axes and charge.ndim:
        charge = charge[(...,) + (None,) * axes]
    if axes and shape:
        build = with_axis(build, axes)
        shape = shape_of(build)
    d = drive(build, charge)
    duty = controller.duty_from_throttle(build.controller, command, command_cap=build.command_cap)
    if shape or charge.ndim:
        duty = np.broadcast_to(duty, np.broadcast_shapes(shape, charge.shape, command.shape))
    point = at_duty(d, duty)
    # ideal induced power T sqrt(T / (2 rho A)): momentum.ideal_power without its checks
    ideal = point.thrust * np.sqrt(point.thrust / (2.0 * d.density * d.disc_area))
    return ThrottleCurve(
        throttle=command,
        rev_per_s=point.rev_per_s,
        thrust=point.thrust,
        motor_current=point.motor_current,
        pack_current=point.pack_current,
        pack_voltage=point.bus_voltage,
        shaft_power=point.shaft_power,
        electrical_power=point.pack_power,
        efficiency=d.rotors * ideal / point.pack_power,
        status=point.status,
    )


@dataclass(frozen=True)
class BenchCurve:
    """One rotor on a thrust stand with a stiff supply.

    Parameters
    ----------
    throttle : ndarray
        Command. [-]
    rev_per_s : ndarray
        [1/s]
    thrust : ndarray
        Of the bare propeller. [N]
    supply_current, motor_current : ndarray
        [A]
    torque : ndarray
        At the shaft. [N m]
    shaft_power : ndarray
        [W]
    """

    throttle: NDArray
    rev_per_s: NDArray
    thrust: NDArray
    supply_current: NDArray
    torque: NDArray
    shaft_power: NDArray
    motor_current: NDArray


def bench_curve(
    motor: Motor,
    propeller: propellers.Propeller,
    supply_voltage: ArrayLike,
    throttle: ArrayLike,
    *,
    air: Air = STANDARD,
    speed_controller: controller.Controller | None = None,
) -> BenchCurve:
    """Forecast a thrust-stand table: one bare rotor on a supply whose voltage is known at each step.

    Parameters
    ----------
    motor : Motor
    propeller : Propeller
    supply_voltage : array_like
        At the controller, as read at each step. [V]
    throttle : array_like
        0 to 1, broadcasts with the voltage. [-]
    air : Air
    speed_controller : Controller or None
        Throttle map and ripple loss; None takes those a calibrated motor brings, else the default.

    Returns
    -------
    BenchCurve
        Shape of all inputs broadcast together.

    Raises
    ------
    ValueError
        If the voltage is not above zero or the throttle outside 0 to 1.
    """
    volts = check_positive("supply_voltage", supply_voltage, "V")
    command = check_range("throttle", throttle, 0.0, 1.0)
    esc = speed_controller or motor.stand_controller or controller.Controller()
    zero = np.zeros(())
    d = Drive(
        prop=propellers.prepare(propeller, air),
        controller=esc,
        density=np.asarray(air.density, dtype=np.float64),
        diameter=np.asarray(propeller.diameter, dtype=np.float64),
        disc_area=np.pi / 4.0 * np.asarray(propeller.diameter, dtype=np.float64) ** 2,
        rotors=np.ones(()),
        thrust_share=np.ones(()),
        volts_per_rev=2.0 * np.pi * motor.torque_constant,
        torque_constant=motor.torque_constant,
        resistance=np.asarray(motor.resistance, dtype=np.float64) + esc.resistance,
        winding_resistance=_winding(motor),
        iron_slope=motor.iron_torque_slope,
        emf=volts,
        pack_resistance=zero,
        electronics_power=zero,
        minimum_voltage=zero,
    )
    duty = controller.duty_from_throttle(esc, command)
    shape = np.broadcast_shapes(volts.shape, np.shape(duty), np.shape(d.resistance), np.shape(d.diameter))
    point = at_duty(d, np.broadcast_to(duty, shape))
    return BenchCurve(
        throttle=command,
        rev_per_s=point.rev_per_s,
        thrust=point.thrust,
        supply_current=point.pack_current,
        torque=point.torque,
        shaft_power=point.shaft_power,
        motor_current=point.motor_current,
    )
