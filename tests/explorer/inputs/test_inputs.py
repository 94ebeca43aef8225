"""What people type: one described field each, bad values told in a sentence, one way to a Build."""

import math
from dataclasses import asdict, fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples

import propmodel
from explorer.inputs import (
    CHEMISTRY_NAMES,
    FIELDS,
    FLYING_STYLES,
    GROUPS,
    TAKE_OFF,
    Inputs,
    apply,
    check,
    demo_inputs,
    flying,
    guessed_fields,
    mix,
    take_off_g,
    to_build,
    unchecked_fields,
    with_defaults_for_bad,
    with_take_off_g,
)
from explorer.inputs.link import decode, encode
from propmodel.assembly.build import Build
from propmodel.assembly.demo import demo_names, demo_record
from propmodel.components.battery import CHEMISTRIES

NUMBERS = [name for name, field in FIELDS.items() if field.kind in ("number", "whole")]


def same(a: object, b: object) -> bool:
    """Dataclasses of numbers, arrays and text, field by field."""
    if hasattr(a, "__dataclass_fields__"):
        return type(a) is type(b) and all(same(getattr(a, f.name), getattr(b, f.name)) for f in fields(a))
    if a is None or b is None or isinstance(a, str):
        return a == b
    return bool(np.allclose(np.asarray(a, float), np.asarray(b, float), rtol=1e-12, atol=0, equal_nan=True))


# --- the demo craft


def test_the_default_is_scree():
    assert Inputs() == demo_inputs("scree") == demo_inputs("Scree")


@pytest.mark.parametrize("name", demo_names())
def test_the_face_builds_the_same_craft_as_the_package(name):
    assert check(demo_inputs(name)) == []
    assert same(to_build(demo_inputs(name)), propmodel.demo(name))


@pytest.mark.parametrize("name", demo_names())
def test_every_name_in_a_record_is_a_field(name):
    assert set(demo_record(name)) <= set(FIELDS)


def test_a_record_that_says_nothing_does_not_borrow_scree():
    assert demo_inputs("tarn").receiver_max_v is None
    assert demo_inputs("moor").cutoff_v is None


# --- the description of the fields


def test_every_field_is_described():
    assert set(FIELDS) == {f.name for f in fields(Inputs)}
    for name, field in FIELDS.items():
        assert field.name == name
        assert field.label and field.group in GROUPS and field.help
        assert len(field.help) <= 110 and "\n" not in field.help
        assert field.default == getattr(Inputs(), name)
        if field.optional:
            assert field.when_unknown, name
        if field.kind == "choice":
            assert field.default in field.options
        if name in NUMBERS:
            assert field.low < field.high and 0 < field.step <= field.high - field.low
            assert all(field.low <= size <= field.high for size in field.sold), name
            assert field.sold == tuple(sorted(field.sold))


def test_six_controls_come_first():
    first = [name for name, field in FIELDS.items() if field.level == "first"]
    assert first == ["kv", "diameter_in", "pitch_in", "cells", "capacity_mah"] and TAKE_OFF.level == "first"


def test_recalled_ranges_say_so():
    for name, field in FIELDS.items():
        # a range with two figures is a claim about the outside and names its basis
        if " to " in field.typical and any(c.isdigit() for c in field.typical):
            assert any(word in field.typical for word in ("from memory", "estimate", "measured")), name


def test_celsius_is_a_temperature_and_a_c_rating_is_not():
    assert [n for n, f in FIELDS.items() if f.unit == "C"] == [
        "cell_mohm_at_c", "pack_temperature_c", "air_temperature_c",
    ]  # fmt: skip


def test_every_chemistry_has_a_name():
    assert set(CHEMISTRY_NAMES) == set(CHEMISTRIES)


