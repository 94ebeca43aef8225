"""Words and marks of the measured pairs beside the forecast."""

from __future__ import annotations

import html
import math
import re
from dataclasses import replace

import numpy as np
import pytest

from explorer.app_pages.lift import figures, measured, nearest
from explorer.figures import base
from explorer.figures.marks import MEASURED_MARKS
from explorer.figures.marks import measured as draw_measured
from explorer.forecasts import headlines
from explorer.inputs import Inputs, demo_inputs, to_build
from explorer.text.numbers import Units
from propmodel.assess.performance import performance
from propmodel.bench.pairs import NearPair, measured_pairs, nearest_pairs

SCREE = demo_inputs("scree")
PAIRS = {pair.label: pair for pair in measured_pairs()}
FIRST = PAIRS["2306.5 1950 KV, 5.1x4.3x3, 24.5 V"]


def plain(text: str) -> str:
    return re.sub("[\u00a0\u202f]", " ", html.unescape(re.sub(r"<[^>]+>", "", text)))


def near_to(pair, *, distance: float = 0.1, differences=(), volts: float = 24.5, **changes) -> measured.Nearest:
    found = measured.Nearest([NearPair(pair, distance, tuple(differences))], [pair.throttle], volts)
    return replace(found, **changes)


def test_the_nearest_of_a_demo_are_its_own_sizes():
    found = nearest.nearest(SCREE)
    assert [one.pair.propeller_label for one in found.pairs[:2]] == ["5.1x4.3x3", "5.1x4.5x3"]
    assert all(np.allclose(place, one.pair.throttle) for place, one in zip(found.places, found.pairs, strict=True))
    # flat out, where a 75C pack of this size sags to some 3 V a cell
    assert found.voltage == pytest.approx(float(performance(to_build(SCREE)).full_throttle_voltage), rel=1e-6)
    assert 2.8 * 6 < found.voltage < 25.2


def test_the_first_screen_says_how_near():
    assert plain(measured.how_near(near_to(FIRST, volts=20.2))) == (
        "Nearest measured parts: the same as yours, at 24.5 V (your pack gives 20.2 V flat out): \u25c7 below."
    )
    same = measured.how_near(near_to(FIRST, differences=("stator 2306.5",)))
    assert plain(same) == (
        "Nearest measured parts: as yours but stator 2306.5, at 24.5 V, as your pack flat out: \u25c7 below."
    )
    far = measured.how_near(near_to(FIRST, distance=2.0, differences=("3.0 in smaller",)))
    assert plain(far) == "Nearest measured parts: 3.0 in smaller, at 24.5 V; too far to compare."
    assert "not drawn" in measured.how_near(near_to(FIRST, coaxial=True))
    beyond = near_to(FIRST, places=[np.full(FIRST.throttle.size, np.nan)], cap=0.4)
    assert "beyond your throttle cap, so not drawn" in measured.how_near(beyond)
    for demo in ("scree", "tarn", "moor", "fell"):
        text = measured.how_near(nearest.nearest(demo_inputs(demo)))
        assert "nan" not in text and "!" not in text and len(text) < 170


def test_the_far_ones_are_not_drawn():
    found = nearest.nearest(demo_inputs("tarn"))
    assert not found.pairs[0].near
    assert measured.marks_of(found) == [] and measured.key(found, 4) == ""
    assert "too far" in measured.how_near(found)
    # the table behind the click still tells what there is
    assert len(measured.rows(found, Units())) >= 3


def test_the_key_says_on_which_side_the_marks_should_lie():
    assert "should lie above the line" in plain(measured.key(near_to(FIRST, volts=20.2), 4))
    assert "should lie below the line" in plain(measured.key(near_to(FIRST, volts=30.0), 4))
    assert "should lie" not in plain(measured.key(near_to(FIRST, volts=24.6), 4))
    assert "one rotor times 6" in measured.key(near_to(FIRST), 6)
    assert FIRST.label in plain(measured.key(near_to(FIRST), 4))


def test_a_command_cap_moves_the_marks_to_the_same_duty():
    capped = nearest.nearest(replace(SCREE, command_cap_percent=70.0))
    place, one = capped.places[0], capped.pairs[0]
    assert np.isnan(place[one.pair.throttle > 0.8]).all()
    half = one.pair.throttle == 0.5
    assert place[half] > 0.65
    assert "throttle cap of 70 %" in plain(measured.key(capped, 4))


