"""Measured parts and a known throttle map in place of labels: they reach the engine and narrow its bands."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from bench_pages import own_of

import propmodel
from explorer.app_pages.plug_in import answers
from explorer.forecasts import headlines
from explorer.inputs import Inputs, measured_parts
from propmodel import bench
from propmodel.components.controller import (
    LOG_SD_THROTTLE_EXPONENT,
    LOG_SD_THROTTLE_EXPONENT_TYPED,
    Controller,
    default_throttle_exponent,
)
from propmodel.studies.spread import bands, contributions


def test_measured_parts_reach_the_engine_and_narrow_the_band():
    plain = replace(Inputs(), cell_mohm=5.5)  # a charger's reading: else the pack alone holds the band open
    mine = measured_parts.with_measured(plain, own_of(plain))
    made = headlines.build(mine)
    assert float(made.motor.kv) == 1800.0
    assert float(made.propeller.log_c_t_offset) == pytest.approx(0.05)
    before, after = headlines.answers(plain), headlines.answers(mine)
    assert after.mid.thrust_to_weight != before.mid.thrust_to_weight
    width = [a.high.thrust_to_weight / a.low.thrust_to_weight for a in (before, after)]
    # what is left is the pack, whose reading has a log sd of 0.20 itself
    assert math.log(width[1]) < 0.7 * math.log(width[0])
    of = {"propeller", "motor KV", "motor resistance and losses"}
    variance = [
        sum(c.log_sd**2 for c in contributions(headlines.build(i), "thrust_to_weight") if c.group in of)
        for i in (plain, mine)
    ]
    assert variance[1] < 0.2 * variance[0]


def test_answers_of_one_visitor_are_not_given_to_another():
    plain = Inputs()
    first, second = (measured_parts.with_measured(plain, own_of(plain, resistance=r)) for r in (0.100, 0.100000001))
    kept = [headlines.answers(i).mid.full_throttle_current for i in (first, plain, second)]
    assert len(set(kept)) == 3
    assert headlines.answers(plain).mid.full_throttle_current == kept[1]


@pytest.mark.parametrize(
    ("change", "left"),
    [
        ({"kv": 2000.0}, ["propeller"]),
        ({"diameter_in": 5.0}, ["motor"]),
        ({"capacity_mah": 1500.0}, ["motor", "propeller"]),
    ],
)
def test_another_label_sets_its_part_aside(change, left):
    own = own_of(Inputs())
    assert measured_parts.in_use(replace(Inputs(), **change), own) == left


def test_without_measured_parts_the_inputs_are_the_plain_ones():
    other = replace(Inputs(), kv=2000.0, diameter_in=6.0, pitch_in=4.0)
    assert type(measured_parts.with_measured(other, own_of(Inputs()))) is Inputs
    assert measured_parts.without_measured(measured_parts.with_measured(Inputs(), own_of(Inputs()))) == Inputs()


def test_what_is_known_of_the_throttle_map_sets_its_spread():
    told, untold = (headlines.build(replace(Inputs(), throttle_exponent=e)).controller for e in (0.9, None))
    assert (told.throttle_exponent, told.log_sd_throttle_exponent) == (0.9, LOG_SD_THROTTLE_EXPONENT_TYPED)
    assert (untold.throttle_exponent, untold.log_sd_throttle_exponent) == (None, None)
    rule = default_throttle_exponent(5.1 * 0.0254, 1950.0, 6 * 3.7)
    assert untold.exponent == pytest.approx(float(rule)) and told.exponent == 0.9


def width_of_hover(inputs: Inputs) -> float:
    low, _, high = bands(headlines.build(inputs), draws=512)
    return math.log(float(high.hover_throttle) / float(low.hover_throttle))


def test_a_typed_exponent_a_hover_reading_and_a_stand_table_narrow_the_hover_command():
    plain = width_of_hover(Inputs())
    assert width_of_hover(replace(Inputs(), throttle_exponent=0.88)) < 0.8 * plain
    own = answers.from_readings(Inputs(), {"hover_command": 1.0})
    rule = headlines.build(Inputs()).controller.exponent
    assert own.controller.throttle_exponent == pytest.approx(rule, rel=1e-6)
    assert own.controller.log_sd_throttle_exponent < 0.7 * LOG_SD_THROTTLE_EXPONENT
    assert width_of_hover(measured_parts.with_measured(Inputs(), own)) < 0.8 * plain
    # a reading above the forecast: the map asks for more command
    higher = answers.from_readings(Inputs(), {"hover_command": 1.1})
    assert higher.controller.throttle_exponent > rule

    made = headlines.build(Inputs())
    esc = Controller(throttle_exponent=0.78, idle_duty=0.04)
    throttle = np.linspace(0.1, 1.0, 40)
    volts = 24.4 - 0.5 * throttle**2
    curve = propmodel.bench_curve(made.motor, made.propeller, volts, throttle, speed_controller=esc)
    table = pd.DataFrame(
        {"throttle_share": throttle, "voltage_v": volts, "current_a": curve.supply_current,
         "speed_rev_per_s": curve.rev_per_s, "thrust_n": curve.thrust}
    )  # fmt: skip
    fit = bench.calibrate(table, made.motor, made.propeller, controller=made.controller)
    own = measured_parts.measured(
        Inputs(), "stand.csv", motor=fit.motor, propeller=fit.propeller, controller=fit.controller
    )
    mine = measured_parts.with_measured(Inputs(), own)
    found = headlines.build(mine).controller
    assert found.throttle_exponent == pytest.approx(0.78, rel=0.03)
    assert found.log_sd_throttle_exponent < 0.6 * LOG_SD_THROTTLE_EXPONENT
    assert width_of_hover(mine) < 0.5 * plain
