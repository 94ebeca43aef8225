"""Every public name has a docstring, and the parameters it documents are those of the signature.

In propmodel, which others call, every parameter must be documented. In explorer, whose functions serve its
own pages, one sentence may do; a list of parameters that is there must still be the right one.
"""

from __future__ import annotations

import ast
import dataclasses
import importlib
import inspect
import itertools
import pkgutil
import re
import textwrap
from types import ModuleType

import pytest

import explorer
import propmodel

# Scripts that draw as soon as they are imported: a page is read by the server, not imported.
PAGES = re.compile(r"^explorer\.(app$|app_pages\.\w+\.page$)")


def module_names() -> list[str]:
    names = []
    for package in (propmodel, explorer):
        names.append(package.__name__)
        for info in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            parts = info.name.split(".")
            if PAGES.match(info.name) or parts[1] in {"data", "settings"}:
                continue
            names.append(info.name)
    return names


def public(module: ModuleType) -> list[tuple[str, object]]:
    return [(name, getattr(module, name)) for name in getattr(module, "__all__", [])]


def documented(doc: str, section: str = "Parameters") -> list[str]:
    """Names in a section: ``a, b : kind`` gives two."""
    found = re.search(rf"^{section}\n-{{5,}}\n(.*?)(?=^[^\n]+\n-{{3,}}\n|\Z)", doc, re.M | re.S)
    if not found:
        return []
    names: list[str] = []
    for line in found.group(1).splitlines():
        if line and not line[0].isspace() and " :" in line:
            names += [part.strip().lstrip("*") for part in line.split(" :")[0].split(",")]
    return names


def below_fields(thing: type) -> list[str]:
    """Fields of a class that have a docstring of their own in the line below."""
    try:
        body = ast.parse(textwrap.dedent(inspect.getsource(thing))).body[0].body
    except (OSError, TypeError):
        return []
    return [
        first.target.id
        for first, then in itertools.pairwise(body)
        if isinstance(first, ast.AnnAssign)
        and isinstance(then, ast.Expr)
        and isinstance(then.value, ast.Constant)
        and isinstance(then.value.value, str)
    ]


def expected(thing: object) -> list[str] | None:
    """What a caller can give; None where the class says it by itself (an enumeration, an error)."""
    if dataclasses.is_dataclass(thing):
        return [field.name for field in dataclasses.fields(thing)]
    if inspect.isclass(thing):
        if hasattr(thing, "_fields"):
            return list(thing._fields)
        if "__init__" not in vars(thing):
            return None
    return [name for name in inspect.signature(thing).parameters if name not in {"self", "cls"}]


def faults(name: str, thing: object, *, sentence_will_do: bool = False) -> list[str]:
    if not (inspect.isfunction(thing) or inspect.isclass(thing) or hasattr(thing, "__wrapped__")):
        return []  # constants carry theirs in the source, below the value
    doc = inspect.getdoc(thing) or ""
    if not doc.strip() or doc.startswith(f"{getattr(thing, '__name__', '')}("):
        return [f"{name}: no docstring"]  # the second form is what dataclass makes up by itself
    wanted, given = expected(thing), documented(doc)
    if wanted is None or (sentence_will_do and not given):
        return []
    if inspect.isclass(thing):
        attributes = documented(doc, "Attributes")
        if dataclasses.is_dataclass(thing) or hasattr(thing, "_fields"):
            given = given + attributes + below_fields(thing)
        elif attributes and not given:
            return []  # made by our own functions only; what it holds is documented instead
    wrong = []
    if missing := [item for item in wanted if item not in given]:
        wrong.append(f"{name}: not documented: {', '.join(missing)}")
    if unknown := [item for item in given if item not in wanted]:
        wrong.append(f"{name}: documented but not there: {', '.join(unknown)}")
    return wrong


@pytest.mark.parametrize("module_name", module_names())
def test_public_names_are_documented(module_name):
    module = importlib.import_module(module_name)
    assert (module.__doc__ or "").strip(), f"{module_name} has no docstring"
    # A subpackage without names of its own has nothing to list.
    if not (hasattr(module, "__path__") and "." in module_name) and module_name != "explorer":
        assert hasattr(module, "__all__"), f"{module_name} has no __all__"
    wrong = []
    for name, thing in public(module):
        ours = module_name.startswith("explorer")
        wrong += faults(f"{module_name}.{name}", thing, sentence_will_do=ours)
    assert wrong == []


def test_every_exported_name_exists():
    for module_name in module_names():
        module = importlib.import_module(module_name)
        for name in getattr(module, "__all__", []):
            assert hasattr(module, name), f"{module_name}.__all__ names {name}, which is not there"


def _sample(thrust, *, area=1.0):
    """Do a thing.

    Parameters
    ----------
    thrust, span : array_like
        Two names on one line. [N]

    Returns
    -------
    float
        Not : a parameter.
    """


def test_the_comparison_sees_both_kinds_of_fault():
    assert faults("x", _sample) == ["x: not documented: area", "x: documented but not there: span"]


def test_one_sentence_does_only_where_it_may():
    def brief(size):
        """Do a thing."""

    assert faults("x", brief) == ["x: not documented: size"]
    assert faults("x", brief, sentence_will_do=True) == []
    assert faults("x", _sample, sentence_will_do=True) != []


def test_the_comparison_sees_a_missing_docstring():
    @dataclasses.dataclass
    class Bare:
        size: float

    assert faults("x", Bare) == ["x: no docstring"]
    assert faults("x", lambda: 0) == ["x: no docstring"]
