"""Cells of a user's table: sanitising of text, and parsing of numbers."""

from __future__ import annotations

import math
import re
import unicodedata
from typing import Any

import numpy as np
import pandas as pd

from propmodel.base.cells import unescape_cell
from propmodel.parts.table_columns import Column

__all__ = ["MAX_CELL", "MAX_TEXT", "clean_text"]

MAX_TEXT = 80
MAX_CELL = 2000


def clean_text(value: object) -> str:
    """Sanitise untrusted text for display.

    The result is one line of at most `MAX_TEXT` characters, without control and direction characters and with
    angle brackets replaced.

    Parameters
    ----------
    value : object
        Value of a cell, converted into text first.

    Returns
    -------
    str
        The sanitised text.
    """
    text = unicodedata.normalize("NFC", str(value)[: MAX_TEXT * 10])
    text = "".join(" " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c for c in text)
    text = "".join(c for c in text if unicodedata.category(c) not in ("Cf", "Cs", "Co", "Cn"))
    text = text.replace("<", "\u2039").replace(">", "\u203a")
    return " ".join(text.split())[:MAX_TEXT].strip()


def _number(text: object, *, comma: bool) -> float:
    """Return a number, NaN for a blank cell; raise ValueError for anything else."""
    if text is None or text is pd.NA:
        return math.nan
    if isinstance(text, bool | np.bool_):
        raise ValueError
    if isinstance(text, int | float | np.number):
        value = float(text)
    else:
        plain = str(text).strip().replace("\u2212", "-").replace("\u00a0", "").replace("\u202f", "")
        if plain.lower() in ("", "-", "nan", "none", "n/a", "?"):
            return math.nan
        if comma:
            plain = plain.replace(",", ".")
        if not re.fullmatch(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?", plain):
            raise ValueError
        value = float(plain)
    if math.isinf(value):
        raise ValueError
    return value


def read_cell(column: Column, raw: object, *, comma: bool, factor: float = 1.0) -> tuple[Any, str]:
    """Return the value of one cell, and a sentence about its fault (empty if it is valid)."""
    if column.text:
        blank = raw is None or raw is pd.NA or (isinstance(raw, float) and math.isnan(raw))
        text = "" if blank else clean_text(unescape_cell(str(raw).strip()))
        if column.choices and text:
            known = {c.replace("_", " "): c for c in column.choices} | {"li-ion": "li_ion", "lihv": "lipo_hv"}
            text = known.get(text.lower().replace("_", " "), text)
            if text not in column.choices:
                return text, f"must be one of {', '.join(column.choices)}, got '{text}'"
        return text, ("is blank" if column.needed and not text else "")
    try:
        value = _number(raw, comma=comma) * factor
    except ValueError:
        return math.nan, f"must be a plain number such as 12.5, got '{clean_text(raw)[:30]}'"
    unit = f" {column.unit}" if column.unit not in ("", "-") else ""
    if math.isnan(value):
        return value, ("is blank" if column.needed else "")
    if not column.low <= value <= column.high:
        return value, f"must be between {column.low:g} and {column.high:g}{unit}, got {value:g}{unit}"
    if column.whole and abs(value - round(value)) > 1e-9:
        return value, f"must be a whole number, got {value:g}"
    return value, ""


def is_blank(value: object) -> bool:
    if value is None or value is pd.NA:
        return True
    return (isinstance(value, float) and math.isnan(value)) or (isinstance(value, str) and not value.strip())
