"""Access: pages audited by axe-core in both colour schemes, the keyboard alone, words for charts and tables.

axe-core (Deque Systems, bundled with axe-playwright-python) checks those rules of the Web Content Accessibility
Guidelines 2.2 (W3C Recommendation, 2023) that a program can check. Text in charts it leaves undecided, since it cannot
see what lies under an SVG: its contrast is worked out here from the guidelines' definition of relative luminance.
"""

from __future__ import annotations

import re
from pathlib import Path

import axe_playwright_python
import pytest
from playwright.sync_api import Page, expect

from explorer.app import PAGES

AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
FILES = ["", *(file for file, _ in PAGES[1:])]
STORY = "why?story=inch&class=1&step="
GRAVE = {"serious", "critical"}
NORMAL_TEXT = 4.5
"""Least contrast of text: success criterion 1.4.3."""
POPOVER = '[data-testid="stPopoverBody"]'

AUDIT = """async ([part, grave]) => {
    const found = await axe.run(
        {include: [[part]], exclude: [['.main-svg']]}, {resultTypes: ['violations', 'passes']});
    const judged = found.passes.reduce((sum, rule) => sum + rule.nodes.length, 0);
    const lines = found.violations.filter(rule => grave.includes(rule.impact)).flatMap(rule => rule.nodes.map(
        node => `${rule.impact} ${rule.id} at ${node.target}: ${node.html.slice(0, 160)}`));
    return [judged, lines];
}"""
"""Evaluated in the page: the whole report is a megabyte, and slow to hand over."""
CHART_TEXT = """() => {
    const channels = s => (s.match(/[\\d.]+/g) || []).map(Number);
    const light = c => { const f = c.slice(0, 3).map(v => { v /= 255;
        return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; });
        return 0.2126 * f[0] + 0.7152 * f[1] + 0.0722 * f[2]; };
    const ground = light(channels(getComputedStyle(document.querySelector('.stApp')).backgroundColor));
    const out = [];
    for (const t of document.querySelectorAll('.js-plotly-plot svg text')) {
        if (!t.textContent.trim() || t.closest('.hoverlayer')) continue;
        const ink = light(channels(getComputedStyle(t).fill));
        out.push([t.textContent, (Math.max(ink, ground) + 0.05) / (Math.min(ink, ground) + 0.05)]);
    }
    return out;
}"""
CHART_WORDS = """[...document.querySelectorAll('.stPlotlyChart')].map(e => e.getAttribute('aria-label') || '')"""
LOOSE_TABLES = """[...document.querySelectorAll('.wi table')].filter(t => !t.querySelector('th[scope]')
    || [...t.querySelectorAll('th')].some(h => !h.textContent.trim())).map(t => t.outerHTML.slice(0, 200))"""
WATCH_THE_FOCUS = """() => {
    const kinds = 'button, input:not([type=file]), select, textarea, a[href], summary, [role=slider], .wi-table';
    for (const e of document.querySelectorAll(kinds)) {
        // not what a closed fold holds
        const there = e.getClientRects().length && e.checkVisibility({visibilityProperty: true});
        if (there && !e.disabled) e.dataset.must = e.outerHTML.slice(0, 160);
    }
    document.addEventListener('focusin', () => {
        const here = document.activeElement;
        delete here.dataset.must;
        if (here.matches('a, button, summary') && getComputedStyle(here).outlineStyle !== 'solid')
            here.dataset.must = `no ring: ${here.outerHTML.slice(0, 160)}`;
        // one stop of the Tab key for a group of choices or a field with its arrows: arrow keys go on from there
        const group = here.closest(
            '[role=radiogroup], [data-testid=stNumberInput], [data-testid=stSelectbox], [data-testid=stMultiSelect]');
        if (group) for (const e of group.querySelectorAll('[data-must]')) delete e.dataset.must;
    });
}"""
MISSED = "[...document.querySelectorAll('[data-must]')].map(e => e.dataset.must)"


def grave(page: Page, part: str = "body") -> list[str]:
    """Serious and critical findings of axe-core on a part of the page as it stands, one line each."""
    page.add_style_tag(content="* { transition: none !important; animation: none !important; }")
    page.evaluate(AXE)
    judged, found = page.evaluate(AUDIT, [part, sorted(GRAVE)])
    assert judged >= 10, "the audit judged hardly anything: it did not see the page"
    return found


