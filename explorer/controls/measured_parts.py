"""Note on measured parts, below the name of the build."""

from __future__ import annotations

import html

import streamlit as st

from explorer.session import state
from explorer.session.measured_parts import own_words, take_away

__all__ = [
    "in_side_panel",
]


def in_side_panel() -> None:
    """Show which parts of the build were measured, with a button that removes the measurements."""
    words = own_words(state.usable())
    if not words:
        return
    st.html(f'<div class="wi wi-read" role="status">{html.escape(words)}</div>')
    st.button(
        "Back to the labels", key="own_away", on_click=take_away, help="Takes the measured parts out; the log stays."
    )
