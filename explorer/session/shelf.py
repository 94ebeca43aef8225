"""The store of this visitor, and builds as records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

import streamlit as st

from explorer.inputs import FIELDS, Inputs, demo_inputs, with_defaults_for_bad
from explorer.inputs.editions import RECORD_KEY, edition_of, of_today, said
from explorer.inputs.fields import short_text
from explorer.inputs.measured_parts import RECORD_FIELDS, OwnParts, read_record, to_record, without_measured
from explorer.saved.build_file import one_line
from explorer.saved.items import SavedBuild
from explorer.saved.store import MemoryStore, Store, open_store
from explorer.session import keys
from propmodel import MODEL_EDITION

__all__ = [
    "inputs_of_record",
    "record_of",
    "store",
    "unusable",
]

# ---- saved builds -----------------------------------------------------------------------------------------


def store() -> Store:
    """The visitor's own store: the folder, or memory of this session alone."""
    held = st.session_state.get(keys.STORE)
    if held is None:
        held = st.session_state[keys.STORE] = open_store()
    return held


def saved_build() -> tuple[str, str, str] | None:
    """Key, revision and name of the saved build on the screen."""
    return st.session_state.get(keys.SAVED_BUILD)


def is_on_screen(saved: SavedBuild | None) -> None:
    """The build on the screen is this saved one, or none."""
    st.session_state[keys.SAVED_BUILD] = None if saved is None else (saved.key, saved.revision, saved.name)


def say_next(text: str) -> None:
    """A sentence to be shown at the next drawing."""
    st.session_state.setdefault(keys.SHELF_MESSAGES, []).append(text)


def take_messages() -> list[str]:
    """What is to be shown, asked once."""
    return st.session_state.pop(keys.SHELF_MESSAGES, [])


def lasts_for_this_visit() -> bool:
    """True where builds are kept in memory only."""
    return isinstance(store(), MemoryStore)


def record_of(inputs: Inputs, own: OwnParts | None) -> dict[str, Any]:
    """A build as it is saved: every field, the measured parts, and the edition of the model."""
    return {**asdict(without_measured(inputs)), **to_record(own), RECORD_KEY: MODEL_EDITION}


def inputs_of_record(record: Mapping[str, Any]) -> tuple[Inputs, OwnParts | None, list[str]]:
    """A saved build back: inputs, measured parts, a sentence for each field or measured part that could not be used,
    and one where another edition of the model forecast it.
    """
    base = demo_inputs("scree")
    edition = edition_of(record.get(RECORD_KEY))
    record = {k: one_line(v) if isinstance(v, str) else v for k, v in of_today(record).items()}
    known = {k: v for k, v in record.items() if k in FIELDS}
    inputs, problems = with_defaults_for_bad(replace(base, **{"name": "", **known}))
    words = [text for _, text in problems]
    if strange := [k for k in record if k not in FIELDS and k not in RECORD_FIELDS and k != RECORD_KEY]:
        words.append(f"{_counted(strange)} not known here and left out.")
    if missing := [k for k in FIELDS if k not in known and k != "name"]:
        words.append(f"{_counted(missing)} not in the file: what {base.name} has stands there.")
    own, unused = read_record(record, inputs)
    words += unused
    edition_note = said("build", edition, reading=inputs.cell_mohm is not None)
    return inputs, own, [*words, edition_note] if edition_note else words


def unusable(record: Mapping[str, Any]) -> list[str]:
    """A sentence for each field or measured part of a saved build that could not be used."""
    inputs, _, words = inputs_of_record(record)
    moved = said("build", edition_of(record.get(RECORD_KEY)), reading=inputs.cell_mohm is not None)
    return [text for text in words if text != moved]


def _counted(names: Sequence[str]) -> str:
    """How many fields, the first four of them named."""
    listed = ", ".join(short_text(name) for name in names[:4]) + (f" and {len(names) - 4} more" if names[4:] else "")
    return f"{len(names)} values ({listed}) are" if names[1:] else f"One value ({listed}) is"
