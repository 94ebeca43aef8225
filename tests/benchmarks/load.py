"""Twenty browsers at once move sliders: no error, memory bounded, every visitor sees their own build and no other's.

    python tests/benchmarks/load.py [--browsers 20] [--minutes 5]

Starts its own server on a free port of this machine. Each browser is a context of one headless Chromium: own cookies,
own session. It comes by a link of its own with a name, a KV and a mass that nobody else has, and goes round the
pages with the slider "Try changing"; on each it presses arrow keys one at a time. After every key, once the page is
finished, it checks

- the slider stands where this visitor's own keys have put it;
- on Lift, take-off mass, hover throttle and pull in the opening sentence are those that `propmodel` works out here, in
  another process, for this visitor's build, and the name is theirs;
- no other visitor's name stands anywhere on the page, on any page;
- no error box, no exception, no error in the console.

Prints the server's memory at the start, each minute and at the end. The code is 1 when anything of this fails, the
server's log has an error, somebody never moved, or the memory passes `MOST_MEGABYTES` or still grows in the last two
thirds by more than `MOST_GROWTH`.
"""

from __future__ import annotations

import argparse
import asyncio
import random
import re
import sys
import tempfile
import time
from dataclasses import dataclass, field, replace
from pathlib import Path

from playwright import async_api as playwright

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))
sys.path.insert(0, str(Path(__file__).resolve().parent))
from browser_speed import WATCH
from conftest import CHROMIUM_ARGUMENTS, HARMLESS
from serving import chromium, served

import propmodel
from explorer.inputs import Inputs, demo_inputs, take_off_g, to_build, with_take_off_g
from explorer.inputs.link import encode
from explorer.text.numbers import value

MOST_MEGABYTES = 1500.0
MOST_GROWTH = 1.5
TOUR = ("Lift", "Minutes", "Margins", "Dive")
KEYS = 4
"""Keys on a page before the next."""
PATIENCE = 90_000
"""Longest wait for a finished page in the crowd. [ms]"""
NAMES = re.compile(r"Visitor\d{3}x")
ENDED = """() => {
    const old = document.querySelector('[data-stale="true"]') || document.querySelector('[data-testid="stSkeleton"]');
    const app = document.querySelector('[data-testid="stApp"]');
    return window.__watch && window.__watch.ended > 0 && !old && document.querySelector('.wi-sentence')
        && document.querySelector('input[type=range]') && app.getAttribute('data-test-script-state') === 'notRunning';
}"""
"""The script has ended and all it sent is on the page."""
STILL = "window.__watch.done(0)"
STILL_WITHIN = 20_000
"""Longest wait for the charts to come to rest. [ms]"""
MOST_RESTLESS = 0.01
"""Share of the moves after which a chart may go on drawing itself until the next move. Seen on an overloaded machine
only: the framework's chart is handed a second state while it still draws the first."""


STATE = """() => JSON.stringify([window.__watch, performance.now(),
    document.querySelector('[data-testid=stApp]')?.getAttribute('data-test-script-state'),
    document.querySelectorAll('[data-stale="true"]').length, document.activeElement?.outerHTML.slice(0, 120),
    document.querySelector('input[type=range]')?.value, document.querySelector('[role=dialog]')?.innerText])"""


@dataclass
class Visitor:
    """What one visitor has and has seen."""

    number: int
    inputs: Inputs
    moves: int = 0
    checks: int = 0
    slowest: float = 0.0
    restless: int = 0
    wrong: list[str] = field(default_factory=list)

    @property
    def name(self) -> str:
        return self.inputs.name

    def note(self, text: str) -> None:
        """Keep what went wrong."""
        if not any(word in text for word in HARMLESS):
            self.wrong.append(f"{self.name}, move {self.moves}: {text[:500]}")
            print("WRONG", self.wrong[-1], flush=True)


