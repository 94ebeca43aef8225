"""Charts of page Dive: side view of the path, parts of the delay, load factor against charge, vortex ring state."""

from __future__ import annotations

import html
import math
from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray

from explorer.app_pages.dive.answers import DiveAnswer
from explorer.figures.base import FONT, GRID, OVER, PINNED, PINNED_DASHES, SMALL, THIS, panel_title, x_heading
from explorer.figures.marks import dot, word
from explorer.figures.sketch import Sketch
from explorer.text.numbers import NARROW, spread, value
from propmodel.base.arrays import number
from propmodel.base.status import Status
from propmodel.base.units import KMH
from propmodel.dive.stepped import Path, PullOut, WashBand

__all__ = [
    "charge_words",
    "comes_out",
    "craft_path",
    "delay_strip",
    "dive_figure",
    "dive_frame",
    "pull_by",
    "pull_table",
    "wash_strip",
]

HEIGHT = 460
FOOT = 46
DRAWN_FALL = 0.35
"""Height drawn above the command, over the height at the command. [-] The fall before it is a straight line."""


def charge_words(charge: float) -> str:
    """Return a state of charge in words.

    Examples
    --------
    >>> charge_words(0.2), charge_words(1.0)
    ('a fifth left', 'a full pack')
    """
    named = {1.0: "a full pack", 0.5: "half left", 0.25: "a quarter left", 0.2: "a fifth left", 0.1: "a tenth left"}
    return next((w for c, w in named.items() if abs(c - charge) < 0.005), f"{100 * charge:.0f}{NARROW}% left")


def _reported(out: PullOut) -> Path | None:
    way = int(out.manoeuvre)
    return next((p for p in out.paths if int(p.manoeuvre) == way), None)


def _heights(out: PullOut, command: float) -> tuple[NDArray, NDArray]:
    """Return distance [m] and height above the ground [m] along the reported path, to the ground or to level flight."""
    path = _reported(out)
    if path is None:
        return np.array([]), np.array([])
    x, y = np.asarray(path.forward, float).ravel(), np.asarray(path.height, float).ravel() + command
    if not math.isfinite(float(out.height_lost)):  # no level flight: draw until well below the ground
        keep = y > -0.2 * command
        return x[keep], y[keep]
    under = np.flatnonzero(y < 0.0)
    if int(out.status) == Status.REACHES_THE_GROUND and under.size:
        k = int(under[0])
        share = y[k - 1] / (y[k - 1] - y[k])
        return (
            np.append(x[:k], x[k - 1] + share * (x[k] - x[k - 1])),
            np.append(y[:k], 0.0),
        )
    return x, y


LEAST_TO_DIVE = 1.5
"""Thrust to weight left for the pull-out below which a craft is not dived: it sinks for seconds (common practice, from
memory). [-]"""


def too_weak(answer: DiveAnswer) -> bool:
    """Return whether the thrust left for the pull-out is too small for any dive."""
    return answer.available < LEAST_TO_DIVE


def comes_out(answer: DiveAnswer) -> bool:
    """Return whether it can hover, is not too weak, and 9 in 10 craft with these labels pull out of this dive."""
    return (
        answer.hovers
        and not too_weak(answer)
        and math.isfinite(float(answer.out.height_lost))
        and math.isfinite(answer.high)
    )


def pull_by(answer: DiveAnswer) -> float:
    """Return the lowest safe height of the pull for 9 in 10 craft, rounded up; infinite if there is none. [m]"""
    step = 10.0 if answer.high - answer.low >= 100.0 else 1.0
    return step * math.ceil(answer.high / step) if math.isfinite(answer.high) else math.inf


def command_height(answer: DiveAnswer, start: float | None) -> float:
    """Return the height above the ground of the command to pull: from ``start``, or that of `pull_by`. [m]"""
    if start is not None:
        return start - float(answer.out.fall_height)
    if math.isfinite(answer.high):
        return pull_by(answer)
    lost = float(answer.out.height_lost)
    return lost if math.isfinite(lost) else 60.0


def _pinned_command(this: DiveAnswer, other: PullOut, start: float | None) -> float:
    """Return the height of the command of a pinned build: from ``start``, or that of the current build. [m]"""
    return command_height(this, None) if start is None else start - float(other.fall_height)


