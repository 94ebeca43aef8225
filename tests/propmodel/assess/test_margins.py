"""Shares of allowances: each worked out again, for each hold time."""

from dataclasses import replace

import numpy as np
import pytest

import propmodel
from propmodel.assess import margins
from propmodel.assess.assessment import Assessment
from propmodel.components import battery

SCREE = propmodel.demo("scree")


def shares(build, hold=10.0):
    return {k: float(v) for k, v in margins.evaluate(Assessment(build), hold=hold).items()}


def test_shares_by_hand():
    a, got = Assessment(SCREE), shares(SCREE)
    amps, motor = float(a.full_throttle.pack_current), float(a.full_throttle.motor_current)
    # label of the demo pack: 150 C burst of 1.3 Ah; ESC 45 A, 55 A for ten seconds; motor 38 A; connector 60 A
    assert got["pack_label"] == pytest.approx(amps / 195.0)
    assert got["controller_current"] == pytest.approx(motor / 55.0)
    assert got["motor_current"] == pytest.approx(motor / 38.0)
    assert got["connector"] == pytest.approx(amps / 60.0 / 1.5)
    # a floor reads as a ceiling: what is lost of the way from rest to 3.0 V a cell
    rest = 6 * 4.1994  # the measured pouch, full
    assert got["sag_fresh"] == pytest.approx((rest - a.full_throttle.bus_voltage) / (rest - 18.0), rel=1e-6)
    assert got["pull"] == pytest.approx(1.0 / (a.thrust_to_weight_at_reserve - 1.0))
    emf_tip = (
        rest * 1950 / 60 * np.pi * 5.1 * 0.0254 / 340.294
    )  # speed of sound at 15 C (U.S. Standard Atmosphere 1976)
    assert got["free_tip"] == pytest.approx(emf_tip, rel=1e-6)


def test_longer_holds_use_more():
    holds = (2.0, 10.0, 60.0, np.inf)
    for key, share in margins.SHARES.items():
        values = [shares(SCREE, h)[key] for h in holds]
        if np.isnan(values[0]):
            continue
        if share.held:
            assert values == sorted(values), key
            assert values[-1] > values[0] or key == "motor_current", key
        else:
            assert len(set(values)) == 1, key
    # a burst counts for ten seconds, the continuous rating beyond
    a = Assessment(SCREE)
    assert shares(SCREE, 60.0)["controller_current"] == pytest.approx(float(a.full_throttle.motor_current) / 45.0)
    assert shares(SCREE, 60.0)["pack_label"] == pytest.approx(float(a.full_throttle.pack_current) / 97.5)


def test_heat_in_the_pack_by_hand():
    a = Assessment(SCREE)
    watts = float(a.full_throttle.pack_current) ** 2 * float(battery.resistance(SCREE.pack, 0.5))
    # about 1.0 to 1.1 kJ/(kg K) for pouch cells (from memory)
    rise = shares(SCREE)["pack_heat"] * (60.0 - 22.0)
    assert rise == pytest.approx(watts * 10.0 / (0.205 * 1050.0), rel=0.15)
    # for good means until it is empty
    assert np.isfinite(shares(SCREE, np.inf)["pack_heat"])


@pytest.mark.parametrize(
    ("changes", "key", "fits"),
    [
        ({"motor.max_cells": 4}, "motor_cells", False),
        ({"motor.max_cells": 6}, "motor_cells", True),
        ({"controller.max_cells": 4}, "controller_cells", False),
        ({"controller.max_voltage": 24.0, "controller.max_cells": None}, "controller_cells", False),
        ({"craft.video_max_voltage": 17.0}, "video_voltage", False),
        ({"craft.regulator_max_voltage": 25.2}, "regulator_voltage", True),
        ({"craft.receiver_max_voltage": 10.0}, "receiver_voltage", False),
        ({"craft.capacitor_voltage": 25.0}, "capacitor_voltage", False),
        ({"craft.capacitor_voltage": 35.0}, "capacitor_voltage", True),
        ({"propeller.diameter": 0.1524}, "frame_clearance", False),
        ({"craft.mass_threshold": 0.25}, "mass_threshold", False),
    ],
)
def test_what_fits(changes, key, fits):
    assert shares(propmodel.with_fields(SCREE, changes))[key] == (0.0 if fits else 2.0)


@pytest.mark.parametrize("cap", [1.0, 0.66, 0.3])
def test_no_cap_clears_an_over_voltage(cap):
    # four-cell motors on six cells with a throttle cap still burn: the cap evens out average voltage only
    build = propmodel.with_fields(SCREE, {"motor.max_cells": 4, "controller.max_cells": 4, "command_cap": cap})
    got = shares(build)
    assert got["motor_cells"] == got["controller_cells"] == 2.0


def test_untold_labels_are_not_a_number():
    bare = replace(
        SCREE,
        craft=propmodel.Craft(frame_mass=0.3),
        controller=propmodel.Controller(),
        pack=replace(SCREE.pack, max_continuous_current=None, max_burst_current=None),
        motor=replace(SCREE.motor, max_current=None, max_cells=None),
    )
    got = shares(bare)
    for key in ("pack_label", "controller_current", "motor_current", "main_leads", "motor_leads", "connector"):
        assert np.isnan(got[key]), key
    for key in margins.FITS:
        assert np.isnan(got[key]), key


def test_one_motor_lost_concerns_six_and_eight():
    assert np.isnan(shares(SCREE)["motor_lost"])
    six = propmodel.with_fields(SCREE, {"rotors": 6})
    ratio = float(Assessment(six).thrust_to_weight_at_reserve)
    # the opposite motor is cut back with it: four sixths are left
    assert shares(six)["motor_lost"] == pytest.approx(1.0 / (ratio * 4 / 6))


def test_a_motor_that_never_settles_uses_more_than_everything():
    got = shares(SCREE, np.inf)
    assert got["winding_heat"] == np.inf