def faults_of(page: Page) -> list[str]:
    """What the audit finds, faint words in charts, charts without words, tables with nameless columns."""
    return [
        *grave(page),
        *(f"contrast {ratio:.2f}: {text}" for text, ratio in page.evaluate(CHART_TEXT) if ratio < NORMAL_TEXT),
        *(f"chart: {told}" for told in page.evaluate(CHART_WORDS) if len(told) < 40 or not re.search(r"\d", told)),
        *page.evaluate(LOOSE_TABLES),
    ]


def missed_by_the_tab_key(page: Page) -> list[str]:
    """Controls, neither off nor hidden, that do not take the focus on the way once round, or do not show it."""
    page.evaluate(WATCH_THE_FOCUS)
    there = len(page.evaluate(MISSED))
    assert there >= 10, "hardly any control: the page was not seen"
    for _ in range(there + 10):
        page.keyboard.press("Tab")
    return page.evaluate(MISSED)


def open_groups(page: Page, settle, part: str) -> None:
    """Open every closed group of a part of the page; some come to be only when others are open."""
    closed = page.locator(f'[data-testid="{part}"] details:not([open]) > summary')
    for _ in range(40):
        if not closed.count():
            return
        closed.evaluate_all("all => all.slice(0, 8).forEach(one => one.click())")
        settle(page)
    pytest.fail(f"{closed.count()} groups do not open")


@pytest.mark.parametrize(("width", "scheme"), [(1400, "light"), (390, "dark")])
@pytest.mark.parametrize("file", FILES, ids=lambda f: f or "lift")
def test_no_grave_fault_and_the_tab_key_reaches_every_control(look_at, settle, file, width, scheme):
    """The second of a page finds its groups open already: nothing else is moved."""
    page = look_at(file, width=width, scheme=scheme)
    if width > 1000:
        assert missed_by_the_tab_key(page) == []
    open_groups(page, settle, "stMain")
    expect(page.get_by_role("heading", level=1)).to_have_count(1)
    if file in ("", "minutes", "dive", "choose"):
        assert len(page.evaluate(CHART_TEXT)) >= 10
    assert faults_of(page) == []


@pytest.mark.parametrize("step", ["ask", "show"])
def test_no_grave_fault_in_a_story(visit, step):
    page = visit(STORY + step, scheme="dark")
    expect(page.get_by_role("spinbutton")).not_to_have_count(0)
    assert faults_of(page) == []


def test_no_grave_fault_on_the_shelf_and_its_like_buttons_are_told_apart(visit, settle):
    page = visit("shelf", scheme="dark")
    for name in ("Heather", "Moss <b>"):
        page.get_by_role("textbox", name="Name of this build").fill(name)
        page.keyboard.press("Tab")
        settle(page)
        page.get_by_role("button", name="Save as a new build").click()
        settle(page)
    for name in ("Heather", "Moss b"):
        expect(page.get_by_role("button", name=f"Put on the screen {name}", exact=True)).to_have_count(1)
    page.get_by_role("button", name="Save as a new build").hover()
    assert grave(page) == []
    for side in ("Builds", "Parts", "Measured", "Take along"):
        page.get_by_role("radio", name=side).click()
        settle(page)
        assert faults_of(page) == [], side


def test_no_grave_fault_in_the_side_panel_with_all_told(visit, settle):
    page = visit(scheme="dark")
    open_groups(page, settle, "stSidebar")
    side = page.get_by_test_id("stSidebar")
    side.get_by_role("switch").evaluate_all("all => all.forEach(one => one.click())")
    settle(page)
    assert side.get_by_role("spinbutton").count() > 20
    assert grave(page) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_grave_fault_in_what_hangs_over_the_page(look_at, settle, scheme):
    page = look_at("minutes", scheme=scheme)
    buttons = page.locator('[data-testid="stPopoverButton"]:visible')
    assert buttons.count() >= 5
    for k in range(buttons.count()):
        buttons.nth(k).press("Enter")
        expect(page.locator(POPOVER)).to_have_count(1)
        settle(page)
        assert grave(page, POPOVER) == [], buttons.nth(k).inner_text()
        page.keyboard.press("Escape")
        expect(page.locator(POPOVER)).to_have_count(0)
        expect(buttons.nth(k)).to_be_focused()


