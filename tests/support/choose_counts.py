"""A few combinations of the Choose page, counted without the page."""

from __future__ import annotations

from explorer.app_pages.choose import plan, ranges
from explorer.app_pages.choose.ranges import read_range, read_stators
from explorer.inputs import Inputs
from propmodel.studies.sweep import sweep

CRAFT = ("scree", "tarn", "moor", "fell")


HEADLINES = ["hover_time", "thrust_to_weight", "mass", "top_speed", "full_throttle_current"]


def values_of(inputs: Inputs, texts: dict) -> dict[str, tuple]:
    found = {}
    for name, text in texts.items():
        if name == "stator":
            found[name] = read_stators(text)
        elif name == "chemistry":
            found[name] = ranges.read_chemistries(text)
        else:
            found[name] = read_range(text, name, float(getattr(inputs, name)))
    return found


def small(inputs: Inputs, **texts: object) -> dict[str, tuple]:
    """A handful of combinations around a build."""
    first = {
        "kv": f"{0.9 * inputs.kv:.0f}, {inputs.kv:.0f}, {1.15 * inputs.kv:.0f}",
        "stator": f"{ranges.stator_text((inputs.stator_d_mm, inputs.stator_h_mm))}, 2306, 2807",
        "diameter_in": f"{inputs.diameter_in:g}, {0.9 * inputs.diameter_in:.3g}",
        "pitch_in": f"{inputs.pitch_in:g}, {0.8 * inputs.pitch_in:.3g}",
        "blades": "2, 3",
        "cells": f"{inputs.cells}, {inputs.cells + 1}",
        "capacity_mah": f"{inputs.capacity_mah:g}, {1.4 * inputs.capacity_mah:.0f}",
        "chemistry": ("lipo", "li_ion"),
    }
    return values_of(inputs, first | texts)


def swept(inputs: Inputs, values: dict[str, tuple], outputs=tuple(HEADLINES), frames=None):
    planned = plan.plan(inputs, values, frames or {})
    found = sweep(planned.base, planned.axes, list(outputs), tables=planned.tables)
    return planned, plan.priced(found, planned.prices)
