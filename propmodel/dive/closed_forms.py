"""Closed-form solutions for a fall, an arrest and a pull-up of a point mass.

Drag is quadratic and is given by the terminal speed (``inf`` for no drag). ``load`` is thrust over weight. All
functions broadcast. A load of 1 or less cannot arrest a descent and gives NaN.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base import checks
from propmodel.base.constants import STANDARD_GRAVITY as G0

__all__ = [
    "arrest_height",
    "circle_pull_up_height",
    "cosine_and_sine",
    "fall_drop",
    "fall_on",
    "fall_speed",
    "fall_time",
    "free_pull_up",
    "held_speed_pull_up_height",
    "pull_up_with_drag",
    "terminal_speed",
]

# Gauss-Legendre on 0..1: the pull-up integral is exact to 1e-5 from a load of 1.5, and to 2e-4 at 1.2 (tested)
_NODES, _WEIGHTS = (
    (np.polynomial.legendre.leggauss(6)[0] + 1.0) / 2.0,
    np.polynomial.legendre.leggauss(6)[1] / 2.0,
)


def _inverse_square(speed: Any) -> NDArray[np.float64]:
    """Return 1 / v_t^2, zero for no drag; raise ValueError for NaN and for values that are not positive."""
    values = checks.as_floats("terminal_speed", speed)
    checks.check_positive("terminal_speed", np.where(values == np.inf, 1.0, values), "m/s")
    return 1.0 / (values * values)


def _not_negative(name: str, value: Any, unit: str) -> NDArray[np.float64]:
    return checks.check_range(name, value, 0.0, 1e9, unit)


def _ratio(numerator: Any, x: Any, limit: Any) -> NDArray[np.float64]:
    """Return numerator / x, or ``limit`` where x is too small for the division."""
    small = np.abs(x) < 1e-12
    return np.where(small, limit, numerator / np.where(small, 1.0, x))


def cosine_and_sine(angle: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Cosine and sine from the tangent of the half angle, which numpy computes faster.

    Parameters
    ----------
    angle : array_like
        Angle from -pi to pi. [rad]

    Returns
    -------
    cosine, sine : ndarray
        Within 2e-16 of ``numpy.cos`` and ``numpy.sin``.

    Examples
    --------
    >>> [round(float(x), 12) for x in cosine_and_sine(np.pi / 3)]
    [0.5, 0.866025403784]
    """
    half = np.tan(0.5 * np.asarray(angle, dtype=np.float64))
    square = half * half
    below = 1.0 + square
    return (1.0 - square) / below, (half + half) / below


def _above_one(load: Any) -> NDArray[np.float64]:
    """Replace loads of 1 or less by NaN."""
    values = checks.as_floats("load", load)
    return np.where(values > 1.0, values, np.nan)


def terminal_speed(mass: ArrayLike, drag_area: ArrayLike, *, air_density: ArrayLike) -> NDArray[np.float64]:
    r"""Terminal speed of a fall, :math:`\sqrt{2 m g / (\rho f)}`.

    Parameters
    ----------
    mass, drag_area : array_like
        Mass m, > 0 [kg], and drag area f = C_D A, >= 0 [m^2]; 0 gives inf.
    air_density : array_like, > 0
        Density of the air. [kg/m^3]

    Returns
    -------
    ndarray
        Terminal speed, of the broadcast shape. [m/s]

    Examples
    --------
    >>> round(float(terminal_speed(1.5, 0.02, air_density=1.225)), 2)
    34.65
    """
    area = _not_negative("drag_area", drag_area, "m2")
    weight = 2.0 * G0 * checks.check_positive("mass", mass, "kg")
    with np.errstate(divide="ignore"):
        return np.sqrt(weight / (checks.check_positive("air_density", air_density, "kg/m3") * area))


def fall_speed(drop: ArrayLike, *, terminal_speed: ArrayLike = np.inf) -> NDArray[np.float64]:
    """Speed after a vertical fall from rest, v = v_t sqrt(1 - exp(-2 g h / v_t^2)).

    Parameters
    ----------
    drop : array_like, >= 0
        Height of the fall, h. [m]
    terminal_speed : array_like, > 0
        v_t, inf for no drag. [m/s]

    Returns
    -------
    ndarray
        Speed, of the broadcast shape. [m/s]

    Examples
    --------
    >>> round(float(fall_speed(50.0, terminal_speed=20.0)), 2)
    19.12
    """
    energy = 2.0 * G0 * _not_negative("drop", drop, "m")
    x = energy * _inverse_square(terminal_speed)
    return np.sqrt(energy * _ratio(-np.expm1(-x), x, 1.0))