# --- checks


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("cells", 0, "Cells in series must be 1 to 14 S, got 0 S."),
        ("cells", 6.5, "Cells in series must be a whole number, 1 to 14 S, got 6.5."),
        ("cells", None, "Cells in series must be given."),
        ("cells", "six", "Cells in series must be a number, got six."),
        ("cells", True, "Cells in series must be a number, got True."),
        ("kv", math.nan, "KV must be 50 to 30,000 rpm/V, got no finite number."),
        ("kv", math.inf, "KV must be 50 to 30,000 rpm/V, got no finite number."),
        ("kv", 1e12, "KV must be 50 to 30,000 rpm/V, got 1e+12 rpm/V."),
        ("air_temperature_c", -80.0, "Air temperature must be \u221230 to 50 C, got \u221280 C."),
        ("chemistry", "nickel", "Cells are must be one of lipo, lipo_hv, li_ion, lipo_lco, lipo_nmc; got nickel."),
        ("coaxial", "yes", "Propellers in pairs, one above the other must be yes or no, got yes."),
        ("name", 3, "Name of this build must be text, got 3."),
        ("name", "x" * 61, "Name of this build must be at most 60 letters, got 61."),
        ("measured_propeller", "no_such", "No measured propeller is called no_such."),
        ("motor_name", "<b>", ""),
    ],
)
def test_one_plain_sentence(field, value, sentence):
    found = check(replace(Inputs(), **{field: value}))
    assert found == ([(field, sentence)] if sentence else [])


def test_what_was_typed_never_leaves_as_code():
    ((_, sentence),) = check(replace(Inputs(), chemistry="<script>alert('x')</script>" * 9))
    assert not set(sentence) & set("<>'\"&") and len(sentence) < 130


@pytest.mark.parametrize(
    ("values", "field", "words"),
    [
        ({"esc_min_cells": 6, "esc_max_cells": 4}, "esc_max_cells", "cells from 6 must not be above"),
        ({"esc_a": 60.0, "esc_burst_a": 50.0}, "esc_burst_a", "(50 A) must not be below its amps for good (60 A)"),
        ({"pack_label_c": 100.0, "pack_burst_c": 90.0}, "pack_burst_c", "(90) must not be below"),
        ({"rotors": 5, "coaxial": True}, "rotors", "must be an even number when they come in pairs, got 5"),
        ({"mix_hover_percent": 30.0, "mix_full_percent": 30.0}, "mix_hover_percent", "add up to 100 %, got 60 %"),
        (
            {"diameter_in": 2.0, "pitch_in": 5.1},
            "pitch_in",
            "Pitch must be 0.2 to 5 in on a propeller of 2 in, got 5.1 in",
        ),
        ({"blade_width_mm": 1.5}, "blade_width_mm", "Blade width must be 1.9 to 38.9 mm on a propeller of 5.1 in"),
        ({"stator_d_mm": 90.0, "stator_h_mm": 50.0, "kv": 25000.0}, "kv", "far lower on a stator of 90 x 50 mm"),
        ({"no_load_a": 20.0, "no_load_v": 2.0}, "no_load_a", "Amps spinning bare must be below"),
        ({"chemistry": "lipo_hv", "cutoff_v": 4.1}, "", ""),
    ],
)
def test_two_fields_that_clash(values, field, words):
    found = check(replace(Inputs(), **values))
    if not field:
        assert found == []
        return
    ((name, sentence),) = found
    assert name == field and words in sentence


def test_mended_goes_on_with_the_default_and_keeps_the_rest():
    typed = replace(Inputs(), cells=0, kv=1750.0, esc_min_cells=6, esc_max_cells=4)
    good, found = with_defaults_for_bad(typed)
    assert good == replace(Inputs(), kv=1750.0, esc_min_cells=6)
    # where putting one back does not settle the clash, both go back
    assert with_defaults_for_bad(replace(Inputs(), esc_a=80.0, esc_burst_a=70.0))[0] == Inputs()
    # a bad pitch does not take a good diameter with it
    assert with_defaults_for_bad(replace(Inputs(), pitch_in=-1.0, diameter_in=6.0))[0] == replace(
        Inputs(), diameter_in=6.0
    )
    assert [name for name, _ in found] == ["cells", "esc_max_cells"]
    moor = demo_inputs("moor")
    assert with_defaults_for_bad(replace(moor, kv=-1.0), moor)[0] == moor


