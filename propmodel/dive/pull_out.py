"""The dive of a build: what the point-mass dive needs, taken from the assembled craft at the charge that is left."""

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
    """How the full thrust of a drawn build moves with the inflow lost in a pull, against the forecast.

    Parameters
    ----------
    build : Build
    prop : PreparedPropeller
        Of the same build.
    rev_per_s : array_like
        At full throttle. [1/s]

    Returns
    -------
    ndarray
        0 where nothing is drawn. [-]
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
    """The dive question for a build.

    Parameters
    ----------
    build : Build
    state_of_charge : array_like or None
        When the pull comes; None takes the reserve, where it is weakest. [-]
    **question : Any
        Fields of :class:`propmodel.dive.stepped.Dive`: drop, speed, entry, delay, load_limit, ...

    Returns
    -------
    Dive
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
    """Dive a build and bring it level again.

    Parameters
    ----------
    build : Build
        May hold arrays.
    drop : array_like or None
        Height fallen before the command; or give ``speed``. [m]
    state_of_charge : array_like or None
        When the pull comes; None takes the reserve, where it is weakest. [-]
    manoeuvre : {"worse", "arrest", "pull_up", "mixed"}
        Way out to report; "worse" reports the one of arrest and pull-up that costs more height.
    keep_path : bool
        Keep the path for drawing.
    **question : Any
        Other fields of :class:`propmodel.dive.stepped.Dive`: speed, dive_angle, entry, delay, load_limit (thrust over
        weight, "hardest pull"), steering_share, wash_loss, height_at_command.

    Returns
    -------
    PullOut
        A point-mass estimate: add your own height.

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
