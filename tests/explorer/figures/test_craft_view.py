"""The craft from above: to scale, the room between the tips as it is."""

from __future__ import annotations

import base64
import itertools
import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from explorer.figures.craft_view import BETWEEN_TIPS_MM, TopView, caption, top_view, words
from explorer.forecasts.craft_view import top_view_of
from explorer.inputs import Inputs, demo_inputs
from propmodel.assembly.demo import demo_names

QUAD = TopView(4, False, 129.5, 129.5, 3, 22.0, 10.0)


def drawn(found: str) -> ET.Element:
    data = re.search(r"base64,([^\"]+)", found).group(1)
    return ET.fromstring(base64.b64decode(data))


def of_class(svg: ET.Element, name: str) -> list[ET.Element]:
    return [one for one in svg.iter() if one.get("class", "").split()[:1] == [name]]


@pytest.mark.parametrize(
    ("rotors", "coaxial", "arms"), [(3, False, 3), (4, False, 4), (6, False, 6), (8, True, 4), (8, False, 8)]
)
def test_neighbours_stand_a_disc_and_the_room_apart(rotors, coaxial, arms):
    view = replace(QUAD, rotors=rotors, coaxial=coaxial, diameter=120.0)
    places = view.places()
    assert len(places) == arms
    nearest = min(math.dist(a, b) for a, b in itertools.combinations(places, 2))
    assert nearest == pytest.approx(view.diameter + view.room) == pytest.approx(129.5 + BETWEEN_TIPS_MM)


def test_no_arm_of_an_even_craft_stands_in_the_way_of_the_camera():
    for rotors in (4, 6, 8):
        assert all(abs(x) > 1.0 for x, y in replace(QUAD, rotors=rotors).places() if y < 0.0)


def test_discs_are_drawn_to_scale_inside_the_picture():
    svg = drawn(top_view(QUAD))
    left, _, width, _ = (float(v) for v in svg.get("viewBox").split())
    discs = of_class(svg, "disc")
    assert len(discs) == 4 and all(float(d.get("r")) == pytest.approx(64.8, abs=0.06) for d in discs)
    assert max(abs(x) for x, _ in QUAD.places()) + 64.75 < left + width
    assert len(of_class(svg, "blade")) == 4 * 3


def test_a_propeller_too_large_for_the_frame_is_marked_and_said():
    large = replace(QUAD, diameter=140.0)
    assert large.room == pytest.approx(-5.5)
    assert all("tight" in d.get("class") for d in of_class(drawn(top_view(large)), "disc"))
    assert "overlap by 5.5 mm" in words(large) and "overlap" in caption(large)


def test_the_pinned_one_is_an_outline_only_where_it_differs():
    assert not of_class(drawn(top_view(QUAD, [QUAD])), "pin")
    assert len(of_class(drawn(top_view(QUAD, [replace(QUAD, diameter=110.0)])), "pin")) == 4


def test_corners_have_their_names():
    names = {one.text for one in drawn(top_view(QUAD, corners=True)).iter() if one.tag.endswith("text")}
    assert names == {"front right", "front left", "rear right", "rear left"}


@pytest.mark.parametrize("name", demo_names())
def test_the_demo_craft_fit_their_frames(name):
    view = top_view_of(demo_inputs(name))
    assert view.room >= 0.0 and 0.05 < view.blade_width / view.diameter < 0.16


def test_a_frame_that_was_not_told_is_made_for_the_propeller():
    view = top_view_of(replace(Inputs(), frame_propeller_in=None))
    assert view.room == pytest.approx(BETWEEN_TIPS_MM)
