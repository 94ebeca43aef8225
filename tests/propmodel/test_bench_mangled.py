"""Files that are broken, hostile or no logs at all: one plain sentence or a reading, never a crash, hang or write."""

from __future__ import annotations

import io
import os
import random
import time
import zipfile
import zlib

import bench_files as typed
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from long_run import examples

from propmodel import bench

PLAIN = typed.text().encode()
RANDOM = random.Random(20251125)


def _zip(name: str, data: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, data)
    return out.getvalue()


def _noise(size: int) -> bytes:
    return RANDOM.randbytes(size)


HTML = "<!DOCTYPE html><html><body><table><tr><td>Thrust</td><td>Voltage</td></tr></table></body></html>"
RAW = b"H File:flight log\nH Version:2\nH Fields:time,voltage,current\nH Rate:1/2\n" + _noise(4000)

# name: (bytes, the words of the one sentence that must come, or None where either way is fine)
MANGLED: dict[str, tuple[bytes, str | None]] = {
    "empty": (b"", "empty"),
    "only blanks": (b" \n\t\r\n  ", "empty"),
    "only a byte-order mark": (b"\xef\xbb\xbf", "empty"),
    "zip": (_zip("log.csv", PLAIN), "archive"),
    "workbook": (_zip("xl/worksheets/sheet1.xml", b"<x/>"), "save the sheet as CSV"),
    "old workbook": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + _noise(500), "save the sheet as CSV"),
    "gzip": (b"\x1f\x8b\x08\x00" + zlib.compress(PLAIN), "unpack"),
    "other archive": (b"7z\xbc\xaf\x27\x1c" + _noise(200), "unpack"),
    "document": (b"%PDF-1.7\n" + _noise(300), "PDF"),
    "picture": (b"\x89PNG\r\n\x1a\n" + _noise(300), "picture"),
    "photo": (b"\xff\xd8\xff\xe0" + _noise(300), "picture"),
    "program": (b"\x7fELF" + _noise(300), "program"),
    "database": (b"SQLite format 3\x00" + _noise(300), "export"),
    "noise": (_noise(5000), "CSV"),
    "short noise": (b"\x00\x01\x02\x03\x00\xff" * 10, "CSV"),
    "raw flight log": (RAW, "raw log"),
    "web page": (HTML.encode(), "web page"),
    "web page after blanks": (b"\n\n   " + HTML.encode(), "web page"),
    "markup": (b"<?xml version='1.0'?><log><row thrust='1'/></log>", "web page"),
    "json": (b'{"thrust": [1, 2, 3], "voltage": [3, 4, 5]}', "JSON"),
    "json rows": (b'[{"thrust": 1, "voltage": 12}]', "JSON"),
    "heading only": (b"Throttle (%),Voltage (V),Current (A),Thrust (g)\n", "no rows"),
    "heading and words": (b"Throttle,Voltage,Thrust\na,b,c\nd,e,f\n", "no rows"),
    "a letter": (b"Dear all,\n\nplease find the log attached.\n\nThanks\n", "name the columns"),
    "a shopping list": (b"part,price\nmotor,12\npropeller,3\npack,25\n", "name the columns"),
    "no useful column": (b"Time (s),Temperature (C)\n1,20\n2,21\n3,22\n", "thrust"),
    "huge line": (b"Throttle,Voltage,Thrust\n" + b"1," * 400_000 + b"\n", "longer than"),
    "huge line without end": (b"9" * 3_000_000, "longer than"),
    "huge line in the middle": (PLAIN + b"1;" * 200_000 + b"\n" + PLAIN, "longer than"),
    "cut in a line": (PLAIN[: len(PLAIN) // 2 + 3], None),
    "cut in the heading": (PLAIN[:12], "name the columns"),
    "cut in a character": ("Schub (g);Drehzahl (1/min);µ".encode()[:-1] + b"\n100;2000\n200;3000\n", None),
    "wrong encoding": ("Throttle (%),Voltage (V),Thrust (g)\n1,2,3\n".encode("utf-16")[1:], None),
    "utf-16 cut by one byte": (typed.text().encode("utf-16")[:-1], None),
    "dos letters": ("Throttle;Voltage;Thrust (µ)\n10;12;40\n20;12;90\n30;12;150\n".encode("cp437"), None),
    "wrong delimiter": (typed.text(sep=":").encode(), "commas or semicolons"),
    "mixed delimiters": ((typed.text() + typed.text(sep=";")).encode(), None),
    "formulas": (b"Throttle,Voltage,Thrust\n=1+1,12,=cmd|'/c calc'!A0\n+20,12,@SUM(A1)\n30,12,100\n", None),
    "formula heading": (b"=Throttle (%),=Voltage (V),@Thrust (g)\n10,12,50\n20,12,100\n30,12,160\n", None),
    "quotes left open": (b'Throttle,Voltage,Thrust\n"10,12,50\n20,12,100\n30,12,"160\n40,12,200\n', None),
    "quotes everywhere": (b'"' * 5000 + b"\n" + PLAIN, None),
    "nul bytes": (PLAIN.replace(b"1", b"\x001"), None),
    "ragged rows": (b"Throttle,Voltage,Thrust\n1\n10,12,50,1,2,3,4,5,6,7\n20,12\n,,,\n30,12,160\n", None),
    "absurd numbers": (b"Throttle,Voltage,Thrust\n1e308,-1e308,inf\n1e400,-inf,0\n" + b"5,12,100\n" * 3, None),
    "all zero": (b"Throttle,Voltage,Current,RPM,Thrust\n" + b"0,0,0,0,0\n" * 20, None),
    "all blank": (b"Throttle,Voltage,Current,RPM,Thrust\n" + b",,,,\n" * 20, "no rows"),
    "one row": (b"Throttle (%),Voltage (V),Current (A),Thrust (g)\n100,16,20,900\n", None),
    "thousands of columns": (b"Thrust (g)," * 3000 + b"Voltage\n" + b"1," * 3000 + b"12\n", None),
    "heading twice in the middle": (PLAIN + PLAIN, None),
    "control letters in headings": (b"Throttle\x1b[31m,Voltage\x07,Thrust\x08\n10,12,50\n20,12,90\n30,12,100\n", None),
    "path in a cell": (b"Prop,Throttle,Voltage,Thrust\n../../etc/passwd,10,12,50\nC:\\x,30,12,100\n", None),
}  # fmt: skip


CELL = st.text(alphabet="0123456789.,-+e%;\"' \tVAµxrpm=@", max_size=8)


def read_or_sentence(data: bytes) -> str | bench.BenchLog:
    """Read, or return the sentence; anything else fails the test."""
    start = time.process_time()
    try:
        log = bench.read(data)
    except bench.BenchFileError as error:
        sentence = str(error)
        assert 10 < len(sentence) < 400
        assert "\n" not in sentence
        assert "Traceback" not in sentence
        assert sentence.isprintable()
        return sentence
    finally:
        assert time.process_time() - start < 10.0
    assert len(log.frame) > 0
    log.to_csv()
    return log


def test_there_are_forty() -> None:
    assert len(MANGLED) >= 40


@pytest.mark.parametrize("name", list(MANGLED))
def test_mangled(name: str, tmp_path, monkeypatch) -> None:
    data, words = MANGLED[name]
    path = tmp_path / "log.csv"
    path.write_bytes(data)
    monkeypatch.chdir(tmp_path)
    before = {entry.name: entry.stat().st_mtime_ns for entry in os.scandir(tmp_path)}
    seen = read_or_sentence(data)
    assert {entry.name: entry.stat().st_mtime_ns for entry in os.scandir(tmp_path)} == before
    if words is not None:
        assert isinstance(seen, str), "read as a log"
        assert words in seen
    # the same by path
    if isinstance(seen, str):
        with pytest.raises(bench.BenchFileError):
            bench.read(path)
    else:
        assert len(bench.read(path).frame) == len(seen.frame)


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("no/such/file.csv", "no file 'file.csv'"),
        (".", "folder"),
        ("a\x00b", "not the name of a file"),
        ("x" * 5000, "not the name of a file"),
        (os.devnull, "ordinary file"),
        (12, "path of a log file"),
        (None, "path of a log file"),
    ],
)
def test_no_file_at_all(source, words: str) -> None:
    with pytest.raises(bench.BenchFileError, match=words):
        bench.read(source)


@settings(max_examples=examples(150), suppress_health_check=[HealthCheck.too_slow])
@given(
    cut=st.integers(0, len(PLAIN)),
    flips=st.lists(st.tuples(st.integers(0, len(PLAIN) - 1), st.integers(0, 255)), max_size=12),
    repeat=st.integers(1, 3),
)
@example(cut=len(PLAIN), flips=[(0, 34)], repeat=1)
def test_flipped_and_cut_bytes(cut: int, flips: list[tuple[int, int]], repeat: int) -> None:
    data = bytearray(PLAIN)
    for place, value in flips:
        data[place] = value
    read_or_sentence(bytes(data[:cut]) * repeat)


@settings(max_examples=examples(150))
@given(st.binary(max_size=400))
def test_any_bytes(data: bytes) -> None:
    read_or_sentence(data)


@settings(max_examples=examples(150))
@given(st.lists(st.lists(CELL, min_size=1, max_size=7), min_size=1, max_size=12))
def test_any_cells_below_a_good_heading(cells: list[list[str]]) -> None:
    read_or_sentence(("\n".join([",".join(typed.HEAD), *(",".join(row) for row in cells)])).encode())
