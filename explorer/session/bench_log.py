"""What one visitor read at the bench, the log they brought, the parts they made their own, prices and rates.

Everything lives in the visitor's own session and outlasts a change of page: a control shows what is kept here and
writes it back, so nothing typed is lost when a page is left.
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
"""Larger logs are read once; their text is not kept beside the rows. [byte]"""


def readings() -> dict[str, float | bool]:
    """Readings of the first power-up by the title of their step."""
    return box(keys.READINGS)


def set_reading(title: str, value: float | bool | None) -> None:
    """Keep a reading; None takes it away."""
    if value is None:
        readings().pop(title, None)
    else:
        readings()[title] = value


def clear_readings() -> None:
    """Begin the first power-up anew."""
    readings().clear()


# ---- the log ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class LoadedLog:
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


def held_log() -> LoadedLog | None:
    """The log this visitor brought."""
    return st.session_state.get(keys.BENCH_LOG)


def hold(held: LoadedLog | None) -> None:
    """Keep a log, in place of the one before."""
    st.session_state[keys.BENCH_LOG] = held


def read_log(
    ident: str,
    name: str,
    data: bytes,
    *,
    columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    poles: int | None = None,
    progress: Callable[[float], None] | None = None,
) -> LoadedLog:
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
    loaded = LoadedLog(ident, name[:120], columns=dict(columns or {}), units=dict(units or {}), poles=poles,
                data=data if len(data) <= CACHE_BYTES else None)  # fmt: skip
    file = io.BytesIO(data)
    file.name = name
    try:
        log = bench.read(file, columns=columns, units=units, poles=poles, progress=progress)
    except BenchFileError as wrong:
        return replace(loaded, problem=_sentence(str(wrong)))
    except Exception:
        logging.getLogger("explorer").exception("log %r", name)
        return replace(loaded, problem="This file could not be read as a log. Export it as CSV and try again.")
    return replace(loaded, log=log)


def _sentence(text: str) -> str:
    text = text.strip()
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."
