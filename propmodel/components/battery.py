"""The pack: open-circuit voltage against charge, internal resistance, discharge at constant power.

Two resistances, one pack. A punch lasts seconds: throttle curves, full throttle and the dive use the 10-second
resistance. A hover lasts minutes: concentration builds up and the same cell shows 1.6 to 2 times as much, so
hover, cruise and discharge use :data:`SUSTAINED_FACTOR` times the 10-second value, less in the cold. Shorter pulses
show less: `resistance` takes any time from a tenth of a second on.

The resistance of a LiPo pouch was measured on one cell (5 A h, 65C on its label), see ``data/packs/SOURCE.md``. How it
goes with the C rating of other labels is an estimate (`label_c`, `cell_resistance_new`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base.arrays import Number
from propmodel.base.checks import as_floats, check_finite, check_in, check_positive, check_range, keep_arrays, shown
from propmodel.base.constants import GAS_CONSTANT
from propmodel.base.status import Status
from propmodel.base.tables import read_table

__all__ = [
    "CHEMISTRIES",
    "Chemistry",
    "Discharge",
    "Pack",
    "believable_rate",
    "capacity",
    "cell_resistance_new",
    "cell_tables",
    "chemistry_index",
    "cold_root",
    "cutoff_voltage",
    "discharge",
    "label_c",
    "mass",
    "open_circuit_voltage",
    "resistance",
    "temperature_factor",
    "ten_second_resistance",
    "terminal_voltage",
]

SUSTAINED_FACTOR = 1.8
"""Resistance over minutes against the 10-second one: 1.6 to 2 on constant-current runs of the Ecker2015 pouch cell
(PyBaMM, half discharged, 1C to 5C); the middle is taken. [-]"""

SUSTAINED_COLD = 0.5
"""What minutes add to the 10-second resistance grows in the cold as its temperature factor to this: it is transport,
which the cold slows about half as much (18 kJ/mol). Runs of the Ecker2015 cell at 0 C, 1C to 4C, lie between 0 and 1.
[-]"""

SUSTAINED_TIME = 300.0
"""Time under load from which the sustained resistance holds; between 10 s and this it is interpolated. Estimate. [s]"""

POUCH_LABEL_C = 65.0
"""Label of the measured pouch. [1/h]"""

POUCH_CAPACITY = 5.0
"""Label of the measured pouch. [A h]"""

CAPACITY_EXPONENT = 0.4
"""Resistance times capacity of a LiPo goes as its capacity to this: between 0, electrodes alone, and 2/3, foils and
tabs of cells of one shape, whose number of layers grows as the cube root of the capacity. Estimate. [-]"""

LABEL_EXPONENT = 0.5
"""And as the label's C to the minus this: 1 if a rating meant the same sag at the rated current in every pack; labels
are known to promise more than that. Estimate: with the measured 22 mohm A h of the 65C 5 A h pouch the two exponents
give 10.5 to 8.6 mohm A h at 1.3 A h and 100 to 150C; published thrust-to-weight ratios of racing craft ask for 7 to
12. [-]"""

LABEL_RANGE = (30.0, 150.0)
"""Labels outside are taken as the nearer end: nothing measured speaks for them. Estimate. [1/h]"""

REFERENCE_RATE = 5.0
"""Rate at which all resistances stand unless a rate is given, in the middle of the measured 1 to 10 C. [1/h]"""

RATE_RANGE = (0.1, 10.0)
"""Rates outside are taken as the nearer end. [1/h]"""

USABLE_RANGE = (0.1, 6.5)
"""Of a new pack; above 1.3 only where the age of a worn pack was taken out of a reading. [-]"""

REFERENCE_TEMPERATURE = 298.15
LEAST_TEMPERATURE, MOST_TEMPERATURE = 223.15, 353.15
"""Range of a pack's cells; outside it their resistance is held. It was measured from -10 to 40 C. [K]"""
PIECES_PER_KELVIN = 8
PIECES = round((MOST_TEMPERATURE - LEAST_TEMPERATURE) * PIECES_PER_KELVIN)
"""Straight pieces that the temperature factor is read from along a flight. [1/K, -]"""
KNOTS = 21

CAPACITY_LOSS_PER_CYCLE = 0.0008
RESISTANCE_GROWTH_PER_CYCLE = 0.003
"""Estimates for hobby packs flown hard (from memory): 100 cycles cost 8 % of charge and add 30 % resistance."""


