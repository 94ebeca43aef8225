"""Possible and plausible meanings of numbers without a unit on motors and propellers.

Four digits on a motor are stator width and height in mm. Four digits on a propeller are diameter and pitch in tenths
of an inch (or whole inches from ten up). A fifth digit is a blade count or a second decimal of the pitch. All this is
common practice, from memory; if two meanings are possible, both are returned.
"""

from __future__ import annotations

from propmodel.components.battery import CHEMISTRIES

__all__ = [
    "bare_capacity",
    "bare_kv",
    "cells_of_volts",
    "metric_size",
    "propeller_of_code",
    "propeller_of_size",
    "stator_of_code",
]

Size = tuple[float, float, int | None]
"""Diameter [in], pitch [in], number of blades or None."""

_SOLD = {
    1.6,
    1.9,
    2.0,
    2.5,
    3.0,
    3.5,
    4.0,
    4.5,
    5.0,
    5.1,
    5.2,
    5.5,
    6.0,
    6.5,
    7.0,
    7.5,
    8.0,
    8.5,
    9.0,
    9.4,
    9.5,
}


def stator_of_code(code: float) -> tuple[float, float] | None:
    """Return stator width and height [mm] of a four-digit motor code, or None if it cannot be one.

    Examples
    --------
    >>> stator_of_code(2806.5)
    (28.0, 6.5)
    >>> stator_of_code(5045) is None
    True
    """
    width, height = divmod(round(code, 1), 100.0)
    height = round(height, 1)
    if 6 <= width <= 85 and 2 <= height <= 30 and 0.1 <= height / width <= 0.85:
        return width, height
    return None


def _plausible(diameter: float, pitch: float) -> bool:
    return 1.2 <= diameter <= 20.0 and pitch >= 0.8 and 0.3 <= pitch / diameter <= 1.45


def propeller_of_code(code: float, *, also_a_motor: bool = False) -> list[Size]:
    """Return the sizes that a four- or five-digit propeller code can mean, the most likely first.

    Parameters
    ----------
    code : float
        The digits.
    also_a_motor : bool
        True if the digits are also a valid motor code; then only propeller diameters that are sold are returned.

    Examples
    --------
    >>> propeller_of_code(1045)
    [(10.0, 4.5, None)]
    >>> propeller_of_code(51433)
    [(5.1, 4.3, 3), (5.1, 4.33, None)]
    >>> propeller_of_code(51466)
    [(5.1, 4.66, None), (5.1, 4.6, 6)]
    """
    five = code >= 10000 and code == int(code)
    head, tail = divmod(code, 1000.0 if five else 100.0)
    found: list[Size] = []
    # tenths of an inch, or whole inches, which take two digits from ten up
    for diameter in (head / 10.0, head) if head >= 10 else (head / 10.0,):
        if five:
            pitch, blades = divmod(int(tail), 10)
            if 2 <= blades <= 6 and _plausible(diameter, pitch / 10.0):
                found.append((diameter, pitch / 10.0, blades))
            if _plausible(diameter, tail / 100.0):
                found.append((diameter, round(tail / 100.0, 2), None))
        elif _plausible(diameter, tail / 10.0):
            found.append((diameter, round(tail / 10.0, 2), None))
    if also_a_motor:
        found = [size for size in found if size[0] in _SOLD or (size[0] >= 10 and size[0] == int(size[0]))]
    return sorted(found, key=lambda size: (size[2] or 0) > 4)


def propeller_of_size(first: float, second: float, blades: float | None) -> Size | None:
    """Return the propeller of "first x second x blades" in inches; a missing decimal point (51x43x3) is restored.

    Examples
    --------
    >>> propeller_of_size(5, 45, 3)
    (5.0, 4.5, 3)
    >>> propeller_of_size(51, 43, 3)
    (5.1, 4.3, 3)
    """
    if first <= 0 or second <= 0:
        return None
    diameter = first if first <= 20 else first / 10.0
    pitch = second if second / diameter <= 1.7 else second / 10.0
    if diameter != first and not _plausible(diameter, pitch):
        return None
    count = None if blades is None else int(blades)
    fits = 1.0 <= diameter <= 20.0 and pitch >= 0.5 and 0.2 <= pitch / diameter <= 1.7
    if fits and (count is None or 2 <= count <= 6):
        return float(diameter), round(float(pitch), 3), count
    return None


def metric_size(first: float, second: float) -> tuple[bool, bool]:
    """Return whether "first x second mm" can be a stator, and whether it can be a propeller.

    Examples
    --------
    >>> metric_size(22, 7)
    (True, False)
    >>> metric_size(127, 114)
    (False, True)
    """
    ratio = second / first if first else 0.0
    return (
        4 <= first <= 90 and 1.5 <= second <= 50 and ratio <= 0.9,
        31 <= first <= 508 and 0.3 <= ratio <= 1.45,
    )


def bare_kv(number: float) -> bool:
    """Return True if a number without a unit can be a KV: a multiple of ten."""
    return 100 <= number <= 30000 and number % 10 == 0


def bare_capacity(number: float) -> bool:
    """Return True if a number without a unit can be a capacity in mAh: a multiple of ten."""
    return 100 <= number <= 30000 and number % 10 == 0


def cells_of_volts(volts: float) -> list[tuple[int, str | None, str]]:
    """Return the packs that a voltage on a label can mean: cells, chemistry (None: any with that voltage), reason.

    Examples
    --------
    >>> cells_of_volts(22.2), cells_of_volts(15.2)
    ([(6, 'lipo', '6 x 3.7 V')], [(4, 'lipo_hv', '4 x 3.8 V')])
    >>> [cells for cells, _, _ in cells_of_volts(25.2)]
    [7, 6]
    """
    found: list[tuple[int, str | None, str]] = []
    for name in ("lipo", "lipo_hv", "li_ion"):
        nominal = CHEMISTRIES[name].nominal_voltage
        cells = round(volts / nominal)
        if 1 <= cells <= 14 and abs(volts - cells * nominal) < 0.051:
            found.append((cells, name, f"{cells} x {nominal:g} V"))
    for full, chemistry in ((4.2, None), (4.35, "lipo_hv")):
        cells = round(volts / full)
        if 1 <= cells <= 14 and abs(volts - cells * full) < 0.051:
            found.append((cells, chemistry, f"{cells} x {full:g} V, fully charged"))
    return found
