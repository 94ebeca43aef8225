"""Readings of the first power-up and tables of a stand: what they do to the forecast of the build."""

from __future__ import annotations

from dataclasses import replace

import pytest

from explorer.app_pages.plug_in import answers, log_answers
from explorer.forecasts import headlines
from explorer.inputs import Inputs, measured_parts, to_build
from explorer.session import bench_log
from propmodel import bench, power_up


def test_a_reading_on_the_forecast_narrows_and_does_not_move():
    items = answers.learned(Inputs(), {"stand_pull": 1.0, "stand_current": 1.0})
    assert items
    for item in items:
        assert item.after[1] == pytest.approx(item.before[1], rel=1e-9)
        assert item.widths[1] < item.widths[0]


def test_a_stand_reading_beside_the_forecast_moves_the_pull_with_it():
    pull = {i.name: i for i in answers.learned(Inputs(), {"stand_pull": 0.9})}["thrust_to_weight"]
    # pull over weight is the pull of a rotor over a known weight: it follows most of the way
    assert 0.89 < pull.after[1] / pull.before[1] < 0.94
    assert pull.before[0] < pull.after[1] < pull.before[2]


def test_more_readings_never_widen():
    shares = {"hover_command": 1.0, "hover_current": 1.0, "stand_pull": 1.0}
    for a, b, c in zip(
        answers.learned(Inputs(), {}),
        answers.learned(Inputs(), {"hover_command": 1.0}),
        answers.learned(Inputs(), shares),
        strict=True,
    ):
        assert c.widths[1] <= b.widths[1] * 1.001
        assert b.widths[1] <= a.widths[1] * 1.001


def test_every_telling_reading_is_a_step_that_is_shown():
    p = answers.power(Inputs(), modern=True)
    titles = {s.title for s in power_up.power_up_steps(p)}
    assert set(answers.READINGS) <= titles
    middle = {t: 1.0 for t in answers.READINGS}
    assert set(answers.reading_shares(p, middle)) == set(answers.READINGS.values())


def test_the_middle_of_the_forecast_has_share_one():
    p = answers.power(Inputs(), modern=None)
    shares = answers.reading_shares(p, {"First hover: current": p.hover_current[1]})
    assert shares == {"hover_current": pytest.approx(1.0)}


def test_readings_become_parts_of_the_build():
    own = answers.from_readings(Inputs(), {"stand_pull": 0.9, "stand_current": 0.95})
    after = headlines.answers(measured_parts.with_measured(Inputs(), own))
    before = headlines.answers(Inputs())
    assert 0.86 < after.mid.thrust_to_weight / before.mid.thrust_to_weight < 0.96
    assert after.high.thrust_to_weight / after.low.thrust_to_weight < (
        before.high.thrust_to_weight / before.low.thrust_to_weight
    )


def test_pack_resistance_from_a_flight_is_the_build_s_own():
    inputs = Inputs()
    from propmodel.components import battery

    cell = log_answers.cell_mohm_from_pack(inputs, 0.040)
    told = replace(inputs, cell_mohm=cell, cell_mohm_at_c=inputs.pack_temperature_c)
    assert float(battery.resistance(to_build(told).pack, 0.5)) == pytest.approx(0.040, rel=0.01)


def test_a_real_table_feeds_the_build(shared_data):
    # shared data/bench, D01: an open thrust-stand table of a 2507 1800 KV motor with a 6x4x3 propeller on 3S
    file = shared_data / "bench" / "D01_2507_1800kv_6x4x3_3s.csv"
    held = bench_log.read_log("1", file.name, file.read_bytes())
    assert held.problem == ""
    differ = log_answers.labels_differ(held.log.labels, Inputs())
    assert set(differ) == {"motor", "propeller"}
    mine = replace(Inputs(), **log_answers.label_values(held.log.labels))
    assert log_answers.labels_differ(held.log.labels, mine) == {}
    motor, blades, esc, air = log_answers.stand_parts(mine, held.log.labels, own_motor=True, own_propeller=True)
    fit = bench.calibrate(held.log, motor, blades, controller=esc, air=air)
    own = measured_parts.measured(mine, file.name, motor=fit.motor, propeller=fit.propeller)
    made = headlines.build(measured_parts.with_measured(mine, own))
    # what the calibration found is what the engine reckons with
    assert float(made.motor.resistance) == pytest.approx(float(fit.motor.resistance))
    assert float(made.propeller.log_c_t_offset) == pytest.approx(float(fit.propeller.log_c_t_offset))


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\x00\x01\x02" * 400,
        b"PK\x03\x04" + b"x" * 200,
        b"<!doctype html><table><tr><td>1</td></tr></table>",
        b"a" * 300_000,
        b"one,two\nred,blue\n",
        "Дата;Время\n1;2\n".encode("utf-16"),
    ],
    ids=["empty", "binary", "zip", "web page", "one huge line", "words", "utf-16"],
)
def test_a_file_that_cannot_be_used_gets_one_sentence(data):
    held = bench_log.read_log("x", "../../<b>odd</b>.csv", data)
    assert held.log is None
    assert held.problem.endswith((".", "!", "?"))
    assert len(held.problem) < 600


def test_progress_of_a_long_file_comes_to_its_end():
    text = "time (s),voltage (V),current (A),throttle (%)\n" + "".join(
        f"{k / 50},{16 - k / 1e5:.3f},{5 + k % 7},{30 + k % 40}\n" for k in range(60_000)
    )
    told: list[float] = []
    held = bench_log.read_log("x", "flight.csv", text.encode(), progress=told.append)
    assert held.log is not None
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.0, abs=0.05)


def test_without_readings_the_band_is_that_of_the_other_pages():
    there = headlines.answers(Inputs())
    items = answers.learned(Inputs(), {})
    assert items
    for item in items:
        ends = tuple(getattr(side, item.name) for side in (there.low, there.mid, there.high))
        assert item.before == pytest.approx(ends) and item.after == pytest.approx(ends)
