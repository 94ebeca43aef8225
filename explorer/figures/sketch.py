"""A chart of plain dictionaries, in the making (`Sketch`) and done (`Drawing`).

A plotly figure checks each trace, shape and word that is added to it against its whole schema, at 1 ms apiece; a page
draws up to fifty at each move of a slider. Streamlit needs only the dictionary. The tests check every figure against
the schema instead.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import plotly.graph_objects as go

__all__ = ["Drawing", "Sketch"]


class Drawing(go.Figure):
    """A finished chart: its dictionary, and plotly's own objects only where somebody looks at them.

    Parameters
    ----------
    data : list of dict
        Traces.
    layout : dict
    """

    def __init__(self, data: list[dict[str, Any]], layout: dict[str, Any]) -> None:
        # not plotly's own beginning, which copies everything and makes an object of each property
        self._drawn = {"data": data, "layout": layout}

    def to_dict(self) -> dict[str, Any]:
        """What is sent to the browser; not to be changed."""
        return self._drawn

    @cached_property
    def _figure(self) -> go.Figure:
        return go.Figure(**self._drawn, _validate=False)

    @property
    def data(self) -> Any:
        """Traces as plotly's objects, to be read."""
        return self._figure.data

    @property
    def layout(self) -> Any:
        """Layout as plotly's object, to be read."""
        return self._figure.layout


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

    def finished(self) -> Drawing:
        """The chart; the sketch is not to be changed any more."""
        return Drawing(self.data, self.layout)
