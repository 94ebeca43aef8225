"""What is typed as a range or as stators: read, or refused in a sentence."""

from __future__ import annotations

import math

import pytest
from choose_counts import CRAFT, values_of
from hypothesis import given, settings
from hypothesis import strategies as st

from explorer.app_pages.choose import plan, ranges
from explorer.app_pages.choose.ranges import RANGES, RangeError, read_range, read_stators
from explorer.inputs import demo_inputs


@pytest.mark.parametrize(
    ("text", "name", "expected"),
    [
        ("1750", "kv", (1750.0,)),
        ("1950, 1750 ; 1750", "kv", (1750.0, 1950.0)),
        ("1700 to 1900 by 100", "kv", (1700.0, 1800.0, 1900.0)),
        ("4-6", "cells", (4.0, 5.0, 6.0)),
        ("4S to 6S", "cells", (4.0, 5.0, 6.0)),
        ("5 to 5.2", "diameter_in", (5.0, 5.1, 5.2)),
        ("5in, 5.1in", "diameter_in", (5.0, 5.1)),
        ("1300mAh to 1550 mAh", "capacity_mah", (1300.0, 1400.0, 1550.0)),
        ("3 to 3.5 by 0.25", "pitch_in", (3.0, 3.25, 3.5)),
        ("3 to 3.4 by 0.25", "pitch_in", (3.0, 3.25)),
    ],
)
def test_ranges_are_read_as_typed(text, name, expected):
    assert read_range(text, name) == expected


def test_the_present_value_counts_in_a_range_of_sold_steps():
    assert 1825.0 in read_range("1800 to 1900", "kv", 1825.0)
    assert 1825.0 not in read_range("1850 to 1900", "kv", 1825.0)
    assert 1825.0 not in read_range("1800 to 1900 by 50", "kv", 1825.0)


@pytest.mark.parametrize(
    ("text", "name", "words"),
    [
        ("", "kv", "KV is empty"),
        (" , ", "capacity_mah", "Capacity is empty"),
        ("2700 to 1500", "kv", "the smaller one must come first"),
        ("abc", "kv", "could not read 'abc'"),
        ("<b>5</b>", "pitch_in", "could not read"),
        ("1 to 3 by 0", "pitch_in", "the step must be above 0"),
        ("100 to 30000 by 0.001", "kv", "alone would bring"),
        ("10", "kv", "must stay within"),
        ("0 to 6", "cells", None),
        ("4.5", "cells", "whole numbers"),
        ("1951 to 1952", "kv", "nothing is sold between"),
        ("nan", "kv", "must stay within"),
        ("1e999", "kv", "must stay within"),
    ],
)
def test_what_cannot_be_used_is_told_in_a_sentence(text, name, words):
    if words is None:  # nothing is sold below one cell, so the range begins there
        assert read_range(text, name) == (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)
        return
    with pytest.raises(RangeError, match=words) as told:
        read_range(text, name)
    assert str(told.value).endswith(".")
    assert RANGES[name].words in str(told.value)


@pytest.mark.parametrize("text", ["", "22", "2307 to 2204", "banana", "9999"])
def test_stators_that_cannot_be_used_are_told(text):
    with pytest.raises(RangeError, match="Stator"):
        read_stators(text)


def test_stators_between_two_are_those_sold_by_volume():
    found = read_stators("2205 to 2307")
    volumes = [d * d * h for d, h in found]
    assert volumes == sorted(volumes)
    assert {(22.0, 5.0), (22.0, 7.0), (23.0, 6.0), (23.0, 7.0)} <= set(found)
    assert all(22.0 <= d <= 23.0 for d, _ in found)


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=60), st.sampled_from(sorted(set(RANGES) - {"stator", "chemistry"})))
def test_any_text_is_a_range_or_a_sentence(text, name):
    try:
        found = read_range(text, name, 5.0)
    except RangeError as told:
        assert str(told)
    else:
        assert found == tuple(sorted(set(found)))
        assert all(math.isfinite(v) for v in found)


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet="0123456789., -to\u2013", max_size=30))
def test_any_text_is_stators_or_a_sentence(text):
    try:
        found = read_stators(text)
    except RangeError as told:
        assert str(told)
    else:
        assert found


@pytest.mark.parametrize("name", CRAFT)
@pytest.mark.parametrize("wide", [False, True])
def test_ranges_around_a_craft_hold_it_and_can_be_counted(name, wide):
    inputs = demo_inputs(name)
    values = values_of(inputs, ranges.around(inputs, wide=wide))
    assert ranges.inside(inputs, values)
    count = plan.count_of(values, {})
    assert 2_000 < count < (1_300_000 if wide else 150_000)
    assert plan.too_many(values, {}) == ""


def test_a_grid_of_a_thousand_million_is_refused_with_the_widest_range_named():
    values = {"kv": tuple(range(1000)), "cells": tuple(range(10)), "capacity_mah": tuple(range(100_000))}
    words = plan.too_many(values, {})
    assert words.startswith(
        "That is 1\u202f000\u202f000\u202f000 combinations; 2\u202f000\u202f000 can be counted at once."
    )
    assert "Capacity alone brings 100\u202f000" in words
