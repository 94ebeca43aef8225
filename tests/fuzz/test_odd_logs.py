"""Stand tables and flight logs with every kind of damage: the right numbers, a doubt in words, or one sentence.

One stand table and one flight log whose numbers are known are spoiled one way at a time. Ways of damage: common
practice, from memory. `test_bench_mangled` has files that are no logs at all.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field

import numpy as np
import pytest
from long_run import LONG

import propmodel
from propmodel import bench

HEAD = "Throttle (%),Voltage (V),Current (A),RPM,Thrust (g)"
STEPS = [(t, 12 - t / 100, (t / 20) ** 2, 170 * t, (t / 4.7) ** 2) for t in range(20, 101, 10)]
RIGHT = {
    "throttle_share": (0.2, 1.0), "voltage_v": (11.0, 11.8), "current_a": (1.0, 25.0),
    "speed_rev_per_s": (170 * 20 / 60, 170 * 100 / 60),
    "thrust_n": ((20 / 4.7) ** 2 * 9.80665e-3, (100 / 4.7) ** 2 * 9.80665e-3),
}  # fmt: skip
"""Least and greatest of every column of the stand table, in SI."""


def stand(change=lambda row: row, head=HEAD, steps=STEPS) -> str:
    """The stand table, every row changed by a function."""
    return "\n".join([head, *(",".join(str(cell) for cell in change(row)) for row in steps)]) + "\n"


def column(index: int, value) -> str:
    """The stand table with one column replaced."""
    return stand(lambda r: [value(cell) if i == index else cell for i, cell in enumerate(r)])


def cell(index: int, text: str) -> str:
    """The stand table with one cell replaced, that of 50 %."""
    return stand(lambda r: [text if i == index and r[0] == 50 else c for i, c in enumerate(r)])


PLAIN = stand()
LINES = PLAIN.splitlines()


@dataclass
class Read:
    """What a reading must give."""

    rows: int = 9
    doubts: tuple[str, ...] = ()
    columns: dict = field(default_factory=lambda: RIGHT)


STAND: dict[str, tuple[str | bytes, Read | str]] = {
    "plain": (PLAIN, Read()),
    "byte order mark": (b"\xef\xbb\xbf" + PLAIN.encode(), Read()),
    "UTF-16": (PLAIN.encode("utf-16"), Read()),
    "UTF-16 without a mark": (PLAIN.encode("utf-16-le"), Read()),
    "line ends of Windows": (PLAIN.replace("\n", "\r\n"), Read()),
    "line ends of old": (PLAIN.replace("\n", "\r"), Read()),
    "mixed line ends": (PLAIN.replace("\n", "\r\n", 4), Read()),
    "no last line end": (PLAIN.rstrip("\n"), Read()),
    "NUL bytes in cells": (PLAIN.replace("11.", "1\x001."), "this file is not text"),
    "NUL bytes behind": (PLAIN + "\x00" * 1000, "this file is not text"),
    "semicolons": (PLAIN.replace(",", ";"), Read()),
    "tabs": (PLAIN.replace(",", "\t"), Read()),
    "bars": (PLAIN.replace(",", "|"), Read()),
    "decimal comma and semicolons": (PLAIN.replace(",", ";").replace(".", ","), Read()),
    "decimal comma and tabs": (PLAIN.replace(",", "\t").replace(".", ","), Read()),
    "decimal comma and commas": (PLAIN.replace(".", ","), "the file has a heading but no rows of numbers below it"),
    "quotes round every cell": (
        "\n".join(",".join(f'"{c}"' for c in line.split(",")) for line in LINES), Read(),
    ),
    "blanks round every cell": ("\n".join(" , ".join(line.split(",")) for line in LINES), Read()),
    "trailing commas": ("\n".join(line + ",,," for line in LINES), Read()),
    "blank lines between": ("\n\n".join(LINES), Read()),
    "comments between": ("\n# by hand\n".join(LINES), Read()),
    "units in a second line": (
        "Throttle,Voltage,Current,RPM,Thrust\n%,V,A,rpm,g\n" + "\n".join(LINES[1:]), Read(),
    ),
    "heading in capitals": (PLAIN.replace(HEAD, HEAD.upper()), Read()),
    "rows from the highest down": ("\n".join([LINES[0], *reversed(LINES[1:])]), Read()),
    "thrust pulls": (column(4, lambda v: -v), Read()),
    "speed turned the other way": (column(3, lambda v: -v), Read()),
    "negative current": (column(2, lambda v: -v), Read(9, ("negative_current",), {"current_a": (-25.0, -1.0)})),
    "negative voltage": (column(1, lambda v: -v), Read(9, ("impossible",), {"voltage_v": (-11.8, -11.0)})),
    "voltage of another world": (column(1, lambda v: v * 1e30), Read(9, ("impossible", "no_propeller"), {})),
    "throttle to 300 %": (column(0, lambda v: v * 3), Read(9, ("impossible",), {"throttle_share": (0.6, 3.0)})),
    "thrust of a ship": (column(4, lambda v: v * 1e9), Read(9, ("impossible",), {})),
    "current of a welder": (column(2, lambda v: v * 1e6), Read(9, ("impossible", "no_propeller"), {})),
    "a million rpm": (column(3, lambda v: v * 1e3), Read(9, ("impossible",), {})),
    "no thrust at all": (column(4, lambda v: 0.0), Read(9, ("no_propeller",), {"thrust_n": (0.0, 0.0)})),
    "a cell of NaN": (cell(1, "NaN"), Read()),
    "a cell of infinity": (cell(1, "inf"), Read(9, ("unreadable_cells",))),
    "a cell beyond floats": (cell(1, "1e999"), Read(9, ("unreadable_cells",))),
    "a cell of text": (cell(1, "n/a?"), Read(9, ("unreadable_cells",))),
    "a cell of a formula": (cell(1, "=1+1"), Read(9, ("unreadable_cells",))),
    "a cell of 400 digits": (cell(1, "9" * 400), Read(9, ("unreadable_cells",))),
    "a blank cell": (cell(1, ""), Read()),
    "a cell with its unit": (cell(1, "11.5 V"), Read()),
    "a row of NaN": (stand(lambda r: ["nan"] * 5 if r[0] == 50 else r), Read(8)),
    "rows of NaN throughout": (stand(lambda r: ["nan"] * 5), "no rows of numbers below it"),
    "rows of text throughout": (stand(lambda r: ["x"] * 5), "no rows of numbers below it"),
    "heading only": (HEAD, "no rows"),
    "one row": ("\n".join(LINES[:2]), Read(1, ("few_steps",), {"voltage_v": (11.8, 11.8)})),
    "two rows": ("\n".join(LINES[:3]), Read(2, ("few_steps",), {"voltage_v": (11.7, 11.8)})),
    "two tables in one": (PLAIN + PLAIN, Read(18, ("unreadable_cells",))),
    "two tables and a blank line": (PLAIN + "\n" + PLAIN, Read(18, ("unreadable_cells",))),
    "a heading twice": (
        PLAIN.replace("RPM", "Voltage (V)"), Read(9, ("same_heading",), {"voltage_v": (11.0, 11.8)}),
    ),
    "a heading twice, same values": (
        stand(lambda r: [*r, r[1]], HEAD + ",Voltage (V)"), Read(),
    ),
    "the thrust twice": (stand(lambda r: [*r, r[4] * 2], HEAD + ",Thrust (g)"), Read(9, ("same_heading",))),
    "a blank heading": (stand(lambda r: [*r, 5], HEAD + ","), Read()),
    "a column without a heading": (stand(lambda r: [*r, 5]), "no rows of numbers below it"),
    "a short row": (PLAIN + "100,11\n", Read(10)),
    "markup as a heading": (stand(lambda r: [*r, 5], HEAD + ",<script>alert(1)</script>"), Read()),
    "a formula as a heading": (stand(lambda r: [*r, 5], HEAD + ",=cmd|'/c calc'!A0"), Read()),
    "a thousand headings": (stand(lambda r: [*r, *[5] * 995], HEAD + "".join(f",c{k}" for k in range(995))), Read()),
}  # fmt: skip


@pytest.mark.parametrize("kind", STAND)
def test_a_spoiled_stand_table(kind):
    text, wanted = STAND[kind]
    _check(text, wanted, "stand")


def _check(text: str | bytes, wanted: Read | str, kind: str) -> bench.BenchLog | None:
    data = text if isinstance(text, bytes) else text.encode()
    begun = time.process_time()
    if isinstance(wanted, str):
        with pytest.raises(bench.BenchFileError) as refused:
            bench.read(data)
        assert wanted in str(refused.value) and len(str(refused.value)) < 300
        return None
    log = bench.read(data)
    assert time.process_time() - begun < 5.0
    assert log.kind == kind and len(log.frame) == wanted.rows
    assert {doubt.kind for doubt in log.doubts} == set(wanted.doubts), [doubt.sentence for doubt in log.doubts]
    for doubt in log.doubts:
        assert doubt.sentence[0].isupper() and doubt.sentence.endswith(".") and len(doubt.sentence) < 400
    for name, (low, high) in wanted.columns.items():
        values = log.frame[name].to_numpy(float)
        np.testing.assert_allclose((np.nanmin(values), np.nanmax(values)), (low, high), rtol=1e-6, err_msg=name)
    return log


@pytest.mark.parametrize(
    "kind", ["negative current", "negative voltage", "throttle to 300 %", "voltage of another world"]
)
def test_nothing_is_calibrated_on_impossible_values(kind):
    log = bench.read(STAND[kind][0].encode())
    craft = propmodel.demo("scree")
    with pytest.raises(
        ValueError, match=r"^this table is not calibrated, since it is in doubt: The (current|voltage|thr)"
    ):
        bench.calibrate(log, craft.motor, craft.propeller)


# ---- flights ------------------------------------------------------------------------------------------------

FLOWN = "time (s),voltage (V),current (A)"


def flown(start: float = 0.0, *, rows: int = 600, step: float = 0.5, amps=lambda k: 20.0) -> str:
    """Rows of a flight at one current: 600 rows of half a second at 20 A are 1.664 Ah and 300 s."""
    return "".join(f"{start + k * step:.3f},{25 - 4 * k / rows:.3f},{amps(k)}\n" for k in range(rows))


ONE = f"{FLOWN}\n{flown()}"
AMPERE_HOURS = 20.0 * 299.5 / 3600.0
SPAN = {"current_a": (20.0, 20.0)}

FLIGHTS: dict[str, tuple[str | bytes, Read | str, float]] = {
    "plain": (ONE, Read(600, (), SPAN), AMPERE_HOURS),
    "in milliseconds": (
        f"{FLOWN.replace('(s)', '(ms)')}\n{flown(step=500.0)}", Read(600, (), {"time_s": (0.0, 299.5)}), AMPERE_HOURS,
    ),
    "clock of the day": (
        FLOWN + "\n" + "".join(f"12:{k // 120:02}:{k % 120 / 2:04.1f},{25 - k / 150:.3f},20\n" for k in range(600)),
        Read(600, (), SPAN), AMPERE_HOURS,
    ),
    "over midnight": (
        FLOWN + "\n" + "".join(
            f"{(23 * 60 + 58 + k // 120) // 60 % 24:02}:{(58 + k // 120) % 60:02}:{k % 120 / 2:04.1f},"
            f"{25 - k / 150:.3f},20\n" for k in range(600)
        ),
        Read(600, (), SPAN), AMPERE_HOURS,
    ),
    "the clock starts again": (ONE + flown(), Read(1200, ("joined",), SPAN), 2 * AMPERE_HOURS),
    "it starts again later": (f"{FLOWN}\n{flown(1000.0)}{flown(5.0)}", Read(1200, ("joined",), SPAN), 2 * AMPERE_HOURS),
    "three flights": (ONE + flown() + flown(), Read(1800, ("joined",), SPAN), 3 * AMPERE_HOURS),
    "heading in the middle": (ONE + ONE, Read(1200, ("joined", "unreadable_cells"), SPAN), 2 * AMPERE_HOURS),
    "a gap": (f"{FLOWN}\n{flown(rows=300)}{flown(5000.0, rows=300)}", Read(600, ("gaps",), SPAN),
              2 * 20.0 * 149.5 / 3600.0),
    "from the end to the start": (
        FLOWN + "\n" + "".join(reversed(flown().splitlines(keepends=True))), Read(600, (), SPAN), AMPERE_HOURS,
    ),
    "decimal comma": (ONE.replace(",", ";").replace(".", ","), Read(600, (), SPAN), AMPERE_HOURS),
    "quotes": (
        "\n".join(",".join(f'"{c}"' for c in line.split(",")) for line in ONE.splitlines()), Read(600, (), SPAN),
        AMPERE_HOURS,
    ),
    "UTF-16 of Windows": (ONE.replace("\n", "\r\n").encode("utf-16"), Read(600, (), SPAN), AMPERE_HOURS),
    "current negative throughout": (
        f"{FLOWN}\n{flown(amps=lambda k: -20.0)}", Read(600, ("negative_current",), {"current_a": (-20.0, -20.0)}),
        -1.0,
    ),
    "current of NaN throughout": (f"{FLOWN}\n{flown(amps=lambda k: 'nan')}", Read(600, ("no_current",), {}), -1.0),
    "the clock stands": (
        FLOWN + "\n" + "".join(f"0,{25 - k / 150:.3f},20\n" for k in range(600)), Read(600, ("still_clock",), SPAN),
        -1.0,
    ),
    "one row": (FLOWN + "\n0,25,20\n", Read(1, ("still_clock",), SPAN), -1.0),
    "negative voltage": (
        "\n".join([FLOWN, *(f"{k / 2},-20,20" for k in range(600))]), Read(600, ("impossible",), SPAN), -1.0,
    ),
    "hundredths of a volt": (
        "\n".join([FLOWN, *(f"{k / 2},2500,20" for k in range(600))]), Read(600, (), {"voltage_v": (25.0, 25.0)}),
        AMPERE_HOURS,
    ),
    "one wild current": (
        f"{FLOWN}\n{flown(amps=lambda k: 1e6 if k == 300 else 20.0)}", Read(600, ("impossible",), {}), -1.0,
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", FLIGHTS)
def test_a_spoiled_flight_log(kind):
    text, wanted, charge = FLIGHTS[kind]
    log = _check(text, wanted, "flight")
    assert log is not None
    craft = propmodel.demo("scree")
    try:
        found = bench.calibrate_flight(log, craft)
    except ValueError as refused:
        assert charge < 0.0, refused
        assert len(str(refused)) > 20 and "\n" not in str(refused)
    else:
        if charge > 0.0:
            assert found.charge_used == pytest.approx(charge, rel=0.01)


@pytest.mark.skipif(not LONG, reason="a minute: in the long run")
def test_a_million_rows_are_read_or_thinned():
    for data in (f"{FLOWN}\n{flown(rows=1_000_000, step=0.001)}", PLAIN + "\n".join(LINES[1:] * 110_000)):
        begun = time.process_time()
        log = bench.read(data.encode())
        assert time.process_time() - begun < 60.0
        assert len(log.frame) > 10_000 and all(doubt.sentence for doubt in log.doubts)
        assert log.frame["current_a"].max() in (20.0, 25.0)
