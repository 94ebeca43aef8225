"""The worked examples run from top to bottom and print something."""

from __future__ import annotations

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
