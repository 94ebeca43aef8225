"""A reading judged against its forecast, and the steps as rows of a table."""

from __future__ import annotations

import math

import numpy as np

from propmodel.base.checks import as_floats, quoted
from propmodel.power_up.step import Step

__all__ = ["DOUBTFUL", "FINE", "STOP", "judge", "rows"]

FINE = "✓ as forecast"
DOUBTFUL = "! doubtful"
STOP = "✕ stop, because"


_FINEST = {"A": 2}
"""Decimals that a bench supply or a usual meter shows. [-]"""


def said(value: float, unit: str) -> str:
    """A number with two digits, three from 100 on; no finer than what it is read on."""
    if math.isinf(value):
        return "no upper limit"
    if value == 0.0:
        return "0"
    size = math.floor(math.log10(abs(value)))
    digits = min((2 if size >= 2 else 1) - size, _FINEST.get(unit, 99))
    return f"{round(value, digits):.{max(digits, 0)}f}"


def judge(step: Step, reading: float | bool | None) -> str:
    """Judge a reading.

    Parameters
    ----------
    step : Step
    reading : float, bool or None
        In the step's unit; True or False for a yes-or-no step; None = not read yet.

    Returns
    -------
    str
        Empty for None, else beginning with ``✓ as forecast``, ``! doubtful`` or ``✕ stop, because``.

    Raises
    ------
    ValueError
        If the reading is no number.

    Examples
    --------
    >>> from propmodel.assembly.demo import demo
    >>> from propmodel.power_up import from_build, power_up_steps
    >>> steps = power_up_steps(from_build(demo("scree")))
    >>> judge(steps[1], 0.4)
    '✕ stop, because that is a short across the pack: find it before any power.'
    >>> judge(steps[1], 20_000)
    '✓ as forecast'
    """
    if reading is None:
        return ""
    if step.expect_low is None or step.expect_high is None:
        if not isinstance(reading, bool | np.bool_):
            raise ValueError(f"step {step.number} asks for a yes or a no, got {reading!r}")
        return FINE if reading else f"{STOP} {step.high_reason}."
    values = as_floats(f"reading of step {step.number}", reading)
    if values.ndim or math.isnan(values):
        raise ValueError(f"reading of step {step.number} must be a number, got {quoted(values)}")
    value = float(values)
    if step.stop_below is not None and value < step.stop_below:
        return f"{STOP} {step.low_reason}."
    if step.stop_above is not None and value > step.stop_above:
        return f"{STOP} {step.high_reason}."
    if step.expect_low <= value <= step.expect_high:
        return FINE
    if value > step.expect_high:
        return f"{DOUBTFUL}: above the {said(step.expect_high, step.unit)} {step.unit} forecast. {step.why}"
    why = step.why_low or step.why
    if step.unit == "%" and 0.0 < value < 1.0:
        why = f"The reading is asked in per cent: {said(100.0 * value, step.unit)} for {value:g}. {why}"
    return f"{DOUBTFUL}: below the {said(step.expect_low, step.unit)} {step.unit} forecast. {why}"


def rows(steps: list[Step]) -> list[dict[str, str]]:
    """Return the steps as rows of plain text, for a printed table.

    Parameters
    ----------
    steps : list of Step
        From `power_up_steps`.

    Examples
    --------
    >>> from propmodel.assembly.demo import demo
    >>> from propmodel.power_up import from_build, power_up_steps
    >>> rows(power_up_steps(from_build(demo("scree"))))[1]["expect"]
    'above 500 ohm'
    """
    out = []
    for step in steps:
        if step.expect_low is None or step.expect_high is None:
            expect = "yes"
        elif math.isinf(step.expect_high):
            expect = f"above {said(step.expect_low, step.unit)} {step.unit}"
        elif step.expect_low <= 0.0:
            expect = f"up to {said(step.expect_high, step.unit)} {step.unit}"
        else:
            expect = f"{said(step.expect_low, step.unit)} to {said(step.expect_high, step.unit)} {step.unit}"
        out.append(
            {
                "number": str(step.number),
                "title": step.title,
                "tool": step.tool,
                "do": step.do,
                "expect": expect,
                "stop_if": step.stop_if,
                "why": step.why,
                "basis": step.basis,
                "caution": step.caution,
            }
        )
    return out
