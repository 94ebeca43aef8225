"""Bars of page Margins: parts that fit, share used of each limit, heat in a motor. Plain HTML."""

from __future__ import annotations

import html
import math
from collections.abc import Mapping, Sequence

from explorer.app_pages.margins.answers import HeatState
from explorer.text.markup import folded
from explorer.text.numbers import NARROW, Units, prose, value
from propmodel.assess.limits import Limit
from propmodel.heat.hot_motor import TOUCH

__all__ = ["BASIS", "close_bars", "fits_list", "heat_rows", "tied"]

SIGNS = {"clear": "✓ clear", "tight": "! tight", "over": "✕ over", "usual": "over, usual", "unknown": "? unknown"}
GUESS = "with a guess"
FIT_SIGNS = {"clear": "✓ fits", "tight": "! tight", "over": "✕ does not fit", "unknown": "? not checked"}
TOP = 1.5
"""Share at the right end of a bar; a larger share is cut, with an arrow. [-]"""
FEWEST_BARS = 3
"""Number of the worst limits shown with their remedies; more if more are over. The others are folded."""

BASIS = {
    "label": "Label: what the part is sold for. Makers measure in their own way, so treat it as a promise, not a law.",
    "common practice": "Common practice, from memory: where people who fly such craft stop.",
    "physics": "Physics: follows from the forecast alone, no label is asked.",
    "fit": "Fitted to thrust stands and makers' tables.",
    "estimate": "Estimate: heat and cooling are modelled; no measurement of such parts in the wash was found.",
    "your limit": "A number you set yourself; what it means is for your local rules.",
}


def tied(text: str) -> str:
    """Return text with formatted numbers, without a break between number and unit.

    Examples
    --------
    >>> tied("A cap of 91 % helps.") == "A cap of 91\\u00a0% helps."
    True
    """
    return prose(text)


def _basis(text: str, more: str = "") -> str:
    words = " ".join([more, *(phrase for key, phrase in BASIS.items() if key in text)]).strip() or text
    # a <details> element: opens without the server and can be used by keyboard
    return f'<details class="basis"><summary>{html.escape(prose(text))}</summary><p>{html.escape(words)}</p></details>'


def _name(one: Limit) -> str:
    return html.escape(one.name[:1].upper() + one.name[1:])


def fits_list(found: Sequence[Limit]) -> str:
    """Return a list of parts that do not fit, then folded those that fit and those without data.

    Parameters
    ----------
    found : sequence of Limit
        All limits; only those of kind "fits" are used.

    Returns
    -------
    str
        A list, HTML.
    """
    rows: dict[str, list[str]] = {state: [] for state in FIT_SIGNS}
    for one in found:
        if one.kind != "fits":
            continue
        text = one.remedy if one.state == "unknown" else f"{one.sentence} {one.remedy}".strip()
        rows[one.state].append(
            f'<li class="{one.state}"><span class="sign '
            f'wi-{one.state}">{FIT_SIGNS[one.state]}</span><b>{_name(one)}</b>'
            f'<span class="why">{html.escape(tied(text))}</span><span class="on">{_basis(one.basis)}</span></li>'
        )
    bad, fine, unknown = (rows[state] for state in ("over", "clear", "unknown"))
    counts = [f"{len(fine)} fit"] * bool(fine) + [f"{len(unknown)} not checked"] * bool(unknown)
    markup = f'<ul class="wi-fits">{"".join(bad)}</ul>' if bad else ""
    return markup + folded(", ".join(counts), f'<ul class="wi-fits">{"".join([*fine, *unknown])}</ul>')


def close_bars(
    found: Sequence[Limit],
    *,
    bands: Mapping[str, tuple[float, float]],
    pinned: Sequence[Mapping[str, float]] = (),
    guessed: bool = False,
) -> str:
    """Return bars of the share used, worst first: those over, the worst few with remedies, and the others folded.

    Parameters
    ----------
    found : sequence of Limit
        All limits; only those of kind "share" are used.
    bands : mapping
        Key of the limit -> ends of its band. [-]
    pinned : sequence of mapping
        Key of the limit -> share, for each pinned build, the latest first. [-]
    guessed : bool
        Whether a label is open: then no bar says whether a limit is kept.

    Returns
    -------
    str
        Bars with text, HTML.
    """
    rows = [one for one in found if one.kind == "share" and one.state != "unknown"]
    unknown = [one for one in found if one.kind == "share" and one.state == "unknown"]
    out = []
    bars = FEWEST_BARS if guessed else max(FEWEST_BARS, sum(one.state == "over" for one in rows))
    for k, one in enumerate(rows):
        # a remedy that must come first applies to all of them: written once
        again = k > 0 and one.fix == rows[k - 1].fix and one.fix.startswith("First ")
        fix = f'<p class="fix">{html.escape(tied(one.remedy))}</p>' if one.fix and not again else ""
        bar = _bar(one, bands, pinned, first=k in (0, bars), guessed=guessed)
        out.append(f'<li class="{"clear" if guessed else _state(one)}"><div>{bar}</div>{fix}</li>')
    tight = sum(one.state == "tight" for one in rows[bars:])
    left = len(out) - bars
    summary = f"{left} more" if guessed and left > 0 else ""
    summary = (
        summary or f"{left} more within their limits{f', {tight} of them tight' if tight else ''}" if left > 0 else ""
    )
    rest_of_bars = folded(summary, f'<ul class="wi-close">{"".join(out[bars:])}</ul>')
    rest = ""
    if unknown:
        names = ", ".join(one.name for one in unknown)
        asks = "".join(f"<li>{html.escape(one.ask)}</li>" for one in unknown if one.ask)
        rest = folded(f"{len(unknown)} not checked: {names}", f'<ul class="rest">{asks}</ul>')
    return f'<ul class="wi-close">{"".join(out[:bars])}</ul>{rest_of_bars}{rest}'


