"""Sentences of page Minutes. Pure functions of results, which return HTML; names must be escaped by the caller."""

from __future__ import annotations

import html
import math
from collections.abc import Sequence

from explorer.app_pages.minutes.answers import FirmwareHover, Minutes, PackAxis, SpeedCurve
from explorer.inputs import Inputs
from explorer.text.numbers import NARROW, Units, change, number, spread, two_digits, value
from explorer.text.sentence_parts import build_name, dash, ink, pinned_builds, range_words, small_own_name
from propmodel.assess.margins import PACK_LIMIT
from propmodel.base.status import Status
from propmodel.base.units import CELSIUS_ZERO, GRAM, MAH

__all__ = [
    "alarm_words",
    "cold_old_words",
    "firmware_words",
    "heavier_words",
    "minutes_opening",
    "minutes_or_why",
    "pack_words",
    "pinned_minutes",
    "pinned_minutes_of_several",
    "speed_short",
    "speed_words",
    "warm_words",
    "wind_words",
]

# ---- minutes ----------------------------------------------------------------------------------------------


COLD_PACK = 10.0
"""Cell temperature below which a warning advises to warm the pack (common practice). [degrees C]"""


def minutes_or_why(answer: Minutes, row: str) -> str:
    """Return the flight time in one flight condition, or in a few words why there is none."""
    status = answer.status[row]
    if status == Status.CANNOT_HOVER:
        return "cannot hover"
    if status == Status.CANNOT_FLY_AT_THIS_SPEED:
        return (
            f"cannot: needs {answer.needed:.1f} times the thrust there is" if answer.needed > 1.0 else "cannot hold it"
        )
    if status == Status.BELOW_CUTOFF_AT_ONCE or answer.time[row] < 1.0:
        return f"sags below {answer.cutoff:.2f}{NARROW}V a cell within a minute"
    text = value("minutes", answer.time[row], low=answer.low[row], high=answer.high[row])
    return f"{text}, until full throttle no longer holds it" if status == Status.THROTTLE_FULL else text


@small_own_name
def minutes_opening(inputs: Inputs, answer: Minutes) -> str:
    """Return the flight time, the charge left, and the hover time."""
    name, status = build_name(inputs.name), answer.status["your way"]
    if status == Status.CANNOT_HOVER:
        return f"{name} cannot hover, so it does not fly for a minute. The page Lift says what it lacks."
    if status == Status.CANNOT_FLY_AT_THIS_SPEED:
        speed = ink(value("road_speed", inputs.cruise_kmh / 3.6))
        why = (
            f"{ink(f'cannot: needs {answer.needed:.1f} times', bad=True)} the thrust there is"
            if answer.needed > 1.0
            else f"{ink('cannot', bad=True)}: the pack gives out first"
        )
        return f"{name} should cruise at {speed} and {why}. Slow the cruise down, or look at the curve of power below."
    cold = inputs.pack_temperature_c is not None and inputs.pack_temperature_c < COLD_PACK
    if status == Status.BELOW_CUTOFF_AT_ONCE or answer.time["your way"] < 1.0:
        return (
            f"Flown your way, the load pulls {name} below {ink(f'{answer.cutoff:.2f} V', bad=True)} a cell at once. "
            f"{'Warm the pack before take-off. Else land' if cold else 'Land'} at a lower voltage if the cells bear "
            "it, use less throttle, or take a pack of less resistance."
        )
    low, high = answer.low["your way"], answer.high["your way"]
    left = (
        f"until a cell is down at {ink(f'{answer.cutoff:.2f} V')} with {ink(value('percent', answer.end_charge))} "
        "still in it"
        if answer.by_voltage
        else f"until {ink('full throttle no longer holds it up', bad=True)}, with "
        f"{ink(value('percent', answer.end_charge))} of the charge still in the pack"
        if answer.by_throttle
        else f"then {ink(value('percent', answer.end_charge))} of the charge is left"
    )
    still = answer.time["hang still"]
    compare = (
        " In a hover it would be "
        f"{ink(value('minutes', still, low=answer.low['hang still'], high=answer.high['hang still']))}."
        if still > 1.0
        else ""
    )
    warm = " So cold, the pack sags most in the first half minute: warm it before take-off." if cold else ""
    return (
        f"Flown your way {name} lasts about {ink(value('minutes', answer.time['your way'], low=low, high=high))}"
        f"{range_words('minutes', low, high)}, {left}.{compare}{warm}"
    )


