"""The dive: energy, limits, order, scaling, statuses, paths, and the estimate against the stepped flight."""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples

from propmodel.base.constants import STANDARD_GRAVITY as G0
from propmodel.base.status import Status
from propmodel.dive import closed_forms, stepped
from propmodel.dive.estimate import estimate_height_lost
from propmodel.dive.stepped import Delay, Dive, Manoeuvre, estimate_pull_out, fly_pull_out

CRAFT = Dive(
    mass=0.62,
    max_thrust=41.0,
    drag_area_front=0.011,
    drag_area_top=0.024,
    air_density=1.17,
    drop=60.0,
    disc_area=0.0527,
)
BOTH = [fly_pull_out, estimate_pull_out]


def test_the_height_alone_is_that_of_the_whole_estimate():
    for more in ({}, {"entry": "flat"}, {"dive_angle": 0.8}):
        dive = random_dives(200, steering_share=np.linspace(0.2, 1.0, 200), **more)
        whole = estimate_pull_out(dive).height_lost
        np.testing.assert_array_equal(estimate_height_lost(dive), whole)
        assert np.isnan(whole).any() and np.isfinite(whole).any()


def random_dives(count=400, seed=7, **more):
    r = np.random.default_rng(seed)
    mass = r.uniform(0.2, 3.0, count)
    front = mass**0.67 * r.uniform(0.006, 0.025, count)
    return Dive(
        mass=mass,
        max_thrust=mass * G0 * r.uniform(1.6, 9.0, count),
        drag_area_front=front,
        drag_area_top=front * r.uniform(1.0, 3.0, count),
        air_density=r.uniform(0.9, 1.25, count),
        drop=r.uniform(5.0, 150.0, count),
        disc_area=mass * G0 / r.uniform(50.0, 150.0, count),
        load_limit=r.uniform(2.0, 8.0, count),
        delay=r.uniform(0.1, 0.8, count),
        **more,
    )


def test_no_energy_is_gained_or_lost_without_drag_and_thrust():
    bare = replace(CRAFT, drag_area_front=0.0, drag_area_top=0.0, dive_angle=0.6, delay=2.0)
    path = fly_pull_out(bare, keep_path=True).paths[0]
    falls = path.time <= 2.0
    energy = 0.5 * path.speed**2 + G0 * path.height
    assert falls.sum() > 50
    assert energy[falls] == pytest.approx(energy[0], rel=1e-6)


def test_thrust_normal_to_the_path_does_no_work():
    bare = replace(CRAFT, drag_area_front=0.0, drag_area_top=0.0, delay=0.0)
    path = fly_pull_out(bare, manoeuvre="pull_up", time_step=0.005, keep_path=True).paths[0]
    energy = 0.5 * path.speed**2 + G0 * path.height
    assert energy == pytest.approx(np.full(energy.shape, energy[0]), rel=1e-6)


def test_drag_only_takes_energy():
    path = fly_pull_out(CRAFT, manoeuvre="pull_up", keep_path=True).paths[0]
    energy = 0.5 * path.speed**2 + G0 * path.height
    assert np.all(np.diff(energy) < 1e-9)


@pytest.mark.parametrize("load", [1.3, 2.0, 5.0])
@pytest.mark.parametrize("terminal", [18.0, 40.0])
def test_pull_up_with_drag_is_the_stepped_one(load, terminal):
    # two independent ways: own closed form, and Runge-Kutta in the plane
    area = 2.0 * 0.62 * G0 / (1.17 * terminal**2)
    out = fly_pull_out(
        Dive(
            0.62,
            load * 0.62 * G0,
            area,
            area,
            1.17,
            speed=15.0,
            delay=0.0,
            steering_share=1.0,
            load_limit=99.0,
        ),
        time_step=0.005,
    )
    bottom, height, time = closed_forms.pull_up_with_drag(15.0, load, terminal_speed=terminal)
    assert (out.bottom_speed, out.pull_up_height, out.time) == pytest.approx((bottom, height, time), rel=1e-4)


def test_step_size_does_not_matter():
    fine = fly_pull_out(CRAFT, time_step=0.002)
    assert fly_pull_out(CRAFT, time_step=0.02).height_lost == pytest.approx(fine.height_lost, rel=1e-4)
    assert fly_pull_out(CRAFT).height_lost == pytest.approx(fine.height_lost, rel=1e-4)


@pytest.mark.parametrize("angle", [np.pi / 2, 1.0])
def test_arrest_loses_least_and_pull_up_most(angle):
    question = replace(CRAFT, dive_angle=angle, blend=np.linspace(0.0, 1.0, 7))
    mixed = fly_pull_out(question, manoeuvre="mixed").mixed_height
    both = fly_pull_out(question)
    assert mixed[0] == pytest.approx(both.pull_up_height[0], rel=1e-9)
    assert mixed[-1] == pytest.approx(both.arrest_height[-1], rel=1e-6)
    assert np.all(np.diff(mixed) < 0.0)
    assert np.all(both.height_lost == np.maximum(both.arrest_height, both.pull_up_height))


