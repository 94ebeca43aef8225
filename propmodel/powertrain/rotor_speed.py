"""Rotor speed at a duty, at a thrust, or at the maximum power of the pack.

Given n, the chain is explicit: propeller torque, motor current, motor voltage, power of all rotors, bus voltage,
duty. A commanded duty d gives n as the upper root of one equation, in which the ripple loss is explicit too because
V/V_bus = d. It is the pack's, E = V_bus + R P/V_bus, times d, with V, I of the motor and
P = N (V I + P_0 + k_r (1 - d)^2 V^2) + P_electronics::

    w - p n - q C_P(n) n^2 - e/V(n) = 0,    w = d E,  e = R d^2 (N P_0 + P_electronics)

p and q gather what grows with n and with the propeller's load, in motor and pack. The load is nearly parabolic near
the solution, since C_P goes with a small power of n: one closed-form parabola step cuts an error of 1 % to about 1e-6,
and one Newton step finishes. A required thrust gives n from a square root, with a few
fixed-point passes on the slow change of C_T with Reynolds number (contraction about 0.05 a pass). No root finder, no
loop over builds.

Arrays are modified in place: on a curve of 101 points the allocation of an array takes as long as the arithmetic. For
the same reason w, p, q, e of a powertrain of plain numbers on a cached row of duties (`powertrain.throttle_rows`) are
one product of two small tables.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import scatter_back, take
from propmodel.components import battery, controller
from propmodel.powertrain.prepared import PreparedPowertrain
from propmodel.powertrain.throttle_rows import SMALL, DutyRow

__all__ = [
    "PASSES",
    "STEP_TOL",
    "DutyEquation",
    "duty_equation",
    "duty_equation_of_row",
    "for_duty",
    "for_thrust",
    "never_overloads_pack",
    "of_most_power",
    "solve_speed",
]

PASSES = 14
"""Largest number of passes; usually two or three are sufficient. [-]"""
TOLERANCE = 1e-11
"""Relative change of all elements at which the fixed-point iteration stops. [-]"""
STEP_TOL = 2e-5
"""Relative Newton step at which the solution of a speed stops. The remaining error is about 1e-11, or 1e-6 where the
step crosses either end of the Reynolds range of C_P. [-]"""
FINE_TOL = 1e-13
"""As `STEP_TOL` near the maximum power of the pack, where the bus voltage is very sensitive to the speed. [-]"""

# 0-d arrays are faster in numpy calls than Python floats
_ONE, _HALF, _FOUR = (np.asarray(x) for x in (1.0, 0.5, 4.0))
_LADDER = np.geomspace(1e-3, 1.02, 64)  # speeds relative to full duty
_PART_DUTY = 0.5  # the first guess is exact at this duty and at full duty
_MOST_CHANGE = 1.0  # largest slope of the load against ln duty


class DutyEquation(NamedTuple):
    """Coefficients of the equation in the module docstring, for one or many duties.

    Parameters
    ----------
    duty : ndarray
        [-]
    rest_voltage, emf_slope, load_drop, idle_drop : ndarray
        w, p, q, e. [V, V s, V s^2, V^2]
    ripple_shape : ndarray
        Ripple loss of all rotors over the bus voltage squared. [W/V^2]
    first_guess : ndarray
        Of the speed. [1/s]
    fast_tips : bool
        Whether any blade tip may be fast.
    """

    duty: NDArray
    rest_voltage: NDArray
    emf_slope: NDArray
    load_drop: NDArray
    idle_drop: NDArray
    ripple_shape: NDArray
    first_guess: NDArray
    fast_tips: bool


@np.errstate(all="ignore")  # an overloaded pack has no root
def for_duty(d: PreparedPowertrain, duty: NDArray, *, passes: int = PASSES) -> NDArray:
    """Static speed at a commanded duty, to machine precision.

    Parameters
    ----------
    d : PreparedPowertrain
    duty : ndarray
        0 to 1. [-]
    passes : int
        Passes at most.

    Returns
    -------
    ndarray
        [1/s]
    """
    held = np.maximum(duty, d.min_duty)
    return solve_speed(d, duty_equation(d, held), passes=passes, step_tol=FINE_TOL)[0] * (duty / held)


def for_thrust(d: PreparedPowertrain, thrust: ArrayLike, *, passes: int = PASSES) -> NDArray:
    """Static speed for an installed thrust.

    Parameters
    ----------
    d : PreparedPowertrain
    thrust : array_like
        Installed thrust of one rotor. [N]
    passes : int
        Fixed-point passes at most.

    Returns
    -------
    ndarray
        [1/s]
    """
    base = np.maximum(np.asarray(thrust, dtype=np.float64), 0.0) / d.thrust_per_c_t_n2
    n = np.sqrt(base / 0.12)
    for _ in range(passes):
        new = np.sqrt(base / d.prop.static_c_t(n))
        moved = _moved(new, n)
        n = new
        if not moved:
            break
    return n


def of_most_power(d: PreparedPowertrain, start: NDArray, *, passes: int = 12) -> NDArray:
    """Speed at maximum power of the pack: the bus voltage is half of the open-circuit voltage.

    Parameters
    ----------
    d : PreparedPowertrain
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
        load = d.load_amps_per_c_p_n2 * d.prop.static(n)[1] * n * n
        iron = d.no_load_amps_per_n * n
        current, growth = load + iron, 2.0 * load + iron
        volts = d.volts_per_rev * n + current * d.resistance
        ripple = controller.ripple_loss(d.controller, volts, half, power=volts * current + d.idle_power / d.rotors)
        per_rotor = np.maximum((most - d.electronics_power) / d.rotors - ripple, 1e-6)
        slope = (d.volts_per_rev * n + d.resistance * growth) / volts + growth / current
        step = np.log(per_rotor / (volts * current)) / slope
        n = n * np.exp(np.clip(step, -2.0, 2.0))
        open_ = ~(np.abs(step) <= FINE_TOL)
        if not open_.any():
            return n
    # the slope neglects the ripple loss: where that is a large part of the power, the steps may oscillate. The power
    # increases monotonically with speed (the ripple loss is limited), so a bracket on a logarithmic scale solves these
    some = ~(np.abs(step) <= 1e-9)
    if not some.any():
        return n
    few, (half, most) = take(d, some, n.shape), (np.broadcast_to(x, n.shape)[some] for x in (half, most))

    def excess(log_n: NDArray, k: NDArray) -> NDArray:
        return _power_at_half(take(few, k, half.shape), np.exp(log_n), half[k]) - most[k]

    from scipy.optimize.elementwise import find_root  # half a second to import: only where it is used

    ends = np.full(half.shape, np.log(1e-4)), np.full(half.shape, np.log(1e6))
    return scatter_back(n, some, np.exp(find_root(excess, ends, args=(np.arange(half.size),)).x))


