"""The speed controller: throttle map, its inverse, the ripple loss."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from propmodel.components import controller as rules
from propmodel.components.controller import (
    Controller,
    default_throttle_exponent,
    duty_from_throttle,
    nominal_tip_mach,
    ripple_loss,
    throttle_from_duty,
    with_rule_exponent,
)


@given(st.floats(0.0, 1.0), st.floats(0.5, 2.0), st.floats(0.0, 0.2), st.floats(0.2, 1.0))
def test_the_throttle_map_and_its_inverse(throttle, exponent, idle, cap):
    esc = Controller(throttle_exponent=exponent, idle_duty=idle)
    duty = duty_from_throttle(esc, throttle, command_cap=cap)
    top = cap**exponent  # the cap is a command and passes through the map
    assert top * idle - 1e-12 <= duty <= top * (1.0 + 1e-12)
    assert throttle_from_duty(esc, duty, command_cap=cap) == pytest.approx(throttle, rel=1e-6, abs=1e-6)


def test_ends_of_the_map():
    esc = Controller(throttle_exponent=0.8, idle_duty=0.05)
    assert duty_from_throttle(esc, 0.0) == 0.05 and duty_from_throttle(esc, 1.0) == 1.0
    assert throttle_from_duty(esc, 0.01) == 0.0
    # a duty the cap does not reach reads as more than full throttle
    assert throttle_from_duty(Controller(throttle_exponent=1.0), 0.9, command_cap=0.6) == pytest.approx(1.5)
    assert throttle_from_duty(Controller(throttle_exponent=0.8), 0.9, command_cap=0.6) == pytest.approx(
        0.9 ** (1.0 / 0.8) / 0.6
    )


def test_ripple_is_largest_at_half_duty_and_standby_alone_at_the_ends():
    esc = Controller(ripple_coefficient=0.4, standby_power=0.7)
    volts = np.linspace(0.0, 20.0, 101)
    loss = ripple_loss(esc, volts, 20.0)
    assert np.argmax(loss) == 50
    # 0.4 W/V^2 x (20 V)^2 x (1/4)^2 + 0.7 W
    assert loss[50] == pytest.approx(0.4 * 400.0 / 16.0 + 0.7)
    assert loss[0] == loss[-1] == 0.7
    # above the bus (a forecast that failed) there is no negative loss
    assert ripple_loss(esc, 25.0, 20.0) == 0.7


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"resistance": -0.1}, "controller resistance must be between 0 and 10 ohm, got -0.1 ohm"),
        ({"ripple_coefficient": np.inf}, "ripple_coefficient must be a finite number, got inf"),
        ({"throttle_exponent": 0.0}, "throttle_exponent must be between 0.2 and 3, got 0"),
        ({"idle_duty": 0.9}, "idle_duty must be between 0 and 0.5, got 0.9"),
        ({"continuous_current": 0.0}, "continuous_current must be > 0 A, got 0 A"),
        ({"max_cells": "six"}, "max_cells must be a number, got 'six'"),
    ],
)
def test_nonsense_is_refused(changes, message):
    with pytest.raises(ValueError, match=message):
        Controller(**changes)


# ---- the exponent that nobody gave -----------------------------------------------------------------------


def test_the_free_tip_speed_is_that_of_a_propeller_at_kv_times_volts():
    # 1000 rpm/V at 20.46 V turn 341 times a second; a tip 1/pi m out on the diameter then moves at the speed of sound
    assert nominal_tip_mach(1.0 / np.pi, 1000.0, 20.46) == pytest.approx(1.0, rel=1e-12)


def test_the_rule_goes_with_a_power_and_is_held_outside_the_tables():
    low, high = rules.TIP_MACH_RANGE
    one = 60.0 * 341.0 / np.pi  # D KV V at which the free tip moves at the speed of sound
    assert default_throttle_exponent(1.0, 1.0, rules.REFERENCE_TIP_MACH * one) == pytest.approx(rules.THROTTLE_EXPONENT)
    half = default_throttle_exponent(1.0, 1.0, 0.5 * rules.REFERENCE_TIP_MACH * one) / rules.THROTTLE_EXPONENT
    assert half == pytest.approx(0.5**rules.TIP_POWER)
    # the three enter as a product alone
    assert default_throttle_exponent(0.1, 2000.0, 16.0) == pytest.approx(default_throttle_exponent(0.2, 500.0, 32.0))
    ends = default_throttle_exponent(1.0, 1.0, one * np.array([1e-6, low, high, 1e6]))
    assert ends[0] == pytest.approx(ends[1]) and ends[2] == pytest.approx(ends[3])
    assert ends[0] == pytest.approx(0.79, abs=0.005) and ends[2] == pytest.approx(0.92, abs=0.005)


def test_the_rule_broadcasts_and_each_element_equals_its_own():
    d, kv, volts = (
        np.array([0.1, 0.13, 0.18])[:, None, None],
        np.array([900.0, 1950.0])[:, None],
        np.array([12.0, 22.2]),
    )
    whole = default_throttle_exponent(d, kv, volts)
    assert whole.shape == (3, 2, 2)
    assert whole[1, 1, 0] == pytest.approx(float(default_throttle_exponent(0.13, 1950.0, 12.0)), rel=1e-14)


def test_a_given_exponent_stands_and_rows_without_one_take_the_rule():
    given = Controller(throttle_exponent=1.0)
    assert with_rule_exponent(given, 0.13, 1950.0, 22.2) is given and given.exponent == 1.0
    some = with_rule_exponent(Controller(throttle_exponent=[0.8, np.nan]), 0.13, np.array([1950.0, 1300.0]), 22.2)
    assert some.exponent.tolist() == [0.8, float(default_throttle_exponent(0.13, 1300.0, 22.2))]
    # and the forecasts use it
    duty = duty_from_throttle(some, 0.5)
    assert duty == pytest.approx(0.5 ** np.asarray(some.exponent))
