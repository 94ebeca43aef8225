"""Forecast full throttle of every bench table from its labels alone, and say how far off it is.

Run from the checkout: ``python data/motors/evaluate_labels.py``. Needs the raw data as ``fit_motors.py``
does. The motor is left out of the motor rule and the propeller out of the label fit, both refitted each time.
The supply voltage is the measured one, duty 1, no pack; the propeller and motor models are those of
``propmodel``. Writes ``label_forecast.csv`` (one line per table) and ``label_errors.csv`` (medians by set).
"""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path
from unittest import mock

import numpy as np
import pandas as pd

HERE = Path(__file__).resolve().parent


def script(path: Path):
    """Import a script by path."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[path.stem] = module
    spec.loader.exec_module(module)
    return module


fit_motors = script(HERE / "fit_motors.py")
fit_propellers = script(HERE.parent / "propellers" / "fit_propellers.py")

from propmodel import motor as motors  # noqa: E402
from propmodel import propeller_fit  # noqa: E402
from propmodel.air import atmosphere  # noqa: E402
from propmodel.propeller import Propeller, prepare  # noqa: E402

AIR = replace(atmosphere(), density=fit_propellers.BENCH_DENSITY)
GUESSED_SIZE = (25.0, 7.0)
"""Taken for set C, whose stators are not stated: only a check. [mm]"""
PASSES = 6


def label_terms(static: pd.DataFrame, bench: pd.DataFrame, left_out: str) -> dict:
    """Label fit without one bench propeller."""
    kept = bench[bench.propeller != f"bench {left_out}"]
    form = fit_propellers.LABEL
    names = form.features.split()
    fitted = {w: fit_propellers.fit_form(form, static, kept, w)[0] for w in ("ct", "cp")}
    return {w: dict(zip(names, beta, strict=True)) for w, beta in fitted.items()}


def full_throttle(motor: motors.Motor, propeller, diameter: float, volts: float) -> tuple[float, float, float]:
    """Speed, current and thrust: the quadratic of the torque balance, C_P renewed in few passes."""
    k_t, r, q = motor.torque_constant, motor.resistance, motor.iron_torque_slope
    b = 2 * np.pi * k_t + r * q / k_t
    n = 0.7 * volts / (2 * np.pi * k_t)
    for _ in range(PASSES):
        c_t, c_p = propeller.static(n)
        load = AIR.density * diameter**5 * c_p / (2 * np.pi)
        n = 2 * volts / (b + np.sqrt(b * b + 4 * r * load / k_t * volts))
    return float(n), float((load * n + q) * n / k_t), float(c_t * AIR.density * n * n * diameter**4)


def forecasts() -> pd.DataFrame:
    """ln(forecast/measured) of every table."""
    _, rows, _ = fit_motors.prepared()
    rule = fit_motors.Rule(**fit_motors.CHOSEN)
    static = fit_propellers.within(fit_propellers.read_measurements())
    bench = fit_propellers.read_bench()
    shipped = propeller_fit.label_fit()
    terms = {k: label_terms(static, bench, k) for k in rows.propeller.unique()}
    out = []
    for _, r in rows.iterrows():
        words = r.table.split("_")
        size = next(w for w in words if w.count("x") == 2)
        d_in, pitch_in, blades = (float(v) for v in size.split("x"))
        diameter = d_in * 0.0254
        with mock.patch.object(propeller_fit, "label_fit", lambda r=r: {**shipped, "label": terms[r.propeller]}):
            propeller = prepare(Propeller(diameter, pitch_in * 0.0254, int(blades)), AIR)
        d, h = GUESSED_SIZE if np.isnan(r.d) else (r.d, r.h)
        k_2207 = rule.scale(rows[rows.motor != r.motor]) * rule.shape(*fit_motors.REFERENCE)
        with mock.patch.object(motors, "MOTOR_CONSTANT_2207", k_2207):
            motor = motors.from_stator(d / 1e3, h / 1e3, r.kv)
        n, amps, thrust = full_throttle(motor, propeller, diameter, r.volts)
        out.append(
            {
                "table": r.table,
                "set": r.set,
                "motor": r.motor,
                "propeller": size,
                "supply-limited": r.limited,
                "ln rpm": np.log(n / r.n),
                "ln current": np.log(amps / r.amps),
                "ln thrust": np.log(thrust / r.thrust),
            }
        )
    return pd.DataFrame(out)


def errors(table: pd.DataFrame) -> pd.DataFrame:
    """Median |error| and median error by set; errors as forecast/measured - 1."""
    groups = {
        "A": table.set == "A",
        "A, not supply-limited": (table.set == "A") & ~table["supply-limited"],
        "D": table.set == "D",
        "C (stator guessed)": table.set == "C",
        "A and D": table.set.isin(["A", "D"]),
    }
    out = []
    for name, which in groups.items():
        g = np.expm1(table.loc[which, ["ln rpm", "ln current", "ln thrust"]])
        g.columns = ["rpm", "current", "thrust"]
        row = {"tables": name, "number": len(g)}
        row |= {f"median |{c}|": g[c].abs().median() for c in g}
        row |= {f"bias {c}": g[c].median() for c in g}
        out.append(row)
    return pd.DataFrame(out)


def main() -> None:
    table = forecasts()
    table.to_csv(HERE / "label_forecast.csv", index=False, float_format="%.3f")
    e = errors(table)
    e.to_csv(HERE / "label_errors.csv", index=False, float_format="%.3f")
    print(e.round(3).to_string())
    print(table.groupby("motor")[["ln rpm", "ln current", "ln thrust"]].mean().round(3).to_string())
    print(table.groupby("propeller")[["ln rpm", "ln current", "ln thrust"]].mean().round(3).to_string())


if __name__ == "__main__":
    main()
