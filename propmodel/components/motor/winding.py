"""The part of the resistance that is the winding, and how it warms."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from propmodel.base.arrays import FloatArray
from propmodel.base.checks import as_floats
from propmodel.base.constants import COPPER_TEMPERATURE_COEFFICIENT
from propmodel.components.motor.electrical import COPPER_REFERENCE, Motor

__all__ = [
    "resistance_at",
    "rest_resistance",
    "winding_part",
]

WINDING_SHARE = 0.38
"""Winding copper's share of the effective resistance, 0.31 to 0.49 in six motors of four makers that print it. [-]"""


def winding_part(motor: Motor) -> FloatArray:
    """Winding copper's part of the effective resistance at 20 C; never more than the whole.

    Parameters
    ----------
    motor : Motor

    Returns
    -------
    ndarray
        [ohm]

    Examples
    --------
    >>> round(float(winding_part(Motor(1950, 0.2, 1.0))), 4)
    0.07
    """
    effective = np.asarray(motor.resistance, float)
    if motor.winding_resistance is None:
        return WINDING_SHARE * effective
    return np.minimum(np.asarray(motor.winding_resistance, float), effective)


def rest_resistance(motor: Motor) -> FloatArray:
    """Effective resistance outside the winding: controller, leads, commutation. It stays cool in the sums.

    Parameters
    ----------
    motor : Motor

    Returns
    -------
    ndarray
        [ohm]

    Examples
    --------
    >>> round(float(rest_resistance(Motor(1950, 0.2, 1.0))), 4)
    0.13
    """
    return np.asarray(motor.resistance, float) - winding_part(motor)


def resistance_at(motor: Motor, winding_temperature: ArrayLike) -> FloatArray:
    """Effective resistance with the winding warm; only the copper part grows.

    Parameters
    ----------
    motor : Motor
    winding_temperature : array_like
        [K]

    Returns
    -------
    ndarray
        [ohm]

    Notes
    -----
    Copper 0.00393 per K at 20 C (IEC 60028). An effective resistance that warmed whole would count
    heat in the controller and the commutation as winding heat.

    Examples
    --------
    >>> round(float(resistance_at(Motor(1950, 0.2, 1.0), 393.15)), 4)
    0.2299
    """
    rise = as_floats("winding_temperature", winding_temperature) - COPPER_REFERENCE
    return motor.resistance + winding_part(motor) * COPPER_TEMPERATURE_COEFFICIENT * rise
