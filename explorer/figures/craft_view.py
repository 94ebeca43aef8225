"""Top view of the craft, to scale: frame, discs, tip clearance; pinned builds as outlines. Pure functions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from explorer.figures.svg_image import svg_image

__all__ = ["TopView", "caption", "top_view", "words"]

BETWEEN_TIPS_MM = 5.0
"""Tip clearance of a frame with its largest propeller (common practice). [mm]"""
_STYLE = (
    ".arm{stroke:var(--second);stroke-width:5;stroke-linecap:round;opacity:.55}"
    ".body,.can{fill:var(--ground);stroke:var(--second);stroke-width:1.5}.nose{stroke:var(--second);stroke-width:1.5}"
    ".disc{fill:var(--this);fill-opacity:.13;stroke:var(--this);stroke-width:1.6}"
    ".disc.tight{stroke:var(--over);stroke-width:2.6}.blade{fill:var(--this);fill-opacity:.55}"
    ".pin{stroke:var(--pinned);stroke-width:1.6;stroke-dasharray:6 4}.pin.p1{stroke-dasharray:2 3}"
    ".pin.p2{stroke-dasharray:9 3 2 3}"
)
_BLADE_TIP = 0.45
"""Chord at the tip over the largest chord. [-]"""


@dataclass(frozen=True)
class TopView:
    """Dimensions of one build for the top view.

    Parameters
    ----------
    rotors : int
        Number of rotors; a coaxial craft has two on each arm.
    coaxial : bool
        Whether two rotors share each arm.
    diameter, frame_diameter : float
        Of the propeller, and of the largest propeller for the frame. [mm]
    blades : int
        Blades of one propeller.
    motor_diameter : float
        Stator diameter, for the circle of the motor. [mm]
    blade_width : float
        Largest chord. [mm]
    """

    rotors: int
    coaxial: bool
    diameter: float
    frame_diameter: float
    blades: int
    motor_diameter: float
    blade_width: float

    @property
    def arms(self) -> int:
        """Number of arms."""
        return max(self.rotors // 2 if self.coaxial else self.rotors, 1)

    @property
    def arm(self) -> float:
        """Distance from the centre of the craft to the axis of a motor. [mm]"""
        if self.arms < 3:
            return 0.5 * (self.frame_diameter + BETWEEN_TIPS_MM) * (self.arms - 1)
        return 0.5 * (self.frame_diameter + BETWEEN_TIPS_MM) / math.sin(math.pi / self.arms)

    @property
    def room(self) -> float:
        """Clearance between neighbouring tips; negative if the discs overlap. [mm]"""
        return self.frame_diameter + BETWEEN_TIPS_MM - self.diameter

    @property
    def reach(self) -> float:
        """Half of the side of a square around all discs. [mm]"""
        return max(max(abs(x), abs(y)) for x, y in self.places()) + 0.5 * self.diameter

    def places(self) -> list[tuple[float, float]]:
        """Return (x, y) of the motor axes, nose up, clockwise from the front right motor. [mm]"""
        # for an even number of arms, no arm is in front of the camera
        first = math.pi / self.arms if self.arms % 2 == 0 else 0.0
        turns = [first + 2.0 * math.pi * k / self.arms for k in range(self.arms)]
        return [(self.arm * math.sin(a), -self.arm * math.cos(a)) for a in turns]


def _f(x: float) -> str:
    return f"{x:.1f}".rstrip("0").rstrip(".")


def _blade(length: float, width: float) -> str:
    """Return the SVG path of one blade that points up from the centre of its disc."""
    w, tip = 0.5 * width, 0.5 * width * _BLADE_TIP
    out, back = _f(-0.75 * length), _f(-0.3 * length)
    return (
        f"M{_f(-0.5 * w)} 0C{_f(-1.3 * w)} {back} {_f(-1.1 * w)} {out} {_f(-tip)} {_f(-length)}"
        f"L{_f(tip)} {_f(-length)}C{_f(0.9 * w)} {out} {_f(0.7 * w)} {back} {_f(0.5 * w)} 0Z"
    )


def top_view(this: TopView, pins: Sequence[TopView] = (), *, corners: bool = False) -> str:
    """Return the top view of the craft as an image, nose up.

    Parameters
    ----------
    this : TopView
        The current build.
    pins : sequence of TopView
        The pinned builds, the latest first; each is a dashed outline if its size differs.
    corners : bool
        Whether to write the name of each corner beside its motor, in place of the blades.

    Returns
    -------
    str
        One image element, HTML.

    Examples
    --------
    >>> quad = TopView(4, False, 129.5, 129.5, 3, 22.0, 10.0)
    >>> round(quad.room, 1), len(quad.places())
    (5.0, 4)
    >>> top_view(quad)[:49]
    '<img class="wi-svg" alt="From above, to scale: 4 '
    """
    outlines = {k: one for k, one in enumerate(pins) if (one.diameter, one.arm) != (this.diameter, this.arm)}
    reach = 1.04 * max(one.reach for one in (this, *outlines.values()))
    parts = []
    body = 0.52 * this.arm
    for x, y in this.places():
        parts.append(f'<line class="arm" x1="0" y1="0" x2="{_f(x)}" y2="{_f(y)}"/>')
    parts.append(
        f'<rect class="body" x="{_f(-0.32 * body)}" y="{_f(-body)}" width="{_f(0.64 * body)}" height="{_f(2 * body)}" '
        f'rx="{_f(0.14 * body)}"/>'
        f'<path class="nose" d="M{_f(-0.2 * body)} {_f(-0.72 * body)}L0 {_f(-0.95 * body)}'
        f'L{_f(0.2 * body)} {_f(-0.72 * body)}"/>'
    )
    radius = 0.5 * this.diameter
    tight = " tight" if this.room < 0.0 else ""
    for x, y in this.places():
        blades = (
            ""
            if corners
            else "".join(
                f'<path class="blade" d="{_blade(radius, this.blade_width)}" '
                f'transform="rotate({_f(360.0 * b / this.blades + 25.0)})"/>'
                for b in range(this.blades)
            )
        )
        parts.append(
            f'<g transform="translate({_f(x)} {_f(y)})"><circle class="disc{tight}" r="{_f(radius)}"/>{blades}'
            f'<circle class="can" r="{_f(0.5 * this.motor_diameter + 2.0)}"/></g>'
        )
        if corners:
            parts.append(
                # on the side away from the arm, which points to the centre
                f'<text x="{_f(x)}" y="{_f(y + (0.6 if y > -1.0 else -0.42) * radius)}" '
                f'font-size="{_f(0.1 * reach)}">{_corner(x, y)}</text>'
            )
    for k, one in outlines.items():
        for x, y in one.places():
            parts.append(f'<circle class="pin p{k}" cx="{_f(x)}" cy="{_f(y)}" r="{_f(0.5 * one.diameter)}"/>')
    return svg_image("".join(parts), (-reach, -reach, 2.0 * reach, 2.0 * reach), words(this), style=_STYLE)


def _corner(x: float, y: float) -> str:
    """Return the name of the position of a motor, nose up."""
    along = "front" if y < -1.0 else "rear" if y > 1.0 else ""
    side = "right" if x > 1.0 else "left" if x < -1.0 else ""
    return f"{along} {side}".strip()


def caption(this: TopView) -> str:
    """Return the caption below the drawing."""
    if this.room < 0.0:
        return f"To scale. The tips would overlap by {this.room:.0f} mm.".replace("-", "")
    return f"To scale: {this.room:.0f} mm between the tips."


def words(this: TopView) -> str:
    """Return the drawing as one sentence, for the ``alt`` text."""
    pairs = f"{this.arms} pairs of" if this.coaxial else f"{this.rotors}"
    room = f"{_f(this.room)} mm between the tips" if this.room >= 0.0 else f"tips would overlap by {_f(-this.room)} mm"
    return f"From above, to scale: {pairs} propellers of {_f(this.diameter)} mm, {room}."
