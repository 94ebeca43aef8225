"""Imports point one way: explorer -> propmodel; parts -> build -> operating point -> answers -> overviews."""

from __future__ import annotations

import ast
import fnmatch
from pathlib import Path

import pytest

# Layers of propmodel, lowest first; names are patterns. A module may import its own layer (no circles) and
# the layers below it.
LAYERS: list[list[str]] = [
    # ground: usable by everything
    ["units", "constants", "errors", "status", "number", "workshare"],
    ["tables"],
    # parts
    [
        "air",
        "momentum",
        "propeller",
        "propeller_*",
        "motor",
        "surge",
        "controller",
        "battery",
        "craft",
        "inplane",
    ],
    [
        "wire",
        "build",
        "parts",
        "part_*",
    ],
    # a build written down, and the four that come with the project
    ["record"],
    ["demo"],
    ["drive", "duties"],
    ["rotation"],
    ["operating_point", "throttle"],
    # answers about one build
    [
        "flight",
        "endurance",
    ],
    [
        "dive",
        "dive_*",
        "falling",
        "wash",
        "way_out",
        "heat",
        "heat_*",
        "response",
        "watts",
        "power_up*",
    ],
    [
        "assessment",
        "margins",
        "performance",
        "limits",
    ],
    # overviews over many builds or many answers, and what reads the user's files
    [
        "costs",
        "spread",
        "sweep",
        "sensitivity",
        "solve",
        "pareto",
        "punch",
    ],
    ["bench", "bench_*"],
]
FREE = {"__init__", "data"}  # the package's front door, and the data folder


def imported(tree: ast.AST, package: str) -> set[str]:
    """Full dotted names that a module imports, also inside functions."""
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parts = package.split(".")[: len(package.split(".")) - node.level + 1]
                base = ".".join([*parts, base] if base else parts)
            names.add(base)
            names |= {f"{base}.{alias.name}" for alias in node.names}
    return names


def modules(root: Path, package: str) -> dict[str, set[str]]:
    """Every module of a package, below it too, with what it imports."""
    found = {}
    for path in sorted((root / package).rglob("*.py")):
        dotted = ".".join(path.relative_to(root).with_suffix("").parts)
        parent = dotted.rsplit(".", 1)[0]
        found[dotted.removesuffix(".__init__")] = imported(ast.parse(path.read_text("utf-8")), parent)
    return found


def layer_of(name: str) -> int | None:
    head = name.split(".")[0]
    for index, layer in enumerate(LAYERS):
        if any(fnmatch.fnmatchcase(head, pattern) for pattern in layer):
            return index
    return None


def breaches(found: dict[str, set[str]]) -> list[str]:
    """What is wrong, in words; an empty list where every import points the right way."""
    wrong = []
    edges: dict[str, set[str]] = {}
    for module, names in found.items():
        for name in sorted(names):
            top = name.split(".")[0]
            if module.startswith("propmodel") and top in {"explorer", "streamlit", "plotly", "tests"}:
                wrong.append(f"{module} imports {name}")
        if not module.startswith("propmodel."):
            continue
        own = module.split(".")[1]
        if own in FREE:
            continue
        if layer_of(own) is None:
            wrong.append(f"{module} has no layer: add it to LAYERS")
            continue
        for name in names:
            if name == "propmodel":
                continue  # "from propmodel import x" also lists propmodel.x, which is judged below
            if not name.startswith("propmodel."):
                continue
            other = name.split(".")[1]
            if other in FREE or other == own or f"propmodel.{other}" not in found:
                continue
            edges.setdefault(own, set()).add(other)
            target = layer_of(other)
            if target is not None and target > layer_of(own):
                wrong.append(f"{module} imports propmodel.{other}, which stands above it")
    return sorted(set(wrong)) + circles(edges)


def circles(edges: dict[str, set[str]]) -> list[str]:
    done: set[str] = set()
    wrong: list[str] = []

    def visit(name: str, path: tuple[str, ...]) -> None:
        if name in path:
            wrong.append("circle: " + " -> ".join([*path[path.index(name) :], name]))
            return
        if name in done:
            return
        for other in sorted(edges.get(name, ())):
            visit(other, (*path, name))
        done.add(name)

    for name in sorted(edges):
        visit(name, ())
    return wrong


def test_imports_point_one_way(root):
    found = modules(root, "propmodel") | modules(root, "explorer")
    assert len(found) > 10
    assert breaches(found) == []


def test_every_pattern_names_a_module(root):
    names = [path.stem for path in (root / "propmodel").glob("*.py")]
    idle = [pattern for layer in LAYERS for pattern in layer if not fnmatch.filter(names, pattern)]
    assert idle == []


def test_no_star_import_and_explicit_all(root):
    wrong = []
    for package in ("propmodel", "explorer"):
        for path in sorted((root / package).rglob("*.py")):
            tree = ast.parse(path.read_text("utf-8"))
            for node in ast.walk(tree):
                if isinstance(node, ast.ImportFrom) and any(alias.name == "*" for alias in node.names):
                    wrong.append(f"{path.name}: star import")
    assert wrong == []


@pytest.mark.parametrize(
    ("source", "complaint"),
    [
        ("import streamlit", "propmodel.motor imports streamlit"),
        ("from explorer.inputs import Inputs", "propmodel.motor imports explorer.inputs"),
        (
            "from propmodel.sweep import sweep",
            "propmodel.motor imports propmodel.sweep, which stands above it",
        ),
        (
            "def f():\n    from propmodel import build",
            "propmodel.motor imports propmodel.build, which stands",
        ),
        ("from . import build", "propmodel.motor imports propmodel.build, which stands above it"),
    ],
)
def test_the_walk_sees_a_breach(source, complaint):
    found = {
        "propmodel.motor": imported(ast.parse(source), "propmodel"),
        "propmodel.build": set(),
        "propmodel.sweep": set(),
    }
    assert any(complaint in line for line in breaches(found))


def test_the_walk_sees_a_circle():
    found = {"propmodel.motor": {"propmodel.battery"}, "propmodel.battery": {"propmodel.motor.mass"}}
    assert any(line.startswith("circle: ") for line in breaches(found))
