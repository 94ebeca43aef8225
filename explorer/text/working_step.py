"""One step of a worked example: what is computed, the formula with numbers, its source."""

from __future__ import annotations

__all__ = [
    "Step",
]

Step = tuple[str, str, str]
"""Name of the quantity, formula with numbers, source."""
