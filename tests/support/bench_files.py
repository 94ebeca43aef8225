"""Measurement files typed for the tests: one small invented table, written in every layout that users bring.

The numbers are invented (a 6-inch propeller on a four-cell supply); layouts follow common practice of stand and
flight loggers.
"""

from __future__ import annotations

import io

import numpy as np

GF = 9.80665e-3  # newton per gram-force (ISO 80000-4, standard gravity)
THROTTLE = np.array([10.0, 20, 30, 40, 50, 60, 70, 80, 90, 100])
RPM = 19000.0 * (THROTTLE / 100) ** 0.75
VOLT = 16.4 - 0.9 * (THROTTLE / 100) ** 3
AMP = 0.2 + 21.0 * (RPM / 19000) ** 3
GRAM = 1100.0 * (RPM / 19000) ** 2
TORQUE = 0.118 * (RPM / 19000) ** 2  # N m

HEAD = ["Throttle (%)", "Voltage (V)", "Current (A)", "RPM", "Thrust (g)"]


def rows() -> list[list[float]]:
    """The table in percent, volt, ampere, rpm and gram-force."""
    return [list(map(float, row)) for row in zip(THROTTLE, VOLT, AMP, RPM, GRAM, strict=True)]


def text(
    head: list[str] | None = None,
    body: list[list[float]] | None = None,
    *,
    sep: str = ",",
    comma: bool = False,
    end: str = "\n",
    digits: int = 3,
) -> str:
    """Write a table; ``comma`` writes decimal commas."""
    lines = [] if head == [] else [sep.join(head or HEAD)]
    for row in body or rows():
        cells = [f"{value:.{digits}f}" for value in row]
        lines.append(sep.join(cell.replace(".", ",") if comma else cell for cell in cells))
    return end.join(lines) + end


def named(data: bytes | str, name: str) -> io.BytesIO:
    """An open binary file with a name, as an upload gives it."""
    stream = io.BytesIO(data.encode() if isinstance(data, str) else data)
    stream.name = name
    return stream


def holds(each: int = 40, *, pulse: bool = True, seed: int = 3) -> tuple[list[str], list[list[float]]]:
    """A dense log: each step held, the first half of a hold still settling; 100 rows a second."""
    rng = np.random.default_rng(seed)
    body, time = [], 0.0
    before = 0.0
    for i, throttle in enumerate(THROTTLE):
        for k in range(each):
            late = min(1.0, 0.4 + 1.3 * k / each)  # settled after half the hold
            gram = before + (GRAM[i] - before) * late
            noise = 1 + 0.004 * rng.normal(size=3)
            signal = 1000 + 10 * throttle if pulse else throttle
            body.append([time, signal, VOLT[i], AMP[i] * noise[0], RPM[i] * noise[1], gram * noise[2]])
            time += 0.01
        before = GRAM[i]
    return [
        "Time (s)",
        "Signal to ESC (µs)",
        "Voltage (V)",
        "Current (A)",
        "Electrical speed of rotor (RPM)",
        "Thrust (gf)",
    ], body
