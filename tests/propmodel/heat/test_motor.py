"""Two-node heat: books, limits, transients against an independent integration, and the verdict."""

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples
from scipy.integrate import solve_ivp

from propmodel import heat
from propmodel.base.constants import COPPER_TEMPERATURE_COEFFICIENT as ALPHA
from propmodel.base.status import Status
from propmodel.base.units import CELSIUS_ZERO
from propmodel.heat.hot_motor import OTHER_CAUSES, hot_motor_verdict
from propmodel.heat.motor import HeatCapacity, ThermalResistance, steady_temperatures
from propmodel.heat.motor_limits import seconds_to_limit

AIR = 12.0 + CELSIUS_ZERO
WARM = 55.0 + CELSIUS_ZERO
LIMIT = 120.0 + CELSIUS_ZERO
FIVE_INCH = ThermalResistance(0.62, 2.1)
CAPACITY = heat.capacities(0.033)
HILL = SimpleNamespace(density=1.177, viscosity=1.775e-5)


def integrate(copper, iron, resistance, capacity, winding, body, end):
    """Independent: the two differential equations, stepped by scipy."""

    def rate(_, t):
        copper_now = copper * (1.0 + ALPHA * (t[0] - 293.15))
        across = (t[0] - t[1]) / resistance.winding_body
        return [
            (copper_now - across) / capacity.winding,
            (across + iron - (t[1] - AIR) / resistance.body_air) / capacity.body,
        ]

    def crossing(_, t):
        return t[0] - LIMIT

    crossing.direction = 1.0
    out = solve_ivp(rate, (0.0, end), [winding, body], method="LSODA", rtol=1e-10, atol=1e-9, events=crossing)
    return out.y[:, -1], out.t_events[0]


@given(copper=st.floats(0.1, 80.0), iron=st.floats(0.0, 20.0), body=st.floats(0.5, 8.0))
@settings(max_examples=examples(60), deadline=None)
def test_steady_heat_flows_balance(copper, iron, body):
    thermal = ThermalResistance(0.62, body)
    out = steady_temperatures(copper, iron, resistance=thermal, air_temperature=AIR)
    if out.status == Status.OK:
        now = copper * (1.0 + ALPHA * (out.winding - 293.15))
        assert (out.winding - out.body) / 0.62 == pytest.approx(now, rel=1e-9)
        assert (out.body - AIR) / body == pytest.approx(now + iron, rel=1e-9)
    else:
        assert np.isnan(out.winding) and np.isnan(out.body)


def test_no_load_no_rise():
    out = steady_temperatures(0.0, 0.0, resistance=FIVE_INCH, air_temperature=AIR)
    assert (out.winding, out.body) == pytest.approx((AIR, AIR), rel=1e-12)


def test_runaway_is_a_status_and_no_temperature():
    edge = 1.0 / (ALPHA * (0.62 + 2.1))
    out = steady_temperatures(edge * np.array([0.2, 0.7, 1.0, 30.0]), 2.0, resistance=FIVE_INCH, air_temperature=AIR)
    assert list(out.status) == [Status.OK] + [Status.NEVER_SETTLES] * 3
    assert np.array_equal(np.isnan(out.winding), [False, True, True, True])
    # 0.7 of the edge has a root, but at several hundred C: not told
    told = steady_temperatures(edge * 0.7, 2.0, resistance=FIVE_INCH, air_temperature=AIR, believable=5000.0)
    assert told.winding > 200.0 + CELSIUS_ZERO


def test_continuous_current_settles_at_the_limit():
    current = heat.continuous_current(0.07, 3.0, resistance=FIVE_INCH, air_temperature=AIR, winding_limit=LIMIT)
    out = steady_temperatures(current**2 * 0.07, 3.0, resistance=FIVE_INCH, air_temperature=AIR)
    assert out.winding == pytest.approx(LIMIT, rel=1e-12)
    hot = heat.continuous_current(0.07, 90.0, resistance=FIVE_INCH, air_temperature=AIR, winding_limit=LIMIT)
    assert np.isnan(hot)


