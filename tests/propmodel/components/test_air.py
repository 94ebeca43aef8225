"""Air: laws, limits and messages that need no outside number."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import propmodel
from propmodel.components.air import STANDARD, Air, atmosphere, changed, density_altitude

FIELDS = ("density", "viscosity", "speed_of_sound", "temperature", "pressure")
heights = st.floats(-2000.0, 11000.0)
temperatures = st.floats(180.0, 340.0)


@given(heights, temperatures)
def test_gas_law_holds_at_any_temperature(altitude, temperature):
    # p = rho R T with the R of ISO 2533; the temperature asked for is the temperature given.
    air = atmosphere(altitude, temperature=temperature)
    assert air.temperature == temperature
    assert air.pressure == pytest.approx(air.density * 287.05287 * temperature, rel=1e-12)
    assert air.pressure == atmosphere(altitude).pressure


def test_hydrostatic_balance():
    # dp/dH = -rho g: the pressure and density columns belong together.
    step = 1.0
    height = np.arange(-1900.0, 10900.0, 400.0)
    slope = (atmosphere(height + step).pressure - atmosphere(height - step).pressure) / (2 * step)
    np.testing.assert_allclose(slope, -atmosphere(height).density * 9.80665, rtol=1e-7, atol=0)


def test_everything_thins_with_height():
    air = atmosphere(np.linspace(-2000.0, 11000.0, 200))
    for name in FIELDS:
        assert (np.diff(getattr(air, name)) < 0).all(), name


def test_warm_air_is_thin_and_viscous():
    air = atmosphere(420.0, temperature=np.array([269.0, 285.0, 309.0]))
    assert (np.diff(air.density) < 0).all()
    assert (np.diff(air.viscosity) > 0).all()
    assert (np.diff(air.speed_of_sound) > 0).all()


@given(heights)
def test_density_altitude_is_the_inverse(altitude):
    assert density_altitude(atmosphere(altitude).density) == pytest.approx(altitude, abs=1e-6)


def test_scalar_equals_array_element():
    height, temperature = np.array([0.0, 420.0, 3100.0]), np.array([[268.0], [301.0]])
    grid = atmosphere(height, temperature=temperature)
    for name in FIELDS:
        assert getattr(grid, name).shape == (2, 3)
        single = getattr(atmosphere(420.0, temperature=301.0), name)
        assert getattr(grid, name)[1, 1] == pytest.approx(single, rel=1e-14)


def test_scalars_stay_scalars_and_hash():
    air = atmosphere(420.0, temperature=285.15)
    assert all(isinstance(getattr(air, name), float) for name in FIELDS)
    assert hash(air) == hash(atmosphere(420.0, temperature=285.15))
    assert air != STANDARD
    assert atmosphere(0) == STANDARD


def test_results_can_be_written_to():
    grid = atmosphere(np.array([0.0, 500.0]), temperature=290.0)
    grid.temperature[0] = 1.0  # a view of one broadcast number would refuse, or change both
    assert grid.temperature[1] == 290.0


def test_air_is_frozen():
    with pytest.raises(AttributeError):
        STANDARD.density = 1.0
    assert isinstance(STANDARD, Air)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"altitude": 12000.0}, "altitude must be between -2000 and 11000 m, got 12000 m"),
        ({"altitude": [100.0, -9000.0]}, r"got -9000 m \(1 of 2 values, first at index 1\)"),
        ({"altitude": float("nan")}, "altitude must be a finite number"),
        ({"altitude": "high"}, "altitude must be a number, got 'high'"),
        ({"temperature": 15.0}, "temperature must be between 180 and 340 K, got 15 K"),
        ({"temperature": float("inf")}, "temperature must be a finite number"),
    ],
)
def test_nonsense_is_refused_in_words(arguments, message):
    with pytest.raises(ValueError, match=message):
        atmosphere(**arguments)


def test_air_that_is_warmed_gets_thinner():
    # ideal gas at the same pressure, and the standard's viscosity and speed of sound [iso2533]
    for temperature in (258.15, 308.15, np.array([263.15, 303.15])):
        here, there = changed(atmosphere(420.0), temperature=temperature), atmosphere(420.0, temperature)
        for name in FIELDS:
            np.testing.assert_allclose(getattr(here, name), getattr(there, name), rtol=1e-12)
    thin = changed(STANDARD, pressure=80000.0)
    assert thin.density == pytest.approx(STANDARD.density * 80000.0 / 101325.0)
    assert changed(STANDARD, temperature=300.0, density=1.1).density == 1.1
    with pytest.raises(ValueError, match="air temperature must be between 100 and 500 K, got 20 K"):
        changed(STANDARD, temperature=20.0)


def test_air_temperature_as_an_axis_reaches_the_rotors():
    scree = propmodel.demo("scree")
    kelvin = np.array([263.15, 288.15, 313.15])
    found = propmodel.sweep(scree, {"air.temperature": kelvin}, ["hover_power", "thrust_to_weight"])
    assert np.all(np.diff(found["hover_power"]) > 0.0) and np.all(np.diff(found["thrust_to_weight"]) < 0.0)
    # an ideal disc needs power with the inverse root of density (momentum theory), and the losses add to it
    share = np.log(found["hover_power"][2] / found["hover_power"][0]) / (0.5 * np.log(kelvin[2] / kelvin[0]))
    assert share == pytest.approx(1.0, abs=0.35)


def test_density_altitude_refuses_no_air():
    with pytest.raises(ValueError, match=r"density must be > 0 kg/m\^3, got 0 kg/m\^3"):
        density_altitude(0.0)
