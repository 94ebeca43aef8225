"""One server for the whole run, and pages of a real headless Chromium that report what went wrong in them."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright import sync_api as playwright
from serving import chromium, served

HERE = Path(__file__).resolve().parent
FINISH_MILLISECONDS = 30_000
CHROMIUM_ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
# Said by the browser about itself, not by the page. The last two are first looked for beside a page's address.
HARMLESS = ("favicon", "/_stcore/health", "/_stcore/host-config")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Everything in this folder needs the browser: ``-m "not browser"`` leaves it out."""
    for item in items:
        if HERE in Path(item.path).parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """Path of the installed Chromium; without one the tests fail under CI and are skipped elsewhere."""
    if path := chromium():
        return path
    message = "no Chromium found: install the package chromium (the test command does it on Debian)"
    if os.environ.get("CI"):
        pytest.fail(message)
    pytest.skip(message)


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Address of a running explorer, started as a user starts it, with a data folder of its own."""
    with served(tmp_path_factory.mktemp("server")) as running:
        yield running.address


@pytest.fixture(scope="session")
def browser(chromium_path: str) -> Iterator[playwright.Browser]:
    """Headless Chromium, one for the run."""
    with playwright.sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=chromium_path, args=CHROMIUM_ARGUMENTS)
        yield running
        running.close()


def wait_until_idle(page: playwright.Page) -> None:
    """Wait until the app has drawn everything and stays idle for a quarter of a second."""
    page.wait_for_function(
        """() => {
            const app = document.querySelector('[data-testid="stApp"]');
            const idle = app && app.getAttribute('data-test-script-state') === 'notRunning'
                && !document.querySelector('[data-testid="stSkeleton"]')
                && !document.querySelector('[data-stale="true"]');
            const now = performance.now();
            if (!idle) { window.__idleSince = null; return false; }
            if (window.__idleSince == null) { window.__idleSince = now; }
            return now - window.__idleSince > 250;
        }""",
        timeout=FINISH_MILLISECONDS,
    )
    page.evaluate("window.__idleSince = null")


@pytest.fixture
def settle() -> Callable[[playwright.Page], None]:
    """Wait until a page is idle: to be called after each move of a control."""
    return wait_until_idle


@pytest.fixture
def visit(browser: playwright.Browser, server: str, request: pytest.FixtureRequest) -> Iterator[Callable]:
    """Open a page: ``visit("lift?kv=1950", width=390, scheme="dark")``; returns it when it has settled.

    The test fails at its end when a page of it wrote an error to the console or threw one, unless it carries
    the marker ``console_errors_expected``.
    """
    contexts = []
    errors: list[str] = []

    def note(text: str) -> None:
        if not any(word in text for word in HARMLESS):
            errors.append(text)

    def open_page(path: str = "", *, width: int = 1400, height: int = 900, scheme: str = "light") -> playwright.Page:
        context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme, locale="en-GB")
        contexts.append(context)
        page = context.new_page()
        page.on(
            "console",
            lambda message: (
                note(f"{message.text} {message.location.get('url', '')}") if message.type == "error" else None
            ),
        )
        page.on("pageerror", lambda error: note(str(error)))
        page.goto(f"{server}/{path.lstrip('/')}")
        wait_until_idle(page)
        return page

    open_page.errors = errors
    yield open_page
    for context in contexts:
        context.close()
    if not request.node.get_closest_marker("console_errors_expected"):
        assert errors == [], "the page wrote errors to the console"
