"""Thermal models of motor, wire, controller and pack."""

from propmodel.heat.motor import (
    BELL_OVERHANG,
    LENGTH_OVER,
    HeatCapacity,
    SteadyHeat,
    ThermalResistance,
    capacities,
    resistances,
    steady_temperatures,
    temperatures_after,
)
from propmodel.heat.motor_limits import continuous_current, seconds_to_limit
from propmodel.heat.pack_and_leads import (
    PACK_HEAT,
    controller_rise,
    pack_cooling,
    pack_temperature_rate,
    rms_current,
    wire_rise,
)

__all__ = [
    "BELL_OVERHANG",
    "LENGTH_OVER",
    "PACK_HEAT",
    "HeatCapacity",
    "SteadyHeat",
    "ThermalResistance",
    "capacities",
    "continuous_current",
    "controller_rise",
    "pack_cooling",
    "pack_temperature_rate",
    "resistances",
    "rms_current",
    "seconds_to_limit",
    "steady_temperatures",
    "temperatures_after",
    "wire_rise",
]
