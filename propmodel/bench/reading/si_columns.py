"""Conversion of the columns of a file into one table in SI units: choice of columns, units, signs, and reasons."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal, NamedTuple

import numpy as np
import pandas as pd

from propmodel.base.arrays import FloatArray
from propmodel.bench.reading.guesses import columns_from_values, force_unit, torque_unit
from propmodel.bench.reading.headings import SI_NAMES, SI_UNITS, guess_scale, unit_factor
from propmodel.bench.reading.numbers import digital_share, running_clock
from propmodel.bench.reading.raw_table import RawTable
from propmodel.bench.reading.records import BenchFileError, Doubt, Guess

__all__ = ["Tidy", "tidy"]


class Tidy(NamedTuple):
    """Table in SI units, with the inferences and quality flags of its conversion."""

    kind: Literal["stand", "flight"]
    """Kind of log."""
    frame: pd.DataFrame
    """One row per row of the file, in SI units; the unit is the end of each column's name."""
    guesses: list[Guess]
    """Interpretation of each column."""
    doubts: list[Doubt]
    """Quality flags found during the conversion."""
    notes: list[str]
    """Sentences about the layout of the file."""


class ColumnChooser:
    """Chooses one column for each meaning and converts it into SI units."""

    def __init__(self, table: RawTable, units: Mapping[str, str]) -> None:
        self.table, self.units = table, units
        self.layout = table.layout
        self.guesses: list[Guess] = []
        self.notes: list[str] = [table.layout.note]
        self.used: set[int] = set()
        self.scale: dict[str, str] = {}
        self.reasons: dict[int, str] = {}

    def candidates(self, meaning: str) -> list[int]:
        found = [i for i, item in enumerate(self.layout.parsed) if item.meaning == meaning and i in self.table.numbers]
        found.sort(key=lambda i: (self.layout.parsed[i].penalty, i))
        return [i for i in found if np.isfinite(self.table.numbers[i]).any()]

    def say(self, index: int, meaning: str, unit: str, why: str) -> None:
        self.used.add(index)
        self.guesses.append(Guess(self.layout.headings[index] or f"column {index + 1}", meaning, unit, why))

    def into_si(self, meaning: str, index: int, why_meaning: str = "named in the heading") -> FloatArray:
        """Convert one column by the unit of the user, of the heading, or inferred from its values; record the
        reason."""
        values = self.table.numbers[index]
        stated = self.units.get(meaning) or self.layout.parsed[index].unit
        chosen = "chosen by the user" if self.units.get(meaning) else "unit in the heading"
        if self.units.get(meaning) and self._own(meaning, stated) is None:
            raise BenchFileError(f"{stated!r} is not a unit known for {meaning}: choose another unit for that column")
        factor = unit_factor(meaning, stated) if stated else None
        family = "throttle" if meaning.startswith("motor_output") else meaning
        if stated and self._own(meaning, stated) is not None and factor is None:
            factor = self._own(meaning, stated)
        if factor is None:
            factor, stated, why = guess_scale(meaning, values)
        else:
            why = chosen
            if family == "throttle" and factor == 0.01 and 0.0 < np.nanmax(np.abs(values), initial=0.0) <= 1.0:
                factor, why = 1.0, "headed as percent, but no value above 1"
            if family == "throttle" and np.isnan(factor) and np.nanmax(np.abs(values), initial=0.0) <= 110.0:
                factor, stated, why = guess_scale(meaning, values)
            if family in ("voltage", "current") and not self.units.get(meaning) and factor == 1.0:
                middle = float(np.nanmedian(np.abs(values)))
                if family == "voltage" and middle > 150.0:
                    factor, stated, why = guess_scale(meaning, values)
                    why = f"headed as volts, but half the values lie above {middle:.4g}"
        self.say(index, meaning, stated or SI_UNITS.get(meaning, ""), f"{self.reasons.get(index, why_meaning)}; {why}")
        self.scale[meaning] = stated
        if family == "throttle":
            if np.isnan(factor):
                return np.where(values > 0, np.clip((values - 1000.0) / 1000.0, 0.0, 1.2), 0.0 * values)
            if factor == -1.0:
                return np.where(np.isfinite(values), digital_share(values), np.nan)
        return values * factor

    @staticmethod
    def _own(meaning: str, unit: str) -> float | None:
        known = {
            "share": 1.0,
            "digital command": -1.0,
            "hundredths of v": 1e-2,
            "hundredths of a": 1e-2,
            "tenths of v": 0.1,
            "hundredths of electrical rpm": 100 / 60,
            "hundreds of electrical rpm": 100 / 60,
            "gf cm": 9.80665e-5,
        }
        return known.get(unit.strip().lower(), unit_factor(meaning, unit))


