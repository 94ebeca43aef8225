"""Operating point of motor, propeller, controller and pack at a speed, thrust or duty; see `powertrain.rotor_speed`."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import scatter_back, take
from propmodel.base.status import Status
from propmodel.components import battery
from propmodel.components.controller import RIPPLE_MOST, limited_ripple_coefficient, ripple_voltage
from propmodel.powertrain import rotor_speed
from propmodel.powertrain.prepared import MIN_BUS_RATIO, PreparedPowertrain
from propmodel.powertrain.rotor_speed import PASSES
from propmodel.powertrain.throttle_rows import DutyRow

__all__ = [
    "DutySolution",
    "OperatingPoint",
    "at_duty",
    "at_speed",
    "at_thrust",
    "electrical",
    "solve_at_duty",
    "solve_for_row",
    "with_losses_and_status",
]

WEAK_PACK_PASSES = 24
"""Solver passes near the maximum power of the pack. [-]"""
RESIDUAL_TOL = 1e-9
"""Largest relative residual of E = V + R I at a converged point. [-]"""

# 0-d arrays are faster in numpy calls than Python floats
_ZERO, _HALF, _TURN = (np.asarray(x) for x in (0.0, 0.5, 2.0 * np.pi))
_ABOVE_ONE, _STEEP, _TIGHT = (np.asarray(x) for x in (1.0 + 1e-9, 1e-3, 0.65))
_RIPPLE_MOST, _TINY = np.asarray(RIPPLE_MOST), np.asarray(1e-30)
_CANNOT_DELIVER = np.int8(Status.PACK_CANNOT_DELIVER)


@dataclass(frozen=True)
class OperatingPoint:
    """Operating point of one rotor at one speed; arrays of one shape.

    Thrust is installed, torque is at the shaft. ``pack_current`` and ``bus_voltage`` belong to the whole craft. Losses
    are per rotor, except ``pack_loss``, which is of the whole pack. Units are SI.

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
        :class:`propmodel.base.status.Status`.
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


