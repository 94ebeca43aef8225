"""Parts on the Shelf: tables of the user's own motors, propellers, packs and ESCs."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pandas as pd
import streamlit as st

from explorer.controls import page_frame
from explorer.inputs import FIELDS, Inputs, apply
from explorer.inputs.measured_parts import measured
from explorer.saved.store import StoreError
from explorer.session import kept_values, measured_parts, shelf, state, typed_labels
from propmodel import parts
from propmodel.components.motor import LOG_SD_KV
from propmodel.parts.to_parts import MEASURED_LOG_SD, PartsError

__all__ = ["my_parts"]

KINDS = {"motors": "Motors", "propellers": "Propellers", "packs": "Packs", "controllers": "ESC"}
NAME_OF = {
    "motors": "motor_name",
    "propellers": "propeller_name",
    "packs": "pack_name",
    "controllers": "controller_name",
}


def my_parts(inputs: Inputs, pins: Sequence[Inputs]) -> None:
    """Draw the tables of the user's own motors, propellers, packs and ESCs."""
    kept_values.put("parts_kind", kept_values.get("parts_kind", "motors"))
    picked = st.segmented_control(
        "Table",
        list(KINDS),
        format_func=KINDS.__getitem__,
        key="parts_kind",
        required=True,
        on_change=kept_values.keep,
        args=("parts_kind", "parts_kind"),
    )
    kind = str(picked)
    drafts: dict[str, pd.DataFrame] = kept_values.first("part_drafts", {})
    bases: dict[str, pd.DataFrame] = kept_values.first("part_bases", {})
    turn: dict[str, int] = kept_values.first("part_turns", {})
    if kind not in drafts:
        drafts[kind] = _kept_table(kind)
    key = f"parts:{kind}:{turn.get(kind, 0)}"
    if key not in st.session_state or kind not in bases:
        bases[kind] = drafts[kind].copy()  # the editor was not on the page: continue from the draft
    edited = st.data_editor(
        bases[kind],
        key=key,
        num_rows="dynamic",
        hide_index=True,
        width="stretch",
        column_config=_columns(kind),
        placeholder="",
    )
    drafts[kind] = edited
    good, problems = _checked(edited, kind)
    if problems:
        page_frame.say(
            "".join(f'<p class="wi-notice" role="status">{html.escape(p)}</p>' for p in problems[:6])
            + '<p class="wi-small">What you typed stays here; it is written to the shelf once this is '
            "mended.</p>"
        )
    else:
        words = _keep_table(kind, good)
        count = f"{len(good)} row{'s' if len(good) != 1 else ''}"
        fine = (
            f"✓ Kept: {count}. Blank cells are not told and take their marked default."
            if len(good)
            else "Nothing here yet. Type one part in each row; what stays blank takes its marked default. Choose then "
            "offers them."
        )
        page_frame.say(f'<p class="wi-small">{html.escape(words or fine)}</p>')
        if len(good):
            with st.container(horizontal=True, vertical_alignment="bottom"):
                row = st.selectbox(
                    "Use in this build",
                    range(len(good)),
                    format_func=lambda i: str(good["name"].iloc[i]),
                    key=f"use:{kind}",
                    width=320,
                )
                st.button("Use it", key=f"use_it:{kind}", on_click=_use, args=(kind, dict(good.iloc[row])))
    with st.container(horizontal=True, vertical_alignment="bottom"):
        st.download_button(
            "Download as CSV",
            (parts.to_csv(good, kind) if not problems else "").encode(),
            file_name=f"{kind}.csv",
            mime="text/csv",
            on_click="ignore",
            key=f"csv_out:{kind}",
            disabled=bool(problems),
        )
    given = st.file_uploader(
        "Bring in a CSV file",
        type=["csv", "txt", "tsv"],
        key=f"csv_in:{kind}",
        max_upload_size=2,
        help="Headings with their units, such as “mass [g]”; its rows are added to the table.",
    )
    if given is not None and kept_values.new_file(f"csv_done:{kind}", given.file_id):
        _bring_in(kind, given.name, given.getvalue(), edited)
        st.rerun()


