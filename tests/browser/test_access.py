"""Access: every page audited by axe-core at two widths in both colour schemes, the keyboard, words for charts.

axe-core checks the rules of the Web Content Accessibility Guidelines 2.2 of the W3C that a program can check. Text
in charts it leaves undecided (it cannot see what lies under an SVG), so its contrast is computed here from the
guidelines' own definition (success criterion 1.4.3, relative luminance).
"""

from __future__ import annotations

import re
from pathlib import Path

import axe_playwright_python
import pytest
from playwright.sync_api import Page

from explorer.app import PAGES
from explorer.widgets import PAGE_FILES

AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
FILES = ["", *(file for file, _ in PAGES[1:] if (PAGE_FILES / f"{file}.py").exists())]
GRAVE = {"serious", "critical"}
NORMAL_TEXT = 4.5

NOT_OURS: dict[tuple[str, str], str] = {}
"""(rule, pattern of the element's HTML) of findings inside the framework's own parts, with the reason."""


def audit(page: Page) -> dict:
    """Run axe-core on the page as it stands."""
    page.evaluate(AXE)
    return page.evaluate("axe.run(document, {resultTypes: ['violations', 'passes']})")


def grave(result: dict) -> list[str]:
    """Serious and critical findings that are ours, one line each."""
    lines = []
    for rule in result["violations"]:
        if rule["impact"] not in GRAVE:
            continue
        for node in rule["nodes"]:
            theirs = any(rule["id"] == name and re.search(pattern, node["html"]) for name, pattern in NOT_OURS)
            if not theirs:
                lines.append(f"{rule['impact']} {rule['id']} at {node['target']}: {node['html'][:160]}")
    return lines


