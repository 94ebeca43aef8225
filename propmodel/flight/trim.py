"""Trim: the equilibrium of forces in level flight, and the power required.

Trim is the equilibrium of thrust T, weight W, drag of the body, and in-plane force H of the rotors
(`propmodel.components.inplane`), along the shafts and across them::

    T = W cos(tilt) + q f_top sin(tilt)
    W sin(tilt) = q f_front cos(tilt) + H                          q = rho V^2 / 2

Each component of the stream acts on its own drag area. Along the path this gives the usual drag
D = q (f_front cos^2 + f_top sin^2); across it a downward force q (f_top - f_front) sin cos on the tilted plate. Both
were measured in a tunnel ([bannwarth2022], data/flight). Shaft power is momentum power plus profile power::

    P_prof = P_axial(n, J_ax) - T (V_ax + kappa v_axial)          from the axial curve
    P      = T (V_ax + kappa v_Glauert) - H V_in + P_prof (1 + 4.65 mu^2)

with V_ax = V sin(tilt), V_in = V cos(tilt), mu = V_in / (pi n D). It equals the hover power at V = 0 and the measured
axial curve at a tilt of 90 degrees.

The power of H: on a blade element the lift is normal to the relative flow, so it does no work on it:
dL phi (Omega r + V_in sin psi) = dL (V_ax + v), with the inflow angle phi. Summed over blades and a revolution::

    P_lift + H_lift V_in = T V_ax + kappa T v

The power of the backward component of the lift thus counts once: the tilt that balances H raises T V_ax by H V_in, and
the shaft power falls by the same amount. The drag of the blades takes P_prof (1 + 4.65 mu^2), which includes the work
of its in-plane part, 2 mu^2 of the 4.65. This part is in T V_ax too, so the whole H V_in is subtracted. In level flight
T V_ax - H V_in = D V, with the drag D of the body. The result is the usual rotorcraft equation
P = D V + kappa T v + P_prof (1 + 4.65 mu^2), which does not contain H ([leishman2006] section 5.4). H still raises the
power through the tilt: more drag of the body and more flow through the disc, so less thrust at the same rotational
speed. If part of the measured H is drag of hubs and motors, the power is slightly higher, by at most H V_in.
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
"""Induced power over ideal induced power; 1.10 to 1.15 for rotors (Leishman; TU Munich course notes). [-]"""
PROFILE_GROWTH = 4.65
"""Coefficient of mu^2 in the profile power, in-plane work included ([leishman2006] section 5.4). [-]"""
# 0-d arrays are faster in numpy calls than Python floats
_ZERO, _THIRD, _HALF, _ONE, _TWO, _PI = (np.asarray(x) for x in (0.0, 1.0 / 3.0, 0.5, 1.0, 2.0, np.pi))
_TURN = np.asarray(2.0 * np.pi)
_SMALL, _MOMENTUM_SHARE, _INDUCED, _LEAST_SLOPE = (np.asarray(x) for x in (1e-9, 0.97, INDUCED_FACTOR, 0.05))
_GAIN, _FADE = np.asarray(INPLANE_GAIN), np.asarray(INPLANE_FADE)


@dataclass(frozen=True)
class Airframe:
    """Properties of a build, other than its powertrain, that trim uses: weight [N], and drag areas [m^2]."""

    weight: NDArray
    front: NDArray
    top: NDArray

    @classmethod
    def of(cls, build: Build) -> Airframe:
        front, top = drag_areas(build)
        return cls(weight=build.weight, front=front, top=top)


@dataclass(frozen=True)
class Trim:
    """State of a trim, usable as the initial state of the next one. SI units."""

    rev_per_s: NDArray
    tangent: NDArray
    """Tangent of the tilt. [-]"""
    inplane_force: NDArray
    """In-plane force H of one rotor. [N]"""
    thrust: NDArray
    """Isolated thrust of one rotor, without the loss from the arms. [N]"""
    axial_speed: NDArray
    inplane_speed: NDArray
    profile_power: NDArray
    shaft_power: NDArray


def hover_trim(point: OperatingPoint) -> Trim:
    """Return a hover as the initial state of the first trim."""
    zero = np.zeros_like(point.rev_per_s)
    return Trim(point.rev_per_s, zero, zero, point.thrust, zero, zero, zero, point.shaft_power)


def profile_split(
    d: PreparedPowertrain, n: NDArray, thrust: NDArray, axial_speed: NDArray, c_p: NDArray
) -> tuple[NDArray, NDArray, NDArray]:
    """Return induced factor [-], axial induced velocity [m/s] and profile power [W] of one rotor in axial flow."""
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
    """Solve the equilibrium in level flight at a given speed.

    Parameters
    ----------
    d : PreparedPowertrain
        The powertrain.
    frame : Airframe
        Weight and drag areas.
    speed : ndarray
        True air speed. [m/s]
    start : Trim or None
        Initial state, such as that of a neighbouring speed.
    passes : int
        Largest number of joint fixed-point iterations.
    quick : bool
        True takes fewer inner iterations, for intermediate points of a root search.

    Returns
    -------
    Trim, OperatingPoint
        The state, and the operating point with duty, current and status.
    """
    state = balance(d, frame, speed, start=start, passes=passes, quick=quick)
    torque = state.shaft_power / (2.0 * np.pi * state.rev_per_s)
    return state, electrical(d, state.rev_per_s, torque, state.thrust * d.thrust_share, passes=1 if quick else 2)


def balance(
    d: PreparedPowertrain, frame: Airframe, speed: NDArray, *, start: Trim | None, passes: int, quick: bool
) -> Trim:
    """Solve the mechanical part of :func:`trim`; same parameters."""
    # forces are relative to the weight, thrusts divided by rho D^4
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
    # thrust and power of the same rotational speed: their difference, the profile power, hardly depends on it
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
    # at zero in-plane speed Glauert's v equals the axial one: take it from the split, exact to the last digit
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
    """Solve t = low + H / cos for the tangent t of the tilt by Newton's method; return t and its cosine.

    Forces are relative to the weight. H = gain T pi mu / (1 + c mu) with pi mu = ratio cos and T = cos + high sin: tilt
    and thrust are solved together, at a constant rotational speed in ``ratio``.
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
