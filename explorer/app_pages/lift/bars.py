"""Bars of page Lift: usual ranges, power split, limits with the largest share used.

Each is a few bars with text. They are plain HTML, which is fast, wraps on a phone, can be printed, and can be read by a
screen reader.
"""

from __future__ import annotations

import html
import math
from collections.abc import Sequence
from dataclasses import dataclass

from explorer.text.numbers import prose, value
from propmodel.assess.limits import Limit
from propmodel.flight.power_split import PowerSplit

__all__ = ["margin_bars", "power_steps", "ruler"]

# ---- what people fly --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Size:
    name: str
    up_to: float
    thrust: tuple[float, float]
    hover: tuple[float, float]


# Usual thrust to weight and hover throttle by size; common practice, from memory.
_SIZES = (
    _Size("1.2- to 2-inch", 2.2, (2.0, 4.0), (0.30, 0.55)),
    _Size("3-inch", 4.3, (4.0, 8.0), (0.20, 0.35)),
    _Size("5-inch", 6.2, (5.0, 10.0), (0.18, 0.30)),
    _Size("7-inch", 8.2, (3.0, 6.0), (0.25, 0.38)),
    _Size("10-inch", 99.0, (2.2, 4.5), (0.30, 0.45)),
)


@dataclass(frozen=True)
class _Scale:
    """One strip: zones of (from, to, kind, label) and ticks of (value, label)."""

    name: str
    top: float
    zones: tuple[tuple[float, float, str, str], ...]
    ticks: tuple[tuple[float, str], ...]


_THRUST_LABEL = _Scale(
    "Thrust to weight",
    12.0,
    ((0.0, 2.0, "refuse", "too weak"), (2.0, 4.0, "", "lifters"), (4.0, 8.0, "", "relaxed"), (8.0, 12.0, "", "quick")),
    ((0.0, "0"), (2.0, "2"), (4.0, "4"), (8.0, "8"), (12.0, "12")),
)
_HOVER = _Scale(
    "Hover",
    0.8,
    (
        (0.0, 0.18, "", "jumpy"),
        (0.18, 0.35, "", "most craft"),
        (0.35, 0.5, "", "heavy"),
        (0.5, 0.8, "refuse", "little left"),
    ),
    ((0.0, "0"), (0.18, "18"), (0.35, "35"), (0.5, "50"), (0.8, "80 %")),
)


def ruler(
    *,
    diameter_in: float,
    thrust: tuple[float, float, float],
    hover: tuple[float, float, float],
    pinned_thrust: Sequence[float],
    pinned_hover: Sequence[float],
) -> str:
    """Return two strips: thrust to weight and hover throttle, with their usual ranges.

    Parameters
    ----------
    diameter_in : float
        Propeller diameter, for the usual range. [in]
    thrust, hover : tuple of float
        Low end, forecast, high end. [-]
    pinned_thrust, pinned_hover : sequence of float
        Values of the pinned builds, the latest first. [-]

    Returns
    -------
    str
        Both strips, HTML.
    """
    size = next(s for s in _SIZES if diameter_in <= s.up_to)
    low, high = (f"{100.0 * share:.0f}" for share in size.hover)
    usual = (f"most {size.name}: {size.thrust[0]:g} to {size.thrust[1]:g}", f"most {size.name}: {low} to {high} %")
    hovers = value("percent", hover[1]) if math.isfinite(hover[1]) else "cannot"
    strips = (
        _strip(_THRUST_LABEL, value("thrust_to_weight", thrust[1]), usual[0], thrust, pinned_thrust, size.thrust),
        _strip(_HOVER, hovers, usual[1], hover, pinned_hover, size.hover),
    )
    return f'<div class="wi-ruler">{"".join(strips)}</div>'


def _strip(
    scale: _Scale,
    said: str,
    usual: str,
    span: tuple[float, float, float],
    others: Sequence[float],
    usual_span: tuple[float, float],
) -> str:
    def at(v: float) -> float:
        return 100.0 * min(max(v / scale.top, 0.0), 1.0)

    def span_at(low: float, high: float) -> str:
        return f'style="left:{at(low):.2f}%;width:{at(high) - at(low):.2f}%"'

    parts = []
    mark = " marked" if len(others) > 1 else ""
    for low, high, kind, name in scale.zones:
        parts.append(f'<div class="zone {kind}" {span_at(low, high)}></div>')
        parts.append(f'<div class="zone-name" style="left:{0.5 * (at(low) + at(high)):.2f}%">{name}</div>')
    parts.append(f'<div class="usual" {span_at(*usual_span)}></div>')
    for k, (v, text) in enumerate(scale.ticks):
        end = " first" if k == 0 else " last" if k == len(scale.ticks) - 1 else ""
        parts.append(f'<div class="tick{end}" style="left:{at(v):.2f}%">{text}</div>')
    if all(math.isfinite(v) for v in span):
        parts.append(f'<div class="span" {span_at(span[0], span[2])}></div>')
        for place, other in enumerate(others):
            if math.isfinite(other):
                parts.append(f'<div class="there p{place}{mark}" style="left:{at(other):.2f}%"></div>')
        parts.append(f'<div class="here" style="left:{at(span[1]):.2f}%"></div>')
    return (
        f'<div class="wi-strip"><div class="what"><b>{scale.name} {html.escape(said)}</b>'
        f'<span>{html.escape(usual)}</span></div><div class="scale" aria-hidden="true">{"".join(parts)}</div></div>'
    )


