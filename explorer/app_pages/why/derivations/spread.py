"""Worked example of the spread. Pure functions."""

from __future__ import annotations

import math

from explorer.app_pages.why.derivations.derivation import Derivation
from propmodel.assembly.build import Build
from propmodel.base.arrays import number
from propmodel.studies.spread import bands, contributions

__all__ = [
    "spread_working",
]

NINE_IN_TEN = 1.2816
"""Standard normal quantile of 90 %: half width of the 80 % interval in standard deviations. [-]"""


def spread_working(b: Build) -> Derivation:
    """Return the worked example of the spread."""
    low, mid, high = bands(b)
    ratio, ends = (
        number(mid.thrust_to_weight),
        (number(low.thrust_to_weight), number(high.thrust_to_weight)),
    )
    rows = [row for row in contributions(b, "thrust_to_weight") if row.log_sd > 0.0]
    total = math.sqrt(sum(row.log_sd**2 for row in rows))
    # half the width of the band in logarithms: from the sum of squares, and from the random draws of all inputs
    got, drawn = NINE_IN_TEN * total, 0.5 * math.log(ends[1] / ends[0])
    terms = " + ".join(f"{100 * row.log_sd:.1f}^2" for row in rows[:5])
    more = f" + {len(rows) - 5} smaller" if len(rows) > 5 else ""
    names = ", ".join(f"{row.group} {100 * row.log_sd:.0f} %" for row in rows[:5])
    return Derivation(
        [
            (
                "Each thing alone",
                f"thrust to weight would spread by: {names}",
                "One standard deviation; two propellers of one label differ by a sixth.",
            ),
            (
                "All together",
                f"sqrt({terms}{more}) = {100 * total:.0f} %",
                "Independent errors add by their squares: the largest dominates.",
            ),
            (
                "Eight in ten",
                f"{ratio:.1f} times its weight, multiplied and divided by exp(1.28 x {total:.2f}) = "
                f"{math.exp(got):.2f}: {ratio / math.exp(got):.1f} to {ratio * math.exp(got):.1f}",
                f"Bell curve in the logarithm. The engine draws all at once: {ends[0]:.1f} to {ends[1]:.1f}, lopsided "
                "where limits bite.",
            ),
        ],
        got,
        drawn,
        within=0.15,
    )
