"""A craft written down in the units people type, and the one place where it becomes a Build in SI.

A record is a flat mapping such as ``{"kv": 1950, "diameter_in": 5.1, "capacity_mah": 1300, ...}``: the demo
craft in ``data/demo``, a saved build and the explorer's inputs all have this shape. Names carry their unit
(``_g``, ``_in``, ``_mah``, ``_percent``, ``_c`` for Celsius). What a record leaves out takes `DEFAULTS`;
fields that are about flying and not about the craft are ignored here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from propmodel.assembly.build import Build
from propmodel.base.checks import check_in, check_positive
from propmodel.base.units import CELSIUS_ZERO, GRAM, INCH, MAH, MILLIOHM, MM
from propmodel.components import air, battery, motor, propeller, wire
from propmodel.components.controller import LOG_SD_THROTTLE_EXPONENT_TYPED, Controller, default_throttle_exponent
from propmodel.components.craft import Craft, default_drag_area
from propmodel.components.propeller import BLADE_WIDTHS

__all__ = [
    "AGE_CYCLES",
    "BLADE_WIDTHS",
    "BODY_SHAPES",
    "DEFAULTS",
    "chord_ratio",
    "from_record",
    "motor_of",
]

BODY_SHAPES: dict[str, float] = {"bare frame": 0.85, "camera on top": 1.15, "ducts or boxy body": 2.0}
"""Drag area against the default of a frame of that size. [-] Estimates, a factor 1.7 wide either way."""

AGE_CYCLES: dict[str, float] = {"new": 0.0, "a season": 60.0, "tired": 200.0}
"""Full cycles that stand for a pack's age in words. [-] Estimates (common practice, from memory)."""

CONNECTOR_RESISTANCE = 1.0e-3
"""Both contacts and the solder joints of a good connector. [ohm] Estimate."""

CELL_RATING_VOLTAGE = 4.2
"""A part sold "for n cells" is made for n full LiPo cells. [V] Common practice."""

DEFAULTS: dict[str, Any] = {
    "name": "",
    "frame_g": 266.0,
    "payload_g": 0.0,
    "rotors": 4,
    "coaxial": False,
    "body_shape": "camera on top",
    "drag_area_cm2": None,
    "thrust_loss_percent": 7.0,
    "electronics_w": 10.0,
    "electronics_min_v": 5.0,
    "frame_propeller_in": None,
    "mass_threshold_g": None,
    "vtx_max_cells": None,
    "camera_max_cells": None,
    "regulator_max_v": None,
    "receiver_max_v": None,
    "capacitor_v": None,
    "capacitor_uf": 1000.0,
    "kv": 1950.0,
    "stator_d_mm": 22.0,
    "stator_h_mm": 7.0,
    "winding_mohm": None,
    "no_load_a": None,
    "no_load_v": 10.0,
    "motor_mass_g": None,
    "motor_max_cells": None,
    "motor_max_a": None,
    "pole_pairs": 7,
    "diameter_in": 5.1,
    "pitch_in": 4.3,
    "blades": 3,
    "blade_width": "unknown",
    "blade_width_mm": None,
    "measured_propeller": None,
    "propeller_g": None,
    "guessed_mass_percent": 100.0,
    "chemistry": "lipo",
    "cells": 6,
    "capacity_mah": 1300.0,
    "parallel": 1,
    "cell_mohm": None,
    "cell_mohm_at_c": 25.0,
    "usable_percent": None,
    "pack_age": "new",
    "cycles": None,
    "pack_temperature_c": 25.0,
    "pack_g": None,
    "pack_label_c": None,
    "pack_burst_c": None,
    "reserve_percent": 20.0,
    "cutoff_v": None,
    "wire_awg": None,
    "pack_lead_mm": 100.0,
    "motor_wire_awg": None,
    "motor_lead_mm": 100.0,
    "connector_a": None,
    "command_cap_percent": 100.0,
    "esc_a": None,
    "esc_burst_a": None,
    "esc_min_cells": None,
    "esc_max_cells": None,
    "idle_percent": 5.0,
    "throttle_exponent": None,
    "altitude_m": 0.0,
    "air_temperature_c": None,
    "motor_name": "",
    "propeller_name": "",
    "controller_name": "",
    "pack_name": "",
}
"""What a record takes where it says nothing; None is "not told": the model estimates it or leaves it out."""


