"""The whole bench chain (motor, propeller, controller) against thrust-stand tables measured by others.

Sources: set A github.com/StrawsonDesign/motor_propeller_testing (commit 70314183, MIT); set C
github.com/alspitz/esc_test (commit 4078609, MIT), torque measured; set D github.com/jmajew/thrust_tool
(commit 437936e, GPL-3.0), read here from the raw data beside the checkout and not part of the project. Air
was not recorded: 1.20 kg/m3 is assumed, which is worth about 3 % in thrust.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from propmodel.base.units import GRAM_FORCE, INCH, RPM
from propmodel.components import motor as m
from propmodel.components.air import atmosphere
from propmodel.components.controller import Controller
from propmodel.components.propeller import Propeller, prepare
from propmodel.powertrain.throttle_curve import bench_curve

AIR = replace(atmosphere(), density=1.20)
AVERAGE_DUTY = Controller(throttle_exponent=1.0)
"""Sets C and D are of stands near it (0.97 and 0.92 as each has it). What is checked on them is motor, propeller and
ripple; the default exponent is a rule between stands (data/motors/SOURCE.md): see test_bands_published.py for its
band."""

# Set C, tables C1 (1600 rpm/V) and C4 (1750 rpm/V), one 7x5.6 three-blade propeller:
# throttle %, V, A, rpm, g, N m
C1 = np.array(
    [
        (30, 15.906, 1.950, 6863, 204.51, 0.028694),
        (40, 15.837, 3.859, 8584, 347.41, 0.046537),
        (50, 15.720, 6.748, 10398, 516.30, 0.068000),
        (70, 15.290, 14.791, 13084, 852.12, 0.110949),
        (90, 14.899, 24.768, 15082, 1142.10, 0.147231),
        (100, 14.646, 29.689, 15829, 1249.84, 0.161003),
    ]
)
C4_TOP = (95, 14.831, 31.732, 15994, 1345.71, 0.166722)

# Set A at 100 %: stator mm, KV, propeller in, blades, V, A, rpm, g. The supply gave about 11 A at most, so
# some voltages have fallen; duty is 1 all the same.
A_ROWS = np.array(
    [
        (22, 5, 2600, 5, 4.0, 2, 9.052, 10.925, 18854, 403.70),
        (22, 4, 2300, 5, 4.5, 3, 10.839, 9.823, 17434, 408.42),
        (22, 5, 2400, 5, 4.0, 2, 10.790, 9.593, 19438, 437.34),
        (22, 6, 2350, 5, 4.5, 3, 10.487, 10.914, 17387, 452.23),
        (22, 6, 2000, 5, 4.0, 4, 10.842, 8.826, 15369, 408.86),
        (22, 6, 2000, 5, 5.3, 3, 10.870, 8.417, 15596, 405.90),
        (18, 4, 2400, 5, 4.0, 3, 10.835, 9.880, 16737, 370.27),
        (22, 6, 2450, 5, 4.5, 2, 8.570, 10.913, 17366, 390.04),
        (18, 6, 2500, 5, 4.5, 3, 8.838, 10.947, 16131, 374.45),
    ]
)


def read(path: Path) -> np.ndarray:
    """Rows of a raw table that turned: throttle %, V, A, rpm, g, N m."""
    rows = np.genfromtxt(path, delimiter=",", skip_header=1)
    return rows[rows[:, 0] > 0]


def own_propeller(label: Propeller, row) -> Propeller:
    """The propeller moved onto one measured row: thrust and torque there are exact."""
    n, thrust, torque, d = row[3] * RPM, row[4] * GRAM_FORCE, row[5], float(label.diameter)
    ready = prepare(label, AIR)
    c_t, c_p = (float(c) for c in ready.static(n))
    measured_t = thrust / (AIR.density * n**2 * d**4)
    measured_p = 2 * np.pi * torque / (AIR.density * n**2 * d**5)
    odds = []
    for t, p in ((measured_t, measured_p), (c_t, c_p)):
        merit = np.sqrt(2 / np.pi) * t**1.5 / p
        odds.append(np.log(merit / 0.85 / (1 - merit / 0.85)))
    return replace(label, log_c_t_offset=np.log(measured_t / c_t), figure_of_merit_offset=odds[0] - odds[1])


def own_motor(kv: float, row, *, loss: float = 3.5e-9 * 25**2 * 7) -> m.Motor:
    """The motor from one full-throttle row: torque constant and resistance; loss torque of a 2507."""
    volts, amps, n, torque = row[1], row[2], row[3] * RPM, row[5]
    k_t = (torque + loss * n) / amps
    r = (volts - 2 * np.pi * k_t * n) / amps
    at_10_v = 10.0 * loss / k_t / (2 * np.pi * k_t + r * loss / k_t)
    return m.Motor(kv, r, at_10_v, loaded_kv_ratio=60 / (2 * np.pi * kv * k_t))


def ratios(motor: m.Motor, propeller: Propeller, rows: np.ndarray) -> dict[str, np.ndarray]:
    """Forecast over measured at each row's own voltage and throttle."""
    curve = bench_curve(motor, propeller, rows[:, 1], rows[:, 0] / 100, air=AIR, speed_controller=AVERAGE_DUTY)
    return {
        "rpm": curve.rev_per_s / RPM / rows[:, 3],
        "thrust": curve.thrust / GRAM_FORCE / rows[:, 4],
        "current": curve.supply_current / rows[:, 2],
        "torque": curve.torque / rows[:, 5],
    }


