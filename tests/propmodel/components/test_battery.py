"""The pack: books, knots, temperature and age, and what it refuses."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from propmodel.base.status import Status
from propmodel.components import battery
from propmodel.components.battery import (
    CHEMISTRIES,
    Pack,
    discharge,
    open_circuit_voltage,
    resistance,
    terminal_voltage,
)

SIX = Pack("lipo", 6, 1.3, cell_resistance=6e-3, lead_resistance=3e-3, mass=0.21)


@given(
    st.sampled_from(sorted(CHEMISTRIES)),
    st.integers(1, 12),
    st.floats(0.2, 20.0),
    st.floats(0.2, 12.0),
    st.floats(0.1, 1.0),
    st.floats(0.0, 0.6),
    st.floats(255.0, 320.0),
)
def test_books_of_a_discharge_close(chemistry, cells, amp_hours, rate, charge, reserve, temperature):
    pack = Pack(chemistry, cells, amp_hours, temperature=temperature)
    power = rate * amp_hours * cells * 3.7
    run = discharge(pack, power, state_of_charge=charge, reserve=reserve)
    assert run.stored_energy == pytest.approx(run.energy + run.loss, rel=1e-9, abs=1e-9)
    assert run.energy == pytest.approx(power * run.time, rel=1e-9, abs=1e-9)
    held = amp_hours * CHEMISTRIES[chemistry].usable_share
    assert run.charge == pytest.approx((charge - run.end_state_of_charge) * held, rel=1e-9, abs=1e-12)
    assert run.end_state_of_charge >= min(reserve, charge) - 1e-12
    assert np.all(np.diff(run.curve_time, axis=0) >= 0.0)
    if run.status == Status.BELOW_CUTOFF_AT_ONCE:
        assert run.time == 0.0


def test_discharge_time_against_an_independent_integration():
    # scipy: dt = -Q dSoC / I(SoC), I from the quadratic of the loaded cell; the same tables, another quadrature
    power, cut = 180.0, 3.5

    def state(charge):
        e, r = float(open_circuit_voltage(SIX, charge)), float(resistance(SIX, charge, sustained=True))
        volts = 0.5 * (e + np.sqrt(e * e - 4.0 * r * power))
        return volts, power / volts

    end = brentq(lambda s: state(s)[0] - 6 * cut, 0.05, 0.95)
    hours = quad(lambda s: 1.3 * 0.94 / state(s)[1], end, 1.0, points=list(np.arange(0.05, 1.0, 0.05)), limit=400)[0]
    run = discharge(SIX, power, cutoff_voltage_per_cell=cut)
    assert run.end_state_of_charge == pytest.approx(end, abs=1e-3)
    assert run.time == pytest.approx(3600.0 * hours, rel=2e-3)
    assert run.end_voltage == pytest.approx(6 * cut, rel=1e-3)
    assert run.stopped_by_voltage


def test_the_first_crossing_of_the_cut_off_ends_the_run():
    # resistance rises towards full: a load may be under the cut-off at full charge and above it a little later
    weak = Pack("li_ion", 6, 3.0, temperature=263.15)
    most = open_circuit_voltage(weak, 1.0) ** 2 / 4.0 / resistance(weak, 1.0, sustained=True)
    run = discharge(weak, 0.999 * most, cutoff_voltage_per_cell=2.5)
    assert run.status == Status.BELOW_CUTOFF_AT_ONCE and run.time == 0.0 and run.end_state_of_charge == 1.0


def test_terminal_voltage_solves_the_loaded_cell():
    e, r, p = 25.0, 0.05, 1000.0
    v = float(terminal_voltage(e, r, p))
    assert p / v * r + v == pytest.approx(e, rel=1e-12)
    # beyond E^2/4R the power is not to be had: half of the rest voltage stands
    assert terminal_voltage(e, r, e * e / 4 / r * 1.01) == 12.5


def test_resistance_adds_up():
    # 6 cells of 6 mohm at half charge and 25 C (relative resistance 1 there) in two strings, leads once
    two = Pack("lipo", 6, 1.3, cell_resistance=6e-3, lead_resistance=3e-3, parallel=2)
    assert resistance(two, 0.5) == pytest.approx(6 * 6e-3 / 2 + 3e-3, rel=0.02)
    ratio = (resistance(two, 0.5, sustained=True) - 3e-3) / (resistance(two, 0.5) - 3e-3)
    assert ratio == pytest.approx(1.8, rel=1e-12)


def test_cold_and_age_make_it_stiffer_and_smaller():
    from dataclasses import replace

    cold, old = replace(SIX, temperature=268.15), replace(SIX, cycles=150.0)
    assert resistance(cold, 0.5) > 2.5 * resistance(SIX, 0.5)
    assert resistance(old, 0.5) > resistance(SIX, 0.5)
    assert battery.capacity(old) < battery.capacity(SIX)
    runs = [discharge(p, 150.0).time for p in (SIX, cold, old)]
    assert runs[1] < runs[0] and runs[2] < runs[0]


def test_rest_voltage_is_held_outside_the_table_and_rises_with_charge():
    for name in CHEMISTRIES:
        volts = open_circuit_voltage(Pack(name, 1, 1.0), np.linspace(0.0, 1.0, 201))
        assert np.all(np.diff(volts) > 0.0), name
        assert volts[-1] == pytest.approx(CHEMISTRIES[name].full_voltage, abs=0.011)
    assert open_circuit_voltage(SIX, 1.7) == open_circuit_voltage(SIX, 1.0)
    assert open_circuit_voltage(SIX, -0.2) == open_circuit_voltage(SIX, 0.0)


def test_names_and_positions_of_chemistries_agree():
    names = list(CHEMISTRIES)
    by_name = Pack(np.array(names), 4, 2.0)
    by_position = Pack(np.arange(len(names)), 4, 2.0)
    np.testing.assert_array_equal(battery.mass(by_name), battery.mass(by_position))
    np.testing.assert_array_equal(open_circuit_voltage(by_name, 0.3), open_circuit_voltage(by_position, 0.3))


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"chemistry": "lead"}, r"chemistry 'lead' is not known; nearest: .*lipo"),
        ({"cells": 0}, r"cells must be between 1 and 30, got 0"),
        ({"capacity_ah": -1.3}, r"capacity_ah must be > 0 A h, got -1.3 A h"),
        ({"capacity_ah": "big"}, r"capacity_ah must be a number, got 'big'"),
        ({"cell_resistance": 0.0}, r"cell_resistance must be > 0 ohm, got 0 ohm"),
        ({"temperature": 20.0}, r"pack temperature must be between 223.15 and 353.15 K, got 20 K"),
        ({"reserve": 1.0}, r"reserve must be between 0 and 0.95, got 1"),
        ({"cutoff_voltage_per_cell": 25.0}, r"cutoff_voltage_per_cell must be between 2 and 4.4 V, got 25 V"),
        ({"cycles": [0.0, np.nan]}, r"cycles must be a finite number, got nan \(1 of 2 values, first at index 1\)"),
        ({"max_burst_current": -5.0}, r"max_burst_current must be > 0 A, got -5"),
        ({"label_c": 1300.0}, r"label_c must be between 0.5 and 500 1/h, got 1,?300"),
        ({"usable_share": 94.0}, r"usable_share must be between 0.1 and 6.5, got 94"),
    ],
)
def test_nonsense_is_refused_in_one_sentence(changes, message):
    fields = {"chemistry": "lipo", "cells": 6, "capacity_ah": 1.3} | changes
    with pytest.raises(ValueError, match=message):
        Pack(**fields)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"power": 0.0}, "power must be > 0 W, got 0 W"),
        ({"state_of_charge": 1.2}, "state_of_charge must be between 0 and 1, got 1.2"),
        ({"reserve": -0.1}, "reserve must be between 0 and 1, got -0.1"),
        ({"cutoff_voltage_per_cell": 9.0}, "cutoff_voltage_per_cell must be between 0.5 and 5 V, got 9 V"),
        ({"temperature": 5.0}, "pack temperature must be between 223.15 and 353.15 K, got 5 K"),
    ],
)
def test_nonsense_runs_are_refused(changes, message):
    with pytest.raises(ValueError, match=message):
        discharge(SIX, **({"power": 100.0} | changes))


# ---- what a label tells of the resistance -------------------------------------------------------------------


def test_a_higher_label_means_less_resistance_and_unknown_a_racing_pack():
    label = np.array([20.0, 30.0, 65.0, 75.0, 100.0, 120.0, 150.0, 300.0])
    ohms = battery.cell_resistance_new(Pack("lipo", 6, 1.3, label_c=label))
    assert ohms[0] == ohms[1] and ohms[-1] == ohms[-2]  # held outside 30 to 150
    assert np.all(np.diff(ohms[1:-1]) < 0.0)
    unknown = battery.cell_resistance_new(Pack("lipo", 6, 1.3))
    assert unknown == pytest.approx(ohms[5], rel=1e-12)
    # twice the rating does not mean half the resistance, nor the same
    assert ohms[2] / ohms[5] == pytest.approx(np.sqrt(120.0 / 65.0), rel=1e-12)
    # small cells have less for their capacity, and never less in all
    small, large = (battery.cell_resistance_new(Pack("lipo", 6, q, label_c=75)) for q in (0.5, 5.0))
    assert small * 0.5 < large * 5.0 and small > large


def test_amps_on_the_label_are_a_c_rating_too():
    by_amps = Pack("lipo", 6, 1.5, parallel=2, max_continuous_current=300.0)
    assert battery.label_c(by_amps) == pytest.approx(100.0)
    assert resistance(by_amps) == pytest.approx(float(resistance(Pack("lipo", 6, 1.5, parallel=2, label_c=100.0))))
    # "no limit stated" in a table of packs is no rating; Li-ion labels do not enter
    assert battery.label_c(Pack("lipo", 6, 1.5, max_continuous_current=1e9)) == battery.label_c(Pack("lipo", 6, 1.5))
    assert resistance(Pack("li_ion", 6, 4.0, label_c=8.75)) == resistance(Pack("li_ion", 6, 4.0))


def test_a_reading_replaces_what_the_label_says():
    read = Pack("lipo", 6, 1.3, label_c=75, cell_resistance=8e-3, lead_resistance=0.0)
    assert resistance(read, 0.5) == pytest.approx(6 * 8e-3, rel=1e-12)


@pytest.mark.parametrize("chemistry", sorted(CHEMISTRIES))
def test_resistance_rises_with_time_under_load(chemistry):
    pack = Pack(chemistry, 6, 1.3, temperature=np.array([[268.15], [298.15], [313.15]]))
    time = np.array([0.05, 0.1, 0.3, 1.0, 3.0, 10.0, 60.0, 300.0, 2000.0])
    ohms = resistance(pack, 0.6, seconds=time)
    assert ohms.shape == (3, 9)
    assert np.all(np.diff(ohms[:, 1:-1], axis=1) > 0.0)
    np.testing.assert_allclose(ohms[:, 0], ohms[:, 1])
    np.testing.assert_allclose(ohms[:, -1], ohms[:, -2])
    np.testing.assert_allclose(ohms[:, 5], resistance(pack, 0.6)[:, 0], rtol=1e-12)
    np.testing.assert_allclose(ohms[:, 7], resistance(pack, 0.6, sustained=True)[:, 0], rtol=1e-12)


def test_without_a_rate_all_stands_at_five_c_and_the_rate_counts_in_the_cold():
    for temperature in (263.15, 298.15):
        pack = Pack("lipo", 6, 1.3, temperature=temperature)
        at = resistance(pack, [[0.2], [0.8]], rate=np.array([0.0, 0.1, 1.0, 5.0, 10.0, 80.0]))
        np.testing.assert_allclose(at[:, 3], resistance(pack, [0.2, 0.8]), rtol=1e-12)
        assert np.all(np.diff(at[:, 1:5], axis=1) < 0.0)
        np.testing.assert_allclose(at[:, [0, 5]], at[:, [1, 4]])  # held outside 0.1 to 10C
        fall = at[0, 4] / at[0, 3]
        assert fall > 0.95 if temperature > 280.0 else fall < 0.80


def test_a_time_under_load_of_nothing_is_refused():
    with pytest.raises(ValueError, match="seconds must be > 0 s, got 0 s"):
        resistance(SIX, 0.5, seconds=0.0)


def test_believable_rate_pulls_a_half_full_cell_down_to_its_floor():
    pack = Pack("lipo", 6, 1.3, label_c=100)
    amps = battery.believable_rate(pack) * 1.3
    assert open_circuit_voltage(pack, 0.5) - amps * resistance(pack, 0.5) == pytest.approx(6 * 3.0, rel=1e-12)
    slow = battery.believable_rate(pack, sustained=True) * 1.3
    left = open_circuit_voltage(pack, 0.5) - slow * resistance(pack, 0.5, sustained=True)
    assert left == pytest.approx(6 * 3.3, rel=1e-12)
    assert battery.believable_rate(Pack("lipo", 6, 1.3, temperature=268.15)) < battery.believable_rate(pack)


def test_a_measured_share_of_the_label_replaces_the_usual_one():
    assert battery.capacity(Pack("lipo", 6, 2.0)) == pytest.approx(1.88)
    assert battery.capacity(Pack("lipo", 6, 2.0, usable_share=0.85, parallel=2, cycles=100)) == pytest.approx(
        3.4 * 0.92
    )
