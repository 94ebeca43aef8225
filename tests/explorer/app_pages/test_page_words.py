"""How much there is to read: words of every page with its folds closed, and words that no page uses."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from page_words import words_of
from streamlit.testing.v1 import AppTest

import explorer
from explorer.app import PAGES
from explorer.controls.page_frame import page_file
from explorer.inputs import Inputs, demo_inputs
from propmodel.assembly.demo import demo_names

APP = Path(explorer.__file__).with_name("app.py")
MOST = {"lift": 400}
"""Words at most; every other page 600. [-]"""
PLAIN = {
    "hang still": "hover", "hanging still": "hover", "what gives first": "which part reaches its limit first",
    "command cap": "throttle cap", "leans on": "guessed", "you have not said": "not told",
    "you have not told": "not told", "output limit": "throttle cap", "linearis": "say what it does",
    "softer for its weight": "less thrust for its weight", "upright:": "line", "for want of": "missing",
}  # fmt: skip
"""Words that the screens no longer use, and what they say in their place."""


def shown(page: str, craft: str, pins: Sequence[Inputs] = ()) -> list[str]:
    at = AppTest.from_file(str(APP), default_timeout=90).run()
    at.session_state["inputs"] = demo_inputs(craft)
    at.session_state["pins"] = list(pins)
    if page != "lift":
        at.switch_page(page_file(page))
    at.run()
    assert not at.exception
    return words_of(at)


@pytest.mark.parametrize("page", ["lift", "minutes", "margins", "dive"])
def test_three_pinned_builds_do_not_make_a_page_longer_than_can_be_read(page):
    pins = [replace(demo_inputs("scree"), capacity_mah=mah) for mah in (1100.0, 1500.0, 1800.0)]
    words = shown(page, "scree", pins)
    assert " ".join(words).count("Scree, 1500 mAh") >= 2
    assert len(words) <= MOST.get(page, 600), " ".join(words)


@pytest.mark.parametrize("craft", demo_names())
@pytest.mark.parametrize("page", [name for name, _ in PAGES])
def test_no_page_says_more_than_can_be_read_and_every_page_says_it_plainly(page, craft):
    words = shown(page, craft)
    assert 40 < len(words) <= MOST.get(page, 600), " ".join(words)
    text = re.sub(r"\s+", " ", " ".join(words)).lower()
    assert [word for word in PLAIN if word in text] == []
