"""Calibration of motor, propeller and throttle map on one thrust-stand table: robust least squares with priors.

The prior of each unknown is its label with the label's spread: KV to a few per cent, resistance to a factor, the
propeller to its spread. An unknown that the measured columns do not determine keeps the label's value and spread.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from propmodel.base.arrays import FloatArray, number
from propmodel.bench.least_squares import StandFit, Table
from propmodel.bench.quality_flags import find_doubts
from propmodel.bench.reading.records import BenchLog, Doubt
from propmodel.bench.stand_model import NAMES, Stand, controller_from, motor_from, stand_rows, throttle_duty
from propmodel.components.air import STANDARD, Air
from propmodel.components.controller import Controller
from propmodel.components.motor import Motor
from propmodel.components.propeller import Propeller, spread

__all__ = ["ROWS_IN_DOUBT", "TABLE_IN_DOUBT", "Calibration", "calibrate"]

MODEL_SD_PROPELLER = 0.02
"""Model error of C_T and C_P away from the calibrated speed, standard deviation of ln C. [-] Estimate."""
MODEL_SD_RESISTANCE = 0.05
"""Model error of ln R: the controller's resistance and the timing differ between stand and craft. [-] Estimate."""
ROWS_IN_DOUBT = ("impossible", "odd_row", "shaft_above_electrical")
"""Kinds of quality flag that concern single rows; these rows are left out of the fit."""
TABLE_IN_DOUBT = (
    "another_propeller",
    "kv_label",
    "negative_current",
    "pole_count",
    "sensor_scale",
    "torque_against_current",
)
"""Kinds of quality flag that concern the whole table (a wrong unit, scale, pole count or part). Such a table is
refused."""
WORTH_SAYING = 0.05
"""Relative misfit of a channel from which a note reports it. [-]"""
MOST_LEFT_OUT = 0.5
"""Share of flagged rows above which the whole table is refused. [-]"""


@dataclass(frozen=True, eq=False)
class Calibration:
    """Motor, propeller and controller calibrated on one table, with the evidence for them.

    Attributes
    ----------
    motor, propeller, controller : Motor, Propeller, Controller
        Parts for a `Build`. Their calibrated spreads replace those of the labels.
    spread : pandas.DataFrame
        One row per quantity, with the columns ``value``, ``log_sd`` (standard deviation of its logarithm),
        ``low`` and ``high`` (95 % interval), ``label`` (value from the label) and ``learned`` (share of the prior
        variance that the table removed, 0 to 1).
    residuals : pandas.DataFrame
        One row per dwell point: throttle, measured values, fitted values, and their relative differences.
    notes : list of str
        Which quantities the measured columns determined, and which they did not.
    unknowns : ndarray, shape (unknowns,)
        Solution in the order of `bench.stand_model.NAMES`. [-]
    covariance : ndarray, shape (unknowns, unknowns)
        Covariance of the solution, including the misfit that the fit leaves. [-]
    """

    motor: Motor
    """The labelled motor with calibrated loaded KV, resistance and no-load current."""
    propeller: Propeller
    """The labelled propeller with calibrated offsets and spread."""
    controller: Controller
    """The controller with calibrated ripple loss, standby power and throttle map."""
    spread: pd.DataFrame
    residuals: pd.DataFrame
    notes: list[str]
    unknowns: FloatArray
    """Solution in the order of `bench.stand_model.NAMES`. [-]"""
    covariance: FloatArray
    """Covariance of the unknowns, in the same order, without the model errors `MODEL_SD_PROPELLER` and
    `MODEL_SD_RESISTANCE`. [-]"""


