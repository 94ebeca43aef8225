"""First power-up: what to read at each step before the next one, and when to stop.

The figures come from the build; what no figure can give (the order, the faults, the cautions) is common
practice in the trade. We only ever tell: nothing here commands a motor.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from propmodel.base.checks import as_floats
from propmodel.base.units import GRAM_FORCE
from propmodel.power_up import transients
from propmodel.power_up.cautions import CAUTIONS, FAULTS, STOP_AT_ONCE, Fault
from propmodel.power_up.numbers import (
    CURRENT_BAND,
    SHEET_CURRENT_BAND,
    PowerUp,
    bare_motor,
    from_build,
    most_bare_rise,
    no_load_supply_current,
    standby_current,
    supply_limit,
)

__all__ = [
    "CAUTIONS",
    "DOUBTFUL",
    "FAULTS",
    "FINE",
    "STOP",
    "STOP_AT_ONCE",
    "Fact",
    "Fault",
    "PowerUp",
    "Step",
    "bare_motor",
    "facts",
    "from_build",
    "judge",
    "power_up_steps",
    "rows",
    "supply_limit",
]

FINE = "✓ as forecast"
DOUBTFUL = "! doubtful"
STOP = "✕ stop, because"
SPEED_BAND = 0.08
"""A bare motor's speed may be off by this share: label KV 4 to 5 % (1 sd), volts read to 2 %. [-]
Estimate."""
LEAD_INDUCTANCE = 0.8e-6
"""Of a metre of straight lead. [H/m] Estimate."""
CAPACITOR_RESISTANCE = 0.02
"""Own resistance of a bus capacitor. [ohm] Estimate."""
CERAMIC = 20e-6
"""Ceramic capacitors on the boards by themselves. [F] Estimate."""
COPPER_SHARE = 0.13
"""Copper in a motor's mass. [-] Estimate."""
TOUCH = 60.0
"""A bell that cannot be held is hotter than about this. [C] Common practice, from memory."""


@dataclass(frozen=True)
class Step:
    """One step; every step asks for one reading, or for a yes where ``unit`` is empty."""

    number: int
    """From 1, in the order of the work."""
    title: str
    """A few words."""
    tool: str
    """What to read with."""
    do: str
    """What to do, in one or two sentences."""
    expect_low: float | None
    """Least healthy reading, in `unit`; None where a yes is asked."""
    expect_high: float | None
    """Largest healthy reading, in `unit`; None where a yes is asked."""
    unit: str
    """Of the reading; empty where a yes is asked."""
    stop_if: str
    """When not to go on, in words."""
    why: str
    """What the step finds out."""
    basis: str
    """Where the figures come from."""
    stop_below: float | None = None
    """A reading below means stop, in `unit`; None for no such limit."""
    stop_above: float | None = None
    """A reading above means stop, in `unit`; None for no such limit."""
    why_low: str = ""
    """What a reading below ``expect_low`` tells, where ``why`` is about one above; empty where ``why`` serves both."""
    low_reason: str = ""
    """What a reading below ``stop_below`` means."""
    high_reason: str = ""
    """What a reading above ``stop_above`` means, or a "no" where a yes is asked."""


@dataclass(frozen=True)
class Fact:
    """A thing to know rather than to read: the figure, and what it means."""

    title: str
    """A few words."""
    value: float
    """In `unit`."""
    unit: str
    """Of the value."""
    text: str
    """What it means, in a sentence or two."""


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
        *_bare_motors(p),
        *_with_propellers(p),
    ]
    return [Step(number=i, **step) for i, step in enumerate(steps, start=1)]


def _tick(title: str, tool: str, do: str, *, stop_if: str, why: str, basis: str = "common practice") -> dict[str, Any]:
    return {
        "title": title,
        "tool": tool,
        "do": do,
        "expect_low": None,
        "expect_high": None,
        "unit": "",
        "stop_if": stop_if,
        "why": why,
        "basis": basis,
        "high_reason": stop_if,
    }


