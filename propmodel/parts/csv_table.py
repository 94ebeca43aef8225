"""Part tables as pandas frames and as CSV: checked cell by cell, every fault told with file, row and column.

What comes from a file is text of a stranger: it is measured before it is parsed, stripped of control
marks, and written out again so that no spreadsheet takes it for a formula.
"""

from __future__ import annotations

import csv
import io
import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from propmodel.base.checks import check_in
from propmodel.base.units import INCH, MILLIOHM, MM
from propmodel.parts.table_columns import KINDS, UNITS, Column, columns, headings

__all__ = [
    "PartTable",
    "PartsError",
    "check",
    "clean_text",
    "empty",
    "escape_cell",
    "read_csv",
    "to_csv",
    "unescape_cell",
]

MAX_BYTES = 2 * 1024 * 1024
MAX_ROWS = 5000
MAX_COLUMNS = 60
MAX_TEXT = 80
MAX_CELL = 2000
MAX_PROBLEMS = 12


class PartsError(ValueError):
    """A table cannot be used; the text says which file, row and column, and what is allowed.

    ``problems`` holds one sentence for each fault found, at most a dozen.

    Parameters
    ----------
    problems : list of str
        One sentence for each fault; the first dozen are kept.
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

    Examples
    --------
    >>> len(empty("motors"))
    0
    """
    return _frame(kind, {column.heading: [] for column in columns(kind)})


def _frame(kind: str, data: Mapping[str, list[Any]]) -> pd.DataFrame:
    return pd.DataFrame(
        {c.heading: pd.Series(data[c.heading], dtype=object if c.text else np.float64) for c in columns(kind)}
    )


# --- text that came from outside ---

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%")
"""A cell that starts like this may run as a formula or command in a spreadsheet (OWASP, CSV injection)."""


def escape_cell(value: object) -> object:
    """Make a text harmless to a spreadsheet by a leading apostrophe; numbers pass as they are.

    Parameters
    ----------
    value : object
        What the cell holds: a text, a number or nothing.

    Examples
    --------
    >>> escape_cell("=1+1"), escape_cell("2207"), escape_cell(-5.0)
    ("'=1+1", '2207', -5.0)
    """
    if not isinstance(value, str):
        return value
    # spreadsheets skip blanks and full-width forms count as the plain sign
    first = unicodedata.normalize("NFKC", value).lstrip(" \u00a0'")[:1]
    return "'" + value if first in _FORMULA and first else value


def unescape_cell(value: str) -> str:
    """Take back what `escape_cell` put in front.

    Parameters
    ----------
    value : str
        Text of a cell, as read.

    Examples
    --------
    >>> unescape_cell("'=1+1")
    '=1+1'
    """
    return value[1:] if value.startswith("'") and escape_cell(value[1:]) == value else value


def clean_text(value: object) -> str:
    """One line without control or direction marks, angle brackets made harmless, at most 80 letters.

    Parameters
    ----------
    value : object
        Anything a stranger typed; turned into text first.
    """
    text = unicodedata.normalize("NFC", str(value)[: MAX_TEXT * 10])
    text = "".join(" " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c for c in text)
    text = "".join(c for c in text if unicodedata.category(c) not in ("Cf", "Cs", "Co", "Cn"))
    text = text.replace("<", "\u2039").replace(">", "\u203a")
    return " ".join(text.split())[:MAX_TEXT].strip()


# --- checking ---


