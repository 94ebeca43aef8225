"""The electronic speed controller: average-duty model with ripple and switching loss.

The average motor voltage is ``duty`` times the bus voltage. The conduction resistance of the controller is part of the
*effective* resistance of the motor, so :attr:`Controller.resistance` is zero unless the resistance of the winding alone
is modelled. The average-duty model has no ripple current and no switching loss. They are added as
``P_0 + k_r V_bus^2 [d (1 - d)]^2`` for each rotor; without them hover power is 15 to 35 % too low on open thrust-stand
tables (see ``data/motors/SOURCE.md``).

With the motor voltage V = d V_bus the ripple loss is ``k_r V^2 (1 - d)^2``. It is limited to ``3 F (1 - d)^2``, where F
is the power of the rotor without it. At low current the winding conducts discontinuously, and the ripple no longer
grows with the voltage (common practice; the 3 is not measured). Of all limits of this form, 3 is the highest for which
a lower bus voltage never reduces the current, so that a colder or older pack never lasts longer:
d (F + k V^2 (1 - d)^2) increases with d for k V^2 <= 3 F, and at 3 its slope first reaches zero. The demo craft stay
below a quarter of this limit at every throttle.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base.arrays import ArrayOrFloat
from propmodel.base.checks import as_floats, keep_arrays
from propmodel.base.ranges import allowed, check_fields, positive

__all__ = [
    "RIPPLE_MOST",
    "Controller",
    "command_from_duty",
    "default_throttle_exponent",
    "duty_cap",
    "duty_from_throttle",
    "limited_ripple_coefficient",
    "nominal_tip_mach",
    "ripple_loss",
    "ripple_power",
    "ripple_voltage",
    "throttle_from_duty",
    "winding_ripple",
    "with_rule_exponent",
]

THROTTLE_EXPONENT = 0.91
"""Exponent of the throttle map, duty = command^exponent, at a nominal tip Mach number of 0.9. [-] Fitted, see
data/motors/SOURCE.md."""
TIP_POWER = 0.14
"""The exponent is proportional to this power of the nominal tip Mach number. [-] Fitted, 0.142 +- 0.027."""
REFERENCE_TIP_MACH = 0.9
"""Nominal tip Mach number of `THROTTLE_EXPONENT`. [-]"""
TIP_MACH_RANGE = (0.33, 0.99)
"""Range of nominal tip Mach numbers in the fitted tables; the rule is constant outside. [-]"""
_SOUND = 341.0
"""Speed of sound of the rule, that of the air at the stands. The map is electrical and independent of the air. [m/s]"""
LOG_SD_THROTTLE_EXPONENT = 0.105
"""Log sd of the exponent between stands, about the rule. [-] Fitted."""
LOG_SD_THROTTLE_EXPONENT_TYPED = 0.05
"""Log sd of an exponent that somebody typed, read off a table or a hover by hand. [-] Estimate."""
RIPPLE_COEFFICIENT = 0.39
"""k_r of the ripple and switching loss, fitted to all stands together. [W/V^2]"""
RIPPLE_MOST = 3.0
"""k_r V^2 is at most this much times the power that goes to a rotor otherwise. [-]"""
# numbers as arrays without axes: numpy takes them faster than plain ones
_ZERO, _RIPPLE_MOST, _EPSILON = (np.asarray(x) for x in (0.0, RIPPLE_MOST, 1e-30))


@dataclass(frozen=True)
class Controller:
    """One motor's speed controller; fields may be arrays.

    Parameters
    ----------
    resistance : array_like
        Conduction resistance on top of the motor's effective resistance. [ohm]
    ripple_coefficient : array_like
        k_r of the ripple and switching loss. [W/V^2]
    standby_power : array_like
        P_0, drawn at any duty. [W]
    throttle_exponent : array_like or None
        Exponent of the throttle map: duty = cap^exponent (idle + (1 - idle) throttle^exponent). [-] Below 1 there is
        more than average duty at part throttle, as most stands show. None, or NaN in an array: not known, taken from
        the rule; :attr:`exponent` is what counts.
    idle_duty : array_like
        Duty at no throttle while armed. [-]
    log_sd_throttle_exponent : array_like or None
        Own spread of the exponent once it was measured; None: that between stands. [-]
    continuous_current, burst_current : array_like or None
        Label ratings of one motor channel. [A]
    min_cells, max_cells : array_like or None
        Cells in series the label allows. [-]
    max_voltage : array_like or None
        Highest input voltage, where the label gives volts. [V]
    mass : array_like or None
        Mass of one controller, None where the frame mass already holds it. [kg]
    name : str
        Free text.
    rule_exponent : array_like
        What :func:`default_throttle_exponent` says of the motor, propeller and volts that the controller drives. [-]
        Not for users: `Build` and the forecasts of a stand fill it in anew whenever one of these changes.
    """

    resistance: ArrayOrFloat = field(default=0.0, metadata=allowed(0.0, 10.0, "ohm", label="controller resistance"))
    ripple_coefficient: ArrayOrFloat = field(default=RIPPLE_COEFFICIENT, metadata=allowed(0.0, 10.0, "W/V^2"))
    standby_power: ArrayOrFloat = field(default=0.5, metadata=allowed(0.0, 1000.0, "W"))
    throttle_exponent: ArrayOrFloat | None = field(default=None, metadata=allowed(0.2, 3.0, nan=True))
    idle_duty: ArrayOrFloat = field(default=0.0, metadata=allowed(0.0, 0.5))
    log_sd_throttle_exponent: ArrayOrFloat | None = field(
        default=None, metadata=allowed(0.0, 1.0, label="log sd of the throttle exponent")
    )
    continuous_current: ArrayOrFloat | None = field(default=None, metadata=positive("A"))
    burst_current: ArrayOrFloat | None = field(default=None, metadata=positive("A"))
    min_cells: ArrayOrFloat | None = field(default=None, metadata=positive())
    max_cells: ArrayOrFloat | None = field(default=None, metadata=positive())
    max_voltage: ArrayOrFloat | None = field(default=None, metadata=positive("V"))
    mass: ArrayOrFloat | None = field(default=None, metadata=positive("kg"))
    name: str = ""
    rule_exponent: ArrayOrFloat = field(default=THROTTLE_EXPONENT, metadata={**allowed(0.2, 3.0), "worked_out": True})

    def __post_init__(self) -> None:
        check_fields(self)
        keep_arrays(self)

    @property
    def exponent(self) -> ArrayOrFloat:
        """Exponent of the throttle map: the given one, and where none is known that of the rule. [-]"""
        given = self.throttle_exponent
        if given is None:
            return self.rule_exponent
        if not isinstance(given, np.ndarray):
            return given
        unknown = np.isnan(given)
        return np.where(unknown, self.rule_exponent, given) if unknown.any() else given


def nominal_tip_mach(diameter: ArrayLike, kv: ArrayLike, volts: ArrayLike) -> NDArray:
    """Tip speed of the propeller at the no-load speed of the motor, over the speed of sound.

    Parameters
    ----------
    diameter : array_like
        Of the propeller. [m]
    kv : array_like
        Label KV. [rpm/V]
    volts : array_like
        Supply voltage. [V]

    Returns
    -------
    ndarray
        pi D KV V / (60 a), with a = 341 m/s in any air. [-]

    Examples
    --------
    >>> round(float(nominal_tip_mach(0.1295, 1950.0, 22.2)), 2)
    0.86
    """
    speed = np.asarray(diameter, dtype=np.float64) * np.asarray(kv, dtype=np.float64) * np.asarray(volts, np.float64)
    return np.asarray(speed * (np.pi / 60.0 / _SOUND))


def default_throttle_exponent(diameter: ArrayLike, kv: ArrayLike, volts: ArrayLike) -> NDArray:
    """Default exponent of the throttle map, from diameter, KV and voltage.

    A higher no-load tip speed means a heavier load at a given duty, and an exponent nearer to 1. A likely cause, not
    proven: at low load the current is discontinuous, and the mean voltage is above duty times bus voltage
    (data/motors/SOURCE.md, "A fourth look").

    Parameters
    ----------
    diameter, kv : array_like
        As for :func:`nominal_tip_mach`.
    volts : array_like
        Nominal voltage of a pack, or the reading at a stand. [V]

    Returns
    -------
    ndarray
        0.79 to 0.92: 0.91 (pi D KV V / (60 a) / 0.9)^0.14, constant outside the range of the tables. [-] Its
        log sd between stands is `LOG_SD_THROTTLE_EXPONENT`.

    Examples
    --------
    >>> default_throttle_exponent(0.1295, np.array([1950.0, 1300.0]), 22.2).round(3)
    array([0.904, 0.854])
    """
    tip = np.minimum(np.maximum(nominal_tip_mach(diameter, kv, volts), TIP_MACH_RANGE[0]), TIP_MACH_RANGE[1])
    return np.asarray(THROTTLE_EXPONENT * (tip / REFERENCE_TIP_MACH) ** TIP_POWER)


_NUMBERS = (float, int)


@lru_cache(maxsize=256)
def _of_numbers(diameter: float, kv: float, volts: float) -> float:
    """`default_throttle_exponent` of plain numbers, cached."""
    return float(default_throttle_exponent(diameter, kv, volts))


def with_rule_exponent(controller: Controller, diameter: ArrayLike, kv: ArrayLike, volts: ArrayLike) -> Controller:
    """Return the controller with the default exponent for this motor and propeller, where none is given.

    Parameters
    ----------
    controller : Controller
    diameter, kv, volts : array_like
        As for :func:`default_throttle_exponent`.

    Returns
    -------
    Controller
        The same object where the exponent is known, or the rule says what it holds.

    Examples
    --------
    >>> round(float(with_rule_exponent(Controller(), 0.1295, 1300.0, 22.2).exponent), 3)
    0.854
    >>> with_rule_exponent(Controller(throttle_exponent=1.0), 0.1295, 1300.0, 22.2).exponent
    1.0
    """
    given = controller.throttle_exponent
    if given is not None and not (isinstance(given, np.ndarray) and np.isnan(given).any()):
        return controller
    rule: ArrayOrFloat
    if isinstance(diameter, _NUMBERS) and isinstance(kv, _NUMBERS) and isinstance(volts, _NUMBERS):
        rule = _of_numbers(diameter, kv, volts)
    else:
        found = default_throttle_exponent(diameter, kv, volts)
        rule = found if found.ndim else float(found)
    held = controller.rule_exponent
    if not isinstance(rule, np.ndarray) and not isinstance(held, np.ndarray) and rule == held:
        return controller
    # a copy without the checks of all the other fields, which have been checked
    other = copy(controller)
    object.__setattr__(other, "rule_exponent", rule)
    return other


def duty_cap(controller: Controller, command_cap: ArrayLike = 1.0) -> NDArray:
    """Largest duty under a command cap: the throttle map of the cap.

    Parameters
    ----------
    controller : Controller
        Holds the throttle map.
    command_cap : array_like
        Largest command the flight controller may give. [-]

    Returns
    -------
    ndarray
        [-]

    Examples
    --------
    >>> round(float(duty_cap(Controller(throttle_exponent=0.9), 0.8)), 3)
    0.818
    """
    cap, exponent = np.asarray(command_cap, dtype=np.float64), controller.exponent
    # no cap: one to any power
    return cap if _is_one(exponent) or _is_one(cap) else cap ** np.asarray(exponent)


def duty_from_throttle(controller: Controller, throttle: ArrayLike, *, command_cap: ArrayLike = 1.0) -> NDArray:
    """Average duty for a throttle command.

    Parameters
    ----------
    controller : Controller
        Holds the throttle map.
    throttle : array_like
        Command, 0 to 1. [-]
    command_cap : array_like
        Largest command the flight controller may give. [-]

    Returns
    -------
    ndarray
        Duty, from that of the idle to that of ``command_cap``. [-]

    Examples
    --------
    >>> float(duty_from_throttle(Controller(throttle_exponent=1.0), 0.5, command_cap=0.8))
    0.4
    """
    command = as_floats("throttle", throttle)
    exponent = controller.exponent
    if not _is_one(exponent):
        command = command ** np.asarray(exponent)
    idle = controller.idle_duty
    cap = duty_cap(controller, command_cap)
    least = cap * (idle if isinstance(idle, float) else np.asarray(idle))
    return np.asarray(cap - least) * command + np.asarray(least)


def _is_one(exponent: ArrayOrFloat) -> bool:
    return exponent == 1.0 if isinstance(exponent, float) else bool(np.all(np.asarray(exponent) == 1.0))


def throttle_from_duty(controller: Controller, duty: ArrayLike, *, command_cap: ArrayLike = 1.0) -> NDArray:
    """Throttle command that gives a duty: the inverse of :func:`duty_from_throttle`.

    Parameters
    ----------
    controller : Controller
        Holds the throttle map.
    duty : array_like
        Average duty. [-] A duty below idle gives 0.
    command_cap : array_like
        Largest command the flight controller may give. [-]

    Returns
    -------
    ndarray
        Throttle; above 1 where the cap does not reach the duty. [-]

    Examples
    --------
    >>> float(throttle_from_duty(Controller(throttle_exponent=1.0), 0.4, command_cap=0.8))
    0.5
    """
    idle = np.asarray(controller.idle_duty)
    exponent = controller.exponent
    shaped = np.maximum((as_floats("duty", duty) / duty_cap(controller, command_cap) - idle) / (1.0 - idle), 0.0)
    return shaped if _is_one(exponent) else shaped ** (1.0 / np.asarray(exponent))


def command_from_duty(controller: Controller, duty: ArrayLike, *, command_cap: ArrayLike = 1.0) -> NDArray:
    """Motor command that gives a duty, idle included, as a share of the largest command.

    Parameters
    ----------
    controller : Controller
        Holds the exponent of the throttle map.
    duty : array_like
        Average duty. [-]
    command_cap : array_like
        Largest command the flight controller may give. [-]

    Returns
    -------
    ndarray
        Above 1 where the cap does not reach the duty. [-]

    Examples
    --------
    >>> round(float(command_from_duty(Controller(throttle_exponent=0.9), 0.25)), 3)
    0.214
    """
    share = np.maximum(as_floats("duty", duty), 0.0) / duty_cap(controller, command_cap)
    exponent = controller.exponent
    return share if _is_one(exponent) else share ** (1.0 / np.asarray(exponent))


def ripple_loss(
    controller: Controller, motor_voltage: ArrayLike, bus_voltage: ArrayLike, *, power: ArrayLike = np.inf
) -> NDArray:
    """Ripple and switching loss of one rotor's controller and winding together.

    Parameters
    ----------
    controller : Controller
        Holds k_r and P_0.
    motor_voltage, bus_voltage : array_like
        Average motor voltage and bus voltage. [V]
    power : array_like
        What the rotor takes otherwise, with P_0 and its share of the electronics. [W]

    Returns
    -------
    ndarray
        P_0 + k_r V_bus^2 [d (1 - d)]^2 with d = V_motor / V_bus, held where the power is small. [W]

    Examples
    --------
    >>> round(float(ripple_loss(Controller(ripple_coefficient=0.3), 5.0, 20.0)), 4)
    4.7188
    """
    volts = np.asarray(motor_voltage, dtype=np.float64)
    rest = np.maximum(1.0 - volts / np.asarray(bus_voltage, dtype=np.float64), 0.0)
    whole = np.minimum(np.asarray(controller.ripple_coefficient) * volts * volts, RIPPLE_MOST * np.asarray(power))
    return np.asarray(controller.standby_power) + whole * rest * rest


def ripple_voltage(motor_voltage: NDArray, bus_voltage: NDArray) -> NDArray:
    """V_bus d (1 - d): the ripple loss is proportional to the square of this voltage.

    Parameters
    ----------
    motor_voltage, bus_voltage : ndarray
        Average motor voltage, and bus voltage. [V]

    Returns
    -------
    ndarray
        0 where the motor voltage is above the bus voltage. [V]

    Examples
    --------
    >>> float(ripple_voltage(np.asarray(5.0), np.asarray(20.0)))
    3.75
    """
    return np.maximum(motor_voltage - motor_voltage * motor_voltage / bus_voltage, _ZERO)


def ripple_power(coefficient: ArrayLike, bus_voltage: ArrayLike, duty: ArrayLike) -> NDArray:
    """Ripple loss of one rotor at a duty, without standby and without its limit: k_r V_bus^2 [d (1 - d)]^2.

    Parameters
    ----------
    coefficient : array_like
        k_r. [W/V^2]
    bus_voltage : array_like
        [V]
    duty : array_like
        Average duty, 0 to 1. [-]

    Returns
    -------
    ndarray
        [W]

    Examples
    --------
    >>> float(ripple_power(0.5, 20.0, 0.5))
    12.5
    """
    share = np.asarray(duty) * (1.0 - np.asarray(duty))
    return np.asarray(coefficient) * (np.asarray(bus_voltage) * share) ** 2


def limited_ripple_coefficient(coefficient: NDArray, fixed: NDArray, square: NDArray) -> NDArray:
    """Ripple coefficient of all rotors, reduced at low power; see the docstring of this module.

    Parameters
    ----------
    coefficient : ndarray
        Of all rotors. [W/V^2]
    fixed : ndarray
        Power of all rotors and the electronics without ripple. [W]
    square : ndarray
        Motor voltage squared. [V^2]

    Returns
    -------
    ndarray
        [W/V^2]
    """
    return np.minimum(coefficient, _RIPPLE_MOST * fixed / np.maximum(square, _EPSILON))


def winding_ripple(controller: Controller, loss: ArrayLike) -> NDArray:
    """The part of :func:`ripple_loss` that heats the winding: half of it without standby (an estimate).

    Parameters
    ----------
    controller : Controller
        Holds P_0.
    loss : array_like
        Ripple and standby loss of one rotor. [W]

    Returns
    -------
    ndarray
        [W]

    Examples
    --------
    >>> float(winding_ripple(Controller(standby_power=0.5), 2.5))
    1.0
    """
    return 0.5 * np.maximum(np.asarray(loss) - np.asarray(controller.standby_power), 0.0)