def _before_power(p: PowerUp) -> list[dict[str, Any]]:
    seconds = p.capacitance * 0.5 / 0.5e-3
    return [
        _tick(
            "Look before power",
            "lamp, screwdriver, eyes",
            "Propellers off. Motor screws no longer than the base is thick, no solder bridge, no board "
            "or pad touching "
            "the frame (carbon conducts), capacitor the right way round, every antenna on, red to plus.",
            stop_if="one of these is not so: put it right first",
            why="Nearly every craft that smokes at its first plug-in had one of these faults, and all can be seen.",
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
            "ESC stage. Between: something is wired that should not be, or reversed; part it and "
            "measure again.",
            "basis": "common practice, from memory",
            "stop_below": 10.0,
            "low_reason": "that is a short across the pack: find it before any power",
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
            "stop_above": 3.0 * high,
            "high_reason": "something is drawing far more than the electronics need",
        },
        _tick(
            "Radio and fail-safe",
            "your radio",
            "Propellers off. Bind, move each stick and switch, then switch the radio off: the receiver "
            "must report the "
            "loss and the flight controller must go to what you chose. No motor may turn through all of "
            "this, nor when "
            "you save settings and it starts anew.",
            stop_if="a motor twitches, or a lost radio is not noticed",
            why="A craft without fail-safe flies away. Motor outputs can pulse when settings are saved.",
        ),
    ]


def _bare_motors(p: PowerUp) -> list[dict[str, Any]]:
    full_n, full_rise = no_load_supply_current(p, 1.0)
    cap_n, cap_rise = no_load_supply_current(p, p.command_cap)
    limit, most = supply_limit(p, motor_test=True), most_bare_rise(p)
    band = SHEET_CURRENT_BAND if p.no_load_known else CURRENT_BAND
    test = "the flight controller's own motor test, one motor at a time; never arm it for this"
    out: list[dict[str, Any]] = [
        _tick(
            "Order and direction",
            test,
            f"Propellers off, limit {limit:.1f} A. Turn each motor at idle for two seconds: is it the "
            "corner the picture "
            "shows, and does it turn the way the picture shows? A strip of paper on the bell shows it.",
            stop_if="a motor is on the wrong corner, turns the wrong way or stutters",
            why="A wrong one flips the craft on take-off; blocked in the grass it then burns at full command.",
        )
    ]
    idle: dict[str, Any] = {
        "title": "Idle without propellers: current",
        "tool": "the supply's display",
        "do": f"One motor at its idle command ({100 * p.idle_duty:.0f} %). Read how far the current "
        "rises above standby.",
        "expect_low": 0.0,
        "unit": "A",
        "stop_if": "it rises more than the same motor should draw at full command",
        "stop_above": most,
        "high_reason": "a bare motor at idle draws this only with a fault: screws in the winding, bridge, bearing",
    }
    if p.active_freewheeling:
        idle_n, idle_rise = no_load_supply_current(p, p.idle_duty**p.throttle_exponent)
        idle |= {
            "expect_high": 2.5 * idle_rise,
            "why": "Hardly any: it only keeps the bell turning.",
            "basis": "forecast, x or / 2.5",
        }
        out += [
            idle,
            {
                "title": "Idle without propellers: speed",
                "tool": "the flight controller's motor page or a tachometer",
                "do": f"Same command. Electrical turns divided by {p.pole_pairs:.0f} pole pairs are turns of the bell.",
                "expect_low": 0.7 * idle_n * 60.0,
                "expect_high": 1.35 * idle_n * 60.0,
                "unit": "rpm",
                "stop_if": "one motor is far from the others",
                "why": "With active freewheeling speed follows the command; at so low a command the "
                "start-up share of the "
                "ESC still shows, so the band is wide.",
                "basis": "forecast for an ESC with active freewheeling",
            },
        ]
    else:
        why = (
            "This ESC has no active freewheeling: at part command its bare motor turns much faster than "
            "the command "
            "says, so speed is no sign of anything here."
            if p.active_freewheeling is False
            else "What a bare motor does at part command depends on the ESC's age: tell it to see the "
            "speed. Until then "
            "only the ceiling is given: it may never draw more than at full command."
        )
        idle |= {
            "expect_high": band * full_rise,
            "why": why,
            "basis": "ceiling: the full-command forecast",
        }
        out.append(idle)
    out += [
        {
            "title": "Equal corners",
            "tool": f"{test}; the supply's display",
            "do": f"Each of the {p.rotors} motors alone at the same low command. Divide the largest "
            "rise in current by "
            "the smallest.",
            "expect_low": 1.0,
            "expect_high": 1.2,
            "unit": "times",
            "stop_if": "one takes half as much again as another",
            "why": "The same part four times over is its own yardstick. Swap the odd motor with a "
            "neighbour: the fault moves "
            "with the motor, or stays with the ESC.",
            "basis": "common practice",
            "stop_above": 1.5,
            "high_reason": "one corner differs too much: screws, bearing, bent bell, bridge or a damaged winding",
        },
        {
            "title": "Full command without propellers: current",
            "tool": f"{test}; the supply's display",
            "do": f"Craft held by the frame, fingers and hair away from the bells, limit {limit:.1f} A. "
            "One motor up to full "
            "command for two seconds at most, at "
            f"{p.supply_voltage:.1f} V. Read the rise above standby.",
            "expect_low": cap_rise / band,
            "expect_high": full_rise * band,
            "unit": "A",
            "stop_if": f"it takes more than {most:.1f} A",
            "why": "No load, so only iron, bearings and air: an ampere or so. Sheets print the figure "
            "at 10 V; it grows with "
            "speed.",
            "basis": f"forecast from the no-load figure, x or / {band:g}"
            + ("" if p.no_load_known else "; an estimate until you type the figure of the sheet"),
            "stop_above": most,
            "high_reason": "so much without a propeller means a fault, not a hard-working motor",
        },
        {
            "title": "Full command without propellers: speed",
            "tool": "the flight controller's motor page or a tachometer",
            "do": "In the same two seconds, or in a second run.",
            "expect_low": (1.0 - SPEED_BAND) * cap_n * 60.0,
            "expect_high": (1.0 + SPEED_BAND) * full_n * 60.0,
            "unit": "rpm",
            "stop_if": "it is a quarter too slow, rough or loud",
            "why": "A bare motor turns at nearly KV times volts. About 14 % too low or 17 % too high in "
            "every motor is a wrong "
            "pole count in the settings (12 or 14 magnets), not a fault.",
            "basis": f"label KV, {100 * SPEED_BAND:.0f} % either way",
            "stop_below": 0.75 * cap_n * 60.0,
            "low_reason": "so slow a bare motor has a bad joint, a wrong winding or another KV than its label",
        },
    ]
    return out


