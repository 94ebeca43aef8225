"""The pack against cells that were modelled and published elsewhere.

All cell figures were computed with PyBaMM 26.10.1.1 (an open electrochemical solver) from parameter sets of
published cells: Ecker et al., J. Electrochem. Soc. 162 (2015) A1836, A1849 (7.5 Ah NMC pouch, here ``lipo_nmc``);
Ai et al., J. Electrochem. Soc. 167 (2020) 013512 (2.28 Ah LCO pouch, here ``lipo_lco``); Chen et al.,
J. Electrochem. Soc. 167 (2020) 080534 (5 Ah cylindrical, here ``li_ion``). The sets' authors call them fits.

Rest voltages and pulse resistances are what ``data/packs/cells.csv`` was made from: those tests show that it is carried
over rightly, no more. Loads at constant power, in the cold and at high rates are not in it: those judge the model.

``lipo`` is a measured pouch of 5 A h with 65C on its label: P. Kollmeyer, M. Skells, McMaster University, Mendeley Data
4fx8cjprxm v1 (2020), 10-second pulses of 1 to 10 C at -10 to 40 C, as stored in github.com/Ikmalrl/fyp. Its pulses of
0 to 40 C were fitted, so the test with all of them shows that the fit is carried over; those of -10 C were not, and
the fit with one rate or one temperature left out is tested from the raw set.
"""

import csv
import importlib.util
import math

import numpy as np
import pytest

from propmodel.base.tables import data_path
from propmodel.components.battery import Pack, capacity, discharge, open_circuit_voltage, resistance
from propmodel.studies.spread import pack_resistance_sd

TENTHS = np.linspace(0.0, 1.0, 11)
ECKER_RESISTANCE_CAPACITY = 40.3e-3  # ohm Ah, 10-s pulse at 1C, half charge, 25 C: same solver and set


def one_cell(chemistry="lipo_nmc", capacity=7.5, **changes):
    fields = {
        "cells": 1,
        "capacity_ah": capacity,
        "cell_resistance": ECKER_RESISTANCE_CAPACITY / capacity,
        "lead_resistance": 0.0,
        "reserve": 0.0,
        "usable_share": 1.0,  # the set's own capacity, no label
    }
    return Pack(chemistry=chemistry, **(fields | changes))


# Rest voltage at charge 0, 0.1 ... 1 of each set's own limits. [V]
REST_VOLTAGE = {
    "lipo_lco": [3.000, 3.640, 3.695, 3.733, 3.762, 3.793, 3.836, 3.909, 3.994, 4.088, 4.200],
    "lipo_nmc": [2.500, 3.459, 3.587, 3.709, 3.770, 3.787, 3.815, 3.882, 3.987, 4.079, 4.200],
}


@pytest.mark.parametrize("chemistry", REST_VOLTAGE)
def test_rest_voltage_at_tenths_of_charge(chemistry):
    got = open_circuit_voltage(one_cell(chemistry), TENTHS)
    np.testing.assert_allclose(got, REST_VOLTAGE[chemistry], rtol=0, atol=0.005)


@pytest.mark.parametrize(
    ("chemistry", "file_name"),
    [("lipo_nmc", "ocv_Ecker2015.csv"), ("lipo_lco", "ocv_Ai2020.csv"), ("li_ion", "ocv_Chen2020.csv")],
)
def test_rest_voltage_at_every_point_of_the_set(shared_data, chemistry, file_name):
    # Same solver, 5 % steps.
    with (shared_data / "battery" / file_name).open(newline="") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    charge = np.array([float(row["soc"]) for row in rows])
    volts = np.array([float(row["ocv_V"]) for row in rows])
    assert len(charge) >= 21
    got = open_circuit_voltage(one_cell(chemistry), charge)
    np.testing.assert_allclose(got, volts, rtol=0, atol=0.005)


