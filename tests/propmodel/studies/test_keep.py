"""Sweeps that keep only what is asked, against the same asked of all answers; files that are whole or not there."""

import errno
import os
import subprocess
import sys
import tracemalloc
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import propmodel
from propmodel.studies import keep, parquet_file
from propmodel.studies import sweep as module
from propmodel.studies.executors import STANDBY
from propmodel.studies.sweep import CHUNK, Condition, Counts, Frontier, Kept, Meets, Parquet, margin_names, sweep

SCREE = propmodel.demo("scree")
TOP = Path(__file__).resolve().parents[3]
AXES = {
    "motor.kv": np.linspace(1500.0, 2300.0, 30),
    "propeller.diameter": np.linspace(0.11, 0.16, 8),
    "pack.cells": [3, 4, 5, 6],
    "pack.capacity_ah": np.linspace(0.8, 2.2, 10),
    "pack.chemistry": ["lipo", "li_ion"],
}
NAMES = ["mass", "hover_time", "thrust_to_weight", "winding_heat"]
LONG = Condition("hover_time", "at least", 400.0)
COOL = Condition("winding_heat", "at most", 1.0)
STRONG = Condition("thrust_to_weight", "at least", 5.0)
OBJECTIVES = {"hover_time": "max", "thrust_to_weight": "max"}


@pytest.fixture(autouse=True)
def small_chunks(monkeypatch):
    """Many pieces of a small grid."""
    monkeypatch.setattr(module, "CHUNK", 1000)
    yield
    STANDBY.close()


@pytest.fixture(scope="module")
def whole():
    return sweep(SCREE, AXES, NAMES, processes=1)


@pytest.fixture(params=[1, 2])
def kept_of(request):
    """Answers of one or two processes."""
    return lambda *kinds, **how: sweep(SCREE, AXES, NAMES, keep=kinds, processes=request.param, **how)


def rows(whole, result):
    """The values of a result are those of its builds."""
    for name in NAMES:
        np.testing.assert_array_equal(result.values[name], whole[name].reshape(-1)[result.index])
    return result.index.tolist()


def test_builds_that_meet_conditions(whole, kept_of):
    good = np.flatnonzero(whole.meets([LONG, COOL]))
    assert 100 < good.size < whole.size
    found = kept_of(
        Meets([LONG, COOL]), Meets([LONG, COOL], most=70), Meets([]), Meets([Condition("mass", "at most", 0)])
    )
    every, first, all_, none = found.results
    assert isinstance(found, Kept) and found.complete and found.reached == found.size == whole.size
    assert rows(whole, every) == good.tolist() and every.count == good.size
    assert rows(whole, first) == good[:70].tolist() and first.count == good.size
    assert rows(whole, all_) == list(range(whole.size))
    assert rows(whole, none) == [] and none.count == 0 and len(found.to_frame(none)) == 0
    frame, same = found.to_frame(first), whole.to_frame(good[:70])
    pd.testing.assert_frame_equal(frame[same.columns], same)


@pytest.mark.parametrize("direction", ["max", "min"])
def test_the_best_of_those(monkeypatch, whole, kept_of, direction):
    monkeypatch.setattr(keep._Few, "LEAST", 16)  # thinned out often
    found = kept_of(Meets([COOL], most=25, best=("thrust_to_weight", direction))).results[0]
    good = np.flatnonzero(whole.meets([COOL]))
    value = whole["thrust_to_weight"].reshape(-1)[good]
    order = np.argsort(-value if direction == "max" else value, kind="stable")
    assert rows(whole, found) == good[order[:25]].tolist() and found.count == good.size


@pytest.mark.parametrize("conditions", [[], [COOL, STRONG]])
def test_the_frontier(monkeypatch, whole, kept_of, conditions):
    monkeypatch.setattr(keep._Few, "LEAST", 16)
    three = {**OBJECTIVES, "mass": "min"}
    found = kept_of(Frontier(OBJECTIVES, conditions), Frontier(three, conditions))
    for result, objectives in zip(found.results, (OBJECTIVES, three), strict=True):
        assert rows(whole, result) == whole.pareto(objectives, conditions=conditions).tolist()
        assert result.count == result.index.size > 3


