"""Troubleshooting of setup and wear: swollen packs, yaw, drift, vibration, idle, gains and filters. Pure functions.

Common practice, from memory; the numbers are those of this build. Names of firmware settings are not used.
"""

from __future__ import annotations

import math

import numpy as np

from explorer.app_pages.why.troubleshooting.trouble_records import CraftAnswers, Trouble
from explorer.text.numbers import value
from propmodel.assembly.build import COAXIAL_THRUST, drag_areas, with_fields
from propmodel.assess.assessment import Assessment
from propmodel.assess.margins import PACK_LIMIT
from propmodel.base.arrays import number
from propmodel.base.constants import STANDARD_GRAVITY
from propmodel.base.units import CELSIUS_ZERO
from propmodel.components import battery, propeller
from propmodel.components.controller import duty_from_throttle
from propmodel.powertrain.operating_point import at_duty
from propmodel.powertrain.prepared import prepare
from propmodel.studies.punch import punch

__all__ = ["SETUP_TROUBLES"]

NO_HOVER = "By the forecast this craft does not hover, so it has no figures here."
LEAN = math.radians(1.0)
"""A tilt that is not visible. [rad]"""


def _swollen(c: CraftAnswers) -> str:
    low = number(c.whole.full_throttle_at_reserve.bus_voltage) / number(c.build.pack.cells)
    return (
        "The gas in it comes from damaged cells. Do not charge or fly it again, do not press or pierce it; put it "
        "outdoors on something that cannot burn, and take it to a collection point. A pack swells when it is emptied "
        f"too far, warmer than about {PACK_LIMIT - CELSIUS_ZERO:.0f} °C, stored full or crashed. A punch at "
        f"the end of the flight pulls this one to {low:.2f} V a cell."
    )


def _yaw(c: CraftAnswers) -> str:
    if not c.hovers:
        return NO_HOVER
    each = number(c.build.weight) / number(c.build.rotors)
    return (
        "Check first, pack out and propellers off: direction of each motor, the right propeller on each, motors square "
        "to the arm. One motor tilted by a degree pushes sideways with "
        f"{1000.0 * each * math.sin(LEAN) / STANDARD_GRAVITY:.1f} g at the end of its arm. Yaw is the weakest axis: it "
        "comes from the torque of the propellers alone, so large slow craft turn late and swing past."
    )


def _drift(c: CraftAnswers) -> str:
    if not c.hovers:
        return NO_HOVER
    front = number(drag_areas(c.build)[0])
    speed = math.sqrt(2.0 * number(c.build.weight) * math.tan(LEAN) / (number(c.build.air.density) * front))
    return (
        "Wind carries any craft that holds no position. Without wind: one degree off level ends in about "
        f"{value('speed', speed)}. Set level on a level table with the propellers off; then look at the centre of "
        "mass, a bent motor, and shaking that misleads the accelerometer."
    )


def _vibration(c: CraftAnswers) -> str:
    if not c.hovers:
        return NO_HOVER
    slow, fast = number(c.whole.hover.rev_per_s), number(c.whole.full_throttle.rev_per_s)
    return (
        f"A rotor vibrates once a turn: {slow:.0f} Hz in a hover, {fast:.0f} Hz flat out, and "
        f"{slow * number(c.build.propeller.blades):.0f} Hz where the blades pass an arm. Pack out, then: a chipped or "
        "bent blade, a bent bell, a worn bearing, loose screws, a soft arm, a flight controller without soft mounts. "
        "Balance or change the propeller first; a filter hides shaking and delays control."
    )


def _idle(c: CraftAnswers) -> str:
    part = c.build.controller
    duty = number(duty_from_throttle(part, 0.0, command_cap=c.build.command_cap))
    point = at_duty(prepare(c.build, 1.0), np.asarray(max(duty, 1e-3)))
    lift = number(c.build.rotors) * number(point.thrust) / number(c.build.weight)
    return (
        f"Enough that no motor stops in a fast descent or a turn; with {100 * number(part.idle_duty):.0f} % idle these "
        f"turn {value('rpm', number(point.rev_per_s))} and carry {100 * lift:.0f} % of the weight. Too low: a motor "
        "loses step or comes late. Too high: it sinks slowly and floats."
    )


def _coaxial(c: CraftAnswers) -> str:
    return (
        f"The lower rotor works in the wash of the upper: a pair gives about {100 * COAXIAL_THRUST:.0f} % of the "
        "thrust of two rotors apart for the same power (Leishman, from memory). It saves room, not minutes. "
        + (
            "This build is counted so."
            if c.build.coaxial
            else "Say so under the rotors, with both of each pair counted: every page then takes it into account."
        )
    )


