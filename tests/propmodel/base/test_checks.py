"""Refusals and copies at the doors of the engine: input is used as it is meant, or refused in one sentence."""

from __future__ import annotations

import datetime
from dataclasses import fields, is_dataclass, replace
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest

import propmodel
from propmodel.assembly.build import drag_areas
from propmodel.base import checks
from propmodel.components import battery, controller, motor, propeller, wire
from propmodel.components.inplane import inplane_force
from propmodel.components.motor import from_stator
from propmodel.dive import closed_forms, vortex_ring
from propmodel.flight.level import steepest_tilt
from propmodel.flight.power_split import where_watts_go
from propmodel.power_up import transients
from propmodel.powertrain.throttle_curve import bench_curve
from propmodel.studies.sensitivity import elasticities
from propmodel.studies.spread import bands

SCREE = propmodel.demo("scree")

NO_NUMBER = {
    "decimal": Decimal("1.5"),
    "fraction": Fraction(3, 2),
    "decimals": np.array([Decimal(1)]),
    "text among numbers": np.array([1.0, "2"], dtype=object),
    "time span": datetime.timedelta(1),
    "numpy time span": np.timedelta64(1, "s"),
    "date": np.datetime64("2020-01-01"),
    "dates": np.array(["2020-01-01"], dtype="datetime64[D]"),
    "integer beyond floats": 10**400,
    "integer of thousands of digits": 10**5000,
    "text": "fast",
    "complex": 1j,
    "mapping": {},
    "ragged": [[1], [1, 2]],
    "function": len,
}
NAN = {
    "nan": np.nan,
    "masked": np.ma.masked_array([0.5, 0.6], [False, True]),
    "nan in a list": [0.5, np.nan],
    "nothing in a list": [0.5, None],
}
"""Values that hold NaN; a masked element counts as that."""

DOORS = {
    "throttle": lambda v: propmodel.throttle_curve(SCREE, v),
    "state_of_charge of a curve": lambda v: propmodel.throttle_curve(SCREE, state_of_charge=v),
    "speed": lambda v: propmodel.level_flight(SCREE, v),
    "state_of_charge of level flight": lambda v: propmodel.level_flight(SCREE, 10.0, state_of_charge=v),
    "state_of_charge of top speed": lambda v: propmodel.top_speed(SCREE, state_of_charge=v),
    "state_of_charge of best speeds": lambda v: propmodel.best_speeds(SCREE, state_of_charge=v),
    "state_of_charge of a climb": lambda v: propmodel.climb_rate(SCREE, state_of_charge=v),
    "state_of_charge of a flight": lambda v: propmodel.flight_time(SCREE, state_of_charge=v),
    "state_of_charge of a pull-out": lambda v: propmodel.pull_out(SCREE, drop=20.0, state_of_charge=v),
    "state_of_charge of a rest voltage": lambda v: battery.open_circuit_voltage(SCREE.pack, v),
    "state_of_charge of a resistance": lambda v: battery.resistance(SCREE.pack, v),
    "power": lambda v: propmodel.discharge(SCREE.pack, v),
    "reserve": lambda v: propmodel.discharge(SCREE.pack, 100.0, reserve=v),
    "points": lambda v: propmodel.best_speeds(SCREE, points=v),
    "share": lambda v: elasticities(SCREE, "hover_time", share=v),
    "supply_voltage": lambda v: bench_curve(SCREE.motor, SCREE.propeller, v, 0.5),
    "loaded over printed KV": lambda v: from_stator(0.022, 0.007, 1950, loaded_kv_ratio=v),
    "motor no-load voltage": lambda v: from_stator(0.022, 0.007, 1950, no_load_voltage=v),
    "motor.kv": lambda v: propmodel.sweep(SCREE, {"motor.kv": v}, "mass"),
    "motor KV": lambda v: replace(SCREE.motor, kv=v),
    "capacity_ah": lambda v: replace(SCREE.pack, capacity_ah=v),
    "diameter": lambda v: replace(SCREE.propeller, diameter=v),
    "idle_duty": lambda v: replace(SCREE.controller, idle_duty=v),
    "frame_mass": lambda v: replace(SCREE.craft, frame_mass=v),
    "lead_length": lambda v: replace(SCREE.craft, lead_length=v),
    "air density": lambda v: replace(SCREE.air, density=v),
    "rotors": lambda v: replace(SCREE, rotors=v),
    "share of hover": lambda v: propmodel.Profile(v),
}
"""What the sentence must begin with, and a call that takes any value there."""

