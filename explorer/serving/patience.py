"""Connections that open and say nothing, or half of a request's head, are closed after a while.

The HTTP server waits for a head without end. `install` gives it a protocol with a clock; it has a table of protocols
by name and takes this one for ``auto``.
"""

from __future__ import annotations

import asyncio
from typing import Any

import h11
from uvicorn.config import HTTP_PROTOCOLS
from uvicorn.protocols.http.h11_impl import H11Protocol

__all__ = ["HEAD_SECONDS", "PatientProtocol", "install"]

HEAD_SECONDS = 15.0
"""Longest wait for the head of a request. [s]"""


class PatientProtocol(H11Protocol):
    """HTTP/1.1 with a bound on how long a head may take."""

    _clock: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        """Start the clock with the connection."""
        super().connection_made(transport)
        self._wind()

    def data_received(self, data: bytes) -> None:
        """Stop it when a head is whole; start it again with the first byte of the next one."""
        super().data_received(data)
        if self.transport.get_protocol() is not self or self._at_work():
            self._stop()
        elif self._clock is None and (self.conn.trailing_data[0] or self.conn.their_state is h11.SEND_BODY):
            self._wind()  # half a head, or the rest of a body that was refused

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the clock."""
        self._stop()
        super().connection_lost(exc)

    def _at_work(self) -> bool:
        """Whether a request is being answered."""
        return self.cycle is not None and not self.cycle.response_complete

    def _wind(self) -> None:
        self._clock = self.loop.call_later(HEAD_SECONDS, self._give_up)

    def _stop(self) -> None:
        if self._clock is not None:
            self._clock.cancel()
            self._clock = None

    def _give_up(self) -> None:
        self._clock = None
        waits = self.conn.their_state in (h11.IDLE, h11.SEND_BODY)
        if waits and not self._at_work() and self.transport.get_protocol() is self and not self.transport.is_closing():
            self.transport.close()


def install() -> None:
    """Let the server use `PatientProtocol`."""
    HTTP_PROTOCOLS["auto"] = f"{__name__}:{PatientProtocol.__name__}"
