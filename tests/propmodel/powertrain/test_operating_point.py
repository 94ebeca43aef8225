"""Where the parts agree: against nested root finding with plain floats, on a stiff supply, and beyond the pack."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scalar_model import Craft
from scipy.optimize import brentq

import propmodel
from propmodel.base.status import Status
from propmodel.components.controller import Controller, default_throttle_exponent
from propmodel.powertrain.operating_point import at_duty, at_speed, at_thrust
from propmodel.powertrain.prepared import prepare
from propmodel.powertrain.throttle_curve import bench_curve, throttle_curve

SCREE = propmodel.demo("scree")


def duty_at(d, n):
    """Duty that turns the rotors at a speed: the bus found by bisection. A second way to the same physics."""
    c_p = float(d.prop.static(n)[1])
    torque = c_p * float(d.density) * n**2 * float(d.diameter) ** 5 / (2 * math.pi)
    k_t = float(d.torque_constant)
    current = (torque + float(d.iron_slope) * n) / k_t
    volts = 2 * math.pi * k_t * n + current * float(d.resistance)
    esc, e, r = d.controller, float(d.emf), float(d.pack_resistance)

    def gap(bus):
        share = volts / bus
        ripple = esc.standby_power + esc.ripple_coefficient * (bus * share * max(1 - share, 0.0)) ** 2
        power = float(d.rotors) * (volts * current + ripple) + float(d.electronics_power)
        return e - power / bus * r - bus

    if gap(0.5 * e) < 0.0:
        return 2.0, 0.5 * e  # more than the pack can give
    bus = brentq(gap, 0.5 * e, e, xtol=1e-13, rtol=1e-14)
    return volts / bus, bus


@pytest.mark.parametrize("name", propmodel.demo_names())
@pytest.mark.parametrize("duty", [0.08, 0.3, 0.62, 1.0])
def test_a_duty_against_nested_root_finding(name, duty):
    d = prepare(propmodel.demo(name), 0.7)
    n = brentq(lambda n: duty_at(d, n)[0] - duty, 1.0, 80.0 / float(d.diameter), xtol=1e-11)
    point = at_duty(d, duty)
    assert point.rev_per_s == pytest.approx(n, rel=1e-9)
    assert point.bus_voltage == pytest.approx(duty_at(d, n)[1], rel=1e-9)


def test_a_thrust_is_found_again():
    d = prepare(SCREE)
    point = at_thrust(d, np.linspace(0.2, 12.0, 9))
    np.testing.assert_allclose(point.thrust, np.linspace(0.2, 12.0, 9), rtol=1e-11)
    np.testing.assert_allclose(at_speed(d, point.rev_per_s).pack_current, point.pack_current, rtol=1e-12)


def weak(resistance):
    """Scree on a pack that sags badly."""
    pack = replace(SCREE.pack, cell_resistance=resistance / 6, lead_resistance=0.0)
    return replace(SCREE, pack=pack, controller=Controller())


def test_beyond_the_pack_the_most_is_held_and_said():
    # the load line of a 0.8 ohm pack: most power at half of the rest voltage (textbook)
    build = weak(0.8)
    curve = throttle_curve(build)
    held = curve.status == Status.PACK_CANNOT_DELIVER
    assert held.any() and not held[:40].any() and held[-1]
    d = prepare(build)
    assert curve.pack_voltage[-1] == pytest.approx(float(d.emf) / 2, rel=1e-6)
    assert curve.electrical_power[-1] == pytest.approx(float(d.emf) ** 2 / 4 / float(d.pack_resistance), rel=1e-6)
    assert np.ptp(curve.thrust[held]) <= 1e-6 * curve.thrust[-1]
    assert np.all(np.diff(curve.thrust) >= -1e-6)


def test_a_mild_pack_reaches_full_throttle():
    assert not np.any(throttle_curve(weak(0.1)).status == Status.PACK_CANNOT_DELIVER)


def test_a_bus_below_what_the_electronics_need_is_said():
    build = replace(SCREE, craft=replace(SCREE.craft, electronics_min_voltage=22.0))
    curve = throttle_curve(build)
    assert curve.status[0] == Status.OK and curve.status[-1] == Status.BELOW_ELECTRONICS_MINIMUM
    assert np.all((curve.pack_voltage < 22.0) == (curve.status == Status.BELOW_ELECTRONICS_MINIMUM))


def test_a_cap_is_a_shorter_throttle():
    capped = replace(SCREE, command_cap=0.6, controller=Controller())
    free = replace(SCREE, controller=Controller())
    np.testing.assert_allclose(throttle_curve(capped, 1.0).thrust, throttle_curve(free, 0.6).thrust, rtol=1e-12)


def test_curve_shapes_and_table():
    assert throttle_curve(SCREE).thrust.shape == (101,)
    assert np.ndim(throttle_curve(SCREE, 0.4).thrust) == 0
    many = propmodel.with_fields(SCREE, {"motor.kv": [1700.0, 1950.0, 2200.0]})
    frame = throttle_curve(many, np.linspace(0, 1, 5), state_of_charge=[1.0, 0.5, 0.2]).to_frame()
    assert isinstance(frame, pd.DataFrame) and len(frame) == 15
    assert list(frame["build"]) == sorted(list(range(3)) * 5)
    assert "thrust [N]" in frame and "status [code]" in frame
    at_half = throttle_curve(SCREE, np.linspace(0, 1, 5), state_of_charge=0.5)
    np.testing.assert_allclose(frame["thrust [N]"][5:10], at_half.thrust, rtol=1e-9)


@pytest.mark.parametrize("name", propmodel.demo_names())
def test_a_curve_against_the_scalar_model_with_a_throttle_map_and_a_cap(name):
    build = propmodel.demo(name)
    throttle = np.linspace(0.0, 1.0, 12)
    curve, scalar = throttle_curve(build, throttle), Craft(build)
    rows = [scalar.at_duty(scalar.duty_of(float(x)), scalar.fresh) for x in throttle]
    for field in ("rev_per_s", "thrust", "pack_current", "pack_voltage", "shaft_power"):
        expected = np.array([row[field] for row in rows])
        np.testing.assert_allclose(getattr(curve, field), expected, rtol=1e-9, atol=1e-9 * expected.max())


def test_a_stiff_supply_holds_its_voltage_and_pays_its_watts():
    curve = bench_curve(SCREE.motor, SCREE.propeller, 24.0, np.linspace(0.1, 1.0, 10))
    watts = 24.0 * curve.supply_current
    copper = curve.motor_current**2 * SCREE.motor.resistance
    iron = 2 * np.pi * SCREE.motor.iron_torque_slope * curve.rev_per_s**2
    duty = np.linspace(0.1, 1.0, 10) ** default_throttle_exponent(SCREE.propeller.diameter, SCREE.motor.kv, 24.0)
    ripple = 0.5 + 0.39 * (24.0 * duty * (1 - duty)) ** 2
    np.testing.assert_allclose(watts, curve.shaft_power + copper + iron + ripple, rtol=1e-9)
    np.testing.assert_allclose(curve.shaft_power, 2 * np.pi * curve.rev_per_s * curve.torque, rtol=1e-12)
    # a bench table with its own falling voltage at each step
    sagging = bench_curve(SCREE.motor, SCREE.propeller, np.array([25.0, 24.0, 22.5]), np.array([0.2, 0.6, 1.0]))
    alone = bench_curve(SCREE.motor, SCREE.propeller, 22.5, 1.0)
    assert sagging.thrust[-1] == pytest.approx(alone.thrust, rel=1e-12)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: throttle_curve(replace(SCREE, motor=replace(SCREE.motor, kv=(1800.0, 1950.0)))),
            "as a list or an array",
        ),
        (lambda: throttle_curve(SCREE, 1.2), "throttle must be between 0 and 1, got 1.2"),
        (lambda: throttle_curve(SCREE, [0.1, np.nan]), "throttle must be a finite number, got nan .1 of 2 values"),
        (
            lambda: throttle_curve(SCREE, np.array([0.1, np.inf])),
            "throttle must be a finite number, got inf .1 of 2 values",
        ),
        (
            lambda: throttle_curve(SCREE, np.array([0.1, -0.2])),
            "throttle must be between 0 and 1, got -0.2 .1 of 2 values",
        ),
        (lambda: throttle_curve(SCREE, state_of_charge=-1), "state_of_charge must be between 0 and 1, got -1"),
        (lambda: bench_curve(SCREE.motor, SCREE.propeller, 0.0, 0.5), "supply_voltage must be > 0 V, got 0 V"),
        (lambda: bench_curve(SCREE.motor, SCREE.propeller, 12.0, "half"), "throttle must be a number, got 'half'"),
    ],
)
def test_nonsense_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