def test_marks_are_the_rows_of_the_pair_times_the_rotors():
    found = near_to(FIRST)
    (marks,) = measured.marks_of(found)
    assert marks.thrust is FIRST.thrust and marks.current is FIRST.current
    figure = base.panels([base.Panel("a", "kg", base.Axis(8.0, 2.0))], base.Axis(100.0, 25.0), x_title="x", height=200)
    draw_measured(figure, [(100.0 * marks.throttle, 4.0 * marks.thrust)], name="measured", unit="N")
    (trace,) = figure.data
    assert trace["mode"] == "markers" and set(trace["marker"]["symbol"]) == {"diamond-open"}
    assert trace["y"] == pytest.approx(4.0 * FIRST.thrust, rel=1e-3)


def test_no_mark_looks_like_another_or_like_the_forecast():
    # shape carries it, not colour alone: the forecast's own points are discs, filled or hollow
    assert len(set(MEASURED_MARKS)) == len(MEASURED_MARKS) == len(measured.SIGNS)
    assert not any("circle" in mark for mark in MEASURED_MARKS)


def test_a_wrong_or_missing_point_is_no_mark():
    pair = next(p for p in measured_pairs() if not p.usable.all())
    (marks,) = measured.marks_of(near_to(pair))
    assert np.isnan(marks.throttle[~pair.usable]).all() and np.isfinite(marks.throttle[pair.usable]).all()
    for pair in measured_pairs():
        for row in measured.rows(near_to(pair), Units()):
            assert "nan" not in " ".join(row)


def test_the_table_sets_our_forecast_beside_each_row():
    rows = [[plain(cell) for cell in row] for row in measured.rows(near_to(FIRST), Units())]
    # maker's sheet of a 2306.5 1950 KV motor, 5.1x4.3x3, full throttle: 24.51 V, 35.7 A, 30991 rpm, 1591 g
    assert rows[-1][:4] == ["\u25c7 2306.5 1950 KV, 5.1x4.3x3", "100 %", "24.5 V", "1590 g"]
    assert rows[-1][5] == "36 A" and rows[-1][7].replace(" ", "") == "30990"
    ours = float(rows[-1][4].split()[0])
    assert 0.6 * 1590 < ours < 1.6 * 1590
    no_stator = next(p for p in measured_pairs() if math.isnan(p.stator_diameter))
    assert measured.rows(near_to(no_stator), Units())[0][4] == "no stator stated"


def test_sources_tell_kind_difference_and_doubt_and_no_name():
    text = plain(
        measured.sources(near_to(PAIRS["2207 1950 KV, 5.1x4.5x3, 24.1 V"], differences=("pitch 0.2 in more",)))
    )
    assert (
        "maker's own test sheet" in text and "pitch 0.2 in more, 24.1 V" in text and "three blades are assumed" in text
    )
    for pair in measured_pairs():
        assert not re.search(r"github|\.com|M\d{3}", measured.sources(near_to(pair)))


def test_the_axes_make_room_for_the_marks_that_are_drawn():
    this = figures.Curve(
        "x", *([headlines.story(SCREE).curve]), None, None, 4, 6.8, 0.24, 6.5, 0.3, 0.04
    )  # fmt: skip
    high = figures.Marks("m", np.array([0.5, np.nan]), np.array([30.0, 900.0]), np.array([70.0, 900.0]))
    pull, amps, _ = figures.story_tops(this, [], Units(thrust="N"), [high])
    assert pull == pytest.approx(120.0) and amps == pytest.approx(280.0)


def test_asking_for_the_nearest_of_a_default_build_never_fails_on_odd_labels():
    for change in ({"kv": 100.0}, {"diameter_in": 20.0, "pitch_in": 10.0}, {"blades": 6}, {"cells": 1}):
        found = nearest.nearest(replace(Inputs(), **change))
        assert len(found.pairs) == 3 and measured.how_near(found)
    # and the engine's own list agrees
    one = nearest_pairs(kv=1950, diameter=0.1295, pitch=0.109, blades=3, voltage=24.5, count=1)[0]
    assert one.pair in measured_pairs()
