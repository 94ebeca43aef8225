"""Every numeric field of a part declares its range once; the checks keep to it."""

from __future__ import annotations

from dataclasses import MISSING, fields, replace

import numpy as np
import pytest

import propmodel
from propmodel.base.ranges import Range, allowed, ranges_of

SCREE = propmodel.demo("scree")
PARTS = {"craft": SCREE.craft, "motor": SCREE.motor, "controller": SCREE.controller, "air": SCREE.air}
PARTS |= {"propeller": SCREE.propeller, "pack": SCREE.pack, "build": SCREE}
NO_NUMBER = {"name", "stand_controller", "craft", "motor", "propeller", "controller", "pack", "air", "coaxial"}
NO_NUMBER |= {"chemistry", "own_fit", "blade_width", "multirotor"}
"""Fields that hold text, a part or a truth value."""


def declared() -> list[tuple[str, str, Range]]:
    return [(part, name, found) for part, value in PARTS.items() for name, found in ranges_of(type(value)).items()]


@pytest.mark.parametrize("part", PARTS)
def test_every_numeric_field_has_a_range(part):
    names = {f.name for f in fields(PARTS[part])} - NO_NUMBER
    assert names == set(ranges_of(type(PARTS[part])))


@pytest.mark.parametrize(("part", "name", "found"), declared(), ids=lambda v: v if isinstance(v, str) else "")
def test_the_range_is_what_the_check_holds(part, name, found):
    beyond = [0.0] if found.above else []
    beyond += [found.low - max(1.0, abs(found.low))] if np.isfinite(found.low) else []
    beyond += [2.0 * found.high + 1.0] if np.isfinite(found.high) else []
    for value in [*beyond, *([] if found.nan else [np.nan]), np.array([np.inf])]:
        with pytest.raises(ValueError, match=f"^{found.label or name} must be "):
            replace(PARTS[part], **{name: value})


@pytest.mark.parametrize(("part", "name", "found"), declared(), ids=lambda v: v if isinstance(v, str) else "")
def test_a_default_lies_inside(part, name, found):
    default: object = next(f.default for f in fields(PARTS[part]) if f.name == name)
    if default is MISSING or default is None:
        return
    assert found.low <= default <= found.high and not (found.above and default == 0.0)


def test_the_unit_stands_in_the_sentence():
    with pytest.raises(ValueError, match="lead_length must be between 0 and 100 m, got -1 m"):
        replace(SCREE.craft, lead_length=-1.0)
    with pytest.raises(ValueError, match="motor KV must be > 0 rpm/V, got 0 rpm/V"):
        replace(SCREE.motor, kv=0.0)


def test_an_empty_range_is_refused():
    with pytest.raises(ValueError, match="a range must rise"):
        allowed(1.0, 1.0)
    with pytest.raises(ValueError, match="begin at 0"):
        allowed(1.0, 2.0, above=True)
