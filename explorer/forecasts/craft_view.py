"""Data of a build for the top view of the craft."""

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
    """Sizes of frame, propellers and motors; a frame of unknown size is taken as one for this propeller."""
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
