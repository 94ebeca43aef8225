"""What else gets warm: pack, leads and controller, and the current whose heat counts."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base import checks
from propmodel.base.arrays import FloatArray
from propmodel.base.constants import COPPER_RESISTIVITY_20C
from propmodel.base.constants import COPPER_TEMPERATURE_COEFFICIENT as ALPHA
from propmodel.base.status import Status
from propmodel.heat.motor import MOST_BELIEVABLE_TEMPERATURE, REFERENCE

__all__ = ["PACK_HEAT", "controller_rise", "pack_cooling", "pack_temperature_rate", "rms_current", "wire_rise"]

PACK_HEAT = 1000.0
"""Specific heat of a pouch pack (estimate). [J/(kg K)]"""


def rms_current(currents: ArrayLike, shares: ArrayLike, *, axis: int = 0) -> FloatArray:
    """Root-mean-square current of a session with several parts.

    Ohmic heat is proportional to the square of the current, so the mean current underestimates it.

    Parameters
    ----------
    currents : array_like
        Current in each part of the session. [A]
    shares : array_like
        Share of the time of each part, adding up to 1; broadcast against ``currents``. [-]
    axis : int
        Axis of the parts.

    Returns
    -------
    ndarray
        RMS current, of the broadcast shape without ``axis``. [A]

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


def pack_temperature_rate(
    current: ArrayLike, *, resistance: ArrayLike, mass: ArrayLike, specific_heat: ArrayLike = PACK_HEAT
) -> FloatArray:
    """Rate of rise of the pack temperature at a constant current without cooling (adiabatic).

    Parameters
    ----------
    current, resistance, mass : array_like
        Current [A], resistance [ohm] and mass [kg] of the whole pack.
    specific_heat : array_like
        Specific heat of the pack, about 1000 (estimate). [J/(kg K)]

    Returns
    -------
    ndarray
        Rate, of the broadcast shape. [K/s]

    Examples
    --------
    >>> round(60.0 * float(pack_temperature_rate(100.0, resistance=0.03, mass=0.21)), 1)
    85.7
    """
    i = checks.check_finite("current", current, "A")
    r = checks.check_range("resistance", resistance, 0.0, 1e6, "ohm")
    m = checks.check_positive("mass", mass, "kg")
    return i * i * r / (m * checks.check_positive("specific_heat", specific_heat, "J/(kg K)"))


def wire_rise(
    current: ArrayLike,
    *,
    conductor_diameter: ArrayLike,
    insulation: ArrayLike = 0.5e-3,
    film: ArrayLike = 25.0,
    air_temperature: ArrayLike = 293.15,
) -> tuple[FloatArray, NDArray[np.int8]]:
    """Steady temperature rise of a single wire above the surrounding air, and its status.

    Parameters
    ----------
    current : array_like
        RMS current. [A]
    conductor_diameter : array_like, > 0
        Diameter of a solid copper conductor of the same cross-section. [m]
    insulation : array_like
        Thickness of the insulation. It enters only through the larger surface. [m]
    film : array_like
        Heat transfer coefficient; 25 in moving air, 10 in a closed bay (estimates). [W/(m^2 K)]
    air_temperature : array_like
        Temperature of the air. [K]

    Returns
    -------
    rise : ndarray
        Rise, of the broadcast shape; NaN where there is no steady state. [K]
    status : ndarray of int8
        Code of `Status`, same shape.

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
    never = ~(rise + air <= MOST_BELIEVABLE_TEMPERATURE)
    return np.where(never, np.nan, rise)[()], np.where(never, np.int8(Status.NEVER_SETTLES), np.int8(0))[()]


def controller_rise(heat: ArrayLike, *, board_area: ArrayLike, film: ArrayLike = 60.0) -> FloatArray:
    """Steady temperature rise of a controller board above the surrounding air (estimate).

    Parameters
    ----------
    heat : array_like
        Power loss in the board. [W]
    board_area : array_like, > 0
        Area of both faces together. [m^2]
    film : array_like
        Heat transfer coefficient; 60 in propeller wash, 15 in a closed stack (estimates). [W/(m^2 K)]

    Returns
    -------
    ndarray
        Rise, of the broadcast shape. [K]

    Examples
    --------
    >>> round(float(controller_rise(6.0, board_area=2 * 0.036**2)), 1)
    38.6
    """
    watts = checks.check_finite("heat", heat, "W")
    area = checks.check_positive("board_area", board_area, "m2")
    return watts / (checks.check_positive("film", film, "W/(m2 K)") * area)


PACK_FILM = 20.0
"""Heat transfer coefficient from a strapped pack to moving air, over its whole surface. It includes the effect of
shrink tube, straps and frame. [W/(m^2 K)] Estimate, within a factor of two: for the demo craft this factor changes the
flight time by up to 1 %, and makes the pack 2 to 8 K warmer or up to 11 K cooler at landing."""
PACK_DENSITY, PACK_SHAPE = 2000.0, 6.5
"""Density of a pack [kg/m^3], and its surface over volume^(2/3): 6 for a cube, 6.3 to 7 for usual packs. [-]
Estimates."""


def pack_cooling(mass: ArrayLike) -> NDArray[np.float64]:
    """Thermal conductance from a pack to the air, estimated from its mass.

    Parameters
    ----------
    mass : array_like, > 0
        Mass of the pack. [kg]

    Returns
    -------
    ndarray
        Conductance, same shape; within a factor of two. [W/K]

    Examples
    --------
    >>> round(float(pack_cooling(0.205)), 2)
    0.28
    """
    side = np.cbrt(checks.check_positive("mass", mass, "kg") / PACK_DENSITY)
    return np.asarray(PACK_FILM * PACK_SHAPE * (side * side))
