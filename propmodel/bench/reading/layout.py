"""Layout of a text table: delimiter, heading, decimal sign, and first row."""

from __future__ import annotations

import csv
import re
from typing import NamedTuple

from propmodel.bench.reading.headings import Heading, heading, plain
from propmodel.bench.reading.numbers import parse_number
from propmodel.bench.reading.records import BenchFileError

__all__ = ["HEADING_WITHIN", "Layout", "find_layout", "split_cells"]

HEADING_WITHIN = 200
"""Lines searched for the heading."""


class Layout(NamedTuple):
    """Layout of the table in a text."""

    delimiter: str
    """One character, or ``spaces`` for two or more blanks."""
    headings: list[str]
    """Heading of each column as in the file."""
    parsed: list[Heading]
    """Parsed heading of each column."""
    first_data_line: int
    """Line index (from 0) of the first row below the heading."""
    has_heading: bool
    """False for a table of numbers only."""
    decimal_comma: bool
    """True if the decimal sign is a comma."""
    above: list[tuple[str, str]]
    """Key and value pairs and comments above the heading."""
    note: str
    """Description of the layout in one sentence."""


def split_cells(line: str, delimiter: str) -> list[str]:
    """Split one line into cells; quoted delimiters do not separate cells.

    Parameters
    ----------
    line : str
        The line without its line break.
    delimiter : str
        Delimiter as in `Layout`.
    """
    if delimiter == "spaces":
        return re.split(r"[ \t]{2,}|\t", line.strip())
    if delimiter == " ":
        return line.split()
    if '"' not in line:
        return [cell.strip() for cell in line.split(delimiter)]
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter, skipinitialspace=True))]
    except (csv.Error, StopIteration):
        return [cell.strip() for cell in line.split(delimiter)]


def _is_number(cell: str) -> bool:
    return parse_number(cell) == parse_number(cell) or parse_number(cell, True) == parse_number(cell, True)


def _uncommented(line: str) -> str:
    return re.sub(r"^\s*(#+|//|%%?)\s*", "", line)


def find_layout(lines: list[str], encoding: str) -> Layout:
    """Find delimiter and heading in the first `HEADING_WITHIN` lines.

    A line is the heading if at least two of its cells name a quantity and the rows below have numbers in these columns.
    The line and delimiter with the best score are used.

    Parameters
    ----------
    lines : list of str
        First lines of the file.
    encoding : str
        Encoding of the file, for the note.

    Returns
    -------
    Layout
        The layout of the table.

    Raises
    ------
    BenchFileError
        If there is no such line and the rows are not numbers either.
    """
    lines = [line.replace("\x00", "") for line in lines]
    best: tuple[float, int, str, list[str], list[Heading]] | None = None
    seen_words = 0
    for number, line in enumerate(lines[:HEADING_WITHIN]):
        text = _uncommented(line)
        if not text.strip() or len(text) > 20000:
            continue
        for delimiter in (",", ";", "\t", "|", "spaces", " "):
            cells = split_cells(text, delimiter)
            if len(cells) < 2:
                continue
            parsed = [heading(cell) for cell in cells]
            named = [i for i, item in enumerate(parsed) if item.meaning is not None and not _is_number(cells[i])]
            distinct = {
                (parsed[i].meaning, parsed[i].index if "motor_" in str(parsed[i].meaning) else 0) for i in named
            }
            distinct = {item for item in distinct if item[0] not in ("motor", "propeller", "cells", "date")}
            seen_words = max(seen_words, len(distinct))
            if len(distinct) < 2 or sum(map(_is_number, cells)) > 0.5 * len(cells):
                continue
            # in joined tables the first heading is used, and its repetitions are not rows
            below = [line for line in lines[number + 1 : number + 41] if line.strip() != lines[number].strip()]
            good = _share_of_numbers(below, delimiter, named, len(cells))
            score = len(distinct) * good - (0.5 if delimiter == " " else 0.0)
            if good > 0.0 and (best is None or score > best[0]):
                best = (score, number, delimiter, cells, parsed)
    if best is None:
        if seen_words >= 2:
            raise BenchFileError(
                "the file has a heading but no rows of numbers below it that fit it: export the log again, with "
                "commas or semicolons between the cells"
            )
        return _without_heading(lines)
    _, number, delimiter, cells, parsed = best
    first = number + 1
    while first < len(lines) and not lines[first].strip():
        first += 1
    if first < len(lines):  # a line of units below the heading
        under = split_cells(_uncommented(lines[first]), delimiter)
        if not any(map(_is_number, under)) and any(
            re.fullmatch(r"[\[(]?[\w%µ·./ ]{1,8}[\])]?", plain(c)) for c in under
        ):
            joined = [
                f"{top} ({unit.strip('()[] ')})" if unit.strip("()[] ") else top
                for top, unit in zip(cells, under, strict=False)
            ]
            joined += cells[len(joined) :]
            units = [heading(text) for text in joined]
            if sum(item.unit != "" for item in units) > sum(item.unit != "" for item in parsed):
                cells, parsed, first = joined, units, first + 1
    above = [pair for line in lines[:number] if (pair := _pair(line))][:400]
    comma = delimiter != "," and _decimal_comma(lines[first : first + 400], delimiter, parsed)
    where = f"heading in line {number + 1}; cells parted by {_NAMES[delimiter]}; text as {encoding}"
    where += "; decimal comma." if comma else "."
    return Layout(delimiter, cells, parsed, first, True, comma, above, where)