PASS_NAN = {
    "throttle": lambda v: controller.duty_from_throttle(SCREE.controller, v),
    "duty": lambda v: controller.throttle_from_duty(SCREE.controller, v),
    "voltage": lambda v: motor.peak_efficiency(SCREE.motor, v),
    "emf": lambda v: battery.terminal_voltage(v, 0.03, 100.0),
    "reading": lambda v: battery.ten_second_resistance(v),
    "temperature": lambda v: battery.temperature_factor(v),
    "rate": lambda v: battery.resistance(SCREE.pack, rate=v),
    "thrust_to_weight": lambda v: steepest_tilt(v),
    "dive_angle": lambda v: closed_forms.free_pull_up(20.0, 3.0, dive_angle=v),
    "descent": lambda v: vortex_ring.wash_share(v, 0.0),
    "inplane": lambda v: vortex_ring.wash_share(0.5, v),
    "temperature of a wire": lambda v: wire.copper_factor(v),
    "advance": lambda v: inplane_force(1.5, v),
    "thrust": lambda v: inplane_force(v, 0.1),
    "energy": lambda v: transients.braking_voltage(25.0, capacitance=1e-3, energy=v),
}
"""Formulas: NaN goes through."""


@pytest.mark.parametrize("kind", NO_NUMBER)
@pytest.mark.parametrize("door", [*DOORS, *PASS_NAN])
def test_what_is_no_number_is_refused_by_name(door, kind):
    call = (DOORS | PASS_NAN)[door]
    field = door.split(" of a wire")[0] if not door.startswith("state_of_charge") else "state_of_charge"
    with pytest.raises(ValueError, match=f"^{field} must be a number, got "):
        call(NO_NUMBER[kind])


@pytest.mark.parametrize("kind", NAN)
@pytest.mark.parametrize("door", DOORS)
def test_nan_and_what_is_masked_are_refused_by_name(door, kind):
    with pytest.raises(ValueError, match=r"must be a finite number, got nan"):
        DOORS[door](NAN[kind])


def test_masked_elements_are_unknown_where_a_field_may_be():
    hidden = np.ma.masked_array([0.15, 99.0], [False, True])
    made = propeller.Propeller(0.127, 0.1, chord_ratio=hidden)
    assert type(made.chord_ratio) is np.ndarray
    np.testing.assert_array_equal(made.chord_ratio, [0.15, np.nan])
    plain = propeller.Propeller(0.127, 0.1, chord_ratio=[0.15, None])
    np.testing.assert_array_equal(propeller.mass(made), propeller.mass(plain))


def test_a_masked_array_without_masked_elements_is_taken():
    asked = np.ma.masked_array([0.5, 0.6])
    # the last digit hangs on where the solver starts, and so on what was asked before
    np.testing.assert_allclose(
        propmodel.throttle_curve(SCREE, asked).thrust,
        propmodel.throttle_curve(SCREE, np.array([0.5, 0.6])).thrust,
        rtol=1e-14,
    )


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: battery.open_circuit_voltage(SCREE.pack, np.nan), "state_of_charge must be a finite number, got nan"),
        (
            lambda: battery.resistance(SCREE.pack, [0.5, np.nan, 1.0]),
            "state_of_charge must be a finite number, got nan (1 of 3 values, first at index 1)",
        ),
        (lambda: elasticities(SCREE, "hover_time", share=1), "share must be between 1e-06 and 0.5, got 1"),
        (lambda: propmodel.best_speeds(SCREE, points=2), "points must be between 3 and 10001, got 2"),
        (
            lambda: propmodel.flight_time(SCREE, 3.0),
            "profile must be a Profile or one of hang still, cruise, play, race, got 3.0",
        ),
        (lambda: propmodel.flight_time(SCREE, None), "profile must be a Profile or one of hang still, cruise, play, "
                                                     "race, got None"),
        (lambda: replace(SCREE, coaxial=[True]), "coaxial must be True or False, got [True]"),
        (lambda: replace(SCREE.craft, capacitance=-1e-3), "capacitance must be between 0 and 10 F, got -0.001 F"),
        (lambda: replace(SCREE.motor, kv=2**80), "motor KV must be between 0 and 100000 rpm/V, got 1.20893e+24 rpm/V"),
        (lambda: replace(SCREE.propeller, log_c_t_offset=1e3), "log_c_t_offset must be between -100 and 100, got 1000"),
        (lambda: battery.chemistry_index([["lipo"], ["lipo", "li_ion"]]),
         "chemistry must be a name or a plain list of names, got [['lipo'], ['lipo', 'li_ion']]"),
        (lambda: checks.as_floats("kv", 10**5000), "kv must be a number, got an integer of thousands of digits"),
    ],
)  # fmt: skip
def test_sentences(call, sentence):
    with pytest.raises(ValueError) as refused:
        call()
    assert str(refused.value).startswith(sentence)


