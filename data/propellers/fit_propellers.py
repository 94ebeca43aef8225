"""Fit the propeller forecast and write the tables of this folder.

Run from the checkout: ``python data/propellers/fit_propellers.py`` (about a minute). It needs the raw measurements
at ``../shared/data`` beside the checkout, or where ``PROPMODEL_SHARED`` points; they are not part of the project.
Writes ``label_fit.json``, ``measured.csv`` and the table of errors ``fit_errors.md``.
"""

from __future__ import annotations

import json
import os
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

HERE = Path(__file__).resolve().parent
INCH = 0.0254
NU = 1.7894e-5 / 1.225  # kinematic viscosity of the standard sea-level air the Reynolds numbers use [m2/s]
RE_REF = 5.0e4
RE_LOW, RE_HIGH = 8.0e3, 1.2e5
BENCH_DENSITY = 1.20  # assumed: the stand's air was not recorded [kg/m3]
BENCH_WEIGHT = 3.0
P_MID = 0.65
P_RANGE = (0.3, 1.2)
CHORD_RANGE = (0.10, 0.28)
D_RANGE_IN = (3.0, 15.0)
BLADES_MAX = 4


# ---------------------------------------------------------------- raw data
def shared() -> Path:
    root = Path(os.environ.get("PROPMODEL_SHARED", HERE.parents[2] / "shared")) / "data"
    if not (root / "propellers" / "measurements.csv").exists():
        sys.exit(f"raw measurements not found at {root}: put them there or set PROPMODEL_SHARED")
    return root


def default_chord(diameter_in):
    """Chord ratio taken for the Reynolds number where none was measured: fit on the propellers that have one."""
    return np.exp(-1.851 - 0.374 * np.log(np.asarray(diameter_in) / 9.0))


def read_measurements() -> pd.DataFrame:
    t = pd.read_csv(shared() / "propellers" / "measurements.csv").rename(
        columns={"diameter_in": "d", "pitch_in": "pitch", "chord75_over_R": "chord", "advance_ratio": "j",
                 "thrust_coefficient": "ct", "power_coefficient": "cp"})
    t["p"] = t.pitch / t.d
    used = t.chord.fillna(pd.Series(default_chord(t.d), index=t.index))
    n, diameter = t.rpm / 60.0, t.d * INCH
    t["x"] = np.log(0.75 * np.pi * n * diameter * used * diameter / 2.0 / NU / RE_REF)
    return t


def read_bench() -> pd.DataFrame:
    """Bench propellers: C_T from rows, C_P from measured torque or full-throttle current over label KV."""
    size = {"a": (22, 5), "b": (18, 6), "c": (22, 6), "d": (22, 4), "e": (22, 5), "f": (22, 6), "g": (22, 6), "h": (18, 4)}
    parts = []
    for path in sorted((shared() / "bench").glob("[ACD]*.csv")):
        if "noprop" in path.name or path.name.startswith("A_b4"):  # b4: another or a flipped propeller
            continue
        words = path.stem.split("_")
        t = pd.read_csv(path)
        kv = next(float(w[:-2]) for w in words if w.endswith("kv"))
        d, pitch, blades = (float(v) for v in next(w for w in words if w.count("x") == 2).split("x"))
        d_s, h_s = size[words[1][0]] if words[0] == "A" else (25, 7)
        t = t[t.rpm > 3000].copy()
        n, diameter = t.rpm / 60.0, d * INCH
        t["ct"] = t.thrust_g * 9.80665e-3 / (BENCH_DENSITY * n**2 * diameter**4)
        iron = 3.5e-9 * d_s**2 * h_s * n  # no-load torque grows with speed [N m]
        torque = t.torque_Nm if t.torque_Nm.notna().any() else (t.current_A * 60 / (2 * np.pi * kv) - iron)
        t["cp"] = 2 * np.pi * torque / (BENCH_DENSITY * n**2 * diameter**5)
        t["torque"] = bool(t.torque_Nm.notna().any())
        t["key"] = "A" + words[1][1:] if words[0] == "A" else words[0][0]  # C1-C4 and D01-D02: one propeller each
        t["motor"] = words[1][0] if words[0] == "A" else words[0] + words[1]
        t["d"], t["p"], t["blades"] = d, pitch / d, blades
        used = default_chord(d)
        t["x"] = np.log(0.75 * np.pi * n * diameter * used * diameter / 2.0 / NU / RE_REF)
        parts.append(t)
    t = pd.concat(parts, ignore_index=True)
    rows = []
    for key, g in t.groupby("key"):
        top = g[g.throttle_pct >= 80]
        power = g[g.throttle_pct >= (60 if g.torque.any() else 99)]
        per_motor = power.groupby("motor").cp.median()
        rows.append({"propeller": "bench " + key, "family": "bench " + key, "d": g.d.iloc[0], "p": g.p.iloc[0],
                     "blades": g.blades.iloc[0], "chord": np.nan, "x": top.x.median(),
                     "log_ct": np.log(top.groupby("motor").ct.median().median()), "log_cp": np.log(per_motor.median()),
                     "motors": len(per_motor)})
    return pd.DataFrame(rows)


