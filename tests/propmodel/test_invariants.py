"""What must hold for any craft, however odd: conservation, order, scaling, limits, one answer whatever the shape."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from long_run import examples
from random_builds import build_of, builds, drawings, stacked

import propmodel
from propmodel.assembly.build import take
from propmodel.assess import margins
from propmodel.assess.assessment import Assessment
from propmodel.assess.performance import OUTPUTS, performance
from propmodel.base.status import Status
from propmodel.components import battery, propeller
from propmodel.flight.best_speeds import best_speeds
from propmodel.flight.climb import climb_rate
from propmodel.flight.endurance import Profile, flight_time
from propmodel.flight.level import level_flight
from propmodel.flight.top_speed import top_speed
from propmodel.flight.trim import Airframe, trim
from propmodel.powertrain.operating_point import at_duty, at_speed, at_thrust
from propmodel.powertrain.prepared import prepare
from propmodel.powertrain.rotor_speed import never_overloads_pack
from propmodel.powertrain.throttle_curve import throttle_curve
from propmodel.studies.spread import draw

MIX = Profile(0.2, 0.5, 0.2, 0.1, cruise_speed=12.0)
few = settings(max_examples=examples(12))
some = settings(max_examples=examples(40))


def books(d, point):
    """Power out of the cells, and where it goes. [W]"""
    each = point.winding_loss + point.rest_loss + point.iron_loss + point.ripple_loss + point.shaft_power
    return d.emf * point.pack_current, point.pack_loss + d.rotors * each + d.electronics_power


def feeds_the_electronics(d, share):
    """True where electronics, idle controllers and the worst of the ripple take at most a share of what there is."""
    ripple = np.asarray(d.controller.ripple_coefficient) * d.emf**2 / 16.0
    idle = d.rotors * (np.asarray(d.controller.standby_power) + ripple * (share < 1.0)) + d.electronics_power
    return bool(idle * d.pack_resistance <= share * d.emf**2 / 4.0)


# --- energy -----------------------------------------------------------------------------------------------------


@some
@given(builds, st.floats(0.05, 1.0), st.booleans())
def test_every_watt_from_the_cells_is_accounted_for(build, charge, sustained):
    d = prepare(build, charge, sustained=sustained)
    duty = np.linspace(0.0, float(build.command_cap), 23)[1:]
    point = at_duty(d, duty)
    if not feeds_the_electronics(d, share=1.0):
        assert np.all(point.status != Status.OK)
        return
    drawn, used = books(d, point)
    # where more is asked than there is, the point held is the most there is, to what a flat top allows; a pack whose
    # all the ripple may take has no such point
    held = point.status == Status.PACK_CANNOT_DELIVER
    np.testing.assert_allclose(used[~held], drawn[~held], rtol=1e-9)
    if feeds_the_electronics(d, share=0.99):
        np.testing.assert_allclose(used[held], drawn[held], rtol=1e-4)
    # and the point found is the one asked for, or it says that it is not
    fine = point.status == Status.OK
    np.testing.assert_allclose(point.duty[fine], duty[fine], rtol=1e-6)


@some
@given(builds)
def test_hover_books_close(build):
    d = prepare(build, 1.0, sustained=True)
    point = at_thrust(d, build.weight / d.rotors)
    if point.status == Status.OK:
        drawn, used = books(d, point)
        assert used == pytest.approx(drawn, rel=1e-9)


@some
@given(builds, st.floats(0.0, 40.0))
def test_level_flight_books_close(build, speed):
    d = prepare(build, 1.0, sustained=True)
    state, point = trim(d, Airframe.of(build), np.asarray(speed), passes=60)
    if point.status == Status.OK:
        drawn, used = books(d, point)
        assert used == pytest.approx(drawn, rel=1e-9)
        # the work against the body's drag is the least: what the tilt carries for the in-plane force is not paid
        assert point.shaft_power >= state.thrust * state.axial_speed - state.inplane_force * state.inplane_speed


@some
@given(builds, st.floats(1.0, 2000.0))
def test_the_shaft_feeds_at_least_the_ideal_disc(build, rev_per_s):
    d = prepare(build, 1.0)
    point = at_speed(d, rev_per_s)
    bare = point.thrust / d.thrust_share
    ideal = bare * np.sqrt(bare / (2.0 * d.density * d.disc_area))
    assert point.shaft_power >= ideal / 0.85


# --- order ------------------------------------------------------------------------------------------------------


ROOT = 2e-6
"""At the most a pack can give its voltage is a double root: rounding in the power shows as its square root. [-]"""
SEARCH = 2e-5
"""The same for what hangs on a search, which stops within 1e-10 of its speed. [-]"""


@some
@given(builds, st.floats(0.0, 1.0))
def test_more_throttle_never_gives_less(build, charge):
    # a pack that can hardly feed the electronics has no throttle curve to speak of
    assume(feeds_the_electronics(prepare(build, charge), share=0.5))
    curve = throttle_curve(build, state_of_charge=charge)
    names = ["rev_per_s", "thrust", "motor_current", "shaft_power"]
    if build.rotors * curve.thrust[-1] > build.weight:
        # a large motor on far too few cells may lose more in the ripple at half duty than it draws at full:
        # what the whole craft draws is in order for whatever can fly
        names += ["pack_current", "electrical_power"]
        assert np.all(np.diff(curve.pack_voltage) <= ROOT * curve.pack_voltage[0])
    for name in names:
        value = getattr(curve, name)
        assert np.all(np.diff(value) >= -ROOT * np.max(value)), name
    # held where the pack is spent, rising elsewhere
    held = curve.status == Status.PACK_CANNOT_DELIVER
    assert not np.any(np.diff(held.astype(int)) < 0)
    rising = np.diff(curve.thrust[~held])
    assert np.all(rising > -ROOT * np.max(curve.thrust))


@some
@given(builds, st.floats(0.0, 1.0), st.sampled_from([2, 7, 101]))
def test_a_kept_row_of_throttles_gives_the_same_curve(build, charge, points):
    throttle, prop = np.linspace(0.0, 1.0, points), prepare(build, charge).prop
    row = throttle_curve(build, throttle, state_of_charge=charge)
    # C_P has a bend where its Reynolds range ends: a last small step over it leaves a little
    bend = (
        np.minimum(
            np.abs(row.rev_per_s / prop.clamp_low_speed - 1.0), np.abs(row.rev_per_s / prop.clamp_high_speed - 1.0)
        )
        < 1e-4
    )
    for other in (throttle[:, None], throttle.tolist()):  # neither is a row that is kept
        curve = throttle_curve(build, other, state_of_charge=charge)
        np.testing.assert_array_equal(curve.status.ravel(), row.status)
        near = row.pack_voltage < 0.55 * row.pack_voltage[0]  # the most a pack can give
        for name in ("rev_per_s", "thrust", "pack_current", "pack_voltage", "electrical_power", "efficiency"):
            there, here = getattr(curve, name).ravel(), getattr(row, name)
            apart = np.abs(here - there) / np.max(there)
            assert np.all(apart <= np.where(near, SEARCH, np.where(bend, 1e-5, 1e-8))), name


@some
@given(builds, st.floats(0.0, 1.0))
def test_a_pack_said_never_overloaded_is_not(build, charge):
    d = prepare(build, charge)
    if never_overloads_pack(d):
        with np.errstate(over="raise", divide="raise", invalid="raise"):
            curve = throttle_curve(build, state_of_charge=charge)
        assert np.all(curve.pack_voltage >= d.min_normal_bus)


def test_some_packs_are_calm_and_some_are_not():
    assert never_overloads_pack(prepare(propmodel.demo("scree"), 1.0))
    assert not never_overloads_pack(prepare(propmodel.demo("moor"), 0.02))


@some
@given(drawings(), st.floats(1.05, 2.0))
def test_a_heavier_craft_flies_shorter(r, factor):
    light, heavy = performance(build_of(r)), performance(build_of(r | {"frame_mass": r["frame_mass"] * factor}))
    assert heavy.thrust_to_weight < light.thrust_to_weight
    if light.status == heavy.status == Status.OK:
        assert heavy.hover_power > light.hover_power
        assert heavy.hover_time < light.hover_time
        assert heavy.hover_throttle > light.hover_throttle


# --- scaling ----------------------------------------------------------------------------------------------------


@some
@given(
    st.sampled_from(propeller.measured_names()[:40]),
    st.floats(20.0, 300.0),
    st.floats(0.3, 3.0),
    st.floats(0.5, 2.0),
    st.floats(0.5, 2.0),
)
def test_thrust_and_torque_scale_with_density_speed_and_size(name, n, k_density, k_speed, k_size):
    # T ~ rho n^2 D^4 and Q ~ rho n^2 D^5 at one Reynolds and one Mach number
    # a chord is given: where it is unknown, the default one follows the diameter
    build = replace(propmodel.demo("scree"), propeller=replace(propeller.measured(name), chord_ratio=0.15))
    base = at_speed(prepare(build), n)
    air = build.air
    other = replace(
        air,
        density=air.density * k_density,
        viscosity=air.viscosity * k_density * k_speed * k_size**2,
        speed_of_sound=air.speed_of_sound * k_speed * k_size,
    )
    grown = replace(build.propeller, diameter=build.propeller.diameter * k_size, pitch=build.propeller.pitch * k_size)
    scaled = at_speed(prepare(replace(build, air=other, propeller=grown)), n * k_speed)
    assert scaled.thrust == pytest.approx(base.thrust * k_density * k_speed**2 * k_size**4, rel=1e-9)
    assert scaled.torque == pytest.approx(base.torque * k_density * k_speed**2 * k_size**5, rel=1e-9)


# --- one answer whatever the shape ------------------------------------------------------------------------------


def answers(build):
    """Every answer function of the engine, as flat names to arrays of the build's shape (last axes allowed)."""
    a = Assessment(build)
    found = {f"margin {k}": v for k, v in margins.evaluate(a, hold=10.0).items()}
    found |= {f"margin for good {k}": v for k, v in margins.evaluate(a, hold=np.inf).items()}
    parts = {
        "performance": performance(build),
        "curve": throttle_curve(build, np.array([0.0, 0.2, 0.55, 1.0]), state_of_charge=0.6),
        "level": level_flight(build, np.array([0.0, 6.0, 12.0, 19.0])),
        "level at one speed": level_flight(build, 11.0),
        "top": top_speed(build),
        "best": best_speeds(build),
        "climb": climb_rate(build),
        "flight": flight_time(build, MIX),
        "pull out": propmodel.pull_out(build, 40.0),
        "run": battery.discharge(build.pack, 40.0),
    }
    for name, part in parts.items():
        for field in fields(part):
            value = getattr(part, field.name)
            if value is not None and field.name not in ("throttle", "path"):
                found[f"{name} {field.name}"] = value
    return found


