"""Plug in, Cost and Shelf run without a browser; measured parts; readings; the field sheet."""

from __future__ import annotations

import json
import math
import re
from dataclasses import asdict, fields, replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

import explorer
import propmodel
from explorer.app_pages.plug_in import answers, log_answers
from explorer.app_pages.shelf import sheet_numbers
from explorer.app_pages.shelf.field_sheet import curves_csv, curves_json, field_sheet
from explorer.controls.page_frame import page_file
from explorer.figures.craft_view import top_view
from explorer.forecasts import headlines
from explorer.forecasts.craft_view import top_view_of
from explorer.inputs import Inputs, demo_inputs, measured_parts, to_build
from explorer.saved.build_file import encode, encode_many
from explorer.saved.store import FolderStore, Listing
from explorer.session import bench_log, shelf
from explorer.text.numbers import Units
from propmodel import bench, power_up
from propmodel.assembly.demo import demo_names
from propmodel.components.controller import (
    LOG_SD_THROTTLE_EXPONENT,
    LOG_SD_THROTTLE_EXPONENT_TYPED,
    THROTTLE_EXPONENT,
    Controller,
)
from propmodel.studies.spread import bands, contributions

APP = Path(explorer.__file__).with_name("app.py")


@pytest.fixture
def folder(tmp_path, monkeypatch) -> Path:
    monkeypatch.setenv("PROPULSION_WHAT_IF_DATA", str(tmp_path / "kept"))
    return tmp_path / "kept"


def opened(page: str) -> AppTest:
    at = AppTest.from_file(str(APP), default_timeout=60)
    at.run()
    at.switch_page(page_file(page))
    return run(at)


def run(at: AppTest) -> AppTest:
    at.run()
    assert not at.exception
    assert not at.error
    return at


def _after(at: AppTest) -> AppTest:
    run(at)
    return at


def open_step(at: AppTest, title: str) -> AppTest:
    """Unfold the step of Plug in with this title."""
    (line,) = [b for b in at.button if (b.key or "").startswith("open-") and b.label.endswith(f"· {title}")]
    line.click()
    return run(at)


def body(at: AppTest) -> str:
    text = " ".join(node.proto.body for node in at.get("html") if "<style>" not in node.proto.body)
    return re.sub(r"\s+", " ", re.sub("[\u00a0\u202f]", " ", re.sub(r"<[^>]+>", " ", text)))


def own_of(inputs: Inputs, **changes: float) -> measured_parts.OwnParts:
    made = to_build(inputs)
    motor = replace(made.motor, kv=1800.0, loaded_kv_ratio=1.0, log_sd_kv=0.01, log_sd_resistance=0.05, **changes)
    blades = replace(made.propeller, log_c_t_offset=0.05, log_sd_c_t=0.02, log_sd_c_p=0.02, spread_correlation=0.5)
    return measured_parts.measured(inputs, "stand.csv", motor=motor, propeller=blades)


# --- measured parts in place of labels


def test_measured_parts_reach_the_engine_and_narrow_the_band():
    plain = replace(Inputs(), cell_mohm=5.5)  # a charger's reading: else the pack alone holds the band open
    mine = measured_parts.attach(plain, own_of(plain))
    made = headlines.build(mine)
    assert float(made.motor.kv) == 1800.0
    assert float(made.propeller.log_c_t_offset) == pytest.approx(0.05)
    before, after = headlines.answers(plain), headlines.answers(mine)
    assert after.mid.thrust_to_weight != before.mid.thrust_to_weight
    width = [a.high.thrust_to_weight / a.low.thrust_to_weight for a in (before, after)]
    # what is left is the pack, whose reading has a log sd of 0.20 itself
    assert math.log(width[1]) < 0.7 * math.log(width[0])
    of = {"propeller", "motor KV", "motor resistance and losses"}
    variance = [
        sum(c.log_sd**2 for c in contributions(headlines.build(i), "thrust_to_weight") if c.group in of)
        for i in (plain, mine)
    ]
    assert variance[1] < 0.2 * variance[0]


def test_answers_of_one_visitor_are_not_given_to_another():
    plain = Inputs()
    first, second = (measured_parts.attach(plain, own_of(plain, resistance=r)) for r in (0.100, 0.100000001))
    kept = [headlines.answers(i).mid.full_throttle_current for i in (first, plain, second)]
    assert len(set(kept)) == 3
    assert headlines.answers(plain).mid.full_throttle_current == kept[1]