def _state(one: Limit) -> str:
    return "usual" if one.usual else one.state


def _at(share: float) -> float:
    return 100.0 * min(max(share, 0.0), TOP) / TOP


def _bar(
    one: Limit,
    bands: Mapping[str, tuple[float, float]],
    pinned: Sequence[Mapping[str, float]],
    *,
    first: bool,
    guessed: bool,
) -> str:
    look = "clear" if guessed else _state(one)
    beyond = not math.isfinite(one.share) or one.share > TOP
    percent = f"{100.0 * one.share:.0f}{NARROW}%" if math.isfinite(one.share) and one.share < 9.995 else "far over"
    low, high = bands.get(one.key, (math.nan, math.nan))
    span = ""
    spread = ""
    if math.isfinite(low) and math.isfinite(high) and _at(high) - _at(low) > 0.4:
        span = f'<i class="span" style="left:{_at(low):.2f}%;width:{_at(high) - _at(low):.2f}%"></i>'
        if high < 9.995:
            spread = f' <span class="r">({100 * low:.0f} to {100 * high:.0f})</span>'
    there = ""
    mark = " marked" if len(pinned) > 1 else ""
    for place, theirs in enumerate(pinned):
        other = theirs.get(one.key, math.nan)
        if math.isfinite(other):
            there += f'<i class="there p{place}{mark}" style="left:{_at(other):.2f}%"></i>'
    named = '<span class="all">all used</span>' if first else ""
    return (
        f'<div class="label"><span class="sign wi-{look}">{GUESS if guessed else SIGNS[look]}</span><b>{_name(one)}</b>'
        f'<span class="pc">{percent}{spread}</span></div>'
        f'<div class="track{mark}" aria-hidden="true">{named}<i class="hatch"></i><i class="bar '
        f'{look}{" cut" if beyond else ""}" '
        f'style="width:{_at(one.share if math.isfinite(one.share) else TOP):.2f}%"></i><i '
        f'class="full"></i>{there}{span}</div>'
        f'<div class="why">{html.escape(tied(one.reason))}. {_basis(one.basis, tied(one.more))}</div>'
    )


def heat_rows(states: Sequence[HeatState], *, chosen: str, units: Units) -> str:
    """Return the heat in each motor per flight condition, as bars with the temperature of the bell in words.

    Parameters
    ----------
    states : sequence of HeatState
        One for each flight condition.
    chosen : str
        Name of the selected flight condition.
    units : Units
        Units selected by the user.

    Returns
    -------
    str
        Bars with text, HTML.
    """
    most = max((s.heat_flow for s in states if s.possible), default=1.0)
    rows = []
    for one in states:
        mark = ' aria-current="true" class="now"' if one.name == chosen else ""
        if not one.possible:
            rows.append(f"<li{mark}><div><b>{html.escape(one.name)}</b></div><div>it cannot hold this</div></li>")
            continue
        watts = f"{one.heat_flow:.1f}" if one.heat_flow < 9.95 else f"{one.heat_flow:.0f}"
        rows.append(
            f"<li{mark}><div class='label'><b>{html.escape(one.name)}</b> <b class='w'>{watts}{NARROW}W</b></div>"
            f"<div class='strip' aria-hidden='true'><i style='width:{100 * one.copper / most:.2f}%'></i>"
            f"<i class='iron' style='width:{100 * one.iron / most:.2f}%'></i></div>"
            f"<div class='why'>{html.escape(_settles(one, units))}</div></li>"
        )
    return f'<ul class="wi-heat">{"".join(rows)}</ul>'


def _settles(one: HeatState, units: Units) -> str:
    digits = 1 if one.copper + one.iron < 9.95 else 0
    parts = f"{one.copper:.{digits}f}{NARROW}W in the windings, {one.iron:.{digits}f}{NARROW}W in iron and bearings"
    if not math.isfinite(one.body):
        if math.isfinite(one.seconds):
            return f"{parts}; never settles: winding at its limit {value('seconds', one.seconds)} after a warm start"
        return f"{parts}; never settles"
    feel = "too hot to hold" if one.body > TOUCH else "warm to the hand" if one.body > 308.15 else "cool to the hand"
    limit = f", winding at its limit after {value('seconds', one.seconds)}" if math.isfinite(one.seconds) else ""
    return f"{parts}; the bell settles near {value('temperature', one.body, units)}, {feel}{limit}"