def dive_frame(this: DiveAnswer, others: Sequence[PullOut], start: float | None) -> float:
    """Return the highest point of the chart. [m]"""
    tops = [10.0]
    known = [(this.out, command_height(this, start)), *((one, _pinned_command(this, one, start)) for one in others)]
    for one, command in known:
        fallen = float(one.fall_height)
        tops.append(command + min(fallen if math.isfinite(fallen) else 0.0, DRAWN_FALL * max(command, 10.0)))
    return max(tops)


def dive_figure(
    this: DiveAnswer, others: Sequence[PullOut], *, start: float | None, top: float, tick: float
) -> go.Figure:
    """Return the side view with equal axes: hatched ground, lowest height to pull, band of the final heights.

    Parameters
    ----------
    this : DiveAnswer
        The current build.
    others : sequence of PullOut
        The same dive of the pinned builds, the latest first.
    start : float or None
        Height above ground of the start; None for the ground at the height lost by 9 in 10 craft. [m]
    top, tick : float
        Top and tick step of the height axis. [m]
    """
    command = command_height(this, start)
    low = -0.09 * top
    ticks = list(np.arange(0.0, top + 1e-9, tick))
    axis = {
        "fixedrange": True, "zeroline": False, "showline": False, "gridcolor": GRID, "ticks": "", "tickmode": "array",
        "tickvals": ticks, "ticktext": [f"{t:g}" for t in ticks],
    }  # fmt: skip
    side = [round(float(v), 6) for v in np.arange(-20 * tick, 40 * tick, tick)]
    figure = Sketch(
        template={},
        height=HEIGHT,
        margin={"l": 40, "r": 14, "t": 34, "b": FOOT},
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        showlegend=False,
        font={"family": FONT, "size": SMALL, "color": PINNED},
        hovermode="closest",
        dragmode=False,
        uirevision="steady",
        hoverlabel={
            "bgcolor": "#1E2A2E",
            "bordercolor": "#7D8783",
            "font": {"size": SMALL, "color": "#fff", "family": FONT},
        },
        yaxis={**axis, "range": [low, top * 1.04]},
        xaxis={
            **axis,
            "range": [-0.14 * top, 0.9 * top],
            "scaleanchor": "y",
            "scaleratio": 1,
            "constraintoward": "left",
            "tickvals": side,
            "ticktext": [f"{t:g}" if t >= 0 else "" for t in side],
            "title": x_heading("Way forward, m"),
        },
    )
    figure.add_annotation(**panel_title("Height above the ground", "m"))
    _ground(figure, low, top)
    for place, other in enumerate(others):
        x, y = _heights(other, _pinned_command(this, other, start))
        dash = PINNED_DASHES[place % len(PINNED_DASHES)]
        _path(figure, x, y, "pinned", {"width": 1.6, "color": PINNED, "dash": dash})
        if x.size and math.isfinite(float(other.height_lost)):
            dot(figure, float(x[-1]), float(y[-1]), name="pinned is level", pin=place)
    x, y = _heights(this.out, command)
    if x.size:
        _path(figure, x, y, "this", {"width": 2.6, "color": THIS})
    if comes_out(this) and command > 0.0:  # no height is written that would not be sufficient
        _command(figure, this, command, start)
        if float(y.max()) > 1.02 * top:
            word(figure, 0.0, top, f"falls from {value('distance', float(y.max()))}", shift=10)
    _ends(figure, this, command, x, y, top)
    return figure.finished()


def craft_path(answer: DiveAnswer, *, start: float | None, top: float) -> list[tuple[float, float, float, float]]:
    """Return time from the decision [s], distance [m], height [m] and speed [km/h] along the drawn path.

    Empty without a path.
    """
    path = _reported(answer.out)
    x, y = _heights(answer.out, command_height(answer, start))
    if path is None or x.size < 2:
        return []
    count = x.size
    time, speed = (np.asarray(v, float).ravel()[:count] for v in (path.time, path.speed))
    keep = np.flatnonzero((y <= 1.04 * top) & np.isfinite(x) & np.isfinite(time))
    if keep.size < 2:
        return []
    keep = keep[np.unique(np.linspace(0, keep.size - 1, 120).astype(int))]
    table = np.column_stack([time[keep], x[keep], y[keep], speed[keep] / KMH])
    rows = ([float(f"{v:.4g}") for v in row] for row in table)
    return [(t, across, height, kmh) for t, across, height, kmh in rows]


