"""The frontier, the counts and the shares of the map, held against their definitions by brute force."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from choose_counts import small, swept, values_of
from hypothesis import given, settings
from hypothesis import strategies as st

from explorer.app_pages.choose import answers, counting, looks, map_words, plan, ranges
from explorer.app_pages.choose import picture as choice_picture
from explorer.app_pages.choose.looks import ASKED, LOOKS, USUAL, conditions
from explorer.app_pages.choose.picture import judged, picture
from explorer.app_pages.choose.ranges import RANGES
from explorer.forecasts import headlines
from explorer.forecasts.mixed_flight import MIXED_TIME
from explorer.inputs import Inputs, to_build
from explorer.text.numbers import NARROW, Units, number
from propmodel.assembly.build import with_fields
from propmodel.assess.limits import limits
from propmodel.assess.margins import FITS, SHARES
from propmodel.assess.performance import OUTPUTS
from propmodel.base.units import INCH
from propmodel.studies.sweep import Condition


@pytest.fixture(scope="module")
def many():
    inputs = Inputs()
    values = values_of(inputs, ranges.around(inputs) | {"cells": "5 to 7"})
    _, found = swept(inputs, values, ("hover_time", "thrust_to_weight", "mass", *FITS, *SHARES))
    return inputs, found


def test_the_frontier_is_what_its_definition_says(many):
    """Brute force: no combination that holds is at least as good in both and better in one."""
    _, found = many
    asked = conditions([("thrust_to_weight", "at least", 2.0)], "all")
    seen = picture(found, asked)
    good = found.meets(asked)
    x, y = found["hover_time"].ravel(), found["thrust_to_weight"].ravel()
    assert seen.frontier.size <= 60
    assert len(seen.frontier)
    for index in seen.frontier:
        better = good & (x >= x[index]) & (y >= y[index]) & ((x > x[index]) | (y > y[index]))
        assert good[index] and not better.any()
    assert set(seen.winners) <= set(seen.frontier.tolist())
    assert np.all(np.diff(seen.frontier_x) >= 0.0)
    assert len(seen.winners) <= 8


def test_mass_counts_as_better_when_it_is_less(many):
    _, found = many
    seen = picture(found, [], x="mass", y="thrust_to_weight")
    x, y = found["mass"].ravel(), found["thrust_to_weight"].ravel()
    assert len(seen.frontier)
    for index in seen.frontier:
        better = (x <= x[index]) & (y >= y[index]) & ((x < x[index]) | (y > y[index]))
        assert not better.any()


def test_counts_hold_every_combination_that_holds(many):
    _, found = many
    asked = conditions([("hover_time", "at least", 400.0)], "what fits")
    seen = picture(found, asked, also=[(540.0, 7.2)])
    assert seen.held.shape == seen.every.shape == (60, 80)
    assert seen.held.sum() == seen.holding == int(found.meets(asked).sum())
    assert 0.98 * seen.size <= seen.every.sum() <= seen.size
    assert np.all(seen.held <= seen.every)
    # numpy's own histogram, which bins by search and not by scaling
    good = found.meets(asked)
    x, y = found["hover_time"].ravel()[good], found["thrust_to_weight"].ravel()[good]
    other, _, _ = np.histogram2d(y, x, bins=(seen.y_edges, seen.x_edges))
    assert np.abs(other - seen.held).sum() <= 4  # a value on an edge may fall to either side
    assert seen.x_edges[0] <= 540.0 <= seen.x_edges[-1]


def test_when_nothing_holds_the_value_named_lets_one_through(many):
    _, found = many
    asked = conditions([("thrust_to_weight", "at least", 13.0)], "all")
    seen = picture(found, asked)
    assert seen.holding == 0 and seen.winners == [] and seen.frontier.size == 0
    words = map_words.holds_words(seen, Units())
    assert words.startswith(f"Nothing holds. Thrust to weight above 13.0{NARROW}times rejects 100{NARROW}%; at ")
    eased = conditions([("thrust_to_weight", "at least", seen.verdicts[0].nearest)], "all")
    assert int(found.meets(eased).sum()) >= 1
    harder = conditions([("thrust_to_weight", "at least", seen.verdicts[0].nearest * 1.001)], "all")
    assert int(found.meets(harder).sum()) == 0


def test_two_conditions_that_only_fail_together_are_told(many):
    _, found = many
    asked = [Condition("thrust_to_weight", "at least", 50.0), Condition("hover_time", "at least", 1e5)]
    words = map_words.holds_words(picture(found, asked), Units())
    assert words.startswith("Nothing holds.") and "relax two conditions" in words


def test_shares_of_what_falls_are_shares(many):
    _, found = many
    asked = conditions([("thrust_to_weight", "at least", 5.0)], "all")
    seen = picture(found, asked)
    told = dict(seen.falls)
    assert told["thrust to weight"] == pytest.approx(float((found["thrust_to_weight"] < 5.0).mean()))
    cells = (found["motor_cells"] > 1) | (found["controller_cells"] > 1) | (found["video_voltage"] > 1)
    assert told["more cells than a part is rated for"] >= float(cells.mean()) - 1e-9
    assert list(told.values()) == sorted(told.values(), reverse=True)
    words = map_words.holds_words(seen, Units())
    assert f"{number(seen.holding)} of {number(seen.size)} hold" in words


def test_craft_that_cannot_hover_make_no_picture_and_no_fault():
    heavy = replace(Inputs(), payload_g=9000.0)
    _, found = swept(heavy, small(heavy), ("hover_time", "thrust_to_weight", "mass"))
    seen = picture(found, conditions([], "none"))
    assert seen.holding == 0
    assert "0" in map_words.holds_words(seen, Units())


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(-1e3, 1e3), st.floats(-1e3, 1e3)), min_size=1, max_size=300), st.integers(1, 70))
def test_thinning_keeps_order_and_both_ends(points, most):
    xs = np.array(sorted(p[0] for p in points), dtype=np.float32)
    ys = np.array([p[1] for p in points], dtype=np.float32)
    picks = choice_picture._spread(xs, ys, most)
    assert 1 <= picks.size <= max(most, 1)
    assert np.all(np.diff(picks) > 0)
    if most >= 2:
        assert picks[0] == 0 and picks[-1] == xs.size - 1


@pytest.mark.parametrize("name", list(LOOKS))
def test_an_answer_shown_and_typed_back_is_the_same(name):
    for units in (Units(), Units("N", "mm", "F")):
        there = float(looks.in_axis_unit(name, 3.7, units))
        assert looks.from_axis_unit(name, there, units) == pytest.approx(3.7)


def test_change_words_say_which_way_and_how_much():
    assert looks.change_words("hover_time", 330.0, 300.0) == f"10{NARROW}% longer"
    assert looks.change_words("mass", 0.5, 1.0) == f"50{NARROW}% lighter"
    assert looks.change_words("thrust_to_weight", 5.0, 5.01) == "the same"
    assert looks.change_words("hover_time", math.nan, 300.0) == "no longer possible"


def test_the_bands_of_the_winners_are_those_of_their_builds(many):
    inputs, found = many
    answer = counting.CountedSweep(plan.plan(inputs, {}, {}), found)
    picks = [0, found.size // 2, found.size - 1]
    bands = answers.bands_of(answer, picks, ("thrust_to_weight", MIXED_TIME), headlines.profile(inputs))
    for index in picks:
        there = headlines.answers(plan.inputs_at(inputs, answer.plan, found, index, {}))
        for name, field in (("thrust_to_weight", "thrust_to_weight"), (MIXED_TIME, "minutes")):
            ends = (getattr(there.low, field), getattr(there.high, field))
            assert bands[index][name] == pytest.approx(ends, rel=0.02)
    assert answers.bands_of(answer, [], ("mass",), headlines.profile(inputs)) == {}


def test_every_name_the_page_offers_is_known_to_the_engine():
    assert set(looks.HEADLINES) == set(ASKED) - {MIXED_TIME} <= set(OUTPUTS)
    build = to_build(Inputs())
    for name, (path, scale) in answers.SOLVED.items():
        part, _, field = path.partition(".")
        value = getattr(getattr(build, part), field) if field else getattr(build, part)
        assert float(value) / scale == pytest.approx(getattr(Inputs(), name), rel=1e-6)
    assert RANGES["diameter_in"].scale == INCH


def test_limits_as_usual_are_those_that_a_loaded_build_is_told_are_usual(many):
    """The same rule as on the page Margins: over by no more than such craft commonly are, with thrust to spare."""
    inputs, found = many
    asked = conditions([], USUAL)
    good = judged(found, USUAL).meets(asked)
    strict = found.meets(conditions([], "all"))
    fits = found.meets(conditions([], "what fits"))
    assert strict.sum() < good.sum() < fits.sum()
    assert np.all(good[strict]) and np.all(fits[good])
    rng = np.random.default_rng(7)
    values = values_of(inputs, ranges.around(inputs) | {"cells": "5 to 7"})
    planned = plan.plan(inputs, values, {})
    for index in rng.choice(found.size, 40, replace=False):
        made = with_fields(planned.base, {k: v[()] for k, v in found.at(int(index)).items()})
        over = [one for one in limits(made, hold=10.0) if one.state == "over"]
        # a share within a rounding of its limit may fall to either side: the sweep keeps single precision
        if any(abs(one.share - 1.0) < 1e-4 for one in limits(made, hold=10.0) if one.kind == "share"):
            continue
        assert bool(good[index]) == all(one.usual for one in over), [(one.key, one.share, one.usual) for one in over]
    assert found["sag_low"].max() > 1.0, "the sweep itself is left as it is"


def test_an_unknown_wish_for_limits_is_refused():
    with pytest.raises(ValueError, match="limits must be one of"):
        conditions([], "every limit")
