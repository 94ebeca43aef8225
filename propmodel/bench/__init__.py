"""Measurement logs: reading, quality flags, calibration, and the shipped motor-propeller measurements."""

from propmodel.bench.read_log import (
    BenchFileError,
    BenchLog,
    Calibration,
    Doubt,
    FlightCalibration,
    Guess,
    MeasuredPair,
    NearPair,
    calibrate,
    calibrate_flight,
    measured_pairs,
    nearest_pairs,
    read,
    safe_cell,
)

__all__ = [
    "BenchFileError",
    "BenchLog",
    "Calibration",
    "Doubt",
    "FlightCalibration",
    "Guess",
    "MeasuredPair",
    "NearPair",
    "calibrate",
    "calibrate_flight",
    "measured_pairs",
    "nearest_pairs",
    "read",
    "safe_cell",
]
