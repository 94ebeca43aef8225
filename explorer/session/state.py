"""What one visitor has before them: the build as typed, the pinned one, units, axes, what went wrong.

The record `Inputs` in the session is the one truth; every control is a view of it and writes it back in its callback.
So a control may come and go (a closed group, another page) and nothing typed is lost.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from explorer.figures.base import Axis, snapped
from explorer.inputs import Inputs, apply, take_off_g, with_defaults_for_bad, with_take_off_g
from explorer.inputs.link import OTHER_KEYS, encode, from_params
from explorer.inputs.measured_parts import OwnParts, with_measured, without_measured
from explorer.session import keys

__all__ = [
    "axis",
    "change",
    "example_pin",
    "inputs",
    "link",
    "load",
    "notices",
    "own_parts",
    "pin",
    "pinned",
    "pins",
    "start",
    "unpin",
    "unreached",
    "usable",
    "with_change",
]


MOST_PINS = 3
"""Builds that may stay pinned."""


def start() -> None:
    """Fill an empty session: the link's build, or *Scree* with *Scree without camera* pinned."""
    if keys.INPUTS in st.session_state:
        return
    asked = {key: st.query_params.get_all(key) for key in st.query_params}
    linked = from_params(asked) if set(asked) - OTHER_KEYS else None
    first = Inputs() if linked is None else linked.inputs
    st.session_state[keys.INPUTS] = first
    st.session_state[keys.PINS] = [example_pin(first)] if linked is None else list(linked.pinned)
    st.session_state[keys.PIN_IS_EXAMPLE] = linked is None
    st.session_state[keys.AXES] = {}
    st.session_state[keys.NOTICES] = [] if linked is None else list(linked.messages)
    st.session_state[keys.TOUCHED] = linked is not None


def link() -> str:
    """Address that brings the whole build and the pinned ones back."""
    place = (st.context.url or "").split("?")[0]
    return f"{place}?{encode(usable(), *pins())}"


def example_pin(craft: Inputs) -> Inputs:
    """A demo craft's own comparison: the same without its camera, or as it came."""
    if craft.payload_g > 0.0:
        return replace(craft, payload_g=0.0, name=f"{craft.name} without camera")
    return replace(craft, name=f"{craft.name} as it came")


def inputs() -> Inputs:
    """The build as typed."""
    return st.session_state[keys.INPUTS]


def usable() -> Inputs:
    """The build as typed, with defaults in place of what cannot be used, and with the parts that were measured."""
    return with_measured(_usable_and_problems(inputs())[0], own_parts())


_CACHED_CHECKS = 8
"""The build on the screen, the pinned ones, and the same before the change. [-]"""


def _usable_and_problems(entered: Inputs) -> tuple[Inputs, list[tuple[str, str]]]:
    """`with_defaults_for_bad`, asked once for each record of this session: the same object has the same answer."""
    held: list[tuple[Inputs, tuple[Inputs, list[tuple[str, str]]]]] = st.session_state.setdefault(keys.CHECKED, [])
    for one, answer in held:
        if one is entered:
            return answer
    answer = with_defaults_for_bad(entered)
    st.session_state[keys.CHECKED] = [*held, (entered, answer)][-_CACHED_CHECKS:]
    return answer


def own_parts() -> OwnParts | None:
    """Parts this visitor measured, whether or not they are in the build on the screen."""
    return st.session_state.get(keys.OWN_PARTS)


def bring_parts(own: OwnParts | None) -> None:
    """Take the measured parts of a saved build, in place of those there are."""
    st.session_state[keys.OWN_PARTS] = own


def pinned() -> Inputs | None:
    """The build pinned last, which every page compares with, or None."""
    return next(iter(pins()), None)


def pins() -> list[Inputs]:
    """The pinned builds, the last one first; at most `MOST_PINS`."""
    return [with_measured(_usable_and_problems(one)[0], own_parts()) for one in st.session_state[keys.PINS]]


