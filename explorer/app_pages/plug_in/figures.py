"""Cards of the power-up steps, bands before and after a reading, forecast against reading.

Plain HTML for text and bars, plotly for many points. Text of files and users is escaped.
"""

from __future__ import annotations

import html
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go
from numpy.typing import ArrayLike

from explorer.figures.base import OVER, PINNED, THIS, Axis, Panel, panels
from explorer.figures.sketch import Sketch
from explorer.text.numbers import NARROW, number, prose
from propmodel.bench.reading.records import Doubt
from propmodel.power_up import DOUBTFUL, FINE, STOP, Step

__all__ = ["against", "band_rows", "card", "care", "doubts", "kind_of", "off", "progress", "step_line", "verdict"]


def _e(text: object) -> str:
    return html.escape(str(text))


# ---- cards ------------------------------------------------------------------------------------------------


def kind_of(verdict_: str) -> str:
    """Return the class of an assessment: "fine", "doubtful", "stop"; "" without a reading."""
    for start, kind in ((FINE, "fine"), (DOUBTFUL, "doubtful"), (STOP, "stop")):
        if verdict_.startswith(start):
            return kind
    return ""


def care(first: str, stop_first: str, *, cautions: Sequence[str], stop_at_once: Sequence[str]) -> str:
    """Return the box with cautions at the top of the page: two sentences, and all cautions folded; HTML."""
    items = "".join(f"<li>{_e(c)}</li>" for c in cautions)
    stops = "; ".join(_e(s) for s in stop_at_once)
    return (
        f'<div class="wb-care" role="note"><h2>Before anything else</h2><p>{_e(first)}</p>'
        f"<p><b>Pull the plug at once on</b> {_e(stop_first)}.</p>"
        f"<details><summary>All cautions</summary><ul>{items}</ul>"
        f"<p><b>Pull the plug at once on:</b> {stops}. Then look for the cause; more current never finds a fault.</p>"
        "</details></div>"
    )


def progress(kinds: Sequence[str]) -> str:
    """Return the progress, "4 of 16 read, 1 doubtful", with one small box per step; HTML."""
    read = sum(bool(k) for k in kinds)
    words = f"<b>{read} of {len(kinds)}</b> read"
    for kind, name in (("doubtful", "doubtful"), ("stop", "stop")):
        count = sum(k == kind for k in kinds)
        words += f", {'!' if kind == 'doubtful' else '✕'} {count} {name}" if count else ""
    boxes = "".join(f'<li class="{k}" title="step {i}"></li>' for i, k in enumerate(kinds, start=1))
    return f'<div class="wb-progress" role="status"><span>{words}</span><ol aria-hidden="true">{boxes}</ol></div>'


def step_line(step: Step, kind: str, reading: object) -> str:
    """Return the button text of a folded step: number, title, and the reading.

    Examples
    --------
    >>> from propmodel.assembly.demo import demo
    >>> from propmodel import power_up
    >>> steps = power_up.power_up_steps(power_up.from_build(demo("scree")))
    >>> step_line(steps[0], "fine", True), step_line(steps[1], "", None)
    ('✓ 1 · Look before power: yes', '2 · Resistance across the pack leads')
    """
    sign = {"fine": "✓ ", "doubtful": "! ", "stop": "✕ "}.get(kind, "")
    words = f"{sign}{step.number} · {step.title}"
    if reading is None:
        return words
    if isinstance(reading, bool):
        return f"{words}: {'yes' if reading else 'no'}"
    return f"{words}: {reading:g} {step.unit}"


def card(row: Mapping[str, str]) -> str:
    """Return one step: caution, action, tool, expected value, when to stop; ``row`` is of `propmodel.power_up.rows`."""
    expect = row["expect"] if row["expect"] != "yes" else "everything as it says"
    caution = f'<p class="caution"><b>⚠</b> {_e(prose(row["caution"]))}</p>' if row["caution"] else ""
    return (
        f'<div class="wb-card" id="step-{_e(row["number"])}"><div class="no">{_e(row["number"])}</div><div>'
        f"<h2>{_e(row['title'])}</h2>{caution}<dl>"
        f"<dt>Do</dt><dd>{_e(prose(row['do']))}</dd><dt>Tool</dt><dd>{_e(prose(row['tool']))}</dd>"
        f'<dt>Expect</dt><dd class="expect"><b>{_e(prose(expect))}</b></dd>'
        f'<dt>Stop if</dt><dd class="stop">{_e(prose(row["stop_if"]))}</dd></dl>'
        f"<details><summary>Why, and where the figures come from</summary><p>{_e(prose(row['why']))} Basis: "
        f"{_e(row['basis'])}.</p></details></div></div>"
    )


