"""Heat of the pack in flight: what it gives off to the air; see `flight.endurance` for the walk down a flight."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base import checks

__all__ = ["pack_cooling"]

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
