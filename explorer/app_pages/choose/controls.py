"""Controls of page Choose: ranges as text, lists of parts, conditions, axes of the map.

Entered values are stored in the session besides the widgets, so that they are kept on a change of page.
"""

from __future__ import annotations

import html
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd
import streamlit as st

from explorer.app_pages.choose import looks, ranges
from explorer.app_pages.choose.looks import ASKED, LIMIT_WISHES, LOOKS, USUAL
from explorer.app_pages.choose.ranges import PRICE, RANGES, RangeError
from explorer.controls import page_frame
from explorer.inputs import CHEMISTRY_NAMES, Inputs
from explorer.saved.store import StoreError
from explorer.session import kept_values, shelf, state
from propmodel import parts

__all__ = [
    "Asked",
    "asked_now",
    "chosen_output",
    "entered_ranges",
    "lists_block",
    "more_conditions",
    "range_controls",
    "read_all",
    "three_controls",
]

NOUNS = {"motors": "motors", "propellers": "propellers", "packs": "packs", "controllers": "speed controllers"}
REACHES = {"near": "near this build", "wide": "wide", "own": "as typed below"}


def chosen_output(
    label: str, key: str, default: str, *, help_: str, names: tuple[str, ...] = ASKED, **more: Any
) -> str:
    """Draw the selection of a result, and return its name."""
    # passed as a value at each run, not only set once: it is displayed also if the browser loads late
    now = kept_values.get(key, default)
    at = names.index(now) if now in names else names.index(default)
    chosen = st.selectbox(label, names, index=at, format_func=lambda k: LOOKS[k].words, key=key, help=help_, **more)
    kept_values.keep_value(key, chosen)
    return chosen


# ---- ranges --------------------------------------------------------------------------------------------------


def entered_ranges(inputs: Inputs) -> dict[str, Any]:
    """Return the text of the range fields; ranges without user input are recomputed if the build is outside them."""
    held = kept_values.get("choose_ranges")
    reach = kept_values.first("choose_reach", "near")
    if held is None or (reach != "own" and not _within(inputs, held)):
        held = ranges.around(inputs, wide=reach == "wide")
        _set_ranges(held)
    return held


def _within(inputs: Inputs, held: Mapping[str, Any]) -> bool:
    try:
        return ranges.inside(inputs, read_all(inputs, held))
    except RangeError:
        return True


def _set_ranges(held: dict[str, Any]) -> None:
    kept_values.keep_value("choose_ranges", held)
    # new widget keys, so that the fields display the new text
    kept_values.keep_value("choose_epoch", _epoch() + 1)


def _epoch() -> int:
    return kept_values.get("choose_epoch", 0)


def _reached() -> None:
    reach = st.session_state[f"choose_reach:{_reach_key()}"]
    kept_values.keep_value("choose_reach", reach)
    if reach != "own":
        _set_ranges(ranges.around(state.usable(), wide=reach == "wide"))


def _reach_key() -> int:
    return kept_values.get("choose_typed", 0)


def _typed(name: str) -> None:
    text = st.session_state[f"choose_range:{_epoch()}:{name}"]
    kept_values.keep_value("choose_ranges", {**kept_values.get("choose_ranges"), name: text})
    if kept_values.get("choose_reach") != "own":
        kept_values.keep_value("choose_reach", "own")
        kept_values.keep_value("choose_typed", _reach_key() + 1)


def read_one(inputs: Inputs, name: str, text: Any) -> tuple:
    """Return the values of one range; raises RangeError."""
    if name == "stator":
        return ranges.read_stators(text, (inputs.stator_d_mm, inputs.stator_h_mm))
    if name == "chemistry":
        return ranges.read_chemistries(text)
    return ranges.read_range(text, name, float(getattr(inputs, name)))


def read_all(inputs: Inputs, held: Mapping[str, Any], skip: tuple[str, ...] = ()) -> dict[str, tuple]:
    """Return the values of all ranges; raises RangeError with a sentence for each that cannot be read."""
    found, faults = {}, []
    for name, text in held.items():
        if name in skip:
            continue
        try:
            found[name] = read_one(inputs, name, text)
        except RangeError as wrong:
            faults.append(str(wrong))
    if faults:
        raise RangeError("\n".join(faults))
    return found


