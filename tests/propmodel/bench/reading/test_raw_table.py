"""Reading stand logs: every layout of the list of files that users bring, each typed here from one invented table.

What is expected is the table that was typed in, so each test checks that a layout loses and bends nothing.
"""

from __future__ import annotations

import io
import os

import bench_files as typed
import numpy as np
import pytest
from numpy.testing import assert_allclose

from propmodel import bench


def check(log: bench.BenchLog, *, rtol: float = 2e-4) -> None:
    """The five columns hold the typed table in SI."""
    p = log.points
    assert log.kind == "stand"
    assert len(p) == len(typed.THROTTLE)
    assert_allclose(p["throttle_share"], typed.THROTTLE / 100, atol=1e-3)
    assert_allclose(p["voltage_v"], typed.VOLT, rtol=rtol)
    assert_allclose(p["current_a"], typed.AMP, rtol=max(rtol, 1e-3))
    assert_allclose(p["speed_rev_per_s"], typed.RPM / 60, rtol=rtol)
    assert_allclose(p["thrust_n"], typed.GRAM * typed.GF, rtol=rtol)


def unit_of(log: bench.BenchLog, meaning: str) -> str:
    return next(guess.unit for guess in log.guesses if guess.meaning == meaning)


# --- encodings, delimiters, decimal signs, line ends -----------------------------------------------------------


@pytest.mark.parametrize("sep", [",", ";", "\t", "|", ", ", "    "])
def test_delimiters(sep: str) -> None:
    check(bench.read(typed.text(sep=sep).encode()))


@pytest.mark.parametrize("sep", [";", "\t"])
def test_decimal_comma(sep: str) -> None:
    log = bench.read(typed.text(sep=sep, comma=True).encode())
    check(log)
    assert "decimal comma" in log.notes[0]


def test_decimal_comma_with_points_between_thousands() -> None:
    body = typed.text(sep=";", comma=True).splitlines()
    wide = [body[0]]
    for line in body[1:]:
        cells = line.split(";")
        whole, part = cells[3].split(",")
        cells[3] = f"{int(whole):,}".replace(",", ".") + "," + part
        wide.append(";".join(cells))
    check(bench.read("\n".join(wide).encode()))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_encodings(encoding: str) -> None:
    head = ["Signal to ESC (µs)", *typed.HEAD[1:], "Torque (N·m)"]
    body = [[1000 + 10 * row[0], *row[1:], q] for row, q in zip(typed.rows(), typed.TORQUE, strict=True)]
    log = bench.read(typed.text(head, body, digits=5).encode(encoding))
    check(log)
    assert_allclose(log.points["torque_nm"], typed.TORQUE, atol=1e-5)
    assert unit_of(log, "throttle") == "us"


def test_signs_already_broken_into_two_characters() -> None:
    head = ["Signal to ESC (Âµs)", *typed.HEAD[1:], "Torque (NÂ·m)"]
    body = [[1000 + 10 * row[0], *row[1:], q] for row, q in zip(typed.rows(), typed.TORQUE, strict=True)]
    log = bench.read(typed.text(head, body, digits=5).encode("utf-8"))
    check(log)
    assert unit_of(log, "torque") == "nm"


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends(end: str) -> None:
    check(bench.read(typed.text(end=end).encode()))


def test_trailing_comma_and_byte_order_mark() -> None:
    lines = [line + "," for line in typed.text().splitlines()]
    check(bench.read(("\ufeff" + "\n".join(lines)).encode("utf-8")))
    body_only = [lines[0].rstrip(","), *lines[1:]]
    check(bench.read("\n".join(body_only).encode()))


@pytest.mark.parametrize("source", ["path", "pathlike", "bytes", "binary file", "text file"])
def test_sources(source: str, tmp_path) -> None:
    data = typed.text().encode()
    path = tmp_path / "log.csv"
    path.write_bytes(data)
    before = sorted(os.listdir(tmp_path))
    if source == "text file":
        check(bench.read(io.StringIO(data.decode())))
    elif source == "binary file":
        with open(path, "rb") as handle:
            check(bench.read(handle))
    else:
        check(bench.read({"path": str(path), "pathlike": path, "bytes": data}[source]))
    assert sorted(os.listdir(tmp_path)) == before


# --- headings --------------------------------------------------------------------------------------------------


def test_comment_lines_and_commented_heading() -> None:
    lines = typed.text().splitlines()
    check(bench.read("\n".join(["# stand of the club", "# 12 C", *lines]).encode()))
    check(bench.read("\n".join(["# stand of the club", "# " + lines[0], *lines[1:]]).encode()))


