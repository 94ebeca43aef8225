"""The pack: books, knots, temperature and age, and what it refuses."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from propmodel import battery
from propmodel.battery import CHEMISTRIES, Pack, discharge, open_circuit_voltage, resistance, terminal_voltage
from propmodel.status import Status

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
        ({"max_burst_current": -5.0}, r"max_burst_current must be > 0, got -5"),
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
