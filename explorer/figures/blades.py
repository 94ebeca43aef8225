"""Three blade outlines to scale, for choosing the class of blade width by eye. Our own drawing."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from propmodel.components.propeller import BLADE_WIDTHS, WIDTH_BOUNDS

__all__ = ["WIDTH_WORDS", "blade_silhouettes", "outline"]

_LOW, _HIGH = (f"{100.0 * share:g}" for share in WIDTH_BOUNDS)
WIDTH_WORDS = {
    "unknown": "unknown",
    "slim": f"slim: under {_LOW} % of the diameter",
    "middle": f"middle: {_LOW} to {_HIGH} %",
    "broad": f"broad: {_HIGH} % and more",
}
"""Class of blade width -> its text on the screen, with the width at 75 % radius."""

PLACE = 0.75
"""Radius at which the width is measured, over the tip radius. [-]"""
_RADIUS = (0.05, 0.15, 0.30, 0.45, 0.60, 0.75, 0.88, 1.00)
_WIDTH = (0.50, 0.58, 0.92, 1.08, 1.10, 1.04, 0.95, 0.80)
"""Width of a typical blade along the radius, over its width at 75 % radius, without the rounded tip. [-]"""
_LONG, _HALF, _ROW = 165.0, 12.0, 42.0  # tip radius, half of the hub diameter, height of a row, in units of the drawing


@lru_cache(maxsize=8)
def outline(width: str) -> NDArray[np.float64]:
    """Return the upper half of the outline of a blade.

    Parameters
    ----------
    width : str
        "slim", "middle" or "broad".

    Returns
    -------
    ndarray
        Rows of (distance from the hub centre, half width), over the tip radius. [-]

    Examples
    --------
    >>> half = outline("broad")
    >>> round(2 * float(np.interp(0.75, half[:, 0], half[:, 1])), 3)
    0.2
    """
    chord = BLADE_WIDTHS[width]
    assert chord is not None
    # more points near the tip, where the curvature is large
    x = np.unique(np.append(1.0 - 0.95 * np.linspace(0.0, 1.0, 49) ** 2, PLACE))
    shape = PchipInterpolator(_RADIUS, _WIDTH)(x) * np.sqrt(np.maximum(1.0 - x**8, 0.0))
    return np.column_stack([x, 0.5 * chord * shape / shape[x == PLACE]])


def blade_silhouettes(seen: str) -> str:
    """Return a drawing of a slim, a middle and a broad blade, to scale, with the selected one darker.

    Parameters
    ----------
    seen : str
        Key of `propmodel.propeller.BLADE_WIDTHS`.

    Returns
    -------
    str
        One ``<svg>`` element in the text colour of the page.
    """
    names = [name for name, chord in BLADE_WIDTHS.items() if chord is not None]
    shapes = []
    for row, name in enumerate(names):
        middle = _ROW * (row + 0.5)
        half = outline(name)
        upper = [f"{_HALF + _LONG * x:.1f},{middle - _LONG * y:.1f}" for x, y in half]
        lower = [f"{_HALF + _LONG * x:.1f},{middle + _LONG * y:.1f}" for x, y in half[::-1]]
        shade = "0.75" if name == seen else "0.28"
        shapes.append(
            f'<g fill="currentColor" fill-opacity="{shade}">'
            f'<circle cx="{_HALF:g}" cy="{middle:g}" r="{0.9 * _HALF:g}"/>'
            f'<polygon points="{" ".join(upper + lower)}"/></g>'
            f'<text x="{_HALF + _LONG + 8:g}" y="{middle + 4:g}" font-size="12" fill="currentColor">{name}</text>'
        )
    mark = _HALF + PLACE * _LONG
    height = _ROW * len(names)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 234 {height:g}" width="100%" role="img" '
        f'aria-label="Outlines of a slim, a middle and a broad blade, measured at the dashed line">{"".join(shapes)}'
        f'<line x1="{mark:g}" x2="{mark:g}" y1="2" y2="{height - 2:g}" stroke="currentColor" stroke-opacity="0.6" '
        'stroke-dasharray="3 3"/></svg>'
    )
