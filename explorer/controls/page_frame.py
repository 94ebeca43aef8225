"""Messages, sentences, charts and tables that all pages share; `field_controls` has the input controls."""

from __future__ import annotations

import html
import math
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import pandas as pd
import plotly.graph_objects as go
import streamlit as st

from explorer.figures.base import PLOT_CONFIG
from explorer.forecasts import headlines
from explorer.inputs import (
    Inputs,
    short_text,
)
from explorer.session import keys, state, typed_labels
from explorer.text.numbers import Units, number, prose, thousands
from explorer.text.sentence_parts import misfit_sentence, misfits
from propmodel.assess.limits import Limit

__all__ = [
    "button_label",
    "chart",
    "first_sentence",
    "is_open",
    "key_line",
    "next_question",
    "notice",
    "numbers",
    "page_file",
    "parts_first",
    "pinned_keys",
    "say",
    "section",
    "style",
    "table",
    "tame",
    "units",
    "waits",
    "without_verdict",
    "working",
]

STYLES = Path(__file__).resolve().parent / "styles"

# ---- text -------------------------------------------------------------------------------------------------


@lru_cache(maxsize=8)
def _css(name: str) -> str:
    return (STYLES / f"{name}.css").read_text(encoding="utf-8")


def style(name: str = "style") -> None:
    """Insert a style sheet: that of the frame first in each run, then that of the page."""
    st.html(f"<style>{_css(name)}</style>")


def page_file(page: str) -> str:
    """Return the path of the file of a page, relative to the folder of `app.py`, as the server expects it."""
    return f"app_pages/{page}/page.py"


def say(*bodies: str) -> None:
    """Write HTML made by the program, one piece below the other; user text must be escaped first (`html.escape`)."""
    st.html("".join(f'<div class="wi">{body}</div>' for body in bodies))


def section(title: str, aside: str = "", *bodies: str) -> None:
    """Write the heading of a section, with a lighter remark, and HTML below it."""
    more = f" <span>{html.escape(aside)}</span>" if aside else ""
    say(f"<h2>{html.escape(title)}{more}</h2>", *bodies)


def notice(*, first_words: str = "") -> None:
    """Write one element for messages, else for ``first_words``. It is present when empty, so that nothing moves."""
    found = state.notices()
    body = "".join(f'<p class="wi-notice" role="status">{html.escape(prose(text))}</p>' for text in found)
    say(body or (f'<p class="wi-first">{first_words}</p>' if first_words else ""))


def parts_first(inputs: Inputs, verdict: str) -> str:
    """Put a sentence on parts that do not fit before the verdict; the verdict unchanged if all fit. HTML."""
    if not headlines.over_label(inputs) - {"mass_threshold_g"}:
        return verdict
    return f"{misfit_sentence(headlines.sorted_limits(inputs))} {verdict}".strip()


def first_sentence(verdict: str) -> str:
    """Return the first sentence of a page: the verdict, or, while labels are open, only that they are. HTML."""
    waiting = typed_labels.opened()
    if not waiting:
        return verdict
    told = misfit_sentence([replace(one, fix="") for one in _told_misfits(state.usable())])
    count = len(waiting.labels)
    quoted_labels = [
        f"“{html.escape(short_text(text))}”" if short_text(text) else "a sign" for text in waiting.labels[:3]
    ]
    named = ", ".join(quoted_labels) + (", ..." if count > 3 else "")
    return (
        f'<b class="n bad">{count} label{"s" if count > 1 else ""} open</b>: {named}. '
        f"Answer {'them' if count > 1 else 'it'} in the side panel"
        '<span class="wi-phone"> (behind <b>Edit build</b>)</span>. '
        "Until then there is no verdict: every number below takes a guess in place of "
        f"{'these labels' if count > 1 else 'this label'}." + (f" {told}" if told else "")
    )


def is_open() -> bool:
    """Return whether a label waits for an answer, so that the page gives no verdict."""
    return bool(typed_labels.opened())


