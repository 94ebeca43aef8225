"""Worked example of the numbers in the first sentence of page Lift, with the numbers of this build in the formulas."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from explorer.text.numbers import value
from explorer.text.working_step import Step
from propmodel.assembly.build import Build
from propmodel.base.arrays import number
from propmodel.base.units import GRAM
from propmodel.components import battery, propeller
from propmodel.components.controller import command_from_duty
from propmodel.components.motor import motor_mass
from propmodel.flight.endurance import Profile, flight_time
from propmodel.flight.level import level_flight
from propmodel.powertrain.operating_point import at_duty, at_thrust
from propmodel.powertrain.prepared import prepare

__all__ = [
    "lift_steps",
]


def _g(x: object, digits: int = 3) -> str:
    return f"{number(x):.{digits}g}"


def lift_steps(build: Build, way: Profile) -> list[Step]:
    """Return the steps for take-off mass, hover, flight time and thrust.

    Parameters
    ----------
    build : Build
        A scalar build.
    way : Profile
        Way of flying.

    Returns
    -------
    list of Step
        Name, formula with numbers, source.
    """
    rotors = int(np.asarray(build.rotors))
    craft, motor, prop = build.craft, build.motor, build.propeller
    each = (float(motor_mass(motor)) / GRAM, float(propeller.mass(prop)) / GRAM)
    parts = [number(m) / GRAM for m in (craft.frame_mass, craft.payload_mass, battery.mass(build.pack))]
    steps: list[Step] = [
        (
            "Take-off mass",
            f"frame {parts[0]:.0f} + payload {parts[1]:.0f} + {rotors} x (motor {each[0]:.1f} + propeller "
            f"{each[1]:.1f}) + pack {parts[2]:.0f} = {float(build.mass) / GRAM:.0f} g",
            "What you typed; parts without a mass are estimated from their label.",
        )
    ]
    d = prepare(build, 1.0, sustained=True)
    lift = float(build.weight) / rotors
    hover = at_thrust(d, lift)
    n = float(hover.rev_per_s)
    c_t, _ = (float(c) for c in d.prop.static(hover.rev_per_s))
    share, rho, size = float(d.thrust_share), float(d.density), float(d.diameter)
    current, volts, bus = float(hover.motor_current), float(hover.motor_voltage), float(hover.bus_voltage)
    ratio = number(motor.loaded_kv_ratio)
    exponent = number(build.controller.exponent)
    command = float(command_from_duty(build.controller, hover.duty, command_cap=build.command_cap))
    steps += [
        (
            "Speed in hover",
            f"n = sqrt(T / (k rho C_T D^4)) = sqrt({lift:.2f} N / ({share:.2f} x {rho:.3f} x {c_t:.3f} x "
            f"{size:.4f}^4)) = {n:.0f} turns a second = {60 * n:,.0f} rpm",
            "T: weight for each rotor; k: what is left after the arms; C_T: fit to wind-tunnel and stand tables.",
        ),
        (
            "Hover command",
            f"V = 60 n / (KV x {ratio:.2f}) + I R = {_g(volts - current * float(d.resistance))} + {_g(current)} A x "
            f"{1000 * float(d.resistance):.0f} mohm = {_g(volts)} V of {_g(bus)} V: duty {100 * volts / bus:.0f} %, "
            f"by duty = command^{exponent:.2f} a hover command of {100 * command:.0f} %, idle included",
            "Motor of three constants; R holds winding, ESC, leads and commutation; KV under load, R and the throttle "
            "map are fitted to thrust stands and makers' tables, unless you measured yours; the exponent of the map "
            "follows the tip speed without load, D x KV x V.",
        ),
    ]
    full = at_duty(prepare(build, 1.0), build.duty_cap)
    steps.append(
        (
            "Thrust to weight",
            f"{rotors} x {float(full.thrust):.1f} N / {float(build.weight):.2f} N = "
            f"{rotors * float(full.thrust) / float(build.weight):.1f} times its weight, at "
            f"{60 * float(full.rev_per_s):,.0f} rpm, {float(full.motor_current):.0f} A in each motor, "
            f"pack down to {float(full.bus_voltage):.1f} V",
            "Speed at which motor, propeller and sagging pack agree; fresh pack, first ten seconds.",
        )
    )
    return [*steps, *_minutes(build, way)]


HALF = 0.6
"""State of charge half way from full to 20 %. [-]"""


def _minutes(build: Build, way: Profile) -> list[Step]:
    """Return the steps of the mean current of mixed flight, and of the flight time from it; [] without a flight."""
    flown = flight_time(build, way)
    seconds, drawn = float(flown.time), float(flown.charge)
    if not (math.isfinite(seconds) and seconds > 0.0):
        return []
    d = prepare(build, HALF, sustained=True)
    lift = float(build.weight) / number(build.rotors)
    # bursts use the resistance of a new pack at 25 C
    new = replace(build.pack, temperature=battery.REFERENCE_TEMPERATURE, cycles=0.0)
    full = at_duty(prepare(replace(build, pack=new), HALF), build.duty_cap)
    amps = {
        "hover": (way.hover, float(at_thrust(d, lift).pack_current)),
        "cruise": (way.cruise, float(level_flight(build, way.cruise_speed, state_of_charge=HALF).current)),
        "hard": (
            way.hard,
            float(at_thrust(d, min(lift * number(way.hard_load), float(full.thrust))).pack_current),
        ),
        "flat out": (way.full, float(full.pack_current)),
    }
    shares = {name: (number(share), current) for name, (share, current) in amps.items()}
    consumers = {name: (share, current) for name, (share, current) in shares.items() if share > 0.0}
    mean = sum(share * current for share, current in consumers.values())
    sums = " + ".join(f"{100 * share:.0f} % x {_g(current)} A {name}" for name, (share, current) in consumers.items())
    return [
        ("Amps flown your way", f"{sums} = {_g(mean)} A", f"Each at {100 * HALF:.0f} % charge, half way down."),
        (
            "Minutes flown your way",
            f"{1000 * drawn:.0f} mAh drawn / {_g(mean)} A = {60.0 * drawn / mean:.1f} min; along the whole discharge "
            f"{value('minutes', seconds)}",
            "Amps grow as the voltage falls, and the loaded cut-off can end it sooner: so the engine adds up slices of "
            "charge. It is not capacity over hover amps.",
        ),
    ]
