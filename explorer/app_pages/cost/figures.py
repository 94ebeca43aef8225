"""Strip of the cost of a session, and texts on its parts. Plain HTML; names must be escaped by the caller."""

from __future__ import annotations

import html
import math
from collections.abc import Mapping, Sequence

from explorer.text.numbers import number
from propmodel.costs.session import PARTS
from propmodel.costs.spares import Spare, chance_in_words

__all__ = ["counts", "money", "spares", "strips"]

NAMES = {"packs": "packs", "propellers": "propellers", "motors": "motors", "controllers": "ESC", "other": "other"}
NARROW_SHARE = 0.11
"""Smallest share of the strip for a label below its piece. [-]"""


def money(value: float) -> str:
    """Return an amount without a currency, with at least two significant digits.

    Examples
    --------
    >>> money(11.4), money(0.234), money(1234.0)
    ('11', '0.23', '1230')
    """
    if not math.isfinite(value):
        return number(value)
    if value == 0.0:
        return "0"
    size = math.floor(math.log10(abs(value)))
    return number(value, 10.0 ** max(size - (1 if size < 2 else 2), -2))


def strips(rows: Sequence[Mapping]) -> str:
    """Return one stacked bar per build, on a common scale; HTML.

    Parameters
    ----------
    rows : sequence of mapping
        ``name``, ``pinned`` (bool), ``parts`` (name -> amount, in order), ``low``, ``high``, ``total``.
    """
    top = max((float(r["high"]) for r in rows if math.isfinite(r["high"])), default=0.0)
    if top <= 0.0:
        return ""
    out = []
    for row in rows:
        pieces, labels, rest, every = [], [], [], []
        for k, (part, amount) in enumerate(row["parts"].items()):
            share = float(amount) / top
            if share <= 0.0:
                continue
            words = f"{NAMES[part]} <em>{money(float(amount))}</em>"
            every.append(words)
            pieces.append(f'<i class="p{k}" style="width:{100 * share:.2f}%" title="{NAMES[part]}"></i>')
            if share >= NARROW_SHARE:
                labels.append(f'<span style="width:{100 * share:.2f}%">{words}</span>')
            else:
                labels.append(f'<span style="width:{100 * share:.2f}%"></span>')
                rest.append(words)
        who = f"<b>{html.escape(row['name'])}</b>{', pinned' if row['pinned'] else ''}: about {money(row['total'])}"
        span = (
            f'<div class="range" aria-hidden="true"><i style="left:{100 * row["low"] / top:.2f}%;'
            f'width:{100 * (row["high"] - row["low"]) / top:.2f}%"></i></div>'
        )
        more = f'<div class="rest">and {", ".join(rest)}</div>' if rest else ""
        out.append(
            f'<div class="{"pinned" if row["pinned"] else "this"}"><div class="who">{who} ({money(row["low"])} to '
            f'{money(row["high"])})</div><div class="strip" aria-hidden="true">{"".join(pieces)}</div>{span}'
            f'<div class="labels">{"".join(labels)}</div>{more}<div class="all">{", ".join(every)}</div></div>'
        )
    return f'<div class="wb-cost">{"".join(out)}</div>'


def _every(per_session: float, one: str) -> str:
    """Return in words how often one is used up.

    Examples
    --------
    >>> _every(1.5, "propeller"), _every(0.2, "pack")
    ('1.5 a session', 'one every 5 sessions')
    """
    if per_session <= 0.0:
        return "none"
    if per_session >= 0.67:
        return f"{number(per_session, 0.1)} a session"
    return f"one every {number(1.0 / per_session, 1.0)} sessions"


_WHY = {
    "packs": "worn by cycles, warmth and age, and dented in crashes",
    "propellers": "crashes a session times propellers in each",
    "motors": "screws, sand, bent bells",
    "controllers": "blocked propellers, wet, shorts",
}


def counts(used: Mapping[str, float]) -> str:
    """Return what a session uses up, without prices."""
    rows = "".join(f"<li><b>{NAMES[p]}</b><span>{_every(float(used[p]), p)}: {_WHY[p]}</span></li>" for p in PARTS)
    return f'<ul class="wb-counts">{rows}</ul>'


def spares(found: Sequence[Spare]) -> list[list[str]]:
    """Return the rows of the table of spares: part, mean loss, number to take, how often that is enough."""
    return [
        [NAMES[s.part], number(s.expected, 0.1 if s.expected >= 0.1 else 0.01), str(s.take), chance_in_words(s.chance)]
        for s in found
    ]
