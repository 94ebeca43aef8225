"""Measured parts in place of labelled ones: what a bench log made of motor, propeller and throttle map.

A measured part belongs to the label it was measured for: another KV or another diameter in the build sets it aside,
and the label's forecast stands again. Plain numbers only, so that the whole of it is part of every key under which
an answer is kept; it travels inside the inputs of one visitor and can reach nobody else.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, asdict, dataclass, fields, replace
from functools import lru_cache
from typing import Any

import numpy as np

from explorer.inputs.inputs import Inputs, to_build
from propmodel.assembly.build import Build
from propmodel.base.arrays import ArrayOrFloat, number
from propmodel.base.checks import check_number, check_range
from propmodel.components.controller import LOG_SD_THROTTLE_EXPONENT_TYPED, Controller
from propmodel.components.motor import Motor
from propmodel.components.propeller import Propeller

__all__ = [
    "MOTOR_LABEL",
    "PROPELLER_LABEL",
    "RECORD_FIELDS",
    "MeasuredController",
    "MeasuredMotor",
    "MeasuredPropeller",
    "OwnInputs",
    "OwnParts",
    "attach",
    "bare",
    "build_of",
    "from_record",
    "in_use",
    "measured",
    "read_record",
    "to_record",
]

MOTOR_LABEL = ("kv", "stator_d_mm", "stator_h_mm", "winding_mohm", "no_load_a", "no_load_v")
PROPELLER_LABEL = ("diameter_in", "pitch_in", "blades", "blade_width", "blade_width_mm", "measured_propeller")
CONTROLLER_LABEL = ("esc_a", "esc_max_cells", "throttle_exponent", "idle_percent")
"""Fields that say which part it is; a change in one of them is another part."""


@dataclass(frozen=True)
class MeasuredMotor:
    """What replaces the label of a motor; SI but for KV."""

    kv: float
    """Under load. [rpm/V]"""
    resistance: float
    no_load_current: float
    no_load_voltage: float
    log_sd_kv: float
    log_sd_resistance: float


@dataclass(frozen=True)
class MeasuredPropeller:
    """Shifts of a propeller from its label's forecast, and the spread that is left."""

    log_c_t: float
    figure_of_merit: float
    log_sd_c_t: float
    log_sd_c_p: float
    correlation: float


@dataclass(frozen=True)
class MeasuredController:
    """Throttle map and losses of a speed controller."""

    ripple_coefficient: float
    standby_power: float
    idle_duty: float
    throttle_exponent: float
    log_sd_throttle_exponent: float = LOG_SD_THROTTLE_EXPONENT_TYPED
    """Files saved before this was kept say nothing of it. [-]"""


@dataclass(frozen=True)
class OwnParts:
    """Measured parts of one visitor, each with the label it holds for."""

    name: str
    """Where it came from: the file, or "readings"."""
    motor: MeasuredMotor | None = None
    motor_label: tuple[Any, ...] = ()
    propeller: MeasuredPropeller | None = None
    propeller_label: tuple[Any, ...] = ()
    controller: MeasuredController | None = None
    controller_label: tuple[Any, ...] = ()


@dataclass(frozen=True)
class OwnInputs(Inputs):
    """Inputs of a build of which some parts were measured."""

    own: OwnParts | None = None


_PARTS = {
    "motor": (MOTOR_LABEL, MeasuredMotor),
    "propeller": (PROPELLER_LABEL, MeasuredPropeller),
    "controller": (CONTROLLER_LABEL, MeasuredController),
}


def _label(inputs: Inputs, part: str) -> tuple[Any, ...]:
    return tuple(getattr(inputs, name) for name in _PARTS[part][0])


def _one(value: ArrayOrFloat | None) -> float:
    """A value of one part, which was told."""
    assert value is not None
    return number(value)


