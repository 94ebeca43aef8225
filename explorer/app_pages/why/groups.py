"""Which questions and troubles of page Why come first, and the groups of the others."""

from __future__ import annotations

__all__ = ["FIRST", "FIRST_TROUBLES", "GROUPS"]

FIRST = ("hover_command", "pull", "minutes", "full_current", "heat", "cap")
"""Questions that stand open for choice; the rest is folded in groups."""
FIRST_TROUBLES = ("hot", "more_cells", "flip", "alarm", "swollen", "vibration")
GROUPS = {
    "lift": "Hover and thrust", "minutes": "Minutes and packs", "margins": "Limits and heat",
    "dive": "Dive and descent", "plug_in": "On the bench", "choose": "Choosing parts",
}  # fmt: skip
"""Groups of questions and troubles, by the page they belong to."""
