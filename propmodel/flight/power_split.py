"""Power balance of a steady state: the power from the cells, split into its uses and losses."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import Build, shape_of
from propmodel.base.checks import check_in, check_range
from propmodel.base.status import Status
from propmodel.components import controller, momentum
from propmodel.flight.endurance import lifts
from propmodel.flight.trim import Airframe, trim
from propmodel.powertrain.operating_point import OperatingPoint, at_duty, at_thrust
from propmodel.powertrain.prepared import prepare

__all__ = ["STATES", "PowerSplit", "where_watts_go"]

STATES = ("hover", "cruise", "full")


@dataclass(frozen=True)
class PowerSplit:
    """Power of the whole craft in one state; the parts add up to ``total``.

    Parameters
    ----------
    induced_power : ndarray
        Induced power of an ideal disc of this size at this thrust. [W]
    climb_and_drag_power : ndarray
        Power against the drag of the body in level flight; zero at rest. [W]
    profile_power : ndarray
        Remaining shaft power: blade drag, swirl, non-uniform inflow, and thrust lost on the arms. [W]
    winding, iron : ndarray
        Heat in the motors: copper with half of the current ripple; iron, bearings and windage. [W]
    controller : ndarray
        Heat in speed controllers, leads and commutation, with the other half of the ripple. [W]
    electronics : ndarray
        Power of the flight electronics. [W]
    pack : ndarray
        Heat inside the pack. [W]
    total : ndarray
        Open-circuit voltage times pack current. [W]
    pack_current, thrust : ndarray
        Current of the pack [A], and thrust of all rotors [N].
    status : ndarray of int8
        Code of `Status`.
    """

    induced_power: NDArray
    climb_and_drag_power: NDArray
    profile_power: NDArray
    winding: NDArray
    iron: NDArray
    controller: NDArray
    electronics: NDArray
    pack: NDArray
    total: NDArray
    pack_current: NDArray
    thrust: NDArray
    status: NDArray


def where_watts_go(
    build: Build, state: str = "hover", *, speed: ArrayLike = 15.0, state_of_charge: ArrayLike = 1.0
) -> PowerSplit:
    """Split the power from the cells into its uses and losses.

    Parameters
    ----------
    build : Build
        Its fields may be arrays.
    state : str
        One of `STATES`. Hover and cruise use the pack resistance for loads of minutes, full throttle that of the first
        seconds.
    speed : array_like
        Air speed of the cruise. [m/s]
    state_of_charge : array_like
        State of charge, 0 to 1. [-]

    Returns
    -------
    PowerSplit
        Of the broadcast shape of build, speed and state of charge.

    Raises
    ------
    ValueError
        If the state is unknown or the speed or charge is out of range.

    Examples
    --------
    >>> import propmodel
    >>> w = where_watts_go(propmodel.demo("scree"))
    >>> parts = w.induced_power + w.climb_and_drag_power + w.profile_power + w.winding + w.iron + w.controller
    >>> parts = parts + w.electronics + w.pack
    >>> bool(abs(parts / w.total - 1) < 1e-9)
    True
    """
    check_in("state", state, STATES)
    check_range("state_of_charge", state_of_charge, 0.0, 1.0)
    velocity = check_range("speed", speed, 0.0, 150.0, "m/s")
    charge = np.asarray(state_of_charge, dtype=np.float64)
    shape = np.broadcast_shapes(shape_of(build), charge.shape, velocity.shape if state == "cruise" else ())
    one = np.ones(shape)
    d = prepare(build, charge, sustained=state != "full")
    cap = build.duty_cap * one
    lift_each = build.weight / d.rotors * one
    axial = inplane = leaning = 0.0 * one
    failed: NDArray
    if state == "hover":
        point = at_thrust(d, lift_each)
        starved = point.status == Status.BELOW_ELECTRONICS_MINIMUM
        failed = np.select(
            [starved, ~lifts(point, cap)], [Status.BELOW_ELECTRONICS_MINIMUM, Status.CANNOT_HOVER], Status.OK
        )
    elif state == "cruise":
        trimmed, point = trim(d, Airframe.of(build), velocity * one, passes=60)
        axial, inplane = trimmed.axial_speed, trimmed.inplane_speed
        # the work of the in-plane force is supplied by the tilted thrust, not by the shaft
        leaning = trimmed.inplane_force * inplane
        failed = np.where(lifts(point, cap), Status.OK, Status.CANNOT_FLY_AT_THIS_SPEED)
    else:
        point = at_duty(d, cap)
        failed = point.status
    return _split(build, point, axial, inplane, leaning=leaning, d_emf=d.emf, failed=np.asarray(failed, dtype=np.int8))


def _split(
    build: Build,
    point: OperatingPoint,
    axial: NDArray,
    inplane: NDArray,
    *,
    leaning: NDArray,
    d_emf: NDArray,
    failed: NDArray,
) -> PowerSplit:
    rotors = np.asarray(build.rotors, dtype=np.float64)
    inflow = momentum.induced_velocity_edgewise(
        point.thrust, axial, inplane, disc_area=build.disc_area, air_density=build.air.density
    )
    induced = rotors * point.thrust * inflow
    climb_and_drag = rotors * (point.thrust * axial - leaning)
    ripple = controller.winding_ripple(build.controller, point.ripple_loss)
    return PowerSplit(
        induced_power=induced,
        climb_and_drag_power=climb_and_drag,
        profile_power=rotors * point.shaft_power - induced - climb_and_drag,
        winding=rotors * (point.winding_loss + ripple),
        iron=rotors * point.iron_loss,
        controller=rotors * (point.rest_loss + point.ripple_loss - ripple),
        electronics=np.asarray(build.craft.electronics_power, dtype=np.float64) * np.ones_like(induced),
        pack=point.pack_loss,
        total=d_emf * point.pack_current,
        pack_current=point.pack_current,
        thrust=rotors * point.thrust,
        status=failed,
    )