@dataclass(frozen=True)
class Chemistry:
    """What a chemistry brings when the label says no more.

    Parameters
    ----------
    label : str
        Plain name.
    full_voltage, nominal_voltage, cutoff_voltage : float
        Of one cell; the cut-off is the loaded voltage to land at. [V]
    resistance_capacity : float
        10-second resistance of one cell times its label capacity at 25 C and half charge, with `POUCH_LABEL_C` and
        `POUCH_CAPACITY` on the label. [ohm A h]
    label_exponent, capacity_exponent : float
        How it falls with the label's C and rises with the capacity; 0 where nothing is known of that. [-]
    typical_label : float
        Taken where the label's C is not known. [1/h]
    usable_share : float
        Charge between empty and full over the label. [-]
    measured_pouch : bool
        Resistance against charge as in the measured LiPo pouch; else as in the computed NMC pouch.
    mass_per_energy : float
        Of a finished pack. [kg / W h]
    pack_overhead : float
        Leads and wrapping. [kg]
    punch_floor : float
        Loaded cell voltage not to go below even in a punch (common practice, from memory). [V]
    """

    label: str
    full_voltage: float
    nominal_voltage: float
    cutoff_voltage: float
    resistance_capacity: float
    label_exponent: float
    capacity_exponent: float
    typical_label: float
    usable_share: float
    measured_pouch: bool
    mass_per_energy: float
    pack_overhead: float
    punch_floor: float


def _lipo(label: str, full: float, nominal: float, mass_per_energy: float, *, higher: float = 1.0,
          measured: bool = True) -> Chemistry:  # fmt: skip
    """A LiPo kind: resistance of the measured pouch times ``higher``, racing label, usable share of that pouch."""
    return Chemistry(
        label, full, nominal, 3.30, 22.4e-3 * higher, LABEL_EXPONENT, CAPACITY_EXPONENT, 120.0, 0.94, measured,
        mass_per_energy, 0.020, 3.0,
    )  # fmt: skip


CHEMISTRIES: dict[str, Chemistry] = {
    # typical label: 120C means 9.6 mohm A h at 1.3 A h, the middle of the 7 to 12 of published racing craft.
    # Usable share 0.94: one pouch measured, 4.71 of 5.00 A h. High-voltage cells 8/7 of LiPo, 60 mohm A h for 21700
    # cells and all masses per watt-hour: common practice, from memory.
    "lipo": _lipo("LiPo pouch", 4.20, 3.70, 6.7e-3),
    "lipo_hv": _lipo("high-voltage LiPo pouch", 4.35, 3.80, 6.4e-3, higher=8.0 / 7.0),
    "li_ion": Chemistry(
        "Li-ion cylindrical", 4.20, 3.60, 2.80, 60.0e-3, 0.0, 0.0, POUCH_LABEL_C, 1.0, False, 5.1e-3, 0.030, 2.5
    ),
    "lipo_lco": _lipo("LiPo pouch, cobalt oxide", 4.20, 3.70, 6.7e-3),
    "lipo_nmc": _lipo("LiPo pouch, nickel manganese cobalt", 4.20, 3.70, 6.7e-3, measured=False),
}
_NAMES = tuple(CHEMISTRIES)
MOST_CAPACITY = 500.0
"""More is most likely mAh typed as A h. [A h]"""


@lru_cache(maxsize=1)
def _cells() -> tuple[NDArray, NDArray]:
    """OCV and 10-second resistance over that at half charge [chemistry, knot] on 5 % knots of state of charge."""
    table = read_table("packs", "cells.csv")
    ocv = np.stack([table[f"{name} [V]"].to_numpy(dtype=np.float64) for name in _NAMES])
    relative = _shapes()[-1]
    ocv.flags.writeable = relative.flags.writeable = False
    return ocv, relative


_TIMES = (0.1, 1.0, 10.0)


@lru_cache(maxsize=1)
def _shapes() -> NDArray:
    """Resistance over that at half charge after 0.1, 1 and 10 s. [time, chemistry, knot]"""
    table = read_table("packs", "cells.csv")
    computed = table["relative_resistance [-]"].to_numpy(dtype=np.float64)
    pouch = [table[f"lipo_resistance_{seconds:g}s [-]"].to_numpy(dtype=np.float64) for seconds in _TIMES]
    return np.stack([[row if CHEMISTRIES[name].measured_pouch else computed for name in _NAMES] for row in pouch])


class _Law(NamedTuple):
    """Resistance of the measured pouch after one time under load, see ``data/packs/fit_pulses.py``."""

    resistance_capacity: float
    energy: float
    drop: float
    """Overvoltage at `REFERENCE_RATE` and 25 C over the scale of its arcsinh law. [-]"""


@lru_cache(maxsize=1)
def _laws() -> tuple[_Law, ...]:
    """The law after 0.1, 1 and 10 s."""
    table = read_table("packs", "resistance.csv").set_index("time [s]").loc[list(_TIMES)]
    return tuple(
        _Law(r, energy, REFERENCE_RATE * r / scale)
        for r, energy, scale in table.itertuples(index=False)
    )  # fmt: skip


@lru_cache(maxsize=32)
def _index_of(name: str) -> NDArray[np.intp]:
    """Position of one name, as an array without axes."""
    found = np.asarray(_NAMES.index(check_in("chemistry", name, _NAMES)))
    found.flags.writeable = False
    return found


