"""What looks wrong in a stand log, each with its rows: nothing is dropped, everything is said.

Every test compares the rows with something outside them: energy (no shaft gives more than it is fed, no
propeller beats the ideal disc), the law of the source, the label of the motor, the forecast of the
propeller's label with its spread. Thresholds come from those spreads, not from any one table.
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
"""Fall of the voltage below the source's own line that counts as a limit. [share]"""
SUPPLY_SLOPE = 2.0
"""Times the source's own slope dV/dI that only a limiter shows: packs and supplies below their limit keep
within 1.5 on open stand tables, also where the pack sags by 10 %. [-]"""
MERIT_RANGE = (0.24, 0.70)
"""Ideal power over electrical power at working thrust: bench tables lie at 0.33 to 0.51; a figure of merit
of 0.8 with a drive of 0.88 gives 0.70. [-]"""
SHARE_OF_TOP = 0.2
"""Rows with less than this share of the highest thrust are too small to judge."""
FEWEST_STEPS = 4
POSSIBLE = {
    "throttle_share": ("throttle", -0.1, 1.25, "%", 100.0),
    "voltage_v": ("voltage", -1.0, 1000.0, "V", 1.0),
    "current_a": ("current", -2000.0, 2000.0, "A", 1.0),
    "thrust_n": ("thrust", -5000.0, 5000.0, "N", 1.0),
    "torque_nm": ("torque", -1000.0, 1000.0, "N m", 1.0),
    "speed_rev_per_s": ("speed", 0.0, 5000.0, "rpm", 60.0),
}
"""Column -> name, least and most that a stand or craft of any size here can show, unit and factor of a sentence.
Estimates, with room for the zero of a sensor."""


def _column(points: pd.DataFrame, name: str) -> FloatArray:
    return points[name].to_numpy(np.float64) if name in points else np.full(len(points), np.nan)


def overall_merit(thrust: FloatArray, electrical_power: FloatArray, diameter: float, density: float) -> FloatArray:
    """Ideal induced power of the disc over electrical power.

    Parameters
    ----------
    thrust, electrical_power : ndarray
        [N] and [W], same shape.
    diameter, density : float
        Of the propeller [m]; of the air [kg/m^3].

    Examples
    --------
    >>> round(float(overall_merit(np.array([4.0]), np.array([100.0]), 0.127, 1.225)[0]), 3)
    0.454
    """
    area = np.pi / 4.0 * diameter**2
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.maximum(thrust, 0.0) ** 1.5 / np.sqrt(2.0 * density * area) / electrical_power


def limited_rows(points: pd.DataFrame) -> list[int]:
    """Index labels of holds where the supply was at its current limit.

    The source's line V = V0 - R_s I is fitted to the rows below 90 % of the highest current; a row is at the
    limit if it lies 0.8 % of V0 below the line and the way there is much steeper than the line.

    Parameters
    ----------
    points : pandas.DataFrame
        Hold table with ``block``, ``voltage_v`` [V], ``current_a`` [A] and, if known, ``throttle_share``.
    """
    found: list[int] = []
    for _, part in points.groupby("block", sort=False):
        volts, amps = _column(part, "voltage_v"), _column(part, "current_a")
        throttle = _column(part, "throttle_share")
        rows = np.isfinite(volts) & np.isfinite(amps)
        if rows.sum() < 4:
            continue
        # rows at the limit share one current: they stand out against their own highest
        top = np.nanmax(amps[rows])
        below = rows & (amps < 0.9 * top)
        # without a spread of currents the source's own slope cannot be told
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
    """Find values that no stand and no craft shows: a sentence for each column, and the rows by their labels.

    Parameters
    ----------
    table : pandas.DataFrame
        Holds or rows in SI.

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
    """Look for everything that is known to go wrong on a stand.

    Parameters
    ----------
    log : BenchLog
        With ``points``.
    motor : Motor or None
        None: KV from the labels of the file.
    propeller : Propeller or None
        None: size from the labels of the file, or of each block.
    air : Air
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
    """Shaft power above electrical power; a power column that is not V x I."""
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
    """Rows whose thrust does not go with the square of the speed like their neighbours'; a bad tare."""
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
    """Thrust coefficient and energy against the label's forecast; True if this is another propeller."""
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
    """Cells that hold text where a number should be, and lines that are no rows.

    Parameters
    ----------
    table : RawTable
        As read, before units.
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
