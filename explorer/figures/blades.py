"""Three blades drawn to scale, for the width judged by eye. Our own drawing."""

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
"""What the choices say: width three quarters of the way from hub centre to tip."""

PLACE = 0.75
"""Where the width counts, over the tip radius. [-]"""
_RADIUS = (0.05, 0.15, 0.30, 0.45, 0.60, 0.75, 0.88, 1.00)
_WIDTH = (0.50, 0.58, 0.92, 1.08, 1.10, 1.04, 0.95, 0.80)
"""Width of a usual blade over about the one at three quarters of the radius, without the round of the tip."""
_LONG, _HALF, _ROW = 165.0, 12.0, 42.0  # tip radius, half of the hub, height of a row, in units of the picture


@lru_cache(maxsize=8)
def outline(width: str) -> NDArray[np.float64]:
    """Upper half of a blade's outline.

    Parameters
    ----------
    width : str
        "slim", "middle" or "broad".

    Returns
    -------
    ndarray
        Rows of distance from the hub centre and half width, over the tip radius. [-]

    Examples
    --------
    >>> half = outline("broad")
    >>> round(2 * float(np.interp(0.75, half[:, 0], half[:, 1])), 3)
    0.2
    """
    chord = BLADE_WIDTHS[width]
    assert chord is not None
    # dense towards the tip, where the outline turns
    x = np.unique(np.append(1.0 - 0.95 * np.linspace(0.0, 1.0, 49) ** 2, PLACE))
    shape = PchipInterpolator(_RADIUS, _WIDTH)(x) * np.sqrt(np.maximum(1.0 - x**8, 0.0))
    return np.column_stack([x, 0.5 * chord * shape / shape[x == PLACE]])


def blade_silhouettes(seen: str) -> str:
    """Picture of a slim, a middle and a broad blade, to scale, the chosen one darker.

    Parameters
    ----------
    seen : str
        A name of `propmodel.propeller.BLADE_WIDTHS`.

    Returns
    -------
    str
        One ``<svg>`` element in the colour of the text around it.
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
