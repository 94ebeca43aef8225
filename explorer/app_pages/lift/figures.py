"""Pictures of the Lift page: throttle story, ruler of what people fly, where the watts go, what is closest.

The story is a plotly figure. The other three are a few strips with words; they are plain HTML, which takes no time
to draw, wraps on a phone, prints, and is read out as it stands.
"""

from __future__ import annotations

import html
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray

from explorer.figures.base import (
    Axis,
    Panel,
    band,
    dot,
    limit,
    line,
    measured,
    panels,
    pinned,
    word,
)
from explorer.figures.sketch import Sketch
from explorer.text.numbers import Units, prose, value
from propmodel.assess.limits import Limit
from propmodel.base.status import Status
from propmodel.flight.power_split import PowerSplit
from propmodel.powertrain.throttle_curve import ThrottleCurve

__all__ = [
    "Ceiling",
    "Curve",
    "Marks",
    "closest",
    "pull_of_all",
    "ruler",
    "stairs",
    "story",
    "story_tops",
    "story_words",
]

GRAVITY = 9.80665


@dataclass(frozen=True)
class Curve:
    """One build's curve with its hover point.

    Parameters
    ----------
    name : str
    curve : ThrottleCurve
    low, high : ThrottleCurve or None
        Band; none for the pinned build.
    rotors : int
    weight : float
        [N]
    hover_throttle : float
        NaN where it cannot hover. [-]
    hover_current, hover_share, hover_thrust_per_watt : float
        [A, -, N/W]
    charge : float
        State of charge it is drawn for. [-]
    """

    name: str
    curve: ThrottleCurve
    low: ThrottleCurve | None
    high: ThrottleCurve | None
    rotors: int
    weight: float
    hover_throttle: float
    hover_current: float
    hover_share: float
    hover_thrust_per_watt: float
    charge: float = 1.0


@dataclass(frozen=True)
class Ceiling:
    """A label's limit on the pack's current: amps and the words at the line."""

    current: float
    words: str


@dataclass(frozen=True)
class Marks:
    """Points measured on a stand, of one rotor. Shapes: one axis.

    Parameters
    ----------
    name : str
        Of the hover label, with the volts.
    throttle, thrust, current : ndarray
        NaN where not measured. [-, N, A]
    """

    name: str
    throttle: NDArray
    thrust: NDArray
    current: NDArray


def pull_of_all(thrust: NDArray, rotors: int, units: Units) -> NDArray:
    """Thrust of all rotors in the unit of the axis: kg of force, or N."""
    total = np.asarray(thrust, dtype=float) * rotors
    return total if units.pull == "N" else total / GRAVITY


def _usable(curve: ThrottleCurve, values: NDArray) -> NDArray:
    """Curves end where the pack cannot deliver more."""
    stopped = np.asarray(curve.status) == Status.PACK_CANNOT_DELIVER
    return np.where(stopped, np.nan, values)


def story_tops(
    this: Curve, others: Sequence[Curve], units: Units, marks: Sequence[Marks] = ()
) -> tuple[float, float, float]:
    """Largest values to be drawn in the three panels: pull, current, share of the watts that lifts in %."""
    tops = [0.0, 0.0, 0.0]
    for mark in marks:
        for k, values in enumerate((pull_of_all(mark.thrust, this.rotors, units), this.rotors * mark.current)):
            tops[k] = max([tops[k], *(float(v) for v in values[np.isfinite(values) & np.isfinite(mark.throttle)])])
    for one in (this, *others):
        for k, values in enumerate(
            (
                pull_of_all(one.curve.thrust, one.rotors, units),
                one.curve.pack_current,
                100.0 * np.asarray(one.curve.efficiency),
            )
        ):
            tops[k] = max(tops[k], float(np.nanmax(values)))
    if this.high is not None:
        high = this.high
        for k, values in enumerate(
            (pull_of_all(high.thrust, this.rotors, units), high.pack_current, 100.0 * np.asarray(high.efficiency))
        ):
            tops[k] = max(tops[k], float(np.nanmax(values)))
    return tops[0], tops[1], tops[2]


