"""Fit motor rule, throttle map, ripple loss and fast blade tips to all bench and makers' tables at once.

Run from the checkout: ``python data/motors/fit_joint.py`` (some minutes, most of it for the left-out errors and the
forms tried; ``--errors`` leaves out the forms, ``--quick``, a few seconds, both). It needs the raw tables at
``../shared/data`` beside the checkout, or where ``PROPMODEL_SHARED`` points; they are not part of the project. It
writes the tables of this folder: ``rule.csv`` (the constants that propmodel uses), ``effects.csv`` (scatter between
motors, propellers and stands), ``stands.csv``, ``motors.csv``, ``forms.csv`` and ``forms_by_stand.csv`` (forms tried),
and ``errors.csv`` (left-out errors and coverage). SOURCE.md explains them.

The model of a row is that of `bench_curve`: throttle -> duty -> speed -> torque, current, thrust.
Each motor has an own deviation in motor constant and speed constant, each propeller in C_T and figure of merit, each
stand in throttle exponent and ripple coefficient. All deviations are drawn towards zero by their own scatter.

Longer than others because all deviations are fitted at once: rows, terms and scatter belong to one system.
"""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import ClassVar

import numpy as np
import pandas as pd
from scipy.optimize import least_squares

from propmodel.components.propeller import Propeller, label_fit
from propmodel.components.propeller import spread as label_spread
from propmodel.components.propeller.prepared import smooth_cap

HERE = Path(__file__).resolve().parent
INCH, GRAM_FORCE = 0.0254, 9.80665e-3
DENSITY, VISCOSITY, SOUND = 1.20, 1.81e-5, 341.0
"""Air of the stands, which nobody recorded: assumed. [kg/m^3, Pa s, m/s]"""
SIZES = {"a": (22, 5), "b": (18, 6), "c": (22, 6), "d": (22, 4), "e": (22, 5), "f": (22, 6), "g": (22, 6), "h": (18, 4)}
"""Stators of set A. [mm]"""
GUESSED_SIZE = (24.0, 7.0)
"""Stator taken for set C, which states none. [mm]"""
SHEETS = ((4, 1), (9, 2), (12, 3), (19, 4), (22, 5), (23, 6), (25, 7), (30, 8), (32, 9), (35, 10), (39, 11), (42, 12))
SHEETS += ((52, 13), (53, 14), (58, 15), (116, 16))
"""Last table of a stand in the makers' set, and the number of that stand."""
LEAST_THROTTLE, LEAST_CURRENT = 0.15, 0.8
"""Rows below are left out: offsets of stand and meter rule there. [-, A]"""
NOISE = {"n": 0.02, "current": 0.05, "thrust": 0.05, "torque": 0.04}
"""Log sd of a single reading about its own motor, propeller and stand. [-]"""
IDLE_NOISE = 0.5  # a printed no-load current about the rule, ln
ROBUST = 2.0  # residuals beyond this many sd count less (soft L1)
WEIGHT_ROWS = 4.0  # a table of more rows counts as this many: its rows are not independent
MERIT_REFERENCE = 0.61
"""Figure of merit of multirotor propellers that the label forecast takes; the fit gives a factor on it. [-]"""

