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

Arrays are changed in place here: on a curve of 101 points a new array costs as much as the sum. For the same reason
w, p, q, e of a plain drive on a kept row of duties (`powertrain.throttle_rows`) are one product of two small tables.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import put, subset
from propmodel.components import battery, controller
from propmodel.powertrain.prepared import Drive
from propmodel.powertrain.throttle_rows import SMALL, Duties

__all__ = [
    "PASSES",
    "SETTLED",
    "Way",
    "calm",
    "find",
    "for_duty",
    "for_thrust",
    "of_most_power",
    "way",
    "way_along",
]

Way = tuple[NDArray, NDArray, NDArray, NDArray, NDArray, NDArray, NDArray, bool]
"""Duty, w, p, q, e of the module's text, ripple loss of all rotors over the bus voltage squared, a speed to begin with,
and whether any blade tip may be fast. [-, V, V s, V s^2, V^2, W/V^2, 1/s, -]"""

PASSES = 14
"""Passes at most; mostly two or three are taken. [-]"""
TOLERANCE = 1e-11
"""Fixed-point passes stop when no element moved by more than this share; quick estimates use fewer."""
SETTLED = 2e-5
"""Newton step of a speed at a duty after which none is needed: some 1e-11 is left, or 1e-6 where it goes over the bend
that C_P has at either end of its Reynolds range. [-]"""
FINEST = 1e-13
"""Near the most a pack can give the bus follows the square root of what a speed lacks. [-]"""

# numbers as arrays without axes: numpy takes them faster than plain ones
_ONE, _HALF, _FOUR = (np.asarray(x) for x in (1.0, 0.5, 4.0))
_LADDER = np.geomspace(1e-3, 1.02, 64)  # speeds over that at full duty
_PART_DUTY = 0.5  # at which, beside full duty, a first guess is right
_MOST_CHANGE = 1.0  # of a load with ln duty


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
    return find(d, way(d, held), passes=passes, settled=FINEST)[0] * (duty / held)


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
        ripple = controller.ripple_loss(d.controller, volts, half, power=volts * current + d.idle_power / d.rotors)
        per_rotor = np.maximum((most - d.electronics_power) / d.rotors - ripple, 1e-6)
        slope = (d.volts_per_rev * n + d.resistance * growth) / volts + growth / current
        step = np.log(per_rotor / (volts * current)) / slope
        n = n * np.exp(np.clip(step, -2.0, 2.0))
        open_ = ~(np.abs(step) <= FINEST)
        if not open_.any():
            return n
    # the steps leave the ripple out of the slope: where it is much of the power they may go to and fro. The power
    # grows with speed all the way (the ripple is held), so halve for those, on a logarithmic scale
    some = ~(np.abs(step) <= 1e-9)
    if not some.any():
        return n
    few, (half, most) = subset(d, some, n.shape), (np.broadcast_to(x, n.shape)[some] for x in (half, most))
    low, high = np.full(half.shape, np.log(1e-4)), np.full(half.shape, np.log(1e6))
    for _ in range(64):
        middle = 0.5 * (low + high)
        under = _power_at_half(few, np.exp(middle), half) < most
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    return put(n, some, np.exp(0.5 * (low + high)))


def _power_at_half(d: Drive, n: NDArray, half: NDArray) -> NDArray:
    """Power of the whole craft at a speed, with the bus at half of the rest voltage. [W]"""
    load = d.load_factor * d.prop.static(n)[1] * n * n
    current = load + d.iron_amps * n
    volts = d.volts_per_rev * n + current * d.resistance
    taken = volts * current
    ripple = controller.ripple_loss(d.controller, volts, half, power=taken + d.idle_power / d.rotors)
    return d.rotors * (taken + ripple) + d.electronics_power


def find(d: Drive, asked: Way, *, passes: int, settled: float) -> tuple[NDArray, NDArray, bool]:
    """Speed at a duty, with what comes with it.

    Parameters
    ----------
    d : Drive
    asked : Way
        Of `way` or `way_along`.
    passes : int
        Passes at most, two at least.
    settled : float
        Newton step after which none is needed. [-]

    Returns
    -------
    (rev_per_s, c_p, found) : tuple
        C_P follows the last step along its slope; found says whether all steps came below ``settled``. [1/s, -, -]
    """
    _, rest, straight, loaded, emptied, _, n, fast = asked
    n = _closer(d, rest, straight, loaded, emptied, n, fast)
    for _ in range(max(passes - 1, 1)):
        c_p, slope, step = _step(d, rest, straight, loaded, emptied, n, fast)
        found = _all_within(step, settled)
        slope *= step
        step += _ONE
        n *= step
        if found:
            break
    slope += _ONE
    c_p *= slope
    return n, c_p, found