# ---------------------------------------------------------------- within one propeller
def within(t: pd.DataFrame) -> pd.DataFrame:
    """Static level and Reynolds slope of each propeller, both in ln, at its own mean Reynolds number."""
    rows = []
    for key, g in t[t.j == 0].groupby("propeller"):
        dx = g.x - g.x.mean()
        a = np.c_[np.ones(len(g)), dx]
        (lt, st), (lp, sp) = (np.linalg.lstsq(a, np.log(g[c]), rcond=None)[0] for c in ("ct", "cp"))
        rt, rp = (np.log(g.ct) - a @ (lt, st)).std(ddof=2), (np.log(g.cp) - a @ (lp, sp)).std(ddof=2)
        f = g.iloc[0]
        rows.append({"propeller": key, "family": f.family, "d": f.d, "p": f.p, "blades": f.blades, "chord": f.chord,
                     "x": g.x.mean(), "x_low": g.x.min(), "x_high": g.x.max(), "log_ct": lt, "slope_ct": st,
                     "log_cp": lp, "slope_cp": sp, "resid_ct": rt, "resid_cp": rp, "sxx": float((dx**2).sum()),
                     "rows": len(g)})
    return pd.DataFrame(rows)


def huber(a, y, weight, penalty, k=1.345, passes=20):
    """Ridge regression with Huber weights (propellers far off the rest count less)."""
    h = np.ones(len(y))
    beta = np.zeros(a.shape[1])
    for _ in range(passes):
        w = weight * h
        beta = np.linalg.solve((a * w[:, None]).T @ a + np.diag(penalty), a.T @ (w * y))
        r = y - a @ beta
        s = max(1.4826 * np.median(np.abs(r)), 1e-3)
        h = np.minimum(1.0, k * s / np.maximum(np.abs(r), 1e-12))
    return beta


def columns(t: pd.DataFrame) -> dict[str, np.ndarray]:
    p = np.clip(t.p.to_numpy(float), *P_RANGE) - P_MID
    b = np.log(np.minimum(t.blades.to_numpy(float), BLADES_MAX) / 2.0)
    d = np.log(np.clip(t.d.to_numpy(float), *D_RANGE_IN) / 9.0)
    known = t.chord.notna().to_numpy()
    c = np.log(np.clip(np.where(known, t.chord, default_chord(t.d)), *CHORD_RANGE) / 0.155)
    return {"one": np.ones(len(t)), "p": p, "p2": p * p, "b": b, "pb": p * b, "d": d, "c": c, "pc": p * c,
            "unknown": (~known).astype(float), "l": t.x.to_numpy(float), "l2": t.x.to_numpy(float) ** 2,
            "pl": p * t.x.to_numpy(float), "c2": c * c, "d2": d * d}


PENALTY = {"pb": 0.3, "pc": 0.2, "c2": 0.2, "d2": 0.3}


@dataclass(frozen=True)
class Form:
    """One way of writing ln C as a sum of features."""

    name: str
    features: str
    bench: bool
    own_slope: bool = True
    known_only: bool = False


