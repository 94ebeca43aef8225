"""Inference from the values: columns without a heading, units that are not stated, labels in a file name."""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np

from propmodel.base.arrays import FloatArray
from propmodel.base.units import GRAM, GRAM_FORCE, INCH, MM, POUND_FORCE

__all__ = ["columns_from_values", "force_unit", "labels_in", "torque_unit"]

THRUST_PER_WATT = 5.0
"""Typical thrust over electrical power at part throttle. [gf/W] Common practice: 2 to 15."""
SHAFT_SHARE = 0.7
"""Typical shaft power over electrical power at high throttle. [-] 0.59 to 0.84 in tables with torque."""


def columns_from_values(columns: list[FloatArray]) -> dict[str, tuple[int, str]]:
    """Infer the quantities in a table without a heading.

    Thrust and torque are proportional to the square of the speed. The voltage varies little and falls as the current
    rises. The throttle is the first monotone column within one of the usual ranges.

    Parameters
    ----------
    columns : list of ndarray, shape (rows,)
        One array per column, in any units.

    Returns
    -------
    dict
        Meaning -> (column number, reason).

    Examples
    --------
    >>> n = np.linspace(4000, 20000, 9)
    >>> table = [np.arange(20.0, 101, 10), 12 - n / 2e4, 10 * (n / 2e4) ** 3, n, 450 * (n / 2e4) ** 2]
    >>> {meaning: at for meaning, (at, _) in columns_from_values(table).items()}
    {'throttle': 0, 'voltage': 1, 'speed': 3, 'thrust': 4, 'current': 2}
    """
    found: dict[str, tuple[int, str]] = {}
    free = [i for i, values in enumerate(columns) if np.isfinite(values).sum() >= 3]

    def take(meaning: str, index: int, why: str) -> None:
        found[meaning] = (index, why)
        free.remove(index)

    for i in list(free):
        if _is_clock(columns[i]):
            take("time", i, "rises evenly row by row, as a clock does")
            break
    for i in list(free):
        values = columns[i][np.isfinite(columns[i])]
        top, low = values.max(), values.min()
        rising = np.mean(np.diff(values) >= 0) > 0.9 and top > low
        if rising and ((low >= 0 and top <= 1) or (low >= 0 and 40 <= top <= 100) or (low >= 900 and top <= 2100)):
            take("throttle", i, "rises row by row inside a throttle's range")
            break
    for i in list(free):
        values = columns[i][np.isfinite(columns[i])]
        middle = np.median(values)
        if 2.5 <= middle <= 75 and (values.max() - values.min()) < 0.35 * middle:
            take("voltage", i, f"stays near {middle:.3g}, as a supply does")
            break
    best: tuple[float, int, int] | None = None
    for i in free:  # the pair (speed, thrust): thrust / speed^2 is nearly the same in each row
        for j in free:
            speed, thrust = columns[i], columns[j]
            rows = np.isfinite(speed) & np.isfinite(thrust) & (speed > 0.3 * np.nanmax(speed)) & (thrust > 0)
            if i == j or np.nanmax(speed) < 1000 or rows.sum() < 3:
                continue
            scatter = float(np.std(np.log(thrust[rows] / speed[rows] ** 2)))
            growth = np.ptp(np.log(speed[rows]))
            if growth > 0.1 and scatter < 0.35 * growth and (best is None or scatter < best[0]):
                best = (scatter, i, j)
    if best is not None:
        _, i, j = best
        take("speed", i, f"column {j + 1} goes with its square, as thrust does with speed")
        take("thrust", j, f"goes with the square of column {i + 1}")
    turning = columns[found["speed"][0]] if "speed" in found else None
    for i in list(free):
        values = columns[i]
        rows = np.isfinite(values) & (values > 0.05 * np.nanmax(np.abs(values)))
        if rows.sum() < 3 or not 0.2 < np.nanmax(values) < 400:
            continue
        if turning is not None and rows.sum() >= 3 and np.ptp(np.log(np.maximum(turning[rows], 1))) > 0.05:
            slope = np.polyfit(np.log(np.maximum(turning[rows], 1)), np.log(values[rows]), 1)[0]
            if not 1.8 <= slope <= 5.0 or np.nanmax(values) < 0.5:
                continue
        take(
            "current",
            i,
            "grows faster than the square of the speed" if turning is not None else "size and growth",
        )
        break
    return found


CLOCK_ROWS = 100
"""Rows from which an evenly rising column is taken as a clock: a table of throttle steps is shorter. [-]"""


def _is_clock(values: FloatArray) -> bool:
    steps = np.diff(values)
    if values.size < CLOCK_ROWS or not np.isfinite(steps).all() or steps.min() <= 0.0:
        return False
    return bool(steps.max() <= 3.0 * np.median(steps))


def _nearest(ratio: float, factors: Mapping[str, float], middle: float) -> str:
    return min(factors, key=lambda unit: abs(np.log(max(ratio * factors[unit], 1e-12) / middle)))


def _middle_ratio(numerator: FloatArray, denominator: FloatArray) -> float | None:
    rows = np.isfinite(numerator) & np.isfinite(denominator) & (denominator > 0.2 * np.nanmax(denominator, initial=0))
    rows &= np.abs(numerator) > 0
    return float(np.median(np.abs(numerator[rows] / denominator[rows]))) if rows.sum() >= 1 else None


