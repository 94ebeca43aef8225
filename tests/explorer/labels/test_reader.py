"""The label reader: labels as they are printed, typed and mistyped (all shapes: common practice, from memory)."""

from __future__ import annotations

import pytest
from hypothesis import settings
from label_words import MOTOR, options, settled
from long_run import examples

from explorer.labels import answered, read_labels

SETTINGS = settings(max_examples=examples(400), deadline=None)


@pytest.mark.parametrize(
    ("text", "values"),
    [
        # motors
        ("2207 1950KV", {**MOTOR, "kv": 1950.0}),
        ("2207-1950", {**MOTOR, "kv": 1950.0}),
        ("2207-1950KV", {**MOTOR, "kv": 1950.0}),
        ("2207/1950", {**MOTOR, "kv": 1950.0}),
        ("2207 1950", {**MOTOR, "kv": 1950.0}),
        ("1950KV 2207", {**MOTOR, "kv": 1950.0}),
        ("KV1950", {"kv": 1950.0}),
        ("kv 1950", {"kv": 1950.0}),
        ("Kv: 1950", {"kv": 1950.0}),
        ("1950 rpm/V", {"kv": 1950.0}),
        ("1,950KV", {"kv": 1950.0}),
        ("1.950 KV", {"kv": 1950.0}),
        ("2207.5", {"stator_d_mm": 22.0, "stator_h_mm": 7.5}),
        ("2806.5 1300KV", {"stator_d_mm": 28.0, "stator_h_mm": 6.5, "kv": 1300.0}),
        ("2806,5 1300KV", {"stator_d_mm": 28.0, "stator_h_mm": 6.5, "kv": 1300.0}),
        ("2806.5-1300", {"stator_d_mm": 28.0, "stator_h_mm": 6.5, "kv": 1300.0}),
        ("0802 22000KV", {"stator_d_mm": 8.0, "stator_h_mm": 2.0, "kv": 22000.0}),
        ("1406 3800KV", {"stator_d_mm": 14.0, "stator_h_mm": 6.0, "kv": 3800.0}),
        ("3115 900KV", {"stator_d_mm": 31.0, "stator_h_mm": 15.0, "kv": 900.0}),
        ("3115 900", {"stator_d_mm": 31.0, "stator_h_mm": 15.0, "kv": 900.0}),
        ("22x7 mm 1950KV", {**MOTOR, "kv": 1950.0}),
        ("22x7 1950KV", {**MOTOR, "kv": 1950.0}),
        ("12N14P", {"pole_pairs": 7}),
        ("2207 1950KV 12N14P motor 33 g", {**MOTOR, "kv": 1950.0, "pole_pairs": 7, "motor_mass_g": 33.0}),
        ("2207 1950KV 3-6S", {**MOTOR, "kv": 1950.0, "motor_max_cells": 6}),
        ("2207 1950KV 1.2A@10V", {**MOTOR, "kv": 1950.0, "no_load_a": 1.2, "no_load_v": 10.0}),
        ("2207 1950KV 60m\u03a9", {**MOTOR, "kv": 1950.0, "winding_mohm": 60.0}),
        # propellers
        ("5.1x4.3x3", {"diameter_in": 5.1, "pitch_in": 4.3, "blades": 3}),
        ("5,1x4,3x3", {"diameter_in": 5.1, "pitch_in": 4.3, "blades": 3}),
        ("5.1 x 4.3 x 3", {"diameter_in": 5.1, "pitch_in": 4.3, "blades": 3}),
        ("5.1*4.3*3", {"diameter_in": 5.1, "pitch_in": 4.3, "blades": 3}),
        ("5.1\u00d74.3\u00d73", {"diameter_in": 5.1, "pitch_in": 4.3, "blades": 3}),
        ("5.1X4.3X3", {"diameter_in": 5.1, "pitch_in": 4.3, "blades": 3}),
        ("51x43x3", {"diameter_in": 5.1, "pitch_in": 4.3, "blades": 3}),
        ("5x45x3", {"diameter_in": 5.0, "pitch_in": 4.5, "blades": 3}),
        ('5"x4.5"x3', {"diameter_in": 5.0, "pitch_in": 4.5, "blades": 3}),
        ("5in x 4.5in x 3", {"diameter_in": 5.0, "pitch_in": 4.5, "blades": 3}),
        ("5x4.5 3-blade", {"diameter_in": 5.0, "pitch_in": 4.5, "blades": 3}),
        ("5x4.5 tri-blade", {"diameter_in": 5.0, "pitch_in": 4.5, "blades": 3}),
        ("7x4x2", {"diameter_in": 7.0, "pitch_in": 4.0, "blades": 2}),
        ("5045x3", {"diameter_in": 5.0, "pitch_in": 4.5, "blades": 3}),
        ("5045-3", {"diameter_in": 5.0, "pitch_in": 4.5, "blades": 3}),
        ("1045x2", {"diameter_in": 10.0, "pitch_in": 4.5, "blades": 2}),
        ("7035 two blades", {"diameter_in": 7.0, "pitch_in": 3.5, "blades": 2}),
        ("9450 2 blades", {"diameter_in": 9.4, "pitch_in": 5.0, "blades": 2}),
        ("1855 2 blades", {"diameter_in": 18.0, "pitch_in": 5.5, "blades": 2}),
        ("propeller 3016 tri blade", {"diameter_in": 3.0, "pitch_in": 1.6, "blades": 3}),
        # packs
        ("6S 1300", {"cells": 6, "capacity_mah": 1300.0}),
        ("6S1300", {"cells": 6, "capacity_mah": 1300.0}),
        ("1300 6S", {"cells": 6, "capacity_mah": 1300.0}),
        ("6s 1300mah", {"cells": 6, "capacity_mah": 1300.0}),
        ("6 cells 1300 mAh", {"cells": 6, "capacity_mah": 1300.0}),
        ("6S 1,300mAh", {"cells": 6, "capacity_mah": 1300.0}),
        ("6S, 1 300 mAh", {"cells": 6, "capacity_mah": 1300.0}),
        ("1.3Ah", {"capacity_mah": 1300.0}),
        ("1,3 Ah", {"capacity_mah": 1300.0}),
        ("6S 1300mAh 100C/200C", {"cells": 6, "capacity_mah": 1300.0, "pack_label_c": 100.0, "pack_burst_c": 200.0}),
        ("1300mAh 45-90C", {"capacity_mah": 1300.0, "pack_label_c": 45.0, "pack_burst_c": 90.0}),
        ("1300mAh 100C burst 200C", {"capacity_mah": 1300.0, "pack_label_c": 100.0, "pack_burst_c": 200.0}),
        ("4S 850 95C", {"cells": 4, "capacity_mah": 850.0, "pack_label_c": 95.0}),
        ("6S 22.2V 1300mAh", {"cells": 6, "chemistry": "lipo", "capacity_mah": 1300.0}),
        ("6S 28.86Wh", {"cells": 6, "capacity_mah": 1300.0}),
        ("22.2 V", {"cells": 6, "chemistry": "lipo"}),
        ("22,2V", {"cells": 6, "chemistry": "lipo"}),
        ("14.8V", {"cells": 4, "chemistry": "lipo"}),
        ("11.1V", {"cells": 3, "chemistry": "lipo"}),
        ("21.6 V", {"cells": 6, "chemistry": "li_ion"}),
        ("15.2 V", {"cells": 4, "chemistry": "lipo_hv"}),
        ("16.8V", {"cells": 4}),
        ("4S HV 15.2V", {"cells": 4, "chemistry": "lipo_hv"}),
        ("LiHV 4S 650", {"chemistry": "lipo_hv", "cells": 4, "capacity_mah": 650.0}),
        ("6S Li-ion 4Ah", {"cells": 6, "chemistry": "li_ion", "capacity_mah": 4000.0}),
        ("21700 6S1P 4000mAh", {"chemistry": "li_ion", "cells": 6, "parallel": 1, "capacity_mah": 4000.0}),
        ("6S 25.2V", {"cells": 6}),
        ("6S2P", {"cells": 6, "parallel": 2}),
        ("6S 1300 pack 205 g", {"cells": 6, "capacity_mah": 1300.0, "pack_g": 205.0}),
        # ESC, wires and the rest
        ("45A ESC 3-6S", {"esc_a": 45.0, "esc_min_cells": 3, "esc_max_cells": 6}),
        ("45A ESC 3S-6S", {"esc_a": 45.0, "esc_min_cells": 3, "esc_max_cells": 6}),
        ("45A ESC 3~6S", {"esc_a": 45.0, "esc_min_cells": 3, "esc_max_cells": 6}),
        ("45A ESC 3\u20136S", {"esc_a": 45.0, "esc_min_cells": 3, "esc_max_cells": 6}),
        ("45 amps esc up to 6S", {"esc_a": 45.0, "esc_max_cells": 6}),
        ("ESC 7-26V 45A", {"esc_a": 45.0, "esc_max_cells": 6}),
        ("60A/70A 3-8S", {"esc_a": 60.0, "esc_burst_a": 70.0, "esc_min_cells": 3, "esc_max_cells": 8}),
        ("45A(55A) 3-6S", {"esc_a": 45.0, "esc_burst_a": 55.0, "esc_min_cells": 3, "esc_max_cells": 6}),
        ("45A burst 55A", {"esc_a": 45.0, "esc_burst_a": 55.0}),
        ("14AWG", {"wire_awg": 14}),
        ("AWG 12", {"wire_awg": 12}),
        ("1000uF 35V", {"capacitor_uf": 1000.0, "capacitor_v": 35.0}),
        ("35V 1000\u00b5F", {"capacitor_uf": 1000.0, "capacitor_v": 35.0}),
        ("5 inch frame", {"frame_propeller_in": 5.0}),
        ("hexacopter", {"rotors": 6}),
        ("Y6", {"rotors": 6, "coaxial": True}),
    ],
)  # fmt: skip
def test_one_meaning(text, values):
    assert settled(text) == values


