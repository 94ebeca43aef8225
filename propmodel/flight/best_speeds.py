"""Speeds of least power and of most distance for the charge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import Build, with_axis
from propmodel.base.checks import check_number, check_range
from propmodel.flight.top_speed import top_speed
from propmodel.flight.trim import Airframe, trim
from propmodel.powertrain.prepared import prepare

__all__ = ["BestSpeeds", "best_speeds", "lowest_point"]


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
