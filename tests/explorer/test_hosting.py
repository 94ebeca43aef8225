"""What the running server lets in, and what becomes of text that somebody else wrote.

The first half asks a server started as a user starts it: same-origin only (WebSocket handshake by RFC 6455 section
10.2, cross-origin reads by the Fetch standard's CORS protocol), a token for uploads, sizes bounded, this machine only.
The second half puts markup, Markdown, formulas (OWASP, "CSV Injection") and paths into every name and looks at all
that comes out: pages, downloads, the disk.
"""

from __future__ import annotations

import csv
import http.client
import io
import json
import re
import socket
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
import streamlit as st
from page_link import first_word, open_page, session_of
from serving import served
from streamlit.testing.v1 import AppTest
from websockets.exceptions import ConnectionClosed, InvalidHandshake

import explorer
from explorer.__main__ import server_arguments
from explorer.controls.page_frame import page_file
from explorer.inputs import FIELDS, Inputs, demo_inputs
from explorer.saved.store import FolderStore
from explorer.session import shelf
from propmodel import parts

APP = Path(explorer.__file__).with_name("app.py")
STRANGER = "http://evil.example"
MEGABYTE = 2**20


# ---- the server -------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    """Port of a server started as a user starts it."""
    with served(tmp_path_factory.mktemp("server")) as running:
        yield running.port


def ask(port: int, method: str, path: str, *, body: bytes = b"", **headers: str) -> http.client.HTTPResponse:
    """One request; the answer with its body read into ``text``."""
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    try:
        link.request(method, path, body=body or None, headers={k.replace("_", "-"): v for k, v in headers.items()})
        answer = link.getresponse()
        answer.text = answer.read(200_000)  # type: ignore[attr-defined]
        return answer
    finally:
        link.close()


def test_only_this_machine_gets_in(port):
    # every address of 127.0.0.0/8 is this machine, and only the one that was bound answers
    for address in ("127.0.0.2", "127.1.2.3"):
        with socket.socket() as other:
            other.settimeout(2)
            assert other.connect_ex((address, port)) != 0
    with socket.socket(socket.AF_INET6) as other:
        other.settimeout(2)
        assert other.connect_ex(("::1", port)) != 0


def test_a_page_from_elsewhere_may_not_open_a_session(port):
    with open_page(port, origin=f"http://127.0.0.1:{port}") as link:
        assert session_of(link)
    with pytest.raises(InvalidHandshake, match="403"):
        open_page(port, origin=STRANGER)


def test_a_page_from_elsewhere_may_not_read_answers(port):
    for path in ("/_stcore/health", "/_stcore/host-config", "/"):
        allowed = ask(port, "GET", path, Origin=STRANGER).getheader("Access-Control-Allow-Origin")
        assert allowed not in ("*", STRANGER)


def test_an_upload_needs_the_token_of_its_own_page(port):
    with open_page(port) as link:
        place = f"/_stcore/upload_file/{session_of(link)}/1"
        assert ask(port, "PUT", place, body=b"x").status == 403
        assert ask(port, "PUT", place, body=b"x", X_Xsrftoken="made up", Cookie="_streamlit_xsrf=made up").status == 403
        assert ask(port, "DELETE", place).status == 403


def test_uploads_are_bounded(port):
    token = ask(port, "GET", "/_stcore/health").getheader("Set-Cookie") or ""
    found = re.search(r"_streamlit_xsrf=([^;]+)", token)
    assert found, "the server hands out no token"
    assert "samesite=lax" in token.lower()
    with open_page(port) as link:
        place = f"/_stcore/upload_file/{session_of(link)}/1"
        own = {"X_Xsrftoken": found[1], "Cookie": f"_streamlit_xsrf={found[1]}"}
        form = b'--b\r\nContent-Disposition: form-data; name="f"; filename="../../x"\r\n\r\n1\r\n--b--\r\n'
        kind = {"Content_Type": "multipart/form-data; boundary=b"}
        assert ask(port, "PUT", place, body=form, **kind, **own).status == 204
        too_much = str(settings()["server"]["maxUploadSize"] * MEGABYTE + 1)
        assert ask(port, "PUT", place, Content_Length=too_much, **kind, **own).status == 413


def test_messages_are_bounded_and_nothing_is_told_to_others(port):
    with open_page(port) as link:
        begin = first_word(link).new_session
        assert begin.config.gather_usage_stats is False
        link.send(b"\0" * (settings()["server"]["maxWidgetStateSize"] * MEGABYTE + 100_000))
        with pytest.raises(ConnectionClosed) as closed:
            for _ in range(1000):
                link.recv(timeout=30)
        assert closed.value.rcvd is not None and closed.value.rcvd.code == 1009, "message too big, RFC 6455"
    # and the server is still there
    assert ask(port, "GET", "/_stcore/health").status == 200