def tidy(
    table: RawTable,
    *,
    units: Mapping[str, str],
    poles: int | None,
    logger_poles: int,
    kind: str | None = None,
) -> Tidy:
    """Choose the columns and convert them into SI units.

    Parameters
    ----------
    table : RawTable
        The columns of the file.
    units : mapping
        Meaning -> unit chosen by the user.
    poles : int, optional
        Number of magnet poles of the motor, if it differs from the setting of the logger. [-]
    logger_poles : int
        Number of poles set in the logger. [-]
    kind : {"stand", "flight"}, optional
        Kind of log; None infers it.

    Returns
    -------
    Tidy
        The table in SI units.
    """
    pick = ColumnChooser(table, units)
    doubts: list[Doubt] = []
    if not table.layout.has_heading:
        _name_columns(table, pick, doubts)
    outputs = sorted(pick.candidates("motor_output"), key=lambda i: table.layout.parsed[i].index or 0)
    chosen = {meaning: found[0] for meaning in SI_NAMES if (found := pick.candidates(meaning))}
    doubts += _same_headings(table, pick, chosen)
    stand_like = "thrust" in chosen or "torque" in chosen
    flying = "time" in chosen and ("voltage" in chosen or "current" in chosen) and not stand_like
    flying &= len(outputs) >= 2 or "charge" in chosen or not ({"throttle", "speed"} <= set(chosen))
    found_kind: Literal["stand", "flight"] = "flight" if flying or (len(outputs) >= 3 and not stand_like) else "stand"
    if kind in ("stand", "flight"):
        found_kind = kind  # type: ignore[assignment]
    data: dict[str, Any] = {}
    why = "named in the heading"
    for meaning in ("time", "throttle", "voltage", "current", "power", "charge", "shaft_power"):
        if meaning in chosen and not (found_kind == "stand" and meaning == "charge"):
            data[SI_NAMES[meaning]] = pick.into_si(meaning, chosen[meaning], why)
    _hundredths(pick, data)
    if "time_s" in data:
        data["time_s"] = running_clock(data["time_s"])
    _speeds(pick, data, chosen, poles, logger_poles, doubts)
    power = data.get("power_w")
    if power is None and "voltage_v" in data and "current_a" in data:
        power = data["voltage_v"] * data["current_a"]
    if found_kind == "stand":
        _thrust_and_torque(pick, data, chosen, power)
    for place, index in enumerate(outputs[:8], start=1):
        data[f"motor_{place}_share"] = pick.into_si("motor_output", index)
    erpm = sorted(pick.candidates("motor_erpm"), key=lambda i: table.layout.parsed[i].index or 0)
    for place, index in enumerate(erpm[:8], start=1):
        pairs = (poles or logger_poles) / 2.0
        data[f"motor_{place}_rev_per_s"] = pick.into_si("motor_erpm", index, f"{pairs:g} pole pairs taken") / pairs
    frame = pd.DataFrame(data)
    if found_kind == "stand":
        _texts(table, pick, frame)
    frame["source_row"] = table.source_row
    _refuse_useless(table, frame, found_kind)
    _say_rest(table, pick)
    return Tidy(found_kind, frame, pick.guesses, doubts, pick.notes)


