"""Terms of the dive: the question, the answer, and what both ways of answering share."""

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
"""Hardest pull, thrust / weight (common practice, from memory). [-]"""
STEERING_SHARE = 0.85
"""Share of the full thrust that is there to pull, since the motors also steer (common practice, from
memory). [-]"""
ROTOR_DRAG_COEFFICIENT = 0.35
"""Windmilling rotors on their disc area; 0.26 to 0.39 measured at J/J0 1.3 to 1.5, see data/propellers.
[-]"""


_LEAST_THRUST_RATIO = 0.2
"""Of the full thrust, whatever is drawn. [-]"""


class Manoeuvre(IntEnum):
    """Way out of the dive."""

    ARREST = 0
    PULL_UP = 1
    MIXED = 2


class BindingLimit(IntEnum):
    """What keeps the pull from being harder."""

    LOAD_LIMIT = 0
    THRUST = 1
    PACK = 2


def binding_text(code: int) -> str:
    """Return the plain words of one binding limit.

    Parameters
    ----------
    code : int
        One of `BindingLimit`.

    Examples
    --------
    >>> binding_text(1)
    'the thrust of the motors'
    """
    return ("the hardest pull allowed", "the thrust of the motors", "the current the pack can give")[int(code)]


@dataclass(frozen=True)
class Delay:
    """Time from the moment a pull is needed until it is there, in its parts.

    Defaults are common practice, from memory: 0.5 s together, 0.4 to 0.7 s for people.

    Parameters
    ----------
    see, decide, rotate, spool : array_like, >= 0
        See it, decide, turn the craft by 90 to 120 degrees, spin the rotors up. [s]

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
    """One question, or an array of them: the craft as the dive sees it, and how it is flown.

    Parameters
    ----------
    mass, max_thrust : array_like
        [kg] and full thrust of all rotors together at the charge that is left. [N]
    drag_area_front, drag_area_top : array_like, >= 0
        Along the plate and on the plate; between them f_front cos^2 + f_top sin^2. [m^2]
    air_density : array_like, > 0
        [kg/m^3]
    drop, speed : array_like, optional
        The command comes after this fall or at this speed, whichever is first; one must be given. [m], [m/s]
    dive_angle : array_like, default pi/2
        Of the straight path of the dive, below the horizon; 0.01 to pi/2. [rad]
    entry : {"nose_down", "flat"}
        Nose-down is the faster, hence the worse; flat falls on the plate and the windmilling rotors.
    disc_area : array_like, optional
        All rotors together; needed for a flat drop. [m^2]
    rotor_drag_coefficient : array_like
        Windmilling rotors on disc_area, flat drop only. [-]
    delay : Delay or array_like
        Falling goes on in the attitude of the dive. [s]
    load_limit : array_like
        Hardest pull, as thrust / weight. [-]
    steering_share : array_like
        Share of the full thrust that is there to pull. [-]
    wash_loss : array_like, optional
        Largest loss of thrust in the own wash; default 1/3 for a flat drop, none nose-down. [-]
    pack_limited : array_like of bool
        Whether the pack, not the motors, sets max_thrust (only to name the binding limit).
    height_at_command : array_like, optional
        Height above the ground at the command. [m]
    blend : array_like
        Of the mixed way: 0 pulls normal to the path, 1 straight up. [-]
    inflow_rise : array_like
        For draws: relative rise of max_thrust for each share of the hover's inflow that the speed takes away, see
        ``components.propeller.advance``; 0 keeps max_thrust. Needs disc_area. [-]

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
    """One way out, point by point; the first axis is time, the last value is held after the end.

    Parameters
    ----------
    manoeuvre : Manoeuvre
    time : ndarray
        From the command on (negative while falling). [s]
    forward, height : ndarray
        Height is zero at the command and negative below. [m]
    speed : ndarray
        [m/s]
    """

    manoeuvre: Manoeuvre
    time: FloatArray
    forward: FloatArray
    height: FloatArray
    speed: FloatArray