def fall_drop(speed: ArrayLike, *, terminal_speed: ArrayLike = np.inf) -> NDArray[np.float64]:
    """Height of a vertical fall from rest to a given speed; inf at and above the terminal speed.

    Parameters
    ----------
    speed, terminal_speed : array_like
        Speed at the end, and v_t. [m/s]

    Returns
    -------
    ndarray
        Height, of the broadcast shape. [m]

    Examples
    --------
    >>> round(float(fall_drop(19.12, terminal_speed=20.0)), 1)
    50.0
    """
    square = _not_negative("speed", speed, "m/s") ** 2
    x = square * _inverse_square(terminal_speed)
    with np.errstate(divide="ignore"):
        return square / (2.0 * G0) * _ratio(-np.log1p(-np.minimum(x, 1.0)), x, 1.0)


def fall_time(speed: ArrayLike, *, terminal_speed: ArrayLike = np.inf) -> NDArray[np.float64]:
    """Time of a vertical fall from rest to a given speed, t = (v_t / g) atanh(v / v_t).

    Parameters
    ----------
    speed, terminal_speed : array_like
        Speed at the end, and v_t. [m/s]

    Returns
    -------
    ndarray
        Time, of the broadcast shape; inf at and above the terminal speed. [s]

    Examples
    --------
    >>> round(float(fall_time(19.0, terminal_speed=20.0)), 2)
    3.74
    """
    v = _not_negative("speed", speed, "m/s")
    x = v * np.sqrt(_inverse_square(terminal_speed))
    with np.errstate(divide="ignore"):
        return v / G0 * _ratio(np.arctanh(np.minimum(x, 1.0)), x, 1.0)


