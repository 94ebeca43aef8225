"""Effect of the readings on the bands, and a button to adopt them."""

from __future__ import annotations

import html

import streamlit as st

from explorer.app_pages.plug_in import answers, figures
from explorer.app_pages.plug_in.log_results import end_of
from explorer.controls import page_frame
from explorer.inputs import Inputs
from explorer.session import bench_log, measured_parts
from explorer.text.numbers import spread
from propmodel import power_up

__all__ = ["spread_now"]

WORDS = {
    "thrust_to_weight": ("thrust to weight", "thrust_to_weight"),
    "hover_time": ("minutes in hover", "minutes"),
    "full_throttle_current": ("current flat out", "current"),
}


def spread_now(inputs: Inputs, p: power_up.PowerUp) -> None:
    """Draw the effect of the readings on the bands, and a button to adopt them."""
    page_frame.section("What the readings did")
    read = {k: float(v) for k, v in bench_log.readings().items() if not isinstance(v, bool)}
    fine = {
        s.title
        for s in power_up.power_up_steps(p)
        if figures.kind_of(power_up.judge(s, bench_log.readings().get(s.title))) != "stop"
    }
    shares = answers.reading_shares(p, {k: v for k, v in read.items() if k in fine})
    found = answers.learned(inputs, shares)
    before = measured_parts.was()
    older = {} if before is None or shares else {r.name: r.before for r in answers.learned(before, {})}
    rows = []
    for item in found:
        what, kind = WORDS[item.name]
        now = item.after if shares else item.before
        was = item.before if shares else older.get(item.name)
        width = (now[2] - now[0]) / now[1]
        words = f"{what} <b>{html.escape(spread(kind, now[0], now[2], page_frame.units(), unit=True))}</b>"
        if was is not None:
            words += f"<br>band {figures.per_cent((was[2] - was[0]) / was[1])} → {figures.per_cent(width)}"
        else:
            words += f"<br>band {figures.per_cent(width)} wide"
        rows.append({"name": item.name, "words": words, "now": now, "was": was, "end": end_of(kind)})
    if not rows:
        page_frame.say('<p class="wi-small">It cannot hover by the forecast, so there is no band to narrow.</p>')
        return
    page_frame.say(figures.band_rows(rows))
    own = measured_parts.own_words(inputs)
    if shares:
        page_frame.say(
            f'<p class="wi-small">Outline: before. Shaded: where 8 in 10 craft with these labels land that read '
            f"as yours did ({len(shares)} of {len(answers.READINGS)} telling readings).</p>"
        )
        st.button(
            "Use my readings in every page",
            key="adopt_readings",
            on_click=_adopt_readings,
            args=(inputs, shares),
            help="Moves and narrows motor and propeller by what you read. Other pages take each part's doubt by "
            "itself, so "
            "their bands shrink somewhat less than here.",
        )
    else:
        hint = (
            "Outline: before."
            if older
            else "Shaded: where 8 in 10 craft with these labels land. Thrust and "
            "current on a "
            "stand narrow it most, hover command and current come next."
        )
        page_frame.say(f'<p class="wi-small">{hint}</p>')
    if own:
        page_frame.say(f'<p class="wi-small">{html.escape(own)} It is taken out in the side panel.</p>')


def _adopt_readings(inputs: Inputs, shares: dict[str, float]) -> None:
    measured_parts.adopt(answers.from_readings(inputs, shares))
