"""Top speed: the level speed at which the throttle, the command cap or the pack reaches its limit."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import Build, scatter_back, shape_of, take
from propmodel.base.checks import check_flag, check_range
from propmodel.base.status import Status
from propmodel.components.controller import limited_ripple_coefficient, ripple_voltage
from propmodel.flight.trim import Airframe, Trim, balance
from propmodel.powertrain.operating_point import OperatingPoint, at_duty
from propmodel.powertrain.prepared import PreparedPowertrain, prepare

__all__ = ["TopSpeed", "top_speed"]

# 0-d arrays are faster in numpy calls than Python floats
_SMALL, _HALF, _ONE, _TURN = (np.asarray(x) for x in (1e-9, 0.5, 1.0, 2.0 * np.pi))


@dataclass(frozen=True)
class TopSpeed:
    """Fastest level flight.

    Parameters
    ----------
    speed : ndarray
        True air speed; NaN where the craft cannot hover. [m/s]
    tilt : ndarray
        Angle between rotor plane and horizontal. [rad]
    current : ndarray
        Pack current. [A]
    rev_per_s : ndarray
        Rotational speed. [1/s]
    pitch_speed : ndarray
        Rotational speed times pitch. The flight may be faster, because real propellers give thrust beyond it. [m/s]
    status : ndarray of int8
        Code of `Status`.
    """

    speed: NDArray
    tilt: NDArray
    current: NDArray
    rev_per_s: NDArray
    pitch_speed: NDArray
    status: NDArray


def top_speed(build: Build, *, state_of_charge: ArrayLike = 1.0, quick: bool = False) -> TopSpeed:
    """Level speed at which full throttle, the command cap or the pack limits the flight.

    Parameters
    ----------
    build : Build
        Its fields may be arrays.
    state_of_charge : array_like
        State of charge, 0 to 1. [-]
    quick : bool
        True takes fewer iterations, for sweeps: within 2 % of the full solution, mostly within 0.1 %.

    Returns
    -------
    TopSpeed
        Of the broadcast shape of build and state of charge, with the 10-second pack resistance (a sprint, not a
        cruise).

    Notes
    -----
    At constant drag areas more mass may raise the top speed by a few per cent. A heavier craft tilts less, so its plate
    has less drag and its discs less axial flow. A payload that adds drag area removes this gain.

    Examples
    --------
    >>> import propmodel
    >>> bool(20 < top_speed(propmodel.demo("scree")).speed < 70)
    True
    """
    check_range("state_of_charge", state_of_charge, 0.0, 1.0)
    d = prepare(build, state_of_charge)
    shape = np.broadcast_shapes(shape_of(build), np.shape(state_of_charge))
    cap = np.broadcast_to(build.duty_cap, shape)
    return find_top_speed(
        d, Airframe.of(build), cap, np.asarray(build.propeller.pitch), quick=check_flag("quick", quick)
    )


def find_top_speed(
    d: PreparedPowertrain,
    frame: Airframe,
    cap: NDArray,
    pitch: NDArray,
    *,
    quick: bool,
    full: OperatingPoint | None = None,
) -> TopSpeed:
    """Solve :func:`top_speed` on prepared arrays; each step starts from the trim of the last one."""
    if full is None:
        full = at_duty(d, cap)
    thrust = d.rotors * full.thrust
    lifts = thrust > frame.weight
    guess = _guess_top(d, frame, thrust, full.rev_per_s), _full_throttle_trim(frame, thrust, full.rev_per_s)
    first, second = (
        (_Effort(4, 2, 2e-3), _Effort(6, 4, 1e-3)) if quick else (_Effort(8, 3, 1e-8), _Effort(12, 6, 1e-10))
    )
    found = _aimed_top(d, frame, cap, *guess, effort=first)
    for bracket in (False, True):
        # with little excess thrust the command is nearly independent of speed, so a small residual may be a large error
        sure = found.settled if bracket or not quick else found.settled & (thrust > 1.2 * frame.weight)
        open_ = lifts & ~sure
        if not open_.any():
            break
        shape = np.shape(open_)
        part, body, asked = take(d, open_, shape), take(frame, open_, shape), np.broadcast_to(cap, shape)[open_]
        if bracket:
            most, turning = (np.broadcast_to(x, shape)[open_] for x in (thrust, full.rev_per_s))
            rest = _bracketed_top(part, body, asked, most, turning, steps=16 if quick else 36)
        else:
            begun = np.log(found.speed[open_]), take(found.state, open_, shape)
            rest = _aimed_top(part, body, asked, *begun, effort=second)
        found = _merged(found, open_, rest)
    speed, tilt, current, rev_per_s = found.speed, np.arctan(found.state.tangent), found.current, found.state.rev_per_s
    status = np.where(lifts, Status.OK, Status.CANNOT_HOVER).astype(np.int8)
    nan = np.where(lifts, 1.0, np.nan)
    return TopSpeed(
        speed=speed * nan,
        tilt=tilt * nan,
        current=current * nan,
        rev_per_s=rev_per_s * nan,
        pitch_speed=rev_per_s * pitch * nan,
        status=status,
    )


class _Effort(NamedTuple):
    """Effort of a search: steps, iterations of each trim, and the change of ln V below which it has converged."""

    steps: int
    passes: int
    near: float


class _Top(NamedTuple):
    """Top speed [m/s], trim, pack current [A], and True where the search has converged."""

    speed: NDArray
    state: Trim
    current: NDArray
    settled: NDArray


def _merged(found: _Top, some: NDArray, rest: _Top) -> _Top:
    """Return the result with some elements replaced by those of a second search."""
    state = Trim(*(scatter_back(getattr(found.state, f.name), some, getattr(rest.state, f.name)) for f in fields(Trim)))
    speed, current, settled = (
        scatter_back(getattr(found, name), some, getattr(rest, name)) for name in ("speed", "current", "settled")
    )
    return _Top(speed, state, current, settled)


def _full_throttle_trim(frame: Airframe, thrust: NDArray, rev_per_s: NDArray) -> Trim:
    """Initial trim of the search: a large tilt and slightly more than the static rotational speed at full throttle."""
    zero = np.zeros_like(thrust)
    ratio = thrust / frame.weight
    tilt = 0.38 * np.sqrt(np.maximum(ratio * ratio - 1.0, 1e-4))
    return Trim(np.maximum(1.08 * rev_per_s, 1e-3), tilt, zero, zero, zero, zero, zero, zero)


def _guess_top(d: PreparedPowertrain, frame: Airframe, thrust: NDArray, rev_per_s: NDArray) -> NDArray:
    """Logarithm of an estimate of the top speed: drag equals static thrust at its tilt, less the effect of the inflow.

    The coefficients are a regression on results of this engine (28,000 builds, standard deviation 3 to 6 %). They only
    give the initial value.
    """
    light = np.minimum(frame.weight / np.maximum(thrust, _SMALL), 0.999)
    level = light * light
    lean2 = 1.0 - level
    drag_area = frame.front + (frame.top - frame.front) * lean2
    most = np.sqrt(2.0 * np.maximum(thrust, _SMALL) * np.sqrt(lean2) / (d.density * drag_area))
    blades = d.prop.zero_thrust_advance_ratio * np.maximum(rev_per_s, 1e-3) * d.diameter
    bend = 0.07 * np.log(light) - 0.13 * level + 0.054 * (1.0 - d.prop.bulge_share) - 0.214
    return 0.69 * np.log(most) + 0.31 * np.log(blades) + bend


def _aimed_top(
    d: PreparedPowertrain, frame: Airframe, cap: NDArray, log_v: NDArray, state: Trim, *, effort: _Effort
) -> _Top:
    """Secant method in ln V from a good estimate, with a trim of few iterations in each step."""
    excess, move, slope = np.zeros_like(log_v), np.zeros_like(log_v), _ONE
    for step in range(effort.steps):
        passes = effort.passes if step else 1 + effort.passes
        state = balance(d, frame, np.exp(log_v), start=state, passes=passes, quick=effort.passes < 3)
        last = excess
        excess, current = _excess(d, state, cap)
        if step:
            slope = (excess - last) / np.where(np.abs(move) > 1e-12, move, np.inf)
            slope = np.minimum(np.maximum(slope, 0.15), 12.0 if step < 3 else 100.0)
        move = np.minimum(np.maximum(-excess / slope, -0.25), 0.15)
        log_v = log_v + move
        if step > 2 and not (np.abs(move) > 1e-11).any():
            break
    # a steep secant also gives a small step, so the residual must be small too
    settled = (np.abs(move) < effort.near) & (np.abs(excess) < max(0.25 * effort.near, 1e-6))
    return _Top(np.exp(log_v), state, current, settled)


def _excess(d: PreparedPowertrain, state: Trim, cap: NDArray) -> tuple[NDArray, NDArray]:
    """Return the open-circuit voltage that a trim lacks, relative to E [-], and the pack current [A].

    A trim is possible if the bus voltage remains above V, the least at which the command cap gives the motor voltage,
    and above half of the open-circuit voltage E. So V + R P(V) / V must not exceed E. This condition is explicit and
    smooth, while the duty varies like a square root near the limit of the pack.
    """
    n = state.rev_per_s
    amps = state.shaft_power / (_TURN * n * d.torque_constant) + d.no_load_amps_per_n * n
    volts = d.volts_per_rev * n + amps * d.resistance
    power = d.rotors * (volts * amps) + d.idle_power
    bus = np.maximum(volts / cap, _HALF * d.emf)
    square = volts * volts
    ripple_volts = ripple_voltage(volts, bus)
    power = power + limited_ripple_coefficient(d.total_ripple_coefficient, power, square) * (
        ripple_volts * ripple_volts
    )
    current = power / bus
    return (bus + d.pack_resistance * current) / d.emf - _ONE, current


def _bracketed_top(
    d: PreparedPowertrain, frame: Airframe, cap: NDArray, thrust: NDArray, rev_per_s: NDArray, *, steps: int
) -> _Top:
    """Bisection combined with false position; slower, for the few builds for which the secant method fails."""
    # drag hardly exceeds the static thrust, though rotors turn faster in the stream: the upper end of the bracket
    high = 1.25 * np.sqrt(2.0 * np.maximum(thrust, frame.weight) / (d.density * frame.front))
    low = np.zeros_like(high)
    # from a large tilt near full throttle few iterations suffice; from hover the trim would not converge in each step,
    # and the root would be missed near the limit of the pack
    state = _full_throttle_trim(frame, thrust, rev_per_s)
    below, above = -np.ones_like(high), np.ones_like(high)
    for step in range(steps):
        # false position converges from one side only, so every other step bisects
        share = np.clip(-below / (above - below), 0.02, 0.98) if step > 5 and step % 2 else 0.5
        middle = low + (high - low) * share
        state = balance(d, frame, middle, start=state, passes=12, quick=False)
        excess, current = _excess(d, state, cap)
        over = excess > 0.0
        low, high = np.where(over, low, middle), np.where(over, middle, high)
        below, above = np.where(over, below, excess), np.where(over, excess, above)
    # linear interpolation of the root between the last two points
    share = np.where((below < 0.0) & (above > 0.0), -below / np.maximum(above - below, 1e-12), 0.5)
    speed = low + (high - low) * share
    return _Top(speed, state, current, np.ones_like(speed, bool))
