"""Shared style of all charts: colours, axes, panels. `marks` draws inside the panels. No Streamlit.

The colours here are those of the light theme. They differ in lightness, so that they stay distinct in a grey print. In
the dark theme the style sheet replaces them: its selectors match these exact values, so that each chart is drawn once.
Text inside a chart has the text colour of the page. The top of an axis is a whole number of ticks of 1, 2 or 5. It
changes with hysteresis, so that the scale is constant while a slider moves.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from explorer.figures.sketch import Sketch

__all__ = [
    "AIR",
    "OVER",
    "PINNED",
    "PINNED_DASHES",
    "PINNED_MARKS",
    "PLOT_CONFIG",
    "THIS",
    "TIGHT",
    "Axis",
    "Panel",
    "panel_title",
    "panels",
    "snapped",
    "x_heading",
]

THIS = "#432A86"
PINNED = "#717D80"
PINNED_DASHES = ("6px,4px", "2px,3px", "9px,3px,2px,3px")
"""Dash patterns of the pinned builds, the latest first."""
PINNED_MARKS = ("circle", "triangle-up", "triangle-down")
"""Marker symbols of the pinned builds, the latest first; all are hollow. The marker of the current build is filled."""
OVER = "#9E3413"
TIGHT = "#A5831C"
AIR = "#2A7391"
BAND = "rgba(67,42,134,0.18)"
GRID = "rgba(127,135,131,0.28)"
FONT = "Source Sans, Source Sans Pro, sans-serif"
PLOT_CONFIG = {"displayModeBar": False, "responsive": True, "scrollZoom": False, "doubleClick": False}

SIZE, SMALL = 14, 13
LEFT = 38
"""Left margin for the tick labels of the y axis. Panel titles begin at the left edge of this margin. [px]"""
MOST_TICKS = 4
LEAST_FILLED = 0.42
"""The axis top is reduced if the largest value is below this share of it. [-]"""


@dataclass(frozen=True)
class Axis:
    """Top and tick step of an axis that begins at zero, in the unit of the axis."""

    top: float
    tick: float


def snapped(most: float, before: Axis | None = None) -> Axis:
    """Return the top of an axis from zero, with at most four ticks of 1, 2 or 5 times a power of ten.

    Parameters
    ----------
    most : float
        Largest value of the chart; NaN, infinity and values up to zero are replaced by 1.
    before : Axis or None
        The previous axis. It is returned if it covers the value and the value fills enough of it.

    Returns
    -------
    Axis
        Top and tick step, in the unit of ``most``.

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
    """One of several stacked panels: its name, unit and y axis.

    Parameters
    ----------
    name, unit : str
        Name in bold, then the unit, above the left end of the panel.
    axis : Axis
    """

    name: str
    unit: str
    axis: Axis


def panel_title(name: str, unit: str, *, y: float = 1.0) -> dict[str, Any]:
    """Return the title above the y axis of a panel: the name in bold, and the unit.

    Parameters
    ----------
    name, unit : str
        Any text.
    y : float
        Upper edge of the panel, as a share of the plot. [-]

    Returns
    -------
    dict
        A plotly annotation.

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


def x_heading(text: str) -> dict[str, Any]:
    """Return the title of an x axis, in the size of the other titles."""
    return {"text": text, "standoff": 6, "font": {"size": SIZE}}


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
    """Return stacked panels with a common x axis, without boxes, legends or a figure title.

    Parameters
    ----------
    rows : sequence of Panel
        From top to bottom.
    x : Axis
        The common x axis.
    x_title : str
        Title of the x axis, with its unit.
    height : int
        Height of the whole figure. [px]
    x_text : sequence of str or None
        Labels of the x ticks; None for the values.
    gap, foot : int
        Space above each panel for its title, and below the last one for the x axis. [px]

    Returns
    -------
    Sketch
        Panel k (from 1) has the axes ``x`` and ``yk``; pass ``row=k`` to the functions of `marks`.
    """
    count = len(rows)
    plot = height - foot
    each = (plot - gap * count) / count
    layout: dict = {
        "xaxis": {
            "anchor": "y" if count == 1 else f"y{count}",
            "range": [0.0, x.top],
            "tickvals": list(np.arange(0.0, x.top + 0.5 * x.tick, x.tick)),
            "tickmode": "array",
            "ticklabelstandoff": 5,
            "title": x_heading(x_title),
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
    }
    if x_text is not None:
        layout["xaxis"]["ticktext"] = list(x_text)
    names = []
    for k, panel in enumerate(rows, start=1):
        upper = 1.0 - ((gap + each) * (k - 1) + gap) / plot
        lower = 1.0 - (gap + each) * k / plot
        mark = "" if k == 1 else str(k)
        layout[f"yaxis{mark}"] = {
            "anchor": "x",
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
            "tickformat": "," if panel.axis.top >= 10_000.0 else "",
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
        "separators": ".\u202f",
        "template": {},
    }
    return Sketch(**layout)
