"""Sentences of the pages Minutes, Margins and Dive. Pure: answers in, words (our HTML) out; names come escaped."""

from __future__ import annotations

import html
import math
from collections.abc import Callable, Sequence
from functools import lru_cache, wraps
from pathlib import Path
from typing import Any

from explorer.figures.dive import charge_words, comes_out, pull_by
from explorer.figures.margins import tied
from explorer.flight_answers import (
    DiveAnswer,
    FirmwareHover,
    HeatState,
    Minutes,
    PackAxis,
    Response,
    SpeedCurve,
)
from explorer.format import NARROW, Units, change, lowered, spread, value
from explorer.inputs import Inputs
from explorer.sentence import own_name
from propmodel.assess.limits import Limit
from propmodel.assess.margins import PACK_LIMIT
from propmodel.base.status import Status
from propmodel.base.units import CELSIUS_ZERO
from propmodel.dive.stepped import BindingLimit, Manoeuvre, WashBand
from propmodel.flight.spin_up import CONTROLLER_LAG
from propmodel.heat.hot_motor import OTHER_CAUSES, hot_motor_verdict

__all__ = [
    "alarm_words",
    "cold_old_words",
    "dive_caution",
    "dive_opening",
    "dive_three",
    "firmware_words",
    "flight_css",
    "hot_words",
    "margins_opening",
    "minutes_opening",
    "minutes_or_why",
    "pack_words",
    "pinned_dive",
    "pinned_margins",
    "pinned_minutes",
    "response_words",
    "speed_words",
    "wash_words",
    "wind_words",
]

NO_BREAK = "\u00a0"


@lru_cache(maxsize=1)
def flight_css() -> str:
    """Style of the strips and lists that only these pages have."""
    text = (Path(__file__).resolve().parent / "flight.css").read_text(encoding="utf-8")
    return f"<style>{text}</style>"


def _n(text: str, *, bad: bool = False) -> str:
    # the serif's narrow space is too narrow to part a number from its unit
    return f'<b class="n{" bad" if bad else ""}">{html.escape(text.replace(NARROW, NO_BREAK))}</b>'


def _name(inputs: Inputs) -> str:
    return f"<em>{html.escape(inputs.name)}</em>" if inputs.name else "This craft"


def _named(words: Callable[..., str]) -> Callable[..., str]:
    """Write "your build" small inside a sentence."""

    @wraps(words)
    def tidy(*args: Any, **more: Any) -> str:
        return own_name(words(*args, **more))

    return tidy


def _range(kind: str, low: float, high: float) -> str:
    text = spread(kind, low, high)
    return f' <span class="r">({text})</span>' if " to " in text else ""


def _dash() -> str:
    return '<span class="dash"></span>'


# ---- minutes ----------------------------------------------------------------------------------------------


def minutes_or_why(answer: Minutes, row: str) -> str:
    """Minutes of one way of flying, or why there are none, in a few words."""
    status = answer.status[row]
    if status == Status.CANNOT_HOVER:
        return "cannot hover"
    if status == Status.CANNOT_FLY_AT_THIS_SPEED:
        return (
            f"cannot: needs {answer.needed:.1f} times the thrust there is" if answer.needed > 1.0 else "cannot hold it"
        )
    if status == Status.BELOW_CUTOFF_AT_ONCE or answer.time[row] < 1.0:
        return f"sags below {answer.cutoff:.2f}{NARROW}V a cell within a minute"
    told = value("minutes", answer.time[row], low=answer.low[row], high=answer.high[row])
    return f"{told}, until full throttle no longer holds it" if status == Status.THROTTLE_FULL else told


