"""Doubts about a stand log, on tables made by the physics itself with one fault put in.

The clean table is the forecast of a known motor and propeller (so its truth is known); every fault is one that
logs of users have. Against measured tables: tests/published/test_bench_logs.py.
"""

from __future__ import annotations

from dataclasses import replace

import bench_files as typed
import numpy as np
import pytest

from propmodel import Motor, Propeller, bench, bench_curve
from propmodel.bench.quality_flags import overall_merit
from propmodel.components.controller import Controller
from propmodel.components.motor import from_stator

MOTOR = from_stator(0.025, 0.007, 1800.0)
PROPELLER = Propeller(0.1524, 0.1016, 3)
THROTTLE = np.linspace(0.1, 1.0, 10)
HEAD = ["Throttle (%)", "Voltage (V)", "Current (A)", "RPM", "Thrust (g)", "Torque (N.m)"]


def table(**faults: float) -> list[list[float]]:
    """Rows of a clean stand run on a stiff supply; each fault multiplies a column."""
    volts = 16.0 - 0.4 * THROTTLE**3
    curve = bench_curve(MOTOR, PROPELLER, volts, THROTTLE, speed_controller=Controller(throttle_exponent=0.9))
    columns = {
        "throttle": 100 * THROTTLE, "voltage": volts, "current": curve.supply_current, "rpm": 60 * curve.rev_per_s,
        "thrust": curve.thrust / typed.GF, "torque": curve.torque,
    }  # fmt: skip
    columns = {name: values * faults.get(name, 1.0) for name, values in columns.items()}
    return [list(row) for row in zip(*columns.values(), strict=True)]


def read(rows: list[list[float]], head: list[str] | None = None, **options) -> bench.BenchLog:
    options = {"motor": MOTOR, "propeller": PROPELLER, **options}
    return bench.read(typed.text(head or HEAD, rows, digits=6).encode(), **options)


def kinds(log: bench.BenchLog) -> set[str]:
    return {doubt.kind for doubt in log.doubts}


def test_clean_table_raises_nothing() -> None:
    assert kinds(read(table())) == set()


@pytest.mark.parametrize(
    ("faults", "expected"),
    [
        ({"torque": 1.5}, "torque_against_current"),
        ({"torque": 0.5}, "torque_against_current"),
        ({"current": 0.4, "torque": 1.0}, "shaft_above_electrical"),
        ({"rpm": 2.0}, "kv_label"),
        ({"rpm": 12 / 14}, "pole_count"),
        ({"rpm": 14 / 12}, "pole_count"),
        ({"thrust": 0.4}, "another_propeller"),
        ({"thrust": 2.2}, "another_propeller"),
    ],
)
def test_one_fault(faults: dict[str, float], expected: str) -> None:
    log = read(table(**faults))
    assert expected in kinds(log)
    doubt = next(doubt for doubt in log.doubts if doubt.kind == expected)
    assert doubt.rows
    assert len(doubt.lines) == len(doubt.rows)
    assert doubt.lines[0] == log.points["source_row"].loc[doubt.rows[0]]
    assert doubt.sentence[0].isupper()
    assert doubt.sentence.endswith(".")


def test_wrong_kv_label() -> None:
    log = read(table(), motor=replace(MOTOR, kv=1250.0))
    assert kinds(log) & {"kv_label", "pole_count", "torque_against_current"}


def test_supply_limit_has_its_rows_and_can_be_left_out() -> None:
    rows = table()
    top = rows[7][2] * 1.02
    for row in rows[8:]:  # the supply holds the current and lets the voltage fall
        row[1] *= top / row[2]
        row[2] = top
        row[4] *= 0.9
    log = read(rows)
    assert log.rows_in_doubt(["supply_limit"]) == (8, 9)
    assert "from 90 % throttle" in next(d.sentence for d in log.doubts if d.kind == "supply_limit")
    assert list(log.without(["supply_limit"]).points.index) == list(range(8))
    assert len(log.points) == 10  # the log itself is unchanged


def test_a_sagging_pack_is_no_supply_limit() -> None:
    """Voltage falls by 15 % in proportion to the current: that is a pack."""
    volts = 16.4 - 2.4 * THROTTLE**2.5
    curve = bench_curve(MOTOR, PROPELLER, volts, THROTTLE)
    volts = 16.4 - 0.11 * curve.supply_current
    columns = (100 * THROTTLE, volts, curve.supply_current, 60 * curve.rev_per_s, curve.thrust / typed.GF)
    rows = [list(row) for row in zip(*columns, strict=True)]
    assert "supply_limit" not in kinds(read(rows, HEAD[:5]))