@pytest.mark.parametrize(
    "text",
    [
        "2207 1950KV, 5.1x4.3x3, 6S 1300, 45A ESC 3-6S",
        "6S 1300; 2207 1950KV; 45A ESC 3-6S; 5.1x4.3x3",
        "2207 1950KV\n5,1x4,3x3\n6S1300\n45A ESC 3-6S",
        "2207-1950,5.1x4.3x3,6S 1300mAh,45A ESC 3-6S",
        "5.1x4.3x3 2207 1950KV 6S 1300 45A ESC 3-6S",
        "45A ESC 3-6S 6S 1300 5.1x4.3x3 2207 1950KV",
        "  2207  1950KV  |  5.1 x 4.3 x 3  |  6S  1300  |  45A ESC 3-6S ",
    ],
)
def test_a_whole_list_in_any_order(text):
    assert settled(text) == {
        **MOTOR, "kv": 1950.0, "diameter_in": 5.1, "pitch_in": 4.3, "blades": 3, "cells": 6,
        "capacity_mah": 1300.0, "esc_a": 45.0, "esc_min_cells": 3, "esc_max_cells": 6,
    }  # fmt: skip


def test_the_demo_craft_as_labels():
    assert settled("0802 16000KV, 1.6x1x2, 1S 300mAh LiHV, 30 g all-up")["take_off_g"] == 30.0
    assert settled("3x2.5x3 1406 3800KV 4S 650")["kv"] == 3800.0
    moor = settled("7x4x2, 2806.5 1300KV, 6S Li-ion 4 Ah")
    assert (moor["chemistry"], moor["capacity_mah"], moor["stator_h_mm"]) == ("li_ion", 4000.0, 6.5)
    fell = settled("10x5x2, 3115 900KV, 6S 8000mAh")
    assert (fell["diameter_in"], fell["stator_h_mm"], fell["capacity_mah"]) == (10.0, 15.0, 8000.0)


