"""Mass, size and inertia of a motor."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from propmodel.base.arrays import FloatArray
from propmodel.base.checks import as_floats
from propmodel.base.units import MM
from propmodel.components.motor.electrical import Motor

__all__ = [
    "bell_inertia",
    "can_size",
    "estimated_mass",
    "motor_mass",
]

BELL_SHARE, BELL_RADIUS = 0.45, 0.44
"""Share of a motor's mass that turns; its radius of gyration over the can diameter (estimates). [-]"""


_FULL_REST_VOLUME = 1.4e-6
"""d^2 h of a 1407, from which on shaft, base and wires weigh 5 g. [m^3]"""


def estimated_mass(diameter: ArrayLike, height: ArrayLike) -> FloatArray:
    """Mass of a motor with short wires from its stator: 0.0078 g/mm^3 d^2 h, and shaft, base and wires. Estimate.

    The rest is 5 g from a 1407 up and shrinks with the stator to 0.5 g. Tiny motors weigh, by common practice from
    memory, 1.9 g (0802), 2.8 g (1102), 3.8 g (1103), 9 g (1404) and 14 g (1406).

    Parameters
    ----------
    diameter, height : array_like
        Stator size. [m]

    Returns
    -------
    ndarray
        [kg]

    Examples
    --------
    >>> round(float(estimated_mass(0.022, 0.007)) * 1000, 1)
    31.4
    >>> round(float(estimated_mass(0.008, 0.002)) * 1000, 1)
    1.9
    """
    d, h = as_floats("stator diameter", diameter), as_floats("stator height", height)
    volume = d * d * h
    return 0.0005 + 0.0045 * np.minimum(volume / _FULL_REST_VOLUME, 1.0) + 7800.0 * volume


def _stator(motor: Motor) -> tuple[FloatArray, FloatArray]:
    """Stator size, stated or guessed from the mass at the proportions d = 3.3 h (22 x 6.7)."""
    if motor.stator_diameter is not None and motor.stator_height is not None:
        return np.asarray(motor.stator_diameter, float), np.asarray(motor.stator_height, float)
    mass = np.asarray(0.032 if motor.mass is None else motor.mass, float)
    # the inverse of `estimated_mass`, two lines that meet at a 1407
    volume = np.maximum((mass - 0.005) / 7800.0, 0.0)
    small = np.maximum(mass - 0.0005, 0.1 * mass) / (7800.0 + 0.0045 / _FULL_REST_VOLUME)
    volume = np.where(volume < _FULL_REST_VOLUME, small, volume)
    if motor.stator_diameter is not None:
        d = np.asarray(motor.stator_diameter, float)
        return d, volume / (d * d)
    if motor.stator_height is not None:
        h = np.asarray(motor.stator_height, float)
        return np.sqrt(volume / h), h
    d = np.cbrt(3.3 * volume)
    return d, d / 3.3


def motor_mass(motor: Motor) -> FloatArray:
    """Mass of the motor: stated, or estimated from its stator, or 32 g when neither is known.

    Parameters
    ----------
    motor : Motor

    Returns
    -------
    ndarray
        [kg]

    Examples
    --------
    >>> from propmodel.components.motor import from_stator
    >>> round(float(motor_mass(from_stator(0.022, 0.007, 1950))), 4)
    0.0314
    """
    if motor.mass is not None:
        return np.array(motor.mass, float)
    return estimated_mass(*_stator(motor))


def can_size(motor: Motor) -> tuple[FloatArray, FloatArray]:
    """Outer diameter and length of the can: stator + 6 mm and + 11 mm. Estimate.

    Parameters
    ----------
    motor : Motor

    Returns
    -------
    diameter, length : ndarray
        [m]

    Examples
    --------
    >>> from propmodel.components.motor import from_stator
    >>> d, length = can_size(from_stator(0.022, 0.007, 1950))
    >>> round(float(d), 3), round(float(length), 3)
    (0.028, 0.018)
    """
    d, h = _stator(motor)
    return d + 6.0 * MM, h + 11.0 * MM


def bell_inertia(motor: Motor) -> FloatArray:
    """Moment of inertia of the turning part about the shaft. Estimate.

    `BELL_SHARE` of the mass (bell, magnets, shaft) at `BELL_RADIUS` of the can diameter.

    Parameters
    ----------
    motor : Motor

    Returns
    -------
    ndarray
        [kg m^2]

    Examples
    --------
    >>> from propmodel.components.motor import from_stator
    >>> f"{float(bell_inertia(from_stator(0.022, 0.007, 1950))):.2g}"
    '2.1e-06'
    """
    diameter, _ = can_size(motor)
    return BELL_SHARE * motor_mass(motor) * (BELL_RADIUS * diameter) ** 2
