"""Quality flags of a stand log: the problems found, each with its rows. No row is dropped here.

Each test compares the rows with an independent reference: energy (shaft power is below electrical power, no
propeller is better than the ideal disc), the voltage line of the source, the label of the motor, and the forecast
from the propeller's label with its spread. The thresholds come from those spreads, not from a single table.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from propmodel.base.arrays import FloatArray, number
from propmodel.base.units import GRAM_FORCE
from propmodel.bench.label_evidence import against_motor, block_motor, block_propeller
from propmodel.bench.reading.raw_table import RawTable
from propmodel.bench.reading.records import BenchLog, Doubt
from propmodel.components.air import Air
from propmodel.components.propeller import prepare, spread

__all__ = ["cell_doubts", "find_doubts", "impossible_rows", "limited_rows", "overall_merit"]

SUPPLY_DROP = 0.008
"""Voltage below the line of the source, relative to its open-circuit voltage, from which the supply limits. [-]"""
SUPPLY_SLOPE = 2.0
"""Multiple of the source's slope dV/dI from which the supply limits. Packs and supplies below their limit remain
within 1.5 on open stand tables, also where the pack sags by 10 %. [-]"""
MERIT_RANGE = (0.24, 0.70)
"""Accepted range of ideal power over electrical power at working thrust. Bench tables are at 0.33 to 0.51; a figure
of merit of 0.8 with a drive efficiency of 0.88 gives 0.70. [-]"""
SHARE_OF_TOP = 0.2
"""Rows below this share of the highest thrust are not tested, because their relative errors are large. [-]"""
FEWEST_STEPS = 4
POSSIBLE = {
    "throttle_share": ("throttle", -0.1, 1.25, "%", 100.0),
    "voltage_v": ("voltage", -1.0, 1000.0, "V", 1.0),
    "current_a": ("current", -2000.0, 2000.0, "A", 1.0),
    "thrust_n": ("thrust", -5000.0, 5000.0, "N", 1.0),
    "torque_nm": ("torque", -1000.0, 1000.0, "N m", 1.0),
    "speed_rev_per_s": ("speed", 0.0, 5000.0, "rpm", 60.0),
}
"""Column -> name, least and greatest possible value, unit in sentences, factor into that unit. Estimates for stands
and craft of all sizes covered here; they allow for the zero error of a sensor."""


def _column(points: pd.DataFrame, name: str) -> FloatArray:
    return points[name].to_numpy(np.float64) if name in points else np.full(len(points), np.nan)


def overall_merit(thrust: FloatArray, electrical_power: FloatArray, diameter: float, density: float) -> FloatArray:
    """Overall figure of merit: ideal induced power of the disc over electrical power.

    Parameters
    ----------
    thrust, electrical_power : ndarray
        Thrust [N] and electrical power [W] of one rotor, same shape.
    diameter, density : float
        Diameter of the propeller [m] and density of the air [kg/m^3].

    Returns
    -------
    ndarray
        Same shape as ``thrust``. [-]

    Examples
    --------
    >>> round(float(overall_merit(np.array([4.0]), np.array([100.0]), 0.127, 1.225)[0]), 3)
    0.454
    """
    area = np.pi / 4.0 * diameter**2
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.maximum(thrust, 0.0) ** 1.5 / np.sqrt(2.0 * density * area) / electrical_power


def limited_rows(points: pd.DataFrame) -> list[int]:
    """Find the dwell points at which the supply was at its current limit.

    The line of the source, V = V0 - R_s I, is fitted to the rows below 90 % of the highest current. A row is at the
    limit if its voltage is 0.8 % of V0 below the line and the local slope is much steeper than the line.

    Parameters
    ----------
    points : pandas.DataFrame
        Dwell points with ``block``, ``voltage_v`` [V], ``current_a`` [A] and, if known, ``throttle_share``.

    Returns
    -------
    list of int
        Index labels of ``points``.
    """
    found: list[int] = []
    for _, part in points.groupby("block", sort=False):
        volts, amps = _column(part, "voltage_v"), _column(part, "current_a")
        throttle = _column(part, "throttle_share")
        rows = np.isfinite(volts) & np.isfinite(amps)
        if rows.sum() < 4:
            continue
        # rows at the limit have one current in common: the highest
        top = np.nanmax(amps[rows])
        below = rows & (amps < 0.9 * top)
        # the slope of the source cannot be determined without a range of currents
        if below.sum() < 3 or top < 1.0 or np.ptp(amps[below]) < 0.01 * top:
            continue
        slope, start = np.polyfit(amps[below], volts[below], 1)
        slope = min(float(slope), -0.01)
        start = float(np.median(volts[below] - slope * amps[below]))
        noise = 1.4826 * float(np.median(np.abs(volts[below] - start - slope * amps[below])))
        drop = start + slope * amps - volts
        order = np.argsort(throttle, kind="stable") if np.isfinite(throttle).all() else np.arange(len(part))
        before: int | None = None
        for k in order:
            if not rows[k]:
                continue
            low = drop[k] > max(SUPPLY_DROP * start, 6.0 * noise) and amps[k] > 0.85 * top
            steep = before is None or (volts[before] - volts[k]) > SUPPLY_SLOPE * -slope * max(
                amps[k] - amps[before], 0.0
            )
            after_limit = bool(found) and found[-1] in part.index and amps[k] > 0.95 * top
            if low and (steep or after_limit):
                found.append(int(part.index[k]))
            before = int(k)
    return sorted(found)


def impossible_rows(table: pd.DataFrame) -> list[tuple[str, list[int]]]:
    """Find values outside the physically possible range `POSSIBLE`.

    Parameters
    ----------
    table : pandas.DataFrame
        Dwell points or rows, in SI units.

    Returns
    -------
    list of (str, list of int)
        For each affected column a sentence and the index labels of its rows.

    Examples
    --------
    >>> impossible_rows(pd.DataFrame({"voltage_v": [12.0, -12.0]}))
    [('The voltage is -12 V in 1 row, outside -1 to 1,000 V: its unit, its sign or its column is wrong.', [1])]
    """
    found = []
    for name, (what, low, high, unit, factor) in POSSIBLE.items():
        values = _column(table, name)
        beyond = (values < low) | (values > high)
        if beyond.any():
            worst = values[beyond][int(np.argmax(np.abs(values[beyond])))]
            rows = "1 row" if beyond.sum() == 1 else f"{beyond.sum()} rows"
            text = (
                f"The {what} is {factor * worst:,.5g} {unit} in {rows}, outside {factor * low:,.6g} to "
                f"{factor * high:,.6g} {unit}: its unit, its sign or its column is wrong."
            )
            found.append((text, [int(row) for row in table.index[beyond]]))
    return found


def find_doubts(log: BenchLog, *, motor: Any, propeller: Any, air: Air) -> list[Doubt]:
    """Run all quality checks on a stand log.

    Parameters
    ----------
    log : BenchLog
        A log with its dwell points.
    motor : Motor or None
        None: KV from the labels of the file.
    propeller : Propeller or None
        None: size from the labels of the file, or of each block.
    air : Air
        Air at the stand.

    Returns
    -------
    list of Doubt
        One per problem, with its rows; empty for a clean log.
    """
    points = log.points
    doubts: list[Doubt] = []

    def add(kind: str, sentence: str, rows: Any, severity: Any = "look") -> None:
        labels = tuple(int(row) for row in rows)
        lines = tuple(int(points["source_row"].loc[row]) for row in labels)
        doubts.append(Doubt(kind, sentence, labels, severity, lines))

    if not len(points):
        return doubts
    volts, amps = _column(points, "voltage_v"), _column(points, "current_a")
    if not np.isfinite(volts).any():
        add("no_voltage", "There is no voltage column: KV, resistance and power cannot be found.", points.index)
    for text, rows in impossible_rows(points):
        add("impossible", text, rows, "wrong")
    flowing = amps[np.isfinite(amps) & (np.abs(amps) > 0.1)]
    if flowing.size and np.all(flowing < 0.0):
        add(
            "negative_current",
            "The current is negative everywhere: the sensor counts the wrong way round. Swap its wires, or multiply "
            "the column by -1.",
            points.index,
            "wrong",
        )
    bare = _without_propeller(log, points)
    if bare:
        watts = _text_range(volts * amps, "W")
        add(
            "no_propeller",
            f"Hardly any thrust at {watts}: this looks like a run without a propeller.",
            points.index,
            "note",
        )
    _few_steps(points, bare, add)
    limited = limited_rows(points)
    if limited:
        at = _where(points, limited)
        add(
            "supply_limit",
            f"The supply reached its current limit {at}: the voltage falls while the current stands still. "
            "These rows are not what a pack would do; leave them out of a calibration of the throttle.",
            limited,
        )
    elif not np.isfinite(volts).any():
        _still_current(points, add)
    _energy(points, add)
    if not bare:
        _odd_rows(points, add)
    for _, part in points.groupby("block", sort=False):
        labelled = block_propeller(log, part, propeller)
        odd = not bare and _other_propeller(part, labelled, air, add)
        of_block = block_motor(log, part, motor)
        if of_block is not None:
            against_motor(part, of_block, None if odd else labelled, bare=bare, air=air, add=add)
    return doubts


def _text_range(values: FloatArray, unit: str) -> str:
    top = np.nanmax(values) if np.isfinite(values).any() else 0.0
    return f"up to {top:.3g} {unit}"


def _where(points: pd.DataFrame, rows: list[int]) -> str:
    if "throttle_share" in points:
        return f"from {100 * points['throttle_share'].loc[rows].min():.3g} % throttle on"
    return f"in {len(rows)} rows"


def _without_propeller(log: BenchLog, points: pd.DataFrame) -> bool:
    thrust, speed = _column(points, "thrust_n"), _column(points, "speed_rev_per_s")
    if log.labels.get("no_propeller"):
        return True
    power = _column(points, "voltage_v") * _column(points, "current_a")
    if not np.isfinite(thrust).any() or not np.isfinite(power).any() or np.nanmax(speed, initial=0.0) < 80.0:
        return False
    return bool(np.nanmax(thrust) < 0.7 * GRAM_FORCE * np.nanmax(power))


def _few_steps(points: pd.DataFrame, bare: bool, add: Any) -> None:
    reading = "thrust_n" if "thrust_n" in points and not bare else "current_a"
    few: list[int] = []
    for _, part in points.groupby("block", sort=False):
        values = _column(part, reading)
        ran = np.isfinite(values) & (np.abs(values) > 0.01 * np.nanmax(np.abs(values), initial=0.0))
        if ran.sum() < FEWEST_STEPS:
            few.extend(int(i) for i in part.index)
    if few:
        add(
            "few_steps",
            f"Fewer than {FEWEST_STEPS} steps of one motor and propeller: single numbers, not a curve.",
            few,
        )


def _still_current(points: pd.DataFrame, add: Any) -> None:
    amps, thrust, throttle = (_column(points, name) for name in ("current_a", "thrust_n", "throttle_share"))
    if not (np.isfinite(amps).any() and np.isfinite(thrust).any() and np.isfinite(throttle).any()):
        return
    peak = int(np.nanargmax(thrust))
    rows = (amps > 0.98 * np.nanmax(amps)) & (throttle > throttle[peak]) & (thrust < 0.985 * thrust[peak])
    if rows.any():
        text = "The current stands still and the thrust falls while the throttle rises: the supply was at its limit."
        add("supply_limit", text, points.index[rows])


def _energy(points: pd.DataFrame, add: Any) -> None:
    """Flag shaft power above electrical power, and a power column that differs from V x I."""
    power = _column(points, "voltage_v") * _column(points, "current_a")
    stated = _column(points, "power_w")
    both = np.isfinite(power) & np.isfinite(stated) & (power > 0.1 * np.nanmax(power, initial=0.0))
    if both.sum() >= 3 and abs(np.log(max(np.median(stated[both] / power[both]), 1e-6))) > 0.1:
        share = float(np.median(stated[both] / power[both]))
        text = f"The power column is {share:.2f} times voltage x current: a sensor's scale or a unit is wrong."
        add("sensor_scale", text, points.index[both])
    electrical = np.where(np.isfinite(power), power, stated)
    shaft = 2 * np.pi * _column(points, "torque_nm") * _column(points, "speed_rev_per_s")
    shaft = np.where(np.isfinite(shaft), shaft, _column(points, "shaft_power_w"))
    over = np.isfinite(shaft) & (shaft > electrical) & (shaft > max(1.0, 0.02 * np.nanmax(shaft, initial=0.0)))
    if over.any():
        text = "More shaft power than electrical power: torque, speed or current is wrong (scale, unit or pole count)."
        add("shaft_above_electrical", text, points.index[over], "wrong")


def _odd_rows(points: pd.DataFrame, add: Any) -> None:
    """Flag rows whose thrust over speed squared differs from that of their neighbours, and a wrong tare."""
    thrust, speed = _column(points, "thrust_n"), _column(points, "speed_rev_per_s")
    top = np.nanmax(thrust, initial=0.0)
    still = np.isfinite(thrust) & ((speed == 0) | (_column(points, "throttle_share") == 0)) & (np.nan_to_num(speed) < 5)
    if still.any() and np.abs(np.median(thrust[still])) > 0.03 * top > 0:
        text = f"{np.median(thrust[still]):.2g} N of thrust is shown at rest: the scale was not set to zero."
        add("tare", text, points.index[still])
    rows = np.isfinite(thrust) & np.isfinite(speed) & (thrust > SHARE_OF_TOP * top) & (speed > 0)
    if rows.sum() < 6 or points["block"].nunique() > 1:
        return
    ratio = pd.Series(np.log(thrust[rows] / speed[rows] ** 2))
    away = (ratio - ratio.rolling(5, center=True, min_periods=3).median()).abs().to_numpy()
    odd = away > 0.25
    if 0 < odd.sum() <= 0.25 * rows.sum():
        text = "Thrust over speed squared jumps here and not in the neighbouring rows: a reading slipped."
        add("odd_row", text, points.index[rows][odd])


def _other_propeller(part: pd.DataFrame, propeller: Any, air: Air, add: Any) -> bool:
    """Compare thrust coefficient and energy with the forecast from the label; True if it is another propeller."""
    thrust, speed = _column(part, "thrust_n"), _column(part, "speed_rev_per_s")
    rows = np.isfinite(thrust) & (thrust > SHARE_OF_TOP * np.nanmax(thrust, initial=0.0))
    if propeller is None or not rows.any():
        return False
    diameter, density = float(propeller.diameter), number(air.density)
    merits = overall_merit(thrust, _column(part, "voltage_v") * _column(part, "current_a"), diameter, density)[rows]
    merit = float(np.nanmedian(merits)) if np.isfinite(merits).any() else np.nan
    odd_merit = bool(merit < MERIT_RANGE[0] or merit > MERIT_RANGE[1])
    turning = rows & np.isfinite(speed) & (speed > 0)
    if turning.any():
        c_t, _ = prepare(propeller, air).static(speed[turning])
        seen = thrust[turning] / (density * speed[turning] ** 2 * diameter**4)
        away, sd = float(np.median(np.log(seen / c_t))), number(spread(propeller).log_sd_c_t)
        if abs(away) > 3.0 * sd or (abs(away) > 2.0 * sd and odd_merit):
            why = "another size or pitch, or the speed is read low"
            if away < 0:
                why = "another size, or mounted upside down, or the speed is read high"
            text = (
                f"The thrust coefficient is {np.exp(away):.2f} times what this label gives ({abs(away) / sd:.1f} "
                f"standard deviations): this looks like another propeller ({why})."
            )
            add("another_propeller", text, part.index[turning], "wrong")
            return True
    if merit > MERIT_RANGE[1]:
        text = (
            f"The thrust is {merit:.0%} of what an ideal disc could give for the electrical power, more than any "
            "drive does: thrust, current or diameter is wrong in scale."
        )
        add("sensor_scale", text, part.index[rows], "wrong")
    elif merit < MERIT_RANGE[0] and not turning.any():
        text = f"Only {merit:.0%} of the electrical power is in the thrust: another propeller, or a wrong scale."
        add("another_propeller", text, part.index[rows])
        return True
    return False


def cell_doubts(table: RawTable) -> list[Doubt]:
    """Flag cells with text in place of a number, and lines that are not rows of the table.

    Parameters
    ----------
    table : RawTable
        The table as read, before the conversion into SI units.

    Returns
    -------
    list of Doubt
        One per column with unreadable cells, and one for the lines.
    """
    found: list[Doubt] = []
    rows = sorted(
        {
            row
            for i, at in table.unreadable.items()
            if table.layout.parsed[i].meaning not in (None, "time")
            for row in at
        }
    )
    where = np.searchsorted(table.source_row, rows)
    inside = tuple(
        int(w) for w, r in zip(where, rows, strict=True) if w < table.source_row.size and table.source_row[w] == r
    )
    if rows:
        found.append(
            Doubt(
                "unreadable_cells",
                f"{len(rows)} rows hold no number where one should be; those cells are left blank."
                if len(rows) > 1
                else "One row holds no number where one should be; that cell is left blank.",
                inside,
                "look",
                tuple(rows),
            )
        )
    if table.odd_lines:
        found.append(
            Doubt(
                "odd_lines",
                f"{len(table.odd_lines)} lines have more cells than the heading and were left out.",
                (),
                "look",
                tuple(table.odd_lines[:1000]),
            )
        )
    return found
