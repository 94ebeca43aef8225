"""Plan of a sweep over all combinations: from the ranges and part lists of the user to the axes of the sweep.

Pure functions, without Streamlit. A combination is a flat index into a `propmodel.studies.sweep.Sweep`; `loaded`
converts it into inputs, so that the loaded build has the same results as its point on the map.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from explorer.app_pages.choose.ranges import MOST, PRICE, RANGES, Values, dropped_by, many, stator_text
from explorer.inputs import CHEMISTRY_NAMES, Inputs, apply, to_build
from propmodel import parts
from propmodel.assembly.build import Build, with_fields
from propmodel.base.arrays import number
from propmodel.base.units import GRAM, INCH, MAH, MILLIOHM, MM
from propmodel.components import battery, motor, propeller
from propmodel.studies.sweep import Sweep

__all__ = [
    "Plan",
    "carried",
    "count_of",
    "inputs_at",
    "plan",
    "priced",
    "shop_label",
    "too_many",
]

# ---- the plan of a sweep ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Plan:
    """Arguments of `propmodel.studies.sweep.sweep`.

    Parameters
    ----------
    base : Build
        Build with the fields that no axis changes.
    axes, tables : dict
        As for `sweep`, in SI units.
    prices : dict
        Price per craft of each row of a table axis, if its list has prices.
    """

    base: Build
    axes: dict[str, NDArray]
    tables: dict[str, dict[str, NDArray]]
    prices: dict[str, NDArray]


def count_of(values: Values, frames: Mapping[str, pd.DataFrame]) -> int:
    """Return the number of combinations.

    Examples
    --------
    >>> count_of({"kv": (1, 2, 3), "cells": (4, 5)}, {})
    6
    """
    gone = {name for kind in frames for name in dropped_by(kind)}
    return math.prod([len(v) for k, v in values.items() if k not in gone] + [len(f) for f in frames.values()])


def too_many(values: Values, frames: Mapping[str, pd.DataFrame]) -> str:
    """Return a message if there are too many combinations, with the ranges to shorten; "" otherwise."""
    count = count_of(values, frames)
    if count <= MOST:
        return ""
    gone = {name for kind in frames for name in dropped_by(kind)}
    lengths = {RANGES[k].words: len(v) for k, v in values.items() if k not in gone}
    lengths |= {f"the list of {kind}": len(f) for kind, f in frames.items()}
    most = max(lengths, key=lengths.__getitem__)
    return (
        f"That is {many(count)} combinations; {many(MOST)} can be counted at once. {most[:1].upper()}{most[1:]} alone "
        f"brings {many(lengths[most])}: fewer or coarser steps there save most."
    )


_MAKERS: dict[str, tuple[str, Any]] = {"motors": ("motor", parts.motors), "propellers": ("propeller", parts.propellers),
           "packs": ("pack", parts.packs), "controllers": ("controller", parts.controllers)}  # fmt: skip
_FIELDS_OF_LIST = {
    "motors": ("kv", "resistance", "no_load_current", "no_load_voltage", "mass", "stator_diameter", "stator_height",
               "winding_resistance", "pole_pairs", "max_cells", "max_current", "loaded_kv_ratio"),
    "propellers": ("diameter", "pitch", "blades", "chord_ratio", "blade_width", "mass"),
    "packs": ("chemistry", "cells", "capacity_ah", "parallel", "cell_resistance", "mass", "max_continuous_current",
              "max_burst_current"),
    "controllers": ("throttle_exponent", "log_sd_throttle_exponent", "continuous_current", "burst_current", "min_cells",
                    "max_cells", "max_voltage", "mass"),
}  # fmt: skip


def plan(inputs: Inputs, values: Values, frames: Mapping[str, pd.DataFrame]) -> Plan:
    """Return the plan of a sweep: each range and list is one axis, all other fields are those of the build.

    Parameters
    ----------
    inputs : Inputs
        Valid; its frame, payload, ESC, air and way of flying are used.
    values : mapping
        From `read_range`, `read_stators` and `read_chemistries`.
    frames : mapping
        Part tables by kind; each replaces the ranges of its kind.

    Returns
    -------
    Plan
        Base, axes, tables and prices.
    """
    base = to_build(inputs)
    axes: dict[str, NDArray] = {}
    tables: dict[str, dict[str, NDArray]] = {}
    prices: dict[str, NDArray] = {}
    gone = {name for kind in frames for name in dropped_by(kind)}
    for name, several in values.items():
        if name in gone:
            continue
        spec = RANGES[name]
        if name == "stator":
            d, h = np.array(several, dtype=np.float64).T
            tables["stator"] = {"motor.stator_diameter": d * MM, "motor.stator_height": h * MM}
        elif name == "chemistry":
            axes[spec.path] = np.array(several)
        else:
            axes[spec.path] = np.array(several, dtype=np.float64) * spec.scale
    for kind, frame in frames.items():
        part, make = _MAKERS[kind]
        made = make(frame)
        given = {f: getattr(made, f) for f in _FIELDS_OF_LIST[kind] if getattr(made, f) is not None}
        # fields without a value in a row are unknown: the value of the previous part is not valid
        blank = {f.name: getattr(made, f.name) for f in fields(made) if getattr(made, f.name) is None}
        old = replace(getattr(base, part), **blank, name="")
        if kind == "propellers":
            old = replace(old, own_fit=None)
        base = replace(base, **{part: old})
        rows = len(frame)
        tables[kind] = {f"{part}.{f}": np.broadcast_to(v, (rows,)) for f, v in given.items()}
        money = frame["price [-]"].to_numpy(dtype=np.float64) if "price [-]" in frame else np.full(rows, np.nan)
        if not np.isnan(money).all():
            prices[kind] = money * (1.0 if kind == "packs" else float(inputs.rotors))
    return Plan(base, axes, tables, prices)


def priced(found: Sweep, prices: Mapping[str, NDArray]) -> Sweep:
    """Return the sweep with the price of the listed parts of each combination; NaN if a row has no price."""
    if not prices:
        return found
    total = np.zeros(found.shape, dtype=np.float32)
    for place, name in enumerate(found.axes):
        if name in prices:
            shape = [1] * len(found.shape)
            shape[place] = -1
            total = total + prices[name].astype(np.float32).reshape(shape)
    return replace(found, values={**found.values, PRICE: total})


# ---- one combination: its label, its inputs ---------------------------------------------------------------


def shop_label(
    found: Sweep, index: int, frames: Mapping[str, pd.DataFrame], inputs: Inputs, kv: tuple[float, float] | None = None
) -> str:
    """Return the parts of a combination as a shop label: "2207, 1800 to 1900 KV; 5.1 x 3.6 x 3; 6S 1300".

    Parameters
    ----------
    found : Sweep
        All combinations.
    index : int
        Flat index of the combination.
    frames : mapping
        Part tables by kind; their parts have names.
    inputs : Inputs
        For fields that are not an axis.
    kv : (float, float) or None
        Range of nearly equal KV. [rpm/V]

    Returns
    -------
    str
        Plain text; names from lists are user text.
    """
    names = _names(found, index, frames)
    at = {k: v[()] for k, v in found.at(index).items()}
    words = []
    if "motors" in names:
        words.append(names["motors"])
    else:
        d, h = (round(float(at[f"motor.stator_{s}"]) / MM, 2) for s in ("diameter", "height"))
        own = float(at["motor.kv"])
        low, high = (own, own) if kv is None else kv
        span = f"{low:.0f}" if low == high else f"{low:.0f} to {high:.0f}"
        words.append(f"{stator_text((d, h))}, {span} KV")
    if "propellers" in names:
        words.append(names["propellers"])
    else:
        size = [_short(float(at[f"propeller.{f}"]) / INCH) for f in ("diameter", "pitch")]
        words.append(f"{size[0]} x {size[1]} x {float(at['propeller.blades']):.0f}")
    if "packs" in names:
        words.append(names["packs"])
    else:
        kind = battery_name(at.get("pack.chemistry"), inputs)
        strings = f"{inputs.parallel}P" if inputs.parallel > 1 else ""
        words.append(f"{float(at['pack.cells']):.0f}S{strings} {float(at['pack.capacity_ah']) / MAH:.0f}{kind}")
    if "controllers" in names:
        words.append(names["controllers"])
    return "; ".join(words)


def battery_name(index: Any, inputs: Inputs) -> str:
    """Return the name of a chemistry as on a label; "" for plain LiPo."""
    key = inputs.chemistry if index is None else list(battery.CHEMISTRIES)[int(index)]
    return "" if key == "lipo" else f" {CHEMISTRY_NAMES.get(key, key)}"


def _short(value: float) -> str:
    return f"{round(value, 2):g}"


def _rows(found: Sweep, index: int) -> dict[str, int]:
    return dict(zip(found.axes, (int(k) for k in np.unravel_index(index, found.shape)), strict=True))


def _names(found: Sweep, index: int, frames: Mapping[str, pd.DataFrame]) -> dict[str, str]:
    rows = _rows(found, index)
    return {kind: str(frame["name"].iloc[rows[kind]]) for kind, frame in frames.items() if kind in rows}


def inputs_at(inputs: Inputs, planned: Plan, found: Sweep, index: int, frames: Mapping[str, pd.DataFrame]) -> Inputs:
    """Return the inputs of one combination.

    Parameters
    ----------
    inputs : Inputs
        Inputs from which the sweep was planned.
    planned : Plan
        Plan of the sweep.
    found : Sweep
        All combinations.
    index : int
        Flat index of the combination.
    frames : mapping
        Part tables by kind.

    Returns
    -------
    Inputs
        As from `carried`; parts of a list have the values of their row.
    """
    changes = {k: v[()] for k, v in found.at(index).items()}
    listed = {kind: frame.iloc[_rows(found, index)[kind]] for kind, frame in frames.items()}
    result = carried(inputs, planned.base, changes, skip=tuple(listed))
    for kind, row in listed.items():
        result = apply(result, parts.to_record(row, kind))
    return result


def carried(inputs: Inputs, base: Build, changes: Mapping[str, Any], *, skip: Sequence[str] = ()) -> Inputs:
    """Return the inputs with other parts of the same make.

    Parameters
    ----------
    inputs : Inputs
        The build.
    base : Build
        Build of these inputs.
    changes : mapping
        Dotted field -> value in SI units; a chemistry as its index.
    skip : sequence of str
        Kinds of parts that are not changed.

    Returns
    -------
    Inputs
        Known values of the previous parts (mass, label current, resistance) are scaled as in `propmodel` for another
        part of the same make; unknown values stay unknown.
    """
    made = with_fields(base, dict(changes))
    touched = {path.partition(".")[0] for path in changes}
    new: dict[str, Any] = {}
    if "motor" in touched and "motors" not in skip:
        new |= {
            "kv": _clean(made.motor.kv),
            "stator_d_mm": _clean(made.motor.stator_diameter, MM),
            "stator_h_mm": _clean(made.motor.stator_height, MM),
        }
        for name, got, scale in (
            ("motor_mass_g", motor.motor_mass(made.motor), GRAM),
            ("winding_mohm", motor.winding_part(made.motor), MILLIOHM),
            ("no_load_a", made.motor.no_load_current, 1.0),
        ):
            new[name] = None if getattr(inputs, name) is None else _clean(got, scale)
        # labels that `propmodel` does not change, and that `apply` would clear for another stator
        new |= {"motor_max_a": inputs.motor_max_a, "motor_max_cells": inputs.motor_max_cells}
    if "propeller" in touched and "propellers" not in skip:
        new |= {
            "diameter_in": _clean(made.propeller.diameter, INCH),
            "pitch_in": _clean(made.propeller.pitch, INCH),
            "blades": int(_clean(made.propeller.blades)),
            "measured_propeller": None,
            "propeller_g": None if inputs.propeller_g is None else _clean(propeller.mass(made.propeller), GRAM),
            "blade_width_mm": None
            if inputs.blade_width_mm is None
            else _clean(np.asarray(made.propeller.chord_ratio) * made.propeller.diameter * 0.5, MM),
        }
    if "pack" in touched and "packs" not in skip:
        chemistry = changes.get("pack.chemistry")
        new |= {
            "cells": int(_clean(made.pack.cells)),
            "capacity_mah": _clean(made.pack.capacity_ah, MAH),
            "chemistry": inputs.chemistry if chemistry is None else list(battery.CHEMISTRIES)[int(chemistry)],
            "usable_percent": inputs.usable_percent,
            "pack_g": None if inputs.pack_g is None else _clean(battery.mass(made.pack), GRAM),
            # a measured resistance, at its own temperature, is scaled as the resistance
            "cell_mohm": None
            if inputs.cell_mohm is None
            else _clean(
                inputs.cell_mohm * np.asarray(made.pack.cell_resistance) / np.asarray(base.pack.cell_resistance)
            ),
        }
    return apply(inputs, new)


def _clean(value: Any, scale: float = 1.0) -> float:
    return float(f"{number(value) / scale:.6g}")
