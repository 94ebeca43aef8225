"""The dive: fall, delay, and the pull with the thrust that is left; the band of descent in the own wash.

A point mass in a vertical plane. Two ways of getting out are different sums and both are computed: the *arrest*
(thrust straight up until the craft no longer descends) and the *pull-up* (thrust normal to the path until the
path is level, with the speed held or rising). The one that costs more height is reported.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from enum import IntEnum
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel import errors, falling
from propmodel.constants import STANDARD_GRAVITY as G0
from propmodel.status import Status

__all__ = [
    "DEFAULT_DELAY",
    "BindingLimit",
    "Delay",
    "Dive",
    "Manoeuvre",
    "Path",
    "PullOut",
    "WashBand",
    "binding_text",
    "estimate_pull_out",
    "fly_pull_out",
    "wash_band",
    "wash_thrust_factor",
]

FloatArray = NDArray[np.float64]
Entry = Literal["nose_down", "flat"]
Way = Literal["worse", "arrest", "pull_up", "mixed"]

LOAD_LIMIT = 5.0
"""Hardest pull, thrust / weight (common practice, from memory). [-]"""
STEERING_SHARE = 0.85
"""Share of the full thrust that is there to pull, since the motors also steer (common practice, from memory). [-]"""
ROTOR_DRAG_COEFFICIENT = 0.35
"""Windmilling rotors on their disc area; 0.26 to 0.39 measured at J/J0 1.3 to 1.5, see data/propellers. [-]"""
WASH_LOSS = 1.0 / 3.0
"""Largest loss of thrust in the own wash (descent of coaxial and dual rotors, published range). [-]"""
WASH_EDGES = (0.4, 1.2, 1.3, 1.4)
"""Descent speed / hover induced velocity: band begins, worst begins, worst ends, band ends (published). [-]"""
WASH_ESCAPE = 2.75
"""In-plane air speed / descent rate that leaves the wash (Talaeizadeh et al., arXiv 1909.09069). [-]"""

_LONGEST = 60.0  # s of pulling after which a craft counts as not arrested
_FINEST, _COARSEST = 1e-4, 0.05  # s, bounds of the automatic step


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

    Examples
    --------
    >>> binding_text(1)
    'the thrust of the motors'
    """
    return ("the hardest pull allowed", "the thrust of the motors", "the current the pack can give")[
        int(code)
    ]


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
            errors.check_range(f"delay {field.name}", getattr(self, field.name), 0.0, 60.0, "s")

    @property
    def total(self) -> FloatArray:
        """Sum of the parts. [s]"""
        return np.asarray(self.see) + self.decide + self.rotate + self.spool


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
    lean : array_like
        Of the mixed way: thrust leaned back by this angle from the normal of the path. [rad]

    Examples
    --------
    >>> Dive(mass=0.62, max_thrust=50.0, drag_area_front=0.01, drag_area_top=0.022, air_density=1.17, drop=60.0).entry
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
    lean: ArrayLike = np.pi / 4


