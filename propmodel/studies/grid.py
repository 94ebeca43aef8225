"""Grid of a sweep: axes, tables of parts, conditions, and the results of one piece of the grid.

A build of the grid is identified by its flat index in C order, and a piece by its first index and the one after its
last. Execution is in `propmodel.studies.executors`, reduction of the results in `propmodel.studies.keep`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import Build, field_paths, shape_of, with_fields
from propmodel.assess import margins
from propmodel.assess.assessment import Assessment
from propmodel.assess.performance import OUTPUTS, evaluate
from propmodel.base.checks import apart, as_floats, check_finite, check_in, quoted
from propmodel.components import battery, propeller

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["NAMED", "Condition", "Grid", "Question", "answers", "grid_of", "margin_names", "names_of", "passes"]


def margin_names() -> list[str]:
    """Return the names of all limit margins that a sweep can compute.

    Returns
    -------
    list of str
        Names of `margins.SHARES`, then of `margins.FITS`.
    """
    return [*margins.SHARES, *margins.FITS]


_MARGINS = frozenset(margin_names())

_MAY_BE_UNKNOWN = frozenset({"propeller.chord_ratio", "controller.throttle_exponent", "propeller.mass"})
"""Fields in which NaN means "not given"; the model then estimates the value of that row."""

NAMED: Mapping[str, tuple[Callable[..., NDArray], tuple[str, ...]]] = {
    "pack.chemistry": (battery.chemistry_index, tuple(battery.CHEMISTRIES)),
    "propeller.blade_width": (propeller.blade_width_index, tuple(propeller.BLADE_WIDTHS)),
}
"""Fields with names in place of numbers: the function that parses them, and the names in the order of their codes."""

LEAST_ROW, MOST_ROW = 32, 1024
"""Smallest and largest number of builds in a row of a piece. Shorter rows make the numpy loops inefficient, longer
ones leave too few rows in a piece. [-]"""

_NOT_NUMBERS = ("coaxial", "name", "propeller.own_fit", "motor.stand_controller")
"""Fields of a build that cannot be an axis, because they are not numbers."""


class Condition(NamedTuple):
    """A constraint on a build: an output or margin at least or at most a value."""

    name: str
    """Name of the output or margin."""
    kind: Literal["at least", "at most"]
    """Direction of the constraint."""
    value: float
    """Limit, inclusive. [SI]"""


def passes(condition: Condition, value: NDArray) -> NDArray[np.bool_]:
    """Return True for the builds that meet one condition.

    Parameters
    ----------
    condition : Condition
        The condition.
    value : ndarray
        Values of its output or margin. [SI]

    Returns
    -------
    ndarray of bool
        Same shape as ``value``. A NaN margin (rating not given) passes; a NaN output fails.
    """
    with np.errstate(invalid="ignore"):
        passed = value >= condition.value if condition.kind == "at least" else value <= condition.value
    return passed | np.isnan(value) if condition.name in _MARGINS else passed


@dataclass(frozen=True)
class Grid:
    """All combinations of the values of several axes.

    Parameters
    ----------
    axes : dict of str to ndarray
        Values along each axis, in order [SI]; for the axis of a table, its row numbers.
    tables : dict of str to dict
        Columns of each table.
    """

    axes: dict[str, NDArray]
    tables: dict[str, dict[str, NDArray]]

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of values along each axis."""
        return tuple(len(v) for v in self.axes.values())

    @property
    def size(self) -> int:
        """Number of builds."""
        return int(np.prod(np.array(self.shape, dtype=object))) if self.axes else 1

    def at(self, index: ArrayLike) -> dict[str, NDArray]:
        """Return the field values of builds with given flat indices.

        Parameters
        ----------
        index : array_like of int
            Flat indices, C order.

        Returns
        -------
        dict of ndarray
            Dotted field -> values, shape of ``index``. [SI]
        """
        places = np.unravel_index(np.asarray(index), self.shape) if self.axes else ()
        out: dict[str, NDArray] = {}
        for (name, values), place in zip(self.axes.items(), places, strict=True):
            if name in self.tables:
                out |= {field: column[place] for field, column in self.tables[name].items()}
            else:
                out[name] = values[place]
        return out

    @property
    def row(self) -> tuple[int, int]:
        """Layout of a piece: the number of leading axes that vary between rows, and the number of builds in a row.

        The remaining axes vary within a row. Quantities that depend on only one kind of axis are then computed once for
        a column, or once for a row, of a piece.
        """
        ahead, builds = len(self.axes), 1
        while ahead and builds * self.shape[ahead - 1] <= MOST_ROW:
            ahead -= 1
            builds *= self.shape[ahead]
        return (ahead, builds) if builds >= LEAST_ROW else (len(self.axes), 1)

    def piece_size(self, most: int) -> int:
        """Return the number of builds in a piece: as many whole rows as fit, at least one.

        Parameters
        ----------
        most : int
            Desired largest number of builds. [-]

        Returns
        -------
        int
            Exceeds ``most`` only if a single row does. [-]
        """
        _, builds = self.row
        return max(most // builds, 1) * builds

    def between(self, first: int, last: int) -> dict[str, NDArray]:
        """Return the field values of a piece of the grid.

        Parameters
        ----------
        first, last : int
            Flat index of the first build, and the one after the last.

        Returns
        -------
        dict of ndarray
            Dotted field -> values [SI]. Shape (rows, 1) or (builds in a row,) if the piece consists of whole rows, else
            (builds,).
        """
        ahead, builds = self.row
        if builds == 1 or first % builds or last % builds:
            return self.at(np.arange(first, last))
        axes = list(self.axes.items())
        outer, inner = Grid(dict(axes[:ahead]), self.tables), Grid(dict(axes[ahead:]), self.tables)
        column = {path: v[:, None] for path, v in outer.at(np.arange(first // builds, last // builds)).items()}
        return column | inner.at(np.arange(builds))

    def frame_of(self, index: NDArray, values: Mapping[str, NDArray]) -> pd.DataFrame:
        """Return the fields and results of some builds as a table.

        Parameters
        ----------
        index : ndarray of int, shape (builds,)
            Flat indices.
        values : mapping
            Name -> results of these builds, shape (builds,). [SI]

        Returns
        -------
        pandas.DataFrame
            One row per build, labelled by its flat index. SI units; chemistries and blade widths by name.
        """
        import pandas as pd

        columns = dict(self.at(index))
        for path, (_, names) in NAMED.items():
            if path in columns:
                columns[path] = np.array(names)[columns[path]]
        return pd.DataFrame(columns | dict(values), index=index)


def _clean_axis(name: str, values: ArrayLike) -> NDArray:
    found = NAMED[name][0](values) if name in NAMED else as_floats(name, values)
    array = np.atleast_1d(apart(found))
    if array.ndim != 1:
        raise ValueError(f"axis {name} must be a plain list of values, got {array.ndim} dimensions")
    if array.size == 0:
        raise ValueError(f"axis {name} is empty: give it at least one value")
    if name in NAMED:
        return array
    if name in _MAY_BE_UNKNOWN:
        check_finite(name, array[~np.isnan(array)])
        return array
    return check_finite(name, array)


def grid_of(
    build: Build, axes: Mapping[str, ArrayLike], tables: Mapping[str, Mapping[str, ArrayLike]] | None = None
) -> Grid:
    """Check axes and tables against a build and return their grid.

    Parameters
    ----------
    build : Build
        A single build (no arrays).
    axes, tables : mapping
        As for `propmodel.sweep`.

    Returns
    -------
    Grid
        The grid of all combinations.

    Raises
    ------
    ValueError
        For unknown fields, empty axes, columns of unequal length, or a field on two axes.
    """
    if shape_of(build) != ():
        raise ValueError("sweep starts from one build of plain numbers; the axes bring the arrays")
    known = [path for path in field_paths(build) if path not in _NOT_NUMBERS and not path.endswith(".name")]
    clean: dict[str, NDArray] = {}
    for name, values in axes.items():
        check_in("axis", name, known)
        clean[name] = _clean_axis(name, values)
    columns: dict[str, dict[str, NDArray]] = {}
    if tables is not None and not isinstance(tables, Mapping):
        raise ValueError(f"tables must be a mapping of names to tables, got {quoted(tables)}")
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
    return Grid(clean, columns)


def names_of(outputs: Sequence[str] | str | None) -> list[str]:
    """Check the names of outputs and margins.

    Parameters
    ----------
    outputs : sequence of str, str or None
        Requested names; None means all outputs and all margins.

    Returns
    -------
    list of str
        The names, in the given order and without repetitions.

    Raises
    ------
    ValueError
        For an unknown name.
    """
    if outputs is None:
        return [*OUTPUTS, *margin_names()]
    if not isinstance(outputs, Iterable):
        raise ValueError(f"outputs must be a list of names, got {quoted(outputs)}")
    names = (
        [outputs] if isinstance(outputs, str) else [name if isinstance(name, str) else quoted(name) for name in outputs]
    )
    return [check_in("output", name, [*OUTPUTS, *_MARGINS]) for name in dict.fromkeys(names)]


class Question(NamedTuple):
    """Data common to all pieces of a sweep."""

    build: Build
    """The build whose fields the axes replace."""
    grid: Grid
    """The combinations."""
    names: tuple[str, ...]
    """Requested outputs and margins."""
    hold: float
    """Duration of full throttle, for the margins. [s]"""


def answers(asked: Question, piece: tuple[int, int]) -> NDArray[np.float32]:
    """Compute the outputs and margins of one piece of the grid.

    Parameters
    ----------
    asked : Question
        Build, grid and requested names.
    piece : (int, int)
        First flat index, and the one after the last.

    Returns
    -------
    ndarray of float32, shape (names, builds)
        Results, in the order of ``asked.names``. [SI]
    """
    a = Assessment(with_fields(asked.build, asked.grid.between(*piece)), quick=True)
    found = evaluate(a, [n for n in asked.names if n in OUTPUTS])
    limits = [n for n in asked.names if n in _MARGINS]
    if limits:
        found |= margins.evaluate(a, hold=asked.hold, names=limits)
    out = np.empty((len(asked.names), piece[1] - piece[0]), dtype=np.float32)
    for values, name in zip(out, asked.names, strict=True):
        values.reshape(a.shape)[...] = found[name]
    return out
