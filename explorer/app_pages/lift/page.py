"""Lift: does it hover, and with how much thrust?"""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd
import streamlit as st

from explorer.app_pages.lift import bars, figures, measured, nearest, side_by_side, summary
from explorer.app_pages.lift.working import lift_steps
from explorer.controls import field_controls, page_frame
from explorer.figures.craft_view import caption, top_view
from explorer.forecasts import headlines
from explorer.forecasts.craft_view import top_view_of
from explorer.inputs import Inputs
from explorer.inputs.build_names import distinct_names
from explorer.session import kept_values, state
from explorer.text.numbers import value
from propmodel.assess.limits import Limit
from propmodel.base.units import RPM

STATES = {"hover": "hover", "cruise": "your cruise", "full": "flat out"}


def head_of(inputs: Inputs) -> summary.Headline:
    """Return the headline results of a build, with its name."""
    got = headlines.answers(inputs)
    return summary.Headline(inputs.name, got.low, got.mid, got.high, summary.what_it_is(inputs))


def curve_of(inputs: Inputs) -> figures.Curve:
    """Return the throttle curve of a build with its hover point."""
    got = headlines.story(inputs)
    weight = float(headlines.build(inputs).weight)
    return figures.Curve(
        name=inputs.name,
        curve=got.curve,
        low=got.low,
        high=got.high,
        rotors=inputs.rotors,
        weight=weight,
        hover_command=got.hover_command,
        hover_current=got.hover_current,
        hover_share=got.lifting_power / got.hover_power,
        hover_thrust_per_watt=weight / got.hover_power,
        charge=inputs.charge_left_percent / 100.0,
    )


def page(inputs: Inputs, pins: list[Inputs]) -> None:
    """Draw the page. The chart is first, so that the browser draws it while the rest is computed and written."""
    top = st.container(key="opening")
    board, strip = field_controls.board_place(), field_controls.strip_place()
    waits = page_frame.waits(inputs)
    found = nearest.nearest(inputs)
    if not waits:
        throttle_block(inputs, pins, found)
    field_controls.knob_board(board)
    field_controls.knob_strip(strip, leave_out=list(field_controls.BOARD))
    names = distinct_names(pins, inputs)
    head, pin_heads = head_of(inputs), [replace(head_of(one), name=name) for one, name in zip(pins, names, strict=True)]
    limits = page_frame.without_verdict(headlines.limits_in_brief(inputs))
    with top:
        opening(inputs, pins, head, pin_heads, limits, found)
    if waits:
        return

    page_frame.say(
        "<h2>Weakest parts <span>share of each limit used, 10 s flat out</span></h2>"
        + bars.margin_bars(summary.nearest_limits(limits), guessed=page_frame.is_open())
    )
    with st.expander("How it compares with what people fly", key="compare", on_change="rerun") as box:
        if box.open:
            page_frame.say(compared(inputs, head, pin_heads))
    watts_block(inputs)
    with st.container(horizontal=True, gap="large"):
        page_frame.next_question("minutes", "Next: how long?")
        page_frame.next_question("margins", "All limits")


def opening(
    inputs: Inputs,
    pins: list[Inputs],
    head: summary.Headline,
    pin_heads: list[summary.Headline],
    limits: list[Limit],
    found: measured.Nearest,
) -> None:
    """Draw the sentence with the result, the pinned builds, the top view, and the sources."""
    units = page_frame.units()
    page_frame.say(
        '<h1 class="wi-ask">Will it lift, and with how much thrust?</h1>'
        '<div class="wi-open"><div>'
        f'<p class="wi-sentence">{page_frame.first_sentence(summary.opening(head, limits, units))}</p>'
        f'<p class="wi-pinned">{summary.pinned_lines(head, pin_heads, units)}</p>'
        f'<p class="wi-beyond">{measured.how_near(found)}</p></div>{picture(inputs, pins)}</div>'
    )
    with st.container(horizontal=True, key="asides"):
        field_controls.guessed()
        page_frame.working(
            "How these numbers come about",
            lambda: [
                *lift_steps(headlines.build(inputs), headlines.profile(inputs)),
                summary.beyond_sum(inputs, head.mid),
            ],
            key="lift",
        )
    page_frame.notice(first_words="" if st.session_state["touched"] else summary.first_words())


def throttle_block(inputs: Inputs, pins: list[Inputs], found: measured.Nearest) -> None:
    """Draw thrust, current and the share of lift power against throttle, and the numbers behind the chart."""
    units = page_frame.units()
    this, others = curve_of(inputs), [curve_of(one) for one in pins]
    marks = measured.marks_of(found)
    tops = figures.story_tops(this, others, units, marks)
    axes = (
        state.axis(f"pull {units.thrust}", tops[0]),
        state.axis("current", tops[1]),
        state.axis("share", tops[2]),
    )
    ceiling = ceiling_of(inputs)
    figure = figures.story(this, others, axes=axes, units=units, ceiling=ceiling, marks=marks)
    words = figures.story_words(this, units)
    page_frame.chart(figure, key="story", alt=words)
    names = distinct_names(pins, inputs)
    limit = f"over {ceiling.words}" if ceiling is not None and ceiling.drawn(axes[1]) else ""
    page_frame.say(page_frame.key_line(names, limit=limit) + measured.key(found, inputs.rotors))
    beside(inputs, pins)
    page_frame.numbers(
        "story", lambda: story_frame(this), file_name="throttle-story.csv", every=5, words=words,
        title="Numbers, measurements, sources", more=lambda: measured_numbers(found),
    )  # fmt: skip


