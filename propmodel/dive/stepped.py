"""Dive of a point mass in a vertical plane by numerical integration: fall, delay, and pull.

Two manoeuvres are computed: the *arrest* (thrust straight up until the craft no longer descends) and the *pull-up*
(thrust normal to the path until the path is level). The one with the greater height is reported. The thrust is reduced
in the vortex-ring state.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from propmodel.base import checks
from propmodel.base.arrays import FloatArray
from propmodel.base.constants import STANDARD_GRAVITY as G0
from propmodel.dive import closed_forms
from propmodel.dive.estimate import estimate_pull_out
from propmodel.dive.question import (
    DEFAULT_DELAY,
    BindingLimit,
    Delay,
    Dive,
    Manoeuvre,
    Path,
    PullOut,
    Setup,
    binding_text,
    collect,
    set_up,
)
from propmodel.dive.vortex_ring import WashBand, wash_band, wash_share, wash_thrust_factor

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

ManoeuvreName = Literal["worse", "arrest", "pull_up", "mixed"]

_LONGEST = 60.0  # [s] duration of the pull after which the craft is taken as not arrested
_FINEST, _COARSEST = 1e-4, 0.05  # [s] bounds of the automatic step


def _slope(state: FloatArray, p: dict[str, Any]) -> FloatArray:
    """Time derivative of (forward, down, forward speed, downward speed), shape (4, builds)."""
    vx, vd = state[2], state[3]
    speed = np.sqrt(vx * vx + vd * vd)
    safe = np.maximum(speed, 1e-9)
    tx, td = vx / safe, vd / safe
    # direction of the thrust: up for the arrest, normal to the path for the pull-up, or a blend of both
    if p["mixed"]:
        from_up = (1.0 - p["blend"]) * np.arctan2(vd, vx)
        ux, ud = np.sin(from_up), -np.cos(from_up)
    else:
        ux, ud = np.where(p["up"], 0.0, td), np.where(p["up"], -1.0, -tx)
    along = ux * tx + ud * td
    square = along * along
    thrust = p["load"] * G0
    if p["washed"]:
        descent = -along * speed
        inplane = np.sqrt(np.maximum(speed * speed - descent * descent, 0.0))
        thrust = thrust * (1.0 - p["loss"] * wash_share(descent / p["induced"], inplane / p["induced"]))
    k = (p["front"] + (p["top"] - p["front"]) * square) * speed  # f = f_front cos^2 + f_top sin^2
    out = np.empty_like(state)
    out[0], out[1] = vx, vd
    out[2] = thrust * ux - k * vx
    out[3] = G0 + thrust * ud - k * vd
    return out


def _step(state: FloatArray, dt: Any, p: dict[str, Any]) -> FloatArray:
    """Return the state after one fourth-order Runge-Kutta step."""
    a = _slope(state, p)
    b = _slope(state + 0.5 * dt * a, p)
    c = _slope(state + 0.5 * dt * b, p)
    d = _slope(state + dt * c, p)
    return state + dt / 6.0 * (a + 2.0 * (b + c) + d)


def _take(p: dict[str, Any], keep: NDArray[Any]) -> dict[str, Any]:
    return {name: value[keep] if isinstance(value, np.ndarray) else value for name, value in p.items()}


def _land(before: FloatArray, dt: FloatArray, ground: FloatArray, p: dict[str, Any]) -> FloatArray:
    """Return the speed at the ground, which is reached within the step after ``before``. [m/s]"""
    part = np.clip((ground - before[1]) / np.maximum(before[3], 1e-9), 0.0, dt)
    for _ in range(4):
        at = _step(before, part, p)
        part = np.clip(part - (at[1] - ground) / np.maximum(at[3], 1e-9), 0.0, dt)
    at = _step(before, part, p)
    return np.hypot(at[2], at[3])


def _until_level(
    state: FloatArray, dt: FloatArray, p: dict[str, Any], ground: FloatArray, *, record: bool
) -> tuple[FloatArray, FloatArray, FloatArray, list[tuple[FloatArray, FloatArray]]]:
    """Integrate all dives until the downward speed is zero; the end is located within the last step.

    Returns the final states (NaN if level flight is never reached), times [s], speeds at the ground [m/s] (NaN if not
    reached) and, with ``record``, the list of (time, state).
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
        # a steady descent, or a pull of a minute: level flight is never reached
        stuck = (np.abs(_slope(new, q)[2:]).max(axis=0) < 1e-5 * G0) | (clock > _LONGEST)
        keep = ~(done | stuck)
        if keep.all():
            now = new
        else:
            now, q, h, clock, live = new[:, keep], _take(q, keep), h[keep], clock[keep], live[keep]
    return final, end, impact, history


