"""Worked examples of thrust, current, voltage drop, speed, dive and vortex ring state. Pure functions."""

from __future__ import annotations

import math

import numpy as np

from explorer.app_pages.why.derivations.derivation import Derivation, if_it_hovers, short
from propmodel.assembly.build import Build, drag_areas
from propmodel.assess.assessment import Assessment
from propmodel.base.arrays import number
from propmodel.base.constants import STANDARD_GRAVITY as G
from propmodel.base.units import KMH
from propmodel.dive import closed_forms
from propmodel.dive.pull_out import pull_out
from propmodel.flight.best_speeds import best_speeds
from propmodel.flight.level import level_flight
from propmodel.flight.top_speed import top_speed

__all__ = [
    "bucket_working",
    "dive_working",
    "full_current_working",
    "sag_working",
    "thrust_working",
    "top_working",
    "wash_working",
]


def thrust_working(b: Build) -> Derivation:
    """Return the worked example of the thrust at full throttle."""
    a = Assessment(b)
    d, p = a.fresh_burst, a.full_throttle
    n = number(p.rev_per_s)
    c_t = number(d.prop.static(p.rev_per_s)[0])
    k, rho, size, rotors = (
        number(d.thrust_share),
        number(d.density),
        number(d.diameter),
        number(b.rotors),
    )
    thrust = k * rho * c_t * n * n * size**4
    got = rotors * thrust / number(b.weight)
    return Derivation(
        [
            (
                "Speed flat out",
                f"the pack sags to {short(number(p.bus_voltage))} V; there motor and propeller agree at {60 * n:,.0f} rpm",
                "Torque of the motor = torque of the propeller, bus voltage from the pack's resistance.",
            ),
            (
                "Thrust of one rotor",
                f"T = k rho C_T n^2 D^4 = {short(k, 2)} x {short(rho, 4)} x {short(c_t)} x {short(n)}^2 x {short(size, 4)}^4 = "
                f"{short(thrust)} N = {thrust / G * 1000:.0f} g",
                "Definition of C_T; its value from the fit to wind-tunnel and stand tables.",
            ),
            (
                "Thrust to weight",
                f"{rotors:.0f} x {short(thrust)} N / {short(number(b.weight))} N = {got:.1f}",
                "Fresh pack, first ten seconds.",
            ),
        ],
        got,
        number(a.thrust_to_weight),
    )


def full_current_working(b: Build) -> Derivation:
    """Return the worked example of the current at full throttle."""
    a = Assessment(b)
    d, p = a.fresh_burst, a.full_throttle
    torque, iron, k_t = (
        number(p.torque),
        number(d.iron_slope) * number(p.rev_per_s),
        number(d.torque_constant),
    )
    current = (torque + iron) / k_t
    duty, bus, rotors = number(p.duty), number(p.bus_voltage), number(b.rotors)
    other = (rotors * number(p.ripple_loss) + number(d.electronics_power)) / bus
    got = rotors * duty * current + other
    return Derivation(
        [
            (
                "Current in one motor",
                f"I = (Q + q n) / K_t = ({short(torque)} + {short(iron, 2)}) N m / {short(k_t)} N m/A = {short(current)} A",
                f"K_t = 60 / (2 pi KV), KV under load {100 * number(b.motor.loaded_kv_ratio):.0f} % of the label: more KV, more "
                "amps for the same torque.",
            ),
            (
                "Current from the pack",
                f"{rotors:.0f} x {duty:.2f} x {short(current)} + {short(other, 2)} A for ripple and electronics = {got:.0f} A",
                "Amps from the pack are duty times amps in the motor.",
            ),
        ],
        got,
        number(p.pack_current),
    )


