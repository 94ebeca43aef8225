"""Sweeps of 10^4, 10^5 and 10^6 builds: time, peak memory, growth; and the same outputs by scalar root finding.

    python tests/benchmarks/sweep.py [largest]

All headline outputs and all limit margins of every build. Run it on a quiet machine.
"""

from __future__ import annotations

import resource
import sys
import time

import numpy as np
from scalar_model import at_duty, at_thrust, hover_seconds, scalars, thrust

import propmodel
from propmodel.performance import CHUNK

INCH = 0.0254


def axes(size: int) -> dict[str, np.ndarray]:
    """An outer grid of about ``size`` builds around the five-inch craft."""
    side = round((size / 20) ** 0.25)
    return {
        "motor.kv": np.linspace(1300.0, 2600.0, side),
        "motor.stator_diameter": np.linspace(0.020, 0.025, side),
        "propeller.diameter": np.linspace(4.5, 6.0, side) * INCH,
        "propeller.pitch": np.linspace(3.0, 5.0, side) * INCH,
        "pack.cells": np.array([4, 5, 6, 7]),
        "pack.capacity_ah": np.linspace(0.8, 2.5, 5),
    }


def scalar_seconds(build: propmodel.Build, sample: int = 5) -> float:
    """One build by scalar root finding: hover and full throttle, fresh and at the reserve, and the hover time.

    Far fewer outputs than the sweep gives: the ratio is the least there is.
    """
    start = time.perf_counter()
    for _ in range(sample):
        weight = float(build.weight)
        for charge in (1.0, 0.2):
            s = scalars(build, charge)
            thrust(s, at_duty(s, 1.0)[0])
            at_thrust(scalars(build, charge, sustained=True), weight / s.rotors)
        hover_seconds(build, weight)
    return (time.perf_counter() - start) / sample


def main() -> None:
    largest = int(float(sys.argv[1])) if len(sys.argv) > 1 else 1_000_000
    scree = propmodel.demo("scree")
    propmodel.sweep(scree, axes(10_000))  # warm up
    each, before = float("nan"), None
    for size in (10_000, 100_000, 1_000_000):
        if size > largest:
            break
        start = time.perf_counter()
        found = propmodel.sweep(scree, axes(size))
        took = time.perf_counter() - start
        each = took / found.size
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        grown = (
            "" if before is None else f", {took / before[0] * (before[1] / found.size) * 10:.1f} x for 10 x the builds"
        )
        print(f"{found.size:>9,} builds: {took:.2f} s, {1e6 * each:.2f} us each, peak {peak:.0f} MB{grown}")
        before = (took, found.size)
        if size == 1_000_000:
            start = time.perf_counter()
            front = found.pareto({"hover_time": "max", "thrust_to_weight": "max"})
            print(f"frontier of {found.size:,}: {time.perf_counter() - start:.2f} s, {front.size} builds")
    scalar = scalar_seconds(scree)
    print(f"scalar root finding of a few of these outputs: {1e3 * scalar:.0f} ms a build, {scalar / each:,.0f} times")

    many = propmodel.with_fields(
        scree,
        {
            "motor.kv": np.random.default_rng(0).uniform(1300, 2600, 100_000),
            "pack.cells": np.resize([4, 5, 6], 100_000),
        },
    )
    start = time.perf_counter()
    propmodel.performance(many)
    took = time.perf_counter() - start
    print(f"performance of 100,000 builds (pieces of {CHUNK}): {took:.2f} s, {1e6 * took / 1e5:.1f} us each")
    start = time.perf_counter()
    for _ in range(20):
        propmodel.performance(scree)
    print(f"performance of one build: {1e3 * (time.perf_counter() - start) / 20:.1f} ms")
    start = time.perf_counter()
    for _ in range(5):
        propmodel.spread.bands(scree, draws=512)
    print(f"bands of one build, 512 draws: {1e3 * (time.perf_counter() - start) / 5:.0f} ms")


if __name__ == "__main__":
    main()
