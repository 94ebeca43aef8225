"""Fuzz of the engine: whatever is put in, out comes an answer, a status, or one sentence; never anything else.

Short by itself. The long run takes the number of cases for each target from the environment::

    PROPMODEL_FUZZ=8000 .venv/bin/python -m pytest tests/fuzz -p no:cacheprovider

which makes at least 10^5 cases over all targets.
"""

from __future__ import annotations

import math
import os
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from random_builds import build_of, drawings, stacked

import propmodel
from propmodel import heat, power_up
from propmodel.assess import margins
from propmodel.assess.assessment import Assessment
from propmodel.assess.performance import OUTPUTS
from propmodel.base.status import Status
from propmodel.components import battery, momentum, wire
from propmodel.components.air import atmosphere
from propmodel.components.controller import Controller
from propmodel.components.craft import Craft
from propmodel.components.motor import Motor, from_stator
from propmodel.components.propeller import Propeller
from propmodel.dive import vortex_ring
from propmodel.dive.stepped import Dive, fly_pull_out
from propmodel.flight import spin_up
from propmodel.flight.endurance import Profile
from propmodel.heat.hot_motor import hot_motor_verdict
from propmodel.power_up import transients
from propmodel.powertrain.throttle_curve import bench_curve
from propmodel.studies import pareto, spread
from propmodel.studies.sensitivity import elasticities, steps
from propmodel.studies.sweep import sweep

CASES = int(os.environ.get("PROPMODEL_FUZZ", "40"))
fuzz = settings(max_examples=CASES, deadline=None, suppress_health_check=list(HealthCheck))
slow_fuzz = settings(max_examples=max(CASES // 4, 10), deadline=None, suppress_health_check=list(HealthCheck))

SCREE = propmodel.demo("scree")

numbers = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True),
    st.floats(0.0, 30.0),
    st.sampled_from([0.0, -0.0, -1.0, 1e-300, 1e300, float("nan"), float("inf"), -float("inf")]),
    st.integers(-5, 50),
)
odd = st.one_of(
    numbers,
    st.lists(numbers, max_size=3),
    st.text(max_size=6),
    st.sampled_from(
        [None, True, False, "six", b"6", [], {}, (1, "a"), object, 1 + 2j, np.array("x"), [[1.0], [2.0, 3.0]]]
    ),
)

PARTS: dict[str, tuple[Any, dict[str, Any]]] = {
    "Pack": (battery.Pack, {"chemistry": "lipo", "cells": 6, "capacity_ah": 1.3}),
    "Controller": (Controller, {}),
    "Craft": (Craft, {"frame_mass": 0.3}),
    "Motor": (Motor, {"kv": 1950, "resistance": 0.2, "no_load_current": 1.0}),
    "Propeller": (Propeller, {"diameter": 0.13, "pitch": 0.1}),
    "Profile": (Profile, {}),
    "Dive": (Dive, {"mass": 0.7, "max_thrust": 40.0, "drag_area_front": 0.01, "drag_area_top": 0.02,
                    "air_density": 1.2, "drop": 40.0}),
}  # fmt: skip


def sentence(error: ValueError) -> None:
    """What a person reads must be a sentence of ours and not a stranger's."""
    text = str(error)
    assert 8 < len(text) < 400 and "\n" not in text, text
    # lists of lengths that do not go together are numpy's to refuse, in its own words
    foreign = ("could not convert", "truth value", "invalid literal", "ufunc", "unsupported", "has no attribute")
    assert not any(f in text for f in foreign), text


def quiet(call: Any) -> Any:
    """Run; a ValueError in one sentence is fine and gives None."""
    try:
        return call()
    except ValueError as error:
        sentence(error)
        return None


@pytest.mark.parametrize("name", PARTS)
@fuzz
@given(st.data())
def test_parts_take_it_or_say_why_not(name, data):
    made, base = PARTS[name]
    free = [f.name for f in fields(made) if f.name not in ("name", "own_fit")]
    chosen = data.draw(st.lists(st.sampled_from(free), min_size=1, max_size=2, unique=True))
    with np.errstate(all="ignore"):  # an overflow on the way to a refusal is no fault
        quiet(lambda: made(**(base | {field: data.draw(odd) for field in chosen})))


