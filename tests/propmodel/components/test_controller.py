"""The speed controller: throttle map, its inverse, the ripple loss."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from propmodel.components.controller import Controller, duty_from_throttle, ripple_loss, throttle_from_duty


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
