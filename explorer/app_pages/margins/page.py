"""Margins: which part reaches its limit first?"""

from __future__ import annotations

import html
import math
from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from explorer.app_pages.margins import answers, figures, words
from explorer.controls import field_controls, page_frame
from explorer.forecasts import headlines
from explorer.inputs import Inputs
from explorer.inputs.build_names import distinct_names
from explorer.session import kept_values, state
from explorer.text.numbers import NARROW, number

HOLDS = {2.0: "2 s", 10.0: "10 s", 60.0: "60 s", math.inf: "for good"}
WHAT_HOT = {
    "hover": "Hover",
    "cruising": "Cruising",
    "flown your way": "Flown your way",
    "flat out": "Flat out",
}


def held_words(hold: float) -> str:
    """Return a hold time in words."""
    return "for good" if math.isinf(hold) else f"held {hold:.0f}{NARROW}s"


def page(inputs: Inputs, pins: Sequence[Inputs]) -> None:
    """Draw the page."""
    page_frame.style("flight")
    hold = float(kept_values.get("hold", 10.0))
    found = page_frame.without_verdict(headlines.sorted_limits(inputs, hold))
    theirs = [headlines.sorted_limits(one, hold) for one in pins]
    names = distinct_names(pins, inputs)
    pin, first = (replace(pins[0], name=names[0]), theirs[0]) if pins else (None, [])
    pinned = words.pinned_margins(pin, first)
    if len(pins) > 1:
        pinned = words.pinned_margins_of_several(names, theirs)
    opening = page_frame.first_sentence(words.margins_opening(inputs, found, held_words(hold)))
    page_frame.say(
        '<h1 class="wi-ask">Which part reaches its limit first?</h1>'
        f'<p class="wi-sentence">{opening}</p>'
        f'<p class="wi-pinned">{pinned}</p>'
    )
    field_controls.guessed()
    page_frame.notice()
    field_controls.knob_strip()
    if page_frame.waits(inputs):
        return

    page_frame.section("Do these parts go together?", "yes or no", figures.fits_list(found))
    page_frame.section("How close?", "share of each limit used, full throttle")
    with st.container(key="hold_row"):
        if st.session_state.get("hold") not in HOLDS:
            kept_values.put("hold", hold)
        st.segmented_control(
            "Held for", list(HOLDS), format_func=HOLDS.__getitem__, key="hold", on_change=kept_values.keep_filled,
            args=("hold", "hold"), required=True,
            help="A punch of two seconds and a climb of a minute are different loads: heat takes time, volts do not.",
        )  # fmt: skip
    shares = [{one.key: one.share for one in each if one.kind == "share"} for each in theirs]
    page_frame.say(
        figures.close_bars(found, bands=answers.share_bands(inputs, hold), pinned=shares, guessed=page_frame.is_open())
        + _key(names)
    )
    hot_block(inputs)
    quick_block(inputs)
    page_frame.next_question("dive", "Will it come out of the dive?")


def _key(pinned_names: Sequence[str]) -> str:
    pinned = page_frame.pinned_keys(pinned_names)
    return (
        '<p class="wi-small"><span class="key"><i class="this"></i>thin line: 8 in 10 such craft</span>'
        f'{pinned}<span class="key"><i class="beyond"></i>right of the line: over the limit</span></p>'
    )


def hot_block(inputs: Inputs) -> None:
    """Draw the check whether the load explains a hot motor, folded; the caution is outside the fold."""
    caution = f'<p class="wi-caution" role="note"><b>Before you touch one:</b> {words.TOUCH_FIRST}</p>'
    page_frame.section("A motor is hot", "", caution)
    with st.expander("Does its load explain it? What else to look at", key="hot_motor", on_change="rerun") as box:
        if box.open:
            _hot(inputs)


def _hot(inputs: Inputs) -> None:
    states = answers.heat_states(inputs)
    if st.session_state.get("hot") not in WHAT_HOT:
        kept_values.put("hot", kept_values.get("hot", "hover"))
    chosen = st.segmented_control(
        "It got hot", list(WHAT_HOT), format_func=WHAT_HOT.__getitem__, key="hot", on_change=kept_values.keep_filled,
        args=("hot", "hot"), required=True,
        help="Choose what you flew just before you touched it.",
    )  # fmt: skip
    chosen = chosen or "hover"
    left, right = st.columns([1, 1.15], gap="large")
    with left:
        page_frame.say(
            figures.heat_rows(states, chosen=chosen, units=page_frame.units())
            + '<p class="wi-small">Solid: windings. Hollow: iron and bearings. '
            f"A bell you cannot hold is above about 60{NARROW}°C "
            "(common practice, from memory). Cooling is an estimate.</p>"
        )
    with right:
        verdict, causes = words.hot_words(next(s for s in states if s.name == chosen))
        rows = "".join(f"<li>{html.escape(cause)}</li>" for cause in causes)
        page_frame.say(f'<p class="wi-verdict">{verdict}</p>' + (f'<ol class="wi-causes">{rows}</ol>' if rows else ""))


def _fact(amount: float, unit: str) -> str:
    """Return an estimate to two digits, as on the page *Plug in*."""
    step = 10.0 ** (math.floor(math.log10(max(abs(amount), 1e-9))) - 1)
    return f"{number(amount, step)}{NARROW}{unit}"


def quick_block(inputs: Inputs) -> None:
    """Draw the response and short events on the bus, folded; the limits of a throttle cap are outside the fold."""
    cap = inputs.command_cap_percent
    now = f"Yours stands at {cap:.0f}{NARROW}%. " if cap < 100.0 else ""
    page_frame.say(
        f'<p class="wi-caution" role="note"><b>A throttle cap</b> lowers the average voltage, and so current and heat. '
        f"{now}It never makes a motor, ESC or transmitter fit for more cells than it is sold for.</p>"
    )
    with st.expander(
        "In an instant: a punch, a blocked propeller, the plug, the brake", key="instant", on_change="rerun"
    ) as box:
        if box.open:
            _quick(inputs)


def _quick(inputs: Inputs) -> None:
    page_frame.say(f'<p class="wi-plain">{words.response_words(answers.quick_response(inputs))}</p>')
    rows = "".join(
        f"<div><dt>{html.escape(fact.title)}</dt><dd class='v'>{_fact(float(fact.value), fact.unit)}</dd>"
        f"<dd class='t'>{html.escape(fact.text)}</dd></div>"
        for fact in answers.bench_facts(inputs)
    )
    page_frame.say(f'<dl class="wi-facts">{rows}</dl>')
    page_frame.say(
        '<p class="wi-plain">Under a throttle cap, switching, ripple and braking still see the whole pack, and a mode '
        "that ignores the cap sends all of it.</p>"
    )


page(state.usable(), state.pins())
