"""One combination put into the build, parts from lists, steps to the next size, values solved for.

Prices are held against sums done here by hand, a loaded combination against the engine asked afresh. No number of a
forecast stands in these tests.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from choose_counts import CRAFT, HEADLINES, small, swept

from explorer.app_pages.choose import answers, looks, map_words, plan, ranges
from explorer.app_pages.choose import picture as choice_picture
from explorer.app_pages.choose.looks import LOOKS, conditions
from explorer.inputs import Inputs, check, demo_inputs, to_build
from propmodel import parts
from propmodel.assess.assessment import Assessment
from propmodel.assess.margins import FITS, SHARES
from propmodel.assess.performance import evaluate


@pytest.mark.parametrize("name", CRAFT)
@pytest.mark.parametrize(
    "told", [{}, {"cell_mohm": 6.0, "blade_width_mm": 11.0, "no_load_a": 1.1, "winding_mohm": 60.0}]
)
def test_a_loaded_combination_gives_what_the_map_said(name, told):
    """The engine asked afresh about the loaded inputs, against the sweep; masses and labels told must carry over."""
    inputs = replace(demo_inputs(name), **told)
    planned, found = swept(inputs, small(inputs))
    rng = np.random.default_rng(7)
    for index in rng.choice(found.size, 24, replace=False):
        new = plan.inputs_at(inputs, planned, found, int(index), {})
        assert check(new) == []
        got = evaluate(Assessment(to_build(new), quick=True), HEADLINES)
        for output in HEADLINES:
            expected = float(found[output].flat[index])
            assert float(got[output]) == pytest.approx(expected, rel=2e-3, nan_ok=True), (output, new)


def test_the_frame_stays_and_so_does_everything_that_was_not_told():
    inputs = replace(Inputs(), motor_mass_g=None, pack_g=None, propeller_g=None)
    planned, found = swept(inputs, small(inputs))
    new = plan.inputs_at(inputs, planned, found, found.size - 1, {})
    assert (new.frame_g, new.payload_g, new.esc_a, new.altitude_m) == (266.0, 70.0, 45.0, 420.0)
    assert new.motor_mass_g is None and new.pack_g is None and new.propeller_g is None


def test_a_shop_label_is_what_one_asks_for():
    inputs = Inputs()
    values = small(inputs, kv="1800, 1850, 1900", stator="2207", diameter_in="5.1", pitch_in="3.6", blades="3",
                   cells="6", capacity_mah="1300", chemistry=("lipo",))  # fmt: skip
    _, found = swept(inputs, values)
    assert plan.shop_label(found, 1, {}, inputs, (1800.0, 1900.0)) == "2207, 1800 to 1900 KV; 5.1 x 3.6 x 3; 6S 1300"
    assert plan.shop_label(found, 1, {}, inputs) == "2207, 1850 KV; 5.1 x 3.6 x 3; 6S 1300"
    assert plan.shop_label(found, 1, {}, replace(inputs, parallel=2)).endswith("; 6S2P 1300")
    _, other = swept(inputs, {**values, "chemistry": ("li_ion",)})
    assert plan.shop_label(other, 1, {}, inputs).endswith("; 6S 1300 Li-ion")


def test_kv_that_does_as_well_stays_within_three_per_cent_and_holds():
    inputs = Inputs()
    values = small(inputs, kv="1500 to 2400 by 20", stator="2207", diameter_in="5.1", pitch_in="4.3", blades="3",
                   cells="6", capacity_mah="1300", chemistry=("lipo",))  # fmt: skip
    _, found = swept(inputs, values)
    good = np.ones(found.size, bool)
    kv = found.axes["motor.kv"]
    own = 20
    good[own + 2] = False  # the next but one does not hold: the span must end before it
    low, high = choice_picture.alike_kv(found, own, good, "hover_time", "thrust_to_weight")
    assert low <= kv[own] <= high == kv[own + 1]
    for output in ("hover_time", "thrust_to_weight"):
        line = found[output].ravel()
        inside = (kv >= low) & (kv <= high)
        assert np.all(np.abs(line[inside] / line[own] - 1.0) <= 0.03)


MOTORS = "name,KV,stator diameter,stator height,mass,price\nFern,1950,22,7,33,20\n=Moss,1700,23,6,,30\n"


PROPELLERS = "name,diameter,pitch,blades,blade width,mass,price\nA,5.1,4.3,3,12,4.1,2\nB,5,4,2,,,3\n"


PACKS = "name,chemistry,cells,capacity,mass,continuous current,price\nP,LiPo,6,1300,205,98,40\nQ,Li-ion,4,3000,,,25\n"


ESCS = "name,continuous current,most cells\nE45,45,6\nE60,60,8\n"


def listed() -> dict:
    return {
        kind: parts.read_csv(text, kind).frame
        for kind, text in (("motors", MOTORS), ("propellers", PROPELLERS), ("packs", PACKS), ("controllers", ESCS))
    }


def test_a_list_takes_the_place_of_its_ranges_and_loads_by_name():
    inputs, frames = Inputs(), listed()
    planned, found = swept(inputs, small(inputs), frames=frames)
    assert found.shape == (2, 2, 2, 2)
    assert plan.count_of(small(inputs), frames) == 16
    for index in range(found.size):
        new = plan.inputs_at(inputs, planned, found, index, frames)
        got = evaluate(Assessment(to_build(new), quick=True), HEADLINES)
        for output in HEADLINES:
            assert float(got[output]) == pytest.approx(float(found[output].flat[index]), rel=2e-3), (output, index)
    assert plan.shop_label(found, 0, frames, inputs) == "Fern; A; P; E45"
    # labels of the old parts must not linger where the list states none
    assert planned.base.motor.max_current is None and planned.base.pack.max_burst_current is None


def test_prices_add_up_over_a_craft():
    inputs, frames = Inputs(), listed()
    _, found = swept(inputs, small(inputs), frames=frames)
    price = found["price"][..., 0]
    for m, motor in enumerate((20.0, 30.0)):
        for p, propeller in enumerate((2.0, 3.0)):
            for k, pack in enumerate((40.0, 25.0)):
                assert price[m, p, k] == 4 * motor + 4 * propeller + pack
    asked = conditions([("price", "at most", 150.0)], "none")
    assert int(found.meets(asked).sum()) == int((found["price"] <= 150.0).sum()) > 0


def test_a_list_without_a_needed_column_is_told():
    with pytest.raises(parts.PartsError, match="KV"):
        parts.read_csv("name,stator diameter,stator height\nFern,22,7\n", "motors")


def test_the_file_of_all_that_hold_names_parts_harmlessly():
    inputs, frames = Inputs(), listed()
    _, found = swept(inputs, small(inputs), ("hover_time", *FITS, *SHARES), frames=frames)
    text = map_words.csv_of(found, [], frames, 100).decode()
    lines = text.splitlines()
    assert len(lines) == 17
    assert "hover_time [s]" in lines[0] and "controller_current [share used]" in lines[0]
    assert ",'=Moss," in text and ",=Moss" not in text
    assert len(map_words.csv_of(found, [], frames, 5).decode().splitlines()) <= 6


@pytest.mark.parametrize("output", looks.HEADLINES)
def test_a_step_buys_what_the_engine_says(output):
    inputs = Inputs()
    before = float(evaluate(Assessment(to_build(inputs)), [output])[output])
    found = answers.changes(inputs, output)
    assert [c.buys for c in found] == sorted((c.buys for c in found), reverse=True)
    mah = next(c for c in found if c.words == "a 1400 mAh pack")
    after = answers.with_one(inputs, "capacity_mah", 1400.0, output)
    assert mah.after == pytest.approx(after, rel=1e-3)
    side = 1.0 if LOOKS[output].better == "max" else -1.0
    assert mah.buys == pytest.approx(side * (after / before - 1.0), abs=1e-3)


def test_a_step_that_does_not_fit_says_so():
    def larger(frame):
        inputs = replace(Inputs(), diameter_in=4.8, frame_propeller_in=frame)
        return next(c for c in answers.changes(inputs, "hover_time") if c.words == "5 in propellers")

    assert "propeller in the frame" in larger(4.8).over
    assert "propeller in the frame" not in larger(None).over


def test_every_step_is_to_a_size_that_is_sold():
    for name in CRAFT:
        inputs = demo_inputs(name)
        for step in ranges.next_sold(inputs):
            for path, (field, scale, _, _) in ranges._NEXT.items():
                if step.field == path:
                    assert getattr(inputs, field) + step.change / scale == pytest.approx(
                        min(
                            ranges.RANGES[field].sold,
                            key=lambda v: abs(v - getattr(inputs, field) - step.change / scale),
                        )
                    )


@pytest.mark.parametrize(
    ("cells", "near", "wide"),
    [(6, "4, 6", "4, 6, 8"), (4, "3, 4, 6", "3, 4, 6"), (1, "1, 2", "1, 2"), (5, "4, 5, 6", "4, 5, 6")],
)
def test_packs_tried_are_those_that_are_sold(cells, near, wide):
    inputs = replace(Inputs(), cells=cells)
    assert ranges.around(inputs)["cells"] == near and ranges.around(inputs, wide=True)["cells"] == wide


def test_a_five_inch_tries_five_inch_propellers():
    assert ranges.around(Inputs())["diameter_in"] == "5, 5.1, 5.2"


def test_solving_and_putting_it_in_agree():
    found = answers.solved(Inputs(), "capacity_mah", "hover_time", 480.0)
    assert answers.with_one(Inputs(), "capacity_mah", found.value, "hover_time") == pytest.approx(480.0, rel=1e-3)
    none = answers.solved(Inputs(), "capacity_mah", "hover_time", 1e5)
    assert math.isnan(none.value) and none.solution.words and math.isfinite(none.solution.closest)


def test_spread_shares_make_a_whole():
    shares, readings = answers.spread_of(Inputs(), "thrust_to_weight")
    assert sum(c.share for c in shares) == pytest.approx(1.0)
    assert all(0.0 <= g <= 1.0 for _, g in readings)
    assert [g for _, g in readings] == sorted((g for _, g in readings), reverse=True)


def test_a_list_of_propellers_brings_their_widths_by_eye():
    text = "name,diameter,pitch,blades,blade width by eye\nA,5.1,4.3,3,broad\nB,5.1,4.3,3,slim\nC,5.1,4.3,3,\n"
    frames = {"propellers": parts.read_csv(text, "propellers").frame}
    for told in ({}, {"blade_width": "middle"}, {"blade_width_mm": 11.0}):  # the old propeller's must not linger
        inputs = replace(Inputs(), **told)
        planned, found = swept(inputs, small(inputs), frames=frames)
        axis = list(found.axes).index("propellers")
        seen = []
        for index in range(found.size):
            new = plan.inputs_at(inputs, planned, found, index, frames)
            got = evaluate(Assessment(to_build(new), quick=True), HEADLINES)
            for output in HEADLINES:
                assert float(got[output]) == pytest.approx(float(found[output].flat[index]), rel=2e-3), (output, index)
            assert new.blade_width_mm is None
            row = int(np.unravel_index(index, found.shape)[axis])
            assert new.blade_width == ("broad", "slim", "unknown")[row]
            seen.append(row)
        assert set(seen) == {0, 1, 2}
