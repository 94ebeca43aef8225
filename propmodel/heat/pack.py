"""Heat of the pack: what its loss warms it by, what it gives off to the air; `flight.endurance` walks down a flight."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base import checks
from propmodel.base.arrays import FloatArray

__all__ = ["PACK_HEAT", "pack_cooling", "pack_temperature_rate"]

PACK_HEAT = 1000.0
"""Specific heat of a pouch pack (estimate). [J/(kg K)]"""
PACK_FILM = 20.0
"""Heat transfer from a strapped pack to moving air, over all of its surface: shrink tube, straps and the frame below
it are in this. Estimate, half to twice as much: flights of the demo craft then last up to 1 % longer or shorter, and
their packs come down 2 to 8 K warmer or up to 11 K cooler. [W/(m^2 K)]"""
PACK_DENSITY, PACK_SHAPE = 2000.0, 6.5
"""Mass over volume of a pack [kg/m^3], and its surface over volume^(2/3): 6 for a cube, 6.3 to 7 for the bricks that
are flown. Estimates. [-]"""


def pack_cooling(mass: ArrayLike) -> NDArray[np.float64]:
    """Heat that a pack gives off for each kelvin above the air.

    Parameters
    ----------
    mass : array_like, > 0
        [kg]

    Returns
    -------
    ndarray
        Estimate, half to twice as much. [W/K]

    Examples
    --------
    >>> round(float(pack_cooling(0.205)), 2)
    0.28
    """
    side = np.cbrt(checks.check_positive("mass", mass, "kg") / PACK_DENSITY)
    return np.asarray(PACK_FILM * PACK_SHAPE * (side * side))


def pack_temperature_rate(
    current: ArrayLike, *, resistance: ArrayLike, mass: ArrayLike, specific_heat: ArrayLike = PACK_HEAT
) -> FloatArray:
    """Rise of the pack temperature per second at one current, no heat given off.

    Parameters
    ----------
    current, resistance, mass : array_like
        [A], whole pack [ohm], [kg]
    specific_heat : array_like
        About 1000 (estimate). [J/(kg K)]

    Returns
    -------
    ndarray
        Multiply by 60 for kelvin a minute. [K/s]

    Examples
    --------
    >>> round(60.0 * float(pack_temperature_rate(100.0, resistance=0.03, mass=0.21)), 1)
    85.7
    """
    i = checks.check_finite("current", current, "A")
    r = checks.check_range("resistance", resistance, 0.0, 1e6, "ohm")
    m = checks.check_positive("mass", mass, "kg")
    return i * i * r / (m * checks.check_positive("specific_heat", specific_heat, "J/(kg K)"))