def test_51433():
    assert read_labels("51433").values == {"diameter_in": 5.1}
    assert {"diameter_in": 5.1, "pitch_in": 4.3, "blades": 3} in options("51433")
    assert {(o["pitch_in"], o["blades"]) for o in options("51433")} == {(4.3, 3), (4.33, 3), (4.33, 2)}
    assert answered(read_labels("51433"), {0: 0}) == {"diameter_in": 5.1, "pitch_in": 4.3, "blades": 3}


def test_51466_is_not_six_blades_first():
    first, *others = options("51466")
    assert first == {"diameter_in": 5.1, "pitch_in": 4.66, "blades": 3}
    assert others[-1] == {"diameter_in": 5.1, "pitch_in": 4.6, "blades": 6}


def test_51499_has_one_size():
    assert read_labels("51499").values == {"diameter_in": 5.1, "pitch_in": 4.99, "blades": 3}


@pytest.mark.parametrize(
    ("text", "size", "blades"), [("1045", (10.0, 4.5), 2), ("5045", (5.0, 4.5), 3), ("5x4.5", (5.0, 4.5), 3)]
)
def test_blades_not_on_the_label_are_taken_as_usual_and_said(text, size, blades):
    # common practice, from memory: three blades up to 6 in, two above
    reading = read_labels(text)
    assert reading.values == {"diameter_in": size[0], "pitch_in": size[1], "blades": blades}
    assert reading.assumed == (f"Blades are not on the label: {blades} are taken, usual at {size[0]:g} in.",)
    assert reading.questions == ()


