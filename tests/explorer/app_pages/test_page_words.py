"""How much there is to read: words of every page with its folds closed, and words that no page uses."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from page_words import words_of
from streamlit.testing.v1 import AppTest

import explorer
from explorer.app import PAGES
from explorer.controls.page_frame import page_file
from explorer.inputs import demo_inputs
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


def shown(page: str, craft: str) -> list[str]:
    at = AppTest.from_file(str(APP), default_timeout=90).run()
    at.session_state["inputs"] = demo_inputs(craft)
    if page != "lift":
        at.switch_page(page_file(page))
    at.run()
    assert not at.exception
    return words_of(at)


@pytest.mark.parametrize("craft", demo_names())
@pytest.mark.parametrize("page", [name for name, _ in PAGES])
def test_no_page_says_more_than_can_be_read_and_every_page_says_it_plainly(page, craft):
    words = shown(page, craft)
    assert 40 < len(words) <= MOST.get(page, 600), " ".join(words)
    text = re.sub(r"\s+", " ", " ".join(words)).lower()
    assert [word for word in PLAIN if word in text] == []