def story(
    this: Curve,
    others: Sequence[Curve],
    *,
    axes: tuple[Axis, Axis, Axis],
    units: Units,
    ceiling: Ceiling | None,
    marks: Sequence[Marks] = (),
) -> go.Figure:
    """Thrust, current and the share of the watts that lifts, against throttle.

    Parameters
    ----------
    this : Curve
        The build on the screen.
    others : sequence of Curve
        The pinned ones, the last one first.
    axes : tuple of Axis
        Of the three panels.
    units : Units
    ceiling : Ceiling or None
        Label limit of the current.
    marks : sequence of Marks
        Measured on a stand, nearest pair first; drawn for as many rotors as the build has.

    Returns
    -------
    plotly.graph_objects.Figure
    """
    force = "N" if units.pull == "N" else "kg"
    x_axis = Axis(100.0, 25.0)
    figure = panels(
        (
            Panel("Thrust of all rotors", force, axes[0]),
            Panel("Current from the pack", "A", axes[1]),
            Panel("Share of the watts that lifts", "%", axes[2]),
        ),
        x_axis,
        x_title="Motor command, %",
        height=560,
        x_text=("0", "25", "50", "75", "100"),
    )
    _rows(figure, this, units, force)
    if ceiling is not None:
        limit(figure, ceiling.current, ceiling.words, x_top=100.0, y_top=axes[1].top, row=2)
    for place, other in reversed(list(enumerate(others))):
        _rows(figure, other, units, force, pinned_place=place)
    for k, one in enumerate(marks):
        x = 100.0 * one.throttle
        measured(figure, x, pull_of_all(one.thrust, this.rotors, units), name=one.name, unit=force, mark=k)
        measured(figure, x, this.rotors * one.current, name=one.name, unit="A", mark=k, row=2)
    if marks:
        _say_measured(figure, this, marks[0], units)
    _hover_marks(figure, this, others, axes, units, ceiling)
    return figure.finished()


def _rows(figure: Sketch, one: Curve, units: Units, force: str, *, pinned_place: int | None = None) -> None:
    x = 100.0 * np.asarray(one.curve.throttle)
    getters: list[tuple[Callable[[ThrottleCurve], NDArray], str]] = [
        (lambda c: pull_of_all(c.thrust, one.rotors, units), force),
        (lambda c: np.asarray(c.pack_current), "A"),
        (lambda c: 100.0 * np.asarray(c.efficiency), "%"),
    ]
    for row, (get, unit) in enumerate(getters, start=1):
        y = _usable(one.curve, get(one.curve))
        if pinned_place is not None:
            pinned(figure, x, y, unit=unit, row=row, place=pinned_place)
            continue
        if one.low is not None and one.high is not None:
            band(figure, 100.0 * np.asarray(one.low.throttle), get(one.low), get(one.high), row=row)
        line(figure, x, y, name="this", unit=unit, row=row)


def _say_measured(figure: Sketch, this: Curve, nearest: Marks, units: Units) -> None:
    """Name the last mark of the nearest pair in the first panel."""
    pull = pull_of_all(nearest.thrust, this.rotors, units)
    there = np.flatnonzero(np.isfinite(nearest.throttle) & np.isfinite(pull))
    if there.size:
        last = there[-1]
        word(figure, 100.0 * float(nearest.throttle[last]), float(pull[last]), "measured", right_of=False, shift=11)


