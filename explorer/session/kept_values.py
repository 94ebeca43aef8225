"""Values of controls that outlive their page."""

from __future__ import annotations

from typing import Any

import streamlit as st

__all__ = [
    "box",
    "keep",
    "keep_value",
    "kept",
    "names",
    "put",
]

# ---- things typed -----------------------------------------------------------------------------------------


def box(name: str) -> dict[str, Any]:
    """One dictionary of the session, made when first asked for."""
    return st.session_state.setdefault(f"bench_{name}", {})


def kept(name: str, default: Any = None) -> Any:
    """A value typed on one of these pages."""
    return box("kept").get(name, default)


def names(prefix: str) -> list[str]:
    """Names of the values that begin so."""
    return [name for name in box("kept") if name.startswith(prefix)]


def keep(key: str, name: str) -> None:
    """Take what a control says; its callback."""
    box("kept")[name] = st.session_state[key]


def keep_value(name: str, value: Any) -> None:
    """Keep a value that no control holds; the callback of a button."""
    box("kept")[name] = value


def put(key: str, value: Any) -> None:
    """Let a control show a value, unless it already does."""
    if key not in st.session_state or st.session_state[key] != value:
        st.session_state[key] = value
