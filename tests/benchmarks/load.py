"""Forty visitors at once move sliders: no error, memory bounded, everybody sees their own build and no other's.

    python tests/benchmarks/load.py [--browsers 40] [--minutes 5] [--savers 4]
    python tests/benchmarks/load.py --browsers 0 --connections 40 --pause 5 --rounds 3

Starts its own server on a free port of this machine. Each browser is a context of one headless Chromium: own cookies,
own session. A connection is a visitor without a browser, who sends and reads what a browser would: forty browsers take
more of the machine than the server that they are to load. Each comes by a link of its own with a name, a KV and a mass
that nobody else has, and goes round the pages with the slider "Try changing"; on each it moves it by one step at a
time, with a pause of ``--pause`` seconds on average between two moves. After every move, once the page is finished, it
checks

- the slider stands where this visitor's own keys have put it;
- on Lift, take-off mass, hover throttle and pull in the opening sentence are those that `propmodel` works out here, in
  another process, for this visitor's build, and the name is theirs;
- no other visitor's name stands anywhere on the page, on any page;
- no error box, no exception, no error in the console.

Meanwhile other processes save builds into the server's own database. One of them is killed every second or so, and
every third may write no more than some kilobytes, as on a full disk. In the end the database is sound, and every build
whose save was told done is there.

When all have left, the server is watched until their sessions have ended by themselves: few files are open then, and
its memory no longer grows. With ``--rounds`` the same crowd comes again after that, and the server must take no more
than after the round before.

Prints the server's memory, open files, threads and processor time at the start, each minute and at the end, what a
visitor takes of them, and the times to an answer.

The code is 1 when anything of this fails, the
server's log has an error, somebody never moved, or the memory passes `MOST_MEGABYTES` or still grows in the last two
thirds by more than `MOST_GROWTH`.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import random
import re
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import closing
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path

from playwright import async_api as playwright

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))
sys.path.insert(0, str(Path(__file__).resolve().parent))
from browser_speed import WATCH
from conftest import CHROMIUM_ARGUMENTS, HARMLESS
from load_connections import Page
from load_watch import Taken, taken, times_in_words
from serving import chromium, served
from websockets.exceptions import WebSocketException

import propmodel
from explorer.inputs import Inputs, demo_inputs, take_off_g, to_build, with_take_off_g
from explorer.inputs.link import encode
from explorer.text.numbers import value

MOST_MEGABYTES = 1500.0
MOST_GROWTH = 1.5
MOST_ROUND_GROWTH = 1.05
"""A later round may leave this much more than the one before: an estimate."""
TOUR = ("Lift", "Minutes", "Margins", "Dive")
MOST_SHOWN = 40
"""Lines of what went wrong that are printed in the end."""
KEYS = 4
"""Keys on a page before the next."""
PATIENCE = 90_000
"""Longest wait for a finished page in the crowd. [ms]"""
SLACK = 50.0
"""Sessions end before the time that the server keeps them is over; then some. [s]"""
EMPTY_FILES = 40
"""Open files of a server whose visitors have left: an estimate. Each session has three."""
EMPTY_THREADS = 50
"""Threads of a server whose visitors have left: the loop's own pool keeps up to 40."""
NAMES = re.compile(r"Visitor\d{3}x")
ENDED = """() => {
    const old = document.querySelector('[data-stale="true"]') || document.querySelector('[data-testid="stSkeleton"]');
    const app = document.querySelector('[data-testid="stApp"]');
    return window.__watch && window.__watch.ended > 0 && !old && document.querySelector('.wi-sentence')
        && document.querySelector('.st-key-strip input[type=range]')
        && app.getAttribute('data-test-script-state') === 'notRunning';
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
    document.querySelector('.st-key-strip input[type=range]')?.value,
    document.querySelector('[role=dialog]')?.innerText])"""


@dataclass
class Visitor:
    """What one visitor has and has seen."""

    number: int
    inputs: Inputs
    moves: int = 0
    checks: int = 0
    times: list[float] = field(default_factory=list)
    """From a move to the finished page. [s]"""
    restless: int = 0
    wrong: list[str] = field(default_factory=list)

    @property
    def name(self) -> str:
        return self.inputs.name

    def note(self, text: str) -> None:
        """Keep what went wrong."""
        if not any(word in text for word in HARMLESS):
            self.wrong.append(f"{self.name}, move {self.moves}: {text[:500]}")
            if len(self.wrong) <= 2:
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
        value("thrust_to_weight", float(answer.thrust_to_weight)),
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
        "[document.querySelector('.st-key-strip input[type=range]').value,"
        " document.querySelector('.wi-sentence').innerText,"
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
        check_sentence(one_space(sentence), who)


