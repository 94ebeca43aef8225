"""The Choose page run without a browser: what it says, what it keeps, what it loads."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import explorer
from explorer.controls.page_frame import page_file
from explorer.inputs import Inputs

APP = Path(explorer.__file__).with_name("app.py")


FOLDS = ("choose_more_open", "choose_spread_open", "choose_solve_open")


def run(at: AppTest) -> AppTest:
    for fold in FOLDS:
        at.session_state[fold] = True  # what a browser sends with every run while a fold is open
    at.run()
    assert not at.exception
    assert not at.error
    return settled(at)


def settled(at: AppTest) -> AppTest:
    """A browser would look again until the count is done."""
    for _ in range(20):
        job = at.session_state["bench_kept"].get("choose_job")
        if job is None or not any(b.key == "choose_stop" for b in at.button):
            return at
        job.wait(60)
        at.run()
        assert not at.exception
    raise AssertionError("still counting")


def opened(craft: str | None = None) -> AppTest:
    at = AppTest.from_file(str(APP), default_timeout=120)
    at.run()
    if craft is not None:
        at.segmented_control(key="craft").set_value(craft).run()
    at.switch_page(page_file("choose"))
    return run(at)


def body(at: AppTest) -> str:
    text = " ".join(node.proto.body for node in at.get("html") if "<style>" not in node.proto.body)
    return re.sub(r"\s+", " ", re.sub("[\u00a0\u202f]", " ", re.sub(r"<[^>]+>", " ", text)))


def holding(at: AppTest) -> int:
    """How many the page says hold."""
    found = re.search(r"(?:All )?(\d[\d ]*) (?:of [\d ]+ )?hold", body(at))
    assert found is not None
    return int(found[1].replace(" ", ""))


def notices(at: AppTest) -> list[str]:
    found = []
    for node in at.get("html"):
        found += re.findall(r'wi-notice" role="status">(.*?)</p>', node.proto.body)
    return found


def spec(at: AppTest) -> dict:
    return json.loads(at.get("plotly_chart")[0].proto.spec)


def trace(at: AppTest, name: str) -> dict:
    return next(t for t in spec(at)["data"] if t["name"] == name)


def field(at: AppTest, name: str):
    return next(t for t in at.text_input if t.key.startswith("choose_range:") and t.key.endswith(f":{name}"))


def inputs(at: AppTest) -> Inputs:
    return at.session_state["inputs"]


@pytest.fixture(scope="module")
def first() -> AppTest:
    return opened()


def test_it_answers_all_five_questions_at_once(first):
    text = body(first)
    for words in ("Which combination is best for me?", "Or change one part", "Most minutes in hover",
                  "What to look for", "Why the forecast is a band",
                  "Best single change that breaks no new limit"):  # fmt: skip
        assert words in text
    assert re.search(r"\d[\d ]* of \d[\d ]* hold", text)
    assert re.search(r"\d+ mAh does it; this build has 1300 mAh", text)
    loads = [b for b in first.button if b.label.startswith("Load ")]
    assert 1 <= len(loads) <= 8


def test_the_map_is_counts_and_few_marks_however_many_combinations(first):
    figure = spec(first)
    kinds = [t["type"] for t in figure["data"]]
    assert kinds.count("heatmap") == 2
    marks = sum(len(t["x"]) for t in figure["data"] if t["type"] == "scatter")
    assert marks <= 60 + 4
    assert len(first.get("plotly_chart")[0].proto.spec) < 250_000
    assert len(trace(first, "frontier")["customdata"]) == len(trace(first, "frontier")["x"])
    assert trace(first, "this build")["marker"]["symbol"] == "circle-open-dot"
    assert trace(first, "pinned")["marker"]["symbol"] == "circle-open"


def test_the_ring_is_where_the_sentence_of_the_map_says(first):
    ring = trace(first, "this build")
    alt = first.get("plotly_chart")[0].proto.alt if hasattr(first.get("plotly_chart")[0].proto, "alt") else ""
    if alt:
        told = re.search(r"This build: ([\d.]+)\D+?([\d.]+)", alt)
        assert told is not None
        assert float(told[1]) == pytest.approx(ring["x"][0], abs=0.06)
    assert 1.0 < ring["x"][0] < 60.0 and 1.0 < ring["y"][0] < 20.0


def test_load_puts_the_row_on_the_screen_and_the_map_stays_the_same():
    at = opened()
    before = trace(at, "frontier")
    row = [b for b in at.button if b.label.startswith("Load ")][-1]
    label = body(at)
    row.click()
    run(at)
    now = inputs(at)
    assert now != Inputs()
    assert f"{now.cells}S {now.capacity_mah:.0f}" in label
    after = trace(at, "frontier")
    # the same ranges on the same frame: only what rounding does
    assert after["x"] == pytest.approx(before["x"], rel=2e-3)
    assert after["y"] == pytest.approx(before["y"], rel=2e-3)
    ring = trace(at, "this build")
    assert (
        min(abs(ring["x"][0] - x) + abs(ring["y"][0] - y) for x, y in zip(after["x"], after["y"], strict=True)) < 0.05
    )


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("kv", "2700 to 1500", "the smaller one must come first"),
        ("kv", "", "KV is empty"),
        ("kv", "100 to 30000 by 0.01", "alone would bring"),
        ("kv", "100 to 30000 by 0.1", "combinations; 2\u202f000\u202f000 can be counted"),
        ("stator", "<script>alert(1)</script>", "could not read"),
        ("capacity_mah", "1 to 2", "nothing is sold"),
    ],
)
def test_a_bad_range_is_told_and_the_last_picture_stays(name, text, words):
    at = opened()
    before = trace(at, "frontier")
    field(at, name).set_value(text)
    run(at)
    assert any(words in n for n in notices(at)), notices(at)
    assert not any("<script" in n for n in notices(at))
    assert trace(at, "frontier") == before
    assert field(at, name).value == text  # kept as typed


def test_nothing_holds_says_what_rejects_and_what_would_do():
    at = opened()
    before = trace(at, "frontier")
    at.number_input(key="choose_bound:thrust_to_weight").set_value(13.0)
    run(at)
    (told,) = [n for n in notices(at) if n.startswith("Nothing holds")]
    told = told.replace("\u202f", " ")
    assert trace(at, "frontier") == before
    would = float(re.search(r"at ([\d.]+) times one would", told)[1])
    at.number_input(key="choose_bound:thrust_to_weight").set_value(would - 0.06)
    run(at)
    assert not notices(at) and holding(at) > 0


def test_conditions_narrow_what_holds():
    at = opened()
    counts = []
    for wish in ("none", "what fits", "as usual", "all"):
        at.segmented_control(key="choose_limits").set_value(wish)
        run(at)
        counts.append(holding(at))
    assert counts[0] >= counts[1] > counts[2] > counts[3]
    at.number_input(key="choose_bound:mass").set_value(660.0)
    run(at)
    assert holding(at) < counts[3]
    masses = [float(g) for g in re.findall(r"times \([^,]*?(\d+) g ", body(at))]
    assert masses and max(masses) <= 660.0


def test_where_none_keeps_its_limits_as_usual_those_that_fit_are_answered_and_that_is_said():
    at = opened("moor")
    text = body(at)
    capped = "under your throttle cap of 60 %"
    assert f"No combination keeps its limits as usual {capped}. Of those that fit, most minutes in hover:" in text
    assert re.search(r"Nothing holds\. .+ Shown: the [\d ]+ whose parts fit\.", text)
    # what each goes over stands beside it, or once below where it is the same
    assert ("; over: " in text) != ("Each of them is over: " in text)
    assert any(b.label.startswith("Load ") for b in at.button)


def test_only_three_controls_and_the_folds_stand_open():
    at = AppTest.from_file(str(APP), default_timeout=120)
    at.run()
    at.switch_page(page_file("choose"))
    at.run()
    here = [w for kind in (at.selectbox, at.number_input, at.segmented_control, at.text_input, at.slider) for w in kind]
    assert {w.key for w in here if w.key and w.key.startswith("choose")} == {
        "choose_x", "choose_bound:thrust_to_weight", "choose_limits",
    }  # fmt: skip


def test_minutes_flown_your_way_can_be_mapped_and_bettered():
    at = opened()
    at.selectbox(key="choose_x").set_value("way_time")
    run(at)
    assert spec(at)["layout"]["xaxis"]["title"]["text"] == "Minutes flown your way, min"
    first = trace(at, "this build")["x"][0]
    assert f"{first:.1f} min" in body(at) or 3.5 < first < 5.5
    before = body(at)
    # another way of flying moves every dot
    at.session_state["inputs"] = replace(inputs(at), flying_style="race")
    run(at)
    assert trace(at, "this build")["x"][0] < 0.8 * first
    assert body(at) != before


def test_the_winners_tell_their_spread(first):
    told = body(first).split("What to look for", 2)[-1]
    rows = re.findall(r"[\d.]+ min \([\d.]+ to [\d.]+\) +[\d.]+ times \([\d.]+ to [\d.]+\)", told)
    assert len(rows) == len([b for b in first.button if b.label.startswith("Load")])


def test_parts_on_the_shelf_are_offered(monkeypatch):
    monkeypatch.setenv("PROPULSION_WHAT_IF_DATA", "none")
    at = opened()
    at.segmented_control(key="choose_limits").set_value("all")
    at.session_state["choose_lists_open"] = True
    run(at)
    assert any("Your shelf has no motors yet" in c.value for c in at.caption)
    assert not any(b.key == "choose_shelf:motors" for b in at.button)
    table = "name,KV [rpm/V],stator diameter [mm],stator height [mm]\nFern,1750,22,7\nMoss,1900,23,6\n"
    at.session_state["store"].save_table("motors", table)
    at.session_state["choose_lists_open"] = True
    run(at)
    (button,) = [b for b in at.button if b.key == "choose_shelf:motors"]
    assert "2 on my shelf" in button.label
    button.click()
    run(at)
    # Fern has the larger stator at less KV: with all limits kept the frontier is its own
    assert not notices(at) and "Fern" in body(at) and field(at, "kv").disabled


@pytest.mark.parametrize(
    ("output", "most", "next_"),
    [("hover_throttle", "Throttle map", "Propeller"), ("thrust_to_weight", "Pack", "Motor resistance and losses")],
)
def test_the_spread_names_what_brings_most_first(output, most, next_):
    at = opened()
    at.selectbox(key="choose_spread").set_value(output)
    run(at)
    shares = body(at).split("Its share of the spread")[1].split("What one reading takes")[0]
    found = [(name.strip(), float(share)) for name, share in re.findall(r"([A-Z][A-Za-z ]+?) (\d+) %", shares)]
    assert [name for name, _ in found[:2]] == [most, next_]
    assert [share for _, share in found] == sorted((share for _, share in found), reverse=True)
    if output == "hover_throttle":
        # it is the command that is read in a hover, and so the map with it
        taken = body(at).split("What one reading takes")[1]
        assert float(re.search(r"Reading current and command in a hover (\d+) %", taken)[1]) > 80


def test_other_answers_can_be_mapped():
    at = opened()
    at.selectbox(key="choose_x").set_value("mass")
    at.selectbox(key="choose_y").set_value("top_speed")
    run(at)
    assert spec(at)["layout"]["xaxis"]["title"]["text"] == "Take-off mass, g"
    xs, ys = trace(at, "frontier")["x"], trace(at, "frontier")["y"]
    assert xs == sorted(xs) and ys == sorted(ys)  # lighter is better, faster is better: one buys the other


@pytest.mark.parametrize("craft", ["tarn", "moor", "fell"])
def test_the_other_craft_of_the_club(craft):
    at = opened(craft)
    assert "of" in body(at) and spec(at)["data"]
    assert inputs(at).name.lower() == craft


def test_a_craft_that_cannot_hover_is_no_fault():
    at = AppTest.from_file(str(APP), default_timeout=120)
    at.query_params["payload_g"] = "9000"
    at.run()
    at.switch_page(page_file("choose"))
    run(at)
    assert "Nothing holds." in body(at)
    assert "Or change one part" in body(at)


def test_a_pasted_list_takes_over_and_a_bad_one_is_told():
    at = opened()
    at.segmented_control(key="choose_limits").set_value("all")
    at.session_state["choose_lists_open"] = True
    run(at)
    at.text_area(key="choose_paste:motors").set_value("name,stator diameter\nFern,22\n")
    at.button(key="choose_use").click()
    run(at)
    assert any("KV" in n for n in notices(at))
    at.text_area(key="choose_paste:motors").set_value(
        "name,KV,stator diameter,stator height,price\n<b>Fern</b>,1750,22,7,20\nMoss,1900,23,6,22\n"
    )
    at.button(key="choose_use").click()
    run(at)
    assert not notices(at)
    assert "\u2039b\u203aFern\u2039/b\u203a; " in body(at)
    assert field(at, "kv").disabled and not field(at, "pitch_in").disabled
    assert at.number_input(key="choose_bound:price") is not None
    assert not any("<b>Fern" in node.proto.body for node in at.get("html"))
    next(b for b in at.button if b.label.startswith("Load ")).click()
    run(at)
    assert inputs(at).motor_name in ("Moss", "\u2039b\u203aFern\u2039/b\u203a")
    at.session_state["choose_lists_open"] = True  # what a browser sends with every run
    run(at)
    at.button(key="choose_drop:motors").click()
    run(at)
    assert not field(at, "kv").disabled


def test_solving_without_an_answer_is_said_in_words():
    at = opened()
    target = next(n for n in at.number_input if n.key.startswith("choose_target:hover_time"))
    target.set_value(500.0)
    run(at)
    text = body(at)
    assert re.search(r"No capacity between .* gives 500 min in hover", text)
    assert "The nearest is" in text


def test_what_was_typed_is_there_after_another_page():
    at = opened()
    field(at, "kv").set_value("1700, 1900")
    at.number_input(key="choose_bound:hover_time").set_value(6.0)
    run(at)
    at.switch_page(page_file("lift"))
    at.run()
    at.switch_page(page_file("choose"))
    run(at)
    assert field(at, "kv").value == "1700, 1900"
    assert at.number_input(key="choose_bound:hover_time").value == 6.0


def test_ranges_nobody_typed_follow_a_build_that_leaves_them():
    at = opened()
    near = field(at, "kv").value
    at.segmented_control(key="craft").set_value("fell")
    run(at)
    assert field(at, "kv").value != near
    assert "10" in field(at, "diameter_in").value
