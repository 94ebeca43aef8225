"""Choose: which combination of parts is best for the user?"""

from __future__ import annotations

import html
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd
import streamlit as st

from explorer.app_pages.choose import answers, counting, figures, looks, map_words, plan, ranges, solve_block
from explorer.app_pages.choose.controls import (
    asked_now,
    chosen_output,
    entered_ranges,
    lists_block,
    more_conditions,
    range_controls,
    read_all,
    three_controls,
)
from explorer.app_pages.choose.looks import ASKED, HEADLINES, LOOKS, USUAL, reads
from explorer.app_pages.choose.picture import Picture, alike_kv, judged, picture
from explorer.app_pages.choose.ranges import PRICE, RangeError
from explorer.controls import page_frame
from explorer.figures.base import PLOT_CONFIG
from explorer.forecasts import headlines
from explorer.inputs import Inputs
from explorer.inputs.build_names import distinct_names
from explorer.inputs.measured_parts import OwnInputs, in_use
from explorer.session import kept_values, state, typed_labels
from explorer.text.markup import NO_BREAK
from explorer.text.numbers import NARROW, spread
from propmodel import parts

PATIENCE = 0.7
"""Time that a run waits for a sweep before it shows the progress. [s]"""
FIRST_PATIENCE = 3.0
"""The same for the first sweep, without a previous map. [s]"""
POLL = 0.3
MOST_CSV_ROWS = 20_000


@dataclass(frozen=True)
class MapState:
    """The latest map with the data of its dots and rows; small enough to store in the session."""

    key: str
    picture: Picture
    labels: dict[int, str]
    inputs: dict[int, Inputs]
    answers: dict[int, dict[str, float]]
    words: str
    edge: str
    over: dict[int, tuple[str, ...]]
    bands: dict[int, dict[str, Any]]
    """Ends of the 80 % interval of the winners' results."""
    question: str
    rows: tuple[Any, ...]
    """Arguments to repeat the sweep for the file of all accepted combinations."""
    instead: bool = False
    """True if no combination has usual limits, so that the map shows those whose parts fit."""


def page(inputs: Inputs, pins: Sequence[Inputs]) -> None:
    """Draw the page."""
    page_frame.say('<h1 class="wi-ask">Which combination is best for me?</h1>')
    if waiting := page_frame.first_sentence(""):
        page_frame.say(f'<p class="wi-sentence">{waiting}</p>')
    page_frame.notice()
    combinations(inputs, pins)
    with st.expander(
        "The other way round: what gives the minutes I want?", key="choose_solve_open", on_change="rerun"
    ) as box:
        if box.open:
            solve_block.solve_sentence(inputs)
    with st.expander("Where the spread comes from", key="choose_spread_open", on_change="rerun") as box:
        if box.open:
            spread_block(inputs)
    page_frame.next_question("plug_in", "Is it safe to plug in?")


# ---- 1 what should I change? ------------------------------------------------------------------------------


def what_to_change(inputs: Inputs, output: str) -> None:
    """Draw two-sided bars, one row per step to the next size."""
    units = page_frame.units()
    page_frame.section("Or change one part", f"to the next size sold, for {_better(output)}")
    if page_frame.is_open():
        page_frame.say('<p class="wi-small">No comparison while a label of this build is open.</p>')
        return
    found = answers.changes(inputs, output)
    page_frame.say(figures.change_sentence(found, output) + figures.change_bars(found, output, units))
    page_frame.numbers("changes", lambda: figures.change_frame(found, output), file_name="steps.csv")


# ---- 2 all combinations -----------------------------------------------------------------------------------


