"""Dive of a build: the point-mass dive with the data of a build at a given state of charge."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import Build, drag_areas, shape_of
from propmodel.base.checks import check_flag, check_range
from propmodel.base.status import Status
from propmodel.components.propeller import PreparedPropeller
from propmodel.components.propeller.advance import thrust_rise
from propmodel.dive.stepped import Dive, ManoeuvreName, PullOut, fly_pull_out
from propmodel.powertrain.operating_point import at_duty
from propmodel.powertrain.prepared import prepare

__all__ = ["dive_of", "inflow_rise", "pull_out"]


def inflow_rise(build: Build, prop: PreparedPropeller, rev_per_s: ArrayLike) -> NDArray:
    """Relative change of full thrust with the inflow lost in a pull, for a drawn build relative to the forecast.

    Parameters
    ----------
    build : Build
        The build, possibly with random draws.
    prop : PreparedPropeller
        Its propeller.
    rev_per_s : array_like
        Speed at full throttle. [1/s]

    Returns
    -------
    ndarray
        Relative change for each share of the hover's inflow; 0 for a build without draws. [-]
    """
    if not np.any(np.asarray(build.propeller.unstalled_offset) != 0.0):
        return np.zeros(())
    return thrust_rise(
        build.propeller,
        prop.static_c_t(rev_per_s),
        bulge_slope=prop.shape_c_t[0],
        zero_thrust=prop.zero_thrust_advance_ratio,
    )


def dive_of(build: Build, *, state_of_charge: ArrayLike | None = None, **question: Any) -> Dive:
    """Return the `Dive` of a build.

    Parameters
    ----------
    build : Build
        Its fields may be arrays.
    state_of_charge : array_like or None
        State of charge at the pull; None means the reserve, where the thrust is least. [-]
    **question : Any
        Fields of :class:`propmodel.dive.question.Dive`: drop, speed, entry, delay, load_limit, ...

    Returns
    -------
    Dive
        Craft and dive.
    """
    charge = build.pack.reserve if state_of_charge is None else state_of_charge
    check_range("state_of_charge", charge, 0.0, 1.0)
    shape = np.broadcast_shapes(shape_of(build), np.shape(charge))
    ready = prepare(build, charge)
    point = at_duty(ready, build.duty_cap * np.ones(shape))
    front, top = drag_areas(build)
    return Dive(
        mass=build.mass,
        max_thrust=np.asarray(build.rotors) * point.thrust,
        drag_area_front=front,
        drag_area_top=top,
        air_density=build.air.density,
        disc_area=build.total_disc_area,
        pack_limited=point.status == Status.PACK_CANNOT_DELIVER,
        inflow_rise=inflow_rise(build, ready.prop, point.rev_per_s),
        **question,
    )


def pull_out(
    build: Build,
    drop: ArrayLike | None = None,
    *,
    state_of_charge: ArrayLike | None = None,
    manoeuvre: ManoeuvreName = "worse",
    keep_path: bool = False,
    **question: Any,
) -> PullOut:
    """Compute the pull-out of a build from a dive.

    Parameters
    ----------
    build : Build
        Its fields may be arrays.
    drop : array_like or None
        Height of the fall before the command; either this or ``speed`` must be given. [m]
    state_of_charge : array_like or None
        State of charge at the pull; None means the reserve, where the thrust is least. [-]
    manoeuvre : {"worse", "arrest", "pull_up", "mixed"}
        Manoeuvre to report; "worse" computes arrest and pull-up and reports the one with the greater height.
    keep_path : bool
        True stores the paths, for drawing.
    **question : Any
        Other fields of :class:`propmodel.dive.question.Dive`: speed, dive_angle, entry, delay, load_limit (thrust over
        weight), steering_share, wash_loss, height_at_command.

    Returns
    -------
    PullOut
        A point-mass estimate, of the broadcast shape; keep a safety margin of height.

    Raises
    ------
    ValueError
        For nonsense input. A craft that cannot arrest the dive is a result: NaN with status NOT_ENOUGH_PULL.

    Examples
    --------
    >>> import propmodel
    >>> out = pull_out(propmodel.demo("scree"), 60.0, load_limit=5.0)
    >>> bool(10 < out.height_lost < 60)
    True
    """
    dive = dive_of(build, state_of_charge=state_of_charge, drop=drop, **question)
    return fly_pull_out(dive, manoeuvre=manoeuvre, keep_path=check_flag("keep_path", keep_path))
