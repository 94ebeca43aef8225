"""The picture of a sweep: what holds, what rules the others out, the counts of the map, the frontier, the winners.

Pure. A million combinations become 80 x 60 counts and at most 60 dots; nothing larger ever leaves here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from explorer.app_pages.choose.plan import PRICE, RANGES, many
from explorer.forecasts.mixed_flight import WAY
from explorer.text.numbers import NARROW, QUANTITIES, Units, quantity_of, value
from propmodel.assess.margins import FITS, SHARES
from propmodel.assess.performance import OUTPUTS
from propmodel.parts.csv_table import escape_cell
from propmodel.studies.sweep import Condition, Sweep, Verdict

__all__ = [
    "ASKED",
    "HEADLINES",
    "LOOKS",
    "Look",
    "Picture",
    "asked_outputs",
    "change_words",
    "conditions",
    "csv_of",
    "edge_words",
    "holds_words",
    "picture",
    "reads",
]

COLUMNS, ROWS = 80, 60
DOTS = 60
WINNERS = 8
ALIKE = 0.03
"""Another KV does as well when both answers stay within this share of the winner's. [-]"""


@dataclass(frozen=True)
class Look:
    """How one answer is named, written, and which way is better.

    Parameters
    ----------
    words : str
        As a choice and on an axis.
    kind : str
        Key of `explorer.text.numbers.QUANTITIES`.
    better : "max" or "min"
    more, less : str
        Words for a rise and a fall.
    verdict : str
        "falls to ..." in words.
    scale : float
        To the SI unit of the kind.
    """

    words: str
    kind: str
    better: Literal["max", "min"]
    more: str
    less: str
    verdict: str
    scale: float = 1.0


LOOKS: dict[str, Look] = {
    "hover_time": Look("minutes hanging still", "minutes", "max", "longer", "shorter", "the minutes"),
    WAY: Look("minutes flown your way", "minutes", "max", "longer", "shorter", "the minutes flown your way"),
    "thrust_to_weight": Look("pull over weight", "pull_to_weight", "max", "harder", "softer", "the pull"),
    "thrust_to_weight_at_reserve": Look(
        "pull over weight, reserve left", "pull_to_weight", "max", "harder at the end", "softer at the end",
        "the pull at the end",
    ),
    "mass": Look("take-off mass", "mass", "min", "heavier", "lighter", "the mass"),
    "top_speed": Look("top level speed", "road_speed", "max", "faster", "slower", "the top speed"),
    "thrust_per_power": Look(
        "grams lifted per watt", "grams_per_watt", "max", "thriftier", "thirstier", "the grams per watt", 9.80665
    ),
    "hover_throttle": Look("hover command", "percent", "min", "higher hover", "lower hover", "the hover command"),
    "hover_power": Look("watts hanging still", "power", "min", "thirstier", "thriftier", "the watts"),
    "full_throttle_current": Look(
        "pack current flat out", "current", "min", "more amps", "fewer amps", "the pack current"
    ),
    "full_throttle_motor_current": Look(
        "current in each motor flat out", "current", "min", "more amps", "fewer amps", "the motor current"
    ),
    "pull_out_height": Look(
        "height a 40 m dive costs to pull out", "distance", "min", "lower pull-out", "higher pull-out", "the dive"
    ),
    "induced_velocity": Look("wash speed in the hover", "speed", "min", "harder wash", "softer wash", "the wash"),
    PRICE: Look("price of the listed parts", "money", "min", "dearer", "cheaper", "the price"),
}  # fmt: skip
"""Answers one can choose by: those of `propmodel.performance.OUTPUTS`, the reader's own way of flying, the price."""

ASKED = tuple(k for k in LOOKS if k != PRICE)
HEADLINES = tuple(k for k in ASKED if k != WAY)
"""Those that the engine solves for and draws the spread of."""
assert set(HEADLINES) <= set(OUTPUTS)


