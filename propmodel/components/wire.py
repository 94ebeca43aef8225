"""Wire between pack, controller and motor: size, resistance, drop, heat and fusing current."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from propmodel.base.arrays import FloatArray
from propmodel.base.checks import as_floats, check_finite, check_positive, check_range
from propmodel.base.constants import COPPER_RESISTIVITY_20C, COPPER_TEMPERATURE_COEFFICIENT
from propmodel.base.units import CELSIUS_ZERO, MM

__all__ = [
    "awg_area",
    "awg_diameter",
    "copper_factor",
    "drop",
    "fusing_current_onderdonk",
    "fusing_current_preece",
    "heat",
    "resistance",
]

REFERENCE = CELSIUS_ZERO + 20.0
CIRCULAR_MIL = np.pi / 4.0 * (25.4e-6) ** 2
"""Area of a circle of 0.001 inch diameter. [m^2]"""
COPPER_MELTING = CELSIUS_ZERO + 1083.0
"""As used in Onderdonk's formula. [K]"""


def awg_diameter(gauge: ArrayLike) -> FloatArray:
    """Bare diameter of the equivalent solid wire, ASTM B258: 0.127 mm x 92^((36 - gauge)/39).

    Parameters
    ----------
    gauge : array_like
        American wire gauge; 0 for 1/0, -3 for 4/0. [-]

    Returns
    -------
    ndarray
        [m]

    Examples
    --------
    >>> round(float(awg_diameter(14)) * 1000, 3)
    1.628
    """
    check_range("wire gauge", gauge, -3, 40, "AWG")
    return 0.127 * MM * 92.0 ** ((36.0 - as_floats("gauge", gauge)) / 39.0)


def awg_area(gauge: ArrayLike) -> FloatArray:
    """Copper cross-section of a gauge.

    Parameters
    ----------
    gauge : array_like
        American wire gauge. [-]

    Returns
    -------
    ndarray
        [m^2]

    Examples
    --------
    >>> round(float(awg_area(14)) * 1e6, 2)
    2.08
    """
    return np.pi / 4.0 * awg_diameter(gauge) ** 2


def copper_factor(temperature: ArrayLike) -> FloatArray:
    """Copper resistance at a temperature over that at 20 C: 1 + 0.00393 (T - 20 C), IEC 60028.

    Parameters
    ----------
    temperature : array_like
        [K]

    Returns
    -------
    ndarray
        [-]

    Examples
    --------
    >>> round(float(copper_factor(348.15)), 5)
    1.21615
    """
    return 1.0 + COPPER_TEMPERATURE_COEFFICIENT * (as_floats("temperature", temperature) - REFERENCE)


def resistance(gauge: ArrayLike, *, length: ArrayLike, temperature: ArrayLike = REFERENCE) -> FloatArray:
    """Resistance of a copper conductor.

    Parameters
    ----------
    gauge : array_like
        American wire gauge. [-]
    length : array_like
        Conductor length; there *and back* for a pair of leads. [m]
    temperature : array_like
        [K]

    Returns
    -------
    ndarray
        [ohm]

    Notes
    -----
    Solid annealed copper; stranded wire of a gauge is a few per cent higher (common practice).

    Examples
    --------
    >>> round(float(resistance(14, length=1.0)) * 1000, 2)
    8.28
    """
    check_positive("wire length", length, "m")
    return COPPER_RESISTIVITY_20C * as_floats("length", length) / awg_area(gauge) * copper_factor(temperature)


def drop(current: ArrayLike, *, gauge: ArrayLike, length: ArrayLike, temperature: ArrayLike = REFERENCE) -> FloatArray:
    """Voltage lost along a conductor.

    Parameters
    ----------
    current : array_like
        [A]
    gauge : array_like
        American wire gauge. [-]
    length : array_like
        Conductor length, both ways. [m]
    temperature : array_like
        [K]

    Returns
    -------
    ndarray
        [V]

    Examples
    --------
    >>> round(float(drop(100.0, gauge=12, length=0.2)), 3)
    0.104
    """
    return check_finite("current", current, "A") * resistance(gauge, length=length, temperature=temperature)


def heat(current: ArrayLike, *, gauge: ArrayLike, length: ArrayLike, temperature: ArrayLike = REFERENCE) -> FloatArray:
    """Power turned into heat along a conductor.

    Parameters
    ----------
    current : array_like
        [A]
    gauge : array_like
        American wire gauge. [-]
    length : array_like
        Conductor length, both ways. [m]
    temperature : array_like
        [K]

    Returns
    -------
    ndarray
        [W]

    Examples
    --------
    >>> round(float(heat(100.0, gauge=12, length=0.2)), 1)
    10.4
    """
    return check_finite("current", current, "A") ** 2 * resistance(gauge, length=length, temperature=temperature)


def fusing_current_preece(gauge: ArrayLike) -> FloatArray:
    """Current that melts a bare copper wire in still air when constant: 80 A x (d in mm)^1.5 (Preece).

    Parameters
    ----------
    gauge : array_like
        American wire gauge. [-]

    Returns
    -------
    ndarray
        [A]

    Notes
    -----
    A wire fails long before this: insulation and solder fail first. It is not a rating.

    Examples
    --------
    >>> round(float(fusing_current_preece(6)), 1)
    667.9
    """
    return 80.0 * (awg_diameter(gauge) / MM) ** 1.5


def fusing_current_onderdonk(
    gauge: ArrayLike, *, duration: ArrayLike, temperature: ArrayLike = CELSIUS_ZERO + 25.0
) -> FloatArray:
    r"""Current that melts a copper wire in a short time without cooling (Onderdonk).

    .. math:: I = A_{cmil} \sqrt{\frac{\log_{10}(1 + (1083 - T)/(234 + T))}{33\, t}}, \quad T \text{ in C}

    Parameters
    ----------
    gauge : array_like
        American wire gauge. [-]
    duration : array_like
        Seconds to melting; good up to about 10 s. [s]
    temperature : array_like
        Start temperature. [K]

    Returns
    -------
    ndarray
        [A]

    Examples
    --------
    >>> round(float(fusing_current_onderdonk(6, duration=1.0)), -1)
    3840.0
    """
    check_positive("fusing time", duration, "s")
    start = as_floats("temperature", temperature)
    rise = (COPPER_MELTING - start) / (234.0 + start - CELSIUS_ZERO)
    return awg_area(gauge) / CIRCULAR_MIL * np.sqrt(np.log10(1.0 + rise) / (33.0 * as_floats("duration", duration)))
