"""In-plane force of a rotor that moves edgewise through the air: fitted to a wind tunnel, checked in flight."""

from __future__ import annotations

from numpy.typing import ArrayLike, NDArray

from propmodel.base.checks import as_floats

__all__ = ["INPLANE_FADE", "INPLANE_GAIN", "LOG_SD_INPLANE", "inplane_force"]

INPLANE_GAIN = 2.307
"""k of H = k T mu/(1 + c mu): fit of data/flight/fit_inplane.py to a 6-inch rotor in a wind tunnel. [-]"""
INPLANE_FADE = 8.548
"""c of the same. [-]"""
LOG_SD_INPLANE = 0.35
"""Spread of k between rotors, estimate: three flown craft lie a factor 0.75 to 2 off the forecast, body and all. [-]"""


def inplane_force(thrust: ArrayLike, advance: ArrayLike) -> NDArray:
    r"""Force of one rotor in its own plane, against its motion through the air.

    .. math:: H = k T \mu / (1 + c \mu)

    Parameters
    ----------
    thrust : array_like
        Of the rotor. [N]
    advance : array_like, >= 0
        mu, speed in the plane of the disc over tip speed. [-]

    Returns
    -------
    ndarray
        H. [N]

    Notes
    -----
    [bannwarth2022]: one 6-inch propeller at mu 0.02 to 0.30, met within 8 %. Number of blades and their width do not
    enter: the tunnel had one rotor, and three flown craft do not order by them. Measured with little flow along the
    shaft; its validity in fast, steep flight is an **estimate**.

    Most of it is lift leaning back: blades going forward lift more and lean further, and the rotor flaps or bends
    ([bangura2012], [faessler2018]). Air drag of the blades alone would give about a tenth (C_d0 sigma / (4 C_T)).

    Examples
    --------
    >>> round(float(inplane_force(1.5, 0.1)), 3)
    0.187
    """
    mu = as_floats("advance", advance)
    return INPLANE_GAIN * as_floats("thrust", thrust) * mu / (1.0 + INPLANE_FADE * mu)
