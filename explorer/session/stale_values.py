"""Stale values: values that a browser still sends for controls which the page has changed in the meantime.

With each change of a control the browser sends the values of all controls. During a run it does not yet know the values
that this run sets in other controls, such as the field of the KV when the slider of the KV moves. Streamlit takes such
an old value for a change and calls the control's callback. Therefore each value that a run sets in a control is stored
with the value it replaces. A callback that receives the replaced value does nothing while the browser may not have
received the new one.
"""

from __future__ import annotations

import time
from typing import Any

import streamlit as st

from explorer.session import keys

__all__ = ["begin_run", "chosen_when_drawn", "end_run", "is_stale", "put"]

DELIVERY_SECONDS = 1.0
"""Time after the end of a run in which its values may not have reached the browser. [s]"""


def begin_run(choices: dict[str, Any] | None = None) -> None:
    """Record the start of a run and its choices."""
    st.session_state[keys.RUN_ENDED] = None
    st.session_state[keys.RUN_CHOICES] = choices or {}


def end_run() -> None:
    """Record the end of a run."""
    st.session_state[keys.RUN_ENDED] = time.monotonic()


def put(key: str, value: Any) -> None:
    """Set the value of a control, except of the one that the visitor is moving."""
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
        replaced.pop(key, None)  # the browser has sent the value it received


def is_stale(key: str) -> bool:
    """Return True if the value in a callback is the one that the last run replaced."""
    if st.session_state.get(key) not in st.session_state.get(keys.REPLACED_VALUES, {}).get(key, ()):
        return False
    ended = st.session_state.get(keys.RUN_ENDED)
    return ended is None or time.monotonic() - ended < DELIVERY_SECONDS


def chosen_when_drawn(choice: str, otherwise: Any) -> Any:
    """Return a choice at the start of the last run; a slider of another choice belongs to an earlier page."""
    return st.session_state.get(keys.RUN_CHOICES, {}).get(choice, otherwise)
