"""Sweeps against direct answers, in memory, stopped half-way, and asked nonsense."""

import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples

import propmodel
from propmodel.assess import margins
from propmodel.assess.assessment import Assessment
from propmodel.assess.performance import OUTPUTS, performance
from propmodel.studies import pareto
from propmodel.studies.grid import Question, answers, grid_of, names_of
from propmodel.studies.sweep import CHUNK, LARGEST, Condition, margin_names, sweep

SCREE = propmodel.demo("scree")
AXES = {
    "motor.kv": np.array([1300.0, 1700.0, 1950.0, 2400.0]),
    "propeller.diameter": np.array([0.1016, 0.127, 0.1524, 0.1778]),
    "propeller.pitch": np.array([0.0762, 0.1016, 0.127]),
    "propeller.blades": np.array([2, 3]),
    "pack.cells": np.array([3, 4, 6]),
    "pack.capacity_ah": np.array([0.8, 1.3, 2.2]),
    "pack.chemistry": np.array(["lipo", "li_ion"]),
}
TOLERANCE = 1e-3
# the quick way to a top speed, to the bucket beneath it and to an empty pack takes fewer steps, and says so
LOOSER = {"top_speed": 0.02, "endurance_speed": 0.25, "endurance_power_ratio": 0.025}


def test_nearly_all_of_the_grid_has_the_least_power_within_a_hundredth():
    found = sweep_of_all()
    fields = {k: np.asarray(v) for k, v in found.at(np.arange(found.size)).items()}
    direct = performance(propmodel.with_fields(SCREE, fields)).endurance_power_ratio
    apart = np.abs(found["endurance_power_ratio"].reshape(-1) / direct - 1.0)
    assert np.nanpercentile(apart, 99.0) < 0.01


@settings(max_examples=examples(15))
@given(st.data())
def test_any_point_of_the_grid_is_the_direct_answer(data):
    found = sweep_of_all()
    index = data.draw(st.integers(0, found.size - 1))
    fields = {k: v[()] for k, v in found.at(index).items()}
    build = propmodel.with_fields(SCREE, fields)
    direct = performance(build)
    for name in OUTPUTS:
        got, want = float(found[name].reshape(-1)[index]), float(getattr(direct, name))
        assert got == pytest.approx(want, rel=LOOSER.get(name, TOLERANCE), nan_ok=True), (name, fields)
    for name, want in margins.evaluate(Assessment(build)).items():
        got = float(found[name].reshape(-1)[index])
        assert got == pytest.approx(float(want), rel=5e-3, nan_ok=True), (name, fields)


def sweep_of_all(cache={}):  # noqa: B006 - made once for the whole module
    if not cache:
        cache["sweep"] = sweep(SCREE, AXES)
    return cache["sweep"]


def test_shape_axes_and_table():
    found = sweep_of_all()
    assert found.shape == (4, 4, 3, 2, 3, 3, 2) and found.size == 1728 and found.complete
    assert set(found.values) == {*OUTPUTS, *margin_names()}
    frame = found.to_frame([0, 5, 1727])
    assert list(frame["pack.chemistry"]) == ["lipo", "li_ion", "li_ion"]
    assert frame.loc[1727, "motor.kv"] == 2400.0 and frame.loc[5, "pack.capacity_ah"] == 2.2
    np.testing.assert_array_equal(frame["hover_time"], found["hover_time"].reshape(-1)[[0, 5, 1727]])


def test_rows_of_parts_crossed_with_a_range():
    motors = {"motor.kv": [1750.0, 2550.0], "motor.stator_height": [0.007, 0.0075], "motor.mass": [0.033, 0.035]}
    found = sweep(SCREE, {"pack.cells": [4, 6]}, ["thrust_to_weight", "motor_cells"], tables={"motors": motors})
    assert found.shape == (2, 2)
    for i, cells in enumerate((4, 6)):
        for j in range(2):
            build = propmodel.with_fields(SCREE, {"pack.cells": cells} | {k: v[j] for k, v in motors.items()})
            assert found["thrust_to_weight"][i, j] == pytest.approx(performance(build).thrust_to_weight, rel=1e-3)
    assert list(found.at(3)) == ["pack.cells", "motor.kv", "motor.stator_height", "motor.mass"]


def test_no_axis_is_one_build():
    found = sweep(SCREE, {}, ["hover_power"])
    assert found.size == 1 and found["hover_power"] == pytest.approx(performance(SCREE).hover_power, rel=1e-3)


