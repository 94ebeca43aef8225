"""Our small markup as plain text."""

from __future__ import annotations

import html
import re

__all__ = [
    "NO_BREAK",
    "folded",
    "own_name",
]

NO_BREAK = "\u00a0"
"""The serif's narrow space is too narrow to part a number from its unit."""


def plain(markup: str) -> str:
    """The words of a piece of our HTML, for titles and readers without a screen.

    Examples
    --------
    >>> plain('about <b class="n">3.8 min</b>')
    'about 3.8 min'
    """
    return html.unescape(re.sub(r"<[^>]+>", "", markup))


def own_name(markup: str) -> str:
    """A build without a name of its own, written small inside a sentence.

    Examples
    --------
    >>> own_name("<em>Your build</em> lifts. Start <em>Your build</em> here.")
    '<em>Your build</em> lifts. Start <em>your build</em> here.'
    """
    return re.sub(r"(?<!^)(?<!\. )<em>Your build</em>", "<em>your build</em>", markup)


def folded(summary: str, body: str) -> str:
    """A native disclosure: opens in place without the server; empty without a summary. ``body`` is HTML.

    Examples
    --------
    >>> folded("2 fit", "<p>Both.</p>")
    '<details class="fold"><summary>2 fit</summary><p>Both.</p></details>'
    """
    return f'<details class="fold"><summary>{html.escape(summary)}</summary>{body}</details>' if summary else ""
