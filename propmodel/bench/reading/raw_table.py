"""Reading of the table in a thrust-stand or flight log of any usual layout, before the conversion into SI units."""

from __future__ import annotations

import csv
import io
import itertools
import math
import re
import warnings
from collections.abc import Callable, Iterator, Mapping
from typing import Any, BinaryIO

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from propmodel.base.arrays import FloatArray
from propmodel.bench.reading.encoding import HEAD_BYTES, lines_of, open_bytes, refuse_markup, sniff_encoding
from propmodel.bench.reading.headings import Heading, heading
from propmodel.bench.reading.layout import Layout, find_layout, split_cells
from propmodel.bench.reading.numbers import parse_number
from propmodel.bench.reading.records import BenchFileError

__all__ = ["RawTable", "read_table"]

MAX_ROWS = 1_500_000
"""Largest number of rows. Each time it is exceeded every second row is dropped, so that the memory is bounded."""
EXTRA = 3
"""Number of additional cells that a row may have: trailing delimiters, or thousands separated by the delimiter."""
_TEXT = ("motor", "propeller", "cells", "date")
_BLANK = [
    "",
    "-",
    "--",
    "n/a",
    "N/A",
    "na",
    "NA",
    "nan",
    "NaN",
    "NAN",
    "null",
    "NULL",
    "None",
    "#N/A",
    "#DIV/0!",
]


class RawTable:
    """Columns of the file in their original units.

    Attributes
    ----------
    layout : Layout
        Layout of the table.
    numbers : dict of int to ndarray, shape (rows,)
        Column number -> values.
    texts : dict of int to ndarray of str, shape (rows,)
        Column number -> texts.
    source_row : ndarray, shape (rows,)
        Line number of each row in the file, from 1.
    name : str
        Name of the file.
    counts : dict
        ``unreadable`` cells per column number, ``odd_lines`` that are not rows, ``row_stride`` (every n-th row is
        kept).
    """

    def __init__(self, layout: Layout, name: str) -> None:
        self.layout, self.name = layout, name
        self.numbers: dict[int, FloatArray] = {}
        self.texts: dict[int, NDArray[Any]] = {}
        self.source_row: NDArray[np.int64] = np.zeros(0, np.int64)
        self.unreadable: dict[int, list[int]] = {}
        self.odd_lines: list[int] = []
        self.row_stride = 1


def read_table(
    source: Any,
    *,
    columns: Mapping[str, str | int] | None = None,
    progress: Callable[[float], None] | None = None,
) -> RawTable:
    """Find the table in a file and read its columns with a known meaning.

    Parameters
    ----------
    source : path, bytes, or file-like object
        The file.
    columns : mapping, optional
        Meaning -> heading, or column number from 0, chosen by the user.
    progress : callable, optional
        Called with the share that has been read, 0 to 1.

    Returns
    -------
    RawTable
        The columns in their original units.

    Raises
    ------
    BenchFileError
        If the file has no table of measurements.
    """
    with open_bytes(source) as (stream, name, size):
        head = _read_head(stream)
        encoding = sniff_encoding(head)
        chained: Any = _Chained(head, stream)
        blocks = lines_of(chained, encoding, size=size, progress=progress)
        first = _enough(blocks)
        refuse_markup("\n".join(first[:50]))
        layout = _with_choices(find_layout(first, encoding), columns)
        table = RawTable(layout, name)
        _fill(table, itertools.chain([first], blocks))
    if not table.source_row.size:
        raise BenchFileError("the file has a heading but no rows of numbers below it: export the log again")
    return table


def _read_head(stream: BinaryIO) -> bytes:
    parts: list[bytes] = []
    got = 0
    while got < HEAD_BYTES:  # a pipe or an upload may give less than asked for
        part = stream.read(HEAD_BYTES - got)
        if not part:
            break
        if not isinstance(part, bytes | bytearray):
            raise BenchFileError("the file must be opened in binary mode: open it with mode 'rb'")
        parts.append(bytes(part))
        got += len(part)
    return b"".join(parts)


class _Chained:
    """Stream of the bytes already read, followed by the rest of the file."""

    def __init__(self, head: bytes, stream: BinaryIO) -> None:
        self.head, self.stream = head, stream

    def read(self, count: int) -> bytes:
        if self.head:
            part, self.head = self.head[:count], self.head[count:]
            return part
        return self.stream.read(count)


def _enough(blocks: Iterator[list[str]]) -> list[str]:
    lines: list[str] = []
    for block in blocks:
        lines.extend(block)
        if len(lines) > 2000:
            break
    return lines


