"""Floats and arrays: their type for checkers, and the few conversions that every module needs."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["ArrayOrFloat", "FloatArray", "floats", "number", "quantiles", "tails"]

FloatArray = NDArray[np.float64]

ArrayOrFloat = float | FloatArray
"""A float, or an array that broadcasts with the others: what a field of a part holds once it is made. A list is turned
into an array by the part (`checks.keep_arrays`)."""


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


def tails(coverage: float) -> tuple[float, float]:
    """Shares below the two ends of a band that holds the middle part of all draws.

    Parameters
    ----------
    coverage : float
        Share of the draws inside, 0 to 1. [-]

    Returns
    -------
    tuple of float

    Examples
    --------
    >>> [round(x, 3) for x in tails(0.8)]
    [0.1, 0.9]
    """
    return 0.5 * (1.0 - coverage), 0.5 * (1.0 + coverage)


def quantiles(values: NDArray, shares: tuple[float, ...]) -> NDArray:
    """Quantiles along the last axis; draws that cannot do the thing are left out, NaN where most cannot.

    Parameters
    ----------
    values : ndarray, shape (..., draws)
        NaN where a draw has no answer; infinity is a number.
    shares : tuple of float
        0 to 1. [-]

    Returns
    -------
    ndarray, shape (shares, ...)

    Examples
    --------
    >>> quantiles(np.asarray([4.0, 1.0, np.nan, 3.0]), (0.0, 0.5, 1.0))
    array([1., 3., 4.])
    """
    ordered = np.sort(values, axis=-1)  # NaN last
    count = np.sum(~np.isnan(values), axis=-1)
    out = []
    for share in shares:
        position = share * np.maximum(count - 1, 0)
        low = np.floor(position).astype(np.intp)
        high = np.minimum(low + 1, np.maximum(count - 1, 0))
        a = np.take_along_axis(ordered, low[..., None], -1)[..., 0]
        b = np.take_along_axis(ordered, high[..., None], -1)[..., 0]
        weight = position - low
        with np.errstate(invalid="ignore"):
            value = np.where(a == b, a, a * (1.0 - weight) + b * weight)
        value = np.where(count >= 0.5 * values.shape[-1], value, np.nan)
        out.append(value)
    return np.stack(out)
