"""Propulsion model of small electric multirotors.

Parts (air, propeller, motor, controller, pack, craft) make a `Build`; a build is asked for its throttle curve, its
performance, its flight time, its dive, its limits. Every number may be an array: a curve, a sweep, a spread and a
sensitivity are the same call with another axis. SI units, radians, state of charge 0 to 1.
"""

from propmodel import bench, costs, heat, parts, power_up
from propmodel.assembly.build import Build, with_fields
from propmodel.assembly.demo import demo, demo_names
from propmodel.assess.limits import Limit, limits
from propmodel.assess.performance import Performance, performance
from propmodel.base.constants import MODEL_EDITION
from propmodel.base.status import Status
from propmodel.components import air, battery, momentum, motor, propeller, wire
from propmodel.components.air import Air, atmosphere
from propmodel.components.battery import Pack, discharge
from propmodel.components.controller import Controller
from propmodel.components.craft import Craft
from propmodel.components.motor import Motor
from propmodel.components.propeller import Propeller
from propmodel.dive.pull_out import pull_out
from propmodel.flight import spin_up as response
from propmodel.flight.best_speeds import best_speeds
from propmodel.flight.climb import climb_rate
from propmodel.flight.endurance import WAYS_OF_FLYING, FlightTime, Profile, flight_time
from propmodel.flight.level import level_flight
from propmodel.flight.top_speed import top_speed
from propmodel.powertrain.throttle_curve import bench_curve, throttle_curve
from propmodel.studies import sensitivity, spread
from propmodel.studies.solve_for import solve_for
from propmodel.studies.sweep import Condition, Sweep, sweep

__version__ = "0.1.0"
"""Of the engine and the explorer together; the build reads it here."""

__all__ = [
    "MODEL_EDITION",
    "WAYS_OF_FLYING",
    "Air",
    "Build",
    "Condition",
    "Controller",
    "Craft",
    "FlightTime",
    "Limit",
    "Motor",
    "Pack",
    "Performance",
    "Profile",
    "Propeller",
    "Status",
    "Sweep",
    "air",
    "atmosphere",
    "battery",
    "bench",
    "bench_curve",
    "best_speeds",
    "climb_rate",
    "costs",
    "demo",
    "demo_names",
    "discharge",
    "flight_time",
    "heat",
    "level_flight",
    "limits",
    "momentum",
    "motor",
    "parts",
    "performance",
    "power_up",
    "propeller",
    "pull_out",
    "response",
    "sensitivity",
    "solve_for",
    "spread",
    "sweep",
    "throttle_curve",
    "top_speed",
    "wire",
    "with_fields",
]