@_named
def minutes_opening(inputs: Inputs, answer: Minutes) -> str:
    """How long, what is left, and what hanging still would give."""
    name, status = _name(inputs), answer.status["your way"]
    if status == Status.CANNOT_HOVER:
        return f"{name} cannot hover, so it does not fly for a minute. The page Lift says what it lacks."
    if status == Status.CANNOT_FLY_AT_THIS_SPEED:
        speed = _n(value("road_speed", inputs.cruise_kmh / 3.6))
        why = (
            f"{_n(f'cannot: needs {answer.needed:.1f} times', bad=True)} the thrust there is"
            if answer.needed > 1.0
            else f"{_n('cannot', bad=True)}: the pack gives out first"
        )
        return f"{name} should cruise at {speed} and {why}. Slow the cruise down, or look at the curve of power below."
    if status == Status.BELOW_CUTOFF_AT_ONCE or answer.time["your way"] < 1.0:
        return (
            f"Flown your way, the load pulls {name} below {_n(f'{answer.cutoff:.2f} V', bad=True)} a cell at once. "
            "Land at a lower voltage if the cells bear it, fly it softer, or take a pack of less resistance."
        )
    low, high = answer.low["your way"], answer.high["your way"]
    left = (
        f"until a cell is down at {_n(f'{answer.cutoff:.2f} V')} with {_n(value('percent', answer.end_charge))} "
        "still in it"
        if answer.by_voltage
        else f"until {_n('full throttle no longer holds it up', bad=True)}, with "
        f"{_n(value('percent', answer.end_charge))} of the charge still in the pack"
        if answer.by_throttle
        else f"then {_n(value('percent', answer.end_charge))} of the charge is left"
    )
    still = answer.time["hang still"]
    compare = (
        " Hanging still it would be "
        f"{_n(value('minutes', still, low=answer.low['hang still'], high=answer.high['hang still']))}."
        if still > 1.0
        else ""
    )
    return (
        f"Flown your way {name} lasts about {_n(value('minutes', answer.time['your way'], low=low, high=high))}"
        f"{_range('minutes', low, high)}, {left}.{compare}"
    )


def pinned_minutes(answer: Minutes, other: Inputs | None, theirs: Minutes | None, units: Units) -> str:
    """The pinned build's minutes and what this one does differently."""
    if other is None or theirs is None:
        return f"{_dash()}Nothing is pinned. Pin this build, then every change shows against it."
    told = (
        f"{_dash()}Pinned: <em>{html.escape(other.name or 'unnamed')}</em>, "
        f"{minutes_or_why(theirs, 'your way')} your way"
    )
    if theirs.status["hang still"] in (Status.OK, Status.THROTTLE_FULL):
        told += f", {minutes_or_why(theirs, 'hang still')} hanging still"
    now, then = answer.time["your way"], theirs.time["your way"]
    words = change("minutes", now, then, units) if math.isfinite(now - then) else ""
    against = "" if not words else " This one lasts the same." if words == "the same" else f" This one lasts {words}."
    return f"{told}.{against}"


def alarm_words(answer: Minutes, *, alarm: float, home: float, alarm_time: float, hover_left: float) -> str:
    """What to type as a capacity alarm. ``alarm`` in A h, ``home`` and times in s."""
    if not math.isfinite(alarm):
        return "No alarm can be set for a flight that is not possible."
    after = (
        f"It sounds at {value('minutes', alarm_time)}; {home:.0f}{NARROW}s of cruise bring you home, and you land with "
        f"{value('charge', answer.charge)} drawn"
        if home > 0.0
        else f"It sounds at {value('minutes', alarm_time)}, when you should be on the ground: "
        f"{value('charge', answer.charge)} drawn"
    )
    left = answer.empty_time - answer.time["your way"]
    then = (
        f" From landing to empty there are {value('minutes', left)} your way, {value('minutes', hover_left)} hanging "
        "still."
        if left > 1.0
        else " The landing voltage comes first, so nothing is left after it."
    )
    return (
        f"<b>Type this alarm: {value('charge', alarm)}</b>. {after}.{then} Land by the charge drawn: "
        "a momentary voltage dips with every punch and says little."
    )


