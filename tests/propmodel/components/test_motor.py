"""The motor part: its own equations, limits, messages and the rule from the stator size."""

import csv
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from propmodel.components import controller
from propmodel.components import motor as m
from propmodel.components.propeller import label_fit, prepared
from propmodel.studies import spread

MOTOR = m.Motor(kv=1750, resistance=0.19, no_load_current=1.3, no_load_voltage=12.0, mass=0.041)


@given(
    kv=st.floats(100, 6000),
    resistance=st.floats(0.01, 1.0),
    current=st.floats(0.0, 3.0),
    ratio=st.floats(0.8, 1.1),
    n=st.floats(5, 700),
    torque=st.floats(0, 2),
)
def test_energy_balance(kv, resistance, current, ratio, n, torque):
    motor = m.Motor(kv, resistance, current, loaded_kv_ratio=ratio)
    amps = m.current_for_torque(motor, torque, n)
    electrical = m.voltage(motor, amps, n) * amps
    iron = 2 * np.pi * n * motor.iron_torque_slope * n
    shaft = 2 * np.pi * n * torque
    np.testing.assert_allclose(electrical, shaft + iron + amps**2 * resistance, rtol=1e-12, atol=1e-300)
    np.testing.assert_allclose(m.torque(motor, amps, n), torque, rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("ratio", [1.0, 0.93])
def test_bare_motor_draws_its_no_load_current_at_its_test(ratio):
    motor = replace(MOTOR, loaded_kv_ratio=ratio)
    n = m.no_load_speed(motor, 12.0)
    np.testing.assert_allclose(m.no_load_current(motor, n), 1.3, rtol=1e-12)
    np.testing.assert_allclose(m.voltage(motor, m.no_load_current(motor, n), n), 12.0, rtol=1e-12)
    # loss torque grows with speed: twice the voltage, twice the current
    np.testing.assert_allclose(m.no_load_current(motor, m.no_load_speed(motor, 24.0)), 2.6, rtol=1e-12)


def test_peak_efficiency_is_the_maximum():
    best_current, best = m.peak_efficiency(MOTOR, 14.0)
    amps = best_current * np.linspace(0.3, 3.0, 2701)
    n = (14.0 - amps * 0.19) / (2 * np.pi * MOTOR.torque_constant)
    efficiency = 2 * np.pi * n * m.torque(MOTOR, amps, n) / (14.0 * amps)
    assert efficiency.max() == pytest.approx(float(best), rel=1e-6)
    assert amps[efficiency.argmax()] == pytest.approx(float(best_current), rel=2e-3)
    # and does not depend on the voltage
    assert float(m.peak_efficiency(MOTOR, 25.0)[1]) == pytest.approx(float(best), rel=1e-12)


def test_ideal_motor_is_perfect():
    motor = m.Motor(1000, 0.1, 0.0)
    current, efficiency = m.peak_efficiency(motor, 10.0)
    assert (float(current), float(efficiency)) == (0.0, 1.0)
    assert float(m.no_load_speed(motor, 10.0)) == pytest.approx(10_000 / 60)


def test_only_the_winding_warms():
    motor = m.Motor(1900, 0.2, 1.0, winding_resistance=0.05)
    warm = m.resistance_at(motor, 393.15)
    assert float(warm) == pytest.approx(0.15 + 0.05 * (1 + 0.00393 * 100))
    assert float(m.winding_part(motor) + m.rest_resistance(motor)) == pytest.approx(0.2)
    assert float(m.winding_part(m.Motor(1900, 0.2, 1.0))) == pytest.approx(m.WINDING_SHARE * 0.2)


def test_a_printed_winding_figure_moves_the_effective_resistance_but_is_not_it():
    plain = m.from_stator(0.023, 0.006, 1700)
    printed = m.from_stator(0.023, 0.006, 1700, winding_resistance=0.061)
    # 0.38 of the effective one in six motors (data/motors/SOURCE.md): 0.161 ohm by the print, 0.228 by the stator
    by_print, by_stator = 0.061 / 0.38, float(plain.resistance)
    assert by_print < float(printed.resistance) < by_stator
    assert float(printed.resistance) == pytest.approx(by_stator**0.4 * by_print**0.6, rel=1e-12)
    # the usual share of the forecast says nothing new
    usual = m.from_stator(0.023, 0.006, 1700, winding_resistance=0.38 * by_stator)
    assert float(usual.resistance) == pytest.approx(by_stator, rel=1e-12)
    assert float(m.resistance_spread(printed)) < float(m.resistance_spread(plain))
    assert float(m.winding_part(printed)) == pytest.approx(0.061)
    # what the figure alone would promise: more speed at the same load
    naive = m.winding_only_promise(printed)
    assert float(naive.resistance) == pytest.approx(0.061)
    n = 400.0
    needed = m.voltage(printed, m.current_for_torque(printed, 0.1, n), n)
    assert float(m.voltage(naive, m.current_for_torque(naive, 0.1, n), n)) < 0.9 * float(needed)
    # the effective resistance contains the winding, whatever is printed
    for ohms in (0.5, 30.0):
        assert float(m.from_stator(0.023, 0.006, 1700, winding_resistance=ohms).resistance) >= ohms


def test_from_stator_scales_as_a_rewound_motor():
    # same stator, other wire: the wound resistance goes with 1/KV^2, loss torque and what is not wound stay
    slow, fast = m.from_stator(0.028, 0.007, 900), m.from_stator(0.028, 0.007, 1800)
    wound = [float(x.resistance) - m.FIXED_RESISTANCE for x in (slow, fast)]
    assert wound[0] / wound[1] == pytest.approx(4.0)
    assert float(slow.iron_torque_slope) == pytest.approx(float(fast.iron_torque_slope), rel=1e-12)
    assert float(slow.iron_torque_slope) == pytest.approx(5.9e-9 * 28**2 * 7, rel=1e-12)


def test_bigger_stators_lose_less_and_more_height_helps():
    d = np.array([14, 18, 22, 28, 31, 41]) * 1e-3
    h = np.array([6, 6, 7, 7, 15, 14]) * 1e-3
    assert np.all(np.diff(m.motor_constant(d, h)) > 0)
    assert np.all(np.diff(m.motor_constant(0.022, np.linspace(0.003, 0.02, 30))) > 0)


USED = {
    # constant of the fit: what the package takes, and whether the fit's standard error is that of its logarithm
    "motor_constant_2207": (m.MOTOR_CONSTANT_2207, True),
    "size_exponent": (m.SIZE_EXPONENT, False),
    "fixed_resistance": (m.FIXED_RESISTANCE, True),
    "loaded_kv_ratio": (m.LOADED_KV_RATIO, True),
    "loss_torque_scale": (m.IRON_TORQUE_SCALE, True),
    "ripple_coefficient": (controller.RIPPLE_COEFFICIENT, True),
    "throttle_exponent": (controller.THROTTLE_EXPONENT, True),
    "throttle_exponent_tip_power": (controller.TIP_POWER, False),
    "multirotor_merit": (label_fit.MULTIROTOR_MERIT, True),
    "mach_knee": (prepared.MACH_KNEE, False),
    "mach_rise": (prepared.MACH_RISE, False),
}


def table_of(path):
    with open(path, encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_the_package_takes_every_constant_of_the_joint_fit(root):
    rule = {row["constant"]: row for row in table_of(root / "data" / "motors" / "rule.csv")}
    assert set(rule) == set(USED)
    (doubt,) = (name for name in rule["mach_rise"] if name.startswith("se "))
    for name, (used, logarithmic) in USED.items():
        value, error = float(rule[name]["value"]), rule[name][doubt]
        # rounded: by less than a quarter of the fit's own standard error; what was chosen has none and is exact
        allowed = 0.25 * float(error) * (value if logarithmic else 1.0) if error else 1e-12
        assert abs(used - value) <= allowed, name


def test_the_spreads_are_those_found_between_motors_and_stands(root):
    found = {row["deviation"]: float(row["found"]) for row in table_of(root / "data" / "motors" / "effects.csv")}
    # sd ln R = 2 sd ln K_m: resistance goes with 1/K_m^2
    assert pytest.approx(2 * found["motor_constant"], rel=0.1) == m.LOG_SD_RESISTANCE
    assert found["kv"] == pytest.approx(m.LOG_SD_KV, rel=0.15)
    assert found["throttle"] == pytest.approx(controller.LOG_SD_THROTTLE_EXPONENT, rel=0.15)
    assert found["ripple"] == pytest.approx(spread.LOG_SD_RIPPLE, rel=0.15)


def test_spread_widens_outside_the_measured_range():
    inside = m.from_stator(0.022, 0.006, 2300)
    assert float(m.resistance_spread(inside)) == m.LOG_SD_RESISTANCE
    assert float(m.resistance_spread(inside, 20.0)) == m.LOG_SD_RESISTANCE
    currents = m.resistance_spread(inside, np.array([83.0, 120.0, 170.0]))
    assert np.all(np.diff(currents) > 0)
    sizes = m.from_stator(np.array([0.028, 0.041, 0.050]), np.array([0.020, 0.014, 0.020]), 900)
    assert np.all(np.diff(m.resistance_spread(sizes)) > 0)
    assert float(m.resistance_spread(m.from_stator(0.010, 0.003, 8000))) > m.LOG_SD_RESISTANCE
    own = replace(inside, log_sd_resistance=0.07)
    assert float(m.resistance_spread(own, 90.0)) == 0.07


def test_outside_measured_speaks_per_element():
    motor = m.from_stator(np.array([0.028, 0.041]), np.array([0.0065, 0.014]), 900)
    assert m.outside_measured(motor).tolist() == [False, True]
    assert m.outside_measured(motor, 60.0).tolist() == [False, True]
    assert m.outside_measured(motor, 90.0).tolist() == [True, True]
    assert not m.outside_measured(m.Motor(900, 0.1, 1.0, log_sd_resistance=0.1), 90.0)


def test_scalar_equals_array_element():
    d, h = np.array([0.014, 0.022, 0.031]), np.array([0.006, 0.007, 0.015])
    kv = np.array([[3800.0], [950.0]])
    many = m.from_stator(d, h, kv)
    assert many.resistance.shape == (2, 3)
    one = m.from_stator(0.031, 0.015, 950.0)
    for got in ("resistance", "no_load_current", "torque_constant", "iron_torque_slope"):
        value = np.broadcast_to(getattr(many, got), (2, 3))[1, 2]
        assert float(value) == pytest.approx(float(getattr(one, got)), rel=1e-14)
    assert float(m.motor_mass(many)[2]) == pytest.approx(float(m.motor_mass(one)), rel=1e-14)
    assert float(m.bell_inertia(many)[2]) == pytest.approx(float(m.bell_inertia(one)), rel=1e-14)


def test_mass_and_size_fall_back_in_order():
    assert float(m.motor_mass(MOTOR)) == 0.041
    stated = m.from_stator(0.025, 0.008, 1500)
    assert float(m.motor_mass(stated)) == pytest.approx(0.005 + 7800 * 0.025**2 * 0.008)
    assert float(m.can_size(stated)[0]) == pytest.approx(0.031)
    # known by mass only: a stator of that mass
    d, length = m.can_size(m.Motor(900, 0.1, 1.0, mass=0.117))
    volume = (float(d) - 0.006) ** 2 * (float(length) - 0.011)
    assert 0.005 + 7800 * volume == pytest.approx(0.117, rel=1e-6)


@pytest.mark.parametrize(
    ("stator", "grams"),
    # Common practice, from memory: what motors of these sizes weigh with short wires, to about 15 %.
    [
        ((8, 2), 1.9),
        ((11, 2), 2.8),
        ((11, 3), 3.8),
        ((14, 4), 9),
        ((14, 6), 15),
        ((22, 7), 33),
        ((28, 6.5), 47),
        ((31, 15), 117),
        ((41, 14), 175),
    ],
)
def test_mass_estimate_against_common_practice(stator, grams):
    got = m.estimated_mass(stator[0] * 1e-3, stator[1] * 1e-3) * 1e3
    assert float(got) == pytest.approx(grams, rel=0.19 if stator == (11, 3) else 0.17)


@pytest.mark.parametrize(
    ("size", "kv", "low", "high"),
    # Common practice, from memory: about what full-throttle bench tables of such motors imply for the
    # resistance beyond the loaded back-EMF. Wide on purpose; a rule that extrapolates wildly leaves it.
    [
        ((22, 7), 1950, 0.10, 0.25),
        ((28, 6.5), 1300, 0.12, 0.32),
        ((35, 8), 700, 0.15, 0.45),
        ((41, 14), 400, 0.13, 0.40),
    ],
)
def test_extrapolated_resistance_is_sane(size, kv, low, high):
    assert low < float(m.from_stator(size[0] * 1e-3, size[1] * 1e-3, kv).resistance) < high


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"kv": 0}, r"motor KV must be > 0 rpm/V, got 0 rpm/V"),
        ({"kv": float("nan")}, "motor KV must be a finite number, got nan"),
        ({"kv": "fast"}, "motor KV must be a number, got 'fast'"),
        ({"kv": [1900, -3, 1700]}, r"got -3 rpm/V \(1 of 3 values, first at index 1\)"),
        ({"resistance": -0.2}, "motor resistance must be > 0 ohm, got -0.2 ohm"),
        ({"resistance": float("inf")}, "motor resistance must be a finite number"),
        ({"no_load_current": -1}, "motor no-load current must be between 0 and 1000 A, got -1 A"),
        ({"no_load_current": 900}, "no-load current x resistance must be below the no-load test voltage"),
        ({"no_load_voltage": 0}, "motor no-load voltage must be > 0 V"),
        ({"mass": 0}, "motor mass must be > 0 kg"),
        ({"winding_resistance": -0.01}, "motor winding resistance must be > 0 ohm"),
        ({"pole_pairs": 0}, "motor pole pairs must be between 1 and 100"),
        ({"winding_limit": 120}, "motor winding limit must be between 293.15 and 700 K, got 120 K"),
        ({"loaded_kv_ratio": 0}, "loaded over printed KV must be between 0.5 and 1.5"),
        ({"log_sd_kv": -1}, "log sd of motor KV must be between 0 and 3"),
    ],
)
def test_nonsense_is_refused_with_the_field(fields, message):
    with pytest.raises(ValueError, match=message):
        replace(MOTOR, **fields)


def test_stator_in_millimetres_is_refused():
    with pytest.raises(ValueError, match=r"stator diameter must be between 0.003 and 0.2 m, got 22 m"):
        m.from_stator(22, 7, 1950)
    with pytest.raises(ValueError, match="stator height"):
        m.from_stator(0.022, 0.0, 1950)