def _command(figure: Sketch, this: DiveAnswer, command: float, start: float | None) -> None:
    """Draw the height of the command to pull."""
    figure.add_shape(
        type="line",
        xref="paper",
        x0=0,
        x1=1,
        y0=command,
        y1=command,
        line={"width": 1, "color": PINNED},
        layer="below",
        name="pull by",
    )
    dot(figure, 0.0, command, name="command")
    words = f"pull out by {command:.0f} m" if start is None else f"you pull out at {command:.0f} m"
    word(figure, 0.0, command, f"{words}, {value('road_speed', float(this.out.speed))}", bold=True, shift=12)
    figure.layout["annotations"][-1] |= {"yanchor": "bottom", "yshift": 2}


def _path(figure: Sketch, x: NDArray, y: NDArray, name: str, stroke: dict) -> None:
    figure.add_scatter(
        x=[float(f"{v:.4g}") for v in x], y=[float(f"{v:.4g}") for v in y], mode="lines", line=stroke, name=name,
        hovertemplate=f"{name}: %{{y:.0f}} m up<extra></extra>",
    )  # fmt: skip


def _ground(figure: Sketch, low: float, top: float) -> None:
    wide = 12.0 * top
    figure.add_scatter(
        x=[-wide, wide, wide, -wide], y=[0.0, 0.0, low, low], mode="lines", line={"width": 0, "color": OVER},
        fill="toself", fillcolor="rgba(158,52,19,0.05)", hoverinfo="skip", name="ground",
        fillpattern={"shape": "/", "fgcolor": OVER, "bgcolor": "rgba(0,0,0,0)", "size": 9, "solidity": 0.12},
    )  # fmt: skip
    figure.add_shape(
        type="line", xref="paper", x0=0, x1=1, y0=0, y1=0, line={"width": 1.4, "color": OVER}, name="limit"
    )


def _ends(figure: Sketch, this: DiveAnswer, command: float, x: NDArray, y: NDArray, top: float) -> None:
    """Draw the 80 % interval of the height of level flight."""
    if not x.size:
        return
    if int(this.out.status) == Status.REACHES_THE_GROUND:
        word(figure, float(x[-1]), 0.04 * top, "reaches the ground", bold=True, shift=12)
        return
    if not math.isfinite(float(this.out.height_lost)):
        word(figure, float(x[-1]), max(float(y[-1]), 0.06 * top), "never level", bold=True, shift=12)
        return
    if not this.hovers:
        word(figure, float(x[-1]), max(float(y[-1]), 0.06 * top), "cannot hover", bold=True, shift=12)
        return
    at = float(x[-1]) + 0.05 * top
    if not math.isfinite(this.high):
        word(figure, at, float(y[-1]), "level here; some never", bold=True)
        return
    up, down = command - this.low, max(command - this.high, -0.08 * top)
    cap = 0.012 * top
    for x0, x1, y0, y1 in ((at, at, down, up), (at - cap, at + cap, up, up), (at - cap, at + cap, down, down)):
        figure.add_shape(type="line", x0=x0, x1=x1, y0=y0, y1=y1, line={"width": 2, "color": THIS}, name="ends")
    dot(figure, float(x[-1]), float(y[-1]), name="level")
    lost = value("distance", float(this.out.height_lost), low=this.low, high=this.high)
    word(figure, at, 0.5 * (up + down), f"level {lost} lower<br>({spread('distance', this.low, this.high)})", shift=10)
    figure.layout["annotations"][-1]["align"] = "left"


