"""One step of the first power-up: what to do, what to read, when to stop."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

__all__ = ["Step"]


@dataclass(frozen=True)
class Step:
    """One step with one reading, or a yes-or-no question if ``unit`` is empty."""

    number: int
    """From 1, in the order of the work."""
    title: str
    """A few words."""
    tool: str
    """What to read with."""
    do: str
    """What to do, in one or two sentences."""
    expect_low: float | None
    """Least healthy reading, in `unit`; None for a yes-or-no question."""
    expect_high: float | None
    """Largest healthy reading, in `unit`; None for a yes-or-no question."""
    unit: str
    """Of the reading; empty where a yes is asked."""
    stop_if: str
    """When not to go on, in words."""
    why: str
    """What the step finds out."""
    basis: str
    """Where the figures come from."""
    stop_below: float | None = None
    """A reading below means stop, in `unit`; None for no such limit."""
    stop_above: float | None = None
    """A reading above means stop, in `unit`; None for no such limit."""
    why_low: str = ""
    """What a reading below ``expect_low`` tells, where ``why`` is about one above; empty where ``why`` serves both."""
    low_reason: str = ""
    """What a reading below ``stop_below`` means."""
    high_reason: str = ""
    """What a reading above ``stop_above`` means, or a "no" where a yes is asked."""
    caution: str = ""
    """What can hurt at this step, read before it; empty where nothing can."""


def tick(
    title: str,
    tool: str,
    do: str,
    *,
    stop_if: str,
    why: str,
    basis: str = "common practice",
    caution: str = "",
) -> dict[str, Any]:
    return {
        "title": title,
        "tool": tool,
        "do": do,
        "expect_low": None,
        "expect_high": None,
        "unit": "",
        "stop_if": stop_if,
        "why": why,
        "basis": basis,
        "high_reason": stop_if,
        "caution": caution,
    }
