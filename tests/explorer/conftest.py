"""Pages run without a browser: what Streamlit would look up for each of them anew is looked up once."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import pytest
from streamlit.components.v2 import manifest_scanner


@pytest.fixture(scope="session", autouse=True)
def installed_packages_are_scanned_once() -> Iterator[None]:
    """Each `AppTest` reads the metadata of every installed package, which takes twice as long as drawing the page."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(manifest_scanner, "scan_component_manifests", cache(manifest_scanner.scan_component_manifests))
        yield