def _hover_marks(
    figure: Sketch,
    this: Curve,
    others: Sequence[Curve],
    axes: tuple[Axis, Axis, Axis],
    units: Units,
    ceiling: Ceiling | None,
) -> None:
    at = 100.0 * this.hover_throttle
    hovering = [other for other in others if math.isfinite(other.hover_throttle)]
    # the word stands on the side where no pinned hover line is
    right = at < 72.0 and not any(at < 100.0 * other.hover_throttle < at + 25.0 for other in hovering)
    for place, other in enumerate(hovering):
        there = 100.0 * other.hover_throttle
        # an upright line for the last one pinned only: three of them would be a fence
        tops = tuple(one.top if place == 0 else None for one in axes)
        lifted = float(pull_of_all(np.asarray(other.weight), 1, units))
        for row, y in enumerate((lifted, other.hover_current, 100.0 * other.hover_share), start=1):
            dot(figure, there, y, name="pinned hovers here", of_pinned=True, row=row, top=tops[row - 1])
    if not math.isfinite(at):
        end = np.flatnonzero(np.isfinite(_usable(this.curve, this.curve.thrust)))
        if end.size:
            x = float(100.0 * this.curve.throttle[end[-1]])
            y = float(pull_of_all(this.curve.thrust[end[-1]], this.rotors, units))
            dot(figure, x, y, name="cannot hover")
            word(figure, x, y, _no_hover(this), right_of=x < 40.0, bold=True, shift=0, rise=16)
        return
    lifted = float(pull_of_all(np.asarray(this.weight), 1, units))
    for row, y in enumerate((lifted, this.hover_current, 100.0 * this.hover_share), start=1):
        dot(figure, at, y, name="hovers here", row=row, top=axes[row - 1].top)
    word(figure, at, 0.9, f"hover {at:.0f} %", row=1, right_of=right, bold=True, domain=True)
    # under the words of the ceiling, where those would be in the way
    line_at = 0.0 if ceiling is None else ceiling.current / axes[1].top
    word(
        figure,
        at,
        0.17 if 0.3 < line_at < 0.64 else 0.32,
        value("current", this.hover_current),
        row=2,
        right_of=right,
        bold=True,
        domain=True,
    )
    word(
        figure,
        at,
        0.12,
        value("grams_per_watt", this.hover_thrust_per_watt, units),
        row=3,
        right_of=right,
        bold=True,
        domain=True,
    )


def _lifts(one: Curve) -> bool:
    return bool(np.nanmax(one.curve.thrust) * one.rotors >= one.weight)


def _no_hover(one: Curve) -> str:
    return "cannot hold a hover" if _lifts(one) else "cannot hover"


def story_words(this: Curve, units: Units) -> str:
    """The chart in sentences, for those who do not see it and those in a hurry."""
    full = this.curve
    half = int(np.argmin(np.abs(np.asarray(full.throttle) - 0.5)))
    pull, most = full.thrust[half] * this.rotors, full.thrust[-1] * this.rotors
    when = "On a fresh pack" if this.charge >= 0.995 else f"With {value('percent', this.charge)} of the charge left"
    first = (
        f"{when}, in the first ten seconds, half command gives {value('percent', pull / most)} of the full thrust at "
        f"{value('current', full.pack_current[half])}; flat out all rotors give {value('pull', most, units)} at "
        f"{value('current', full.pack_current[-1])}."
    )
    if not math.isfinite(this.hover_throttle):
        if _lifts(this):
            return f"{first} It could lift its weight for seconds, but the pack cannot hold a hover."
        return f"{first} It never reaches its own weight of {value('pull', this.weight, units)}."
    return (
        f"{first} A hover takes {value('percent', this.hover_throttle)} of the command and "
        f"{value('current', this.hover_current)}; {value('percent', this.hover_share)} of those watts lift: "
        f"{value('grams_per_watt', this.hover_thrust_per_watt, units)}."
    )


# ---- what people fly --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Size:
    name: str
    up_to: float
    pull: tuple[float, float]
    hover: tuple[float, float]


