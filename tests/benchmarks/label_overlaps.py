"""Words that lie over each other or are cut off: pages, invented craft, widths and schemes, measured in the browser.

    python tests/benchmarks/label_overlaps.py                # nine pages, five craft, two widths, two schemes
    python tests/benchmarks/label_overlaps.py dive,lift scree 390 dark
    python tests/benchmarks/label_overlaps.py dive,lift scree 390 dark 3    # with three pinned builds

Compares the boxes of all words in each chart, of those along strips and rulers, and of all other words of the page.
Prints one line for each pair that shares more than 1.5 px in both directions, and for each word that leaves its
chart or is cut off; ends with 1 if any does.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import replace
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[1]), str(HERE.parent / "browser"), str(HERE.parent / "support")]

from conftest import CHROMIUM_ARGUMENTS, wait_until_idle  # noqa: E402
from overlaps import OVERLAPS  # noqa: E402
from playwright.sync_api import sync_playwright  # noqa: E402
from serving import chromium, served  # noqa: E402

from explorer.app import PAGES  # noqa: E402
from explorer.inputs import demo_inputs, take_off_g, with_take_off_g  # noqa: E402
from explorer.inputs.link import encode  # noqa: E402
from propmodel.assembly.demo import demo_names  # noqa: E402


def address_of(craft: str, pins: int) -> str:
    """Query of a craft with so many pinned beside it: more pack, lower KV, heavier."""
    own = demo_inputs(craft)
    others = (
        replace(own, name=f"{own.name} with a larger pack", capacity_mah=1.4 * own.capacity_mah, pack_g=None),
        replace(own, name=f"{own.name} at a lower KV", kv=0.85 * own.kv),
        replace(with_take_off_g(own, 1.2 * take_off_g(own)), name=f"{own.name} heavier"),
    )
    return encode(own, *others[:pins])


def main(pages: list[str], crafts: list[str], widths: list[int], schemes: list[str], pins: int) -> int:
    """Look at every picture; the number of findings."""
    count = pictures = 0
    with tempfile.TemporaryDirectory() as home, served(Path(home)) as running, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium(), args=CHROMIUM_ARGUMENTS)
        for width in widths:
            context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=schemes[0])
            page = context.new_page()
            for craft in crafts:
                for name in pages:
                    first = name == PAGES[0][0]  # it stands at the bare address
                    page.goto(f"{running.address}/{'' if first else name}?{address_of(craft, pins)}")
                    for scheme in schemes:
                        page.emulate_media(color_scheme=scheme)
                        wait_until_idle(page)
                        page.wait_for_timeout(250)  # words are moved apart a moment after the drawing
                        pictures += 1
                        for line in page.evaluate(OVERLAPS):
                            count += 1
                            print(f"{name} {craft} {width} {scheme}: {line}", flush=True)
            context.close()
        browser.close()
    print(f"{count} findings in {pictures} pictures")
    return count


if __name__ == "__main__":
    given = [text.split(",") for text in sys.argv[1:]]
    whole = [[file for file, _ in PAGES], list(demo_names()), ["1400", "390"], ["light", "dark"], ["0"]]
    chosen = given + whole[len(given) :]
    sys.exit(1 if main(chosen[0], chosen[1], [int(w) for w in chosen[2]], chosen[3], int(chosen[4][0])) else 0)