def verdict(text: str) -> str:
    """Return the assessment of a reading; an empty element without text, so that nothing moves. HTML."""
    kind = kind_of(text)
    head = {"fine": FINE, "doubtful": DOUBTFUL, "stop": STOP}.get(kind, "")
    rest = _e(text[len(head) :].lstrip(": "))
    body = f'<b class="{kind}">{_e(head)}</b> {rest}' if kind else ""
    return f'<div class="wb-verdict" role="status">{body}</div>'


# ---- bands ------------------------------------------------------------------------------------------------


def band_rows(rows: Sequence[Mapping[str, Any]]) -> str:
    """Return bands before (outline) and after (filled), or a forecast band and the flown value (diamond); HTML.

    Parameters
    ----------
    rows : sequence of mapping
        ``name``, ``words`` (HTML of the program); ``now`` = (low, middle, high); optionally ``was`` = (low, middle,
        high) or ``flown``; ``end`` is a function that formats an end of the scale.
    """
    out = []
    for row in rows:
        values = [
            v for v in (*row["now"], *(row.get("was") or ()), row.get("flown")) if v is not None and math.isfinite(v)
        ]
        if not values:
            continue
        low, high = min(values), max(values)
        room = 0.12 * (high - low) or 0.1 * abs(high) or 1.0
        low, high = max(0.0, low - room), high + room

        def at(v: float, low: float = low, high: float = high) -> float:
            return 100.0 * (v - low) / (high - low)

        def box(kind: str, ends: Sequence[float]) -> str:
            return f'<i class="{kind}" style="left:{at(ends[0]):.2f}%;width:{at(ends[2]) - at(ends[0]):.2f}%"></i>'

        marks = box("was", row["was"]) if row.get("was") and np.isfinite(row["was"]).all() else ""
        if np.isfinite(row["now"]).all():
            marks += box("now", row["now"]) + f'<i class="mid" style="left:{at(row["now"][1]):.2f}%"></i>'
        if row.get("flown") is not None and math.isfinite(row["flown"]):
            marks += f'<i class="flown" style="left:{at(row["flown"]):.2f}%"></i>'
        end = row["end"]
        out.append(
            f'<div class="row"><div class="what">{row["words"]}</div><div class="scale" '
            f'aria-hidden="true">{marks}</div>'
            f'<div class="ends" aria-hidden="true"><span>{_e(end(low))}</span><span>{_e(end(high))}</span></div></div>'
        )
    return f'<div class="wb-bands">{"".join(out)}</div>'


# ---- quality flags ----------------------------------------------------------------------------------------

_SIGNS = {"wrong": "✕", "look": "!", "note": "?"}


def _lines(lines: Sequence[int]) -> str:
    """Return line numbers of a file as text, with consecutive numbers combined.

    Examples
    --------
    >>> _lines([4, 5, 6, 9])
    'lines 4 to 6, 9'
    """
    if not lines:
        return ""
    runs: list[list[int]] = []
    for n in sorted(set(lines)):
        if runs and n == runs[-1][-1] + 1:
            runs[-1] = [runs[-1][0], n]
        else:
            runs.append([n, n])
    words = [f"{a}" if a == b else f"{a} to {b}" for a, b in runs]
    more = f" and {len(words) - 8} more" if len(words) > 8 else ""
    one = len(runs) == 1 and runs[0][0] == runs[0][1]
    return f"line{'' if one else 's'} {', '.join(words[:8])}{more}"


def doubts(found: Sequence[Doubt]) -> str:
    """Return quality flags as sentences, with the line numbers of the file; HTML."""
    if not found:
        return '<p class="wi-small">✓ Nothing in the file looks wrong by itself.</p>'
    order = sorted(found, key=lambda d: ("wrong", "look", "note").index(d.severity))
    items = "".join(
        f'<li class="{d.severity}"><b>{_SIGNS[d.severity]}</b>{_e(d.sentence)}'
        + (f"<small>{_e(_lines(d.lines).capitalize())} of the file</small>" if d.lines else "")
        + "</li>"
        for d in order
    )
    return f'<ul class="wb-doubts">{items}</ul>'


# ---- scatter charts ---------------------------------------------------------------------------------------


