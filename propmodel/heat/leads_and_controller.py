"""How warm leads and controllers get, and the current whose heat counts."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base import checks
from propmodel.base.arrays import FloatArray
from propmodel.base.constants import COPPER_RESISTIVITY_20C
from propmodel.base.constants import COPPER_TEMPERATURE_COEFFICIENT as ALPHA
from propmodel.base.status import Status
from propmodel.heat.motor import BELIEVABLE, REFERENCE

__all__ = ["controller_rise", "rms_current", "wire_rise"]


def rms_current(currents: ArrayLike, shares: ArrayLike, *, axis: int = 0) -> FloatArray:
    """Root-mean-square current of a session: heat goes with the square, so the mean current is too kind.

    Parameters
    ----------
    currents : array_like
        Of the parts of a session. [A]
    shares : array_like
        Time shares that add up to 1, broadcast against currents. [-]
    axis : int
        Axis of the parts.

    Returns
    -------
    ndarray
        [A]

    Raises
    ------
    ValueError
        If the shares do not add up to 1 within 1e-6.

    Examples
    --------
    >>> round(float(rms_current([5.0, 30.0], [0.9, 0.1])), 2)
    10.61
    """
    part = checks.check_finite("currents", currents, "A")
    share = checks.check_range("shares", shares, 0.0, 1.0)
    total = np.asarray(share.sum(axis=axis))
    if np.any(np.abs(total - 1.0) > 1e-6):
        raise ValueError(f"shares must add up to 1, got {float(total.flat[0]):.6g}")
    return np.sqrt((part * part * share).sum(axis=axis))


def wire_rise(
    current: ArrayLike,
    *,
    conductor_diameter: ArrayLike,
    insulation: ArrayLike = 0.5e-3,
    film: ArrayLike = 25.0,
    air_temperature: ArrayLike = 293.15,
) -> tuple[FloatArray, NDArray[np.int8]]:
    """Steady rise of a single wire over the air around it, and whether it settles.

    Parameters
    ----------
    current : array_like
        [A]
    conductor_diameter : array_like, > 0
        Of the solid copper equivalent. [m]
    insulation : array_like
        Wall; only its larger surface is counted. [m]
    film : array_like
        Heat transfer; 25 in moving air, 10 in a closed bay (estimates). [W/(m^2 K)]
    air_temperature : array_like
        [K]

    Returns
    -------
    rise : ndarray
        NaN where it never settles. [K]
    status : ndarray of int8

    Examples
    --------
    >>> rise, status = wire_rise(20.0, conductor_diameter=1.63e-3)
    >>> round(float(rise), 1), int(status)
    (17.1, 0)
    """
    i = checks.check_finite("current", current, "A")
    d = checks.check_positive("conductor_diameter", conductor_diameter, "m")
    wall = checks.check_range("insulation", insulation, 0.0, 0.1, "m")
    h = checks.check_positive("film", film, "W/(m2 K)")
    air = checks.check_positive("air_temperature", air_temperature, "K")
    watts = i * i * COPPER_RESISTIVITY_20C / (0.25 * np.pi * d * d)  # per metre, at 20 C
    k = watts / (h * np.pi * (d + 2.0 * wall))
    spare = 1.0 - ALPHA * k
    rise = k * (1.0 + ALPHA * (air - REFERENCE)) / np.where(spare > 0.0, spare, np.nan)
    never = ~(rise + air <= BELIEVABLE)
    return np.where(never, np.nan, rise)[()], np.where(never, np.int8(Status.NEVER_SETTLES), np.int8(0))[()]


def controller_rise(heat: ArrayLike, *, board_area: ArrayLike, film: ArrayLike = 60.0) -> FloatArray:
    """Steady rise of a controller board over the air around it (estimate).

    Parameters
    ----------
    heat : array_like
        Lost in the board. [W]
    board_area : array_like, > 0
        Both faces together. [m^2]
    film : array_like
        60 in propeller wash, 15 in a closed stack (estimates). [W/(m^2 K)]

    Returns
    -------
    ndarray
        [K]

    Examples
    --------
    >>> round(float(controller_rise(6.0, board_area=2 * 0.036**2)), 1)
    38.6
    """
    watts = checks.check_finite("heat", heat, "W")
    area = checks.check_positive("board_area", board_area, "m2")
    return watts / (checks.check_positive("film", film, "W/(m2 K)") * area)
