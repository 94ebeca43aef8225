"""Throttle curve of 101 points against nested scalar root finding of the same points.

Run: .venv/bin/python tests/benchmarks/throttle_curve.py

The comparator (``tests/support/scalar_model.py``) is plain floats and ``math``: ``scipy.optimize.brentq`` on the
rotational speed, with ``brentq`` on the bus voltage inside, from brackets as tight as physics gives; what does not
depend on speed is worked out for it beforehand, as it is kept for a build that is asked again. The two take turns, so
that a slow moment of a shared machine meets both; the shortest time of each counts. Beside it stand a curve of a
build never seen before, most of which goes into preparing it (look-ups and fits, the same for both ways, which the
comparator is spared), and one of many asked for at once. What is kept between calls is the build prepared, the powers
of the row of duties, which know of the throttle map alone, and one first guess at full duty; every curve is solved
anew. Both ways must give the same curve to 1e-6.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

import numpy as np
from scalar_model import Craft
from timing import best_of, machine

import propmodel

WANTED = 200.0
FIELDS = ("rev_per_s", "thrust", "motor_current", "pack_current", "pack_voltage", "electrical_power", "shaft_power")
MANY = 512
TURNS = 60


def main() -> None:
    print(f"throttle_curve, 101 points, every demo craft; {machine()}")
    print(
        f"{'craft':8}{'nested [ms]':>13}{'one curve [us]':>16}{'ratio':>8}{'new build [us]':>16}"
        f"{f'of {MANY} [us]':>13}{'ratio':>8}{'apart':>10}"
    )
    worst, least = 0.0, float("inf")
    for name in propmodel.demo_names():
        build = propmodel.demo(name)
        throttle = np.linspace(0.0, 1.0, 101)
        craft = Craft(build)
        commands = [craft.duty_of(float(x)) for x in throttle]
        kv = float(build.motor.kv)
        strangers = [propmodel.with_fields(build, {"motor.kv": kv * (1.0 + 1e-6 * (k + 1))}) for k in range(2 * TURNS)]
        many = propmodel.with_fields(build, {"motor.kv": np.linspace(0.8, 1.2, MANY) * kv})
        nested = one = new = array = float("inf")
        for turn in range(TURNS):
            answers = best_of(lambda c=craft, d=commands: [c.at_duty(x, c.fresh) for x in d], runs=1)
            curve = best_of(lambda b=build: propmodel.throttle_curve(b), runs=5, repeat=20)
            some = iter(strangers[2 * turn : 2 * (turn + 1)])
            first = best_of(lambda some=some: propmodel.throttle_curve(next(some)), runs=1, repeat=2)
            # an array of builds: a band, a sensitivity, a sweep of KV
            arrays = best_of(lambda b=many: propmodel.throttle_curve(b), runs=1)
            nested, one = min(nested, answers.processor), min(one, curve.processor)
            new, array = min(new, first.processor), min(array, arrays.processor / MANY)
        apart = 0.0
        for field in FIELDS:
            mine = getattr(curve.answer, field)
            theirs = np.array([row[field] for row in answers.answer])
            apart = max(apart, float(np.max(np.abs(mine - theirs)) / np.max(np.abs(theirs))))
        print(
            f"{name:8}{1e3 * nested:13.1f}{1e6 * one:16.1f}{nested / one:8.0f}{1e6 * new:16.0f}"
            f"{1e6 * array:13.1f}{nested / array:8.0f}{apart:10.1e}"
        )
        worst, least = max(worst, apart), min(least, nested / one)
    print(f"wanted: {WANTED:.0f} times (least {least:.0f}), curves within 1e-6 of each other (found {worst:.1e})")
    assert worst < 1e-6, "the two ways do not give the same curve"


if __name__ == "__main__":
    main()
