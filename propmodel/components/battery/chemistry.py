"""Chemistries: what one cell of each kind holds, and the tables of rest voltage and resistance against charge."""

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
REFERENCE_RATE = 5.0
"""Rate at which all resistances stand unless a rate is given, in the middle of the measured 1 to 10 C. [1/h]"""
RATE_RANGE = (0.1, 10.0)
"""Rates outside are taken as the nearer end. [1/h]"""
KNOTS = 21


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
        Leads and wrapping of a large pack. [kg]
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
    """A field of all chemistries, in their order."""
    values = np.array([getattr(CHEMISTRIES[name], field) for name in _NAMES])
    values.flags.writeable = False
    return values