def element(value, i, shape):
    """The part of an answer that belongs to build ``i``: curves may lead or follow the build's own axes."""
    value = np.asarray(value)
    rank = len(shape)
    for first in range(value.ndim - rank + 1):
        if value.shape[first : first + rank] == shape:
            index = (slice(None),) * first + np.unravel_index(i, shape)
            return value[index]
    return value


@few
@given(st.lists(drawings(), min_size=7, max_size=7))
def test_a_scalar_build_answers_as_its_element_of_an_array(rows):
    # seven: no curve of these answers is seven long, so the build's axis cannot be mistaken
    whole = answers(stacked(rows))
    for i in (0, 3, 6):
        alone = answers(build_of(rows[i]))
        assert set(alone) == set(whole)
        for name, value in alone.items():
            got = element(whole[name], i, (7,))
            np.testing.assert_allclose(
                np.asarray(got, float), np.asarray(value, float), rtol=SEARCH, atol=1e-12, err_msg=f"{name}, {rows[i]}"
            )


@few
@given(st.lists(drawings(), min_size=6, max_size=6))
def test_two_axes_of_builds(rows):
    flat, square = stacked(rows), stacked(rows, (2, 3))
    one, two = performance(flat), performance(square)
    for field in fields(one):
        assert getattr(two, field.name).shape == (2, 3), field.name
        np.testing.assert_array_equal(getattr(two, field.name).ravel(), getattr(one, field.name), err_msg=field.name)
    curve = throttle_curve(square, np.linspace(0.0, 1.0, 5))
    assert curve.thrust.shape == (2, 3, 5)
    np.testing.assert_allclose(
        curve.thrust.reshape(6, 5), throttle_curve(flat, np.linspace(0.0, 1.0, 5)).thrust, rtol=1e-9
    )
    level = level_flight(square, np.array([[1.0, 4.0], [9.0, 16.0]]))
    assert level.electrical_power.shape == (2, 3, 2, 2)
    margin = margins.evaluate(Assessment(square))
    assert all(v.shape == (2, 3) for v in margin.values())


