"""Effect of each guessed input on the headline outputs, from one cached call of the engine for all guesses."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
import streamlit as st
from numpy.typing import NDArray

from explorer.forecasts.headlines import CACHED_ANSWERS, build, plain, profile
from explorer.inputs import FLYING_STYLES, Inputs, guessed_fields
from propmodel.assembly.build import Build, with_fields
from propmodel.assembly.build_record import BLADE_WIDTHS
from propmodel.assess.assessment import Assessment
from propmodel.assess.performance import evaluate
from propmodel.components import battery, motor, propeller
from propmodel.flight.endurance import flight_time
from propmodel.studies.sensitivity import standing_at

__all__ = ["LOST", "GuessedField", "ranked"]


class GuessedField(NamedTuple):
    """An input that was not given."""

    name: str
    """Field of `Inputs`."""
    words: str
    """Name for display."""
    effect: float
    """Largest relative change of an output for the usual error of the guess. [-]"""
    answer: str
    """Name of that output; empty if none changes."""


_ANSWERS = {
    "hover_throttle": "hover throttle",
    "thrust_to_weight": "thrust to weight",
    "full_throttle_current": "current flat out",
}
_MINUTES = "minutes"
LOST = 1.0
"""Effect of a guess with which the output no longer exists, such as a hover. [-]"""

_FACTORS = {
    # usual error of a guess as factors, low and high (estimates)
    "kv": (0.85, 1.15), "stator_d_mm": (0.9, 1.1), "stator_h_mm": (0.8, 1.25), "diameter_in": (0.9, 1.1),
    "pitch_in": (0.8, 1.25), "capacity_mah": (0.75, 1.3), "winding_mohm": (0.7, 1.4), "no_load_a": (0.5, 2.0),
    "motor_mass_g": (0.8, 1.25), "propeller_g": (0.8, 1.25), "pack_g": (0.85, 1.15), "cell_mohm": (0.65, 1.5),
    "pack_label_c": (0.8, 1.25), "pack_age": (1.0, 1.5), "usable_percent": (0.95, 1.05), "wire_awg": (0.5, 2.0),
    "drag_area_cm2": (0.6, 1.7), "electronics_w": (0.5, 2.0), "throttle_exponent": (0.87, 1.15),
    "cruise_kmh": (0.75, 1.3), "take_off_g": (0.87, 1.15),
}  # fmt: skip
_STEPS = {
    "blades": (-1.0, 1.0), "cells": (-1.0, 1.0), "thrust_loss_percent": (-3.0, 4.0), "altitude_m": (-400.0, 1200.0),
    "air_temperature_c": (-15.0, 15.0), "pack_temperature_c": (-15.0, 12.0), "reserve_percent": (-10.0, 10.0),
}  # fmt: skip


def ranked(inputs: Inputs, lent: frozenset[str] = frozenset()) -> list[GuessedField]:
    """Return the inputs that were not given, the one with the largest effect first.

    Parameters
    ----------
    inputs : Inputs
    lent : frozenset of str
        Fields that still hold what a lending craft had.

    Returns
    -------
    list of GuessedField
    """
    return _ranked(plain(inputs), tuple(sorted(lent)))


@st.cache_data(**CACHED_ANSWERS)
def _ranked(inputs: Inputs, lent: tuple[str, ...]) -> list[GuessedField]:
    found = guessed_fields(inputs, frozenset(lent))
    if not found:
        return []
    names = [name for name, _ in found]
    # with a given take-off mass a heavier part leaves less mass for the frame
    weighed = bool(lent) and "frame_g" not in lent
    many, ways = _rows(inputs, names, weighed)
    got = {words: np.asarray(v) for words, v in _asked(many).items()}
    got[_MINUTES] = np.asarray(flight_time(many, ways).time)
    rows = 1 + 2 * len(names)
    effects = {words: _effects(np.broadcast_to(v, (rows,))) for words, v in got.items()}
    guesses = []
    for k, (name, words) in enumerate(found):
        answer, effect = max(((w, float(e[k])) for w, e in effects.items()), key=lambda pair: pair[1])
        guesses.append(GuessedField(name, words, effect, answer if effect > 0.0 else ""))
    return sorted(guesses, key=lambda one: -one.effect)


def _asked(many: Build) -> dict[str, NDArray]:
    got = evaluate(Assessment(many, quick=True), list(_ANSWERS))
    return {words: got[name] for name, words in _ANSWERS.items()}


def _effects(values: NDArray) -> NDArray:
    """Larger of the two changes of each guess, relative to the output without a change. [-]"""
    base, off = values[0], values[1:].reshape(-1, 2)
    if not np.isfinite(base) or base <= 0.0:
        return np.where(np.isfinite(off).any(axis=1), LOST, 0.0)
    with np.errstate(invalid="ignore"):
        change = np.where(np.isfinite(off), np.abs(off / base - 1.0), LOST)
    return np.where(change < 1e-4, 0.0, change).max(axis=1)


def _rows(inputs: Inputs, names: list[str], weighed: bool) -> tuple[Build, Any]:
    """Builds and flight profiles: row 0 unchanged, then two rows for each guess (low and high)."""
    rows = 1 + 2 * len(names)

    def spread(name: str, still: float, table: dict[str, tuple[float, float]]) -> NDArray:
        values = np.full(rows, still)
        if name in names and name in table:
            at = 1 + 2 * names.index(name)
            values[at], values[at + 1] = table[name]
        return values

    def off(name: str) -> NDArray:
        return spread(name, 1.0, _FACTORS)

    def step(name: str) -> NDArray:
        return spread(name, 0.0, _STEPS)

    made = build(inputs)
    labels: dict[str, Any] = {
        "motor.kv": made.motor.kv * off("kv"),
        "pack.capacity_ah": made.pack.capacity_ah * off("capacity_mah"),
        "pack.cells": np.maximum(made.pack.cells + step("cells"), 1.0),
    }
    if made.motor.stator_diameter is not None and made.motor.stator_height is not None:
        labels["motor.stator_diameter"] = made.motor.stator_diameter * off("stator_d_mm")
        labels["motor.stator_height"] = made.motor.stator_height * off("stator_h_mm")
    if made.propeller.own_fit is None:
        labels["propeller.diameter"] = made.propeller.diameter * off("diameter_in")
        labels["propeller.pitch"] = made.propeller.pitch * off("pitch_in")
        labels["propeller.blades"] = np.clip(made.propeller.blades + step("blades"), 2.0, 6.0)
    many = with_fields(made, {path: v for path, v in labels.items() if np.ptp(v) > 0.0})
    turned = replace(
        many.motor,
        resistance=many.motor.resistance * off("winding_mohm"),
        no_load_current=many.motor.no_load_current * off("no_load_a"),
        mass=motor.motor_mass(many.motor) * off("motor_mass_g"),
    )
    chord: dict[str, Any] = {} if "blade_width" not in names else {"chord_ratio": _widths(names, rows)}
    blades = replace(many.propeller, mass=propeller.mass(many.propeller) * off("propeller_g"), **chord)
    of_cells = battery.cell_resistance_new(many.pack) * off("cell_mohm") * off("pack_label_c") * off("pack_age")
    pack = replace(
        many.pack,
        cell_resistance=of_cells,
        lead_resistance=many.pack.lead_resistance * off("wire_awg"),
        usable_share=battery.usable_share_new(many.pack) * off("usable_percent"),
        mass=battery.mass(many.pack) * off("pack_g"),
        temperature=many.pack.temperature + step("pack_temperature_c"),
        reserve=np.clip(many.pack.reserve + 0.01 * step("reserve_percent"), 0.0, 0.9),
    )
    whole = replace(many, motor=turned, propeller=blades, pack=pack)
    frame = many.craft.frame_mass + np.asarray(made.mass) * (off("take_off_g") - 1.0)
    if weighed:
        frame = frame - (whole.mass - made.mass)
    least = 0.1 * np.asarray(made.craft.frame_mass)
    craft = replace(
        many.craft,
        frame_mass=np.maximum(frame, least),
        drag_area_front=_front(many) * off("drag_area_cm2"),
        electronics_power=many.craft.electronics_power * off("electronics_w"),
        thrust_loss=np.clip(many.craft.thrust_loss + 0.01 * step("thrust_loss_percent"), 0.0, 0.8),
    )
    controller = many.controller
    controller = replace(controller, throttle_exponent=controller.exponent * off("throttle_exponent"))
    whole = standing_at(
        replace(whole, craft=craft, controller=controller),
        altitude_step=step("altitude_m"),
        temperature_step=step("air_temperature_c"),
    )
    return whole, _ways(inputs, names, rows, off("cruise_kmh"))


def _front(many: Build) -> NDArray:
    assert many.craft.drag_area_front is not None  # always set for a build from inputs
    return np.asarray(many.craft.drag_area_front)


def _widths(names: list[str], rows: int) -> NDArray:
    chord = np.full(rows, np.nan)
    at = 1 + 2 * names.index("blade_width")
    chord[at], chord[at + 1] = BLADE_WIDTHS["slim"], BLADE_WIDTHS["broad"]
    return chord


def _ways(inputs: Inputs, names: list[str], rows: int, speed: NDArray) -> Any:
    """Flight profile of each row; for a guessed flying style also the gentlest and the hardest with cruise."""
    flown = profile(inputs)
    shares = np.tile([[flown.hover], [flown.cruise], [flown.hard], [flown.full]], rows).astype(float)
    if "flying_style" in names:
        at = 1 + 2 * names.index("flying_style")
        for k, style in enumerate(("cruise", "race")):
            shares[:, at + k] = [0.01 * share for share in FLYING_STYLES[style]]
    hover, cruise, hard, full = shares
    return replace(flown, hover=hover, cruise=cruise, hard=hard, full=full, cruise_speed=flown.cruise_speed * speed)
