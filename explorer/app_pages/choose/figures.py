"""Charts of page Choose: map of all combinations, gain and loss of each step, sources of the spread.

The map is a plotly figure of counts and some dots. The bars are plain HTML, which wraps on a phone, can be printed, and
can be read by a screen reader.
"""

from __future__ import annotations

import html
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from explorer.app_pages.choose.answers import Change
from explorer.app_pages.choose.looks import LOOKS, change_words, in_axis_unit, nice_ticks, reads, unit_of
from explorer.app_pages.choose.picture import Picture
from explorer.app_pages.choose.ranges import many
from explorer.figures.base import FONT, GRID, PINNED, PINNED_MARKS, SMALL, THIS, panel_title, x_heading
from explorer.text.numbers import NARROW, Units
from propmodel.studies.spread import Contribution

__all__ = [
    "MapMark",
    "change_bars",
    "change_frame",
    "change_sentence",
    "map_of",
    "map_words",
    "over_words",
    "reading_bars",
    "spread_bars",
]

HEIGHT = 470
FOOTPRINT = "rgba(113,125,128,0.17)"
_HUE = "59,131,160"
COUNTS = [[0.0, f"rgba({_HUE},0.26)"], [0.5, f"rgba({_HUE},0.6)"], [1.0, f"rgba({_HUE},0.9)"]]
BOUGHT = ("motor.", "propeller.", "pack.")
"""Fields of parts that can be bought; without frame and payload."""
LEAST_BOUGHT = 0.005
"""Smallest gain of a step with a bar. [-]"""
MOST_BARS = 4
"""Number of steps with a bar; the table has all."""
COST_WIDTH, BUYS_WIDTH = 60.0, 45.0
"""Width of the longest bars; equal shares have equal lengths in columns of widths 1.5 and 2. [% of the column]"""
BARS_TOP = 0.4
"""Share of the longest bar; larger shares are cut and written as numbers. [-]"""


@dataclass(frozen=True)
class MapMark:
    """Position of a build on the map, in SI units; NaN if it has no such result."""

    name: str
    x: float
    y: float
    over: int = 0
    """Number of exceeded limits."""


# ---- the map ----------------------------------------------------------------------------------------------