def reads(name: str, si: float, units: Units, *, unit: bool = True) -> str:
    """Write one answer.

    Examples
    --------
    >>> reads("thrust_to_weight", 5.23, Units())
    '5.2\u202ftimes'
    """
    look = LOOKS[name]
    return value(look.kind, si * look.scale, units, unit=unit)


def shown(name: str, si: NDArray | float, units: Units) -> NDArray:
    """Answers in the unit of the axis."""
    look = LOOKS[name]
    quantity = quantity_of(look.kind, units)
    return np.asarray(si, dtype=np.float64) * look.scale / quantity.scale + quantity.offset


def unshown(name: str, typed: float, units: Units) -> float:
    """A typed bound back in SI: the inverse of `shown`."""
    look = LOOKS[name]
    quantity = quantity_of(look.kind, units)
    return (typed - quantity.offset) * quantity.scale / look.scale


def unit_of(name: str, units: Units) -> str:
    """Unit on an axis or beside a bound."""
    unit = quantity_of(LOOKS[name].kind, units).unit
    return "times" if unit == "times" else unit


def change_words(name: str, after: float, before: float) -> str:
    """How an answer differs, in whole per cent and a word.

    Examples
    --------
    >>> change_words("hover_time", 330.0, 300.0)
    '10\u202f% longer'
    """
    if not (math.isfinite(after) and math.isfinite(before)) or before == 0:
        return "no longer possible" if math.isfinite(before) else "possible again"
    share = after / before - 1.0
    if abs(share) < 0.005:
        return "the same"
    look = LOOKS[name]
    percent = abs(share) * 100.0
    text = f"{percent:.0f}" if percent >= 0.95 else f"{percent:.1f}"
    return f"{text}{NARROW}% {look.more if share > 0 else look.less}"


def bound_si(name: str, typed: float) -> float:
    """A typed bound of the fixed conditions in SI: minutes, times, grams, price."""
    return typed * {"hover_time": 60.0, "mass": 1e-3}.get(name, 1.0)


# ---- conditions -------------------------------------------------------------------------------------------

LIMIT_WISHES = ("nothing", "what fits", "every limit")


def conditions(
    bounds: Sequence[tuple[str, Literal["at least", "at most"], float | None]], limits: str
) -> list[Condition]:
    """What must hold.

    Parameters
    ----------
    bounds : sequence of (output, kind, SI value or None)
        None is not asked.
    limits : str
        One of "nothing", "what fits" (cells, voltages, frame) and "every limit".

    Returns
    -------
    list of Condition
    """
    found = [Condition(name, kind, float(v)) for name, kind, v in bounds if v is not None]
    names = {"nothing": (), "what fits": tuple(FITS), "every limit": (*FITS, *SHARES)}[limits]
    return found + [Condition(name, "at most", 1.0) for name in names]


def asked_outputs(x: str, y: str, bounds: Sequence[str], limits: str) -> tuple[str, ...]:
    """Answers a sweep must bring for this picture, in a fixed order so that equal questions are equal."""
    names = {x, y, *bounds, "hover_time", "thrust_to_weight", "mass"} - {PRICE}
    fits = {"nothing": (), "what fits": tuple(FITS), "every limit": (*FITS, *SHARES)}[limits]
    return (*(k for k in (*OUTPUTS, WAY) if k in names), *fits)


def fault_words(condition: Condition) -> str:
    """What a combination falls to."""
    if condition.name in FITS:
        return FITS[condition.name].name
    if condition.name in SHARES:
        return SHARES[condition.name].name
    return LOOKS[condition.name].verdict


