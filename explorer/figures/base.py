"""The hand of all charts: colours, panels, bands, pinned lines, limits, hatches. Nothing here knows Streamlit.

Colours of marks here are those of the light theme. They differ in lightness, so that a grey print tells them apart. In
the dark the style sheet puts a set of its own in their place: it finds them by these very values, so nothing is drawn
twice. Words inside a chart take the page's ink from the style sheet. Axis tops are whole ticks of 1, 2 or 5 and move
with hysteresis, so that while a control slides the curve moves and the scale does not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from explorer.figures.sketch import Sketch

__all__ = [
    "AIR",
    "OVER",
    "PINNED",
    "PINNED_DASHES",
    "PLOT_CONFIG",
    "THIS",
    "TIGHT",
    "Axis",
    "Panel",
    "band",
    "dot",
    "hatch",
    "limit",
    "line",
    "measured",
    "panel_title",
    "panels",
    "pinned",
    "snapped",
    "word",
]

THIS = "#432A86"
PINNED = "#717D80"
PINNED_DASHES = ("6px,4px", "2px,3px", "9px,3px,2px,3px")
"""Strokes of the pinned builds, the last one first."""
OVER = "#9E3413"
TIGHT = "#A5831C"
AIR = "#2A7391"
BAND = "rgba(67,42,134,0.18)"
GRID = "rgba(127,135,131,0.28)"
FONT = "Source Sans, Source Sans Pro, sans-serif"
PLOT_CONFIG = {"displayModeBar": False, "responsive": True, "scrollZoom": False, "doubleClick": False}

SIZE, SMALL = 14, 13
LEFT = 38
"""Room for the numbers of an upright axis; names of panels start above it, flush with the text. [px]"""
MOST_TICKS = 4
LEAST_FILLED = 0.42
"""The scale comes down when the tallest curve fills less than this share of it. [-]"""


@dataclass(frozen=True)
class Axis:
    """A snapped axis from zero."""

    top: float
    tick: float


def snapped(most: float, before: Axis | None = None) -> Axis:
    """Top of an axis from zero: at most four ticks of 1, 2 or 5 times a power of ten.

    Parameters
    ----------
    most : float
        Largest value to be drawn; nonsense (NaN, infinite, not above zero) takes 1.
    before : Axis or None
        The axis drawn last time. It stays while the value fits and fills enough of it.

    Returns
    -------
    Axis

    Examples
    --------
    >>> snapped(5.2)
    Axis(top=6.0, tick=2.0)
    >>> snapped(3.9, Axis(6.0, 2.0))
    Axis(top=6.0, tick=2.0)
    >>> snapped(1.9, Axis(6.0, 2.0))
    Axis(top=2.0, tick=0.5)
    """
    value = float(most)
    if not math.isfinite(value) or value <= 0.0:
        value = 1.0
    if before is not None and LEAST_FILLED * before.top <= value <= before.top:
        return before
    power = math.floor(math.log10(value)) - 1
    for tick in (step * 10.0**p for p in range(power, power + 4) for step in (1.0, 2.0, 5.0)):
        count = math.ceil(value / tick - 1e-9)
        if count <= MOST_TICKS:
            return Axis(float(f"{count * tick:.6g}"), float(f"{tick:.6g}"))
    raise AssertionError("a tick of ten times the value always fits")  # pragma: no cover


@dataclass(frozen=True)
class Panel:
    """One of the stacked panels: what it shows, in which unit, on which axis.

    Parameters
    ----------
    name, unit : str
        Shown bold and plain above the panel at the left.
    axis : Axis
    """

    name: str
    unit: str
    axis: Axis


def panel_title(name: str, unit: str, *, y: float = 1.0) -> dict[str, Any]:
    """What stands above the upright axis of a panel: its name in bold and the unit.

    Parameters
    ----------
    name, unit : str
    y : float
        Upper edge of the panel, as a share of the plot. [-]

    Returns
    -------
    dict
        An annotation.

    Examples
    --------
    >>> panel_title("Thrust", "kg")["text"]
    '<b>Thrust</b>, kg'
    """
    return {
        "text": f"<b>{name}</b>, {unit}" if unit else f"<b>{name}</b>",
        "xref": "paper",
        "yref": "paper",
        "x": 0.0,
        "y": y,
        "xanchor": "left",
        "yanchor": "bottom",
        "yshift": 7,
        "xshift": -LEFT,
        "showarrow": False,
        "font": {"size": SIZE},
    }


def panels(
    rows: Sequence[Panel],
    x: Axis,
    *,
    x_title: str,
    height: int,
    x_text: Sequence[str] | None = None,
    gap: int = 46,
    foot: int = 46,
) -> Sketch:
    """Stacked panels over one x axis, without boxes, legends or titles.

    Parameters
    ----------
    rows : sequence of Panel
        From the top.
    x : Axis
        Shared.
    x_title : str
        With its unit.
    height : int
        Of the whole figure. [px]
    x_text : sequence of str or None
        Words at the ticks of the x axis.
    gap, foot : int
        Room above each panel for its name, and below the last for the x axis. [px]

    Returns
    -------
    Sketch
        Panel k (from 1) is drawn on axes ``xk``/``yk``; pass ``row=k`` to the helpers.
    """
    count = len(rows)
    plot = height - foot
    each = (plot - gap * count) / count
    layout: dict = {}
    names = []
    for k, panel in enumerate(rows, start=1):
        upper = 1.0 - ((gap + each) * (k - 1) + gap) / plot
        lower = 1.0 - (gap + each) * k / plot
        mark = "" if k == 1 else str(k)
        last = k == count
        layout[f"xaxis{mark}"] = {
            "anchor": f"y{mark}",
            "range": [0.0, x.top],
            "tickvals": list(np.arange(0.0, x.top + 0.5 * x.tick, x.tick)),
            "tickmode": "array",
            "showticklabels": last,
            "ticklabelstandoff": 5,
            "title": {"text": x_title if last else "", "standoff": 6},
            "fixedrange": True,
            "zeroline": False,
            "showline": False,
            "gridcolor": GRID,
            "ticks": "",
            "showspikes": True,
            "spikemode": "across",
            "spikesnap": "data",
            "spikethickness": -1,
            "spikedash": "solid",
            "spikecolor": PINNED,
        }
        if x_text is not None:
            layout[f"xaxis{mark}"]["ticktext"] = list(x_text)
        if k > 1:
            layout[f"xaxis{mark}"]["matches"] = "x"
        layout[f"yaxis{mark}"] = {
            "anchor": f"x{mark}",
            "domain": [max(lower, 0.0), min(upper, 1.0)],
            "range": [0.0, panel.axis.top],
            "dtick": panel.axis.tick,
            "tick0": 0.0,
            "fixedrange": True,
            "zeroline": False,
            "showline": False,
            "gridcolor": GRID,
            "ticks": "",
            "ticklabelstandoff": 4,
            "tickformat": ",",
        }
        names.append(panel_title(panel.name, panel.unit, y=min(upper, 1.0)) | {"name": f"panel {k}"})
    layout |= {
        "annotations": names,
        "height": height,
        "margin": {"l": LEFT, "r": 14, "t": 0, "b": foot},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "showlegend": False,
        "font": {"family": FONT, "size": SMALL, "color": PINNED},
        "hovermode": "x unified",
        "hoverlabel": {
            "bgcolor": "#1E2A2E",
            "bordercolor": "#7D8783",
            "font": {"size": SMALL, "color": "#fff", "family": FONT},
        },
        "dragmode": False,
        "uirevision": "steady",
        "template": {},
    }
    return Sketch(**layout)


def _axes(row: int) -> dict[str, str]:
    mark = "" if row == 1 else str(row)
    return {"xaxis": f"x{mark}", "yaxis": f"y{mark}"}


def _rounded(values: ArrayLike) -> list[float | None]:
    """Four digits are finer than a pixel and keep the message small; gaps stay gaps."""
    return [None if not math.isfinite(v) else float(f"{v:.4g}") for v in np.asarray(values, dtype=float)]


def band(figure: Sketch, x: ArrayLike, low: ArrayLike, high: ArrayLike, *, row: int = 1) -> None:
    """Shade where 8 in 10 craft with these labels land; no edge, no hover.

    Parameters
    ----------
    figure : Sketch
        Changed in place.
    x, low, high : array_like
        One-dimensional, same length; rows with a gap in any are left out.
    row : int
        Panel, from 1.
    """
    xs, lows, highs = (np.asarray(v, dtype=float) for v in (x, low, high))
    there = np.isfinite(xs) & np.isfinite(lows) & np.isfinite(highs)
    xs, lows, highs = xs[there], lows[there], highs[there]
    figure.add_scatter(
        x=_rounded(np.concatenate([xs, xs[::-1]])),
        y=_rounded(np.concatenate([highs, lows[::-1]])),
        mode="lines",
        line={"width": 0, "color": THIS},
        fill="toself",
        fillcolor=BAND,
        hoverinfo="skip",
        name=f"spread {row}",
        **_axes(row),
    )


def line(
    figure: Sketch, x: ArrayLike, y: ArrayLike, *, name: str, unit: str = "", digits: str = ",.3~r", row: int = 1
) -> None:
    """Draw this build.

    Parameters
    ----------
    figure : Sketch
    x, y : array_like
    name : str
        Shown in the hover label.
    unit : str
        After the number in the hover label.
    digits : str
        Number format of the hover label.
    row : int
    """
    figure.add_scatter(
        x=_rounded(x),
        y=_rounded(y),
        mode="lines",
        line={"width": 2.6, "color": THIS},
        name=name,
        hovertemplate=f"{name} %{{y:{digits}}} {unit}<extra></extra>",
        **_axes(row),
    )


def pinned(
    figure: Sketch,
    x: ArrayLike,
    y: ArrayLike,
    *,
    name: str = "pinned",
    unit: str = "",
    digits: str = ",.3~r",
    row: int = 1,
    place: int = 0,
) -> None:
    """Draw a pinned build: thin, dashed, grey. Parameters as for `line`; ``place`` 0 is the one pinned last."""
    figure.add_scatter(
        x=_rounded(x),
        y=_rounded(y),
        mode="lines",
        line={"width": 1.6, "color": PINNED, "dash": PINNED_DASHES[place % len(PINNED_DASHES)]},
        name=name,
        hovertemplate=f"{name} %{{y:{digits}}} {unit}<extra></extra>",
        **_axes(row),
    )


def dot(
    figure: Sketch, x: float, y: float, *, name: str, of_pinned: bool = False, row: int = 1, top: float | None = None
) -> None:
    """Mark one point: filled for this build, hollow for the pinned one.

    With ``top``, an upright line from zero to that value runs through it. Line and point are one trace: a browser
    draws it in a third of the time of a shape and a point.
    """
    size, stroke = (11 if not of_pinned else 10), 2
    upright = top is not None
    figure.add_scatter(
        x=[x, x, x] if upright else [x],
        y=[0.0, y, top] if upright else [y],
        mode="lines+markers" if upright else "markers",
        line={"width": 1.4, "color": PINNED, "dash": "6px,4px"} if of_pinned else {"width": 1.4, "color": THIS},
        marker={
            "size": [0, size, 0] if upright else size,
            "color": "rgba(0,0,0,0)" if of_pinned else THIS,
            "line": {"width": [0, stroke, 0] if upright else stroke, "color": PINNED if of_pinned else THIS},
        },
        hoverinfo="skip",
        name=name,
        **_axes(row),
    )


MEASURED_MARKS = ("diamond-open", "square-open")
"""Marks of measurements, nearest pair first: shapes that nothing else has."""


def measured(
    figure: Sketch,
    x: ArrayLike,
    y: ArrayLike,
    *,
    name: str,
    unit: str,
    mark: int = 0,
    digits: str = ",.3~r",
    row: int = 1,
) -> None:
    """Mark measured points: open shapes in blue, never joined by a line.

    Parameters
    ----------
    figure : Sketch
    x, y : array_like
        Points with a gap in either are left out.
    name, unit : str
        Of the hover label.
    mark : int
        Which of `MEASURED_MARKS`.
    digits : str
        Number format of the hover label.
    row : int
    """
    xs, ys = (np.asarray(v, dtype=float) for v in (x, y))
    there = np.isfinite(xs) & np.isfinite(ys)
    if not there.any():
        return
    figure.add_scatter(
        x=_rounded(xs[there]),
        y=_rounded(ys[there]),
        mode="markers",
        marker={"symbol": MEASURED_MARKS[mark], "size": 11 - mark, "color": AIR, "line": {"width": 2, "color": AIR}},
        cliponaxis=False,
        name=name,
        hovertemplate=f"{name} %{{y:{digits}}} {unit}<extra></extra>",
        **_axes(row),
    )


def word(
    figure: Sketch,
    x: float,
    y: float,
    text: str,
    *,
    row: int = 1,
    right_of: bool = True,
    bold: bool = False,
    shift: int = 7,
    rise: int = 0,
    domain: bool = False,
) -> None:
    """Write a word in the page's ink beside a point.

    Parameters
    ----------
    figure : Sketch
    x, y : float
        In the panel's own units; ``domain`` makes y a share of the panel's height.
    text : str
    row : int
    right_of : bool
        To the right of the point, else to the left.
    bold : bool
    shift, rise : int
        Distance, and height above the point. [px]
    domain : bool
    """
    mark = "" if row == 1 else str(row)
    figure.add_annotation(
        text=f"<b>{text}</b>" if bold else text,
        x=x,
        y=y,
        xref=f"x{mark}",
        yref=f"y{mark} domain" if domain else f"y{mark}",
        xanchor="left" if right_of else "right",
        yanchor="middle",
        xshift=shift if right_of else -shift,
        yshift=rise,
        showarrow=False,
        font={"size": SMALL},
    )


def hatch(figure: Sketch, x: Sequence[float], low: Sequence[float], high: Sequence[float], *, row: int = 1) -> None:
    """Hatch what lies beyond a limit. Nothing else is ever hatched."""
    figure.add_scatter(
        x=[*x, *reversed(list(x))],
        y=[*high, *reversed(list(low))],
        mode="lines",
        line={"width": 0, "color": OVER},
        fill="toself",
        fillcolor="rgba(158,52,19,0.05)",
        fillpattern={"shape": "/", "fgcolor": OVER, "bgcolor": "rgba(0,0,0,0)", "size": 9, "solidity": 0.12},
        hoverinfo="skip",
        name="beyond",
        **_axes(row),
    )


def limit(figure: Sketch, value: float, text: str, *, x_top: float, y_top: float, row: int = 1) -> None:
    """Draw a ceiling: line, hatch above, words below the line at the left.

    Parameters
    ----------
    figure : Sketch
    value : float
        In the panel's unit; above ``y_top`` nothing is drawn.
    text : str
        Names the limit and its basis.
    x_top, y_top : float
        Tops of the axes.
    row : int
    """
    if not (math.isfinite(value) and 0.0 < value < y_top):
        return
    hatch(figure, [0.0, x_top], [value, value], [y_top, y_top], row=row)
    figure.add_scatter(
        x=[0.0, x_top],
        y=[value, value],
        mode="lines",
        line={"width": 1.4, "color": OVER},
        hoverinfo="skip",
        name="limit",
        **_axes(row),
    )
    mark = "" if row == 1 else str(row)
    figure.add_annotation(
        text=text,
        x=0.0,
        y=value,
        xref=f"x{mark}",
        yref=f"y{mark}",
        xanchor="left",
        yanchor="top",
        xshift=6,
        yshift=-1,
        showarrow=False,
        font={"size": SMALL},
    )
