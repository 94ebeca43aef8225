"""Inverse problem: the value of one field at which an output has a given value."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from propmodel.assembly.build import Build, field_paths, shape_of, value_at, with_fields
from propmodel.assess.assessment import Assessment
from propmodel.assess.performance import OUTPUTS, evaluate
from propmodel.base.arrays import number
from propmodel.base.checks import check_in, check_number

__all__ = ["Solution", "solve_for"]

POINTS = 65
ROUNDS = 3


class Solution(NamedTuple):
    """Result of :func:`solve_for`.

    Parameters
    ----------
    value : float
        Value of the field; NaN if no value in the range reaches the target. [SI]
    reached : float
        Value of the output there. [SI]
    others : tuple of float
        Further solutions, if the output is not monotone in the field. [SI]
    closest : float
        Field value whose output is closest to the target. [SI]
    words : str
        Remark in one sentence; empty for a single solution.
    """

    value: float
    reached: float
    others: tuple[float, ...]
    closest: float
    words: str


def solve_for(build: Build, field: str, output: str, target: float, *, low: float, high: float) -> Solution:
    """Find the value of a field at which an output reaches a target.

    Parameters
    ----------
    build : Build
        A single build (no arrays).
    field : str
        Dotted field, as in `propmodel.sweep`. Dependent fields of the part follow, such as the mass of the pack with
        its capacity.
    output : str
        Name in `propmodel.assess.performance.OUTPUTS`.
    target : float
        Required value of the output. [SI]
    low, high : float
        Range of the field that is searched. [SI]

    Returns
    -------
    Solution
        The solution nearest to the present value of the build, and all others.

    Raises
    ------
    ValueError
        For unknown names, or if ``low`` is not below ``high``.

    Notes
    -----
    Three successive grids of 65 points, each within the bracket found on the last one, with one array call per grid.
    The first grid shows all sign changes, so both solutions of a curve with an extremum are found.

    Examples
    --------
    >>> import propmodel
    >>> found = solve_for(propmodel.demo("scree"), "craft.payload_mass", "thrust_to_weight", 5.0, low=0.0, high=2.0)
    >>> bool(abs(found.reached - 5.0) < 1e-3)
    True
    """
    check_in("field", field, field_paths(build))
    check_in("output", output, OUTPUTS)
    target, low, high = (check_number(n, v) for n, v in (("target", target), ("low", low), ("high", high)))
    if shape_of(build) != ():
        raise ValueError("solve_for needs one build of plain numbers")
    if not low < high:
        raise ValueError(f"the range looked in must rise, got {low:g} to {high:g}")
    x = np.linspace(low, high, POINTS)
    y = _along(build, field, output, x)
    crossings = _crossings(x, y - target)
    if not crossings:
        return _none(x, y, target, output)
    now = _now(build, field)
    crossings.sort(key=lambda c: abs(0.5 * (c[0] + c[1]) - now))
    values = [_refine(build, field, output, target, *c) for c in crossings]
    value, reached = values[0]
    others = tuple(v for v, _ in values[1:])
    words = "More than one value does it." if others else ""
    return Solution(value, reached, others, float("nan"), words)


def _now(build: Build, field: str) -> float:
    value = value_at(build, field)
    return 0.0 if value is None else number(value)


def _along(build: Build, field: str, output: str, x: NDArray) -> NDArray:
    return np.broadcast_to(evaluate(Assessment(with_fields(build, {field: x})), [output])[output], x.shape)


def _crossings(x: NDArray, error: NDArray) -> list[tuple[float, float]]:
    """Return the brackets in which the error changes sign or is zero."""
    out = []
    for i in range(len(x) - 1):
        a, b = error[i], error[i + 1]
        if np.isfinite(a) and np.isfinite(b) and (a == 0.0 or a * b < 0.0 or (b == 0.0 and i == len(x) - 2)):
            out.append((float(x[i]), float(x[i + 1])))
    return out


def _refine(build: Build, field: str, output: str, target: float, low: float, high: float) -> tuple[float, float]:
    for _ in range(ROUNDS - 1):
        x = np.linspace(low, high, POINTS)
        error = _along(build, field, output, x) - target
        found = _crossings(x, error)
        if not found:
            break
        low, high = found[0]
    ends = np.array([low, high])
    error = _along(build, field, output, ends) - target
    share = 0.0 if error[0] == error[1] else float(error[0] / (error[0] - error[1]))
    value = low + (high - low) * min(max(share, 0.0), 1.0)
    return value, float(_along(build, field, output, np.array([value]))[0])


def _none(x: NDArray, y: NDArray, target: float, output: str) -> Solution:
    good = np.isfinite(y)
    if not good.any():
        words = f"No value in the range gives a craft with a {OUTPUTS[output].words} at all."
        return Solution(float("nan"), float("nan"), (), float("nan"), words)
    best = int(np.argmin(np.where(good, np.abs(y - target), np.inf)))
    side = "never reaches it" if y[best] < target else "never comes down to it"
    words = f"Nothing in the range does it: {OUTPUTS[output].words} {side}."
    return Solution(float("nan"), float(y[best]), (), float(x[best]), words)
