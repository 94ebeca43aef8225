"""Measured parts of the build on the screen: add, remove, describe."""

from __future__ import annotations

import streamlit as st

from explorer.inputs import Inputs
from explorer.inputs.measured_parts import OwnParts, in_use
from explorer.session import keys, state

__all__ = [
    "adopt",
    "own_words",
    "take_away",
    "was",
]

# ---- measured parts ---------------------------------------------------------------------------------------


def adopt(own: OwnParts) -> None:
    """Add measured parts to the build. The former intervals remain as an outline until another change."""
    before = state.usable()
    st.session_state[keys.OWN_PARTS] = own
    st.session_state[keys.OWN_WAS] = (before, repr(state.usable()))
    st.session_state[keys.TOUCHED] = True


def take_away() -> None:
    """Remove the measured parts, so that the labels apply again."""
    before = state.usable()
    st.session_state[keys.OWN_PARTS] = None
    st.session_state[keys.OWN_WAS] = (before, repr(state.usable()))


def was() -> Inputs | None:
    """Return the build before measured parts were added or removed, if nothing has changed since; else None."""
    held = st.session_state.get(keys.OWN_WAS)
    return held[0] if held is not None and held[1] == repr(state.usable()) else None


def own_words(inputs: Inputs) -> str:
    """Return one sentence about the measured parts; empty if there are none."""
    own = state.own_parts()
    if own is None:
        return ""
    names = {"motor": "motor", "propeller": "propeller", "controller": "ESC"}
    have = [names[p] for p in names if getattr(own, p) is not None]
    used = [names[p] for p in in_use(inputs, own)]
    if not used:
        return f"Your measured {_and(have)} ({own.name}) rest: this build has other labels."
    verb = "is" if len(used) == 1 else "are"
    rest = [name for name in have if name not in used]
    more = f" The measured {_and(rest)} rest{'s' if len(rest) == 1 else ''}: other label." if rest else ""
    named = _and(used)
    return f"{named[:1].upper()}{named[1:]} {verb} as measured ({own.name}).{more}"


def _and(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
