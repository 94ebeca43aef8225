"""The field sheet and the curves of the demo craft."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest

from explorer.app_pages.shelf import sheet_numbers
from explorer.app_pages.shelf.field_sheet import curves_csv, curves_json, field_sheet
from explorer.inputs import Inputs, demo_inputs
from explorer.text.numbers import Units
from propmodel.assembly.demo import demo_names


@pytest.mark.parametrize("name", demo_names())
def test_the_sheet_of_every_demo_craft(name):
    inputs = demo_inputs(name)
    page = field_sheet(
        sheet_numbers.sheet_of(inputs, [Inputs()], units=Units(), link="http://localhost/?v=1", made="today")
    )
    for part in (
        "Before anything else",
        "Alarms to set",
        "What to expect",
        "First power-up",
        "Limits",
        "<svg",
    ):
        assert part in page
    assert "nan" not in re.sub(r"<[^>]+>", " ", page).lower().split()
    assert "e+0" not in page


def test_the_curves_have_their_bands_in_order_and_round_trip():
    frame = sheet_numbers.curves(Inputs(), [Inputs()])
    assert frame["motor command [%]"].iloc[-1] == 100.0
    low, mid, high = (frame[f"thrust of all rotors{s} [g]"].to_numpy()[25:] for s in (", low", "", ", high"))
    assert "pinned 2: pack current [A]" not in frame
    assert (low < mid).all()
    assert (mid < high).all()
    document = json.loads(curves_json(frame))
    assert [c["name"] for c in document["columns"]] == [str(c).split(" [")[0] for c in frame.columns]
    assert len(curves_csv(frame).splitlines()) == len(frame) + 1


def test_the_alarm_is_the_charge_that_may_be_drawn():
    words = dict(sheet_numbers.alarms(replace(Inputs(), capacity_mah=1000.0, reserve_percent=25.0)))
    # three quarters of the 940 mAh that a LiPo of 1,000 holds
    assert words["Charge drawn when you land"].replace("\u202f", " ") == "710 mAh"
    # the alarm rings earlier, by what the way home takes: the figure of the page Minutes
    (alarm,) = [float(v.split("\u202f")[0]) for what, v in words.items() if what.startswith("Capacity alarm, 20")]
    assert 610.0 < alarm < 710.0


def test_a_craft_that_cannot_hover_still_has_a_sheet():
    heavy = replace(Inputs(), frame_g=9000.0)
    page = field_sheet(sheet_numbers.sheet_of(heavy, [], units=Units(), link="", made=""))
    assert "cannot hover" in page


def test_the_sheet_has_a_column_and_a_line_for_each_pinned_build():
    pins = [Inputs(capacity_mah=mah) for mah in (1100.0, 1500.0, 1800.0)]
    sheet = sheet_numbers.sheet_of(Inputs(), pins, units=Units(), link="", made="")
    assert [name for name, _ in sheet.pinned] == ["Scree, 1100 mAh", "Scree, 1500 mAh", "Scree, 1800 mAh"]
    assert all(len(values) == len(sheet.numbers) for _, values in sheet.pinned)
    hover = [row["name"] for row in sheet.numbers].index("Minutes in hover")
    minutes = [float(values[hover].split("\u202f")[0]) for _, values in sheet.pinned]
    assert minutes == sorted(set(minutes)), "more capacity, longer hover"
    assert all(sum(line.pinned for line in figure.lines) == 3 for figure in sheet.figures)
    page = field_sheet(sheet)
    assert all(f"pinned: {name}" in page for name, _ in sheet.pinned)
    assert "pinned 3: pack current [A]" in sheet_numbers.curves(Inputs(), pins)


def test_the_sheet_lists_guesses_and_says_open_labels_first():
    lent = frozenset({"frame_g", "altitude_m"})
    page = field_sheet(
        sheet_numbers.sheet_of(
            Inputs(), [], units=Units(), link="", made="", lent=lent, first=lambda text: "1 label open. " + text
        )
    )
    assert "take-off mass (by the lent frame)" in page and "height of the place (420 m, lent)" in page
    assert page.index("1 label open") < page.index("takes off at")
