"""Flight logs typed for the tests: an invented craft whose truth is known, written as flight loggers write.

All numbers are invented. A hover takes one power, so its current and its command rise as the pack empties.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

RESISTANCE = 0.030
"""Of pack and leads. [ohm]"""
HOVER_WATTS, HOVER_COMMAND = 290.0, 0.22
"""[W], [share at 24 V]"""
CRUISE_WATTS = 520.0
FULL_WATTS = 3200.0

Leg = tuple[str, float]
"""What is flown, and for how long. [s]"""
IN_PIECES: Sequence[Leg] = (
    ("ground", 6), ("hover", 7), ("play", 25), ("hover", 5), ("play", 30), ("hover", 6), ("ground", 4),
)  # fmt: skip
"""Hover, play, hover: no piece is long, and between them the current goes to ten times that of the hover."""
THEN_CRUISE: Sequence[Leg] = (
    ("ground", 5), ("hover", 9), ("play", 8), ("cruise", 55), ("play", 6), ("hover", 6), ("cruise", 40), ("ground", 4),
)  # fmt: skip
"""Most of the time a cruise at one speed, which is as steady as a hover."""


def flown(legs: Sequence[Leg], rate: float = 50.0, seed: int = 5) -> dict[str, np.ndarray]:
    """Time [s], volts, amps, motor command and charge [Ah] of a flight."""
    rng = np.random.default_rng(seed)
    rows = [(what, k) for what, seconds in legs for k in range(int(seconds * rate))]
    t = np.arange(len(rows)) / rate
    kind = np.array([what for what, _ in rows])
    # play: bursts and dives of half a second to a second and a half
    edges = np.cumsum(rng.uniform(0.5, 1.5, size=len(rows)))
    burst = np.exp(rng.uniform(np.log(60.0), np.log(FULL_WATTS), size=edges.size))[np.searchsorted(edges, t)]
    watts = np.select(
        [kind == "ground", kind == "hover", kind == "cruise"], [9.0, HOVER_WATTS, CRUISE_WATTS], default=burst
    )
    watts = watts * (1.0 + 0.02 * rng.normal(size=t.size))
    rest = 25.0 - 3.0 * np.cumsum(watts) / np.sum(watts)
    amps = (rest - np.sqrt(rest**2 - 4.0 * RESISTANCE * watts)) / (2.0 * RESISTANCE)
    volts = rest - RESISTANCE * amps
    command = np.where(
        kind == "ground", 0.05, np.clip(HOVER_COMMAND * (watts / HOVER_WATTS) ** 0.45 * 24.0 / volts, 0.05, 1.0)
    )
    charge = np.cumsum(amps) / rate / 3600.0
    volts = volts + 0.02 * rng.normal(size=t.size)
    return {"t": t, "v": volts, "i": amps, "throttle": command, "q": charge, "kind": kind}


def motors_log(f: dict[str, np.ndarray]) -> str:
    """Microseconds, volts, amps and four motor outputs as shares of the largest, comma separated."""
    out = ["time (us), vbat of pack (V), amperage of pack (A), " + ", ".join(f"motor output {k}" for k in range(4))]
    for t, v, i, c in zip(f["t"], f["v"], f["i"], f["throttle"], strict=True):
        out.append(f"{t * 1e6:.0f}, {v:.2f}, {i:.2f}, " + ", ".join(f"{48 + 1999 * c:.0f}" for _ in range(4)))
    return "\n".join(out)


def telemetry_log(f: dict[str, np.ndarray], rate: float = 50.0) -> str:
    """One row a second, each the mean of that second: volts, amps, mAh, no throttle."""
    every = int(rate)
    out = ["Time (s),Batt(V),Curr(A),Capa(mAh)"]
    for k in range(0, f["t"].size - every + 1, every):
        second = slice(k, k + every)
        volts, amps, charge = f["v"][second].mean(), f["i"][second].mean(), f["q"][second][-1]
        out.append(f"{f['t'][k]:.1f},{volts:.2f},{amps:.2f},{1000 * charge:.0f}")
    return "\n".join(out)
