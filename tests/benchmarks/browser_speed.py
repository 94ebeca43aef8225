"""Speed in the browser: slider to finished page, and first load, beside a bare page with as many charts.

    python tests/benchmarks/browser_speed.py [--moves 30] [--loads 7] [--page lift --page minutes ...]

Two servers on free ports of this machine: the explorer as a user starts it, and a bare app of the framework alone with
one slider and as many two-curve plotly charts. The moves and the loads of both alternate in one run, so that what else
the machine does falls on both. Every page that carries the slider is tried shortly; the one whose moves last longest is
the busiest and is measured in full, unless pages are named. Wanted of it: median of a move at most 1.6 times that of
the bare page, median of the first load at most 1.5 times. The code is 1 when either is missed.

Finished, for both pages alike, is the last moment at which anything in the app changed (an element, an attribute, a
text, `plotly_afterplot` of a chart, a message of the server) before a quarter of a second in which nothing did, the
script's run over, nothing stale, no placeholder left; the wait itself is not counted. A move counts only if the slider
moved, the server answered and, on a page with charts, a chart was drawn anew; otherwise the benchmark stops.

A move is one arrow key on the slider, to a value not seen before in the run: no kept answer is measured. A first load
is a fresh browser context (empty cache) at a warm server.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from playwright import sync_api as playwright

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))
from conftest import CHROMIUM_ARGUMENTS
from serving import chromium, served

MOST_MOVE, MOST_LOAD = 1.6, 1.5
PAGES = ("lift", "minutes", "margins", "dive")
"""Pages that carry the slider "Try changing"."""
TRIED = 5
"""Moves of the short try that finds the busiest page."""
LIMIT = 30_000
"""Longest wait for a finished page. [ms]"""
BARE = """
import numpy as np, plotly.graph_objects as go, streamlit as st
st.set_page_config(layout="wide")
at = st.slider("Move me", 0, 1000, 500)
x = np.linspace(0.0, 1.0, 51)
for k in range(int(st.query_params.get("charts", "1"))):
    figure = go.Figure([go.Scatter(x=x, y=at * x), go.Scatter(x=x, y=at * x**2)])
    st.plotly_chart(figure, key=f"c{k}")
"""
# Runs in the page from its first moment. `last` is the last change. A run counts as begun and ended by the server's own
# messages (fields new_session and script_finished of the framework's protocol) that follow what the browser sent after
# `reset`: a crowded server may be still for a while before it takes a value up.
WATCH = """(() => {
    const w = window.__watch = {from: 0, last: 0, drawn: 0, sent: 0, began: 0, ended: 0};
    const hooked = new WeakSet();
    let changes = null;  // written out only where something went wrong: the text of a large element takes long
    w.told = () => JSON.stringify({...w, what: changes && [
        changes.type, changes.attributeName, (changes.target.outerHTML || '#text').slice(0, 160)]});
    const hook = () => document.querySelectorAll('.js-plotly-plot').forEach(plot => {
        if (hooked.has(plot) || !plot.on) return;
        hooked.add(plot);
        w.drawn += 1;
        plot.on('plotly_afterplot', () => { w.drawn += 1; w.last = performance.now(); });
    });
    const fieldOf = bytes => {  // number of the first field beyond hash and metadata
        let at = 0;
        const varint = () => {
            let value = 0, scale = 1, byte;
            do { byte = bytes[at++]; value += (byte & 127) * scale; scale *= 128; } while (byte > 127);
            return value;
        };
        while (at < bytes.length) {
            const tag = varint(), number = Math.floor(tag / 8), kind = tag % 8;
            if (number > 2) return number;
            if (kind === 2) { const size = varint(); at += size; }
            else if (kind === 0) varint();
            else return 0;
        }
        return 0;
    };
    const Socket = window.WebSocket;
    window.WebSocket = class extends Socket {
        constructor(...given) {
            super(...given);
            this.addEventListener('message', event => {
                w.last = performance.now();
                const kind = event.data instanceof ArrayBuffer ? fieldOf(new Uint8Array(event.data)) : 0;
                if (kind === 4 && w.sent) { w.began += 1; w.ended = 0; }
                if (kind === 6 && w.began) w.ended += 1;
            });
        }
        send(data) { w.sent += 1; return super.send(data); }
    };
    new MutationObserver(list => {
        const changed = list.find(one => {
            const node = one.target.nodeType === 1 ? one.target : one.target.parentElement;
            return !node || !node.closest('[data-testid="stStatusWidget"]');
        });
        if (changed) {
            w.last = performance.now();
            changes = changed;
        }
        hook();
    }).observe(document, {subtree: true, childList: true, attributes: true, characterData: true});
    w.reset = () => { w.drawn = w.sent = w.began = w.ended = 0; w.last = w.from = performance.now(); };
    w.done = charts => {
        const app = document.querySelector('[data-testid="stApp"]');
        return app && app.getAttribute('data-test-script-state') === 'notRunning' && w.ended > 0
            && (!charts || document.querySelectorAll('.js-plotly-plot').length >= charts && w.drawn > 0)
            && !document.querySelector('[data-stale="true"]') && !document.querySelector('[data-testid="stSkeleton"]')
            && performance.now() - w.last > 250;
    };
    document.addEventListener('keydown', event => { if (event.key.startsWith('Arrow')) w.reset(); }, true);
})()"""


@dataclass(frozen=True)
class Times:
    """Times of one page. [s]"""

    move: list[float]
    load: list[float]


def opened(browser: playwright.Browser, address: str, charts: int = 0) -> tuple[playwright.Page, float]:
    """A page in a fresh context, finished, and how long that took. [s]"""
    page = browser.new_context(viewport={"width": 1400, "height": 900}).new_page()
    page.add_init_script(WATCH)
    page.goto(address, wait_until="commit")
    page.wait_for_function("charts => window.__watch?.done(charts)", arg=charts, polling=25, timeout=LIMIT)
    return page, float(page.evaluate("window.__watch.last / 1000"))


def move(page: playwright.Page, charts: int) -> float:
    """Time of one key on the slider that has the focus. [s]"""
    before = page.evaluate("document.activeElement.value")
    page.keyboard.press("ArrowRight")
    try:
        page.wait_for_function("charts => window.__watch.done(charts)", arg=charts, polling=25, timeout=LIMIT)
    except playwright.TimeoutError:
        told = page.evaluate("window.__watch.told()")
        raise SystemExit(f"no finished page within {LIMIT / 1000:.0f} s of a move on {page.url}: {told}") from None
    if page.evaluate("document.activeElement.value") == before:
        raise SystemExit(f"the slider of {page.url} did not move from {before}")
    return float(page.evaluate("(window.__watch.last - window.__watch.from) / 1000"))


def path_of(page: str) -> str:
    """Address of a page below the server's: the first page has none of its own."""
    return "" if page == PAGES[0] else page