def story_frame(this: figures.Curve) -> pd.DataFrame:
    """Return the numbers behind the chart, one row a motor command."""
    curve, units = this.curve, page_frame.units()
    force = "N" if units.thrust == "N" else "kg"
    return pd.DataFrame(
        {
            "motor command [%]": 100.0 * curve.throttle,
            f"thrust of all rotors [{force}]": figures.thrust_of_all(curve.thrust, this.rotors, units),
            "pack current [A]": curve.pack_current,
            "pack voltage [V]": curve.pack_voltage,
            "pack power [W]": curve.electrical_power,
            "share that lifts [%]": 100.0 * curve.efficiency,
            "current of one motor [A]": curve.motor_current,
            "shaft power of one motor [W]": curve.shaft_power,
            "rotor speed [rpm]": curve.rev_per_s / RPM,
        }
    )


def compared(inputs: Inputs, head: summary.Headline, pins: list[summary.Headline]) -> str:
    """Return thrust to weight and hover throttle with their usual ranges; HTML."""
    low, mid, high = head.low, head.mid, head.high
    strips = bars.ruler(
        diameter_in=inputs.diameter_in,
        thrust=(low.thrust_to_weight, mid.thrust_to_weight, high.thrust_to_weight),
        hover=(low.hover_throttle, mid.hover_throttle, high.hover_throttle),
        pinned_thrust=[one.mid.thrust_to_weight for one in pins],
        pinned_hover=[one.mid.hover_throttle for one in pins],
    )
    return f'{strips}<p class="wi-small">Common practice, from memory.</p>'


def picture(inputs: Inputs, pins: list[Inputs]) -> str:
    """Return the top view of the craft, to scale; HTML."""
    this = top_view_of(inputs)
    others = [top_view_of(one) for one in pins]
    invented = any("invented" in name for name in (inputs.motor_name, inputs.propeller_name, inputs.pack_name))
    said = f"{caption(this)} Invented parts." if invented else caption(this)
    return f"<figure>{top_view(this, others)}<figcaption>{said}</figcaption></figure>"


def beside(inputs: Inputs, pins: list[Inputs]) -> None:
    """Draw the table of the current and the pinned builds, computed when opened."""
    if not pins:
        return
    count = {2: "two", 3: "three", 4: "four"}[len(pins) + 1]
    with st.expander(f"Side by side: {count} builds", key="side_by_side", on_change="rerun") as box:
        if not box.open:
            return
        builds = []
        called = ["this build", *(page_frame.tame(name) for name in distinct_names(pins, inputs))]
        for place, (one, name, slot) in enumerate(zip([inputs, *pins], called, st.columns(4), strict=False)):
            with slot:
                price = _price(name, place, one)
                if place > 0:
                    st.button(
                        page_frame.button_label("Unpin", name), key=f"unpin:{place}", on_click=state.unpin,
                        args=(place - 1,), width="stretch",
                    )  # fmt: skip
            got = headlines.answers(one)
            builds.append(side_by_side.Beside(one, got.low, got.mid, got.high, headlines.sorted_limits(one), price))
        page_frame.say(side_by_side.table(builds, page_frame.units()))
        st.download_button(
            "Download as CSV",
            side_by_side.frame(builds, page_frame.units()).to_csv(index=False, float_format="%.6g").encode(),
            file_name="side-by-side.csv",
            mime="text/csv",
            key="csv_side_by_side",
            on_click="ignore",
            help="SI units in the headings, ends of the bands included.",
        )


def _price(label: str, place: int, inputs: Inputs) -> float | None:
    """Draw the field for the price of a build, and return the price; None if blank. It belongs to that build."""
    key, whose = f"beside-price:{place}", f"price of {inputs!r}"
    kept_values.put(key, kept_values.get(whose))
    return st.number_input(
        f"Price, {label}", 0.0, 1e7, value=None, step=1.0, format="%g", key=key, placeholder="not told",
        on_change=kept_values.keep, args=(key, whose), help="Of all its parts, in any currency.",
    )  # fmt: skip


def measured_numbers(found: measured.Nearest) -> str:
    """Return the measured points as a table, and their sources; HTML."""
    rows = measured.rows(found, page_frame.units())
    return (
        "<h2>Measured parts <span>one rotor</span></h2>"
        + page_frame.table(measured.HEADINGS, rows)
        + measured.sources(found)
    )


def ceiling_of(inputs: Inputs) -> figures.Ceiling | None:
    """Return the lowest continuous limit of the pack current from a label; None if no label gives one."""
    made = headlines.build(inputs)
    known = []
    if made.pack.max_continuous_current is not None:
        known.append((float(made.pack.max_continuous_current), "continuous rating of the pack"))
    if made.controller.continuous_current is not None:
        # the label applies to each ESC; at full command the pack current is the duty cycle times the motor currents
        duty = float(made.duty_cap)
        each = float(made.controller.continuous_current)
        known.append((each * inputs.rotors * duty, "continuous rating of the ESCs, at full command"))
    if not known:
        return None
    amps, words = min(known)
    return figures.Ceiling(amps, f"{value('current', amps)}, {words}")


def watts_block(inputs: Inputs) -> None:
    """Draw the power split in one flight condition."""
    with st.expander("Where the watts go", key="watts", on_change="rerun") as box:
        if box.open:
            _watts(inputs)


def _watts(inputs: Inputs) -> None:
    which = st.segmented_control(
        "State", list(STATES), default="hover", format_func=STATES.__getitem__, key="watts_state", required=True,
        label_visibility="collapsed", help="One state at a time: hover, your cruise speed, or flat out.",
    )  # fmt: skip
    split = headlines.watts(inputs, which)
    if not math.isfinite(float(split.total)) or int(split.status) != 0:
        page_frame.say('<p class="wi-small">It cannot hold this state; choose another.</p>')
        return
    page_frame.say(bars.power_steps(split))


page(state.usable(), state.pins())