def _power_at_half(d: PreparedPowertrain, n: NDArray, half: NDArray) -> NDArray:
    """Power of the whole craft at a speed, with the bus at half of the rest voltage. [W]"""
    load = d.load_amps_per_c_p_n2 * d.prop.static(n)[1] * n * n
    current = load + d.no_load_amps_per_n * n
    volts = d.volts_per_rev * n + current * d.resistance
    taken = volts * current
    ripple = controller.ripple_loss(d.controller, volts, half, power=taken + d.idle_power / d.rotors)
    return d.rotors * (taken + ripple) + d.electronics_power


def solve_speed(
    d: PreparedPowertrain, equation: DutyEquation, *, passes: int, step_tol: float
) -> tuple[NDArray, NDArray, bool]:
    """Speed at a duty, with what comes with it.

    Parameters
    ----------
    d : PreparedPowertrain
    equation : DutyEquation
        Of `duty_equation` or `duty_equation_of_row`.
    passes : int
        Passes at most, two at least.
    step_tol : float
        Newton step after which none is needed. [-]

    Returns
    -------
    (rev_per_s, c_p, converged) : tuple
        C_P follows the last step along its slope; converged says whether all steps came below ``step_tol``. [1/s, -, -]
    """
    _, rest_voltage, emf_slope, load_drop, idle_drop, _, n, fast = equation
    n = _parabola_step(d, rest_voltage, emf_slope, load_drop, idle_drop, n, fast)
    for _ in range(max(passes - 1, 1)):
        c_p, slope, step = _newton_step(d, rest_voltage, emf_slope, load_drop, idle_drop, n, fast)
        converged = _all_within(step, step_tol)
        slope *= step
        step += _ONE
        n *= step
        if converged:
            break
    slope += _ONE
    c_p *= slope
    return n, c_p, converged


