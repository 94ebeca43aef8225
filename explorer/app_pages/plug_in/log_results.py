"""Results of a log: scatter charts, the calibrated parts, comparison with a flight."""

from __future__ import annotations

import html
import math
from typing import Any

import numpy as np
import pandas as pd
import streamlit as st

from explorer.app_pages.plug_in import figures, log_answers
from explorer.controls import page_frame
from explorer.figures.base import Axis
from explorer.forecasts import headlines
from explorer.inputs import Inputs, apply
from explorer.inputs.measured_parts import in_use
from explorer.session import measured_parts, state
from explorer.session.bench_log import LoadedLog
from explorer.text.numbers import number, spread, value
from propmodel import bench
from propmodel.base.units import GRAM_FORCE
from propmodel.studies.spread import LOG_SD_PACK_LABEL

__all__ = ["clouds", "end_of", "flight", "result", "sentence"]

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
EIGHT_IN_TEN = 1.2816
"""Standard normal quantile of 90 %: half width of the 80 % interval in standard deviations. [-]"""


def sentence(text: str) -> str:
    """Return a text as a sentence: with a capital letter and a full stop."""
    text = (text[:1].upper() + text[1:]).replace("utf-8-sig", "UTF-8")
    return text if text.endswith(".") else f"{text}."


def end_of(kind: str) -> Any:
    """Return a function that formats an end of a scale."""
    return lambda v: value(kind, v)


def clouds(log: bench.BenchLog, label: dict[str, Any], fit: Any, odd: Any) -> None:
    """Draw forecast against reading, for thrust and current."""
    points = log.points
    residuals = None if fit is None else fit.residuals
    grams = 1.0 / GRAM_FORCE
    found = []
    for name, column, key, factor, unit in (
        ("Thrust", "thrust_n", "thrust", grams, "g"),
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
        ("thrust_n", "thrust [g]", 1.0 / GRAM_FORCE),
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


def result(held: LoadedLog, fit: Any, inputs: Inputs) -> None:
    """Draw the calibrated parts and the change of the headline bands."""
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
            f'<p class="wi-small">✓ {html.escape(measured_parts.own_words(inputs))} Every page now uses it.</p>'
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
            ("thrust", "off_thrust", "circle"),
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


def flight(held: LoadedLog, log: bench.BenchLog, inputs: Inputs) -> None:
    """Draw the comparison of a flight log with the build."""
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
        page_frame.say(f'<p class="wi-notice">{html.escape(sentence(str(wrong)))}</p>')
        return
    bits = []
    if math.isfinite(flown.hover_current):
        command = (
            ""
            if not math.isfinite(flown.hover_throttle)
            else f" at a {'hover command' if flown.of_motors else 'throttle stick'} of "
            f'<b class="n">{value("percent", flown.hover_throttle)}</b>'
        )
        when = "If its only steady flight was a hover, it drew" if flown.hover_in_doubt else "In hover it drew"
        bits.append(f'{when} <b class="n">{value("current", flown.hover_current)}</b>{command}.')
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
            # a log of the stick alone has throttle above idle
            flown.hover_throttle if flown.of_motors else math.nan,
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
    """Return the band of the resistance of a pack without readings, as in `studies.spread` with a known C rating."""
    mid = float(flown.comparison.loc["pack resistance", "forecast"])
    wide = math.exp(EIGHT_IN_TEN * LOG_SD_PACK_LABEL)
    return mid / wide, mid, mid * wide
