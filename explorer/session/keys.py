"""Keys of the session state. The key of a widget is defined beside the widget, unless its value survives the widget.

Values of controls that survive a change of page are stored under `KEPT`: see :mod:`explorer.session.kept_values`.
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
    "LENT_BY_LINK",
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
"""The inputs of the build; all controls display and change this record."""
CHECKED = "checked"
"""Latest results of `with_defaults_for_bad`: list of (record, result)."""
PINS = "pins"
"""The pinned builds, the latest first."""
PIN_IS_EXAMPLE = "pin_is_example"
"""True if the pinned build belongs to a demo craft."""
TOUCHED = "touched"
"""True if the visitor has changed or loaded anything."""
NOTICES = "notices"
"""Sentences about values that could not be used."""
AXES = "axes"
"""Name of a chart axis -> its range, kept while the values fit."""
SAVED_BUILD = "saved_build"
"""Key, revision and name of the saved build on the screen, or None."""
STORE = "store"
"""The visitor's store of builds and tables."""
WHY_OWN = "why_own"
"""The visitor's build, pinned builds and `PIN_IS_EXAMPLE` before a story was opened."""

SHELF_MESSAGES = "shelf_told"
"""Sentences that the page Shelf displays in its next run."""

# ---- measured parts ---------------------------------------------------------------------------------------

OWN_PARTS = "own_parts"
"""The visitor's measured parts, or None."""
OWN_WAS = "own_was"
"""The build before measured parts were added or removed, and the build after it."""
READINGS = "bench_readings"
"""Readings of the first power-up: title of the step -> reading."""
BENCH_LOG = "bench_log"
"""The log that the visitor uploaded."""

# ---- labels -----------------------------------------------------------------------------------------------

LABELS = "labels"
"""Text of the labels; also the key of its control."""
LABELS_FORGOTTEN = "labels_forgotten"
"""True if the labels belong to a build that is no longer on the screen."""
LABEL_BASE = "label_base"
"""The build before the labels were read."""
LENT_BY_LINK = "lent_by_link"
"""Names of the fields that a link says were lent by a demo craft, and the build as it came; absent without them."""
LABEL_PLAIN = "label_plain"
"""The build to which the values of the labels are applied."""
LABEL_MADE = "label_made"
"""The build with the values of the labels."""
DEFAULT_DONOR = "lender"
"""Demo craft that supplies the values which the labels do not state, or None."""
LABELS_RETIRED = "labels_retired"
"""True if parts were replaced after the labels were read."""
SET_BY_HAND = "told_by_hand"
"""Fields changed by the visitor after the labels were read."""

# ---- controls ---------------------------------------------------------------------------------------------

KEPT = "bench_kept"
"""Name -> value of a control that survives a change of page."""
ASIDE = "bench_aside"
"""Text of the inputs of a craft that is not on the screen -> its readings and prices."""
UNITS = "units"
"""Display units chosen by the visitor."""
PAGE = "page"
"""The page that is drawn."""
CRAFT = "craft"
"""The chosen demo craft; also the key of its control."""
LAST_KNOB = "knob_kept"
"""The input chosen under *Try changing*."""
KNOB_DRAWN = "knob_drawn"
"""Key of a slider -> its ends and step when it was drawn."""
KNOB_SPANS = "knob_spans"
"""Field -> range of its slider, kept until the value leaves it."""
GUESSES_OPEN = "lean_open"
"""True if the list of guesses is open; also the key of its control."""
REPLACED_VALUES = "replaced_values"
"""Key of a control -> the value that a run has replaced, see `stale_values`."""
RUN_CHOICES = "run_choices"
"""Key of a control -> its choice at the start of the run."""
RUN_ENDED = "run_ended"
"""Time in seconds at which the last run ended, None during a run."""
GUESS_ORDER = "guess_order"
"""Order of the guesses while their list is open."""