def test_a_list_of_no_load_voltages_counts_as_an_array():
    made = from_stator(0.022, 0.007, 1950, no_load_voltage=[10.0, 12.0])
    one = [from_stator(0.022, 0.007, 1950, no_load_voltage=v) for v in (10.0, 12.0)]
    np.testing.assert_allclose(made.no_load_current, [float(m.no_load_current) for m in one])
    held = replace(SCREE.motor, no_load_voltage=[10.0, 12.0])
    given = replace(SCREE.motor, no_load_voltage=np.array([10.0, 12.0]))
    np.testing.assert_allclose(held.iron_torque_slope, given.iron_torque_slope)


@pytest.mark.parametrize("wrap", [list, pd.Series, lambda v: np.array(v).astype(object)])
def test_lists_in_fields_are_copied_to_arrays(wrap):
    given = wrap([1950.0, 2450.0])
    made = replace(SCREE.motor, kv=given)
    assert type(made.kv) is np.ndarray or wrap([1.0]).__class__ is np.ndarray
    answer = propmodel.throttle_curve(replace(SCREE, motor=made), 1.0).thrust
    if isinstance(given, list):
        given[0] = -1.0
        np.testing.assert_array_equal(made.kv, [1950.0, 2450.0])
    expected = [float(propmodel.throttle_curve(replace(SCREE, motor=replace(SCREE.motor, kv=k)), 1.0).thrust)
                for k in (1950.0, 2450.0)]  # fmt: skip
    np.testing.assert_allclose(answer, expected, rtol=1e-9)


def test_lists_of_names_and_of_flags_keep_their_kind():
    pack = replace(SCREE.pack, chemistry=["lipo", "li_ion"])
    assert pack.chemistry.tolist() == ["lipo", "li_ion"]
    assert replace(SCREE.propeller, multirotor=[True, False]).multirotor.dtype == np.bool_


# ---- memory -----------------------------------------------------------------------------------------------


def arrays_in(value, path=""):
    """Every array inside an answer or a part, with its path."""
    if isinstance(value, np.ndarray):
        yield path, value
    elif is_dataclass(value):
        for field in fields(value):
            yield from arrays_in(getattr(value, field.name), f"{path}.{field.name}")
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from arrays_in(item, f"{path}[{key}]")
    elif isinstance(value, tuple | list):
        for item in value:
            yield from arrays_in(item, f"{path}[]")


OPTIONAL = {
    "motor": {"mass": 0.03, "stator_diameter": 0.022, "stator_height": 0.007, "log_sd_kv": 0.1,
              "log_sd_resistance": 0.1, "winding_resistance": 0.05},
    "pack": {"mass": 0.2, "cell_resistance": 4e-3, "label_c": 100.0, "usable_share": 0.9,
             "cutoff_voltage_per_cell": 3.3},
    "propeller": {"mass": 4e-3, "chord_ratio": 0.15, "log_sd_c_t": 0.1, "log_sd_c_p": 0.1, "spread_correlation": 0.1},
    "controller": {"mass": 0.01},
    "craft": {"drag_area_front": 0.01, "drag_area_top": 0.02},
    "air": {},
}  # fmt: skip


def all_arrays():
    """A build of three, with an array in every field that takes one."""
    parts = {}
    for name, more in OPTIONAL.items():
        part = getattr(SCREE, name)
        plain = {f.name: getattr(part, f.name) for f in fields(part)}
        kept = {k: v for k, v in plain.items() if isinstance(v, int | float | np.ndarray) and not isinstance(v, bool)}
        parts[name] = replace(part, **{k: np.full(3, float(v)) for k, v in (kept | more).items()})
    return replace(SCREE, **parts, rotors=np.full(3, 4.0), command_cap=np.full(3, 0.9))


