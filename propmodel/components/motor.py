"""The motor: KV, effective resistance and no-load loss, and what a stator size says about them.

The electrical model is the usual three-constant one with a loss that grows with speed::

    V_motor = 2 pi n K_t + I R          K_t = 60 / (2 pi kv)
    Q_shaft = K_t I - q n               (iron, bearing and windage loss torque q n)

with ``kv`` the *loaded* speed constant, ``loaded_kv_ratio`` times the label. ``resistance`` is the *effective*
figure: what explains rpm and current at full throttle on a bench. It holds winding, controller, leads, timing
and commutation, and is two to three times the winding figure that sellers print. Only the winding part warms
and feeds the winding node. How the rule from stator size was found: data/motors/SOURCE.md.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base.checks import as_floats, check_positive, check_range, keep_arrays
from propmodel.base.constants import COPPER_TEMPERATURE_COEFFICIENT
from propmodel.base.units import CELSIUS_ZERO, MM
from propmodel.components.controller import Controller

__all__ = [
    "DatasheetPoint",
    "Motor",
    "bell_inertia",
    "can_size",
    "current_for_torque",
    "current_without_load",
    "datasheet_point",
    "estimated_mass",
    "from_stator",
    "motor_constant",
    "motor_mass",
    "no_load_current",
    "no_load_speed",
    "outside_measured",
    "peak_efficiency",
    "peak_efficiency_constant_loss",
    "resistance_at",
    "resistance_of_other",
    "resistance_spread",
    "rest_resistance",
    "stall_current",
    "torque",
    "voltage",
    "winding_only_promise",
    "winding_part",
]

FloatArray = NDArray[np.float64]

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
BELL_SHARE, BELL_RADIUS = 0.45, 0.44
"""Share of a motor's mass that turns; its radius of gyration over the can diameter (estimates). [-]"""
IRON_TORQUE_SCALE = 5.9e-9
"""q = scale x d^2 h, d and h in mm: loss torque per rev/s. [N m s] Fitted to stand tables, printed no-load currents and
two runs without propeller."""
IRON_TORQUE_BAND = 1.6
"""One sd of the loss torque as a factor (x or /). [-] Estimate: few motors print a no-load current."""
WINDING_SHARE = 0.38
"""Winding copper's share of the effective resistance, 0.31 to 0.49 in six motors of four makers that print it. [-]"""
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
COPPER_REFERENCE = CELSIUS_ZERO + 20.0


