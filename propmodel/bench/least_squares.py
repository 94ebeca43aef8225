"""Robust least squares with priors for one stand table: data, residuals, solution, and noise estimate."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from propmodel.base.arrays import FloatArray
from propmodel.bench.stand_model import IDLE_MIDDLE, NAMES, PRIOR_SD, Stand, stand_rows, throttle_duty
from propmodel.components import motor as motor_model
from propmodel.components.air import Air
from propmodel.components.controller import Controller, default_throttle_exponent
from propmodel.components.motor import Motor
from propmodel.components.propeller import Propeller, spread

__all__ = ["StandFit", "Table"]

NOISE = {"speed": 0.007, "thrust": 0.015, "torque": 0.02, "current": 0.015, "duty": 0.01}
"""Usual standard deviation of one reading, relative to the reading (duty: absolute). The scatter of the table
rescales it. [-]"""
LEAST_SCALE = {"speed": 0.3, "thrust": 0.3, "torque": 0.3, "current": 0.3, "duty": 0.05}
"""Lower limit of the factor by which the scatter of a table may reduce `NOISE`. No stand reads to better than a few
tenths of a per cent; the throttle is a command and may be exact. [-]"""
WIDEN = 1.1
"""Factor on the standard errors. On 300 synthetic tables of 20 to 100 rows the errors without it were 0 to 20 % too
small, because the noise is itself estimated. [-]"""
FLOOR = {"thrust": 0.01, "torque": 0.01, "current": 0.003}
"""Error that does not depend on the reading, relative to the highest reading of the table. [-]"""
ONE_SD = 0.683
"""Share of normal errors within one standard deviation. [-]"""
LOSS_KNEE = 3.0
"""Residual, in standard errors, at which the soft-L1 loss departs from the square. [-]"""
FEWEST_ROWS = 3


class Table:
    """The usable rows of a stand table, as arrays.

    Parameters
    ----------
    points : pandas.DataFrame
        Table of dwell points in SI units, as in `bench.reading.records.BenchLog`.
    motor, propeller : Motor, Propeller
        With the values of their labels.
    controller : Controller or None
        None: the default controller.
    air : Air
        Air at the stand.
    """

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
        self.usual_exponent = float(default_throttle_exponent(propeller.diameter, motor.kv, np.mean(voltage[running])))
        self.rows = int(running.sum())

    def start(self) -> FloatArray:
        """Initial value of ln n of each row, shape (rows,), with n in 1/s."""
        speed = self.read["speed"]
        if np.isfinite(speed).all():
            return np.log(speed)
        c_t, _ = self.stand.prepared.static(100.0)
        head = np.asarray(self.air.density) * np.asarray(self.propeller.diameter) ** 4
        from_thrust = np.sqrt(np.maximum(self.read["thrust"], 1e-3) / (head * c_t))
        return np.log(np.where(np.isfinite(speed), speed, np.nan_to_num(from_thrust, nan=50.0)))


class StandFit:
    """Robust fit of one table: residuals, Jacobian, solution, and noise estimated from the table.

    The vector of unknowns ``x`` holds the common unknowns (`stand_model.NAMES`), then ln n of each row.

    Parameters
    ----------
    table : Table
        The rows to fit.
    """

    def __init__(self, table: Table) -> None:
        self.table = table
        n = len(NAMES)
        self.prior, self.root = _priors(table)
        self.globals = n
        read = table.read
        self.sigma = {}
        for name, share in NOISE.items():
            if name == "duty" or name == "speed":
                self.sigma[name] = np.full(table.rows, share)
            else:
                top = np.nanmax(read[name], initial=0.0)
                self.sigma[name] = np.hypot(share, FLOOR[name] * top / np.where(read[name] > 0, read[name], np.nan))
        self.scale = dict.fromkeys(NOISE, 1.0)

    def data(self, x: FloatArray) -> dict[str, FloatArray]:
        """Residuals (measured minus fitted) of each channel, in standard errors; NaN where not measured."""
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
        """Jacobian by forward differences: one evaluation per common unknown, one for all row speeds together."""
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
        """Loss and its two derivatives, shape (3, residuals): soft L1 for readings, square for priors."""
        rho = np.empty((3, z.size))
        knee = LOSS_KNEE**2
        data = z.size - self.root.shape[0]
        u = 1.0 + z / knee
        rho[0], rho[1], rho[2] = 2 * knee * (np.sqrt(u) - 1), u**-0.5, -0.5 / knee * u**-1.5
        rho[0, data:], rho[1, data:], rho[2, data:] = z[data:], 1.0, 0.0
        return rho

    def once(self, x: FloatArray) -> Any:
        """Solve the least-squares problem from the start ``x`` with the present noise estimate."""
        from scipy.optimize import least_squares  # imported here because the import takes a third of a second

        low, high = np.full(x.size, -np.inf), np.full(x.size, np.inf)
        low[7], high[7] = 0.0, 0.4
        low[8], high[8] = np.log(0.35), np.log(2.5)
        x[7] = np.clip(x[7], 1e-3, 0.399)
        return least_squares(
            self.vector,
            x,
            jac=self.jacobian,
            bounds=(low, high),
            loss=self.loss,
            x_scale="jac",
            max_nfev=60,
        )

    def solve(self) -> None:
        """Fit and estimate the noise in turn, five times; set ``x`` and ``covariance``."""
        x = np.concatenate([self.prior, self.table.start()])
        for _ in range(5):
            x = self.once(x).x
            self._noise(x)
        self.x = x
        jac = self.jacobian(x)
        weight = np.sqrt(self.loss(self.vector(x) ** 2)[1])
        self.covariance = WIDEN**2 * np.linalg.inv(
            (jac * weight[:, None]).T @ (jac * weight[:, None]) + 1e-9 * np.eye(x.size)
        )

    def misfit(self) -> dict[str, float]:
        """Relative misfit of each channel, one standard deviation; 0 where it is within twice the usual noise. [-]"""
        out = {}
        for name, values in self.data(self.x).items():
            # leave out small readings, whose error is mostly the floor
            here = np.isfinite(values) & (self.sigma[name] < 3.0 * NOISE[name])
            share = np.abs(values[here]) * self.sigma[name][here] * self.scale[name]
            off = float(np.quantile(share, ONE_SD)) if here.sum() >= 3 else 0.0
            # raise it gradually between two and three times the usual noise
            out[name] = off * float(np.clip(off / NOISE[name] - 2.0, 0.0, 1.0))
        return out

    def _noise(self, x: FloatArray) -> None:
        """Estimate the noise of each channel from its residuals, shrunk towards the usual noise in short tables.

        The sum of squares is divided by the degrees of freedom: the number of readings minus their leverage.
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
            self.scale[name] = float(np.clip(self.scale[name] * np.clip(change, 0.3, 4.0), LEAST_SCALE[name], 8.0))


def _priors(table: Table) -> tuple[FloatArray, FloatArray]:
    """Prior mean of the common unknowns, and the square root of their inverse covariance."""
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
    prior[NAMES.index("log_exponent")] = np.log(table.usual_exponent)
    return prior, np.asarray(np.linalg.cholesky(np.linalg.inv(cov)).T, dtype=np.float64)