def calibrate(
    log: BenchLog | pd.DataFrame,
    motor: Motor,
    propeller: Propeller,
    *,
    controller: Controller | None = None,
    air: Air = STANDARD,
    leave_out: Sequence[int] = (),
    use_limited: bool = True,
    use_doubted: bool = False,
) -> Calibration:
    """Calibrate motor, propeller and throttle map on one stand table.

    Parameters
    ----------
    log : BenchLog or pandas.DataFrame
        A stand log, or its table of dwell points. The quality checks run only on a `BenchLog`.
    motor : Motor
        The motor with the values of its label.
    propeller : Propeller
        The propeller with the values of its label.
    controller : Controller, optional
        Prior of its resistance, ripple and standby power. The prior of its throttle map is always the default
        exponent for motor, propeller and voltage, without an idle duty.
    air : Air
        Air at the stand.
    leave_out : sequence of int
        Rows (index labels of ``points``) that are not used.
    use_limited : bool
        True uses the rows where the supply was at its current limit. They are valid at their measured voltage.
    use_doubted : bool
        True uses rows and tables that carry quality flags. False leaves out flagged single rows, which a note
        reports, and refuses a table that is flagged as a whole.

    Returns
    -------
    Calibration
        The calibrated parts, their spread, the residuals and the notes.

    Raises
    ------
    ValueError
        If fewer than three rows have a voltage, a current, and a speed or a thrust; or if the table as a whole is
        flagged and ``use_doubted`` is False.
    """
    points = log.points if isinstance(log, BenchLog) else log
    drop = set(leave_out)
    said: list[str] = []
    if isinstance(log, BenchLog):
        if not use_limited:
            drop |= set(log.rows_in_doubt(["supply_limit"]))
        if not use_doubted:
            odd, said = _left_out(log, find_doubts(log, motor=motor, propeller=propeller, air=air), drop)
            drop |= odd
    table = Table(points.drop(index=[row for row in drop if row in points.index]), motor, propeller, controller, air)
    fit = StandFit(table)
    fit.solve()
    found = _result(fit)
    return replace(found, notes=[*said, *found.notes])


def _left_out(log: BenchLog, doubts: Sequence[Doubt], already: set[int]) -> tuple[set[int], list[str]]:
    """Return the flagged rows to leave out, and a note about them; raise ValueError if the whole table is flagged."""
    used = {int(row) for row in log.points.index} - already
    odd = {row for d in doubts if d.kind in ROWS_IN_DOUBT for row in d.rows} & used
    many = len(odd) > MOST_LEFT_OUT * len(used)
    against = [d for d in doubts if d.kind in TABLE_IN_DOUBT or (many and d.kind in ROWS_IN_DOUBT)]
    against = [d for d in against if used & set(d.rows)]
    if against:
        raise ValueError(
            "this table is not calibrated, since it is in doubt: "
            + " ".join(dict.fromkeys(d.sentence for d in against))
            + " Put that right first"
        )
    if not odd:
        return odd, []
    why = " ".join(d.sentence for d in doubts if d.kind in ROWS_IN_DOUBT and set(d.rows) & odd)
    rows = "1 row is" if len(odd) == 1 else f"{len(odd)} rows are"
    return odd, [f"{rows} left out, being in doubt: {why}"]


def _covariance(fit: StandFit) -> FloatArray:
    """Covariance of the common unknowns, with the misfit of each channel added.

    A misfit beyond the usual noise is a systematic error: more rows do not average it out.
    """
    n = len(NAMES)
    cov = np.array(fit.covariance[:n, :n])
    off = fit.misfit()
    power = max(off["torque"], off["current"])
    thrust, turns = off["thrust"], max(off["speed"], off["duty"])
    for name, least in (
        ("log_kv", turns),
        ("log_resistance", max(turns, power)),
        ("log_c_t", thrust),
        ("merit", power / _merit_slope(*_static(fit, fit.table.propeller))),
    ):
        k = NAMES.index(name)
        cov[k, k] += least**2
    return cov


def _static(fit: StandFit, propeller: Propeller) -> tuple[float, float]:
    """C_T and C_P at the median speed of the table. [-]"""
    table = fit.table
    prepared = Stand.of(table.motor, propeller, table.controller, table.air, table.stand.voltage).prepared
    c_t, c_p = prepared.static(np.exp(np.median(fit.x[len(NAMES) :])))
    return float(c_t), float(c_p)