# Common practice, from memory: what craft of a size are usually flown at.
_SIZES = (
    _Size("1.2- to 2-inch", 2.2, (2.0, 4.0), (0.30, 0.50)),
    _Size("3-inch", 4.3, (4.0, 8.0), (0.20, 0.35)),
    _Size("5-inch", 6.2, (5.0, 10.0), (0.18, 0.30)),
    _Size("7-inch", 8.2, (3.0, 6.0), (0.25, 0.38)),
    _Size("10-inch", 99.0, (2.2, 4.5), (0.30, 0.45)),
)


@dataclass(frozen=True)
class _Scale:
    """One strip: zones of (from, to, kind, word) and ticks of (value, word)."""

    name: str
    top: float
    zones: tuple[tuple[float, float, str, str], ...]
    ticks: tuple[tuple[float, str], ...]


_PULL = _Scale(
    "Thrust to weight",
    12.0,
    ((0.0, 2.0, "refuse", "too weak"), (2.0, 4.0, "", "lifters"), (4.0, 8.0, "", "relaxed"), (8.0, 12.0, "", "quick")),
    ((0.0, "0"), (2.0, "2"), (4.0, "4"), (8.0, "8"), (12.0, "12")),
)
_HOVER = _Scale(
    "Hover",
    0.8,
    (
        (0.0, 0.18, "", "jumpy"),
        (0.18, 0.35, "", "most craft"),
        (0.35, 0.5, "", "heavy"),
        (0.5, 0.8, "refuse", "little left"),
    ),
    ((0.0, "0"), (0.18, "18"), (0.35, "35"), (0.5, "50"), (0.8, "80 %")),
)


def ruler(
    *,
    diameter_in: float,
    pull: tuple[float, float, float],
    hover: tuple[float, float, float],
    pinned_pull: float | None,
    pinned_hover: float | None,
) -> str:
    """Two strips: pull over weight and hover throttle against what people fly.

    Parameters
    ----------
    diameter_in : float
        Propeller size, for the usual range. [in]
    pull, hover : tuple of float
        Low, forecast, high. [-]
    pinned_pull, pinned_hover : float or None
        [-]

    Returns
    -------
    str
        HTML.
    """
    size = next(s for s in _SIZES if diameter_in <= s.up_to)
    low, high = (f"{100.0 * share:.0f}" for share in size.hover)
    usual = (f"most {size.name}: {size.pull[0]:g} to {size.pull[1]:g}", f"most {size.name}: {low} to {high} %")
    hovers = value("percent", hover[1]) if math.isfinite(hover[1]) else "cannot"
    strips = (
        _strip(_PULL, value("pull_to_weight", pull[1]), usual[0], pull, pinned_pull, size.pull),
        _strip(_HOVER, hovers, usual[1], hover, pinned_hover, size.hover),
    )
    return f'<div class="wi-ruler">{"".join(strips)}</div>'


def _strip(
    scale: _Scale,
    said: str,
    usual: str,
    span: tuple[float, float, float],
    other: float | None,
    usual_span: tuple[float, float],
) -> str:
    def at(v: float) -> float:
        return 100.0 * min(max(v / scale.top, 0.0), 1.0)

    def place(low: float, high: float) -> str:
        return f'style="left:{at(low):.2f}%;width:{at(high) - at(low):.2f}%"'

    parts = []
    for low, high, kind, name in scale.zones:
        parts.append(f'<div class="zone {kind}" {place(low, high)}></div>')
        parts.append(f'<div class="zone-name" style="left:{0.5 * (at(low) + at(high)):.2f}%">{name}</div>')
    parts.append(f'<div class="usual" {place(*usual_span)}></div>')
    for k, (v, text) in enumerate(scale.ticks):
        end = " first" if k == 0 else " last" if k == len(scale.ticks) - 1 else ""
        parts.append(f'<div class="tick{end}" style="left:{at(v):.2f}%">{text}</div>')
    if all(math.isfinite(v) for v in span):
        parts.append(f'<div class="span" {place(span[0], span[2])}></div>')
        if other is not None and math.isfinite(other):
            parts.append(f'<div class="there" style="left:{at(other):.2f}%"></div>')
        parts.append(f'<div class="here" style="left:{at(span[1]):.2f}%"></div>')
    return (
        f'<div class="wi-strip"><div class="what"><b>{scale.name} {html.escape(said)}</b>'
        f'<span>{html.escape(usual)}</span></div><div class="scale" aria-hidden="true">{"".join(parts)}</div></div>'
    )


