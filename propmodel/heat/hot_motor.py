"""Diagnosis of a hot motor: whether the load explains its temperature, and otherwise the possible causes."""

from __future__ import annotations

from dataclasses import dataclass

from propmodel.base import checks
from propmodel.base.units import CELSIUS_ZERO

__all__ = ["OTHER_CAUSES", "TOUCH", "HotMotorVerdict", "hot_motor_verdict"]

OTHER_CAUSES = (
    "Control loop noise: the D share turns gyro noise into current. Lower it, fly half a minute, touch again.",
    "Filters: set for another frame or switched off, they let that noise through.",
    "A bearing: pack unplugged, turn the bell by hand, feel for grit, listen for scraping.",
    "A bent propeller or shaft: look along it while it turns slowly; try fresh propellers.",
    "Motor screws touching the windings: take one out and compare its length with arm plus thread.",
    "A damaged winding: smell, dark lacquer, or a motor that jerks at the start.",
    "Then find out what it follows: swap the motor with its neighbour. "
    "If the heat moves along, it is the motor; "
    "if it stays at the corner, it is the controller, the arm or the tune.",
)
"""Other causes of a hot motor, in the order of checking (common practice)."""

WARM = 20.0
"""Rise of the bell above the air below which it feels cool to warm (common practice, from memory). [K]"""
TOUCH_CELSIUS = 60.0
"""Temperature above which the bell is too hot to hold (common practice, from memory). [C]"""
TOUCH = CELSIUS_ZERO + TOUCH_CELSIUS
"""The same temperature. [K]"""


@dataclass(frozen=True)
class HotMotorVerdict:
    """Diagnosis of one motor.

    Parameters
    ----------
    explained : {"no", "partly", "yes"}
        Whether the heat from driving the propeller explains the temperature.
    text : str
        Diagnosis in one or two sentences.
    causes : tuple of str
        Other causes in the order of checking; empty if the load explains the temperature.
    """

    explained: str
    text: str
    causes: tuple[str, ...]


def _watts(value: float) -> str:
    return f"{value:.1f}" if value < 2.0 else f"{value:.0f}"


def hot_motor_verdict(
    heat_watts: float, predicted_rise: float, *, air_temperature: float = CELSIUS_ZERO + 25.0
) -> HotMotorVerdict:
    """Return whether the heat from driving the propeller explains a hot motor.

    Parameters
    ----------
    heat_watts : float
        Heat in one motor at its load in flight. [W]
    predicted_rise : float
        Steady rise of the bell above the air at that load; NaN if there is no steady state. [K]
    air_temperature : float
        Air temperature; with the rise it decides whether the bell is too hot to hold. [K]

    Returns
    -------
    HotMotorVerdict
        The diagnosis.

    Examples
    --------
    >>> hot_motor_verdict(3.0, 12.0).text
    'Turning the propeller makes only 3 W of heat in each motor, ... That cannot make it hot. ...'
    """
    heat = checks.check_number("heat_watts", checks.check_range("heat_watts", heat_watts, 0.0, 1e6, "W"), "W")
    air = checks.check_number("air_temperature", checks.check_positive("air_temperature", air_temperature, "K"), "K")
    rise = checks.as_floats("predicted_rise", predicted_rise)
    if rise.ndim:
        raise ValueError(f"predicted_rise must be one number, got {rise.size} of them")
    if rise != rise:
        text = (
            f"Turning the propeller makes {_watts(heat)} W of heat in each motor at this load, "
            "more than it can give off: it gets hotter until something fails. The load explains it."
        )
        return HotMotorVerdict("yes", text, ())
    if rise < WARM:
        text = (
            f"Turning the propeller makes only {_watts(heat)} W of heat in each motor, "
            f"about {rise:.0f} K over the air. That cannot make it hot. Look here, in this order."
        )
        return HotMotorVerdict("no", text, OTHER_CAUSES)
    if air + rise < TOUCH:
        text = (
            f"Turning the propeller makes {_watts(heat)} W of heat in each motor, "
            f"about {rise:.0f} K over the air: warm, "
            "but not too hot to hold. If it is hotter than that, look here, in this order."
        )
        return HotMotorVerdict("partly", text, OTHER_CAUSES)
    text = (
        f"Turning the propeller makes {_watts(heat)} W of heat in each motor, "
        f"about {rise:.0f} K over the air. "
        "The load alone explains a hot motor: a smaller propeller, less pitch, fewer cells or a larger motor."
    )
    return HotMotorVerdict("yes", text, ())