def usable_part(pack):
    """Charge from 3.00 V of rest voltage up to full, finely."""
    charge = np.linspace(0.0, 1.0, 20001)
    volts = open_circuit_voltage(pack, charge)
    inside = charge >= charge[np.argmax(volts >= 3.0)]
    return charge[inside], volts[inside]


# Mean rest voltage of a full charge between 3.0 and 4.2 V. [V] The cell table has 5 % steps and the curve is
# steep and bent in the last one, so the charge at which a cell falls through 3.0 V is known to about 1.5 %:
# 0.3 % in this mean (measured here: +10, 0 and +6 mV).
@pytest.mark.parametrize(("chemistry", "mean"), [("lipo_nmc", 3.781), ("lipo_lco", 3.816), ("li_ion", 3.753)])
def test_mean_rest_voltage(chemistry, mean):
    charge, volts = usable_part(one_cell(chemistry))
    assert np.trapezoid(volts, charge) / np.ptp(charge) == pytest.approx(mean, rel=0.003)


# Charge, as a share of 3.0 to 4.2 V, at the rest voltages between which pouch packs are stored.
@pytest.mark.parametrize(("chemistry", "at_3v80", "at_3v85"), [("lipo_nmc", 0.549, 0.655), ("lipo_lco", 0.519, 0.622)])
def test_charge_in_the_storage_band(chemistry, at_3v80, at_3v85):
    charge, volts = usable_part(one_cell(chemistry))
    share = (charge - charge[0]) / np.ptp(charge)
    np.testing.assert_allclose(np.interp([3.80, 3.85], volts, share), [at_3v80, at_3v85], rtol=0, atol=0.02)


# 10-s resistance of the Ecker2015 cell against temperature, over its value at 25 C. The pack model is one
# activation energy (35 kJ/mol), which the set's several processes are not (31 at -10 C, 37 at 10 C): 10 %
# from 0 to 40 C; 25 % at -10 C, where the model is on the pessimistic side.
@pytest.mark.parametrize(
    ("celsius", "ratio", "tolerance"),
    [(40, 0.48, 0.10), (20, 1.30, 0.10), (10, 2.23, 0.10), (0, 3.61, 0.10), (-10, 5.29, 0.25)],
)
def test_resistance_against_temperature(celsius, ratio, tolerance):
    warm = resistance(one_cell(), 0.5)
    got = resistance(one_cell(temperature=celsius + 273.15), 0.5) / warm
    assert got == pytest.approx(ratio, rel=tolerance)


# 10-s resistance of the same cell against charge at 25 C. [mohm Ah]
@pytest.mark.parametrize(
    ("charge", "value"), [(0.1, 57.7), (0.2, 48.6), (0.4, 41.6), (0.6, 40.0), (0.8, 41.6), (0.9, 44.0)]
)
def test_resistance_against_charge(charge, value):
    assert 1e3 * 7.5 * resistance(one_cell(), charge) == pytest.approx(value, rel=0.05)


def test_minutes_of_load_show_more_resistance_than_ten_seconds():
    # (OCV - V)/I at half discharge of the same cell at 1C, 2C, 5C: 82, 75, 65 mohm Ah, 1.6 to 2 times 40.3.
    got = 1e3 * 7.5 * resistance(one_cell(), 0.5, sustained=True)
    assert 65 * 0.9 <= got <= 82 * 1.1


# Constant-power runs of the same cell at 25 C, P = C x 7.5 Ah x 3.7 V, from full to the loaded cut-off. The
# solver's time [s]; the target for a rest-voltage-and-resistance model is 10 %.
CONSTANT_POWER = {
    3.3: [3359.8, 1576.7, 959.4, 652.3, 466.1],
    3.0: [3498.7, 1687.5, 1060.0, 736.0, 540.3],
}


@pytest.mark.parametrize("cutoff", CONSTANT_POWER)
def test_time_at_constant_power(cutoff):
    rate = np.arange(1, 6)
    run = discharge(one_cell(), rate * 7.5 * 3.7, cutoff_voltage_per_cell=cutoff, temperature=298.15)
    np.testing.assert_allclose(run.time, CONSTANT_POWER[cutoff], rtol=0.10)
    # Energy fraction printed for the same runs is P t / (Q x 3.7 V): the books of the run must say the same.
    np.testing.assert_allclose(run.energy, rate * 7.5 * 3.7 * run.time, rtol=1e-9)


