"""Plug in: what should I read, is what I read right, and what does it make of the forecast?"""

from __future__ import annotations

import html
import math
from typing import Any

import numpy as np
import pandas as pd
import streamlit as st

from explorer.app_pages.plug_in import answers, figures, log_answers
from explorer.controls import page_frame
from explorer.figures.base import Axis
from explorer.inputs import Inputs, apply
from explorer.inputs.measured_parts import in_use, measured
from explorer.session import bench_log, kept_values, measured_parts, state
from explorer.session.bench_log import Held
from explorer.text.numbers import NARROW, number, prose, spread, value
from propmodel import bench, power_up
from propmodel.base.units import GRAM_FORCE

AGES = {"unknown": "I do not know", "new": "younger than about 2016", "old": "older"}
WORDS = {
    "thrust_to_weight": ("pull over weight", "pull_to_weight"),
    "hover_time": ("hanging still", "minutes"),
    "full_throttle_current": ("current flat out", "current"),
}
MEANINGS = {
    "stand": ("throttle", "voltage", "current", "speed", "thrust", "torque"),
    "flight": ("time", "voltage", "current", "throttle", "charge"),
}
UNITS = {
    "throttle": ("%", "share", "us", "digital command"),
    "voltage": ("V", "mV", "hundredths of V"),
    "current": ("A", "mA", "hundredths of A"),
    "speed": ("rpm", "rev/s", "rad/s"),
    "thrust": ("g", "kg", "N", "lbf", "oz"),
    "torque": ("N m", "N cm", "mN m", "g cm", "kg cm", "lbf ft"),
    "time": ("s", "ms", "us"),
    "charge": ("mAh", "Ah"),
}
GUESS = "as I guessed"
WRITTEN = {
    "pct": "%",
    "v": "V",
    "mv": "mV",
    "a": "A",
    "ma": "mA",
    "nm": "N m",
    "w": "W",
    "us": "µs",
    "mah": "mAh",
    "gf": "g",
    "n": "N",
    "kgf": "kg",
    "utf-8-sig": "UTF-8",
}
"""How the units of headings are written."""
EIGHT_IN_TEN = 1.2816
"""Standard deviations to either side."""


def page(inputs: Inputs) -> None:
    """Draw the page."""
    page_frame.style("bench")
    page_frame.say('<h1 class="wi-ask">What should I read when I plug it in, and is what I read right?</h1>')
    page_frame.say(figures.care(power_up.CAUTIONS, power_up.STOP_AT_ONCE))
    modern, volts = questions()
    p = answers.power(inputs, modern=modern, supply_voltage=volts)
    steps = power_up.power_up_steps(p)
    page_frame.say(f'<p class="wi-sentence wb-head">{page_frame.first_sentence(headline(inputs, p))}</p>')
    page_frame.notice()
    left, right = st.columns([2.5, 1.1], gap="large")
    with left:
        cards(steps)
    with right, st.container(key="readings_did"):
        spread_now(inputs, p)
    facts(p)
    log_block()
    page_frame.next_question("cost", "What does a session cost?")


def questions() -> tuple[bool | None, float | None]:
    """Two things the forecast of a first power-up hangs on."""
    with st.container(horizontal=True, key="bench_questions"):
        kept_values.put("esc_age", kept_values.kept("esc_age", "unknown"))
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
        kept_values.put("supply_v", kept_values.kept("supply_v"))
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
    """The few readings that matter most, in one sentence."""
    by_title = {row["title"]: row["expect"] for row in power_up.rows(power_up.power_up_steps(p))}

    def n(title: str) -> str:
        return f'<b class="n">{html.escape(prose(by_title[title]))}</b>'

    name = f"<em>{html.escape(inputs.name)}</em>" if inputs.name else "This craft"
    told = (
        f"{name} should draw {n('Standby current')} with its motors still; one bare motor at full command "
        f"{n('Full command without propellers: current')} more, at {n('Full command without propellers: speed')}."
    )
    if "First hover: command" in by_title:
        told += (
            f" Then it hovers with the motors at {n('First hover: command')} of their command, idle included, and at "
            f"{n('First hover: current')}."
        )
    else:
        told += " By the forecast it cannot hover: do not go to the last steps."
    return told


