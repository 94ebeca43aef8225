"""Make a motor, a propeller and a throttle map one's own from a stand table: robust least squares with priors.

What the label says stays as the prior (KV to a few per cent, resistance to a factor, the propeller to its
spread), so an unknown the columns cannot tell keeps its label's value and its label's doubt.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import least_squares

from propmodel import motor as motor_model
from propmodel.air import STANDARD, Air
from propmodel.bench_model import (
    IDLE_MIDDLE,
    NAMES,
    PRIOR_SD,
    Stand,
    controller_from,
    motor_from,
    stand_rows,
    throttle_duty,
)
from propmodel.bench_types import BenchLog
from propmodel.controller import Controller
from propmodel.motor import Motor
from propmodel.propeller import Propeller, spread

__all__ = ["Calibration", "calibrate"]

FloatArray = NDArray[np.float64]

NOISE = {"speed": 0.007, "thrust": 0.015, "torque": 0.02, "current": 0.015, "duty": 0.01}
"""Usual error of one reading, share of itself (duty: of the whole); the table's own scatter replaces it."""
FLOOR = {"thrust": 0.01, "torque": 0.01, "current": 0.003}
"""Error that does not shrink with the reading, share of the highest reading of the table."""
LOSS_KNEE = 3.0
"""Standard errors beyond which a residual counts less than its square (soft L1)."""
MODEL_SD_PROPELLER = 0.02
"""How far the form of the forecast misses a propeller known at one point, ln C. [-]"""
MODEL_SD_RESISTANCE = 0.05
"""Same for the resistance: the controller's part and the timing differ from stand to craft. Estimate."""
FEWEST_ROWS = 3


@dataclass(frozen=True, eq=False)
class Calibration:
    """What a table made of motor, propeller and controller.

    Attributes
    ----------
    motor, propeller, controller
        Ready for a build; their own spreads replace the labels'.
    spread : pandas.DataFrame
        One row per quantity: ``value``, ``log_sd`` (or ``sd``), ``low``, ``high`` (95 %), ``label`` value,
        ``learned`` (share of the label's doubt that is gone).
    residuals : pandas.DataFrame
        One row per hold: throttle, measured and fitted values, and their differences.
    notes : list of str
        What the columns could tell and what not.
    """

    motor: Motor
    propeller: Propeller
    controller: Controller
    spread: pd.DataFrame
    residuals: pd.DataFrame
    notes: list[str]
    unknowns: FloatArray
    covariance: FloatArray


def calibrate(
    log: BenchLog | pd.DataFrame,
    motor: Motor,
    propeller: Propeller,
    *,
    controller: Controller | None = None,
    air: Air = STANDARD,
    leave_out: Sequence[int] = (),
    use_limited: bool = True,
) -> Calibration:
    """Calibrate motor, propeller and throttle map on one stand table.

    Parameters
    ----------
    log : BenchLog, or its ``points``
    motor : Motor
        As labelled.
    propeller : Propeller
        As labelled.
    controller : Controller, optional
        Starting point of ripple, standby power and throttle map.
    air : Air
        Air at the stand.
    leave_out : sequence of int
        Rows (index labels of ``points``) not to use.
    use_limited : bool
        Keep rows where the supply was at its limit: at their measured voltage they obey the same law.

    Raises
    ------
    ValueError
        If fewer than three rows have speed or thrust with a voltage and a current.
    """
    points = log.points if isinstance(log, BenchLog) else log
    drop = set(leave_out)
    if isinstance(log, BenchLog) and not use_limited:
        drop |= set(log.rows_in_doubt(["supply_limit"]))
    table = _Table(points.drop(index=[row for row in drop if row in points.index]), motor, propeller, controller, air)
    fit = _Fit(table)
    fit.solve()
    return _result(fit)


