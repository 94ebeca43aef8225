"""Every public function of the engine with odd values in every argument: an answer, or one sentence that names it.

The long run takes the arguments from the examples in the docstrings, so that a new function is tried without a line
here; the usual run tries what was raw once. Odd values: common practice, from memory.
"""

from __future__ import annotations

import contextlib
import datetime
import doctest
import importlib
import inspect
import io
import pkgutil
import signal
import sys
import time
import warnings
from collections.abc import Callable, Iterator
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from long_run import LONG

import propmodel
from propmodel import bench, power_up
from propmodel.assess.limits import limits
from propmodel.bench.pairs import measured_pairs
from propmodel.components import battery, motor, propeller
from propmodel.components.controller import Controller
from propmodel.costs import spares
from propmodel.costs.session import Session
from propmodel.power_up.numbers import bare_motor, supply_limit
from propmodel.powertrain.throttle_curve import bench_curve
from propmodel.studies import sensitivity, spread

SCREE = propmodel.demo("scree")
RAGGED: Any = [[1], [1, 2]]
TWO = np.array([0.5, 0.6])
STEP = power_up.power_up_steps(power_up.from_build(SCREE))[0]
PLUGGED = power_up.from_build(SCREE)
BARE = {"voltage": 15.0, "kv": 1800.0, "resistance": 0.15, "no_load_current": 0.8}

ONCE_RAW: dict[str, tuple[Callable[[], Any], str]] = {
    "hold": (lambda: limits(SCREE, hold=RAGGED), "hold must be a number, got [[1], [1, 2]]"),
    "drop": (lambda: propmodel.performance(SCREE, drop=RAGGED), "drop must be a number, got [[1], [1, 2]]"),
    "no drop": (lambda: propmodel.performance(SCREE, drop=[]), "drop must hold at least one value, got none"),
    "no charge": (
        lambda: propmodel.flight_time(SCREE, state_of_charge=[]), "state_of_charge must hold at least one value",
    ),
    "names of unequal lists": (lambda: Controller(name=RAGGED), "name must be a number, got [[1], [1, 2]]"),
    "a name of 400 digits": (lambda: propmodel.demo(10**400), "demo craft '1000"),
    "a name of two": (lambda: propeller.measured(TWO), "propeller [0.5, 0.6] is not known; nearest: "),
    "manoeuvre": (lambda: propmodel.pull_out(SCREE, drop=20.0, manoeuvre=TWO), "manoeuvre [0.5, 0.6] is not known; "),
    "keep_path": (lambda: propmodel.pull_out(SCREE, drop=20.0, keep_path=TWO), "keep_path must be True or False, got "),
    "sustained": (lambda: battery.resistance(SCREE.pack, sustained=TWO), "sustained must be True or False, got [0.5"),
    "sustained rate": (lambda: battery.believable_rate(SCREE.pack, sustained=1), "sustained must be True or False,"),
    "all_points": (lambda: measured_pairs(all_points=TWO), "all_points must be True or False, got [0.5, 0.6]"),
    "quick": (lambda: propmodel.top_speed(SCREE, quick=TWO), "quick must be True or False, got [0.5, 0.6]"),
    "motor_test": (lambda: supply_limit(PLUGGED, motor_test=TWO), "motor_test must be True or False, got [0.5, 0.6]"),
    "two_hands": (
        lambda: spares.chance_enough_propellers(4, 1.0, propellers_per_crash=1.0, two_hands=TWO),
        "two_hands must be True or False, got [0.5, 0.6]",
    ),
    "forecast of draws": (lambda: spread.draw(SCREE, draws=4, forecast=TWO), "forecast must be True or False"),
    "draws": (lambda: spread.draw(SCREE, draws="many"), "draws must be a number, got 'many'"),
    "axes of draws": (lambda: spread.draw(SCREE, draws=4, only=3.0), "only must be a list of names, got 3.0"),
    "an axis of draws": (lambda: spread.draw(SCREE, draws=4, only=("wing",)), "only 'wing' is not known; nearest: "),
    "outputs of steps": (lambda: sensitivity.steps(SCREE, 3.0), "output must be a list of names, got 3.0"),
    "outputs of a sweep": (
        lambda: propmodel.sweep(SCREE, {"motor.kv": [1900.0]}, 3.0), "outputs must be a list of names, got 3.0",
    ),
    "an output of a sweep": (
        lambda: propmodel.sweep(SCREE, {"motor.kv": [1900.0]}, [[1]]), "output '[1]' is not known; nearest: ",
    ),
    "changes": (lambda: propmodel.with_fields(SCREE, 3.0), "changes must be a mapping of fields to values, got 3.0"),
    "stator": (lambda: motor.estimated_mass(1j, 0.007), "stator diameter must be a number, got 1j"),
    "stator height": (lambda: motor.motor_constant(0.022, {}), "stator height must be a number, got {}"),
    "chance": (lambda: spares.chance_in_words(TWO), "chance must be one number, got 2 of them"),
    "wanted chance": (lambda: spares.spares_list(Session(), chance=TWO), "wanted chance must be one number, got 2"),
    "sessions": (lambda: spares.spares_list(Session(), sessions=TWO), "sessions must be one number, got 2 of them"),
    "reading": (lambda: power_up.judge(STEP, TWO), "step 1 asks for a yes or a no, got "),
    "supply voltage": (lambda: power_up.from_build(SCREE, supply_voltage=TWO), "supply voltage must be one"),
    "bands of a first power-up": (lambda: power_up.from_build(SCREE, bands=3.0), "bands must be a mapping of answers"),
    "duty of a bare motor": (lambda: bare_motor(Decimal(1), **BARE), "duty must be a number, got Decimal('1')"),
    "KV of a bare motor": (lambda: bare_motor(1.0, **(BARE | {"kv": None})), "motor KV must be a finite number"),
    "controller on a stand": (
        lambda: bench_curve(SCREE.motor, SCREE.propeller, 16.0, 0.5, speed_controller=3.0),
        "speed_controller must be a Controller, got 3.0",
    ),
    "altitude step": (
        lambda: sensitivity.standing_at(SCREE, altitude_step=Decimal(1)), "altitude_step must be a number, got Decimal",
    ),
    "propellers to stack": (lambda: propeller.stack(3.0), "propellers must be a list of propellers, got 3.0"),
    "columns of a log": (lambda: bench.read(b"x", columns=3.0), "columns must be a mapping of meanings, got 3.0"),
    "units of a log": (lambda: bench.read(b"x", units=[1]), "units must be a mapping of meanings, got [1]"),
    "poles of a log": (lambda: bench.read(b"x", poles=Decimal(14)), "poles must be a number, got Decimal('14')"),
    "one pole": (lambda: bench.read(b"x", poles=1), "poles must be between 2 and 200, got 1"),
    "kind of a log": (lambda: bench.read(b"x", kind=TWO), "kind [0.5, 0.6] is not known; nearest: stand, flight"),
    "motor of a log": (lambda: bench.read(b"x", motor=3.0), "motor must be a Motor, got 3.0"),
    "data of a table": (lambda: propmodel.parts.read_csv(3.0, "motors"), "data must be text or bytes, got 3.0"),
}  # fmt: skip