CHART_TEXT = """() => {
    const channels = s => (s.match(/[\\d.]+/g) || []).map(Number);
    const light = c => { const f = c.slice(0, 3).map(v => { v /= 255;
        return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; });
        return 0.2126 * f[0] + 0.7152 * f[1] + 0.0722 * f[2]; };
    const ground = channels(getComputedStyle(document.querySelector('.stApp')).backgroundColor);
    const out = [];
    for (const t of document.querySelectorAll('.js-plotly-plot svg text')) {
        if (!t.textContent.trim() || t.closest('.hoverlayer')) continue;
        const c = channels(getComputedStyle(t).fill);
        const [a, b] = [light(c), light(ground)].sort((x, y) => y - x);
        out.push([t.textContent, (a + 0.05) / (b + 0.05)]);
    }
    return out;
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1400, 390])
@pytest.mark.parametrize("file", FILES, ids=lambda f: f or "lift")
def test_no_grave_finding(visit, file, width, scheme):
    page = visit(file, width=width, scheme=scheme)
    result = audit(page)
    judged = sum(len(rule["nodes"]) for rule in result["passes"] if rule["id"] == "color-contrast")
    assert judged >= 10, "the audit judged hardly any text: it did not see the page"
    assert grave(result) == []
    charts = page.evaluate(CHART_TEXT)
    assert [(text, round(ratio, 2)) for text, ratio in charts if ratio < NORMAL_TEXT] == []


def open_all(page: Page, settle, where: str) -> int:
    """Open every closed group of a part of the page; gives how many were opened."""
    opened = 0
    closed = page.locator(f'[data-testid="{where}"] details:not([open]) > summary')
    while closed.count() and opened < 30:
        closed.first.click()
        settle(page)
        opened += 1
    assert closed.count() == 0
    return opened


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_grave_finding_in_the_side_panel_with_all_told(visit, settle, scheme):
    page = visit(scheme=scheme)
    assert open_all(page, settle, "stSidebar") >= 2
    more = page.locator('[data-testid="stSidebar"]').get_by_text(re.compile(r"^\d+ more$"))
    for k in range(more.count()):
        more.nth(k).click()
        settle(page)
    assert page.locator('[data-testid="stSidebar"]').get_by_role("spinbutton").count() > 20
    assert grave(audit(page)) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("file", FILES, ids=lambda f: f or "lift")
def test_no_grave_finding_with_the_groups_of_the_page_open(visit, settle, file, scheme):
    page = visit(file, scheme=scheme)
    open_all(page, settle, "stMain")
    assert grave(audit(page)) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("file", ["", "minutes", "margins", "dive"], ids=lambda f: f or "lift")
def test_no_grave_finding_in_what_hangs_over_the_page(visit, settle, file, scheme):
    page = visit(file, scheme=scheme)
    buttons = page.locator('[data-testid="stPopover"] button')
    count = buttons.count()
    assert count >= 2
    for k in range(count):
        buttons.nth(k).click()
        page.locator('[data-testid="stPopoverBody"]').first.wait_for()
        settle(page)
        assert grave(audit(page)) == [], buttons.nth(k).inner_text()
        page.keyboard.press("Escape")
        page.locator('[data-testid="stPopoverBody"]').wait_for(state="detached")


def test_the_audit_sees_what_is_wrong(visit):
    """The check can fail: grey on grey and a nameless button are found."""
    page = visit()
    page.evaluate(
        """document.querySelector('.wi').insertAdjacentHTML('afterbegin',
        '<p style="color:#999;background:#aaa">hardly to be read</p><button></button>')"""
    )
    found = " ".join(grave(audit(page)))
    assert "color-contrast" in found and "button-name" in found


@pytest.mark.parametrize("file", FILES, ids=lambda f: f or "lift")
def test_the_tab_key_reaches_every_control(visit, file):
    """Each control of the page that is neither off nor hidden takes the focus on the way once round."""
    page = visit(file)
    page.evaluate(
        """() => {
        const kinds = 'button, input, select, textarea, a[href], summary, [role=slider], [role=combobox]';
        let k = 0;
        for (const part of document.querySelectorAll('.st-key-strip, [data-testid=stSidebarUserContent]'))
            for (const e of part.querySelectorAll(kinds)) {
                const hidden = !e.getClientRects().length || getComputedStyle(e).visibility === 'hidden';
                if (!hidden && !e.disabled) e.dataset.mustReach = k++;
            }
        window.__reached = new Set();
        document.addEventListener('focusin', () => {
            const a = document.activeElement;
            if (a.dataset.mustReach !== undefined) window.__reached.add(a.dataset.mustReach);
            // one tab stop for a group of choices: the arrow keys go on from there
            const group = a.closest('[role=radiogroup], [data-testid=stNumberInput]');
            if (group) for (const e of group.querySelectorAll('[data-must-reach]'))
                window.__reached.add(e.dataset.mustReach);
        });
        document.body.focus();
    }"""
    )
    seen_before = -1
    for _ in range(6):
        for _ in range(40):
            page.keyboard.press("Tab")
        seen = page.evaluate("window.__reached.size")
        if seen == seen_before:
            break
        seen_before = seen
    missed = page.evaluate(
        """[...document.querySelectorAll('[data-must-reach]')]
        .filter(e => !window.__reached.has(e.dataset.mustReach)).map(e => e.outerHTML.slice(0, 160))"""
    )
    assert page.evaluate("document.querySelectorAll('[data-must-reach]').length") >= 10
    assert missed == []


@pytest.mark.parametrize("file", FILES, ids=lambda f: f or "lift")
def test_charts_have_words(visit, file):
    """Each chart says in a sentence what it shows, with a number of this build in it."""
    page = visit(file)
    summaries = page.evaluate(
        """[...document.querySelectorAll('[data-testid=stPlotlyChart], .js-plotly-plot')]
        .filter(e => !e.parentElement.closest('[data-testid=stPlotlyChart]'))
        .map(e => (e.closest('[aria-label]') || e.querySelector('[aria-label]') || e).getAttribute('aria-label'))"""
    )
    if file in ("", "minutes", "choose"):
        assert summaries
    for words in summaries:
        assert words and len(words) > 40 and re.search(r"\d", words), words


def test_headings_and_tables_of_ours_are_named(visit, settle):
    for file in FILES:
        page = visit(file)
        open_all(page, settle, "stMain")
        assert page.get_by_role("heading", level=1).count() == 1, file
        loose = page.evaluate(
            """[...document.querySelectorAll('.wi table')].filter(t => !t.querySelector('th[scope]')
            || [...t.querySelectorAll('th')].some(h => !h.textContent.trim())).map(t => t.outerHTML.slice(0, 200))"""
        )
        assert loose == [], file
        page.context.close()
