"""The label reader on what it cannot read, on any text at all, and what it says of its reading."""

from __future__ import annotations

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from label_words import MOTOR, settled
from long_run import examples

from explorer.inputs import FIELDS, TAKE_OFF, Inputs, apply, check, problem
from explorer.labels import answered, read_labels
from explorer.labels.cursor import MAX_PIECES
from explorer.labels.pieces import MAX_LENGTH, canonical, pieces_of

SETTINGS = settings(max_examples=examples(400), deadline=None)


@pytest.mark.parametrize(
    ("typo", "meant"),
    [
        ("22o7", "2207"),
        ("22O7", "2207"),
        ("195OKV", "1950KV"),
        ("l950KV", "1950KV"),
        ("1950VK", "1950KV"),
        ("1300mha", "1300mAh"),
        ("1300mAhh", "1300mAh"),
        ("S6", "6S"),
        ("6SS", "6S"),
        ("A45", "45A"),
        ("5.1x4.3x", "5.1x4.3"),
        ("5..1x4.3x3", "5.1x4.3x3"),
        ("5.1xx4.3x3", "5.1x4.3x3"),
    ],
)
def test_suggestions(typo, meant):
    reading = read_labels(f"{typo}, 14AWG")
    assert reading.values == {"wire_awg": 14}
    assert [u.sentence for u in reading.unread] == [f'I could not read "{typo}": did you mean {meant}?']
    assert read_labels(meant).values


def test_a_pack_voltage_that_fits_no_cells():
    (unread,) = read_labels("22V").unread
    assert unread.sentence == 'I could not read "22V" as a pack voltage: did you mean 22.2 V?'


def test_out_of_range_names_field_value_and_range():
    (unread,) = read_labels("99S").unread
    assert unread.sentence == 'I read "99S", but cells in series must be 1 to 14 S, got 99 S.'
    assert read_labels("99S").values == {}


def test_words_and_fittings_are_left_out_not_faulted():
    reading = read_labels("brushless 2207 1950KV black, M5 16x16, 5V 2A BEC, 30.5 x 30.5mm")
    assert reading.values == {**MOTOR, "kv": 1950.0}
    assert reading.unread == () and reading.questions == ()
    assert "16x16" in reading.left_out and "brushless" in reading.left_out


def test_nothing_typed():
    for text in ("", "   ", ",;|\n", "...", "x", "-"):
        assert read_labels(text).values == {}
    assert read_labels("").sentence == "I read nothing yet."


def test_the_sentence_says_all_that_was_read():
    text = read_labels("2207 1950KV, 5.1x4.3x3, 6S 1300 100C, 45A ESC 3-6S, 14AWG").sentence
    assert text == (
        "I read this as: motor 2207 (22 mm wide, 7 mm tall), 1950 KV; propeller 5.1 x 4.3 in, 3 blades; "
        "pack 6 cells, 1300 mAh, 100C; ESC 45 A for each motor, 3 to 6 cells; pack lead gauge 14 AWG."
    )
    assert "0802" in read_labels("0802 22000KV").sentence
    assert read_labels("Y6, 1S 300").sentence == (
        "I read this as: pack 1 cell, 300 mAh; rotors 6; propellers in pairs, one above the other."
    )


def test_each_value_carries_its_source():
    found = {f.field: f.source for f in read_labels("2207 1950KV 5,1x4,3x3 6S 1300").found}
    assert found == {
        "stator_d_mm": "2207", "stator_h_mm": "2207", "kv": "1950KV", "diameter_in": "5,1x4,3x3",
        "pitch_in": "5,1x4,3x3", "blades": "5,1x4,3x3", "cells": "6S", "capacity_mah": "1300",
    }  # fmt: skip


def test_commas_are_told_apart():
    assert canonical("5,1x4,3x3,6S,1,3Ah")[1] == "5.1x4.3x3\n6S\n1.3Ah"
    assert settled("7x4x2,6S") == {
        "diameter_in": 7.0, "pitch_in": 4.0, "blades": 2, "cells": 6,
    }  # fmt: skip
    assert read_labels("5x4,22.2V").values == {
        "diameter_in": 5.0,
        "pitch_in": 4.0,
        "cells": 6,
        "chemistry": "lipo",
        "blades": 3,
    }


def test_long_texts_are_cut_and_said():
    reading = read_labels("6S 1300, " + "x" * 5000)
    assert reading.values == {"cells": 6, "capacity_mah": 1300.0}
    assert any(f"first {MAX_LENGTH} characters" in u.sentence for u in reading.unread)
    many = read_labels("1 " * 250)
    assert any(f"first {MAX_PIECES} pieces" in u.sentence for u in many.unread)


@pytest.mark.parametrize(
    "text",
    ["1" * 600, "1." * 300, "1,1" * 200, "1x" * 300, "9x9x" * 150, "6S" * 300, "a-" * 300, "1 x " * 150,
     "burst " * 100, "((((" * 150, "1-1" * 200, "1/1/1/" * 100, "\u00d7" * 600, "4 in 1 " * 85, "1\u202f" * 300,
     "22o7 " * 120, "KVKVKV" * 100, "'" * 600, "0." * 300 + "x"],
)  # fmt: skip
def test_no_pattern_explodes(text):
    begin = time.process_time()
    read_labels(text)
    assert time.process_time() - begin < 1.0


