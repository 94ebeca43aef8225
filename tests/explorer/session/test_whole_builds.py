"""No word or number of the former craft stands after another one was put on the screen."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import explorer
from explorer.controls.page_frame import page_file
from explorer.inputs import Inputs, demo_inputs

APP = Path(explorer.__file__).with_name("app.py")
LABELS = "2306 1700KV 5x4.5x3 6S 1100"


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("PROPULSION_WHAT_IF_DATA", str(tmp_path / "kept"))


def run(at: AppTest) -> AppTest:
    at.run()
    assert not at.exception and not at.error
    return at


def opened(page: str = "lift") -> AppTest:
    at = AppTest.from_file(str(APP), default_timeout=60)
    at.run()
    return go(at, page)


def go(at: AppTest, page: str) -> AppTest:
    if page != at.session_state["page"]:
        at.switch_page(page_file(page))
    return run(at)


def key(at: AppTest, kind: str, start: str):
    return next(one for one in at.get(kind) if (one.key or "").startswith(start))


def typed(at: AppTest, text: str = LABELS) -> AppTest:
    at.text_input(key="labels").set_value(text)
    return run(at)


def all_words(at: AppTest) -> str:
    return " ".join(one.proto.body for one in at.get("html"))


def demo(at: AppTest, name: str) -> AppTest:
    at.button_group(key="craft").set_value(name)
    return run(at)


def test_a_demo_craft_clears_labels_echo_and_lender():
    at = typed(opened())
    assert "wi-read" in all_words(at) and at.session_state["lender"] == "scree"
    demo(at, "moor")
    assert at.text_input(key="labels").value == ""
    assert 'class="wi wi-read"' not in all_words(at)
    assert at.session_state["lender"] is None and at.session_state["inputs"] == demo_inputs("moor")


def test_the_echo_says_which_labels_no_longer_hold():
    at = typed(opened())
    assert "Changed since" not in all_words(at)
    key(at, "slider", "knob:lift:kv").set_value(1500)
    run(at)
    assert "Changed since: KV." in all_words(at)


def test_a_saved_build_brings_its_own_words():
    at = opened("shelf")
    key(at, "text_input", "save_name").set_value("First")
    run(at)
    at.button(key="save_new").click()
    run(at)
    assert any(b.key == "save_over" for b in at.button)
    typed(demo(at, "moor"))
    # another craft: saving over the first one is not offered
    assert not any(b.key == "save_over" for b in at.button)
    key(at, "button", "load:").click()
    run(at)
    assert at.text_input(key="labels").value == "" and at.session_state["inputs"].name == "First"
    assert 'class="wi wi-read"' not in all_words(at)
    assert any(b.key == "save_over" for b in at.button)


def test_readings_and_prices_stay_with_their_craft():
    at = opened("plug_in")
    name = "reading:Resistance across the pack leads"
    at.button(key="open-2").click()
    run(at)
    at.number_input(key=name).set_value(0.3)
    run(at)
    go(at, "cost")
    key(at, "number_input", "price-pack").set_value(25.0)
    run(at)
    demo(at, "moor")
    assert key(at, "number_input", "price-pack").value is None
    told = re.sub(r"<[^>]+>", "", all_words(go(at, "plug_in")))
    assert re.search(r"\b0 of \d+ read", told)
    assert not any(one.key == name for one in at.number_input), "the first step is open"
    demo(at, "scree")
    assert at.number_input(key=name).value == 0.3
    assert key(go(at, "cost"), "number_input", "price-pack").value == 25.0


def test_replaced_parts_retire_the_labels_and_keep_what_is_lent():
    at = typed(opened())
    go(at, "shelf")
    at.button_group(key="shelf").set_value("Measured")
    run(at)
    at.button(key="measured_use").click()
    run(at)
    assert at.text_input(key="labels").value == "" and 'class="wi wi-read"' not in all_words(at)
    assert at.session_state["lender"] == "scree"
    # told by the labels and equal to what the lending craft has, or not: told all the same
    assert {"kv", "stator_d_mm", "stator_h_mm", "cells", "capacity_mah"} <= at.session_state["told_by_hand"]
    go(at, "lift")
    assert any("guessed" in one.proto.popover.label for one in at.get("popover"))


def test_a_story_gives_the_craft_back_with_its_labels():
    at = typed(opened())
    own: Inputs = at.session_state["inputs"]
    go(at, "why")
    at.query_params["story"], at.query_params["step"] = "inch", "why"
    run(at)
    at.button(key="why_load").click()
    run(at)
    assert at.session_state["inputs"] != own
    assert at.text_input(key="labels").value == "" and at.session_state["lender"] is None
    at.button(key="why_back").click()
    run(at)
    assert at.session_state["inputs"] == own
    assert at.text_input(key="labels").value == LABELS and at.session_state["lender"] == "scree"
    assert 'class="wi wi-read"' in all_words(at)
