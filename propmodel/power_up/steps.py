"""First power-up: what to read at each step before the next one, and when to stop.

The figures come from the build; what no figure can give (the order, the faults, the cautions) is common
practice in the trade. We only ever tell: nothing here commands a motor.
"""

from __future__ import annotations

import math
from typing import Any

from propmodel.base.units import GRAM_FORCE
from propmodel.heat.hot_motor import TOUCH_CELSIUS
from propmodel.power_up.bare_motor_steps import bare_motors
from propmodel.power_up.cautions import CAUTIONS, FAULTS, FIRST_CAUTION, STOP_AT_ONCE, STOP_AT_ONCE_SHORT, Fault
from propmodel.power_up.numbers import (
    PowerUp,
    bare_motor,
    from_build,
    standby_current,
    supply_limit,
)
from propmodel.power_up.step import Step, tick

__all__ = [
    "CAUTIONS",
    "FAULTS",
    "FIRST_CAUTION",
    "STOP_AT_ONCE",
    "STOP_AT_ONCE_SHORT",
    "Fault",
    "PowerUp",
    "bare_motor",
    "from_build",
    "power_up_steps",
    "supply_limit",
]


def power_up_steps(p: PowerUp) -> list[Step]:
    """Return the numbered steps from the first look to the first hover.

    Parameters
    ----------
    p : PowerUp
        See `from_build`.

    Returns
    -------
    list of Step

    Examples
    --------
    >>> from propmodel.assembly.demo import demo
    >>> steps = power_up_steps(from_build(demo("scree")))
    >>> steps[0].title, steps[-1].title
    ('Look before power', 'First hover, then feel the motors')
    """
    steps: list[dict[str, Any]] = [
        *_before_power(p),
        *_plugging_in(p),
        *bare_motors(p),
        *_with_propellers(p),
    ]
    return [Step(number=i, **step) for i, step in enumerate(steps, start=1)]


def _before_power(p: PowerUp) -> list[dict[str, Any]]:
    seconds = p.capacitance * 0.5 / 0.5e-3
    return [
        tick(
            "Look before power",
            "lamp, screwdriver, eyes",
            "Motor screws no longer than the base is thick, no solder bridge, no board "
            "or pad touching "
            "the frame (carbon conducts), capacitor the right way round, every antenna on, red to plus.",
            stop_if="one of these is not so: put it right first",
            why="Nearly every craft that smokes at its first plug-in had one of these faults, and all can be seen.",
            caution="Pack out, propellers off.",
        ),
        {
            "title": "Resistance across the pack leads",
            "tool": "multimeter on ohm, red on plus, no pack",
            "do": "Hold the probes still until the reading stops moving, then note it. It starts near "
            "nothing and "
            f"climbs as the meter fills the capacitors, about {max(seconds, 0.5):.0f} s at each range.",
            "expect_low": 500.0,
            "expect_high": math.inf,
            "unit": "ohm",
            "stop_if": "it stays below 10 ohm, or does not climb at all",
            "why": "A short would have the whole pack behind it. Low and still: a bridge, a capacitor "
            "reversed, a failed "
            "ESC stage. From 10 to 500 ohm: something is wired wrongly. Disconnect parts one by one and measure again.",
            "basis": "common practice, from memory",
            "stop_below": 10.0,
            "low_reason": "that is a short across the pack: find it before any power",
            "caution": "Pack out, propellers off. Never an ohmmeter on a live lead.",
        },
    ]


def _plugging_in(p: PowerUp) -> list[dict[str, Any]]:
    low, high = standby_current(p)
    limit = supply_limit(p)
    return [
        {
            "title": "Set the current limit",
            "tool": "bench supply, or a current-limiting plug",
            "do": f"Set {p.full_voltage:.1f} V at most and {limit:.1f} A. A current-limiting plug with "
            "a pack does the same "
            "job for plugging in and for bare motors; it cannot feed a propeller.",
            "expect_low": 0.8 * limit,
            "expect_high": 1.6 * limit,
            "unit": "A",
            "stop_if": "the limit is several times what the electronics draw: it then protects nothing",
            "why": "A fault then shows as a falling voltage and not as a flame.",
            "basis": "1.5 times the forecast standby current, 0.5 A at least; common practice",
            "caution": "Propellers off. Red to plus: a reversed plug burns parts at once.",
            "stop_above": max(4.0 * limit, 3.0),
            "high_reason": "this limit would feed a fault until it burns: set it lower",
        },
        {
            "title": "Standby current",
            "tool": "the supply's display, or a meter in line",
            "do": "Plug in, motors still, and read after ten seconds. Feel every chip: warm is fine, hot is not.",
            "expect_low": low,
            "expect_high": high,
            "unit": "A",
            "stop_if": f"it draws more than {3 * high:.1f} A or the limit is reached",
            "why": f"Electronics of {p.electronics_power:.0f} W at {p.full_voltage:.1f} V. A regulator "
            "draws less current at "
            "more volts; a video transmitter may start at low power.",
            "basis": "forecast from the electronics' watts, an estimate",
            "caution": "Propellers off, limit set, antenna on, a surface that does not burn. Keep a hand at the plug.",
            "stop_above": 3.0 * high,
            "high_reason": "something is drawing far more than the electronics need",
        },
        tick(
            "Radio and fail-safe",
            "your radio",
            "Bind, move each stick and switch, then switch the radio off: the receiver "
            "must report the "
            "loss and the flight controller must go to what you chose. No motor may turn through all of "
            "this, nor when "
            "you save settings and it starts anew.",
            stop_if="a motor twitches, or a lost radio is not noticed",
            why="A craft without fail-safe flies away. Motor outputs can pulse when settings are saved.",
            caution="Propellers off: a motor can start by itself here.",
        ),
    ]


