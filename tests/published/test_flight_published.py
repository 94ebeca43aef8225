"""Flight against the outside: momentum theory of a tilted disc through the trim, and what such craft do in practice.

Momentum theory: Glauert's inflow, v_i = v_h^2 / sqrt((V cos a)^2 + (V sin a + v_i)^2) (Leishman, Principles of
Helicopter Aerodynamics, chapter 2; also in the helicopter course notes of TU Munich and TU Delft). The values beside
each case were computed with scipy's brentq from that equation alone, outside this project.
Practice: ranges for craft of these sizes are common practice, from memory; no open table of them was found.
"""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.optimize import least_squares

import propmodel
from propmodel.assembly.build_record import from_record
from propmodel.assess.assessment import Assessment
from propmodel.base import tables
from propmodel.components.controller import throttle_from_duty
from propmodel.components.inplane import INPLANE_FADE, INPLANE_GAIN, inplane_force
from propmodel.components.propeller import Propeller
from propmodel.components.propeller import prepare as prepare_propeller
from propmodel.components.propeller.advance import unstalled_sd
from propmodel.flight.endurance import WAYS_OF_FLYING, Profile
from propmodel.flight.trim import Airframe, profile_split, trim
from propmodel.powertrain.operating_point import at_speed
from propmodel.powertrain.prepared import prepare
from propmodel.studies.spread import draw

DENSITY, WEIGHT = 1.225, 8.0


@dataclass(frozen=True)
class IdealDisc:
    """A propeller that is nothing but momentum theory: shaft power is thrust times the flow through the disc.

    The tips are so fast (C_T tiny) that the blades' own drag in the plane of the disc vanishes. Of the shaft power the
    trim takes 97 % at most for momentum; the rest is there so that all of the ideal power finds room.
    """

    c_t: float = 1e-7
    inplane_factor = 0.0
    zero_thrust_advance_ratio = np.inf

    def static_c_t(self, n):
        return self.static(n)[0]

    def static(self, n):
        return self.at(np.zeros_like(n), n)

    def thrust_with_slope(self, advance_ratio, n):
        c_t, _ = self.at(advance_ratio, n)
        return c_t, np.zeros_like(c_t)

    def at(self, advance_ratio, n):
        j = np.asarray(advance_ratio, dtype=float)
        # axial momentum theory in propeller coefficients: v/(nD) = -J/2 + sqrt(J^2/4 + 2 C_T/pi)
        flow = 0.5 * j + np.sqrt(0.25 * j * j + 2.0 * self.c_t / np.pi)
        return np.full_like(j, self.c_t), self.c_t * flow / 0.97


def flown(speed_ratio, tilt):
    """Trim an ideal craft whose drag gives this tilt; induced velocity and power over those of a hover."""
    d = replace(
        prepare(propmodel.demo("scree")), prop=IdealDisc(), density=np.asarray(DENSITY), thrust_share=np.ones(())
    )
    # flat on its plate or edge on alike: tan(tilt) = drag / weight, thrust = weight / cos(tilt)
    thrust = WEIGHT / np.cos(tilt) / d.rotors
    v_h = np.sqrt(thrust / (2.0 * DENSITY * d.disc_area))
    speed = speed_ratio * v_h
    area = WEIGHT * np.tan(tilt) / (0.5 * DENSITY * speed**2)
    frame = Airframe(weight=np.asarray(WEIGHT), front=area, top=area)
    state, _ = trim(d, frame, speed, passes=200)
    n = state.rev_per_s
    _, c_p = d.prop.at(state.axial_speed / (n * d.diameter), n)
    kappa, _, profile = profile_split(d, n, state.thrust, state.axial_speed, c_p)
    assert kappa == pytest.approx(1.0, rel=1e-9)
    assert np.arctan(state.tangent) == pytest.approx(tilt, abs=1e-7)
    momentum_power = state.shaft_power - profile
    induced = momentum_power / state.thrust - state.axial_speed
    return induced / v_h, momentum_power / (state.thrust * v_h)


# Level disc: v_i/v_h = sqrt(-m^2/2 + sqrt(m^4/4 + 1)), m = V/v_h; at m = 1 its square is 0.618034.
@pytest.mark.parametrize(("m", "ratio"), [(0.5, 0.939565), (1, 0.786151), (2, 0.485868), (3, 0.331319)])
def test_a_level_ideal_disc(m, ratio):
    induced, _ = flown(m, 0.0)
    assert induced == pytest.approx(ratio, abs=1e-6)