# ---- cards ------------------------------------------------------------------------------------------------


def cards(steps: list[power_up.Step]) -> None:
    """Every step with its one field."""
    rows = power_up.rows(steps)
    read = bench_log.readings()
    told = [power_up.judge(step, read.get(step.title)) for step in steps]
    kinds = [figures.kind_of(text) for text in told]
    page_frame.say(figures.progress(kinds))
    stopped = next((k for k, kind in enumerate(kinds) if kind == "stop"), None)
    for k, (step, row) in enumerate(zip(steps, rows, strict=True)):
        with st.container(key=f"card-{step.number}"):
            text, answer = st.columns([2.7, 1.0], gap="medium")
            with text:
                page_frame.say(figures.card(row))
            with answer:
                field(step, read.get(step.title))
                late = stopped is not None and k > stopped and not kinds[k]
                page_frame.say(
                    figures.verdict(told[k])
                    if not late
                    else f'<div class="wb-verdict">First clear step {steps[stopped].number}; nothing before that.</div>'
                )
                page_frame.say(figures.next_card(step.number, len(steps)))
    if read:
        st.button("Begin anew: clear all readings", key="clear_readings", on_click=bench_log.clear_readings)


def field(step: power_up.Step, now: Any) -> None:
    """One field: a number in the step's unit, or a yes."""
    key = f"reading:{step.title}"
    if not step.unit:
        kept_values.put(key, {True: "yes", False: "no"}.get(now))
        st.segmented_control(
            f"Step {step.number}: is all of it so?", ["yes", "no"], key=key, on_change=_read, args=(key, step.title)
        )
        return
    kept_values.put(key, None if now is None else float(now))
    low = -40.0 if step.unit == "°C" else 0.0
    # one field; its unit stands in the label, and the keyboard of a phone brings digits
    st.number_input(
        f"Step {step.number}: I read, {step.unit}",
        low,
        1e7,
        value=None,
        step=None,
        format="%g",
        key=key,
        on_change=_read,
        args=(key, step.title),
        placeholder="type what you read",
    )


def _read(key: str, title: str) -> None:
    given = st.session_state[key]
    bench_log.set_reading(title, {"yes": True, "no": False}.get(given, given))


def end_of(kind: str) -> Any:
    """How an end of a scale is written."""
    return lambda v: value(kind, v)


def spread_now(inputs: Inputs, p: power_up.PowerUp) -> None:
    """What the readings did to the spread, and a way to keep it."""
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
            else "Shaded: where 8 in 10 craft with these labels land. Pull and "
            "current on a "
            "stand narrow it most, hover command and current come next."
        )
        page_frame.say(f'<p class="wi-small">{hint}</p>')
    if own:
        page_frame.say(f'<p class="wi-small">{html.escape(own)} It is taken out in the side panel.</p>')


def _adopt_readings(inputs: Inputs, shares: dict[str, float]) -> None:
    measured_parts.adopt(answers.from_readings(inputs, shares))


def facts(p: power_up.PowerUp) -> None:
    """What to know rather than to read, and the usual faults."""
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


# ---- the log ----------------------------------------------------------------------------------------------


