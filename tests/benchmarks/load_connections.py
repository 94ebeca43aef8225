"""Visitors without a browser: the page's own connection, on which they move sliders and read what is drawn.

They take so little of the machine that the server alone is loaded. What they send and check is what a browser would:
all controls with every move, and the opening sentence after it.
"""

from __future__ import annotations

import asyncio
import html
import json
import re
import time
from dataclasses import dataclass, field

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.asyncio.client import ClientConnection, connect

__all__ = ["Page"]

PATIENCE = 90.0
"""Longest wait for a finished page in the crowd. [s]"""
VALUED = {"slider": "double_array_value", "number_input": "double_value", "checkbox": "bool_value"}
"""Controls that are sent with every move, and the kind of value of each."""


def _plain(body: str) -> str:
    """Text of a piece of HTML, any kind of space as a plain one."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", "", body))).strip()


@dataclass
class Page:
    """One open page.

    Parameters
    ----------
    address : str
        Of the server, ``http://host:port``.
    query : str
        Of the link by which the visitor comes.
    """

    address: str
    query: str
    text: str = ""
    """All that the last run drew."""
    sentence: str = ""
    controls: dict[str, object] = field(default_factory=dict)
    """Values of the controls on the page by their ids."""
    pages: dict[str, str] = field(default_factory=dict)
    """Numbers of the pages by their names."""
    errors: list[str] = field(default_factory=list)
    link: ClientConnection | None = None
    here: str = ""

    async def __aenter__(self) -> Page:
        place = f"{self.address.replace('http', 'ws', 1)}/_stcore/stream"
        self.link = await connect(
            place, subprotocols=["streamlit"], max_size=None, ping_interval=None, origin=self.address
        )
        return self

    async def __aexit__(self, *_: object) -> None:
        assert self.link is not None
        await self.link.close()

    async def run(self) -> None:
        """Ask for the page with all controls as they stand, and read until it is finished."""
        ask = BackMsg()
        ask.rerun_script.query_string = self.query
        ask.rerun_script.page_script_hash = self.here
        for name, value in self.controls.items():
            state = ask.rerun_script.widget_states.widgets.add()
            state.id = name
            if isinstance(value, bool):
                state.bool_value = value
            elif isinstance(value, list):
                state.double_array_value.data.extend(value)
            elif isinstance(value, float):
                state.double_value = value
        assert self.link is not None
        await self.link.send(ask.SerializeToString())
        self.text, self.sentence, seen = "", "", set()
        async with asyncio.timeout(PATIENCE):
            while True:
                message = ForwardMsg()
                message.ParseFromString(await self.link.recv(decode=False))
                kind = message.WhichOneof("type")
                if kind == "delta":
                    self._take(message, seen)
                elif kind == "navigation":
                    self.pages = {p.page_name: p.page_script_hash for p in message.navigation.app_pages}
                    self.here = self.here or message.navigation.page_script_hash
                elif kind == "page_info_changed":
                    self.query = message.page_info_changed.query_string
                elif kind == "script_finished":
                    if message.script_finished != ForwardMsg.FINISHED_SUCCESSFULLY:
                        continue  # another run follows
                    break
        self.controls = {name: value for name, value in self.controls.items() if name in seen}

    def _take(self, message: ForwardMsg, seen: set[str]) -> None:
        element = message.delta.new_element
        kind = element.WhichOneof("type") if message.delta.WhichOneof("type") == "new_element" else ""
        if kind in ("exception", "alert"):
            self.errors.append(str(getattr(element, kind))[:300])
        elif kind == "html":
            body = _plain(element.html.body) if "<style>" not in element.html.body[:20] else ""
            self.text += f"{body}\n"
            if 'class="wi-sentence"' in element.html.body:
                self.sentence = body
        elif kind == "plotly_chart":
            self.text += f"{json.dumps(element.plotly_chart.spec)}\n"
        elif kind in VALUED:
            control = getattr(element, kind)
            seen.add(control.id)
            if control.set_value or control.id not in self.controls:
                value = control.value if control.set_value else control.default
                self.controls[control.id] = [*value] if kind == "slider" else value

    def slider(self) -> str:
        """Number of the slider "Try changing", take-off mass."""
        (found,) = [name for name in self.controls if re.search(r"-knob:[a-z_]+:take_off_g$", name)]
        return found

    @property
    def value(self) -> float:
        """Where that slider stands."""
        at = self.controls[self.slider()]
        assert isinstance(at, list)
        return float(at[0])

    async def go(self, name: str) -> None:
        """Open another page."""
        self.here = self.pages[name]
        self.controls = {}
        await self.run()

    async def move(self, by: float) -> float:
        """Move the slider; gives the seconds until the page is finished."""
        value = self.controls[self.slider()]
        assert isinstance(value, list)
        value[0] += by
        begin = time.monotonic()
        await self.run()
        return time.monotonic() - begin