COMMON = {
    # name: start, prior mean, prior sd (None: no prior)
    "log_motor_constant": (np.log(0.0130), None, None),
    "size_exponent": (0.95, 0.9, 0.3),
    "log_loaded_kv": (np.log(0.95), None, None),
    "log_loss_torque": (np.log(5e-9), np.log(5e-9), 0.7),
    "log_ripple": (np.log(0.4), np.log(0.4), 0.7),
    "log_throttle_exponent": (np.log(0.91), None, None),
    "tip_power_of_exponent": (0.14, None, None),
    "log_merit": (0.0, None, None),
    "mach_rise": (4.0, 4.0, 4.0),
}
OPTIONAL = {
    "log_fixed_resistance": (np.log(0.02), np.log(0.02), 0.5),
    "kv_power_of_ripple": (0.0, 0.0, 2.0),
    "kv_power_of_motor_constant": (0.0, 0.0, 1.0),
    "diameter_power_of_merit": (0.0, 0.0, 0.3),
    "log_thrust": (0.0, 0.0, 0.2),
    "shape_power_of_kv": (0.0, 0.0, 0.2),
    "shape_power_of_exponent": (0.0, 0.0, 0.3),
    "idle_duty": (0.0, 0.0, 0.05),
    "log_warming": (np.log(0.15), np.log(0.15), 1.0),
    "log_speed_resistance": (np.log(0.15), np.log(0.15), 1.0),
}
ABSENT = {name: -20.0 if name in ("log_warming", "log_speed_resistance") else 0.0 for name in OPTIONAL}
FIXED = {**ABSENT, "log_fixed_resistance": np.log(0.03)}
"""Values of the optional terms in the form chosen; the fit is flat in the fixed resistance from 0.01 to 0.05 ohm."""
BEFORE = {
    "log_motor_constant": np.log(0.01304),
    "size_exponent": 0.85,
    "log_loaded_kv": np.log(0.93),
    "log_loss_torque": np.log(3.5e-9),
    "log_ripple": np.log(0.30),
    "log_throttle_exponent": 0.0,
    "tip_power_of_exponent": 0.0,
    "log_merit": 0.0,
    "mach_rise": 2.0,
    **ABSENT,
    "log_fixed_resistance": -20.0,
}
"""The rules before this fit; their knee was at tip Mach 0.5."""
SCATTER = {"motor_constant": 0.165, "kv": 0.06, "c_t": 0.114, "merit": 0.075, "throttle": 0.105, "ripple": 0.55}
"""Log sd of the deviations: between motors, propellers and stands, found by iterating the fit (`effects.csv`)."""
OWNER = {"motor_constant": "motor", "kv": "motor", "c_t": "propeller", "merit": "propeller"}
OWNER |= {"throttle": "stand", "ripple": "stand", "idle_duty": "stand", "thrust_scale": "stand"}
"""Whose deviation it is. The last two only in forms tried: duty at no throttle; load cell and air of a stand."""
ONE_EXPONENT = {**FIXED, "tip_power_of_exponent": 0.0}
"""The form before the fourth look: one throttle exponent for every build. The forms tried were tried on it."""
ONE_SCATTER = {**SCATTER, "throttle": 0.115}
FREE_TIP = 0.9
"""Free tip speed over the speed of sound at which the throttle exponent is given. [-]"""
KNEE = 0.4
"""Tip Mach number from which C_P rises. Knees of 0.3 to 0.45 fit alike; chosen. [-]"""


# ---------------------------------------------------------------- rows
def shared(folder: str) -> Path:
    root = Path(os.environ.get("PROPMODEL_SHARED", HERE.parents[2] / "shared")) / "data" / folder
    if not root.is_dir():
        sys.exit(f"raw tables not found at {root}: put them there or set PROPMODEL_SHARED")
    return root


def bench_rows() -> pd.DataFrame:
    """Sets A, C and D, one line a row."""
    out = []
    for path in sorted(shared("bench").glob("[ACD]*.csv")):
        words = path.stem.split("_")
        if words[1] == "b4" or "noprop" in words:  # b4: another or a flipped propeller
            continue
        t = pd.read_csv(path)
        size = next(w for w in words if w.count("x") == 2)
        t["diameter"], t["pitch"], t["blades"] = (float(v) for v in size.split("x"))
        t["kv"] = next(float(w[:-2]) for w in words if w.endswith("kv"))
        if words[0] == "A":
            key = {"stand": "A", "motor": "A" + words[1][0], "propeller": "A" + words[1][1:]}
            t["d"], t["h"] = SIZES[words[1][0]]
        elif words[0][0] == "C":
            other = words[0] in ("C2", "C3")  # that controller tops out early: its throttle is not used
            key = {"stand": "C" + "ab"[other], "motor": "C1" if words[0] == "C1" else "C4", "propeller": "C"}
            t["d"], t["h"] = GUESSED_SIZE
            if other:
                t["throttle_pct"] = np.nan
        else:
            key = {"stand": "D", "motor": "D", "propeller": "D"}
            t["d"], t["h"] = 25.0, 7.0
        out.append(t.assign(table="_".join(words[:2]), group=words[0][0], **key))
    return pd.concat(out, ignore_index=True)


def makers_rows() -> pd.DataFrame:
    """Makers' sheets, one line a row; see the notes on single tables in SOURCE.md."""
    t = pd.read_csv(shared("makers") / "tables.csv")
    number = t.table_id.str[1:].astype(int)
    t = t[~number.isin([22, 47])].copy()  # no pitch; thrust of another propeller
    number = t.table_id.str[1:].astype(int)
    stand = [next(s for last, s in SHEETS if i <= last) for i in number]
    t["stand"] = [f"sheet {s}" for s in stand]
    t["motor"] = t.motor_label + " " + t.stand
    size = t.prop_d_in.astype(str) + "x" + t.prop_pitch_in.astype(str) + "x" + t.blades.astype(str)
    t["propeller"] = t.prop_maker_code.fillna("unnamed").astype(str) + " " + size
    t["current_A"] = t.current_A.fillna(t.power_W / t.voltage_V)
    no_volts = number.isin([2, 3, 4])  # the drop of the same stand's table with volts
    t.loc[no_volts, "voltage_V"] = 25.19 - 0.0192 * t.current_A
    t.loc[number == 2, "thrust_g"] = np.nan  # one of its two thrusts is a typing error
    names = {"stator_d_mm": "d", "stator_h_mm": "h", "prop_d_in": "diameter", "prop_pitch_in": "pitch"}
    names |= {"table_id": "table", "published_idle_A": "idle"}
    return t.rename(columns=names).assign(group="M")


