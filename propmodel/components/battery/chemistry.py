"""Chemistries: properties of one cell, and tables of open-circuit voltage and resistance against state of charge."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from propmodel.base.checks import check_in, quoted
from propmodel.base.tables import read_table

__all__ = [
    "CHEMISTRIES",
    "Chemistry",
    "chemistry_index",
]

POUCH_LABEL_C = 65.0
"""C rating on the label of the measured pouch. [1/h]"""
POUCH_CAPACITY = 5.0
"""Capacity on the label of the measured pouch. [A h]"""
CAPACITY_EXPONENT = 0.4
"""Exponent of the capacity in resistance times capacity of a LiPo cell. It is between 0 (electrodes only) and 2/3
(foils and tabs of cells of similar shape, whose number of layers grows as the cube root of the capacity). Estimate.
[-]"""
LABEL_EXPONENT = 0.5
"""Exponent of 1/C rating in resistance times capacity. It would be 1 if a rating meant the same sag at the rated
current in every pack, but high ratings are known to be exaggerated. Estimate: from the measured 22 mohm A h of the 65C
5 A h pouch the two exponents give 10.5 to 8.6 mohm A h at 1.3 A h and 100 to 150C; published thrust-to-weight ratios of
racing craft imply 7 to 12. [-]"""
REFERENCE_RATE = 5.0
"""Discharge rate for which resistances are stated by default, in the middle of the measured 1 to 10C. [1/h]"""
RATE_RANGE = (0.1, 10.0)
"""Range of rates; values outside are clipped. [1/h]"""
KNOTS = 21


@dataclass(frozen=True)
class Chemistry:
    """Default properties of a chemistry.

    Parameters
    ----------
    label : str
        Name for display.
    full_voltage, nominal_voltage, cutoff_voltage : float
        Voltages of one cell; the cut-off is the loaded voltage at landing. [V]
    resistance_capacity : float
        10-second resistance of one cell times its label capacity at 25 C and half charge, with `POUCH_LABEL_C` and
        `POUCH_CAPACITY` on the label. [ohm A h]
    label_exponent, capacity_exponent : float
        Exponents of its dependence on 1/C rating and on the capacity; 0 where unknown. [-]
    typical_label : float
        C rating used if none is given. [1/h]
    usable_share : float
        Charge between full and empty over the label capacity. [-]
    measured_pouch : bool
        True: resistance against charge of the measured LiPo pouch; False: of the simulated NMC pouch.
    mass_per_energy : float
        Mass of a finished pack over its energy. [kg / W h]
    pack_overhead : float
        Mass of leads and wrapping of a large pack. [kg]
    punch_floor : float
        Lowest loaded cell voltage in a punch (common practice, from memory). [V]
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
    """Return a LiPo chemistry with the resistance of the measured pouch times ``higher`` and its usable share."""
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


@lru_cache(maxsize=1)
def cell_table() -> tuple[NDArray, NDArray]:
    """OCV and 10-second resistance over that at half charge [chemistry, knot] on 5 % knots of state of charge."""
    table = read_table("packs", "cells.csv")
    ocv = np.stack([table[f"{name} [V]"].to_numpy(dtype=np.float64) for name in _NAMES])
    relative = resistance_shapes()[-1]
    ocv.flags.writeable = relative.flags.writeable = False
    return ocv, relative


PULSE_TIMES = (0.1, 1.0, 10.0)


@lru_cache(maxsize=1)
def resistance_shapes() -> NDArray:
    """Resistance over that at half charge after 0.1, 1 and 10 s. [time, chemistry, knot]"""
    table = read_table("packs", "cells.csv")
    computed = table["relative_resistance [-]"].to_numpy(dtype=np.float64)
    pouch = [table[f"lipo_resistance_{seconds:g}s [-]"].to_numpy(dtype=np.float64) for seconds in PULSE_TIMES]
    return np.stack([[row if CHEMISTRIES[name].measured_pouch else computed for name in _NAMES] for row in pouch])


class ResistanceLaw(NamedTuple):
    """Resistance of the measured pouch after one time under load, see ``data/packs/fit_pulses.py``."""

    resistance_capacity: float
    energy: float
    drop: float
    """Overvoltage at `REFERENCE_RATE` and 25 C over the scale of its arcsinh law. [-]"""


@lru_cache(maxsize=1)
def resistance_laws() -> tuple[ResistanceLaw, ...]:
    """The law after 0.1, 1 and 10 s."""
    table = read_table("packs", "resistance.csv").set_index("time [s]").loc[list(PULSE_TIMES)]
    return tuple(
        ResistanceLaw(r, energy, REFERENCE_RATE * r / scale)
        for r, energy, scale in table.itertuples(index=False)
    )  # fmt: skip


@lru_cache(maxsize=32)
def _index_of(name: str) -> NDArray[np.intp]:
    """Index of one name, as a 0-d array."""
    found = np.asarray(_NAMES.index(check_in("chemistry", name, _NAMES)))
    found.flags.writeable = False
    return found


def chemistry_index(chemistry: str | int | NDArray) -> NDArray[np.intp]:
    """Return the index of each chemistry in `CHEMISTRIES`; indices are returned unchanged.

    Parameters
    ----------
    chemistry : str, array of str or array of int
        Names, or indices, which are faster for large arrays.

    Returns
    -------
    ndarray of int
        Same shape as ``chemistry``.

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
        raise ValueError(f"chemistry must be a name or a plain list of names, got {quoted(chemistry)}") from None
    if names.dtype.kind in "iu":
        if np.any((names < 0) | (names >= len(_NAMES))):
            raise ValueError(f"chemistry positions run from 0 to {len(_NAMES) - 1}")
        return names
    asked = (c if isinstance(c, int) else str(c) for c in np.atleast_1d(names).ravel())
    flat = np.array([_NAMES.index(check_in("chemistry", c, _NAMES)) for c in asked])
    return flat.reshape(names.shape)


@lru_cache(maxsize=32)
def figures_of(field: str) -> NDArray:
    """Return one field of all chemistries, in the order of `CHEMISTRIES`."""
    values = np.array([getattr(CHEMISTRIES[name], field) for name in _NAMES])
    values.flags.writeable = False
    return values
