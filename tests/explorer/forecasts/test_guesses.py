"""The list of guesses: all of them, the one that moves an answer most first."""

from dataclasses import replace

import numpy as np
import pytest

from explorer.forecasts.guesses import LOST, ranked
from explorer.inputs import FIELDS, Inputs, apply, demo_inputs, guessed_fields, to_build
from explorer.labels import read_labels
from propmodel import performance
from propmodel.assembly.demo import demo_names

ALL_LENT = frozenset(FIELDS)


@pytest.mark.parametrize("name", demo_names())
def test_all_are_there_once_and_in_order(name):
    found = ranked(demo_inputs(name), ALL_LENT)
    assert sorted((one.name, one.words) for one in found) == sorted(guessed_fields(demo_inputs(name), ALL_LENT))
    effects = [one.effect for one in found]
    assert effects == sorted(effects, reverse=True) and effects[0] > 0.05
    assert all(np.isfinite(effects)) and all(bool(one.answer) == (one.effect > 0.0) for one in found)


def test_mass_place_and_flight_mix_are_among_them():
    told = read_labels("2207 1950KV, 5.1x4.3x3, 6S 1300").values
    inputs = apply(replace(demo_inputs("scree"), pack_g=None), told)
    lent = frozenset(FIELDS) - told.keys()
    names = [one.name for one in ranked(inputs, lent)]
    assert {"take_off_g", "altitude_m", "air_temperature_c", "flying_style", "cruise_kmh"} <= set(names)
    assert not set(names) & told.keys()


def test_the_effect_is_that_of_the_engine():
    # a craft 15 % heavier pulls 1/1.15 of its weight, one 13 % lighter 1/0.87: the larger change counts
    one = next(g for g in ranked(Inputs(), frozenset({"frame_g"})) if g.name == "take_off_g")
    heavy, light = (
        abs(float(performance(to_build(craft)).thrust_to_weight / performance(to_build(Inputs())).thrust_to_weight) - 1)
        for craft in (replace(Inputs(), frame_g=266 + 0.15 * 690.0), replace(Inputs(), frame_g=266 - 0.13 * 690.0))
    )
    assert one.effect == pytest.approx(max(heavy, light), rel=0.05)


def test_part_masses_do_not_matter_to_a_craft_that_was_weighed():
    inputs = replace(Inputs(), motor_mass_g=None, pack_g=None)
    weighed = {g.name: g.effect for g in ranked(inputs, frozenset({"altitude_m"}))}
    summed = {g.name: g.effect for g in ranked(inputs, frozenset({"altitude_m", "frame_g"}))}
    assert weighed["pack_g"] < 0.01 < summed["pack_g"]


def test_a_guess_that_decides_whether_it_flies_counts_as_lost():
    heavy = replace(Inputs(), payload_g=3400.0)
    found = ranked(heavy, frozenset({"kv", "capacity_mah"}))
    assert found and all(one.effect <= max(LOST, 5.0) for one in found)


def test_nothing_guessed_nothing_listed():
    known = replace(Inputs(), blade_width_mm=12.0, cell_mohm=6.0, drag_area_cm2=110.0, no_load_a=1.2,
                    winding_mohm=60.0, usable_percent=95.0, throttle_exponent=0.9)  # fmt: skip
    assert ranked(known) == []
