"""Shelf: builds, parts, measured propellers, and downloads."""

from __future__ import annotations

import html
import logging
import math
from collections.abc import Sequence
from datetime import datetime
from typing import Any

import numpy as np
import streamlit as st

from explorer.app_pages.shelf import sheet_numbers
from explorer.app_pages.shelf.field_sheet import curves_csv, curves_json, field_sheet
from explorer.app_pages.shelf.my_parts import my_parts
from explorer.controls import page_frame, side_panel
from explorer.forecasts import headlines
from explorer.inputs import Inputs, apply, measured_label
from explorer.saved.store import SavedBuild, StoreError, file_name
from explorer.session import kept_values, shelf, state, typed_labels, whole_builds
from explorer.text.numbers import number, value
from explorer.text.sentence_parts import build_name, ink, small_own_name
from propmodel.base.units import CELSIUS_ZERO, INCH
from propmodel.components import propeller

SHOWN = 12
"""Number of builds shown at first; each needs a forecast. [-]"""
MOST_MESSAGES = 6
"""Largest number of messages about builds loaded at once. [-]"""
SHELVES = ("Builds", "Parts", "Measured", "Take along")


def page(inputs: Inputs, pins: Sequence[Inputs]) -> None:
    """Draw the page."""
    page_frame.style("bench")
    page_frame.say('<h1 class="wi-ask">What do I keep, and what do I take along?</h1>')
    page_frame.say(f'<p class="wi-sentence">{page_frame.first_sentence(answer(inputs))}</p>')
    messages()
    kept_values.put("shelf", kept_values.get("shelf", SHELVES[0]))
    which = st.segmented_control(
        "Shelf",
        SHELVES,
        key="shelf",
        required=True,
        on_change=kept_values.keep,
        args=("shelf", "shelf"),
        label_visibility="collapsed",
    )
    {SHELVES[0]: builds, SHELVES[1]: my_parts, SHELVES[2]: measured_propellers}.get(str(which), take_along)(
        inputs, pins
    )


@small_own_name
def answer(inputs: Inputs) -> str:
    """Return a sentence on what is saved and what can be downloaded; HTML."""
    name = build_name(inputs.name) if inputs.name else "this craft"
    count = len(shelf.store().builds().builds)
    if not count:
        return f"You keep nothing yet. Save {name} here, or take it along as a field sheet."
    builds_saved = f"{count} build{'s' if count > 1 else ''}"
    return f"You keep {ink(builds_saved)}. To take {name} along, print its field sheet."


def messages() -> None:
    """Draw the messages of the last action; the element is present when empty."""
    words = shelf.take_messages()
    notes = [*words, *([shelf.store().notice] if shelf.store().notice else [])]
    page_frame.say("".join(f'<p class="wb-told" role="status">{html.escape(w)}</p>' for w in notes))
    page_frame.notice()


# ---- builds -----------------------------------------------------------------------------------------------


def builds(inputs: Inputs, pins: Sequence[Inputs]) -> None:
    """Draw saving, loading, deleting, upload and download of builds."""
    here = shelf.saved_build()
    with st.container(horizontal=True, vertical_alignment="bottom", key="save_row"):
        name = st.text_input(
            "Name of this build",
            value=inputs.name or "Your build",
            max_chars=60,
            key=f"save_name:{inputs.name}",
            width=300,
        )
        st.button("Save as a new build", key="save_new", on_click=_save, args=(name, False), type="primary")
        if here is not None:
            st.button(
                f"Save over {page_frame.tame(here[2])}",
                key="save_over",
                on_click=_save,
                args=(name, True),
                help="The version before it stays beside it.",
            )
    listing = shelf.store().builds()
    for problem in listing.problems:
        page_frame.say(f'<p class="wi-notice">{html.escape(problem)}</p>')
    if not listing.builds:
        brief = shelf.lasts_for_this_visit()
        page_frame.say(
            '<p class="wi-small">Everything on the screen is saved: inputs, names, measured parts; '
            f"{'for this visit only' if brief else 'on the computer that serves this page'}.</p>"
        )
    all_ = len(listing.builds) <= SHOWN or st.toggle(f"Show all {len(listing.builds)}", key="all_builds")
    for build in listing.builds if all_ else listing.builds[:SHOWN]:
        card(build)
    page_frame.section("Bring in, take out")
    with st.container(horizontal=True, vertical_alignment="bottom"):
        if listing.builds:
            st.download_button(
                "Download all builds",
                shelf.store().download_all(),
                file_name="builds.json",
                mime="application/json",
                on_click="ignore",
                key="all_down",
            )
    given = st.file_uploader(
        "Bring builds in (a file downloaded here, JSON)",
        type=["json"],
        key="builds_in",
        max_upload_size=64,
        help="Each becomes a build of its own; nothing that is kept is overwritten.",
    )
    if given is not None and kept_values.new_file("builds_in_done", given.file_id):
        try:
            new = shelf.store().upload(given.getvalue())
            shelf.say_next(
                f"{len(new)} build{'s' if len(new) != 1 else ''} brought in: {', '.join(b.name for b in new[:6])}."
            )
            for text in _doubtful(new):
                shelf.say_next(text)
        except StoreError as wrong:
            shelf.say_next(str(wrong))
        st.rerun()