def test_the_way_asked_for_is_the_way_reported():
    for name, code in (("arrest", 0), ("pull_up", 1), ("mixed", 2)):
        out = fly_pull_out(CRAFT, manoeuvre=name)
        assert Manoeuvre(int(out.manoeuvre)) == code
        heights = [out.arrest_height, out.pull_up_height, out.mixed_height]
        assert out.height_lost == heights[code]
        assert np.isnan(heights[:code] + heights[code + 1 :]).all()


@pytest.mark.parametrize("answer", BOTH)
@settings(max_examples=examples(30), deadline=None)
@given(
    scale=st.floats(0.2, 5.0),
    load=st.floats(1.5, 9.0),
    drop=st.floats(2.0, 120.0),
    entry=st.sampled_from(["nose_down", "flat"]),
)
def test_only_ratios_to_the_weight_count(answer, scale, load, drop, entry):
    small = replace(CRAFT, max_thrust=load * 0.62 * G0, drop=drop, entry=entry)
    big = replace(
        small,
        **{
            name: scale * getattr(small, name)
            for name in ("mass", "max_thrust", "drag_area_front", "drag_area_top", "disc_area")
        },
    )
    a, b = answer(small), answer(big)
    assert a.status == b.status
    if a.status == Status.OK:
        assert a.height_lost == pytest.approx(b.height_lost, rel=1e-6)


@pytest.mark.parametrize("answer", BOTH)
def test_more_pull_less_drop_or_less_delay_loses_less(answer):
    pull = answer(replace(CRAFT, max_thrust=np.linspace(12.0, 35.0, 8))).height_lost
    drop = answer(replace(CRAFT, drop=np.linspace(5.0, 100.0, 8))).height_lost
    delay = answer(replace(CRAFT, delay=np.linspace(0.0, 1.0, 8))).height_lost
    assert np.all(np.diff(pull) < 0.0)
    assert np.all(np.diff(drop) > 0.0)
    assert np.all(np.diff(delay) > 0.0)


@pytest.mark.parametrize("answer", BOTH)
@pytest.mark.parametrize("entry", ["nose_down", "flat"])
def test_scalar_equals_array_element(answer, entry):
    drops, thrusts = np.array([[10.0], [60.0]]), np.array([5.0, 9.0, 20.0, 41.0])
    many = answer(replace(CRAFT, drop=drops, max_thrust=thrusts, entry=entry, height_at_command=12.0))
    for i, j in np.ndindex(2, 4):
        one = answer(replace(CRAFT, drop=drops[i, 0], max_thrust=thrusts[j], entry=entry, height_at_command=12.0))
        for field in fields(one):
            if field.name != "paths":
                value = getattr(one, field.name)
                assert np.ndim(value) == 0
                assert getattr(many, field.name)[i, j] == pytest.approx(value, rel=1e-12, nan_ok=True), field.name


@pytest.mark.parametrize("answer", BOTH)
def test_no_nan_without_a_status(answer):
    for entry in ("nose_down", "flat"):
        question = random_dives(entry=entry)
        out = answer(replace(question, max_thrust=question.max_thrust * 0.5))
        missing = np.isnan(out.height_lost)
        assert np.array_equal(missing, out.status == Status.NOT_ENOUGH_PULL)
        assert 0 < missing.sum() < missing.size
        for name in ("bottom_speed", "time", "peak_body_load"):
            assert np.array_equal(np.isnan(getattr(out, name)), missing)


@pytest.mark.parametrize("answer", BOTH)
def test_a_craft_that_pulls_no_more_than_its_weight_is_told(answer):
    weight = 0.62 * G0
    out = answer(replace(CRAFT, max_thrust=np.array([0.5, 1.0, 1.17, 1.3]) * weight))
    # 85 % of 1.17 is still below 1
    assert list(out.status) == [Status.NOT_ENOUGH_PULL] * 3 + [Status.OK]
    assert np.all(out.speed > 20.0)


@pytest.mark.parametrize("answer", BOTH)
def test_the_ground(answer):
    free = answer(CRAFT)
    need = free.height_lost
    out = answer(replace(CRAFT, height_at_command=np.array([need + 0.1, need - 0.1, 0.5 * need, 1.0])))
    assert list(out.status) == [Status.OK] + [Status.REACHES_THE_GROUND] * 3
    assert np.isnan(out.impact_speed[0])
    assert np.all(out.impact_speed[1:] > 20.0)
    assert out.height_lost == pytest.approx(need)


