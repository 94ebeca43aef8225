"""The steps of the first power-up as a list: one is open, each of the others is one line."""

from __future__ import annotations

from typing import Any

import streamlit as st

from explorer.app_pages.plug_in import figures
from explorer.controls import page_frame
from explorer.figures.craft_view import top_view
from explorer.forecasts.craft_view import top_view_of
from explorer.inputs import Inputs
from explorer.session import bench_log, kept_values
from propmodel import power_up

__all__ = ["step_list"]

OPEN = "plug_in_step"
"""Session key of the number of the open step."""
ORDER = "Order and direction"


def step_list(steps: list[power_up.Step], inputs: Inputs) -> None:
    """Draw every step as one line; the open one with its instructions and its field."""
    read = bench_log.readings()
    verdicts = [power_up.judge(step, read.get(step.title)) for step in steps]
    kinds = [figures.kind_of(text) for text in verdicts]
    page_frame.say(figures.progress(kinds))
    stopped = next((k for k, kind in enumerate(kinds) if kind == "stop"), None)
    chosen = _open_step(kinds)
    with st.container(key="steps", gap=None):
        for k, step in enumerate(steps):
            if k == chosen:
                _card(step, verdicts[k], stopped if stopped is not None and k > stopped else None, len(steps), inputs)
                continue
            st.button(
                figures.step_line(step, kinds[k], read.get(step.title)),
                key=f"open-{step.number}",
                on_click=kept_values.keep_value,
                args=(OPEN, step.number),
                type="tertiary",
                width="stretch",
            )
    if read:
        page_frame.say('<p class="wi-small">Readings are in no address: loading the page anew clears them.</p>')
        st.button("Begin anew: clear all readings", key="clear_readings", on_click=_clear)


def _open_step(kinds: list[str]) -> int:
    """Return the index of the selected step, else of the first without a reading."""
    number = kept_values.get(OPEN)
    if number is not None and 1 <= int(number) <= len(kinds):
        return int(number) - 1
    return next((k for k, kind in enumerate(kinds) if not kind), 0)


def _clear() -> None:
    bench_log.clear_readings()
    kept_values.keep_value(OPEN, None)


def _card(step: power_up.Step, state: str, stopped: int | None, last: int, inputs: Inputs) -> None:
    """Draw the open step. After a "stop", a later step without a reading refers to that step (index ``stopped``)."""
    with st.container(key=f"card-{step.number}"):
        page_frame.say(figures.card(power_up.rows([step])[0]))
        if step.title == ORDER:
            page_frame.say(
                f'<div class="wb-corners">{top_view(top_view_of(inputs), corners=True)}<p>Write beside each corner the '
                "number your motor test calls it. Neighbours turn opposite ways; which way is in your flight "
                "controller's own picture.</p></div>"
            )
        _field(step)
        page_frame.say(
            figures.verdict(state)
            if stopped is None or state
            else f'<div class="wb-verdict">First clear step {stopped + 1}; nothing before that.</div>'
        )
        if step.number < last:
            st.button(
                f"Next: step {step.number + 1} of {last}",
                key="next_step",
                on_click=kept_values.keep_value,
                args=(OPEN, step.number + 1),
            )


def _field(step: power_up.Step) -> None:
    """Draw one field: a number in the unit of the step, or a yes."""
    now: Any = bench_log.readings().get(step.title)
    key = f"reading:{step.title}"
    if not step.unit:
        kept_values.put(key, {True: "yes", False: "no"}.get(now))
        st.segmented_control(
            f"Step {step.number}: is all of it so?",
            ["yes", "no"],
            key=key,
            on_change=_read,
            args=(key, step.title, step.number),
        )
        return
    kept_values.put(key, None if now is None else float(now))
    # one field with its unit in the label; a phone shows a numeric keyboard
    st.number_input(
        f"Step {step.number}: I read, {step.unit}",
        -40.0 if step.unit == "°C" else 0.0,
        1e7,
        value=None,
        step=None,
        format="%g",
        key=key,
        on_change=_read,
        args=(key, step.title, step.number),
        placeholder="type what you read",
    )


def _read(key: str, title: str, number: int) -> None:
    given = st.session_state[key]
    bench_log.set_reading(title, {"yes": True, "no": False}.get(given, given))
    # the assessment stays visible
    kept_values.keep_value(OPEN, number)