@dataclass(frozen=True)
class WashBand:
    """Descent speeds that sink into the own wash, and what leaves it.

    Parameters
    ----------
    low, worst_low, worst_high, high : ndarray
        Descent speeds. [m/s]
    escape_speed : ndarray
        Sideways air speed that leaves the wash at the worst descent speed. [m/s]
    """

    low: FloatArray
    worst_low: FloatArray
    worst_high: FloatArray
    high: FloatArray
    escape_speed: FloatArray


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
    """Answer to "will it come out of the dive"; a point-mass estimate, every field an array of the same shape.

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
        `propmodel.status.Status`.
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


def wash_band(induced_velocity_hover: ArrayLike) -> WashBand:
    """Descent speeds that sink into the own wash: 0.4 to 1.4 times the hover induced velocity, worst 1.2 to 1.3.

    Parameters
    ----------
    induced_velocity_hover : array_like, > 0
        [m/s]

    Returns
    -------
    WashBand

    Notes
    -----
    Band: Johnson, as reproduced by Hoffmann et al. 2007. Worst speed: published work on dual rotors in axial descent.
    Escape: Talaeizadeh et al., arXiv 1909.09069 (in-plane air speed at least 2.75 times the descent rate).

    Examples
    --------
    >>> band = wash_band(7.5)
    >>> round(float(band.low), 2), round(float(band.high), 2), round(float(band.escape_speed), 1)
    (3.0, 10.5, 25.8)
    """
    v = errors.check_positive("induced_velocity_hover", induced_velocity_hover, "m/s")
    low, worst_low, worst_high, high = WASH_EDGES
    return WashBand(
        low * v, worst_low * v, worst_high * v, high * v, WASH_ESCAPE * 0.5 * (worst_low + worst_high) * v
    )


def _wash_share(descent: Any, inplane: Any) -> FloatArray:
    """Share of the largest loss; both speeds over the hover induced velocity."""
    low, worst_low, worst_high, high = WASH_EDGES
    rise = (descent - low) / (worst_low - low)
    fall = (high - descent) / (high - worst_high)
    band = np.clip(np.minimum(rise, fall), 0.0, 1.0)
    # between none and the published escape ratio the loss fades linearly: an estimate
    return band * np.clip(1.0 - inplane / np.maximum(WASH_ESCAPE * descent, 1e-9), 0.0, 1.0)


def wash_thrust_factor(
    descent_speed: ArrayLike,
    inplane_speed: ArrayLike = 0.0,
    *,
    induced_velocity_hover: ArrayLike,
    largest_loss: ArrayLike = WASH_LOSS,
) -> FloatArray:
    """Share of the thrust that is left when descending into the own wash.

    Parameters
    ----------
    descent_speed, inplane_speed : array_like
        Air speed along the thrust axis from below, and across it (>= 0). [m/s]
    induced_velocity_hover : array_like, > 0
        [m/s]
    largest_loss : array_like
        0 to 1; up to about one third is published. [-]

    Returns
    -------
    ndarray
        1 outside the band; linear between its edges and the worst (an estimate). [-]

    Examples
    --------
    >>> [round(float(wash_thrust_factor(v, induced_velocity_hover=6.0)), 2) for v in (2.0, 7.5, 9.0)]
    [1.0, 0.67, 1.0]
    """
    v = errors.check_positive("induced_velocity_hover", induced_velocity_hover, "m/s")
    loss = errors.check_range("largest_loss", largest_loss, 0.0, 1.0)
    descent = errors.check_finite("descent_speed", descent_speed, "m/s") / v
    inplane = errors.check_range("inplane_speed", inplane_speed, 0.0, 1e9, "m/s") / v
    return 1.0 - loss * _wash_share(descent, inplane)


@dataclass(frozen=True)
class _Setup:
    """Broadcast inputs of one question, flattened."""

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
    lean: FloatArray


def _set_up(d: Dive) -> _Setup:
    errors.check_in("entry", d.entry, ("nose_down", "flat"))
    flat = d.entry == "flat"
    m = errors.check_positive("mass", d.mass, "kg")
    density = errors.check_positive("air_density", d.air_density, "kg/m3")
    thrust = errors.check_range("max_thrust", d.max_thrust, 0.0, 1e9, "N")
    front = errors.check_range("drag_area_front", d.drag_area_front, 0.0, 1e3, "m2")
    top = errors.check_range("drag_area_top", d.drag_area_top, 0.0, 1e3, "m2")
    angle = errors.check_range("dive_angle", d.dive_angle, 0.01, np.pi / 2, "rad")
    limit = errors.check_range("load_limit", d.load_limit, 0.0, 1e6)
    share = errors.check_range("steering_share", d.steering_share, 0.0, 1.0)
    wait = errors.check_range(
        "delay", d.delay.total if isinstance(d.delay, Delay) else d.delay, 0.0, 60.0, "s"
    )
    leaning = errors.check_range("lean", d.lean, 0.0, np.pi / 2, "rad")
    ground = (
        np.inf
        if d.height_at_command is None
        else errors.check_range("height_at_command", d.height_at_command, 0.0, 1e6, "m")
    )
    loss = errors.check_range(
        "wash_loss", (WASH_LOSS if flat else 0.0) if d.wash_loss is None else d.wash_loss, 0.0, 1.0
    )
    induced: Any = 1.0
    rotor_area: Any = 0.0
    if d.disc_area is not None:
        area = errors.check_positive("disc_area", d.disc_area, "m2")
        induced = np.sqrt(m * G0 / (2.0 * density * area))
        rotor_area = area * errors.check_range("rotor_drag_coefficient", d.rotor_drag_coefficient, 0.0, 5.0)
    elif flat or np.any(loss > 0.0):
        raise ValueError(
            "disc_area (all rotors together) is needed for a flat drop or a loss in the own wash"
        )
    half = density / (2.0 * m)
    drag_fall = half * (top + rotor_area) if flat else half * front
    with np.errstate(divide="ignore"):
        # along a straight path at the dive angle: v_t^2 = g sin(angle) / k
        terminal = np.sqrt(G0 * np.sin(angle) / drag_fall)
    if d.drop is None and d.speed is None:
        raise ValueError("drop [m] or speed [m/s] must be given")
    from_drop = np.inf if d.drop is None else falling.fall_speed(d.drop, terminal_speed=terminal)
    asked = np.inf if d.speed is None else errors.check_range("speed", d.speed, 0.0, 1e3, "m/s")
    v = np.minimum(from_drop, asked)
    height = falling.fall_drop(v, terminal_speed=terminal)
    available = share * thrust / (m * G0)
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
        leaning,
    )
    shape = parts[0].shape
    cut = [np.array(part).ravel() for part in parts]
    cut[7] = cut[7].astype(np.int8)
    return _Setup(shape, flat, *cut)


# --- integration -------------------------------------------------------------------------------------------------


def _slope(state: FloatArray, p: dict[str, Any]) -> FloatArray:
    """Time derivative of (forward, down, forward speed, downward speed), shape (4, builds)."""
    vx, vd = state[2], state[3]
    speed = np.sqrt(vx * vx + vd * vd)
    safe = np.maximum(speed, 1e-9)
    tx, td = vx / safe, vd / safe
    # thrust axis: normal to the path, leaned back against it; straight up for the arrest
    ux = np.where(p["up"], 0.0, p["cos"] * td - p["sin"] * tx)
    ud = np.where(p["up"], -1.0, -p["cos"] * tx - p["sin"] * td)
    along = ux * tx + ud * td
    square = along * along
    thrust = p["load"] * G0
    if p["washed"]:
        descent = -along * speed
        inplane = np.sqrt(np.maximum(speed * speed - descent * descent, 0.0))
        thrust = thrust * (1.0 - p["loss"] * _wash_share(descent / p["induced"], inplane / p["induced"]))
    k = (p["front"] + (p["top"] - p["front"]) * square) * speed  # f = f_front cos^2 + f_top sin^2
    out = np.empty_like(state)
    out[0], out[1] = vx, vd
    out[2] = thrust * ux - k * vx
    out[3] = G0 + thrust * ud - k * vd
    return out


def _step(state: FloatArray, dt: Any, p: dict[str, Any]) -> FloatArray:
    """One classical Runge-Kutta step."""
    a = _slope(state, p)
    b = _slope(state + 0.5 * dt * a, p)
    c = _slope(state + 0.5 * dt * b, p)
    d = _slope(state + dt * c, p)
    return state + dt / 6.0 * (a + 2.0 * (b + c) + d)


def _take(p: dict[str, Any], keep: NDArray[Any]) -> dict[str, Any]:
    return {name: value[keep] if isinstance(value, np.ndarray) else value for name, value in p.items()}


def _land(before: FloatArray, dt: FloatArray, ground: FloatArray, p: dict[str, Any]) -> FloatArray:
    """Speed at the ground, crossed within the step after ``before``."""
    part = np.clip((ground - before[1]) / np.maximum(before[3], 1e-9), 0.0, dt)
    for _ in range(4):
        at = _step(before, part, p)
        part = np.clip(part - (at[1] - ground) / np.maximum(at[3], 1e-9), 0.0, dt)
    at = _step(before, part, p)
    return np.hypot(at[2], at[3])


def _until_level(
    state: FloatArray, dt: FloatArray, p: dict[str, Any], ground: FloatArray, *, record: bool
) -> tuple[FloatArray, FloatArray, FloatArray, list[tuple[FloatArray, FloatArray]]]:
    """Integrate all until the downward speed is zero; the end is found inside the last step.

    Returns the final states (NaN if never level), times, speeds at the ground (NaN if not reached) and, if asked,
    the recorded (time, state).
    """
    count = state.shape[1]
    final = np.full_like(state, np.nan)
    end = np.full(count, np.nan)
    impact = np.full(count, np.nan)
    level = state[3] <= 0.0
    final[:, level], end[level] = state[:, level], 0.0
    live = np.flatnonzero(~level & (p["load"] > 1.0))
    time = np.zeros(count)
    history = [(time.copy(), state.copy())] if record else []
    now, q, h, clock = state[:, live], _take(p, live), dt[live], np.zeros(live.size)
    while live.size:
        new = _step(now, h, q)
        deep = (new[1] >= ground[live]) & np.isnan(impact[live])
        if deep.any():
            impact[live[deep]] = _land(now[:, deep], h[deep], ground[live[deep]], _take(q, deep))
        done = new[3] <= 0.0
        if done.any():
            before, r, full = now[:, done], _take(q, done), h[done]
            part = full * before[3] / (before[3] - new[3, done])
            for _ in range(4):
                at = _step(before, part, r)
                part = np.clip(part - at[3] / _slope(at, r)[3], 0.0, full)
            at = _step(before, part, r)
            at[3] = 0.0
            final[:, live[done]] = at
            end[live[done]] = clock[done] + part
            new[:, done] = at
        clock = clock + h
        if record:
            time, state = time.copy(), state.copy()
            time[live], state[:, live] = np.where(done, np.nan_to_num(end[live]), clock), new
            history.append((time, state))
        # settled at a steady descent, or still pulling after a minute: never level
        stuck = (np.abs(_slope(new, q)[2:]).max(axis=0) < 1e-5 * G0) | (clock > _LONGEST)
        keep = ~(done | stuck)
        if keep.all():
            now = new
        else:
            now, q, h, clock, live = new[:, keep], _take(q, keep), h[keep], clock[keep], live[keep]
    return final, end, impact, history


def _automatic_step(speed: FloatArray, load: FloatArray, drag: FloatArray) -> FloatArray:
    """One fortieth of the shorter of the arrest time and the time scale of the drag."""
    arrest = speed / (G0 * np.maximum(load - 1.0, 1e-3))
    with np.errstate(divide="ignore"):
        falling_scale = 1.0 / np.sqrt(G0 * drag)
    return np.clip(np.minimum(arrest, falling_scale) / 40.0, _FINEST, _COARSEST)


def fly_pull_out(
    dive: Dive,
    *,
    manoeuvre: Way = "worse",
    time_step: float | None = None,
    keep_path: bool = False,
) -> PullOut:
    r"""Fly the dive and the way out, step by step, all builds at once.

    Parameters
    ----------
    dive : Dive
        Craft and dive.
    manoeuvre : {"worse", "arrest", "pull_up", "mixed"}
        Way out to report; "worse" flies arrest and pull-up and reports the one that costs more height.
    time_step : float, optional
        Of the pull; by default one fortieth of the shortest time scale of each build, 50 ms at most. [s]
    keep_path : bool
        Keep every point of every way flown.

    Returns
    -------
    PullOut

    Raises
    ------
    ValueError
        For nonsense input. A craft that cannot arrest is a result: NaN with status NOT_ENOUGH_PULL.

    Notes
    -----
    Fourth-order Runge-Kutta. Thrust does not change with air speed here: across the stream it rises, against it the
    static value is held. No height is given back by zooming. The mixed way lies between the two others; the way that
    loses least height is the arrest itself, as only the upward share of the thrust brakes the descent.

    Examples
    --------
    >>> scree = Dive(mass=0.62, max_thrust=50.0, drag_area_front=0.01, drag_area_top=0.022, air_density=1.17, drop=60.0)
    >>> out = fly_pull_out(scree)
    >>> round(float(out.speed), 1), Manoeuvre(int(out.manoeuvre)).name, binding_text(out.binding_limit)
    (26.5, 'PULL_UP', 'the hardest pull allowed')
    """
    errors.check_in("manoeuvre", manoeuvre, ("worse", "arrest", "pull_up", "mixed"))
    if time_step is not None:
        errors.check_positive("time_step", time_step, "s")
    s = _set_up(dive)
    count = s.speed.size
    zero = np.zeros(count)
    state = np.stack([zero, zero, s.speed * np.cos(s.angle), s.speed * np.sin(s.angle)])
    # a vertical fall must not drift: cos(pi/2) is 6e-17
    state[2, s.angle == np.pi / 2] = 0.0

    # delay: no thrust, attitude of the fall
    idle: dict[str, Any] = {
        "up": np.ones(count, bool),
        "cos": zero,
        "sin": zero,
        "front": s.drag_fall,
        "top": s.drag_fall,
        "load": zero,
        "washed": False,
        "loss": zero,
        "induced": s.induced,
    }
    steps = max(4, int(np.ceil(s.delay.max(initial=0.0) / (time_step or 0.02))))
    dt = s.delay / steps
    waiting = [(zero, state)]
    impact_delay = np.full(count, np.nan)
    for i in range(steps):
        new = _step(state, dt, idle)
        deep = (new[1] >= s.ground) & np.isnan(impact_delay)
        if deep.any():
            impact_delay[deep] = _land(state[:, deep], dt[deep], s.ground[deep], _take(idle, deep))
        state = new
        waiting.append((dt * (i + 1), state))
    lost_delay = state[1].copy()

    ways = {"worse": (0, 1), "arrest": (0,), "pull_up": (1,), "mixed": (2,)}[manoeuvre]
    lean = {0: zero, 1: zero, 2: s.lean}
    tile = len(ways)
    p = {
        "up": np.repeat([way == 0 for way in ways], count),
        "cos": np.concatenate([np.cos(lean[way]) for way in ways]),
        "sin": np.concatenate([np.sin(lean[way]) for way in ways]),
        "front": np.tile(s.drag_front, tile),
        "top": np.tile(s.drag_top, tile),
        "load": np.tile(s.load, tile),
        "washed": bool(np.any(s.wash_loss > 0.0)),
        "loss": np.tile(s.wash_loss, tile),
        "induced": np.tile(s.induced, tile),
    }
    start = np.tile(state, (1, tile))
    v1 = np.hypot(start[2], start[3])
    h = (
        np.full(v1.size, float(time_step))
        if time_step
        else _automatic_step(v1, p["load"], np.maximum(p["front"], p["top"]))
    )
    final, end, impact, history = _until_level(start, h, p, np.tile(s.ground, tile), record=keep_path)

    split = (tile, count)
    heights, ends = final[1].reshape(split), end.reshape(split)
    bottoms = np.hypot(final[2], final[3]).reshape(split)
    first, last = v1.reshape(split)[0], bottoms
    k_start = np.array(
        [
            s.drag_top if way == 0 else s.drag_front + (s.drag_top - s.drag_front) * np.sin(lean[way]) ** 2
            for way in ways
        ]
    )
    impacts = impact.reshape(split)
    out = _collect(s, ways, heights, ends, last, lost_delay, first, k_start, impact_delay, impacts)
    if not keep_path:
        return out
    return replace(out, paths=_paths(s, ways, waiting, history))


def _collect(
    s: _Setup,
    ways: tuple[int, ...],
    heights: FloatArray,
    ends: FloatArray,
    bottoms: FloatArray,
    lost_delay: FloatArray,
    first: FloatArray,
    k_start: FloatArray,
    impact_delay: FloatArray,
    impacts: FloatArray,
) -> PullOut:
    """Choose the worse way and shape the answer; the first axis of the two-axis arrays is the way."""
    count = s.speed.size
    unknown = np.isnan(heights)
    worst = np.argmax(np.where(unknown, np.inf, heights), axis=0)
    pick = (worst, np.arange(count))
    height, end = heights[pick], ends[pick]
    bottom = np.where(np.isnan(height), np.nan, bottoms[pick])
    way = np.asarray(ways, dtype=np.int8)[worst]
    by_way = {w: heights[i] for i, w in enumerate(ways)}
    nothing = np.full(count, np.nan)
    status = np.where(np.isnan(height), Status.NOT_ENOUGH_PULL, Status.OK)
    ground = height > s.ground
    impact = np.where(np.isnan(impact_delay), impacts[pick], impact_delay)
    status = np.where(ground, Status.REACHES_THE_GROUND, status).astype(np.int8)
    # drag felt at the start of the arrest, or across the thrust at start and end of the pull-up
    drag_start = k_start[pick] * first * first / G0
    drag_end = s.drag_front * bottom * bottom / G0
    body = np.where(
        way == Manoeuvre.ARREST, s.load + drag_start, np.hypot(s.load, np.maximum(drag_start, drag_end))
    )
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


def _paths(
    s: _Setup,
    ways: tuple[int, ...],
    waiting: list[tuple[FloatArray, FloatArray]],
    history: list[tuple[FloatArray, FloatArray]],
) -> tuple[Path, ...]:
    """Join fall, delay and pull of each way, points along the first axis."""
    count = s.speed.size
    # the fall, drawn from its closed form at equal steps of height
    share = (np.linspace(0.0, 1.0, 21)[:-1] ** 2)[:, None]
    fallen = np.where(np.isfinite(s.fall_height), s.fall_height, 0.0)
    with np.errstate(divide="ignore"):
        terminal = np.sqrt(G0 * np.sin(s.angle) / s.drag_fall)
    speed = np.where(
        np.isfinite(s.fall_height), falling.fall_speed(share * fallen, terminal_speed=terminal), s.speed
    )
    ahead = falling.fall_time(speed, terminal_speed=terminal) - falling.fall_time(
        s.speed, terminal_speed=terminal
    )
    time_fall = np.where(np.isfinite(s.fall_height), ahead / np.sin(s.angle), 0.0)
    below = (share - 1.0) * fallen
    forward = np.where(s.angle == np.pi / 2, 0.0, below / np.tan(s.angle))
    out = []
    for i, way in enumerate(ways):
        mine = slice(i * count, (i + 1) * count)
        times = [t for t, _ in waiting] + [s.delay + t[mine] for t, _ in history[1:]]
        states = [x for _, x in waiting] + [x[:, mine] for _, x in history[1:]]
        pulled = np.stack(states)
        parts = {
            "time": np.concatenate([time_fall, np.stack(times)]),
            "forward": np.concatenate([forward, pulled[:, 0]]),
            "height": -np.concatenate([below, pulled[:, 1]]),
            "speed": np.concatenate([speed, np.hypot(pulled[:, 2], pulled[:, 3])]),
        }
        shaped = {name: values.reshape((-1, *s.shape)) for name, values in parts.items()}
        out.append(Path(Manoeuvre(way), **shaped))
    return tuple(out)


# --- closed form -------------------------------------------------------------------------------------------------


def _washed_arrest(s: _Setup, speed: FloatArray, terminal: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Height and time of a vertical arrest through the wash band, in pieces of constant loss."""
    height, time = np.zeros_like(speed), np.zeros_like(speed)
    low, worst_low, worst_high, high = WASH_EDGES
    middle = 0.5 * (low + worst_low)
    b = 1.0 / (terminal * terminal)
    pieces = (
        (np.inf, high, 0.0),
        (high, worst_high, 0.5),
        (worst_high, worst_low, 1.0),
        (worst_low, middle, 0.75),
        (middle, low, 0.25),
        (low, 0.0, 0.0),
    )
    for above, below, share in pieces:
        v_a = np.minimum(speed, above * s.induced)
        v_b = np.minimum(speed, below * s.induced)
        spare = s.load * (1.0 - s.wash_loss * share) - 1.0
        up, down = spare + b * v_a * v_a, spare + b * v_b * v_b
        good = down > 0.0
        mean = np.where(good, 0.5 * (up + down), 1.0)
        # exact: ln(up/down) / (2 g b); a midpoint in v^2 is near enough within a piece, the outer piece is exact
        exact = np.log1p((up - down) / np.where(good, down, 1.0)) / (2.0 * G0 * np.maximum(b, 1e-12))
        simple = (v_a * v_a - v_b * v_b) / (2.0 * G0 * mean)
        piece = np.where(b * v_a * v_a > 1e-6, exact, simple)
        height = height + np.where(good | (v_a <= v_b), piece, np.nan)
        time = time + (v_a - v_b) / (G0 * mean)
    return height, time