def duty_equation(d: PreparedPowertrain, duty: NDArray) -> DutyEquation:
    """Return the coefficients of the equation for a duty.

    Parameters
    ----------
    d : PreparedPowertrain
    duty : ndarray
        Above zero, of the whole shape of the powertrain or more. [-]

    Returns
    -------
    DutyEquation
    """
    square = duty * duty
    ripple_shape = duty - square
    ripple_shape *= ripple_shape
    ripple_shape *= d.total_ripple_coefficient
    rest_voltage, idle_drop = duty * d.emf, square * d.idle_power_resistance
    load_drop = ripple_shape * d.pack_resistance
    load_drop += _ONE
    emf_slope = load_drop * d.no_load_volts_per_n
    emf_slope += square * d.pack_no_load_volts_per_n
    load_drop *= d.load_volts_per_c_p_n2
    load_drop += square * d.pack_load_per_c_p_n2
    if duty.size > d.min_duty.size:
        free, of_motor, of_pack, slope, _ = _guess_coefficients(d)
        square *= of_pack
        square += of_motor
        square *= duty
        growth = np.log(duty)
        growth *= slope
        growth += _ONE
        square *= growth
        square += _ONE
        n = _first_guess_curve(duty * free, square)
    else:
        n = _first_guess_single(d, rest_voltage, emf_slope, load_drop, idle_drop)
        n = _parabola_step(d, rest_voltage, emf_slope, load_drop, idle_drop, n, fast=True)
    fast = not n.max(initial=0.0) <= d.slow_tip_speed
    return DutyEquation(duty, rest_voltage, emf_slope, load_drop, idle_drop, ripple_shape, n, fast)


def duty_equation_of_row(d: PreparedPowertrain, duties: DutyRow) -> DutyEquation:
    """As :func:`duty_equation`, for a powertrain of plain numbers on a cached row of duties.

    Parameters
    ----------
    d : PreparedPowertrain
        Of plain numbers.
    duties : DutyRow

    Returns
    -------
    DutyEquation
    """
    of_powers, fast, never_overloads = _row_table(d)
    rest_voltage, emf_slope, load_drop, idle_drop, ripple_shape, free, square = np.dot(of_powers, duties.powers)
    n = _first_guess_curve(free, square)
    if not never_overloads:  # the highest speed may occur below full duty
        fast = not n.max(initial=0.0) <= d.slow_tip_speed
    return DutyEquation(duties.duty, rest_voltage, emf_slope, load_drop, idle_drop, ripple_shape, n, fast)


def never_overloads_pack(d: PreparedPowertrain) -> bool:
    """True if no duty overloads the pack or browns out the electronics (powertrains of plain numbers only).

    Parameters
    ----------
    d : PreparedPowertrain
        Of plain numbers.

    Returns
    -------
    bool
        True only where it is certain: checked at full duty with the largest ripple, and that no ripple is limited.
    """
    return _row_table(d)[2]


def _row_table(d: PreparedPowertrain) -> tuple[NDArray, bool, bool]:
    """`duty_equation` as sums of `DutyRow.powers`; whether tips are fast at full duty; `never_overloads_pack`."""
    cached: tuple[NDArray, bool, bool] | None = vars(d).get("_row_table")
    if cached is None:
        cached = vars(d)["_row_table"] = _make_row_table(d)
    return cached


