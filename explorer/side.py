"""The side panel: build, labels, groups of inputs by question, units, link."""

from __future__ import annotations

import html

import streamlit as st

from explorer import state, widgets
from explorer.inputs import FIELDS, GROUPS, demo_inputs
from propmodel.demo import demo_names

__all__ = ["draw"]

FIRST = {
    "What it carries": (("take_off_g", None),),
    "What turns": (("kv", None), ("diameter_in", "Diameter"), ("pitch_in", "Pitch")),
    "What feeds it": (("cells", "Cells"), ("capacity_mah", "Capacity")),
}
"""The six first controls, with short labels where two share a row."""


def draw() -> None:
    """Draw the side panel."""
    with st.sidebar:
        _craft()
        for group in GROUPS:
            _group(group)
        _foot()


def _craft() -> None:
    inputs = state.inputs()
    invented = any("invented" in n for n in (inputs.motor_name, inputs.propeller_name, inputs.pack_name))
    st.html(
        '<div class="wi"><div class="wi-brand">Propulsion what-if</div>'
        f'<div class="wi-build"><b>{html.escape(inputs.name or "Your build")}</b>{", invented parts" if invented else ""}</div></div>'
    )
    now = next((n for n in demo_names() if demo_inputs(n) == inputs), None)
    if st.session_state.get("craft") != now:
        st.session_state["craft"] = now
    st.segmented_control(
        "Start from a craft of the club", demo_names(), format_func=str.capitalize, key="craft", on_change=_chosen,
        help="Four invented craft: Scree 5 in quick, Tarn 3 in light, Moor 7 in long, Fell 10 in heavy camera.",
    )  # fmt: skip


def _chosen() -> None:
    name = st.session_state["craft"]
    if name is not None:
        state.load_demo(name)


def _group(group: str) -> None:
    first = FIRST.get(group, ())
    with st.expander(group, expanded=bool(first), key=f"group_{group}", on_change="rerun") as box:
        if not box.open:
            return
        row = [name for name, short in first if short]
        for name, short in first:
            if short is None:
                widgets.control(name, where="side")
        if row:
            for column, name in zip(st.columns(len(row), gap="small"), row, strict=True):
                with column:
                    widgets.control(name, where="side", short=dict(first)[name])
        rest = [f.name for f in FIELDS.values() if f.group == group and f.name not in dict(first)]
        if not first or st.toggle(f"{len(rest)} more", key=f"more_{group}", help="Everything else that can be told; each has a marked default."):
            for name in rest:
                widgets.control(name, where="side")


def _foot() -> None:
    pass
