"""Where the watts go: books that close, the ideal part by hand, broadcasting, what cannot be."""

from __future__ import annotations

import math
from dataclasses import fields, replace

import numpy as np
import pytest

import propmodel
from propmodel.assembly.build import drag_areas, with_fields
from propmodel.base.status import Status
from propmodel.flight.power_split import STATES, where_watts_go

PARTS = (
    "induced_power",
    "climb_and_drag_power",
    "profile_power",
    "winding",
    "iron",
    "controller",
    "electronics",
    "pack",
)


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("craft", propmodel.demo_names())
def test_the_parts_add_up_to_what_leaves_the_cells(craft, state):
    # conservation of energy: open-circuit voltage times current is all there is
    split = where_watts_go(propmodel.demo(craft), state, speed=12.0)
    assert sum(float(getattr(split, part)) for part in PARTS) == pytest.approx(float(split.total), rel=1e-9)
    assert all(float(getattr(split, part)) >= 0.0 for part in PARTS)


def test_the_ideal_part_in_hover_is_that_of_momentum_theory():
    # Leishman, Principles of Helicopter Aerodynamics, 2nd ed., eq. 2.14: P = T^1.5 / sqrt(2 rho A), worked by hand
    build = propmodel.demo("scree")
    thrust = float(build.weight) / 4.0
    area = math.pi * (5.1 * 0.0254) ** 2 / 4.0
    by_hand = 4.0 * thrust**1.5 / math.sqrt(2.0 * float(build.air.density) * area)
    assert float(where_watts_go(build).induced_power) == pytest.approx(by_hand, rel=1e-9)


def test_in_level_flight_the_push_is_drag_times_speed():
    # work against the drag of the body: rho/2 f V^3 with f turned into the stream
    build = propmodel.demo("scree")
    tilt = float(propmodel.level_flight(build, 15.0).tilt)
    front, top = (float(x) for x in drag_areas(build))
    area = front * math.cos(tilt) ** 2 + top * math.sin(tilt) ** 2
    by_hand = 0.5 * float(build.air.density) * area * 15.0**3
    assert float(where_watts_go(build, "cruise", speed=15.0).climb_and_drag_power) == pytest.approx(by_hand, rel=1e-6)


def test_standing_still_nothing_is_pushed():
    assert float(where_watts_go(propmodel.demo("fell"), "hover").climb_and_drag_power) == 0.0
    assert float(where_watts_go(propmodel.demo("fell"), "full").climb_and_drag_power) == 0.0


def test_a_column_of_builds_equals_its_rows():
    build = propmodel.demo("tarn")
    masses = np.array([0.06, 0.10, 0.14])
    many = where_watts_go(with_fields(build, {"craft.frame_mass": masses}))
    for k, mass in enumerate(masses):
        one = where_watts_go(replace(build, craft=replace(build.craft, frame_mass=mass)))
        for field in fields(one):
            assert float(getattr(many, field.name)[k]) == pytest.approx(float(getattr(one, field.name)), rel=1e-12)


def test_too_heavy_says_so():
    build = with_fields(propmodel.demo("scree"), {"craft.payload_mass": 20.0})
    assert int(where_watts_go(build).status) == Status.CANNOT_HOVER


@pytest.mark.parametrize("speed", [-1.0, 1e4, math.nan])
def test_nonsense_speed_is_refused(speed):
    with pytest.raises(ValueError, match="speed"):
        where_watts_go(propmodel.demo("scree"), "cruise", speed=speed)


def test_unknown_state_is_refused():
    with pytest.raises(ValueError, match="state"):
        where_watts_go(propmodel.demo("scree"), "loitering")
