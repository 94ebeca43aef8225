"""The same physics in plain floats, solved by nested root finding: what the benchmarks compare the engine with.

Written apart from the engine's solver: `scipy.optimize.brentq` over rotational speed inside `brentq` over bus voltage,
`math` instead of numpy. Only the parameters of the parts are taken from the build.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from propmodel import battery
from propmodel.build import Build
from propmodel.operating_point import drive
from propmodel.propeller_prepared import MACH_KNEE

TIGHT = 1e-12


@dataclass(frozen=True)
class Scalars:
    """A build at one charge, as floats."""

    log_c_t: float
    slope_c_t: float
    log_c_p: float
    slope_c_p: float
    re_factor: float
    re_low: float
    re_high: float
    mach: float
    density: float
    diameter: float
    rotors: float
    share: float
    k_t: float
    resistance: float
    iron: float
    ripple: float
    standby: float
    emf: float
    pack_resistance: float
    electronics: float


def scalars(build: Build, charge: float = 1.0, *, sustained: bool = False) -> Scalars:
    """Read the floats out of a build of plain numbers."""
    d = drive(build, charge, sustained=sustained)
    p = d.prop
    values = (
        p.log_c_t, p.slope_c_t, p.log_c_p, p.slope_c_p, p.reynolds_factor, p.reynolds_low, p.reynolds_high,
        p.mach_factor, d.density, d.diameter, d.rotors, d.thrust_share, d.torque_constant, d.resistance, d.iron_slope,
        build.controller.ripple_coefficient, build.controller.standby_power, d.emf, d.pack_resistance,
        d.electronics_power,
    )  # fmt: skip
    return Scalars(*(float(np.asarray(v)) for v in values))


def coefficients(s: Scalars, n: float) -> tuple[float, float]:
    """Static C_T and C_P."""
    x = math.log(min(max(s.re_factor * n, s.re_low), s.re_high) / 5e4)
    c_t, c_p = math.exp(s.log_c_t + s.slope_c_t * x), math.exp(s.log_c_p + s.slope_c_p * x)
    merit = math.sqrt(2 / math.pi) * c_t**1.5 / c_p
    if merit > 0.75:
        over = (merit - 0.75) / 0.07
        c_p *= merit / (0.75 + 0.07 * over / math.sqrt(1 + over * over))
    fast = max(s.mach * n - MACH_KNEE, 0.0)
    return c_t, c_p * (1 + 2 * fast * fast)


def motor(s: Scalars, n: float) -> tuple[float, float]:
    """Current and average voltage of one motor that turns its propeller at n."""
    torque = coefficients(s, n)[1] * s.density * n * n * s.diameter**5 / (2 * math.pi)
    current = (torque + s.iron * n) / s.k_t
    return current, 2 * math.pi * s.k_t * n + current * s.resistance


def bus_current(s: Scalars, n: float, bus: float) -> float:
    """Current the whole craft draws from a bus voltage."""
    current, volts = motor(s, n)
    through = volts * max(1 - volts / bus, 0.0)
    each = current * volts + s.standby + s.ripple * through * through
    return (s.rotors * each + s.electronics) / bus


def at_duty(s: Scalars, duty: float) -> tuple[float, float, float]:
    """Speed, bus voltage and pack current at a duty: a root inside a root."""
    if duty <= 0.0:
        bus = brentq(lambda v: s.emf - s.pack_resistance * bus_current(s, 0.0, v) - v, 0.5 * s.emf, s.emf, xtol=TIGHT)
        return 0.0, bus, bus_current(s, 0.0, bus)

    def speed(bus: float) -> float:
        return brentq(lambda n: motor(s, n)[1] - duty * bus, 0.0, duty * bus / (2 * math.pi * s.k_t) + 1.0, xtol=TIGHT)

    bus = brentq(lambda v: s.emf - s.pack_resistance * bus_current(s, speed(v), v) - v, 0.5 * s.emf, s.emf, xtol=TIGHT)
    n = speed(bus)
    return n, bus, bus_current(s, n, bus)


def thrust(s: Scalars, n: float) -> float:
    """Installed thrust of one rotor."""
    return s.share * coefficients(s, n)[0] * s.density * n * n * s.diameter**4


def at_thrust(s: Scalars, wanted: float) -> tuple[float, float, float]:
    """Speed, bus voltage and pack current at a thrust."""
    n = brentq(lambda x: thrust(s, x) - wanted, 1e-3, 3000.0, xtol=TIGHT)
    bus = brentq(lambda v: s.emf - s.pack_resistance * bus_current(s, n, v) - v, 0.5 * s.emf, s.emf, xtol=TIGHT)
    return n, bus, bus_current(s, n, bus)


def hover_seconds(build: Build, weight: float) -> float:
    """Hover to the reserve, one root at each 5 % of charge."""
    s0 = scalars(build)
    reserve, capacity = float(np.asarray(build.pack.reserve)), float(battery.capacity(build.pack))
    knots = np.linspace(1.0, reserve, round((1.0 - reserve) / 0.05) + 1)
    amps = [at_thrust(scalars(build, float(k), sustained=True), weight / s0.rotors)[2] for k in knots]
    inverse = 1.0 / np.array(amps)
    return float(np.sum(0.5 * (inverse[1:] + inverse[:-1]) * -np.diff(knots)) * capacity * 3600.0)