def read_rows() -> pd.DataFrame:
    """All rows, with what the label says of the propeller."""
    t = pd.concat([bench_rows(), makers_rows()], ignore_index=True)
    t["throttle"] = t.throttle_pct / 100.0
    keep = (t.current_A >= np.where(t.group == "M", LEAST_CURRENT, 0.3)) & ~(t.throttle < LEAST_THROTTLE)
    t = t[keep].reset_index(drop=True)
    t["n"], t["thrust"] = t.rpm / 60.0, t.thrust_g * GRAM_FORCE
    t["current"], t["volts"], t["torque"] = t.current_A, t.voltage_V, t.torque_Nm
    t["metres"] = t.diameter * INCH
    label = label_fit.forecast(
        t.metres.to_numpy(),
        t.pitch.to_numpy() * INCH,
        blades=t.blades.to_numpy(float),
        chord_ratio=None,
        multirotor=np.ones(len(t)),
    )
    t["log_ct"], t["slope_ct"], t["log_cp"], t["slope_cp"] = (
        label.log_c_t,
        label.slope_c_t,
        label.log_c_p,
        label.slope_c_p,
    )
    t["per_speed"] = 0.375 * np.pi * t.metres**2 * label.chord_ratio * DENSITY / VISCOSITY  # Re75 over n
    return t


