"""Requests and frames that no browser sends, at a running server: a status or a closed line, never a traceback.

Requests: RFC 9112 and 9110; WebSocket frames: RFC 6455 sections 5 and 7. After each the server still answers, and its
log holds no error.
"""

from __future__ import annotations

import base64
import os
import re
import socket
import struct
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path

import pytest
from page_link import open_page, session_of
from serving import Served, served

QUICK = """
from explorer.serving import head_timeout, request_guard
head_timeout.HEAD_SECONDS = 2.0
request_guard.RequestGuard.__init__.__kwdefaults__.update(body_pause=1.0, body_seconds=4.0)
from explorer.__main__ import main
main()
"""


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A server whose patience is cut short; its log must stay free of errors."""
    folder = tmp_path_factory.mktemp("server")
    with served(folder, [sys.executable, "-c", QUICK, "--server.headless", "true"]) as running:
        yield running
        assert running.process.poll() is None
    log = (folder / "server.log").read_text("utf-8", "replace")
    # what the framework writes down of frames that it cannot read, with their traceback, and passes over or closes
    known = r"(Error deserializing back message|Invalid UTF-8 sequence received from client\.)\nTraceback.*\n"
    ours = re.sub(known + r"(?:\s.*\n)*\S*(DecodeError|UnicodeDecodeError).*\n", "", log)
    assert "Traceback" not in ours and " ERROR " not in ours, ours[-3000:]


def raw(port: int, data: bytes, *, wait: float = 15.0) -> bytes:
    """What the server says to some bytes until it closes or has given one answer."""
    with socket.create_connection(("127.0.0.1", port), timeout=wait) as line:
        with suppress(OSError):
            line.sendall(data)
        said = b""
        with suppress(OSError):
            while piece := line.recv(65536):
                said += piece
                if b"\r\n\r\n" in said and _whole(said):
                    break
        return said


def _whole(said: bytes) -> bool:
    head, _, body = said.partition(b"\r\n\r\n")
    length = re.search(rb"(?i)content-length: *(\d+)", head)
    return head.startswith(b"HTTP/1.1 101") or (length is not None and len(body) >= int(length[1])) or b" 204 " in head


def healthy(port: int) -> bool:
    return raw(port, b"GET /_stcore/health HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n").endswith(b"ok")


def head(line: str, *more: str, host: str = "localhost") -> bytes:
    return "\r\n".join([line, f"Host: {host}", *more, "", ""]).encode("latin-1")


# What is sent, and what the answer may begin with: the status, or nothing (the line was closed).
REQUESTS: dict[str, tuple[bytes, tuple[bytes, ...]]] = {
    "GET": (head("GET / HTTP/1.1"), (b"200",)),
    "HEAD": (head("HEAD / HTTP/1.1", "Connection: close"), (b"200", b"405")),
    "POST": (head("POST / HTTP/1.1", "Content-Length: 0"), (b"403", b"405")),
    "PUT": (head("PUT / HTTP/1.1", "Content-Length: 0"), (b"403", b"405")),
    "DELETE": (head("DELETE / HTTP/1.1"), (b"403", b"405")),
    "OPTIONS": (head("OPTIONS / HTTP/1.1"), (b"200", b"204", b"400", b"405")),
    "OPTIONS of everything": (head("OPTIONS * HTTP/1.1"), (b"200", b"204", b"400", b"404", b"405")),
    "TRACE": (head("TRACE / HTTP/1.1"), (b"405",)),
    "CONNECT": (head("CONNECT localhost:22 HTTP/1.1"), (b"400", b"404", b"405")),
    "PATCH": (head("PATCH /_stcore/upload_file/a/b HTTP/1.1", "Content-Length: 0"), (b"403", b"404", b"405")),
    "PROPFIND": (head("PROPFIND / HTTP/1.1"), (b"405",)),
    "a method of 5,000 letters": (head("A" * 5000 + " / HTTP/1.1"), (b"400", b"405")),
    "a method of signs": (head("<b> / HTTP/1.1"), (b"400",)),
    "no method": (head("/ HTTP/1.1"), (b"400",)),
    "no version": (head("GET /"), (b"400",)),
    "HTTP/0.9": (b"GET /\r\n", (b"400", b"")),
    "HTTP/1.0": (head("GET /_stcore/health HTTP/1.0"), (b"200",)),
    "HTTP/2": (b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", (b"400", b"505", b"")),
    "HTTP/9.9": (head("GET / HTTP/9.9"), (b"200", b"400", b"505")),
    "a handshake of TLS": (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(500), (b"400", b"")),
    "bytes": (bytes(range(256)) * 20, (b"400", b"")),
    "blank lines": (b"\r\n" * 1000, (b"400", b"")),
    "line ends of old": (b"GET / HTTP/1.1\nHost: localhost\n\n", (b"200", b"400")),
    "NUL in the path": (head("GET /\x00 HTTP/1.1"), (b"400",)),
    "NUL escaped in the path": (head("GET /%00 HTTP/1.1"), (b"200", b"400", b"404")),
    "bytes in the path": (head("GET /\xff\xfe HTTP/1.1"), (b"400", b"404")),
    "half an escape": (head("GET /%f HTTP/1.1"), (b"200", b"400", b"404")),
    "a path of 60,000 letters": (head(f"GET /{'a' * 60_000} HTTP/1.1"), (b"200", b"400", b"404", b"414", b"431")),
    "a link of 60,000 letters": (head(f"GET /?{'a=1&' * 15_000} HTTP/1.1"), (b"200", b"400", b"414")),
    "up and up": (head("GET /../../../../etc/passwd HTTP/1.1"), (b"200", b"400", b"403", b"404")),
    "up escaped": (head("GET /%2e%2e/%2e%2e/%2e%2e/etc/passwd HTTP/1.1"), (b"200", b"400", b"403", b"404")),
    "up escaped twice": (head("GET /%252e%252e/%252e%252e/etc/passwd HTTP/1.1"), (b"200", b"400", b"403", b"404")),
    "up with backslashes": (head("GET /..\\..\\..\\etc\\passwd HTTP/1.1"), (b"200", b"400", b"403", b"404")),
    "up from the scripts": (head("GET /static/../../../app.py HTTP/1.1"), (b"200", b"400", b"403", b"404")),
    "up from the media": (head("GET /media/../../../etc/passwd HTTP/1.1"), (b"200", b"400", b"403", b"404")),
    "up from components": (
        head("GET /_stcore/bidi-components/../../../etc/passwd HTTP/1.1"), (b"200", b"400", b"403", b"404"),
    ),
    "two slashes": (head("GET //evil.example/x HTTP/1.1"), (b"200", b"400", b"403", b"404")),
    "a whole address": (head("GET http://localhost/_stcore/health HTTP/1.1"), (b"200", b"400", b"404")),
    "a whole foreign address": (head("GET http://evil.example/ HTTP/1.1", host="evil.example"), (b"400",)),
    "a file address": (head("GET file:///etc/passwd HTTP/1.1"), (b"400", b"404")),
    "no host": (b"GET / HTTP/1.1\r\n\r\n", (b"400",)),
    "empty host": (head("GET / HTTP/1.1", host=""), (b"400",)),
    "two hosts": (head("GET / HTTP/1.1", "Host: evil.example"), (b"400",)),
    "two hosts, the foreign one first": (head("GET / HTTP/1.1", "Host: localhost", host="evil.example"), (b"400",)),
    "host with a path": (head("GET / HTTP/1.1", host="localhost/evil"), (b"400",)),
    "host with a name and a sign": (head("GET / HTTP/1.1", host="localhost@evil.example"), (b"400",)),
    "host with port 99999": (head("GET / HTTP/1.1", host="localhost:99999"), (b"400",)),
    "host of bytes": (head("GET / HTTP/1.1", host="\xff\xfe"), (b"400",)),
    "host of 10,000 letters": (head("GET / HTTP/1.1", host="a" * 10_000), (b"400",)),
    "forwarded for a foreign name": (
        head("GET / HTTP/1.1", "X-Forwarded-Host: localhost", host="evil.example"), (b"400",),
    ),
    "foreign origin": (head("GET / HTTP/1.1", "Origin: http://evil.example"), (b"403",)),
    "origin null": (head("GET / HTTP/1.1", "Origin: null"), (b"403",)),
    "empty origin": (head("GET / HTTP/1.1", "Origin: "), (b"403",)),
    "origin of bytes": (head("GET / HTTP/1.1", "Origin: \xff://\xfe"), (b"403",)),
    "origin with a broken address": (head("GET / HTTP/1.1", "Origin: http://[::1"), (b"403",)),
    "origin of a file": (head("GET / HTTP/1.1", "Origin: file://"), (b"403",)),
    "origin of 10,000 letters": (head("GET / HTTP/1.1", "Origin: http://" + "a" * 10_000), (b"403",)),
    "2,000 headers": (head("GET / HTTP/1.1", *(f"X-{k}: 1" for k in range(2000))), (b"200", b"400", b"431")),
    "a header of 200,000 letters": (head("GET / HTTP/1.1", "X-A: " + "a" * 200_000), (b"400", b"431", b"")),
    "a header without a colon": (head("GET / HTTP/1.1", "nonsense"), (b"400",)),
    "a header of bytes": (head("GET / HTTP/1.1", "X-\xff: 1"), (b"400",)),
    "a folded header": (head("GET / HTTP/1.1", "X-A: 1", " 2"), (b"200", b"400")),
    "a NUL in a header": (head("GET / HTTP/1.1", "X-A: 1\x00"), (b"400",)),
    "a length of text": (head("POST / HTTP/1.1", "Content-Length: many"), (b"400",)),
    "a negative length": (head("POST / HTTP/1.1", "Content-Length: -1"), (b"400",)),
    "a length of 400 digits": (head("POST / HTTP/1.1", f"Content-Length: {'9' * 400}"), (b"400", b"403", b"405")),
    "two lengths": (head("POST / HTTP/1.1", "Content-Length: 1", "Content-Length: 2") + b"ab", (b"400",)),
    "length and pieces": (
        head("POST / HTTP/1.1", "Content-Length: 5", "Transfer-Encoding: chunked") + b"0\r\n\r\n",
        (b"400", b"403", b"405"),
    ),
    "pieces that are none": (
        head("POST / HTTP/1.1", "Transfer-Encoding: chunked") + b"zz\r\n", (b"400", b"403", b"405"),
    ),
    "an unknown coding": (head("POST / HTTP/1.1", "Transfer-Encoding: gzip"), (b"400", b"403", b"405", b"501")),
    "an upload unasked": (
        head("PUT /_stcore/upload_file/nobody/x HTTP/1.1", "Content-Length: 1") + b"x", (b"400", b"403", b"404"),
    ),
    "an upload with a length of text": (
        head("PUT /_stcore/upload_file/nobody/x HTTP/1.1", "Content-Length: x"), (b"400",),
    ),
    "an upload of 2**60 bytes": (
        head("PUT /_stcore/upload_file/nobody/x HTTP/1.1", f"Content-Length: {2**60}"), (b"403", b"413"),
    ),
    "an upload up and up": (
        head("PUT /_stcore/upload_file/../../x HTTP/1.1", "Content-Length: 1") + b"x",
        (b"400", b"403", b"404", b"405"),
    ),
    "metrics": (head("GET /_stcore/metrics HTTP/1.1"), (b"404",)),
    "metrics in another way": (head("GET /%5fstcore/metrics HTTP/1.1"), (b"200", b"404")),
    "a media file that is none": (head("GET /media/nosuch.png HTTP/1.1"), (b"404",)),
    "a component that is none": (head("GET /_stcore/bidi-components/no/such.js HTTP/1.1"), (b"404",)),
    "a range beyond the end": (head("GET / HTTP/1.1", "Range: bytes=999999999-"), (b"200", b"206", b"416")),
    "a hundred ranges": (head("GET / HTTP/1.1", "Range: bytes=" + "0-1," * 100 + "0-1"), (b"200", b"206", b"416")),
    "a cookie of 15,000 letters": (head("GET / HTTP/1.1", "Cookie: " + "a" * 15_000), (b"200", b"400", b"431")),
    "a cookie of bytes": (head("GET / HTTP/1.1", "Cookie: _streamlit_xsrf=\xff\xfe;;;==="), (b"200",)),
    "a socket without an upgrade": (head("GET /_stcore/stream HTTP/1.1"), (b"200", b"400", b"404", b"426")),
    "a second request behind": (
        head("GET /_stcore/health HTTP/1.1") + head("GET /_stcore/metrics HTTP/1.1", host="evil.example"), (b"200",),
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", REQUESTS)
def test_an_odd_request_gets_a_status_or_a_closed_line(server, kind):
    sent, statuses = REQUESTS[kind]
    said = raw(server.port, sent)
    status = said.split(b" ", 2)[1] if said.startswith(b"HTTP/1.1 ") else b""
    assert status in statuses, said[:300]
    assert b"Traceback" not in said and b"root:" not in said and b"import streamlit" not in said
    if kind.startswith("metrics"):
        assert b"# TYPE" not in said
    assert said.count(b"HTTP/1.1 200") < 2 or kind == "a second request behind"


# ---- frames -------------------------------------------------------------------------------------------------


def upgrade(*more: str, origin: str | None = None, key: str = "dGhlIHNhbXBsZSBub25jZQ==") -> bytes:
    given = [f"Sec-WebSocket-Key: {key}", *more]
    return head(
        "GET /_stcore/stream HTTP/1.1", "Connection: Upgrade", "Upgrade: websocket",
        *([] if any("Version" in one for one in more) else ["Sec-WebSocket-Version: 13"]),
        *([] if origin is None else [f"Origin: {origin}"]), *given,
    )  # fmt: skip


def frame(code: int, body: bytes = b"", *, final: bool = True, masked: bool = True, length: int | None = None) -> bytes:
    """One frame of RFC 6455 section 5.2, right or wrong."""
    size = len(body) if length is None else length
    first = bytes([(0x80 if final else 0) | code])
    bit = 0x80 if masked else 0
    if size < 126:
        second = bytes([bit | size])
    elif size < 65536:
        second = bytes([bit | 126]) + struct.pack(">H", size)
    else:
        second = bytes([bit | 127]) + struct.pack(">Q", size)
    mask = b"\x01\x02\x03\x04"
    hidden = bytes(b ^ mask[k % 4] for k, b in enumerate(body)) if masked else body
    return first + second + (mask if masked else b"") + hidden


FRAMES: dict[str, bytes] = {
    "text": frame(1, b"hello"),
    "text that is none": frame(1, b"\xff\xfe"),
    "no bytes": frame(2),
    "bytes that are no message": frame(2, b"\xff" * 100),
    "a message cut short": frame(2, b"\x5a\xff\xff\xff\x7f\x0a"),
    "a message of an unknown kind": frame(2, b"\xfa\x3f\x02\x08\x01"),
    "a message of 64 kB of zeros": frame(2, bytes(65_536)),
    "no mask": frame(2, b"abc", masked=False),
    "an unknown kind of frame": frame(3, b"abc"),
    "reserved bits": b"\xf2\x83\x01\x02\x03\x04abc",
    "a length of 2**63": frame(2, length=2**63 - 1),
    "a length with its first bit set": b"\x82\xff" + b"\xff" * 8 + b"\x01\x02\x03\x04",
    "a piece of nothing begun": frame(0, b"abc"),
    "two beginnings": frame(2, b"a", final=False) + frame(2, b"b"),
    "a thousand empty pieces": frame(2, b"", final=False) + frame(0, b"", final=False) * 1000 + frame(0),
    "a ping of 200 bytes": frame(9, b"a" * 200),
    "a ping in pieces": frame(9, b"a", final=False),
    "a thousand pings": frame(9, b"a") * 1000,
    "a pong unasked": frame(10, b"a") * 100,
    "a close without a code": frame(8),
    "a close of one byte": frame(8, b"\x03"),
    "a close of a code that is none": frame(8, struct.pack(">H", 999)),
    "a close with bytes that are no text": frame(8, struct.pack(">H", 1000) + b"\xff"),
    "more after a close": frame(8, struct.pack(">H", 1000)) + frame(2, b"abc"),
    "half a frame": frame(2, b"a" * 1000)[:20],
    "a request in place of a frame": head("GET / HTTP/1.1"),
}  # fmt: skip


@pytest.mark.parametrize("kind", FRAMES)
def test_an_odd_frame_closes_the_line_or_is_passed_over(server, kind):
    with socket.create_connection(("127.0.0.1", server.port), timeout=15) as line:
        line.sendall(upgrade("Sec-WebSocket-Protocol: streamlit"))
        assert line.recv(4000).startswith(b"HTTP/1.1 101")
        with suppress(OSError):
            line.sendall(FRAMES[kind])
            line.settimeout(0.3)
            while line.recv(65536):
                pass
    assert healthy(server.port)


def test_text_closes_the_line_with_its_code(server):
    with socket.create_connection(("127.0.0.1", server.port), timeout=15) as line:
        line.sendall(upgrade("Sec-WebSocket-Protocol: streamlit"))
        line.recv(4000)
        line.sendall(frame(1, b"hello"))
        said = b""
        while piece := line.recv(65536):
            said += piece
            if struct.pack(">H", 1003) in said:
                break
    assert said.endswith(b"\x88\x02" + struct.pack(">H", 1003)), said[-50:]


HANDSHAKES = {
    "no key": head("GET /_stcore/stream HTTP/1.1", "Connection: Upgrade", "Upgrade: websocket",
                   "Sec-WebSocket-Version: 13"),
    "a short key": upgrade(key="YWJj"),
    "a key that is none": upgrade(key="###"),
    "version 8": upgrade("Sec-WebSocket-Version: 8"),
    "version of text": upgrade("Sec-WebSocket-Version: x"),
    "an unknown protocol": upgrade("Sec-WebSocket-Protocol: evil"),
    "3,000 protocols": upgrade("Sec-WebSocket-Protocol: " + ", ".join(f"p{k}" for k in range(3000))),
    "a cookie of 9,000 letters": upgrade("Cookie: " + "a" * 9000),
    "200 headers": upgrade(*(f"X-{k}: 1" for k in range(200))),
    "a link of 9,000 letters": upgrade().replace(b"stream ", b"stream?" + b"a" * 9000 + b" "),
    "another's session": upgrade("Sec-WebSocket-Protocol: streamlit, x, ../../../etc/passwd"),
    "a session of markup": upgrade("Sec-WebSocket-Protocol: streamlit, x, <b>"),
    "a session of 5,000 letters": upgrade("Sec-WebSocket-Protocol: streamlit, x, " + "a" * 5000),
    "an extension that is none": upgrade("Sec-WebSocket-Extensions: permessage-deflate; nonsense=\"x"),
    "a foreign origin": upgrade(origin="http://evil.example"),
    "a broken origin": upgrade(origin="http://[::1"),
}  # fmt: skip


@pytest.mark.parametrize("kind", HANDSHAKES)
def test_an_odd_handshake_is_answered(server, kind):
    said = raw(server.port, HANDSHAKES[kind])
    assert said.startswith(b"HTTP/1.1 ") and b"Traceback" not in said
    status = said.split(b" ", 2)[1]
    assert status == b"403" if "origin" in kind else status in (b"101", b"400", b"403", b"404", b"426"), said[:200]
    assert healthy(server.port)


def test_a_hundred_lines_at_once_that_say_nothing_or_go_at_once(server):
    lines = [socket.create_connection(("127.0.0.1", server.port), timeout=15) for _ in range(100)]
    for line in lines[::3]:
        line.sendall(b"GET / HTTP/1.1\r\nHo")
    for line in lines[::2]:
        line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        line.close()  # with a reset
    assert healthy(server.port)
    for line in lines[1::2]:
        line.close()


def test_a_hundred_pages_asked_for_and_left_at_once(server):
    def come_and_go(k: int) -> bytes:
        with socket.create_connection(("127.0.0.1", server.port), timeout=30) as line:
            line.sendall(upgrade("Sec-WebSocket-Protocol: streamlit"))
            said = line.recv(4000)
            line.sendall(frame(2, b"\x5a\x00") if k % 2 else b"")
            return said[:12]

    with ThreadPoolExecutor(16) as many:
        assert set(many.map(come_and_go, range(100))) == {b"HTTP/1.1 101"}
    assert healthy(server.port)
    with open_page(server.port) as link:
        assert session_of(link), "and a visitor gets in"


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="open files are counted on Linux")
def test_lines_that_were_closed_leave_nothing(server):
    def open_files() -> int:
        return len(os.listdir(f"/proc/{server.process.pid}/fd"))

    assert healthy(server.port)
    before = open_files()
    for _ in range(30):
        with socket.create_connection(("127.0.0.1", server.port), timeout=15) as line:
            line.sendall(base64.b64encode(os.urandom(60)) + b"\r\n\r\n")
            with suppress(OSError):
                line.recv(4000)
    assert healthy(server.port)
    assert open_files() <= before + 2
