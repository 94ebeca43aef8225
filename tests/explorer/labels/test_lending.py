"""What no label tells goes with what is told (sizes people fly: common practice, from memory)."""

import pytest

from explorer.controls import side_panel
from explorer.inputs import demo_inputs
from explorer.labels.lending import scaled


@pytest.mark.parametrize(
    ("craft", "told", "field", "low", "high"),
    [
        # motors sold for these sizes and cells
        ("scree", {"diameter_in": 5.0, "cells": 4}, "kv", 2300, 2750),
        ("moor", {"diameter_in": 8.0, "take_off_g": 2500.0}, "kv", 950, 1250),
        ("tarn", {"cells": 6}, "kv", 2500, 3200),
        # packs of light and of heavy craft
        ("scree", {"diameter_in": 5.0, "take_off_g": 210.0}, "capacity_mah", 350, 550),
        ("scree", {"diameter_in": 5.0, "take_off_g": 210.0, "cells": 4}, "capacity_mah", 450, 850),
        ("scree", {"diameter_in": 5.0, "take_off_g": 210.0}, "stator_d_mm", 17, 21),
    ],
)
def test_guesses_are_what_people_fly(craft, told, field, low, high):
    assert low <= scaled(demo_inputs(craft), told)[field] <= high


def test_a_light_craft_has_a_bare_frame_and_nothing_that_is_told_is_guessed():
    told = {"take_off_g": 210.0, "capacity_mah": 650.0, "kv": 2600.0, "stator_d_mm": 20.0, "diameter_in": 5.0}
    found = scaled(demo_inputs("scree"), told)
    assert found["body_shape"] == "bare frame" and not told.keys() & found.keys()
    assert "stator_h_mm" not in found
    assert "body_shape" not in scaled(demo_inputs("scree"), {"take_off_g": 650.0})


@pytest.mark.parametrize(
    ("stator", "kv", "cells", "craft"),
    [
        # common practice: 2207 and 2507 motors of 1900 KV on six cells turn 5-inch, 2806 of 1300 KV 7-inch, 3110 of
        # 900 KV 10-inch propellers; on eight cells a 5-inch motor has 1350 KV
        (22.0, 1950.0, 6, "scree"),
        (25.0, 1900.0, 6, "scree"),
        (25.0, 1350.0, 8, "scree"),
        (28.0, 1300.0, 6, "moor"),
        (31.0, 900.0, 6, "fell"),
        # too many cells for the motor: no reason to think of a smaller craft
        (28.0, 2450.0, 6, "moor"),
        (22.0, 2450.0, 6, "scree"),
    ],
)
def test_a_wide_motor_gets_a_craft_by_its_speed_too(stator, kv, cells, craft):
    assert side_panel.default_donor_of({"stator_d_mm": stator, "kv": kv, "cells": cells}, "rill") == craft
