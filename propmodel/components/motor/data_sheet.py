"""What data sheets print: best efficiency, a point at a torque, and what the winding alone would promise."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from propmodel.base.arrays import FloatArray
from propmodel.base.checks import as_floats
from propmodel.components.motor.electrical import Motor
from propmodel.components.motor.winding import winding_part

__all__ = [
    "DatasheetPoint",
    "datasheet_point",
    "peak_efficiency",
    "peak_efficiency_constant_loss",
    "winding_only_promise",
]


class DatasheetPoint(NamedTuple):
    """Working point of the data-sheet form (constant no-load current)."""

    current: FloatArray
    """[A]"""
    rev_per_s: FloatArray
    """[1/s]"""
    shaft_power: FloatArray
    """[W]"""
    electrical_power: FloatArray
    """[W]"""
    efficiency: FloatArray
    """Shaft over electrical power. [-]"""
    heat: FloatArray
    """Electrical minus shaft power. [W]"""


def peak_efficiency(motor: Motor, voltage: ArrayLike) -> tuple[FloatArray, FloatArray]:
    r"""Current of best shaft efficiency, and that efficiency, with loss torque q n.

    With x = I R / V and g = q R/(2 pi K_t^2): eta = (1 - x) - g (1 - x)^2 / x, best at
    x = sqrt(g/(1 + g)); it does not depend on the voltage.

    Parameters
    ----------
    motor : Motor
    voltage : array_like
        Motor voltage. [V]

    Returns
    -------
    current, efficiency : ndarray
        [A], [-]

    Examples
    --------
    >>> current, best = peak_efficiency(Motor(920, 0.11, 0.5, 14.8), 14.8)
    >>> round(float(current), 1), round(float(best), 2)
    (8.2, 0.89)
    """
    k_t = motor.torque_constant
    loss = motor.iron_torque_slope * motor.resistance / (2.0 * np.pi * k_t * k_t)
    x = np.sqrt(loss / (1.0 + loss))
    safe = np.where(x > 0, x, 1.0)
    efficiency = (1.0 - x) - loss * (1.0 - x) ** 2 / safe
    return x * as_floats("voltage", voltage) / motor.resistance, efficiency


def peak_efficiency_constant_loss(
    voltage: ArrayLike, *, resistance: ArrayLike, no_load_current: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    r"""Best current and efficiency for a constant no-load current.

    .. math:: I^* = \sqrt{I_0 V / R}, \qquad \eta_{max} = (1 - \sqrt{I_0 R / V})^2

    Parameters
    ----------
    voltage : array_like
        [V]
    resistance : array_like
        [ohm]
    no_load_current : array_like
        [A]

    Returns
    -------
    current, efficiency : ndarray
        [A], [-]

    Examples
    --------
    >>> current, best = peak_efficiency_constant_loss(14.8, resistance=0.11, no_load_current=0.5)
    >>> round(float(current), 4), round(float(best), 6)
    (8.202, 0.881795)
    """
    v, r = as_floats("voltage", voltage), as_floats("resistance", resistance)
    i0 = as_floats("no_load_current", no_load_current)
    return np.sqrt(i0 * v / r), (1.0 - np.sqrt(i0 * r / v)) ** 2


def datasheet_point(motor: Motor, torque: ArrayLike, *, voltage: ArrayLike) -> DatasheetPoint:
    """Working point as data sheets print it: no-load current constant, voltage given.

    Parameters
    ----------
    motor : Motor
    torque : array_like
        Shaft torque. [N m]
    voltage : array_like
        Motor voltage. [V]

    Returns
    -------
    DatasheetPoint

    Notes
    -----
    For comparison with a sheet. The forecast itself lets the no-load loss grow with speed.

    Examples
    --------
    >>> point = datasheet_point(Motor(920, 0.11, 0.5), 0.12, voltage=14.8)
    >>> round(float(point.current), 5), round(float(point.efficiency), 6)
    (12.06106, 0.872617)
    """
    q, v = as_floats("torque", torque), as_floats("voltage", voltage)
    current = q * motor.kv_si + np.asarray(motor.no_load_current, float)
    rev_per_s = (v - current * motor.resistance) / (2.0 * np.pi * motor.torque_constant)
    shaft = 2.0 * np.pi * rev_per_s * q
    electrical = v * current
    return DatasheetPoint(current, rev_per_s, shaft, electrical, shaft / electrical, electrical - shaft)


def winding_only_promise(motor: Motor) -> Motor:
    """Return the motor with the winding resistance as its whole resistance, a common mistake.

    Parameters
    ----------
    motor : Motor

    Returns
    -------
    Motor
        Same motor with ``resistance`` = its winding part and the printed KV under load: too much
        thrust, too little heat. Use it only to show what such a figure would wrongly promise.

    Examples
    --------
    >>> from propmodel.components.motor import from_stator
    >>> honest = from_stator(0.022, 0.007, 1950, winding_resistance=0.07)
    >>> round(float(honest.resistance), 3), float(winding_only_promise(honest).resistance)
    (0.178, 0.07)
    """
    winding = winding_part(motor)
    return replace(motor, resistance=winding, winding_resistance=winding, loaded_kv_ratio=1.0)
