"""Level flight and climb: trim, power against speed, the best and the top speed, the climb rate.

Trim balances thrust T against the weight W, the force of the air on the body and the in-plane force H of the rotors
(`components.inplane`), along the shafts and across them::

    T = W cos(tilt) + q f_top sin(tilt)
    W sin(tilt) = q f_front cos(tilt) + H                          q = rho V^2 / 2

The body feels the two parts of the stream on its two drag areas. Along the path that is the usual drag
D = q (f_front cos^2 + f_top sin^2); across it the plate, nose down, is pressed down with q (f_top - f_front) sin cos:
a tunnel shows both ([bannwarth2022], data/flight). Shaft power is momentum plus profile::

    P_prof = P_axial(n, J_ax) - T (V_ax + kappa v_axial)          what the axial curve leaves
    P      = T (V_ax + kappa v_Glauert) - H V_in + P_prof (1 + 4.65 mu^2)

with V_ax = V sin(tilt), V_in = V cos(tilt), mu = V_in / (pi n D). It equals hover at V = 0 and the measured axial
curve at 90 degrees of tilt, exactly.

What H costs. On one blade element lift stands normal to the air that meets it, so it does no work on that air:
dL phi (Omega r + V_in sin psi) = dL (V_ax + v), phi the angle of the inflow. Summed over blades and a turn::

    P_lift + H_lift V_in = T V_ax + kappa T v

Lift that leans back is thus paid once: the tilt that carries H raises T V_ax by exactly H V_in, and the shaft is spared
the same. The drag of the blades costs P_prof (1 + 4.65 mu^2), the work of its in-plane part, 2 mu^2 of the 4.65, among
it; that part too is in T V_ax already, so the whole H V_in comes off. Since T V_ax - H V_in = D V in level flight,
with D the drag of the body, this is the rotorcraft sum P = D V + kappa T v + P_prof (1 + 4.65 mu^2), which knows no H
([leishman2006] section 5.4). H still costs through what it makes of the tilt: more body drag, more flow through the
disc, so less thrust at the same rotational speed. If part of the measured H is drag of hubs and motors, the power is a
little higher than this; H V_in is the most it could be.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import Build, drag_areas, scatter_back, shape_of, subset, with_axis
from propmodel.base.checks import apart, as_floats, check_number, check_range
from propmodel.base.status import Status
from propmodel.components import momentum
from propmodel.components.controller import limited_ripple, ripple_voltage, throttle_from_duty
from propmodel.components.inplane import INPLANE_FADE, INPLANE_GAIN
from propmodel.powertrain import rotor_speed
from propmodel.powertrain.operating_point import OperatingPoint, at_duty, electrical
from propmodel.powertrain.prepared import PreparedPowertrain, prepare
from propmodel.powertrain.rotor_speed import PASSES

__all__ = [
    "BestSpeeds",
    "ClimbRate",
    "LevelFlight",
    "TopSpeed",
    "best_speeds",
    "climb_rate",
    "level_flight",
    "lowest_point",
    "steepest_tilt",
    "top_speed",
]

INDUCED_FACTOR = 1.15
"""Induced power over ideal, rotors 1.10 to 1.15 (Leishman; TU Munich course notes)."""
PROFILE_GROWTH = 4.65
"""Growth of the blades' profile power with mu^2, in-plane work included ([leishman2006] section 5.4). [-]"""
# numbers as arrays without axes: numpy takes them faster than plain ones
_ZERO, _THIRD, _HALF, _ONE, _TWO, _PI = (np.asarray(x) for x in (0.0, 1.0 / 3.0, 0.5, 1.0, 2.0, np.pi))
_TURN = np.asarray(2.0 * np.pi)
_SMALL, _MOMENTUM_SHARE, _INDUCED, _LEAST_SLOPE = (np.asarray(x) for x in (1e-9, 0.97, INDUCED_FACTOR, 0.05))
_GAIN, _FADE = np.asarray(INPLANE_GAIN), np.asarray(INPLANE_FADE)


