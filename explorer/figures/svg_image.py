"""A drawing of ours as an image element: the page's own cleaner of HTML takes an ``<svg>`` element out. Pure."""

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
"""The colours of the style sheet: an image sees the colour scheme, not the page's variables."""


def svg_image(inside: str, view_box: tuple[float, float, float, float], alt: str, *, style: str = "") -> str:
    """One ``<img>`` element.

    Parameters
    ----------
    inside : str
        SVG markup without the outer element; our own, nothing typed by anybody.
    view_box : tuple of float
        Left, top, width and height in the units of the drawing.
    alt : str
        The drawing in words.
    style : str
        Rules of this drawing, on top of the colours ``--ink``, ``--second``, ``--ground``, ``--this``, ``--pinned``
        and ``--over``.

    Returns
    -------
    str
        HTML.

    Examples
    --------
    >>> svg_image('<circle r="1"/>', (-1, -1, 2, 2), "a disc")[:42]
    '<img class="wi-svg" alt="a disc" src="data'
    """
    box = " ".join(f"{v:.6g}" for v in view_box)
    # a width and a height: some browsers give an image without them no shape
    size = f'width="{view_box[2]:.6g}" height="{view_box[3]:.6g}"'
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" {size}><style>{_STYLE}{style}</style>{inside}</svg>'
    data = base64.b64encode(svg.encode("utf-8")).decode("ascii")
    return f'<img class="wi-svg" alt="{html.escape(alt, quote=True)}" src="data:image/svg+xml;base64,{data}">'