@dataclass(frozen=True)
class Motor:
    """One brushless motor; every number may be an array.

    Parameters
    ----------
    kv : array_like
        Label speed constant. [rpm/V]
    resistance : array_like
        Effective resistance at 20 C winding: winding, controller, leads, commutation. [ohm]
    no_load_current : array_like
        Current of the bare motor at ``no_load_voltage``. [A]
    no_load_voltage : array_like
        Voltage of that test. [V]
    mass : array_like, optional
        With its wires; None gives an estimate from the stator (see `motor_mass`). [kg]
    stator_diameter, stator_height : array_like, optional
        Lamination stack. [m]
    winding_resistance : array_like, optional
        Winding alone, as sellers print it; None means `WINDING_SHARE` of ``resistance``. [ohm]
    pole_pairs : array_like
        Magnet poles / 2: electrical turns per turn. [-]
    max_cells : array_like, optional
        Label limit of pack cells in series. [-]
    max_current : array_like, optional
        Label limit. [A]
    winding_limit : array_like
        Temperature the winding should stay below. [K]
    loaded_kv_ratio : array_like
        Speed constant under load over ``kv``. 1 where ``kv`` was measured under load; `from_stator` takes
        what printed KV was found to mean on benches. [-]
    log_sd_kv, log_sd_resistance : array_like, optional
        Own spread once measured or calibrated; None means the spread of a label. [-]
    stand_controller : Controller, optional
        Throttle map and losses found together with a calibrated motor: `bench_curve` takes them unless told otherwise.
    name : str
        Shown to the user.

    Raises
    ------
    ValueError
        If a number is text, NaN, infinite, or outside its range.

    Examples
    --------
    >>> motor = Motor(920, 0.11, 0.5)
    >>> round(float(motor.torque_constant), 6)
    0.01038
    """

    kv: Any
    resistance: Any
    no_load_current: Any
    no_load_voltage: Any = 10.0
    mass: Any = None
    stator_diameter: Any = None
    stator_height: Any = None
    winding_resistance: Any = None
    pole_pairs: Any = 7
    max_cells: Any = None
    max_current: Any = None
    winding_limit: Any = 393.15
    loaded_kv_ratio: Any = 1.0
    log_sd_kv: Any = None
    log_sd_resistance: Any = None
    stand_controller: Controller | None = None
    name: str = ""

    def __post_init__(self) -> None:
        check_positive("motor KV", self.kv, "rpm/V")
        check_range("motor KV", self.kv, 0.0, 1e5, "rpm/V")
        check_positive("motor resistance", self.resistance, "ohm")
        check_range("motor no-load current", self.no_load_current, 0.0, 1000.0, "A")
        check_positive("motor no-load voltage", self.no_load_voltage, "V")
        drop = np.asarray(self.no_load_current, float) * np.asarray(self.resistance, float)
        share = drop / np.asarray(self.no_load_voltage, float)
        if np.any(share >= 1.0):
            raise ValueError(
                "motor no-load current x resistance must be below the no-load test voltage, got "
                f"{float(np.max(share)):.3g} of it: check the units of current (A) and resistance (ohm)"
            )
        optional = (
            ("motor mass", self.mass, "kg"),
            ("stator diameter", self.stator_diameter, "m"),
            ("stator height", self.stator_height, "m"),
            ("motor winding resistance", self.winding_resistance, "ohm"),
            ("motor cell limit", self.max_cells, "cells"),
            ("motor current limit", self.max_current, "A"),
        )
        for label, value, unit in optional:
            if value is not None:
                check_positive(label, value, unit)
        check_range("motor pole pairs", self.pole_pairs, 1, 100)
        check_range("loaded over printed KV", self.loaded_kv_ratio, 0.5, 1.5)
        check_range("motor winding limit", self.winding_limit, COPPER_REFERENCE, 700.0, "K")
        for label, value in (("motor KV", self.log_sd_kv), ("motor resistance", self.log_sd_resistance)):
            if value is not None:
                check_range(f"log sd of {label}", value, 0.0, 3.0)
        keep_arrays(self)

    @property
    def kv_si(self) -> FloatArray:
        """Speed constant under load. [rad/(s V)]"""
        return np.asarray(self.kv, float) * (np.asarray(self.loaded_kv_ratio, float) * (2.0 * np.pi / 60.0))

    @property
    def torque_constant(self) -> FloatArray:
        """K_t = 60/(2 pi kv loaded_kv_ratio). [N m/A]"""
        return 1.0 / self.kv_si

    @property
    def iron_torque_slope(self) -> FloatArray:
        """q: loss torque per rev/s, so that the bare motor draws its no-load current at its test. [N m s]"""
        current = np.asarray(self.no_load_current, float)
        volts = np.asarray(self.no_load_voltage, float) - current * self.resistance
        k_t = self.torque_constant
        return 2.0 * np.pi * k_t * k_t * current / volts


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
    return MOTOR_CONSTANT_2207 * (_shape(diameter, height) / REFERENCE_SHAPE) ** SIZE_EXPONENT