def map_of(
    seen: Picture,
    this: MapMark,
    others: Sequence[MapMark],
    labels: Sequence[str],
    units: Units,
    *,
    square: bool = False,
) -> go.Figure:
    """Return the counts of combinations against two results, with the frontier, this build and the pinned builds.

    Parameters
    ----------
    seen : Picture
        Counts, frontier and axes.
    this : MapMark
        The current build.
    others : sequence of MapMark
        The pinned builds, the latest first.
    labels : sequence of str
        Shop label of each dot of the frontier.
    units : Units
        Units selected by the user.
    square : bool
        Whether to draw it higher, for a narrow page.

    Returns
    -------
    plotly.graph_objects.Figure
        The trace "frontier" has the flat index of each dot as custom data.
    """
    figure = go.Figure()
    x_edges, y_edges = in_axis_unit(seen.x, seen.x_edges, units), in_axis_unit(seen.y, seen.y_edges, units)
    middle = [0.5 * (e[:-1] + e[1:]) for e in (x_edges, y_edges)]
    grid: dict[str, Any] = {
        "x0": float(middle[0][0]),
        "dx": float(middle[0][1] - middle[0][0]),
        "y0": float(middle[1][0]),
        "dy": float(middle[1][1] - middle[1][0]),
    }
    ruled_out = (seen.every > 0) & (seen.held == 0)
    figure.add_heatmap(
        z=np.where(ruled_out, np.float32(1.0), np.float32(np.nan)),
        **grid,
        colorscale=[[0, FOOTPRINT], [1, FOOTPRINT]],
        zmin=0,
        zmax=1,
        showscale=False,
        hoverinfo="skip",
        name="ruled out",
    )
    with np.errstate(divide="ignore"):
        depth = np.where(seen.held > 0, np.log10(np.maximum(seen.held, 1)), np.nan).astype(np.float32)
    top = max(float(np.log10(max(int(seen.held.max(initial=0)), 2))), 0.5)
    x_look, y_look = LOOKS[seen.x], LOOKS[seen.y]
    x_unit, y_unit = unit_of(seen.x, units), unit_of(seen.y, units)
    figure.add_heatmap(
        z=depth,
        **grid,
        colorscale=COUNTS,
        zmin=0.0,
        zmax=top,
        showscale=False,
        name="that hold",
        customdata=seen.held.astype(np.int32),
        hovertemplate=f"%{{customdata:,}} combinations<br>%{{x:.3~r}} {x_unit}, %{{y:.3~r}} {y_unit}<extra></extra>",
    )
    fx, fy = in_axis_unit(seen.x, seen.frontier_x, units), in_axis_unit(seen.y, seen.frontier_y, units)
    figure.add_scatter(
        x=[float(f"{v:.5g}") for v in fx],
        y=[float(f"{v:.5g}") for v in fy],
        mode="lines+markers",
        name="frontier",
        line={"width": 1.6, "color": THIS},
        marker={"size": 9, "color": THIS, "line": {"width": 1.5, "color": "#F6F5F0"}},
        customdata=[[int(k)] for k in seen.frontier],
        text=[html.escape(t) for t in labels],
        hovertemplate=f"%{{text}}<br>%{{x:.3~r}} {x_unit}, %{{y:.3~r}} {y_unit}<br>click to load<extra></extra>",
        selected={"marker": {"opacity": 1.0}},
        unselected={"marker": {"opacity": 1.0}},
    )
    for place, other in reversed(list(enumerate(others))):
        words = html.escape(_short(other.name or "unnamed")) if len(others) > 1 else "pinned"
        _mark(figure, other, seen, units, words, pin=place, right=not other.x < this.x)
    over = "" if not this.over else " ✕ over a limit" if this.over == 1 else f" ✕ over {this.over} limits"
    beside = any(this.x < other.x for other in others)
    _mark(figure, this, seen, units, f"<b>this build</b>{over}", pin=None, right=not beside)
    x_range, y_range = (float(x_edges[0]), float(x_edges[-1])), (float(y_edges[0]), float(y_edges[-1]))
    base = {
        "fixedrange": True,
        "zeroline": False,
        "showline": False,
        "gridcolor": GRID,
        "ticks": "",
        "layer": "below traces",
    }
    x_title = f"{x_look.words[:1].upper()}{x_look.words[1:]}" + (f", {x_unit}" if x_unit else "")
    figure.add_annotation(**panel_title(f"{y_look.words[:1].upper()}{y_look.words[1:]}", y_unit))
    figure.update_layout(
        template=None,
        height=HEIGHT if not square else 400,
        margin={"l": 38, "r": 14, "t": 34, "b": 46},
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        showlegend=False,
        font={"family": FONT, "size": SMALL, "color": PINNED},
        hovermode="closest",
        hoverlabel={
            "bgcolor": "#1E2A2E",
            "bordercolor": "#7D8783",
            "font": {"size": SMALL, "color": "#fff", "family": FONT},
        },
        dragmode=False,
        clickmode="event+select",
        uirevision="steady",
        xaxis=base | {"title": x_heading(x_title), "range": x_range, "dtick": nice_ticks(*x_range)[2], "tick0": 0.0},
        yaxis=base | {"range": y_range, "dtick": nice_ticks(*y_range)[2], "tick0": 0.0},
    )
    return figure


def _short(name: str) -> str:
    """Return a name for a label inside the map, which is narrow on a phone."""
    return name if len(name) <= 22 else f"{name[:20].rstrip()}..."