# One array field in each part: everything must broadcast from any of them.
ARRAY_FIELDS = {
    "craft.frame_mass": [0.2, 0.3, 0.5],
    "craft.drag_area_front": [0.005, 0.01, 0.02],
    "craft.electronics_power": [2.0, 8.0, 20.0],
    "craft.capacitor_voltage": [25.0, 35.0, 50.0],
    "motor.kv": [1500.0, 1950.0, 2500.0],
    "motor.max_cells": [4.0, 5.0, 6.0],
    "propeller.pitch": [0.07, 0.1, 0.13],
    "propeller.chord_ratio": [0.12, np.nan, 0.2],
    "propeller.blade_width": ["slim", "unknown", "broad"],
    "propeller.log_c_t_offset": [-0.1, 0.0, 0.1],
    "propeller.figure_of_merit_offset": [-0.2, 0.0, 0.2],
    "propeller.log_zero_thrust_offset": [-0.1, 0.0, 0.1],
    "propeller.unstalled_offset": [-0.3, 0.0, 0.4],
    "propeller.log_inplane_offset": [-0.4, 0.0, 0.4],
    "air.density": [0.9, 1.1, 1.225],
    "air.speed_of_sound": [320.0, 330.0, 340.0],
    "motor.resistance": [0.05, 0.08, 0.12],
    "motor.max_current": [20.0, 35.0, 60.0],
    "controller.ripple_coefficient": [0.1, 0.3, 0.6],
    "controller.throttle_exponent": [0.8, 1.0, 1.2],
    "controller.idle_duty": [0.0, 0.05, 0.1],
    "pack.cells": [4.0, 5.0, 6.0],
    "pack.cycles": [0.0, 50.0, 200.0],
    "pack.chemistry": ["lipo", "lipo_hv", "li_ion"],
    "rotors": [4.0, 6.0, 8.0],
    "command_cap": [0.5, 0.8, 1.0],
}


