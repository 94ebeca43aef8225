"""Session state of the builds: current and pinned inputs, axes, messages.

The record `Inputs` in the session is the only source of the values. Each control displays it and changes it in a
callback, so no input is lost when a control is not drawn (a closed group, another page).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from explorer.figures.base import Axis, snapped
from explorer.inputs import Inputs, apply, take_off_g, with_defaults_for_bad, with_take_off_g
from explorer.inputs.link import OTHER_KEYS, encode, from_params
from explorer.inputs.measured_parts import OwnParts, with_measured, without_measured
from explorer.session import keys, typed_labels

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
"""Largest number of pinned builds."""


def start() -> None:
    """Initialise an empty session with the build of the link, or with *Scree* and its pinned example."""
    if keys.INPUTS in st.session_state:
        return
    asked = {key: st.query_params.get_all(key) for key in st.query_params}
    linked = from_params(asked) if set(asked) - OTHER_KEYS else None
    if linked is not None and linked.nothing:
        messages, linked = list(linked.messages), None
    else:
        messages = [] if linked is None else list(linked.messages)
    first = Inputs() if linked is None else linked.inputs
    st.session_state[keys.INPUTS] = first
    st.session_state[keys.PINS] = [example_pin(first)] if linked is None else list(linked.pinned)
    st.session_state[keys.PIN_IS_EXAMPLE] = linked is None
    if linked is not None and linked.lent:
        st.session_state[keys.LENT_BY_LINK] = (linked.lent, first)
    st.session_state[keys.AXES] = {}
    st.session_state[keys.NOTICES] = messages
    st.session_state[keys.TOUCHED] = linked is not None


def link() -> str:
    """Return the link to the build and the pinned builds."""
    place = (st.context.url or "").split("?")[0]
    return f"{place}?{encode(usable(), *pins(), lent=typed_labels.borrowed(usable()))}"


def example_pin(craft: Inputs) -> Inputs:
    """Return the pinned example of a demo craft: the craft without its camera, or unchanged if it has none."""
    if craft.payload_g > 0.0:
        return replace(craft, payload_g=0.0, name=f"{craft.name} without camera")
    return replace(craft, name=f"{craft.name} as it came")


def inputs() -> Inputs:
    """Return the inputs as entered."""
    return st.session_state[keys.INPUTS]


def usable() -> Inputs:
    """Return the inputs with defaults for invalid fields, and with the measured parts."""
    return with_measured(_usable_and_problems(inputs())[0], own_parts())


_CACHED_CHECKS = 8
"""Number of cached checks: the build on the screen and the pinned ones, before and after a change. [-]"""


def _usable_and_problems(entered: Inputs) -> tuple[Inputs, list[tuple[str, str]]]:
    """Return `with_defaults_for_bad` of a record, cached by the identity of the record."""
    held: list[tuple[Inputs, tuple[Inputs, list[tuple[str, str]]]]] = st.session_state.setdefault(keys.CHECKED, [])
    for one, answer in held:
        if one is entered:
            return answer
    answer = with_defaults_for_bad(entered)
    st.session_state[keys.CHECKED] = [*held, (entered, answer)][-_CACHED_CHECKS:]
    return answer


def own_parts() -> OwnParts | None:
    """Return the visitor's measured parts, whether or not the build on the screen has them."""
    return st.session_state.get(keys.OWN_PARTS)


def bring_parts(own: OwnParts | None) -> None:
    """Store the measured parts of a saved build in place of the present ones."""
    st.session_state[keys.OWN_PARTS] = own


def pinned() -> Inputs | None:
    """Return the latest pinned build, with which every page compares, or None."""
    return next(iter(pins()), None)


def pins() -> list[Inputs]:
    """Return the pinned builds, the latest first; at most `MOST_PINS`."""
    return [with_measured(_usable_and_problems(one)[0], own_parts()) for one in st.session_state[keys.PINS]]


def load(new: Inputs, *, example: bool = False) -> None:
    """Load another build; a demo craft sets its own pinned example, unless the visitor has pinned a build."""
    st.session_state[keys.INPUTS] = without_measured(new)
    st.session_state[keys.TOUCHED] = True
    st.session_state[keys.NOTICES] = []
    st.session_state.pop(keys.KNOB_SPANS, None)
    if example and st.session_state[keys.PIN_IS_EXAMPLE]:
        st.session_state[keys.PINS] = [example_pin(new)]


def with_change(old: Inputs, name: str, value: Any) -> Inputs:
    """Return the inputs with one field, or the take-off mass, changed."""
    return with_take_off_g(old, float(value)) if name == "take_off_g" else apply(old, {name: value})


def change(name: str, value: Any) -> None:
    """Store the changed value of a field."""
    st.session_state.setdefault(keys.SET_BY_HAND, set()).add(name)
    st.session_state[keys.INPUTS] = without_measured(
        with_change(usable() if name == "take_off_g" else inputs(), name, value)
    )
    st.session_state[keys.NOTICES] = unreached(float(value)) if name == "take_off_g" else []


LIGHT_PERCENT = 60.0
"""Share of the usual mass below which a message says that parts are lighter than usual. [%]"""
_PART_MASSES = {"motor_mass_g": "motor", "propeller_g": "propeller", "pack_g": "pack"}


def unreached(grams: float) -> list[str]:
    """Return messages if the masses cannot be adjusted to a take-off mass; empty if they can.

    A message also says if the estimated part masses had to be much less than usual.
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
    """Pin the build on the screen; the earlier pinned builds remain, up to `MOST_PINS` in total."""
    now = without_measured(usable())
    before = [] if st.session_state[keys.PIN_IS_EXAMPLE] else st.session_state[keys.PINS]
    st.session_state[keys.PINS] = [now, *(one for one in before if one != now)][:MOST_PINS]
    st.session_state[keys.PIN_IS_EXAMPLE] = False
    st.session_state[keys.TOUCHED] = True


def compare_with(one: Inputs) -> None:
    """Pin only this build."""
    st.session_state[keys.PINS] = [one]
    st.session_state[keys.PIN_IS_EXAMPLE] = False


def unpin(number: int | None = None) -> None:
    """Unpin one build (0 is the latest), or all of them."""
    held = st.session_state[keys.PINS]
    st.session_state[keys.PINS] = [] if number is None else [one for k, one in enumerate(held) if k != number]
    st.session_state[keys.PIN_IS_EXAMPLE] = False


def axis(key: str, most: float) -> Axis:
    """Return the axis of a chart; it remains the same while the values fit."""
    axes: dict[str, Axis] = st.session_state[keys.AXES]
    axes[key] = snapped(most, axes.get(key))
    return axes[key]


def notices() -> list[str]:
    """Return sentences about inputs, or values of a link, that could not be used."""
    return [*st.session_state[keys.NOTICES], *(text for _, text in _usable_and_problems(inputs())[1])]
