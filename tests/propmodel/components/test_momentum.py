"""Momentum theory: limits, conservation, scaling and messages that need no outside number."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from propmodel.components import momentum

DISC = {"disc_area": 0.0507, "air_density": 1.177}
thrusts = st.floats(1e-3, 1e3)
speeds = st.floats(0.0, 100.0)


@given(thrusts, speeds, speeds)
def test_tilted_disc_obeys_the_momentum_equation(thrust, axial, inplane):
    # T = 2 rho A v |flow through the disc|: the equation itself, not its solution.
    v = momentum.induced_velocity_edgewise(thrust, axial, inplane, **DISC)
    flow = np.hypot(inplane, axial + v)
    assert 2 * 1.177 * 0.0507 * v * flow == pytest.approx(thrust, rel=1e-12)
    assert momentum.inflow_of_climb(*(np.asarray(x) for x in (thrust, axial, inplane)), **DISC) == v


@given(thrusts, st.floats(-100.0, 0.0), st.floats(1.0, 5.0))
def test_sinking_fast_enough_sideways_obeys_it_too(thrust, axial, ratio):
    inplane = ratio * momentum.induced_velocity_hover(thrust, **DISC)
    v = momentum.induced_velocity_edgewise(thrust, axial, inplane, **DISC)
    flow = np.hypot(inplane, axial + v)
    assert 2 * 1.177 * 0.0507 * v * flow == pytest.approx(thrust, rel=1e-9)


@given(thrusts, st.floats(-60.0, 100.0))
def test_no_sideways_speed_is_the_axial_value(thrust, axial):
    along = momentum.induced_velocity_axial(thrust, axial, **DISC)
    assert momentum.induced_velocity_edgewise(thrust, axial, 0.0, **DISC) == pytest.approx(along, rel=1e-14)


@given(thrusts)
def test_rest_is_hover_in_every_function(thrust):
    hover = momentum.induced_velocity_hover(thrust, **DISC)
    assert momentum.induced_velocity_axial(thrust, 0.0, **DISC) == pytest.approx(hover, rel=1e-15)
    assert momentum.induced_velocity_edgewise(thrust, 0.0, 0.0, **DISC) == pytest.approx(hover, rel=1e-15)
    assert momentum.ideal_power(thrust, **DISC) == pytest.approx(thrust * hover, rel=1e-15)


@given(thrusts, speeds)
def test_climb_leaves_the_thrust_as_momentum(thrust, climb):
    # Mass flow times the far-wake speed, which is twice that at the disc.
    v = momentum.induced_velocity_axial(thrust, climb, **DISC)
    assert 1.177 * 0.0507 * (climb + v) * 2 * v == pytest.approx(thrust, rel=1e-12)


def test_windmill_leaves_the_thrust_as_momentum():
    thrust = 5.0
    sink = -np.linspace(2.0, 9.0, 30) * momentum.induced_velocity_hover(thrust, **DISC)
    v = momentum.induced_velocity_axial(thrust, sink, **DISC)
    np.testing.assert_allclose(-1.177 * 0.0507 * (sink + v) * 2 * v, thrust, rtol=1e-12)
    assert (momentum.ideal_power(thrust, sink, **DISC) < 0).all()


def test_hover_power_grows_with_thrust_to_three_halves():
    power = momentum.ideal_power(np.array([2.0, 8.0]), **DISC)
    assert power[1] / power[0] == pytest.approx(8.0, rel=1e-14)


def test_moving_sideways_never_costs_more_induced_power():
    speed = np.linspace(0.0, 40.0, 200)
    v = momentum.induced_velocity_edgewise(6.0, 0.0, speed, **DISC)
    assert (np.diff(v) < 0).all()
    # Far out the disc is a wing: v -> T / (2 rho A V).
    assert v[-1] == pytest.approx(6.0 / (2 * 1.177 * 0.0507 * 40.0), rel=0.01)


def test_no_step_where_level_flight_begins_to_sink():
    hover = momentum.induced_velocity_hover(6.0, **DISC)
    across = np.linspace(0.0, 3.0, 61) * hover
    level = momentum.induced_velocity_edgewise(6.0, 0.0, across, **DISC)
    sinking = momentum.induced_velocity_edgewise(6.0, -1e-9, across, **DISC)
    np.testing.assert_allclose(sinking, level, rtol=1e-8)


def test_no_step_where_glauert_takes_over_in_a_sink():
    hover = momentum.induced_velocity_hover(6.0, **DISC)
    sink = -np.linspace(0.01, 4.0, 80) * hover
    below = momentum.induced_velocity_edgewise(6.0, sink, hover * (1 - 1e-9), **DISC)
    above = momentum.induced_velocity_edgewise(6.0, sink, hover * (1 + 1e-9), **DISC)
    np.testing.assert_allclose(below, above, rtol=1e-7)


@given(thrusts, st.floats(-60.0, 60.0), speeds)
def test_negative_thrust_is_the_mirror_image(thrust, axial, inplane):
    forward = momentum.induced_velocity_edgewise(thrust, axial, inplane, **DISC)
    backward = momentum.induced_velocity_edgewise(-thrust, -axial, inplane, **DISC)
    assert backward == -forward


@given(st.floats(-80.0, 80.0), st.floats(-80.0, 80.0))
def test_no_thrust_moves_no_air(axial, inplane):
    assert momentum.induced_velocity_hover(0.0, **DISC) == 0
    assert momentum.induced_velocity_axial(0.0, axial, **DISC) == 0
    assert momentum.induced_velocity_edgewise(0.0, axial, inplane, **DISC) == 0
    assert momentum.ideal_power(0.0, axial, inplane_speed=inplane, **DISC) == 0


def test_scalar_equals_array_element_and_shapes_broadcast():
    thrust = np.array([[1.0], [4.0]])
    axial = np.array([-7.0, -1.0, 0.0, 3.0])
    grid = momentum.induced_velocity_edgewise(thrust, axial, 2.5, disc_area=0.03, air_density=1.1)
    assert grid.shape == (2, 4)
    for row, force in enumerate(thrust.ravel()):
        for column, speed in enumerate(axial):
            single = momentum.induced_velocity_edgewise(force, speed, 2.5, disc_area=0.03, air_density=1.1)
            assert isinstance(single, float)
            assert grid[row, column] == pytest.approx(single, rel=1e-14)


def test_nan_passes_and_hurts_nobody_else():
    thrust = np.array([3.0, np.nan])
    for result in (
        momentum.induced_velocity_hover(thrust, **DISC),
        momentum.induced_velocity_axial(thrust, -2.0, **DISC),
        momentum.induced_velocity_edgewise(thrust, -2.0, 1.0, **DISC),
        momentum.ideal_power(thrust, 2.0, **DISC),
    ):
        assert np.isfinite(result[0])
        assert np.isnan(result[1])


def test_figure_of_merit_of_the_ideal_disc_is_one():
    thrust = np.array([0.5, 7.0])
    power = momentum.ideal_power(thrust, **DISC)
    np.testing.assert_allclose(momentum.figure_of_merit(thrust, power, **DISC), 1.0, rtol=1e-15)
    np.testing.assert_allclose(momentum.figure_of_merit(thrust, 2 * power, **DISC), 0.5, rtol=1e-15)


def test_ground_effect_is_held_close_to_the_ground():
    factor = momentum.ground_effect_factor(np.array([0.001, 0.05, 0.1, 10.0]), rotor_radius=0.1)
    assert factor[0] == factor[1] == pytest.approx(4 / 3)  # z = R/2: 1/(1 - 1/4)
    assert (np.diff(factor[1:]) < 0).all()
    assert factor[-1] == pytest.approx(1.0, abs=1e-5)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: momentum.induced_velocity_hover(1.0, disc_area=0.0, air_density=1.2),
            r"disc_area must be > 0 m\^2, got 0 m\^2",
        ),
        (
            lambda: momentum.induced_velocity_axial(1.0, 2.0, disc_area=0.05, air_density=[1.2, -1.0]),
            r"air_density must be > 0 kg/m\^3, got -1 kg/m\^3 \(1 of 2 values, first at index 1\)",
        ),
        (
            lambda: momentum.induced_velocity_hover("much", disc_area=0.05, air_density=1.2),
            "thrust must be a number, got 'much'",
        ),
        (
            lambda: momentum.disc_loading(1.0, disc_area=float("inf")),
            "disc_area must be a finite number",
        ),
        (
            lambda: momentum.figure_of_merit(1.0, -5.0, disc_area=0.05, air_density=1.2),
            "shaft_power must be > 0 W, got -5 W",
        ),
        (
            lambda: momentum.ground_effect_factor(0.0, rotor_radius=0.1),
            "height must be > 0 m, got 0 m",
        ),
    ],
)
def test_nonsense_is_refused_in_words(call, message):
    with pytest.raises(ValueError, match=message):
        call()
