"""Throttle curve of 101 points against nested scalar root finding of the same points.

Run: .venv/bin/python tests/benchmarks/throttle_curve.py

The comparator (``tests/support/scalar_model.py``) is plain floats and ``math``: ``scipy.optimize.brentq`` on the
rotational speed, with ``brentq`` on the bus voltage inside, from brackets as tight as physics gives. Both must give
the same curve to 1e-6.
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


def main() -> None:
    print(f"throttle_curve, 101 points, every demo craft; {machine()}")
    print(
        f"{'craft':8}{'nested [ms]':>13}{'one curve [ms]':>16}{'ratio':>8}"
        f"{f'of {MANY} [us]':>13}{'ratio':>8}{'apart':>10}"
    )
    worst = 0.0
    for name in propmodel.demo_names():
        build = propmodel.demo(name)
        throttle = np.linspace(0.0, 1.0, 101)
        craft = Craft(build)
        commands = [craft.duty_of(float(x)) for x in throttle]
        nested = best_of(lambda c=craft, d=commands: [c.at_duty(x, c.fresh) for x in d], runs=5)
        one = best_of(lambda b=build: propmodel.throttle_curve(b), runs=5, repeat=40)
        # the same for an array of builds: a band, a sensitivity, a sweep of KV
        many = propmodel.with_fields(build, {"motor.kv": np.linspace(0.8, 1.2, MANY) * float(build.motor.kv)})
        array = best_of(lambda b=many: propmodel.throttle_curve(b), runs=4)
        apart = 0.0
        for field in FIELDS:
            mine = getattr(one.answer, field)
            theirs = np.array([row[field] for row in nested.answer])
            apart = max(apart, float(np.max(np.abs(mine - theirs)) / np.max(np.abs(theirs))))
        each = array.processor / MANY
        print(
            f"{name:8}{1e3 * nested.processor:13.1f}{1e3 * one.processor:16.3f}{nested.processor / one.processor:8.0f}"
            f"{1e6 * each:13.1f}{nested.processor / each:8.0f}{apart:10.1e}"
        )
        worst = max(worst, apart)
    print(f"wanted: {WANTED:.0f} times, curves within 1e-6 of each other (found {worst:.1e})")
    assert worst < 1e-6, "the two ways do not give the same curve"


if __name__ == "__main__":
    main()