@st.fragment
def combinations(inputs: Inputs, pins: Sequence[Inputs]) -> None:
    """Draw the ranges, the conditions, the map and the winners."""
    answer = st.container(key="choose_answer")
    frames: dict[str, pd.DataFrame] = kept_values.first("choose_lists", {})
    with_price = any("price [-]" in f and f["price [-]"].notna().any() for f in frames.values())
    three_controls(with_price)
    held = entered_ranges(inputs)
    with st.expander("What is tried, more conditions", key="choose_more_open", on_change="rerun") as box:
        if box.open:
            range_controls(held, frames)
            more_conditions(with_price)
    lists_block(frames)
    held = entered_ranges(inputs)
    gone = tuple(name for kind in frames for name in ranges.dropped_by(kind))
    faults: list[str] = []
    values: dict[str, tuple] = {}
    try:
        values = read_all(inputs, held, gone)
        if words := plan.too_many(values, frames):
            faults.append(words)
    except RangeError as wrong:
        faults += str(wrong).split("\n")
    asked = asked_now(with_price)
    line = st.container(key="choose_counting")
    seen: MapState | None = kept_values.get("choose_seen")
    if not faults:
        seen, more = counted(inputs, pins, values, frames, asked.x, asked.y, asked.bounds, asked.limits, line, seen)
        faults += more
    with line:
        if faults:
            body = "".join(f'<p class="wi-notice" role="status">{html.escape(f)}</p>' for f in faults)
            stays = '<p class="wi-small">The last good picture stays below.</p>' if seen else ""
            page_frame.say(body + stays)
    if not typed_labels.opened():
        with answer:
            page_frame.say(f'<p class="wi-sentence">{best_words(inputs, seen)}</p>')
    if seen is not None:
        show(inputs, pins, seen, asked.limits)
    what_to_change(inputs, asked.x if asked.x in ASKED else "hover_time")


def best_words(inputs: Inputs, seen: MapState | None) -> str:
    """Return the best accepted combination as a shop label; HTML."""
    if seen is None or not seen.picture.winners:
        return "No combination of these parts holds what you ask. Ask less, or try more parts."
    p = seen.picture
    sense = 1.0 if LOOKS[p.x].better == "max" else -1.0
    index = max(p.winners, key=lambda k: sense * seen.answers[k][p.x])
    got, now = seen.answers[index], answers.point_of(inputs, (p.x,))[p.x]
    bands = seen.bands.get(index, {})
    first, second = (_small_band(html.escape(_answer(n, got[n], bands.get(n)))) for n in (p.x, p.y))
    against = ""
    if math.isfinite(now) and (words := looks.change_words(p.x, got[p.x], now)) != "the same":
        against = f", {html.escape(words)} than this build"
    beside = "thrust" if LOOKS[p.y].kind == "thrust_to_weight" else LOOKS[p.y].words
    better = f"{_better(p.x)[:1].upper()}{_better(p.x)[1:]}"
    if seen.instead:
        cap = inputs.command_cap_percent
        under = f" under your throttle cap of {cap:.0f}{NARROW}%" if cap < 100.0 else ""
        better = f"No combination keeps its limits as usual{under}. Of those that fit, {_better(p.x)}"
    # a line ends between two parts, not inside the size of one
    label = "; ".join(part.replace(" ", NO_BREAK) for part in html.escape(seen.labels[index]).split("; "))
    return f'{better}: <b class="n long">{label}</b>. {first}{against}; {beside} {second}.'


def _small_band(text: str) -> str:
    """Return the band of a number in small type without line breaks; HTML."""
    return re.sub(r" \(([^()]* to [^()]*)\)", r' <span class="r">(\1)</span>', text)


def _better(output: str) -> str:
    """Return the objective in words.

    Examples
    --------
    >>> _better("hover_time"), _better("mass"), _better("top_speed")
    ('most minutes in hover', 'lowest take-off mass', 'highest top level speed')
    """
    look = LOOKS[output]
    most = "most" if look.kind in ("minutes", "grams_per_watt") else "highest"
    return f"{most if look.better == 'max' else 'lowest'} {look.words}"


# ---- running a sweep --------------------------------------------------------------------------------------


