"""Sweeps of 10^4, 10^5 and 10^6 builds with all headline outputs and all limit margins; frontier; scalar comparison.

Run: .venv/bin/python tests/benchmarks/sweep.py [largest size]
     .venv/bin/python tests/benchmarks/sweep.py keep 1e7 1e8

The second way sweeps 10^6 builds and then each size named, with four outputs and all margins, on two processes: what
meets every limit, the frontier and the counts of a map are kept, and the memory of all processes is watched.

Time, peak memory and growth; then the same outputs by nested scalar root finding (plain floats,
``tests/support/scalar_model.py``) on a sample of the builds. The scalar side computes only the answers that need a
root (hover, full throttle fresh and low, hover time, top speed, bucket): margins, heat and dive follow in closed form
and are given to it for nothing.
"""

from __future__ import annotations

import multiprocessing
import sys
import threading
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

import numpy as np
from scalar_model import Craft
from timing import best_of, machine, peak_mb

import propmodel
from propmodel.studies.sweep import Condition, Counts, Frontier, Meets, margin_names, sweep

AXES = {
    "motor.kv": (1200.0, 2600.0),
    "propeller.diameter": (0.11, 0.18),
    "propeller.pitch": (0.07, 0.13),
    "pack.capacity_ah": (0.6, 3.0),
    "motor.stator_height": (0.005, 0.009),
}
CELLS = np.array([3, 4, 5, 6])
SIZES = {
    10_000: (10, 10, 5, 5, 1),
    100_000: (10, 10, 10, 5, 5),
    1_000_000: (20, 25, 10, 10, 5),
}
SAMPLE = 40


def grid(size: int) -> dict[str, np.ndarray]:
    """Axes of a sweep with exactly this many builds."""
    counts = SIZES[size]
    axes = {
        k: np.linspace(*v, n) if n > 1 else np.array([np.mean(v)])
        for (k, v), n in zip(AXES.items(), counts, strict=True)
    }
    return axes | {"pack.cells": CELLS}


def scalar_seconds(found: propmodel.Sweep, build: propmodel.Build) -> tuple[float, dict[str, float]]:
    """Processor time for one build by nested root finding, and how far both ways lie apart (median)."""
    rng = np.random.default_rng(5)
    can = np.flatnonzero(np.isfinite(found["top_speed"].ravel()) & (found["thrust_to_weight"].ravel() > 1.5))
    index = rng.choice(can, SAMPLE, replace=False)
    crafts = [Craft(propmodel.with_fields(build, {k: v[()] for k, v in found.at(int(i)).items()})) for i in index]
    start = time.process_time()
    answers = [c.headlines() for c in crafts]
    spent = (time.process_time() - start) / SAMPLE
    apart = {}
    for name in answers[0]:
        if name in found.values:
            mine = found[name].ravel()[index]
            apart[name] = float(np.median(np.abs(mine / np.array([a[name] for a in answers]) - 1.0)))
    return spent, apart


