"""Text for the cells of a table that a spreadsheet may open."""

from __future__ import annotations

import unicodedata

__all__ = ["escape_cell", "unescape_cell"]

_FORMULA = frozenset("=+-@\t\r\n|%")
"""A cell that starts like this may run as a formula or command in a spreadsheet (OWASP, CSV injection)."""


def escape_cell(value: object, *, numbers_pass: bool = False) -> object:
    """Make a text harmless to a spreadsheet by a leading apostrophe; whatever is no text passes as it is.

    Parameters
    ----------
    value : object
        What the cell holds: a text, a number or nothing.
    numbers_pass : bool
        Leave a text that is a plain number, such as ``-12.5``, as it is.

    Examples
    --------
    >>> escape_cell("=1+1"), escape_cell("2207"), escape_cell(-5.0)
    ("'=1+1", '2207', -5.0)
    >>> escape_cell("-12.5"), escape_cell("-12.5", numbers_pass=True)
    ("'-12.5", '-12.5')
    """
    if not isinstance(value, str):
        return value
    # spreadsheets skip blanks and byte order marks, and full-width forms count as the plain sign
    first = unicodedata.normalize("NFKC", value).lstrip(" \u00a0\ufeff'")[:1]
    if first not in _FORMULA or not first or (numbers_pass and _is_number(value)):
        return value
    return "'" + value


def unescape_cell(value: str) -> str:
    """Remove the prefix of `escape_cell`.

    Parameters
    ----------
    value : str
        Text of a cell, as read.

    Examples
    --------
    >>> unescape_cell("'=1+1")
    '=1+1'
    """
    return value[1:] if value.startswith("'") and escape_cell(value[1:]) == value else value


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
