"""Reading, doubting and calibrating against open thrust-stand tables.

Sources (raw data beside the checkout, not part of the project): set A
github.com/StrawsonDesign/motor_propeller_testing (commit 70314183, MIT), 8 motors x 8 five-inch propellers on a
supply limited to about 11 A; set C github.com/alspitz/esc_test (commit 4078609), torque measured; set D
github.com/jmajew/thrust_tool (commit 437936e, GPL-3.0), two of them without a propeller; set H gist
fujin/41f0edd5661c7659cbc3, full throttle only; set I, an unknown motor. Which tables are supply-limited, without
propeller, or not the propeller of their label is written in the index of the tables, by whoever collected them.
"""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from propmodel import Propeller, bench, bench_curve
from propmodel.components.motor import from_stator
from propmodel.components.propeller import spread

GF = 9.80665e-3
# Stator sizes as the index gives them ("2205-size"), mm
STATOR = {
    "a": (22, 5),
    "b": (18, 6),
    "c": (22, 6),
    "d": (22, 4),
    "e": (22, 5),
    "f": (22, 6),
    "g": (22, 6),
    "h": (18, 4),
}


@pytest.fixture(scope="module")
def folder(shared_data: Path) -> Path:
    if not (shared_data / "bench" / "index.md").is_file():
        pytest.skip("raw thrust-stand tables not found beside the checkout")
    return shared_data / "bench"


@pytest.fixture(scope="module")
def logs(folder: Path) -> dict[str, bench.BenchLog]:
    return {path.stem: bench.read(path) for path in sorted(folder.glob("*.csv"))}


@pytest.fixture(scope="module")
def index(folder: Path) -> dict[str, list[str]]:
    """Table name -> cells of its line in the index."""
    lines = (folder / "index.md").read_text().splitlines()
    cells = ([cell.strip() for cell in line.strip("|").split("|")] for line in lines if ".csv" in line)
    return {row[0].removesuffix(".csv"): row for row in cells if row[0].endswith(".csv")}


def wrong(log: bench.BenchLog) -> list[str]:
    return sorted({doubt.kind for doubt in log.doubts})


def test_every_table_reads_without_hand_work(logs, folder: Path) -> None:
    assert len(logs) >= 74
    for name, log in logs.items():
        with open(folder / f"{name}.csv", newline="") as handle:
            rows = list(csv.DictReader(handle))
        assert log.kind == "stand"
        assert len(log.points) == len(rows), name
        for column, ours, factor in (
            ("voltage_V", "voltage_v", 1.0),
            ("current_A", "current_a", 1.0),
            ("rpm", "speed_rev_per_s", 1 / 60),
            ("thrust_g", "thrust_n", GF),
            ("torque_Nm", "torque_nm", 1.0),
            ("throttle_pct", "throttle_share", 0.01),
        ):
            typed = np.array([float(row[column]) if row[column] else np.nan for row in rows])
            if np.isfinite(typed).any():
                assert_allclose(log.points[ours], typed * factor, rtol=1e-9, err_msg=f"{name} {column}")
            else:
                assert ours not in log.points


def test_thrust_coefficient_agrees_with_the_index(logs, index) -> None:
    """The index prints a C_T for most tables, worked out by its writer from the same rows, to three digits."""
    ratios = []
    for name, row in index.items():
        printed = row[9]
        if not printed or name not in logs or "diameter" not in logs[name].labels:
            continue
        p = logs[name].points
        p = p[p["speed_rev_per_s"] > 0]
        c_t = p["thrust_n"] / (1.225 * p["speed_rev_per_s"] ** 2 * logs[name].labels["diameter"] ** 4)
        ratios.append(float(c_t.median()) / float(printed))
    # One factor for all: the writer took 1.20 kg/m3. Three digits are worth 0.4 %, which rows were taken a little more.
    assert len(ratios) >= 60
    assert abs(np.median(ratios) - 1.20 / 1.225) < 0.003
    assert np.ptp(ratios) < 0.045


