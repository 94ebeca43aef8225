"""Fit the propeller forecast and write the tables of this folder.

Run from the checkout: ``python data/propellers/fit_propellers.py`` (three to five minutes). It needs the raw
measurements at ``../shared/data`` beside the checkout, or where ``PROPMODEL_SHARED`` points; they are not
part of the project. Writes ``label_fit.json``, ``measured.csv`` and the tables of errors inside
``SOURCE.md``.

Longer than others because it is one run from the raw files to the tables: each step takes what the one before made.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.interpolate import RegularGridInterpolator

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
LOCAL_D_RANGE_IN = (2.5, 16.0)
BLADES_MAX = 4


# ---------------------------------------------------------------- raw data
def shared() -> Path:
    root = Path(os.environ.get("PROPMODEL_SHARED", HERE.parents[2] / "shared")) / "data"
    if not (root / "propellers" / "measurements.csv").exists():
        sys.exit(f"raw measurements not found at {root}: put them there or set PROPMODEL_SHARED")
    return root


def default_chord(diameter_in):
    """Chord ratio for the Reynolds number where none was measured: the trend of those that have one."""
    return np.exp(-1.851 - 0.374 * np.log(np.asarray(diameter_in) / 9.0))


def read_measurements() -> pd.DataFrame:
    t = pd.read_csv(shared() / "propellers" / "measurements.csv").rename(
        columns={
            "diameter_in": "d",
            "pitch_in": "pitch",
            "chord75_over_R": "chord",
            "advance_ratio": "j",
            "thrust_coefficient": "ct",
            "power_coefficient": "cp",
        }
    )
    t["p"] = t.pitch / t.d
    used = t.chord.fillna(pd.Series(default_chord(t.d), index=t.index))
    n, diameter = t.rpm / 60.0, t.d * INCH
    t["x"] = np.log(0.75 * np.pi * n * diameter * used * diameter / 2.0 / NU / RE_REF)
    return t


def read_bench() -> pd.DataFrame:
    """Bench propellers: C_T from rows, C_P from measured torque or full-throttle current over label KV."""
    size = {
        "a": (22, 5),
        "b": (18, 6),
        "c": (22, 6),
        "d": (22, 4),
        "e": (22, 5),
        "f": (22, 6),
        "g": (22, 6),
        "h": (18, 4),
    }
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
        rows.append(
            {
                "propeller": "bench " + key,
                "family": "bench " + key,
                "d": g.d.iloc[0],
                "p": g.p.iloc[0],
                "blades": g.blades.iloc[0],
                "chord": np.nan,
                "x": top.x.median(),
                "log_ct": np.log(top.groupby("motor").ct.median().median()),
                "log_cp": np.log(per_motor.median()),
                "motors": len(per_motor),
            }
        )
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
        rows.append(
            {
                "propeller": key,
                "family": f.family,
                "d": f.d,
                "p": f.p,
                "blades": f.blades,
                "chord": f.chord,
                "x": g.x.mean(),
                "x_low": g.x.min(),
                "x_high": g.x.max(),
                "log_ct": lt,
                "slope_ct": st,
                "log_cp": lp,
                "slope_cp": sp,
                "resid_ct": rt,
                "resid_cp": rp,
                "sxx": float((dx**2).sum()),
                "rows": len(g),
            }
        )
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
    return {
        "one": np.ones(len(t)),
        "p": p,
        "p2": p * p,
        "b": b,
        "pb": p * b,
        "d": d,
        "c": c,
        "pc": p * c,
        "unknown": (~known).astype(float),
        "l": t.x.to_numpy(float),
        "l2": t.x.to_numpy(float) ** 2,
        "pl": p * t.x.to_numpy(float),
        "c2": c * c,
        "d2": d * d,
        "pd": p * d,
        "slow": t.family.isin(SLOW_FLY).to_numpy(float),
    }


SLOW_FLY = ("apcsf", "gwssf")  # families sold for slow flight; only to see what knowing the kind would give
PENALTY = {"pb": 0.3, "pc": 0.2, "c2": 0.2, "d2": 0.3, "pd": 0.3}  # ridge, on the scale of one propeller = 1


@dataclass(frozen=True)
class Form:
    """One way of writing ln C as a sum of features."""

    name: str
    features: str
    bench: bool = False  # bench propellers count as propellers
    within: bool = True  # Reynolds slope from within propellers, not a feature of its own
    known_only: bool = False  # fitted on blades of known chord alone
    local: tuple[str, ...] = ()  # coefficients that get the local correction
    local_in: str = "chord"  # the local correction's first coordinate beside diameter: chord or p
    family_power: float = 0.0  # a propeller weighs (propellers of its family)^-power
    reach: float = 0.15  # of the local correction in its first coordinate
    rising: bool = True  # the local correction may not let the coefficient fall with chord


LABEL = Form("label", "one p p2 b pb d", bench=True)
CHORD = Form("chord", "one p p2 b c d", known_only=True, local=("cp",))
LABEL_TRIED = [
    Form("as first designed: free ln Re, its square", "one p p2 l l2 pl b", within=False),
    Form("same, with bench propellers", "one p p2 l l2 pl b pb", bench=True, within=False),
    Form("slopes from within, no size", "one p p2 b", bench=True),
    Form("same, p ln(B/2)", "one p p2 b pb", bench=True),
    Form("diameter, no bench propellers", "one p p2 b pb d"),
    Form("diameter, straight in p", "one p b pb d", bench=True),
    Form("diameter squared", "one p p2 b pb d d2", bench=True),
    Form("p ln(D)", "one p p2 b pb d pd", bench=True),
    Form("families weigh as the root of their size", "one p p2 b pb d", bench=True, family_power=0.5),
    Form("every family weighs one", "one p p2 b pb d", bench=True, family_power=1.0),
    Form("local correction in p and diameter", "one p p2 b pb d", bench=True, local=("ct", "cp"), local_in="p"),
    Form("slow-flight kind known", "one p p2 b pb d slow", bench=True),
    LABEL,
]
CHORD_TRIED = [
    Form("as first designed: free ln Re, unknown flag", "one p p2 l l2 pl b c unknown", within=False),
    Form("slopes from within, unknown chords filled", "one p p2 b c unknown"),
    Form("same, diameter, p ln c", "one p p2 b c pc d unknown"),
    Form("known chords only", "one p p2 b c", known_only=True),
    Form("known chords only, diameter", "one p p2 b c d", known_only=True),
    Form("same, squares and crosses", "one p p2 b c c2 pc d", known_only=True),
    Form("local correction on both", "one p p2 b c d", known_only=True, local=("ct", "cp")),
    Form(
        "local correction of reach 0.10, may fall",
        "one p p2 b c d",
        known_only=True,
        local=("cp",),
        reach=0.10,
        rising=False,
    ),
    Form("local correction of reach 0.20", "one p p2 b c d", known_only=True, local=("cp",), reach=0.20),
    CHORD,
]


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


LOCAL_REACH_D = 0.35  # reach of the local correction in ln diameter
LOCAL_SD = LOCAL_NOISE = 0.10
LOCAL_LIMIT = 0.3  # a propeller further off than this counts as if at this distance
LOCAL_STEPS = (24, 12)
LEAST_CHORD_SLOPE = 0.3  # d ln C / d ln c at a given Re; above the 0.1 that C_P can lose by the Re that grows with c


def local_axes(form):
    """Even steps of the local correction: ln chord (or p), and ln of the diameter in inch."""
    first = np.log(CHORD_RANGE) if form.local_in == "chord" else P_RANGE
    return np.linspace(*first, LOCAL_STEPS[0]), np.linspace(*np.log(LOCAL_D_RANGE_IN), LOCAL_STEPS[1])


def place(t, form):
    """Where a blade sits for the local correction."""
    first = np.log(t.chord.to_numpy(float)) if form.local_in == "chord" else t.p.to_numpy(float)
    axes = local_axes(form)
    return np.c_[
        tuple(np.clip(v, a[0], a[-1]) for v, a in zip((first, np.log(t.d.to_numpy(float))), axes, strict=True))
    ]


def kernel(a, b, reach):
    z = (a[:, None, :] - b[None, :, :]) / np.array([reach, LOCAL_REACH_D])
    return LOCAL_SD**2 * np.exp(-0.5 * (z**2).sum(axis=2))


def rising(y):
    """Nearest series that never falls (pooling of adjacent violators)."""
    level, count = [], []
    for v in y:
        level.append(float(v))
        count.append(1)
        while len(level) > 1 and level[-2] > level[-1]:
            n = count[-2] + count[-1]
            level[-2] = (level[-2] * count[-2] + level[-1] * count[-1]) / n
            count[-2] = n
            level.pop(), count.pop()
    return np.repeat(level, count)


def local_table(t, residual, form, chord_slope):
    """Gaussian-process mean of the residuals: what measured blades near in chord (or p) and diameter showed.

    In chord, level and correction together rise at least with ``LEAST_CHORD_SLOPE``: a wider blade of one label
    never takes less power.
    """
    z, axes = place(t, form), local_axes(form)
    weights = np.linalg.solve(
        kernel(z, z, form.reach) + LOCAL_NOISE**2 * np.eye(len(z)), np.clip(residual, -LOCAL_LIMIT, LOCAL_LIMIT)
    )
    at = np.c_[tuple(v.ravel() for v in np.meshgrid(*axes, indexing="ij"))]
    table = (kernel(at, z, form.reach) @ weights).reshape(LOCAL_STEPS)
    if form.local_in == "chord" and form.rising:
        free = (chord_slope - LEAST_CHORD_SLOPE) * axes[0]
        table = np.c_[tuple(rising(column + free) - free for column in table.T)]
    return table


def local_value(t, form, table):
    return RegularGridInterpolator(local_axes(form), table)(place(t, form))


def design(t, form):
    c = columns(t)
    return np.c_[tuple(c[n] for n in form.features.split())]


def fit_form(form: Form, s, bench, which):
    """Coefficients, Reynolds slopes and table of the local correction."""
    slope = slope_fit(s, which)
    if form.known_only:
        s = s[s.chord.notna()]
    a, y = design(s, form), targets(s, which, slope, form.within)
    size = s.groupby("family").family.transform("size").to_numpy(float)
    w = (size / np.median(size)) ** -form.family_power
    if form.bench:
        a = np.r_[a, design(bench, form)]
        y = np.r_[y, targets(bench, which, slope, form.within)]
        w = np.r_[w, np.full(len(bench), BENCH_WEIGHT)]
    names = form.features.split()
    beta = huber(a, y, w, np.array([PENALTY.get(n, 1e-6) for n in names]))
    local = None
    if which in form.local:
        chord_slope = beta[names.index("c")] if "c" in names else 0.0
        local = local_table(s, (y - a @ beta)[: len(s)], form, chord_slope)
    return beta, slope, local


def left_out(form: Form, s, bench, which, hold, seen=None):
    """Residuals ln(measured / forecast) of the propellers ``hold``, fitted without them.

    ``seen``: the chord a forecast is given, where it is not the measured one.
    """
    held = s[hold]
    beta, slope, local = fit_form(form, s[~hold], bench, which)
    shown = held if seen is None else held.assign(chord=seen[hold])
    out = targets(held, which, slope, form.within) - design(shown, form) @ beta
    if local is not None:
        known = held.chord.notna().to_numpy() | (form.local_in != "chord")
        out[known] -= local_value(shown[known], form, local)
    return out


def residuals(form: Form, s, bench, which, by, seen=None):
    """Leave-one-group-out residuals of every propeller of ``s``."""
    out = np.full(len(s), np.nan)
    for g in pd.unique(s[by]):
        hold = (s[by] == g).to_numpy()
        if not (form.known_only and s[hold].chord.isna().all()):
            out[hold] = left_out(form, s, bench, which, hold, seen)
    return out


def q80(r):
    """Standard deviation that a normal error with this 80th percentile would have."""
    return float(np.quantile(np.abs(r), 0.8) / 1.2816)


def error_table(forms, s, bench, keep) -> list[str]:
    rows = []
    for form in forms:
        cells = []
        for which in ("ct", "cp"):
            for by in ("propeller", "family"):
                r = residuals(form, s, bench, which, by)[keep]
                cells += [f"{np.median(np.abs(r)):.3f}", f"{q80(r):.3f}", f"{np.quantile(np.abs(r), 0.9):.3f}"]
        chosen = "**" if form in (LABEL, CHORD) else ""
        rows.append(f"| {chosen}{form.name}{chosen} | `{form.features}` | " + " | ".join(cells) + " |")
    return rows


# ---------------------------------------------------------------- spread
FM_CEILING, FM_KNEE, FM_ROOM = 0.85, 0.75, 0.07


def merit(log_ct, log_cp):
    """Static figure of merit with the smooth cap of the forecast."""
    fm = np.sqrt(2 / np.pi) * np.exp(1.5 * log_ct - log_cp)
    over = np.maximum((fm - FM_KNEE) / FM_ROOM, 0)
    return np.minimum(fm, FM_KNEE) + FM_ROOM * over / np.sqrt(1 + over**2)


def logit(fm):
    return np.log(fm / (FM_CEILING - fm))


RAMP_D_IN, RAMP_P = (5.2, 6.5), (0.45, 0.50)  # wide below the first, narrow above the second


def wide_share(t):
    d = np.clip((RAMP_D_IN[1] - t.d.to_numpy(float)) / (RAMP_D_IN[1] - RAMP_D_IN[0]), 0, 1)
    p = np.clip((RAMP_P[1] - t.p.to_numpy(float)) / (RAMP_P[1] - RAMP_P[0]), 0, 1)
    return np.maximum(d, p)


def in_range(t):
    ok = (t.p.between(*P_RANGE) & t.d.between(*D_RANGE_IN)).to_numpy()
    return ok & (t.chord.isna() | t.chord.between(*CHORD_RANGE)).to_numpy()


def spread_fit(form, s, bench, keep, j_resid, seen=None):
    """Spread of one forecast, between its leave-one-propeller-out and leave-one-family-out figures.

    Families count two to one: most propellers a user buys are of a family that was never measured. ``seen``: the chord
    a forecast is given, where it is not the measured one.
    """
    told = s if seen is None else s.assign(chord=seen)
    share = np.array([1.0, 2.0]) / 3.0
    out, cover = {}, {}
    wide = wide_share(s) > 0.5
    slope = {w: slope_fit(s, w) for w in ("ct", "cp")}
    y = {w: targets(s, w, slope[w], True) for w in ("ct", "cp")}
    per = []
    for by in ("propeller", "family"):
        rt, rp = (residuals(form, s, bench, w, by, seen) for w in ("ct", "cp"))
        merit_now = merit(y["ct"], y["cp"])
        per.append((rt, rp, logit(merit_now) - logit(merit(y["ct"] - rt, y["cp"] - rp))))
    for name, part in (("narrow", ~wide), ("wide", wide)):
        m = keep & part & in_range(told)
        q = [[q80(v[m]) for v in row] for row in per]
        corr = [[np.corrcoef(row[0][m], row[1][m])[0, 1], np.corrcoef(row[0][m], row[2][m])[0, 1]] for row in per]
        ct, cp, lg = share @ np.array(q)
        rho, rho_fm = share @ np.array(corr)
        out[name] = {"ct": ct, "cp": cp, "rho": rho, "logit_fm": lg, "rho_fm": rho_fm}
    out["rho_j0"] = float(np.corrcoef(per[0][0][keep], j_resid[keep])[0, 1])
    # One factor for both classes: of all left-out errors together, families two to one, the interval holds 80 %.
    for k, key in enumerate(("ct", "cp", "logit_fm")):
        sd = stated_sd(out, key, told)
        m = keep & (in_range(told) | (key != "logit_fm"))
        ratio = np.concatenate([np.abs(per[0][k])[m], np.abs(per[1][k])[m], np.abs(per[1][k])[m]])
        factor = np.quantile(ratio / np.tile(1.2816 * sd[m], 3), 0.8)
        for name in ("narrow", "wide"):
            out[name][key] *= factor
    for i, by in enumerate(("propeller", "family")):
        for k, which in ((0, "ct"), (1, "cp")):
            inside = np.abs(per[i][k][keep]) < 1.2816 * stated_sd(out, which, told)[keep]
            cover[f"{which} by {by}"] = float(np.mean(inside))
    return out, cover


def stated_sd(numbers, key, s):
    """Standard deviation that the forecast states for each propeller."""
    sd = numbers["narrow"][key] + (numbers["wide"][key] - numbers["narrow"][key]) * wide_share(s)
    return np.sqrt(sd**2 + np.where(in_range(s), 0, OUTSIDE_SD) ** 2)


DRAWS, DRAW_SIZE = 100, 27


def draws(s, whole_families: bool):
    """Repeated sets of about 27 propellers: at random, or whole families while they fit."""
    rng = np.random.default_rng(20261130)
    for _ in range(DRAWS):
        hold = np.zeros(len(s), bool)
        if not whole_families:
            hold[rng.choice(len(s), DRAW_SIZE, replace=False)] = True
        else:
            for g in rng.permutation(pd.unique(s.family)):
                one = (s.family == g).to_numpy()
                if hold.sum() + one.sum() <= DRAW_SIZE + 3:
                    hold |= one
        yield hold


def draw_rows(s, bench, spread) -> list[str]:
    """How the median error and the coverage scatter between sets as small as one judge may hold."""
    rows = []
    for form in (LABEL, CHORD):
        for whole in (False, True):
            cells = []
            for which in ("ct", "cp"):
                sd, medians, inside = stated_sd(spread[form.name], which, s), [], []
                for hold in draws(s, whole):
                    if form.known_only:
                        hold = hold & s.chord.notna().to_numpy()
                    if hold.sum() >= 5:
                        r = np.abs(left_out(form, s, bench, which, hold))
                        medians.append(np.median(r))
                        inside.append(np.mean(r < 1.2816 * sd[hold]))
                share = np.mean((np.array(inside) >= 0.7) & (np.array(inside) <= 0.92))
                cells += [f"{np.median(medians):.3f}", f"{np.quantile(medians, 0.9):.3f}"]
                cells += [f"{np.mean(inside):.2f}", f"{share:.2f}"]
            rows.append(f"| {form.name}, {'whole families' if whole else 'at random'} | " + " | ".join(cells) + " |")
    return rows


WIDTHS = {"slim": 0.125, "middle": 0.155, "broad": 0.20}  # chord ratio that a width judged by eye is taken as
WIDTH_BOUNDS = (0.14, 0.18)  # chord ratios between them: widths of 7 and 9 % of the diameter
WIDEST_BOUNDS = (0.165, 0.20)  # the same for the widest place, where it is tried


def width_by_eye(s):
    """Chord ratio of a blade of which only slim, middle or broad is known."""
    chord = s.chord.to_numpy(float)
    taken = np.array(list(WIDTHS.values()))
    return np.where(np.isnan(chord), np.nan, taken[np.searchsorted(WIDTH_BOUNDS, np.nan_to_num(chord), side="right")])


def width_at_the_widest(s, t):
    """The same judged at the widest place of the blade: what the median blade of such a class has at 75 % radius."""
    g = pd.read_csv(shared() / "propellers" / "blade_geometry.csv")
    blade = t.drop_duplicates("propeller").set_index("propeller").blade
    most = s.propeller.map(blade).map(g.groupby("blade").c_over_R.max()).to_numpy(float)
    chord = s.chord.to_numpy(float)
    group = np.searchsorted(WIDEST_BOUNDS, np.nan_to_num(most), side="right")
    known = ~np.isnan(chord)
    taken = np.array([np.exp(np.median(np.log(chord[known & (group == i)]))) for i in range(3)])
    return np.where(known, taken[group], np.nan)


def width_rows(s, bench, known, spread) -> list[str]:
    """Left-out errors by class of width, and the share inside the stated 80 % interval."""
    seen = width_by_eye(s)
    told, rows = s.assign(chord=seen), []
    r = {(w, by): residuals(CHORD, s, bench, w, by, seen) for w in ("ct", "cp") for by in ("propeller", "family")}
    for name, taken in [*WIDTHS.items(), ("all", None)]:
        m = known if taken is None else known & (seen == taken)
        cells = [str(m.sum())]
        for w in ("ct", "cp"):
            inside = 1.2816 * stated_sd(spread["width"], w, told)[m]
            for by in ("propeller", "family"):
                e = r[w, by][m]
                size = np.abs(e)
                cells += [f"{np.median(size):.3f}", f"{np.quantile(size, 0.9):.3f}", f"{np.mean(size < inside):.2f}"]
        rows.append(f"| {name} | " + " | ".join(cells) + " |")
    return rows


OUTSIDE_SD = 0.25  # added in quadrature where the label lies outside the range of the fit: what those here show


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
    a = a.merge(
        s.set_index("propeller")[["x", "log_ct", "slope_ct", "log_cp", "slope_cp"]].add_prefix("m_"),
        left_on="propeller",
        right_index=True,
    )
    a["u"] = a.j / a.j0
    a["f"] = a.ct / np.exp(a.m_log_ct + a.m_slope_ct * (a.x - a.m_x))
    a["g"] = a.cp / np.exp(a.m_log_cp + a.m_slope_cp * (a.x - a.m_x))
    return a


def shape_rows(a, which):
    """Medians per propeller and 0.05 of J/J0, so that every propeller counts alike."""
    r = a[a.u < (X_CT if which == "f" else X_CP + 0.05)].assign(bin=lambda q: (q.u / 0.05).round())
    return (
        r.groupby(["propeller", "bin"])
        .agg(u=("u", "mean"), v=(which, "median"), p=("p", "first"), d=("d", "first"))
        .reset_index()
    )


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


def own_shape(r, which, k):
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


SLOW_ADVANCE = 0.3  # J up to which a line from rest is laid through C_T/C_T0
PITCH_CLASSES = (0.30, 0.45, 0.55, 0.65, 0.75, 0.90, 1.30)


def slope_at_rest_rows(adv) -> list[str]:
    """Slope of C_T/C_T0 against J from rest on, by pitch: its median and its scatter between propellers."""
    near = adv[adv.j < SLOW_ADVANCE]
    near = near[near.groupby("propeller").j.transform("size") >= 3]
    one = near.assign(jf=near.j * (near.f - 1.0), jj=near.j**2).groupby("propeller")
    slope = one.jf.sum() / one.jj.sum()
    p, rows = one.p.first(), []
    for low, high in pairwise(PITCH_CLASSES):
        v = slope[(p > low) & (p <= high)]
        rows.append(f"| {low:.2f} to {high:.2f} | {len(v)} | {v.median():+.2f} | {q80(v - v.median()):.2f} |")
    return rows


def named(names, values):
    return dict(zip(names, values, strict=True))


def round_floats(v, digits=5):
    if isinstance(v, dict):
        return {k: round_floats(x, digits) for k, x in v.items()}
    if isinstance(v, list | tuple | np.ndarray):
        return [round_floats(x, digits) for x in v]
    return round(float(v), digits) if isinstance(v, float | np.floating) else v


# ---------------------------------------------------------------- everything
def hold_out_j0(s, j0):
    """Leave-one-propeller-out residual of ln J0."""
    a, y = zero_thrust_features(s), np.log(j0.loc[s.propeller].to_numpy())
    out = np.empty(len(s))
    for i in range(len(s)):
        m = np.arange(len(s)) != i
        out[i] = y[i] - a[i] @ huber(a[m], y[m], np.ones(m.sum()), np.full(5, 1e-6))
    return out


def advancing_errors(s, adv, j_resid):
    """Median error of the two ratios per propeller: J0 left out by propeller, shapes by family."""
    j_label = adv.j0 / np.exp(pd.Series(j_resid, index=s.propeller)).loc[adv.propeller].to_numpy()
    out = {}
    for w in "fg":
        e = pd.Series(np.nan, index=adv.index)
        for fam in adv.family.unique():
            hold = adv.family == fam
            k0, k1 = shape_fit(adv[~hold], w)
            dp = np.clip(adv.p[hold].to_numpy(), *P_RANGE) - P_MID
            e[hold] = shape_eval((adv.j / j_label)[hold].to_numpy(), w, k0 + k1 * dp[:, None]) - adv[w][hold]
        out[w] = float(e.abs().groupby(adv.propeller).median().median())
    return out


def report(s, bench, adv, j_resid, covers, spread, everyone, known, widest) -> None:
    """Write the tables of errors between the marks in SOURCE.md."""
    head = [
        "| form | features | C_T median | sd | 9 in 10 | by family: median | sd | 9 in 10 "
        "| C_P median | sd | 9 in 10 | by family: median | sd | 9 in 10 |",
        "|---" * 14 + "|",
    ]
    text = [
        "",
        f"Label alone, {len(s)} propellers with static rows (chord hidden where it is known):",
        "",
        *head,
        *error_table(LABEL_TRIED, s, bench, everyone),
        "",
        f"With the chord ratio, the {known.sum()} of them whose chord is known:",
        "",
        *head,
        *error_table(CHORD_TRIED, s, bench, known),
        "",
        "The chord fit told only slim, middle or broad (chord ratio below {}, between, above {}, taken as {}, {}, "
        "{}), the same judged at the widest place (below {}, above {} of the radius), a slow-flight kind beside the "
        "width, and the label fit, on the same propellers:".format(*WIDTH_BOUNDS, *WIDTHS.values(), *WIDEST_BOUNDS),
        "",
        "| | C_T median | 9 in 10 | by family: median | 9 in 10 | C_P median | 9 in 10 | by family: median | 9 in 10 |",
        "|---" * 9 + "|",
    ]
    slow = Form("slow", "one p p2 b c d slow", known_only=True, local=("cp",))
    for name, form, seen in (
        ("**width by eye at 75 % radius**", CHORD, width_by_eye(s)),
        ("width by eye at the widest place", CHORD, widest),
        ("width by eye, slow-flight kind known", slow, width_by_eye(s)),
        ("label alone", LABEL, None),
    ):
        cells = []
        for which in ("ct", "cp"):
            for by in ("propeller", "family"):
                r = np.abs(residuals(form, s, bench, which, by, seen)[known])
                cells += [f"{np.median(r):.3f}", f"{np.quantile(r, 0.9):.3f}"]
        text.append(f"| {name} | " + " | ".join(cells) + " |")
    text += [
        "",
        "By class, with the share inside the stated 80 % interval:",
        "",
        "| width | propellers | C_T median | 9 in 10 | inside | by family: median | 9 in 10 | inside "
        "| C_P median | 9 in 10 | inside | by family: median | 9 in 10 | inside |",
        "|---" * 14 + "|",
        *width_rows(s, bench, known, spread),
        "",
        f"Sets of {DRAW_SIZE} propellers left out together, {DRAWS} draws: median over the draws of their median "
        "error, what nine draws in ten stay under, mean share inside the stated 80 % interval, share of draws where "
        "that is 70 to 92 %:",
        "",
        "| | C_T median | 9 draws in 10 | inside | 70-92 % | C_P median | 9 draws in 10 | inside | 70-92 % |",
        "|---" * 9 + "|",
        *draw_rows(s, bench, spread),
        "",
    ]
    for which in ("ct", "cp"):
        beta, slope, _ = fit_form(LABEL, s, bench, which)
        r = targets(bench, which, slope, True) - design(bench, LABEL) @ beta
        text.append(
            f"Bench propellers against the label fit that holds them, {which}: mean ln(measured/forecast) "
            f"{r.mean():+.3f}, sd {r.std():.3f}."
        )
    text.append("")
    for name, c in covers.items():
        text.append(
            f"Share of propellers inside the stated 80 % interval, {name}: "
            + ", ".join(f"{k} {v:.2f}" for k, v in c.items())
            + "."
        )
    e = advancing_errors(s, adv, j_resid)
    text += [
        "",
        f"Zero-thrust advance ratio from the label, left out by propeller: log sd {q80(j_resid):.3f}.",
        f"Advancing, label J0 left out by propeller, shapes by family: median error per propeller of "
        f"C_T/C_T0 {e['f']:.3f}, of C_P/C_P0 {e['g']:.3f}.",
        "",
        f"Slope of C_T/C_T0 against J from rest to {SLOW_ADVANCE} (no row has a negative J), by pitch over diameter:",
        "",
        "| P/D | propellers | median per J | scatter between propellers (sd) |",
        "|---" * 4 + "|",
        *slope_at_rest_rows(adv),
        "",
    ]
    path = HERE / "SOURCE.md"
    begin, end = "<!-- errors: written by fit_propellers.py -->", "<!-- end of errors -->"
    old = path.read_text() if path.exists() else f"{begin}\n{end}\n"
    before, rest = old.split(begin)
    path.write_text(before + begin + "\n" + "\n".join(text) + "\n" + end + rest.split(end)[1])
    print("\n".join(text))


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
        "about": "Made by fit_propellers.py from the UIUC measurements; see SOURCE.md. Natural logarithms.",
        "reference_reynolds": RE_REF,
        "reynolds_range": [RE_LOW, RE_HIGH],
        "pitch_mid": P_MID,
        "pitch_range": list(P_RANGE),
        "chord_range": list(CHORD_RANGE),
        "chord_mid": 0.155,
        "diameter_range_m": [v * INCH for v in D_RANGE_IN],
        "diameter_mid_m": 9 * INCH,
        "blades_range": [2, BLADES_MAX],
        "default_chord": [-1.851, -0.374],
        "blade_width": WIDTHS,
        "blade_width_bounds": list(WIDTH_BOUNDS),
        "slope": {w: named(("one", "p", "d"), slope_fit(s, w)) for w in ("ct", "cp")},
        "zero_thrust": named(("one", "lp", "lp2", "d", "b"), beta_j),
        "shape": {
            "f": {"common": shape["f"][0], "pitch": shape["f"][1], "end": X_CT},
            "g": {
                "common": shape["g"][0],
                "pitch": shape["g"][1],
                "end": X_CP,
                "hold": X_HOLD,
                "zero": X_END,
            },
        },
    }
    for form in (LABEL, CHORD):
        fit[form.name] = {w: named(form.features.split(), fit_form(form, s, bench, w)[0]) for w in ("ct", "cp")}
    fit["local_cp"] = {
        "chord_range": list(CHORD_RANGE),
        "diameter_range_m": [v * INCH for v in LOCAL_D_RANGE_IN],
        "about": "added to ln C_P when the chord is known; even steps in ln chord (rows), ln diameter",
        "table": round_floats(fit_form(CHORD, s, bench, "cp")[2], 4),
    }
    j_resid = hold_out_j0(s, j0)
    everyone, known = np.ones(len(s), bool), s.chord.notna().to_numpy()
    covers = {}
    fit["spread"] = {
        "ramp_diameter_m": [v * INCH for v in RAMP_D_IN],
        "ramp_pitch": list(RAMP_P),
        "outside": OUTSIDE_SD,
        "zero_thrust": q80(j_resid),
    }
    for form, keep in ((LABEL, everyone), (CHORD, known)):
        fit["spread"][form.name], covers[form.name] = spread_fit(form, s, bench, keep, j_resid)
    width, covers["width"] = spread_fit(CHORD, s, bench, known, j_resid, width_by_eye(s))
    for part in ("narrow", "wide"):  # a width judged by eye says no more than a measured one, no less than none
        for key in ("ct", "cp", "logit_fm"):
            least, most = (fit["spread"][form][part][key] for form in ("chord", "label"))
            width[part][key] = max(min(width[part][key], most), least)
    fit["spread"]["width"] = width
    (HERE / "label_fit.json").write_text(json.dumps(round_floats(fit), indent=1) + "\n")

    rows = []
    shapes = {w: shape_rows(adv, w) for w in "fg"}
    by_name = s.set_index("propeller")
    for key, m in meta.iterrows():
        one = meta.loc[[key]]
        dp = float(np.clip(m.p, *P_RANGE) - P_MID)
        prior = {w: float(slope_of(one, slope_fit(s, w))[0]) for w in ("ct", "cp")}
        row = {
            "propeller": key,
            "diameter [m]": m.d * INCH,
            "pitch [m]": m.pitch * INCH,
            "blades [-]": int(m.blades),
            "chord_ratio [-]": m.chord,
        }
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
    out = pd.DataFrame(rows).sort_values("propeller")
    # neutral keys: a key of the source holds a maker's code. The mapping stays out of the wheel.
    source_keys = out["propeller"].tolist()
    out["propeller"] = [f"m{number:03d}" for number in range(1, len(out) + 1)]
    digests = [hashlib.sha256(key.encode()).hexdigest()[:12] for key in source_keys]
    out.insert(1, "source_key_digest", digests)
    out.to_csv(HERE / "measured.csv", index=False, float_format="%.5g")
    keys = pd.DataFrame({"propeller": out["propeller"], "source_key": source_keys})
    keys.to_csv(HERE / "source_keys.csv", index=False)
    report(s, bench, adv, j_resid, covers, fit["spread"], everyone, known, width_at_the_widest(s, t))
    print(f"wrote label_fit.json and measured.csv ({len(out)} propellers)")


if __name__ == "__main__":
    main()