@st.fragment
def log_block() -> None:
    """Bring a log: read it, doubt it, set it against the forecast, make the parts one's own."""
    inputs = state.usable()
    page_frame.section(
        "A log from a stand or a flight", "CSV of any layout; nothing leaves this machine but to this page's own server"
    )
    dropped = st.file_uploader(
        "Drop a log here",
        key="log_file",
        max_upload_size=128,
        help="A thrust stand's table, a table typed by hand, a flight log exported as CSV, a radio's telemetry. "
        "Up to 128 MB.",
    )
    held = bench_log.held_log()
    if dropped is not None and (held is None or held.ident != dropped.file_id):
        held = _take(dropped.file_id, dropped.name, dropped.getvalue())
    if held is None:
        page_frame.say(
            '<p class="wi-small">Encoding, separators, decimal commas, headings and units are found, and shown '
            "for you to change.</p>"
        )
        return
    if held.problem or held.log is None:
        page_frame.say(
            f'<p class="wi-notice" role="alert"><b>{html.escape(held.name)}</b>: {html.escape(held.problem)}</p>'
        )
        return
    log = held.log
    kind = "thrust stand" if log.kind == "stand" else "flight"
    count = len(log.points) if log.kind == "stand" else len(log.frame)
    rows = (
        f"{len(log.frame)} rows, {count} steps"
        if log.kind == "stand"
        else f"{len(log.frame):,} rows".replace(",", NARROW)
    )
    page_frame.say(
        f"<p><b>{html.escape(held.name)}</b>: a {kind} log, {rows}. "
        f"{html.escape(' '.join(_sentence(n) for n in log.notes))}</p>"
    )
    columns(held, log, dropped)
    page_frame.say("<h2>Doubts</h2>" + figures.doubts(log.doubts))
    (stand if log.kind == "stand" else flight)(held, log, inputs)


def _unit(unit: str) -> str:
    return WRITTEN.get(unit.lower(), unit)


def _sentence(text: str) -> str:
    text = (text[:1].upper() + text[1:]).replace("utf-8-sig", "UTF-8")
    return text if text.endswith(".") else f"{text}."


def _take(ident: str, name: str, data: bytes, **choices: Any) -> Held:
    """Read a file, with a line of progress where it is long."""
    slot = st.empty()
    big = len(data) > 2_000_000

    def share(done: float) -> None:
        slot.progress(min(max(done, 0.0), 1.0), text=f"reading {100 * done:.0f} % of {len(data) / 2**20:.0f} MB")

    held = bench_log.read_log(ident, name, data, progress=share if big else None, **choices)
    slot.empty()
    bench_log.hold(held)
    return held


def columns(held: Held, log: bench.BenchLog, dropped: Any) -> None:
    """What was taken for what; every guess can be changed."""
    used = {g.meaning: g for g in log.guesses if g.meaning != "not used"}
    words = ", ".join(
        f"{m.replace('_', ' ')} from “{g.column}”{f' ({_unit(g.unit)})' if g.unit else ''}" for m, g in used.items()
    )
    page_frame.say(f'<p class="wi-small">I read these columns: {html.escape(words)}.</p>')
    with st.expander("Change the columns or their units", key="log_columns", on_change="rerun") as box:
        if not box.open:
            return
        data = held.data if held.data is not None else (None if dropped is None else dropped.getvalue())
        if data is None:
            st.caption("This file was too large to keep: drop it again to change its columns.")
            return
        headings = [g.column for g in log.guesses]
        for meaning in MEANINGS[log.kind]:
            guess = used.get(meaning)
            a, b = st.columns([2, 1], gap="small")
            where = f"log_col:{held.ident}:{meaning}"
            unit = f"log_unit:{held.ident}:{meaning}"
            st.session_state.setdefault(where, held.columns.get(meaning, GUESS))
            st.session_state.setdefault(unit, held.units.get(meaning, GUESS))
            here = "not there" if guess is None else guess.column
            with a:
                st.selectbox(
                    f"{meaning.capitalize()} stands in",
                    [GUESS, *dict.fromkeys(headings)],
                    key=where,
                    format_func=lambda v, here=here: f"{v}: {here}" if v == GUESS else v,
                    help="" if guess is None else guess.why,
                )
            with b:
                st.selectbox(
                    f"Unit of {meaning}",
                    [GUESS, *UNITS[meaning]],
                    key=unit,
                    format_func=lambda v, g=guess: f"{v}: {_unit(g.unit)}" if v == GUESS and g is not None else v,
                )
        poles = st.number_input(
            "Magnets of the motor, if the logger was set to another number (14 is usual)",
            2,
            60,
            value=held.poles,
            step=2,
            key=f"log_poles:{held.ident}",
            placeholder="as set in the logger",
        )
        for guess in log.guesses:
            if guess.meaning == "not used":
                st.caption(f"“{page_frame.tame(guess.column)}” is not used: {guess.why}.")
        if st.button("Read it again like this", key="log_again"):
            chosen = {m: st.session_state[f"log_col:{held.ident}:{m}"] for m in MEANINGS[log.kind]}
            units = {m: st.session_state[f"log_unit:{held.ident}:{m}"] for m in MEANINGS[log.kind]}
            again = _take(
                held.ident,
                held.name,
                data,
                columns={m: v for m, v in chosen.items() if v != GUESS},
                units={m: v for m, v in units.items() if v != GUESS},
                poles=poles,
            )
            if again.log is None:  # keep what could be read, say why this could not
                bench_log.hold(held)
                st.error(again.problem)
            else:
                st.rerun(scope="fragment")


