"""Speed of longest endurance (least power) and speed of longest range (least power over speed)."""

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
    """Speeds of longest endurance and of longest range, in SI units.

    Parameters
    ----------
    endurance_speed, endurance_power : ndarray
        Longest endurance: the minimum of power against speed. [m/s, W]
    range_speed, range_power : ndarray
        Longest range: the minimum of power over speed. [m/s, W]
    power_ratio : ndarray
        Power at the speed of longest endurance over hover power. [-]
    """

    endurance_speed: NDArray
    endurance_power: NDArray
    range_speed: NDArray
    range_power: NDArray
    power_ratio: NDArray


def best_speeds(build: Build, *, state_of_charge: ArrayLike = 1.0, points: int = 41) -> BestSpeeds:
    """Find the speeds of longest endurance and of longest range in level flight.

    Parameters
    ----------
    build : Build
        Its fields may be arrays.
    state_of_charge : array_like
        State of charge, 0 to 1. [-]
    points : int
        Number of speeds between hover and top speed, 3 to 10001. A parabola through the best three refines the result.

    Returns
    -------
    BestSpeeds
        Of the broadcast shape of build and state of charge.

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
    """Minimum along the last axis, from the parabola through the smallest value and its neighbours.

    Parameters
    ----------
    x, y : ndarray, shape (..., points)
        Three or more points of a curve; x evenly spaced.

    Returns
    -------
    (x, y) : tuple of ndarray, shape (...)
        The minimum, within one step of the smallest value.
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
