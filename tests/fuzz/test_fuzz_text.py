"""Fuzz of what comes in as text: links, build files, part tables, logs, labels, typed numbers.

Each target starts from something sound (a link, a file, a table, a log) and spoils it: cut, bytes changed, pieces
doubled or swapped, odd text put in; a share of the cases is any text at all. What comes out is the thing itself, sound,
or one documented error in a sentence. ``PROPMODEL_FUZZ`` sets the number of cases, as in `test_fuzz_engine`.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import propmodel
from explorer.inputs import apply, check, demo_inputs, with_defaults_for_bad
from explorer.inputs import link as links
from explorer.labels import reader
from explorer.saved import build_file
from explorer.session.shelf import inputs_of_record
from propmodel import bench
from propmodel.parts import PartsError, csv_table

CASES = int(os.environ.get("PROPMODEL_FUZZ", "40"))
fuzz = settings(max_examples=CASES, deadline=None, suppress_health_check=list(HealthCheck))

ODD = [
    "=1+1", "@x", "<script>", "</style>", "\x00", "\u202e", "\ud83d", "nan", "inf", "1e999", "-0", "1,5", "9" * 400,
    "'", '"', "%00", "%ff", "&end=1", "../../x", "\r\n", ";;;", "\t", "\u00bd", "\uff11", "NaN",
    "[]", "{}", "null", "__class__",
]  # fmt: skip
"""Text that has broken readers elsewhere. Common practice, from memory."""


@st.composite
def spoilt(draw: st.DrawFn, sound: st.SearchStrategy[str]) -> str:
    """Something sound, spoilt in up to four ways; or any text."""
    if draw(st.integers(0, 9)) == 0:
        return draw(st.text(max_size=300))
    text = draw(sound)
    for _ in range(draw(st.integers(1, 4))):
        a, b = sorted((draw(st.integers(0, len(text))), draw(st.integers(0, len(text)))))
        text = draw(
            st.sampled_from(
                [
                    text[:a],
                    text[:a] + text[b:],
                    text[:a] + text[a:b] * 2 + text[b:],
                    text[b:] + text[:a],
                    text[:a] + draw(st.sampled_from(ODD)) + text[b:],
                    text[:a] + draw(st.text(max_size=4)) + text[a:],
                ]
            )
        )[:6000]
    return text


CRAFT = [demo_inputs(name) for name in propmodel.demo_names()]
LINKS = st.lists(st.sampled_from(CRAFT), min_size=1, max_size=4).map(lambda builds: links.encode(*builds))
FILES = st.sampled_from([build_file.encode(c.name, asdict(c)).decode() for c in CRAFT])
TABLES = {
    "motors": "name,KV,stator diameter,stator height,mass [g]\nFern,1950,22,7,31\nBracken,1750,23,6.5,29.5\n",
    "propellers": "name;diameter (mm);pitch (mm);blades\nFern;129,5;109,2;3\n'=Heath;76,2;50,8;2\n",
}
LABELS = st.sampled_from(
    ["2207 1950KV 5.1x4.3x3 6S 1300", "23mm x 6 mm, 1750 KV; 10x4.5 2-blade; 4s2p 21700", "take-off 650 g"]
)
LOG = "\n".join(
    ["time (s),throttle (%),voltage (V),current (A),thrust (g),rpm"]
    + [f"{k},{5 * k},{25.0 - 0.1 * k:.2f},{0.08 * k * k:.3f},{4.2 * k * k:.1f},{1200 * k}" for k in range(1, 21)]
)


def sentence_or(read: Callable[[], Any], *errors: type[Exception]) -> Any:
    """What was read, or None after a documented error that is a sentence without markup."""
    try:
        return read()
    except errors as error:
        words = str(error)
        assert words.strip() and "<script" not in words and "\x00" not in words, words
        return None


@fuzz
@given(spoilt(LINKS))
def test_a_link(text):
    link = links.decode(text)
    for inputs in (link.inputs, *link.pinned):
        assert check(inputs) == []
    assert all(words and "<script" not in words for words in link.messages)
    # what was understood goes out and comes back
    again = links.decode(links.encode(link.inputs, *link.pinned))
    assert (again.inputs, again.pinned) == (link.inputs, link.pinned)


@fuzz
@given(spoilt(FILES))
def test_a_build_file(text):
    found = sentence_or(lambda: build_file.decode(text.encode("utf-8", "surrogatepass")), build_file.StoreError)
    if found is None:
        return
    name, record = found
    inputs, _, words = inputs_of_record(record)
    assert check(inputs) == [] and all(words)
    again = build_file.decode(build_file.encode(name, record))
    assert again == found


@pytest.mark.parametrize("kind", list(TABLES))
@fuzz
@given(st.data())
def test_a_part_table(kind, data):
    text = data.draw(spoilt(st.just(TABLES[kind])))
    raw = text.encode("utf-8", "replace")
    found = sentence_or(lambda: csv_table.read_csv(raw, kind), PartsError)
    if found is None:
        return
    out = csv_table.to_csv(found.frame, kind)
    for line in out.splitlines()[1:]:
        assert not line.lstrip('" ').startswith(("=", "@", "+")), line
    assert len(csv_table.read_csv(out, kind).frame) == len(found.frame)


@fuzz
@given(spoilt(st.just(LOG)))
def test_a_log(text):
    found = sentence_or(lambda: bench.read(text.encode("utf-8", "replace")), bench.BenchFileError)
    assert found is None or len(found.frame) >= 1


@fuzz
@given(spoilt(LABELS))
def test_labels(text):
    reading = reader.read_labels(text)
    assert "<script" not in reading.sentence
    assert check(with_defaults_for_bad(apply(CRAFT[0], reading.values))[0]) == []
