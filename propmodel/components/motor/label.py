"""Forecast of a motor from its label: the rule from stator size and KV, its spread and measured range."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base.arrays import ArrayOrFloat, FloatArray
from propmodel.base.checks import as_floats, check_positive, check_range
from propmodel.base.units import MM
from propmodel.components.motor.electrical import Motor, current_without_load, stator_of
from propmodel.components.motor.winding import WINDING_SHARE

__all__ = [
    "from_stator",
    "motor_constant",
    "outside_measured",
    "resistance_of_other",
    "resistance_spread",
]

MOTOR_CONSTANT_2207 = 0.01343
"""K_m of a 22 x 7 mm stator, with the loaded KV and the resistance that goes with the stator. [N m/sqrt(W)] Fitted."""
SIZE_EXPONENT = 0.92
"""Power of the copper-volume shape, 0.92 +- 0.06; copper depth and turn length alone give 1. [-] Fitted."""
FIXED_RESISTANCE = 0.03
"""Part of the effective resistance that is not wound on the stator: controller, leads, connectors, part of the
commutation. [ohm] The tables fit alike from 0.01 to 0.05."""
END_TURN_SHARE = 0.4
"""c in the shape d^2 h / sqrt(h + c d): end turns as a share of the stator diameter. [-]"""
REFERENCE_SHAPE = 22.0 * 22.0 * 7.0 / (7.0 + END_TURN_SHARE * 22.0) ** 0.5
"""The shape of the 22 x 7 mm stator. [mm^2.5]"""
LOADED_KV_RATIO = 0.98
"""Speed constant under load over the printed KV, mean of 35 motors. [-] Fitted."""
IRON_TORQUE_SCALE = 5.9e-9
"""q = scale x d^2 h, d and h in mm: loss torque per rev/s. [N m s] Fitted to stand tables, printed no-load currents and
two runs without propeller."""
IRON_TORQUE_BAND = 1.6
"""One sd of the loss torque as a factor (x or /). [-] Estimate: few motors print a no-load current."""
WINDING_WEIGHT = 0.6
"""Weight of a printed winding resistance against the stator rule, in ln ohm: those six scatter by 0.18 about their
share, the rule by 0.33, and a seventh maker may measure another way. [-] Estimate."""
LOG_SD_KV = 0.06
"""Log sd of the loaded KV about its forecast, between motors. [-] Fitted."""
LOG_SD_RESISTANCE = 0.33
"""Log sd of the effective resistance got from stator size and KV, inside the measured range. [-] Fitted."""
LOG_SD_RESISTANCE_PRINTED = 0.25
"""The same where the winding resistance is printed too. [-] Estimate from six motors."""
LOG_SD_EXPONENT = 0.15
"""Doubt of `SIZE_EXPONENT`, which widens the spread outside the measured sizes. [-] Estimate."""
MEASURED_CURRENT = 83.0
"""Highest current the resistance rule was fitted to. [A]"""
MEASURED_DIAMETER = (11.0 * MM, 32.0 * MM)
MEASURED_HEIGHT = (4.0 * MM, 20.0 * MM)
"""Stator sizes behind the fit; below 18 mm and above 28 mm few. [m]"""
MEASURED_SHAPE = (167.0, 2810.0)
"""Smallest (1104) and largest (2820) shape behind the fit. [mm^2.5]"""


def _shape(diameter: ArrayLike, height: ArrayLike) -> FloatArray:
    """Copper-volume shape d^2 h / sqrt(h + c d). [mm^2.5]"""
    d = np.asarray(diameter, float) / MM
    h = np.asarray(height, float) / MM
    return d * d * h / np.sqrt(h + END_TURN_SHARE * d)


def motor_constant(diameter: ArrayLike, height: ArrayLike) -> FloatArray:
    r"""Torque per square root of watt lost, from the stator size.

    .. math:: K_m = K_t / \sqrt{R_{eff} - R_0} = K_{2207} (x / x_{2207})^{0.92}, \;
        x = d^2 h / \sqrt{h + 0.4\, d}

    Copper depth grows with d, turn length with h plus the end turns; R_0 is `FIXED_RESISTANCE`.

    Parameters
    ----------
    diameter, height : array_like
        Stator d and h. [m]

    Returns
    -------
    ndarray
        K_m with the loaded KV. [N m/sqrt(W)]

    Notes
    -----
    Fitted to bench and makers' tables of 35 motors, 1104 to 3210, up to 83 A (data/motors/SOURCE.md).
    Outside that the form is extrapolated; `outside_measured` says so and `resistance_spread` widens.

    Examples
    --------
    >>> round(float(motor_constant(0.022, 0.007)), 4)
    0.013
    """
    return (
        MOTOR_CONSTANT_2207
        * (_shape(as_floats("stator diameter", diameter), as_floats("stator height", height)) / REFERENCE_SHAPE)
        ** SIZE_EXPONENT
    )


def from_stator(
    diameter: ArrayOrFloat,
    height: ArrayOrFloat,
    kv: ArrayOrFloat,
    *,
    winding_resistance: ArrayOrFloat | None = None,
    no_load_current: ArrayOrFloat | None = None,
    no_load_voltage: ArrayOrFloat = 10.0,
    mass: ArrayOrFloat | None = None,
    **fields: Any,
) -> Motor:
    """Forecast a motor from what its label says: stator size and KV.

    Parameters
    ----------
    diameter, height : array_like
        Stator size; "2207" is 22 mm by 7 mm. [m]
    kv : array_like
        Label KV. [rpm/V]
    winding_resistance : array_like, optional
        Printed winding figure. It sets the share of the heat that lands in the copper. It is *not* the
        effective resistance, which is about 2.6 times as large; it moves that by `WINDING_WEIGHT` towards 2.6
        times itself. [ohm]
    no_load_current : array_like, optional
        From the sheet; None gives an estimate from the stator volume. [A]
    no_load_voltage : array_like
        Voltage of the no-load figure. [V]
    mass : array_like, optional
        With wires; None gives an estimate. [kg]
    **fields : Any
        Any other field of `Motor` (name, max_cells, max_current, pole_pairs, ...).

    Returns
    -------
    Motor

    Raises
    ------
    ValueError
        If a value is not a positive finite number, or a size is plainly in mm.

    Examples
    --------
    >>> motor = from_stator(0.022, 0.007, 1950)
    >>> round(float(motor.resistance), 3)
    0.168
    """
    check_range("stator diameter", diameter, 3.0 * MM, 200.0 * MM, "m")
    check_range("stator height", height, 1.0 * MM, 150.0 * MM, "m")
    check_positive("motor KV", kv, "rpm/V")
    check_positive("motor no-load voltage", no_load_voltage, "V")
    d = np.asarray(diameter, float)
    h = np.asarray(height, float)
    ratio = fields.pop("loaded_kv_ratio", LOADED_KV_RATIO)
    loaded = check_range("loaded over printed KV", ratio, 0.5, 1.5)
    k_t = 60.0 / (2.0 * np.pi * np.asarray(kv, float) * loaded)
    effective = _rule(k_t, d, h)
    if winding_resistance is not None:
        check_positive("motor winding resistance", winding_resistance, "ohm")
        winding = np.asarray(winding_resistance, float)
        effective = effective ** (1.0 - WINDING_WEIGHT) * (winding / WINDING_SHARE) ** WINDING_WEIGHT
        effective = np.maximum(effective, winding)
    if no_load_current is None:
        slope = IRON_TORQUE_SCALE * (d / MM) ** 2 * (h / MM)
        no_load_current = current_without_load(slope, k_t, resistance=effective, voltage=no_load_voltage)
    return Motor(
        kv=kv,
        resistance=effective,
        no_load_current=no_load_current,
        no_load_voltage=no_load_voltage,
        mass=mass,
        stator_diameter=diameter,
        stator_height=height,
        winding_resistance=winding_resistance,
        loaded_kv_ratio=ratio,
        **fields,
    )


def _rule(k_t: ArrayLike, diameter: ArrayLike, height: ArrayLike) -> FloatArray:
    """Effective resistance by stator and K_t alone. [ohm]"""
    return (np.asarray(k_t, float) / motor_constant(diameter, height)) ** 2 + FIXED_RESISTANCE


def resistance_of_other(old: Motor, new: Motor, turns: ArrayLike) -> FloatArray:
    """Effective resistance of another motor of the same make: it keeps its ratio to the rule of `from_stator`.

    Parameters
    ----------
    old, new : Motor
        ``new`` with the other KV or stator; its own resistance is not looked at.
    turns : array_like
        Winding resistance of the new one over that of the old. [-]

    Returns
    -------
    ndarray
        [ohm] Without a stator size `FIXED_RESISTANCE`, at most half of the whole, is assumed constant.

    Examples
    --------
    >>> old, new = from_stator(0.022, 0.007, 1950), from_stator(0.022, 0.007, 975)
    >>> bool(np.isclose(resistance_of_other(old, new, 4.0), new.resistance))
    True
    """
    whole = np.asarray(old.resistance, float)
    old_size, new_size = stator_of(old), stator_of(new)
    if old_size is None or new_size is None:
        wound = np.maximum(whole - FIXED_RESISTANCE, 0.5 * whole)
        return whole + wound * (np.asarray(turns, float) - 1.0)
    ratio = _rule(new.torque_constant, *new_size) / _rule(old.torque_constant, *old_size)
    if old.winding_resistance is None:
        return whole * ratio
    turns_given = np.asarray(turns, float)
    mixed = whole * ratio ** (1.0 - WINDING_WEIGHT) * turns_given**WINDING_WEIGHT
    return np.maximum(mixed, np.asarray(old.winding_resistance, float) * turns_given)


def resistance_spread(motor: Motor, current: ArrayLike | None = None) -> FloatArray:
    """Log sd of the effective resistance, wider above the measured current and beyond the measured sizes.

    Parameters
    ----------
    motor : Motor
    current : array_like, optional
        Motor current of the forecast; None: inside the measured range. [A]

    Returns
    -------
    ndarray
        Own spread of the motor if it has one (measured, calibrated), else that of a label. [-]

    Examples
    --------
    >>> motor = from_stator(0.022, 0.007, 1950)
    >>> float(resistance_spread(motor)) < float(resistance_spread(motor, 120.0))
    True
    """
    if motor.log_sd_resistance is not None:
        return np.array(motor.log_sd_resistance, float)
    printed = motor.winding_resistance is not None
    variance = np.asarray((LOG_SD_RESISTANCE_PRINTED if printed else LOG_SD_RESISTANCE) ** 2)
    if motor.stator_diameter is not None and motor.stator_height is not None:
        shape = _shape(motor.stator_diameter, motor.stator_height)
        nearest = np.clip(shape, *MEASURED_SHAPE)
        variance = variance + (2.0 * LOG_SD_EXPONENT * np.log(shape / nearest)) ** 2
    if current is not None:
        beyond = np.log(np.maximum(as_floats("current", current) / MEASURED_CURRENT, 1.0))
        variance = variance + (0.25 * beyond) ** 2
    return np.sqrt(variance)


def outside_measured(motor: Motor, current: ArrayLike | None = None) -> NDArray[np.bool_]:
    """True where stator size or current lies outside the bench tables behind the resistance rule.

    Parameters
    ----------
    motor : Motor
    current : array_like, optional
        Motor current. [A]

    Returns
    -------
    ndarray of bool
        False where the motor carries its own spread (it was measured) or states no stator.

    Examples
    --------
    >>> bool(outside_measured(from_stator(0.022, 0.007, 1950)))
    False
    >>> bool(outside_measured(from_stator(0.041, 0.014, 400)))
    True
    """
    if motor.log_sd_resistance is not None:
        return np.asarray(False)
    outside = np.asarray(False)
    limits = ((motor.stator_diameter, MEASURED_DIAMETER), (motor.stator_height, MEASURED_HEIGHT))
    for value, (low, high) in limits:
        if value is not None:
            size = np.asarray(value, float)
            outside = outside | (size < low * (1 - 1e-9)) | (size > high * (1 + 1e-9))
    if current is not None:
        outside = outside | (as_floats("current", current) > MEASURED_CURRENT)
    return np.asarray(outside)
