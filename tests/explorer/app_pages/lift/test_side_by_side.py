"""Builds side by side: what is best, what is escaped, what the file holds."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from explorer.app_pages.lift.side_by_side import BEST, Beside, frame, table
from explorer.forecasts import headlines
from explorer.inputs import Inputs
from explorer.text.numbers import Units


def beside(inputs: Inputs, price: float | None = None) -> Beside:
    got = headlines.answers(inputs)
    return Beside(inputs, got.low, got.mid, got.high, headlines.sorted_limits(inputs), price)


@pytest.fixture(scope="module")
def two() -> list[Beside]:
    return [beside(Inputs(), 200.0), beside(replace(Inputs(), name="<b>light</b>", payload_g=0.0), 180.0)]


def row(found: str, name: str) -> list[str]:
    (line,) = [part for part in found.split("<tr>") if f">{name}</th>" in part]
    return line.split("<td>")[1:]


def test_the_lighter_build_is_best_where_it_should_be(two):
    found = table(two, Units())
    for name in ("Take-off mass", "Thrust to weight", "Minutes, flown your way", "Watts to hover", "Price, as typed"):
        here, there = row(found, name)
        assert BEST in there and BEST not in here, name
    # what is alike has no best, and a low hover command is no virtue
    assert all(BEST not in cell for name in ("Current flat out", "Hover command") for cell in row(found, name))


def test_names_come_escaped(two):
    assert "<b>light</b>" not in table(two, Units()) and "&lt;b&gt;light&lt;/b&gt;" in table(two, Units())


def test_the_file_holds_the_answers_in_si(two):
    got = frame(two, Units())
    assert list(got["build"]) == ["this build", "<b>light</b>"]
    np.testing.assert_allclose(got["Take-off mass [kg]"], [one.mid.mass for one in two])
    assert (got["Thrust to weight, low [-]"] < got["Thrust to weight, high [-]"]).all()


def test_a_craft_that_cannot_hover_is_never_best(two):
    lost = SimpleNamespace(**{**vars(two[0].mid), "hover_time": float("nan"), "minutes": float("nan")})
    found = table([replace(two[0], mid=lost), two[1]], Units())
    assert row(found, "Minutes in hover")[0].startswith("cannot")
    assert not any(BEST in cell for cell in row(found, "Minutes in hover"))


def test_no_price_no_row(two):
    assert "Price" not in table([replace(one, price=None) for one in two], Units())