# ---------------------------------------------------------------- the model of a row
@dataclass
class Fit:
    """The joint model of some rows: common constants and deviations, as one vector of unknowns."""

    rows: pd.DataFrame
    fixed: dict = field(default_factory=lambda: dict(FIXED))
    knee: float = KNEE
    power: int = 2
    scatter: dict = field(default_factory=lambda: dict(SCATTER))
    z: np.ndarray | None = None
    jacobian: np.ndarray | None = None
    terms: ClassVar[dict] = {**COMMON, **OPTIONAL}

    def __post_init__(self) -> None:
        t = self.rows
        self.common = [k for k in self.terms if k not in self.fixed]
        self.levels = {k: list(t[k].unique()) for k in ("motor", "propeller", "stand")}
        at = {k: t[k].map({v: i for i, v in enumerate(names)}).to_numpy() for k, names in self.levels.items()}
        self.places = {k: at[OWNER[k]] for k in self.scatter}
        self.counts = {k: len(self.levels[OWNER[k]]) for k in self.scatter}
        self.a = {c: t[c].to_numpy(float) for c in t.select_dtypes("number")}
        volume = self.a["d"] ** 2 * self.a["h"]
        self.volume = volume
        self.shape = volume / np.sqrt(self.a["h"] + 0.4 * self.a["d"]) / (3388.0 / np.sqrt(15.8))
        size = t.groupby("table").table.transform("size").to_numpy()
        self.weight = 1.0 / np.sqrt(np.maximum(size / WEIGHT_ROWS, 1.0))
        mean_volts = t.groupby("table").volts.transform("mean").to_numpy(float)
        self.free_tip = np.pi * self.a["metres"] * self.a["kv"] * mean_volts / 60.0 / SOUND
        idle = t[t.idle.notna()].groupby("motor").head(1)
        self.idle = [(i, t.idle[i], t.idle_V[i]) for i in idle.index]

    def of(self, rows: pd.DataFrame) -> Fit:
        """The same form for other rows."""
        return type(self)(rows.reset_index(drop=True), self.fixed, self.knee, self.power, self.scatter)

    def start(self) -> np.ndarray:
        return np.r_[[self.terms[k][0] for k in self.common], np.zeros(sum(self.counts.values()))]

    def unpack(self, z: np.ndarray) -> tuple[dict, dict]:
        common = {**self.fixed, **dict(zip(self.common, z, strict=False))}
        deviations, first = {}, len(self.common)
        for name, count in self.counts.items():
            deviations[name] = z[first : first + count] * self.scatter[name]
            first += count
        return common, deviations

    def coefficients(self, c: dict, n: np.ndarray, of: dict) -> tuple[np.ndarray, np.ndarray]:
        a = self.a
        re = np.log(np.clip(a["per_speed"] * n, 8e3, 1.2e5) / 5e4)
        log_ct = a["log_ct"] + a["slope_ct"] * re
        log_merit = np.log(np.sqrt(2 / np.pi)) + 1.5 * log_ct - a["log_cp"] - a["slope_cp"] * re
        log_merit = log_merit + c["log_merit"] + c["diameter_power_of_merit"] * np.log(a["diameter"] / 5.0)
        merit = smooth_cap(np.exp(np.clip(log_merit + of["merit"], -3.0, 0.0)))
        c_t = np.exp(log_ct + c["log_thrust"] + of["c_t"])
        fast = np.maximum(np.pi * a["metres"] * n / SOUND - self.knee, 0.0)
        return c_t, np.sqrt(2 / np.pi) * c_t**1.5 / merit * (1.0 + c["mach_rise"] * fast**self.power)

    def electrical(self, c: dict, m: dict, n: np.ndarray, c_p: np.ndarray) -> dict:
        """Torque, motor current, resistance and supply current at a speed."""
        a = self.a
        torque = DENSITY * n * n * a["metres"] ** 5 * c_p / (2 * np.pi)
        current = (torque + m["loss"] * n) / m["k_t"]
        warm = np.exp(c["log_warming"]) * np.minimum(current, 200.0) ** 2 * m["wound"] / (self.volume / 3388.0) / 100.0
        r = m["fixed"] + m["wound"] * (1.0 + warm + np.exp(c["log_speed_resistance"]) * n / 500.0)
        volts = 2 * np.pi * m["k_t"] * n + current * r
        duty = np.clip(volts / a["volts"], 0.0, 1.0)
        power = volts * current + 0.5 + m["ripple"] * (a["volts"] * duty * (1 - duty)) ** 2
        return {"torque": torque, "motor current": current, "resistance": r, "current": power / a["volts"]}

    def motor(self, c: dict, of: dict) -> dict:
        a = self.a
        kv = a["kv"] * np.exp(c["log_loaded_kv"] + of["kv"]) * self.shape ** c["shape_power_of_kv"]
        k_t = 60.0 / (2 * np.pi * kv)
        constant = np.exp(c["log_motor_constant"] + of["motor_constant"]) * self.shape ** c["size_exponent"]
        constant = constant * (a["kv"] * a["d"] / (1950.0 * 22.0)) ** c["kv_power_of_motor_constant"]
        ripple = np.exp(c["log_ripple"] + of["ripple"]) * (a["kv"] / 1800.0) ** c["kv_power_of_ripple"]
        return {
            "k_t": k_t,
            "wound": (k_t / constant) ** 2,
            "fixed": np.exp(c["log_fixed_resistance"]),
            "loss": np.exp(c["log_loss_torque"]) * self.volume,
            "ripple": ripple,
        }

    def exponent(self, c: dict, of: dict) -> np.ndarray:
        """Throttle exponent of every row."""
        exponent = np.exp(c["log_throttle_exponent"] + of.get("throttle", 0.0))
        exponent = exponent * (self.free_tip / FREE_TIP) ** c["tip_power_of_exponent"]
        return exponent * self.shape ** c["shape_power_of_exponent"]

    def forecast(self, c: dict, deviations: dict, *, power: bool = True) -> dict:
        """Speed, thrust, torque and supply current of every row; at the measured speed where no throttle is known.

        Without ``power`` the supply power at the measured thrust is left out, which the fit does not need.
        """
        a = self.a
        of = {k: deviations[k][self.places[k]] for k in self.scatter}
        m = self.motor(c, of)
        known = ~np.isnan(a["throttle"])
        idle = c["idle_duty"] + of.get("idle_duty", 0.0)
        duty = idle + (1.0 - idle) * np.where(known, a["throttle"], 1.0) ** self.exponent(c, of)
        scale = np.exp(of.get("thrust_scale", 0.0))
        free = duty * a["volts"] / (2 * np.pi * m["k_t"])
        n = np.where(known, 0.8 * free, a["n"])
        for _ in range(9):
            c_t, c_p = self.coefficients(c, n, of)
            e = self.electrical(c, m, n, c_p)
            load = e["torque"] / n**2 * e["resistance"] / m["k_t"]
            straight = 2 * np.pi * m["k_t"] + e["resistance"] * m["loss"] / m["k_t"]
            volts = duty * a["volts"]
            new = 2 * volts / (straight + np.sqrt(straight**2 + 4 * load * volts))
            n = np.where(known, new, a["n"])
        c_t, c_p = self.coefficients(c, n, of)
        e = self.electrical(c, m, n, c_p)
        thrust = DENSITY * n * n * a["metres"] ** 4 * c_t * scale
        out = {"n": np.where(known, n, np.nan), "thrust": thrust, **m, **e}
        if not power:
            return out
        at_thrust = a["n"].copy()
        at_thrust[np.isnan(at_thrust)] = 300.0
        for _ in range(20):  # the speed that gives the measured thrust
            c_t, c_p = self.coefficients(c, at_thrust, of)
            at_thrust = np.sqrt(a["thrust"] / (DENSITY * a["metres"] ** 4 * c_t * scale))
        return {**out, "power": self.electrical(c, m, at_thrust, c_p)["current"] * a["volts"]}

    def residuals(self, z: np.ndarray) -> np.ndarray:
        """Weighted residuals of the rows (robust), then of the priors."""
        c, deviations = self.unpack(z)
        f = self.forecast(c, deviations, power=False)
        data = []
        for key, noise in NOISE.items():
            r = np.log(f[key] / self.a[key])
            good = np.isfinite(r)
            data.append(r[good] / noise * self.weight[good])
        for i, amps, volts in self.idle:
            n = volts / (2 * np.pi * f["k_t"][i])
            data.append([np.log(f["loss"][i] * n / f["k_t"][i] / amps) / IDLE_NOISE])
        data.append([(c["log_loss_torque"] - np.log(3.5e-9)) / IDLE_NOISE])  # the 2507 without propeller
        r = np.concatenate([np.atleast_1d(x) for x in data])
        r = np.sign(r) * ROBUST * np.sqrt(2.0 * (np.sqrt(1.0 + (r / ROBUST) ** 2) - 1.0))
        prior = [(c[k] - m) / s for k, (_, m, s) in self.terms.items() if k in self.common and s]
        return np.r_[r, prior, z[len(self.common) :]]

    def slopes(self, z: np.ndarray) -> np.ndarray:
        """Jacobian of ``residuals`` by differences.

        A row knows one motor, one propeller and one stand, so all levels of a deviation are moved at once: fifteen
        forecasts in place of two hundred.
        """
        step, start, first = 1e-6, self.residuals(z), len(self.common)
        c, deviations = self.unpack(z)
        f = self.forecast(c, deviations, power=False)
        rows = [np.flatnonzero(np.isfinite(np.log(f[key] / self.a[key]))) for key in NOISE]
        row = np.concatenate([*rows, np.array([i for i, _, _ in self.idle], dtype=int)])
        out = np.zeros((len(start), len(z)))
        for k in range(first):
            moved = z.copy()
            moved[k] += step * max(1.0, abs(z[k]))
            out[:, k] = (self.residuals(moved) - start) / (moved[k] - z[k])
        out[len(start) - len(z) + first :, first:] = np.eye(len(z) - first)
        for name, count in self.counts.items():
            moved = z.copy()
            moved[first : first + count] += step
            slope = (self.residuals(moved) - start)[: len(row)] / step
            out[np.arange(len(row)), first + self.places[name][row]] = slope
            first += count
        return out

    def solve(self, z: np.ndarray | None = None, *, most: int = 60) -> Fit:
        with np.errstate(all="ignore"):
            begin = self.start() if z is None else z
            found = least_squares(self.residuals, begin, jac=self.slopes, x_scale="jac", max_nfev=most)
        self.z, self.jacobian = found.x, found.jac
        self.cost = float(found.cost)
        return self

    def begin_from(self, other: Fit) -> np.ndarray:
        """Start of this fit at the result of another of the same form that held more rows."""
        z = self.start()
        z[: len(self.common)] = other.z[: len(other.common)]
        mine, theirs = len(self.common), len(other.common)
        for name, count in self.counts.items():
            level = OWNER[name]
            where = [other.levels[level].index(v) for v in self.levels[level]]
            z[mine : mine + count] = other.z[theirs : theirs + other.counts[name]][where]
            mine, theirs = mine + count, theirs + other.counts[name]
        return z

    def errors(self) -> np.ndarray:
        return np.sqrt(np.diag(np.linalg.pinv(self.jacobian.T @ self.jacobian)))


