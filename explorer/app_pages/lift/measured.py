"""Text on the measured pairs nearest to a build: differences, marks, sources. Pure functions."""

from __future__ import annotations

import html
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from explorer.app_pages.lift.figures import Marks
from explorer.figures.marks import MEASURED_MARKS
from explorer.text.numbers import NARROW, Units, number, prose, value
from propmodel.bench.pairs import NearPair, forecast

__all__ = ["HEADINGS", "SIGNS", "Nearest", "drawn", "how_near", "key", "marks_of", "rows", "sources"]

SIGNS = ("\u25c7", "\u25a1")
"""Marker symbols of the chart as characters, nearest pair first."""
ALIKE = 0.03
"""Relative difference below which two voltages count as equal. [-]"""
HEADINGS = ("Measured", "Throttle", "Volts", "Thrust", "Our forecast", "Current", "Our forecast", "rpm")


@dataclass(frozen=True)
class Nearest:
    """Measured pairs nearest to a build, and values for the comparison.

    Parameters
    ----------
    pairs : list of NearPair
        Nearest first.
    places : list of ndarray
        Throttle of the build at the motor command of each point; NaN above its command cap. [-]
    voltage : float
        Loaded voltage of the build's pack at full throttle, or at the highest throttle it can supply. [V]
    cap : float
        Command cap. [-]
    coaxial : bool
        Whether the rotors are coaxial; then no pair is drawn, because single rotors are not comparable.
    """

    pairs: list[NearPair]
    places: list[NDArray]
    voltage: float
    cap: float = 1.0
    coaxial: bool = False


def _volts(volts: float) -> str:
    return f"{number(volts, 0.1)}{NARROW}V"


def drawn(found: Nearest) -> list[tuple[NearPair, NDArray]]:
    """Return the pairs near enough for the chart, with their places; at most one for each marker symbol."""
    if found.coaxial:
        return []
    there = [
        (one, np.where(one.pair.usable, place, np.nan)) for one, place in zip(found.pairs, found.places, strict=True)
    ]
    return [(one, place) for one, place in there if one.near and np.isfinite(place).any()][: len(MEASURED_MARKS)]


def marks_of(found: Nearest) -> list[Marks]:
    """Return the points of the drawn pairs, without implausible points and points above the command cap."""
    return [Marks("measured", place, one.pair.thrust, one.pair.current) for one, place in drawn(found)]


def how_near(found: Nearest) -> str:
    """Return one line for the top of the page: how near the nearest measurement is."""
    first = found.pairs[0]
    words = ", ".join(first.differences)
    if words and first.near:
        words = f"as yours but {words}"
    text = f"Nearest measured parts: {words or 'the same as yours'}, at {first.pair.volts_label}"
    if not first.near:
        return prose(f"{text}; too far to compare.")
    if found.coaxial:
        return prose(f"{text}; single rotors, so not drawn over your pairs.")
    dots = drawn(found)
    if not any(one is first for one, _ in dots):
        return prose(f"{text}; beyond your throttle cap, so not drawn.")
    if abs(math.log(first.pair.full_voltage / found.voltage)) < ALIKE:
        return prose(f"{text}, as your pack flat out: {SIGNS[0]} below.")
    return prose(f"{text} (your pack gives {_volts(found.voltage)} flat out): {SIGNS[0]} below.")


def key(found: Nearest, rotors: int) -> str:
    """Return the legend of the marks as HTML; "" if none is drawn."""
    dots = drawn(found)
    if not dots:
        return ""
    parts = [
        f'<span class="key wrap"><i class="mark m{k}"></i>{html.escape(one.pair.label)}</span>'
        for k, (one, _) in enumerate(dots)
    ]
    ratios = [math.log(one.pair.full_voltage / found.voltage) for one, _ in dots]
    side = "above" if min(ratios) > ALIKE else "below" if max(ratios) < -ALIKE else ""
    tells = f"By their volts they should lie {side} the line." if side else ""
    if found.cap < 1.0:
        tells += f" They stand where your throttle cap of {100 * found.cap:.0f}{NARROW}% gives the same duty."
    return f'<p class="wi-small">Measured, one rotor times {rotors}: {"".join(parts)} {tells}</p>'


def _reading(v: float, words: Callable[[float], str]) -> str:
    return words(float(v)) if np.isfinite(v) else "not told"


def rows(found: Nearest, units: Units) -> list[list[str]]:
    """Return the rows of the table of points, for one rotor, with the forecast from the labels at the same voltage."""
    signs = {id(one): SIGNS[k] for k, (one, _) in enumerate(drawn(found))}
    out = []
    for one in found.pairs:
        pair = one.pair
        ours = forecast(pair)
        name = f"{signs.get(id(one), '')} {pair.motor_label}, {pair.propeller_label}".strip()
        for j in np.flatnonzero(pair.usable):
            thrust, current = (math.nan, math.nan) if ours is None else (ours.thrust[j], ours.supply_current[j])
            out.append(
                [
                    name,
                    f"{100 * pair.throttle[j]:.0f}{NARROW}%",
                    _reading(pair.voltage[j], _volts),
                    _reading(pair.thrust[j], lambda v: value("thrust", v, units)),
                    value("thrust", float(thrust), units) if np.isfinite(thrust) else "no stator stated",
                    _reading(pair.current[j], lambda v: value("current", v)),
                    value("current", float(current)) if np.isfinite(current) else "no stator stated",
                    _reading(60.0 * pair.rev_per_s[j], lambda v: number(v, 10)),
                ]
            )
    return out


def sources(found: Nearest) -> str:
    """Return the source of each pair, its differences and its defects, as HTML."""
    out = []
    for one in found.pairs:
        pair = one.pair
        doubt = f" Doubt: {html.escape(pair.doubt)}." if pair.doubt else ""
        source = pair.source[:1].upper() + pair.source[1:]
        differs = html.escape(prose(one.differs))
        out.append(
            f'<p class="wi-small"><b>{html.escape(pair.label)}</b>, against your labels: {differs}. '
            f"{html.escape(source)}.{doubt}</p>"
        )
    return (
        "".join(out)
        + '<p class="wi-small">A cold motor, a short run, one sample, no arms in the wash. The forecast is '
        "made from the sizes alone. The places are named in data/bench/SOURCE.md.</p>"
    )