class _Table:
    """The rows that can be used, as arrays."""

    def __init__(
        self, points: pd.DataFrame, motor: Motor, propeller: Propeller, controller: Controller | None, air: Air
    ):
        def column(name: str) -> FloatArray:
            return points[name].to_numpy(np.float64) if name in points else np.full(len(points), np.nan)

        read = {
            "speed": column("speed_rev_per_s"), "thrust": column("thrust_n"), "torque": column("torque_nm"),
            "current": column("current_a"), "duty": column("throttle_share"),
        }  # fmt: skip
        voltage = column("voltage_v")
        running = (voltage > 1.0) & ((read["speed"] > 5.0) | ~np.isfinite(read["speed"])) & (read["current"] > 0.0)
        running &= np.isfinite(read["speed"]) | (read["thrust"] > 0.0)
        if running.sum() < FEWEST_ROWS:
            raise ValueError(
                f"a calibration needs at least {FEWEST_ROWS} rows with voltage, current and a speed or a thrust, "
                f"got {int(running.sum())}: see the guesses about the columns, or choose another table"
            )
        self.index = points.index[running]
        self.throttle = read["duty"][running]
        for name in ("thrust", "torque", "current"):
            read[name] = np.where(read[name] > 0.02 * np.nanmax(read[name], initial=0.0), read[name], np.nan)
        self.read = {name: values[running] for name, values in read.items()}
        esc = Controller() if controller is None else controller
        self.stand = Stand.of(motor, propeller, esc, air, voltage[running])
        self.motor, self.propeller, self.controller, self.air = motor, propeller, esc, air
        self.rows = int(running.sum())

    def start(self) -> FloatArray:
        """First guess of ln n of each row."""
        speed = self.read["speed"]
        if np.isfinite(speed).all():
            return np.log(speed)
        c_t, _ = self.stand.prepared.static(100.0)
        head = np.asarray(self.air.density) * np.asarray(self.propeller.diameter) ** 4
        from_thrust = np.sqrt(np.maximum(self.read["thrust"], 1e-3) / (head * c_t))
        return np.log(np.where(np.isfinite(speed), speed, np.nan_to_num(from_thrust, nan=50.0)))


class _Fit:
    """Residuals, Jacobian by few differences, robust solution, noise from the table itself."""

    def __init__(self, table: _Table) -> None:
        self.table = table
        n = len(NAMES)
        self.prior, self.root = _priors(table)
        self.globals = n
        read = table.read
        self.sigma = {}
        for name, share in NOISE.items():
            if name == "duty":
                self.sigma[name] = np.full(table.rows, share)
            elif name == "speed":
                self.sigma[name] = np.full(table.rows, share)
            else:
                top = np.nanmax(read[name], initial=0.0)
                self.sigma[name] = np.hypot(share, FLOOR[name] * top / np.where(read[name] > 0, read[name], np.nan))
        self.scale = dict.fromkeys(NOISE, 1.0)

    def data(self, x: FloatArray) -> dict[str, FloatArray]:
        """Differences measured minus fitted, in standard errors, per channel (NaN where not measured)."""
        unknowns, log_n = x[: self.globals], x[self.globals :]
        model = stand_rows(self.table.stand, unknowns, np.exp(log_n))
        read = self.table.read
        out = {"speed": np.log(read["speed"]) - log_n}
        for name in ("thrust", "torque", "current"):
            out[name] = np.log(read[name]) - np.log(np.maximum(model[name], 1e-9))
        out["duty"] = throttle_duty(unknowns, read["duty"]) - model["duty"]
        return {name: values / (self.sigma[name] * self.scale[name]) for name, values in out.items()}

    def vector(self, x: FloatArray) -> FloatArray:
        parts = [np.nan_to_num(values, nan=0.0) for values in self.data(x).values()]
        return np.concatenate([*parts, self.root @ (x[: self.globals] - self.prior)])

    def jacobian(self, x: FloatArray) -> FloatArray:
        """Forward differences: one pass for each common unknown, one for all row speeds together."""
        base = self.vector(x)
        rows, n = self.table.rows, self.globals
        jac = np.zeros((base.size, x.size))
        step = 1e-5
        for i in range(n):
            moved = x.copy()
            moved[i] += step
            jac[:, i] = (self.vector(moved) - base) / step
        moved = x.copy()
        moved[n:] += step
        change = (self.vector(moved) - base) / step
        for channel in range(len(NOISE)):
            at = channel * rows + np.arange(rows)
            jac[at, n + np.arange(rows)] = change[at]
        return jac

    def loss(self, z: FloatArray) -> FloatArray:
        """Soft L1 for readings, plain squares for priors."""
        rho = np.empty((3, z.size))
        knee = LOSS_KNEE**2
        data = z.size - self.root.shape[0]
        u = 1.0 + z / knee
        rho[0], rho[1], rho[2] = 2 * knee * (np.sqrt(u) - 1), u**-0.5, -0.5 / knee * u**-1.5
        rho[0, data:], rho[1, data:], rho[2, data:] = z[data:], 1.0, 0.0
        return rho

    def once(self, x: FloatArray) -> Any:
        """Least squares from a start, noise as it stands."""
        low, high = np.full(x.size, -np.inf), np.full(x.size, np.inf)
        low[7], high[7] = 0.0, 0.4
        low[8], high[8] = np.log(0.35), np.log(2.5)
        x[7] = np.clip(x[7], 1e-3, 0.399)
        return least_squares(
            self.vector,
            x,
            jac=self.jacobian,  # type: ignore[arg-type]
            bounds=(low, high),
            loss=self.loss,  # type: ignore[arg-type]
            x_scale="jac",
            max_nfev=60,
        )

    def solve(self) -> None:
        """Fit, take the noise from the table, and fit again."""
        x = np.concatenate([self.prior, self.table.start()])
        for _ in range(5):
            x = self.once(x).x
            self._noise(x)
        self.x = x
        jac = self.jacobian(x)
        weight = np.sqrt(self.loss(self.vector(x) ** 2)[1])
        self.covariance = np.linalg.inv((jac * weight[:, None]).T @ (jac * weight[:, None]) + 1e-9 * np.eye(x.size))

    def _noise(self, x: FloatArray) -> None:
        """Take the scatter of each channel from the table, drawn towards the usual value in short tables.

        Sum of squares over the readings left after the unknowns have taken their share (leverage).
        """
        jac = self.jacobian(x)
        covariance = np.linalg.inv(jac.T @ jac + 1e-9 * np.eye(x.size))
        leverage = np.sum((jac @ covariance) * jac, axis=1)
        for channel, (name, values) in enumerate(self.data(x).items()):
            here = np.isfinite(values)
            if here.sum() < 5:
                continue
            at = channel * self.table.rows + np.flatnonzero(here)
            free = max(float(here.sum() - leverage[at].sum()), 0.0)
            square = float(np.sum(np.minimum(np.abs(values[here]), LOSS_KNEE) ** 2))
            change = np.sqrt((square + 2.0) / (free + 2.0))
            self.scale[name] = float(np.clip(self.scale[name] * np.clip(change, 0.3, 4.0), 0.03, 8.0))


