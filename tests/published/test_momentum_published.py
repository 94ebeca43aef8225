"""Momentum theory against worked examples, closed forms and another open code; source beside each."""

import numpy as np
import pytest
from scipy.optimize import brentq

from propmodel.components import momentum

GRAVITY = 9.80665
SEA_LEVEL = 1.225
POUND_FORCE, FOOT, HORSEPOWER, SLUG_PER_CUBIC_FOOT = 4.4482216152605, 0.3048, 745.69987, 515.378819

# One newton of thrust per 2 rho A: v_h = 1 m/s, so that speeds are ratios to v_h.
UNIT = {"disc_area": 0.05, "air_density": 1.2}
UNIT_THRUST = 2.0 * 1.2 * 0.05


def test_hover_power_of_a_helicopter():
    # S. Kumar, HeliAeroNotes (TU Munich), Lectures/3_Hover/4_Performance: 1500 kg, 11 m: "about 116 kW".
    # Three digits and "about": 1 %.
    power = momentum.ideal_power(1500 * GRAVITY, disc_area=np.pi / 4 * 11.0**2, air_density=SEA_LEVEL)
    assert power == pytest.approx(116e3, rel=0.01)


def test_far_wake_speed_of_a_heavy_helicopter():
    # Same notes, Lectures/1_MT: 40,000 kg: w = 2 v_h = 37.6 m/s; diameter 24 m from memory. 0.3 %.
    v_h = momentum.induced_velocity_hover(40000 * GRAVITY, disc_area=np.pi / 4 * 24.0**2, air_density=SEA_LEVEL)
    assert 2 * v_h == pytest.approx(37.6, rel=0.003)


def test_climb_speed_of_a_textbook_helicopter():
    # Houghton & Carpenter, Aerodynamics for Engineering Students, propeller chapter (problem read on a
    # tutoring site, answer from memory): 600 kW, rotor 16 m, 170 N/m2, 53 % of the power goes into T (V + v);
    # the book's answer is a climb of 110 m/min. Two digits: 1 %.
    area = np.pi / 4 * 16.0**2
    thrust = 170.0 * area

    def left_over(speed):
        return momentum.ideal_power(thrust, speed, disc_area=area, air_density=SEA_LEVEL) - 0.53 * 600e3

    assert 60 * brentq(left_over, 0.0, 20.0) == pytest.approx(110.0, rel=0.01)


def test_tiltrotor_hover():
    # Leishman, Principles of Helicopter Aerodynamics, chapter 2 worked example (statement from memory):
    # 22,500 lbf on 38 ft, rho 0.002378 slug/ft3, FM 0.75: 64.59 ft/s, 2642 hp ideal, 3523 hp at the shaft.
    disc = {"disc_area": np.pi / 4 * (38 * FOOT) ** 2, "air_density": 0.002378 * SLUG_PER_CUBIC_FOOT}
    thrust = 22500 * POUND_FORCE
    assert momentum.induced_velocity_hover(thrust, **disc) / FOOT == pytest.approx(64.59, rel=0.002)
    assert momentum.ideal_power(thrust, **disc) / HORSEPOWER == pytest.approx(2642, rel=0.002)
    assert momentum.figure_of_merit(thrust, 3523 * HORSEPOWER, **disc) == pytest.approx(0.75, rel=0.002)


def test_disc_loading_of_a_textbook_helicopter():
    # Prouty's example helicopter (inputs quoted on a Q&A page): 20,000 lb, R = 30 ft: 7.074 lb/ft2.
    loading = momentum.disc_loading(20000 * POUND_FORCE, disc_area=np.pi * (30 * FOOT) ** 2)
    assert loading / (POUND_FORCE / FOOT**2) == pytest.approx(7.074, rel=2e-4)


# v_i/v_h = -x/2 + sqrt(x^2/4 + 1): NACA TN 2474 eq. 15 (the golden ratio's inverse at x = 1).
@pytest.mark.parametrize(
    ("x", "ratio", "power"),
    [(0.5, 0.780776, 1.280776), (1.0, 0.618034, 1.618034), (2.0, 0.414214, 2.414214)],
)
def test_climb(x, ratio, power):
    assert momentum.induced_velocity_axial(UNIT_THRUST, x, **UNIT) == pytest.approx(ratio, abs=1e-6)
    assert momentum.ideal_power(UNIT_THRUST, x, **UNIT) / UNIT_THRUST == pytest.approx(power, abs=1e-6)