# Tilted disc, angle in degrees: v_i/v_h and ideal P/P_h = m sin a + v_i/v_h.
@pytest.mark.parametrize(
    ("m", "degrees", "ratio", "power"),
    [
        (1, 10, 0.743200, 0.916848),
        (2, 10, 0.469025, 0.816322),
        (2, 20, 0.455035, 1.139076),
        (3, 30, 0.315502, 1.815502),
    ],
)
def test_a_tilted_ideal_disc(m, degrees, ratio, power):
    induced, total = flown(m, np.radians(degrees))
    assert induced == pytest.approx(ratio, abs=1e-6)
    assert total == pytest.approx(power, abs=1e-6)


# --- measured -----------------------------------------------------------------------------------------------------

# H/(T mu) of a 6-inch rotor edgewise in a wind tunnel: J. Bannwarth, PhD thesis, University of Auckland 2022,
# github.com/JBannwarth/multirotor_model. k and c are fitted to these rows: this checks that the form holds them.
TUNNEL = [(0.02, 1.833), (0.05, 1.667), (0.075, 1.467), (0.10, 1.290), (0.15, 1.024), (0.20, 0.844), (0.30, 0.622)]


@pytest.mark.parametrize(("mu", "ratio"), TUNNEL)
def test_the_in_plane_force_of_the_tunnel(mu, ratio):
    assert inplane_force(1.0, mu) / mu == pytest.approx(ratio, rel=0.08)


def test_k_and_c_are_those_of_the_tunnel():
    rows = tables.read_table("flight", "inplane.csv").to_numpy()
    mu, measured, fitted = rows[:, 0], rows[:, 1], rows[:, 2]

    def lack(p):
        return np.log(p[0] / (1.0 + p[1] * mu) / measured)

    k, c = least_squares(lack, (2.0, 8.0)).x
    assert (pytest.approx(k, rel=1e-3), pytest.approx(c, rel=1e-3)) == (INPLANE_GAIN, INPLANE_FADE)
    np.testing.assert_allclose(inplane_force(1.0, mu) / mu, fitted, atol=1e-3)


# The same source: frame of a 500 mm octocopter, force over rho/2 V^2 along and across its plate against the tilt,
# 0.0473 m^2 edge on and 0.1315 m^2 broadside. Not fitted: the trim takes front x cos and top x sin.
@pytest.mark.parametrize(
    ("degrees", "along", "across"),
    [(20, 0.0516, 0.0533), (30, 0.0504, 0.0721), (40, 0.0445, 0.0891), (50, 0.0373, 0.1037), (60, 0.0315, 0.1156)],
)
def test_the_force_on_a_tilted_plate(degrees, along, across):
    sine, cosine = np.sin(np.radians(degrees)), np.cos(np.radians(degrees))
    drag, down = along * cosine + across * sine, across * cosine - along * sine
    assert 0.0473 * cosine**2 + 0.1315 * sine**2 == pytest.approx(drag, rel=0.15)
    assert (0.1315 - 0.0473) * sine * cosine == pytest.approx(down, rel=0.20)


# Blade element theory with uniform inflow and no stall, rotor convention (Leishman, Principles of Helicopter
# Aerodynamics, chapter 3): C_T = sigma a/2 (theta/3 - lambda/2). With sigma 0.19, a 5.5 and C_T 0.173 (propeller
# convention) at rest: d ln C_T/dJ = -1.1, against about 0 in the tunnel fit of steep blades that stall at rest; two
# flown craft were identified at -1.3 to -1.6, body drag from above among it.
def test_the_slope_of_thrust_lies_between_tunnel_and_unstalled_blade():
    solidity, lift_slope = 0.19, 5.5
    at_rest = 0.173 * 4.0 / np.pi**3
    inflow = np.sqrt(0.5 * at_rest)
    q = solidity * lift_slope / 4.0
    unstalled = -0.5 * q / (1.0 + q / (4.0 * inflow)) / np.pi / at_rest
    assert unstalled == pytest.approx(-1.14, abs=0.02)

    def slope(offset):
        label = Propeller(diameter=0.12954, pitch=0.10922, blades=3, unstalled_offset=offset)
        ready = prepare_propeller(label, propmodel.air.STANDARD)
        return float(ready.thrust_with_slope(0.0, 450.0)[1] / ready.static_c_t(450.0))

    middle, far = slope(0.0), slope(1.2816 * float(unstalled_sd(Propeller(0.12954, 0.10922, 3))))
    assert far < middle < slope(-0.5) + 1e-9 and slope(-0.5) == pytest.approx(0.0, abs=0.15)
    assert far == pytest.approx(unstalled, rel=0.1)
    assert middle == pytest.approx(0.5 * unstalled, rel=0.15)