def load(new: Inputs, *, example: bool = False) -> None:
    """Put another build on the screen; a demo craft brings its own pin unless the reader pinned one."""
    st.session_state[keys.INPUTS] = without_measured(new)
    st.session_state[keys.TOUCHED] = True
    st.session_state[keys.NOTICES] = []
    st.session_state.pop(keys.KNOB_SPANS, None)
    if example and st.session_state[keys.PIN_IS_EXAMPLE]:
        st.session_state[keys.PINS] = [example_pin(new)]


def with_change(old: Inputs, name: str, value: Any) -> Inputs:
    """The build with one field, or the take-off mass, as typed."""
    return with_take_off_g(old, float(value)) if name == "take_off_g" else apply(old, {name: value})


def change(name: str, value: Any) -> None:
    """Take what a control says."""
    st.session_state.setdefault(keys.SET_BY_HAND, set()).add(name)
    st.session_state[keys.INPUTS] = without_measured(
        with_change(usable() if name == "take_off_g" else inputs(), name, value)
    )
    st.session_state[keys.NOTICES] = unreached(float(value)) if name == "take_off_g" else []


LIGHT_PERCENT = 60.0
"""Below this share of their usual mass, parts are said to be lighter than usual. [%]"""
_PART_MASSES = {"motor_mass_g": "motor", "propeller_g": "propeller", "pack_g": "pack"}


def unreached(grams: float) -> list[str]:
    """Say that a craft cannot weigh so little with the masses that were told; empty where it does.

    Where parts nobody weighed had to count much less than usual, that is said too.
    """
    craft = usable()
    got = take_off_g(craft)
    if abs(got - grams) < max(0.5, 0.002 * grams):
        if craft.guessed_mass_percent >= LIGHT_PERCENT:
            return []
        return [
            f"Parts of these sizes usually weigh more: to fit into {grams:.0f} g, the masses you have not told count "
            f"{craft.guessed_mass_percent:.0f} %."
        ]
    if got < grams:
        return [f"The frame would have to weigh more than can be told: {got:.0f} g stand in place of {grams:.0f} g."]
    parts = [words for name, words in _PART_MASSES.items() if getattr(craft, name) is not None]
    named = f"{', '.join(parts[:-1])} and {parts[-1]}" if len(parts) > 1 else "".join(parts)
    if not named:
        return [f"Parts of these sizes cannot weigh so little together: {got:.0f} g stand in place of {grams:.0f} g."]
    return [
        f"The masses that are told ({named}) and the payload leave no room for a frame: {got:.0f} g stand in place of "
        f"{grams:.0f} g. Correct them under the groups at the left."
    ]


def pin() -> None:
    """Pin the build on the screen; the ones pinned before stay as long as there is room."""
    now = without_measured(usable())
    before = [] if st.session_state[keys.PIN_IS_EXAMPLE] else st.session_state[keys.PINS]
    st.session_state[keys.PINS] = [now, *(one for one in before if one != now)][:MOST_PINS]
    st.session_state[keys.PIN_IS_EXAMPLE] = False
    st.session_state[keys.TOUCHED] = True


def compare_with(one: Inputs) -> None:
    """Pin one build alone."""
    st.session_state[keys.PINS] = [one]
    st.session_state[keys.PIN_IS_EXAMPLE] = False


def unpin(number: int | None = None) -> None:
    """Let go of one pinned build (0 is the last one), or of all of them."""
    held = st.session_state[keys.PINS]
    st.session_state[keys.PINS] = [] if number is None else [one for k, one in enumerate(held) if k != number]
    st.session_state[keys.PIN_IS_EXAMPLE] = False


def axis(key: str, most: float) -> Axis:
    """Axis of a chart, kept while the values fit: the curve moves, the scale stays."""
    axes: dict[str, Axis] = st.session_state[keys.AXES]
    axes[key] = snapped(most, axes.get(key))
    return axes[key]


def notices() -> list[str]:
    """Sentences about what was typed, or came by a link, and could not be used."""
    return [*st.session_state[keys.NOTICES], *(text for _, text in _usable_and_problems(inputs())[1])]
