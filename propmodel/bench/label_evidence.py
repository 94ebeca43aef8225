"""Whether a table agrees with the motor it was labelled with: KV, pole count, torque.

The whole calibration is run under each explanation (speeds as read; speeds read 14 % low or 17 % high; KV
free), all priors kept, and the best costs are compared: half the log of how much likelier one explanation
makes the table. One number off cannot raise it: C_T, KV x V and the power must all fit better.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from propmodel.base.units import RPM
from propmodel.bench.least_squares import StandFit, Table
from propmodel.bench.reading.guesses import labels_in
from propmodel.bench.reading.records import BenchLog
from propmodel.components.air import Air
from propmodel.components.motor import LOADED_KV_RATIO, Motor, from_stator
from propmodel.components.propeller import Propeller

__all__ = ["Evidence", "against_motor", "block_motor", "block_propeller", "label_evidence", "motor_of_kv"]

TABLE_SCALE = 2.0
"""Readings count with twice their usual error: the form of the model is judged too. [-]"""
TORQUE_BAND = 0.20
"""Torque against KV x current: KV is good to 4 % and the sets with both agree within 14 %. [share]"""
KV_BAND = 0.08
"""Bare-motor speed against KV x V: two sd of a label's KV. [share]"""
READS_LOW_GAIN, READS_HIGH_GAIN, KV_GAIN = 1.5, 4.5, 6.0
"""Log likelihood another explanation must gain. 14 is what loggers come set to, so reading low is the common
mistake and needs less; 72 open tables, labels right, gain at most 0.6, 3.5 and 4.7."""
POLE_STEPS = {"14 poles set for a 12-pole motor": 12 / 14, "12 poles set for a 14-pole motor": 14 / 12}
READS_LOW, READS_HIGH = 12.0 / 14.0, 14.0 / 12.0
"""Speed shown over true speed: 14 poles set on a 12-pole motor, and the other way round. [-]"""


class Evidence(NamedTuple):
    """Gain in cost (log likelihood) of each explanation over "as labelled"."""

    reads_low: float
    """Speed shown is 12/14 of the true one. [-]"""
    reads_high: float
    """Speed shown is 14/12 of the true one. [-]"""
    kv_free: float
    """The label's KV is not believed. [-]"""
    kv_ratio: float
    """KV the table asks for when KV is free, over the label's loaded KV. [-]"""


def motor_of_kv(kv: float, points: pd.DataFrame) -> Motor:
    """Guess a motor from its KV alone: a fifth of the voltage lost at the highest current (estimate).

    Parameters
    ----------
    kv : float
        Label. [rpm/V]
    points : pandas.DataFrame
        Hold table with ``current_a`` [A] and ``voltage_v`` [V].
    """
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
        fit = StandFit(Table(rows, replace(motor, **changes), propeller, None, air))
        fit.scale = dict.fromkeys(fit.scale, TABLE_SCALE)
        found = fit.once(np.concatenate([fit.prior, fit.table.start()]))
        return float(found.cost), float(np.exp(found.x[0]))

    base, _ = cost(1.0)
    low, high = cost(READS_LOW)[0], cost(READS_HIGH)[0]
    free, ratio = cost(1.0, log_sd_kv=0.3)
    # a wider prior costs nothing at its middle: take out what the narrow one paid for the shift
    return Evidence(base - low, base - high, base - free, ratio)


def _label_of(log: BenchLog, part: pd.DataFrame, column: str, needed: str) -> Mapping[str, Any] | None:
    """Label of a part in its own column, else that of the whole file; None where neither tells what is needed."""
    own = labels_in(str(part[column].iloc[0])) if column in part else {}
    return next((label for label in (own, log.labels) if needed in label), None)


def block_propeller(log: BenchLog, part: pd.DataFrame, given: Any) -> Any:
    """Propeller of one block: the one given, else of its name, else of the file's labels; None if unknown.

    Parameters
    ----------
    log : BenchLog
        For its labels.
    part : pandas.DataFrame
        Hold table of one block.
    given : Propeller or None
        What the user says it is.
    """
    if given is not None:
        return given
    label = _label_of(log, part, "propeller", "diameter")
    if label is None:
        return None
    return Propeller(float(label["diameter"]), float(label["pitch"]), int(label["blades"]))