_NAMES = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars", "spaces": "blanks", " ": "blanks"}


def _pair(line: str) -> tuple[str, str] | None:
    text = _uncommented(line).strip()[:300]
    if not text:
        return None
    parts = re.split(r"\s*[,;:=\t]\s*", text, maxsplit=1)
    return (parts[0].strip('" '), parts[1].strip('"; ,')) if len(parts) == 2 else ("", text)


def _share_of_numbers(below: list[str], delimiter: str, named: list[int], width: int) -> float:
    rows = [line for line in below if line.strip() and not line.lstrip().startswith("#")][:20]
    found = 0
    for line in rows:
        cells = split_cells(line, delimiter)
        hits = sum(1 for i in named if i < len(cells) and _is_number(cells[i]))
        found += hits >= 2 and len(cells) >= 2
    return found / len(rows) if rows else 0.0


def _decimal_comma(lines: list[str], delimiter: str, parsed: list[Heading] | None) -> bool:
    """Return True if commas are decimal signs, False if they separate thousands, from the unambiguous cells."""
    sure, maybe, dots = 0, 0, 0
    for line in lines:
        for i, cell in enumerate(split_cells(line, delimiter)):
            if parsed is not None and (i >= len(parsed) or parsed[i].meaning is None):
                continue
            cell = cell.strip().strip("%").strip()
            if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", cell):
                maybe += 1
            elif re.fullmatch(r"[+-]?(\d{1,3}(\.\d{3})+|\d+),\d+", cell):
                sure += 1
            elif re.fullmatch(r"[+-]?\d*\.\d+", cell):
                dots += 1
    if sure:
        return True
    # three digits after every comma: decimals if there is no point in any cell, else thousands
    return bool(maybe) and not dots and delimiter == ";"


def _unknown_heading(above: list[str], delimiter: str, width: int) -> list[str]:
    """Return the cells of the line above the numbers if they name each column in words that are not known; else []."""
    line = next((line for line in reversed(above) if line.strip()), "")
    cells = split_cells(_uncommented(line).rstrip(delimiter if len(delimiter) == 1 else None), delimiter)
    words = len(cells) == width and all(cells) and len(set(cells)) == width and not any(map(_is_number, cells))
    return cells if words else []


def _without_heading(lines: list[str]) -> Layout:
    rows = [(i, line) for i, line in enumerate(lines) if line.strip() and not line.lstrip().startswith("#")]
    best: tuple[int, str, int, int] | None = None
    for delimiter in (";", "\t", ",", "|", "spaces", " "):
        widths: dict[int, list[int]] = {}
        for i, line in rows[:400]:
            cells = split_cells(line.rstrip(delimiter if len(delimiter) == 1 else None), delimiter)
            if len(cells) >= 3 and sum(map(_is_number, cells)) >= 0.7 * len(cells):
                widths.setdefault(len(cells), []).append(i)
        for width, at in widths.items():
            if len(at) >= 3 and (best is None or len(at) > best[0]):
                best = (len(at), delimiter, width, at[0])
    if best is None:
        first_line = re.sub(r"[^\x20-\x7e]|[<>]", " ", next((line for _, line in rows), ""))[:60].strip()
        raise BenchFileError(
            f"no heading with two known quantities (such as throttle, voltage, current, rpm, thrust) stands in the "
            f"first {HEADING_WITHIN} lines, which start with {first_line!r}: name the columns in the first line of "
            f"the table"
        )
    _, delimiter, width, first = best
    comma = delimiter != "," and _decimal_comma([line for _, line in rows[:400]], delimiter, None)
    above = [pair for line in lines[:first] if (pair := _pair(line))]
    names = _unknown_heading(lines[:first], delimiter, width) or [f"column {i + 1}" for i in range(width)]
    known = "no heading" if names[0] == "column 1" else "no known word in the heading"
    note = f"{known}; cells parted by {_NAMES[delimiter]}" + ("; decimal comma." if comma else ".")
    return Layout(delimiter, names, [Heading(None, "", 9)] * width, first, False, comma, above, note)
