"""Level flight as a function of speed, and the largest tilt at full thrust."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import Build, shape_of, with_axis
from propmodel.base.checks import apart, as_floats, check_range
from propmodel.base.status import Status
from propmodel.components.controller import throttle_from_duty
from propmodel.flight.axial_inflow import full_throttle_thrust
from propmodel.flight.trim import Airframe, trim
from propmodel.powertrain.prepared import prepare

__all__ = ["LevelFlight", "level_flight", "steepest_tilt"]


@dataclass(frozen=True)
class LevelFlight:
    """Level flight as a function of speed; the axes of the speed are last. SI units.

    Parameters
    ----------
    speed : ndarray
        True air speed. [m/s]
    tilt : ndarray
        Angle between rotor plane and horizontal. [rad]
    thrust : ndarray
        Installed thrust of one rotor. [N]
    rev_per_s : ndarray
        Rotational speed. [1/s]
    advance_ratio : ndarray
        Axial advance ratio of the flow through the disc. [-]
    shaft_power : ndarray
        Shaft power of one rotor. [W]
    electrical_power, current : ndarray
        Power and pack current of the whole craft, with the pack resistance for loads of minutes. [W, A]
    throttle, duty, bus_voltage : ndarray
        Throttle command, duty, and bus voltage. [-, -, V]
    thrust_needed_over_available : ndarray
        Required thrust over the thrust at full throttle with the same inflow. [-]
    status : ndarray of int8
        CANNOT_FLY_AT_THIS_SPEED where the duty is above the cap or the pack cannot supply the current.
    """

    speed: NDArray
    tilt: NDArray
    thrust: NDArray
    rev_per_s: NDArray
    advance_ratio: NDArray
    shaft_power: NDArray
    electrical_power: NDArray
    current: NDArray
    throttle: NDArray
    duty: NDArray
    bus_voltage: NDArray
    thrust_needed_over_available: NDArray
    status: NDArray


def level_flight(build: Build, speed: ArrayLike, *, state_of_charge: ArrayLike = 1.0) -> LevelFlight:
    """Trim the craft in level flight.

    Parameters
    ----------
    build : Build
        Its fields may be arrays; their axes come first.
    speed : array_like
        True air speed, 0 to 150. Its axes come last; a scalar adds none. [m/s]
    state_of_charge : array_like
        State of charge, 0 to 1. [-]

    Returns
    -------
    LevelFlight
        Where the flight is not possible the values are still given; ``status`` says so, and
        ``thrust_needed_over_available`` by how much.

    Raises
    ------
    ValueError
        If the speed is negative, above 150 m/s or not finite.

    Examples
    --------
    >>> import propmodel
    >>> flight = level_flight(propmodel.demo("scree"), 15.0)
    >>> bool(flight.electrical_power > 0)
    True
    """
    v = check_range("speed", speed, 0.0, 150.0, "m/s")
    check_range("state_of_charge", state_of_charge, 0.0, 1.0)
    charge = np.asarray(state_of_charge, dtype=np.float64)
    if v.ndim:
        build = with_axis(build, v.ndim)
        charge = charge[(...,) + (None,) * v.ndim] if charge.ndim else charge
    v_all = np.broadcast_to(v, np.broadcast_shapes(shape_of(build), charge.shape, v.shape))
    d = prepare(build, charge, sustained=True)
    state, point = trim(d, Airframe.of(build), v_all, passes=60)
    cap = build.duty_cap
    status = np.where(
        (point.status != Status.OK) | (point.duty > cap * (1.0 + 1e-9)),
        Status.CANNOT_FLY_AT_THIS_SPEED,
        Status.OK,
    ).astype(np.int8)
    punch = prepare(build, charge)
    available = full_throttle_thrust(punch, cap * np.ones_like(v_all), state.axial_speed)
    return LevelFlight(
        speed=apart(v),
        tilt=np.arctan(state.tangent),
        thrust=point.thrust,
        rev_per_s=point.rev_per_s,
        advance_ratio=state.axial_speed / (point.rev_per_s * d.diameter),
        shaft_power=point.shaft_power,
        electrical_power=point.pack_power,
        current=point.pack_current,
        throttle=throttle_from_duty(build.controller, point.duty, command_cap=build.command_cap),
        duty=point.duty,
        bus_voltage=point.bus_voltage,
        thrust_needed_over_available=point.thrust / np.maximum(available, 1e-9),
        status=status,
    )


def steepest_tilt(thrust_to_weight: ArrayLike) -> NDArray:
    """Largest tilt at which the vertical part of full thrust equals the weight.

    Parameters
    ----------
    thrust_to_weight : array_like
        Thrust-to-weight ratio. [-]

    Returns
    -------
    ndarray
        arccos(1 / ratio), same shape; NaN for a ratio below 1. [rad]

    Examples
    --------
    >>> round(float(np.degrees(steepest_tilt(2.0))), 6)
    60.0
    """
    ratio = as_floats("thrust_to_weight", thrust_to_weight)
    return np.arccos(np.where(ratio >= 1.0, 1.0 / np.maximum(ratio, 1.0), np.nan))