def test_speed_at_the_ground_by_energy():
    # 1 m below the command, still in the delay and without drag: v^2 = v0^2 + 2 g h
    bare = replace(CRAFT, drag_area_front=0.0, drag_area_top=0.0, drop=None, speed=20.0, height_at_command=1.0)
    assert fly_pull_out(bare).impact_speed == pytest.approx(np.sqrt(400.0 + 2.0 * G0), rel=1e-9)
    # and in the pull-up, where thrust does no work
    low = replace(bare, height_at_command=16.0, delay=0.0, load_limit=2.0)
    out = fly_pull_out(low, manoeuvre="pull_up")
    assert out.status == Status.REACHES_THE_GROUND
    assert out.impact_speed == pytest.approx(np.sqrt(400.0 + 32.0 * G0), rel=1e-5)


def test_what_binds_is_named():
    question = replace(CRAFT, load_limit=np.array([3.0, 9.0, 9.0]), pack_limited=[True, False, True])
    out = fly_pull_out(question)
    assert [stepped.binding_text(code) for code in out.binding_limit] == [
        "the hardest pull allowed",
        "the thrust of the motors",
        "the current the pack can give",
    ]
    assert out.peak_load == pytest.approx([3.0, 0.85 * 41.0 / (0.62 * G0), 0.85 * 41.0 / (0.62 * G0)])


def test_flat_drop_is_slower_and_meets_the_own_wash():
    flat = replace(CRAFT, entry="flat")
    assert fly_pull_out(flat).speed < 0.7 * fly_pull_out(CRAFT).speed
    washed = fly_pull_out(flat, manoeuvre="arrest").height_lost
    clean = fly_pull_out(replace(flat, wash_loss=0.0), manoeuvre="arrest").height_lost
    assert washed > 1.02 * clean
    # 1.4 times the weight less 15 % less a third is below the weight: it never stops sinking, pulling
    # sideways does
    weak = fly_pull_out(replace(flat, max_thrust=1.4 * 0.62 * G0, rotor_drag_coefficient=0.0, drag_area_top=0.005))
    assert weak.status == Status.NOT_ENOUGH_PULL
    assert np.isfinite(weak.pull_up_height)


def test_speed_or_drop_whichever_is_first():
    out = fly_pull_out(replace(CRAFT, speed=np.array([15.0, 99.0])))
    assert out.speed == pytest.approx([15.0, fly_pull_out(CRAFT).speed])
    assert out.fall_height[1] == pytest.approx(60.0, rel=1e-9)
    fast = fly_pull_out(replace(CRAFT, drop=None, speed=60.0))
    assert fast.speed == 60.0
    assert fast.fall_height == np.inf  # above its terminal speed: not by falling


def test_the_delay_in_its_parts():
    assert Delay().total == pytest.approx(0.5)
    parts = fly_pull_out(replace(CRAFT, delay=Delay(see=0.3, decide=0.2, rotate=0.15, spool=0.05)))
    assert parts.height_lost == pytest.approx(fly_pull_out(replace(CRAFT, delay=0.7)).height_lost)
    assert fly_pull_out(replace(CRAFT, delay=0.0)).height_lost_delay == 0.0


@pytest.mark.parametrize("angle", [np.pi / 2, 0.8])
def test_path_joins_the_numbers(angle):
    out = fly_pull_out(replace(CRAFT, dive_angle=angle, max_thrust=np.array([15.0, 41.0])), keep_path=True)
    assert [p.manoeuvre for p in out.paths] == [Manoeuvre.ARREST, Manoeuvre.PULL_UP]
    arrest, pull_up = out.paths
    assert pull_up.height[0] == pytest.approx([60.0, 60.0])
    assert pull_up.height[-1] == pytest.approx(-out.pull_up_height, rel=1e-9)
    assert arrest.height[-1] == pytest.approx(-out.arrest_height, rel=1e-9)
    assert pull_up.speed[-1] == pytest.approx(out.bottom_speed, rel=1e-9)
    assert np.all(np.diff(pull_up.time, axis=0) >= 0.0)
    assert np.all(np.diff(pull_up.height, axis=0) <= 1e-12)
    # the drawn path agrees with its own speed: arc length = integral of speed
    arc = np.hypot(np.diff(pull_up.forward, axis=0), np.diff(pull_up.height, axis=0)).sum(axis=0)
    assert np.trapezoid(pull_up.speed, pull_up.time, axis=0) == pytest.approx(arc, rel=2e-3)
    if angle == np.pi / 2:
        assert np.all(arrest.forward == 0.0)


def compare(**more):
    question = random_dives(**more)
    stepped, quick = fly_pull_out(question), estimate_pull_out(question)
    both = (stepped.status == Status.OK) & (quick.status == Status.OK)
    assert both.mean() > 0.85
    assert np.mean(stepped.status == quick.status) > 0.98
    return np.abs(quick.height_lost[both] / stepped.height_lost[both] - 1.0), stepped, quick, both