@dataclass(frozen=True)
class Airframe:
    """What trim needs of a build besides its drive."""

    weight: NDArray
    front: NDArray
    top: NDArray

    @classmethod
    def of(cls, build: Build) -> Airframe:
        front, top = drag_areas(build)
        return cls(weight=build.weight, front=front, top=top)


@dataclass(frozen=True)
class Trim:
    """State of a level or climbing trim, reusable as the start of the next one."""

    rev_per_s: NDArray
    tangent: NDArray
    """Tangent of the tilt. [-]"""
    inplane_force: NDArray
    """H of one rotor. [N]"""
    thrust: NDArray
    """Bare thrust of one rotor. [N]"""
    axial_speed: NDArray
    inplane_speed: NDArray
    profile_power: NDArray
    shaft_power: NDArray


def hover_trim(point: OperatingPoint) -> Trim:
    """A hover as the start of a first slow trim."""
    zero = np.zeros_like(point.rev_per_s)
    return Trim(point.rev_per_s, zero, zero, point.thrust, zero, zero, zero, point.shaft_power)


def profile_split(
    d: PreparedPowertrain, n: NDArray, thrust: NDArray, axial_speed: NDArray, c_p: NDArray
) -> tuple[NDArray, NDArray, NDArray]:
    """Induced factor, axial induced velocity and profile power of one rotor on the axial curve."""
    area = d.diameter * d.diameter
    axial = d.density * (area * area * d.diameter) * c_p * (n * n * n)
    half = _HALF * axial_speed
    pull = np.maximum(thrust, _SMALL)
    v = np.sqrt(half * half + pull / (2.0 * d.density * d.disc_area)) - half
    most = (_MOMENTUM_SHARE * axial / pull - axial_speed) / np.maximum(v, _SMALL)
    kappa = np.minimum(np.maximum(most, _ZERO), _INDUCED)
    return kappa, v, axial - thrust * (axial_speed + kappa * v)


def trim(
    d: PreparedPowertrain,
    frame: Airframe,
    speed: NDArray,
    *,
    start: Trim | None = None,
    passes: int = 24,
    quick: bool = False,
) -> tuple[Trim, OperatingPoint]:
    """Balance the craft in level flight at a speed.

    Parameters
    ----------
    d : PreparedPowertrain
    frame : Airframe
    speed : ndarray
        [m/s]
    start : Trim or None
        Where to begin, from a neighbouring speed.
    passes : int
        Joint fixed-point passes at most.
    quick : bool
        Fewer inner steps, for the way to a root that is only passed through.

    Returns
    -------
    Trim, OperatingPoint
        The operating point carries duty, current and status.
    """
    state = _balance(d, frame, speed, start=start, passes=passes, quick=quick)
    torque = state.shaft_power / (2.0 * np.pi * state.rev_per_s)
    return state, electrical(d, state.rev_per_s, torque, state.thrust * d.thrust_share, passes=1 if quick else 2)


