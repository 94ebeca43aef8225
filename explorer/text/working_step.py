"""One step of a derivation: what, the sum with numbers, its source."""

from __future__ import annotations

__all__ = [
    "Step",
]

Step = tuple[str, str, str]
"""What, the sum with numbers, where it comes from."""
