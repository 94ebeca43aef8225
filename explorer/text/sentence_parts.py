"""Parts of sentences that several pages use: a number, a range, the name of a build. Most are HTML."""

from __future__ import annotations

import html
from collections.abc import Callable, Sequence
from functools import wraps
from typing import Any

from explorer.text.markup import NO_BREAK, own_name
from explorer.text.numbers import NARROW, lowered, prose, spread
from propmodel.assess.limits import Limit, kv_too_high

__all__ = [
    "build_name",
    "dash",
    "ink",
    "misfit_sentence",
    "misfits",
    "pinned_builds",
    "range_words",
    "small_own_name",
    "too_fast",
]


def ink(text: str, *, bad: bool = False) -> str:
    """Return a number in the colour of numbers, or of warnings if ``bad``; HTML."""
    # the narrow space of the serif font is too narrow between a number and its unit
    return f'<b class="n{" bad" if bad else ""}">{html.escape(text.replace(NARROW, NO_BREAK))}</b>'


def build_name(name: str) -> str:
    """Return the name of a build as the subject of a sentence; HTML."""
    return f"<em>{html.escape(name)}</em>" if name else "This craft"


def small_own_name(words: Callable[..., str]) -> Callable[..., str]:
    """Decorator: write "your build" in lower case inside the returned sentence."""

    @wraps(words)
    def tidy(*args: Any, **more: Any) -> str:
        return own_name(words(*args, **more))

    return tidy


def range_words(kind: str, low: float, high: float) -> str:
    """Return the band of a number in small type; "" if both ends have the same text. HTML."""
    text = spread(kind, low, high)
    return f' <span class="r">({text})</span>' if " to " in text else ""


def dash() -> str:
    """Return the dash symbol of a pinned build; HTML."""
    return '<span class="dash"></span>'


def pinned_builds(phrases: Sequence[tuple[str, str]], *, lead: str = "Pinned", end: str = "") -> str:
    """Return one line for several pinned builds, each with its phrase; HTML.

    Examples
    --------
    >>> pinned_builds([("Light", "4 min"), ("Heavy", "3 min")], lead="Pinned, in a hover")
    '<span class="dash"></span>Pinned, in a hover: <em>Light</em>: 4 min; <em>Heavy</em>: 3 min.'
    """
    each = "; ".join(f"<em>{html.escape(name)}</em>: {words}" for name, words in phrases)
    return f"{dash()}{lead}: {each}.{end}"


def misfits(found: Sequence[Limit]) -> list[Limit]:
    """Return the limits of parts that do not fit: cells or voltage above a label, propeller too large for the frame."""
    return [one for one in found if one.kind == "fits" and one.state == "over" and one.key != "mass_threshold"]


def misfit_sentence(found: Sequence[Limit]) -> str:
    """Return a sentence on parts that do not fit, for the start of a page; "" if all fit. HTML."""
    over = misfits(found)
    if not over:
        return ""
    worst, others = over[0], [html.escape(one.part) for one in over[1:]]
    why, fix = (html.escape(prose(words, NARROW)) for words in (lowered(worst.reason), worst.fix))
    named = " and ".join(part for part in (", ".join(others[:-1]), *others[-1:]) if part)
    also = f" Nor {'do' if len(others) > 1 else 'does'} the {named}." if others else ""
    cap = " A throttle cap does not help." if worst.key in ("motor_cells", "controller_cells") else ""
    return (
        f"The {html.escape(worst.part)} {ink('does not fit', bad=True)}: {why}.{also} {fix}{cap} "
        "Put that right before you plug in."
    )


def too_fast(found: Sequence[Limit]) -> str:
    """Return a sentence on a KV too high for the cells, with a space at the end; "" if it is not. HTML."""
    one = kv_too_high(found)
    if one is None:
        return ""
    why = html.escape(prose(lowered(one.reason.split(";")[0]), NARROW))
    return f"The {ink('KV is too high', bad=True)} for these cells: {why}. "
