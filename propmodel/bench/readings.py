"""Calibration of a build from single readings: the means and spreads of its parts, conditioned on what was read.

The logarithms of readings and results are taken as jointly normal over random draws of the labels' spread, and the
readings as noisy (linear Bayesian regression).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import Build
from propmodel.assess.assessment import Assessment
from propmodel.base.arrays import FloatArray, number
from propmodel.base.units import GRAM_FORCE
from propmodel.components.controller import Controller
from propmodel.components.motor import Motor
from propmodel.components.propeller import Propeller, spread
from propmodel.power_up import PowerUp, bare_motor

__all__ = ["NOISE", "READINGS", "Conditioned", "conditioned", "parts_from_readings", "reading_shares", "seen"]

NOISE: Mapping[str, float] = MappingProxyType(
    {
        "kv": 0.03, "no_load": 0.10, "stand_current": 0.03, "stand_pull": 0.04, "hover_command": 0.03,
        "hover_current": 0.05,
    }
)  # fmt: skip
"""Relative standard deviation of one reading with ordinary tools. [-] Estimates. That of KV includes the difference
between KV of the label and KV under load."""
READINGS: Mapping[str, str] = MappingProxyType(
    {
        "Full command without propellers: speed": "kv",
        "Full command without propellers: current": "no_load",
        "One motor on a stand: current (or go to the hover)": "stand_current",
        "One motor on a stand: thrust": "stand_pull",
        "First hover: command": "hover_command",
        "First hover: current": "hover_current",
    }
)
"""Title of a step of `propmodel.power_up` -> kind of its reading, for steps whose reading improves the forecast."""


class Conditioned(NamedTuple):
    """Effect of readings on the logarithm of one quantity."""

    shift: float
    """Change of its mean. [-]"""
    before: float
    """Its standard deviation without the readings. [-]"""
    after: float
    """Its standard deviation with the readings. [-]"""


def reading_shares(p: PowerUp, readings: Mapping[str, float]) -> dict[str, float]:
    """Ratio of reading to forecast, for each reading that improves the forecast.

    Parameters
    ----------
    p : PowerUp
        Forecast values of the steps.
    readings : mapping
        Title of a step -> reading, in the unit of the step.

    Returns
    -------
    dict
        Kind of reading (a key of `NOISE`) -> ratio. [-]

    Examples
    --------
    >>> from propmodel.assembly.demo import demo
    >>> from propmodel.power_up import from_build
    >>> p = from_build(demo("scree"))
    >>> reading_shares(p, {"First hover: current": 1.1 * p.hover_current[1]})
    {'hover_current': 1.1}
    """
    speed, rise = bare_motor(
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
        read, forecast = readings.get(title), middle[kind]
        if read is not None and forecast is not None and read > 0.0 and forecast > 0.0:
            found[kind] = round(float(read / forecast), 12)
    return found


def seen(drawn: Assessment, kind: str, *, draws: int) -> FloatArray:
    """Logarithm of the quantity that a reading measures, in each draw.

    Parameters
    ----------
    drawn : Assessment
        Assessment of a build drawn from its labels' spread.
    kind : str
        A key of `NOISE`.
    draws : int
        Number of draws.

    Returns
    -------
    ndarray, shape (draws,)
        Natural logarithm of the quantity in SI units; KV in rpm/V. NaN where it does not exist.
    """
    of = {
        "kv": lambda: drawn.build.motor.kv,
        "no_load": lambda: drawn.build.motor.no_load_current,
        "stand_current": lambda: drawn.full_throttle.motor_current,
        "stand_pull": lambda: drawn.full_throttle.thrust,
        "hover_command": lambda: drawn.hover_command,
        "hover_current": lambda: drawn.hover.pack_current,
    }[kind]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.log(np.broadcast_to(np.asarray(of(), dtype=np.float64), (draws,)))


def conditioned(x: ArrayLike, y: ArrayLike, *, noise: ArrayLike, read: ArrayLike) -> Conditioned:
    """Condition ``y`` on noisy readings of ``x`` (jointly normal).

    Parameters
    ----------
    x : array_like, shape (readings, draws)
        Logarithm of the quantity that each reading measures.
    y : array_like, shape (draws,)
        Logarithm of the quantity of interest.
    noise : array_like, shape (readings,)
        Standard deviation of the logarithm of each reading. [-]
    read : array_like, shape (readings,)
        Logarithm of reading over forecast. [-]

    Returns
    -------
    Conditioned
        Shift and standard deviations of ``y``.

    Examples
    --------
    >>> rng = np.random.default_rng(0)
    >>> x = rng.normal(size=(1, 20000))
    >>> [round(float(v), 1) for v in conditioned(x, 2.0 * x[0], noise=[1.0], read=[0.5])]
    [0.5, 2.0, 1.4]
    """
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    centre = x - x.mean(axis=1, keepdims=True)
    cov = centre @ centre.T / x.shape[1] + np.diag(np.asarray(noise, dtype=np.float64) ** 2)
    cross = centre @ (y - y.mean()) / x.shape[1]
    weight = np.linalg.solve(cov, cross)
    left = np.sqrt(max(np.var(y) - weight @ cross, 1e-8))
    return Conditioned(float(weight @ np.asarray(read)), float(np.std(y)), float(left))


def parts_from_readings(
    made: Build, drawn: Assessment, shares: Mapping[str, float], *, draws: int
) -> tuple[Motor, Propeller, Controller]:
    """Motor, propeller and controller with means and spreads conditioned on single readings.

    Parameters
    ----------
    made : Build
        The build with the values of its labels.
    drawn : Assessment
        Assessment of ``made`` drawn from its labels' spread.
    shares : mapping
        Result of `reading_shares`. [-]
    draws : int
        Number of draws.

    Returns
    -------
    tuple of Motor, Propeller and Controller
        The calibrated parts.
    """
    kinds = list(shares)
    x = np.array([seen(drawn, kind, draws=draws) for kind in kinds])
    good = np.isfinite(x).all(axis=0)
    noise, read = np.array([NOISE[k] for k in kinds]), np.log([shares[k] for k in kinds])

    def moved(values: Any) -> tuple[float, float]:
        y: NDArray[np.float64] = np.broadcast_to(np.asarray(values, dtype=np.float64), (draws,))[good]
        shift, _, left = conditioned(x[:, good], y, noise=noise, read=read)
        return shift, left

    b = drawn.build
    kv, sd_kv = moved(np.log(b.motor.kv))
    ohm, sd_ohm = moved(np.log(b.motor.resistance))
    amps, _ = moved(np.log(b.motor.no_load_current))
    c_t, sd_t = moved(b.propeller.log_c_t_offset)
    merit, _ = moved(b.propeller.figure_of_merit_offset)
    label = spread(made.propeller)
    # ln C_P = 1.5 ln C_T - ln FM; this is the derivative of ln FM with respect to its offset
    room = number(label.log_sd_figure_of_merit) / number(label.logit_sd_figure_of_merit)
    log_c_t = np.asarray(b.propeller.log_c_t_offset)
    log_c_p = 1.5 * log_c_t - room * np.asarray(b.propeller.figure_of_merit_offset)
    (_, sd_p), (_, sd_between) = moved(log_c_p), moved(log_c_p - log_c_t)
    rho = (sd_t**2 + sd_p**2 - sd_between**2) / (2.0 * sd_t * sd_p)
    exponent, sd_exponent = moved(np.log(b.controller.exponent))
    ripple, _ = moved(np.log(b.controller.ripple_coefficient))
    m, p, esc = made.motor, made.propeller, made.controller
    motor = replace(
        m,
        kv=number(m.kv) * number(m.loaded_kv_ratio) * float(np.exp(kv)),
        loaded_kv_ratio=1.0,
        resistance=number(m.resistance) * float(np.exp(ohm)),
        no_load_current=number(m.no_load_current) * float(np.exp(amps)),
        winding_resistance=None,
        log_sd_kv=sd_kv,
        log_sd_resistance=sd_ohm,
    )
    propeller = replace(
        p,
        log_c_t_offset=np.asarray(p.log_c_t_offset) + c_t,
        figure_of_merit_offset=np.asarray(p.figure_of_merit_offset) + merit,
        log_sd_c_t=sd_t,
        log_sd_c_p=sd_p,
        spread_correlation=float(np.clip(rho, -0.99, 0.99)),
    )
    controller = replace(
        esc,
        throttle_exponent=number(esc.exponent) * float(np.exp(exponent)),
        log_sd_throttle_exponent=sd_exponent,
        ripple_coefficient=number(esc.ripple_coefficient) * float(np.exp(ripple)),
    )
    return motor, propeller, controller