def ready(browser: playwright.Browser, address: str, charts: int = 0) -> playwright.Page:
    """A page whose slider has the focus."""
    page, _ = opened(browser, address, charts)
    page.get_by_role("slider").first.focus()
    return page


def measured(browser: playwright.Browser, ours: str, bare: str, *, moves: int, loads: int) -> tuple[int, Times, Times]:
    """Charts of a page, and its times beside those of the bare page; a first move and load of each is left out."""
    page = ready(browser, ours)
    charts = page.locator(".js-plotly-plot").count()
    other = ready(browser, f"{bare}/?charts={charts}", charts)
    a, b = [], []
    for _ in range(moves + 1):
        a.append(move(page, charts))
        b.append(move(other, charts))
    for one in (page, other):
        one.context.close()
    mine, theirs = [], []
    for _ in range(loads + 1 if loads else 0):
        for times, address in ((mine, ours), (theirs, f"{bare}/?charts={charts}")):
            one, took = opened(browser, address, charts)
            times.append(took)
            one.context.close()
    return charts, Times(a[1:], mine[1:]), Times(b[1:], theirs[1:])


def p95(times: list[float]) -> float:
    """95th percentile."""
    return statistics.quantiles(times, n=20, method="inclusive")[-1]


def line(name: str, charts: int, mine: Times, theirs: Times) -> tuple[str, bool]:
    """Row of the table, and whether the page keeps to both goals."""
    a, b = statistics.median(mine.move), statistics.median(theirs.move)
    if not mine.load:
        return (
            f"{name:8s} {charts:6d}   {a:6.3f} {p95(mine.move):6.3f}   {b:6.3f} {p95(theirs.move):6.3f}   {a / b:5.2f}",
            (a / b <= MOST_MOVE),
        )
    c, d = statistics.median(mine.load), statistics.median(theirs.load)
    kept = a / b <= MOST_MOVE and c / d <= MOST_LOAD
    text = (
        f"{name:8s} {charts:6d}   {a:6.3f} {p95(mine.move):6.3f}   {b:6.3f} {p95(theirs.move):6.3f}   {a / b:5.2f} "
        f"{p95(mine.move) / p95(theirs.move):5.2f}   {c:6.2f} {d:6.2f}   {c / d:5.2f}"
    )
    return text + ("" if kept else "   MISSED"), kept


def busiest(browser: playwright.Browser, ours: str, bare: str) -> str:
    """Page whose moves last longest, by a short try of all."""
    found = {}
    for name in PAGES:
        charts, mine, theirs = measured(browser, f"{ours}/{path_of(name)}", bare, moves=TRIED, loads=0)
        found[name] = statistics.median(mine.move)
        print(
            f"try of {name}: {charts} charts, {found[name]:.3f} s a move, bare {statistics.median(theirs.move):.3f} s",
            flush=True,
        )
    return max(found, key=found.__getitem__)


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--moves", type=int, default=30)
    parser.add_argument("--loads", type=int, default=7)
    parser.add_argument("--page", action="append", choices=PAGES)
    asked = parser.parse_args()
    loopback = ["--server.address=127.0.0.1", "--server.headless=true", "--browser.gatherUsageStats=false"]
    bare_command = [sys.executable, "-m", "streamlit", "run", "bare.py", *loopback]
    all_held = True
    with tempfile.TemporaryDirectory() as home, playwright.sync_playwright() as driver:
        folders = Path(home) / "explorer", Path(home) / "bare"
        for folder in folders:
            folder.mkdir()
        (folders[1] / "bare.py").write_text(BARE, encoding="utf-8")
        with served(folders[0]) as mine, served(folders[1], bare_command, port_option="--server.port") as theirs:
            ours, bare = mine.address, theirs.address
            browser = driver.chromium.launch(args=CHROMIUM_ARGUMENTS, executable_path=chromium())
            start = time.perf_counter()
            names = asked.page or [busiest(browser, ours, bare)]
            print(f"{asked.moves} moves, {asked.loads} loads, in turn with the bare page; seconds, ratios of medians")
            print("page     charts   move p50/p95      bare p50/p95     p50   p95     load   bare   ratio")
            for name in names:
                found = measured(browser, f"{ours}/{path_of(name)}", bare, moves=asked.moves, loads=asked.loads)
                text, kept = line(name, *found)
                print(text, flush=True)
                all_held &= kept
            browser.close()
            print(
                f"wanted: move p50 at most {MOST_MOVE}, load at most {MOST_LOAD}; {time.perf_counter() - start:.0f} s"
            )
    return int(not all_held)


if __name__ == "__main__":
    sys.exit(main())