def pinned_minutes(answer: Minutes, other: Inputs | None, theirs: Minutes | None, units: Units) -> str:
    """Return the flight time of the pinned build and the difference from the current one."""
    if other is None or theirs is None:
        return f"{dash()}Nothing is pinned. Pin this build, then every change shows against it."
    text = (
        f"{dash()}Pinned: <em>{html.escape(other.name or 'unnamed')}</em>, "
        f"{minutes_or_why(theirs, 'your way')} your way"
    )
    if theirs.status["hang still"] in (Status.OK, Status.THROTTLE_FULL):
        text += f", {minutes_or_why(theirs, 'hang still')} in a hover"
    now, then = answer.time["your way"], theirs.time["your way"]
    words = change("minutes", now, then, units) if math.isfinite(now - then) else ""
    against = "" if not words else " This one lasts the same." if words == "the same" else f" This one lasts {words}."
    return f"{text}.{against}"


def pinned_minutes_of_several(names: Sequence[str], theirs: Sequence[Minutes]) -> str:
    """Return the flight times of several pinned builds; their other flights are in the ledger."""
    phrases = [(name, minutes_or_why(one, "your way")) for name, one in zip(names, theirs, strict=True)]
    return pinned_builds(phrases, lead="Pinned, flown your way")


def alarm_words(answer: Minutes, *, alarm: float, home: float, alarm_time: float, hover_left: float) -> str:
    """Return the value for a capacity alarm. ``alarm`` is in A h; ``home`` and the times are in s."""
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
        f" From landing to empty there are {value('minutes', left)} your way, {value('minutes', hover_left)} in a "
        "hover."
        if left > 1.0
        else " The landing voltage comes first, so nothing is left after it."
    )
    return (
        f"<b>Set this alarm: {value('charge', alarm)}</b>. {after}.{then} Land by the charge drawn, "
        "not by volts: they dip with every punch."
    )


def warm_words(this: Minutes) -> str:
    """Return the cell temperature at the end of the flight."""
    celsius = this.warm - CELSIUS_ZERO
    ends = f" to about {celsius:.0f}{NARROW}\u00b0C (estimate)" if math.isfinite(celsius) else ""
    most = PACK_LIMIT - CELSIUS_ZERO
    hot = (
        f" More than {most:.0f}{NARROW}\u00b0C harms a pack and may set it on fire: use less throttle, or fly shorter."
        if celsius > most
        else ""
    )
    return f"The pack warms itself{ends}; that is counted.{hot}"


def cold_old_words(cold: tuple[float, float] | None, old: float | None) -> str:
    """Return the explanation of the curves with a cold and an old pack."""
    parts = []
    if cold is not None:
        a, b = cold
        first = spread("minutes", a, b, unit=True) if min(a, b) > 1.0 else f"at most {value('minutes', max(a, b))}"
        parts.append(
            f"Cells at 0{NARROW}\u00b0C: {first} by the charge drawn (from one measured pouch to a milder pack). "
            f"An alarm on volts rings 10 to 20{NARROW}% sooner (common practice). Keep them in a pocket, and never "
            "charge them below freezing."
        )
    if old is not None:
        parts.append(
            f"After 250 full cycles: {value('minutes', old)}. Age takes capacity and adds resistance (estimate)."
        )
    return " ".join(parts)


def pack_words(axis: PackAxis) -> str:
    """Return the position of the current pack on the curve, relative to the longest flight."""
    if not math.isfinite(axis.best_time):
        if not any(math.isfinite(time) for time in axis.time):
            return "No pack of this kind makes it fly your way."
        return (
            "Whatever its mass, a pack of this kind leaves less thrust than twice the weight at the end of the flight: "
            "it cannot catch a gust then."
        )
    # in grams, as the axis of the chart
    here = f"{number(axis.here_mass / GRAM)}{NARROW}g"
    if not math.isfinite(axis.here_time):
        return f"With today's pack of {here} it cannot fly so; the curve shows which could."
    gain = axis.best_time - axis.here_time
    tail = (
        f"{two_digits(axis.best_mass / GRAM)}{NARROW}g ({two_digits(axis.best_capacity / MAH)}{NARROW}mAh): "
        f"{value('minutes', axis.best_time)}"
    )
    if axis.here_mass > 1.08 * axis.best_mass:
        return f"Your pack of {here} is past the best: more of it mostly carries itself. Longest with about {tail}."
    if gain < 0.02 * axis.best_time:
        return f"Your pack of {here} is as good as the best for minutes. Longest with about {tail}."
    if axis.inside:
        return (
            f"Your pack weighs {here}. Longest with about {tail}; beyond that a pack mostly "
            "carries itself, and thrust to weight falls."
        )
    if math.isfinite(axis.heaviest):
        return (
            f"Your pack weighs {here}. Longest with about {tail}; any heavier, and at the end of the flight "
            "it cannot catch a gust."
        )
    return (
        f"Your pack weighs {here}, and the minutes still rise at the heaviest tried, {tail}. Frame "
        "or thrust will set the limit sooner."
    )


