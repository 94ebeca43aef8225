"""A chart in the making: plain dictionaries until it is done, then one plotly figure.

A plotly figure checks each trace, shape and word that is added to it against its whole schema, at 1 ms apiece; a page
draws up to fifty at each move of a slider. A sketch keeps them as they are and makes the figure unchecked, in a tenth
of the time. The tests check every figure against the schema instead.
"""

from __future__ import annotations

from typing import Any

import plotly.graph_objects as go

__all__ = ["Sketch"]


class Sketch:
    """Traces and layout of a chart, in the words of plotly.

    Parameters
    ----------
    **layout
        Of the figure. None leaves a property out.

    Examples
    --------
    >>> sketch = Sketch(height=200)
    >>> sketch.add_scatter(x=[0, 1], y=[2, 3], name="this")
    >>> sketch.add_shape(type="line", x0=0, x1=1, y0=2, y1=2)
    >>> figure = sketch.finished()
    >>> figure.data[0].name, figure.layout.height, len(figure.layout.shapes)
    ('this', 200, 1)
    """

    def __init__(self, **layout: Any) -> None:
        self.data: list[dict[str, Any]] = []
        self.layout: dict[str, Any] = {k: v for k, v in layout.items() if v is not None}

    def add_scatter(self, **trace: Any) -> None:
        """Add a line or points."""
        self.data.append({"type": "scatter", **trace})

    def add_shape(self, **shape: Any) -> None:
        """Add a straight line."""
        self.layout.setdefault("shapes", []).append(shape)

    def add_annotation(self, **words: Any) -> None:
        """Add words."""
        self.layout.setdefault("annotations", []).append(words)

    def finished(self) -> go.Figure:
        """The figure; the sketch is not to be changed any more."""
        return go.Figure(data=self.data, layout=self.layout, _validate=False)
