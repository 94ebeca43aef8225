"""Conversion of `Inputs` into a `Build`, and changes of the inputs by a mass, labels or links.

The craft is converted by :mod:`propmodel.assembly.build_record`. The inputs must be valid, see
`explorer.inputs.checks`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from functools import lru_cache
from typing import Any

from explorer.inputs.checks import check
from explorer.inputs.inputs import FIELDS, Inputs, as_kind
from propmodel.assembly.build import Build
from propmodel.assembly.build_record import DEFAULTS, from_record
from propmodel.base.units import GRAM
from propmodel.components.battery import CHEMISTRIES

__all__ = ["apply", "take_off_g", "to_build", "with_take_off_g"]


def to_build(inputs: Inputs) -> Build:
    """Convert inputs into a build; conversion to SI is in :func:`propmodel.assembly.build_record.from_record`.

    Parameters
    ----------
    inputs : Inputs
        Valid inputs (see `check` and `with_defaults_for_bad`).

    Returns
    -------
    Build
        Cached: the same craft gives the same frozen object, whatever its flight profile.
    """
    made = _converted(*(getattr(inputs, name) for name in _CRAFT))
    names = tuple(str(getattr(inputs, name)) for name in _NAMES)
    return _named(made, *names) if any(names) else made


_NAMES = ("name", "motor_name", "propeller_name", "controller_name", "pack_name")
_CRAFT = tuple(f.name for f in fields(Inputs) if f.name in DEFAULTS and f.name not in _NAMES)
"""Fields of the inputs that determine a Build."""


@lru_cache(maxsize=256, typed=True)
def _converted(*values: Any) -> Build:
    """Build of the values of `_CRAFT`, without names; the cache distinguishes 1, 1.0 and True."""
    return from_record(dict(zip(_CRAFT, values, strict=True)))


@lru_cache(maxsize=256)
def _named(made: Build, name: str, motor: str, propeller: str, controller: str, pack: str) -> Build:
    """The same build with names."""
    return replace(
        made,
        craft=replace(made.craft, name=name),
        motor=replace(made.motor, name=motor),
        propeller=replace(made.propeller, name=propeller),
        controller=replace(made.controller, name=controller),
        pack=replace(made.pack, name=pack),
        name=name,
    )


LEAST_FRAME_SHARE = 0.2
"""Smallest mass of frame and electronics, relative to the craft (common practice, from memory). [-]"""


def take_off_g(inputs: Inputs) -> float:
    """Take-off mass of the craft from given and estimated masses. [g]"""
    return float(to_build(inputs).mass) / GRAM


def with_take_off_g(inputs: Inputs, grams: float) -> Inputs:
    """Adjust the masses to a given take-off mass: first the frame, then the part masses that were not given.

    Parameters
    ----------
    inputs : Inputs
    grams : float
        Take-off mass. Given part masses are kept; if they alone exceed it, the frame has its smallest mass. [g]

    Returns
    -------
    Inputs

    Examples
    --------
    >>> tiny = replace(Inputs(), motor_mass_g=None, propeller_g=None, pack_g=None, payload_g=0.0)
    >>> round(take_off_g(with_take_off_g(tiny, 150.0)), 1)
    150.0
    """
    low, high = FIELDS["frame_g"].bounds()
    inputs = replace(inputs, guessed_mass_percent=100.0)
    whole = take_off_g(inputs)
    frame = inputs.frame_g + grams - whole
    least = max(low, LEAST_FRAME_SHARE * grams)
    if frame < least:
        guessed = 2.0 * (whole - take_off_g(replace(inputs, guessed_mass_percent=50.0)))
        if guessed > 0.0:
            share = 100.0 * (1.0 - (least - frame) / guessed)
            share = round(min(max(share, FIELDS["guessed_mass_percent"].bounds()[0]), 100.0), 3)
            inputs = replace(inputs, guessed_mass_percent=share)
            frame = inputs.frame_g + grams - take_off_g(inputs)
    return replace(inputs, frame_g=round(min(max(frame, low), high), 2))


def apply(inputs: Inputs, values: Mapping[str, Any]) -> Inputs:
    """Return the inputs with values from labels or links; unknown names are ignored.

    Parameters
    ----------
    inputs : Inputs
    values : mapping
        Field name -> value, and ``take_off_g`` for a weighed take-off mass.

    Returns
    -------
    Inputs
        A diameter, pitch or blade count sets ``measured_propeller`` to None. A new motor, propeller or pack size sets
        the mass of that part to None (estimated), unless the mass is among the values.

    Examples
    --------
    >>> apply(Inputs(), {"kv": 1750, "cells": 5}).cells
    5
    """
    new = {name: as_kind(FIELDS[name], value) for name, value in values.items() if name in FIELDS}
    changed = {name for name, value in new.items() if value != getattr(inputs, name)}
    for owners, freed, to in (
        (
            {"stator_d_mm", "stator_h_mm"},
            ("motor_mass_g", "winding_mohm", "no_load_a", "motor_max_a", "motor_max_cells"),
            None,
        ),
        ({"stator_d_mm", "stator_h_mm", "kv"}, ("motor_name",), ""),
        (
            {"diameter_in", "pitch_in", "blades"},
            ("propeller_g", "measured_propeller", "blade_width_mm"),
            None,
        ),
        ({"diameter_in", "pitch_in", "blades"}, ("propeller_name",), ""),
        ({"cells", "capacity_mah", "chemistry", "parallel"}, ("pack_g", "cell_mohm", "usable_percent"), None),
        ({"cells", "capacity_mah", "chemistry", "parallel"}, ("pack_name",), ""),
        ({"esc_a"}, ("esc_burst_a",), None),
        ({"esc_a", "esc_max_cells"}, ("controller_name",), ""),
    ):
        if owners & changed:
            new.update({name: to for name in freed if name not in values})
    kinds = {inputs.chemistry, new.get("chemistry", inputs.chemistry)} & set(CHEMISTRIES)
    if len({CHEMISTRIES[kind].label_exponent for kind in kinds}) > 1:
        # C ratings of Li-ion and LiPo labels are not comparable
        new.update({name: None for name in ("pack_label_c", "pack_burst_c") if name not in values})
    result = replace(inputs, **new)
    if "take_off_g" in values and not check(result):
        result = with_take_off_g(result, float(values["take_off_g"]))
    return result
