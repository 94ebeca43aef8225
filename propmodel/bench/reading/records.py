"""What reading a measurement file gives: the log, the guesses made on the way, and the doubts about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Literal

import pandas as pd

from propmodel.base.cells import escape_cell

__all__ = ["BenchFileError", "BenchLog", "Doubt", "Guess", "safe_cell"]

Severity = Literal["note", "look", "wrong"]


class BenchFileError(ValueError):
    """A file that cannot be used; the message is one plain sentence: why, and what to do."""


@dataclass(frozen=True)
class Guess:
    """How one column of the file was understood."""

    column: str
    """Heading in the file, or ``column 3`` where there is none."""
    meaning: str
    """What it was taken for; ``not used`` if nothing."""
    unit: str
    """The unit it was read in."""
    why: str
    """Reason in words: named in the heading, size of the values ..."""


@dataclass(frozen=True)
class Doubt:
    """One reason not to trust some rows; nothing is dropped because of it."""

    kind: str
    """Short fixed word, for programs: ``supply_limit``, ``pole_count``, ``kv_label`` ..."""
    sentence: str
    """What was seen, and what it may mean."""
    rows: tuple[int, ...] = ()
    """Index labels in ``BenchLog.points`` (stand) or ``BenchLog.frame`` (flight)."""
    severity: Severity = "look"
    """``note``: good to know; ``look``: check it; ``wrong``: do not trust these rows."""
    lines: tuple[int, ...] = ()
    """Lines of the file, counted from 1."""


@dataclass(frozen=True, eq=False)
class BenchLog:
    """A measurement file, read.

    Attributes
    ----------
    kind : {"stand", "flight"}
    frame : pandas.DataFrame
        One row per row of the file, in SI, the unit at the end of each column's name.
    points : pandas.DataFrame
        One row per hold (median of the last half of it); empty for a flight.
    guesses, doubts : list
        How columns were understood, and what looks wrong.
    labels : dict
        What the file says of itself: ``kv``, ``diameter``, ``pitch``, ``blades``, ``cells``, ``stator`` ...
        in SI except ``kv`` [rpm/V], with ``*_from`` telling where it was found.
    """

    kind: Literal["stand", "flight"]
    frame: pd.DataFrame
    points: pd.DataFrame
    guesses: list[Guess] = field(default_factory=list)
    doubts: list[Doubt] = field(default_factory=list)
    labels: dict[str, object] = field(default_factory=dict)
    name: str = ""
    """Of the file; empty where it had none."""
    notes: list[str] = field(default_factory=list)
    """Plain sentences about how the file was laid out."""

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table, text cells made harmless for a spreadsheet."""
        return _harmless(self.frame)

    def to_csv(self) -> str:
        """Return the hold table (stand) or the rows (flight) as CSV, safe to open in a spreadsheet."""
        table = self.points if len(self.points) else self.frame
        return _harmless(table).to_csv(index=False)

    def rows_in_doubt(self, kinds: Iterable[str]) -> tuple[int, ...]:
        """Return the rows that carry a doubt of these kinds, in order."""
        wanted = set(kinds)
        return tuple(sorted({row for doubt in self.doubts if doubt.kind in wanted for row in doubt.rows}))

    def without(self, kinds: Iterable[str]) -> BenchLog:
        """Return the log with the holds of these doubts left out, because the user asked for it."""
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
        What the cell holds.

    Examples
    --------
    >>> safe_cell("=1+2"), safe_cell("-12.5"), safe_cell(3.0), safe_cell("5x4.5")
    ("'=1+2", '-12.5', 3.0, '5x4.5')
    """
    return escape_cell(text, numbers_pass=True)