@pytest.mark.parametrize("path", ["/../../../etc/passwd", "/%2e%2e/%2e%2e/%2e%2e/etc/passwd", "/app/static/../app.py"])
def test_no_file_of_the_machine_is_served(port, path):
    told = ask(port, "GET", path).text
    assert b"root:" not in told and b"import streamlit" not in told


def settings() -> dict:
    """The settings file."""
    from explorer.__main__ import config_path

    return tomllib.loads(config_path().read_text(encoding="utf-8"))


def test_what_the_start_command_sets():
    arguments = server_arguments()
    for wanted in (
        "--server.address=127.0.0.1",
        "--server.enableXsrfProtection=true",
        "--server.enableCORS=true",
        "--browser.gatherUsageStats=false",
        "--client.showErrorDetails=none",
    ):
        assert wanted in arguments
    for name, most in (("maxUploadSize", 128), ("maxMessageSize", 64), ("maxWidgetStateSize", 16)):
        (size,) = [a.split("=")[1] for a in arguments if a.startswith(f"--server.{name}=")]
        assert 1 <= int(size) <= most


# ---- text of others ---------------------------------------------------------------------------------------

MARKUP = "<script>alert(1)</script><img src=x onerror=alert(2)>"
MARKDOWN = "![p](http://evil.example/x.png) [l](javascript:alert(1))"
LINK = '<a href="http://evil.example">win</a> $$x$$ :red[x]'
FORMULA = "=cmd|'/C calc'!A0"
SUM = "@SUM(A1:A9)"
CLIMB = "../../../../tmp/x"
EVIL = (MARKUP, MARKDOWN, LINK, FORMULA, SUM, CLIMB)
NAMED = tuple(f.name for f in FIELDS.values() if f.kind == "text")
PAGES = ("lift", "minutes", "margins", "dive", "choose", "plug_in", "cost", "why")
SHELVES = {"Builds": 2, "Parts": 1, "Measured": 0, "Take along": 3}
"""Parts of the page Shelf, and how many downloads each offers."""
TAGS_OF_OTHERS = {"script", "img", "iframe", "object", "embed", "form", "base", "link", "meta"}


class Markup(HTMLParser):
    """Tags, attributes and text of a piece of HTML."""

    def __init__(self, body: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: list[tuple[str, str]] = []
        self.text = ""
        self.feed(body)
        self.close()

    def handle_starttag(self, tag, attrs):
        if tag == "img" and dict(attrs).get("src", "").startswith("data:image/svg+xml;base64,"):
            return  # a drawing of ours: nothing typed is in it
        self.tags.add(tag)
        self.attributes += [(name, value or "") for name, value in attrs]

    def handle_data(self, data):
        self.text += data


def evil_build(text: str) -> Inputs:
    """A build whose every name is that text."""
    return replace(demo_inputs("scree"), **{name: text for name in NAMED})


def evil_motors(text: str) -> str:
    """A table of motors with one whose name is that text."""
    table = parts.empty("motors")
    table.loc[0, ["name", "KV [rpm/V]", "stator diameter [mm]", "stator height [mm]"]] = [text, 1950.0, 22.0, 7.0]
    return parts.to_csv(table, "motors")


def evil_records(text: str) -> dict:
    """A saved build as a stranger's file would hold it."""
    return shelf.record_of(evil_build(text), None)


def test_there_are_names_to_try():
    assert {"name", "motor_name", "propeller_name", "pack_name", "controller_name"} <= set(NAMED)
    assert all(len(text) <= 60 for text in EVIL), "longer ones are refused before they are tried"


@pytest.fixture
def downloads(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, str, bytes]]:
    """File name, kind and content of all that pages offer for download."""
    taken: list[tuple[str, str, bytes]] = []
    before = st.delta_generator.DeltaGenerator.download_button

    def note(self, label, data, file_name=None, mime=None, **more):
        whole = data() if callable(data) else data
        taken.append((str(file_name), str(mime), whole if isinstance(whole, bytes) else whole.encode()))
        return before(self, label, data, file_name, mime, **more)

    monkeypatch.setattr(st.delta_generator.DeltaGenerator, "download_button", note)
    monkeypatch.setattr(st, "download_button", st._main.download_button)
    return taken


def words_of(at: AppTest) -> Iterator[tuple[str, str]]:
    """Kind and text of everything on the screen that the browser reads as HTML or as Markdown."""
    for node in at._tree:
        proto = getattr(node, "proto", None)
        if proto is None:
            continue
        for name in ("body", "label", "help", "placeholder"):
            text = getattr(proto, name, "")
            if isinstance(text, str) and text:
                yield f"{node.type} {name}", text
        for option in getattr(proto, "options", []):
            yield f"{node.type} option", option if isinstance(option, str) else getattr(option, "content", "")