# ---- the picture ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Picture:
    """All that is drawn of a sweep.

    Parameters
    ----------
    x, y : str
        Outputs on the axes.
    x_edges, y_edges : ndarray
        Of the counts, SI.
    every, held : ndarray of int
        Counts of all combinations and of those that hold. Shape (ROWS, COLUMNS).
    size, holding : int
        How many combinations, and how many hold.
    verdicts : list of Verdict
        The deadliest first.
    falls : list of (words, share of all combinations)
        The same for reading: parts rated for too few cells are one reason.
    frontier : ndarray of int
        Flat indices, at most `DOTS`, along the frontier.
    frontier_size : int
        How many there are on it.
    frontier_x, frontier_y : ndarray
        SI.
    winners : list of int
        Flat indices of the rows of the table.
    """

    x: str
    y: str
    x_edges: NDArray
    y_edges: NDArray
    every: NDArray
    held: NDArray
    size: int
    holding: int
    verdicts: list[Verdict]
    falls: list[tuple[str, float]]
    frontier: NDArray
    frontier_size: int
    frontier_x: NDArray
    frontier_y: NDArray
    winners: list[int]


def picture(
    found: Sweep,
    asked: Sequence[Condition],
    *,
    x: str = "hover_time",
    y: str = "thrust_to_weight",
    also: Sequence[tuple[float, float]] = (),
) -> Picture:
    """Aggregate a sweep.

    Parameters
    ----------
    found : Sweep
    asked : sequence of Condition
    x, y : str
        Outputs on the axes.
    also : sequence of (x, y)
        Points that must lie within the map: this build and the pinned one. [SI]

    Returns
    -------
    Picture
    """
    xs, ys = found[x].reshape(-1), found[y].reshape(-1)
    good = found.meets(asked)
    good &= np.isfinite(xs) & np.isfinite(ys)
    holding = int(np.count_nonzero(good))
    line = found.pareto({x: LOOKS[x].better, y: LOOKS[y].better}, conditions=asked) if holding else np.array([], int)
    edges = [
        _edges(values, good, np.array([p[k] for p in also]), n)
        for k, (values, n) in enumerate(((xs, COLUMNS), (ys, ROWS)))
    ]
    every = _counts(xs, ys, edges, None)
    held = _counts(xs, ys, edges, good)
    verdicts = found.verdicts(asked) if asked else []
    order = line[np.argsort(xs[line], kind="stable")]
    dots = order[_spread(xs[order], ys[order], DOTS)]
    return Picture(
        x=x, y=y, x_edges=edges[0], y_edges=edges[1], every=every, held=held, size=found.size, holding=holding,
        verdicts=verdicts, falls=_falls(found, asked, verdicts), frontier=dots, frontier_size=len(line),
        frontier_x=xs[dots].astype(float), frontier_y=ys[dots].astype(float),
        winners=[int(k) for k in order[_spread(xs[order], ys[order], WINNERS)]],
    )  # fmt: skip


_RATED = tuple(k for k in FITS if k.endswith(("_cells", "_voltage")))


def _falls(found: Sweep, asked: Sequence[Condition], verdicts: Sequence[Verdict]) -> list[tuple[str, float]]:
    """Reasons in words with their shares, the deadliest first."""
    told = [(fault_words(v.condition), v.kills) for v in verdicts if v.condition.name not in _RATED and v.kills > 0.0]
    rated = [c for c in asked if c.name in _RATED]
    if rated:
        share = 1.0 - float(np.mean(found.meets(rated)))
        if share > 0.0:
            told.append(("more cells than a part is rated for", share))
    return sorted(told, key=lambda f: -f[1])


