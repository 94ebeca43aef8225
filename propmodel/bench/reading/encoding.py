"""File type, encoding and lines of a file, in bounded memory."""

from __future__ import annotations

import codecs
import contextlib
import io
import os
import re
from collections.abc import Callable, Iterator
from typing import Any, BinaryIO

from propmodel.bench.reading.records import BenchFileError

__all__ = ["HEAD_BYTES", "lines_of", "open_bytes", "refuse_markup", "sniff_encoding"]

HEAD_BYTES = 1 << 18
"""Number of bytes from which the file type is determined."""
LONGEST_LINE = 1 << 17
"""Length of a line from which a file is not a table. [characters]"""
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


@contextlib.contextmanager
def open_bytes(source: Any) -> Iterator[tuple[BinaryIO, str, int]]:
    """Context that opens a path, bytes or a file-like object and yields the stream, its name and its size (or 0).

    Parameters
    ----------
    source : path, bytes, text or file
        The source; a text is a path.
    """
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
    """Return the encoding of a text file; raise an error for other file types.

    Parameters
    ----------
    head : bytes
        First bytes of the file, a few hundred kB at most.

    Raises
    ------
    BenchFileError
        If the bytes are empty or not a text table; the sentence names the file type.
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
    """Raise BenchFileError if the text is a web page or data in another format.

    Parameters
    ----------
    text : str
        Start of the file.
    """
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
    """Yield the lines of a stream in lists of about a megabyte; LF, CR LF and a single CR end a line.

    Parameters
    ----------
    stream : binary file
        Read to its end.
    encoding : str
        Encoding from `sniff_encoding`.
    size : int
        Size of the file, for the progress; 0 if unknown. [byte]
    progress : callable, optional
        Called with the share that has been read, 0 to 1.
    """
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
        # a CR at the end of a block may be the first half of CR LF
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
