"""Temperatures of motor, wire, controller and pack."""

from propmodel.heat.leads_and_controller import controller_rise, rms_current, wire_rise
from propmodel.heat.motor import (
    BELL_OVER,
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
from propmodel.heat.pack import PACK_HEAT, pack_cooling, pack_temperature_rate

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