# ---- where the watts go -----------------------------------------------------------------------------------

_STEPS = (
    ("induced_power", "lifts the craft (ideal)", "lift"),
    ("climb_and_drag_power", "pushes it through the air", "lift"),
    ("profile_power", "lost in the air: blade drag, swirl, arms", "air"),
    ("winding", "heat in the windings, half the ripple", "heat"),
    ("iron", "iron and bearings of the motors", "heat"),
    ("controller", "heat in ESC and leads, half the ripple", "heat"),
    ("electronics", "flight electronics", "aside"),
    ("pack", "heat inside the pack", "heat"),
)


def power_steps(split: PowerSplit) -> str:
    """Return the power split as bars; each begins at the end of the previous one.

    Parameters
    ----------
    split : PowerSplit
        Power split of one build in one flight condition. [W]

    Returns
    -------
    str
        A list, HTML.
    """
    total = float(split.total)
    done, rows = 0.0, []
    for name, words, kind in _STEPS:
        part = float(getattr(split, name))
        if name == "climb_and_drag_power" and part < 0.002 * total:
            continue
        left, width = 100.0 * done / total, 100.0 * part / total
        done += part
        # the gap before the text shrinks where the text would overflow at the right
        rows.append(
            f'<li><div class="words"><i style="flex-basis:{left:.2f}%"></i><span class="label">'
            f"<b>{value('power', part)}</b> {words} <span>{width:.0f} %</span></span></div>"
            f'<div class="bar {kind}" style="margin-left:{left:.2f}%;width:{width:.2f}%"></div></li>'
        )
    return (
        f'<div class="wi-stairs"><ol>{"".join(rows)}</ol><div class="total"><span>leaves the cells</span>'
        f"<b>{value('power', total)}</b></div></div>"
    )


# ---- what is closest --------------------------------------------------------------------------------------

_SIGNS = {"clear": "✓ clear", "tight": "! tight", "over": "✕ over", "usual": "over, usual", "unknown": "? unknown"}
_GUESS = "with a guess"
CLOSEST_TOP = 1.5


def _used(share: float) -> str:
    return f"{100.0 * share:.0f} % used" if share < 10.0 else "more than 10 times"


def margin_bars(found: Sequence[Limit], *, guessed: bool = False) -> str:
    """Return the first few limits as bars of the share used, and parts that do not fit with their sentence.

    Parameters
    ----------
    found : sequence of Limit
        Worst first.
    guessed : bool
        Whether a label is open: then no bar says whether a limit is kept.

    Returns
    -------
    str
        A list, HTML.
    """
    rows = []
    for one in found:
        name = html.escape(one.name[:1].upper() + one.name[1:])
        words = html.escape(prose(f"{one.reason}. {one.fix}".strip()))
        state = "usual" if one.usual else one.state
        state = "clear" if guessed and one.kind == "share" else state
        why = f'<div class="why">{words}</div>' if one.kind == "fits" else ""
        sign = f'<span class="wi-{state}">{_GUESS if guessed and one.kind == "share" else _SIGNS[state]}</span>'
        if one.kind == "fits":
            fits = "does not fit" if one.state == "over" else ""
            rows.append(f'<li><div class="label">{sign}<b>{name}</b><span class="pc">{fits}</span></div>{why}</li>')
            continue
        width = 100.0 * min(one.share, CLOSEST_TOP) / CLOSEST_TOP
        rows.append(
            f'<li><div class="label">{sign}<b>{name}</b><span class="pc">{_used(one.share)}</span></div>'
            f'<div class="track" aria-hidden="true"><div class="bar {state}" style="width:{width:.1f}%"></div>'
            f'<div class="full" style="left:{100.0 / CLOSEST_TOP:.2f}%"></div></div>'
            f"{why}</li>"
        )
    return f'<div class="wi-near"><ul>{"".join(rows)}</ul></div>'
