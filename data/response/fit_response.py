"""Fit the controller's lag to measured time constants of rotors: ``python data/response/fit_response.py``.

Motor, inertia and propeller come from the labels by the rules of `propmodel`; only the lag is free. Prints the table
of SOURCE.md. The constants themselves stand in `propmodel/flight/spin_up.py`.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from propmodel.base.units import INCH
from propmodel.components import motor, propeller
from propmodel.components.air import STANDARD
from propmodel.flight import spin_up

HERE = Path(__file__).resolve().parent


def mechanical(row: pd.Series) -> tuple[float, float]:
    """Time constant of motor and inertia alone at the row's thrust, and the inertia. [s, kg m^2]"""
    wound = motor.from_stator(1e-3 * row.iloc[1], 1e-3 * row.iloc[2], row.iloc[3])
    turned = propeller.Propeller(row.iloc[4] * INCH, row.iloc[5] * INCH, row.iloc[6])
    ready, d = propeller.prepare(turned, STANDARD), float(turned.diameter)
    n = 100.0
    for _ in range(60):
        c_t, c_p = (float(c) for c in ready.static(n))
        n = (row.iloc[7] / (STANDARD.density * c_t * d**4)) ** 0.5
    inertia = float(motor.bell_inertia(wound) + propeller.inertia(turned))
    tau = spin_up.speed_time_constant(
        inertia=inertia,
        rev_per_s=n,
        loop_resistance=wound.resistance,
        torque_constant=wound.torque_constant,
        torque_coefficient=STANDARD.density * c_p * d**5 / (2.0 * np.pi),
        iron_torque_slope=wound.iron_torque_slope,
    )
    return float(tau), inertia


def table() -> pd.DataFrame:
    """Measured against motor and inertia alone, in ms."""
    rows = pd.read_csv(HERE / "measured.csv")
    alone = np.array([mechanical(row) for _, row in rows.iterrows()])
    rows["alone_ms"] = 1e3 * alone[:, 0]
    rows["missing_ms"] = rows["time_constant [ms]"] - rows["alone_ms"]
    rows["times_the_inertia"] = rows["time_constant [ms]"] / rows["alone_ms"]
    return rows


def lag_of(rows: pd.DataFrame) -> float:
    """Median over rotors of what is missing when speeding up. [s]"""
    return 1e-3 * float(rows[rows["direction"] != "down"]["missing_ms"].median())


if __name__ == "__main__":
    found = table()
    shown = found[["rotor", "direction", "time_constant [ms]", "alone_ms", "missing_ms", "times_the_inertia"]]
    print(shown.round(2).to_string(index=False))
    print(f"lag {1e3 * lag_of(found):.1f} ms")
    for name in found["rotor"].unique():
        lag = lag_of(found[found["rotor"] != name])
        for _, row in found[found["rotor"] == name].iterrows():
            ratio = row["time_constant [ms]"] / (row["alone_ms"] + 1e3 * lag)
            print(f"left out {name} {row['direction']}: lag {1e3 * lag:.1f} ms, measured over forecast {ratio:.2f}")
