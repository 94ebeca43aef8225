"""Minutes: books of a flight, mixes, what ends it, refusals."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples
from random_builds import builds

import propmodel
from propmodel.assess.performance import performance
from propmodel.base.status import Status
from propmodel.components import battery
from propmodel.flight.endurance import WAYS_OF_FLYING, Profile, flight_time
from propmodel.flight.level import level_flight

SCREE = propmodel.demo("scree")


@settings(max_examples=examples(30))
@given(builds, st.sampled_from(sorted(WAYS_OF_FLYING)), st.floats(0.3, 1.0))
def test_books_of_a_flight_close(build, way, start):
    flight = flight_time(build, WAYS_OF_FLYING[way], state_of_charge=start)
    if flight.status != Status.OK:
        return
    used = (start - flight.end_state_of_charge) * battery.capacity(build.pack)
    assert flight.charge == pytest.approx(used, rel=1e-9, abs=1e-12)
    assert flight.mean_current * flight.time / 3600.0 == pytest.approx(flight.charge, rel=1e-9, abs=1e-12)
    # energy is the integral of the loaded voltage over the charge drawn, node by node
    ah = -np.diff(flight.curve_state_of_charge, axis=0) * battery.capacity(build.pack)
    middle = 0.5 * (flight.curve_voltage[1:] + flight.curve_voltage[:-1])
    assert flight.energy == pytest.approx(3600.0 * np.sum(ah * middle), rel=1e-9, abs=1e-9)
    assert np.all(np.diff(flight.curve_time) >= 0.0)
    assert flight.curve_time[-1] == pytest.approx(flight.time, rel=1e-12)
    assert flight.end_state_of_charge >= min(float(np.asarray(build.pack.reserve)), start) - 1e-12


@pytest.mark.parametrize("name", propmodel.demo_names())
def test_hovering_agrees_with_a_constant_power_run_and_with_the_headline(name):
    build = propmodel.demo(name)
    flight = flight_time(build, Profile())
    assert flight.time == pytest.approx(performance(build).hover_time, rel=1e-6)
    # the power of a hover falls a little with the bus, as the ripple does: a constant-power run is close to it, with
    # the pack held at the mean temperature of the flight
    mean = np.trapezoid(flight.curve_temperature, flight.curve_time) / flight.time
    run = battery.discharge(build.pack, performance(build).hover_power, reserve=build.pack.reserve, temperature=mean)
    assert flight.time == pytest.approx(run.time, rel=0.05)


def test_a_cruise_uses_the_power_of_level_flight():
    flight = flight_time(SCREE, Profile(hover=0.0, cruise=1.0, cruise_speed=12.0))
    # at take-off the pack sags less than after minutes, so the ripple loss is a little more; from the first knot on
    # it is as in `level_flight`
    first = flight.curve_voltage[0] * flight.curve_current[0]
    assert first == pytest.approx(level_flight(SCREE, 12.0).electrical_power, rel=5e-3)
    warm = replace(SCREE, pack=replace(SCREE.pack, temperature=float(flight.curve_temperature[1])))
    after = level_flight(warm, 12.0, state_of_charge=float(flight.curve_state_of_charge[1]))
    assert flight.curve_current[1] == pytest.approx(after.current, rel=1e-4)
    assert flight.curve_voltage[1] == pytest.approx(after.bus_voltage, rel=1e-4)


def test_a_mix_lies_between_its_parts():
    times = [float(flight_time(SCREE, Profile(h, 0.0, 0.0, 1.0 - h)).time) for h in (1.0, 0.7, 0.3, 0.0)]
    assert times == sorted(times, reverse=True)
    # currents add by share of time: half and half takes the mean of the two currents; to 1 %, since the hover in
    # between the bursts sees the sagged bus
    half = flight_time(SCREE, Profile(0.5, 0.0, 0.0, 0.5)).curve_current[0]
    ends = [flight_time(SCREE, Profile(h, 0.0, 0.0, 1.0 - h)).curve_current[0] for h in (1.0, 0.0)]
    assert half == pytest.approx(np.mean(ends), rel=1e-2)


def test_harder_ways_of_flying_are_shorter():
    times = [float(flight_time(SCREE, WAYS_OF_FLYING[k]).time) for k in ("hang still", "play", "race")]
    assert times == sorted(times, reverse=True)


def test_what_ends_the_flight():
    low = replace(SCREE, pack=replace(SCREE.pack, cutoff_voltage_per_cell=3.75))
    by_volts, by_charge = flight_time(low, Profile()), flight_time(SCREE, Profile())
    assert by_volts.stopped_by_voltage and by_volts.end_state_of_charge > 0.2
    # loaded voltage at the end is the cut-off
    assert by_volts.curve_voltage[-1] == pytest.approx(6 * 3.75, rel=1e-6)
    assert not by_charge.stopped_by_voltage and by_charge.end_state_of_charge == pytest.approx(0.2, abs=1e-12)
    assert by_volts.time < by_charge.time


def test_a_flight_that_cannot_be_is_told():
    heavy = propmodel.with_fields(SCREE, {"craft.payload_mass": 20.0})
    assert flight_time(heavy, Profile()).status == Status.CANNOT_HOVER
    fast = flight_time(SCREE, Profile(0.0, 1.0, cruise_speed=100.0))
    assert fast.status == Status.CANNOT_FLY_AT_THIS_SPEED and np.isnan(fast.time)
    empty = replace(SCREE, pack=replace(SCREE.pack, cutoff_voltage_per_cell=4.3))
    at_once = flight_time(empty, Profile())
    assert at_once.status == Status.BELOW_CUTOFF_AT_ONCE and at_once.time == 0.0


def test_shares_may_be_arrays():
    share = np.array([0.0, 0.5, 1.0])
    many = flight_time(SCREE, Profile(1.0 - share, 0.0, share))
    alone = [float(flight_time(SCREE, Profile(1.0 - s, 0.0, s)).time) for s in share]
    np.testing.assert_allclose(many.time, alone, rtol=1e-9)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: Profile(0.5, 0.2), "the shares of a flight must add up to 1, got 0.7"),
        (lambda: Profile(1.5, -0.5), "share of hover must be between 0 and 1, got 1.5"),
        (lambda: Profile(cruise_speed=-3.0), "cruise_speed must be between 0 and 150 m/s, got -3 m/s"),
        (lambda: Profile(hard_load=0.5), "hard_load must be between 1 and 10, got 0.5"),
        (lambda: Profile("all"), "share of hover must be a number, got 'all'"),
        (
            lambda: flight_time(SCREE, Profile(), state_of_charge=1.1),
            "state_of_charge must be between 0 and 1, got 1.1",
        ),
    ],
)
def test_nonsense_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_electronics_that_starve_in_hover_are_told():
    # a full pack of this craft has 25.2 V
    starved = propmodel.with_fields(SCREE, {"craft.electronics_min_voltage": 26.0})
    for profile in (Profile(), Profile(0.0, 0.0, 1.0, 0.0)):
        found = flight_time(starved, profile)
        assert found.status == Status.BELOW_ELECTRONICS_MINIMUM and np.isnan(found.time)
    assert flight_time(SCREE).status == Status.OK
