"""Labels as new users typed them, with what they mean: read right, or asked fairly (shapes: common practice)."""

import pytest

from explorer.labels import read_labels

M2207 = {"stator_d_mm": 22.0, "stator_h_mm": 7.0}
M2306H = {"stator_d_mm": 23.0, "stator_h_mm": 6.5}
P51433 = {"diameter_in": 5.1, "pitch_in": 4.3, "blades": 3}
X8 = {"rotors": 8, "coaxial": True}

READ = [
    # tiny craft
    (
        "1102 18000KV 40mm 3-blade 1S 300mAh 30g auw",
        {"stator_d_mm": 11.0, "stator_h_mm": 2.0, "kv": 18000.0, "diameter_in": 1.57, "blades": 3, "cells": 1,
         "capacity_mah": 300.0, "take_off_g": 30.0},
    ),
    ("0802 19000KV 1S", {"stator_d_mm": 8.0, "stator_h_mm": 2.0, "kv": 19000.0, "cells": 1}),
    ("22g auw", {"take_off_g": 22.0}),
    ("AUW: 22 g", {"take_off_g": 22.0}),
    ("AUW 690", {"take_off_g": 690.0}),
    # blades as a word, sizes with other signs
    ("5x4 tri", {"diameter_in": 5.0, "pitch_in": 4.0, "blades": 3}),
    ("5x4.5 bi", {"diameter_in": 5.0, "pitch_in": 4.5, "blades": 2}),
    ("51466 tri", {"diameter_in": 5.1, "pitch_in": 4.66, "blades": 3}),
    ("51466-3", {"diameter_in": 5.1, "pitch_in": 4.66, "blades": 3}),
    ("5.1/4.3/3", P51433),
    ("7/4/2", {"diameter_in": 7.0, "pitch_in": 4.0, "blades": 2}),
    ("diameter 5.1 pitch 4.3 3 blades", P51433),
    # motors
    ("1.9K KV", {"kv": 1900.0}),
    ("1.9kKV", {"kv": 1900.0}),
    ("1.9KV", {"kv": 1900.0}),
    ("2306\u00bd 1900KV", {**M2306H, "kv": 1900.0}),
    ("2306 1/2 1900KV", {**M2306H, "kv": 1900.0}),
    ("2,207 1950KV", {**M2207, "kv": 1950.0}),
    ("2,306.5 1950KV", {**M2306H, "kv": 1950.0}),
    ("M2207.5-1855KV", {"stator_d_mm": 22.0, "stator_h_mm": 7.5, "kv": 1855.0}),
    ("X2207 1950KV", {**M2207, "kv": 1950.0}),
    ("2207S 1950KV", {**M2207, "kv": 1950.0}),
    ("2207V2 1950KV", {**M2207, "kv": 1950.0}),
    ("T5143x3", P51433),
    # packs and plugs
    ("4S 4.35V LiHV 650", {"cells": 4, "chemistry": "lipo_hv", "capacity_mah": 650.0}),
    ("4.35V LiHV", {"chemistry": "lipo_hv"}),
    ("6S 3.6V 4000", {"cells": 6, "chemistry": "li_ion", "capacity_mah": 4000.0}),
    ("3.7V 300mAh", {"cells": 1, "chemistry": "lipo", "capacity_mah": 300.0}),
    ("6S", {"cells": 6}),
    ("6s lipo 1550", {"cells": 6, "chemistry": "lipo", "capacity_mah": 1550.0}),
    ("XT60", {"connector_a": 60.0}),
    ("6S 1300 XT-60", {"cells": 6, "capacity_mah": 1300.0, "connector_a": 60.0}),
    ("IR 9 mohm", {"cell_mohm": 9.0}),
    # lengths and masses
    ("30.5mm", {}),
    ("30.5 mm stack", {}),
    ("10 inch", {"diameter_in": 10.0, "blades": 2}),
    ("5 inch quad", {"diameter_in": 5.0, "blades": 3, "rotors": 4}),
    ("8 inch 8x4.5x3", {"diameter_in": 8.0, "pitch_in": 4.5, "blades": 3, "frame_propeller_in": 8.0}),
    ("680g", {"take_off_g": 680.0}),
    ("weight 680g", {"take_off_g": 680.0}),
    ("0.68 kg", {"take_off_g": 680.0}),
    ("cam 70g", {"payload_g": 70.0}),
    # craft
    ("X8", X8),
    ("X8 10x4.5x2", {**X8, "diameter_in": 10.0, "pitch_in": 4.5, "blades": 2}),
    ("octo coaxial", X8),
    ("coaxial quad", X8),
    ("Y6", {"rotors": 6, "coaxial": True}),
    ("6 motors", {"rotors": 6}),
    (
        "800KV 10x4.5 4S 5000mAh quad",
        {"kv": 800.0, "diameter_in": 10.0, "pitch_in": 4.5, "blades": 2, "cells": 4, "capacity_mah": 5000.0,
         "rotors": 4},
    ),
    # as people put it in threads
    (
        "2400KV, 5x4.0 tri, 4S 1300 mAh, 30 A ESC",
        {"kv": 2400.0, "diameter_in": 5.0, "pitch_in": 4.0, "blades": 3, "cells": 4, "capacity_mah": 1300.0,
         "esc_a": 30.0},
    ),
    ("2633KV, 4.0x4.5 prop, 4S", {"kv": 2633.0, "diameter_in": 4.0, "pitch_in": 4.5, "blades": 3, "cells": 4}),
    ("2305 2600KV", {"stator_d_mm": 23.0, "stator_h_mm": 5.0, "kv": 2600.0}),
    (
        "2-inch, 1507 3922KV 4S",
        {"stator_d_mm": 15.0, "stator_h_mm": 7.0, "kv": 3922.0, "cells": 4, "diameter_in": 2.0, "blades": 3},
    ),
    (
        "210 g craft, 5-inch, 6S, 35 A ESC",
        {"take_off_g": 210.0, "diameter_in": 5.0, "blades": 3, "cells": 6, "esc_a": 35.0},
    ),
    ("2450KV 6S", {"kv": 2450.0, "cells": 6}),
    (
        "1103-size 11000KV 2S motors on 4S",
        {"stator_d_mm": 11.0, "stator_h_mm": 3.0, "kv": 11000.0, "motor_max_cells": 2, "cells": 4},
    ),
    (
        "3-inch with 1408 2800KV on 6S",
        {"stator_d_mm": 14.0, "stator_h_mm": 8.0, "kv": 2800.0, "cells": 6, "diameter_in": 3.0, "blades": 3},
    ),
    (
        "2808 850KV, 10x4.5, 4S; ESC 2-3S",
        {"stator_d_mm": 28.0, "stator_h_mm": 8.0, "kv": 850.0, "diameter_in": 10.0, "pitch_in": 4.5, "blades": 2,
         "cells": 4, "esc_min_cells": 2, "esc_max_cells": 3},
    ),
    ("1806 2280KV, 3S, 12 A ESC", {"stator_d_mm": 18.0, "stator_h_mm": 6.0, "kv": 2280.0, "cells": 3, "esc_a": 12.0}),
    ("5x4.6 bullnose tri", {"diameter_in": 5.0, "pitch_in": 4.6, "blades": 3, "blade_width": "broad"}),
    ("720KV, 13x5.5, 4S", {"kv": 720.0, "diameter_in": 13.0, "pitch_in": 5.5, "blades": 2, "cells": 4}),
    ("6S 1950KV 60 A ESC", {"cells": 6, "kv": 1950.0, "esc_a": 60.0}),
    ("450 class, 4S 6750 mAh", {"frame_propeller_in": 12.3, "cells": 4, "capacity_mah": 6750.0}),
    (
        "7-inch 1300KV, 45 A, 20 AWG",
        {"diameter_in": 7.0, "blades": 2, "kv": 1300.0, "esc_a": 45.0, "wire_awg": 20},
    ),
    ("9x5 tri", {"diameter_in": 9.0, "pitch_in": 5.0, "blades": 3}),
    ("10x4 two-blade", {"diameter_in": 10.0, "pitch_in": 4.0, "blades": 2}),
    ("hexa 13x4.4", {"rotors": 6, "diameter_in": 13.0, "pitch_in": 4.4, "blades": 2}),
    ("5 inch props 2207 motors 6S", {**M2207, "diameter_in": 5.0, "blades": 3, "cells": 6}),
    (
        "2212 920KV 9450 3S 5200",
        {"stator_d_mm": 22.0, "stator_h_mm": 12.0, "kv": 920.0, "diameter_in": 9.4, "pitch_in": 5.0, "blades": 2,
         "cells": 3, "capacity_mah": 5200.0},
    ),
    (
        "65mm 1S 0702 23000KV",
        {"stator_d_mm": 7.0, "stator_h_mm": 2.0, "kv": 23000.0, "cells": 1, "frame_propeller_in": 1.6},
    ),
    (
        "4S 1300mAh 150 g 2207 2400KV 32g 690 g",
        {**M2207, "kv": 2400.0, "cells": 4, "capacity_mah": 1300.0, "pack_g": 150.0, "motor_mass_g": 32.0,
         "take_off_g": 690.0},
    ),
    ("45A 32-bit ESC", {"esc_a": 45.0}),
    (
        "2207/1950KV/5143-3/6S1300",
        {**M2207, **P51433, "kv": 1950.0, "cells": 6, "capacity_mah": 1300.0},
    ),
    (
        "F60 2207 1950KV, F4 FC 45A ESC",
        {**M2207, "kv": 1950.0, "esc_a": 45.0},
    ),
]  # fmt: skip