def against(
    read: ArrayLike,
    *,
    label: ArrayLike,
    fitted: ArrayLike | None,
    odd: ArrayLike,
    name: str,
    unit: str,
    axis: Axis,
    height: int = 340,
) -> go.Figure:
    """Return forecast against reading; equal on the diagonal. Hollow: labels. Filled: calibrated. Crossed: flagged.

    Parameters
    ----------
    read, label : array_like
        Readings, and the forecast from the labels.
    fitted : array_like or None
        Forecast of the calibrated parts.
    odd : array_like of bool
        Rows with a quality flag.
    name, unit : str
        Of both axes.
    axis : Axis
        For both axes.
    height : int
        Height of the figure. [px]
    """
    y, x = (np.asarray(v, dtype=float) for v in (read, label))
    crossed = np.asarray(odd, dtype=bool)
    figure = panels([Panel(f"{name} read", unit, axis)], axis, x_title=f"{name} forecast, {unit}", height=height)
    figure.add_scatter(
        x=[0.0, axis.top], y=[0.0, axis.top], mode="lines", line={"width": 1.2, "color": PINNED}, hoverinfo="skip",
        name="agree",
    )  # fmt: skip
    hover = f"read %{{y:.3~r}} {unit}, forecast %{{x:.3~r}} {unit}<extra>%{{fullData.name}}</extra>"

    def cloud(rows: np.ndarray, values: np.ndarray, who: str, marker: dict[str, Any]) -> None:
        there = rows & np.isfinite(values) & np.isfinite(y)
        if there.any():
            figure.add_scatter(
                x=_thin(values[there]), y=_thin(y[there]), mode="markers", marker=marker, name=who, hovertemplate=hover
            )

    ring = {"size": 9, "color": "rgba(0,0,0,0)", "line": {"width": 1.8, "color": PINNED}}
    cloud(~crossed, x, "by the labels", ring)
    cloud(crossed, x, "in doubt", {"size": 9, "symbol": "x-thin", "line": {"width": 2.4, "color": OVER}})
    if fitted is not None:
        cloud(np.ones(y.size, bool), np.asarray(fitted, dtype=float), "calibrated", {"size": 9, "color": THIS})
    figure.layout["hovermode"] = "closest"
    return _unclipped(figure)


def _unclipped(figure: Sketch) -> go.Figure:
    """Return the figure with markers at the edge not clipped."""
    for trace in figure.data:
        trace["cliponaxis"] = False
    return figure.finished()


def _thin(values: np.ndarray, most: int = 400) -> list[float]:
    step = max(1, math.ceil(values.size / most))
    return [float(f"{v:.4g}") for v in values[::step]]


def off(
    x: ArrayLike,
    series: Sequence[tuple[str, ArrayLike, str]],
    *,
    most: float,
    x_axis: Axis,
    x_title: str,
    height: int = 260,
) -> go.Figure:
    """Return the deviation of readings from the calibrated forecast, in per cent, against throttle or row.

    Parameters
    ----------
    x : array_like
    series : sequence of (name, values, symbol)
        Deviations as ratios. [-]
    most : float
        Upper end of the y axis, and magnitude of its lower end. [%]
    x_axis : Axis
    x_title : str
    height : int
        Height of the figure. [px]
    """
    half = Axis(most, most)
    figure = panels([Panel("Reading over calibrated forecast", "%", half)], x_axis, x_title=x_title, height=height)
    figure.layout["yaxis"] |= {"range": [-most, most], "dtick": most / 2.0, "tick0": -most, "tickformat": "+.3~r"}
    figure.layout["hovermode"] = "closest"
    figure.add_scatter(
        x=[0.0, x_axis.top],
        y=[0.0, 0.0],
        mode="lines",
        line={"width": 1.2, "color": PINNED},
        hoverinfo="skip",
        name="none",
    )
    at = np.asarray(x, dtype=float)
    for name, values, symbol in series:
        y = 100.0 * np.asarray(values, dtype=float)
        there = np.isfinite(at) & np.isfinite(y)
        if there.any():
            figure.add_scatter(
                x=_thin(at[there]), y=_thin(np.clip(y[there], -most, most)), mode="markers", name=name,
                marker={"size": 9, "symbol": symbol, "color": THIS,
                        "line": {"width": 1.8, "color": THIS}},
                hovertemplate=f"{name} %{{y:+.2~r}} %<extra></extra>",
            )  # fmt: skip
    return _unclipped(figure)


def per_cent(share: float) -> str:
    """Return a band width in whole per cent, with one decimal below 3.

    Examples
    --------
    >>> per_cent(0.324).replace(NARROW, " "), per_cent(0.0123).replace(NARROW, " ")
    ('32 %', '1.2 %')
    """
    return f"{number(100.0 * share, 0.1 if share < 0.03 else 1.0)}{NARROW}%"
