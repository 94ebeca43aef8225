"""The opening sentence: its order, its words, its warnings; nothing typed reaches the page as markup."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace

import pytest

from explorer.app_pages.lift.summary import (
    Headline,
    beyond_sum,
    first_words,
    nearest_limits,
    opening,
    pinned_line,
    pinned_lines,
    what_it_is,
)
from explorer.inputs import Inputs
from explorer.text.markup import plain
from explorer.text.numbers import Units
from propmodel.assess.limits import Limit
from propmodel.base.status import Status

GRAMS = Units()


@dataclass(frozen=True)
class Told:
    mass: float = 0.69
    thrust_to_weight: float = 7.2
    thrust_to_weight_at_reserve: float = 5.6
    hover_throttle: float = 0.27
    full_throttle_rev_per_s: float = 480.0
    minutes: float = 228.0
    status: int = 0


def head(name: str = "Scree", **changes) -> Headline:
    mid = replace(Told(), **changes)
    low = replace(mid, thrust_to_weight=0.8 * mid.thrust_to_weight, minutes=0.84 * mid.minutes)
    high = replace(mid, thrust_to_weight=1.15 * mid.thrust_to_weight, minutes=1.16 * mid.minutes)
    return Headline(name, low, mid, high)


def limit(key: str = "pack_label", **changes) -> Limit:
    known = {
        "key": key, "name": "n", "part": "pack", "kind": "share", "share": 1.18, "hold": 10.0, "state": "over",
        "basis": "label", "reason": "Flat out it draws 116 A; the label allows 98 A for 10 s", "more": "Labels differ.",
        "fix": "A throttle cap of 88 % brings it within its limit.",
    }  # fmt: skip
    return Limit(**(known | changes))


def words(head_: Headline, found: list[Limit]) -> str:
    return re.sub("[\u00a0\u202f]", " ", plain(opening(head_, found, GRAMS)))


def test_mass_hover_minutes_thrust_first_limit_remedy_in_this_order():
    text = words(head(), [limit()])
    order = ["690 g", "27 %", "3.8 min", "(3.2 to 4.4)", "7.2 times", "pack", "116 A", "throttle cap of 88 %"]
    places = [text.index(part) for part in order]
    assert places == sorted(places)


def test_the_second_sentence_of_a_limit_is_left_to_the_margins():
    assert "Labels differ" not in words(head(), [limit()])


def test_no_limit_reached_names_what_comes_closest():
    found = [limit("winding_heat", state="clear", share=0.6, reason="Flat out for 10 s it gets warm", fix="")]
    assert "No limit is reached; the motors come closest: flat out for 10 s it gets warm." in words(head(), found)


def test_unknown_limits_are_not_the_first_reached():
    found = [limit("controller_current", state="unknown", share=math.nan, reason="x", fix="", ask="y."), limit()]
    assert "The pack reaches its limit first: flat out it draws 116 A" in words(head(), found)
    assert "Too little is known" in words(head(), found[:1])


FITS = {
    "motor_cells": "motor", "controller_cells": "ESC", "video_voltage": "video transmitter",
    "camera_voltage": "camera", "regulator_voltage": "regulator", "receiver_voltage": "receiver",
    "capacitor_voltage": "capacitor", "frame_clearance": "frame",
}  # fmt: skip


def misfit(key: str = "motor_cells", reason: str = "The motor is sold for up to 4 cells") -> Limit:
    return limit(
        key, part=FITS[key], kind="fits", share=2.0, reason=reason, fix="Take fewer.", fix_note="It is no cure."
    )


@pytest.mark.parametrize(
    "changes",
    [{}, {"thrust_to_weight_at_reserve": 1.8},
     {"thrust_to_weight": 0.9, "status": int(Status.CANNOT_HOVER), "hover_throttle": math.nan, "minutes": math.nan}],
    ids=["flies", "weak", "cannot hover"],
)  # fmt: skip
@pytest.mark.parametrize("key", FITS)
def test_a_part_that_does_not_fit_leads_in_the_warning_ink_before_any_other_number(key, changes):
    found = [misfit(key), limit("pull", reason="s", fix="")]
    text = words(head(**changes), found)
    assert text.startswith(f"The {FITS[key]} does not fit: the motor is sold for up to 4 cells. Take fewer. ")
    assert text.index("before you plug in") < text.index("690 g") < text.index("times")
    assert '<b class="n bad">does not fit</b>' in opening(head(**changes), found, GRAMS)


def test_no_cap_makes_cells_fit_and_the_other_parts_that_do_not_fit_are_named():
    text = words(head(), [misfit(), misfit("controller_cells"), misfit("camera_voltage"), limit()])
    assert "Nor do the ESC and camera." in text and "A throttle cap does not help." in text
    assert "limit first" not in text
    one = words(head(), [misfit("camera_voltage"), misfit("capacitor_voltage")])
    assert "Nor does the capacitor." in one and "throttle cap" not in one


def test_a_mass_you_set_is_no_part_that_does_not_fit():
    over = limit(
        "mass_threshold", kind="fits", share=2.0, reason="690 g against 250 g", more="Rules.", fix="Leave 440 g."
    )
    text = words(head(), [over])
    assert text.startswith("Scree takes off at 690 g")
    assert "It is over the mass you set: 690 g against 250 g. Leave 440 g." in text


def test_a_limit_that_such_craft_commonly_reach_is_a_fact_and_no_alarm():
    found = [limit("sag_low", reason="A punch at the end of the flight pulls each cell down to 2.62 V", usual=True)]
    text = words(head(), found)
    assert text.endswith(
        "As is usual for such craft flat out, the cells reach their limit first: a punch at the end of the flight "
        "pulls each cell down to 2.62 V."
    )
    assert "bad" not in opening(head(), found, GRAMS)
    assert '<b class="n bad">cells</b>' in opening(head(), [limit("sag_low")], GRAMS)


def test_little_thrust_with_the_reserve_left_is_a_warning_with_a_remedy():
    weak = head(thrust_to_weight=2.1, thrust_to_weight_at_reserve=1.8, hover_throttle=0.58, mass=2.9)
    text = words(weak, [limit(), limit("pull", reason="s", fix="A propeller of 11.0 in brings it within its limit.")])
    assert "2.90 kg" in text and "58 %" in text and "it is only 1.8 times its weight" in text
    assert text.endswith("A propeller of 11.0 in brings it within its limit.")


def test_a_craft_that_cannot_hover_says_what_it_lacks():
    text = words(
        head(thrust_to_weight=0.9, status=int(Status.CANNOT_HOVER), hover_throttle=math.nan, minutes=math.nan),
        [limit("pull", reason="s", fix="A propeller of 5.6 in brings it within its limit.")],
    )
    assert text.startswith("This cannot hover")
    assert "0.9 times" in text and "lacks 70 g of thrust" in text and "5.6 in" in text
    assert "nan" not in text


def test_just_short_of_its_weight_is_never_rounded_up_to_one():
    text = words(head(thrust_to_weight=0.998, status=int(Status.CANNOT_HOVER)), [])
    assert "0.99 times" in text and "1.0 times" not in text


@pytest.mark.parametrize("minutes", [math.nan, 0.0])
def test_minutes_that_are_none_are_said_in_words(minutes):
    text = words(head(minutes=minutes), [limit()])
    assert "nan" not in text and "0.0 min" not in text


def test_a_name_is_never_markup():
    nasty = "<img src=x onerror=alert(1)>"
    for markup in (opening(head(nasty), [limit()], GRAMS), pinned_line(head(), head(nasty), GRAMS)):
        assert "<img" not in markup and "&lt;img" in markup


def test_several_pinned_builds_stand_in_one_line():
    pins = [head("Bare", minutes=258.0), head("Camera", minutes=200.0)]
    text = " ".join(plain(pinned_lines(head(), pins, GRAMS)).split())
    assert text.index("Bare: 4.3 min") < text.index("; Camera: 3.3 min") and "Side by side" in text
    assert pinned_lines(head(), pins[:1], GRAMS) == pinned_line(head(), pins[0], GRAMS)
    assert "Nothing is pinned" in pinned_lines(head(), [], GRAMS)


def test_the_pinned_line_uses_words_for_change():
    line = re.sub(
        "[\u00a0\u202f]",
        " ",
        plain(pinned_line(head(), head("Bare", mass=0.62, minutes=258.0, thrust_to_weight=8.0), GRAMS)),
    )
    assert "Bare, 620 g" in line
    assert "is 70 g heavier, lasts 0.5 min shorter and has 10 % less thrust for its weight" in line


def test_the_same_build_pinned_says_so():
    assert "the same where it counts" in pinned_line(head(), head("Twin"), GRAMS)


def test_nothing_pinned_offers_to_pin():
    assert "Nothing is pinned" in pinned_line(head(), None, GRAMS)


def test_tone_no_praise_no_exclamation():
    text = words(head(), [limit()]) + first_words()
    assert "!" not in text and "optimal" not in text and "great" not in text.lower()


def test_how_far_the_propeller_turns_beyond_the_wind_tunnel_stands_in_the_workings():
    _, numbers, source = beyond_sum(Inputs(), Told(full_throttle_rev_per_s=480.0))
    assert "28,800 rpm flat out" in numbers and "4.4 times" in numbers
    # data/bench/pairs.csv: the fastest point of a stand, 2207 1950 KV with a 4.9x4.2x3 propeller
    assert "31,970 rpm" in source


def test_three_first_sentences():
    assert len(re.findall(r"[.](?:\s|$)", plain(first_words()))) == 3
    # the name alone tells a stranger nothing; once something is changed it is the reader's
    assert what_it_is(Inputs()) == "an invented 5-inch craft" and what_it_is(replace(Inputs(), kv=1800.0)) == ""
    assert plain(opening(replace(head(), what=what_it_is(Inputs())), [], Units())).startswith(
        "Scree, an invented 5-inch craft, takes"
    )


def test_the_nearest_limits_leave_out_what_was_not_told():
    found = [
        limit("a", kind="fits", share=2.0),
        limit("b"),
        limit("c", state="unknown"),
        limit("d", kind="fits", state="clear"),
        limit("e", state="clear"),
    ]
    assert [one.key for one in nearest_limits(found)] == ["a", "b", "e"]