def _with_choices(layout: Layout, columns: Mapping[str, str | int] | None) -> Layout:
    if not columns:
        return layout
    parsed = list(layout.parsed)
    for meaning, wanted in columns.items():
        if isinstance(wanted, int | np.integer):
            at = int(wanted)
        else:
            names = [name.strip().lower() for name in layout.headings]
            if str(wanted).strip().lower() not in names:
                headings = ", ".join(repr(name) for name in layout.headings[:12])
                raise BenchFileError(f"the file has no column {wanted!r}: it has {headings}")
            at = names.index(str(wanted).strip().lower())
        if not 0 <= at < len(parsed):
            raise BenchFileError(f"the file has no column number {at + 1}: it has {len(parsed)} columns")
        base, _, number = meaning.rpartition("_")
        index = int(number) if number.isdigit() else None
        parsed = [p._replace(meaning=None) if p.meaning == meaning and i != at else p for i, p in enumerate(parsed)]
        unit = parsed[at].unit or heading(layout.headings[at]).unit
        parsed[at] = Heading(base if index is not None else meaning, unit, -1, index)
    return layout._replace(parsed=parsed)


def _fill(table: RawTable, blocks: Iterator[list[str]]) -> None:
    layout = table.layout
    use = [i for i, item in enumerate(layout.parsed) if item.meaning is not None or not layout.has_heading]
    text_columns = {i for i in use if layout.parsed[i].meaning in _TEXT}
    store: dict[int, list[Any]] = {i: [] for i in use}
    rows_store: list[NDArray[np.int64]] = []
    line_number, skip, total, stride = 0, layout.first_data_line, 0, 1
    for lines in blocks:
        at = line_number
        line_number += len(lines)
        if line_number <= skip:
            continue
        if at < skip:
            lines, at = lines[skip - at :], skip
        frame, rows = _parse(lines, at, layout, use, table)
        if stride > 1:
            frame, rows = frame.iloc[::stride], rows[::stride]
        block: dict[int, Any] = {}
        for i in use:
            time_like = layout.parsed[i].meaning == "time"
            if i in text_columns:
                block[i] = frame[i].astype(object).to_numpy()
            else:
                block[i] = _numbers(frame[i], layout.decimal_comma, rows, table.unreadable.setdefault(i, []), time_like)
        alive = _any_reading(block, use, text_columns, layout)
        rows_store.append(rows[alive])
        for i in use:
            store[i].append(block[i][alive])
        total += int(alive.sum())
        if total > MAX_ROWS:
            for i in use:
                store[i] = [np.concatenate(store[i])[::2].copy()]
            rows_store = [np.concatenate(rows_store)[::2].copy()]
            stride, total = stride * 2, rows_store[0].size
    table.row_stride = stride
    table.source_row = np.concatenate(rows_store) if rows_store else np.zeros(0, np.int64)
    for i in use:
        column = np.concatenate(store[i]) if store[i] else np.zeros(0)
        store[i] = []
        if i in text_columns:
            table.texts[i] = column
        else:
            table.numbers[i] = column.astype(np.float64, copy=False)


def _any_reading(block: dict[int, Any], use: list[int], texts: set[int], layout: Layout) -> NDArray[np.bool_]:
    alive: NDArray[np.bool_] | None = None
    for i in use:
        if i in texts or layout.parsed[i].meaning == "time":
            continue
        here = np.isfinite(block[i])
        alive = here if alive is None else alive | here
    return np.ones(0, bool) if alive is None else alive


