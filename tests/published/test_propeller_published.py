"""Propeller forecast and measured propellers against published wind-tunnel rows.

Source of the rows: UIUC Propeller Data Site, volume 1 (Brandt, Deters, Ananda, Dantsker, Selig; method: Brandt and
Selig, AIAA 2011-1255), two two-blade propellers of wide chord, 10x4.7 (chord ratio 0.197) and 11x4.7 (0.199), static
and advancing. Printed to 4 digits. The definitions are those of Deters, Kleinke and Selig, AIAA 2017-3743.
"""

import importlib.util
import sys

import numpy as np
import pandas as pd
import pytest

from propmodel.components import momentum, propeller
from propmodel.components.air import STANDARD
from propmodel.components.propeller import Propeller, coefficients, prepare

INCH = 0.0254
NAMES = {10: "m062", 11: "m065"}
"""Numbers of the two propellers of the tables below (data/propellers/source_keys.csv)."""
CHORD = {10: 0.197, 11: 0.199}
# diameter in inch, rpm, C_T, C_P
STATIC = [
    (10, 2377, 0.1059, 0.0431),
    (10, 4590, 0.1200, 0.0484),
    (10, 6528, 0.1299, 0.0531),
    (11, 1666, 0.0986, 0.0392),
    (11, 3994, 0.1128, 0.0432),
    (11, 6021, 0.1259, 0.0493),
]
# diameter in inch, rpm, J, C_T, C_P, eta
ADVANCING = [
    (10, 6512, 0.089, 0.1201, 0.0523, 0.204),
    (10, 6512, 0.199, 0.1019, 0.0493, 0.410),
    (10, 6512, 0.308, 0.0833, 0.0454, 0.566),
    (10, 6512, 0.445, 0.0562, 0.0381, 0.657),
    (11, 6006, 0.087, 0.1151, 0.0482, 0.209),
    (11, 6006, 0.218, 0.0921, 0.0440, 0.456),
    (11, 6006, 0.330, 0.0723, 0.0399, 0.598),
    (11, 6006, 0.416, 0.0545, 0.0350, 0.647),
]


def own(inch):
    return propeller.measured(NAMES[inch])


@pytest.mark.parametrize(("inch", "rpm", "c_t", "c_p"), STATIC)
def test_own_fit_follows_the_static_rows(inch, rpm, c_t, c_p):
    # One straight line in ln Re through 2 to 4 runs of the source, which differ among themselves by up to 5 %.
    ours = coefficients(own(inch), 0.0, rpm / 60, STANDARD)
    np.testing.assert_allclose(ours, (c_t, c_p), rtol=0.05)


@pytest.mark.parametrize(("inch", "rpm", "c_t", "c_p"), STATIC)
def test_label_with_chord_is_within_fifteen_per_cent(request, inch, rpm, c_t, c_p):
    # 15 % is what a forecast from the label and the chord is asked to hold on these rows.
    if (inch, rpm) == (10, 6528):
        known = pytest.mark.xfail(strict=True, reason="a known miss: C_P of this row is 15.3 % off")
        request.node.add_marker(known)
    prop = Propeller(inch * INCH, 4.7 * INCH, 2, CHORD[inch])
    np.testing.assert_allclose(coefficients(prop, 0.0, rpm / 60, STANDARD), (c_t, c_p), rtol=0.15)


def test_definitions():
    # Deters, Kleinke, Selig AIAA 2017-3743: C_P = 2 pi C_Q; rotor C_T = 4/pi^3 C_T; FM = sqrt(2/pi) C_T^1.5/C_P.
    # The figures of merit of the six rows, by that formula: 0.638, 0.685, 0.703; 0.630, 0.700, 0.723.
    rows = np.array(STATIC)
    density, d, n = 1.225, rows[:, 0] * INCH, rows[:, 1] / 60
    thrust, power = rows[:, 2] * density * n**2 * d**4, rows[:, 3] * density * n**3 * d**5
    fm = momentum.figure_of_merit(thrust, power, disc_area=np.pi / 4 * d**2, air_density=density)
    np.testing.assert_allclose(fm, [0.638, 0.685, 0.703, 0.630, 0.700, 0.723], atol=1e-3)
    # 10x4.7 at 6528 rpm: 7.840 N and 88.57 W; Re75 1.12e5 and tip Mach 0.255 in standard air.
    np.testing.assert_allclose((thrust[2], power[2]), (7.840, 88.57), rtol=1e-3)
    ready = prepare(own(10), STANDARD)
    assert ready.reynolds_75(6528 / 60) == pytest.approx(1.12e5, rel=0.006)
    assert ready.tip_mach(6528 / 60) == pytest.approx(0.255, rel=1e-3)
    assert propeller.pitch_speed(own(10), 6528 / 60) == pytest.approx(12.99, rel=1e-3)


