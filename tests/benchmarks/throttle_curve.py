"""Throttle curve of 101 points: the engine against nested scalar root finding of the same points.

    python tests/benchmarks/throttle_curve.py

Both give the same curve to one part in a million (checked); run it on a quiet machine.
"""

from __future__ import annotations

import time

import numpy as np
from scalar_model import at_duty, scalars, thrust

import propmodel
from propmodel.controller import duty_from_throttle


def best(work, repeats: int) -> float:
    """Shortest of some runs. [s]"""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> None:
    build = propmodel.demo("scree")
    throttle = np.linspace(0.0, 1.0, 101)
    duty = duty_from_throttle(build.controller, throttle, command_cap=build.command_cap)
    s = scalars(build)
    points = [at_duty(s, float(d)) for d in duty]
    curve = propmodel.throttle_curve(build, throttle)
    speed = np.array([p[0] for p in points])
    np.testing.assert_allclose(curve.rev_per_s[1:], speed[1:], rtol=1e-6)
    np.testing.assert_allclose(curve.pack_current, [p[2] for p in points], rtol=1e-6)
    np.testing.assert_allclose(curve.thrust[1:], [thrust(s, n) for n in speed[1:]], rtol=1e-6)
    ours = best(lambda: propmodel.throttle_curve(build, throttle), 50)
    scalar = best(lambda: [at_duty(s, float(d)) for d in duty], 3)
    print(f"engine {1e3 * ours:.3f} ms, nested scalar root finding {1e3 * scalar:.0f} ms: {scalar / ours:.0f} times")


if __name__ == "__main__":
    main()
