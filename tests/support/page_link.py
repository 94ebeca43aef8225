"""The one connection on which a page of the server lives, opened without a browser."""

from __future__ import annotations

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.sync.client import ClientConnection, connect


def open_page(port: int, **more: object) -> ClientConnection:
    """A WebSocket as the browser opens it."""
    return connect(
        f"ws://127.0.0.1:{port}/_stcore/stream", subprotocols=["streamlit"], max_size=None, ping_interval=None, **more
    )


def first_word(link: ClientConnection) -> ForwardMsg:
    """Ask for the page and read on to the message that begins a session."""
    ask_page = BackMsg()
    ask_page.rerun_script.query_string = ""
    link.send(ask_page.SerializeToString())
    while True:
        message = ForwardMsg()
        message.ParseFromString(link.recv(timeout=30))
        if message.WhichOneof("type") == "new_session":
            return message


def session_of(link: ClientConnection) -> str:
    """Ask for the page; the number of the session."""
    return first_word(link).new_session.initialize.session_id
