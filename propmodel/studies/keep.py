"""Reductions of a sweep's results, piece by piece, so that the memory does not grow with the grid.

Each reduction is a frozen description. Its ``part`` reduces one piece in the process that computed it, which may be on
another machine. Its collector joins the parts in the calling process, in the order of the grid, so that the result does
not depend on which process computed which piece.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, Protocol, runtime_checkable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base.checks import as_floats, check_in
from propmodel.studies import pareto
from propmodel.studies.grid import Condition, Grid, passes

__all__ = ["Builds", "Counted", "Counts", "Frontier", "Meets"]

Values = Mapping[str, NDArray]


@dataclass(frozen=True)
class Builds:
    """Selected builds of the grid with their results.

    Parameters
    ----------
    index : ndarray of int, shape (builds,)
        Flat indices.
    values : dict of ndarray
        Name -> results of these builds (float32, SI), for all names requested from the sweep.
    count : int
        Number of builds that were selected; larger than the number listed if `Meets.most` limits the list. [-]
    """

    index: NDArray[np.intp]
    values: dict[str, NDArray]
    count: int


class Collector(Protocol):
    """Joins the reduced pieces of one sweep, in the calling process."""

    def add(self, piece: tuple[int, int], part: Any) -> None:
        """Add the next part; the pieces come in the order of the grid, each once."""

    def result(self, complete: bool) -> Any:
        """Return the joined result; ``complete`` is False if the sweep was stopped."""

    def close(self) -> None:
        """Release resources; called at the end, also after an error."""


@runtime_checkable
class Keep(Protocol):
    """A reduction that a sweep can apply to its results."""

    def needs(self) -> Sequence[str]:
        """Return the outputs and margins that the reduction requires."""

    def part(self, start: int, values: Values) -> Any:
        """Reduce one piece, in the process that computed it; ``start`` is its first flat index."""

    def collector(self, grid: Grid, names: tuple[str, ...]) -> Collector:
        """Return the collector for a sweep of this grid with these outputs and margins."""


def names_of(conditions: Sequence[Condition]) -> list[str]:
    """Return the names of the outputs and margins in the conditions."""
    return [c.name for c in conditions]


def places_that_meet(values: Values, conditions: Sequence[Condition]) -> NDArray[np.intp]:
    """Return the positions within one piece of the builds that meet all conditions."""
    size = next(iter(values.values())).size
    good = np.ones(size, bool)
    for condition in conditions:
        good &= passes(condition, values[condition.name])
    return np.flatnonzero(good)


class _Few:
    """Builds collected so far; the list is reduced again whenever its length has doubled."""

    LEAST = 65_536
    """Number of builds below which the list is not reduced. [-]"""

    def __init__(self, names: tuple[str, ...], thin: Any) -> None:
        self.names, self.thin, self.count = names, thin, 0
        self.parts: list[tuple[NDArray, dict[str, NDArray]]] = []
        self.held, self.after = 0, 0

    def add(self, piece: tuple[int, int], part: Any) -> None:
        index, values, count = part
        self.count += count
        if index.size:
            self.parts.append((index, values))
            self.held += index.size
        if self.held > 2 * max(self.after, self.LEAST):
            self._thin_out(in_order_of_grid=True)

    def _joined(self) -> tuple[NDArray, dict[str, NDArray]]:
        if not self.parts:
            return np.empty(0, np.intp), {name: np.empty(0, np.float32) for name in self.names}
        index = np.concatenate([i for i, _ in self.parts])
        return index, {name: np.concatenate([v[name] for _, v in self.parts]) for name in self.names}

    def _thin_out(self, *, in_order_of_grid: bool) -> tuple[NDArray, dict[str, NDArray]]:
        index, values = self._joined()
        few = self.thin(values)
        if in_order_of_grid:
            few = np.sort(few)  # of equal builds the first in the grid is kept
        index, values = index[few], {name: v[few] for name, v in values.items()}
        self.parts, self.held, self.after = [(index, values)], index.size, index.size
        return index, values

    def close(self) -> None:
        self.parts = []


class _Met(_Few):
    def result(self, complete: bool) -> Builds:
        index, values = self._thin_out(in_order_of_grid=False)
        return Builds(index, values, self.count)


class _Line(_Few):
    def result(self, complete: bool) -> Builds:
        index, values = self._thin_out(in_order_of_grid=False)
        return Builds(index, values, index.size)


@dataclass(frozen=True)
class Meets:
    """Keep the builds that meet all of the conditions.

    Parameters
    ----------
    conditions : sequence of Condition
        A NaN margin (rating not given) passes; a NaN output fails.
    most : int
        Largest number of builds listed; all are counted. [-]
    best : (name, "max" or "min"), or None
        Output by which the listed builds are selected and ordered, best first; builds with NaN are not listed. None
        lists the first builds of the grid, in its order.

    Raises
    ------
    ValueError
        If ``most`` is not a whole number above zero, or the direction is unknown.

    Examples
    --------
    >>> import propmodel
    >>> from propmodel.studies.sweep import Condition, sweep
    >>> long = Meets([Condition("hover_time", "at least", 300.0)], most=2, best=("hover_time", "max"))
    >>> found = sweep(propmodel.demo("scree"), {"pack.capacity_ah": [0.85, 1.3, 1.8, 2.2]}, "mass", keep=[long])
    >>> found.results[0].count, found.results[0].index.tolist()
    (4, [3, 2])
    """

    conditions: Sequence[Condition]
    most: int = 1_000_000
    best: tuple[str, Literal["max", "min"]] | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "conditions", tuple(self.conditions))
        if isinstance(self.most, bool) or not hasattr(self.most, "__index__") or self.most < 1:
            raise ValueError(f"most must be a whole number above zero, got {self.most!r}")
        if self.best is not None:
            check_in("direction", self.best[1], ("max", "min"))

    def needs(self) -> list[str]:
        """Outputs and margins that it looks at."""
        return names_of(self.conditions) + ([] if self.best is None else [self.best[0]])

    def _listed(self, values: Values) -> NDArray[np.intp]:
        """Return the positions of the builds to list, in the order of the list."""
        if self.best is None:
            return np.arange(min(next(iter(values.values())).size, self.most))
        rank = values[self.best[0]]
        order = np.argsort(-rank if self.best[1] == "max" else rank, kind="stable")
        return order[~np.isnan(rank[order])][: self.most]

    def part(self, start: int, values: Values) -> tuple[NDArray, dict[str, NDArray], int]:
        """Reduce one piece."""
        among = places_that_meet(values, self.conditions)
        places = among[np.sort(self._listed({k: v[among] for k, v in values.items()}))]
        return start + places, {k: v[places] for k, v in values.items()}, among.size

    def collector(self, grid: Grid, names: tuple[str, ...]) -> Collector:
        """Begin a sweep."""
        return _Met(names, self._listed)


@dataclass(frozen=True)
class Frontier:
    """Keep the Pareto frontier: the builds that no other build dominates.

    Parameters
    ----------
    objectives : mapping
        Output name -> "max" or "min", two or more. With three or more, the frontier may have thousands of builds.
    conditions : sequence of Condition
        Only builds that meet these conditions are considered.

    Raises
    ------
    ValueError
        For an unknown direction, or fewer than two objectives.

    Examples
    --------
    >>> import propmodel
    >>> from propmodel.studies.sweep import sweep
    >>> light_and_long = Frontier({"hover_time": "max", "mass": "min"})
    >>> found = sweep(propmodel.demo("scree"), {"pack.capacity_ah": [0.85, 1.3, 1.8]}, "mass", keep=[light_and_long])
    >>> found.results[0].index.tolist()
    [2, 1, 0]
    """

    objectives: Mapping[str, Literal["max", "min"]]
    conditions: Sequence[Condition] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "objectives", dict(self.objectives))
        object.__setattr__(self, "conditions", tuple(self.conditions))
        for direction in self.objectives.values():
            check_in("direction", direction, ("max", "min"))
        if len(self.objectives) < 2:
            raise ValueError("a frontier needs two or more objectives, each with its direction")

    def needs(self) -> list[str]:
        """Outputs and margins that it looks at."""
        return [*self.objectives, *names_of(self.conditions)]

    def _best(self, values: Values) -> NDArray[np.intp]:
        columns = [values[name] for name in self.objectives]
        return pareto.frontier(columns, [direction == "max" for direction in self.objectives.values()])

    def part(self, start: int, values: Values) -> tuple[NDArray, dict[str, NDArray], int]:
        """Reduce one piece."""
        among = places_that_meet(values, self.conditions)
        places = among[np.sort(self._best({name: values[name][among] for name in self.objectives}))]
        return start + places, {k: v[places] for k, v in values.items()}, places.size

    def collector(self, grid: Grid, names: tuple[str, ...]) -> Collector:
        """Begin a sweep."""
        return _Line(names, self._best)


@dataclass(frozen=True)
class Counted:
    """Histogram of builds.

    Parameters
    ----------
    counts : ndarray of int
        Number of builds in each bin, one axis per output, as from ``numpy.histogramdd``. [-]
    edges : dict of ndarray
        Output -> edges of its bins. [SI]
    outside : int
        Number of builds that meet the conditions but are in no bin, or have a NaN output. [-]
    """

    counts: NDArray[np.int64]
    edges: dict[str, NDArray]
    outside: int


@dataclass(frozen=True)
class Counts:
    """Count the builds in the bins of one or more outputs (histogram).

    Parameters
    ----------
    edges : mapping
        Output name -> increasing edges of its bins, two or more. One output gives a histogram, two a map. [SI]
    conditions : sequence of Condition
        Only builds that meet these conditions are counted.

    Raises
    ------
    ValueError
        If there is no output, if edges do not increase, or if there are more than 10,000,000 bins.

    Examples
    --------
    >>> import propmodel
    >>> from propmodel.studies.sweep import sweep
    >>> minutes = Counts({"hover_time": [0.0, 300.0, 600.0, 3600.0]})
    >>> found = sweep(propmodel.demo("scree"), {"pack.capacity_ah": [0.85, 1.3, 1.8]}, "mass", keep=[minutes])
    >>> int(found.results[0].counts.sum())
    3
    """

    edges: Mapping[str, ArrayLike]
    conditions: Sequence[Condition] = ()

    def __post_init__(self) -> None:
        clean = {name: np.array(as_floats(f"edges of {name}", e)) for name, e in self.edges.items()}
        object.__setattr__(self, "edges", clean)
        object.__setattr__(self, "conditions", tuple(self.conditions))
        if not clean:
            raise ValueError("counts need the edges of one output or more")
        for name, e in clean.items():
            if e.ndim != 1 or e.size < 2 or not np.all(e[1:] > e[:-1]):
                raise ValueError(f"edges of {name} must be two or more rising numbers")
        if np.prod([e.size - 1.0 for e in clean.values()]) > 1e7:
            raise ValueError("counts have more than 10,000,000 bins: take fewer edges")

    def needs(self) -> list[str]:
        """Outputs and margins that it looks at."""
        return [*self.edges, *names_of(self.conditions)]

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of bins along each output."""
        return tuple(np.size(e) - 1 for e in self.edges.values())

    def part(self, start: int, values: Values) -> tuple[NDArray, NDArray, int]:
        """Reduce one piece to its non-empty bins, their counts, and the number of builds outside."""
        among = places_that_meet(values, self.conditions)
        place, inside = np.zeros(among.size, np.int64), np.ones(among.size, bool)
        for name, e in self.edges.items():
            edges, value = np.asarray(e), values[name][among].astype(np.float64)
            at = np.searchsorted(edges, value, side="right") - 1
            at[value == edges[-1]] = edges.size - 2  # the last bin includes its upper edge, as in numpy
            inside &= (at >= 0) & (at < edges.size - 1)
            place = place * (edges.size - 1) + at
        bins, often = np.unique(place[inside], return_counts=True)
        return bins, often, int(among.size - np.count_nonzero(inside))

    def collector(self, grid: Grid, names: tuple[str, ...]) -> Collector:
        """Begin a sweep."""
        return _Map(self)


class _Map:
    def __init__(self, asked: Counts) -> None:
        self.asked, self.outside = asked, 0
        self.counts = np.zeros(int(np.prod(asked.shape)), np.int64)

    def add(self, piece: tuple[int, int], part: Any) -> None:
        bins, often, outside = part
        self.counts[bins] += often
        self.outside += outside

    def result(self, complete: bool) -> Counted:
        edges = {name: np.array(e) for name, e in self.asked.edges.items()}
        return Counted(self.counts.reshape(self.asked.shape), edges, self.outside)

    def close(self) -> None:
        pass
