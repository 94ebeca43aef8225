"""The first sentence of page Lift: the forecast in words. Pure functions of results.

The order is constant: parts that do not fit, mass, hover, flight time with its spread, thrust, the part that reaches
its limit first, one remedy. Present tense, "you" and "it". A warning names the part, the number and the remedy.
"""

from __future__ import annotations

import html
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np

from explorer.inputs import Inputs, demo_inputs
from explorer.text.numbers import NARROW, Units, change, lowered, number, percent_change, prose, value
from explorer.text.sentence_parts import build_name, ink, misfit_sentence, misfits, pinned_builds, range_words, too_fast
from propmodel.assembly.demo import demo_names
from propmodel.assess.limits import Limit
from propmodel.base.constants import STANDARD_GRAVITY
from propmodel.base.status import Status
from propmodel.bench.pairs import measured_pairs

__all__ = [
    "Headline",
    "Numbers",
    "beyond_sum",
    "first_words",
    "nearest_limits",
    "opening",
    "pinned_line",
    "pinned_lines",
    "what_it_is",
]

# data/propellers/measured.csv: median of the fastest static runs; 11 of 211 propellers have more than two blades.
MEASURED_RPM = 6600.0
MEASURED_COUNT = 211
MEASURED_MANY_BLADES = 11

LOW_THRUST_RATIO = 2.0
"""Thrust to weight below which a craft cannot recover from a gust (common practice). [-]"""

_THINGS = {
    "pack_label": "pack", "pack_heat": "pack", "sag_fresh": "cells", "sag_low": "cells", "controller_current": "ESC",
    "motor_current": "motors", "winding_heat": "motors", "magnet_heat": "motors", "hover_heat": "motors",
    "main_leads": "pack leads", "motor_leads": "motor leads", "connector": "connector", "brownout": "electronics",
    "tip_speed": "propeller tips", "motor_volts": "motors", "free_tip": "motors", "pull": "thrust to weight",
    "hover_high": "hover command", "hover_low": "hover command", "motor_lost": "thrust with one motor out",
    "motor_cells": "motors", "controller_cells": "ESC", "video_voltage": "video transmitter",
    "camera_voltage": "camera", "regulator_voltage": "regulator", "receiver_voltage": "receiver",
    "capacitor_voltage": "capacitor", "frame_clearance": "frame", "mass_threshold": "mass you set",
}  # fmt: skip
_PLURAL = {"cells", "motors", "pack leads", "motor leads", "electronics", "propeller tips"}


class Numbers(Protocol):
    """Headline results that the sentence uses, in SI units."""

    @property
    def mass(self) -> float: ...
    @property
    def thrust_to_weight(self) -> float: ...
    @property
    def thrust_to_weight_at_reserve(self) -> float: ...
    @property
    def hover_throttle(self) -> float: ...
    @property
    def full_throttle_rev_per_s(self) -> float: ...
    @property
    def minutes(self) -> float:
        """Mixed flight time. [s]"""
        ...

    @property
    def status(self) -> int: ...


@dataclass(frozen=True)
class Headline:
    """Headline results of one build: forecast and ends of the 80 % band."""

    name: str
    low: Numbers
    mid: Numbers
    high: Numbers
    what: str = ""
    """What the craft is, for the reader who does not know its name: "an invented 5-inch craft"."""


def opening(head: Headline, found: Sequence[Limit], units: Units) -> str:
    """Return the sentence about a build.

    Parameters
    ----------
    head : Headline
        Results of the build.
    found : sequence of Limit
        Worst first, as from `propmodel.limits`.
    units : Units
        Units selected by the user.

    Returns
    -------
    str
        HTML; names must be escaped by the caller.
    """
    start = _cannot_hover(head, found, units) if _stays_down(head.mid) else _flying(head, found, units)
    return f"{misfit_sentence(found)} {start}".strip()


def _flying(head: Headline, found: Sequence[Limit], units: Units) -> str:
    mid = head.mid
    name = build_name(head.name) + (f", {html.escape(head.what)}," if head.what else "")
    lifts, hover = value("mass", mid.mass, units), value("percent", mid.hover_throttle)
    thrust = (
        f"its thrust is {ink(value('thrust_to_weight', mid.thrust_to_weight))} its weight"
        f"{range_words('thrust_to_weight', head.low.thrust_to_weight, head.high.thrust_to_weight)}"
    )
    lasts = _lasts(head)
    weak = mid.thrust_to_weight_at_reserve < LOW_THRUST_RATIO
    if weak:
        left = value("thrust_to_weight", mid.thrust_to_weight_at_reserve)
        start = (
            f"{name} lifts {ink(lifts)} and has a hover command of {ink(hover, bad=True)}. {lasts} "
            f"and {thrust}. At the end of the flight it is only {ink(left, bad=True)} its weight: below "
            f"{LOW_THRUST_RATIO:.0f} it cannot catch a gust."
        )
        fix = next((limit.fix for limit in found if limit.key == "pull" and limit.fix), "")
        return f"{start} {html.escape(_tidy(fix))}".strip()
    start = f"{name} takes off at {ink(lifts)} and has a hover command of {ink(hover)}. {lasts} and {thrust}."
    return start if misfits(found) else f"{start} {_first(found)}"


