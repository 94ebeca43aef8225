"""The page opens in a real browser, in both colour schemes, from this machine only."""

from __future__ import annotations

import pytest

# Ground and ink of the palette in .streamlit/config.toml, as the browser computes them.
GROUND = {"light": "rgb(246, 245, 240)", "dark": "rgb(21, 27, 29)"}
INK = {"light": "rgb(30, 42, 46)", "dark": "rgb(231, 230, 222)"}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_palette_follows_the_system(visit, scheme):
    page = visit(scheme=scheme)
    app = page.get_by_test_id("stApp")
    assert app.evaluate("node => getComputedStyle(node).backgroundColor") == GROUND[scheme]
    assert app.evaluate("node => getComputedStyle(node).color") == INK[scheme]


def test_nothing_is_asked_of_another_machine(browser, server, settle):
    asked: list[str] = []
    context = browser.new_context()
    page = context.new_page()
    page.on("request", lambda request: asked.append(request.url))
    page.goto(server)
    settle(page)
    page.wait_for_timeout(500)  # statistics would be sent after the first drawing
    context.close()
    assert asked
    assert [url for url in asked if not url.startswith((server, "data:", "blob:", "ws://127.0.0.1"))] == []
