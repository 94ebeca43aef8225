"""Adding a field or a limit touches the places that DEVELOPERS.md names, and no more."""

import re
from functools import cache
from pathlib import Path

import pytest

from explorer.app_pages.lift import summary
from explorer.forecasts.headlines import FIT_FIELDS
from explorer.inputs import FIELDS
from propmodel.assembly.build_record import DEFAULTS
from propmodel.assess import margins

ROOT = Path(__file__).parents[1]

CRAFT = {"propmodel/assembly/build_record.py", "explorer/inputs/fields.py", "explorer/inputs/inputs.py"}
FLIGHT = {"explorer/inputs/fields.py", "explorer/inputs/inputs.py", "explorer/forecasts/bands.py"}
SHARE = {"propmodel/assess/margins.py", "propmodel/assess/limits.py", "explorer/app_pages/lift/summary.py"}
FIT = SHARE | {"explorer/forecasts/headlines.py"}


@cache
def sources() -> dict[str, str]:
    found = [path for package in ("explorer", "propmodel") for path in (ROOT / package).rglob("*.py")]
    return {path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8") for path in found}


def places(pattern: str) -> set[str]:
    return {place for place, text in sources().items() if re.search(pattern, text)}


@pytest.mark.parametrize("name", ["electronics_min_v", "body_shape"])
def test_a_field_of_the_craft_stands_in_three_places_and_where_labels_are_read(name):
    """Its dataclass in `components` holds it under its name in SI units; labels read no such field."""
    assert name in FIELDS
    found = {place for place in places(rf"\b{name}\b") if not place.startswith("explorer/labels/")}
    assert found == CRAFT


def test_a_field_of_the_flight_stands_in_three_places_and_on_its_page():
    assert places(r"\breaction_s\b") == FLIGHT | {"explorer/app_pages/dive/page.py"}


def test_every_field_stands_in_all_its_places():
    for name in FIELDS:
        found = places(rf"\b{name}\b")
        if name.startswith("mix_"):
            found |= {"explorer/inputs/fields.py"}  # the four shares are described in one loop
        assert found >= (CRAFT if name in DEFAULTS else CRAFT & FLIGHT), name


@pytest.mark.parametrize("key", ["magnet_heat", "main_leads", "motor_leads", "hover_heat"])
def test_a_limit_with_a_share_stands_in_three_places(key):
    assert key in margins.SHARES
    assert places(rf'"{key}"') == SHARE


@pytest.mark.parametrize("key", ["video_voltage", "camera_voltage", "receiver_voltage", "capacitor_voltage"])
def test_a_fit_stands_in_four_places(key):
    assert key in margins.FITS
    assert places(rf'"{key}"') == FIT


def test_every_limit_stands_in_all_its_places():
    assert set(summary._THINGS) == {*margins.SHARES, *margins.FITS}
    assert set(FIT_FIELDS) == set(margins.FITS)
    assert all(name in FIELDS for names in FIT_FIELDS.values() for name in names)
    for key in (*margins.SHARES, *margins.FITS):
        assert places(rf'"{key}"') >= (FIT if key in margins.FITS else SHARE), key


@pytest.mark.parametrize(
    ("section", "named"), [("Adding a part", CRAFT | FLIGHT), ("Adding a limit", FIT)], ids=["part", "limit"]
)
def test_developers_md_names_every_place(section, named):
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    (found,) = re.findall(rf"^### {section}.*?(?=^##)", text, re.MULTILINE | re.DOTALL)
    for place in named:
        assert place.removeprefix("propmodel/") in found, place