def check_sentence(sentence: str, who: Visitor) -> None:
    """The opening sentence of Lift holds the visitor's own answers."""
    mass, hover, pull = (one_space(text) for text in expected(who.inputs))
    for text in (who.name, f"at {mass} and has a hover command of {hover}", f"its thrust is {pull} its weight"):
        if text not in sentence:
            who.note(f"“{text}” is not in “{sentence[:300]}”")


async def connected(address: str, who: Visitor, *, end: float, pause: float) -> None:
    """One session without a browser until the time is over; checks what `check` does."""

    def look(page: Page, where: str) -> None:
        who.checks += 1
        for text in page.errors:
            who.note(f"an error on {where}: {text}")
        page.errors.clear()
        if abs(page.value - (wanted := round(take_off_g(who.inputs)))) > 1e-6:
            who.note(f"the slider on {where} stands at {page.value}, not at {wanted}")
        if foreign := set(NAMES.findall(page.text)) - {who.name}:
            who.note(f"{sorted(foreign)} on {where}")
        if who.name not in page.text:
            who.note(f"no own name on {where}")
        if where == "Lift":
            check_sentence(page.sentence, who)

    luck = random.Random(who.number)
    try:
        await asyncio.sleep(luck.uniform(0.0, pause))
        async with Page(address, encode(who.inputs)) as page:
            await page.run()
            while time.monotonic() < end:
                for where in TOUR:
                    if where != "Lift" or who.moves:
                        await page.go(where)
                    look(page, where)
                    for _ in range(KEYS):
                        await asyncio.sleep(luck.uniform(0.0, 2.0 * pause))
                        if time.monotonic() >= end:
                            return
                        step = 5.0 if luck.random() < 0.5 else -5.0
                        who.moves += 1
                        who.inputs = with_take_off_g(who.inputs, float(round(take_off_g(who.inputs)) + step))
                        who.times.append(await page.move(step))
                        look(page, where)
    except (OSError, EOFError, ValueError, WebSocketException) as stopped:
        who.note(f"stopped: {stopped!r}")


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
                    await page.locator("nav.wi-bar a", has_text=where).first.click()
                    await finished(page, who)
                await check(page, who, where)
                for _ in range(KEYS):
                    if time.monotonic() >= end:
                        break
                    slider = page.locator(".st-key-strip").get_by_role("slider")
                    step = float(await slider.get_attribute("step") or 1.0)
                    up = luck.random() < 0.5
                    begin = time.monotonic()
                    await slider.focus()
                    await page.keyboard.press("ArrowRight" if up else "ArrowLeft")
                    who.moves += 1
                    now = round(take_off_g(who.inputs))
                    who.inputs = with_take_off_g(who.inputs, float(now + (step if up else -step)))
                    await finished(page, who)
                    who.times.append(time.monotonic() - begin)
                    await check(page, who, where)
                if time.monotonic() >= end:
                    break
    except playwright.Error as stopped:
        who.note(f"stopped: {stopped}")
    await context.close()


SAVER = """
import sys
sys.path.insert(0, {project!r})
try:
    import resource, signal
    if {full}:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, ({most}, {most}))
except ImportError:  # Windows has no such limit
    pass
from explorer.saved.store import FolderStore, StoreError
store, mine = None, []
for k in range(100_000):
    try:
        store = store or FolderStore({folder!r})
        mine.append(store.save("Saver", {{"kv": 1000.0 + k, "text": "x" * 1900}}).key)
        print("kept", mine[-1], flush=True)
        if len(mine) > 3:
            print("gone", mine[0], flush=True)
            store.delete(mine.pop(0))
        if k % 10 == 9:
            store.builds()
    except StoreError as told:
        print("told", told, flush=True)
        store = None
"""