def held_mb() -> float:
    """Memory that this process and its workers hold now: what each has alone, and what they share once. [MB]"""
    total = 0.0
    for pid in ["self", *(str(child.pid) for child in multiprocessing.active_children())]:
        try:
            lines = Path(f"/proc/{pid}/smaps_rollup").read_text("ascii").splitlines()
        except OSError:
            continue  # a worker that has just ended
        total += next(float(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1024.0
    return total


KEPT_OUTPUTS = ["mass", "hover_time", "thrust_to_weight", "top_speed"]


def keep_sizes(sizes: list[int]) -> None:
    """Sweeps that keep only what is asked."""
    print(f"kept: what meets every limit, frontier, map; {machine()}")
    limits = [Condition(name, "at most", 1.0) for name in margin_names()]
    keep = [
        Meets(limits, most=100_000, best=("hover_time", "max")),
        Frontier({"hover_time": "max", "thrust_to_weight": "max"}, limits),
        Counts({"hover_time": np.linspace(0.0, 1800.0, 61), "thrust_to_weight": np.linspace(0.0, 15.0, 41)}),
    ]
    build, before = propmodel.demo("scree"), None
    heads = {
        "builds": 13,
        "wall [s]": 11,
        "each [us]": 11,
        "growth": 8,
        "peak of all [MB]": 18,
        "meet": 12,
        "frontier": 10,
    }
    print("".join(f"{head:>{width}}" for head, width in heads.items()))
    for size in sizes:
        axes = grid(1_000_000)
        axes["craft.payload_mass"] = np.linspace(0.0, 0.1, size // 1_000_000)
        peak, done = [0.0], threading.Event()

        def watch(peak: list[float] = peak, done: threading.Event = done) -> None:
            while not done.wait(0.5):
                peak[0] = max(peak[0], held_mb())

        watcher = threading.Thread(target=watch)
        watcher.start()
        start = time.perf_counter()
        try:
            found = sweep(build, axes, [*KEPT_OUTPUTS, *margin_names()], keep=keep, processes=2)
        finally:
            done.set()
            watcher.join()
        wall = time.perf_counter() - start
        meets, frontier, _ = found.results
        growth = "" if before is None else f"{wall / before:.1f}"
        print(
            f"{size:13,}{wall:11.1f}{1e6 * wall / size:11.2f}{growth:>8}{peak[0]:18.0f}{meets.count:12,}"
            f"{frontier.count:10,}",
            flush=True,
        )
        before = wall
        assert found.complete and found.reached == size
    print("wanted: 10^8 under 1,500 MB, growth at most 11 times for ten")


def main() -> None:
    if sys.argv[1:2] == ["keep"]:
        keep_sizes([1_000_000, *(int(float(a)) for a in sys.argv[2:])])
        return
    largest = int(float(sys.argv[1])) if len(sys.argv) > 1 else 1_000_000
    print(f"sweep, all headline outputs and all limit margins; {machine()}")
    build = propmodel.demo("scree")
    before, base = None, peak_mb()
    print(f"{'builds':>10}{'wall [s]':>11}{'processor [s]':>15}{'each [us]':>11}{'growth':>8}{'peak [MB]':>11}")
    for size in (s for s in SIZES if s <= largest):
        axes = grid(size)
        clocked = best_of(lambda a=axes: sweep(build, a), runs=3 if size < 1_000_000 else 2)
        found = clocked.answer
        assert found.size == size and found.complete
        growth = "" if before is None else f"{clocked.wall / before:.1f}"
        print(
            f"{size:10,}{clocked.wall:11.2f}{clocked.processor:15.2f}{1e6 * clocked.wall / size:11.2f}"
            f"{growth:>8}{peak_mb():11.0f}"
        )
        before = clocked.wall
    for processes in (1, 2):
        clocked = best_of(lambda n=processes: sweep(build, axes, processes=n), runs=3)
        print(f"{found.size:10,}{clocked.wall:11.2f}{clocked.processor:15.2f}  on {processes} of its processes")
    print(f"wanted: 10^6 in 5 s and 1,500 MB (this process began at {base:.0f} MB), growth at most 11 times for ten")

    frontier = best_of(lambda: found.pareto({"hover_time": "max", "thrust_to_weight": "max"}), runs=3)
    print(f"frontier of {found.size:,} points: {frontier.wall:.2f} s, {frontier.answer.size} on it; wanted < 1 s")

    spent, apart = scalar_seconds(found, build)
    each = clocked.processor / found.size
    print(
        f"nested scalar root finding: {1e3 * spent:.2f} ms a build; sweep: {1e6 * each:.2f} us of processor time each:"
    )
    print(
        f"  {spent / each:.0f} times faster on one core, {spent * found.size / clocked.wall:.0f} by clock; wanted 500"
    )
    print("  both ways apart (median): " + ", ".join(f"{k} {v:.1e}" for k, v in apart.items()))
    assert apart["hover_power"] < 1e-3 and apart["full_throttle_current"] < 1e-3 and apart["top_speed"] < 1e-2


if __name__ == "__main__":
    main()