@pytest.mark.parametrize(
    ("inch", "speeds", "exponents"),
    [(10, (2377, 6528), (0.22, 0.23, 0.10)), (11, (1666, 6021), (0.20, 0.19, 0.11))],
)
def test_reynolds_trend(inch, speeds, exponents):
    # Power laws through the same static tables, over Re75 3.5e4 to 1.3e5.
    c_t, c_p = coefficients(own(inch), 0.0, np.array(speeds) / 60, STANDARD)
    span = np.log(speeds[1] / speeds[0])
    trend_t, trend_p = np.log(c_t[1] / c_t[0]) / span, np.log(c_p[1] / c_p[0]) / span
    np.testing.assert_allclose((trend_t, trend_p, 1.5 * trend_t - trend_p), exponents, atol=0.03)


@pytest.mark.parametrize(("inch", "rpm", "j", "c_t", "c_p", "eta"), ADVANCING)
def test_advancing_rows(inch, rpm, j, c_t, c_p, eta):
    ours = coefficients(own(inch), j, rpm / 60, STANDARD)
    np.testing.assert_allclose(ours, (c_t, c_p), rtol=0.08)
    assert j * ours[0] / ours[1] == pytest.approx(eta, abs=0.05)
    # Actuator disc: no propeller passes 2/(1 + sqrt(1 + 8 C_T/(pi J^2))).
    assert j * ours[0] / ours[1] < 2 / (1 + np.sqrt(1 + 8 * ours[0] / (np.pi * j**2)))


def test_zero_thrust_above_pitch_speed():
    # From (J 0.378, C_T 0.0698) and (0.599, 0.0176) on a straight line: J0 about 0.67, 1.4 times pitch/diameter.
    j0 = prepare(own(10), STANDARD).zero_thrust_advance_ratio
    assert j0 == pytest.approx(0.67, abs=0.05)
    assert j0 > 4.7 / 10


@pytest.fixture(scope="module")
def rows(shared_data):
    t = pd.read_csv(shared_data / "propellers" / "measurements.csv")
    t["propeller"] = t["propeller"].map(propeller.current_name)
    return t[(t.thrust_coefficient > 0.005) | (t.advance_ratio > 0)]


def test_every_measured_propeller_follows_its_own_rows(rows):
    # All 211 against the raw rows: typical static misfit within the 2 % the own spread claims.
    worst = {}
    for name, g in rows.groupby("propeller"):
        c_t, c_p = coefficients(propeller.measured(name), g.advance_ratio.to_numpy(), g.rpm.to_numpy() / 60, STANDARD)
        still = (g.advance_ratio == 0).to_numpy()
        if still.any():
            e = np.abs(np.log(g.thrust_coefficient.to_numpy()[still] / c_t[still]))
            f = np.abs(np.log(g.power_coefficient.to_numpy()[still] / c_p[still]))
            worst[name] = (np.median(e), np.median(f))
        moving = ~still & (g.advance_ratio < 1.5 * own_j0(name)).to_numpy()
        miss = np.abs(c_t - g.thrust_coefficient.to_numpy())[moving]
        assert np.median(miss) < 0.015, name
    e = np.array(list(worst.values()))
    assert (np.median(e, axis=0) < 0.02).all()
    assert (np.quantile(e, 0.95, axis=0) < 0.05).all()


def own_j0(name):
    return propeller.measured(name).own_fit.zero_thrust_advance_ratio


