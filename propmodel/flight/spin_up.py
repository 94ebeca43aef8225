"""Response of a rotor to the command: spin-up times, time constants, braking energy.

The arguments are arrays, not builds. Torques are those of one rotor; all rotors accelerate together and share the pack.
The lag of the induced flow is neglected.

Motor and inertia alone give 28 to 33 ms for small changes of speed of 3- to 6-inch rotors; 40 to 66 ms were measured
(data/response/SOURCE.md). The difference is modelled as a lag of the controller: command frames, filter and ramp.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base import checks
from propmodel.base.arrays import FloatArray
from propmodel.base.status import Status
from propmodel.components.motor import BELL_RADIUS, BELL_SHARE

__all__ = [
    "CONTROLLER_LAG",
    "LOG_SD_RESPONSE",
    "SLOWING",
    "SpinUp",
    "braking_energy_for",
    "electrical_rev_per_s",
    "rotor_inertia",
    "rotor_time_constant",
    "speed_time_constant",
    "spin_up",
    "stall_current",
    "thrust_slope",
]

BLADE_SHAPE = 1.0 / 6.0
"""Moment of inertia of a propeller over m R^2; 1/3 for a uniform rod, less for tapered blades (estimate). [-]"""
CONTROLLER_LAG = 0.012
"""Lag from the command to the motor voltage. [s] Fitted to three craft, data/response/SOURCE.md."""
SLOWING = 1.27
"""Time constant of deceleration over that of acceleration: 66 over 52 ms, one rotor. [-]"""
LOG_SD_RESPONSE = 0.38
"""Standard deviation of ln(measured over forecast time constant); 80 % are within a factor of 1.63. [-] Estimate: 25 to
66 ms were measured for a forecast of about 40, taken as an 80 % interval."""


@dataclass(frozen=True)
class SpinUp:
    """Time from hover to shares of the full thrust.

    Parameters
    ----------
    time_63, time_90 : ndarray
        Times from the full command to 63 % and 90 % of full thrust; 0 where hover already needs more. [s]
    full_rev_per_s : ndarray
        Steady speed at the full command. [1/s]
    status : ndarray of int8
        `Status.CANNOT_HOVER` (times are NaN) where full speed is not above hover speed.
    """

    time_63: FloatArray
    time_90: FloatArray
    full_rev_per_s: FloatArray
    status: NDArray[np.int8]


def rotor_inertia(
    *,
    propeller_mass: ArrayLike,
    propeller_diameter: ArrayLike,
    motor_mass: ArrayLike = 0.0,
    can_diameter: ArrayLike = 0.0,
    blade_shape: ArrayLike = BLADE_SHAPE,
) -> FloatArray:
    """Moment of inertia of propeller and bell about the shaft (estimate).

    Parameters
    ----------
    propeller_mass, propeller_diameter : array_like, > 0
        Mass [kg] and diameter [m] of the propeller.
    motor_mass, can_diameter : array_like, >= 0
        Mass of the whole motor [kg] and diameter of its can [m]; 0 leaves out the bell.
    blade_shape : array_like
        Inertia over m R^2: 1/3 for a uniform rod, 1/6 for tapered blades with a hub. [-]

    Returns
    -------
    ndarray
        Moment of inertia, of the broadcast shape. [kg m^2]

    Notes
    -----
    The number of blades does not matter, because each blade has its share of the mass. The bell has 45 % of the motor
    mass at a radius of 0.44 of the can diameter.

    Examples
    --------
    >>> j = rotor_inertia(propeller_mass=0.0045, propeller_diameter=0.13, motor_mass=0.032,
    ...                   can_diameter=0.028)
    >>> f"{float(j):.2g}"
    '5.4e-06'
    """
    m = checks.check_positive("propeller_mass", propeller_mass, "kg")
    radius = 0.5 * checks.check_positive("propeller_diameter", propeller_diameter, "m")
    shape = checks.check_range("blade_shape", blade_shape, 0.0, 1.0)
    motor = checks.check_range("motor_mass", motor_mass, 0.0, 1e3, "kg")
    arm = BELL_RADIUS * checks.check_range("can_diameter", can_diameter, 0.0, 10.0, "m")
    return shape * m * radius * radius + BELL_SHARE * motor * arm * arm


def _time_between(
    inertia: FloatArray, c0: FloatArray, c1: FloatArray, k: FloatArray, low: FloatArray, high: FloatArray
) -> FloatArray:
    """Time from speed ``low`` to ``high`` [1/s] under the net torque c0 - c1 n - k n^2, in closed form. [s]"""
    root = np.sqrt(c1 * c1 + 4.0 * k * c0)
    n_full, n_other = (
        (root - c1) / (2.0 * k),
        (root + c1) / (2.0 * k),
    )  # net torque = k (n_full - n)(n + n_other)
    ratio = (high + n_other) * (n_full - low) / ((n_full - high) * (low + n_other))
    return 2.0 * np.pi * inertia / root * np.log(ratio)


def spin_up(
    *,
    inertia: ArrayLike,
    hover_rev_per_s: ArrayLike,
    source_voltage: ArrayLike,
    loop_resistance: ArrayLike,
    torque_constant: ArrayLike,
    torque_coefficient: ArrayLike,
    iron_torque_slope: ArrayLike = 0.0,
    max_current: ArrayLike = np.inf,
    controller_lag: ArrayLike = CONTROLLER_LAG,
) -> SpinUp:
    r"""Times from hover to 63 % and to 90 % of full thrust, after a full command on all rotors.

    Parameters
    ----------
    inertia : array_like, > 0
        Moment of inertia of one rotor. [kg m^2]
    hover_rev_per_s : array_like, >= 0
        Speed in hover. [1/s]
    source_voltage : array_like, > 0
        Open-circuit voltage of the pack, times the command cap if there is one. [V]
    loop_resistance : array_like, > 0
        Effective resistance of one motor plus number of rotors times pack resistance. [ohm]
    torque_constant : array_like, > 0
        K_t, also the back-EMF constant in V s/rad. [N m/A]
    torque_coefficient : array_like, > 0
        Propeller torque over n^2, k_q. [N m s^2]
    iron_torque_slope : array_like, >= 0
        Iron and friction torque over n, q. [N m s]
    max_current : array_like, > 0
        Current limit of the controller, inf for none. [A]
    controller_lag : array_like, >= 0
        Lag of the voltage behind the command, added to the times as a delay. [s]

    Returns
    -------
    SpinUp
        Of the broadcast shape of the arguments.

    Notes
    -----
    :math:`2 \pi J\, dn/dt = K_t (E - 2 \pi K_t n)/R - q n - k_q n^2`: the net torque is quadratic in n, so the time is
    a logarithm. Thrust is proportional to n^2 (static coefficients at full speed). At the current limit the motor
    torque is constant, up to the speed at which the current falls below the limit.

    Examples
    --------
    >>> up = spin_up(inertia=5.4e-6, hover_rev_per_s=190.0, source_voltage=24.6, loop_resistance=0.34,
    ...              torque_constant=0.0049, torque_coefficient=5.2e-7, iron_torque_slope=1.2e-5)
    >>> round(float(up.time_63), 3), round(float(up.time_90), 3), round(float(up.full_rev_per_s))
    (0.055, 0.105, 497)
    """
    j = checks.check_positive("inertia", inertia, "kg m2")
    hover = checks.check_range("hover_rev_per_s", hover_rev_per_s, 0.0, 1e5, "1/s")
    volts = checks.check_positive("source_voltage", source_voltage, "V")
    ohms = checks.check_positive("loop_resistance", loop_resistance, "ohm")
    kt = checks.check_positive("torque_constant", torque_constant, "N m/A")
    k = checks.check_positive("torque_coefficient", torque_coefficient, "N m s2")
    q = checks.check_range("iron_torque_slope", iron_torque_slope, 0.0, 1e3, "N m s")
    lag = checks.check_range("controller_lag", controller_lag, 0.0, 10.0, "s")
    limit = checks.as_floats("max_current", max_current)
    checks.check_positive("max_current", np.where(limit == np.inf, 1.0, limit), "A")

    c0 = kt * volts / ohms
    c1 = 2.0 * np.pi * kt * kt / ohms + q
    full = (np.sqrt(c1 * c1 + 4.0 * k * c0) - c1) / (2.0 * k)
    limited = bool(np.any(np.isfinite(limit)))
    if limited:
        # below n_free the current is at its limit; the full speed may be in this range
        n_free = (volts - limit * ohms) / (2.0 * np.pi * kt)
        held = kt * np.where(np.isfinite(limit), limit, 0.0)
        full_held = (np.sqrt(q * q + 4.0 * k * held) - q) / (2.0 * k)
        full = np.where(full <= n_free, full_held, full)
    fits = full > hover

    def time_to(share: float) -> FloatArray:
        target = np.maximum(np.sqrt(share) * full, hover)
        with np.errstate(divide="ignore", invalid="ignore"):
            if not limited:
                time = _time_between(j, c0, c1, k, hover, target)
            else:
                split = np.clip(n_free, hover, target)
                # an empty interval takes no time; the formula may be invalid there
                slow = np.where(split > hover, _time_between(j, held, q, k, hover, split), 0.0)
                time = slow + np.where(target > split, _time_between(j, c0, c1, k, split, target), 0.0)
            time = time + np.where(target > hover, lag, 0.0)
        return np.where(fits, time, np.nan)[()]

    shape = np.broadcast_shapes(np.shape(j), np.shape(full), np.shape(fits))
    status = np.where(fits, np.int8(Status.OK), np.int8(Status.CANNOT_HOVER))
    return SpinUp(
        time_to(0.63),
        time_to(0.90),
        np.broadcast_to(full, shape).copy()[()],
        np.broadcast_to(status, shape).copy()[()],
    )


def thrust_slope(
    *,
    rev_per_s: ArrayLike,
    duty: ArrayLike,
    source_voltage: ArrayLike,
    motor_resistance: ArrayLike,
    shared_resistance: ArrayLike,
    torque_constant: ArrayLike,
    torque_coefficient: ArrayLike,
    thrust_coefficient: ArrayLike,
    iron_torque_slope: ArrayLike = 0.0,
    duty_per_throttle: ArrayLike = 1.0,
) -> FloatArray:
    r"""Derivative of the thrust of one rotor with respect to throttle; in hover a measure of stick sensitivity.

    Parameters
    ----------
    rev_per_s, duty : array_like, > 0
        Speed and duty of the steady state. [1/s], [-]
    source_voltage : array_like, > 0
        Open-circuit voltage of the pack. [V]
    motor_resistance, shared_resistance : array_like
        Effective resistance of one motor, and number of rotors times pack resistance. [ohm]
    torque_constant : array_like, > 0
        K_t. [N m/A]
    torque_coefficient, thrust_coefficient : array_like, > 0
        Q / n^2 [N m s^2] and T / n^2 [N s^2], taken as constant.
    iron_torque_slope : array_like, >= 0
        Iron and friction torque over n. [N m s]
    duty_per_throttle : array_like
        Slope of the throttle map. [-]

    Returns
    -------
    ndarray
        dT / dthrottle, of the broadcast shape. [N]

    Notes
    -----
    Derivative of :math:`d E = 2 \pi K_t n + (R + d^2 R_s) (k_q n^2 + q n) / K_t`; the ripple loss is neglected.

    Examples
    --------
    >>> slope = thrust_slope(rev_per_s=190.0, duty=0.27, source_voltage=24.6, motor_resistance=0.225,
    ...     shared_resistance=0.12, torque_constant=0.0049, torque_coefficient=5.2e-7,
    ...     thrust_coefficient=4.2e-5)
    >>> round(float(slope), 1)
    9.7
    """
    n = checks.check_positive("rev_per_s", rev_per_s, "1/s")
    d = checks.check_range("duty", duty, 0.0, 1.0)
    volts = checks.check_positive("source_voltage", source_voltage, "V")
    r = checks.check_range("motor_resistance", motor_resistance, 0.0, 1e3, "ohm")
    shared = checks.check_range("shared_resistance", shared_resistance, 0.0, 1e3, "ohm")
    kt = checks.check_positive("torque_constant", torque_constant, "N m/A")
    k = checks.check_positive("torque_coefficient", torque_coefficient, "N m s2")
    thrust = checks.check_positive("thrust_coefficient", thrust_coefficient, "N s2")
    q = checks.check_range("iron_torque_slope", iron_torque_slope, 0.0, 1e3, "N m s")
    current = (k * n + q) * n / kt
    load_slope = (r + d * d * shared) * (2.0 * k * n + q) / kt
    per_duty = (volts - 2.0 * d * shared * current) / (2.0 * np.pi * kt + load_slope)
    return 2.0 * thrust * n * per_duty * checks.check_finite("duty_per_throttle", duty_per_throttle)


def speed_time_constant(
    *,
    inertia: ArrayLike,
    rev_per_s: ArrayLike,
    loop_resistance: ArrayLike,
    torque_constant: ArrayLike,
    torque_coefficient: ArrayLike,
    iron_torque_slope: ArrayLike = 0.0,
) -> FloatArray:
    """Time constant of small changes of rotor speed about a steady state.

    Parameters
    ----------
    inertia : array_like, > 0
        Moment of inertia of one rotor. [kg m^2]
    rev_per_s : array_like, >= 0
        Speed of the steady state. [1/s]
    loop_resistance, torque_constant : array_like, > 0
        Resistance of the circuit of one motor [ohm], and K_t [N m/A].
    torque_coefficient, iron_torque_slope : array_like, >= 0
        Propeller torque over n^2 [N m s^2], and iron and friction torque over n [N m s].

    Returns
    -------
    ndarray
        Time constant, of the broadcast shape. [s]

    Examples
    --------
    >>> tau = speed_time_constant(inertia=3.47e-6, rev_per_s=0.0, loop_resistance=2.45,
    ...                           torque_constant=0.0538, torque_coefficient=0.0)
    >>> round(1e3 * float(tau), 2)
    2.94
    """
    j = checks.check_positive("inertia", inertia, "kg m2")
    n = checks.check_range("rev_per_s", rev_per_s, 0.0, 1e5, "1/s")
    ohms = checks.check_positive("loop_resistance", loop_resistance, "ohm")
    kt = checks.check_positive("torque_constant", torque_constant, "N m/A")
    k = checks.check_range("torque_coefficient", torque_coefficient, 0.0, 1e3, "N m s2")
    q = checks.check_range("iron_torque_slope", iron_torque_slope, 0.0, 1e3, "N m s")
    return 2.0 * np.pi * j / (2.0 * np.pi * kt * kt / ohms + 2.0 * k * n + q)


def rotor_time_constant(mechanical: ArrayLike, *, controller_lag: ArrayLike = CONTROLLER_LAG) -> FloatArray:
    """Time constant from a small change of the command to the rotor speed, as observed in a log.

    Parameters
    ----------
    mechanical : array_like, >= 0
        Time constant of motor and inertia, from `speed_time_constant`. [s]
    controller_lag : array_like, >= 0
        Lag of the controller. [s]

    Returns
    -------
    ndarray
        Time constant of acceleration. Deceleration takes `SLOWING` times as long if the controller brakes only partly.
        [s]

    Notes
    -----
    Two first-order lags in series respond, except at first, like one whose time constant is their sum. 80 % of measured
    time constants are within a factor of exp(1.28 `LOG_SD_RESPONSE`).

    Examples
    --------
    >>> round(1e3 * float(rotor_time_constant(0.025)))
    37
    """
    known = checks.check_range("mechanical", mechanical, 0.0, 1e3, "s")
    return known + checks.check_range("controller_lag", controller_lag, 0.0, 10.0, "s")


def braking_energy_for(voltage: ArrayLike, *, capacitance: ArrayLike, bus_voltage: ArrayLike) -> FloatArray:
    """Energy that raises a bus with only capacitors to a voltage, C (V2^2 - V1^2) / 2.

    Parameters
    ----------
    voltage : array_like
        Final voltage, usually the lowest voltage rating on the bus. [V]
    capacitance : array_like, > 0
        Capacitance of the bus. [F]
    bus_voltage : array_like
        Initial voltage. [V]

    Returns
    -------
    ndarray
        Energy, of the broadcast shape; negative if the final voltage is lower. [J]

    Examples
    --------
    >>> round(float(braking_energy_for(34.0, capacitance=1000e-6, bus_voltage=12.0)), 2)
    0.51
    """
    after = checks.check_range("voltage", voltage, 0.0, 1e4, "V")
    before = checks.check_range("bus_voltage", bus_voltage, 0.0, 1e4, "V")
    return 0.5 * checks.check_positive("capacitance", capacitance, "F") * (after * after - before * before)


def stall_current(voltage: ArrayLike, resistance: ArrayLike, *, duty: ArrayLike = 1.0) -> FloatArray:
    """Current of a blocked motor, V duty / R.

    A blocked motor has no back-EMF and burns within seconds: disarm at once.

    Parameters
    ----------
    voltage, resistance : array_like
        Bus voltage [V], and effective resistance of the circuit, > 0 [ohm].
    duty : array_like
        Duty. [-]

    Returns
    -------
    ndarray
        Motor current, of the broadcast shape. [A]

    Examples
    --------
    >>> round(float(stall_current(16.0, 0.15)))
    107
    """
    ohms = checks.check_positive("resistance", resistance, "ohm")
    return checks.check_finite("voltage", voltage, "V") * checks.check_range("duty", duty, 0.0, 1.0) / ohms


def electrical_rev_per_s(rev_per_s: ArrayLike, pole_pairs: ArrayLike) -> FloatArray:
    """Electrical revolutions per second, the commutation frequency of the controller.

    Parameters
    ----------
    rev_per_s : array_like
        Mechanical speed. [1/s]
    pole_pairs : array_like, > 0
        Number of magnets over 2. [-]

    Returns
    -------
    ndarray
        Electrical speed, of the broadcast shape. [1/s]

    Examples
    --------
    >>> round(60.0 * float(electrical_rev_per_s(500.0, 7)))
    210000
    """
    return checks.check_finite("rev_per_s", rev_per_s, "1/s") * checks.check_positive("pole_pairs", pole_pairs)