def counted(
    inputs: Inputs,
    pins: Sequence[Inputs],
    values: dict[str, tuple],
    frames: dict[str, pd.DataFrame],
    x: str,
    y: str,
    bounds: list[tuple[str, Any, float | None]],
    limits: str,
    slot: Any,
    before: MapState | None,
) -> tuple[MapState | None, list[str]]:
    """Return the requested map, or the previous one while the sweep runs; and messages."""
    units = page_frame.units()
    outputs = looks.asked_outputs(x, y, [b[0] for b in bounds if b[2] is not None], limits)
    size = plan.count_of(values, frames)
    job = counting.start(inputs, values, frames, outputs, size, kept_values.get("choose_job"))
    kept_values.keep_value("choose_job", job)
    asked = looks.conditions(bounds, limits)
    key = repr((job.key, asked, limits, x, y, units, pins))
    if before is not None and before.key == key:
        with slot:
            page_frame.say(f'<p class="wi-small">{html.escape(before.words)}</p>')
        return before, []
    if not job.wait(PATIENCE if before is not None else FIRST_PATIENCE):
        with slot:
            waiting(job.key)
        return before, []
    if job.fault:
        return before, [job.fault]
    if job.stopped or job.answer is None:
        kept_values.keep_value("choose_job", job)
        with slot:
            page_frame.say(
                f'<p class="wi-small" role="status">Stopped at {ranges.many(job.done)} of {ranges.many(job.size)}; '
                "change something to count again.</p>"
            )
        return before, []
    found = judged(job.answer.found, limits)
    also = [
        (p[x], p[y])
        for p in (answers.point_of(one, (x, y)) for one in (inputs, *pins))
        if math.isfinite(p[x]) and math.isfinite(p[y])
    ]
    made = picture(found, asked, x=x, y=y, also=also)
    words = " ".join(filter(None, [map_words.holds_words(made, units), job.answer.where]))
    instead = False
    if made.holding == 0 and limits == USUAL:
        # instead of an empty map: the combinations whose parts fit, each with its exceeded limits
        fitting = looks.conditions(bounds, "what fits")
        fits = picture(found, fitting, x=x, y=y, also=also)
        if fits.holding:
            made, asked, instead = fits, fitting, True
            words += f" Shown: the {ranges.many(fits.holding)} whose parts fit."
    question = repr((inputs, values, {k: f.to_csv() for k, f in frames.items()}))
    if made.holding == 0 and before is not None and before.question == question:
        # same combinations: keep the previous map; for others draw the empty one
        return before, [words]
    rows = (inputs, values, frames, outputs, size, asked, limits)
    request = (key, question, words, rows)
    seen = replace(seen_of(inputs, replace(job.answer, found=found), made, asked, frames, request), instead=instead)
    kept_values.keep_value("choose_seen", seen)
    job.answer = None  # 100 MB: stored once in the cache, not in every session
    with slot:
        page_frame.say(f'<p class="wi-small">{html.escape(words)}</p>')
    return seen, []


def seen_of(
    inputs: Inputs,
    answer: counting.CountedSweep,
    made: Picture,
    asked: list[Any],
    frames: dict[str, pd.DataFrame],
    request: tuple[str, str, str, tuple[Any, ...]],
) -> MapState:
    """Return the labels, inputs and results of every dot and row."""
    key, question, words, rows = request
    found = answer.found
    good = found.meets(asked)
    labels: dict[int, str] = {}
    made_inputs: dict[int, Inputs] = {}
    answers_of_winner: dict[int, dict[str, float]] = {}
    for index in dict.fromkeys([*made.winners, *(int(k) for k in made.frontier)]):
        span = alike_kv(found, index, good, made.x, made.y) if index in made.winners else None
        labels[index] = plan.shop_label(found, index, frames, inputs, span)
        made_inputs[index] = plan.inputs_at(inputs, answer.plan, found, index, frames)
        answers_of_winner[index] = {k: float(found[k].flat[index]) for k in found.values if k in LOOKS}
    edge = map_words.edge_words(found, made)
    over = answers.over_of(answer, made.winners)
    bands = answers.bands_of(answer, made.winners, (made.x, made.y), headlines.profile(inputs))
    return MapState(key, made, labels, made_inputs, answers_of_winner, words, edge, over, bands, question, rows)


def waiting(key: str) -> None:
    """Draw the progress of the running sweep; this fragment is rerun until it is done."""

    @st.fragment(run_every=POLL)
    def look() -> None:
        job = kept_values.get("choose_job")
        if job is None or job.key != key or job.wait(0.0):
            st.rerun()
        with st.container(horizontal=True, vertical_alignment="center"):
            done = (
                "waiting for its turn"
                if job.waiting
                else f"counting {ranges.many(job.done)} of {ranges.many(job.size)}"
            )
            if job.away:
                done += " on the cluster"
            page_frame.say(f'<p class="wi-small" role="status">{done}</p>')
            st.button("stop", key="choose_stop", on_click=job.stop, type="tertiary", help="The last picture stays.")

    look()


# ---- map and winners --------------------------------------------------------------------------------------