# ---- where the watts go -----------------------------------------------------------------------------------

_STEPS = (
    ("induced_power", "lifts the craft (ideal)", "lift"),
    ("climb_and_drag_power", "pushes it through the air", "lift"),
    ("profile_power", "lost in the air: blade drag, swirl, arms", "air"),
    ("winding", "heat in the windings, half the ripple", "heat"),
    ("iron", "iron and bearings of the motors", "heat"),
    ("controller", "heat in ESC and leads, half the ripple", "heat"),
    ("electronics", "flight electronics", "aside"),
    ("pack", "heat inside the pack", "heat"),
)


def stairs(split: PowerSplit) -> str:
    """Each part one step, left edge where the last one ended.

    Parameters
    ----------
    split : PowerSplit
        Of one build in one state.

    Returns
    -------
    str
        HTML.
    """
    total = float(split.total)
    done, rows = 0.0, []
    for name, words, kind in _STEPS:
        part = float(getattr(split, name))
        if name == "climb_and_drag_power" and part < 0.002 * total:
            continue
        left, width = 100.0 * done / total, 100.0 * part / total
        done += part
        # the gap before the words gives way where they would run out at the right
        rows.append(
            f'<li><div class="words"><i style="flex-basis:{left:.2f}%"></i><span class="label">'
            f"<b>{value('power', part)}</b> {words} <span>{width:.0f} %</span></span></div>"
            f'<div class="bar {kind}" style="margin-left:{left:.2f}%;width:{width:.2f}%"></div></li>'
        )
    return (
        f'<div class="wi-stairs"><ol>{"".join(rows)}</ol><div class="total"><span>leaves the cells</span>'
        f"<b>{value('power', total)}</b></div></div>"
    )


# ---- what is closest --------------------------------------------------------------------------------------

_SIGNS = {"clear": "✓ clear", "tight": "! tight", "over": "✕ over", "usual": "over, usual", "unknown": "? unknown"}
CLOSEST_TOP = 1.5


def _used(share: float) -> str:
    return f"{100.0 * share:.0f} % used" if share < 10.0 else "more than 10 times"


def closest(found: Sequence[Limit]) -> str:
    """The first few limits as bars in % of what is used; what does not fit with its sentence.

    Parameters
    ----------
    found : sequence of Limit

    Returns
    -------
    str
        HTML.
    """
    rows = []
    for one in found:
        name = html.escape(one.name[:1].upper() + one.name[1:])
        words = html.escape(prose(f"{one.reason}. {one.fix}".strip()))
        state = "usual" if one.usual else one.state
        why = f'<div class="why">{words}</div>' if one.kind == "fits" else ""
        sign = f'<span class="wi-{state}">{_SIGNS[state]}</span>'
        if one.kind == "fits":
            fits = "does not fit" if one.state == "over" else ""
            rows.append(f'<li><div class="label">{sign}<b>{name}</b><span class="pc">{fits}</span></div>{why}</li>')
            continue
        width = 100.0 * min(one.share, CLOSEST_TOP) / CLOSEST_TOP
        rows.append(
            f'<li><div class="label">{sign}<b>{name}</b><span class="pc">{_used(one.share)}</span></div>'
            f'<div class="track" aria-hidden="true"><div class="bar {state}" style="width:{width:.1f}%"></div>'
            f'<div class="full" style="left:{100.0 / CLOSEST_TOP:.2f}%"></div></div>'
            f"{why}</li>"
        )
    return f'<div class="wi-near"><ul>{"".join(rows)}</ul></div>'
