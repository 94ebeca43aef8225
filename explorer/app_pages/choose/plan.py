"""All combinations: ranges as typed, lists of parts, and the plan of a sweep over them.

Pure: nothing here knows the screen. A combination is a flat index into a `propmodel.sweep.Sweep`; `loaded` turns one
into inputs again, so that what the map says and what the loaded build says agree.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from explorer.inputs import CHEMISTRY_NAMES, FIELDS, Inputs, apply, to_build
from explorer.text.numbers import number
from propmodel import parts
from propmodel.assembly.build import Build, with_fields
from propmodel.base.units import GRAM, INCH, MAH, MILLIOHM, MM
from propmodel.components import battery, motor, propeller
from propmodel.studies.sensitivity import InputStep
from propmodel.studies.sweep import Sweep

__all__ = [
    "LISTED",
    "MOST",
    "PRICE",
    "RANGES",
    "Plan",
    "Range",
    "RangeError",
    "around",
    "carried",
    "count_of",
    "dropped_by",
    "example",
    "inside",
    "loaded",
    "many",
    "next_sold",
    "plan",
    "priced",
    "read_chemistries",
    "read_range",
    "read_stators",
    "shop_label",
    "span_text",
    "stator_text",
    "too_many",
]

MOST = 2_000_000
"""Combinations that are counted at once: they take some 300 MB and ten seconds. [-]"""
PRICE = "price"
"""Name of the output that the price columns of the lists add up to."""


class RangeError(ValueError):
    """A range or list cannot be used; the text is one plain sentence for the screen."""


# ---- what is sold -----------------------------------------------------------------------------------------
# Steps one can buy: common practice, from memory.


def _steps(*parts_: tuple[float, float, float]) -> tuple[float, ...]:
    """Steps from (first, last, step) pieces, the last of each left to the next."""
    found = [round(a + k * step, 3) for a, b, step in parts_ for k in range(round((b - a) / step))]
    return (*found, parts_[-1][1])


KV_SOLD = _steps((100, 600, 20), (600, 3000, 50), (3000, 6000, 100), (6000, 12000, 500), (12000, 30000, 1000))
DIAMETERS_SOLD = (1.2, 1.6, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 4.8, 5.0, 5.1, 5.2, 5.5, 6.0, 6.5, 7.0, 7.5, 8.0, 8.5, 9.0,
                  9.5, 10.0, 11.0, 12.0, 13.0, 14.0, 15.0, 16.0, 17.0, 18.0)  # fmt: skip
PITCHES_SOLD = _steps((0.8, 6.0, 0.1), (6.0, 12.0, 0.5))
CAPACITIES_SOLD = (300, 450, 550, 650, 750, 850, 1050, 1100, 1300, 1400, 1550, 1800, 2000, 2200, 2600, 3000, 3300, 4000,
                   4500, 5000, 6000, 7000, 8000, 10000, 12000, 16000, 22000)  # fmt: skip
STATORS_SOLD = tuple(
    (d, h)
    for d, heights in {
        8: (2,), 10: (2,), 11: (3, 4), 12: (4,), 13: (3, 3.5), 14: (4,), 15: (5, 7), 16: (4,), 18: (4,), 20: (4, 5),
        22: (4, 5, 6, 7, 8), 23: (6, 6.5, 7), 24: (7, 8), 25: (6, 7, 8), 26: (8,), 28: (6.5, 7, 8, 10, 12),
        31: (10, 15), 35: (8, 10), 40: (6, 8, 10), 41: (14,), 50: (8, 10),
    }.items()
    for h in heights
)  # fmt: skip


CELLS_SOLD = (1, 2, 3, 4, 6, 8, 12)
"""Cells of the packs that every shop has; five and seven are rare."""


@dataclass(frozen=True)
class Range:
    """One thing that can be ranged over.

    Parameters
    ----------
    name : str
        Field of `Inputs`; "stator" for the pair of stator sizes.
    path : str
        Dotted field of the build.
    words, several, unit : str
        As shown: of one value and of many.
    scale : float
        SI = typed x scale.
    sold : tuple of float
        Steps one can buy.
    kind : str
        Kind of part list that takes its place.
    """

    name: str
    path: str
    words: str
    several: str
    unit: str
    scale: float
    sold: tuple[float, ...]
    kind: str


RANGES: dict[str, Range] = {
    r.name: r
    for r in (
        Range("kv", "motor.kv", "KV", "KV values", "", 1.0, KV_SOLD, "motors"),
        Range("stator", "stator", "Stator", "Stators", "", MM, (), "motors"),
        Range("diameter_in", "propeller.diameter", "Diameter", "Diameters", "in", INCH, DIAMETERS_SOLD, "propellers"),
        Range("pitch_in", "propeller.pitch", "Pitch", "Pitches", "in", INCH, PITCHES_SOLD, "propellers"),
        Range("blades", "propeller.blades", "Blades", "Blade counts", "", 1.0, (2, 3, 4, 5, 6), "propellers"),
        Range("cells", "pack.cells", "Cells", "Cell counts", "S", 1.0, tuple(range(1, 15)), "packs"),
        Range("capacity_mah", "pack.capacity_ah", "Capacity", "Capacities", "mAh", MAH, CAPACITIES_SOLD, "packs"),
        Range("chemistry", "pack.chemistry", "Chemistry", "Chemistries", "", 1.0, (), "packs"),
    )
}

LISTED = ("motors", "propellers", "packs", "controllers")

Pair = tuple[float, float]
Values = Mapping[str, tuple]
"""Values along each range: numbers as typed, (diameter, height) pairs in mm, names of chemistries."""


def _allowed(name: str) -> tuple[float, float]:
    """Least and most that a field takes, in its own unit."""
    field = FIELDS[name]
    assert field.low is not None and field.high is not None, f"{name} is no number"
    return float(field.low), float(field.high)


# ---- ranges as typed --------------------------------------------------------------------------------------

_NUMBER = r"([0-9]+(?:\.[0-9]+)?)"
_SPAN = re.compile(rf"^{_NUMBER}\s*(?:to|until|\.\.|-|\u2013)\s*{_NUMBER}(?:\s*(?:by|step|every)\s*{_NUMBER})?$")


def _pieces(text: str, name: str) -> list[str]:
    plain = re.sub(r"(?<=[0-9])\s*(?:mah|kv|inches|inch|in|s|mm|\")\b", "", str(text)[:400].lower())
    found = [p.strip() for p in re.split(r"[,;\n]+", plain) if p.strip()]
    if not found:
        raise RangeError(f"{name} is empty: give one value, a list, or a range such as {_EXAMPLES[name]}.")
    return found


_EXAMPLES = {
    "KV": "1700 to 2100", "Stator": "2205 to 2307", "Diameter": "4.5 to 5.5", "Pitch": "3 to 4.5 by 0.5",
    "Blades": "2 to 4", "Cells": "4 to 6", "Capacity": "850 to 1550", "Chemistry": "LiPo",
}  # fmt: skip


def example(name: str) -> str:
    """A range as it may be typed.

    Examples
    --------
    >>> example("cells")
    '4 to 6'
    """
    return _EXAMPLES[RANGES[name].words]


def read_range(text: str, name: str, present: float | None = None) -> tuple[float, ...]:
    """Read one range or list.

    Parameters
    ----------
    text : str
        "1750", "1750, 1950", "1700 to 2100" (what is sold between them) or "1700 to 2100 by 25".
    name : str
        Key of `RANGES`.
    present : float or None
        What the build has: counted in where it lies inside a range of sold steps.

    Returns
    -------
    tuple of float
        Rising, in the unit typed.

    Raises
    ------
    RangeError
        With a sentence.

    Examples
    --------
    >>> read_range("4 to 6", "cells"), read_range("1700 to 1900, 2400", "kv", 1825.0)
    ((4.0, 5.0, 6.0), (1700.0, 1750.0, 1800.0, 1825.0, 1850.0, 1900.0, 2400.0))
    """
    spec, field = RANGES[name], FIELDS[name]
    found: set[float] = set()
    for piece in _pieces(text, spec.words):
        span = _SPAN.match(piece)
        if span is None:
            try:
                found.add(float(piece))
            except ValueError:
                raise RangeError(
                    f"{spec.words}: I could not read '{piece[:30]}'; write for example {_EXAMPLES[spec.words]}."
                ) from None
            continue
        low, high = float(span[1]), float(span[2])
        if low > high:
            raise RangeError(f"{spec.words} runs from {low:g} down to {high:g}: the smaller one must come first.")
        if span[3] is not None:
            found |= set(_by(spec.words, low, high, float(span[3])))
            continue
        inside_ = {float(v) for v in spec.sold if low - 1e-9 <= v <= high + 1e-9}
        if present is not None and low <= present <= high:
            inside_.add(float(present))
        if not inside_:
            raise RangeError(
                f"{spec.words}: nothing is sold between {low:g} and {high:g}; give a step, such as "
                f"{low:g} to {high:g} by {max(high - low, 0.1) / 2:g}."
            )
        found |= inside_
    values = tuple(sorted(found))
    unit = f" {spec.unit}" if spec.unit else ""
    least, most = _allowed(name)
    for value in (values[0], values[-1]):
        if not (math.isfinite(value) and least <= value <= most):
            raise RangeError(f"{spec.words} must stay within {least:g} and {most:g}{unit}, got {value:g}.")
    if field.kind == "whole" and any(v != round(v) for v in values):
        bad = next(v for v in values if v != round(v))
        raise RangeError(f"{spec.words} must be whole numbers, got {bad:g}.")
    return values


def _by(words: str, low: float, high: float, step: float) -> NDArray:
    if step <= 0.0:
        raise RangeError(f"{words}: the step must be above 0, got {step:g}.")
    steps = (high - low) / step
    if steps > MOST:
        raise RangeError(
            f"{words} alone would bring {many(int(steps) + 1)} values; {many(MOST)} combinations can be counted."
        )
    return np.round(low + step * np.arange(math.floor(steps + 1e-9) + 1), 6)


def read_stators(text: str, present: Pair | None = None) -> tuple[Pair, ...]:
    """Read stator sizes: "2207, 2306", or "2205 to 2307" for what is sold between them by volume.

    Examples
    --------
    >>> read_stators("2207, 2806.5")
    ((22.0, 7.0), (28.0, 6.5))
    """
    found: set[Pair] = set()
    for piece in _pieces(text, "Stator"):
        ends = [p.strip() for p in re.split(r"\bto\b|\u2013|-", piece)]
        pairs = [_stator(p) for p in ends]
        if len(pairs) == 1:
            found.add(pairs[0])
            continue
        low, high = (_volume(p) for p in pairs[:2])
        if low > high:
            raise RangeError(f"Stator runs from {ends[0]} down to {ends[1]}: the smaller one must come first.")
        known = (*STATORS_SOLD, *pairs[:2], *(() if present is None else (present,)))
        widths = sorted(p[0] for p in pairs[:2])
        found |= {
            (float(d), float(h)) for d, h in known if low <= _volume((d, h)) <= high and widths[0] <= d <= widths[1]
        }
    return tuple(sorted(found, key=lambda p: (_volume(p), p)))


def _stator(text: str) -> Pair:
    match = re.fullmatch(r"(\d{2})(\d{2}(?:\.\d)?)", text)
    if match is None:
        raise RangeError(f"Stator: I could not read '{text[:30]}'; write the four digits on the motor, such as 2207.")
    d, h = float(match[1]), float(match[2])
    for value, name in ((d, "stator_d_mm"), (h, "stator_h_mm")):
        least, most = _allowed(name)
        if not least <= value <= most:
            raise RangeError(f"{FIELDS[name].label} must be {least:g} to {most:g} mm, got {value:g} mm.")
    return d, h


def _volume(pair: Pair) -> float:
    return pair[0] ** 2 * pair[1]


def stator_text(pair: Pair) -> str:
    """The digits on a motor.

    Examples
    --------
    >>> stator_text((22.0, 7.0)), stator_text((28.0, 6.5))
    ('2207', '2806.5')
    """
    d, h = pair
    height = f"{h:02.0f}" if h == round(h) else f"{h:04.1f}"
    return f"{d:02g}{height}"


def read_chemistries(names: Sequence[str]) -> tuple[str, ...]:
    """Check the chosen chemistries; at least one.

    Examples
    --------
    >>> read_chemistries(["lipo"])
    ('lipo',)
    """
    if not names:
        raise RangeError("Chemistry is empty: choose at least one.")
    return tuple(n for n in CHEMISTRY_NAMES if n in names)


def span_text(values: Sequence[float]) -> str:
    """Write values so that `read_range` takes them back, as ranges of a step where they rise evenly.

    Examples
    --------
    >>> span_text((1700.0, 1800.0, 1900.0)), span_text((4.0,)), span_text((5.0, 5.1, 5.5))
    ('1700 to 1900 by 100', '4', '5, 5.1, 5.5')
    """
    steps = {round(b - a, 6) for a, b in pairwise(values)}
    if len(values) > 2 and len(steps) == 1:
        step = steps.pop()
        end = "" if step == 1 else f" by {step:g}"
        return f"{values[0]:g} to {values[-1]:g}{end}"
    return ", ".join(f"{v:g}" for v in values)


def around(inputs: Inputs, *, wide: bool = False) -> dict[str, Any]:
    """Ranges around a build, as they would be typed: some 100,000 combinations, or near a million.

    Parameters
    ----------
    inputs : Inputs
    wide : bool

    Returns
    -------
    dict
        Text for each range; a tuple of names for the chemistry.
    """
    k = 2.0 if wide else 1.0
    kv, d, p, mah = inputs.kv, inputs.diameter_in, inputs.pitch_in, inputs.capacity_mah
    out: dict[str, Any] = {}
    kv_step = next(s for s in (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0) if s >= 0.045 * kv or s == 2000.0)
    low, high = kv_step * round(kv * (1 - 0.22 * k) / kv_step), kv_step * round(kv * (1 + 0.22 * k) / kv_step)
    out["kv"] = _clipped("kv", low, high, kv_step)
    now = (inputs.stator_d_mm, inputs.stator_h_mm)
    near = sorted(STATORS_SOLD, key=lambda s: abs(math.log(_volume(s) / _volume(now))) + abs(s[0] - now[0]) / 25.0)
    out["stator"] = ", ".join(stator_text(s) for s in sorted({now, *near[: 6 if wide else 4]}, key=_volume))
    # propellers of one class: they fit one frame, a 5-inch takes 5 to 5.2
    least_d, most_d = (0.85 * d, 1.1 * d) if wide else (0.975 * d, 1.02 * d)
    out["diameter_in"] = _sold_text("diameter_in", least_d, most_d, d)
    step = 0.2 if p < 2.5 else 0.4 if p < 6.0 else 0.5
    pitches = sorted({round(p + step * n, 2) for n in range(-3 if wide else -2, 4 if wide else 3)})
    least, most = _allowed("pitch_in")
    out["pitch_in"] = span_text([v for v in pitches if least <= v <= most and 0.3 <= v / d <= 1.2] or [p])
    out["blades"] = "2 to 4" if d < 8.0 else "2, 3"
    out["cells"] = ", ".join(f"{n}" for n in _cells_near(inputs.cells, wide=wide))
    out["capacity_mah"] = _sold_text("capacity_mah", mah * (0.45 if wide else 0.6), mah * (2.0 if wide else 1.6), mah)
    out["chemistry"] = (inputs.chemistry,)
    return out


def _cells_near(cells: int, *, wide: bool) -> list[int]:
    """Packs of the class: the one there is, and those sold beside it."""
    sold = sorted({cells, *CELLS_SOLD})
    at = sold.index(cells)
    # a step up costs every other part its rating: only where a wide look is asked for
    return sold[max(at - 1, 0) : at + (2 if wide or cells < 6 else 1)]


_NEXT = {
    # field of the build, its range, SI of one typed unit, least relative step, words
    "motor.kv": ("kv", 1.0, 0.04, "{:g} KV"),
    "propeller.diameter": ("diameter_in", INCH, 0.015, "{:g} in propellers"),
    "propeller.pitch": ("pitch_in", INCH, 0.06, "{:g} in pitch"),
    "pack.capacity_ah": ("capacity_mah", MAH, 0.05, "a {:g} mAh pack"),
}


def next_sold(inputs: Inputs) -> tuple[InputStep, ...]:
    """Steps to the next size that is sold, up and down, and three that cost nothing.

    Parameters
    ----------
    inputs : Inputs

    Returns
    -------
    tuple of InputStep

    Examples
    --------
    >>> [step.words for step in next_sold(Inputs())][:4]
    ['2050 KV', '1850 KV', '5.2 in propellers', '5 in propellers']
    """
    found: list[InputStep] = []
    for path, (name, scale, least, words) in _NEXT.items():
        now = float(getattr(inputs, name))
        sold = RANGES[name].sold
        up = next((v for v in sold if v >= now * (1.0 + least)), None)
        down = next((v for v in reversed(sold) if v <= now * (1.0 - least)), None)
        found += [InputStep(path, (v - now) * scale, words.format(v)) for v in (up, down) if v is not None]
    for count in (inputs.blades + 1, inputs.blades - 1):
        found.append(InputStep("propeller.blades", float(count - inputs.blades), f"{count} blades"))
    wide, tall = inputs.stator_d_mm, inputs.stator_h_mm
    heights = sorted(h for d, h in STATORS_SOLD if d == wide)
    taller, flatter = [h for h in heights if h > tall][:1], [h for h in heights if h < tall][-1:]
    for height in taller + flatter:
        found.append(InputStep("motor.stator_height", (height - tall) * MM, f"{stator_text((wide, height))} motors"))
    sold_cells = sorted({inputs.cells, *CELLS_SOLD})
    at = sold_cells.index(inputs.cells)
    for cells in sold_cells[at + 1 : at + 2] + sold_cells[max(at - 1, 0) : at]:
        found.append(InputStep("pack.cells", float(cells - inputs.cells), f"{cells} cells"))
    return (
        *found,
        InputStep("craft.payload_mass", 50.0 * GRAM, "50 g more to carry"),
        InputStep("craft.frame_mass", -50.0 * GRAM, "50 g off the frame"),
        InputStep("command_cap", -0.10, "a throttle cap 10 points lower"),
    )


def _clipped(name: str, low: float, high: float, step: float) -> str:
    least, most = _allowed(name)
    low, high = max(low, least), min(high, most)
    return f"{low:g} to {high:g} by {step:g}"


def _sold_text(name: str, low: float, high: float, now: float) -> str:
    least, most = _allowed(name)
    low, high = max(low, least), min(high, most)
    values = sorted({now, *(float(v) for v in RANGES[name].sold if low <= v <= high)})
    return ", ".join(f"{v:g}" for v in values)


def inside(inputs: Inputs, values: Values) -> bool:
    """Whether the build lies within the ranges: between the least and the most of each."""
    for name, several in values.items():
        if name == "stator":
            widths = [v[0] for v in several]
            if not min(widths) <= inputs.stator_d_mm <= max(widths):
                return False
        elif name == "chemistry":
            if inputs.chemistry not in several:
                return False
        elif not min(several) - 1e-9 <= getattr(inputs, name) <= max(several) + 1e-9:
            return False
    return True


def dropped_by(kind: str) -> tuple[str, ...]:
    """Ranges that a list of parts takes the place of.

    Examples
    --------
    >>> dropped_by("motors")
    ('kv', 'stator')
    """
    return tuple(r.name for r in RANGES.values() if r.kind == kind)


# ---- the plan of a sweep ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Plan:
    """What `propmodel.sweep.sweep` is asked.

    Parameters
    ----------
    base : Build
        What no axis changes.
    axes, tables : dict
        As `sweep` takes them, SI.
    prices : dict
        Price of the rows of a table axis for one craft, where its list has prices.
    """

    base: Build
    axes: dict[str, NDArray]
    tables: dict[str, dict[str, NDArray]]
    prices: dict[str, NDArray]


def count_of(values: Values, frames: Mapping[str, pd.DataFrame]) -> int:
    """How many combinations there are.

    Examples
    --------
    >>> count_of({"kv": (1, 2, 3), "cells": (4, 5)}, {})
    6
    """
    gone = {name for kind in frames for name in dropped_by(kind)}
    return math.prod([len(v) for k, v in values.items() if k not in gone] + [len(f) for f in frames.values()])


def too_many(values: Values, frames: Mapping[str, pd.DataFrame]) -> str:
    """Say that there are too many combinations, and where to save; empty where there are not."""
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
    """Plan the sweep: every range and list one axis, everything else as the build has it.

    Parameters
    ----------
    inputs : Inputs
        Usable; its frame, payload, ESC, air and way of flying stay.
    values : mapping
        From `read_range`, `read_stators` and `read_chemistries`.
    frames : mapping
        Part tables by kind; each takes the place of the ranges of its kind.

    Returns
    -------
    Plan
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
        told = {f: getattr(made, f) for f in _FIELDS_OF_LIST[kind] if getattr(made, f) is not None}
        # what no row states is not stated: the old part's figure must not linger
        blank = {f.name: getattr(made, f.name) for f in fields(made) if getattr(made, f.name) is None}
        old = replace(getattr(base, part), **blank, name="")
        if kind == "propellers":
            old = replace(old, own_fit=None)
        base = replace(base, **{part: old})
        rows = len(frame)
        tables[kind] = {f"{part}.{f}": np.broadcast_to(v, (rows,)) for f, v in told.items()}
        money = frame["price [-]"].to_numpy(dtype=np.float64) if "price [-]" in frame else np.full(rows, np.nan)
        if not np.isnan(money).all():
            prices[kind] = money * (1.0 if kind == "packs" else float(inputs.rotors))
    return Plan(base, axes, tables, prices)