def warm_words(this: Minutes) -> str:
    """What the pack's own heat does to the flight, and the flight to the pack."""
    celsius = this.warm - CELSIUS_ZERO
    ends = f", flown your way to about {celsius:.0f}{NARROW}\u00b0C (estimate)" if math.isfinite(celsius) else ""
    most = PACK_LIMIT - CELSIUS_ZERO
    hot = (
        f" More than {most:.0f}{NARROW}\u00b0C harms a pack and may set it on fire: fly it softer or shorter."
        if celsius > most
        else ""
    )
    return (
        f"The pack begins at its take-off temperature and warms itself in flight, which is counted{ends}.{hot} A "
        "colder or older pack never lasts longer: the same flying takes the same charge of it, or more."
    )


def cold_old_words(cold: tuple[float, float] | None, old: float | None) -> str:
    """What the ghost curves mean."""
    parts = []
    if cold is not None:
        a, b = cold
        first = spread("minutes", a, b, unit=True) if min(a, b) > 1.0 else f"at most {value('minutes', max(a, b))}"
        parts.append(
            f"Cells at 0{NARROW}\u00b0C: {first}. A band, from one pouch as measured to a pack that "
            "minds the cold less. Keep them in a pocket, and never charge them below freezing."
        )
    if old is not None:
        parts.append(
            f"After 250 full cycles: {value('minutes', old)}. Age takes capacity and adds resistance (estimate)."
        )
    return " ".join(parts)


def pack_words(axis: PackAxis) -> str:
    """Where the pack of today stands on the curve."""
    if not math.isfinite(axis.best_time):
        return "No pack of this kind makes it fly your way."
    here = value("mass", axis.here_mass)
    if not math.isfinite(axis.here_time):
        return f"With today's pack of {here} it cannot fly so; the curve shows which could."
    gain = axis.best_time - axis.here_time
    tail = (
        f"{value('mass', axis.best_mass)} ({value('charge', axis.best_capacity)}): {value('minutes', axis.best_time)}"
    )
    if axis.here_mass > 1.08 * axis.best_mass:
        return f"Your pack of {here} is past the best: more of it mostly carries itself. Longest with about {tail}."
    if gain < 0.02 * axis.best_time:
        return f"Your pack of {here} is as good as the best for minutes. Longest with about {tail}."
    if axis.inside:
        return (
            f"Your pack weighs {here}. Longest with about {tail}; beyond that a pack mostly "
            "carries itself. The pull falls on the way."
        )
    if math.isfinite(axis.heaviest):
        return (
            f"Your pack weighs {here}. Longest with about {tail}; any heavier, and at the end of the flight it pulls "
            "less "
            "than twice its weight and cannot catch a gust."
        )
    return (
        f"Your pack weighs {here}, and the minutes still rise at the heaviest tried, {tail}. Frame "
        "and pull will say stop before."
    )


def firmware_words(hover: FirmwareHover) -> str:
    """Hover command for both kinds of firmware, at both ends of the flight."""
    if hover.pull_start < 1.0:
        return "It cannot hover, so there is no hover command to type in."

    def both(a: float, b: float) -> str:
        return f"<b>{100 * a:.0f}{NARROW}%</b> at the start, <b>{100 * b:.0f}{NARROW}%</b> at the end"

    return (
        f"If your firmware commands volts: {both(hover.start, hover.end)}. If it evens the pull out (thrust "
        "linearisation): "
        f"{both(hover.linear_start, hover.linear_end)}, near one over the pull. The command rises as the pack empties: "
        "type the middle, and expect the stick to wander."
    )


