"""Labels as builders of other countries, hurried builders and other trades write them (shapes: common practice)."""

import pytest

from explorer.labels import read_labels

M2207 = {"stator_d_mm": 22.0, "stator_h_mm": 7.0}
P51433 = {"diameter_in": 5.1, "pitch_in": 4.3, "blades": 3}

READ = [
    # other writings and languages
    ("2207 1950KV 6S 1300\u043c\u0410\u0447 5,1\u04454,3\u04453",
     {**M2207, **P51433, "kv": 1950.0, "cells": 6, "capacity_mah": 1300.0}),
    ("\u043c\u043e\u0442\u043e\u0440 2207 1950KV", {**M2207, "kv": 1950.0}),
    ("moteur 2207 1960kv h\u00e9lice 5,1x3,6x3 batterie 6S 1300mAh",
     {**M2207, "kv": 1960.0, "diameter_in": 5.1, "pitch_in": 3.6, "blades": 3, "cells": 6, "capacity_mah": 1300.0}),
    ("\u00d8 5,1", {"diameter_in": 5.1, "blades": 3}),
    ("5 1/2 inch", {"diameter_in": 5.5, "blades": 3}),
    ('3 1/2"', {"diameter_in": 3.5, "blades": 3}),
    ("86\u00b0F", {"air_temperature_c": 30.0}),
    ("alt 1500 m", {"altitude_m": 1500.0}),
    ("hot day 35C", {"air_temperature_c": 35.0}),
    ("4S 1500 35C", {"cells": 4, "capacity_mah": 1500.0, "pack_label_c": 35.0}),
    # letters of a type
    ("0802SE 19500KV", {"stator_d_mm": 8.0, "stator_h_mm": 2.0, "kv": 19500.0}),
    ("5x4.3x3 V1S", {"diameter_in": 5.0, "pitch_in": 4.3, "blades": 3}),
    ("T3x1.8x3", {"diameter_in": 3.0, "pitch_in": 1.8, "blades": 3}),
    ("5143R3", P51433),
    ("5045x3BN", {"diameter_in": 5.0, "pitch_in": 4.5, "blades": 3, "blade_width": "broad"}),
    ("7x5 3bl", {"diameter_in": 7.0, "pitch_in": 5.0, "blades": 3}),
    ("50S 21700 6S", {"chemistry": "li_ion", "cells": 6}),
    # commas for spaces, parts told in lists
    ("2207,1950,5143,6s,1300", {**M2207, **P51433, "kv": 1950.0, "cells": 6, "capacity_mah": 1300.0}),
    ("4S 100C 1300", {"cells": 4, "pack_label_c": 100.0, "capacity_mah": 1300.0}),
    ("2x3S in series 2200", {"cells": 6, "capacity_mah": 2200.0}),
    ("4-motor 5 inch", {"rotors": 4, "diameter_in": 5.0, "blades": 3}),
    ("motors 4x35g", {"motor_mass_g": 35.0}),
    ("7 pole pairs", {"pole_pairs": 7}),
    ("no load current 1.2A at 10V", {"no_load_a": 1.2, "no_load_v": 10.0}),
    ("45A ESC, 60A 10s burst", {"esc_a": 45.0, "esc_burst_a": 60.0}),
    ("ESC 45", {"esc_a": 45.0}),
    ("60A plug", {"connector_a": 60.0}),
    ("connector 60 A", {"connector_a": 60.0}),
    ("IR 11 12 12 13 12 12", {"cell_mohm": 12.0}),
    ("2 year old 6s 1300", {"pack_age": "tired", "cells": 6, "capacity_mah": 1300.0}),
    # a mass and the size of a frame beside other words
    ("with battery 612g", {"take_off_g": 612.0}),
    ("690g with battery 200g", {"take_off_g": 690.0, "pack_g": 200.0}),
    ("craft 1404 4500 KV", {"stator_d_mm": 14.0, "stator_h_mm": 4.0, "kv": 4500.0}),
    ('225mm wheelbase 5"', {"frame_propeller_in": 6.0, "diameter_in": 5.0, "blades": 3}),
    ('7" frame 6" props', {"frame_propeller_in": 7.0, "diameter_in": 6.0, "blades": 3}),
    ("8 inch X8 1250kv", {"diameter_in": 8.0, "rotors": 8, "coaxial": True, "kv": 1250.0, "blades": 2}),
    ("8 in x 8", {"diameter_in": 8.0, "pitch_in": 8.0, "blades": 2}),
    ("Lithium-ion 4S 3000", {"chemistry": "li_ion", "cells": 4, "capacity_mah": 3000.0}),
    ("5,1 Zoll mit 3 Bl\u00e4ttern, Steigung 3,6", {"diameter_in": 5.1, "blades": 3, "pitch_in": 3.6}),
    ("249,9 g", {"take_off_g": 249.9}),
    # large craft, and tiny ones without a class name
    ("10 inch hexa 3115 640kv 8S 10Ah",
     {"diameter_in": 10.0, "rotors": 6, "stator_d_mm": 31.0, "stator_h_mm": 15.0, "kv": 640.0, "cells": 8,
      "capacity_mah": 10000.0, "blades": 2}),
    ("cinema craft 8x4.5x3 2809 1150kv 6s 6000mah 2.4kg camera 650g",
     {"diameter_in": 8.0, "pitch_in": 4.5, "blades": 3, "stator_d_mm": 28.0, "stator_h_mm": 9.0, "kv": 1150.0,
      "cells": 6, "capacity_mah": 6000.0, "take_off_g": 2400.0, "payload_g": 650.0}),
    ("tiny craft 75 mm, 1 S, 450 mAh HV, 1002, 20000 kv, 40 mm props, 28 grams with battery",
     {"frame_propeller_in": 1.8, "cells": 1, "capacity_mah": 450.0, "chemistry": "lipo_hv", "stator_d_mm": 10.0,
      "stator_h_mm": 2.0, "kv": 20000.0, "diameter_in": 1.57, "blades": 3, "take_off_g": 28.0}),
]  # fmt: skip


