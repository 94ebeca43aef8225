"""The demo craft and the one conversion from what people type to a Build in SI."""

import json
from dataclasses import replace

import numpy as np
import pytest

from propmodel.assembly.build_record import AGE_CYCLES, DEFAULTS, chord_ratio, from_record
from propmodel.assembly.demo import demo, demo_names, demo_record
from propmodel.base.tables import data_path
from propmodel.components import battery, wire
from propmodel.components.air import atmosphere
from propmodel.components.propeller.data import chord_given


def test_names():
    assert demo_names() == ["scree", "tarn", "moor", "fell", "rill"]
    with pytest.raises(ValueError, match="'screee' is not known; nearest: scree"):
        demo("screee")


@pytest.mark.parametrize(
    ("name", "grams", "inches", "blades", "stator_mm", "kv", "cells", "ah", "chemistry"),
    [
        ("scree", 690, (5.1, 4.3), 3, (22, 7), 1950, 6, 1.3, "lipo"),
        ("tarn", 230, (3.0, 2.5), 3, (14, 6), 3800, 4, 0.65, "lipo"),
        ("moor", 1100, (7.0, 4.0), 2, (28, 6.5), 1300, 6, 4.0, "li_ion"),
        ("fell", 2800, (10.0, 5.0), 2, (31, 15), 900, 6, 8.0, "lipo"),
        ("rill", 30, (1.6, 1.0), 2, (8, 2), 16000, 1, 0.3, "lipo_hv"),
    ],
)
def test_what_they_are(name, grams, inches, blades, stator_mm, kv, cells, ah, chemistry):
    # the club's own list (invented); lengths by the exact inch
    build = demo(name)
    assert build.name.lower() == name
    assert float(build.mass) == pytest.approx(grams / 1000, abs=0.002)
    assert (build.propeller.diameter, build.propeller.pitch) == pytest.approx([i * 0.0254 for i in inches])
    assert build.propeller.blades == blades
    assert (build.motor.stator_diameter, build.motor.stator_height) == pytest.approx([s / 1000 for s in stator_mm])
    assert build.motor.kv == kv
    assert (build.pack.cells, build.pack.chemistry) == (cells, chemistry)
    assert build.pack.capacity_ah == pytest.approx(ah)
    assert build.rotors == 4


def test_they_fly_at_the_clubs_field():
    field = atmosphere(420.0, 285.15)
    for name in demo_names():
        assert demo(name).air == field


def test_only_moor_ships_with_a_command_cap():
    caps = {name: demo(name).command_cap for name in demo_names()}
    assert caps["moor"] < 0.9
    assert [caps[n] for n in ("scree", "tarn", "fell", "rill")] == [1.0] * 4


def test_moors_cap_keeps_its_cells_within_their_label():
    from dataclasses import replace

    from propmodel import performance

    moor = demo("moor")
    label, burst = moor.pack.max_continuous_current, moor.pack.max_burst_current
    assert float(performance(moor).full_throttle_current) <= label
    assert float(performance(replace(moor, command_cap=1.0)).full_throttle_current) > burst


def test_the_tiny_one_flies_as_its_class_does():
    from propmodel import performance

    # common practice, from memory: 30 g on 300 mAh of one cell fly 3 to 5 minutes and pull 2 to 4 times their weight
    got = performance(demo("rill"))
    assert 180.0 <= float(got.hover_time) <= 300.0
    assert 2.0 <= float(got.thrust_to_weight) <= 4.0


def test_masses_nobody_told_may_count_less():
    told = {"motor_mass_g": 2.0, "propeller_g": 0.4, "pack_g": 8.0}
    half = {"guessed_mass_percent": 50.0}
    assert float(from_record({**told, **half}).mass) == float(from_record(told).mass)
    guessed, halved = from_record({}), from_record(half)
    parts = float(guessed.mass) - 0.266
    assert float(halved.mass) - 0.266 == pytest.approx(parts / 2.0)


def test_every_part_says_that_it_is_invented():
    for name in demo_names():
        record = demo_record(name)
        for part in ("motor_name", "propeller_name", "pack_name", "controller_name"):
            assert record[part].endswith("(invented part)"), (name, part)
    assert "invented part" in data_path("demo", "SOURCE.md").read_text(encoding="utf-8")


