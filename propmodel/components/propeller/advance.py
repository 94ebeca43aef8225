r"""Decrease of C_T with the advance ratio outside the tunnel measurements: blades of high pitch at high speed.

The tunnel measurements are at a Reynolds number near 5e4, where a blade of high pitch stalls at rest: C_T is constant
before it falls. At 30,000 rpm the same blade does not stall. Blade element theory then gives a slope at rest of about
-1.1 C_T0 per J for 5- and 6-inch propellers of P/D 0.75 to 1, close to the straight line from rest to J0. System
identification of two craft in flight (5 and 6 inch) gave -1.3 to -1.6, including the drag of the body from above. The
fit to the tunnel gives -0.1 to +0.2.

The share w blends both, where e(u) is the excess of the tunnel curve over the straight line:

.. math:: C_T / C_{T0} = (1 - u) [1 + (1 - w) e(u)], \quad u = J / J_0

Multirotor labels of P/D 0.75 and more have w = 0.5, decreasing to 0 at P/D 0.5. This is an **estimate**, because only
two craft support it and part of their slope is body drag. 80 % of the draws are between the tunnel curve and the
straight line. Measured propellers keep their curves.

The same uncertainty exists **below J = 0**. In the pull-out of a dive the air flows along the disc or against the
thrust, which reduces the induced inflow: the angle of attack of the blade increases, as at a negative J. A blade that
does not stall then gives more thrust; one that stalls gives the same or less. There are no tunnel measurements (the
rows begin at J = 0). The forecast is therefore the static thrust, an **estimate**. Its spread follows from that of the
slope at rest, d ln C_T/dJ = -[1 - (1 - w) k_1]/J_0, times the reduction of the inflow (:func:`thrust_rise`). A blade of
P/D below 0.5 does not stall at rest, so half of the spread of w is used there. Between measured propellers of one pitch
the slope has a scatter of 0.18 to 0.30 per J; w alone gives 0.46 (``data/propellers/SOURCE.md``).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from propmodel.base.arrays import FloatArray
from propmodel.components.propeller.data import Propeller

__all__ = ["POWER_SHARE", "thrust_rise", "unstalled_sd", "unstalled_share"]

UNSTALLED = 0.5
"""w of a multirotor blade of high pitch (estimate). [-]"""
_STALL_FREE, _STALLING = 0.5, 0.75  # P/D between which w grows
_SD_MULTIROTOR, _SD_OTHER = 0.39, 0.15
_LEAST, _MOST = -0.5, 1.5
_GENTLE_DOUBT = 0.5
"""Spread of the slope at rest of low-pitch blades over that of high-pitch ones: 0.23 over 0.46 per J. [-]"""
POWER_SHARE = 0.7
"""Relative decrease of C_P over relative decrease of C_T: induced plus climb power over shaft power at half of J0. [-]
Estimate."""


def _traits(propeller: Propeller) -> tuple[FloatArray, FloatArray]:
    """Return 1 or 0: whether the propeller is a multirotor type, and whether its curve against J was measured."""
    fast = np.asarray(propeller.blades) > 2.5
    if propeller.multirotor is not None:
        multirotor_given = np.asarray(propeller.multirotor, dtype=np.float64)
        fast = np.where(np.isnan(multirotor_given), fast, np.nan_to_num(multirotor_given) > 0.5)
    own = propeller.own_fit
    known = np.zeros(()) if own is None else ~np.isnan(np.asarray(own.log_c_t, dtype=np.float64))
    return np.asarray(fast, dtype=np.float64), np.asarray(known, dtype=np.float64)


def _steep(propeller: Propeller) -> FloatArray:
    """Return 0 for a pitch that does not stall at rest, 1 for one that does in the tunnel, linear in between."""
    ratio = np.asarray(propeller.pitch, dtype=np.float64) / np.asarray(propeller.diameter, dtype=np.float64)
    return np.asarray(np.clip((ratio - _STALL_FREE) / (_STALLING - _STALL_FREE), 0.0, 1.0))


def unstalled_share(propeller: Propeller) -> FloatArray:
    """Share w of the straight, unstalled curve of C_T against J.

    Parameters
    ----------
    propeller : Propeller
        The propeller.

    Returns
    -------
    ndarray
        -0.5 to 1.5; 0 for the tunnel curve, 1 for the straight line. [-]

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
    """Standard deviation of w between propellers of the same label (estimate).

    Parameters
    ----------
    propeller : Propeller
        The propeller.

    Returns
    -------
    ndarray
        Standard deviation; 0 for a propeller with a measured curve. [-]
    """
    fast, known = _traits(propeller)
    return np.asarray((_SD_OTHER + (_SD_MULTIROTOR - _SD_OTHER) * fast) * (1.0 - known))


def thrust_rise(propeller: Propeller, c_t: ArrayLike, *, bulge_slope: ArrayLike, zero_thrust: ArrayLike) -> FloatArray:
    r"""Relative increase of full thrust per relative reduction of the hover's inflow, compared with the forecast.

    .. math:: 2 \sqrt{2 C_T/\pi} \, (k_1/J_0) \, (w - \bar w)

    Parameters
    ----------
    propeller : Propeller
        A random draw; its ``unstalled_offset`` is the deviation of w from the forecast.
    c_t : array_like
        Static thrust coefficient. [-]
    bulge_slope, zero_thrust : array_like
        k_1 and J_0. [-]

    Returns
    -------
    ndarray
        0 for the forecast and for measured propellers, negative for a blade that stalls more. [-]

    Notes
    -----
    The inflow in hover is sqrt(2 C_T/pi) n D. In a slow climb at constant thrust the induced velocity decreases by half
    of the climb speed, so a given change of the inflow corresponds to twice the change of J.

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
