"""Headline answers of one build, of 100,000 builds, and the bands of one build with 512 draws.

Run: .venv/bin/python tests/benchmarks/performance.py [--profile]
"""

from __future__ import annotations

import cProfile
import pstats
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

import numpy as np
from timing import best_of, machine

import propmodel
from propmodel.studies import spread

BUILDS = 100_000


def random_builds(count: int) -> propmodel.Build:
    """Builds around the default craft, over eight fields at once."""
    rng = np.random.default_rng(3)
    return propmodel.with_fields(
        propmodel.demo("scree"),
        {
            "motor.kv": rng.uniform(1200.0, 2600.0, count),
            "motor.stator_diameter": rng.uniform(0.020, 0.025, count),
            "motor.stator_height": rng.uniform(0.005, 0.009, count),
            "propeller.diameter": rng.uniform(0.11, 0.18, count),
            "propeller.pitch": rng.uniform(0.07, 0.13, count),
            "propeller.blades": rng.integers(2, 4, count),
            "pack.cells": rng.integers(3, 7, count),
            "pack.capacity_ah": rng.uniform(0.6, 3.0, count),
        },
    )


def report(what: str, wall: float, processor: float, wanted: str, scale: float, unit: str) -> None:
    """One line."""
    print(f"{what:46}{scale * wall:10.2f}{scale * processor:12.2f} {unit:4} wanted {wanted}")


def main() -> None:
    print(f"headline answers; {machine()}")
    print(f"{'':46}{'wall':>10}{'processor':>12}")
    scree = propmodel.demo("scree")
    one = best_of(lambda: propmodel.performance(scree), runs=5, repeat=5)
    report("performance, one build", one.wall, one.processor, "< 20 ms", 1e3, "ms")
    many = random_builds(BUILDS)
    array = best_of(lambda: propmodel.performance(many), runs=3)
    report(
        f"performance, {BUILDS:,} builds, each", array.wall / BUILDS, array.processor / BUILDS, "<= 10 us", 1e6, "us"
    )
    band = best_of(lambda: spread.bands(scree, draws=512), runs=5)
    report("bands, one build, 512 draws", band.wall, band.processor, "< 100 ms", 1e3, "ms")
    first = best_of(lambda: propmodel.limits(scree), runs=3)
    report("limits with their fixes, one build", first.wall, first.processor, "-", 1e3, "ms")
    assert np.isfinite(array.answer.hover_power).mean() > 0.5
    if "--profile" in sys.argv:
        for what, call in (
            ("one build", lambda: [propmodel.performance(scree) for _ in range(20)]),
            ("100,000 builds, one thread", lambda: [_piece(many, i) for i in range(0, BUILDS, 4096)]),
            ("throttle curve", lambda: [propmodel.throttle_curve(scree) for _ in range(200)]),
        ):
            print(f"\nprofile: {what}")
            with cProfile.Profile() as profile:
                call()
            pstats.Stats(profile).sort_stats("tottime").print_stats(14)


def _piece(build: propmodel.Build, start: int) -> object:
    from propmodel.assembly.build import shape_of, take

    return propmodel.performance(take(build, slice(start, start + 4096), shape_of(build)))


if __name__ == "__main__":
    main()
