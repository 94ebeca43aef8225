"""The craft around the propulsion: what it weighs, what it drags, what its electronics draw and bear."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base.arrays import ArrayOrFloat
from propmodel.base.checks import check_positive, check_range, keep_arrays

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

    frame_mass: ArrayOrFloat
    payload_mass: ArrayOrFloat = 0.0
    drag_area_front: ArrayOrFloat | None = None
    drag_area_top: ArrayOrFloat | None = None
    thrust_loss: ArrayOrFloat = 0.05
    electronics_power: ArrayOrFloat = 8.0
    frame_propeller_diameter: ArrayOrFloat | None = None
    electronics_min_voltage: ArrayOrFloat = 5.0
    video_max_voltage: ArrayOrFloat | None = None
    camera_max_voltage: ArrayOrFloat | None = None
    regulator_max_voltage: ArrayOrFloat | None = None
    receiver_max_voltage: ArrayOrFloat | None = None
    capacitor_voltage: ArrayOrFloat | None = None
    capacitance: ArrayOrFloat = 1000e-6
    lead_area: ArrayOrFloat | None = None
    lead_length: ArrayOrFloat = 0.10
    motor_lead_area: ArrayOrFloat | None = None
    motor_lead_length: ArrayOrFloat = 0.10
    connector_current: ArrayOrFloat | None = None
    mass_threshold: ArrayOrFloat | None = None
    name: str = ""

    def __post_init__(self) -> None:
        check_positive("frame_mass", self.frame_mass, "kg")
        check_range("frame_mass", self.frame_mass, 0.0, 100.0, "kg")
        check_range("payload_mass", self.payload_mass, 0.0, 100.0, "kg")
        check_range("thrust_loss", self.thrust_loss, 0.0, 0.9)
        check_range("electronics_power", self.electronics_power, 0.0, 1e4, "W")
        check_range("electronics_min_voltage", self.electronics_min_voltage, 0.0, 1e3, "V")
        check_range("capacitance", self.capacitance, 0.0, 10.0, "F")
        check_range("lead_length", self.lead_length, 0.0, 100.0, "m")
        check_range("motor_lead_length", self.motor_lead_length, 0.0, 100.0, "m")
        optional = {
            "drag_area_front": "m^2",
            "drag_area_top": "m^2",
            "frame_propeller_diameter": "m",
            "video_max_voltage": "V",
            "camera_max_voltage": "V",
            "regulator_max_voltage": "V",
            "receiver_max_voltage": "V",
            "capacitor_voltage": "V",
            "lead_area": "m^2",
            "motor_lead_area": "m^2",
            "connector_current": "A",
            "mass_threshold": "kg",
        }
        for field, unit in optional.items():
            value = getattr(self, field)
            if value is not None:
                check_positive(field, value, unit)
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