def chemistry_index(chemistry: str | int | NDArray) -> NDArray[np.intp]:
    """Position of each chemistry in `CHEMISTRIES`; positions pass through, which is quicker for large arrays.

    Parameters
    ----------
    chemistry : str, array of str or array of int
        Names, or positions.

    Returns
    -------
    ndarray of int

    Raises
    ------
    ValueError
        For an unknown name.
    """
    if isinstance(chemistry, str):
        return _index_of(chemistry)
    try:
        names = np.asarray(chemistry)
    except ValueError:
        raise ValueError(f"chemistry must be a name or a plain list of names, got {shown(chemistry)}") from None
    if names.dtype.kind in "iu":
        if np.any((names < 0) | (names >= len(_NAMES))):
            raise ValueError(f"chemistry positions run from 0 to {len(_NAMES) - 1}")
        return names
    asked = (c if isinstance(c, int) else str(c) for c in np.atleast_1d(names).ravel())
    flat = np.array([_NAMES.index(check_in("chemistry", c, _NAMES)) for c in asked])
    return flat.reshape(names.shape)


@lru_cache(maxsize=32)
def _figures(field: str) -> NDArray:
    """A field of all chemistries, in their order."""
    values = np.array([getattr(CHEMISTRIES[name], field) for name in _NAMES])
    values.flags.writeable = False
    return values


def of_chemistry(pack: Pack, field: str) -> NDArray:
    """A figure of each pack's chemistry, as a field name of `Chemistry`."""
    return _figures(field)[chemistry_index(pack.chemistry)]


@dataclass(frozen=True)
class Pack:
    """A battery pack; numeric fields may be arrays.

    Parameters
    ----------
    chemistry : str or array of str
        One of ``lipo``, ``lipo_hv``, ``li_ion``, ``lipo_lco``; or positions in `CHEMISTRIES`, as `chemistry_index`
        gives them.
    cells : array_like
        Cells in series. [-]
    capacity_ah : array_like
        Label capacity of one string. [A h]
    cell_resistance : array_like or None
        10-second resistance of one cell at 25 C and half charge, new; None estimates it from chemistry, label and
        capacity. A charger's reading is less: `ten_second_resistance` makes one of the other. [ohm]
    parallel : array_like
        Strings (or equal packs) in parallel. [-]
    temperature : array_like
        Of the cells; at take-off where a flight is asked for, which warms them. [K]
    cycles : array_like
        Full cycles flown. [-]
    lead_resistance : array_like
        Leads and connector, both ways. [ohm]
    mass : array_like or None
        Of everything in parallel together; None estimates it from the energy. [kg]
    max_continuous_current, max_burst_current : array_like or None
        Label figures of everything in parallel together. [A]
    label_c : array_like or None
        C rating on the label; None takes the continuous current over the capacity, else a typical one. [1/h]
    usable_share : array_like or None
        Charge between empty and full over the label as measured, new; None takes the chemistry's: 0.94 for LiPo, one
        pouch measured. [-]
    reserve : array_like
        Charge to land with. [-]
    cutoff_voltage_per_cell : array_like or None
        Loaded cell voltage to land at; None takes the chemistry's. [V]
    name : str
        Free text.

    Notes
    -----
    States of charge are shares of the usable capacity, not of the label. The voltage of a cell at the end of a
    10-second pulse is ``open_circuit_voltage(pack, charge) - current * resistance(pack, charge)`` with the cell's
    temperature in the pack and ``lead_resistance=0`` where the leads are not in it. Resistances stand at 5C; in the
    cold another rate counts and may be given.

    Examples
    --------
    A 65C 5 A h pouch at 10 C and 70 % charge, 25 A for ten seconds:

    >>> pouch = Pack("lipo", 1, 5.0, label_c=65, temperature=283.15, lead_resistance=0.0)
    >>> round(float(open_circuit_voltage(pouch, 0.7) - 25.0 * resistance(pouch, 0.7)), 2)
    3.71
    """

    chemistry: str | int | NDArray
    cells: Number
    capacity_ah: Number
    cell_resistance: Number | None = None
    parallel: Number = 1
    temperature: Number = REFERENCE_TEMPERATURE
    cycles: Number = 0.0
    lead_resistance: Number = 2.5e-3
    mass: Number | None = None
    max_continuous_current: Number | None = None
    max_burst_current: Number | None = None
    reserve: Number = 0.2
    cutoff_voltage_per_cell: Number | None = None
    name: str = ""
    label_c: Number | None = None
    usable_share: Number | None = None

    def __post_init__(self) -> None:
        chemistry_index(self.chemistry)
        check_range("cells", self.cells, 1, 30)
        check_positive("capacity_ah", self.capacity_ah, "A h")
        check_range("capacity_ah", self.capacity_ah, 0.0, MOST_CAPACITY, "A h")
        check_range("parallel", self.parallel, 1, 100)
        check_range("pack temperature", self.temperature, LEAST_TEMPERATURE, MOST_TEMPERATURE, "K")
        check_range("cycles", self.cycles, 0.0, 1000.0)
        check_range("lead_resistance", self.lead_resistance, 0.0, 10.0, "ohm")
        check_range("reserve", self.reserve, 0.0, 0.95)
        if self.cell_resistance is not None:
            check_positive("cell_resistance", self.cell_resistance, "ohm")
        if self.cutoff_voltage_per_cell is not None:
            check_range("cutoff_voltage_per_cell", self.cutoff_voltage_per_cell, 2.0, 4.4, "V")
        for field in ("mass", "max_continuous_current", "max_burst_current"):
            value = getattr(self, field)
            if value is not None:
                check_positive(field, value)
        if self.label_c is not None:
            check_range("label_c", self.label_c, 0.5, 500.0, "1/h")
        if self.usable_share is not None:
            check_range("usable_share", self.usable_share, *USABLE_RANGE)
        keep_arrays(self)


