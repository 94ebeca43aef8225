"""The section of page Choose that solves for one field: which capacity gives eight minutes?"""

from __future__ import annotations

import html
import math

import streamlit as st

from explorer.app_pages.choose import answers, looks
from explorer.app_pages.choose.controls import chosen_output
from explorer.app_pages.choose.looks import HEADLINES, LOOKS, reads
from explorer.app_pages.choose.ranges import RANGES
from explorer.controls import page_frame
from explorer.inputs import FIELDS, Inputs
from explorer.session import kept_values
from explorer.text.numbers import number

__all__ = ["answer_words", "solve_sentence"]

_TARGETS = {"hover_time": 8.0, "thrust_to_weight": 4.0}


def solve_sentence(inputs: Inputs) -> None:
    """Draw the sentence with selections of field, result and target, and its answer."""
    units = page_frame.units()
    with st.container(key="choose_solve", horizontal=True, vertical_alignment="bottom"):
        name = st.selectbox(
            "What",
            list(answers.SOLVED),
            format_func=lambda k: FIELDS[k].label.lower() if k != "kv" else "KV",
            key="choose_solve_field",
            width=210,
            help="The one thing that changes.",
        )
        output = chosen_output(
            "gives", "choose_solve_output", "hover_time", help_="The answer you want.", names=HEADLINES, width=260
        )
        unit = looks.unit_of(output, units)
        key = f"choose_target:{output}:{unit}"
        targets: dict[str, float] = kept_values.first("choose_targets", {})
        if key not in targets:
            now = float(looks.in_axis_unit(output, answers.point_of(inputs, (output,))[output], units))
            targets[key] = _TARGETS.get(output) or (float(f"{1.1 * now:.2g}") if math.isfinite(now) else 1.0)
        target = st.number_input(
            f"of, {unit}" if unit else "of",
            min_value=0.0,
            max_value=1e6,
            value=targets[key],
            key=key,
            format="%g",
            step=0.5,
            width=150,
            help="How much of it.",
        )
        targets[key] = float(target)
    page_frame.say(f'<p class="wi-answer">{answer_words(inputs, name, output, float(target))}</p>')


def answer_words(inputs: Inputs, name: str, output: str, target: float) -> str:
    """Return the answer as HTML."""
    units = page_frame.units()
    field = FIELDS[name]
    si = looks.from_axis_unit(output, target, units)
    found = answers.solved(inputs, name, output, si)
    wanted, words = html.escape(reads(output, si, units)), LOOKS[output].words
    of_words = words.removeprefix("minutes ") if words.startswith("minutes ") else f"of {words}"
    thing = "KV" if name == "kv" else field.label.lower()
    if not math.isfinite(found.value):
        if not math.isfinite(found.solution.closest):
            between = f"{_amount(name, found.low)} and {_amount(name, found.high)}"
            return f"No {thing} between {between} gives it: {_no_craft(words)}"
        closest = found.solution.closest / answers.SOLVED[name][1]
        reached = html.escape(reads(output, found.solution.reached, units))
        return (
            f"No {thing} between {_amount(name, found.low)} and {_amount(name, found.high)} gives {wanted} {of_words}. "
            f'The nearest is <b class="n bad">{reached}</b>, at {_amount(name, closest)}.'
        )
    now = getattr(inputs, name)
    start = f'<b class="n">{_amount(name, found.value)}</b> does it; this build has {_amount(name, now)}.'
    others = ""
    if found.solution.others:
        scale = answers.SOLVED[name][1]
        others = f" So does {' and '.join(_amount(name, v / scale) for v in found.solution.others[:2])}."
    return start + others + _near_sold(inputs, name, output, found.value)


def _no_craft(words: str) -> str:
    return f"the craft then has no {words} at all."


def _near_sold(inputs: Inputs, name: str, output: str, value_: float) -> str:
    """Return the results with the next smaller and larger sizes sold."""
    sold = RANGES[name].sold if name in RANGES else ()
    near = [max((s for s in sold if s <= value_), default=None), min((s for s in sold if s >= value_), default=None)]
    sizes = [float(s) for s in dict.fromkeys(near) if s is not None]
    if not sizes:
        return ""
    phrases = []
    for size in sizes:
        got = answers.with_one(inputs, name, size, output)
        phrases.append(f"{_amount(name, size)} gives {html.escape(reads(output, got, page_frame.units()))}")
    return f" Sold near it: {', '.join(phrases)}."


def _amount(name: str, entered: float) -> str:
    step = {"capacity_mah": 10, "kv": 10, "payload_g": 5, "frame_g": 5, "command_cap_percent": 1}.get(name, 0.1)
    unit = {"kv": "KV"}.get(name, FIELDS[name].unit)
    return html.escape(f"{number(entered, step)}\u00a0{unit}")
