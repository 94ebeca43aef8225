"""Climb rate: the vertical speed at which full throttle balances weight and drag."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import Build, drag_areas, shape_of
from propmodel.base.checks import check_range
from propmodel.base.status import Status
from propmodel.flight.axial_inflow import speed_at_duty
from propmodel.powertrain.operating_point import at_duty
from propmodel.powertrain.prepared import prepare
from propmodel.powertrain.rotor_speed import PASSES

__all__ = ["ClimbRate", "climb_rate"]


@dataclass(frozen=True)
class ClimbRate:
    """Fastest vertical climb.

    Parameters
    ----------
    speed : ndarray
        Climb rate; NaN where the craft cannot hover. [m/s]
    status : ndarray of int8
        Code of `Status`.
    """

    speed: NDArray
    status: NDArray


def climb_rate(build: Build, *, state_of_charge: ArrayLike = 1.0, quick: bool = False) -> ClimbRate:
    """Vertical speed at which the thrust at full throttle equals weight plus drag.

    Parameters
    ----------
    build : Build
        Its fields may be arrays.
    state_of_charge : array_like
        State of charge, 0 to 1. [-]
    quick : bool
        True takes fewer iterations, for sweeps.

    Returns
    -------
    ClimbRate
        Of the broadcast shape of build and state of charge.
    """
    check_range("state_of_charge", state_of_charge, 0.0, 1.0)
    d = prepare(build, state_of_charge)
    _, top = drag_areas(build)
    shape = np.broadcast_shapes(shape_of(build), np.shape(state_of_charge))
    cap = np.broadcast_to(build.duty_cap, shape)
    static = d.rotors * at_duty(d, cap).thrust
    lifts = static > build.weight
    high = np.sqrt(2.0 * np.maximum(static - build.weight, 0.0) / (d.density * top)) + 1e-3
    low = np.zeros_like(high)
    for _ in range(8 if quick else 40):
        middle = 0.5 * (low + high)
        n, c_t, _ = speed_at_duty(d, cap, middle, passes=3 if quick else PASSES)
        thrust = d.rotors * d.thrust_share * c_t * d.density * n * n * d.diameter**4
        spare = thrust - build.weight - 0.5 * d.density * top * middle * middle
        low, high = np.where(spare > 0.0, middle, low), np.where(spare > 0.0, high, middle)
    status = np.where(lifts, Status.OK, Status.CANNOT_HOVER).astype(np.int8)
    return ClimbRate(speed=np.where(lifts, 0.5 * (low + high), np.nan), status=status)
