"""Motor, copper and wire against numbers printed outside this project; the source stands beside each."""

import numpy as np
import pytest

from propmodel.base.constants import COPPER_RESISTIVITY_20C, COPPER_TEMPERATURE_COEFFICIENT
from propmodel.base.units import CELSIUS_ZERO
from propmodel.components import motor as m
from propmodel.components import wire

# Data sheet of a 48 V, 260 g permanent-magnet motor, seen quoted in a public file (primary not opened):
# R 2.45 ohm, I0 0.0786 A at 48 V, Kt 53.8 mN m/A, Kv 178 rpm/V. Kt and Kv are one constant; the sheet's
# other numbers follow from the Kt, and its Kv is checked below.
SHEET = m.Motor(kv=9.549297 / 0.0538, resistance=2.45, no_load_current=0.0786, no_load_voltage=48.0)


def test_torque_constant_is_defined_by_kv():
    # Definition Kt = 60/(2 pi Kv): 9.549297/Kv. [N m/A]
    kv = np.array([178.0, 920.0, 1950.0])
    got = m.Motor(kv=kv, resistance=0.1, no_load_current=0.5).torque_constant
    np.testing.assert_allclose(got, 9.549297 / kv, rtol=1e-6)


def test_sheet_torque_and_speed_constant_agree():
    # Same sheet: Kt 53.8 mN m/A and Kv 178 rpm/V, each printed to three digits.
    motor = m.Motor(kv=178, resistance=2.45, no_load_current=0.0786)
    assert float(motor.torque_constant) == pytest.approx(0.0538, rel=0.005)


@pytest.mark.parametrize(
    ("got", "printed"),
    [
        (lambda: m.no_load_speed(SHEET, 48.0) * 60, 8490.0),  # rpm without load
        (lambda: m.stall_current(SHEET, 48.0), 19.6),  # A held still
        (lambda: m.stall_current(SHEET, 48.0) * SHEET.torque_constant, 1.050),  # N m held still
        (lambda: m.datasheet_point(SHEET, 0.0897, voltage=48.0).current, 1.74),  # A at nominal torque
        (lambda: m.datasheet_point(SHEET, 0.0897, voltage=48.0).rev_per_s * 60, 7760.0),  # rpm at nominal
        (
            lambda: m.current_for_torque(SHEET, 0.0897, 7760 / 60),
            1.74,
        ),  # the same with a loss that grows with n
        (lambda: m.peak_efficiency_constant_loss(48.0, resistance=2.45, no_load_current=0.0786)[1], 0.88),
    ],
    ids=[
        "no-load-speed",
        "stall-current",
        "stall-torque",
        "nominal-current",
        "nominal-speed",
        "current-grow",
        "eta",
    ],
)
def test_sheet_of_a_48_volt_motor(got, printed):
    # As SHEET: published n0 8490 rpm, 89.7 mN m at 1.74 A and 7760 rpm, stall 1050 mN m / 19.6 A, eta 88 %.
    assert float(got()) == pytest.approx(printed, rel=0.005)


def test_sheet_mechanical_time_constant_and_speed_slope():
    # Same sheet: 8.09 rpm/mN m and tau 2.94 ms with J 34.7 g cm2 (R J / Kt^2).
    k_t = float(SHEET.torque_constant)
    volt_per_rev = float(m.voltage(SHEET, 0.0, 1.0))  # V per rev/s
    slope = 2.45 / k_t / volt_per_rev * 60.0 * 1e-3  # rpm per mN m from V = n Ke + Q R / Kt
    assert slope == pytest.approx(8.09, rel=0.005)
    assert 2.45 * 34.7e-7 / k_t**2 == pytest.approx(2.94e-3, rel=0.005)


# Independent evaluation of the same three-constant model, aerosandbox 4.2.10 `motor_electric_performance`
# (computed once, library not needed here): the 48 V row and a drone-size case.
def test_reference_library_sheet_motor():
    point = m.datasheet_point(SHEET, 0.0897, voltage=48.0)
    assert float(point.current) == pytest.approx(1.7459, rel=1e-4)
    assert float(point.rev_per_s) * 60 == pytest.approx(7760.6, rel=1e-4)
    assert float(m.stall_current(SHEET, 48.0)) == pytest.approx(19.592, rel=1e-4)
    # That library takes I0 as constant even held still, Kt (I - I0) = 1.0498 N m; here the loss vanishes
    # with the speed, so the held torque is 0.4 % higher.
    assert float(m.torque(SHEET, 19.592, 0.0)) == pytest.approx(1.0498, rel=0.005)


DRONE = {"kv": 920, "resistance": 0.11, "no_load_current": 0.5}


def test_reference_library_drone_size_motor():
    # aerosandbox 4.2.10: V 14.8, Kv 920, R 0.11, I0 0.5, Q 0.12 N m.
    point = m.datasheet_point(m.Motor(**DRONE), 0.12, voltage=14.8)
    expected = (12.06106, 12395.4 / 60, 155.765, 178.504, 0.872617, 22.738)
    # 1e-5, and 1.2e-5 for the heat, which is printed to five digits
    np.testing.assert_allclose([float(x) for x in point], expected, rtol=1.2e-5)


