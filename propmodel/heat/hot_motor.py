"""Does the load explain a hot motor? And if not, what does."""

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
"""In the order to look (common practice)."""

WARM = 20.0
"""Rise of the bell over the air below which it feels cool to warm (common practice, from memory). [K]"""
TOUCH_CELSIUS = 60.0
"""A hotter bell cannot be held in the hand (common practice, from memory). [C]"""
TOUCH = CELSIUS_ZERO + TOUCH_CELSIUS
"""The same. [K]"""


@dataclass(frozen=True)
class HotMotorVerdict:
    """Verdict on one motor.

    Parameters
    ----------
    explained : {"no", "partly", "yes"}
        Whether turning the propeller makes enough heat.
    text : str
        One or two sentences.
    causes : tuple of str
        Other causes in the order to look; empty if the load explains it.
    """

    explained: str
    text: str
    causes: tuple[str, ...]


def _watts(value: float) -> str:
    return f"{value:.1f}" if value < 2.0 else f"{value:.0f}"


def hot_motor_verdict(
    heat_watts: float, predicted_rise: float, *, air_temperature: float = CELSIUS_ZERO + 25.0
) -> HotMotorVerdict:
    """Say whether turning the propeller explains a hot motor.

    Parameters
    ----------
    heat_watts : float
        Heat in one motor at the load flown. [W]
    predicted_rise : float
        Steady rise of the bell over the air at that load; NaN if it never settles. [K]
    air_temperature : float
        Of the air it flies in, which decides from what rise a bell is too hot to hold. [K]

    Returns
    -------
    HotMotorVerdict

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
            "more than it can give off: it gets hotter until something gives. The load explains it."
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
