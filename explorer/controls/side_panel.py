"""The side panel: build, labels, inputs in groups by question, units, link."""

from __future__ import annotations

import html
from dataclasses import replace
from typing import Any

import streamlit as st

from explorer.controls import field_controls, measured_parts, page_frame
from explorer.forecasts import headlines
from explorer.inputs import FIELDS, GROUPS, Inputs, apply, demo_inputs
from explorer.inputs.measured_parts import OwnInputs, in_use
from explorer.labels import LabelReading, answered
from explorer.labels.lending import scaled
from explorer.session import bench_log, kept_values, keys, stale_values, state, typed_labels, whole_builds
from explorer.text.numbers import Units
from propmodel.assembly.demo import demo_names

__all__ = ["default_donor_of", "draw_craft", "draw_inputs", "link_leaves_out", "untold"]

FIRST = {
    "What it carries": (("take_off_g", None),),
    "What turns": (("kv", None), ("diameter_in", "Diameter"), ("pitch_in", "Pitch")),
    "What feeds it": (("cells", "Cells"), ("capacity_mah", "Capacity")),
}
"""The first six controls, with short labels where two are in one row."""


def draw_craft() -> None:
    """Draw the top of the side panel: the current build and the choice of a demo craft."""
    typed_labels.clear_forgotten()
    with st.sidebar:
        _craft()


def draw_inputs() -> None:
    """Draw the rest of the side panel, below the craft."""
    with st.sidebar:
        measured_parts.in_side_panel()
        _labels()
        for group in GROUPS:
            _group(group)
        _foot()


def _craft() -> None:
    inputs = state.inputs()
    invented = any("invented" in n for n in (inputs.motor_name, inputs.propeller_name, inputs.pack_name))
    aside = ", invented parts" if invented else ""
    st.html(
        '<div class="wi"><div class="wi-brand">Propulsion what-if</div>'
        f'<div class="wi-build"><b>{html.escape(inputs.name or "Your build")}</b>{aside}</div></div>'
    )
    now = next((n for n in demo_names() if demo_inputs(n) == inputs), None)
    stale_values.put(keys.CRAFT, now)
    st.segmented_control(
        "Start from an invented craft", _BY_SIZE, format_func=_craft_name, key="craft", on_change=_chosen,
        help="Five invented craft: Rill 1.6 in with propeller guards, Tarn 3 in light, Scree 5 in quick, Moor 7 in "
        "long, Fell 10 in heavy camera.",
    )  # fmt: skip


_BY_SIZE = sorted(demo_names(), key=lambda name: demo_inputs(name).diameter_in)


def _craft_name(name: str) -> str:
    inches = demo_inputs(name).diameter_in
    return f"{name.capitalize()} {inches if inches < 2.5 else int(inches):g} in"


def _chosen() -> None:
    name = st.session_state[keys.CRAFT]
    if name is not None and not stale_values.is_stale(keys.CRAFT):
        whole_builds.put(demo_inputs(name))


def _group(group: str) -> None:
    first = FIRST.get(group, ())
    with st.expander(group, expanded=bool(first), key=f"group_{group}", on_change="rerun") as box:
        if not box.open:
            return
        row = [name for name, short in first if short]
        for name, short in first:
            if short is None:
                field_controls.control(name, where="side")
        if row:
            with st.container(key=f"row_{group}", horizontal=True):
                for name in row:
                    field_controls.control(name, where="side", short=dict(first)[name])
        rest = [f.name for f in FIELDS.values() if f.group == group and f.name not in dict(first)]
        over = (
            len(headlines.over_label(state.usable()).intersection(rest))
            if headlines.FIT_NAMES.intersection(rest)
            else 0
        )
        if not first or st.toggle(
            f"{len(rest)} more, {over} over {'their' if over > 1 else 'its'} limit" if over else f"{len(rest)} more",
            key=f"more_{group}",
            help="Everything else that can be told; each has a marked default.",
        ):
            for name in rest:
                field_controls.control(name, where="side")


# ---- labels -----------------------------------------------------------------------------------------------