def capacity(pack: Pack) -> NDArray:
    """Charge the whole pack holds today.

    Parameters
    ----------
    pack : Pack
        The pack.

    Returns
    -------
    ndarray
        Usable capacity of all strings, less what cycles have cost. [A h]

    Examples
    --------
    >>> round(float(capacity(Pack("lipo", 6, 1.3, cycles=100))), 3)
    1.124
    """
    label = np.asarray(pack.capacity_ah, dtype=np.float64) * np.asarray(pack.parallel)
    return label * (usable_share_new(pack) * capacity_left(pack.cycles))


def usable_share_new(pack: Pack) -> NDArray:
    """Charge between empty and full over the label, new: as measured, else the chemistry's. [-]"""
    if pack.usable_share is not None:
        return np.array(pack.usable_share, dtype=np.float64)
    return of_chemistry(pack, "usable_share")


def capacity_left(cycles: ArrayLike) -> NDArray:
    """Share of the charge that is left after some full cycles. [-]"""
    return np.maximum(1.0 - CAPACITY_LOSS_PER_CYCLE * np.asarray(cycles, dtype=np.float64), 0.2)


def mass(pack: Pack) -> NDArray:
    """Mass of the pack, estimated from its energy where it is not given.

    Parameters
    ----------
    pack : Pack
        The pack.

    Returns
    -------
    ndarray
        [kg]

    Examples
    --------
    >>> round(float(mass(Pack("lipo", 6, 1.3))), 3)
    0.213
    """
    if pack.mass is not None:
        return np.array(pack.mass, dtype=np.float64)
    energy = (
        np.asarray(pack.capacity_ah, dtype=np.float64)
        * np.asarray(pack.parallel)
        * np.asarray(pack.cells)
        * of_chemistry(pack, "nominal_voltage")
    )
    return of_chemistry(pack, "pack_overhead") + energy * of_chemistry(pack, "mass_per_energy")


def cutoff_voltage(pack: Pack) -> NDArray:
    """Loaded voltage of one cell at which to land.

    Parameters
    ----------
    pack : Pack
        The pack.

    Returns
    -------
    ndarray
        [V]
    """
    if pack.cutoff_voltage_per_cell is not None:
        return np.array(pack.cutoff_voltage_per_cell, dtype=np.float64)
    return of_chemistry(pack, "cutoff_voltage")


def _between_knots(state_of_charge: ArrayLike) -> tuple[NDArray, NDArray]:
    """Knot of the cell table below a charge, and the share of the way to the next one."""
    charge = as_floats("state_of_charge", state_of_charge)
    position = np.minimum(np.maximum(charge, 0.0), 1.0) * (KNOTS - 1)
    if position != position if isinstance(position, float) else np.isnan(position).any():
        check_finite("state_of_charge", charge)
    low = np.minimum(np.asarray(position).astype(np.intp), KNOTS - 2)
    return low, position - low


def open_circuit_voltage(pack: Pack, state_of_charge: ArrayLike) -> NDArray:
    """Rest voltage of the whole pack.

    Parameters
    ----------
    pack : Pack
        The pack.
    state_of_charge : array_like
        0 to 1; outside it the end value is held. [-]

    Returns
    -------
    ndarray
        Linear between 5 % knots of the cell table. [V]

    Examples
    --------
    >>> round(float(open_circuit_voltage(Pack("lipo", 6, 1.3), 1.0)), 2)
    25.2
    """
    table, _ = _cells()
    low, share = _between_knots(state_of_charge)
    chemistry = chemistry_index(pack.chemistry)
    cell = table[chemistry, low] * (1.0 - share) + table[chemistry, low + 1] * share
    return np.asarray(pack.cells) * cell


