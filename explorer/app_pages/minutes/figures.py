"""Charts of page Minutes: voltage against time, power against speed, pack mass, landing voltage, ledger."""

from __future__ import annotations

import html
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray

from explorer.app_pages.minutes.answers import Cutoff, Ghosts, Minutes, PackAxis, SpeedCurve
from explorer.figures.base import OVER, PINNED, SMALL, THIS, Axis, Panel, panels
from explorer.figures.marks import band, dot, hatch, line, pinned, word
from explorer.figures.sketch import Sketch
from explorer.text.numbers import NARROW, two_digits, value
from propmodel.base.units import GRAM, KMH, MINUTE

__all__ = [
    "VoltageMark",
    "cutoff_figure",
    "ledger",
    "pack_figure",
    "speed_figure",
    "speed_tops",
    "volt_axis",
    "voltage_figure",
]

GHOST = "rgba(113,125,128,0.20)"


@dataclass(frozen=True)
class VoltageMark:
    """One mark on the voltage curve: label, time [s], cell voltage [V]."""

    name: str
    time: float
    volts: float


def volt_axis(cutoff: float, full: float, least: float) -> tuple[float, float, list[float]]:
    """Return the ends and the ticks of the axis of the cell voltage, slightly beyond both values. [V]

    Examples
    --------
    >>> volt_axis(3.3, 4.2, 3.2)
    (3.0, 4.4, [3.0, 3.5, 4.0])
    """
    low = math.floor((min(cutoff, least) - 0.08) * 5.0) / 5.0
    high = math.ceil((full + 0.02) * 5.0) / 5.0
    ticks = np.arange(math.ceil(low * 2.0) / 2.0, high + 1e-9, 0.5)
    return low, high, [float(t) for t in ticks]


def _bare(figure: Sketch, low: float, high: float, ticks: Sequence[float], digits: str = ".1f") -> None:
    figure.layout["yaxis"] |= {
        "range": [low, high],
        "tickmode": "array",
        "tickvals": list(ticks),
        "ticktext": [format(t, digits) for t in ticks],
        "ticklabelstandoff": 4,
    }


def _ghost(figure: Sketch, x: NDArray, y: NDArray, name: str) -> None:
    figure.add_scatter(
        x=[float(f"{v:.4g}") for v in x],
        y=[float(f"{v:.4g}") for v in y],
        mode="lines",
        line={"width": 1.2, "color": PINNED},
        hoverinfo="skip",
        name=name,
    )


