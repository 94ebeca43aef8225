"""The project's own HTML fragments: to plain text, and small changes."""

from __future__ import annotations

import html
import re

__all__ = [
    "NO_BREAK",
    "folded",
    "own_name",
]

NO_BREAK = "\u00a0"
"""No-break space. The narrow space of the serif font is too narrow between a number and its unit."""


def plain(markup: str) -> str:
    """Return the text of an HTML fragment, for titles and for screen readers.

    Examples
    --------
    >>> plain('about <b class="n">3.8 min</b>')
    'about 3.8 min'
    """
    return html.unescape(re.sub(r"<[^>]+>", "", markup))


def own_name(markup: str) -> str:
    """Write the default name "Your build" in lower case inside a sentence.

    Examples
    --------
    >>> own_name("<em>Your build</em> lifts. Start <em>Your build</em> here.")
    '<em>Your build</em> lifts. Start <em>your build</em> here.'
    """
    return re.sub(r"(?<!^)(?<!\. )<em>Your build</em>", "<em>your build</em>", markup)


def folded(summary: str, body: str) -> str:
    """Return a ``<details>`` element, which opens without the server; "" without a summary. ``body`` is HTML.

    Examples
    --------
    >>> folded("2 fit", "<p>Both.</p>")
    '<details class="fold"><summary>2 fit</summary><p>Both.</p></details>'
    """
    return f'<details class="fold"><summary>{html.escape(summary)}</summary>{body}</details>' if summary else ""
