"""Whether a table agrees with the motor it was labelled with: KV, pole count, torque.

The calibration is run under four explanations: speeds as read, speeds read 14 % low, speeds read 17 % high, and
KV unknown. All other priors stay the same. The costs (negative log likelihoods) of the solutions are compared.
One wrong column cannot favour an explanation: C_T, KV x V and the power must all fit better.
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
"""Factor on the usual error of each reading, which leaves room for the error of the model. [-]"""
TORQUE_BAND = 0.20
"""Accepted difference between the torque and that from KV and current. The KV of a label is within 4 %, and the open
tables with both columns agree within 14 %. [share]"""
KV_BAND = 0.08
"""Accepted difference between the speed without a propeller and KV x V: two standard deviations of a label's KV.
[ln]"""
READS_LOW_GAIN, READS_HIGH_GAIN, KV_GAIN = 1.5, 4.5, 6.0
"""Gain in log likelihood from which an explanation is reported: speed low, speed high, other KV. [-]
Loggers are delivered set to 14 poles, so a speed that reads low is the common mistake and needs less evidence. On 72
open tables with correct labels the gains are at most 0.6, 3.5 and 4.7."""
POLE_STEPS = {"14 poles set for a 12-pole motor": 12 / 14, "12 poles set for a 14-pole motor": 14 / 12}
READS_LOW, READS_HIGH = 12.0 / 14.0, 14.0 / 12.0
"""Displayed speed over true speed: 14 poles set for a 12-pole motor, and 12 set for a 14-pole motor. [-]"""


class Evidence(NamedTuple):
    """Gain in log likelihood of each explanation over "as labelled"; positive where it fits better."""

    reads_low: float
    """Explanation: the displayed speed is 12/14 of the true one. [-]"""
    reads_high: float
    """Explanation: the displayed speed is 14/12 of the true one. [-]"""
    kv_free: float
    """Explanation: the KV differs from the label (prior of ln KV widened to 0.3). [-]"""
    kv_ratio: float
    """Loaded KV fitted with the wide prior, over the label's loaded KV. [-]"""


def motor_of_kv(kv: float, points: pd.DataFrame) -> Motor:
    """Estimate a motor from its KV alone: a fifth of the voltage is lost in the winding at the highest current.

    Parameters
    ----------
    kv : float
        KV of the label. [rpm/V]
    points : pandas.DataFrame
        Table of dwell points with ``current_a`` [A] and ``voltage_v`` [V].

    Returns
    -------
    Motor
        A motor with the estimated resistance.
    """
    amps, volts = float(np.nanmax(points["current_a"])), float(np.nanmax(points["voltage_v"]))
    motor = Motor(kv, 0.2 * volts / max(amps, 0.1), max(0.03 * amps, 0.05))
    return replace(motor, loaded_kv_ratio=LOADED_KV_RATIO, log_sd_resistance=0.6)


def label_evidence(points: pd.DataFrame, motor: Motor, propeller: Propeller, air: Air) -> Evidence:
    """Compare the explanations of one table (see the module).

    Parameters
    ----------
    points : pandas.DataFrame
        Dwell points of one motor and propeller, with voltage, current, speed, and thrust or torque.
    motor, propeller : Motor, Propeller
        With the values of their labels.
    air : Air
        Air at the stand.

    Returns
    -------
    Evidence
        The gain of each explanation.
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
    # `base - free` contains the cost of the narrow KV prior at the shifted KV, which the wide prior hardly has
    return Evidence(base - low, base - high, base - free, ratio)


def _label_of(log: BenchLog, part: pd.DataFrame, column: str, needed: str) -> Mapping[str, Any] | None:
    """Label of a part from its column, else from the whole file; None where neither contains ``needed``."""
    own = labels_in(str(part[column].iloc[0])) if column in part else {}
    return next((label for label in (own, log.labels) if needed in label), None)


def block_propeller(log: BenchLog, part: pd.DataFrame, given: Any) -> Any:
    """Propeller of one block: ``given``, else from its name in the block, else from the labels of the file.

    Parameters
    ----------
    log : BenchLog
        Source of the labels.
    part : pandas.DataFrame
        Dwell points of one block.
    given : Propeller or None
        Propeller stated by the user.

    Returns
    -------
    Propeller or None
        None where no source states its diameter and pitch.
    """
    if given is not None:
        return given
    label = _label_of(log, part, "propeller", "diameter")
    if label is None:
        return None
    return Propeller(float(label["diameter"]), float(label["pitch"]), int(label["blades"]))


def block_motor(log: BenchLog, part: pd.DataFrame, given: Any) -> Motor | None:
    """Motor of one block, by the same order of sources as `block_propeller`.

    Its resistance follows from the stator size where that is stated.

    Parameters
    ----------
    log : BenchLog
        Source of the labels.
    part : pandas.DataFrame
        Dwell points of one block.
    given : Motor or None
        Motor stated by the user.

    Returns
    -------
    Motor or None
        None where no source states its KV.
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
    """Compare the table with the motor's label and report contradictions.

    In this order, up to the first contradiction: speed against KV x V, torque against KV x current, and the
    comparison of explanations by `label_evidence`.

    Parameters
    ----------
    part : pandas.DataFrame
        Dwell points of one motor and propeller.
    motor : Motor
        With the values of its label.
    propeller : Propeller or None
        With the values of its label; None where it is unknown or flagged.
    bare : bool
        True for a run without a propeller.
    air : Air
        Air at the stand.
    add : callable
        Called with kind, sentence, rows and severity for each quality flag.
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
    """Report a wrong pole count or KV label if it explains the whole table better than the labels do."""
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
