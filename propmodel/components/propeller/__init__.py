"""The propeller: data, label forecast, measured set, coefficients."""

from propmodel.components.propeller.size import (
    OwnFit,
    PreparedPropeller,
    Propeller,
    RangeFlag,
    Spread,
    coefficients,
    current_name,
    inertia,
    mass,
    measured,
    measured_names,
    pitch_speed,
    prepare,
    spread,
    stack,
)

__all__ = [
    "OwnFit",
    "PreparedPropeller",
    "Propeller",
    "RangeFlag",
    "Spread",
    "coefficients",
    "current_name",
    "inertia",
    "mass",
    "measured",
    "measured_names",
    "pitch_speed",
    "prepare",
    "spread",
    "stack",
]
