"""Chart kit and pictures of the Lift page, without Streamlit."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import propmodel
from explorer.app_pages.lift import bars, figures
from explorer.figures import base
from explorer.text.numbers import Units
from propmodel.assess.limits import Limit
from propmodel.flight.power_split import where_watts_go
from propmodel.studies.spread import curve_bands

GRAMS = Units()


def curve_of(name: str = "scree", **changes) -> figures.Curve:
    build = propmodel.demo(name)
    low, _, high = curve_bands(build, np.linspace(0.0, 1.0, 11), draws=16)
    known = {
        "name": name,
        "curve": propmodel.throttle_curve(build, np.linspace(0.0, 1.0, 51)),
        "low": low,
        "high": high,
        "rotors": 4,
        "weight": float(build.weight),
        "hover_command": 0.25,
        "hover_current": 6.0,
        "hover_share": 0.32,
        "hover_thrust_per_watt": 0.043,
    }
    return figures.Curve(**(known | changes))


def axes_of(this: figures.Curve, units: Units = GRAMS) -> tuple[base.Axis, base.Axis, base.Axis]:
    pull, amps, share = figures.story_tops(this, [], units)
    return base.snapped(pull), base.snapped(amps), base.snapped(share)


def story(
    this: figures.Curve, other: figures.Curve | None = None, *, ceiling: figures.Ceiling | None = None, units=GRAMS
):
    return figures.story(
        this, [] if other is None else [other], axes=axes_of(this, units), units=units, ceiling=ceiling
    )


def traces(figure, name: str) -> list:
    return [trace for trace in figure.data if trace.name == name]


# ---- axes


@given(st.floats(1e-6, 1e9))
def test_an_axis_holds_the_value_in_at_most_four_ticks_of_one_two_or_five(value):
    axis = base.snapped(value)
    assert value <= axis.top * (1 + 1e-9)
    assert axis.top / axis.tick == pytest.approx(round(axis.top / axis.tick), rel=1e-6)
    assert round(axis.top / axis.tick) <= base.MOST_TICKS
    mantissa = axis.tick / 10.0 ** math.floor(math.log10(axis.tick) + 1e-9)
    assert min(abs(mantissa - m) for m in (1.0, 2.0, 5.0)) < 1e-6
    assert value >= 0.4 * axis.top


@given(st.floats(1e-3, 1e6), st.floats(0.75, 1.0))
def test_a_small_move_down_keeps_the_axis(value, share):
    axis = base.snapped(value)
    assert base.snapped(max(share * axis.top, 0.43 * axis.top), axis) == axis


def test_the_axis_moves_when_the_curve_leaves_it_or_nearly_empties_it():
    axis = base.Axis(6.0, 2.0)
    assert base.snapped(6.1, axis).top == 8.0
    assert base.snapped(1.9, axis).top == 2.0


@pytest.mark.parametrize("nonsense", [math.nan, math.inf, 0.0, -3.0])
def test_nonsense_still_gives_an_axis(nonsense):
    assert base.snapped(nonsense).top == 1.0


# ---- throttle story


def test_three_panels_share_one_axis_and_carry_their_units():
    figure = story(curve_of())
    words = [note.text for note in figure.layout.annotations]
    assert "<b>Thrust of all rotors</b>, kg" in words
    assert "<b>Current from the pack</b>, A" in words
    assert "<b>Share of the watts that lifts</b>, %" in words
    assert {trace.xaxis for trace in figure.data} == {"x"}
    assert {trace.yaxis for trace in figure.data} == {"y", "y2", "y3"}
    assert figure.layout.xaxis.title.text == "Motor command, %"
    assert figure.layout.xaxis.anchor == "y3" and figure.layout.xaxis.fixedrange


def test_the_curve_drawn_is_the_curve_calculated():
    this = curve_of()
    (pull, amps, share) = traces(story(this), "this")
    assert pull.y[-1] == pytest.approx(4 * this.curve.thrust[-1] / 9.80665, rel=1e-3)
    assert amps.y[-1] == pytest.approx(this.curve.pack_current[-1], rel=1e-3)
    assert share.y[-1] == pytest.approx(100 * this.curve.efficiency[-1], rel=1e-3)


def test_newtons_instead_of_kilograms():
    this, newton = curve_of(), Units(thrust="N")
    figure = story(this, units=newton)
    assert traces(figure, "this")[0].y[-1] == pytest.approx(4 * this.curve.thrust[-1], rel=1e-3)
    assert "<b>Thrust of all rotors</b>, N" in [note.text for note in figure.layout.annotations]


def test_the_pinned_build_is_dashed_and_this_one_solid():
    figure = story(curve_of(), curve_of("tarn", hover_command=0.3))
    assert {t.line.dash for t in traces(figure, "pinned")} == {"6px,4px"}
    assert {t.line.dash for t in traces(figure, "this")} == {None}
    assert len(traces(figure, "pinned")) == 3


def test_a_pinned_build_that_differs_only_in_mass_shows_by_its_hover_mark():
    figure = story(curve_of(hover_command=0.25), curve_of(hover_command=0.22))
    marks = traces(figure, "hovers here")
    assert len(marks) == 3, "one in each panel"
    for one in marks:
        assert one.x == (25.0, 25.0, 25.0, None, 22.0), "a line and a mark, a gap, the mark of the pinned build"
        assert list(one.marker.size) == [0, 11, 0, 0, 10]
        assert one.marker.color[1] == base.THIS and one.marker.color[-1] == "rgba(0,0,0,0)", "filled, hollow"


def test_hatched_only_above_the_label_and_only_when_there_is_one():
    assert traces(story(curve_of()), "beyond") == []
    ceiling = figures.Ceiling(98.0, "98 A, continuous rating of the pack")
    figure = story(curve_of(), ceiling=ceiling)
    (hatched,) = traces(figure, "beyond")
    assert min(hatched.y) == 98.0 and hatched.fillpattern.shape == "/"
    # the key below the chart names it: no curve or hover line crosses words
    assert not any("rating" in (note.text or "") for note in figure.layout.annotations)
    assert ceiling.drawn(base.Axis(200.0, 50.0)) and not ceiling.drawn(base.Axis(80.0, 20.0))


def test_a_label_above_the_axis_is_not_drawn():
    assert traces(story(curve_of(), ceiling=figures.Ceiling(1e4, "far away")), "beyond") == []


def test_a_craft_that_cannot_hover_says_so_on_the_chart():
    heavy = curve_of(hover_command=math.nan, hover_current=math.nan, weight=1000.0)
    assert any("cannot hover" in (note.text or "") for note in story(heavy).layout.annotations)
    assert "never reaches its own weight" in figures.story_words(heavy, GRAMS)


def test_the_curve_ends_where_the_pack_cannot_deliver():
    this = curve_of()
    status = np.where(np.asarray(this.curve.throttle) > 0.6, 1, 0)
    figure = story(replace(this, curve=replace(this.curve, status=status)))
    drawn = [y for y in traces(figure, "this")[0].y if y is not None]
    assert len(drawn) == int(np.sum(status == 0))


def test_the_message_to_the_browser_stays_small():
    figure = story(curve_of(), curve_of("tarn"), ceiling=figures.Ceiling(98.0, "label"))
    assert len(figure.to_json()) < 30_000


def test_the_summary_says_half_throttle_and_hover():
    words = figures.story_words(curve_of(), GRAMS)
    assert words.startswith("On a fresh pack")
    assert "25\u202f% of the command" in words
    assert "With 40\u202f% of the charge left" in figures.story_words(curve_of(charge=0.4), GRAMS)


# ---- strips


def test_stairs_begin_where_the_last_step_ended_and_end_at_the_whole():
    markup = bars.power_steps(where_watts_go(propmodel.demo("scree"), "cruise", speed=14.0))
    steps = [(float(a), float(b)) for a, b in re.findall(r"margin-left:([\d.]+)%;width:([\d.]+)%", markup)]
    assert len(steps) == 8
    for (left, width), (following, _) in pairwise(steps):
        assert following == pytest.approx(left + width, abs=0.02)
    assert sum(steps[-1]) == pytest.approx(100.0, abs=0.05)


def test_the_ruler_marks_stand_where_the_numbers_say():
    markup = bars.ruler(
        diameter_in=5.1, thrust=(5.0, 6.0, 9.0), hover=(0.2, 0.4, 0.5), pinned_thrust=[3.0], pinned_hover=[]
    )
    assert 'class="here" style="left:50.00%"' in markup  # 6 of 12 and 0.4 of 0.8
    assert markup.count('class="there ') == 1 and 'class="there p0" style="left:25.00%"' in markup
    assert "most 5-inch: 5 to 10" in markup


def test_the_ruler_of_a_craft_that_cannot_hover():
    nothing = (math.nan,) * 3
    markup = bars.ruler(diameter_in=10.0, thrust=(0.5, 0.7, 0.9), hover=nothing, pinned_thrust=[], pinned_hover=[])
    assert "Hover cannot" in markup and "nan" not in markup


def one_limit(**changes) -> Limit:
    known = {
        "key": "pack_label", "name": "current on the pack's label", "part": "pack", "kind": "share", "share": 1.2,
        "hold": 10.0, "state": "over", "basis": "label", "reason": "Too <much>", "fix": "Less.",
    }  # fmt: skip
    return Limit(**(known | changes))


def test_state_is_never_told_by_colour_alone_and_names_come_escaped():
    markup = bars.margin_bars([one_limit(), one_limit(state="tight", share=0.9), one_limit(state="clear", share=0.3)])
    for sign in ("✕ over", "! tight", "✓ clear"):
        assert sign in markup
    misfit = bars.margin_bars([one_limit(kind="fits", share=2.0)])
    assert "Too &lt;much&gt;." in misfit and "<much>" not in misfit + markup
    assert "120 % used" in markup


def test_far_over_is_said_in_words():
    assert "more than 10 times" in bars.margin_bars([one_limit(share=math.inf)])


def test_what_does_not_fit_has_no_bar():
    markup = bars.margin_bars([one_limit(kind="fits", share=2.0)])
    assert "does not fit" in markup and 'class="bar' not in markup