class Savers:
    """Processes that save into one database, killed and begun again."""

    def __init__(self, folder: Path, count: int) -> None:
        self.folder, self.count = folder, count
        self.kept: set[str] = set()
        self.gone: set[str] = set()
        self.told: dict[str, int] = {}
        self.killed = 0
        self.strange: list[str] = []
        self._stop = threading.Event()
        self._threads = [threading.Thread(target=self._one, args=(k,)) for k in range(count)]

    def __enter__(self) -> Savers:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        for thread in self._threads:
            thread.join()

    def _one(self, number: int) -> None:
        luck = random.Random(number)
        project = str(Path(propmodel.__file__).parents[1])
        while not self._stop.is_set():
            most = luck.randrange(20_000, 400_000)
            code = SAVER.format(project=project, full=number % 3 == 2, most=most, folder=str(self.folder))
            process = subprocess.Popen(
                [sys.executable, "-c", code],
                stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, encoding="utf-8",
            )  # fmt: skip
            timer = threading.Timer(luck.uniform(1.0, 2.0 * self.count), process.kill)
            timer.start()
            try:
                for line in process.stdout or ():
                    if line.endswith("\n"):  # a process that is killed may leave half a line
                        self._note(line.strip())
                    if self._stop.is_set():
                        process.kill()
            finally:
                timer.cancel()
                process.wait()
            self.killed += 1

    def _note(self, line: str) -> None:
        kind, _, rest = line.partition(" ")
        if kind == "told":
            words = re.sub(r"\d+", "N", rest)[:90]
            self.told[words] = self.told.get(words, 0) + 1
        elif kind in ("kept", "gone"):
            {"kept": self.kept, "gone": self.gone}[kind].add(rest)
        elif line:
            self.strange.append(line[:200])

    def wrong(self) -> list[str]:
        """What is wrong with the database in the end."""
        wrong = [f"a saver said: {line}" for line in self.strange[:3]]
        with closing(sqlite3.connect(self.folder / "saved.sqlite3")) as db:
            if db.execute("PRAGMA integrity_check").fetchone() != ("ok",):
                wrong.append("the database is damaged")
            there = {key for (key,) in db.execute("SELECT key FROM builds")}
        if lost := self.kept - self.gone - there:
            wrong.append(f"{len(lost)} of {len(self.kept)} builds were lost: {sorted(lost)[:3]}")
        if (self.folder / "set-aside").exists():
            wrong.append(f"files were set aside: {[p.name for p in (self.folder / 'set-aside').iterdir()][:3]}")
        if not self.kept:
            wrong.append("nothing was saved")
        return wrong


async def first_visit(address: str) -> None:
    """Walk over the pages once: what a server loads and keeps for good is there then."""
    async with Page(address, encode(visitor(0).inputs)) as page:
        await page.run()
        for where in TOUR:
            await page.go(where)


async def crowd(
    address: str, pid: int, crew: list[Visitor], *, browsers: int, seconds: float, pause: float
) -> list[Taken]:
    """Let all in, the first ones in browsers; gives what the server takes at the start, each minute and at the end."""
    seen: list[Taken] = []
    begin = time.monotonic()

    def remember() -> None:
        seen.append(taken(pid))
        moves = sum(who.moves for who in crew)
        print(f"{time.monotonic() - begin:6.0f} s  {seen[-1]}, {moves} moves", flush=True)

    async def watch() -> None:
        while True:
            remember()
            await asyncio.sleep(min(60.0, seconds / 5.0))

    end = begin + seconds
    watching = asyncio.create_task(watch())
    visits = [connected(address, who, end=end, pause=pause) for who in crew[browsers:]]
    if browsers:
        async with playwright.async_playwright() as driver:
            browser = await driver.chromium.launch(args=CHROMIUM_ARGUMENTS, executable_path=chromium())
            await asyncio.gather(*visits, *(visit(browser, address, who, end=end) for who in crew[:browsers]))
            await browser.close()
    else:
        await asyncio.gather(*visits)
    watching.cancel()
    remember()
    return seen


def afterwards(pid: int, full: Taken, seconds: float, *, ended: bool) -> tuple[Taken, list[str]]:
    """Watch the server after its visitors have left; what it takes then, and what is wrong.

    ``ended`` says that all sessions must be over by then.
    """
    begun = time.monotonic()
    while time.monotonic() - begun < seconds:
        time.sleep(min(10.0, seconds))
    left = taken(pid)
    print(f"{seconds:.0f} s after they left: {left}", flush=True)
    wrong = []
    if left.megabytes > 1.05 * full.megabytes:
        wrong.append(f"memory grows without a visitor: {full.megabytes:.0f} to {left.megabytes:.0f} MB")
    if ended and left.files > EMPTY_FILES:
        wrong.append(f"{left.files} files are still open")
    if ended and left.threads > EMPTY_THREADS:
        wrong.append(f"{left.threads} threads are still there")
    return left, wrong