@pytest.mark.parametrize("door", ONCE_RAW)
def test_what_was_raw_once_is_a_sentence(door):
    call, sentence = ONCE_RAW[door]
    with pytest.raises(ValueError) as refused:
        call()
    assert str(refused.value).startswith(sentence) and len(str(refused.value)) < 300


def test_half_a_letter_in_a_table_of_parts_is_no_traceback():
    table = propmodel.parts.read_csv("name,diameter [in],pitch [in],blades\nFe\ud83drn,5,4,3\n", "propellers")
    assert table.frame["name"].tolist() == ["Fe?rn"]


# ---- the long run -------------------------------------------------------------------------------------------

ODD: dict[str, Any] = {
    "nan": np.nan, "infinite": np.inf, "minus infinite": -np.inf, "minus one": -1.0, "nought": 0.0, "one": 1,
    "three": 3.0,
    "400 digits": 10**400, "1e300": 1e300, "1e-300": 1e-300, "decimal": Decimal("1.5"), "fraction": Fraction(3, 2),
    "object": object(), "objects": np.array([1.0, "2"], dtype=object),
    "masked": np.ma.masked_array([0.5, 0.6], [False, True]),
    "time span": datetime.timedelta(1), "numpy time span": np.timedelta64("NaT"), "date": np.datetime64("2020-01-01"),
    "text": "fast", "digits": "1.5", "NUL": "a\x00b", "bytes": b"1", "true": True, "nothing": None, "complex": 1j,
    "list": [0.5, 0.6], "no list": [], "table": [[0.5], [0.6]], "ragged": RAGGED, "array": TWO, "no array": np.zeros(0),
    "small integers": np.array([100, 120], dtype=np.int8), "half float": np.float16(0.5), "byte": np.uint8(200),
    "record": np.zeros(2, dtype=[("a", float)]), "range": range(3), "names": ["a", "b"], "mapping": {},
    "set": {1.0, 2.0},
    "kind": float, "function": len,
}  # fmt: skip
FOREIGN = (
    "could not convert", "truth value", "invalid literal", "ufunc", "unsupported", "has no attribute", "not iterable",
    "object is not", "must be real number", "cannot be interpreted", "not subscriptable", "unhashable", "out of bounds",
    "setting an array", "inhomogeneous", "only integer", "zero-size", "cannot cast", "Cannot cast",
)  # fmt: skip
INSIDE = {"cold_root", "run_down", "escape_cell", "unescape_cell", "PartsError", "check"}
"""For other modules of the engine, which hand over what their signatures say."""
PROGRAMS = {"progress", "choose", "moves", "executor", "axis"}
"""Arguments that take a function or an object of a program."""
LONGEST = 20
"""Seconds for one call."""