# ---------------------------------------------------------------- errors of rows that the fit has not seen
QUANTITIES = ("thrust", "current", "n", "power")
CLASSES = {
    "makers, 5-inch three-blade": lambda t: (t.group == "M") & t.diameter.between(4.8, 5.3) & (t.blades == 3),
    "makers, 6 to 15 inch": lambda t: (t.group == "M") & (t.diameter > 5.5),
    "makers, 2-inch and two-blade 5-inch": lambda t: (
        (t.group == "M") & ((t.diameter < 4) | ((t.diameter < 5.5) & (t.blades == 2)))
    ),
    "stand A (3S, 11 A)": lambda t: t.group == "A",
    "stands C and D": lambda t: t.group.isin(["C", "D"]),
}
FULL = {"100 %": (0.94, 1.01)}
THROTTLES = {"20 to 36 %": (0.19, 0.37), "40 to 60 %": (0.39, 0.61), "65 to 80 %": (0.64, 0.81), **FULL}


def label_errors(fit: Fit, common: dict, rng: np.random.Generator | None = None) -> pd.DataFrame:
    """ln(forecast/measured) of the rows of a fit from labels alone; with the rank in the stated band."""
    nothing = {k: np.zeros(n) for k, n in fit.counts.items()}
    with np.errstate(all="ignore"):
        f = fit.forecast(common, nothing)
        t = fit.rows[["table", "group", "diameter", "blades", "throttle"]].copy()
        measured = {**fit.a, "power": fit.a["volts"] * fit.a["current"]}
        for q in QUANTITIES:
            t[q] = np.log(f[q] / measured[q])
        if rng is not None:
            below = {q: np.zeros(len(t)) for q in QUANTITIES[:2]}
            for _ in range(DRAWS):
                g = fit.forecast(*drawn(fit, common, rng))
                for q in below:
                    below[q] += g[q] < measured[q]
            for q in below:
                t["rank of " + q] = np.where(np.isfinite(t[q]), below[q] / DRAWS, np.nan)
    return t


