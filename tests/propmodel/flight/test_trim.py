"""Level flight, top speed and climb: balances worked out again from the outside of the answer."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

import propmodel
from propmodel.assembly.build import drag_areas
from propmodel.base.status import Status
from propmodel.components import propeller
from propmodel.components.inplane import inplane_force
from propmodel.flight.best_speeds import best_speeds
from propmodel.flight.climb import climb_rate
from propmodel.flight.level import level_flight, steepest_tilt
from propmodel.flight.top_speed import top_speed
from propmodel.flight.trim import Airframe, profile_split, trim
from propmodel.powertrain.operating_point import at_duty, electrical
from propmodel.powertrain.prepared import prepare

NAMES = propmodel.demo_names()
SCREE = propmodel.demo("scree")


@pytest.mark.parametrize("name", NAMES)
def test_thrust_carries_weight_and_drag(name):
    build = propmodel.demo(name)
    speed = np.array([0.0, 5.0, 12.0, 20.0])
    level = level_flight(build, speed)
    sine, cosine = np.sin(level.tilt), np.cos(level.tilt)
    front, top = drag_areas(build)
    push = 0.5 * build.air.density * speed**2
    mu = speed * cosine / (np.pi * level.rev_per_s * build.propeller.diameter)
    bare = level.thrust / prepare(build).thrust_share
    inplane = build.rotors * inplane_force(bare, mu)
    # up and along the path: pull, in-plane force (back and up), and the plate's force (back and down)
    along = push * (front * cosine**2 + top * sine**2)
    down = push * (top - front) * sine * cosine
    np.testing.assert_allclose(build.rotors * level.thrust * cosine + inplane * sine - down, build.weight, rtol=1e-9)
    np.testing.assert_allclose(build.rotors * level.thrust * sine - inplane * cosine, along, rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_shaft_power_is_the_rotorcraft_sum(name):
    # P = D V + induced + profile (1 + 4.65 mu^2): no work of the in-plane force in it (Leishman, Principles of
    # Helicopter Aerodynamics, section 5.4). No pull is lost on arms here, so that thrust is the same for all
    build = propmodel.with_fields(propmodel.demo(name), {"craft.thrust_loss": 0.0})
    d, speed = prepare(build, sustained=True), np.array([3.0, 8.0, 15.0, 22.0])
    frame = Airframe.of(build)
    state, point = trim(d, frame, speed, passes=60)
    sine, cosine = np.sin(np.arctan(state.tangent)), np.cos(np.arctan(state.tangent))
    drag = 0.5 * d.density * speed**2 * (frame.front * cosine**2 + frame.top * sine**2)
    # Glauert's inflow by root finding: v sqrt(V_in^2 + (V_ax + v)^2) = T / (2 rho A)
    hover2 = state.thrust / (2.0 * d.density * d.disc_area)
    flows = zip(state.inplane_speed, state.axial_speed, hover2, strict=True)
    inflow = [brentq(lambda v, a=a, b=b, h=h: v * np.hypot(a, b + v) - h, 0.0, 40.0) for a, b, h in flows]
    _, c_p = d.prop.at(state.axial_speed / (state.rev_per_s * d.diameter), state.rev_per_s)
    kappa, _, profile = profile_split(d, state.rev_per_s, state.thrust, state.axial_speed, c_p)
    mu = state.inplane_speed / (np.pi * state.rev_per_s * d.diameter)
    by_hand = drag * speed / d.rotors + kappa * state.thrust * inflow + profile * (1.0 + 4.65 * mu**2)
    np.testing.assert_allclose(point.shaft_power, by_hand, rtol=1e-8)


def test_more_weight_hardly_makes_a_craft_faster():
    # drag areas held: heavier flies flatter and shows less of its plate, which is worth a few percent and no more
    tarn = propmodel.demo("tarn")
    speeds = [
        float(top_speed(propmodel.with_fields(tarn, {"craft.payload_mass": kg})).speed) for kg in (0.0, 0.2, 0.4, 0.8)
    ]
    assert max(speeds) < 1.10 * speeds[0]
    moor = propmodel.demo("moor")
    assert top_speed(propmodel.with_fields(moor, {"craft.payload_mass": 1.2})).speed < top_speed(moor).speed


def test_the_in_plane_force_is_what_leans_a_craft_at_low_speed():
    without = propmodel.with_fields(SCREE, {"propeller.log_inplane_offset": -20.0})
    assert level_flight(without, 5.0).tilt < 0.4 * level_flight(SCREE, 5.0).tilt


def test_thrust_of_an_unstalled_blade_falls_sooner():
    steep = propmodel.with_fields(SCREE, {"propeller.unstalled_offset": 0.4})
    assert climb_rate(steep).speed < climb_rate(SCREE).speed
    assert top_speed(steep).speed < top_speed(SCREE).speed
    assert top_speed(steep).speed == pytest.approx(top_speed(SCREE).speed, rel=0.1)


def test_quick_top_speeds_of_random_builds_are_within_what_is_promised():
    rng = np.random.default_rng(11)
    rows = 4000
    size = rng.uniform(3.0, 15.0, rows)
    many = propmodel.with_fields(
        SCREE,
        {
            "propeller.diameter": size * 0.0254,
            "propeller.pitch": size * 0.0254 * rng.uniform(0.4, 1.1, rows),
            "propeller.blades": rng.integers(2, 5, rows),
            "motor.stator_diameter": (12.5 + 1.9 * size) * 1e-3,
            "motor.kv": 1900.0 * (5.0 / size) ** 1.4 * np.exp(rng.normal(0.0, 0.3, rows)),
            "pack.cells": rng.integers(3, 7, rows),
            "pack.capacity_ah": 1.5 * (size / 5.0) ** 2 * np.exp(rng.normal(0.0, 0.4, rows)),
            "craft.frame_mass": 0.3 * (size / 5.0) ** 2 * np.exp(rng.normal(0.0, 0.4, rows)),
        },
    )
    quick, full = top_speed(many, quick=True).speed, top_speed(many).speed
    assert np.array_equal(np.isnan(quick), np.isnan(full)) and np.isfinite(full).sum() > 2000
    assert np.nanmax(np.abs(quick / full - 1.0)) < 0.006
    # and the full one is a root: the command of that flight is full, or the pack gives its most
    fine = np.isfinite(full)
    d = prepare(many)
    _, point = trim(d, Airframe.of(many), np.where(fine, full, 1.0), passes=200)
    spent = point.pack_power * d.pack_resistance / (0.5 * d.emf) ** 2 - 1.0
    assert np.max(np.abs(np.maximum(point.duty - 1.0, spent)[fine])) < 2e-3


@pytest.mark.parametrize("name", NAMES)
def test_top_speed_is_where_level_flight_uses_full_throttle(name):
    build = propmodel.demo(name)
    # the sprint uses the 10-second resistance, level flight the sustained one: give both the same
    same = replace(build, pack=replace(build.pack, cell_resistance=1e-4, lead_resistance=1e-4))
    top = float(top_speed(same).speed)
    root = brentq(lambda v: float(level_flight(same, v).duty - build.duty_cap), 5.0, 80.0)
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
    d = prepare(build)
    _, top = drag_areas(build)

    static = float(at_duty(d, build.duty_cap).rev_per_s)

    def duty(n):
        c_t, c_p = d.prop.at(v / (n * d.diameter), n)
        torque = c_p * d.density * n**2 * d.diameter**5 / (2 * np.pi)
        return electrical(d, np.asarray(n), torque, c_t)

    n = brentq(lambda n: float(duty(n).duty - build.duty_cap), 0.5 * static, 1.6 * static)
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
