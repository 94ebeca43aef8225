"""Evaluation of a flight log: hover current and throttle, pack resistance, charge used, scale of the current sensor.

The charger is the reference for the current sensor: the scale is the charge it puts back over the charge that the log
counted (common practice). The pack resistance is -dV/dI over load steps of about a second, during which the
open-circuit voltage stays the same.

Longer than others because the steps of one evaluation share their limits and their rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from propmodel.base.arrays import FloatArray, number
from propmodel.base.checks import check_positive
from propmodel.bench.quality_flags import impossible_rows
from propmodel.bench.reading.records import BenchLog, Doubt

__all__ = ["FlightCalibration", "calibrate_flight", "flight_doubts"]

STEADY_SECONDS = 2.0
"""Length of the window in which steady flight is detected. [s]"""
STEADY_CURRENT, STEADY_THROTTLE = 0.08, 0.025
"""Largest standard deviation within steady flight: of the current relative to its mean, of the throttle share. [-]"""
SAME_FLYING = 0.10
"""Largest difference of ln power between steady stretches of one flight condition. A hover takes the same power at
any pack voltage. [-]"""
ON_GROUND_THROTTLE, ON_GROUND_POWER = 0.09, 0.35
"""A steady stretch below this motor command, or below this share of the power of the next flight condition, is taken
as on the ground with the motors at idle. [-] Estimates."""
SLOWER_THAN_HOVER = 0.30
"""Largest reduction of ln power of a cruise near the speed of longest endurance, relative to hover (momentum theory
with the drag of these craft). Within this range the forecast decides which of two conditions is the hover. [-]"""
STEP_SECONDS = (0.2, 2.0)
"""Shortest and longest load step: longer than the smoothing of the logger, and too short for the open-circuit voltage
to change. [s]"""
STEP_SHARE = 0.15
"""Smallest load step that is used, relative to the highest current. [-]"""
CHARGE_BAND = 0.10
"""Largest relative difference between the counted charge and the integral of the current. Beyond it a unit or the
clock is wrong. [-]"""
RESTART_SECONDS = 1.0
"""Backward step of the clock from which the log has restarted. Rows that a logger wrote late step back less. [s]"""
MOST_RESTARTS = 50
"""With more backward steps than this, or more than one row in twenty, the rows are unordered and are sorted."""
BETWEEN_FLIGHTS = 3600.0
"""Time inserted between two joined logs, so that charge, load steps and steady flight do not extend across. [s]"""
NEGATIVE_SHARE = 0.95
"""Share of rows with negative current from which the sign of the sensor is taken as reversed. [-]"""
CHARGER_SD = 0.02
"""Relative standard deviation of the charge displayed by a charger. [-] Estimate."""


@dataclass(frozen=True, eq=False)
class FlightCalibration:
    """Quantities of a build evaluated from a flight. Currents are already multiplied by ``sensor_scale``.

    Attributes
    ----------
    hover_current, hover_throttle : float
        Medians over the steady stretches of hover, NaN if there is none. [A], [-]
    pack_resistance, pack_resistance_sd : float
        From load steps, with its standard deviation; NaN if there are none. [ohm]
    charge_used : float
        Charge used over the whole log. [Ah]
    flight_time : float
        Time with current flowing. [s]
    sensor_scale, sensor_scale_sd : float
        Charge put back over charge counted, with its standard deviation; 1 and NaN if ``charge_put_back`` was not
        given. [-]
    comparison : pandas.DataFrame
        Measured and forecast values, if a build was given; else empty.
    notes : list of str
        Remarks about the evaluation, one sentence each.
    steady : pandas.DataFrame
        One row per steady flight condition: ``power_w`` (``current_a`` where there is no voltage),
        ``current_a``, ``throttle``, ``seconds``, ``pieces`` and ``taken_as``: "hover", "cruise" or "on the ground".
    hover_in_doubt : bool
        True where the only steady flight takes so much more power than the forecast hover that it may be a cruise.
    of_motors : bool
        True where ``hover_throttle`` is the motor command, idle included; False where the log has only the stick.
    """

    hover_current: float
    hover_throttle: float
    pack_resistance: float
    pack_resistance_sd: float
    charge_used: float
    flight_time: float
    sensor_scale: float
    sensor_scale_sd: float
    comparison: pd.DataFrame
    notes: list[str]
    steady: pd.DataFrame
    of_motors: bool
    hover_in_doubt: bool = False


def calibrate_flight(log: BenchLog, build: Any = None, *, charge_put_back: float | None = None) -> FlightCalibration:
    """Evaluate a flight: hover, pack resistance, charge, sensor scale, and comparison with the forecast.

    Parameters
    ----------
    log : BenchLog
        A log of kind "flight", with time, voltage and current.
    build : Build, optional
        The build that flew, for the comparison.
    charge_put_back : float, optional
        Charge that the charger put back after exactly this flight. [Ah]

    Returns
    -------
    FlightCalibration
        The evaluated quantities.

    Raises
    ------
    ValueError
        If the log has no time or no current, or is a stand log.
    """
    if log.kind != "flight":
        raise ValueError("this is a thrust-stand log: use calibrate for it")
    frame = log.frame
    if "time_s" not in frame or "current_a" not in frame:
        raise ValueError("the flight log needs a time and a current column: name them, or use another log")
    if _counts_backwards(frame["current_a"].to_numpy(np.float64)):
        raise ValueError(f"{_BACKWARDS} Multiply the column by -1 and bring the log in again")
    notes: list[str] = []
    if impossible := impossible_rows(frame):
        frame = frame.drop(index=sorted({row for _, rows in impossible for row in rows}))
        notes.append("Rows with impossible values are left out. " + " ".join(text for text, _ in impossible))
    time, amps, volts, used, part = _clean(frame)
    if time.size < 2:
        raise ValueError(" ".join(["the flight log holds fewer than two rows with a time and a current.", *notes]))
    if part.size and part[-1]:
        notes.append(
            f"{int(part[-1]) + 1} logs are joined in this file (the clock starts again): charge and time are those of "
            "all of them, so the charger's figure must be too."
        )
    counted = _counted(frame, time, amps, used, part)
    scale, scale_sd = 1.0, float("nan")
    if charge_put_back is not None:
        check_positive("charge put back", charge_put_back, "Ah")
        if counted > 0:
            scale, scale_sd = float(charge_put_back) / counted, CHARGER_SD * float(charge_put_back) / counted
            if not 0.9 < scale < 1.1:
                notes.append(
                    f"The charger put back {scale:.2f} times what the log counted: set the current sensor's scale so "
                    "that both agree; currents here are corrected."
                )
    else:
        notes.append("Without the charge put back by the charger the current sensor's scale is taken on trust.")
    throttle = _throttle(frame, used)
    ways, member = _ways_of_flying(time, amps, volts, throttle, _steady(time, amps, throttle))
    hover = _which_is_hover(ways, scale, build)
    ways["taken_as"] = ["hover" if k == hover else taken for k, taken in enumerate(ways["taken_as"])]
    steady = member == hover if hover is not None else np.zeros(amps.size, bool)
    hover_current = float(np.median(amps[steady])) * scale if steady.any() else float("nan")
    hover_throttle = float(np.nanmedian(throttle[steady])) if np.isfinite(throttle[steady]).any() else float("nan")
    more = _alone_above_the_forecast(ways, hover, scale, build)
    notes.extend(_steady_notes(ways, hover, scale, more))
    resistance, resistance_sd, steps = _resistance(time, volts, amps * scale)
    if not np.isfinite(resistance):
        notes.append("No load steps large enough for the pack's resistance: log a few short climbs.")
    else:
        notes.append(f"Pack resistance, with leads and over a second, from {steps} load changes.")
    flying = amps > max(0.2 * np.nanmedian(amps[amps > 0]) if (amps > 0).any() else 0.0, 0.3)
    step = np.minimum(np.diff(time, prepend=time[:1]), 5.0)
    calibration = FlightCalibration(
        hover_current, hover_throttle, resistance, resistance_sd, counted * scale, float(step[flying].sum()), scale,
        scale_sd, pd.DataFrame(), notes, ways, _of_motors(frame), more > 0.0,
    )  # fmt: skip
    if build is None:
        return calibration
    from dataclasses import replace

    return replace(calibration, comparison=_comparison(calibration, build))


_BACKWARDS = "The current is negative nearly everywhere: the sensor counts the wrong way round."


def _counts_backwards(amps: FloatArray) -> bool:
    """True if nearly all of the current is negative."""
    flowing = amps[np.isfinite(amps) & (np.abs(amps) > 0.1)]
    return flowing.size > 0 and float(np.mean(flowing < 0.0)) >= NEGATIVE_SHARE


def _restarts(time: FloatArray) -> NDArray[np.intp]:
    """Rows at which the clock restarts, in the order of the file; none where the rows are unordered."""
    back = np.flatnonzero(np.diff(time) < -RESTART_SECONDS) + 1
    few = back.size <= min(MOST_RESTARTS, max(1, time.size // 20))
    return back if few else back[:0]


def _clean(
    frame: pd.DataFrame,
) -> tuple[FloatArray, FloatArray, FloatArray, NDArray[np.intp], NDArray[np.intp]]:
    """Return time [s], current [A], voltage [V], row numbers and log numbers of the rows with time and current.

    The rows are in order of time. Where several logs are joined, the clock of each continues from the one before.
    """
    time = frame["time_s"].to_numpy(np.float64)
    amps = frame["current_a"].to_numpy(np.float64)
    volts = frame["voltage_v"].to_numpy(np.float64) if "voltage_v" in frame else np.full(time.size, np.nan)
    rows = np.flatnonzero(np.isfinite(time) & np.isfinite(amps))
    clock, again = time[rows].copy(), _restarts(time[rows])
    part = np.zeros(rows.size, np.intp)
    part[again] = 1
    part = np.cumsum(part)
    for k in range(1, again.size + 1):
        mine = part == k
        clock[mine] += clock[part == k - 1].max() + BETWEEN_FLIGHTS - clock[mine].min()
    order = np.argsort(clock, kind="stable")
    used, clock, part = rows[order], clock[order], part[order]
    return clock - np.min(clock, initial=np.inf), amps[used], volts[used], used, part


def _integral(time: FloatArray, amps: FloatArray) -> float:
    """Charge by the trapezoidal rule; gaps longer than 10 s count as no flight. [Ah]"""
    step = np.diff(time)
    return float(np.sum(np.where(step < 10.0, step, 0.0) * 0.5 * (amps[1:] + amps[:-1])) / 3600.0)


def _counted(
    frame: pd.DataFrame, time: FloatArray, amps: FloatArray, used: NDArray[np.intp], part: NDArray[np.intp]
) -> float:
    """Charge of all joined logs: from their counters, or from the current where a counter did not move. [Ah]"""
    if "charge_ah" in frame:
        # a counter may also change in rows without a current: a row belongs to the log of the row before it
        charge = frame["charge_ah"].to_numpy(np.float64)
        log = np.zeros(charge.size, np.intp)
        firsts = [used[part == k].min() for k in range(1, int(part[-1]) + 1)] if part.size else []
        log[firsts] = 1
        log = np.cumsum(log)
        moved = 0.0
        for k in range(len(firsts) + 1):
            mine = charge[(log == k) & np.isfinite(charge)]
            moved += float(mine.max() - mine[0]) if mine.size else 0.0
        if moved > 0.0:
            return moved
    return _integral(time, amps)


def _motor_columns(frame: pd.DataFrame) -> list[str]:
    return [name for name in frame.columns if name.startswith("motor_") and name.endswith("_share")]


def _of_motors(frame: pd.DataFrame) -> bool:
    return bool(_motor_columns(frame))


def _throttle(frame: pd.DataFrame, used: NDArray[np.intp]) -> FloatArray:
    motors = _motor_columns(frame)
    if motors:
        return frame[motors].mean(axis=1).to_numpy(np.float64)[used]
    if "throttle_share" in frame:
        return frame["throttle_share"].to_numpy(np.float64)[used]
    return np.full(used.size, np.nan)


def _steady(time: FloatArray, amps: FloatArray, throttle: FloatArray) -> NDArray[np.bool_]:
    """True for rows within stretches of constant current and throttle, well above idle."""
    if time.size < 5:
        return np.zeros(time.size, bool)
    gap = float(np.median(np.diff(time)))
    # three rows per window are enough where each row is a mean over a second
    width = int(np.clip(np.ceil(STEADY_SECONDS / max(gap, 1e-6)), 5 if gap < 0.5 else 3, 20000))
    smooth = max(1, width // 10)  # electrical noise within a tenth of the window is not unsteadiness
    series = pd.Series(amps).rolling(smooth, center=True, min_periods=1).mean()
    middle = series.rolling(width, center=True).mean()
    quiet = series.rolling(width, center=True).std() < STEADY_CURRENT * middle
    if np.isfinite(throttle).any():
        stick = pd.Series(throttle).rolling(smooth, center=True, min_periods=1).mean()
        quiet &= ~(stick.rolling(width, center=True).std() > STEADY_THROTTLE)
    # in a flight with bursts the hover current may be a tenth of the highest current, or less
    working = middle > max(0.02 * float(np.nanpercentile(amps, 98)), 0.3)
    return (quiet & working).to_numpy(bool)


def _ways_of_flying(
    time: FloatArray, amps: FloatArray, volts: FloatArray, throttle: FloatArray, steady: NDArray[np.bool_]
) -> tuple[pd.DataFrame, NDArray[np.intp]]:
    """Return the steady flight conditions, least power first, and the condition of each row (-1: none).

    Stretches of nearly equal power are one condition, wherever in the flight they are. Stretches on the ground are
    marked.
    """
    names = ["power_w", "current_a", "throttle", "seconds", "pieces", "taken_as"]
    member = np.full(amps.size, -1, np.intp)
    if not steady.any():
        return pd.DataFrame(columns=names), member
    power = amps * np.where(np.isfinite(volts), volts, np.nanmedian(volts) if np.isfinite(volts).any() else 1.0)
    step = np.diff(time, append=time[-1:])
    # a stretch ends where the rows are no longer steady, or where the log has a gap
    starts = steady & ~np.concatenate([[False], steady[:-1] & (step[:-1] < STEADY_SECONDS)])
    piece = np.where(steady, np.cumsum(starts) - 1, -1)
    count = int(piece.max()) + 1
    level = np.array([np.median(power[piece == k]) for k in range(count)])
    order = np.argsort(level, kind="stable")
    way_of_piece = np.empty(count, np.intp)
    way_of_piece[order] = np.concatenate([[0], np.cumsum(np.diff(np.log(level[order])) > SAME_FLYING)])
    member[steady] = way_of_piece[piece[steady]]
    rows = []
    for k in range(int(way_of_piece.max()) + 1):
        mine = member == k
        stick = float(np.nanmedian(throttle[mine])) if np.isfinite(throttle[mine]).any() else float("nan")
        seconds = float(np.minimum(step[mine], STEADY_SECONDS).sum())
        rows.append((float(np.median(power[mine])), float(np.median(amps[mine])), stick, seconds,
                     int((way_of_piece == k).sum())))  # fmt: skip
    ways = pd.DataFrame(rows, columns=names[:-1])
    watts = ways["power_w"].to_numpy(float)
    above = np.append(watts[1:], np.inf if watts.size == 1 else watts[-1])
    ground = (ways["throttle"].to_numpy(float) < ON_GROUND_THROTTLE) | (
        np.isfinite(above) & (watts < ON_GROUND_POWER * above)
    )
    ways["taken_as"] = np.where(ground, "on the ground", "cruise")
    return ways, member


def _which_is_hover(ways: pd.DataFrame, scale: float, build: Any) -> int | None:
    """Row of the hover: the condition of least power in the air, unless the next one agrees with the forecast.

    A cruise near the speed of longest endurance takes less power than the hover, a faster one may take more.
    """
    air = ways[ways["taken_as"] != "on the ground"]
    if not len(air):
        return None
    lasting = air[air["seconds"] >= min(STEADY_SECONDS, 0.5 * float(air["seconds"].max()))]
    first = int(lasting.index[0])
    if build is None:
        return first
    from propmodel.assess.performance import performance

    said = number(performance(build).hover_power)
    if not np.isfinite(said):
        return first
    # without a voltage "power" is a current: ratios of two conditions are about the same
    off = np.abs(np.log(lasting["power_w"].to_numpy(float) * scale / said))
    near = np.log(lasting["power_w"].to_numpy(float) / float(lasting["power_w"].iloc[0])) <= SLOWER_THAN_HOVER
    return int(lasting.index[int(np.argmin(np.where(near, off, np.inf)))])


def _alone_above_the_forecast(ways: pd.DataFrame, hover: int | None, scale: float, build: Any) -> float:
    """Share by which the only steady flight exceeds the forecast hover power, if that is too much; else 0. [-]"""
    if build is None or hover is None or int((ways["taken_as"] != "on the ground").sum()) > 1:
        return 0.0
    from propmodel.assess.performance import performance

    answer = performance(build)
    volts = float(ways.loc[hover, "power_w"]) != float(ways.loc[hover, "current_a"])
    said = number(answer.hover_power if volts else answer.hover_current)
    ratio = float(ways.loc[hover, "power_w"]) * scale / said
    return ratio - 1.0 if np.isfinite(ratio) and np.log(ratio) > SLOWER_THAN_HOVER else 0.0


def _steady_notes(ways: pd.DataFrame, hover: int | None, scale: float, more: float) -> list[str]:
    if hover is None:
        return [
            f"No steady stretch of {STEADY_SECONDS:g} s was found: hover for ten seconds in still air and log again."
        ]
    row = ways.loc[hover]
    if more:
        return [
            f"The only steady flight, {row['seconds']:.0f} s, takes {100.0 * more:.0f} % more power than the forecast "
            "hover: it was a cruise or a climb, or the craft is heavier than told. Hover for ten seconds in still air "
            "and log again."
        ]
    where = "in one piece" if row["pieces"] == 1 else f"in {row['pieces']:.0f} pieces"
    notes = [f"Hover found {where}, {row['seconds']:.0f} s in all."]
    others = [
        f"{scale * other['current_a']:.1f} A for {other['seconds']:.0f} s"
        for k, other in ways.iterrows()
        if k != hover and other["taken_as"] == "cruise" and other["seconds"] >= 1.0
    ]
    if others:
        notes.append(f"Steady flight at {', '.join(others)} is taken as cruise or climb, not as hover.")
    else:
        notes.append("A slow cruise takes about as much as a hover: in a log without airspeed the two look the same.")
    return notes


def _resistance(time: FloatArray, volts: FloatArray, amps: FloatArray) -> tuple[float, float, int]:
    """Return the slope of -dV against dI over fast changes [ohm], its standard error [ohm], and their number."""
    rows = np.isfinite(volts)
    time, volts, amps = time[rows], volts[rows], amps[rows]
    nothing = (float("nan"), float("nan"), 0)
    if time.size < 10:
        return nothing
    gap = max(float(np.median(np.diff(time))), 1e-6)
    if gap > STEP_SECONDS[1]:
        return nothing
    bin_ = np.floor(time / max(STEP_SECONDS[0], gap)).astype(np.int64)  # means over at least a fifth of a second
    table = pd.DataFrame({"t": time, "v": volts, "i": amps}).groupby(bin_).mean()
    lag = max(1, round(0.6 / max(STEP_SECONDS[0], gap)))
    apart = table["t"].diff(lag).to_numpy()
    di, dv = table["i"].diff(lag).to_numpy(), table["v"].diff(lag).to_numpy()
    large = (np.abs(di) > STEP_SHARE * np.nanpercentile(amps, 99)) & (apart <= STEP_SECONDS[1])
    if large.sum() < 5:
        return nothing
    x, y = di[large], -dv[large]
    slope = float(np.sum(x * y) / np.sum(x * x))
    for _ in range(10):  # iteratively reweighted: outliers get less weight
        off = y - slope * x
        scatter = max(1.4826 * float(np.median(np.abs(off))), 1e-4)
        weight = 1.0 / np.sqrt(1.0 + (off / (2.0 * scatter)) ** 2)
        slope = float(np.sum(weight * x * y) / np.sum(weight * x * x))
    # the differences overlap: one in `lag` is independent
    error = float(
        np.sqrt(np.sum(weight * off**2) / max(large.sum() / lag - 1.0, 1.0) / np.sum(weight * x * x) * large.sum())
    )
    error /= float(np.sqrt(large.sum()))
    return (slope, error, int(large.sum())) if slope > 0 else nothing


def _comparison(flown: FlightCalibration, build: Any) -> pd.DataFrame:
    """Return a table of measured and forecast values, one row per quantity."""
    from propmodel.assess.performance import performance
    from propmodel.components import battery
    from propmodel.components.controller import duty_cap, throttle_from_duty

    forecast = performance(build)
    ends = forecast.hover_throttle, forecast.hover_throttle_at_reserve
    name = "hover command, middle of the pack"
    if not flown.of_motors:
        # a log without motor commands has the stick, which is counted from idle
        esc, cap = build.controller, build.command_cap
        ends = tuple(  # type: ignore[assignment]
            throttle_from_duty(esc, duty_cap(esc, cap) * np.asarray(end) ** np.asarray(esc.exponent),
                               command_cap=cap)
            for end in ends
        )  # fmt: skip
        name = "throttle stick in hover, middle of the pack"
    middle = 0.5 * (np.asarray(ends[0]) + np.asarray(ends[1]))
    rows = [
        ("hover current", "A", flown.hover_current, number(forecast.hover_current)),
        (name, "share", flown.hover_throttle, float(middle)),
        ("pack resistance", "ohm", flown.pack_resistance, number(battery.resistance(build.pack, 0.5))),
    ]
    frame = pd.DataFrame(rows, columns=["quantity", "unit", "flown", "forecast"]).set_index("quantity")
    frame["flown over forecast"] = frame["flown"] / frame["forecast"]
    return frame


def flight_doubts(log: BenchLog) -> list[Doubt]:
    """Return the quality flags of a flight log.

    Parameters
    ----------
    log : BenchLog
        A log of kind "flight".

    Returns
    -------
    list of Doubt
        One per kind of problem, with its rows.
    """
    frame, doubts = log.frame, []
    if "voltage_v" not in frame:
        doubts.append(Doubt("no_voltage", "There is no voltage column: the pack's resistance cannot be found."))
    if "current_a" not in frame:
        doubts.append(Doubt("no_current", "There is no current column: neither hover current nor charge can be found."))
        return doubts
    if "time_s" not in frame:
        doubts.append(Doubt("no_time", "There is no time column: charge and steps cannot be found."))
        return doubts
    if _counts_backwards(frame["current_a"].to_numpy(np.float64)):
        doubts.append(
            Doubt("negative_current", f"{_BACKWARDS} Swap its wires, or multiply the column by -1.", (), "wrong")
        )
    doubts += [Doubt("impossible", text, tuple(rows), "wrong") for text, rows in impossible_rows(frame)]
    time, amps, _, used, part = _clean(frame)
    if time.size < 2 or time[-1] <= 0.0:
        text = "The clock does not move: neither charge, minutes nor steps can be found."
        doubts.append(Doubt("still_clock", text, tuple(int(row) for row in used[:1000]), "wrong"))
        return doubts
    restarts = np.flatnonzero(np.diff(part))
    if restarts.size:
        logs = restarts.size + 1
        text = f"The clock starts again {restarts.size} times: {logs} logs are joined, and each counts by itself."
        text = text.replace(" 1 times", " once")
        doubts.append(Doubt("joined", text, tuple(int(used[j + 1]) for j in restarts), "note"))
    step = np.diff(time)
    within = np.diff(part) == 0
    gaps = np.flatnonzero(within & (step > max(5.0, 20.0 * float(np.median(step)))))
    if gaps.size:
        rows = tuple(int(used[g + 1]) for g in gaps[:200])
        doubts.append(
            Doubt(
                "gaps",
                f"The log has {gaps.size} gaps in time; charge in them is not counted."
                if gaps.size > 1
                else "The log has a gap in time; charge in it is not counted.",
                rows,
                "note",
            )
        )
    if "charge_ah" in frame:
        counted, summed = _counted(frame, time, amps, used, part), _integral(time, amps)
        if counted > 0.02 and summed > 0 and abs(np.log(counted / summed)) > CHARGE_BAND:
            text = (
                f"The charge counted ({1000 * counted:.0f} mAh) is {counted / summed:.2f} times the sum of the current "
                "over time: a unit or the clock is wrong."
            )
            doubts.append(Doubt("sensor_scale", text, tuple(int(r) for r in frame.index[[0, -1]])))
    return doubts
