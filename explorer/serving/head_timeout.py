"""Limits for the head of a request: a connection without a complete head is closed after a time.

The HTTP server has no time limit for a head, and its WebSocket implementation does not respond to a head with long
lines. `install` replaces its protocol by one with limits: the server looks up protocols by name, and this one is
registered as ``auto``.
"""

from __future__ import annotations

import asyncio
from typing import Any

import h11
from uvicorn.config import HTTP_PROTOCOLS
from uvicorn.protocols.http.h11_impl import H11Protocol

__all__ = ["HEAD_SECONDS", "HeadTimeoutProtocol", "install"]

HEAD_SECONDS = 15.0
"""Longest wait for the head of a request. [s]"""


LONGEST_LINE = 8000
MOST_LINES = 120
"""Limits of a head that opens a WebSocket, slightly below those of the WebSocket implementation. [byte, -]"""


class HeadTimeoutProtocol(H11Protocol):
    """HTTP/1.1 with limits for the head of a request."""

    _timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        """Start the timer when a connection opens."""
        super().connection_made(transport)
        self._start_timer()

    def data_received(self, data: bytes) -> None:
        """Stop the timer when a head is complete; restart it at the first byte of the next head."""
        super().data_received(data)
        if self.transport.get_protocol() is not self or self._at_work():
            self._stop()
        elif self._timer is None and (self.conn.trailing_data[0] or self.conn.their_state is h11.SEND_BODY):
            self._start_timer()  # an incomplete head, or the rest of a refused body

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop the timer."""
        self._stop()
        super().connection_lost(exc)

    def handle_websocket_upgrade(self, event: h11.Request) -> None:
        """Pass a head within the limits to the WebSocket protocol; refuse others."""
        lines = [len(event.target), *(len(name) + len(value) for name, value in self.headers)]
        if max(lines) > LONGEST_LINE or len(lines) > MOST_LINES:
            self.send_400_response("The head of the request is too long.")
            return
        super().handle_websocket_upgrade(event)
        if not getattr(self.transport.get_protocol(), "handshake_initiated", True):
            self.transport.close()  # the protocol found no request in the head and would wait for one

    def send_400_response(self, msg: str) -> None:
        """Respond to invalid HTTP with status 400. A request in progress ends, and its response is discarded."""
        if self._at_work():
            self.cycle.disconnected = True
            self.cycle.message_event.set()
        super().send_400_response(msg)

    def _at_work(self) -> bool:
        """Return True while a request is being processed."""
        return self.cycle is not None and not self.cycle.response_complete

    def _start_timer(self) -> None:
        self._timer = self.loop.call_later(HEAD_SECONDS, self._give_up)

    def _stop(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _give_up(self) -> None:
        self._timer = None
        waits = self.conn.their_state in (h11.IDLE, h11.SEND_BODY)
        if waits and not self._at_work() and self.transport.get_protocol() is self and not self.transport.is_closing():
            self.transport.close()


def install() -> None:
    """Register `HeadTimeoutProtocol` with the server."""
    HTTP_PROTOCOLS["auto"] = f"{__name__}:{HeadTimeoutProtocol.__name__}"