def test_torque_constant_is_60_over_2_pi_kv_where_torque_was_measured():
    # Set C at full throttle: Q/(I - I0) against the label; the loss torque is that of a 2507 (0.6 A at 10 V).
    for kv, row in ((1600, C1[-1]), (1750, C4_TOP)):
        motor = m.Motor(kv, 0.16, 0.6)
        motor_current = row[2] / (row[0] / 100)
        assert float(m.torque(motor, motor_current, row[3] * RPM)) == pytest.approx(row[5], rel=0.12)


def test_throttle_curve_of_c1_from_its_top_row_and_the_propeller_of_c4():
    # Two motors, one propeller: the propeller is taken from the other motor's table and the motor from a
    # single row; the six rows of C1 must follow. Only the electrical side of the top row is an input.
    propeller = own_propeller(Propeller(7 * INCH, 5.6 * INCH, 3), C4_TOP)
    got = ratios(own_motor(1600, C1[-1]), propeller, C1)
    np.testing.assert_allclose(got["rpm"], 1.0, atol=0.08)
    np.testing.assert_allclose(got["thrust"], 1.0, atol=0.11)
    np.testing.assert_allclose(got["torque"], 1.0, atol=0.11)
    np.testing.assert_allclose(got["current"], 1.0, atol=0.12)


def test_part_throttle_needs_more_than_average_duty():
    # Same tables: without ripple and switching loss the current at 30 and 40 % comes out further below the
    # measured one than with it.
    propeller = own_propeller(Propeller(7 * INCH, 5.6 * INCH, 3), C4_TOP)
    motor = own_motor(1600, C1[-1])
    bare = replace(AVERAGE_DUTY, ripple_coefficient=0.0, standby_power=0.0)
    low = C1[:2]
    without = bench_curve(motor, propeller, low[:, 1], low[:, 0] / 100, air=AIR, speed_controller=bare).supply_current
    full = ratios(motor, propeller, low)["current"]
    assert np.all(without / low[:, 2] < full - 0.05)
    assert np.all(np.abs(full - 1) < np.abs(without / low[:, 2] - 1))


def label_forecast(rows: np.ndarray, motor: m.Motor):
    size = Propeller(rows[:, 3] * INCH, rows[:, 4] * INCH, rows[:, 5])
    curve = bench_curve(motor, size, rows[:, 6], 1.0, air=AIR)
    rpm = curve.rev_per_s / RPM / rows[:, 8]
    return rpm, curve.supply_current / rows[:, 7], curve.thrust / GRAM_FORCE / rows[:, 9]


def test_full_throttle_of_set_a_from_labels_alone():
    # These rows are among those the motor rule and the label fit were made from: this says that the chain
    # reproduces them, not how well it foresees. For that see data/motors/errors.csv (left-out motors).
    # One rule serves these older motors and makers' six-cell motors: it gives these a tenth to a quarter too many amps
    # where the supply held out (SOURCE.md there), which is one sd of the stated spread (0.24).
    motor = m.from_stator(A_ROWS[:, 0] * 1e-3, A_ROWS[:, 1] * 1e-3, A_ROWS[:, 2])
    rpm, current, thrust = label_forecast(A_ROWS, motor)
    assert np.median(np.abs(rpm - 1)) <= 0.07
    assert np.median(np.abs(current - 1)) <= 0.24
    assert np.median(np.abs(thrust - 1)) <= 0.15
    assert np.all(np.abs(rpm - 1) < 0.15)


def test_a_printed_winding_figure_taken_for_the_whole_promises_too_much():
    # Sellers print 0.04 to 0.08 ohm for such motors (from memory); the bench tables say 0.13 to 0.40.
    motor = m.from_stator(
        A_ROWS[:, 0] * 1e-3, A_ROWS[:, 1] * 1e-3, A_ROWS[:, 2], winding_resistance=np.full(len(A_ROWS), 0.06)
    )
    _, current, thrust = label_forecast(A_ROWS, m.winding_only_promise(motor))
    assert np.median(thrust) > 1.25
    assert np.median(current) > 1.25
    honest = label_forecast(A_ROWS, motor)
    assert np.median(np.abs(honest[2] - 1)) < 0.5 * np.median(np.abs(thrust - 1))


# ---- with the raw tables beside the checkout


