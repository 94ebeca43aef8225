"""Take pictures of every page at 1400, 1024 and 390 px, light and dark, and for print, to look at.

    python tests/browser/take_pictures.py FOLDER [--page lift] [--query "craft=fell"] [--open]

Starts its own server on a free port of this machine and stops it at the end. Prints one line for each picture, with
what the browser's console said. ``--open`` opens all groups of the side panel first.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from playwright import sync_api as playwright

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))
from conftest import CHROMIUM_ARGUMENTS, wait_until_idle
from serving import chromium, served

from explorer.app import PAGES

WIDTHS = (1400, 1024, 390)
SCHEMES = ("light", "dark")
TALLEST = 6000
"""Taller pages are cut. [px]"""


def picture(page: playwright.Page, path: Path, width: int) -> int:
    """Grow the window to the page and take it whole; gives the height. [px]"""
    wait_until_idle(page)
    height = page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
    height = min(int(height) + 10, TALLEST)
    page.set_viewport_size({"width": width, "height": height})
    page.wait_for_timeout(400)
    page.screenshot(path=path)
    return height


def main() -> None:
    """Take them all."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--page", action="append", help="only this page; may be given more than once")
    parser.add_argument("--query", default="", help="query string of a link, to see another build")
    parser.add_argument("--open", action="store_true", help="open all groups of the side panel")
    asked = parser.parse_args()
    asked.folder.mkdir(parents=True, exist_ok=True)
    files = [file for file, _ in PAGES]
    files = [file for file in files if not asked.page or file in asked.page]
    with tempfile.TemporaryDirectory() as home, served(Path(home)) as running:
        take(files, running.address, asked)


def take(files: list[str], address: str, asked: argparse.Namespace) -> None:
    """Walk pages, widths and colour schemes in one browser."""
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium(), args=CHROMIUM_ARGUMENTS)
        for file in files:
            for width in WIDTHS:
                for scheme in SCHEMES:
                    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
                    page = context.new_page()
                    said: list[str] = []
                    page.on("console", lambda m, said=said: said.append(m.text) if m.type == "error" else None)
                    page.goto(f"{address}/{'' if file == PAGES[0][0] else file}?{asked.query}".rstrip("?"))
                    wait_until_idle(page)
                    if asked.open and width > 700:
                        for switch in page.locator("[data-testid=stSidebar] summary").all():
                            switch.click()
                            wait_until_idle(page)
                    path = asked.folder / f"{file}-{width}-{scheme}.png"
                    height = picture(page, path, width)
                    print(path, f"{height} px", *said, sep="  ", flush=True)
                    if width == WIDTHS[0] and scheme == SCHEMES[0]:
                        page.pdf(path=asked.folder / f"{file}-print.pdf", format="A4")
                    context.close()
        browser.close()


if __name__ == "__main__":
    main()
