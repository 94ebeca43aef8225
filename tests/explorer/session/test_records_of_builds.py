"""Records of saved builds: they come back whole; what is wrong, unknown or of an earlier model is said."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from bench_pages import APP, body, opened, own_of, run
from streamlit.testing.v1 import AppTest

import propmodel
from explorer.controls.page_frame import page_file
from explorer.forecasts import headlines
from explorer.inputs import Inputs, demo_inputs, measured_parts
from explorer.saved.build_file import encode, encode_many
from explorer.saved.store import FolderStore
from explorer.session import shelf
from propmodel.assembly.demo import demo_names
from propmodel.components.controller import (
    Controller,
)


@pytest.fixture
def folder(tmp_path, monkeypatch) -> Path:
    monkeypatch.setenv("PROPULSION_WHAT_IF_DATA", str(tmp_path / "kept"))
    return tmp_path / "kept"


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
    assert propmodel.performance(measured_parts.build_of(measured_parts.with_measured(inputs, back))).hover_time > 0.0


def test_a_build_file_with_a_measured_motor_of_no_speed_opens_on_the_page(tmp_path):
    """What the file says wrong is said where it is put on the screen, and every answer is the label's."""
    store = FolderStore(tmp_path)
    record = shelf.record_of(Inputs(), own_of(Inputs()))
    kept = store.save("wrong", {**record, "own.motor.kv": -1})
    inputs, own, words = shelf.inputs_of_record(store.load(kept.key).record)
    assert own is not None
    assert own.motor is None
    assert any("got -1 rpm/V" in text for text in words)
    assert headlines.answers(measured_parts.with_measured(inputs, own))


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
    later = shelf.inputs_of_record({**typed, "model_edition": propmodel.MODEL_EDITION + 1})[2]
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
    assert headlines.build(measured_parts.with_measured(inputs, back)).controller.throttle_exponent == 0.8


def test_an_older_file_says_once_on_the_shelf_what_moved(folder):
    at = opened("shelf")
    at.file_uploader(key="builds_in").upload("old.json", encode("Before", record_before()), "application/json")
    run(at)
    assert "refitted" not in body(at)  # brought in is not yet looked at
    next(b for b in at.button if (b.key or "").startswith("load:")).click()
    assert body(run(at)).count("before the model was refitted") == 1
    assert "refitted" not in body(run(at))
