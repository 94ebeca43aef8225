"""Every figure of every page keeps to plotly's schema: the app draws them unchecked, for speed."""

from __future__ import annotations

from pathlib import Path

import plotly.io
import pytest
from streamlit.testing.v1 import AppTest

import explorer
from explorer.controls.page_frame import page_file
from explorer.figures.sketch import Sketch
from explorer.inputs import demo_inputs
from propmodel.assembly.demo import demo_names

APP = Path(explorer.__file__).with_name("app.py")
CHARTS = {"lift": 1, "minutes": 4, "dive": 1}
"""Pages that redraw charts at every move of the slider, and how many."""


@pytest.mark.parametrize("craft", demo_names())
@pytest.mark.parametrize("page", CHARTS)
def test_charts_keep_to_the_schema(page, craft):
    at = AppTest.from_file(str(APP), default_timeout=60)
    at.run()
    at.session_state["inputs"] = demo_inputs(craft)
    at.session_state["ghost_cold"] = at.session_state["ghost_old"] = True
    if page != "lift":
        at.switch_page(page_file(page))
    at.run()
    assert not at.exception and not at.error
    charts = at.get("plotly_chart")
    assert len(charts) == CHARTS[page]
    for chart in charts:
        figure = plotly.io.from_json(chart.proto.spec, skip_invalid=False)
        assert len(figure.data) >= 3


def test_a_sketch_against_the_schema_would_be_told():
    sketch = Sketch(height=100)
    sketch.add_scatter(x=[0, 1], y=[0, 1], wide="yes")
    with pytest.raises(ValueError, match="wide"):
        plotly.io.from_json(plotly.io.to_json(sketch.finished(), validate=False), skip_invalid=False)