def main() -> int:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--browsers", type=int, default=40)
    parser.add_argument("--connections", type=int, default=0, help="visitors without a browser")
    parser.add_argument("--pause", type=float, default=5.0, help="seconds between two moves of a connection")
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--rounds", type=int, default=1, help="how often the crowd comes")
    parser.add_argument("--savers", type=int, default=4, help="processes that save meanwhile")
    parser.add_argument("--afterwards", type=float, default=None, help="seconds to watch the empty server")
    parser.add_argument("--keep", type=float, default=120.0, help="seconds that the server keeps a session")
    asked = parser.parse_args()
    many = asked.browsers + asked.connections
    watched = asked.keep + SLACK if asked.afterwards is None else asked.afterwards
    # the server is that of this checkout, whatever is installed
    path = os.pathsep.join(filter(None, [str(Path(propmodel.__file__).parents[1]), os.environ.get("PYTHONPATH")]))
    environment = {**os.environ, "STREAMLIT_SERVER_DISCONNECTED_SESSION_TTL": f"{asked.keep:.0f}", "PYTHONPATH": path}
    crew, seen, left, wrong = [], [], [], []
    with tempfile.TemporaryDirectory() as home:
        folder = Path(home)
        with served(folder, environment=environment) as running:
            server = running.process
            print(f"started: {taken(server.pid)}", flush=True)
            asyncio.run(first_visit(running.address))
            empty = taken(server.pid)
            print(f"after a first visit: {empty}", flush=True)
            with Savers(folder / "data" / "propulsion-what-if", asked.savers) as savers:
                for _ in range(asked.rounds):
                    these = [visitor(k) for k in range(many)]
                    crew += these
                    seen = asyncio.run(
                        crowd(
                            running.address, server.pid, these,
                            browsers=asked.browsers, seconds=60.0 * asked.minutes, pause=asked.pause,
                        )
                    )  # fmt: skip
                    wrong += [text for who in these for text in who.wrong]
                    if server.poll() is not None:
                        wrong.append(f"the server stopped with code {server.returncode}")
                        break
                    after, grown = afterwards(server.pid, seen[-1], watched, ended=watched >= asked.keep + SLACK)
                    left.append(after)
                    wrong += grown
        if asked.savers:
            wrong += savers.wrong()
            told = savers.told or "nothing"
            print(f"{len(savers.kept)} builds saved, {savers.killed} processes killed, told: {told}")
        told = (folder / "server.log").read_text(encoding="utf-8", errors="replace")
    if re.search(r"Traceback|\bERROR\b", told):
        wrong.append(f"the server's log: {told[-1500:]}")
    if idle := [who.name for who in crew if who.moves == 0]:
        wrong.append(f"never moved: {', '.join(idle)}")
    memory = [one.megabytes for one in seen]
    third = memory[len(memory) // 3]
    if max(memory) > MOST_MEGABYTES or memory[-1] > MOST_GROWTH * third:
        wrong.append(
            f"memory: {third:.0f} MB after a third, {memory[-1]:.0f} MB at the end, {max(memory):.0f} MB at most"
        )
    for before, after in pairwise(left):
        if after.megabytes > MOST_ROUND_GROWTH * before.megabytes:
            wrong.append(f"a round leaves more than the one before: {before.megabytes:.0f} to {after.megabytes:.0f} MB")
    restless = sum(who.restless for who in crew)
    if restless > MOST_RESTLESS * sum(who.moves for who in crew):
        wrong.append(f"{restless} times a chart went on drawing itself")
    moves, checks = sum(who.moves for who in crew), sum(who.checks for who in crew)
    print(
        f"{asked.browsers} browsers and {asked.connections} connections, {asked.rounds} times {asked.minutes:g} "
        f"minutes, {moves} moves, {checks} checks, {restless} charts without rest"
    )
    print(times_in_words([seconds for who in crew for seconds in who.times]))
    if left:
        inside, gone = many or 1, left[-1]
        files, threads = max(one.files for one in seen), max(one.threads for one in seen)
        spent = gone.seconds - empty.seconds
        print(
            f"a visitor: {(max(memory) - empty.megabytes) / inside:.1f} MB, {(files - gone.files) / inside:.1f} files, "
            f"{(threads - gone.threads) / inside:.1f} threads"
        )
        print(f"processor: {1000.0 * spent / max(moves, 1):.0f} ms a move")
        print(
            f"memory: {empty.megabytes:.0f} MB after a first visit, {max(memory):.0f} MB full; when all have left "
            + ", ".join(f"{one.megabytes:.0f} MB" for one in left)
        )
    for text in wrong[:MOST_SHOWN]:
        print("WRONG", text)
    print(f"{len(wrong)} things went wrong" if wrong else "nothing went wrong")
    return int(bool(wrong))


if __name__ == "__main__":
    sys.exit(main())
