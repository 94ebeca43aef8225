"""A line plot as SVG text, for printing: no script, no font file, and readable in grey.

The current build is a thick solid line, a pinned build a thin dashed one. A limit is a thin line with hatching beyond
it, a band a light tint. The name of each line is at its end.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Line", "PlotMark", "nice_ticks", "plain_text", "svg_plot"]

MAX_POINTS = 2000
DRAWABLE = 1e12
"""Numbers above this magnitude, like infinite ones, make a gap. [unit of the axis]"""


def plain_text(text: object, limit: int = 2000) -> str:
    """Return untrusted text for a page: control and direction characters removed, markup escaped.

    Examples
    --------
    >>> plain_text('<b onclick="x">Scree</b>')
    '&lt;b onclick=&quot;x&quot;&gt;Scree&lt;/b&gt;'
    """
    marks = {*range(0x200B, 0x2010), *range(0x202A, 0x202F), *range(0x2060, 0x206A), 0xFEFF, 0xFFFE, 0xFFFF}
    clean = "".join(
        c
        for c in str(text)[:limit]
        if (c.isprintable() or c in "\n\t\u00a0\u202f ") and ord(c) not in marks and not 0xD800 <= ord(c) < 0xE000
    )
    return escape(clean, quote=True)


@dataclass(frozen=True)
class Line:
    """One curve, and its band if it has one."""

    name: str
    x: ArrayLike
    y: ArrayLike
    low: ArrayLike | None = None
    high: ArrayLike | None = None
    pinned: bool = False


@dataclass(frozen=True)
class PlotMark:
    """A point of the plot (``x`` and ``y``), or a limit (``y`` alone), with the forbidden side above or below."""

    name: str
    y: float
    x: float | None = None
    bad_above: bool = True


LONGEST = 24
"""Characters of a name at the end of a curve; a longer one is cut."""


def nice_ticks(low: float, high: float, *, most: int = 5) -> list[float]:
    """Return ticks in steps of 1, 2 or 5 times a power of ten that cover a range.

    Parameters
    ----------
    low, high : float
        Ends of the range; finite.
    most : int
        Approximate number of ticks.

    Returns
    -------
    list of float
        Ticks in increasing order, the first and the last outside the range or at its ends.

    Examples
    --------
    >>> nice_ticks(0.0, 7.3)
    [0.0, 2.0, 4.0, 6.0, 8.0]
    """
    if high - low < 1e-9 * max(abs(low), abs(high), 1.0):  # constant: show a window around the value
        half = 0.5 * max(abs(low), abs(high))
        half = half if half > 1e-9 else 0.5
        low, high = low - half, high + half
    rough = (high - low) / max(most - 1, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(f * power for f in (1.0, 2.0, 5.0, 10.0) if f * power >= rough * (1.0 - 1e-9))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [round(k * step, 12) + 0.0 for k in range(first, last + 1)]


def _tick_text(value: float) -> str:
    return f"{value:,.6g}".replace(",", "\u202f").replace("-", "\u2212")


def _floats(values: ArrayLike) -> NDArray[np.float64]:
    out = np.asarray(values, dtype=np.float64).ravel()
    out = np.where(np.abs(out) < DRAWABLE, out, np.nan)
    if out.size > MAX_POINTS:  # more points than a print can resolve
        out = out[np.linspace(0, out.size - 1, MAX_POINTS).astype(int)]
    return out


def _runs(fine: NDArray[np.bool_]) -> list[slice]:
    """Return the runs of consecutive True values."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], fine, [False]]).astype(np.int8)))
    return [slice(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def svg_plot(
    lines: Sequence[Line],
    *,
    x_title: str,
    y_title: str,
    title: str = "",
    marks: Sequence[PlotMark] = (),
    width: int = 640,
    height: int = 300,
    from_zero: bool = True,
    ident: str = "p",
) -> str:
    """Draw a line plot.

    Parameters
    ----------
    lines : sequence of Line
        Curves; NaN makes a gap.
    x_title, y_title, title : str
        Titles with units; any text, escaped here.
    marks : sequence of PlotMark
        Points and limits.
    width, height : int
        Size of the drawing, which scales with the page. [px]
    from_zero : bool
        Whether the y axis begins at zero if no value is below zero.
    ident : str
        Letters and digits; different for each plot of one page.

    Returns
    -------
    str
        One ``<svg>`` element.

    Examples
    --------
    >>> picture = svg_plot([Line("this", [0, 1], [0, 2])], x_title="throttle, %", y_title="pull, g")
    >>> picture.startswith("<svg") and picture.endswith("</svg>")
    True
    """
    ident = "".join(c for c in ident if c.isascii() and c.isalnum()) or "p"
    data = []
    for line in lines:
        x, y = _floats(line.x), _floats(line.y)
        if x.size != y.size:
            raise ValueError(f"line '{line.name}' has {x.size} x and {y.size} y values")
        low = None if line.low is None else _floats(line.low)
        high = None if line.high is None else _floats(line.high)
        if (low is not None and low.size != x.size) or (high is not None and high.size != x.size):
            raise ValueError(f"the band of line '{line.name}' has another length than the line")
        data.append((line, x, y, low, high))
    label = plain_text(title or y_title)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {int(width)} {int(height)}" role="img" '
        f'aria-label="{label}"><title>{label}</title>'
    )
    marks = [m for m in marks if abs(m.y) < DRAWABLE and (m.x is None or abs(m.x) < DRAWABLE)]
    every_x, every_y = [np.array([])], [np.array([m.y for m in marks])]
    for _, x, y, low, high in data:
        for values in (y, low, high):
            if values is not None:
                fine = np.isfinite(x) & np.isfinite(values)
                every_x.append(x[fine])
                every_y.append(values[fine])
    if any(v.size for v in every_x):
        every_x.append(np.array([m.x for m in marks if m.x is not None]))
    xs, ys = np.concatenate(every_x), np.concatenate(every_y)
    if not xs.size or not ys.size:
        return f'{head}<text x="12" y="24" font-size="13">{label}: nothing to draw</text></svg>'
    x_ticks = nice_ticks(float(xs.min()), float(xs.max()), most=6)
    bottom = 0.0 if from_zero and ys.min() >= 0.0 else float(ys.min())
    y_ticks = nice_ticks(bottom, float(ys.max()))
    left, top, base = 58.0, 30.0, 42.0
    lengths = [len(line.name) for line in lines] + [len(mark.name) for mark in marks]
    longest = min(max(lengths, default=0), LONGEST)
    right = max(40.0, 14.0 + 7.0 * longest)  # room for the names at the ends of the curves
    x0, x1, y0, y1 = x_ticks[0], x_ticks[-1], y_ticks[0], y_ticks[-1]

    def px(v: float | NDArray[np.float64]) -> NDArray[np.float64]:
        return left + (np.asarray(v) - x0) / (x1 - x0) * (width - left - right)

    def py(v: float | NDArray[np.float64]) -> NDArray[np.float64]:
        return height - base - (np.asarray(v) - y0) / (y1 - y0) * (height - top - base)

    def path(x: NDArray[np.float64], y: NDArray[np.float64]) -> str:
        return "".join(
            f"{'M' if i == 0 else 'L'}{a:.1f} {b:.1f}" for i, (a, b) in enumerate(zip(px(x), py(y), strict=True))
        )

    out = [
        head,
        f'<defs><pattern id="{ident}h" width="6" height="6" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><path d="M0 0V6" class="hatch"/></pattern></defs>',
        f'<text x="{left:.0f}" y="18" class="head">{plain_text(y_title)}</text>',
    ]
    for tick in y_ticks:
        at = float(py(tick))
        out.append(f'<path d="M{left:.0f} {at:.1f}H{width - right:.0f}" class="grid"/>')
        out.append(f'<text x="{left - 6:.0f}" y="{at + 4:.1f}" text-anchor="end">{_tick_text(tick)}</text>')
    for tick in x_ticks:
        at = float(px(tick))
        out.append(f'<path d="M{at:.1f} {height - base:.0f}v4" class="axis"/>')
        out.append(f'<text x="{at:.1f}" y="{height - base + 17:.0f}" text-anchor="middle">{_tick_text(tick)}</text>')
    out.append(f'<path d="M{left:.0f} {height - base:.0f}H{width - right:.0f}" class="axis"/>')
    out.append(
        f'<text x="{0.5 * (left + width - right):.0f}" y="{height - 8}" text-anchor="middle">'
        f"{plain_text(x_title)}</text>"
    )
    names: list[tuple[float, str, str]] = []
    for line, x, y, low, high in data:
        if low is not None and high is not None:
            for run in _runs(np.isfinite(x) & np.isfinite(low) & np.isfinite(high)):
                around = path(np.concatenate([x[run], x[run][::-1]]), np.concatenate([high[run], low[run][::-1]]))
                out.append(f'<path d="{around}Z" class="band"/>')
        kind = "pinned" if line.pinned else "this"
        fine = np.isfinite(x) & np.isfinite(y)
        for run in _runs(fine):
            out.append(f'<path d="{path(x[run], y[run])}" class="{kind}"/>')
        if fine.any():
            names.append((float(py(y[fine][-1])), line.name, kind))
    for mark in marks:
        level = float(py(mark.y))
        if mark.x is None:
            edge = top if mark.bad_above else height - base
            out.append(
                f'<rect x="{left:.0f}" y="{min(level, edge):.1f}" width="{width - left - right:.0f}" '
                f'height="{abs(edge - level):.1f}" fill="url(#{ident}h)"/>'
                f'<path d="M{left:.0f} {level:.1f}H{width - right:.0f}" class="limit"/>'
            )
            names.append((level, mark.name, "limit"))
        else:
            across = float(px(mark.x))
            out.append(f'<circle cx="{across:.1f}" cy="{level:.1f}" r="4.5" class="point"/>')
            out.append(f'<text x="{across + 8:.1f}" y="{level + 15:.1f}">{plain_text(mark.name, 40)}</text>')
    last = -math.inf
    for level, name, kind in sorted(names):
        last = max(level + 4.0, last + 13.0)  # keeps the names apart vertically
        out.append(
            f'<text x="{width - right + 6:.0f}" y="{last:.1f}" class="n-{kind}">{plain_text(name, LONGEST)}</text>'
        )
    out.append("</svg>")
    return "".join(out)