def test_equal_builds_keep_the_first_of_the_grid_across_pieces():
    # an axis that changes nothing: every build stands there many times over
    axes = {"craft.mass_threshold": np.linspace(1.0, 2.0, 3000), "pack.cells": [4, 6]}
    found = sweep(SCREE, axes, "mass", keep=[Frontier({"mass": "min", "hover_time": "max"})], processes=1)
    assert set(found.results[0].index.tolist()) <= {0, 1}


def test_counts_of_a_map(whole, kept_of):
    edges = {"hover_time": np.linspace(100.0, 900.0, 13), "thrust_to_weight": [0.0, 2.0, 5.0, 6.0]}
    everything, cool = kept_of(Counts(edges), Counts(edges, [COOL])).results
    for result, good in ((everything, np.ones(whole.size, bool)), (cool, whole.meets([COOL]))):
        columns = [whole[name].reshape(-1)[good].astype(float) for name in edges]
        there = ~np.isnan(columns[0]) & ~np.isnan(columns[1])
        want, _ = np.histogramdd([c[there] for c in columns], list(edges.values()))
        np.testing.assert_array_equal(result.counts, want)
        assert result.counts.shape == (12, 3) and result.outside == good.sum() - want.sum() > 0
    # the last bin has both its edges
    heaviest = float(whole["mass"].max())
    assert kept_of(Counts({"mass": [0.0, heaviest]})).results[0].counts.tolist() == [whole.size]


def test_names_that_only_a_condition_needs_are_worked_out_too(whole):
    found = sweep(SCREE, AXES, [], keep=Meets([LONG]), processes=1)
    assert set(found.results[0].values) == {"hover_time"}
    assert found.results[0].count == int(whole.meets([LONG]).sum())
    assert sweep(SCREE, {"pack.cells": [4]}, [], keep=[]).results == ()


def test_progress_stop_and_what_was_reached(whole):
    seen = []
    found = sweep(
        SCREE, AXES, NAMES, keep=[Meets([LONG])], processes=1, progress=lambda d, n: seen.append((d, n)) or d < 3000
    )
    piece = whole.piece_size(1000)
    assert 500 < piece <= 1000 and found.reached == seen[-1][0] and 3000 <= found.reached < 3000 + piece
    assert seen == [(k * piece, whole.size) for k in range(1, len(seen) + 1)] and not found.complete
    assert found.results[0].count == int(whole.meets([LONG])[: found.reached].sum())


def test_no_limit_of_size(monkeypatch):
    monkeypatch.setattr(module, "CHUNK", CHUNK)
    thousand = np.linspace(1.0, 2.0, 1000)
    axes = {"pack.capacity_ah": thousand, "craft.payload_mass": 0.1 * thousand, "motor.kv": 1000.0 * thousand}
    with pytest.raises(ValueError, match=r"1,000,000,000 combinations are more than 20,000,000: .* say what to keep"):
        sweep(SCREE, axes, "mass")
    piece = 32_000  # whole rows of a thousand
    found = sweep(SCREE, axes, "mass", keep=[Meets([], most=5)], processes=1, progress=lambda d, n: d < 3 * piece)
    assert found.size == 10**9 and found.reached == 3 * piece and not found.complete
    assert found.to_frame(found.results[0])["motor.kv"].tolist() == pytest.approx(
        [1000.0 + k / 0.999 for k in range(5)]
    )
    six = {f: thousand for f in ("pack.cells", "pack.parallel", "rotors", "motor.stator_height", "motor.mass")}
    with pytest.raises(ValueError, match="have no flat index"):
        sweep(SCREE, axes | six, "mass", keep=[])


