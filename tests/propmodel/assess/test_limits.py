"""Which limit is reached first, in words: order, states, and fixes that really clear what they say they clear."""

import re
from dataclasses import replace

import numpy as np
import pytest

import propmodel
from propmodel.assess import margins
from propmodel.assess.assessment import Assessment
from propmodel.assess.limits import TIGHT, limits
from propmodel.base.units import INCH

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
        assert bool(x.fix) == (x.state in ("over", "tight")) or x.state == "tight", x.key
        assert bool(x.ask) == (x.state == "unknown"), x.key
        # a clause, so that no page has to cut a sentence
        assert not x.reason.endswith(".") and ". " not in x.reason, x.reason
        assert x.sentence.startswith(f"{x.reason}.")
        assert not x.usual or (x.state == "over" and x.kind == "share" and hold <= margins.BURST_SECONDS)
        if x.state == "tight":
            assert TIGHT <= x.share <= 1.0
        if x.kind == "share" and not np.isnan(x.hold):
            assert x.hold == hold


UNITS = {"%": 0.01, "mAh": 1e-3, "in": INCH, "KV": 1.0}
FIELDS = {
    "A throttle cap of": "command_cap",
    "The throttle cap of [0-9]+ % holds it back: raising it to": "command_cap",
    "A pack of": "pack.capacity_ah",
    "A pitch of": "propeller.pitch",
    "A propeller of": "propeller.diameter",
    "Motors of": "motor.kv",
}


@pytest.mark.parametrize("build", [*map(propmodel.demo, propmodel.demo_names()), BAD], ids=lambda b: b.name)
def test_a_fix_clears_what_it_says_it_clears(build):
    tried = 0
    found = limits(build)
    for x in found:
        match = re.match(rf"({'|'.join(FIELDS)}) ([0-9.]+) (\S+) (?:bring|leave)", x.fix)
        if match is None:
            continue
        words, number, unit = match.groups()
        (field,) = [path for head, path in FIELDS.items() if re.fullmatch(head, words)]
        changed = propmodel.with_fields(build, {field: float(number) * UNITS[unit]})
        before, after = (margins.evaluate(Assessment(b), hold=10.0) for b in (build, changed))
        share = float(after[x.key])
        goal = 1.0 if x.state == "over" else TIGHT
        assert share <= goal, (x.key, x.fix, share)
        spoilt = [k for k in after if k != x.key and after[k] > max(1.0, 1.01 * before[k])]
        assert bool(spoilt) == ("but then there is another limit" in x.fix), (x.key, x.fix, spoilt)
        tried += 1
    assert tried or build is BAD or all(x.state in ("clear", "unknown") for x in found)


@pytest.mark.parametrize(
    ("change", "key", "wanted"),
    [
        ({"motor.kv": 2450.0}, "sag_low", "Motors of [0-9]+ KV bring it within its limit"),
        (
            {"command_cap": 0.2},
            "pull",
            "The throttle cap of 20 % holds it back: raising it to [0-9]+ % brings it within its limit",
        ),
        # of a pack that was read: the label's own gives too little for any charge
        ({"pack.reserve": 0.0, "pack.cell_resistance": 4e-3}, "sag_low", "Landing with a charge left of [0-9]+ % bri"),
        ({"pack.temperature": 333.15}, "pack_heat", "A pack cooled to [0-9]+ C brings it"),
        ({"pack.temperature": 253.15}, "sag_low", "Warm the pack first"),
        ({"pack.temperature": 253.15}, "sag_fresh", "A pack warmed to [0-9]+ C brings it"),
    ],
)
def test_the_fix_goes_for_the_cause(change, key, wanted):
    by_key = {x.key: x for x in limits(propmodel.with_fields(SCREE, change))}
    assert by_key[key].state == "over" and re.match(wanted, by_key[key].fix)


@pytest.mark.parametrize(
    "build",
    [*map(propmodel.demo, propmodel.demo_names()), BAD]
    + [
        propmodel.with_fields(SCREE, change)
        for change in ({"motor.kv": 2450.0}, {"command_cap": 0.2}, {"craft.payload_mass": 3.0})
    ],
)
def test_the_remedies_of_the_worst_limits_are_those_among_all(build):
    every, worst = limits(build), limits(build, remedies="worst")
    assert [(one.key, one.state, one.reason) for one in every] == [(one.key, one.state, one.reason) for one in worst]
    for place, (one, short) in enumerate(zip(every, worst, strict=True)):
        named = place == 0 and one.state == "over" and not one.usual
        if named or one.kind == "fits" or one.key in ("pull", "hover_high"):
            assert short.fix == one.fix
        else:
            assert short.fix == ""
    with pytest.raises(ValueError, match="remedies"):
        limits(build, remedies="none")


def test_nothing_is_said_to_help_while_the_cells_are_too_many():
    assert not [x for x in limits(BAD) if x.kind == "share" and "within its limit" in x.fix]


def test_a_warm_pack_is_told_its_own_warming():
    warm = {x.key: x for x in limits(propmodel.with_fields(SCREE, {"pack.temperature": 333.15}))}["pack_heat"]
    # 157 A through 16 mohm at 60 C for ten seconds, 205 g of 1.05 kJ/(kg K): by hand some 19 C
    assert "warms the pack by about 19 C. It begins at 60 C" in warm.sentence


def test_a_cap_is_never_offered_for_cells_and_the_text_says_why():
    by_key = {x.key: x for x in limits(BAD)}
    for key in ("motor_cells", "controller_cells"):
        assert by_key[key].state == "over" and "throttle cap does not help" in by_key[key].fix_note
    assert "35 V or more" in by_key["capacitor_voltage"].fix


