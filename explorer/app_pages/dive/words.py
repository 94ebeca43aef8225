"""Sentences of page Dive. Pure functions."""

from __future__ import annotations

import html
import math
from collections.abc import Sequence

from explorer.app_pages.dive.answers import DiveAnswer
from explorer.app_pages.dive.figures import charge_words, comes_out, pull_by, too_weak
from explorer.inputs import Inputs
from explorer.text.numbers import NARROW, value
from explorer.text.sentence_parts import build_name, dash, ink, pinned_builds, range_words, small_own_name
from propmodel.base.status import Status
from propmodel.dive.stepped import BindingLimit, Manoeuvre, PullOut, WashBand

__all__ = [
    "dive_caution",
    "dive_opening",
    "dive_three",
    "pinned_dive",
    "pinned_dives",
    "wash_words",
]

# ---- dive -------------------------------------------------------------------------------------------------


@small_own_name
def dive_opening(inputs: Inputs, answer: DiveAnswer, *, start: float | None) -> str:
    """Return the sentence with the lowest height at which to begin the pull."""
    name, out = build_name(inputs.name), answer.out
    speed = ink(value("road_speed", float(out.speed)))
    if not answer.hovers:
        return f"{ink('Do not dive it', bad=True)}: {name} cannot hover with this charge."
    if int(out.status) == Status.NOT_ENOUGH_PULL or not math.isfinite(float(out.height_lost)):
        return (
            f"{ink('Do not dive it', bad=True)}: at {speed} and with this charge {name} has a thrust of "
            f"{ink(f'{answer.available:.1f} times', bad=True)} its weight and does not come out. "
            "It needs more thrust or a slower entry."
        )
    if start is not None and start <= float(out.fall_height):
        return (
            f"From {ink(value('distance', start))} a fall of "
            f"{ink(value('distance', float(out.fall_height)), bad=True)} ends in the "
            "ground before you pull out. Begin higher, or fall less."
        )
    if not math.isfinite(answer.high):
        return (
            f"{ink('Do not dive it', bad=True)} with this charge: at {speed} more than one in ten craft with the "
            f"labels of {name} do not come out. It needs more thrust, a slower entry or a fuller pack."
        )
    if too_weak(answer):
        need = value("distance", float(out.height_lost), low=answer.low, high=answer.high)
        return (
            f"{ink('Do not dive it', bad=True)}: after what steering takes, {name} has a thrust of "
            f"{ink(f'{answer.available:.1f} times', bad=True)} its weight. At {speed} it would lose about "
            f"{ink(need)}{range_words('distance', answer.low, answer.high)} before it flies level. It needs more "
            "thrust or less weight."
        )
    lost = value("distance", float(out.height_lost), low=answer.low, high=answer.high)
    if int(out.status) == Status.REACHES_THE_GROUND:
        left = (start or 0.0) - float(out.fall_height)
        hit = value("road_speed", float(out.impact_speed)) if math.isfinite(float(out.impact_speed)) else "speed"
        return (
            f"{name} {ink('reaches the ground', bad=True)} at {ink(hit, bad=True)}: at your decision it is "
            f"{ink(value('distance', left))} up "
            f"and needs {ink(lost)}{range_words('distance', answer.low, answer.high)}. "
            "Pull out earlier, dive slower, or begin higher."
        )
    by = pull_by(answer)
    return (
        f"Decide to pull {name} out no later than {ink(f'{by:.0f} m')} above whatever is below: nine in ten craft with "
        f"these labels are level by then, one in ten is not. At {speed} it loses about "
        f"{ink(lost)}{range_words('distance', answer.low, answer.high)} from your decision "
        "until it flies level. Add a margin of your own."
    )


def dive_caution(answer: DiveAnswer) -> str:
    """Return one line of caution, for directly below the first sentence."""
    line = "<b>A falling craft with turning blades can hurt badly:</b> nobody below it, nobody near."
    return f"{line} First try it high, gently, on the first half of a pack." if comes_out(answer) else line


def pinned_dive(answer: DiveAnswer, other: Inputs | None, theirs: PullOut | None) -> str:
    """Return the height of the pinned build, and the difference from the current one."""
    if other is None or theirs is None:
        return f"{dash()}Nothing is pinned. Pin this build, then every change shows against it."
    name = html.escape(other.name or "unnamed")
    then, now = float(theirs.height_lost), float(answer.out.height_lost)
    if not math.isfinite(then):
        return f"{dash()}Pinned: <em>{name}</em>, does not come out of this dive."
    text = (
        f"{dash()}Pinned: <em>{name}</em>, loses {value('distance', then)} at "
        f"{value('road_speed', float(theirs.speed))}."
    )
    if not math.isfinite(now):
        return text
    gap = round(now) - round(then)
    return (
        f"{text} This one needs "
        f"{'the same height' if gap == 0 else f'{abs(gap)}{NARROW}m ' + ('more' if gap > 0 else 'less')}."
    )