def test_heading_below_many_lines_of_key_and_value() -> None:
    block = [f"setting {i},{i * 3}" for i in range(150)]
    log = bench.read("\n".join([*block, typed.text()]).encode())
    check(log)
    assert "line 151" in log.notes[0]


def test_a_heading_that_names_the_pack_is_what_its_unit_says() -> None:
    lines = ["elapsed ms,pack volts,pack amps,m1,m2,m3,m4"]
    lines += [f"{100 * k},{16.4 - 0.01 * k:.2f},{9.0 + k % 3},480,485,478,482" for k in range(60)]
    log = bench.read("\n".join(lines).encode())
    assert log.kind == "flight"
    assert log.frame["voltage_v"].iloc[0] == pytest.approx(16.4)
    assert log.frame["current_a"].iloc[0] == pytest.approx(9.0)


def test_heading_beyond_the_searched_lines_is_not_taken() -> None:
    block = [f"setting {i},word" for i in range(230)]
    log = bench.read("\n".join([*block, typed.text()]).encode())
    check(log)  # the numbers tell the columns apart, and that is said
    assert "guessed_columns" in [doubt.kind for doubt in log.doubts]
    with pytest.raises(bench.BenchFileError, match="first 200 lines"):
        bench.read("\n".join(block).encode())


def test_units_in_a_second_line() -> None:
    lines = typed.text(sep=";").splitlines()
    log = bench.read("\n".join(["Throttle;Voltage;Current;Speed;Thrust", "%;V;A;rpm;g", *lines[1:]]).encode())
    check(log)


def test_other_languages() -> None:
    head = ["Gas [%]", "Spannung [V]", "Strom [A]", "Drehzahl [1/min]", "Schub [g]"]
    check(bench.read(typed.text(head, sep=";", comma=True).encode()))


def test_no_heading_is_guessed_and_said() -> None:
    log = bench.read(typed.text([]).encode())
    check(log)
    assert [doubt.kind for doubt in log.doubts if doubt.kind == "guessed_columns"]
    why = {guess.meaning: guess.why for guess in log.guesses}
    assert "square of column 4" in why["thrust"]
    assert "goes with its square" in why["speed"]
    assert "as a supply does" in why["voltage"]


def test_user_overrules_columns_and_units() -> None:
    head = ["a", "Voltage (V)", "Current (A)", "b", "c"]
    log = bench.read(
        typed.text(head).encode(),
        columns={"throttle": "a", "speed": 3, "thrust": "c"},
        units={"speed": "rpm", "thrust": "g", "throttle": "%"},
    )
    check(log)
    assert "chosen by the user" in next(g.why for g in log.guesses if g.meaning == "thrust")
    with pytest.raises(bench.BenchFileError, match="no column 'd'"):
        bench.read(typed.text(head).encode(), columns={"thrust": "d"})
    with pytest.raises(bench.BenchFileError, match="not a unit"):
        bench.read(typed.text().encode(), units={"thrust": "bananas"})


# --- units -----------------------------------------------------------------------------------------------------

# Factors from ISO 80000 and the exact pound (0.45359237 kg) and foot (0.3048 m).
POUND_FORCE = 0.45359237 * 9.80665


@pytest.mark.parametrize(
    ("unit", "newton"),
    [
        ("gf", typed.GF),
        ("g", typed.GF),
        ("kgf", 9.80665),
        ("kg", 9.80665),
        ("N", 1.0),
        ("lbf", POUND_FORCE),
        ("oz", POUND_FORCE / 16),
    ],
)
def test_thrust_units(unit: str, newton: float) -> None:
    body = [[*row[:4], row[4] * typed.GF / newton] for row in typed.rows()]
    check(bench.read(typed.text([*typed.HEAD[:4], f"Thrust ({unit})"], body, digits=6).encode()))


@pytest.mark.parametrize(
    ("unit", "newton_metre"),
    [
        ("N.m", 1.0),
        ("N·m", 1.0),
        ("Nm", 1.0),
        ("g cm", typed.GF * 0.01),
        ("kgf cm", 0.0980665),
        ("lbf ft", POUND_FORCE * 0.3048),
        ("oz in", POUND_FORCE / 16 * 0.0254),
        ("mN m", 1e-3),
        ("N cm", 0.01),
    ],
)
def test_torque_units(unit: str, newton_metre: float) -> None:
    body = [[*row, q / newton_metre] for row, q in zip(typed.rows(), typed.TORQUE, strict=True)]
    log = bench.read(typed.text([*typed.HEAD, f"Torque ({unit})"], body, digits=7).encode())
    assert_allclose(log.points["torque_nm"], typed.TORQUE, rtol=1e-3)


