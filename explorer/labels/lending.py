"""Guessed values that the labels do not state, scaled from a donor craft to the given size, mass and cells."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from explorer.inputs import FIELDS, Inputs, take_off_g

__all__ = ["scaled"]

KV_OF_CELLS = 0.6
"""KV is proportional to cells to minus this power: 2,400 on four, 1,900 on six (common practice, from memory). [-]"""
SAME = (0.8, 1.25)
"""Range of the mass relative to the donor craft in which its motors and pack are used unchanged. [-]"""
LIGHT = 0.6
"""Mass relative to the donor craft below which there is no shell and no camera on top (common practice, from memory).
[-]"""
SAME_KV = 0.06
"""Relative change of KV below which the donor's KV is used. [-]"""


def scaled(craft: Inputs, given: Mapping[str, Any]) -> dict[str, Any]:
    """Scale pitch, KV, stator, shape and capacity of a donor craft to the given values.

    The pitch is proportional to the diameter; the KV falls with diameter and cells, so that the tip speed is the same.
    The energy of the pack is proportional to the mass, and the stator volume to its root, because the motor depends on
    the propeller too: a 5-inch craft of 210 g has 2004 motors (common practice, from memory).

    Parameters
    ----------
    craft : Inputs
        The donor craft.
    given : mapping
        Field name -> value read from labels, and ``take_off_g``.

    Returns
    -------
    dict
        Field name -> scaled value, for fields that differ from the donor and are not in ``given``.

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
