"""Sweep: headline outputs and limit margins over all combinations of fields or tables of parts.

The grid is divided into pieces along its flat index. Each piece is one array call of the engine, so the memory is
bounded. Other processes or machines may compute pieces (`propmodel.studies.executors`); the results are the same. A
sweep returns the results of all builds, or only a reduction of them (`propmodel.studies.keep`), then of a grid of any
size.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import Build
from propmodel.base.checks import check_in, check_number, check_positive
from propmodel.studies import executors, pareto
from propmodel.studies import keep as keeping
from propmodel.studies.executors import process_pool
from propmodel.studies.grid import Condition, Grid, Question, answers, grid_of, margin_names, names_of, passes
from propmodel.studies.keep import Counts, Frontier, Keep, Meets
from propmodel.studies.parquet_file import Parquet

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "LARGEST",
    "Condition",
    "Counts",
    "Frontier",
    "Kept",
    "Meets",
    "Parquet",
    "Sweep",
    "Verdict",
    "margin_names",
    "process_pool",
    "sweep",
]

CHUNK = 32768
"""Number of builds in a piece, chosen so that its arrays fit in the processor cache. [-]"""
SHARED_FROM = 300_000
"""Number of builds from which worker processes save more than their start of half a second. [-]"""
MOST_PROCESSES = 4
"""Largest default number of processes. [-]"""
LARGEST = 20_000_000
"""Largest number of builds of which all results are returned; more would not fit in memory. [-]"""
MOST_BUILDS = 2**62
"""Largest grid: a flat index of more builds does not fit in 64 bits. [-]"""


class Verdict(NamedTuple):
    """Effect of one condition on a sweep."""

    condition: Condition
    """The condition."""
    rejected: float
    """Share of all builds that fail this condition. [-]"""
    rejected_by_this_alone: float
    """Share of all builds that fail this condition and no other. [-]"""
    nearest: float
    """Limit of this condition at which the first build would meet all conditions; NaN if none would. [SI]"""


@dataclass(frozen=True)
class Sweep(Grid):
    """Results of all builds of a grid.

    Parameters
    ----------
    axes : dict of str to ndarray
        Values along each axis, in order [SI]; for the axis of a table, its row numbers.
    tables : dict of str to dict
        Columns of each table.
    values : dict of ndarray
        Name -> results, float32, one array axis per axis of the grid. [SI]
    complete : bool
        False if the sweep was stopped; builds that were not reached are NaN.
    """

    values: dict[str, NDArray]
    complete: bool = True

    def __getitem__(self, name: str) -> NDArray:
        return self.values[check_in("output", name, self.values)]

    def to_frame(self, index: ArrayLike | None = None) -> pd.DataFrame:
        """Return the fields and results as a table, one row per build.

        Parameters
        ----------
        index : array_like of int or None
            Flat indices; None means all builds.

        Returns
        -------
        pandas.DataFrame
            SI units; chemistries and blade widths by name.
        """
        rows = np.arange(self.size) if index is None else np.asarray(index)
        return self.frame_of(rows, {k: v.reshape(-1)[rows] for k, v in self.values.items()})

    def meets(self, conditions: Sequence[Condition]) -> NDArray[np.bool_]:
        """Return True for the builds that meet all of the conditions.

        Parameters
        ----------
        conditions : sequence of Condition
            The conditions.

        Returns
        -------
        ndarray of bool, shape (builds,)
            In the order of the flat index. A NaN margin (rating not given) passes; a NaN output fails.
        """
        good = np.ones(self.size, bool)
        for condition in conditions:
            good &= self._passes(condition)
        return good

    def _passes(self, c: Condition) -> NDArray[np.bool_]:
        return passes(c, self[c.name].reshape(-1))

    def verdicts(self, conditions: Sequence[Condition]) -> list[Verdict]:
        """Return the effect of each condition.

        Parameters
        ----------
        conditions : sequence of Condition
            The conditions.

        Returns
        -------
        list of Verdict
            One per condition, the one that rejects most builds first.
        """
        passed = [self._passes(c) for c in conditions]
        failures = np.sum([~p for p in passed], axis=0) if passed else np.zeros(self.size, int)
        out = []
        for c, p in zip(conditions, passed, strict=True):
            others = failures - ~p == 0
            value = self[c.name].reshape(-1)[others]
            value = value[~np.isnan(value)]
            nearest = float("nan")
            if value.size:
                nearest = float(value.max() if c.kind == "at least" else value.min())
            out.append(Verdict(c, float(np.mean(~p)), float(np.mean(~p & others)), nearest))
        return sorted(out, key=lambda v: -v.rejected)

    def pareto(
        self, objectives: Mapping[str, Literal["max", "min"]], *, conditions: Sequence[Condition] = ()
    ) -> NDArray[np.intp]:
        """Return the Pareto frontier: the builds that no other build dominates.

        Parameters
        ----------
        objectives : mapping
            Output name -> "max" or "min", two or more.
        conditions : sequence of Condition
            Only builds that meet these conditions are considered.

        Returns
        -------
        ndarray of int
            Flat indices, ordered by the first objective, best first.

        Raises
        ------
        ValueError
            For unknown outputs or directions, or fewer than two objectives.
        """
        for direction in objectives.values():
            check_in("direction", direction, ("max", "min"))
        columns = [self[name].reshape(-1) for name in objectives]
        up = [direction == "max" for direction in objectives.values()]
        if not conditions:
            return pareto.frontier(columns, up)
        among = np.flatnonzero(self.meets(conditions))
        return among[pareto.frontier([c[among] for c in columns], up)]


@dataclass(frozen=True)
class Kept(Grid):
    """Reduced results of a sweep with ``keep``.

    Parameters
    ----------
    axes, tables : dict
        As in `Sweep`.
    results : tuple
        One result per reduction, in the order of ``keep``.
    reached : int
        Number of builds that were evaluated, counted from the first of the grid. [-]
    complete : bool
        False if the sweep was stopped.
    """

    results: tuple[Any, ...]
    reached: int
    complete: bool = True

    def to_frame(self, result: keeping.Builds) -> pd.DataFrame:
        """Return the fields and results of the builds in one of ``results``, one row per build.

        Parameters
        ----------
        result : Builds
            A result of `Meets` or `Frontier`.

        Returns
        -------
        pandas.DataFrame
            SI units; chemistries and blade widths by name.
        """
        return self.frame_of(result.index, result.values)


@overload
def sweep(
    build: Build,
    axes: Mapping[str, ArrayLike],
    outputs: Sequence[str] | str | None = None,
    *,
    tables: Mapping[str, Mapping[str, ArrayLike]] | None = None,
    hold: float = 10.0,
    keep: None = None,
    progress: Callable[[int, int], bool | None] | None = None,
    processes: int | None = None,
    executor: Executor | None = None,
) -> Sweep: ...


@overload
def sweep(
    build: Build,
    axes: Mapping[str, ArrayLike],
    outputs: Sequence[str] | str | None = None,
    *,
    tables: Mapping[str, Mapping[str, ArrayLike]] | None = None,
    hold: float = 10.0,
    keep: Sequence[Keep] | Keep,
    progress: Callable[[int, int], bool | None] | None = None,
    processes: int | None = None,
    executor: Executor | None = None,
) -> Kept: ...


def sweep(
    build: Build,
    axes: Mapping[str, ArrayLike],
    outputs: Sequence[str] | str | None = None,
    *,
    tables: Mapping[str, Mapping[str, ArrayLike]] | None = None,
    hold: float = 10.0,
    keep: Sequence[Keep] | Keep | None = None,
    progress: Callable[[int, int], bool | None] | None = None,
    processes: int | None = None,
    executor: Executor | None = None,
) -> Sweep | Kept:
    """Evaluate all combinations of field values.

    Parameters
    ----------
    build : Build
        A single build (no arrays) with the values of all other fields.
    axes : mapping
        Dotted field ("motor.kv", "pack.cells", "pack.chemistry", ...) -> values. [SI]
    outputs : sequence of str or None
        Names in `propmodel.assess.performance.OUTPUTS` or of `margin_names`; None means all outputs and all
        margins.
    tables : mapping or None
        Name of a table -> its columns (dotted field -> values of equal length). Each table of parts is one axis.
    hold : float
        Duration of full throttle, for the margins. [s]
    keep : Meets, Frontier, Counts, Parquet, a sequence of them, or None
        Reductions applied to each piece, so that the memory does not grow with the grid. None returns all results.
    progress : callable or None
        Called with (done, total) builds after each piece, from the calling thread. The return value False stops the
        sweep.
    processes : int or None
        Number of processes of this machine, this one included: 1 to 61, at most one per piece. None means one per core,
        at most `MOST_PROCESSES`, for `SHARED_FROM` builds or more, else only this one. If a worker process ends
        unexpectedly, the others continue. Workers wait some seconds for another sweep before they end.
    executor : concurrent.futures.Executor or None
        Executor that computes all pieces instead, such as a `process_pool` used for several sweeps, or the executor of
        a cluster.

    Returns
    -------
    Sweep, or Kept if ``keep`` is given
        The results do not depend on the number of processes or machines.

    Raises
    ------
    ValueError
        For unknown fields or outputs, empty axes, columns of unequal length, a wrong number of processes, or more than
        `LARGEST` builds without ``keep``.
    OtherModelError
        If a worker runs a propmodel with another source.
    RuntimeError
        If the executor fails before the sweep is complete.
    OSError
        If a `Parquet` file cannot be written.

    Examples
    --------
    >>> import propmodel
    >>> scree = propmodel.demo("scree")
    >>> axes = {"motor.kv": [1750, 1950], "pack.cells": [4, 5, 6]}
    >>> found = sweep(scree, axes, ["hover_time"])
    >>> found.values["hover_time"].shape
    (2, 3)

    Only the frontier, and how many builds hover for five minutes, of a grid of any size:

    >>> long = Condition("hover_time", "at least", 300.0)
    >>> found = sweep(scree, axes, ["mass"], keep=[Frontier({"hover_time": "max", "mass": "min"}), Meets([long])])
    >>> frontier, meets = found.results
    >>> meets.count
    6
    """
    grid = grid_of(build, axes, tables)
    names = names_of(outputs)
    if not (isinstance(hold, float) and hold == np.inf):
        check_positive("hold", check_number("hold", hold, "s"), "s")
    collectors: list[keeping.Collector] = []
    if keep is None:
        if grid.size > LARGEST:
            raise ValueError(
                f"{grid.size:,} combinations are more than {LARGEST:,}: take fewer or coarser ranges "
                f"({' x '.join(str(n) for n in grid.shape)}), or say what to keep of them"
            )
    else:
        if isinstance(keep, Keep):
            keep = [keep]
        if grid.size > MOST_BUILDS:
            raise ValueError(f"{grid.size:,} combinations have no flat index: take fewer or coarser ranges")
        for kind in keep if isinstance(keep, Iterable) else [keep]:
            if not isinstance(kind, Keep):
                raise ValueError(f"keep takes Meets, Frontier, Counts and Parquet, got {type(kind).__name__}")
        names = list(dict.fromkeys([*names, *names_of([n for kind in keep for n in kind.needs()])])) or ["mass"]
    if executor is not None and not isinstance(executor, Executor):
        raise ValueError(f"executor must be a concurrent.futures.Executor, got {type(executor).__name__}")
    if executor is not None and processes is not None:
        raise ValueError("give processes or an executor, not both")
    chunk = grid.piece_size(CHUNK)
    chunks = -(-grid.size // chunk)
    if processes is not None:
        partners = min(executors.check_processes(processes), chunks) - 1
    else:
        # a process that is itself a worker starts no further workers by default
        share = grid.size >= SHARED_FROM and multiprocessing.parent_process() is None
        partners = min(executors.cores(), MOST_PROCESSES, chunks) - 1 if share else 0
    executors.hold_memory()
    asked = Question(build, grid, tuple(names), hold)
    size, reached = grid.size, 0

    def pieces() -> Iterator[tuple[int, int]]:
        return ((start, min(start + chunk, size)) for start in range(0, size, chunk))

    def progress_of_rows(done: int) -> bool | None:
        return None if progress is None else progress(min(done * chunk, size), size)

    if keep is None:
        found = np.empty((len(names), size), dtype=np.float32)
        missing = np.ones(chunks, bool)

        def take_all(piece: tuple[int, int], values: NDArray[np.float32]) -> None:
            found[:, slice(*piece)] = values
            missing[piece[0] // chunk] = False

        complete = executors.walk(
            answers,
            asked,
            pieces(),
            on_result=take_all,
            progress=progress_of_rows,
            executor=executor,
            partners=partners,
            ordered=False,
        )
        for k in np.flatnonzero(missing):
            found[:, k * chunk : (k + 1) * chunk] = np.nan
        values = {name: row.reshape(grid.shape) for name, row in zip(names, found, strict=True)}
        return Sweep(grid.axes, grid.tables, values, complete)

    def on_result(piece: tuple[int, int], parts: list[Any]) -> None:
        nonlocal reached
        for collector, part in zip(collectors, parts, strict=True):
            collector.add(piece, part)
        reached = piece[1]

    complete = False
    try:
        for kind in keep:
            collectors.append(kind.collector(grid, tuple(names)))
        complete = executors.walk(
            _parts,
            (asked, tuple(keep)),
            pieces(),
            on_result=on_result,
            progress=progress_of_rows,
            executor=executor,
            partners=partners,
        )
        return Kept(grid.axes, grid.tables, tuple(c.result(complete) for c in collectors), reached, complete)
    finally:
        for collector in collectors:
            collector.close()


def _parts(setup: tuple[Question, tuple[Keep, ...]], piece: tuple[int, int]) -> list[Any]:
    """Evaluate and reduce one piece in the worker, so that only the reduced result is sent back."""
    asked, keep = setup
    values = dict(zip(asked.names, answers(asked, piece), strict=True))
    return [kind.part(piece[0], values) for kind in keep]