def test_estimate_of_a_vertical_dive():
    error, stepped, quick, both = compare()
    assert np.median(error) < 1e-6
    assert error.max() < 1e-3
    assert quick.time[both] == pytest.approx(stepped.time[both], rel=1e-3)
    assert quick.bottom_speed[both] == pytest.approx(stepped.bottom_speed[both], rel=1e-5)
    assert quick.peak_body_load[both] == pytest.approx(stepped.peak_body_load[both], rel=1e-5)


def test_estimate_of_a_slanted_dive():
    angle = np.random.default_rng(3).uniform(0.3, np.pi / 2, 400)
    error, *_ = compare(dive_angle=angle)
    assert np.median(error) < 0.02
    assert np.percentile(error, 90) < 0.06


def test_estimate_of_a_flat_drop():
    _, stepped, quick, both = compare(entry="flat")
    error = np.abs(quick.arrest_height[both] / stepped.arrest_height[both] - 1.0)
    assert np.median(error) < 0.01
    assert np.percentile(error, 90) < 0.03


def test_estimate_of_the_speed_at_the_ground():
    question = replace(random_dives(), height_at_command=15.0)
    stepped, quick = fly_pull_out(question), estimate_pull_out(question)
    hit = stepped.status == Status.REACHES_THE_GROUND
    assert hit.sum() > 100
    assert np.median(np.abs(quick.impact_speed[hit] / stepped.impact_speed[hit] - 1.0)) < 0.05


def test_closed_forms_meet_without_drag():
    speed, load = np.array([5.0, 20.0, 40.0]), np.array([[1.2], [3.0], [9.0]])
    bottom, height, _ = closed_forms.pull_up_with_drag(speed, load)
    free_bottom, free_height = closed_forms.free_pull_up(speed, load)
    assert bottom == pytest.approx(free_bottom, rel=1e-9)
    assert height == pytest.approx(free_height, rel=1e-6)
    nearly = closed_forms.arrest_height(speed, load, terminal_speed=1e6)
    assert nearly == pytest.approx(closed_forms.arrest_height(speed, load), rel=1e-6)
    assert closed_forms.fall_on(speed, 0.5, terminal_speed=1e6)[1] == pytest.approx(speed * 0.5 + G0 * 0.125, rel=1e-6)


def test_falling_on_in_two_parts_is_falling_on_in_one():
    for start in (0.0, 12.0, 45.0):  # below and above the terminal speed
        v1, h1 = closed_forms.fall_on(start, 0.4, terminal_speed=25.0)
        v2, h2 = closed_forms.fall_on(v1, 0.9, terminal_speed=25.0)
        assert (v2, h1 + h2) == pytest.approx(closed_forms.fall_on(start, 1.3, terminal_speed=25.0), rel=1e-12)


def test_loads_that_cannot_arrest_are_nan():
    for height in (
        closed_forms.arrest_height,
        closed_forms.circle_pull_up_height,
        closed_forms.held_speed_pull_up_height,
    ):
        assert np.isnan(height(20.0, np.array([0.5, 1.0]))).all()
    assert np.isnan(closed_forms.free_pull_up(20.0, 1.0)[1])
    assert np.isnan(closed_forms.pull_up_with_drag(20.0, 1.0)[1])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"mass": 0.0}, "mass must be > 0 kg, got 0 kg"),
        ({"drop": -3.0}, "drop must be between"),
        ({"drop": None}, r"drop \[m\] or speed \[m/s\] must be given"),
        ({"entry": "sideways"}, "entry 'sideways' is not known"),
        ({"entry": "flat", "disc_area": None}, "disc_area .* is needed for a flat drop"),
        ({"dive_angle": 2.0}, "dive_angle must be between 0.01 and 1.5708 rad, got 2 rad"),
        ({"max_thrust": np.nan}, "max_thrust must be a finite number"),
        ({"max_thrust": "a lot"}, "max_thrust must be a number, got 'a lot'"),
        ({"delay": -0.1}, "delay must be between 0 and 60 s"),
        ({"steering_share": 1.2}, "steering_share must be between 0 and 1"),
        ({"air_density": np.array([1.2, np.inf])}, "air_density must be a finite number"),
    ],
)
@pytest.mark.parametrize("answer", BOTH)
def test_nonsense_is_refused_in_words(answer, change, message):
    with pytest.raises(ValueError, match=message):
        answer(replace(CRAFT, **change))


def test_delay_parts_are_checked():
    with pytest.raises(ValueError, match="delay spool must be between 0 and 60 s, got -1 s"):
        Delay(spool=-1.0)


def test_terminal_speed_is_checked():
    with pytest.raises(ValueError, match="terminal_speed must be > 0 m/s, got 0 m/s"):
        closed_forms.fall_speed(10.0, terminal_speed=0.0)
