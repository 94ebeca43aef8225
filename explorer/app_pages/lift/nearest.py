"""Measured pairs nearest to the build, with their places on the throttle axis; kept."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import streamlit as st

from explorer.app_pages.lift.measured import Nearest
from explorer.forecasts.headlines import KEPT_ANSWERS, build, plain
from explorer.inputs import Inputs
from propmodel.bench.pairs import nearest_pairs
from propmodel.components.controller import duty_from_throttle, throttle_from_duty
from propmodel.powertrain.throttle_curve import throttle_curve

__all__ = [
    "nearest",
]


def nearest(inputs: Inputs) -> Nearest:
    """Measured pairs nearest to the labels of a build, on a fresh pack."""
    return _nearest(replace(plain(inputs), charge_left_percent=100.0))


@st.cache_data(**KEPT_ANSWERS)
def _nearest(inputs: Inputs) -> Nearest:
    made = build(inputs)
    at_loads = throttle_curve(made, np.array([0.5, 1.0])).pack_voltage
    volts = float(at_loads[np.flatnonzero(np.isfinite(at_loads))[-1]])
    turned, wound = made.propeller, made.motor
    found = nearest_pairs(
        kv=float(np.asarray(inputs.kv)),
        diameter=float(np.asarray(turned.diameter)),
        pitch=float(np.asarray(turned.pitch)),
        blades=float(np.asarray(turned.blades)),
        voltage=volts,
        stator_diameter=None if wound.stator_diameter is None else float(np.asarray(wound.stator_diameter)),
        stator_height=None if wound.stator_height is None else float(np.asarray(wound.stator_height)),
    )
    cap, esc = float(np.asarray(made.command_cap)), made.controller
    # a cap stretches the throttle: the same duty stands further to the right
    places = [throttle_from_duty(esc, duty_from_throttle(esc, one.pair.throttle), command_cap=cap) for one in found]
    return Nearest(found, [np.where(place > 1.0 + 1e-9, np.nan, place) for place in places], volts, cap, inputs.coaxial)
