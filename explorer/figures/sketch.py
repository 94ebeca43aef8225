"""A chart as plain dictionaries: being built (`Sketch`) and finished (`Drawing`).

A plotly figure validates each trace, shape and annotation that is added, in about 1 ms each. A page draws up to fifty
at each move of a slider. Streamlit needs only the dictionary. The tests validate every figure against the plotly schema
instead.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import plotly.graph_objects as go

__all__ = ["Drawing", "Sketch"]


class Drawing(go.Figure):
    """A finished chart: its dictionary. The plotly objects are made only when ``data`` or ``layout`` is read.

    Parameters
    ----------
    data : list of dict
        Traces, as plotly dictionaries.
    layout : dict
        Layout, as a plotly dictionary.
    """

    def __init__(self, data: list[dict[str, Any]], layout: dict[str, Any]) -> None:
        # go.Figure.__init__ is not called: it copies the data and makes an object for each property
        self._drawn = {"data": data, "layout": layout}

    def to_dict(self) -> dict[str, Any]:
        """Return the dictionary that is sent to the browser. Do not change it."""
        return self._drawn

    @cached_property
    def _figure(self) -> go.Figure:
        return go.Figure(**self._drawn, _validate=False)

    @property
    def data(self) -> Any:
        """Traces as plotly objects, for reading only."""
        return self._figure.data

    @property
    def layout(self) -> Any:
        """Layout as a plotly object, for reading only."""
        return self._figure.layout


class Sketch:
    """Traces and layout of a chart, with plotly's names of the properties.

    Parameters
    ----------
    **layout
        Properties of the layout; a property that is None is omitted.

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
        """Add a scatter trace: a line or points."""
        self.data.append({"type": "scatter", **trace})

    def add_shape(self, **shape: Any) -> None:
        """Add a shape."""
        self.layout.setdefault("shapes", []).append(shape)

    def add_annotation(self, **words: Any) -> None:
        """Add an annotation."""
        self.layout.setdefault("annotations", []).append(words)

    def finished(self) -> Drawing:
        """Return the finished chart. Do not change the sketch afterwards."""
        return Drawing(self.data, self.layout)