_NEAREST = (("rill", 2.1), ("tarn", 4.3), ("scree", 6.2), ("moor", 8.2), ("fell", 99.0))
"""Demo craft that supplies frame and electronics, by largest propeller diameter. [in]"""
_NEAREST_STATOR = (("rill", 11.5), ("tarn", 17.0), ("scree", 24.5), ("moor", 27.5), ("fell", 999.0))
"""The same by largest stator diameter, for labels without a propeller. [mm] Common practice, from memory."""
_NEAREST_MASS = (("rill", 80.0), ("tarn", 350.0), ("scree", 900.0), ("moor", 1700.0), ("fell", 99999.0))
"""The same by largest take-off mass, for labels with neither. [g] Common practice, from memory."""
_CONDITIONS = {
    "payload_g", "air_temperature_c", "altitude_m", "pack_temperature_c", "command_cap_percent", "cycles",
    "mass_threshold_g",
}  # fmt: skip
"""Fields of labels that do not belong to a part: such labels change the current craft."""
_TIPS = 235000.0
"""Unloaded speed on a full pack times propeller diameter, from 5 to 10 in (common practice). [rpm in]"""
_WIDE = 26.5
"""Stators from this diameter upwards do not drive 5-inch propellers (common practice, from memory). [mm]"""
_FULL_CELL = 4.2
"""Voltage of a full LiPo cell. [V]"""
_TINY_CELLS = 2
"""Largest number of cells for the smallest demo craft; above it the next size is used. [-] Common practice."""


def default_donor_of(given: dict[str, Any], now: str) -> str:
    """Return the demo craft nearest in size to the labels; ``now`` if they give no size.

    Examples
    --------
    >>> default_donor_of({"diameter_in": 10.0}, "scree"), default_donor_of({"stator_d_mm": 11.0}, "scree")
    ('fell', 'rill')
    >>> default_donor_of({}, "moor"), default_donor_of({"stator_d_mm": 28.0, "kv": 1300.0, "cells": 6}, "scree")
    ('moor', 'moor')
    """
    tables = (("diameter_in", _NEAREST), ("stator_d_mm", _NEAREST_STATOR), ("take_off_g", _NEAREST_MASS))
    table, size = next(((table, float(given[name])) for name, table in tables if name in given), ((), 0.0))
    found = next((name for name, top in table if size <= top), now)
    if table is _NEAREST_STATOR and found in ("moor", "fell") and {"kv", "cells"} <= given.keys():
        # wide stators drive 5-, 7- and 10-inch propellers: the higher the unloaded speed, the smaller the propeller
        inches = _TIPS / (float(given["kv"]) * _FULL_CELL * int(given["cells"]))
        least = "scree" if size < _WIDE else "moor"
        by_speed = next(name for name, top in _NEAREST if inches <= top)
        found = min(found, max(by_speed, least, key=_BY_SIZE.index), key=_BY_SIZE.index)
    return "tarn" if found == "rill" and int(given.get("cells", 1)) > _TINY_CELLS else found


def _labels() -> None:
    """Draw the text field for the labels on the parts, and what was read."""
    st.text_input(
        "Type your labels",
        key="labels",
        on_change=_typed,
        placeholder="2207 1950KV, 5.1x4.3x3, 6S 1300",
        help="Motor, propeller, pack and ESC in any order, as printed on them; the rest gets marked defaults.",
    )
    text = st.session_state.get(keys.LABELS, "")
    if not text.strip():
        st.html('<div class="wi"></div>')
        return
    reading = typed_labels.reading()
    _say_reading(reading)
    for k, question in enumerate(reading.questions):
        st.radio(
            question.sentence,
            range(len(question.options)),
            index=question.assumed,
            key=f"label_answer:{k}:{question.source}",
            format_func=lambda i, options=question.options: options[i].text,
            on_change=_fill,
            help="Two meanings are never decided for you.",
        )
    for k, unread in enumerate(reading.unread):
        if unread.suggestion:
            st.button(
                f"Read it as {unread.suggestion}",
                key=f"label_mend:{k}",
                on_click=_mend,
                args=(unread.source, unread.suggestion),
                help="Puts this into the field above.",
            )


