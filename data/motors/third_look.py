"""More forms of the joint fit, judged with the whole stand left out: the third look of SOURCE.md.

Run from the checkout: ``python data/motors/third_look.py`` (two minutes). It needs what ``fit_joint.py`` needs, and
the propeller measurements that ``data/propellers/fit_propellers.py`` reads. It writes ``forms_third_look.csv`` and
``label_third_look.csv``. None of these forms is used by propmodel.
"""

from __future__ import annotations

import sys
from functools import lru_cache
from pathlib import Path
from typing import ClassVar

import numpy as np
import pandas as pd

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "propellers")]

import fit_joint as joint  # noqa: E402
import fit_propellers as label  # noqa: E402

LABEL = label.Form("label without bench propellers", "one p p2 b pb d")
FAMILY_SD, PROPELLER_SD = 0.10, 0.10
"""Scatter of ln C_T between families of measured propellers, and within one. [-]"""
WEIGHTS = [f"label_{name}" for name in LABEL.features.split()]
TERMS = {
    # name: start, prior mean, prior sd
    **{name: (0.0, 0.0, 1.0) for name in WEIGHTS},
    "age": (0.0, 0.0, 0.1),
    "large_propeller": (0.0, 0.0, 0.3),
    "three_blades": (0.0, 0.0, 0.2),
    "pitch": (0.0, 0.0, 0.3),
    "kv_power_of_large_motors": (0.0, 0.0, 0.3),
    "volts_power_of_exponent": (0.0, 0.0, 0.3),
    "load_power_of_exponent": (0.0, 0.0, 0.3),
    "drop_power_of_exponent": (0.0, 0.0, 0.3),
}
ABSENT = dict.fromkeys(TERMS, 0.0)


@lru_cache(maxsize=1)
def measured_level() -> tuple[np.ndarray, np.ndarray]:
    """What the wind-tunnel propellers alone say of ln C_T: coefficients, and a root of their covariance."""
    s = label.within(label.read_measurements())
    level, _, _ = label.fit_form(LABEL, s, s.iloc[:0], "ct")
    a, family = label.design(s, LABEL), pd.factorize(s.family)[0]
    noise = PROPELLER_SD**2 * np.eye(len(s)) + FAMILY_SD**2 * (family[:, None] == family)
    ridge = [label.PENALTY.get(name, 0.0) / (PROPELLER_SD**2 + FAMILY_SD**2) for name in LABEL.features.split()]
    return level, np.linalg.cholesky(np.linalg.inv(a.T @ np.linalg.solve(noise, a) + np.diag(ridge)))


class Wider(joint.Fit):
    """The joint fit with terms in what a builder knows; with the label's ln C_T as unknowns where they are free."""

    terms: ClassVar[dict] = {**joint.Fit.terms, **TERMS}

    def __post_init__(self) -> None:
        super().__post_init__()
        a, t = self.a, self.rows
        shown = t.assign(d=t.diameter, p=t.pitch / t.diameter, chord=np.nan, x=0.0, family=t.stand)
        features = label.design(shown[["d", "p", "blades", "chord", "x", "family"]], LABEL)
        level, self.root = measured_level()
        self.features, self.from_tunnel = features, features @ level - a["log_ct"]
        self.free_label = WEIGHTS[0] in self.common
        self.volts = pd.Series(a["volts"]).groupby(t.table.to_numpy()).transform("mean").to_numpy()
        self.drop = full_throttle_drop(self) if "drop_power_of_exponent" in self.common else np.ones(len(t))

    def coefficients(self, c: dict, n: np.ndarray, of: dict) -> tuple[np.ndarray, np.ndarray]:
        a = self.a
        more = c["age"] * (self.rows.group.to_numpy() != "A") + c["three_blades"] * (a["blades"] > 2.5)
        more = more + c["large_propeller"] * np.clip(np.log(a["diameter"] / 5.0) / np.log(7.0 / 5.0), 0.0, 1.0)
        more = more + c["pitch"] * (a["pitch"] / a["diameter"] - 0.7)
        if self.free_label:
            more = more + self.from_tunnel + self.features @ (self.root @ np.array([c[k] for k in WEIGHTS]))
        return super().coefficients(c, n, {**of, "c_t": of["c_t"] + more})

    def motor(self, c: dict, of: dict) -> dict:
        m, a = super().motor(c, of), self.a
        power = c["kv_power_of_large_motors"] * np.maximum(np.log(self.shape), 0.0)
        return {**m, "wound": m["wound"] / (a["kv"] * a["d"] / (1950.0 * 22.0)) ** (2.0 * power)}

    def exponent(self, c: dict, of: dict) -> np.ndarray:
        power = (self.volts / 18.0) ** c["volts_power_of_exponent"]
        power = power * (self.free_tip / 0.9) ** c["load_power_of_exponent"]
        return super().exponent(c, of) * power * (self.drop / 0.3) ** c["drop_power_of_exponent"]


