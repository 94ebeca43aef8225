"""Pack: cells, capacity, mass, open-circuit voltage, and terminal voltage under load."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base.arrays import ArrayOrFloat
from propmodel.base.checks import as_floats, check_finite, keep_arrays
from propmodel.base.ranges import allowed, check_fields, positive
from propmodel.components.battery.chemistry import KNOTS, cell_table, chemistry_index, figures_of

__all__ = [
    "Pack",
    "capacity",
    "cutoff_voltage",
    "mass",
    "nominal_voltage",
    "open_circuit_voltage",
    "terminal_voltage",
]

USABLE_RANGE = (0.1, 6.5)
"""Range of the usable share of a new pack; above 1.3 only if a reading of a worn pack was corrected for its age. [-]"""
REFERENCE_TEMPERATURE = 298.15
LEAST_TEMPERATURE, MOST_TEMPERATURE = 223.15, 353.15
"""Range of the cell temperature; the resistance is constant outside. It was measured from -10 to 40 C. [K]"""
CAPACITY_LOSS_PER_CYCLE = 0.0008
MOST_CAPACITY = 500.0
"""Largest capacity; a larger value is probably in mAh. [A h]"""


def of_chemistry(pack: Pack, field: str) -> NDArray:
    """Return a field of `Chemistry` for the chemistry of each pack."""
    return figures_of(field)[chemistry_index(pack.chemistry)]


@dataclass(frozen=True)
class Pack:
    """A battery pack; numeric fields may be arrays.

    Parameters
    ----------
    chemistry : str or array of str
        One of ``lipo``, ``lipo_hv``, ``li_ion``, ``lipo_lco``; or indices from `chemistry_index`.
    cells : array_like
        Number of cells in series. [-]
    capacity_ah : array_like
        Label capacity of one string. [A h]
    cell_resistance : array_like or None
        10-second resistance of one cell at 25 C and half charge, new; None estimates it from chemistry, label and
        capacity. A charger's reading is lower; `ten_second_resistance` converts it. [ohm]
    parallel : array_like
        Number of strings (or equal packs) in parallel. [-]
    temperature : array_like
        Temperature of the cells; in a flight that at take-off. [K]
    cycles : array_like
        Number of full cycles so far. [-]
    lead_resistance : array_like
        Resistance of leads and connector, both conductors. [ohm]
    mass : array_like or None
        Mass of all strings together; None estimates it from the energy. [kg]
    max_continuous_current, max_burst_current : array_like or None
        Current ratings of all strings together. [A]
    label_c : array_like or None
        C rating on the label; None means the continuous current over the capacity, else a typical rating. [1/h]
    usable_share : array_like or None
        Measured charge between full and empty over the label capacity, new; None means that of the chemistry: 0.94 for
        LiPo, one pouch measured. [-]
    reserve : array_like
        State of charge at landing. [-]
    cutoff_voltage_per_cell : array_like or None
        Loaded cell voltage at landing; None means that of the chemistry. [V]
    name : str
        Name for display.

    Notes
    -----
    The state of charge is relative to the usable capacity, not to the label capacity. The voltage of a cell at the end
    of a 10-second pulse is ``open_circuit_voltage(pack, charge) - current * resistance(pack, charge)`` with the cell's
    temperature in the pack, and with ``lead_resistance=0`` if the leads are not included. Resistances are for 5C; in
    the cold the rate matters and can be given.

    Examples
    --------
    A 65C 5 A h pouch at 10 C and 70 % charge, 25 A for ten seconds:

    >>> from propmodel.components.battery import resistance
    >>> pouch = Pack("lipo", 1, 5.0, label_c=65, temperature=283.15, lead_resistance=0.0)
    >>> round(float(open_circuit_voltage(pouch, 0.7) - 25.0 * resistance(pouch, 0.7)), 2)
    3.71
    """

    chemistry: str | int | NDArray
    cells: ArrayOrFloat = field(metadata=allowed(1.0, 30.0))
    capacity_ah: ArrayOrFloat = field(metadata=allowed(0.0, MOST_CAPACITY, "A h", above=True))
    cell_resistance: ArrayOrFloat | None = field(default=None, metadata=positive("ohm"))
    parallel: ArrayOrFloat = field(default=1, metadata=allowed(1.0, 100.0))
    temperature: ArrayOrFloat = field(
        default=REFERENCE_TEMPERATURE,
        metadata=allowed(LEAST_TEMPERATURE, MOST_TEMPERATURE, "K", label="pack temperature"),
    )
    cycles: ArrayOrFloat = field(default=0.0, metadata=allowed(0.0, 1000.0))
    lead_resistance: ArrayOrFloat = field(default=2.5e-3, metadata=allowed(0.0, 10.0, "ohm"))
    mass: ArrayOrFloat | None = field(default=None, metadata=positive("kg"))
    max_continuous_current: ArrayOrFloat | None = field(default=None, metadata=positive("A"))
    max_burst_current: ArrayOrFloat | None = field(default=None, metadata=positive("A"))
    reserve: ArrayOrFloat = field(default=0.2, metadata=allowed(0.0, 0.95))
    cutoff_voltage_per_cell: ArrayOrFloat | None = field(default=None, metadata=allowed(2.0, 4.4, "V"))
    name: str = ""
    label_c: ArrayOrFloat | None = field(default=None, metadata=allowed(0.5, 500.0, "1/h"))
    usable_share: ArrayOrFloat | None = field(default=None, metadata=allowed(*USABLE_RANGE))

    def __post_init__(self) -> None:
        chemistry_index(self.chemistry)
        check_fields(self)
        keep_arrays(self)


def capacity(pack: Pack) -> NDArray:
    """Present capacity of the whole pack.

    Parameters
    ----------
    pack : Pack
        The pack.

    Returns
    -------
    ndarray
        Usable capacity of all strings, reduced by the cycles. [A h]

    Examples
    --------
    >>> round(float(capacity(Pack("lipo", 6, 1.3, cycles=100))), 3)
    1.124
    """
    label = np.asarray(pack.capacity_ah, dtype=np.float64) * np.asarray(pack.parallel)
    return label * (usable_share_new(pack) * capacity_left(pack.cycles))


def usable_share_new(pack: Pack) -> NDArray:
    """Usable capacity over label capacity of the new pack: as given, else that of the chemistry. [-]"""
    if pack.usable_share is not None:
        return np.array(pack.usable_share, dtype=np.float64)
    return of_chemistry(pack, "usable_share")


def capacity_left(cycles: ArrayLike) -> NDArray:
    """Capacity after a number of full cycles over that of the new pack. [-]"""
    return np.maximum(1.0 - CAPACITY_LOSS_PER_CYCLE * np.asarray(cycles, dtype=np.float64), 0.2)


def mass(pack: Pack) -> NDArray:
    """Mass of the pack, estimated from its energy if it is not given.

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
    energy = np.asarray(pack.capacity_ah, dtype=np.float64) * np.asarray(pack.parallel) * nominal_voltage(pack)
    # leads and wrapping shrink with a small pack: 8.3 g for 1S 300, 72 g for 4S 650 (common practice, from memory)
    overhead = np.minimum(of_chemistry(pack, "pack_overhead"), 0.8e-3 * energy)
    return overhead + energy * of_chemistry(pack, "mass_per_energy")


