"""One hover command on every page: the average motor command, idle included, on a fresh pack.

It is what a log of the motor outputs shows. Firmware that asks for a hover setting counts above idle: that figure has
a name of its own and stands only where it is typed in.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import explorer
from explorer.app import PAGES
from explorer.app_pages.lift.summary import Headline, opening
from explorer.app_pages.lift.working import lift_steps
from explorer.app_pages.minutes.answers import firmware_hover
from explorer.app_pages.plug_in import answers
from explorer.app_pages.shelf import sheet_numbers
from explorer.app_pages.shelf.field_sheet import field_sheet
from explorer.app_pages.why.derivations.questions import QUESTIONS
from explorer.app_pages.why.troubleshooting.troubles import TROUBLES, CraftAnswers
from explorer.controls.page_frame import page_file
from explorer.forecasts import headlines
from explorer.inputs import demo_inputs, to_build
from explorer.text.numbers import Units, value
from propmodel.assess.assessment import Assessment
from propmodel.assess.performance import performance
from propmodel.components.controller import throttle_from_duty
from propmodel.flight.endurance import WAYS_OF_FLYING

APP = Path(explorer.__file__).with_name("app.py")
CRAFT = ("scree", "tarn", "moor", "fell")


def plain(markup: str) -> str:
    return re.sub(r"\s+", " ", re.sub("[\u00a0\u202f]", " ", re.sub(r"<[^>]+>", " ", markup)))


def figure(share: float) -> str:
    return plain(value("percent", share))


def named(text: str) -> list[str]:
    """Every percentage that is called a hover command or a hover throttle."""
    found = re.findall(r"hover (?:command|throttle)(?: is| of|:)?(?: about)?\s+(\d+ %)", plain(text), re.I)
    return [str(one) for one in found]


@pytest.mark.parametrize("name", CRAFT)
def test_every_answer_gives_the_same_figure(name):
    inputs = demo_inputs(name)
    build = to_build(inputs)
    told = float(Assessment(build).hover_command)
    want = figure(told)
    got = headlines.answers(inputs)
    head = Headline(inputs.name, got.low, got.mid, got.high)
    assert float(performance(build).hover_throttle) == pytest.approx(told)
    assert head.mid.hover_throttle == pytest.approx(told)
    # the mark on the throttle story, at a full pack
    assert headlines.story(inputs).hover_command == pytest.approx(told, rel=1e-6)
    assert answers.power(inputs, modern=None).hover_command[1] == pytest.approx(told)
    assert named(opening(head, headlines.sorted_limits(inputs), Units())) == [want]
    shown = dict((step[0], step[1]) for step in lift_steps(build, headlines.profile(inputs)))
    assert named(shown["Hover command"]) == [want]
    rows = {row["name"]: row["value"] for row in sheet_numbers._number_rows(inputs, Units())}
    assert plain(rows["Hover command"]) == want
    worked = next(q for q in QUESTIONS if q.key == "hover_command").work(build)
    assert worked.by_formula == pytest.approx(told, rel=1e-6) and worked.by_engine == pytest.approx(told)
    drifts = next(t for t in TROUBLES if t.key == "drifts")
    assert want in plain(drifts.say(CraftAnswers(build, WAYS_OF_FLYING["hang still"])))


@pytest.mark.parametrize("name", CRAFT)
def test_what_counts_above_idle_is_less_and_has_another_name(name):
    inputs = demo_inputs(name)
    a = Assessment(to_build(inputs))
    stick = float(throttle_from_duty(a.build.controller, a.hover.duty, command_cap=a.build.command_cap))
    assert firmware_hover(inputs).start == pytest.approx(stick)
    # idle of 5 % is a command: at stick zero the motors get just that
    assert inputs.idle_percent == 5.0
    idle = a.build.controller.idle_duty ** (1.0 / a.build.controller.exponent)
    assert idle == pytest.approx(0.05)
    assert stick < float(a.hover_command) - 0.01


@pytest.mark.parametrize("page", [page for page, _ in PAGES])
def test_every_page_shows_that_figure_and_no_other(page):
    at = AppTest.from_file(str(APP), default_timeout=90)
    at.run()
    if page != "lift":
        at.switch_page(page_file(page))
        at.run()
    assert not at.exception
    shown = " ".join(n.proto.body for n in at.get("html") if "<style>" not in n.proto.body)
    shown += " ".join(str(n.value) for kind in ("markdown", "caption") for n in getattr(at, kind))
    # the pinned craft has a figure of its own
    shown = re.sub(r'<p class="wi-pinned">.*?</p>', "", shown, flags=re.S)
    want = figure(float(Assessment(to_build(demo_inputs("scree"))).hover_command))
    assert set(named(shown)) <= {want}
    if page in ("lift", "plug_in"):
        assert want in named(shown)


def test_the_printed_sheet_shows_it():
    inputs = demo_inputs("scree")
    page = field_sheet(sheet_numbers.sheet_of(inputs, [], units=Units(), link="", made=""))
    want = figure(float(Assessment(to_build(inputs)).hover_command))
    assert re.search(rf"Hover command {want}", plain(page))
    assert "above idle" not in plain(page)