def _balance(
    d: PreparedPowertrain, frame: Airframe, speed: NDArray, *, start: Trim | None, passes: int, quick: bool
) -> Trim:
    """The mechanical half of :func:`trim`."""
    # all forces over the weight, all thrusts over rho D^4
    pressure = _HALF * d.density * speed * speed
    low, high = pressure * frame.front / frame.weight, pressure * frame.top / frame.weight
    area = d.diameter * d.diameter
    scale = d.density * (area * area)
    lift = frame.weight / (d.rotors * d.thrust_share * scale)
    through_most = speed / d.diameter
    gain = (_GAIN / _PI) * d.prop.inplane_factor / d.thrust_share
    if start is None:
        n = rotor_speed.for_thrust(d, frame.weight / d.rotors * np.ones_like(speed))
        tangent = low * np.ones_like(n)
    else:
        n, tangent = start.rev_per_s, start.tangent
    cosine = _ONE / np.sqrt(_ONE + tangent * tangent)
    for _ in range(passes):
        ratio = through_most / n
        tangent_new, cosine = _tilt(tangent, cosine, low, high, ratio, gain, steps=1 if quick else 2)
        sine = tangent_new * cosine
        wanted = (high * sine + cosine) * lift
        through = through_most * sine
        c_t, steep = d.prop.thrust_with_slope(ratio * sine, n)
        # Newton's method on T = rho D^4 C_T(V/(n D)) n^2; slower than zero thrust no step leads back
        given = c_t * n
        n_new = n + (wanted - given * n) / (_TWO * given - steep * through)
        n_new = np.maximum(n_new, np.maximum(_THIRD * n, through / d.prop.zero_thrust_advance_ratio))
        done = passes > 4 and not (
            np.any(np.abs(n_new - n) > 1e-13 * n_new) or np.any(np.abs(tangent_new - tangent) > 1e-12)
        )
        n, tangent = n_new, tangent_new
        if done:
            break
    thrust = wanted * scale
    axial, inplane = speed * sine, speed * cosine
    # thrust and power of one and the same speed: their difference, the profile power, hardly minds which
    c_t, c_p = d.prop.at(through / n, n)
    kappa, v_axial, profile = profile_split(d, n, scale * c_t * n * n, axial, c_p)
    v = momentum.induced_velocity_edgewise(thrust, axial, inplane, disc_area=d.disc_area, air_density=d.density)
    mu = inplane / (_PI * d.diameter * n)
    force = _GAIN * d.prop.inplane_factor * thrust * mu / (_ONE + _FADE * mu)
    # at zero in-plane speed Glauert's v is the axial one: keep the split's own to the last digit
    v = np.where((inplane == _ZERO) | (speed == _ZERO), v_axial, v)
    shaft = thrust * (axial + kappa * v) - force * inplane + profile * (_ONE + PROFILE_GROWTH * mu * mu)
    return Trim(n, tangent, force, thrust, axial, inplane, profile, shaft)


def _tilt(
    tangent: NDArray, cosine: NDArray, low: NDArray, high: NDArray, ratio: NDArray, gain: NDArray, *, steps: int
) -> tuple[NDArray, NDArray]:
    """Solve t = low + H / cos for the tangent t by Newton's method, forces over the weight; t and its cosine.

    H = gain T pi mu / (1 + c mu) with pi mu = ratio cos and T = cos + high sin: tilt and thrust are found together,
    only the rotational speed in ``ratio`` is held.
    """
    t = tangent
    gain, fade = gain * ratio, (_FADE / _PI) * ratio
    for _ in range(steps):
        below = _ONE + fade * cosine
        pull = gain * cosine * (_ONE + high * t) / below
        slope = _ONE - cosine * cosine * cosine * (gain * (high - t) + pull * fade * t) / below
        t = np.maximum(t - (t - low - pull) / np.maximum(slope, _LEAST_SLOPE), _ZERO)
        cosine = _ONE / np.sqrt(_ONE + t * t)
    return t, cosine


@dataclass(frozen=True)
class LevelFlight:
    """Level flight against speed; the speed axis comes last. SI units.

    Parameters
    ----------
    speed : ndarray
        [m/s]
    tilt : ndarray
        Of the rotor plane against the horizontal. [rad]
    thrust : ndarray
        Installed thrust of one rotor. [N]
    rev_per_s : ndarray
        [1/s]
    advance_ratio : ndarray
        Of the flow through the disc. [-]
    shaft_power : ndarray
        Of one rotor. [W]
    electrical_power, current : ndarray
        Of the whole craft, with the sustained pack resistance. [W, A]
    throttle, duty, bus_voltage : ndarray
        [-, -, V]
    thrust_needed_over_available : ndarray
        Thrust this flight needs over what full throttle gives in the same inflow. [-]
    status : ndarray of int8
        CANNOT_FLY_AT_THIS_SPEED where the duty is above the cap or the pack cannot deliver.
    """

    speed: NDArray
    tilt: NDArray
    thrust: NDArray
    rev_per_s: NDArray
    advance_ratio: NDArray
    shaft_power: NDArray
    electrical_power: NDArray
    current: NDArray
    throttle: NDArray
    duty: NDArray
    bus_voltage: NDArray
    thrust_needed_over_available: NDArray
    status: NDArray


