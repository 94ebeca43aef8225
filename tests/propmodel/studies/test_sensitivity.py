"""Practical steps and elasticities against builds made by hand."""

import numpy as np
import pytest

import propmodel
from propmodel.assess.performance import performance
from propmodel.components.air import atmosphere
from propmodel.studies import sensitivity
from propmodel.studies.sensitivity import STEPS, elasticities, standing_at, steps

SCREE = propmodel.demo("scree")
WATCHED = ["hover_time", "thrust_to_weight", "top_speed", "hover_throttle"]


@pytest.mark.parametrize("name", propmodel.demo_names())
def test_each_step_is_the_build_with_that_change(name):
    build = propmodel.demo(name)
    before = performance(build)
    for effect in steps(build, WATCHED):
        path, change = effect.step.field, effect.step.change
        if path == "altitude":
            changed = standing_at(build, altitude_step=change)
        elif path == "air temperature":
            changed = standing_at(build, temperature_step=change)
        else:
            part, _, field = path.partition(".")
            now = getattr(getattr(build, part), field) if field else getattr(build, part)
            changed = propmodel.with_fields(build, {path: float(now) + change})
        after = performance(changed)
        for output in WATCHED:
            assert effect.values[output] == pytest.approx(getattr(after, output), rel=1e-6, nan_ok=True), effect.step
            ratio = getattr(after, output) / getattr(before, output) - 1.0
            assert effect.relative[output] == pytest.approx(ratio, abs=1e-6, nan_ok=True)


def test_steps_point_the_right_way():
    by_words = {e.step.words: e.relative for e in steps(SCREE, WATCHED)}
    assert by_words["50 g more to carry"]["hover_time"] < 0 < by_words["50 g off the frame"]["hover_time"]
    assert by_words["one cell fewer"]["thrust_to_weight"] < 0 < by_words["one cell more"]["thrust_to_weight"]
    assert by_words["1,000 m higher"]["thrust_to_weight"] < 0
    assert by_words["a pack 15 C colder"]["thrust_to_weight"] < 0
    assert by_words["a throttle cap 10 points lower"]["hover_time"] == pytest.approx(0.0, abs=1e-9)


def test_steps_that_make_no_craft_are_left_out():
    two = propmodel.with_fields(SCREE, {"propeller.blades": 2})
    assert "one blade fewer" not in {e.step.words for e in steps(two, ["mass"])}
    one_cell = propmodel.with_fields(SCREE, {"pack.cells": 1})
    assert "one cell fewer" not in {e.step.words for e in steps(one_cell, ["mass"])}
    chosen = steps(SCREE, ["mass"], choose=lambda s: s.field == "motor.kv")
    assert [e.step.change for e in chosen] == [100.0, -100.0]
    assert len(steps(SCREE, ["mass"])) == len(STEPS)


def test_the_same_air_a_thousand_metres_up():
    # demo field: 420 m, 12 C; ISO 2533 pressure at 1420 m, the temperature kept
    higher = standing_at(SCREE, altitude_step=1000.0)
    expected = atmosphere(1420.0, 285.15)
    assert higher.air.pressure == pytest.approx(expected.pressure, rel=1e-6)
    assert higher.air.density == pytest.approx(expected.density, rel=1e-6)


@pytest.mark.parametrize("name", ["moor", "fell"])
def test_two_blades_have_elasticities_too(name):
    # one blade is no propeller: the step is to one side
    assert all(np.isfinite(v) for v in elasticities(propmodel.demo(name), "hover_power").values())


def test_steps_that_make_no_propeller_are_left_out():
    flat = propmodel.with_fields(SCREE, {"propeller.pitch": 0.014})
    assert "half an inch less pitch" not in {e.step.words for e in steps(flat, ["mass"])}
    assert "one inch more diameter" not in {e.step.words for e in steps(flat, ["mass"])}
    assert np.isfinite(elasticities(flat, "hover_power")["propeller.diameter"])


def test_elasticities_against_a_small_difference():
    found = elasticities(SCREE, "hover_power")
    base = float(performance(SCREE).hover_power)
    for path, by in (("craft.frame_mass", 0.266), ("propeller.diameter", 5.1 * 0.0254)):
        moved = performance(propmodel.with_fields(SCREE, {path: by * 1.001})).hover_power
        assert found[path] == pytest.approx(np.log(moved / base) / np.log(1.001), abs=0.03)
    # ideal hover power goes with mass^1.5: with fixed losses in it the whole lies below
    assert 0.8 < sum(found[p] for p in ("craft.frame_mass", "craft.payload_mass", "pack.capacity_ah")) < 1.5


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: steps(SCREE, ["speed"]), "output 'speed' is not known; nearest"),
        (lambda: elasticities(SCREE, "speed"), "output 'speed' is not known; nearest"),
        (lambda: steps(propmodel.with_fields(SCREE, {"rotors": np.array([4, 6])})), "one build of plain numbers"),
        (lambda: sensitivity.elasticities(propmodel.with_fields(SCREE, {"rotors": np.array([4, 6])}), "mass"), "plain"),
    ],
)
def test_nonsense_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
