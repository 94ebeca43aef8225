"""Shared by all tests: where the checkout and the raw data are."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

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