def test_supply_limits_are_those_of_the_index(logs, index) -> None:
    exact = 0
    tables = [name for name in logs if name.startswith("A_")]
    for name in tables:
        told = re.search(r"limit reached from ([\d.]+)% throttle", " ".join(index[name]))
        rows = list(logs[name].rows_in_doubt(["supply_limit"]))
        assert bool(told) == bool(rows), name
        if not told:
            exact += 1
            continue
        p = logs[name].points
        first = 100 * p["throttle_share"].loc[rows].min()
        exact += abs(first - float(told.group(1))) < 0.1
        assert abs(first - float(told.group(1))) < 11.0, name  # at most one step away
    assert exact >= len(tables) - 4


def test_no_clean_table_is_doubted(logs) -> None:
    """Every table but the known ones: nothing but the supply limit of set A."""
    known = ("A_b4", "D03", "D04", "H_")
    for name, log in logs.items():
        if name.startswith(known):
            continue
        allowed = {"supply_limit"} if name.startswith("A_") else set()
        assert set(wrong(log)) <= allowed, (name, [doubt.sentence for doubt in log.doubts])


def test_the_other_propeller_is_found(logs) -> None:
    log = next(log for name, log in logs.items() if name.startswith("A_b4"))
    doubt = next(doubt for doubt in log.doubts if doubt.kind == "another_propeller")
    assert len(doubt.rows) >= 5
    assert doubt.severity == "wrong"


def test_runs_without_propeller_and_single_points(logs) -> None:
    for start in ("D03", "D04"):
        assert wrong(next(log for name, log in logs.items() if name.startswith(start))) == ["no_propeller"]
    single = next(log for name, log in logs.items() if name.startswith("H_"))
    assert wrong(single) == ["few_steps"]
    assert set(single.doubts[0].rows) == set(single.points.index)


# --- faults put into clean tables ------------------------------------------------------------------------------


def altered(folder: Path, name: str, change) -> bench.BenchLog:
    """A table read after its rows were changed."""
    path = next(folder.glob(f"{name}*.csv"))
    with open(path, newline="") as handle:
        rows = list(csv.DictReader(handle))
    changed = change(rows)
    out = io.StringIO()
    writer = csv.DictWriter(out, list(changed[0]))
    writer.writeheader()
    writer.writerows(changed)
    stream = io.BytesIO(out.getvalue().encode())
    stream.name = path.name
    return bench.read(stream)


def scaled(column: str, factor: float):
    def change(rows):
        return [{**row, column: str(float(row[column]) * factor) if row[column] else ""} for row in rows]

    return change


def without_voltage(rows):
    return [{name: cell for name, cell in row.items() if name != "voltage_V"} for row in rows]


def test_faults_put_in_are_found(folder: Path) -> None:
    cases = [
        ("D01", scaled("torque_Nm", 1.5), {"torque_against_current", "shaft_above_electrical"}),
        ("C1", scaled("torque_Nm", 0.6), {"torque_against_current"}),
        ("D01", scaled("current_A", 0.5), {"torque_against_current", "shaft_above_electrical"}),
        ("D02", scaled("rpm", 2.0), {"kv_label", "pole_count", "another_propeller", "shaft_above_electrical"}),
        ("A_g1", scaled("thrust_g", 2.0), {"another_propeller"}),
        ("A_g1", scaled("thrust_g", 9.80665), {"another_propeller", "sensor_scale"}),
        ("D04", scaled("rpm", 12 / 14), {"pole_count"}),
        ("D03", scaled("rpm", 0.75), {"kv_label"}),
        ("A_g1", lambda rows: rows[-3:], {"few_steps"}),
        ("C1", without_voltage, {"no_voltage"}),
        ("A_a1", without_voltage, {"no_voltage", "supply_limit"}),
    ]
    for name, change, expected in cases:
        found = wrong(altered(folder, name, change))
        assert set(found) & expected, (name, found, expected)
        if expected == {"no_voltage", "supply_limit"}:
            assert expected <= set(found)
    slipped = altered(
        folder, "C1", lambda rows: [{**r, "thrust_g": "900"} if i == 9 else r for i, r in enumerate(rows)]
    )
    assert slipped.rows_in_doubt(["odd_row"]) == (9,)


