"""What the pages Plug in and Cost ask of the engine, each answer kept where it is worth keeping; no screen.

As `explorer.forecasts.headlines`: functions of checked `Inputs` and plain values, frozen results.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import streamlit as st
from numpy.typing import NDArray

from explorer.forecasts import headlines
from explorer.inputs import Inputs
from explorer.inputs.measured_parts import MeasuredMotor, OwnParts, bare, measured
from propmodel import power_up
from propmodel.assembly.build import Build
from propmodel.assess.assessment import Assessment
from propmodel.assess.performance import evaluate
from propmodel.base.units import GRAM_FORCE
from propmodel.components import motor as motor_model
from propmodel.components.controller import command_from_duty
from propmodel.components.propeller import spread
from propmodel.power_up.steps import PowerUp
from propmodel.studies.spread import bands, draw

__all__ = [
    "Learned",
    "from_readings",
    "learned",
    "power",
]

DRAWS = 512


# ---- first power-up ---------------------------------------------------------------------------------------


def power(inputs: Inputs, *, modern: bool | None, supply_voltage: float | None = None) -> PowerUp:
    """Numbers of the first power-up, with the bands of this build.

    Parameters
    ----------
    inputs : Inputs
    modern : bool or None
        Whether the ESC freewheels actively; None where its age is not known.
    supply_voltage : float or None
        Of the motor tests; None takes the full pack. [V]
    """
    return _power(headlines.plain(inputs), modern, supply_voltage)


@st.cache_data(**headlines.KEPT_ANSWERS)
def _power(inputs: Inputs, modern: bool | None, supply_voltage: float | None) -> PowerUp:
    made = headlines.build(inputs)
    low, mid, high = bands(made, draws=256)
    shares: dict[str, tuple[float, float]] = {}
    for name in ("hover_throttle", "hover_current", "full_throttle_motor_current", "full_throttle_thrust"):
        pair = tuple(float(getattr(side, name)) / float(getattr(mid, name)) for side in (low, high))
        if all(math.isfinite(v) and v > 0.0 for v in pair):
            shares[name] = pair  # type: ignore[assignment]
    own = getattr(inputs, "own", None)
    known = inputs.no_load_a is not None
    found = power_up.from_build(
        made, active_freewheeling=modern, no_load_known=known, supply_voltage=supply_voltage, bands=shares
    )
    if own is not None and isinstance(own.motor, MeasuredMotor):
        # a calibrated KV holds under load; a bare motor turns at what its label would say
        found = replace(found, kv=own.motor.kv / motor_model.LOADED_KV_RATIO)
    return found


# ---- what readings tell -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Learned:
    """One answer before and after some readings; SI units."""

    name: str
    """Name in `propmodel.performance.OUTPUTS`."""
    before: tuple[float, float, float]
    after: tuple[float, float, float]
    """Low, middle, high of 8 in 10."""

    @property
    def widths(self) -> tuple[float, float]:
        """Width of the band over its middle, before and after. [-]"""
        return tuple((side[2] - side[0]) / side[1] for side in (self.before, self.after))  # type: ignore[return-value]


ANSWERS = ("thrust_to_weight", "hover_time", "full_throttle_current")
_NOISE = {
    "kv": 0.03,
    "no_load": 0.10,
    "stand_current": 0.03,
    "stand_pull": 0.04,
    "hover_command": 0.03,
    "hover_current": 0.05,
}
"""Error of one reading with ordinary tools, share of itself. Estimates. KV: label speed against loaded speed too."""
READINGS = {
    "Full command without propellers: speed": "kv",
    "Full command without propellers: current": "no_load",
    "One motor on a stand: current (or go to the hover)": "stand_current",
    "One motor on a stand: pull": "stand_pull",
    "First hover: command": "hover_command",
    "First hover: current": "hover_current",
}
"""Steps of `propmodel.power_up` whose reading tells something about the forecast, and what it reads."""


def reading_shares(p: PowerUp, readings: Mapping[str, float]) -> dict[str, float]:
    """Reading over forecast of each reading that tells something about the forecast, by kind."""
    speed, rise = power_up.bare_motor(
        1.0,
        voltage=p.supply_voltage,
        kv=p.kv,
        resistance=p.resistance,
        no_load_current=p.no_load_current,
        no_load_voltage=p.no_load_voltage,
    )
    middle = {
        "kv": 60.0 * speed,
        "no_load": rise + p.controller_standby / p.supply_voltage,
        "stand_current": None if p.stand_current is None else p.stand_current[1],
        "stand_pull": None if p.stand_pull is None else p.stand_pull[1] / GRAM_FORCE,
        "hover_command": None if p.hover_command is None else 100.0 * p.hover_command[1],
        "hover_current": None if p.hover_current is None else p.hover_current[1],
    }
    found = {}
    for title, kind in READINGS.items():
        value, forecast = readings.get(title), middle[kind]
        if value is not None and forecast is not None and value > 0.0 and forecast > 0.0:
            found[kind] = value / forecast
    return found


def learned(inputs: Inputs, shares: Mapping[str, float]) -> list[Learned]:
    """What readings (as shares of their forecast) do to the headline bands."""
    return _learned(headlines.plain(inputs), tuple(sorted(shares.items())))


def _seen(whole: Assessment, made: Build, kind: str) -> NDArray:
    """Logarithm of what a reading shows, in each draw."""
    of = {
        "kv": lambda: whole.build.motor.kv,
        "no_load": lambda: whole.build.motor.no_load_current,
        "stand_current": lambda: whole.full_throttle.motor_current,
        "stand_pull": lambda: whole.full_throttle.thrust,
        "hover_command": lambda: command_from_duty(
            whole.build.controller, whole.hover.duty, command_cap=whole.build.command_cap
        ),
        "hover_current": lambda: whole.hover.pack_current,
    }[kind]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.log(np.broadcast_to(np.asarray(of(), dtype=float), (DRAWS,)))


def _conditioned(x: NDArray, y: NDArray, noise: NDArray, seen: NDArray) -> tuple[float, float, float]:
    """Mean of ln y, its scatter, and the scatter left after noisy sight of x (linear, normal)."""
    centre = x - x.mean(axis=1, keepdims=True)
    cov = centre @ centre.T / x.shape[1] + np.diag(noise**2)
    cross = centre @ (y - y.mean()) / x.shape[1]
    weight = np.linalg.solve(cov, cross)
    return float(weight @ seen), float(np.std(y)), float(np.sqrt(max(np.var(y) - weight @ cross, 1e-8)))


@st.cache_data(**headlines.KEPT_ANSWERS)
def _learned(inputs: Inputs, shares: tuple[tuple[str, float], ...]) -> list[Learned]:
    made = headlines.build(inputs)
    # the band before is the one of the other pages, lopsided as it is; readings move and shrink it
    headline = headlines.answers(inputs)
    whole = Assessment(draw(made, draws=DRAWS).build, quick=True)
    drawn = evaluate(whole, list(ANSWERS))
    out = []
    for name in ANSWERS:
        with np.errstate(invalid="ignore", divide="ignore"):
            y = np.log(np.broadcast_to(drawn[name], (DRAWS,)))
        x = np.array([_seen(whole, made, kind) for kind, _ in shares]).reshape(len(shares), DRAWS)
        good = np.isfinite(y) & np.isfinite(x).all(axis=0)
        low, middle, high = (float(getattr(side, name)) for side in (headline.low, headline.mid, headline.high))
        if good.sum() < 0.5 * DRAWS or not all(math.isfinite(v) and v > 0.0 for v in (low, middle, high)):
            continue
        shift, kept = 0.0, 1.0
        if shares:
            noise = np.array([_NOISE[kind] for kind, _ in shares])
            seen = np.log([share for _, share in shares])
            shift, sd, left = _conditioned(x[:, good], y[good], noise, seen)
            kept = left / sd if sd > 0.0 else 1.0
        moved = middle * math.exp(shift)
        after = (moved * (low / middle) ** kept, moved, moved * (high / middle) ** kept)
        out.append(Learned(name, (low, middle, high), after))
    return out


def from_readings(inputs: Inputs, shares: Mapping[str, float]) -> OwnParts:
    """Motor, propeller and controller as single readings make them: each doubt moved and narrowed."""
    made = headlines.build(headlines.plain(bare(inputs)))
    whole = Assessment(draw(made, draws=DRAWS).build, quick=True)
    kinds = list(shares)
    x = np.array([_seen(whole, made, kind) for kind in kinds])
    good = np.isfinite(x).all(axis=0)
    noise, seen = np.array([_NOISE[k] for k in kinds]), np.log([shares[k] for k in kinds])

    def moved(values: Any) -> tuple[float, float]:
        y = np.broadcast_to(np.asarray(values, dtype=float), (DRAWS,))[good]
        shift, _, left = _conditioned(x[:, good], y, noise, seen)
        return shift, left

    b = whole.build
    kv, sd_kv = moved(np.log(b.motor.kv))
    ohm, sd_ohm = moved(np.log(b.motor.resistance))
    amps, _ = moved(np.log(b.motor.no_load_current))
    c_t, sd_t = moved(b.propeller.log_c_t_offset)
    merit, _ = moved(b.propeller.figure_of_merit_offset)
    label = spread(made.propeller)
    # ln C_P = 1.5 ln C_T - ln FM, and ln FM moves by this for one of the offset
    room = float(label.log_sd_figure_of_merit / label.logit_sd_figure_of_merit)
    log_c_t = np.asarray(b.propeller.log_c_t_offset)
    log_c_p = 1.5 * log_c_t - room * np.asarray(b.propeller.figure_of_merit_offset)
    (_, sd_p), (_, sd_between) = moved(log_c_p), moved(log_c_p - log_c_t)
    rho = (sd_t**2 + sd_p**2 - sd_between**2) / (2.0 * sd_t * sd_p)
    exponent, sd_exponent = moved(np.log(b.controller.throttle_exponent))
    ripple, _ = moved(np.log(b.controller.ripple_coefficient))
    m = made.motor
    motor = replace(
        m,
        kv=float(m.kv) * float(np.asarray(m.loaded_kv_ratio)) * math.exp(kv),
        loaded_kv_ratio=1.0,
        resistance=float(m.resistance) * math.exp(ohm),
        no_load_current=float(m.no_load_current) * math.exp(amps),
        winding_resistance=None,
        log_sd_kv=sd_kv,
        log_sd_resistance=sd_ohm,
    )
    p = made.propeller
    blades = replace(
        p,
        log_c_t_offset=np.asarray(p.log_c_t_offset) + c_t,
        figure_of_merit_offset=np.asarray(p.figure_of_merit_offset) + merit,
        log_sd_c_t=sd_t,
        log_sd_c_p=sd_p,
        spread_correlation=float(np.clip(rho, -0.99, 0.99)),
    )
    esc = replace(
        made.controller,
        throttle_exponent=float(np.asarray(made.controller.throttle_exponent)) * math.exp(exponent),
        log_sd_throttle_exponent=sd_exponent,
        ripple_coefficient=float(np.asarray(made.controller.ripple_coefficient)) * math.exp(ripple),
    )
    # a stand at full command tells nothing of the throttle map
    hovered = {"hover_command", "hover_current"} & set(kinds)
    return measured(inputs, "your bench readings", motor=motor, propeller=blades, controller=esc if hovered else None)