def speed_words(curve: SpeedCurve) -> str:
    """Longest, farthest, fastest."""
    top = float(curve.top.speed)
    if not math.isfinite(top):
        return "It cannot hover, so it cannot fly level at any speed."
    slow, fast = float(curve.best.endurance_speed), float(curve.best.range_speed)
    less = 100.0 * (1.0 - float(curve.best.power_ratio))
    pitch = float(curve.top.pitch_speed)
    note = (
        "faster than pitch times turns, since real propellers pull beyond their printed pitch"
        if top > pitch
        else "below pitch times turns: drag, not the propeller, holds it"
    )
    held = float(curve.speed[curve.held][-1]) if curve.held.any() else math.nan
    lasting = f"For minutes it holds up to {value('road_speed', held)}. " if held < 0.99 * top else ""
    slow_words = (
        f"Longest aloft at {value('road_speed', slow)}, where it takes {less:.0f}{NARROW}% less than hanging still"
        if less >= 1.0
        else "Longest aloft hanging almost still"
    )
    return (
        f"{slow_words}; farthest at {value('road_speed', fast)}, where a line from the corner just touches the curve. "
        f"{lasting}Fastest, a sprint on a full pack: {value('road_speed', top)} at "
        f"{value('angle', float(curve.top.tilt))} of tilt and "
        f"{value('current', float(curve.top.current))}; {note} ({value('road_speed', pitch)}). "
        f"Its pull standing still would hold it level to {value('angle', curve.steepest)}, in the stream the pull is "
        "less; straight up it climbs at "
        f"{value('speed', curve.climb)}."
    )


def wind_words(still: tuple[float, float, float], blown: tuple[float, float, float], wind: float, top: float) -> str:
    """Range out and back, and whether it comes home against the wind; ``top`` is the fastest held for minutes."""
    if not math.isfinite(still[0]):
        return "It cannot fly level long enough to go anywhere."
    first = (
        f"In still air it turns back at <b>{value('range', still[0])}</b> ({value('range', 2.0 * still[0])} there "
        "and back) "
        f"at {value('road_speed', still[1])}."
    )
    if wind <= 0.0:
        return first
    if not math.isfinite(blown[0]):
        return (
            f"{first} Against {value('speed', wind)} it <b>cannot come home</b>: level, and held for "
            "minutes, it makes no more than "
            f"{value('speed', top)}."
        )
    spare = top - wind
    return (
        f"{first} With {value('speed', wind)} of wind, out with it and home against it, it <b>can come home</b> from "
        "up to "
        f"<b>{value('range', blown[0])}</b>, flown at {value('road_speed', blown[1])} through the air "
        f"({value('road_speed', blown[1] - wind)} over the ground on the way back). At the fastest that it holds for "
        f"minutes it has {value('speed', spare)} in hand. "
        "Gusts, turns and height are not counted: turn back at half of it."
    )


# ---- margins ----------------------------------------------------------------------------------------------


def _clause(text: str) -> str:
    first = text.split(". ")[0].rstrip(".")
    return html.escape(tied(lowered(first)))


@_named
def margins_opening(inputs: Inputs, found: Sequence[Limit], held: str) -> str:
    """What does not fit, what gives first at this hold time, what clears it."""
    name = _name(inputs)
    misfits = [one for one in found if one.kind == "fits" and one.state == "over"]
    over = [one for one in found if one.kind == "share" and one.state == "over"]
    unknown = sum(one.kind == "fits" and one.state == "unknown" for one in found)
    if misfits:
        worst = misfits[0]
        more = f" {len(misfits) - 1} more below." if len(misfits) > 1 else ""
        return (
            f"{name} {_n('does not fit together', bad=True)}: {_clause(worst.sentence)}. "
            f"{html.escape(tied(worst.fix.split('. ')[0].rstrip('.')))}.{more} Put that right before any other number."
        )
    fits = "Everything you have told fits together" if unknown else "Everything fits together"
    if unknown == sum(one.kind == "fits" for one in found):
        fits = "You have told nothing that could show a misfit"
    if not over:
        bars = [one for one in found if one.kind == "share" and one.state != "unknown"]
        if not bars:
            return f"{fits}. You have not told enough to say what gives first."
        near = bars[0]
        return (
            f"{fits}, and flat out {held} nothing of {name} is over. Closest comes {html.escape(near.name)}: "
            f"{_n(f'{100 * near.share:.0f} %')} of what there is."
        )
    worst = over[0]
    count = {1: "one allowance is", 2: "two allowances are", 3: "three allowances are"}.get(
        len(over), f"{len(over)} allowances are"
    )
    fix = f" {html.escape(tied(worst.fix))}" if worst.fix else ""
    share = "far over" if not math.isfinite(worst.share) or worst.share > 9.0 else f"{100 * worst.share:.0f} % used"
    return (
        f"{fits}. Flat out {held}, {count} over on {name}. What gives first is {html.escape(worst.name)}, "
        f"{_n(share, bad=True)}: "
        f"{_clause(worst.sentence)}.{fix}"
    )