PIECES = st.sampled_from(
    [
        "2207",
        "2207.5",
        "1950KV",
        "KV1950",
        "1950",
        "5.1x4.3x3",
        "5,1x4,3x3",
        "51433",
        "5045BN",
        "1045",
        "7x4",
        "6S",
        "6S2P",
        "22.2V",
        "25.2V",
        "21.6V",
        "1300",
        "1300mAh",
        "1.3Ah",
        "100C",
        "100C/200C",
        "45A",
        "45A(55A)",
        "4in1",
        "3-6S",
        "76mm",
        "690g",
        "14AWG",
        "1000uF",
        "35V",
        "ESC",
        "motor",
        "pack",
        "frame",
        "x4",
        "2x",
        "22o7",
        "12N14P",
        "HV",
        "Li-ion",
        "21700",
        "60mohm",
        "5in",
        "3-blade",
        "max",
        "burst",
        "BEC",
        "5V",
        "up",
        "to",
        "0",
        "0x0x0",
        "99S",
        "1e9",
        "28.86Wh",
        "Y6",
        "M3",
        "16x16",
        "22x7mm",
    ]
)


@SETTINGS
@given(st.one_of(
    st.text(max_size=700),
    st.text(alphabet="0123456789.,xX*-/ SKVmAhCin\"'()\n", max_size=120),
    st.lists(PIECES, max_size=14).map(" ".join),
    st.lists(PIECES, max_size=14).map(", ".join),
    st.lists(PIECES, max_size=10).map("".join),
))  # fmt: skip
def test_any_text_gives_a_sound_reading(text):
    reading = read_labels(text)
    assert reading == read_labels(text)
    fields = {**FIELDS, "take_off_g": TAKE_OFF}
    for values in (reading.values, *(dict(o.values) for q in reading.questions for o in q.options)):
        for name, value in values.items():
            assert problem(fields[name], value) == ""
    for question in reading.questions:
        assert len(question.options) >= 2
        assert len({o.values for o in question.options}) == len(question.options)
        if question.assumed is None:
            # what is asked about is not decided, except by another piece of the text or by what meanings share
            shared = set.intersection(*(set(o.values) for o in question.options))
            for found in reading.found:
                offered = {v for o in question.options for f, v in o.values if f == found.field}
                assert (
                    not offered
                    or found.source != question.source
                    or (found.field, found.value) in shared
                    or (text.count(found.source) > 1)
                )
    said = " ".join([reading.sentence, *(u.sentence for u in reading.unread), *(q.sentence for q in reading.questions)])
    assert not set(said) & set("<>&`")
    # whatever was read can be put into the record, and each answer too
    for number, question in enumerate(reading.questions):
        for choice in range(len(question.options)):
            check(apply(Inputs(), answered(reading, {number: choice})))
    check(apply(Inputs(), reading.values))


@SETTINGS
@given(st.text(max_size=700))
def test_canonical_keeps_the_length(text):
    shown, read = canonical(text)
    assert len(shown) == len(read) <= MAX_LENGTH
    assert all(piece.text for piece in pieces_of(text))


@pytest.mark.parametrize(
    ("text", "field", "grams"),
    [
        ("2207 1950KV, take-off 650 g", "take_off_g", 650.0),
        ("AUW 650g", "take_off_g", 650.0),
        ("take-off mass 650 g", "take_off_g", 650.0),
        ("all-up weight 650 g", "take_off_g", 650.0),
        ("pack weight 205 g", "pack_g", 205.0),
        ("camera 70 g", "payload_g", 70.0),
        ("motor mass 33 g", "motor_mass_g", 33.0),
    ],
)
def test_a_word_before_grams_says_what_weighs_them(text, field, grams):
    reading = read_labels(text)
    assert not reading.questions and not reading.left_out
    assert answered(reading, {})[field] == grams


def test_refusals_name_the_field_and_never_nothing():
    said = [one.sentence for one in read_labels("hello ]]> 99999KV").unread]
    assert any(text.startswith('I read "99999KV", but KV must be') for text in said)
    assert not any('""' in text for text in said) and any("one of the signs" in text for text in said)


# trade language: SF and "slow fly" for large wide thin propellers of slow electric aeroplanes (common practice)
@pytest.mark.parametrize(
    ("text", "width"),
    [
        ("10x4.7x2 SF", "broad"), ("10x4.7x2SF", "broad"), ("10x4.7x2 slow fly", "broad"), ("1047SF", "broad"),
        ("slow flyer 11x4.7x2", "broad"), ("6x4x2 slow-flight prop", "broad"), ("5x4.3x3 wide blades", "broad"),
        ("5x4.3x3, narrow blades", "slim"), ("thin-bladed 5x4.3x3", "slim"), ("5x4.3x3 medium blades", "middle"),
    ],
)  # fmt: skip
def test_what_a_label_says_of_the_width_of_a_blade(text, width):
    reading = read_labels(text)
    assert reading.values["blade_width"] == width
    assert next(f.note for f in reading.found if f.field == "blade_width")
    assert reading.values["diameter_in"] in (5.0, 6.0, 10.0, 11.0) and not reading.unread and not reading.left_out


@pytest.mark.parametrize("text", ["2207 motor, 22 mm wide", "slow charger", "wide frame", "5x4.3x3 fast fly"])
def test_other_wide_things_are_no_blades(text):
    assert "blade_width" not in read_labels(text).values