LABEL = Form("label", "one p p2 b pb d", bench=True)
CHORD = Form("chord", "one p p2 b c pc d unknown", bench=False)


def slope_fit(s: pd.DataFrame, which: str) -> np.ndarray:
    c = columns(s)
    a = np.c_[c["one"], c["p"], c["d"]]
    return huber(a, s["slope_" + which].to_numpy(), np.ones(len(s)), np.full(3, 1e-6))


def slope_of(t, beta):
    c = columns(t)
    return np.c_[c["one"], c["p"], c["d"]] @ beta


def clip_x(x):
    return np.clip(x, np.log(RE_LOW / RE_REF), np.log(RE_HIGH / RE_REF))


def targets(t, which, beta, own):
    return t["log_" + which].to_numpy() - (slope_of(t, beta) * clip_x(t.x.to_numpy()) if own else 0.0)


def fit_form(form: Form, s, bench, which):
    beta = slope_fit(s, which)
    if form.known_only:
        s = s[s.chord.notna()]
    names = form.features.split()
    a, y, w = np.c_[tuple(columns(s)[n] for n in names)], targets(s, which, beta, form.own_slope), np.ones(len(s))
    if form.bench and len(bench):
        a = np.r_[a, np.c_[tuple(columns(bench)[n] for n in names)]]
        y = np.r_[y, targets(bench, which, beta, form.own_slope)]
        w = np.r_[w, np.full(len(bench), BENCH_WEIGHT)]
    return huber(a, y, w, np.array([PENALTY.get(n, 1e-6) for n in names])), beta


def residuals(form: Form, s, bench, which, groups):
    """Leave-one-group-out residuals ln(measured / forecast) of every propeller of ``s``."""
    out = np.full(len(s), np.nan)
    for g in pd.unique(groups):
        hold = (groups == g).to_numpy()
        beta, slope = fit_form(form, s[~hold], bench, which)
        names = form.features.split()
        held = s[hold]
        out[hold] = targets(held, which, slope, form.own_slope) - np.c_[tuple(columns(held)[n] for n in names)] @ beta
    return out


# ---------------------------------------------------------------- advance ratio
def zero_thrust(t: pd.DataFrame) -> pd.Series:
    """Advance ratio of zero thrust of each propeller: quadratic of J in C_T near the crossing."""
    out = {}
    for key, g in t[t.j > 0].groupby("propeller"):
        top = g.ct.max()
        near = g[(g.ct < 0.45 * top) & (g.ct > -0.4 * top)]
        if len(near) >= 5 and near.ct.min() < 0.12 * top:
            out[key] = np.polyfit(near.ct / top, near.j, 2 if len(near) > 8 else 1)[-1]
    return pd.Series(out, name="j0")


def zero_thrust_features(t):
    lp = np.log(np.clip(t.p.to_numpy(float), 0.2, 1.6) / P_MID)
    c = columns(t)
    return np.c_[c["one"], lp, lp * lp, c["d"], c["b"]]


def basis_ct(x):
    """f = (1 - x)(1 + k1 x + k2 x^2 + k3 x^3): exactly 1 at J = 0 and 0 at zero thrust."""
    return np.c_[x, x**2, x**3] * (1 - x)[:, None], 1 - x


def basis_cp(x):
    """g = 1 + c1 x + ... + c5 x^5."""
    return np.c_[x, x**2, x**3, x**4, x**5], np.ones_like(x)


X_CT = 1.5  # beyond this J/J0 the disc-drag coefficient is held: C_T goes with J^2
X_CP, X_HOLD, X_END = 1.1, 1.5, 2.0  # power ratio: polynomial, held, then down to 0


def advancing(t, s, j0):
    """Rows with J > 0 as ratios to the propeller's own static coefficients at the same speed."""
    a = t[t.j > 0].merge(j0, left_on="propeller", right_index=True)
    a = a.merge(s.set_index("propeller")[["x", "log_ct", "slope_ct", "log_cp", "slope_cp"]].add_prefix("m_"),
                left_on="propeller", right_index=True)
    a["u"] = a.j / a.j0
    a["f"] = a.ct / np.exp(a.m_log_ct + a.m_slope_ct * (a.x - a.m_x))
    a["g"] = a.cp / np.exp(a.m_log_cp + a.m_slope_cp * (a.x - a.m_x))
    return a