def pinned_margins(other: Inputs | None, theirs: Sequence[Limit]) -> str:
    """The pinned build in one line."""
    if other is None:
        return f"{_dash()}Nothing is pinned. Pin this build, then every change shows against it."
    over = [one for one in theirs if one.state == "over"]
    worst = f"{len(over)} over, first {html.escape(over[0].name)}" if over else "nothing over"
    return f"{_dash()}Pinned: <em>{html.escape(other.name or 'unnamed')}</em>, {worst}."


LOOK_FIRST = "Pack out, propellers off. Turn a bell or a propeller by hand only."
AFTER_SWAP = (
    "A motor or its leads swapped: before the next take-off check the direction of rotation (pack in, propellers "
    "still off) and then the propeller nut."
)


def _look(causes: Sequence[str]) -> tuple[str, ...]:
    """Things to look at, with what keeps the hands whole before and after them (common practice)."""
    return (LOOK_FIRST, *causes, AFTER_SWAP)


def hot_words(state: HeatState) -> tuple[str, tuple[str, ...]]:
    """Verdict on a hot motor, and where else to look."""
    if not state.possible:
        return f"It cannot hold this ({state.name}), so no heat can be told.", ()
    verdict = hot_motor_verdict(state.watts, state.rise, air_temperature=state.air)
    watts = f"{state.watts:.1f}" if state.watts < 2.0 else f"{state.watts:.0f}"
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
            f"hotter until something gives{until}. The load explains it.",
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
    """How quickly a punch comes."""
    if not math.isfinite(found.time_90):
        return "It cannot hover, so there is no punch to time."
    return (
        f"From a hover it reaches 90{NARROW}% of a punch in <b>{value('seconds', found.time_90)}</b> "
        f"({spread('seconds', found.low_90, found.high_90)}), 63{NARROW}% in {value('seconds', found.time_63)}, if the "
        f"tune lets it. Rotor time constant {1e3 * found.time_constant:.0f}{NARROW}ms ({1e3 * found.low_constant:.0f} "
        f"to {1e3 * found.high_constant:.0f}), of which the ESC takes about {1e3 * CONTROLLER_LAG:.0f} (estimate)."
    )


# ---- dive -------------------------------------------------------------------------------------------------


@_named
def dive_opening(inputs: Inputs, answer: DiveAnswer, *, start: float | None) -> str:
    """One number: start pulling no later than this height."""
    name, out = _name(inputs), answer.out
    speed = _n(value("road_speed", float(out.speed)))
    if not answer.hovers:
        return f"{_n('Do not dive it', bad=True)}: with this charge {name} cannot hover, so it cannot hold its height."
    if int(out.status) == Status.NOT_ENOUGH_PULL or not math.isfinite(float(out.height_lost)):
        return (
            f"{_n('Do not dive it', bad=True)}: at {speed} and with this charge {name} has a thrust of "
            f"{_n(f'{answer.available:.1f} times', bad=True)} its weight, and does not come out. "
            "It needs more thrust or a slower entry."
        )
    if start is not None and start <= float(out.fall_height):
        return (
            f"From {_n(value('distance', start))} a fall of "
            f"{_n(value('distance', float(out.fall_height)), bad=True)} ends in the "
            "ground before anybody pulls. Begin higher, or fall less."
        )
    if not comes_out(answer):
        return (
            f"{_n('Do not dive it', bad=True)} with this charge: at {speed} more than one in ten craft with the labels "
            f"of {name} do not come out. It needs more thrust, a slower entry or a fuller pack."
        )
    lost = value("distance", float(out.height_lost), low=answer.low, high=answer.high)
    if int(out.status) == Status.REACHES_THE_GROUND:
        left = (start or 0.0) - float(out.fall_height)
        hit = value("road_speed", float(out.impact_speed)) if math.isfinite(float(out.impact_speed)) else "speed"
        return (
            f"{name} {_n('reaches the ground', bad=True)} at {_n(hit, bad=True)}: when you see that it is time it is "
            f"{_n(value('distance', left))} up "
            f"and needs {_n(lost)}{_range('distance', answer.low, answer.high)}. Pull earlier, dive slower, or begin "
            "higher."
        )
    by = pull_by(answer)
    return (
        f"Decide to pull {name} out no later than {_n(f'{by:.0f} m')} above whatever is below: nine in ten craft with "
        f"these labels are level by then, one in ten is not. At {speed} it loses about "
        f"{_n(lost)}{_range('distance', answer.low, answer.high)} from the moment you see that it is time until it "
        "flies level. Your own margin comes on top."
    )