@pytest.mark.parametrize(("unit", "per_rev_per_s"), [("rpm", 60.0), ("rad/s", 2 * np.pi), ("Hz", 1.0), ("krpm", 0.06)])
def test_speed_units(unit: str, per_rev_per_s: float) -> None:
    body = [[*row[:3], row[3] / 60 * per_rev_per_s, row[4]] for row in typed.rows()]
    check(bench.read(typed.text([*typed.HEAD[:3], f"Speed ({unit})", typed.HEAD[4]], body, digits=6).encode()))


@pytest.mark.parametrize("unit", ["g", "N", "kgf"])
def test_thrust_without_a_unit_is_judged_by_the_power(unit: str) -> None:
    newton = {"g": typed.GF, "N": 1.0, "kgf": 9.80665}[unit]
    body = [[*row[:4], row[4] * typed.GF / newton] for row in typed.rows()]
    log = bench.read(typed.text([*typed.HEAD[:4], "Thrust"], body, digits=6).encode())
    check(log)
    assert "per watt" in next(g.why for g in log.guesses if g.meaning == "thrust")


@pytest.mark.parametrize("factor", [1.0, 0.01, 1e-3 / typed.GF * typed.GF, typed.GF * 0.01])
def test_torque_without_a_unit_is_judged_by_the_power(factor: float) -> None:
    body = [[*row, q / factor] for row, q in zip(typed.rows(), typed.TORQUE, strict=True)]
    log = bench.read(typed.text([*typed.HEAD, "Torque"], body, digits=7).encode())
    assert_allclose(log.points["torque_nm"], typed.TORQUE, rtol=1e-3)


@pytest.mark.parametrize(
    ("head", "write"),
    [
        ("Throttle", lambda t: t),
        ("Throttle", lambda t: t / 100),
        ("Throttle (%)", lambda t: t / 100),
        ("Throttle", lambda t: 1000 + 10 * t),
        ("Signal", lambda t: np.round(48 + 19.99 * t)),
        ("Signal to ESC (µs)", lambda t: 1000 + 10 * t),
    ],
)
def test_throttle_as_percent_share_pulse_and_digital_command(head: str, write) -> None:
    body = [[float(write(row[0])), *row[1:]] for row in typed.rows()]
    check(bench.read(typed.text([head, *typed.HEAD[1:]], body, digits=4).encode()))


def test_voltage_in_hundredths_without_a_unit() -> None:
    body = [[row[0], 100 * row[1], 100 * row[2], *row[3:]] for row in typed.rows()]
    log = bench.read(typed.text(["Throttle (%)", "Voltage", "Current", "RPM", "Thrust (g)"], body).encode())
    check(log)
    assert unit_of(log, "current") == "hundredths of A"


def test_efficiency_columns_are_not_taken_for_thrust_or_throttle() -> None:
    body = [[*row, 9.9, 60.0] for row in typed.rows()]
    log = bench.read(typed.text([*typed.HEAD, "Efficiency in thrust (gf/W)", "Efficiency of motor (%)"], body).encode())
    check(log)
    assert [g.column for g in log.guesses if g.meaning == "not used"] == [
        "Efficiency in thrust (gf/W)",
        "Efficiency of motor (%)",
    ]


# --- signs, blanks, spikes, holds, sweeps ----------------------------------------------------------------------


def test_pulling_thrust_and_turned_torque() -> None:
    body = [[*row[:4], -row[4], -q] for row, q in zip(typed.rows(), typed.TORQUE, strict=True)]
    log = bench.read(typed.text([*typed.HEAD, "Torque (N.m)"], body, digits=5).encode())
    check(log)
    assert_allclose(log.points["torque_nm"], typed.TORQUE, atol=1e-5)
    assert "sign changed" in next(g.why for g in log.guesses if g.meaning == "thrust")


def test_blank_cells_before_the_tare() -> None:
    lines = typed.text().splitlines()
    log = bench.read("\n".join([lines[0], "0,16.4,,,", "0,16.4,,,", *lines[1:]]).encode())
    assert len(log.points) == 12
    assert log.points["thrust_n"].isna().sum() == 2
    assert_allclose(log.points["thrust_n"].dropna(), typed.GRAM * typed.GF, rtol=1e-4)


