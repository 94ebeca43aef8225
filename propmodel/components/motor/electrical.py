"""Electrical model of the motor: KV, effective resistance and no-load loss.

The electrical model is the usual three-constant one with a loss that grows with speed::

    V_motor = 2 pi n K_t + I R          K_t = 60 / (2 pi kv)
    Q_shaft = K_t I - q n               (iron, bearing and windage loss torque q n)

with ``kv`` the *loaded* speed constant, ``loaded_kv_ratio`` times the label. ``resistance`` is the *effective*
one, fitted to rpm and current at full throttle on thrust stands. It includes winding, controller, leads, timing and
commutation, and is two to three times the printed winding resistance. Only the winding part heats the winding.
Source of the rule for a stator size: data/motors/SOURCE.md.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from propmodel.base.arrays import ArrayOrFloat, FloatArray
from propmodel.base.checks import as_floats, keep_arrays
from propmodel.base.ranges import allowed, check_fields, positive
from propmodel.base.units import CELSIUS_ZERO
from propmodel.components.controller import Controller

__all__ = [
    "Motor",
    "current_for_torque",
    "current_without_load",
    "no_load_current",
    "no_load_speed",
    "stall_current",
    "stator_of",
    "torque",
    "voltage",
]

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
        Throttle map and losses found together with a calibrated motor: `bench_curve` uses them by default.
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

    kv: ArrayOrFloat = field(metadata=allowed(0.0, 1e5, "rpm/V", above=True, label="motor KV"))
    resistance: ArrayOrFloat = field(metadata=positive("ohm", "motor resistance"))
    no_load_current: ArrayOrFloat = field(metadata=allowed(0.0, 1000.0, "A", label="motor no-load current"))
    no_load_voltage: ArrayOrFloat = field(default=10.0, metadata=positive("V", "motor no-load voltage"))
    mass: ArrayOrFloat | None = field(default=None, metadata=positive("kg", "motor mass"))
    stator_diameter: ArrayOrFloat | None = field(default=None, metadata=positive("m", "stator diameter"))
    stator_height: ArrayOrFloat | None = field(default=None, metadata=positive("m", "stator height"))
    winding_resistance: ArrayOrFloat | None = field(default=None, metadata=positive("ohm", "motor winding resistance"))
    pole_pairs: ArrayOrFloat = field(default=7, metadata=allowed(1.0, 100.0, label="motor pole pairs"))
    max_cells: ArrayOrFloat | None = field(default=None, metadata=positive("cells", "motor cell limit"))
    max_current: ArrayOrFloat | None = field(default=None, metadata=positive("A", "motor current limit"))
    winding_limit: ArrayOrFloat = field(
        default=393.15, metadata=allowed(COPPER_REFERENCE, 700.0, "K", label="motor winding limit")
    )
    loaded_kv_ratio: ArrayOrFloat = field(default=1.0, metadata=allowed(0.5, 1.5, label="loaded over printed KV"))
    log_sd_kv: ArrayOrFloat | None = field(default=None, metadata=allowed(0.0, 3.0, label="log sd of motor KV"))
    log_sd_resistance: ArrayOrFloat | None = field(
        default=None, metadata=allowed(0.0, 3.0, label="log sd of motor resistance")
    )
    stand_controller: Controller | None = None
    name: str = ""

    def __post_init__(self) -> None:
        check_fields(self)
        drop = np.asarray(self.no_load_current, float) * np.asarray(self.resistance, float)
        share = drop / np.asarray(self.no_load_voltage, float)
        if np.any(share >= 1.0):
            raise ValueError(
                "motor no-load current x resistance must be below the no-load test voltage, got "
                f"{float(np.max(share)):.3g} of it: check the units of current (A) and resistance (ohm)"
            )
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


def stator_of(motor: Motor) -> tuple[ArrayOrFloat, ArrayOrFloat] | None:
    """Stator diameter and height of a motor, where both are known.

    Parameters
    ----------
    motor : Motor

    Returns
    -------
    tuple or None
        [m]

    Examples
    --------
    >>> from propmodel.components.motor import from_stator
    >>> stator_of(from_stator(0.022, 0.007, 1950))
    (0.022, 0.007)
    """
    if motor.stator_diameter is None or motor.stator_height is None:
        return None
    return motor.stator_diameter, motor.stator_height


def current_for_torque(motor: Motor, torque: ArrayLike, rev_per_s: ArrayLike) -> FloatArray:
    """Motor current for a shaft torque at a speed: (Q + q n)/K_t.

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
    """Speed without a propeller, with the loss torque.

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
    >>> from propmodel.components.motor import from_stator
    >>> motor = from_stator(0.022, 0.007, 1950)
    >>> again = current_without_load(
    ...     motor.iron_torque_slope, motor.torque_constant, resistance=motor.resistance, voltage=motor.no_load_voltage
    ... )
    >>> round(float(again / motor.no_load_current), 9)
    1.0
    """
    k_t = as_floats("torque constant", torque_constant)
    per_rev = as_floats("loss slope", loss_slope) / k_t
    volts, ohms = as_floats("voltage", voltage), as_floats("resistance", resistance)
    return per_rev * volts / (2.0 * np.pi * k_t + ohms * per_rev)


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
    """Current of the stalled motor: V/R.

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
