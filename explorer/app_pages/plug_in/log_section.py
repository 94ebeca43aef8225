"""The section of Plug in for a log: its columns, quality flags, the parts on the stand, the calibration."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import streamlit as st
from streamlit.errors import StreamlitAPIException

from explorer.app_pages.plug_in import figures, log_answers
from explorer.app_pages.plug_in.log_results import clouds, flight, result, sentence
from explorer.controls import page_frame
from explorer.inputs import Inputs, apply
from explorer.inputs.measured_parts import measured
from explorer.session import bench_log, kept_values, measured_parts, state
from explorer.session.bench_log import LoadedLog
from explorer.text.numbers import NARROW
from propmodel import bench
from propmodel.bench.calibration import ROWS_IN_DOUBT, TABLE_IN_DOUBT
from propmodel.bench.quality_flags import find_doubts
from propmodel.components.air import Air
from propmodel.components.motor import Motor
from propmodel.components.propeller import Propeller

__all__ = ["log_block"]

MEANINGS = {
    "stand": ("throttle", "voltage", "current", "speed", "thrust", "torque"),
    "flight": ("time", "voltage", "current", "motor_output_1", "throttle", "charge"),
}
KINDS = {"flight": "a flight", "stand": "a thrust stand"}
_MOTOR = "motor_output_1"
NAMES = {_MOTOR: "motor command", "throttle": "throttle"}
"""Meaning -> words on the screen, where they differ."""
UNITS = {
    "throttle": ("%", "share", "us", "digital command"),
    "motor": ("%", "share", "us", "digital command"),
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
"""Unit in a heading -> unit as displayed."""


@st.fragment
def log_block() -> None:
    """Draw the section: read a log, flag rows, compare with the forecast, adopt calibrated parts."""
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
        data = held.data if held.data is not None else (None if dropped is None else dropped.getvalue())
        if held.headings and data is not None:
            page_frame.section("What are its columns?")
            choose(held, data, held.headings, {}, None)
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
        f"{html.escape(' '.join(sentence(n) for n in log.notes))}</p>"
    )
    columns(held, log, dropped)
    page_frame.say("<h2>Doubts</h2>" + figures.doubts(log.doubts))
    (stand if log.kind == "stand" else flight)(held, log, inputs)


def _said(words: Mapping[str, str | None], choice: str) -> str:
    return words.get(choice) or choice


def _unit(unit: str) -> str:
    return WRITTEN.get(unit.lower(), unit)


def _redraw() -> None:
    """Draw the section again, or the whole page where the whole page was being drawn."""
    try:
        st.rerun(scope="fragment")
    except StreamlitAPIException:
        st.rerun()


def _take(ident: str, name: str, data: bytes, **choices: Any) -> LoadedLog:
    """Read a file; a long one with a progress message."""
    slot = st.empty()
    big = len(data) > 2_000_000

    def share(done: float) -> None:
        slot.progress(min(max(done, 0.0), 1.0), text=f"reading {100 * done:.0f} % of {len(data) / 2**20:.0f} MB")

    held = bench_log.read_log(ident, name, data, progress=share if big else None, **choices)
    slot.empty()
    bench_log.hold(held)
    return held


def columns(held: LoadedLog, log: bench.BenchLog, dropped: Any) -> None:
    """Draw the meaning of each column; every guess can be changed."""
    used = {g.meaning: g for g in log.guesses if g.meaning != "not used"}
    words = ", ".join(
        f"{m.replace('_', ' ')} from “{g.column}”{f' ({_unit(g.unit)})' if g.unit else ''}" for m, g in used.items()
    )
    page_frame.say(f'<p class="wi-small">I read these columns: {html.escape(words)}.</p>')
    with st.expander("Change the columns, their units or the kind of log", key="log_columns", on_change="rerun") as box:
        if not box.open:
            return
        data = held.data if held.data is not None else (None if dropped is None else dropped.getvalue())
        if data is None:
            st.caption("This file was too large to keep: drop it again to change its columns.")
            return
        choose(held, data, [g.column for g in log.guesses], used, log.kind)
        for guess in log.guesses:
            if guess.meaning == "not used":
                st.caption(f"“{page_frame.tame(guess.column)}” is not used: {guess.why}.")


def choose(
    held: LoadedLog, data: bytes, headings: Sequence[str], used: Mapping[str, bench.Guess], now: str | None
) -> None:
    """Draw the choice of the kind of log, and of the column and unit of each quantity; read the file again with it.

    Parameters
    ----------
    held : LoadedLog
        The file as it was read, or could not be.
    data : bytes
        Its contents.
    headings : sequence of str
        Headings of its columns.
    used : mapping
        Meaning -> what was guessed; empty if nothing was.
    now : {"stand", "flight"} or None
        Kind of log that was found.
    """
    kind_key = f"log_kind:{held.ident}"
    kept_values.put_first(kind_key, held.kind or now or "flight")
    kind = st.segmented_control(
        "It is a log of", list(KINDS), format_func=lambda one: KINDS[one], key=kind_key, required=True,
        help="A stand holds the throttle in steps; a flight has a clock and a pack.",
    ) or "flight"  # fmt: skip
    meanings = [m for m in MEANINGS[kind] if m != _MOTOR or "motor_output" not in used]
    for meaning in meanings:
        guess = used.get(meaning) if kind == now else None
        name = str(NAMES.get(meaning, meaning))
        a, b = st.columns([2, 1], gap="small")
        where = f"log_col:{held.ident}:{meaning}"
        unit = f"log_unit:{held.ident}:{meaning}"
        kept_values.put_first(where, held.columns.get(meaning, GUESS))
        kept_values.put_first(unit, held.units.get(meaning, GUESS))
        # the first option includes the guess
        first = f"{GUESS}: {guess.column}" if guess else f"{GUESS}: not there" if now else "not there"
        named = {GUESS: first} | dict.fromkeys(headings)
        written = {GUESS: f"{GUESS}: {_unit(guess.unit)}" if guess else "from its values"} | dict.fromkeys(
            UNITS[meaning.partition("_")[0]]
        )
        with a:
            st.selectbox(
                f"{name.capitalize()} stands in",
                list(named),
                key=where,
                format_func=partial(_said, named),
                help="" if guess is None else guess.why,
            )
        with b:
            st.selectbox(
                f"Unit of {name}",
                list(written),
                key=unit,
                format_func=partial(_said, written),
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
    if st.button("Read it again like this", key="log_again"):
        chosen = {m: st.session_state[f"log_col:{held.ident}:{m}"] for m in meanings}
        units = {m: st.session_state[f"log_unit:{held.ident}:{m}"] for m in meanings}
        again = _take(
            held.ident,
            held.name,
            data,
            columns={m: v for m, v in chosen.items() if v != GUESS},
            units={m: v for m, v in units.items() if v != GUESS},
            poles=poles,
            kind=None if kind == now and held.kind is None else kind,
        )
        if again.log is None:  # keep the previous log, and show why this choice cannot be read
            bench_log.hold(held)
            st.error(again.problem)
        else:
            _redraw()


def stand(held: LoadedLog, log: bench.BenchLog, inputs: Inputs) -> None:
    """Draw forecast against reading, and the calibration."""
    differ = log_answers.labels_differ(log.labels, inputs)
    other = any(d.kind == "another_propeller" and d.severity == "wrong" for d in log.doubts)
    bare_run = bool(log.labels.get("no_propeller")) or any(d.kind == "no_propeller" for d in log.doubts)
    page_frame.section("Whose parts were on the stand?")
    if differ:
        page_frame.say(f'<p class="wi-notice">{html.escape(sentence("; ".join(differ.values())))}</p>')
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
    doubted = [*ROWS_IN_DOUBT, *TABLE_IN_DOUBT]
    against = _against_parts(held, log, motor, blades, air)
    odd = np.isin(log.points.index, [row for d in against if d.kind in doubted for row in d.rows])
    more = [d for d in against if d.kind in doubted and d.sentence not in {one.sentence for one in log.doubts}]
    if more:
        page_frame.say("<h2>Doubts against these parts</h2>" + figures.doubts(more))
    limited = np.isin(log.points.index, list(log.rows_in_doubt(["supply_limit"])))
    label = log_answers.by_label(log.points, motor, blades, esc, air)
    with st.container(horizontal=True, vertical_alignment="bottom"):
        use_limited = not limited.any() or not st.checkbox(
            "Leave the rows at the supply's limit out",
            value=False,
            key=f"leave:{held.ident}",
            help="They obey the same law at their own voltage, so they may stay.",
        )
        use_doubted = (odd.any() or isinstance(held.calibration, str)) and st.checkbox(
            "Use what is in doubt all the same",
            value=False,
            key=f"doubted:{held.ident}",
            help="Else rows in doubt are left out, and a table that is in doubt as a whole is not calibrated on.",
        )
        if st.button("Calibrate", type="primary", key=f"calibrate:{held.ident}"):
            _calibrate(
                held,
                log,
                inputs,
                (motor, blades, esc, air),
                (own_motor, own_blades, own_esc),
                use_limited=use_limited,
                use_doubted=bool(use_doubted),
            )
    held = bench_log.held_log() or held
    fit = held.calibration
    if isinstance(fit, str):
        page_frame.say(f'<p class="wi-notice" role="alert">{html.escape(sentence(fit))}</p>')
        fit = None
    clouds(log, label, fit, odd | limited)
    if fit is not None:
        result(held, fit, inputs)


def _against_parts(
    held: LoadedLog, log: bench.BenchLog, motor: Motor, blades: Propeller, air: Air
) -> list[bench.Doubt]:
    """Return the quality flags of the table for these parts; stored until the table or a part changes."""
    box = kept_values.box("against_parts")
    mark = (held.ident, repr(held.columns), repr(held.units), held.poles, repr(motor), repr(blades), repr(air))
    if box.get("mark") != mark:
        box |= {"mark": mark, "doubts": find_doubts(log, motor=motor, propeller=blades, air=air)}
    return list(box["doubts"])


def _calibrate(
    held: LoadedLog,
    log: bench.BenchLog,
    inputs: Inputs,
    parts: tuple,
    mine: tuple[bool, bool, bool],
    *,
    use_limited: bool,
    use_doubted: bool,
) -> None:
    motor, blades, esc, air = parts
    try:
        fit = bench.calibrate(
            log, motor, blades, controller=esc, air=air, use_limited=use_limited, use_doubted=use_doubted
        )
    except ValueError as wrong:
        bench_log.hold(replace(held, calibration=str(wrong)))
        _redraw()  # the checkbox to use it nevertheless is drawn with the refusal
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
        st.rerun()  # all pages use the new values
