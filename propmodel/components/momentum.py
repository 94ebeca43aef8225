"""Momentum theory of the ideal rotor disc: the minimum power for a thrust.

Uniform inflow through a disc, no swirl, no profile drag. Speeds are taken along the thrust axis (positive
when the disc moves towards its thrust: a climb) and across it (in the plane of the disc). v_h, the induced
velocity of the same thrust in hover, is the reference: v_h = sqrt(T / (2 rho A)).

A negative thrust is the same flow seen from the other side: its induced velocity has the other sign and the
axial speed counts the other way. NaN in an input gives NaN in the output, so that a build that has no answer
does not stop a sweep.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from propmodel.base.arrays import FloatArray
from propmodel.base.checks import as_floats, check_positive

__all__ = [
    "disc_loading",
    "figure_of_merit",
    "ground_effect_factor",
    "ideal_power",
    "induced_velocity_axial",
    "induced_velocity_edgewise",
    "induced_velocity_hover",
    "inflow_of_climb",
]

# Replaces v_h at zero thrust to avoid a division by zero; the result is multiplied by 0.
_SMALLEST_SPEED = 1e-12  # [m/s]
# Newton steps in the tilted disc: from the start used the error is 4e-4, 2e-8, 7e-16 after 1, 2, 3 steps.
_NEWTON_STEPS = 3
# v / v_h in level flight at V = v_h: the square root of the golden ratio's inverse.
_LEVEL_AT_ONE = np.sqrt((np.sqrt(5.0) - 1.0) / 2.0)
# Below this height the ground-effect formula diverges; the value here is used.
_LOWEST_HEIGHT_IN_RADII = 0.5


def _above_zero(name: str, value: ArrayLike, unit: str) -> FloatArray:
    """Floats above zero, or NaN; anything else is refused with the first offender named."""
    values = as_floats(name, value)
    missing = np.isnan(values)
    if not ((values > 0) & (values < np.inf) | missing).all():
        check_positive(name, np.where(missing, 1.0, values), unit)
    return values


def _hover_speed(thrust: ArrayLike, disc_area: ArrayLike, air_density: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """v_h without sign, and the sign of the thrust."""
    force = as_floats("thrust", thrust)
    area = _above_zero("disc_area", disc_area, "m^2")
    density = _above_zero("air_density", air_density, "kg/m^3")
    return np.sqrt(np.abs(force) / (2.0 * density * area)), np.copysign(1.0, force)


def induced_velocity_hover(thrust: ArrayLike, *, disc_area: ArrayLike, air_density: ArrayLike) -> FloatArray:
    r"""Induced velocity of an ideal disc in hover.

    .. math:: v_h = \sqrt{T / (2 \rho A)}

    Parameters
    ----------
    thrust : array_like
        Thrust of one rotor, T. [N]
    disc_area : array_like, > 0
        A. [m^2]
    air_density : array_like, > 0
        rho. [kg/m^3]

    Returns
    -------
    ndarray
        v_h at the disc, of the sign of the thrust; far below the disc the air moves twice as fast. [m/s]

    Raises
    ------
    ValueError
        If an area or a density is not above zero (NaN passes through).

    Notes
    -----
    [glauert1935]; [leishman2006] chapter 2.

    Examples
    --------
    >>> round(float(induced_velocity_hover(10.0, disc_area=0.05, air_density=1.225)), 3)
    9.035
    """
    hover_speed, sign = _hover_speed(thrust, disc_area, air_density)
    return sign * hover_speed


def _axial_ratio(climb: FloatArray) -> FloatArray:
    """v / v_h against V / v_h along the axis, all four working states."""
    # Climb, x >= 0: -x/2 + sqrt(x^2/4 + 1), written without the cancellation at large x.
    up = 2.0 / (np.maximum(climb, 0.0) + np.sqrt(np.maximum(climb, 0.0) ** 2 + 4.0))
    if not (climb < 0.0).any():
        return up
    # Descent in the own wash, -2 < x < 0: fit to measurements, momentum theory has no answer.
    x = np.clip(climb, -2.0, 0.0)
    own_wash = 1.0 + x * (-1.125 + x * (-1.372 + x * (-1.718 - 0.655 * x)))
    # Windmill brake, x <= -2: -x/2 - sqrt(x^2/4 - 1), again without the cancellation.
    fast = np.minimum(climb, -2.0)
    brake = 2.0 / (-fast + np.sqrt(fast * fast - 4.0))
    return np.where(climb <= -2.0, brake, np.where(climb < 0.0, own_wash, up))


def induced_velocity_axial(
    thrust: ArrayLike, speed: ArrayLike, *, disc_area: ArrayLike, air_density: ArrayLike
) -> FloatArray:
    r"""Induced velocity of an ideal disc that moves along its own axis.

    With :math:`x = V / v_h`:

    .. math:: v / v_h = -x/2 + \sqrt{x^2/4 + 1} \quad (x \ge 0)
    .. math:: v / v_h = 1 - 1.125 x - 1.372 x^2 - 1.718 x^3 - 0.655 x^4 \quad (-2 < x < 0)
    .. math:: v / v_h = -x/2 - \sqrt{x^2/4 - 1} \quad (x \le -2)

    Parameters
    ----------
    thrust : array_like
        Thrust of one rotor, T. [N]
    speed : array_like
        Speed along the axis, V; positive climbs, negative sinks. [m/s]
    disc_area : array_like, > 0
        A. [m^2]
    air_density : array_like, > 0
        rho. [kg/m^3]

    Returns
    -------
    ndarray
        v at the disc. [m/s]

    Raises
    ------
    ValueError
        If an area or a density is not above zero (NaN passes through).

    Notes
    -----
    Climb and windmill brake are exact momentum theory ([glauert1935]). Between them the disc sinks into its
    own wash, momentum theory has no answer, and the middle line is a fit to measured mean values quoted in
    [leishman2006] section 2.13.4: the real flow there is unsteady and the thrust wanders. The fit ends at
    1.026 where the windmill brake begins at 1: that step is in the source.

    Examples
    --------
    >>> v_h = induced_velocity_hover(10.0, disc_area=0.05, air_density=1.225)
    >>> climbing = induced_velocity_axial(10.0, v_h, disc_area=0.05, air_density=1.225)
    >>> round(float(climbing / v_h), 6)
    0.618034
    """
    hover_speed, sign = _hover_speed(thrust, disc_area, air_density)
    climb = sign * as_floats("speed", speed) / np.maximum(hover_speed, _SMALLEST_SPEED)
    return sign * hover_speed * _axial_ratio(climb)


def _newton(start: FloatArray, climb: FloatArray, across_squared: FloatArray, steps: int) -> FloatArray:
    """Fixed number of Newton steps on u sqrt(m^2 + (x + u)^2) = 1: no powers, no branches."""
    # Written into a few buffers: fresh temporaries cost more than the arithmetic in a sweep.
    u = np.asarray(start)  # changed in place: made for this
    through, total, flow = np.empty_like(u), np.empty_like(u), np.empty_like(u)
    for _ in range(steps):
        np.add(climb, u, out=through)
        np.multiply(through, through, out=total)
        np.add(total, across_squared, out=total)
        np.sqrt(total, out=flow)
        # Step: (u flow - 1) flow / (total + u through)
        np.multiply(through, u, out=through)
        np.add(total, through, out=total)
        np.multiply(u, flow, out=through)
        np.subtract(through, 1.0, out=through)
        np.multiply(through, flow, out=through)
        np.divide(through, total, out=through)
        np.subtract(u, through, out=u)
    return u[()]


def _tilted_ratio(climb: FloatArray, across_squared: FloatArray) -> FloatArray:
    """Root u of u sqrt(m^2 + (x + u)^2) = 1 for x >= 0."""
    # The start is exact on both axes (m = 0 and x = 0) and at most 14 % low between them.
    half = 0.5 * climb
    level = 0.25 * across_squared
    level *= across_squared
    level += 1.0
    level = np.sqrt(level)
    level += 0.5 * across_squared
    level = np.sqrt(level + half * half)
    level += half
    return _newton(1.0 / level, climb, across_squared, _NEWTON_STEPS)


def _sinking_ratio(climb: FloatArray, across_squared: FloatArray) -> FloatArray:
    """The same for x < 0: Glauert where m >= 1, and below that weighted towards the axial descent."""
    # At m >= 1 there is one root only, whatever x.
    beside = np.maximum(across_squared, 1.0)
    level = 1.0 / np.sqrt(0.5 * beside + np.sqrt(0.25 * beside * beside + 1.0))
    start = np.minimum(1.0 / np.sqrt(beside + (climb + 0.5 * level) ** 2), 1.0)
    glauert = _newton(start, climb, beside, _NEWTON_STEPS + 1)
    # Weight 1 at m = 0 and 0 from m = 1, shaped so that x -> 0 meets Glauert's level value at every m.
    inner = np.minimum(across_squared, 1.0)
    level_here = 1.0 / np.sqrt(0.5 * inner + np.sqrt(0.25 * inner * inner + 1.0))
    weight = (level_here - _LEVEL_AT_ONE) / (1.0 - _LEVEL_AT_ONE)
    return weight * _axial_ratio(climb) + (1.0 - weight) * glauert


def induced_velocity_edgewise(
    thrust: ArrayLike,
    axial_speed: ArrayLike,
    inplane_speed: ArrayLike,
    *,
    disc_area: ArrayLike,
    air_density: ArrayLike,
) -> FloatArray:
    r"""Induced velocity of an ideal disc in forward flight, level or tilted (Glauert).

    .. math:: v_h^2 = v \sqrt{V_{in}^2 + (V_{ax} + v)^2}

    Parameters
    ----------
    thrust : array_like
        Thrust of one rotor, T. [N]
    axial_speed : array_like
        Speed along the thrust axis, V_ax = V sin(tilt) in level flight; negative sinks. [m/s]
    inplane_speed : array_like
        Speed in the plane of the disc, V_in = V cos(tilt); its sign does not matter. [m/s]
    disc_area : array_like, > 0
        A. [m^2]
    air_density : array_like, > 0
        rho. [kg/m^3]

    Returns
    -------
    ndarray
        v at the disc. [m/s]

    Raises
    ------
    ValueError
        If an area or a density is not above zero (NaN passes through).

    Notes
    -----
    [glauert1935]. With V_ax >= 0 the root is unique and found to rounding error; it is the hover value at
    rest and the axial climb at V_in = 0. Sinking (V_ax < 0) with V_in of v_h or more is the same formula.
    Sinking with less than that, the disc is near its own wash: there the value is an **estimate**, weighted
    between ``induced_velocity_axial`` at V_in = 0 and Glauert at V_in = v_h such that level flight is met
    exactly; no published measurement stands behind it.

    Examples
    --------
    >>> v_h = induced_velocity_hover(10.0, disc_area=0.05, air_density=1.225)
    >>> level = induced_velocity_edgewise(10.0, 0.0, v_h, disc_area=0.05, air_density=1.225)
    >>> round(float(level / v_h), 6)
    0.786151
    """
    hover_speed, sign = _hover_speed(thrust, disc_area, air_density)
    yardstick = 1.0 / np.maximum(hover_speed, _SMALLEST_SPEED)
    climb = sign * as_floats("axial_speed", axial_speed) * yardstick
    across_squared = (as_floats("inplane_speed", inplane_speed) * yardstick) ** 2
    sinking = climb < 0.0
    ratio = _tilted_ratio(np.maximum(climb, 0.0), across_squared)
    if sinking.any():
        climb, across_squared, sinking, ratio = np.broadcast_arrays(climb, across_squared, sinking, ratio)
        ratio = ratio.copy()
        ratio[sinking] = _sinking_ratio(climb[sinking], across_squared[sinking])
    return sign * hover_speed * ratio


def inflow_of_climb(
    thrust: FloatArray,
    axial_speed: FloatArray,
    inplane_speed: FloatArray,
    *,
    disc_area: FloatArray,
    air_density: FloatArray,
) -> FloatArray:
    """`induced_velocity_edgewise` where no thrust or axial speed is below zero: unchecked, for the inside of a trim.

    Parameters
    ----------
    thrust : ndarray, >= 0
        Thrust of one rotor. [N]
    axial_speed, inplane_speed : ndarray
        Axial speed >= 0. [m/s]
    disc_area, air_density : ndarray, > 0
        [m^2], [kg/m^3]

    Returns
    -------
    ndarray
        v at the disc. [m/s]

    Examples
    --------
    >>> round(float(inflow_of_climb(*(np.asarray(x) for x in (10.0, 2.0, 5.0)), disc_area=0.05, air_density=1.225)), 3)
    7.564
    """
    hover_speed = np.sqrt(thrust / (2.0 * air_density * disc_area))
    yardstick = 1.0 / np.maximum(hover_speed, _SMALLEST_SPEED)
    across = inplane_speed * yardstick
    across *= across
    return hover_speed * _tilted_ratio(axial_speed * yardstick, across)


def ideal_power(
    thrust: ArrayLike,
    axial_speed: ArrayLike = 0.0,
    *,
    inplane_speed: ArrayLike = 0.0,
    disc_area: ArrayLike,
    air_density: ArrayLike,
) -> FloatArray:
    r"""Shaft power of an ideal disc: the minimum for this thrust and this disc.

    .. math:: P = T (V_{ax} + v)

    Parameters
    ----------
    thrust : array_like
        Thrust of one rotor, T. [N]
    axial_speed : array_like, default 0
        Speed along the thrust axis, V_ax; positive climbs. [m/s]
    inplane_speed : array_like, default 0
        Speed in the plane of the disc, V_in. [m/s]
    disc_area : array_like, > 0
        A. [m^2]
    air_density : array_like, > 0
        rho. [kg/m^3]

    Returns
    -------
    ndarray
        P of one rotor; negative where the air drives the disc. [W]

    Raises
    ------
    ValueError
        If an area or a density is not above zero (NaN passes through).

    Notes
    -----
    [glauert1935]; the induced velocity is that of ``induced_velocity_edgewise``, with its limits.

    Examples
    --------
    >>> round(float(ideal_power(10.0, disc_area=0.05, air_density=1.225)), 2)
    90.35
    """
    through = induced_velocity_edgewise(
        thrust, axial_speed, inplane_speed, disc_area=disc_area, air_density=air_density
    )
    return np.asarray(thrust, dtype=np.float64) * (np.asarray(axial_speed, dtype=np.float64) + through)


def figure_of_merit(
    thrust: ArrayLike, shaft_power: ArrayLike, *, disc_area: ArrayLike, air_density: ArrayLike
) -> FloatArray:
    r"""Figure of merit: ideal hover power over shaft power.

    .. math:: FM = T v_h / P

    Parameters
    ----------
    thrust : array_like
        Thrust of one rotor in still air, T. [N]
    shaft_power : array_like, > 0
        Mechanical power at the shaft, P. [W]
    disc_area : array_like, > 0
        A. [m^2]
    air_density : array_like, > 0
        rho. [kg/m^3]

    Returns
    -------
    ndarray
        FM; nothing real reaches 1. [-]

    Raises
    ------
    ValueError
        If a power, an area or a density is not above zero (NaN passes through).

    Notes
    -----
    [leishman2006] chapter 2.

    Examples
    --------
    >>> round(float(figure_of_merit(10.0, 150.0, disc_area=0.05, air_density=1.225)), 3)
    0.602
    """
    power = _above_zero("shaft_power", shaft_power, "W")
    hover_speed, _ = _hover_speed(thrust, disc_area, air_density)
    return np.abs(np.asarray(thrust, dtype=np.float64)) * hover_speed / power


def disc_loading(thrust: ArrayLike, *, disc_area: ArrayLike) -> FloatArray:
    """Disc loading T / A: the lower it is, the less power a newton of thrust requires.

    Parameters
    ----------
    thrust : array_like
        Thrust, T, of one rotor or of all. [N]
    disc_area : array_like, > 0
        Area of the same rotors, A. [m^2]

    Returns
    -------
    ndarray
        T / A. [N/m^2]

    Raises
    ------
    ValueError
        If an area is not above zero (NaN passes through).

    Notes
    -----
    Definition; [leishman2006] chapter 2.

    Examples
    --------
    >>> round(float(disc_loading(10.0, disc_area=0.05)), 1)
    200.0
    """
    return as_floats("thrust", thrust) / _above_zero("disc_area", disc_area, "m^2")


def ground_effect_factor(height: ArrayLike, *, rotor_radius: ArrayLike) -> FloatArray:
    r"""Thrust near the ground over thrust away from it, at the same shaft power.

    .. math:: T_{near} / T_{far} = 1 / [1 - (R / 4 z)^2]

    Parameters
    ----------
    height : array_like, > 0
        Height of the disc above level ground, z. [m]
    rotor_radius : array_like, > 0
        R. [m]

    Returns
    -------
    ndarray
        Factor, 1 far from the ground. Below z = R/2 the formula diverges and its value there is used,
        1.333. [-]

    Raises
    ------
    ValueError
        If a height or a radius is not above zero (NaN passes through).

    Notes
    -----
    [cheeseman1955], one rotor. A whole craft gains more: about 1.4 near z = R, gone by z = 5 R to 6 R, see
    [sanchez2017].

    Examples
    --------
    >>> round(float(ground_effect_factor(0.127, rotor_radius=0.127)), 4)
    1.0667
    """
    radii = _above_zero("height", height, "m") / _above_zero("rotor_radius", rotor_radius, "m")
    return 1.0 / (1.0 - (0.25 / np.maximum(radii, _LOWEST_HEIGHT_IN_RADII)) ** 2)
