"""An SVG drawing as an ``<img>`` element, because Streamlit removes ``<svg>`` from HTML. Pure functions."""

from __future__ import annotations

import base64
import html

__all__ = ["svg_image"]

_STYLE = (
    ":root{--ink:#1E2A2E;--second:#4A575B;--ground:#F6F5F0;--this:#432A86;--pinned:#717D80;--over:#9E3413}"
    "@media(prefers-color-scheme:dark){:root{--ink:#E7E6DE;--second:#A7B2B3;--ground:#151B1D;"
    "--this:#C3B1F5;--pinned:#87949A;--over:#D2522B}}"
    "svg{fill:none;stroke-linejoin:round;font-family:system-ui,sans-serif;color:var(--ink)}"
    "*{vector-effect:non-scaling-stroke}text{fill:var(--ink);text-anchor:middle;stroke:none}"
)
"""Colours of the style sheet. An image follows the colour scheme but cannot read the CSS variables of the page."""


def svg_image(inside: str, view_box: tuple[float, float, float, float], alt: str, *, style: str = "") -> str:
    """Return one ``<img>`` element.

    Parameters
    ----------
    inside : str
        SVG markup without the outer element, made by the program: no user text.
    view_box : tuple of float
        Left, top, width and height in the units of the drawing.
    alt : str
        Description of the drawing in words.
    style : str
        CSS rules of this drawing. The colours ``--ink``, ``--second``, ``--ground``, ``--this``, ``--pinned`` and
        ``--over`` are defined.

    Returns
    -------
    str
        The element.

    Examples
    --------
    >>> svg_image('<circle r="1"/>', (-1, -1, 2, 2), "a disc")[:42]
    '<img class="wi-svg" alt="a disc" src="data'
    """
    box = " ".join(f"{v:.6g}" for v in view_box)
    # with a width and a height: without them some browsers use no aspect ratio
    size = f'width="{view_box[2]:.6g}" height="{view_box[3]:.6g}"'
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" {size}><style>{_STYLE}{style}</style>{inside}</svg>'
    data = base64.b64encode(svg.encode("utf-8")).decode("ascii")
    return f'<img class="wi-svg" alt="{html.escape(alt, quote=True)}" src="data:image/svg+xml;base64,{data}">'
