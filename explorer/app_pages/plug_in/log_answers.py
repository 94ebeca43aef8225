"""Comparison of a thrust-stand log with the labels; cached."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from explorer.inputs import Inputs, to_build
from explorer.inputs.measured_parts import without_measured
from propmodel.base.arrays import number
from propmodel.base.units import MILLIOHM
from propmodel.bench.stand_model import NAMES, Stand, stand_rows
from propmodel.components import battery
from propmodel.components.air import Air
from propmodel.components.controller import Controller
from propmodel.components.motor import Motor
from propmodel.components.propeller import Propeller

__all__ = [
    "by_label",
    "cell_mohm_from_pack",
    "labels_differ",
    "stand_parts",
]

# ---- the log ----------------------------------------------------------------------------------------------


def labels_differ(labels: Mapping[str, Any], inputs: Inputs) -> dict[str, str]:
    """Return the part -> a sentence, for each label of a file that differs from that of the build."""
    out = {}
    kv = labels.get("kv")
    if kv is not None and abs(float(kv) / inputs.kv - 1.0) > 0.02:
        out["motor"] = f"the file says {float(kv):.0f} KV, this build has {inputs.kv:.0f} KV"
    size = labels.get("stator_diameter")
    if size is not None and (
        abs(1e3 * float(size) - inputs.stator_d_mm) > 0.6
        or abs(1e3 * float(labels["stator_height"]) - inputs.stator_h_mm) > 0.6
    ):
        there = f"{1e3 * float(size):g} x {1e3 * float(labels['stator_height']):g} mm"
        here = f"{inputs.stator_d_mm:g} x {inputs.stator_h_mm:g} mm"
        out["motor"] = f"the file says a stator of {there}, this build has {here}"
    if labels.get("no_propeller"):
        out["propeller"] = "the file says a run without propeller"
    elif labels.get("diameter") is not None:
        theirs = [float(labels["diameter"]) / 0.0254, float(labels["pitch"]) / 0.0254, float(labels["blades"])]
        mine = [inputs.diameter_in, inputs.pitch_in, float(inputs.blades)]
        if any(abs(a - b) > 0.06 for a, b in zip(theirs, mine, strict=True)):
            names = ["x".join(f"{v:.3g}" for v in row) for row in (theirs, mine)]
            out["propeller"] = f"the file says {names[0]}, this build has {names[1]}"
    return out


def label_values(labels: Mapping[str, Any]) -> dict[str, Any]:
    """Return the fields of `Inputs` that the labels of a file contain."""
    out: dict[str, Any] = {}
    if labels.get("kv") is not None:
        out["kv"] = round(float(labels["kv"]), 1)
    if labels.get("stator_diameter") is not None:
        out["stator_d_mm"] = round(1e3 * float(labels["stator_diameter"]), 2)
        out["stator_h_mm"] = round(1e3 * float(labels["stator_height"]), 2)
    if labels.get("diameter") is not None and not labels.get("no_propeller"):
        out["diameter_in"] = round(float(labels["diameter"]) / 0.0254, 2)
        out["pitch_in"] = round(float(labels["pitch"]) / 0.0254, 2)
        out["blades"] = int(labels["blades"])
    return out


def stand_parts(
    inputs: Inputs, labels: Mapping[str, Any], *, own_motor: bool, own_propeller: bool
) -> tuple[Motor, Propeller, Controller, Air]:
    """Return motor, propeller, ESC and air for the start of a calibration: of this build, or of the file's labels."""
    made = to_build(without_measured(inputs))
    values = label_values(labels)
    motor_values = {k: v for k, v in values.items() if k in ("kv", "stator_d_mm", "stator_h_mm")}
    blade_values = {k: v for k, v in values.items() if k in ("diameter_in", "pitch_in", "blades")}
    motor, blades = made.motor, made.propeller
    if not own_motor and motor_values:
        motor = to_build(replace(without_measured(inputs), winding_mohm=None, no_load_a=None, **motor_values)).motor
    if not own_propeller and blade_values:
        other = replace(
            without_measured(inputs),
            measured_propeller=None,
            blade_width="unknown",
            blade_width_mm=None,
            propeller_g=None,
            **blade_values,
        )
        blades = to_build(other).propeller
    return motor, blades, made.controller, made.air


def by_label(
    points: pd.DataFrame, motor: Motor, propeller: Propeller, controller: Controller, air: Air
) -> dict[str, NDArray]:
    """Return thrust [N] and supply current [A] from the labels, at the measured speeds and voltages."""
    nothing = np.full(len(points), np.nan)
    if not {"voltage_v", "speed_rev_per_s"} <= set(points.columns):
        return {"thrust": nothing, "current": nothing}
    speed, volts = (points[c].to_numpy(float) for c in ("speed_rev_per_s", "voltage_v"))
    runs = (speed > 5.0) & (volts > 1.0)
    if not runs.any():
        return {"thrust": nothing, "current": nothing}
    stand = Stand.of(motor, propeller, controller, air, volts[runs])
    zero = np.zeros(len(NAMES))
    model = stand_rows(stand, zero, speed[runs])
    out = {}
    for name in ("thrust", "current"):
        values = nothing.copy()
        values[runs] = model[name]
        out[name] = values
    return out


def cell_mohm_from_pack(inputs: Inputs, pack_resistance: float) -> float:
    """Return the cell resistance as read by a charger that results in this resistance of the pack with leads. [mohm]

    The result is for the temperature and age of the pack. A flight shows the resistance over seconds, a charger that
    over a fraction of a second. ``pack_resistance`` is in ohm.
    """
    pack = to_build(without_measured(inputs)).pack
    leads = number(battery.resistance(pack, 0.5)) - (
        float(np.asarray(battery.resistance(replace(pack, lead_resistance=0.0), 0.5)))
    )
    cell = (pack_resistance - leads) / float(inputs.cells) * float(inputs.parallel)
    cell = cell / float(battery.ten_second_resistance(1.0))
    return max(cell / MILLIOHM, 0.1)