def _with_propellers(p: PowerUp) -> list[dict[str, Any]]:
    out: list[dict[str, Any]] = []
    stand = (
        "One motor alone, clamped to a stand that cannot tip, behind a screen, nobody in the plane of "
        "the propeller; "
        "on the pack, the limiter out. Never the whole craft tied down."
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
                "stop_if": "it rises faster than the pull does, or anything flexes",
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
                "title": "One motor on a stand: pull",
                "tool": "kitchen scale under the stand",
                "do": "The same run, read from the scale. Not to be done with anyone near.",
                "expect_low": low / GRAM_FORCE,
                "expect_high": high / GRAM_FORCE,
                "unit": "g",
                "stop_if": "it is less than half: a propeller upside down or turning the wrong way",
                "why": "Pull and current together tell a weak propeller from a weak motor.",
                "basis": "forecast with the spread of the labels",
                "stop_below": 0.5 * low / GRAM_FORCE,
                "low_reason": "the propeller is upside down, turns the wrong way or is another one",
            }
        )
    if p.hover_current is None or p.hover_command is None:
        out.append(
            _tick(
                "First hover, then feel the motors",
                "open ground",
                "Do not try: by the forecast this craft cannot hover.",
                stop_if="it cannot hover as built",
                why="Full command does not hold it up.",
                basis="forecast",
            )
        )
        return out
    heat = p.hover_heat or 0.0
    place = (
        "In the open, ten metres away, nobody else near, propellers on with the print up. Lift to knee "
        "height for "
        "ten seconds and land. "
    )
    out += [
        {
            "title": "First hover: command",
            "tool": "the flight controller's display or log",
            "do": place
            + "Read the average motor command, idle included, pack nearly full."
            + ("" if p.command_cap >= 1.0 else f" Divide it by the command cap of {100 * p.command_cap:.0f} %."),
            "expect_low": 100.0 * p.hover_command[0],
            "expect_high": 100.0 * p.hover_command[2],
            "unit": "%",
            "stop_if": "it needs more than 70 %, shakes, drifts hard or sounds rough",
            "why": "Needs more than forecast: heavier than typed, wrong propeller, or a weak corner.",
            "why_low": "Needs less than forecast: lighter than typed, another propeller, or a firmware that "
            "straightens the pull over the stick.",
            "basis": "forecast with the spread of the labels",
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
            "why": "Current and command both high: mass or propeller. Current alone: the sensor's scale.",
            "basis": "forecast with the spread of the labels",
            "stop_above": 2.0 * p.hover_current[2],
            "high_reason": "twice the highest forecast: land and look for the cause",
        },
        {
            "title": "First hover, then feel the motors",
            "tool": "fingertip, or an infrared thermometer",
            "do": "Thirty seconds of hover, land, pull the plug, then touch each bell.",
            "expect_low": -20.0,
            "expect_high": TOUCH,
            "unit": "°C",
            "stop_if": f"you cannot keep a finger on a bell (above about {TOUCH:.0f} °C)",
            "why": f"Turning the propeller makes about {heat:.1f} W of heat in each motor here; Margins says how warm "
            "that makes a bell. If it is hotter, look at screws in the winding, bearings, a bent propeller or the "
            "control loop.",
            "basis": "common practice, from memory; heat from the forecast",
            "stop_above": 80.0,
            "high_reason": "this hot after half a minute of hover: a fault, or a load far too large for the motor",
        },
    ]
    return out