def _edges(values: NDArray, good: NDArray, also: NDArray, count: int) -> NDArray:
    """Edges of the bins: what holds and this build wholly, of the rest all but stray ends."""
    finite = values[np.isfinite(values)]
    held = values[good]
    ends = [float(v) for v in also if math.isfinite(v)]
    if finite.size:
        sample = finite[:: max(1, finite.size // 100_000)]
        ends += [float(v) for v in np.quantile(sample, (0.002, 0.998))]
    if held.size:
        ends += [float(held.min()), float(held.max())]
    low, high = (min(ends), max(ends)) if ends else (0.0, 1.0)
    if not high > low:
        high, low = low + 0.5 * abs(low) + 1e-6, low - 0.5 * abs(low)
    room = 0.03 * (high - low)
    return np.linspace(max(low - room, 0.0) if low >= 0.0 else low - room, high + room, count + 1)


def _counts(xs: NDArray, ys: NDArray, edges: list[NDArray], keep: NDArray | None) -> NDArray:
    """Counts in even bins, row by row from below; what lies outside is left out."""
    if keep is not None:
        xs, ys = xs[keep], ys[keep]
    places = []
    inside = np.ones(xs.shape, bool)
    for values, e in ((xs, edges[0]), (ys, edges[1])):
        with np.errstate(invalid="ignore"):
            scaled = (values - e[0]) * ((len(e) - 1) / (e[-1] - e[0]))
            inside &= (scaled >= 0.0) & (scaled < len(e) - 1)  # NaN is outside
        places.append(scaled)
    column, row = (p[inside].astype(np.int32) for p in places)
    flat = np.bincount(row * COLUMNS + column, minlength=ROWS * COLUMNS)
    return flat.reshape(ROWS, COLUMNS)


def _spread(xs: NDArray, ys: NDArray, most: int) -> NDArray:
    """Pick at most so many points along a line, evenly by its length, both ends kept."""
    if xs.size <= most:
        return np.arange(xs.size)
    scaled = [(v - v.min()) / max(float(np.ptp(v)), 1e-12) for v in (xs.astype(float), ys.astype(float))]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(scaled[0]), np.diff(scaled[1])))])
    wanted = np.linspace(0.0, along[-1], most)
    picks = np.unique(np.clip(np.searchsorted(along, wanted - 1e-9), 0, xs.size - 1))
    if picks.size >= most:
        picks[0], picks[-1] = 0, xs.size - 1  # dots that coincide can hide the end
        return picks
    return np.unique(np.concatenate([picks, [0, xs.size - 1]]))


def alike_kv(found: Sweep, index: int, good: NDArray, x: str, y: str) -> tuple[float, float] | None:
    """KV around a winner, all else equal, that hold too and whose answers stay near the winner's.

    Parameters
    ----------
    found : Sweep
    index : int
        Flat.
    good : ndarray of bool
        Which combinations hold, flat.
    x, y : str

    Returns
    -------
    (float, float) or None
        None where KV is not on an axis. [rpm/V]
    """
    if "motor.kv" not in found.axes:
        return None
    axis = list(found.axes).index("motor.kv")
    place = list(np.unravel_index(index, found.shape))
    own = int(place[axis])
    line: list = list(place)
    line[axis] = slice(None)
    fine = good.reshape(found.shape)[tuple(line)].copy()
    for name in (x, y):
        values = found[name][tuple(line)].astype(float)
        fine &= np.abs(values / values[own] - 1.0) <= ALIKE
    low = high = own
    while low > 0 and fine[low - 1]:
        low -= 1
    while high < fine.size - 1 and fine[high + 1]:
        high += 1
    kv = found.axes["motor.kv"]
    return float(kv[low]), float(kv[high])


def holds_words(shown_picture: Picture, units: Units) -> str:
    """How many hold and what the others fall to, in one or two sentences.

    Parameters
    ----------
    shown_picture : Picture
    units : Units

    Returns
    -------
    str
        Plain text.
    """
    p = shown_picture
    if not p.verdicts:
        possible = p.holding / p.size if p.size else 0.0
        return f"Nothing is asked of them; {_share(possible)} can hover at all."
    if p.holding == 0:
        return nothing_words(p.verdicts, units)
    if not p.falls:
        return f"All {many(p.size)} hold."
    told = ", ".join(f"{_share(share)} fall to {words}" for words, share in p.falls[:3])
    return f"{many(p.holding)} of {many(p.size)} hold ({_share(p.holding / p.size)}). Of all, {told}."


