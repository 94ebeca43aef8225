"""Minutes, Margins and Dive in a real browser: reachable, unclipped, in both schemes, moving together."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

PAGES = ("minutes", "margins", "dive")
# An element of ours whose words run past the edge of the screen or of its own box.
CLIPPED = """() => [...document.querySelectorAll('[data-testid="stMain"] .wi *, [data-testid="stMain"] svg text')]
    .filter(n => n.textContent.trim() && !n.closest('.wi-table') && n.getClientRects().length)
    .filter(n => { const r = n.getBoundingClientRect(); return r.right > innerWidth + 1 || r.left < -1; })
    .map(n => n.textContent.trim().slice(0, 60))"""


def sentence(page) -> str:
    return page.locator(".wi-sentence").first.inner_text()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1400])
@pytest.mark.parametrize("name", PAGES)
def test_nothing_is_clipped(look_at, name, width, scheme):
    page = look_at(name, width=width, height=900, scheme=scheme)
    assert "Scree" in sentence(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(CLIPPED) == []


def test_the_path_is_drawn_to_scale(look_at):
    page = look_at("dive")
    per_metre = page.evaluate(
        """() => { const l = document.querySelector('.js-plotly-plot')._fullLayout;
        const scale = a => a._length / (a.range[1] - a.range[0]);
        return [scale(l.xaxis), scale(l.yaxis)]; }"""
    )
    assert per_metre[0] == pytest.approx(per_metre[1], rel=0.01)


def test_each_page_leads_to_the_next_question(visit, settle):
    page = visit("minutes")
    for link, asked in (
        ("Which part reaches its limit first?", "Which part reaches its limit first?"),
        ("Will it come out of the dive?", "Will it come out"),
    ):
        page.get_by_role("link", name=re.compile(re.escape(link))).click()
        expect(page.locator("h1.wi-ask", has_text=asked)).to_be_visible()
        settle(page)


def test_the_knob_moves_the_minutes_by_keyboard(visit, settle):
    page = visit("minutes")
    before = sentence(page)
    slider = page.get_by_role("slider")
    slider.focus()
    for _ in range(12):
        slider.press("ArrowRight")
    settle(page)
    page.wait_for_function("old => document.querySelector('.wi-sentence').innerText !== old", arg=before)


def test_hold_time_and_basis_work_by_keyboard(visit, settle):
    page = visit("margins")
    page.get_by_role("radio", name="for good").or_(page.get_by_role("button", name="for good")).first.click()
    settle(page)
    page.wait_for_function("document.querySelector('.wi-sentence').innerText.includes('for good')")
    basis = page.locator("ul.wi-close details.basis").first
    basis.locator("summary").focus()
    page.keyboard.press("Enter")
    assert basis.evaluate("n => n.open")
    assert basis.locator("p").is_visible()


def test_a_dive_begun_too_low_says_so(visit, settle):
    page = visit("dive")
    field = page.get_by_role("spinbutton", name="Begins above ground, m")
    field.fill("75")
    field.press("Enter")
    settle(page)
    page.wait_for_function("document.querySelector('.wi-sentence').innerText.includes('reaches the ground')")
