"""What a person types, in the units they type it: one frozen record, and the checks on it.

The craft part becomes a Build in :mod:`propmodel.assembly.build_record`, the flying part a `Flying` in SI here. Nothing
raises for what a person typed: `check` says it in sentences, `with_defaults_for_bad` goes on with the default.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Any

from explorer.inputs.fields import DESCRIBED, FLYING_STYLES, GROUPS, TAKE_OFF, Field, problem, shown, typed
from propmodel.assembly.build import Build
from propmodel.assembly.build_record import DEFAULTS, from_record, motor_of
from propmodel.assembly.demo import demo_record
from propmodel.base.arrays import number
from propmodel.base.units import GRAM, INCH, KMH
from propmodel.components import propeller
from propmodel.components.battery import CHEMISTRIES
from propmodel.flight.endurance import WAYS_OF_FLYING

__all__ = [
    "CHEMISTRY_NAMES",
    "FIELDS",
    "FLYING_STYLES",
    "GROUPS",
    "TAKE_OFF",
    "Field",
    "Flying",
    "Inputs",
    "apply",
    "check",
    "demo_inputs",
    "flying",
    "measured_label",
    "mix",
    "problem",
    "take_off_g",
    "to_build",
    "with_defaults_for_bad",
    "with_take_off_g",
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
    """Everything a person can type; the defaults are the demo craft *Scree*. Units are in the names."""

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
"""Every field of `Inputs`, described; the order is the order on the screen."""

_MIX = ("mix_hover_percent", "mix_cruise_percent", "mix_hard_percent", "mix_full_percent")


_TOGETHER: tuple[frozenset[str], ...] = (
    frozenset(_MIX),
    frozenset({"esc_min_cells", "esc_max_cells"}),
    frozenset({"esc_a", "esc_burst_a"}),
    frozenset({"pack_label_c", "pack_burst_c"}),
    frozenset({"rotors", "coaxial"}),
    frozenset({"chemistry", "cutoff_v"}),
    frozenset({"diameter_in", "pitch_in", "blade_width_mm"}),
    frozenset({"no_load_a", "no_load_v", "kv", "stator_d_mm", "stator_h_mm", "winding_mohm"}),
)
"""Fields that can clash: where putting one back does not settle it, all of them go back."""

_PITCH_TO_DIAMETER = (0.1, 2.5)
_WIDTH_TO_RADIUS = (0.03, 0.6)
"""What a Propeller takes at all."""


def check(inputs: Inputs) -> list[tuple[str, str]]:
    """Say what cannot be used, one plain sentence for each field.

    Parameters
    ----------
    inputs : Inputs

    Returns
    -------
    list of (field name, sentence)
        Empty if all is well. A doubtful build is no problem here: it gets its answer in the results.

    Examples
    --------
    >>> check(replace(Inputs(), cells=0))
    [('cells', 'Cells in series must be 1 to 14 S, got 0 S.')]
    """
    found = [(name, text) for name, field in FIELDS.items() if (text := problem(field, getattr(inputs, name)))]
    bad = {name for name, _ in found}
    mixed = [getattr(inputs, name) for name in _MIX]
    if not bad & set(_MIX) and any(share is not None for share in mixed):
        total = sum(share or 0.0 for share in mixed)
        if abs(total - 100.0) > 0.5:
            found.append((_MIX[0], f"The four shares of your flying must add up to 100 %, got {shown(total)} %."))
    for low, high, words in (
        ("esc_min_cells", "esc_max_cells", "ESC, cells from {} must not be above ESC, cells up to {}."),
        (
            "esc_a",
            "esc_burst_a",
            "ESC burst amps for each motor ({1} A) must not be below its amps for good ({0} A).",
        ),
        (
            "pack_label_c",
            "pack_burst_c",
            "Burst C rating ({1}) must not be below the C rating on the label ({0}).",
        ),
    ):
        a, b = getattr(inputs, low), getattr(inputs, high)
        if low not in bad and high not in bad and a is not None and b is not None and a > b:
            found.append((high, words.format(shown(a), shown(b))))
    if inputs.coaxial is True and "rotors" not in bad and inputs.rotors % 2:
        found.append(("rotors", f"Rotors must be an even number when they come in pairs, got {inputs.rotors}."))
    if not bad & {"cutoff_v", "chemistry"} and inputs.cutoff_v is not None:
        full = CHEMISTRIES[inputs.chemistry].full_voltage
        if inputs.cutoff_v >= full:
            found.append(
                (
                    "cutoff_v",
                    f"Land at, each cell must be below a full cell ({full} V), got {inputs.cutoff_v} V.",
                )
            )
    found += _size_problems(inputs, bad)
    measured = inputs.measured_propeller
    if "measured_propeller" not in bad and measured is not None and measured not in _measured_names():
        found.append(("measured_propeller", f"No measured propeller is called {typed(measured)}."))
    return found


def _size_problems(inputs: Inputs, bad: set[str]) -> list[tuple[str, str]]:
    """Sizes that are each in range but make no propeller or motor together."""
    found = []
    if not bad & {"diameter_in", "pitch_in"}:
        low, high = (share * inputs.diameter_in for share in _PITCH_TO_DIAMETER)
        if not low <= inputs.pitch_in <= high:
            found.append(
                (
                    "pitch_in",
                    f"Pitch must be {shown(round(low, 2))} to {shown(round(high, 2))} in on a propeller of "
                    f"{shown(inputs.diameter_in)} in, got {shown(inputs.pitch_in)} in.",
                )
            )
    width = inputs.blade_width_mm
    if not bad & {"diameter_in", "blade_width_mm"} and width is not None:
        low, high = (share * inputs.diameter_in * 12.7 for share in _WIDTH_TO_RADIUS)
        if not low <= width <= high:
            found.append(
                (
                    "blade_width_mm",
                    f"Blade width must be {shown(round(low, 1))} to {shown(round(high, 1))} mm on a propeller of "
                    f"{shown(inputs.diameter_in)} in, got {shown(width)} mm.",
                )
            )
    if not bad & {"no_load_a", "no_load_v", "kv", "stator_d_mm", "stator_h_mm", "winding_mohm"}:
        found += _motor_problems(inputs)
    return found


def _motor_problems(inputs: Inputs) -> list[tuple[str, str]]:
    """A KV that its stator cannot have, or a no-load current that the motor cannot draw."""
    size = f"{shown(inputs.stator_d_mm)} x {shown(inputs.stator_h_mm)} mm"
    most = _most_no_load(inputs.kv, inputs.stator_d_mm, inputs.stator_h_mm, inputs.winding_mohm, inputs.no_load_v)
    if most is None:
        return [("kv", f"KV must be far lower on a stator of {size}, got {shown(inputs.kv)} rpm/V.")]
    if inputs.no_load_a is None or inputs.no_load_a <= most:
        return []
    sentence = (
        f"Amps spinning bare must be below {shown(round(most, 2))} A at {shown(inputs.no_load_v)} V: "
        f"this motor takes little more held still; got {shown(inputs.no_load_a)} A."
    )
    return [("no_load_a", sentence)]


@lru_cache(maxsize=256)
def _most_no_load(kv: float, d_mm: float, h_mm: float, winding_mohm: float | None, volts: float) -> float | None:
    """Nine tenths of the stall current at the no-load voltage; None for a motor that cannot be. [A]"""
    record = {"kv": kv, "stator_d_mm": d_mm, "stator_h_mm": h_mm, "winding_mohm": winding_mohm, "no_load_v": volts}
    try:
        made = motor_of(record)
    except ValueError:
        return None
    most = 0.9 * volts / float(made.resistance)
    # its own loss by stator and KV holds it still
    return most if float(made.no_load_current) < most else None


@lru_cache(maxsize=512)
def measured_label(name: str) -> str:
    """Size and number of a measured propeller: the data's own keys hold makers' codes, which no screen shows.

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


