"""Two-node thermal model of a motor (winding and body) in the wash of its propeller.

The default thermal resistances and capacities are estimates with a wide spread: no published thermal resistance of a
bare multirotor outrunner in propeller wash was found.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base import checks, units
from propmodel.base.arrays import ArrayOrFloat, FloatArray, floats
from propmodel.base.constants import COPPER_TEMPERATURE_COEFFICIENT as ALPHA
from propmodel.base.status import Status

__all__ = [
    "HeatCapacity",
    "SteadyHeat",
    "ThermalResistance",
    "capacities",
    "resistances",
    "steady_temperatures",
    "temperatures_after",
]

REFERENCE = 20.0 + units.CELSIUS_ZERO
"""Reference temperature of a winding resistance. [K]"""
MOST_BELIEVABLE_TEMPERATURE = 200.0 + units.CELSIUS_ZERO
"""Highest steady winding temperature that is reported; insulation fails below it (class H is 180 C). [K]"""
WINDING_CONTACT = 0.30e-3
"""Thermal resistance from winding to stator and bell, times the area pi d h (estimate). [K m^2/W]"""
COPPER_SHARE, COPPER_HEAT, REST_HEAT = 0.13, 385.0, 460.0
"""Share of copper in the motor mass (estimate) [-]; specific heats of copper and of steel. [J/(kg K)]"""
BELL_OVERHANG, LENGTH_OVER = 6e-3, 11e-3
"""Bell diameter minus stator diameter, bell length minus stator height (estimates). [m]"""
STILL_AIR = 10.0
"""Lower limit of the heat transfer coefficient: natural convection and radiation (estimate). [W/(m^2 K)]"""
PRANDTL, AIR_SPECIFIC_HEAT = 0.71, 1005.0
"""Prandtl number and specific heat of air (handbook values). [-], [J/(kg K)]"""


class AirLike(Protocol):
    """The air properties that the cooling uses. A protocol, because this package must not import `components.air`."""

    @property
    def density(self) -> ArrayLike: ...
    @property
    def viscosity(self) -> ArrayLike: ...


@dataclass(frozen=True)
class ThermalResistance:
    """Thermal resistances of a motor.

    Parameters
    ----------
    winding_body, body_air : array_like, > 0
        Thermal resistance from winding to body, and from body to air. [K/W]
    """

    winding_body: ArrayOrFloat
    body_air: ArrayOrFloat

    def __post_init__(self) -> None:
        checks.check_positive("winding_body", self.winding_body, "K/W")
        checks.check_positive("body_air", self.body_air, "K/W")


@dataclass(frozen=True)
class HeatCapacity:
    """Heat capacities of a motor.

    Parameters
    ----------
    winding, body : array_like, > 0
        Heat capacity of the winding, and of the rest of the motor. [J/K]
    """

    winding: ArrayLike
    body: ArrayLike

    def __post_init__(self) -> None:
        checks.check_positive("winding", self.winding, "J/K")
        checks.check_positive("body", self.body, "J/K")


@dataclass(frozen=True)
class SteadyHeat:
    """Steady temperatures of a motor.

    Parameters
    ----------
    winding, body : ndarray
        Temperatures; NaN where there is no steady state. [K]
    status : ndarray of int8
        `Status.NEVER_SETTLES` for thermal runaway, and for a winding above `MOST_BELIEVABLE_TEMPERATURE`.
    """

    winding: FloatArray
    body: FloatArray
    status: NDArray[np.int8]


def resistances(
    *,
    stator_diameter: ArrayLike,
    stator_height: ArrayLike,
    wash_speed: ArrayLike,
    rev_per_s: ArrayLike,
    air: AirLike,
) -> ThermalResistance:
    """Thermal resistances of an outrunner in the wash of its propeller.

    Parameters
    ----------
    stator_diameter, stator_height : array_like, > 0
        Size of the stator. [m]
    wash_speed : array_like, >= 0
        Air speed over the bell, about the induced velocity. [m/s]
    rev_per_s : array_like, >= 0
        Speed of the motor. [1/s]
    air : AirLike
        Object with density [kg/m^3] and viscosity [Pa s].

    Returns
    -------
    ThermalResistance
        Of the broadcast shape of the arguments.

    Notes
    -----
    Estimates. Bell 6 mm wider and 11 mm longer than the stator, wetted inside and outside; air speed
    U = sqrt(wash^2 + (0.3 omega d/2)^2); Nusselt number 0.62 Re^(1/2) Pr^(1/3), the laminar part of the
    Churchill-Bernstein correlation for a cylinder in cross flow; at least 10 W/(m^2 K) for still air.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> air = SimpleNamespace(density=1.18, viscosity=1.77e-5)
    >>> r = resistances(stator_diameter=0.022, stator_height=0.007, wash_speed=7.0, rev_per_s=190.0, air=air)
    >>> round(float(r.winding_body), 2), round(float(r.body_air), 1)
    (0.62, 3.6)
    """
    d = checks.check_positive("stator_diameter", stator_diameter, "m")
    h = checks.check_positive("stator_height", stator_height, "m")
    wash = checks.check_range("wash_speed", wash_speed, 0.0, 1e3, "m/s")
    n = checks.check_range("rev_per_s", rev_per_s, 0.0, 1e5, "1/s")
    bell, length = d + BELL_OVERHANG, h + LENGTH_OVER
    area = 2.0 * (np.pi * bell * length + 0.25 * np.pi * bell * bell)
    rim_air_speed = 0.3 * np.pi * n * bell
    speed = np.sqrt(wash * wash + rim_air_speed * rim_air_speed)
    viscosity = floats(air.viscosity)
    conductivity = viscosity * (AIR_SPECIFIC_HEAT / PRANDTL)
    reynolds = floats(air.density) * speed * bell / viscosity
    film = (0.62 * PRANDTL ** (1.0 / 3.0)) * np.sqrt(reynolds) * conductivity / bell
    return ThermalResistance(WINDING_CONTACT / (np.pi * d * h), 1.0 / (np.maximum(film, STILL_AIR) * area))


def capacities(mass: ArrayLike) -> HeatCapacity:
    """Heat capacities of an outrunner from its mass: 13 % copper, the rest steel and magnet (estimate).

    Parameters
    ----------
    mass : array_like, > 0
        Mass of the motor. [kg]

    Returns
    -------
    HeatCapacity
        Same shape as ``mass``.

    Examples
    --------
    >>> round(float(capacities(0.032).winding), 2), round(float(capacities(0.032).body), 1)
    (1.6, 12.8)
    """
    m = checks.check_positive("mass", mass, "kg")
    return HeatCapacity(COPPER_SHARE * COPPER_HEAT * m, (1.0 - COPPER_SHARE) * REST_HEAT * m)


def steady_temperatures(
    copper_loss: ArrayLike,
    iron_loss: ArrayLike,
    *,
    resistance: ThermalResistance,
    air_temperature: ArrayLike,
    reference_temperature: ArrayLike = REFERENCE,
    believable: ArrayLike = MOST_BELIEVABLE_TEMPERATURE,
) -> SteadyHeat:
    r"""Steady temperatures of winding and body at a constant load.

    Parameters
    ----------
    copper_loss : array_like, >= 0
        I_rms^2 R of the winding alone, at the reference temperature; it grows 0.393 % per K. [W]
    iron_loss : array_like, >= 0
        Iron and friction loss, in the body. [W]
    resistance : ThermalResistance
        Thermal resistances. [K/W]
    air_temperature : array_like
        Temperature of the air. [K]
    reference_temperature : array_like
        Winding temperature for which ``copper_loss`` is given. [K]
    believable : array_like
        Winding temperature above which the result is NaN. [K]

    Returns
    -------
    SteadyHeat
        Temperatures and status, of the broadcast shape of the arguments.

    Notes
    -----
    .. math:: T_w - T_0 = \frac{T_a - T_0 + k + P_i R_b}{1 - \alpha k}, \quad k = P_{Cu} (R_{wb} + R_b)

    For :math:`\alpha k \ge 1` there is thermal runaway: no steady state exists, and the result is NaN.

    Examples
    --------
    >>> heat = steady_temperatures(2.0, 1.0, resistance=ThermalResistance(0.62, 3.6), air_temperature=285.15)
    >>> round(float(heat.winding) - 273.15, 1)
    24.2
    """
    copper = checks.check_range("copper_loss", copper_loss, 0.0, 1e9, "W")
    iron = checks.check_range("iron_loss", iron_loss, 0.0, 1e9, "W")
    ambient = checks.check_positive("air_temperature", air_temperature, "K")
    reference = checks.check_positive("reference_temperature", reference_temperature, "K")
    rb = np.asarray(resistance.body_air, dtype=np.float64)
    both = np.asarray(resistance.winding_body, dtype=np.float64) + rb
    k = copper * both
    spare = 1.0 - ALPHA * k
    runaway = spare <= 0.0
    rise = (ambient - reference + k + iron * rb) / np.where(runaway, 1.0, spare)
    never = runaway | (reference + rise > checks.check_positive("believable", believable, "K"))
    winding: FloatArray = np.where(never, np.nan, reference + rise)
    body = ambient + rb * (copper * (1.0 + ALPHA * (winding - reference)) + iron)
    status = np.where(never, np.int8(Status.NEVER_SETTLES), np.int8(Status.OK))
    return SteadyHeat(winding[()], body[()], status[()])


@dataclass(frozen=True)
class _Modes:
    """Eigenvalues (fast and slow) of the two-node system, and their shares in the response of winding and body."""

    fast: FloatArray
    slow: FloatArray
    winding_fast: FloatArray
    winding_slow: FloatArray
    body_fast: FloatArray
    body_slow: FloatArray


def modes(
    copper: FloatArray,
    iron: FloatArray,
    resistance: ThermalResistance,
    capacity: HeatCapacity,
    ambient: FloatArray,
    winding: FloatArray,
    body: FloatArray,
    reference: FloatArray,
) -> _Modes:
    """Eigenvalues and their shares in the initial rates of change; a final state need not exist (thermal runaway)."""
    g1 = 1.0 / np.asarray(resistance.winding_body, dtype=np.float64)
    gb = 1.0 / np.asarray(resistance.body_air, dtype=np.float64)
    cw = 1.0 / np.asarray(capacity.winding, dtype=np.float64)
    cb = 1.0 / np.asarray(capacity.body, dtype=np.float64)
    a11 = (ALPHA * copper - g1) * cw
    a12, a21 = g1 * cw, g1 * cb
    a22 = -(g1 + gb) * cb
    # rates of change at the start [K/s]
    r1 = (copper * (1.0 + ALPHA * (winding - reference)) - (winding - body) * g1) * cw
    r2 = ((winding - body) * g1 + iron - (body - ambient) * gb) * cb
    half = 0.5 * (a11 - a22)
    root = np.sqrt(half * half + a12 * a21)  # off-diagonals are positive: both eigenvalues are real
    mean = 0.5 * (a11 + a22)
    slow, fast = mean + root, mean - root
    inverse = 0.5 / root
    w_slow = ((a11 - fast) * r1 + a12 * r2) * inverse
    b_slow = (a21 * r1 + (a22 - fast) * r2) * inverse
    return _Modes(fast, slow, r1 - w_slow, w_slow, r2 - b_slow, b_slow)


def grown(rate: FloatArray, time: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return (exp(rate t) - 1) / rate and exp(rate t)."""
    x = np.minimum(rate * time, 500.0)
    up = np.expm1(x)
    tiny = np.abs(rate) < 1e-12
    return np.where(tiny, time, up / np.where(tiny, 1.0, rate)), up + 1.0