def measured(
    inputs: Inputs,
    name: str,
    *,
    motor: Motor | None = None,
    propeller: Propeller | None = None,
    controller: Controller | None = None,
) -> OwnParts:
    """Keep what a calibration found, as belonging to the labels of this build.

    Parameters
    ----------
    inputs : Inputs
        Whose labels it holds for.
    name : str
        Where it came from, as shown to the reader.
    motor, propeller, controller : Motor, Propeller, Controller or None
        Calibrated; None leaves the label.

    Returns
    -------
    OwnParts
    """
    label = to_build(bare(inputs)).propeller
    return OwnParts(
        name=name[:80],
        motor=None if motor is None else MeasuredMotor(
            kv=float(motor.kv) * number(motor.loaded_kv_ratio), resistance=float(motor.resistance),
            no_load_current=float(motor.no_load_current), no_load_voltage=float(motor.no_load_voltage),
            log_sd_kv=_one(motor.log_sd_kv), log_sd_resistance=_one(motor.log_sd_resistance),
        ),
        motor_label=() if motor is None else _label(inputs, "motor"),
        propeller=None if propeller is None else MeasuredPropeller(
            log_c_t=float(np.asarray(propeller.log_c_t_offset) - np.asarray(label.log_c_t_offset)),
            figure_of_merit=float(
                np.asarray(propeller.figure_of_merit_offset) - np.asarray(label.figure_of_merit_offset)
            ),
            log_sd_c_t=number(propeller.log_sd_c_t), log_sd_c_p=number(propeller.log_sd_c_p),
            correlation=number(propeller.spread_correlation),
        ),
        propeller_label=() if propeller is None else _label(inputs, "propeller"),
        controller=None if controller is None else MeasuredController(
            *(number(getattr(controller, f.name)) for f in fields(MeasuredController))
        ),
        controller_label=() if controller is None else _label(inputs, "controller"),
    )  # fmt: skip


def in_use(inputs: Inputs, own: OwnParts | None) -> list[str]:
    """Which measured parts hold for this build: "motor", "propeller", "controller"."""
    if own is None:
        return []
    return [
        part
        for part in _PARTS
        if getattr(own, part) is not None and getattr(own, f"{part}_label") == _label(inputs, part)
    ]


def bare(inputs: Inputs) -> Inputs:
    """The inputs as typed, without measured parts."""
    if type(inputs) is Inputs:
        return inputs
    return Inputs(**{f.name: getattr(inputs, f.name) for f in fields(Inputs)})


def attach(inputs: Inputs, own: OwnParts | None) -> Inputs:
    """Put the measured parts that hold for this build with it; the inputs themselves where none does."""
    there = in_use(inputs, own)
    if own is None or not there:
        return bare(inputs)
    gone: dict[str, Any] = {part: None for part in _PARTS if part not in there} | {
        f"{p}_label": () for p in _PARTS if p not in there
    }
    plain = {f.name: getattr(inputs, f.name) for f in fields(Inputs)}
    return OwnInputs(**plain, own=replace(own, **gone))


def build_of(inputs: Inputs) -> Build:
    """Build of the inputs, with the measured parts in place of the labelled ones."""
    made = to_build(inputs)
    own = getattr(inputs, "own", None)
    there = in_use(inputs, own)
    return made if own is None or not there else _with_parts(made, own, tuple(there))


@lru_cache(maxsize=64)
def _with_parts(made: Build, own: OwnParts, there: tuple[str, ...]) -> Build:
    """The build with its measured parts, put together once."""
    changes: dict[str, Any] = {}
    if "motor" in there and own.motor is not None:
        winding = made.motor.winding_resistance
        values = {**asdict(own.motor), "loaded_kv_ratio": 1.0}
        if winding is not None:
            values["winding_resistance"] = min(number(winding), own.motor.resistance)
        changes["motor"] = replace(made.motor, **values)
    if "propeller" in there and own.propeller is not None:
        p = made.propeller
        changes["propeller"] = replace(
            p,
            log_c_t_offset=np.asarray(p.log_c_t_offset) + own.propeller.log_c_t,
            figure_of_merit_offset=np.asarray(p.figure_of_merit_offset) + own.propeller.figure_of_merit,
            log_sd_c_t=own.propeller.log_sd_c_t,
            log_sd_c_p=own.propeller.log_sd_c_p,
            spread_correlation=own.propeller.correlation,
        )
    if "controller" in there and own.controller is not None:
        changes["controller"] = replace(made.controller, **asdict(own.controller))
    return replace(made, **changes)


# ---- in a saved build -------------------------------------------------------------------------------------


RECORD_FIELDS = frozenset(
    ["own.name"]
    + [f"own.{part}.{field.name}" for part, (_, kind) in _PARTS.items() for field in fields(kind)]
    + [f"own.{part}.of.{name}" for part, (names, _) in _PARTS.items() for name in names]
)
"""Every field that `to_record` may write."""


