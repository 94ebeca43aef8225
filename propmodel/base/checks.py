"""Checks on inputs: one plain sentence with the name, the value, its unit and what is allowed."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["as_floats", "check_finite", "check_in", "check_number", "check_positive", "check_range"]


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
    """Turn a value into floats, or say which field is not a number.

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
        If it is text, a truth value or otherwise no number.

    Examples
    --------
    >>> as_floats("kv", "fast")
    Traceback (most recent call last):
    ...
    ValueError: kv must be a number, got 'fast'
    """
    if isinstance(value, str | bytes | bool):
        raise ValueError(f"{name} must be a number, got {value!r}")
    try:
        array = np.asarray(value)
        if array.dtype.kind in "cSU":  # text and complex numbers would be turned into floats without a word
            raise TypeError
        return array.astype(np.float64, copy=False)
    except (TypeError, ValueError):
        shown = repr(value.tolist() if isinstance(value, np.ndarray) else value)
        shown = shown if len(shown) <= 60 else f"{shown[:57]}..."
        raise ValueError(f"{name} must be a number, got {shown}") from None


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
    _fail(name, ~np.isfinite(values), values, "a finite number", "")
    return values


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
    values = check_finite(name, value, unit)
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
    if type(value) is float and low <= value <= high:  # what is asked most, answered first
        return np.asarray(value)
    values = check_finite(name, value, unit)
    bad = (values < low) | (values > high)
    _fail(name, bad, values, f"between {_number(low)} and {_number(high)}", unit)
    return values


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
    if value in known:
        return str(value)
    near = difflib.get_close_matches(str(value), known, n=3, cutoff=0.4) or known[:8]
    raise ValueError(f"{name} {value!r} is not known; nearest: {', '.join(near)}")
