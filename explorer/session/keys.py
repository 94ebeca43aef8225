"""Names of what a session holds, in one place. A widget's own key stands at the widget; what outlives it, here.

The values of controls that outlive their page lie together under `KEPT`: see :mod:`explorer.session.kept_values`.
"""

from __future__ import annotations

__all__ = [
    "ASIDE",
    "AXES",
    "BENCH_LOG",
    "CHECKED",
    "CRAFT",
    "DEFAULT_DONOR",
    "GUESSES_OPEN",
    "GUESS_ORDER",
    "INPUTS",
    "KEPT",
    "KNOB_DRAWN",
    "KNOB_SPANS",
    "LABELS",
    "LABELS_FORGOTTEN",
    "LABELS_RETIRED",
    "LABEL_BASE",
    "LABEL_MADE",
    "LABEL_PLAIN",
    "LAST_KNOB",
    "NOTICES",
    "OWN_PARTS",
    "OWN_WAS",
    "PAGE",
    "PINS",
    "PIN_IS_EXAMPLE",
    "READINGS",
    "REPLACED_VALUES",
    "RUN_CHOICES",
    "RUN_ENDED",
    "SAVED_BUILD",
    "SET_BY_HAND",
    "SHELF_MESSAGES",
    "STORE",
    "TOUCHED",
    "UNITS",
    "WHY_OWN",
]

# ---- the builds -------------------------------------------------------------------------------------------

INPUTS = "inputs"
"""The build as typed: the one truth, of which every control is a view."""
CHECKED = "checked"
"""What `with_defaults_for_bad` said of the records held: list of (record, answer), the last ones."""
PINS = "pins"
"""The pinned builds, the last one first."""
PIN_IS_EXAMPLE = "pin_is_example"
"""Whether the pinned build came with a demo craft."""
TOUCHED = "touched"
"""Whether the visitor has changed or loaded anything."""
NOTICES = "notices"
"""Sentences about what could not be used."""
AXES = "axes"
"""Axes of the charts by name, kept while the values fit."""
SAVED_BUILD = "saved_build"
"""Key, revision and name of the saved build on the screen, or None."""
STORE = "store"
"""The visitor's own store."""
WHY_OWN = "why_own"
"""The build, the pinned one and whether that was an example, before a story took the screen."""

SHELF_MESSAGES = "shelf_told"
"""Sentences that the shelf shows at its next drawing."""

# ---- measured parts ---------------------------------------------------------------------------------------

OWN_PARTS = "own_parts"
"""Parts this visitor measured, or None."""
OWN_WAS = "own_was"
"""The build before its parts were measured or taken away, and the build it holds for."""
READINGS = "bench_readings"
"""Readings of the first power-up by the title of their step."""
BENCH_LOG = "bench_log"
"""The log this visitor brought."""

# ---- labels -----------------------------------------------------------------------------------------------

LABELS = "labels"
"""The labels as typed; the key of their field."""
LABELS_FORGOTTEN = "labels_forgotten"
"""Whether the labels belong to a build that is gone."""
LABEL_BASE = "label_base"
"""The build before the labels were read."""
LABEL_PLAIN = "label_plain"
"""The build that the labels are put into."""
LABEL_MADE = "label_made"
"""The build that the labels made."""
DEFAULT_DONOR = "lender"
"""Demo craft that lends what the labels do not tell, or None."""
LABELS_RETIRED = "labels_retired"
"""Whether parts were replaced since the labels were read."""
SET_BY_HAND = "told_by_hand"
"""Fields changed by hand since."""

# ---- controls ---------------------------------------------------------------------------------------------

KEPT = "bench_kept"
"""Values of controls that outlive their page, by name."""
ASIDE = "bench_aside"
"""Readings and prices of craft that are not on the screen, by the text of their inputs."""
UNITS = "units"
"""Units the reader chose."""
PAGE = "page"
"""The page being drawn."""
CRAFT = "craft"
"""The demo craft chosen; the key of its control."""
LAST_KNOB = "knob_kept"
"""The input chosen under *Try changing*."""
KNOB_DRAWN = "knob_drawn"
"""Ends and step of each slider as it was drawn, by its key."""
KNOB_SPANS = "knob_spans"
"""Range of each slider by its field, kept until the value leaves it."""
GUESSES_OPEN = "lean_open"
"""Whether the list of guesses is open; the key of its control."""
REPLACED_VALUES = "replaced_values"
"""What a run put other values in place of, by the key of the control: see `stale_values`."""
RUN_CHOICES = "run_choices"
"""What the choices said when the run began, by the key of the control."""
RUN_ENDED = "run_ended"
"""Time at which the last run came to its end, or None while one is under way, in seconds."""
GUESS_ORDER = "guess_order"
"""Order of the guesses while their list is open."""