def _calibration(c: CraftAnswers) -> str:
    half = number(duty_from_throttle(c.build.controller, 0.5, command_cap=c.build.command_cap))
    return (
        "Only ESCs that read pulses of a varying width must learn the shortest and the longest one; with a digital "
        "signal there is nothing to calibrate. Propellers off: it sends full throttle. Signs that it is needed: motors "
        "that start one after the other, or never reach full speed. Half throttle gives about "
        f"{100 * half:.0f} % of the volts here."
    )


def _tuning(c: CraftAnswers) -> str:
    quick = punch(c.build)
    text = (
        f" The rotors of this build follow with a time constant of {1000 * number(quick.time_constant):.0f} ms: no "
        "gain makes them faster, and more delay from filters comes on top."
        if math.isfinite(number(quick.time_constant))
        else ""
    )
    return (
        "Fast trembling at full throttle: the gain on the error (P) is too high. Hot motors and a rough sound: the "
        "gain on its rate (D) passes noise of the gyro to the motors, or filters let too much through. Slow swinging "
        "after a turn: too little P or D, or too much filter delay. Cure shaking first, then lower gains by a tenth at "
        f"a time.{text}"
    )


def _tune_cells(c: CraftAnswers) -> str:
    if not c.hovers:
        return NO_HOVER
    cells, now = number(c.build.pack.cells), c.hover_command[0]
    # the same motor and ESC: throttle exponent and idle are unchanged
    exponent = number(c.build.controller.exponent)
    power = 1.0 / exponent
    idle = 100 * number(c.build.controller.idle_duty) ** power
    parts = []
    for other in (cells + 1.0, cells - 1.0):
        if other < 1.0:
            continue
        made = with_fields(c.build, {"pack.cells": other, "controller.throttle_exponent": exponent})
        point = Assessment(made, quick=True)
        if not bool(point.can_hover):
            parts.append(f"on {other:.0f} cells it does not hover")
            continue
        then = number(point.hover_command)
        parts.append(
            f"on {other:.0f} cells idle times {(cells / other) ** power:.2f} ({idle:.1f} % becomes "
            f"{idle * (cells / other) ** power:.1f} %), "
            f"gains times about {then / now:.2f} (hover command {value('percent', now)} becomes "
            f"{value('percent', then)})"
        )
    return (
        "For the same idle speed the share of the volts goes with one over the cells, and the idle command by the "
        f"throttle map (here to the power of {power:.2f}). A step of the stick "
        "moves the thrust more the lower the hover command is, so gains go with the hover command: "
        + "; ".join(parts)
        + ". If the KV changes with the cells so that KV times cells stays, both stay. Where the firmware makes up for "
        "the pack's volts by itself, leave the gains. First flight: away from people, low, ready to disarm."
    )


def _heavier_hover(c: CraftAnswers) -> str:
    if not c.hovers:
        return NO_HOVER
    heavier = with_fields(
        c.build, {"craft.payload_mass": number(c.build.craft.payload_mass) + 0.1 * number(c.build.mass)}
    )
    then = Assessment(heavier, quick=True)
    moved = (
        f"a tenth more mass lifts it to {value('percent', number(then.hover_command))}"
        if bool(then.can_hover)
        else "with a tenth more mass it does not hover"
    )
    return (
        f"The forecast is {value('percent', c.hover_command[0])} on a fresh pack, idle included, and "
        f"{value('percent', c.hover_command[1])} at the end; {moved}. Above the band of Plug in: weigh it as it flies, "
        "then look for a propeller upside down or of another pitch, a tired pack, a weak motor. A display that shows the "
        "stick, or counts above idle, shows something else. Type the reading into step 13 of Plug in: every page can "
        "then follow it."
    )


def _tiny_hover(c: CraftAnswers) -> str:
    if not c.hovers:
        return NO_HOVER
    grams, end = 1000.0 * number(c.build.mass), c.hover_command[1]
    here = f"This one, {grams:.0f} g, takes {value('percent', c.hover_command[0])}, at the end {value('percent', end)}"
    return (
        "Craft below 60 g on one or two cells commonly hover at 40 to 60 % and are flown so indoors; larger ones up to a kilogram should "
        f"stay below half, or little is left to catch a gust. {here}, with thrust {value('thrust_to_weight', number(c.whole.thrust_to_weight_at_reserve))} "
        "its weight then. Mass counts most: 2 g more on 25 g raise the hover power by about 12 %."
    )


