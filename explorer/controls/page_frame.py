"""Slots, sentences, charts and tables that every page shares; `field_controls` has the controls of the build."""

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
from explorer.text.sentence_parts import misfit_sentence
from propmodel.assess.limits import Limit

__all__ = [
    "button_label",
    "chart",
    "first_sentence",
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

# ---- words ------------------------------------------------------------------------------------------------


@lru_cache(maxsize=8)
def _css(name: str) -> str:
    return (STYLES / f"{name}.css").read_text(encoding="utf-8")


def style(name: str = "style") -> None:
    """Put a style sheet on the page: the frame's as the first thing of every run, a page's own after it."""
    st.html(f"<style>{_css(name)}</style>")


def page_file(page: str) -> str:
    """File of a page, as the server names it: below the folder of `app.py`."""
    return f"app_pages/{page}/page.py"


def say(*bodies: str) -> None:
    """Write our own HTML, one piece below the other; everything typed by somebody must come escaped (`html.escape`)."""
    st.html("".join(f'<div class="wi">{body}</div>' for body in bodies))


def section(title: str, aside: str = "", *bodies: str) -> None:
    """Heading of a part of a page, with a lighter remark, and HTML that stands below it."""
    more = f" <span>{html.escape(aside)}</span>" if aside else ""
    say(f"<h2>{html.escape(title)}{more}</h2>", *bodies)


def notice(*, first_words: str = "") -> None:
    """One slot for what could not be used, or a first visitor's words; there even when empty: nothing jumps."""
    found = state.notices()
    body = "".join(f'<p class="wi-notice" role="status">{html.escape(prose(text))}</p>' for text in found)
    say(body or (f'<p class="wi-first">{first_words}</p>' if first_words else ""))


def parts_first(inputs: Inputs, verdict: str) -> str:
    """A part that does not bear the pack, or the frame its propeller, before whatever else a page has to say."""
    if not headlines.over_label(inputs) - {"mass_threshold_g"}:
        return verdict
    return f"{misfit_sentence(headlines.sorted_limits(inputs))} {verdict}".strip()


def first_sentence(verdict: str) -> str:
    """The sentence a page opens with: its verdict, or, while labels are open, that they are, and no verdict."""
    waiting = typed_labels.opened()
    if not waiting:
        return verdict
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
        f"{'these labels' if count > 1 else 'this label'}."
    )


def waits(inputs: Inputs) -> bool:
    """Whether a page ends here: labels are open, and with the guess in their place nothing flies."""
    if not typed_labels.opened() or math.isfinite(headlines.answers(inputs).mid.hover_throttle):
        return False
    say('<p class="wi-small">Nothing is drawn yet: with the guess in place of the open labels nothing would fly.</p>')
    return True


def without_verdict(found: Sequence[Limit]) -> list[Limit]:
    """Limits with no advice while labels are open: it would be built on a guess."""
    return [replace(one, fix="", fix_note="") for one in found] if typed_labels.opened() else list(found)


def pinned_keys(names: Sequence[str], *, line: bool = True) -> str:
    """What stands for each pinned build in the charts: its stroke, and its mark where there are several; HTML.

    Parameters
    ----------
    names : sequence of str
        The last one pinned first.
    line : bool
        With the stroke; without it the mark always stands.
    """
    out = []
    for place, name in enumerate(names):
        stroke = f'<i class="pin p{place}"></i>' if line else ""
        mark = f'<i class="shape p{place}"></i>' if len(names) > 1 or not line else ""
        out.append(f'<span class="key">{stroke}{mark}{html.escape(name)} (pinned)</span>')
    return "".join(out)


def key_line(pinned_names: Sequence[str], *, limit: bool = False) -> str:
    """One line that says what the strokes of the charts mean."""
    parts = ['<span class="key"><i class="this"></i>this build</span>']
    parts.append(pinned_keys(pinned_names))
    parts.append('<span class="key"><i class="band"></i>8 in 10 such craft</span>')
    if limit:
        parts.append('<span class="key"><i class="beyond"></i>beyond the label</span>')
    return f'<p class="wi-small">{"".join(parts)}</p>'