def voltage_figure(
    this: Minutes,
    others: Sequence[Minutes],
    *,
    marks: Sequence[VoltageMark],
    ghosts: Ghosts | None,
    show: tuple[bool, bool],
    axis: Axis,
    volts: tuple[float, float, list[float]],
    reason: str = "",
) -> go.Figure:
    """Return the chart of the loaded cell voltage against time.

    Parameters
    ----------
    this : Minutes
        The current build.
    others : sequence of Minutes
        The pinned builds, the latest first.
    marks : sequence of VoltageMark
        Alarm, land, empty.
    ghosts : Ghosts or None
        The same flight with a cold or an old pack.
    show : tuple of bool
        Whether to draw the cold pack, and the old pack.
    axis : Axis
        Axis of the time. [min]
    volts : tuple
        From `volt_axis`. [V]
    reason : str
        Why there is no flight; written inside the axes.

    Returns
    -------
    plotly.graph_objects.Figure
        One panel.
    """
    low, high, ticks = volts
    figure = panels(
        (Panel("Voltage of a cell under load", f"V; axis begins at {low:.1f}", Axis(high, 0.5)),),
        axis,
        x_title="Minutes flown your way",
        height=400,
    )
    _bare(figure, low, high, ticks)
    hatch(figure, [0.0, axis.top], [low, low], [this.cutoff, this.cutoff])
    figure.add_scatter(
        x=[0.0, axis.top], y=[this.cutoff] * 2, mode="lines", line={"width": 1.4, "color": OVER},
        hoverinfo="skip", name="limit",
    )  # fmt: skip
    figure.add_annotation(
        text=f"landing voltage {this.cutoff:.2f} V", x=0.0, y=this.cutoff, xanchor="left", yanchor="bottom",
        xshift=6, yshift=1, showarrow=False, font={"size": SMALL},
    )  # fmt: skip
    if ghosts is not None and show[0]:
        x = np.concatenate([ghosts.mild_time, ghosts.cold_time[::-1]]) / MINUTE
        y = np.concatenate([ghosts.mild_volts, ghosts.cold_volts[::-1]])
        figure.add_scatter(
            x=[float(f"{v:.4g}") for v in x], y=[float(f"{v:.4g}") for v in y], mode="lines",
            line={"width": 0, "color": PINNED}, fill="toself", fillcolor=GHOST, hoverinfo="skip", name="cold",
        )  # fmt: skip
        _ghost(figure, ghosts.cold_time / MINUTE, ghosts.cold_volts, "cold")
        _ghost(figure, ghosts.mild_time / MINUTE, ghosts.mild_volts, "cold, milder")
        when = 0.12 * float(ghosts.cold_time[-1])
        levels = [
            float(np.interp(when, t, v))
            for t, v in ((ghosts.cold_time, ghosts.cold_volts), (ghosts.mild_time, ghosts.mild_volts))
        ]
        word(figure, when / MINUTE, 0.5 * sum(levels), "cold", shift=0)
    if ghosts is not None and show[1]:
        _ghost(figure, ghosts.old_time / MINUTE, ghosts.old_volts, "old")
        when = 0.88 * float(ghosts.old_time[-1])
        word(figure, when / MINUTE, float(np.interp(when, ghosts.old_time, ghosts.old_volts)), "old", shift=8)
    band(figure, this.band_time / MINUTE, this.band_low, this.band_high)
    for place, other in enumerate(others):
        pinned(figure, other.curve_time / MINUTE, other.curve_volts, unit="V", digits=".2f", place=place)
    line(figure, this.curve_time / MINUTE, this.curve_volts, name="this", unit="V", digits=".2f")
    if reason:
        _reason(figure, reason)
    for k, mark in enumerate(marks):
        # the earliest mark lowest, so that no vertical line crosses the label of another mark
        _mark(figure, mark, 0.95 - 0.1 * (len(marks) - 1 - k), axis)
    return figure.finished()


def _reason(figure: Sketch, text: str) -> None:
    """Write the reason for an empty chart in its middle."""
    figure.add_annotation(
        text=f"<b>{text}</b>", xref="paper", yref="paper", x=0.5, y=0.55, xanchor="center", yanchor="middle",
        showarrow=False, font={"size": SMALL},
    )  # fmt: skip


def _mark(figure: Sketch, mark: VoltageMark, level: float, axis: Axis) -> None:
    if not math.isfinite(mark.time):
        return
    x = mark.time / MINUTE
    low, high = figure.layout["yaxis"]["range"]
    top = low + level * (high - low)
    figure.add_shape(
        type="line",
        x0=x,
        x1=x,
        y0=mark.volts,
        y1=top,
        line={"width": 1, "color": PINNED},
        layer="below",
        name=mark.name,
    )
    dot(figure, x, mark.volts, name=mark.name)
    text = f"{mark.name} {value('minutes', mark.time)}"
    word(figure, x, top, text, right_of=x < 0.3 * axis.top, bold=mark.name == "land", shift=6)


# ---- ledger -----------------------------------------------------------------------------------------------