def to_record(own: OwnParts | None) -> dict[str, Any]:
    """Flat fields for a saved build, ``own.motor.kv`` and so on; empty where nothing was measured."""
    found: dict[str, Any] = {}
    for part in _PARTS:
        held = None if own is None else getattr(own, part)
        if held is not None:
            found |= {f"own.{part}.{name}": value for name, value in asdict(held).items()}
            names = _PARTS[part][0]
            found |= {f"own.{part}.of.{name}": v for name, v in zip(names, getattr(own, f"{part}_label"), strict=True)}
    return {"own.name": own.name, **found} if own is not None and found else {}


RANGES: dict[type, dict[str, tuple[str, float, float, str]]] = {
    MeasuredMotor: {
        "log_sd_kv": ("log sd of motor KV", 0.0, 0.3, ""),
        "log_sd_resistance": ("log sd of motor resistance", 0.0, 1.0, ""),
        "kv": ("motor KV", 10.0, 30000.0, "rpm/V"),
        "resistance": ("motor resistance", 1e-4, 100.0, "ohm"),
        "no_load_current": ("motor no-load current", 0.0, 100.0, "A"),
        "no_load_voltage": ("motor no-load voltage", 0.1, 1000.0, "V"),
    },
    MeasuredPropeller: {
        "log_c_t": ("shift of ln C_T", -2.0, 2.0, ""),
        "figure_of_merit": ("shift of the figure of merit", -5.0, 5.0, ""),
        "log_sd_c_t": ("log sd of C_T", 0.0, 1.0, ""),
        "log_sd_c_p": ("log sd of C_P", 0.0, 1.0, ""),
        "correlation": ("correlation of C_T and C_P", -1.0, 1.0, ""),
    },
    MeasuredController: {
        "ripple_coefficient": ("ripple coefficient", 0.0, 3.0, "W/V^2"),
        "standby_power": ("standby power", 0.0, 100.0, "W"),
        "idle_duty": ("idle duty", 0.0, 0.4, ""),
        "log_sd_throttle_exponent": ("log sd of the throttle exponent", 0.0, 0.12, ""),
        "throttle_exponent": ("throttle exponent", 0.35, 1.85, ""),
    },
}
"""Name and unit for a sentence, and the range of what a bench can find: four standard deviations off, the engine still
takes the value, so that the spread of the answers can be drawn. Estimates."""


def _check(held: MeasuredMotor | MeasuredPropeller | MeasuredController) -> None:
    """Raise a ValueError, one sentence, for numbers that no such part can have."""
    for field, (name, low, high, unit) in RANGES[type(held)].items():
        value = getattr(held, field)
        if value is None:
            raise ValueError(f"{name} is missing")
        check_range(name, check_number(name, value), low, high, unit)
    if isinstance(held, MeasuredMotor):  # current, resistance and voltage must fit together
        Motor(**asdict(held), loaded_kv_ratio=1.0)


def read_record(record: Mapping[str, Any]) -> tuple[OwnParts | None, list[str]]:
    """Measured parts of a saved build, and a sentence for each that cannot be used.

    Parameters
    ----------
    record : mapping
        Fields of the saved build, as `to_record` writes them; others are passed over.

    Returns
    -------
    parts : OwnParts or None
        None where there are none, or none that can be used.
    words : list of str
        Which part was left out, and for which value.

    Examples
    --------
    >>> read_record({"kv": 1950.0})
    (None, [])
    """
    found: dict[str, Any] = {}
    words: list[str] = []
    for part, (names, kind) in _PARTS.items():
        here = f"own.{part}."
        if not any(key.startswith(here) and not key.startswith(f"{here}of.") for key in record):
            continue
        values = [record.get(f"{here}{f.name}", None if f.default is MISSING else f.default) for f in fields(kind)]
        try:
            _check(kind(*values))
        except ValueError as wrong:
            words.append(f"The measured {part} of this build is left out, and the label stands in its place: {wrong}.")
            continue
        found[part] = kind(*(float(v) for v in values))
        found[f"{part}_label"] = tuple(record.get(f"{here}of.{name}") for name in names)
    return (OwnParts(str(record.get("own.name", "saved build"))[:80], **found) if found else None), words


def from_record(record: Mapping[str, Any]) -> OwnParts | None:
    """Measured parts of a saved build; None where there are none or their numbers cannot be used."""
    return read_record(record)[0]