def from_stator(
    diameter: ArrayLike,
    height: ArrayLike,
    kv: ArrayLike,
    *,
    winding_resistance: ArrayLike | None = None,
    no_load_current: ArrayLike | None = None,
    no_load_voltage: ArrayLike = 10.0,
    mass: ArrayLike | None = None,
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
        [ohm] Without a stator size `FIXED_RESISTANCE`, at most half of the whole, is taken not to change.

    Examples
    --------
    >>> old, new = from_stator(0.022, 0.007, 1950), from_stator(0.022, 0.007, 975)
    >>> bool(np.isclose(resistance_of_other(old, new, 4.0), new.resistance))
    True
    """
    whole = np.asarray(old.resistance, float)
    if old.stator_diameter is None or old.stator_height is None:
        wound = np.maximum(whole - FIXED_RESISTANCE, 0.5 * whole)
        return whole + wound * (np.asarray(turns, float) - 1.0)
    before, after = (_rule(m.torque_constant, m.stator_diameter, m.stator_height) for m in (old, new))
    ratio = after / before
    if old.winding_resistance is None:
        return whole * ratio
    told = np.asarray(turns, float)
    mixed = whole * ratio ** (1.0 - WINDING_WEIGHT) * told**WINDING_WEIGHT
    return np.maximum(mixed, np.asarray(old.winding_resistance, float) * told)


def current_for_torque(motor: Motor, torque: ArrayLike, rev_per_s: ArrayLike) -> FloatArray:
    """Motor current that holds a shaft torque at a speed: (Q + q n)/K_t.

    Parameters
    ----------
    motor : Motor
    torque : array_like
        Shaft torque. [N m]
    rev_per_s : array_like
        Speed n. [1/s]

    Returns
    -------
    ndarray
        Average motor current while the controller conducts. [A]

    Examples
    --------
    >>> round(float(current_for_torque(Motor(920, 0.11, 0.5, 13.5281696), 0.12, 206.59)), 3)
    12.061
    """
    loss = motor.iron_torque_slope * as_floats("rev_per_s", rev_per_s)
    return (as_floats("torque", torque) + loss) * motor.kv_si


def voltage(motor: Motor, current: ArrayLike, rev_per_s: ArrayLike) -> FloatArray:
    """Average voltage the controller must apply: 2 pi n K_t + I R.

    Parameters
    ----------
    motor : Motor
    current : array_like
        Motor current. [A]
    rev_per_s : array_like
        Speed n. [1/s]

    Returns
    -------
    ndarray
        V_motor = duty x bus voltage. [V]

    Examples
    --------
    >>> round(float(voltage(Motor(920, 0.11, 0.5), 12.06106, 206.59)), 2)
    14.8
    """
    emf = as_floats("rev_per_s", rev_per_s) * (2.0 * np.pi * motor.torque_constant)
    return emf + as_floats("current", current) * motor.resistance


def torque(motor: Motor, current: ArrayLike, rev_per_s: ArrayLike) -> FloatArray:
    """Shaft torque at a current and speed: K_t I - q n.

    Parameters
    ----------
    motor : Motor
    current : array_like
        Motor current. [A]
    rev_per_s : array_like
        Speed n. [1/s]

    Returns
    -------
    ndarray
        [N m]

    Examples
    --------
    >>> motor = Motor(920, 0.11, 0.5)
    >>> round(float(torque(motor, current_for_torque(motor, 0.12, 200.0), 200.0)), 9)
    0.12
    """
    loss = motor.iron_torque_slope * as_floats("rev_per_s", rev_per_s)
    return as_floats("current", current) * motor.torque_constant - loss


def no_load_speed(motor: Motor, voltage: ArrayLike) -> FloatArray:
    """Speed without a propeller, the loss torque taken off.

    Parameters
    ----------
    motor : Motor
    voltage : array_like
        Motor voltage. [V]

    Returns
    -------
    ndarray
        [1/s]

    Notes
    -----
    Keeps to the loaded KV; a bare motor turns nearer its label (0.99 of it in two no-propeller tables).

    Examples
    --------
    >>> round(float(no_load_speed(Motor(1000, 0.1, 1.0), 10.0)) * 60)
    9900
    """
    per_rev = 2.0 * np.pi * motor.torque_constant + motor.resistance * motor.iron_torque_slope * motor.kv_si
    return as_floats("voltage", voltage) / per_rev


def current_without_load(
    loss_slope: ArrayLike, torque_constant: ArrayLike, *, resistance: ArrayLike, voltage: ArrayLike
) -> FloatArray:
    """Current of a bare motor at a voltage, from the torque of its losses.

    V = n (2 pi K_t + R q/K_t) without a propeller, and I_0 = q n/K_t.

    Parameters
    ----------
    loss_slope : array_like
        q: loss torque per rev/s. [N m s]
    torque_constant : array_like
        K_t. [N m/A]
    resistance, voltage : array_like
        [ohm], [V]

    Returns
    -------
    ndarray
        [A]

    Examples
    --------
    >>> motor = from_stator(0.022, 0.007, 1950)
    >>> again = current_without_load(
    ...     motor.iron_torque_slope, motor.torque_constant, resistance=motor.resistance, voltage=motor.no_load_voltage
    ... )
    >>> round(float(again / motor.no_load_current), 9)
    1.0
    """
    k_t = np.asarray(torque_constant, float)
    per_rev = np.asarray(loss_slope, float) / k_t
    return per_rev * np.asarray(voltage, float) / (2.0 * np.pi * k_t + np.asarray(resistance, float) * per_rev)


def no_load_current(motor: Motor, rev_per_s: ArrayLike) -> FloatArray:
    """Current that only turns the bare motor: q n/K_t.

    Parameters
    ----------
    motor : Motor
    rev_per_s : array_like
        Speed n. [1/s]

    Returns
    -------
    ndarray
        [A]

    Examples
    --------
    >>> motor = Motor(1000, 0.1, 1.0)
    >>> round(float(no_load_current(motor, no_load_speed(motor, 20.0))), 6)
    2.0
    """
    return motor.iron_torque_slope * as_floats("rev_per_s", rev_per_s) * motor.kv_si


def stall_current(motor: Motor, voltage: ArrayLike) -> FloatArray:
    """Current of the motor held still: V/R.

    Parameters
    ----------
    motor : Motor
    voltage : array_like
        Motor voltage. [V]

    Returns
    -------
    ndarray
        [A]

    Notes
    -----
    With the effective resistance this is well below what a bare winding would draw.

    Examples
    --------
    >>> round(float(stall_current(Motor(178, 2.45, 0.0786, 48.0), 48.0)), 2)
    19.59
    """
    return as_floats("voltage", voltage) / motor.resistance


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
    r"""Best current and efficiency when the no-load current is taken as constant.

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
    v, r, i0 = (np.asarray(x, float) for x in (voltage, resistance, no_load_current))
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


def winding_only_promise(motor: Motor) -> Motor:
    """Return the motor as somebody would model it who takes the winding figure for the whole resistance.

    Parameters
    ----------
    motor : Motor

    Returns
    -------
    Motor
        Same motor with ``resistance`` = its winding part and the printed KV taken at its word: too much
        thrust, too little heat. Use it only to show what such a figure would wrongly promise.

    Examples
    --------
    >>> honest = from_stator(0.022, 0.007, 1950, winding_resistance=0.07)
    >>> round(float(honest.resistance), 3), float(winding_only_promise(honest).resistance)
    (0.178, 0.07)
    """
    winding = winding_part(motor)
    return replace(motor, resistance=winding, winding_resistance=winding, loaded_kv_ratio=1.0)


def resistance_spread(motor: Motor, current: ArrayLike | None = None) -> FloatArray:
    """Log sd of the effective resistance, wider above the measured current and beyond the measured sizes.

    Parameters
    ----------
    motor : Motor
    current : array_like, optional
        Motor current the forecast is asked for; None: inside the measured range. [A]

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


def estimated_mass(diameter: ArrayLike, height: ArrayLike) -> FloatArray:
    """Mass of a motor with short wires from its stator: 5 g + 0.0078 g/mm^3 d^2 h. Estimate.

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
    """
    d, h = np.asarray(diameter, float), np.asarray(height, float)
    return 0.005 + 7800.0 * d * d * h


def _stator(motor: Motor) -> tuple[FloatArray, FloatArray]:
    """Stator size, stated or guessed from the mass at the proportions d = 3.3 h (22 x 6.7)."""
    if motor.stator_diameter is not None and motor.stator_height is not None:
        return np.asarray(motor.stator_diameter, float), np.asarray(motor.stator_height, float)
    mass = np.asarray(0.032 if motor.mass is None else motor.mass, float)
    volume = np.maximum(mass - 0.005, 0.1 * mass) / 7800.0
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
    >>> f"{float(bell_inertia(from_stator(0.022, 0.007, 1950))):.2g}"
    '2.1e-06'
    """
    diameter, _ = can_size(motor)
    return BELL_SHARE * motor_mass(motor) * (BELL_RADIUS * diameter) ** 2
