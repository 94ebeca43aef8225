"""Measured pairs nearest to the build, with their positions on the throttle axis; cached."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import streamlit as st

from explorer.app_pages.lift.measured import Nearest
from explorer.forecasts.headlines import CACHED_ANSWERS, build, plain
from explorer.inputs import Inputs
from propmodel.base.arrays import number
from propmodel.bench.pairs import nearest_pairs
from propmodel.powertrain.throttle_curve import throttle_curve

__all__ = [
    "nearest",
]


def nearest(inputs: Inputs) -> Nearest:
    """Return the measured pairs nearest to the labels of a build, on a full pack."""
    return _nearest(replace(plain(inputs), charge_left_percent=100.0))


@st.cache_data(**CACHED_ANSWERS)
def _nearest(inputs: Inputs) -> Nearest:
    made = build(inputs)
    at_loads = throttle_curve(made, np.array([0.5, 1.0])).pack_voltage
    volts = float(at_loads[np.flatnonzero(np.isfinite(at_loads))[-1]])
    turned, wound = made.propeller, made.motor
    found = nearest_pairs(
        kv=number(inputs.kv),
        diameter=number(turned.diameter),
        pitch=number(turned.pitch),
        blades=number(turned.blades),
        voltage=volts,
        stator_diameter=None if wound.stator_diameter is None else number(wound.stator_diameter),
        stator_height=None if wound.stator_height is None else number(wound.stator_height),
    )
    cap = number(made.command_cap)
    # the throttle of a stand is a motor command; with a command cap the same command is at a higher throttle
    places = [np.asarray(one.pair.throttle) / cap for one in found]
    return Nearest(found, [np.where(place > 1.0 + 1e-9, np.nan, place) for place in places], volts, cap, inputs.coaxial)
