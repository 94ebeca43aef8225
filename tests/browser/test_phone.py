"""The bar of pages; a phone: the panel, room for a thumb; and colours and sizes of type on every screen.

Room for a thumb: 44 px, success criterion 2.5.5 of the Web Content Accessibility Guidelines 2.2 (W3C, 2023).
"""

from __future__ import annotations

import itertools
import re
from dataclasses import replace
from pathlib import Path

import pytest
from overlaps import OVERLAPS
from playwright.sync_api import expect

from explorer.app import PAGES
from explorer.figures import base
from explorer.inputs import demo_inputs
from explorer.inputs.link import encode

STYLES = Path(base.__file__).resolve().parents[1] / "controls" / "styles"
PANEL = '[data-testid="stSidebar"]'
TOO_SMALL = """() => {
    const kinds = ['.wi-bar a', '.wi-bar button', '[data-testid=stTooltipIcon] button', 'summary',
        '[data-testid=stPageLink] a',
        '[data-testid=stButtonGroup] button', '[data-testid=stPopoverButton]', '[data-testid=stCheckbox] label',
        '[data-testid=stNumberInput] input', '[data-testid^=stBaseButton]'];
    return [...document.querySelectorAll(kinds.join(','))].filter(e => e.checkVisibility())
        .map(e => [e, e.getBoundingClientRect()])
        .filter(([e, box]) => box.width > 1 && (box.height < 43.5 || box.width < 43.5))
        .map(([e, box]) => `${box.width.toFixed(0)} x ${box.height.toFixed(0)} ${e.outerHTML.slice(0, 140)}`);
}"""

ROW = """() => {
    const row = document.querySelector('nav.wi-bar .row').getBoundingClientRect();
    const boxes = [...document.querySelectorAll('nav.wi-bar a')].map(e => [e, e.getBoundingClientRect()]);
    const cut = boxes.filter(([e, box]) => box.left < row.left - 1 && box.right > row.left + 1);
    const here = document.querySelector('nav.wi-bar [aria-current]').getBoundingClientRect();
    return [cut.map(([e]) => e.textContent), here.left >= row.left - 1 && here.right <= row.right + 1];
}"""


def test_pages_and_the_panel_are_always_in_reach(visit, settle):
    page = visit(width=390, height=844)
    bar = page.get_by_role("navigation", name="Pages")
    expect(bar.get_by_role("link")).to_have_text([name for _, name in PAGES])
    page.evaluate("document.querySelector('[data-testid=stMain]').scrollTo(0, 1500)")
    edit = bar.get_by_role("button")
    expect(edit).to_have_text("Edit build")
    expect(edit).to_be_in_viewport()
    edit.click()
    expect(page.locator(PANEL).get_by_role("spinbutton", name="Take-off mass")).to_be_in_viewport()
    expect(edit).to_have_text("Show result")
    edit.click()
    expect(page.locator(PANEL)).not_to_be_in_viewport()
    expect(edit).to_have_text("Edit build")
    edit.press("Enter")
    expect(edit).to_have_text("Show result")
    mass = page.locator(PANEL).get_by_role("spinbutton", name="Take-off mass")
    mass.fill("700")
    mass.press("Enter")
    settle(page)
    bar.get_by_role("link", name="Margins").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Which part reaches its limit first?")
    settle(page)
    expect(bar.get_by_role("link", name="Margins")).to_have_attribute("aria-current", "page")
    expect(page.locator(PANEL)).not_to_be_in_viewport()
    expect(edit).to_have_text("Edit build")
    bar.get_by_role("link", name="Lift").click()
    expect(page.locator(".wi-sentence b.n").first).to_have_text(re.compile("700"))


@pytest.mark.parametrize("file", [file for file, _ in PAGES])
def test_there_is_room_for_a_thumb(visit, file):
    page = visit("" if file == "lift" else file, width=390, height=844)
    assert page.evaluate(TOO_SMALL) == []
    cut, here = page.evaluate(ROW)
    assert cut == [], "a page's name begins in the middle"
    assert here, "the chosen page is in sight"
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


