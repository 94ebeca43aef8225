"""Every combination: headline answers and limit margins over an outer grid of any fields, or tables of parts.

The grid is walked in chunks of one flat index, each chunk one call of the same engine, so memory stays bounded; the
chunks of a large one are shared with a second process (`studies.worker_processes`).
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import Build, field_paths, shape_of, with_fields
from propmodel.assess import margins
from propmodel.assess.assessment import Assessment
from propmodel.assess.performance import OUTPUTS, evaluate
from propmodel.base.checks import apart, as_floats, check_finite, check_in
from propmodel.components import battery, propeller
from propmodel.studies import pareto, worker_processes

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["LARGEST", "Condition", "Sweep", "Verdict", "margin_names", "sweep"]

CHUNK = 32768
SHARED_FROM = 300_000
"""Builds from which a second process is worth its start of half a second. [-]"""
MOST_PROCESSES = 4
LARGEST = 20_000_000
"""More builds than this are refused: they would not fit in memory. [-]"""


def margin_names() -> list[str]:
    """Names of all limit margins that a sweep can give.

    Returns
    -------
    list of str
    """
    return [*margins.SHARES, *margins.FITS]


class Condition(NamedTuple):
    """What must hold: an output or margin at least or at most a value."""

    name: str
    """Output or margin."""
    kind: Literal["at least", "at most"]
    """Which side holds."""
    value: float
    """[SI]"""


class Verdict(NamedTuple):
    """What one condition does to a sweep."""

    condition: Condition
    """The condition."""
    kills: float
    """Share of all builds that fail it. [-]"""
    kills_alone: float
    """Share of all builds that fail nothing else. [-]"""
    nearest: float
    """Value of the condition at which one build would meet everything; NaN if none would. [SI]"""


@dataclass(frozen=True)
class Sweep:
    """Answers over an outer grid.

    Parameters
    ----------
    axes : dict
        Values along each axis, in order; an axis made of a table holds row numbers.
    tables : dict
        Columns of each table axis.
    values : dict of ndarray
        float32 arrays of shape (len of each axis, ...).
    complete : bool
        False where it was stopped; builds not reached are NaN.
    """

    axes: dict[str, NDArray]
    tables: dict[str, dict[str, NDArray]]
    values: dict[str, NDArray]
    complete: bool = True

    @property
    def shape(self) -> tuple[int, ...]:
        """Length of each axis."""
        return tuple(len(v) for v in self.axes.values())

    @property
    def size(self) -> int:
        """Number of builds."""
        return int(np.prod(self.shape, dtype=np.int64))

    def __getitem__(self, name: str) -> NDArray:
        return self.values[check_in("output", name, self.values)]

    def at(self, index: ArrayLike) -> dict[str, NDArray]:
        """Field values of builds by flat index.

        Parameters
        ----------
        index : array_like of int
            Flat, C order.

        Returns
        -------
        dict of ndarray
            Dotted field to value.
        """
        places = np.unravel_index(np.asarray(index), self.shape)
        out: dict[str, NDArray] = {}
        for (name, values), place in zip(self.axes.items(), places, strict=True):
            if name in self.tables:
                out |= {field: column[place] for field, column in self.tables[name].items()}
            else:
                out[name] = values[place]
        return out

    def to_frame(self, index: ArrayLike | None = None) -> pd.DataFrame:
        """Fields and answers as a table, one row a build.

        Parameters
        ----------
        index : array_like of int or None
            Flat indices; None takes all builds.

        Returns
        -------
        pandas.DataFrame
            SI units; chemistries and blade widths by name.
        """
        import pandas as pd

        rows = np.arange(self.size) if index is None else np.asarray(index)
        columns = dict(self.at(rows))
        for path, (_, names) in _NAMED.items():
            if path in columns:
                columns[path] = np.array(names)[columns[path]]
        return pd.DataFrame(columns | {k: v.reshape(-1)[rows] for k, v in self.values.items()}, index=rows)

    def meets(self, conditions: Sequence[Condition]) -> NDArray[np.bool_]:
        """Builds that meet every condition, flat.

        Parameters
        ----------
        conditions : sequence of Condition

        Returns
        -------
        ndarray of bool
            A NaN margin (label not told) passes; a NaN output fails.
        """
        good = np.ones(self.size, bool)
        for condition in conditions:
            good &= self._passes(condition)
        return good

    def _passes(self, c: Condition) -> NDArray[np.bool_]:
        value = self[c.name].reshape(-1)
        with np.errstate(invalid="ignore"):
            passed = value >= c.value if c.kind == "at least" else value <= c.value
        return passed | np.isnan(value) if c.name in _MARGINS else passed

    def verdicts(self, conditions: Sequence[Condition]) -> list[Verdict]:
        """What each condition rules out, the deadliest first.

        Parameters
        ----------
        conditions : sequence of Condition

        Returns
        -------
        list of Verdict
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
        return sorted(out, key=lambda v: -v.kills)

    def pareto(
        self, objectives: Mapping[str, Literal["max", "min"]], *, conditions: Sequence[Condition] = ()
    ) -> NDArray[np.intp]:
        """Builds that no other build beats in every objective.

        Parameters
        ----------
        objectives : mapping
            Output name to "max" or "min", two or more.
        conditions : sequence of Condition
            Only builds that meet these take part.

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


_MARGINS = frozenset(margin_names())


_MAY_BE_UNKNOWN = frozenset({"propeller.chord_ratio", "propeller.mass"})
"""Fields where NaN says "not told" row by row; the model then estimates."""


_NAMED: Mapping[str, tuple[Callable[..., NDArray], tuple[str, ...]]] = {
    "pack.chemistry": (battery.chemistry_index, tuple(battery.CHEMISTRIES)),
    "propeller.blade_width": (propeller.blade_width_index, tuple(propeller.BLADE_WIDTHS)),
}
"""Fields of names: how to read them, and the names in order."""


_NOT_NUMBERS = ("coaxial", "name", "propeller.own_fit", "motor.stand_controller")
"""Fields of a build that no axis can run along, beside names."""


def _axes_of(build: Build) -> list[str]:
    return [path for path in field_paths(build) if path not in _NOT_NUMBERS and not path.endswith(".name")]


def _clean_axis(name: str, values: ArrayLike) -> NDArray:
    found = _NAMED[name][0](values) if name in _NAMED else as_floats(name, values)
    array = np.atleast_1d(apart(found))
    if array.ndim != 1:
        raise ValueError(f"axis {name} must be a plain list of values, got {array.ndim} dimensions")
    if array.size == 0:
        raise ValueError(f"axis {name} is empty: give it at least one value")
    if name in _NAMED:
        return array
    if name in _MAY_BE_UNKNOWN:
        check_finite(name, array[~np.isnan(array)])
        return array
    return check_finite(name, array)


def sweep(
    build: Build,
    axes: Mapping[str, ArrayLike],
    outputs: Sequence[str] | str | None = None,
    *,
    tables: Mapping[str, Mapping[str, ArrayLike]] | None = None,
    hold: float = 10.0,
    progress: Callable[[int, int], bool | None] | None = None,
    processes: int | None = None,
) -> Sweep:
    """Evaluate every combination.

    Parameters
    ----------
    build : Build
        Of plain numbers: what the axes do not change.
    axes : mapping
        Dotted field ("motor.kv", "pack.cells", "pack.chemistry", ...) to values. SI units.
    outputs : sequence of str or None
        Names in `propmodel.performance.OUTPUTS` or of `margin_names`; None takes all outputs and all margins.
    tables : mapping or None
        Name of a table to its columns (dotted field to values of equal length): rows of parts, one axis each.
    hold : float
        How long full throttle is held, for the margins. [s]
    progress : callable or None
        Called with (done, total) after each chunk, from the calling thread; answering False stops the sweep.
    processes : int or None
        Processes that share the chunks, this one among them. None takes one a core, at most `MOST_PROCESSES`, from
        `SHARED_FROM` builds on, and this one alone for fewer.

    Returns
    -------
    Sweep

    Raises
    ------
    ValueError
        For unknown fields or outputs, empty axes, columns of unequal length, or more than `LARGEST` builds.

    Examples
    --------
    >>> import propmodel
    >>> found = sweep(propmodel.demo("scree"), {"motor.kv": [1750, 1950], "pack.cells": [4, 5, 6]}, ["hover_time"])
    >>> found.values["hover_time"].shape
    (2, 3)
    """
    if shape_of(build) != ():
        raise ValueError("sweep starts from one build of plain numbers; the axes bring the arrays")
    known = _axes_of(build)
    clean: dict[str, NDArray] = {}
    for name, values in axes.items():
        check_in("axis", name, known)
        clean[name] = _clean_axis(name, values)
    columns: dict[str, dict[str, NDArray]] = {}
    for name, table in (tables or {}).items():
        columns[name] = {check_in("column", f, known): _clean_axis(f, v) for f, v in table.items()}
        lengths = {len(v) for v in columns[name].values()}
        if len(lengths) != 1:
            raise ValueError(f"the columns of table {name!r} have different lengths: {sorted(lengths)}")
        clean[name] = np.arange(lengths.pop())
    taken = [f for f in clean if f not in columns] + [f for t in columns.values() for f in t]
    twice = {f for f in taken if taken.count(f) > 1}
    if twice:
        raise ValueError(f"{', '.join(sorted(twice))} is on more than one axis")
    if isinstance(outputs, str):
        outputs = [outputs]
    names = [*OUTPUTS, *margin_names()] if outputs is None else list(outputs)
    for name in names:
        check_in("output", name, [*OUTPUTS, *_MARGINS])
    shape = tuple(len(v) for v in clean.values())
    size = int(np.prod(np.array(shape, dtype=object))) if shape else 1
    if size > LARGEST:
        raise ValueError(
            f"{size:,} combinations are more than {LARGEST:,}: take fewer or coarser ranges "
            f"({' x '.join(str(n) for n in shape)})"
        )
    found = {name: np.full(size, np.nan, dtype=np.float32) for name in names}
    wanted = [n for n in names if n in OUTPUTS]
    job = _Job(build, clean, columns, shape, tuple(wanted), frozenset(set(names) & _MARGINS), hold)

    def take(piece: tuple[int, int], answers: dict[str, NDArray]) -> None:
        for name, value in answers.items():
            found[name][slice(*piece)] = value

    def told(done: int) -> bool | None:
        return None if progress is None else progress(min(done * CHUNK, size), size)

    if processes is None:
        processes = min(os.cpu_count() or 1, MOST_PROCESSES) if size >= SHARED_FROM else 1
    pieces = [(start, min(start + CHUNK, size)) for start in range(0, size, CHUNK)]
    complete = worker_processes.share(_answers, job, pieces, take=take, partners=processes - 1, told=told)
    return Sweep(clean, columns, {k: v.reshape(shape) for k, v in found.items()}, complete)


class _Job(NamedTuple):
    """What all chunks of a sweep have in common."""

    build: Build
    axes: dict[str, NDArray]
    tables: dict[str, dict[str, NDArray]]
    shape: tuple[int, ...]
    outputs: tuple[str, ...]
    margins: frozenset[str]
    hold: float


def _answers(job: _Job, piece: tuple[int, int]) -> dict[str, NDArray]:
    """One chunk, first and last flat index: answers by name."""
    index = np.arange(*piece)
    places = np.unravel_index(index, job.shape) if job.shape else ()
    changes: dict[str, NDArray] = {}
    for (name, values), place in zip(job.axes.items(), places, strict=True):
        if name in job.tables:
            changes |= {field: column[place] for field, column in job.tables[name].items()}
        else:
            changes[name] = values[place]
    a = Assessment(with_fields(job.build, changes), quick=True)
    found = evaluate(a, list(job.outputs))
    if job.margins:
        found |= {k: v for k, v in margins.evaluate(a, hold=job.hold).items() if k in job.margins}
    return {name: np.broadcast_to(value, index.shape).astype(np.float32) for name, value in found.items()}
