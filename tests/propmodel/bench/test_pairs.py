"""Measured pairs: the table is sound, nearness is what it says, and the raw tables give the same."""

from __future__ import annotations

import re
import runpy

import numpy as np
import pandas as pd
import pytest

from propmodel import bench
from propmodel.base.units import GRAM_FORCE, INCH, RPM
from propmodel.bench.pairs import NEAR, WEIGHTS, measured_pairs, nearest_pairs

PAIRS = measured_pairs()


def labels(pair) -> dict[str, float]:
    known = np.isfinite(pair.stator_diameter)
    return {
        "kv": pair.kv,
        "diameter": pair.diameter,
        "pitch": pair.pitch,
        "blades": pair.blades,
        "voltage": pair.full_voltage,
        "stator_diameter": pair.stator_diameter if known else None,
        "stator_height": pair.stator_height if known else None,
    }


def test_the_bench_lists_them():
    assert bench.measured_pairs() == PAIRS and len(PAIRS) == 103
    assert len(measured_pairs(all_points=True)) == 106
    assert len({pair.name for pair in PAIRS}) == len(PAIRS)


@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: pair.name)
def test_a_pair_could_be(pair):
    assert 1 <= pair.throttle.size <= 4 and np.all(np.diff(pair.throttle) > 0.0)
    assert np.all((pair.throttle >= 0.45) & (pair.throttle <= 1.0))
    assert 0.05 < pair.diameter < 0.40 and 0.5 < pair.diameter / pair.pitch < 4.0 and 2 <= pair.blades <= 4
    assert 500.0 < pair.kv < 8000.0 and 3 <= pair.cells <= 8
    volts = pair.voltage[pair.usable & np.isfinite(pair.voltage)]
    assert np.all((volts > 2.7 * pair.cells) & (volts < 4.25 * pair.cells))
    # no motor turns faster than its label without load, and none slower than a third of that at half throttle
    share = pair.rev_per_s / RPM / (pair.kv * np.where(np.isnan(pair.voltage), 4.2 * pair.cells, pair.voltage))
    assert np.all(np.isnan(share) | ((share > 0.3) & (share < 1.0)))
    # thrust, speed and current rise with throttle
    for column in (pair.thrust, pair.rev_per_s, pair.current):
        kept = column[pair.usable & np.isfinite(column)]
        assert np.all(np.diff(kept) > 0.0)
    # thrust coefficient of a propeller in still air; a usable point outside is a mistyped row
    c_t = pair.thrust / (1.2 * pair.rev_per_s**2 * pair.diameter**4)
    good = pair.usable & np.isfinite(c_t)
    assert np.all((c_t[good] > 0.06) & (c_t[good] < 0.26))
    # ideal power of the thrust is no more than three quarters of the power paid for it
    ideal = pair.thrust**1.5 / np.sqrt(2.0 * 1.2 * np.pi / 4.0 * pair.diameter**2)
    paid = pair.voltage * pair.current
    assert np.all(np.isnan(ideal / paid) | (ideal / paid < 0.75))


def test_names_are_sizes_only(root):
    for pair in measured_pairs(all_points=True):
        assert re.fullmatch(r"pair \d{3}", pair.name)
        assert re.fullmatch(
            r"(\d{4}(\.\d)?|motor of) \d+ KV, [\d.]+x[\d.]+x\d, ([\d.]+ V|\dS, volts not told)", pair.label
        ), pair.label
    # a word of the table is a plain word: no code of the raw tables, no web address, no name with capitals inside
    for name in ("pairs.csv", "pair_sources.csv"):
        text = (root / "data" / "bench" / name).read_text(encoding="utf-8")
        assert not re.search(r"maker\d|\bM\d{3}\b|\b[A-D]_?[a-h]?\d\b|\.com|github|www|[a-z][A-Z]", text)


def test_every_source_is_named_where_it_comes_from(root):
    text = (root / "data" / "bench" / "SOURCE.md").read_text(encoding="utf-8")
    for pair in measured_pairs(all_points=True):
        assert f"| `{pair.source_key}` |" in text and pair.source


@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: pair.name)
def test_a_pair_is_nearest_to_itself(pair):
    found = nearest_pairs(**labels(pair), count=8)
    here = [near for near in found if near.distance < 1e-9]
    # tables of one label on one stand stand for each other
    assert pair in [near.pair for near in here] or (not np.isfinite(pair.stator_diameter) and found[0].distance < 1e-9)
    assert all(near.near for near in here)