DRAWS = 100
EXTRA = {"loss": 0.5}
"""Log sd of the loss torque. [-]"""


def drawn(fit: Fit, common: dict, rng: np.random.Generator) -> tuple[dict, dict]:
    """One craft of the stated spread: what propmodel.spread draws, for one stand table."""
    t = fit.rows.groupby("propeller").first()
    s = label_spread(Propeller(t.metres.to_numpy(), t.pitch.to_numpy() * INCH, t.blades.to_numpy(), multirotor=1.0))
    a, b = rng.standard_normal(2)
    rho = s.correlation_c_t_figure_of_merit
    merit = (rho * a + np.sqrt(1 - rho**2) * b) * s.log_sd_figure_of_merit
    deviations = {k: np.full(n, fit.scatter[k] * rng.standard_normal()) for k, n in fit.counts.items()}
    order = [list(t.index).index(v) for v in fit.levels["propeller"]]
    deviations["c_t"], deviations["merit"] = (a * s.log_sd_c_t)[order], merit[order]
    loss = common["log_loss_torque"] + EXTRA["loss"] * rng.standard_normal()
    return {**common, "log_loss_torque": loss}, deviations


def left_out(rows: pd.DataFrame, full: Fit, *, by: str, every: int = 1, bands: bool = False) -> pd.DataFrame:
    """Label errors with motor, propeller, both or stand left out of the fit; both: of stand A every so many pairs."""
    rng = np.random.default_rng(1) if bands else None
    keys = {"motor": ["motor"], "propeller": ["propeller"], "both": ["motor", "propeller"], "stand": ["stand"]}[by]
    out = []
    for i, (_, pair) in enumerate(rows[keys].drop_duplicates().iterrows()):
        stand_a = str(pair.iloc[0]).startswith("A")
        if stand_a and by == "both" and i % every:
            continue
        hits = np.column_stack([rows[k] == pair[k] for k in keys])
        train = full.of(rows[~hits.any(axis=1)])
        train.solve(train.begin_from(full), most=6)
        test = full.of(rows[hits.all(axis=1)])
        out.append(label_errors(test, train.unpack(train.z)[0], rng))
    return pd.concat(out, ignore_index=True)


def summary(t: pd.DataFrame) -> pd.DataFrame:
    """Median over tables of the median |error|, bias, and coverage of the 80 % bands."""
    out = []
    for name, which in CLASSES.items():
        for throttle, (low, high) in THROTTLES.items():
            g = t[which(t) & t.throttle.between(low, high)]
            if g.empty:
                continue
            row: dict = {"tables": name, "throttle": throttle, "number": g.table.nunique()}
            for q in QUANTITIES:
                row[f"{q} |error|"] = np.expm1(g[q].abs()).groupby(g.table).median().median()
                row[f"{q} bias"] = np.expm1(g[q].groupby(g.table).median().median())
                if "rank of " + q in g:
                    r = g["rank of " + q].dropna()
                    row[f"{q} inside"] = r.between(0.1, 0.9).groupby(g.table).mean().mean()
            out.append(row)
    return pd.DataFrame(out)


# ---------------------------------------------------------------- tables
def form(**free: float) -> dict:
    """Fixed values of a form with one throttle exponent: those named are free (None) or held."""
    return {k: v for k, v in {**ONE_EXPONENT, **free}.items() if v is not None}


FORMS = {
    "chosen": (form(), KNEE, 2),
    "fixed resistance 0": (form(log_fixed_resistance=-20.0), KNEE, 2),
    "fixed resistance free": (form(log_fixed_resistance=None), KNEE, 2),
    "ripple goes with a power of KV": (form(kv_power_of_ripple=None), KNEE, 2),
    "motor constant goes with a power of KV d": (form(kv_power_of_motor_constant=None), KNEE, 2),
    "figure of merit goes with a power of D": (form(diameter_power_of_merit=None), KNEE, 2),
    "C_T factor free": (form(log_thrust=None), KNEE, 2),
    "winding warms with I^2 R": (form(log_warming=None), KNEE, 2),
    "resistance grows with speed": (form(log_speed_resistance=None), KNEE, 2),
    "knee at Mach 0.30": (form(), 0.30, 2),
    "knee at Mach 0.50": (form(), 0.50, 2),
    "C_P (1 + k M^4), no knee": (form(), 0.0, 4),
}
SCALED = {**ONE_SCATTER, "thrust_scale": 0.05}
OFFSET = {**{k: v for k, v in ONE_SCATTER.items() if k != "throttle"}, "idle_duty": 0.08}
MORE_FORMS = {
    "chosen": FORMS["chosen"],
    "C_P (1 + k M^4), no knee": FORMS["C_P (1 + k M^4), no knee"],
    "loaded KV goes with a power of the stator": (form(shape_power_of_kv=None), KNEE, 2),
    "throttle exponent goes with a power of the stator": (form(shape_power_of_exponent=None), KNEE, 2),
    "offset of each stand, no exponent": (form(idle_duty=None) | {"log_throttle_exponent": 0.0}, KNEE, 2, OFFSET),
    "thrust scale of each stand": (form(), KNEE, 2, SCALED),
    "the same, C_T factor free": (form(log_thrust=None), KNEE, 2, SCALED),
    "the same, knee at Mach 0.30": (form(), 0.30, 2, SCALED),
}
"""Judged with the whole stand left out."""