def _told_misfits(inputs: Inputs) -> list[Limit]:
    """Return the parts that do not fit by labels that were read, whatever the open ones turn out to be."""
    told = typed_labels.reading().values.keys() - typed_labels.opened().fields
    return [
        one
        for one in misfits(headlines.sorted_limits(inputs))
        if told & set(headlines.FIT_FIELDS[one.key])
        and ("diameter_in" if one.key == "frame_clearance" else "cells") in told
    ]


def waits(inputs: Inputs) -> bool:
    """Return whether the page ends here: labels are open, and the build with guessed values cannot hover."""
    if not typed_labels.opened() or math.isfinite(headlines.answers(inputs).mid.hover_throttle):
        return False
    say('<p class="wi-small">Nothing is drawn yet: with the guess in place of the open labels nothing would fly.</p>')
    return True


def without_verdict(found: Sequence[Limit]) -> list[Limit]:
    """Return the limits; while labels are open without remedies and misfits that would depend on guesses."""
    if not typed_labels.opened():
        return list(found)
    kept = {one.key for one in _told_misfits(state.usable())}
    return [replace(one, fix="", fix_note="") for one in found if one.key in kept or one not in misfits(found)]


def pinned_keys(names: Sequence[str], *, line: bool = True) -> str:
    """Return the line or marker symbol of each pinned build in the charts, with its name; HTML.

    Parameters
    ----------
    names : sequence of str
        Names of the pinned builds, the latest first.
    line : bool
        Whether to include the line, with a marker only if there are several; otherwise always the marker alone.
    """
    out = []
    for place, name in enumerate(names):
        stroke = f'<i class="pin p{place}"></i>' if line else ""
        mark = f'<i class="shape p{place}"></i>' if len(names) > 1 or not line else ""
        out.append(f'<span class="key">{stroke}{mark}{html.escape(name)} (pinned)</span>')
    return "".join(out)


def key_line(pinned_names: Sequence[str], *, limit: str = "") -> str:
    """Return the legend of the line styles in the charts, on one line; ``limit`` names what the hatching is beyond."""
    parts = ['<span class="key"><i class="this"></i>this build</span>']
    parts.append(pinned_keys(pinned_names))
    parts.append('<span class="key"><i class="band"></i>8 in 10 such craft</span>')
    if limit:
        parts.append(f'<span class="key"><i class="beyond"></i>{html.escape(limit)}</span>')
    return f'<p class="wi-small">{"".join(parts)}</p>'


def units() -> Units:
    """Return the units selected by the user."""
    return st.session_state.setdefault(keys.UNITS, Units())


# ---- charts, tables, worked examples ----------------------------------------------------------------------


def chart(figure: go.Figure, *, key: str, alt: str) -> None:
    """Draw a chart; ``alt`` describes it in a sentence for screen readers."""
    st.plotly_chart(figure, key=key, theme=None, config=PLOT_CONFIG, width="stretch", alt=alt)


