"""Solve for: the value found does what was asked, more than one answer is told, none is told in words."""

import numpy as np
import pytest
from scipy.optimize import brentq

import propmodel
from propmodel.assess.performance import performance
from propmodel.studies.solve_for import solve_for

SCREE = propmodel.demo("scree")


def answer(field, value, output):
    return float(getattr(performance(propmodel.with_fields(SCREE, {field: value})), output))


@pytest.mark.parametrize(
    ("field", "output", "target", "low", "high"),
    [
        ("craft.payload_mass", "thrust_to_weight", 4.0, 0.0, 2.0),
        ("pack.capacity_ah", "hover_time", 600.0, 0.6, 2.5),
        ("motor.kv", "thrust_to_weight", 6.0, 1000.0, 2200.0),
        ("propeller.diameter", "hover_power", 140.0, 0.1, 0.2),
    ],
)
def test_against_a_root_finder(field, output, target, low, high):
    found = solve_for(SCREE, field, output, target, low=low, high=high)
    root = brentq(lambda v: answer(field, v, output) - target, low, high)
    assert found.value == pytest.approx(root, rel=1e-4)
    assert found.reached == pytest.approx(target, rel=1e-4)
    assert answer(field, found.value, output) == pytest.approx(target, rel=1e-4)
    assert found.others == () and found.words == ""


def test_two_answers_are_both_told():
    # hover time against capacity rises and falls: a pack may be too heavy for its charge
    capacities = np.linspace(0.3, 40.0, 200)
    times = performance(propmodel.with_fields(SCREE, {"pack.capacity_ah": capacities})).hover_time
    target = 0.97 * float(np.nanmax(times))
    found = solve_for(SCREE, "pack.capacity_ah", "hover_time", target, low=0.3, high=40.0)
    assert len(found.others) == 1 and found.words == "More than one value does it."
    for value in (found.value, *found.others):
        assert answer("pack.capacity_ah", value, "hover_time") == pytest.approx(target, rel=1e-3)
    assert abs(found.value - 1.3) < abs(found.others[0] - 1.3)


def test_no_answer_is_told_in_words():
    never = solve_for(SCREE, "pack.capacity_ah", "hover_time", 36000.0, low=0.3, high=10.0)
    assert np.isnan(never.value) and "never reaches it" in never.words and np.isfinite(never.closest)
    less = solve_for(SCREE, "craft.payload_mass", "mass", 0.1, low=0.0, high=1.0)
    assert "never comes down to it" in less.words and less.closest == 0.0
    none = solve_for(SCREE, "craft.payload_mass", "hover_power", 100.0, low=20.0, high=30.0)
    assert none.words.startswith("No value in the range gives a craft")


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"field": "motor.kw"}, "field 'motor.kw' is not known; nearest: .*motor.kv"),
        ({"output": "minutes"}, "output 'minutes' is not known"),
        ({"target": np.nan}, "target must be a finite number, got nan"),
        ({"low": 3000.0}, "the range looked in must rise, got 3000 to 2500"),
        ({"high": np.inf}, "high must be a finite number, got inf"),
        ({"low": -100.0}, "KV must be .*, got -100"),
    ],
)
def test_nonsense_is_refused(changes, message):
    call = {"field": "motor.kv", "output": "mass", "target": 0.7, "low": 1000.0, "high": 2500.0} | changes
    with pytest.raises(ValueError, match=message):
        solve_for(SCREE, **call)
