"""Outlines of three blades: to scale, so that holding a propeller beside them tells its class."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from explorer.figures.blades import WIDTH_WORDS, blade_silhouettes, outline
from explorer.inputs import FIELDS
from propmodel.components.propeller import BLADE_WIDTHS, width_by_ruler

SVG = "{http://www.w3.org/2000/svg}"


def drawn(seen):
    """Corners of each blade, its shade, and where the dashed line stands."""
    root = ET.fromstring(blade_silhouettes(seen))
    groups = root.findall(f"{SVG}g")
    corners = [
        np.array([pair.split(",") for pair in g.find(f"{SVG}polygon").attrib["points"].split()], dtype=float)
        for g in groups
    ]
    names = [t.text for t in root.findall(f"{SVG}text")]
    line = float(root.find(f"{SVG}line").attrib["x1"])
    return dict(zip(names, corners, strict=True)), [float(g.attrib["fill-opacity"]) for g in groups], line, groups


def test_the_drawn_width_at_the_line_is_that_of_the_class():
    blades, _, line, groups = drawn("unknown")
    assert list(blades) == ["slim", "middle", "broad"]
    for name, group in zip(blades, groups, strict=True):
        hub = float(group.find(f"{SVG}circle").attrib["cx"])
        corners = blades[name]
        radius = corners[:, 0].max() - hub
        at = np.isclose(corners[:, 0], line, atol=0.06)
        width = np.ptp(corners[at, 1])
        assert line - hub == pytest.approx(0.75 * radius, rel=1e-3)
        assert width / radius == pytest.approx(BLADE_WIDTHS[name], rel=0.02)
        # what a ruler on the screen finds is the class it stands for
        assert list(BLADE_WIDTHS)[int(width_by_ruler(width, 2.0 * radius))] == name


@pytest.mark.parametrize("seen", ["unknown", "slim", "middle", "broad"])
def test_the_chosen_blade_is_the_darker_one(seen):
    blades, shades, _, _ = drawn(seen)
    dark = [name for name, shade in zip(blades, shades, strict=True) if shade > 0.5]
    assert dark == ([] if seen == "unknown" else [seen])


def test_an_outline_closes_at_the_tip_and_never_turns_inside_out():
    for name in ("slim", "middle", "broad"):
        half = outline(name)
        assert half[-1] == pytest.approx([1.0, 0.0], abs=1e-12)
        assert (half[:-1, 1] > 0.0).all() and (np.diff(half[:, 0]) > 0.0).all()


def test_words_name_every_choice_and_the_bounds_of_the_help():
    assert set(WIDTH_WORDS) == set(FIELDS["blade_width"].options) == set(BLADE_WIDTHS)
    bounds = {number for words in WIDTH_WORDS.values() for number in re.findall(r"\d+", words)}
    assert bounds == set(re.findall(r"\d+", FIELDS["blade_width"].help))
