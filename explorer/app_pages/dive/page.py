"""Dive: does it pull out before the ground?"""

from __future__ import annotations

import html
import math
from collections.abc import Sequence
from dataclasses import replace

import pandas as pd
import streamlit as st

from explorer.app_pages.dive import answers, figures, words
from explorer.controls import field_controls, frame_script, page_frame
from explorer.inputs import Inputs
from explorer.inputs.build_names import distinct_names
from explorer.session import kept_values, state, typed_labels
from propmodel.dive.stepped import Manoeuvre

ENTRIES = {"nose_down": "nose down", "flat": "flat, motors idle"}
CAUTION = (
    "<b>An estimate, not a promise.</b> Still air, a pilot who is not surprised. Add height of your own, keep people "
    "and roads out from under it, keep it in sight, and follow your local rules: many places forbid such flying near "
    "others."
)


def page(inputs: Inputs, pins: Sequence[Inputs]) -> None:
    """Draw the page."""
    page_frame.style("flight")
    entry = kept_values.get("entry", "nose_down")
    start = kept_values.get("start")
    this = answers.dive(inputs, entry=entry, start_height=start)
    # the pinned builds fly the same dive, with the same pilot and state of charge
    others = [answers.path_alone(_same_dive(inputs, one), entry=entry, start_height=start) for one in pins]
    names = distinct_names(pins, inputs)
    pin, other = (replace(pins[0], name=names[0]), others[0]) if pins else (None, None)
    pinned = words.pinned_dive(this, pin, other) if len(pins) < 2 else words.pinned_dives(names, others)
    opening = page_frame.first_sentence(page_frame.parts_first(inputs, words.dive_opening(inputs, this, start=start)))
    page_frame.say(
        '<h1 class="wi-ask">Will it come out of the dive?</h1>'
        f'<div class="wi-short"><p class="wi-sentence">{opening}</p></div>'
        f'<p class="wi-caution" role="note">{words.dive_caution(this)}</p>'
        f'<p class="wi-pinned">{pinned}</p>'
    )
    field_controls.guessed()
    page_frame.notice()
    field_controls.knob_strip()
    if page_frame.waits(inputs):
        return
    controls(this)
    left, right = st.columns([11, 9], gap="large")
    with left:
        tall = figures.dive_frame(this, others, start)
        axis = state.axis("dive height", tall)  # constant while the values change
        tick = tick_of(axis.top)
        top = tick * math.ceil(tall / tick)
        figure = figures.dive_figure(this, others, start=start, top=top, tick=tick)
        three = ["No verdict while labels are open."]
        if not typed_labels.opened():
            three = words.dive_three(inputs, this)
        page_frame.chart(figure, key="dive_path", alt=" ".join(three))
        flown = figures.craft_path(this, start=start, top=top)
        if flown:
            frame_script.path_slider(
                flown,
                chart="dive_path",
                label="Follow it down",
                start=float(this.delay.total),
                flat=entry == "flat" or int(this.out.manoeuvre) != Manoeuvre.PULL_UP,
            )
        page_frame.say(_key(names))
    with right:
        rows = "".join(f"<li>{html.escape(text)}</li>" for text in three)
        page_frame.say(f'<ol class="wi-three">{rows}</ol>{figures.delay_strip(this)}')
    page_frame.say(f'<p class="wi-caution" role="note">{CAUTION}</p>')
    pulls = figures.pull_table(this, asked=inputs.hardest_pull_g)
    page_frame.section("A harder pull-out, a fuller pack", "middle of the estimate", pulls)
    wash_block(inputs, pins)
    page_frame.numbers("dive", lambda: _frame(this), file_name="dive-path.csv", every=8)
    page_frame.next_question("choose", "What should I change?")


def tick_of(tall: float) -> float:
    """Return a tick step of 1, 2 or 5 times a power of ten, for at most six steps."""
    power = 10.0 ** math.floor(math.log10(tall / 6.0))
    return next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= tall / 6.0)


def _same_dive(inputs: Inputs, pin: Inputs) -> Inputs:
    names = ("drop_m", "dive_kmh", "reaction_s", "hardest_pull_g", "charge_left_percent")
    return replace(pin, **{name: getattr(inputs, name) for name in names})


def controls(this: answers.DiveAnswer) -> None:
    """Draw the inputs of the dive: drop, speed, attitude, reaction time, load factor, state of charge."""
    # elements in a row that wraps instead of columns with one element each: half as many for the browser
    with st.container(key="dive_controls", horizontal=True, vertical_alignment="bottom", gap="medium"):
        field_controls.control("drop_m", where="dive", short="Fall before pull-out")
        field_controls.control("dive_kmh", where="dive", short="Or at a speed of")
        kept_values.put_first("start", kept_values.get("start"))
        st.number_input(
            "Begins above ground, m",
            1.0,
            3000.0,
            value=None,
            step=5.0,
            format="%g",
            key="start",
            on_change=kept_values.keep,
            args=("start", "start"),
            placeholder="not told",
            help="Height at which the dive begins. Not told: the ground is drawn as near as it may be.",
        )
        field_controls.control("charge_left_percent", where="dive")
        field_controls.control("reaction_s", where="dive", short="Reaction time")
        field_controls.control("hardest_pull_g", where="dive", short="Hardest pull-out")
        if st.session_state.get("entry") not in ENTRIES:
            kept_values.put("entry", kept_values.get("entry", "nose_down"))
        st.segmented_control(
            "Entry",
            list(ENTRIES),
            format_func=ENTRIES.__getitem__,
            key="entry",
            on_change=kept_values.keep_filled,
            args=("entry", "entry"),
            required=True,
            help="Nose down is the faster fall. Flat, it falls belly first and comes out through its own wash.",
        )


def _key(pinned_names: Sequence[str]) -> str:
    pinned = page_frame.pinned_keys(pinned_names)
    return (
        f'<p class="wi-small"><span class="key"><i class="this"></i>this build</span>'
        f'{pinned}<span class="key"><i class="beyond"></i>ground</span>'
        '<span class="key">bracket: where 8 in 10 are level</span></p>'
    )


def wash_block(inputs: Inputs, pins: Sequence[Inputs]) -> None:
    """Draw the section on descent in the own wake (vortex ring state)."""
    band, speed = answers.wash(inputs)
    others = [answers.wash(one)[0] for one in pins]
    strip = figures.wash_strip(band, others) + f'<p class="wi-plain">{words.wash_words(band, speed)}</p>'
    page_frame.section("Straight down, slowly", "into its own wash; sinking speed in m/s", strip)


def _frame(this: answers.DiveAnswer) -> pd.DataFrame:
    path = next(p for p in this.out.paths if int(p.manoeuvre) == int(this.out.manoeuvre))
    frame = pd.DataFrame(
        {
            "time [s]": path.time.ravel(),
            "way forward [m]": path.forward.ravel(),
            "height above the decision [m]": path.height.ravel(),
            "speed [m/s]": path.speed.ravel(),
        }
    )
    return frame if math.isfinite(float(this.out.height_lost)) else frame.head(400)


page(state.usable(), state.pins())
