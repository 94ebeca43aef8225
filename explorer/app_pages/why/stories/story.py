"""Guided stories: two builds, a question, the user's guess, the result. Pure functions, without stored results.

A story defines its initial craft and the path of the change; all results are computed by `propmodel` when needed. The
path is one array of builds, computed in two passes: the forecast and the random draws.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from explorer.inputs import Inputs
from explorer.text.numbers import NARROW, Units, band, number, value
from explorer.text.working_step import Step
from propmodel.assembly.build import Build
from propmodel.assembly.build_record import from_record
from propmodel.assess.assessment import Assessment
from propmodel.assess.performance import OUTPUTS, evaluate
from propmodel.base.units import GRAM
from propmodel.studies.spread import draw

__all__ = [
    "Exercise",
    "Facts",
    "Note",
    "Quiz",
    "Story",
    "Task",
    "answers_at",
    "exercises",
    "facts",
    "guess_value",
    "notes_of",
    "required",
    "said",
]

DRAWS = 128
TAILS = (0.1, 0.9)
SAME = 0.005
"""Relative change below which the text says "no change". [-]"""

Measure = Callable[[Assessment], NDArray]
Fields = dict[str, Any]


class Note(NamedTuple):
    """Another result that changes: output of `propmodel`, kind of number, words."""

    output: str
    kind: str
    words: str


def required(value: float | None) -> float:
    """Return a field of a story's craft that must not be None."""
    assert value is not None
    return value


@dataclass(frozen=True)
class Quiz:
    """A multiple-choice question; the right option is computed from the builds.

    Parameters
    ----------
    ask : str
        The question.
    options : tuple of str
        The options.
    right : callable
        Facts -> index of the right option.
    because : callable
        Facts -> sentence with the numbers of this story.
    """

    ask: str
    options: tuple[str, ...]
    right: Callable[[Facts], int]
    because: Callable[[Facts], str]


@dataclass(frozen=True)
class Task:
    """Field that an exercise changes, and result that it asks for.

    Parameters
    ----------
    field : str
        Field of `Inputs`.
    low, high, step : float
        Range and step of its values, in the unit of the field.
    given : str
        Text with ``{}`` for the value.
    output, kind, ask : str
        Output of `propmodel`, its kind of number, and the question.
    """

    field: str
    low: float
    high: float
    step: float
    given: str
    output: str
    kind: str
    ask: str


@dataclass(frozen=True)
class Story:
    """One story.

    Parameters
    ----------
    key, title, teaser : str
        Key in the address; heading; one line in the list.
    start : callable
        Returns the initial craft.
    path : callable
        Inputs and positions t (0 before, 1 after; an array) -> fields that change.
    spots : sequence of float
        Positions t of the points of the curve.
    x_name, x_unit : str
        Name and unit of the x axis.
    x : callable
        Inputs and positions t -> values on the x axis.
    x_words : tuple of str
        Labels of positions on the x axis that are not numbers; otherwise empty.
    output : str or callable
        Result in question: output of `propmodel`, or a function of an assessment.
    kind, y_name : str
        Its kind of number, and its name on the chart.
    setting, ask : str
        The situation; the question about the change.
    quiz : Quiz
        Question with options.
    notes : tuple of Note
        Other results that change.
    also : callable
        Facts -> more sentences for the second step.
    why : callable
        Facts -> steps: quantity, formula with the numbers of both builds, source.
    misconception : str
        The misconception and its correction.
    tasks : tuple of Task
        For the exercises.
    caution : str
        Safety caution.
    after_name : str
        Name of the changed build.
    loads_before : bool
        Whether the build to load is the initial one.
    """

    key: str
    title: str
    teaser: str
    start: Callable[[], Inputs]
    path: Callable[[Inputs, NDArray], Fields]
    spots: Sequence[float]
    x_name: str
    x_unit: str
    x: Callable[[Inputs, NDArray], NDArray]
    output: str | Measure
    kind: str
    y_name: str
    setting: str
    ask: str
    quiz: Quiz
    notes: tuple[Note, ...]
    also: Callable[[Facts], list[str]]
    why: Callable[[Facts], list[Step]]
    misconception: str
    tasks: tuple[Task, ...]
    caution: str = ""
    x_words: tuple[str, ...] = ()
    after_name: str = ""
    loads_before: bool = False


@dataclass(frozen=True)
class Facts:
    """Results of a story.

    Parameters
    ----------
    story : Story
        The story.
    before, after : Inputs
        Initial and changed build.
    a, b : mapping
        All results in `NAMES`, before and after. [SI units]
    x, low, mid, high : ndarray
        Along the path: value on the x axis, and the result in question with its band. [SI units]
    x_before, x_after, y_before, y_after : float
        Both ends of the path. [SI units]
    change, change_low, change_high : float
        After over before, minus one; the band is over the same random draws of both. [-]
    """

    story: Story
    before: Inputs
    after: Inputs
    a: Mapping[str, float]
    b: Mapping[str, float]
    x: NDArray
    low: NDArray
    mid: NDArray
    high: NDArray
    x_before: float
    x_after: float
    y_before: float
    y_after: float
    change: float
    change_low: float
    change_high: float


