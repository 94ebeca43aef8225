"""What one visitor read at the bench, the log they brought, the parts they made their own, prices and rates.

Everything lives in the visitor's own session and outlasts a change of page: a control shows what is kept here and
writes it back, so nothing typed is lost when a page is left.
"""

from __future__ import annotations

import html
import io
import logging
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import streamlit as st

from explorer import compute, state
from explorer.editions import RECORD_KEY, edition_of, of_today, said
from explorer.inputs import Inputs, demo_inputs, mended
from explorer.own_parts import OwnParts, bare, in_use, read_record, to_record
from explorer.store import MemoryStore, Store, open_store
from propmodel import MODEL_EDITION, bench
from propmodel.bench.read_log import BenchFileError, BenchLog

__all__ = [
    "Held",
    "adopt",
    "held_log",
    "in_side_panel",
    "inputs_of_record",
    "keep",
    "kept",
    "own_words",
    "put",
    "read_log",
    "readings",
    "record_of",
    "set_reading",
    "store",
    "take_away",
    "was",
]

KEPT_BYTES = 16 * 2**20
"""Larger logs are read once; their text is not kept beside the rows. [byte]"""


# ---- things typed -----------------------------------------------------------------------------------------


def _box(name: str) -> dict[str, Any]:
    return st.session_state.setdefault(f"bench_{name}", {})


def kept(name: str, default: Any = None) -> Any:
    """A value typed on one of these pages."""
    return _box("kept").get(name, default)


def keep(key: str, name: str) -> None:
    """Take what a control says; its callback."""
    _box("kept")[name] = st.session_state[key]


def put(key: str, value: Any) -> None:
    """Let a control show a value, unless it already does."""
    if key not in st.session_state or st.session_state[key] != value:
        st.session_state[key] = value


def readings() -> dict[str, float | bool]:
    """Readings of the first power-up by the title of their step."""
    return _box("readings")


def set_reading(title: str, value: float | bool | None) -> None:
    """Keep a reading; None takes it away."""
    if value is None:
        readings().pop(title, None)
    else:
        readings()[title] = value


def clear_readings() -> None:
    """Begin the first power-up anew."""
    readings().clear()


# ---- measured parts ---------------------------------------------------------------------------------------


def adopt(own: OwnParts) -> None:
    """Put measured parts in the build; the bands before stay as an outline until something else changes."""
    before = state.usable()
    st.session_state["own_parts"] = own
    st.session_state["own_was"] = (before, repr(state.usable()))
    st.session_state["touched"] = True


def take_away() -> None:
    """Go back to the labels."""
    before = state.usable()
    st.session_state["own_parts"] = None
    st.session_state["own_was"] = (before, repr(state.usable()))


def was() -> Inputs | None:
    """The build before its parts were measured or taken away, for one step."""
    held = st.session_state.get("own_was")
    return held[0] if held is not None and held[1] == repr(state.usable()) else None


def own_words(inputs: Inputs) -> str:
    """One sentence about measured parts; empty where nothing was measured."""
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


def in_side_panel() -> None:
    """Say under the build's name that some of it was measured, and let it be taken away."""
    words = own_words(state.usable())
    if not words:
        return
    st.html(f'<div class="wi wi-read" role="status">{html.escape(words)}</div>')
    st.button(
        "Back to the labels", key="own_away", on_click=take_away, help="Takes the measured parts out; the log stays."
    )


# ---- the log ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Held:
    """A log as it stands: what was read, or why not."""

    ident: str
    name: str
    log: BenchLog | None = None
    problem: str = ""
    columns: Mapping[str, str] = field(default_factory=dict)
    """Headings chosen by the reader, by meaning."""
    units: Mapping[str, str] = field(default_factory=dict)
    poles: int | None = None
    data: bytes | None = None
    """None where the file is too large to be kept beside its rows."""
    calibration: Any = None
    calibrated_with: tuple[Any, ...] = ()


def held_log() -> Held | None:
    """The log this visitor brought."""
    return st.session_state.get("bench_log")


def hold(held: Held | None) -> None:
    """Keep a log, in place of the one before."""
    st.session_state["bench_log"] = held


def read_log(
    ident: str,
    name: str,
    data: bytes,
    *,
    columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    poles: int | None = None,
    progress: Callable[[float], None] | None = None,
) -> Held:
    """Read a log from the bytes of a file; never raises, a file that cannot be used gets one plain sentence.

    Parameters
    ----------
    ident, name : str
        Which upload it is, and the name of the file.
    data : bytes
    columns, units : mapping or None
        Choices of the reader over the guesses.
    poles : int or None
        Magnets of the motor where the logger was set to another number.
    progress : callable or None
        Called with the share read.
    """
    told = Held(ident, name[:120], columns=dict(columns or {}), units=dict(units or {}), poles=poles,
                data=data if len(data) <= KEPT_BYTES else None)  # fmt: skip
    file = io.BytesIO(data)
    file.name = name
    try:
        log = bench.read(file, columns=columns, units=units, poles=poles, progress=progress)
    except BenchFileError as wrong:
        return replace(told, problem=_sentence(str(wrong)))
    except Exception:
        logging.getLogger("explorer").exception("log %r", name)
        return replace(told, problem="This file could not be read as a log. Export it as CSV and try again.")
    return replace(told, log=log)


def _sentence(text: str) -> str:
    text = text.strip()
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."


# ---- saved builds -----------------------------------------------------------------------------------------


def store() -> Store:
    """The visitor's own store: the folder, or memory of this session alone."""
    held = st.session_state.get("store")
    if held is None:
        held = st.session_state["store"] = open_store()
    return held


def lasts_for_this_visit() -> bool:
    """True where builds are kept in memory only."""
    return isinstance(store(), MemoryStore)


def record_of(inputs: Inputs, own: OwnParts | None) -> dict[str, Any]:
    """A build as it is saved: every field, the measured parts, and the edition of the model."""
    return {**asdict(bare(inputs)), **to_record(own), RECORD_KEY: MODEL_EDITION}


def inputs_of_record(record: Mapping[str, Any]) -> tuple[Inputs, OwnParts | None, list[str]]:
    """A saved build back: inputs, measured parts, a sentence for each field or measured part that could not be used,
    and one where another edition of the model forecast it.
    """
    base = demo_inputs("scree")
    edition = edition_of(record.get(RECORD_KEY))
    record = of_today(record)
    known = {k: v for k, v in record.items() if hasattr(base, k) and not k.startswith("_")}
    kinds = {k: v for k, v in known.items() if _fits(getattr(base, k), v)}
    inputs, problems = mended(replace(base, **{"name": "", **kinds}))
    lost = sorted(set(known) - set(kinds))
    words = [text for _, text in problems]
    if lost:
        words.append(f"{len(lost)} values could not be used ({', '.join(lost[:4])}); defaults stand there.")
    own, unused = read_record(record)
    words += unused
    told = said("build", edition, reading=inputs.cell_mohm is not None)
    return inputs, own, [*words, told] if told else words


def _fits(example: Any, value: Any) -> bool:
    """Whether a value has the kind of its field: text stays text, yes/no stays yes/no."""
    if isinstance(example, bool) or isinstance(value, bool):
        return isinstance(example, bool) and isinstance(value, bool)
    if isinstance(example, str):
        return isinstance(value, str)
    return value is None or isinstance(value, int | float | str)


def bands_of(inputs: Inputs) -> compute.Answers:
    """Headline answers with their bands."""
    return compute.answers(inputs)
