"""Numbers as text: digits follow the spread, a true minus, narrow spaces, ranges in words.

Expected texts follow the project's own rules for numbers; conversions are checked against exact definitions
(inch 25.4 mm, standard gravity 9.80665 m/s^2, 0 C = 273.15 K = 32 F).
"""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from explorer.text.numbers import (
    MINUS,
    MISSING,
    NARROW,
    QUANTITIES,
    Units,
    band,
    change,
    lowered,
    number,
    percent_change,
    prose,
    quantity_of,
    spread,
    value,
)


def plain(text: str) -> str:
    """Narrow spaces made visible to the eye of a test."""
    return text.replace(NARROW, "_")


@pytest.mark.parametrize(
    ("kind", "si", "text"),
    [
        ("minutes", 3.84 * 60, "3.8_min"),
        ("minutes", 9.94 * 60, "9.9_min"),
        ("minutes", 9.96 * 60, "10_min"),
        ("minutes", 24.4 * 60, "24_min"),
        ("thrust_to_weight", 7.24, "7.2_times"),
        ("current", 4.34, "4.3_A"),
        ("current", 113.6, "114_A"),
        ("power", 107.4, "107_W"),
        ("power", 12345.0, "12_345_W"),
        ("percent", 0.274, "27_%"),
        ("charge", 1.0437, "1040_mAh"),
        ("charge", 12.5, "12_500_mAh"),
        ("cell_voltage", 3.4967, "3.50_V"),
        ("pack_voltage", 21.46, "21.5_V"),
        ("mass", 0.688, "688_g"),
        ("mass", 0.692, "692_g"),
        ("mass", 0.183, "183_g"),
        ("mass", 1.234, "1234_g"),
        ("mass", 2.8, "2.80_kg"),
        ("thrust", 1.389 * 9.80665, "1390_g"),
        ("thrust", 3.54 * 9.80665, "3.54_kg"),
        ("rpm", 29640.0 / 60.0, "29_600_rpm"),
        ("rpm", 9640.0 / 60.0, "9600_rpm"),
        ("distance", 55.4, "55_m"),
        ("temperature", 273.15 + 54.6, "55_\u00b0C"),
        ("temperature", 273.15 - 4.0, "\u22124_\u00b0C"),
        ("propeller", 5.1 * 0.0254, "5.1_in"),
        ("road_speed", 40.0, "144_km/h"),
        ("angle", math.radians(41.6), "42\u00b0"),
    ],
)
def test_each_kind(kind, si, text):
    assert plain(value(kind, si)) == text


@pytest.mark.parametrize(
    ("kind", "si", "units", "text"),
    [
        ("thrust", 13.62, Units(thrust="N"), "14_N"),
        ("thrust", 3.47, Units(thrust="N"), "3.5_N"),
        ("propeller", 5.1 * 0.0254, Units(propeller="mm"), "130_mm"),
        ("temperature", 285.15, Units(temperature="F"), "54_\u00b0F"),
        ("temperature", 233.15, Units(temperature="F"), "\u221240_\u00b0F"),
        ("warming", 10.0, Units(temperature="F"), "18_\u00b0F"),
        ("warming", 10.0, Units(), "10_\u00b0C"),
        ("mass", 0.69, Units(thrust="N"), "690_g"),
    ],
)
def test_three_choices_of_unit(kind, si, units, text):
    assert plain(value(kind, si, units)) == text


def test_digits_follow_the_spread():
    assert plain(value("power", 381.0, low=300.0, high=470.0)) == "380_W"
    assert plain(value("power", 381.0, low=378.0, high=384.0)) == "381_W"
    assert plain(value("minutes", 228.0, low=30.0, high=900.0)) == "4_min"
    assert plain(value("rpm", 29640 / 60, low=20000 / 60, high=40000 / 60)) == "30_000_rpm"


def test_bands():
    assert spread("minutes", 3.2 * 60, 4.4 * 60) == "3.2 to 4.4"
    assert spread("thrust_to_weight", 6.8, 11.2) == "6.8 to 11.2"
    assert plain(spread("minutes", 1200, 1680, unit=True)) == "20 to 28_min"
    assert spread("temperature", 273.15 - 3, 273.15 + 4) == f"{MINUS}3 to 4"
    assert spread("mass", 0.688, 0.692) == "688 to 692"
    assert plain(band("minutes", 228.0, 192.0, 264.0)) == "3.8_min (3.2 to 4.4)"
    assert plain(band("minutes", 9.7 * 60, 8.2 * 60, 11.4 * 60)) == "10_min (8 to 11)"
    # one unit for all three
    assert plain(band("thrust", 1.9 * 9.80665, 1.6 * 9.80665, 2.3 * 9.80665)) == "1.90_kg (1.60 to 2.30)"


