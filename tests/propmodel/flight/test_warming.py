"""A pack that warms in flight: books of its heat, closed forms, what it is told by."""

from dataclasses import replace

import numpy as np
import pytest

import propmodel
from propmodel import heat
from propmodel.assembly.build import with_fields
from propmodel.assess import margins
from propmodel.assess.assessment import Assessment
from propmodel.components import battery
from propmodel.flight.endurance import WAYS_OF_FLYING, Profile, flight_time

SCREE = propmodel.demo("scree")
PACKS = [propmodel.demo(name) for name in propmodel.demo_names()]
FINE = np.linspace(0.0, 1.0, 4001)


def held(build, kelvin):
    return with_fields(build, {"pack.temperature": kelvin})


def lost_and_given(build, flown):
    """Heat made in the cells and given to the air along a steady flight, from its curve. [J]"""
    seconds = flown.curve_time[-1] * FINE
    amps, kelvin, charge = (
        np.interp(seconds, flown.curve_time, x)
        for x in (flown.curve_current, flown.curve_temperature, flown.curve_state_of_charge)
    )
    cells = replace(build.pack, temperature=kelvin, lead_resistance=0.0)
    lost = amps**2 * battery.resistance(cells, charge, sustained=True)
    given = heat.pack_cooling(battery.mass(build.pack)) * (kelvin - build.air.temperature)
    return np.trapezoid(lost, seconds), np.trapezoid(given, seconds)


@pytest.mark.parametrize("celsius", [-5.0, 22.0, 40.0])
@pytest.mark.parametrize("build", PACKS, ids=propmodel.demo_names())
def test_heat_made_is_kept_or_given_off(build, celsius):
    # first law: m c dT = integral of I^2 R - h A (T - T_air) over time, the resistance being that of `battery`
    for profile in (Profile(), Profile(0.0, 1.0, 0.0, 0.0, cruise_speed=12.0)):
        flown = flight_time(held(build, 273.15 + celsius), profile)
        lost, given = lost_and_given(build, flown)
        kept = 1000.0 * battery.mass(build.pack) * (flown.end_temperature - (273.15 + celsius))
        # a pack of 8 g follows the air within one step of charge: the steps show, by up to 3 %
        within = 0.03 if battery.mass(build.pack) < 0.02 else 0.02
        assert kept + given == pytest.approx(lost, rel=within)


def test_without_cooling_the_rise_is_the_loss_over_the_heat_capacity(monkeypatch):
    monkeypatch.setattr("propmodel.heat.pack_and_leads.PACK_FILM", 0.0)
    # a cell of no temperature law to speak of: all the energy that is lost in it warms it
    flown = flight_time(SCREE, Profile())
    stored = np.trapezoid(
        battery.open_circuit_voltage(SCREE.pack, flown.curve_state_of_charge), -flown.curve_state_of_charge
    )
    leads = np.trapezoid(flown.curve_current**2 * SCREE.pack.lead_resistance, flown.curve_time)
    lost = stored * battery.capacity(SCREE.pack) * 3600.0 - flown.energy - leads
    rise = flown.end_temperature - SCREE.pack.temperature
    assert rise == pytest.approx(lost / (1000.0 * battery.mass(SCREE.pack)), rel=0.02)


def test_bursts_warm_more_than_their_mean_current():
    # 10-second resistance with the mean of the square, what minutes add with the square of the mean
    flown = flight_time(SCREE, Profile(0.9, 0.0, 0.0, 0.1))
    mean = flown.curve_current[0]
    middle = 0.5 * (flown.curve_temperature[0] + flown.curve_temperature[1])
    pack = replace(SCREE.pack, temperature=middle, lead_resistance=0.0)
    ten, lasting = (float(battery.resistance(pack, 1.0, sustained=s)) for s in (False, True))
    burst = float(flight_time(SCREE, Profile(0.0, 0.0, 0.0, 1.0)).curve_current[0])
    still = (mean - 0.1 * burst) / 0.9
    watts = ten * (0.9 * still**2 + 0.1 * burst**2) + (lasting - ten) * mean**2
    rate = (flown.curve_temperature[1] - flown.curve_temperature[0]) / flown.curve_time[1]
    assert rate == pytest.approx(watts / (1000.0 * battery.mass(SCREE.pack)), rel=0.03)
    assert watts > 1.5 * lasting * mean**2


def test_a_raced_pack_comes_down_warm():
    # common practice, from memory: warm to the hand or hotter, 45 to 60 C, from a pack at room temperature
    race = flight_time(SCREE, "race")
    assert 45.0 <= race.end_temperature - 273.15 <= 62.0
    # and it lasts 1.5 to 4 minutes (common practice, from memory)
    assert 1.5 <= race.time / 60.0 <= 4.0
    hot = [float(flight_time(SCREE, way).end_temperature) for way in ("hang still", "cruise", "play", "race")]
    assert hot == sorted(hot)


