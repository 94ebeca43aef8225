"""The worked examples run from top to bottom and print something."""

from __future__ import annotations

import doctest
import subprocess
import sys

import pytest


@pytest.mark.parametrize("name", ["compare_two_propellers.py"])
def test_example_runs(root, name):
    ran = subprocess.run(
        [sys.executable, str(root / "tests" / "examples" / name)], cwd=root, capture_output=True, text=True, timeout=120
    )
    assert ran.returncode == 0, ran.stderr
    assert "thrust/weight" in ran.stdout


@pytest.mark.filterwarnings("ignore")  # of the cluster's own code
def test_examples_for_developers_run(root):
    pytest.importorskip("distributed", reason="the cluster extra is not installed")
    tried = doctest.testfile(str(root / "DEVELOPERS.md"), module_relative=False, encoding="utf-8")
    assert tried.attempted > 10 and tried.failed == 0