@np.errstate(all="ignore")  # at full duty there may be no root
def _make_row_table(d: PreparedPowertrain) -> tuple[NDArray, bool, bool]:
    free, of_motor, of_pack, slope, full = _guess_coefficients(d)
    ripple_drop = d.pack_resistance * d.total_ripple_coefficient
    rows = (
        # 1, duty, duty^2, duty^3, (duty - duty^2)^2, duty ln duty, duty^3 ln duty
        (0.0, d.emf, 0.0, 0.0, 0.0, 0.0, 0.0),
        (d.no_load_volts_per_n, 0.0, d.pack_no_load_volts_per_n, 0.0, d.no_load_volts_per_n * ripple_drop, 0.0, 0.0),
        (d.load_volts_per_c_p_n2, 0.0, d.pack_load_per_c_p_n2, 0.0, d.load_volts_per_c_p_n2 * ripple_drop, 0.0, 0.0),
        (0.0, 0.0, d.idle_power_resistance, 0.0, 0.0, 0.0, 0.0),
        (0.0, 0.0, 0.0, 0.0, d.total_ripple_coefficient, 0.0, 0.0),
        (0.0, free, 0.0, 0.0, 0.0, 0.0, 0.0),
        (1.0, of_motor, 0.0, of_pack, 0.0, slope * of_motor, slope * of_pack),
    )
    load = d.load_amps_per_c_p_n2 * d.prop.static(full)[1] * full * full
    volts = d.no_load_volts_per_n * full + d.resistance * load
    # at full duty the bus voltage is the motor voltage; power without ripple increases with duty; ripple <= k (E/4)^2
    power = (
        d.rotors * volts * (load + d.no_load_amps_per_n * full)
        + d.idle_power
        + d.total_ripple_coefficient * d.emf * d.emf / 16.0
    )
    lowest = battery.terminal_voltage(d.emf, d.pack_resistance, power)
    never_overloads = np.minimum(volts, lowest) >= 1.001 * d.min_normal_bus
    never_overloads = never_overloads and not _may_limit_ripple(d, full)
    return np.array(rows, dtype=np.float64), bool(not full <= 0.999 * d.prop.mach_knee_speed), bool(never_overloads)


def _may_limit_ripple(d: PreparedPowertrain, full: NDArray) -> bool:
    """Whether the ripple loss may reach its limit at some speed up to full duty (`components.controller`)."""
    n = full * _LADDER
    load = d.load_amps_per_c_p_n2 * d.prop.static(n)[1] * n
    volts, amps = n * (d.no_load_volts_per_n + d.resistance * load), n * (load + d.no_load_amps_per_n)
    # power over volts squared changes by a fifth from step to step: a smooth curve bends past it by a hundredth
    most = 0.97 * controller.RIPPLE_MOST * (d.rotors * volts * amps + d.idle_power)
    return not bool(np.all(d.total_ripple_coefficient * volts * volts <= most))


def _guess_coefficients(d: PreparedPowertrain) -> tuple[NDArray, NDArray, NDArray, NDArray, NDArray]:
    """Coefficients of the first guess, and the speed at full duty; worked out once a powertrain. [1/s, -, -, -, 1/s]

    The guess is a duty / (1 + sqrt(1 + (b duty + c duty^3) (1 + k ln duty))), the root of a load that goes with n^2,
    right at full duty: b stands for the motor's resistance, c for the pack's. k makes it right at part duty as well,
    for the slow change of C_P, or a fast one where blade tips are fast at full duty.
    """
    cached: tuple[NDArray, NDArray, NDArray, NDArray, NDArray] | None = vars(d).get("_guess_coefficients")
    if cached is None:
        full, part = (duty_equation(d, np.full(d.min_duty.shape, duty)).first_guess for duty in (1.0, _PART_DUTY))
        free = (d.emf - d.idle_power_resistance / d.emf) / d.no_load_volts_per_n
        bend = (2.0 * free / full - 1.0) ** 2 - 1.0
        bend = np.where(bend > 0.0, bend, 1.0)  # NaN where full duty has no root: any guess is sufficient
        of_pack = bend * (d.pack_load_per_c_p_n2 / (d.load_volts_per_c_p_n2 + d.pack_load_per_c_p_n2))
        of_motor = bend - of_pack
        there = (2.0 * free * _PART_DUTY / part - 1.0) ** 2 - 1.0
        plain = _PART_DUTY * of_motor + _PART_DUTY**3 * of_pack
        slow = (there / plain - 1.0) / np.log(_PART_DUTY)
        slow = np.where(np.abs(slow) < _MOST_CHANGE, slow, 0.0)  # nor where part duty has none
        cached = (
            np.asarray(free + free),
            np.asarray(of_motor),
            np.asarray(of_pack),
            np.asarray(slow),
            np.asarray(full),
        )
        vars(d)["_guess_coefficients"] = cached
    return cached


