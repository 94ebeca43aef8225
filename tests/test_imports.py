"""Imports point one way: explorer -> propmodel, and inside both from each wing to the floors below it."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

FLOORS: list[list[str]] = [
    ["base"],
    ["components", "heat", "costs"],
    ["assembly", "parts"],
    ["powertrain"],
    ["flight", "dive", "power_up"],
    ["assess"],
    ["studies", "bench"],
]
"""Wings of propmodel, lowest floor first. A module may import its own wing (no circles) and the floors below it."""
EXPLORER_FLOORS: list[list[str]] = [
    ["text", "figures", "saved", "serving"],
    ["inputs"],
    ["labels"],
    ["forecasts"],
    ["session"],
    ["controls"],
    ["app_pages"],
]
"""Wings of explorer, lowest floor first; `app.py` and `__main__.py` stand above them all."""
PURE = re.compile(r"^explorer\.(text|figures|saved|inputs|labels)\.|^explorer\.app_pages\.\w+\.(words|figures|bars)$")
"""Modules without Streamlit."""
PRINTS_OTHERS = "shelf"
"""The one page that may read the answers of other pages: its field sheet prints them."""
MOST_MODULES = 12
"""Modules a folder may hold, `__init__` not counted."""


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
        found[dotted] = imported(ast.parse(path.read_text("utf-8")), parent)
    return found


def floor_of(wing: str, floors: list[list[str]] = FLOORS) -> int | None:
    for index, wings in enumerate(floors):
        if wing in wings:
            return index
    return None


def breaches(found: dict[str, set[str]]) -> list[str]:
    """What is wrong, in words; an empty list where every import points the right way."""
    wrong = []
    edges: dict[str, set[str]] = {}
    for module, names in found.items():
        parts = module.split(".")
        for name in sorted(names):
            if parts[0] == "propmodel" and name.split(".")[0] in {"explorer", "streamlit", "plotly", "tests"}:
                wrong.append(f"{module} imports {name}")
        if parts[0] != "propmodel" or len(parts) < 3:
            continue  # the front door of the package imports every wing
        own = floor_of(parts[1])
        if own is None:
            wrong.append(f"{module} stands in no wing: add {parts[1]} to FLOORS")
            continue
        for name in names:
            other = name.split(".")
            if other[0] != "propmodel" or len(other) < 2 or other[1] == "data":
                continue
            if floor_of(other[1]) is None:
                wrong.append(f"{module} imports {name}: take it from its wing")
            elif other[1] != parts[1] and floor_of(other[1]) >= own:
                wrong.append(f"{module} imports {name}, which stands above it or beside it")
            elif name in found:
                edges.setdefault(module, set()).add(name)
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


def explorer_breaches(found: dict[str, set[str]]) -> list[str]:
    """What is wrong in explorer, in words."""
    wrong = []
    edges: dict[str, set[str]] = {}
    for module, names in found.items():
        parts = module.split(".")
        if parts[0] != "explorer" or len(parts) < 3:
            continue  # app.py and __main__.py may import every wing
        own = floor_of(parts[1], EXPLORER_FLOORS)
        if own is None:
            wrong.append(f"{module} stands in no wing: add {parts[1]} to EXPLORER_FLOORS")
            continue
        if PURE.search(module) and "streamlit" in {name.split(".")[0] for name in names}:
            wrong.append(f"{module} imports streamlit")
        for name in sorted(names):
            other = name.split(".")
            if other[0] != "explorer" or len(other) < 2:
                continue
            above = floor_of(other[1], EXPLORER_FLOORS)
            if above is None or (other[1] != parts[1] and above >= own):
                wrong.append(f"{module} imports {name}, which stands above it or beside it")
            elif parts[1] == other[1] == "app_pages" and len(other) > 2 and other[2] != parts[2] != PRINTS_OTHERS:
                wrong.append(f"{module} imports {name}, a part of another page")
            elif name in found:
                edges.setdefault(module, set()).add(name)
    return wrong + circles(edges)


def test_imports_of_explorer_point_one_way(root):
    found = modules(root, "explorer")
    assert len(found) > 50
    assert explorer_breaches(found) == []


@pytest.mark.parametrize(
    ("module", "imports"),
    [
        ("explorer.text.numbers", "explorer.inputs.fields"),
        ("explorer.session.state", "explorer.controls.page_frame"),
        ("explorer.app_pages.lift.page", "explorer.app_pages.dive.words"),
        ("explorer.app_pages.dive.words", "streamlit"),
        ("explorer.app_pages.dive.figures", "explorer.app"),
        ("explorer.elsewhere.room", "numpy"),
    ],
)
def test_the_walk_sees_a_breach_of_explorer(module, imports):
    assert explorer_breaches({module: {imports}})


@pytest.mark.parametrize(("package", "floors"), [("propmodel", FLOORS), ("explorer", EXPLORER_FLOORS)])
def test_every_wing_is_a_folder(root, package, floors):
    folders = {path.parent.name for path in (root / package).glob("*/__init__.py")}
    assert folders == {wing for wings in floors for wing in wings}


@pytest.mark.parametrize("package", ["propmodel", "explorer"])
def test_no_folder_is_crowded(root, package):
    for folder in [root / package, *(p for p in (root / package).rglob("*") if p.is_dir())]:
        assert len([p for p in folder.glob("*.py") if p.name != "__init__.py"]) <= MOST_MODULES, folder.name


def test_no_name_of_a_wing_hides_a_module_of_it(root):
    for front in (root / "propmodel").rglob("__init__.py"):
        names = {a.asname or a.name for n in ast.walk(ast.parse(front.read_text("utf-8")))
                 if isinstance(n, ast.ImportFrom) for a in n.names}  # fmt: skip
        if front.parent != root / "propmodel":
            assert not names & {path.stem for path in front.parent.glob("*.py")}, front.parent.name


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
        ("import streamlit", "propmodel.components.motor imports streamlit"),
        ("from explorer.inputs import Inputs", "propmodel.components.motor imports explorer.inputs"),
        ("from propmodel.studies.sweep import sweep", "imports propmodel.studies.sweep, which stands above it"),
        ("def f():\n    from propmodel.assembly import build", "imports propmodel.assembly.build, which stands above"),
        ("from ..assembly import build", "imports propmodel.assembly.build, which stands above it"),
        ("from propmodel.costs import session", "imports propmodel.costs.session, which stands above it or beside it"),
        ("from propmodel import demo", "imports propmodel.demo: take it from its wing"),
    ],
)
def test_the_walk_sees_a_breach(source, complaint):
    found = {
        "propmodel.components.motor": imported(ast.parse(source), "propmodel.components"),
        "propmodel.assembly.build": set(),
        "propmodel.studies.sweep": set(),
    }
    assert any(complaint in line for line in breaches(found))


def test_the_walk_sees_a_circle():
    motor, battery = "propmodel.components.motor", "propmodel.components.battery"
    assert any(line.startswith("circle: ") for line in breaches({motor: {battery}, battery: {motor}}))
