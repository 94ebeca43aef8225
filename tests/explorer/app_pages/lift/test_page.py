"""The frame and the Lift page, run without a browser."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from lift_page import body, chosen, move, opened, run, sentence, story, trace
from streamlit.testing.v1 import AppTest

from explorer.controls.field_controls import BOARD
from explorer.figures.base import PINNED_DASHES
from explorer.forecasts import headlines
from explorer.inputs import FIELDS, Inputs
from explorer.inputs.link import to_params
from explorer.text.numbers import Units


@pytest.fixture(scope="module")
def first() -> AppTest:
    return opened()


def test_the_first_visit_is_alive(first):
    assert sentence(first).startswith("Scree, an invented 5-inch craft, takes off at 690 g")
    text = body(first)
    assert "Pinned: Scree without camera, 620 g" in text
    assert "Move Take-off mass and watch the hover line; then type your labels" in text
    assert "Nearest measured parts: as yours but stator 2306.5" in text
    assert len(trace(first, "this")) == 3 and len(trace(first, "pinned")) == 3


def beside_a_slider(control) -> bool:
    """A number to type beside its slider, whose help is for both."""
    hidden = control.proto.label_visibility.value == control.proto.label_visibility.COLLAPSED
    return hidden and control.key.split(":")[-1] in BOARD


def test_six_controls_first_and_each_has_help(first):
    assert {n.key.split(":")[1] for n in first.number_input if n.key.startswith("side")} == {
        "take_off_g", "kv", "diameter_in", "pitch_in", "cells", "capacity_mah",
    }  # fmt: skip
    controls = [
        *first.number_input,
        *first.selectbox,
        *first.slider[len(BOARD) :],
        *first.toggle,
        *first.button,
        *first.text_input,
    ]
    assert [c.label for c in controls if not c.proto.help and not beside_a_slider(c)] == []


def test_four_sliders_stand_at_once_each_with_its_number(first):
    assert [slider.key for slider in first.slider][: len(BOARD)] == [f"knob:lift:{name}" for name in BOARD]
    for name, slider in zip(BOARD, first.slider, strict=False):
        assert first.number_input(key=f"board:lift-must:{name}").value == pytest.approx(slider.value)
    assert not set(BOARD) & set(first.selectbox(key="knob:lift").options)


@pytest.mark.parametrize(
    ("name", "typed"), [("kv", 1750.0), ("diameter_in", 4.8), ("pitch_in", 3.6), ("capacity_mah", 1550.0)]
)
def test_a_slider_of_the_board_and_its_number_move_each_other(name, typed):
    at = opened()
    at.number_input(key=f"board:lift-must:{name}").set_value(typed)
    run(at)
    assert at.slider(key=f"knob:lift:{name}").value == pytest.approx(typed)
    assert getattr(at.session_state["inputs"], name) == pytest.approx(typed)
    slider = at.slider(key=f"knob:lift:{name}")
    top = type(slider.value)(slider.proto.max)
    slider.set_value(top)
    run(at)
    assert at.number_input(key=f"board:lift-must:{name}").value == pytest.approx(top)
    assert at.number_input(key=f"side-must:{name}").value == pytest.approx(top)


def pinned_three() -> AppTest:
    at = opened()
    for kv in (1750.0, 1850.0, 2050.0):
        at.number_input(key="side-must:kv").set_value(kv)
        run(at)
        at.button(key="pin").click()
        run(at)
    return at


def test_three_builds_stay_pinned_and_all_are_drawn():
    at = pinned_three()
    held = at.session_state["pins"]
    assert [one.kv for one in held] == [2050.0, 1850.0, 1750.0]
    assert {t["line"]["dash"] for t in trace(at, "pinned")} == set(PINNED_DASHES)
    at.number_input(key="side-must:kv").set_value(1950.0)
    run(at)
    at.button(key="pin").click()
    run(at)
    assert [one.kv for one in at.session_state["pins"][1:]] == [2050.0, 1850.0]


def test_a_link_brings_all_three_pinned_builds_back():
    at = pinned_three()
    held = at.session_state["pins"]
    again = opened(
        **{key.replace(".", "__"): value for key, value in to_params(at.session_state["inputs"], *held).items()}
    )
    assert again.session_state["pins"] == held


def test_side_by_side_holds_parts_answers_and_what_is_best():
    at = pinned_three()
    at.session_state["side_by_side"] = True
    run(at)
    text = body(at)
    for words in ("1750 KV", "1850 KV", "Thrust to weight", "First limit, flat out for 10 s", "● best of its row"):
        assert words in text
    at.number_input(key="beside-price:0").set_value(90.0)
    run(at)
    assert "Price, as typed" in body(at)
    at.button(key="unpin:2").click()
    run(at)
    assert [one.kv for one in at.session_state["pins"][1:]] == [1750.0]


def test_no_row_of_metrics_anywhere(first):
    assert not first.metric


def test_moving_the_knob_moves_the_side_panel_the_sentence_and_the_mark():
    at = opened()
    before = trace(at, "hovers here")[0]["x"][0]
    move(at, 900.0)
    assert sentence(at).startswith("Scree takes off at 900 g")
    assert at.number_input(key="side-must:take_off_g").value == 900.0
    assert trace(at, "hovers here")[0]["x"][0] > before
    assert trace(at, "hovers here")[0]["x"][-1] < before, "the pinned one"


def test_mass_alone_leaves_the_curves_and_the_axes_where_they_are():
    at = opened()
    before = story(at)
    move(at, 760.0)
    after = story(at)
    names = [k for k, t in enumerate(before["data"]) if t["name"] == "this"]
    assert all(before["data"][k]["y"] == after["data"][k]["y"] for k in names)
    assert [after["layout"][a]["range"] for a in ("yaxis", "yaxis2", "yaxis3")] == [
        before["layout"][a]["range"] for a in ("yaxis", "yaxis2", "yaxis3")
    ]


def test_the_side_panel_moves_the_knob():
    at = opened()
    at.number_input(key="side-must:take_off_g").set_value(720.0)
    run(at)
    assert chosen(at).value == 720


def test_the_width_of_a_blade_is_chosen_beside_three_outlines():
    at = opened()
    at.toggle(key="more_What turns").set_value(True)
    run(at)
    choice = at.selectbox(key="side-must:blade_width")
    assert choice.value == "unknown" and any("7 to 9 %" in words for words in choice.options)
    drawn = [part.proto.body for part in at.get("html") if "<svg" in part.proto.body and "Outlines" in part.proto.body]
    assert len(drawn) == 1 and "0.75" not in re.findall('fill-opacity="([^"]*)"', drawn[0])
    choice.set_value("broad")
    run(at)
    drawn = [part.proto.body for part in at.get("html") if "<svg" in part.proto.body and "Outlines" in part.proto.body]
    assert re.findall('fill-opacity="([^"]*)"', drawn[0]) == ["0.28", "0.28", "0.75"]


SOME_KNOBS = [
    "payload_g", "blades", "cells", "blade_width_mm", "altitude_m", "air_temperature_c",
    "command_cap_percent", "charge_left_percent", "cruise_kmh",
]  # fmt: skip


@pytest.mark.parametrize("knob", SOME_KNOBS)
def test_every_kind_of_knob_slides(knob):
    at = opened()
    at.selectbox(key="knob:lift").select(knob)
    run(at)
    slider = chosen(at)
    assert slider.key == f"knob:lift:{knob}"
    top = type(slider.value)(slider.proto.max)
    move(at, top)
    assert chosen(at).value == pytest.approx(top)


def test_one_inch_more_pulls_more_and_draws_more():
    at = opened()
    pull, amps = (t["y"][-1] for t in trace(at, "this")[:2])
    at.number_input(key="side-must:diameter_in").set_value(6.1)
    run(at)
    more_pull, more_amps = (t["y"][-1] for t in trace(at, "this")[:2])
    assert more_pull > pull and more_amps > amps


def test_pin_this_build_and_compare():
    at = opened()
    move(at, 800.0)
    at.button(key="pin").click()
    run(at)
    assert "Pinned: Scree, 800 g" in body(at)
    assert "the same where it counts" in body(at)
    move(at, 700.0)
    assert "100 g lighter" in body(at)


@pytest.mark.parametrize(("name", "mass"), [("tarn", "230 g"), ("moor", "1100 g"), ("fell", "2.80 kg")])
def test_the_other_three_craft(name, mass):
    at = opened()
    at.button_group(key="craft").set_value(name)
    run(at)
    assert sentence(at).startswith(f"{name.capitalize()}, an invented ")
    assert mass in sentence(at)
    # it brings its own pin, so that what moves shows
    assert at.session_state["pins"][0].name.startswith(name.capitalize())


def open_everything(at: AppTest) -> AppTest:
    for switch in at.toggle:
        switch.set_value(True)
    for group in ("Where you fly", "How you fly"):
        at.session_state[f"group_{group}"] = True
    return run(at)


def test_every_input_has_a_control_with_help_once_everything_is_open():
    at = open_everything(opened())
    kinds = (at.number_input, at.selectbox, at.text_input, at.checkbox)
    drawn = {c.key.split(":")[1] for kind in kinds for c in kind if c.key.startswith("side")}
    assert set(FIELDS) - drawn == set()
    assert [c.label for kind in kinds for c in kind if not c.proto.help and not beside_a_slider(c)] == []


@pytest.mark.parametrize("craft", ["scree", "tarn", "moor", "fell"])
def test_opening_everything_changes_nothing(craft):
    at = opened(craft=craft, end="0")
    before = at.session_state["inputs"]
    open_everything(at)
    assert at.session_state["inputs"] == before


def test_an_emptied_field_keeps_what_it_had():
    at = opened()
    at.number_input(key="side-must:kv").set_value(None)
    run(at)
    assert at.session_state["inputs"].kv == 1950.0
    assert at.number_input(key="side-must:kv").value == 1950.0


def test_a_link_brings_both_builds_back():
    at = opened(v="1", craft="fell", payload_g="500", p__craft="fell", p__cells="4", end="2")
    inputs, pinned = at.session_state["inputs"], at.session_state["pins"][0]
    assert (inputs.name, inputs.payload_g, pinned.cells) == ("Fell", 500.0, 4)
    assert sentence(at).startswith("Fell ")
    assert "invented parts. Move" not in body(at)


def test_a_bad_link_says_what_could_not_be_read_and_goes_on():
    at = opened(v="1", craft="moor", cells="99", pitch_in="abc", kv="1250", end="3")
    assert "could not be read (cells, pitch); the defaults stand there." in body(at)
    assert at.session_state["inputs"].kv == 1250.0
    assert sentence(at).startswith("Moor ")


@pytest.mark.parametrize("query", [
    {"v": "99", "craft": "scree", "end": "0"},
    {"craft": "<script>alert(1)</script>", "kv": "nan"},
    {"v": "1", "name": "<b>x</b>", "kv": "inf", "cells": "-3", "capacity_mah": "0"},
])  # fmt: skip
def test_odd_links_never_break_the_page(query):
    at = opened(**query)
    assert "<script" not in " ".join(n.proto.body for n in at.get("html"))
    assert "<b>x</b>" not in " ".join(n.proto.body for n in at.get("html"))


@pytest.mark.parametrize("query", [
    {"craft": "scree", "payload_g": "9000", "end": "1"},
    {"craft": "fell", "payload_g": "2500", "cells": "2", "end": "2"},
    {"craft": "tarn", "kv": "300", "end": "1"},
])  # fmt: skip
def test_a_craft_that_cannot_hover_keeps_its_page(query):
    at = opened(v="1", **query)
    assert "This cannot hover" in sentence(at)
    # two cells on an ESC that is sold for three and more: that comes first
    assert sentence(at).startswith("The ESC does not fit" if "cells" in query else "This cannot hover")
    assert "of thrust." in sentence(at)
    assert any("cannot hover" in (a.get("text") or "") for a in story(at)["layout"]["annotations"])
    assert "nan" not in body(at)


@pytest.mark.parametrize("query", [
    {"craft": "scree", "capacity_mah": "100", "cell_mohm": "80", "end": "2"},
    {"craft": "scree", "charge_left_percent": "0", "end": "1"},
    {"craft": "moor", "cruise_kmh": "250", "end": "1"},
    {"craft": "scree", "kv": "30000", "end": "1"},
    {"craft": "scree", "diameter_in": "20", "pitch_in": "16", "blades": "6", "end": "3"},
    {"craft": "scree", "cells": "14", "end": "1"},
    {"craft": "fell", "rotors": "8", "coaxial": "yes", "end": "2"},
])  # fmt: skip
def test_extremes_keep_the_page(query):
    at = opened(v="1", **query)
    assert " nan" not in body(at) and "inf " not in body(at)
    for session_state in ("cruise", "full"):
        at.session_state["watts_state"] = session_state
        run(at)


def test_contradicting_fields_get_a_sentence_and_stay_as_typed():
    at = opened()
    at.session_state["inputs"] = Inputs(esc_a=60.0, esc_burst_a=50.0)
    run(at)
    assert "ESC burst amps for each motor (50 A) must not be below its amps for good (60 A)." in body(at)
    assert at.session_state["inputs"].esc_a == 60.0


def test_units_change_what_is_shown_and_nothing_else():
    at = opened()
    at.session_state["units"] = Units("N", "mm", "F")
    run(at)
    assert at.number_input(key="side-must:diameter_in").value == pytest.approx(129.5)
    assert any(a.get("text") == "<b>Thrust of all rotors</b>, N" for a in story(at)["layout"]["annotations"])
    assert at.session_state["inputs"] == Inputs()
    at.number_input(key="side-must:diameter_in").set_value(152.4)
    run(at)
    assert at.session_state["inputs"].diameter_in == pytest.approx(6.0)


def test_two_visitors_do_not_see_each_other():
    one, two = opened(), opened()
    move(one, 850.0)
    run(two)
    assert "690 g" in sentence(two) and "850 g" in sentence(one)


def test_the_link_says_what_it_does_not_carry():
    def app(name: str) -> None:
        from dataclasses import replace

        import streamlit as st

        from explorer.controls import side_panel
        from explorer.inputs import Inputs, to_build
        from explorer.inputs.measured_parts import measured
        from explorer.session import bench_log, kept_values
        from explorer.session import state as session_state

        session_state.start()
        if name == "measured":
            motor = replace(to_build(Inputs()).motor, log_sd_kv=0.01, log_sd_resistance=0.1)
            st.session_state["own_parts"] = measured(Inputs(), "stand.csv", motor=motor)
        kept_values.keep_value("price_motor", 20.0 if name in ("prices", "both") else None)
        if name in ("readings", "both"):
            bench_log.set_reading("Idle", 0.4)
        st.text(side_panel.link_leaves_out() or "nothing")

    says = {
        name: AppTest.from_function(app, kwargs={"name": name}).run().text[0].value
        for name in ("bare", "measured", "prices", "readings", "both")
    }
    assert says["bare"] == "nothing"
    assert "does not carry your measured motor" in says["measured"] and "Shelf" in says["measured"]
    assert says["prices"] == "Your prices stay in this visit: no link and no saved build carries them."
    assert says["readings"].startswith("Your readings of the first power-up stay in this visit")
    assert says["both"].startswith("Your prices and readings of the first power-up stay")


def test_a_tiny_craft_is_weighed_by_the_gram_and_set_beside_its_class():
    at = opened()
    at.session_state["compare"] = True
    at.segmented_control(key="craft").set_value("rill")
    run(at)
    assert at.number_input(key="side-must:take_off_g").step == 1.0
    assert at.slider(key="knob:lift:take_off_g").step == 1.0
    assert "most 1.2- to 2-inch: 2 to 4" in body(at)
    at.number_input(key="side-must:take_off_g").set_value(10.0)
    run(at)
    assert "10 g" in body(at)


def test_a_tiny_craft_on_too_many_cells_leads_with_that_in_the_warning_ink():
    at = opened()
    at.segmented_control(key="craft").set_value("rill")
    run(at)
    at.number_input(key="side-must:cells").set_value(2)
    run(at)
    assert sentence(at).startswith("The motor does not fit")
    (found,) = [n.proto.body for n in at.get("html") if 'class="wi-sentence"' in n.proto.body]
    assert 'bad">does not fit' in found.split("takes off")[0]
    toggle = at.toggle(key="more_What turns")
    assert "over its limit" in toggle.label
    toggle.set_value(True)
    run(at)
    assert "(over its limit)" in at.number_input(key="side:motor_max_cells").label


def test_fields_whose_limit_is_passed_say_so_in_their_label():
    at = opened(v="1", craft="scree", cells="8", end="1")
    assert sentence(at).startswith("The motor does not fit")
    groups = {"What it carries": 4, "What turns": 1, "What feeds it": 1}
    for group, count in groups.items():
        toggle = at.toggle(key=f"more_{group}")
        assert f"{count} over {'their' if count > 1 else 'its'} limit" in toggle.label
        toggle.set_value(True)
    run(at)
    marked = {n.key for n in at.number_input if n.label.endswith("(over its limit)")}
    names = ("motor_max_cells", "esc_max_cells", "vtx_max_cells", "camera_max_cells", "regulator_max_v", "capacitor_v")
    assert marked == {f"side:{name}" for name in names}
    session_state = at.session_state["inputs"]
    at.number_input(key="side-must:cells").set_value(6)
    run(at)
    assert not [n.label for n in at.number_input if "over its limit" in n.label]
    assert at.session_state["inputs"].motor_max_cells == session_state.motor_max_cells


@pytest.mark.parametrize(
    ("changes", "marked"),
    [({}, set()), ({"cells": 1}, {"esc_min_cells"}), ({"capacitor_v": 25.0}, {"capacitor_v"}),
     ({"frame_propeller_in": 4.0}, {"frame_propeller_in"}), ({"motor_max_cells": None}, set()),
     ({"mass_threshold_g": 250.0}, {"mass_threshold_g"})],
)  # fmt: skip
def test_only_the_field_of_the_part_that_does_not_fit_is_over(changes, marked):
    assert headlines.over_label(replace(Inputs(), **changes)) == marked


def test_a_link_of_which_nothing_is_known_is_a_first_visit_with_a_notice():
    at = opened(utm_source="letter")
    assert "This link could not be read (utm source); what you see is the invented craft to begin with." in body(at)
    assert at.session_state["inputs"] == Inputs() and at.session_state["touched"] is False
    assert [one.name for one in at.session_state["pins"]] == ["Scree without camera"]