def sag_working(b: Build) -> Derivation:
    """Return the worked example of the voltage drop of the pack."""
    a = Assessment(b)
    d, p = a.fresh_burst, a.full_throttle
    emf, r, amps, cells = (
        number(d.emf),
        number(d.pack_resistance),
        number(p.pack_current),
        number(b.pack.cells),
    )
    got = emf - amps * r
    guessed = b.pack.cell_resistance is None
    known = "estimated from " + (
        "chemistry and size" if b.pack.label_c is None else "chemistry, size and the C rating on the label"
    )
    return Derivation(
        [
            (
                "Under load",
                f"V = E - I R = {short(emf)} - {short(amps)} A x {1000 * r:.0f} mohm = {short(got)} V, {got / cells:.2f} V a cell",
                "Ten-second resistance of cells, leads and connector"
                + (
                    f", {known}: a charger's reading of one cell would narrow it."
                    if guessed
                    else "; that of the cells is 1.7 times a charger's short reading."
                ),
            )
        ],
        got,
        number(p.bus_voltage),
    )


def top_working(b: Build) -> Derivation:
    """Return the worked example of the top speed."""
    found_ = top_speed(b)
    v, tilt = number(found_.speed), number(found_.tilt)
    if not math.isfinite(v):
        return Derivation([("No level flight", "full throttle does not lift the craft", "")], math.nan, v)
    d = Assessment(b).fresh_burst
    _, top = (number(x) for x in drag_areas(b))
    rho, weight, rotors, size = (
        number(b.air.density),
        number(b.weight),
        number(b.rotors),
        number(d.diameter),
    )
    n, k = number(found_.rev_per_s), number(d.thrust_share)
    j = v * math.sin(tilt) / (n * size)
    c_t = number(d.prop.at(np.asarray(j), np.asarray(n))[0])
    rotor_thrust = rotors * k * rho * c_t * n * n * size**4
    # along the rotor axis: thrust = component of the weight + air force on the plate
    plate = rotor_thrust - weight * math.cos(tilt)
    got = math.sqrt(2.0 * max(plate, 0.0) / (rho * top * math.sin(tilt)))
    return Derivation(
        [
            (
                "Thrust in that stream",
                f"J = V sin / (n D) = {short(v)} m/s x {math.sin(tilt):.2f} / ({short(n)} x {short(size)}) = {short(j)}; "
                f"{rotors:.0f} k rho C_T n^2 D^4 = {rotors:.0f} x {short(k, 2)} x {short(rho, 4)} x {short(c_t)} x {short(n)}^2 x "
                f"{short(size, 4)}^4 = {short(rotor_thrust)} N",
                "C_T falls as the air runs into the disc; it reaches zero near J0, above pitch speed.",
            ),
            (
                "What is left for the air",
                f"F = T - m g cos = {short(rotor_thrust)} - {short(weight)} x {math.cos(tilt):.2f} = {short(plate)} N at "
                f"{math.degrees(tilt):.0f} degrees of tilt",
                "Along the shafts: thrust = weight cos + the air on the plate. The rotors' in-plane force lies across them; "
                "it tilts the craft further.",
            ),
            (
                "The plate in the stream",
                f"F = rho/2 V^2 f_top sin, f_top = {1e4 * top:.0f} cm2, sin = {math.sin(tilt):.2f}",
                "The plate turns into the stream. Estimate, a factor 1.7 either way.",
            ),
            (
                "Speed",
                f"V = sqrt(2 F / (rho f_top sin)) = {short(got)} m/s = {got / KMH:.0f} km/h; pitch speed there is "
                f"{number(found_.pitch_speed) / KMH:.0f} km/h",
                "Fresh pack, a sprint: the fastest speed at which the sum closes with the motors flat out.",
            ),
        ],
        got,
        v,
        within=0.02,
    )


TRIED = 241
"""Number of speeds along the power curve, including zero. [-]"""


