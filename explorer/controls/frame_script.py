"""What our pages do in the browser: the bar of pages on a phone, words in charts moved apart, a slider over a path.

A chart does not know how wide its words are, nor how wide it is itself, before it stands on the page. The script
measures both there and moves a word that lies on another, on a mark or on a line to the nearest free place.
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
    """Text of a script of ours."""
    return (SCRIPTS / f"{name}.js").read_text(encoding="utf-8")


def bar(pages: Sequence[tuple[str, str]]) -> None:
    """Put the bar of pages and *Edit build* on the page; the style sheet shows it on a phone only.

    Parameters
    ----------
    pages : sequence of tuple
        Folder and name of each page.
    """
    _component()(
        data={"pages": [list(one) for one in pages], "page": st.session_state.get(keys.PAGE, "")}, key="bar_of_pages"
    )


@st.cache_resource(show_spinner=False)
def _component():  # type: ignore[no-untyped-def]
    """Registered once for all visitors."""
    return st.components.v2.component("propulsion_what_if_frame", js=script("frame"), isolate_styles=False)


def path_slider(points: Sequence[Sequence[float]], *, chart: str, label: str, start: float, flat: bool) -> None:
    """A slider that moves a craft along the path of a chart, without a run of the page.

    Parameters
    ----------
    points : sequence of (float, float, float, float)
        Time from the decision [s], place on both axes of the chart, speed [km/h]; in order of time, two at least.
    chart : str
        Key of the chart.
    label : str
    start : float
        Time at which the craft stands first. [s]
    flat : bool
        The craft stays level; otherwise it points along its path.
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
