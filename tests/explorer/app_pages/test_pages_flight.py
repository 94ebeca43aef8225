"""The pages Minutes, Margins and Dive, run without a browser."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import explorer
from explorer.app_pages.minutes import answers
from explorer.controls.page_frame import page_file
from explorer.figures.base import PINNED_DASHES
from explorer.forecasts import headlines
from explorer.inputs import FLYING_STYLES, Inputs, demo_inputs, mix
from propmodel.assembly.demo import demo_names
from propmodel.flight.endurance import flight_time

APP = Path(explorer.__file__).with_name("app.py")
PAGES = ("minutes", "margins", "dive")


def run(at: AppTest) -> AppTest:
    at.run()
    assert not at.exception
    assert not at.error
    return at


def opened(page: str, inputs: Inputs | None = None, **session) -> AppTest:
    at = AppTest.from_file(str(APP), default_timeout=60)
    run(at)
    if inputs is not None:
        at.session_state["inputs"] = inputs
    for name, value in session.items():
        at.session_state[name] = value
    at.switch_page(page_file(page))
    return run(at)


def clean(markup: str) -> str:
    return re.sub(r"\s+", " ", re.sub("[\u00a0\u202f]", " ", re.sub(r"<[^>]+>", " ", markup)))


def body(at: AppTest) -> str:
    return clean(" ".join(n.proto.body for n in at.get("html") if "<style>" not in n.proto.body))


def sentence(at: AppTest) -> str:
    (found,) = [n.proto.body for n in at.get("html") if 'class="wi-sentence"' in n.proto.body]
    return clean(re.search(r'wi-sentence">(.*?)</p>', found).group(1)).strip()


def charts(at: AppTest) -> list[dict]:
    return [json.loads(c.proto.spec) for c in at.get("plotly_chart")]


@pytest.mark.parametrize("craft", demo_names())
@pytest.mark.parametrize("page", PAGES)
def test_every_demo_craft_is_alive_on_every_page(page, craft):
    at = opened(page, demo_inputs(craft))
    assert craft.capitalize() in sentence(at)
    assert "Pinned:" in body(at)
    assert not at.metric
    text = body(at)
    assert "nan" not in text.lower().split() and "inf" not in text.lower().split()
    for figure in charts(at):
        pinned = [t for t in figure["data"] if t["name"] == "pinned" and t.get("mode") == "lines"]
        assert pinned and all(t["line"]["dash"] == "6px,4px" for t in pinned)


THREE = [replace(Inputs(), kv=kv, name=f"At {kv:.0f} KV") for kv in (1700.0, 1800.0, 2100.0)]


@pytest.mark.parametrize("page", PAGES)
def test_three_pinned_builds_are_all_drawn_and_named(page):
    at = opened(page, pins=THREE)
    for one in THREE:
        assert f"{one.name} (pinned)" in body(at)
    for figure in charts(at):
        strokes = [t["line"]["dash"] for t in figure["data"] if t["name"] == "pinned" and t.get("mode") == "lines"]
        assert strokes == list(PINNED_DASHES)
    markup = " ".join(n.proto.body for n in at.get("html"))
    if page == "margins":
        assert all(f'class="there p{k} marked"' in markup for k in range(3))


@pytest.mark.parametrize("page", PAGES)
def test_pinned_builds_are_not_forecast_again_when_something_slides(page, monkeypatch):
    """A build is made of inputs for each new forecast: as many with three pinned as with none."""
    made = []
    real = headlines.build_of

    def counted(inputs):
        made.append(inputs.kv)
        return real(inputs)

    at = opened(page, pins=THREE)
    monkeypatch.setattr(headlines, "build_of", counted)
    slider = next(s for s in at.slider if s.key and "take_off_g" in s.key)
    slider.set_value(round(1.03 * slider.value))
    run(at)
    assert made and set(made) == {Inputs().kv}


@pytest.mark.parametrize("page", PAGES)
def test_nothing_pinned_is_said_and_nothing_is_dashed(page):
    at = opened(page, pins=[])
    assert "Nothing is pinned" in body(at)
    assert all(t["name"] != "pinned" for figure in charts(at) for t in figure["data"])


@pytest.mark.parametrize("page", PAGES)
def test_every_control_has_help(page):
    at = opened(page)
    controls = [*at.number_input, *at.selectbox, *at.slider, *at.toggle, *at.button, *at.text_input]
    assert [c.label for c in controls if not c.proto.help] == []


@pytest.mark.parametrize(
    "changes",
    [
        {"frame_g": 14000.0},
        {"cells": 1},
        {"cells": 14},
        {"diameter_in": 2.0},
        {"kv": 300.0},
        {"capacity_mah": 100.0},
        {"cell_mohm": 200.0},
        {"charge_left_percent": 0.0},
        {"reserve_percent": 0.0},
        {"cruise_kmh": 250.0},
        {"cutoff_v": 4.1},
        {"cutoff_v": 9.0},
        {"drop_m": 1000.0},
        {"dive_kmh": 0.0},
        {"dive_kmh": 400.0},
        {"reaction_s": 0.0},
        {"hardest_pull_g": 1.2},
        {"command_cap_percent": 30.0},
        {"mix_hover_percent": 0.0, "mix_cruise_percent": 0.0, "mix_hard_percent": 0.0, "mix_full_percent": 100.0},
    ],
    ids=lambda c: next(iter(c)) + " " + str(next(iter(c.values()))),
)
@pytest.mark.parametrize("page", PAGES)
def test_hard_inputs_are_answered_in_words(page, changes):
    at = opened(page, replace(Inputs(), **changes))
    assert len(sentence(at)) > 40
    words = body(at).lower().split()
    assert "nan" not in words and "inf" not in words and "none" not in words


# ---- minutes ----------------------------------------------------------------------------------------------


def test_three_marks_and_the_alarm_to_type_in():
    at = opened("minutes")
    marks = {t["name"]: t for t in charts(at)[0]["data"] if t["name"] in ("alarm", "land", "empty")}
    assert marks["alarm"]["x"][0] < marks["land"]["x"][0] < marks["empty"]["x"][0]
    text = body(at)
    alarm = int(re.search(r"Set this alarm: (\d+) mAh", text).group(1))
    # four fifths of the 1,222 mAh that a LiPo of 1,300 holds, to ten
    assert alarm < 980 and "you land with 980 mAh drawn" in text
    at.number_input(key="way_home").set_value(0.0)
    run(at)
    assert "Set this alarm: 980 mAh" in body(at)


def test_a_way_of_flying_changes_the_minutes_and_frees_the_mix():
    at = opened(
        "minutes",
        replace(Inputs(), mix_hover_percent=100.0, mix_cruise_percent=0.0, mix_hard_percent=0.0, mix_full_percent=0.0),
    )
    still = sentence(at)
    at.button_group(key="way").set_value("race")
    run(at)
    assert at.session_state["inputs"].flying_style == "race"
    assert at.session_state["inputs"].mix_hover_percent is None
    assert sentence(at) != still


@pytest.mark.parametrize("style", FLYING_STYLES)
def test_your_way_is_the_same_flight_on_every_page(style):
    # Lift, Choose and Cost ask the engine with `compute.profile`; Minutes asks for all ways at once
    made = replace(demo_inputs("scree"), flying_style=style)
    alone = flight_time(headlines.build(made), headlines.profile(made))
    together = answers.minutes(made)
    assert together.time["your way"] == pytest.approx(float(alone.time), rel=1e-3)
    assert together.current["your way"] == pytest.approx(float(alone.mean_current), rel=1e-3)


def test_shares_that_do_not_add_up_are_said_and_scaled_on_request():
    at = opened("minutes")
    at.session_state["mix_open"] = True
    run(at)
    at.number_input(key="share:mix_hover_percent").set_value(65.0)
    run(at)
    assert "The mix comes to 150 %, not 100 %" in body(at)
    at.button(key="scale_mix").click()
    run(at)
    scaled = at.session_state["inputs"]
    assert math.fsum(mix(scaled)) == pytest.approx(1.0)
    assert mix(scaled)[0] == pytest.approx(65.0 / 150.0, abs=2e-3)
    assert "The mix comes to" not in body(at)


def test_cold_and_old_ghosts_appear_with_their_words():
    at = opened("minutes")
    assert "Cells at 0" not in body(at)
    at.toggle(key="ghost_cold").set_value(True)
    at.toggle(key="ghost_old").set_value(True)
    run(at)
    assert {"cold", "old"} <= {t["name"] for t in charts(at)[0]["data"]}
    assert "never charge them below freezing" in body(at) and "After 250 full cycles" in body(at)


def test_a_cruise_that_cannot_be_held_is_answered_in_the_words_of_the_trade():
    at = opened("minutes", replace(Inputs(), cruise_kmh=220.0))
    assert re.search(r"cannot: needs \d\.\d times the thrust there is", body(at))


def test_a_wind_too_strong_to_come_home():
    at = opened("minutes", demo_inputs("moor"))
    assert "can come home" in body(at)
    at.number_input(key="wind").set_value(40.0)
    run(at)
    assert "cannot come home" in body(at)


def test_minutes_without_a_flight_says_why_inside_every_picture():
    at = opened("minutes", replace(Inputs(), frame_g=6000.0), pins=[])
    said = [" ".join(a.get("text", "") for a in figure["layout"]["annotations"]) for figure in charts(at)]
    for text, reason in zip(said, ("cannot hover", "cannot hover", "no pack", "no landing voltage"), strict=True):
        assert reason in text


def test_minutes_say_that_the_pack_warms_itself():
    text = body(opened("minutes"))
    assert "The pack warms itself to about" in text
    assert "may set it on fire" not in text
    # raced, and hot before it starts
    hard = body(opened("minutes", replace(Inputs(), flying_style="race", pack_temperature_c=58.0)))
    assert "may set it on fire: use less throttle, or fly shorter" in hard


# ---- margins ----------------------------------------------------------------------------------------------


def test_holding_longer_uses_more_heat_and_the_sentence_follows():
    at = opened("margins")
    assert "held 10 s" in sentence(at)
    at.button_group(key="hold").set_value(math.inf)
    run(at)
    assert "for good" in sentence(at)


def test_too_many_cells_come_before_all_physics():
    at = opened("margins", replace(Inputs(), cells=8))
    assert "does not fit together" in sentence(at)
    text = body(at)
    assert "✕ does not fit" in text and "The video transmitter is rated for 25.2 V; a full pack gives 33.6 V." in text
    assert "A throttle cap does not help" in text


def test_the_cap_is_never_called_a_cure_for_too_many_cells():
    at = opened("margins", replace(Inputs(), cells=8, command_cap_percent=75.0))
    assert "does not fit together" in sentence(at)
    assert "never makes a motor, ESC or transmitter fit for more cells" in body(at)


def test_the_hot_motor_box_follows_what_was_flown():
    at = opened("margins", hot_motor=True)
    before = body(at)
    at.button_group(key="hot").set_value("flat out")
    run(at)
    assert "hotter until it fails" in body(at) and "hotter until it fails" not in before


def test_short_violent_things_are_there():
    text = body(opened("margins", instant=True))
    for words in ("reaches 90 % of a punch in", "Blocked propeller", "Spark at plug-in", "bench supply"):
        assert words in text


# ---- dive -------------------------------------------------------------------------------------------------


def test_one_number_and_the_caution_always():
    at = opened("dive")
    assert re.match(r"Decide to pull Scree out no later than \d+ m above whatever is below", sentence(at))
    text = body(at)
    assert "An estimate, not a promise." in text and "local rules" in text and "Leave sideways" in text


@pytest.mark.parametrize("frame_g", [Inputs().frame_g, 6000.0])
def test_one_line_of_caution_stands_directly_under_the_sentence(frame_g):
    at = opened("dive", replace(Inputs(), frame_g=frame_g))
    (found,) = [n.proto.body for n in at.get("html") if 'class="wi-sentence"' in n.proto.body]
    after = found.split('class="wi-sentence"')[1].split("</p>", 1)[1]
    assert after.startswith('</div><p class="wi-caution" role="note"><b>A falling craft with turning blades')
    assert ("First try it high" in after) == (frame_g < 1000.0)


def test_a_craft_that_cannot_hover_is_told_not_to_dive_and_no_height_is_drawn():
    at = opened("dive", replace(Inputs(), frame_g=6000.0))
    assert re.match(r"Do not dive it ?: Scree cannot hover with this charge\.$", sentence(at))
    figure = charts(at)[0]
    assert "pull by" not in [s.get("name") for s in figure["layout"]["shapes"]]
    assert not any("pull out by" in a["text"] for a in figure["layout"]["annotations"])


def test_a_slower_pilot_needs_more_height():
    def height(at: AppTest) -> int:
        return int(re.search(r"no later than (\d+) m", sentence(at)).group(1))

    at = opened("dive")
    quick = height(at)
    at.number_input(key="dive-must:reaction_s").set_value(1.0)
    run(at)
    assert height(at) >= quick + 10


def test_too_low_to_begin_with():
    at = opened("dive")
    at.number_input(key="start").set_value(75.0)
    run(at)
    assert "reaches the ground" in sentence(at)
    at.number_input(key="start").set_value(30.0)
    run(at)
    assert "ends in the ground before you pull out" in sentence(at)


def test_flat_entry_falls_slower():
    def speed(at: AppTest) -> int:
        return int(re.search(r"At (\d+) km/h", sentence(at)).group(1))

    at = opened("dive")
    nose_down = speed(at)
    at.button_group(key="entry").set_value("flat")
    run(at)
    assert speed(at) < nose_down


def test_the_table_is_five_by_four():
    (table,) = [n.proto.body for n in opened("dive").get("html") if 'class="wi-table wi-pulls"' in n.proto.body]
    assert table.count("<tr") == 6 and table.count("<td") == 20