def table(headings: Sequence[str], rows: Sequence[Sequence[Any]], *, caption: str = "") -> str:
    """Return a small table as HTML; all cells are escaped."""
    head = "".join(f'<th scope="col">{html.escape(str(h))}</th>' for h in headings)
    body = "".join("<tr>" + "".join(f"<td>{html.escape(str(cell))}</td>" for cell in row) + "</tr>" for row in rows)
    over = f"<caption>{html.escape(caption)}</caption>" if caption else ""
    # a wide table scrolls sideways; for the keyboard it must be focusable, and then it needs a name
    name = html.escape(caption or ", ".join(str(h) for h in headings), quote=True)
    return (
        f'<div class="wi-table" role="group" tabindex="0" aria-label="Table: {name}">'
        f"<table>{over}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def button_label(words: str, name: str) -> str:
    """Return the label of one of several similar buttons; the style sheet hides the name, screen readers read it.

    Examples
    --------
    >>> button_label("Load", "2306, 1800 KV *; 6S 2000")
    'Load *2306, 1800 KV ; 6S 2000*'
    """
    plain = tame(name)
    return f"{words} *{plain}*" if plain else words


def tame(text: str) -> str:
    """Return untrusted text for a label, caption or help text (Markdown): only characters without special meaning.

    Examples
    --------
    >>> tame("![p](http://evil.example) <b>$x$</b> 2207, 1950 KV")
    'p (http //evil.example) b x /b 2207, 1950 KV'
    """
    return " ".join(re.sub(r"[^\w .,;/()-]|_", " ", text).split())


def numbers(
    key: str,
    frame: Callable[[], pd.DataFrame],
    *,
    file_name: str,
    every: int = 1,
    digits: int = 3,
    words: str = "",
    title: str = "Numbers",
    more: Callable[[], str] | None = None,
) -> None:
    """Draw the numbers behind a chart: a table and a CSV file, computed only when opened.

    Parameters
    ----------
    key : str
        Key of the element.
    frame : callable
        Returns the table, with units in its headings.
    file_name : str
        Name of the downloaded file.
    every : int
        Show one in this many rows; the file has all rows.
    digits : int
        Significant digits in the table, of the middle value of each column; the file has six.
    words : str
        The chart in sentences, above the table.
    title : str
        Title of the fold.
    more : callable or None
        Returns HTML for below the file.
    """
    with st.expander(title, key=f"numbers_{key}", on_change="rerun") as box:
        if not box.open:
            return
        whole = frame()
        places = [_decimals(whole[name], digits) for name in whole.columns]
        rows = [
            [_cell(v, decimals) for v, decimals in zip(row, places, strict=True)]
            for row in whole.iloc[::every].itertuples(index=False)
        ]
        say((f'<p class="wi-small">{html.escape(words)}</p>' if words else "") + table(list(whole.columns), rows))
        st.download_button(
            "Download as CSV",
            whole.to_csv(index=False, float_format="%.6g").encode(),
            file_name=file_name,
            mime="text/csv",
            key=f"csv_{key}",
            on_click="ignore",
            help="All rows, six digits, units in the headings.",
        )
        if more is not None:
            say(more())


def _decimals(column: pd.Series, digits: int) -> int:
    """Return the decimals of one column: the same in all its rows, so that its numbers stand under each other."""
    if column.dtype.kind != "f":
        return 0
    sizes = column.abs()
    middle = float(sizes[(sizes > 0.0) & (sizes < math.inf)].median())
    return 0 if math.isnan(middle) else min(max(digits - 1 - math.floor(math.log10(middle)), 0), 4)


def _cell(value: Any, decimals: int) -> str:
    if isinstance(value, float):
        return "" if math.isnan(value) else number(value, 10.0**-decimals)
    return str(value)


def working(label: str, steps: Callable[[], Sequence[tuple[str, str, str]]], *, key: str) -> None:
    """Draw a button that opens a worked example.

    Parameters
    ----------
    label : str
        Text of the button.
    steps : callable
        Returns (what, formula with the numbers of this build, source) for each step; called only when opened.
    key : str
        Key of the element.
    """
    with st.popover(label, type="tertiary", key=f"working_{key}", on_change="rerun") as box:
        if box.open:
            body = "".join(
                f"<dt>{html.escape(what)}</dt><dd><code>{html.escape(thousands(sum_))}</code></dd>"
                f'<dd class="src">{html.escape(source)}</dd>'
                for what, sum_, source in steps()
            )
            # a long formula scrolls inside its box; for the keyboard something in it must be focusable
            say(
                f'<div role="group" tabindex="0" aria-label="{html.escape(label, quote=True)}">'
                f'<dl class="wi-working">{body}</dl></div>'
            )


def next_question(page: str, words: str) -> None:
    """Draw a link to the page of the next question."""
    st.page_link(page_file(page), label=f"{words} →")
