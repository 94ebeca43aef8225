"""Reading and writing of part tables as CSV. An error message names file, row and column.

The content of a file is untrusted: its size is limited before parsing, control characters are removed, and cells are
written so that a spreadsheet does not run them as formulas.
"""

from __future__ import annotations

import csv
import io
import math
import re
import unicodedata
from dataclasses import dataclass

import pandas as pd

from propmodel.base.cells import escape_cell, unescape_cell
from propmodel.base.checks import check_in, quoted
from propmodel.parts.cell_values import MAX_CELL, clean_text
from propmodel.parts.checking import MAX_ROWS, PartsError, check, checked_rows, missing_sentence
from propmodel.parts.table_columns import KINDS, UNITS, Column, columns, headings

__all__ = ["PartTable", "escape_cell", "read_csv", "to_csv", "unescape_cell"]

MAX_BYTES = 2 * 1024 * 1024
MAX_COLUMNS = 60


@dataclass(frozen=True)
class PartTable:
    """A table read from a file, with notes about its interpretation."""

    kind: str
    """One of `KINDS`."""
    frame: pd.DataFrame
    """Validated table with the headings and units of `columns`."""
    notes: list[str]
    """One sentence per inference, conversion, or column left out."""


def _decode(data: bytes, file: str) -> tuple[str, str]:
    if len(data) > MAX_BYTES:
        raise PartsError([f"{file} is too large ({len(data) / 2**20:.1f} MB, at most {MAX_BYTES // 2**20} MB)."])
    if not data.strip():
        raise PartsError([f"{file} is empty."])
    if data[:4] == b"PK\x03\x04":
        raise PartsError([f"{file} is a zip or a spreadsheet file: export the sheet as CSV first."])
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return data.decode("utf-16"), "UTF-16"
        except UnicodeDecodeError:
            raise PartsError([f"{file} is not a text table."]) from None
    if b"\x00" in data:
        raise PartsError([f"{file} is not a text table: export it as CSV."])
    try:
        text, name = data.decode("utf-8-sig"), "UTF-8"
    except UnicodeDecodeError:
        text, name = data.decode("cp1252", "replace"), "Windows-1252"
    if re.match(r"\s*<(!doctype|html|\?xml|table)", text[:200], re.IGNORECASE):
        raise PartsError([f"{file} is a web page, not a table: export it as CSV."])
    return text, name


def _plain_heading(text: str) -> tuple[str, str]:
    """Split a heading into its stem and its unit, both in lower case."""
    text = unicodedata.normalize("NFKC", unescape_cell(text.strip())).strip().lower()
    found = re.search(r"[\[(]\s*([^\])]*?)\s*[\])]\s*$", text)
    unit = found.group(1).replace(" ", "") if found else ""
    stem = text[: found.start()] if found else text
    return re.sub(r"[\s_-]+", " ", stem).strip(" :."), unit


def _match(kind: str, found: list[str], file: str) -> tuple[dict[str, int], dict[str, float], list[str]]:
    """Return heading -> column number of the file, heading -> unit factor, and notes."""
    places: dict[str, int] = {}
    factors: dict[str, float] = {}
    notes: list[str] = []
    problems: list[str] = []
    for place, text in enumerate(found):
        stem, unit = _plain_heading(text)
        if not stem and not unit:
            continue
        column = _column(kind, stem)
        if column is None:
            notes.append(f"The column '{clean_text(text)[:40]}' was not used.")
            continue
        if column.heading in places:
            problems.append(f"{file} has two columns for '{column.heading}'.")
            continue
        places[column.heading] = place
        factor = 1.0
        if unit and unit != "-" and column.unit not in ("", "-") and unit != column.unit.lower():
            known = UNITS[column.unit]
            if unit not in known:
                problems.append(
                    f"{file}, column '{clean_text(text)[:40]}': the unit '{clean_text(unit)[:12]}' is not "
                    f"known here; use {column.unit}."
                )
                continue
            factor = known[unit]
            if factor != 1.0:
                notes.append(f"'{clean_text(text)[:40]}' was turned into {column.unit}.")
        factors[column.heading] = factor
    if problems:
        raise PartsError(problems)
    missing = [c.heading for c in columns(kind) if c.needed and c.heading not in places]
    if missing:
        raise PartsError([missing_sentence(file, kind, missing, found)])
    return places, factors, notes


def _column(kind: str, stem: str) -> Column | None:
    def plain(text: str) -> str:
        return re.sub(r"[\s_-]+", " ", text)

    for column in columns(kind):
        if stem == plain(column.stem) or stem in map(plain, column.stems):
            return column
    return None