NAMES = (
    "mass", "thrust_to_weight", "hover_throttle", "hover_current", "hover_power", "hover_time", "hover_rev_per_s",
    "full_throttle_current", "full_throttle_motor_current", "full_throttle_thrust", "full_throttle_voltage",
    "full_throttle_voltage_at_reserve", "full_throttle_rev_per_s", "tip_mach", "pull_out_height", "induced_velocity",
    "hover_motor_heat",
)  # fmt: skip
"""Results that stories use."""


def _build(inputs: Inputs, fields: Fields) -> Build:
    return from_record({**asdict(inputs), **fields})


def _measured(story: Story, a: Assessment) -> NDArray:
    if callable(story.output):
        return np.asarray(story.output(a), dtype=np.float64)
    return np.asarray(evaluate(a, [story.output])[story.output], dtype=np.float64)


def _plain(fields: Fields) -> Fields:
    """Return the fields at one position as plain numbers, as entered by a user."""
    first = {name: np.asarray(v).ravel()[0].item() for name, v in fields.items()}
    return {name: int(v) if isinstance(getattr(Inputs(), name), int) else round(v, 3) for name, v in first.items()}


def _ends(values: NDArray) -> tuple[NDArray, NDArray]:
    """Return the ends of the band over the last axis; NaN where less than half of the draws have a value."""
    enough = np.mean(np.isfinite(values), axis=-1) >= 0.5
    held = np.where(np.isfinite(values) | ~enough[..., None], values, np.nan)
    held = np.where(enough[..., None], held, 0.0)
    low, high = np.nanquantile(held, TAILS, axis=-1)
    return np.where(enough, low, np.nan), np.where(enough, high, np.nan)


@lru_cache(maxsize=64)
def facts(story: Story) -> Facts:
    """Return the results of a story; cached, because they depend only on the story.

    Examples
    --------
    >>> from explorer.app_pages.why.stories.story_list import STORIES
    >>> found = facts(STORIES["camera"])
    >>> found.y_after > found.y_before
    True
    """
    before = story.start()
    t = np.concatenate([[0.0, 1.0], np.asarray(story.spots, dtype=np.float64)])
    fields = story.path(before, t)
    made = _build(before, fields)
    whole = Assessment(made)
    every = {name: np.broadcast_to(v, t.shape) for name, v in evaluate(whole, list(NAMES)).items()}
    mid = np.broadcast_to(_measured(story, whole), t.shape)
    drawn = _measured(story, Assessment(draw(made, draws=DRAWS).build, quick=True, drawn=True))
    low, high = _ends(drawn)
    # both builds have the same random draws: the unknown deviations from the labels are the same
    ratio_low, ratio_high = _ends((drawn[1] / drawn[0] - 1.0)[None])
    x = np.broadcast_to(np.asarray(story.x(before, t), dtype=np.float64), t.shape)
    after = replace(before, name=story.after_name or before.name, **_plain(story.path(before, np.array([1.0]))))
    return Facts(
        story=story,
        before=before,
        after=after,
        a=MappingProxyType({name: float(v[0]) for name, v in every.items()}),
        b=MappingProxyType({name: float(v[1]) for name, v in every.items()}),
        x=x[2:],
        low=low[2:],
        mid=mid[2:],
        high=high[2:],
        x_before=float(x[0]),
        x_after=float(x[1]),
        y_before=float(mid[0]),
        y_after=float(mid[1]),
        change=float(mid[1] / mid[0] - 1.0),
        change_low=float(ratio_low[0]),
        change_high=float(ratio_high[0]),
    )


def answers_at(inputs: Inputs, **fields: Any) -> dict[str, float]:
    """Return all results in `NAMES` for a scalar build. [SI units]

    Examples
    --------
    >>> more, less = answers_at(Inputs()), answers_at(Inputs(), payload_g=0.0)
    >>> more["mass"] > less["mass"]
    True
    """
    made = _build(inputs, fields)
    return {name: float(np.asarray(v)) for name, v in evaluate(Assessment(made), list(NAMES)).items()}


# ---- text -------------------------------------------------------------------------------------------------


def _percent(share: float) -> str:
    return f"{number(100.0 * abs(share), 1.0)}{NARROW}%"


def _way(share: float) -> str:
    return "less" if share < 0.0 else "more"


def _signed(share: float) -> str:
    return "the same" if abs(share) < SAME else f"{_percent(share)} {_way(share)}"


def _span(found: Facts) -> str:
    """Return the band of the change, in whole per cent."""
    low, high = found.change_low, found.change_high
    if not (math.isfinite(low) and math.isfinite(high)):
        return ""
    if low * high >= 0.0:
        first, second = sorted((number(100.0 * abs(low), 1.0), number(100.0 * abs(high), 1.0)), key=float)
        return "" if first == second else f" ({first} to {second})"
    return f" ({_signed(low)} to {_signed(high)})"