def test_records_are_files_and_copies():
    for name in demo_names():
        assert demo_record(name) == json.loads(data_path("demo", f"{name}.json").read_text(encoding="utf-8"))
    demo_record("scree")["kv"] = 1
    assert demo_record("scree")["kv"] == 1950


def test_each_unit_is_converted_once():
    # factors by definition: inch 25.4 mm, 0 C 273.15 K, 1 mAh = 1e-3 Ah; AWG 14 is 2.08 mm2 (ASTM B258)
    build = from_record(
        {
            "frame_g": 250, "payload_g": 70, "drag_area_cm2": 90, "thrust_loss_percent": 6, "electronics_w": 9,
            "frame_propeller_in": 5.2, "mass_threshold_g": 900, "vtx_max_cells": 6, "camera_max_cells": 4,
            "regulator_max_v": 30, "capacitor_v": 35, "capacitor_uf": 470, "kv": 1850, "stator_d_mm": 23,
            "stator_h_mm": 6, "winding_mohm": 55, "no_load_a": 1.1, "no_load_v": 12, "motor_mass_g": 31,
            "motor_max_cells": 5, "motor_max_a": 33, "pole_pairs": 6, "diameter_in": 5, "pitch_in": 4.5, "blades": 2,
            "blade_width_mm": 11, "propeller_g": 4, "cells": 5, "capacity_mah": 1500, "parallel": 2,
            "pack_temperature_c": 30, "pack_g": 400, "pack_label_c": 80, "pack_burst_c": 160, "reserve_percent": 25,
            "cutoff_v": 3.4, "wire_awg": 14, "pack_lead_mm": 150, "motor_wire_awg": 20, "motor_lead_mm": 90,
            "connector_a": 65, "command_cap_percent": 88, "esc_a": 50, "esc_burst_a": 58, "esc_min_cells": 3,
            "esc_max_cells": 8, "idle_percent": 4.5, "throttle_exponent": 0.9, "altitude_m": 800,
            "air_temperature_c": 5, "rotors": 6, "name": "test",
        }
    )  # fmt: skip
    craft, motor, propeller, esc, pack = build.craft, build.motor, build.propeller, build.controller, build.pack
    got = [
        craft.frame_mass, craft.payload_mass, craft.drag_area_front, craft.thrust_loss, craft.electronics_power,
        craft.frame_propeller_diameter, craft.mass_threshold, craft.video_max_voltage, craft.camera_max_voltage,
        craft.regulator_max_voltage, craft.capacitor_voltage,
        craft.capacitance, craft.lead_area, craft.lead_length, craft.motor_lead_length, craft.connector_current,
        motor.kv, motor.winding_resistance, motor.no_load_current, motor.no_load_voltage, motor.mass,
        motor.max_cells, motor.max_current, motor.pole_pairs,
        propeller.diameter, propeller.pitch, propeller.chord_ratio, propeller.mass,
        pack.capacity_ah, pack.parallel, pack.temperature, pack.mass, pack.max_continuous_current,
        pack.max_burst_current, pack.reserve, pack.cutoff_voltage_per_cell,
        esc.continuous_current, esc.burst_current, esc.max_cells, esc.idle_duty, esc.throttle_exponent,
        build.command_cap, build.air.temperature,
    ]  # fmt: skip
    wanted = [
        0.250, 0.070, 0.0090, 0.06, 9, 0.13208, 0.900, 25.2, 16.8, 30, 35, 470e-6, 2.081e-6, 0.150, 0.090, 65,
        1850, 0.055, 1.1, 12, 0.031, 5, 33, 6,
        0.127, 0.1143, 11 / 63.5, 0.004,
        1.5, 2, 303.15, 0.400, 240, 480, 0.25, 3.4,
        50, 58, 8, 0.045**0.9, 0.9,  # idle is told as a command, kept as a duty
        0.88, 278.15,
    ]  # fmt: skip
    assert [float(x) for x in got] == pytest.approx(wanted, rel=1e-3)