def _rows(text: str, delimiter: str, file: str) -> list[tuple[int, list[str]]]:
    """Return the rows with their line numbers, without comment and blank lines; raise if the table is too large."""
    out: list[tuple[int, list[str]]] = []
    old = csv.field_size_limit(MAX_CELL)
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
        start = 1
        for cells in reader:
            if any(cell.strip() for cell in cells) and not cells[0].lstrip().startswith("#"):
                if len(out) > MAX_ROWS:
                    raise PartsError([f"{file}: more than {MAX_ROWS} rows."])
                if len(cells) > MAX_COLUMNS:
                    raise PartsError([f"{file}, row {start}: {len(cells)} columns, at most {MAX_COLUMNS} are read."])
                out.append((start, cells))
            start = reader.line_num + 1
    except csv.Error:
        raise PartsError([f"{file}, row {start}: this line cannot be split into cells."]) from None
    finally:
        csv.field_size_limit(old)
    return out


def read_csv(data: bytes | str, kind: str, *, file: str = "The file") -> PartTable:
    """Read a part table in the usual CSV variants.

    Parameters
    ----------
    data : bytes or str
        Content of the file.
    kind : str
        One of `KINDS`.
    file : str
        Name of the file, for messages only; no file is opened.

    Returns
    -------
    PartTable
        The validated table and the notes.

    Raises
    ------
    PartsError
        With one sentence per fault, which names file, row (numbered as in a spreadsheet) and column.

    Notes
    -----
    The delimiter is a comma, semicolon or tab, whichever is most frequent in the heading line. A decimal comma is
    accepted if the delimiter is not a comma. A unit in a heading is converted; without one the unit of `columns`
    applies.

    Examples
    --------
    >>> text = "name;KV;stator diameter (mm);stator height (mm);mass (kg)\\nFern;1950;22;7;0,0325"
    >>> table = read_csv(text, "motors")
    >>> float(table.frame["mass [g]"][0]), table.notes[0]
    (32.5, "'mass (kg)' was turned into g.")
    """
    check_in("kind of part table", kind, KINDS)
    file = clean_text(file) or "The file"
    if not isinstance(data, str | bytes):
        raise ValueError(f"data must be text or bytes, got {quoted(data)}")
    text, encoding = _decode(data.encode("utf-8", "replace") if isinstance(data, str) else data, file)
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = [line for line in text.split("\n") if line.strip() and not line.lstrip().startswith("#")]
    if not lines:
        raise PartsError([f"{file} holds no table."])
    delimiter = max(",;\t", key=lines[0][:20_000].count)
    rows = _rows(text, delimiter, file)
    if not rows:
        raise PartsError([f"{file} holds no table."])
    places, factors, notes = _match(kind, rows[0][1], file)
    body = rows[1:]
    problems = [
        f"{file}, row {number}: {len(cells)} cells under {len(rows[0][1])} headings."
        for number, cells in body
        if any(cell.strip() for cell in cells[len(rows[0][1]) :])
    ]
    if problems:
        raise PartsError(problems)
    comma = delimiter != ","
    cells = {heading: [row[place] if place < len(row) else "" for _, row in body] for heading, place in places.items()}
    frame = checked_rows(kind, cells, file=file, numbers=[n for n, _ in body], comma=comma, factors=factors)
    if frame.empty:
        notes.append("The table has headings but no rows.")
    if encoding != "UTF-8":
        notes.append(f"Read as {encoding}.")
    if frame["name"].duplicated().any():
        twice = frame["name"][frame["name"].duplicated()].iloc[0]
        notes.append(f"The name '{twice}' stands in more than one row.")
    return PartTable(kind, frame, notes)


def to_csv(frame: pd.DataFrame, kind: str) -> str:
    """Write a part table with units in the headings and texts that a spreadsheet does not run as formulas.

    Parameters
    ----------
    frame : DataFrame
        A table returned by `check`.
    kind : str
        One of `KINDS`.

    Returns
    -------
    str
        Comma-separated, decimal point, RFC 4180.

    Examples
    --------
    >>> row = {"name": "=Fern", "diameter [in]": 5.1, "pitch [in]": 4.3, "blades [-]": 3}
    >>> to_csv(check(pd.DataFrame([row]), "propellers"), "propellers").splitlines()[1]
    "'=Fern,5.1,4.3,3,,,,"
    """
    frame = check(frame, kind)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(headings(kind))
    for row in frame.itertuples(index=False):
        writer.writerow([_written(value) for value in row])
    return out.getvalue()


def _written(value: object) -> object:
    if isinstance(value, float):
        return "" if math.isnan(value) else (int(value) if value.is_integer() and abs(value) < 1e15 else repr(value))
    return escape_cell(value)