def _priors(table: _Table) -> tuple[FloatArray, FloatArray]:
    """Middle and square root of the inverse covariance of the common unknowns."""
    motor, n = table.motor, len(NAMES)
    s = spread(table.propeller)
    sd = dict(PRIOR_SD)
    sd["log_kv"] = float(motor_model.LOG_SD_KV if motor.log_sd_kv is None else motor.log_sd_kv)
    given = motor.log_sd_resistance
    sd["log_resistance"] = float(np.asarray(motor_model.resistance_spread(motor)) if given is None else given)
    sd["log_c_t"], sd["merit"] = float(s.log_sd_c_t), float(s.logit_sd_figure_of_merit)
    cov = np.diag([max(sd[name], 1e-3) ** 2 for name in NAMES])
    t, m = NAMES.index("log_c_t"), NAMES.index("merit")
    cov[t, m] = cov[m, t] = float(s.correlation_c_t_figure_of_merit) * np.sqrt(cov[t, t] * cov[m, m])
    prior = np.zeros(n)
    prior[NAMES.index("idle_duty")] = IDLE_MIDDLE
    return prior, np.linalg.cholesky(np.linalg.inv(cov)).T


def _result(fit: _Fit) -> Calibration:
    table, x, n = fit.table, fit.x, len(NAMES)
    unknowns, cov = x[:n], fit.covariance[:n, :n]
    sd = dict(zip(NAMES, np.sqrt(np.diag(cov)), strict=True))
    prior_sd = dict(zip(NAMES, np.sqrt(np.diag(np.linalg.inv(fit.root.T @ fit.root))), strict=True))
    motor = motor_from(
        table.motor, unknowns, {**sd, "log_resistance": float(np.hypot(sd["log_resistance"], MODEL_SD_RESISTANCE))}
    )
    controller = controller_from(table.controller, unknowns)
    propeller, coefficients = _propeller(fit, unknowns, cov)
    label = table.motor
    rows = [
        ("kv", "rpm/V", float(motor.kv), sd["log_kv"], float(label.kv) * float(label.loaded_kv_ratio), "log_kv"),
        ("resistance", "ohm", float(motor.resistance), sd["log_resistance"], float(label.resistance), "log_resistance"),
        (
            "no_load_current", "A", float(motor.no_load_current), sd["log_iron"], float(label.no_load_current), "log_iron",
        ),
        *coefficients,
        (
            "ripple_coefficient", "W/V^2", float(np.asarray(controller.ripple_coefficient)), sd["log_ripple"],
            float(np.asarray(table.controller.ripple_coefficient)), "log_ripple",
        ),
        (
            "standby_power", "W", float(np.asarray(controller.standby_power)), sd["log_standby"],
            float(np.asarray(table.controller.standby_power)), "log_standby",
        ),
        ("throttle_exponent", "-", float(np.asarray(controller.throttle_exponent)), sd["log_exponent"], 1.0, "log_exponent"),
    ]  # fmt: skip
    frame = pd.DataFrame(rows, columns=["quantity", "unit", "value", "log_sd", "label", "unknown"]).set_index(
        "quantity"
    )
    frame["low"] = frame["value"] * np.exp(-1.96 * frame["log_sd"])
    frame["high"] = frame["value"] * np.exp(1.96 * frame["log_sd"])
    before = frame["unknown"].map(lambda name: prior_sd.get(name, np.nan))
    before["c_p"] = float(spread(table.propeller).log_sd_c_p)
    frame["learned"] = np.clip(1.0 - (frame["log_sd"] / before) ** 2, 0.0, 1.0)
    idle = float(np.asarray(controller.idle_duty))
    frame.loc["idle_duty"] = {
        "unit": "-", "value": idle, "log_sd": np.nan, "label": 0.0, "low": max(idle - 1.96 * sd["idle_duty"], 0.0),
        "high": idle + 1.96 * sd["idle_duty"], "learned": np.clip(1 - (sd["idle_duty"] / prior_sd["idle_duty"]) ** 2, 0, 1),
    }  # fmt: skip
    frame = frame.drop(columns="unknown")
    return Calibration(motor, propeller, controller, frame, _residuals(fit), _notes(fit, frame), unknowns, cov)


