"""Chart of page Lift: thrust, current and the share of lift power, against throttle."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray

from explorer.figures.base import Axis, Panel, panels
from explorer.figures.marks import band, dot, dots, limit, line, measured, pinned, word
from explorer.figures.sketch import Sketch
from explorer.text.numbers import Units, value
from propmodel.base.constants import STANDARD_GRAVITY
from propmodel.base.status import Status
from propmodel.powertrain.throttle_curve import ThrottleCurve

__all__ = [
    "Ceiling",
    "Curve",
    "Marks",
    "story",
    "story_tops",
    "story_words",
    "thrust_of_all",
]


@dataclass(frozen=True)
class Curve:
    """Throttle curve of one build with its hover point.

    Parameters
    ----------
    name : str
        Name of the build.
    curve : ThrottleCurve
        Forecast.
    low, high : ThrottleCurve or None
        Ends of the band; None for a pinned build.
    rotors : int
        Number of rotors.
    weight : float
        Weight of the craft. [N]
    hover_command : float
        NaN if it cannot hover. [-]
    hover_current, hover_share, hover_thrust_per_watt : float
        At the hover point. [A, -, N/W]
    charge : float
        State of charge of the curve. [-]
    """

    name: str
    curve: ThrottleCurve
    low: ThrottleCurve | None
    high: ThrottleCurve | None
    rotors: int
    weight: float
    hover_command: float
    hover_current: float
    hover_share: float
    hover_thrust_per_watt: float
    charge: float = 1.0


@dataclass(frozen=True)
class Ceiling:
    """Limit of the pack current from a label: current [A] and whose rating it is, for the key."""

    current: float
    words: str

    def drawn(self, axis: Axis) -> bool:
        """Whether the limit is inside the axis of the current."""
        return 0.0 < self.current < axis.top


@dataclass(frozen=True)
class Marks:
    """Points measured on a thrust stand, for one rotor. One-dimensional arrays.

    Parameters
    ----------
    name : str
        Name in the hover label, with the voltage.
    throttle, thrust, current : ndarray
        NaN if not measured. [-, N, A]
    """

    name: str
    throttle: NDArray
    thrust: NDArray
    current: NDArray


def thrust_of_all(thrust: NDArray, rotors: int, units: Units) -> NDArray:
    """Return the thrust of all rotors in the unit of the axis: kgf or N."""
    total = np.asarray(thrust, dtype=float) * rotors
    return total if units.thrust == "N" else total / STANDARD_GRAVITY


def _usable(curve: ThrottleCurve, values: NDArray) -> NDArray:
    """Return the values with NaN where the pack cannot supply the current."""
    stopped = np.asarray(curve.status) == Status.PACK_CANNOT_DELIVER
    return np.where(stopped, np.nan, values)


def story_tops(
    this: Curve, others: Sequence[Curve], units: Units, marks: Sequence[Marks] = ()
) -> tuple[float, float, float]:
    """Return the largest values of the three panels: thrust (kgf or N), current (A), share of lift power (%)."""
    tops = [0.0, 0.0, 0.0]
    for mark in marks:
        for k, values in enumerate((thrust_of_all(mark.thrust, this.rotors, units), this.rotors * mark.current)):
            tops[k] = max([tops[k], *(float(v) for v in values[np.isfinite(values) & np.isfinite(mark.throttle)])])
    for one in (this, *others):
        for k, values in enumerate(
            (
                thrust_of_all(one.curve.thrust, one.rotors, units),
                one.curve.pack_current,
                100.0 * np.asarray(one.curve.efficiency),
            )
        ):
            tops[k] = max(tops[k], float(np.nanmax(values)))
    if this.high is not None:
        high = this.high
        for k, values in enumerate(
            (thrust_of_all(high.thrust, this.rotors, units), high.pack_current, 100.0 * np.asarray(high.efficiency))
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
    """Return thrust, current and the share of lift power, against throttle.

    Parameters
    ----------
    this : Curve
        The current build.
    others : sequence of Curve
        The pinned builds, the latest first.
    axes : tuple of Axis
        y axes of the three panels.
    units : Units
        Units selected by the user.
    ceiling : Ceiling or None
        Limit of the current from a label.
    marks : sequence of Marks
        Measured points, nearest pair first; multiplied by the number of rotors of the build.

    Returns
    -------
    plotly.graph_objects.Figure
        Three panels.
    """
    force = "N" if units.thrust == "N" else "kg"
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
        limit(figure, ceiling.current, x_top=100.0, y_top=axes[1].top, row=2)
    for place, other in reversed(list(enumerate(others))):
        _rows(figure, other, units, force, pinned_place=place)
    if marks:
        places = [100.0 * one.throttle for one in marks]
        thrusts = [thrust_of_all(one.thrust, this.rotors, units) for one in marks]
        currents = [this.rotors * one.current for one in marks]
        name = marks[0].name
        measured(figure, list(zip(places, thrusts, strict=True)), name=name, unit=force)
        measured(figure, list(zip(places, currents, strict=True)), name=name, unit="A", row=2)
        _say_measured(figure, this, marks[0], units)
    _hover_marks(figure, this, others, axes, units, ceiling)
    return figure.finished()


def _rows(figure: Sketch, one: Curve, units: Units, force: str, *, pinned_place: int | None = None) -> None:
    x = 100.0 * np.asarray(one.curve.throttle)
    getters: list[tuple[Callable[[ThrottleCurve], NDArray], str]] = [
        (lambda c: thrust_of_all(c.thrust, one.rotors, units), force),
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
    """Label the last mark of the nearest pair in the first panel."""
    thrust = thrust_of_all(nearest.thrust, this.rotors, units)
    there = np.flatnonzero(np.isfinite(nearest.throttle) & np.isfinite(thrust))
    if there.size:
        last = there[-1]
        word(figure, 100.0 * float(nearest.throttle[last]), float(thrust[last]), "measured", right_of=False, shift=11)


def _hover_marks(
    figure: Sketch,
    this: Curve,
    others: Sequence[Curve],
    axes: tuple[Axis, Axis, Axis],
    units: Units,
    ceiling: Ceiling | None,
) -> None:
    at = 100.0 * this.hover_command
    can_hover = [other for other in others if math.isfinite(other.hover_command)]
    # the label is on the side without a pinned hover mark
    right = at < 72.0 and not any(at < 100.0 * other.hover_command < at + 25.0 for other in can_hover)
    for row, axis in enumerate(axes, start=1):
        ours, *theirs = (_hover_point(one, row, units) for one in (this, *others))
        dots(figure, ours, theirs, name="hovers here", top=axis.top, row=row)
    if not math.isfinite(at):
        end = np.flatnonzero(np.isfinite(_usable(this.curve, this.curve.thrust)))
        if end.size:
            x = float(100.0 * this.curve.throttle[end[-1]])
            y = float(thrust_of_all(this.curve.thrust[end[-1]], this.rotors, units))
            dot(figure, x, y, name="cannot hover")
            word(figure, x, y, _no_hover(this), right_of=x < 40.0, bold=True, shift=0, rise=16)
        return
    word(figure, at, 0.9, f"hover {at:.0f} %", row=1, right_of=right, bold=True, domain=True)
    # below the line of the ceiling, if it would cross the number
    line_at = 0.0 if ceiling is None else ceiling.current / axes[1].top
    word(
        figure,
        at,
        0.15 if 0.2 < line_at < 0.44 else 0.32,
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


def _hover_point(one: Curve, row: int, units: Units) -> tuple[float, float] | None:
    """Return the hover point in one panel; None if the craft cannot hover."""
    if not math.isfinite(one.hover_command):
        return None
    lifted = float(thrust_of_all(np.asarray(one.weight), 1, units))
    return 100.0 * one.hover_command, (lifted, one.hover_current, 100.0 * one.hover_share)[row - 1]


def _lifts(one: Curve) -> bool:
    return bool(np.nanmax(one.curve.thrust) * one.rotors >= one.weight)


def _no_hover(one: Curve) -> str:
    return "cannot hold a hover" if _lifts(one) else "cannot hover"


def story_words(this: Curve, units: Units) -> str:
    """Return a description of the chart in sentences, for screen readers."""
    full = this.curve
    half = int(np.argmin(np.abs(np.asarray(full.throttle) - 0.5)))
    half_thrust, most = full.thrust[half] * this.rotors, full.thrust[-1] * this.rotors
    when = "On a fresh pack" if this.charge >= 0.995 else f"With {value('percent', this.charge)} of the charge left"
    first = (
        f"{when}, in the first ten seconds, half command gives {value('percent', half_thrust / most)} of the full "
        f"thrust at {value('current', full.pack_current[half])}; flat out all rotors give "
        f"{value('thrust', most, units)} at {value('current', full.pack_current[-1])}."
    )
    if not math.isfinite(this.hover_command):
        if _lifts(this):
            return f"{first} It could lift its weight for seconds, but the pack cannot hold a hover."
        return f"{first} It never reaches its own weight of {value('thrust', this.weight, units)}."
    return (
        f"{first} A hover takes {value('percent', this.hover_command)} of the command and "
        f"{value('current', this.hover_current)}; {value('percent', this.hover_share)} of those watts lift: "
        f"{value('grams_per_watt', this.hover_thrust_per_watt, units)}."
    )