def level_flight(build: Build, speed: ArrayLike, *, state_of_charge: ArrayLike = 1.0) -> LevelFlight:
    """Trim the craft in level flight.

    Parameters
    ----------
    build : Build
        May hold arrays; its shape comes first.
    speed : array_like
        True air speed, 0 to 150. Its axes come last; a plain number adds none. [m/s]
    state_of_charge : array_like
        0 to 1. [-]

    Returns
    -------
    LevelFlight
        Numbers stay in place where the craft cannot fly so; ``status`` says so and
        ``thrust_needed_over_available`` by how much.

    Raises
    ------
    ValueError
        If the speed is negative, above 150 m/s or not finite.

    Examples
    --------
    >>> import propmodel
    >>> flight = level_flight(propmodel.demo("scree"), 15.0)
    >>> bool(flight.electrical_power > 0)
    True
    """
    v = check_range("speed", speed, 0.0, 150.0, "m/s")
    check_range("state_of_charge", state_of_charge, 0.0, 1.0)
    charge = np.asarray(state_of_charge, dtype=np.float64)
    if v.ndim:
        build = with_axis(build, v.ndim)
        charge = charge[(...,) + (None,) * v.ndim] if charge.ndim else charge
    v_all = np.broadcast_to(v, np.broadcast_shapes(shape_of(build), charge.shape, v.shape))
    d = prepare(build, charge, sustained=True)
    state, point = trim(d, Airframe.of(build), v_all, passes=60)
    cap = build.duty_cap
    status = np.where(
        (point.status != Status.OK) | (point.duty > cap * (1.0 + 1e-9)),
        Status.CANNOT_FLY_AT_THIS_SPEED,
        Status.OK,
    ).astype(np.int8)
    punch = prepare(build, charge)
    available = full_throttle_thrust(punch, cap * np.ones_like(v_all), state.axial_speed)
    return LevelFlight(
        speed=apart(v),
        tilt=np.arctan(state.tangent),
        thrust=point.thrust,
        rev_per_s=point.rev_per_s,
        advance_ratio=state.axial_speed / (point.rev_per_s * d.diameter),
        shaft_power=point.shaft_power,
        electrical_power=point.pack_power,
        current=point.pack_current,
        throttle=throttle_from_duty(build.controller, point.duty, command_cap=build.command_cap),
        duty=point.duty,
        bus_voltage=point.bus_voltage,
        thrust_needed_over_available=point.thrust / np.maximum(available, 1e-9),
        status=status,
    )


def speed_at_duty(
    d: PreparedPowertrain, duty: NDArray, axial_speed: NDArray, *, passes: int = PASSES
) -> tuple[NDArray, ...]:
    """Rotational speed, C_T and C_P at a duty with flow along the shaft.

    What ripple and electronics drop is taken as at rest: at part throttle some 0.2 % of the duty, at full none.
    """
    point = at_duty(d, duty, passes=passes)
    n = point.rev_per_s
    load = d.density * d.diameter**5 / (2.0 * np.pi)
    total = d.resistance + duty * duty * d.rotors * d.pack_resistance
    linear = d.volts_per_rev + total * d.iron_slope / d.torque_constant
    aside = d.pack_resistance * (d.rotors * point.ripple_loss + d.electronics_power) / point.bus_voltage
    volts = duty * np.maximum(d.emf - aside, 0.0)
    for _ in range(passes):
        # a pack that cannot even feed the electronics leaves the rotors standing
        c_t, c_p = d.prop.at(axial_speed / (np.maximum(n, 1e-6) * d.diameter), n)
        quadratic = total * load * np.maximum(c_p, 0.0) / d.torque_constant
        new = 2.0 * volts / (linear + np.sqrt(linear * linear + 4.0 * quadratic * volts))
        moved = bool(np.any(np.abs(new - n) > 1e-10 * new))
        n = new
        if not moved:
            break
    return n, c_t, c_p


def full_throttle_thrust(d: PreparedPowertrain, duty: NDArray, axial_speed: NDArray) -> NDArray:
    """Installed thrust of one rotor at a duty with flow along the shaft. [N]"""
    n, c_t, _ = speed_at_duty(d, duty, axial_speed)
    return d.thrust_share * c_t * d.density * n * n * d.diameter**4