def _doubtful(new: list[SavedBuild]) -> list[str]:
    """Return the problems of newly loaded builds, one sentence each, for the first few."""
    problems = [(build.name, text) for build in new for text in shelf.unusable(build.record)]
    words = [f"“{name}”: {text}" for name, text in problems[:MOST_MESSAGES]]
    if len(problems) > MOST_MESSAGES:
        words.append(f"And {len(problems) - MOST_MESSAGES} more: put a build on the screen to read what concerns it.")
    return words


def _save(name: str, over: bool) -> None:
    here = shelf.saved_build() if over else None
    record = shelf.record_of(state.inputs(), state.own_parts())
    record["name"] = name
    try:
        saved = shelf.store().save(
            name, record, key=None if here is None else here[0], revision=None if here is None else here[1]
        )
    except StoreError as wrong:
        shelf.say_next(str(wrong))
        return
    shelf.is_on_screen(saved)
    state.change("name", saved.name[:60])
    where = (
        "for this visit only: download it to keep it."
        if shelf.lasts_for_this_visit()
        else "on the computer that serves this page."
    )
    shelf.say_next(saved.notice or f"“{saved.name}” is kept, {where}")


def _load(key: str) -> None:
    try:
        saved = shelf.store().load(key)
    except StoreError as wrong:
        shelf.say_next(str(wrong))
        return
    inputs, own, words = shelf.inputs_of_record(saved.record)
    whole_builds.put(inputs)
    whole_builds.forget_aside()
    state.bring_parts(own)
    shelf.is_on_screen(saved)
    for text in [f"“{saved.name}” is on the screen.", *([saved.notice] if saved.notice else []), *words]:
        shelf.say_next(text)


def _delete(key: str, name: str) -> None:
    try:
        shelf.store().delete(key)
        shelf.say_next(f"“{name}” is deleted.")
    except StoreError as wrong:
        shelf.say_next(str(wrong))
    if (shelf.saved_build() or ("",))[0] == key:
        shelf.is_on_screen(None)


def card(build: SavedBuild) -> None:
    """Draw one saved build with its sentence."""
    inputs, own, _ = shelf.inputs_of_record(build.record)
    with st.container(key=f"saved-{build.key}"):
        page_frame.say(
            f'<div class="wb-build"><h3>{html.escape(build.name)}</h3><p>{short(inputs)}</p><small>'
            f"{html.escape(_when(build.saved))}{', with measured parts' if own else ''}</small></div>"
        )
        with st.container(horizontal=True):
            st.button(
                page_frame.button_label("Put on the screen", build.name),
                key=f"load:{build.key}",
                on_click=_load,
                args=(build.key,),
            )
            try:
                data = shelf.store().download(build.key)
                st.download_button(
                    page_frame.button_label("Download", build.name),
                    data,
                    file_name=file_name(build.name),
                    mime="application/json",
                    key=f"down:{build.key}",
                    on_click="ignore",
                )
            except StoreError:
                logging.getLogger("explorer").warning("build %s went away", build.key)
            with st.popover(page_frame.button_label("Delete", build.name)):
                page_frame.say(f'<p class="wi-small">Delete “{html.escape(build.name)}” for good?</p>')
                st.button(
                    page_frame.button_label("Yes, delete it", build.name),
                    key=f"delete:{build.key}",
                    on_click=_delete,
                    args=(build.key, build.name),
                )


def short(inputs: Inputs) -> str:
    """Return the sentence of a build for its card."""
    try:
        got = headlines.answers(inputs).mid
    except ValueError:
        return "Its parts cannot be worked out together."
    if not math.isfinite(got.hover_throttle):
        pulls = value("thrust_to_weight", got.thrust_to_weight)
        return f"Takes off at {value('mass', got.mass)}, thrust {pulls} its weight, cannot hover."
    return (
        f"Takes off at {value('mass', got.mass)}, has a hover command of "
        f"{value('percent', got.hover_throttle)}, lasts about "
        f"{value('minutes', got.minutes)} flown your way; thrust is "
        f"{value('thrust_to_weight', got.thrust_to_weight)} its weight."
    )


def _when(saved: str) -> str:
    try:
        return f"saved {datetime.fromisoformat(saved).astimezone():%d %b %Y, %H:%M}"
    except ValueError:
        return "saved"


# ---- measured propellers ----------------------------------------------------------------------------------