def try_forms(rows: pd.DataFrame) -> pd.DataFrame:
    """Cost, constants and errors with motor and propeller left out, of the forms tried."""
    out = []
    for name, (fixed, *rest) in FORMS.items():
        fit = Fit(rows, fixed, *rest, dict(ONE_SCATTER)).solve()
        e = summary(left_out(rows, fit, by="both", every=99))
        row = {"form": name, "cost": fit.cost, **term_of(fit)}
        for label, which in (("5-inch", "makers, 5-inch three-blade"), ("6-15", "makers, 6 to 15 inch")):
            for throttle in ("40 to 60 %", "100 %"):
                g = e[(e.tables == which) & (e.throttle == throttle)]
                for q in QUANTITIES:
                    row[f"{label} {throttle} {q}"] = float(g[f"{q} |error|"].iloc[0])
        out.append(row)
        print(name, round(fit.cost, 1), flush=True)
    return pd.DataFrame(out)


def try_more_forms(rows: pd.DataFrame) -> pd.DataFrame:
    """Cost, constants and errors with the whole stand left out (every maker a new one), of more forms tried."""
    out = []
    for name, (fixed, *rest) in MORE_FORMS.items():
        fit = Fit(rows, fixed, *rest[:2], dict(rest[2] if rest[2:] else ONE_SCATTER)).solve()
        out.append({"form": name, "cost": fit.cost, **term_of(fit), **stand_row(left_out(rows, fit, by="stand"))})
        print(name, round(fit.cost, 1), flush=True)
    return pd.DataFrame(out)


def term_of(fit: Fit) -> dict:
    """The free optional term of a form and its doubt, as text."""
    c = fit.unpack(fit.z)[0]
    told = [f"{c[k]:.3g} +- {s:.2g}" for k, s in zip(fit.common, fit.errors(), strict=False) if k in OPTIONAL]
    return {"value of the term": told[-1]} if told else {}


def stand_row(t: pd.DataFrame) -> dict:
    """Median over tables of the median |error| of a table, by class and throttle."""
    row = {}
    classes = {"5-inch": "makers, 5-inch three-blade", "6-15": "makers, 6 to 15 inch", "A": "stand A (3S, 11 A)"}
    for label, which in classes.items():
        for throttle, (low, high) in {"20 to 36 %": (0.19, 0.37), "40 to 80 %": (0.39, 0.81), **FULL}.items():
            g = t[CLASSES[which](t) & t.throttle.between(low, high)]
            if label == "A" or not throttle.startswith("20"):
                for q in QUANTITIES:
                    row[f"{label} {throttle} {q}"] = np.expm1(g[q].abs()).groupby(g.table).median().median()
    return row


def write(name: str, table: pd.DataFrame, form: str = "%.4g") -> None:
    table.to_csv(HERE / f"{name}.csv", index=False, float_format=form)
    print(f"--- {name}.csv\n{table.to_string()}", flush=True)


def held(one: Fit) -> Fit:
    """The exponent and its power alone, all other constants as the fit with one exponent finds them.

    With all free the cost is 0.3 less and no constant moves by more than 0.6 of its standard error: they stay.
    """
    c, _ = one.unpack(one.z)
    fixed = {k: v for k, v in c.items() if k not in ("log_throttle_exponent", "tip_power_of_exponent")}
    return Fit(one.rows, fixed).solve()


