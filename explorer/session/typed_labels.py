"""Labels entered by the visitor: values read from them, answers to questions, and values they do not state."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import streamlit as st

from explorer.inputs import FIELDS, Inputs
from explorer.labels import LabelReading, answered, read_labels
from explorer.session import keys, stale_values

__all__ = [
    "Open",
    "answers",
    "borrowed",
    "clear_forgotten",
    "forget",
    "held",
    "moved",
    "opened",
    "put_back",
    "reading",
    "retire",
]

_MADE_FROM_LABELS = (
    keys.LABELS, keys.DEFAULT_DONOR, keys.LABEL_MADE, keys.LABEL_PLAIN, keys.LABEL_BASE, keys.SET_BY_HAND,
    keys.LENT_BY_LINK,
)  # fmt: skip


@dataclass(frozen=True)
class Open:
    """Labels with an open question, and the fields they would set."""

    labels: tuple[str, ...]
    fields: frozenset[str]

    def __bool__(self) -> bool:
        return bool(self.labels)


_read = lru_cache(maxsize=64)(read_labels)


def reading() -> LabelReading:
    """Return the values read from the labels; empty if they belong to a build that is no longer on the screen."""
    if st.session_state.get(keys.LABELS_FORGOTTEN) or st.session_state.get(keys.LABELS_RETIRED):
        return LabelReading()
    return _read(st.session_state.get(keys.LABELS, ""))


def answers(found: LabelReading) -> dict[int, int]:
    """Return number of the question -> number of the chosen option, for answered questions."""
    widgets = {k: f"label_answer:{k}:{q.source}" for k, q in enumerate(found.questions)}
    given = {k: st.session_state.get(key, found.questions[k].assumed) for k, key in widgets.items()}
    return {k: choice for k, choice in given.items() if choice is not None}


def opened() -> Open:
    """Return the labels with an open question."""
    found = reading()
    given = answers(found)
    return Open(tuple(text for text in found.open_labels(given) if text), found.open_fields(given))


def forget() -> None:
    """Mark the labels for clearing in the next run, because another build is on the screen."""
    st.session_state[keys.LABELS_FORGOTTEN] = True


def retire() -> None:
    """Mark the labels for clearing in the next run, because parts of the build were replaced.

    The values from the donor craft remain known as such, and the values from the labels count as given.
    """
    found = reading()
    given = answered(found, answers(found)).keys()
    st.session_state[keys.SET_BY_HAND] = st.session_state.get(keys.SET_BY_HAND, set()) | given
    st.session_state[keys.LABELS_RETIRED] = True


def clear_forgotten() -> None:
    """Clear the labels marked by `forget` and `retire`; called before their control is drawn."""
    forgotten, retired = (st.session_state.pop(name, False) for name in (keys.LABELS_FORGOTTEN, keys.LABELS_RETIRED))
    if forgotten or retired:
        stale_values.put(keys.LABELS, "")
    if forgotten:
        for name in (keys.DEFAULT_DONOR, keys.LABEL_MADE, keys.LABEL_PLAIN, keys.LABEL_BASE):
            st.session_state[name] = None
        st.session_state[keys.SET_BY_HAND] = set()
        st.session_state[keys.LENT_BY_LINK] = None


def held() -> dict[str, Any]:
    """Return the session values of a build made from labels, for `put_back`."""
    return {name: st.session_state.get(name) for name in _MADE_FROM_LABELS}


def put_back(before: Mapping[str, Any]) -> None:
    """Restore session values returned by `held`; only in a callback, where the value of a control may be set."""
    st.session_state.pop(keys.LABELS_FORGOTTEN, None)
    for name, value in before.items():
        st.session_state[name] = value
    stale_values.put(keys.LABELS, before[keys.LABELS] or "")
    st.session_state[keys.SET_BY_HAND] = before[keys.SET_BY_HAND] or set()


def moved(inputs: Inputs) -> list[str]:
    """Return the fields that differ from the labels."""
    found = reading()
    given = answered(found, answers(found))
    return [FIELDS[name].label for name, value in given.items() if name in FIELDS and getattr(inputs, name) != value]


def borrowed(inputs: Inputs) -> frozenset[str]:
    """Return the fields of a build made from labels, now or before its link, that still have the donor's values."""
    plain: Inputs | None = st.session_state.get(keys.LABEL_PLAIN)
    if st.session_state.get(keys.LABELS_FORGOTTEN):
        return frozenset()
    found = reading()
    if plain is None or not st.session_state.get(keys.DEFAULT_DONOR):
        names, came = st.session_state.get(keys.LENT_BY_LINK) or (frozenset(), inputs)
        told = answered(found, answers(found)).keys() | st.session_state.get(keys.SET_BY_HAND, set())
        return frozenset(name for name in names if getattr(inputs, name) == getattr(came, name)) - told
    assumed = {one.field for one in found.found if one.note == "assumed"}
    given = (answered(found, answers(found)).keys() - assumed) | st.session_state.get(keys.SET_BY_HAND, set())
    unchanged = {name for name in FIELDS if getattr(inputs, name) == getattr(plain, name)}
    weighed = {"frame_g", "take_off_g"} if "take_off_g" in given or "frame_g" not in unchanged else set()
    return frozenset((unchanged | assumed) - given - weighed)
