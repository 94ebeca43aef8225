"""A server of this project, or any other command that answers HTTP, started and stopped for a test; and a browser."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

START_SECONDS = 120


def chromium() -> str | None:
    """Path of the installed Chromium; None without one."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


class Served(NamedTuple):
    """A running server."""

    port: int
    process: subprocess.Popen

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"


@contextmanager
def served(
    folder: Path,
    command: Sequence[str] = (sys.executable, "-m", "explorer", "--server.headless", "true"),
    *,
    port_option: str = "--port",
    environment: Mapping[str, str] = os.environ,
    base: str = "",
) -> Iterator[Served]:
    """Start a command on a free port in a folder that is its home as well, wait until it is healthy, stop it.

    ``base`` is the path that it serves below.
    """
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    log = folder / "server.log"
    with log.open("w") as output:
        process = subprocess.Popen(
            [*command, port_option, str(port)],
            cwd=folder,
            env={**environment, "HOME": str(folder), "XDG_DATA_HOME": str(folder / "data"), "PYTHONUNBUFFERED": "1"},
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
        )
        try:
            _wait_until_healthy(port, process, log, base)
            yield Served(port, process)
        finally:
            process.terminate()
            try:
                process.wait(timeout=10)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def _wait_until_healthy(port: int, process: subprocess.Popen, log: Path, base: str) -> None:
    end = time.monotonic() + START_SECONDS
    while time.monotonic() < end:
        assert process.poll() is None, f"the server stopped with code {process.returncode}:\n{log.read_text()}"
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}{base}/_stcore/health", timeout=2) as answer:
                if answer.status == 200:
                    return
        except (urllib.error.URLError, OSError):
            time.sleep(0.2)
    raise AssertionError(f"the server did not answer within {START_SECONDS} s:\n{log.read_text()}")