def ledger(rows: Sequence[tuple[str, str, str, Sequence[str]]], *, pinned_names: Sequence[str]) -> str:
    """Return the ledger of flight conditions: name, current build, its band, pinned builds.

    Parameters
    ----------
    rows : sequence of tuple
        Plain text; escaped here.
    pinned_names : sequence of str
        The pinned builds, the latest first.

    Returns
    -------
    str
        A list, HTML.
    """
    out = []
    for name, mine, spread_, theirs in rows:
        aside = f' <span class="r">({html.escape(spread_)})</span>' if spread_ else ""
        second = _of_pinned(["the same" if text == mine else text for text in theirs], pinned_names)
        out.append(f"<div><dt>{html.escape(name)}</dt><dd><b>{html.escape(mine)}</b>{aside}</dd>{second}</div>")
    one = len(pinned_names) == 1
    mark, sign = (", pinned", "") if one else ("", '<span class="key"><i class="shape p{}"></i></span>')
    foot = "".join(
        f'<p class="foot"><i class="dash p{place}"></i>{sign.format(place)}{html.escape(whose)}{mark}</p>'
        for place, whose in enumerate(pinned_names)
    )
    return f'<div class="wi-ledger"><dl>{"".join(out)}</dl>{foot}</div>'


def _of_pinned(texts: Sequence[str], names: Sequence[str]) -> str:
    """Return the results of the pinned builds in a row, with equal ones combined; HTML."""
    alike: dict[str, list[int]] = {}
    for place, text in enumerate(texts):
        alike.setdefault(text, []).append(place)
    parts = []
    for text, places in alike.items():
        strokes = "".join(
            f'<i class="dash p{place}" role="img" aria-label="{html.escape(names[place])}, pinned:"></i>'
            for place in places
        )
        parts.append(f"<span>{strokes}{html.escape(text)}</span>")
    return f'<dd class="pin">{"".join(parts)}</dd>' if parts else ""


# ---- speed ------------------------------------------------------------------------------------------------


def speed_tops(this: SpeedCurve, others: Sequence[SpeedCurve]) -> tuple[float, float]:
    """Return the ranges of speed [km/h] and power [W] for the axes; they end beyond the two tangent points."""
    speeds, powers = [1.0], [1.0]
    for one in (this, *others):
        if not np.isfinite(one.power).any():
            continue
        fast, some = float(one.best.range_speed), float(one.best.range_power)
        speeds.append(min(2.3 * fast, float(one.speed[-1])) / KMH)
        powers.append(max(min(4.0 * some, float(one.power[-1])), 1.15 * float(one.power[0])))
    return max(speeds), max(powers)