def way(d: Drive, duty: NDArray) -> Way:
    """What a duty asks of a drive, before a speed is known.

    Parameters
    ----------
    d : Drive
    duty : ndarray
        Above zero, of the whole shape of the drive or more. [-]

    Returns
    -------
    Way
    """
    square = duty * duty
    shared = duty - square
    shared *= shared
    shared *= d.all_ripple
    rest, emptied = duty * d.emf, square * d.idle_share
    loaded = shared * d.pack_resistance
    loaded += _ONE
    straight = loaded * d.straight
    straight += square * d.pack_straight
    loaded *= d.load_volts
    loaded += square * d.pack_load
    if duty.size > d.least_duty.size:
        free, of_motor, of_pack, slope, _ = _outset(d)
        square *= of_pack
        square += of_motor
        square *= duty
        growth = np.log(duty)
        growth *= slope
        growth += _ONE
        square *= growth
        square += _ONE
        n = _begin(duty * free, square)
    else:
        n = _alone(d, rest, straight, loaded, emptied)
        n = _closer(d, rest, straight, loaded, emptied, n, fast=True)
    fast = not n.max(initial=0.0) <= d.slow_tips
    return duty, rest, straight, loaded, emptied, shared, n, fast


def way_along(d: Drive, duties: Duties) -> Way:
    """The same for a plain drive on a kept row of duties.

    Parameters
    ----------
    d : Drive
        Of plain numbers.
    duties : Duties

    Returns
    -------
    Way
    """
    of_powers, fast, rests = _table(d)
    rest, straight, loaded, emptied, ripple, free, square = np.dot(of_powers, duties.powers)
    n = _begin(free, square)
    if not rests:  # the fastest may not be at full duty
        fast = not n.max(initial=0.0) <= d.slow_tips
    return duties.duty, rest, straight, loaded, emptied, ripple, n, fast


def calm(d: Drive) -> bool:
    """Whether a plain drive strains its pack at no duty, nor leaves the electronics without.

    Parameters
    ----------
    d : Drive
        Of plain numbers.

    Returns
    -------
    bool
        True only where it is certain: full duty with the worst ripple on top is looked at, and whether any ripple is
        held.
    """
    return _table(d)[2]


def _table(d: Drive) -> tuple[NDArray, bool, bool]:
    """What `way` works out as sums of `Duties.powers`; whether full duty makes a blade tip fast; what `calm` says."""
    kept: tuple[NDArray, bool, bool] | None = vars(d).get("_table")
    if kept is None:
        kept = vars(d)["_table"] = _tabulate(d)
    return kept


@np.errstate(all="ignore")  # full duty may have no root
def _tabulate(d: Drive) -> tuple[NDArray, bool, bool]:
    free, of_motor, of_pack, slope, full = _outset(d)
    shared = d.pack_resistance * d.all_ripple
    rows = (
        # 1, duty, duty^2, duty^3, (duty - duty^2)^2, duty ln duty, duty^3 ln duty
        (0.0, d.emf, 0.0, 0.0, 0.0, 0.0, 0.0),
        (d.straight, 0.0, d.pack_straight, 0.0, d.straight * shared, 0.0, 0.0),
        (d.load_volts, 0.0, d.pack_load, 0.0, d.load_volts * shared, 0.0, 0.0),
        (0.0, 0.0, d.idle_share, 0.0, 0.0, 0.0, 0.0),
        (0.0, 0.0, 0.0, 0.0, d.all_ripple, 0.0, 0.0),
        (0.0, free, 0.0, 0.0, 0.0, 0.0, 0.0),
        (1.0, of_motor, 0.0, of_pack, 0.0, slope * of_motor, slope * of_pack),
    )
    load = d.load_factor * d.prop.static(full)[1] * full * full
    volts = d.straight * full + d.resistance * load
    # at full duty the bus is the motor's voltage; the power but for ripple grows with duty, ripple is k (E/4)^2 at most
    power = d.rotors * volts * (load + d.iron_amps * full) + d.idle_power + d.all_ripple * d.emf * d.emf / 16.0
    lowest = battery.terminal_voltage(d.emf, d.pack_resistance, power)
    rests = np.minimum(volts, lowest) >= 1.001 * d.least_fine
    rests = rests and not _may_hold_ripple(d, full)
    return np.array(rows, dtype=np.float64), bool(not full <= 0.999 * d.prop.quickest), bool(rests)