def chord_ratio(record: Mapping[str, Any]) -> float | None:
    """Blade chord at 75 % radius over the radius, from a measured width.

    Parameters
    ----------
    record : mapping
        Uses ``blade_width_mm`` and ``diameter_in``.

    Returns
    -------
    float or None
        None where the record does not say. [-]

    Examples
    --------
    >>> round(chord_ratio({"blade_width_mm": 12.0, "diameter_in": 5.1}), 3)
    0.185
    """
    width = record.get("blade_width_mm")
    return None if width is None else width * MM / (0.5 * record["diameter_in"] * INCH)


def from_record(record: Mapping[str, Any]) -> Build:
    """Build a craft from a record in the units people type.

    Parameters
    ----------
    record : mapping
        Any of the names in `DEFAULTS`; other names are ignored.

    Returns
    -------
    Build

    Raises
    ------
    ValueError
        From the part that a value does not suit, in one sentence.

    Examples
    --------
    >>> build = from_record({"kv": 1750, "cells": 5})
    >>> build.motor.kv, build.pack.cells
    (1750, 5)
    """
    r = {**DEFAULTS, **{name: value for name, value in record.items() if name in DEFAULTS}}
    turned, blades, pack = motor_of(r), _propeller(r), _pack(r)
    share = r["guessed_mass_percent"]
    if np.any(np.asarray(share) != 100.0):
        turned, blades, pack = _guessed_masses(turned, blades, pack, share / 100.0)
    return Build(
        craft=_craft(r),
        motor=turned,
        propeller=blades,
        controller=_controller(r, default_throttle_exponent(blades.diameter, turned.kv, battery.nominal_voltage(pack))),
        pack=pack,
        rotors=r["rotors"],
        air=air.atmosphere(r["altitude_m"], _kelvin(r["air_temperature_c"])),
        command_cap=r["command_cap_percent"] / 100.0,
        coaxial=bool(r["coaxial"]),
        name=str(r["name"]),
    )


def _times(value: Any, factor: Any) -> Any:
    return None if value is None else value * factor


def _kelvin(celsius: Any) -> Any:
    return None if celsius is None else celsius + CELSIUS_ZERO


def _guessed_masses(motor_: motor.Motor, blades: propeller.Propeller, pack: battery.Pack, share: Any) -> Any:
    """The three parts; masses that nobody told are a share of their estimate."""
    if motor_.mass is None:
        motor_ = replace(motor_, mass=motor.motor_mass(motor_) * share)
    if blades.mass is None:
        blades = replace(blades, mass=propeller.mass(blades) * share)
    if pack.mass is None:
        pack = replace(pack, mass=battery.mass(pack) * share)
    return motor_, blades, pack


def _craft(r: Mapping[str, Any]) -> Craft:
    drag = _times(r["drag_area_cm2"], 1e-4)
    if drag is None:
        # the body belongs to the frame: another propeller on the same frame leaves its drag alone
        size = (r["frame_propeller_in"] or r["diameter_in"]) * INCH
        check_positive("propeller diameter of the frame", size, "m")
        shape = check_in("body_shape", r["body_shape"], BODY_SHAPES)
        drag = default_drag_area(size)[()] * BODY_SHAPES[shape]
    return Craft(
        frame_mass=r["frame_g"] * GRAM,
        payload_mass=r["payload_g"] * GRAM,
        drag_area_front=drag,
        thrust_loss=r["thrust_loss_percent"] / 100.0,
        electronics_power=r["electronics_w"],
        frame_propeller_diameter=_times(r["frame_propeller_in"], INCH),
        electronics_min_voltage=r["electronics_min_v"],
        video_max_voltage=_times(r["vtx_max_cells"], CELL_RATING_VOLTAGE),
        camera_max_voltage=_times(r["camera_max_cells"], CELL_RATING_VOLTAGE),
        regulator_max_voltage=r["regulator_max_v"],
        receiver_max_voltage=r["receiver_max_v"],
        capacitor_voltage=r["capacitor_v"],
        capacitance=r["capacitor_uf"] * 1e-6,
        lead_area=None if r["wire_awg"] is None else wire.awg_area(r["wire_awg"])[()],
        lead_length=r["pack_lead_mm"] * MM,
        motor_lead_area=None if r["motor_wire_awg"] is None else wire.awg_area(r["motor_wire_awg"])[()],
        motor_lead_length=r["motor_lead_mm"] * MM,
        connector_current=r["connector_a"],
        mass_threshold=_times(r["mass_threshold_g"], GRAM),
        name=str(r["name"]),
    )


