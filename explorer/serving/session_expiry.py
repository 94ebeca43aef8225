"""Expiry of sessions: the session of a visitor who has left ends after a fixed time.

Streamlit keeps a disconnected session for ``server.disconnectedSessionTTL`` seconds, so that a visitor can reconnect.
It removes the session only when another visitor leaves; until then memory, uploads and file handles remain.
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
"""Time between two checks. [s]"""


def overdue(left: dict[str, float], there: Iterable[str], now: float, keep: float) -> list[str]:
    """Return the sessions without a visitor for ``keep`` seconds, and add new ones to ``left``.

    Parameters
    ----------
    left : dict
        Session -> time at which it was first found without a visitor; updated in place. [s]
    there : iterable of str
        Sessions that have no visitor now.
    now, keep : float
        Present time, and time for which a session is kept. [s]

    Examples
    --------
    >>> left = {}
    >>> overdue(left, ["a"], 0.0, 100.0), overdue(left, ["a", "b"], 100.0, 100.0), left
    ([], ['a'], {'b': 100.0})
    """
    there = set(there)
    for session in [s for s in left if s not in there]:
        del left[session]  # the visitor has reconnected
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
        gc.collect()  # a session has reference cycles
    return len(ended)


async def run(tick: float = TICK) -> None:
    """Check every ``tick`` seconds while the server runs."""
    left: dict[str, float] = {}
    # earlier than Streamlit's own limit, after which a session is no longer accessible
    keep = max(float(st.get_option("server.disconnectedSessionTTL")) - 2.0 * tick, 0.0)
    while True:
        await asyncio.sleep(tick)
        try:
            _end_overdue(left, keep)
        except Exception:
            logging.getLogger("explorer").exception("sessions could not be ended")