def label_c(pack: Pack) -> NDArray:
    """C rating that the resistance is estimated from.

    Parameters
    ----------
    pack : Pack
        The pack.

    Returns
    -------
    ndarray
        As given; else the label's continuous current over its capacity, where that is a rating that is sold (below
        500); else the chemistry's typical one. [1/h]

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
    Resistance times capacity of a LiPo is the measured pouch's at its label of 65C and 5 A h, and goes as the
    label's C to the power -0.5, held outside 30 to 150C, and as the capacity to the power 0.4: estimates, see
    `LABEL_EXPONENT` and `CAPACITY_EXPONENT`. The spread is in `studies.spread`.

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


def _colder(temperature: NDArray, law: _Law, rate: ArrayLike | None = None) -> NDArray:
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
        Of the cells. [K]

    Returns
    -------
    ndarray
        Fitted to the measured pouch from 0 to 40 C at 5C: an activation energy of 36 kJ/mol, bent down in the cold
        because the overvoltage of charge transfer grows as the arcsinh of the current. [-]

    Examples
    --------
    >>> temperature_factor([273.15, 298.15, 313.15]).round(2).tolist()
    [3.33, 1.0, 0.51]
    """
    return _colder(as_floats("temperature", temperature), _laws()[-1])


def ten_second_resistance(reading: ArrayLike, temperature: ArrayLike = REFERENCE_TEMPERATURE,
                          cycles: ArrayLike = 0.0) -> NDArray:  # fmt: skip
    """`Pack.cell_resistance` from a charger's reading of one cell.

    Parameters
    ----------
    reading : array_like
        What the charger shows. [ohm]
    temperature : array_like
        Of the cells then. [K]
    cycles : array_like
        Full cycles flown by then. [-]

    Returns
    -------
    ndarray
        10-second value at 25 C, new. [ohm]

    Notes
    -----
    Chargers step their current for 0.1 to 1 s (common practice, from memory). The reading is taken as the geometric
    middle of the two: 1/1.70 of the 10-second value in the measured pouch, 15 % to either side.

    Examples
    --------
    >>> round(1e3 * float(ten_second_resistance(5e-3)), 2)
    8.5
    """
    short, second, ten = (law.resistance_capacity for law in _laws())
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
        colder = _colder(temperature, _laws()[-1])
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
        False: over 10 seconds (punch, full throttle). True: over minutes (hover, cruise).
    seconds : array_like or None
        Time under load, in place of the two: interpolated in logarithms between 0.1, 1 and 10 s and the sustained
        value from `SUSTAINED_TIME` on; held below 0.1 s. [s]
    rate : array_like or None
        Current over the label capacity; None takes `REFERENCE_RATE`. It counts in the cold: at 0 C the pouch shows a
        sixth less at 10 than at 5C. Measured from 1 to 10, held outside. [1/h]

    Returns
    -------
    ndarray
        (emf - voltage) / current at that time after the load came on, the emf before it. [ohm]

    Examples
    --------
    >>> round(1000 * float(resistance(Pack("lipo", 6, 1.3, lead_resistance=0.0), 0.5)), 2)
    44.39
    >>> pouch = Pack("lipo", 1, 5.0, label_c=65, lead_resistance=0.0)
    >>> (1000 * resistance(pouch, 0.5, seconds=[0.1, 1.0, 10.0, 600.0])).round(1).tolist()
    [2.3, 3.1, 4.5, 8.1]
    """
    low, share = _between_knots(state_of_charge)
    rate = None if rate is None else as_floats("rate", rate)
    if seconds is not None or rate is not None:
        string = np.asarray(pack.cells) * _cell_resistance_after(pack, low, share, seconds, rate)
        if seconds is None and sustained:
            string = string * _minutes_over_ten_seconds(temperature_factor(pack.temperature))
        return string / pack.parallel + pack.lead_resistance
    _, relative = _cells()
    chemistry = chemistry_index(pack.chemistry)
    shape = relative[chemistry, low] * (1.0 - share) + relative[chemistry, low + 1] * share
    many = np.asarray(pack.cells) * shape / pack.parallel
    return many * _cell_resistance(pack, sustained=sustained) + pack.lead_resistance


def _cell_resistance_after(
    pack: Pack, low: NDArray, share: NDArray, seconds: ArrayLike | None, rate: ArrayLike | None
) -> NDArray:
    """Resistance of one cell at a charge, after a time under load and at a rate. [ohm]"""
    chemistry = chemistry_index(pack.chemistry)
    temperature = np.asarray(pack.temperature, dtype=np.float64)
    new = cell_resistance_new(pack) * _older(pack.cycles)
    ten = _laws()[-1].resistance_capacity
    logs = []
    for law, shapes in zip(_laws(), _shapes(), strict=True):
        shape = shapes[chemistry, low] * (1.0 - share) + shapes[chemistry, low + 1] * share
        logs.append(np.log(new * (law.resistance_capacity / ten) * shape * _colder(temperature, law, rate)))
    if seconds is None:
        return np.exp(logs[-1])
    logs.append(logs[-1] + np.log(_minutes_over_ten_seconds(temperature_factor(temperature))))
    time = np.asarray(check_positive("seconds", seconds, "s"), dtype=np.float64)
    at = np.interp(np.log(time), np.log([*_TIMES, SUSTAINED_TIME]), np.arange(4.0))
    return np.exp(sum(np.maximum(1.0 - np.abs(at - k), 0.0) * log for k, log in enumerate(logs)))


def believable_rate(pack: Pack, *, sustained: bool = False) -> NDArray:
    """C rating that the pack's resistance allows: current over label capacity that a half-full pack can give.

    Parameters
    ----------
    pack : Pack
        The pack, at its temperature and age, with its leads.
    sustained : bool
        False: for ten seconds, down to the lowest cell voltage of a punch. True: for minutes, down to the landing
        voltage.

    Returns
    -------
    ndarray
        [1/h]

    Examples
    --------
    >>> pack = Pack("lipo", 6, 1.3, label_c=100)
    >>> round(float(believable_rate(pack))), round(float(believable_rate(pack, sustained=True)))
    (75, 27)
    """
    floor = cutoff_voltage(pack) if sustained else of_chemistry(pack, "punch_floor")
    room = open_circuit_voltage(pack, 0.5) - floor * np.asarray(pack.cells)
    amps = np.maximum(room, 0.0) / resistance(pack, 0.5, sustained=sustained)
    return amps / (np.asarray(pack.capacity_ah) * np.asarray(pack.parallel))


@lru_cache(maxsize=1)
def _cold_roots() -> tuple[NDArray, NDArray]:
    """Root of the temperature factor in straight pieces, held outside: level at 0 K and slope of each."""
    edges = np.arange(PIECES + 1) / PIECES_PER_KELVIN + LEAST_TEMPERATURE
    roots = np.sqrt(temperature_factor(edges))
    slopes = np.diff(roots) * PIECES_PER_KELVIN
    slopes = np.concatenate([[0.0], slopes, [0.0]])
    levels = np.concatenate([roots[:1], roots]) - slopes * np.concatenate([edges[:1], edges])
    levels.flags.writeable = slopes.flags.writeable = False
    return levels, slopes


def cold_root(temperature: NDArray) -> NDArray:
    """Root of the temperature factor, quickly.

    Parameters
    ----------
    temperature : ndarray
        Of the cells; held outside what a `Pack` takes. [K]

    Returns
    -------
    ndarray
        Within 2e-6 of the root of `temperature_factor`, and falling with temperature as that does. [-]

    Examples
    --------
    >>> round(float(cold_root(np.asarray(273.15)) ** 2), 2)
    3.33
    """
    levels, slopes = _cold_roots()
    piece = ((temperature - (LEAST_TEMPERATURE - 1.0 / PIECES_PER_KELVIN)) * PIECES_PER_KELVIN).astype(np.intp)
    return levels.take(piece, mode="clip") + slopes.take(piece, mode="clip") * temperature


def cell_tables(pack: Pack) -> Callable[[NDArray], tuple[NDArray, NDArray]]:
    """Rest voltage and resistance of the cells as one function of charge, for walks down a pack that warms.

    Parameters
    ----------
    pack : Pack
        The pack; its own temperature does not count.

    Returns
    -------
    callable
        Of a state of charge 0 to 1: rest voltage [V], and resistance of all cells over ten seconds at 25 C, without
        leads [ohm]. With w the `cold_root` of a temperature, w^2 times that is the resistance over ten seconds there,
        and w (w + `SUSTAINED_FACTOR` - 1) times that the one over minutes, as in `resistance`.
    """
    table, relative = _cells()
    chemistry = chemistry_index(pack.chemistry)
    cells = np.asarray(pack.cells)
    string = cells * (cell_resistance_new(pack) * _older(pack.cycles)) / np.asarray(pack.parallel)

    def at(state_of_charge: NDArray) -> tuple[NDArray, NDArray]:
        low, share = _between_knots(state_of_charge)
        cell = table[chemistry, low] * (1.0 - share) + table[chemistry, low + 1] * share
        shape = relative[chemistry, low] * (1.0 - share) + relative[chemistry, low + 1] * share
        return cells * cell, string * shape

    return at


def terminal_voltage(emf: ArrayLike, resistance: ArrayLike, power: ArrayLike) -> NDArray:
    """Loaded voltage at constant power, upper branch; half the rest voltage where the power is not to be had.

    Parameters
    ----------
    emf : array_like
        Rest voltage. [V]
    resistance : array_like
        Pack resistance. [ohm]
    power : array_like
        Power drawn at the terminals. [W]

    Returns
    -------
    ndarray
        V = (E + sqrt(E^2 - 4 R P)) / 2. [V]

    Examples
    --------
    >>> round(float(terminal_voltage(25.0, 0.03, 2000.0)), 3)
    22.311
    """
    emf = as_floats("emf", emf)
    lost = 4.0 * as_floats("resistance", resistance) * as_floats("power", power)
    return 0.5 * (emf + np.sqrt(np.maximum(emf * emf - lost, 0.0)))


@dataclass(frozen=True)
class Discharge:
    """A constant-power discharge.

    Parameters
    ----------
    time : ndarray
        To the cut-off or the reserve, whichever came first. [s]
    energy : ndarray
        Delivered at the terminals. [J]
    charge : ndarray
        Drawn. [A h]
    stored_energy : ndarray
        Taken from the cells, delivered plus lost. [J]
    loss : ndarray
        Heat in cells and leads. [J]
    end_state_of_charge : ndarray
        Where it stopped. [-]
    end_voltage : ndarray
        Loaded pack voltage there. [V]
    stopped_by_voltage : ndarray of bool
        True where the voltage, not the reserve, ended it.
    status : ndarray of int8
        :class:`propmodel.base.status.Status`.
    curve_state_of_charge, curve_time, curve_voltage, curve_current : ndarray
        The run, along a leading axis of 21 nodes (the knots, clipped to the run). [-, s, V, A]
    """

    time: NDArray
    energy: NDArray
    charge: NDArray
    stored_energy: NDArray
    loss: NDArray
    end_state_of_charge: NDArray
    end_voltage: NDArray
    stopped_by_voltage: NDArray
    status: NDArray
    curve_state_of_charge: NDArray
    curve_time: NDArray
    curve_voltage: NDArray
    curve_current: NDArray


def discharge(
    pack: Pack,
    power: ArrayLike,
    *,
    cutoff_voltage_per_cell: ArrayLike | None = None,
    temperature: ArrayLike | None = None,
    state_of_charge: ArrayLike = 1.0,
    reserve: ArrayLike = 0.0,
) -> Discharge:
    """Run a pack down at constant power.

    Parameters
    ----------
    pack : Pack
        The pack.
    power : array_like
        Drawn at the terminals, held to the end. [W]
    cutoff_voltage_per_cell : array_like or None
        Loaded cell voltage that ends the run; None takes the pack's. [V]
    temperature : array_like or None
        Of the cells, held, as in a chamber: only flights warm a pack (`flight.endurance`). None takes the pack's. [K]
    state_of_charge : array_like
        At the start. [-]
    reserve : array_like
        State of charge that ends the run; 0 lets the voltage decide. [-]

    Returns
    -------
    Discharge
        Shapes as the inputs broadcast.

    Raises
    ------
    ValueError
        If power is not above zero, or a state of charge is outside 0 to 1.

    Notes
    -----
    Trapezoid in charge on the cell table's own 5 % knots, the cut-off crossing found inside its segment; time,
    charge, energy and loss share nodes and weights, so that stored = delivered + lost holds to rounding.

    Examples
    --------
    >>> run = discharge(Pack("lipo", 6, 1.3), 150.0, reserve=0.2)
    >>> round(float(run.time) / 60, 1)
    8.9
    """
    check_positive("power", power, "W")
    check_range("state_of_charge", state_of_charge, 0.0, 1.0)
    check_range("reserve", reserve, 0.0, 1.0)
    if temperature is not None:
        pack = replace(pack, temperature=temperature)  # type: ignore[arg-type]
    cut = check_range(
        "cutoff_voltage_per_cell",
        cutoff_voltage(pack) if cutoff_voltage_per_cell is None else cutoff_voltage_per_cell,
        0.5,
        5.0,
        "V",
    )
    start = np.asarray(state_of_charge, dtype=np.float64)
    shape = np.broadcast_shapes(np.shape(power), np.shape(cut), np.shape(start), np.shape(reserve), shape_of(pack))
    nodes = knots_below(np.broadcast_to(start, shape))
    emf, r = node_tables(pack, nodes)
    return run_down(
        pack, np.broadcast_to(np.asarray(power, float), nodes.shape), nodes, emf, r, cut=cut, reserve=reserve
    )


def shape_of(pack: Pack) -> tuple[int, ...]:
    """Shape the fields of a pack broadcast to."""
    return np.broadcast_shapes(
        *(
            np.shape(v)
            for v in (
                pack.chemistry,
                pack.cells,
                pack.capacity_ah,
                pack.cell_resistance if pack.cell_resistance is not None else 0.0,
                label_c(pack) if pack.cell_resistance is None else 0.0,
                pack.usable_share if pack.usable_share is not None else 0.0,
                pack.parallel,
                pack.temperature,
                pack.cycles,
                pack.lead_resistance,
            )
        )
    )


def knots_below(start: NDArray) -> NDArray:
    """States of charge from ``start`` down the table's knots to 0, along a leading axis of 21."""
    knots = np.linspace(1.0, 0.0, KNOTS).reshape((KNOTS,) + (1,) * np.ndim(start))
    return np.minimum(knots, start)