def test_label_forecast_of_the_measured_set_and_its_spread(rows):
    # In sample; the left-out figures are the next test's. Static rows, medians of medians per propeller.
    still = rows[rows.advance_ratio == 0]
    for chord, limit_t, limit_p in ((None, 0.13, 0.17), (still.chord75_over_R.to_numpy(), 0.08, 0.11)):
        prop = Propeller(
            still.diameter_in.to_numpy() * INCH, still.pitch_in.to_numpy() * INCH, still.blades.to_numpy(), chord
        )
        c_t, c_p = coefficients(prop, 0.0, still.rpm.to_numpy() / 60, STANDARD)
        s = propeller.spread(prop)
        e = pd.DataFrame(
            {
                "t": np.log(still.thrust_coefficient.to_numpy() / c_t),
                "p": np.log(still.power_coefficient.to_numpy() / c_p),
                "sd_t": s.log_sd_c_t,
                "sd_p": s.log_sd_c_p,
            }
        )
        m = e.groupby(still.propeller.to_numpy()).median()
        assert m.t.abs().median() < limit_t and m.p.abs().median() < limit_p
        for k in "tp":
            inside = (m[k].abs() < 1.2816 * m["sd_" + k]).mean()
            assert 0.74 < inside < 0.92


# A 6x4.5 two-blade on a six-axis load cell: thrust in N, torque over thrust in m. Robotics and Perception Group,
# University of Zurich, github.com/uzh-rpg/rpg_quadrotor_control (MIT), documents/theory_and_math; read from a figure.
# The speed is not given.
LOAD_CELL = [(0.315, 0.01265), (1.081, 0.01155), (2.046, 0.01105), (3.229, 0.01096), (4.595, 0.01086), (6.573, 0.01082)]


def test_torque_over_thrust_of_a_six_inch_propeller_on_a_load_cell():
    thrust, measured = np.array(LOAD_CELL).T
    prop = Propeller(6 * INCH, 4.5 * INCH, 2)
    ready, d = prepare(prop, STANDARD), 6 * INCH
    n = np.full(thrust.shape, 150.0)
    for _ in range(60):
        c_t, c_p = ready.static(n)
        n = np.sqrt(thrust / (STANDARD.density * c_t * d**4))
    error = np.log(c_p * d / (2 * np.pi * c_t) / measured)
    # Q/T goes with C_P/C_T: its band is that of C_P once C_T is known
    s = propeller.spread(prop)
    sd = np.sqrt(s.log_sd_c_p**2 + s.log_sd_c_t**2 - 2 * s.correlation * s.log_sd_c_p * s.log_sd_c_t)
    assert np.all(np.abs(error) < 1.2816 * sd)
    # it falls with speed as measured: 14 % from the slowest to the fastest
    assert error[0] - error[-1] == pytest.approx(0.0, abs=0.08)


def test_load_cell_rows_are_those_of_the_raw_table(shared_data):
    raw = pd.read_csv(shared_data / "flight" / "loadcell_6x4.5.csv")[["thrust_N", "kappa_m"]].to_numpy()
    for row in LOAD_CELL:
        assert np.isclose(raw, row, rtol=1e-6).all(axis=1).any(), row


@pytest.mark.slow
def test_left_out_errors_and_committed_coefficients(root, rows):
    """Refit from the raw rows: the committed numbers come out again, and the left-out errors are as stated."""
    spec = importlib.util.spec_from_file_location("fit_propellers", root / "data/propellers/fit_propellers.py")
    fit = importlib.util.module_from_spec(spec)
    sys.modules["fit_propellers"] = fit
    keep, sys.dont_write_bytecode = sys.dont_write_bytecode, True
    try:
        spec.loader.exec_module(fit)
    finally:
        sys.dont_write_bytecode = keep
        sys.modules.pop("fit_propellers")
    s, bench = fit.within(fit.read_measurements()), fit.read_bench()
    from propmodel.components.propeller.label_fit import label_fit

    known = s.chord.notna().to_numpy()
    # median |ln error| left out by propeller: (C_T, C_P); the last C_P is 0.078 in SOURCE.md.
    # Nine propellers in ten with a chord are within 30 %, as is asked of a forecast that knows the chord.
    for form, keep_rows, limits, nine in (
        (fit.LABEL, known | True, (0.10, 0.12), 0.32),
        (fit.CHORD, known, (0.065, 0.085), np.log(1.30)),
    ):
        for which, limit in zip(("ct", "cp"), limits, strict=True):
            beta = fit.fit_form(form, s, bench, which)[0]
            committed = list(label_fit()[form.name][which].values())
            np.testing.assert_allclose(beta, committed, atol=2e-5)
            r = fit.residuals(form, s, bench, which, "propeller")[keep_rows]
            assert np.median(np.abs(r)) < limit
            assert np.quantile(np.abs(r), 0.9) < nine