@pytest.mark.parametrize("field", ARRAY_FIELDS)
def test_an_array_in_any_one_field_reaches_every_answer(field):
    scree = propmodel.demo("scree")
    values = np.array(ARRAY_FIELDS[field])
    many = answers(propmodel.with_fields(scree, {field: values}))
    for i, value in enumerate(values):
        alone = answers(propmodel.with_fields(scree, {field: value}))
        for name, one in alone.items():
            got = np.asarray(element(many[name], i, (3,)), dtype=float)
            rtol = 1e-7 if name.startswith("performance") else SEARCH
            np.testing.assert_allclose(got, np.asarray(one, dtype=float), rtol=rtol, atol=1e-9, err_msg=name)


# --- no number missing without a reason -------------------------------------------------------------------------

NEVER_SETTLES = ("hover_winding_temperature", "full_throttle_winding_temperature")


@few
@given(st.lists(drawings(), min_size=10, max_size=10))
def test_no_number_is_missing_without_a_status(rows):
    build = stacked(rows)
    found = performance(build)
    fine = found.status == Status.OK
    a = Assessment(build)
    for name in OUTPUTS:
        value = getattr(found, name)
        if name in NEVER_SETTLES:
            steady = a.hover_heat if name.startswith("hover") else a.full_heat
            np.testing.assert_array_equal(np.isnan(value), steady.status == Status.NEVER_SETTLES)
        elif name == "pull_out_height":
            told = a.pull_out_estimate().status == Status.NOT_ENOUGH_PULL
            np.testing.assert_array_equal(np.isnan(value), told)
        else:
            assert not np.any(np.isnan(value[fine])), name
    for answer in (
        throttle_curve(build),
        level_flight(build, np.linspace(0.0, 60.0, 7)),
        flight_time(build, MIX),
        top_speed(build),
        climb_rate(build),
    ):
        fine = answer.status == Status.OK
        for field in fields(answer):
            value = np.asarray(getattr(answer, field.name), dtype=float)
            # curves lead with their own axis; a throttle or speed axis by itself has none of the builds'
            told = value[..., fine] if value.shape[-fine.ndim :] == fine.shape else value
            assert not np.any(np.isnan(told)), f"{type(answer).__name__} {field.name}"