@pytest.mark.parametrize("copper", [5.0, 40.0, 150.0])
@pytest.mark.parametrize(("winding", "body"), [(WARM, WARM), (AIR, AIR), (380.0, 300.0)])
def test_transient_is_the_stepped_one(copper, winding, body):
    end = 6.0
    expected, _ = integrate(copper, 4.0, FIVE_INCH, CAPACITY, winding, body, end)
    out = heat.temperatures_after(
        end,
        copper_loss=copper,
        iron_loss=4.0,
        resistance=FIVE_INCH,
        capacity=CAPACITY,
        air_temperature=AIR,
        winding=winding,
        body=body,
    )
    assert out == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("copper", [15.0, 25.0, 53.0, 150.0, 400.0])
@pytest.mark.parametrize(("winding", "body"), [(WARM, WARM), (AIR, AIR), (350.0, 320.0), (300.0, 390.0)])
def test_seconds_to_limit_is_the_stepped_one(copper, winding, body):
    _, crossed = integrate(copper, 6.0, FIVE_INCH, CAPACITY, winding, body, 3000.0 if copper < 100 else 30.0)
    out = seconds_to_limit(
        copper,
        6.0,
        resistance=FIVE_INCH,
        capacity=CAPACITY,
        air_temperature=AIR,
        winding_limit=LIMIT,
        winding=winding,
        body=body,
    )
    assert out == pytest.approx(crossed[0] if crossed.size else np.inf, rel=1e-6)


def test_seconds_to_limit_from_odd_starts():
    r = np.random.default_rng(2)
    count = 3000
    copper, iron = 10.0 ** r.uniform(-0.5, 2.3, count), 10.0 ** r.uniform(-1.0, 1.3, count)
    thermal = ThermalResistance(r.uniform(0.2, 1.5, count), r.uniform(1.0, 8.0, count))
    capacity = heat.capacities(r.uniform(0.01, 0.2, count))
    start = dict(winding=r.uniform(270.0, 400.0, count), body=r.uniform(270.0, 400.0, count))
    common = dict(resistance=thermal, capacity=capacity, air_temperature=AIR)
    seconds = seconds_to_limit(copper, iron, winding_limit=LIMIT, **common, **start)
    assert np.all(seconds >= 0.0)
    assert np.array_equal(seconds == 0.0, start["winding"] >= LIMIT)
    later = np.isfinite(seconds) & (seconds > 0.0)
    share = np.linspace(0.0, 0.9999, 200)[:, None]
    path, _ = heat.temperatures_after(
        share * np.where(later, seconds, 5000.0), copper_loss=copper, iron_loss=iron, **common, **start
    )
    below = start["winding"] < LIMIT
    assert np.all(path[:, below] < LIMIT + 1e-3)  # not before, and never where inf is told
    at, _ = heat.temperatures_after(
        np.where(later, seconds, 0.0), copper_loss=copper, iron_loss=iron, **common, **start
    )
    assert at[later] == pytest.approx(np.full(later.sum(), LIMIT), abs=1e-3)
    assert 100 < later.sum() < count - 100


def test_never_agrees_with_the_steady_state():
    copper = np.geomspace(1.0, 100.0, 200)
    steady = steady_temperatures(copper, 3.0, resistance=FIVE_INCH, air_temperature=AIR)
    seconds = seconds_to_limit(
        copper,
        3.0,
        resistance=FIVE_INCH,
        capacity=CAPACITY,
        air_temperature=AIR,
        winding_limit=LIMIT,
        winding=AIR,
        body=AIR,
    )
    assert np.array_equal(np.isinf(seconds), (steady.status == Status.OK) & (steady.winding <= LIMIT))
    assert np.all(np.diff(seconds[np.isfinite(seconds)]) < 0.0)


def test_a_short_burst_heats_the_winding_alone():
    # adiabatic: C dT = P t, for a burst so hard that nothing leaks out
    seconds = seconds_to_limit(
        1e6, 0.0, resistance=FIVE_INCH, capacity=CAPACITY, air_temperature=AIR, winding_limit=WARM + 0.01
    )
    power = 1e6 * (1.0 + ALPHA * 35.0)
    assert seconds == pytest.approx(CAPACITY.winding * 0.01 / power, rel=1e-3)