def pinned_dives(names: Sequence[str], theirs: Sequence[PullOut]) -> str:
    """Return the heights of several pinned builds in this dive."""
    lost = [(float(one.height_lost), float(one.speed)) for one in theirs]
    said = [
        f"{value('distance', metres)} at {value('road_speed', speed)}"
        if math.isfinite(metres)
        else "does not come out of this dive"
        for metres, speed in lost
    ]
    return pinned_builds(list(zip(names, said, strict=True)), lead="Pinned, height lost")


_BINDING = {
    BindingLimit.LOAD_LIMIT: "the hardest pull-out you allow",
    BindingLimit.THRUST: "the thrust of the motors",
    BindingLimit.PACK: "the current the pack can give",
}


def dive_three(inputs: Inputs, answer: DiveAnswer) -> list[str]:
    """Return three sentences for beside the chart: decision, pull-out, state of charge."""
    out, d = answer.out, answer.delay
    total, speed = float(d.total), float(out.speed)
    fallen = float(out.fall_height)
    start = (
        f"After {value('distance', fallen)} of fall it does {value('road_speed', speed)}"
        if math.isfinite(fallen)
        else f"At {value('road_speed', speed)}"
    )
    asked = inputs.dive_kmh
    if asked is not None and asked <= 0.0:
        start = f"A speed of zero is no dive, so it is left to fall. {start}"
    elif answer.powered:
        start = (
            f"A fall of {inputs.drop_m:.0f}{NARROW}m alone does not bring it to {asked:.0f}{NARROW}km/h, so the motors "
            f"push. At {value('road_speed', speed)}"
        )
    first = (
        f"{start}; until thrust turns it, {value('seconds', total)} pass and "
        f"{value('distance', float(out.height_lost_delay))} are lost. "
        f"Each tenth of a second more costs {0.1 * speed:.0f}{NARROW}m."
    )
    if not answer.hovers:
        return [first, "Full throttle does not hold it up with this charge, so it cannot stay level after the dive."]
    if not math.isfinite(float(out.height_lost)):
        second = (
            f"Then the thrust is {answer.available:.1f} times its weight, after what steering takes: not enough to "
            "level."
        )
    else:
        way = "a curve into level flight" if int(out.manoeuvre) == Manoeuvre.PULL_UP else "braking straight up"
        second = (
            f"Then {way} at {float(out.peak_load):.1f} times its weight, limited by "
            f"{_BINDING[BindingLimit(int(out.binding_limit))]}; the frame feels up to "
            f"{float(out.peak_body_load):.1f}{NARROW}g, and the "
            f"bottom comes at {value('road_speed', float(out.bottom_speed))}."
        )
    row = int(abs(answer.pulls - inputs.hardest_pull_g).argmin())
    full, low = answer.heights[row, 0], answer.heights[row, -1]
    charge = charge_words(float(answer.charges[-1]))
    if not math.isfinite(full):
        third = "Not even a full pack brings it out of this dive."
    elif not math.isfinite(low):
        third = f"With {charge} it does not come out of this dive at all: keep dives for the first half of the pack."
    elif low - full >= 1.0:
        third = (
            f"With {charge} it needs {low - full:.0f}{NARROW}m more than with a full pack: dive early in the flight."
        )
    else:
        third = (
            f"With {charge} it needs about the same height as with a full pack, since "
            f"{_BINDING[BindingLimit(int(out.binding_limit))]} decides."
        )
    return [first, second, third]


def wash_words(found: WashBand, wash_speed: float) -> str:
    """Return the text on descent in the own wake, and how to leave it."""
    return (
        f"In a hover its own air goes down at {value('speed', wash_speed)}. Sink straight down at "
        f"{value('speed', float(found.low))} to "
        f"{value('speed', float(found.high))} and it flies into that air: thrust falls by up to a third and it "
        "wobbles, worst near "
        f"{value('speed', 0.5 * float(found.worst_low + found.worst_high))}. <b>Leave sideways</b>: moving air in "
        "from the side blows the wash "
        "away. Adding throttle makes it worse."
    )