def temperatures_after(
    time: ArrayLike,
    *,
    copper_loss: ArrayLike,
    iron_loss: ArrayLike,
    resistance: ThermalResistance,
    capacity: HeatCapacity,
    air_temperature: ArrayLike,
    winding: ArrayLike,
    body: ArrayLike,
    reference_temperature: ArrayLike = REFERENCE,
) -> tuple[FloatArray, FloatArray]:
    """Temperatures of winding and body at a time after a constant load begins, in closed form.

    Parameters
    ----------
    time : array_like, >= 0
        Time since the start. [s]
    copper_loss, iron_loss : array_like, >= 0
        Winding loss at the reference temperature, and loss in the body. [W]
    resistance : ThermalResistance
        Thermal resistances. [K/W]
    capacity : HeatCapacity
        Heat capacities. [J/K]
    air_temperature, winding, body : array_like
        Temperature of the air; initial temperatures of winding and body. [K]
    reference_temperature : array_like
        Winding temperature for which ``copper_loss`` is given. [K]

    Returns
    -------
    winding, body : ndarray
        Temperatures, of the broadcast shape of the arguments. [K]

    Examples
    --------
    >>> w, b = temperatures_after(10.0, copper_loss=20.0, iron_loss=5.0,
    ...     resistance=ThermalResistance(0.62, 2.1), capacity=HeatCapacity(1.6, 12.8),
    ...     air_temperature=285.15, winding=328.15, body=328.15)
    >>> round(float(w) - 273.15, 1), round(float(b) - 273.15, 1)
    (73.3, 58.8)
    """
    t = checks.check_range("time", time, 0.0, 1e9, "s")
    start_w = checks.check_positive("winding", winding, "K")
    start_b = checks.check_positive("body", body, "K")
    m = modes(
        checks.check_range("copper_loss", copper_loss, 0.0, 1e9, "W"),
        checks.check_range("iron_loss", iron_loss, 0.0, 1e9, "W"),
        resistance,
        capacity,
        checks.check_positive("air_temperature", air_temperature, "K"),
        start_w,
        start_b,
        checks.check_positive("reference_temperature", reference_temperature, "K"),
    )
    fast, slow = grown(m.fast, t)[0], grown(m.slow, t)[0]
    return (
        start_w + m.winding_fast * fast + m.winding_slow * slow,
        start_b + m.body_fast * fast + m.body_slow * slow,
    )
