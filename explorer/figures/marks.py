"""Marks inside chart panels: curves, bands, dots, measured points, limits, labels. No Streamlit."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from explorer.figures.base import AIR, BAND, OVER, PINNED, PINNED_DASHES, PINNED_MARKS, SMALL, THIS
from explorer.figures.sketch import Sketch

__all__ = ["MEASURED_MARKS", "band", "dot", "dots", "hatch", "limit", "line", "measured", "pinned", "word"]


def _axes(row: int) -> dict[str, str]:
    mark = "" if row == 1 else str(row)
    return {"xaxis": "x", "yaxis": f"y{mark}"}


def _rounded(values: ArrayLike) -> list[float | None]:
    """Return the values rounded to four digits, finer than a pixel, which keeps the message short; None for a gap."""
    return [None if not math.isfinite(v) else float(f"{v:.4g}") for v in np.asarray(values, dtype=float)]


def band(figure: Sketch, x: ArrayLike, low: ArrayLike, high: ArrayLike, *, row: int = 1) -> None:
    """Shade the 80 % interval of craft with these labels; without an edge or a hover label.

    Parameters
    ----------
    figure : Sketch
        The chart; changed in place.
    x, low, high : array_like
        One-dimensional, of the same length; points with a gap in any of them are omitted.
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
    """Draw the curve of the current build.

    Parameters
    ----------
    figure : Sketch
        The chart; changed in place.
    x, y : array_like
        One-dimensional, of the same length; NaN makes a gap.
    name : str
        Name in the hover label.
    unit : str
        Unit after the number in the hover label.
    digits : str
        Number format of the hover label.
    row : int
        Panel, from 1.
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
    """Draw a pinned build: thin, dashed, grey. Parameters as for `line`; ``place`` is 0 for the latest pinned build."""
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
    figure: Sketch, x: float, y: float, *, name: str, pin: int | None = None, row: int = 1, top: float | None = None
) -> None:
    """Mark one point: filled for the current build, hollow for a pinned one.

    ``pin`` is the index of the pinned build, 0 for the latest; each index has its own marker symbol.
    With ``top``, a vertical line from zero to ``top`` goes through the point. Line and point are one trace, which the
    browser draws in a third of the time of a shape and a point.
    """
    of_pinned, stroke = pin is not None, 2
    shape, dash = PINNED_MARKS[(pin or 0) % len(PINNED_MARKS)], PINNED_DASHES[(pin or 0) % len(PINNED_DASHES)]
    size = 11 if not of_pinned else 10 if shape == "circle" else 11
    upright = top is not None
    figure.add_scatter(
        x=[x, x, x] if upright else [x],
        y=[0.0, y, top] if upright else [y],
        mode="lines+markers" if upright else "markers",
        line={"width": 1.4, "color": PINNED, "dash": dash} if of_pinned else {"width": 1.4, "color": THIS},
        marker={
            "size": [0, size, 0] if upright else size,
            "symbol": shape if of_pinned else "circle",
            "color": "rgba(0,0,0,0)" if of_pinned else THIS,
            "line": {"width": [0, stroke, 0] if upright else stroke, "color": PINNED if of_pinned else THIS},
        },
        hoverinfo="skip",
        name=name,
        **_axes(row),
    )


def dots(
    figure: Sketch,
    this: tuple[float, float] | None,
    pins: Sequence[tuple[float, float] | None],
    *,
    name: str,
    top: float,
    row: int = 1,
) -> None:
    """Mark the same point of several builds, as one trace; a vertical line to ``top`` goes through that of this build.

    Parameters
    ----------
    figure : Sketch
        The chart; changed in place.
    this : (float, float) or None
        Point of the current build, filled; None or NaN for none.
    pins : sequence of (float, float) or None
        Points of the pinned builds, hollow, the latest first, each with its own marker symbol.
    name : str
        Name of the trace.
    top : float
        Upper end of the vertical line.
    row : int
        Panel, from 1.
    """
    hidden = (0, "circle", THIS, 0, THIS)
    points: list[tuple[float | None, float | None, tuple[int, str, str, int, str]]] = []
    if this is not None:
        x, y = this
        points += [(x, 0.0, hidden), (x, y, (11, "circle", THIS, 2, THIS)), (x, top, hidden)]
    for k, one in enumerate(pins):
        if one is not None:
            shape = PINNED_MARKS[k % len(PINNED_MARKS)]
            look = (10 if shape == "circle" else 11, shape, "rgba(0,0,0,0)", 2, PINNED)
            points += [(None, None, hidden), (*one, look)]
    if not points:
        return
    size, symbol, color, stroke, edge = (list(each) for each in zip(*(look for _, _, look in points), strict=True))
    figure.add_scatter(
        x=[x for x, _, _ in points],
        y=[y for _, y, _ in points],
        mode="lines+markers",
        line={"width": 1.4, "color": THIS},
        marker={"size": size, "symbol": symbol, "color": color, "line": {"width": stroke, "color": edge}, "opacity": 1},
        hoverinfo="skip",
        name=name,
        **_axes(row),
    )


MEASURED_MARKS = ("diamond-open", "square-open")
"""Marker symbols of measurements, the nearest pair of parts first. Nothing else has these symbols."""


def measured(
    figure: Sketch,
    pairs: Sequence[tuple[ArrayLike, ArrayLike]],
    *,
    name: str,
    unit: str,
    digits: str = ",.3~r",
    row: int = 1,
) -> None:
    """Draw measured points: open blue markers without a line. One trace: the browser draws it twice at each move.

    Parameters
    ----------
    figure : Sketch
        The chart; changed in place.
    pairs : sequence of (array_like, array_like)
        x and y of each pair of motor and propeller, the nearest first, at most as many as `MEASURED_MARKS`. Points with
        a gap in either are omitted.
    name, unit : str
        Name and unit in the hover label.
    digits : str
        Number format of the hover label.
    row : int
        Panel, from 1.
    """
    xs, ys = (np.concatenate([np.asarray(pair[k], dtype=float) for pair in pairs]) for k in (0, 1))
    marks = np.concatenate([np.full(np.size(pair[0]), k) for k, pair in enumerate(pairs)])
    there = np.isfinite(xs) & np.isfinite(ys)
    if not there.any():
        return
    shapes = [int(mark) for mark in marks[there]]
    figure.add_scatter(
        x=_rounded(xs[there]),
        y=_rounded(ys[there]),
        mode="markers",
        marker={
            "symbol": [MEASURED_MARKS[mark] for mark in shapes],
            "size": [11 - mark for mark in shapes],
            "color": AIR,
            "line": {"width": 2, "color": AIR},
            "opacity": 1,  # several sizes would make it 0.7
        },
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
    """Write a label beside a point, in the text colour of the page.

    Parameters
    ----------
    figure : Sketch
        The chart; changed in place.
    x, y : float
        Position in the units of the panel; with ``domain``, y is a share of the height of the panel.
    text : str
        The label.
    row : int
        Panel, from 1.
    right_of : bool
        Whether the label is to the right of the point, else to the left.
    bold : bool
        Whether to write it in bold.
    shift, rise : int
        Horizontal distance from the point, and height above it. [px]
    domain : bool
        Whether y is a share of the height of the panel.
    """
    mark = "" if row == 1 else str(row)
    figure.add_annotation(
        text=f"<b>{text}</b>" if bold else text,
        x=x,
        y=y,
        xref="x",
        yref=f"y{mark} domain" if domain else f"y{mark}",
        xanchor="left" if right_of else "right",
        yanchor="middle",
        xshift=shift if right_of else -shift,
        yshift=rise,
        showarrow=False,
        font={"size": SMALL},
    )


def hatch(figure: Sketch, x: Sequence[float], low: Sequence[float], high: Sequence[float], *, row: int = 1) -> None:
    """Hatch the area beyond a limit, between ``low`` and ``high``. Hatching has no other use in the charts."""
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


def limit(figure: Sketch, value: float, *, x_top: float, y_top: float, row: int = 1) -> None:
    """Draw an upper limit: a line, and hatching above it. Its name is in the key below the chart: no curve crosses it.

    Parameters
    ----------
    figure : Sketch
        The chart; changed in place.
    value : float
        The limit, in the unit of the panel; a limit above ``y_top`` is not drawn.
    x_top, y_top : float
        Tops of the x and y axes.
    row : int
        Panel, from 1.
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