def _mark(
    figure: go.Figure, mark: MapMark, seen: Picture, units: Units, words: str, *, pin: int | None, right: bool
) -> None:
    """Draw a build on the map: a ring with a dot, or the hollow marker of a pinned build, with a label."""
    if not (math.isfinite(mark.x) and math.isfinite(mark.y)):
        return
    x, y = float(in_axis_unit(seen.x, mark.x, units)), float(in_axis_unit(seen.y, mark.y, units))
    of_pinned = pin is not None
    size, width = (13, 2.4) if of_pinned else (18, 3.2)
    shape = f"{PINNED_MARKS[(pin or 0) % len(PINNED_MARKS)]}-open" if of_pinned else "circle-open-dot"
    # a light rim separates the marker from the counts, in both themes
    for name, colour, extra in (("rim", "rgba(246,245,240,0.9)", 3.4), ("", PINNED if of_pinned else THIS, 0.0)):
        figure.add_scatter(
            x=[x],
            y=[y],
            mode="markers",
            hoverinfo="skip",
            name=name or ("pinned" if of_pinned else "this build"),
            marker={
                "symbol": shape.removesuffix("-dot") if name == "rim" else shape,
                "size": size,
                "color": colour,
                "line": {"width": width + extra},
            },
        )
    edges = in_axis_unit(seen.x, seen.x_edges, units)
    share = (x - edges[0]) / (edges[-1] - edges[0])
    right = (right and share < 0.85) or share < 0.15
    figure.add_annotation(
        text=words,
        x=x,
        y=y,
        xanchor="left" if right else "right",
        yanchor="top" if of_pinned else "bottom",
        xshift=12 if right else -12,
        yshift=-5 if of_pinned else 5,
        showarrow=False,
        font={"size": SMALL},
    )


def map_words(seen: Picture, this: MapMark, units: Units) -> str:
    """Return a description of the map in one sentence, for screen readers."""
    x_words, y_words = LOOKS[seen.x].words, LOOKS[seen.y].words
    start = f"Map of {many(seen.size)} combinations, {x_words} across and {y_words} upwards; {many(seen.holding)} hold."
    if seen.frontier.size == 0:
        return start
    ends = [
        f"{reads(seen.x, float(seen.frontier_x[k]), units)} with {reads(seen.y, float(seen.frontier_y[k]), units)}"
        for k in (0, -1)
    ]
    here = ""
    if math.isfinite(this.x) and math.isfinite(this.y):
        here = f" This build: {reads(seen.x, this.x, units)} with {reads(seen.y, this.y, units)}."
    return f"{start} The frontier runs from {ends[0]} to {ends[1]}.{here}"


# ---- what should I change? --------------------------------------------------------------------------------


def change_sentence(found: list[Change], output: str) -> str:
    """Return the best step that exceeds no further limit, in words; HTML."""
    clean = [c for c in found if c.buys >= LEAST_BOUGHT and not c.over and c.path.startswith(BOUGHT)]
    if not clean:
        return (
            '<p class="wi-small">No single part that is sold betters this without breaking a limit; '
            "the combinations above change several parts at once.</p>"
        )
    best = clean[0]
    gain = change_words(output, best.after, best.before)
    cost = ""
    if best.cost_of:
        lost = change_words(best.cost_of, best.cost_after, best.cost_before)
        name = "" if best.cost_of in ("mass", "thrust_to_weight") else f" in {LOOKS[best.cost_of].words}"
        cost = f", but {html.escape(lost)}{html.escape(name)}"
    return (
        f'<p class="wi-answer">Best single change that breaks no new limit: '
        f'<b class="n">{html.escape(best.words)}</b>, {html.escape(gain)}{cost}.</p>'
    )


def change_frame(found: list[Change], output: str) -> pd.DataFrame:
    """Return the values of the bars as a table."""
    return pd.DataFrame(
        {
            "step": [c.words for c in found],
            f"{LOOKS[output].words}, change [%]": [100.0 * (c.after / c.before - 1.0) for c in found],
            "costs most in": [LOOKS[c.cost_of].words if c.cost_of else "" for c in found],
            "loss there [%]": [100.0 * c.cost for c in found],
            "goes over": [", ".join(c.over) for c in found],
        }
    )