def _number(text: object, *, comma: bool) -> float:
    """Return a number, NaN for a blank cell; raise ValueError for anything else."""
    if text is None or text is pd.NA:
        return math.nan
    if isinstance(text, bool | np.bool_):
        raise ValueError
    if isinstance(text, int | float | np.number):
        value = float(text)
    else:
        plain = str(text).strip().replace("\u2212", "-").replace("\u00a0", "").replace("\u202f", "")
        if plain.lower() in ("", "-", "nan", "none", "n/a", "?"):
            return math.nan
        if comma:
            plain = plain.replace(",", ".")
        if not re.fullmatch(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?", plain):
            raise ValueError
        value = float(plain)
    if math.isinf(value):
        raise ValueError
    return value


def _cell(column: Column, raw: object, *, comma: bool, factor: float = 1.0) -> tuple[Any, str]:
    """Return the value of one cell and what is wrong with it (empty where nothing is)."""
    if column.text:
        blank = raw is None or raw is pd.NA or (isinstance(raw, float) and math.isnan(raw))
        text = "" if blank else clean_text(unescape_cell(str(raw).strip()))
        if column.choices and text:
            known = {c.replace("_", " "): c for c in column.choices} | {"li-ion": "li_ion", "lihv": "lipo_hv"}
            text = known.get(text.lower().replace("_", " "), text)
            if text not in column.choices:
                return text, f"must be one of {', '.join(column.choices)}, got '{text}'"
        return text, ("is blank" if column.needed and not text else "")
    try:
        value = _number(raw, comma=comma) * factor
    except ValueError:
        return math.nan, f"must be a plain number such as 12.5, got '{clean_text(raw)[:30]}'"
    unit = f" {column.unit}" if column.unit not in ("", "-") else ""
    if math.isnan(value):
        return value, ("is blank" if column.needed else "")
    if not column.low <= value <= column.high:
        return value, f"must be between {column.low:g} and {column.high:g}{unit}, got {value:g}{unit}"
    if column.whole and abs(value - round(value)) > 1e-9:
        return value, f"must be a whole number, got {value:g}"
    return value, ""


def _whole_row(kind: str, row: Mapping[str, Any]) -> tuple[str, str] | None:
    """Return the column and the fault of a row whose cells do not go together."""
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
    """Check an edited table and return it clean: right headings, right types, texts made harmless.

    Parameters
    ----------
    frame : DataFrame
        With the headings of `headings`; wholly blank rows are dropped.
    kind : str
        One of `KINDS`.
    file : str
        Named in errors.
    first_row : int
        Number of the first row in errors.

    Returns
    -------
    DataFrame

    Raises
    ------
    PartsError
        One sentence for each fault: file, row, column, what is allowed.

    Examples
    --------
    >>> row = {"name": "Fern", "diameter [in]": 5.1, "pitch [in]": 4.3, "blades [-]": 9}
    >>> check(pd.DataFrame([row]), "propellers")
    Traceback (most recent call last):
    ...
    propmodel.parts.csv_table.PartsError: table, row 1, column 'blades [-]': must be between 2 and 8, got 9.
    """
    missing = [c.heading for c in columns(kind) if c.needed and c.heading not in frame.columns]
    if missing:
        raise PartsError([_missing_sentence(file, kind, missing, [str(c) for c in frame.columns])])
    if len(frame) > MAX_ROWS:
        raise PartsError([f"{file}: {len(frame)} rows, at most {MAX_ROWS} are read."])
    rows = frame.to_dict("records")
    cells = {c.heading: [row.get(c.heading) for row in rows] for c in columns(kind)}
    return _checked(kind, cells, file=file, numbers=[first_row + i for i in range(len(rows))])


def _checked(
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
        if all(_is_blank(value) for value in raw.values()):
            continue
        row, fine = {}, True
        for column in columns(kind):
            value, wrong = _cell(column, raw[column.heading], comma=comma, factor=factors.get(column.heading, 1.0))
            row[column.heading] = value
            if wrong:
                fine = False
                problems.append(f"{file}, row {number}, column '{column.heading}': {wrong}.")
        if fine and (fault := _whole_row(kind, row)):
            problems.append(f"{file}, row {number}, column '{fault[0]}': {fault[1]}.")
        for heading, value in row.items():
            out[heading].append(value)
    if problems:
        raise PartsError(problems)
    return _frame(kind, out)


def _is_blank(value: object) -> bool:
    if value is None or value is pd.NA:
        return True
    return (isinstance(value, float) and math.isnan(value)) or (isinstance(value, str) and not value.strip())


def _missing_sentence(file: str, kind: str, missing: list[str], found: list[str]) -> str:
    names = ", ".join(f"'{m}'" for m in missing)
    have = ", ".join(f"'{clean_text(f)[:40]}'" for f in found[:12] if str(f).strip()) or "none"
    return (
        f"{file} lacks the column{'s' if len(missing) > 1 else ''} {names}. It has {have}. "
        f"A table of {kind} needs {', '.join(repr(c.heading) for c in columns(kind) if c.needed)}."
    )


# --- CSV ---


@dataclass(frozen=True)
class PartTable:
    """A table read from a file, and what was made of it."""

    kind: str
    """One of `KINDS`."""
    frame: pd.DataFrame
    """Checked table with the headings and units of `columns`."""
    notes: list[str]
    """One sentence for each thing that was guessed, converted or left out."""


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
    """Which column of the file is which of ours, with unit factors, and notes."""
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
        raise PartsError([_missing_sentence(file, kind, missing, found)])
    return places, factors, notes


def _column(kind: str, stem: str) -> Column | None:
    def plain(text: str) -> str:
        return re.sub(r"[\s_-]+", " ", text)

    for column in columns(kind):
        if stem == plain(column.stem) or stem in map(plain, column.stems):
            return column
    return None


def _rows(text: str, delimiter: str, file: str) -> list[tuple[int, list[str]]]:
    """Rows with their line numbers, comment and blank lines left out, bounded in every direction."""
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
    """Read a part table as spreadsheets and people write it.

    Parameters
    ----------
    data : bytes or str
        Content of the file.
    kind : str
        One of `KINDS`.
    file : str
        Its name, for the messages only; nothing is opened.

    Returns
    -------
    PartTable

    Raises
    ------
    PartsError
        Naming file, row (as a spreadsheet counts them) and column.

    Notes
    -----
    Delimiter comma, semicolon or tab, whichever the heading line holds most; decimal comma only where the
    delimiter is another. Units named in a heading are converted; a heading without one is taken in ours.

    Examples
    --------
    >>> text = "name;KV;stator diameter (mm);stator height (mm);mass (kg)\\nFern;1950;22;7;0,0325"
    >>> table = read_csv(text, "motors")
    >>> float(table.frame["mass [g]"][0]), table.notes[0]
    (32.5, "'mass (kg)' was turned into g.")
    """
    check_in("kind of part table", kind, KINDS)
    file = clean_text(file) or "The file"
    text, encoding = _decode(data.encode("utf-8") if isinstance(data, str) else data, file)
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
    frame = _checked(kind, cells, file=file, numbers=[n for n, _ in body], comma=comma, factors=factors)
    if frame.empty:
        notes.append("The table has headings but no rows.")
    if encoding != "UTF-8":
        notes.append(f"Read as {encoding}.")
    if frame["name"].duplicated().any():
        twice = frame["name"][frame["name"].duplicated()].iloc[0]
        notes.append(f"The name '{twice}' stands in more than one row.")
    return PartTable(kind, frame, notes)


def to_csv(frame: pd.DataFrame, kind: str) -> str:
    """Write a part table, units in the headings, texts made harmless to a spreadsheet.

    Parameters
    ----------
    frame : DataFrame
        As `check` returns it.
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