def nominal_voltage(pack: Pack) -> NDArray:
    """Nominal voltage of the pack: cells times the nominal voltage of the chemistry.

    Parameters
    ----------
    pack : Pack

    Returns
    -------
    ndarray
        [V]

    Examples
    --------
    >>> round(float(nominal_voltage(Pack("lipo", cells=6, capacity_ah=1.3))), 1)
    22.2
    """
    return np.asarray(pack.cells) * of_chemistry(pack, "nominal_voltage")


def cutoff_voltage(pack: Pack) -> NDArray:
    """Loaded voltage of one cell at landing.

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


def between_knots(state_of_charge: ArrayLike) -> tuple[NDArray, NDArray]:
    """Return the index of the knot below a state of charge, and the relative position up to the next knot, 0 to 1."""
    charge = as_floats("state_of_charge", state_of_charge)
    position = np.minimum(np.maximum(charge, 0.0), 1.0) * (KNOTS - 1)
    if position != position if isinstance(position, float) else np.isnan(position).any():
        check_finite("state_of_charge", charge)
    low = np.minimum(np.asarray(position).astype(np.intp), KNOTS - 2)
    return low, position - low


def open_circuit_voltage(pack: Pack, state_of_charge: ArrayLike) -> NDArray:
    """Open-circuit voltage of the whole pack.

    Parameters
    ----------
    pack : Pack
        The pack.
    state_of_charge : array_like
        State of charge, 0 to 1; clipped outside. [-]

    Returns
    -------
    ndarray
        Voltage, linear between the 5 % knots of the cell table. [V]

    Examples
    --------
    >>> round(float(open_circuit_voltage(Pack("lipo", 6, 1.3), 1.0)), 2)
    25.2
    """
    table, _ = cell_table()
    low, share = between_knots(state_of_charge)
    chemistry = chemistry_index(pack.chemistry)
    cell = table[chemistry, low] * (1.0 - share) + table[chemistry, low + 1] * share
    return np.asarray(pack.cells) * cell


def terminal_voltage(emf: ArrayLike, resistance: ArrayLike, power: ArrayLike) -> NDArray:
    """Loaded voltage at constant power (upper branch); half the open-circuit voltage if the power is not available.

    Parameters
    ----------
    emf : array_like
        Open-circuit voltage, E. [V]
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
    voltage = np.sqrt(np.maximum(emf * emf - lost, 0.0)) + emf
    voltage *= 0.5
    return voltage
