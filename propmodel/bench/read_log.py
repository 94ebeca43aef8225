"""Read a thrust-stand or flight log: columns in SI units, dwell points, and quality flags.

Examples
--------
>>> text = "Throttle (%),Voltage (V),Current (A),RPM,Thrust (g)\\n" + "".join(
...     f"{t},{12 - t / 100},{(t / 20) ** 2},{170 * t},{(t / 4.7) ** 2}\\n" for t in range(20, 101, 10))
>>> log = read(text.encode())
>>> log.kind, len(log.points), [guess.unit for guess in log.guesses]
('stand', 9, ['%', 'v', 'a', 'rpm', 'g'])
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from propmodel.base.checks import check_in, check_number, check_range, quoted
from propmodel.bench.calibration import Calibration, calibrate
from propmodel.bench.dwell_points import dwell_points, plateau_table, spikes
from propmodel.bench.flight_log import FlightCalibration, calibrate_flight, flight_doubts
from propmodel.bench.pairs import MeasuredPair, NearPair, measured_pairs, nearest_pairs
from propmodel.bench.quality_flags import cell_doubts, find_doubts
from propmodel.bench.reading.guesses import labels_in
from propmodel.bench.reading.raw_table import read_table
from propmodel.bench.reading.records import BenchFileError, BenchLog, Doubt, Guess, safe_cell
from propmodel.bench.reading.si_columns import tidy
from propmodel.components.air import STANDARD, Air
from propmodel.components.motor import Motor
from propmodel.components.propeller import Propeller

__all__ = [
    "BenchFileError",
    "BenchLog",
    "Calibration",
    "Doubt",
    "FlightCalibration",
    "Guess",
    "MeasuredPair",
    "NearPair",
    "calibrate",
    "calibrate_flight",
    "measured_pairs",
    "nearest_pairs",
    "read",
    "safe_cell",
]


def read(
    path_or_file: Any,
    *,
    columns: Mapping[str, str | int] | None = None,
    units: Mapping[str, str] | None = None,
    poles: int | None = None,
    logger_poles: int = 14,
    kind: str | None = None,
    motor: Any = None,
    propeller: Any = None,
    air: Air = STANDARD,
    progress: Callable[[float], None] | None = None,
) -> BenchLog:
    """Read a thrust-stand or flight log.

    Encoding, delimiter, decimal sign, headings, units, signs and dwell points are inferred. Each inference is listed
    in ``guesses`` or ``notes`` of the result.

    Parameters
    ----------
    path_or_file : path, bytes, or open file
        The log.
    columns : mapping, optional
        Meaning -> heading, or column number from 0, that replaces an inference. Meanings: ``time``, ``throttle``,
        ``voltage``, ``current``, ``power``, ``speed``, ``optical``, ``erpm``, ``thrust``, ``torque``,
        ``shaft_power``, ``charge``, ``motor_output_1`` ...
    units : mapping, optional
        Meaning -> unit that replaces an inference, such as ``{"thrust": "N"}``.
    poles : int, optional
        Number of magnet poles of the motor, if it differs from the setting of the logger. [-]
    logger_poles : int
        Number of poles set in the logger. [-]
    kind : {"stand", "flight"}, optional
        Kind of log; None infers it.
    motor : Motor, optional
        Motor on the stand, for the quality checks. None takes KV and stator from the file's name and text.
    propeller : Propeller, optional
        Propeller on the stand. None takes its size from the file's name, its text or its propeller column.
    air : Air
        Air at the stand.
    progress : callable, optional
        Called with the share of the file that has been read, 0 to 1.

    Returns
    -------
    BenchLog
        The log with its rows, dwell points, inferences and quality flags.

    Raises
    ------
    BenchFileError
        If the file cannot be used; the message is one sentence.
    """
    _check_arguments(columns=columns, units=units, poles=poles, logger_poles=logger_poles, kind=kind)
    for what, given, wanted in (("motor", motor, Motor), ("propeller", propeller, Propeller)):
        if not isinstance(given, wanted | None):
            raise ValueError(f"{what} must be a {wanted.__name__}, got {quoted(given)}")
    table = read_table(path_or_file, columns=columns, progress=progress)
    found = tidy(table, units=dict(units or {}), poles=poles, logger_poles=logger_poles, kind=kind)
    labels = labels_in(table.name, *(f"{key} {value}" for key, value in table.layout.above))
    frame, doubts = found.frame, [*found.doubts, *cell_doubts(table)]
    log = BenchLog(found.kind, frame, pd.DataFrame(), found.guesses, doubts, labels, table.name, found.notes)
    if found.kind == "flight":
        return replace(log, doubts=[*doubts, *flight_doubts(log)])
    _drop_spikes(frame, doubts)
    frame["hold"] = _holds(frame)
    log = replace(log, points=plateau_table(frame))
    return replace(log, doubts=[*doubts, *find_doubts(log, motor=motor, propeller=propeller, air=air)])


def _check_arguments(*, columns: Any, units: Any, poles: Any, logger_poles: Any, kind: Any) -> None:
    """Raise an error with one sentence if an argument that replaces an inference is invalid."""
    for what, given in (("columns", columns), ("units", units)):
        if given is not None and not isinstance(given, Mapping):
            raise ValueError(f"{what} must be a mapping of meanings, got {quoted(given)}")
    for what, number in (("poles", poles), ("logger_poles", logger_poles)):
        if number is not None:
            check_range(what, check_number(what, number), 2, 200)
    if kind is not None:
        check_in("kind", kind, ("stand", "flight"))


def _holds(frame: pd.DataFrame) -> np.ndarray:
    """Number the dwell points; a short table has one row per step."""
    block = frame["block"].to_numpy()
    if "throttle_share" in frame:
        throttle = frame["throttle_share"].to_numpy()
    elif len(frame) > 200 and "speed_rev_per_s" in frame:
        smooth = frame["speed_rev_per_s"].rolling(9, center=True, min_periods=1).median()
        throttle = np.round((smooth / smooth.max()).to_numpy() / 0.025) * 0.025
    else:
        throttle = np.arange(len(frame), dtype=float)
    hold = dwell_points(throttle, block)
    size = np.bincount(hold - hold[0]) if hold.size else np.zeros(1)
    frame.attrs["one_row_a_step"] = len(frame) <= 200 and float(np.median(size[size > 0])) < 3
    return np.arange(len(frame)) if frame.attrs["one_row_a_step"] else hold


def _drop_spikes(frame: pd.DataFrame, doubts: list[Doubt]) -> None:
    """Replace isolated spikes of a dense log by NaN, and add a quality flag that lists them."""
    if len(frame) < 60:
        return
    hit = np.zeros(len(frame), bool)
    for name in ("voltage_v", "current_a", "speed_rev_per_s", "thrust_n", "torque_nm"):
        if name in frame:
            mark = spikes(frame[name].to_numpy())
            frame.loc[mark, name] = np.nan
            hit |= mark
    if hit.any():
        rows = np.flatnonzero(hit)
        lines = tuple(int(n) for n in frame["source_row"].to_numpy()[rows[:1000]])
        text = f"{hit.sum()} single readings far from their neighbours (spikes) were left out of the holds."
        doubts.append(Doubt("spikes", text, tuple(int(r) for r in rows[:1000]), "note", lines))