def speed_figure(
    this: SpeedCurve, others: Sequence[SpeedCurve], *, axes: tuple[Axis, Axis], cruise: float | None
) -> go.Figure:
    """Return power against speed with two tangents: at the minimum (longest) and through the origin (farthest).

    Parameters
    ----------
    this : SpeedCurve
        The current build.
    others : sequence of SpeedCurve
        The pinned builds, the latest first.
    axes : tuple of Axis
        Axes of speed [km/h] and power [W].
    cruise : float or None
        Cruise speed of the inputs. [m/s]
    """
    x_axis, y_axis = axes
    figure = panels((Panel("Power in level flight", "W", y_axis),), x_axis, x_title="Air speed, km/h", height=380)
    band(figure, this.speed[::2] / KMH, this.low, this.high)
    for place, other in enumerate(others):
        held = np.where(other.held, other.power, np.nan)
        pinned(figure, other.speed / KMH, held, unit="W", digits=".0f", place=place)
        fast, some = float(other.best.range_speed) / KMH, float(other.best.range_power)
        if math.isfinite(fast):
            dot(figure, fast, some, name="pinned", pin=place)
    if not np.isfinite(this.power).any():
        word(figure, 0.02 * x_axis.top, 0.5 * y_axis.top, "cannot hover, so it cannot fly level", bold=True)
        return figure.finished()
    line(figure, this.speed / KMH, np.where(this.held, this.power, np.nan), name="this", unit="W", digits=".0f")
    last = np.flatnonzero(this.held)[-1] if this.held.any() else 0
    figure.add_scatter(
        x=[float(f"{v:.4g}") for v in this.speed[last:] / KMH], y=[float(f"{v:.4g}") for v in this.power[last:]],
        mode="lines", line={"width": 1.2, "color": THIS}, name="for seconds", hoverinfo="skip",
    )  # fmt: skip
    slow, least = float(this.best.endurance_speed) / KMH, float(this.best.endurance_power)
    fast, some = float(this.best.range_speed) / KMH, float(this.best.range_power)
    thin = {"width": 1.2, "color": PINNED}
    reach = min(1.9 * fast, x_axis.top)
    reach = min(reach, fast * y_axis.top / some)
    figure.add_shape(
        type="line", x0=0, y0=0, x1=reach, y1=some * reach / fast, line=thin, layer="below", name="farthest"
    )
    # short, so that it does not cross the label at the other point
    figure.add_shape(type="line", x0=0.4 * slow, y0=least, x1=min(1.5 * slow, 0.5 * (slow + fast)), y1=least, line=thin,
                     layer="below", name="longest")  # fmt: skip
    dot(figure, slow, least, name="longest")
    dot(figure, fast, some, name="farthest")
    # below the line from the corner, which passes closely under the lowest point
    figure.add_shape(type="line", x0=slow, y0=0, x1=slow, y1=least, line=thin, layer="below", name="to the label")
    _below(figure, slow, 0.0, f"longest {value('road_speed', slow * KMH)}", shift=10, anchor="left", aside=5)
    _below(figure, fast, some, f"farthest {value('road_speed', fast * KMH)}", shift=-17, anchor="left", aside=4)
    _ends(figure, this, last, x_axis, y_axis)
    if cruise is not None and 0.0 < cruise / KMH < x_axis.top:
        _cruise(figure, this, cruise / KMH, x_axis, y_axis)
    return figure.finished()


def _cruise(figure: Sketch, this: SpeedCurve, x: float, x_axis: Axis, y_axis: Axis) -> None:
    """Mark the cruise speed by a line from the curve upwards; the labels of the other points are below the curve."""
    there = np.isfinite(this.power)
    foot = float(np.interp(x, this.speed[there] / KMH, this.power[there]))
    top = min(foot + 0.25 * y_axis.top, 0.95 * y_axis.top)
    figure.add_shape(
        type="line", x0=x, x1=x, y0=min(foot, top), y1=top, layer="below", name="cruise",
        line={"width": 1, "color": PINNED},
    )  # fmt: skip
    word(figure, x, top, "your cruise", right_of=x < 0.26 * x_axis.top, shift=5)


def _ends(figure: Sketch, this: SpeedCurve, last: int, x_axis: Axis, y_axis: Axis) -> None:
    """Mark the ends of the sustained and the whole curve, if inside the axes; the text beside the chart gives both."""
    ends = (
        (float(this.speed[last]) / KMH, float(this.power[last]), "for minutes"),
        (float(this.top.speed) / KMH, float(this.power[-1]), "for seconds"),
    )
    for x, y, text in ends:
        if x <= x_axis.top and y <= y_axis.top:
            dot(figure, x, y, name=text)
            word(figure, x, y, f"{text} {value('road_speed', x * KMH)}", right_of=False, bold=True, shift=12)


def _below(figure: Sketch, x: float, y: float, text: str, *, shift: int, anchor: str, aside: int = 0) -> None:
    figure.add_annotation(
        text=f"<b>{text}</b>", x=x, y=y, xanchor=anchor, yanchor="middle", yshift=shift, xshift=aside, showarrow=False,
        font={"size": SMALL},
    )  # fmt: skip


# ---- pack mass and landing voltage ------------------------------------------------------------------------