def shape_rows(a, which):
    """Medians per propeller and 0.05 of J/J0, so that every propeller counts alike."""
    r = a[a.u < (X_CT if which == "f" else X_CP + 0.05)].assign(bin=lambda q: (q.u / 0.05).round())
    return r.groupby(["propeller", "bin"]).agg(u=("u", "mean"), v=(which, "median"), p=("p", "first"),
                                                d=("d", "first")).reset_index()


def shape_fit(a, which, with_pitch=True):
    r = shape_rows(a, which)
    u, dp = r.u.to_numpy(), np.clip(r.p.to_numpy(), *P_RANGE) - P_MID
    cols, base = (basis_ct if which == "f" else basis_cp)(np.minimum(u, X_CT if which == "f" else X_CP))
    m = cols.shape[1]
    if with_pitch:
        cols = np.c_[cols, cols * dp[:, None]]
    w = np.ones(len(r)) / r.groupby("propeller").u.transform("size").to_numpy() * 20
    beta = huber(cols, r.v.to_numpy() - base, w, np.r_[np.full(m, 1e-6), np.full(cols.shape[1] - m, 0.05)])
    return beta[:m], (beta[m:] if with_pitch else np.zeros(m))


def shape_eval(u, which, k):
    end = X_CT if which == "f" else X_CP
    uc = np.minimum(u, end)
    cols, base = (basis_ct if which == "f" else basis_cp)(uc)
    v = base + np.sum(cols * k, axis=1)
    if which == "f":
        return v * (np.maximum(u, end) / end) ** 2
    return v * np.clip((X_END - u) / (X_END - X_HOLD), 0, 1)


def own_shape(r, which, k, penalty=0.3):
    """One propeller's own polynomial: the common one plus a ridged difference."""
    u = r.u.to_numpy()
    cols, base = (basis_ct if which == "f" else basis_cp)(np.minimum(u, X_CT if which == "f" else X_CP))
    y = r.v.to_numpy() - base - cols @ k
    anchor = np.linspace(1.0, X_CT, 6) if which == "f" else np.linspace(1.0, X_CP, 3)  # windmill side stays common
    far = anchor[anchor > u.max()] if len(u) else anchor
    cols_far = (basis_ct if which == "f" else basis_cp)(far)[0]
    a = np.r_[cols, cols_far]
    y = np.r_[y, np.zeros(len(far))]
    return k + np.linalg.solve(a.T @ a + 0.003 * np.eye(a.shape[1]), a.T @ y)


def round_floats(v, digits=5):
    if isinstance(v, dict):
        return {k: round_floats(x, digits) for k, x in v.items()}
    if isinstance(v, list | tuple | np.ndarray):
        return [round_floats(x, digits) for x in v]
    return round(float(v), digits) if isinstance(v, float | np.floating) else v