@lru_cache(maxsize=1)
def _measured_names() -> frozenset[str]:
    return frozenset(propeller.measured_names())


def with_defaults_for_bad(inputs: Inputs, fallback: Inputs = _SCREE) -> tuple[Inputs, list[tuple[str, str]]]:
    """Go on with what can be used: each bad field takes its value from ``fallback``, the rest is kept.

    Parameters
    ----------
    inputs, fallback : Inputs
        What was typed, and a build that is known to be good.

    Returns
    -------
    Inputs, list of (field name, sentence)
        Sentences as `check` gives them.
    """
    found = check(inputs)
    if not found:
        return inputs, []
    good, left = inputs, found
    for whole in (False, True, True):
        bad = {name for name, _ in left}
        if whole:
            bad = bad.union(*(group for group in _TOGETHER if bad & group))
        good = replace(good, **{name: getattr(fallback, name) for name in bad})
        left = check(good)
        if not left:
            return good, found
    return fallback, found


def to_build(inputs: Inputs) -> Build:
    """Build the craft; all conversion to SI happens in :func:`propmodel.assembly.build_record.from_record`.

    Parameters
    ----------
    inputs : Inputs
        Checked (see `check`) or with defaults for what is bad.

    Returns
    -------
    Build
        The same object for the same craft: builds are frozen. Names and the way of flying cost no new conversion.
    """
    made = _converted(*(getattr(inputs, name) for name in _CRAFT))
    names = tuple(str(getattr(inputs, name)) for name in _NAMES)
    return _named(made, *names) if any(names) else made