def _lasts(head: Headline) -> str:
    low, mid, high = (side.minutes for side in (head.low, head.mid, head.high))
    if not math.isfinite(mid):
        return "Flown your way it cannot hold that cruise speed"
    if mid < 5.0:
        return "Flown your way the pack falls below its landing voltage at once"
    long = ink(value("minutes", mid, low=low, high=high))
    lasts = f"Flown your way it lasts about {long}{range_words('minutes', low, high)}"
    if head.mid.status == Status.THROTTLE_FULL:
        # the flight ends before the reserve: the craft must land earlier
        return f"{lasts}, until {ink('full throttle no longer holds it up', bad=True)},"
    return lasts


def _stays_down(mid: Numbers) -> bool:
    """Return whether the craft cannot sustain hover, whatever its thrust in the first seconds."""
    return mid.status == Status.CANNOT_HOVER or not math.isfinite(mid.hover_throttle)


def _cannot_hover(head: Headline, found: Sequence[Limit], units: Units) -> str:
    ratio = head.mid.thrust_to_weight
    if head.mid.status == Status.BELOW_ELECTRONICS_MINIMUM:
        return "This cannot hover: the load pulls the pack below what the flight electronics need."
    if ratio >= 1.0:
        return (
            f"This cannot hover for longer than seconds: at {ink(value('mass', head.mid.mass, units))} take-off mass "
            f"its thrust is {ink(number(ratio, 0.01) + ' times', bad=True)} its weight flat out on a fresh pack, and "
            "less than its weight once the pack sags under the load. Take weight off, or a pack of less resistance."
        )
    lacks = value("thrust", (1.0 - ratio) * head.mid.mass * STANDARD_GRAVITY, units)
    fix = next((limit.fix for limit in found if limit.key in ("pull", "hover_high") and limit.fix), "")
    share = number(math.floor(100.0 * ratio) / 100.0, 0.1 if ratio < 0.95 else 0.01)
    return (
        f"This cannot hover: at {ink(value('mass', head.mid.mass, units))} take-off mass its thrust is "
        f"{ink(share + ' times', bad=True)} its weight flat out. It lacks {ink(lacks, bad=True)} of thrust. "
        f"{html.escape(_tidy(fix))}"
    )


def _tidy(fix: str) -> str:
    """Return a remedy with formatted numbers, without breaks before units."""
    return prose(fix, NARROW)


def _because(one: Limit) -> str:
    """Return the reason of a limit for use inside a sentence; HTML."""
    return html.escape(_tidy(lowered(one.reason)))


def _first(found: Sequence[Limit]) -> str:
    judged = [limit for limit in found if limit.state != "unknown"]
    if not judged:
        return "Too little is known to say which part reaches its limit first."
    worst = judged[0]
    thing = _THINGS.get(worst.key, worst.part)
    their = "their limit" if thing in _PLURAL else "its limit"
    reach = "reach" if thing in _PLURAL else "reaches"
    why = _because(worst)
    if worst.kind == "fits" and worst.state == "over":
        return f"It is over the {ink(thing, bad=True)}: {why}. {html.escape(_tidy(worst.fix))}"
    if worst.usual:
        # usual at full throttle: written without the warning colour
        return f"As is usual for such craft flat out, the {ink(thing)} {reach} {their} first: {why}."
    if worst.state == "over":
        first = f"The {ink(thing, bad=True)} {reach} {their} first: {why}. {html.escape(_tidy(worst.fix))}"
        return first if worst.key == "free_tip" else f"{too_fast(found)}{first}"
    bars = [limit for limit in judged if limit.kind == "share"]
    if not bars:
        return "No limit is reached."
    nearest = bars[0]
    thing = _THINGS.get(nearest.key, nearest.part)
    verb = "come" if thing in _PLURAL else "comes"
    return f"No limit is reached; the {ink(thing)} {verb} closest: {_because(nearest)}."