def facts(p: PowerUp) -> list[Fact]:
    """Return what to know beside the readings: blocked propeller, plugging in, braking.

    Parameters
    ----------
    p : PowerUp

    Returns
    -------
    list of Fact

    Examples
    --------
    >>> from propmodel.assembly.demo import demo
    >>> [f.unit for f in facts(from_build(demo("scree")))]
    ['A', 's', 'A', 'J', 'V', 'V']
    """
    stall = p.full_voltage / p.resistance
    part = (p.hover_command or (0.0, 0.3, 0.0))[1]
    seconds = float(
        transients.blocked_seconds(
            p.hover_duty * stall, winding_resistance=p.winding_resistance, copper_mass=COPPER_SHARE * p.motor_mass
        )
    )
    loop = {
        "resistance": p.pack_resistance + CAPACITOR_RESISTANCE,
        "inductance": 2.0 * max(p.lead_length, 0.02) * LEAD_INDUCTANCE,
    }
    capacitance = max(p.capacitance, CERAMIC)
    inrush = float(transients.inrush_current(p.full_voltage, capacitance=capacitance, **loop))
    energy = float(transients.capacitor_energy(p.full_voltage, capacitance))
    bare = loop | {"resistance": p.pack_resistance}
    ring = float(transients.ring_voltage(p.full_voltage, capacitance=CERAMIC, **bare))
    speed = no_load_supply_current(p, 1.0)[0] if p.hover_rev_per_s is None else p.hover_rev_per_s
    kinetic = float(transients.rotor_energy(p.bell_inertia + p.propeller_inertia, speed))
    rise = float(transients.braking_voltage(p.supply_voltage, capacitance=capacitance, energy=kinetic))
    rating = (
        f"Its capacitor is rated {p.capacitor_voltage:.0f} V."
        if p.capacitor_voltage is not None
        else "A capacitor needs a rating well above the full pack (35 V on six cells: common practice)."
    )
    return [
        Fact(
            "Blocked propeller: motor current at full command",
            stall,
            "A",
            "A motor that stands still makes no voltage of its own, so only its resistance holds the "
            "current back: "
            "volts over ohms. Caught in grass: disarm at once.",
        ),
        Fact(
            "Blocked propeller: time to burn at hover command",
            seconds,
            "s",
            f"Even at {100 * part:.0f} % command the windings go from 25 to 120 °C in about this time, "
            "with no air moving.",
        ),
        Fact(
            "Spark at plug-in: peak current",
            inrush,
            "A",
            "Pack meets empty capacitors through a few hundredths of an ohm. It lasts well under a "
            "millisecond but pits the "
            "contacts: push the plug home in one go, or use an anti-spark resistor or connector.",
        ),
        Fact(
            "Spark at plug-in: energy",
            energy,
            "J",
            "C V²/2 goes into the capacitors, and as much again into the spark and the leads.",
        ),
        Fact(
            "Plug-in without the capacitor: bus peak",
            ring,
            "V",
            "Leads and small ceramic capacitors ring; the large capacitor's own resistance damps it. " + rating,
        ),
        Fact(
            "Braking one motor with its propeller on a bench supply: bus could reach",
            rise,
            "V",
            f"From hover speed one rotor gives back {kinetic:.1f} J. A pack takes it; a supply cannot, "
            "and the voltage climbs "
            "until something fails. Switch active braking off on a supply, or test on a pack.",
        ),
    ]


