"""Response: spin-up against an independent integration, slopes against differences, energies and plug-in figures."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from propmodel.base.status import Status
from propmodel.flight import spin_up
from propmodel.power_up import transients

FIVE_INCH = dict(
    inertia=5.4e-6,
    hover_rev_per_s=190.0,
    source_voltage=24.6,
    loop_resistance=0.34,
    torque_constant=0.0049,
    torque_coefficient=5.2e-7,
    iron_torque_slope=1.2e-5,
)


def stepped_time(share, full, *, max_current=np.inf, **p):
    """Independent: J domega/dt = K_t I - Q, stepped by scipy until the thrust (n^2) is there."""
    target = np.sqrt(share) * full

    def rate(_, y):
        n = y[0]
        current = min((p["source_voltage"] - 2 * np.pi * p["torque_constant"] * n) / p["loop_resistance"], max_current)
        torque = p["torque_constant"] * current - p["iron_torque_slope"] * n - p["torque_coefficient"] * n * n
        return [torque / (2 * np.pi * p["inertia"])]

    def there(_, y):
        return y[0] - target

    there.terminal = True
    out = solve_ivp(rate, (0.0, 10.0), [p["hover_rev_per_s"]], rtol=1e-9, atol=1e-9, events=there, max_step=1e-3)
    return out.t_events[0][0]


@pytest.mark.parametrize("change", [{}, {"inertia": 2e-4, "torque_coefficient": 3e-6}, {"iron_torque_slope": 0.0}])
def test_spin_up_is_the_stepped_one(change):
    p = FIVE_INCH | change
    out = spin_up.spin_up(**p, controller_lag=0.0)
    assert out.time_63 == pytest.approx(stepped_time(0.63, out.full_rev_per_s, **p), rel=1e-5)
    assert out.time_90 == pytest.approx(stepped_time(0.90, out.full_rev_per_s, **p), rel=1e-5)


@pytest.mark.parametrize("limit", [15.0, 27.0, 30.0, 60.0])
def test_spin_up_under_a_current_limit(limit):
    out = spin_up.spin_up(**FIVE_INCH, max_current=limit, controller_lag=0.0)
    free = spin_up.spin_up(**FIVE_INCH, controller_lag=0.0)
    assert out.time_90 == pytest.approx(
        stepped_time(0.90, out.full_rev_per_s, max_current=limit, **FIVE_INCH), rel=1e-5
    )
    assert out.full_rev_per_s <= free.full_rev_per_s
    assert spin_up.spin_up(**FIVE_INCH, max_current=1e6, controller_lag=0.0).time_90 == pytest.approx(
        free.time_90, rel=1e-12
    )


def test_full_speed_is_where_the_torques_meet():
    out = spin_up.spin_up(**FIVE_INCH)
    p = FIVE_INCH

    def net(n):
        current = (p["source_voltage"] - 2 * np.pi * p["torque_constant"] * n) / p["loop_resistance"]
        return p["torque_constant"] * current - p["iron_torque_slope"] * n - p["torque_coefficient"] * n * n

    assert out.full_rev_per_s == pytest.approx(brentq(net, 1.0, 2000.0), rel=1e-9)


@settings(max_examples=examples(50), deadline=None)
@given(scale=st.floats(0.1, 20.0), hover=st.floats(0.0, 380.0))
def test_time_goes_with_inertia(scale, hover):
    bare = FIVE_INCH | {"hover_rev_per_s": hover, "controller_lag": 0.0}
    base = spin_up.spin_up(**bare)
    heavy = spin_up.spin_up(**bare | {"inertia": scale * 5.4e-6})
    assert heavy.time_63 == pytest.approx(scale * base.time_63, rel=1e-9)
    assert base.time_63 <= base.time_90


def test_typical_spool_of_a_five_inch_craft():
    # common practice, from memory: about 0.08 s to full pull; the default delay of the dive says so
    assert 0.05 < spin_up.spin_up(**FIVE_INCH).time_90 < 0.13


def test_the_controller_lag_is_added_once_and_only_where_the_rotor_must_speed_up():
    p = FIVE_INCH | {"hover_rev_per_s": np.array([190.0, 450.0])}
    bare, late = spin_up.spin_up(**p, controller_lag=0.0), spin_up.spin_up(**p, controller_lag=0.02)
    # 450 /s is above 63 % of the full thrust already, and below 90 %
    assert late.time_63 - bare.time_63 == pytest.approx([0.02, 0.0], abs=1e-12)
    assert late.time_90 - bare.time_90 == pytest.approx([0.02, 0.02], abs=1e-12)


def test_time_constant_of_a_stepped_motor_behind_a_lag():
    # independent: a voltage that follows the command with a first-order lag, the linear rotor behind it; the mean
    # time of the step response (its first moment) is what a fitted first-order constant shows
    lag, tau = 0.015, 0.025
    t = np.linspace(0.0, 2.0, 400_001)
    left = (tau * np.exp(-t / tau) - lag * np.exp(-t / lag)) / (tau - lag)
    assert np.trapezoid(left, t) == pytest.approx(spin_up.rotor_time_constant(tau, controller_lag=lag), rel=1e-4)


def test_hover_above_the_target_and_above_full_speed():
    out = spin_up.spin_up(**FIVE_INCH | {"hover_rev_per_s": np.array([190.0, 450.0, 490.0, 600.0])})
    assert list(out.status) == [Status.OK] * 3 + [Status.CANNOT_HOVER]
    assert out.time_63[1] == 0.0 and out.time_90[1] > 0.0 and out.time_90[2] == 0.0
    assert np.isnan(out.time_63[3]) and np.isnan(out.time_90[3])


def test_scalar_equals_array_element():
    inertia, limit = np.array([[5e-6], [2e-5]]), np.array([15.0, 30.0, np.inf])
    many = spin_up.spin_up(**FIVE_INCH | {"inertia": inertia}, max_current=limit)
    assert many.time_90.shape == many.status.shape == many.full_rev_per_s.shape == (2, 3)
    for i, j in np.ndindex(2, 3):
        one = spin_up.spin_up(**FIVE_INCH | {"inertia": inertia[i, 0]}, max_current=limit[j])
        assert isinstance(one.time_90, np.float64)
        assert (many.time_63[i, j], many.time_90[i, j]) == pytest.approx((one.time_63, one.time_90), rel=1e-12)


def test_thrust_slope_is_the_difference():
    k_q, k_t, r, shared, kt, q, volts = 5.2e-7, 4.2e-5, 0.225, 0.12, 0.0049, 1.2e-5, 24.6

    def speed(duty):
        def gap(n):
            current = (k_q * n * n + q * n) / kt
            return 2 * np.pi * kt * n + (r + duty**2 * shared) * current - duty * volts

        return brentq(gap, 0.0, 2000.0, xtol=1e-12)

    duty, step = 0.27, 1e-5
    expected = k_t * (speed(duty + step) ** 2 - speed(duty - step) ** 2) / (2 * step)
    slope = spin_up.thrust_slope(
        rev_per_s=speed(duty),
        duty=duty,
        source_voltage=volts,
        motor_resistance=r,
        shared_resistance=shared,
        torque_constant=kt,
        torque_coefficient=k_q,
        thrust_coefficient=k_t,
        iron_torque_slope=q,
    )
    assert slope == pytest.approx(expected, rel=1e-6)


def test_time_constant_is_that_of_a_small_step():
    p = {name: value for name, value in FIVE_INCH.items() if name != "source_voltage"}
    n = p.pop("hover_rev_per_s")
    tau = spin_up.speed_time_constant(rev_per_s=n, **p)

    # voltage that holds n; start 0.1 % below and wait one time constant
    held = 2 * np.pi * p["torque_constant"] * n + p["loop_resistance"] / p["torque_constant"] * (
        p["torque_coefficient"] * n * n + p["iron_torque_slope"] * n
    )

    def rate(_, y):
        current = (held - 2 * np.pi * p["torque_constant"] * y[0]) / p["loop_resistance"]
        torque = p["torque_constant"] * current - p["iron_torque_slope"] * y[0] - p["torque_coefficient"] * y[0] ** 2
        return [torque / (2 * np.pi * p["inertia"])]

    out = solve_ivp(rate, (0.0, float(tau)), [0.999 * n], rtol=1e-10, atol=1e-12)
    assert (n - out.y[0, -1]) / (0.001 * n) == pytest.approx(np.exp(-1.0), rel=1e-3)


def test_rotor_inertia():
    # a uniform rod of mass m and length D: m D^2 / 12 (mechanics), whatever the blade count
    rod = spin_up.rotor_inertia(propeller_mass=0.012, propeller_diameter=0.25, blade_shape=1 / 3)
    assert rod == pytest.approx(0.012 * 0.25**2 / 12.0)
    tapered = spin_up.rotor_inertia(propeller_mass=0.012, propeller_diameter=0.25)
    assert tapered == pytest.approx(rod / 2.0)
    bell = spin_up.rotor_inertia(propeller_mass=0.012, propeller_diameter=0.25, motor_mass=0.05, can_diameter=0.034)
    assert 0.0 < bell - tapered < 0.05 * 0.017**2  # less than the whole mass at the rim


def test_rotor_energy_is_the_work_of_the_torque():
    # constant torque Q over the turns needed: work Q theta = J omega^2 / 2
    j, q = 5.4e-6, 0.02
    omega = q / j * 0.15
    assert transients.rotor_energy(j, omega / (2 * np.pi)) == pytest.approx(q * 0.5 * q / j * 0.15**2)


def test_bench_supply_that_rose_under_braking():
    # reported in the trade: 720 KV, 13 x 5.5 inch, hard braking on a 12 V bench supply: it rose to 27 to 34 V
    need = spin_up.braking_energy_for([27.0, 34.0], capacitance=1000e-6, bus_voltage=12.0)
    j = spin_up.rotor_inertia(propeller_mass=0.03, propeller_diameter=13 * 0.0254)
    energy = transients.rotor_energy(j, 720.0 * 12.0 * 0.7 / 60.0)
    assert np.all(need < 0.03 * energy)  # a few per cent of what one rotor holds is enough
    back = transients.braking_voltage(12.0, capacitance=1000e-6, energy=need, returned=1.0)
    assert back == pytest.approx([27.0, 34.0])
    assert spin_up.braking_energy_for(10.0, capacitance=1e-3, bus_voltage=12.0) < 0.0


def test_worked_figures_of_the_trade():
    # blocked propeller: about 100 A at 16 V through 0.15 ohm (the arithmetic gives 107)
    assert spin_up.stall_current(16.0, 0.15) == pytest.approx(100.0, rel=0.08)
    assert spin_up.stall_current(16.0, 0.15, duty=0.5) == pytest.approx(0.5 * spin_up.stall_current(16.0, 0.15))
    # plug-in: 1000 uF at 25.2 V holds 0.32 J
    assert transients.capacitor_energy(25.2, 1000e-6) == pytest.approx(0.32, abs=0.005)
    # 2450 KV on six full cells: no-load 61.7k rpm, 7 pole pairs
    assert 60.0 * spin_up.electrical_rev_per_s(2450 * 25.2 / 60.0, 7) == pytest.approx(61.7e3 * 7, rel=1e-3)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: spin_up.spin_up(**FIVE_INCH | {"inertia": 0.0}), "inertia must be > 0 kg m2, got 0 kg m2"),
        (lambda: spin_up.spin_up(**FIVE_INCH | {"hover_rev_per_s": -1.0}), "hover_rev_per_s must be between"),
        (lambda: spin_up.spin_up(**FIVE_INCH, max_current=0.0), "max_current must be > 0 A, got 0 A"),
        (lambda: spin_up.spin_up(**FIVE_INCH, max_current=np.nan), "max_current must be a finite number"),
        (lambda: spin_up.stall_current(16.0, 0.0), "resistance must be > 0 ohm, got 0 ohm"),
        (lambda: spin_up.stall_current(16.0, 0.1, duty=2.0), "duty must be between 0 and 1"),
        (lambda: spin_up.electrical_rev_per_s(500.0, 0), "pole_pairs must be > 0, got 0"),
    ],
)
def test_nonsense_is_refused_in_words(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_inertia_agrees_with_the_parts():
    # the same estimate stands in the propeller and motor modules: they must not drift apart
    from propmodel.components import motor, propeller

    part = motor.from_stator(0.022, 0.007, 1950)
    blade = propeller.Propeller(0.13, 0.11, 3)
    together = spin_up.rotor_inertia(
        propeller_mass=propeller.mass(blade),
        propeller_diameter=0.13,
        motor_mass=motor.motor_mass(part),
        can_diameter=motor.can_size(part)[0],
    )
    assert together == pytest.approx(propeller.inertia(blade) + motor.bell_inertia(part), rel=1e-9)