def pinned_line(head: Headline, pin: Headline | None, units: Units) -> str:
    """Return the results of the pinned build in the same order, and the differences of the current build."""
    if pin is None:
        return '<span class="dash"></span>Nothing is pinned. Pin this build, then every change shows against it.'
    mid = pin.mid
    parts = [value("mass", mid.mass, units)]
    if _stays_down(mid):
        parts.append(f"cannot hover, thrust {value('thrust_to_weight', mid.thrust_to_weight)} its weight")
    else:
        parts += [
            f"hover command {value('percent', mid.hover_throttle)}",
            value("minutes", mid.minutes) if math.isfinite(mid.minutes) else "cannot fly your way",
            f"thrust {value('thrust_to_weight', mid.thrust_to_weight)} its weight",
        ]
    text = f'<span class="dash"></span>Pinned: <em>{html.escape(pin.name or "unnamed")}</em>, {", ".join(parts)}.'
    return f"{text} {_against(head, pin, units)}".strip()


def pinned_lines(head: Headline, pins: Sequence[Headline], units: Units) -> str:
    """Return the pinned build, or two results of each of several pinned builds; the table has the others."""
    if len(pins) < 2:
        return pinned_line(head, next(iter(pins), None), units)
    phrases = []
    for pin in pins:
        minutes = value("minutes", pin.mid.minutes) if math.isfinite(pin.mid.minutes) else "cannot fly your way"
        ratio = f"{value('thrust_to_weight', pin.mid.thrust_to_weight)} its weight"
        phrases.append((pin.name or "unnamed", "cannot hover" if _stays_down(pin.mid) else f"{minutes}, {ratio}"))
    return pinned_builds(phrases, end=" More in the table <em>Side by side</em>.")


def _against(head: Headline, pin: Headline, units: Units) -> str:
    """Return a change in words: heavier, longer, less thrust."""
    now, then = head.mid, pin.mid
    found = [
        f"{verb} {words}"
        for verb, kind, a, b in (
            ("is", "mass", now.mass, then.mass),
            ("lasts", "minutes", now.minutes, then.minutes),
        )
        if math.isfinite(a - b) and (words := change(kind, a, b, units)) != "the same"
    ]
    share = percent_change(now.thrust_to_weight, then.thrust_to_weight)
    if not share.startswith("0"):
        side = "more" if now.thrust_to_weight > then.thrust_to_weight else "less"
        found.append(f"has {share} {side} thrust for its weight")
    return f"This one {_listed(found)}." if found else "This one is the same where it counts here."


def _listed(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def what_it_is(inputs: Inputs) -> str:
    """Return what a demo craft is, while nothing of it is changed; else "".

    Examples
    --------
    >>> what_it_is(demo_inputs("fell")), what_it_is(demo_inputs("rill"))
    ('an invented 10-inch craft', 'an invented 1.6-inch craft')
    """
    if not any(inputs == demo_inputs(name) for name in demo_names()):
        return ""
    size = f"{inputs.diameter_in:.1f}" if inputs.diameter_in < 2.0 else f"{inputs.diameter_in:.0f}"
    return f"an invented {size}-inch craft"


def first_words() -> str:
    """Return the text for a first visit: what to move, what to type, what two things in the sentence mean."""
    return (
        "Move <b>Take-off mass</b> and watch the hover line; then type your labels in the side panel"
        '<span class="wi-phone"> (behind <b>Edit build</b>)</span>. Brackets: 8 in 10 such craft. '
        "Hover command: share of full throttle."
    )


@lru_cache(maxsize=1)
def stand_rpm() -> float:
    """Return the highest rotor speed of the usable points of the measured pairs. [rpm]"""
    return 60.0 * max(float(np.nanmax(p.rev_per_s[p.usable], initial=0.0)) for p in measured_pairs())


def beyond_sum(inputs: Inputs, mid: Numbers) -> tuple[str, str, str]:
    """Return one step of the worked example: rotor speed at full throttle over that of the wind-tunnel measurements."""
    rpm = 60.0 * mid.full_throttle_rev_per_s
    return (
        "How far beyond what was measured",
        f"{rpm:,.0f} rpm flat out / {MEASURED_RPM:,.0f} rpm, the middle of the fastest static runs = "
        f"{rpm / MEASURED_RPM:.1f} times; {MEASURED_MANY_BLADES} of {MEASURED_COUNT} measured propellers have "
        "more than two blades",
        f"Open wind-tunnel measurements; stands reached {stand_rpm():,.0f} rpm with motor and propeller together.",
    )


def nearest_limits(found: Sequence[Limit], count: int = 3) -> list[Limit]:
    """Return at most ``count`` limits: parts that do not fit, then the largest shares."""
    worst = [limit for limit in found if limit.kind == "fits" and limit.state == "over"]
    bars = [limit for limit in found if limit.kind == "share" and limit.state != "unknown"]
    return (worst + bars)[:count]