@dataclass(frozen=True)
class TopSpeed:
    """Fastest level flight. SI units.

    Parameters
    ----------
    speed : ndarray
        NaN where the craft cannot hover. [m/s]
    tilt : ndarray
        [rad]
    current : ndarray
        Of the whole craft. [A]
    rev_per_s : ndarray
        [1/s]
    pitch_speed : ndarray
        Rotational speed times pitch at top speed: flight may be faster, since real propellers pull beyond it.
        [m/s]
    status : ndarray of int8
    """

    speed: NDArray
    tilt: NDArray
    current: NDArray
    rev_per_s: NDArray
    pitch_speed: NDArray
    status: NDArray


def top_speed(build: Build, *, state_of_charge: ArrayLike = 1.0, quick: bool = False) -> TopSpeed:
    """Level speed at which full throttle (or the cap, or the pack) is used up.

    Parameters
    ----------
    build : Build
    state_of_charge : array_like
        0 to 1. [-]
    quick : bool
        Fewer passes, for sweeps: within 2 % of the full answer, mostly within 0.1 %.

    Returns
    -------
    TopSpeed
        With the 10-second pack resistance: a sprint, not a cruise.

    Notes
    -----
    More mass may raise it by a few percent while the drag areas are held: a heavier craft flies flatter, so it shows
    less of its plate and its discs meet less flow along their axes. A load that adds drag area takes that away.

    Examples
    --------
    >>> import propmodel
    >>> bool(20 < top_speed(propmodel.demo("scree")).speed < 70)
    True
    """
    check_range("state_of_charge", state_of_charge, 0.0, 1.0)
    d = prepare(build, state_of_charge)
    shape = np.broadcast_shapes(shape_of(build), np.shape(state_of_charge))
    cap = np.broadcast_to(build.duty_cap, shape)
    return find_top_speed(d, Airframe.of(build), cap, np.asarray(build.propeller.pitch), quick=quick)


def find_top_speed(
    d: PreparedPowertrain,
    frame: Airframe,
    cap: NDArray,
    pitch: NDArray,
    *,
    quick: bool,
    full: OperatingPoint | None = None,
) -> TopSpeed:
    """Search of :func:`top_speed` on prepared arrays; each step warm-starts the next trim."""
    if full is None:
        full = at_duty(d, cap)
    pull = d.rotors * full.thrust
    lifts = pull > frame.weight
    guess = _guess_top(d, frame, pull, full.rev_per_s), _full_lean(frame, pull, full.rev_per_s)
    first, second = (
        (_Effort(4, 2, 2e-3), _Effort(6, 4, 1e-3)) if quick else (_Effort(8, 3, 1e-8), _Effort(12, 6, 1e-10))
    )
    found = _aimed_top(d, frame, cap, *guess, effort=first)
    for bracket in (False, True):
        # with hardly any pull to spare the command hardly rises with speed: a near miss of one is far off in the other
        sure = found.settled if bracket or not quick else found.settled & (pull > 1.2 * frame.weight)
        open_ = lifts & ~sure
        if not open_.any():
            break
        shape = np.shape(open_)
        part, body, asked = subset(d, open_, shape), subset(frame, open_, shape), np.broadcast_to(cap, shape)[open_]
        if bracket:
            rest = _bracketed_top(part, body, asked, pull[open_], full.rev_per_s[open_], steps=16 if quick else 36)
        else:
            begun = np.log(found.speed[open_]), subset(found.state, open_, shape)
            rest = _aimed_top(part, body, asked, *begun, effort=second)
        found = _merged(found, open_, rest)
    speed, tilt, current, rev_per_s = found.speed, np.arctan(found.state.tangent), found.current, found.state.rev_per_s
    status = np.where(lifts, Status.OK, Status.CANNOT_HOVER).astype(np.int8)
    nan = np.where(lifts, 1.0, np.nan)
    return TopSpeed(
        speed=speed * nan,
        tilt=tilt * nan,
        current=current * nan,
        rev_per_s=rev_per_s * nan,
        pitch_speed=rev_per_s * pitch * nan,
        status=status,
    )


class _Effort(NamedTuple):
    """How long a search goes on: steps, passes of each trim, and the last move in ln V that counts as settled."""

    steps: int
    passes: int
    near: float


