"""Ranges of the fields of a part, declared once on the dataclass field: read by checks, documentation and screens."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from functools import lru_cache
from math import inf
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np

from propmodel.base.checks import as_floats, check_finite, check_positive, check_range

__all__ = ["Range", "allowed", "check_fields", "positive", "ranges_of"]

_KEY = "range"


class Range(NamedTuple):
    """Allowed range of a numeric field."""

    low: float
    """Smallest value allowed, or the bound itself where ``above`` is True."""
    high: float
    """Largest value allowed; infinite where only the unit's sense bounds it."""
    unit: str
    """Of both, SI; empty for none."""
    label: str
    """What sentences call the field; empty: the field's own name."""
    above: bool
    """True where ``low`` itself is not allowed; it is then 0."""
    nan: bool
    """True where NaN is allowed in an array: not known."""


def allowed(
    low: float = 0.0, high: float = inf, unit: str = "", *, label: str = "", above: bool = False, nan: bool = False
) -> dict[str, Range]:
    """Metadata of a dataclass field: its range.

    Parameters
    ----------
    low, high : float
        Both allowed.
    unit : str
        Of both, as sentences print it.
    label : str
        Name of the field in error messages; empty: its own name.
    above : bool
        Leave out ``low`` itself, which is 0.
    nan : bool
        Allow NaN: not known.

    Returns
    -------
    dict
        For ``dataclasses.field(metadata=...)``.

    Raises
    ------
    ValueError
        If the range is empty, or ``above`` is used with a lower bound other than 0.

    Examples
    --------
    >>> allowed(0.0, 100.0, "kg", above=True)["range"].high
    100.0
    """
    if not low < high or (above and low != 0.0):
        raise ValueError(f"a range must rise, and begin at 0 where the bound is left out, got {low:g} to {high:g}")
    return {_KEY: Range(low, high, unit, label, above, nan)}


def positive(unit: str = "", label: str = "") -> dict[str, Range]:
    """Metadata of a dataclass field that may hold any number above zero.

    Parameters
    ----------
    unit, label : str
        As for `allowed`.

    Returns
    -------
    dict
        For ``dataclasses.field(metadata=...)``.

    Examples
    --------
    >>> positive("kg")["range"].above
    True
    """
    return allowed(0.0, inf, unit, label=label, above=True)


@lru_cache(maxsize=64)
def ranges_of(kind: type) -> Mapping[str, Range]:
    """Range of every field of a part that has one.

    Parameters
    ----------
    kind : type
        A dataclass.

    Returns
    -------
    mapping
        By field, in the order of the fields.

    Examples
    --------
    >>> from propmodel import Craft
    >>> ranges_of(Craft)["thrust_loss"][:2]
    (0.0, 0.9)
    """
    return MappingProxyType({f.name: f.metadata[_KEY] for f in fields(kind) if _KEY in f.metadata})


def check_fields(part: Any) -> None:
    """Refuse a part with a field outside its range; None passes where the field may be None.

    Parameters
    ----------
    part : dataclass
        In its ``__post_init__``.

    Raises
    ------
    ValueError
        In one sentence that names the field, the first offender and what is allowed.

    Examples
    --------
    >>> from propmodel import Craft
    >>> Craft(frame_mass=0.4, thrust_loss=1.5)
    Traceback (most recent call last):
    ...
    ValueError: thrust_loss must be between 0 and 0.9, got 1.5
    """
    kind: type = type(part)
    for name, allows in _checks(kind):
        value = getattr(part, name)
        if value is None and allows.none:
            continue
        _check(allows.range.label or name, value, allows.range)


class _Allows(NamedTuple):
    range: Range
    none: bool


@lru_cache(maxsize=64)
def _checks(kind: type) -> tuple[tuple[str, _Allows], ...]:
    """Range of each field, and whether its default says that None is allowed."""
    optional = {f.name: f.default is None for f in fields(kind)}
    return tuple((name, _Allows(found, optional[name])) for name, found in ranges_of(kind).items())


def _check(label: str, value: Any, found: Range) -> None:
    if found.nan:
        values = as_floats(label, value)
        value = np.where(np.isnan(values), found.low, values)
    if found.above:
        check_positive(label, value, found.unit)
    if found.high < inf:
        check_range(label, value, found.low, found.high, found.unit)
    elif not found.above:
        check_finite(label, value, found.unit)
