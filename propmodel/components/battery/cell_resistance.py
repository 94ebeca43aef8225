"""Resistance of a pack from its label or a reading, as a function of charge, temperature, age and time under load.

A pack has two resistances. Loads of seconds (throttle curves, full throttle, dive) use the 10-second resistance. Under
loads of minutes a concentration gradient develops and the resistance is 1.6 to 2 times higher, so hover, cruise and
discharge use :data:`SUSTAINED_FACTOR` times the 10-second value, less in the cold. For shorter pulses it is lower:
`resistance` accepts any time from 0.1 s.

The resistance of a LiPo pouch was measured on one cell (5 A h, 65C on its label), see ``data/packs/SOURCE.md``. Its
dependence on the C rating of other labels is an estimate (`label_c`, `cell_resistance_new`).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base.checks import as_floats, check_flag, check_positive
from propmodel.base.constants import GAS_CONSTANT
from propmodel.components.battery.chemistry import (
    POUCH_CAPACITY,
    POUCH_LABEL_C,
    PULSE_TIMES,
    RATE_RANGE,
    REFERENCE_RATE,
    ResistanceLaw,
    cell_table,
    chemistry_index,
    resistance_laws,
    resistance_shapes,
)
from propmodel.components.battery.pack import (
    LEAST_TEMPERATURE,
    MOST_TEMPERATURE,
    REFERENCE_TEMPERATURE,
    Pack,
    between_knots,
    cutoff_voltage,
    of_chemistry,
    open_circuit_voltage,
)

__all__ = [
    "believable_rate",
    "cell_resistance_new",
    "cell_tables",
    "cold_root",
    "label_c",
    "resistance",
    "temperature_factor",
    "ten_second_resistance",
]

SUSTAINED_FACTOR = 1.8
"""Resistance for loads of minutes over the 10-second resistance: 1.6 to 2 in constant-current simulations of the
Ecker2015 pouch cell (PyBaMM, half discharged, 1C to 5C), of which the middle is used. [-]"""
SUSTAINED_COLD = 0.5
"""Exponent of the temperature factor in the part that minutes add to the 10-second resistance. This part is transport,
whose activation energy is about half as large (18 kJ/mol). Simulations of the Ecker2015 cell at 0 C, 1C to 4C, give 0
to 1. [-]"""
SUSTAINED_TIME = 300.0
"""Time under load from which the sustained resistance applies; from 10 s to this it is interpolated. Estimate. [s]"""
LABEL_RANGE = (30.0, 150.0)
"""Range of C ratings used; values outside are clipped, because there are no measurements. Estimate. [1/h]"""
PIECES_PER_KELVIN = 8
PIECES = round((MOST_TEMPERATURE - LEAST_TEMPERATURE) * PIECES_PER_KELVIN)
"""Number of linear segments that approximate the temperature factor during a flight, per kelvin and in total.
[1/K, -]"""
RESISTANCE_GROWTH_PER_CYCLE = 0.003
"""Relative increase of the resistance per cycle. [-] Estimate for hobby packs with high loads (from memory): 100 cycles
reduce the capacity by 8 % and increase the resistance by 30 %."""


def label_c(pack: Pack) -> NDArray:
    """C rating from which the resistance is estimated.

    Parameters
    ----------
    pack : Pack
        The pack.

    Returns
    -------
    ndarray
        The given C rating; else the continuous current over the capacity of the label, if below 500; else the typical
        rating of the chemistry. [1/h]

    Examples
    --------
    >>> float(label_c(Pack("lipo", 6, 1.3))), float(label_c(Pack("lipo", 6, 1.5, max_continuous_current=150.0)))
    (120.0, 100.0)
    """
    if pack.label_c is not None:
        return np.array(pack.label_c, dtype=np.float64)
    typical = of_chemistry(pack, "typical_label")
    if pack.max_continuous_current is None:
        return typical
    rate = np.asarray(pack.max_continuous_current, dtype=np.float64) / (
        np.asarray(pack.capacity_ah) * np.asarray(pack.parallel)
    )
    return np.where(rate <= 500.0, rate, typical)


def cell_resistance_new(pack: Pack) -> NDArray:
    """Resistance of one cell, given or estimated from its chemistry, label and capacity.

    Parameters
    ----------
    pack : Pack
        The pack.

    Returns
    -------
    ndarray
        10-second value at 25 C and half charge, new. [ohm]

    Notes
    -----
    Resistance times capacity of a LiPo cell equals that of the measured pouch at its label of 65C and 5 A h. It is
    proportional to the C rating (clipped to 30 to 150C) to the power -0.5, and to the capacity to the power 0.4. The
    exponents are estimates, see `LABEL_EXPONENT` and `CAPACITY_EXPONENT`. The spread is in
    `propmodel.studies.spread`.

    Examples
    --------
    >>> round(1e3 * float(cell_resistance_new(Pack("lipo", 1, 5.0, label_c=65))), 2)
    4.48
    >>> [round(1.3e3 * float(cell_resistance_new(Pack("lipo", 1, 1.3, label_c=c))), 1) for c in (75, 100, 150)]
    [12.2, 10.5, 8.6]
    """
    if pack.cell_resistance is not None:
        return np.array(pack.cell_resistance, dtype=np.float64)
    rating = np.minimum(np.maximum(label_c(pack), LABEL_RANGE[0]), LABEL_RANGE[1])
    lower = (POUCH_LABEL_C / rating) ** of_chemistry(pack, "label_exponent")
    label = np.asarray(pack.capacity_ah, dtype=np.float64)
    small = (label / POUCH_CAPACITY) ** of_chemistry(pack, "capacity_exponent")
    return of_chemistry(pack, "resistance_capacity") * lower * (small / label)


def _colder(temperature: NDArray, law: ResistanceLaw, rate: ArrayLike | None = None) -> NDArray:
    """Resistance over that at 25 C and `REFERENCE_RATE`. [-]"""
    factor = np.exp(law.energy / GAS_CONSTANT * (1.0 / temperature - 1.0 / REFERENCE_TEMPERATURE))
    drop = law.drop * factor
    if rate is not None:
        drop = drop * (np.minimum(np.maximum(rate, RATE_RANGE[0]), RATE_RANGE[1]) / REFERENCE_RATE)
    return factor * (np.arcsinh(drop) / drop) * (law.drop / np.arcsinh(law.drop))


def temperature_factor(temperature: ArrayLike) -> NDArray:
    """10-second resistance at a cell temperature over that at 25 C.

    Parameters
    ----------
    temperature : array_like
        Temperature of the cells. [K]

    Returns
    -------
    ndarray
        Ratio, same shape. Fitted to the measured pouch from 0 to 40 C at 5C: an activation energy of 36 kJ/mol, reduced
        in the cold because the overvoltage of charge transfer grows as the arcsinh of the current. [-]

    Examples
    --------
    >>> temperature_factor([273.15, 298.15, 313.15]).round(2).tolist()
    [3.33, 1.0, 0.51]
    """
    return _colder(as_floats("temperature", temperature), resistance_laws()[-1])


def ten_second_resistance(reading: ArrayLike, temperature: ArrayLike = REFERENCE_TEMPERATURE,
                          cycles: ArrayLike = 0.0) -> NDArray:  # fmt: skip
    """`Pack.cell_resistance` from a charger's reading of one cell.

    Parameters
    ----------
    reading : array_like
        Resistance of one cell displayed by the charger. [ohm]
    temperature : array_like
        Temperature of the cells at the reading. [K]
    cycles : array_like
        Number of full cycles at the reading. [-]

    Returns
    -------
    ndarray
        10-second value at 25 C, new. [ohm]

    Notes
    -----
    Chargers use current steps of 0.1 to 1 s (common practice, from memory). The reading is taken as the geometric mean
    of the values at these times: 1/1.70 of the 10-second value in the measured pouch, with 15 % to either side.

    Examples
    --------
    >>> round(1e3 * float(ten_second_resistance(5e-3)), 2)
    8.5
    """
    short, second, ten = (law.resistance_capacity for law in resistance_laws())
    now = as_floats("reading", reading) * (ten / np.sqrt(short * second))
    return now / (temperature_factor(temperature) * _older(cycles))


def _older(cycles: ArrayLike) -> NDArray:
    """Resistance over that of a new pack. [-]"""
    return 1.0 + RESISTANCE_GROWTH_PER_CYCLE * as_floats("cycles", cycles)


def _cell_resistance(pack: Pack, *, sustained: bool = False) -> NDArray:
    """Resistance of one cell at half charge, at its temperature and age, over 10 seconds or minutes. [ohm]"""
    new = cell_resistance_new(pack)
    temperature = np.asarray(pack.temperature, dtype=np.float64)
    factor = _older(pack.cycles)
    if np.any(temperature != REFERENCE_TEMPERATURE):
        colder = _colder(temperature, resistance_laws()[-1])
        factor = factor * (colder * _minutes_over_ten_seconds(colder) if sustained else colder)
    elif sustained:
        factor = factor * SUSTAINED_FACTOR
    return new * factor


def _minutes_over_ten_seconds(colder: NDArray) -> NDArray:
    """Sustained over 10-second resistance, by how much the cold has raised the latter. [-]"""
    return 1.0 + (SUSTAINED_FACTOR - 1.0) * colder ** (SUSTAINED_COLD - 1.0)


def resistance(
    pack: Pack,
    state_of_charge: ArrayLike = 0.5,
    *,
    sustained: bool = False,
    seconds: ArrayLike | None = None,
    rate: ArrayLike | None = None,
) -> NDArray:
    """Resistance of the whole pack with its leads.

    Parameters
    ----------
    pack : Pack
        The pack.
    state_of_charge : array_like
        0 to 1. [-]
    sustained : bool
        False for loads of 10 seconds (punch, full throttle), True for loads of minutes (hover, cruise).
    seconds : array_like or None
        Time under load, in place of ``sustained``. Logarithmic interpolation between 0.1, 1 and 10 s and the sustained
        value at `SUSTAINED_TIME`; constant below 0.1 s. [s]
    rate : array_like or None
        Current over label capacity; None means `REFERENCE_RATE`. It matters in the cold: at 0 C the pouch has a sixth
        less resistance at 10C than at 5C. Measured from 1 to 10C, constant outside. [1/h]

    Returns
    -------
    ndarray
        (open-circuit voltage before the load - voltage) / current at that time, of the broadcast shape. [ohm]

    Examples
    --------
    >>> round(1000 * float(resistance(Pack("lipo", 6, 1.3, lead_resistance=0.0), 0.5)), 2)
    44.39
    >>> pouch = Pack("lipo", 1, 5.0, label_c=65, lead_resistance=0.0)
    >>> (1000 * resistance(pouch, 0.5, seconds=[0.1, 1.0, 10.0, 600.0])).round(1).tolist()
    [2.3, 3.1, 4.5, 8.1]
    """
    low, share = between_knots(state_of_charge)
    rate = None if rate is None else as_floats("rate", rate)
    check_flag("sustained", sustained)
    if seconds is not None or rate is not None:
        string = np.asarray(pack.cells) * cell_resistance_after(pack, low, share, seconds, rate)
        if seconds is None and sustained:
            string = string * _minutes_over_ten_seconds(temperature_factor(pack.temperature))
        return string / pack.parallel + pack.lead_resistance
    _, relative = cell_table()
    chemistry = chemistry_index(pack.chemistry)
    shape = relative[chemistry, low] * (1.0 - share) + relative[chemistry, low + 1] * share
    many = np.asarray(pack.cells) * shape / pack.parallel
    return many * _cell_resistance(pack, sustained=sustained) + pack.lead_resistance


def cell_resistance_after(
    pack: Pack, low: NDArray, share: NDArray, seconds: ArrayLike | None, rate: ArrayLike | None
) -> NDArray:
    """Resistance of one cell at a charge, after a time under load and at a rate. [ohm]"""
    chemistry = chemistry_index(pack.chemistry)
    temperature = np.asarray(pack.temperature, dtype=np.float64)
    new = cell_resistance_new(pack) * _older(pack.cycles)
    ten = resistance_laws()[-1].resistance_capacity
    logs = []
    for law, shapes in zip(resistance_laws(), resistance_shapes(), strict=True):
        shape = shapes[chemistry, low] * (1.0 - share) + shapes[chemistry, low + 1] * share
        logs.append(np.log(new * (law.resistance_capacity / ten) * shape * _colder(temperature, law, rate)))
    if seconds is None:
        return np.exp(logs[-1])
    logs.append(logs[-1] + np.log(_minutes_over_ten_seconds(temperature_factor(temperature))))
    time = np.asarray(check_positive("seconds", seconds, "s"), dtype=np.float64)
    at = np.interp(np.log(time), np.log([*PULSE_TIMES, SUSTAINED_TIME]), np.arange(4.0))
    return np.exp(sum(np.maximum(1.0 - np.abs(at - k), 0.0) * log for k, log in enumerate(logs)))


def believable_rate(pack: Pack, *, sustained: bool = False) -> NDArray:
    """C rating that is consistent with the resistance: current over label capacity that a half-full pack can supply.

    Parameters
    ----------
    pack : Pack
        The pack, at its temperature and age, with its leads.
    sustained : bool
        False for ten seconds, down to the lowest cell voltage of a punch; True for minutes, down to the landing
        voltage.

    Returns
    -------
    ndarray
        C rating, of the shape of the pack. [1/h]

    Examples
    --------
    >>> pack = Pack("lipo", 6, 1.3, label_c=100)
    >>> round(float(believable_rate(pack))), round(float(believable_rate(pack, sustained=True)))
    (75, 27)
    """
    floor = cutoff_voltage(pack) if check_flag("sustained", sustained) else of_chemistry(pack, "punch_floor")
    room = open_circuit_voltage(pack, 0.5) - floor * np.asarray(pack.cells)
    amps = np.maximum(room, 0.0) / resistance(pack, 0.5, sustained=sustained)
    return amps / (np.asarray(pack.capacity_ah) * np.asarray(pack.parallel))


@lru_cache(maxsize=1)
def _cold_roots() -> tuple[NDArray, NDArray]:
    """Piecewise linear square root of the temperature factor, constant outside: intercept and slope of each segment."""
    edges = np.arange(PIECES + 1) / PIECES_PER_KELVIN + LEAST_TEMPERATURE
    roots = np.sqrt(temperature_factor(edges))
    slopes = np.diff(roots) * PIECES_PER_KELVIN
    slopes = np.concatenate([[0.0], slopes, [0.0]])
    levels = np.concatenate([roots[:1], roots]) - slopes * np.concatenate([edges[:1], edges])
    levels.flags.writeable = slopes.flags.writeable = False
    return levels, slopes


def cold_root(temperature: NDArray) -> NDArray:
    """Fast approximation of the square root of the temperature factor.

    Parameters
    ----------
    temperature : ndarray
        Temperature of the cells; clipped to the range of a `Pack`. [K]

    Returns
    -------
    ndarray
        Within 2e-6 of the square root of `temperature_factor`, and monotone like it; same shape. [-]

    Examples
    --------
    >>> round(float(cold_root(np.asarray(273.15)) ** 2), 2)
    3.33
    """
    levels, slopes = _cold_roots()
    piece = ((temperature - (LEAST_TEMPERATURE - 1.0 / PIECES_PER_KELVIN)) * PIECES_PER_KELVIN).astype(np.intp)
    return levels.take(piece, mode="clip") + slopes.take(piece, mode="clip") * temperature


def cell_tables(pack: Pack) -> Callable[[NDArray], tuple[NDArray, NDArray]]:
    """Return open-circuit voltage and resistance of the cells as one function of charge, for a pack that warms up.

    Parameters
    ----------
    pack : Pack
        The pack; its temperature is not used.

    Returns
    -------
    callable
        Function of the state of charge, 0 to 1, that returns the open-circuit voltage [V] and the 10-second resistance
        of all cells at 25 C without leads [ohm]. With w = `cold_root` of a temperature, the 10-second resistance at it
        is w^2 times this value, and the sustained one w (w + `SUSTAINED_FACTOR` - 1) times, as in `resistance`.
    """
    table, relative = cell_table()
    chemistry = chemistry_index(pack.chemistry)
    cells = np.asarray(pack.cells)
    string = cells * (cell_resistance_new(pack) * _older(pack.cycles)) / np.asarray(pack.parallel)

    def at(state_of_charge: NDArray) -> tuple[NDArray, NDArray]:
        low, share = between_knots(state_of_charge)
        cell = table[chemistry, low] * (1.0 - share) + table[chemistry, low + 1] * share
        shape = relative[chemistry, low] * (1.0 - share) + relative[chemistry, low + 1] * share
        return cells * cell, string * shape

    return at
