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
        {
            "stator_d_mm": 11.0,
            "stator_h_mm": 2.0,
            "kv": 18000.0,
            "diameter_in": 1.57,
            "blades": 3,
            "cells": 1,
            "capacity_mah": 300.0,
            "take_off_g": 30.0,
        },
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
        {
            "kv": 800.0,
            "diameter_in": 10.0,
            "pitch_in": 4.5,
            "blades": 2,
            "cells": 4,
            "capacity_mah": 5000.0,
            "rotors": 4,
        },
    ),
    # as people put it in threads
    (
        "2400KV, 5x4.0 tri, 4S 1300 mAh, 30 A ESC",
        {
            "kv": 2400.0,
            "diameter_in": 5.0,
            "pitch_in": 4.0,
            "blades": 3,
            "cells": 4,
            "capacity_mah": 1300.0,
            "esc_a": 30.0,
        },
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
        {
            "stator_d_mm": 28.0,
            "stator_h_mm": 8.0,
            "kv": 850.0,
            "diameter_in": 10.0,
            "pitch_in": 4.5,
            "blades": 2,
            "cells": 4,
            "esc_min_cells": 2,
            "esc_max_cells": 3,
        },
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
        {
            "stator_d_mm": 22.0,
            "stator_h_mm": 12.0,
            "kv": 920.0,
            "diameter_in": 9.4,
            "pitch_in": 5.0,
            "blades": 2,
            "cells": 3,
            "capacity_mah": 5200.0,
        },
    ),
    (
        "65mm 1S 0702 23000KV",
        {"stator_d_mm": 7.0, "stator_h_mm": 2.0, "kv": 23000.0, "cells": 1, "frame_propeller_in": 1.6},
    ),
    (
        "4S 1300mAh 150 g 2207 2400KV 32g 690 g",
        {
            **M2207,
            "kv": 2400.0,
            "cells": 4,
            "capacity_mah": 1300.0,
            "pack_g": 150.0,
            "motor_mass_g": 32.0,
            "take_off_g": 690.0,
        },
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
    # as shops, threads and stickers have it
    ("2207 KV1950 / 6S / 1300", {**M2207, "kv": 1950.0, "cells": 6, "capacity_mah": 1300.0}),
    ("2207 KV 1950", {**M2207, "kv": 1950.0}),
    ("2450 KV 2207", {**M2207, "kv": 2450.0}),
    ("2207 KV 1950 mAh", {"kv": 2207.0, "capacity_mah": 1950.0}),
    ("2207 1960, 5136", {**M2207, "kv": 1960.0, "diameter_in": 5.1, "pitch_in": 3.6, "blades": 3}),
    ("2207 1750 or 1950 KV", {**M2207, "kv": 1750.0}),
    ("55A (65A burst 10 s) ESC 3-6S", {"esc_a": 55.0, "esc_burst_a": 65.0, "esc_min_cells": 3, "esc_max_cells": 6}),
    ("65A burst, 6S", {"esc_burst_a": 65.0, "cells": 6}),
    ("2207 1950KV 29,99\u20ac, 4S 850 $22.50", {**M2207, "kv": 1950.0, "cells": 4, "capacity_mah": 850.0}),
    ("5143 V2 25.90 EUR", P51433),
    ("5143, 12 min", P51433),
    ("all up 710 gr", {"take_off_g": 710.0}),
    ("450 g all in", {"take_off_g": 450.0}),
    ("H\u00f6he 2000 m, Gr\u00f6\u00dfe 5143", {"altitude_m": 2000.0, **P51433}),
    ("Abflugmasse 680 Gramm", {"take_off_g": 680.0}),
    (
        "0802 1S 300 PH2.0 24g",
        {"stator_d_mm": 8.0, "stator_h_mm": 2.0, "cells": 1, "capacity_mah": 300.0, "take_off_g": 24.0},
    ),
    (
        "4S 1500mAh 75/150C 14.8V XT60 180g",
        {
            "cells": 4,
            "capacity_mah": 1500.0,
            "pack_label_c": 75.0,
            "pack_burst_c": 150.0,
            "chemistry": "lipo",
            "connector_a": 60.0,
            "pack_g": 180.0,
        },
    ),
    ("AUW 3.9kg with camera 900g", {"take_off_g": 3900.0, "payload_g": 900.0}),
    ("690g with camera 150g", {"take_off_g": 690.0, "payload_g": 150.0}),
]