def node_tables(pack: Pack, nodes: NDArray) -> tuple[NDArray, NDArray]:
    """Rest voltage [V] and sustained resistance [ohm] of the pack at every node."""
    return open_circuit_voltage(pack, nodes), resistance(pack, nodes, sustained=True)


def run_down(
    pack: Pack,
    power: NDArray,
    nodes: NDArray,
    emf: NDArray,
    r: NDArray,
    *,
    cut: ArrayLike,
    reserve: ArrayLike,
) -> Discharge:
    """Quadrature of :func:`discharge` on given nodes (leading axis, falling); power may differ from node to node.

    Parameters
    ----------
    pack : Pack
        The pack, for its capacity and cells.
    power : ndarray
        Drawn at each node. [W]
    nodes, emf, r : ndarray
        States of charge [-], rest voltages [V] and resistances [ohm] at the nodes.
    cut, reserve : array_like
        Loaded cell voltage [V] and state of charge [-] that end the run.

    Returns
    -------
    Discharge
        As :func:`discharge`.
    """
    limit = np.asarray(cut) * np.asarray(pack.cells)
    # above the cut-off exactly where E - (P / V_cut) R - V_cut > 0 (upper branch, V_cut above half of E)
    head = emf - power / limit * r - limit
    alive = np.logical_and.accumulate(head >= 0.0, axis=0)
    first_dead = np.sum(alive, axis=0)  # index of the first node below the cut-off; 21 where none is
    top = nodes[0]
    k = np.clip(first_dead, 1, KNOTS - 1)[None]
    upper, lower = np.take_along_axis(nodes, k - 1, 0)[0], np.take_along_axis(nodes, k, 0)[0]
    head_upper, head_lower = np.take_along_axis(head, k - 1, 0)[0], np.take_along_axis(head, k, 0)[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = lower + (upper - lower) * np.where(head_lower < 0.0, -head_lower / (head_upper - head_lower), 0.0)
    by_voltage = first_dead < KNOTS
    end = np.where(first_dead == 0, top, np.where(by_voltage, crossing, 0.0))
    floor = np.minimum(np.asarray(reserve, dtype=np.float64), top)
    stopped_by_voltage = by_voltage & (end >= floor)
    end = np.maximum(end, floor)

    clipped = np.maximum(nodes, end)
    # values at the clipped nodes: interpolate the tables once more at the single end point
    end_emf, end_r = open_circuit_voltage(pack, end), resistance(pack, end, sustained=True)
    at_end = nodes <= end
    end_power = _power_at(power, nodes, end)
    node_emf = np.where(at_end, end_emf, emf)
    node_r = np.where(at_end, end_r, r)
    node_power = np.where(at_end, end_power, power)
    voltage = terminal_voltage(node_emf, node_r, node_power)
    current = node_power / voltage
    width = np.diff(clipped, axis=0) * -capacity(pack)  # charge of each segment [A h]
    per_amp, per_watt = 1.0 / current, node_power / current
    hours = np.cumsum(0.5 * (per_amp[1:] + per_amp[:-1]) * width, axis=0)
    time = hours[-1] * 3600.0
    energy = np.sum(0.5 * (per_watt[1:] + per_watt[:-1]) * width, axis=0) * 3600.0
    stored = np.sum(0.5 * (node_emf[1:] + node_emf[:-1]) * width, axis=0) * 3600.0
    drop = current * node_r
    loss = np.sum(0.5 * (drop[1:] + drop[:-1]) * width, axis=0) * 3600.0
    charge = np.sum(width, axis=0)
    status = np.where(first_dead == 0, Status.BELOW_CUTOFF_AT_ONCE, Status.OK).astype(np.int8)
    zero = np.zeros_like(hours[:1])
    return Discharge(
        time=time,
        energy=energy,
        charge=charge,
        stored_energy=stored,
        loss=loss,
        end_state_of_charge=end,
        end_voltage=terminal_voltage(end_emf, end_r, end_power),
        stopped_by_voltage=stopped_by_voltage,
        status=status,
        curve_state_of_charge=clipped,
        curve_time=np.concatenate([zero, hours]) * 3600.0,
        curve_voltage=voltage,
        curve_current=current,
    )


def _power_at(power: NDArray, nodes: NDArray, end: NDArray) -> NDArray:
    """Power at the end of the run, linear between the nodes around it."""
    k = np.clip(np.sum(nodes > end, axis=0), 1, KNOTS - 1)[None]
    high, low = np.take_along_axis(nodes, k - 1, 0)[0], np.take_along_axis(nodes, k, 0)[0]
    p_high, p_low = np.take_along_axis(power, k - 1, 0)[0], np.take_along_axis(power, k, 0)[0]
    width = high - low
    share = np.where(width > 0.0, (high - end) / np.where(width > 0.0, width, 1.0), 0.0)
    return p_high + (p_low - p_high) * share
