"""Sentences of page Margins. Pure functions."""

from __future__ import annotations

import html
import math
from collections.abc import Sequence

from explorer.app_pages.margins.answers import HeatState, Response
from explorer.app_pages.margins.figures import tied
from explorer.inputs import Inputs
from explorer.text.numbers import NARROW, lowered, spread, value
from explorer.text.sentence_parts import build_name, dash, ink, pinned_builds, small_own_name, too_fast
from propmodel.assess.limits import Limit
from propmodel.flight.spin_up import CONTROLLER_LAG
from propmodel.heat.hot_motor import OTHER_CAUSES, hot_motor_verdict

__all__ = [
    "hot_words",
    "margins_opening",
    "pinned_margins",
    "pinned_margins_of_several",
    "response_words",
]

# ---- margins ----------------------------------------------------------------------------------------------


def _because(one: Limit) -> str:
    return html.escape(tied(lowered(one.reason)))


def _used(one: Limit) -> str:
    return "far over" if not math.isfinite(one.share) or one.share > 9.0 else f"{100 * one.share:.0f} % used"


_NUMBERS = {1: "one", 2: "two", 3: "three"}
_COUNTS = {1: "One limit is", 2: "Two limits are", 3: "Three limits are"}


@small_own_name
def margins_opening(inputs: Inputs, found: Sequence[Limit], held: str) -> str:
    """Return the parts that do not fit, whether an excess is usual, the first part at its limit, and the remedy."""
    name = build_name(inputs.name)
    misfits = [one for one in found if one.kind == "fits" and one.state == "over"]
    over = [one for one in found if one.kind == "share" and one.state == "over"]
    unknown = sum(one.kind == "fits" and one.state == "unknown" for one in found)
    if misfits:
        worst = misfits[0]
        more = f" {len(misfits) - 1} more below." if len(misfits) > 1 else ""
        return (
            f"{name} {ink('does not fit together', bad=True)}: {_because(worst)}. "
            f"{html.escape(tied(worst.fix))}{more} Put that right before any other number."
        )
    fits = "All ratings given fit together" if unknown else "All parts fit together"
    if unknown == sum(one.kind == "fits" for one in found):
        fits = "Fit not checked: cell ratings of ESC and motor missing"
    if not over:
        bars = [one for one in found if one.kind == "share" and one.state != "unknown"]
        if not bars:
            return f"{fits}. Too little is known to say which part reaches its limit first."
        near = bars[0]
        return (
            f"{fits}. No limit of {name} is reached flat out, {held}. The closest is {html.escape(near.name)}: "
            f"{ink(f'{100 * near.share:.0f} %')} used."
        )
    worst = over[0]
    count = _COUNTS.get(len(over), f"{len(over)} limits are")
    reached = f"{fits}. {too_fast(found)}{count} reached by {name} flat out, {held}"
    first = f"{html.escape(worst.name)}, {ink(_used(worst), bad=not worst.usual)}: {_because(worst)}."
    which = "The first is" if len(over) > 1 else "It is"
    if worst.usual:
        usual = "all usual" if len(over) > 2 else "both usual" if len(over) == 2 else "which is usual"
        return (
            f"{reached}, {usual} for such a craft: it holds full throttle for a few seconds, seldom on an almost "
            f"empty pack. {which} {first}"
        )
    also = sum(one.usual for one in over)
    usual = f", {_NUMBERS.get(also, str(also))} of them usual for such a craft" if also else ""
    fix = f" {html.escape(tied(worst.fix))}" if worst.fix else ""
    return f"{reached}{usual}. {which} {first}{fix}"


def _worst_of(theirs: Sequence[Limit]) -> str:
    over = [one for one in theirs if one.state == "over"]
    if not over:
        return "no limit reached"
    return f"{len(over)} over, first {html.escape(over[0].name)}{', as is usual' if over[0].usual else ''}"


def pinned_margins_of_several(names: Sequence[str], theirs: Sequence[Sequence[Limit]]) -> str:
    """Return several pinned builds in one line."""
    return pinned_builds([(name, _worst_of(found)) for name, found in zip(names, theirs, strict=True)])


def pinned_margins(other: Inputs | None, theirs: Sequence[Limit]) -> str:
    """Return the pinned build in one line."""
    if other is None:
        return f"{dash()}Nothing is pinned. Pin this build, then every change shows against it."
    return f"{dash()}Pinned: <em>{html.escape(other.name or 'unnamed')}</em>, {_worst_of(theirs)}."


TOUCH_FIRST = "pack out, propellers off. Turn a bell or a propeller by hand only."
LOOK_FIRST = f"P{TOUCH_FIRST[1:]}"
AFTER_SWAP = (
    "A motor or its leads swapped: before the next take-off check the direction of rotation (pack in, propellers "
    "still off) and then the propeller nut."
)


def _look(causes: Sequence[str]) -> tuple[str, ...]:
    """Return items to check, with a safety caution before and after them (common practice)."""
    return (LOOK_FIRST, *causes, AFTER_SWAP)


def hot_words(state: HeatState) -> tuple[str, tuple[str, ...]]:
    """Return the diagnosis of a hot motor, and other items to check."""
    if not state.possible:
        return f"It cannot hold this ({state.name}), so there is no heat figure.", ()
    verdict = hot_motor_verdict(state.heat_flow, state.rise, air_temperature=state.air)
    watts = f"{state.heat_flow:.1f}" if state.heat_flow < 2.0 else f"{state.heat_flow:.0f}"
    if verdict.explained == "no":
        return (
            f"Turning the propeller makes only <b>{watts}{NARROW}W</b> of heat in each motor. That cannot make it hot. "
            "Look here:",
            _look(verdict.causes),
        )
    if verdict.explained == "partly":
        return (
            f"Turning the propeller makes <b>{watts}{NARROW}W</b> of heat in each motor, about "
            f"{state.rise:.0f}{NARROW}\u00b0C "
            "over the air: warm, but not too hot to hold. If it is hotter than that, look here:",
            _look(verdict.causes),
        )
    if not math.isfinite(state.rise):
        until = (
            f", past the winding's limit {value('seconds', state.seconds)} after a warm start"
            if math.isfinite(state.seconds)
            else ""
        )
        return (
            f"Turning the propeller makes <b>{watts}{NARROW}W</b> of heat in each motor, more than it can give off: "
            "it gets "
            f"hotter until it fails{until}. The load explains it.",
            (),
        )
    return (
        f"Turning the propeller makes <b>{watts}{NARROW}W</b> of heat in each motor, about "
        f"{state.rise:.0f}{NARROW}\u00b0C over "
        "the air. The load alone explains a hot motor: a smaller propeller, less pitch, fewer cells or a larger motor. "
        "Still look here before the next flight:",
        _look(OTHER_CAUSES),
    )


def response_words(found: Response) -> str:
    """Return the response to full throttle in words."""
    if not math.isfinite(found.time_90):
        return "It cannot hover, so there is no punch to time."
    return (
        f"From a hover it reaches 90{NARROW}% of a punch in <b>{value('seconds', found.time_90)}</b> "
        f"({spread('seconds', found.low_90, found.high_90)}), 63{NARROW}% in {value('seconds', found.time_63)}, if the "
        f"tune lets it. Rotor time constant {1e3 * found.time_constant:.0f}{NARROW}ms ({1e3 * found.low_constant:.0f} "
        f"to {1e3 * found.high_constant:.0f}), of which the ESC takes about {1e3 * CONTROLLER_LAG:.0f} (estimate)."
    )