# --- figure of merit in draws -----------------------------------------------------------------------------------


@few
@given(builds)
def test_no_draw_beats_the_ceiling_of_the_figure_of_merit(build):
    drawn = draw(build, draws=256).build
    d = prepare(drawn, 1.0)
    for n in (20.0, 150.0, 600.0):
        point = at_speed(d, n)
        bare = point.thrust / d.thrust_share
        merit = bare * np.sqrt(bare / (2.0 * d.density * d.disc_area)) / point.shaft_power
        assert np.max(merit) < 0.85
    assert np.nanmax(Assessment(drawn).figure_of_merit) < 0.85


# --- limits of level flight -------------------------------------------------------------------------------------


@some
@given(builds)
def test_level_flight_at_no_speed_is_a_hover(build):
    hover = Assessment(build).hover
    level = level_flight(build, 0.0)
    assert level.electrical_power == pytest.approx(hover.pack_power, rel=1e-9)
    assert level.rev_per_s == pytest.approx(hover.rev_per_s, rel=1e-9)
    assert level.tilt == 0.0


@pytest.mark.parametrize("name", propmodel.demo_names())
def test_power_against_speed_has_a_bucket(name):
    build = propmodel.demo(name)
    speed = np.linspace(0.0, 0.95 * float(top_speed(build).speed), 60)
    power = level_flight(build, speed).electrical_power
    lowest = int(np.argmin(power))
    assert 0 < lowest < 59
    assert np.all(np.diff(power[: lowest + 1]) < 0.0) and np.all(np.diff(power[lowest:]) > 0.0)
    best = best_speeds(build)
    assert best.endurance_speed == pytest.approx(speed[lowest], abs=1.5 * speed[1])
    assert best.endurance_power <= power[lowest] * (1.0 + 1e-4)
    # farther for the charge at a higher speed than longest in the air
    assert best.range_speed > best.endurance_speed
    assert 0.6 < best.power_ratio < 1.0


@pytest.mark.parametrize("name", propmodel.demo_names())
@pytest.mark.parametrize("speed", [5.0, 15.0, 30.0])
def test_flown_flat_on_its_side_it_follows_the_axial_curve(name, speed):
    # weight next to nothing: drag alone is to be pulled, the disc stands across the stream
    build = propmodel.demo(name)
    d = prepare(build, 1.0)
    frame = Airframe(weight=np.asarray(1e-7), front=np.asarray(0.02), top=np.asarray(0.02))
    state, point = trim(d, frame, np.asarray(speed), passes=200)
    assert np.degrees(np.arctan(state.tangent)) == pytest.approx(90.0, abs=1e-4)
    assert d.rotors * point.thrust == pytest.approx(0.5 * d.density * 0.02 * speed**2, rel=1e-6)
    c_t, c_p = d.prop.at(speed / (point.rev_per_s * d.diameter), point.rev_per_s)
    assert state.thrust == pytest.approx(c_t * d.density * point.rev_per_s**2 * d.diameter**4, rel=1e-9)
    assert point.shaft_power == pytest.approx(c_p * d.density * point.rev_per_s**3 * d.diameter**5, rel=1e-6)


# --- pieces ----------------------------------------------------------------------------------------------------


@few
@given(st.lists(drawings(), min_size=4, max_size=4))
def test_a_subset_of_builds_is_those_builds(rows):
    build = stacked(rows)
    picked = take(build, np.array([True, False, False, True]), (4,))
    whole, part = performance(build), performance(picked)
    np.testing.assert_allclose(part.hover_power, whole.hover_power[[0, 3]], rtol=1e-9)
    np.testing.assert_allclose(part.top_speed, whole.top_speed[[0, 3]], rtol=1e-7)