def test_forecast_form_meets_the_reference_where_the_loss_is_the_same():
    # The forecast lets I0 grow with speed. With the no-load test put at the speed of the reference point
    # (voltage = 12395.4 rpm / 920 + 0.5 A x 0.11 ohm) its loss there is that of the reference: same row.
    motor = m.Motor(**DRONE, no_load_voltage=12395.4 / 920 + 0.5 * 0.11)
    current = m.current_for_torque(motor, 0.12, 12395.4 / 60)
    assert float(current) == pytest.approx(12.06106, rel=1e-5)
    assert float(m.voltage(motor, current, 12395.4 / 60)) == pytest.approx(14.8, rel=1e-5)


def test_peak_efficiency_formulas():
    # I* = sqrt(I0 V/R), eta = (1 - sqrt(I0 R/V))^2: Drela, First-Order DC Electric Motor Model (MIT, 2007),
    # from memory; values by arithmetic from the drone-size row.
    current, best = m.peak_efficiency_constant_loss(14.8, resistance=0.11, no_load_current=0.5)
    assert float(current) == pytest.approx(8.20200, rel=1e-6)
    assert float(best) == pytest.approx(0.881795, rel=1e-6)
    # and it is a maximum of the reference model's own efficiency
    motor = m.Motor(**DRONE)
    torque = (current + np.linspace(-3, 3, 601) - 0.5) * motor.torque_constant
    curve = m.datasheet_point(motor, torque, voltage=14.8).efficiency
    assert float(curve.max()) == pytest.approx(0.881795, rel=1e-6)
    assert int(np.argmax(curve)) == 300


# ---- copper and wire


def test_copper_constants():
    # IEC 60028 (1925), quoted on a standards-notes page: 58.0 MS/m at 20 C, 0.017241 ohm mm2/m.
    assert pytest.approx(0.017241e-6, rel=3e-5) == COPPER_RESISTIVITY_20C
    # Industrial Power Engineering and Applications Handbook, p. 970: 3.93e-3 per K at 20 C.
    assert COPPER_TEMPERATURE_COEFFICIENT == 3.93e-3


@pytest.mark.parametrize(("celsius", "factor"), [(75, 1.21615), (100, 1.31440), (125, 1.41265)])
def test_copper_warms(celsius, factor):
    # Arithmetic from the handbook coefficient.
    assert float(wire.copper_factor(celsius + CELSIUS_ZERO)) == pytest.approx(factor, rel=1e-5)
    cold = wire.resistance(16, length=0.3)
    warm = wire.resistance(16, length=0.3, temperature=celsius + CELSIUS_ZERO)
    assert float(warm / cold) == pytest.approx(factor, rel=1e-5)


# Public AWG tables (Wikibooks Engineering Tables and another wiki): diameter in mm, ohm per km at 20 C.
AWG = {
    10: (2.59, 3.28),
    12: (2.05, 5.21),
    14: (1.63, 8.29),
    16: (1.29, 13.2),
    18: (1.02, 21.0),
    20: (0.812, 33.5),
    22: (0.644, 53.2),
    24: (0.511, 84.2),
    26: (0.405, 133.0),
    28: (0.321, 212.0),
    30: (0.255, 338.0),
}


@pytest.mark.parametrize("gauge", AWG)
def test_wire_table(gauge):
    diameter, per_km = AWG[gauge]
    assert float(wire.awg_diameter(gauge)) * 1e3 == pytest.approx(diameter, rel=0.006)
    # tables carry three digits and resistivities from 0.01724 down to 0.0171: 0.7 %
    assert float(wire.resistance(gauge, length=1000.0)) == pytest.approx(per_km, rel=0.007)


def test_fusing_currents():
    # Wikibooks Engineering Tables/American Wire Gauge, AWG 6: Preece 668 A; Onderdonk 3.8 kA for 1 s and
    # 21 kA for 32 ms, printed to two digits there.
    assert float(wire.fusing_current_preece(6)) == pytest.approx(668, rel=0.01)
    assert float(wire.fusing_current_onderdonk(6, duration=1.0)) == pytest.approx(3.8e3, rel=0.014)
    assert float(wire.fusing_current_onderdonk(6, duration=0.032)) == pytest.approx(21e3, rel=0.024)


def test_wire_drop_and_heat_of_a_table_row():
    # AWG table above: 12 gauge 5.21 ohm/km, so 0.25 m there and back at 100 A loses 0.26 V and 26 W.
    assert float(wire.drop(100.0, gauge=12, length=0.5)) == pytest.approx(0.2605, rel=0.006)
    assert float(wire.heat(100.0, gauge=12, length=0.5)) == pytest.approx(26.05, rel=0.006)
