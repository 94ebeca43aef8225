"""Labels typed into the side panel: the build that they make, what stays open, what every page then says."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from lift_page import body, opened, run, sentence

from explorer.controls.page_frame import page_file
from explorer.inputs import Inputs
from explorer.inputs.link import to_params


def test_labels_fill_the_build_and_say_how_they_were_read():
    at = opened()
    at.text_input(key="labels").set_value("2306 1750KV, 5.1x4.3x3, 6S 1400")
    run(at)
    text = body(at)
    assert "I read this as: motor 2306" in text
    assert at.number_input(key="side-must:kv").value == 1750.0
    assert at.number_input(key="side-must:capacity_mah").value == 1400.0
    # nothing of the demo craft's labels is passed off as told
    assert at.session_state["inputs"].esc_a is None and at.session_state["inputs"].motor_max_a is None
    assert sentence(at).startswith("Your build ")


def test_a_load_or_a_place_changes_the_craft_on_the_screen():
    at = opened()
    before = Inputs()
    for text, field, value in (("300g camera", "payload_g", 300.0), ("-5 \u00b0C", "air_temperature_c", -5.0)):
        at.text_input(key="labels").set_value(text)
        run(at)
        assert at.session_state["inputs"] == replace(before, **{field: value})
        assert "All else stays as Scree has it." in body(at) and "guessed from" not in body(at)
        assert sentence(at).startswith("Scree ")
    # a part makes it somebody's own craft
    at.text_input(key="labels").set_value("-5 \u00b0C, 2306 1750KV 6S 1400")
    run(at)
    assert "All else is guessed from Scree" in body(at) and sentence(at).startswith("Your build ")
    assert at.session_state["inputs"].air_temperature_c == -5.0 and at.session_state["inputs"].esc_a is None


@pytest.mark.parametrize("page", ["minutes", "dive", "plug_in"])
def test_a_part_that_does_not_bear_the_pack_comes_first_on_every_page_that_flies_it(page):
    at = opened()
    at.text_input(key="labels").set_value("2207 1950KV, 5.1x4.3x3, 6S 1300, ESC 2-4S 30A")
    run(at)
    at.switch_page(page_file(page))
    run(at)
    first = re.sub(r"<[^>]+>", "", sentence(at))
    assert first.startswith("The ESC does not fit: the ESC is sold for 2 to 4 cells; the pack has 6 cells"), first
    assert "before you plug in" in first
    at.text_input(key="labels").set_value("2207 1950KV, 5.1x4.3x3, 6S 1300, ESC 3-6S 30A")
    run(at)
    assert "does not fit" not in body(at)


def test_a_label_with_two_meanings_is_asked_about():
    at = opened()
    at.text_input(key="labels").set_value("51433")
    run(at)
    assert len(at.radio) == 1 and at.radio[0].value is None
    at.radio[0].set_value(1)
    run(at)
    assert at.session_state["inputs"].pitch_in == pytest.approx(4.33)


def test_a_label_that_makes_no_sense_is_kept_and_answered():
    at = opened()
    at.text_input(key="labels").set_value("22o7")
    run(at)
    assert at.text_input(key="labels").value == "22o7"
    assert "did you mean 2207?" in body(at)
    assert at.session_state["inputs"] == Inputs()


def test_labels_without_a_propeller_borrow_from_a_craft_of_the_motors_size():
    at = opened()
    for text, lender, inches in (
        ("2808 850KV, 10x4.5, 4S", "Fell", 10.0),
        ("1806 2280KV 3S 12A", "Scree", 5.1),
        ("1103 11000KV 2S", "Rill", 1.6),
        ("1103 11000KV 4S 450mAh", "Tarn", 3.0),
    ):
        at.text_input(key="labels").set_value(text)
        run(at)
        assert f"All else is guessed from {lender}" in body(at)
        assert at.session_state["inputs"].diameter_in == pytest.approx(inches)


def test_typed_labels_are_not_measured_against_a_craft_of_the_club():
    at = opened()
    assert "Pinned: Scree without camera" in body(at)
    at.text_input(key="labels").set_value("2207 1950KV, 5.1x4.3x3, 6S 1300")
    run(at)
    assert "Nothing is pinned" in body(at)
    # a build the reader pinned stays
    at.button(key="pin").click()
    run(at)
    at.text_input(key="labels").set_value("2207 1750KV, 5.1x4.3x3, 6S 1300")
    run(at)
    assert "Pinned: Your build" in body(at) and "less thrust" in body(at)


def test_what_was_changed_by_hand_stays_when_more_labels_are_typed():
    at = opened()
    at.text_input(key="labels").set_value("2207 1950KV, 5.1x4.3x3")
    run(at)
    at.number_input(key="side-must:take_off_g").set_value(655.0)
    run(at)
    frame = at.session_state["inputs"].frame_g
    at.text_input(key="labels").set_value("2207 1950KV, 5.1x4.3x3, 6S 1300, ESC 45A")
    run(at)
    inputs = at.session_state["inputs"]
    assert inputs.frame_g == pytest.approx(frame) and inputs.esc_a == 45.0 and inputs.cells == 6
    # a label wins over the hand for what it names
    at.number_input(key="side-must:kv").set_value(1700.0)
    run(at)
    at.text_input(key="labels").set_value("2207 1750KV, 5.1x4.3x3, 6S 1300")
    run(at)
    assert at.session_state["inputs"].kv == 1750.0 and at.session_state["inputs"].frame_g == pytest.approx(frame)
    # another craft of the club begins anew
    at.segmented_control(key="craft").set_value("tarn")
    run(at)
    at.text_input(key="labels").set_value("1404 3800KV, 3x3x3, 4S 650")
    run(at)
    assert at.session_state["inputs"].frame_g != pytest.approx(frame)


def test_labels_do_not_inherit_the_cells_or_the_cap_of_the_craft_that_lends_the_rest():
    at = opened()
    at.text_input(key="labels").set_value("2807 1300KV, 7x4x3, 6S 3000")
    run(at)
    inputs = at.session_state["inputs"]
    assert "All else is guessed from Moor" in body(at)
    assert inputs.chemistry == "lipo" and inputs.command_cap_percent == 100.0
    at.text_input(key="labels").set_value("2807 1300KV, 7x4x3, 6S 3000 Li-ion")
    run(at)
    assert at.session_state["inputs"].chemistry == "li_ion"


def test_a_told_mass_is_the_mass_and_what_had_to_be_lighter_is_said():
    at = opened()
    at.text_input(key="labels").set_value("2207 1950KV, 5x4x3, 6S 450, take-off 210 g")
    run(at)
    assert sentence(at).startswith("Your build takes off at 210 g")
    at.text_input(key="labels").set_value("2207 1950KV, 5x4x3, 6S 1300, take-off 180 g")
    run(at)
    assert sentence(at).startswith("Your build takes off at 180 g")
    assert "the masses you have not told count" in body(at)
    at.number_input(key="side-must:take_off_g").set_value(600.0)
    run(at)
    assert "have not told count" not in body(at) and at.session_state["inputs"].guessed_mass_percent == 100.0


def test_masses_that_were_told_are_kept_and_the_contradiction_is_said():
    at = opened()
    at.number_input(key="side-must:take_off_g").set_value(150.0)
    run(at)
    assert "The masses that are told (motor, propeller and pack)" in body(at) and "by their labels" not in body(at)


def test_tiny_craft_fly():
    at = opened()
    at.text_input(key="labels").set_value("1102 18000KV 40mm 3-blade 1S 300mAh 30g auw")
    run(at)
    assert sentence(at).startswith("Your build takes off at 30 g and has a hover command of")
    assert "All else is guessed from Rill" in body(at) and "cannot" not in body(at)
    at.text_input(key="labels").set_value("0802 19000KV 1S")
    run(at)
    assert sentence(at).startswith("Your build takes off at 30 g and has a hover command of")
    assert at.session_state["inputs"].diameter_in == pytest.approx(1.6)
    at.text_input(key="labels").set_value("0802 19000KV 1S 12 g auw")
    run(at)
    assert sentence(at).startswith("Your build takes off at 12 g")


def test_open_labels_lead_and_no_verdict_is_built_on_them():
    at = opened()
    at.text_input(key="labels").set_value("2808 850KV, 10x4.5x2, 55A ESC 6S, 22o7")
    run(at)
    assert sentence(at).startswith("2 labels open: “6S”, “22o7”. Answer them in the side panel")
    assert "no verdict" in sentence(at)
    text = body(at)
    for word in ("cannot hover", "does not fit", "other parts are needed", "What gives first is"):
        assert word not in text
    at.radio(key="label_answer:0:6S").set_value(1)
    run(at)
    assert sentence(at).startswith("1 label open: “22o7”")
    at.text_input(key="labels").set_value("2808 850KV, 10x4.5x2, 55A ESC 6S")
    run(at)
    assert sentence(at).startswith("Your build takes off at")


@pytest.mark.parametrize("page", ["lift", "minutes", "margins", "dive"])
def test_a_craft_that_cannot_fly_on_a_guess_is_not_judged(page):
    at = opened()
    at.text_input(key="labels").set_value("2808 850KV, 10x4.5x2, 55A ESC 6S, 9000 g auw")
    run(at)
    at.switch_page(f"app_pages/{page}/page.py")
    run(at)
    text = body(at)
    assert "1 label open" in text and "Nothing is drawn yet" in text
    assert "cannot" not in text.lower() and "Do not dive it" not in text and not at.get("plotly_chart")


@pytest.mark.parametrize("page", ["minutes", "margins", "dive", "choose", "plug_in", "cost"])
def test_open_labels_lead_on_every_page_with_a_verdict(page):
    at = opened()
    at.text_input(key="labels").set_value("2808 850KV, 10x4.5x2, 55A ESC 6S")
    run(at)
    at.switch_page(f"app_pages/{page}/page.py")
    run(at)
    said = [n.proto.body for n in at.get("html") if "wi-sentence" in n.proto.body]
    assert any("1 label open" in one and "no verdict" in one for one in said)


def test_guesses_of_a_labelled_build_name_mass_place_and_flying():
    at = opened()
    at.text_input(key="labels").set_value("2207 1950KV, 5.1x4.3x3, 6S 1300")
    run(at)
    held = [one.name for one in at.session_state["guess_order"][1]]
    assert {"take_off_g", "altitude_m", "flying_style"} <= set(held)
    at.number_input(key="side-must:take_off_g").set_value(655.0)
    run(at)
    left = [one.name for one in at.session_state["guess_order"][1]]
    assert "take_off_g" not in left and len(left) == len(held) - 1


@pytest.mark.parametrize(
    "text", ["<img src=x onerror=alert(1)> 6S", "]]> 6S", "'\"&<b>x</b>", "![p](http://evil.example) 9999Z"]
)
def test_what_is_typed_as_a_label_stays_text(text):
    at = opened()
    at.text_input(key="labels").set_value(text)
    run(at)
    bodies = [
        n.proto.body for n in at.get("html") if 'class="wi-sentence"' in n.proto.body or "wi-read" in n.proto.body
    ]
    assert bodies and all("onerror=alert" not in one and "<b>x</b>" not in one for one in bodies)
    assert re.match(r"\d labels? open", sentence(at))


def test_another_build_clears_the_labels_of_the_one_before():
    at = opened()
    at.text_input(key="labels").set_value("2808 850KV, 55A ESC 6S")
    run(at)
    at.segmented_control(key="craft").set_value("moor")
    run(at)
    assert at.text_input(key="labels").value == "" and sentence(at).startswith("Moor")


def test_while_a_label_is_open_no_bar_says_over_or_clear_but_a_told_misfit_is_said():
    at = opened()
    at.text_input(key="labels").set_value("2207 1950KV, ESC 2-4S 30A, 6S2P 5000mAh")
    run(at)
    first = re.sub(r"<[^>]+>", "", sentence(at))
    assert first.startswith("1 label open: “5000mAh”")
    # the cells are told, whatever the capacity turns out to be
    assert "The ESC does not fit: the ESC is sold for 2 to 4 cells; the pack has 6 cells" in first
    bars = body(at).partition("Weakest parts")[2]
    assert "with a guess" in bars and "clear" not in bars and "usual" not in bars
    at.switch_page(page_file("margins"))
    run(at)
    close = body(at).partition("How close?")[2].partition("A motor is hot")[0]
    assert "with a guess" in close and "✓" not in close and "✕" not in close and "within their limits" not in close
    at.switch_page(page_file("choose"))
    run(at)
    assert "No comparison while a label of this build is open." in body(at)
    assert not re.search(r"\d % (longer|shorter)", body(at))
    at.text_input(key="labels").set_value("2207 1950KV, ESC 2-4S 30A, 6S2P 5000mAh each")
    run(at)
    assert "with a guess" not in body(at)


def test_a_misfit_that_rests_on_an_open_label_is_not_said():
    at = opened()
    at.text_input(key="labels").set_value("55A ESC 6S, motor up to 4S")
    run(at)
    assert "label open" in sentence(at) and "does not fit" not in body(at)


def guessed(at) -> str:
    """Return the line that counts the guessed values."""
    (line,) = [b.proto.popover.label for b in at.get("popover") if "guessed" in b.proto.popover.label]
    return line


def test_after_a_reload_a_guess_is_still_a_guess():
    lent = {"altitude_m", "flying_style", "pack_temperature_c", "frame_g"}
    query = to_params(replace(Inputs(), kv=1750.0, name="Your build"), lent=lent)
    told = opened(**{key: value for key, value in query.items() if key != "lent"})
    at = opened(**query)
    assert at.session_state["inputs"] == told.session_state["inputs"]
    count = [int(guessed(one).split()[0]) for one in (told, at)]
    assert count[1] == count[0] + len(lent)
    # what is changed by hand is told
    at.session_state["told_by_hand"] = {"altitude_m"}
    assert int(guessed(run(at)).split()[0]) == count[1] - 1
    # another craft has nothing of it
    at.button_group(key="craft").set_value("tarn")
    run(at)
    assert not at.session_state["lent_by_link"]
