"""Random craft for property tests: flat drawings of plain numbers, made into one build or stacked into an array.

The ranges are far wider than what anybody flies: many of these craft cannot hover, cannot feed their motors or
melt, which is what the tests are after.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import strategies as st

from propmodel import Build, Controller, Craft, Pack, Propeller, atmosphere
from propmodel.components.battery import CHEMISTRIES
from propmodel.components.motor import from_stator

INCH = 0.0254

Drawing = dict[str, Any]

_RANGES: dict[str, tuple[float, float]] = {
    "diameter": (2.0 * INCH, 18.0 * INCH),
    "pitch_ratio": (0.3, 1.2),
    "stator_diameter": (0.008, 0.06),
    "stator_height": (0.003, 0.025),
    "capacity": (0.25, 20.0),
    "frame_mass": (0.02, 6.0),
    "payload": (0.0, 3.0),
    "thrust_loss": (0.0, 0.15),
    "electronics": (0.0, 30.0),
    "ripple": (0.0, 0.6),
    "exponent": (0.7, 1.2),
    "idle": (0.0, 0.1),
    "cap": (0.3, 1.0),
    "altitude": (-100.0, 5000.0),
    "air_temperature": (250.0, 315.0),
    "pack_temperature": (255.0, 320.0),
    "cycles": (0.0, 300.0),
    "reserve": (0.0, 0.5),
    "log_kv": (5.0, 8.8),
}
_WHOLE: dict[str, tuple[int, int]] = {"blades": (2, 5), "cells": (1, 12), "rotors": (3, 8), "parallel": (1, 3)}


@st.composite
def drawings(draw: st.DrawFn) -> Drawing:
    """Plain numbers of one craft."""
    out: Drawing = {k: draw(st.floats(*v, allow_subnormal=False)) for k, v in _RANGES.items()}
    out |= {k: draw(st.integers(*v)) for k, v in _WHOLE.items()}
    out["chemistry"] = draw(st.sampled_from(sorted(CHEMISTRIES)))
    out["chord"] = draw(st.one_of(st.just(float("nan")), st.floats(0.1, 0.28)))
    return out


def build_of(r: Drawing) -> Build:
    """One build from a drawing, or an array of them from a drawing of arrays."""
    return Build(
        craft=Craft(
            frame_mass=r["frame_mass"],
            payload_mass=r["payload"],
            thrust_loss=r["thrust_loss"],
            electronics_power=r["electronics"],
            lead_area=2.08e-6,
            connector_current=60.0,
        ),
        motor=from_stator(r["stator_diameter"], r["stator_height"], np.exp(r["log_kv"])),
        propeller=Propeller(
            diameter=r["diameter"], pitch=r["pitch_ratio"] * r["diameter"], blades=r["blades"], chord_ratio=r["chord"]
        ),
        controller=Controller(
            ripple_coefficient=r["ripple"],
            throttle_exponent=r["exponent"],
            idle_duty=r["idle"],
            continuous_current=30.0,
            max_cells=6,
        ),
        pack=Pack(
            r["chemistry"],
            r["cells"],
            r["capacity"],
            parallel=r["parallel"],
            temperature=r["pack_temperature"],
            cycles=r["cycles"],
            reserve=r["reserve"],
        ),
        rotors=r["rotors"],
        air=atmosphere(r["altitude"], r["air_temperature"]),
        command_cap=r["cap"],
        name="drawn",
    )


def stacked(rows: list[Drawing], shape: tuple[int, ...] | None = None) -> Build:
    """An array of builds, one element a drawing."""
    arrays = {k: np.array([r[k] for r in rows]) for k in rows[0]}
    return build_of({k: v.reshape(shape) if shape else v for k, v in arrays.items()})


def matched(count: int, seed: int) -> Build:
    """An array of builds whose parts go together (KV by tip speed, stator, frame and pack by propeller size).

    The packs are cold to warm and new to old. Two in three hover; `many` gives one in eight.
    """
    rng = np.random.default_rng(seed)
    inches = np.exp(rng.uniform(np.log(2.0), np.log(16.0), count))
    cells = np.where(inches < 3.0, rng.choice([1, 2, 3], count), rng.choice([2, 3, 4, 6, 8], count))
    kv = 60.0 * rng.uniform(140.0, 330.0, count) / (np.pi * inches * INCH * 3.75 * cells)
    stator = np.clip(0.0055 + 0.0035 * inches * rng.uniform(0.8, 1.25, count), 0.008, 0.06)
    frame = 0.05 * (inches / 3.0) ** 2.2 * rng.uniform(0.6, 1.6, count)
    capacity = 2.0 / cells * (inches / 3.0) ** 2.2 * rng.uniform(0.5, 2.0, count)
    return Build(
        craft=Craft(
            frame_mass=frame,
            payload_mass=frame * rng.uniform(0.0, 1.5, count),
            thrust_loss=rng.uniform(0.0, 0.12, count),
            electronics_power=rng.uniform(1.0, 12.0, count),
        ),
        motor=from_stator(stator, np.clip(stator * rng.uniform(0.2, 0.5, count), 0.002, 0.025), kv),
        propeller=Propeller(
            diameter=inches * INCH,
            pitch=inches * INCH * rng.uniform(0.35, 1.0, count),
            blades=rng.choice([2, 3, 4], count),
        ),
        controller=Controller(continuous_current=40.0, max_cells=8),
        pack=Pack(
            rng.choice(sorted(CHEMISTRIES), count),
            cells,
            np.clip(capacity, 0.2, 30.0),
            temperature=rng.uniform(258.0, 318.0, count),
            cycles=rng.uniform(0.0, 250.0, count),
            reserve=rng.uniform(0.05, 0.35, count),
        ),
        rotors=rng.choice([3, 4, 6, 8], count),
        air=atmosphere(rng.uniform(0.0, 3500.0, count), rng.uniform(255.0, 312.0, count)),
        command_cap=np.where(rng.random(count) < 0.7, 1.0, rng.uniform(0.4, 1.0, count)),
        name="drawn",
    )


builds = drawings().map(build_of)


def many(count: int, seed: int) -> Build:
    """An array of builds drawn at once, evenly over the same ranges: for tests that need thousands."""
    rng = np.random.default_rng(seed)
    out: Drawing = {k: rng.uniform(*v, count) for k, v in _RANGES.items()}
    out |= {k: rng.integers(v[0], v[1] + 1, count) for k, v in _WHOLE.items()}
    out["chemistry"] = rng.choice(sorted(CHEMISTRIES), count)
    out["chord"] = np.where(rng.random(count) < 0.5, np.nan, rng.uniform(0.1, 0.28, count))
    return build_of(out)