WILD = st.one_of(
    st.none(), st.booleans(), st.integers(-(10**12), 10**12), st.floats(), st.text(max_size=80), st.just([1, 2])
)


@given(st.dictionaries(st.sampled_from(sorted(FIELDS)), WILD, max_size=15))
@settings(max_examples=examples(400), deadline=None)
def test_nothing_that_is_typed_raises(values):
    typed = replace(Inputs(), **values)
    good, found = with_defaults_for_bad(typed)
    assert check(good) == []
    assert all(name in FIELDS and sentence.endswith(".") for name, sentence in found)
    assert isinstance(to_build(good), Build)
    assert guessed_fields(good) is not None and sum(mix(good)) == pytest.approx(1.0)
    flying(good)


def in_range(name: str) -> st.SearchStrategy:
    field = FIELDS[name]
    if field.kind == "whole":
        value = st.integers(int(field.low), int(field.high))
    else:
        value = st.one_of(st.floats(field.low, field.high), st.sampled_from([field.low, field.high]))
    return st.one_of(st.none(), value) if field.optional else value


@given(st.fixed_dictionaries({name: in_range(name) for name in NUMBERS}))
@settings(max_examples=examples(200), deadline=None)
def test_any_values_in_range_make_a_build_or_a_sentence(values):
    typed = replace(Inputs(), **values)
    if not check(typed):
        assert math.isfinite(float(to_build(typed).mass))
    good, _ = with_defaults_for_bad(typed)
    assert check(good) == []
    to_build(good)


@pytest.mark.parametrize("name", NUMBERS)
def test_both_ends_of_every_range_are_allowed(name):
    for value in (FIELDS[name].low, FIELDS[name].high):
        typed = replace(Inputs(), **{name: int(value) if FIELDS[name].kind == "whole" else float(value)})
        # a clash with another field may be told, the field's own range never
        assert not any(sentence.startswith(f"{FIELDS[name].label} must be {FIELDS[name].low:g} to")
                       for where, sentence in check(typed) if where == name), name  # fmt: skip
        assert math.isfinite(float(to_build(with_defaults_for_bad(typed)[0]).mass))


# --- mass


def test_take_off_mass_moves_the_frame_only():
    heavier = with_take_off_g(Inputs(), 760.0)
    assert take_off_g(heavier) == pytest.approx(760.0, abs=0.01)
    assert replace(heavier, frame_g=Inputs().frame_g) == Inputs()
    # lighter than its other parts: the frame stops at its least, nothing raises
    assert with_take_off_g(Inputs(), 100.0).frame_g == FIELDS["frame_g"].low


@pytest.mark.parametrize("grams", [12.0, 20.0, 30.0, 62.0, 200.0, 690.0])
def test_the_scale_wins_over_masses_that_nobody_told(grams):
    guessed = replace(demo_inputs("rill"), motor_mass_g=None, propeller_g=None, pack_g=None)
    told = with_take_off_g(guessed, grams)
    assert take_off_g(told) == pytest.approx(grams, abs=0.01)
    assert told.frame_g >= 0.2 * grams - 0.01
    # and back again: nothing of the smaller mass stays behind
    assert with_take_off_g(told, 690.0) == with_take_off_g(guessed, 690.0)
    # a link carries it
    assert take_off_g(decode(encode(told)).inputs) == pytest.approx(grams, abs=0.01)
    # masses that were told are kept
    assert with_take_off_g(demo_inputs("rill"), 12.0).motor_mass_g == 2.0


def test_mass_adds_up():
    # 690 g = frame 266 + camera 70 + 4 x (motor 33 + propeller 4.25) + pack 205: the demo's own list
    assert take_off_g(Inputs()) == pytest.approx(266 + 70 + 4 * (33 + 4.25) + 205)
    assert take_off_g(replace(Inputs(), payload_g=0.0)) == pytest.approx(620.0)


# --- labels into the record


