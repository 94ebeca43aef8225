"""The note on measured parts under the name of the build."""

from __future__ import annotations

import html

import streamlit as st

from explorer.session import state
from explorer.session.measured_parts import own_words, take_away

__all__ = [
    "in_side_panel",
]


def in_side_panel() -> None:
    """Say under the build's name that some of it was measured, and let it be taken away."""
    words = own_words(state.usable())
    if not words:
        return
    st.html(f'<div class="wi wi-read" role="status">{html.escape(words)}</div>')
    st.button(
        "Back to the labels", key="own_away", on_click=take_away, help="Takes the measured parts out; the log stays."
    )
