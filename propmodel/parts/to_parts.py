"""Conversion of the user's tables of motors, propellers, packs and controllers into parts.

A table is a pandas frame with the headings of its kind (`headings`), one part per row; a blank cell means unknown.
`motors`, `propellers`, `packs` and `controllers` convert a whole table into one part with array fields, for use in a
sweep. `to_motor`, `to_propeller`, `to_pack` and `to_controller` convert one row into a single part, and `to_record`
converts a row into fields of a build's record. `read_csv` and `to_csv` are in `propmodel.parts.csv_table`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from propmodel.base.units import GRAM, INCH, MAH, MILLIOHM, MM
from propmodel.components import battery, motor
from propmodel.components.battery import Pack
from propmodel.components.controller import (
    LOG_SD_THROTTLE_EXPONENT,
    LOG_SD_THROTTLE_EXPONENT_TYPED,
    Controller,
)
from propmodel.components.motor import Motor
from propmodel.components.propeller import Propeller
from propmodel.parts.cell_values import clean_text
from propmodel.parts.checking import PartsError, check, empty
from propmodel.parts.csv_table import PartTable, escape_cell, read_csv, to_csv, unescape_cell
from propmodel.parts.table_columns import KINDS, Column, columns, headings

__all__ = [
    "KINDS",
    "Column",
    "PartTable",
    "PartsError",
    "check",
    "columns",
    "controllers",
    "empty",
    "escape_cell",
    "headings",
    "motors",
    "packs",
    "propellers",
    "read_csv",
    "to_controller",
    "to_csv",
    "to_motor",
    "to_pack",
    "to_propeller",
    "to_record",
    "unescape_cell",
]


def _column_of(frame: pd.DataFrame, heading: str, factor: float = 1.0) -> NDArray[np.float64]:
    return frame[heading].to_numpy(dtype=np.float64) * factor


def _or(values: NDArray[np.float64], default: Any) -> NDArray[np.float64]:
    return np.where(np.isnan(values), default, values)


def _maybe(values: NDArray[np.float64], *, beyond: float | None = None) -> NDArray[np.float64] | None:
    """Return None if all values are unknown; else replace the unknown ones by ``beyond``, which never limits."""
    if np.all(np.isnan(values)):
        return None
    return values if beyond is None else _or(values, beyond)


def _some(frame: pd.DataFrame, kind: str) -> pd.DataFrame:
    frame = check(frame, kind)
    if frame.empty:
        raise PartsError([f"The table of {kind} has no rows."])
    return frame


NO_LIMIT = 1e9
"""Value of a rating that is not stated, in a table in which other rows state it."""


def motors(frame: pd.DataFrame) -> Motor:
    """Convert a table of motors into one `Motor` with array fields, one element per row.

    Parameters
    ----------
    frame : DataFrame
        Of kind ``motors``.

    Returns
    -------
    Motor
        An effective resistance in the table is used as it is; for rows without one it follows from the stator size.

    Examples
    --------
    >>> text = "name,KV,stator diameter,stator height\\nFern,1950,22,7\\nMoss,1300,28,6.5"
    >>> table = read_csv(text, "motors")
    >>> motors(table.frame).kv.tolist()
    [1950.0, 1300.0]
    """
    frame = _some(frame, "motors")
    kv = _column_of(frame, "KV [rpm/V]")
    d, h = (_column_of(frame, f"stator {size} [mm]", MM) for size in ("diameter", "height"))
    given_r = _column_of(frame, "effective resistance [mohm]", MILLIOHM)
    winding = _column_of(frame, "winding resistance [mohm]", MILLIOHM)
    volts = _or(_column_of(frame, "no-load voltage [V]"), 10.0)
    given_i = _column_of(frame, "no-load current [A]")
    mass = _column_of(frame, "mass [g]", GRAM)
    # a row without a stator size (it then states resistance and no-load current) gets one from its mass
    volume = np.maximum(_or(mass, 0.032) - 0.005, 0.1 * _or(mass, 0.032)) / 7800.0
    known = ~np.isnan(d)
    d_fill = np.clip(np.where(known, d, np.cbrt(3.3 * volume)), 3.0 * MM, 200.0 * MM)
    h_fill = np.clip(np.where(known, h, np.cbrt(3.3 * volume) / 3.3), 1.0 * MM, 150.0 * MM)
    # with a measured resistance the KV is taken as measured too; otherwise as that of a label
    labelled = np.where(np.isnan(given_r), motor.LOADED_KV_RATIO, 1.0)
    ratio = _or(_column_of(frame, "loaded KV share [-]"), labelled)
    plain = motor.from_stator(d_fill, h_fill, kv, no_load_voltage=volts, loaded_kv_ratio=ratio)
    # a stated winding resistance changes the forecast; the usual share leaves the other rows unchanged
    printed = ~np.isnan(winding)
    usual = motor.WINDING_SHARE * np.asarray(plain.resistance)
    guess = motor.from_stator(
        d_fill, h_fill, kv, winding_resistance=_or(winding, usual), no_load_voltage=volts, loaded_kv_ratio=ratio
    )
    resistance = _or(given_r, np.asarray(guess.resistance))
    # the winding resistance is part of the effective resistance
    share = np.fmin(_or(winding, motor.WINDING_SHARE * resistance), resistance)
    # the loss torque of the estimate, at the resistance in use
    loss = guess.iron_torque_slope, guess.torque_constant
    current = _or(given_i, motor.current_without_load(*loss, resistance=resistance, voltage=volts))
    measured = ~np.isnan(given_r)
    spread = np.where(printed, motor.resistance_spread(guess), motor.resistance_spread(plain))
    own_spread = measured.any() or (printed.any() and not printed.all())
    return Motor(
        kv=kv,
        resistance=resistance,
        no_load_current=current,
        no_load_voltage=volts,
        mass=np.where(np.isnan(mass), motor.estimated_mass(d_fill, h_fill), mass),
        stator_diameter=d_fill,
        stator_height=h_fill,
        winding_resistance=None if np.all(np.isnan(winding)) else share,
        pole_pairs=_or(_column_of(frame, "pole pairs [-]"), 7.0),
        max_cells=_maybe(_column_of(frame, "most cells [-]"), beyond=NO_LIMIT),
        max_current=_maybe(_column_of(frame, "current limit [A]"), beyond=NO_LIMIT),
        loaded_kv_ratio=ratio,
        log_sd_resistance=np.where(measured, MEASURED_LOG_SD, spread) if own_spread else None,
    )


MEASURED_LOG_SD = 0.10
"""Standard deviation of ln R for an effective resistance measured by the user. [-] Estimate."""


def propellers(frame: pd.DataFrame) -> Propeller:
    """Convert a table of propellers into one `Propeller` with array fields, one element per row.

    Parameters
    ----------
    frame : DataFrame
        Of kind ``propellers``.

    Returns
    -------
    Propeller
        Rows without a blade width in mm have an unknown chord (NaN); their width class is used. Rows without a mass
        get its estimate.

    Examples
    --------
    >>> table = read_csv("name,diameter,pitch,blades\\nFern,5.1,4.3,3", "propellers")
    >>> propellers(table.frame).blades.tolist()
    [3.0]
    """
    frame = _some(frame, "propellers")
    diameter = _column_of(frame, "diameter [in]", INCH)
    seen = frame["blade width by eye"].replace("", "unknown").to_numpy(dtype=str)
    return Propeller(
        multirotor=True,
        diameter=diameter,
        pitch=_column_of(frame, "pitch [in]", INCH),
        blades=_column_of(frame, "blades [-]"),
        chord_ratio=_maybe(_column_of(frame, "blade width [mm]", MM) / (0.5 * diameter)),
        blade_width=seen if np.any(seen != "unknown") else "unknown",
        mass=_maybe(_column_of(frame, "mass [g]", GRAM)),
    )


def packs(frame: pd.DataFrame) -> Pack:
    """Convert a table of packs into one `Pack` with array fields, one element per row.

    Parameters
    ----------
    frame : DataFrame
        Of kind ``packs``.

    Returns
    -------
    Pack
        The chemistry is an array of names.

    Examples
    --------
    >>> table = read_csv("name,chemistry,cells,capacity\\nFern,LiPo,6,1300", "packs")
    >>> packs(table.frame).capacity_ah.tolist()
    [1.3]
    """
    frame = _some(frame, "packs")
    chemistry = frame["chemistry"].to_numpy(dtype=str)
    pack = Pack(
        chemistry=chemistry,
        cells=_column_of(frame, "cells [-]"),
        capacity_ah=_column_of(frame, "capacity [mAh]", MAH),
        parallel=_or(_column_of(frame, "parallel [-]"), 1.0),
        max_continuous_current=_maybe(_column_of(frame, "continuous current [A]"), beyond=NO_LIMIT),
        max_burst_current=_maybe(_column_of(frame, "burst current [A]"), beyond=NO_LIMIT),
    )
    ohms = _column_of(frame, "cell resistance [mohm]", MILLIOHM)
    if not np.all(np.isnan(ohms)):
        pack = replace(
            pack, cell_resistance=_or(battery.ten_second_resistance(ohms), battery.cell_resistance_new(pack))
        )
    mass = _column_of(frame, "mass [g]", GRAM)
    if not np.all(np.isnan(mass)):
        pack = replace(pack, mass=_or(mass, battery.mass(pack)))
    return pack


def controllers(frame: pd.DataFrame) -> Controller:
    """Convert a table of speed controllers into one `Controller` with array fields, one element per row.

    Parameters
    ----------
    frame : DataFrame
        Of kind ``controllers``.

    Returns
    -------
    Controller
        Ratings that no row states are None.

    Examples
    --------
    >>> text = "name,continuous current,most cells\\nFern,45,6"
    >>> controllers(read_csv(text, "controllers").frame).max_cells.tolist()
    [6.0]
    """
    frame = _some(frame, "controllers")
    mass = _column_of(frame, "mass [g]", GRAM)
    exponent = _column_of(frame, "throttle exponent [-]")
    given = ~np.isnan(exponent)
    return Controller(
        throttle_exponent=_maybe(exponent),
        log_sd_throttle_exponent=np.where(given, LOG_SD_THROTTLE_EXPONENT_TYPED, LOG_SD_THROTTLE_EXPONENT)
        if given.any()
        else None,
        continuous_current=_column_of(frame, "continuous current [A]"),
        burst_current=_maybe(_column_of(frame, "burst current [A]"), beyond=NO_LIMIT),
        min_cells=_maybe(_column_of(frame, "fewest cells [-]"), beyond=1.0),
        max_cells=_column_of(frame, "most cells [-]"),
        max_voltage=_maybe(_column_of(frame, "highest voltage [V]"), beyond=NO_LIMIT),
        # without any mass the frame mass includes it; if some rows state one, the others count as zero
        mass=_maybe(mass, beyond=1e-9),
    )


def _row(row: Mapping[str, Any] | pd.Series, kind: str, make: Callable[[pd.DataFrame], Any]) -> Any:
    """Return a single part from one row."""
    part = make(pd.DataFrame([dict(row)]))
    plain = {
        name: value[0].item()
        for name, value in vars(part).items()
        if isinstance(value, np.ndarray) and value.shape == (1,)
    }
    # ratings that the row does not state become None instead of `NO_LIMIT`
    plain = {name: None if isinstance(value, float) and math.isnan(value) else value for name, value in plain.items()}
    return replace(part, **plain, name=clean_text(row["name"]))


def to_motor(row: Mapping[str, Any] | pd.Series) -> Motor:
    """Convert one row of a table of motors into a single `Motor`.

    Parameters
    ----------
    row : mapping or Series
        Keys are the headings of a table of motors, values in the headings' units.

    Examples
    --------
    >>> row = {"name": "Fern", "KV [rpm/V]": 1950, "stator diameter [mm]": 22, "stator height [mm]": 7}
    >>> motor = to_motor(row)
    >>> motor.name, motor.kv
    ('Fern', 1950.0)
    """
    return _row(row, "motors", motors)


def to_propeller(row: Mapping[str, Any] | pd.Series) -> Propeller:
    """Convert one row of a table of propellers into a single `Propeller`.

    Parameters
    ----------
    row : mapping or Series
        Keys are the headings of a table of propellers, values in the headings' units.

    Examples
    --------
    >>> to_propeller({"name": "Fern", "diameter [in]": 5, "pitch [in]": 4, "blades [-]": 3}).diameter
    0.127
    """
    return _row(row, "propellers", propellers)


def to_pack(row: Mapping[str, Any] | pd.Series) -> Pack:
    """Convert one row of a table of packs into a single `Pack`.

    Parameters
    ----------
    row : mapping or Series
        Keys are the headings of a table of packs, values in the headings' units.

    Examples
    --------
    >>> to_pack({"name": "Fern", "chemistry": "lipo", "cells [-]": 6, "capacity [mAh]": 1300}).chemistry
    'lipo'
    """
    return _row(row, "packs", packs)


def to_controller(row: Mapping[str, Any] | pd.Series) -> Controller:
    """Convert one row of a table of speed controllers into a single `Controller`.

    Parameters
    ----------
    row : mapping or Series
        Keys are the headings of a table of controllers, values in the headings' units.

    Examples
    --------
    >>> to_controller({"name": "Fern", "continuous current [A]": 45, "most cells [-]": 6}).continuous_current
    45.0
    """
    return _row(row, "controllers", controllers)


def to_record(row: Mapping[str, Any] | pd.Series, kind: str) -> dict[str, Any]:
    """Return the fields of a build's record that one part determines, in the units of the record.

    Parameters
    ----------
    row : mapping
        One row of a table.
    kind : str
        One of `KINDS`.

    Returns
    -------
    dict
        For `assembly.build_record.from_record`. Values that the row does not state are None, so that those of an
        earlier part are not kept.

    Notes
    -----
    A record has no field for a measured effective resistance: use `to_motor` for a row with one.

    Examples
    --------
    >>> to_record({"name": "Fern", "continuous current [A]": 45, "most cells [-]": 6}, "controllers")["esc_a"]
    45.0
    """
    checked = _some(pd.DataFrame([dict(row)]), kind).iloc[0]
    out: dict[str, Any] = {}
    for column in columns(kind):
        if not column.record:
            continue
        value = checked[column.heading]
        if not column.text:
            value = None if math.isnan(value) else (int(value) if column.whole else float(value))
        out[column.record] = value
    if kind == "packs":
        whole_ah = out["capacity_mah"] * MAH * (out["parallel"] or 1)
        for heading, name in (
            ("continuous current [A]", "pack_label_c"),
            ("burst current [A]", "pack_burst_c"),
        ):
            amps = float(checked[heading])
            out[name] = None if math.isnan(amps) else amps / whole_ah
    if kind == "propellers":
        out["blade_width"] = out["blade_width"] or "unknown"
    # these fields have numeric defaults, so they must not become None
    for name, default in (
        ("parallel", 1),
        ("pole_pairs", 7),
        ("no_load_v", 10.0),
    ):
        if name in out and out[name] is None:
            out[name] = default
    return out
