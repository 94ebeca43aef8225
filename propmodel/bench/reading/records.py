"""Result of reading a measurement file: the log, the inferences made, and its quality flags."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Literal

import pandas as pd

from propmodel.base.cells import escape_cell

__all__ = ["BenchFileError", "BenchLog", "Doubt", "Guess", "safe_cell"]

Severity = Literal["note", "look", "wrong"]


class BenchFileError(ValueError):
    """A file that cannot be used; the message says in one sentence why, and what to do.

    Parameters
    ----------
    message : str
        The sentence.
    headings : sequence of str
        Headings of the columns, if the file is a table whose columns could be chosen by hand; else empty.
    """

    def __init__(self, message: str, headings: Iterable[str] = ()) -> None:
        super().__init__(message)
        self.headings = tuple(headings)


@dataclass(frozen=True)
class Guess:
    """Interpretation of one column of the file."""

    column: str
    """Heading in the file, or ``column 3`` if there is none."""
    meaning: str
    """Inferred quantity, or ``not used``."""
    unit: str
    """Unit of the column in the file."""
    why: str
    """Reason in words, such as "named in the heading"."""


@dataclass(frozen=True)
class Doubt:
    """Quality flag: one reason to distrust some rows. The rows are not dropped."""

    kind: str
    """Identifier: ``supply_limit``, ``pole_count``, ``kv_label`` ..."""
    sentence: str
    """Description of the problem and its possible cause."""
    rows: tuple[int, ...] = ()
    """Index labels in ``BenchLog.points`` (stand) or ``BenchLog.frame`` (flight)."""
    severity: Severity = "look"
    """``note``: information; ``look``: should be checked; ``wrong``: these rows are wrong."""
    lines: tuple[int, ...] = ()
    """Line numbers in the file, from 1."""


@dataclass(frozen=True, eq=False)
class BenchLog:
    """Contents of a measurement file.

    Attributes
    ----------
    kind : {"stand", "flight"}
        Kind of log.
    frame : pandas.DataFrame
        One row per row of the file, in SI units; the unit is the end of each column's name.
    points : pandas.DataFrame
        Dwell points: one row per hold (median of its last half); empty for a flight.
    guesses, doubts : list
        Interpretation of each column, and quality flags.
    labels : dict
        Labels found in the file: ``kv``, ``diameter``, ``pitch``, ``blades``, ``cells``, ``stator`` ... in SI units
        except ``kv`` [rpm/V]; ``*_from`` is the place where each was found.
    """

    kind: Literal["stand", "flight"]
    frame: pd.DataFrame
    points: pd.DataFrame
    guesses: list[Guess] = field(default_factory=list)
    doubts: list[Doubt] = field(default_factory=list)
    labels: dict[str, object] = field(default_factory=dict)
    name: str = ""
    """Name of the file; empty if it has none."""
    notes: list[str] = field(default_factory=list)
    """Sentences about the layout of the file."""

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table; text cells are safe to open in a spreadsheet."""
        return _harmless(self.frame)

    def to_csv(self) -> str:
        """Return the dwell points (stand) or the rows (flight) as CSV, safe to open in a spreadsheet."""
        table = self.points if len(self.points) else self.frame
        return _harmless(table).to_csv(index=False)

    def rows_in_doubt(self, kinds: Iterable[str]) -> tuple[int, ...]:
        """Return the rows with quality flags of these kinds, in order."""
        wanted = set(kinds)
        return tuple(sorted({row for doubt in self.doubts if doubt.kind in wanted for row in doubt.rows}))

    def without(self, kinds: Iterable[str]) -> BenchLog:
        """Return the log without the dwell points that have quality flags of these kinds."""
        kinds = list(kinds)
        rows = [row for row in self.rows_in_doubt(kinds) if row in self.points.index]
        note = f"{len(rows)} rows left out on request ({', '.join(kinds)})."
        return replace(self, points=self.points.drop(index=rows), notes=[*self.notes, note])


def _harmless(table: pd.DataFrame) -> pd.DataFrame:
    copy = table.copy()
    for column in copy.columns:
        if not pd.api.types.is_numeric_dtype(copy[column]):
            copy[column] = [value if value is None else safe_cell(value) for value in copy[column].astype(object)]
    copy.columns = [safe_cell(str(column)) for column in copy.columns]
    return copy


def safe_cell(text: object) -> object:
    """Return a cell that a spreadsheet will not run as a formula; numbers pass unchanged.

    A text that starts with ``= + - @``, a tab or a line break gets an apostrophe in front (common practice).

    Parameters
    ----------
    text : object
        Value of the cell.

    Examples
    --------
    >>> safe_cell("=1+2"), safe_cell("-12.5"), safe_cell(3.0), safe_cell("5x4.5")
    ("'=1+2", '-12.5', 3.0, '5x4.5')
    """
    return escape_cell(text, numbers_pass=True)
