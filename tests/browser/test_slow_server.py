"""Keys on a slow server: what is pressed while a page is being redrawn moves what it was meant for, or nothing."""

from __future__ import annotations

import os

import pytest
from serving import served

SLOWED = """
import time
import streamlit as st


def slowed(call, seconds):
    def waits(*given, **named):
        time.sleep(seconds)
        return call(*given, **named)

    return waits


st.set_page_config, st.slider, st.button = (
    slowed(call, seconds)
    for call, seconds in zip((st.set_page_config, st.slider, st.button), SECONDS, strict=True)
)
"""
"""Python reads it before anything else: at the head of a run, before each slider and after the sliders it waits."""


@pytest.fixture(scope="module", params=[(0.05, 0.02, 0.8), (0.5, 0.2, 0.2)], ids=["late in a run", "early in a run"])
def slow_server(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("slow")
    (folder / "sitecustomize.py").write_text(SLOWED.replace("SECONDS", repr(request.param)))
    path = os.pathsep.join(p for p in (str(folder), os.environ.get("PYTHONPATH", "")) if p)
    with served(folder, environment={**os.environ, "PYTHONPATH": path}) as running:
        yield running.address


@pytest.fixture
def tab(tabs):
    one = tabs.take()
    yield one
    tabs.give_back(one, sound=True)


@pytest.mark.parametrize("wait", [0, 150, 400, 900])
def test_arrow_keys_after_another_knob_is_chosen(tab, slow_server, settle, wait):
    """Six presses on whatever slider stands there: the KV moves by six steps or less, the mass does not."""
    page = tab.show(f"{slow_server}/minutes", width=1400, height=900, scheme="light")
    page.get_by_role("combobox", name="Try changing").focus()
    page.keyboard.press("Control+A")
    page.keyboard.type("KV", delay=20)
    page.wait_for_timeout(300)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.wait_for_timeout(wait)
    slider = page.locator(".st-key-strip input[type=range]").first
    slider.focus()
    for _ in range(6):
        page.keyboard.press("ArrowRight")
    for _ in range(2):
        page.wait_for_timeout(1500)
        settle(page)
    side = page.get_by_test_id("stSidebar")
    told = {name: side.get_by_role("spinbutton", name=name).input_value() for name in ("Take-off mass", "KV")}
    assert told["Take-off mass"] == "690"
    assert 1950 <= int(told["KV"]) <= 2010
    assert slider.input_value() == told["KV"], "slider and field say the same"