def test_a_tiny_craft_may_hover_at_half_its_command_and_more():
    """Common practice: craft of 20 to 60 g on one cell hover at 40 to 60 % and are flown so; larger ones are not."""
    tiny = propmodel.demo("rill")
    assert 0.02 <= float(tiny.mass) <= margins.LIGHT_CRAFT_MASS
    hover = {x.key: x for x in limits(tiny)}["hover_high"]
    command = float(Assessment(tiny).hover_command_at_reserve)
    assert 0.5 < command < margins.HOVER_HIGH_TINY and hover.state != "over"
    assert "40 to 60 % is usual for so light a craft" in hover.reason
    # the share has no step where a craft stops being tiny
    mass = np.linspace(0.031, 0.2, 400)
    grown = propmodel.with_fields(
        tiny, {"craft.payload_mass": mass - float(tiny.mass) + float(tiny.craft.payload_mass)}
    )
    a = Assessment(grown)
    most = np.minimum(a.hover_command_at_reserve, 1.0) / margins.evaluate(a)["hover_high"]
    most = most[np.asarray(a.can_hover)]
    assert most[0] == pytest.approx(0.65) and np.all(np.diff(most) <= 1e-9) and np.max(-np.diff(most)) < 0.002
    heavy = {x.key: x for x in limits(propmodel.demo("moor"))}["hover_high"]
    assert heavy.state == "over" and "usual" not in heavy.reason


@pytest.mark.parametrize(("mass", "most"), [(0.3, 0.50), (1.0, 0.50), (1.5, 0.55), (2.0, 0.60), (6.0, 0.60)])
def test_a_lifter_may_hover_at_more_of_its_command(mass, most):
    """Twice its weight of thrust is the usual least for craft that lift cameras; it then hovers above half (memory)."""
    tarn = propmodel.demo("tarn")  # 0.2 kg
    build = propmodel.with_fields(tarn, {"craft.payload_mass": tarn.craft.payload_mass + mass - float(tarn.mass)})
    whole = Assessment(build)
    assert float(build.mass) == pytest.approx(mass)
    share = float(margins.evaluate(whole, hold=10.0)["hover_high"])
    takes = float(whole.hover_command_at_reserve) if whole.can_hover else 1.0
    assert share == pytest.approx(takes / most, rel=1e-12)


@pytest.mark.parametrize("name", ["scree", "fell"])
def test_the_reason_names_what_is_usual_for_a_lifter(name):
    build = propmodel.demo(name)
    said = {one.key: one.reason for one in limits(build)}["hover_high"]
    assert ("up to 60 % is usual" in said) == (float(build.mass) >= 2.0) == (name == "fell")


def test_a_limit_that_such_craft_commonly_pass_is_usual_and_comes_after_what_breaks_parts():
    """Common practice: ten seconds flat out on an almost empty pack is flown by nobody; amps in an ESC break it."""
    by_key = {x.key: x for x in limits(SCREE)}
    assert by_key["sag_low"].state == "over" and by_key["sag_low"].usual
    assert margins.SHARES["sag_low"].usual is not None
    found = limits(BAD)
    by_key = {x.key: x for x in found}
    for key in ("controller_current", "brownout", "motor_cells"):
        assert by_key[key].state == "over" and not by_key[key].usual, key
    marks = [x.usual for x in found if x.state == "over"]
    assert marks == sorted(marks) and any(marks)
    # the same amps on a slow craft, which needs its full throttle for long, are an alarm
    heavy = {x.key: x for x in limits(propmodel.with_fields(SCREE, {"craft.payload_mass": 1.2}))}["connector"]
    assert heavy.state == "over" and not heavy.usual
    # held for a minute nothing is usual
    assert not any(x.usual for x in limits(SCREE, hold=60.0))


def test_arrays_and_nonsense_are_refused():
    with pytest.raises(ValueError, match="limits needs one build of plain numbers"):
        limits(propmodel.with_fields(SCREE, {"motor.kv": np.array([1e3, 2e3])}))
    with pytest.raises(ValueError, match="hold must be > 0 s, got -2 s"):
        limits(SCREE, hold=-2.0)
    with pytest.raises(ValueError, match="hold must be a finite number, got nan"):
        limits(SCREE, hold=float("nan"))


def test_a_larger_propeller_as_a_remedy_is_one_that_is_sold():
    # common practice, from memory: half inches from 2.5 in, and 5.1 and 5.2 in
    heavy = [("scree", 1.1), ("tarn", 0.35), ("moor", 0.6), ("fell", 1.2)]
    for name, more in heavy:
        build = propmodel.demo(name)
        loaded = propmodel.with_fields(build, {"craft.payload_mass": build.craft.payload_mass + more})
        sizes = re.findall(r"propeller of (\d+\.\d) in", " ".join(one.fix for one in limits(loaded)))
        assert sizes, name
        assert all(size in ("5.1", "5.2") or 2.0 * float(size) % 1.0 == 0.0 for size in sizes), (name, sizes)


def test_a_frosty_morning_changes_no_verdict_on_the_kv_and_a_cold_pack_is_warmed():
    cold = replace(SCREE, air=propmodel.atmosphere(420.0, temperature=265.15))
    shares = [{x.key: x.share for x in limits(b)}["free_tip"] for b in (SCREE, cold)]
    assert shares[0] == pytest.approx(shares[1], rel=1e-9) and shares[0] < 1.0
    stiff = propmodel.with_fields(SCREE, {"pack.temperature": 275.15})
    fixes = [x.fix for x in limits(stiff) if x.key in ("sag_low", "sag_fresh") and x.state == "over"]
    assert fixes and all(fix.startswith("Warm the pack first.") and "other parts" not in fix for fix in fixes)
