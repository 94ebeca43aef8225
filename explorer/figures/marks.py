"""What charts draw inside their panels: curves, bands, dots, measured points, limits, words. No Streamlit."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from explorer.figures.base import AIR, BAND, OVER, PINNED, PINNED_DASHES, PINNED_MARKS, SMALL, THIS
from explorer.figures.sketch import Sketch

__all__ = ["MEASURED_MARKS", "band", "dot", "hatch", "limit", "line", "measured", "pinned", "word"]


def _axes(row: int) -> dict[str, str]:
    mark = "" if row == 1 else str(row)
    return {"xaxis": "x", "yaxis": f"y{mark}"}


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
    figure: Sketch, x: float, y: float, *, name: str, pin: int | None = None, row: int = 1, top: float | None = None
) -> None:
    """Mark one point: filled for this build; hollow for a pinned one (its place, 0 the last), each in its own shape.

    With ``top``, an upright line from zero to that value runs through it. Line and point are one trace: a browser
    draws it in a third of the time of a shape and a point.
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
        xref="x",
        yref=f"y{mark}",
        xanchor="left",
        yanchor="top",
        xshift=6,
        yshift=-1,
        showarrow=False,
        font={"size": SMALL},
    )