def test_storage_energy_is_more_than_the_label_says():
    # Mean 3.78 V against the nominal 3.7 V: the pouch cell holds 2 to 3 % more than capacity x 3.7 V.
    charge, volts = usable_part(one_cell())
    held = np.trapezoid(volts, charge) / np.ptp(charge)
    assert 1.02 <= held / 3.7 <= 1.03


# ---- the measured pouch -----------------------------------------------------------------------------------


def pouch(celsius=25.0, **changes):
    fields = {"label_c": 65, "temperature": np.asarray(celsius) + 273.15, "lead_resistance": 0.0}
    return Pack("lipo", 1, 5.0, **(fields | changes))


# Rows of the pulse table: cell temperature [C], charge taken out [A h], current [A], rest voltage and voltage at the
# end of ten seconds [V].
PULSES = [
    (38.49, 1.0014, 49.999, 4.0048, 3.8672),
    (38.28, 2.5003, 9.999, 3.8160, 3.7906),
    (23.87, 0.5014, 49.999, 4.1035, 3.8816),
    (23.77, 2.5014, 49.999, 3.8163, 3.5972),
    (23.77, 4.0003, 9.999, 3.6936, 3.6383),
    (9.36, 1.0015, 49.999, 3.9898, 3.5884),
    (9.36, 2.5000, 9.999, 3.8136, 3.7112),
    (-0.53, 1.0014, 50.000, 3.9815, 3.3924),
    (-0.64, 2.5000, 10.000, 3.8116, 3.6267),
    (-10.07, 2.5004, 15.000, 3.8051, 3.3403),
]


def ends(rows, pack):
    """Voltages at the end of the pulses as the model has them, asked as the docstring of `Pack` says."""
    _, taken, amps, _, _ = rows
    charge = 1.0 - taken / capacity(pack)
    return open_circuit_voltage(pack, charge) - amps * resistance(pack, charge, rate=amps / 5.0)


def test_voltage_at_the_end_of_ten_second_pulses():
    rows = np.array(PULSES).T
    off = ends(rows, pouch(rows[0])) - rows[4]
    # 5C pulses of this pouch, not to be had here, are wanted within 60 mV; these are 1, 2, 3 and 10C
    assert np.median(np.abs(off)) < 0.030
    assert np.all(np.abs(off) < 0.080)


def test_the_band_of_a_label_holds_the_pouch():
    # One default for all labels (7 mohm A h) did not: the pouch has 22.
    rows = np.array([row for row in PULSES if row[0] > -5.0]).T
    measured = (rows[3] - rows[4]) / rows[2]
    pack = pouch(rows[0])
    wide = math.exp(1.2816 * pack_resistance_sd(pack))  # eight in ten
    got = resistance(pack, 1.0 - rows[1] / capacity(pack))
    assert np.all((got / wide < measured) & (measured < got * wide))


def test_resistance_by_time_under_load():
    # Medians at 25 C and 2C of the same table: 2.213, 2.972, 4.412 mohm after 0.1, 1 and 10 s.
    got = 1e3 * resistance(pouch(23.8), 0.575, seconds=[0.1, 1.0, 10.0])
    np.testing.assert_allclose(got, [2.213, 2.972, 4.412], rtol=0.12)


def test_in_the_cold_a_high_rate_shows_less_resistance():
    # Medians at 0 C: 17.56 mohm at 2C, 12.61 at 10C; at 25 C 4.41 and 4.27.
    cold, warm = (resistance(pouch(t), 0.575, rate=[2.0, 10.0]) for t in (-0.6, 23.8))
    assert cold[1] / cold[0] == pytest.approx(12.61 / 17.56, rel=0.08)
    assert warm[1] / warm[0] == pytest.approx(4.27 / 4.41, rel=0.03)


