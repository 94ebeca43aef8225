"""Columns of the tables of motors, propellers, packs and controllers: headings, units, ranges, synonyms."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from propmodel.base.checks import check_in
from propmodel.components import battery
from propmodel.components.propeller import BLADE_WIDTHS

__all__ = ["KINDS", "UNITS", "Column", "columns", "headings"]


@dataclass(frozen=True)
class Column:
    """One column of a part table."""

    heading: str
    """Exact heading, with the unit in square brackets."""
    record: str
    """Corresponding field of a build's record; empty if there is none."""
    low: float = 0.0
    """Smallest allowed value, in the unit of the heading."""
    high: float = 0.0
    """Largest allowed value, in the unit of the heading."""
    whole: bool = False
    """True if only whole numbers are allowed."""
    needed: bool = False
    """True if a blank cell is an error."""
    text: bool = False
    """True for text, False for numbers."""
    choices: tuple[str, ...] = ()
    """Allowed texts; any text if empty."""
    stems: tuple[str, ...] = ()
    """Accepted synonyms of the heading, without unit, in lower case."""
    help: str = ""
    """Short help text for the user."""

    @property
    def unit(self) -> str:
        """Unit in the heading; empty for text."""
        found = re.search(r"\[(.*)\]$", self.heading)
        return found.group(1) if found else ""

    @property
    def stem(self) -> str:
        """Heading without its unit, lower case."""
        return self.heading.split("[")[0].strip().lower()


_NAME = Column("name", "name", needed=True, text=True, stems=("part", "label", "model"), help="Your own name for it")
_PRICE = Column("price [-]", "", 0.0, 1e7, stems=("cost",), help="Of one piece, in your currency")


def _mass(record: str, *stems: str) -> Column:
    return Column("mass [g]", record, 0.05, 50_000.0, stems=("weight", *stems), help="Of one, with its wires")