@pytest.mark.parametrize(
    ("change", "left"),
    [
        ({"kv": 2000.0}, ["propeller"]),
        ({"diameter_in": 5.0}, ["motor"]),
        ({"capacity_mah": 1500.0}, ["motor", "propeller"]),
    ],
)
def test_another_label_sets_its_part_aside(change, left):
    own = own_of(Inputs())
    assert measured_parts.in_use(replace(Inputs(), **change), own) == left


def test_without_measured_parts_the_inputs_are_the_plain_ones():
    other = replace(Inputs(), kv=2000.0, diameter_in=6.0, pitch_in=4.0)
    assert type(measured_parts.attach(other, own_of(Inputs()))) is Inputs
    assert measured_parts.bare(measured_parts.attach(Inputs(), own_of(Inputs()))) == Inputs()


def test_measured_parts_survive_a_saved_build():
    own = own_of(Inputs())
    record = json.loads(json.dumps(shelf.record_of(Inputs(), own)))
    inputs, back, words = shelf.inputs_of_record(record)
    assert (inputs, back, words) == (Inputs(), own, [])


@pytest.mark.parametrize("name", demo_names())
def test_a_saved_build_comes_back_whole(name):
    inputs, own, words = shelf.inputs_of_record(shelf.record_of(demo_inputs(name), None))
    assert (inputs, own, words) == (demo_inputs(name), None, [])


def test_a_saved_build_with_nonsense_in_it_still_opens():
    record = {
        **asdict(Inputs()),
        "kv": "many",
        "coaxial": "perhaps",
        "cells": 400,
        "own.motor.kv": 1800.0,
        "unknown": 3,
    }
    inputs, own, words = shelf.inputs_of_record(record)
    assert inputs.kv == Inputs().kv
    assert inputs.cells == Inputs().cells
    assert own is None  # one number is no motor
    assert words


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("motor.kv", -1, "motor KV must be between 10 and 30000 rpm/V, got -1 rpm/V"),
        ("motor.resistance", 0.0, "motor resistance must be between 0.0001 and 100 ohm, got 0 ohm"),
        ("motor.no_load_current", 1e6, "motor no-load current must be between 0 and 100 A, got 1e+06 A"),
        ("motor.no_load_current", 99.0, "motor no-load current x resistance must be below the no-load test voltage"),
        ("motor.log_sd_kv", -0.1, "log sd of motor KV must be between 0 and 0.3, got -0.1"),
        ("motor.kv", "fast", "motor KV must be a number, got 'fast'"),
        ("motor.kv", True, "motor KV must be a number, got True"),
        ("motor.kv", None, "motor KV is missing"),
        ("motor.kv", math.nan, "motor KV must be a finite number, got nan"),
        ("propeller.log_c_t", 40.0, "shift of ln C_T must be between -2 and 2, got 40"),
        ("propeller.figure_of_merit", -9.0, "shift of the figure of merit must be between -5 and 5, got -9"),
        ("propeller.log_sd_c_t", -1.0, "log sd of C_T must be between 0 and 1, got -1"),
        ("propeller.correlation", 1.5, "correlation of C_T and C_P must be between -1 and 1, got 1.5"),
        ("controller.idle_duty", 0.9, "idle duty must be between 0 and 0.4, got 0.9"),
        ("controller.throttle_exponent", 0.0, "throttle exponent must be between 0.35 and 1.85, got 0"),
    ],
)
def test_a_measured_part_out_of_range_is_left_out_and_said(field, value, said):
    """The rest of the file loads, the build it makes is that of the label, and it answers."""
    part = field.split(".")[0]
    esc = Controller(
        ripple_coefficient=0.002,
        standby_power=0.5,
        throttle_exponent=0.9,
        idle_duty=0.03,
        log_sd_throttle_exponent=0.03,
    )  # fmt: skip
    one = measured_parts.measured(Inputs(), "stand.csv", controller=esc)
    own = replace(own_of(Inputs()), controller=one.controller, controller_label=one.controller_label)
    record = shelf.record_of(Inputs(), own)
    assert measured_parts.read_record(record, Inputs()) == (own, []), "sound as it stands"
    inputs, back, words = shelf.inputs_of_record({**record, f"own.{field}": value})
    assert inputs == Inputs()
    assert back is not None
    assert getattr(back, part) is None
    assert {p for p in ("motor", "propeller", "controller") if getattr(back, p) is not None} == {
        "motor",
        "propeller",
        "controller",
    } - {part}
    assert len(words) == 1
    assert words[0].startswith(f"The measured {part} of this build is left out")
    assert said in words[0]
    assert propmodel.performance(measured_parts.build_of(measured_parts.attach(inputs, back))).hover_time > 0.0


