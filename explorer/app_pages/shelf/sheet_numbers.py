"""Contents of the field sheet from the results of a build, with text and numbers as on the pages. No widgets."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from explorer.app_pages.lift import summary
from explorer.app_pages.minutes import answers as flight_answers
from explorer.app_pages.plug_in import answers
from explorer.app_pages.shelf.field_sheet import Figure, Sheet
from explorer.figures.svg_plot import Line, PlotMark
from explorer.forecasts import guesses, headlines
from explorer.inputs import CHEMISTRY_NAMES, Inputs, measured_label, unchecked_fields
from explorer.inputs.build_names import distinct_names
from explorer.text import markup
from explorer.text.numbers import NARROW, Units, number, prose, spread, value
from propmodel import power_up
from propmodel.base.units import CELSIUS_ZERO, GRAM_FORCE
from propmodel.components import battery

__all__ = ["alarms", "curves", "sheet_of"]

SYMBOLS = {"clear": "✓", "tight": "!", "over": "✕", "unknown": "?"}
MOST_LIMITS = 10

NUMBERS = (
    ("Take-off mass", "mass", "mass"),
    ("Thrust over weight, fresh pack", "thrust_to_weight", "thrust_to_weight"),
    ("Thrust over weight, at landing", "thrust_to_weight_at_reserve", "thrust_to_weight"),
    ("Hover command", "hover_throttle", "percent"),
    ("Hover current", "hover_current", "current"),
    ("Hover power", "hover_power", "power"),
    ("Minutes in hover", "hover_time", "minutes"),
    ("Flown your way", "minutes", "minutes"),
    ("Current flat out", "full_throttle_current", "current"),
    ("Motor speed flat out", "full_throttle_rev_per_s", "rpm"),
)
"""Rows of "What to expect": text, field of the headline results, kind of number."""


def _number_rows(inputs: Inputs, units: Units) -> list[dict[str, str]]:
    got = headlines.answers(inputs)
    rows = []
    for words, name, kind in NUMBERS:
        low, mid, high = (float(getattr(side, name)) for side in (got.low, got.mid, got.high))
        rows.append(
            {
                "name": words,
                "value": value(kind, mid, units, low=low, high=high),
                "band": spread(kind, low, high, units),
            }
        )
    return rows


def _pinned_columns(inputs: Inputs, pins: Sequence[Inputs], units: Units) -> list[tuple[str, list[str]]]:
    """Return the name of each pinned build and its values of "What to expect"."""
    answered = [headlines.answers(pin).mid for pin in pins]
    return [
        (name, [value(kind, float(getattr(mid, field)), units) for _, field, kind in NUMBERS])
        for name, mid in zip(distinct_names(pins, inputs), answered, strict=True)
    ]


def _build_rows(inputs: Inputs, units: Units) -> list[tuple[str, str]]:
    size = f"{inputs.diameter_in:g} x {inputs.pitch_in:g} in, {inputs.blades} blades"
    if units.propeller == "mm":
        size = f"{25.4 * inputs.diameter_in:.0f} x {25.4 * inputs.pitch_in:.0f} mm, {inputs.blades} blades"
    motor = f"{inputs.stator_d_mm:g} x {inputs.stator_h_mm:g} mm, {inputs.kv:g} KV"
    pack = f"{CHEMISTRY_NAMES[inputs.chemistry]}, {inputs.cells}S{inputs.parallel}P, {inputs.capacity_mah:g}{NARROW}mAh"
    esc = "amps not told" if inputs.esc_a is None else f"{inputs.esc_a:g}{NARROW}A for each motor"
    rows = [
        ("Motors", _named(f"{inputs.rotors} of {motor}", inputs.motor_name)),
        (
            "Propellers",
            _named(
                size, measured_label(inputs.measured_propeller) if inputs.measured_propeller else inputs.propeller_name
            ),
        ),
        ("Pack", _named(pack, inputs.pack_name)),
        ("ESC", _named(esc, inputs.controller_name)),
        ("Throttle cap", f"{inputs.command_cap_percent:g}{NARROW}%"),
        (
            "Place",
            f"{inputs.altitude_m:g}{NARROW}m, {value('temperature', inputs.air_temperature_c + CELSIUS_ZERO, units)}",
        ),
    ]
    own = getattr(inputs, "own", None)
    if own is not None:
        rows.append(("Measured", own.name))
    return rows


def _named(what: str, name: str | None) -> str:
    return f"{what} ({name})" if name else what


def alarms(inputs: Inputs, *, home: float = 20.0) -> list[tuple[str, str]]:
    """Return the settings before the flight: capacity and voltage alarms, throttle cap.

    Parameters
    ----------
    inputs : Inputs
        The build.
    home : float
        Cruise time between the alarm and the landing, as on page Minutes. [s]

    Returns
    -------
    list of (setting, value)
        Both as text.
    """
    made = headlines.build(inputs)
    whole = float(battery.capacity(made.pack))
    keep = inputs.reserve_percent / 100.0
    rest = float(battery.open_circuit_voltage(made.pack, keep)) / inputs.cells
    got = headlines.answers(inputs).mid
    ohms = float(battery.resistance(made.pack, keep, sustained=True))
    loaded = rest - got.hover_current * ohms / inputs.cells if math.isfinite(got.hover_current) else math.nan
    flown = flight_answers.minutes(inputs)
    rows = []
    drawn = (1.0 - keep) * whole
    if flown.time["your way"] > 1.0:
        drawn = flown.charge
        amps = flown.current["cruise"]
        amps = amps if math.isfinite(amps) and amps > 0.0 else flown.current["hang still"]
        alarm = max(drawn - home * amps / 3600.0, 0.0)
        rows.append((f"Capacity alarm, {home:.0f}{NARROW}s of cruise before landing", value("charge", alarm)))
    rows += [
        ("Charge drawn when you land", value("charge", drawn)),
        ("A cell at rest when you land", value("cell_voltage", rest)),
    ]
    if math.isfinite(loaded):
        rows.append(("A cell in hover just before", value("cell_voltage", loaded)))
    if math.isfinite(got.hover_time):
        rows.append(("Timer, hover", value("minutes", got.hover_time)))
    if math.isfinite(got.minutes):
        rows.append(("Timer, flown your way", value("minutes", got.minutes)))
    if inputs.command_cap_percent < 100.0:
        rows.append(("Throttle cap in the firmware", f"{inputs.command_cap_percent:g}{NARROW}%"))
    return rows


def _of_pinned(place: int) -> str:
    """Return the prefix of the columns of a pinned build."""
    return "pinned" if place == 0 else f"pinned {place + 1}"


def curves(inputs: Inputs, pins: Sequence[Inputs]) -> pd.DataFrame:
    """Return all curves: thrust, current, power and shares against throttle, with bands, and those of pinned builds.

    Parameters
    ----------
    inputs : Inputs
        The current build.
    pins : sequence of Inputs
        The pinned builds, the latest first.

    Returns
    -------
    DataFrame
        One column per curve, with its unit in the heading.
    """
    story = headlines.story(inputs)
    throttle = story.curve.throttle
    frame = pd.DataFrame({"motor command [%]": 100.0 * throttle})
    rotors = float(inputs.rotors)
    for words, name, unit, factor in (
        ("thrust of all rotors", "thrust", "g", rotors / GRAM_FORCE), ("pack current", "pack_current", "A", 1.0),
        ("motor current", "motor_current", "A", 1.0), ("pack voltage", "pack_voltage", "V", 1.0),
        ("electrical power", "electrical_power", "W", 1.0), ("motor speed", "rev_per_s", "rpm", 60.0),
    ):  # fmt: skip
        frame[f"{words} [{unit}]"] = factor * getattr(story.curve, name)
        for side, curve in (("low", story.low), ("high", story.high)):
            frame[f"{words}, {side} [{unit}]"] = factor * np.interp(throttle, curve.throttle, getattr(curve, name))
    for place, pin in enumerate(pins):
        other = headlines.story(pin)
        frame[f"{_of_pinned(place)}: thrust of all rotors [g]"] = np.interp(
            throttle, other.curve.throttle, float(pin.rotors) / GRAM_FORCE * other.curve.thrust
        )
        frame[f"{_of_pinned(place)}: pack current [A]"] = np.interp(
            throttle, other.curve.throttle, other.curve.pack_current
        )
    return frame


def _figures(inputs: Inputs, pins: Sequence[Inputs]) -> list[Figure]:
    frame = curves(inputs, pins)
    x = frame["motor command [%]"]
    out = []
    for title, stem, unit in (
        ("Thrust of all rotors", "thrust of all rotors", "g"),
        ("Current from the pack", "pack current", "A"),
    ):
        name = f"{stem} [{unit}]"
        lines = [
            Line(
                inputs.name or "this build",
                x,
                frame[name],
                frame[f"{stem}, low [{unit}]"],
                frame[f"{stem}, high [{unit}]"],
            )
        ]
        lines += [
            Line(called, x, frame[f"{_of_pinned(place)}: {name}"], pinned=True)
            for place, called in enumerate(distinct_names(pins, inputs))
        ]
        marks = []
        if stem == "thrust of all rotors":
            hover = headlines.story(inputs).hover_command
            if math.isfinite(hover):
                weight = float(headlines.build(inputs).weight) / GRAM_FORCE
                marks.append(PlotMark("hover", weight, 100.0 * hover))
        else:
            limit = headlines.build(inputs).pack.max_continuous_current
            if limit is not None and float(np.asarray(limit)) < float(np.nanmax(frame[name])):
                marks.append(PlotMark("label of the pack", float(np.asarray(limit))))
        out.append(Figure(f"{title}, {unit}", "Throttle, %", f"{title}, {unit}", lines, marks))
    return out


def _two(figure: float) -> str:
    """Return a number with two significant digits, without an exponent."""
    return number(figure, 10.0 ** (math.floor(math.log10(max(abs(figure), 1e-9))) - 1))


def sheet_of(
    inputs: Inputs,
    pins: Sequence[Inputs],
    *,
    units: Units,
    link: str,
    made: str,
    modern: bool | None = None,
    home: float = 20.0,
    lent: frozenset[str] = frozenset(),
    first: Callable[[str], str] = str,
) -> Sheet:
    """Return the contents of the field sheet of a build.

    Parameters
    ----------
    inputs : Inputs
        Valid.
    pins : sequence of Inputs
        The pinned builds, the latest first.
    units : Units
        Units selected by the user.
    link : str
        Link that opens the build.
    made : str
        Date and place, one line.
    modern : bool or None
        Whether the ESC freewheels actively, for the first power-up.
    home : float
        Cruise time between the alarm and the landing. [s]
    lent : frozenset of str
        Fields with the values of the demo craft used as base.
    first : callable
        Adds unanswered labels before the verdict.

    Returns
    -------
    Sheet
        For `explorer.app_pages.shelf.field_sheet.field_sheet`.
    """
    got = headlines.answers(inputs)
    found = headlines.sorted_limits(inputs)
    head = summary.Headline(inputs.name, got.low, got.mid, got.high)
    order = {"over": 0, "tight": 1, "clear": 2, "unknown": 3}
    limits = sorted(found, key=lambda limit: order[limit.state])[:MOST_LIMITS]
    p = answers.power(inputs, modern=modern)
    guessed = [one.words for one in guesses.ranked(inputs, lent)]
    notes = [f"Guessed, the largest effect first: {'; '.join(guessed)}."] if guessed else []
    unchecked = [words for _, words in unchecked_fields(inputs)]
    notes += [f"Not told, so not checked: {', '.join(unchecked)}."] if unchecked else []
    notes += [f"{fact.title}: {_two(fact.value)} {fact.unit}. {fact.text}" for fact in power_up.facts(p)[:3]]
    notes.append("Pull the plug at once on: " + "; ".join(power_up.STOP_AT_ONCE) + ".")
    return Sheet(
        title=f"{inputs.name or 'Your build'}: field sheet",
        sentence=markup.plain(first(summary.opening(head, found, units))),
        made=made,
        build=_build_rows(inputs, units),
        numbers=_number_rows(inputs, units),
        pinned=_pinned_columns(inputs, pins, units),
        limits=[
            {
                "symbol": "" if limit.usual else SYMBOLS[limit.state], "name": limit.name,
                "word": "over, usual" if limit.usual else limit.state,
                "detail": prose(
                    limit.sentence + (f" {limit.remedy}" if limit.state == "over" and limit.fix else "")
                ),
            }
            for limit in limits
        ],
        alarms=alarms(inputs, home=home),
        steps=power_up.rows(power_up.power_up_steps(p)),
        cautions=power_up.CAUTIONS,
        figures=_figures(inputs, pins),
        notes=notes,
        link=link,
    )  # fmt: skip