def test_blade_width():
    # a width by eye is no chord: it goes to the propeller under its own name, and a measured width wins there
    assert chord_ratio({"blade_width": "broad", "diameter_in": 5.1}) is None
    assert from_record({"blade_width": "broad"}).propeller.blade_width == "broad"
    both = from_record({"blade_width": "broad", "blade_width_mm": 9.0}).propeller
    assert both.chord_ratio == pytest.approx(9.0 / 64.77)
    assert float(chord_given(both)[0]) == pytest.approx(9.0 / 64.77)
    assert from_record({}).propeller.blade_width == "unknown"
    with pytest.raises(ValueError, match="blade_width 'fat' is not known"):
        from_record({"blade_width": "fat"})


def test_a_charger_reading_holds_age_and_temperature_already():
    read = {"cell_mohm": 9.0, "cell_mohm_at_c": 10.0, "pack_age": "tired", "pack_temperature_c": 10.0}
    pack = from_record(read).pack
    leads = battery.Pack("lipo", 6, 1.3, lead_resistance=pack.lead_resistance).lead_resistance
    # asked as it was read, in the middle of a charger's 0.1 to 1 s, the pack gives it back: six cells in series
    shortly = battery.resistance(replace(pack, lead_resistance=0.0), 0.5, seconds=[0.1, 1.0])
    assert float(np.sqrt(np.prod(shortly))) == pytest.approx(6 * 9.0e-3, rel=0.05)
    # and 1.7 times of it after ten seconds (measured pouch, see data/packs/SOURCE.md)
    assert float(battery.resistance(pack, 0.5)) - float(leads) == pytest.approx(1.7 * 6 * 9.0e-3, rel=0.01)
    warm = from_record({**read, "pack_temperature_c": 30.0}).pack
    assert float(battery.resistance(warm, 0.5)) < float(battery.resistance(pack, 0.5))


def test_a_measured_share_holds_age_already():
    told = {"usable_percent": 88.0, "pack_age": "tired", "capacity_mah": 2000.0, "parallel": 1}
    assert float(battery.capacity(from_record(told).pack)) == pytest.approx(1.76, rel=1e-12)
    # a record saved before says nothing: the usual share
    assert float(battery.capacity(from_record({"capacity_mah": 2000.0}).pack)) == pytest.approx(1.88, rel=1e-12)


def test_a_label_reaches_the_pack():
    pack = from_record({"pack_label_c": 65, "capacity_mah": 5000.0, "cells": 1}).pack
    assert battery.cell_resistance_new(pack) * 5.0 == pytest.approx(22.4e-3, rel=1e-3)  # the measured pouch
    assert from_record({}).pack.label_c is None


def test_age_in_words():
    assert from_record({"pack_age": "tired"}).pack.cycles == AGE_CYCLES["tired"]
    assert from_record({"pack_age": "tired", "cycles": 30}).pack.cycles == 30
    with pytest.raises(ValueError, match="pack_age 'ancient' is not known"):
        from_record({"pack_age": "ancient"})


def test_leads():
    # 2 x 0.12 m of AWG 14 at 8.29 mohm/m (public AWG table), plus 1 mohm for the connector (estimate)
    pack = from_record({"wire_awg": 14, "pack_lead_mm": 120}).pack
    assert float(pack.lead_resistance) == pytest.approx(0.24 * 8.29e-3 + 1e-3, rel=0.006)
    assert float(wire.awg_area(14)) == pytest.approx(2.08e-6, rel=2e-3)


def test_a_measured_propeller_replaces_the_label():
    from propmodel.components.propeller import measured, measured_names

    name = measured_names()[0]
    build = from_record({"measured_propeller": name, "propeller_g": 6.0})
    assert float(build.propeller.diameter) == float(measured(name).diameter)
    assert float(build.propeller.mass) == pytest.approx(0.006)


def test_unknown_names_are_ignored_and_defaults_are_whole():
    assert from_record({"flying_style": "play", "wing_span": 3}).motor.kv == DEFAULTS["kv"]


def test_nonsense_raises_one_sentence():
    for record, words in (
        ({"kv": 0}, "KV must be > 0"),
        ({"cells": 99}, "cells must be between"),
        ({"diameter_in": -5}, "diameter must be between"),
        ({"frame_propeller_in": -5}, "must be > 0 m"),
        ({"chemistry": "nickel"}, "chemistry 'nickel' is not known"),
        ({"body_shape": "barrel"}, "body_shape 'barrel' is not known"),
        ({"frame_g": np.nan}, "frame_mass must be"),
    ):
        with pytest.raises(ValueError, match=words):
            from_record(record)
