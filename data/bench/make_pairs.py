"""Make ``pairs.csv``: a few points of every measured pair of motor and propeller. ``python data/bench/make_pairs.py``.

Reads the raw tables at ``../shared/data`` beside the checkout, or where ``PROPMODEL_SHARED`` points; they are not part
of the project. Of each table at most four rows are kept: nearest to half throttle, nearest to 72 %, full throttle, and
where the bench supply held full throttle back, the last row before that. Numbers are rounded to what a sheet is worth.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

import numpy as np
import pandas as pd

HERE = Path(__file__).resolve().parent
SHARED = Path(os.environ.get("PROPMODEL_SHARED", HERE.parents[2] / "shared")) / "data"

WINDOWS = ((50.0, 45.0, 55.0), (72.5, 65.0, 80.0), (100.0, 99.0, 100.0))
"""Throttle asked for, and from where to where it may lie. [%]"""
SUPPLY_LIMIT = 10.85
"""Current that the supply of the open stand of 2017 could not pass. [A]"""
LIMITED = "the bench supply gave no more than 11 A here: the volts had fallen"

# Which source (keys of pair_sources.csv) a table of the makers' set belongs to.
SOURCES = {
    **dict.fromkeys(("M001", "M002", "M003", "M004"), "sheet 1"),
    **dict.fromkeys(("M008", "M009", "M058"), "sheet 2"),
    **dict.fromkeys(("M012", "M030", "M035", "M038", "M039"), "sheet 3"),
    **dict.fromkeys(("M018", "M019"), "sheet 4"),
    **dict.fromkeys(("M020", "M021"), "seller 1"),
    "M023": "sheet 5",
    **dict.fromkeys(("M024", "M025"), "sheet 6"),
    **dict.fromkeys(("M031", "M032"), "sheet 7"),
    "M042": "sheet 8",
    **dict.fromkeys(("M044", "M045", "M046", "M047", "M048", "M050", "M052"), "sheet 9"),
    "M053": "sheet 10",
    **{f"M{k}": "sheet 11" for k in range(106, 117)},
}
NOMINAL = "the sheet prints the nominal volts whatever the current, and rounds rpm to 100"
INFERRED = "the stator size is not printed and was inferred from the motor's name"
DOUBTS = {
    "M002": "thrust and rpm of its two rows do not fit one propeller: one is a typing error",
    "M012": "no rpm printed",
    "M018": "three blades are assumed",
    "M019": "three blades are assumed",
    "M021": "a closed-loop blade: another shape than its label says",
    "M023": "the pitch was decoded from a catalogue number",
    "M024": "thrust over speed squared varies by a fifth along its table",
    "M031": "volts times amps lie 3 % below the printed power",
    **dict.fromkeys(("M044", "M045", "M046", "M048", "M050", "M052"), INFERRED),
    "M047": "thrust for its speed is two thirds of the same propeller elsewhere: another propeller or a wrong rpm",
    "M053": "the sheet prints 12 V whatever the current",
    **dict.fromkeys((f"M{k}" for k in range(106, 117)), NOMINAL),
    "A_b4": "half the thrust of the same propeller elsewhere: another propeller, or one mounted upside down",
}
WRONG = {"M002", "M047", "A_b4"}
"""Kept for the record, never drawn."""
STATORS = {
    "a": (22, 5),
    "b": (18, 6),
    "c": (22, 6),
    "d": (22, 4),
    "e": (22, 5),
    "f": (22, 6),
    "g": (22, 6),
    "h": (18, 4),
}

POINT = ("throttle_pct", "voltage_V", "current_A", "rpm", "thrust_g", "torque_Nm")
HEADINGS = (
    "stator_diameter [mm]", "stator_height [mm]", "kv [rpm/V]", "diameter [in]", "pitch [in]", "blades [-]",
    "cells [-]", "throttle [%]", "voltage [V]", "current [A]", "speed [rpm]", "thrust [g]", "torque [N m]", "source",
    "usable", "doubt",
)  # fmt: skip


def chosen(rows: pd.DataFrame, limited: np.ndarray) -> list[int]:
    """Places of the rows that are kept."""
    throttle = rows["throttle_pct"].to_numpy(float)
    places = []
    for wanted, low, high in WINDOWS:
        there = np.flatnonzero((throttle >= low) & (throttle <= high))
        if there.size:
            places.append(int(there[np.argmin(np.abs(throttle[there] - wanted))]))
    if limited.any() and (~limited).any():
        places.append(int(np.flatnonzero(~limited)[np.argmax(throttle[~limited])]))
    return sorted(set(places))


def rounded(name: str, value: float) -> float:
    """To what a sheet is worth: volts to 0.1, rpm to 10, the rest to three digits."""
    if np.isnan(value):
        return value
    if name == "voltage_V":
        return round(value, 1)
    if name == "rpm":
        return round(value, -1)
    return value if name == "throttle_pct" else float(f"{value:.3g}")


def points(key: str, label: tuple, rows: pd.DataFrame, source: str, limited: np.ndarray) -> list[list]:
    """Rows of ``pairs.csv`` of one table, without the name of the pair."""
    found = []
    for place in chosen(rows, limited):
        row = rows.iloc[place]
        doubt = "; ".join(d for d in (DOUBTS.get(key, ""), LIMITED if limited[place] else "") if d)
        usable = key not in WRONG and not limited[place]
        found.append(
            [key, *label, *(rounded(n, float(row[n])) for n in POINT), source, "yes" if usable else "no", doubt]
        )
    return found


def makers() -> list[list]:
    """Points of the makers' tables; those without a pitch or without a row in the windows fall out."""
    whole = pd.read_csv(SHARED / "makers" / "tables.csv")
    out = []
    for key, rows in whole.groupby("table_id", sort=False):
        first = rows.iloc[0]
        label = tuple(
            first[n] for n in ("stator_d_mm", "stator_h_mm", "kv", "prop_d_in", "prop_pitch_in", "blades", "cells")
        )
        if any(np.isnan(float(v)) for v in label):
            continue
        out += points(str(key), label, rows, SOURCES[str(key)], np.zeros(len(rows), bool))
    return out


