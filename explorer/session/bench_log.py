"""Bench data in the session: readings of the first power-up, and the uploaded log with its calibration.

The data survive a change of page: a control takes its value from here and writes it back.
"""

from __future__ import annotations

import io
import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import streamlit as st

from explorer.session import keys
from explorer.session.kept_values import box
from propmodel import bench
from propmodel.bench.read_log import BenchFileError, BenchLog

__all__ = [
    "LoadedLog",
    "held_log",
    "read_log",
    "readings",
    "set_reading",
]

CACHE_BYTES = 16 * 2**20
"""Largest file whose bytes are stored in addition to its rows. [byte]"""


def readings() -> dict[str, float | bool]:
    """Return the readings of the first power-up: title of the step -> reading."""
    return box(keys.READINGS)


def set_reading(title: str, value: float | bool | None) -> None:
    """Store a reading; None deletes it."""
    if value is None:
        readings().pop(title, None)
    else:
        readings()[title] = value


def clear_readings() -> None:
    """Delete all readings of the first power-up."""
    readings().clear()


# ---- the log ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class LoadedLog:
    """An uploaded log: its contents, or the reason why it could not be read."""

    ident: str
    name: str
    log: BenchLog | None = None
    problem: str = ""
    columns: Mapping[str, str] = field(default_factory=dict)
    """Meaning -> heading chosen by the user."""
    units: Mapping[str, str] = field(default_factory=dict)
    poles: int | None = None
    kind: str | None = None
    """"stand" or "flight" as chosen by the user; None: as inferred."""
    headings: tuple[str, ...] = ()
    """Headings of a file that could not be read, if its columns can be chosen by hand."""
    data: bytes | None = None
    """Bytes of the file; None if it is larger than `CACHE_BYTES`."""
    calibration: Any = None


def held_log() -> LoadedLog | None:
    """Return the log that this visitor uploaded, or None."""
    return st.session_state.get(keys.BENCH_LOG)


def hold(held: LoadedLog | None) -> None:
    """Store a log in place of the previous one."""
    st.session_state[keys.BENCH_LOG] = held


def read_log(
    ident: str,
    name: str,
    data: bytes,
    *,
    columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    poles: int | None = None,
    kind: str | None = None,
    progress: Callable[[float], None] | None = None,
) -> LoadedLog:
    """Read a log from the bytes of a file. It raises no error: ``problem`` says why a file cannot be used.

    Parameters
    ----------
    ident, name : str
        Identifier of the upload, and name of the file.
    data : bytes
        Contents of the file.
    columns, units : mapping or None
        Meaning -> heading and meaning -> unit, chosen by the user in place of an inference.
    poles : int or None
        Number of magnet poles of the motor, if it differs from the setting of the logger. [-]
    kind : {"stand", "flight"} or None
        Kind of log chosen by the user in place of an inference.
    progress : callable or None
        Called with the share that has been read, 0 to 1.
    """
    loaded = LoadedLog(ident, name[:120], columns=dict(columns or {}), units=dict(units or {}), poles=poles, kind=kind,
                data=data if len(data) <= CACHE_BYTES else None)  # fmt: skip
    file = io.BytesIO(data)
    file.name = name
    try:
        log = bench.read(file, columns=columns, units=units, poles=poles, kind=kind, progress=progress)
    except BenchFileError as wrong:
        return replace(loaded, problem=_sentence(str(wrong)), headings=wrong.headings)
    except Exception:
        logging.getLogger("explorer").exception("log %r", name)
        return replace(loaded, problem="This file could not be read as a log. Export it as CSV and try again.")
    return replace(loaded, log=log)


def _sentence(text: str) -> str:
    text = text.strip()
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."