def _merit_slope(c_t: float, c_p: float) -> float:
    """Derivative of ln FM with respect to the figure-of-merit offset: 1 - FM / 0.85. [-]"""
    return 1.0 - min(float(np.sqrt(2 / np.pi)) * c_t**1.5 / c_p, 0.84) / 0.85


def _result(fit: StandFit) -> Calibration:
    table, x, n = fit.table, fit.x, len(NAMES)
    unknowns, cov = x[:n], _covariance(fit)
    sd = dict(zip(NAMES, np.sqrt(np.diag(cov)), strict=True))
    prior_sd = dict(zip(NAMES, np.sqrt(np.diag(np.linalg.inv(fit.root.T @ fit.root))), strict=True))
    motor = motor_from(
        table.motor, unknowns, {**sd, "log_resistance": float(np.hypot(sd["log_resistance"], MODEL_SD_RESISTANCE))}
    )
    controller = controller_from(table.controller, unknowns, sd)
    propeller, coefficients = _propeller(fit, unknowns, cov)
    label = table.motor
    rows = [
        ("kv", "rpm/V", float(motor.kv), sd["log_kv"], float(label.kv) * float(label.loaded_kv_ratio), "log_kv"),
        ("resistance", "ohm", float(motor.resistance), sd["log_resistance"], float(label.resistance), "log_resistance"),
        (
            "no_load_current",
            "A",
            float(motor.no_load_current),
            sd["log_iron"],
            float(label.no_load_current),
            "log_iron",
        ),
        *coefficients,
        (
            "ripple_coefficient",
            "W/V^2",
            number(controller.ripple_coefficient),
            sd["log_ripple"],
            number(table.controller.ripple_coefficient),
            "log_ripple",
        ),
        (
            "standby_power",
            "W",
            number(controller.standby_power),
            sd["log_standby"],
            number(table.controller.standby_power),
            "log_standby",
        ),
        (
            "throttle_exponent",
            "-",
            number(controller.throttle_exponent),
            sd["log_exponent"],
            table.usual_exponent,
            "log_exponent",
        ),
    ]
    frame = pd.DataFrame(rows, columns=["quantity", "unit", "value", "log_sd", "label", "unknown"]).set_index(
        "quantity"
    )
    frame["low"] = frame["value"] * np.exp(-1.96 * frame["log_sd"])
    frame["high"] = frame["value"] * np.exp(1.96 * frame["log_sd"])
    before = frame["unknown"].map(lambda name: prior_sd.get(name, np.nan))
    before["c_p"] = float(spread(table.propeller).log_sd_c_p)
    frame["learned"] = np.clip(1.0 - (frame["log_sd"] / before) ** 2, 0.0, 1.0)
    idle = number(controller.idle_duty)
    frame.loc["idle_duty"] = {
        "unit": "-",
        "value": idle,
        "log_sd": np.nan,
        "label": 0.0,
        "low": max(idle - 1.96 * sd["idle_duty"], 0.0),
        "high": idle + 1.96 * sd["idle_duty"],
        "learned": np.clip(1 - (sd["idle_duty"] / prior_sd["idle_duty"]) ** 2, 0, 1),
    }
    frame = frame.drop(columns="unknown")
    # the calibrated throttle map stays with the motor, so that it is available with another propeller
    motor = replace(motor, stand_controller=controller)
    return Calibration(motor, propeller, controller, frame, _residuals(fit), _notes(fit, frame), unknowns, cov)