def priced(found: Sweep, prices: Mapping[str, NDArray]) -> Sweep:
    """The sweep with the price of the listed parts of each combination; NaN where a row has no price."""
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
    """What to look for in a shop: "2207, 1800 to 1900 KV; 5.1 x 3.6 x 3; 6S 1300".

    Parameters
    ----------
    found : Sweep
    index : int
        Flat.
    frames : mapping
        Part tables by kind: their parts go by name.
    inputs : Inputs
        Says what no axis does.
    kv : (float, float) or None
        KV that do as well.

    Returns
    -------
    str
        Plain text; names from lists are as their owner typed them.
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
    """Name of a chemistry as it stands on a label; nothing for plain LiPo."""
    key = inputs.chemistry if index is None else list(battery.CHEMISTRIES)[int(index)]
    return "" if key == "lipo" else f" {CHEMISTRY_NAMES.get(key, key)}"


def _short(value: float) -> str:
    return f"{round(value, 2):g}"


def _rows(found: Sweep, index: int) -> dict[str, int]:
    return dict(zip(found.axes, (int(k) for k in np.unravel_index(index, found.shape)), strict=True))


def _names(found: Sweep, index: int, frames: Mapping[str, pd.DataFrame]) -> dict[str, str]:
    rows = _rows(found, index)
    return {kind: str(frame["name"].iloc[rows[kind]]) for kind, frame in frames.items() if kind in rows}


def loaded(inputs: Inputs, planned: Plan, found: Sweep, index: int, frames: Mapping[str, pd.DataFrame]) -> Inputs:
    """Inputs of one combination.

    Parameters
    ----------
    inputs : Inputs
        Those the sweep started from.
    planned : Plan
    found : Sweep
    index : int
        Flat.
    frames : mapping

    Returns
    -------
    Inputs
        As `carried`; parts of a list come with what their row states.
    """
    changes = {k: v[()] for k, v in found.at(index).items()}
    listed = {kind: frame.iloc[_rows(found, index)[kind]] for kind, frame in frames.items()}
    result = carried(inputs, planned.base, changes, skip=tuple(listed))
    for kind, row in listed.items():
        result = apply(result, parts.to_record(row, kind))
    return result


def carried(inputs: Inputs, base: Build, changes: Mapping[str, Any], *, skip: Sequence[str] = ()) -> Inputs:
    """Inputs with other parts of the same make.

    Parameters
    ----------
    inputs : Inputs
    base : Build
        Of these inputs.
    changes : mapping
        Dotted field to value, SI; a chemistry as its number.
    skip : sequence of str
        Kinds of part to leave as they are.

    Returns
    -------
    Inputs
        What was told of the old parts (masses, label currents, resistance) is carried over as the engine carries it
        to another part of the same make; what was not told stays untold.
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
        # labels that the engine leaves alone, which `apply` would forget with another stator
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
            # a reading, at its own temperature, scales as the resistance does
            "cell_mohm": None
            if inputs.cell_mohm is None
            else _clean(
                inputs.cell_mohm * np.asarray(made.pack.cell_resistance) / np.asarray(base.pack.cell_resistance)
            ),
        }
    return apply(inputs, new)


def _clean(value: Any, scale: float = 1.0) -> float:
    return float(f"{float(np.asarray(value)) / scale:.6g}")


def many(count: int) -> str:
    """A count in words: thousands set off by a narrow space.

    Examples
    --------
    >>> many(412000)
    '412\u202f000'
    """
    return number(float(count))