def said(found: Facts, guess: float | None) -> str:
    """Return the user's guess and the result in words.

    Parameters
    ----------
    found : Facts
        Results of the story.
    guess : float or None
        Relative change guessed by the user. [-]

    Returns
    -------
    str
        "You said 10 % less; it is about 16 % less (14 to 18)."
    """
    size = f"about {_signed(found.change)}" if abs(found.change) >= SAME else "the same"
    truth = f"{size}{_span(found)}"
    if guess is None:
        return f"It is {truth}."
    if found.change_low <= guess <= found.change_high:
        after = " Your guess lies within the band."
    elif guess * found.change < 0.0 and abs(found.change) >= SAME:
        after = " It goes the other way."
    else:
        after = ""
    return f"You said {_signed(guess)}; it is {truth}.{after}"


def guess_value(found: Facts, guess: float) -> float:
    """Return the value on the y axis for a guessed relative change. [SI units]"""
    return found.y_before * (1.0 + guess)


def notes_of(found: Facts, units: Units | None = None) -> list[tuple[str, str, str, str]]:
    """Return the other results that change: (words, before, after, change in words)."""
    units = units or Units()
    rows = []
    for note in found.story.notes:
        a, b = found.a[note.output], found.b[note.output]
        both = math.isfinite(a) and math.isfinite(b) and a != 0.0
        rows.append(
            (
                note.words,
                value(note.kind, a, units),
                value(note.kind, b, units),
                _signed(b / a - 1.0) if both else "",
            )
        )
    return rows


# ---- exercises --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Exercise:
    """One exercise with its answer, computed when needed.

    Parameters
    ----------
    text : str
        The exercise.
    kind : str
        Kind of number of the answer.
    start, low, mid, high : float
        Result of the story's craft; band and forecast of the changed craft. [SI units]
    fields : mapping
        Fields that differ from the story's craft.
    """

    text: str
    kind: str
    start: float
    low: float
    mid: float
    high: float
    fields: Mapping[str, float]

    def right(self, answer: float) -> bool:
        """Return whether an answer is within the 80 % interval. ``answer`` is in SI units."""
        return self.low <= answer <= self.high

    def answer(self, units: Units | None = None) -> str:
        """Return the answer with its band as text."""
        return band(self.kind, self.mid, self.low, self.high, units or Units())


def exercises(story: Story, *, seed: int = 0) -> list[Exercise]:
    """Return one exercise per task: a random value in its range, a question, and the answer from `propmodel`.

    Parameters
    ----------
    story : Story
        The story.
    seed : int
        Seed of the random values.

    Returns
    -------
    list of Exercise
        In the order of the tasks.
    """
    return list(_exercises(story.key, seed, story))


@lru_cache(maxsize=64)
def _exercises(key: str, seed: int, story: Story) -> tuple[Exercise, ...]:
    start = story.start()
    random = np.random.default_rng([seed, *key.encode()])
    count = len(story.tasks)
    columns: dict[str, NDArray] = {}
    picked = []
    for place, task in enumerate(story.tasks, start=1):
        now = float(getattr(start, task.field))
        values = np.round(np.arange(task.low, task.high + 0.5 * task.step, task.step), 6)
        # values near the present one are excluded
        far = values[np.abs(values - now) >= 0.15 * (task.high - task.low)]
        far = np.setdiff1d(far, columns.get(task.field, np.empty(0)))
        chosen = float(random.choice(far))
        column = columns.setdefault(task.field, np.full(count + 1, now))
        column[place] = chosen
        picked.append(chosen)
    made = _build(start, dict(columns))
    asked = sorted({task.output for task in story.tasks})
    mid = evaluate(Assessment(made), asked)
    drawn = evaluate(Assessment(draw(made, draws=DRAWS).build, quick=True, drawn=True), asked)
    out = []
    for place, (task, chosen) in enumerate(zip(story.tasks, picked, strict=True), start=1):
        centre = np.broadcast_to(mid[task.output], (count + 1,))
        low, high = _ends(np.broadcast_to(drawn[task.output], (count + 1, DRAWS)))
        first = float(centre[0])
        out.append(
            Exercise(
                text=f"{task.given.format(number(chosen, task.step))} {task.ask} As the story begins it is "
                f"{value(task.kind, first)}.",
                kind=task.kind,
                start=first,
                low=min(float(low[place]), float(centre[place])),
                mid=float(centre[place]),
                high=max(float(high[place]), float(centre[place])),
                fields=MappingProxyType({task.field: chosen}),
            )
        )
    return tuple(out)


def mass_g(inputs: Inputs, fields: Fields) -> NDArray:
    """Return the take-off mass along a path. [g]"""
    return np.asarray(_build(inputs, fields).mass) / GRAM


assert set(NAMES) <= set(OUTPUTS)