def test_distances_grow_and_are_the_sum_that_is_documented():
    asked = dict(kv=1800.0, diameter=5.0 * INCH, pitch=4.5 * INCH, blades=3, voltage=22.0)
    found = nearest_pairs(**asked, count=len(PAIRS))
    assert len(found) == len(PAIRS)
    assert [near.distance for near in found] == sorted(near.distance for near in found)
    for near in found[::9]:
        p = near.pair
        there = dict(kv=p.kv, diameter=p.diameter, pitch=p.pitch, blades=p.blades, voltage=p.full_voltage)
        plain = sum(WEIGHTS[k] * abs(np.log(there[k] / asked[k])) for k in asked)
        assert near.distance == pytest.approx(plain, rel=1e-9)


def test_what_differs_is_told_rightly():
    asked = dict(kv=2031.0, diameter=5.2 * INCH, pitch=4.3 * INCH, blades=3, voltage=24.5)
    (near,) = nearest_pairs(**asked, stator_diameter=0.023, stator_height=0.0065, count=1)
    assert near.pair.label == "2306.5 1950 KV, 5.1x4.3x3, 24.5 V"
    assert near.differs == "0.1 in smaller, KV 4 % lower, 24.5 V"
    (near,) = nearest_pairs(kv=900, diameter=10 * INCH, pitch=5 * INCH, blades=2, voltage=23.0,
                            stator_diameter=0.031, stator_height=0.015, count=1)  # fmt: skip
    assert near.differs == "3 blades, 23 V"
    (near,) = nearest_pairs(kv=1600, diameter=7 * INCH, pitch=5.6 * INCH, blades=3, voltage=14.6,
                            stator_diameter=0.025, stator_height=0.007, count=1)  # fmt: skip
    assert near.differs == "stator not stated, 14.6 V"


def test_far_from_everything_is_not_near():
    (near,) = nearest_pairs(kv=100, diameter=0.7, pitch=0.25, blades=2, voltage=44.0, count=1)
    assert near.distance > 3 * NEAR and not near.near


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"kv": 0.0}, "kv must be > 0"),
        ({"voltage": -1.0}, "voltage must be > 0"),
        ({"count": 0}, "count must be between"),
        ({"diameter": np.nan}, "diameter must be"),
        ({"pitch": np.array([0.1, 0.2])}, "pitch"),
        ({"stator_diameter": -0.02, "stator_height": 0.007}, "stator_diameter must be > 0"),
    ],
)
def test_a_label_that_cannot_be_is_named(change, words):
    asked = dict(kv=1800.0, diameter=0.13, pitch=0.11, blades=3, voltage=22.0) | change
    with pytest.raises(ValueError, match=words):
        nearest_pairs(**asked)


def test_nobody_can_change_a_pair():
    with pytest.raises(ValueError, match="read-only"):
        PAIRS[0].thrust[0] = 0.0


# ---- with the raw tables beside the checkout


def test_the_script_makes_the_table_that_ships(root, shared_data, tmp_path):
    script = runpy.run_path(str(root / "data" / "bench" / "make_pairs.py"))
    script["main"].__globals__["HERE"] = tmp_path
    script["main"].__globals__["SHARED"] = shared_data
    script["main"]()
    assert (tmp_path / "pairs.csv").read_text() == (root / "data" / "bench" / "pairs.csv").read_text()


def test_every_point_is_a_row_of_the_raw_tables(shared_data):
    raw = [pd.read_csv(shared_data / "makers" / "tables.csv")]
    raw += [pd.read_csv(path) for path in (shared_data / "bench").glob("[AC]*_*.csv")]
    rows = pd.concat(raw)
    current, thrust = rows["current_A"].to_numpy(float), rows["thrust_g"].to_numpy(float)
    throttle = rows["throttle_pct"].to_numpy(float)
    for pair in measured_pairs(all_points=True):
        for k in range(pair.throttle.size):
            same = np.isclose(throttle, 100.0 * pair.throttle[k])
            for column, value in ((current, pair.current[k]), (thrust, pair.thrust[k] / GRAM_FORCE)):
                same &= np.isnan(column) if np.isnan(value) else np.isclose(column, value, rtol=6e-3)
            assert same.any(), (pair.name, k)