WRITTEN = [
    # as practitioners write them: units glued, signs, decimal commas, several parts in a line, other languages
    ("2207 1960KV 6S, 5.1\xd74.6\xd73, 1300mAh 6S 120C, 55A ESC, 680g AUW",
     {"stator_d_mm": 22.0, "stator_h_mm": 7.0, "kv": 1960.0, "motor_max_cells": 6, "diameter_in": 5.1,
      "pitch_in": 4.6, "blades": 3, "capacity_mah": 1300.0, "cells": 6, "pack_label_c": 120.0, "esc_a": 55.0,
      "take_off_g": 680.0}),
    ("2207-1960kv 5136-3 6s1p 1100mAh 150C",
     {"stator_d_mm": 22.0, "stator_h_mm": 7.0, "kv": 1960.0, "diameter_in": 5.1, "pitch_in": 3.6, "blades": 3,
      "cells": 6, "parallel": 1, "capacity_mah": 1100.0, "pack_label_c": 150.0}),
    ("1404 4600KV 3x3x3 4S 450 mAh 75C 250g",
     {"stator_d_mm": 14.0, "stator_h_mm": 4.0, "kv": 4600.0, "diameter_in": 3.0, "pitch_in": 3.0, "blades": 3,
      "cells": 4, "capacity_mah": 450.0, "pack_label_c": 75.0, "take_off_g": 250.0}),
    ("2806.5 1300kv 7x4x3 6s 3000mah 1.2kg",
     {"stator_d_mm": 28.0, "stator_h_mm": 6.5, "kv": 1300.0, "diameter_in": 7.0, "pitch_in": 4.0, "blades": 3,
      "cells": 6, "capacity_mah": 3000.0, "take_off_g": 1200.0}),
    ("4S1P 1500mAh 100C/200C XT60",
     {"cells": 4, "parallel": 1, "capacity_mah": 1500.0, "pack_label_c": 100.0, "pack_burst_c": 200.0,
      "connector_a": 60.0}),
    ("22.2V 1300mAh 95C XT60 210g",
     {"capacity_mah": 1300.0, "pack_label_c": 95.0, "connector_a": 60.0, "cells": 6, "chemistry": "lipo",
      "pack_g": 210.0}),
    ("11.1V 2200mAh 25C-50C",
     {"capacity_mah": 2200.0, "pack_label_c": 25.0, "pack_burst_c": 50.0, "cells": 3, "chemistry": "lipo"}),
    ("2207,5 1900KV 5,1x4,3x3 6S 1.300 mAh",
     {"stator_d_mm": 22.0, "stator_h_mm": 7.5, "kv": 1900.0, "diameter_in": 5.1, "pitch_in": 4.3, "blades": 3,
      "cells": 6, "capacity_mah": 1300.0}),
    ("\xd8127 mm, 3 Blatt", {"diameter_in": 5.0, "blades": 3}),
    ('5,1" x 4,3" 3-blatt 1950 kv 6s 1300 mah 690 gr',
     {"diameter_in": 5.1, "pitch_in": 4.3, "blades": 3, "kv": 1950.0, "cells": 6, "capacity_mah": 1300.0,
      "take_off_g": 690.0}),
    ("5x4.3 tripale, 6S 1300mAh, 1950 tr/min/V",
     {"diameter_in": 5.0, "pitch_in": 4.3, "blades": 3, "cells": 6, "capacity_mah": 1300.0, "kv": 1950.0}),
    ("2207 1950 RPM/volt 6S LiPo",
     {"stator_d_mm": 22.0, "stator_h_mm": 7.0, "kv": 1950.0, "cells": 6, "chemistry": "lipo"}),
    ("1300 mA/h 6S", {"capacity_mah": 1300.0, "cells": 6}),
    ("LiHV 4S 15.2V 450mAh", {"chemistry": "lipo_hv", "cells": 4, "capacity_mah": 450.0}),
    ("1S 450mAh HV 80C/160C",
     {"cells": 1, "capacity_mah": 450.0, "chemistry": "lipo_hv", "pack_label_c": 80.0, "pack_burst_c": 160.0}),
    ("1S 300mAh QZ2.0 0802 19500KV 31mm 4-blade 22g",
     {"cells": 1, "capacity_mah": 300.0, "stator_d_mm": 8.0, "stator_h_mm": 2.0, "kv": 19500.0, "blades": 4,
      "diameter_in": 1.22, "take_off_g": 22.0}),
    ("31mm 4 blade props, 0702 27000KV, 1S 300, 18g dry",
     {"blades": 4, "stator_d_mm": 7.0, "stator_h_mm": 2.0, "kv": 27000.0, "cells": 1, "capacity_mah": 300.0,
      "diameter_in": 1.22, "take_off_g": 26.0}),
    ("1.2x4 props", {"diameter_in": 1.2, "blades": 4}),
    ("40mm tri 1103 8000KV 2S 450 75mm frame",
     {"blades": 3, "stator_d_mm": 11.0, "stator_h_mm": 3.0, "kv": 8000.0, "cells": 2, "capacity_mah": 450.0,
      "diameter_in": 1.57, "frame_propeller_in": 1.8}),
    ('2" 4 blade 1303.5 5500KV 3S 450',
     {"blades": 4, "stator_d_mm": 13.0, "stator_h_mm": 3.5, "kv": 5500.0, "cells": 3, "capacity_mah": 450.0,
      "diameter_in": 2.0}),
    ('3" ducted 1408 2800KV 6S',
     {"stator_d_mm": 14.0, "stator_h_mm": 8.0, "kv": 2800.0, "cells": 6, "diameter_in": 3.0, "blades": 3,
      "body_shape": "ducts or boxy body"}),
    ("D76x5 props", {"diameter_in": 2.99, "blades": 5}),
    ('8" 2.5kg 2809 1250KV 6S 5000mAh 8x4x3 camera 500g',
     {"stator_d_mm": 28.0, "stator_h_mm": 9.0, "kv": 1250.0, "cells": 6, "capacity_mah": 5000.0, "diameter_in": 8.0,
      "pitch_in": 4.0, "blades": 3, "frame_propeller_in": 8.0, "take_off_g": 2500.0, "payload_g": 500.0}),
    ("10x4.5R 2212 920kv",
     {"diameter_in": 10.0, "pitch_in": 4.5, "stator_d_mm": 22.0, "stator_h_mm": 12.0, "kv": 920.0, "blades": 2}),
    ("1050 3-blade 3115 900KV 6S 8000mAh 10 inch 3kg",
     {"diameter_in": 10.0, "pitch_in": 5.0, "blades": 3, "stator_d_mm": 31.0, "stator_h_mm": 15.0, "kv": 900.0,
      "cells": 6, "capacity_mah": 8000.0, "frame_propeller_in": 10.0, "take_off_g": 3000.0}),
    ("13x4.4 carbon 4010 370KV 6S 10000mAh hex 4kg",
     {"diameter_in": 13.0, "pitch_in": 4.4, "stator_d_mm": 40.0, "stator_h_mm": 10.0, "kv": 370.0, "cells": 6,
      "capacity_mah": 10000.0, "rotors": 6, "blades": 2, "take_off_g": 4000.0}),
    ('15x5.5" 340KV 6S 16000mAh octo',
     {"diameter_in": 15.0, "pitch_in": 5.5, "kv": 340.0, "cells": 6, "capacity_mah": 16000.0, "rotors": 8,
      "blades": 2}),
    ("18x6.1 4014 330KV 12S quad 8kg",
     {"diameter_in": 18.0, "pitch_in": 6.1, "stator_d_mm": 40.0, "stator_h_mm": 14.0, "kv": 330.0, "cells": 12,
      "rotors": 4, "blades": 2, "take_off_g": 8000.0}),
    ("450mm 920KV 9450 4S 5000",
     {"kv": 920.0, "diameter_in": 9.4, "pitch_in": 5.0, "cells": 4, "capacity_mah": 5000.0,
      "frame_propeller_in": 12.3, "blades": 2}),
    ("250 size quad 2204 2300kv 5045 3S 1300 12A",
     {"frame_propeller_in": 6.7, "rotors": 4, "stator_d_mm": 22.0, "stator_h_mm": 4.0, "kv": 2300.0,
      "diameter_in": 5.0, "pitch_in": 4.5, "cells": 3, "capacity_mah": 1300.0, "esc_a": 12.0, "blades": 3}),
    ("210mm 2306 2450KV 5040x3 4S 1500 100C",
     {"stator_d_mm": 23.0, "stator_h_mm": 6.0, "kv": 2450.0, "diameter_in": 5.0, "pitch_in": 4.0, "blades": 3,
      "cells": 4, "capacity_mah": 1500.0, "pack_label_c": 100.0, "frame_propeller_in": 5.6}),
    ("5043R 5.0x4.3 tri", {"diameter_in": 5.0, "pitch_in": 4.3, "blades": 3}),
    ("5.1*4.3*3", {"diameter_in": 5.1, "pitch_in": 4.3, "blades": 3}),
    ("5.1 by 4.3 by 3", {"diameter_in": 5.1, "pitch_in": 4.3, "blades": 3}),
    ("5.1-inch 4.3-pitch 3-blade", {"pitch_in": 4.3, "blades": 3, "diameter_in": 5.1}),
    ("five inch 6S", {"cells": 6, "diameter_in": 5.0, "blades": 3}),
    ("six S 1300", {"cells": 6, "capacity_mah": 1300.0}),
    ("5 \u201c 6S", {"cells": 6, "diameter_in": 5.0, "blades": 3}),
    ("7'' LR 2806.5 1300KV",
     {"stator_d_mm": 28.0, "stator_h_mm": 6.5, "kv": 1300.0, "diameter_in": 7.0, "blades": 2}),
    ('3.5" 2004 3000KV 4S 850 tri',
     {"stator_d_mm": 20.0, "stator_h_mm": 4.0, "kv": 3000.0, "cells": 4, "capacity_mah": 850.0, "blades": 3,
      "diameter_in": 3.5}),
    ('6" 2407 1700KV 6S',
     {"stator_d_mm": 24.0, "stator_h_mm": 7.0, "kv": 1700.0, "cells": 6, "diameter_in": 6.0, "blades": 3}),
    ("ESC 45A (55A burst) 3-6S", {"esc_a": 45.0, "esc_burst_a": 55.0, "esc_min_cells": 3, "esc_max_cells": 6}),
    ("M5 shaft 2306 2400KV 12N14P", {"stator_d_mm": 23.0, "stator_h_mm": 6.0, "kv": 2400.0, "pole_pairs": 7}),
    ("9N12P 1103 8000KV", {"pole_pairs": 6, "stator_d_mm": 11.0, "stator_h_mm": 3.0, "kv": 8000.0}),
    ("14 poles", {"pole_pairs": 7}),
    ("12 magnets 1404", {"pole_pairs": 6, "stator_d_mm": 14.0, "stator_h_mm": 4.0}),
    ("14 gauge", {"wire_awg": 14}),
    ("35V 1000\xb5F low ESR", {"capacitor_v": 35.0, "capacitor_uf": 1000.0}),
    ("hover at 25%", {}),
    ("1950KV@6S", {"kv": 1950.0, "cells": 6}),
    ("[2207] [1950KV] [6S]", {"stator_d_mm": 22.0, "stator_h_mm": 7.0, "kv": 1950.0, "cells": 6}),
    ("2207_1950KV_6S", {"stator_d_mm": 22.0, "stator_h_mm": 7.0, "kv": 1950.0, "cells": 6}),
    ("2207 1950 6s 5143 3 1300",
     {"stator_d_mm": 22.0, "stator_h_mm": 7.0, "kv": 1950.0, "cells": 6, "diameter_in": 5.1, "pitch_in": 4.3,
      "blades": 3, "capacity_mah": 1300.0}),
    ("4x 2207 1950KV, 4x 5143, 1x 6S 1300",
     {"stator_d_mm": 22.0, "stator_h_mm": 7.0, "kv": 1950.0, "diameter_in": 5.1, "pitch_in": 4.3, "cells": 6,
      "capacity_mah": 1300.0, "blades": 3}),
    ("2 x 6S 5000mAh parallel", {"parallel": 2, "cells": 6, "capacity_mah": 5000.0}),
    ("2x 3S 5000 in series", {"capacity_mah": 5000.0, "cells": 6}),
    ("6S2P (2x 4000mAh)", {"cells": 6, "parallel": 2, "capacity_mah": 4000.0}),
    ("6S2P 4000mAh each", {"cells": 6, "parallel": 2, "capacity_mah": 4000.0}),
    ("12S 22Ah", {"cells": 12, "capacity_mah": 22000.0}),
    ("6S 22,000mAh", {"cells": 6, "capacity_mah": 22000.0}),
    ("1'300 mAh", {"capacity_mah": 1300.0}),
    ("0,69 kg", {"take_off_g": 690.0}),
    ("1,5 lb", {"take_off_g": 680.0}),
    ("24 oz", {"take_off_g": 680.0}),
    ("1 lb 8 oz", {"take_off_g": 680.0}),
    ("MTOW 2.5 kg", {"take_off_g": 2500.0}),
    ("flying weight 690g", {"take_off_g": 690.0}),
    ("Gewicht: 690g", {"take_off_g": 690.0}),
    ("RTF 130g", {"take_off_g": 130.0}),
    ("680 g dry, pack 210 g", {"pack_g": 210.0, "take_off_g": 890.0}),
    ("2207KV1960", {"stator_d_mm": 22.0, "stator_h_mm": 7.0, "kv": 1960.0}),
    ("2207 kv: 1960", {"stator_d_mm": 22.0, "stator_h_mm": 7.0, "kv": 1960.0}),
    ("2207.1950KV", {"stator_d_mm": 22.0, "stator_h_mm": 7.0, "kv": 1950.0}),
    ("1950KV2207", {"kv": 1950.0, "stator_d_mm": 22.0, "stator_h_mm": 7.0}),
    ("1960kv 2207 4pcs", {"kv": 1960.0, "stator_d_mm": 22.0, "stator_h_mm": 7.0}),
    ("2207 1960KV 33.5g each", {"stator_d_mm": 22.0, "stator_h_mm": 7.0, "kv": 1960.0, "motor_mass_g": 33.5}),
    ("28x6.5mm 1300KV", {"stator_d_mm": 28.0, "stator_h_mm": 6.5, "kv": 1300.0}),
    ("2.5 inch, 1404/4600KV, 4S 650mAh, 130 g ready to fly",
     {"stator_d_mm": 14.0, "stator_h_mm": 4.0, "kv": 4600.0, "cells": 4, "capacity_mah": 650.0, "diameter_in": 2.5,
      "blades": 3, "take_off_g": 130.0}),
    ("5 inch 6S race: 2207 2020KV 5.1x5x3 6S 1100 150C 600g",
     {"cells": 6, "stator_d_mm": 22.0, "stator_h_mm": 7.0, "kv": 2020.0, "diameter_in": 5.1, "pitch_in": 5.0,
      "blades": 3, "capacity_mah": 1100.0, "pack_label_c": 150.0, "frame_propeller_in": 5.0, "take_off_g": 600.0}),
    ("6S 1300 mAh 130C, 5.1x4.1x3, 2306.5 1850KV freestyle 750 g",
     {"cells": 6, "capacity_mah": 1300.0, "pack_label_c": 130.0, "diameter_in": 5.1, "pitch_in": 4.1, "blades": 3,
      "stator_d_mm": 23.0, "stator_h_mm": 6.5, "kv": 1850.0, "take_off_g": 750.0}),
    ('7" LR 2806.5 1300KV 7x3.5x3 6S 4000 Li-ion 1100g camera 150g',
     {"stator_d_mm": 28.0, "stator_h_mm": 6.5, "kv": 1300.0, "diameter_in": 7.0, "pitch_in": 3.5, "blades": 3,
      "cells": 6, "capacity_mah": 4000.0, "chemistry": "li_ion", "frame_propeller_in": 7.0, "take_off_g": 1100.0,
      "payload_g": 150.0}),
    ("10 inch lifter 3115 900KV 10x5x3 6S 10000 payload 1.5kg",
     {"stator_d_mm": 31.0, "stator_h_mm": 15.0, "kv": 900.0, "diameter_in": 10.0, "pitch_in": 5.0, "blades": 3,
      "cells": 6, "capacity_mah": 10000.0, "frame_propeller_in": 10.0, "payload_g": 1500.0}),
    ("ESC rated 4S, flying 6S", {"esc_max_cells": 4, "cells": 6}),
    ("motors are for 4S, 6S lipo", {"motor_max_cells": 4, "cells": 6, "chemistry": "lipo"}),
    ("4S ESC with 6S battery", {"esc_max_cells": 4, "cells": 6}),
    ("45Ax4", {"esc_a": 45.0}),
    ("motor to motor 220mm", {"frame_propeller_in": 5.9}),
    ("wheelbase 220mm", {"frame_propeller_in": 5.9}),
    ("battery lead 14AWG 100mm", {"wire_awg": 14, "pack_lead_mm": 100.0}),
    ("motor wire 80mm 20AWG", {"motor_wire_awg": 20, "motor_lead_mm": 80.0}),
    ("motor wires 20 awg", {"motor_wire_awg": 20}),
    ("5mR per cell", {"cell_mohm": 5.0}),
    ("70 m\u03a9 winding", {"winding_mohm": 70.0}),
    ("Io=1.1A 10V", {"no_load_a": 1.1, "no_load_v": 10.0}),
    ("1500g thrust", {}),
    ("max power 900W", {}),
    ("-10\xb0C", {"air_temperature_c": -10.0}),
    ("altitude 1500m", {"altitude_m": 1500.0}),
    ("old 6S 1300", {"pack_age": "tired", "cells": 6, "capacity_mah": 1300.0}),
    ("6S 1300 after 200 cycles", {"cells": 6, "capacity_mah": 1300.0, "cycles": 200.0}),
    ("6s1300mah100c", {"cells": 6, "capacity_mah": 1300.0, "pack_label_c": 100.0}),
    ("1300mah6s", {"capacity_mah": 1300.0, "cells": 6}),
    ("3,5 Zoll 2004 3000 KV 4S 850",
     {"stator_d_mm": 20.0, "stator_h_mm": 4.0, "kv": 3000.0, "cells": 4, "capacity_mah": 850.0, "diameter_in": 3.5,
      "blades": 3}),
    ("5 inch prop, 3 inch pitch", {"pitch_in": 3.0, "diameter_in": 5.0, "blades": 3}),
    ("5in dia 4.3in pitch 3 blades", {"diameter_in": 5.0, "pitch_in": 4.3, "blades": 3}),
    ("7040-3B", {"diameter_in": 7.0, "pitch_in": 4.0, "blades": 3}),
    ("brushless 2212-13T 1000KV", {"stator_d_mm": 22.0, "stator_h_mm": 12.0, "kv": 1000.0}),
    ("3016-5", {"diameter_in": 3.0, "pitch_in": 1.6, "blades": 5}),
    ("2207 1950KV 6S 5x4.3x3 and 35A ESC, 700 g, does it burn?",
     {"stator_d_mm": 22.0, "stator_h_mm": 7.0, "kv": 1950.0, "cells": 6, "diameter_in": 5.0, "pitch_in": 4.3,
      "blades": 3, "esc_a": 35.0, "take_off_g": 700.0}),
    ("2207 1750KV or 2306 1950KV, 6S 1300 5x4.3x3",
     {"stator_d_mm": 22.0, "stator_h_mm": 7.0, "kv": 1750.0, "cells": 6, "capacity_mah": 1300.0, "diameter_in": 5.0,
      "pitch_in": 4.3, "blades": 3}),
    ("4S 1500 vs 6S 1000", {"cells": 4, "capacity_mah": 1500.0}),
    ("5 inch 4S 2300KV 1500mAh or 6S 1750KV 1050mAh",
     {"cells": 4, "kv": 2300.0, "capacity_mah": 1500.0, "diameter_in": 5.0, "blades": 3}),
    ("65mm 1S 450 HV 0802 22000KV 31mm 4-blade props 25 g auw",
     {"cells": 1, "capacity_mah": 450.0, "chemistry": "lipo_hv", "stator_d_mm": 8.0, "stator_h_mm": 2.0, "kv": 22000.0,
      "blades": 4, "diameter_in": 1.22, "frame_propeller_in": 1.6, "take_off_g": 25.0}),
    ("2207 1950KV 6S 1300 45A ESC 600g",
     {"stator_d_mm": 22.0, "stator_h_mm": 7.0, "kv": 1950.0, "cells": 6, "capacity_mah": 1300.0, "esc_a": 45.0,
      "take_off_g": 600.0}),
    ("frame 120g, 690g auw", {"take_off_g": 690.0}),
    ("frame with electronics 260g", {"frame_g": 260.0}),
    ("sub250 3 inch", {"mass_threshold_g": 250.0, "diameter_in": 3.0, "blades": 3}),
    ("motor2207 1950kv prop5143 6s1300 esc45A",
     {"stator_d_mm": 22.0, "stator_h_mm": 7.0, "kv": 1950.0, "diameter_in": 5.1, "pitch_in": 4.3, "blades": 3,
      "cells": 6, "capacity_mah": 1300.0, "esc_a": 45.0}),
    ("2550KV 6S 77% limit", {"kv": 2550.0, "cells": 6, "command_cap_percent": 77.0}),
]  # fmt: skip