def full_throttle_drop(fit: Wider) -> np.ndarray:
    """Share of the volts that a label forecast loses in the resistance at full throttle."""
    rows = fit.rows.assign(throttle=1.0, volts=fit.volts)
    plain = joint.Fit(rows, {**joint.ONE_EXPONENT})
    nothing = {k: np.zeros(count) for k, count in plain.counts.items()}
    with np.errstate(all="ignore"):
        f = plain.forecast(rule_in_use(), nothing, power=False)
    return np.clip(1.0 - f["n"] * 2 * np.pi * f["k_t"] / fit.volts, 0.02, 0.9)


def rule_in_use() -> dict:
    """The constants of ``rule.csv``."""
    value = pd.read_csv(HERE / "rule.csv").set_index("constant")["value"]
    return {
        **joint.ONE_EXPONENT,
        "log_motor_constant": np.log(value.motor_constant_2207),
        "size_exponent": value.size_exponent,
        "log_loaded_kv": np.log(value.loaded_kv_ratio),
        "log_loss_torque": np.log(value.loss_torque_scale),
        "log_ripple": np.log(value.ripple_coefficient),
        "log_throttle_exponent": np.log(value.throttle_exponent),
        "log_merit": np.log(value.multirotor_merit / joint.MERIT_REFERENCE),
        "mach_rise": value.mach_rise,
    }


FREE_LABEL = dict.fromkeys(WEIGHTS)
AGE, SCALED = {"age": None}, joint.SCALED
KV = {"kv_power_of_motor_constant": None}
FORMS = {
    # name: terms free, scatter
    "chosen": ({}, joint.ONE_SCATTER),
    "thrust scale of each stand": ({}, SCALED),
    "scale, label and sheets fitted together": (FREE_LABEL, SCALED),
    "the same, C_T factor of the multirotor kind": ({**FREE_LABEL, "log_thrust": None}, SCALED),
    "scale, C_T factor, three blades, pitch/diameter": (
        {"log_thrust": None, "three_blades": None, "pitch": None},
        SCALED,
    ),
    "scale, C_T of 7 inch and more": ({"large_propeller": None}, SCALED),
    "scale, C_T of newer propellers (all but stand A)": (AGE, SCALED),
    "scale, label and sheets together, newer propellers": ({**FREE_LABEL, **AGE}, SCALED),
    "scale, motor constant with KV d": (KV, SCALED),
    "scale, motor constant with KV d, newer propellers": ({**KV, **AGE}, SCALED),
    "scale, motor constant of large motors with KV d": ({"kv_power_of_large_motors": None}, SCALED),
    "scale, throttle exponent with volts": ({"volts_power_of_exponent": None}, SCALED),
    "throttle exponent with free tip speed": ({"load_power_of_exponent": None}, joint.ONE_SCATTER),
    "throttle exponent with voltage drop": ({"drop_power_of_exponent": None}, joint.ONE_SCATTER),
    "throttle exponent with both": (
        {"load_power_of_exponent": None, "drop_power_of_exponent": None},
        joint.ONE_SCATTER,
    ),
}
WITHOUT = (("A",), ("sheet 13",), ("sheet 16",), ("A", "sheet 13"))
"""Stands left out to see what a term rests on."""


def form(free: dict) -> dict:
    return {k: v for k, v in {**joint.ONE_EXPONENT, **ABSENT, **free}.items() if v is not None}


def told(fit: Wider) -> str:
    c, sd = fit.unpack(fit.z)[0], dict(zip(fit.common, fit.errors(), strict=False))
    new = [k for k in fit.common if k not in joint.COMMON and k not in WEIGHTS]
    return ", ".join(f"{c[k]:.3g} +- {sd[k]:.2g}" for k in new)


