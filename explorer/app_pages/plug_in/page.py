"""Plug in: what to measure, is a reading plausible, and how does it change the forecast?"""

from __future__ import annotations

import html
import math

import streamlit as st

from explorer.app_pages.plug_in import answers, figures
from explorer.app_pages.plug_in.log_section import log_block
from explorer.app_pages.plug_in.readings_section import spread_now
from explorer.app_pages.plug_in.step_list import step_list
from explorer.controls import page_frame
from explorer.inputs import Inputs
from explorer.session import kept_values, state
from explorer.text.numbers import NARROW, number, prose, value
from propmodel import power_up

AGES = {"unknown": "I do not know", "new": "younger than about 2016", "old": "older"}


def page(inputs: Inputs) -> None:
    """Draw the page."""
    page_frame.style("bench")
    page_frame.say('<h1 class="wi-ask">What should I read when I plug it in, and is what I read right?</h1>')
    if unfit := page_frame.parts_first(inputs, ""):
        page_frame.say(f'<p class="wi-sentence">{unfit}</p>')
    page_frame.say(
        figures.care(
            power_up.FIRST_CAUTION,
            power_up.STOP_AT_ONCE_SHORT,
            cautions=power_up.CAUTIONS,
            stop_at_once=power_up.STOP_AT_ONCE,
        )
    )
    modern, volts = questions()
    p = answers.power(inputs, modern=modern, supply_voltage=volts)
    steps = power_up.power_up_steps(p)
    page_frame.say(f'<p class="wi-sentence wb-head">{page_frame.first_sentence(headline(inputs, p))}</p>')
    page_frame.notice()
    left, right = st.columns([2.5, 1.1], gap="large")
    with left:
        step_list(steps, inputs)
    with right, st.container(key="readings_did"):
        spread_now(inputs, p, modern=modern, volts=volts)
    facts(p)
    log_block()
    page_frame.next_question("cost", "What does a session cost?")


def questions() -> tuple[bool | None, float | None]:
    """Draw two inputs of the forecast of the first power-up: type of ESC, and supply voltage [V]."""
    with st.container(horizontal=True, key="bench_questions"):
        kept_values.put("esc_age", kept_values.get("esc_age", "unknown"))
        age = st.segmented_control(
            "Your ESC is",
            list(AGES),
            format_func=AGES.__getitem__,
            key="esc_age",
            on_change=kept_values.keep,
            args=("esc_age", "esc_age"),
            required=True,
            help="Nearly all since about 2016 brake and drive by turns, so that a bare motor's speed follows "
            "the command. "
            "Older ones do not: their part-throttle figures are then left out.",
        )
        kept_values.put("supply_v", kept_values.get("supply_v"))
        volts = st.number_input(
            "Supply for the motor tests, V",
            3.0,
            80.0,
            value=None,
            step=0.1,
            format="%g",
            key="supply_v",
            width=230,
            placeholder="the full pack",
            on_change=kept_values.keep,
            args=("supply_v", "supply_v"),
            help="What the bench supply is set to. Left blank: a full pack behind a current limit.",
        )
    return {"new": True, "old": False}.get(str(age)), volts


def headline(inputs: Inputs, p: power_up.PowerUp) -> str:
    """Return the most important readings in one sentence."""
    by_title = {row["title"]: row["expect"] for row in power_up.rows(power_up.power_up_steps(p))}

    def n(title: str) -> str:
        return f'<b class="n">{html.escape(prose(by_title[title]))}</b>'

    name = f"<em>{html.escape(inputs.name)}</em>" if inputs.name else "This craft"
    text = (
        f"{name} should draw {n('Standby current')} with its motors still; one bare motor at full command "
        f"{n('Full command without propellers: current')} more, at {n('Full command without propellers: speed')}."
    )
    if p.hover_command is not None and "First hover: command" in by_title:
        text += (
            f' Then its hover command is <b class="n">{value("percent", p.hover_command[1])}</b> '
            f"({html.escape(prose(by_title['First hover: command']))}), idle included, at {n('First hover: current')}."
        )
    else:
        text += " By the forecast it cannot hover: do not go to the last steps."
    return text


def facts(p: power_up.PowerUp) -> None:
    """Draw values that are not measured, and common faults."""
    with st.expander(
        "Why a blocked propeller burns, the spark, braking on a supply; the usual faults",
        key="bench_facts",
        on_change="rerun",
    ) as box:
        if not box.open:
            return
        rows = "".join(
            f"<li><b>{html.escape(f.title)}: "
            f"{number(f.value, 10.0 ** (math.floor(math.log10(max(abs(f.value), 1e-9))) - 1))}"
            f"{NARROW}{html.escape(f.unit)}</b><br>{html.escape(f.text)}</li>"
            for f in power_up.facts(p)
        )
        faults = "".join(
            f"<li><b>{html.escape(f.name)}</b><br>Shows as: {html.escape(f.sign)}. {html.escape(f.check)}</li>"
            for f in power_up.FAULTS
        )
        page_frame.say(
            f'<ul class="wb-plain">{rows}</ul><h2>The usual faults <span>most frequent first; common practice, '
            f"from memory</span></h2>"
            f'<ul class="wb-plain">{faults}</ul>'
        )


page(state.usable())