def test_typed_rows_are_those_of_the_raw_tables(root, shared_data):
    with open(root / "data" / "bench" / "rows.csv", encoding="utf-8") as file:
        typed = list(csv.DictReader(file))
    assert len(typed) == 23
    for row in typed:
        (path,) = (shared_data / "bench").glob(row["table"] + "_*.csv")
        raw = np.genfromtxt(path, delimiter=",", skip_header=1)
        values = [
            float(row[c] or "nan")
            for c in (
                "throttle [%]",
                "voltage [V]",
                "current [A]",
                "speed [rpm]",
                "thrust [g]",
                "torque [N m]",
            )
        ]
        assert any(np.allclose(values, r, rtol=0, atol=1e-9, equal_nan=True) for r in raw), row
    for row in A_ROWS:
        raws = (np.genfromtxt(p, delimiter=",", skip_header=1) for p in (shared_data / "bench").glob("A_*.csv"))
        assert any(np.allclose(r[-1, 1:5], row[6:10], rtol=2e-3) for r in raws), row
    raw = np.genfromtxt(shared_data / "bench" / "C1_1600kv_7x5.6x3_16V.csv", delimiter=",", skip_header=1)
    for row in C1:
        assert any(np.allclose(row, r, rtol=1e-4) for r in raw), row


def test_whole_tables_c1_and_c4_crosswise(shared_data):
    # Each motor from its own top row, the propeller from the *other* motor's top row; from 25 % throttle up.
    # The two tops differ by 4 % in C_T, and these controllers give about 5 % more speed at middle throttle
    # than average duty says.
    label = Propeller(7 * INCH, 5.6 * INCH, 3)
    c1 = read(shared_data / "bench" / "C1_1600kv_7x5.6x3_16V.csv")
    c4 = read(shared_data / "bench" / "C4_1750kv_7x5.6x3_16V.csv")
    # 95 % is C4's top: the row as a motor sees it (volts x duty, amps / duty)
    c4_full = c4[-1].copy()
    c4_full[1], c4_full[2] = c4[-1, 1] * 0.95, c4[-1, 2] / 0.95
    for motor, propeller, rows in (
        (own_motor(1600, c1[-1]), own_propeller(label, c4[-1]), c1),
        (own_motor(1750, c4_full), own_propeller(label, c1[-1]), c4),
    ):
        got = ratios(motor, propeller, rows[rows[:, 0] >= 25])
        assert np.median(np.abs(got["rpm"] - 1)) < 0.06
        assert np.median(np.abs(got["thrust"] - 1)) < 0.12
        assert np.median(np.abs(got["current"] - 1)) < 0.12


def test_four_cells_from_three(shared_data):
    # Set D: all is taken from the full-throttle row on three cells (D01); the table on four (D02) follows.
    d01 = read(shared_data / "bench" / "D01_2507_1800kv_6x4x3_3s.csv")
    d02 = read(shared_data / "bench" / "D02_2507_1800kv_6x4x3_4s.csv")
    motor, propeller = own_motor(1800, d01[-1]), own_propeller(Propeller(6 * INCH, 4 * INCH, 3), d01[-1])
    upper = d02[d02[:, 0] >= 40]
    got = ratios(motor, propeller, upper)
    np.testing.assert_allclose(got["rpm"], 1.0, atol=0.06)
    np.testing.assert_allclose(got["thrust"], 1.0, atol=0.12)
    np.testing.assert_allclose(got["current"], 1.0, atol=0.14)


def test_what_one_more_cell_costs_and_buys(shared_data):
    # Set D at full throttle: four cells against three, measured +50 % thrust for +46 % current; from labels.
    tops = np.array(
        [
            read(shared_data / "bench" / f"{name}.csv")[-1]
            for name in ("D01_2507_1800kv_6x4x3_3s", "D02_2507_1800kv_6x4x3_4s")
        ]
    )
    curve = bench_curve(m.from_stator(0.025, 0.007, 1800), Propeller(6 * INCH, 4 * INCH, 3), tops[:, 1], 1.0, air=AIR)
    assert curve.thrust[1] / curve.thrust[0] == pytest.approx(tops[1, 4] / tops[0, 4], rel=0.10)
    assert curve.supply_current[1] / curve.supply_current[0] == pytest.approx(tops[1, 2] / tops[0, 2], rel=0.10)


def test_no_load_current_grows_with_speed(shared_data):
    # D03 and D04, no propeller: from the three-cell run (1.01 A at 11.82 V) to the four-cell run (1.31 A).
    d03 = read(shared_data / "bench" / "D03_2507_1800kv_noprop_3s.csv")[-1]
    d04 = read(shared_data / "bench" / "D04_2507_1800kv_noprop_4s.csv")[-1]
    motor = m.Motor(1800, 0.13, d03[2], no_load_voltage=d03[1])
    assert float(m.no_load_current(motor, m.no_load_speed(motor, d04[1]))) == pytest.approx(d04[2], rel=0.03)
    assert float(m.no_load_speed(motor, d04[1])) / RPM == pytest.approx(d04[3], rel=0.03)
    # and the estimate from the stator volume, which many motors share: within its 80 % band of 1.6^1.28 = 1.83
    guess = m.from_stator(0.025, 0.007, 1800, loaded_kv_ratio=1.0)
    assert abs(np.log(m.no_load_current(guess, d03[3] * RPM) / d03[2])) < 1.2816 * np.log(m.IRON_TORQUE_BAND)
