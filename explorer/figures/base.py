"""Look of all charts: colours, axes, panels. `marks` draws inside the panels. Nothing here knows Streamlit.

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
]

THIS = "#432A86"
PINNED = "#717D80"
PINNED_DASHES = ("6px,4px", "2px,3px", "9px,3px,2px,3px")
"""Strokes of the pinned builds, the last one first."""
PINNED_MARKS = ("circle", "triangle-up", "triangle-down")
"""Shapes of their points, hollow: a filled point is the build on the screen."""
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
        Panel k (from 1) is drawn on axes ``x``/``yk``; pass ``row=k`` to the helpers.
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
            "title": {"text": x_title, "standoff": 6},
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
