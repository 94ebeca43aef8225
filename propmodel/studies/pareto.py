"""Pareto frontier: the points that no other point dominates."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

__all__ = ["frontier"]


def frontier(values: Sequence[NDArray], maximise: Sequence[bool]) -> NDArray[np.intp]:
    """Return the indices of the points that no other point dominates.

    A point dominates another if it is at least as good in every objective and better in one.

    Parameters
    ----------
    values : sequence of ndarray
        Two or more objectives, each of shape (n,). Points with a NaN are left out.
    maximise : sequence of bool
        One per objective; False minimises.

    Returns
    -------
    ndarray of int
        Ordered by the first objective, best first. Of equal points the first is kept.

    Raises
    ------
    ValueError
        If there are fewer than two objectives or their lengths differ.

    Notes
    -----
    Exact. Two objectives: one sort and a running minimum, O(N log N). Three or more: the points are sorted by the sum
    of their ranks and tested in blocks against the frontier so far, O(N F) for a frontier of F points.

    Examples
    --------
    >>> frontier([np.array([1.0, 2.0, 3.0, 2.0]), np.array([3.0, 2.0, 1.0, 1.0])], [True, True]).tolist()
    [2, 1, 0]
    """
    if len(values) < 2 or len(values) != len(maximise):
        raise ValueError("a frontier needs two or more objectives, each with its direction")
    columns = [np.asarray(v, dtype=np.float64).ravel() for v in values]
    if len({c.size for c in columns}) != 1:
        raise ValueError("the objectives of a frontier must have the same number of points")
    # from here on every objective is minimised
    cost = np.stack([-c if up else c for c, up in zip(columns, maximise, strict=True)])
    index = np.flatnonzero(~np.isnan(cost).any(axis=0))
    cost = cost[:, index]
    if not index.size:
        return index
    if len(cost) == 2:
        # a sort by the first objective removes most points; only the remaining ones need the exact order
        order = np.argsort(cost[0])
        second = cost[1, order]
        order = order[second <= np.minimum.accumulate(second)]
        order = order[np.lexsort((order, cost[1, order], cost[0, order]))]
        second = cost[1, order]
        best_before = np.concatenate([[np.inf], np.minimum.accumulate(second)[:-1]])
        undominated = second < best_before
        undominated[0] = True  # the best in the first objective, even if its second one is infinite
        return index[order[undominated]]
    return index[_many(cost)]


def _many(cost: NDArray) -> NDArray[np.intp]:
    """Frontier of three or more minimised objectives, shape (k, n)."""
    ranks = np.stack([np.unique(c, return_inverse=True)[1] for c in cost])
    order = np.lexsort((*ranks[::-1], ranks.sum(axis=0)))
    # a dominating point has a smaller rank sum and comes earlier, so no point leaves the frontier again
    undominated = np.empty((len(cost), 0), dtype=ranks.dtype)
    found: list[NDArray[np.intp]] = []
    for start in range(0, order.size, 1024):
        block = order[start : start + 1024]
        r = ranks[:, block]
        alive = ~_dominated(r, undominated)
        r, block = r[:, alive], block[alive]
        # within the block: the same test among the remaining points, in order
        inside = _dominated(r, r)
        equal = np.unique(r, axis=1, return_index=True)[1]
        first = np.zeros(block.size, bool)
        first[equal] = True
        good = ~inside & first
        if undominated.size:
            # an equal point of an earlier block is already on the frontier
            good &= ~_equals(r, undominated)
        undominated = np.concatenate([undominated, r[:, good]], axis=1)
        found.append(block[good])
    out = np.concatenate(found)
    return out[np.argsort(cost[0, out], kind="stable")]


def _dominated(points: NDArray, by: NDArray) -> NDArray[np.bool_]:
    """True for the points that at least one of ``by`` dominates."""
    out = np.zeros(points.shape[1], bool)
    for start in range(0, by.shape[1], 2048):
        part = by[:, start : start + 2048]
        less = np.ones((part.shape[1], points.shape[1]), bool)
        strictly = np.zeros_like(less)
        for k in range(points.shape[0]):
            less &= part[k][:, None] <= points[k][None, :]
            strictly |= part[k][:, None] < points[k][None, :]
        out |= (less & strictly).any(axis=0)
    return out


def _equals(points: NDArray, others: NDArray) -> NDArray[np.bool_]:
    out = np.zeros(points.shape[1], bool)
    for start in range(0, others.shape[1], 2048):
        part = others[:, start : start + 2048]
        same = np.ones((part.shape[1], points.shape[1]), bool)
        for k in range(points.shape[0]):
            same &= part[k][:, None] == points[k][None, :]
        out |= same.any(axis=0)
    return out
