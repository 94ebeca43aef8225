"""Sensitivity of the outputs to the inputs: effects of practical steps, and elasticities."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from propmodel.assembly.build import Build, shape_of, value_at, with_fields
from propmodel.assess.assessment import Assessment
from propmodel.assess.performance import OUTPUTS, evaluate
from propmodel.base.arrays import floats, number
from propmodel.base.checks import as_floats, check_in, check_names, check_number, check_range
from propmodel.base.units import GRAM, INCH, MM
from propmodel.components.air import atmosphere, pressure_altitude

__all__ = ["STEPS", "Effect", "InputStep", "elasticities", "standing_at", "steps"]


class InputStep(NamedTuple):
    """One practical step of an input."""

    field: str
    """Dotted field of a build, or "altitude", "air temperature"."""
    change: float
    """Change of the field. [SI]"""
    words: str
    """Description for display, in the words of a buyer."""


STEPS: tuple[InputStep, ...] = (
    # steps to other parts that are sold, and changes of the weather
    InputStep("propeller.diameter", 1.0 * INCH, "one inch more diameter"),
    InputStep("propeller.diameter", -1.0 * INCH, "one inch less diameter"),
    InputStep("propeller.pitch", 0.5 * INCH, "half an inch more pitch"),
    InputStep("propeller.pitch", -0.5 * INCH, "half an inch less pitch"),
    InputStep("propeller.blades", 1.0, "one blade more"),
    InputStep("propeller.blades", -1.0, "one blade fewer"),
    InputStep("motor.kv", 100.0, "100 KV more"),
    InputStep("motor.kv", -100.0, "100 KV less"),
    InputStep("motor.stator_diameter", 1.0 * MM, "a stator 1 mm wider"),
    InputStep("motor.stator_height", 1.0 * MM, "a stator 1 mm taller"),
    InputStep("pack.cells", 1.0, "one cell more"),
    InputStep("pack.cells", -1.0, "one cell fewer"),
    InputStep("pack.capacity_ah", 0.1, "100 mAh more"),
    InputStep("pack.capacity_ah", -0.1, "100 mAh less"),
    InputStep("craft.payload_mass", 50.0 * GRAM, "50 g more to carry"),
    InputStep("craft.frame_mass", -50.0 * GRAM, "50 g off the frame"),
    InputStep("command_cap", -0.10, "a throttle cap 10 points lower"),
    InputStep("altitude", 1000.0, "1,000 m higher"),
    InputStep("air temperature", -15.0, "air 15 C colder"),
    InputStep("pack.temperature", -15.0, "a pack 15 C colder"),
)

LOWEST = {"propeller.blades": 2.0, "pack.cells": 1.0, "command_cap": 0.2}
HIGHEST = {"propeller.blades": 6.0, "pack.cells": 14.0}


class Effect(NamedTuple):
    """Effect of one step on the requested outputs."""

    step: InputStep
    """The step."""
    values: dict[str, float]
    """Output -> value after the step; NaN if the craft then has no such state. [SI]"""
    relative: dict[str, float]
    """Output -> relative change. [-]"""


def standing_at(
    build: Build, *, altitude_step: NDArray | float = 0.0, temperature_step: NDArray | float = 0.0
) -> Build:
    """Return the build in other air: at another altitude, another temperature, or both.

    Parameters
    ----------
    build : Build
        The build with its present air.
    altitude_step : array_like
        Change of the geopotential altitude, at constant temperature. [m]
    temperature_step : array_like
        Change of the air temperature, at constant pressure. [K]

    Returns
    -------
    Build
        The build with the new air.

    Examples
    --------
    >>> import propmodel
    >>> higher = standing_at(propmodel.demo("scree"), altitude_step=1000.0)
    >>> bool(higher.air.density < propmodel.demo("scree").air.density)
    True
    """
    altitude = pressure_altitude(np.asarray(build.air.pressure, dtype=np.float64)) + as_floats(
        "altitude_step", altitude_step
    )
    temperature = np.asarray(build.air.temperature, dtype=np.float64) + as_floats("temperature_step", temperature_step)
    return replace(build, air=atmosphere(np.clip(altitude, -2000.0, 11000.0), temperature))


def _moved(build: Build, moves: dict[str, NDArray]) -> Build:
    """Return the build with changed fields; each change is an array along one common axis."""
    air = {k: moves.pop(k) for k in ("altitude", "air temperature") if k in moves}
    changed = with_fields(build, {k: _value(build, k) + v for k, v in moves.items()}) if moves else build
    if air:
        changed = standing_at(
            changed,
            altitude_step=air.get("altitude", 0.0),
            temperature_step=air.get("air temperature", 0.0),
        )
    return changed


def _value(build: Build, path: str) -> NDArray:
    return floats(value_at(build, path))


def _possible(build: Build, step: InputStep) -> bool:
    if step.field in ("altitude", "air temperature"):
        return True
    now = value_at(build, step.field)
    if now is None:
        return False
    after = number(now) + step.change
    inside = LOWEST.get(step.field, 1e-9) <= after <= HIGHEST.get(step.field, np.inf)
    return inside and _makes(build, step.field, step.change)


def _makes(build: Build, field: str, change: float) -> bool:
    """True if the changed build is valid; half an inch less pitch may not be, for a small propeller."""
    try:
        _moved(build, {field: np.asarray(change)})
    except ValueError:
        return False
    return True


def _evaluate(build: Build, moves: dict[str, NDArray], outputs: list[str]) -> dict[str, NDArray]:
    many = _moved(build, moves)
    return {k: np.asarray(v) for k, v in evaluate(Assessment(many), outputs).items()}


def steps(
    build: Build,
    outputs: list[str] | None = None,
    *,
    choose: Callable[[InputStep], bool] | None = None,
    moves: Sequence[InputStep] = STEPS,
) -> list[Effect]:
    """Evaluate the effect of each practical step.

    Parameters
    ----------
    build : Build
        A single build (no arrays).
    outputs : list of str or None
        Names in `propmodel.assess.performance.OUTPUTS`; None takes all.
    choose : callable or None
        Called with each step; only steps for which it returns True are evaluated.
    moves : sequence of InputStep
        Steps to evaluate, such as those to the next size that is sold.

    Returns
    -------
    list of Effect
        In the order of ``moves``; steps that give an invalid build (a propeller with one blade) are left out.

    Raises
    ------
    ValueError
        If an output is not known or the build holds arrays.

    Examples
    --------
    >>> import propmodel
    >>> effects = steps(propmodel.demo("scree"), ["hover_time"])
    >>> heavier = next(e for e in effects if e.step.field == "craft.payload_mass")
    >>> heavier.relative["hover_time"] < 0
    True
    """
    names = list(OUTPUTS) if outputs is None else check_names("output", outputs, OUTPUTS)
    if shape_of(build) != ():
        raise ValueError("steps needs one build of plain numbers")
    chosen = [s for s in moves if _possible(build, s) and (choose is None or choose(s))]
    count = len(chosen) + 1  # the last row is the unchanged build
    moved = {s.field: np.zeros(count) for s in chosen}
    for row, step in enumerate(chosen):
        moved[step.field][row] = step.change
    values = _evaluate(build, moved, names)
    effects = []
    for row, step in enumerate(chosen):
        after = {k: float(np.broadcast_to(v, (count,))[row]) for k, v in values.items()}
        with np.errstate(invalid="ignore", divide="ignore"):
            relative = {k: float(after[k] / np.broadcast_to(v, (count,))[-1] - 1.0) for k, v in values.items()}
        effects.append(Effect(step, after, relative))
    return effects


def elasticities(build: Build, output: str, *, share: float = 0.02) -> dict[str, float]:
    """Elasticity of an output with respect to each input: relative change of the output over that of the input.

    Parameters
    ----------
    build : Build
        A single build (no arrays).
    output : str
        Name in `propmodel.assess.performance.OUTPUTS`.
    share : float
        Relative step to either side (central difference), 0.000001 to 0.5. [-]

    Returns
    -------
    dict
        Dotted field -> elasticity. [-]

    Raises
    ------
    ValueError
        If the output is not known, the step is out of range, or the build has arrays.
    """
    check_in("output", output, OUTPUTS)
    share = check_number("share", check_range("share", share, 1e-6, 0.5))
    if shape_of(build) != ():
        raise ValueError("elasticities needs one build of plain numbers")
    paths = [
        s for s in dict.fromkeys(s.field for s in STEPS) if s not in ("altitude", "air temperature", "command_cap")
    ]
    paths = [p for p in paths if p != "pack.temperature" and _value_or_none(build, p) not in (None, 0.0)]
    count = 2 * len(paths)
    moves = {p: np.zeros(count) for p in paths}
    apart = np.ones(len(paths))
    for i, p in enumerate(paths):
        base = float(_value(build, p))
        # at a limit such as two blades the difference is one-sided
        high = min((1.0 + share) * base, HIGHEST.get(p, np.inf))
        low = max((1.0 - share) * base, LOWEST.get(p, 0.0))
        high = high if _makes(build, p, high - base) else base
        low = low if _makes(build, p, low - base) else base
        moves[p][2 * i], moves[p][2 * i + 1] = high - base, low - base
        apart[i] = np.log(high / low)
    value = np.broadcast_to(_evaluate(build, moves, [output])[output], (count,))
    with np.errstate(invalid="ignore", divide="ignore"):
        slopes = np.log(value[0::2] / value[1::2]) / apart
    return {p: float(s) for p, s in zip(paths, slopes, strict=True)}


def _value_or_none(build: Build, path: str) -> float | None:
    value = value_at(build, path)
    return None if value is None else number(value)