# In-plane drag identified in flight, forward and sideways, as tilt of level flight; linear laws, good to some 12 m/s.
# github.com/tudelft/optimal_quad_control_RL, arXiv 2504.21586: 5-inch three-blades, mass taken as 0.60 kg.
# arXiv 2304.13460: 0.40 kg, 6-inch three-blades. Whole craft: body drag is in it, so default drag areas are tried too.
FLOWN = [
    (0.60, 5.0, 4.3, 5.0, 5.6, 8.4),
    (0.60, 5.0, 4.3, 10.0, 11.1, 16.4),
    (0.40, 6.0, 3.0, 5.0, 9.4, 8.4),
    (0.40, 6.0, 3.0, 10.0, 18.3, 16.4),
]


@pytest.mark.parametrize(("mass", "diameter", "pitch", "speed", "forward", "sideways"), FLOWN)
def test_the_tilt_of_flown_craft(mass, diameter, pitch, speed, forward, sideways):
    build = flown_craft(mass, diameter, pitch)
    tilt = np.degrees(float(propmodel.level_flight(build, speed).tilt))
    assert tilt == pytest.approx(0.5 * (forward + sideways), rel=0.25)
    many = np.degrees(propmodel.level_flight(draw(build, draws=256).build, speed).tilt)
    low, high = np.quantile(many, (0.1, 0.9))
    assert low < forward < high and low < sideways < high


def flown_craft(mass, diameter, pitch):
    base = propmodel.with_fields(
        propmodel.demo("tarn"),
        {"propeller.diameter": diameter * 0.0254, "propeller.pitch": pitch * 0.0254, "propeller.blades": 3},
    )
    frame = float(base.craft.frame_mass) + mass - float(base.mass)
    craft = replace(base.craft, frame_mass=frame, drag_area_front=None, drag_area_top=None)
    return replace(base, craft=craft, air=propmodel.air.STANDARD)


# --- practice -----------------------------------------------------------------------------------------------------

KMH = 1.0 / 3.6

# Common practice, from memory: craft, figure, low, high, in the units people say.
BELOW = pytest.mark.xfail(strict=True, reason="the forecast lies below the recalled range: 7.5 min, 135 km/h")
PRACTICE = [
    pytest.param("scree", "hover minutes", 8.0, 11.0, marks=BELOW),
    pytest.param("scree", "top km/h", 140.0, 170.0, marks=BELOW),
    ("scree", "hover command %", 20.0, 32.0),
    ("scree", "pull over weight", 5.0, 11.0),
    ("scree", "race minutes, pack at 22 C", 1.5, 4.0),
    ("scree", "race minutes, pack at 40 C", 1.5, 4.0),
    ("tarn", "hover minutes", 5.0, 10.0),
    ("tarn", "top km/h", 90.0, 150.0),
    ("moor", "hover minutes", 15.0, 28.0),
    ("moor", "pull over weight", 2.0, 5.0),
    ("fell", "hover minutes", 14.0, 25.0),
    ("fell", "pull over weight", 3.0, 6.5),
    ("fell", "hover command %", 28.0, 50.0),
]


def warmed(build):
    return propmodel.with_fields(build, {"pack.temperature": 313.15})


def figure(build, what):
    found = propmodel.performance(build)
    return float(
        {
            "hover minutes": lambda: propmodel.flight_time(build, Profile()).time / 60.0,
            "race minutes, pack at 22 C": lambda: propmodel.flight_time(build, WAYS_OF_FLYING["race"]).time / 60.0,
            "race minutes, pack at 40 C": lambda: (
                propmodel.flight_time(warmed(build), WAYS_OF_FLYING["race"]).time / 60.0
            ),
            "top km/h": lambda: propmodel.top_speed(build).speed / KMH,
            "hover command %": lambda: 100.0 * Assessment(build).hover_command,
            "pull over weight": lambda: found.thrust_to_weight,
        }[what]()
    )


@pytest.mark.parametrize(("name", "what", "low", "high"), PRACTICE)
def test_demo_craft_are_believable(name, what, low, high):
    assert low <= figure(propmodel.demo(name), what) <= high