def visitor(number: int) -> Visitor:
    """Visitor with a build of their own: mass, KV and name differ from everybody else's."""
    mine = replace(demo_inputs("scree"), name=f"Visitor{number:03d}x", kv=1500 + 31 * number)
    # on the slider's own steps, so that a key moves it by exactly one
    mine = with_take_off_g(mine, 500.0 + 20.0 * number)
    return Visitor(number, mine)


def expected(inputs: Inputs) -> tuple[str, str, str]:
    """Take-off mass, hover throttle and pull as the page must write them."""
    answer = propmodel.performance(to_build(inputs))
    return (
        value("mass", float(answer.mass)),
        value("percent", float(answer.hover_throttle)),
        value("pull_to_weight", float(answer.thrust_to_weight)),
    )


def one_space(text: str) -> str:
    """Any kind of space as a plain one."""
    return re.sub(r"\s+", " ", text)


async def finished(page: playwright.Page, who: Visitor) -> None:
    """Wait for the finished page, however long the crowd makes it."""
    try:
        await page.wait_for_function(ENDED, polling=200, timeout=PATIENCE)
    except playwright.TimeoutError:
        state = await page.evaluate(STATE)
        raise playwright.TimeoutError(
            f"no finished page within {PATIENCE / 1000:.0f} s on {page.url}: {state}"
        ) from None
    try:
        await page.wait_for_function(STILL, polling=200, timeout=STILL_WITHIN)
    except playwright.TimeoutError:
        who.restless += 1
        print(f"{who.name}, move {who.moves}: a chart goes on drawing itself: {await page.evaluate(STATE)}", flush=True)


async def check(page: playwright.Page, who: Visitor, where: str) -> None:
    """Everything that must hold after a move."""
    who.checks += 1
    shown = await page.evaluate(
        "[document.querySelector('input[type=range]').value, document.querySelector('.wi-sentence').innerText,"
        " document.body.innerText,"
        " document.querySelectorAll('[data-testid=stException], [data-testid=stAlert]').length]"
    )
    grams, sentence, body, boxes = shown
    wanted = round(take_off_g(who.inputs))
    if abs(float(grams) - wanted) > 1e-6:
        who.note(f"the slider on {where} stands at {grams}, not at {wanted}")
    if boxes:
        who.note(f"{boxes} boxes of errors on {where}")
    foreign = set(NAMES.findall(body)) - {who.name}
    if foreign:
        who.note(f"{sorted(foreign)} on {where}")
    if who.name not in body:
        who.note(f"no own name on {where}")
    if where == "Lift":
        mass, hover, pull = (one_space(text) for text in expected(who.inputs))
        sentence = one_space(sentence)
        for text in (who.name, f"at {mass} and hovers at {hover} throttle", f"pulls {pull} its weight"):
            if text not in sentence:
                who.note(f"“{text}” is not in “{sentence[:160]}”")


async def visit(browser: playwright.Browser, address: str, who: Visitor, *, end: float) -> None:
    """One session until the time is over."""
    context = await browser.new_context(viewport={"width": 1200, "height": 800})
    await context.add_init_script(WATCH)
    page = await context.new_page()
    page.set_default_timeout(PATIENCE)
    page.on(
        "console", lambda m: who.note(f"console: {m.text} {m.location.get('url', '')}") if m.type == "error" else None
    )
    page.on("pageerror", lambda e: who.note(f"page error: {e}"))
    luck = random.Random(who.number)
    try:
        await page.goto(f"{address}/?{encode(who.inputs)}")
        await finished(page, who)
        while time.monotonic() < end:
            for where in TOUR:
                if where != "Lift" or who.moves:
                    await page.evaluate("window.__watch.reset()")
                    await page.get_by_test_id("stTopNavLink").filter(has_text=where).first.click()
                    await finished(page, who)
                await check(page, who, where)
                for _ in range(KEYS):
                    if time.monotonic() >= end:
                        break
                    slider = page.get_by_role("slider").first
                    step = float(await slider.get_attribute("step") or 1.0)
                    up = luck.random() < 0.5
                    begin = time.monotonic()
                    await slider.focus()
                    await page.keyboard.press("ArrowRight" if up else "ArrowLeft")
                    who.moves += 1
                    now = round(take_off_g(who.inputs))
                    who.inputs = with_take_off_g(who.inputs, float(now + (step if up else -step)))
                    await finished(page, who)
                    who.slowest = max(who.slowest, time.monotonic() - begin)
                    await check(page, who, where)
                if time.monotonic() >= end:
                    break
    except playwright.Error as stopped:
        who.note(f"stopped: {stopped}")
    await context.close()


