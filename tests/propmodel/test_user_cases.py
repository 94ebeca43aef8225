"""Problems that builders have, as a table: what they gave, and what the product must say.

Collected from public threads and write-ups, in our words. A new case is one row of `CASES`: the parts as a record in
the units people type (everything not given keeps the default craft's value), and a check on the answers. Checks allow
for the forecast's spread.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import pytest

import propmodel
from propmodel import Profile, battery, flight_time, limits, response, way_out, wire
from propmodel.assessment import Assessment
from propmodel.build import Build, with_fields
from propmodel.demo import demo_record
from propmodel.heat_verdict import hot_motor_verdict
from propmodel.record import from_record
from propmodel.sensitivity import standing_at
from propmodel.units import CELSIUS_ZERO, GRAM, INCH
from propmodel.wash import wash_band


class Case(NamedTuple):
    """One row."""

    name: str
    given: dict
    check: Callable[[Build, Assessment], bool | np.bool_]


def craft(**given) -> Build:
    """The default craft with the case's parts; figures that belong to the default's own parts are forgotten."""
    base = demo_record("scree") | {
        "motor_mass_g": None, "propeller_g": None, "pack_g": None, "motor_max_a": None, "motor_max_cells": None,
        "esc_a": None, "esc_burst_a": None, "esc_max_cells": None, "esc_min_cells": None, "pack_label_c": None,
        "pack_burst_c": None, "frame_propeller_in": None,
    }  # fmt: skip
    return from_record(base | given)


def limit(build: Build, key: str, hold: float = 10.0):
    """One limit of a build by its key."""
    return next(x for x in limits(build, hold=hold) if x.key == key)


def hover_heat(a: Assessment) -> float:
    """Heat in one motor in hover. [W]"""
    return float(a.copper_heat(a.hover) + a.hover.iron_loss)


def load_does_not_explain(a: Assessment) -> bool:
    """Whether the product says that turning the propeller cannot make the motor hot."""
    rise = float(a.hover_heat.winding) - float(np.asarray(a.build.air.temperature))
    verdict = hot_motor_verdict(hover_heat(a), rise)
    return verdict.explained != "yes" and bool(verdict.causes)


FOUR_CELL = {"kv": 2400, "stator_h_mm": 6, "diameter_in": 5.0, "pitch_in": 4.0, "cells": 4, "capacity_mah": 1300}
LIGHT = {"frame_g": 40, "payload_g": 0, "cells": 6, "capacity_mah": 450, "kv": 1700, "stator_h_mm": 4}
WRONG_KV = {"kv": 2450, "cells": 6, "motor_max_cells": 4}

CASES = (
    # --- motors too hot -----------------------------------------------------------------------------------
    Case("hot after 45 s of gentle flight", FOUR_CELL, lambda b, a: load_does_not_explain(a)),
    Case(
        "hot in a hover, 4 in on 2633 KV",
        {
            "kv": 2633,
            "diameter_in": 4.0,
            "pitch_in": 4.5,
            "cells": 4,
            "stator_d_mm": 18,
            "stator_h_mm": 6,
            "frame_g": 150,
            "payload_g": 0,
            "capacity_mah": 850,
        },
        lambda b, a: load_does_not_explain(a),
    ),
    Case(
        "hot after an update: the load is what it was",
        {"kv": 2600, "stator_d_mm": 23, "stator_h_mm": 5, "cells": 4},
        lambda b, a: hover_heat(a) == hover_heat(Assessment(craft(kv=2600, stator_d_mm=23, stator_h_mm=5, cells=4))),
    ),
    Case(
        "small ducted craft hovers at a large share of its power",
        {
            "kv": 3900,
            "stator_d_mm": 15,
            "stator_h_mm": 7,
            "diameter_in": 2.0,
            "pitch_in": 1.5,
            "blades": 4,
            "cells": 2,
            "capacity_mah": 650,
            "frame_g": 150,
            "payload_g": 60,
        },
        lambda b, a: limit(b, "hover_high").state == "over",
    ),
    Case(
        "light six-cell craft burns a motor in slow cruise",
        LIGHT,
        lambda b, a: load_does_not_explain(a) and hover_heat(a) < 8.0 and a.mass < 0.30,
    ),
    Case(
        "propeller blocked in grass: 16 V over 0.15 ohm is about 100 A",
        {},
        lambda b, a: abs(float(response.stall_current(16.0, 0.15)) - 107.0) < 8.0,
    ),
    # --- wrong KV for the cells ---------------------------------------------------------------------------
    Case(
        "2450 KV on six cells: no-load tips above sound",
        WRONG_KV,
        lambda b, a: limit(b, "free_tip").state == "over" and limit(b, "motor_cells").state == "over",
    ),
    Case(
        "equal-speed KV for six cells instead of four",
        {"kv": 2450, "cells": 4},
        lambda b, a: abs(2450 * 4 / 6 - 1633) < 1 and 1550 < 2450 * 16.8 / 25.2 < 1700,
    ),
    Case(
        "66 % cap for four-cell motors on six: never called safe",
        WRONG_KV | {"command_cap_percent": 66},
        lambda b, a: limit(b, "motor_cells").state == "over" and "does not help" in limit(b, "motor_cells").fix,
    ),
    Case(
        "tiny motors on twice their cells with a 50 % cap",
        {
            "kv": 11000,
            "stator_d_mm": 11,
            "stator_h_mm": 3,
            "cells": 4,
            "motor_max_cells": 2,
            "diameter_in": 2.0,
            "pitch_in": 1.2,
            "command_cap_percent": 50,
            "frame_g": 25,
            "payload_g": 0,
            "capacity_mah": 300,
        },
        lambda b, a: limit(b, "motor_cells").state == "over",
    ),
    Case(
        "a mode that ignores the cap: the peak without it is shown",
        WRONG_KV | {"command_cap_percent": 77},
        lambda b, a: a.full_uncapped.pack_current > 1.2 * a.full.pack_current,
    ),
    Case(
        "3-inch with 2800 KV on six cells: far too fast",
        {
            "kv": 2800,
            "stator_d_mm": 14,
            "stator_h_mm": 8,
            "diameter_in": 3.0,
            "pitch_in": 2.5,
            "cells": 6,
            "motor_max_cells": 4,
            "frame_g": 100,
            "payload_g": 0,
            "capacity_mah": 450,
        },
        lambda b, a: limit(b, "motor_cells").state == "over" and float(a.punch_drive.emf) * 2800 > 70000,
    ),
    # --- ESC, first power-up ------------------------------------------------------------------------------
    Case(
        "ESC for two to three cells on four",
        {
            "kv": 850,
            "stator_d_mm": 28,
            "stator_h_mm": 8,
            "diameter_in": 10.0,
            "pitch_in": 4.5,
            "blades": 2,
            "cells": 4,
            "capacity_mah": 4000,
            "frame_g": 700,
            "esc_min_cells": 2,
            "esc_max_cells": 3,
            "esc_a": 20,
        },
        lambda b, a: limit(b, "controller_cells").state == "over" and 12 < a.full.motor_current < 30,
    ),
    Case(
        "no propeller, full command: one or two amps, more than twice is a fault",
        {"kv": 2280, "stator_d_mm": 18, "stator_h_mm": 6, "cells": 3},
        lambda b, a: 0.2 < float(propmodel.motor.no_load_current(b.motor, 0.97 * 2280 * 12.6 / 60)) < 2.5,
    ),
    Case(
        "20 A four-in-one: two blades pass, large tri-blades do not",
        {
            "kv": 2300,
            "stator_d_mm": 22,
            "stator_h_mm": 5,
            "cells": 4,
            "diameter_in": 5.0,
            "pitch_in": 4.5,
            "blades": 2,
            "esc_a": 20,
            "esc_burst_a": 25,
            "capacity_mah": 1500,
        },
        lambda b, a: (
            limit(b, "controller_current").share
            < limit(
                with_fields(b, {"propeller.diameter": 5.5 * INCH, "propeller.pitch": 5 * INCH, "propeller.blades": 3}),
                "controller_current",
            ).share
        ),
    ),
    Case(
        "spark: 1000 uF at 25.2 V hold 0.32 J",
        {},
        lambda b, a: abs(float(response.capacitor_energy(1e-3, 25.2)) - 0.32) < 0.01,
    ),
    Case(
        "braking large propellers on a bench supply lifts the bus",
        {
            "kv": 720,
            "stator_d_mm": 35,
            "stator_h_mm": 8,
            "diameter_in": 13.0,
            "pitch_in": 5.5,
            "blades": 2,
            "cells": 4,
            "capacity_mah": 5000,
            "frame_g": 1200,
        },
        lambda b, a: (
            float(
                response.braked_bus_voltage(
                    response.rotor_energy(
                        response.rotor_inertia(
                            propeller_mass=propmodel.propeller.mass(b.propeller),
                            propeller_diameter=b.propeller.diameter,
                            motor_mass=propmodel.motor.motor_mass(b.motor),
                            can_diameter=0.041,
                        ),
                        a.full.rev_per_s,
                    ),
                    capacitance=1e-3,
                    bus_voltage=12.0,
                )
            )
            > 27.0
        ),
    ),
    # --- packs --------------------------------------------------------------------------------------------
    Case(
        "alarm on a punch with a 65C pack: sag is amps times resistance",
        {"pack_label_c": 65},
        lambda b, a: (
            abs(float(a.full.bus_voltage - (a.punch_drive.emf - a.full.pack_current * a.punch_drive.pack_resistance)))
            < 1e-6
        ),
    ),
    Case(
        "a full 1300 mAh pack at 100 A lasts 47 s",
        {},
        lambda b, a: abs(float(battery.capacity(b.pack)) * 3600 / 100 - 46.8) < 0.1,
    ),
    Case(
        "a C label never stands alone: heat and sag are shown beside it",
        {"pack_label_c": 90},
        lambda b, a: "do not compare" in limit(b, "pack_label").sentence and limit(b, "pack_heat").share > 0,
    ),
    Case(
        "Li-ion: longer, softer",
        {
            "cells": 6,
            "capacity_mah": 4000,
            "diameter_in": 7.0,
            "pitch_in": 4.0,
            "kv": 1300,
            "stator_d_mm": 28,
            "stator_h_mm": 6.5,
            "blades": 2,
            "frame_g": 420,
        },
        lambda b, a: _li_ion_is_longer_and_softer(b),
    ),
    Case("winter: resistance, not capacity", {}, lambda b, a: _cold_costs(b)),
    # --- lift, hover, time --------------------------------------------------------------------------------
    Case("hovers at a quarter of the stick", {}, lambda b, a: 0.18 < a.hover.duty < 0.35 and a.thrust_to_weight > 5),
    Case("hover command rises while the pack empties", {}, lambda b, a: a.hover_low.duty > a.hover.duty),
    Case(
        "8 min hover against 4 min flown",
        {},
        lambda b, a: 1.6 < float(flight_time(b, "hang still").time / flight_time(b, "play").time) < 2.6,
    ),
    Case("there is a best pack mass", {}, lambda b, a: _has_best_pack(b)),
    Case(
        "below twice its weight it cannot catch a gust",
        {"payload_g": 1500},
        lambda b, a: limit(b, "pull").state in ("over", "tight"),
    ),
    Case(
        "a motor at 100 % for a minute",
        {"payload_g": 900},
        lambda b, a: limit(b, "winding_heat", 60.0).share > limit(b, "winding_heat", 2.0).share,
    ),
    # --- wires, propellers, ducts ---------------------------------------------------------------------------
    Case(
        "45 A in 10 cm of 20 AWG: 0.15 V and 6.7 W a lead",
        {},
        lambda b, a: (
            abs(float(45 * wire.resistance(20, length=0.10)) - 0.15) < 0.01
            and abs(float(45**2 * wire.resistance(20, length=0.10)) - 6.8) < 0.3
        ),
    ),
    Case(
        "main leads at 120 A: 14 AWG 0.10 V, 12 AWG 0.06 V",
        {},
        lambda b, a: (
            abs(float(120 * wire.resistance(14, length=0.10)) - 0.10) < 0.005
            and abs(float(120 * wire.resistance(12, length=0.10)) - 0.062) < 0.005
        ),
    ),
    Case("a third blade: more pull for more than as much current", {"blades": 2}, lambda b, a: _third_blade(b)),
    Case(
        "the propeller unloads in flight",
        {},
        lambda b, a: float(propmodel.top_speed(b).current) < float(a.full.pack_current),
    ),
    # --- dive, wash, height ---------------------------------------------------------------------------------
    Case(
        "a 0.7 kg five-inch: wash near 7.5 m/s, straight descent in it is the ring",
        {},
        lambda b, a: 6.5 < a.wash_speed < 8.5 and wash_band(a.wash_speed).low < 3.8 < wash_band(a.wash_speed).high,
    ),
    Case(
        "a large disc sinking at 3.8 m/s is in its own wash",
        {
            "diameter_in": 15.0,
            "pitch_in": 5.0,
            "blades": 2,
            "kv": 400,
            "stator_d_mm": 41,
            "stator_h_mm": 14,
            "frame_g": 900,
            "payload_g": 0,
            "capacity_mah": 4000,
        },
        lambda b, a: wash_band(a.wash_speed).low < 3.8 < wash_band(a.wash_speed).high,
    ),
    Case(
        "30 m/s and TWR 4: more height than the 20 m of an arrest with no time to react",
        {},
        lambda b, a: float(way_out.pull_out(b, speed=30.0, load_limit=4.0).height_lost) > 20.0,
    ),
    Case(
        "less pull costs more height",
        {},
        lambda b, a: (
            float(way_out.pull_out(b, speed=30.0, load_limit=2.0).height_lost)
            > float(way_out.pull_out(b, speed=30.0, load_limit=4.0).height_lost) + 10.0
        ),
    ),
    # --- more -----------------------------------------------------------------------------------------------
    Case(
        "1,630 m: rotation and hover power up by about 8 %",
        {"altitude_m": 0, "air_temperature_c": 15},
        lambda b, a: _mountain(b, a),
    ),
    Case(
        "level flight at 45 degrees needs 1.41 times the weight",
        {},
        lambda b, a: abs(float(np.degrees(propmodel.flight.steepest_tilt(1.41421356)) - 45.0)) < 1e-3,
    ),
    Case(
        "six motors: one lost with its opposite still lifts",
        {"rotors": 6},
        lambda b, a: limit(b, "motor_lost").share < 1.0,
    ),
)


def _li_ion_is_longer_and_softer(b: Build) -> bool:
    other = with_fields(b, {"pack.chemistry": "li_ion"})
    lipo, li_ion = Assessment(b), Assessment(other)
    # same mass of pack: the Li-ion holds more charge
    more = float(battery.mass(b.pack) / battery.mass(other.pack))
    longer = Assessment(with_fields(other, {"pack.capacity_ah": 4.0 * more}))
    return bool(longer.hover_flight.hours > lipo.hover_flight.hours and li_ion.thrust_to_weight < lipo.thrust_to_weight)


def _cold_costs(b: Build) -> bool:
    cold = with_fields(b, {"pack.temperature": CELSIUS_ZERO})
    warm, frozen = Assessment(b), Assessment(cold)
    softer = frozen.full_low.bus_voltage < warm.full_low.bus_voltage
    shorter = flight_time(cold, "play").time <= flight_time(b, "play").time
    return bool(softer and shorter)


def _has_best_pack(b: Build) -> bool:
    # frame and payload light enough for the turning point to be inside the range
    time = flight_time(with_fields(b, {"pack.capacity_ah": np.linspace(0.5, 30.0, 60)}), Profile()).time
    best = int(np.nanargmax(time))
    return 0 < best < int(np.sum(np.isfinite(time))) - 1


def _third_blade(two: Build) -> bool:
    three = with_fields(two, {"propeller.blades": 3})
    a, b = Assessment(two).full, Assessment(three).full
    pull, amps = float(b.thrust / a.thrust), float(b.pack_current / a.pack_current)
    return 1.0 < pull < 1.25 and amps > pull


def _mountain(sea: Build, a: Assessment) -> bool:
    high = Assessment(standing_at(sea, altitude_step=1630.0, temperature_step=-0.0065 * 1630.0))
    density = float(np.asarray(high.build.air.density))
    faster = float(high.hover.rev_per_s / a.hover.rev_per_s)
    power = float(high.hover.shaft_power / a.hover.shaft_power)
    return abs(density - 1.044) < 0.003 and 1.06 < faster < 1.11 and 1.06 < power < 1.12


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_the_product_says_what_the_case_needs(case):
    build = craft(**case.given)
    assert case.check(build, Assessment(build))


def test_the_table_is_in_grams_and_inches():
    # the default craft of the cases is the club's five-inch
    assert abs(float(craft().mass) / GRAM - 690) < 60
