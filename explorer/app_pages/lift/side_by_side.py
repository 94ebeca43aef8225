"""Two to four builds in one table: parts, headline results with their bands, first limit, price. Pure functions."""

from __future__ import annotations

import html
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from explorer.inputs import CHEMISTRY_NAMES, Inputs, measured_label
from explorer.inputs.build_names import distinct_names
from explorer.text.numbers import NARROW, Units, number, spread, value
from propmodel.assess.limits import Limit

__all__ = ["BEST", "Beside", "frame", "table"]

BEST = "\u25cf"
"""Symbol of the best value of a row; a shape, which does not need colour."""

_HEADLINES = (
    # kind of number, text, name of the result, +1 if more is better, -1 if less is better, 0 for
    # neither, SI unit
    ("mass", "Take-off mass", "mass", -1, "kg"),
    ("thrust_to_weight", "Thrust to weight", "thrust_to_weight", 1, "-"),
    ("percent", "Hover command", "hover_throttle", 0, "-"),
    ("minutes", "Minutes, flown your way", "minutes", 1, "s"),
    ("minutes", "Minutes in hover", "hover_time", 1, "s"),
    ("current", "Current flat out", "full_throttle_current", -1, "A"),
    ("power", "Watts to hover", "hover_power", -1, "W"),
)


@dataclass(frozen=True)
class Beside:
    """One build of the table.

    Parameters
    ----------
    inputs : Inputs
        The build.
    low, mid, high : object
        Headline results and the ends of their bands, with the fields of `explorer.forecasts.headlines.Headlines`.
    limits : sequence of Limit
        Worst first.
    price : float or None
        As typed, in any currency; None if blank.
    """

    inputs: Inputs
    low: object
    mid: object
    high: object
    limits: Sequence[Limit]
    price: float | None = None


def _g(x: float) -> str:
    return f"{x:g}"


def _motor(i: Inputs) -> str:
    return f"{_g(i.stator_d_mm)}{NARROW}x{NARROW}{_g(i.stator_h_mm)}{NARROW}mm, {_g(i.kv)}{NARROW}KV"


def _propeller(i: Inputs) -> str:
    if i.measured_propeller:
        return measured_label(i.measured_propeller)
    return f"{_g(i.diameter_in)}{NARROW}x{NARROW}{_g(i.pitch_in)}{NARROW}in, {i.blades} blades"


def _pack(i: Inputs) -> str:
    strings = f", {i.parallel} in parallel" if i.parallel > 1 else ""
    return f"{i.cells} cells {CHEMISTRY_NAMES[i.chemistry]}, {_g(i.capacity_mah)}{NARROW}mAh{strings}"


def _esc(i: Inputs) -> str:
    return "not told" if i.esc_a is None else f"{_g(i.esc_a)}{NARROW}A for each motor"


_PARTS = (("Motor", _motor), ("Propeller", _propeller), ("Pack", _pack), ("ESC", _esc))


def _first_limit(limits: Sequence[Limit]) -> tuple[str, float]:
    """Return the name and the share of the limit that is reached first."""
    judged = [one for one in limits if one.state != "unknown"]
    if not judged:
        return "none told", math.nan
    worst = judged[0]
    if worst.kind == "fits":
        return (f"{worst.part}: does not fit", math.inf) if worst.state == "over" else ("nothing over", 0.0)
    return f"{worst.name}: {100 * worst.share:.0f}{NARROW}%", float(worst.share)


def _best(values: Sequence[float], sense: int) -> set[int]:
    """Return the indices of the best values; empty if all are equal or fewer than two are known."""
    got = np.asarray(values, dtype=float)
    known = np.isfinite(got)
    if sense == 0 or known.sum() < 2:
        return set()
    top = float(np.max(sense * got[known]))
    first = {int(k) for k in np.flatnonzero(known & np.isclose(sense * got, top, rtol=2e-3))}
    return set() if len(first) == int(known.sum()) else first


def _rows(builds: Sequence[Beside], units: Units) -> list[tuple[str, list[str], set[int]]]:
    """Return the rows of the table: heading, text for each build, indices of the best."""
    rows: list[tuple[str, list[str], set[int]]] = [
        (name, [words(one.inputs) for one in builds], set()) for name, words in _PARTS
    ]
    for kind, name, answer, sense, _ in _HEADLINES:
        mids = [float(getattr(one.mid, answer)) for one in builds]
        cells = []
        for one, mid in zip(builds, mids, strict=True):
            if not math.isfinite(mid):
                cells.append("cannot")
                continue
            low, high = float(getattr(one.low, answer)), float(getattr(one.high, answer))
            band = spread(kind, low, high, units) if kind == "mass" else spread(kind, low, high)
            texts = value(kind, mid, units)
            cells.append(f"{texts} ({band})" if " to " in band else texts)
        rows.append((name, cells, _best(mids, sense)))
    limits = [_first_limit(one.limits) for one in builds]
    rows.append(("First limit, flat out for 10 s", [words for words, _ in limits], _best([s for _, s in limits], -1)))
    if any(one.price is not None for one in builds):
        prices = [math.nan if one.price is None else one.price for one in builds]
        price_cells = ["not told" if math.isnan(p) else number(p, 1) for p in prices]
        rows.append(("Price, as typed", price_cells, _best(prices, -1)))
    return rows


def _names(builds: Sequence[Beside]) -> list[str]:
    return ["this build", *distinct_names([one.inputs for one in builds[1:]], builds[0].inputs)]


def _cell(text: str) -> str:
    """Return the text of a cell, with its band in one line; HTML."""
    return re.sub(r"\(([^()]* to [^()]*)\)", r'<span class="r">(\1)</span>', html.escape(text))


def table(builds: Sequence[Beside], units: Units) -> str:
    """Return the table as HTML; user text is escaped.

    Parameters
    ----------
    builds : sequence of Beside
        The current build, then the pinned builds.
    units : Units
        Units selected by the user.

    Returns
    -------
    str
        A table, HTML.
    """
    head = "".join(f'<th scope="col">{html.escape(name)}</th>' for name in _names(builds))
    body = ""
    for name, cells, best in _rows(builds, units):
        price_row = "".join(
            f"<td>{f'<b>{BEST} {_cell(cell)}</b>' if k in best else _cell(cell)}</td>" for k, cell in enumerate(cells)
        )
        body += f'<tr><th scope="row">{html.escape(name)}</th>{price_row}</tr>'
    return (
        '<div class="wi-table wi-beside" role="group" tabindex="0" aria-label="Table: builds side by side">'
        f"<table><thead><tr><td></td>{head}</tr></thead><tbody>{body}</tbody></table></div>"
        f'<p class="wi-small">{BEST} best of its row. In brackets: where 8 in 10 craft with these labels land.</p>'
    )


def frame(builds: Sequence[Beside], units: Units) -> pd.DataFrame:
    """Return the table for a file: SI units in the headings, with low and high ends of the bands.

    Returns
    -------
    pandas.DataFrame
        One row per build.
    """
    rows = []
    for name, one in zip(_names(builds), builds, strict=True):
        row: dict[str, object] = {"build": name, **{part: words(one.inputs) for part, words in _PARTS}}
        for _, words, answer, _, unit in _HEADLINES:
            for end, got in (("", one.mid), (", low", one.low), (", high", one.high)):
                row[f"{words}{end} [{unit}]"] = float(getattr(got, answer))
        row["first limit"], row["share of the first limit [-]"] = _first_limit(one.limits)
        row["price, as typed"] = math.nan if one.price is None else one.price
        rows.append(row)
    out = pd.DataFrame(rows)
    return out.replace({NARROW: " "}, regex=True)