@pytest.mark.parametrize("width", (1400, 1000, 768, 390))
def test_one_row_of_pages_opens_them_without_a_reload_at_every_width(visit, settle, width):
    page = visit(width=width)
    bar = page.get_by_role("navigation")
    expect(bar).to_have_count(1)
    expect(bar.get_by_role("link")).to_have_text([name for _, name in PAGES])
    box = bar.bounding_box()
    assert box["y"] == 0 and box["height"] == 60
    assert page.get_by_role("heading", level=1).bounding_box()["y"] >= 60
    page.evaluate("window.same = true")
    for name in ("Minutes", "Dive"):
        bar.get_by_role("link", name=name).click()
        settle(page)
        expect(bar.locator("[aria-current=page]")).to_have_text(name)
    page.go_back()
    settle(page)
    expect(page.get_by_role("heading", level=1)).to_have_text("How long, doing what I do?")
    expect(bar.locator("[aria-current=page]")).to_have_text("Minutes")
    page.go_back()
    settle(page)
    expect(bar.locator("[aria-current=page]")).to_have_text("Lift")
    assert page.evaluate("window.same === true"), "the page was never loaded anew"


def test_a_page_opened_in_a_new_tab_shows_the_same_build(visit, settle):
    page = visit("?v=1&m=3&craft=scree&motor_name=&kv=1800&end=2", width=1400)
    link = page.get_by_role("navigation").get_by_role("link", name="Margins")
    with page.context.expect_page() as opened:
        link.click(modifiers=["ControlOrMeta"])
    settle(opened.value)
    expect(opened.value.get_by_role("heading", level=1)).to_have_text("Which part reaches its limit first?")
    expect(opened.value.get_by_role("spinbutton", name="KV")).to_have_value("1800")


def test_pages_below_a_path_of_the_server_keep_it(visit):
    """The links are relative to the folder of the page."""
    page = visit("margins", width=1400)
    address = page.url
    links = page.locator("nav.wi-bar a").evaluate_all("list => list.map(one => one.href)")
    root = address.split("/margins")[0]
    assert links == [f"{root}/{'' if k == 0 else file}" for k, (file, _) in enumerate(PAGES)]


@pytest.mark.parametrize("file", ["", "minutes", "margins", "dive", "choose"])
def test_long_names_of_builds_leave_no_page(visit, file):
    own = demo_inputs("scree")
    pins = [replace(own, name=f"{word} long name that somebody typed without a thought of room", kv=kv)
            for word, kv in (("A", 1800.0), ("Another", 2100.0))]  # fmt: skip
    page = visit(f"{file}?{encode(own, *pins)}", width=390)
    page.wait_for_timeout(300)
    assert page.evaluate(OVERLAPS) == []


def test_what_a_button_opens_has_room_to_be_read(visit, settle):
    page = visit(width=390, height=844)
    page.get_by_role("button", name="How these numbers come about").click()
    settle(page)
    box = page.get_by_test_id("stPopoverBody").bounding_box()
    assert box["height"] >= 300.0 and box["width"] == 390.0
    assert box["y"] + box["height"] == pytest.approx(844.0, abs=1.0)


@pytest.mark.parametrize("width", [390, 1400])
def test_four_builds_side_by_side_are_all_in_sight(visit, settle, width):
    page = visit(width=width)
    for _ in range(2):
        page.get_by_role("button", name="Pin this build").click()
        settle(page)
        page.get_by_role("spinbutton", name="Diameter").first.press("ArrowUp")
        page.keyboard.press("Enter")
        settle(page)
    page.get_by_text("Side by side").last.click()
    settle(page)
    table = page.locator(".wi-beside")
    assert table.locator("thead th").count() >= 3
    assert table.evaluate("e => e.scrollWidth <= e.clientWidth + 1")