def _first_guess_curve(free: NDArray, square: NDArray) -> NDArray:
    """First guess of the speeds on a curve, within 1 %."""
    root = np.sqrt(square)
    root += _ONE
    free /= root
    return free


def _first_guess_single(
    d: PreparedPowertrain, rest_voltage: NDArray, emf_slope: NDArray, load_drop: NDArray, idle_drop: NDArray
) -> NDArray:
    """First guess for one duty per powertrain: the quadratic with C_P at the middle Reynolds number."""
    volts = rest_voltage - idle_drop / rest_voltage
    steep = load_drop * d.prop.middle_c_p
    steep *= volts
    steep *= _FOUR
    steep += emf_slope * emf_slope
    return (volts + volts) / (emf_slope + np.sqrt(steep))


def _parabola_step(
    d: PreparedPowertrain,
    rest_voltage: NDArray,
    emf_slope: NDArray,
    load_drop: NDArray,
    idle_drop: NDArray,
    n: NDArray,
    fast: bool,
) -> NDArray:
    """Improved speed: the load n^(2+s) is replaced by the parabola through zero that is tangent to it at n.

    Idle power is constant. The remaining error is about 0.02 times the square of the previous one, plus 0.02 times the
    share of the idle power.
    """
    c_p, slope = d.prop.static_c_p_with_slope(n, fast_tips=fast)
    aero_torque = c_p * n
    volts = aero_torque * d.load_volts_per_c_p_n2
    volts += d.no_load_volts_per_n
    volts *= n
    volts = rest_voltage - idle_drop / volts
    aero_torque *= load_drop
    linear = emf_slope - slope * aero_torque
    slope += _ONE
    aero_torque *= slope
    aero_torque *= volts
    aero_torque /= n
    linear *= _HALF
    aero_torque += linear * linear
    root = np.sqrt(aero_torque)
    root += linear
    volts /= root
    return volts


def _newton_step(
    d: PreparedPowertrain,
    rest_voltage: NDArray,
    emf_slope: NDArray,
    load_drop: NDArray,
    idle_drop: NDArray,
    n: NDArray,
    fast: bool,
) -> tuple[NDArray, NDArray, NDArray]:
    """C_P and its slope at a speed, and the relative Newton step."""
    c_p, slope = d.prop.static_c_p_with_slope(n, fast_tips=fast)
    above = slope + _ONE
    aero_torque = c_p * n
    fall = aero_torque * d.load_volts_per_c_p_n2
    per_speed = fall + d.no_load_volts_per_n
    fall *= above
    fall /= per_speed
    per_speed *= n
    idle = idle_drop / per_speed
    # voltage drops of the load and of the rest, and the slope of their sum against ln n
    aero_torque *= load_drop
    drop = aero_torque + emf_slope
    drop *= n
    aero_torque *= n
    aero_torque *= above
    aero_torque += drop
    drop += idle
    step = rest_voltage - drop
    fall *= idle
    aero_torque -= fall
    aero_torque -= idle
    step /= aero_torque
    return c_p, slope, step


def _all_within(step: NDArray, most: float) -> bool:
    """Whether every element is within the bound, or NaN."""
    # on a curve the sum of fourth powers is faster and usually sufficient; on large arrays it would start a BLAS thread
    if step.size < SMALL:
        square = step * step
        if np.vdot(square, square) <= most**4:
            return True
    return bool(np.abs(step).max(initial=0.0) <= most)


def _moved(new: NDArray, old: NDArray) -> bool:
    return bool(np.any(np.abs(new - old) > TOLERANCE * new))