def test_bull_nose():
    reading = read_labels("5045BN")
    assert reading.values == {"diameter_in": 5.0, "pitch_in": 4.5, "blade_width": "broad", "blades": 3}
    assert "blunt" in next(f.note for f in reading.found if f.field == "blade_width")


def test_76_mm_may_be_a_propeller_or_a_frame():
    blade, frame = options("76 mm")
    assert blade == {"diameter_in": 2.99}
    # arithmetic: neighbours on a square frame stand 76 / sqrt 2 = 53.7 mm apart; less 5 mm: 1.9 in
    assert frame == {"frame_propeller_in": 1.9}
    assert settled("propeller 76 mm")["diameter_in"] == 2.99
    assert read_labels("5 mm shaft").left_out == ("5 mm",)


def test_127x114_mm():
    reading = read_labels("127x114 mm 3 blades")
    assert reading.values == {"diameter_in": 5.0, "pitch_in": 4.49, "blades": 3}


def test_25_2_v_is_full_six_or_nominal_seven():
    assert options("25.2V") == [{"cells": 7, "chemistry": "li_ion"}, {"cells": 6}]


def test_cells_against_volts():
    reading = read_labels("6S 14.8V")
    assert "cells" not in reading.values
    assert reading.questions[0].sentence == '"6S" and "14.8V" do not agree. Which is it?'
    assert options("6S 14.8V") == [{"cells": 6}, {"cells": 4, "chemistry": "lipo"}]


def test_parallel_capacity_is_asked():
    reading = read_labels("6S2P 5000mAh")
    assert reading.values == {"cells": 6, "parallel": 2}
    assert options("6S2P 5000mAh") == [{"capacity_mah": 2500.0}, {"capacity_mah": 5000.0}]


def test_four_in_one_is_asked_in_words():
    reading = read_labels("45A 4in1 3-6S")
    assert reading.values == {"esc_a": 45.0, "esc_min_cells": 3, "esc_max_cells": 6}
    question = reading.questions[0]
    assert question.sentence == "Are the 45 A for each motor, or for the whole board?"
    assert question.assumed == 0
    assert answered(reading, {0: 1})["esc_a"] == 11.25
    for text in ("4-in-1 45A", "4 in 1 45 A", "45A four in one"):
        assert read_labels(text).values["esc_a"] == 45.0