def _lighter_propeller(c: CraftAnswers) -> str:
    if not c.hovers:
        return NO_HOVER
    each, many = 1000.0 * number(propeller.mass(c.build.propeller)), number(c.build.rotors)
    share = 0.1 * each * many / (1000.0 * number(c.build.mass))
    quick = punch(c.build)
    text = ""
    if math.isfinite(number(quick.time_constant)):
        text = f" What changes is how quickly a rotor follows ({1000 * number(quick.time_constant):.0f} ms here)."
    return (
        f"A tenth off each propeller of about {each:.1f} g takes {100 * share:.1f} % off the craft and about "
        f"{150 * share:.1f} % off the hover power (mass to the power of 1.5): the minutes hardly change."
        f"{text} A thin blade bends and breaks sooner. Larger or flatter blades fly longer: see Choose."
    )


def _two_packs(c: CraftAnswers) -> str:
    if not c.hovers:
        return NO_HOVER
    pack = c.build.pack
    mass, strings = number(battery.mass(pack)), number(pack.parallel)
    fields = {"pack.parallel": 2.0 * strings, "pack.mass": 2.0 * mass}
    twice = Assessment(with_fields(c.build, fields))
    now = value("minutes", 3600.0 * number(c.whole.hover_flight.hours))
    if not bool(twice.can_hover):
        then = f"With a second one of {1000 * mass:.0f} g this craft does not hover."
    else:
        then = (
            f"A second one of {1000 * mass:.0f} g makes {value('minutes', 3600.0 * number(twice.hover_flight.hours))} of hover out of "
            f"{now}, not twice as much, and thrust {value('thrust_to_weight', number(twice.thrust_to_weight))} its "
            f"weight instead of {value('thrust_to_weight', number(c.whole.thrust_to_weight))}."
        )
    return (
        f"{then} The current of each pack halves, and so does the sag. Same cells, capacity and age only, and charged to within "
        "a tenth of a volt before they are joined: else the fuller one drives its current into the other, with nothing "
        "to limit it."
    )


def _keeping(c: CraftAnswers) -> str:
    amp_hours = number(battery.capacity(c.build.pack))
    return (
        f"Charge at {value('current', amp_hours)} at most, once the capacity in an hour, unless the label allows more; with "
        "the balance lead, on a surface that does not burn, never alone in the house, never below 0 °C and never one "
        "that is puffed, dented or hot from flying. Keep packs at about 3.8 V a cell: full ones age and swell within "
        "weeks, empty ones die. Land with a fifth left."
    )


SETUP_TROUBLES: tuple[Trouble, ...] = (
    Trouble("swollen", "A pack is puffed or swollen: may I fly it?", _swollen, "minutes",
            "puffy puff swell bloated soft gas warm hot battery fire dispose damaged dented"),
    Trouble("heavier_hover", "It needs more throttle to hover than forecast", _heavier_hover, "plug_in",
            "higher hover command log reading heavier weigh tired wrong propeller upside down too low differs"),
    Trouble("tiny_hover", "A tiny craft hovers at half its command: is that bad?", _tiny_hover, "lift",
            "hovers 50 % small micro indoor ducted 1S one cell half throttle stick"),
    Trouble("lighter_propeller", "Does a lighter propeller fly longer?", _lighter_propeller, "choose",
            "light prop mass weight flight time carbon thin blade inertia"),
    Trouble("two_packs", "Two packs in parallel: what do I gain?", _two_packs, "minutes",
            "2 batteries side by side double 2P flight time longer"),
    Trouble("keeping", "How do I charge and keep packs?", _keeping, "minutes",
            "charging charger storage store voltage balance lipo bag winter lay up"),
    Trouble("vibration", "It shakes: where does the vibration come from?", _vibration, "margins",
            "vibrations vibrate jello wobbly picture balance bent prop noise"),
    Trouble("yaw", "It turns by itself, or yaw is weak", _yaw, "lift", "yaw spins rotates turns washout torque wrong direction order upside down props"),
    Trouble("drift", "It drifts in a hover", _drift, "lift", "drifts drifting slides level trim accelerometer"),
    Trouble("idle", "How high should the idle be?", _idle, "lift", "idle speed min throttle motors stop desync"),
    Trouble("coaxial", "Coaxial rotors: what do I lose?", _coaxial, "lift", "x8 octo pairs above each other coax"),
    Trouble("calibration", "Do the ESCs need calibration?", _calibration, "plug_in",
            "ESC calibration calibrate endpoints pulse width pwm start unevenly"),
    Trouble("tuning", "It trembles or swings: gains, filters, noise", _tuning, "margins",
            "tune tuning gain gains PID P D term filter filters noise gyro oscillation oscillate propwash bounce back twitchy"),
    Trouble("tune_cells", "Other cells, same craft: what of idle and gains?", _tune_cells, "lift",
            "scale scaling idle gains tune PID cells 4S 6S voltage change swap"),
)  # fmt: skip