FUNCTIONS: dict[str, tuple[Any, dict[str, Any]]] = {
    "atmosphere": (atmosphere, {"altitude": 100.0, "temperature": 280.0}),
    "from_stator": (from_stator, {"diameter": 0.022, "height": 0.007, "kv": 1950.0}),
    "discharge": (
        lambda **k: battery.discharge(SCREE.pack, **k),
        {"power": 100.0, "cutoff_voltage_per_cell": 3.3, "temperature": 290.0, "state_of_charge": 1.0, "reserve": 0.1},
    ),
    "throttle_curve": (
        lambda **k: propmodel.throttle_curve(SCREE, **k),
        {"throttle": 0.5, "state_of_charge": 1.0},
    ),
    "bench_curve": (
        lambda **k: bench_curve(SCREE.motor, SCREE.propeller, **k),
        {"supply_voltage": 20.0, "throttle": 0.5},
    ),
    "level_flight": (lambda **k: propmodel.level_flight(SCREE, **k), {"speed": 9.0, "state_of_charge": 1.0}),
    "top_speed": (lambda **k: propmodel.top_speed(SCREE, **k), {"state_of_charge": 1.0}),
    "climb_rate": (lambda **k: propmodel.climb_rate(SCREE, **k), {"state_of_charge": 1.0}),
    "flight_time": (lambda **k: propmodel.flight_time(SCREE, Profile(), **k), {"state_of_charge": 1.0}),
    "pull_out": (
        lambda **k: propmodel.pull_out(SCREE, **k),
        {"drop": 40.0, "state_of_charge": 0.5, "load_limit": 5.0, "delay": 0.5},
    ),
    "limits": (lambda **k: propmodel.limits(SCREE, **k), {"hold": 10.0}),
    "solve_for": (
        lambda **k: propmodel.solve_for(SCREE, **k),
        {"field": "motor.kv", "output": "mass", "target": 0.7, "low": 1000.0, "high": 2000.0},
    ),
    "bands": (lambda **k: spread.bands(SCREE, **({"draws": 16} | k)), {"coverage": 0.8, "draws": 16}),
    "wire.drop": (wire.drop, {"current": 10.0, "gauge": 14, "length": 0.1}),
    "wire.fusing": (wire.fusing_current_onderdonk, {"gauge": 14, "duration": 1.0}),
    "wash_band": (vortex_ring.wash_band, {"induced_velocity_hover": 7.0}),
    "inrush": (
        transients.inrush_current,
        {"voltage": 25.0, "capacitance": 1e-3, "resistance": 0.06, "inductance": 2e-7},
    ),
    "stall": (spin_up.stall_current, {"voltage": 16.0, "resistance": 0.15}),
    "verdict": (hot_motor_verdict, {"heat_watts": 3.0, "predicted_rise": 10.0}),
    "hover_velocity": (
        momentum.induced_velocity_hover,
        {"thrust": 5.0, "disc_area": 0.013, "air_density": 1.2},
    ),
    "wire_rise": (heat.wire_rise, {"current": 10.0, "conductor_diameter": 1.6e-3}),
    "sweep": (lambda kv: sweep(SCREE, {"motor.kv": kv}, ["mass"]), {"kv": [1900.0, 2000.0]}),
}


@pytest.mark.parametrize("name", FUNCTIONS)
@slow_fuzz
@given(st.data())
def test_functions_take_it_or_say_why_not(name, data):
    call, base = FUNCTIONS[name]
    chosen = data.draw(st.lists(st.sampled_from(sorted(base)), min_size=1, max_size=2, unique=True))
    with np.errstate(all="ignore"):
        quiet(lambda: call(**(base | {k: data.draw(odd) for k in chosen})))


# documented as NaN where not computed, or where there is no ground in the way
UNTOLD = ("arrest_height", "pull_up_height", "mixed_height", "impact_speed")


def told(answer: Any, where: str) -> None:
    """No NaN where the status says that all is well."""
    fine = np.asarray(answer.status) == Status.OK
    for field in fields(answer):
        value = getattr(answer, field.name)
        if field.name in UNTOLD or value is None or is_dataclass(value) or np.asarray(value).dtype.kind not in "fiu":
            continue
        value = np.asarray(value, dtype=float)
        if value.shape[value.ndim - fine.ndim :] == fine.shape:
            assert not np.any(np.isnan(value[..., fine])), f"{where}.{field.name}"


