"""The first questions and troubleshooting entries of page Why, and the groups of the others."""

from __future__ import annotations

__all__ = ["FIRST", "FIRST_TROUBLES", "GROUPS"]

FIRST = ("hover_command", "pull", "minutes", "full_current", "heat", "cap")
"""Questions shown first; the others are in groups that open."""
FIRST_TROUBLES = ("hot", "more_cells", "flip", "alarm", "swollen", "vibration")
GROUPS = {
    "lift": "Hover and thrust", "minutes": "Minutes and packs", "margins": "Limits and heat",
    "dive": "Dive and descent", "plug_in": "On the bench", "choose": "Choosing parts",
}  # fmt: skip
"""Groups of questions and troubleshooting entries: page -> heading."""