def test_a_build_file_with_a_measured_motor_of_no_speed_opens_on_the_page(tmp_path):
    """What the file says wrong is said where it is put on the screen, and every answer is the label's."""
    store = FolderStore(tmp_path)
    record = shelf.record_of(Inputs(), own_of(Inputs()))
    kept = store.save("wrong", {**record, "own.motor.kv": -1})
    inputs, own, words = shelf.inputs_of_record(store.load(kept.key).record)
    assert own is not None
    assert own.motor is None
    assert any("got -1 rpm/V" in text for text in words)
    assert headlines.answers(measured_parts.attach(inputs, own))


def test_what_is_wrong_in_a_file_is_said_when_it_comes_in(tmp_path, monkeypatch):
    """On the Shelf, before the build is put on the screen."""
    monkeypatch.setenv("PROPULSION_WHAT_IF_DATA", str(tmp_path))
    record = shelf.record_of(Inputs(), own_of(Inputs()))
    data = encode_many([("sound", record), ("wrong", {**record, "own.motor.kv": -1, "cells": 400})])
    at = AppTest.from_file(str(APP), default_timeout=60)
    at.session_state["bench_kept"] = {"shelf": "Builds"}
    at.run()
    at.switch_page(page_file("shelf"))
    at.run()
    at.file_uploader(key="builds_in").set_value(("builds.json", data, "application/json"))
    at.run()
    assert not at.exception
    told = " ".join(str(node.proto.body) for node in at._tree if getattr(getattr(node, "proto", None), "body", ""))
    assert "2 builds brought in: sound, wrong." in told
    assert "“wrong”: The measured motor of this build is left out" in told and "got -1 rpm/V" in told
    assert "“sound”:" not in told


def record_before(**changes):
    """A build as files held it before they named the edition of the model: an exponent of 1 where none was typed."""
    record = shelf.record_of(Inputs(), None)
    del record["model_edition"]
    return {**record, "throttle_exponent": 1.0, **changes}


def test_a_file_saved_before_the_refit_keeps_what_was_typed_and_says_what_moved():
    inputs, _, words = shelf.inputs_of_record(record_before(kv=1750.0, idle_percent=6.0))
    assert inputs == replace(Inputs(), kv=1750.0, idle_percent=6.0)  # the old default of the exponent was not typed
    (told,) = words
    assert told.startswith("This build was made before the model was refitted. What you typed stands")
    assert "minutes" in told and "hover command" in told and "1.7 times" not in told
    assert "counts 1.7 times" in shelf.inputs_of_record(record_before(cell_mohm=5.0))[2][0]
    # a typed exponent stands, and so does a 1 typed since
    assert shelf.inputs_of_record(record_before(throttle_exponent=0.8))[0].throttle_exponent == 0.8
    typed = shelf.record_of(replace(Inputs(), throttle_exponent=1.0), None)
    assert shelf.inputs_of_record(typed)[::2] == (replace(Inputs(), throttle_exponent=1.0), [])
    # saved again it is a build of today
    assert shelf.inputs_of_record(shelf.record_of(inputs, None))[2] == []
    later = shelf.inputs_of_record({**typed, "model_edition": 3})[2]
    assert later == ["This build was made with a later edition of the model, so its maker saw other answers."]
    for odd in ("x", True, -1, 0, 1.5):
        assert shelf.inputs_of_record({**typed, "model_edition": odd})[2] == []