@slow_fuzz
@given(st.lists(drawings(), min_size=1, max_size=4), st.floats(0.0, 60.0), st.floats(0.0, 1.0), st.floats(1.0, 300.0))
def test_any_valid_craft_is_answered(rows, speed, charge, drop):
    build = stacked(rows) if len(rows) > 1 else build_of(rows[0])
    told(propmodel.throttle_curve(build, np.linspace(0.0, 1.0, 6), state_of_charge=charge), "throttle_curve")
    told(propmodel.level_flight(build, np.array([0.0, speed]), state_of_charge=charge), "level_flight")
    told(propmodel.top_speed(build, state_of_charge=charge), "top_speed")
    told(propmodel.climb_rate(build, state_of_charge=charge), "climb_rate")
    for profile in (Profile(), Profile(0.1, 0.4, 0.4, 0.1, cruise_speed=speed)):
        told(propmodel.flight_time(build, profile, state_of_charge=charge), "flight_time")
    told(propmodel.pull_out(build, drop, state_of_charge=charge), "pull_out")
    told(battery.discharge(build.pack, 50.0, state_of_charge=charge), "discharge")
    best = propmodel.best_speeds(build)
    lifts = np.isfinite(propmodel.top_speed(build).speed)
    assert np.all(np.isfinite(best.endurance_speed) == lifts)
    margin = margins.evaluate(Assessment(build))
    never_untold = ("sag_fresh", "sag_low", "pull", "hover_high", "hover_low", "tip_speed", "free_tip", "winding_heat")
    for key in never_untold:
        assert not np.any(np.isnan(margin[key])), key
    found = propmodel.performance(build)
    for name in OUTPUTS:
        value = getattr(found, name)
        if "winding_temperature" not in name:
            assert not np.any(np.isnan(np.asarray(value)[np.asarray(found.status) == Status.OK])), name


@slow_fuzz
@given(drawings())
def test_one_craft_in_words(r):
    build = build_of(r)
    for x in propmodel.limits(build, hold=10.0):
        assert x.sentence and "nan" not in x.sentence.lower(), x
        assert not math.isnan(x.share) or x.state == "unknown"
    for effect in steps(build, ["hover_time", "thrust_to_weight"]):
        assert math.isfinite(effect.values["thrust_to_weight"])
    assert all(math.isfinite(v) for v in elasticities(build, "mass").values())
    p = power_up.from_build(build)
    for row in power_up.rows(power_up.power_up_steps(p)):
        assert "nan" not in " ".join(row.values()).lower().split(), row
    assert all(math.isfinite(f.value) for f in power_up.facts(p))
    low, _, high = spread.bands(build, draws=16)
    assert not np.isnan(low.thrust_to_weight) and low.mass <= high.mass


@fuzz
@given(st.integers(0, 4), st.lists(st.lists(numbers, min_size=5, max_size=5), min_size=0, max_size=4))
def test_frontiers_of_anything(extra, columns):
    found = quiet(
        lambda: pareto.frontier([np.array(c, dtype=float) for c in columns], [True] * (len(columns) + extra // 4))
    )
    if found is not None:
        assert set(found.tolist()) <= set(range(5))


@slow_fuzz
@given(
    st.floats(0.05, 200.0),
    st.floats(0.0, 5e3),
    st.one_of(st.just(0.0), st.floats(1e-6, 2.0)),
    st.one_of(st.just(0.0), st.floats(1e-6, 5.0)),
    st.floats(0.0, 500.0),
    st.floats(0.1, 20.0),
    st.sampled_from(["worse", "arrest", "pull_up", "mixed"]),
)
def test_any_dive_ends(mass, thrust, front, top, drop, load, way):
    def fly():
        return fly_pull_out(
            Dive(
                mass=mass,
                max_thrust=thrust,
                drag_area_front=front,
                drag_area_top=top,
                air_density=1.2,
                drop=drop,
                load_limit=load,
            ),
            manoeuvre=way,
        )

    found = quiet(fly)
    if found is not None:
        told(found, "fly_pull_out")
