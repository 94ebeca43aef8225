"""Results of page Cost, cached: cost of a session with its band."""

from __future__ import annotations

import math
from collections.abc import Mapping

import streamlit as st

from explorer.forecasts import headlines
from explorer.inputs import Inputs
from propmodel import costs
from propmodel.base.units import CELSIUS_ZERO
from propmodel.flight.endurance import flight_time

__all__ = [
    "cost",
    "session_of",
]

# ---- cost -------------------------------------------------------------------------------------------------


def session_of(inputs: Inputs, rates: Mapping[str, float]) -> costs.Session:
    """Return the session of a build: flight time and depth of discharge from the build, rates from the user."""
    seconds = _seconds(headlines.plain(inputs))
    return costs.Session(
        flights=rates["flights"],
        flight_time=max(seconds, 1.0) if math.isfinite(seconds) else 1.0,
        packs_owned=rates["packs_owned"],
        sessions_per_year=rates["sessions_per_year"],
        depth=max(1.0 - inputs.reserve_percent / 100.0, 0.01),
        pack_temperature=rates["pack_temperature_c"] + CELSIUS_ZERO,
        crashes=rates["crashes"],
        propellers_per_crash=min(rates["propellers_per_crash"], float(inputs.rotors)),
        packs_per_crash=rates["packs_per_crash"],
        motors_per_100_flights=rates["motors_per_100"],
        controllers_per_100_flights=rates["controllers_per_100"],
        rotors=float(inputs.rotors),
        cycle_life=rates["cycle_life"],
    )


@st.cache_data(**headlines.CACHED_ANSWERS)
def _seconds(inputs: Inputs) -> float:
    return float(flight_time(headlines.build(inputs), headlines.profile(inputs)).time)


def cost(inputs: Inputs, rates: Mapping[str, float], prices: Mapping[str, float | None]) -> costs.SessionCost:
    """Return the cost of a session with a build."""
    return costs.session_cost(
        session_of(inputs, rates),
        costs.Prices(
            packs=prices["pack"],
            propellers=prices["propeller"],
            motors=prices["motor"],
            controllers=prices["controller"],
            other=prices.get("other") or 0.0,
        ),
    )
