"""The craft without the propulsion: mass, drag, power and voltage limits of its electronics, leads and connector."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base.arrays import ArrayOrFloat
from propmodel.base.checks import keep_arrays
from propmodel.base.ranges import allowed, check_fields, positive

__all__ = ["TOP_TO_FRONT_DRAG", "Craft", "default_drag_area", "drag_area"]

TOP_TO_FRONT_DRAG = 2.2
"""Drag area of the plan form over that of the front; estimate for an open frame (arms and plate broadside)."""


def default_drag_area(propeller_diameter: ArrayLike) -> NDArray:
    """Front drag area of an open frame sized for a propeller.

    Parameters
    ----------
    propeller_diameter : array_like
        Propeller diameter. [m]

    Returns
    -------
    ndarray
        Drag area C_D A seen from the front. [m^2]

    Notes
    -----
    Estimate, a factor 1.7 wide either way: 0.005, 0.010, 0.015 and 0.030 m^2 for 3, 5, 7 and 10 inches
    (common practice, from memory; published figures for small craft differ by two to three times), drawn as
    0.010 (D / 5.1 in)^1.35.

    Examples
    --------
    >>> round(float(default_drag_area(5.1 * 0.0254)), 4)
    0.01
    """
    return 0.010 * (np.asarray(propeller_diameter, dtype=np.float64) / 0.12954) ** 1.35


@dataclass(frozen=True)
class Craft:
    """Everything that is neither motor, propeller nor pack; fields may be arrays.

    Parameters
    ----------
    frame_mass : array_like
        Frame, flight electronics, speed controllers, wires: all but motors, propellers, pack, payload. [kg]
    payload_mass : array_like
        Camera or other load. [kg]
    drag_area_front, drag_area_top : array_like or None
        C_D A seen from the front and from above; None takes :func:`default_drag_area` and 2.2 times it. [m^2]
    thrust_loss : array_like
        Share of the propellers' thrust lost on arms and body in the wash. [-] Common practice 0.05 to 0.10.
    electronics_power : array_like
        Flight controller, radio, video. [W]
    frame_propeller_diameter : array_like or None
        Largest propeller the frame is sold for. [m]
    electronics_min_voltage : array_like
        Bus voltage below which the flight electronics drop out. [V]
    video_max_voltage, camera_max_voltage, regulator_max_voltage, receiver_max_voltage : array_like or None
        Highest input voltage of each part wired straight to the pack; None where not said. [V]
    capacitor_voltage : array_like or None
        Rating of the bus capacitor. [V]
    capacitance : array_like
        Bus capacitance. [F]
    lead_area : array_like or None
        Copper area of the main leads. [m^2]
    lead_length : array_like
        Length of one main lead. [m]
    motor_lead_area : array_like or None
        Copper area of one motor lead. [m^2]
    motor_lead_length : array_like
        Length of one motor lead. [m]
    connector_current : array_like or None
        Rating of the pack connector. [A]
    mass_threshold : array_like or None
        All-up mass the pilot does not want to exceed. [kg]
    name : str
        Free text.
    """

    frame_mass: ArrayOrFloat = field(metadata=allowed(0.0, 100.0, "kg", above=True))
    payload_mass: ArrayOrFloat = field(default=0.0, metadata=allowed(0.0, 100.0, "kg"))
    drag_area_front: ArrayOrFloat | None = field(default=None, metadata=positive("m^2"))
    drag_area_top: ArrayOrFloat | None = field(default=None, metadata=positive("m^2"))
    thrust_loss: ArrayOrFloat = field(default=0.05, metadata=allowed(0.0, 0.9))
    electronics_power: ArrayOrFloat = field(default=8.0, metadata=allowed(0.0, 1e4, "W"))
    frame_propeller_diameter: ArrayOrFloat | None = field(default=None, metadata=positive("m"))
    electronics_min_voltage: ArrayOrFloat = field(default=5.0, metadata=allowed(0.0, 1e3, "V"))
    video_max_voltage: ArrayOrFloat | None = field(default=None, metadata=positive("V"))
    camera_max_voltage: ArrayOrFloat | None = field(default=None, metadata=positive("V"))
    regulator_max_voltage: ArrayOrFloat | None = field(default=None, metadata=positive("V"))
    receiver_max_voltage: ArrayOrFloat | None = field(default=None, metadata=positive("V"))
    capacitor_voltage: ArrayOrFloat | None = field(default=None, metadata=positive("V"))
    capacitance: ArrayOrFloat = field(default=1000e-6, metadata=allowed(0.0, 10.0, "F"))
    lead_area: ArrayOrFloat | None = field(default=None, metadata=positive("m^2"))
    lead_length: ArrayOrFloat = field(default=0.10, metadata=allowed(0.0, 100.0, "m"))
    motor_lead_area: ArrayOrFloat | None = field(default=None, metadata=positive("m^2"))
    motor_lead_length: ArrayOrFloat = field(default=0.10, metadata=allowed(0.0, 100.0, "m"))
    connector_current: ArrayOrFloat | None = field(default=None, metadata=positive("A"))
    mass_threshold: ArrayOrFloat | None = field(default=None, metadata=positive("kg"))
    name: str = ""

    def __post_init__(self) -> None:
        check_fields(self)
        keep_arrays(self)


def drag_area(front: ArrayLike, top: ArrayLike, tilt: ArrayLike) -> NDArray:
    """Drag area of a craft tilted into the stream.

    Parameters
    ----------
    front, top : array_like
        C_D A seen from the front and from above. [m^2]
    tilt : array_like
        Angle between the rotor plane and the horizontal stream. [rad]

    Returns
    -------
    ndarray
        front cos^2 + top sin^2. [m^2]

    Examples
    --------
    >>> float(drag_area(0.01, 0.022, 0.0))
    0.01
    """
    s2 = np.sin(tilt) ** 2
    return np.asarray(front) * (1.0 - s2) + np.asarray(top) * s2