def rule(one: Fit, fit: Fit) -> pd.DataFrame:
    """The constants that propmodel uses: those of the exponent from ``fit``, the others from ``one``."""
    c = {**one.unpack(one.z)[0], **{k: v for k, v in fit.unpack(fit.z)[0].items() if "exponent" in k}}
    sd = dict(zip(one.common, one.errors(), strict=False)) | dict(zip(fit.common, fit.errors(), strict=False))
    lines = [
        ("motor_constant_2207", np.exp(c["log_motor_constant"]), sd["log_motor_constant"], "N m/sqrt(W)"),
        ("size_exponent", c["size_exponent"], sd["size_exponent"], "-"),
        ("fixed_resistance", np.exp(c["log_fixed_resistance"]), np.nan, "ohm"),
        ("loaded_kv_ratio", np.exp(c["log_loaded_kv"]), sd["log_loaded_kv"], "-"),
        ("loss_torque_scale", np.exp(c["log_loss_torque"]), sd["log_loss_torque"], "N m s/mm^3"),
        ("ripple_coefficient", np.exp(c["log_ripple"]), sd["log_ripple"], "W/V^2"),
        ("throttle_exponent", np.exp(c["log_throttle_exponent"]), sd["log_throttle_exponent"], "-"),
        ("throttle_exponent_tip_power", c["tip_power_of_exponent"], sd["tip_power_of_exponent"], "-"),
        ("multirotor_merit", MERIT_REFERENCE * np.exp(c["log_merit"]), sd["log_merit"], "-"),
        ("mach_knee", one.knee, np.nan, "-"),
        ("mach_rise", c["mach_rise"], sd["mach_rise"], "-"),
    ]
    return pd.DataFrame(lines, columns=["constant", "value", "se (of ln, but for powers and rise)", "unit"])


def effects(fit: Fit) -> pd.DataFrame:
    """Scatter between motors, propellers and stands: as given, and as the fit finds it (with its own doubt)."""
    _, deviations = fit.unpack(fit.z)
    sd, first, out = fit.errors(), len(fit.common), []
    for name, count in fit.counts.items():
        z = fit.z[first : first + count]
        found = fit.scatter[name] * np.sqrt(np.mean(z**2 + sd[first : first + count] ** 2))
        rms = float(np.sqrt(np.mean(deviations[name] ** 2)))
        out.append({"deviation": name, "number": count, "log sd given": fit.scatter[name], "rms": rms, "found": found})
        first += count
    return pd.DataFrame(out)


def by_stand(fit: Fit) -> pd.DataFrame:
    c, d = fit.unpack(fit.z)
    return pd.DataFrame(
        {
            "stand": fit.levels["stand"],
            "rows": [int((fit.rows.stand == s).sum()) for s in fit.levels["stand"]],
            "throttle_exponent": np.exp(c["log_throttle_exponent"] + d["throttle"]),
            "ripple_coefficient": np.exp(c["log_ripple"] + d["ripple"]),
        }
    )


def by_motor(fit: Fit) -> pd.DataFrame:
    _, d = fit.unpack(fit.z)
    t = fit.rows.groupby("motor").first().loc[fit.levels["motor"]]
    size = [f"{a:g} x {b:g}" for a, b in zip(t.d, t.h, strict=True)]
    names = {"stand": t.stand, "stator [mm]": size, "kv [rpm/V]": t.kv}
    f = fit.forecast(*fit.unpack(fit.z))
    ohms = pd.Series(f["fixed"] + f["wound"]).groupby(fit.rows.motor).first().loc[t.index]
    found = {"ln motor constant": d["motor_constant"], "ln loaded KV": d["kv"], "effective [ohm]": ohms}
    told = {"printed winding [ohm]": t.published_winding_ohm, "mass [g]": t.motor_mass_g}
    return pd.DataFrame({**names, **found, **told}).reset_index(drop=True)


def main() -> None:
    rows = read_rows()
    one = Fit(rows, dict(ONE_EXPONENT), scatter=dict(ONE_SCATTER)).solve()
    fit = Fit(rows).solve()
    print("cost: one exponent", one.cost, "all free", fit.cost, "exponent and its power alone", held(one).cost)
    print("all free:", *(f"{k} {c:.4g} +- {s:.2g}" for k, c, s in zip(fit.common, fit.z, fit.errors(), strict=False)))
    write("rule", rule(one, held(one)))
    write("effects", effects(fit), "%.3f")
    write("stands", by_stand(fit), "%.3f")
    write("motors", by_motor(fit), "%.3f")
    if "--quick" in sys.argv:
        return
    before = Fit(rows, fixed=dict(FIXED), knee=0.5)
    tables = {
        "rules before": label_errors(before, BEFORE),
        "in the fit": label_errors(fit, fit.unpack(fit.z)[0]),
        "motor left out": left_out(rows, fit, by="motor"),
        "propeller left out": left_out(rows, fit, by="propeller"),
        "stand left out": left_out(rows, fit, by="stand", bands=True),
        "stand left out, one exponent": left_out(rows, one, by="stand", bands=True),
        "both left out": left_out(rows, fit, by="both", every=3, bands=True),
    }
    write("errors", pd.concat([summary(t).assign(how=k) for k, t in tables.items()]), "%.3f")
    if "--errors" in sys.argv:
        return
    write("forms", try_forms(rows), "%.3f")
    write("forms_by_stand", try_more_forms(rows), "%.3f")


if __name__ == "__main__":
    main()
