"""From bytes to cells: what kind of file it is, its encoding, delimiter, heading and rows, in bounded memory."""

from __future__ import annotations

import codecs
import contextlib
import csv
import io
import os
import re
from collections.abc import Callable, Iterator
from typing import Any, BinaryIO, NamedTuple

from propmodel.bench_columns import Heading, heading, parse_number, plain
from propmodel.bench_types import BenchFileError

__all__ = ["Layout", "find_layout", "lines_of", "open_bytes", "sniff_encoding", "split_cells"]

HEAD_BYTES = 1 << 18
"""Bytes looked at to find out what a file is."""
LONGEST_LINE = 1 << 17
"""Characters of one line beyond which a file is not a table by rows."""
HEADING_WITHIN = 200
"""Lines searched for the heading."""
_BLOCK = 1 << 20

_SIGNATURES = (
    (b"PK\x03\x04", "a zip archive or a spreadsheet workbook", "open it and save the sheet as CSV"),
    (b"PK\x05\x06", "an empty zip archive", "unpack it and choose the log inside"),
    (b"\x1f\x8b", "a packed (gzip) file", "unpack it and choose the log inside"),
    (b"7z\xbc\xaf", "a packed archive", "unpack it and choose the log inside"),
    (b"Rar!", "a packed archive", "unpack it and choose the log inside"),
    (b"BZh", "a packed file", "unpack it and choose the log inside"),
    (b"\xfd7zXZ", "a packed file", "unpack it and choose the log inside"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet workbook", "open it and save the sheet as CSV"),
    (b"%PDF", "a PDF document", "copy its table into a spreadsheet and save that as CSV"),
    (b"\x89PNG", "a picture", "type the numbers of the table into a spreadsheet and save that as CSV"),
    (b"\xff\xd8\xff", "a picture", "type the numbers of the table into a spreadsheet and save that as CSV"),
    (b"GIF8", "a picture", "type the numbers of the table into a spreadsheet and save that as CSV"),
    (b"{\\rtf", "a text document with formatting", "save its table as CSV"),
    (b"\x7fELF", "a program", "choose the log instead"),
    (b"MZ\x90", "a program", "choose the log instead"),
    (b"SQLite format", "a database", "export the table as CSV"),
    (b"PAR1", "a binary table", "export it as CSV"),
    (b"\x89HDF", "a binary table", "export it as CSV"),
)


class Layout(NamedTuple):
    """Where the table is in the text."""

    delimiter: str
    """One character, or ``spaces`` for two or more blanks."""
    headings: list[str]
    parsed: list[Heading]
    first_data_line: int
    """Line index (from 0) of the first row below the heading."""
    has_heading: bool
    decimal_comma: bool
    above: list[tuple[str, str]]
    """Key and value pairs and comments above the heading."""
    note: str


@contextlib.contextmanager
def open_bytes(source: Any) -> Iterator[tuple[BinaryIO, str, int]]:
    """Open a path, bytes, a text or a file-like object; give the stream, its name and its size (or 0)."""
    if isinstance(source, bytes | bytearray | memoryview):
        data = bytes(source)
        yield io.BytesIO(data), "", len(data)
    elif isinstance(source, str | os.PathLike):
        path = os.fspath(source)
        if "\x00" in str(path) or len(str(path)) > 4096 or "\n" in str(path):
            raise BenchFileError("that is not the name of a file: give a path, or the file itself")
        if os.path.isdir(path):
            raise BenchFileError("that is a folder: choose the log file inside it")
        if os.path.exists(path) and not os.path.isfile(path):
            raise BenchFileError("that is not an ordinary file: save the log as a CSV file first")
        try:
            handle = open(path, "rb")  # noqa: SIM115  (closed below)
        except FileNotFoundError:
            raise BenchFileError(f"there is no file {os.path.basename(path)!r}: check the name") from None
        except OSError as error:
            raise BenchFileError(f"the file cannot be opened ({error.strerror}): check that you may read it") from None
        with handle:
            yield handle, os.path.basename(path), os.fstat(handle.fileno()).st_size
    elif hasattr(source, "read"):
        if hasattr(source, "seek"):
            with contextlib.suppress(OSError, ValueError):
                source.seek(0)
        name = os.path.basename(str(getattr(source, "name", "") or ""))
        start = source.read(0)
        if isinstance(start, str):
            data = source.read().encode("utf-8", "replace")
            yield io.BytesIO(data), name, len(data)
        else:
            yield source, name, int(getattr(source, "size", 0) or 0)
    else:
        raise BenchFileError("give the path of a log file, or the open file itself")


def sniff_encoding(head: bytes) -> str:
    """Return the encoding of a text file, or say in one sentence what the file is instead.

    Raises
    ------
    BenchFileError
        If the bytes are empty or not the text of a table.
    """
    if not head.strip(b" \t\r\n\x00\xef\xbb\xbf"):
        raise BenchFileError("the file is empty: export the log again and choose the new file")
    for mark, what, remedy in _SIGNATURES:
        if head.startswith(mark):
            raise BenchFileError(f"this is {what}, not a table as text: {remedy}")
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    sample = head[:8192]
    if len(sample) > 40 and sample.count(b"\x00") > len(sample) * 0.3:
        odd, even = sample[1::2].count(b"\x00"), sample[0::2].count(b"\x00")
        if max(odd, even) > 0.8 * len(sample) / 2 and min(odd, even) < 0.05 * len(sample):
            return "utf-16-le" if odd > even else "utf-16-be"
    control = sum(head.count(bytes([code])) for code in (*range(9), *range(14, 32), 127) if code != 26)
    if control > 0.002 * len(head) + 2:
        first = head[: head.find(b"\n") if b"\n" in head[:400] else 0]
        keyed = [line for line in head.split(b"\n")[:60] if re.match(rb"^[\x20-\x7e]{1,40}:[\x20-\x7e]*\r?$", line)]
        if len(keyed) >= 3 and first and max(first, default=255) < 127:
            raise BenchFileError("this is the raw log, not yet a table: export it as CSV first, then choose that file")
        raise BenchFileError("this file is not text (it holds binary data): export the log as CSV and choose that")
    for encoding in ("utf-8-sig", "utf-8"):
        try:
            codecs.getincrementaldecoder(encoding)().decode(head, final=False)
            return encoding
        except UnicodeDecodeError:
            continue
    return "cp1252"


def refuse_markup(text: str) -> None:
    """Raise if the text is a web page or data in another notation."""
    start = text.lstrip("\ufeff \t\r\n")[:4000].lower()
    if start.startswith("<") or re.search(r"<(!doctype|html|body|table|\?xml)\b", start):
        raise BenchFileError(
            "this is a web page saved under the name of a table: download the log itself, or copy the table "
            "into a spreadsheet and save that as CSV"
        )
    if start.startswith(("{", "[{", "[[")) and '"' in start:
        raise BenchFileError("this is data in JSON notation, not a table by rows: export the log as CSV")


def lines_of(
    stream: BinaryIO, encoding: str, *, size: int = 0, progress: Callable[[float], None] | None = None
) -> Iterator[list[str]]:
    """Give the lines of a stream in lists of about a megabyte; LF, CR LF and bare CR all end a line."""
    decoder = codecs.getincrementaldecoder(encoding)(errors="replace")
    rest, read = "", 0
    while True:
        data = stream.read(_BLOCK)
        text = rest + decoder.decode(data, final=not data)
        read += len(data)
        if not data:
            if text:
                yield _split(text)
            break
        # a CR at the very end may be half of CR LF
        cut = max(text.rfind("\n"), text.rfind("\r", 0, len(text) - 1))
        if cut < 0:
            if len(text) > LONGEST_LINE:
                raise BenchFileError(_TOO_LONG)
            rest = text
            continue
        rest = text[cut + 1 :]
        if len(rest) > LONGEST_LINE:
            raise BenchFileError(_TOO_LONG)
        yield _split(text[: cut + 1])
        if progress is not None and size:
            progress(min(1.0, read / size))
    if progress is not None:
        progress(1.0)


_TOO_LONG = (
    f"one line of this file is longer than {LONGEST_LINE:,} characters, so it is not a table by rows: export the "
    "log as CSV with one row a line"
)


def _split(text: str) -> list[str]:
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if lines and not lines[-1]:
        lines.pop()
    if lines and len(text) > LONGEST_LINE and max(map(len, lines)) > LONGEST_LINE:
        raise BenchFileError(_TOO_LONG)
    return lines


def split_cells(line: str, delimiter: str) -> list[str]:
    """Split one line, quotes respected."""
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
    """Find delimiter and heading in the first 200 lines.

    A line is the heading if at least two of its cells name a quantity and the rows below hold numbers
    under them; the best such line and delimiter win.

    Raises
    ------
    BenchFileError
        If no such line exists and the rows are not plain numbers either.
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
            good = _share_of_numbers(lines[number + 1 : number + 41], delimiter, named, len(cells))
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
    """Tell a decimal comma from a comma between thousands, by the cells that can only be one of them."""
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
    # three digits after every comma and no point anywhere: a spreadsheet's decimals; with points, thousands
    return bool(maybe) and not dots and delimiter == ";"


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
        shown = re.sub(r"[^\x20-\x7e]", " ", next((line for _, line in rows), ""))[:60].strip()
        raise BenchFileError(
            f"no heading with two known quantities (such as throttle, voltage, current, rpm, thrust) stands in the "
            f"first {HEADING_WITHIN} lines, which start with {shown!r}: name the columns in the first line of the table"
        )
    _, delimiter, width, first = best
    comma = delimiter != "," and _decimal_comma([line for _, line in rows[:400]], delimiter, None)
    above = [pair for line in lines[:first] if (pair := _pair(line))]
    names = [f"column {i + 1}" for i in range(width)]
    note = f"no heading; cells parted by {_NAMES[delimiter]}" + ("; decimal comma." if comma else ".")
    return Layout(delimiter, names, [Heading(None, "", 9)] * width, first, False, comma, above, note)