# Rest voltage at 25 C, by charge over the measured 4.71 A h. [V]
REST_OF_POUCH = {0.044: 3.5316, 0.097: 3.6808, 0.15: 3.6932, 0.256: 3.7383, 0.469: 3.816, 0.681: 3.9163, 0.894: 4.1035}


def test_rest_voltage_of_the_pouch():
    charge, volts = np.array(list(REST_OF_POUCH.items())).T
    got = open_circuit_voltage(pouch(), charge)
    np.testing.assert_allclose(got[1:], volts[1:], rtol=0, atol=0.012)
    # below the last 5 % knot the curve is bent and the table straight
    assert got[0] == pytest.approx(volts[0], abs=0.05)


def test_usable_charge_of_the_pouch():
    # 4.71 A h of the 5.00 on the label, between the cycler's limits at 25 C.
    assert float(capacity(pouch())) == pytest.approx(4.71, rel=0.01)


def test_racing_packs_lie_between_seven_and_twelve():
    # What thrust-to-weight ratios of published racing craft ask for: 7 to 12 mohm A h at 100C and more; not 22.
    got = [1e3 * 1.3 * float(resistance(Pack("lipo", 1, 1.3, label_c=c, lead_resistance=0.0), 0.5)) for c in (100, 150)]
    assert 7.0 <= got[1] < got[0] <= 12.0


@pytest.fixture
def pulse_fit(shared_data):
    spec = importlib.util.spec_from_file_location("fit_pulses", data_path("packs", "fit_pulses.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module, module.pulses(shared_data / "flight")


def test_all_pulses_of_the_pouch(pulse_fit):
    _, table = pulse_fit
    table = table[(table["temp_set_C"] > -5.0) & (table["charge"] > 0.0)]
    assert len(table) > 130
    rows = table[["cell_temp_C", "charge_removed_Ah", "current_A", "rest_voltage_V", "V_end_V"]].to_numpy().T
    off = np.abs(ends(rows, pouch(rows[0])) - rows[4])
    for celsius in (0.0, 10.0, 25.0, 40.0):
        assert np.median(off[table["temp_set_C"] == celsius]) < 0.025
    # asked without the rate all stands at 5C: still inside what is wanted at that rate
    charge = 1.0 - rows[1] / 4.7
    plain = open_circuit_voltage(pouch(), charge) - rows[2] * resistance(pouch(rows[0]), charge)
    assert np.median(np.abs(plain - rows[4])) < 0.020


@pytest.mark.parametrize(("column", "value"), [("C_rate_of_5Ah", 2.0), ("temp_set_C", 10.0), ("temp_set_C", 25.0)])
def test_pulses_left_out_of_the_fit(pulse_fit, column, value):
    # inside the measured rates and temperatures, as the 5C pulses that are wanted within 60 mV; scaled to 5C
    fits, table = pulse_fit
    seen = fits.fitted(table)
    out = (seen[column] - value).abs() < 0.3
    assert out.sum() > 30
    of = fits.fit(seen[~out], 10.0)
    off = np.abs(np.log(fits.predicted(of, seen[out]) / (1e-3 * seen.loc[out, "R_10s_mohm"])))
    assert np.median(off) < 0.10


def test_the_committed_law_is_the_fit(pulse_fit):
    fits, table = pulse_fit
    of = fits.fit(fits.fitted(table), 10.0)
    assert of.resistance_capacity == pytest.approx(22.4e-3, rel=1e-3)
    got = float(resistance(pouch(10.0), 0.5)) * 5.0 / of.resistance_capacity
    cold = math.exp(of.energy / 8.314462618 * (1 / 283.15 - 1 / 298.15))
    bend = [math.asinh(x) / x for x in (cold * 5.0 * 22.4e-3 / of.scale, 5.0 * 22.4e-3 / of.scale)]
    assert got == pytest.approx(cold * bend[0] / bend[1], rel=2e-3)
