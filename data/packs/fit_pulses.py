"""Fit the resistance and the rest voltage of the measured LiPo pouch: charge, temperature, time and rate.

`make_cells.py` runs this and writes ``resistance.csv`` and the pouch's columns of ``cells.csv``. By itself,
``python data/packs/fit_pulses.py [folder]`` prints the errors that SOURCE.md quotes: with all pulses fitted, and with
one rate or one temperature left out. The raw tables are named in SOURCE.md.

The law, one set of numbers for each time under load (0.1, 1 and 10 s)::

    R(charge, T, rate) = R_25 * shape(charge) * a * g(x) / g(x_25),   g(x) = arcsinh(x) / x
    a = exp(E / R_gas * (1/T - 1/298.15 K)),  x = a * rate * (R_25 A h) / V_0,  x_25 at 5C and 298.15 K

An overvoltage that grows as the inverse hyperbolic sine of the current is the usual form of charge transfer; here V_0
is a fitted number that also takes up the pulse's own warming.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy.interpolate import PchipInterpolator
from scipy.optimize import least_squares

HERE = Path(__file__).resolve().parent
KNOTS = np.linspace(0.0, 1.0, 21)
CHARGES = np.array([0.04, 0.10, 0.15, 0.25, 0.35, 0.45, 0.60, 0.70, 0.80, 0.90, 1.0])
TIMES = {0.1: "R_0p1s_mohm", 1.0: "R_1s_mohm", 10.0: "R_10s_mohm"}
LABEL_AH = 5.0
USABLE_AH = 4.71  # between the cycler's limits at 25 C
GAS_CONSTANT = 8.314462618
REFERENCE = 298.15
REFERENCE_RATE = 5.0  # 1/h, of the label: in the middle of the measured 1 to 10 C, on a logarithmic scale near it
COLDEST_FITTED = -5.0  # C: the -10 C pulses reach 3 C only and are kept as a check
LEAST_CHARGE = 0.03
ROUGHLY = 0.1  # log error beyond which a pulse counts less (soft_l1)


class Fit(NamedTuple):
    """Numbers of one time under load."""

    shape: np.ndarray
    """Resistance over that at half charge, on `CHARGES`. [-]"""
    resistance_capacity: float
    """At half charge, 25 C and 5C. [ohm A h of the label]"""
    energy: float
    """[J/mol]"""
    scale: float
    """V_0. [V]"""


def shared(name: str) -> Path:
    """Folder of the raw tables."""
    return Path(os.environ.get("PROPMODEL_SHARED", HERE.parents[2] / "shared")) / "data" / name


def pulses(folder: Path) -> pd.DataFrame:
    """All pulses but three that were taken at 24 C in the series of 0 C, with charge as a share of the usable one."""
    table = pd.read_csv(folder / "lipo_pulses.csv", comment="#")
    table = table[(table["cell_temp_C"] - table["temp_set_C"]).abs() < 5.0].reset_index(drop=True)
    table["charge"] = np.clip(1.0 - table["charge_removed_Ah"] / USABLE_AH, 0.0, 1.0)
    return table


def _log_resistance(p: np.ndarray, table: pd.DataFrame) -> np.ndarray:
    """Logarithm of the resistance of every pulse. [ln ohm]"""
    logs, energy, scale = p[: len(CHARGES)], p[-2] * 1e4, np.exp(p[-1])
    kelvin = table["cell_temp_C"].to_numpy() + 273.15
    cold = np.exp(energy / GAS_CONSTANT * (1.0 / kelvin - 1.0 / REFERENCE))
    curve = PchipInterpolator(CHARGES, logs)
    middle = np.exp(curve(0.5))
    x = cold * middle * table["current_A"].to_numpy() / scale
    x_25 = middle * REFERENCE_RATE * LABEL_AH / scale
    bend = np.log(np.arcsinh(x) / x) - np.log(np.arcsinh(x_25) / x_25)
    return curve(table["charge"].to_numpy()) + np.log(cold) + bend


def fit(table: pd.DataFrame, seconds: float) -> Fit:
    """Fit the law to the pulses of a table, in logarithms, outliers counting less."""
    measured = np.log(table[TIMES[seconds]].to_numpy() * 1e-3)
    start = np.r_[np.full(len(CHARGES), np.median(measured)), 3.3, np.log(0.4)]
    found = least_squares(
        lambda p: _log_resistance(p, table) - measured, start, loss="soft_l1", f_scale=ROUGHLY
    ).x  # fmt: skip
    curve = PchipInterpolator(CHARGES, found[: len(CHARGES)])
    middle = float(curve(0.5))
    return Fit(
        np.exp(found[: len(CHARGES)] - middle),
        float(np.exp(middle) * LABEL_AH),
        float(found[-2] * 1e4),
        float(np.exp(found[-1])),
    )


def at_knots(of: Fit) -> np.ndarray:
    """Shape on the 5 % knots; below 4 % the last slope is carried on."""
    curve = PchipInterpolator(CHARGES, of.shape)
    low = of.shape[0] + float(curve.derivative()(CHARGES[0])) * (0.0 - CHARGES[0])
    return np.where(CHARGES[0] > KNOTS, low, curve(np.maximum(KNOTS, CHARGES[0]))) / float(curve(0.5))


def rest_voltage(folder: Path, tail: np.ndarray) -> np.ndarray:
    """Rest voltage on the 5 % knots: measured from 4.4 % up, the empty end of another cell below. [V]"""
    table = pd.read_csv(folder / "lipo_rest_voltage.csv", comment="#").sort_values("soc")
    charge, volts = table["soc"].to_numpy(), table["rest_voltage_V"].to_numpy()
    return PchipInterpolator(np.r_[0.0, charge], np.r_[tail[0], volts])(KNOTS)


def predicted(of: Fit, table: pd.DataFrame) -> np.ndarray:
    """Resistance of every pulse by the law. [ohm]"""
    p = np.r_[np.log(of.shape * of.resistance_capacity / LABEL_AH), of.energy / 1e4, np.log(of.scale)]
    return np.exp(_log_resistance(p, table))


def fitted(table: pd.DataFrame) -> pd.DataFrame:
    """The pulses that the fit may see."""
    return table[(table["temp_set_C"] > COLDEST_FITTED) & (table["charge"] > LEAST_CHARGE)]


def _errors(of: Fit, table: pd.DataFrame, seconds: float) -> str:
    measured = table[TIMES[seconds]].to_numpy() * 1e-3
    guess = predicted(of, table)
    volts = 1e3 * np.abs(guess - measured) * table["current_A"].to_numpy()
    logs = np.abs(np.log(guess / measured))
    return (
        f"{len(table):4d} pulses: {np.median(volts):5.1f} mV median, {np.quantile(volts, 0.9):5.1f} mV nine in ten; "
        f"{100 * np.median(logs):4.1f} % median, {100 * np.quantile(logs, 0.9):4.1f} % nine in ten"
    )


def main() -> None:
    """Print the errors, in the fit and left out."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else shared("flight")
    table = pulses(folder)
    seen = fitted(table)
    for seconds in TIMES:
        of = fit(seen, seconds)
        print(
            f"{seconds} s: {1e3 * of.resistance_capacity:.2f} mohm A h, {of.energy / 1e3:.1f} kJ/mol, {of.scale:.3f} V"
        )
        print("  all fitted         ", _errors(of, seen, seconds))
        for rate in (1.0, 2.0, 10.0):
            out = (seen["C_rate_of_5Ah"] - rate).abs() < 0.3
            print(f"  {rate:4.0f} C left out    ", _errors(fit(seen[~out], seconds), seen[out], seconds))
        for celsius in (0.0, 10.0, 25.0, 40.0):
            out = seen["temp_set_C"] == celsius
            print(f"  {celsius:4.0f} deg C left out", _errors(fit(seen[~out], seconds), seen[out], seconds))
        never = table[(table["temp_set_C"] < COLDEST_FITTED) & (table["charge"] > 0.15)]
        print("  -10 deg C, never in", _errors(of, never, seconds))


if __name__ == "__main__":
    main()