def firmware_words(hover: FirmwareHover) -> str:
    """Return the hover throttle above idle for both kinds of firmware, at both ends of the flight."""
    if hover.thrust_start < 1.0:
        return "It cannot hover, so there is no hover setting to type in."

    def both(a: float, b: float) -> str:
        return f"<b>{100 * a:.0f}{NARROW}%</b>, at the end <b>{100 * b:.0f}{NARROW}%</b>"

    return (
        f"If your firmware sets volts by the stick: full pack {both(hover.start, hover.end)}. If it makes thrust "
        f"follow the stick: {both(hover.linear_start, hover.linear_end)}, about 1 divided by thrust-to-weight. "
        "Type the middle."
    )


def speed_words(curve: SpeedCurve) -> str:
    """Return the longest, the farthest and the fastest flight."""
    top = float(curve.top.speed)
    if not math.isfinite(top):
        return "It cannot hover, so it cannot fly level at any speed."
    slow, fast = float(curve.best.endurance_speed), float(curve.best.range_speed)
    less = 100.0 * (1.0 - float(curve.best.power_ratio))
    pitch = float(curve.top.pitch_speed)
    note = (
        "faster than pitch times turns, since real propellers still have thrust beyond their printed pitch"
        if top > pitch
        else "below pitch times turns: drag, not the propeller, holds it"
    )
    held = float(curve.speed[curve.held][-1]) if curve.held.any() else math.nan
    lasting = f"For minutes it holds up to {value('road_speed', held)}. " if held < 0.99 * top else ""
    slow_words = (
        f"Longest aloft at {value('road_speed', slow)}, where it takes {less:.0f}{NARROW}% less than in a hover"
        if less >= 1.0
        else "Longest aloft in a hover, or nearly"
    )
    return (
        f"{slow_words}; farthest at {value('road_speed', fast)}, where a line from the corner just touches the curve. "
        f"{lasting}Fastest, a sprint on a full pack: {value('road_speed', top)} at "
        f"{value('angle', float(curve.top.tilt))} of tilt and "
        f"{value('current', float(curve.top.current))}; {note} ({value('road_speed', pitch)}). "
        f"Its thrust standing still would hold it level to {value('angle', curve.steepest)}; in the air stream it is "
        "less. Straight up it climbs at "
        f"{value('speed', curve.climb)}."
    )


def speed_short(curve: SpeedCurve) -> str:
    """Return the longest and the fastest flight in one line, for above the folded numbers."""
    top = float(curve.top.speed)
    if not math.isfinite(top):
        return "It cannot hover, so it cannot fly level at any speed."
    return f"Fastest, a sprint on a full pack: {value('road_speed', top)}."


def heavier_words(this: SpeedCurve, mass: float, other: SpeedCurve, other_mass: float) -> str:
    """Return why this craft is faster than a lighter one with the same propulsion; empty if it is not. Masses in kg."""
    faster = float(this.top.speed) > 1.002 * float(other.top.speed)
    if not (faster and mass > 1.005 * other_mass):
        return ""
    return (
        " Faster than the lighter pinned craft: at one speed more mass tilts less, so the body drags less and the air "
        "runs less along the shafts. A load that adds drag takes this back."
    )


def wind_words(still: tuple[float, float, float], blown: tuple[float, float, float], wind: float, top: float) -> str:
    """Return the range out and back in wind, and whether it returns; ``top`` is the highest sustained speed."""
    if not math.isfinite(still[0]):
        return "It cannot fly level long enough to go anywhere."
    first = f"In still air it can turn back at <b>{value('range', still[0])}</b>."
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
        f"{first} Out with {value('speed', wind)} of wind it <b>can come home</b> from "
        f"<b>{value('range', blown[0])}</b>, flown at {value('road_speed', blown[1])} through the air. At the fastest "
        f"held for minutes it still makes {value('speed', spare)} over the ground. "
        "Gusts, turns and height are not counted: turn back at half of it."
    )