def _bring_in(kind: str, name: str, data: bytes, now: pd.DataFrame) -> None:
    try:
        table = parts.read_csv(data, kind, file=name[:60])
    except PartsError as wrong:
        for problem in wrong.problems[:6]:
            shelf.say_next(problem)
        return
    drafts, turns = kept_values.first("part_drafts", {}), kept_values.first("part_turns", {})
    drafts[kind] = pd.concat([now, table.frame], ignore_index=True) if len(now) else table.frame
    turns[kind] = turns.get(kind, 0) + 1
    shelf.say_next(f"{len(table.frame)} row{'s' if len(table.frame) != 1 else ''} added from {name[:60]}.")
    for note in table.notes[:4]:
        shelf.say_next(note)


def _columns(kind: str) -> dict[str, Any]:
    config: dict[str, Any] = {}
    for column in parts.columns(kind):
        if column.choices:
            config[column.heading] = st.column_config.SelectboxColumn(
                column.heading, options=list(column.choices), help=column.help or None
            )
        elif column.text:
            config[column.heading] = st.column_config.TextColumn(column.heading, help=column.help or None, max_chars=60)
        else:
            config[column.heading] = st.column_config.NumberColumn(
                column.heading, help=column.help or None, format="%g"
            )
    return config


def _kept_table(kind: str) -> pd.DataFrame:
    """Return the stored table, or an empty one; an unreadable one is reported, and its file is not changed."""
    try:
        held = shelf.store().load_table(kind)
    except StoreError as wrong:
        shelf.say_next(str(wrong))
        return parts.empty(kind)
    revisions = kept_values.first("part_revisions", {})
    if held is None:
        return parts.empty(kind)
    revisions[kind] = held.revision
    kept_values.first("part_texts", {})[kind] = held.text
    try:
        return (
            parts.read_csv(held.text, kind, file=f"Your table of {kind}").frame
            if held.text.strip()
            else parts.empty(kind)
        )
    except PartsError as wrong:
        shelf.say_next(f"Your table of {kind} could not be read and stays on the disk as it is: {wrong.problems[0]}")
        revisions[kind] = None
        return parts.empty(kind)


def _checked(frame: pd.DataFrame, kind: str) -> tuple[pd.DataFrame, list[str]]:
    try:
        return parts.check(frame, kind, file="The table"), []
    except PartsError as wrong:
        return frame, wrong.problems


def _keep_table(kind: str, frame: pd.DataFrame) -> str:
    """Save the table if it changed; return a message, or ""."""
    text = parts.to_csv(frame, kind)
    texts = kept_values.first("part_texts", {})
    if texts.get(kind) == text or (kind not in texts and not len(frame)):
        return ""
    revisions = kept_values.first("part_revisions", {})
    try:
        held = shelf.store().save_table(kind, text, revision=revisions.get(kind))
    except StoreError as wrong:
        return str(wrong)
    texts[kind], revisions[kind] = text, held.revision
    return held.notice


def _use(kind: str, row: dict[str, Any]) -> None:
    """Load one of the user's parts into the build."""
    try:
        values = parts.to_record(row, kind)
    except (PartsError, ValueError) as wrong:
        shelf.say_next(str(wrong))
        return
    values = {k: v for k, v in values.items() if k in FIELDS and (v is not None or FIELDS[k].optional)}
    state.load(apply(state.inputs(), values))
    typed_labels.retire()
    name = str(values.get(NAME_OF[kind]) or row.get("name") or "")
    ohms = row.get("effective resistance [mohm]")
    if kind == "motors" and ohms is not None and not pd.isna(ohms):
        motor = replace(parts.to_motor(row), log_sd_kv=float(LOG_SD_KV), log_sd_resistance=MEASURED_LOG_SD)
        measured_parts.adopt(measured(state.usable(), name or "your table", motor=motor))
    shelf.say_next(f"“{name}” is in the build.")
