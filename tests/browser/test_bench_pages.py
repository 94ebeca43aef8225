"""Plug in, Cost and Shelf in a real browser: upload, verdicts, a phone beside the bench, downloads."""

from __future__ import annotations

import json
import re

import pytest
from playwright.sync_api import expect


# A made-up stand table (invented motor and propeller): thrust and torque go with speed squared.
def row(throttle: int) -> str:
    # as fast as the labels of the first craft say, else the table is in doubt and is not calibrated
    speed = 372 * throttle - 0.62 * throttle**2
    amps = 0.3 + 26 * (throttle / 100) ** 2.6
    return f"{throttle};{24.4 - throttle / 60:.2f};{amps:.2f};{speed:.0f};{1450 * (speed / 31000) ** 2:.1f}\n"


TABLE = "throttle (%);voltage (V);current (A);speed (rpm);thrust (gf)\n" + "".join(row(t) for t in range(20, 101, 10))


def drop(page, settle, name: str, data: bytes) -> None:
    page.locator('[data-testid="stFileUploader"] input').first.set_input_files(
        {"name": name, "mimeType": "text/csv", "buffer": data}
    )
    settle(page)


def test_a_dropped_table_is_read_and_calibrated_into_the_build(visit, settle):
    page = visit("plug_in")
    drop(page, settle, "stand_1950kv.csv", TABLE.encode())
    main = page.get_by_test_id("stMain")
    expect(main).to_contain_text("a thrust stand log, 9 rows")
    expect(main).to_contain_text("thrust from “thrust (gf)”")
    page.get_by_role("button", name="Calibrate").click()
    side = page.get_by_test_id("stSidebar")
    expect(side).to_contain_text("as measured (stand_1950kv.csv)")
    settle(page)
    # the calibrated parts are those of every page
    page.get_by_role("link", name="Lift", exact=True).first.click()
    settle(page)
    expect(side).to_contain_text("as measured (stand_1950kv.csv)")
    side.get_by_role("button", name="Back to the labels").click()
    expect(side).not_to_contain_text("as measured")


def test_a_table_in_doubt_is_not_calibrated_unless_asked_for(visit, settle):
    page = visit("plug_in")
    lines = [line.split(";") for line in TABLE.splitlines()]
    # the speed is read at twice of what it is
    wrong = [lines[0], *([*line[:3], str(2 * int(line[3])), line[4]] for line in lines[1:])]
    drop(page, settle, "stand.csv", "\n".join(";".join(line) for line in wrong).encode())
    expect(page.get_by_test_id("stMain")).to_contain_text("Doubts against these parts")
    page.get_by_role("button", name="Calibrate").click()
    settle(page)
    expect(page.locator(".wi-notice[role=alert]")).to_contain_text("not calibrated")
    expect(page.get_by_test_id("stSidebar")).not_to_contain_text("as measured")
    page.get_by_text("Use what is in doubt all the same").click()
    settle(page)
    page.get_by_role("button", name="Calibrate").click()
    expect(page.get_by_test_id("stSidebar")).to_contain_text("as measured (stand.csv)")


def test_a_broken_file_gets_a_sentence_and_breaks_nothing(visit, settle):
    page = visit("plug_in")
    for name, data in (
        ("a.csv", b"\x00\xff" * 900),
        ("b.csv", b""),
        ("<b>c.csv", b"<html><table><tr><td>=1+1</td></tr></table>"),
    ):
        drop(page, settle, name, data)
        alert = page.locator(".wi-notice[role=alert]")
        expect(alert).to_contain_text(re.compile(r"\w.*\.$"))
        assert page.get_by_text("Traceback").count() == 0
        page.get_by_role("button", name=re.compile("^Remove")).first.click()
        settle(page)


def test_a_wrong_column_can_be_put_right(visit, settle):
    page = visit("plug_in")
    drop(page, settle, "stand.csv", TABLE.replace("thrust (gf)", "force (g)").encode())
    page.get_by_text("Change the columns, their units or the kind of log").click()
    settle(page)
    unit = page.get_by_role("combobox", name="Unit of thrust")
    unit.scroll_into_view_if_needed()
    settle(page)  # a list that opens while the page scrolls is closed again
    unit.click()
    page.get_by_role("option", name="N", exact=True).click()
    settle(page)
    page.get_by_role("button", name="Read it again like this").click()
    expect(page.get_by_test_id("stMain")).to_contain_text("thrust from “force (g)” (N)")


def test_a_phone_beside_the_bench(visit, settle):
    page = visit("plug_in", width=390, height=844)
    overflow = page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth - window.innerWidth")
    assert overflow <= 0
    page.get_by_role("button", name="Next: step 2 of 15").click()
    settle(page)
    card = page.locator("#step-2")
    expect(card).to_be_in_viewport()
    field = page.get_by_role("spinbutton", name="Step 2: I read, ohm")
    field.fill("3")
    field.press("Enter")
    settle(page)
    expect(page.locator(".wb-verdict", has_text="✕ stop, because")).to_have_count(1)
    page.get_by_role("button", name="Next: step 3 of 15").click()
    settle(page)
    expect(page.locator(".wb-verdict", has_text="First clear step 2")).to_have_count(1)
    assert page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight") < 6000


@pytest.mark.parametrize("width", [1400, 390])
@pytest.mark.parametrize("where", ["plug_in", "cost", "shelf"])
def test_no_page_scrolls_sideways(look_at, width, where):
    page = look_at(where, width=width)
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    assert page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth - window.innerWidth") <= 0


def test_a_price_typed_stays_when_another_page_was_open(visit, settle):
    page = visit("cost")
    field = page.get_by_role("spinbutton", name="Price of one pack")
    field.fill("32")
    field.press("Enter")
    expect(page.get_by_test_id("stMain")).to_contain_text("mostly packs")
    page.get_by_role("link", name="Lift", exact=True).first.click()
    settle(page)
    page.get_by_role("link", name="Cost", exact=True).first.click()
    settle(page)
    expect(page.get_by_role("spinbutton", name="Price of one pack")).to_have_value("32")


def test_a_build_is_kept_over_a_new_visit_and_deleting_asks_once(visit, settle):
    page = visit("shelf")
    page.get_by_role("textbox", name="Name of this build").fill("Heather & <i>Moss</i>")
    page.get_by_role("textbox", name="Name of this build").press("Tab")
    settle(page)
    page.get_by_role("button", name="Save as a new build").click()
    settle(page)
    again = visit("shelf")
    card = again.locator('[class*="st-key-saved-"]', has_text="Heather & <i>Moss</i>")
    expect(card).to_have_count(1)
    card.get_by_role("button", name="Delete").click()
    expect(card).to_have_count(1)
    again.get_by_role("button", name="Yes, delete it").click()
    expect(card).to_have_count(0)


def test_sheet_and_curves_come_down_whole(visit, settle):
    page = visit("shelf")
    page.get_by_text("Take along", exact=True).click()
    settle(page)
    with page.expect_download() as sheet:
        page.get_by_role("button", name="Download the sheet").click()
    with open(sheet.value.path(), encoding="utf-8") as file:
        text = file.read()
    assert text.startswith("<!doctype html>")
    assert "<script" not in text
    with page.expect_download() as curves:
        page.get_by_role("button", name="Every curve as JSON").click()
    with open(curves.value.path(), encoding="utf-8") as file:
        assert len(json.load(file)["columns"]) > 10
