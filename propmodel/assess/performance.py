"""Headline outputs of a build, as one record."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import Build, shape_of, take
from propmodel.assess.assessment import Assessment
from propmodel.base.checks import check_finite
from propmodel.base.status import Status
from propmodel.components import momentum
from propmodel.dive.question import STEERING_SHARE

__all__ = ["OUTPUTS", "Output", "Performance", "evaluate", "performance"]


CHUNK = 16384


class Output(NamedTuple):
    """One headline output: its function, unit and name."""

    of: Callable[[Assessment], NDArray]
    """Function of an assessment that returns the output. [SI]"""
    unit: str
    """SI unit, "-" for none."""
    words: str
    """Name for display."""


def _hovering(a: Assessment, value: NDArray) -> NDArray:
    """Set an output about hovering to NaN where the craft cannot hover."""
    return np.where(a.can_hover, value, np.nan)


def _ideal_share(a: Assessment) -> NDArray:
    ideal = momentum.ideal_power(a.hover.thrust, disc_area=a.build.disc_area, air_density=a.build.air.density)
    return np.asarray(a.build.rotors) * ideal / a.hover.pack_power


OUTPUTS: Mapping[str, Output] = MappingProxyType(
    {
        "mass": Output(lambda a: a.mass, "kg", "take-off mass"),
        "thrust_to_weight": Output(lambda a: a.thrust_to_weight, "-", "thrust to weight, fresh pack"),
        "thrust_to_weight_at_reserve": Output(
            lambda a: a.thrust_to_weight_at_reserve, "-", "thrust to weight, at landing"
        ),
        "hover_throttle": Output(lambda a: _hovering(a, a.hover_command), "-", "hover command, fresh pack"),
        "hover_throttle_at_reserve": Output(
            lambda a: _hovering(a, a.hover_command_at_reserve), "-", "hover command, at landing"
        ),
        "hover_current": Output(lambda a: _hovering(a, a.hover.pack_current), "A", "pack current in hover"),
        "hover_power": Output(lambda a: _hovering(a, a.hover.pack_power), "W", "pack power in hover"),
        "hover_time": Output(lambda a: _hovering(a, a.hover_flight.hours * 3600.0), "s", "hover to the reserve"),
        "hover_rev_per_s": Output(lambda a: _hovering(a, a.hover.rev_per_s), "1/s", "rotor speed in hover"),
        "hover_motor_heat": Output(
            lambda a: _hovering(a, a.winding_heat(a.hover) + a.hover.iron_loss), "W", "heat in one motor, hover"
        ),
        "full_throttle_current": Output(lambda a: a.full_throttle.pack_current, "A", "pack current flat out"),
        "full_throttle_motor_current": Output(lambda a: a.full_throttle.motor_current, "A", "motor current flat out"),
        "full_throttle_thrust": Output(lambda a: a.full_throttle.thrust, "N", "thrust of one rotor flat out"),
        "full_throttle_rev_per_s": Output(lambda a: a.full_throttle.rev_per_s, "1/s", "rotor speed flat out"),
        "full_throttle_power": Output(lambda a: a.full_throttle.pack_power, "W", "pack power flat out"),
        "full_throttle_voltage": Output(lambda a: a.full_throttle.bus_voltage, "V", "pack voltage flat out, fresh"),
        "full_throttle_voltage_at_reserve": Output(
            lambda a: a.full_throttle_at_reserve.bus_voltage, "V", "pack voltage flat out, at landing"
        ),
        "figure_of_merit": Output(lambda a: a.figure_of_merit, "-", "figure of merit in hover"),
        "disc_loading": Output(lambda a: a.weight / a.build.total_disc_area, "N/m^2", "weight over disc area"),
        "thrust_per_power": Output(
            lambda a: _hovering(a, a.mass / a.hover.pack_power), "kg/W", "mass lifted per watt in hover"
        ),
        "lifting_share": Output(
            lambda a: _hovering(a, _ideal_share(a)), "-", "share of the watts that lifts, in hover"
        ),
        "induced_velocity": Output(lambda a: a.wash_speed, "m/s", "wash speed at the disc in hover"),
        "tip_mach": Output(
            lambda a: a.fresh_burst.prop.tip_mach(a.full_throttle.rev_per_s), "-", "tip Mach number flat out"
        ),
        "top_speed": Output(lambda a: _hovering(a, a.top.speed), "m/s", "top level speed"),
        "endurance_speed": Output(lambda a: _hovering(a, a.min_power_point[0]), "m/s", "speed of least power"),
        "endurance_power_ratio": Output(
            lambda a: _hovering(a, a.min_power_point[1] / a.hover.pack_power), "-", "least power over hover power"
        ),
        "hover_winding_temperature": Output(
            lambda a: a.hover_heat.winding, "K", "winding temperature after a long hover"
        ),
        "full_throttle_winding_temperature": Output(
            lambda a: a.full_heat.winding, "K", "winding temperature if full throttle could be held"
        ),
        "full_throttle_seconds": Output(
            lambda a: a.full_throttle_seconds, "s", "full throttle until the winding limit"
        ),
        "pull_out_height": Output(lambda a: a.pull_out_height, "m", "height a 40 m dive costs to pull out, at landing"),
    }
)


@dataclass(frozen=True)
class Performance:
    """Headline outputs in SI units; each field has the shape of the build. `OUTPUTS` has the unit and name of each.

    "Fresh" means a full pack in the first seconds, "at reserve" the charge at landing. NaN means that the state does
    not exist: ``status`` gives the reason (a craft that cannot hover has no hover current), or a motor has no steady
    temperature.
    """

    mass: NDArray
    """Take-off mass. [kg]"""
    thrust_to_weight: NDArray
    """Thrust-to-weight ratio, fresh pack. [-]"""
    thrust_to_weight_at_reserve: NDArray
    """Thrust-to-weight ratio at the reserve, with the pack as cold as at take-off; a flown pack is warmer and gives
    more. [-]"""
    hover_throttle: NDArray
    """Hover command: average motor command, idle included, fresh pack. [-]"""
    hover_throttle_at_reserve: NDArray
    """The same at the end of a hover, with the charge and the warmth of the pack as they are then. [-]"""
    hover_current: NDArray
    """Pack current in hover. [A]"""
    hover_power: NDArray
    """Pack power in hover. [W]"""
    hover_time: NDArray
    """Flight time in hover, to the reserve or the cut-off. [s]"""
    hover_rev_per_s: NDArray
    """Rotor speed in hover. [1/s]"""
    hover_motor_heat: NDArray
    """Heat in one motor, hover. [W]"""
    full_throttle_current: NDArray
    """Pack current at full throttle. [A]"""
    full_throttle_motor_current: NDArray
    """Motor current at full throttle. [A]"""
    full_throttle_thrust: NDArray
    """Thrust of one rotor at full throttle. [N]"""
    full_throttle_rev_per_s: NDArray
    """Rotor speed at full throttle. [1/s]"""
    full_throttle_power: NDArray
    """Pack power at full throttle. [W]"""
    full_throttle_voltage: NDArray
    """Pack voltage at full throttle, fresh pack. [V]"""
    full_throttle_voltage_at_reserve: NDArray
    """Pack voltage at full throttle, at landing. [V]"""
    figure_of_merit: NDArray
    """Figure of merit in hover. [-]"""
    disc_loading: NDArray
    """Weight over disc area. [N/m^2]"""
    thrust_per_power: NDArray
    """Mass lifted per watt in hover. [kg/W]"""
    lifting_share: NDArray
    """Ideal induced power over pack power, in hover. [-]"""
    induced_velocity: NDArray
    """Induced velocity at the disc in hover. [m/s]"""
    tip_mach: NDArray
    """Tip Mach number at full throttle. [-]"""
    top_speed: NDArray
    """Top level speed. [m/s]"""
    endurance_speed: NDArray
    """Speed of least power. [m/s]"""
    endurance_power_ratio: NDArray
    """Least power over hover power. [-]"""
    hover_winding_temperature: NDArray
    """Steady winding temperature in hover. [K]"""
    full_throttle_winding_temperature: NDArray
    """Steady winding temperature at full throttle. [K]"""
    full_throttle_seconds: NDArray
    """Time of full throttle until the winding reaches its limit. [s]"""
    pull_out_height: NDArray
    """Height lost in the pull-out from a dive of ``drop`` (default 40 m), at the reserve. [m]"""
    status: NDArray
    """Code of `Status`, the first that applies: BELOW_ELECTRONICS_MINIMUM or CANNOT_HOVER where the craft cannot hover
    for minutes with a fresh pack; BELOW_CUTOFF_AT_ONCE in hover; THROTTLE_FULL where full throttle becomes insufficient
    for hover before the reserve; PACK_CANNOT_DELIVER or BELOW_ELECTRONICS_MINIMUM at full throttle; OK."""


def status_of(a: Assessment) -> NDArray:
    """Return the status of each build; NOT_ENOUGH_PULL where only the height of the pull-out does not exist."""
    starved = a.hover.status == Status.BELOW_ELECTRONICS_MINIMUM
    flight = a.hover_flight
    # the height exists for every thrust above the weight
    weak = STEERING_SHARE * a.thrust_to_weight_at_reserve <= 1.0
    return np.select(
        [starved, ~a.can_hover, flight.at_once, flight.by_throttle, (a.full_throttle.status == Status.OK) & weak],
        [
            Status.BELOW_ELECTRONICS_MINIMUM,
            Status.CANNOT_HOVER,
            Status.BELOW_CUTOFF_AT_ONCE,
            Status.THROTTLE_FULL,
            Status.NOT_ENOUGH_PULL,
        ],
        a.full_throttle.status,
    ).astype(np.int8)


def evaluate(a: Assessment, outputs: list[str] | None = None) -> dict[str, NDArray]:
    """Compute some of the headline outputs.

    Parameters
    ----------
    a : Assessment
        Results of the builds.
    outputs : list of str or None
        Names in `OUTPUTS`; None means all.

    Returns
    -------
    dict of ndarray
        Name -> output, of the shape of the builds. [SI]
    """
    names = list(OUTPUTS) if outputs is None else outputs
    with np.errstate(invalid="ignore", divide="ignore"):
        return {name: np.broadcast_to(OUTPUTS[name].of(a), a.shape)[()] for name in names}


def performance(build: Build, *, drop: ArrayLike = 40.0) -> Performance:
    """Compute the headline outputs of a build.

    Parameters
    ----------
    build : Build
        Its fields may be arrays.
    drop : array_like
        Height of the dive for `Performance.pull_out_height`. [m]

    Returns
    -------
    Performance
        All headline outputs and the status.

    Examples
    --------
    >>> import propmodel
    >>> answers = performance(propmodel.demo("scree"))
    >>> bool(4 < answers.thrust_to_weight < 12)
    True
    """
    drop = check_finite("drop", drop, "m")
    if not drop.size:
        raise ValueError("drop must hold at least one value, got none")
    shape = np.broadcast_shapes(shape_of(build), drop.shape)
    size = int(np.prod(shape, dtype=np.int64))
    if size <= CHUNK:
        a = Assessment(build, drop=drop)
        return Performance(**evaluate(a), status=status_of(a)[()])
    # large arrays are divided into pieces that fit in the processor cache
    drops = np.broadcast_to(drop, shape).reshape(-1)
    found = {f.name: np.empty(size, np.int8 if f.name == "status" else np.float64) for f in fields(Performance)}

    for start in range(0, size, CHUNK):
        piece = slice(start, start + CHUNK)
        a = Assessment(take(build, piece, shape), drop=drops[piece])
        for name, value in (evaluate(a) | {"status": status_of(a)}).items():
            found[name][piece] = value
    return Performance(**{k: v.reshape(shape) for k, v in found.items()})


assert set(OUTPUTS) | {"status"} == {f.name for f in fields(Performance)}
