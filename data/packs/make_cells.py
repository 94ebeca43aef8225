"""Make ``cells.csv`` and ``resistance.csv``: rest voltage and relative resistance against charge, per chemistry,
and the measured pouch's resistance by time under load.

Run ``python data/packs/make_cells.py [folder of the computed cells] [folder of the measured pouch]``. The raw tables
are named in SOURCE.md.
"""

from __future__ import annotations

import sys
from pathlib import Path

import fit_pulses
import numpy as np
import pandas as pd
from fit_pulses import HERE, KNOTS

HIGH_VOLTAGE_STRETCH = 1.10  # estimate: charging to 4.35 V stores about a tenth more than to 4.20 V
HIGH_VOLTAGE_TOP = 4.35  # V, label value of high-voltage pouch cells (common practice)


def ocv(folder: Path, name: str) -> np.ndarray:
    table = pd.read_csv(folder / f"ocv_{name}.csv", comment="#")
    return np.interp(KNOTS, table["soc"], table["ocv_V"])


def relative_resistance(folder: Path) -> np.ndarray:
    table = pd.read_csv(folder / "pulse_resistance.csv", comment="#")
    rows = table[(table["set"] == "Ecker2015") & (table["T_C"] == 25)].sort_values("soc")
    soc, r = rows["soc"].to_numpy(), rows["R10s_mOhmAh"].to_numpy()
    mid = np.interp(0.5, soc, r)
    # below 10 % and above 90 % the last measured slope is carried on
    low = r[0] + (r[1] - r[0]) / (soc[1] - soc[0]) * (0.0 - soc[0])
    high = r[-1] + (r[-1] - r[-2]) / (soc[-1] - soc[-2]) * (1.0 - soc[-1])
    return np.interp(KNOTS, np.r_[0.0, soc, 1.0], np.r_[low, r, high]) / mid


def main() -> None:
    computed = Path(sys.argv[1]) if len(sys.argv) > 1 else fit_pulses.shared("battery")
    measured = Path(sys.argv[2]) if len(sys.argv) > 2 else fit_pulses.shared("flight")
    cobalt, nmc = ocv(computed, "Ai2020"), ocv(computed, "Ecker2015")
    stretched = KNOTS * HIGH_VOLTAGE_STRETCH
    pulses = fit_pulses.fitted(fit_pulses.pulses(measured))
    fits = {seconds: fit_pulses.fit(pulses, seconds) for seconds in fit_pulses.TIMES}
    table = pd.DataFrame(
        {
            "state_of_charge [-]": KNOTS,
            "lipo [V]": fit_pulses.rest_voltage(measured, cobalt),
            "lipo_hv [V]": np.interp(stretched, np.r_[KNOTS, HIGH_VOLTAGE_STRETCH], np.r_[nmc, HIGH_VOLTAGE_TOP]),
            "li_ion [V]": ocv(computed, "Chen2020"),
            "lipo_lco [V]": cobalt,
            "lipo_nmc [V]": nmc,
            "relative_resistance [-]": relative_resistance(computed),
            **{f"lipo_resistance_{s:g}s [-]": fit_pulses.at_knots(of) for s, of in fits.items()},
        }
    )
    table.round(5).to_csv(HERE / "cells.csv", index=False)
    rows = [
        {
            "time [s]": seconds,
            "resistance_capacity [ohm A h]": round(of.resistance_capacity, 5),
            "activation_energy [J/mol]": round(of.energy, -1),
            "voltage_scale [V]": round(of.scale, 4),
        }
        for seconds, of in fits.items()
    ]
    pd.DataFrame(rows).to_csv(HERE / "resistance.csv", index=False)


if __name__ == "__main__":
    main()
