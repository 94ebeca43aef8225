"""List of the stories: situations at the invented club Thornbarrow, paths of change, formulas with numbers."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from explorer.app_pages.why.stories.camera_and_spare import CAMERA_STORY, SPARE_STORY
from explorer.app_pages.why.stories.cold_and_high import COLD_STORY, HIGH_STORY
from explorer.app_pages.why.stories.size_and_cells import CELL_STORY, INCH_STORY
from explorer.app_pages.why.stories.story import Story
from explorer.app_pages.why.stories.tiny_story import TINY_STORY

__all__ = [
    "STORIES",
]

STORIES: Mapping[str, Story] = MappingProxyType(
    {s.key: s for s in (INCH_STORY, CELL_STORY, COLD_STORY, HIGH_STORY, CAMERA_STORY, SPARE_STORY, TINY_STORY)}
)
"""All stories, in the order of the list; the key is used in the address."""