@pytest.mark.parametrize(("text", "values"), READ, ids=[text for text, _ in READ])
def test_read_without_a_question(text, values):
    reading = read_labels(text)
    assert reading.values == values
    assert reading.open_labels() == ()


ASKED = [
    # two fair meanings, or a maker's code of which nothing is known
    ("P42A", [{"chemistry": "li_ion"}, {}]),
    ("6S1P P42A 4200mAh", [{"chemistry": "li_ion"}, {}]),
    ("30Q 6S2P", [{"chemistry": "li_ion"}, {}]),
    ("55A ESC 6S", [{"cells": 6}, {"esc_max_cells": 6}]),
    ("65mm", [{"diameter_in": 2.56}, {"frame_propeller_in": 1.6}]),
    ("coaxial", [X8, {"rotors": 6, "coaxial": True}]),
    ("max 6S", [{"esc_max_cells": 6}, {"motor_max_cells": 6}]),
    ("6S2P 5000mAh", [{"capacity_mah": 2500.0}, {"capacity_mah": 5000.0}]),
]


@pytest.mark.parametrize(("text", "options"), ASKED, ids=[text for text, _ in ASKED])
def test_asked_fairly(text, options):
    reading = read_labels(text)
    (question,) = reading.questions
    assert [dict(option.values) for option in question.options] == options
    assert question.assumed is None and reading.open_labels() == (question.source,)
    assert reading.open_labels({0: 0}) == ()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("800KV 10x4.5 4S", "Blades are not on the label: 2 are taken, usual at 10 in."),
        ("5x4.3", "Blades are not on the label: 3 are taken, usual at 5 in."),
        ("XT60", '"XT60" is taken as a 60 A connector.'),
        ("10 inch", '"10 inch" is taken as the propeller.'),
        ("680g", '"680g" is taken as the take-off mass.'),
        ("2207 1950KV 6S", '"6S" is taken as your pack.'),
        ("coaxial quad", '"coaxial" is taken as 8 rotors on 4 arms.'),
    ],
)
def test_whatever_is_assumed_is_said(text, said):
    assert said in read_labels(text).assumed