def test_a_measured_map_in_an_older_file_still_holds():
    own = measured_parts.measured(
        Inputs(),
        "stand.csv",
        controller=Controller(throttle_exponent=0.8, idle_duty=0.03, log_sd_throttle_exponent=0.03),
    )
    record = measured_parts.to_record(own)
    assert record["own.controller.of.throttle_exponent"] is None
    old = record_before(**{**record, "own.controller.of.throttle_exponent": 1.0})
    del old["own.controller.log_sd_throttle_exponent"]  # files from before the spread was kept
    inputs, back, _ = shelf.inputs_of_record(old)
    assert measured_parts.in_use(inputs, back) == ["controller"]
    assert headlines.build(measured_parts.attach(inputs, back)).controller.throttle_exponent == 0.8


def test_an_older_file_says_once_on_the_shelf_what_moved(folder):
    at = opened("shelf")
    at.file_uploader(key="builds_in").upload("old.json", encode("Before", record_before()), "application/json")
    run(at)
    assert "refitted" not in body(at)  # brought in is not yet looked at
    next(b for b in at.button if (b.key or "").startswith("load:")).click()
    assert body(run(at)).count("before the model was refitted") == 1
    assert "refitted" not in body(run(at))


# --- the throttle map


def test_what_is_known_of_the_throttle_map_sets_its_spread():
    told, untold = (headlines.build(replace(Inputs(), throttle_exponent=e)).controller for e in (0.9, None))
    assert (told.throttle_exponent, told.log_sd_throttle_exponent) == (0.9, LOG_SD_THROTTLE_EXPONENT_TYPED)
    assert (untold.throttle_exponent, untold.log_sd_throttle_exponent) == (THROTTLE_EXPONENT, None)


def width_of_hover(inputs: Inputs) -> float:
    low, _, high = bands(headlines.build(inputs), draws=512)
    return math.log(float(high.hover_throttle) / float(low.hover_throttle))


def test_a_typed_exponent_a_hover_reading_and_a_stand_table_narrow_the_hover_command():
    plain = width_of_hover(Inputs())
    assert width_of_hover(replace(Inputs(), throttle_exponent=0.88)) < 0.8 * plain
    own = answers.from_readings(Inputs(), {"hover_command": 1.0})
    assert own.controller.throttle_exponent == pytest.approx(THROTTLE_EXPONENT, rel=1e-6)
    assert own.controller.log_sd_throttle_exponent < 0.7 * LOG_SD_THROTTLE_EXPONENT
    assert width_of_hover(measured_parts.attach(Inputs(), own)) < 0.8 * plain
    # a reading above the forecast: the map asks for more command
    higher = answers.from_readings(Inputs(), {"hover_command": 1.1})
    assert higher.controller.throttle_exponent > THROTTLE_EXPONENT

    made = headlines.build(Inputs())
    esc = Controller(throttle_exponent=0.78, idle_duty=0.04)
    throttle = np.linspace(0.1, 1.0, 40)
    volts = 24.4 - 0.5 * throttle**2
    curve = propmodel.bench_curve(made.motor, made.propeller, volts, throttle, speed_controller=esc)
    table = pd.DataFrame(
        {"throttle_share": throttle, "voltage_v": volts, "current_a": curve.supply_current,
         "speed_rev_per_s": curve.rev_per_s, "thrust_n": curve.thrust}
    )  # fmt: skip
    fit = bench.calibrate(table, made.motor, made.propeller, controller=made.controller)
    own = measured_parts.measured(
        Inputs(), "stand.csv", motor=fit.motor, propeller=fit.propeller, controller=fit.controller
    )
    mine = measured_parts.attach(Inputs(), own)
    found = headlines.build(mine).controller
    assert found.throttle_exponent == pytest.approx(0.78, rel=0.03)
    assert found.log_sd_throttle_exponent < 0.6 * LOG_SD_THROTTLE_EXPONENT
    assert width_of_hover(mine) < 0.5 * plain


# --- what readings do


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
    after = headlines.answers(measured_parts.attach(Inputs(), own))
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


# --- a real log


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
    made = headlines.build(measured_parts.attach(mine, own))
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


# --- the field sheet and the curves


@pytest.mark.parametrize("name", demo_names())
def test_the_sheet_of_every_demo_craft(name):
    inputs = demo_inputs(name)
    page = field_sheet(
        sheet_numbers.sheet_of(inputs, Inputs(), units=Units(), link="http://localhost/?v=1", made="today")
    )
    for part in (
        "Before anything else",
        "Alarms to set",
        "What to expect",
        "First power-up",
        "Limits",
        "<svg",
    ):
        assert part in page
    assert "nan" not in re.sub(r"<[^>]+>", " ", page).lower().split()
    assert "e+0" not in page


