"""One server for the whole run, and pages of a real headless Chromium that report what went wrong in them."""

from __future__ import annotations

import os
from collections.abc import Callable, Generator, Iterator
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


class Tab:
    """A page of the browser in a context of its own, and what went wrong in it since it was last empty."""

    def __init__(self, browser: playwright.Browser) -> None:
        self.errors: list[str] = []
        self.context = browser.new_context(locale="en-GB")
        self.context.set_default_timeout(FINISH_MILLISECONDS)
        self.page = self.context.new_page()
        self.page.on("console", self._listen)
        self.page.on("pageerror", lambda error: self._note(str(error)))

    def _listen(self, message: playwright.ConsoleMessage) -> None:
        if message.type == "error":
            self._note(f"{message.text} {message.location.get('url', '')}")

    def _note(self, text: str) -> None:
        if not any(word in text for word in HARMLESS):
            self.errors.append(text)

    def show(self, address: str = "", *, width: int, height: int, scheme: str) -> playwright.Page:
        """Set the screen, open the address, or keep the page without one, and wait until it has settled."""
        self.page.set_viewport_size({"width": width, "height": height})
        self.page.emulate_media(media="null", color_scheme=scheme)
        if address:
            self.page.goto(address)
        wait_until_idle(self.page)
        return self.page

    def empty(self) -> None:
        """What a new visitor brings: nothing kept in the browser, no pointer on the page. The scripts stay loaded."""
        self.context.set_offline(False)
        for opened in self.context.pages:
            if opened is not self.page:
                opened.close()
        self.page.evaluate("localStorage.clear(); sessionStorage.clear()")
        self.page.goto("about:blank")
        self.context.clear_cookies()
        self.page.mouse.move(-10, -10)
        self.errors.clear()

    def close(self) -> None:
        self.context.close()


class Tabs:
    """Pages lent to tests. Opened anew, a page takes four times the processor time of one that is used again."""

    def __init__(self, browser: playwright.Browser) -> None:
        self._browser = browser
        self._free: list[Tab] = []

    def take(self, *, new: bool = False) -> Tab:
        """An empty page; ``new``: one that no test had before."""
        return self._free.pop() if self._free and not new else Tab(self._browser)

    def give_back(self, tab: Tab, *, sound: bool) -> None:
        """A page of a test that failed, or that left the server, is closed."""
        if sound and tab.page.url.startswith("http"):
            tab.empty()
            self._free.append(tab)
        else:
            tab.close()


@pytest.fixture(scope="session")
def tabs(browser: playwright.Browser) -> Iterator[Tabs]:
    """The pages of this run."""
    yield Tabs(browser)  # the browser closes them


FAILED = pytest.StashKey[bool]()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Let fixtures know, before they end, whether their test failed, also where it is tried once more."""
    report = yield
    item.stash[FAILED] = report.failed or (item.stash.get(FAILED, False) and report.when != "setup")
    return report


def check_errors(errors: list[str], request: pytest.FixtureRequest) -> None:
    """Fail when a page wrote errors, unless the test carries the marker ``console_errors_expected``."""
    if not request.node.get_closest_marker("console_errors_expected"):
        assert errors == [], "the page wrote errors to the console"


@pytest.fixture
def visit(tabs: Tabs, server: str, request: pytest.FixtureRequest) -> Iterator[Callable]:
    """Open a page: ``visit("lift?kv=1950", width=390, scheme="dark")``; returns it when it has settled.

    Each visit is a visitor of its own. ``new`` opens a page that no test had before, with its history empty. The test
    fails at its end when a page of it wrote an error to the console or threw one, unless it carries the marker
    ``console_errors_expected``.
    """
    taken: list[Tab] = []

    def open_page(
        path: str = "", *, width: int = 1400, height: int = 900, scheme: str = "light", new: bool = False
    ) -> playwright.Page:
        taken.append(tabs.take(new=new))
        return taken[-1].show(f"{server}/{path.lstrip('/')}", width=width, height=height, scheme=scheme)

    yield open_page
    errors = [text for tab in taken for text in tab.errors]
    for tab in taken:
        tabs.give_back(tab, sound=not errors and not request.node.stash.get(FAILED, False))
    check_errors(errors, request)


class Standing:
    """The page that stays open between tests that only look at it."""

    def __init__(self, tabs: Tabs) -> None:
        self._tabs = tabs
        self._tab: Tab | None = None
        self._path: str | None = None
        self._errors: list[str] = []

    def show(self, server: str, path: str, **screen: int | str) -> playwright.Page:
        """The page at this path, as it stands where it is open already."""
        if self._tab is not None and self._path == path:
            self._tab.page.evaluate("document.querySelector('[data-testid=stMain]').scrollTo(0, 0)")
            return self._tab.show(**screen)
        self.leave()
        self._tab, self._path = self._tabs.take(), path
        return self._tab.show(f"{server}/{path.lstrip('/')}", **screen)

    def new_errors(self) -> list[str]:
        """What went wrong since this was last asked."""
        self._collect()
        errors, self._errors = self._errors, []
        return errors

    def leave(self, *, sound: bool = True) -> None:
        """Look at nothing."""
        self._collect()
        if self._tab is not None:
            self._tabs.give_back(self._tab, sound=sound)
        self._tab = self._path = None

    def _collect(self) -> None:
        if self._tab is not None:
            self._errors += self._tab.errors
            self._tab.errors.clear()


@pytest.fixture(scope="module")
def standing(tabs: Tabs) -> Iterator[Standing]:
    """The page of `look_at`, given back when another path is looked at and at the end of the file."""
    one = Standing(tabs)
    yield one
    one.leave()


@pytest.fixture
def look_at(server: str, standing: Standing, request: pytest.FixtureRequest) -> Iterator[Callable]:
    """Show a page as `visit` does, loaded once for tests that follow each other and look at the same path.

    Width and colour scheme are switched in place. For tests that move no control; a test that fails leaves the next
    one a new page.
    """

    def show(path: str = "", *, width: int = 1400, height: int = 900, scheme: str = "light") -> playwright.Page:
        return standing.show(server, path, width=width, height=height, scheme=scheme)

    yield show
    errors = standing.new_errors()
    if errors or request.node.stash.get(FAILED, False):
        standing.leave(sound=False)
    check_errors(errors, request)
