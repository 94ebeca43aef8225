"""Request guard: foreign hosts and origins are refused, requests and uploads are limited in size and time.

One layer around the whole server (ASGI 3.0). The settings it reads are those of the server itself
(``server.allowedHosts``, ``server.corsAllowedOrigins``, ``server.maxUploadSize``); it adds what they leave open:

- on a loopback address a request must name this machine, or a host that the operator named (DNS rebinding);
- a page of another origin is refused before the server looks up the machine's own public address to compare;
- what one visitor holds in uploads is bounded, and what all of them hold;
- a request whose body stops coming is answered 408;
- metrics are answered only where ``PROPULSION_WHAT_IF_METRICS`` is 1.
"""

from __future__ import annotations

import asyncio
import ipaddress
import os
import re
import time
from collections import Counter
from collections.abc import Awaitable, Callable, Iterable, Mapping, MutableMapping
from contextlib import suppress
from typing import Any
from urllib.parse import urlsplit

import streamlit as st
from streamlit import runtime

__all__ = ["METRICS_VARIABLE", "RequestGuard", "allowed_hosts", "host_of", "is_loopback", "may_come_from"]

METRICS_VARIABLE = "PROPULSION_WHAT_IF_METRICS"
LOCAL_NAMES = ("localhost", "127.0.0.1", "::1")
BODY_PAUSE = 20.0
"""Longest wait for the next piece of a request. [s]"""
BODY_SECONDS = 600.0
"""Longest time for a whole request. [s]"""
MOST_FILES = 24
"""Uploaded files that one visitor may hold."""
ALL_VISITORS_FACTOR = 8
"""All visitors together may hold this many times what one may."""

_UPLOAD = re.compile(r"/_stcore/upload_file/([^/]+)/([^/]+)$")

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]


def is_loopback(address: str | None) -> bool:
    """Whether a server address is this machine only; None, a wildcard or another name is not.

    Examples
    --------
    >>> is_loopback("127.0.0.1"), is_loopback("localhost"), is_loopback("0.0.0.0"), is_loopback(None)
    (True, True, False, False)
    """
    if address is None:
        return False
    if address.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(address.strip("[]")).is_loopback
    except ValueError:
        return False


def host_of(text: str) -> tuple[str, int | None] | None:
    """Return name and port of a ``Host`` header (RFC 9110 section 7.2), None for what is none.

    Examples
    --------
    >>> host_of("Localhost:8501"), host_of("[::1]"), host_of("what-if.example.")
    (('localhost', 8501), ('::1', None), ('what-if.example', None))
    >>> host_of("a b") is host_of("") is host_of("a@b") is None
    True
    """
    if not text or re.search(r"[\s/@?#\\,]", text):
        return None
    try:
        parts = urlsplit(f"//{text}")
        name, port = parts.hostname, parts.port
    except ValueError:
        return None
    return (name.rstrip("."), port) if name else None


def allowed_hosts(address: str | None, named: Iterable[str], origins: Iterable[str], public: str | None) -> list[str]:
    """Return the names that a request may give for this server; empty where any may be given.

    Parameters
    ----------
    address : str or None
        What the server is bound to.
    named, origins : iterable of str
        ``server.allowedHosts`` and ``server.corsAllowedOrigins``.
    public : str or None
        ``browser.serverAddress`` where the operator has set it.

    Examples
    --------
    >>> allowed_hosts("127.0.0.1", [], ["https://what-if.example"], None)
    ['localhost', '127.0.0.1', '::1', 'what-if.example']
    >>> allowed_hosts("0.0.0.0", [], [], None)
    []
    """
    if names := [name.lower() for name in named]:
        return [*LOCAL_NAMES, *names] if is_loopback(address) else names
    if not is_loopback(address):
        return []
    named_in_origins = [host_of(re.sub(r"^[a-z]+://|/$", "", origin.lower())) for origin in origins]
    names = [host[0] for host in named_in_origins if host] + ([public.lower()] if public else [])
    return [*LOCAL_NAMES, *names]


def _is_among(name: str, hosts: Iterable[str]) -> bool:
    return any(host in ("*", name) or (host.startswith("*.") and name.endswith(host[1:])) for host in hosts)


def may_come_from(origin: str, host: tuple[str, int | None], origins: Iterable[str]) -> bool:
    """Whether a page of that origin may ask: the server's own, or one that the operator named.

    The scheme is not compared, because a proxy may speak TLS with the visitor. Nor is the port where ``host`` has none.

    Examples
    --------
    >>> may_come_from("https://what-if.example", ("what-if.example", None), [])
    True
    >>> may_come_from("http://localhost:3000", ("localhost", 8501), [])
    False
    >>> may_come_from("null", ("localhost", 8501), []) or may_come_from("http://[::1", ("::1", 80), [])
    False
    """
    if origin.rstrip("/").lower() in {named.rstrip("/").lower() for named in origins}:
        return True
    try:
        parts = urlsplit(origin)
    except ValueError:  # brackets that are no address
        return False
    given = host_of(parts.netloc)
    if parts.scheme not in ("http", "https") or given is None or given[0] != host[0]:
        return False
    usual = {"http": 80, "https": 443}[parts.scheme]
    return host[1] is None or (given[1] or usual) == host[1]


def _headers(scope: Scope) -> dict[str, str]:
    return {key.decode("latin-1").lower(): value.decode("latin-1") for key, value in scope.get("headers", [])}


class _TooSlow(Exception):
    """The body of a request stopped coming."""


class _TooMuch(Exception):
    """The visitor sends more than may be held."""