class _Top(NamedTuple):
    """Speed, trim and pack current at the top; whether the search closed. [m/s, -, A, -]"""

    speed: NDArray
    state: Trim
    current: NDArray
    settled: NDArray


def _merged(found: _Top, some: NDArray, rest: _Top) -> _Top:
    """Some elements replaced by those of a second search."""
    state = Trim(*(scatter_back(getattr(found.state, f.name), some, getattr(rest.state, f.name)) for f in fields(Trim)))
    speed, current, settled = (
        scatter_back(getattr(found, name), some, getattr(rest, name)) for name in ("speed", "current", "settled")
    )
    return _Top(speed, state, current, settled)


def _full_lean(frame: Airframe, pull: NDArray, rev_per_s: NDArray) -> Trim:
    """Where a search for the top speed begins: leaning well over, a little above full throttle's speed."""
    zero = np.zeros_like(pull)
    ratio = pull / frame.weight
    lean = 0.38 * np.sqrt(np.maximum(ratio * ratio - 1.0, 1e-4))
    return Trim(np.maximum(1.08 * rev_per_s, 1e-3), lean, zero, zero, zero, zero, zero, zero)


def _guess_top(d: PreparedPowertrain, frame: Airframe, pull: NDArray, rev_per_s: NDArray) -> NDArray:
    """Logarithm of a guess of the top speed: drag equal to the static pull at its tilt, less what the inflow takes.

    Its numbers are a regression on this engine's answers (28,000 builds, sd 3 to 6 %): they only say where to begin.
    """
    light = np.minimum(frame.weight / np.maximum(pull, _SMALL), 0.999)
    level = light * light
    lean2 = 1.0 - level
    drag_area = frame.front + (frame.top - frame.front) * lean2
    most = np.sqrt(2.0 * np.maximum(pull, _SMALL) * np.sqrt(lean2) / (d.density * drag_area))
    blades = d.prop.zero_thrust_advance_ratio * np.maximum(rev_per_s, 1e-3) * d.diameter
    bend = 0.07 * np.log(light) - 0.13 * level + 0.054 * (1.0 - d.prop.bulge_kept) - 0.214
    return 0.69 * np.log(most) + 0.31 * np.log(blades) + bend


def _aimed_top(
    d: PreparedPowertrain, frame: Airframe, cap: NDArray, log_v: NDArray, state: Trim, *, effort: _Effort
) -> _Top:
    """Secant search in ln V from a good guess, each step a trim of few passes; settled where the last was near."""
    excess, move, slope = np.zeros_like(log_v), np.zeros_like(log_v), _ONE
    for step in range(effort.steps):
        passes = effort.passes if step else 1 + effort.passes
        state = _balance(d, frame, np.exp(log_v), start=state, passes=passes, quick=effort.passes < 3)
        last = excess
        excess, current = _excess(d, state, cap)
        if step:
            slope = (excess - last) / np.where(np.abs(move) > 1e-12, move, np.inf)
            slope = np.minimum(np.maximum(slope, 0.15), 12.0 if step < 3 else 100.0)
        move = np.minimum(np.maximum(-excess / slope, -0.25), 0.15)
        log_v = log_v + move
        if step > 2 and not (np.abs(move) > 1e-11).any():
            break
    # a small move may also come of a steep chord: what is left over must be small too
    settled = (np.abs(move) < effort.near) & (np.abs(excess) < max(0.25 * effort.near, 1e-6))
    return _Top(np.exp(log_v), state, current, settled)


def _excess(d: PreparedPowertrain, state: Trim, cap: NDArray) -> tuple[NDArray, NDArray]:
    """Rest voltage that a trim lacks, over what there is, and the pack current at the bus voltage looked at. [-, A]

    The trim can be flown while the bus stays above V, the least at which the cap gives the motors their voltage, and
    above half of the rest voltage E. So V + R P(V) / V must not be more than E. That is explicit and smooth, while the
    duty itself climbs like a root where the pack is near its end.
    """
    n = state.rev_per_s
    amps = state.shaft_power / (_TURN * n * d.torque_constant) + d.no_load_amps_per_n * n
    volts = d.volts_per_rev * n + amps * d.resistance
    power = d.rotors * (volts * amps) + d.idle_power
    bus = np.maximum(volts / cap, _HALF * d.emf)
    square = volts * volts
    through = ripple_voltage(volts, bus)
    power = power + limited_ripple(d.total_ripple_coefficient, power, square) * (through * through)
    current = power / bus
    return (bus + d.pack_resistance * current) / d.emf - _ONE, current


