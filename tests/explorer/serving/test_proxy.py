"""The recipe of DEVELOPERS.md, "Serving others", as it stands there: two processes behind a real nginx on loopback.

Only ports and TLS are changed, and the processes are started by this interpreter.
"""

from __future__ import annotations

import http.client
import os
import re
import shlex
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import NamedTuple

import pytest
from playwright import sync_api as playwright
from serving import Served, chromium, served
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.exceptions import ConnectionClosed, InvalidHandshake
from websockets.sync.client import ClientConnection, connect

pytestmark = pytest.mark.slow

NAME = "what-if.example"
BASE = "/what-if"
NGINX = shutil.which("nginx", path=f"{os.environ.get('PATH', '')}{os.pathsep}/usr/sbin")


def block(text: str, language: str) -> str:
    """The one fenced block of a language."""
    (found,) = re.findall(rf"^```{language}\n(.*?)^```", text, re.M | re.S)
    return found


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def configuration(recipe: str, folder: Path, port: int, processes: list[int]) -> str:
    """The recipe with other ports and without TLS, in the frame that Debian's own file gives it."""
    changed = re.sub(r"^\s*ssl_certificate.*\n", "", recipe, flags=re.M)
    changed, listens = re.subn(r"listen 443 ssl", f"listen 127.0.0.1:{port}", changed)
    assert listens == 2
    for written, really in zip((8601, 8602), processes, strict=True):
        assert f"127.0.0.1:{written} " in changed
        changed = changed.replace(f"127.0.0.1:{written} ", f"127.0.0.1:{really} ")
    temporary = "".join(
        f"{kind}_temp_path {folder}/{kind};\n" for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    user = "user root;\n" if hasattr(os, "geteuid") and os.geteuid() == 0 else ""
    return (
        f"{user}daemon off;\nmaster_process on;\nworker_processes 1;\npid {folder}/nginx.pid;\n"
        f"error_log {folder}/error.log warn;\nevents {{}}\n"
        f"http {{\naccess_log off;\n{temporary}{changed}}}\n"
    )


class Site(NamedTuple):
    """The proxy's port and the processes behind it."""

    port: int
    processes: list[Served]
    folder: Path


@contextmanager
def recipe(root: Path, folder: Path, more: dict[str, str], *, secure: bool = True) -> Iterator[Site]:
    """Everything running; without ``secure`` a browser keeps the cookie although there is no TLS here."""
    if NGINX is None:
        if os.environ.get("CI"):
            pytest.fail("nginx is missing: sh .ci/test installs it")
        pytest.skip("nginx is not installed here (Debian: nginx-light); sh .ci/test installs it")
    text = (root / "DEVELOPERS.md").read_text("utf-8")
    commands = [shlex.split(line) for line in block(text, "sh").splitlines()]
    assert [command[:5] for command in commands] == [
        ["python", "-m", "explorer", "--port", "8601"],
        ["python", "-m", "explorer", "--port", "8602"],
    ]
    environment = {**os.environ, "STREAMLIT_SERVER_COOKIE_SECRET": "a long random text for this test", **more}
    with ExitStack() as running:
        processes = []
        for k, command in enumerate(commands):
            home = folder / f"process{k}"
            home.mkdir()
            start = [sys.executable, *command[1:3], *command[5:]]
            processes.append(running.enter_context(served(home, start, environment=environment, base=BASE)))
        port = free_port()
        file = folder / "nginx.conf"
        rules = block(text, "nginx") if secure else block(text, "nginx").replace("Secure; ", "")
        file.write_text(configuration(rules, folder, port, [p.port for p in processes]), "utf-8")
        with (folder / "nginx.log").open("w", encoding="utf-8") as log:
            proxy = subprocess.Popen([NGINX, "-p", str(folder), "-c", str(file)], stdout=log, stderr=log)
            try:
                end = time.monotonic() + 10
                while True:
                    with socket.socket() as probe:
                        if probe.connect_ex(("127.0.0.1", port)) == 0:
                            break
                    assert proxy.poll() is None and time.monotonic() < end, (folder / "nginx.log").read_text("utf-8")
                    time.sleep(0.1)
                yield Site(port, processes, folder)
            finally:
                proxy.terminate()
                proxy.wait(timeout=10)


@pytest.fixture(scope="module")
def site(root: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """The recipe, for tests that leave it whole."""
    with recipe(root, tmp_path_factory.mktemp("site"), {}) as running:
        yield running


def ask(port: int, path: str, *, method: str = "GET", body: bytes = b"", host: str = NAME, **headers: str):
    """An answer, with its body read into ``text``."""
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    try:
        named = {k.replace("_", "-"): v for k, v in headers.items()}
        link.request(method, path, body=body or None, headers={"Host": host, **named})
        answer = link.getresponse()
        answer.text = answer.read()
        return answer
    finally:
        link.close()


def cookie_of(answer: http.client.HTTPResponse) -> str:
    found = [re.match(r"what_if=([0-9a-f]{32});", text) for text in answer.headers.get_all("Set-Cookie", [])]
    (value,) = [match[1] for match in found if match]
    return value


def session(port: int, cookie: str, origin: str = f"https://{NAME}") -> ClientConnection:
    """A WebSocket as the browser opens it."""
    return connect(
        f"ws://{NAME}/what-if/_stcore/stream",
        sock=socket.create_connection(("127.0.0.1", port)),
        subprotocols=["streamlit"], max_size=None, origin=origin,
        additional_headers={"Cookie": f"what_if={cookie}"},
    )  # fmt: skip


def page(link: ClientConnection, query: str) -> tuple[str, str]:
    """Number of the session, and all that the page draws."""
    ask_page = BackMsg()
    ask_page.rerun_script.query_string = query
    link.send(ask_page.SerializeToString())
    number, drawn = "", b""
    while True:
        data = link.recv(timeout=60)
        message = ForwardMsg()
        message.ParseFromString(data)
        kind = message.WhichOneof("type")
        if kind == "new_session":
            number = message.new_session.initialize.session_id
        drawn += data
        if kind == "script_finished":
            return number, drawn.decode("utf-8", "replace")


def process_of(site: Site, port_cookie: str) -> int:
    """Which process holds the visitor's connection: the one with an open connection more than without."""
    before = [sockets(p.process.pid) for p in site.processes]
    with session(site.port, port_cookie) as link:
        page(link, "")
        during = [sockets(p.process.pid) for p in site.processes]
    more = [after - first for first, after in zip(before, during, strict=True)]
    return max(range(len(more)), key=lambda k: more[k])


def sockets(pid: int) -> int:
    links = [os.readlink(file) for file in Path(f"/proc/{pid}/fd").iterdir() if file.is_symlink()]
    return sum(link.startswith("socket:") for link in links)


# ---- the way in -------------------------------------------------------------------------------------------


def test_the_page_comes_below_its_base_path(site):
    answer = ask(site.port, f"{BASE}/")
    assert answer.status == 200 and b"<title>" in answer.text
    moved = ask(site.port, "/")
    assert moved.status == 302 and moved.headers["Location"].endswith(f"{BASE}/")
    assert ask(site.port, f"{BASE}/_stcore/health").text == b"ok"
    script = re.search(rb'src="(\./static/js/[^"]+)"', answer.text)
    assert script and ask(site.port, f"{BASE}/{script[1].decode()[2:]}").status == 200


def test_headers_that_every_answer_carries(site):
    for path in ("/", f"{BASE}/", f"{BASE}/_stcore/health", f"{BASE}/_stcore/metrics"):
        headers = ask(site.port, path).headers
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["Referrer-Policy"] == "no-referrer"
        assert headers["Content-Security-Policy"] == "frame-ancestors 'none'"
        assert headers["Strict-Transport-Security"].startswith("max-age=")
        (mine,) = [c for c in headers.get_all("Set-Cookie", []) if c.startswith("what_if=")]
        assert all(word in mine for word in ("Secure", "HttpOnly", "SameSite=Lax", "Path=/what-if/"))


def test_a_foreign_name_or_page_stays_out(site):
    with pytest.raises((http.client.RemoteDisconnected, ConnectionResetError)):
        ask(site.port, f"{BASE}/", host="evil.example")
    assert ask(site.port, f"{BASE}/_stcore/health", Origin="https://evil.example").status == 403
    assert ask(site.port, f"{BASE}/_stcore/health", Origin=f"https://{NAME}").status == 200
    with pytest.raises(InvalidHandshake, match="403"):
        session(site.port, "0" * 32, origin="https://evil.example")
    for process in site.processes:
        assert ask(process.port, f"{BASE}/_stcore/health", host="evil.example").status == 400


def test_metrics_stay_inside(site):
    for name in ("metrics", "script-health-check", "agent/interact"):
        assert ask(site.port, f"{BASE}/_stcore/{name}").status == 404


def test_heads_and_bodies_are_bounded(site):
    assert ask(site.port, f"{BASE}/?x={'a' * 12_000}").status == 200, "a long link passes"
    assert ask(site.port, f"{BASE}/?x={'a' * 40_000}").status == 414
    assert ask(site.port, f"{BASE}/", X_Long="a" * 40_000).status == 400
    assert ask(site.port, f"{BASE}/", method="POST", body=bytes(2 * 2**20)).status == 413
    assert ask(site.port, f"{BASE}/_stcore/upload_file/a/b", method="PUT", Content_Length=str(2**28)).status == 413


def test_an_upload_reaches_the_process_of_its_session(site):
    first = ask(site.port, f"{BASE}/_stcore/health")
    cookie = cookie_of(first)
    proof = re.search(r"_streamlit_xsrf=([^;]+)", " ".join(first.headers.get_all("Set-Cookie")))
    assert proof
    form = (
        b'--b\r\nContent-Disposition: form-data; name="f"; filename="x"\r\n\r\n' + bytes(3 * 2**20) + b"\r\n--b--\r\n"
    )
    with session(site.port, cookie) as link:
        number, _ = page(link, "")
        told = ask(
            site.port, f"{BASE}/_stcore/upload_file/{number}/1", method="PUT", body=form,
            Content_Type="multipart/form-data; boundary=b", X_Xsrftoken=proof[1], Origin=f"https://{NAME}",
            Cookie=f"what_if={cookie}; _streamlit_xsrf={proof[1]}",
        )  # fmt: skip
        assert told.status == 204, told.text


# ---- the same process for a visitor -----------------------------------------------------------------------


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="connections are counted on Linux")
def test_each_visitor_stays_with_one_process_and_both_are_used(site):
    cookies = []
    while len(cookies) < 8:
        cookies.append(cookie_of(ask(site.port, f"{BASE}/")))
    assert len(set(cookies)) == 8
    assert cookie_of(ask(site.port, f"{BASE}/", Cookie=f"what_if={cookies[0]}")) == cookies[0]
    assert cookie_of(ask(site.port, f"{BASE}/", Cookie="what_if=x; secure")) not in ("x", cookies[0])
    homes = [process_of(site, cookie) for cookie in cookies]
    assert homes == [process_of(site, cookie) for cookie in cookies]
    assert set(homes) == {0, 1}


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="connections are counted on Linux")
def test_one_process_is_killed_and_its_visitors_come_back_with_their_build(root, tmp_path):
    mine = "v=1&craft=tarn&name=Visitor+seven&kv=1777&end=2"
    with recipe(root, tmp_path, {}) as site:
        cookie = cookie_of(ask(site.port, f"{BASE}/"))
        home = process_of(site, cookie)
        with session(site.port, cookie) as link:
            first, drawn = page(link, mine)
            assert "Visitor seven" in drawn
            site.processes[home].process.kill()
            with pytest.raises(ConnectionClosed):
                while True:
                    link.recv(timeout=20)
        begun = time.monotonic()
        for _ in range(3):  # with the old cookie and the old address, as the page does by itself
            with session(site.port, cookie) as link:
                second, drawn = page(link, mine)
                assert second != first and "Visitor seven" in drawn
        assert ask(site.port, f"{BASE}/", Cookie=f"what_if={cookie}").status == 200
        assert time.monotonic() - begun < 60
        log = (tmp_path / f"process{1 - home}" / "server.log").read_text("utf-8")
        assert "Traceback" not in log


