"""What gives first, in words: order, states, and fixes that really clear what they say they clear."""

import re

import numpy as np
import pytest

import propmodel
from propmodel import margins
from propmodel.assessment import Assessment
from propmodel.limits import TIGHT, limits
from propmodel.units import INCH

SCREE = propmodel.demo("scree")
# Every over state there is, so that every sentence and every fix is written once.
BAD = propmodel.with_fields(
    SCREE,
    {
        "motor.max_cells": 4,
        "controller.max_cells": 4,
        "craft.video_max_voltage": 17.0,
        "craft.camera_max_voltage": 17.0,
        "craft.regulator_max_voltage": 20.0,
        "craft.receiver_max_voltage": 10.0,
        "craft.capacitor_voltage": 25.0,
        "craft.frame_propeller_diameter": 0.1,
        "craft.mass_threshold": 0.25,
        "craft.motor_lead_area": 0.2e-6,
        "craft.electronics_min_voltage": 18.0,
        "controller.burst_current": 20.0,
        "motor.max_current": 15.0,
    },
)


@pytest.mark.parametrize("build", [*map(propmodel.demo, propmodel.demo_names()), BAD], ids=lambda b: b.name)
@pytest.mark.parametrize("hold", [2.0, 10.0, 60.0, np.inf])
def test_every_limit_is_told_once_and_the_worst_come_first(build, hold):
    found = limits(build, hold=hold)
    keys = [x.key for x in found]
    assert len(keys) == len(set(keys))
    assert set(keys) | {"motor_lost"} == {*margins.SHARES, *margins.FITS} | {"motor_lost"}
    order = ["over", "tight", "clear", "unknown"]
    ranks = [order.index(x.state) for x in found]
    assert ranks == sorted(ranks)
    for x in found:
        assert x.sentence and x.basis and x.part and "nan" not in x.sentence and "inf" not in x.sentence
        if x.state in ("over", "unknown"):
            assert x.fix, x.key
        if x.state == "tight":
            assert TIGHT <= x.share <= 1.0
        if x.kind == "share" and not np.isnan(x.hold):
            assert x.hold == hold


UNITS = {"%": 0.01, "mAh": 1e-3, "in": INCH, "KV": 1.0}
FIELDS = {
    "A command cap at": "command_cap",
    "A pack of": "pack.capacity_ah",
    "A pitch of": "propeller.pitch",
    "A propeller of": "propeller.diameter",
    "Motors of": "motor.kv",
}


@pytest.mark.parametrize("build", [*map(propmodel.demo, propmodel.demo_names()), BAD], ids=lambda b: b.name)
def test_a_fix_clears_what_it_says_it_clears(build):
    tried = 0
    for x in limits(build):
        match = re.match(
            r"(A command cap at|A pack of|A pitch of|A propeller of|Motors of) ([0-9.]+) (\S+) clear", x.fix
        )
        if match is None:
            continue
        words, number, unit = match.groups()
        changed = propmodel.with_fields(build, {FIELDS[words]: float(number) * UNITS[unit]})
        share = float(margins.evaluate(Assessment(changed), hold=10.0)[x.key])
        goal = 1.0 if x.state == "over" else TIGHT
        assert share <= goal, (x.key, x.fix, share)
        tried += 1
    assert tried or build.name != "Scree"


def test_a_cap_is_never_offered_for_cells_and_the_text_says_why():
    by_key = {x.key: x for x in limits(BAD)}
    for key in ("motor_cells", "controller_cells"):
        assert by_key[key].state == "over" and "command cap does not help" in by_key[key].fix
    assert "35 V or more" in by_key["capacitor_voltage"].fix


def test_arrays_and_nonsense_are_refused():
    with pytest.raises(ValueError, match="limits needs one build of plain numbers"):
        limits(propmodel.with_fields(SCREE, {"motor.kv": np.array([1e3, 2e3])}))
    with pytest.raises(ValueError, match="hold must be > 0 s, got -2 s"):
        limits(SCREE, hold=-2.0)
    with pytest.raises(ValueError, match="hold must be a finite number, got nan"):
        limits(SCREE, hold=float("nan"))
