"""Inputs that were not given: guessed values, and ratings without which a limit is not checked. Pure functions."""

from __future__ import annotations

from explorer.inputs.fields import number_text
from explorer.inputs.inputs import FIELDS, Inputs

__all__ = ["guessed_fields", "unchecked_fields"]

_ESTIMATED = {
    "blade_width": "blade width",
    "cell_mohm": "pack resistance",
    "pack_label_c": "pack C rating",
    "usable_percent": "charge the pack really holds",
    "wire_awg": "pack leads",
    "drag_area_cm2": "drag",
    "no_load_a": "no-load current",
    "winding_mohm": "winding resistance",
    "throttle_exponent": "throttle map",
    "motor_mass_g": "motor mass",
    "pack_g": "pack mass",
    "propeller_g": "propeller mass",
}
"""Fields that the model estimates if they are not given -> text."""
_LENT = {
    "frame_g": "take-off mass",
    "kv": "KV",
    "stator_d_mm": "stator width",
    "stator_h_mm": "stator height",
    "diameter_in": "propeller diameter",
    "pitch_in": "pitch",
    "blades": "blades",
    "cells": "cells",
    "capacity_mah": "capacity",
    "pack_age": "age of the pack",
    "pack_temperature_c": "pack temperature",
    "electronics_w": "electronics draw",
    "thrust_loss_percent": "thrust lost on the arms",
    "altitude_m": "height of the place",
    "air_temperature_c": "air temperature",
    "flying_style": "how you fly",
    "cruise_kmh": "cruise speed",
    "reserve_percent": "charge you land with",
}
"""Fields that are taken from a donor craft if labels do not state them -> text."""
_UNCHECKED = {
    "esc_a": "ESC amps",
    "esc_max_cells": "ESC cells",
    "motor_max_cells": "motor cells",
    "motor_max_a": "motor amps",
    "connector_a": "connector",
    "vtx_max_cells": "video transmitter cells",
    "frame_propeller_in": "frame clearance",
}
"""Ratings without which a limit is not checked -> text."""


def guessed_fields(inputs: Inputs, lent: frozenset[str] = frozenset()) -> list[tuple[str, str]]:
    """Return the guessed values, in no particular order.

    Parameters
    ----------
    inputs : Inputs
    lent : frozenset of str
        Fields that still hold what a lending craft had.

    Returns
    -------
    list of (field name, words)
        The field to fill in, and "pitch (4.3 in, lent)" or "drag (from frame size and body shape)".

    Examples
    --------
    >>> guessed_fields(Inputs())[0]
    ('blade_width', 'blade width (unknown: the band is wider)')
    >>> guessed_fields(Inputs(), frozenset({"altitude_m"}))[-1]
    ('altitude_m', 'height of the place (420 m, lent)')
    """
    found = []
    for name, words in _ESTIMATED.items():
        if name == "blade_width":
            if inputs.measured_propeller is None and inputs.blade_width_mm is None and inputs.blade_width == "unknown":
                found.append((name, f"{words} (unknown: the band is wider)"))
        elif getattr(inputs, name) is None and not (name == "pack_label_c" and inputs.cell_mohm is not None):
            found.append((name, f"{words} ({FIELDS[name].when_unknown})"))
    for name, words in _LENT.items():
        if name in lent:
            value, unit = getattr(inputs, name), FIELDS[name].unit
            said = value if isinstance(value, str) else f"{number_text(value)} {unit}".strip()
            found.append(("take_off_g", f"{words} (by the lent frame)") if name == "frame_g" else
                         (name, f"{words} ({said}, lent)"))  # fmt: skip
    return found


def unchecked_fields(inputs: Inputs) -> list[tuple[str, str]]:
    """Return the ratings that were not given, so that a limit is not checked.

    Examples
    --------
    >>> unchecked_fields(Inputs())
    []
    """
    return [(name, words) for name, words in _UNCHECKED.items() if getattr(inputs, name) is None]