IDLE = """() => {
    const app = document.querySelector('[data-testid="stApp"]');
    return app && app.getAttribute('data-test-script-state') === 'notRunning'
        && app.getAttribute('data-test-connection-state') !== 'DISCONNECTED_FOREVER'
        && document.querySelector('.wi-sentence') && document.querySelector('input[type=range]')
        && !document.querySelector('[data-stale="true"]');
}"""
KV = "[...document.querySelectorAll('input[type=range]')].map(one => one.value).join()"


@pytest.mark.browser
@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="connections are counted on Linux")
def test_a_browser_whose_process_is_killed_goes_on_by_itself(root, tmp_path):
    """What was moved on the page before is there after it, without a reload, and the page answers to the next move."""
    if chromium() is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)("no Chromium found: the test command installs it")
    # in a thread of its own: another test of this process may hold a browser open
    with ThreadPoolExecutor(1) as own:
        own.submit(_killed_and_back, root, tmp_path).result()


def _killed_and_back(root, tmp_path):
    with recipe(root, tmp_path, {}, secure=False) as site, playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=chromium(),
            args=["--headless", "--no-sandbox", "--disable-gpu", f"--host-resolver-rules=MAP {NAME} 127.0.0.1"],
        )
        page_ = browser.new_page()
        page_.set_default_timeout(90_000)
        page_.goto(f"http://{NAME}:{site.port}{BASE}/?v=1&craft=tarn&name=Visitor+seven&end=1")
        page_.wait_for_function(IDLE)
        assert "Visitor seven" in page_.locator(".wi-sentence").first.inner_text()
        page_.get_by_role("slider").first.press("ArrowRight")
        page_.wait_for_function("window.location.search.includes('kv=')")
        page_.wait_for_function(IDLE)
        shown, address = page_.evaluate(KV), page_.url
        (cookie,) = [c["value"] for c in page_.context.cookies() if c["name"] == "what_if"]
        home = process_of(site, cookie)
        before = sockets(site.processes[1 - home].process.pid)
        site.processes[home].process.kill()
        end = time.monotonic() + 90.0
        while sockets(site.processes[1 - home].process.pid) <= before:
            assert time.monotonic() < end, "the page did not connect again"
            page_.wait_for_timeout(250)
        page_.wait_for_timeout(2000)
        page_.wait_for_function(IDLE)
        assert page_.evaluate(KV) == shown and page_.url == address
        assert "Visitor seven" in page_.locator(".wi-sentence").first.inner_text()
        page_.get_by_role("slider").first.press("ArrowRight")
        page_.wait_for_function(f"window.location.href !== {address!r}")
        page_.wait_for_function(IDLE)
        assert page_.evaluate(KV) != shown
        browser.close()