def range_controls(held: Mapping[str, Any], frames: Mapping[str, pd.DataFrame]) -> None:
    """Draw eight range fields; a list of parts replaces those of its kind."""
    st.segmented_control(
        "How far to look",
        list(REACHES),
        format_func=REACHES.__getitem__,
        default=kept_values.get("choose_reach"),
        key=f"choose_reach:{_reach_key()}",
        on_change=_reached,
        required=True,
        help="Fills the fields below: up to 100,000 combinations near this build, or near a million. "
        "Then type your own.",
    )
    gone = {name for kind in frames for name in ranges.dropped_by(kind)}
    with st.container(key="choose_ranges"):
        names = list(RANGES)
        for row in (names[:4], names[4:]):
            for column, name in zip(st.columns(4, gap="small"), row, strict=True):
                with column:
                    _range_field(name, held[name], off=name in gone)


def _range_field(name: str, text: Any, *, off: bool) -> None:
    spec, key = RANGES[name], f"choose_range:{_epoch()}:{name}"
    label = f"{spec.several}, {spec.unit}" if spec.unit and spec.unit != "S" else spec.several
    if name == "chemistry":
        st.multiselect(
            label,
            list(CHEMISTRY_NAMES),
            default=list(text),
            format_func=CHEMISTRY_NAMES.__getitem__,
            key=key,
            on_change=_typed,
            args=(name,),
            disabled=off,
            placeholder="choose",
            help="Types of cell to be tried.",
        )
        return
    more = (
        "the four digits on the motor; a range takes what is sold between them by volume"
        if name == "stator"
        else ("a range takes what is sold between its ends; add a step to set your own: 4 to 5 by 0.25")
    )
    st.text_input(
        label,
        value=text,
        key=key,
        on_change=_typed,
        args=(name,),
        max_chars=400,
        disabled=off,
        help=f"One value, a list with commas, or a range such as {ranges.example(name)}: {more}.",
    )


# ---- lists of parts ---------------------------------------------------------------------------------------


def lists_block(frames: dict[str, pd.DataFrame]) -> None:
    """Draw the upload of lists of parts, each of which replaces ranges."""
    counts = ", ".join(f"{len(f)} {kind}" for kind, f in frames.items())
    label = f"Your own list of parts: {counts}" if counts else "Use a list of parts instead"
    with st.expander(label, key="choose_lists_open", on_change="rerun") as box:
        if not box.open:
            return
        kind = st.segmented_control(
            "Kind of part",
            list(ranges.LISTED),
            format_func=lambda k: "ESC" if k == "controllers" else k,
            default="motors",
            key="choose_list_kind",
            required=True,
            help="A list of motors takes the place of KV and stator, and so on.",
        )
        _from_shelf(kind)
        needed = [c.heading for c in parts.columns(kind) if c.needed]
        st.caption(
            f"One part a row, headings in the first. A list of {kind} needs {', '.join(needed)}; "
            f"it may have {', '.join(c.heading for c in parts.columns(kind) if not c.needed)}. Blank is not known."
        )
        paste, drop = st.columns([1.6, 1], gap="medium")
        with paste:
            st.text_area(
                "Paste it",
                key=f"choose_paste:{kind}",
                height=130,
                max_chars=200_000,
                placeholder=",".join(needed),
                help="From a spreadsheet or as CSV: commas, semicolons or tabs.",
            )
            st.button("Use what I pasted", key="choose_use", on_click=_use_pasted, args=(kind,))
        with drop:
            st.file_uploader(
                "or bring a CSV file",
                type=["csv", "txt", "tsv"],
                key=f"choose_file:{kind}",
                on_change=_use_file,
                args=(kind,),
                help="Goes only to the computer that serves this page, and is not kept.",
            )
        for fault in kept_values.get("choose_list_faults", []):
            page_frame.say(f'<p class="wi-notice" role="status">{html.escape(fault)}</p>')
        for listed, frame in list(frames.items()):
            names = ", ".join(str(n) for n in frame["name"].iloc[:6]) + (", ..." if len(frame) > 6 else "")
            words, away = st.columns([5, 1.4], vertical_alignment="center")
            with words:
                page_frame.say(f'<p class="wi-small"><b>{len(frame)} {listed}</b>: {html.escape(names)}</p>')
            with away:
                st.button(f"Back to ranges: {listed}", key=f"choose_drop:{listed}", on_click=_drop, args=(listed,))


