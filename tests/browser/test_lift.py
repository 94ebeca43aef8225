"""The Lift page as a visitor meets it: it paints, a slider moves it, a link restores it, a phone shows it."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

SENTENCE = ".wi-sentence"
MARKS = """[0, -1].map(place => [...document.querySelectorAll('.js-plotly-plot')]
    .flatMap(plot => plot.data).find(trace => trace.name === 'hovers here').x.at(place))"""
"""Motor command of the two hover marks, this build's and the pinned one's."""
FIRST_NUMBER = f"{SENTENCE} b.n >> nth=0"


def knob(page: Page):
    return page.locator(".st-key-strip").get_by_role("slider")


def grams(page: Page) -> int:
    text = page.locator(FIRST_NUMBER).inner_text()
    return int(re.sub(r"\D", "", text))


def test_the_page_paints_sentence_charts_and_strips(visit, settle):
    page = visit()
    expect(page.locator(SENTENCE)).to_contain_text("Scree, an invented 5-inch craft, takes off at")
    expect(page.locator(".js-plotly-plot .scatterlayer .trace path.js-line").first).to_be_attached()
    assert page.locator(".js-plotly-plot").count() == 1
    expect(page.get_by_text("Nearest measured parts: as yours but stator 2306.5")).to_be_visible()
    # the promise of the first screen: how near a measurement is, is said before anybody scrolls
    box = page.get_by_text("Nearest measured parts").bounding_box()
    assert box is not None and box["y"] + box["height"] < 900
    for fold in ("How it compares with what people fly", "Where the watts go"):
        page.get_by_text(fold).click()
        settle(page)
    expect(page.locator(".wi-stairs li")).to_have_count(7)
    expect(page.locator(".wi-strip .here")).to_have_count(2)


def test_measured_marks_are_drawn_and_a_click_tells_their_source(visit):
    page = visit()
    marks = page.locator(".js-plotly-plot .scatterlayer path.point")
    # three points of two pairs in two panels, and the hover marks
    assert marks.count() >= 12
    expect(page.get_by_text("Measured, one rotor times 4")).to_be_visible()
    page.get_by_text("Numbers, measurements, sources").click()
    expect(page.get_by_role("columnheader", name="Our forecast").first).to_be_visible()
    expect(page.get_by_text("A motor maker's own test sheet").first).to_be_visible()
    # nothing runs out at the side of a phone
    page.set_viewport_size({"width": 390, "height": 900})
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_key_on_the_slider_moves_sentence_side_panel_and_hover_mark(visit, settle):
    page = visit()
    before = grams(page)
    mark, pinned = page.evaluate(MARKS)
    knob(page).focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    expect(page.locator(FIRST_NUMBER)).to_have_text(re.compile(str(before + 10)))
    settle(page)
    expect(page.get_by_role("spinbutton", name="Take-off mass")).to_have_value(str(before + 10))
    assert page.evaluate(MARKS)[0] > mark and page.evaluate(MARKS)[1] == pinned
    # the slider keeps the focus, so that the next key moves it again
    page.keyboard.press("ArrowLeft")
    expect(page.locator(FIRST_NUMBER)).to_have_text(re.compile(str(before + 5)))


def test_dragging_does_not_move_the_slider_away_from_under_the_pointer(visit, settle):
    page = visit()
    box = knob(page).bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    for step in range(1, 9):
        page.mouse.move(box["x"] + box["width"] / 2 + 10 * step, box["y"] + box["height"] / 2)
        page.wait_for_timeout(60)
    page.mouse.up()
    settle(page)
    after = knob(page).bounding_box()
    assert after is not None and abs(after["y"] - box["y"]) < 2
    assert grams(page) > 700


def test_another_knob_and_a_pin(visit, settle):
    page = visit()
    page.get_by_role("button", name="Pin this build", exact=True).click()
    settle(page)
    expect(page.locator(".wi-pinned")).to_contain_text("Pinned: Scree, 690")
    slider = page.locator(".st-key-board").get_by_role("slider").first
    for _ in range(6):
        slider.focus()
        page.keyboard.press("ArrowRight")
        settle(page)  # a key pressed while the page redraws lands there or nowhere: test_slow_server
    expect(page.locator(".wi-pinned")).to_contain_text("more thrust for its weight")
    expect(page.get_by_role("spinbutton", name="KV").first).to_have_value("2010")


def test_a_copied_link_restores_the_build_and_the_pinned_one(visit, settle):
    page = visit()
    knob(page).focus()
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    settle(page)
    said = page.locator(SENTENCE).inner_text(), page.locator(".wi-pinned").inner_text()
    page.get_by_role("button", name="Link", exact=True).click()
    address = page.get_by_test_id("stCode").inner_text().strip().replace("\n", "")
    assert "frame_g=286" in address and "p.payload_g=0" in address
    other = visit(address.split("/", 3)[-1].lstrip("/") if "/?" in address else address[address.index("?") :])
    assert (other.locator(SENTENCE).inner_text(), other.locator(".wi-pinned").inner_text()) == said


def test_labels_typed_by_hand_become_a_build(visit, settle):
    page = visit()
    field = page.get_by_role("textbox", name="Type your labels")
    field.fill("2306 1750KV, 5.1x3.6x3, 6S 1100")
    field.press("Enter")
    settle(page)
    expect(page.get_by_text("I read this as: motor 2306")).to_be_visible()
    expect(page.locator(SENTENCE)).to_contain_text("Your build takes off at")


def test_numbers_behind_the_chart_open_and_download(visit, settle):
    page = visit()
    assert page.locator(".wi-table").count() == 0
    page.get_by_text("Numbers, measurements, sources").click()
    settle(page)
    expect(page.locator(".wi-table").first.locator("tbody tr")).to_have_count(11)
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Download as CSV").click()
    lines = waiting.value.path().read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("motor command [%],thrust of all rotors [kg],pack current [A]") and len(lines) == 52


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1024, 1400])
def test_nothing_sticks_out_at_the_side(look_at, width, scheme):
    page = look_at(width=width, scheme=scheme)
    expect(page.locator(SENTENCE)).to_be_visible()
    assert page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth") <= page.evaluate(
        "document.querySelector('[data-testid=stMain]').clientWidth"
    )
    wide = page.evaluate(
        """() => [...document.querySelectorAll('.wi *')].filter(n => !n.closest('.wi-table'))
            .filter(n => n.getBoundingClientRect().right > window.innerWidth + 1).map(n => n.className)"""
    )
    assert wide == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_in_the_chart_take_the_ink_of_the_page(look_at, scheme):
    page = look_at(scheme=scheme)
    ink = page.get_by_test_id("stApp").evaluate("node => getComputedStyle(node).color")
    text = page.locator(".js-plotly-plot .infolayer text").first
    assert text.evaluate("node => getComputedStyle(node).fill") == ink


def test_the_chart_has_a_text_alternative(look_at):
    page = look_at()
    words = page.evaluate(
        """() => [...document.querySelectorAll('[data-testid=stPlotlyChart], [data-testid=stPlotlyChart] *')]
            .map(n => n.getAttribute('aria-label') || n.getAttribute('alt') || '').join(' ')"""
    )
    assert "half command gives" in words


@pytest.mark.parametrize("width", [390, 1400])
def test_the_knob_strip_stays_in_view_beside_what_it_changes(look_at, width):
    page = look_at(width=width)
    page.evaluate("document.querySelector('[data-testid=stMain]').scrollTo(0, 1200)")
    page.wait_for_function("document.querySelector('[data-testid=stMain]').scrollTop > 900")
    # the slider's own input is a hidden pixel: look for what a person sees
    expect(page.locator(".st-key-strip [data-testid=stSlider]")).to_be_in_viewport(ratio=0.9)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_in_a_popover_can_be_read_in_both_schemes(visit, settle, scheme):
    page = visit(scheme=scheme)
    page.get_by_role("button", name="Units", exact=True).click()
    settle(page)
    label = page.get_by_test_id("stPopoverBody").get_by_text("Propellers", exact=True)
    ink = page.get_by_test_id("stApp").evaluate("node => getComputedStyle(node).color")
    assert label.evaluate("node => getComputedStyle(node).color") == ink


def test_the_strip_goes_along_from_page_to_page(visit, settle):
    page = visit("?payload_g=150")
    strip = page.locator(".st-key-strip")
    strip.locator("[data-testid=stSelectbox]").click()
    page.get_by_role("option", name="Payload", exact=True).click()
    settle(page)
    for name in ("Margins", "Minutes", "Choose", "Dive", "Lift"):
        page.get_by_role("link", name=name, exact=True).first.click()
        page.wait_for_timeout(500)
        settle(page)
        if name != "Choose":
            expect(strip.locator("[data-testid=stSelectbox] input").first).to_have_value("Payload")
            expect(strip.get_by_role("slider")).to_have_attribute("aria-valuetext", "150 g")


def test_a_reload_keeps_the_build_and_adds_nothing_to_the_history(visit, settle):
    page = visit(new=True)
    bare = page.url
    assert "kv=" not in bare
    length = page.evaluate("history.length")
    field = page.locator(".st-key-board").get_by_role("spinbutton").first
    field.fill("1750")
    field.press("Enter")
    settle(page)
    expect(page.get_by_role("spinbutton", name="KV").first).to_have_value("1750")
    page.wait_for_function("location.search.includes('kv=1750')")
    assert page.evaluate("history.length") == length
    page.get_by_role("link", name="Minutes").first.click()
    page.wait_for_function("location.pathname.endsWith('minutes') && location.search.includes('kv=1750')")
    page.reload()
    settle(page)
    expect(page.get_by_role("spinbutton", name="KV").first).to_have_value("1750")
    expect(page).to_have_url(re.compile("minutes.*kv=1750"))