def test_apply_frees_what_belonged_to_the_old_part():
    new = apply(Inputs(), {"stator_d_mm": 23.0, "stator_h_mm": 6.0, "kv": 1750.0})
    assert new.motor_mass_g is None and new.motor_max_a is None and new.motor_name == ""
    assert new.propeller_g == Inputs().propeller_g and new.pack_g == Inputs().pack_g
    assert apply(Inputs(), {"cells": 5, "pack_g": 180.0}).pack_g == 180.0
    assert apply(Inputs(), {"cells": 6, "capacity_mah": 1300.0}) == Inputs()
    assert apply(Inputs(), {"wing_span": 3}) == Inputs()
    assert isinstance(apply(Inputs(), {"cells": 5.0}).cells, int)


def test_apply_takes_a_scale_reading():
    assert take_off_g(apply(Inputs(), {"take_off_g": 720.0})) == pytest.approx(720.0, abs=0.01)


# --- what is assumed, and how it is flown


def test_guesses_are_all_listed_and_what_was_told_is_not():
    told = {"blade_width_mm": 12.0, "cell_mohm": 6.0, "drag_area_cm2": 110.0, "no_load_a": 1.2, "winding_mohm": 60.0,
            "usable_percent": 95.0, "throttle_exponent": 0.9}  # fmt: skip
    assert {name for name, _ in guessed_fields(Inputs())} == {*told, "blade_width"} - {"blade_width_mm"}
    known = replace(Inputs(), **told)
    assert guessed_fields(known) == [] and unchecked_fields(known) == []
    assert guessed_fields(replace(known, motor_mass_g=None)) == [("motor_mass_g", "motor mass (from stator size)")]
    assert guessed_fields(replace(known, blade_width_mm=None, blade_width="broad")) == []
    assert unchecked_fields(replace(known, esc_a=None)) == [("esc_a", "ESC amps")]
    lent = frozenset({"frame_g", "altitude_m", "flying_style"})
    assert [words for _, words in guessed_fields(known, lent)] == [
        "take-off mass (by the lent frame)", "height of the place (420 m, lent)", "how you fly (play, lent)",
    ]  # fmt: skip


def test_ways_of_flying_are_whole():
    for name, shares in FLYING_STYLES.items():
        assert sum(shares) == pytest.approx(100.0), name
        assert mix(replace(Inputs(), flying_style=name)) == pytest.approx([s / 100 for s in shares])


def test_an_own_mix_goes_before_the_way_of_flying():
    own = replace(Inputs(), mix_hover_percent=60.0, mix_hard_percent=40.0)
    assert mix(own) == pytest.approx((0.6, 0.0, 0.4, 0.0))


def test_flying_is_in_si():
    got = flying(replace(Inputs(), cruise_kmh=72.0, dive_kmh=90.0, charge_left_percent=40.0))
    assert (got.cruise_speed, got.dive_speed, got.state_of_charge) == pytest.approx((20.0, 25.0, 0.4))
    assert flying(Inputs()).dive_speed is None


def test_to_build_reads_every_field_of_the_craft():
    # a change of any field about the craft must change the Build, or the field does nothing
    not_the_craft = {
        name for name, field in FIELDS.items() if field.group == "How you fly" and name != "reserve_percent"
    }
    reference = to_build(replace(Inputs(), cell_mohm=6.0))
    for name, field in FIELDS.items():
        if name in not_the_craft:
            continue
        base = replace(Inputs(), cell_mohm=6.0)
        if field.kind == "text" and name != "measured_propeller":
            other = "another"
        elif name == "measured_propeller":
            other = propmodel.propeller.measured_names()[0]
        elif field.kind == "switch":
            other = not field.default
        elif field.kind == "choice":
            other = field.options[-1]
        else:
            now = getattr(base, name)
            other = field.low + 1 if now is None or now == field.high else min(now + field.step, field.high)
        if name == "guessed_mass_percent":
            # it counts only where a mass was not told
            base = replace(base, pack_g=None)
            assert not same(to_build(replace(base, **{name: other})), to_build(base))
            continue
        assert not same(to_build(replace(base, **{name: other})), reference), name
    assert asdict(Inputs()).keys() == FIELDS.keys()
