"""Fall, arrest and pull-up against closed results, and the wash band against published ranges.

The tables below were computed by arithmetic and confirmed by an independent integration (scipy, rtol
1e-10); they are printed to two or three digits, so the tolerance is one part in 1e-4 plus half of the last
digit.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from propmodel.base.constants import STANDARD_GRAVITY as G0
from propmodel.components.air import STANDARD
from propmodel.components.propeller import Propeller, prepare
from propmodel.components.propeller.advance import thrust_rise
from propmodel.dive import closed_forms, stepped
from propmodel.dive.question import inflow_missing

LOADS = np.array([1.5, 2.0, 3.0, 4.0])
V = 20.0  # m/s, start of every row; the dive is vertical

ARREST = [40.79, 20.39, 10.20, 6.80]  # v^2 / (2 g (n - 1))
CIRCLE = [81.58, 40.79, 20.39, 13.60]  # v^2 / (g (n - 1)), radius set at the bottom
HELD = [44.811, 28.273, 16.538, 11.734]  # (v^2 / g) ln(n / (n - 1)), constant load and speed
FREE = [163.15, 61.18, 25.49, 15.86]  # constant load, energy conserved
FREE_SPEED = [60.0, 40.0, 30.0, 26.67]
ARREST_DRAG = {30.0: [29.18, 16.87, 9.21], 20.0: [22.41, 14.14, 8.27]}  # terminal speed: loads 1.5, 2, 3
FALL = {20.0: [12.45, 19.12, 19.93], 30.0: [13.28, 24.44, 28.25]}  # after 10, 50, 100 m


def near(values, digits):
    return pytest.approx(values, rel=1e-4, abs=0.5 * 10.0**-digits)


def question(load, *, terminal=np.inf, mass=0.7, **more):
    area = 0.0 if terminal == np.inf else 2.0 * mass * G0 / (1.2 * terminal**2)
    settings = dict(delay=0.0, steering_share=1.0, load_limit=1e3) | more
    return stepped.Dive(
        mass=mass,
        max_thrust=load * mass * G0,
        drag_area_front=area,
        drag_area_top=area,
        air_density=1.2,
        **settings,
    )


def test_closed_forms():
    assert closed_forms.arrest_height(V, LOADS) == near(ARREST, 2)
    assert closed_forms.circle_pull_up_height(V, LOADS) == near(CIRCLE, 2)
    assert closed_forms.held_speed_pull_up_height(V, LOADS) == near(HELD, 3)
    bottom, height = closed_forms.free_pull_up(V, LOADS)
    assert bottom == near(FREE_SPEED, 2)
    assert height == near(FREE, 2)


@pytest.mark.parametrize("terminal", [20.0, 30.0])
def test_closed_forms_with_drag(terminal):
    assert closed_forms.arrest_height(V, LOADS[:3], terminal_speed=terminal) == near(ARREST_DRAG[terminal], 2)
    assert closed_forms.fall_speed([10.0, 50.0, 100.0], terminal_speed=terminal) == near(FALL[terminal], 2)


def test_fall_to_95_percent_of_terminal_speed():
    # 95 % of 20 m/s after 3.74 s and 47.5 m, of 30 m/s after 5.60 s and 106.8 m
    terminal = np.array([20.0, 30.0])
    assert closed_forms.fall_time(0.95 * terminal, terminal_speed=terminal) == near([3.74, 5.60], 2)
    assert closed_forms.fall_drop(0.95 * terminal, terminal_speed=terminal) == near([47.5, 106.8], 1)


def test_terminal_speed():
    # 1.5 kg on 0.02 and 0.0088 m2, 0.6 kg on 0.012 m2, sea level
    speed = closed_forms.terminal_speed([1.5, 1.5, 0.6], [0.02, 0.0088, 0.012], air_density=1.225)
    assert speed == near([34.65, 52.24, 28.29], 2)


def test_stepped_flight_meets_the_closed_results():
    out = stepped.fly_pull_out(question(LOADS, speed=V))
    assert out.arrest_height == pytest.approx(np.square(V) / (2 * G0 * (LOADS - 1)), rel=1e-6)
    assert out.arrest_height == near(ARREST, 2)
    assert out.pull_up_height == near(FREE, 2)
    assert out.bottom_speed == near(FREE_SPEED, 2)


@pytest.mark.parametrize("terminal", [20.0, 30.0])
def test_stepped_flight_meets_the_arrest_with_drag(terminal):
    out = stepped.fly_pull_out(question(LOADS[:3], terminal=terminal, speed=V), manoeuvre="arrest")
    assert out.height_lost == near(ARREST_DRAG[terminal], 2)


def test_stepped_fall_meets_the_fall_from_rest():
    # the delay is stepped: a fall of t(19 m/s) from rest with a terminal speed of 20 m/s ends at 19 m/s,
    # 47.5 m lower
    time = closed_forms.fall_time(19.0, terminal_speed=20.0)
    out = stepped.fly_pull_out(question(3.0, terminal=20.0, speed=0.0, delay=time), manoeuvre="arrest")
    assert out.height_lost_delay == near(47.5, 1)
    assert out.height_lost_delay == pytest.approx(closed_forms.fall_drop(19.0, terminal_speed=20.0), rel=1e-6)
    # felt at the start of the arrest: thrust 3 plus drag 0.95^2, in weights
    assert out.peak_body_load == pytest.approx(3.0 + 0.95**2, rel=1e-6)


def test_stop_from_a_dive_example():
    # worked example of the trade (drag ignored): 30 m/s, thrust 4 times weight, 0.15 s: 4.5 + 15.3 = 20 m;
    # thrust twice the weight: 50 m. There the speed is held during the delay, here it grows: 0.1 m more at
    # 0.15 s, and 3 % more in the arrest.
    simple = 30.0 * 0.15 + closed_forms.arrest_height(30.0, [4.0, 2.0])
    assert simple == pytest.approx([20.0, 50.0], abs=0.5)
    out = stepped.fly_pull_out(question(np.array([4.0, 2.0]), speed=30.0, delay=0.15), manoeuvre="arrest")
    assert np.all(out.height_lost > simple)
    assert out.height_lost == pytest.approx(simple, rel=0.1)


def test_pull_up_costs_more_than_the_arrest_that_is_often_quoted():
    # at load 4 from 30 m/s: 36 m against 15 m (arithmetic by the closed results above)
    out = stepped.fly_pull_out(question(4.0, speed=30.0))
    assert out.pull_up_height == pytest.approx(36.0, abs=0.5)
    assert out.arrest_height == pytest.approx(15.3, abs=0.05)
    assert out.height_lost == out.pull_up_height


def test_wash_band():
    # worst flow variation 0.4 to 1.4 of the hover induced velocity: Johnson, as reproduced by Hoffmann et
    # al. 2007; largest loss near 1.2 to 1.3, up to about one third: published work on dual rotors in axial
    # descent; escape at an in-plane speed of 2.75 times the descent rate: Talaeizadeh et al., arXiv
    # 1909.09069. (all second-hand)
    band = stepped.wash_band(1.0)
    assert [band.low, band.worst_low, band.worst_high, band.high] == pytest.approx([0.4, 1.2, 1.3, 1.4])
    factor = stepped.wash_thrust_factor([0.39, 1.2, 1.25, 1.3, 1.41], induced_velocity_hover=1.0)
    assert factor == pytest.approx([1.0, 2 / 3, 2 / 3, 2 / 3, 1.0])
    assert stepped.wash_thrust_factor(1.25, 2.75 * 1.25, induced_velocity_hover=1.0) == 1.0
    assert stepped.wash_thrust_factor(1.25, 2.70 * 1.25, induced_velocity_hover=1.0) < 1.0


def test_wash_of_a_five_inch_craft():
    # worked example: a 0.7 kg five-inch craft has 7.5 m/s of induced velocity in hover, so 3.8 m/s (230
    # m/min) of descent is inside the band of a large craft with 3 to 4 m/s (worst near 4 to 5), and above
    # the edge of this one's
    induced = np.sqrt(0.7 * G0 / (2 * 1.225 * 4 * np.pi / 4 * 0.127**2))
    assert induced == pytest.approx(7.5, abs=0.1)
    assert stepped.wash_band(induced).low == pytest.approx(3.0, abs=0.1)
    large = stepped.wash_band([3.0, 3.5, 4.0])
    assert np.all((large.low < 3.8) & (large.high > 3.8))


# --- inflow and thrust in the pull ---------------------------------------------------------------------------------


def test_inflow_missing_edgewise_and_in_descent():
    # Edgewise: Glauert's momentum theory, v_i^4 + V^2 v_i^2 = v_h^4 (from memory), by bisection. Descent: polynomial
    # through measured descents, Leishman, Principles of Helicopter Aerodynamics, section 2.13.4, read second-hand;
    # there the flow through the disc is climb speed and induced velocity together.
    for x in (0.3, 1.0, 1.35, 2.0, 6.0):
        edgewise = brentq(lambda v, x=x: v**4 + x**2 * v**2 - 1.0, 0.0, 1.0)
        assert inflow_missing(x) == pytest.approx(1.0 - edgewise, abs=1e-9)
    for x in (0.5, 0.8, 1.0, 1.2, 1.35, 1.5):
        down = -x
        through = down + 1.0 - 1.125 * down - 1.372 * down**2 - 1.718 * down**3 - 0.655 * down**4
        assert inflow_missing(x) == pytest.approx(1.0 - through, abs=0.075)
    assert inflow_missing(1e9) == pytest.approx(1.0, abs=1e-5)


@pytest.mark.parametrize("advance", [0.05, 0.10, 0.14, 0.20])
def test_thrust_that_an_unstalled_blade_gains_edgewise(advance):
    # Blade element theory with uniform inflow, rotor convention (Leishman, chapters 3 and 5, from memory):
    # C_T = sigma a/2 [theta/3 (1 + 3/2 mu^2) - lambda/2], lambda = C_T/(2 sqrt(mu^2 + lambda^2)). Same rotor as in
    # test_flight_published: sigma 0.19, a 5.5, C_T 0.173 at rest (propeller convention). The rise is what lies between
    # a blade that stalls at rest and one that does not (w from 0 to 1); it was not fitted to blade elements.
    solidity, lift_slope, at_rest = 0.19, 5.5, 0.173 * 4.0 / np.pi**3
    hover = np.sqrt(0.5 * at_rest)
    theta = 3.0 * (2.0 * at_rest / (solidity * lift_slope) + 0.5 * hover)

    def lack(c_t):
        inflow = brentq(lambda v: v - c_t / (2.0 * np.hypot(advance, v)), 1e-9, 1.0)
        return 0.5 * solidity * lift_slope * (theta / 3.0 * (1.0 + 1.5 * advance**2) - 0.5 * inflow) - c_t

    gain = brentq(lack, 0.5 * at_rest, 4.0 * at_rest) / at_rest - 1.0
    label = Propeller(diameter=0.12954, pitch=0.10922, blades=3)
    ready = prepare(label, STANDARD)
    both = [
        thrust_rise(
            replace(label, unstalled_offset=offset),
            0.173,
            bulge_slope=ready.shape_c_t[0],
            zero_thrust=ready.zero_thrust_advance_ratio,
        )
        for offset in (-0.5, 0.5)
    ]
    assert (both[1] - both[0]) * inflow_missing(advance / hover) == pytest.approx(gain, rel=0.2)