def test_optical_speed_zero_when_not_fitted() -> None:
    body = [[*row, 0.0] for row in typed.rows()]
    log = bench.read(
        typed.text(
            [*typed.HEAD[:3], "Electrical speed of rotor (RPM)", typed.HEAD[4], "Optical speed of rotor (RPM)"], body
        ).encode()
    )
    check(log)
    assert any("no sensor fitted" in g.why for g in log.guesses)


def test_optical_speed_tells_the_pole_count() -> None:
    body = [[*row[:3], row[3] * 12 / 14, row[4], row[3]] for row in typed.rows()]
    log = bench.read(
        typed.text(
            [*typed.HEAD[:3], "Electrical speed of rotor (RPM)", typed.HEAD[4], "Optical speed of rotor (RPM)"], body
        ).encode()
    )
    check(log)
    doubt = next(d for d in log.doubts if d.kind == "pole_count")
    assert "about 12" in doubt.sentence
    assert doubt.rows


def test_poles_given_by_the_user_correct_the_speed() -> None:
    # 14 set in the logger, 12 on the motor: reads 12/14 of the truth (electrical turns per turn = poles / 2)
    body = [[*row[:3], row[3] * 12 / 14, row[4]] for row in typed.rows()]
    check(bench.read(typed.text(body=body).encode(), poles=12))


def test_electrical_speed_needs_the_poles() -> None:
    body = [[*row[:3], row[3] * 7, row[4]] for row in typed.rows()]
    check(bench.read(typed.text([*typed.HEAD[:3], "eRPM", typed.HEAD[4]], body).encode()))


def test_holds_give_the_median_of_their_last_half() -> None:
    head, body = typed.holds()
    log = bench.read(typed.text(head, body, digits=4).encode())
    assert len(log.frame) == 400
    assert list(log.points["rows"]) == [40] * 10
    # noise 0.4 % a row, 20 rows: the median within 0.4 %; the unsettled first half would be off by up to 30 %
    assert_allclose(log.points["thrust_n"], typed.GRAM * typed.GF, rtol=0.004)
    assert_allclose(log.points["current_a"], typed.AMP, rtol=0.004)


def test_single_spikes_are_left_out_and_named() -> None:
    head, body = typed.holds()
    body[130][4] *= 9.0
    body[333][5] = -5000.0
    log = bench.read(typed.text(head, body, digits=4).encode())
    assert_allclose(log.points["thrust_n"], typed.GRAM * typed.GF, rtol=0.004)
    doubt = next(d for d in log.doubts if d.kind == "spikes")
    assert {130, 333} <= set(doubt.rows)
    assert {132, 335} <= set(doubt.lines)


def test_sweep_up_and_down() -> None:
    up = typed.rows()
    log = bench.read(typed.text(body=[*up, *up[::-1][1:]]).encode())
    assert list(log.points["sweep"]) == ["up"] * 10 + ["down"] * 9


def test_fast_ramp_is_read_in_bins() -> None:
    t = np.linspace(0, 1, 3000)
    body = [[100 * x, 16.4 - 0.9 * x**3, 21 * x**2.25, 19000 * x**0.75, 1100 * x**1.5] for x in t]
    log = bench.read(typed.text(body=body).encode())
    p = log.points
    assert 15 <= len(p) <= 30
    assert_allclose(p["thrust_n"], 1100 * typed.GF * p["throttle_share"] ** 1.5, rtol=0.05, atol=0.02)


# --- hand-typed tables -----------------------------------------------------------------------------------------


def test_hand_typed_table_with_signs_thousands_and_names_in_the_first_row_only() -> None:
    text = "\n".join(
        [
            "Motor\tProp\tThrottle\tVoltage\tAmps\tThrust (G)\tRPM",
            "2306 1700KV\t5x4.5x3\t50%\t16.1\t7.2\t480\t15,210",
            "\t\t75%\t15.9\t16.0\t890\t20,400",
            "\t\t100%\t15.6\t27.5\t1,234\t23,900",
            "\t6x4\t50%\t16.1\t6.9\t560\t13,100",
            "\t\t100%\t15.7\t25.1\t1,410\t20,050",
        ]
    )
    p = bench.read(text.encode()).points
    assert_allclose(p["thrust_n"] / typed.GF, [480, 890, 1234, 560, 1410])
    assert_allclose(p["speed_rev_per_s"] * 60, [15210, 20400, 23900, 13100, 20050])
    assert list(p["propeller"]) == ["5x4.5x3"] * 3 + ["6x4"] * 2
    assert list(p["block"]) == [0, 0, 0, 1, 1]
    assert list(p["motor"]) == ["2306 1700KV"] * 5