def stand(held: Held, log: bench.BenchLog, inputs: Inputs) -> None:
    """Forecast against reading, and the calibration."""
    differ = log_answers.labels_differ(log.labels, inputs)
    other = any(d.kind == "another_propeller" and d.severity == "wrong" for d in log.doubts)
    bare_run = bool(log.labels.get("no_propeller")) or any(d.kind == "no_propeller" for d in log.doubts)
    page_frame.section("Whose parts were on the stand?")
    if differ:
        page_frame.say(f'<p class="wi-notice">{html.escape(_sentence("; ".join(differ.values())))}</p>')
        values = log_answers.label_values(log.labels)
        if values and st.button("Put the file's parts into this build", key=f"log_parts:{held.ident}"):
            state.load(apply(state.inputs(), values))
            st.rerun()
    with st.container(horizontal=True):
        own_motor = st.checkbox(
            "The motor is this build's motor", value="motor" not in differ, key=f"own_motor:{held.ident}:{inputs.kv:g}"
        )
        own_blades = st.checkbox(
            "The propeller is this build's propeller",
            value="propeller" not in differ and not bare_run and not other,
            disabled=bare_run,
            key=f"own_blades:{held.ident}:{inputs.diameter_in:g}x{inputs.pitch_in:g}x{inputs.blades}",
        )
        own_esc = st.checkbox(
            "The ESC is this build's ESC",
            value=False,
            key=f"own_esc:{held.ident}",
            help="Then its throttle map and losses are taken too; else only motor and propeller.",
        )
    motor, blades, esc, air = log_answers.stand_parts(inputs, log.labels, own_motor=own_motor, own_propeller=own_blades)
    odd_kinds = ["supply_limit", "odd_row", "shaft_above_electrical", "another_propeller"]
    odd = np.isin(log.points.index, list(log.rows_in_doubt(odd_kinds)))
    label = log_answers.by_label(log.points, motor, blades, esc, air)
    with st.container(horizontal=True, vertical_alignment="bottom"):
        leave = False
        if odd.any():
            leave = st.checkbox(
                "Leave the rows in doubt out",
                value=False,
                key=f"leave:{held.ident}",
                help="Rows at the supply's limit obey the same law at their own voltage, so they may stay.",
            )
        if st.button("Calibrate", type="primary", key=f"calibrate:{held.ident}"):
            _calibrate(
                held, log, inputs, (motor, blades, esc, air), (own_motor, own_blades, own_esc), odd if leave else None
            )
    held = bench_log.held_log() or held
    fit = held.calibration
    if isinstance(fit, str):
        page_frame.say(f'<p class="wi-notice" role="alert">{html.escape(_sentence(fit))}</p>')
        fit = None
    clouds(log, label, fit, odd)
    if fit is not None:
        result(held, fit, inputs)


