"""Measured motor, propeller and speed controller in place of those of the labels.

A measured part belongs to the label it was measured for. After a change of that label, as of the KV or the diameter, it
is not used, and the forecast from the label applies again. A measured motor is a `Motor` of `propmodel`, a measured
speed controller a `Controller`. Each is made once, when it is measured or read from a file, and every build with its
label has the same object. A propeller is stored as offsets from the forecast of its label, because a thrust stand
measures no more than that. All values are plain numbers, so that they are part of every cache key. They are stored in
the inputs of one session and are not visible in others.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Any, TypeVar

import numpy as np

from explorer.inputs.conversion import to_build
from explorer.inputs.inputs import Inputs
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
    "MeasuredPropeller",
    "OwnInputs",
    "OwnParts",
    "build_of",
    "in_use",
    "measured",
    "read_record",
    "to_record",
    "with_measured",
    "without_measured",
]

MOTOR_LABEL = ("kv", "stator_d_mm", "stator_h_mm", "winding_mohm", "no_load_a", "no_load_v")
PROPELLER_LABEL = ("diameter_in", "pitch_in", "blades", "blade_width", "blade_width_mm", "measured_propeller")
CONTROLLER_LABEL = ("esc_a", "esc_max_cells", "throttle_exponent", "idle_percent")
"""Fields that identify the speed controller; a change of one of them means another part."""


MOTOR_MEASURED = ("kv", "resistance", "no_load_current", "no_load_voltage", "log_sd_kv", "log_sd_resistance")
CONTROLLER_MEASURED = (
    "ripple_coefficient", "standby_power", "idle_duty", "throttle_exponent", "log_sd_throttle_exponent",
)  # fmt: skip
"""Fields of a `Motor` and a `Controller` that are measured; all others come from the label."""


@dataclass(frozen=True)
class MeasuredPropeller:
    """Offsets of a propeller from the forecast of its label, and the remaining spread. [-]"""

    log_c_t: float
    figure_of_merit: float
    log_sd_c_t: float
    log_sd_c_p: float
    correlation: float


@dataclass(frozen=True)
class OwnParts:
    """Measured parts of one session, each with the label it belongs to."""

    name: str
    """Source: the name of the file, or "readings"."""
    motor: Motor | None = None
    """Its KV applies under load; it has no name. [SI, KV in rpm/V]"""
    motor_label: tuple[Any, ...] = ()
    propeller: MeasuredPropeller | None = None
    propeller_label: tuple[Any, ...] = ()
    controller: Controller | None = None
    controller_label: tuple[Any, ...] = ()


@dataclass(frozen=True)
class OwnInputs(Inputs):
    """Inputs of a build with measured parts."""

    own: OwnParts | None = None


_PARTS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "motor": (MOTOR_LABEL, MOTOR_MEASURED),
    "propeller": (PROPELLER_LABEL, tuple(f.name for f in fields(MeasuredPropeller))),
    "controller": (CONTROLLER_LABEL, CONTROLLER_MEASURED),
}
"""Part -> (fields of the label it belongs to, measured fields in the order of a saved build)."""


def _label(inputs: Inputs, part: str) -> tuple[Any, ...]:
    return tuple(getattr(inputs, name) for name in _PARTS[part][0])


def _one(value: ArrayOrFloat | None) -> float:
    """Return a value that must not be None as a float."""
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
    """Return the result of a calibration as measured parts that belong to the labels of this build.

    Parameters
    ----------
    inputs : Inputs
        The inputs with these labels.
    name : str
        Source, as shown to the user.
    motor, propeller, controller : Motor, Propeller, Controller or None
        Calibrated parts; None for a part that was not measured.

    Returns
    -------
    OwnParts
        The parts and their labels.
    """
    label = to_build(without_measured(inputs)).propeller
    own = OwnParts(
        name=name[:80],
        motor=None if motor is None else Motor(
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
        controller=None if controller is None else Controller(
            ripple_coefficient=number(controller.ripple_coefficient), standby_power=number(controller.standby_power),
            idle_duty=number(controller.idle_duty), throttle_exponent=number(controller.exponent),
            log_sd_throttle_exponent=_one(controller.log_sd_throttle_exponent),
        ),
        controller_label=() if controller is None else _label(inputs, "controller"),
    )  # fmt: skip
    return _with_label_facts(own, inputs)


_Part = TypeVar("_Part", Motor, Controller)


def _with_facts(found: _Part, facts: Mapping[str, Any]) -> _Part:
    """Return the part with the given fields; the same object if it already has them."""
    return found if all(getattr(found, k) == v for k, v in facts.items()) else replace(found, **facts)


def _motor_of_label(label: Motor, found: Motor) -> Motor:
    """Return a measured motor with stator, mass, limits, poles and name of its label."""
    facts = {f.name: getattr(label, f.name) for f in fields(Motor) if f.name not in MOTOR_MEASURED}
    if label.winding_resistance is not None:
        facts["winding_resistance"] = min(number(label.winding_resistance), number(found.resistance))
    return _with_facts(found, {**facts, "loaded_kv_ratio": 1.0})


def _controller_of_label(label: Controller, found: Controller) -> Controller:
    """Return a measured speed controller with the limits, mass and name of its label."""
    names = [f.name for f in fields(Controller) if f.name not in CONTROLLER_MEASURED]
    return _with_facts(found, {name: getattr(label, name) for name in names})


def in_use(inputs: Inputs, own: OwnParts | None) -> list[str]:
    """Return the measured parts whose label is that of this build: "motor", "propeller", "controller"."""
    if own is None:
        return []
    return [
        part
        for part in _PARTS
        if getattr(own, part) is not None and getattr(own, f"{part}_label") == _label(inputs, part)
    ]


def without_measured(inputs: Inputs) -> Inputs:
    """Return the inputs as typed, without measured parts."""
    if type(inputs) is Inputs:
        return inputs
    return Inputs(**{f.name: getattr(inputs, f.name) for f in fields(Inputs)})


def with_measured(inputs: Inputs, own: OwnParts | None) -> Inputs:
    """Return the inputs with the measured parts that belong to this build; without any if none does."""
    there = in_use(inputs, own)
    if own is None or not there:
        return without_measured(inputs)
    gone: dict[str, Any] = {part: None for part in _PARTS if part not in there} | {
        f"{p}_label": () for p in _PARTS if p not in there
    }
    plain = {f.name: getattr(inputs, f.name) for f in fields(Inputs)}
    return OwnInputs(**plain, own=replace(own, **gone))


def build_of(inputs: Inputs) -> Build:
    """Return the build of the inputs, with the measured parts in place of those of the labels."""
    made = to_build(inputs)
    own = getattr(inputs, "own", None)
    there = in_use(inputs, own)
    return made if own is None or not there else _with_parts(made, own, tuple(there))


@lru_cache(maxsize=64)
def _with_parts(made: Build, own: OwnParts, there: tuple[str, ...]) -> Build:
    """Return the build with its measured parts; cached."""
    changes: dict[str, Any] = {}
    if "motor" in there and own.motor is not None:
        changes["motor"] = _motor_of_label(made.motor, own.motor)
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
        changes["controller"] = _controller_of_label(made.controller, own.controller)
    return replace(made, **changes)


# ---- in a saved build -------------------------------------------------------------------------------------


RECORD_FIELDS = frozenset(
    ["own.name"]
    + [f"own.{part}.{name}" for part, (_, fields) in _PARTS.items() for name in fields]
    + [f"own.{part}.of.{name}" for part, (label, _) in _PARTS.items() for name in label]
)
"""All fields that `to_record` may write."""


def to_record(own: OwnParts | None) -> dict[str, Any]:
    """Return the fields of a saved build, ``own.motor.kv`` and so on; empty without measured parts."""
    found: dict[str, Any] = {}
    for part in _PARTS:
        held = None if own is None else getattr(own, part)
        if held is not None:
            label, measured_ = _PARTS[part]
            found |= {f"own.{part}.{name}": getattr(held, name) for name in measured_}
            found |= {f"own.{part}.of.{name}": v for name, v in zip(label, getattr(own, f"{part}_label"), strict=True)}
    return {"own.name": own.name, **found} if own is not None and found else {}


RANGES: dict[str, dict[str, tuple[str, float, float, str]]] = {
    "motor": {
        "log_sd_kv": ("log sd of motor KV", 0.0, 0.3, ""),
        "log_sd_resistance": ("log sd of motor resistance", 0.0, 1.0, ""),
        "kv": ("motor KV", 10.0, 30000.0, "rpm/V"),
        "resistance": ("motor resistance", 1e-4, 100.0, "ohm"),
        "no_load_current": ("motor no-load current", 0.0, 100.0, "A"),
        "no_load_voltage": ("motor no-load voltage", 0.1, 1000.0, "V"),
    },
    "propeller": {
        "log_c_t": ("shift of ln C_T", -2.0, 2.0, ""),
        "figure_of_merit": ("shift of the figure of merit", -5.0, 5.0, ""),
        "log_sd_c_t": ("log sd of C_T", 0.0, 1.0, ""),
        "log_sd_c_p": ("log sd of C_P", 0.0, 1.0, ""),
        "correlation": ("correlation of C_T and C_P", -1.0, 1.0, ""),
    },
    "controller": {
        "ripple_coefficient": ("ripple coefficient", 0.0, 3.0, "W/V^2"),
        "standby_power": ("standby power", 0.0, 100.0, "W"),
        "idle_duty": ("idle duty", 0.0, 0.4, ""),
        "log_sd_throttle_exponent": ("log sd of the throttle exponent", 0.0, 0.12, ""),
        "throttle_exponent": ("throttle exponent", 0.35, 1.85, ""),
    },
}
"""Part -> field -> (name, low, high, unit). The range is that of results from a thrust stand (estimates). `propmodel`
accepts values up to four standard deviations beyond it, so that the spread can be computed."""


_RESET = {"log_sd_throttle_exponent": LOG_SD_THROTTLE_EXPONENT_TYPED}
"""Values of fields that are missing in older files."""


def _made(part: str, values: Mapping[str, Any]) -> Motor | MeasuredPropeller | Controller:
    """Return the part with the values of a file; raises ValueError, one sentence, for impossible values."""
    for field, (name, low, high, unit) in RANGES[part].items():
        if values[field] is None:
            raise ValueError(f"{name} is missing")
        check_range(name, check_number(name, values[field]), low, high, unit)
    given: dict[str, Any] = {name: float(value) for name, value in values.items()}
    if part == "motor":
        return Motor(**given)  # raises an error if current, resistance and voltage are inconsistent
    return MeasuredPropeller(**given) if part == "propeller" else Controller(**given)


def read_record(record: Mapping[str, Any], inputs: Inputs) -> tuple[OwnParts | None, list[str]]:
    """Return the measured parts of a saved build, and a sentence for each that cannot be used.

    Parameters
    ----------
    record : mapping
        Fields of the saved build, as written by `to_record`; others are ignored.
    inputs : Inputs
        The saved build, valid; motor and controller get the other fields from its labels.

    Returns
    -------
    parts : OwnParts or None
        None if there are none, or none that can be used.
    words : list of str
        Which part was left out, and because of which value.

    Examples
    --------
    >>> read_record({"kv": 1950.0}, Inputs())
    (None, [])
    """
    found: dict[str, Any] = {}
    words: list[str] = []
    for part, (label, names) in _PARTS.items():
        here = f"own.{part}."
        if not any(key.startswith(here) and not key.startswith(f"{here}of.") for key in record):
            continue
        try:
            found[part] = _made(part, {name: record.get(f"{here}{name}", _RESET.get(name)) for name in names})
        except ValueError as wrong:
            words.append(f"The measured {part} of this build is left out, and the label stands in its place: {wrong}.")
            continue
        found[f"{part}_label"] = tuple(record.get(f"{here}of.{name}") for name in label)
    if not found:
        return None, words
    own = OwnParts(str(record.get("own.name", "saved build"))[:80], **found)
    return _with_label_facts(own, inputs), words


def _with_label_facts(own: OwnParts, inputs: Inputs) -> OwnParts:
    """Return the parts; motor and controller, if they belong to these inputs, with the facts of their label."""
    there = in_use(inputs, own)
    if not there:
        return own
    made = to_build(without_measured(inputs))
    motor, controller = own.motor, own.controller
    if "motor" in there and motor is not None:
        motor = _motor_of_label(replace(made.motor, name=""), motor)
    if "controller" in there and controller is not None:
        controller = _controller_of_label(replace(made.controller, name=""), controller)
    return replace(own, motor=motor, controller=controller)
