"""Troubleshooting of changes: a motor swapped, a first take-off, a charger's readings, a heavier camera. Pure functions.

Common practice, from memory; the numbers are those of this build.
"""

from __future__ import annotations

from explorer.app_pages.why.troubleshooting.trouble_records import CraftAnswers, Trouble
from explorer.text.numbers import value
from propmodel.assembly.build import with_fields
from propmodel.assess.assessment import Assessment
from propmodel.base.arrays import number
from propmodel.base.units import GRAM, MILLIOHM
from propmodel.components import battery
from propmodel.flight.endurance import flight_time

__all__ = ["CHANGE_TROUBLES"]

MORE_CAMERA, CAMERA_STEP = 0.15, 0.005
"""Mass added for the answer about a heavier camera, as a share of the take-off mass [-], and its rounding [kg]."""


def _swap(c: CraftAnswers) -> str:
    kv = number(c.build.motor.kv)
    return (
        "Pack out, propellers off. Find out first why the old one burnt, or the new one follows: screws that touch the "
        "windings, a bent bell, a blocked propeller, a damaged ESC. Fit the same motor: same stator and "
        f"{kv:.0f} KV. Then in this order: turn it by hand; no short between its leads and the frame; direction by the "
        "motor test, and if it is wrong change over any two of its three leads or the ESC's setting; then the right propeller, and the nut "
        "that tightens against its turning. Hover low for 20 seconds, land, pack out, and feel all motors: one warmer "
        "than the others is still wrong."
    )


def _take_off(c: CraftAnswers) -> str:
    return (
        "Do not give more throttle: against the ground the motors go to full command. Disarm, pack out, propellers "
        "off. Check in this order: which motor answers as which corner (motor test, one at a time), the direction of "
        f"each of the {number(c.build.rotors):.0f}, the way the flight controller is turned, then the propellers: the "
        "writing up, the leading edge first, each on the motor that turns its way. Page Plug in has these as steps."
    )


def _charger(c: CraftAnswers) -> str:
    pack = c.build.pack
    strings = number(pack.parallel)
    ten = number(battery.ten_second_resistance(1.0))
    usual = number(battery.cell_resistance_new(pack)) / ten / strings / MILLIOHM
    return (
        f"A charger should show about {usual:.2g} mohm for each cell of such a pack, new and at 25 °C (estimate from "
        "its label; chargers differ by a third). Twice that is a tired pack, and colder cells read higher. One cell "
        "far above the others, or one whose voltage stays apart after charging, ends the pack: do not fly it. Type the "
        "mean of the cells under What feeds it, with the temperature: it narrows the sag most."
    )


def _camera(c: CraftAnswers) -> str:
    if not c.hovers:
        return "This craft does not hover as it is: a heavier camera only adds to that."
    more = CAMERA_STEP * round(MORE_CAMERA * number(c.whole.mass) / CAMERA_STEP)
    heavier = with_fields(c.build, {"craft.payload_mass": number(c.build.craft.payload_mass) + more})
    then = Assessment(heavier)
    if not bool(then.can_hover):
        return f"With {more / GRAM:.0f} g more this craft does not hover: no heavier camera on it."
    times = [number(flight_time(one).time) for one in (c.build, heavier)]
    ratios = [number(one.thrust_to_weight) for one in (c.whole, then)]
    commands = [number(one.hover_command) for one in (c.whole, then)]
    return (
        f"With {more / GRAM:.0f} g more a hover takes {value('percent', commands[1])} of the command in place "
        f"of {value('percent', commands[0])} and lasts {value('minutes', times[1])} in place of "
        f"{value('minutes', times[0])}; the thrust is {ratios[1]:.1f} times the weight in place of {ratios[0]:.1f}, and "
        "a pull-out needs more height. The throttle curve stays, only the hover mark moves. Keep the centre of mass in "
        "the middle, and watch the mass limit of your local rules."
    )


CHANGE_TROUBLES = (
    Trouble("swap", "I change a motor: what is to be checked?", _swap, "plug_in",
            "swap replace new motor burnt burned again repair spare crash direction nut screws"),
    Trouble("take_off", "It flips over at take-off", _take_off, "plug_in",
            "flip flips takeoff crash first flight order direction upside down won't lift turns over arm"),
    Trouble("charger", "The charger shows mohm for each cell: is that good?", _charger, "minutes",
            "charger reading internal resistance IR milliohm cell imbalance low age tired health"),
    Trouble("camera", "A heavier camera: what do I lose?", _camera, "lift",
            "heavy payload weight mass film minutes add"),
)  # fmt: skip
