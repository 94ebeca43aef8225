"""Text on the map: accepted combinations, reasons of rejection, winners at the end of a range; CSV file. Pure."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from explorer.app_pages.choose.looks import LOOKS, reads
from explorer.app_pages.choose.picture import Picture, judged
from explorer.app_pages.choose.ranges import RANGES, many
from explorer.forecasts.mixed_flight import MIXED_TIME
from explorer.text.numbers import NARROW, Units
from propmodel.assess.margins import FITS, SHARES
from propmodel.assess.performance import OUTPUTS
from propmodel.parts.csv_table import escape_cell
from propmodel.studies.sweep import Condition, Sweep, Verdict

__all__ = [
    "csv_of",
    "edge_words",
    "first_of",
    "holds_words",
    "over_beyond",
]


def holds_words(displayed_map: Picture, units: Units) -> str:
    """Return the number of accepted combinations and the reasons of rejection, in one or two sentences.

    Parameters
    ----------
    displayed_map : Picture
        The map.
    units : Units
        Units selected by the user.

    Returns
    -------
    str
        Plain text.
    """
    p = displayed_map
    if not p.verdicts:
        possible = p.holding / p.size if p.size else 0.0
        return f"Nothing is asked of them; {_share(possible)} can hover at all."
    if p.holding == 0:
        return nothing_words(p.verdicts, units)
    if not p.falls:
        return f"All {many(p.size)} hold."
    reasons = ", ".join(f"{_share(share)} fail on {words}" for words, share in p.falls[:3])
    return f"{many(p.holding)} of {many(p.size)} hold ({_share(p.holding / p.size)}). Of all, {reasons}."


def _share(part: float) -> str:
    percent = 100.0 * part
    if 0.0 < percent < 1.0:
        return f"under 1{NARROW}%"
    if 99.0 < percent < 100.0:
        return f"over 99{NARROW}%"
    return f"{percent:.0f}{NARROW}%"


def nothing_words(verdicts: Sequence[Verdict], units: Units) -> str:
    """Return the condition that rejects most, and the value at which a combination would be accepted."""
    first = verdicts[0]
    start = f"Nothing holds. {_asked(first.condition, units)} rejects {_share(first.rejected)}"
    # the smallest relative change, of the conditions whose change alone would accept a combination
    ready = [v for v in verdicts if math.isfinite(v.nearest)]
    if not ready:
        return f"{start}; relax two conditions, or widen the ranges."
    if math.isfinite(first.nearest):
        return f"{start}; at {_bound(first.condition, first.nearest, units)} one would."
    way = min(ready, key=lambda v: abs(v.nearest / v.condition.value - 1.0) if v.condition.value else math.inf)
    gives = _bound(way.condition, way.nearest, units)
    return f"{start}. {_asked(way.condition, units)} is nearest: at {gives} one would hold."


def _asked(condition: Condition, units: Units) -> str:
    if condition.name in FITS:
        return f"Fitting the {FITS[condition.name].name}"
    if condition.name in SHARES:
        name = SHARES[condition.name].name
        return f"{name[:1].upper()}{name[1:]}"
    words = LOOKS[condition.name].words
    side = "above" if condition.kind == "at least" else "below"
    return f"{words[:1].upper()}{words[1:]} {side} {reads(condition.name, condition.value, units)}"


def _bound(condition: Condition, nearest: float, units: Units) -> str:
    if condition.name in FITS:
        return "a part that does not fit"
    if condition.name in SHARES:
        return f"{100.0 * nearest:.0f}{NARROW}% of its allowance"
    return reads(condition.name, nearest, units)


def edge_words(found: Sweep, seen: Picture) -> str:
    """Return a note if most winners are at an end of a range, so that values outside it may be better.

    Parameters
    ----------
    found : Sweep
        All combinations.
    seen : Picture
        Its winners.

    Returns
    -------
    str
        Plain text; "" if there is none.
    """
    if len(seen.winners) < 2:
        return ""
    phrases = []
    at = np.stack(np.unravel_index(np.array(seen.winners), found.shape))
    for place, (name, values) in zip(at, found.axes.items(), strict=True):
        if name in found.tables or name not in _BY_PATH or len(values) < 3:
            continue
        spec = _BY_PATH[name]
        fewest = "fewest" if spec.name in ("blades", "cells") else "least"
        for end, words in ((0, fewest), (len(values) - 1, "most")):
            if np.mean(place == end) > 0.6:
                phrases.append(f"the {words} {spec.words if spec.words == 'KV' else spec.words.lower()}")
    if not phrases:
        return ""
    return f"Most sit at an end of your ranges: {', '.join(phrases)}. Wider may hold better."


_BY_PATH = {r.path: r for r in RANGES.values()}


def csv_of(
    found: Sweep, asked: Sequence[Condition], frames: Mapping[str, pd.DataFrame], most: int, *, limits: str = "all"
) -> bytes:
    """Return the accepted combinations as a CSV file: fields and results in SI units, with units in the headings.

    Parameters
    ----------
    found : Sweep
        All combinations.
    asked : sequence of Condition
        All must be true.
    frames : mapping
        Part tables by kind, for the names of their parts.
    most : int
        Largest number of rows; a larger number is thinned out evenly.
    limits : str
        Selection of limits, as for `explorer.app_pages.choose.picture.judged`.

    Returns
    -------
    bytes
        Text of the file.
    """
    rows = np.flatnonzero(judged(found, limits).meets(asked))
    rows = rows[:: max(1, -(-rows.size // most))]
    table = found.to_frame(rows)
    for name in FITS:
        if name in table:
            table = table.drop(columns=name)
    headings = (
        {k: f"{k} [{OUTPUTS[k].unit}]" for k in OUTPUTS}
        | {MIXED_TIME: f"{MIXED_TIME} [s]"}
        | {k: f"{k} [share used]" for k in SHARES}
    )
    table = table.rename(columns=headings)
    places = dict(zip(found.axes, np.unravel_index(rows, found.shape), strict=True))
    for kind, frame in frames.items():
        if kind in places:
            names = np.array([escape_cell(str(n)) for n in frame["name"]])
            table.insert(0, kind, names[places[kind]])
    return table.to_csv(index=False, float_format="%.6g").encode()


def over_beyond(over: Sequence[str], shared: Sequence[str]) -> str:
    """Return what a row goes over beyond what all rows go over, which is said once below the table."""
    rest = [name for name in over if name not in shared]
    if not rest:
        return ""
    return f"; over: {len(rest)} more" if shared else f"; over: {first_of(rest)}"


def first_of(names: Sequence[str]) -> str:
    """Return the first name, and how many more there are."""
    return names[0] + (f" and {len(names) - 1} more" if len(names) > 1 else "")