def change_bars(found: Sequence[Change], output: str, units: Units) -> str:
    """Return two-sided bars, one row per step: loss on the left, gain on the right.

    Parameters
    ----------
    found : sequence of Change
        The largest gain first.
    output : str
        The selected result.
    units : Units
        Units selected by the user.

    Returns
    -------
    str
        Rows with bars, HTML.
    """
    worth = [c for c in found if c.buys >= LEAST_BOUGHT][:MOST_BARS]
    if not worth:
        return f'<p class="wi-small">No single step buys {html.escape(LOOKS[output].words)}.</p>'
    longest = min(max([c.buys for c in worth] + [min(c.cost, 9.0) for c in worth]), BARS_TOP)
    rows = "".join(_change_row(c, output, longest, units) for c in worth)
    return (
        '<div class="wi-buys"><div class="head" aria-hidden="true"><span></span><span>what it costs</span>'
        f"<span>what it buys</span></div><ul>{rows}</ul></div>"
    )


def _change_row(change: Change, output: str, longest: float, units: Units) -> str:
    def width(share: float, most: float) -> str:
        return f"{most * min(share / longest, 1.0):.1f}%"

    cost = "nothing that counts"
    if change.cost_of:
        cost = f"{change_words(change.cost_of, change.cost_after, change.cost_before)}"
        if change.cost_of not in ("mass",):
            cost = f"{_SHORT.get(change.cost_of, '')} {cost}".strip()
    over = over_words(change.over)
    bar = f'<i style="width:{width(change.cost, COST_WIDTH)}"></i>' if change.cost_of else ""
    words = html.escape(change.words[:1].upper() + change.words[1:])
    return (
        f'<li><div class="what"><b>{words}</b>{over}</div>'
        f'<div class="cost"><span class="text"><span class="wi-narrow">costs: </span>{html.escape(cost)}</span>'
        f"{bar}</div>"
        f'<div class="buy"><i style="width:{width(change.buys, BUYS_WIDTH)}"></i>'
        f'<span class="text"><b>{html.escape(change_words(output, change.after, change.before))}</b> '
        f"{html.escape(reads(output, change.after, units))}</span></div></li>"
    )


def over_words(broken: Sequence[str]) -> str:
    """Return exceeded limits as HTML: symbol, word, the first name; "" without any."""
    if not broken:
        return ""
    more = f" and {len(broken) - 1} more" if len(broken) > 1 else ""
    first = html.escape(broken[0])
    return f' <span class="wi-over">\u2715 goes over</span> <span class="over">{first}{more}</span>'


_SHORT = {
    "hover_time": "flies",
    "thrust_to_weight": "",
    "top_speed": "top speed",
    "full_throttle_motor_current": "each motor",
}


# ---- where the spread comes from --------------------------------------------------------------------------


def spread_bars(found: Sequence[Contribution], least: float = 0.01) -> str:
    """Return the contributions to the spread as bars, the largest first.

    Parameters
    ----------
    found : sequence of Contribution
        The largest first.
    least : float
        Smallest share with a bar. [-]

    Returns
    -------
    str
        A list with bars, HTML.
    """
    causes = [c for c in found if c.share >= least]
    top = max((c.share for c in causes), default=1.0)
    rows = "".join(_bar(c.group, c.share, top, "this") for c in causes)
    return f'<ul class="wi-shares">{rows}</ul>'


def reading_bars(found: Sequence[tuple[str, float]]) -> str:
    """Return the reduction of the band by each reading as bars.

    Parameters
    ----------
    found : sequence of (words, share of the band)
        The largest first.

    Returns
    -------
    str
        A list with bars, HTML.
    """
    return f'<ul class="wi-shares">{"".join(_bar(words, share, 1.0, "air") for words, share in found)}</ul>'


def _bar(words: str, share: float, top: float, kind: str) -> str:
    percent = 100.0 * share
    text = "under 1" if 0.0 < percent < 1.0 else f"{percent:.0f}"
    return (
        f'<li><div class="label"><span>{html.escape(words[:1].upper() + words[1:])}</span><b>{text}{NARROW}%</b></div>'
        f'<div class="track" aria-hidden="true"><i class="{kind}" style="width:{100.0 * share / max(top, 1e-9):.1f}%">'
        "</i></div></li>"
    )
