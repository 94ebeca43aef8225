"""Record of all inputs in the units of the controls, inputs of the demo craft, and the flight conditions in SI.

`checks` validates the inputs, `conversion` converts the craft into a Build.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Any

from explorer.inputs.fields import DESCRIBED, FLYING_STYLES, Field
from propmodel.assembly.build_record import DEFAULTS
from propmodel.assembly.demo import demo_record
from propmodel.base.arrays import number
from propmodel.base.units import INCH, KMH
from propmodel.components import propeller
from propmodel.flight.endurance import WAYS_OF_FLYING

__all__ = [
    "CHEMISTRY_NAMES",
    "FIELDS",
    "MIX",
    "Flying",
    "Inputs",
    "as_kind",
    "demo_inputs",
    "flying",
    "measured_label",
    "mix",
]

CHEMISTRY_NAMES = {
    "lipo": "LiPo",
    "lipo_hv": "high-voltage LiPo",
    "li_ion": "Li-ion",
    "lipo_lco": "LiPo, cobalt oxide",
    "lipo_nmc": "LiPo, nickel manganese cobalt",
}


@dataclass(frozen=True)
class Inputs:
    """All inputs of the user; the defaults are the demo craft *Scree*. The unit is the end of each name."""

    name: str = "Scree"
    # What it carries
    frame_g: float = 266.0
    payload_g: float = 70.0
    rotors: int = 4
    coaxial: bool = False
    body_shape: str = "camera on top"
    drag_area_cm2: float | None = None
    thrust_loss_percent: float = 7.0
    electronics_w: float = 10.0
    electronics_min_v: float = 5.0
    frame_propeller_in: float | None = 5.1
    mass_threshold_g: float | None = None
    vtx_max_cells: int | None = 6
    camera_max_cells: int | None = 6
    regulator_max_v: float | None = 30.0
    receiver_max_v: float | None = None
    capacitor_v: float | None = 35.0
    capacitor_uf: float = 1000.0
    # What turns
    motor_name: str = "Thornbarrow 2207 (invented part)"
    kv: float = 1950.0
    stator_d_mm: float = 22.0
    stator_h_mm: float = 7.0
    winding_mohm: float | None = None
    no_load_a: float | None = None
    no_load_v: float = 10.0
    motor_mass_g: float | None = 33.0
    motor_max_cells: int | None = 6
    motor_max_a: float | None = 38.0
    pole_pairs: int = 7
    propeller_name: str = "Thornbarrow 5.1x4.3x3 (invented part)"
    diameter_in: float = 5.1
    pitch_in: float = 4.3
    blades: int = 3
    blade_width: str = "unknown"
    blade_width_mm: float | None = None
    measured_propeller: str | None = None
    propeller_g: float | None = 4.25
    guessed_mass_percent: float = 100.0
    # What feeds it
    pack_name: str = "Thornbarrow 6S 1300 (invented part)"
    chemistry: str = "lipo"
    cells: int = 6
    capacity_mah: float = 1300.0
    parallel: int = 1
    cell_mohm: float | None = None
    cell_mohm_at_c: float = 25.0
    usable_percent: float | None = None
    pack_age: str = "new"
    cycles: float | None = None
    pack_temperature_c: float = 22.0
    pack_g: float | None = 205.0
    pack_label_c: float | None = 75.0
    pack_burst_c: float | None = 150.0
    cutoff_v: float | None = None
    wire_awg: int | None = 14
    pack_lead_mm: float = 120.0
    motor_wire_awg: int | None = None
    motor_lead_mm: float = 100.0
    connector_a: float | None = 60.0
    controller_name: str = "Thornbarrow 45 A four-in-one (invented part)"
    esc_a: float | None = 45.0
    esc_burst_a: float | None = 55.0
    esc_min_cells: int | None = 3
    esc_max_cells: int | None = 6
    command_cap_percent: float = 100.0
    idle_percent: float = 5.0
    throttle_exponent: float | None = None
    # Where you fly
    altitude_m: float = 420.0
    air_temperature_c: float = 12.0
    # How you fly
    flying_style: str = "play"
    mix_hover_percent: float | None = None
    mix_cruise_percent: float | None = None
    mix_hard_percent: float | None = None
    mix_full_percent: float | None = None
    cruise_kmh: float = 50.0
    reserve_percent: float = 20.0
    drop_m: float = 60.0
    dive_kmh: float | None = None
    reaction_s: float = 0.5
    hardest_pull_g: float = 5.0
    charge_left_percent: float = 100.0


_SCREE = Inputs()

FIELDS: dict[str, Field] = {name: replace(field, default=getattr(_SCREE, name)) for name, field in DESCRIBED.items()}
"""Description of every field of `Inputs`, in the order of display."""

MIX = ("mix_hover_percent", "mix_cruise_percent", "mix_hard_percent", "mix_full_percent")
"""Fields with the user's own shares of the time."""


