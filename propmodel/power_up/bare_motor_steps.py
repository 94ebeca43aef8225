"""Steps with bare motors: direction, idle, half and full command without propellers."""

from __future__ import annotations

from typing import Any

from propmodel.power_up.numbers import (
    CURRENT_BAND,
    SHEET_CURRENT_BAND,
    PowerUp,
    most_bare_rise,
    no_load_supply_current,
    supply_limit,
)
from propmodel.power_up.step import tick

__all__: list[str] = []

OFF = (
    "Propellers off. Hold the craft by its frame, fingers, hair and cables away from the bells. Motor test only, not "
    "armed."
)
"""Before every run of a bare motor."""
SPEED_BAND = 0.08
"""A bare motor's speed may be off by this share: label KV 4 to 5 % (1 sd), volts read to 2 %. [-]
Estimate."""


def bare_motors(p: PowerUp) -> list[dict[str, Any]]:
    full_n, full_rise = no_load_supply_current(p, 1.0)
    cap_n, cap_rise = no_load_supply_current(p, p.command_cap)
    limit, most = supply_limit(p, motor_test=True), most_bare_rise(p)
    band = SHEET_CURRENT_BAND if p.no_load_known else CURRENT_BAND
    test = "the flight controller's own motor test, one motor at a time; never arm it for this"
    out: list[dict[str, Any]] = [
        tick(
            "Order and direction",
            test,
            f"Limit {limit:.1f} A. Turn each motor at idle for two seconds: is it the corner the flight controller's "
            "picture shows, and does it turn that way? A strip of paper on the bell shows it.",
            stop_if="a motor is on the wrong corner, turns the wrong way or stutters",
            why="A wrong one flips the craft on take-off; blocked in the grass it then burns at full command.",
            caution=OFF,
        )
    ]
    idle: dict[str, Any] = {
        "title": "Idle without propellers: current",
        "tool": "the supply's display",
        "do": f"One motor at its idle command ({100 * p.idle_command:.0f} %). Read how far the current "
        "rises above standby.",
        "expect_low": 0.0,
        "unit": "A",
        "stop_if": "it rises more than the same motor should draw at full command",
        "stop_above": most,
        "high_reason": "a bare motor at idle draws this only with a fault: screws in the winding, bridge, bearing",
        "caution": OFF,
    }
    if p.active_freewheeling:
        idle_n, idle_rise = no_load_supply_current(p, p.idle_command**p.throttle_exponent)
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
                "caution": OFF,
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
            "with the motor, or stays with the ESC. After a swap check order and direction again, and every nut.",
            "basis": "common practice",
            "caution": OFF,
            "stop_above": 1.5,
            "high_reason": "one corner differs too much: screws, bearing, bent bell, bridge or a damaged winding",
        },
        {
            "title": "Full command without propellers: current",
            "tool": f"{test}; the supply's display",
            "do": f"Limit {limit:.1f} A. One motor up to full "
            "command for two seconds at most, at "
            f"{p.supply_voltage:.1f} V. Read the rise above standby.",
            "expect_low": cap_rise / band,
            "expect_high": full_rise * band,
            "unit": "A",
            "stop_if": f"it takes more than {most:.1f} A",
            "caution": OFF,
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
            "caution": OFF,
            "why": "A bare motor turns at nearly KV times volts. About 14 % too low or 17 % too high in "
            "every motor is a wrong "
            "pole count in the settings (12 or 14 magnets), not a fault.",
            "basis": f"label KV, {100 * SPEED_BAND:.0f} % either way",
            "stop_below": 0.75 * cap_n * 60.0,
            "low_reason": "so slow a bare motor has a bad joint, a wrong winding or another KV than its label",
        },
    ]
    return out
