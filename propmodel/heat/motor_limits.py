"""Thermal limits of a motor: its continuous current, and the time until the winding reaches its limit."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from propmodel.base import checks, units
from propmodel.base.arrays import FloatArray
from propmodel.base.constants import COPPER_TEMPERATURE_COEFFICIENT as ALPHA
from propmodel.heat.motor import REFERENCE, HeatCapacity, ThermalResistance, grown, modes

__all__ = ["continuous_current", "seconds_to_limit"]


def continuous_current(
    winding_resistance: ArrayLike,
    iron_loss: ArrayLike,
    *,
    resistance: ThermalResistance,
    air_temperature: ArrayLike,
    winding_limit: ArrayLike,
    reference_temperature: ArrayLike = REFERENCE,
) -> FloatArray:
    """Continuous current: the current at which the steady winding temperature equals its limit.

    Parameters
    ----------
    winding_resistance : array_like, > 0
        Resistance of the winding at the reference temperature. [ohm]
    iron_loss : array_like, >= 0
        Loss in the body. [W]
    resistance : ThermalResistance
        Thermal resistances. [K/W]
    air_temperature, winding_limit, reference_temperature : array_like
        Temperature of the air, limit of the winding, and temperature of ``winding_resistance``. [K]

    Returns
    -------
    ndarray
        RMS current, of the broadcast shape; NaN where the iron loss alone exceeds the limit. [A]

    Examples
    --------
    >>> r = ThermalResistance(1.7, 6.0)
    >>> round(float(continuous_current(2.45, 0.0, resistance=r, air_temperature=298.15, winding_limit=398.15,
    ...                                reference_temperature=298.15)), 3)
    1.951
    """
    r20 = checks.check_positive("winding_resistance", winding_resistance, "ohm")
    iron = checks.check_range("iron_loss", iron_loss, 0.0, 1e9, "W")
    ambient = checks.check_positive("air_temperature", air_temperature, "K")
    limit = checks.check_positive("winding_limit", winding_limit, "K")
    reference = checks.check_positive("reference_temperature", reference_temperature, "K")
    rb = np.asarray(resistance.body_air, dtype=np.float64)
    both = np.asarray(resistance.winding_body, dtype=np.float64) + rb
    hot = r20 * (1.0 + ALPHA * (limit - reference)) * both
    square = (limit - ambient - iron * rb) / hot
    return np.sqrt(np.where(square >= 0.0, square, np.nan))


def seconds_to_limit(
    copper_loss: ArrayLike,
    iron_loss: ArrayLike,
    *,
    resistance: ThermalResistance,
    capacity: HeatCapacity,
    air_temperature: ArrayLike,
    winding_limit: ArrayLike,
    winding: ArrayLike = 55.0 + units.CELSIUS_ZERO,
    body: ArrayLike = 55.0 + units.CELSIUS_ZERO,
    reference_temperature: ArrayLike = REFERENCE,
) -> FloatArray:
    """Time at a constant load until the winding first reaches its limit, from a warm start.

    Parameters
    ----------
    copper_loss : array_like, >= 0
        I^2 R of the winding alone, at the reference temperature. [W]
    iron_loss : array_like, >= 0
        Loss in the body. [W]
    resistance : ThermalResistance
        Thermal resistances. [K/W]
    capacity : HeatCapacity
        Heat capacities. [J/K]
    air_temperature, winding_limit : array_like
        Temperature of the air, and limit of the winding. [K]
    winding, body : array_like
        Initial temperatures. [K]
    reference_temperature : array_like
        Winding temperature for which ``copper_loss`` is given. [K]

    Returns
    -------
    ndarray
        inf where the limit is never reached, 0 where the initial temperature exceeds it. [s]

    Notes
    -----
    The winding temperature is a sum of two exponentials. Newton's method starts from a lower bound in which the fast
    exponential has its final value. Elements that do not converge (unusual initial temperatures) are bisected.

    Examples
    --------
    >>> t = seconds_to_limit(53.0, 8.0, resistance=ThermalResistance(0.62, 2.1),
    ...     capacity=HeatCapacity(1.6, 12.8), air_temperature=285.15, winding_limit=393.15)
    >>> round(float(t), 1)
    7.7
    """
    copper = checks.check_range("copper_loss", copper_loss, 0.0, 1e9, "W")
    iron = checks.check_range("iron_loss", iron_loss, 0.0, 1e9, "W")
    ambient = checks.check_positive("air_temperature", air_temperature, "K")
    limit = checks.check_positive("winding_limit", winding_limit, "K")
    start_w = checks.check_positive("winding", winding, "K")
    start_b = checks.check_positive("body", body, "K")
    reference = checks.check_positive("reference_temperature", reference_temperature, "K")
    m = modes(copper, iron, resistance, capacity, ambient, start_w, start_b, reference)
    parts = np.broadcast_arrays(limit - start_w, m.fast, m.slow, m.winding_fast, m.winding_slow)
    shape = parts[0].shape
    rise, fast, slow, w_fast, w_slow = (part.reshape(-1) for part in parts)

    slow = np.where(np.abs(slow) < 1e-9, 1e-9, slow)
    out = np.where(rise <= 0.0, 0.0, np.inf)
    # usual case: the winding temperature rises monotonically, with positive shares of both exponentials
    usual = (w_fast >= 0.0) & (w_slow > 0.0)
    with np.errstate(over="ignore"):
        reached = (slow > 0.0) | (-w_fast / fast - w_slow / slow > rise)
    live = np.flatnonzero((rise > 0.0) & usual & reached)
    out[live] = _newton(*(part[live] for part in (rise, fast, slow, w_fast, w_slow)))
    odd = np.flatnonzero((rise > 0.0) & (~usual | np.isnan(out)))
    if odd.size:
        out[odd] = _bisect(*(part[odd] for part in (rise, fast, slow, w_fast, w_slow)))
    return out.reshape(shape)[()]


def _newton(rise: FloatArray, fast: FloatArray, slow: FloatArray, w_fast: FloatArray, w_slow: FloatArray) -> FloatArray:
    """Time at which a rising sum of two exponentials reaches ``rise``; NaN where the iteration does not converge."""
    with np.errstate(all="ignore"):
        # lower bound: the fast exponential has its final value from the start
        left = rise + w_fast / fast
        t = np.maximum(np.log1p(left * slow / w_slow) / slow, rise / (w_fast + w_slow))
        t = np.where(t > 0.0, t, 0.0)
        for _ in range(5):
            up_fast, up_slow = np.expm1(fast * t), np.expm1(slow * t)
            error = rise - w_fast / fast * up_fast - w_slow / slow * up_slow
            t = t + error / (w_fast * (up_fast + 1.0) + w_slow * (up_slow + 1.0))
            worst = np.abs(error).max(initial=0.0)
            if worst < 1e-3:  # the next error is about the square of this one
                return t
        return np.where((np.abs(error) < 1e-3) & (t >= 0.0), t, np.nan)


def _bisect(rise: FloatArray, fast: FloatArray, slow: FloatArray, w_fast: FloatArray, w_slow: FloatArray) -> FloatArray:
    """First time at which a sum of two exponentials reaches ``rise``, by bisection; inf where it never does."""
    longest = np.full(rise.shape, 1e7)
    with np.errstate(all="ignore"):
        # the only turning point, where both rates cancel
        turn = np.log(-w_fast / w_slow) / (slow - fast)
        turn = np.where(np.isfinite(turn) & (turn > 0.0), turn, longest)
        early, late = (w_fast * grown(fast, t)[0] + w_slow * grown(slow, t)[0] >= rise for t in (turn, longest))
        out = np.full(rise.shape, np.inf)
        live = np.flatnonzero(early | late)
        rise, fast, slow, w_fast, w_slow = (part[live] for part in (rise, fast, slow, w_fast, w_slow))
        early, turn = early[live], turn[live]
        low = np.where(early | (turn >= 1e7), 0.0, turn)
        high = np.where(early, turn, 1e7)
        # Newton's method kept inside the bracket, which is halved wherever a step would leave it or gains too little
        t, before = 0.5 * (low + high), high - low
        for _ in range(80):
            (up_fast, grown_fast), (up_slow, grown_slow) = grown(fast, t), grown(slow, t)
            error = w_fast * up_fast + w_slow * up_slow - rise
            over = error >= 0.0
            high, low = np.where(over, t, high), np.where(over, low, t)
            step = t - error / (w_fast * grown_fast + w_slow * grown_slow)
            good = (step > low) & (step < high) & (np.abs(step - t) < 0.5 * before)
            new = np.where(good, step, 0.5 * (low + high))
            before = np.abs(new - t)
            t = new
            if not (before > 1e-10 * t).any():
                break
    out[live] = t
    return out