def test_scalar_equals_array_element():
    copper, iron = np.array([[3.0], [40.0]]), np.array([0.5, 5.0, 12.0])
    many = seconds_to_limit(
        copper, iron, resistance=FIVE_INCH, capacity=CAPACITY, air_temperature=AIR, winding_limit=LIMIT
    )
    steady = steady_temperatures(copper, iron, resistance=FIVE_INCH, air_temperature=AIR)
    assert many.shape == steady.winding.shape == (2, 3)
    for i, j in np.ndindex(2, 3):
        one = seconds_to_limit(
            copper[i, 0],
            iron[j],
            resistance=FIVE_INCH,
            capacity=CAPACITY,
            air_temperature=AIR,
            winding_limit=LIMIT,
        )
        assert isinstance(one, np.float64)
        assert many[i, j] == pytest.approx(one, rel=1e-9)
        single = steady_temperatures(copper[i, 0], iron[j], resistance=FIVE_INCH, air_temperature=AIR)
        assert steady.winding[i, j] == pytest.approx(single.winding, rel=1e-12, nan_ok=True)
        assert steady.status[i, j] == single.status


def test_cooling_of_a_motor():
    wash = np.array([0.0, 5.0, 10.0, 20.0])
    out = heat.resistances(stator_diameter=0.022, stator_height=0.007, wash_speed=wash, rev_per_s=0.0, air=HILL)
    assert np.all(np.diff(out.body_air) < 0.0)
    assert out.body_air[3] == pytest.approx(out.body_air[1] / 2.0, rel=1e-9)  # film goes with the root of the speed
    assert np.isfinite(out.body_air[0])  # still air cools a little
    spun = heat.resistances(stator_diameter=0.022, stator_height=0.007, wash_speed=5.0, rev_per_s=490.0, air=HILL)
    assert spun.body_air < out.body_air[1]
    big = heat.resistances(stator_diameter=0.031, stator_height=0.015, wash_speed=5.0, rev_per_s=0.0, air=HILL)
    assert big.body_air < out.body_air[1] and big.winding_body < out.winding_body


def test_hover_of_a_five_inch_craft_is_cool():
    # estimate of the trial model for such a craft: 13 to 18 K over the air in a hover
    thermal = heat.resistances(stator_diameter=0.022, stator_height=0.007, wash_speed=7.0, rev_per_s=190.0, air=HILL)
    out = steady_temperatures(1.2, 3.0, resistance=thermal, air_temperature=AIR)
    assert 10.0 < out.winding - AIR < 20.0


def test_session_heat_goes_with_the_square():
    assert heat.rms_current([3.0, 4.0], [0.5, 0.5]) == pytest.approx(np.sqrt(12.5))
    many = heat.rms_current(np.array([[3.0, 6.0], [4.0, 8.0]]), np.array([[0.5], [0.5]]))
    assert many == pytest.approx([np.sqrt(12.5), np.sqrt(50.0)])
    assert heat.rms_current([5.0, 30.0], [0.9, 0.1]) > 0.9 * 5.0 + 0.1 * 30.0
    with pytest.raises(ValueError, match=r"shares must add up to 1, got 0\.9"):
        heat.rms_current([5.0, 30.0], [0.5, 0.4])


def test_pack_rise():
    # energy: what a minute of I^2 R puts in, over m c
    rate = heat.pack_temperature_rate([50.0, 100.0], resistance=0.03, mass=0.21)
    assert rate * 60.0 * 0.21 * 1000.0 == pytest.approx([50.0**2 * 0.03 * 60.0, 100.0**2 * 0.03 * 60.0])


