"""Helpers for the intervals of several pages: inputs without irrelevant fields, quantiles, the reserve."""

from __future__ import annotations

from dataclasses import replace

from numpy.typing import NDArray

from explorer.forecasts import headlines
from explorer.inputs import Inputs
from propmodel.assembly.build import Build
from propmodel.base.arrays import number

__all__ = [
    "DRAWS",
    "HIGH",
    "LOW",
    "craft_only",
    "quantiles",
    "way_reserve",
    "without_dive",
]

DRAWS = headlines.DRAWS
LOW, HIGH = headlines.TAILS


def craft_only(inputs: Inputs) -> Inputs:
    """Inputs with default mix and dive, which level flight does not depend on, so that cached results are used."""
    return replace(
        headlines.plain(inputs), flying_style="play", mix_hover_percent=None, mix_cruise_percent=None,
        mix_hard_percent=None, mix_full_percent=None, drop_m=60.0, dive_kmh=None, reaction_s=0.5,
        hardest_pull_g=5.0, charge_left_percent=100.0,
    )  # fmt: skip


def without_dive(inputs: Inputs) -> Inputs:
    """Inputs with the default dive, which the flight time does not depend on, so that cached results are used."""
    return replace(
        headlines.plain(inputs),
        drop_m=60.0,
        dive_kmh=None,
        reaction_s=0.5,
        hardest_pull_g=5.0,
        charge_left_percent=100.0,
    )


def quantiles(values: NDArray) -> tuple[float, float]:
    """Lower and upper end of the interval of some draws."""
    low, high = headlines.interval(values).tolist()
    return low, high


def way_reserve(made: Build) -> float:
    """State of charge at landing. [-]"""
    return number(made.pack.reserve)
