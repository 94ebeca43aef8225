"""Fit the rule "stator size and KV to effective resistance" and write the tables of this folder.

Run from the checkout: ``python data/motors/fit_motors.py`` (seconds). It needs the raw bench tables at
``../shared/data/bench`` beside the checkout, or where ``PROPMODEL_SHARED`` points; they are not part of the
project. Writes ``motors.csv`` (what each motor says by itself), ``rule.csv`` (the constants that
``propmodel/motor.py`` uses), ``forms.csv`` (leave-one-motor-out errors of the forms tried), ``left_out.csv``
(the same by motor, for the form chosen) and ``ripple.csv`` (power missing at part throttle).
"""

from __future__ import annotations

import os
import re
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

HERE = Path(__file__).resolve().parent
SIZES = {"a": (22, 5), "b": (18, 6), "c": (22, 6), "d": (22, 4), "e": (22, 5), "f": (22, 6), "g": (22, 6)}
SIZES |= {"h": (18, 4), "D": (25, 7)}
"""Stators of sets A and D, from their index. [mm]"""
FLIPPED = ("A_b4",)  # that propeller is another one or upside down
NO_PROPELLER = ("D03", "D04")
IRON = 3.5e-9
"""Loss torque per rev/s over d^2 h; from the no-propeller tables, see ``loss_torque``. [N m s/mm^3]"""
SIZE_OF_2507 = 25 * 25 * 7.0
"""Taken for the loss torque of set C, whose stators are not stated. [mm^3]"""
BEYOND_20_A = 2.0
"""Weight of a motor measured beyond 20 A against one of set A."""
REFERENCE = (22.0, 7.0)
CHOSEN = {"ratio": 0.93, "exponent": 0.85}


def shared() -> Path:
    root = Path(os.environ.get("PROPMODEL_SHARED", HERE.parents[2] / "shared")) / "data" / "bench"
    if not root.is_dir():
        sys.exit(f"raw bench tables not found at {root}: put them there or set PROPMODEL_SHARED")
    return root


def read_tables() -> dict[str, pd.DataFrame]:
    """All tables of sets A, C and D: name -> rows, with rev/s and duty added."""
    out = {}
    for path in sorted(shared().glob("[ACD]*.csv")):
        t = pd.read_csv(path)
        t["n"] = t.rpm / 60.0
        t["duty"] = t.throttle_pct / 100.0
        out[path.stem] = t
    return out


def label(name: str) -> dict:
    """Motor, propeller and stator of a table, from its file name."""
    words = name.split("_")
    motor = {"A": words[1][0], "C": words[0], "D": "D"}[name[0]]
    d, h = SIZES.get(motor, (np.nan, np.nan))
    kv = float(re.search(r"_(\d+)kv", name).group(1))
    propeller = "A" + words[1][1:] if name[0] == "A" else name[0]
    return {"set": name[0], "motor": motor, "d": d, "h": h, "kv": kv, "propeller": propeller}