def _bracketed_top(
    d: PreparedPowertrain, frame: Airframe, cap: NDArray, pull: NDArray, rev_per_s: NDArray, *, steps: int
) -> _Top:
    """Halve the bracket, then aim along its chord: slower, for the few builds that no aim hits."""
    # drag hardly exceeds the static pull, though rotors turn faster in the stream: the upper end of the bracket
    high = 1.25 * np.sqrt(2.0 * np.maximum(pull, frame.weight) / (d.density * frame.front))
    low = np.zeros_like(high)
    # near full throttle, leaning well over: from there few passes are enough, while a start from the hover lags
    # behind at every step and loses the root where the pack is near its end
    state = _full_lean(frame, pull, rev_per_s)
    below, above = -np.ones_like(high), np.ones_like(high)
    for step in range(steps):
        # a chord closes in from one side only: every other step halves
        share = np.clip(-below / (above - below), 0.02, 0.98) if step > 5 and step % 2 else 0.5
        middle = low + (high - low) * share
        state = _balance(d, frame, middle, start=state, passes=12, quick=False)
        excess, current = _excess(d, state, cap)
        over = excess > 0.0
        low, high = np.where(over, low, middle), np.where(over, middle, high)
        below, above = np.where(over, below, excess), np.where(over, excess, above)
    # the root between the last two tries, by a straight line
    share = np.where((below < 0.0) & (above > 0.0), -below / np.maximum(above - below, 1e-12), 0.5)
    speed = low + (high - low) * share
    return _Top(speed, state, current, np.ones_like(speed, bool))


@dataclass(frozen=True)
class BestSpeeds:
    """Speeds of least power and of most distance for the charge. SI units.

    Parameters
    ----------
    endurance_speed, endurance_power : ndarray
        Slowest drain: the lowest point of power against speed. [m/s, W]
    range_speed, range_power : ndarray
        Farthest: where a ray from the origin touches power against speed. [m/s, W]
    power_ratio : ndarray
        Least power over hover power. [-]
    """

    endurance_speed: NDArray
    endurance_power: NDArray
    range_speed: NDArray
    range_power: NDArray
    power_ratio: NDArray


def best_speeds(build: Build, *, state_of_charge: ArrayLike = 1.0, points: int = 41) -> BestSpeeds:
    """Find the bucket of the power curve and the best range speed.

    Parameters
    ----------
    build : Build
    state_of_charge : array_like
        0 to 1. [-]
    points : int
        Speeds tried between hover and top speed, 3 to 10001; a parabola through the best three refines it.

    Returns
    -------
    BestSpeeds

    Raises
    ------
    ValueError
        If the state of charge is outside 0 to 1, or the number of speeds out of range.

    Examples
    --------
    >>> import propmodel
    >>> bool(best_speeds(propmodel.demo("moor")).power_ratio < 1)
    True
    """
    points = int(check_number("points", check_range("points", points, 3, 10001)))
    top = top_speed(build, state_of_charge=state_of_charge, quick=True).speed
    share = np.linspace(0.0, 1.0, points)
    shape = np.shape(top)
    wide = with_axis(build)
    charge = np.asarray(state_of_charge, dtype=np.float64)
    charge = charge[..., None] if charge.ndim else charge
    speeds = np.nan_to_num(np.asarray(top), nan=1.0)[..., None] * share * 0.98
    d = prepare(wide, charge, sustained=True)
    _, point = trim(d, Airframe.of(wide), np.broadcast_to(speeds, (*shape, points)), passes=16)
    power = point.pack_power
    slow, least = lowest_point(speeds, power)
    with np.errstate(divide="ignore", invalid="ignore"):
        per_metre = np.where(speeds > 0.0, power / speeds, np.inf)
    fast, energy = lowest_point(speeds, per_metre)
    nan = np.where(np.isfinite(top), 1.0, np.nan)
    return BestSpeeds(
        endurance_speed=slow * nan,
        endurance_power=least * nan,
        range_speed=fast * nan,
        range_power=energy * fast * nan,
        power_ratio=least / power[..., 0] * nan,
    )