def _with_propellers(p: PowerUp) -> list[dict[str, Any]]:
    out: list[dict[str, Any]] = []
    stand = "One motor alone, clamped to a stand that cannot tip, on the pack, the limiter out."
    beside = (
        "Eye protection, a screen between you and the blades, nobody in their plane, others ten metres away. "
        "Check first: right direction, print up, nut tight. Never the whole craft tied down."
    )
    if p.stand_current is not None:
        low, _, high = p.stand_current
        out.append(
            {
                "title": "One motor on a stand: current (or go to the hover)",
                "tool": "stand, screen, eye protection, current meter",
                "do": f"{stand} Up slowly to full command, three seconds at most, pack full.",
                "expect_low": low,
                "expect_high": high,
                "unit": "A",
                "stop_if": "it rises faster than the thrust does, or anything flexes",
                "caution": beside,
                "why": "The one reading that says most about motor and propeller: enter it and the spread shrinks.",
                "basis": "forecast with the spread of the labels",
                "stop_above": 1.5 * high,
                "high_reason": "this is far beyond the forecast: wrong propeller, KV or cell count, or a fault",
            }
        )
    if p.stand_pull is not None:
        low, _, high = p.stand_pull
        out.append(
            {
                "title": "One motor on a stand: thrust",
                "tool": "kitchen scale under the stand",
                "do": "The same run, read from the scale.",
                "caution": beside,
                "expect_low": low / GRAM_FORCE,
                "expect_high": high / GRAM_FORCE,
                "unit": "g",
                "stop_if": "it is less than half: a propeller upside down or turning the wrong way",
                "why": "Thrust and current together tell a weak propeller from a weak motor.",
                "basis": "forecast with the spread of the labels",
                "stop_below": 0.5 * low / GRAM_FORCE,
                "low_reason": "the propeller is upside down, turns the wrong way or is another one",
            }
        )
    if p.hover_current is None or p.hover_command is None:
        out.append(
            tick(
                "First hover, then feel the motors",
                "open ground",
                "Do not try: by the forecast this craft cannot hover.",
                stop_if="it cannot hover as built",
                why="Full command does not hold it up.",
                basis="forecast",
                caution="Leave the propellers off.",
            )
        )
        return out
    heat = p.hover_heat or 0.0
    place = "In the open. Lift to knee height for ten seconds and land. "
    away = (
        "Ten metres away, nobody else near. Check first: each propeller on its corner, print up, turning the right "
        "way, nuts tight. Disarm at once if it tips or flips."
    )
    out += [
        {
            "title": "First hover: command",
            "tool": "the flight controller's display or log",
            "do": place
            + "Read the average motor command, idle included, pack nearly full."
            + ("" if p.command_cap >= 1.0 else f" Divide it by the throttle cap of {100 * p.command_cap:.0f} %."),
            "expect_low": 100.0 * p.hover_command[0],
            "expect_high": 100.0 * p.hover_command[2],
            "unit": "%",
            "stop_if": "it needs more than 70 %, shakes, drifts hard or sounds rough",
            "why": "Needs more than forecast: heavier than typed, wrong propeller, or a weak corner.",
            "why_low": "Needs less than forecast: lighter than typed, another propeller, or a firmware that "
            "straightens the thrust over the stick.",
            "basis": "forecast with the spread of the labels",
            "caution": away,
            "stop_above": max(70.0, 110.0 * p.hover_command[2]),
            "high_reason": "too little is left to steer with: land now",
        },
        {
            "title": "First hover: current",
            "tool": "the flight controller's display or log",
            "do": "The same hover; the sensor's scale may be off until you have set it from the mAh put back.",
            "expect_low": p.hover_current[0],
            "expect_high": p.hover_current[2],
            "unit": "A",
            "stop_if": "it draws twice the forecast",
            "caution": away,
            "why": "Current and command both high: mass or propeller. Current alone: the sensor's scale.",
            "basis": "forecast with the spread of the labels",
            "stop_above": 2.0 * p.hover_current[2],
            "high_reason": "twice the highest forecast: land and look for the cause",
        },
        {
            "title": "First hover, then feel the motors",
            "tool": "fingertip, or an infrared thermometer",
            "do": "Thirty seconds of hover, land, pull the plug, then touch each bell.",
            "caution": "Disarm and pull the plug before a hand goes near. Go for a bell with one finger: it may burn.",
            "expect_low": -20.0,
            "expect_high": TOUCH_CELSIUS,
            "unit": "°C",
            "stop_if": f"you cannot keep a finger on a bell (above about {TOUCH_CELSIUS:.0f} °C)",
            "why": f"Turning the propeller makes about {heat:.1f} W of heat in each motor here; Margins says how warm "
            "that makes a bell. If it is hotter, look at screws in the winding, bearings, a bent propeller or the "
            "control loop.",
            "basis": "common practice, from memory; heat from the forecast",
            "stop_above": 80.0,
            "high_reason": "this hot after half a minute of hover: a fault, or a load far too large for the motor",
        },
    ]
    return out
