"""Only `session` and `controls` write the session; its keys are named in one place."""

import ast
import re
from pathlib import Path

import explorer
from explorer.session import keys

ROOT = Path(explorer.__file__).parent
WRITERS = ("session", "controls")
_CHANGING = ("setdefault", "update", "pop", "popitem", "clear", "__setitem__", "__delitem__", "__setattr__")


def is_session(node: ast.AST) -> bool:
    return (isinstance(node, ast.Attribute) and node.attr == "session_state") or (
        isinstance(node, ast.Name) and node.id == "session_state"
    )


def writes(tree: ast.AST) -> list[int]:
    """Lines that change the session: an item or an attribute set or deleted, or a method that changes it."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Subscript | ast.Attribute) and isinstance(node.ctx, ast.Store | ast.Del):
            # an item of what is kept, too: session_state["a"]["b"] = 1
            inner = node.value
            while isinstance(inner, ast.Subscript):
                inner = inner.value
            if is_session(inner):
                found.append(node.lineno)
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in _CHANGING:
            if is_session(node.func.value):
                found.append(node.lineno)
        elif isinstance(node, ast.ImportFrom) and any(name.name == "session_state" for name in node.names):
            found.append(node.lineno)
    return found


def test_the_walk_sees_every_way_to_write():
    for text in (
        "st.session_state['a'] = 1",
        "st.session_state.a = 1",
        "st.session_state['a'] += 1",
        "del st.session_state['a']",
        "st.session_state.setdefault('a', {})['b'] = 1",
        "st.session_state.update(a=1)",
        "x = st.session_state.pop('a')",
        "st.session_state['a']['b'] = 1",
        "a = st.session_state['a'] = 1",
        "from streamlit import session_state",
    ):
        assert writes(ast.parse(text)), text
    for text in ("x = st.session_state['a']", "x = st.session_state.get('a')", "kept_values.hold('a', 1)"):
        assert not writes(ast.parse(text)), text


def test_only_session_and_controls_write_the_session():
    found = {}
    for path in sorted(ROOT.rglob("*.py")):
        place = path.relative_to(ROOT)
        if place.parts[0] in WRITERS:
            continue
        lines = writes(ast.parse(path.read_text(encoding="utf-8")))
        if lines:
            found[place.as_posix()] = len(lines)
    assert not found


NAMES = {name: value for name, value in vars(keys).items() if name.isupper()}


def test_every_key_of_session_and_controls_comes_from_the_one_place():
    """A bare text as a key is a name that nobody can look up; keys of widgets are put together where they stand."""
    bare = []
    for folder in WRITERS:
        for path in sorted((ROOT / folder).glob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                key = None
                if isinstance(node, ast.Subscript) and is_session(node.value):
                    key = node.slice
                elif (
                    isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and is_session(node.func.value)
                ):
                    key = node.args[0] if node.args else None
                if isinstance(key, ast.Constant):
                    bare.append(f"{path.name}:{node.lineno}: {key.value!r}")
    assert not bare


def test_every_key_has_its_own_text_and_says_what_it_holds():
    assert len(set(NAMES.values())) == len(NAMES)
    text = Path(keys.__file__).read_text(encoding="utf-8")
    for name in NAMES:
        assert re.search(rf'^{name} = "\w+"\n"""[^"]+\."""$', text, re.MULTILINE), name


def test_every_key_is_used():
    used = "".join(p.read_text(encoding="utf-8") for p in ROOT.rglob("*.py"))
    for name in NAMES:
        assert f"keys.{name}" in used, name
