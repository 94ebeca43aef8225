"""Values of controls that survive a change of page."""

from __future__ import annotations

from typing import Any

import streamlit as st

from explorer.session import keys
from explorer.session.stale_values import put

__all__ = [
    "box",
    "first",
    "get",
    "keep",
    "keep_filled",
    "keep_value",
    "names",
    "new_file",
    "put",
    "put_first",
]

# ---- things typed -----------------------------------------------------------------------------------------


def box(key: str) -> dict[str, Any]:
    """Return a dictionary of the session; it is created on the first call."""
    return st.session_state.setdefault(key, {})


def get(name: str, default: Any = None) -> Any:
    """Return a stored value, or ``default``."""
    return box(keys.KEPT).get(name, default)


def first(name: str, value: Any) -> Any:
    """Return the stored value; if there is none, store and return ``value``."""
    return box(keys.KEPT).setdefault(name, value)


def new_file(name: str, file_id: str | None) -> bool:
    """Return True if a new file was uploaded; True only once per file."""
    if file_id is None or get(name) == file_id:
        return False
    keep_value(name, file_id)
    return True


def keep_value(name: str, value: Any) -> None:
    """Store a value that belongs to no control."""
    box(keys.KEPT)[name] = value


def names(prefix: str) -> list[str]:
    """Return the names of the stored values with this prefix."""
    return [name for name in box(keys.KEPT) if name.startswith(prefix)]


def keep(key: str, name: str) -> None:
    """Callback of a control: store its value."""
    box(keys.KEPT)[name] = st.session_state[key]


def keep_filled(key: str, name: str) -> None:
    """Callback of a control: store its value, unless the control is empty."""
    if st.session_state[key] is not None:
        keep(key, name)


def put_first(key: str, value: Any) -> None:
    """Set the initial value of a control that is drawn for the first time."""
    st.session_state.setdefault(key, value)