def units() -> Units:
    """Units the reader chose."""
    return st.session_state.setdefault(keys.UNITS, Units())


# ---- charts, tables, workings -----------------------------------------------------------------------------


def chart(figure: go.Figure, *, key: str, alt: str) -> None:
    """Draw a figure of ours; ``alt`` is what it shows, in a sentence, for those who do not see it."""
    st.plotly_chart(figure, key=key, theme=None, config=PLOT_CONFIG, width="stretch", alt=alt)


def table(headings: Sequence[str], rows: Sequence[Sequence[Any]], *, caption: str = "") -> str:
    """A small table as HTML; all cells are escaped."""
    head = "".join(f'<th scope="col">{html.escape(str(h))}</th>' for h in headings)
    body = "".join("<tr>" + "".join(f"<td>{html.escape(str(cell))}</td>" for cell in row) + "</tr>" for row in rows)
    over = f"<caption>{html.escape(caption)}</caption>" if caption else ""
    # a wide one scrolls sideways: by keyboard only where it can take the focus, and then it needs a name
    name = html.escape(caption or ", ".join(str(h) for h in headings), quote=True)
    return (
        f'<div class="wi-table" role="group" tabindex="0" aria-label="Table: {name}">'
        f"<table>{over}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def button_label(words: str, name: str) -> str:
    """Label of one of several like buttons: the name is there for screen readers, the style sheet hides it.

    Examples
    --------
    >>> button_label("Load", "2306, 1800 KV *; 6S 2000")
    'Load *2306, 1800 KV ; 6S 2000*'
    """
    plain = tame(name)
    return f"{words} *{plain}*" if plain else words


def tame(text: str) -> str:
    """A stranger's text fit for a label, a caption or a help text, which are Markdown: harmless signs only.

    Examples
    --------
    >>> tame("![p](http://evil.example) <b>$x$</b> 2207, 1950 KV")
    'p (http //evil.example) b x /b 2207, 1950 KV'
    """
    return " ".join(re.sub(r"[^\w .,;/()-]|_", " ", text).split())


def numbers(
    key: str, frame: Callable[[], pd.DataFrame], *, file_name: str, every: int = 1, digits: int = 3, words: str = ""
) -> None:
    """Numbers behind a chart: a table and a CSV file, made only when opened.

    Parameters
    ----------
    key : str
    frame : callable
        Gives the table, units in its headings.
    file_name : str
        Of the download.
    every : int
        Show every so many rows; the file has all.
    digits : int
        Significant digits shown; the file has six.
    words : str
        The chart in sentences, above the table.
    """
    with st.expander("Numbers", key=f"numbers_{key}", on_change="rerun") as box:
        if not box.open:
            return
        whole = frame()
        rows = [[_cell(v, digits) for v in row] for row in whole.iloc[::every].itertuples(index=False)]
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


def _cell(value: Any, digits: int) -> str:
    if isinstance(value, float):
        return "" if math.isnan(value) else f"{value:.{digits}g}" if abs(value) < 10**digits else number(value)
    return str(value)


def working(label: str, steps: Callable[[], Sequence[tuple[str, str, str]]], *, key: str) -> None:
    """A word that opens its own working in place.

    Parameters
    ----------
    label : str
    steps : callable
        Gives (what, formula with this build's numbers, source) for each step; called only when opened.
    key : str
    """
    with st.popover(label, type="tertiary", key=f"working_{key}", on_change="rerun") as box:
        if box.open:
            body = "".join(
                f"<dt>{html.escape(what)}</dt><dd><code>{html.escape(thousands(sum_))}</code></dd>"
                f'<dd class="src">{html.escape(source)}</dd>'
                for what, sum_, source in steps()
            )
            # a long one scrolls inside its box: by keyboard only where something in it takes the focus
            say(
                f'<div role="group" tabindex="0" aria-label="{html.escape(label, quote=True)}">'
                f'<dl class="wi-working">{body}</dl></div>'
            )


def next_question(page: str, words: str) -> None:
    """Link to the page of the next question."""
    st.page_link(page_file(page), label=f"{words} →")
