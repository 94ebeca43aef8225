"""Validation of a table of parts, row by row, with one sentence per fault."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from propmodel.base.units import INCH, MILLIOHM, MM
from propmodel.parts.cell_values import clean_text, is_blank, read_cell
from propmodel.parts.table_columns import columns

__all__ = ["MAX_PROBLEMS", "MAX_ROWS", "PartsError", "check", "empty"]

MAX_ROWS = 5000
MAX_PROBLEMS = 12


class PartsError(ValueError):
    """A table is invalid. The message names file, row, column, and the allowed values.

    Parameters
    ----------
    problems : list of str
        One sentence per fault; the attribute ``problems`` has the first `MAX_PROBLEMS` of them.
    """

    def __init__(self, problems: list[str]) -> None:
        self.problems = problems[:MAX_PROBLEMS]
        more = len(problems) - len(self.problems)
        super().__init__("\n".join(self.problems) + (f"\n... and {more} more." if more > 0 else ""))


def empty(kind: str) -> pd.DataFrame:
    """Return a table without rows, for the user to fill in.

    Parameters
    ----------
    kind : str
        One of `KINDS`.

    Returns
    -------
    pandas.DataFrame
        With the headings of the kind.

    Examples
    --------
    >>> len(empty("motors"))
    0
    """
    return frame_of(kind, {column.heading: [] for column in columns(kind)})


def frame_of(kind: str, data: Mapping[str, list[Any]]) -> pd.DataFrame:
    return pd.DataFrame(
        {c.heading: pd.Series(data[c.heading], dtype=object if c.text else np.float64) for c in columns(kind)}
    )


def whole_row(kind: str, row: Mapping[str, Any]) -> tuple[str, str] | None:
    """Return the column and the fault of a row whose cells contradict each other; None for a consistent row."""
    if kind == "motors":
        d, h = row["stator diameter [mm]"], row["stator height [mm]"]
        if math.isnan(d) != math.isnan(h):
            return ("stator height [mm]" if math.isnan(h) else "stator diameter [mm]"), (
                "is blank though the other stator size is given"
            )
        if math.isnan(d) and (math.isnan(row["effective resistance [mohm]"]) or math.isnan(row["no-load current [A]"])):
            return "stator diameter [mm]", (
                "is blank: give the stator size, or both the effective resistance and the no-load current"
            )
        volts = 10.0 if math.isnan(row["no-load voltage [V]"]) else row["no-load voltage [V]"]
        ohms = row["effective resistance [mohm]"] * MILLIOHM
        if not math.isnan(ohms) and row["no-load current [A]"] * ohms >= volts:
            return "no-load current [A]", "times the resistance is above the no-load voltage: check the units"
    if kind == "propellers":
        share = row["pitch [in]"] / row["diameter [in]"]
        if not 0.1 <= share <= 2.5:
            return "pitch [in]", f"must be 0.1 to 2.5 times the diameter, got {share:.2g} times"
        chord = row["blade width [mm]"] * MM / (0.5 * row["diameter [in]"] * INCH)
        if not math.isnan(chord) and not 0.03 <= chord <= 0.6:
            return "blade width [mm]", f"must be 0.03 to 0.6 of the radius, got {chord:.2g} of it"
    if kind == "controllers" and row["fewest cells [-]"] > row["most cells [-]"]:
        return "fewest cells [-]", "is above the most cells"
    return None


def check(frame: pd.DataFrame, kind: str, *, file: str = "table", first_row: int = 1) -> pd.DataFrame:
    """Validate an edited table and convert it to the right types.

    Parameters
    ----------
    frame : DataFrame
        With the headings of `headings`; blank rows are dropped.
    kind : str
        One of `KINDS`.
    file : str
        Name for error messages.
    first_row : int
        Number of the first row in error messages.

    Returns
    -------
    DataFrame
        With all headings of the kind, numbers as floats, and sanitised texts.

    Raises
    ------
    PartsError
        With one sentence per fault: file, row, column, and the allowed values.

    Examples
    --------
    >>> row = {"name": "Fern", "diameter [in]": 5.1, "pitch [in]": 4.3, "blades [-]": 9}
    >>> check(pd.DataFrame([row]), "propellers")
    Traceback (most recent call last):
    ...
    propmodel.parts.checking.PartsError: table, row 1, column 'blades [-]': must be between 2 and 8, got 9.
    """
    missing = [c.heading for c in columns(kind) if c.needed and c.heading not in frame.columns]
    if missing:
        raise PartsError([missing_sentence(file, kind, missing, [str(c) for c in frame.columns])])
    if len(frame) > MAX_ROWS:
        raise PartsError([f"{file}: {len(frame)} rows, at most {MAX_ROWS} are read."])
    rows = frame.to_dict("records")
    cells = {c.heading: [row.get(c.heading) for row in rows] for c in columns(kind)}
    return checked_rows(kind, cells, file=file, numbers=[first_row + i for i in range(len(rows))])


def checked_rows(
    kind: str,
    cells: Mapping[str, list[Any]],
    *,
    file: str,
    numbers: list[int],
    comma: bool = False,
    factors: Mapping[str, float] | None = None,
) -> pd.DataFrame:
    factors = factors or {}
    problems: list[str] = []
    out: dict[str, list[Any]] = {c.heading: [] for c in columns(kind)}
    for i, number in enumerate(numbers):
        raw = {c.heading: cells[c.heading][i] if c.heading in cells else None for c in columns(kind)}
        if all(is_blank(value) for value in raw.values()):
            continue
        row, fine = {}, True
        for column in columns(kind):
            value, wrong = read_cell(column, raw[column.heading], comma=comma, factor=factors.get(column.heading, 1.0))
            row[column.heading] = value
            if wrong:
                fine = False
                problems.append(f"{file}, row {number}, column '{column.heading}': {wrong}.")
        if fine and (fault := whole_row(kind, row)):
            problems.append(f"{file}, row {number}, column '{fault[0]}': {fault[1]}.")
        for heading, value in row.items():
            out[heading].append(value)
    if problems:
        raise PartsError(problems)
    return frame_of(kind, out)


def missing_sentence(file: str, kind: str, missing: list[str], found: list[str]) -> str:
    names = ", ".join(f"'{m}'" for m in missing)
    have = ", ".join(f"'{clean_text(f)[:40]}'" for f in found[:12] if str(f).strip()) or "none"
    return (
        f"{file} lacks the column{'s' if len(missing) > 1 else ''} {names}. It has {have}. "
        f"A table of {kind} needs {', '.join(repr(c.heading) for c in columns(kind) if c.needed)}."
    )