def force_unit(values: FloatArray, power: FloatArray | None) -> tuple[float, str, str]:
    """Infer the unit of thrust from thrust over electrical power, if the power is known.

    Parameters
    ----------
    values : ndarray
        Thrust in an unknown unit.
    power : ndarray or None
        Electrical power of the same rows, if known. [W]

    Returns
    -------
    (factor, unit, reason)
        Factor into newton, name of the unit, and reason in words.
    """
    factors = {"gf": GRAM_FORCE, "N": 1.0, "kgf": GRAM_FORCE / GRAM}
    if power is not None and np.nanmax(power, initial=0.0) > 1.0:
        ratio = _middle_ratio(values, power)
        if ratio is not None:
            unit = _nearest(ratio, {u: f / GRAM_FORCE for u, f in factors.items()}, THRUST_PER_WATT)
            each = ratio * factors[unit] / GRAM_FORCE
            return (
                factors[unit],
                unit,
                f"no unit in the heading; as {unit} it is {each:.2g} gf per watt, as usual",
            )
    top = np.nanmax(np.abs(values), initial=0.0)
    unit = "gf" if top > 40 else "N" if top > 4 else "kgf"
    return factors[unit], unit, f"no unit in the heading; judged by the largest value, {top:.4g}"


def torque_unit(values: FloatArray, speed: FloatArray | None, power: FloatArray | None) -> tuple[float, str, str]:
    """Infer the unit of torque from shaft power over electrical power, if speed and power are known.

    Parameters
    ----------
    values : ndarray
        Torque in an unknown unit.
    speed : ndarray or None
        Rotational speed of the same rows, if known. [1/s]
    power : ndarray or None
        Electrical power of the same rows, if known. [W]

    Returns
    -------
    (factor, unit, reason)
        Factor into newton metre, name of the unit, and reason in words.
    """
    factors = {
        "N m": 1.0, "N cm": 0.01, "mN m": 1e-3, "gf cm": GRAM_FORCE * 0.01, "kgf cm": GRAM_FORCE * 10,
        "lbf ft": POUND_FORCE * 0.3048,
    }  # fmt: skip
    if speed is not None and power is not None and np.nanmax(power, initial=0.0) > 1.0:
        ratio = _middle_ratio(values * 2 * np.pi * speed, power)
        if ratio is not None:
            unit = _nearest(ratio, factors, SHAFT_SHARE)
            share = ratio * factors[unit]
            return (
                factors[unit],
                unit,
                f"no unit in the heading; as {unit} the shaft gets {share:.0%} of the power",
            )
    return 1.0, "N m", "no unit in the heading, and no power to judge it by"


_NUM = r"(\d{1,2}(?:\.\d{1,2})?)"
_PROPELLER = re.compile(rf"(?<![\d.]){_NUM}\s*[x×*]\s*{_NUM}(?:\s*[x×*]\s*([2-8]))?(?![\d.]*\d)", re.IGNORECASE)


def labels_in(*texts: str) -> dict[str, object]:
    """Find KV, propeller, stator and cells in a file name or a label.

    Parameters
    ----------
    *texts : str
        File name, cells, comments; the first text that states a value is used.

    Returns
    -------
    dict
        Name -> value: ``kv`` [rpm/V], lengths [m], numbers of blades and cells [-].

    Examples
    --------
    >>> found = labels_in("2507_1800kv_6x4x3_3s.csv")
    >>> found["kv"], round(found["diameter"], 4), found["blades"], found["cells"], found["stator_diameter"]
    (1800.0, 0.1524, 3, 3, 0.025)
    """
    found: dict[str, object] = {}
    for text in texts:
        text = text[:300].replace("_", " ").replace(",", ".")
        kv = re.search(r"(?<!\d)(\d{3,5})\s*kv\b", text, re.IGNORECASE) or re.search(
            r"\bkv\s*[:=]?\s*(\d{3,5})\b", text, re.IGNORECASE
        )
        if kv and "kv" not in found and 80 <= float(kv.group(1)) <= 30000:
            found["kv"] = float(kv.group(1))
            stator = re.search(r"(?<!\d)([1-6]\d)(\d{2}(?:\.5)?)(?:\s*size)?\W*$", text[: kv.start()])
            if stator and 3 <= float(stator.group(2)) <= 40:
                found["stator_diameter"] = float(stator.group(1)) * MM
                found["stator_height"] = float(stator.group(2)) * MM
        size = _PROPELLER.search(text)
        if size and "diameter" not in found:
            diameter, pitch = float(size.group(1)), float(size.group(2))
            if 1.0 <= diameter <= 40.0 and 0.2 * diameter <= pitch <= 1.6 * diameter:
                found["diameter"], found["pitch"] = diameter * INCH, pitch * INCH
                words = re.search(r"(\d)\s*-?\s*blade", text, re.IGNORECASE)
                tri = re.search(r"\btri\b|three", text, re.IGNORECASE)
                named = size.group(3) or (words and words.group(1)) or ("3" if tri else None)
                found["blades"] = int(named) if named else 2
        cells = re.search(r"(?<![\d.x])(1[0-4]|[1-9])\s*s\b", text, re.IGNORECASE)
        if cells and "cells" not in found:
            found["cells"] = int(cells.group(1))
        if re.search(r"\bno ?prop|without prop|noprop", text, re.IGNORECASE):
            found["no_propeller"] = True
    return found