def test_thousands_parted_by_the_delimiter_itself() -> None:
    text = "Throttle,Volts,Amps,Thrust (g),RPM\n50%,16.1,7.2,480,15,210\n75%,15.9,16.0,890,20,400\n"
    text += "100%,15.6,27.5,1,234,23,900\n"
    p = bench.read(text.encode()).points
    assert_allclose(p["thrust_n"] / typed.GF, [480, 890, 1234])
    assert_allclose(p["speed_rev_per_s"] * 60, [15210, 20400, 23900])


def test_quoted_thousands() -> None:
    text = 'Throttle,Volts,Amps,Thrust (g),RPM\n50%,16.1,7.2,480,"15,210"\n75%,15.9,16.0,890,"20,400"\n'
    text += '100%,15.6,27.5,"1,234","23,900"\n'
    p = bench.read(text.encode()).points
    assert_allclose(p["thrust_n"] / typed.GF, [480, 890, 1234])


def test_text_in_a_number_column_is_named_not_swallowed() -> None:
    lines = typed.text().splitlines()
    cells = lines[4].split(",")
    cells[4] = "broke here"
    lines[4] = ",".join(cells)
    log = bench.read("\n".join(lines).encode())
    doubt = next(d for d in log.doubts if d.kind == "unreadable_cells")
    assert doubt.lines == (5,)
    assert np.isnan(log.points["thrust_n"].iloc[3])


# --- labels, export, size --------------------------------------------------------------------------------------


def test_labels_from_the_file_name() -> None:
    log = bench.read(typed.named(typed.text(), "2306_1700kv_6x4.5x3_4s.csv"))
    assert log.labels["kv"] == 1700
    assert_allclose([log.labels["diameter"], log.labels["pitch"]], [0.1524, 0.1143])
    assert log.labels["blades"] == 3
    assert log.labels["cells"] == 4


def test_export_is_harmless_in_a_spreadsheet() -> None:
    text = 'Prop,Throttle (%),Voltage (V),Current (A),Thrust (g)\n"=HYPERLINK(""x"")",20,12,1,50\n'
    text += "@sum,40,12,3,120\n-2+3,60,12,6,260\n5x4,80,11.8,9,400\n"
    log = bench.read(text.encode())
    for line in log.to_csv().splitlines()[1:]:
        for cell in line.split(","):
            assert cell.strip('"')[:1] not in ("=", "@", "+"), line
    assert bench.safe_cell("-2+3") == "'-2+3"
    assert bench.safe_cell("-2.5") == "-2.5"
    assert bench.safe_cell("\t=1") == "'\t=1"
    assert bench.safe_cell("＝1+1") == "'＝1+1"  # a full-width sign is taken for one by some programs
    assert bench.safe_cell(-4.0) == -4.0


def test_progress_is_told_and_ends_at_one(tmp_path) -> None:
    head, body = typed.holds(each=4000)
    path = tmp_path / "long.csv"
    path.write_text(typed.text(head, body))
    seen: list[float] = []
    log = bench.read(path, progress=seen.append)
    assert len(log.frame) == 40000
    assert seen == sorted(seen)
    assert seen[-1] == 1.0
    assert len(seen) >= 3


@pytest.mark.slow
def test_a_million_rows_in_bounded_memory(tmp_path) -> None:
    """100 MB, 1e6 rows: below 700 MB for the whole process (python, numpy and pandas take 110 of them)."""
    import subprocess
    import sys

    path = tmp_path / "long.csv"
    line = ",".join(["%.3f"] * 12)
    with open(path, "w") as out:
        out.write("Time (s),Throttle (us),Voltage (V),Current (A),Thrust (gf),Torque (N.m),RPM,a,b,c,d,e\n")
        for k in range(1_050_000 // 50_000):
            for i in range(k * 50_000, (k + 1) * 50_000):
                pulse = 1000 + i // 10500 % 11 * 100
                out.write(line % (i / 100, pulse, 12, 5, 400, 0.08, 15000, 1, 2, 3, 4, 123456.789) + "\n")
    code = (
        # the peak of this program alone: ru_maxrss would begin at the size of the test run that started it
        "import re,sys; from propmodel import bench; log = bench.read(sys.argv[1]);"
        "peak = re.search(r'VmHWM:\\s+(\\d+)', open('/proc/self/status').read()).group(1);"
        "print(len(log.frame), int(peak) / 1024)"
    )
    out = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, timeout=120, check=True
    )
    count, peak = map(float, out.stdout.split())
    assert count == 1_050_000
    assert peak < 700.0