class RequestGuard:
    """The layer around the server.

    Parameters
    ----------
    app : ASGI application
        What is behind it.
    body_pause, body_seconds : float
        Longest wait for the next piece of a body, and for all of it. [s]
    """

    def __init__(self, app: Any, *, body_pause: float = BODY_PAUSE, body_seconds: float = BODY_SECONDS) -> None:
        self.app = app
        self.body_pause, self.body_seconds = body_pause, body_seconds
        self._coming: Counter[str] = Counter()
        self._hosts: list[str] | None = None

    @property
    def hosts(self) -> list[str]:
        """Names that a request may give; read once, when the first request comes."""
        if self._hosts is None:
            address, public = st.get_option("server.address"), st.get_option("browser.serverAddress")
            named, origins = (
                st.get_option("server.allowedHosts") or [],
                st.get_option("server.corsAllowedOrigins") or [],
            )
            self._hosts = allowed_hosts(address, named, origins, public)
        return self._hosts

    def refusal(self, headers: Mapping[str, str], path: str) -> tuple[int, str] | None:
        """Return status and reason, or None for whoever may come in."""
        host = host_of(headers.get("host", ""))
        if host is None or (self.hosts and not _is_among(host[0], self.hosts)):
            return 400, "This server does not answer to that host name."
        origin = headers.get("origin")
        if origin is not None and st.get_option("server.enableCORS"):
            origins = [*(st.get_option("server.corsAllowedOrigins") or [])]
            if not may_come_from(origin, host, origins):
                return 403, "Pages of other sites may not ask this server."
        if path.rstrip("/").endswith("/_stcore/metrics") and os.environ.get(METRICS_VARIABLE) != "1":
            return 404, "Not found."
        return None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request in, or answer it here."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = _headers(scope)
        refused = self.refusal(headers, scope.get("path", ""))
        if scope["type"] == "websocket":
            if refused is None:
                await self.app(scope, _bytes_only(receive, send), send)
            else:
                await receive()  # websocket.connect; closing before it is accepted is answered with 403
                await send({"type": "websocket.close", "code": 1008, "reason": refused[1]})
            return
        if refused is not None:
            await _answer(send, *refused)
            return
        await self._http(scope, headers, receive, send)

    async def _http(self, scope: Scope, headers: Mapping[str, str], receive: Receive, send: Send) -> None:
        upload = _UPLOAD.search(scope.get("path", "")) if scope.get("method") == "PUT" else None
        visitor, file = upload.groups() if upload else ("", "")
        begun, until = False, time.monotonic() + self.body_seconds
        whole, counted = False, 0

        async def bounded() -> Message:
            nonlocal whole, counted
            if whole:
                return await receive()
            wait = min(self.body_pause, until - time.monotonic())
            try:
                message = await asyncio.wait_for(receive(), max(wait, 0.0))
            except TimeoutError:
                raise _TooSlow from None
            whole = message["type"] != "http.request" or not message.get("more_body", False)
            if upload:
                more = len(message.get("body", b""))
                counted += more
                self._coming[visitor] += more
                if not self._room(visitor, file):
                    raise _TooMuch
            return message

        async def answered(message: Message) -> None:
            nonlocal begun
            begun = begun or message["type"] == "http.response.start"
            await send(message)

        try:
            announced = int(headers.get("content-length") or 0) if upload else 0
        except ValueError:
            announced = 0
        try:
            if upload and not self._room(visitor, file, announced):
                raise _TooMuch
            await self.app(scope, bounded, answered)
        except _TooSlow:
            if not begun:
                await _answer(send, 408, "The request stopped half way.")
        except _TooMuch:
            if not begun:
                await _answer(send, 413, "Too much is uploaded: take other files away first.")
        finally:
            self._coming[visitor] -= counted
            if self._coming[visitor] <= 0:
                del self._coming[visitor]

    def _room(self, visitor: str, file: str, more: int = 0) -> bool:
        """Whether a visitor may send ``more`` bytes beside what is held and what is coming now."""
        most = int(st.get_option("server.maxUploadSize")) * 2**20 + 2**20  # and the frame of one form
        held = _held()
        mine = {name: size for name, size in held.get(visitor, {}).items() if name != file}
        coming = self._coming[visitor] + more
        everybody = sum(sum(files.values()) for files in held.values()) + sum(self._coming.values()) + more
        return (
            len(mine) < MOST_FILES and sum(mine.values()) + coming <= most and everybody <= ALL_VISITORS_FACTOR * most
        )


def _bytes_only(receive: Receive, send: Send) -> Receive:
    """Close a WebSocket on which text comes: the page sends bytes alone (code 1003, RFC 6455 section 7.4.1)."""

    async def taken() -> Message:
        message = await receive()
        if message["type"] == "websocket.receive" and message.get("bytes") is None:
            with suppress(Exception):  # it may be closed already
                await send({"type": "websocket.close", "code": 1003})
            return {"type": "websocket.disconnect", "code": 1003}
        return message

    return taken


def _held() -> dict[str, dict[str, int]]:
    """Sizes of uploaded files by visitor and file. [byte]"""
    if not runtime.exists():
        return {}
    storage = getattr(runtime.get_instance().uploaded_file_mgr, "file_storage", {})
    return {
        visitor: {name: len(file.data) for name, file in list(files.items())} for visitor, files in [*storage.items()]
    }


async def _answer(send: Send, status: int, text: str) -> None:
    """Answer in words. Whoever still sends may finish, so that the answer is read; only a stalled one is cut off."""
    body = f"{text}\n".encode()
    headers = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
        *([(b"connection", b"close")] if status == 408 else []),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
