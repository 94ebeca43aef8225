"""The Lift page run without a browser, and what the tests look at in it."""

from __future__ import annotations

import json
import re
from pathlib import Path

from streamlit.testing.v1 import AppTest

import explorer
from explorer.controls.field_controls import BOARD

APP = Path(explorer.__file__).with_name("app.py")


def run(at: AppTest) -> AppTest:
    at.run()
    assert not at.exception
    assert not at.error
    return at


def opened(**params: str) -> AppTest:
    at = AppTest.from_file(str(APP), default_timeout=60)
    for name, value in params.items():
        at.query_params[name.replace("__", ".")] = value
    return run(at)


def body(at: AppTest) -> str:
    """Everything said in our own words, tags taken off."""
    text = " ".join(node.proto.body for node in at.get("html") if "<style>" not in node.proto.body)
    return re.sub(r"\s+", " ", re.sub("[\u00a0\u202f]", " ", re.sub(r"<[^>]+>", "", text)))


def sentence(at: AppTest) -> str:
    (found,) = [n.proto.body for n in at.get("html") if 'class="wi-sentence"' in n.proto.body]
    found = re.search(r'wi-sentence">(.*?)</p>', found).group(1)
    return re.sub("[\u00a0\u202f]", " ", re.sub(r"<[^>]+>", "", found))


def story(at: AppTest) -> dict:
    return json.loads(at.get("plotly_chart")[0].proto.spec)


def trace(at: AppTest, name: str) -> list[dict]:
    return [t for t in story(at)["data"] if t["name"] == name]


def chosen(at: AppTest):
    """The slider beside the choice of an input; the four above it stand at once."""
    return at.slider[len(BOARD)]


def move(at: AppTest, value: float) -> AppTest:
    chosen(at).set_value(value)
    return run(at)
