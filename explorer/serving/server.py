"""The server: the pages behind the request guard, with expiry of sessions. Run by ``python -m explorer``.

Starlette, uvicorn and h11, which this folder uses, are dependencies of Streamlit and part of its server.
"""

from __future__ import annotations

import asyncio
import webbrowser
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from pathlib import Path

import streamlit as st
from starlette.middleware import Middleware

from explorer.serving import session_expiry
from explorer.serving.request_guard import RequestGuard, is_loopback

__all__ = ["app"]


def _open_browser() -> None:
    address = st.get_option("server.address")
    host = "localhost" if address is None or not is_loopback(address) else address
    path = (st.get_option("server.baseUrlPath") or "").strip("/")
    scheme = "https" if st.get_option("server.sslCertFile") else "http"
    webbrowser.open(f"{scheme}://{host}:{st.get_option('server.port')}/{path}")


@asynccontextmanager
async def _running(_: st.App) -> AsyncIterator[None]:
    watch = asyncio.create_task(session_expiry.run())
    if not st.get_option("server.headless"):
        asyncio.get_running_loop().call_later(0.5, _open_browser)
    yield None
    watch.cancel()
    with suppress(asyncio.CancelledError):
        await watch


app = st.App(Path(__file__).resolve().parents[1] / "app.py", lifespan=_running, middleware=[Middleware(RequestGuard)])
