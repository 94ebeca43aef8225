"""Values of controls that outlive their page."""

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
    """One dictionary of the session, made when first asked for."""
    return st.session_state.setdefault(key, {})


def get(name: str, default: Any = None) -> Any:
    """A value typed on one of these pages."""
    return box(keys.KEPT).get(name, default)


def first(name: str, value: Any) -> Any:
    """What is kept; where nothing is, ``value`` from now on."""
    return box(keys.KEPT).setdefault(name, value)


def new_file(name: str, file_id: str | None) -> bool:
    """Whether a file has come in that was not yet taken, asked once for each."""
    if file_id is None or get(name) == file_id:
        return False
    keep_value(name, file_id)
    return True


def keep_value(name: str, value: Any) -> None:
    """Keep a value that no control holds, in place of the one before."""
    box(keys.KEPT)[name] = value


def names(prefix: str) -> list[str]:
    """Names of the values that begin so."""
    return [name for name in box(keys.KEPT) if name.startswith(prefix)]


def keep(key: str, name: str) -> None:
    """Take what a control says; its callback."""
    box(keys.KEPT)[name] = st.session_state[key]


def keep_filled(key: str, name: str) -> None:
    """Take what a control says; an emptied one keeps what it had."""
    if st.session_state[key] is not None:
        keep(key, name)


def put_first(key: str, value: Any) -> None:
    """Let a control that is drawn for the first time show a value."""
    st.session_state.setdefault(key, value)