def test_nothing_is_said_where_the_label_tells_it():
    assert read_labels("2207 1950KV, 5.1x4.3x3, 6S 1300, take-off 690 g").assumed == ()


def test_a_cell_type_beside_its_chemistry_is_a_name_only():
    reading = read_labels("21700 P42A 6S 4200mAh")
    assert reading.questions == () and reading.left_out == ("P42A",)
    assert reading.values["chemistry"] == "li_ion"


def test_the_kv_tells_a_motor_from_a_propeller():
    # 1406 of 3800 KV turns far too fast for 14 in; 10 x 4.5 mm at 800 KV is no motor that is sold
    assert read_labels("14x6 3800KV").values == {"stator_d_mm": 14.0, "stator_h_mm": 6.0, "kv": 3800.0}
    assert read_labels("10x4 800KV").values["diameter_in"] == 10.0


def test_open_labels_count_questions_and_what_was_not_read():
    reading = read_labels("55A ESC 6S, 22o7")
    assert reading.open_labels() == ("6S", "22o7")
    assert reading.open_fields() == {"cells", "esc_max_cells"}
    assert reading.open_labels({0: 1}) == ("22o7",) and reading.open_fields({0: 1}) == frozenset()
    # what has an answer until another is given holds nothing open
    assert read_labels("45A 4in1").questions and read_labels("45A 4in1").open_labels() == ()
