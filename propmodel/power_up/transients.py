"""Short, violent things on the bus: plugging in, braking, a blocked propeller.

Upper bounds to be careful by, not forecasts: switch bounce, arcs and clamping parts are left out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from propmodel.base.arrays import FloatArray
from propmodel.base.checks import as_floats, check_finite, check_positive, check_range

__all__ = [
    "blocked_seconds",
    "braking_voltage",
    "capacitor_energy",
    "inrush_current",
    "ring_voltage",
    "rotor_energy",
]

COPPER_HEAT = 385.0
"""Specific heat of copper. [J/(kg K)]"""


def capacitor_energy(voltage: ArrayLike, capacitance: ArrayLike) -> FloatArray:
    """Energy a capacitor takes up at plug-in; as much again turns to heat in the spark and the loop.

    Parameters
    ----------
    voltage : array_like
        [V]
    capacitance : array_like
        [F]

    Returns
    -------
    ndarray
        C V^2 / 2. [J]

    Examples
    --------
    >>> round(float(capacitor_energy(25.2, 1000e-6)), 4)
    0.3175
    """
    check_range("capacitance", capacitance, 0.0, 10.0, "F")
    return 0.5 * as_floats("capacitance", capacitance) * as_floats("voltage", voltage) ** 2


def inrush_current(
    voltage: ArrayLike, *, capacitance: ArrayLike, resistance: ArrayLike, inductance: ArrayLike
) -> FloatArray:
    r"""Peak current when an empty capacitor meets the pack: step response of a series R-L-C loop.

    Parameters
    ----------
    voltage : array_like
        Of the pack. [V]
    capacitance, resistance, inductance : array_like
        Of the loop: capacitor with its own resistance, leads, pack. [F, ohm, H]

    Returns
    -------
    ndarray
        Below both V/R (no inductance) and V sqrt(C/L) (no resistance). [A]

    Notes
    -----
    Textbook solution: with a = R/2L and w0 = 1/sqrt(LC) the current is V/(L w) exp(-a t) sin(w t) for a < w0,
    with w^2 = w0^2 - a^2, and the same with sinh for a > w0.

    Examples
    --------
    >>> round(float(inrush_current(25.2, capacitance=1e-3, resistance=0.06, inductance=0.2e-6)))
    371
    """
    check_finite("voltage", voltage, "V")
    check_positive("capacitance", capacitance, "F")
    check_positive("resistance", resistance, "ohm")
    check_positive("inductance", inductance, "H")
    v, c, r, ind = np.broadcast_arrays(
        as_floats("voltage", voltage),
        as_floats("capacitance", capacitance),
        as_floats("resistance", resistance),
        as_floats("inductance", inductance),
    )
    a = 0.5 * r / ind
    square = 1.0 / (ind * c) - a * a
    w = np.sqrt(np.maximum(np.abs(square), (1e-6 * a) ** 2))  # close to critical both forms meet
    ringing = square > 0.0
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        time = np.where(ringing, np.arctan2(w, a) / w, np.arctanh(np.minimum(w / a, 1.0 - 1e-15)) / w)
        # exp(-a t) sinh(w t) without overflow
        slow, fast = np.exp((w - a) * time), np.exp(-(w + a) * time)
        shape = np.where(ringing, np.exp(-a * time) * np.sin(w * time), 0.5 * (slow - fast))
    return v / (ind * w) * shape


def ring_voltage(
    voltage: ArrayLike, *, capacitance: ArrayLike, resistance: ArrayLike, inductance: ArrayLike
) -> FloatArray:
    """Highest bus voltage at plug-in, where only small capacitors sit at the end of inductive leads.

    Parameters
    ----------
    voltage, capacitance, resistance, inductance : array_like
        As in `inrush_current`. [V, F, ohm, H]

    Returns
    -------
    ndarray
        V (1 + exp(-pi a/w)): twice the pack without damping, the pack's own voltage with enough. [V]

    Examples
    --------
    >>> round(float(ring_voltage(25.2, capacitance=20e-6, resistance=0.03, inductance=0.2e-6)), 1)
    40.8
    """
    check_positive("capacitance", capacitance, "F")
    check_positive("inductance", inductance, "H")
    check_range("resistance", resistance, 0.0, 1e3, "ohm")
    v, c, r, ind = np.broadcast_arrays(
        as_floats("voltage", voltage),
        as_floats("capacitance", capacitance),
        as_floats("resistance", resistance),
        as_floats("inductance", inductance),
    )
    a = 0.5 * r / ind
    square = 1.0 / (ind * c) - a * a
    overshoot = np.exp(-np.pi * a / np.sqrt(np.where(square > 0.0, square, 1.0)))
    return v * (1.0 + np.where(square > 0.0, overshoot, 0.0))


def rotor_energy(inertia: ArrayLike, rev_per_s: ArrayLike) -> FloatArray:
    """Energy in a turning rotor.

    Parameters
    ----------
    inertia : array_like
        Bell and propeller about the shaft. [kg m^2]
    rev_per_s : array_like
        [1/s]

    Returns
    -------
    ndarray
        J (2 pi n)^2 / 2. [J]

    Examples
    --------
    >>> round(float(rotor_energy(1e-5, 400.0)), 1)
    31.6
    """
    return 0.5 * as_floats("inertia", inertia) * (2.0 * np.pi * as_floats("rev_per_s", rev_per_s)) ** 2


def braking_voltage(
    voltage: ArrayLike, *, capacitance: ArrayLike, energy: ArrayLike, returned: ArrayLike = 0.5
) -> FloatArray:
    """Bus voltage after braking into capacitors alone, as on a bench supply that cannot take current back.

    Parameters
    ----------
    voltage : array_like
        Before. [V]
    capacitance : array_like
        [F]
    energy : array_like
        Of all rotors braked at once. [J]
    returned : array_like
        Share of it that reaches the bus, the rest heats the windings. [-] Default 0.5 is an estimate.

    Returns
    -------
    ndarray
        sqrt(V^2 + 2 share E / C). [V]

    Examples
    --------
    >>> round(float(braking_voltage(12.0, capacitance=1e-3, energy=1.0)), 1)
    33.8
    """
    check_positive("capacitance", capacitance, "F")
    check_range("returned share", returned, 0.0, 1.0)
    return np.sqrt(
        as_floats("voltage", voltage) ** 2
        + 2.0 * as_floats("returned", returned) * as_floats("energy", energy) / as_floats("capacitance", capacitance)
    )


def blocked_seconds(
    current: ArrayLike, *, winding_resistance: ArrayLike, copper_mass: ArrayLike, rise: ArrayLike = 95.0
) -> FloatArray:
    """Time until the copper of a blocked motor has warmed by ``rise``, no heat leaving it.

    Parameters
    ----------
    current : array_like
        Motor current. [A]
    winding_resistance : array_like
        Of the copper alone. [ohm]
    copper_mass : array_like
        [kg]
    rise : array_like
        95 K take a winding from 25 to 120 C. [K]

    Returns
    -------
    ndarray
        m c dT / (I^2 R); short, so that losing no heat is near the truth. [s]

    Examples
    --------
    >>> round(float(blocked_seconds(100.0, winding_resistance=0.06, copper_mass=0.004)), 2)
    0.24
    """
    check_positive("motor current", current, "A")
    return (
        as_floats("copper_mass", copper_mass)
        * COPPER_HEAT
        * as_floats("rise", rise)
        / (as_floats("current", current) ** 2 * as_floats("winding_resistance", winding_resistance))
    )