def _calibrate(
    held: Held, log: bench.BenchLog, inputs: Inputs, parts: tuple, mine: tuple[bool, bool, bool], odd: Any
) -> None:
    motor, blades, esc, air = parts
    out = [] if odd is None else [int(i) for i in log.points.index[odd]]
    from dataclasses import replace

    try:
        fit = bench.calibrate(log, motor, blades, controller=esc, air=air, leave_out=out)
    except ValueError as wrong:
        bench_log.hold(replace(held, calibration=str(wrong)))
        return
    bench_log.hold(replace(held, calibration=fit))
    if any(mine):
        own = measured(
            inputs,
            held.name,
            motor=fit.motor if mine[0] else None,
            propeller=fit.propeller if mine[1] else None,
            controller=fit.controller if mine[2] else None,
        )
        measured_parts.adopt(own)
        st.rerun()  # every number on every page follows


def clouds(log: bench.BenchLog, label: dict[str, Any], fit: Any, odd: Any) -> None:
    """Forecast against reading, pull and current."""
    points = log.points
    residuals = None if fit is None else fit.residuals
    grams = 1.0 / GRAM_FORCE
    found = []
    for name, column, key, factor, unit in (
        ("Pull", "thrust_n", "thrust", grams, "g"),
        ("Current", "current_a", "current", 1.0, "A"),
    ):
        if column not in points or not np.isfinite(points[column]).any():
            continue
        read, said = points[column].to_numpy(float) * factor, label[key] * factor
        fitted = None
        if residuals is not None and f"fitted_{column}" in residuals:
            fitted = residuals[f"fitted_{column}"].reindex(points.index).to_numpy(float) * factor
        if np.isfinite(said).any() or fitted is not None:
            most = np.nanmax(np.concatenate([read, said, [0.0] if fitted is None else fitted]))
            found.append((name, read, said, fitted, unit, float(most)))
    if not found:
        page_frame.say(
            '<p class="wi-small">Without a voltage and a speed the forecast cannot be set beside these rows.</p>'
        )
        return
    page_frame.section("Forecast against reading", "at the speeds and volts that were read; on the line they agree")
    for slot, (name, read, said, fitted, unit, most) in zip(st.columns(len(found)), found, strict=True):
        with slot:
            axis = state.axis(f"bench {name}", most)
            off = (
                np.nanmedian(read[said > 0.1 * most] / said[said > 0.1 * most]) - 1.0
                if (said > 0.1 * most).any()
                else math.nan
            )
            words = f"{name} read against forecast: by the labels the readings lie {_more(off)}."
            if fitted is not None:
                near = np.nanmedian(np.abs(read / fitted - 1.0)[read > 0.1 * most])
                words += f" Calibrated, half of them lie within {figures.per_cent(float(near))}."
            page_frame.chart(
                figures.against(read, label=said, fitted=fitted, odd=odd, name=name, unit=unit, axis=axis),
                key=f"cloud_{name}",
                alt=words,
            )
            page_frame.say(f'<p class="wi-small">{words}</p>')
    keys = '<span class="key">○ by the labels</span>' + (
        '<span class="key">● calibrated</span>' if fit is not None else ""
    )
    page_frame.say(f'<p class="wi-small">{keys}{"<span class=key>× in doubt</span>" if odd.any() else ""}</p>')
    page_frame.numbers("log", lambda: _table(points), file_name="log-steps.csv")


def _table(points: pd.DataFrame) -> pd.DataFrame:
    table = pd.DataFrame({"line": points["source_row"]})
    for column, heading, factor in (
        ("throttle_share", "throttle [%]", 100.0),
        ("voltage_v", "voltage [V]", 1.0),
        ("current_a", "current [A]", 1.0),
        ("speed_rev_per_s", "speed [rpm]", 60.0),
        ("thrust_n", "pull [g]", 1.0 / GRAM_FORCE),
        ("torque_nm", "torque [N m]", 1.0),
    ):
        if column in points:
            table[heading] = points[column].astype(float) * factor
    return table