def block_motor(log: BenchLog, part: pd.DataFrame, given: Any) -> Motor | None:
    """Motor of one block, the same way; the resistance comes from the stator's size where that is told.

    Parameters
    ----------
    log : BenchLog
        For its labels.
    part : pandas.DataFrame
        Hold table of one block.
    given : Motor or None
        What the user says it is.
    """
    if given is not None:
        return given
    label = _label_of(log, part, "motor", "kv")
    if label is None:
        return None
    kv = float(label["kv"])
    if "stator_diameter" in label:
        return from_stator(float(label["stator_diameter"]), float(label["stator_height"]), kv)
    if not {"current_a", "voltage_v"} <= set(part) or not part[["current_a", "voltage_v"]].notna().any().all():
        return None
    return motor_of_kv(kv, part)


def against_motor(part: pd.DataFrame, motor: Motor, propeller: Any, *, bare: bool, air: Air, add: Any) -> None:
    """Speed against KV x V where it is plain; torque against KV x current; else the whole table.

    Parameters
    ----------
    part : pandas.DataFrame
        Hold table of one motor and propeller.
    motor : Motor
        As labelled.
    propeller : Propeller or None
        As labelled; None where it is unknown or in doubt.
    bare : bool
        True for a run without a propeller.
    air : Air
        On the day.
    add : callable
        Called with kind, sentence, rows and severity for each doubt.
    """
    volts, amps, speed, torque, throttle = (
        part[name].to_numpy(np.float64) if name in part else np.full(len(part), np.nan)
        for name in ("voltage_v", "current_a", "speed_rev_per_s", "torque_nm", "throttle_share")
    )
    if not np.isfinite(volts).any() or not np.isfinite(speed).any():
        return
    kv = float(motor.kv)
    full = np.isfinite(volts) & np.isfinite(speed) & (throttle >= 0.97)
    load = speed / (kv * RPM * volts)
    if np.any(load > 1.03):
        _kv_or_poles(float(np.nanmax(load)), "more than it gives without any load", part.index[load > 1.03], add)
        return
    if full.any():
        k = int(np.flatnonzero(full)[-1])
        if bare:
            ratio = float(load[k] / (1.0 - np.nan_to_num(amps[k]) * float(motor.resistance) / volts[k]))
            if abs(np.log(ratio)) > KV_BAND:
                _kv_or_poles(ratio, "not what it gives without a propeller", part.index[full], add)
            return
        ratio = float(torque[k] * kv * RPM * 2 * np.pi / amps[k])
        if np.isfinite(ratio) and abs(np.log(max(ratio, 1e-3))) > np.log1p(TORQUE_BAND):
            text = (
                f"At full throttle the torque is {ratio:.2f} times what KV and current give: the torque's scale or "
                "unit, the current's scale or the KV label is wrong."
            )
            add("torque_against_current", text, part.index[full], "wrong")
            return
    if not bare and propeller is not None and {"thrust_n", "current_a"} <= set(part.columns):
        _speed_scale(part, motor, propeller, air, add)


def _speed_scale(part: pd.DataFrame, motor: Motor, propeller: Propeller, air: Air, add: Any) -> None:
    """Pole count and KV label, by what explains the whole table best."""
    used = part[(part["current_a"] > 0) & (part["voltage_v"] > 1) & (part["speed_rev_per_s"] > 5)]
    if len(used) < 5 or not used["thrust_n"].gt(0).any():
        return
    found = label_evidence(used, motor, propeller, air)
    low, high = found.reads_low - READS_LOW_GAIN, found.reads_high - READS_HIGH_GAIN
    if max(low, high) > 0 and max(found.reads_low, found.reads_high) > found.kv_free - 1.0:
        how = "14 % low (14 poles set in the logger, 12 on the motor)"
        if high > low:
            how = "17 % high (12 poles set in the logger, 14 on the motor)"
        text = (
            f"Thrust and KV x V both fit better if the speed is read {how}: count the magnets and give the pole "
            "count, or check the KV label."
        )
        add("pole_count", text, used.index)
    elif found.kv_free > KV_GAIN:
        text = f"The table fits a KV {found.kv_ratio:.2f} times the label's: the KV label is wrong, or the pole count."
        add("kv_label", text, used.index)


def _kv_or_poles(ratio: float, what: str, rows: Any, add: Any) -> None:
    pole = next((text for text, step in POLE_STEPS.items() if abs(np.log(ratio / step)) < 0.04), None)
    text = f"The speed is {ratio:.2f} times KV x V, {what}: "
    if pole is not None:
        add(
            "pole_count",
            text + f"either the pole count in the logger is wrong ({pole}) or the KV label.",
            rows,
            "wrong",
        )
    else:
        add("kv_label", text + "the KV label (or the pole count in the logger) is wrong.", rows, "wrong")