def test_a_pack_tends_to_the_air():
    # a small current in a large pack: it takes the temperature of the air, from either side
    slow = with_fields(SCREE, {"pack.capacity_ah": 40.0, "pack.mass": 0.2, "craft.frame_mass": 0.1, "rotors": 8})
    for celsius in (-20.0, 60.0):
        begin = 273.15 + celsius
        end = float(flight_time(held(slow, begin), Profile()).end_temperature)
        assert abs(end - slow.air.temperature) < 0.2 * abs(begin - slow.air.temperature)


def test_the_tables_of_the_walk_are_those_of_the_pack():
    pack = replace(SCREE.pack, cycles=50.0)
    kelvin = np.linspace(224.0, 353.0, 1001)
    charge = np.linspace(0.0, 1.0, 1001)
    emf, string = battery.cell_tables(pack)(charge)
    root = battery.cold_root(kelvin)
    there = replace(pack, temperature=kelvin, lead_resistance=0.0)
    np.testing.assert_allclose(emf, battery.open_circuit_voltage(pack, charge), rtol=1e-12)
    np.testing.assert_allclose(string * root**2, battery.resistance(there, charge), rtol=1e-5)
    lasting = string * root * (root + battery.SUSTAINED_FACTOR - 1.0)
    np.testing.assert_allclose(lasting, battery.resistance(there, charge, sustained=True), rtol=1e-5)
    assert np.all(np.diff(root) < 0.0)
    # held outside what a pack takes
    assert battery.cold_root(np.asarray(100.0)) == pytest.approx(float(battery.cold_root(np.asarray(223.15))), rel=1e-9)
    assert battery.cold_root(np.asarray(900.0)) == pytest.approx(float(battery.cold_root(np.asarray(353.14))), rel=1e-3)


def test_a_pack_that_a_hover_overheats_shows_in_the_limit():
    # a worn pack that is held at its limit by resistance alone: no burst, but minutes
    worn = with_fields(SCREE, {"pack.cell_resistance": 0.045, "pack.cutoff_voltage_per_cell": 2.5, "command_cap": 0.3})
    a = Assessment(worn)
    rise = float(flight_time(worn).end_temperature - worn.pack.temperature)
    assert float(margins.hover_pack_rise(a)) == pytest.approx(rise, rel=1e-6)
    share = float(margins.SHARES["pack_heat"].of(a, 1.0))
    assert share == pytest.approx(rise / 38.0, rel=1e-6) and float(margins.pack_rise(a, 1.0)) < rise
    told = next(x for x in propmodel.limits(worn, hold=1.0) if x.key == "pack_heat")
    assert told.sentence.startswith("A hover down to the reserve warms the pack by about")


@pytest.mark.parametrize("way", sorted(WAYS_OF_FLYING))
def test_cooling_halved_or_doubled_moves_the_minutes_little(way, monkeypatch):
    # what `heat.pack_and_leads.PACK_FILM` says of its doubt
    times = []
    for film in (10.0, 20.0, 40.0):
        monkeypatch.setattr("propmodel.heat.pack_and_leads.PACK_FILM", film)
        times.append([float(flight_time(held(SCREE, kelvin), way).time) for kelvin in (278.15, 295.15, 313.15)])
    for low, here, high in zip(*times, strict=True):
        assert low == pytest.approx(here, rel=0.02) and high == pytest.approx(here, rel=0.02)


def test_a_burst_takes_the_same_charge_from_any_pack():
    # full throttle: amps go as torque and torque as thrust, so a push costs one charge
    flat_out = Profile(0.0, 0.0, 0.0, 1.0)
    amps = [flight_time(held(SCREE, 273.15 + c), flat_out).curve_current[0] for c in (15.0, 25.0, 40.0)]
    assert amps == pytest.approx([amps[1]] * 3, rel=1e-12)
    full = propmodel.throttle_curve(held(SCREE, 298.15), 1.0)
    assert amps[1] == pytest.approx(float(full.pack_current), rel=1e-6)
    # the push of the engine's own full throttle bears that out, to 4 %: fast tips take a little more torque
    packs = held(SCREE, np.array([278.15, 298.15, 313.15]))
    point = Assessment(packs).full_throttle
    charge_of_a_push = point.pack_current / point.thrust
    assert charge_of_a_push == pytest.approx([charge_of_a_push[1]] * 3, rel=0.04)
    assert np.ptp(point.thrust) > 0.2 * point.thrust[1]
