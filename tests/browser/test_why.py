"""The page Why as a visitor meets it: a question opens, a story goes through its steps, nothing sticks out."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect


def to_why(visit, settle, **how):
    page = visit("why", **how)
    settle(page)
    return page


def test_search_leaves_the_questions_that_match_and_one_opens(visit, settle):
    page = to_why(visit, settle)
    # six questions and six groups of the others
    expect(page.locator(".st-key-why_list details")).to_have_count(12)
    field = page.get_by_role("textbox", name="Search questions and words")
    field.fill("spark")
    field.press("Enter")
    settle(page)
    expect(page.locator(".st-key-why_list details")).to_have_count(1)
    page.get_by_text("Why does it spark when plugged in?").click()
    settle(page)
    expect(page.locator(".wi-working code")).to_contain_text("C V^2 / 2 = 1000 uF x 25.2")


def test_try_it_leads_to_the_page_with_the_input_ready(visit, settle):
    page = to_why(visit, settle)
    page.get_by_text("Why that much thrust?").click()
    settle(page)
    link = page.get_by_role("link", name="Try it: move KV on Lift")
    link.scroll_into_view_if_needed()
    settle(page)  # the fold that was opened has grown to its height
    link.click()
    expect(page.locator(".wi-sentence")).to_contain_text("takes off at")
    settle(page)
    expect(page.get_by_role("slider", name="KV")).to_be_visible()


def test_a_guess_goes_through_ask_show_and_why(visit, settle):
    page = visit("why?story=inch&step=ask")
    settle(page)
    page.get_by_role("radio", name="less", exact=True).click()
    settle(page)
    page.get_by_text("About the same: same motor, same pack").click()
    settle(page)
    page.get_by_role("button", name="Show me").click()
    settle(page)
    expect(page.locator(".wi-said")).to_contain_text("You said 10")
    expect(page.locator(".wi-said")).to_contain_text("less (")
    expect(page.locator(".js-plotly-plot .scatterlayer path.point")).not_to_have_count(0)
    assert "step=show" in page.url and "story=inch" in page.url
    page.get_by_role("button", name="And why?").click()
    settle(page)
    expect(page.locator(".wi-wrong")).to_contain_text("saves power, so it saves amps")
    page.get_by_role("link", name="All questions, stories and words").click()
    settle(page)
    expect(page.locator(".wi-lead")).to_be_visible()


def test_a_class_gets_exercises_that_know_right_from_wrong(visit, settle):
    page = visit("why?story=camera&step=ask&class=1")
    settle(page)
    field = page.get_by_role("spinbutton", name="Answer 1, W")
    field.fill("9000")
    field.press("Enter")
    settle(page)
    expect(page.get_by_text("Outside the band.")).to_be_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1400])
@pytest.mark.parametrize("path", ["why", "why?story=cell&step=show", "why?story=spare&step=why&class=1"])
def test_nothing_sticks_out_at_the_side(look_at, path, width, scheme):
    page = look_at(path, width=width, scheme=scheme)
    expect(page.locator(".wi").first).to_be_visible()
    assert page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth") <= page.evaluate(
        "document.querySelector('[data-testid=stMain]').clientWidth"
    )
    wide = page.evaluate(
        """() => [...document.querySelectorAll('.wi *')].filter(n => !n.closest('.wi-table'))
            .filter(n => n.getBoundingClientRect().right > window.innerWidth + 1).map(n => n.className)"""
    )
    assert wide == []
