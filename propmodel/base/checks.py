"""Checks on inputs: one plain sentence with the name, the value, its unit and what is allowed."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "apart",
    "as_floats",
    "check_finite",
    "check_flag",
    "check_in",
    "check_names",
    "check_number",
    "check_positive",
    "check_range",
    "keep_arrays",
    "quoted",
]

_PLAIN = (float, int, str, bool, type(None), np.ndarray)
"""Kinds of fields that stay as they are."""
_FLOATS = np.dtype(np.float64)
_REAL = (int, float, np.integer, np.floating, np.bool_, type(None))
"""Kinds of the elements of an array of objects that count as numbers; None is NaN: not known."""


def _number(value: float) -> str:
    return f"{value:.6g}"


def _fail(name: str, bad: NDArray[np.bool_], values: NDArray[np.float64], rule: str, unit: str) -> None:
    """Raise a ValueError that names the first offending value."""
    if not bad.any():
        return
    unit_text = f" {unit}" if unit else ""
    flat = np.atleast_1d(values).ravel()
    index = int(np.argmax(np.atleast_1d(bad).ravel()))
    text = f"{name} must be {rule}{unit_text}, got {_number(flat[index])}{unit_text}"
    if flat.size > 1:
        text += f" ({int(bad.sum())} of {flat.size} values, first at index {index})"
    raise ValueError(text)


def as_floats(name: str, value: Any) -> NDArray[np.float64]:
    """Convert a value to floats, or raise an error that names the field.

    Parameters
    ----------
    name : str
        What the value is, as the sentence should call it.
    value : array_like
        The value or values.

    Returns
    -------
    ndarray
        The value as floats.

    Raises
    ------
    ValueError
        If it is text, a truth value, a date, a decimal or otherwise no plain number.

    Notes
    -----
    Masked elements, and None inside a list, become NaN: not known.

    Examples
    --------
    >>> as_floats("kv", "fast")
    Traceback (most recent call last):
    ...
    ValueError: kv must be a number, got 'fast'
    """
    kind = type(value)
    if kind is float or kind is np.float64 or (kind is np.ndarray and value.dtype is _FLOATS):
        return np.asarray(value)  # by far the most
    if isinstance(value, str | bytes | bool):
        raise ValueError(f"{name} must be a number, got {value!r}")
    try:
        array = np.asarray(value)
        objects = array.dtype.kind == "O" and all(isinstance(v, _REAL) for v in array.flat)
        if array.dtype.kind in "cSUmMO" and not objects:  # these would be turned into floats without a word
            raise TypeError
        floats = array.astype(np.float64, copy=False)
    except (TypeError, ValueError, OverflowError):
        raise ValueError(f"{name} must be a number, got {quoted(value)}") from None
    if kind is not np.ndarray and isinstance(value, np.ma.MaskedArray):
        return np.where(np.ma.getmaskarray(value), np.nan, floats)  # what lies under a mask means nothing
    return floats


def quoted(value: Any) -> str:
    """Text of a value that cannot be used, at most 60 characters.

    Parameters
    ----------
    value : Any
        The value.

    Returns
    -------
    str

    Examples
    --------
    >>> quoted("fast")
    "'fast'"
    """
    text = _text(value.tolist() if isinstance(value, np.ndarray) else value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _text(value: Any) -> str:
    try:
        return repr(value)
    except ValueError:  # Python writes no integer of more than 4300 digits
        return "an integer of thousands of digits"


def apart(value: Any) -> Any:
    """Return a value that shares no memory with what the caller passed, for answers that hand it back.

    Parameters
    ----------
    value : ndarray or float
        Part of an answer.

    Returns
    -------
    ndarray or float
        A copy of an array, writable.

    Examples
    --------
    >>> asked = np.array([1.0, 2.0])
    >>> np.shares_memory(apart(asked), asked)
    False
    """
    return value.copy() if isinstance(value, np.ndarray) else value


def keep_arrays(part: Any) -> None:
    """Turn the lists in the fields of a frozen part into arrays of its own, once they have been checked.

    Tables and masked arrays, too: masked elements become NaN. Plain numbers, text, parts, tuples and plain arrays stay.

    Parameters
    ----------
    part : dataclass
        At the end of its ``__post_init__``.

    Raises
    ------
    ValueError
        If a list holds anything but numbers, or text throughout.

    Examples
    --------
    >>> from propmodel import Motor
    >>> Motor([1950, 2450], 0.11, 0.5).kv
    array([1950, 2450])
    """
    for name, value in vars(part).items():
        kind = type(value)
        if kind in _PLAIN or issubclass(kind, np.generic):
            continue
        if kind is list or kind is range or hasattr(kind, "__array__"):
            try:
                array = np.asarray(value)
            except ValueError:  # lists of unequal lengths
                array = as_floats(name, value)
            if array.dtype.kind not in "biufU" or isinstance(value, np.ma.MaskedArray):
                array = as_floats(name, value)
            object.__setattr__(part, name, np.array(array))


def check_finite(name: str, value: Any, unit: str = "") -> NDArray[np.float64]:
    """Refuse text, NaN and infinity.

    Parameters
    ----------
    name : str
        What the value is, as the sentence should call it.
    value : array_like
        The value or values.
    unit : str
        Printed behind the numbers; empty for none.

    Returns
    -------
    ndarray
        The value as floats.

    Raises
    ------
    ValueError
        In one sentence that names the first offender.

    Examples
    --------
    >>> check_finite("speed", float("nan"), "m/s")
    Traceback (most recent call last):
    ...
    ValueError: speed must be a finite number, got nan
    """
    values = as_floats(name, value)
    if not _within(values, -_MOST, _MOST):
        _fail(name, ~np.isfinite(values), values, "a finite number", "")
    return values


_MOST, _LEAST = float(np.finfo(np.float64).max), float(np.finfo(np.float64).smallest_subnormal)


def _within(values: NDArray[np.float64], low: float, high: float) -> bool:
    """Whether there is nothing outside and no NaN: two passes over the values, without a mask."""
    return bool(low <= values.min(initial=high) and values.max(initial=low) <= high)


def check_number(name: str, value: Any, unit: str = "") -> float:
    """Refuse anything but one finite number.

    Parameters
    ----------
    name : str
        What the value is, as the sentence should call it.
    value : float
        The value.
    unit : str
        Printed behind the number; empty for none.

    Returns
    -------
    float
        The value.

    Raises
    ------
    ValueError
        In one sentence.

    Examples
    --------
    >>> check_number("target", [1.0, 2.0])
    Traceback (most recent call last):
    ...
    ValueError: target must be one number, got 2 of them
    """
    values = check_finite(name, value, unit)
    if values.ndim:
        raise ValueError(f"{name} must be one number, got {values.size} of them")
    return float(values)


def check_positive(name: str, value: Any, unit: str = "") -> NDArray[np.float64]:
    """Refuse anything that is not finite and above zero.

    Parameters
    ----------
    name : str
        What the value is, as the sentence should call it.
    value : array_like
        The value or values.
    unit : str
        Printed behind the numbers; empty for none.

    Returns
    -------
    ndarray
        The value as floats.

    Raises
    ------
    ValueError
        In one sentence that names the first offender.

    Examples
    --------
    >>> check_positive("diameter", -0.254, "m")
    Traceback (most recent call last):
    ...
    ValueError: diameter must be > 0 m, got -0.254 m
    """
    values = as_floats(name, value)
    if not _within(values, _LEAST, _MOST):
        check_finite(name, values, unit)
        _fail(name, ~(values > 0), values, "> 0", unit)
    return values


def check_range(name: str, value: Any, low: float, high: float, unit: str = "") -> NDArray[np.float64]:
    """Refuse anything outside ``low`` to ``high``, both included.

    Parameters
    ----------
    name : str
        What the value is, as the sentence should call it.
    value : array_like
        The value or values.
    low, high : float
        Limits, both allowed.
    unit : str
        Printed behind the numbers; empty for none.

    Returns
    -------
    ndarray
        The value as floats.

    Raises
    ------
    ValueError
        In one sentence that names the first offender.

    Examples
    --------
    >>> check_range("charge", 1.2, 0.0, 1.0)
    Traceback (most recent call last):
    ...
    ValueError: charge must be between 0 and 1, got 1.2
    """
    if type(value) is float and low <= value <= high:  # the most frequent case first
        return np.asarray(value)
    values = as_floats(name, value)
    if not _within(values, max(low, -_MOST), min(high, _MOST)):
        check_finite(name, values, unit)
        bad = (values < low) | (values > high)
        _fail(name, bad, values, f"between {_number(low)} and {_number(high)}", unit)
    return values


def check_flag(name: str, value: Any) -> bool:
    """Refuse anything but True and False.

    Parameters
    ----------
    name : str
        What the value is, as the sentence should call it.
    value : bool
        The value.

    Returns
    -------
    bool

    Raises
    ------
    ValueError
        In one sentence.

    Examples
    --------
    >>> check_flag("sustained", [True, False])
    Traceback (most recent call last):
    ...
    ValueError: sustained must be True or False, got [True, False]
    """
    if not isinstance(value, bool | np.bool_):
        raise ValueError(f"{name} must be True or False, got {quoted(value)}")
    return bool(value)


def check_names(name: str, value: Any, allowed: Iterable[str]) -> list[str]:
    """Refuse anything but a list of known names.

    Parameters
    ----------
    name : str
        What the names are, as the sentence should call them.
    value : sequence of str
        The names to look up.
    allowed : iterable of str
        Known names.

    Returns
    -------
    list of str

    Raises
    ------
    ValueError
        In one sentence: if it is no list, or one is not known.

    Examples
    --------
    >>> check_names("outputs", 3.0, ["mass"])
    Traceback (most recent call last):
    ...
    ValueError: outputs must be a list of names, got 3.0
    """
    if isinstance(value, str | bytes) or not isinstance(value, Iterable):
        raise ValueError(f"{name} must be a list of names, got {quoted(value)}")
    known = list(allowed)
    return [check_in(name, one, known) for one in value]


def check_in(name: str, value: Any, allowed: Iterable[str]) -> str:
    """Refuse an unknown name and list the nearest known ones.

    Parameters
    ----------
    name : str
        What the value is, as the sentence should call it.
    value : Any
        The name to look up.
    allowed : iterable of str
        Known names.

    Returns
    -------
    str
        The name.

    Raises
    ------
    ValueError
        If it is not known.

    Examples
    --------
    >>> check_in("chemistry", "lipoo", ["lipo", "li_ion"])
    Traceback (most recent call last):
    ...
    ValueError: chemistry 'lipoo' is not known; nearest: lipo, li_ion
    """
    known = list(allowed)
    if isinstance(value, str) and value in known:
        return str(value)
    text = quoted(value)
    near = difflib.get_close_matches(value if isinstance(value, str) else text, known, n=3, cutoff=0.4) or known[:8]
    raise ValueError(f"{name} {text} is not known; nearest: {', '.join(near)}")