# ---------------------------------------------------------------- everything
def main() -> None:
    t = read_measurements()
    s, bench = within(t), read_bench()
    j0 = zero_thrust(t)
    meta = t.drop_duplicates("propeller").set_index("propeller")
    mj = meta.loc[j0.index]
    aj = zero_thrust_features(mj)
    beta_j = huber(aj, np.log(j0.to_numpy()), np.ones(len(j0)), np.full(5, 1e-6))
    adv = advancing(t, s, j0)
    shape = {w: shape_fit(adv, w) for w in "fg"}
    fit = {
        "about": "Made by fit_propellers.py from the UIUC measurements; see SOURCE.md. Logarithms are natural.",
        "reference_reynolds": RE_REF, "reynolds_range": [RE_LOW, RE_HIGH], "pitch_mid": P_MID,
        "pitch_range": list(P_RANGE), "chord_range": list(CHORD_RANGE), "chord_mid": 0.155,
        "diameter_range_m": [v * INCH for v in D_RANGE_IN], "diameter_mid_m": 9 * INCH, "blades_range": [2, BLADES_MAX],
        "default_chord": [-1.851, -0.374],
        "slope": {w: dict(zip(("one", "p", "d"), slope_fit(s, w))) for w in ("ct", "cp")},
        "zero_thrust": dict(zip(("one", "lp", "lp2", "d", "b"), beta_j)),
        "shape": {"f": {"common": shape["f"][0], "pitch": shape["f"][1], "end": X_CT},
                  "g": {"common": shape["g"][0], "pitch": shape["g"][1], "end": X_CP, "hold": X_HOLD, "zero": X_END}},
    }
    for form in (LABEL, CHORD):
        fit[form.name] = {w: dict(zip(form.features.split(), fit_form(form, s, bench, w)[0])) for w in ("ct", "cp")}
        fit[form.name]["ct"].pop("unknown", None)
        fit[form.name]["cp"].pop("unknown", None)
    (HERE / "label_fit.json").write_text(json.dumps(round_floats(fit), indent=1) + "\n")

    rows = []
    shapes = {w: shape_rows(adv, w) for w in "fg"}
    by_name = s.set_index("propeller")
    for key, m in meta.iterrows():
        one = meta.loc[[key]]
        dp = float(np.clip(m.p, *P_RANGE) - P_MID)
        prior = {w: float(slope_of(one, slope_fit(s, w))[0]) for w in ("ct", "cp")}
        row = {"propeller": key, "family": m.family, "diameter [m]": m.d * INCH, "pitch [m]": m.pitch * INCH,
               "blades [-]": int(m.blades), "chord_ratio [-]": m.chord}
        g = t[t.propeller == key]
        if key in by_name.index:
            b = by_name.loc[key]
            for w in ("ct", "cp"):
                noise = max(b["resid_" + w], 0.01) ** 2 * 3  # neighbours in one run share their error
                k = 0.07**2 / (0.07**2 + noise / b.sxx)
                slope = prior[w] + k * (b["slope_" + w] - prior[w])
                row[w] = (b["log_" + w] - slope * b.x, slope, max(0.02, b["resid_" + w]))
            row["static_rows [-]"] = int(b.rows)
            row["reynolds_low [-]"], row["reynolds_high [-]"] = (RE_REF * np.exp(v) for v in (b.x_low, b.x_high))
        else:  # no static row: carry the advancing rows back to J = 0 along the common shape
            u = (g.j / j0[key]).to_numpy()
            near = (u < 0.6) | (u < np.quantile(u, 0.5))
            for w, c, n in (("f", "ct", "ct"), ("g", "cp", "cp")):
                r = shape_eval(u, w, shape[w][0] + shape[w][1] * dp)
                v = np.log(g[c].to_numpy() / r)[near] - prior[n] * g.x.to_numpy()[near]
                row[n] = (float(np.median(v)), prior[n], 0.08)
            row["static_rows [-]"] = 0
            row["reynolds_low [-]"], row["reynolds_high [-]"] = (RE_REF * np.exp(v) for v in (g.x.min(), g.x.max()))
        row["zero_thrust_advance_ratio [-]"] = j0[key]
        gu = (g.j[g.j > 0] / j0[key]).to_numpy()
        for w, c in (("f", "ct"), ("g", "cp")):
            k = shape[w][0] + shape[w][1] * dp
            own = shapes[w][shapes[w].propeller == key]
            if len(own) >= 6:
                k = own_shape(own, w, k)
            for i, v in enumerate(k):
                row[f"{c}_shape_{i + 1} [-]"] = v
            static = np.exp(row[c][0] + row[c][1] * g.x[g.j > 0].to_numpy())
            e = shape_eval(gu, w, k) - g[c][g.j > 0].to_numpy() / static
            row[f"{c}_shape_error [-]"] = float(np.median(np.abs(e)))
        for c in ("ct", "cp"):
            lv, sl, sd = row.pop(c)
            row[f"log_{c} [-]"], row[f"{c}_slope [-]"], row[f"log_sd_{c} [-]"] = lv, sl, sd
        rows.append(row)
    out = pd.DataFrame(rows)
    out.to_csv(HERE / "measured.csv", index=False, float_format="%.5g")
    print(f"wrote label_fit.json and measured.csv ({len(out)} propellers)")


if __name__ == "__main__":
    main()