def test_wrong_pole_count_is_found_where_it_can_be(folder: Path) -> None:
    """From label alone, on five-inch propellers whose C_T scatters by 17 to 22 %.

    Six in ten are told where the speed is read too low, one in seven where it is read too high: the rule that these
    older motors share with makers' motors forecasts 4 % too much speed for them.
    """
    for factor, least in ((12 / 14, 0.5), (14 / 12, 0.1)):
        tables = [path.stem for path in sorted(folder.glob("A_*.csv"))[::3]]
        kinds = {"pole_count", "kv_label", "another_propeller"}
        found = [bool(kinds & set(wrong(altered(folder, name, scaled("rpm", factor))))) for name in tables]
        assert np.mean(found) >= least, (factor, np.mean(found))


# --- calibration -----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def calibrated(logs) -> dict[str, bench.Calibration]:
    """Motor and propeller of each table of set A, on their own; b4 is another propeller and left out."""
    out = {}
    for name, log in logs.items():
        if name.startswith("A_") and not name.startswith("A_b4"):
            d, h = STATOR[name[2]]
            motor = from_stator(d / 1000, h / 1000, log.labels["kv"])
            propeller = Propeller(log.labels["diameter"], log.labels["pitch"], log.labels["blades"])
            out[name[2:4]] = bench.calibrate(log, motor, propeller)
    return out


def test_cross_forecast(logs, calibrated) -> None:
    """Motor from one table, propeller from another motor's table, forecast their pair at the throttle given.

    Wanted: median |error| at most 5 % in thrust and 7 % in current over more than 80 points. Rows where the
    supply was at its limit are left out of the comparison; rows below 2 % of the highest thrust too.
    """
    thrust, current = [], []
    motors, propellers = "abcdefgh", "12345678"
    for i, motor in enumerate(motors):
        for k, propeller in enumerate(propellers):
            source_m = motor + propellers[(k + 3) % 8]
            source_p = motors[(i + 3) % 8] + propeller
            if not {motor + propeller, source_m, source_p} <= set(calibrated):
                continue
            log = next(log for name, log in logs.items() if name.startswith(f"A_{motor}{propeller}"))
            p = log.without(["supply_limit"]).points
            p = p[(p["thrust_n"] > 0.02 * p["thrust_n"].max()) & (p["throttle_share"] > 0)]
            curve = bench_curve(
                calibrated[source_m].motor,
                calibrated[source_p].propeller,
                p["voltage_v"].to_numpy(),
                p["throttle_share"].to_numpy(),
                speed_controller=calibrated[source_m].controller,
            )
            thrust.append(curve.thrust / p["thrust_n"].to_numpy() - 1)
            current.append(curve.supply_current / p["current_a"].to_numpy() - 1)
    off_t, off_i = np.concatenate(thrust), np.concatenate(current)
    assert off_t.size > 80
    assert np.median(np.abs(off_t)) <= 0.05
    assert np.median(np.abs(off_i)) <= 0.07


def test_calibration_collapses_the_spread_and_keeps_the_motor_physical(calibrated) -> None:
    for name, found in calibrated.items():
        label = Propeller(0.127, float(found.propeller.pitch), int(found.propeller.blades))
        assert found.propeller.log_sd_c_t < 0.25 * float(spread(label).log_sd_c_t), name
        assert found.motor.log_sd_resistance < 0.4, name
        assert 0.8 < float(found.motor.kv) / (float(found.spread.loc["kv", "label"])) < 1.2, name


def test_one_propeller_keeps_its_thrust_coefficient_on_all_motors(calibrated) -> None:
    """The index says: static C_T belongs to the propeller, 3 to 4 % over the motors of set A."""
    for propeller in "12345678":
        values = [float(c.propeller.log_c_t_offset) for name, c in calibrated.items() if name[1] == propeller]
        scatter = 1.4826 * np.median(np.abs(values - np.median(values)))
        assert scatter < 0.045, (propeller, values)


def test_measured_torque_tells_the_power_coefficient(logs) -> None:
    """Set C: C_P of the calibrated propeller against C_P from the measured torque (P = 2 pi n Q), row by row."""
    for start, kv in (("C1", 1600), ("C4", 1750)):
        log = next(log for name, log in logs.items() if name.startswith(start))
        found = bench.calibrate(log, from_stator(0.025, 0.007, kv), Propeller(0.1778, 0.14224, 3))
        r = found.residuals[found.residuals["torque_nm"].notna()]
        assert np.median(np.abs(r["off_torque"])) < 0.05
        assert np.median(np.abs(r["off_thrust"])) < 0.03
        assert np.nanmedian(np.abs(r["off_current"])) < 0.06
