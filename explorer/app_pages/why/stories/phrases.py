"""Words and numbers that several stories use. Pure functions."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from explorer.app_pages.why.stories.story import Note
from explorer.inputs import Inputs, demo_inputs, to_build
from propmodel.assess.limits import limits

__all__ = [
    "AMPS",
    "COMMAND",
    "DIVE",
    "HOVER",
    "PULL",
    "STAY",
    "TURNS",
    "by_words",
    "gain_words",
    "limit_words",
    "over_words",
    "per_cent_of",
    "scree_with",
]

HOVER = Note("hover_power", "power", "watts in the hover")
STAY = Note("hover_time", "minutes", "a hover lasts")
COMMAND = Note("hover_throttle", "percent", "hover command")
TURNS = Note("hover_rev_per_s", "rpm", "rotor speed in the hover")
PULL = Note("thrust_to_weight", "thrust_to_weight", "thrust to weight, fresh pack")
AMPS = Note("full_throttle_current", "current", "amps from the pack, flat out")
DIVE = Note("pull_out_height", "distance", "height a 40 m dive costs, on a low pack")


def per_cent_of(share: float) -> str:
    """Return a relative change in per cent, in words."""
    return f"{100 * abs(share):.0f} % {'less' if share < 0 else 'more'}"


def gain_words(new: float, old: float) -> float:
    """Return the relative change from ``old`` to ``new``. [-]"""
    return new / old - 1.0


def by_words(change: float, *, still: float) -> int:
    """Return 0 for a decrease, 1 for a change smaller than ``still``, 2 for an increase."""
    return 1 if abs(change) < still else 2 if change > 0 else 0


def over_words(inputs: Inputs) -> list[str]:
    """Return the names of the limits that are exceeded."""
    return [found.name for found in limits(to_build(inputs)) if found.state == "over"]


def limit_words(inputs: Inputs, key: str) -> str:
    """Return the sentence of a limit with its share; "" if there is none."""
    return next((found.sentence for found in limits(to_build(inputs)) if found.key == key), "")


def scree_with(**changes: Any) -> Inputs:
    """Return the five-inch demo craft with some fields changed."""
    return replace(demo_inputs("scree"), **changes)
