"""Static curves as functions of throttle: of a craft on its pack, and of one rotor on a thrust stand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import Build, with_axis
from propmodel.base.checks import apart, check_positive, check_range, quoted
from propmodel.components import controller
from propmodel.components import propeller as propellers
from propmodel.components.air import STANDARD, Air
from propmodel.components.motor import Motor, winding_part
from propmodel.powertrain.operating_point import (
    DutySolution,
    OperatingPoint,
    at_duty,
    solve_at_duty,
    solve_for_row,
    with_losses_and_status,
)
from propmodel.powertrain.prepared import PreparedPowertrain, cached_for_scalars, prepare
from propmodel.powertrain.rotor_speed import PASSES
from propmodel.powertrain.throttle_rows import SMALL, duty_row

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["BenchCurve", "ThrottleCurve", "bench_curve", "throttle_curve"]

_ALL_THROTTLE = np.linspace(0.0, 1.0, 101)
_ALL_THROTTLE.flags.writeable = False
_ALL_BYTES = _ALL_THROTTLE.tobytes()


@dataclass(frozen=True)
class ThrottleCurve:
    """Static curves as functions of throttle; the throttle axis is the last.

    Parameters
    ----------
    throttle : ndarray
        Command. [-]
    rev_per_s : ndarray
        [1/s]
    thrust : ndarray
        Installed thrust of one rotor. [N]
    motor_current, pack_current : ndarray
        Of one motor; of the whole craft. [A]
    pack_voltage : ndarray
        Bus voltage under load. [V]
    shaft_power : ndarray
        Of one rotor. [W]
    electrical_power : ndarray
        All rotors and electronics, at the pack's terminals. [W]
    efficiency : ndarray
        Ideal induced power of the installed thrust over the electrical power. [-]
    status : ndarray of int8
        :class:`propmodel.base.status.Status`.
    """

    throttle: NDArray
    rev_per_s: NDArray
    thrust: NDArray
    motor_current: NDArray
    pack_current: NDArray
    pack_voltage: NDArray
    shaft_power: NDArray
    electrical_power: NDArray
    efficiency: NDArray
    status: NDArray

    def to_frame(self) -> pd.DataFrame:
        """Return the curve as a table, one row a point, with units in the headings.

        Returns
        -------
        pandas.DataFrame
            Curves of several builds follow one another; a column ``build`` numbers them.
        """
        import pandas as pd

        units = {
            "throttle": "-",
            "rev_per_s": "1/s",
            "thrust": "N",
            "motor_current": "A",
            "pack_current": "A",
            "pack_voltage": "V",
            "shaft_power": "W",
            "electrical_power": "W",
            "efficiency": "-",
            "status": "code",
        }
        shape = self.thrust.shape
        columns = {f"{k} [{u}]": np.broadcast_to(getattr(self, k), shape).ravel() for k, u in units.items()}
        if len(shape) > 1:
            columns = {"build": np.repeat(np.arange(int(np.prod(shape[:-1]))), shape[-1])} | columns
        return pd.DataFrame(columns)


def throttle_curve(
    build: Build, throttle: ArrayLike | None = None, *, state_of_charge: ArrayLike = 1.0
) -> ThrottleCurve:
    """Thrust, current and efficiency as functions of throttle, at zero air speed.

    Parameters
    ----------
    build : Build
        Its fields may be arrays; their shape is the leading one.
    throttle : array_like or None
        Command, 0 to 1; None is 101 points. Its axes are the last ones; a plain number adds no axis. [-]
    state_of_charge : array_like
        0 to 1, broadcasts with the build. [-]

    Returns
    -------
    ThrottleCurve
        Shape (build shape) + (throttle shape).

    Raises
    ------
    ValueError
        If throttle or state of charge is outside 0 to 1.

    Examples
    --------
    >>> import propmodel
    >>> curve = throttle_curve(propmodel.demo("scree"))
    >>> curve.thrust.shape
    (101,)
    """
    charge = check_range("state_of_charge", state_of_charge, 0.0, 1.0)
    cached = None if charge.ndim else cached_for_scalars(build, float(charge))
    row = None if cached is None else _row(throttle)
    if cached is not None and row is not None:
        d, command = cached, _ALL_THROTTLE if throttle is None else np.asarray(throttle)
        duties = duty_row(row, build.controller, build.command_cap)  # type: ignore[arg-type]
        found = solve_for_row(d, duties, passes=PASSES)
    else:
        command = check_range("throttle", _ALL_THROTTLE if throttle is None else throttle, 0.0, 1.0)
        build = with_axis(build, command.ndim)
        d = cached or prepare(build, charge[(..., *(None,) * command.ndim)] if charge.ndim else charge)
        found = solve_at_duty(d, _duty(build, command), passes=PASSES)
    point: DutySolution | OperatingPoint = (
        found if found.needs_no_correction else with_losses_and_status(d, _duty(build, command), found, passes=PASSES)
    )
    thrust, power = point.thrust, point.pack_power
    # ideal induced power T sqrt(T / (2 rho A)): momentum.ideal_power without its checks
    efficiency = np.sqrt(thrust)
    efficiency *= thrust
    efficiency *= d.ideal_power_per_thrust_1_5
    efficiency /= power
    return _curve(
        throttle=command if throttle is None else apart(command),
        rev_per_s=point.rev_per_s,
        thrust=thrust,
        motor_current=point.motor_current,
        pack_current=point.pack_current,
        pack_voltage=point.bus_voltage,
        shaft_power=point.shaft_power,
        electrical_power=power,
        efficiency=efficiency,
        status=np.zeros(power.shape, np.int8) if isinstance(point, DutySolution) else point.status,
    )


def _curve(**values: NDArray) -> ThrottleCurve:
    # the way that dataclass writes for a frozen class takes longer than the efficiency above
    curve = object.__new__(ThrottleCurve)
    vars(curve).update(values)
    return curve


def _row(throttle: ArrayLike | None) -> bytes | None:
    """Cache key of a short row of commands; None for anything else."""
    if throttle is None:
        return _ALL_BYTES
    if type(throttle) is np.ndarray and throttle.ndim == 1 and throttle.size <= SMALL:
        return throttle.tobytes() if throttle.dtype == np.float64 else None
    return None


def _duty(build: Build, command: NDArray) -> NDArray:
    return controller.duty_from_throttle(build.controller, command, command_cap=build.command_cap)


@dataclass(frozen=True)
class BenchCurve:
    """One rotor on a thrust stand with a stiff supply.

    Parameters
    ----------
    throttle : ndarray
        Command. [-]
    rev_per_s : ndarray
        [1/s]
    thrust : ndarray
        Of the bare propeller. [N]
    supply_current, motor_current : ndarray
        [A]
    torque : ndarray
        At the shaft. [N m]
    shaft_power : ndarray
        [W]
    """

    throttle: NDArray
    rev_per_s: NDArray
    thrust: NDArray
    supply_current: NDArray
    torque: NDArray
    shaft_power: NDArray
    motor_current: NDArray


def bench_curve(
    motor: Motor,
    propeller: propellers.Propeller,
    supply_voltage: ArrayLike,
    throttle: ArrayLike,
    *,
    air: Air = STANDARD,
    speed_controller: controller.Controller | None = None,
) -> BenchCurve:
    """Forecast a thrust-stand table: one bare rotor on a supply whose voltage is known at each step.

    Parameters
    ----------
    motor : Motor
    propeller : Propeller
    supply_voltage : array_like
        At the controller, as read at each step. [V]
    throttle : array_like
        0 to 1, broadcasts with the voltage. [-]
    air : Air
    speed_controller : Controller or None
        Throttle map and ripple loss; None takes those a calibrated motor brings, else the default.

    Returns
    -------
    BenchCurve
        Shape of all inputs broadcast together.

    Raises
    ------
    ValueError
        If the voltage is not above zero or the throttle outside 0 to 1.
    """
    volts = check_positive("supply_voltage", supply_voltage, "V")
    command = check_range("throttle", throttle, 0.0, 1.0)
    if not isinstance(speed_controller, controller.Controller | None):
        raise ValueError(f"speed_controller must be a Controller, got {quoted(speed_controller)}")
    esc = speed_controller or motor.stand_controller or controller.Controller()
    esc = controller.with_rule_exponent(esc, propeller.diameter, motor.kv, volts)
    zero = np.zeros(())
    d = PreparedPowertrain(
        prop=propellers.prepare(propeller, air),
        controller=esc,
        density=np.asarray(air.density, dtype=np.float64),
        diameter=np.asarray(propeller.diameter, dtype=np.float64),
        disc_area=np.pi / 4.0 * np.asarray(propeller.diameter, dtype=np.float64) ** 2,
        rotors=np.ones(()),
        thrust_share=np.ones(()),
        volts_per_rev=2.0 * np.pi * motor.torque_constant,
        torque_constant=motor.torque_constant,
        resistance=np.asarray(motor.resistance, dtype=np.float64) + esc.resistance,
        winding_resistance=winding_part(motor),
        iron_slope=motor.iron_torque_slope,
        emf=volts,
        pack_resistance=zero,
        electronics_power=zero,
        minimum_voltage=zero,
    )
    duty = controller.duty_from_throttle(esc, command)
    shape = np.broadcast_shapes(volts.shape, np.shape(duty), np.shape(d.resistance), np.shape(d.diameter))
    point = at_duty(d, np.broadcast_to(duty, shape))
    return BenchCurve(
        throttle=apart(np.broadcast_to(command, np.shape(point.thrust))),
        rev_per_s=point.rev_per_s,
        thrust=point.thrust,
        supply_current=point.pack_current,
        torque=point.torque,
        shaft_power=point.shaft_power,
        motor_current=point.motor_current,
    )