def demo_inputs(name: str) -> Inputs:
    """Inputs of a demo craft.

    Parameters
    ----------
    name : str
        One of ``propmodel.demo.demo_names()``.

    Returns
    -------
    Inputs
    """
    return _demo_inputs(str(name).lower())


@lru_cache(maxsize=8)
def _demo_inputs(name: str) -> Inputs:
    return _from_record(demo_record(name))


def _from_record(record: Mapping[str, Any]) -> Inputs:
    """Inputs of a record; a missing field is None or the default of the model, never the value of Scree."""
    known = {f.name for f in fields(Inputs)}
    given = {
        **{k: v for k, v in DEFAULTS.items() if k in known},
        **{k: v for k, v in record.items() if k in known},
    }
    return replace(_SCREE, **{name: as_kind(FIELDS[name], value) for name, value in given.items()})


def as_kind(field: Field, value: Any) -> Any:
    """Convert a number to the type of its field: int for whole numbers, else float."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value
    if field.kind == "whole":
        return int(value) if math.isfinite(value) and value == int(value) else value
    return float(value) if field.kind == "number" else value


@lru_cache(maxsize=512)
def measured_label(name: str) -> str:
    """Return size and number of a measured propeller for display.

    Examples
    --------
    >>> measured_label("no such propeller")
    'a measured propeller'
    """
    names = propeller.measured_names()
    if name not in names:
        return "a measured propeller"
    found = propeller.measured(name)
    size = " x ".join(f"{number(v) / INCH:.4g}" for v in (found.diameter, found.pitch))
    return f"{size} in, {number(found.blades):.0f} blades, measured no. {names.index(name) + 1}"


def mix(inputs: Inputs) -> tuple[float, float, float, float]:
    """Return the shares of the time in hover, cruise, hard manoeuvres and full throttle, 0 to 1. [-]

    Examples
    --------
    >>> mix(Inputs())
    (0.15, 0.5, 0.3, 0.05)
    """
    own = [getattr(inputs, name) for name in MIX]
    shares = FLYING_STYLES[inputs.flying_style] if all(s is None for s in own) else [s or 0.0 for s in own]
    total = sum(shares)
    hover, cruise, hard, full = (share / total for share in shares)
    return hover, cruise, hard, full


@dataclass(frozen=True)
class Flying:
    """Conditions of flight and dive in SI, in addition to a Build."""

    hover_share: float
    cruise_share: float
    hard_share: float
    full_share: float
    """The four shares of the flight time add up to 1. [-]"""
    cruise_speed: float
    """Air speed of the cruise. [m/s]"""
    hard_load: float
    """Thrust over weight in hard manoeuvres, from the flying style. [-]"""
    drop: float
    """Height of the fall before the pull-out. [m]"""
    dive_speed: float | None
    """Speed of the dive at the pull-out; None means a free fall from ``drop``. [m/s]"""
    reaction: float
    """Delay before the pull-out. [s]"""
    load_limit: float
    """Largest thrust over weight in the pull-out. [-]"""
    state_of_charge: float
    """State of charge for results at a chosen charge. [-]"""


def flying(inputs: Inputs) -> Flying:
    """Convert the flight conditions of the inputs into SI.

    Examples
    --------
    >>> round(flying(Inputs()).cruise_speed, 2)
    13.89
    """
    return Flying(
        *mix(inputs),
        cruise_speed=inputs.cruise_kmh * KMH,
        hard_load=number(WAYS_OF_FLYING[inputs.flying_style].hard_load),
        drop=inputs.drop_m,
        dive_speed=None if inputs.dive_kmh is None else inputs.dive_kmh * KMH,
        reaction=inputs.reaction_s,
        load_limit=inputs.hardest_pull_g,
        state_of_charge=inputs.charge_left_percent / 100.0,
    )
