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

The same doubt reaches **below J = 0**. In the pull-out of a dive the air runs along the disc or against the thrust,
which takes part of the induced inflow away: the blade meets the air at a steeper angle, as at a negative J. A blade
that does not stall then gives more thrust; one that stalls already gives no more, or less. No tunnel here has looked
there (the rows begin at J = 0). So the static thrust is kept as the forecast, an **estimate**, and its doubt is what
the doubt of the slope at rest, d ln C_T/dJ = -[1 - (1 - w) k_1]/J_0, makes of the missing inflow (:func:`thrust_rise`).
A blade of P/D below 0.5 does not stall at rest: there half of w's doubt is taken. Between measured propellers of one
pitch the slope scatters by 0.18 to 0.30 per J, w alone brings 0.46 (``data/propellers/SOURCE.md``).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from propmodel.base.arrays import FloatArray
from propmodel.components.propeller.data import Propeller

__all__ = ["POWER_SHARE", "thrust_rise", "unstalled_sd", "unstalled_share"]

UNSTALLED = 0.5
"""w of a steep multirotor blade, estimate. [-]"""
_STALL_FREE, _STALLING = 0.5, 0.75  # P/D between which w grows
_SD_MULTIROTOR, _SD_OTHER = 0.39, 0.15
_LEAST, _MOST = -0.5, 1.5
_GENTLE_DOUBT = 0.5
"""Doubt of the slope at rest of blades of low pitch over that of steep ones: 0.23 over 0.46 per J. [-]"""
POWER_SHARE = 0.7
"""Shaft power that goes with the thrust: C_P falls by this share of the relative fall of C_T. Estimate, the induced and
climb power over shaft power at half of J0. [-]"""


def _traits(propeller: Propeller) -> tuple[FloatArray, FloatArray]:
    """Whether a blade is made to hover fast, and whether its own advancing curve is known; 1 or 0."""
    fast = np.asarray(propeller.blades) > 2.5
    if propeller.multirotor is not None:
        multirotor_given = np.asarray(propeller.multirotor, dtype=np.float64)
        fast = np.where(np.isnan(multirotor_given), fast, np.nan_to_num(multirotor_given) > 0.5)
    own = propeller.own_fit
    known = np.zeros(()) if own is None else ~np.isnan(np.asarray(own.log_c_t, dtype=np.float64))
    return np.asarray(fast, dtype=np.float64), np.asarray(known, dtype=np.float64)


def _steep(propeller: Propeller) -> FloatArray:
    """0 for a pitch that does not stall at rest, 1 for one that does in the tunnel."""
    ratio = np.asarray(propeller.pitch, dtype=np.float64) / np.asarray(propeller.diameter, dtype=np.float64)
    return np.asarray(np.clip((ratio - _STALL_FREE) / (_STALLING - _STALL_FREE), 0.0, 1.0))


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
    share = UNSTALLED * fast * _steep(propeller) + np.asarray(propeller.unstalled_offset, dtype=np.float64)
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


def thrust_rise(propeller: Propeller, c_t: ArrayLike, *, bulge_slope: ArrayLike, zero_thrust: ArrayLike) -> FloatArray:
    r"""Relative rise of full thrust per share of the hover's inflow that is missing, against the forecast.

    .. math:: 2 \sqrt{2 C_T/\pi} \, (k_1/J_0) \, (w - \bar w)

    Parameters
    ----------
    propeller : Propeller
        A draw: its ``unstalled_offset`` is the distance to the forecast.
    c_t : array_like
        At rest. [-]
    bulge_slope, zero_thrust : array_like
        k_1 and J_0. [-]

    Returns
    -------
    ndarray
        0 for the forecast and for measured propellers, negative where the blade stalls more. [-]

    Notes
    -----
    The inflow of a hover is sqrt(2 C_T/pi) n D. In slow climb at one thrust half of the speed is missing again from the
    induced flow, so that a given change of the inflow is that of twice the J.

    Examples
    --------
    >>> steep = Propeller(diameter=0.13, pitch=0.109, blades=3, unstalled_offset=0.4)
    >>> round(float(thrust_rise(steep, 0.17, bulge_slope=1.01, zero_thrust=0.85)), 3)
    0.313
    """
    apart = unstalled_share(propeller) - unstalled_share(replace(propeller, unstalled_offset=0.0))
    doubt = _GENTLE_DOUBT + (1.0 - _GENTLE_DOUBT) * _steep(propeller)
    inflow = np.sqrt(2.0 * np.maximum(np.asarray(c_t, dtype=np.float64), 0.0) / np.pi)
    return np.asarray(2.0 * inflow * np.asarray(bulge_slope) / np.asarray(zero_thrust) * doubt * apart)