def resident(pid: int) -> float:
    """Resident memory of a process. [MB]"""
    status = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    found = re.search(r"VmRSS:\s+(\d+)", status)
    assert found is not None
    return int(found.group(1)) / 1024.0


async def crowd(address: str, pid: int, crew: list[Visitor], *, seconds: float) -> list[float]:
    """Let all visitors in; gives the server's memory at the start, each minute and at the end. [MB]"""
    memory: list[float] = []
    begin = time.monotonic()

    def remember() -> None:
        memory.append(resident(pid))
        moves = sum(who.moves for who in crew)
        print(f"{time.monotonic() - begin:6.0f} s  {memory[-1]:7.0f} MB  {moves:5d} moves", flush=True)

    async def watch() -> None:
        while True:
            remember()
            await asyncio.sleep(min(60.0, seconds / 5.0))

    async with playwright.async_playwright() as driver:
        browser = await driver.chromium.launch(args=CHROMIUM_ARGUMENTS, executable_path=chromium())
        watching = asyncio.create_task(watch())
        await asyncio.gather(*(visit(browser, address, who, end=begin + seconds) for who in crew))
        watching.cancel()
        remember()
        await browser.close()
    return memory


def main() -> int:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--browsers", type=int, default=20)
    parser.add_argument("--minutes", type=float, default=5.0)
    asked = parser.parse_args()
    crew = [visitor(k) for k in range(asked.browsers)]
    with tempfile.TemporaryDirectory() as home:
        folder = Path(home)
        with served(folder) as running:
            server = running.process
            memory = asyncio.run(crowd(running.address, server.pid, crew, seconds=60.0 * asked.minutes))
            wrong = [text for who in crew for text in who.wrong]
            if server.poll() is not None:
                wrong.append(f"the server stopped with code {server.returncode}")
        told = (folder / "server.log").read_text(encoding="utf-8", errors="replace")
    if re.search(r"Traceback|\bERROR\b", told):
        wrong.append(f"the server's log: {told[-1500:]}")
    if idle := [who.name for who in crew if who.moves == 0]:
        wrong.append(f"never moved: {', '.join(idle)}")
    third = memory[len(memory) // 3]
    if max(memory) > MOST_MEGABYTES or memory[-1] > MOST_GROWTH * third:
        wrong.append(
            f"memory: {third:.0f} MB after a third, {memory[-1]:.0f} MB at the end, {max(memory):.0f} MB at most"
        )
    restless = sum(who.restless for who in crew)
    if restless > MOST_RESTLESS * sum(who.moves for who in crew):
        wrong.append(f"{restless} times a chart went on drawing itself")
    moves, checks = sum(who.moves for who in crew), sum(who.checks for who in crew)
    print(
        f"{asked.browsers} browsers, {asked.minutes:g} minutes, {moves} moves, {checks} checks, slowest move "
        f"{max(who.slowest for who in crew):.1f} s, {restless} charts without rest, "
        f"memory {memory[0]:.0f} to {memory[-1]:.0f} MB"
    )
    for text in wrong[len([text for who in crew for text in who.wrong]) :]:
        print("WRONG", text)
    print(f"{len(wrong)} things went wrong" if wrong else "nothing went wrong")
    return int(bool(wrong))


if __name__ == "__main__":
    sys.exit(main())
