"""Dwell points of a stand log: stretches of constant throttle, their median readings, and the sweep direction.

A dwell point is also called a hold, after the column ``hold``.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

__all__ = ["dwell_points", "plateau_table", "spikes"]

HOLD_BAND = 0.012
"""Largest change of the throttle within one hold. [share]"""
RAMP_BIN = 0.05
"""Width of the throttle bins into which a ramp is divided. [share]"""
MEASURED = (
    "throttle_share",
    "voltage_v",
    "current_a",
    "power_w",
    "speed_rev_per_s",
    "thrust_n",
    "torque_nm",
    "shaft_power_w",
)


def dwell_points(throttle: NDArray[np.float64], block: NDArray[np.int64]) -> NDArray[np.int64]:
    """Number the dwell points of a log.

    A new dwell point begins where the throttle steps, where a ramp enters the next bin, and at a new block.

    Parameters
    ----------
    throttle : ndarray, shape (rows,)
        Throttle as a share, 0 to 1; NaN where not recorded. [-]
    block : ndarray, shape (rows,)
        Number of the block; it changes where motor, propeller or pack change. [-]

    Returns
    -------
    ndarray of int, shape (rows,)
        Number of the dwell point of each row, from 0. [-]

    Examples
    --------
    >>> dwell_points(np.array([0.2, 0.2, 0.2, 0.4, 0.4, 0.4, 0.2]), np.zeros(7, int)).tolist()
    [0, 0, 0, 1, 1, 1, 2]
    """
    n = throttle.size
    if n == 0:
        return np.zeros(0, np.int64)
    value = pd.Series(throttle).ffill().bfill().fillna(0.0).to_numpy()
    moved = np.abs(np.diff(value, prepend=value[0])) > HOLD_BAND / 2
    new_block = np.diff(block, prepend=block[0]) != 0
    group = np.cumsum(moved | new_block)
    # a group whose throttle changes slowly is a ramp: divide it into bins
    low = pd.Series(value).groupby(group).transform("min").to_numpy()
    high = pd.Series(value).groupby(group).transform("max").to_numpy()
    creeping = (high - low) > 2 * HOLD_BAND
    size = pd.Series(value).groupby(group).transform("size").to_numpy()
    if n > 200 and np.median(size) < 3:  # most rows step: a fast ramp, divided into bins too
        creeping |= True
    if creeping.any():
        step = np.floor(value / RAMP_BIN + 0.5)
        new_bin = (np.diff(step, prepend=step[0]) != 0) & creeping
        edge = np.diff(creeping.astype(int), prepend=int(creeping[0])) != 0
        changes = np.where(creeping, new_bin | edge | new_block, moved | new_block | edge)
        group = np.cumsum(changes)
    return group.astype(np.int64)


def plateau_table(frame: pd.DataFrame) -> pd.DataFrame:
    """Return one row per hold, in the order of the file: the median of the last half of the hold.

    A hold without any reading is left out.

    Parameters
    ----------
    frame : pandas.DataFrame
        Rows of the log in SI units, with the column ``hold`` from `dwell_points`. At least one row.

    Returns
    -------
    pandas.DataFrame
        The measured columns, the labels, ``rows`` (number of rows of the hold) and ``sweep`` ("up" or "down").
    """
    measured = [name for name in MEASURED if name in frame]
    key = frame["hold"].to_numpy()
    start = np.flatnonzero(np.diff(key, prepend=key[0] - 1))
    size = np.diff(np.append(start, key.size))
    position = np.arange(key.size) - np.repeat(start, size)
    late = position >= np.repeat(size // 2, size)
    values = frame.loc[late, measured]
    table = values.groupby(key[late], sort=False).median()
    table.index = pd.RangeIndex(len(table))
    if frame.attrs.get("one_row_a_step", False):
        table = frame[measured].copy()
        start, size = np.arange(len(frame)), np.ones(len(frame), int)
        table.index = pd.RangeIndex(len(table))
    for name in ("block", "motor", "propeller", "cells", "source_row"):
        if name in frame:
            table[name] = frame[name].to_numpy()[start]
    table["rows"] = size
    readings = [name for name in measured if name != "throttle_share"]
    keep = table[readings].notna().any(axis=1) if readings else pd.Series(True, table.index)
    table = table[keep]
    table = _drop_slivers(table)
    table.index = pd.RangeIndex(len(table))
    table["sweep"] = _sweeps(table)
    return table


def _drop_slivers(table: pd.DataFrame) -> pd.DataFrame:
    """Leave out the very short holds that were recorded while the throttle moved between two long holds."""
    if len(table) < 3 or table["rows"].median() < 6:
        return table
    return table[table["rows"] >= max(2.0, 0.15 * float(table["rows"].median()))]


def _sweeps(table: pd.DataFrame) -> list[str]:
    if "throttle_share" not in table or len(table) < 2:
        return ["up"] * len(table)
    step = np.diff(table["throttle_share"].to_numpy(), prepend=np.nan)
    if len(step) > 1:
        step[0] = step[1]
    new = np.diff(table["block"].to_numpy(), prepend=table["block"].iloc[0]) != 0
    # the step into a new block or a repeated sweep is no sweep direction: take that of the next step
    following = np.append(step[1:], step[-1])
    restart = new | ((step < 0) & (following > 0))
    step = np.where(restart, following, step)
    return ["down" if value < 0 else "up" for value in step]


def spikes(values: NDArray[np.float64], *, window: int = 11, times: float = 8.0) -> NDArray[np.bool_]:
    """Mark single readings far from the median of their neighbours (a Hampel test).

    Parameters
    ----------
    values : ndarray
        One reading per row, NaN where none.
    window : int
        Number of readings in the moving window. [-]
    times : float
        Threshold, in robust standard deviations of the window. [-]

    Returns
    -------
    ndarray of bool
        True at a spike of one or two rows, same shape. All False below three windows of readings.

    Examples
    --------
    >>> readings = np.full(40, 5.0) + 0.01 * np.sin(np.arange(40.0)); readings[17] = 50.0
    >>> np.flatnonzero(spikes(readings)).tolist()
    [17]
    """
    series = pd.Series(values)
    if series.notna().sum() < 3 * window:
        return np.zeros(values.size, bool)
    middle = series.rolling(window, center=True, min_periods=3).median()
    away = (series - middle).abs()
    spread = 1.4826 * away.rolling(window, center=True, min_periods=3).median()
    floor = np.maximum(0.02 * middle.abs(), 0.003 * float(np.nanmax(np.abs(values), initial=0.0)))
    mark = (away > times * np.maximum(spread, floor / 2)).to_numpy()
    lone = mark & ~np.roll(mark, 1) | mark & ~np.roll(mark, -1)
    return mark & lone
