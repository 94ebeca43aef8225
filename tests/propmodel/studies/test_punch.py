"""The punch of whole builds: parts, draws, and its band."""

from __future__ import annotations

import runpy
from dataclasses import replace

import numpy as np
import pytest

import propmodel
from propmodel.flight import spin_up
from propmodel.studies.punch import punch, punch_band
from propmodel.studies.spread import draw

SCREE = propmodel.demo("scree")


def test_an_array_of_builds_is_one_build_after_the_other():
    kv = np.array([1700.0, 1950.0, 2200.0])
    many = punch(replace(SCREE, motor=replace(SCREE.motor, kv=kv)))
    for k, value in enumerate(kv):
        one = punch(replace(SCREE, motor=replace(SCREE.motor, kv=value)))
        for name, whole in vars(many).items():
            assert np.broadcast_to(whole, 3)[k] == pytest.approx(float(getattr(one, name)), rel=1e-6), name


def test_a_heavier_propeller_is_slower_and_the_lag_stays():
    heavy = replace(
        SCREE, propeller=replace(SCREE.propeller, mass=3.0 * np.asarray(propmodel.propeller.mass(SCREE.propeller)))
    )
    a, b = punch(SCREE), punch(heavy)
    assert b.time_constant > a.time_constant and b.time_90 > a.time_90
    bare = a.time_constant - spin_up.CONTROLLER_LAG
    assert b.time_constant - spin_up.CONTROLLER_LAG == pytest.approx(bare * b.inertia / a.inertia, rel=0.05)


def test_a_craft_that_cannot_hover_has_no_punch():
    heavy = replace(SCREE, craft=replace(SCREE.craft, payload_mass=20.0))
    found = punch(heavy)
    assert np.isnan([found.time_63, found.time_90, found.time_constant]).all()


def test_the_band_holds_the_forecast_and_is_as_wide_as_said():
    low, high = punch_band(SCREE, draws=512)
    mid = punch(SCREE)
    assert low.time_constant < mid.time_constant < high.time_constant
    assert low.time_90 < mid.time_90 < high.time_90
    # the response's own spread alone gives exp(2 x 1.28 x sd); what the labels leave open comes on top
    assert np.log(high.time_constant / low.time_constant) > 0.95 * 2 * 1.2816 * spin_up.LOG_SD_RESPONSE
    narrow = punch_band(SCREE, coverage=0.5, draws=512)
    assert low.time_90 < narrow[0].time_90 < narrow[1].time_90 < high.time_90


def test_the_drawn_factor_is_lognormal_about_one():
    factor = np.log(draw(SCREE, draws=1024).response_factor)
    assert np.median(factor) == pytest.approx(0.0, abs=0.01)
    assert np.std(factor) == pytest.approx(spin_up.LOG_SD_RESPONSE, rel=0.02)
    assert draw(SCREE, draws=16, only=("kv",)).response_factor == pytest.approx(np.ones(16))


def test_bad_input_is_named():
    with pytest.raises(ValueError, match="factor must be between"):
        punch(SCREE, factor=0.0)
    with pytest.raises(ValueError, match="coverage"):
        punch_band(SCREE, coverage=2.0)
    with pytest.raises(ValueError, match="draws"):
        punch_band(SCREE, draws=2)


def test_the_lag_is_what_the_script_fits(root):
    # the median of so few values moves with the motor rule: to 2 ms
    script = runpy.run_path(str(root / "data" / "response" / "fit_response.py"))
    assert script["lag_of"](script["table"]()) == pytest.approx(spin_up.CONTROLLER_LAG, abs=2e-3)