def test_a_closed_panel_leaves_its_room_to_the_page(visit, settle):
    page = visit(width=1000)
    page.locator(PANEL).hover()
    page.get_by_test_id("stSidebarCollapseButton").get_by_role("button").click()
    expect(page.locator(PANEL)).not_to_be_in_viewport()
    settle(page)
    assert page.get_by_test_id("stMain").evaluate("e => e.getBoundingClientRect().left") == 0.0


@pytest.mark.parametrize("file", ["lift", "minutes", "margins", "dive", "why"])
@pytest.mark.parametrize("width", [768, 820, 961])
def test_on_a_tablet_no_words_are_cut_or_lie_over_others(look_at, file, width):
    page = look_at("" if file == "lift" else file, width=width)
    page.wait_for_timeout(250)  # words are moved apart a moment after the drawing
    assert page.evaluate(OVERLAPS) == []


def luminance(colour: str) -> float:
    """Relative luminance as the Web Content Accessibility Guidelines 2.2 define it, of ``rgb(...)`` or ``#...``."""
    if colour.startswith("#"):
        values = [int(colour[k : k + 2], 16) for k in (1, 3, 5)]
    else:
        values = [float(v) for v in re.findall(r"[\d.]+", colour)[:3]]
    red, green, blue = (v / 255 / 12.92 if v <= 10.31475 else ((v / 255 + 0.055) / 1.055) ** 2.4 for v in values)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_colours_of_marks_differ_in_lightness_and_charts_take_those_of_the_scheme(look_at):
    """CIE 1976 lightness, 5 apart at least; 3 : 1 on the ground (success criterion 1.4.11)."""
    css = (STYLES / "style.css").read_text(encoding="utf-8")
    found = dict(re.findall(r"--(mark-\w+|ground): light-dark\((#\w+, #\w+)\)", css))
    for k, scheme in enumerate(("light", "dark")):
        colours = {name: pair.split(", ")[k] for name, pair in found.items()}
        ground = luminance(colours.pop("ground"))
        assert len(colours) == 5
        for colour in colours.values():
            light = luminance(colour)
            assert (max(light, ground) + 0.05) / (min(light, ground) + 0.05) >= 3.0, (scheme, colour)
        star = sorted(116.0 * luminance(c) ** (1 / 3) - 16.0 for c in colours.values())
        assert min(b - a for a, b in itertools.pairwise(star)) >= 4.5, (scheme, star)
        page = look_at(scheme=scheme)
        stroke = page.locator(".js-plotly-plot path.js-line[style*='stroke-width: 2.6px']").first
        seen = stroke.evaluate("e => getComputedStyle(e).stroke")
        assert luminance(seen) == pytest.approx(luminance(colours["mark-this"]), abs=1e-3)
        hatch = page.locator(".js-plotly-plot pattern path").first.evaluate("e => getComputedStyle(e).stroke")
        assert luminance(hatch) == pytest.approx(luminance(colours["mark-over"]), abs=1e-3)
    for name in ("THIS", "OVER", "AIR", "PINNED", "TIGHT"):
        assert found[f"mark-{name.lower()}"].split(", ")[0] == getattr(base, name)


def test_six_sizes_of_type():
    named = set()
    for sheet in STYLES.glob("*.css"):
        for size in re.findall(r"font-size: ([^;}]+)", sheet.read_text(encoding="utf-8")):
            assert size.strip() == "0" or re.fullmatch(r"var\(--type-\w+\)", size.strip()), (sheet.name, size)
            named.add(size.strip())
    assert len(named - {"0"}) == 6


SIZES = """() => {
    const sizes = new Set(), icons = '[data-testid=stIconMaterial], .wi-bar';
    const walk = document.createTreeWalker(document.querySelector('.stApp'), NodeFilter.SHOW_TEXT);
    const look = e => e.checkVisibility({visibilityProperty: true}) && e.getBoundingClientRect().width > 2
        && !e.closest(icons) && sizes.add(getComputedStyle(e).fontSize);
    while (walk.nextNode()) if (walk.currentNode.data.trim()) look(walk.currentNode.parentElement);
    for (const e of document.querySelectorAll('input:is([type=text], [type=number])')) look(e);
    return [...sizes].map(parseFloat);
}"""


