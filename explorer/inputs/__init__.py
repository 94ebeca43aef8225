"""Inputs of the user: fields, validation, links, measured parts. Without Streamlit."""

from explorer.inputs.checks import check, with_defaults_for_bad
from explorer.inputs.conversion import apply, take_off_g, to_build, with_take_off_g
from explorer.inputs.fields import FLYING_STYLES, GROUPS, STYLE_WORDS, TAKE_OFF, Field, number_text, problem, short_text
from explorer.inputs.guesses import guessed_fields, unchecked_fields
from explorer.inputs.inputs import CHEMISTRY_NAMES, FIELDS, Flying, Inputs, demo_inputs, flying, measured_label, mix

__all__ = [
    "CHEMISTRY_NAMES",
    "FIELDS",
    "FLYING_STYLES",
    "GROUPS",
    "STYLE_WORDS",
    "TAKE_OFF",
    "Field",
    "Flying",
    "Inputs",
    "apply",
    "check",
    "demo_inputs",
    "flying",
    "guessed_fields",
    "measured_label",
    "mix",
    "number_text",
    "problem",
    "short_text",
    "take_off_g",
    "to_build",
    "unchecked_fields",
    "with_defaults_for_bad",
    "with_take_off_g",
]