def bucket_working(b: Build) -> Derivation:
    """Return the worked example of the speed of minimum power."""
    best = best_speeds(b)
    slow, fast = number(best.endurance_speed), number(best.range_speed)
    if not math.isfinite(slow):
        return Derivation([("No level flight", "full throttle does not lift the craft", "")], math.nan, math.nan)
    at = level_flight(b, np.array([0.0, slow, fast]))
    power = np.asarray(at.electrical_power)
    # minimum of the curve, and minimum of power over speed, among the computed points
    tried = np.linspace(0.0, 2.0 * fast, TRIED)[1:]
    along = np.asarray(level_flight(b, tried).electrical_power)
    got = float(along.min() / power[0])
    return Derivation(
        [
            (
                "Hover",
                f"{short(float(power[0]))} W: all the air must be made to move",
                "Momentum theory; in forward flight more air passes by itself (Glauert).",
            ),
            (
                "Longest aloft",
                f"{short(float(along.min()))} W / {short(float(power[0]))} W = {100 * got:.0f} % of hover, at "
                f"{tried[along.argmin()] / KMH:.0f} km/h",
                f"Lowest of {TRIED - 1} speeds tried along the curve.",
            ),
            (
                "Farthest",
                f"{short(float(power[2]))} W at {fast / KMH:.0f} km/h: {short(float(power[2]) / fast)} J for each metre",
                "Where a ray from the origin touches the curve.",
            ),
        ],
        got,
        number(best.power_ratio),
    )


def dive_working(b: Build) -> Derivation:
    """Return the worked example of the dive."""
    drop = 40.0
    front, _ = (number(x) for x in drag_areas(b))
    rho, mass = number(b.air.density), number(b.mass)
    terminal = math.sqrt(2.0 * mass * G / (rho * front))
    speed = float(closed_forms.fall_speed(drop, terminal_speed=terminal))
    out = pull_out(b, drop)
    load, lost = number(out.peak_load), number(out.height_lost)
    got = terminal * math.sqrt(1.0 - math.exp(-2.0 * G * drop / terminal**2))
    return Derivation(
        [
            (
                "Speed after 40 m, nose down",
                f"V = V_t sqrt(1 - exp(-2 g h / V_t^2)) with V_t = sqrt(2 m g / (rho f)) = {short(terminal)} m/s: "
                f"{short(got)} m/s",
                "Fall with quadratic drag, closed form.",
            ),
            (
                "Before the pull-out",
                f"{short(speed)} m/s x 0.5 s of seeing, deciding, turning and spinning up = {short(0.5 * speed, 2)} m and more",
                "Common practice, from memory: 0.4 to 0.7 s. On Dive you set your own; spinning up comes on top there.",
            ),
            (
                "Pull-out",
                "a stop costs V^2 / (2 g (n - 1)), a pull-out on an arc more: "
                + (
                    f"with n = {load:.1f} times the weight, {lost:.0f} m lost from the command"
                    if math.isfinite(lost)
                    else "with no more thrust than weight there is no way out"
                ),
                "Point mass, stepped; the reserve left in the pack; 85 % of the thrust, since the motors steer too.",
            ),
        ],
        got,
        number(out.speed),
    )


@if_it_hovers
def wash_working(b: Build) -> Derivation:
    """Return the worked example of the descent in the own wake (vortex ring state)."""
    each, k = number(b.weight) / number(b.rotors), number(Assessment(b).fresh_sustained.thrust_share)
    rho, size = number(b.air.density), number(b.propeller.diameter)
    area = 0.25 * math.pi * size * size
    v = math.sqrt(each / k / (2.0 * rho * area))
    return Derivation(
        [
            (
                "Wash speed",
                f"v = sqrt(T / (2 rho A)) with T = m g / (N k) = {short(each)} N / {short(k, 2)} and A = pi D^2 / 4 = "
                f"{short(area)} m2: sqrt({short(each / k)} / (2 x {short(rho, 4)} x {short(area)})) = {short(v)} m/s",
                "Momentum theory; k is what arms in the wash leave.",
            ),
            (
                "Sinking into it",
                f"between 0.4 and 1.4 v, {0.4 * v:.1f} to {1.4 * v:.1f} m/s straight down, the rotors breathe their own "
                "wash and lose up to a third of the thrust; leave sideways",
                "Johnson as reproduced by Hoffmann et al. 2007; escape by side speed 2.75 times the descent: "
                "Talaeizadeh et al., arXiv 1909.09069.",
            ),
        ],
        v,
        number(Assessment(b).wash_speed),
    )