def _automatic_step(speed: FloatArray, load: FloatArray, drag: FloatArray) -> FloatArray:
    """Return one fortieth of the shorter of the arrest time and the time scales of the drag. [s]

    The time scale of the drag at the initial speed keeps the integration stable for very light craft.
    """
    arrest = speed / (G0 * np.maximum(load - 1.0, 1e-3))
    with np.errstate(divide="ignore"):
        falling_scale = 1.0 / np.sqrt(G0 * drag)
        braking = 10.0 / (drag * np.maximum(speed, 1e-9))
    return np.clip(np.minimum(np.minimum(arrest, falling_scale), braking) / 40.0, _FINEST, _COARSEST)


def fly_pull_out(
    dive: Dive,
    *,
    manoeuvre: ManoeuvreName = "worse",
    time_step: float | None = None,
    keep_path: bool = False,
) -> PullOut:
    r"""Integrate the dive and the pull-out of all builds.

    Parameters
    ----------
    dive : Dive
        Craft and dive.
    manoeuvre : {"worse", "arrest", "pull_up", "mixed"}
        Manoeuvre to report; "worse" computes arrest and pull-up and reports the one with the greater height.
    time_step : float, optional
        Time step of the pull. The default is one fortieth of the shortest time scale of each build, at most 50 ms. [s]
    keep_path : bool
        True stores all points of all computed manoeuvres.

    Returns
    -------
    PullOut
        Of the broadcast shape of the dive.

    Raises
    ------
    ValueError
        For invalid input. A craft that cannot arrest the dive gives NaN with status NOT_ENOUGH_PULL.

    Notes
    -----
    Fourth-order Runge-Kutta. The thrust does not depend on the air speed: the disc never moves in the direction of its
    thrust, so C_T does not fall with the advance ratio, and its static value is used. The uncertainty of this enters
    the random draws: flow along the disc or against the thrust reduces the inflow, and the resulting increase of thrust
    depends on blade stall (`inflow_rise`, one factor for the whole pull, at the speed of the command). The in-plane
    force of the rotors, which would also decelerate the craft, is neglected. A climb after the pull-out regains no
    height here. The height of the mixed manoeuvre is between those of the two others. The arrest loses least, because
    only the upward component of the thrust decelerates the descent.

    Examples
    --------
    >>> scree = Dive(mass=0.62, max_thrust=50.0, drag_area_front=0.01, drag_area_top=0.022,
    ...              air_density=1.17, drop=60.0)
    >>> out = fly_pull_out(scree)
    >>> round(float(out.speed), 1), Manoeuvre(int(out.manoeuvre)).name, binding_text(out.binding_limit)
    (26.5, 'PULL_UP', 'the hardest pull allowed')
    """
    checks.check_in("manoeuvre", manoeuvre, ("worse", "arrest", "pull_up", "mixed"))
    if time_step is not None:
        checks.check_positive("time_step", time_step, "s")
    s = set_up(dive)
    count = s.speed.size
    zero = np.zeros(count)
    state = np.stack([zero, zero, s.speed * np.cos(s.angle), s.speed * np.sin(s.angle)])
    # avoid a horizontal drift in a vertical fall: cos(pi/2) is 6e-17
    state[2, s.angle == np.pi / 2] = 0.0

    # delay: no thrust, attitude of the fall
    idle: dict[str, Any] = {
        "up": np.ones(count, bool),
        "blend": zero,
        "mixed": False,
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
    tile = len(ways)
    p: dict[str, Any] = {
        "up": np.repeat([way == 0 for way in ways], count),
        "blend": np.tile(s.blend, tile),
        "mixed": manoeuvre == "mixed",
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
    impacts = impact.reshape(split)
    out = collect(s, ways, heights, ends, last, lost_delay, first, impact_delay, impacts)
    if not keep_path:
        return out
    return replace(out, paths=_paths(s, ways, waiting, history))


def _paths(
    s: Setup,
    ways: tuple[int, ...],
    waiting: list[tuple[FloatArray, FloatArray]],
    history: list[tuple[FloatArray, FloatArray]],
) -> tuple[Path, ...]:
    """Join fall, delay and pull of each manoeuvre, with time along the first axis."""
    count = s.speed.size
    # the fall, from its closed form, at equal steps of height
    share = (np.linspace(0.0, 1.0, 21)[:-1] ** 2)[:, None]
    fallen = np.where(np.isfinite(s.fall_height), s.fall_height, 0.0)
    with np.errstate(divide="ignore"):
        terminal = np.sqrt(G0 * np.sin(s.angle) / s.drag_fall)
    speed = np.where(
        np.isfinite(s.fall_height), closed_forms.fall_speed(share * fallen, terminal_speed=terminal), s.speed
    )
    with np.errstate(invalid="ignore"):  # a speed that no fall reaches has an infinite time
        ahead = closed_forms.fall_time(speed, terminal_speed=terminal) - closed_forms.fall_time(
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