_NAMES = ("name", "motor_name", "propeller_name", "controller_name", "pack_name")
_CRAFT = tuple(f.name for f in fields(Inputs) if f.name in DEFAULTS and f.name not in _NAMES)
"""Fields that a Build is made of."""


@lru_cache(maxsize=256, typed=True)
def _converted(*values: Any) -> Build:
    """Build of the values of `_CRAFT`, without names; 1, 1.0 and True are told apart."""
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
"""Frame and electronics weigh at least this share of the craft (common practice, from memory). [-]"""


def take_off_g(inputs: Inputs) -> float:
    """All-up mass of the craft as typed and estimated. [g]"""
    return float(to_build(inputs).mass) / GRAM


def with_take_off_g(inputs: Inputs, grams: float) -> Inputs:
    """Make the craft weigh what the scale says: by the frame, then by the part masses that nobody told.

    Parameters
    ----------
    inputs : Inputs
    grams : float
        Take-off mass. [g] Masses that were told are kept: where they alone weigh more, the frame stops at its least.

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
    """Inputs of a record; what it leaves out is not told (None) or the model's default, never Scree's."""
    known = {f.name for f in fields(Inputs)}
    told = {
        **{k: v for k, v in DEFAULTS.items() if k in known},
        **{k: v for k, v in record.items() if k in known},
    }
    return replace(_SCREE, **{name: _as_kind(FIELDS[name], value) for name, value in told.items()})


def _as_kind(field: Field, value: Any) -> Any:
    """12 and 12.0 are the same number to a person: whole fields hold int, the others float."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value
    if field.kind == "whole":
        return int(value) if math.isfinite(value) and value == int(value) else value
    return float(value) if field.kind == "number" else value


def apply(inputs: Inputs, values: Mapping[str, Any]) -> Inputs:
    """Put values read from labels or links into the record; unknown names are left out.

    Parameters
    ----------
    inputs : Inputs
    values : mapping
        Field names, and ``take_off_g`` if a scale reading was typed.

    Returns
    -------
    Inputs
        A diameter, pitch or blade count sets ``measured_propeller`` to None; a new motor, propeller or pack
        size sets the estimated masses free again, unless the mass is among the values.

    Examples
    --------
    >>> apply(Inputs(), {"kv": 1750, "cells": 5}).cells
    5
    """
    new = {name: _as_kind(FIELDS[name], value) for name, value in values.items() if name in FIELDS}
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
        # C ratings of Li-ion and LiPo labels do not compare
        new.update({name: None for name in ("pack_label_c", "pack_burst_c") if name not in values})
    result = replace(inputs, **new)
    if "take_off_g" in values and not check(result):
        result = with_take_off_g(result, float(values["take_off_g"]))
    return result


def mix(inputs: Inputs) -> tuple[float, float, float, float]:
    """Shares of the time hovering, cruising, flying hard and flat out, 0 to 1.

    Examples
    --------
    >>> mix(Inputs())
    (0.15, 0.5, 0.3, 0.05)
    """
    own = [getattr(inputs, name) for name in _MIX]
    shares = FLYING_STYLES[inputs.flying_style] if all(s is None for s in own) else [s or 0.0 for s in own]
    total = sum(shares)
    hover, cruise, hard, full = (share / total for share in shares)
    return hover, cruise, hard, full


@dataclass(frozen=True)
class Flying:
    """How it is flown, in SI: what the answers about minutes and the dive take beside a Build."""

    hover_share: float
    cruise_share: float
    hard_share: float
    full_share: float
    """[-], sum 1"""
    cruise_speed: float
    """[m/s]"""
    hard_load: float
    """Thrust over weight while flying hard, by the way of flying. [-]"""
    drop: float
    """[m]"""
    dive_speed: float | None
    """[m/s]; None lets it fall"""
    reaction: float
    """[s]"""
    load_limit: float
    """Hardest pull-out, thrust over weight. [-]"""
    state_of_charge: float
    """[-]"""


def flying(inputs: Inputs) -> Flying:
    """Convert the part of the inputs that is not the craft.

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
