"""Change to another craft: session values that belong to one craft are put aside, and restored when it comes back.

These are the labels, the readings of the first power-up, prices, the result of a calibration, the last picture of
*Choose*, and the saved build for "Save over". Sliders and parts change the present craft; a demo craft, a saved build
or a story is another craft.
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
"""Largest number of craft whose readings and prices are put aside."""
_ONE_CRAFT_VALUES = ("price_", "plug_in_step")
"""Prefixes of the names of such values: prices, and the open step of the first power-up."""
_OF_ONE_CRAFT = (keys.GUESS_ORDER, keys.SAVED_BUILD, keys.OWN_WAS)


def put(new: Inputs) -> None:
    """Load another craft.

    Parameters
    ----------
    new : Inputs
        The inputs. A demo craft sets its own pinned example, unless the visitor has pinned a build.
    """
    before, demo = state.inputs(), any(demo_inputs(name) == new for name in demo_names())
    if not demo and st.session_state[keys.PIN_IS_EXAMPLE]:
        # the pinned example of a demo craft is no comparison for the visitor's own craft
        state.unpin()
    state.load(new, example=demo)
    typed_labels.forget()
    change_craft(before, new)


def change_craft(before: Inputs, new: Inputs) -> None:
    """Put aside the session values of one craft, and restore those of another."""
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
    """Store the visitor's build before a story is opened; a second story does not replace it."""
    if keys.WHY_OWN not in st.session_state:
        pins, example = st.session_state[keys.PINS], st.session_state[keys.PIN_IS_EXAMPLE]
        saved = st.session_state.get(keys.SAVED_BUILD)
        st.session_state[keys.WHY_OWN] = (state.inputs(), pins, example, typed_labels.held(), saved)


def aside() -> Inputs | None:
    """Return the visitor's build while a story is open, else None."""
    own = st.session_state.get(keys.WHY_OWN)
    return None if own is None else own[0]


def forget_aside() -> None:
    """Discard the stored build, because the visitor's own build is on the screen again."""
    st.session_state.pop(keys.WHY_OWN, None)


def take_back() -> None:
    """Restore the visitor's build, pins and labels; only in a callback."""
    own, pins, example, labels, saved = st.session_state.pop(keys.WHY_OWN)
    put(own)
    typed_labels.put_back(labels)
    st.session_state[keys.SAVED_BUILD] = saved
    st.session_state[keys.PINS] = pins
    st.session_state[keys.PIN_IS_EXAMPLE] = example
