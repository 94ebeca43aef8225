"""Record of a worked example: steps with numbers, and the comparison with `propmodel`. Pure functions."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps

from explorer.text.working_step import Step
from propmodel.assembly.build import Build
from propmodel.assess.assessment import Assessment
from propmodel.base.arrays import number

__all__ = [
    "Derivation",
    "DerivationQuestion",
    "check_words",
    "if_it_hovers",
    "short",
]


@dataclass(frozen=True)
class Derivation:
    """Worked example of one result of one build.

    Parameters
    ----------
    steps : list of (quantity, formula with numbers, source)
        Steps in order.
    by_formula : float
        Result of the last formula, from the displayed numbers. [SI units]
    by_engine : float
        Result of `propmodel`. [SI units]
    within : float
        Largest relative difference of both, because of terms that the formula omits. [-]
    """

    steps: list[Step]
    by_formula: float
    by_engine: float
    within: float = 1e-3

    @property
    def agrees(self) -> bool:
        """Return whether both results agree; also true if both are the same NaN or infinity."""
        if not (math.isfinite(self.by_formula) and math.isfinite(self.by_engine)):
            return str(self.by_formula) == str(self.by_engine)  # compares nan, inf and -inf as text
        return abs(self.by_formula - self.by_engine) <= self.within * abs(self.by_engine)


def check_words(got: Derivation) -> str:
    """Return the comparison of the formula with `propmodel` in words; "" without numbers to compare.

    Examples
    --------
    >>> check_words(Derivation([], 2.0, 2.01, within=0.01))
    "Checked: the engine's own answer, found another way, is 0.5 % larger."
    """
    if not (math.isfinite(got.by_formula) and math.isfinite(got.by_engine) and got.by_engine):
        return ""
    off = got.by_engine / got.by_formula - 1.0 if got.by_formula else math.inf
    if not got.agrees:
        return f"This sum and the engine differ by {100 * abs(off):.0f} %: trust neither until somebody knows why."
    if abs(off) < 5e-4:
        return "Checked: the engine's own answer is the same."
    side = "larger" if off > 0.0 else "smaller"
    return f"Checked: the engine's own answer, found another way, is {100 * abs(off):.1f} % {side}."


@dataclass(frozen=True)
class DerivationQuestion:
    """One question about a result, and its worked example.

    Parameters
    ----------
    key, ask, words : str
        Name; the question; the answer in words.
    work : callable
        Returns the worked example of a scalar build.
    page : str
        Page with the result.
    knob : str
        Input with a large effect on the result.
    also : str
        Other search words.
    """

    key: str
    ask: str
    words: str
    work: Callable[[Build], Derivation]
    page: str
    knob: str
    also: str = ""


def short(value: float, digits: int = 3) -> str:
    """Return a number with this many significant digits, without an exponent."""
    if not math.isfinite(value):
        return "none" if math.isnan(value) else "without end"
    if value == 0.0:
        return "0"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    return f"{value:,.{places}f}"


def if_it_hovers(work: Callable[[Build], Derivation]) -> Callable[[Build], Derivation]:
    """Decorator: for a craft that cannot hover, return a step that says so."""

    @wraps(work)
    def guarded(b: Build) -> Derivation:
        a = Assessment(b)
        if bool(a.can_hover):
            return work(b)
        ratio = number(a.thrust_to_weight)
        why = (
            "below 1 it stays on the ground"
            if ratio < 1.0
            else "for seconds on a fresh pack; once the pack sags under the load, full throttle does not hold it up"
        )
        step = (
            "It does not hover",
            f"flat out all rotors together lift {ratio:.2f} times the weight: {why}",
            "A larger propeller, more cells or less mass comes first; this working appears once it hovers.",
        )
        return Derivation([step], math.nan, math.nan)

    return guarded