def test_wire_rise():
    current = np.array([0.0, 10.0, 20.0, 500.0])
    rise, status = heat.wire_rise(current, conductor_diameter=1.63e-3)
    assert rise[0] == 0.0
    assert 4.0 < rise[2] / rise[1] < 4.6  # the square, and warm copper
    assert np.isnan(rise[3]) and status[3] == Status.NEVER_SETTLES
    thick, _ = heat.wire_rise(20.0, conductor_diameter=2.05e-3)
    assert thick < rise[2]
    # heat in = heat out, per metre
    hot = (1.0 + ALPHA * rise[2]) * 20.0**2 / 58e6 / (np.pi * 1.63e-3**2 / 4.0)
    assert rise[2] * 25.0 * np.pi * 2.63e-3 == pytest.approx(hot, rel=1e-9)


def test_controller_rise():
    assert heat.controller_rise(3.0, board_area=0.002) == pytest.approx(25.0)


def test_verdict_when_the_load_is_innocent():
    # a light five-inch craft: a few watts a motor in hover and slow cruise
    out = hot_motor_verdict(3.0, 13.0)
    assert out.explained == "no"
    assert out.text.startswith("Turning the propeller makes only 3 W of heat in each motor")
    assert "cannot make it hot" in out.text
    assert out.causes == OTHER_CAUSES
    order = ["control loop", "filters", "bearing", "propeller or shaft", "screws", "winding", "swap"]
    for word, cause in zip(order, out.causes, strict=True):
        assert word in cause.lower()


def test_verdict_when_the_load_explains_it():
    hot = hot_motor_verdict(25.0, 70.0)
    assert hot.explained == "yes" and not hot.causes and "70 K over the air" in hot.text
    runaway = hot_motor_verdict(60.0, float("nan"))
    assert runaway.explained == "yes" and "until something fails" in runaway.text and "nan" not in runaway.text
    warm = hot_motor_verdict(9.0, 28.0)
    assert warm.explained == "partly" and warm.causes
    # the same rise on a winter's day and in a heat wave: a hand judges the bell, not the rise
    assert hot_motor_verdict(12.0, 40.0, air_temperature=278.15).explained == "partly"
    assert hot_motor_verdict(12.0, 40.0, air_temperature=308.15).explained == "yes"


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: ThermalResistance(0.0, 2.0), "winding_body must be > 0 K/W, got 0 K/W"),
        (lambda: HeatCapacity(1.0, np.nan), "body must be a finite number"),
        (lambda: heat.capacities(-0.03), "mass must be > 0 kg, got -0.03 kg"),
        (
            lambda: steady_temperatures(-1.0, 0.0, resistance=FIVE_INCH, air_temperature=AIR),
            "copper_loss must be between",
        ),
        (
            lambda: steady_temperatures(1.0, 0.0, resistance=FIVE_INCH, air_temperature=-5.0),
            "air_temperature must be > 0 K, got -5 K",
        ),
        (lambda: hot_motor_verdict(-2.0, 3.0), "heat_watts must be between"),
        (lambda: hot_motor_verdict(2.0, "hot"), "predicted_rise must be a number, got 'hot'"),
        (lambda: heat.wire_rise(3.0, conductor_diameter=0.0), "conductor_diameter must be > 0 m"),
    ],
)
def test_nonsense_is_refused_in_words(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_thermal_resistances_of_a_five_inch_motor():
    # by hand from the stated estimates: 0.30e-3 / (pi 0.022 0.007) = 0.62 K/W; hover and full of the trial model: 3.6
    # and 2.1 K/W, printed to two digits (estimates, no measurement behind them)
    size = dict(stator_diameter=0.022, stator_height=0.007, air=HILL)
    hover = heat.resistances(wash_speed=7.0, rev_per_s=190.0, **size)
    full = heat.resistances(wash_speed=20.0, rev_per_s=490.0, **size)
    assert hover.winding_body == pytest.approx(0.62, abs=0.005)
    assert (hover.body_air, full.body_air) == pytest.approx((3.6, 2.1), rel=0.05)
    # the turning bell alone, in still wash: 0.3 of the rim speed is the air speed
    spun = heat.resistances(wash_speed=0.0, rev_per_s=490.0, **size)
    blown = heat.resistances(wash_speed=0.3 * np.pi * 490.0 * 0.028, rev_per_s=0.0, **size)
    assert spun.body_air == pytest.approx(blown.body_air, rel=1e-12)
