"""Propulsion model of small electric multirotors.

Parts (air, propeller, motor, controller, pack, craft) make a `Build`; a build is asked for its throttle curve, its
performance, its flight time, its dive, its limits. Every number may be an array: a curve, a sweep, a spread and a
sensitivity are the same call with another axis. SI units, radians, state of charge 0 to 1.
"""

from propmodel import (
    air,
    battery,
    bench,
    costs,
    heat,
    momentum,
    motor,
    parts,
    power_up,
    propeller,
    response,
    sensitivity,
    spread,
    wire,
)
from propmodel.air import Air, atmosphere
from propmodel.battery import Pack, discharge
from propmodel.build import Build, with_fields
from propmodel.constants import MODEL_EDITION
from propmodel.controller import Controller
from propmodel.craft import Craft
from propmodel.demo import demo, demo_names
from propmodel.endurance import WAYS_OF_FLYING, FlightTime, Profile, flight_time
from propmodel.flight import best_speeds, climb_rate, level_flight, top_speed
from propmodel.limits import Limit, limits
from propmodel.motor import Motor
from propmodel.performance import Performance, performance
from propmodel.propeller import Propeller
from propmodel.solve import solve_for
from propmodel.status import Status
from propmodel.sweep import Condition, Sweep, sweep
from propmodel.throttle import bench_curve, throttle_curve
from propmodel.way_out import pull_out

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
