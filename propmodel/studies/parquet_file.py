"""Output of a sweep to an Apache Parquet file: all builds, or those that meet conditions. Requires pyarrow."""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from propmodel.studies.grid import NAMED, Condition, Grid
from propmodel.studies.keep import Collector, Values, names_of, places_that_meet

__all__ = ["Parquet", "Written"]


@dataclass(frozen=True)
class Written:
    """Result of `Parquet`: the written file.

    Parameters
    ----------
    path : pathlib.Path or None
        None if the sweep was stopped; then no file remains.
    rows : int
        Number of builds in the file. [-]
    """

    path: Path | None
    rows: int


@dataclass(frozen=True)
class Parquet:
    """Write the fields and results of each build to an Apache Parquet file, one row per build.

    The file is written under a temporary name in the same folder and renamed when it is complete. If the sweep is
    stopped or fails, the temporary file is removed. Requires pyarrow.

    Parameters
    ----------
    path : str or path-like
        Path of the file on the calling machine; it must not exist yet.
    conditions : sequence of Condition
        Only builds that meet these conditions are written.

    Raises
    ------
    OSError
        During the sweep, if the file exists or cannot be written.
    ModuleNotFoundError
        During the sweep, if pyarrow is not installed.

    Notes
    -----
    The rows are in the order of the grid. The column "build" is the flat index, fields are in SI units, chemistries and
    blade widths are names. ``pandas.read_parquet(path, columns=[...])`` reads only some columns.

    Examples
    --------
    >>> import tempfile, pathlib, pandas, propmodel
    >>> from propmodel.studies.sweep import sweep
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = pathlib.Path(folder, "cells.parquet")
    ...     found = sweep(propmodel.demo("scree"), {"pack.cells": [4, 6]}, "mass", keep=[Parquet(file)])
    ...     pandas.read_parquet(file)["pack.cells"].tolist()
    [4.0, 6.0]
    """

    path: str | os.PathLike[str]
    conditions: Sequence[Condition] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "conditions", tuple(self.conditions))

    def needs(self) -> list[str]:
        """Return the outputs and margins that the conditions require."""
        return names_of(self.conditions)

    def part(self, start: int, values: Values) -> tuple[NDArray, dict[str, NDArray]]:
        """Reduce one piece."""
        if not self.conditions:
            return start + np.arange(next(iter(values.values())).size), dict(values)
        places = places_that_meet(values, self.conditions)
        return start + places, {k: v[places] for k, v in values.items()}

    def collector(self, grid: Grid, names: tuple[str, ...]) -> Collector:
        """Open the temporary file and return its collector."""
        return _File(Path(self.path), grid, names)


class _File:
    GROUP = 262_144
    """Number of builds in a row group. [-]"""

    def __init__(self, path: Path, grid: Grid, names: tuple[str, ...]) -> None:
        try:
            import pyarrow as pa
            from pyarrow import parquet
        except ModuleNotFoundError as missing:
            raise ModuleNotFoundError(
                "writing builds to a Parquet file needs pyarrow: pip install pyarrow"
            ) from missing
        if path.exists():
            raise FileExistsError(f"{path} exists already: give another name, or move it away")
        self.path, self.grid, self.rows, self.waiting = path, grid, 0, 0
        self.index: list[NDArray] = []
        self.values: list[dict[str, NDArray]] = []
        fields = grid.at(np.zeros(0, np.intp))
        types = {name: pa.from_numpy_dtype(v.dtype) for name, v in fields.items()}
        types |= {name: pa.dictionary(pa.int8(), pa.string()) for name in fields if name in NAMED}
        schema = pa.schema({"build": pa.int64(), **types, **dict.fromkeys(names, pa.float32())})
        self.arrow, self.schema = pa, schema
        self.temporary: Path | None = None
        try:
            temporary = path.with_name(f".{path.name}.{secrets.token_hex(6)}.part")
            self.file = temporary.open("xb")
            self.temporary = temporary
            # dictionary encoding pays for fields, whose values repeat, but not for results
            self.writer = parquet.ParquetWriter(
                self.file, schema, use_dictionary=list(fields), compression="zstd", compression_level=1
            )
        except OSError as wrong:
            self.close()
            raise self._refused(wrong) from wrong

    def _refused(self, wrong: OSError) -> OSError:
        said = os.strerror(wrong.errno) if wrong.errno else str(wrong)
        return type(wrong)(
            wrong.errno, f"{self.path} could not be written after {self.rows:,} builds ({said}): nothing was left there"
        )

    def add(self, piece: tuple[int, int], part: Any) -> None:
        index, values = part
        self.index.append(index)
        self.values.append(values)
        self.waiting += index.size
        if self.waiting >= self.GROUP:
            self._write()

    def _write(self) -> None:
        if not self.waiting:
            return
        index = np.concatenate(self.index)
        columns: dict[str, Any] = {"build": index, **self.grid.at(index)}
        for path, (_, words) in NAMED.items():
            if path in columns:
                numbers = self.arrow.array(columns[path].astype(np.int8))
                columns[path] = self.arrow.DictionaryArray.from_arrays(numbers, self.arrow.array(words))
        for name in self.values[0]:
            columns[name] = np.concatenate([v[name] for v in self.values])
        self.index, self.values, self.waiting = [], [], 0
        try:
            self.writer.write_table(self.arrow.table(columns, schema=self.schema))
        except OSError as wrong:
            raise self._refused(wrong) from wrong
        self.rows += index.size

    def result(self, complete: bool) -> Written:
        if not complete:
            return Written(None, 0)
        assert self.temporary is not None
        try:
            self._write()
            self.writer.close()
            self.file.flush()
            os.fsync(self.file.fileno())
            self.file.close()
            if self.path.exists():
                raise FileExistsError(17, "a file of this name has come meanwhile")
            os.replace(self.temporary, self.path)
        except OSError as wrong:
            raise self._refused(wrong) from wrong
        self.temporary = None
        return Written(self.path, self.rows)

    def close(self) -> None:
        if self.temporary is None:
            return
        with contextlib.suppress(Exception):  # a file that cannot be completed is removed below
            self.writer.close()
        with contextlib.suppress(OSError, AttributeError):
            self.file.close()
        with contextlib.suppress(OSError):
            self.temporary.unlink()
        self.temporary = None
