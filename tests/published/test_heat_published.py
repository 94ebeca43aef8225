"""Two-node motor heat against a published datasheet, and cooling against handbook correlations."""

from types import SimpleNamespace

import numpy as np
import pytest

from propmodel import heat
from propmodel.base.units import CELSIUS_ZERO
from propmodel.flight import spin_up

# Published datasheet of a 48 V permanent-magnet motor of 260 g (quoted in a public file, primary not opened):
# 2.45 ohm, 53.8 mN m/A, no-load 78.6 mA, nominal 1.74 A at 7760 rpm, winding at most 125 C at 25 C ambient,
# winding-housing 1.7 K/W, housing-ambient 6 K/W, time constants 16.9 s (winding) and 593 s (motor),
# mechanical time constant 2.94 ms with 34.7 g cm^2, stall 19.6 A.
THERMAL = heat.ThermalResistance(winding_body=1.7, body_air=6.0)
CAPACITY = heat.HeatCapacity(winding=16.9 / 1.7, body=593.0 / 6.0)
AIR, LIMIT = 25.0 + CELSIUS_ZERO, 125.0 + CELSIUS_ZERO
FRICTION = 0.0786 * 0.0538 * 2.0 * np.pi * 7760.0 / 60.0  # W, no-load torque at the nominal speed
NOMINAL = 1.74


def test_continuous_current_is_the_published_nominal_current():
    settings = dict(resistance=THERMAL, air_temperature=AIR, winding_limit=LIMIT, reference_temperature=AIR)
    # arithmetic with the same data: 1.738 A with friction heat in the housing, 1.951 A with copper alone
    assert heat.continuous_current(2.45, FRICTION, **settings) == pytest.approx(NOMINAL, rel=0.02)
    assert heat.continuous_current(2.45, FRICTION, **settings) == pytest.approx(1.738, abs=0.001)
    assert heat.continuous_current(2.45, 0.0, **settings) == pytest.approx(1.951, abs=0.001)


def test_nominal_current_settles_at_the_published_winding_limit():
    # whether 2.45 ohm is meant at 20 C or at 25 C is not said: both must hold, in rise over the air
    for reference in (AIR, 20.0 + CELSIUS_ZERO):
        out = heat.steady_temperatures(
            NOMINAL**2 * 2.45,
            FRICTION,
            resistance=THERMAL,
            air_temperature=AIR,
            reference_temperature=reference,
        )
        assert out.winding - AIR == pytest.approx(LIMIT - AIR, rel=0.04)
        # 2 % in current is 4 % in heat
    assert out.status == 0


def test_heat_capacities_from_the_published_time_constants():
    # the winding alone, body held by a very large capacity: 1 - 1/e after 16.9 s; the whole motor likewise after 593 s
    held = heat.HeatCapacity(CAPACITY.winding, 1e9)
    small = 1e-3  # W, so that copper hardly warms
    winding, _ = heat.temperatures_after(
        16.9,
        copper_loss=small,
        iron_loss=0.0,
        resistance=THERMAL,
        capacity=held,
        air_temperature=AIR,
        winding=AIR,
        body=AIR,
        reference_temperature=AIR,
    )
    assert (winding - AIR) / (small * 1.7) == pytest.approx(1.0 - np.exp(-1.0), rel=1e-4)
    _, body = heat.temperatures_after(
        593.0,
        copper_loss=0.0,
        iron_loss=small,
        resistance=THERMAL,
        capacity=heat.HeatCapacity(1e-6, CAPACITY.body),
        air_temperature=AIR,
        winding=AIR,
        body=AIR,
    )
    assert (body - AIR) / (small * 6.0) == pytest.approx(1.0 - np.exp(-1.0), rel=1e-4)


def test_mechanical_time_constant_and_stall_current_of_the_same_datasheet():
    tau = spin_up.speed_time_constant(
        inertia=34.7e-7,
        rev_per_s=0.0,
        loop_resistance=2.45,
        torque_constant=0.0538,
        torque_coefficient=0.0,
    )
    assert tau == pytest.approx(2.94e-3, rel=0.005)
    assert spin_up.stall_current(48.0, 2.45) == pytest.approx(19.6, rel=0.005)


@pytest.mark.parametrize("reynolds", [6e3, 1e4, 2e4, 4e4])
def test_cooling_against_hilpert(reynolds):
    # Hilpert, cylinder in cross flow, Re 4000 to 40000: Nu = 0.193 Re^0.618 Pr^(1/3), Pr 0.71 (handbook correlation,
    # from memory). Handbooks give such correlations 20 to 25 %.
    air = SimpleNamespace(density=1.2, viscosity=1.8e-5)
    diameter, height = 0.022, 0.007
    bell, length = 0.028, 0.018
    wash = reynolds * air.viscosity / (air.density * bell)
    out = heat.resistances(stator_diameter=diameter, stator_height=height, wash_speed=wash, rev_per_s=0.0, air=air)
    conductivity = 0.0255  # W/(m K), air near 20 C (handbook)
    area = 2.0 * (np.pi * bell * length + np.pi * bell**2 / 4.0)
    nusselt = bell / (out.body_air * area * conductivity)
    assert nusselt == pytest.approx(0.193 * reynolds**0.618 * 0.71 ** (1 / 3), rel=0.25)


def test_share_of_copper_that_runs_away():
    # IEC 60028: copper gains 0.393 % of its 20 C resistance per kelvin; heat and resistance feed each other without
    # end where alpha P R_th reaches 1, that is 1 / (0.00393 * 7.7) = 33 W for the motor above
    copper = 1.0 / (0.00393 * 7.7)
    out = heat.steady_temperatures(
        np.array([0.3, 1.001]) * copper, 0.0, resistance=THERMAL, air_temperature=AIR, believable=1e9
    )
    assert np.isfinite(out.winding[0]) and np.isnan(out.winding[1])
    assert list(out.status) == [0, 6]