def test_the_audit_can_fail(visit):
    """Grey on grey, a nameless button, faint and missing words of a chart and an empty heading are found."""
    page = visit()
    page.evaluate(
        """document.querySelector('.wi').insertAdjacentHTML('afterbegin', `<p style="color:#999;background:#aaa">hardly
        to be read</p><button></button><table><tr><th scope="col"></th></tr></table>`);
        document.querySelector('.js-plotly-plot svg text').style.setProperty('fill', '#bbb', 'important');
        document.querySelector('.stPlotlyChart').setAttribute('aria-label', 'A chart');"""
    )
    found = " ".join(faults_of(page))
    page.locator("a").last.evaluate(
        """node => { node.style.setProperty('outline', 'none', 'important');
        node.insertAdjacentHTML('beforebegin', '<button tabindex="-1">never reached</button>'); }"""
    )
    found += " ".join(missed_by_the_tab_key(page))
    for fault in (
        "never reached",
        "no ring: <a",
        "color-contrast",
        "button-name",
        "contrast 1.",
        "chart: A chart",
        '<th scope="col"></th>',
    ):
        assert fault in found


def tab_to(page: Page, target) -> None:
    """Press the Tab key until a control has the focus."""
    for _ in range(120):
        page.keyboard.press("Tab")
        if target.evaluate("node => node === document.activeElement"):
            return
    pytest.fail("the Tab key does not come there")


def test_with_the_keyboard_alone(visit, settle):
    """Choose KV, slide it, pin the build, open a popover and close it: no pointer."""
    page = visit("minutes")
    knob = page.get_by_role("combobox", name="Try changing")
    tab_to(page, knob)
    page.keyboard.press("Control+A")
    page.keyboard.type("KV")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    settle(page)
    expect(knob).to_have_value("KV")
    # on a slow machine the slider of the choice before may still stand there
    expect(page.get_by_role("slider", name="KV")).to_have_value("1950")
    said = page.locator(".stPlotlyChart").first.get_attribute("aria-label")
    tab_to(page, page.locator(".st-key-strip").get_by_role("slider"))
    for _ in range(6):
        page.keyboard.press("ArrowRight")
    settle(page)
    expect(page.get_by_role("spinbutton", name="KV")).to_have_value("2010")
    # the words of the chart are those of the new build
    expect(page.locator(".stPlotlyChart").first).not_to_have_attribute("aria-label", said)
    tab_to(page, page.get_by_role("button", name="Pin this build"))
    page.keyboard.press("Enter")
    settle(page)
    expect(page.locator(".wi-pinned")).to_contain_text("Pinned: Scree, ")
    opener = page.get_by_role("button", name="Why not mAh over amps?")
    tab_to(page, opener)
    page.keyboard.press("Enter")
    expect(page.get_by_role("dialog", name="Why not mAh over amps?")).to_contain_text("=")
    page.keyboard.press("Escape")
    expect(page.get_by_role("dialog")).to_have_count(0)
    expect(opener).to_be_focused()


def test_paper_is_white_and_holds_the_widest_chart(visit):
    """A sheet of A4 across, less the margins of the style sheet, printed from a wide dark screen."""
    page = visit("minutes", width=1900, scheme="dark")
    page.emulate_media(media="print")
    grounds = page.evaluate(
        """['body', '.stApp', '[data-testid=stMain]', '[data-testid=stMain] [data-testid=stNumberInput] input']
        .map(where => getComputedStyle(document.querySelector(where)).backgroundColor)"""
    )
    assert set(grounds) <= {"rgb(255, 255, 255)", "rgba(0, 0, 0, 0)"}
    wide = page.evaluate("[...document.querySelectorAll('.main-svg')].map(e => e.getBoundingClientRect().width)")
    millimetre = 96 / 25.4
    assert wide and max(wide) <= (297 - 2 * 10) * millimetre
    pressed = page.locator("[data-testid=stMain] button:visible")
    assert {one.get_attribute("role") for one in pressed.all()} <= {"radio"}


def test_on_paper_no_slider_stands_and_cautions_are_whole(visit):
    """Closed folds leave nothing behind; the cautions of the first power-up stand whole, opened or not."""
    page = visit("", width=1400)
    page.emulate_media(media="print")
    expect(page.get_by_role("slider").first).to_be_hidden()
    assert page.locator('[data-testid="stExpander"]:visible').count() == 0
    page.get_by_text("Numbers, measurements, sources").evaluate(
        "e => e.closest('details').querySelector('summary').click()"
    )
    expect(page.locator('[data-testid="stExpander"]:visible')).to_have_count(1)
    page = visit("plug_in", width=1400)
    caution = page.locator(".wb-care li").first
    expect(caution).to_be_hidden()
    page.emulate_media(media="print")
    expect(caution).to_be_visible()
    assert page.locator('[class*="st-key-open-"]:visible').count() == 0
