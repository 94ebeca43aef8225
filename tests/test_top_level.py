"""The checkout's top level, and words that no file of the project may hold."""

from __future__ import annotations

import re
import shutil
import subprocess

import pytest

ALLOWED = {"README.md", "DEVELOPERS.md", "pyproject.toml", "explorer", "propmodel", "data", "tests"}


def tracked(root):
    if not (root / ".git").exists() or not shutil.which("git"):
        pytest.skip("not a git checkout: what belongs to the project cannot be told from what was made here")
    listing = subprocess.run(["git", "ls-files", "-z"], cwd=root, capture_output=True, text=True, check=True).stdout
    return [name for name in listing.split("\0") if name]


def test_top_level_is_the_agreed_one(root):
    tops = {name.split("/")[0] for name in tracked(root)}
    assert {name for name in tops if not name.startswith(".")} == ALLOWED


def test_no_machine_path_or_registry_host(root):
    # Put together here so that this file does not hold the words it looks for.
    forbidden = re.compile(
        "|".join(
            [
                "/" + "work/",
                "/" + "root/",
                "files.pythonhosted" + r"\.org",
                "registry.npm" + "js",
                "//py" + r"pi\.",
            ]
        )
    )
    wrong = []
    for name in tracked(root):
        path = root / name
        if not path.is_file():
            continue  # removed in the work tree, not yet committed
        for number, line in enumerate(path.read_bytes().decode("utf-8", "replace").splitlines(), 1):
            if forbidden.search(line):
                wrong.append(f"{name}:{number}: {line.strip()[:80]}")
    assert wrong == []


def test_readme_commands_exist(root):
    readme = (root / "README.md").read_text("utf-8")
    commands = re.findall(r"^sh (\S+)", readme, re.M)
    assert commands[:2] == [".ci/start", ".ci/test"]
    for command in commands:
        assert (root / command).is_file(), command
    developers = (root / "DEVELOPERS.md").read_text("utf-8").lower()
    assert "changes that move numbers" in developers