SPEEDS = np.array([5.0, 10.0, 15.0])
CHARGES = np.array([0.9, 0.8, 0.7])
COMMANDS = np.array([0.2, 0.5, 1.0])
WATTS = np.array([100.0, 150.0, 200.0])
FLOORS = np.array([0.9, 0.8, 0.1])

LINEAR = controller.Controller(throttle_exponent=1.0)

ANSWERS = {
    "throttle_curve": lambda b: propmodel.throttle_curve(b, COMMANDS),
    "throttle_curve at charges": lambda b: propmodel.throttle_curve(b, COMMANDS, state_of_charge=CHARGES),
    "level_flight": lambda b: propmodel.level_flight(b, SPEEDS),
    "top_speed": lambda b: propmodel.top_speed(b, state_of_charge=CHARGES),
    "best_speeds": lambda b: propmodel.best_speeds(b, state_of_charge=CHARGES),
    "climb_rate": lambda b: propmodel.climb_rate(b, state_of_charge=CHARGES),
    "flight_time": lambda b: propmodel.flight_time(b, "race", state_of_charge=CHARGES),
    "performance": propmodel.performance,
    "bands": lambda b: bands(b, draws=16),
    "where_watts_go": lambda b: where_watts_go(b, "cruise", speed=SPEEDS, state_of_charge=CHARGES),
    "pull_out": lambda b: propmodel.pull_out(b, drop=SPEEDS, state_of_charge=CHARGES),
    "discharge": lambda b: propmodel.discharge(b.pack, WATTS, state_of_charge=CHARGES, reserve=FLOORS),
    "bench_curve": lambda b: bench_curve(b.motor, b.propeller, WATTS, COMMANDS),
    "duty_from_throttle": lambda b: controller.duty_from_throttle(LINEAR, COMMANDS),
    "throttle_from_duty": lambda b: controller.throttle_from_duty(LINEAR, COMMANDS),
    "drag_areas": drag_areas,
    "mass of a pack": lambda b: battery.mass(b.pack),
    "label_c": lambda b: battery.label_c(b.pack),
    "cell_resistance_new": lambda b: battery.cell_resistance_new(b.pack),
    "cutoff_voltage": lambda b: battery.cutoff_voltage(b.pack),
    "capacity": lambda b: battery.capacity(b.pack),
    "motor_mass": lambda b: motor.motor_mass(b.motor),
    "can_size": lambda b: motor.can_size(b.motor),
    "resistance_spread": lambda b: motor.resistance_spread(b.motor),
    "mass of a propeller": lambda b: propeller.mass(b.propeller),
    "sweep": lambda b: vars(propmodel.sweep(SCREE, {"craft.payload_mass": FLOORS}, "mass")),
    "atmosphere": lambda b: propmodel.atmosphere(WATTS, 290.0 + SPEEDS),
}  # fmt: skip


@pytest.mark.parametrize("name", ANSWERS)
@pytest.mark.parametrize("kind", ["plain", "arrays"])
def test_answers_share_no_memory_with_what_was_passed(name, kind):
    build = SCREE if kind == "plain" else all_arrays()
    given = [("argument", a) for a in (SPEEDS, CHARGES, COMMANDS, WATTS, FLOORS)] + list(arrays_in(build))
    answer = ANSWERS[name](build)
    answer = {k: v for k, v in answer.items() if k != "build"} if isinstance(answer, dict) else answer
    found = list(arrays_in(answer))
    assert found or kind == "plain"
    assert [(path, what) for path, array in found for what, mine in given if np.shares_memory(array, mine)] == []


def test_editing_an_answer_leaves_what_was_asked():
    asked = np.array([5.0, 10.0])
    found = propmodel.level_flight(SCREE, asked)
    found.speed[:] = -1.0
    np.testing.assert_array_equal(asked, [5.0, 10.0])
    command = np.array([0.25, 0.5])
    curve = propmodel.throttle_curve(SCREE, command)
    curve.throttle[:] = 9.0
    np.testing.assert_array_equal(command, [0.25, 0.5])
    np.testing.assert_array_equal(propmodel.throttle_curve(SCREE, command).throttle, command)
