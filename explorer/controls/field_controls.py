"""Controls for single fields of `Inputs`: numbers, choices, sliders, the slider strip, the list of guessed values."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from explorer.controls.page_frame import say, units
from explorer.figures.blades import WIDTH_WORDS, blade_silhouettes
from explorer.forecasts import guesses, headlines
from explorer.inputs import (
    CHEMISTRY_NAMES,
    FIELDS,
    STYLE_WORDS,
    TAKE_OFF,
    Field,
    Inputs,
    guessed_fields,
    measured_label,
    take_off_g,
    unchecked_fields,
)
from explorer.inputs.display_units import display_span, display_unit, from_display, to_display
from explorer.session import keys, stale_values, state, typed_labels
from explorer.text.numbers import NARROW
from propmodel.components import propeller

__all__ = [
    "BOARD",
    "KNOBS",
    "begin_run",
    "control",
    "described",
    "guessed",
    "knob_board",
    "knob_strip",
    "offer",
    "turn_to",
    "value_of",
]

KNOBS = (
    "take_off_g", "payload_g", "kv", "stator_d_mm", "stator_h_mm", "diameter_in", "pitch_in", "blades",
    "blade_width_mm", "cells", "capacity_mah", "parallel", "rotors", "command_cap_percent", "charge_left_percent",
    "altitude_m", "air_temperature_c", "pack_temperature_c", "cruise_kmh", "reserve_percent",
)  # fmt: skip
"""Fields of the slider strip, in the order of its list."""

BOARD = {"kv": "KV", "diameter_in": "Diameter", "pitch_in": "Pitch", "capacity_mah": "Capacity"}
"""Fields of the four sliders on the first page, and their labels."""

_LEFT_OPEN = {"dive_kmh"}
"""Fields that may be blank deliberately: blank is not a missing value."""
_WHOLE_SPAN = {"command_cap_percent", "charge_left_percent", "reserve_percent", "pack_temperature_c"}
"""Fields with a slider over their whole allowed range."""
_OWN_SPAN = {
    "blades": (2, 6), "cells": (1, 12), "parallel": (1, 4), "rotors": (3, 8), "altitude_m": (0.0, 4000.0),
    "air_temperature_c": (-20.0, 40.0), "payload_g": (0.0, 400.0), "cruise_kmh": (0.0, 150.0),
}  # fmt: skip


def described(name: str) -> Field:
    """Return the definition of a field; ``take_off_g`` is included."""
    return TAKE_OFF if name == "take_off_g" else FIELDS[name]


def value_of(name: str) -> Any:
    """Return the value of a field in the current build, in the unit of the field."""
    # the take-off mass is displayed in whole grams; the build is not rounded until the value is changed
    return float(round(take_off_g(state.usable()))) if name == "take_off_g" else getattr(state.inputs(), name)


_CHOICES = CHEMISTRY_NAMES | WIDTH_WORDS | STYLE_WORDS
"""Displayed words for the values of choice fields, where they differ from the values."""

SHARED = ("lean", "board")
"""Prefixes in the keys of controls that several pages draw."""


def turn_to(page: str) -> None:
    """Store the folder name of the page that is drawn now."""
    st.session_state[keys.PAGE] = page


def _page() -> str:
    """Return the folder name of the current page.

    A control that two pages share needs one key per page. Streamlit treats them as two controls, and a value stored
    under the same key for the first would be lost on the second.
    """
    return st.session_state.get(keys.PAGE, "")


def begin_run() -> None:
    """Store the field that the slider strip of the page shows when this run begins."""
    choice = f"knob:{_page()}"
    stale_values.begin_run({choice: st.session_state[choice]} if choice in st.session_state else {})


def _slid(key: str, name: str) -> None:
    """Store the value of the strip's slider, unless the slider belongs to the previously selected field."""
    choice = f"knob:{_page()}"
    now = st.session_state.get(choice, name)
    if now == name and stale_values.chosen_when_drawn(choice, name) == name:
        _took(key, name)


def _took(key: str, name: str) -> None:
    if stale_values.is_stale(key):
        return
    value = from_display(name, st.session_state[key], units())
    if value is None and not described(name).optional:
        return  # a required field that was cleared keeps its value
    if described(name).kind == "whole" and value is not None:
        value = int(value)
    state.change(name, value)


def _label(field: Field, short: str | None) -> str:
    unit = display_unit(field.name, field.unit, units())
    words = short or field.label
    named = f"{words}, {unit}" if unit and unit not in ("cells",) else words
    if field.name in headlines.FIT_NAMES and field.name in headlines.over_label(state.usable()):
        return f"{named} (over its limit)"
    return named


def _help(field: Field) -> str:
    return f"{field.help} Typical: {field.typical}." if field.typical else field.help


def _within(value: float | None, low: float, high: float) -> float | None:
    return None if value is None or not math.isfinite(value) else min(max(value, low), high)


