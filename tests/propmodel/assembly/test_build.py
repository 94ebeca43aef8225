"""The assembled craft: mass, relabelling, axes."""

import pickle
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

import propmodel
from propmodel.assembly.build import field_paths, shape_of, value_at, with_axis, with_fields
from propmodel.base.constants import STANDARD_GRAVITY
from propmodel.components import battery, motor
from propmodel.components.controller import default_throttle_exponent
from propmodel.powertrain.prepared import prepare
from propmodel.powertrain.throttle_curve import throttle_curve
from propmodel.studies.sweep import sweep

SCREE = propmodel.demo("scree")


def test_mass_is_the_sum_of_what_the_record_says():
    # grams as typed in the demo record: frame 266, camera 70, four motors of 33, four propellers of 4.25, pack 205
    assert SCREE.mass == pytest.approx((266 + 70 + 4 * 33 + 4 * 4.25 + 205) / 1000, rel=1e-12)
    assert SCREE.weight == pytest.approx(0.690 * 9.80665, rel=1e-12) and STANDARD_GRAVITY == 9.80665


def test_discs_of_a_coaxial_craft_are_counted_once():
    flat, pairs = replace(SCREE, rotors=8), replace(SCREE, rotors=8, coaxial=True)
    assert pairs.total_disc_area == pytest.approx(flat.total_disc_area / 2)
    # the pair pulls less than two rotors apart: (1/1.22)^(2/3), see COAXIAL_THRUST
    assert prepare(pairs).thrust_share / prepare(flat).thrust_share == pytest.approx((1 / 1.22) ** (2 / 3), abs=0.01)


def test_another_kv_of_the_same_make():
    # half the turns: twice the KV, a quarter of the winding's resistance, the same K_m, iron and mass
    twice = with_fields(SCREE, {"motor.kv": 2.0 * 1950})
    fixed = motor.FIXED_RESISTANCE
    assert twice.motor.resistance - fixed == pytest.approx((SCREE.motor.resistance - fixed) / 4.0, rel=1e-12)
    assert twice.motor.iron_torque_slope == pytest.approx(SCREE.motor.iron_torque_slope, rel=1e-9)
    assert motor.motor_mass(twice.motor) == motor.motor_mass(SCREE.motor)


def test_another_label_is_the_motor_that_its_label_forecasts():
    # one rule: a label changed within a build and the same label typed give one motor, winding printed or not
    for winding in (None, 0.060):
        old = motor.from_stator(0.022, 0.007, 1950, winding_resistance=winding)
        moved = with_fields(
            replace(SCREE, motor=old),
            {"motor.kv": 1300.0, "motor.stator_diameter": 0.028, "motor.stator_height": 0.0065},
        ).motor
        typed = motor.from_stator(0.028, 0.0065, 1300.0, winding_resistance=moved.winding_resistance)
        assert moved.resistance == pytest.approx(float(typed.resistance), rel=1e-12)
        assert moved.no_load_current == pytest.approx(float(typed.no_load_current), rel=1e-9)
    # a measured motor keeps its ratio to the rule; without a stator half of it at least is wound
    measured = replace(motor.from_stator(0.022, 0.007, 1950), resistance=0.09)
    other = with_fields(replace(SCREE, motor=measured), {"motor.kv": 975.0}).motor
    rule = motor.from_stator(0.022, 0.007, 975.0)
    assert other.resistance / rule.resistance == pytest.approx(
        0.09 / motor.from_stator(0.022, 0.007, 1950).resistance, rel=1e-12
    )
    bare = with_fields(replace(SCREE, motor=motor.Motor(1950, 0.04, 0.5)), {"motor.kv": 975.0}).motor
    assert bare.resistance == pytest.approx(0.02 + 0.02 * 4.0)


def test_a_taller_stator_of_the_same_make():
    taller = with_fields(SCREE, {"motor.stator_height": 0.0084})
    assert taller.motor.mass == pytest.approx(1.2 * SCREE.motor.mass, rel=1e-12)
    assert taller.motor.resistance < SCREE.motor.resistance
    assert taller.motor.iron_torque_slope == pytest.approx(1.2 * SCREE.motor.iron_torque_slope, rel=1e-9)


def test_another_pack_of_the_same_make():
    known = with_fields(SCREE, {"pack.cell_resistance": 6e-3})
    twice = with_fields(known, {"pack.capacity_ah": 2.6})
    assert twice.pack.cell_resistance == pytest.approx(3e-3)
    assert twice.pack.max_continuous_current == pytest.approx(2.0 * known.pack.max_continuous_current)
    assert 1.8 < battery.mass(twice.pack) / battery.mass(known.pack) < 2.0  # the leads stay
    # what is given too stands
    given = with_fields(known, {"pack.capacity_ah": 2.6, "pack.mass": 0.3, "pack.cell_resistance": 5e-3})
    assert given.pack.mass == 0.3 and given.pack.cell_resistance == 5e-3


def test_another_propeller_leaves_the_measured_one_behind():
    measured = replace(SCREE, propeller=propmodel.propeller.measured(propmodel.propeller.measured_names()[0]))
    assert measured.propeller.own_fit is not None
    assert with_fields(measured, {"propeller.pitch": 0.1}).propeller.own_fit is None
    assert with_fields(measured, {"propeller.log_c_t_offset": 0.1}).propeller.own_fit is not None


def test_unknown_fields_list_the_nearest():
    with pytest.raises(ValueError, match=r"field 'motor\.kw' is not known; nearest: .*motor\.kv"):
        with_fields(SCREE, {"motor.kw": 1.0})
    assert {"motor.kv", "pack.cells", "rotors", "air.density"} <= set(field_paths(SCREE))


