"""Stale values: what a browser still sends of a control that the page has set anew in the meantime.

With every move the browser sends the values of all its controls. While a page is being drawn it does not know yet what
that run puts into the others (the field of the KV when the slider of the KV moves, the choice of a craft that is none
any more). Streamlit takes such an old value for a change and calls the control's callback. So every value that a run
puts into a control is noted beside the one it replaces; a callback that finds the replaced value while the browser may
not have heard of the new one does nothing.
"""

from __future__ import annotations

import time
from typing import Any

import streamlit as st

from explorer.session import keys

__all__ = ["begin_run", "chosen_when_drawn", "end_run", "is_stale", "put"]

DELIVERY_SECONDS = 1.0
"""So long after the end of a run its values may still be on their way."""


def begin_run(choices: dict[str, Any] | None = None) -> None:
    """Note that a run begins, and which choices it is drawn for."""
    st.session_state[keys.RUN_ENDED] = None
    st.session_state[keys.RUN_CHOICES] = choices or {}


def end_run() -> None:
    """Note that a run has come to its end."""
    st.session_state[keys.RUN_ENDED] = time.monotonic()


def put(key: str, value: Any) -> None:
    """Let a control show a value, without sending back what the reader is just moving."""
    replaced: dict[str, list[Any]] = st.session_state.setdefault(keys.REPLACED_VALUES, {})
    if key not in st.session_state:
        replaced.pop(key, None)
        st.session_state[key] = value
    elif st.session_state[key] != value:
        before = replaced.setdefault(key, [])
        if st.session_state[key] not in before:
            before.append(st.session_state[key])
        st.session_state[key] = value
    else:
        replaced.pop(key, None)  # the browser sent what it was told


def is_stale(key: str) -> bool:
    """Whether what a callback finds is only the value that the last run replaced."""
    if st.session_state.get(key) not in st.session_state.get(keys.REPLACED_VALUES, {}).get(key, ()):
        return False
    ended = st.session_state.get(keys.RUN_ENDED)
    return ended is None or time.monotonic() - ended < DELIVERY_SECONDS


def chosen_when_drawn(choice: str, otherwise: Any) -> Any:
    """What a choice said when the last run began: a slider of another choice is one of a page that is gone."""
    return st.session_state.get(keys.RUN_CHOICES, {}).get(choice, otherwise)
