"""Map data of a sweep: accepted combinations, reasons of rejection, counts, frontier, winners.

Pure functions. A million combinations are reduced to 80 x 60 counts and at most 60 dots.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from explorer.app_pages.choose.looks import HEADLINES, LOOKS, USUAL, fault_words
from explorer.text.numbers import QUANTITIES
from propmodel.assess.margins import FITS, SHARES, is_usual
from propmodel.assess.performance import OUTPUTS
from propmodel.studies.sweep import Condition, Sweep, Verdict

__all__ = [
    "Picture",
    "judged",
    "picture",
]

COLUMNS, ROWS = 80, 60
DOTS = 60
WINNERS = 5
ALIKE = 0.03
"""Largest relative difference of both results from the winner's for which another KV counts as equal. [-]"""
assert set(HEADLINES) <= set(OUTPUTS)


# ---- the picture ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Picture:
    """Data of the map of a sweep.

    Parameters
    ----------
    x, y : str
        Results on the axes.
    x_edges, y_edges : ndarray
        Edges of the bins. [SI units]
    every, held : ndarray of int
        Counts of all combinations and of the accepted ones. Shape (ROWS, COLUMNS).
    size, holding : int
        Number of all combinations, and of the accepted ones.
    verdicts : list of Verdict
        The one that rejects most first.
    falls : list of (words, share of all combinations)
        Reasons in words; all ratings for fewer cells are combined into one reason.
    frontier : ndarray of int
        Flat indices of dots along the frontier, at most `DOTS`.
    frontier_size : int
        Number of combinations on the frontier.
    frontier_x, frontier_y : ndarray
        Positions of the dots. [SI units]
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


def judged(found: Sweep, limits: str) -> Sweep:
    """Return the sweep with adjusted shares: for "as usual", an excess that is usual is replaced by a share of 1.

    Parameters
    ----------
    found : Sweep
        With the shares used; for "as usual" with thrust to weight too.
    limits : str
        One of `explorer.app_pages.choose.looks.LIMIT_WISHES`.

    Returns
    -------
    Sweep
        The same, or a copy with other shares; never changed in place.
    """
    if limits != USUAL:
        return found
    thrust_to_weight = found["thrust_to_weight"]
    eased = {
        key: np.where(is_usual(share.usual, found[key], thrust_to_weight), np.minimum(found[key], 1.0), found[key])
        for key, share in SHARES.items()
        if share.usual is not None and key in found.values
    }
    return replace(found, values={**found.values, **eased})


def picture(
    found: Sweep,
    asked: Sequence[Condition],
    *,
    x: str = "hover_time",
    y: str = "thrust_to_weight",
    also: Sequence[tuple[float, float]] = (),
) -> Picture:
    """Return the map data of a sweep.

    Parameters
    ----------
    found : Sweep
        All combinations.
    asked : sequence of Condition
        All must be true.
    x, y : str
        Results on the axes.
    also : sequence of (x, y)
        Points that must be inside the map: this build and the pinned builds. [SI units]

    Returns
    -------
    Picture
        Counts, frontier and winners.
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
    """Return reasons in words with their shares, the one that rejects most first."""
    reasons = [
        (fault_words(v.condition), v.rejected) for v in verdicts if v.condition.name not in _RATED and v.rejected > 0.0
    ]
    rated = [c for c in asked if c.name in _RATED]
    if rated:
        share = 1.0 - float(np.mean(found.meets(rated)))
        if share > 0.0:
            reasons.append(("more cells than a part is rated for", share))
    return sorted(reasons, key=lambda f: -f[1])


def _edges(values: NDArray, good: NDArray, also: NDArray, count: int) -> NDArray:
    """Return the bin edges, which include all accepted values and this build, and the others without outliers."""
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
    """Return counts in equal bins, shape (ROWS, COLUMNS), lowest row first; values outside are omitted."""
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
    """Return the indices of at most ``most`` points, evenly spaced along a line, with both ends."""
    if xs.size <= most:
        return np.arange(xs.size)
    scaled = [(v - v.min()) / max(float(np.ptp(v)), 1e-12) for v in (xs.astype(float), ys.astype(float))]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(scaled[0]), np.diff(scaled[1])))])
    wanted = np.linspace(0.0, along[-1], most)
    picks = np.unique(np.clip(np.searchsorted(along, wanted - 1e-9), 0, xs.size - 1))
    if picks.size >= most:
        picks[0], picks[-1] = 0, xs.size - 1  # with coincident dots an end can be missing
        return picks
    return np.unique(np.concatenate([picks, [0, xs.size - 1]]))


def alike_kv(found: Sweep, index: int, good: NDArray, x: str, y: str) -> tuple[float, float] | None:
    """Return the range of KV of combinations that are accepted and nearly equal to a winner, other fields unchanged.

    Parameters
    ----------
    found : Sweep
        All combinations.
    index : int
        Flat index of the winner.
    good : ndarray of bool
        Whether each combination is accepted, by flat index.
    x, y : str
        Results on the axes.

    Returns
    -------
    (float, float) or None
        Lowest and highest KV; None if KV is not an axis. [rpm/V]
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


assert {look.kind for look in LOOKS.values()} <= set(QUANTITIES)
