"""One server for the whole run, and pages of a real headless Chromium that report what went wrong in them."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright import sync_api as playwright
from serving import chromium, served

HERE = Path(__file__).resolve().parent
FINISH_MILLISECONDS = 120_000
"""What is waited for at most, of a page or of one control: long, since the machine may have other work. [ms]"""
playwright.expect.set_options(timeout=FINISH_MILLISECONDS)
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
            # on a busy machine a click on a page that redraws may land nowhere; a fault of ours fails both times
            item.add_marker(pytest.mark.flaky(reruns=1))


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
    """Wait until the app has drawn everything and neither runs nor changes its layout for a quarter of a second."""
    page.wait_for_function(
        """() => {
            const app = document.querySelector('[data-testid="stApp"]');
            const idle = app && app.getAttribute('data-test-script-state') === 'notRunning'
                && !document.querySelector('[data-testid="stSkeleton"]')
                && !document.querySelector('[data-stale="true"]');
            if (!idle) { window.__idle = null; return false; }
            const charts = [...document.querySelectorAll('.main-svg')].map(e => e.clientWidth);
            const words = document.querySelector('.main-svg text');
            const look = [innerWidth, document.body.scrollHeight, getComputedStyle(app).backgroundColor, charts,
                words && getComputedStyle(words).fill].join();
            const now = performance.now();
            if (!window.__idle || window.__idle.look !== look) { window.__idle = {look, since: now, frames: 0}; }
            window.__idle.frames += 1;  // on a busy machine a quarter of a second may be a single frame
            return now - window.__idle.since > 250 && window.__idle.frames > 5;
        }""",
        timeout=FINISH_MILLISECONDS,
    )
    page.evaluate("window.__idle = null")


@pytest.fixture
def settle() -> Callable[[playwright.Page], None]:
    """Wait until a page is idle: to be called after each move of a control."""
    return wait_until_idle


def new_page(
    browser: playwright.Browser, address: str, errors: list[str], *, width: int, height: int, scheme: str
) -> playwright.Page:
    """Open an address in a context of its own; what goes wrong in the page is added to the list."""

    def note(text: str) -> None:
        if not any(word in text for word in HARMLESS):
            errors.append(text)

    def listen(message: playwright.ConsoleMessage) -> None:
        if message.type == "error":
            note(f"{message.text} {message.location.get('url', '')}")

    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme, locale="en-GB")
    context.set_default_timeout(FINISH_MILLISECONDS)
    page = context.new_page()
    page.on("console", listen)
    page.on("pageerror", lambda error: note(str(error)))
    page.goto(address)
    wait_until_idle(page)
    return page


def check_errors(errors: list[str], request: pytest.FixtureRequest) -> None:
    """Fail when a page wrote errors, unless the test carries the marker ``console_errors_expected``."""
    if not request.node.get_closest_marker("console_errors_expected"):
        assert errors == [], "the page wrote errors to the console"


@pytest.fixture
def visit(browser: playwright.Browser, server: str, request: pytest.FixtureRequest) -> Iterator[Callable]:
    """Open a page: ``visit("lift?kv=1950", width=390, scheme="dark")``; returns it when it has settled.

    The test fails at its end when a page of it wrote an error to the console or threw one, unless it carries
    the marker ``console_errors_expected``.
    """
    pages: list[playwright.Page] = []
    errors: list[str] = []

    def open_page(path: str = "", *, width: int = 1400, height: int = 900, scheme: str = "light") -> playwright.Page:
        address = f"{server}/{path.lstrip('/')}"
        page = new_page(browser, address, errors, width=width, height=height, scheme=scheme)
        pages.append(page)
        return page

    yield open_page
    for page in pages:
        page.context.close()
    check_errors(errors, request)


class Standing:
    """The page that stays open between tests that only look at it, and what went wrong in it since the last look."""

    def __init__(self) -> None:
        self.path: str | None = None
        self.page: playwright.Page | None = None
        self.errors: list[str] = []

    def close(self) -> None:
        if self.page is not None:
            self.page.context.close()
        self.path = self.page = None


@pytest.fixture(scope="module")
def standing() -> Iterator[Standing]:
    """The page of `look_at`, closed when another path is looked at and at the end of the file."""
    one = Standing()
    yield one
    one.close()


@pytest.fixture
def look_at(
    browser: playwright.Browser, server: str, standing: Standing, request: pytest.FixtureRequest
) -> Iterator[Callable]:
    """Show a page as `visit` does, loaded once for tests that follow each other and look at the same path.

    Width and colour scheme are switched in place. For tests that move no control; a test that fails leaves the next
    one a new page.
    """
    failed_before = request.session.testsfailed

    def show(path: str = "", *, width: int = 1400, height: int = 900, scheme: str = "light") -> playwright.Page:
        if standing.page is None or standing.path != path:
            standing.close()
            address = f"{server}/{path.lstrip('/')}"
            standing.page = new_page(browser, address, standing.errors, width=width, height=height, scheme=scheme)
            standing.path = path
            return standing.page
        standing.page.set_viewport_size({"width": width, "height": height})
        standing.page.emulate_media(color_scheme=scheme)
        standing.page.evaluate("document.querySelector('[data-testid=stMain]').scrollTo(0, 0)")
        wait_until_idle(standing.page)
        return standing.page

    yield show
    errors, standing.errors[:] = list(standing.errors), []
    if errors or request.session.testsfailed > failed_before:
        standing.close()
    check_errors(errors, request)