def test_swapped_ends_are_put_in_order():
    assert spread("power", 120.0, 80.0) == spread("power", 80.0, 120.0)


def test_what_is_missing_is_a_dash_without_unit():
    for missing in (math.nan, math.inf, -math.inf):
        assert value("minutes", missing) == MISSING
        assert spread("minutes", missing, 3.0) == MISSING
        assert band("minutes", missing, 1.0, 2.0) == MISSING
        assert change("minutes", missing, 60.0) == MISSING
        assert percent_change(missing, 1.0) == MISSING
    assert percent_change(1.0, 0.0) == MISSING


def test_no_minus_before_nothing():
    assert number(-0.04, 0.1) == "0.0"
    assert number(-0.06, 0.1) == f"{MINUS}0.1"


def test_halves_go_away_from_zero():
    # 0.35 and 2.675 are a hair below in binary
    assert (number(0.35, 0.1), number(2.675, 0.01), number(-2.5, 1.0)) == ("0.4", "2.68", f"{MINUS}3")


@pytest.mark.parametrize(
    ("kind", "new", "old", "text"),
    [
        ("minutes", 264.0, 228.0, "0.6_min longer"),
        ("minutes", 228.0, 264.0, "0.6_min shorter"),
        ("thrust_to_weight", 7.2, 6.2, "1.0 more"),
        ("thrust_to_weight", 6.2, 7.2, "1.0 less"),
        ("temperature", 330.0, 320.0, "10_\u00b0C hotter"),
        ("temperature", 320.0, 330.0, "10_\u00b0C cooler"),
        ("money", 12.0, 9.0, "3 dearer"),
        ("money", 9.0, 12.0, "3 cheaper"),
        ("mass", 0.81, 0.69, "120_g heavier"),
        ("minutes", 228.4, 228.0, "the same"),
    ],
)
def test_change_in_words(kind, new, old, text):
    assert plain(change(kind, new, old)) == text


def test_change_agrees_with_the_two_numbers_read():
    # 3.84 reads 3.8 and 3.86 reads 3.9: the reader subtracts 0.1, not 0.02
    assert plain(change("minutes", 3.86 * 60, 3.84 * 60)) == "0.1_min longer"
    assert plain(percent_change(1.274, 1.0)) == "27_%"


@given(st.sampled_from(sorted(QUANTITIES)), st.floats(-1e6, 1e6), st.floats(0, 1e5))
@settings(max_examples=400, deadline=None)
def test_a_number_is_never_farther_off_than_half_its_last_digit(kind, si, width):
    quantity = quantity_of(kind, largest=max(abs(si - width / 2), abs(si + width / 2)))
    text = value(kind, si, low=si - width / 2, high=si + width / 2, unit=False)
    read = float(text.replace(NARROW, "").replace(MINUS, "-"))
    digits = len(text.partition(".")[2])
    coarse = max(step for _, step in quantity.steps)
    # half a step by kind, or a twentieth of the band where that is wider
    allowed = max(0.5 * coarse, 0.05 * width / quantity.scale) * (1 + 1e-6) + 1e-6
    assert abs(read - (si / quantity.scale + quantity.offset)) <= allowed
    assert digits <= 3 and "e" not in text and "-" not in text


def test_sentences_of_the_engine_are_read_in_one_way():
    text = prose("Unloaded it turns 49,000 rpm, 11000 KV, 1,650 mAh; 113 C at -4 C, 98 % of 25.2 V.")
    assert text == (
        "Unloaded it turns 49\u202f000\u00a0rpm, 11\u202f000\u00a0KV, 1650\u00a0mAh; 113\u00a0°C at \u22124\u00a0°C, "
        "98\u00a0% of 25.2\u00a0V."
    )
    # formulas keep their letters, labels their commas, papers their numbers
    assert prose("k rho C_T n^2; E = C V^2 / 2; arXiv 1909.09069") == "k rho C_T n^2; E = C V^2 / 2; arXiv 1909.09069"
    assert prose("4,5 and 5.1, 4.3") == "4,5 and 5.1, 4.3"


@pytest.mark.parametrize(
    ("given", "wanted"),
    [
        ("A punch pulls", "a punch pulls"),
        ("ESC and", "ESC and"),
        ("108 A", "108 A"),
        ("The pack", "the pack"),
        ("", ""),
    ],
)
def test_a_sentence_goes_on_after_a_colon(given, wanted):
    assert lowered(given) == wanted
