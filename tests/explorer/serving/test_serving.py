"""The request guard, the expiry of sessions, the time limit for half a request: asked of a running server.

Host and Origin: RFC 9110 section 7.2, RFC 6454; the attack is DNS rebinding. Half-open requests: the attack is known
as "slow loris" (common practice).
"""

from __future__ import annotations

import http.client
import os
import re
import socket
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from pathlib import Path

import pytest
from page_link import open_page, session_of
from serving import Served, served
from websockets.exceptions import InvalidHandshake
from websockets.sync.client import connect

from explorer.serving.request_guard import allowed_hosts, host_of, may_come_from

MEGABYTE = 2**20
QUICK = """
import os
from explorer.serving import session_expiry, request_guard, head_timeout
head_timeout.HEAD_SECONDS = 2.0
request_guard.RequestGuard.__init__.__kwdefaults__.update(body_pause=2.0, body_seconds=8.0)
session_expiry.run.__defaults__ = (0.5,)
from explorer.__main__ import main
main()
"""
"""The start command with its patience cut short."""
FEW = ["--server.maxUploadSize", "4", "--server.disconnectedSessionTTL", "4", "--server.headless", "true"]


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A server with short times and small sizes."""
    with served(tmp_path_factory.mktemp("server"), [sys.executable, "-c", QUICK, *FEW]) as running:
        yield running


def ask(port: int, path: str, *, method: str = "GET", body: bytes = b"", **headers: str) -> tuple[int, str]:
    """Status and body of an answer."""
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    try:
        link.request(method, path, body=body or None, headers={k.replace("_", "-"): v for k, v in headers.items()})
        answer = link.getresponse()
        return answer.status, "" if answer.status == 101 else answer.read(4000).decode("utf-8", "replace")
    finally:
        link.close()


# ---- names ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["/", "/_stcore/health", "/_stcore/host-config", "/_stcore/metrics", "/media/x"])
@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "localhost.evil.example:80", "10.0.0.1", ""]
)
def test_a_foreign_host_is_refused(server, path, host):
    assert ask(server.port, path, Host=host)[0] == 400


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:{port}", "127.0.0.1:{port}", "[::1]:{port}", "localhost."])
def test_names_of_this_machine_are_let_in(server, host):
    assert ask(server.port, "/_stcore/health", Host=host.format(port=server.port)) == (200, "ok")


def test_a_foreign_page_opens_no_session(server):
    here = f"http://127.0.0.1:{server.port}"
    with open_page(server.port, origin=here) as link:
        assert session_of(link)
    for origin in ("http://evil.example", f"http://evil.example:{server.port}", "http://localhost:1", "null"):
        with pytest.raises(InvalidHandshake, match="403"):
            open_page(server.port, origin=origin)
        assert ask(server.port, "/_stcore/health", Origin=origin)[0] == 403
    # a name that was made to point at this machine: host and origin agree, and both are foreign
    upgrade = {"Connection": "Upgrade", "Upgrade": "websocket", "Sec_WebSocket_Version": "13"}
    key = {"Sec_WebSocket_Key": "dGhlIHNhbXBsZSBub25jZQ=="}
    for host, status in (("evil.example", 403), (f"127.0.0.1:{server.port}", 101)):
        got = ask(server.port, "/_stcore/stream", Host=host, Origin=f"http://{host}", **upgrade, **key)
        assert got[0] == status


def test_names_that_the_operator_gives_are_let_in():
    assert allowed_hosts("127.0.0.1", ["what-if.example"], [], None)[-1] == "what-if.example"
    assert allowed_hosts("192.0.2.7", ["what-if.example"], [], None) == ["what-if.example"]
    assert "what-if.example" in allowed_hosts("localhost", [], [], "What-if.example")
    assert allowed_hosts("0.0.0.0", [], [], None) == allowed_hosts(None, [], [], None) == []
    assert may_come_from("https://other.example", ("what-if.example", None), ["https://other.example/"])
    assert not may_come_from("https://other.example", ("what-if.example", None), ["https://another.example"])


@pytest.mark.parametrize(
    "text", ["", " ", "a b", "a/b", "a@b", "a:b", "a:99999", "[::1", "http://a", "a,b", "\x00", "a?b", "a#b", "[x]:1"]
)
def test_what_is_no_host(text):
    found = host_of(text)
    assert found is None or found[0] not in ("localhost", "127.0.0.1", "::1")


@pytest.mark.skipif(sys.platform == "win32", reason="needs a wrapped socket module only there")
def test_no_external_address_is_looked_up(tmp_path):
    """Neither at the start nor when a foreign page asks: every name and connection outside is written down."""
    spy = tmp_path / "spy"
    spy.mkdir()
    (spy / "sitecustomize.py").write_text(
        "import os, socket\n"
        "real = socket.socket.connect\n"
        "def connect(self, address):\n"
        "    if self.family in (socket.AF_INET, socket.AF_INET6) and not str(address[0]).startswith(('127.', '::1')):\n"
        "        open(os.environ['SPY'], 'a', encoding='utf-8').write(f'{address}\\n')\n"
        "    return real(self, address)\n"
        "socket.socket.connect = connect\n"
        "look = socket.getaddrinfo\n"
        "def getaddrinfo(host, *more, **named):\n"
        "    if host not in (None, 'localhost', '127.0.0.1'):\n"
        "        open(os.environ['SPY'], 'a', encoding='utf-8').write(f'{host}\\n')\n"
        "    return look(host, *more, **named)\n"
        "socket.getaddrinfo = getaddrinfo\n",
        encoding="utf-8",
    )
    seen = tmp_path / "seen.txt"
    before = os.environ.get("PYTHONPATH", "")
    environment = {**os.environ, "PYTHONPATH": f"{spy}{os.pathsep}{before}", "SPY": str(seen)}
    with served(tmp_path, environment=environment) as running:
        with pytest.raises(InvalidHandshake, match="403"):
            open_page(running.port, origin="http://evil.example")
        with open_page(running.port, origin=f"http://127.0.0.1:{running.port}") as link:
            assert session_of(link)
    assert not seen.exists(), seen.read_text("utf-8")


def test_metrics_are_not_public(server, tmp_path):
    assert ask(server.port, "/_stcore/metrics")[0] == 404
    assert ask(server.port, "/_stcore/metrics/")[0] == 404
    with served(tmp_path, environment={**os.environ, "PROPULSION_WHAT_IF_METRICS": "1"}) as running:
        status, text = ask(running.port, "/_stcore/metrics")
        assert status == 200 and "# EOF" in text


# ---- sizes ------------------------------------------------------------------------------------------------


def token(port: int) -> dict[str, str]:
    """What an upload has to show."""
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    link.request("GET", "/_stcore/health")
    found = re.search(r"_streamlit_xsrf=([^;]+)", link.getresponse().getheader("Set-Cookie") or "")
    link.close()
    assert found
    return {"X_Xsrftoken": found[1], "Cookie": f"_streamlit_xsrf={found[1]}"}


def upload(port: int, who: str, file: str, size: int) -> int:
    """Status of one upload."""
    form = b'--b\r\nContent-Disposition: form-data; name="f"; filename="x"\r\n\r\n' + bytes(size) + b"\r\n--b--\r\n"
    kind = {"Content_Type": "multipart/form-data; boundary=b"}
    place = f"/_stcore/upload_file/{who}/{file}"
    return ask(port, place, method="PUT", body=form, **kind, **token(port))[0]


def test_uploads_of_one_visitor_are_bounded_together(server):
    with open_page(server.port) as one, open_page(server.port) as other:
        first, second = session_of(one), session_of(other)
        codes = [upload(server.port, first, f"file{k}", 1 * MEGABYTE) for k in range(8)]
        assert codes == [204, 204, 204, 204, 413, 413, 413, 413], "at most what one file may have, in all"
        assert upload(server.port, first, "file0", MEGABYTE) == 204, "in place of one that is there"
        assert upload(server.port, second, "own", 3 * MEGABYTE) == 204, "others are not concerned"
    with open_page(server.port) as one:
        third = session_of(one)
        codes = [upload(server.port, third, f"small{k}", 10) for k in range(26)]
        assert codes == [204] * 24 + [413] * 2
    assert ask(server.port, "/_stcore/health")[0] == 200


def test_heads_are_bounded(server):
    """By the server itself too, without a proxy."""
    assert ask(server.port, "/_stcore/health", X_Long="a" * 20_000)[0] == 200
    with socket.create_connection(("127.0.0.1", server.port), timeout=40) as line, suppress(OSError):
        line.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Long: " + b"a" * 500_000)
        assert not line.recv(4000).startswith(b"HTTP/1.1 200")
    assert ask(server.port, "/_stcore/health")[0] == 200


# ---- time -------------------------------------------------------------------------------------------------


def closed_after(port: int, first: bytes) -> tuple[float, bytes]:
    """Seconds until the server closes a connection on which only this was sent, and what it said."""
    begun = time.monotonic()
    with socket.create_connection(("127.0.0.1", port), timeout=40) as line:
        line.sendall(first)
        said = b""
        while piece := line.recv(4000):
            said += piece
    return time.monotonic() - begun, said


HEAD = b"PUT /_stcore/upload_file/a/b HTTP/1.1\r\nHost: localhost\r\n"


@pytest.mark.parametrize(
    "half",
    [b"", b"GET / HT", b"GET / HTTP/1.1\r\nHost: localhost\r\nX-A: ", b"GET /_stcore/health HTTP/1.1\r\nHost: a\r\n"],
    ids=["nothing", "first line", "header", "no end"],
)
def test_half_a_head_is_given_up(server, half):
    seconds, said = closed_after(server.port, half)
    assert 1.5 < seconds < 30.0 and said == b""


def test_half_a_head_after_a_whole_request_is_given_up(server):
    whole = b"GET /_stcore/health HTTP/1.1\r\nHost: localhost\r\n\r\n"
    seconds, said = closed_after(server.port, whole + b"GET / HTTP/1.1\r\nHos")
    assert said.startswith(b"HTTP/1.1 200") and said.count(b"HTTP/1.1") == 1
    assert 1.5 < seconds < 30.0


def test_the_rest_of_a_refused_body_may_come_and_not_for_ever(server):
    """Whoever is refused reads the answer; who goes on a byte at a time is cut off."""
    head = b"POST / HTTP/1.1\r\nHost: evil.example\r\nContent-Length: 2000000\r\n\r\n"
    with socket.create_connection(("127.0.0.1", server.port), timeout=20) as line:
        line.sendall(head + bytes(2_000_000))
        assert line.recv(4000).startswith(b"HTTP/1.1 400")
    begun = time.monotonic()
    with socket.create_connection(("127.0.0.1", server.port), timeout=20) as line, suppress(OSError):
        line.sendall(head)
        while time.monotonic() - begun < 40.0:
            line.sendall(b"x")
            time.sleep(0.2)
    assert 1.5 < time.monotonic() - begun < 30.0


def test_half_a_body_is_given_up(server):
    proof = token(server.port)
    more = f"X-Xsrftoken: {proof['X_Xsrftoken']}\r\nCookie: {proof['Cookie']}\r\n".encode()
    with open_page(server.port) as link:
        place = f"PUT /_stcore/upload_file/{session_of(link)}/b HTTP/1.1\r\nHost: localhost\r\n".encode()
        kind = b"Content-Type: multipart/form-data; boundary=b\r\nContent-Length: 1000\r\n\r\n--b\r\n"
        seconds, said = closed_after(server.port, place + more + kind)
    assert said.startswith(b"HTTP/1.1 408") and 1.5 < seconds < 30.0


def test_a_quiet_visitor_is_not_given_up(server):
    with open_page(server.port) as link:
        assert session_of(link)
        time.sleep(4.0)
        link.ping().wait(5.0)
        assert session_of(link)


def open_files(pid: int) -> int:
    return len(list(Path(f"/proc/{pid}/fd").iterdir()))


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="open files are counted on Linux")
def test_sessions_end_on_a_clock(server):
    """Nobody comes after the last visitor has left, and all that they held goes."""
    with open_page(server.port) as link:
        session_of(link)  # what a first visit leaves for good
    before = settled(server.process.pid, time.monotonic() + 20.0)
    with ExitStack() as visitors:
        who = [session_of(visitors.enter_context(open_page(server.port))) for _ in range(6)]
        assert upload(server.port, who[0], "kept", MEGABYTE) == 204
        assert open_files(server.process.pid) >= before + 6
    end = time.monotonic() + 90.0  # a busy machine first finishes the pages they asked for
    while time.monotonic() < end and open_files(server.process.pid) > before + 2:
        time.sleep(0.5)
    assert open_files(server.process.pid) <= before + 2


def settled(pid: int, end: float) -> int:
    """Number of open files once it has not changed for five seconds."""
    seen, since = open_files(pid), time.monotonic()
    while time.monotonic() < min(end, since + 5.0):
        time.sleep(0.5)
        if (now := open_files(pid)) != seen:
            seen, since = now, time.monotonic()
    return seen


def test_a_visitor_who_comes_back_in_time_finds_the_session(server):
    with open_page(server.port) as link:
        first = session_of(link)
    time.sleep(1.0)
    with connect(
        f"ws://127.0.0.1:{server.port}/_stcore/stream", subprotocols=["streamlit", "token", first], max_size=None
    ) as link:
        assert session_of(link) == first


def test_the_server_stops_with_visitors_inside(tmp_path):
    with served(tmp_path) as running, ExitStack() as visitors:
        assert all(session_of(visitors.enter_context(open_page(running.port))) for _ in range(3))
        running.process.terminate()
        running.process.wait(timeout=9)
    assert "Traceback" not in (tmp_path / "server.log").read_text("utf-8")
