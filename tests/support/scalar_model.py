"""The same physics once more in plain floats with nested root finding: what the benchmarks compare against.

Nothing here is vectorised and nothing is shared with `propmodel` but the numbers of a build: propeller polynomials,
motor, ripple, pack, trim are written out with `math`, and every unknown is found by ``scipy.optimize.brentq``: bus
voltage inside rotational speed, inside tilt, inside air speed. This is how such a sum is usually programmed.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from scipy.optimize import brentq, minimize_scalar

from propmodel import heat
from propmodel.assembly.build import drag_areas
from propmodel.base.constants import GAS_CONSTANT
from propmodel.components import battery
from propmodel.powertrain.prepared import prepare

INDUCED, PROFILE = 1.15, 4.65
"""As documented in `flight.trim`: induced power factor, growth of profile power with mu^2."""
GAIN, FADE = 2.307, 8.548
"""As documented in `components.inplane`: H = k T mu/(1 + c mu)."""


class Propeller:
    """Coefficients from the documented form of `components.propeller.prepared`, in floats."""

    def __init__(self, ready: Any) -> None:
        scalar = {k: float(getattr(ready, k)) for k in ready.__dataclass_fields__ if np.ndim(getattr(ready, k)) == 0}
        self.__dict__.update(scalar)
        self.shape_c_t = [float(x) for x in ready.shape_c_t]
        self.shape_c_p = [float(x) for x in ready.shape_c_p]
        self.breakpoints = ready.breakpoints

    def static(self, n: float) -> tuple[float, float]:
        re = min(max(self.reynolds_factor * n, self.reynolds_low), self.reynolds_high)
        log_re = math.log(re / 5e4)
        c_t = math.exp(self.log_c_t + self.slope_c_t * log_re)
        c_p = math.exp(self.log_c_p + self.slope_c_p * log_re)
        ideal = math.sqrt(2.0 / math.pi) * c_t**1.5
        merit = ideal / c_p
        if merit > 0.75:
            over = (merit - 0.75) / 0.07
            c_p = ideal / (0.75 + 0.07 * over / math.sqrt(1.0 + over * over))
        fast = self.mach_factor * n - 0.4
        return c_t, c_p * (1.0 + 4.0 * fast * fast) if fast > 0.0 else c_p

    def at(self, advance: float, n: float) -> tuple[float, float]:
        c_t, c_p = self.static(n)
        end_t, end_p, hold, zero = self.breakpoints
        u = max(advance, 0.0) / self.zero_thrust_advance_ratio
        x, (k1, k2, k3) = min(u, end_t), self.shape_c_t
        bulge = x * (k1 + x * (k2 + x * k3))
        c_t *= (1.0 - x) * (1.0 + self.bulge_share * bulge)
        c_p *= 1.0 - self.power_lost * bulge / (1.0 + bulge)
        x, (a, b, c, d, e) = min(u, end_p), self.shape_c_p
        c_p *= max(1.0 + x * (a + x * (b + x * (c + x * (d + x * e)))), 0.05)
        if u > end_t:
            c_t *= (u / end_t) ** 2
            c_p *= min(max((zero - u) / (zero - hold), 0.0), 1.0)
        pull, half = max(c_t, 0.0), 0.5 * self.zero_thrust_advance_ratio * u
        return c_t, max(c_p, 1.03 * pull * (half + math.sqrt(half * half + 2.0 / math.pi * pull)))


class Craft:
    """One build in floats."""

    def __init__(self, build: Any) -> None:
        d = prepare(build, 1.0)
        self.build = build
        self.prop = Propeller(d.prop)
        self.rho, self.diameter, self.area = float(d.density), float(d.diameter), float(d.disc_area)
        self.rotors, self.share = float(d.rotors), float(d.thrust_share)
        self.k_t, self.k_e = float(d.torque_constant), float(d.volts_per_rev)
        self.resistance, self.iron = float(d.resistance), float(d.iron_slope)
        self.electronics = float(d.electronics_power)
        esc = d.controller
        self.ripple, self.standby = float(esc.ripple_coefficient), float(esc.standby_power)
        self.idle, self.exponent = float(esc.idle_duty), float(esc.exponent)
        self.cap, self.weight = float(np.asarray(build.duty_cap)), float(build.weight)
        self.front, self.top = (float(x) for x in drag_areas(build))
        self.reserve, self.cells = float(np.asarray(build.pack.reserve)), float(np.asarray(build.pack.cells))
        self.cut, self.capacity = float(battery.cutoff_voltage(build.pack)), float(battery.capacity(build.pack))
        self.fresh, self.fresh_slow = self.pack(1.0, False), self.pack(1.0, True)
        self.low, self.low_slow = self.pack(self.reserve, False), self.pack(self.reserve, True)
        pack, law = build.pack, battery.resistance_laws()[-1]
        self.energy, self.drop = law.energy / GAS_CONSTANT, law.drop
        self.kelvin, self.air, self.leads = (
            float(np.asarray(x)) for x in (pack.temperature, build.air.temperature, pack.lead_resistance)
        )
        mass = battery.mass(pack)
        self.heat_held, self.cooling = float(heat.PACK_HEAT * mass), float(heat.pack_cooling(mass))
        knots = [k / 20.0 for k in range(20, -1, -1)]
        self.knots = [(k, *self.cells_at(k)) for k in [*(k for k in knots if k > self.reserve), self.reserve]]

    def pack(self, charge: float, sustained: bool) -> tuple[float, float]:
        """Rest voltage and resistance: table look-ups, made outside the timed part."""
        pack = self.build.pack
        volts = battery.open_circuit_voltage(pack, charge)
        return float(volts), float(battery.resistance(pack, charge, sustained=sustained))

    def cells_at(self, charge: float) -> tuple[float, float]:
        """Rest voltage and resistance of the cells alone, ten seconds at 25 C."""
        volts, ohms = self.pack(charge, False)
        return volts, (ohms - self.leads) / self.colder(self.kelvin)

    def colder(self, kelvin: float) -> float:
        """Temperature factor of the ten-second resistance."""
        factor = math.exp(self.energy * (1.0 / kelvin - 1.0 / 298.15))
        at, warm = self.drop * factor, self.drop
        return factor * math.asinh(at) / at * warm / math.asinh(warm)

    # --- electrics ----------------------------------------------------------------------------------------------

    def motor(self, n: float, torque: float) -> tuple[float, float]:
        current = (torque + self.iron * n) / self.k_t
        return current, self.k_e * n + current * self.resistance

    def bus(self, volts: float, current: float, pack: tuple[float, float]) -> tuple[float, float]:
        """Bus voltage by root finding; half of the rest voltage where the pack cannot give the power."""
        emf, r = pack

        def power(bus: float) -> float:
            rest = max(1.0 - volts / bus, 0.0)
            fixed = self.rotors * (volts * current + self.standby) + self.electronics
            return fixed + min(self.rotors * self.ripple * volts * volts, 3.0 * fixed) * rest * rest

        def gap(bus: float) -> float:
            return bus * (bus - emf) + r * power(bus)

        low = 0.5 * emf
        found = low if gap(low) > 0.0 else brentq(gap, low, emf, xtol=1e-12, rtol=1e-14)
        return found, power(found)

    def point(self, n: float, pack: tuple[float, float]) -> dict[str, float]:
        c_t, c_p = self.prop.static(n)
        square = self.rho * n * n * self.diameter**4
        torque = c_p * square * self.diameter / (2.0 * math.pi)
        current, volts = self.motor(n, torque)
        bus, power = self.bus(volts, current, pack)
        return {
            "rev_per_s": n,
            "thrust": self.share * c_t * square,
            "motor_current": current,
            "duty": volts / bus,
            "pack_voltage": bus,
            "pack_current": power / bus,
            "electrical_power": power,
            "shaft_power": 2.0 * math.pi * n * torque,
        }

    def at_duty(self, duty: float, pack: tuple[float, float]) -> dict[str, float]:
        """Speed by root finding over the duty, which finds its bus voltage by root finding."""
        if duty <= 0.0:
            return self.point(0.0, pack) if duty == 0.0 else {}
        most = duty * pack[0] / self.k_e
        n = brentq(lambda n: self.point(n, pack)["duty"] - duty, 1e-9, most, xtol=1e-11, rtol=1e-13)
        return self.point(n, pack)

    def duty_of(self, throttle: float) -> float:
        return self.cap * (self.idle + (1.0 - self.idle) * throttle**self.exponent)

    def at_thrust(self, thrust: float, pack: tuple[float, float]) -> dict[str, float]:
        scale = self.share * self.rho * self.diameter**4
        guess = math.sqrt(thrust / scale / 0.12)
        n = brentq(lambda n: scale * n * n * self.prop.static(n)[0] - thrust, 0.2 * guess, 5.0 * guess, xtol=1e-12)
        return self.point(n, pack)

    def hover_seconds(self, hover: dict[str, float]) -> float:
        """Trapezoid over charge; the bus of every knot by root finding, the cells warming from knot to knot."""
        n = hover["rev_per_s"]
        torque = hover["shaft_power"] / (2.0 * math.pi * n)
        current, volts = self.motor(n, torque)
        limit, hours, before = self.cut * self.cells, 0.0, None
        kelvin = self.kelvin
        for charge, emf, string in self.knots:
            if before is not None:
                lost, amps = before[3] * before[2], before[2]
                drawn, given = 3600.0 * self.capacity * (before[0] - charge) / self.heat_held, self.cooling / amps
                damping = 1.0 + 0.5 * drawn * (given + 0.03 * lost)
                kelvin += drawn * (lost - given * (kelvin - self.air)) / damping
            cold = self.colder(kelvin)
            lasting = string * (cold + 0.8 * math.sqrt(cold))
            r = lasting + self.leads
            bus, power = self.bus(volts, current, (emf, r))
            amps = power / bus
            if before is not None:
                share = 1.0 if bus >= limit else (before[1] - limit) / (before[1] - bus)
                stop = before[2] + share * (amps - before[2])
                hours += 0.5 * (1.0 / before[2] + 1.0 / stop) * (before[0] - charge) * share
            if bus < limit:
                break
            before = charge, bus, amps, lasting
        return hours * self.capacity * 3600.0

    # --- level flight -------------------------------------------------------------------------------------------

    def trim(self, speed: float, pack: tuple[float, float]) -> dict[str, float]:
        """Tilt by root finding over the rotational speed, itself found by root finding."""
        pressure, scale = 0.5 * self.rho * speed * speed, self.rho * self.diameter**4

        def state(tangent: float) -> tuple[float, ...]:
            cosine = 1.0 / math.sqrt(1.0 + tangent * tangent)
            sine = tangent * cosine
            thrust = (pressure * self.top * sine + self.weight * cosine) / (self.rotors * self.share)
            axial, inplane = speed * sine, speed * cosine
            guess = math.sqrt(thrust / scale / 0.12) + axial / self.diameter

            def lack(n: float) -> float:
                return scale * n * n * self.prop.at(axial / (n * self.diameter), n)[0] - thrust

            n = brentq(lack, 0.2 * guess, 8.0 * guess, xtol=1e-12)
            c_p = self.prop.at(axial / (n * self.diameter), n)[1]
            power = self.rho * n**3 * self.diameter**5 * c_p
            v_axial = math.sqrt(0.25 * axial**2 + thrust / (2.0 * self.rho * self.area)) - 0.5 * axial
            kappa = min(max((0.97 * power / thrust - axial) / v_axial, 0.0), INDUCED)
            profile = power - thrust * (axial + kappa * v_axial)
            mu = inplane / (math.pi * n * self.diameter)
            force = GAIN * thrust * mu / (1.0 + FADE * mu)
            pull = pressure * self.front + self.rotors * force / cosine
            return self.weight * tangent - pull, n, thrust, axial, inplane, kappa, profile, force

        tangent = brentq(lambda t: state(t)[0], 0.0, 60.0, xtol=1e-12) if speed > 0.0 else 0.0
        _, n, thrust, axial, inplane, kappa, profile, force = state(tangent)
        hover2 = thrust / (2.0 * self.rho * self.area)
        v = brentq(lambda v: v * math.hypot(inplane, axial + v) - hover2, 0.0, math.sqrt(hover2) + 1e-9, xtol=1e-13)
        mu = inplane / (math.pi * n * self.diameter)
        shaft = thrust * (axial + kappa * v) - force * inplane + profile * (1.0 + PROFILE * mu * mu)
        current, volts = self.motor(n, shaft / (2.0 * math.pi * n))
        bus, power = self.bus(volts, current, pack)
        return {"duty": volts / bus, "electrical_power": power, "tilt": math.atan(tangent), "rev_per_s": n}

    def top_speed(self, full_thrust: float) -> float:
        pull = self.rotors * full_thrust
        high = math.sqrt(2.0 * max(pull, self.weight) / (self.rho * self.front))
        return brentq(lambda v: self.trim(v, self.fresh)["duty"] - self.cap, 0.5, high, xtol=1e-4)

    def headlines(self) -> dict[str, float]:
        """The answers of a sweep that need a root; what follows from them in closed form is left out."""
        hover = self.at_thrust(self.weight / self.rotors, self.fresh_slow)
        low_hover = self.at_thrust(self.weight / self.rotors, self.low_slow)
        full, low = self.at_duty(self.cap, self.fresh), self.at_duty(self.cap, self.low)
        top = self.top_speed(full["thrust"])
        least = minimize_scalar(
            lambda v: self.trim(v, self.fresh_slow)["electrical_power"],
            bounds=(0.1 * top, 0.9 * top),
            method="bounded",
            options={"xatol": 0.05},
        )
        return {
            "hover_power": hover["electrical_power"],
            "hover_current": hover["pack_current"],
            "hover_duty_low": low_hover["duty"],
            "hover_time": self.hover_seconds(hover),
            "full_throttle_thrust": full["thrust"],
            "full_throttle_current": full["pack_current"],
            "full_throttle_voltage": full["pack_voltage"],
            "full_throttle_voltage_at_reserve": low["pack_voltage"],
            "thrust_to_weight": self.rotors * full["thrust"] / self.weight,
            "top_speed": top,
            "endurance_power_ratio": float(least.fun) / hover["electrical_power"],
        }
