"""What the picture of the craft from above needs of a build."""

from __future__ import annotations

import numpy as np

from explorer.figures.craft_view import TopView
from explorer.forecasts.headlines import build
from explorer.inputs import Inputs
from propmodel.base.arrays import number
from propmodel.base.units import INCH, MM
from propmodel.components.propeller.label_fit import default_chord_ratio

__all__ = ["top_view_of"]


def top_view_of(inputs: Inputs) -> TopView:
    """Sizes of the frame, the propellers and the motors; the frame is one for this propeller where it was not told."""
    made = build(inputs)
    turned = made.propeller
    diameter = number(turned.diameter)
    chord = turned.chord_ratio
    chord_ratio = number(default_chord_ratio(diameter) if chord is None else chord)
    frame = inputs.frame_propeller_in
    return TopView(
        rotors=inputs.rotors,
        coaxial=inputs.coaxial,
        diameter=diameter / MM,
        frame_diameter=diameter / MM if frame is None else frame * INCH / MM,
        blades=int(np.asarray(turned.blades)),
        motor_diameter=inputs.stator_d_mm,
        blade_width=0.5 * chord_ratio * diameter / MM,
    )