def control(name: str, *, where: str, short: str | None = None) -> None:
    """Draw the control of one field.

    Parameters
    ----------
    name : str
        Field of `Inputs`, or ``take_off_g``.
    where : str
        Prefix of the key; it distinguishes two controls of the same field on one page.
    short : str or None
        Shorter label; None for the label of the field.
    """
    field, value = described(name), value_of(name)
    place = f"{where}:{_page()}" if where in SHARED else where
    key = f"{place}:{name}" if field.optional else f"{place}-must:{name}"
    common: dict[str, Any] = {"key": key, "help": _help(field), "on_change": _took, "args": (key, name)}
    if where == "board":  # next to a slider with the same name
        common["label_visibility"] = "collapsed"
    label = _label(field, short)
    if name == "measured_propeller":
        stale_values.put(key, value)
        st.selectbox(
            label,
            [None, *propeller.measured_names()],
            format_func=lambda v: measured_label(v) if v else "none: by its label",
            **common,
        )
    elif field.kind == "choice":
        stale_values.put(key, value if value in field.options else field.options[0])
        st.selectbox(label, field.options, format_func=lambda v: _CHOICES.get(v, v), **common)
        if name == "blade_width":
            say(blade_silhouettes(value))
    elif field.kind == "switch":
        stale_values.put(key, bool(value))
        st.checkbox(label, **common)
    elif field.kind == "text":
        stale_values.put(key, str(value))
        st.text_input(label, max_chars=60, **common)
    else:
        assert field.low is not None and field.high is not None and field.step is not None
        low, high, step = display_span(name, (field.low, field.high, _step(field, value)), units())
        displayed = _within(to_display(name, value, units()), low, high)
        if field.kind == "whole":
            numbers_: dict[str, Any] = {"min_value": int(low), "max_value": int(high), "step": 1}
            displayed = None if displayed is None else int(displayed)
        else:
            numbers_ = {"min_value": float(low), "max_value": float(high), "step": float(step), "format": "%g"}
            displayed = None if displayed is None else float(f"{displayed:.6g}")
        unknown = field.when_unknown if field.name in _LEFT_OPEN else f"not told: {field.when_unknown}"
        # the style sheet finds required fields by their blank placeholder, and hides their clear button
        hint = unknown if field.optional else " "
        stale_values.put(key, displayed)
        st.number_input(label, value=None, placeholder=hint, **numbers_, **common)


def _step(field: Field, value: float | None) -> float:
    """Return the step of a control, in the unit of the field; 1 g for craft below 100 g."""
    small = field.name == "take_off_g" and value is not None and value < 100.0
    return 1.0 if small else float(field.step or 1.0)


def _slider_span(name: str, value: float) -> tuple[float, float, float]:
    """Return (low, high, step) of a slider around its initial value; constant until the value is outside."""
    field = described(name)
    spans: dict[str, tuple[float, float, float]] = st.session_state.setdefault(keys.KNOB_SPANS, {})
    low, high, step = spans.get(name, (math.inf, -math.inf, 1.0))
    if not low <= value <= high:
        assert field.low is not None and field.high is not None
        step = _step(field, value)
        if name in _WHOLE_SPAN:
            low, high = field.low, field.high
        elif name in _OWN_SPAN and _OWN_SPAN[name][0] <= value <= _OWN_SPAN[name][1]:
            low, high = _OWN_SPAN[name]
        else:
            coarse = step * max(1.0, 10 ** math.floor(math.log10(max(value, step) / step / 4)))
            low = max(field.low, math.floor(0.55 * value / coarse) * coarse)
            high = min(field.high, math.ceil(1.7 * value / coarse) * coarse)
        spans[name] = (low, high, step)
    return spans[name]


def board_place() -> DeltaGenerator:
    """Insert the place of `knob_board`: one grid, not a container for each pair, so that there are fewer elements."""
    return st.container(key="board")


def strip_place() -> DeltaGenerator:
    """Insert the place of `knob_strip`: a row instead of columns with one element each, which are twice as many."""
    return st.container(key="strip", horizontal=True, vertical_alignment="bottom", gap="medium")


def knob_board(place: DeltaGenerator) -> None:
    """Draw the four most important inputs, each as a slider and a number field, in the place from `board_place`."""
    with place:
        for name, short in BOARD.items():
            _knob(name, short=short)
            control(name, where="board", short=short)


def offer(name: str) -> None:
    """Select this field in the slider strip of the next page."""
    st.session_state[keys.LAST_KNOB] = name


