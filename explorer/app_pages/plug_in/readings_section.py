"""Effect of the readings on the bands, and a button to adopt them."""

from __future__ import annotations

import html

import streamlit as st

from explorer.app_pages.plug_in import answers, figures
from explorer.app_pages.plug_in.log_results import end_of
from explorer.controls import page_frame
from explorer.inputs import Inputs
from explorer.inputs.measured_parts import in_use, without_measured
from explorer.session import bench_log, measured_parts, state
from explorer.text.numbers import spread
from propmodel import power_up

__all__ = ["spread_now"]

WORDS = {
    "thrust_to_weight": ("thrust to weight", "thrust_to_weight"),
    "hover_time": ("minutes in hover", "minutes"),
    "full_throttle_current": ("current flat out", "current"),
}


def spread_now(inputs: Inputs, p: power_up.PowerUp, *, modern: bool | None, volts: float | None) -> None:
    """Draw the effect of the readings on the bands, and a button to adopt them.

    Parameters
    ----------
    inputs : Inputs
        The build on the screen, with its measured parts.
    p : PowerUp
        Its forecast of the first power-up.
    modern : bool or None
        As for `answers.power`.
    volts : float or None
        As for `answers.power`.
    """
    page_frame.section("What the readings did")
    read = {k: float(v) for k, v in bench_log.readings().items() if not isinstance(v, bool)}
    fine = {
        s.title
        for s in power_up.power_up_steps(p)
        if figures.kind_of(power_up.judge(s, bench_log.readings().get(s.title))) != "stop"
    }
    parts = state.own_parts()
    measured = parts is not None and bool(in_use(inputs, parts))
    adopted = parts is not None and measured and parts.name == answers.READINGS_NAME
    # a reading counts once: against the labels, although its parts are in use already
    base = without_measured(inputs) if adopted else inputs
    forecast = answers.power(base, modern=modern, supply_voltage=volts) if adopted else p
    shares = answers.reading_shares(forecast, {k: v for k, v in read.items() if k in fine})
    found = answers.learned(base if shares else inputs, shares)
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
        _adopt(inputs, base, shares, measured=measured, adopted=adopted)
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


def _adopt(inputs: Inputs, base: Inputs, shares: dict[str, float], *, measured: bool, adopted: bool) -> None:
    """Draw the button that adopts the readings, where they are not in use and no stand table is."""
    if measured and not adopted:
        page_frame.say(
            '<p class="wi-small">The measured parts in use come from a stand or a file, which tells more than single '
            "readings. Take them out in the side panel to use these readings in their place.</p>"
        )
        return
    if adopted and answers.from_readings(base, shares) == state.own_parts():
        page_frame.say('<p class="wi-small">Every page uses these readings.</p>')
        return
    st.button(
        "Use my readings in every page",
        key="adopt_readings",
        on_click=_adopt_readings,
        args=(inputs, shares),
        help="Moves and narrows motor and propeller by what you read. Other pages take each part's doubt by itself, so "
        "their bands shrink somewhat less than here.",
    )


def _adopt_readings(inputs: Inputs, shares: dict[str, float]) -> None:
    measured_parts.adopt(answers.from_readings(inputs, shares))