def pack_figure(this: PackAxis, others: Sequence[PackAxis], *, axes: tuple[Axis, Axis]) -> go.Figure:
    """Return the mixed flight time against pack mass; dots: current pack and longest flight.

    Parameters
    ----------
    this : PackAxis
        The current build.
    others : sequence of PackAxis
        The pinned builds, the latest first.
    axes : tuple of Axis
        Axes of mass [g] and time [min].
    """
    x_axis, y_axis = axes
    figure = panels(
        (Panel("Minutes flown your way", "min", y_axis),), x_axis, x_title="Mass of the pack, g", height=320
    )
    for place, other in enumerate(others):
        pinned(figure, other.mass / GRAM, other.time / MINUTE, unit="min", digits=".1f", place=place)
        if math.isfinite(other.here_time):
            dot(figure, other.here_mass / GRAM, other.here_time / MINUTE, name="pinned pack", pin=place)
    line(figure, this.mass / GRAM, this.time / MINUTE, name="this", unit="min", digits=".1f")
    if not np.isfinite(this.time).any():
        _reason(figure, "no pack of this kind flies it your way")
    if math.isfinite(this.heaviest) and this.heaviest / GRAM < x_axis.top:
        edge = this.heaviest / GRAM
        hatch(figure, [edge, x_axis.top], [0.0, 0.0], [y_axis.top, y_axis.top])
        figure.add_shape(
            type="line", x0=edge, x1=edge, y0=0, y1=y_axis.top, line={"width": 1.4, "color": OVER}, name="limit"
        )
        inside = edge < 0.5 * x_axis.top
        word(figure, edge, 0.06, "thrust below twice its weight", right_of=inside, domain=True, shift=6)
    if math.isfinite(this.best_time):
        x, y = this.best_mass / GRAM, this.best_time / MINUTE
        figure.add_scatter(
            x=[x], y=[y], mode="markers", hoverinfo="skip", name="longest",
            marker={"size": 11, "symbol": "diamond-open", "color": THIS, "line": {"width": 2}},
        )  # fmt: skip
        if abs(this.best_mass - this.here_mass) > 0.12 * x_axis.top * GRAM:
            right = x < 0.3 * x_axis.top
            rising = not this.inside and not math.isfinite(this.heaviest)
            text = "still rising" if rising else f"longest {two_digits(x)}{NARROW}g"
            # above the curve, which is lower on the left; the axis has room for it
            word(figure, x, y, text, right_of=right, bold=True, shift=8, rise=13)
    if math.isfinite(this.here_time):
        dot(figure, this.here_mass / GRAM, this.here_time / MINUTE, name="this pack")
        word(figure, this.here_mass / GRAM, this.here_time / MINUTE, "this pack", bold=True, shift=12)
    return figure.finished()


def cutoff_figure(this: Cutoff, others: Sequence[Cutoff], *, axis: Axis) -> go.Figure:
    """Return the mixed flight time against the landing voltage per cell."""
    ends = [v for one in (this, *others) for v in (one.volts[0], one.volts[-1])]
    low, high = min(ends), max(ends)
    ticks = [float(t) for t in np.arange(math.ceil(low * 2.0) / 2.0, high + 1e-9, 0.5)]
    figure = panels(
        (Panel("Minutes flown your way", "min", axis),),
        Axis(high, 0.5),
        x_title=f"Landing voltage of a cell, V<br>axis begins at {low:.1f}",
        height=338,
        foot=64,
    )
    figure.layout["xaxis"] |= {"range": [low, high], "tickvals": ticks, "ticktext": [f"{t:.1f}" for t in ticks]}
    for place, other in enumerate(others):
        pinned(figure, other.volts, other.time / MINUTE, unit="min", digits=".1f", place=place)
        dot(figure, other.here_volts, other.here_time / MINUTE, name="pinned", pin=place)
    if not np.any(this.time > 1.0):
        _reason(figure, "no landing voltage flies it your way")
        return figure.finished()
    line(figure, this.volts, this.time / MINUTE, name="this", unit="min", digits=".1f")
    dot(figure, this.here_volts, this.here_time / MINUTE, name="now")
    _below(figure, this.here_volts, this.here_time / MINUTE, f"now {this.here_volts:.2f} V", shift=-18, anchor="center")
    return figure.finished()