def knob_strip(place: DeltaGenerator | None = None, *, leave_out: Sequence[str] = ()) -> None:
    """Draw the slider strip: select an input, move its slider, pin the result. The same on all pages that have it.

    Parameters
    ----------
    place : DeltaGenerator or None
        From `strip_place`, if the strip is drawn after what follows it; None for here.
    leave_out : sequence of str
        Fields that already have a slider on the page.
    """
    with strip_place() if place is None else place:
        # Streamlit drops the selection at a change of page: restore it
        key = f"knob:{_page()}"
        st.session_state.setdefault(key, st.session_state.get(keys.LAST_KNOB, KNOBS[0]))
        offered = [knob for knob in KNOBS if knob not in leave_out]
        if st.session_state[key] not in offered:
            st.session_state[key] = offered[0]
        name = st.selectbox(
            "Try changing",
            offered,
            format_func=lambda k: described(k).label,
            key=key,
            help="Choose an input; the slider beside it moves it. The same input stands at the left.",
        )
        st.session_state[keys.LAST_KNOB] = name
        _knob(name)
        st.button(
            "Pin this build",
            key="pin",
            on_click=state.pin,
            width="stretch",
            help="Keep this build as the grey dashed one; every number then shows against it.",
        )


def _knob(name: str, *, short: str | None = None) -> None:
    field, value = described(name), value_of(name)
    if value is None:  # no value: start at the middle of the allowed range
        value = {"blade_width_mm": 0.155 * 0.5 * 25.4 * state.usable().diameter_in}.get(name, field.low)
    assert field.low is not None and field.high is not None  # each field of the strip is a number
    value = min(max(float(value), field.low), field.high)
    low, high, step = _slider_span(name, value)
    key = f"knob:{_page()}:{name}"
    drawn = st.session_state.setdefault(keys.KNOB_DRAWN, {})
    if drawn.get(key) != (low, high, step):
        # Streamlit treats a slider with new limits as a new one and shows its minimum: set the value again
        st.session_state.pop(key, None)
    drawn[key] = (low, high, step)
    unit = display_unit(name, field.unit, units())
    label = _label(field, short)
    # the number field next to the slider already has the help text
    help_ = None if short else _help(field)
    common: dict[str, Any] = {"key": key, "help": help_, "on_change": _took if short else _slid, "args": (key, name)}
    if field.kind == "whole":
        stale_values.put(key, int(value))
        st.slider(label, int(low), int(high), step=1, format=f"%d {unit}".strip(), **common)
        return
    low, high, step = display_span(name, (low, high, step), units())
    at = float(to_display(name, value, units()) or 0.0)
    digits = max(0, math.ceil(-math.log10(step) - 1e-9))
    at = min(max(round(at, digits), low), high)
    stale_values.put(key, float(at))
    sign = "%%" if unit == "%" else unit
    st.slider(label, float(low), float(high), step=float(step), format=f"%.{digits}f {sign}".strip(), **common)


def guessed() -> None:
    """Show the number of guessed values, the one with the largest effect first, and their fields when opened."""
    inputs = state.usable()
    found, unchecked = _ranked_guesses(inputs), unchecked_fields(inputs)
    if not found and not unchecked:
        st.html('<div class="wi"><p class="wi-small">Nothing is guessed.</p></div>', width="content")
        return
    short = [one.words.split(" (")[0] for one in found] or [words for _, words in unchecked]
    words = ", ".join(short[:3]) + (", ..." if len(short) > 3 else "")
    count, what = (len(found), "guessed") if found else (len(unchecked), "not told")
    label = f"{count} values are {what}; fill them in: {words}"
    if count == 1:
        label = f"1 value is {what}; fill it in: {words}"
    with st.popover(label, type="tertiary", key=keys.GUESSES_OPEN, on_change="rerun") as box:
        if not box.open:
            return
        if found:
            st.caption("The guess that moves the answers most comes first.")
        for one in found:
            control(one.name, where="lean")
            donor = st.session_state.get(keys.DEFAULT_DONOR) if "lent" in one.words else None
            st.caption(f"Lent by {donor.capitalize()}. {_moves(one)}" if donor else _moves(one))
        if unchecked:
            st.caption("Not told, so not checked:")
        for name, _ in unchecked:
            control(name, where="lean")


def _ranked_guesses(inputs: Inputs) -> list[guesses.GuessedField]:
    """Return the guessed values by effect; while a value changes and the list is closed, in the previous order."""
    lent = typed_labels.borrowed(inputs)
    these = (inputs.name, guessed_fields(inputs, lent))
    held = st.session_state.get(keys.GUESS_ORDER)
    if held is None or held[0] != these or st.session_state.get(keys.GUESSES_OPEN):
        held = (these, guesses.ranked(inputs, lent))
        st.session_state[keys.GUESS_ORDER] = held
    return held[1]


def _moves(one: guesses.GuessedField) -> str:
    """Return the effect of a guessed value in words."""
    if one.effect < 0.005:
        return f"Moves no answer by as much as 1{NARROW}%."
    share = "a great deal" if one.effect >= guesses.LOST else f"by up to {100.0 * one.effect:.0f}{NARROW}%"
    return f"A usual error moves {one.answer} {share}."
