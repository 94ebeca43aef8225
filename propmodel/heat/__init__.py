"""Temperatures of motor, wire, controller and pack."""

from propmodel.heat.motor import (
    BELL_OVER,
    LENGTH_OVER,
    PACK_HEAT,
    HeatCapacity,
    SteadyHeat,
    ThermalResistance,
    capacities,
    continuous_current,
    controller_rise,
    pack_temperature_rate,
    resistances,
    rms_current,
    seconds_to_limit,
    steady_temperatures,
    temperatures_after,
    wire_rise,
)
from propmodel.heat.pack import pack_cooling

__all__ = [
    "BELL_OVER",
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