@dataclass(frozen=True)
class PullOut:
    """Answer to "will it come out of the dive"; a point-mass estimate, all arrays of one shape.

    Parameters
    ----------
    speed : ndarray
        At the command. [m/s]
    height_lost : ndarray
        From the command to level, delay included, of the worse way. NaN where the status says so. [m]
    height_lost_delay : ndarray
        Part of it lost before the pull begins. [m]
    arrest_height, pull_up_height, mixed_height : ndarray
        The same as height_lost for each way; NaN where not computed. [m]
    peak_load : ndarray
        Largest thrust / weight. [-]
    peak_body_load : ndarray
        The same with the drag, as the frame feels it, in the way reported (estimate from start and end). [-]
    bottom_speed : ndarray
        When level. [m/s]
    time : ndarray
        From the command to level. [s]
    fall_height : ndarray
        Dropped before the command; inf if the speed cannot be reached by falling. [m]
    manoeuvre : ndarray of int8
        `Manoeuvre` reported.
    binding_limit : ndarray of int8
        `BindingLimit`.
    impact_speed : ndarray
        Speed at the ground where status is REACHES_THE_GROUND, else NaN. [m/s]
    status : ndarray of int8
        `base.status.Status`.
    paths : tuple of Path
        When asked for.
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
    """Broadcast inputs of one question, flattened.

    Parameters
    ----------
    shape : tuple of int
        Of the question.
    flat : bool
        Flat drop.
    speed, fall_height, angle : ndarray
        At the command [m/s], fallen until then [m], of the path below the horizon [rad].
    drag_fall, drag_front, drag_top : ndarray
        rho f / (2 m): attitude of the fall, front, top. [1/m]
    load : ndarray
        Thrust over weight used. [-]
    binding : ndarray of int8
        `BindingLimit`.
    delay, ground : ndarray
        [s]; height above ground at the command, inf for none. [m]
    wash_loss, induced, blend : ndarray
        Largest loss [-], hover induced velocity [m/s], 0 pull-up to 1 arrest [-].
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
    r"""Share of the inflow of a hover that a stream along the disc takes away: 1 - v_i/v_h of momentum theory.

    .. math:: v_i/v_h = \sqrt{\sqrt{x^4/4 + 1} - x^2/2}

    Parameters
    ----------
    speed_ratio : array_like, >= 0
        x, air speed over the induced velocity v_h of a hover at the same thrust. [-]

    Returns
    -------
    ndarray
        0 at rest. [-]

    Notes
    -----
    [glauert1935]. Against the stream, as in an arrest, climb speed and induced velocity together miss about as much:
    0.18 at x = 1, 0.28 at 1.35 and 0.42 at 1.5 by the measured descents behind [leishman2006]; 0.21, 0.34, 0.38 here.

    Examples
    --------
    >>> inflow_missing([1.0, 1.35, 1.5]).round(2)
    array([0.21, 0.34, 0.38])
    """
    half = 0.5 * np.minimum(checks.as_floats("speed_ratio", speed_ratio), 1e6) ** 2
    # the difference of two near equals at high speed: written as one over their sum
    return np.asarray(1.0 - 1.0 / np.sqrt(np.sqrt(half * half + 1.0) + half))


def set_up(d: Dive) -> Setup:
    """Check a question, broadcast it and flatten it.

    Parameters
    ----------
    d : Dive
        As asked.

    Returns
    -------
    Setup

    Raises
    ------
    ValueError
        If a field is outside its range, neither drop nor speed is given, or a disc area is needed and missing.
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
    """Choose the worse way and shape the answer; the first axis of the two-axis arrays is the way.

    Parameters
    ----------
    s : Setup
        The question, flattened; n dives.
    ways : tuple of int
        `Manoeuvre` of each way that was flown.
    heights, ends, bottoms : ndarray, (ways, n)
        Height lost from the command to level [m], time of it from the start of the pull [s], speed when
        level [m/s]; NaN where level was never reached.
    lost_delay : ndarray, (n,)
        Height lost before the pull begins. [m]
    first : ndarray, (n,)
        Speed at the start of the pull. [m/s]
    impact_delay : ndarray, (n,)
        Speed at the ground where it is reached before the pull begins, else NaN. [m/s]
    impacts : ndarray, (ways, n)
        Speed at the ground where it is reached in the pull. [m/s]
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
    # drag felt at the start of the arrest, or across the thrust at start and end of the pull-up
    # thrust axis against the stream at the start: 0 across it, 1 along it
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