# ---------------------------------------------------------------- the label fit with the sheets' propellers in it
LABEL_FORMS = {
    # name: features, weight of a bench propeller and of a sheet's, whether the sheets are in
    "as used": ("one p p2 b pb d", 3.0, False),
    "with the sheets": ("one p p2 b pb d", 3.0, True),
    "with the sheets, all weigh one": ("one p p2 b pb d", 1.0, True),
    "with the sheets, multirotor kind known": ("one p p2 b pb d kind", 3.0, True),
    "with the sheets, kind and kind x ln D": ("one p p2 b pb d kind kd", 3.0, True),
    "with the sheets, diameter squared": ("one p p2 b pb d d2", 3.0, True),
}


def sheet_propellers(fit: Wider) -> pd.DataFrame:
    """C_T and C_P of the sheets' propellers as the joint fit finds them, as rows for the label fit."""
    c, deviations = fit.unpack(fit.z)
    t = fit.rows.groupby("propeller").first().loc[fit.levels["propeller"]]
    log_ct = t.log_ct + deviations["c_t"]
    merit = np.log(np.sqrt(2 / np.pi)) + 1.5 * t.log_ct - t.log_cp + c["log_merit"] + deviations["merit"]
    new = {"log_ct": log_ct, "log_cp": np.log(np.sqrt(2 / np.pi)) + 1.5 * log_ct - merit, "x": 0.0, "chord": np.nan}
    out = t.assign(**new, family=t.stand, d=t.diameter, p=t.pitch / t.diameter)[t.group == "M"].reset_index()
    return out[["propeller", "family", "d", "p", "blades", "chord", "x", "log_ct", "log_cp"]]


def try_labels(sheets: pd.DataFrame) -> pd.DataFrame:
    """Left-out errors of the label fit for the measured propellers, and its mean error on a stand it has not seen."""
    s, bench = label.within(label.read_measurements()), label.read_bench()
    everyone, plain, out = pd.concat([bench, sheets], ignore_index=True), label.columns, []

    def columns(t: pd.DataFrame) -> dict[str, np.ndarray]:
        kind = t.propeller.astype(str).isin(everyone.propeller).to_numpy(float)
        c = plain(t)
        return {**c, "kind": kind, "kd": kind * c["d"]}

    label.columns = columns
    for name, (features, weight, with_sheets) in LABEL_FORMS.items():
        label.BENCH_WEIGHT = weight
        form, known = label.Form(name, features, bench=True), everyone if with_sheets else bench
        line: dict = {"form": name}
        for which in ("ct", "cp"):
            for by in ("propeller", "family"):
                r = np.abs(label.residuals(form, s, known, which, by))
                line[f"{which} by {by}: median"], line[f"{which} by {by}: 9 in 10"] = np.median(r), np.quantile(r, 0.9)
            mean = []
            for stand, held in sheets.groupby("family"):
                level, slope, _ = label.fit_form(form, s, known[known.family != stand], which)
                mean.append(np.median(label.targets(held, which, slope, True) - label.design(held, form) @ level))
            line[f"{which} of a new sheet: mean"] = np.mean(mean)
            line[f"{which} of a new sheet: se"] = np.std(mean, ddof=1) / np.sqrt(len(mean))
        out.append(line)
    label.columns = plain
    return pd.DataFrame(out)


def try_form(rows: pd.DataFrame, name: str) -> tuple[dict, Wider]:
    """One line of ``forms_third_look.csv``, and the fit; what an exponent's term rests on is printed."""
    free, scatter = FORMS[name]
    fit = Wider(rows, form(free), scatter=dict(scatter)).solve()
    print(name, round(fit.cost, 1), told(fit), flush=True)
    if "exponent" in name:
        for gone in WITHOUT:
            kept = rows[~rows.stand.isin(gone)].reset_index(drop=True)
            few = Wider(kept, form(free), scatter=dict(scatter)).solve()
            print("   without", ", ".join(gone), told(few), flush=True)
    errors = joint.stand_row(joint.left_out(rows, fit, by="stand"))
    return {"form": name, "cost": fit.cost, "value of the term": told(fit), **errors}, fit


def main() -> None:
    rows = joint.read_rows()
    tried = {name: try_form(rows, name) for name in FORMS}
    joint.write("forms_third_look", pd.DataFrame([line for line, _ in tried.values()]), "%.3f")
    sheets = sheet_propellers(tried["thrust scale of each stand"][1])
    joint.write("label_third_look", try_labels(sheets), "%.3f")


if __name__ == "__main__":
    main()
