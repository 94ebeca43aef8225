"""Parsing of numbers: cells of a table, digital throttle commands, times of day across midnight."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

__all__ = ["digital_share", "parse_number", "running_clock"]

_NUMBER = re.compile(
    r"[~≈<>=]?\s*([+-]?)\s*(\d[\d.,' \u00a0\u202f]*|[.,]\d+)(?:e([+-]?\d{1,3}))?\s*(%|[a-zµ°/·.]{0,8})",
    re.IGNORECASE,
)


def parse_number(text: str, decimal_comma: bool = False) -> float:
    """Parse one number such as ``50%``, ``1,234``, ``1.234,5`` or ``12.4 V``.

    Parameters
    ----------
    text : str
        One cell.
    decimal_comma : bool
        True if the decimal sign of the file is a comma.

    Returns
    -------
    float
        The number without its unit; NaN if the cell is not a number.

    Examples
    --------
    >>> parse_number("50%"), parse_number("1,234"), parse_number("1.234,5", True), parse_number("=1+1")
    (50.0, 1234.0, 1234.5, nan)
    """
    text = text.strip().strip("\"'").replace("−", "-")
    if len(text) > 40 or text[:1] == "=":
        return float("nan")
    match = _NUMBER.fullmatch(text)
    if match is None:
        return float("nan")
    sign, body, power, _ = match.groups()
    body = re.sub(r"[' \u00a0\u202f]", "", body).rstrip(".,")
    mark = "," if decimal_comma else "."
    if "," in body and "." in body:
        mark = "," if body.rfind(",") > body.rfind(".") else "."
    other = "." if mark == "," else ","
    if other in body:
        # the other sign must separate thousands: groups of exactly three digits
        whole = body.split(mark)[0]
        if re.fullmatch(r"[1-9]\d{0,2}(" + re.escape(other) + r"\d{3})+", whole):
            body = body.replace(other, "")
        elif decimal_comma and body.count(".") == 1 and "," not in body:
            mark = "."
        else:
            return float("nan")
    body = body.replace(mark, ".")
    if body.count(".") > 1:
        return float("nan")
    try:
        return float(f"{sign}{body}e{power or 0}")
    except ValueError:
        return float("nan")


def digital_share(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Convert digital throttle commands to shares: 48 is zero, 2047 full, below 48 the motor is stopped.

    Parameters
    ----------
    values : ndarray
        Commands, 0 to 2047. [-]

    Returns
    -------
    ndarray
        Throttle shares, same shape. [-]
    """
    return np.clip((values - 48.0) / 1999.0, 0.0, 1.0)


def running_clock(time: NDArray[np.float64]) -> NDArray[np.float64]:
    """Make times of day continuous across midnight.

    Parameters
    ----------
    time : ndarray, shape (rows,)
        Time of day. [s]

    Returns
    -------
    ndarray, shape (rows,)
        Time, increased by a day after each midnight. [s]

    Examples
    --------
    >>> running_clock(np.array([86399.0, 0.0, 1.0])).tolist()
    [86399.0, 86400.0, 86401.0]
    """
    step = np.diff(time, prepend=time[:1])
    return time + 86400.0 * np.cumsum(np.where(step < -43200.0, 1.0, 0.0))