def _propeller(fit: StandFit, unknowns: FloatArray, cov: FloatArray) -> tuple[Propeller, list[tuple[Any, ...]]]:
    """Return the propeller with calibrated offsets and spread; and the rows of C_T and C_P at the median speed."""
    table = fit.table
    t, m = NAMES.index("log_c_t"), NAMES.index("merit")
    label = table.propeller
    moved = replace(
        label,
        log_c_t_offset=np.asarray(label.log_c_t_offset) + unknowns[t],
        figure_of_merit_offset=np.asarray(label.figure_of_merit_offset) + unknowns[m],
    )
    c_t, c_p = _static(fit, moved)
    # ln C_P = 1.5 ln C_T - ln FM
    row = np.zeros(len(NAMES))
    row[t], row[m] = 1.5, -_merit_slope(c_t, c_p)
    var_t, var_p, both = cov[t, t], float(row @ cov @ row), float(row @ cov[:, t])
    floor = MODEL_SD_PROPELLER**2
    sd_t, sd_p = float(np.sqrt(var_t + floor)), float(np.sqrt(var_p + floor))
    moved = replace(
        moved,
        log_sd_c_t=sd_t,
        log_sd_c_p=sd_p,
        spread_correlation=float(np.clip((both + 0.5 * floor) / (sd_t * sd_p), -0.95, 0.95)),
    )
    label_t, label_p = _static(fit, label)
    return moved, [
        ("c_t", "-", c_t, float(np.sqrt(var_t)), label_t, "log_c_t"),
        ("c_p", "-", c_p, float(np.sqrt(var_p)), label_p, "c_p"),
    ]


def _residuals(fit: StandFit) -> pd.DataFrame:
    table, n = fit.table, len(NAMES)
    model = stand_rows(table.stand, fit.x[:n], np.exp(fit.x[n:]))
    frame = pd.DataFrame({"throttle_share": table.throttle}, index=table.index)
    fitted = {"speed": np.exp(fit.x[n:]), **model}
    names = {"speed": "speed_rev_per_s", "thrust": "thrust_n", "torque": "torque_nm", "current": "current_a"}
    for name, column in names.items():
        if np.isfinite(table.read[name]).any():
            frame[column] = table.read[name]
            frame[f"fitted_{column}"] = fitted[name]
            frame[f"off_{column.rsplit('_', 1)[0]}"] = table.read[name] / fitted[name] - 1.0
    frame["duty"] = model["duty"]
    if np.isfinite(table.throttle).any():
        frame["off_duty"] = throttle_duty(fit.x[:n], table.throttle) - model["duty"]
    return frame


def _notes(fit: StandFit, frame: pd.DataFrame) -> list[str]:
    read, notes = fit.table.read, []
    missed = [
        f"{name} by {100 * off:.0f} %" for name, off in fit.misfit().items() if off >= WORTH_SAYING and name != "duty"
    ]
    if missed:
        notes.append(
            f"The calibrated forecast still misses the {' and the '.join(missed)}: the bands are kept as wide as that."
        )
    if not np.isfinite(read["thrust"]).any():
        notes.append(
            "No thrust was measured: the thrust coefficient follows the power coefficient only as far as the label's "
            "spread ties them."
        )
    if not np.isfinite(read["torque"]).any():
        notes.append(
            "No torque was measured: KV, resistance and power coefficient trade against each other, and the label's "
            "spread decides between them."
        )
    if not np.isfinite(read["speed"]).any():
        notes.append("No speed was measured: it was inferred from the thrust, so C_T and KV hang on the label.")
    if not np.isfinite(fit.table.throttle).any():
        notes.append("No throttle was recorded: the throttle map stays the usual one and says nothing about KV.")
    elif np.nanmax(fit.table.throttle) < 0.95:
        notes.append("The throttle never reached full: KV and resistance rest on the throttle map.")
    for name, sentence in (
        ("kv", "KV was hardly learned from this table."),
        ("resistance", "The resistance was hardly learned."),
        ("no_load_current", "The no-load current was hardly learned: a run without propeller would tell it."),
        ("ripple_coefficient", "The ripple loss was hardly learned: more steps at low throttle would tell it."),
    ):
        if frame.loc[name, "learned"] < 0.3:
            notes.append(sentence)
    return notes
