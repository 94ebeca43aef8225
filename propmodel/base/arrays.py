"""Floats and arrays: their type for checkers, and the few conversions that every module needs."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["FloatArray", "Number", "floats", "number"]

FloatArray = NDArray[np.float64]

Number = Any
"""A float, or an array (also a plain list) that broadcasts with the others. A type checker cannot follow which
of the two a field holds, and arithmetic must work on both; the range checks of each part refuse anything else."""


def floats(value: ArrayLike) -> FloatArray:
    """Return a value as an array of doubles; an array of doubles comes back as it is.

    Parameters
    ----------
    value : array_like
        A number, a list or an array.

    Returns
    -------
    ndarray
        Without axes for a plain number.

    Examples
    --------
    >>> floats(3).dtype
    dtype('float64')
    """
    return np.asarray(value, dtype=np.float64)


def number(value: Any) -> float:
    """Return a value that holds one number as a plain float.

    Parameters
    ----------
    value : array_like
        A number, or an array of one element without axes.

    Returns
    -------
    float

    Examples
    --------
    >>> number(np.asarray(2.5))
    2.5
    """
    return float(np.asarray(value))
