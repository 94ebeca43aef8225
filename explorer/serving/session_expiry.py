"""Expiry of sessions: those of visitors who left end after a fixed time.

Streamlit keeps a session for ``server.disconnectedSessionTTL`` seconds, so that a visitor whose network failed for a
moment finds it again, and drops it when the next visitor leaves. Until then its memory, uploads and file handles stay.
"""

from __future__ import annotations

import asyncio
import gc
import logging
import time
from collections.abc import Iterable

import streamlit as st
from streamlit import runtime

__all__ = ["TICK", "overdue", "run"]

TICK = 10.0
"""Time between two looks. [s]"""


def overdue(left: dict[str, float], there: Iterable[str], now: float, keep: float) -> list[str]:
    """Return the sessions that were left ``keep`` seconds ago, and note in ``left`` those seen for the first time.

    Parameters
    ----------
    left : dict
        When each session was first seen without its visitor; brought up to date. [s]
    there : iterable of str
        Sessions without a visitor now.
    now, keep : float
        Present time, and how long a session is kept. [s]

    Examples
    --------
    >>> left = {}
    >>> overdue(left, ["a"], 0.0, 100.0), overdue(left, ["a", "b"], 100.0, 100.0), left
    ([], ['a'], {'b': 100.0})
    """
    there = set(there)
    for session in [s for s in left if s not in there]:
        del left[session]  # the visitor came back
    for session in there:
        left.setdefault(session, now)
    ended = sorted(session for session, since in left.items() if now - since >= keep)
    for session in ended:
        del left[session]
    return ended


def _end_overdue(left: dict[str, float], keep: float) -> int:
    server = runtime.get_instance()
    manager = server._session_mgr
    there = [info.session.id for info in manager.list_sessions() if not manager.is_active_session(info.session.id)]
    ended = overdue(left, there, time.monotonic(), keep)
    for session in ended:
        server.close_session(session)
    if ended:
        gc.collect()  # a session refers to itself in circles
    return len(ended)


async def run(tick: float = TICK) -> None:
    """Look every ``tick`` seconds, for as long as the server runs."""
    left: dict[str, float] = {}
    # before Streamlit's own limit, after which a session cannot be asked for any more
    keep = max(float(st.get_option("server.disconnectedSessionTTL")) - 2.0 * tick, 0.0)
    while True:
        await asyncio.sleep(tick)
        try:
            _end_overdue(left, keep)
        except Exception:
            logging.getLogger("explorer").exception("sessions could not be ended")
