"""Make ``cells.csv``: open-circuit voltage and relative resistance against state of charge, per chemistry.

Run ``python data/packs/make_cells.py [folder of the raw tables]``. The raw tables are named in SOURCE.md.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np
import pandas as pd

HERE = Path(__file__).resolve().parent
KNOTS = np.linspace(0.0, 1.0, 21)
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
    default = Path(os.environ.get("PROPMODEL_SHARED", HERE.parents[2] / "shared")) / "data" / "battery"
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else default
    lipo = ocv(folder, "Ecker2015")
    stretched = KNOTS * HIGH_VOLTAGE_STRETCH
    resistance = relative_resistance(folder)
    table = pd.DataFrame(
        {
            "state_of_charge [-]": KNOTS,
            "lipo [V]": lipo,
            "lipo_hv [V]": np.interp(stretched, np.r_[KNOTS, HIGH_VOLTAGE_STRETCH], np.r_[lipo, HIGH_VOLTAGE_TOP]),
            "li_ion [V]": ocv(folder, "Chen2020"),
            "lipo_lco [V]": ocv(folder, "Ai2020"),
            "relative_resistance [-]": resistance,
        }
    )
    table.round(5).to_csv(HERE / "cells.csv", index=False)


if __name__ == "__main__":
    main()
