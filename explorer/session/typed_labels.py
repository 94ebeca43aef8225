"""The labels a visitor typed: what was read, what is answered, what is still open, what nobody told."""

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
)  # fmt: skip


@dataclass(frozen=True)
class Open:
    """Labels that wait for an answer, and the fields they would fill."""

    labels: tuple[str, ...]
    fields: frozenset[str]

    def __bool__(self) -> bool:
        return bool(self.labels)


_read = lru_cache(maxsize=64)(read_labels)


def reading() -> LabelReading:
    """What was read from the labels in the field; empty where they belong to a build that is gone."""
    if st.session_state.get(keys.LABELS_FORGOTTEN) or st.session_state.get(keys.LABELS_RETIRED):
        return LabelReading()
    return _read(st.session_state.get(keys.LABELS, ""))


def answers(found: LabelReading) -> dict[int, int]:
    """Number of each question with an answer, to the number of its option."""
    widgets = {k: f"label_answer:{k}:{q.source}" for k, q in enumerate(found.questions)}
    given = {k: st.session_state.get(key, found.questions[k].assumed) for k, key in widgets.items()}
    return {k: choice for k, choice in given.items() if choice is not None}


def opened() -> Open:
    """What is open now."""
    found = reading()
    given = answers(found)
    return Open(tuple(text for text in found.open_labels(given) if text), found.open_fields(given))


def forget() -> None:
    """The build on the screen is another one: the labels of the one before are cleared at the next run."""
    st.session_state[keys.LABELS_FORGOTTEN] = True


def retire() -> None:
    """Parts of this build were replaced: the labels in the field are cleared at the next run.

    What the lending craft stands for stays known, and what the labels told counts as told.
    """
    found = reading()
    given = answered(found, answers(found)).keys()
    st.session_state[keys.SET_BY_HAND] = st.session_state.get(keys.SET_BY_HAND, set()) | given
    st.session_state[keys.LABELS_RETIRED] = True


def clear_forgotten() -> None:
    """Clear what `forget` and `retire` asked to; before the field is drawn."""
    forgotten, retired = (st.session_state.pop(name, False) for name in (keys.LABELS_FORGOTTEN, keys.LABELS_RETIRED))
    if forgotten or retired:
        stale_values.put(keys.LABELS, "")
    if forgotten:
        for name in (keys.DEFAULT_DONOR, keys.LABEL_MADE, keys.LABEL_PLAIN, keys.LABEL_BASE):
            st.session_state[name] = None
        st.session_state[keys.SET_BY_HAND] = set()


def held() -> dict[str, Any]:
    """All that stands behind a build made from labels, for `put_back`."""
    return {name: st.session_state.get(name) for name in _MADE_FROM_LABELS}


def put_back(before: Mapping[str, Any]) -> None:
    """Labels and lending craft of an earlier moment; only in a callback, where the field may be written."""
    st.session_state.pop(keys.LABELS_FORGOTTEN, None)
    for name, value in before.items():
        st.session_state[name] = value
    stale_values.put(keys.LABELS, before[keys.LABELS] or "")
    st.session_state[keys.SET_BY_HAND] = before[keys.SET_BY_HAND] or set()


def moved(inputs: Inputs) -> list[str]:
    """Names of the fields that no longer are as the labels say."""
    found = reading()
    given = answered(found, answers(found))
    return [FIELDS[name].label for name, value in given.items() if name in FIELDS and getattr(inputs, name) != value]


def borrowed(inputs: Inputs) -> frozenset[str]:
    """Fields of a build made from labels that still hold what the lending craft had; empty for other builds."""
    plain: Inputs | None = st.session_state.get(keys.LABEL_PLAIN)
    if plain is None or not st.session_state.get(keys.DEFAULT_DONOR) or st.session_state.get(keys.LABELS_FORGOTTEN):
        return frozenset()
    found = reading()
    assumed = {one.field for one in found.found if one.note == "assumed"}
    given = (answered(found, answers(found)).keys() - assumed) | st.session_state.get(keys.SET_BY_HAND, set())
    unchanged = {name for name in FIELDS if getattr(inputs, name) == getattr(plain, name)}
    weighed = {"frame_g", "take_off_g"} if "take_off_g" in given or "frame_g" not in unchanged else set()
    return frozenset((unchanged | assumed) - given - weighed)
