"""What no label tells, from the lending craft, at the size, mass and cells that are told. All of it guesses. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from explorer.inputs import FIELDS, Inputs, take_off_g

__all__ = ["scaled"]

KV_OF_CELLS = 0.6
"""KV goes with cells to minus this power: 2,400 on four, 1,900 on six (common practice, from memory). [-]"""
SAME = (0.8, 1.25)
"""Within these shares of its mass a craft keeps motors and pack of the lending one. [-]"""
LIGHT = 0.6
"""Below this share of its mass a craft has no shell and no camera on top (common practice, from memory). [-]"""
SAME_KV = 0.06
"""A smaller change of KV is none. [-]"""


def scaled(craft: Inputs, given: Mapping[str, Any]) -> dict[str, Any]:
    """Pitch, KV, stator, shape and capacity of a lending craft, made to fit what is told.

    The pitch goes with the diameter, the KV against diameter and cells (the tips stay as fast). The energy of the pack
    goes with the mass, the stator's volume with its root, for the propeller asks for a motor, too: a 5-inch of 210 g
    flies 2004 motors (common practice, from memory).

    Parameters
    ----------
    craft : Inputs
        The lending craft as a stand-in.
    given : mapping
        Field values that were read, and ``take_off_g``.

    Returns
    -------
    dict
        Fields that differ from the craft; nothing that is told.

    Examples
    --------
    >>> from explorer.inputs import demo_inputs
    >>> scaled(demo_inputs("scree"), {"cells": 4})
    {'kv': 2500.0}
    >>> scaled(demo_inputs("scree"), {"diameter_in": 5.1, "kv": 1950.0})
    {}
    """
    across = float(given.get("diameter_in", craft.diameter_in)) / craft.diameter_in
    cells = int(given.get("cells", craft.cells)) / craft.cells
    mass = float(given["take_off_g"]) / take_off_g(craft) if "take_off_g" in given else 1.0
    mass = 1.0 if SAME[0] <= mass <= SAME[1] else mass
    found: dict[str, Any] = {}
    if across != 1.0:
        found["pitch_in"] = round(craft.pitch_in * across, 1)
    turns = 1.0 / (across * cells**KV_OF_CELLS)
    if abs(turns - 1.0) > SAME_KV:
        found["kv"] = _rounded(craft.kv * turns, 50.0 if craft.kv * turns > 800.0 else 10.0)
    if mass != 1.0 and not {"stator_d_mm", "stator_h_mm"} & given.keys():
        found["stator_d_mm"] = round(craft.stator_d_mm * mass ** (1.0 / 6.0))
        found["stator_h_mm"] = _rounded(craft.stator_h_mm * mass ** (1.0 / 6.0), 0.5)
    if mass < LIGHT:
        found["body_shape"] = "bare frame"
    if mass != 1.0 and "pack_g" not in given:
        mah = craft.capacity_mah * mass / cells
        found["capacity_mah"] = _rounded(mah, 10.0 if mah < 300.0 else 50.0 if mah < 2000.0 else 100.0)
    return {
        name: value if isinstance(value, str) else _within(name, value)
        for name, value in found.items()
        if name not in given
    }


def _rounded(value: float, step: float) -> float:
    return step * round(value / step)


def _within(name: str, value: float) -> float:
    low, high = FIELDS[name].bounds()
    return float(min(max(value, low), high))