def electrical(
    d: PreparedPowertrain, rev_per_s: NDArray, torque: NDArray, thrust: NDArray, *, passes: int = 2
) -> OperatingPoint:
    """Electrical quantities at a given speed and shaft torque (explicit).

    Parameters
    ----------
    d : PreparedPowertrain
    rev_per_s : ndarray
        [1/s]
    torque : ndarray
        Propeller torque of one rotor. [N m]
    thrust : ndarray
        Installed thrust of one rotor, carried along. [N]
    passes : int
        Newton steps on the bus voltage, which the ripple loss follows, before a closed form ends it.

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
    coefficient = d.total_ripple_coefficient
    fixed = d.rotors * (motor_voltage * current + d.controller.standby_power) + d.electronics_power
    half = _HALF * emf
    square = motor_voltage * motor_voltage
    coefficient = limited_ripple_coefficient(coefficient, fixed, square)
    # the ripple belongs to the voltage near enough without it: this lands some 1e-4 from the root
    ripple_volts = ripple_voltage(motor_voltage, np.maximum(emf - r * fixed / emf, half))
    bus = battery.terminal_voltage(emf, r, fixed + coefficient * ripple_volts * ripple_volts)
    tight = bus < _TIGHT * emf
    if tight.any():
        # near half of the rest voltage two roots meet: begin above both, from where Newton's method converges
        asked = (emf, r, fixed, coefficient, motor_voltage)
        e, o, f, c, v = (np.broadcast_to(x, tight.shape)[tight] for x in asked)
        above = ripple_voltage(v, _HALF * e)
        start = battery.terminal_voltage(e, o, f + c * above * above)
        bus = np.array(np.broadcast_to(bus, tight.shape))
        bus[tight] = _bus(e, o, f, c, v, start, passes=WEAK_PACK_PASSES)
    bus = _bus(emf, r, fixed, coefficient, motor_voltage, bus, passes=passes)
    # last the closed form: whatever the ripple still lacks, volts, amps and watts agree to the last digit
    ripple_volts = ripple_voltage(motor_voltage, np.maximum(bus, half))
    ripple = coefficient * ripple_volts * ripple_volts
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
        ripple_volts = np.maximum(motor_voltage - share, _ZERO)
        ripple = coefficient * ripple_volts
        gap = ripple * ripple_volts
        gap += fixed
        gap *= r
        gap += bus * (bus - emf)
        slope = ripple
        slope += ripple
        slope *= r
        slope *= share
        slope /= bus
        slope += bus + bus - emf
        gap /= np.maximum(slope, least)
        bus = np.maximum(bus - gap, half)
    return bus


def at_speed(d: PreparedPowertrain, rev_per_s: ArrayLike, *, bus_passes: int = 2) -> OperatingPoint:
    """Static operating point at a speed.

    Parameters
    ----------
    d : PreparedPowertrain
    rev_per_s : array_like
        [1/s]
    bus_passes : int
        Newton steps on the bus voltage; a pack near the most it can give needs many.

    Returns
    -------
    OperatingPoint
    """
    n = np.asarray(rev_per_s, dtype=np.float64)
    c_t, c_p = d.prop.static(n)
    square = n * n
    torque = c_p * square * d.load_amps_per_c_p_n2 * d.torque_constant
    return electrical(d, n, torque, d.thrust_per_c_t_n2 * c_t * square, passes=bus_passes)


def at_thrust(d: PreparedPowertrain, thrust: ArrayLike, *, passes: int = PASSES) -> OperatingPoint:
    """Static operating point that gives an installed thrust.

    Parameters
    ----------
    d : PreparedPowertrain
    thrust : array_like
        Installed thrust of one rotor. [N]
    passes : int
        Fixed-point passes at most.

    Returns
    -------
    OperatingPoint
    """
    return at_speed(d, rotor_speed.for_thrust(d, thrust, passes=passes))


def at_duty(d: PreparedPowertrain, duty: ArrayLike, *, passes: int = PASSES) -> OperatingPoint:
    """Static operating point at a commanded duty.

    Parameters
    ----------
    d : PreparedPowertrain
    duty : array_like
        Average duty, 0 to 1. [-]
    passes : int
        Passes of the solver at most, two at least.

    Returns
    -------
    OperatingPoint
        Where the duty is beyond the most the pack can deliver, the point of most power is held, with status
        PACK_CANNOT_DELIVER.
    """
    asked = np.asarray(duty, dtype=np.float64)
    return with_losses_and_status(d, asked, solve_at_duty(d, asked, passes=passes), passes=passes)


class DutySolution(NamedTuple):
    """Solution at a duty, before losses, status and the correction near the limit of the pack.

    Parameters
    ----------
    rev_per_s, thrust, shaft_power, motor_current, motor_voltage, bus_voltage, pack_current, pack_power : ndarray
        As in :class:`OperatingPoint`.
    load : ndarray
        Current for the propeller's torque over n. [A s]
    needs_no_correction : bool
        True if all speeds converged, no ripple loss is limited, and the bus voltage is above `min_normal_bus`.
    """

    rev_per_s: NDArray
    thrust: NDArray
    shaft_power: NDArray
    motor_current: NDArray
    motor_voltage: NDArray
    bus_voltage: NDArray
    pack_current: NDArray
    pack_power: NDArray
    load: NDArray
    needs_no_correction: bool


@np.errstate(all="ignore")  # an overloaded pack has no root: `with_losses_and_status` detects that
def solve_at_duty(d: PreparedPowertrain, asked: NDArray, *, passes: int) -> DutySolution:
    """Solve for the speed at a duty, and the quantities at it.

    Parameters
    ----------
    d : PreparedPowertrain
    asked : ndarray
        Duty, 0 to 1. [-]
    passes : int
        Passes of the solver at most.

    Returns
    -------
    DutySolution
    """
    duty = np.maximum(asked, d.min_duty)
    return _quantities_at_speed(d, rotor_speed.duty_equation(d, duty), asked / duty, passes)


def solve_for_row(d: PreparedPowertrain, duties: DutyRow, *, passes: int) -> DutySolution:
    """As :func:`solve_at_duty`, for a powertrain of plain numbers on a cached row of duties.

    Parameters
    ----------
    d : PreparedPowertrain
        Of plain numbers.
    duties : DutyRow
    passes : int
        Passes of the solver at most.

    Returns
    -------
    DutySolution
    """
    if rotor_speed.never_overloads_pack(d):
        return _quantities_at_speed(
            d, rotor_speed.duty_equation_of_row(d, duties), duties.share, passes, never_overloads_pack=True
        )
    with np.errstate(all="ignore"):
        return _quantities_at_speed(d, rotor_speed.duty_equation_of_row(d, duties), duties.share, passes)


def _quantities_at_speed(
    d: PreparedPowertrain,
    equation: rotor_speed.DutyEquation,
    share: NDArray | None,
    passes: int,
    never_overloads_pack: bool = False,
) -> DutySolution:
    """Speed and what follows from it, in place as in `powertrain.rotor_speed`; ``share`` is asked over held duty."""
    n, c_p, converged = rotor_speed.solve_speed(d, equation, passes=passes, step_tol=rotor_speed.STEP_TOL)
    # amps per speed, volts per speed and speed per duty are known at rest as well; without a duty nothing turns
    load = c_p
    load *= n
    load *= d.load_amps_per_c_p_n2
    volts = load * d.resistance
    volts += d.no_load_volts_per_n
    bus = n / equation.duty
    bus *= volts
    if share is not None:
        n *= share
    volts *= n
    current = load + d.no_load_amps_per_n
    current *= n
    power = volts * current
    power *= d.rotors
    power += d.idle_power
    # never_overloads_pack: checked once a powertrain; see `components.controller` for the limit of the ripple loss
    limited = not never_overloads_pack and bool(
        (d.total_ripple_coefficient * (volts * volts) > _RIPPLE_MOST * power).any()
    )
    ripple = equation.ripple_shape
    ripple *= bus
    ripple *= bus
    power += ripple
    square = n * n
    thrust = d.prop.static_c_t(n)
    thrust *= square
    thrust *= d.thrust_per_c_t_n2
    square *= load
    square *= d.volts_per_rev
    # a pack at its end may send the solver to a root below zero
    needs_no_correction = bool(
        converged and not limited and (never_overloads_pack or ((bus >= d.min_normal_bus) & (n >= _ZERO)).all())
    )
    return DutySolution(n, thrust, square, current, volts, bus, power / bus, power, load, needs_no_correction)


def with_losses_and_status(d: PreparedPowertrain, asked: NDArray, s: DutySolution, *, passes: int) -> OperatingPoint:
    """Add losses and status; where the pack is near its limit, solve again from the speed.

    Parameters
    ----------
    d : PreparedPowertrain
    asked : ndarray
        Duty. [-]
    s : DutySolution
        What was found for it.
    passes : int
        As allowed for it.

    Returns
    -------
    OperatingPoint
    """
    square = s.motor_current * s.motor_current
    ripple_volts = s.motor_voltage - s.motor_voltage * asked
    point = OperatingPoint(
        rev_per_s=s.rev_per_s,
        thrust=s.thrust,
        torque=d.torque_constant * s.load * s.rev_per_s,
        shaft_power=s.shaft_power,
        motor_current=s.motor_current,
        motor_voltage=s.motor_voltage,
        duty=asked + np.zeros_like(s.bus_voltage),
        bus_voltage=s.bus_voltage,
        pack_current=s.pack_current,
        pack_power=s.pack_power,
        winding_loss=square * d.winding_resistance,
        rest_loss=square * (d.resistance - d.winding_resistance),
        iron_loss=_TURN * d.iron_slope * s.rev_per_s * s.rev_per_s,
        ripple_loss=d.controller.ripple_coefficient * (ripple_volts * ripple_volts) + d.controller.standby_power,
        pack_loss=s.pack_current * s.pack_current * d.pack_resistance,
        status=np.zeros(np.shape(s.bus_voltage), np.int8),
    )
    if s.needs_no_correction:
        return point
    # arrays that a static point at a duty does not need may lie in the powertrain all the same
    p, esc = d.prop, d.controller
    unused_fields = p.zero_thrust_advance_ratio, p.bulge_share, p.power_lost, p.inplane_factor
    map_fields = esc.exponent, esc.idle_duty
    shape = np.broadcast_shapes(np.shape(point.bus_voltage), *(np.shape(x) for x in (*unused_fields, *map_fields)))
    low = point.bus_voltage < d.minimum_voltage
    status = np.where(low, np.int8(Status.BELOW_ELECTRONICS_MINIMUM), np.int8(Status.OK))
    point = replace(point, status=status)
    # beyond half of the rest voltage the root follows the low-voltage branch: hold the peak instead
    missing = np.abs(point.bus_voltage + d.pack_resistance * point.pack_current - d.emf)
    sound = (point.bus_voltage >= MIN_BUS_RATIO * d.emf) & (missing <= RESIDUAL_TOL * d.emf) & (s.rev_per_s >= 0.0)
    square = s.motor_voltage * s.motor_voltage
    # the solver uses the unlimited ripple loss; where it is limited, solve as near the limit of the pack
    sound &= d.total_ripple_coefficient * square <= _RIPPLE_MOST * (
        d.rotors * s.motor_voltage * s.motor_current + d.idle_power
    )
    if sound.all():
        return point
    some = np.broadcast_to(~sound, shape)
    part, asked = take(d, some, shape), np.broadcast_to(asked, shape)[some]
    # near maximum power the passes converge slowly, and the bus voltage depends on the last digits of the speed
    many = WEAK_PACK_PASSES if passes < PASSES else 4 * PASSES
    n_part = rotor_speed.for_duty(part, asked, passes=many)
    # one starting value for all duties of a powertrain, so that the result at the peak is the same to the last digit
    peak_speed = rotor_speed.of_most_power(part, 0.3 * part.emf / part.volts_per_rev * np.ones_like(asked), passes=30)
    n_part = np.where((n_part > 0.0) & np.isfinite(n_part), n_part, peak_speed * (asked > 0.0))
    # at maximum power of the pack the bus voltage is half of the open-circuit voltage
    load = part.load_amps_per_c_p_n2 * part.prop.static(peak_speed)[1] * peak_speed
    peak_volts = (part.no_load_volts_per_n + part.resistance * load) * peak_speed
    beyond = asked >= peak_volts / (0.5 * part.emf) * (1.0 - 1e-9)
    n_part = np.where(beyond, peak_speed, np.minimum(n_part, peak_speed))
    held = at_speed(part, n_part, bus_passes=WEAK_PACK_PASSES)
    open_ = ~beyond & (np.abs(held.duty - asked) > 1e-9)
    if open_.any():
        # a few do not converge: the duty increases with speed up to the peak, which gives a bracket
        n_part[open_] = _bracketed(take(part, open_, asked.shape), asked[open_], peak_speed[open_])
        held = at_speed(part, n_part, bus_passes=WEAK_PACK_PASSES)
    held = replace(held, status=np.where(beyond, Status.PACK_CANNOT_DELIVER, held.status).astype(np.int8))
    return OperatingPoint(*(scatter_back(getattr(point, f.name), some, getattr(held, f.name)) for f in fields(point)))


def _bracketed(d: PreparedPowertrain, duty: NDArray, peak_speed: NDArray) -> NDArray:
    """Speed at a duty, between rest and the speed of most power. [1/s]"""
    from scipy.optimize.elementwise import find_root  # half a second to import: only where it is used

    def excess(n: NDArray, k: NDArray) -> NDArray:
        return at_speed(take(d, k, duty.shape), n, bus_passes=WEAK_PACK_PASSES).duty - duty[k]

    # beyond the peak the bus voltage is constant, so the duty still increases: a root at the peak is inside the bracket
    found = find_root(excess, (1e-9 * peak_speed, 1.000001 * peak_speed), args=(np.arange(duty.size),))
    return np.minimum(found.x, peak_speed)
