"""Air around the craft: density, viscosity and speed of sound against altitude and temperature.

The troposphere of ISO 2533 by **geopotential** altitude, with the actual temperature free to differ from
the standard one: the pressure is the standard pressure at that altitude, the density follows from the
pressure and the actual temperature. Dry air; leaving humidity out errs by at most 1.6 % at 30 C.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from propmodel.base.arrays import FloatArray
from propmodel.base.checks import check_positive, check_range, keep_arrays
from propmodel.base.constants import GAS_CONSTANT_AIR, STANDARD_GRAVITY
from propmodel.base.ranges import allowed, check_fields

__all__ = ["STANDARD", "Air", "atmosphere", "changed", "density_altitude", "pressure_altitude"]

# ISO 2533:1975, sea level and the troposphere.
_SEA_LEVEL_TEMPERATURE = 288.15  # [K]
_SEA_LEVEL_PRESSURE = 101325.0  # [Pa]
_LAPSE_RATE = 6.5e-3  # [K/m], falling with height
_HEAT_CAPACITY_RATIO = 1.4
_PRESSURE_EXPONENT = STANDARD_GRAVITY / (GAS_CONSTANT_AIR * _LAPSE_RATE)  # 5.25588
_SEA_LEVEL_DENSITY = _SEA_LEVEL_PRESSURE / (GAS_CONSTANT_AIR * _SEA_LEVEL_TEMPERATURE)
# Sutherland's law with the constants of ISO 2533.
_SUTHERLAND_BETA = 1.458e-6  # [kg/(m s K^0.5)]
_SUTHERLAND_TEMPERATURE = 110.4  # [K]

# The standard's own table starts at -2,000 m; the troposphere ends at 11,000 m.
_LOWEST, _HIGHEST = -2000.0, 11000.0  # [m]
# Wider than the coldest and hottest air ever read near the ground (-89 C, 57 C, from memory); catches
# Celsius given for kelvin.
_COLDEST, _HOTTEST = 180.0, 340.0  # [K]


@dataclass(frozen=True)
class Air:
    """State of the air. Every field is a float or an array; with floats it can be hashed and compared.

    Parameters
    ----------
    density : array_like
        rho. [kg/m^3]
    viscosity : array_like
        Dynamic viscosity, mu. [Pa s]
    speed_of_sound : array_like
        a. [m/s]
    temperature : array_like
        Actual temperature, T. [K]
    pressure : array_like
        Static pressure, p. [Pa]

    Examples
    --------
    >>> round(float(STANDARD.density), 4)
    1.225
    """

    density: ArrayLike = field(metadata=allowed(0.01, 10.0, "kg/m^3", label="air density"))
    viscosity: ArrayLike = field(metadata=allowed(1e-7, 1e-2, "Pa s", label="air viscosity"))
    speed_of_sound: ArrayLike = field(metadata=allowed(30.0, 5000.0, "m/s", label="speed of sound"))
    temperature: ArrayLike = field(metadata=allowed(100.0, 500.0, "K", label="air temperature"))
    pressure: ArrayLike = field(metadata=allowed(100.0, 1e6, "Pa", label="air pressure"))

    def __post_init__(self) -> None:
        check_fields(self)
        keep_arrays(self)


def atmosphere(altitude: ArrayLike = 0.0, temperature: ArrayLike | None = None) -> Air:
    r"""Air at an altitude, by default at the standard temperature there.

    .. math:: T_s = 288.15 - 0.0065 H, \quad p = 101325 (T_s / 288.15)^{g / (R L)}, \quad \rho = p / (R T)

    Parameters
    ----------
    altitude : array_like, -2000 to 11000
        Geopotential altitude above sea level, H. It differs from a map's height by 0.6 m at 2,000 m. [m]
    temperature : array_like, 180 to 340, optional
        Actual air temperature, T; None is the standard temperature at that altitude. Broadcasts. [K]

    Returns
    -------
    Air
        Density, viscosity, speed of sound, temperature and pressure, each of the broadcast shape.

    Raises
    ------
    ValueError
        Outside the troposphere (above 11,000 m the standard has another law, which no craft here needs), or
        a temperature that is not a weather temperature in kelvin; text, NaN and infinity too.

    Notes
    -----
    [iso2533]; Sutherland viscosity with beta = 1.458e-6 and S = 110.4 K.

    Examples
    --------
    >>> hill = atmosphere(420.0, temperature=285.15)
    >>> round(float(hill.density), 4)
    1.1774
    """
    height = check_range("altitude", altitude, _LOWEST, _HIGHEST, "m")
    standard = _SEA_LEVEL_TEMPERATURE - _LAPSE_RATE * height
    pressure = _SEA_LEVEL_PRESSURE * (standard / _SEA_LEVEL_TEMPERATURE) ** _PRESSURE_EXPONENT
    if temperature is None:
        actual = standard
    else:
        actual = check_range("temperature", temperature, _COLDEST, _HOTTEST, "K")
        pressure, actual = np.broadcast_arrays(pressure, actual)
    return Air(
        density=(pressure / (GAS_CONSTANT_AIR * actual))[()],
        viscosity=_sutherland(actual)[()],
        speed_of_sound=np.sqrt(_HEAT_CAPACITY_RATIO * GAS_CONSTANT_AIR * actual)[()],
        temperature=actual[()].copy(),
        pressure=pressure[()].copy(),
    )


def _sutherland(temperature: FloatArray) -> FloatArray:
    """Dynamic viscosity. [Pa s]"""
    return _SUTHERLAND_BETA * temperature * np.sqrt(temperature) / (temperature + _SUTHERLAND_TEMPERATURE)


def pressure_altitude(pressure: ArrayLike) -> FloatArray:
    r"""Altitude in the standard atmosphere at which the pressure is this.

    .. math:: H_p = \frac{288.15}{0.0065} \left[1 - (p / 101325)^{R L / g}\right]

    Parameters
    ----------
    pressure : array_like, > 0
        p. [Pa]

    Returns
    -------
    ndarray
        Geopotential altitude; meaningful up to 11,000 m. [m]

    Raises
    ------
    ValueError
        If the pressure is not a number above zero.

    Notes
    -----
    [iso2533] turned round.

    Examples
    --------
    >>> round(float(pressure_altitude(89874.57)))
    1000
    """
    ratio = check_positive("pressure", pressure, "Pa") / _SEA_LEVEL_PRESSURE
    exponent = _LAPSE_RATE * GAS_CONSTANT_AIR / STANDARD_GRAVITY
    return (_SEA_LEVEL_TEMPERATURE / _LAPSE_RATE * (1.0 - ratio**exponent))[()]


def density_altitude(density: ArrayLike) -> FloatArray:
    r"""Altitude in the standard atmosphere at which the air is this dense: what the propellers feel.

    .. math:: H_\rho = \frac{288.15}{0.0065} \left[1 - (\rho / 1.225)^{1 / (g / (R L) - 1)}\right]

    Parameters
    ----------
    density : array_like, > 0
        rho. [kg/m^3]

    Returns
    -------
    ndarray
        Geopotential altitude; meaningful up to 11,000 m. [m]

    Raises
    ------
    ValueError
        If the density is not a number above zero.

    Notes
    -----
    [iso2533] turned round.

    Examples
    --------
    >>> round(float(density_altitude(atmosphere(1500.0, temperature=308.15).density)))
    2510
    """
    rho = check_positive("density", density, "kg/m^3")
    ratio = (rho / _SEA_LEVEL_DENSITY) ** (1.0 / (_PRESSURE_EXPONENT - 1.0))
    return (_SEA_LEVEL_TEMPERATURE / _LAPSE_RATE * (1.0 - ratio))[()]


def changed(air: Air, **values: ArrayLike) -> Air:
    """The same air warmed, cooled or under another pressure: what follows from that follows.

    Parameters
    ----------
    air : Air
    **values : array_like
        Fields of `Air`. With ``temperature`` or ``pressure``, density (ideal gas), viscosity (Sutherland) and speed of
        sound follow in proportion, as far as they are not given too.

    Returns
    -------
    Air

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    [iso2533]. In proportion, so that air of another density than the dry standard one keeps its own.

    Examples
    --------
    >>> warm = changed(STANDARD, temperature=308.15)
    >>> round(float(warm.density), 4) == round(float(atmosphere(0.0, 308.15).density), 4)
    True
    """
    new = replace(air, **values)
    if not {"temperature", "pressure"} & set(values):
        return new
    before, after = np.asarray(air.temperature, dtype=np.float64), np.asarray(new.temperature, dtype=np.float64)
    warmer, denser = after / before, np.asarray(new.pressure, dtype=np.float64) / np.asarray(air.pressure)
    follows = {
        "density": np.asarray(air.density) * denser / warmer,
        "viscosity": np.asarray(air.viscosity) * _sutherland(after) / _sutherland(before),
        "speed_of_sound": np.asarray(air.speed_of_sound) * np.sqrt(warmer),
    }
    return replace(new, **{k: v[()] for k, v in follows.items() if k not in values})


STANDARD = atmosphere()
"""Sea level, 15 C: the state that published propeller and thrust-stand figures are quoted for."""