def test_shapes_broadcast_or_say_so():
    many = with_fields(SCREE, {"motor.kv": np.array([1.5e3, 2e3])[:, None], "pack.cells": np.array([4, 5, 6])})
    # the mass is given for the motor, so it follows the cells alone
    assert shape_of(many) == (2, 3) and many.mass.shape == (3,)
    assert shape_of(with_axis(many)) == (2, 3, 1)
    assert with_axis(SCREE) is SCREE
    with pytest.raises(ValueError, match="broadcast"):
        shape_of(with_fields(SCREE, {"motor.kv": [1e3, 2e3], "pack.cells": [4, 5, 6]}))


@pytest.mark.parametrize(
    "changes",
    [{"pack.cells": [4, 6]}, {"pack.parallel": [1, 2]}, {"rotors": [4, 6]}, {"motor.stator_height": [0.006, 0.008]}],
)
def test_plain_lists_do_as_well_as_arrays(changes):
    listed, array = with_fields(SCREE, changes), with_fields(SCREE, {k: np.array(v) for k, v in changes.items()})
    np.testing.assert_array_equal(propmodel.performance(listed).hover_power, propmodel.performance(array).hover_power)
    np.testing.assert_array_equal(listed.total_disc_area, array.total_disc_area)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"rotors": 0}, "rotors must be between 1 and 16, got 0"),
        ({"command_cap": 1.2}, "command_cap must be between 0 and 1, got 1.2"),
        ({"command_cap": 0.0}, "command_cap must be > 0, got 0"),
    ],
)
def test_nonsense_is_refused(changes, message):
    with pytest.raises(ValueError, match=message):
        replace(SCREE, **changes)


def test_a_build_from_another_process_is_the_same_key():
    script = (
        "import pickle, sys, propmodel; b = propmodel.demo('scree'); hash(b); sys.stdout.buffer.write(pickle.dumps(b))"
    )
    there = subprocess.run([sys.executable, "-c", script], capture_output=True, check=True).stdout
    here = propmodel.demo("scree")
    assert len({pickle.loads(there), here}) == 1


def test_a_kept_drive_cannot_be_changed_by_one_who_holds_it():
    with pytest.raises(ValueError, match="read-only"):
        prepare(propmodel.demo("scree")).emf[...] = 12.0


def test_the_throttle_exponent_follows_motor_propeller_and_pack_until_somebody_gives_one():
    rule = default_throttle_exponent
    inch, kv, volts = SCREE.propeller.diameter, SCREE.motor.kv, 6 * 3.7
    assert SCREE.controller.throttle_exponent is None
    assert SCREE.controller.exponent == pytest.approx(float(rule(inch, kv, volts)), rel=1e-14)
    other = replace(SCREE, motor=replace(SCREE.motor, kv=1300.0))
    assert other.controller.exponent == pytest.approx(float(rule(inch, 1300.0, volts)), rel=1e-14)
    # a part put back, a pack of fewer cells, another chemistry, a controller that came from another build
    assert replace(other, motor=SCREE.motor) == SCREE
    fewer = with_fields(SCREE, {"pack.cells": 4})
    assert fewer.controller.exponent == pytest.approx(float(rule(inch, kv, 4 * 3.7)), rel=1e-14)
    assert replace(SCREE, controller=fewer.controller) == SCREE
    # given: it stays whatever changes
    given = replace(SCREE, controller=replace(SCREE.controller, throttle_exponent=0.97))
    assert with_fields(given, {"motor.kv": 900.0, "pack.cells": 4}).controller.exponent == 0.97


def test_an_axis_of_kv_or_cells_moves_the_exponent_and_the_part_throttle():
    kv, cells = np.array([900.0, 1950.0])[:, None], np.array([4, 5, 6])
    many = with_fields(SCREE, {"motor.kv": kv, "pack.cells": cells})
    assert np.shape(many.controller.exponent) == (2, 3) == shape_of(many)
    curve = throttle_curve(many, np.array([0.5]))
    for i, j in np.ndindex(2, 3):
        one = with_fields(SCREE, {"motor.kv": float(kv[i, 0]), "pack.cells": int(cells[j])})
        assert many.controller.exponent[i, j] == pytest.approx(one.controller.exponent, rel=1e-14)
        np.testing.assert_allclose(curve.thrust[i, j], throttle_curve(one, np.array([0.5])).thrust, rtol=1e-9)
    found = sweep(SCREE, {"motor.kv": [900.0, 1950.0]}, outputs=["hover_throttle"])
    for line in found.to_frame().to_dict("records"):
        alone = propmodel.performance(with_fields(SCREE, {"motor.kv": line["motor.kv"]}))
        assert line["hover_throttle"] == pytest.approx(float(alone.hover_throttle), rel=1e-6)
    # what a build works out by itself is no field of it
    assert "controller.rule_exponent" not in field_paths(SCREE)
    assert value_at(SCREE, "controller.throttle_exponent") == SCREE.controller.exponent


def test_a_list_of_controllers_may_know_the_exponent_in_some_rows():
    table = {"controller.throttle_exponent": [0.8, np.nan], "controller.log_sd_throttle_exponent": [0.05, 0.105]}
    found = sweep(SCREE, {}, outputs=["hover_throttle"], tables={"esc": table}).to_frame()["hover_throttle"]
    given = replace(SCREE, controller=replace(SCREE.controller, throttle_exponent=0.8))
    assert found[0] == pytest.approx(float(propmodel.performance(given).hover_throttle), rel=1e-6)
    assert found[1] == pytest.approx(float(propmodel.performance(SCREE).hover_throttle), rel=1e-6)
