"""Minutes: how long does it fly in the user's way of flying?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
import streamlit as st

from explorer.app_pages.minutes import answers, figures
from explorer.app_pages.minutes import words as flight_words
from explorer.controls import field_controls, page_frame
from explorer.figures.base import Axis
from explorer.forecasts import headlines
from explorer.inputs import FLYING_STYLES, STYLE_WORDS, Inputs
from explorer.inputs.build_names import distinct_names
from explorer.session import kept_values, state
from explorer.text.numbers import NARROW, spread, value
from propmodel.base.status import Status
from propmodel.base.units import GRAM, KMH, MINUTE
from propmodel.components import battery
from propmodel.flight.level import level_flight

SHARES = (
    ("mix_hover_percent", "Hover"),
    ("mix_cruise_percent", "Cruise"),
    ("mix_hard_percent", "Flying hard"),
    ("mix_full_percent", "Flat out"),
)
ROW_NAMES = {"hang still": "Hover", "cruise": "Cruise at", "your way": "Your way", "flat out": "Flat out"}


# ---- way of flying ----------------------------------------------------------------------------------------


def shares_of(inputs: Inputs) -> list[float]:
    """Return the four shares as typed; without any, those of the selected flying style. [%]"""
    own = [getattr(inputs, name) for name, _ in SHARES]
    if all(share is None for share in own):
        style = [float(v) for v in FLYING_STYLES[inputs.flying_style]]
        return [100.0 * v for v in style] if sum(style) <= 1.5 else style
    return [float(share or 0.0) for share in own]


def _style_picked() -> None:
    style = st.session_state["way"]
    if style is not None:
        for name, _ in SHARES:
            state.change(name, None)
        state.change("flying_style", style)


def _share_entered(name: str) -> None:
    entered = st.session_state[f"share:{name}"]
    for (other, _), now in zip(SHARES, shares_of(state.inputs()), strict=True):
        state.change(other, float(entered or 0.0) if other == name else now)


def _scale() -> None:
    now = shares_of(state.inputs())
    total = sum(now)
    scaled = [round(100.0 * share / total, 1) for share in now]
    scaled[int(np.argmax(scaled))] += round(100.0 - sum(scaled), 1)
    for (name, _), share in zip(SHARES, scaled, strict=True):
        state.change(name, round(share, 1))


def mix(shares: Sequence[float]) -> None:
    """Draw the number fields of the four shares; only while their popover is open."""
    st.caption("Share of the time in the air, %. The four add up to 100.")
    for (name, label), share in zip(SHARES, shares, strict=True):
        key = f"share:{name}"
        kept_values.put(key, share)
        st.number_input(
            label, 0.0, 100.0, step=1.0, format="%g", key=key, on_change=_share_entered, args=(name,),
            help="Of the time in the air.",
        )  # fmt: skip
    st.caption(f"Together {sum(shares):g} %.")
    field_controls.control("cruise_kmh", where="mix")


def mix_words(shares: Sequence[float]) -> str:
    """Return the shares of the mix that are not zero, with their names."""
    return ", ".join(
        f"{name.lower()} {share:g}{NARROW}%" for (_, name), share in zip(SHARES, shares, strict=True) if share > 0.0
    )


def way_of_flying() -> None:
    """Draw the selection of a flying style, each with a popover for its shares."""
    raw = state.inputs()
    own = any(getattr(raw, name) is not None for name, _ in SHARES)
    shares = shares_of(raw)
    total = sum(shares)
    pick, open_ = st.columns([3, 2], vertical_alignment="bottom", gap="medium")
    with pick:
        now = None if own else raw.flying_style
        kept_values.put("way", now)
        st.segmented_control(
            "You fly",
            list(FLYING_STYLES),
            format_func=lambda style: STYLE_WORDS[style].capitalize(),
            key="way",
            on_change=_style_picked,
            help=(
                "Each is a mix of hover, cruise, flying hard (thrust twice its weight, in a race 2.5 times), flat out. "
                "Open it and make it yours."
            ),
        )
    # a constant label: Streamlit treats a popover with another label as a new one, which is closed
    with open_, st.popover("Open the mix", width="stretch", key="mix_open", on_change="rerun") as box:
        if box.open:
            mix(shares)
    wrong = abs(total - 100.0) > 0.5
    with st.container(key="mix_wrong"):
        if wrong:
            text = (
                f"The mix comes to {total:g}{NARROW}%, not 100{NARROW}%. Until that is put right, the answers stand "
                "for "
                f"<em>{STYLE_WORDS[raw.flying_style]}</em>."
            )
            page_frame.say(f'<p class="wi-notice" role="status">{text}</p>')
            if total > 0.0:
                st.button("Scale them to 100 %", key="scale_mix", on_click=_scale, help="Keeps their proportions.")
        else:
            page_frame.say(f'<p class="wi-small">{"Your own" if own else "The"} mix: {mix_words(shares)}.</p>')


# ---- the page ---------------------------------------------------------------------------------------------


def marks_of(answer: answers.Minutes, home: float) -> tuple[list[figures.VoltageMark], float]:
    """Return the marks alarm, land and empty of the voltage curve, and the charge for a capacity alarm. [A h]"""
    if not answer.time["your way"] > 1.0:
        return [], math.nan
    current = answer.current["cruise"]
    current = current if math.isfinite(current) and current > 0.0 else answer.current["hang still"]
    alarm = max(answer.charge - home * current / 3600.0, 0.0)
    drawn = (1.0 - answer.curve_charge) * answer.capacity
    time, volts = answer.curve_time, answer.curve_volts

    def at(charge: float) -> tuple[float, float]:
        return float(np.interp(charge, drawn, time)), float(np.interp(charge, drawn, volts))

    alarm_time, alarm_volts = at(alarm)
    land_time = answer.time["your way"]
    found = [
        figures.VoltageMark("alarm", alarm_time, alarm_volts),
        figures.VoltageMark("land", land_time, float(np.interp(land_time, time, volts))),
    ]
    if answer.empty_time > land_time * 1.002:
        found.append(figures.VoltageMark("empty", answer.empty_time, float(volts[-1])))
    return found, alarm


def ledger_rows(
    inputs: Inputs, this: answers.Minutes, others: Sequence[answers.Minutes]
) -> list[tuple[str, str, str, list[str]]]:
    """Return the rows of the ledger as text: hover, cruise, mixed flight, full throttle."""
    rows = []
    for row in answers.ROWS:
        name = ROW_NAMES[row]
        if row == "cruise":
            name = f"{name} {value('road_speed', inputs.cruise_kmh * KMH)}"
        mine = flight_words.minutes_or_why(this, row)
        band = ""
        if (
            this.status[row] in (Status.OK, Status.THROTTLE_FULL)
            and math.isfinite(this.low[row])
            and this.time[row] > 1.0
        ):
            text = spread("minutes", this.low[row], this.high[row])
            band = text if " to " in text else ""
        rows.append((name, mine, band, [flight_words.minutes_or_why(other, row) for other in others]))
    return rows


def why_not_division(inputs: Inputs, answer: answers.Minutes) -> Sequence[tuple[str, str, str]]:
    """Return a worked example: why the flight time is not capacity over current, with the numbers of this build."""
    made = headlines.build(inputs)
    hover = answers.firmware_hover(inputs)
    label = inputs.capacity_mah * inputs.parallel
    naive = 60.0 * label / 1000.0 / hover.hover_current
    full = float(battery.open_circuit_voltage(made.pack, 1.0)) / inputs.cells
    amps = answer.current["your way"]
    amps_words = f"{amps:.1f} A" if math.isfinite(amps) else "no level flight"
    return (
        (
            "The quick sum",
            f"{label:,.0f} mAh / {hover.hover_current:.1f} A in a hover = {naive:.1f} min",
            "All of the label, at the current of a full pack in a hover.",
        ),
        (
            "You do not only hover",
            f"flown your way the pack gives {amps_words} on average",
            "Shares of the mix, each at its own current.",
        ),
        (
            "You keep some",
            f"{100 * (1 - answer.end_charge):.0f} % of {1000 * answer.capacity:,.0f} mAh = "
            f"{1000 * answer.charge:,.0f} mAh may be drawn",
            "Of what the pack holds: less than its label says, unless you typed a charger's figure. Charge you land "
            "with, or the landing voltage if that comes first.",
        ),
        (
            "The same power takes more amps as the volts fall",
            f"a cell falls from {full:.2f} V at rest to {float(answer.curve_volts[-1]):.2f} V under load; amps rise by "
            "the inverse",
            "Power = volts x amps, at every state of charge: the integral of dQ / I(Q).",
        ),
        (
            "So",
            f"{60 * answer.charge / amps:.1f} min your way" if math.isfinite(amps) and amps > 0 else "no flight",
            "Drawn charge over the mean current.",
        ),
    )


def page(inputs: Inputs, pins: Sequence[Inputs]) -> None:
    """Draw the page."""
    page_frame.style("flight")
    units = page_frame.units()
    this = answers.minutes(inputs)
    others = [answers.minutes(one) for one in pins]
    names = distinct_names(pins, inputs)
    opening = page_frame.first_sentence(page_frame.parts_first(inputs, flight_words.minutes_opening(inputs, this)))
    pin, other = (replace(pins[0], name=names[0]), others[0]) if pins else (None, None)
    pinned = flight_words.pinned_minutes(this, pin, other, units)
    if len(pins) > 1:
        pinned = flight_words.pinned_minutes_of_several(names, others)
    page_frame.say(
        '<h1 class="wi-ask">How long, doing what I do?</h1>'
        f'<div class="wi-short"><p class="wi-sentence">{opening}</p></div>'
        f'<p class="wi-pinned">{pinned}</p>'
    )
    field_controls.guessed()
    page_frame.notice()
    field_controls.knob_strip()
    if page_frame.waits(inputs):
        return
    way_of_flying()
    voltage_block(inputs, this, pins, others)
    speed_block(inputs, pins)
    pack_block(inputs, pins)
    firmware_block(inputs)
    page_frame.next_question("margins", "Which part reaches its limit first?")


def voltage_block(
    inputs: Inputs, this: answers.Minutes, pins: Sequence[Inputs], others: Sequence[answers.Minutes]
) -> None:
    """Draw voltage against time, the ledger, the alarm, and cold and old packs."""
    home = float(kept_values.get("way_home", 20.0))
    marks, alarm = marks_of(this, home)
    cold, old = bool(st.session_state.get("ghost_cold")), bool(st.session_state.get("ghost_old"))
    ghosts = answers.ghosts(inputs) if (cold or old) and marks else None
    longest = [this.empty_time, this.empty_high, *(other.empty_time for other in others)]
    axis = state.axis("minutes", max((v / MINUTE for v in longest if math.isfinite(v)), default=1.0))
    made = headlines.build(inputs)
    full = float(battery.open_circuit_voltage(made.pack, 1.0)) / inputs.cells
    least = min(one.cutoff for one in (this, *others))
    names = distinct_names(pins, inputs)
    with st.container(key="volt_row"):
        left, right = st.columns([2.1, 1], gap="large")
    with left:
        figure = figures.voltage_figure(
            this, others, marks=marks, ghosts=ghosts, show=(cold, old), axis=axis,
            volts=figures.volt_axis(this.cutoff, full, least),
            reason="" if marks else flight_words.minutes_or_why(this, "your way"),
        )  # fmt: skip
        page_frame.chart(figure, key="voltage", alt=_voltage_alt(this, marks))
        page_frame.say(page_frame.key_line(names))
    with right:
        page_frame.say(
            "<h2>Minutes to landing</h2>" + figures.ledger(ledger_rows(inputs, this, others), pinned_names=names)
        )
    still = this.time["hang still"]
    spare = max(this.end_charge * this.capacity, 0.0) if math.isfinite(this.end_charge) else 0.0
    hover_left = 3600.0 * spare / this.current["hang still"] if still > 1.0 else 0.0
    page_frame.say(
        '<p class="wi-alarm">'
        + flight_words.alarm_words(
            this, alarm=alarm, home=home, alarm_time=marks[0].time if marks else math.nan, hover_left=hover_left
        )
        + "</p>"
    )
    with st.container(horizontal=True, vertical_alignment="bottom", gap="large", key="ghost_row"):
        st.toggle(
            "Cold pack, 0 °C",
            key="ghost_cold",
            width="content",
            help="The same flight with cells at freezing point, as a grey band. A colder pack never lasts longer: the "
            "same flying takes the same charge of it, or more.",
        )
        st.toggle(
            "Old pack",
            key="ghost_old",
            width="content",
            help="The same flight after 250 full cycles, as a thin grey curve.",
        )
        kept_values.put_first("way_home", home)
        st.number_input(
            "Way home after the alarm, s",
            0.0,
            600.0,
            step=5.0,
            format="%g",
            key="way_home",
            width=230,
            on_change=kept_values.keep_filled,
            args=("way_home", "way_home"),
            help=(
                "At your cruise. The alarm sounds so much before the charge you land with. 20 s is common practice "
                "for flying close by."
            ),
        )
        with st.container(key="workings", width="content"):
            page_frame.working("Why not mAh over amps?", lambda: why_not_division(inputs, this), key="division")
    both = (
        ghosts.cold_lands if ghosts is not None and cold else None,
        ghosts.old_lands if ghosts is not None and old else None,
    )
    more = flight_words.cold_old_words(*both) if any(both) else ""
    page_frame.say(f'<p class="wi-small">{flight_words.warm_words(this)} {more}</p>')
    page_frame.numbers("voltage", lambda: _voltage_frame(this), file_name="voltage-against-minutes.csv", every=2)


def _voltage_alt(this: answers.Minutes, marks: list[figures.VoltageMark]) -> str:
    points = ", ".join(f"{m.name} at {value('minutes', m.time)} and {m.volts:.2f} V" for m in marks)
    return (
        f"Voltage of a cell under load against minutes: {points}."
        if points
        else "No flight is possible, so there is no curve."
    )


def _voltage_frame(this: answers.Minutes) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "time [min]": this.curve_time / MINUTE,
            "charge left [%]": 100.0 * this.curve_charge,
            "charge drawn [mAh]": 1000.0 * (1.0 - this.curve_charge) * this.capacity,
            "voltage of a cell [V]": this.curve_volts,
        }
    )


def speed_block(inputs: Inputs, pins: Sequence[Inputs]) -> None:
    """Draw power against speed, range, wind and top speed."""
    this = answers.speed_curve(inputs)
    others = [answers.speed_curve(one) for one in pins]
    page_frame.section("How far", "full pack; where the line touches: farthest")
    tops = figures.speed_tops(this, others)
    axes = (state.axis("road speed", tops[0]), state.axis("level power", tops[1]))
    figure = figures.speed_figure(this, others, axes=axes, cruise=inputs.cruise_kmh * KMH)
    words = flight_words.speed_words(this)
    page_frame.chart(figure, key="speed", alt=words)
    left, right = st.columns([1, 3.2], vertical_alignment="top", gap="medium")
    with left:
        kept_values.put_first("wind", float(kept_values.get("wind", 10.0)))
        st.number_input(
            "Wind, m/s", 0.0, 40.0, step=1.0, format="%g", key="wind", on_change=kept_values.keep_filled,
            args=("wind", "wind"),
            help="10 m/s moves small trees; gusts are half as much again (common practice).",
        )  # fmt: skip
    wind = float(kept_values.get("wind", 10.0))
    with right:
        held = float(this.speed[this.held][-1]) if this.held.any() else float(this.top.speed)
        wind_text = flight_words.wind_words(answers.turn_back(this, 0.0), answers.turn_back(this, wind), wind, held)
        page_frame.say(f'<p class="wi-plain">{wind_text}</p>')
    heavier = next(
        (said for one, its in zip(pins, others, strict=True) if (said := _heavier(inputs, this, one, its))), ""
    )
    page_frame.say(f'<p class="wi-small">{flight_words.speed_short(this)}{heavier}</p>{_cruise_words(inputs)}')
    page_frame.numbers("speed", lambda: _speed_frame(this), file_name="power-against-speed.csv", every=3, words=words)


_PROPULSION = (
    "kv",
    "stator_d_mm",
    "stator_h_mm",
    "diameter_in",
    "pitch_in",
    "blades",
    "cells",
    "capacity_mah",
    "rotors",
)


def _heavier(inputs: Inputs, this: answers.SpeedCurve, pinned: Inputs, other: answers.SpeedCurve) -> str:
    """Write why it is faster than a lighter pinned craft with the same propulsion."""
    if any(getattr(inputs, name) != getattr(pinned, name) for name in _PROPULSION):
        return ""
    masses = (float(headlines.build(one).mass) for one in (inputs, pinned))
    return flight_words.heavier_words(this, next(masses), other, next(masses))


def _cruise_words(inputs: Inputs) -> str:
    """Write a message if the cruise speed cannot be sustained."""
    level = level_flight(headlines.build(inputs), inputs.cruise_kmh * KMH)
    if int(level.status) == 0:
        return ""
    needed = float(level.thrust_needed_over_available)
    why = f"needs {needed:.1f} times the thrust there is" if needed > 1.0 else "the pack cannot feed it"
    return (
        f'<p class="wi-notice" role="status">Your cruise of {value("road_speed", inputs.cruise_kmh * KMH)}: '
        f"cannot, {why}.</p>"
    )


def _speed_frame(this: answers.SpeedCurve) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "speed [km/h]": this.speed / KMH,
            "power [W]": this.power,
            "current [A]": np.where(this.held, this.current, np.nan),  # beyond it a full pack alone holds the speed
            "tilt [deg]": np.degrees(this.tilt),
            "time [min]": this.time / MINUTE,
            "turns back at [km]": this.time * this.speed / 2000.0,
        }
    )


def pack_block(inputs: Inputs, pins: Sequence[Inputs]) -> None:
    """Draw flight time against pack mass and against the landing voltage."""
    page_frame.section("A heavier pack, a lower landing voltage", "flown your way")
    pack = answers.pack_axis(inputs)
    pack_pins = [answers.pack_axis(one) for one in pins]
    cut = answers.cutoffs(inputs)
    cut_pins = [answers.cutoffs(one) for one in pins]
    left, right = st.columns([1.45, 1], gap="large")
    with left:
        grams = max(float(one.mass[-1]) / GRAM for one in (pack, *pack_pins))
        most = _most(*(one.time for one in (pack, *pack_pins)))
        # above the curve there is room for the label of its highest point
        axes = (state.axis("pack mass", grams), state.axis("pack minutes", 1.12 * most))
        page_frame.chart(
            figures.pack_figure(pack, pack_pins, axes=axes), key="pack_mass", alt=flight_words.pack_words(pack)
        )
        page_frame.say(f'<p class="wi-small">{flight_words.pack_words(pack)}</p>')
    with right:
        axis: Axis = state.axis("cutoff minutes", _most(*(one.time for one in (cut, *cut_pins))))
        words = _cutoff_words(cut)
        page_frame.chart(figures.cutoff_figure(cut, cut_pins, axis=axis), key="cutoff", alt=words)
        page_frame.say(f'<p class="wi-small">{words}</p>')
        field_controls.control("cutoff_v", where="cut", short="Land at, each cell")


def _most(*curves: np.ndarray) -> float:
    found = [float(np.nanmax(c)) / MINUTE for c in curves if np.isfinite(c).any()]
    return max(found, default=1.0)


def _cutoff_words(cut: answers.Cutoff) -> str:
    def at(volts: float) -> float:
        return float(np.interp(volts, cut.volts, cut.time))

    here = cut.here_volts
    if not np.any(cut.time > 1.0):
        return "No landing voltage makes it fly your way."
    if cut.here_time <= 1.0:
        enough = float(cut.volts[np.flatnonzero(cut.time > 1.0)[-1]])
        return (
            f"At {here:.2f}{NARROW}V a cell it must land at once; down to about "
            f"{enough:.2f}{NARROW}V it flies, if the cells bear that."
        )
    higher, lower = at(min(here + 0.2, float(cut.volts[-1]))), at(max(here - 0.2, float(cut.volts[0])))
    if cut.here_time - higher < 3.0 and lower - cut.here_time <= 3.0:
        return (
            f"Landing 0.2{NARROW}V a cell earlier or later changes nothing: "
            "the charge you land with ends the flight first."
        )
    up = f"Landing {0.2:.1f}{NARROW}V a cell earlier costs {value('minutes', max(cut.here_time - higher, 0.0))}"
    gain = lower - cut.here_time
    down = (
        f"; 0.2{NARROW}V later gives {value('minutes', gain)} and wears the cells"
        if gain > 3.0
        else "; later gives nothing, since the charge you land with ends the flight first"
    )
    return f"{up}{down}."


def firmware_block(inputs: Inputs) -> None:
    """Draw the throttle above idle for the hover setting of the firmware."""
    words = f'<p class="wi-plain">{flight_words.firmware_words(answers.firmware_hover(inputs))}</p>'
    page_frame.section("Hover setting to type in", "throttle above idle, so below the hover command", words)


page(state.usable(), state.pins())
