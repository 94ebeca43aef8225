"""The atmosphere against a printed table, the closed form of the standard and two open libraries."""

import csv

import numpy as np
import pytest

from propmodel.components.air import STANDARD, atmosphere, density_altitude

EARTH_RADIUS = 6356766.0  # m; U.S. Standard Atmosphere 1976, turns geometric into geopotential altitude


# ISO 2533:1975 by geopotential altitude, six digits: computed with the open libraries ambiance 1.3.1 and
# fluids 1.3.1, which agree to 1e-6. H [m], T [K], p [Pa], rho [kg/m3], mu [Pa s], a [m/s].
ISO_2533 = [
    (0, 288.150, 101325.0, 1.22500, 1.78938e-5, 340.294),
    (500, 284.900, 95460.8, 1.16727, 1.77366e-5, 338.370),
    (1000, 281.650, 89874.6, 1.11164, 1.75784e-5, 336.434),
    (1500, 278.400, 84556.0, 1.05807, 1.74195e-5, 334.487),
    (2000, 275.150, 79495.2, 1.00649, 1.72596e-5, 332.529),
    (3000, 268.650, 70108.5, 0.909122, 1.69372e-5, 328.578),
    (5000, 255.650, 54019.9, 0.736116, 1.62812e-5, 320.529),
]


@pytest.mark.parametrize("row", ISO_2533, ids=lambda row: f"{row[0]}m")
def test_iso_2533_table(row):
    altitude, *expected = row
    air = atmosphere(altitude)
    got = [air.temperature, air.pressure, air.density, air.viscosity, air.speed_of_sound]
    np.testing.assert_allclose(got, expected, rtol=1e-5, atol=0)


# Mechanical Engineers' Handbook vol. 4, Table 6 "US Standard Atmosphere", p. 12, by GEOMETRIC altitude:
# Z [m], T [K], p [bar], rho [kg/m3], a [m/s]; half a unit of the last digit printed is allowed.
HANDBOOK = [
    (1000, 281.65, 0.8988, 1.1117, 336.4),
    (2000, 275.15, 0.7950, 1.0066, 332.5),
    (3000, 268.66, 0.7012, 0.9093, 328.6),
    (5000, 255.68, 0.5405, 0.7364, 320.6),
]


@pytest.mark.parametrize("row", HANDBOOK, ids=lambda row: f"{row[0]}m")
def test_handbook_table(row):
    geometric, temperature, pressure_bar, density, sound = row
    air = atmosphere(EARTH_RADIUS * geometric / (EARTH_RADIUS + geometric))
    # One unit of the last digit: the printed 320.6 m/s at 5,000 m and 1.1117 sit on the rounding edge.
    assert air.temperature == pytest.approx(temperature, abs=0.01)
    assert air.pressure / 1e5 == pytest.approx(pressure_bar, abs=1e-4)
    assert air.density == pytest.approx(density, abs=1e-4)
    assert air.speed_of_sound == pytest.approx(sound, abs=0.1)


def test_open_library_ambiance_over_the_whole_troposphere():
    ambiance = pytest.importorskip("ambiance")
    # The library takes geometric altitude; it does the conversion of the standard itself.
    geometric = np.linspace(-1500.0, 10900.0, 63)
    theirs = ambiance.Atmosphere(geometric)
    ours = atmosphere(theirs.H)
    for mine, other in [
        (ours.temperature, theirs.temperature),
        (ours.pressure, theirs.pressure),
        (ours.density, theirs.density),
        (ours.viscosity, theirs.dynamic_viscosity),
        (ours.speed_of_sound, theirs.speed_of_sound),
    ]:
        np.testing.assert_allclose(mine, other, rtol=1e-6, atol=0)


def test_open_library_fluids():
    atmosphere_module = pytest.importorskip("fluids.atmosphere")
    for geometric in (0.0, 420.0, 1500.0, 3000.0, 5000.0, 9000.0):
        theirs = atmosphere_module.ATMOSPHERE_1976(geometric)
        ours = atmosphere(theirs.H)
        got = [ours.temperature, ours.pressure, ours.density, ours.viscosity, ours.speed_of_sound]
        expected = [theirs.T, theirs.P, theirs.rho, theirs.mu, theirs.v_sonic]
        np.testing.assert_allclose(got, expected, rtol=2e-6, atol=0)


# rho = p_std(H)/(R T) with R = 287.05287 J/(kg K) (ISO 2533), worked by hand from the table above:
# H [m], t [C], rho [kg/m3], density altitude [m].
HOT_AND_COLD = [
    (0, -20, 1.39437, -1369.6),
    (0, 40, 1.12720, 858.2),
    (500, 30, 1.09700, 1134.8),
    (1000, 0, 1.14624, 686.9),
    (1500, 35, 0.95592, 2509.7),
]


@pytest.mark.parametrize("row", HOT_AND_COLD, ids=lambda row: f"{row[0]}m{row[1]}C")
def test_density_at_another_temperature(row):
    altitude, celsius, density, height = row
    air = atmosphere(altitude, temperature=celsius + 273.15)
    assert air.density == pytest.approx(density, rel=1e-5)
    assert density_altitude(air.density) == pytest.approx(height, abs=0.1)


def test_all_off_standard_rows(shared_data):
    # All 56 combinations of the same closed form, computed outside this project.
    with (shared_data / "atmosphere.csv").open(newline="") as file:
        rows = [row for row in csv.reader(file) if row[0] == "offstd" and row[1][0] in "-0123456789"]
    assert len(rows) == 56
    altitude, celsius, pressure, density, _ratio, height = np.array([row[1:] for row in rows], float).T
    air = atmosphere(altitude, temperature=celsius + 273.15)
    np.testing.assert_allclose(air.density, density, rtol=1e-5, atol=0)
    np.testing.assert_allclose(air.pressure, pressure, rtol=1e-6, atol=0)
    np.testing.assert_allclose(density_altitude(air.density), height, rtol=0, atol=0.15)


# Dry air as a real gas at 101325 Pa, computed with CoolProp 8.0.0 (PropsSI): t [C], rho [kg/m3], mu [Pa s].
# Ideal gas and Sutherland's law are good to 0.1 % and 0.5 %.
@pytest.mark.parametrize(("celsius", "density"), [(-20, 1.39565), (0, 1.29307), (30, 1.16473), (40, 1.12745)])
def test_real_gas_density(celsius, density):
    assert atmosphere(0.0, temperature=celsius + 273.15).density == pytest.approx(density, rel=1e-3)


@pytest.mark.parametrize(("celsius", "viscosity"), [(15, 1.7962e-5), (40, 1.9165e-5)])
def test_real_gas_viscosity(celsius, viscosity):
    assert atmosphere(0.0, temperature=celsius + 273.15).viscosity == pytest.approx(viscosity, rel=5e-3)


def test_standard_air_is_the_sea_level_row():
    assert STANDARD.density == pytest.approx(1.22500, rel=1e-5)