def _more(share: float) -> str:
    if not math.isfinite(share):
        return "nowhere near one line"
    if abs(share) < 0.01:
        return "on the forecast"
    return f"{figures.per_cent(abs(share))} {'above' if share > 0 else 'below'} it"


NAMES = {
    "kv": ("KV under load", 1.0, 1.0, "rpm/V"),
    "resistance": ("effective resistance", 1e3, 0.1, "mΩ"),
    "no_load_current": ("no-load current", 1.0, 0.01, "A"),
    "c_t": ("thrust coefficient, standing", 1.0, 0.001, ""),
    "c_p": ("power coefficient, standing", 1.0, 0.001, ""),
    "ripple_coefficient": ("ESC ripple loss", 1.0, 0.01, "W/V²"),
    "throttle_exponent": ("throttle exponent", 1.0, 0.01, ""),
    "idle_duty": ("share of the voltage at no throttle", 100.0, 0.1, "%"),
}


def result(held: Held, fit: Any, inputs: Inputs) -> None:
    """What the table made of the parts."""
    page_frame.section("What the table made of the parts")
    rows = []
    for key, (name, factor, step, unit) in NAMES.items():
        if key not in fit.spread.index:
            continue
        row = fit.spread.loc[key]
        learned = float(row["learned"])
        how = (
            "known now"
            if learned > 0.9
            else "mostly learned"
            if learned > 0.5
            else "a little learned"
            if learned > 0.2
            else "not learned"
        )
        cells = [number(float(row[c]) * factor, step) for c in ("label", "value", "low", "high")]
        rows.append([f"{name}{f', {unit}' if unit else ''}", cells[0], cells[1], f"{cells[2]} to {cells[3]}", how])
    heads = ["what it is", "by the label", "from the table", "19 in 20 lie in", "how far learned"]
    page_frame.say(page_frame.table(heads, rows))
    for note in fit.notes:
        page_frame.say(f'<p class="wi-small">{html.escape(note)}</p>')
    used = in_use(inputs, state.own_parts())
    own = state.own_parts()
    if own is not None and own.name == held.name[:80] and used:
        page_frame.say(
            f'<p class="wi-small">✓ {html.escape(measured_parts.own_words(inputs))} Every page now reckons with it.</p>'
        )
    else:
        page_frame.say(
            '<p class="wi-small">Neither motor nor propeller is this build\'s, so the build keeps its labels.</p>'
        )
    r = fit.residuals
    at = r["throttle_share"].to_numpy(float) * 100.0 if "throttle_share" in r else np.full(len(r), np.nan)
    top, title = (
        (Axis(100.0, 25.0), "Throttle, %")
        if np.isfinite(at).any()
        else (Axis(float(len(r)), max(1.0, len(r) // 4)), "Step")
    )
    at = at if np.isfinite(at).any() else np.arange(1.0, len(r) + 1.0)
    series = [
        (name, r[c], symbol)
        for name, c, symbol in (
            ("pull", "off_thrust", "circle"),
            ("current", "off_current", "square-open"),
            ("torque", "off_torque", "diamond-open"),
        )
        if c in r
    ]
    if not series:
        return
    most = max(float(np.nanmax(np.abs(np.asarray(v, float)), initial=0.0)) for _, v, _ in series)
    half = 5.0 if most < 0.05 else 10.0 if most < 0.1 else 20.0
    words = "What is left between reading and calibrated forecast: " + "; ".join(
        f"{name} within {figures.per_cent(float(np.nanmax(np.abs(np.asarray(v, float)))))}" for name, v, _ in series
    )
    page_frame.chart(figures.off(at, series, most=half, x_axis=top, x_title=title), key="cloud_off", alt=words)
    signs = {"circle": "●", "square-open": "□", "diamond-open": "◇"}
    keys = "".join(f'<span class="key">{signs[s]} {n}</span>' for n, _, s in series)
    page_frame.say(f'<p class="wi-small">{keys}</p><p class="wi-small">{words}.</p>')


def flight(held: Held, log: bench.BenchLog, inputs: Inputs) -> None:
    """What a flight says of the build."""
    from explorer.forecasts import headlines

    page_frame.section("What the flight says of this build")
    key = f"put_back:{held.ident}"
    back = st.number_input(
        "The charger put back, mAh (after exactly this flight)",
        1.0,
        200000.0,
        value=None,
        step=None,
        format="%g",
        key=key,
        width=330,
        placeholder="not told: the sensor is taken on trust",
    )
    try:
        flown = bench.calibrate_flight(
            log, headlines.build(inputs), charge_put_back=None if back is None else back / 1000.0
        )
    except ValueError as wrong:
        page_frame.say(f'<p class="wi-notice">{html.escape(_sentence(str(wrong)))}</p>')
        return
    bits = []
    if math.isfinite(flown.hover_current):
        command = (
            ""
            if not math.isfinite(flown.hover_throttle)
            else f' at <b class="n">{value("percent", flown.hover_throttle)}</b>'
        )
        bits.append(f'In steady flight it drew <b class="n">{value("current", flown.hover_current)}</b>{command}.')
    bits.append(
        f'The flight took <b class="n">{value("charge", flown.charge_used)}</b> in <b '
        f'class="n">{value("minutes", flown.flight_time)}</b>.'
    )
    if math.isfinite(flown.pack_resistance):
        bits.append(f'Pack and leads have <b class="n">{value("resistance", flown.pack_resistance)}</b>.')
    if back is not None:
        bits.append(f'The sensor should read <b class="n">{number(flown.sensor_scale, 0.01)} times</b> what it does.')
    page_frame.say(f'<p class="wi-sentence wb-head">{" ".join(bits)}</p>')
    got = headlines.answers(inputs)
    rows = []
    for name, what, kind, seen, now in (
        (
            "current",
            "hover current",
            "current",
            flown.hover_current,
            tuple(a.hover_current for a in (got.low, got.mid, got.high)),
        ),
        (
            "command",
            "hover command",
            "percent",
            flown.hover_throttle,
            tuple(a.hover_throttle for a in (got.low, got.mid, got.high)),
        ),
        ("ohm", "pack resistance", "resistance", flown.pack_resistance, _pack_band(flown)),
    ):
        if math.isfinite(seen) and math.isfinite(now[1]):
            inside = (
                "inside the band"
                if now[0] <= seen <= now[2]
                else f"{_more(seen / now[1] - 1.0).replace('it', 'the forecast')}"
            )
            said = spread(kind, now[0], now[2], unit=True)
            words = f"{what}: flown <b>{value(kind, seen)}</b>, forecast {said}, {inside}"
            rows.append({"name": name, "words": words, "now": now, "was": None, "flown": seen, "end": end_of(kind)})
    if rows:
        page_frame.say(
            "<h2>Forecast against flown <span>band: 8 in 10 craft with these labels; diamond: your flight</span></h2>"
            + figures.band_rows(rows)
        )
    for note in flown.notes:
        page_frame.say(f'<p class="wi-small">{html.escape(note)}</p>')
    if math.isfinite(flown.pack_resistance) and st.button(
        "Take this pack resistance into the build",
        key=f"take_ohm:{held.ident}",
        help="Less the leads, per cell, at the pack's temperature in the side panel.",
    ):
        cell = round(log_answers.cell_mohm_from_pack(inputs, flown.pack_resistance), 2)
        state.load(apply(state.inputs(), {"cell_mohm": cell, "cell_mohm_at_c": inputs.pack_temperature_c}))
        st.rerun()


def _pack_band(flown: Any) -> tuple[float, float, float]:
    """Band of a pack that is not read, as `studies.spread` draws it with the label's C known."""
    from propmodel.studies.spread import LOG_SD_PACK_LABEL

    mid = float(flown.comparison.loc["pack resistance", "forecast"])
    wide = math.exp(EIGHT_IN_TEN * LOG_SD_PACK_LABEL)
    return mid / wide, mid, mid * wide


page(state.usable())
