"""Trim: the balance of forces in level flight, and the power it takes.

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

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from propmodel.assembly.build import Build, drag_areas
from propmodel.components import momentum
from propmodel.components.inplane import INPLANE_FADE, INPLANE_GAIN
from propmodel.powertrain import rotor_speed
from propmodel.powertrain.operating_point import OperatingPoint, electrical
from propmodel.powertrain.prepared import PreparedPowertrain

__all__ = ["trim"]

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
    """What trim needs of a build besides its powertrain."""

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
    axial = d.density * (area * area * d.diameter) * c_p
    axial *= n * n * n
    half = _HALF * axial_speed
    positive = np.maximum(thrust, _SMALL)
    v = positive / (2.0 * d.density * d.disc_area)
    v += half * half
    v = np.sqrt(v)
    v -= half
    most = _MOMENTUM_SHARE * axial
    most /= positive
    most -= axial_speed
    most /= np.maximum(v, _SMALL)
    kappa = np.minimum(np.maximum(most, _ZERO), _INDUCED)
    paid = kappa * v
    paid += axial_speed
    paid *= thrust
    axial -= paid
    return kappa, v, axial


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
    state = balance(d, frame, speed, start=start, passes=passes, quick=quick)
    torque = state.shaft_power / (2.0 * np.pi * state.rev_per_s)
    return state, electrical(d, state.rev_per_s, torque, state.thrust * d.thrust_share, passes=1 if quick else 2)


def balance(
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
        wanted = high * sine
        wanted += cosine
        wanted *= lift
        through = through_most * sine
        c_t, steep = d.prop.thrust_with_slope(ratio * sine, n)
        # Newton's method on T = rho D^4 C_T(V/(n D)) n^2; slower than zero thrust no step leads back
        given = c_t * n
        steep *= through
        gradient = _TWO * given
        gradient -= steep
        given *= n
        n_new = wanted - given
        n_new /= gradient
        n_new += n
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
    c_t *= scale
    c_t *= n
    c_t *= n
    kappa, v_axial, profile = profile_split(d, n, c_t, axial, c_p)
    v = momentum.inflow_of_climb(thrust, axial, inplane, disc_area=d.disc_area, air_density=d.density)
    mu = inplane / (_PI * d.diameter * n)
    force = _GAIN * d.prop.inplane_factor * thrust
    force *= mu
    force /= _ONE + _FADE * mu
    # at zero in-plane speed Glauert's v is the axial one: keep the split's own to the last digit
    still = (inplane == _ZERO) | (speed == _ZERO)
    if still.any():
        v = np.where(still, v_axial, v)
    v *= kappa
    v += axial
    v *= thrust
    v -= force * inplane
    mu *= mu
    mu *= PROFILE_GROWTH
    mu += _ONE
    mu *= profile
    shaft = v + mu
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
        below = fade * cosine
        below += _ONE
        thrust = high * t
        thrust += _ONE
        thrust *= gain * cosine
        thrust /= below
        bent = thrust * fade
        bent *= t
        slope = high - t
        slope *= gain
        slope += bent
        cube = cosine * cosine
        cube *= cosine
        slope *= cube
        slope /= below
        slope = np.maximum(_ONE - slope, _LEAST_SLOPE)
        step = t - low
        step -= thrust
        step /= slope
        t = np.maximum(t - step, _ZERO)
        cosine = t * t
        cosine += _ONE
        cosine = _ONE / np.sqrt(cosine)
    return t, cosine