def test_the_curves_have_their_bands_in_order_and_round_trip():
    frame = sheet_numbers.curves(Inputs(), Inputs())
    assert frame["motor command [%]"].iloc[-1] == 100.0
    low, mid, high = (frame[f"thrust of all rotors{s} [g]"].to_numpy()[25:] for s in (", low", "", ", high"))
    assert (low < mid).all()
    assert (mid < high).all()
    document = json.loads(curves_json(frame))
    assert [c["name"] for c in document["columns"]] == [str(c).split(" [")[0] for c in frame.columns]
    assert len(curves_csv(frame).splitlines()) == len(frame) + 1


def test_the_alarm_is_the_charge_that_may_be_drawn():
    words = dict(sheet_numbers.alarms(replace(Inputs(), capacity_mah=1000.0, reserve_percent=25.0)))
    # three quarters of the 940 mAh that a LiPo of 1,000 holds
    assert words["Charge drawn when you land"].replace("\u202f", " ") == "710 mAh"
    # the alarm rings earlier, by what the way home takes: the figure of the page Minutes
    (alarm,) = [float(v.split("\u202f")[0]) for what, v in words.items() if what.startswith("Capacity alarm, 20")]
    assert 610.0 < alarm < 710.0


def test_a_craft_that_cannot_hover_still_has_a_sheet():
    heavy = replace(Inputs(), frame_g=9000.0)
    page = field_sheet(sheet_numbers.sheet_of(heavy, None, units=Units(), link="", made=""))
    assert "cannot hover" in page


# --- the pages


def test_plug_in_begins_with_the_cautions_and_judges_a_reading(folder):
    at = opened("plug_in")
    said = body(at)
    assert said.index("Before anything else") < said.index("Look before power")
    assert "0 of 15 read" in said
    open_step(at, "Resistance across the pack leads")
    at.number_input(key="reading:Resistance across the pack leads").set_value(2.0)
    said = body(run(at))
    assert "1 of 15 read" in said
    # the verdict stays in view, and the steps behind it wait
    assert "✕ stop, because that is a short" in said
    at.button(key="next_step").click()
    said = body(run(at))
    assert "First clear step 2; nothing before that." in said
    assert any(b.label == "✕ 2 · Resistance across the pack leads: 2 ohm" for b in at.button)


def test_one_step_is_open_at_a_time_and_the_others_are_one_line(folder):
    at = opened("plug_in")
    steps = power_up.power_up_steps(answers.power(Inputs(), modern=None))
    assert len([b for b in at.button if (b.key or "").startswith("open-")]) == len(steps) - 1
    said = body(at)
    assert steps[0].do.split(".")[0] in said and steps[1].do.split(".")[0] not in said
    at.segmented_control(key="reading:Look before power").set_value("yes")
    run(at)
    at.button(key="next_step").click()
    run(at)
    assert any(b.label == "✓ 1 · Look before power: yes" for b in at.button)
    assert at.number_input(key="reading:Resistance across the pack leads").value is None
    # with the folds closed the page is short
    seen = re.sub(r"<details>.*?</details>", " ", " ".join(n.proto.body for n in at.get("html")))
    seen = re.sub(r"<style>.*?</style>|<[^>]+>", " ", seen, flags=re.S)
    assert len((seen + " ".join(b.label for b in at.button)).split()) < 600


def test_every_step_that_can_hurt_has_its_caution_and_order_shows_the_craft(folder):
    steps = power_up.power_up_steps(answers.power(Inputs(), modern=True))
    for step in steps:
        assert step.caution, step.title
    for step in steps:
        if "Full command" in step.title or "Idle" in step.title:
            assert step.caution.startswith("Propellers off.")
        if "stand" in step.title or step.title.startswith("First hover: "):
            assert "nut" in step.caution and "right" in step.caution and "ten metres" in step.caution.lower()
    at = open_step(opened("plug_in"), "Order and direction")
    shown = " ".join(n.proto.body for n in at.get("html"))
    picture = re.search(r'src="[^"]+"', top_view(top_view_of(Inputs()), corners=True))[0]
    assert 'class="wb-corners"' in shown and picture in shown
    assert "Neighbours turn opposite ways" in body(at)
    assert body(at).index("Propellers off. Hold the craft") < body(at).index("Turn each motor at idle")