def dive_caution(answer: DiveAnswer) -> str:
    """One line of caution for directly under the sentence."""
    line = "<b>A falling craft with turning blades can hurt badly:</b> nobody below it, nobody near."
    return f"{line} First try it high, gently, on the first half of a pack." if comes_out(answer) else line


def pinned_dive(answer: DiveAnswer, other: Inputs | None, theirs: DiveAnswer | None) -> str:
    """The pinned build's height and what this one does differently."""
    if other is None or theirs is None:
        return f"{_dash()}Nothing is pinned. Pin this build, then every change shows against it."
    name = html.escape(other.name or "unnamed")
    then, now = float(theirs.out.height_lost), float(answer.out.height_lost)
    if not math.isfinite(then):
        return f"{_dash()}Pinned: <em>{name}</em>, does not come out of this dive."
    told = (
        f"{_dash()}Pinned: <em>{name}</em>, loses {value('distance', then)} at "
        f"{value('road_speed', float(theirs.out.speed))}."
    )
    if not math.isfinite(now):
        return told
    gap = round(now) - round(then)
    return (
        f"{told} This one needs "
        f"{'the same height' if gap == 0 else f'{abs(gap)}{NARROW}m ' + ('more' if gap > 0 else 'less')}."
    )


_BINDING = {
    BindingLimit.LOAD_LIMIT: "the hardest pull you allow",
    BindingLimit.THRUST: "the thrust of the motors",
    BindingLimit.PACK: "the current the pack can give",
}


def dive_three(inputs: Inputs, answer: DiveAnswer) -> list[str]:
    """Three sentences beside the picture: the command, the pull, the charge."""
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
        start = f"A dive at no speed is none, so it is let fall. {start}"
    elif answer.powered:
        start = (
            f"A fall of {inputs.drop_m:.0f}{NARROW}m alone does not bring it to {asked:.0f}{NARROW}km/h, so the motors "
            f"push. At {value('road_speed', speed)}"
        )
    first = (
        f"{start}; until the craft pulls, {value('seconds', total)} pass and "
        f"{value('distance', float(out.height_lost_delay))} are gone. "
        f"Each tenth of a second more costs {0.1 * speed:.0f}{NARROW}m."
    )
    if not answer.hovers:
        return [first, "Full throttle does not hold it up with this charge, so it cannot stay level after the dive."]
    if not math.isfinite(float(out.height_lost)):
        second = (
            f"Then there are {answer.available:.1f} times its weight to pull with, after what "
            "steering takes: not enough to level."
        )
    else:
        way = "a curve into level flight" if int(out.manoeuvre) == Manoeuvre.PULL_UP else "braking straight up"
        second = (
            f"Then {way} at {float(out.peak_load):.1f} times its weight, held back by "
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
    """Descending into the own wash, and the way out."""
    return (
        f"In a hover its own air goes down at {value('speed', wash_speed)}. Sink straight down at "
        f"{value('speed', float(found.low))} to "
        f"{value('speed', float(found.high))} and it flies into that air: pull fades by up to a third and it "
        "wobbles, worst near "
        f"{value('speed', 0.5 * float(found.worst_low + found.worst_high))}. <b>Leave sideways</b>: moving air in "
        "from the side blows the wash "
        "away. More throttle alone only makes more of it."
    )