def stands() -> list[list]:
    """Points of the two open stands whose licence allows it."""
    out = []
    for path in sorted((SHARED / "bench").glob("[AC]*_*.csv")):
        key = re.match(r"(A_[a-h]\d|C\d)_", path.name)
        size = re.search(r"_(\d+)kv_([\d.]+)x([\d.]+)x(\d)_", path.name)
        assert key and size, path.name
        rows = pd.read_csv(path)
        stand = key[1]
        stator = STATORS[stand[2]] if stand[0] == "A" else (np.nan, np.nan)
        label = (*stator, *(float(v) for v in size.groups()), 3 if stand[0] == "A" else 4)
        current = rows["current_A"].to_numpy(float)
        limited = (current >= SUPPLY_LIMIT) if stand[0] == "A" else np.zeros(len(rows), bool)
        out += points(stand, label, rows, "stand 1" if stand[0] == "A" else "stand 2", limited)
    return out


def main() -> None:
    """Write ``pairs.csv``, pairs sorted by size and numbered in that order."""
    frame = pd.DataFrame(makers() + stands(), columns=["table", *HEADINGS])
    whole = ["blades [-]", "cells [-]"]
    frame[whole] = frame[whole].astype(int)
    order = ["diameter [in]", "pitch [in]", "blades [-]", "kv [rpm/V]", "stator_diameter [mm]", "cells [-]", "table"]
    frame = frame.sort_values([*order, "throttle [%]"], kind="stable")
    number = {table: k for k, table in enumerate(frame["table"].drop_duplicates(), start=1)}
    frame.insert(0, "pair", [f"pair {number[t]:03d}" for t in frame["table"]])
    frame.drop(columns="table").to_csv(HERE / "pairs.csv", index=False, float_format="%.6g")


if __name__ == "__main__":
    main()
