"""Plug in, Cost and Shelf run without a browser."""

from __future__ import annotations

import re
from dataclasses import fields
from pathlib import Path

import pytest
from bench_pages import body, opened, own_of, run
from streamlit.testing.v1 import AppTest

from explorer.app_pages.plug_in import answers
from explorer.controls.page_frame import page_file
from explorer.figures.craft_view import top_view
from explorer.forecasts import headlines
from explorer.forecasts.craft_view import top_view_of
from explorer.inputs import Inputs
from explorer.saved.store import FolderStore, Listing
from explorer.session import shelf
from propmodel import power_up


@pytest.fixture
def folder(tmp_path, monkeypatch) -> Path:
    monkeypatch.setenv("PROPULSION_WHAT_IF_DATA", str(tmp_path / "kept"))
    return tmp_path / "kept"


def _after(at: AppTest) -> AppTest:
    run(at)
    return at


def open_step(at: AppTest, title: str) -> AppTest:
    """Unfold the step of Plug in with this title."""
    (line,) = [b for b in at.button if (b.key or "").startswith("open-") and b.label.endswith(f"· {title}")]
    line.click()
    return run(at)


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


def test_a_reading_counts_once_however_often_it_is_used(folder):
    forecast = answers.power(Inputs(), modern=None)
    at = open_step(opened("plug_in"), "First hover: command")
    at.number_input(key="reading:First hover: command").set_value(round(125.0 * forecast.hover_command[1], 1))
    first = re.search(r"band \d+ % → \d+ %", body(run(at))).group()
    at.button(key="adopt_readings").click()
    said = body(run(at))
    # against the labels as before, and no second time on top of the parts in use
    assert first in said and "Every page uses these readings." in said
    assert not [b for b in at.button if b.key == "adopt_readings"]
    own = at.session_state["own_parts"]
    assert own.controller.throttle_exponent > 1.05 * headlines.build(Inputs()).controller.exponent
    # another reading is used in place of the first one
    at.number_input(key="reading:First hover: command").set_value(round(100.0 * forecast.hover_command[1], 1))
    run(at)
    at.button(key="adopt_readings").click()
    run(at)
    rule = headlines.build(Inputs()).controller.exponent
    assert at.session_state["own_parts"].controller.throttle_exponent == pytest.approx(rule, rel=5e-3)


def test_readings_do_not_take_the_place_of_a_stand_table_unasked(folder):
    at = opened("plug_in")
    at.session_state["own_parts"] = own_of(Inputs())
    open_step(at, "First hover: command")
    at.number_input(key="reading:First hover: command").set_value(28.0)
    said = body(run(at))
    assert "come from a stand or a file, which tells more" in said
    assert not [b for b in at.button if b.key == "adopt_readings"]


def test_cost_starts_in_pieces_and_becomes_a_sum(folder):
    at = opened("cost")
    assert "1.5 propellers" in body(at)
    at.number_input(key="price-propeller").set_value(2.0)
    said = body(run(at))
    # 1 crash with 1.5 propellers at 2 each
    assert "costs about 3.0" in said
    assert "loading the page anew clears them" in said
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