def measured_propellers(inputs: Inputs, pins: Sequence[Inputs]) -> None:
    """Draw the list of propellers from open wind-tunnel measurements, each with its own fit."""
    names = propeller.measured_names()
    page_frame.say(
        f'<p class="wi-small">{len(names)} propellers were measured in a wind tunnel and published openly. One '
        f"of them in the build "
        "brings its own thrust and power, and the band narrows to a few per cent. Most have two blades and were "
        "turned slowly; the numbers count them in the order of the data.</p>"
    )
    now = inputs.measured_propeller
    wide = st.slider(
        "Diameter, in",
        2.0,
        20.0,
        kept_values.get("measured_span", (4.0, 11.0)),
        0.5,
        key="measured_span",
        on_change=kept_values.keep,
        args=("measured_span", "measured_span"),
    )
    found = {n: p for n in names if wide[0] <= (p := _sizes(n))[0] <= wide[1]}
    if not found:
        page_frame.say('<p class="wi-small">None of that size was measured.</p>')
        return
    order = sorted(found, key=lambda n: (found[n], n))
    with st.container(horizontal=True, vertical_alignment="bottom"):
        name = st.selectbox(
            f"One of {len(order)}: type a size to search",
            order,
            index=order.index(now) if now in order else 0,
            key="measured_pick",
            width=420,
            format_func=measured_label,
        )
        st.button(
            "Use it in this build", key="measured_use", on_click=_use_measured, args=(name,), disabled=name == now
        )
        if now is not None:
            st.button("Back to the label", key="measured_back", on_click=_use_measured, args=(None,))
    fit = propeller.measured(name).own_fit
    rows = 0 if fit is None else int(np.asarray(fit.static_rows))
    page_frame.say(
        f'<p class="wi-small">{rows} readings standing still are behind it.</p>'
        if rows
        else '<p class="wi-small">It was measured in moving air only; standing still is carried back from there.</p>'
    )
    if now is not None:
        page_frame.say(f'<p class="wi-small">✓ In the build: {html.escape(measured_label(now))}.</p>')


@st.cache_data(show_spinner=False, max_entries=512)
def _sizes(name: str) -> tuple[float, float, int]:
    p = propeller.measured(name)
    inches = [round(float(np.asarray(v)) / INCH, 2) for v in (p.diameter, p.pitch)]
    return inches[0], inches[1], int(np.asarray(p.blades))


def _use_measured(name: str | None) -> None:
    values: dict[str, Any] = {"measured_propeller": name}
    if name is not None:
        d, pitch, blades = _sizes(name)
        values |= {"diameter_in": d, "pitch_in": pitch, "blades": blades, "propeller_name": measured_label(name)}
    state.load(apply(state.inputs(), values))
    typed_labels.retire()


# ---- downloads --------------------------------------------------------------------------------------------


def take_along(inputs: Inputs, pins: Sequence[Inputs]) -> None:
    """Draw the downloads: field sheet, curves, link."""
    page_frame.section("Field sheet", "to print; page 1: build, alarms, limits, cautions; then the details")
    age = {"new": True, "old": False}.get(kept_values.get("esc_age", "unknown"))
    air = value("temperature", inputs.air_temperature_c + CELSIUS_ZERO, page_frame.units())
    made = f"{datetime.now():%d %B %Y}, for {number(inputs.altitude_m, 1.0)} m and {air}"
    about = {"build": inputs.name, "made": made, "link": state.link()}
    home = float(kept_values.get("way_home", 20.0))
    sheet = field_sheet(
        sheet_numbers.sheet_of(
            inputs,
            pins,
            units=page_frame.units(),
            link=state.link(),
            made=made,
            modern=age,
            home=home,
            lent=typed_labels.borrowed(inputs),
            first=page_frame.first_sentence,
        )
    )
    frame = sheet_numbers.curves(inputs, pins)
    with st.container(horizontal=True):
        st.download_button(
            "Download the sheet (HTML, prints to PDF)",
            sheet.encode(),
            file_name=file_name(inputs.name, "-field-sheet.html"),
            mime="text/html",
            on_click="ignore",
            key="sheet",
            type="primary",
        )
        st.download_button(
            "Every curve as CSV",
            curves_csv(frame).encode(),
            file_name=file_name(inputs.name, "-curves.csv"),
            mime="text/csv",
            on_click="ignore",
            key="curves_csv",
        )
        st.download_button(
            "Every curve as JSON",
            curves_json(frame, about=about).encode(),
            file_name=file_name(inputs.name, "-curves.json"),
            mime="application/json",
            on_click="ignore",
            key="curves_json",
        )
    alarms = sheet_numbers.alarms(inputs, home=home)
    page_frame.say(page_frame.table(["Alarms to set", "at"], alarms))
    page_frame.section("Link", "brings every input of this build and of those pinned back")
    left = side_panel.link_leaves_out()
    if left:
        page_frame.say(f'<p class="wi-notice" role="status">{html.escape(left)}</p>')
    st.code(state.link(), language=None, wrap_lines=True)


page(state.usable(), state.pins())
