"""Shared by all tests: where the checkout and the raw data are, how property tests run, in what order files come."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

# Linear algebra in one thread, before numpy is loaded. Its threads wait for each other in loops that take processor
# time: the matrices here are small, and with other work on the machine a calibration then takes many times longer.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

import pytest
from hypothesis import HealthCheck, settings
from long_run import examples

# A shared machine is slow now and then: no deadline, no complaint about slow drawing. Under continuous integration
# always the same examples.
settings.register_profile(
    "project",
    deadline=None,
    derandomize=bool(os.environ.get("CI")),
    suppress_health_check=[HealthCheck.too_slow],
    max_examples=examples(100),
)
settings.load_profile("project")

ROOT = Path(__file__).resolve().parents[1]
LONG = (
    "test_serving.py", "test_executors.py", "test_invariants.py", "test_cluster.py", "test_hosting.py",
    "test_bench_logs.py", "test_end_of_flight.py", "test_pages_flight.py", "test_examples.py", "test_page.py",
)  # fmt: skip
"""Files that take about ten seconds or more, beside those in the browser or marked slow."""
# Scripts: the doctests would import them, and so run the example.
collect_ignore_glob = ["benchmarks/*", "examples/*"]


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """In a run over several processes, start with the files that take longest, so that all end together.

    First those in the browser, then marked slow, then the long ones. A process takes one file after the other, so that
    what a file shares is made once.
    """
    if not hasattr(config, "workerinput"):
        return
    browser = ROOT / "tests" / "browser"
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    items.sort(key=lambda item: (browser not in item.path.parents, item.path not in slow, item.path.name not in LONG))


@pytest.fixture(scope="session", autouse=True)
def no_saved_builds_of_this_account(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Saved builds go into an empty folder of this run, never into those of the person who runs the tests."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_DATA_HOME", str(tmp_path_factory.mktemp("data")))
        yield


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