@pytest.mark.parametrize("width", [1400, 390])
def test_six_sizes_of_type_are_seen_on_all_pages(visit, width):
    """Charts and the controls of the framework included."""
    seen: set[float] = set()
    for file, _ in PAGES:
        seen |= set(visit("" if file == "lift" else file, width=width).evaluate(SIZES))
    assert len(seen) <= 6, sorted(seen)


@pytest.mark.parametrize("width", [1400, 390])
def test_the_question_leads_the_page(look_at, width):
    page = look_at(width=width)
    size = "e => parseFloat(getComputedStyle(e).fontSize)"
    question = page.get_by_role("heading", level=1)
    assert question.evaluate(size) > page.locator(".wi-sentence").evaluate(size)
    assert question.bounding_box()["y"] < page.locator(".wi-sentence").bounding_box()["y"]


@pytest.mark.parametrize(
    ("file", "craft", "width"), [("", "rill", 390), ("minutes", "fell", 1400), ("dive", "scree", 390)]
)
def test_no_word_of_a_chart_lies_over_another(visit, file, craft, width):
    page = visit(f"{file}?craft={craft}", width=width)
    page.wait_for_timeout(300)
    assert page.locator(".js-plotly-plot svg text").count() > 10
    assert page.evaluate(OVERLAPS) == []


def test_words_that_lie_over_each_other_are_found(visit):
    page = visit("dive")
    page.evaluate(
        """() => { const words = document.querySelectorAll('.js-plotly-plot g.annotation');
        const [a, b] = [words[0].getBoundingClientRect(), words[1].getBoundingClientRect()];
        words[1].style.transform = `translate(${a.left - b.left}px, ${a.top - b.top}px)`; }"""
    )
    assert any("over" in line for line in page.evaluate(OVERLAPS))


def test_the_craft_follows_the_slider_without_the_server(visit, settle):
    page = visit("dive", width=390, height=844)
    slider = page.get_by_role("slider", name="Follow it down")
    where = "e => [parseFloat(e.style.left), parseFloat(e.style.top)]"
    craft = page.locator(".wi-craft")
    begin = craft.evaluate(where)
    page.context.set_offline(True)  # it needs nobody
    slider.focus()
    page.keyboard.press("End")
    end = craft.evaluate(where)
    assert end[0] > begin[0] + 10 and end[1] > begin[1] + 30
    expect(page.locator(".wi-path-slider output")).to_have_text(
        re.compile(r"^\d\.\d s after you decide: \d+ m up, \d+ km/h$")
    )
    level = page.locator(".js-plotly-plot .points path.point").last.bounding_box()
    drawn = craft.bounding_box()
    assert abs(drawn["x"] + drawn["width"] / 2 - level["x"] - level["width"] / 2) < 12
    page.keyboard.press("Home")
    assert craft.evaluate(where)[1] < begin[1]
    page.context.set_offline(False)


def test_the_first_page_of_the_field_sheet_is_one_page(visit, settle, tmp_path):
    """A4, 297 mm less the margins of the sheet; 96 px an inch."""
    page = visit("shelf")
    page.get_by_role("radio", name="Take along").click()
    settle(page)
    with page.expect_download() as download:
        page.get_by_role("button", name="Download the sheet").click()
    download.value.save_as(tmp_path / "sheet.html")
    page.goto((tmp_path / "sheet.html").as_uri())
    page.emulate_media(media="print")
    page.set_viewport_size({"width": int((210 - 28) / 25.4 * 96), "height": 1000})
    first = page.locator(".first")
    assert first.bounding_box()["height"] <= (297 - 28) / 25.4 * 96
    told = first.inner_text()
    for part in ("Before anything else", "The build", "Alarms to set", "Limits"):
        assert part in told
    for part in ("Curves", "First power-up"):
        assert part not in told and part in page.locator(".details").inner_text()
    assert page.locator(".details").evaluate("e => getComputedStyle(e).breakBefore") == "page"