def _propeller(fit: _Fit, unknowns: FloatArray, cov: FloatArray) -> tuple[Propeller, list[tuple[Any, ...]]]:
    """Propeller with its shifts and collapsed spread; C_T and C_P at the middle speed with their log sd."""
    table = fit.table
    t, m = NAMES.index("log_c_t"), NAMES.index("merit")
    label = table.propeller
    moved = replace(
        label,
        log_c_t_offset=np.asarray(label.log_c_t_offset) + unknowns[t],
        figure_of_merit_offset=np.asarray(label.figure_of_merit_offset) + unknowns[m],
    )
    middle = np.exp(np.median(fit.x[len(NAMES) :]))
    prepared = Stand.of(table.motor, moved, table.controller, table.air, table.stand.voltage).prepared
    c_t, c_p = (float(v) for v in prepared.static(middle))
    merit = float(np.sqrt(2 / np.pi)) * c_t**1.5 / c_p
    # ln C_P = 1.5 ln C_T - ln FM, d ln FM / d offset = 1 - FM/0.85
    row = np.zeros(len(NAMES))
    row[t], row[m] = 1.5, -(1.0 - min(merit, 0.84) / 0.85)
    var_t, var_p, both = cov[t, t], float(row @ cov @ row), float(row @ cov[:, t])
    floor = MODEL_SD_PROPELLER**2
    sd_t, sd_p = float(np.sqrt(var_t + floor)), float(np.sqrt(var_p + floor))
    moved = replace(
        moved,
        log_sd_c_t=sd_t,
        log_sd_c_p=sd_p,
        spread_correlation=float(np.clip((both + 0.5 * floor) / (sd_t * sd_p), -0.95, 0.95)),
    )
    label_t, label_p = (float(v) for v in table.stand.prepared.static(middle))
    return moved, [
        ("c_t", "-", c_t, float(np.sqrt(var_t)), label_t, "log_c_t"),
        ("c_p", "-", c_p, float(np.sqrt(var_p)), label_p, "c_p"),
    ]


def _residuals(fit: _Fit) -> pd.DataFrame:
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


def _notes(fit: _Fit, frame: pd.DataFrame) -> list[str]:
    read, told = fit.table.read, []
    if not np.isfinite(read["thrust"]).any():
        told.append("No thrust was measured: the thrust coefficient keeps its label's value and doubt.")
    if not np.isfinite(read["torque"]).any():
        told.append(
            "No torque was measured: KV, resistance and power coefficient trade against each other, and the label's "
            "spread decides between them."
        )
    if not np.isfinite(read["speed"]).any():
        told.append("No speed was measured: it was inferred from the thrust, so C_T and KV hang on the label.")
    if not np.isfinite(fit.table.throttle).any():
        told.append("No throttle was recorded: the throttle map stays linear and says nothing about KV.")
    elif np.nanmax(fit.table.throttle) < 0.95:
        told.append("The throttle never reached full: KV and resistance rest on the throttle map.")
    for name, sentence in (
        ("kv", "KV was hardly learned from this table."), ("resistance", "The resistance was hardly learned."),
        ("no_load_current", "The no-load current was hardly learned: a run without propeller would tell it."),
        ("ripple_coefficient", "The ripple loss was hardly learned: more steps at low throttle would tell it."),
    ):  # fmt: skip
        if frame.loc[name, "learned"] < 0.3:
            told.append(sentence)
    return told