def delay_strip(answer: DiveAnswer) -> str:
    """Return the parts of the delay in a row, in seconds; HTML."""
    d = answer.delay
    parts = [
        ("see", number(d.see)),
        ("decide", number(d.decide)),
        ("turn", number(d.rotate)),
        ("spin up", number(d.spool)),
    ]
    total = sum(v for _, v in parts)
    if total <= 0.0:
        return ""
    cells = "".join(
        "<li "
        f'style="flex-grow:{max(v, 0.02 * total):.4f}"><i{" class=own" if n == "spin up" else ""}></i>'
        f"<span>{n}<br>{v:.2f}{NARROW}s</span></li>"
        for n, v in parts
    )
    return f'<div class="wi-delay"><p>Delay {value("seconds", total)}, in its parts</p><ol>{cells}</ol></div>'


def pull_table(answer: DiveAnswer, *, asked: float) -> str:
    """Return a table of the height lost [m] for five load factors and up to four states of charge; HTML."""
    if not np.isfinite(answer.heights).any():
        return '<p class="wi-plain">Not level with any pull-out, on any charge: there is no height to give.</p>'
    head = "".join(f'<th scope="col">{html.escape(charge_words(float(c)))}</th>' for c in answer.charges)
    rows = []
    for k, load in enumerate(answer.pulls):
        cells = ""
        for j in range(answer.charges.size):
            lost = float(answer.heights[k, j])
            text = f"{lost:.0f}{NARROW}m" if math.isfinite(lost) else "not level"
            cells += f"<td>{text}{'*' if answer.held_back[k, j] else ''}</td>"
        now = ' class="now"' if abs(load - asked) < 0.05 else ""
        rows.append(f'<tr{now}><th scope="row">{load:.0f} times</th>{cells}</tr>')
    star = (
        "<p class='foot'>* Thrust does not allow that much; this is the height with full thrust.</p>"
        if answer.held_back.any()
        else ""
    )
    return (
        '<div class="wi-table wi-pulls" role="group" tabindex="0" aria-label="Table: height lost">'
        "<table><caption>Height lost from your decision to level flight</caption>"
        f"<thead><tr><th scope='col'>Hardest pull-out, over its weight</th>{head}</tr></thead>"
        f"<tbody>{''.join(rows)}</tbody></table>{star}</div>"
    )


def wash_strip(found: WashBand, others: Sequence[WashBand]) -> str:
    """Return a strip of descent speeds [m/s]: steady, vortex ring state with its worst part, faster; HTML."""
    low, worst_low, worst_high, high = (float(v) for v in (found.low, found.worst_low, found.worst_high, found.high))
    top = 5.0 * math.ceil((high + 2.0) / 5.0)

    def speed_text(v: float) -> str:
        return value("speed", v, unit=False)  # as in the sentence below

    def at(v: float) -> float:
        return 100.0 * min(max(v / top, 0.0), 1.0)

    pieces = [
        f'<i class="zone calm" style="left:0;width:{at(low):.2f}%"></i>',
        f'<i class="zone wash" style="left:{at(low):.2f}%;width:{at(high) - at(low):.2f}%"></i>',
        f'<i class="zone worst" style="left:{at(worst_low):.2f}%;width:{at(worst_high) - at(worst_low):.2f}%"></i>',
        f'<i class="zone calm" style="left:{at(high):.2f}%;width:{100 - at(high):.2f}%"></i>',
        f'<span class="name" style="left:{0.5 * at(low):.2f}%">steady</span>',
        f'<span class="name" style="left:{0.5 * (at(low) + at(worst_low)):.2f}%">own wash</span>',
        f'<span class="name below" style="left:{0.5 * (at(worst_low) + at(worst_high)):.2f}%">worst</span>',
        f'<span class="name" style="left:{0.5 * (at(high) + 100):.2f}%">faster</span>',
    ]
    for place, other in enumerate(others):
        left, right = at(float(other.low)), at(float(other.high))
        pieces.append(f'<i class="there p{place}" style="left:{left:.2f}%;width:{right - left:.2f}%"></i>')
    marks = "".join(
        f'<span class="tick" style="left:{at(v):.2f}%">{text}</span>'
        for v, text in ((0.0, "0"), (low, speed_text(low)), (high, speed_text(high)), (top, f"{top:.0f}{NARROW}m/s"))
    )
    return f'<div class="wi-wash" aria-hidden="true">{"".join(pieces)}{marks}</div>'
