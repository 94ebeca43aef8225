"""Chart of a story: the result against the changed input, with the user's guess as an open diamond."""

from __future__ import annotations

import math

import numpy as np
import plotly.graph_objects as go

from explorer.app_pages.why.stories.story import Facts, guess_value
from explorer.figures.base import AIR, PINNED, Panel, panels, snapped
from explorer.figures.marks import band, dot, line, word
from explorer.text.numbers import MINUS, Units, number, quantity_of, value

__all__ = ["alt_text", "story_figure"]

HEIGHT = 340


def _ticks(low: float, high: float) -> list[float]:
    """At most five ticks of 1, 2 or 5 times a power of ten within a range that need not include zero."""
    power = 10.0 ** math.floor(math.log10((high - low) / 5.0))
    step = next(s * power for s in (1.0, 2.0, 5.0, 10.0) if s * power >= (high - low) / 5.0)
    first = math.ceil(low / step - 1e-9)
    return [round(k * step, 9) for k in range(first, math.floor(high / step + 1e-9) + 1)]


def story_figure(found: Facts, *, guess: float | None, revealed: bool, units: Units | None = None) -> go.Figure:
    """Return the chart of a story.

    Parameters
    ----------
    found : Facts
        Results of the story.
    guess : float or None
        Relative change guessed by the user. [-]
    revealed : bool
        Whether to draw the result; otherwise only the initial build and the place of the changed one.
    units : Units or None
        Units selected by the user; None for the defaults.

    Returns
    -------
    plotly.graph_objects.Figure
        One panel.
    """
    units = units or Units()
    story = found.story
    top = float(np.nanmax([*found.high[np.isfinite(found.high)], found.y_before, found.y_after]))
    guessed_value = math.nan if guess is None else guess_value(found, guess)
    if math.isfinite(guessed_value):
        top = max(top, guessed_value)
    kind = quantity_of(story.kind, units, largest=top)

    def shape(si: float | np.ndarray) -> np.ndarray:
        return np.asarray(si) / kind.scale + kind.offset

    axis = snapped(1.08 * float(shape(top)))
    things = bool(story.x_words)
    steps = found.x.size < 8
    low, high = float(found.x.min()), float(found.x.max())
    room = 0.5 if steps else 0.0
    ticks = list(found.x) if steps else _ticks(low, high)
    text = list(story.x_words) if things else [number(v, 0.1 if high < 20 and not steps else 1.0) for v in ticks]
    figure = panels(
        [Panel(story.y_name, kind.unit, axis)],
        snapped(high),
        x_title=f"{story.x_name}, {story.x_unit}" if story.x_unit else story.x_name,
        height=HEIGHT,
    )
    figure.layout["xaxis"] |= {"range": [low - room, high + room], "tickvals": ticks, "ticktext": text}
    figure.layout["hovermode"] = "x"
    figure.add_shape(
        type="line", x0=found.x_after, x1=found.x_after, y0=0.0, y1=1.0, xref="x", yref="y domain",
        line={"width": 1.2, "color": PINNED, "dash": "2px,3px"}, layer="below", name="asked about",
    )  # fmt: skip
    if revealed and not steps:
        band(figure, found.x, shape(found.low), shape(found.high))
        line(figure, found.x, shape(found.mid), name=story.y_name, unit=kind.unit)
    elif revealed:
        for x, y, a, b in zip(found.x, shape(found.mid), shape(found.low), shape(found.high), strict=True):
            half = 0.035 * (high - low)
            band(figure, [x - half, x + half], [a, a], [b, b])
            if x not in (found.x_before, found.x_after):
                dot(figure, float(x), float(y), name=f"{story.x_name} {x:g}")
    dot(figure, found.x_before, float(shape(found.y_before)), name="before", pin=0)
    left = found.x_before < found.x_after
    word(
        figure, found.x_before, float(shape(found.y_before)), f"now {value(story.kind, found.y_before, units)}",
        right_of=False, bold=True, rise=-14 if found.change > 0 else 14,
    ) if _room_left(found, low, high) else word(
        figure, found.x_before, float(shape(found.y_before)), f"now {value(story.kind, found.y_before, units)}",
        right_of=True, bold=True, rise=14 if left else 16,
    )  # fmt: skip
    if revealed:
        dot(figure, found.x_after, float(shape(found.y_after)), name="after")
        word(
            figure, found.x_after, float(shape(found.y_after)), value(story.kind, found.y_after, units), bold=True,
            right_of=found.x_after < low + 0.75 * (high - low),
            rise=-16 if math.isfinite(guessed_value) and guessed_value > found.y_after else 16, shift=10,
        )  # fmt: skip
    if math.isfinite(guessed_value):
        figure.add_scatter(
            x=[found.x_after],
            y=[float(shape(guessed_value))],
            mode="markers",
            marker={"size": 14, "symbol": "diamond-open", "color": AIR, "line": {"width": 2.4, "color": AIR}},
            hovertemplate=f"your guess {value(story.kind, guessed_value, units)}<extra></extra>",
            name="your guess",
            xaxis="x",
            yaxis="y",
        )
        word(
            figure, found.x_after, float(shape(guessed_value)), "your guess",
            right_of=found.x_after < low + 0.75 * (high - low),
            rise=16 if revealed and guessed_value > found.y_after else -16, shift=10,
        )  # fmt: skip
    elif not revealed:
        word(figure, found.x_after, 0.5, "?", domain=True, bold=True)
    return figure.finished()


def _room_left(found: Facts, low: float, high: float) -> bool:
    return (found.x_before - low) > 0.3 * (high - low)


def alt_text(found: Facts, *, guess: float | None, revealed: bool) -> str:
    """Return a description of the chart in one sentence, for the ``alt`` text."""
    story = found.story
    now = f"{story.y_name} against {story.x_name.lower()}: now {value(story.kind, found.y_before)}"
    mine = "" if guess is None else f"; your guess {value(story.kind, guess_value(found, guess))}"
    then = f"; after the change {value(story.kind, found.y_after)}" if revealed else "; the change is not shown yet"
    return f"{now}{mine}{then}.".replace(MINUS, "minus ")