@pytest.mark.parametrize(("text", "values"), [*READ, *WRITTEN], ids=[text for text, _ in [*READ, *WRITTEN]])
def test_read_without_a_question(text, values):
    reading = read_labels(text)
    assert reading.values == values
    assert reading.open_labels() == ()


ASKED = [
    # two fair meanings, or a maker's code of which nothing is known
    ("K42A", [{"chemistry": "li_ion"}, {}]),
    ("6S1P K42A 4200mAh", [{"chemistry": "li_ion"}, {}]),
    ("31Q 6S2P", [{"chemistry": "li_ion"}, {}]),
    ("55A ESC 6S", [{"cells": 6}, {"esc_max_cells": 6}]),
    ("65mm", [{"diameter_in": 2.56}, {"frame_propeller_in": 1.6}]),
    ("coaxial", [X8, {"rotors": 6, "coaxial": True}]),
    ("frame 120g", [{"frame_g": 240.0}, {"frame_g": 120.0}]),
    ('frame 5" 110g', [{"frame_g": 220.0}, {"frame_g": 110.0}]),
    (
        "motor 500g 2207",
        [{"take_off_g": 500.0}, {"payload_g": 500.0}, {"frame_g": 500.0}, {"pack_g": 500.0}, {"motor_mass_g": 500.0}],
    ),
    ("with camera 3.6kg", [{"take_off_g": 3600.0}, {"payload_g": 3600.0}]),
    ("2x 6S 5000", [{"parallel": 2}, {"parallel": 1}]),
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
        ("1400KV, 2 inch", '"2 inch" is taken as the propeller.'),
        ('5" 6S', '"5 in" is taken as the propeller.'),
        ("old 4S 1500", '"old" is taken as a tired pack.'),
        (
            "6S 1300, 480 g without battery",
            '"480 g" is without the pack: with 213 g of pack (a guess) it takes off at 693 g.',
        ),
        (
            "2207 1750KV or 2306 1950KV",
            'Of two, the first is read. Pin this build, then type "2306 1950KV" in its place: both stand side by side.',
        ),
    ],
)
def test_whatever_is_assumed_is_said(text, said):
    assert said in read_labels(text).assumed


def test_nothing_is_said_where_the_label_tells_it():
    assert read_labels("2207 1950KV, 5.1x4.3x3, 6S 1300, take-off 690 g").assumed == ()


def test_a_cell_type_beside_its_chemistry_is_a_name_only():
    reading = read_labels("21700 K42A 6S 4200mAh")
    assert reading.questions == () and reading.left_out == ("K42A",)
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


def test_a_mass_without_a_pack_of_which_nothing_is_known_is_never_the_take_off_mass():
    reading = read_labels("480 g dry")
    assert reading.values == {}
    assert reading.unread[0].sentence == (
        '"480 g" is without the pack: type the mass of the pack too, or the take-off mass.'
    )


def test_of_two_parts_in_one_line_what_both_share_is_kept():
    reading = read_labels("2207 1750KV or 2306 1950KV, 6S 1300, 5x4.3")
    assert reading.values["kv"] == 1750.0 and reading.values["pitch_in"] == 4.3
    assert reading.open_labels() == () and any("Blades" in said for said in reading.assumed)
    # one part told in two ways is no choice between two
    assert read_labels("1300 mAh or 1.3 Ah").assumed == ()
