"""Shared by all tests: where the checkout and the raw data are, and how property tests run."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings

# A shared machine is slow now and then: no deadline. Under continuous integration always the same examples.
settings.register_profile("project", deadline=None, derandomize=bool(os.environ.get("CI")))
settings.load_profile("project")

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="session")
def root() -> Path:
    """Top folder of the checkout."""
    return ROOT


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Folder of raw data beside the checkout; the test is skipped, with the reason, where it is absent."""
    folder = Path(os.environ.get("PROPMODEL_SHARED", ROOT.parent / "shared")) / "data"
    if not folder.is_dir():
        pytest.skip(f"raw data not found at {folder}; set PROPMODEL_SHARED to the folder that holds data/")
    return folder