def lowest_point(x: NDArray, y: NDArray) -> tuple[NDArray, NDArray]:
    """Minimum over the last axis, by the parabola through the least point and its neighbours.

    Parameters
    ----------
    x, y : ndarray, shape (..., points)
        Three points or more, x evenly spaced.

    Returns
    -------
    (x, y) : tuple of ndarray
        Within a step of the least point.
    """
    last = y.shape[-1] - 1
    k = np.clip(np.argmin(y, axis=-1), 1, last - 1)[..., None]
    x = np.broadcast_to(x, y.shape)
    x0, x1 = (np.take_along_axis(x, k + i, -1)[..., 0] for i in (-1, 0))
    y0, y1, y2 = (np.take_along_axis(y, k + i, -1)[..., 0] for i in (-1, 0, 1))
    step = x1 - x0
    with np.errstate(divide="ignore", invalid="ignore"):
        curve = y0 - 2.0 * y1 + y2
        shift = np.where((curve > 0.0) & np.isfinite(curve), 0.5 * (y0 - y2) / curve, 0.0)
    shift = np.clip(shift, -1.0, 1.0)
    value = np.where(np.isfinite(y0), y1 - 0.25 * (y0 - y2) * shift, y1)
    return x1 + shift * step, value


@dataclass(frozen=True)
class ClimbRate:
    """Fastest straight climb. SI units.

    Parameters
    ----------
    speed : ndarray
        NaN where the craft cannot hover. [m/s]
    status : ndarray of int8
    """

    speed: NDArray
    status: NDArray


def climb_rate(build: Build, *, state_of_charge: ArrayLike = 1.0, quick: bool = False) -> ClimbRate:
    """Vertical speed at which full throttle balances weight and drag from above.

    Parameters
    ----------
    build : Build
    state_of_charge : array_like
        0 to 1. [-]
    quick : bool
        Fewer steps, for sweeps.

    Returns
    -------
    ClimbRate
    """
    check_range("state_of_charge", state_of_charge, 0.0, 1.0)
    d = prepare(build, state_of_charge)
    _, top = drag_areas(build)
    shape = np.broadcast_shapes(shape_of(build), np.shape(state_of_charge))
    cap = np.broadcast_to(build.duty_cap, shape)
    static = d.rotors * at_duty(d, cap).thrust
    lifts = static > build.weight
    high = np.sqrt(2.0 * np.maximum(static - build.weight, 0.0) / (d.density * top)) + 1e-3
    low = np.zeros_like(high)
    for _ in range(8 if quick else 40):
        middle = 0.5 * (low + high)
        n, c_t, _ = speed_at_duty(d, cap, middle, passes=3 if quick else PASSES)
        thrust = d.rotors * d.thrust_share * c_t * d.density * n * n * d.diameter**4
        spare = thrust - build.weight - 0.5 * d.density * top * middle * middle
        low, high = np.where(spare > 0.0, middle, low), np.where(spare > 0.0, high, middle)
    status = np.where(lifts, Status.OK, Status.CANNOT_HOVER).astype(np.int8)
    return ClimbRate(speed=np.where(lifts, 0.5 * (low + high), np.nan), status=status)


def steepest_tilt(thrust_to_weight: ArrayLike) -> NDArray:
    """Steepest tilt at which full thrust still carries the weight.

    Parameters
    ----------
    thrust_to_weight : array_like
        [-]

    Returns
    -------
    ndarray
        arccos(1 / TWR); NaN below 1. [rad]

    Examples
    --------
    >>> round(float(np.degrees(steepest_tilt(2.0))), 6)
    60.0
    """
    ratio = as_floats("thrust_to_weight", thrust_to_weight)
    return np.arccos(np.where(ratio >= 1.0, 1.0 / np.maximum(ratio, 1.0), np.nan))
