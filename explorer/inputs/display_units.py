"""Display units of the controls. `Inputs` has inches, grams and Celsius; millimetres and Fahrenheit are for display."""

from __future__ import annotations

from explorer.inputs.fields import DESCRIBED
from explorer.text.numbers import Units

__all__ = ["display_span", "display_unit", "from_display", "to_display"]

_PROPELLER = {"diameter_in", "pitch_in", "frame_propeller_in"}
_WRITTEN = {"C": "°C", "mohm": "mΩ", "uF": "µF", "cm2": "cm²", "S": "S"}
MM_PER_INCH = 25.4


def _is_temperature(name: str) -> bool:
    return name in DESCRIBED and DESCRIBED[name].unit == "C"


def display_unit(name: str, unit: str, units: Units) -> str:
    """Unit beside a control.

    Examples
    --------
    >>> display_unit("diameter_in", "in", Units(propeller="mm"))
    'mm'
    """
    if name in _PROPELLER:
        return units.propeller
    if _is_temperature(name) and units.temperature == "F":
        return "°F"
    return _WRITTEN.get(unit, unit)


def to_display(name: str, value: float | None, units: Units) -> float | None:
    """Convert a field's value into the display unit of its control.

    Examples
    --------
    >>> to_display("diameter_in", 5.1, Units(propeller="mm"))
    129.5
    >>> to_display("air_temperature_c", 12.0, Units(temperature="F"))
    53.6
    """
    if value is None:
        return None
    if name in _PROPELLER and units.propeller == "mm":
        return round(value * MM_PER_INCH, 1)
    if _is_temperature(name) and units.temperature == "F":
        return round(value * 1.8 + 32.0, 1)
    return value


def from_display(name: str, value: float | None, units: Units) -> float | None:
    """Convert the value of a control into the unit of its field; the inverse of `to_display` to a hundredth.

    Examples
    --------
    >>> from_display("diameter_in", 129.5, Units(propeller="mm")), from_display("kv", 1950.0, Units())
    (5.1, 1950.0)
    """
    if value is None or isinstance(value, bool | str):
        return value
    if name in _PROPELLER and units.propeller == "mm":
        return round(value / MM_PER_INCH, 2)
    if _is_temperature(name) and units.temperature == "F":
        return round((value - 32.0) / 1.8, 2)
    return value


def display_span(name: str, span: tuple[float, float, float], units: Units) -> tuple[float, float, float]:
    """Low, high and step of a control, in its display unit."""
    low, high, step = span
    if name in _PROPELLER and units.propeller == "mm":
        return round(low * MM_PER_INCH), round(high * MM_PER_INCH), 1.0
    if _is_temperature(name) and units.temperature == "F":
        return round(low * 1.8 + 32.0), round(high * 1.8 + 32.0), 1.0
    return low, high, step