def _parse(lines: list[str], at: int, layout: Layout, use: list[int], table: RawTable) -> tuple[pd.DataFrame, Any]:
    """Parse lines into cells of the used columns: with pandas, or line by line if that fails."""
    rows = np.arange(at + 1, at + 1 + len(lines), dtype=np.int64)
    width = len(layout.headings)
    text = "\n".join(lines)
    if "#" in text:
        text = re.sub(r"(?m)^[ \t]*#[^\n]*$", "", text)
    if "\x00" in text:
        text = text.replace("\x00", "")
    # pandas needs the number of cells of the longest row in this block
    mark = " " if layout.delimiter == " " else layout.delimiter
    found = max(map(len, map(str.split, lines))) if mark == " " else max(line.count(mark) for line in lines) + 1
    extras = list(range(width, found))
    quick = [i for i in use if i < found]
    if layout.delimiter != "spaces" and text.count('"') % 2 == 0 and quick and found <= width + EXTRA:
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                frame = pd.read_csv(
                    io.StringIO(text + "\n"),
                    sep=r"\s+" if layout.delimiter == " " else layout.delimiter,
                    header=None,
                    names=range(found),
                    usecols=[*quick, *extras],
                    skip_blank_lines=False,
                    skipinitialspace=True,
                    on_bad_lines="error",
                    decimal="," if layout.decimal_comma else ".",
                    na_values=_BLANK,
                    keep_default_na=False,
                    dtype={i: object for i in quick if layout.parsed[i].meaning in _TEXT},
                    engine="c",
                    low_memory=False,
                )
            if not isinstance(frame.index, pd.RangeIndex):
                raise ValueError("more cells than names")
            crowded = frame[extras].notna().any(axis=1).to_numpy()
            if len(frame) == len(lines) and not crowded.any():
                return frame.reindex(columns=use), rows
            if len(frame) == len(lines) and crowded.mean() < 0.5:
                good = frame.reindex(columns=use).astype(object)
                for row in np.flatnonzero(crowded):
                    cells = _rejoin(split_cells(lines[row], layout.delimiter), layout)
                    if cells is None:
                        table.odd_lines.append(int(rows[row]))
                        good.iloc[row] = None
                    else:
                        good.iloc[row] = [cells[i] if i < len(cells) else None for i in use]
                return good, rows
        except (pd.errors.ParserError, pd.errors.EmptyDataError, ValueError, csv.Error, OverflowError):
            pass
    used: list[list[str | None]] = []
    used_rows: list[int] = []
    for row, line in zip(rows, lines, strict=True):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        cells = _rejoin(split_cells(line.replace("\x00", ""), layout.delimiter), layout)
        if cells is None:
            table.odd_lines.append(int(row))
            continue
        used.append([cells[i] if i < len(cells) else None for i in use])
        used_rows.append(int(row))
    return pd.DataFrame(used, columns=use, dtype=object), np.array(used_rows, np.int64)


def _rejoin(cells: list[str], layout: Layout) -> list[str] | None:
    """Correct a row with too many cells: empty cells at the end, or ``1,234`` split in two; None if impossible."""
    width = len(layout.headings)
    while len(cells) > width and not cells[-1].strip():
        cells = cells[:-1]
    extra = len(cells) - width
    if extra <= 0:
        return cells
    if layout.delimiter != ",":
        return cells[:width] if extra <= EXTRA else None
    pairs = [
        i
        for i in range(len(cells) - 1)
        if re.fullmatch(r"[+-]?[1-9]\d{0,2}", cells[i]) and re.fullmatch(r"\d{3}(\.\d+)?%?", cells[i + 1])
    ]
    large = {
        i for i, item in enumerate(layout.parsed) if item.meaning in ("speed", "thrust", "erpm", "optical", "power")
    }
    for chosen in itertools.islice(itertools.combinations(pairs, extra), 200):
        if any(b - a < 2 for a, b in itertools.pairwise(chosen)):
            continue
        if all(i - k in large for k, i in enumerate(chosen)):
            joined: list[str] = []
            i = 0
            while i < len(cells):
                joined.append(cells[i] + cells[i + 1] if i in chosen else cells[i])
                i += 2 if i in chosen else 1
            return joined
    return None


def _numbers(column: pd.Series, comma: bool, rows: Any, unreadable: list[int], time_like: bool) -> FloatArray:
    """Convert one column of cells into floats, and add the rows with unreadable cells to ``unreadable``."""
    if pd.api.types.is_bool_dtype(column) or pd.api.types.is_numeric_dtype(column):
        values = column.to_numpy(dtype=np.float64, na_value=np.nan)
        if (wrong := np.isinf(values)).any() and len(unreadable) < 1000:
            unreadable.extend(int(row) for row in np.asarray(rows)[wrong][:1000])
    else:
        codes, unique = pd.factorize(column.astype(object).map(lambda cell: "" if cell is None else str(cell).strip()))
        read = np.array([_one(cell, comma, time_like) for cell in unique] or [np.nan])
        wrong = np.array(
            [cell not in _BLANK and not math.isfinite(value) for cell, value in zip(unique, read, strict=False)]
        )
        values = read[codes] if len(unique) else np.full(len(column), np.nan)
        if wrong.any() and len(unreadable) < 1000:
            unreadable.extend(int(row) for row in np.asarray(rows)[wrong[codes]][:1000])
    return np.where(np.isfinite(values), values, np.nan)


def _one(cell: str, comma: bool, time_like: bool) -> float:
    if time_like and (clock := re.search(r"(?<!\d)(\d{1,2}):(\d{2}):(\d{2}(?:[.,]\d+)?)", cell)):
        hours, minutes, seconds = clock.groups()
        return int(hours) * 3600.0 + int(minutes) * 60.0 + float(seconds.replace(",", "."))
    if time_like and (clock := re.fullmatch(r"(\d{1,3}):(\d{2}(?:[.,]\d+)?)", cell)):
        return int(clock.group(1)) * 60.0 + float(clock.group(2).replace(",", "."))
    return parse_number(cell, comma)