def _say_reading(reading: LabelReading) -> None:
    lines = [reading.sentence] if reading.found else []
    lines += [unread.sentence for unread in reading.unread]
    lines += reading.assumed
    if reading.left_out:
        lines.append(f"Left out: {', '.join(reading.left_out)}.")
    if moved := typed_labels.moved(state.inputs()):
        lines.append(f"Changed since: {', '.join(moved)}.")
    donor = st.session_state.get(keys.DEFAULT_DONOR)
    if reading.found and donor:
        lines.append(f"All else is guessed from {donor.capitalize()}, {_SIZES[donor]}: change it below.")
    elif reading.found and _is_demo(st.session_state.get(keys.LABEL_BASE)):
        lines.append(f"All else stays as {state.inputs().name} has it.")
    if not lines and not reading.questions:
        lines = ["There is nothing here that I can read as a label."]
    st.html('<div class="wi wi-read" role="status">' + "<br>".join(html.escape(line) for line in lines) + "</div>")


_SIZES = {
    "rill": "1.6 in and tiny",
    "tarn": "3 in and light",
    "scree": "5 in and quick",
    "moor": "7 in and long",
    "fell": "10 in and heavy",
}


def untold(craft: Inputs) -> Inputs:
    """Return a demo craft as the base for labels: its frame and size, without the data of its parts."""
    unknown: dict[str, Any] = {f.name: None for f in FIELDS.values() if f.optional and f.name != "mass_threshold_g"}
    names: dict[str, Any] = {f"{part}_name": "" for part in ("motor", "propeller", "pack", "controller")}
    # cell chemistry and throttle cap belong to the demo craft's parts: the defaults are LiPo and no cap
    return replace(
        craft, **unknown, **names, name="Your build", payload_g=0.0, chemistry="lipo", command_cap_percent=100.0
    )


def _typed() -> None:
    """Apply new labels to the current build, or to the nearest demo craft if the user has made no build yet."""
    if stale_values.is_stale("labels"):
        return
    reading = typed_labels.reading()
    if not reading.found and not reading.questions:
        return
    now = _demo_below(state.inputs())
    if st.session_state.get(keys.DEFAULT_DONOR) or _is_demo(now):
        if _conditions_only(reading) and not st.session_state.get(keys.DEFAULT_DONOR):
            st.session_state[keys.LABEL_PLAIN] = st.session_state[keys.LABEL_BASE] = now
            _fill()
            return
        if not st.session_state.get(keys.DEFAULT_DONOR):
            # the user's own craft begins here, without the readings and prices of the demo craft
            whole_builds.change_craft(now, Inputs(name="Your build"))
        here = st.session_state.get(keys.DEFAULT_DONOR) or next(
            name for name, top in _NEAREST if now.diameter_in <= top
        )
        st.session_state[keys.DEFAULT_DONOR] = default_donor_of(answered(reading, typed_labels.answers(reading)), here)
        hand = _by_hand(now)
        now = untold(demo_inputs(st.session_state[keys.DEFAULT_DONOR]))
        if st.session_state[keys.PIN_IS_EXAMPLE]:
            # a pinned example is no useful comparison for the user's own craft
            state.unpin()
        st.session_state[keys.LABEL_PLAIN] = now
        now = apply(now, hand)
    else:
        st.session_state[keys.LABEL_PLAIN] = now
    st.session_state[keys.LABEL_BASE] = now
    _fill()


def _is_demo(craft: Inputs | None) -> bool:
    return any(demo_inputs(name) == craft for name in demo_names())


def _demo_below(now: Inputs) -> Inputs:
    """Return the demo craft below labels that set only conditions; otherwise the build unchanged."""
    base: Inputs | None = st.session_state.get(keys.LABEL_BASE)
    return base if base is not None and _is_demo(base) and now == st.session_state.get(keys.LABEL_MADE) else now


def _conditions_only(reading: LabelReading) -> bool:
    """Return whether the labels name no part, only conditions: payload, air, age or temperature of the pack."""
    return {found.field for found in reading.found} | reading.open_fields() <= _CONDITIONS