def _said(value: float) -> str:
    """A number with two digits, three from 100 on."""
    if math.isinf(value):
        return "no upper limit"
    if value == 0.0:
        return "0"
    size = math.floor(math.log10(abs(value)))
    digits = (2 if size >= 2 else 1) - size
    return f"{round(value, digits):.{max(digits, 0)}f}"


def judge(step: Step, reading: float | bool | None) -> str:
    """Say what a reading means.

    Parameters
    ----------
    step : Step
    reading : float, bool or None
        In the step's unit; True or False where the step asks for a yes; None = not read yet.

    Returns
    -------
    str
        Empty for None, else beginning with ``✓ as forecast``, ``! doubtful`` or ``✕ stop, because``.

    Raises
    ------
    ValueError
        If the reading is no number.

    Examples
    --------
    >>> from propmodel.assembly.demo import demo
    >>> steps = power_up_steps(from_build(demo("scree")))
    >>> judge(steps[1], 0.4)
    '✕ stop, because that is a short across the pack: find it before any power.'
    >>> judge(steps[1], 20_000)
    '✓ as forecast'
    """
    if reading is None:
        return ""
    if step.expect_low is None or step.expect_high is None:
        if not isinstance(reading, bool | np.bool_):
            raise ValueError(f"step {step.number} asks for a yes or a no, got {reading!r}")
        return FINE if reading else f"{STOP} {step.high_reason}."
    value = float(as_floats(f"reading of step {step.number}", reading))
    if math.isnan(value):
        raise ValueError(f"reading of step {step.number} must be a number, got nan")
    if step.stop_below is not None and value < step.stop_below:
        return f"{STOP} {step.low_reason}."
    if step.stop_above is not None and value > step.stop_above:
        return f"{STOP} {step.high_reason}."
    if step.expect_low <= value <= step.expect_high:
        return FINE
    if value > step.expect_high:
        return f"{DOUBTFUL}: above the {_said(step.expect_high)} {step.unit} forecast. {step.why}"
    why = step.why_low or step.why
    if step.unit == "%" and 0.0 < value < 1.0:
        why = f"The reading is asked in per cent: {_said(100.0 * value)} for {value:g}. {why}"
    return f"{DOUBTFUL}: below the {_said(step.expect_low)} {step.unit} forecast. {why}"


def rows(steps: list[Step]) -> list[dict[str, str]]:
    """Return the steps as rows of plain text, for a printed table.

    Parameters
    ----------
    steps : list of Step
        From `power_up_steps`.

    Examples
    --------
    >>> from propmodel.assembly.demo import demo
    >>> rows(power_up_steps(from_build(demo("scree"))))[1]["expect"]
    'above 500 ohm'
    """
    out = []
    for step in steps:
        if step.expect_low is None or step.expect_high is None:
            expect = "yes"
        elif math.isinf(step.expect_high):
            expect = f"above {_said(step.expect_low)} {step.unit}"
        elif step.expect_low <= 0.0:
            expect = f"up to {_said(step.expect_high)} {step.unit}"
        else:
            expect = f"{_said(step.expect_low)} to {_said(step.expect_high)} {step.unit}"
        out.append(
            {
                "number": str(step.number),
                "title": step.title,
                "tool": step.tool,
                "do": step.do,
                "expect": expect,
                "stop_if": step.stop_if,
                "why": step.why,
                "basis": step.basis,
            }
        )
    return out
