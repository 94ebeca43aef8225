"""What people asked, and what the product must be able to say: the rows are in ``tests/support/user_cases.py``."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from user_cases import CASES, Case

import propmodel
from propmodel import heat, limits, power_up
from propmodel.assembly.build import with_fields
from propmodel.assembly.build_record import from_record
from propmodel.assess import margins
from propmodel.assess.assessment import Assessment
from propmodel.components import battery, wire
from propmodel.dive import vortex_ring
from propmodel.dive.stepped import DEFAULT_DELAY, Dive, fly_pull_out
from propmodel.flight import spin_up
from propmodel.flight.axial_inflow import speed_at_duty
from propmodel.flight.endurance import WAYS_OF_FLYING, Profile, flight_time
from propmodel.flight.level import steepest_tilt
from propmodel.flight.trim import trim
from propmodel.heat.hot_motor import hot_motor_verdict
from propmodel.power_up import transients
from propmodel.powertrain.operating_point import at_duty, electrical
from propmodel.studies import spread

INCH, KMH = 0.0254, 1.0 / 3.6


class Asked:
    """A case with everything that its quantities need."""

    def __init__(self, case: Case) -> None:
        self.record: dict[str, Any] = case.inputs | case.assumed
        self.build = from_record(self.record)
        self.a = Assessment(self.build)

    def other(self, **changes: Any) -> propmodel.Build:
        return from_record(self.record | changes)

    def limit(self, key: str) -> Any:
        return next(x for x in limits(self.build) if x.key == key)

    @property
    def cruise(self) -> Any:
        speed = np.asarray(self.record.get("cruise_kmh", 50.0) * KMH)
        return trim(self.a.fresh_sustained, self.a.frame, speed, passes=60)[1]

    def heat(self, point: Any) -> tuple[float, float, float]:
        """Heat in one motor [W], rise of its bell [K] and seconds to the winding's limit, from the hover's cooling."""
        copper, iron = self.a.winding_heat(point), point.iron_loss
        found = heat.steady_temperatures(
            copper, iron, resistance=self.a.thermal_hover, air_temperature=self.build.air.temperature
        )
        seconds = heat.seconds_to_limit(
            copper,
            iron,
            resistance=self.a.thermal_hover,
            capacity=self.a.heat_capacity,
            air_temperature=self.build.air.temperature,
            winding_limit=self.build.motor.winding_limit,
        )
        return float(copper + iron), float(found.body - self.build.air.temperature), float(seconds)

    @property
    def power_up(self) -> power_up.PowerUp:
        return power_up.from_build(self.build, supply_voltage=self.record.get("supply_v"), active_freewheeling=True)

    def fact(self, start: str) -> Any:
        return next(f for f in power_up.facts(self.power_up) if f.title.startswith(start))

    @property
    def bare_step(self) -> Any:
        return next(s for s in power_up.power_up_steps(self.power_up) if s.title.startswith("Full command without"))


def ratio(one: Any, two: Any) -> float:
    return float(one) / float(two)


def uncapped(q: Asked) -> Any:
    return at_duty(q.a.fresh_burst, 1.0)


def blades(q: Asked, count: int) -> Any:
    return propmodel.throttle_curve(with_fields(q.build, {"propeller.blades": count}), 1.0)


def by_mass(q: Asked, chemistry: str) -> propmodel.Build:
    """The same mass of pack in another chemistry."""
    plain = battery.Pack(chemistry, q.build.pack.cells, 1.0)
    overhead = battery.CHEMISTRIES[chemistry].pack_overhead
    amp_hours = (0.42 - overhead) / (float(battery.mass(plain)) - overhead)
    return replace(q.build, pack=battery.Pack(chemistry, q.build.pack.cells, amp_hours, mass=0.42))


def longest_hover_pack(q: Asked) -> float:
    """Mass of the pack that hovers longest, over that of everything else."""
    capacity = np.linspace(0.3, 20.0, 200)
    many = with_fields(q.build, {"pack.capacity_ah": capacity})
    best = int(np.nanargmax(propmodel.performance(many).hover_time))
    pack = battery.mass(many.pack)[best]
    return float(pack / (many.mass[best] - pack))


def arrest(pull: float) -> float:
    found = fly_pull_out(
        Dive(
            mass=1.0,
            max_thrust=pull * 9.80665,
            drag_area_front=1e-9,
            drag_area_top=1e-9,
            air_density=1.225,
            speed=30.0,
            delay=0.15,
            steering_share=1.0,
            load_limit=20.0,
        ),
        manoeuvre="arrest",
    )
    return float(found.height_lost)


def full_at(q: Asked, speed: float) -> float:
    """Pack current flat out, flying level at a speed with the disc leaning as the trim says."""
    state, _ = trim(q.a.fresh_burst, q.a.frame, np.asarray(speed), passes=60)
    d = q.a.fresh_burst
    n, c_t, c_p = speed_at_duty(d, q.a.cap, state.axial_speed)
    torque = c_p * d.density * n**2 * d.diameter**5 / (2 * np.pi)
    return float(electrical(d, n, torque, c_t).pack_current)


def equal_rpm_kv(q: Asked) -> float:
    four = propmodel.performance(q.other(cells=4)).full_throttle_rev_per_s
    found = propmodel.solve_for(q.build, "motor.kv", "full_throttle_rev_per_s", float(four), low=800.0, high=2600.0)
    return found.value


def sea_level(q: Asked) -> Any:
    return propmodel.performance(q.other(altitude_m=0))


def playing_over_warm(q: Asked, celsius: float) -> float:
    play = WAYS_OF_FLYING["play"]
    return minutes(q.other(pack_temperature_c=celsius), play) / minutes(q.build, play)


def minutes(build: propmodel.Build, way: Profile = Profile()) -> float:  # noqa: B008 - frozen
    return float(flight_time(build, way).time) / 60.0


QUANTITIES = {
    # heat
    "hover heat W": lambda q: q.heat(q.a.hover)[0],
    "hover bell rise C": lambda q: q.heat(q.a.hover)[1],
    "hover seconds to limit": lambda q: q.heat(q.a.hover)[2],
    "hover verdict": lambda q: hot_motor_verdict(*q.heat(q.a.hover)[:2]).explained,
    "hover verdict text": lambda q: hot_motor_verdict(*q.heat(q.a.hover)[:2]).text,
    "hover verdict causes": lambda q: " ".join(hot_motor_verdict(*q.heat(q.a.hover)[:2]).causes),
    "cruise heat W": lambda q: q.heat(q.cruise)[0],
    "cruise seconds to limit": lambda q: q.heat(q.cruise)[2],
    "cruise verdict": lambda q: hot_motor_verdict(*q.heat(q.cruise)[:2]).explained,
    "cruise verdict causes": lambda q: " ".join(hot_motor_verdict(*q.heat(q.cruise)[:2]).causes),
    "full throttle seconds": lambda q: float(q.a.full_throttle_seconds),
    "full heat W": lambda q: float(q.a.winding_heat(q.a.full_throttle) + q.a.full_throttle.iron_loss),
    # speeds and volts
    "no-load rpm": lambda q: float(margins.free_speed(q.a)) * 60.0,
    "no-load tip m/s": lambda q: float(margins.free_speed(q.a) * np.pi * q.build.propeller.diameter),
    "full electrical rpm": lambda q: float(spin_up.electrical_rev_per_s(q.a.full_throttle.rev_per_s, 7)) * 60.0,
    "full power over that on 4 cells": lambda q: ratio(
        q.a.full_throttle.pack_power, propmodel.performance(q.other(cells=4)).full_throttle_power
    ),
    "KV of equal rpm on 6 cells as on 4": equal_rpm_kv,
    "loaded over label KV": lambda q: float(np.asarray(q.build.motor.loaded_kv_ratio)),
    "punch V a cell": lambda q: float(q.a.full_throttle.bus_voltage / q.build.pack.cells),
    "density": lambda q: float(q.build.air.density),
    # currents
    "hover A": lambda q: float(q.a.hover.pack_current),
    "full motor A": lambda q: float(q.a.full_throttle.motor_current),
    "full motor A band low": lambda q: float(spread.bands(q.build, draws=256)[0].full_throttle_motor_current),
    "full motor A band high": lambda q: float(spread.bands(q.build, draws=256)[2].full_throttle_motor_current),
    "full motor A without cap over with": lambda q: ratio(uncapped(q).motor_current, q.a.full_throttle.motor_current),
    "6-inch over 5-inch motor A": lambda q: ratio(
        propmodel.performance(q.other(diameter_in=6)).full_throttle_motor_current, q.a.full_throttle.motor_current
    ),
    "blocked A": lambda q: q.fact("Blocked propeller: motor current").value,
    "blocked text": lambda q: q.fact("Blocked propeller: motor current").text,
    "16 V over 0.15 ohm A": lambda q: float(spin_up.stall_current(16.0, 0.15)),
    # first power-up
    "bare motor A": lambda q: math.sqrt(q.bare_step.expect_low * q.bare_step.expect_high),
    "bare motor doubled": lambda q: power_up.judge(q.bare_step, 2.05 * q.bare_step.expect_high),
    "bare motor at 8 A": lambda q: power_up.judge(q.bare_step, 8.0),
    "power-up text": lambda q: " ".join(s.do + s.why for s in power_up.power_up_steps(q.power_up)),
    "plug-in J": lambda q: q.fact("Spark at plug-in: energy").value,
    "plug-in A": lambda q: q.fact("Spark at plug-in: peak").value,
    "plug-in text": lambda q: q.fact("Spark at plug-in: peak").text,
    "plug-in peak without capacitor V": lambda q: q.fact("Plug-in without the capacitor").value,
    "braking V": lambda q: q.fact("Braking").value,
    "braking text": lambda q: q.fact("Braking").text,
    "rotor J": lambda q: float(
        transients.rotor_energy(q.power_up.bell_inertia + q.power_up.propeller_inertia, q.a.hover.rev_per_s)
    ),
    # pack
    "alarm mAh": lambda q: float(flight_time(q.build, Profile()).charge) * 1000.0,
    "label A": lambda q: float(q.build.pack.max_continuous_current),
    "seconds to empty at 100 A": lambda q: float(battery.capacity(q.build.pack)) * 36.0,
    "seconds of hover in the reserve": lambda q: float(
        flight_time(
            replace(q.build, pack=replace(q.build.pack, reserve=0.0, cutoff_voltage_per_cell=3.0)),
            Profile(),
            state_of_charge=0.2,
        ).time
    ),
    "Li-ion over LiPo hover time at equal mass": lambda q: minutes(by_mass(q, "li_ion")) / minutes(by_mass(q, "lipo")),
    "Li-ion over LiPo pull": lambda q: ratio(
        propmodel.performance(by_mass(q, "li_ion")).thrust_to_weight_at_reserve,
        propmodel.performance(by_mass(q, "lipo")).thrust_to_weight_at_reserve,
    ),
    "Li-ion cut-off V": lambda q: float(battery.cutoff_voltage(by_mass(q, "li_ion").pack)),
    "freezing over warm minutes, hanging still, alarm on volts": lambda q: (
        minutes(q.other(pack_temperature_c=0, cutoff_v=3.6)) / minutes(q.other(cutoff_v=3.6))
    ),
    "freezing over warm minutes, hanging still": lambda q: minutes(q.other(pack_temperature_c=0)) / minutes(q.build),
    "freezing over warm minutes, playing": lambda q: playing_over_warm(q, 0.0),
    "ten degrees over warm minutes, playing": lambda q: playing_over_warm(q, 10.0),
    "freezing over warm resistance": lambda q: ratio(
        battery.resistance(replace(q.build.pack, temperature=273.15, lead_resistance=0.0)),
        battery.resistance(replace(q.build.pack, temperature=298.15, lead_resistance=0.0)),
    ),
    # lift and time
    "mass g": lambda q: float(q.build.mass) * 1000.0,
    "hover command %": lambda q: 100.0 * float(q.a.hover_command),
    "hover command times pull^0.67": lambda q: float(q.a.hover_command * q.a.thrust_to_weight**0.67),
    "hover command at reserve over fresh": lambda q: ratio(q.a.hover_at_reserve.duty, q.a.hover.duty),
    "hover share of full power %": lambda q: 100.0 * ratio(q.a.hover.pack_power, q.a.full_throttle.pack_power),
    "pull at reserve": lambda q: float(q.a.thrust_to_weight_at_reserve),
    "hover minutes": lambda q: minutes(q.build),
    "hover minutes at 3.7 V cut-off over all": lambda q: minutes(q.other(cutoff_v=3.7)) / minutes(q.build),
    "hover minutes on 6 cells at equal energy": lambda q: (
        minutes(q.other(cells=6, capacity_mah=1000, kv=2450 * 4 / 6)) / minutes(q.build)
    ),
    "tired over new resistance": lambda q: ratio(
        battery.resistance(q.other(pack_age="tired").pack, 0.5), battery.resistance(q.build.pack, 0.5)
    ),
    "tired over new hover minutes": lambda q: minutes(q.other(pack_age="tired")) / minutes(q.build),
    "hover over playing minutes": lambda q: minutes(q.build) / minutes(q.build, WAYS_OF_FLYING["play"]),
    "pack of longest hover over rest": longest_hover_pack,
    "hover rpm over sea level": lambda q: ratio(q.a.hover.rev_per_s, sea_level(q).hover_rev_per_s),
    "hover W over sea level": lambda q: ratio(q.a.hover.pack_power, sea_level(q).hover_power),
    "pull for level flight at 45 degrees": lambda q: float(
        1.0 / np.cos(np.interp(45.0, np.degrees(steepest_tilt(TWR)), np.arccos(1.0 / TWR)))
    ),
    # wires and propellers
    "drop of 45 A in 10 cm of 20 AWG V": lambda q: float(wire.drop(45.0, gauge=20, length=0.10)),
    "heat of 45 A in 10 cm of 20 AWG W": lambda q: float(wire.heat(45.0, gauge=20, length=0.10)),
    "drop of 120 A in 10 cm of 14 AWG V": lambda q: float(wire.drop(120.0, gauge=14, length=0.10)),
    "drop of 120 A in 10 cm of 12 AWG V": lambda q: float(wire.drop(120.0, gauge=12, length=0.10)),
    "heat in one 20 AWG lead in hover W": lambda q: float(wire.heat(q.a.hover.motor_current, gauge=20, length=0.10)),
    "third blade thrust": lambda q: ratio(blades(q, 3).thrust, blades(q, 2).thrust),
    "third blade amps": lambda q: ratio(blades(q, 3).motor_current, blades(q, 2).motor_current),
    "third blade amps over thrust": lambda q: (
        ratio(blades(q, 3).motor_current, blades(q, 2).motor_current) / ratio(blades(q, 3).thrust, blades(q, 2).thrust)
    ),
    "full amps at 80 km/h over static": lambda q: full_at(q, 80.0 * KMH) / float(q.a.full_throttle.pack_current),
    "full amps at top speed over static": lambda q: float(q.a.top.current / q.a.full_throttle.pack_current),
    "pitch speed km/h": lambda q: float(q.a.full_throttle.rev_per_s * q.build.propeller.pitch) / KMH,
    # dive and wash
    "induced velocity m/s": lambda q: float(q.a.wash_speed),
    "wash band low m/s": lambda q: float(vortex_ring.wash_band(q.a.wash_speed).low),
    "wash band high m/s": lambda q: float(vortex_ring.wash_band(q.a.wash_speed).high),
    "3.8 m/s in the wash band": lambda q: float(
        vortex_ring.wash_band(q.a.wash_speed).low < 3.8 < vortex_ring.wash_band(q.a.wash_speed).high
    ),
    "wash thrust left at 3.8 m/s": lambda q: float(
        vortex_ring.wash_thrust_factor(3.8, induced_velocity_hover=q.a.wash_speed)
    ),
    "arrest from 30 m/s at 4, m": lambda q: arrest(4.0),
    "arrest from 30 m/s at 2, m": lambda q: arrest(2.0),
    "pull-out m": lambda q: float(propmodel.pull_out(q.build, 60.0).height_lost),
    "pull-out empty over full": lambda q: ratio(
        propmodel.pull_out(q.build, 60.0, state_of_charge=0.05).height_lost,
        propmodel.pull_out(q.build, 60.0, state_of_charge=1.0).height_lost,
    ),
    "pull-out delay s": lambda q: float(DEFAULT_DELAY.total),
    # limits
    "worst limit": lambda q: limits(q.build)[0].key,
}
TWR = np.linspace(1.2, 1.8, 601)
PREFIXES = {
    "limit fix ": lambda q, key: q.limit(key).remedy,
    "limit text ": lambda q, key: q.limit(key).sentence,
    "limit ": lambda q, key: q.limit(key).state,
}


def quantity(q: Asked, name: str) -> Any:
    if name in QUANTITIES:
        return QUANTITIES[name](q)
    prefix = next(p for p in PREFIXES if name.startswith(p))
    return PREFIXES[prefix](q, name.removeprefix(prefix))


@pytest.mark.parametrize("case", CASES, ids=lambda c: f"{c.number} {c.question[:40]}")
def test_case(case):
    asked = Asked(case)
    wrong = []
    for name, want in case.checks.items():
        got = quantity(asked, name)
        if isinstance(want, str):
            good = want in got
        elif isinstance(want[0], str):
            good = any(w in got for w in want)
        else:
            good = want[0] <= got <= want[1]
        if not good:
            wrong.append(f"{name}: wanted {want}, got {got}")
    assert not wrong, f"{case.question}\n" + "\n".join(wrong)


def test_every_case_is_there_once():
    numbers = [c.number for c in CASES]
    assert len(numbers) == len(set(numbers))
    assert all(c.checks and c.told for c in CASES)