def _from_shelf(kind: str) -> None:
    """Draw the button that uses the parts saved on page Shelf."""
    text, fault = _shelf_text(kind)
    if fault:
        page_frame.say(f'<p class="wi-notice" role="status">{html.escape(fault)}</p>')
        return
    count = _shelf_rows(text, kind)
    if not count:
        st.caption(f"Your shelf has no {NOUNS[kind]} yet: the page Shelf keeps them, and then they are offered here.")
        return
    one = "one" if count == 1 else f"{count}"
    st.button(
        f"Use the {one} on my shelf",
        key=f"choose_shelf:{kind}",
        on_click=_use,
        args=(kind, text, f"your table of {kind}"),
        help=f"Every row of your table of {NOUNS[kind]} on the page Shelf.",
    )


def _shelf_text(kind: str) -> tuple[str, str]:
    """Return the stored table as text, and an error message."""
    try:
        held = shelf.store().load_table(kind)
    except StoreError as wrong:
        return "", str(wrong)
    return ("" if held is None else held.text), ""


def _shelf_rows(text: str, kind: str) -> int:
    if not text.strip():
        return 0
    try:
        return len(parts.read_csv(text, kind, file=f"your table of {kind}").frame)
    except ValueError:
        return 0  # page Shelf shows the error


def _use(kind: str, text: str | bytes, file: str) -> None:
    try:
        table = parts.read_csv(text, kind, file=file)
        if table.frame.empty:
            raise parts.PartsError([f"The list of {kind} has no rows below its headings."])
    except parts.PartsError as wrong:
        kept_values.keep_value("choose_list_faults", wrong.problems)
        return
    except ValueError as wrong:
        kept_values.keep_value("choose_list_faults", [str(wrong)])
        return
    kept_values.keep_value("choose_list_faults", [])
    kept_values.keep_value("choose_lists", {**kept_values.get("choose_lists"), kind: table.frame})


def _use_pasted(kind: str) -> None:
    text = st.session_state.get(f"choose_paste:{kind}", "")
    if not text.strip():
        kept_values.keep_value("choose_list_faults", ["Nothing was pasted."])
        return
    _use(kind, text, "pasted list")


def _use_file(kind: str) -> None:
    file = st.session_state.get(f"choose_file:{kind}")
    if file is not None:
        _use(kind, file.getvalue(), file.name)


def _drop(kind: str) -> None:
    lists = kept_values.get("choose_lists")
    kept_values.keep_value("choose_lists", {k: f for k, f in lists.items() if k != kind})


# ---- conditions -------------------------------------------------------------------------------------------

BOUNDS = (
    ("hover_time", "at least", "Hover at least, minutes"),
    ("mass", "at most", "Mass at most, g"),
    (PRICE, "at most", "Price at most"),
)
"""Further conditions, folded; thrust to weight is above them."""
_FIRST_BOUNDS = {"thrust_to_weight": 2.0}


@dataclass(frozen=True)
class Asked:
    """Objectives and conditions of the user for the combinations.

    Parameters
    ----------
    x, y : str
        Results on the axes of the map; ``x`` is the main objective.
    bounds : list of (answer, "at least" or "at most", SI or None)
        (result, kind, limit in SI units); None for no condition.
    limits : str
        One of `explorer.app_pages.choose.looks.LIMIT_WISHES`.
    """

    x: str
    y: str
    bounds: list[tuple[str, Any, float | None]]
    limits: str