def load_dot(seen: MapState, index: int) -> None:
    """Load a combination as the current build."""
    if index in seen.inputs:
        state.load(seen.inputs[index])
        typed_labels.retire()
        kept_values.keep_value("choose_clicks", kept_values.get("choose_clicks", 0) + 1)


def show(inputs: Inputs, pins: Sequence[Inputs], seen: MapState, limits: str) -> None:
    """Draw the map with its legend, and the winners."""
    units, p = page_frame.units(), seen.picture
    here = answers.point_of(inputs, (p.x, p.y))
    over = [one for one in headlines.limits_in_brief(inputs) if one.state == "over"]
    broken = [one.name for one in over if not one.usual]
    this = figures.MapMark(inputs.name, here[p.x], here[p.y], over=len(broken))
    names = distinct_names(pins, inputs)
    others = [
        figures.MapMark(name, at[p.x], at[p.y])
        for name, at in zip(names, (answers.point_of(one, (p.x, p.y)) for one in pins), strict=True)
    ]
    labels = [seen.labels[int(k)] for k in p.frontier]
    event = st.plotly_chart(
        figures.map_of(p, this, others, labels, units),
        key=f"choose_map:{kept_values.get('choose_clicks', 0)}",
        theme=None,
        config=PLOT_CONFIG,
        width="stretch",
        on_select="rerun",
        selection_mode="points",
        alt=figures.map_words(p, this, units),
    )
    picked = [pt["customdata"] for pt in event["selection"]["points"] if pt.get("customdata") is not None]
    if picked:
        first = picked[0]
        load_dot(seen, int(first[0] if isinstance(first, list | tuple) else first))
        st.rerun()
    dots = f", {len(p.frontier)} of {p.frontier_size} shown" if p.frontier_size > len(p.frontier) else ""
    page_frame.say(
        '<p class="wi-small"><span class="key"><i class="count"></i>combinations that hold, darker is more</span>'
        '<span class="key"><i class="out"></i>ruled out</span>'
        f'<span class="key"><i class="front"></i>frontier: none better in both{dots}</span>'
        '<span class="key">A click on a dot loads it.</span></p>'
    )
    if measured_parts(inputs):
        page_frame.say(
            '<p class="wi-small">This build has measured parts; the combinations are forecast from labels, so the one '
            "with its labels may lie beside its ring.</p>"
        )
    if broken:
        page_frame.say(f'<p class="wi-small">This build itself{figures.over_words(broken)}.</p>')
    elif over and limits == "all":
        count = f"{len(over)} limits, all" if len(over) > 1 else f"one limit ({html.escape(over[0].name)}),"
        page_frame.say(
            f'<p class="wi-small">This build reaches {count} usual for such a craft; \u201call\u201d asks that none is '
            "reached.</p>"
        )
    winners(inputs, seen)


def measured_parts(inputs: Inputs) -> list[str]:
    """Return the names of the measured parts of the build."""
    return in_use(inputs, inputs.own) if isinstance(inputs, OwnInputs) else []


def winners(inputs: Inputs, seen: MapState) -> None:
    """Draw at most five rows along the frontier as shop labels, each with a button that loads it."""
    p, units = seen.picture, page_frame.units()
    if not p.winners:
        return
    names = list(dict.fromkeys([p.x, p.y, "mass", *(k for k in (PRICE,) if k in seen.answers[p.winners[0]])]))
    now = answers.point_of(inputs, tuple(names))
    headings = ["No.", "Motor; propeller; pack", *(LOOKS[n].words for n in names), "against this build"]
    all_over = [seen.over.get(index, ()) for index in p.winners]
    shared = tuple(name for name in all_over[0] if all(name in one for one in all_over)) if len(all_over) > 1 else ()
    rows = []
    for place, index in enumerate(p.winners, start=1):
        got = seen.answers[index]
        against = [
            words
            for n in (p.x,)
            if not page_frame.is_open()
            and math.isfinite(now[n])
            and math.isfinite(got[n])
            and (words := looks.change_words(n, got[n], now[n])) != "the same"
        ]
        over = seen.over.get(index, ())
        cells = [_answer(n, got[n], seen.bands.get(index, {}).get(n)).replace(" its weight", "") for n in names]
        beside = ", ".join(against) + map_words.over_beyond(over, shared)
        rows.append([f"{place}", seen.labels[index], *cells, beside])
    table = page_frame.table(headings, rows, caption="What to look for")
    said = f'<p class="wi-small">Each of them is over: {html.escape(map_words.first_of(shared))}.</p>' if shared else ""
    page_frame.say(f'<div class="wi-winners">{table}</div>{said}')
    with st.container(key="choose_winners", horizontal=True):
        for place, index in enumerate(p.winners, start=1):
            if st.button(
                page_frame.button_label(f"Load {place}", seen.labels[index]),
                key=f"choose_load:{index}",
                help=f"Make {page_frame.tame(seen.labels[index][:80])} the build.",
            ):
                load_dot(seen, index)
                st.rerun()
        st.download_button(
            f"All {ranges.many(p.holding)}, as CSV",
            lambda: all_that_hold(seen),
            file_name="combinations.csv",
            mime="text/csv",
            key="choose_all_csv",
            on_click="ignore",
            help=f"All that hold, in SI units; at most {ranges.many(MOST_CSV_ROWS)} rows, evenly taken.",
        )
    edge = f" {html.escape(seen.edge)}" if seen.edge else ""
    page_frame.say(
        f'<p class="wi-small">In brackets: 8 in 10 such craft. Load one and read its margins before you buy.{edge}</p>'
    )
    page_frame.numbers("frontier", lambda: frontier_frame(seen, units), file_name="frontier.csv")