@pytest.mark.parametrize("text", EVIL, ids=["markup", "markdown", "link", "formula", "sum", "climb"])
@pytest.mark.parametrize("page", [*PAGES, *SHELVES])
def test_a_name_stays_text_on_every_page(page, text, downloads, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("HOME", str(tmp_path))
    at = AppTest.from_file(str(APP), default_timeout=60)
    at.run()
    at.session_state["inputs"] = evil_build(text)
    at.session_state["pins"] = [replace(evil_build(text), payload_g=111.0)]
    store = FolderStore(tmp_path / "kept")
    kept = store.save(text, evil_records(text))
    store.save_table("motors", evil_motors(text))
    at.session_state["store"] = store
    at.session_state["saved_build"] = (kept.key, kept.revision, kept.name)
    at.session_state["why_own"] = (evil_build(text), None)
    for key in ("more_What turns", "more_What feeds it", "more_What it carries"):
        at.session_state[key] = True
    if page in SHELVES:
        at.session_state["bench_kept"] = {"shelf": page, "parts_kind": "motors"}
        at.switch_page(page_file("shelf"))
    elif page != "lift":
        at.switch_page(page_file(page))
    at.run()
    assert not at.exception and not at.error
    seen = 0
    for kind, told in words_of(at):
        if kind.startswith("html"):
            read = Markup(told)
            seen += text in read.text
            assert not read.tags & TAGS_OF_OTHERS, told[:300]
            # an aria-label is text that a screen reader says; no other attribute may hold a stranger's words
            held = [a for a in read.attributes if a[0] != "aria-label"]
            assert not [a for a in held if a[0].startswith("on") or "evil.example" in a[1]], told[:300]
        elif not kind.endswith("placeholder") and not kind.startswith(("selectbox", "multiselect")):
            # Markdown shows HTML as text; a picture, a link or a colour of a stranger it would draw
            assert "](" not in told or ("evil" not in told and "javascript" not in told), f"{kind}: {told[:300]}"
            assert ":red[" not in told and "$$" not in told, f"{kind}: {told[:300]}"
    for chart in at.get("plotly_chart"):
        assert not re.search(r"<(script|img|a)\b", chart.proto.spec.encode().decode("unicode_escape")), page
    if page in ("lift", "minutes", "margins"):
        assert seen, "the name is shown, as what it is"
    for file_name, mime, data in downloads:
        check_download(file_name, mime, data)
    if page in SHELVES:
        assert len(downloads) == SHELVES[page]
    files = [f.relative_to(tmp_path) for f in tmp_path.rglob("*") if f.is_file()]
    assert files and all(f.parts[0] in ("kept", "data") and re.fullmatch(r"[a-z0-9._-]+", f.name) for f in files)
    assert not Path("/tmp/x").exists()


def check_download(file_name: str, mime: str, data: bytes) -> None:
    """A file of ours: a tame name, no formula in a table, no live markup in a page."""
    assert re.fullmatch(r"[a-z0-9-]+\.(csv|json|html)", file_name), file_name
    text = data.decode("utf-8")
    if mime == "text/csv":
        for row in csv.reader(io.StringIO(text)):
            for cell in row:
                assert not cell.strip()[:1] or cell.strip()[0] not in "=+-@\t\r" or number(cell), cell
    elif mime == "text/html":
        read = Markup(text)
        assert not read.tags & (TAGS_OF_OTHERS - {"meta"})
        assert not [a for a in read.attributes if a[0].startswith("on") or "evil" in a[1] or "javascript" in a[1]]
    else:
        assert mime == "application/json"
        json.loads(text)


def number(cell: str) -> bool:
    """Whether a cell is a plain number."""
    try:
        float(cell)
    except ValueError:
        return False
    return True


@pytest.mark.parametrize("text", [FORMULA, SUM, "+1", "-1+1", "\t=1", MARKUP, CLIMB])
def test_a_part_of_ones_own_goes_out_as_it_came_in_and_harmless(text):
    shown = text.strip()
    given = f'name,diameter [in],pitch [in],blades\n"{text}",5,4,3\n'
    table = parts.read_csv(given, "propellers", file=CLIMB).frame
    out = parts.to_csv(table, "propellers")
    check_download("propellers.csv", "text/csv", out.encode())
    again = parts.read_csv(out, "propellers", file="again").frame
    assert list(again["name"]) == list(table["name"])
    assert shown in str(table["name"].iloc[0]) or text == MARKUP


@pytest.mark.parametrize("text", EVIL)
def test_a_name_makes_no_path(text, tmp_path):
    store = FolderStore(tmp_path / "in" / "here")
    kept = store.save(text, evil_records(text))
    assert store.load(kept.key).record["name"] == text
    assert all(tmp_path / "in" / "here" in f.parents for f in tmp_path.rglob("*") if f.is_file())
