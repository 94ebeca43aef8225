"""Description of each input: label, unit, help text, allowed range, usual values.

Ranges marked "common practice" are from memory.

Longer than others because it is one table with a row for each field.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from propmodel.assembly.build_record import AGE_CYCLES, BLADE_WIDTHS, BODY_SHAPES
from propmodel.components.battery import CHEMISTRIES
from propmodel.flight.endurance import WAYS_OF_FLYING

__all__ = [
    "DESCRIBED",
    "FLYING_STYLES",
    "GROUPS",
    "STYLE_WORDS",
    "TAKE_OFF",
    "Field",
    "number_text",
    "problem",
    "short_text",
]

GROUPS = ("What it carries", "What turns", "What feeds it", "Where you fly", "How you fly")


def _percent(share: ArrayLike) -> float:
    return round(100.0 * float(np.asarray(share, dtype=np.float64)), 6)


FLYING_STYLES: dict[str, tuple[float, float, float, float]] = {
    name: (_percent(way.hover), _percent(way.cruise), _percent(way.hard), _percent(way.full))
    for name, way in WAYS_OF_FLYING.items()
}
"""Flying style -> shares of the time in hover, cruise, hard manoeuvres and full throttle. [%] Estimates (from
memory)."""

STYLE_WORDS = {name: "hover" if name == "hang still" else name for name in FLYING_STYLES}
"""Flying style as in files and links -> its name for display."""


@dataclass(frozen=True)
class Field:
    """Description of one input.

    Parameters
    ----------
    name : str
        Field of `Inputs`.
    label, unit, help : str
        Label and unit of the control, and one line of help.
    group : str
        One of `GROUPS`.
    low, high, step : float or None
        Allowed range and step of a number, in ``unit``; None for text and choices.
    level : str
        "first" for the six first controls, else "more".
    options : tuple of str
        Options of a choice.
    typical : str
        Usual values, with their basis.
    sold : tuple of float
        Sizes that are sold, if they come in steps.
    kind : str
        "number", "whole", "choice", "switch" or "text".
    optional : bool
        True if None is allowed, which means "not given".
    when_unknown : str
        Description of the value that is used for None.
    default : object
        Value of the demo craft *Scree*.
    """

    name: str
    label: str
    unit: str
    help: str
    group: str
    low: float | None = None
    high: float | None = None
    step: float | None = None
    level: str = "more"
    options: tuple[str, ...] = ()
    typical: str = ""
    sold: tuple[float, ...] = ()
    kind: str = "number"
    optional: bool = False
    when_unknown: str = ""
    default: Any = None

    def bounds(self) -> tuple[float, float]:
        """Allowed range of a number that has one, in ``unit``."""
        assert self.low is not None and self.high is not None, f"{self.name} has no range"
        return self.low, self.high


_PRACTICE = " (common practice, from memory)"
_CARRIES, _TURNS, _FEEDS, _WHERE, _HOW = GROUPS


def _number(
    name: str, label: str, unit: str, group: str, span: tuple[float, float, float], text: str, **more: Any
) -> Field:
    low, high, step = span
    return Field(name, label, unit, text, group, low, high, step, **more)


def _whole(name: str, label: str, unit: str, group: str, span: tuple[int, int], text: str, **more: Any) -> Field:
    return Field(name, label, unit, text, group, span[0], span[1], 1, kind="whole", **more)


def _choice(name: str, label: str, group: str, options: tuple[str, ...], text: str, **more: Any) -> Field:
    return Field(name, label, "", text, group, options=options, kind="choice", **more)


def _text(name: str, label: str, group: str, text: str) -> Field:
    return Field(name, label, "", text, group, kind="text", optional=False)


def _unknown(stand_in: str) -> dict[str, Any]:
    return {"optional": True, "when_unknown": stand_in}


TAKE_OFF = Field(
    "take_off_g",
    "Take-off mass",
    "g",
    "All of it on a kitchen scale, pack and camera on. Moving this changes the frame, the part known least.",
    _CARRIES,
    10.0,
    15000.0,
    5.0,
    level="first",
    typical="1.6 in 20 to 45, 3 in 150 to 300, 5 in 550 to 800, 7 in 800 to 1,400, 10 in 1,800 to 3,500 g" + _PRACTICE,
)
"""Not a field of `Inputs`: read it with `take_off_g`, set it with `with_take_off_g`."""

_PACK_SIZES = (
    300,
    450,
    550,
    650,
    850,
    1050,
    1100,
    1300,
    1400,
    1550,
    1800,
    2200,
    3000,
    3300,
    4000,
    5000,
    6000,
    8000,
)
_PROPELLER_SIZES = (
    1.6,
    2.0,
    2.5,
    3.0,
    3.5,
    4.0,
    5.0,
    5.1,
    6.0,
    7.0,
    8.0,
    9.0,
    10.0,
    11.0,
    12.0,
    13.0,
    15.0,
    17.0,
)

DESCRIBED: dict[str, Field] = {
    field.name: field
    for field in (
        _text("name", "Name of this build", _CARRIES, "Any name you like."),
        _number(
            "frame_g",
            "Frame, electronics and ESC",
            "g",
            _CARRIES,
            (1, 10000, 1),
            "All but motors, propellers, pack and payload, with wires and screws.",
            typical="1.6 in 8 to 20, 3 in 70 to 130, 5 in 220 to 320, 7 in 300 to 500, 10 in 600 to 1,200 g"
            + _PRACTICE,
        ),
        _number(
            "payload_g",
            "Payload",
            "g",
            _CARRIES,
            (0, 10000, 5),
            "Camera or other load on top of the craft.",
            typical="action camera 60 to 160 g" + _PRACTICE,
        ),
        _whole(
            "rotors",
            "Rotors",
            "",
            _CARRIES,
            (3, 8),
            "How many propellers turn, pairs counted as two.",
            typical="4, sometimes 6 or 8" + _PRACTICE,
        ),
        Field(
            "coaxial",
            "Propellers in pairs, one above the other",
            "",
            "The lower one of a pair works in the wash of the upper one and lifts less.",
            _CARRIES,
            kind="switch",
        ),
        _choice(
            "body_shape",
            "Body shape",
            _CARRIES,
            tuple(BODY_SHAPES),
            "Sets the drag; the band it leaves is wide.",
        ),
        _number(
            "drag_area_cm2",
            "Drag area from the front",
            "cm2",
            _CARRIES,
            (1, 5000, 5),
            "Drag coefficient times area, if you know it from a flown top speed.",
            typical="5 in 60 to 170 cm2 (estimate)",
            **_unknown("from frame size and body shape"),
        ),
        _number(
            "thrust_loss_percent",
            "Thrust lost on the arms",
            "%",
            _CARRIES,
            (0, 40, 1),
            "The wash hits arms and body; that share of the thrust is lost.",
            typical="5 to 10 %" + _PRACTICE,
        ),
        _number(
            "electronics_w",
            "Electronics draw",
            "W",
            _CARRIES,
            (0, 200, 1),
            "Flight controller, radio and video together.",
            typical="6 to 12 W on a 5 in with video" + _PRACTICE,
        ),
        _number(
            "electronics_min_v",
            "Electronics drop out below",
            "V",
            _CARRIES,
            (2, 40, 0.1),
            "Lowest pack voltage at which the flight electronics still run.",
        ),
        _number(
            "frame_propeller_in",
            "Frame made for propellers up to",
            "in",
            _CARRIES,
            (1.2, 20, 0.1),
            "Largest propeller the frame is sold for.",
            **_unknown("not checked"),
        ),
        _number(
            "mass_threshold_g",
            "Stay below",
            "g",
            _CARRIES,
            (10, 25000, 1),
            "A take-off mass you do not want to pass. Look up the rules where you fly.",
            typical="",
            **_unknown("not checked"),
        ),
        _whole(
            "vtx_max_cells",
            "Video transmitter, cells up to",
            "cells",
            _CARRIES,
            (1, 14),
            "Most cells it may see if it is wired straight to the pack.",
            **_unknown("not checked"),
        ),
        _whole(
            "camera_max_cells",
            "Camera, cells up to",
            "cells",
            _CARRIES,
            (1, 14),
            "Most cells it may see if it is wired straight to the pack.",
            **_unknown("not checked"),
        ),
        _number(
            "regulator_max_v",
            "Regulator input up to",
            "V",
            _CARRIES,
            (3, 80, 0.5),
            "Highest input of the flight controller's own regulator.",
            **_unknown("not checked"),
        ),
        _number(
            "receiver_max_v",
            "Receiver input up to",
            "V",
            _CARRIES,
            (3, 80, 0.5),
            "Only if it is wired straight to the pack.",
            **_unknown("not checked"),
        ),
        _number(
            "capacitor_v",
            "Capacitor rating",
            "V",
            _CARRIES,
            (4, 100, 1),
            "Printed on the can at the pack leads.",
            typical="35 V for 6 cells" + _PRACTICE,
            sold=(16, 25, 35, 50, 63),
            **_unknown("not checked"),
        ),
        _number(
            "capacitor_uf",
            "Capacitor",
            "uF",
            _CARRIES,
            (0, 20000, 10),
            "Printed on the can at the pack leads.",
            typical="470 to 1,000 uF" + _PRACTICE,
            sold=(220, 330, 470, 680, 1000, 1500, 2200),
        ),
        _text("motor_name", "Motor, your name for it", _TURNS, "Any name you like."),
        _number(
            "kv",
            "KV",
            "rpm/V",
            _TURNS,
            (50, 30000, 10),
            "Turns a minute for each volt without load, from the label.",
            level="first",
            typical="1.6 in 1S 14,000 to 20,000; 3 in 4S 3,000 to 3,800; 5 in 6S 1,700 to 1,950, 4S 2,300 to 2,700; "
            "7 in 6S 1,200 to 1,500; 10 in 6S 800 to 1,000" + _PRACTICE,
        ),
        _number(
            "stator_d_mm",
            "Stator width",
            "mm",
            _TURNS,
            (4, 90, 0.5),
            "First two of the four digits on the motor: 2207 is 22 mm wide.",
            typical="1.6 in 7 to 11, 3 in 11 to 15, 5 in 22 to 24, 7 in 25 to 28, 10 in 28 to 35 mm" + _PRACTICE,
        ),
        _number(
            "stator_h_mm",
            "Stator height",
            "mm",
            _TURNS,
            (1.5, 50, 0.5),
            "Last two of the four digits on the motor: 2207 is 7 mm tall.",
            typical="3 to 16 mm" + _PRACTICE,
        ),
        _number(
            "winding_mohm",
            "Winding resistance on the sheet",
            "mohm",
            _TURNS,
            (1, 5000, 1),
            "Of the windings alone, 0.3 to 0.5 of all that counts; moves that, and says how the heat is shared.",
            typical="5 in 40 to 90 mohm" + _PRACTICE,
            **_unknown("from stator size and KV"),
        ),
        _number(
            "no_load_a",
            "Amps spinning bare",
            "A",
            _TURNS,
            (0.01, 30, 0.1),
            "Without a propeller, at the voltage beside it.",
            typical="0.3 to 2.5 A at 10 V" + _PRACTICE,
            **_unknown("from stator size and KV"),
        ),
        _number("no_load_v", "Voltage of the bare spin", "V", _TURNS, (1, 60, 0.5), "At which that current was read."),
        _number(
            "motor_mass_g",
            "One motor",
            "g",
            _TURNS,
            (0.5, 1500, 0.5),
            "With its wires, on a kitchen scale.",
            typical="1.6 in 1.5 to 3, 3 in 8 to 16, 5 in 28 to 36, 7 in 40 to 55, 10 in 70 to 120 g" + _PRACTICE,
            **_unknown("from stator size"),
        ),
        _whole(
            "motor_max_cells",
            "Motor, cells up to",
            "cells",
            _TURNS,
            (1, 14),
            "From its label or sheet.",
            **_unknown("not checked"),
        ),
        _number(
            "motor_max_a",
            "Motor current limit",
            "A",
            _TURNS,
            (0.5, 300, 1),
            "From its label or sheet.",
            **_unknown("not checked"),
        ),
        _whole(
            "pole_pairs",
            "Pole pairs",
            "",
            _TURNS,
            (2, 30),
            "Magnets divided by two: 12N14P is 7.",
            typical="7, small motors 6" + _PRACTICE,
        ),
        _text("propeller_name", "Propeller, your name for it", _TURNS, "Any name you like."),
        _number(
            "diameter_in",
            "Propeller diameter",
            "in",
            _TURNS,
            (1.2, 20, 0.1),
            "First number of the label: 5.1x4.3x3.",
            level="first",
            typical="the size the frame is sold for" + _PRACTICE,
            sold=_PROPELLER_SIZES,
        ),
        _number(
            "pitch_in",
            "Pitch",
            "in",
            _TURNS,
            (0.5, 16, 0.1),
            "Second number of the label: 5.1x4.3x3.",
            level="first",
            typical="half to nine tenths of the diameter" + _PRACTICE,
        ),
        _whole(
            "blades",
            "Blades",
            "",
            _TURNS,
            (2, 6),
            "Third number of the label: 5.1x4.3x3.",
            typical="3 up to 6 in, 2 above" + _PRACTICE,
        ),
        _choice(
            "blade_width",
            "Blade shape, by eye",
            _TURNS,
            tuple(BLADE_WIDTHS),
            "At three quarters of the radius: slim under 7 % of the diameter, broad from 9 %. Unknown widens the band.",
        ),
        _number(
            "blade_width_mm",
            "Blade width, measured",
            "mm",
            _TURNS,
            (1, 80, 0.5),
            "Measured three quarters of the way from hub centre to tip.",
            typical="12 mm on a 5.1 in (example)",
            **_unknown("from the shape by eye"),
        ),
        Field(
            "measured_propeller",
            "Use a measured propeller",
            "",
            "One from the open wind-tunnel tables, with its own curves, instead of diameter and pitch.",
            _TURNS,
            kind="text",
            **_unknown("diameter, pitch and blades are used"),
        ),
        _number(
            "propeller_g",
            "One propeller",
            "g",
            _TURNS,
            (0.1, 300, 0.1),
            "On a kitchen scale.",
            typical="1.6 in 0.3 to 0.6, 3 in 1 to 2, 5 in 3.5 to 5, 7 in 6 to 9, 10 in 10 to 18 g" + _PRACTICE,
            **_unknown("from diameter and blades"),
        ),
        _number(
            "guessed_mass_percent",
            "Guessed masses count",
            "%",
            _TURNS,
            (5, 100, 1),
            "Share of the usual mass of motors, propellers and pack not weighed: a told take-off mass may lower it.",
            typical="100 %",
        ),
        _text("pack_name", "Pack, your name for it", _FEEDS, "Any name you like."),
        _choice(
            "chemistry",
            "Cells are",
            _FEEDS,
            tuple(CHEMISTRIES),
            "LiPo 3.7 V, high-voltage LiPo 3.8 V, Li-ion 3.6 V a cell. Cobalt oxide only where a sheet names it.",
        ),
        _whole(
            "cells",
            "Cells in series",
            "S",
            _FEEDS,
            (1, 14),
            "The number before the S: 6S.",
            level="first",
            typical="1.6 in 1, 3 in 3 to 4, 5 in 6, 7 in 6, 10 in 6" + _PRACTICE,
            sold=(1, 2, 3, 4, 5, 6, 8, 12),
        ),
        _number(
            "capacity_mah",
            "Capacity",
            "mAh",
            _FEEDS,
            (50, 50000, 10),
            "Of one string: a 6S2P pack sold as 8,000 mAh in all has strings of 4,000.",
            level="first",
            typical="1.6 in 250 to 450, 3 in 450 to 850, 5 in 1,000 to 1,550, 7 in 3,000 to 4,000" + _PRACTICE,
            sold=_PACK_SIZES,
        ),
        _whole(
            "parallel",
            "Strings or packs in parallel",
            "P",
            _FEEDS,
            (1, 8),
            "The number before the P: 6S2P.",
            typical="1",
        ),
        _number(
            "cell_mohm",
            "Resistance of one cell",
            "mohm",
            _FEEDS,
            (0.3, 500, 0.1),
            "The charger's reading for one cell of your pack as it is now: it narrows the sag most.",
            typical="5 to 7 divided by the capacity in Ah around 1,300 mAh, 13 at 5,000" + _PRACTICE,
            **_unknown("from C rating, capacity and age"),
        ),
        _number(
            "cell_mohm_at_c",
            "Temperature when read",
            "C",
            _FEEDS,
            (-20, 60, 1),
            "Of the pack, at the reading of its cells.",
        ),
        _number(
            "usable_percent",
            "Charge it really holds",
            "% of the label",
            _FEEDS,
            (50, 115, 1),
            "What a charger put back, empty to full, over the label. Never run a LiPo below 3.0 V a cell for it.",
            typical="94 % in one measured pouch",
            **_unknown("94 % of a LiPo's label, all of a Li-ion's"),
        ),
        _choice(
            "pack_age",
            "The pack is",
            _FEEDS,
            tuple(AGE_CYCLES),
            "New, a season old, or tired: adds resistance.",
        ),
        _number(
            "cycles",
            "Flights on the pack",
            "cycles",
            _FEEDS,
            (0, 1000, 10),
            "Full cycles flown, if you count them.",
            **_unknown("from its age in words"),
        ),
        _number(
            "pack_temperature_c",
            "Pack temperature",
            "C",
            _FEEDS,
            (-20, 60, 1),
            "Of the cells at take-off. Cold packs sag; never charge one below 0 C.",
            typical="20 to 40 C when kept warm" + _PRACTICE,
        ),
        _number(
            "pack_g",
            "Pack",
            "g",
            _FEEDS,
            (1, 10000, 1),
            "All packs together with lead and plug, on a kitchen scale.",
            typical="1S 300 about 8, 6S 1300 about 200 g" + _PRACTICE,
            **_unknown("from its energy"),
        ),
        _number(
            "pack_label_c",
            "C rating on the label",
            "",
            _FEEDS,
            (0.5, 300, 1),
            "A seller's figure: sets the resistance of a LiPo that was not read. Never a limit alone.",
            typical="racing packs 75 to 150" + _PRACTICE,
            **_unknown("resistance of a racing pack of 120C"),
        ),
        _number(
            "pack_burst_c",
            "Burst C rating",
            "",
            _FEEDS,
            (0.5, 500, 1),
            "The second, larger C figure.",
            **_unknown("not used"),
        ),
        _number(
            "cutoff_v",
            "Land at, each cell",
            "V",
            _FEEDS,
            (2.4, 4.1, 0.05),
            "Loaded cell voltage at which you land.",
            typical="LiPo 3.3 to 3.5, Li-ion 2.8 to 3.0 V" + _PRACTICE,
            **_unknown("by chemistry"),
        ),
        _whole(
            "wire_awg",
            "Pack lead gauge",
            "AWG",
            _FEEDS,
            (4, 30),
            "Printed on the wire; smaller is thicker.",
            typical="5 in 14 to 12, 3 in 18 to 16" + _PRACTICE,
            sold=(8, 10, 12, 14, 16, 18, 20, 22, 24),
            **_unknown("a typical 2.5 mohm lead"),
        ),
        _number("pack_lead_mm", "Pack lead length", "mm", _FEEDS, (10, 2000, 5), "One way, cells to ESC board."),
        _whole(
            "motor_wire_awg",
            "Motor wire gauge",
            "AWG",
            _FEEDS,
            (4, 34),
            "Printed on the wire; smaller is thicker.",
            sold=(14, 16, 18, 20, 22, 24, 26, 28),
            **_unknown("not checked"),
        ),
        _number("motor_lead_mm", "Motor wire length", "mm", _FEEDS, (5, 2000, 5), "One wire, ESC to motor."),
        _number(
            "connector_a",
            "Connector rating",
            "A",
            _FEEDS,
            (1, 400, 1),
            "What the plug is sold for, for good.",
            **_unknown("not checked"),
        ),
        _text("controller_name", "ESC, your name for it", _FEEDS, "Any name you like."),
        _number(
            "esc_a",
            "ESC amps for each motor",
            "A",
            _FEEDS,
            (1, 400, 1),
            "ESC (speed controller), for good. A four-in-one's is usually for each motor.",
            typical="3 in 15 to 35, 5 in 45 to 60" + _PRACTICE,
            sold=(12, 15, 20, 25, 30, 35, 45, 50, 55, 60, 65, 80),
            **_unknown("not checked"),
        ),
        _number(
            "esc_burst_a",
            "ESC burst amps for each motor",
            "A",
            _FEEDS,
            (1, 500, 1),
            "For a few seconds, from the label.",
            **_unknown("not checked"),
        ),
        _whole(
            "esc_min_cells",
            "ESC, cells from",
            "cells",
            _FEEDS,
            (1, 14),
            "From the label: 3-6S is from 3.",
            **_unknown("not checked"),
        ),
        _whole(
            "esc_max_cells",
            "ESC, cells up to",
            "cells",
            _FEEDS,
            (1, 14),
            "From the label: 3-6S is up to 6.",
            **_unknown("not checked"),
        ),
        _number(
            "command_cap_percent",
            "Throttle cap",
            "%",
            _FEEDS,
            (20, 100, 1),
            "Largest command the motors get. It never makes a motor safe on too many cells.",
            typical="100 %",
        ),
        _number(
            "idle_percent",
            "Idle",
            "%",
            _FEEDS,
            (0, 30, 0.5),
            "Motor command at stick zero while armed.",
            typical="4 to 6 %" + _PRACTICE,
        ),
        _number(
            "throttle_exponent",
            "Throttle map exponent",
            "",
            _FEEDS,
            (0.4, 2.0, 0.05),
            "Share of the voltage = command to this power. A stand table or hover reading (Plug in) replaces it.",
            typical="0.66 to 1.01, measured on open stands",
            **_unknown("from diameter, KV, volts"),
        ),
        _number(
            "altitude_m",
            "Height above sea level",
            "m",
            _WHERE,
            (-400, 5000, 10),
            "Of the place where you fly.",
        ),
        _number(
            "air_temperature_c",
            "Air temperature",
            "C",
            _WHERE,
            (-30, 50, 1),
            "Colder air is denser and lifts better.",
        ),
        _choice(
            "flying_style",
            "You fly",
            _HOW,
            tuple(FLYING_STYLES),
            "Each is a mix that you can open and change.",
        ),
        *(
            _number(
                f"mix_{key}_percent",
                label,
                "%",
                _HOW,
                (0, 100, 1),
                "Share of the time; the four add up to 100.",
                **_unknown("from the way of flying"),
            )
            for key, label in (
                ("hover", "Hover"),
                ("cruise", "Cruising"),
                ("hard", "Flying hard"),
                ("full", "Flat out"),
            )
        ),
        _number(
            "cruise_kmh",
            "Cruise speed",
            "km/h",
            _HOW,
            (0, 250, 1),
            "Level speed when you cruise.",
            typical="40 to 70 km/h" + _PRACTICE,
        ),
        _number(
            "reserve_percent",
            "Charge you land with",
            "%",
            _HOW,
            (0, 80, 1),
            "What stays in the pack.",
            typical="20 %" + _PRACTICE,
        ),
        _number(
            "drop_m",
            "Height of the dive",
            "m",
            _HOW,
            (1, 1000, 1),
            "From the top to where you start to pull out.",
        ),
        _number(
            "dive_kmh",
            "Speed in the dive",
            "km/h",
            _HOW,
            (0, 400, 5),
            "If you hold a speed.",
            **_unknown("let it fall"),
        ),
        _number(
            "reaction_s",
            "See, decide, turn",
            "s",
            _HOW,
            (0, 3, 0.05),
            "Time until the craft points up; spool time comes on top.",
            typical="0.4 to 0.7 s" + _PRACTICE,
        ),
        _number(
            "hardest_pull_g",
            "Hardest pull-out",
            "times its weight",
            _HOW,
            (1.2, 20, 0.1),
            "Thrust against weight at the bottom.",
        ),
        _number("charge_left_percent", "Charge left", "%", _HOW, (0, 100, 1), "State of the pack that is shown."),
    )
}


def number_text(value: float) -> str:
    """Return a number as text for a sentence: six digits, with powers of ten from a million on."""
    text = f"{value:,.6g}" if abs(value) < 1e6 else f"{value:.3g}"
    return text.replace("-", "\u2212")


def short_text(value: Any) -> str:
    """Return an invalid value as short text for a sentence, with quotes and angle brackets replaced."""
    text = "".join(ch for ch in str(value) if ch.isprintable() and ch not in "<>&\"'`")
    return text if len(text) <= 24 else text[:23] + "\u2026"


def problem(field: Field, value: Any) -> str:
    """Return one sentence if a value is invalid for a field, else an empty text.

    Examples
    --------
    >>> problem(DESCRIBED["cells"], 20)
    'Cells in series must be 1 to 14 S, got 20 S.'
    >>> problem(DESCRIBED["cells"], 6)
    ''
    """
    if value is None:
        return "" if field.optional else f"{field.label} must be given."
    if field.kind == "text":
        if not isinstance(value, str):
            return f"{field.label} must be text, got {short_text(value)}."
        return f"{field.label} must be at most 60 letters, got {len(value)}." if len(value) > 60 else ""
    if field.kind == "switch":
        return "" if isinstance(value, bool) else f"{field.label} must be yes or no, got {short_text(value)}."
    if field.kind == "choice":
        allowed = ", ".join(field.options)
        return "" if value in field.options else f"{field.label} must be one of {allowed}; got {short_text(value)}."
    unit = f" {field.unit}" if field.unit else ""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return f"{field.label} must be a number, got {short_text(value)}."
    low, high = field.low, field.high
    assert low is not None and high is not None
    rule = f"{number_text(low)} to {number_text(high)}{unit}"
    if math.isnan(value) or math.isinf(value):
        return f"{field.label} must be {rule}, got no finite number."
    if field.kind == "whole" and value != int(value):
        return f"{field.label} must be a whole number, {rule}, got {number_text(value)}."
    if not low <= value <= high:
        return f"{field.label} must be {rule}, got {number_text(value)}{unit}."
    return ""