def doors() -> Iterator[tuple[str, Callable[..., Any], dict[str, Any]]]:
    """Every public function with the arguments of the first call that the examples in the docstrings make of it."""
    names = {}
    for module in (getattr(propmodel, name) for name in propmodel.__all__):
        for name in getattr(module, "__all__", ()) if inspect.ismodule(module) else ():
            names[name] = getattr(module, name)
        if inspect.isfunction(module) or inspect.isclass(module):
            names[module.__name__] = module
    codes = {}
    for name, what in names.items():
        made = what.__init__ if inspect.isclass(what) else what
        if inspect.isfunction(made):
            codes[made.__code__] = (name, what)
    seen: dict[Any, dict[str, Any]] = {}

    def note(frame: Any, event: str, _: Any) -> None:
        if event == "call" and frame.f_code in codes and frame.f_code not in seen:
            seen[frame.f_code] = {k: v for k, v in frame.f_locals.items() if k != "self"}

    finder, runner = doctest.DocTestFinder(), doctest.DocTestRunner(verbose=False, optionflags=doctest.ELLIPSIS)
    before = sys.getprofile()
    sys.setprofile(note)
    try:
        for found in pkgutil.walk_packages(propmodel.__path__, "propmodel."):
            module = importlib.import_module(found.name)
            for test in finder.find(module, found.name):
                with contextlib.redirect_stdout(io.StringIO()):
                    runner.run(test)
    finally:
        sys.setprofile(before)
    for code, given in seen.items():
        yield (*codes[code], given)


def plain(value: Any) -> bool:
    """Whether an argument is a number, a name, a flag or several of them."""
    if isinstance(value, tuple | list):
        return all(plain(one) for one in value)
    return value is None or isinstance(value, int | float | str | bool | np.ndarray | np.generic)


def said(call: Callable[[], Any]) -> str:
    """What is wrong with how a call ends; empty for an answer or a sentence."""

    def late(*_: Any) -> None:
        raise TimeoutError

    signal.signal(signal.SIGALRM, late)
    signal.alarm(LONGEST)
    try:
        with warnings.catch_warnings(), np.errstate(all="ignore"), contextlib.redirect_stdout(io.StringIO()):
            warnings.simplefilter("ignore")
            call()
    except ValueError as refused:
        text = str(refused)
        numpys = "broadcast" in text  # lengths that do not go together are numpy's to refuse
        if not numpys and (any(one in text for one in FOREIGN) or "\n" in text or not 8 < len(text) < 500):
            return f"ValueError: {text[:150]}"
    except Exception as raw:
        return f"{type(raw).__name__}: {str(raw)[:150]}"
    finally:
        signal.alarm(0)
    return ""


@pytest.mark.skipif(not LONG or not hasattr(signal, "alarm"), reason="minutes: in the long run")
def test_every_public_function_answers_or_says_why_not():
    wrong, cases, functions = [], 0, 0
    begun = time.process_time()
    for name, what, given in doors():
        if name in INSIDE:
            continue
        given = {key: value for key, value in given.items() if key != "executor"}  # that of the example is shut down
        functions += 1
        parameters = inspect.signature(what).parameters
        for parameter in parameters.values():
            if parameter.kind in (parameter.VAR_KEYWORD, parameter.VAR_POSITIONAL) or parameter.name in PROGRAMS:
                continue
            if parameter.name not in given or not plain(given[parameter.name]):
                continue
            for kind, odd in ODD.items():
                tried = given | {parameter.name: odd}
                args, named = [], {}
                for one in parameters.values():
                    if one.name not in tried:
                        continue
                    if one.kind in (one.POSITIONAL_ONLY, one.POSITIONAL_OR_KEYWORD):
                        args.append(tried[one.name])
                    elif one.kind == one.VAR_POSITIONAL:
                        args += tried[one.name]
                    elif one.kind == one.VAR_KEYWORD:
                        named |= tried[one.name]
                    else:
                        named[one.name] = tried[one.name]
                cases += 1
                if text := said(lambda args=args, named=named: what(*args, **named)):  # noqa: B023
                    wrong.append(f"{name}({parameter.name}={kind}): {text}")
    print(f"{functions} functions, {cases} cases, {time.process_time() - begun:.0f} s")
    assert functions > 140 and cases > 10_000
    assert wrong == [], "\n".join(wrong)