# Windmill brake, v_i/v_h = -x/2 - sqrt(x^2/4 - 1): Leishman 2nd ed. section 2.13.4 (quoted second-hand).
@pytest.mark.parametrize(("x", "ratio", "power"), [(-2.0, 1.0, -1.0), (-2.5, 0.5, -2.0), (-3.0, 0.381966, -2.618034)])
def test_windmill_brake(x, ratio, power):
    assert momentum.induced_velocity_axial(UNIT_THRUST, x, **UNIT) == pytest.approx(ratio, abs=1e-6)
    assert momentum.ideal_power(UNIT_THRUST, x, **UNIT) / UNIT_THRUST == pytest.approx(power, abs=1e-6)


# Descent in the own wash, values of the fit to Castles & Gray and Washizu: Leishman section 2.13.4
# (coefficients quoted second-hand), four digits. -1.999999 stands for the end of the fit at x = -2.
@pytest.mark.parametrize(
    ("x", "ratio"), [(-0.5, 1.3933), (-1.0, 1.816), (-1.5, 2.0828), (-1.999999, 1.026), (-1.449, 2.0887)]
)
def test_descent_in_the_own_wash(x, ratio):
    assert momentum.induced_velocity_axial(UNIT_THRUST, x, **UNIT) == pytest.approx(ratio, abs=1e-3)


def test_descent_peak_and_ideal_autorotation():
    # Same fit: highest at x = -1.449; no power needed at x = -1.777.
    x = np.linspace(-1.999, -0.001, 20001)
    v = momentum.induced_velocity_axial(UNIT_THRUST, x, **UNIT)
    assert x[np.argmax(v)] == pytest.approx(-1.449, abs=1e-3)
    assert x[np.argmin(np.abs(x + v))] == pytest.approx(-1.777, abs=1e-3)


# Level disc (Glauert): v_i/v_h = sqrt(-m^2/2 + sqrt(m^4/4 + 1)), by hand.
@pytest.mark.parametrize(("m", "ratio"), [(0.5, 0.939565), (1.0, 0.786151), (2.0, 0.485868), (3.0, 0.331319)])
def test_level_disc(m, ratio):
    assert momentum.induced_velocity_edgewise(UNIT_THRUST, 0.0, m, **UNIT) == pytest.approx(ratio, abs=1e-6)


# Tilted disc, v_i = v_h^2 / sqrt((V cos a)^2 + (V sin a + v_i)^2), solved outside with scipy's brentq:
# m = V/v_h, a [degrees], v_i/v_h, P/P_h.
@pytest.mark.parametrize(
    ("m", "tilt", "ratio", "power"),
    [
        (1, 10, 0.743200, 0.916848),
        (2, 10, 0.469025, 0.816322),
        (2, 20, 0.455035, 1.139076),
        (3, 30, 0.315502, 1.815502),
    ],
)
def test_tilted_disc(m, tilt, ratio, power):
    along, across = m * np.sin(np.radians(tilt)), m * np.cos(np.radians(tilt))
    got = momentum.induced_velocity_edgewise(UNIT_THRUST, along, across, **UNIT)
    assert got == pytest.approx(ratio, abs=1e-6)
    watts = momentum.ideal_power(UNIT_THRUST, along, inplane_speed=across, **UNIT)
    assert watts / UNIT_THRUST == pytest.approx(power, abs=2e-6)


# Ideal power along the axis from an independent open aircraft-design code (its source cites the MIT Unified
# Engineering notes, node 86): 3 N, 0.254 m, sea level; V [m/s], P [W].
@pytest.mark.parametrize(("speed", "watts"), [(0.0, 14.7476), (5.0, 24.0451), (10.0, 36.0355)])
def test_axial_power_of_another_code(speed, watts):
    got = momentum.ideal_power(3.0, speed, disc_area=np.pi / 4 * 0.254**2, air_density=SEA_LEVEL)
    assert got == pytest.approx(watts, rel=3e-6)


def test_ground_effect_fades_with_height():
    # Cheeseman & Bennett 1955 in the form of Sanchez-Cuevas et al. 2017 (quoted second-hand): gone by
    # z/R = 4. 1/(1 - (1/4)^2) = 16/15 at z = R.
    assert momentum.ground_effect_factor(0.1, rotor_radius=0.1) == pytest.approx(16 / 15, rel=1e-12)
    assert momentum.ground_effect_factor(0.4, rotor_radius=0.1) < 1.005