def test_the_age_of_the_esc_brings_the_part_throttle_speed(folder):
    at = opened("plug_in")
    assert not any(b.label.endswith("Idle without propellers: speed") for b in at.button)
    at.segmented_control(key="esc_age").set_value("new")
    assert any(b.label.endswith("Idle without propellers: speed") for b in _after(at).button)


def test_readings_outlast_another_page_and_narrow_the_band(folder):
    at = open_step(opened("plug_in"), "One motor on a stand: thrust")
    at.number_input(key="reading:One motor on a stand: thrust").set_value(1600.0)
    said = body(run(at))
    was, now = (float(v) for v in re.search(r"band (\d+) % → (\d+) %", said).groups())
    assert now < was
    at.switch_page(page_file("cost"))
    run(at)
    at.switch_page(page_file("plug_in"))
    run(at)
    assert at.number_input(key="reading:One motor on a stand: thrust").value == 1600.0
    at.button(key="adopt_readings").click()
    said = body(run(at))
    assert "Motor and propeller are as measured (your bench readings)" in said
    at.button(key="own_away").click()
    assert "as measured" not in body(run(at))


def test_cost_starts_in_pieces_and_becomes_a_sum(folder):
    at = opened("cost")
    assert "1.5 propellers" in body(at)
    at.number_input(key="price-propeller").set_value(2.0)
    said = body(run(at))
    # 1 crash with 1.5 propellers at 2 each
    assert "costs about 3.0" in said
    assert "Not counted, price missing: packs, motors, the ESC" in said
    at.switch_page(page_file("plug_in"))
    run(at)
    at.switch_page(page_file("cost"))
    assert "costs about 3.0" in body(run(at))


def test_a_build_is_saved_loaded_and_deleted(folder):
    at = opened("shelf")
    at.button(key="save_new").click()
    run(at)
    (saved,) = FolderStore(folder).builds().builds
    key = saved.key
    at.segmented_control(key="craft").set_value("fell")
    run(at)
    assert at.session_state["inputs"].name == "Fell"
    at.button(key=f"load:{key}").click()
    run(at)
    assert at.session_state["inputs"] == Inputs()
    at.button(key=f"delete:{key}").click()
    run(at)
    assert FolderStore(folder).builds() == Listing()


def test_hosted_without_a_folder_says_so(monkeypatch):
    monkeypatch.setenv("PROPULSION_WHAT_IF_DATA", "none")
    at = opened("shelf")
    assert "this visit only" in body(at)
    at.button(key="save_new").click()
    assert "is kept" in body(run(at))


def test_two_visitors_do_not_see_each_other(monkeypatch):
    monkeypatch.setenv("PROPULSION_WHAT_IF_DATA", "none")
    first, second = opened("shelf"), opened("shelf")
    first.button(key="save_new").click()
    run(first)
    first.session_state["own_parts"] = own_of(Inputs())
    assert "as measured" in body(run(first))
    said = body(run(second))
    assert "You keep nothing yet" in said
    assert "as measured" not in said


def test_inputs_fields_are_all_saved():
    assert {f.name for f in fields(Inputs)} <= set(shelf.record_of(Inputs(), None))


def test_without_readings_the_band_is_that_of_the_other_pages():
    there = headlines.answers(Inputs())
    items = answers.learned(Inputs(), {})
    assert items
    for item in items:
        ends = tuple(getattr(side, item.name) for side in (there.low, there.mid, there.high))
        assert item.before == pytest.approx(ends) and item.after == pytest.approx(ends)


def test_the_sheet_lists_guesses_and_says_open_labels_first():
    lent = frozenset({"frame_g", "altitude_m"})
    page = field_sheet(
        sheet_numbers.sheet_of(
            Inputs(), None, units=Units(), link="", made="", lent=lent, first=lambda text: "1 label open. " + text
        )
    )
    assert "take-off mass (by the lent frame)" in page and "height of the place (420 m, lent)" in page
    assert page.index("1 label open") < page.index("takes off at")