def test_a_bare_number_is_asked_about():
    assert options("1950") == [{"kv": 1950.0}, {"capacity_mah": 1950.0}]
    assert {"diameter_in": 10.0, "pitch_in": 5.0, "blades": 2} in options("1050")
    assert {"stator_d_mm": 30.0, "stator_h_mm": 16.0} in options("3016")
    # beside a motor that is known it is the propeller
    assert read_labels("2207 1950KV 3016").values["diameter_in"] == 3.0


def test_cells_beside_a_motor_are_the_pack_and_it_is_said():
    assert settled("2207 1950KV 6S")["cells"] == 6
    assert read_labels("2207 1950KV 6S").assumed == ('"6S" is taken as your pack.',)
    # a second pack tells that the first is what the motor may take
    assert settled("1103 11000KV 2S, 4S")["motor_max_cells"] == 2


def test_cells_beside_an_esc_are_asked():
    assert options("55A ESC 6S") == [{"cells": 6}, {"esc_max_cells": 6}]
    # with the pack told elsewhere there is no doubt
    assert settled("55A ESC 6S, 4S 1500") == {"esc_a": 55.0, "esc_max_cells": 6, "cells": 4, "capacity_mah": 1500.0}


def test_amps_beside_a_motor_are_asked():
    assert options("2207 1950KV 38A") == [{"esc_a": 38.0}, {"motor_max_a": 38.0}]
    told = settled("2207 1950KV 38A max, 45A ESC")
    assert (told["motor_max_a"], told["esc_a"]) == (38.0, 45.0)


def test_amps_beside_a_pack_are_asked():
    assert options("6S 4000mAh 45A") == [{"esc_a": 45.0}, {"pack_label_c": 11.25}]


def test_cells_from_to_alone_are_asked():
    assert options("3-6S") == [{"esc_min_cells": 3, "esc_max_cells": 6}, {"motor_max_cells": 6}]


@pytest.mark.parametrize(
    ("text", "field", "grams"),
    [
        # nothing named weighs about that much: the whole craft
        ("690 g", "take_off_g", 690.0),
        ("0.69 kg", "take_off_g", 690.0),
        ("2207 1950KV, 5143x3, 6S 1300 690 g", "take_off_g", 690.0),
        ("1102 18000KV 40mm 1S 300mAh 30 g", "take_off_g", 30.0),
        # behind a part that usually weighs that
        ("2207 1950KV 33 g", "motor_mass_g", 33.0),
        ("6S 1300mAh 195 g", "pack_g", 195.0),
        ("5.1x4.3x3 4.2 g", "propeller_g", 4.2),
    ],
)
def test_grams_go_to_what_weighs_so_much_and_it_is_said(text, field, grams):
    reading = read_labels(text)
    assert reading.questions == () and reading.values[field] == grams
    assert any("is taken as the" in said for said in reading.assumed)


def test_grams_beside_an_unknown_word_are_asked():
    assert {"payload_g": 120.0} in options("lens 120 g")
    assert options("2207 1950KV, 6S 1300, 33 g each")[0] == {"motor_mass_g": 33.0}
    assert "without the pack" in read_labels("dry weight 480 g").unread[0].sentence


def test_two_packs_or_one_and_a_spare():
    assert options("2x 6S 1300") == [{"parallel": 2}, {"parallel": 1}]
    assert settled("4x 2207 1950KV") == {**MOTOR, "kv": 1950.0}


def test_said_twice_and_not_the_same():
    reading = read_labels("1950KV, 2400KV")
    assert "kv" not in reading.values
    assert [dict(o.values) for o in reading.questions[0].options] == [{"kv": 1950.0}, {"kv": 2400.0}]
    assert settled("1950KV, KV1950") == {"kv": 1950.0}