def test_a_piece_in_rows_holds_the_builds_of_its_flat_indices():
    motors = {"motor.kv": [1750.0, 2550.0, 2100.0], "motor.stator_height": [0.007, 0.0075, 0.008]}
    axes = {k: v for k, v in AXES.items() if not k.startswith("motor")}
    grid = grid_of(SCREE, axes, {"motors": motors})  # 4 x 3 x 2 x 3 x 3 x 2, and the table last
    _, row = grid.row
    assert row == 324 and grid.piece_size(1000) == 972 and grid.piece_size(100) == 324
    for first, last in ((0, row), (row, 3 * row), (7, 700)):  # the last has no whole rows
        piece, flat = grid.between(first, last), grid.at(np.arange(first, last))
        shape = np.broadcast_shapes(*(v.shape for v in piece.values()))
        assert list(piece) == list(flat) and int(np.prod(shape)) == last - first
        for path, values in flat.items():
            np.testing.assert_array_equal(np.broadcast_to(piece[path], shape).ravel(), values)
    # few builds, or one long axis: no rows
    assert grid_of(SCREE, {"pack.cells": [4, 6]}).row == (1, 1) and grid_of(SCREE, big(2000)).piece_size(500) == 500


def test_rows_and_flat_builds_have_the_same_answers():
    grid = grid_of(SCREE, AXES)
    asked = Question(SCREE, grid, tuple(names_of(None)), 10.0)
    whole, flat = (answers(asked, piece) for piece in ((0, grid.size), (1, grid.size)))
    np.testing.assert_allclose(whole[:, 1:], flat, rtol=1e-6)  # float32


def big(count):
    return {"motor.kv": np.linspace(1500.0, 2300.0, count)}


def test_a_second_process_does_not_change_the_answers():
    one = sweep(SCREE, big(2 * CHUNK + 11), ["hover_time"], processes=1)
    two = sweep(SCREE, big(2 * CHUNK + 11), ["hover_time"], processes=2)
    np.testing.assert_array_equal(one["hover_time"], two["hover_time"])


def test_progress_counts_up_and_may_stop_it():
    seen = []
    done = sweep(SCREE, big(3 * CHUNK), ["mass"], processes=1, progress=lambda d, n: seen.append((d, n)))
    assert done.complete and seen == [(CHUNK, 3 * CHUNK), (2 * CHUNK, 3 * CHUNK), (3 * CHUNK, 3 * CHUNK)]
    stopped = sweep(SCREE, big(3 * CHUNK), ["mass"], processes=1, progress=lambda d, n: False)
    assert not stopped.complete
    assert np.isfinite(stopped["mass"][:CHUNK]).all() and np.isnan(stopped["mass"][CHUNK:]).all()
    # stopped at the very end it is whole all the same; two processes stop too
    assert sweep(SCREE, big(10), ["mass"], progress=lambda d, n: False).complete
    assert not sweep(SCREE, big(9 * CHUNK), ["mass"], processes=2, progress=lambda d, n: False).complete


def test_memory_grows_by_the_answers_alone():
    # what one chunk needs must not grow with the size: numpy reports its buffers to tracemalloc
    def peak(count):
        tracemalloc.start()
        sweep(SCREE, big(count), ["hover_power"], processes=1)
        top = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return top

    small, large = peak(CHUNK), peak(6 * CHUNK)
    answers = 5 * CHUNK * (4 + 8)  # float32 answers and the axis itself
    assert large - small < answers + 0.3 * small


def test_conditions_and_what_they_kill():
    found = sweep_of_all()
    asked = [Condition("hover_time", "at least", 480.0), Condition("motor_cells", "at most", 1.0)]
    good = found.meets(asked)
    time = found["hover_time"].reshape(-1)
    np.testing.assert_array_equal(good, time >= 480.0)  # no more than six cells here: all fit
    hard = [Condition("thrust_to_weight", "at least", 6.0), Condition("hover_time", "at least", 600.0)]
    verdicts = found.verdicts(hard)
    ratio = found["thrust_to_weight"].reshape(-1)
    by_name = {v.condition.name: v for v in verdicts}
    assert by_name["hover_time"].rejected == pytest.approx(np.mean(~(time >= 600.0)))
    assert by_name["hover_time"].rejected_by_this_alone == pytest.approx(np.mean(~(time >= 600.0) & (ratio >= 6.0)))
    assert by_name["hover_time"].nearest == pytest.approx(np.nanmax(time[ratio >= 6.0]))
    assert [v.rejected for v in verdicts] == sorted((v.rejected for v in verdicts), reverse=True)
    impossible = found.verdicts([Condition("hover_time", "at least", 1e6)])[0]
    assert impossible.rejected == 1.0 and impossible.nearest == pytest.approx(np.nanmax(time))