def estimate_pull_out(dive: Dive) -> PullOut:
    """Pull-out from closed forms only: for sweeps over very many builds.

    Parameters
    ----------
    dive : Dive
        Arrest and pull-up are both computed, the worse is reported.

    Returns
    -------
    PullOut
        No paths, no mixed way.

    Notes
    -----
    Vertical nose-down dives are exact but for six-point Gauss sums (`falling.pull_up_with_drag`; below 1e-4 of the
    stepped result for loads above 1.3). Slanted dives bend the path by g cos(angle) t / v during the delay and stop
    the downward part of the speed alone; a flat drop takes the wash band in six pieces of constant loss. Height
    against the stepped result over 3,000 random builds, median / 90 / 99 of 100: slanted 0.7 / 4 / 11 %, flat arrest
    0.3 / 1 / 7 % (the last near the point where the loss eats all spare thrust).

    Examples
    --------
    >>> scree = Dive(mass=0.62, max_thrust=50.0, drag_area_front=0.01, drag_area_top=0.022, air_density=1.17, drop=60.0)
    >>> round(float(estimate_pull_out(scree).height_lost), 1)
    31.8
    """
    s = _set_up(dive)
    with np.errstate(divide="ignore"):
        vertical_terminal = np.sqrt(G0 / s.drag_fall)
        terminal_front, terminal_top = np.sqrt(G0 / s.drag_front), np.sqrt(G0 / s.drag_top)
    slanted = bool(np.any(s.angle < np.pi / 2))
    if slanted:
        # the path bends down while it falls; half of the bend is the mean angle of the delay
        bend = G0 * np.cos(s.angle) * s.delay / np.maximum(s.speed, 1e-3)
        middle = np.minimum(s.angle + 0.5 * bend, np.pi / 2)
        angle = np.minimum(s.angle + bend, np.pi / 2)
        sine = np.sin(middle)
        v1, lost = falling.fall_on(s.speed, s.delay * sine, terminal_speed=vertical_terminal * np.sqrt(sine))
        down = v1 * np.sin(angle)
    else:
        angle = s.angle
        v1, lost = falling.fall_on(s.speed, s.delay, terminal_speed=vertical_terminal)
        down = v1
    lost = np.atleast_1d(lost)
    spare = np.where(s.load > 1.0, s.load - 1.0, np.nan)
    if np.any(s.wash_loss > 0.0):
        arrest, arrest_time = _washed_arrest(s, down, terminal_top)
    else:
        arrest = falling.arrest_height(down, s.load, terminal_speed=terminal_top)
        x = down / (terminal_top * np.sqrt(spare))
        small = x < 1e-9
        arrest_time = down / (G0 * spare) * np.where(small, 1.0, np.arctan(x) / np.where(small, 1.0, x))
    bottom, pull_up, pull_time = falling.pull_up_with_drag(
        v1, s.load, dive_angle=angle, terminal_speed=terminal_front
    )
    sideways = v1 * np.cos(angle) if slanted else np.zeros_like(v1)
    heights = lost + np.stack([arrest, pull_up])
    out = _collect(
        s,
        (0, 1),
        heights,
        np.stack([arrest_time, pull_time]),
        np.stack([sideways, bottom]),
        lost,
        v1,
        np.stack([s.drag_top, s.drag_front]),
        np.full(lost.size, np.nan),
        np.full(heights.shape, np.nan),
    )
    if not np.any(out.status == Status.REACHES_THE_GROUND):
        return out
    # speed at the ground: the square of the speed is taken linear in height, an estimate
    end = np.asarray(out.bottom_speed).ravel()
    deep = np.clip((s.ground - lost) / np.maximum(np.asarray(out.height_lost).ravel() - lost, 1e-9), 0.0, 1.0)
    early = np.clip(s.ground / np.maximum(lost, 1e-9), 0.0, 1.0)
    square = s.speed**2 + early * (v1**2 - s.speed**2) + deep * (end**2 - v1**2)
    hit = np.where(np.asarray(out.status).ravel() == Status.REACHES_THE_GROUND, np.sqrt(square), np.nan)
    return replace(out, impact_speed=hit.reshape(s.shape)[()])
