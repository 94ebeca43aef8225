"""Speeds: at which a drive turns at a duty, gives a thrust, or takes the most that its pack can give.

Given n, the chain is explicit: propeller torque, motor current, motor voltage, power of all rotors, bus voltage,
duty. A commanded duty d gives n as the upper root of one equation, in which the ripple loss is explicit too because
V/V_bus = d. It is the pack's, E = V_bus + R P/V_bus, times d, with V, I of the motor and
P = N (V I + P_0 + k_r (1 - d)^2 V^2) + P_electronics::

    w - p n - q C_P(n) n^2 - e/V(n) = 0,    w = d E,  e = R d^2 (N P_0 + P_electronics)

p and q gather what grows with n and with the propeller's load, in motor and pack. C_P goes with a small power of n,
so the parabola through rest that touches the load is close to it, and one square root takes a guess that is a
hundredth off to a millionth; a Newton step ends it. A required thrust gives n from a square root, with a few
fixed-point passes on the slow change of C_T with Reynolds number (contraction about 0.05 a pass). No root finder, no
loop over builds.

Arrays are changed in place here: on a curve of 101 points a new array costs as much as the sum.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel import controller
from propmodel.drive import Drive

__all__ = [
    "PASSES",
    "SETTLED",
    "find",
    "for_duty",
    "for_thrust",
    "of_most_power",
]

PASSES = 14
"""Passes at most; mostly two or three are taken. [-]"""
TOLERANCE = 1e-11
"""Fixed-point passes stop when no element moved by more than this share; quick estimates use fewer."""
SETTLED = 2e-5
"""Newton step of a speed at a duty after which none is needed: some 1e-11 is left. [-]"""
FINEST = 1e-13
"""Near the most a pack can give the bus follows the square root of what a speed lacks. [-]"""

# numbers as arrays without axes: numpy takes them faster than plain ones
_ONE, _HALF, _FOUR = (np.asarray(x) for x in (1.0, 0.5, 4.0))
_CURVE = 4096  # elements
_GROWTH = np.asarray(1.12)  # of the motor's voltage with ln n, nearly


@np.errstate(all="ignore")  # a pack at its end has no root
def for_duty(d: Drive, duty: NDArray, *, passes: int = PASSES) -> NDArray:
    """Static speed at a commanded duty, to the last digits.

    Parameters
    ----------
    d : Drive
    duty : ndarray
        0 to 1. [-]
    passes : int
        Passes at most.

    Returns
    -------
    ndarray
        [1/s]
    """
    held = np.maximum(duty, d.least_duty)
    return find(d, held, passes=passes, settled=FINEST)[0] * (duty / held)


def for_thrust(d: Drive, thrust: ArrayLike, *, passes: int = PASSES) -> NDArray:
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
    base = np.maximum(np.asarray(thrust, dtype=np.float64), 0.0) / d.thrust_factor
    n = np.sqrt(base / 0.12)
    for _ in range(passes):
        new = np.sqrt(base / d.prop.static_c_t(n))
        moved = _moved(new, n)
        n = new
        if not moved:
            break
    return n


def of_most_power(d: Drive, start: NDArray, *, passes: int = 12) -> NDArray:
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
        load = d.load_factor * d.prop.static(n)[1] * n * n
        iron = d.iron_amps * n
        current, growth = load + iron, 2.0 * load + iron
        volts = d.volts_per_rev * n + current * d.resistance
        ripple = controller.ripple_loss(d.controller, volts, half)
        per_rotor = np.maximum((most - d.electronics_power) / d.rotors - ripple, 1e-6)
        slope = (d.volts_per_rev * n + d.resistance * growth) / volts + growth / current
        step = np.log(per_rotor / (volts * current)) / slope
        n = n * np.exp(np.clip(step, -2.0, 2.0))
        if not np.any(np.abs(step) > FINEST):
            break
    return n


def find(d: Drive, duty: NDArray, *, passes: int, settled: float) -> tuple[NDArray, NDArray, NDArray, bool]:
    """Speed at a duty, with what comes with it.

    Parameters
    ----------
    d : Drive
    duty : ndarray
        Above zero, of the whole shape of the drive or more. [-]
    passes : int
        Passes at most, two at least.
    settled : float
        Newton step after which none is needed. [-]

    Returns
    -------
    (rev_per_s, c_p, ripple, found) : tuple
        C_P follows the last step along its slope; ripple is the ripple loss of all rotors over the bus voltage
        squared; found says whether all steps came below ``settled``. [1/s, -, W/V^2, -]
    """
    line = _line(d, duty)
    n = _begin(d, duty, line[5]) if duty.size > d.least_duty.size else _closer(d, line, _alone(d, line), fast=True)
    fast = not n.max(initial=0.0) <= d.slow_tips
    n = _closer(d, line, n, fast)
    for _ in range(max(passes - 1, 1)):
        c_p, slope, step = _step(d, line, n, fast)
        found = _all_within(step, settled)
        slope *= step
        step += _ONE
        n *= step
        if found:
            break
    slope += _ONE
    c_p *= slope
    return n, c_p, line[4], found


def _line(d: Drive, duty: NDArray) -> tuple[NDArray, ...]:
    """w, p, q, e of the module's text, the ripple loss of all rotors over the bus voltage squared, and duty squared.

    [V, V s, V s^2, V^2, W/V^2, -]
    """
    square = duty * duty
    shared = duty - square
    shared *= shared
    shared *= d.all_ripple
    ripple = shared * d.pack_resistance
    ripple += _ONE
    straight = ripple * d.straight
    straight += square * d.pack_straight
    ripple *= d.load_volts
    ripple += square * d.pack_load
    return duty * d.emf, straight, ripple, square * d.idle_share, shared, square


def _outset(d: Drive) -> tuple[NDArray, NDArray, NDArray]:
    """a, b, c of the first guess a duty / (1 + sqrt(1 + b duty + c duty^3)), worked out once a drive. [1/s, -, -]

    It is the speed if C_P were always what it is at full duty, and right there; b stands for the motor's resistance,
    c for the pack's.
    """
    kept: tuple[NDArray, NDArray, NDArray] | None = vars(d).get("_outset")
    if kept is None:
        line = _line(d, np.ones(d.least_duty.shape))
        n = _closer(d, line, _alone(d, line), fast=True)
        free = (d.emf - d.idle_share / d.emf) / d.straight
        bend = (2.0 * free / n - 1.0) ** 2 - 1.0
        bend = np.where(bend > 0.0, bend, 1.0)  # no number where full duty has no root: any guess will do
        of_pack = d.pack_load / (d.load_volts + d.pack_load)
        kept = np.asarray(free + free), np.asarray(bend * (1.0 - of_pack)), np.asarray(bend * of_pack)
        vars(d)["_outset"] = kept
    return kept


def _begin(d: Drive, duty: NDArray, square: NDArray) -> NDArray:
    """Speed to begin with on a curve, a hundredth off."""
    free, of_motor, of_pack = _outset(d)
    root = square * of_pack
    root += of_motor
    root *= duty
    root += _ONE
    root = np.sqrt(root)
    root += _ONE
    n = duty * free
    n /= root
    return n


def _alone(d: Drive, line: tuple[NDArray, ...]) -> NDArray:
    """Speed to begin with for one duty a drive: the quadratic with C_P at the middle Reynolds number."""
    rest, straight, loaded, emptied, _, _ = line
    volts = rest - emptied / rest
    steep = loaded * d.prop.middle_c_p
    steep *= volts
    steep *= _FOUR
    steep += straight * straight
    return (volts + volts) / (straight + np.sqrt(steep))


def _closer(d: Drive, line: tuple[NDArray, ...], n: NDArray, fast: bool) -> NDArray:
    """A speed that is closer: the load n^(2+s) as the parabola through rest that touches it at n.

    The idle watts go as a straight line. What is left is about 0.02 of the square of what was.
    """
    rest, straight, loaded, emptied, _, _ = line
    c_p, slope = d.prop.static_c_p_with_slope(n, fast_tips=fast)
    pull = c_p * n
    volts = pull * d.load_volts
    volts += d.straight
    volts *= n
    idle = emptied / volts
    fall = idle * _GROWTH
    volts = rest - idle
    volts -= fall
    fall /= n
    pull *= loaded
    linear = straight - fall
    linear -= slope * pull
    slope += _ONE
    pull *= slope
    pull *= volts
    pull /= n
    linear *= _HALF
    pull += linear * linear
    root = np.sqrt(pull)
    root += linear
    volts /= root
    return volts


def _step(d: Drive, line: tuple[NDArray, ...], n: NDArray, fast: bool) -> tuple[NDArray, NDArray, NDArray]:
    """C_P and its slope at a speed, and the share by which Newton's method moves it."""
    rest, straight, loaded, emptied, _, _ = line
    c_p, slope = d.prop.static_c_p_with_slope(n, fast_tips=fast)
    above = slope + _ONE
    pull = c_p * n
    fall = pull * d.load_volts
    per_speed = fall + d.straight
    fall *= above
    fall /= per_speed
    per_speed *= n
    idle = emptied / per_speed
    # what the load and the rest drop, and how the sum grows with ln n
    pull *= loaded
    drop = pull + straight
    drop *= n
    pull *= n
    pull *= above
    pull += drop
    drop += idle
    step = rest - drop
    fall *= idle
    pull -= fall
    pull -= idle
    step /= pull
    return c_p, slope, step


def _all_within(step: NDArray, most: float) -> bool:
    """Whether no element is larger than that, or no number."""
    # on a curve the sum of squares is quicker and mostly enough; on large arrays it would wake a second thread
    if step.size < _CURVE and np.vdot(step, step) <= most * most:
        return True
    return bool(np.abs(step).max(initial=0.0) <= most)


def _moved(new: NDArray, old: NDArray) -> bool:
    return bool(np.any(np.abs(new - old) > TOLERANCE * new))
