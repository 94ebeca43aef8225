"""Words and numbers that several stories share. Pure."""

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
    """A relative change in per cent, in words."""
    return f"{100 * abs(share):.0f} % {'less' if share < 0 else 'more'}"


def gain_words(new: float, old: float) -> float:
    """How much more or less, in words."""
    return new / old - 1.0


def by_words(change: float, *, still: float) -> int:
    """0 for a fall, 1 for no change to speak of, 2 for a rise."""
    return 1 if abs(change) < still else 2 if change > 0 else 0


def over_words(inputs: Inputs) -> list[str]:
    """Names of limits that are passed."""
    return [found.name for found in limits(to_build(inputs)) if found.state == "over"]


def limit_words(inputs: Inputs, key: str) -> str:
    """A limit with its share, in words."""
    return next((found.sentence for found in limits(to_build(inputs)) if found.key == key), "")


def scree_with(**changes: Any) -> Inputs:
    """The five-inch demo craft with some fields changed."""
    return replace(demo_inputs("scree"), **changes)
