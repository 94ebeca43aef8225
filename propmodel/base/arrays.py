"""The kind of a part's numeric fields, for type checkers."""

from __future__ import annotations

from typing import Any

__all__ = ["Number"]

Number = Any
"""A float, or an array (also a plain list) that broadcasts with the others. A type checker cannot follow which
of the two a field holds, and arithmetic must work on both; the range checks of each part refuse anything else."""
