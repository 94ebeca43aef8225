"""Vortex-ring state: its band of descent speeds, the loss of thrust, and the speed that leaves it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from propmodel.base import checks
from propmodel.base.arrays import FloatArray

__all__ = [
    "WASH_EDGES",
    "WASH_ESCAPE",
    "WASH_LOSS",
    "WashBand",
    "wash_band",
    "wash_share",
    "wash_thrust_factor",
]

WASH_LOSS = 1.0 / 3.0
"""Largest relative loss of thrust in the vortex-ring state (descent of coaxial and dual rotors, published range).
[-]"""
WASH_EDGES = (0.4, 1.2, 1.3, 1.4)
"""Descent speed over induced velocity in hover: start of the band, start and end of the largest loss, end of the band
(published). [-]"""
WASH_ESCAPE = 2.75
"""In-plane air speed over descent rate that leaves the vortex-ring state (Talaeizadeh et al., arXiv 1909.09069).
[-]"""


@dataclass(frozen=True)
class WashBand:
    """Descent speeds of the vortex-ring state, and the speed that leaves it.

    Parameters
    ----------
    low, worst_low, worst_high, high : ndarray
        Start of the band, start and end of the largest loss, end of the band. [m/s]
    escape_speed : ndarray
        In-plane air speed that leaves the state at the worst descent speed. [m/s]
    """

    low: FloatArray
    worst_low: FloatArray
    worst_high: FloatArray
    high: FloatArray
    escape_speed: FloatArray


def wash_band(induced_velocity_hover: ArrayLike) -> WashBand:
    """Descent speeds of the vortex-ring state.

    The band is 0.4 to 1.4 times the induced velocity in hover; the loss is largest at 1.2 to 1.3.

    Parameters
    ----------
    induced_velocity_hover : array_like, > 0
        Induced velocity in hover. [m/s]

    Returns
    -------
    WashBand
        Same shape as the argument.

    Notes
    -----
    Band: Johnson, as reproduced by Hoffmann et al. 2007. Worst speed: published work on dual rotors in
    axial descent. Escape: Talaeizadeh et al., arXiv 1909.09069 (in-plane air speed at least 2.75 times the
    descent rate).

    Examples
    --------
    >>> band = wash_band(7.5)
    >>> round(float(band.low), 2), round(float(band.high), 2), round(float(band.escape_speed), 1)
    (3.0, 10.5, 25.8)
    """
    v = checks.check_positive("induced_velocity_hover", induced_velocity_hover, "m/s")
    low, worst_low, worst_high, high = WASH_EDGES
    return WashBand(low * v, worst_low * v, worst_high * v, high * v, WASH_ESCAPE * 0.5 * (worst_low + worst_high) * v)


def wash_share(descent: Any, inplane: Any) -> FloatArray:
    """Loss of thrust relative to the largest loss.

    Parameters
    ----------
    descent, inplane : array_like
        Descent speed and in-plane speed over the induced velocity in hover. [-]

    Returns
    -------
    ndarray
        0 to 1, of the broadcast shape. [-]
    """
    descent, inplane = checks.as_floats("descent", descent), checks.as_floats("inplane", inplane)
    low, worst_low, worst_high, high = WASH_EDGES
    rise = (descent - low) / (worst_low - low)
    fall = (high - descent) / (high - worst_high)
    band = np.clip(np.minimum(rise, fall), 0.0, 1.0)
    # the loss decreases linearly up to the published escape ratio (estimate)
    return band * np.clip(1.0 - inplane / np.maximum(WASH_ESCAPE * descent, 1e-9), 0.0, 1.0)


def wash_thrust_factor(
    descent_speed: ArrayLike,
    inplane_speed: ArrayLike = 0.0,
    *,
    induced_velocity_hover: ArrayLike,
    largest_loss: ArrayLike = WASH_LOSS,
) -> FloatArray:
    """Factor on the thrust in the vortex-ring state.

    Parameters
    ----------
    descent_speed, inplane_speed : array_like
        Air speed along the thrust axis from below, and across it (>= 0). [m/s]
    induced_velocity_hover : array_like, > 0
        Induced velocity in hover. [m/s]
    largest_loss : array_like
        Largest relative loss, 0 to 1; published values are up to about one third. [-]

    Returns
    -------
    ndarray
        Factor, of the broadcast shape: 1 outside the band, linear between its edges and the largest loss (estimate).
        [-]

    Examples
    --------
    >>> [round(float(wash_thrust_factor(v, induced_velocity_hover=6.0)), 2) for v in (2.0, 7.5, 9.0)]
    [1.0, 0.67, 1.0]
    """
    v = checks.check_positive("induced_velocity_hover", induced_velocity_hover, "m/s")
    loss = checks.check_range("largest_loss", largest_loss, 0.0, 1.0)
    descent = checks.check_finite("descent_speed", descent_speed, "m/s") / v
    inplane = checks.check_range("inplane_speed", inplane_speed, 0.0, 1e9, "m/s") / v
    return 1.0 - loss * wash_share(descent, inplane)
