"""Words as a builder types them find their question, trouble or term."""

import pytest

from explorer.app_pages.why.derivations.questions import QUESTIONS, found
from explorer.app_pages.why.troubleshooting.troubles import TROUBLES, troubles_with
from explorer.text.search import holding


@pytest.mark.parametrize(
    ("words", "question", "trouble"),
    [
        ("motor gets hot in hover", "heat", "hot"),
        ("2450KV on 6S", None, "more_cells"),
        ("D term", None, "hot"),
        ("upside down", None, "cap_mode"),
        ("resettable fuse", None, "bench_smoke"),
        ("prop wash", "wash", "sink"),
        ("desync", None, "flip"),
    ],
)
def test_words_of_builders_find_something(words, question, trouble):
    questions, troubles = [q.key for q in found(words)], [t.key for t in troubles_with(words)]
    assert question is None or question in questions
    assert trouble in troubles
    assert len(questions) < len(QUESTIONS) / 2 and len(troubles) < len(TROUBLES) / 2


def test_nothing_is_found_for_nonsense_and_everything_for_nothing():
    assert holding("zebra", TROUBLES, lambda t: t.ask) == []
    assert holding(" the ", TROUBLES, lambda t: t.ask) == list(TROUBLES)