def _by_hand(now: Inputs) -> dict[str, Any]:
    """Return the fields that differ from the result of the labels; they are kept when more labels are typed."""
    made = st.session_state.get(keys.LABEL_MADE)
    if made is None:
        return {}
    return {name: getattr(now, name) for name in FIELDS if getattr(now, name) != getattr(made, name)}


def _fill() -> None:
    reading = typed_labels.reading()
    base = st.session_state.get(keys.LABEL_BASE) or state.inputs()
    if not _conditions_only(reading) and any(base.name == demo_inputs(n).name for n in demo_names()):
        base = replace(base, name="Your build")
    given = answered(reading, typed_labels.answers(reading))
    given = {**_guessed(base, given), **given}
    state.load(apply(base, given))
    if "take_off_g" in given:
        st.session_state[keys.NOTICES] = state.unreached(float(given["take_off_g"]))
    st.session_state[keys.LABEL_MADE] = apply(st.session_state.get(keys.LABEL_PLAIN) or base, given)


def _guessed(base: Inputs, given: dict[str, Any]) -> dict[str, Any]:
    """Return values that no label gives, from the base craft scaled to the given size; without fields set by hand."""
    plain: Inputs | None = st.session_state.get(keys.LABEL_PLAIN)
    if plain is None or not st.session_state.get(keys.DEFAULT_DONOR):
        return {}
    return {k: v for k, v in scaled(plain, given).items() if getattr(base, k) == getattr(plain, k)}


def _mend(source: str, suggestion: str) -> None:
    stale_values.put(keys.LABELS, st.session_state[keys.LABELS].replace(source, suggestion, 1))
    _typed()


# ---- foot -------------------------------------------------------------------------------------------------


def _foot() -> None:
    with st.container(horizontal=True, key="foot"):
        with st.popover(
            "Units", help="Three choices; everything else has one unit.", key="units_open", on_change="rerun"
        ) as box:
            if box.open:
                _units()
        with st.popover(
            "Link", help="An address that carries this build and the pinned one.", key="link_open", on_change="rerun"
        ) as box:
            if box.open:
                _link()


def _link() -> None:
    st.caption("Copy this address: it carries every input of this build and of the pinned one.")
    left = link_leaves_out()
    if left:
        st.html(f'<div class="wi"><p class="wi-notice" role="status">{html.escape(left)}</p></div>')
    st.code(state.link(), language=None, wrap_lines=True)


def link_leaves_out() -> str:
    """Return a sentence on what the link omits: measured parts, prices, readings."""
    builds = [b for b in (state.usable(), state.pinned()) if isinstance(b, OwnInputs) and b.own is not None]
    parts = list(dict.fromkeys(part for b in builds for part in in_use(b, b.own)))
    words = []
    if parts:
        words.append(
            f"It does not carry your measured {_listed(parts)}: whoever opens it sees what the labels forecast. To "
            "pass on the measured parts, save the build on the page Shelf and take its file out."
        )
    entered = [
        *(["prices"] if any(kept_values.get(name) is not None for name in kept_values.names("price_")) else []),
        *(["readings of the first power-up"] if bench_log.readings() else []),
    ]
    if entered:
        words.append(f"Your {_listed(entered)} stay in this visit: no link and no saved build carries them.")
    return " ".join(words)


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _units() -> None:
    now = page_frame.units()
    for field, words, names in (
        ("thrust", "Thrust", {"g": "g, kg of force", "N": "newton"}),
        ("propeller", "Propellers", {"in": "inch", "mm": "mm"}),
        ("temperature", "Temperature", {"C": "°C", "F": "°F"}),
    ):
        key = f"unit_{field}"
        if st.session_state.get(key) != getattr(now, field):
            st.session_state[key] = getattr(now, field)
        st.segmented_control(
            words, list(names), format_func=names.__getitem__, key=key, on_change=_unit, args=(field,), required=True,
            help="How it is shown; nothing else changes.",
        )  # fmt: skip


def _unit(field: str) -> None:
    st.session_state[keys.UNITS] = replace(
        st.session_state.get(keys.UNITS, Units()), **{field: st.session_state[f"unit_{field}"]}
    )