_KINDS: dict[str, tuple[Column, ...]] = {
    "motors": (
        replace(_NAME, record="motor_name"),
        Column("KV [rpm/V]", "kv", 10.0, 100_000.0, needed=True, stems=("speed constant",), help="On the label"),
        Column("stator diameter [mm]", "stator_d_mm", 3.0, 200.0, stems=("stator width",), help='22 of "2207"'),
        Column("stator height [mm]", "stator_h_mm", 1.0, 150.0, stems=("stator length",), help='7 of "2207"'),
        Column(
            "effective resistance [mohm]",
            "",
            1.0,
            20_000.0,
            stems=("measured resistance",),
            help="Found on a bench or by calibration; not the winding figure of a sheet",
        ),
        Column(
            "winding resistance [mohm]",
            "winding_mohm",
            0.5,
            20_000.0,
            stems=("internal resistance",),
            help="As sellers print it; it does not lower the effective resistance",
        ),
        Column("no-load current [A]", "no_load_a", 0.001, 100.0, stems=("idle current", "no load current")),
        Column("no-load voltage [V]", "no_load_v", 0.5, 200.0, stems=("idle voltage", "no load voltage")),
        _mass("motor_mass_g"),
        Column(
            "loaded KV share [-]",
            "",
            0.5,
            1.5,
            stems=("loaded kv ratio",),
            help="KV under load over the KV above: 0.93 for a printed KV, 1 for one measured under load",
        ),
        Column("pole pairs [-]", "pole_pairs", 1.0, 50.0, whole=True, help="Magnets / 2"),
        Column("most cells [-]", "motor_max_cells", 1.0, 30.0, whole=True, stems=("max cells",)),
        Column("current limit [A]", "motor_max_a", 0.1, 1000.0, stems=("max current", "peak current")),
        _PRICE,
    ),
    "propellers": (
        replace(_NAME, record="propeller_name"),
        Column("diameter [in]", "diameter_in", 0.8, 59.0, needed=True),
        Column("pitch [in]", "pitch_in", 0.1, 147.0, needed=True),
        Column("blades [-]", "blades", 2.0, 8.0, whole=True, needed=True, stems=("blade count",)),
        Column(
            "blade width [mm]",
            "blade_width_mm",
            0.5,
            300.0,
            stems=("chord",),
            help="Three quarters of the way from hub centre to tip",
        ),
        Column(
            "blade width by eye",
            "blade_width",
            text=True,
            choices=tuple(BLADE_WIDTHS),
            stems=("blade shape",),
            help="At the same place: slim under 7 % of the diameter, broad from 9 %; a width in mm goes first",
        ),
        _mass("propeller_g"),
        _PRICE,
    ),
    "packs": (
        replace(_NAME, record="pack_name"),
        Column(
            "chemistry",
            "chemistry",
            needed=True,
            text=True,
            choices=tuple(battery.CHEMISTRIES),
            help="lipo, lipo_hv (4.35 V cells) or li_ion",
        ),
        Column("cells [-]", "cells", 1.0, 30.0, whole=True, needed=True, stems=("cells in series", "series")),
        Column("capacity [mAh]", "capacity_mah", 10.0, 1e6, needed=True, help="Of one string of cells"),
        Column("parallel [-]", "parallel", 1.0, 100.0, whole=True, stems=("strings", "packs in parallel")),
        Column(
            "cell resistance [mohm]",
            "cell_mohm",
            0.05,
            2000.0,
            help="One cell, at 25 C, as a charger reads it; ten seconds show 1.7 times that",
        ),
        _mass("pack_g"),
        Column("continuous current [A]", "", 0.1, 10_000.0, stems=("current",), help="Label, whole pack"),
        Column("burst current [A]", "", 0.1, 10_000.0, stems=("peak current",), help="Label, whole pack"),
        _PRICE,
    ),
    "controllers": (
        replace(_NAME, record="controller_name"),
        Column(
            "continuous current [A]",
            "esc_a",
            0.1,
            1000.0,
            needed=True,
            stems=("current",),
            help='Per motor: a four-in-one "60 A" is per motor',
        ),
        Column("burst current [A]", "esc_burst_a", 0.1, 2000.0, stems=("peak current",), help="Per motor"),
        Column("fewest cells [-]", "esc_min_cells", 1.0, 30.0, whole=True, stems=("min cells",)),
        Column("most cells [-]", "esc_max_cells", 1.0, 30.0, whole=True, needed=True, stems=("max cells",)),
        Column("highest voltage [V]", "", 2.0, 200.0, stems=("max voltage",), help="Where the label gives volts"),
        Column(
            "throttle exponent [-]",
            "throttle_exponent",
            0.2,
            3.0,
            help="Duty is command to this power: 0.66 to 1.01 on open stands; empty: the default for the build",
        ),
        _mass(""),
        _PRICE,
    ),
}

KINDS = tuple(_KINDS)
"""The kinds of table."""

UNITS: dict[str, dict[str, float]] = {
    "g": {"g": 1.0, "gram": 1.0, "grams": 1.0, "kg": 1000.0, "mg": 1e-3, "oz": 28.349523125, "lb": 453.59237},
    "mm": {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4, '"': 25.4},
    "in": {
        "in": 1.0,
        "inch": 1.0,
        "inches": 1.0,
        '"': 1.0,
        "mm": 1 / 25.4,
        "cm": 10 / 25.4,
        "m": 1000 / 25.4,
    },
    "mohm": {"mohm": 1.0, "mω": 1.0, "milliohm": 1.0, "mr": 1.0, "ohm": 1000.0, "ω": 1000.0, "ohms": 1000.0},
    "mAh": {"mah": 1.0, "ah": 1000.0},
    "A": {"a": 1.0, "amp": 1.0, "amps": 1.0, "ma": 1e-3},
    "V": {"v": 1.0, "volt": 1.0, "volts": 1.0, "mv": 1e-3},
    "rpm/V": {"rpm/v": 1.0, "kv": 1.0, "1/min/v": 1.0},
}
"""Unit of a column -> accepted units of a heading, and their factors into it. International yard and pound (1959)."""


def columns(kind: str) -> tuple[Column, ...]:
    """Return the columns of a kind of table.

    Parameters
    ----------
    kind : str
        One of `KINDS`.

    Examples
    --------
    >>> [c.heading for c in columns("propellers") if c.needed]
    ['name', 'diameter [in]', 'pitch [in]', 'blades [-]']
    """
    return _KINDS[check_in("kind of part table", kind, KINDS)]


def headings(kind: str) -> list[str]:
    """Return the headings of a kind of table, in order.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    """
    return [column.heading for column in columns(kind)]
