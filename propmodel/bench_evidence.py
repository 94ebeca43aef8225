"""Whether a table speaks for another pole count, or another KV, than it was labelled with.

The whole calibration is run under each explanation (speeds as read; speeds read 14 % low or 17 % high; KV
free), all priors kept, and the best costs are compared: half the log of how much likelier one explanation
makes the table. One number off cannot raise it: C_T, KV x V and the power must all fit better.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from propmodel.air import Air
from propmodel.bench_calibrate import _Fit, _Table
from propmodel.motor import LOADED_KV_RATIO, Motor
from propmodel.propeller import Propeller

__all__ = ["Evidence", "label_evidence", "motor_of_kv"]

TABLE_SCALE = 2.0
"""Readings count with twice their usual error: the form of the model is judged too. [-]"""
READS_LOW, READS_HIGH = 12.0 / 14.0, 14.0 / 12.0
"""Speed shown over true speed: 14 poles set on a 12-pole motor, and the other way round. [-]"""


class Evidence(NamedTuple):
    """Gain in cost (log likelihood) of each explanation over "as labelled"."""

    reads_low: float
    reads_high: float
    kv_free: float
    kv_ratio: float
    """KV the table asks for when KV is free, over the label's loaded KV. [-]"""


def motor_of_kv(kv: float, points: pd.DataFrame) -> Motor:
    """Guess a motor from its KV alone: a fifth of the voltage lost at the highest current (estimate)."""
    amps, volts = float(np.nanmax(points["current_a"])), float(np.nanmax(points["voltage_v"]))
    motor = Motor(kv, 0.2 * volts / max(amps, 0.1), max(0.03 * amps, 0.05))
    return replace(motor, loaded_kv_ratio=LOADED_KV_RATIO, log_sd_resistance=0.6)


def label_evidence(points: pd.DataFrame, motor: Motor, propeller: Propeller, air: Air) -> Evidence:
    """Compare the explanations of one table.

    Parameters
    ----------
    points : pandas.DataFrame
        Hold table of one motor and propeller, with voltage, current, speed and thrust or torque.
    motor, propeller : Motor, Propeller
        As labelled.
    air : Air
    """

    def cost(shown_over_true: float, **changes: Any) -> tuple[float, float]:
        rows = points.copy()
        rows["speed_rev_per_s"] = rows["speed_rev_per_s"] / shown_over_true
        fit = _Fit(_Table(rows, replace(motor, **changes), propeller, None, air))
        fit.scale = dict.fromkeys(fit.scale, TABLE_SCALE)
        found = fit.once(np.concatenate([fit.prior, fit.table.start()]))
        return float(found.cost), float(np.exp(found.x[0]))

    base, _ = cost(1.0)
    low, high = cost(READS_LOW)[0], cost(READS_HIGH)[0]
    free, ratio = cost(1.0, log_sd_kv=0.3)
    # a wider prior costs nothing at its middle: take out what the narrow one paid for the shift
    return Evidence(base - low, base - high, base - free, ratio)