def test_memory_does_not_grow_with_the_grid(monkeypatch, tmp_path):
    monkeypatch.setattr(module, "CHUNK", 4096)
    monkeypatch.setattr(parquet_file._File, "GROUP", 4096)
    kinds = [Meets([STRONG], most=1000), Frontier(OBJECTIVES), Counts({"mass": np.linspace(0.0, 3.0, 100)})]

    def peak(chunks):
        axes = {"motor.kv": np.linspace(1500.0, 2300.0, 64), "craft.payload_mass": np.linspace(0.0, 0.2, 64 * chunks)}
        file = Parquet(tmp_path / f"{chunks}.parquet")
        tracemalloc.start()
        found = sweep(SCREE, axes, NAMES, keep=[*kinds, file], processes=1)
        top = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert found.results[3].rows == found.size == 4096 * chunks
        return top

    peak(1)
    small, large = peak(2), peak(24)
    assert large < 1.2 * small + 24 * 64 * 8


@pytest.mark.parametrize(
    ("kind", "message"),
    [
        (lambda: Meets([], most=0), "most must be a whole number above zero, got 0"),
        (lambda: Meets([], most=1.5), "most must be a whole number above zero"),
        (lambda: Meets([], best=("mass", "up")), "direction 'up' is not known"),
        (lambda: Frontier({"mass": "min"}), "two or more objectives"),
        (lambda: Frontier({"mass": "min", "hover_time": "most"}), "direction 'most' is not known"),
        (lambda: Counts({}), "edges of one output or more"),
        (lambda: Counts({"mass": [1.0]}), "edges of mass must be two or more rising numbers"),
        (lambda: Counts({"mass": [1.0, 1.0]}), "edges of mass must be two or more rising numbers"),
        (lambda: Counts({"mass": [0.0, np.nan]}), "edges of mass must be two or more rising numbers"),
        (lambda: Counts(dict.fromkeys(("mass", "hover_time"), np.arange(4000.0))), "more than 10,000,000 bins"),
        (lambda: Frontier({"minutes": "max", "mass": "min"}), "output 'minutes' is not known"),
        (lambda: Meets([Condition("minutes", "at most", 1.0)]), "output 'minutes' is not known"),
        (lambda: "everything", "keep takes Meets, Frontier, Counts and Parquet, got str"),
    ],
)
def test_nonsense_is_refused(kind, message):
    with pytest.raises(ValueError, match=message):
        sweep(SCREE, {"pack.cells": [4]}, "mass", keep=[kind()])


# ---- files ------------------------------------------------------------------------------------------------


def test_a_file_of_all_builds(monkeypatch, whole, kept_of, tmp_path):
    monkeypatch.setattr(parquet_file._File, "GROUP", 3000)
    file, some = tmp_path / "all builds.parquet", tmp_path / "some.parquet"
    everything, cool = kept_of(Parquet(file), Parquet(some, [COOL])).results
    assert (everything.path, everything.rows) == (file, whole.size)
    frame, want = pd.read_parquet(file), whole.to_frame()
    assert frame.columns[0] == "build" and frame["build"].tolist() == list(range(whole.size))
    assert set(frame["pack.chemistry"]) == {"lipo", "li_ion"}
    for name in want.columns:
        np.testing.assert_array_equal(frame[name].to_numpy(), want[name].to_numpy(), err_msg=name)
    good = np.flatnonzero(whole.meets([COOL]))
    assert cool.rows == good.size and pd.read_parquet(some)["build"].tolist() == good.tolist()
    assert sorted(os.listdir(tmp_path)) == ["all builds.parquet", "some.parquet"]
    # an ordinary file: others may read it as the user's settings say
    plain = tmp_path / "plain"
    plain.touch()
    assert file.stat().st_mode == plain.stat().st_mode


def test_a_file_of_rows_of_parts(tmp_path):
    motors = {"motor.kv": [1750.0, 2550.0], "motor.mass": [0.033, 0.035]}
    sweep(SCREE, {"pack.cells": [4, 6]}, "mass", tables={"motors": motors}, keep=[Parquet(tmp_path / "a.parquet")])
    frame = pd.read_parquet(tmp_path / "a.parquet")
    assert frame["motor.mass"].tolist() == [0.033, 0.035] * 2 and frame["pack.cells"].tolist() == [4, 4, 6, 6]


