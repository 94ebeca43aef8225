"""Level flight, top speed and climb: balances worked out again from the outside of the answer."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

import propmodel
from propmodel import propeller
from propmodel.build import drag_areas
from propmodel.drive import drive
from propmodel.flight import best_speeds, climb_rate, level_flight, steepest_tilt, top_speed
from propmodel.operating_point import at_duty, electrical
from propmodel.status import Status

NAMES = propmodel.demo_names()
SCREE = propmodel.demo("scree")


@pytest.mark.parametrize("name", NAMES)
def test_thrust_carries_weight_and_drag(name):
    build = propmodel.demo(name)
    speed = np.array([0.0, 5.0, 12.0, 20.0])
    level = level_flight(build, speed)
    lift = build.rotors * level.thrust * np.cos(level.tilt)
    # the rotors' own drag lies in the tilted disc and so points up a little: under 3 % of the weight here
    assert np.all((lift <= build.weight * (1 + 1e-9)) & (lift > 0.97 * build.weight))
    front, top = drag_areas(build)
    body = 0.5 * build.air.density * speed**2 * (front * np.cos(level.tilt) ** 2 + top * np.sin(level.tilt) ** 2)
    forward = build.rotors * level.thrust * np.sin(level.tilt)
    assert np.all(forward >= body * (1 - 1e-9)) and np.all(forward[1:] < 1.6 * body[1:])


@pytest.mark.parametrize("name", NAMES)
def test_top_speed_is_where_level_flight_uses_full_throttle(name):
    build = propmodel.demo(name)
    # the sprint uses the 10-second resistance, level flight the sustained one: give both the same
    same = replace(build, pack=replace(build.pack, cell_resistance=1e-4, lead_resistance=1e-4))
    top = float(top_speed(same).speed)
    root = brentq(lambda v: float(level_flight(same, v).duty) - build.command_cap, 5.0, 80.0)
    # to a chord over the last step of the bracket

    assert top == pytest.approx(root, rel=4e-3)
    assert level_flight(same, 0.97 * top).status == Status.OK
    assert level_flight(same, 1.03 * top).status == Status.CANNOT_FLY_AT_THIS_SPEED


@pytest.mark.parametrize("name", NAMES)
def test_the_quick_answers_are_near_the_full_ones(name):
    build = propmodel.demo(name)
    assert top_speed(build, quick=True).speed == pytest.approx(top_speed(build).speed, rel=0.01)
    assert climb_rate(build, quick=True).speed == pytest.approx(climb_rate(build).speed, rel=0.02)


@pytest.mark.parametrize("name", NAMES)
def test_the_climb_balances_weight_and_drag_from_above(name):
    build = propmodel.demo(name)
    v = float(climb_rate(build).speed)
    d = drive(build)
    _, top = drag_areas(build)

    static = float(at_duty(d, np.asarray(build.command_cap)).rev_per_s)

    def duty(n):
        c_t, c_p = d.prop.at(v / (n * d.diameter), n)
        torque = c_p * d.density * n**2 * d.diameter**5 / (2 * np.pi)
        return electrical(d, np.asarray(n), torque, c_t)

    n = brentq(lambda n: float(duty(n).duty) - build.command_cap, 0.5 * static, 1.6 * static)
    c_t, _ = d.prop.at(v / (n * d.diameter), n)
    thrust = d.rotors * d.thrust_share * c_t * d.density * n**2 * d.diameter**4
    assert thrust == pytest.approx(build.weight + 0.5 * d.density * top * v**2, rel=2e-3)


def test_more_drag_is_slower_and_more_pitch_is_faster():
    def top(**changes):
        return float(top_speed(propmodel.with_fields(SCREE, changes)).speed)

    base = top()
    assert top(**{"craft.drag_area_front": 2.0 * float(drag_areas(SCREE)[0])}) < 0.9 * base
    assert top(**{"propeller.pitch": 0.0762}) < base


def test_a_craft_that_cannot_hover_has_no_top_speed_but_says_why():
    heavy = propmodel.with_fields(SCREE, {"craft.payload_mass": 20.0})
    for answer in (top_speed(heavy), climb_rate(heavy)):
        assert np.isnan(answer.speed) and answer.status == Status.CANNOT_HOVER
    assert np.isnan(best_speeds(heavy).endurance_speed)
    level = level_flight(heavy, 10.0)
    assert level.status == Status.CANNOT_FLY_AT_THIS_SPEED and level.thrust_needed_over_available > 1.0


def test_too_fast_is_told_with_how_much_is_missing():
    fast = level_flight(SCREE, 100.0)
    assert fast.status == Status.CANNOT_FLY_AT_THIS_SPEED
    assert fast.thrust_needed_over_available > 1.2


def test_real_propellers_pull_beyond_their_pitch_speed():
    # measured zero thrust lies above the geometric pitch (UIUC 10x4.7: 1.4 times), so a light, slippery craft
    # may fly faster than pitch times speed
    slippery = propmodel.with_fields(SCREE, {"craft.drag_area_front": 2e-4, "craft.drag_area_top": 4e-4})
    top = top_speed(slippery)
    assert top.speed > top.pitch_speed
    assert top.pitch_speed == pytest.approx(propeller.pitch_speed(SCREE.propeller, top.rev_per_s))


def test_steepest_tilt():
    # level flight at 45 degrees needs 1.41 times the weight, at 60 degrees twice (geometry)
    np.testing.assert_allclose(np.degrees(steepest_tilt([2**0.5, 2.0])), [45.0, 60.0], rtol=1e-12)
    assert np.isnan(steepest_tilt(0.9))


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: level_flight(SCREE, -1.0), "speed must be between 0 and 150 m/s, got -1 m/s"),
        (lambda: level_flight(SCREE, np.nan), "speed must be a finite number, got nan"),
        (lambda: level_flight(SCREE, 5.0, state_of_charge=2.0), "state_of_charge must be between 0 and 1, got 2"),
        (lambda: top_speed(SCREE, state_of_charge=-0.1), "state_of_charge must be between 0 and 1, got -0.1"),
        (lambda: climb_rate(SCREE, state_of_charge=7), "state_of_charge must be between 0 and 1, got 7"),
    ],
)
def test_nonsense_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
