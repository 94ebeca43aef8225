"""Another craft on the screen: what belonged to the one before goes with it, and is there again when that comes back.

Labels, readings of the first power-up, prices, a calibration's result, the last picture of *Choose* and the saved
build that "Save over" means are of one craft. Sliders and parts change a craft; a demo craft, a saved build or a story
is another one.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from explorer.inputs import Inputs, demo_inputs
from explorer.session import bench_log, keys, state, typed_labels
from explorer.session.kept_values import box
from propmodel.assembly.demo import demo_names

__all__ = ["aside", "change_craft", "forget_aside", "put", "set_aside", "take_back"]

MOST_PUT_ASIDE = 8
"""Craft whose readings and prices are kept while others are on the screen."""
_ONE_CRAFT_VALUES = ("price_", "plug_in_step")
"""Beginnings of names of kept values: prices, and the open step of the first power-up."""
_OF_ONE_CRAFT = (keys.GUESS_ORDER, keys.SAVED_BUILD, keys.OWN_WAS)


def put(new: Inputs) -> None:
    """Put another craft on the screen.

    Parameters
    ----------
    new : Inputs
        A demo craft brings its own pinned example, unless the reader pinned a build.
    """
    before, demo = state.inputs(), any(demo_inputs(name) == new for name in demo_names())
    if not demo and st.session_state[keys.PIN_IS_EXAMPLE]:
        # a demo craft without its camera is no measure for somebody's own
        state.unpin()
    state.load(new, example=demo)
    typed_labels.forget()
    change_craft(before, new)


def change_craft(before: Inputs, new: Inputs) -> None:
    """Put aside what belongs to one craft, and bring back what belongs to another."""
    if before == new:
        return
    aside: dict[str, tuple[dict[str, Any], dict[str, Any]]] = box(keys.ASIDE)
    readings, values = box(keys.READINGS), box(keys.KEPT)
    prices = {name: values.pop(name) for name in list(values) if name.startswith(_ONE_CRAFT_VALUES)}
    aside[repr(before)] = (dict(readings), prices)
    readings.clear()
    had = aside.pop(repr(new), ({}, {}))
    readings.update(had[0])
    values.update(had[1])
    for name in list(aside)[:-MOST_PUT_ASIDE]:
        del aside[name]
    held = bench_log.held_log()
    if held is not None and held.calibration is not None:
        bench_log.hold(replace(held, calibration=None))
    values.pop("choose_seen", None)
    for name in _OF_ONE_CRAFT:
        st.session_state.pop(name, None)


def set_aside() -> None:
    """Remember the reader's own build before a story takes the screen; a second story forgets nothing."""
    if keys.WHY_OWN not in st.session_state:
        pins, example = st.session_state[keys.PINS], st.session_state[keys.PIN_IS_EXAMPLE]
        saved = st.session_state.get(keys.SAVED_BUILD)
        st.session_state[keys.WHY_OWN] = (state.inputs(), pins, example, typed_labels.held(), saved)


def aside() -> Inputs | None:
    """The reader's own build where a story took the screen, or None."""
    own = st.session_state.get(keys.WHY_OWN)
    return None if own is None else own[0]


def forget_aside() -> None:
    """The build on the screen is the reader's own again."""
    st.session_state.pop(keys.WHY_OWN, None)


def take_back() -> None:
    """Put the reader's own build, pins and labels back; only in a callback."""
    own, pins, example, labels, saved = st.session_state.pop(keys.WHY_OWN)
    put(own)
    typed_labels.put_back(labels)
    st.session_state[keys.SAVED_BUILD] = saved
    st.session_state[keys.PINS] = pins
    st.session_state[keys.PIN_IS_EXAMPLE] = example
