"""Physical constants, each with its source."""

STANDARD_GRAVITY = 9.80665
"""ISO 80000-3 conventional value. [m/s^2]"""

GAS_CONSTANT_AIR = 287.05287
"""ISO 2533:1975, dry air. [J/(kg K)]"""

GAS_CONSTANT = 8.314462618
"""CODATA 2018. [J/(mol K)]"""

COPPER_RESISTIVITY_20C = 1.0 / 58.0e6
"""IEC 60028 (1925), annealed copper at 20 C. [ohm m]"""

COPPER_TEMPERATURE_COEFFICIENT = 3.93e-3
"""IEC 60028 (1925), at 20 C. [1/K]"""

MODEL_EDITION = 3
"""Edition of the forecast: one more with each refit that moves headline answers of a typed build. [-] Saved builds and
links carry it; 1 is what carries none."""

__all__ = [
    "COPPER_RESISTIVITY_20C",
    "COPPER_TEMPERATURE_COEFFICIENT",
    "GAS_CONSTANT",
    "GAS_CONSTANT_AIR",
    "MODEL_EDITION",
    "STANDARD_GRAVITY",
]