def _bounds() -> dict[str, float | None]:
    return kept_values.first("choose_bounds", dict(_FIRST_BOUNDS))


def _bound(name: str, label: str) -> None:
    held = _bounds()
    held[name] = st.number_input(
        label,
        value=held.get(name),
        min_value=0.0,
        max_value=1e6,
        step=25.0 if name == "mass" else 0.5,
        key=f"choose_bound:{name}",
        format="%g",
        placeholder="any",
        help="Blank is not asked.",
    )


def three_controls(with_price: bool) -> None:
    """Draw the main objective, the minimum thrust to weight, and the selection of limits."""
    names = (*ASKED, PRICE) if with_price else ASKED
    with st.container(key="choose_three"):
        want, thrust, hold = st.columns([1.6, 1.2, 1.9], gap="medium", vertical_alignment="bottom")
        with want:
            chosen_output("I want the best", "choose_x", "hover_time", help_="The answer wanted most.", names=names)
        with thrust:
            _bound("thrust_to_weight", "Thrust to weight at least")
        with hold:
            limits = st.segmented_control(
                "Limits to keep",
                LIMIT_WISHES,
                default=kept_values.get("choose_limits", USUAL),
                key="choose_limits",
                required=True,
                help="What fits: cells, voltages and the propeller in the frame. As usual: over a limit only where "
                "such craft commonly are for seconds flat out, and no further. All: no limit is reached in 10 s.",
            )
            kept_values.keep_value("choose_limits", limits)


def more_conditions(with_price: bool) -> None:
    """Draw the further conditions, and the other axis of the map."""
    units = page_frame.units()
    names = (*ASKED, PRICE) if with_price else ASKED
    asked = [b for b in BOUNDS if with_price or b[0] != PRICE]
    with st.container(key="choose_holds"):
        for column, (name, _, label) in zip(st.columns(len(asked) + 1, gap="small"), asked, strict=False):
            with column:
                _bound(name, label)
    also: dict[str, Any] = kept_values.first("choose_also", {"side": "at least", "value": None})
    with st.container(key="choose_axes"):
        upwards, more_, side, most = st.columns([1.5, 1.6, 0.9, 0.9], gap="small", vertical_alignment="bottom")
        with upwards:
            chosen_output(
                "Upwards on the map", "choose_y", "thrust_to_weight", help_="Answer on the upright axis.", names=names
            )
        with more_:
            more = chosen_output(
                "and this must be", "choose_more", "top_speed", help_="One more condition of your own.", names=names
            )
        if also.get("of") != more:
            also.update(of=more, side="at least" if LOOKS[more].better == "max" else "at most", value=None)
        with side:
            also["side"] = st.selectbox(
                "side", ("at least", "at most"), key=f"choose_side:{more}", label_visibility="hidden",
                index=0 if also["side"] == "at least" else 1,
            )  # fmt: skip
        with most:
            also["value"] = st.number_input(
                f"value, {looks.unit_of(more, units)}",
                value=also["value"],
                key=f"choose_more_value:{more}",
                format="%g",
                placeholder="any",
                help="Blank is not asked.",
                min_value=0.0,
                max_value=1e6,
            )


def asked_now(with_price: bool) -> Asked:
    """Return the objectives and conditions of all controls, including the folded ones."""
    held = _bounds()
    found: list[tuple[str, Any, float | None]] = [
        (name, kind, None if bound is None else looks.bound_si(name, bound))
        for name, kind, _ in (("thrust_to_weight", "at least", ""), *BOUNDS)
        if with_price or name != PRICE
        for bound in (held.get(name),)
    ]
    also = kept_values.get("choose_also", {})
    if also.get("value") is not None:
        found.append(
            (also["of"], also["side"], looks.from_axis_unit(also["of"], float(also["value"]), page_frame.units()))
        )
    x, y = kept_values.get("choose_x", "hover_time"), kept_values.get("choose_y", "thrust_to_weight")
    if x == y:
        y = "thrust_to_weight" if x != "thrust_to_weight" else "hover_time"
    return Asked(x, y, found, kept_values.get("choose_limits", USUAL))