@pytest.mark.parametrize(("text", "values"), READ, ids=[text for text, _ in READ])
def test_read_without_a_question(text, values):
    reading = read_labels(text)
    assert (reading.values, reading.questions, reading.unread) == (values, (), ())


@pytest.mark.parametrize("text", ["2207 1950KV 6S 44A max", "max current 44A 2207"])
def test_a_largest_current_beside_a_motor_is_never_taken_as_the_esc(text):
    (question,) = read_labels(text).questions
    assert {field for option in question.options for field, _ in option.values} == {"motor_max_a", "esc_a"}
    assert question.assumed is None


@pytest.mark.parametrize(
    ("text", "said", "never"),
    [
        ("8520 brushed", "Brushed motors are not computed: brushless motors only.", "stator_d_mm"),
        ("NiMH 7.2V", "NiMH cells are not computed: lithium cells only.", "kv"),
        ("bicopter 5x4.5", "Two rotors are not computed: 3 to 8 are.", "rotors"),
        ("puffed 6s", "A puffed pack must not be flown or charged: see Why, puffed.", "pack_age"),
        ("2270 1950kv 6S", 'I could not read "2270": did you mean 2207?', "capacity_mah"),
    ],
)
def test_what_is_not_computed_or_misspelt_is_said(text, said, never):
    reading = read_labels(text)
    assert said in [unread.sentence for unread in reading.unread]
    assert never not in reading.values and reading.open_labels()


def test_a_cold_morning_says_what_of_the_pack():
    assert read_labels("-5 \u00b0C").assumed == ('The pack stays warm: type "pack -5 C" too if it lay in the cold.',)
    assert read_labels("pack -5 C, -5 \u00b0C").assumed == () == read_labels("18 \u00b0C").assumed