def test_frontier_of_a_sweep():
    found = sweep_of_all()
    got = found.pareto({"hover_time": "max", "thrust_to_weight": "max"})
    assert (
        got.tolist()
        == pareto.frontier([found["hover_time"].ravel(), found["thrust_to_weight"].ravel()], [True, True]).tolist()
    )
    asked = [Condition("winding_heat", "at most", 1.0)]
    among = found.pareto({"hover_time": "max", "mass": "min"}, conditions=asked)
    assert among.size and found.meets(asked)[among].all()


@pytest.mark.parametrize(
    ("axes", "outputs", "message"),
    [
        ({"motor.kw": [1.0]}, None, r"axis 'motor.kw' is not known; nearest: .*motor.kv"),
        ({"motor.kv": []}, None, "motor.kv"),
        ({"motor.kv": [1950.0, np.nan]}, None, "motor.kv must be a finite number, got nan"),
        ({"motor.kv": ["fast"]}, None, "motor.kv"),
        ({"pack.chemistry": ["lead"]}, None, "chemistry 'lead' is not known"),
        ({"motor.kv": [1950.0]}, ["minutes"], "output 'minutes' is not known; nearest"),
        ({"motor.kv": [-5.0]}, None, "KV must be .*, got -5"),
        (
            {f: np.ones(1000) for f in ("motor.kv", "pack.cells", "pack.capacity_ah")},
            ["mass"],
            r"1,000,000,000 combinations are more than 20,000,000: take fewer or coarser ranges .1000 x 1000 x 1000",
        ),
    ],
)
def test_nonsense_is_refused(axes, outputs, message):
    with pytest.raises(ValueError, match=message):
        sweep(SCREE, axes, outputs)


def test_nonsense_tables_and_bases_are_refused():
    with pytest.raises(ValueError, match="columns of table 'motors' have different lengths"):
        sweep(SCREE, {}, tables={"motors": {"motor.kv": [1.0, 2.0], "motor.mass": [1.0]}})
    with pytest.raises(ValueError, match=r"motor\.kv is on more than one axis"):
        sweep(SCREE, {"motor.kv": [1e3]}, tables={"motors": {"motor.kv": [1.5e3]}})
    with pytest.raises(ValueError, match="sweep starts from one build of plain numbers"):
        sweep(propmodel.with_fields(SCREE, {"rotors": np.array([4, 6])}), {"motor.kv": [1e3]})
    for axis in ({"coaxial": [0, 1]}, {"propeller.own_fit": [0, 1]}, {"motor.stand_controller": [0, 1]}):
        with pytest.raises(ValueError, match="is not known"):
            sweep(SCREE, axis)
    with pytest.raises(ValueError, match="direction 'up' is not known"):
        sweep_of_all().pareto({"hover_time": "up", "mass": "min"})
    with pytest.raises(ValueError, match="output 'nonsense' is not known"):
        sweep_of_all().meets([Condition("nonsense", "at least", 1.0)])
    assert LARGEST == 20_000_000


def test_widths_by_eye_are_an_axis():
    found = sweep(SCREE, {"propeller.blade_width": ["slim", "broad", "unknown"], "pack.cells": [4, 6]}, "hover_time")
    for index, name in ((0, "slim"), (2, "broad"), (4, "unknown")):
        alone = performance(propmodel.with_fields(SCREE, {"propeller.blade_width": name, "pack.cells": 4}))
        assert float(found["hover_time"].reshape(-1)[index]) == pytest.approx(float(alone.hover_time), rel=TOLERANCE)
    assert found.to_frame()["propeller.blade_width"].tolist() == ["slim"] * 2 + ["broad"] * 2 + ["unknown"] * 2
    # a measured chord would win over every value of the axis: it goes
    known = propmodel.with_fields(SCREE, {"propeller.chord_ratio": 0.15})
    again = sweep(known, {"propeller.blade_width": ["slim", "broad", "unknown"], "pack.cells": [4, 6]}, "hover_time")
    np.testing.assert_array_equal(again["hover_time"], found["hover_time"])
    with pytest.raises(ValueError, match="blade_width 'fat' is not known"):
        sweep(SCREE, {"propeller.blade_width": ["fat"]}, "hover_time")