def _answer(name: str, si: float, ends: tuple[float, float] | None = None) -> str:
    text = reads(name, si, page_frame.units())
    if name == PRICE:
        return f"price {text}"
    band = ""
    if ends is not None:
        look = LOOKS[name]
        words = spread(look.kind, ends[0] * look.scale, ends[1] * look.scale, page_frame.units())
        band = f" ({words})" if " to " in words else ""
    return f"{text} its weight{band}" if LOOKS[name].kind == "thrust_to_weight" else f"{text}{band}"


def all_that_hold(seen: MapState) -> bytes:
    """Return the CSV file of all accepted combinations; the sweep is repeated if it is no longer cached."""
    inputs, values, frames, outputs, size, asked, limits = seen.rows
    job = counting.start(inputs, values, frames, outputs, size, None)
    job.wait(120.0)
    if job.answer is None:
        return b"These combinations could not be counted again. Change something on the page and try once more.\n"
    return map_words.csv_of(job.answer.found, asked, frames, MOST_CSV_ROWS, limits=limits)


def frontier_frame(seen: MapState, units: Any) -> pd.DataFrame:
    """Return all dots of the frontier with their labels, for the table and the file."""
    picks = [int(k) for k in seen.picture.frontier]
    columns: dict[str, Any] = {"look for": [parts.escape_cell(seen.labels[k]) for k in picks]}
    for name in seen.answers[picks[0]] if picks else ():
        unit = looks.unit_of(name, units)
        heading = f"{LOOKS[name].words} [{unit}]" if unit else LOOKS[name].words
        columns[heading] = [float(looks.in_axis_unit(name, seen.answers[k][name], units)) for k in picks]
    return pd.DataFrame(columns)


# ---- 5 spread ---------------------------------------------------------------------------------------------


def spread_block(inputs: Inputs) -> None:
    """Draw the sources of the spread of one result, and the effect of readings."""
    title, pick = st.columns([3, 1.3], vertical_alignment="bottom")
    with title:
        page_frame.section("Why the forecast is a band", "and what would narrow it")
    with pick:
        output = chosen_output(
            "of", "choose_spread", "thrust_to_weight", help_="The answer whose band is looked at.", names=HEADLINES
        )
    found, readings = answers.spread_of(inputs, output)
    if not any(c.log_sd > 0.0 for c in found):
        page_frame.say('<p class="wi-small">This craft has no such answer, so there is no spread to share out.</p>')
        return
    left, right = st.columns(2, gap="large")
    with left:
        page_frame.say('<p class="wi-small">Its share of the spread</p>' + figures.spread_bars(found))
    with right:
        page_frame.say(
            '<p class="wi-small">What one reading takes off the width of the band</p>' + figures.reading_bars(readings)
        )
    page_frame.numbers(
        "spread",
        lambda: pd.DataFrame(
            {"unknown": [c.group for c in found], "share of the spread [%]": [100.0 * c.share for c in found]}
        ),
        file_name="spread.csv",
    )


page(state.usable(), state.pins())