def _same_headings(table: RawTable, pick: ColumnChooser, chosen: Mapping[str, int]) -> list[Doubt]:
    """Flag columns with the same heading but different values."""
    found = []
    for meaning, index in chosen.items():
        name, mine = table.layout.headings[index].strip().lower(), table.numbers[index]
        others = [
            i for i in pick.candidates(meaning) if i != index and table.layout.headings[i].strip().lower() == name
        ]
        if name and any(not np.array_equal(table.numbers[i], mine, equal_nan=True) for i in others):
            found.append(
                Doubt(
                    "same_heading",
                    f"Several columns are headed '{table.layout.headings[index].strip()[:40]}': the first is "
                    f"taken for {meaning.replace('_', ' ')}. Check which is meant.",
                )
            )
    return found


def _name_columns(table: RawTable, pick: ColumnChooser, doubts: list[Doubt]) -> None:
    parsed = list(table.layout.parsed)
    named_by_user = {item.meaning for item in parsed if item.meaning}
    found = columns_from_values([table.numbers[i] for i in sorted(table.numbers)])
    found = {m: at for m, at in found.items() if m not in named_by_user and parsed[at[0]].meaning is None}
    for meaning, (index, why) in found.items():
        pick.reasons[index] = why
        parsed[index] = parsed[index]._replace(meaning=meaning, penalty=4)
    table.layout = pick.layout = table.layout._replace(parsed=parsed)
    named = "; ".join(f"column {i + 1} as {meaning} ({why})" for meaning, (i, why) in found.items())
    if not found and not named_by_user:
        raise BenchFileError(
            "no heading is known, and the columns cannot be told apart by their numbers: choose what they are, or name "
            "them in the first line",
            table.layout.headings,
        )
    if not found:
        return
    doubts.append(Doubt("guessed_columns", f"No heading is known. Taken: {named}. Check that this is right."))


def _hundredths(pick: ColumnChooser, data: dict[str, Any]) -> None:
    """If the voltage is in hundredths of a volt, take the current as in hundredths of an ampere too."""
    current = data.get("current_a")
    if current is None or pick.units.get("current") or pick.scale.get("voltage") != "hundredths of V":
        return
    if pick.scale.get("current", "").lower() in ("a", "") and np.nanmax(np.abs(current), initial=0.0) > 100.0:
        data["current_a"] = current * 0.01
        at = next(i for i, guess in enumerate(pick.guesses) if guess.meaning == "current")
        pick.guesses[at] = Guess(
            pick.guesses[at].column,
            "current",
            "hundredths of A",
            "the voltage is in hundredths, so is the current",
        )


def _speeds(
    pick: ColumnChooser,
    data: dict[str, Any],
    chosen: dict[str, int],
    poles: int | None,
    logger_poles: int,
    doubts: list[Doubt],
) -> None:
    """Choose the mechanical speed: the optical one, else the speed column, else electrical rpm over pole pairs."""
    electrical: FloatArray | None = None
    if "speed" in chosen:
        electrical = pick.into_si("speed", chosen["speed"])
        if poles and poles != logger_poles:
            electrical = electrical * (logger_poles / poles)
            pick.notes.append(f"Speed corrected from {logger_poles} poles in the logger to {poles} of the motor.")
    elif found := pick.candidates("erpm"):
        count = poles or logger_poles
        electrical = pick.into_si("erpm", found[0], f"{count} poles taken") / (count / 2.0)
    optical = None
    for index in pick.candidates("optical"):
        values = pick.table.numbers[index]
        if np.nanmax(np.abs(values), initial=0.0) > 0:
            optical = pick.into_si("optical", index)
            break
        pick.say(index, "not used", "", "optical speed, zero throughout: no sensor fitted")
    if optical is not None and electrical is not None:
        both = np.isfinite(optical) & np.isfinite(electrical) & (optical > 0.2 * np.nanmax(optical)) & (electrical > 0)
        ratio = float(np.median(optical[both] / electrical[both])) if both.any() else 1.0
        if abs(np.log(ratio)) > 0.06:
            rows = tuple(int(i) for i in np.flatnonzero(both)[:50])
            doubts.append(
                Doubt(
                    "pole_count",
                    f"The optical speed is {ratio:.2f} times the electrical: the pole count in the logger is wrong "
                    f"(with {logger_poles} set, the motor has about {logger_poles / ratio:.0f}); the optical is used.",
                    rows,
                    "wrong",
                )
            )
        data["speed_rev_per_s"] = np.where(np.isfinite(optical) & (optical > 0), optical, np.nan)
    elif optical is not None or electrical is not None:
        data["speed_rev_per_s"] = optical if electrical is None else electrical
    if "speed_rev_per_s" in data:
        data["speed_rev_per_s"] = np.abs(data["speed_rev_per_s"])


