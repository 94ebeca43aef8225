r"""How thrust falls with the advance ratio where no tunnel has looked: steep blades turning fast.

The tunnel's curves were taken at a Reynolds number near 5e4, where a blade of high pitch stalls at rest: C_T stays flat
before it falls. At 30,000 rpm the same blade does not stall. Blade element theory then gives a slope at rest of about
-1.1 C_T0 per J for 5- and 6-inch propellers of P/D 0.75 to 1, close to the straight line from rest to J0, and two flown
craft (5 and 6 inch) were identified at -1.3 to -1.6 with the drag of the body from above among it. The tunnel fit says
-0.1 to +0.2 there.

The share w blends the two, e(u) being the tunnel's bulge over the straight line:

.. math:: C_T / C_{T0} = (1 - u) [1 + (1 - w) e(u)], \quad u = J / J_0

Multirotor labels of P/D 0.75 and more take w = 0.5, falling to 0 at P/D 0.5: an **estimate**, half of the way, since
only two craft speak for it and part of their slope is body drag. Eight in ten draws lie between the tunnel's curve and
the straight line. Measured propellers keep their curves.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from propmodel.components.propeller.data import Propeller

__all__ = ["POWER_SHARE", "unstalled_sd", "unstalled_share"]

FloatArray = NDArray[np.float64]

UNSTALLED = 0.5
"""w of a steep multirotor blade, estimate. [-]"""
_STALL_FREE, _STALLING = 0.5, 0.75  # P/D between which w grows
_SD_MULTIROTOR, _SD_OTHER = 0.39, 0.15
_LEAST, _MOST = -0.5, 1.5
POWER_SHARE = 0.7
"""Shaft power that goes with the thrust: C_P falls by this share of the relative fall of C_T. Estimate, the induced and
climb power over shaft power at half of J0. [-]"""


def _traits(propeller: Propeller) -> tuple[FloatArray, FloatArray]:
    """Whether a blade is made to hover fast, and whether its own advancing curve is known; 1 or 0."""
    fast = np.asarray(propeller.blades) > 2.5
    if propeller.multirotor is not None:
        told = np.asarray(propeller.multirotor, dtype=np.float64)
        fast = np.where(np.isnan(told), fast, np.nan_to_num(told) > 0.5)
    own = propeller.own_fit
    known = np.zeros(()) if own is None else ~np.isnan(np.asarray(own.log_c_t, dtype=np.float64))
    return np.asarray(fast, dtype=np.float64), np.asarray(known, dtype=np.float64)


def unstalled_share(propeller: Propeller) -> FloatArray:
    """Share w of the straight, unstalled curve of C_T against J.

    Parameters
    ----------
    propeller : Propeller

    Returns
    -------
    ndarray
        -0.5 to 1.5; 0 is the tunnel's curve, 1 the straight line. [-]

    Examples
    --------
    >>> from propmodel.components.propeller import Propeller
    >>> float(unstalled_share(Propeller(diameter=0.13, pitch=0.109, blades=3)))
    0.5
    """
    fast, known = _traits(propeller)
    ratio = np.asarray(propeller.pitch, dtype=np.float64) / np.asarray(propeller.diameter, dtype=np.float64)
    steep = np.clip((ratio - _STALL_FREE) / (_STALLING - _STALL_FREE), 0.0, 1.0)
    share = UNSTALLED * fast * steep + np.asarray(propeller.unstalled_offset, dtype=np.float64)
    return np.clip(share * (1.0 - known), _LEAST, _MOST)


def unstalled_sd(propeller: Propeller) -> FloatArray:
    """Standard deviation of w between propellers of one label; 0 where its own curve was measured. Estimate.

    Parameters
    ----------
    propeller : Propeller

    Returns
    -------
    ndarray
        [-]
    """
    fast, known = _traits(propeller)
    return np.asarray((_SD_OTHER + (_SD_MULTIROTOR - _SD_OTHER) * fast) * (1.0 - known))