def fall_on(
    speed: ArrayLike, time: ArrayLike, *, terminal_speed: ArrayLike = np.inf
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Speed and height lost after a further time of vertical fall, also from above the terminal speed.

    Parameters
    ----------
    speed : array_like, >= 0
        Downward speed at the start. [m/s]
    time : array_like, >= 0
        Duration of the fall. [s]
    terminal_speed : array_like, > 0
        v_t, inf for no drag. [m/s]

    Returns
    -------
    speed, height : ndarray
        Speed at the end [m/s], and height lost [m], of the broadcast shape.

    Examples
    --------
    >>> [round(float(x), 3) for x in fall_on(20.0, 0.5)]
    [24.903, 11.226]
    """
    v = _not_negative("speed", speed, "m/s")
    t = _not_negative("time", time, "s")
    b = _inverse_square(terminal_speed)
    root = np.sqrt(b)
    tau = G0 * t * root
    gained = G0 * t * _ratio(np.tanh(tau), tau, 1.0)
    half = np.sinh(0.5 * tau)
    height = _ratio(np.log1p(2.0 * half * half + v * root * np.sinh(tau)), G0 * b, v * t + 0.5 * G0 * t * t)
    return (v + gained) / (1.0 + v * b * gained), height[()]


def arrest_height(speed: ArrayLike, load: ArrayLike, *, terminal_speed: ArrayLike = np.inf) -> NDArray[np.float64]:
    """Height lost while a vertical descent is stopped with upward thrust.

    Without drag v^2 / (2 g (n - 1)), with drag (v_t^2 / 2 g) ln[1 + v^2 / (v_t^2 (n - 1))].

    Parameters
    ----------
    speed : array_like, >= 0
        Descent speed v. [m/s]
    load : array_like
        Thrust over weight, n. [-]
    terminal_speed : array_like, > 0
        v_t in the attitude of the arrest. [m/s]

    Returns
    -------
    ndarray
        Height, of the broadcast shape; NaN where the load is 1 or less. [m]

    Examples
    --------
    >>> [round(float(arrest_height(20.0, 3.0, terminal_speed=v)), 2) for v in (np.inf, 30.0)]
    [10.2, 9.21]
    """
    square = _not_negative("speed", speed, "m/s") ** 2 / (_above_one(load) - 1.0)
    x = square * _inverse_square(terminal_speed)
    return square / (2.0 * G0) * _ratio(np.log1p(x), x, 1.0)


def circle_pull_up_height(
    speed: ArrayLike, load: ArrayLike, *, dive_angle: ArrayLike = np.pi / 2
) -> NDArray[np.float64]:
    """Height of a pull-up on a circle at constant speed, with the radius from the load at the bottom.

    Parameters
    ----------
    speed, load : array_like
        Speed v [m/s], and thrust over weight at the bottom, n [-].
    dive_angle : array_like
        Angle of the path below the horizon, gamma. [rad]

    Returns
    -------
    ndarray
        v^2 (1 - cos gamma) / (g (n - 1)), of the broadcast shape; NaN where the load is 1 or less. [m]

    Examples
    --------
    >>> round(float(circle_pull_up_height(20.0, 3.0)), 2)
    20.39
    """
    return (
        _not_negative("speed", speed, "m/s") ** 2
        * (1.0 - np.cos(checks.as_floats("dive_angle", dive_angle)))
        / (G0 * (_above_one(load) - 1.0))
    )


def held_speed_pull_up_height(
    speed: ArrayLike, load: ArrayLike, *, dive_angle: ArrayLike = np.pi / 2
) -> NDArray[np.float64]:
    """Height of a pull-up at constant load and constant speed, (v^2 / g) ln[(n - cos gamma) / (n - 1)].

    Parameters
    ----------
    speed, load, dive_angle : array_like
        Speed v [m/s], thrust over weight n [-], and angle of the path below the horizon gamma [rad].

    Returns
    -------
    ndarray
        Height, of the broadcast shape; NaN where the load is 1 or less. [m]

    Examples
    --------
    >>> round(float(held_speed_pull_up_height(20.0, 3.0)), 2)
    16.54
    """
    n = _above_one(load)
    return (
        _not_negative("speed", speed, "m/s") ** 2
        / G0
        * np.log((n - np.cos(checks.as_floats("dive_angle", dive_angle))) / (n - 1.0))
    )


def free_pull_up(
    speed: ArrayLike, load: ArrayLike, *, dive_angle: ArrayLike = np.pi / 2
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Speed at the bottom and height of a pull-up at constant load without drag.

    The speed increases on the way: v (n - cos gamma) is constant, and energy is conserved.

    Parameters
    ----------
    speed, load, dive_angle : array_like
        Initial speed v [m/s], thrust over weight n [-], and angle of the path below the horizon gamma [rad].

    Returns
    -------
    bottom_speed, height : ndarray
        Speed [m/s] and height [m], of the broadcast shape; NaN where the load is 1 or less.

    Examples
    --------
    >>> [round(float(x), 2) for x in free_pull_up(20.0, 3.0)]
    [30.0, 25.49]
    """
    v = _not_negative("speed", speed, "m/s")
    n = _above_one(load)
    bottom = v * (n - np.cos(checks.as_floats("dive_angle", dive_angle))) / (n - 1.0)
    return bottom, (bottom * bottom - v * v) / (2.0 * G0)


def pull_up_with_drag(
    speed: ArrayLike,
    load: ArrayLike,
    *,
    dive_angle: ArrayLike = np.pi / 2,
    terminal_speed: ArrayLike = np.inf,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    r"""Bottom speed, height and time of a pull-up at constant load with quadratic drag.

    Parameters
    ----------
    speed, load, dive_angle : array_like
        Initial speed [m/s], thrust over weight n [-], and angle of the path below the horizon gamma [rad].
    terminal_speed : array_like, > 0
        Terminal speed v_t of a vertical fall in the attitude of the pull-up. [m/s]

    Returns
    -------
    bottom_speed, height, time : ndarray
        Speed [m/s], height [m] and time [s], of the broadcast shape; NaN where the load is 1 or less.

    Notes
    -----
    Own derivation. Along the path, with w = v^2 and b = 1/v_t^2,
    :math:`dw/d\gamma = -2 w (\sin\gamma - b w) / (n - \cos\gamma)`, a Bernoulli equation. With
    :math:`\cos\gamma = (1 + n \cos E) / (n + \cos E)` (so :math:`d\gamma/(n-\cos\gamma) = dE/\sqrt{n^2-1}`)
    it integrates to

    .. math::

        w = w_0 \frac{((n + \cos E)/(n + \cos E_0))^2}
        {1 + 2 b w_0 (Q_0 - Q)/(\sqrt{n^2-1}(n+\cos E_0)^2)}

    with :math:`Q = (n^2 + 1/2) E + 2 n \sin E + (1/2) \sin E \cos E`; height and time are six-point Gauss
    sums over E. Without drag it is `free_pull_up`.

    Examples
    --------
    >>> [round(float(x), 2) for x in pull_up_with_drag(20.0, 3.0, terminal_speed=30.0)]
    [20.98, 19.5, 1.5]
    """
    n = _above_one(load)
    square = _not_negative("speed", speed, "m/s") ** 2
    cosine, _ = cosine_and_sine(checks.check_range("dive_angle", dive_angle, 0.0, np.pi, "rad"))
    root = np.sqrt(n * n - 1.0)
    cos_0 = (n * cosine - 1.0) / (n - cosine)
    e_0 = np.arccos(np.clip(cos_0, -1.0, 1.0))
    far = 1.0 / (n + cos_0) ** 2
    drag = 2.0 * _inverse_square(terminal_speed) * square * far / root
    straight = n * n + 0.5
    q_0 = straight * e_0 + np.sqrt(np.maximum(1.0 - cos_0 * cos_0, 0.0)) * (2.0 * n + 0.5 * cos_0)
    start = square * far
    height = 0.0
    time = 0.0
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        e = e_0 * node
        c, s = cosine_and_sine(e)
        near = n + c
        w = start * near * near / (1.0 + drag * (q_0 - straight * e - s * (2.0 * n + 0.5 * c)))
        height = height + weight * w * s / near
        time = time + weight * np.sqrt(w)
    bottom = np.sqrt(start * (n + 1.0) ** 2 / (1.0 + drag * q_0))
    return bottom, height * e_0 / G0, time * e_0 / (G0 * root)