def test_no_voltage_and_few_steps() -> None:
    log = read([[row[0], *row[2:]] for row in table()], [HEAD[0], *HEAD[2:]])
    assert "no_voltage" in kinds(log)
    log = read(table()[-3:])
    assert log.rows_in_doubt(["few_steps"]) == (0, 1, 2)


def test_without_voltage_a_supply_limit_shows_in_the_thrust() -> None:
    rows = [[row[0], row[2], row[3], row[4]] for row in table()]
    for k, fall in ((8, 0.96), (9, 0.9)):
        rows[k][1], rows[k][3] = rows[7][1], rows[7][3] * fall
    log = read(rows, [HEAD[0], HEAD[2], HEAD[3], HEAD[4]])
    assert log.rows_in_doubt(["supply_limit"]) == (8, 9)


def test_power_column_that_is_not_voltage_times_current() -> None:
    rows = [[*row, row[1] * row[2] * 1.4] for row in table()]
    log = read(rows, [*HEAD, "Electrical Power (W)"])
    assert "sensor_scale" in kinds(log)
    rows = [[*row, row[1] * row[2]] for row in table()]
    assert kinds(read(rows, [*HEAD, "Electrical Power (W)"])) == set()


def test_thrust_beyond_the_ideal_disc() -> None:
    rows = [[row[0], row[1], row[2], row[4] * 1.9] for row in table()]
    log = read(rows, [HEAD[0], HEAD[1], HEAD[2], HEAD[4]])
    assert "sensor_scale" in kinds(log)


def test_slipped_reading_and_tare() -> None:
    rows = table()
    rows[6][4] *= 1.6
    assert read(rows).rows_in_doubt(["odd_row"]) == (6,)
    rows = [[0.0, 16.0, 0.05, 0.0, 90.0, 0.0], *table()]
    assert read(rows).rows_in_doubt(["tare"]) == (0,)


def test_run_without_propeller() -> None:
    speed = 0.98 * MOTOR.kv * THROTTLE * 16.0
    current = MOTOR.no_load_current * speed / speed[-1] * 1.5
    rows = [[100 * t, 16.0, i, n, 1.0, 0.0002] for t, i, n in zip(THROTTLE, current, speed, strict=True)]
    log = bench.read(typed.text(HEAD, rows, digits=5).encode(), motor=MOTOR)
    assert "no_propeller" in kinds(log)
    assert not kinds(log) & {"another_propeller", "few_steps", "sensor_scale", "torque_against_current"}
    slow = [[*row[:3], row[3] * 12 / 14, *row[4:]] for row in rows]
    assert "pole_count" in kinds(bench.read(typed.text(HEAD, slow, digits=5).encode(), motor=MOTOR))


def test_each_block_is_judged_by_its_own_names() -> None:
    good, other = table(), table(thrust=0.4)
    lines = ["Prop,Motor,Throttle (%),Voltage (V),Current (A),RPM,Thrust (g)"]
    for label, rows in (("6x4x3", good), ("6x4x3 second", other)):
        for i, row in enumerate(rows):
            names = f"{label},2507 1800KV" if i == 0 else ","
            lines.append(names + "," + ",".join(f"{value:.4f}" for value in row[:5]))
    log = bench.read("\n".join(lines).encode())
    assert log.rows_in_doubt(["another_propeller"])
    assert set(log.rows_in_doubt(["another_propeller"])) <= set(range(10, 20))


def test_motor_of_numbers_only_is_enough() -> None:
    assert kinds(read(table(), motor=Motor(1800 * 0.93, float(MOTOR.resistance), 1.0))) == set()


def test_overall_merit_against_the_ideal_disc() -> None:
    """W. Rankine, R. Froude: P = T sqrt(T/(2 rho A)); 10 N on 0.05 m2 in 1.225 kg/m3 needs 90.35 W (by hand)."""
    diameter = float(np.sqrt(4 * 0.05 / np.pi))
    assert overall_merit(np.array([10.0]), np.array([180.7]), diameter, 1.225)[0] == pytest.approx(0.5, rel=1e-3)
