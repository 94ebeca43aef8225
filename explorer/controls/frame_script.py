"""Browser scripts: the page bar, overlapping labels in charts, a slider along a path.

The width of a chart and of its labels is known only in the browser. The script measures both there. It moves a label
that overlaps another label, a mark or a line to the nearest free position.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

import streamlit as st

from explorer.session import keys

__all__ = ["bar", "path_slider", "script"]

SCRIPTS = Path(__file__).resolve().parent / "scripts"


@lru_cache(maxsize=8)
def script(name: str) -> str:
    """Return the text of a script file; cached."""
    return (SCRIPTS / f"{name}.js").read_text(encoding="utf-8")


def bar(pages: Sequence[tuple[str, str]]) -> None:
    """Insert the page bar and *Edit build*; the style sheet shows the button on a phone only.

    Parameters
    ----------
    pages : sequence of tuple
        Folder and title of each page; the first page has the address of the server.
    """
    _component()(
        data={"pages": [list(one) for one in pages], "page": st.session_state.get(keys.PAGE, "")}, key="bar_of_pages"
    )


@st.cache_resource(show_spinner=False)
def _component():  # type: ignore[no-untyped-def]
    """Return the component, registered once per server process."""
    return st.components.v2.component("propulsion_what_if_frame", js=script("frame"), isolate_styles=False)


def path_slider(points: Sequence[Sequence[float]], *, chart: str, label: str, start: float, flat: bool) -> None:
    """Draw a slider that moves a craft along the path in a chart, without a rerun of the page.

    Parameters
    ----------
    points : sequence of (float, float, float, float)
        (time from the decision [s], x and y in the units of the chart, speed [km/h]), in order of time; at least two.
    chart : str
        Key of the chart element.
    label : str
        Label of the slider.
    start : float
        Initial time. [s]
    flat : bool
        Whether the craft symbol stays level; otherwise it points along its path.
    """
    with st.container(key=f"{chart}_slider"):
        _path_component()(
            data={
                "points": [list(one) for one in points],
                "chart": chart,
                "label": label,
                "start": start,
                "flat": flat,
            },
            key=f"slider_of_{chart}",
        )


@st.cache_resource(show_spinner=False)
def _path_component():  # type: ignore[no-untyped-def]
    return st.components.v2.component("propulsion_what_if_path", js=script("path_slider"), isolate_styles=False)