def test_no_file_is_left_where_a_sweep_is_stopped_or_fails(tmp_path):
    file = tmp_path / "stopped.parquet"
    found = sweep(SCREE, AXES, "mass", keep=[Parquet(file)], processes=1, progress=lambda d, n: d < 5000)
    assert found.results[0].path is None and found.results[0].rows == 0
    assert os.listdir(tmp_path) == []

    def fall(done, total):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        sweep(SCREE, AXES, "mass", keep=[Parquet(file)], processes=1, progress=fall)
    assert os.listdir(tmp_path) == []


def test_a_file_that_exists_and_a_folder_that_does_not_are_refused(tmp_path):
    file = tmp_path / "there.parquet"
    file.write_text("mine", "utf-8")
    with pytest.raises(FileExistsError, match=r"there.parquet exists already: give another name"):
        sweep(SCREE, AXES, "mass", keep=[Parquet(file)])
    assert file.read_text("utf-8") == "mine"
    with pytest.raises(FileNotFoundError, match=r"b.parquet could not be written after 0 builds"):
        sweep(SCREE, AXES, "mass", keep=[Parquet(tmp_path / "none" / "b.parquet")])
    # one that comes while the sweep runs is left alone too
    late = tmp_path / "late.parquet"
    with pytest.raises(FileExistsError, match=r"has come meanwhile|File exists"):
        sweep(SCREE, AXES, "mass", keep=[Parquet(late)], processes=1, progress=lambda d, n: late.touch())
    assert sorted(os.listdir(tmp_path)) == ["late.parquet", "there.parquet"] and late.stat().st_size == 0


@pytest.mark.skipif(sys.platform == "win32", reason="limits of file size are POSIX")
def test_a_disk_that_takes_no_more_is_said_and_nothing_is_left(tmp_path):
    # a limit of the size of files stands in for the full disk: the same refusal of a write, half-way
    script = f"""
import resource, signal
import numpy as np, propmodel
from propmodel.studies import keep, parquet_file
from propmodel.studies.sweep import Parquet, sweep
parquet_file._File.GROUP = 10_000
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (1_500_000, 1_500_000))
axes = {{"motor.kv": np.linspace(1500.0, 2300.0, 200_000)}}
try:
    sweep(propmodel.demo("scree"), axes, ["mass", "hover_time"], keep=[Parquet({str(tmp_path / "full.parquet")!r})])
except OSError as wrong:
    print(wrong)
"""
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=TOP, capture_output=True, text=True, timeout=120,
        env=os.environ | {"PYTHONPATH": str(TOP)},
    )  # fmt: skip
    assert "full.parquet could not be written after " in done.stdout, done.stderr
    assert "File too large" in done.stdout and "after 0 builds" not in done.stdout
    assert os.listdir(tmp_path) == []


def test_a_full_disk_at_the_very_end_is_said(monkeypatch, tmp_path):
    def full(number):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(
        OSError, match=r"e.parquet could not be written .* \(No space left on device\): nothing was left"
    ):
        sweep(SCREE, {"pack.cells": [4, 6]}, "mass", keep=[Parquet(tmp_path / "e.parquet")])
    assert os.listdir(tmp_path) == []


def test_without_pyarrow_it_says_what_to_install(monkeypatch, tmp_path):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(ModuleNotFoundError, match="needs pyarrow: pip install pyarrow"):
        sweep(SCREE, {"pack.cells": [4, 6]}, "mass", keep=[Parquet(tmp_path / "e.parquet")])


def test_four_outputs_and_all_margins(tmp_path):
    names = ["mass", "hover_time", "thrust_to_weight", "top_speed", *margin_names()]
    limits = [Condition(n, "at most", 1.0) for n in margin_names()]
    axes = {"motor.kv": np.linspace(1500.0, 2300.0, 3000)}
    whole = sweep(SCREE, axes, names, processes=1)
    found = sweep(SCREE, axes, names, keep=[Meets(limits)], processes=1).results[0]
    assert found.index.tolist() == np.flatnonzero(whole.meets(limits)).tolist() and set(found.values) == set(names)