def _may_hold_ripple(d: Drive, full: NDArray) -> bool:
    """Whether a plain drive may hold its ripple at some speed up to full duty (`components.controller`)."""
    n = full * _LADDER
    load = d.load_factor * d.prop.static(n)[1] * n
    volts, amps = n * (d.straight + d.resistance * load), n * (load + d.iron_amps)
    # power over volts squared changes by a fifth from step to step: a smooth curve bends past it by a hundredth
    most = 0.97 * controller.RIPPLE_MOST * (d.rotors * volts * amps + d.idle_power)
    return not bool(np.all(d.all_ripple * volts * volts <= most))


def _outset(d: Drive) -> tuple[NDArray, NDArray, NDArray, NDArray, NDArray]:
    """What a first guess at a duty needs, and the speed at full duty; worked out once a drive. [1/s, -, -, -, 1/s]

    The guess is a duty / (1 + sqrt(1 + (b duty + c duty^3) (1 + k ln duty))), the root of a load that goes with n^2,
    right at full duty: b stands for the motor's resistance, c for the pack's. k makes it right at part duty as well,
    for the slow change of C_P, or a fast one where blade tips are fast at full duty.
    """
    kept: tuple[NDArray, NDArray, NDArray, NDArray, NDArray] | None = vars(d).get("_outset")
    if kept is None:
        full, part = (way(d, np.full(d.least_duty.shape, duty))[6] for duty in (1.0, _PART_DUTY))
        free = (d.emf - d.idle_share / d.emf) / d.straight
        bend = (2.0 * free / full - 1.0) ** 2 - 1.0
        bend = np.where(bend > 0.0, bend, 1.0)  # no number where full duty has no root: any guess will do
        of_pack = bend * (d.pack_load / (d.load_volts + d.pack_load))
        of_motor = bend - of_pack
        there = (2.0 * free * _PART_DUTY / part - 1.0) ** 2 - 1.0
        plain = _PART_DUTY * of_motor + _PART_DUTY**3 * of_pack
        slow = (there / plain - 1.0) / np.log(_PART_DUTY)
        slow = np.where(np.abs(slow) < _MOST_CHANGE, slow, 0.0)  # nor where part duty has none
        kept = (
            np.asarray(free + free),
            np.asarray(of_motor),
            np.asarray(of_pack),
            np.asarray(slow),
            np.asarray(full),
        )
        vars(d)["_outset"] = kept
    return kept


def _begin(free: NDArray, square: NDArray) -> NDArray:
    """Speed to begin with on a curve, a hundredth off."""
    root = np.sqrt(square)
    root += _ONE
    free /= root
    return free


def _alone(d: Drive, rest: NDArray, straight: NDArray, loaded: NDArray, emptied: NDArray) -> NDArray:
    """Speed to begin with for one duty a drive: the quadratic with C_P at the middle Reynolds number."""
    volts = rest - emptied / rest
    steep = loaded * d.prop.middle_c_p
    steep *= volts
    steep *= _FOUR
    steep += straight * straight
    return (volts + volts) / (straight + np.sqrt(steep))


def _closer(
    d: Drive, rest: NDArray, straight: NDArray, loaded: NDArray, emptied: NDArray, n: NDArray, fast: bool
) -> NDArray:
    """A speed that is closer: the load n^(2+s) as the parabola through rest that touches it at n.

    The idle watts are held, being few. What is left is about 0.02 of the square of what was, and of the idle watts'
    part in it.
    """
    c_p, slope = d.prop.static_c_p_with_slope(n, fast_tips=fast)
    pull = c_p * n
    volts = pull * d.load_volts
    volts += d.straight
    volts *= n
    volts = rest - emptied / volts
    pull *= loaded
    linear = straight - slope * pull
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


def _step(
    d: Drive, rest: NDArray, straight: NDArray, loaded: NDArray, emptied: NDArray, n: NDArray, fast: bool
) -> tuple[NDArray, NDArray, NDArray]:
    """C_P and its slope at a speed, and the share by which Newton's method moves it."""
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
    # on a curve the sum of fourth powers is quicker and mostly enough; on large arrays it would wake a second thread
    if step.size < SMALL:
        square = step * step
        if np.vdot(square, square) <= most**4:
            return True
    return bool(np.abs(step).max(initial=0.0) <= most)


def _moved(new: NDArray, old: NDArray) -> bool:
    return bool(np.any(np.abs(new - old) > TOLERANCE * new))
