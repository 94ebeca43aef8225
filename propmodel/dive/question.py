"""Records of the dive: the problem, its solution, and the parts that both solution methods share.

Longer than others because the records list every field with its unit.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from enum import IntEnum
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base import checks
from propmodel.base.arrays import FloatArray
from propmodel.base.constants import STANDARD_GRAVITY as G0
from propmodel.base.status import Status
from propmodel.dive import closed_forms
from propmodel.dive.vortex_ring import WASH_LOSS

__all__ = [
    "DEFAULT_DELAY",
    "BindingLimit",
    "Delay",
    "Dive",
    "Manoeuvre",
    "Path",
    "PullOut",
    "Setup",
    "binding_text",
    "collect",
    "inflow_missing",
    "set_up",
]

Entry = Literal["nose_down", "flat"]

LOAD_LIMIT = 5.0
"""Largest thrust over weight in a pull (common practice, from memory). [-]"""
STEERING_SHARE = 0.85
"""Share of the full thrust available in a pull, because the motors also control the attitude (common practice, from
memory). [-]"""
ROTOR_DRAG_COEFFICIENT = 0.35
"""Drag coefficient of windmilling rotors on their disc area; 0.26 to 0.39 measured at J/J0 1.3 to 1.5, see
data/propellers. [-]"""


_LEAST_THRUST_RATIO = 0.2
"""Lower limit of the drawn thrust, relative to the full thrust. [-]"""


class Manoeuvre(IntEnum):
    """Manoeuvre by which the craft leaves the dive."""

    ARREST = 0
    PULL_UP = 1
    MIXED = 2


class BindingLimit(IntEnum):
    """Limit that determines the load of the pull."""

    LOAD_LIMIT = 0
    THRUST = 1
    PACK = 2


def binding_text(code: int) -> str:
    """Return the description of one binding limit.

    Parameters
    ----------
    code : int
        One of `BindingLimit`.

    Returns
    -------
    str
        Text for display.

    Examples
    --------
    >>> binding_text(1)
    'the thrust of the motors'
    """
    return ("the hardest pull allowed", "the thrust of the motors", "the current the pack can give")[int(code)]


@dataclass(frozen=True)
class Delay:
    """Delay between the moment when a pull is needed and its full thrust, in parts.

    Defaults are common practice, from memory: 0.5 s in total; pilots need 0.4 to 0.7 s.

    Parameters
    ----------
    see, decide, rotate, spool : array_like, >= 0
        Perception, decision, rotation of the craft by 90 to 120 degrees, spin-up of the rotors. [s]

    Examples
    --------
    >>> round(float(Delay().total), 3)
    0.5
    """

    see: ArrayLike = 0.20
    decide: ArrayLike = 0.10
    rotate: ArrayLike = 0.12
    spool: ArrayLike = 0.08

    def __post_init__(self) -> None:
        for field in fields(self):
            checks.check_range(f"delay {field.name}", getattr(self, field.name), 0.0, 60.0, "s")

    @property
    def total(self) -> FloatArray:
        """Sum of the parts. [s]"""
        parts = (self.see, self.decide, self.rotate, self.spool)
        see, decide, rotate, spool = (np.asarray(part, dtype=np.float64) for part in parts)
        return see + decide + rotate + spool


DEFAULT_DELAY = Delay()


@dataclass(frozen=True)
class Dive:
    """A dive, or an array of dives: the craft as a point mass, and the conditions of the dive.

    Parameters
    ----------
    mass, max_thrust : array_like
        Mass [kg], and full thrust of all rotors at the present state of charge [N].
    drag_area_front, drag_area_top : array_like, >= 0
        Drag areas for flow along the plate and normal to it; in between f_front cos^2 + f_top sin^2. [m^2]
    air_density : array_like, > 0
        Density of the air. [kg/m^3]
    drop, speed : array_like, optional
        The command comes after this fall or at this speed, whichever is first; at least one is required. [m], [m/s]
    dive_angle : array_like, default pi/2
        Angle of the straight path of the dive below the horizon; 0.01 to pi/2. [rad]
    entry : {"nose_down", "flat"}
        Attitude of the fall. Nose-down is faster and so the worse case; in a flat fall the plate and the windmilling
        rotors face the flow.
    disc_area : array_like, optional
        Disc area of all rotors; required for a flat drop. [m^2]
    rotor_drag_coefficient : array_like
        Drag coefficient of the windmilling rotors on disc_area, for a flat drop only. [-]
    delay : Delay or array_like
        Time from the command to the pull, during which the craft keeps falling in its attitude. [s]
    load_limit : array_like
        Largest thrust over weight in the pull. [-]
    steering_share : array_like
        Share of the full thrust available in the pull. [-]
    wash_loss : array_like, optional
        Largest relative loss of thrust in the vortex-ring state; default 1/3 for a flat drop, 0 for nose-down. [-]
    pack_limited : array_like of bool
        True if the pack, not the motors, limits max_thrust. It only sets the name of the binding limit.
    height_at_command : array_like, optional
        Height above the ground at the command. [m]
    blend : array_like
        Direction of thrust in the mixed manoeuvre: 0 normal to the path, 1 straight up. [-]
    inflow_rise : array_like
        For random draws: relative increase of max_thrust per share of the hover's inflow that the speed removes, see
        ``components.propeller.advance``; 0 keeps max_thrust. Requires disc_area. [-]

    Examples
    --------
    >>> scree = Dive(mass=0.62, max_thrust=50.0, drag_area_front=0.01, drag_area_top=0.022,
    ...              air_density=1.17, drop=60.0)
    >>> scree.entry
    'nose_down'
    """

    mass: ArrayLike
    max_thrust: ArrayLike
    drag_area_front: ArrayLike
    drag_area_top: ArrayLike
    air_density: ArrayLike
    drop: ArrayLike | None = None
    speed: ArrayLike | None = None
    dive_angle: ArrayLike = np.pi / 2
    entry: Entry = "nose_down"
    disc_area: ArrayLike | None = None
    rotor_drag_coefficient: ArrayLike = ROTOR_DRAG_COEFFICIENT
    delay: Delay | ArrayLike = DEFAULT_DELAY
    load_limit: ArrayLike = LOAD_LIMIT
    steering_share: ArrayLike = STEERING_SHARE
    wash_loss: ArrayLike | None = None
    pack_limited: ArrayLike = False
    height_at_command: ArrayLike | None = None
    blend: ArrayLike = 0.5
    inflow_rise: ArrayLike = 0.0


@dataclass(frozen=True)
class Path:
    """Path of one manoeuvre; the first axis is time, and the last value is repeated after the end.

    Parameters
    ----------
    manoeuvre : Manoeuvre
        The manoeuvre.
    time : ndarray
        Time from the command, negative before it. [s]
    forward, height : ndarray
        Horizontal distance, and height relative to the command (negative below it). [m]
    speed : ndarray
        Speed along the path. [m/s]
    """

    manoeuvre: Manoeuvre
    time: FloatArray
    forward: FloatArray
    height: FloatArray
    speed: FloatArray


@dataclass(frozen=True)
class PullOut:
    """Pull-out from a dive: a point-mass estimate. All arrays have the broadcast shape of the dive.

    Parameters
    ----------
    speed : ndarray
        Speed at the command. [m/s]
    height_lost : ndarray
        Height lost from the command to level flight, delay included, in the reported manoeuvre; NaN if level flight is
        not reached (see ``status``). [m]
    height_lost_delay : ndarray
        Part of it lost before the pull begins. [m]
    arrest_height, pull_up_height, mixed_height : ndarray
        Height lost in each manoeuvre; NaN where not computed. [m]
    peak_load : ndarray
        Largest thrust over weight. [-]
    peak_body_load : ndarray
        Largest load factor of the frame, thrust and drag together, in the reported manoeuvre (estimate from its start
        and end). [-]
    bottom_speed : ndarray
        Speed in level flight at the end. [m/s]
    time : ndarray
        Time from the command to level flight. [s]
    fall_height : ndarray
        Height of the fall before the command; inf if a fall cannot reach the speed. [m]
    manoeuvre : ndarray of int8
        `Manoeuvre` reported.
    binding_limit : ndarray of int8
        `BindingLimit` of the pull.
    impact_speed : ndarray
        Speed at the ground where status is REACHES_THE_GROUND, else NaN. [m/s]
    status : ndarray of int8
        Code of `base.status.Status`.
    paths : tuple of Path
        One per manoeuvre, if requested.
    """

    speed: FloatArray
    height_lost: FloatArray
    height_lost_delay: FloatArray
    arrest_height: FloatArray
    pull_up_height: FloatArray
    mixed_height: FloatArray
    peak_load: FloatArray
    peak_body_load: FloatArray
    bottom_speed: FloatArray
    time: FloatArray
    fall_height: FloatArray
    manoeuvre: NDArray[np.int8]
    binding_limit: NDArray[np.int8]
    impact_speed: FloatArray
    status: NDArray[np.int8]
    paths: tuple[Path, ...] = ()


@dataclass(frozen=True)
class Setup:
    """Inputs of a dive, broadcast and flattened.

    Parameters
    ----------
    shape : tuple of int
        Broadcast shape of the dive.
    flat : bool
        True for a flat drop.
    speed, fall_height, angle : ndarray
        Speed at the command [m/s], height of the fall before it [m], angle of the path below the horizon [rad].
    drag_fall, drag_front, drag_top : ndarray
        rho f / (2 m) in the attitude of the fall, from the front, and from the top. [1/m]
    load : ndarray
        Thrust over weight of the pull. [-]
    binding : ndarray of int8
        `BindingLimit` of the pull.
    delay, ground : ndarray
        Delay [s]; height above ground at the command, inf for none [m].
    wash_loss, induced, blend : ndarray
        Largest relative loss of thrust [-], induced velocity in hover [m/s], blend of the mixed manoeuvre [-].
    """

    shape: tuple[int, ...]
    flat: bool
    speed: FloatArray
    fall_height: FloatArray
    angle: FloatArray
    drag_fall: FloatArray  # rho f / (2 m), attitude of the fall [1/m]
    drag_front: FloatArray
    drag_top: FloatArray
    load: FloatArray  # thrust / weight used
    binding: NDArray[np.int8]
    delay: FloatArray
    ground: FloatArray  # height above ground at the command, inf if none
    wash_loss: FloatArray
    induced: FloatArray
    blend: FloatArray


def inflow_missing(speed_ratio: ArrayLike) -> FloatArray:
    r"""Relative reduction of the hover's induced velocity by a flow along the disc: 1 - v_i/v_h (momentum theory).

    .. math:: v_i/v_h = \sqrt{\sqrt{x^4/4 + 1} - x^2/2}

    Parameters
    ----------
    speed_ratio : array_like, >= 0
        x, air speed over the induced velocity v_h of a hover at the same thrust. [-]

    Returns
    -------
    ndarray
        Relative reduction, same shape; 0 at rest. [-]

    Notes
    -----
    [glauert1935]. In axial descent, as in an arrest, the total inflow (climb speed plus induced velocity) is reduced by
    about as much: 0.18 at x = 1, 0.28 at 1.35 and 0.42 at 1.5 from the measured descents in [leishman2006]; here 0.21,
    0.34 and 0.38.

    Examples
    --------
    >>> inflow_missing([1.0, 1.35, 1.5]).round(2)
    array([0.21, 0.34, 0.38])
    """
    half = 0.5 * np.minimum(checks.as_floats("speed_ratio", speed_ratio), 1e6) ** 2
    # rewritten as one over a sum, to avoid cancellation at high speed
    return np.asarray(1.0 - 1.0 / np.sqrt(np.sqrt(half * half + 1.0) + half))


def set_up(d: Dive) -> Setup:
    """Check a dive, broadcast its fields and flatten them.

    Parameters
    ----------
    d : Dive
        Craft and dive.

    Returns
    -------
    Setup
        Arrays of one dimension.

    Raises
    ------
    ValueError
        If a field is outside its range, if neither drop nor speed is given, or if a required disc area is missing.
    """
    checks.check_in("entry", d.entry, ("nose_down", "flat"))
    flat = d.entry == "flat"
    m = checks.check_positive("mass", d.mass, "kg")
    density = checks.check_positive("air_density", d.air_density, "kg/m3")
    thrust = checks.check_range("max_thrust", d.max_thrust, 0.0, 1e9, "N")
    front = checks.check_range("drag_area_front", d.drag_area_front, 0.0, 1e3, "m2")
    top = checks.check_range("drag_area_top", d.drag_area_top, 0.0, 1e3, "m2")
    angle = checks.check_range("dive_angle", d.dive_angle, 0.01, np.pi / 2, "rad")
    limit = checks.check_range("load_limit", d.load_limit, 0.0, 1e6)
    share = checks.check_range("steering_share", d.steering_share, 0.0, 1.0)
    wait = checks.check_range("delay", d.delay.total if isinstance(d.delay, Delay) else d.delay, 0.0, 60.0, "s")
    blend = checks.check_range("blend", d.blend, 0.0, 1.0)
    ground = (
        np.inf
        if d.height_at_command is None
        else checks.check_range("height_at_command", d.height_at_command, 0.0, 1e6, "m")
    )
    loss = checks.check_range(
        "wash_loss", (WASH_LOSS if flat else 0.0) if d.wash_loss is None else d.wash_loss, 0.0, 1.0
    )
    induced: Any = 1.0
    rotor_area: Any = 0.0
    if d.disc_area is not None:
        area = checks.check_positive("disc_area", d.disc_area, "m2")
        induced = np.sqrt(m * G0 / (2.0 * density * area))
        rotor_area = area * checks.check_range("rotor_drag_coefficient", d.rotor_drag_coefficient, 0.0, 5.0)
    elif flat or np.any(loss > 0.0):
        raise ValueError("disc_area (all rotors together) is needed for a flat drop or a loss in the own wash")
    half = density / (2.0 * m)
    drag_fall = half * (top + rotor_area) if flat else half * front
    with np.errstate(divide="ignore"):
        # along a straight path at the dive angle: v_t^2 = g sin(angle) / k
        terminal = np.sqrt(G0 * np.sin(angle) / drag_fall)
    if d.drop is None and d.speed is None:
        raise ValueError("drop [m] or speed [m/s] must be given")
    from_drop = np.inf if d.drop is None else closed_forms.fall_speed(d.drop, terminal_speed=terminal)
    asked = np.inf if d.speed is None else checks.check_range("speed", d.speed, 0.0, 1e3, "m/s")
    v = np.minimum(from_drop, asked)
    height = closed_forms.fall_drop(v, terminal_speed=terminal)
    available = share * thrust / (m * G0)
    rise = checks.check_range("inflow_rise", d.inflow_rise, -1e3, 1e3)
    if np.any(rise != 0.0):
        if d.disc_area is None:
            raise ValueError("disc_area (all rotors together) is needed for a rise of thrust with the lost inflow")
        full_wash = np.sqrt(thrust / (2.0 * density * checks.as_floats("disc_area", d.disc_area)))
        missing = inflow_missing(v / np.maximum(full_wash, 1e-9))
        available = available * np.maximum(1.0 + rise * missing, _LEAST_THRUST_RATIO)
    load = np.minimum(available, limit)
    binding = np.where(
        available > limit,
        BindingLimit.LOAD_LIMIT,
        np.where(np.asarray(d.pack_limited, bool), BindingLimit.PACK, BindingLimit.THRUST),
    )
    parts = np.broadcast_arrays(
        v,
        height,
        angle,
        drag_fall,
        half * front,
        half * top,
        load,
        binding,
        wait,
        ground,
        loss,
        induced,
        blend,
    )
    shape = parts[0].shape
    cut = [np.array(part).ravel() for part in parts]
    cut[7] = cut[7].astype(np.int8)
    return Setup(shape, flat, *cut)


def collect(
    s: Setup,
    ways: tuple[int, ...],
    heights: FloatArray,
    ends: FloatArray,
    bottoms: FloatArray,
    lost_delay: FloatArray,
    first: FloatArray,
    impact_delay: FloatArray,
    impacts: FloatArray,
) -> PullOut:
    """Select the manoeuvre with the greatest height and assemble the result.

    Parameters
    ----------
    s : Setup
        The dive, flattened; n dives.
    ways : tuple of int
        `Manoeuvre` of each computed manoeuvre.
    heights, ends, bottoms : ndarray, (ways, n)
        Height lost from the command to level flight [m], time from the start of the pull [s], and speed in level flight
        [m/s]; NaN where level flight is never reached.
    lost_delay : ndarray, (n,)
        Height lost before the pull begins. [m]
    first : ndarray, (n,)
        Speed at the start of the pull. [m/s]
    impact_delay : ndarray, (n,)
        Speed at the ground where it is reached before the pull begins, else NaN. [m/s]
    impacts : ndarray, (ways, n)
        Speed at the ground where it is reached in the pull. [m/s]

    Returns
    -------
    PullOut
        Of the shape ``s.shape``.
    """
    count = s.speed.size
    unknown = np.isnan(heights)
    worst = np.argmax(np.where(unknown, np.inf, heights), axis=0)
    pick = (worst, np.arange(count))
    height = heights[pick]
    end = np.where(np.isnan(height), np.nan, ends[pick])
    bottom = np.where(np.isnan(height), np.nan, bottoms[pick])
    way = np.asarray(ways, dtype=np.int8)[worst]
    by_way = {w: heights[i] for i, w in enumerate(ways)}
    nothing = np.full(count, np.nan)
    status = np.where(np.isnan(height), Status.NOT_ENOUGH_PULL, Status.OK)
    ground = height > s.ground
    impact = np.where(np.isnan(impact_delay), impacts[pick], impact_delay)
    status = np.where(ground, Status.REACHES_THE_GROUND, status).astype(np.int8)
    # drag at the start of the arrest, or normal to the thrust at start and end of the pull-up
    # direction of the thrust relative to the flow at the start: 0 across it, 1 along it
    across = closed_forms.cosine_and_sine(np.choose(way, [1.0, 0.0, s.blend]) * s.angle)[1]
    against = across * across
    drag_start = (s.drag_front + (s.drag_top - s.drag_front) * against) * first * first / G0
    drag_end = s.drag_front * bottom * bottom / G0
    body = np.where(way == Manoeuvre.ARREST, s.load + drag_start, np.hypot(s.load, np.maximum(drag_start, drag_end)))
    body = np.where(np.isnan(height), np.nan, body)

    def shaped(values: Any) -> Any:
        return np.asarray(values).reshape(s.shape)[()]

    return PullOut(
        speed=shaped(s.speed),
        height_lost=shaped(height),
        height_lost_delay=shaped(lost_delay),
        arrest_height=shaped(by_way.get(0, nothing)),
        pull_up_height=shaped(by_way.get(1, nothing)),
        mixed_height=shaped(by_way.get(2, nothing)),
        peak_load=shaped(s.load),
        peak_body_load=shaped(body),
        bottom_speed=shaped(bottom),
        time=shaped(end + s.delay),
        fall_height=shaped(s.fall_height),
        manoeuvre=shaped(way),
        binding_limit=shaped(s.binding),
        impact_speed=shaped(np.where(ground, impact, np.nan)),
        status=shaped(status),
    )