def motor_of(record: Mapping[str, Any]) -> motor.Motor:
    """Motor of a record.

    Parameters
    ----------
    record : mapping
        As for `from_record`.

    Returns
    -------
    propmodel.motor.Motor

    Examples
    --------
    >>> motor_of({"kv": 1750}).kv
    1750
    """
    r = {**DEFAULTS, **record}
    return motor.from_stator(
        r["stator_d_mm"] * MM,
        r["stator_h_mm"] * MM,
        r["kv"],
        winding_resistance=_times(r["winding_mohm"], MILLIOHM),
        no_load_current=r["no_load_a"],
        no_load_voltage=r["no_load_v"],
        mass=_times(r["motor_mass_g"], GRAM),
        max_cells=r["motor_max_cells"],
        max_current=r["motor_max_a"],
        pole_pairs=r["pole_pairs"],
        name=str(r["motor_name"]),
    )


def _propeller(r: Mapping[str, Any]) -> propeller.Propeller:
    if r["measured_propeller"] is not None:
        found = propeller.measured(r["measured_propeller"])
        return found if r["propeller_g"] is None else replace(found, mass=r["propeller_g"] * GRAM)
    return propeller.Propeller(
        diameter=r["diameter_in"] * INCH,
        pitch=r["pitch_in"] * INCH,
        blades=r["blades"],
        chord_ratio=chord_ratio(r),
        blade_width=r["blade_width"],
        mass=_times(r["propeller_g"], GRAM),
        multirotor=True,
        name=str(r["propeller_name"]),
    )


def _controller(r: Mapping[str, Any], rule: Any) -> Controller:
    exponent = r["throttle_exponent"]
    # not given: the rule for this build, with the spread between stands
    given: dict[str, Any] = {}
    if exponent is not None:
        given = {"throttle_exponent": exponent, "log_sd_throttle_exponent": LOG_SD_THROTTLE_EXPONENT_TYPED}
    # idle is told as a command, as the firmware asks for it; the map makes a share of the voltage of it
    idle = np.minimum((r["idle_percent"] / 100.0) ** (rule if exponent is None else exponent), 0.5)
    return Controller(
        **given,
        idle_duty=idle if np.ndim(idle) else float(idle),
        continuous_current=r["esc_a"],
        burst_current=r["esc_burst_a"],
        min_cells=r["esc_min_cells"],
        max_cells=r["esc_max_cells"],
        name=str(r["controller_name"]),
    )


def _pack(r: Mapping[str, Any]) -> battery.Pack:
    age = check_in("pack_age", r["pack_age"], AGE_CYCLES)
    cycles = AGE_CYCLES[age] if r["cycles"] is None else r["cycles"]
    cell_resistance = _times(r["cell_mohm"], MILLIOHM)
    if cell_resistance is not None:
        # a reading on the pack as it is: take its age and its temperature out, the Pack puts them back
        cell_resistance = battery.ten_second_resistance(cell_resistance, _kelvin(r["cell_mohm_at_c"]), cycles)[()]
    usable = _times(r["usable_percent"], 0.01)
    if usable is not None:
        usable = usable / battery.capacity_left(cycles)[()]
    leads = {}
    if r["wire_awg"] is not None:
        pair = wire.resistance(r["wire_awg"], length=2.0 * r["pack_lead_mm"] * MM)[()]
        leads["lead_resistance"] = pair + CONNECTOR_RESISTANCE
    whole_ah = r["capacity_mah"] * MAH * r["parallel"]
    return battery.Pack(
        r["chemistry"],
        r["cells"],
        r["capacity_mah"] * MAH,
        cell_resistance=cell_resistance,
        parallel=r["parallel"],
        temperature=_kelvin(r["pack_temperature_c"]),
        cycles=cycles,
        mass=_times(r["pack_g"], GRAM),
        max_continuous_current=_times(r["pack_label_c"], whole_ah),
        max_burst_current=_times(r["pack_burst_c"], whole_ah),
        reserve=r["reserve_percent"] / 100.0,
        cutoff_voltage_per_cell=r["cutoff_v"],
        name=str(r["pack_name"]),
        label_c=r["pack_label_c"],
        usable_share=usable,
        **leads,
    )