def _share(part: float) -> str:
    percent = 100.0 * part
    if 0.0 < percent < 1.0:
        return f"under 1{NARROW}%"
    if 99.0 < percent < 100.0:
        return f"over 99{NARROW}%"
    return f"{percent:.0f}{NARROW}%"


def nothing_words(verdicts: Sequence[Verdict], units: Units) -> str:
    """Say which condition kills most, and by how much it would have to give way."""
    first = verdicts[0]
    start = f"Nothing holds. {_asked(first.condition, units)} kills {_share(first.kills)}"
    # the condition that gives way most cheaply, of those after which something would hold
    ready = [v for v in verdicts if math.isfinite(v.nearest)]
    if not ready:
        return f"{start}; no single condition would do by giving way: ease two of them, or widen the ranges."
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
    """Say where the winners crowd at an end of a range: there more may be had outside it.

    Parameters
    ----------
    found : Sweep
    seen : Picture

    Returns
    -------
    str
        Plain text; empty where they do not.
    """
    if len(seen.winners) < 2:
        return ""
    told = []
    at = np.stack(np.unravel_index(np.array(seen.winners), found.shape))
    for place, (name, values) in zip(at, found.axes.items(), strict=True):
        if name in found.tables or name not in _BY_PATH or len(values) < 3:
            continue
        spec = _BY_PATH[name]
        fewest = "fewest" if spec.name in ("blades", "cells") else "least"
        for end, words in ((0, fewest), (len(values) - 1, "most")):
            if np.mean(place == end) > 0.6:
                told.append(f"the {words} {spec.words if spec.words == 'KV' else spec.words.lower()}")
    if not told:
        return ""
    return f"Most of these sit at an end of your ranges: {', '.join(told)}. A wider range may hold better."


_BY_PATH = {r.path: r for r in RANGES.values()}


def nice_ticks(low: float, high: float, most: int = 6) -> tuple[float, float, float]:
    """Ends and step of an axis, whole steps of 1, 2 or 5.

    Examples
    --------
    >>> nice_ticks(2.9, 11.2)
    (2.0, 12.0, 2.0)
    """
    span = max(high - low, 1e-9)
    power = math.floor(math.log10(span)) - 1
    for step in (s * 10.0**p for p in range(power, power + 4) for s in (1.0, 2.0, 5.0)):
        first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
        if last - first <= most:
            return float(f"{first * step:.6g}"), float(f"{last * step:.6g}"), float(f"{step:.6g}")
    raise AssertionError("a step of ten times the span always fits")  # pragma: no cover


assert {look.kind for look in LOOKS.values()} <= set(QUANTITIES)


def csv_of(found: Sweep, asked: Sequence[Condition], frames: Mapping[str, pd.DataFrame], most: int) -> bytes:
    """Combinations that hold as a CSV file: fields and answers in SI, units in the headings.

    Parameters
    ----------
    found : Sweep
    asked : sequence of Condition
    frames : mapping
        Part tables by kind: their parts are named.
    most : int
        Rows; more are thinned out evenly.

    Returns
    -------
    bytes
    """
    rows = np.flatnonzero(found.meets(asked))
    rows = rows[:: max(1, -(-rows.size // most))]
    table = found.to_frame(rows)
    for name in FITS:
        if name in table:
            table = table.drop(columns=name)
    headings = (
        {k: f"{k} [{OUTPUTS[k].unit}]" for k in OUTPUTS}
        | {WAY: f"{WAY} [s]"}
        | {k: f"{k} [share used]" for k in SHARES}
    )
    table = table.rename(columns=headings)
    places = dict(zip(found.axes, np.unravel_index(rows, found.shape), strict=True))
    for kind, frame in frames.items():
        if kind in places:
            names = np.array([escape_cell(str(n)) for n in frame["name"]])
            table.insert(0, kind, names[places[kind]])
    return table.to_csv(index=False, float_format="%.6g").encode()
