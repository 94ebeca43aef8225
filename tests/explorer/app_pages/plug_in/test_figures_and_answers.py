"""Pictures of the bench and of the cost: what they say, that they hold what they were given, that they escape."""

from __future__ import annotations

import re

import numpy as np
import pytest

from explorer.app_pages.cost import figures as cost
from explorer.app_pages.plug_in import figures
from explorer.figures.base import Axis
from propmodel.assembly.demo import demo
from propmodel.bench.reading.records import Doubt
from propmodel.costs.session import PARTS, Prices, Session, session_cost
from propmodel.power_up.judging import judge, rows
from propmodel.power_up.steps import (
    CAUTIONS,
    FIRST_CAUTION,
    STOP_AT_ONCE,
    STOP_AT_ONCE_SHORT,
    from_build,
    power_up_steps,
)

NASTY = '<img src=x onerror="alert(1)">'


@pytest.fixture(scope="module")
def steps():
    return power_up_steps(from_build(demo("scree")))


def words(markup: str) -> str:
    return re.sub(r"\s+", " ", re.sub("[\u00a0\u202f]", " ", re.sub(r"<[^>]+>", " ", markup)))


def test_every_caution_and_every_sign_to_stop_is_in_the_box():
    said = figures.care(FIRST_CAUTION, STOP_AT_ONCE_SHORT, cautions=CAUTIONS, stop_at_once=STOP_AT_ONCE)
    for text in (FIRST_CAUTION, *CAUTIONS, *STOP_AT_ONCE):
        assert text.replace("'", "&#x27;") in said


def test_a_card_has_tool_deed_expectation_and_stop(steps):
    for row in rows(steps):
        said = figures.card(row)
        for label in ("Tool", "Do", "Expect", "Stop if"):
            assert f"<dt>{label}</dt>" in said
        assert f'id="step-{row["number"]}"' in said


def test_what_somebody_typed_cannot_become_markup():
    row = dict.fromkeys(("number", "title", "tool", "do", "expect", "stop_if", "why", "basis", "caution"), NASTY)
    assert "<img" not in figures.card(row)
    assert "<img" not in figures.doubts([Doubt("x", NASTY, (), "look", (3,))])
    bill = {"name": NASTY, "pinned": False, "parts": {"packs": 1.0}, "total": 1.0, "low": 0.5, "high": 2.0}
    assert "<img" not in cost.strips([bill])


@pytest.mark.parametrize(("reading", "kind"), [(20_000.0, "fine"), (300.0, "doubtful"), (1.0, "stop"), (None, "")])
def test_the_three_verdicts_are_told_apart(steps, reading, kind):
    said = judge(steps[1], reading)
    assert figures.kind_of(said) == kind
    # the word stands there, colour is not alone
    assert (kind == "") == (words(figures.verdict(said)).strip() == "")


def test_progress_counts():
    said = words(figures.progress(["fine", "", "doubtful", "stop"]))
    assert "3 of 4 read" in said
    assert "! 1 doubtful" in said
    assert "✕ 1 stop" in said


def test_bands_lie_where_their_numbers_are():
    row = {"name": "a", "words": "a", "now": (4.0, 5.0, 6.0), "was": (2.0, 5.0, 8.0), "end": str}
    said = figures.band_rows([row])
    found = {
        k: (float(a), float(w)) for k, a, w in re.findall(r'class="(\w+)" style="left:([\d.]+)%;width:([\d.]+)%', said)
    }
    # the new band is a third as wide as the old one, both about the same middle
    assert found["now"][1] == pytest.approx(found["was"][1] / 3.0, rel=0.01)
    middle = [a + w / 2 for a, w in found.values()]
    assert middle[0] == pytest.approx(middle[1], abs=0.05)


def test_bands_without_numbers_leave_no_mark():
    nan = float("nan")
    assert 'class="row"' not in figures.band_rows([{"name": "a", "words": "a", "now": (nan, nan, nan), "end": str}])


def test_lines_of_a_file_are_drawn_together():
    said = words(
        figures.doubts([Doubt("x", "Odd.", (1, 2, 3, 7), "wrong", (4, 5, 6, 12)), Doubt("y", "Fine.", (), "note")])
    )
    assert "Lines 4 to 6, 12 of the file" in said
    assert said.index("Odd.") < said.index("Fine.")


def test_a_clean_table_is_called_clean():
    assert "Nothing in the file looks wrong by itself" in figures.doubts([])


def test_the_cloud_holds_label_doubt_and_calibrated_rows():
    read = np.array([1.0, 2.0, 3.0, np.nan])
    figure = figures.against(
        read, label=read * 0.9, fitted=read, odd=[False, True, False, False], name="Pull", unit="g", axis=Axis(4.0, 1.0)
    )
    got = {t.name: t for t in figure.data}
    assert list(got["by the labels"].y) == [1.0, 3.0]
    assert list(got["in doubt"].y) == [2.0]
    assert list(got["calibrated"].x) == list(got["calibrated"].y) == [1.0, 2.0, 3.0]
    # agreement is the diagonal
    assert list(got["agree"].x) == list(got["agree"].y) == [0.0, 4.0]


def test_differences_are_in_per_cent():
    figure = figures.off(
        [20.0, 60.0], [("pull", [0.01, -0.02], "circle")], most=5.0, x_axis=Axis(100.0, 25.0), x_title="Throttle, %"
    )
    (pull,) = [t for t in figure.data if t.name == "pull"]
    assert list(pull.y) == [1.0, -2.0]


def test_a_million_points_are_thinned():
    many = np.linspace(1.0, 2.0, 1_000_000)
    figure = figures.against(
        many, label=many, fitted=None, odd=np.zeros(many.size, bool), name="Pull", unit="g", axis=Axis(2.0, 1.0)
    )
    assert max(len(t.x) for t in figure.data) <= 400


def test_strips_share_one_scale_and_name_every_part():
    bills = [session_cost(Session(crashes=c), Prices(1.0, 2.0, 3.0, 4.0)) for c in (1.0, 3.0)]
    made = [
        {
            "name": f"craft {k}", "pinned": bool(k), "parts": {p: float(getattr(b, p)) for p in PARTS},
            "total": float(b.total), "low": float(b.low), "high": float(b.high),
        }
        for k, b in enumerate(bills)
    ]  # fmt: skip
    said = cost.strips(made)
    top = max(b["high"] for b in made)
    for bill in made:
        for amount in bill["parts"].values():
            assert f"width:{100 * amount / top:.2f}%" in said
    for part in ("packs", "propellers", "motors", "ESC"):
        assert words(said).count(part) >= 2


def test_counts_say_how_often():
    said = words(cost.counts({"packs": 0.25, "propellers": 1.5, "motors": 0.0, "controllers": 0.05}))
    assert "packs one every 4 sessions" in said
    assert "propellers 1.5 a session" in said
    assert "motors none" in said