def _thrust_and_torque(
    pick: ColumnChooser, data: dict[str, Any], chosen: dict[str, int], power: FloatArray | None
) -> None:
    for meaning in ("thrust", "torque"):
        if meaning not in chosen:
            continue
        index = chosen[meaning]
        values = pick.into_si(meaning, index)
        last = pick.guesses[-1]
        if "no unit" in last.why:
            raw = pick.table.numbers[index]
            speed = data.get("speed_rev_per_s")
            factor, unit, why = force_unit(raw, power) if meaning == "thrust" else torque_unit(raw, speed, power)
            values = raw * factor
            pick.guesses[-1] = last = Guess(
                last.column, meaning, unit, f"{pick.reasons.get(index, 'named in the heading')}; {why}"
            )
        finite = values[np.isfinite(values)]
        top = np.percentile(np.abs(finite), 95) if finite.size else 0.0  # not a single spike
        large = finite[np.abs(finite) > 0.3 * top]
        if large.size and np.median(large) < 0:
            values = -values
            reversed_sign = "negative where it is large (pulling, or turned the other way): sign changed"
            pick.guesses[-1] = Guess(last.column, meaning, last.unit, f"{last.why}; {reversed_sign}")
        data[SI_NAMES[meaning]] = values


def _texts(table: RawTable, pick: ColumnChooser, frame: pd.DataFrame) -> None:
    """Fill motor, propeller and pack names down from the first row of each block, and number the blocks."""
    block = np.zeros(len(frame), np.int64)
    for meaning in ("motor", "propeller", "cells"):
        for index in (i for i, item in enumerate(table.layout.parsed) if item.meaning == meaning and i in table.texts):
            cells = pd.Series(table.texts[index], dtype=object).map(
                lambda cell: None if cell is None or cell != cell or not str(cell).strip() else str(cell).strip()[:120]
            )
            if cells.notna().any() and meaning not in frame:
                names = cells.ffill()
                frame[meaning] = names.to_numpy()
                block += (names.fillna("") != names.fillna("").shift(fill_value=names.fillna("").iloc[0])).to_numpy()
                pick.say(index, meaning, "", "a name; where blank, the one above holds")
    frame["block"] = np.cumsum(block > 0)


def _refuse_useless(table: RawTable, frame: pd.DataFrame, kind: str) -> None:
    have = {name for name in frame.columns if name.endswith(("_n", "_nm", "_v", "_a", "_per_s", "_share", "_w"))}
    if kind == "stand":
        enough = (
            "thrust_n" in have or "torque_nm" in have or len(have & {"speed_rev_per_s", "current_a", "voltage_v"}) >= 2
        )
    else:
        enough = bool(have & {"voltage_v", "current_a"})
    if not enough:
        headings = ", ".join(repr(name[:30]) for name in table.layout.headings[:8])
        raise BenchFileError(
            f"none of its columns ({headings}) is a thrust, or a speed or voltage with a current: "
            "write what they are into the headings, such as thrust (g), voltage (V), current (A), or take another file",
            table.layout.headings,
        )


def _say_rest(table: RawTable, pick: ColumnChooser) -> None:
    for i, item in enumerate(table.layout.parsed):
        if i not in pick.used:
            name = table.layout.headings[i]
            why = (
                "heading not known"
                if item.meaning is None
                else f"another column was better for {item.meaning}, or it is blank"
            )
            if name.strip():
                pick.guesses.append(Guess(name, "not used", "", why))
    if table.row_stride > 1:
        pick.notes.append(f"Very long log: every {table.row_stride}th row was kept.")