def test_mountain_air_costs_what_the_density_says():
    # Student scripts and arithmetic: at 1,630 m the density is 1.044 instead of 1.225 kg/m^3; the same rotational
    # speed gives 85 % of the thrust, hover needs 8 % more speed and about 8 % more power.
    low = replace(propmodel.demo("scree"), air=propmodel.atmosphere(0.0))
    high = replace(low, air=propmodel.atmosphere(1630.0))
    assert high.air.density == pytest.approx(1.044, abs=0.002)
    d_low, d_high = prepare(low, 1.0), prepare(high, 1.0)
    assert at_speed(d_high, 200.0).thrust / at_speed(d_low, 200.0).thrust == pytest.approx(0.85, abs=0.02)
    before, after = propmodel.performance(low), propmodel.performance(high)
    assert after.hover_rev_per_s / before.hover_rev_per_s == pytest.approx(1.08, abs=0.02)
    assert after.hover_power / before.hover_power == pytest.approx(1.08, abs=0.03)


# --- hover throttle against mass ----------------------------------------------------------------------------------

# Autopilot throttle (0 at the least, 1 at the most the motors get) that hovered one craft at its lightest and its
# heaviest: kg, throttle, kg, throttle. CTU Prague MRS, github.com/ctu-mrs/uav_core, miscellaneous/thrust_constants
# (BSD-3). Pack voltage not stated: only the exponent within a craft is used. Craft whose mass changed by less than
# 15 % are left out.
HOVERED = {
    "b250": (0.825, 0.169, 1.185, 0.252),
    "dit2": (23.0, 0.5, 32.2, 0.7),
    "eagle": (6.664, 0.385, 10.904, 0.5),
    "eaglemk2": (11.6, 0.34, 17.4, 0.5),
    "f330": (1.466, 0.57, 2.19, 0.8),
    "f450": (1.985, 0.6, 2.567, 0.78),
    "f450 other parts": (1.84, 0.49, 3.0, 0.695),
    "f450 new": (1.935, 0.383, 2.503, 0.533),
    "f450 ready": (2.08, 0.59, 2.63, 0.72),
    "f450 tall": (2.909, 0.577, 4.155, 0.725),
    "f450 tii": (2.1, 0.48, 3.01, 0.68),
    "f450 small": (2.558, 0.55, 3.671, 0.72),
    "f550": (2.36, 0.5, 3.338, 0.64),
    "f550 new": (2.17, 0.415, 3.19, 0.57),
    "f550 heavy": (3.485, 0.62, 4.63, 0.77),
    "naki": (3.446, 0.38, 5.181, 0.545),
    "naki 2": (5.45, 0.396, 8.95, 0.558),
    "t18": (7.3, 0.354839, 16.05, 0.652981),
    "t650": (3.6, 0.515, 4.78, 0.66),
}
# A craft like most of these: 10-inch two-blades on 2212 motors of 920 rpm/V, four cells (common practice, from memory).
CAMERA_CRAFT = {
    "frame_g": 900, "kv": 920, "stator_d_mm": 22, "stator_h_mm": 12, "diameter_in": 9.4, "pitch_in": 4.5, "blades": 2,
    "cells": 4, "capacity_mah": 6750, "pack_g": 700, "frame_propeller_in": 10,
}  # fmt: skip


def hover_exponent(build):
    """d ln throttle / d ln mass, from the craft itself to 1.45 times its mass."""
    payload = np.asarray(build.craft.payload_mass) + np.array([0.0, 0.45]) * float(build.mass)
    both = propmodel.with_fields(build, {"craft.payload_mass": payload})
    # 0 at the least the motors get: throttle above idle
    throttle = throttle_from_duty(both.controller, Assessment(both).hover.duty, command_cap=both.command_cap)
    return float(np.diff(np.log(throttle))[0] / np.diff(np.log(both.mass))[0])


def test_hover_throttle_grows_with_mass_as_flown():
    measured = [np.log(b / a) / np.log(heavy / light) for light, a, heavy, b in HOVERED.values()]
    low, high = np.quantile(measured, [0.25, 0.75])
    ours = {"camera craft": hover_exponent(from_record(CAMERA_CRAFT))}
    ours |= {name: hover_exponent(propmodel.demo(name)) for name in ("scree", "moor", "fell")}
    # every craft of ours inside the middle half of the flown ones, and their middle within a tenth of theirs
    for name, exponent in ours.items():
        assert low <= exponent <= high, (name, exponent, low, high)
    assert np.median(list(ours.values())) == pytest.approx(np.median(measured), rel=0.1)


def test_flown_hovers_are_those_of_the_raw_table(shared_data):
    raw = np.genfromtxt(shared_data / "flight" / "hover_throttle_against_mass.csv", delimiter=",", skip_header=1)[:, 2:]
    for light, a, heavy, b in HOVERED.values():
        for row in ((light, a), (heavy, b)):
            assert np.isclose(raw, row, rtol=2e-4).all(axis=1).any(), row