def full_rows(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Full throttle of each table at its measured voltage; duty is 1 at 100 % even where the supply limits.

    Table C4 stops at 95 %: its row is used at 0.95 of the voltage. C2 and C3 top out early and are left out.
    """
    rows = []
    for name, t in tables.items():
        if name.startswith((*FLIPPED, *NO_PROPELLER, "C2", "C3")):
            continue
        r = t.iloc[-1]
        row = {
            "table": name,
            **label(name),
            "volts": r.voltage_V * r.duty,
            "amps": r.current_A / r.duty,
            "n": r.n,
        }
        limited = name[0] == "A" and r.current_A > 10.85
        rows.append({**row, "thrust": r.thrust_g * 9.80665e-3, "torque": r.torque_Nm, "limited": limited})
    return pd.DataFrame(rows)


def loss_torque(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Loss torque per rev/s over d^2 h, and no-load speed over label KV x V: the no-propeller tables."""
    rows = []
    for name, t in tables.items():
        if name.startswith(NO_PROPELLER):
            m, r = label(name), t.iloc[-1]
            scale = 60 / (2 * np.pi * m["kv"]) * r.current_A / r.n / (m["d"] ** 2 * m["h"])
            ratio = r.rpm / r.voltage_V / m["kv"]
            rows.append({"table": name[:3], "q/(d^2 h)": scale, "rpm/(KV V)": ratio})
    return pd.DataFrame(rows)


# ---------------------------------------------------------------- what each motor says by itself
def per_motor(rows: pd.DataFrame) -> pd.DataFrame:
    """Loaded KV over label KV, and the resistance at either.

    The ratio comes from measured torque where there is one, else from V = a n + R I over the propellers.
    """
    out = []
    for m, g in rows.groupby("motor", sort=False):
        volts_per_rev = 60.0 / g.kv
        d, h = g.d.iloc[0], g.h.iloc[0]
        label_r = np.median((g.volts - volts_per_rev * g.n) / g.amps)
        if g.torque.notna().any():
            iron = IRON * (SIZE_OF_2507 if np.isnan(d) else d * d * h) * g.n
            ratio = float(np.mean(volts_per_rev / (2 * np.pi) * g.amps / (g.torque + iron)))
            own_r = float(np.median((g.volts - volts_per_rev / ratio * g.n) / g.amps))
            source = "torque"
        else:
            a = np.c_[volts_per_rev * g.n, g.amps]
            slope, own_r = np.linalg.lstsq(a, g.volts, rcond=None)[0]
            ratio, source = 1.0 / slope, "voltage"
        out.append(
            {
                "motor": m,
                "set": g.set.iloc[0],
                "stator_diameter [mm]": d,
                "stator_height [mm]": h,
                "kv [rpm/V]": g.kv.iloc[0],
                "tables [-]": len(g),
                "highest_current [A]": g.amps.max(),
                "resistance_at_label_kv [ohm]": label_r,
                "loaded_kv_ratio [-]": ratio,
                "ratio_from": source,
                "resistance_at_own_kv [ohm]": own_r,
            }
        )
    return pd.DataFrame(out)


# ---------------------------------------------------------------- the rule
@dataclass(frozen=True)
class Rule:
    """K_m = scale x shape(d, h)^exponent with the loaded KV; optional constant drop and resistance."""

    form: str = "copper"
    ratio: float = 1.0
    exponent: float = 1.0
    end_turns: float = 0.4
    volts: float = 0.0
    ohms: float = 0.0

    def shape(self, d, h):
        if self.form == "volume":
            return (d * d * h) ** self.exponent
        return (d * d * h / np.sqrt(h + self.end_turns * d)) ** self.exponent

    def constants(self, kv):
        """V per rev/s and torque constant under load."""
        volts_per_rev = 60.0 / (np.asarray(kv, float) * self.ratio)
        return volts_per_rev, volts_per_rev / (2 * np.pi)

    def logs(self, rows: pd.DataFrame) -> pd.DataFrame:
        """K_m and size of each motor with a stated stator, and its weight."""
        out = []
        for m, g in rows[rows.d.notna()].groupby("motor", sort=False):
            e, k_t = self.constants(g.kv)
            r = max(np.median((g.volts - self.volts - e * g.n) / g.amps) - self.ohms, 0.02)
            size = self.shape(g.d.iloc[0], g.h.iloc[0])
            weight = BEYOND_20_A if g.amps.max() > 20 else 1.0
            out.append({"motor": m, "size": size, "k_m": k_t[0] / np.sqrt(r), "weight": weight})
        table = pd.DataFrame(out)
        table["log"] = np.log(table.k_m / table["size"])
        return table

    def scale(self, rows: pd.DataFrame) -> float:
        g = self.logs(rows)
        return float(np.exp(np.average(g["log"], weights=g.weight)))

    def scatter(self, rows: pd.DataFrame) -> float:
        g = self.logs(rows)
        r = g["log"] - np.average(g["log"], weights=g.weight)
        return float(np.sqrt((r * r).sum() / (len(g) - 1)))

    def resistance(self, scale, *, d, h, kv):
        return (self.constants(kv)[1] / (scale * self.shape(d, h))) ** 2 + self.ohms

    def solve(self, scale, *, d, h, kv, volts, load):
        """Full throttle with the load torque ``load`` n^2: explicit, a quadratic in n."""
        e, k_t = self.constants(kv)
        r = self.resistance(scale, d=d, h=h, kv=kv)
        iron = IRON * d * d * h
        a, b, c = r * load / k_t, e + r * iron / k_t, volts - self.volts
        n = 2 * c / (b + np.sqrt(b * b + 4 * a * c))
        return n, (load * n + iron) * n / k_t


def loads(rows: pd.DataFrame, motors: pd.DataFrame) -> pd.Series:
    """Torque over n^2 of each table's propeller: measured, or implied by the *other* motors that had it."""
    own = rows.motor.map(motors.set_index("motor")["loaded_kv_ratio [-]"])
    k_t = 60.0 / (2 * np.pi * rows.kv * own)
    each = (rows.amps * k_t - IRON * rows.d**2 * rows.h * rows.n) / rows.n**2
    out = rows.torque / rows.n**2
    for i, r in rows[rows.torque.isna()].iterrows():
        out[i] = each[(rows.propeller == r.propeller) & (rows.motor != r.motor)].median()
    return out


def mean_ratio(motors: pd.DataFrame) -> tuple[float, float]:
    """Weighted geometric mean of loaded KV over label KV, and its log sd between motors."""
    weight = np.where(motors["highest_current [A]"] > 20, BEYOND_20_A, 1.0)
    log_ratio = np.log(motors["loaded_kv_ratio [-]"])
    mean = np.average(log_ratio, weights=weight)
    sd = np.sqrt(np.average((log_ratio - mean) ** 2, weights=weight))
    return float(np.exp(mean)), float(sd)


def left_out(rule: Rule, rows: pd.DataFrame, motors: pd.DataFrame | None = None) -> pd.DataFrame:
    """ln(forecast/measured) of speed and current with the motor left out; motors with a stated stator.

    With ``motors`` the loaded KV ratio too is that of the other motors.
    """
    out = rows[rows.d.notna()].copy()
    for m, g in out.groupby("motor"):
        if motors is not None:
            rule = replace(rule, ratio=mean_ratio(motors[motors.motor != m])[0])
        scale = rule.scale(out[out.motor != m])
        n, amps = rule.solve(scale, d=g.d, h=g.h, kv=g.kv, volts=g.volts, load=g.load)
        out.loc[g.index, "log_n"] = np.log(n / g.n)
        out.loc[g.index, "log_amps"] = np.log(amps / g.amps)
    return out


def score(name: str, rule: Rule, rows: pd.DataFrame, motors: pd.DataFrame | None = None) -> dict:
    o = left_out(rule, rows, motors)
    by = o.groupby("motor")[["log_n", "log_amps"]].mean()
    d = o[o.motor == "D"]
    return {
        "form": name,
        "sd ln K_m": rule.scatter(rows),
        "median rpm": o.log_n.abs().median(),
        "median thrust": 2 * o.log_n.abs().median(),
        "median current": o.log_amps.abs().median(),
        "rms of motors, rpm": np.sqrt((by.log_n**2).mean()),
        "rms of motors, current": np.sqrt((by.log_amps**2).mean()),
        "bias rpm": by.log_n.mean(),
        "bias current": by.log_amps.mean(),
        "2507 rpm": d.log_n.mean(),
        "2507 current": d.log_amps.mean(),
        "4114 of 400 rpm/V [ohm]": rule.resistance(rule.scale(rows), d=41.0, h=14.0, kv=400.0),
    }


def forms(rows: pd.DataFrame, motors: pd.DataFrame) -> pd.DataFrame:
    """Errors of the forms tried. x stands for d^2 h/sqrt(h + 0.4 d)."""
    tried = {
        "d^2 h": Rule("volume"),
        "(d^2 h)^0.63": Rule("volume", exponent=0.63),
        "x": Rule(),
        "x with 0.2 d": Rule(end_turns=0.2),
        "x with 0.8 d": Rule(end_turns=0.8),
        "x and 0.6 V": Rule(volts=0.6),
        "x and 0.03 ohm": Rule(ohms=0.03),
        "x^0.85": Rule(exponent=0.85),
        "x^0.7": Rule(exponent=0.7),
    }
    for ratio in (0.96, 0.93, 0.90):
        tried[f"d^2 h; loaded KV {ratio}"] = Rule("volume", ratio)
        for power in (1.0, 0.85, 0.7):
            tried[f"x^{power}; loaded KV {ratio}"] = Rule(ratio=ratio, exponent=power)
    out = [score(name, rule, rows) for name, rule in tried.items()]
    for power in (1.0, 0.85, 0.7):
        name = f"x^{power}; loaded KV of the other motors"
        out.append(score(name, Rule(ratio=mean_ratio(motors)[0], exponent=power), rows, motors))
    return pd.DataFrame(out)


def exponent(rows: pd.DataFrame, ratio: float) -> tuple[float, float]:
    """Slope of ln K_m on ln x over motors, and its standard error."""
    g = Rule(ratio=ratio).logs(rows)
    x = np.log(g["size"]) - np.log(g["size"]).mean()
    y = np.log(g.k_m) - np.log(g.k_m).mean()
    slope = (x * y).sum() / (x * x).sum()
    r = y - slope * x
    return float(slope), float(np.sqrt((r * r).sum() / (len(g) - 2) / (x * x).sum()))


# ---------------------------------------------------------------- part throttle
def ripple(tables: dict[str, pd.DataFrame], ratio: float) -> pd.DataFrame:
    """Input power that average duty leaves unexplained, over V^2 [d(1-d)]^2, between duty 0.15 and 0.60."""
    out = []
    for name, t in tables.items():
        if not name.startswith(("C", "D01", "D02")):
            continue
        kv, iron = label(name)["kv"], IRON * SIZE_OF_2507
        # C2 and C3 never reach full throttle: same motor as C4, whose resistance they take
        full = tables[next(k for k in tables if k.startswith("C4"))] if name.startswith(("C2", "C3")) else t
        f = full.iloc[-1]
        row: dict = {"table": name.split("_")[0]}
        for how, e in (("label KV", 1.0), ("loaded KV", ratio)):
            k_t = 60 / (2 * np.pi * kv * e)
            full_amps = (f.torque_Nm + iron * f.n) / k_t
            r = (f.duty * f.voltage_V - 2 * np.pi * k_t * f.n) / full_amps
            amps = (t.torque_Nm + iron * t.n) / k_t
            volts = 2 * np.pi * k_t * t.n + r * amps
            d = volts / t.voltage_V
            k = (t.voltage_V * t.current_A - volts * amps - 0.5) / (t.voltage_V * d * (1 - d)) ** 2
            inside = (d > 0.15) & (d < 0.60)
            row |= {f"{how}: median [W/V^2]": k[inside].median(), f"{how}: lowest": k[inside].min()}
            row |= {f"{how}: highest": k[inside].max()}
        out.append(row)
    return pd.DataFrame(out)


def prepared() -> tuple[dict[str, pd.DataFrame], pd.DataFrame, pd.DataFrame]:
    """Tables, full-throttle rows with their loads, and what each motor says."""
    tables = read_tables()
    rows = full_rows(tables)
    motors = per_motor(rows)
    rows["load"] = loads(rows, motors)
    return tables, rows, motors


def main() -> None:
    tables, rows, motors = prepared()
    mean, sd = mean_ratio(motors)
    rule = Rule(**CHOSEN)
    scale = rule.scale(rows)
    slope, error = exponent(rows, CHOSEN["ratio"])
    iron = loss_torque(tables)
    constants = [
        ("motor_constant_2207", scale * rule.shape(*REFERENCE), "N m/sqrt(W)", "K_m of a 22 x 7 mm stator"),
        ("size_exponent", rule.exponent, "-", f"chosen; over motors {slope:.2f} +- {error:.2f}; theory 1"),
        ("end_turn_share", rule.end_turns, "-", "chosen; errors are flat from 0.2 to 0.8"),
        ("loaded_kv_ratio", rule.ratio, "-", f"chosen; weighted mean over 11 motors {mean:.3f}"),
        ("loaded_kv_log_sd", sd, "-", "between those motors"),
        ("motor_constant_log_sd", rule.scatter(rows), "-", "between motors"),
        ("iron_torque_scale", float(iron["q/(d^2 h)"].mean()), "N m s/mm^3", "loss torque per rev/s"),
    ]
    out = {
        "rule": (pd.DataFrame(constants, columns=["constant", "value", "unit", "note"]), "%.4g"),
        "forms": (forms(rows, motors), "%.3f"),
        "ripple": (ripple(tables, rule.ratio), "%.2f"),
    }
    stated = motors["stator_diameter [mm]"].notna()
    m = motors[stated]
    size = {"d": m["stator_diameter [mm]"], "h": m["stator_height [mm]"], "kv": m["kv [rpm/V]"]}
    motors.loc[stated, "resistance_by_rule [ohm]"] = rule.resistance(scale, **size)
    out["motors"] = (motors, "%.4g")
    o = left_out(rule, rows).groupby("motor")
    by = pd.DataFrame({"tables [-]": o.size(), "ln rpm": o.log_n.mean(), "ln current": o.log_amps.mean()})
    out["left_out"] = (by.reset_index(), "%.3f")
    for name, (table, form) in out.items():
        table.to_csv(HERE / f"{name}.csv", index=False, float_format=form)
        print(f"--- {name}.csv\n{table.to_string()}")
    print(iron.to_string())


if __name__ == "__main__":
    main()
