"""Clock for the benchmarks: best of several, processor time beside wall time, since the machine may be shared."""

from __future__ import annotations

import gc
import os
import platform
import resource
import time
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np


class Clocked(NamedTuple):
    """Best of several runs. [s]"""

    wall: float
    processor: float
    """Of all threads together."""
    answer: Any


def best_of(call: Callable[[], Any], *, runs: int = 5, repeat: int = 1) -> Clocked:
    """Shortest of ``runs``, each of ``repeat`` calls; the answer is the last one.

    The collector of garbage is kept out, as `timeit` does.
    """
    wall = processor = float("inf")
    answer = None
    collects = gc.isenabled()
    gc.disable()
    try:
        for _ in range(runs):
            w, p = time.perf_counter(), time.process_time()
            for _ in range(repeat):
                answer = call()
            processor = min(processor, (time.process_time() - p) / repeat)
            wall = min(wall, (time.perf_counter() - w) / repeat)
    finally:
        if collects:
            gc.enable()
    return Clocked(wall, processor, answer)


def machine() -> str:
    """Where the figures come from."""
    load = os.getloadavg()[0]
    return f"{os.cpu_count()} cores, Python {platform.python_version()}, numpy {np.__version__}, load {load:.1f}"


def peak_mb() -> float:
    """Largest memory this process ever held. [MB]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
