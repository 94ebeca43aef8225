"""The frontier against brute force."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from propmodel.studies.pareto import frontier


def brute_force(columns, maximise):
    """Every pair compared; of equal points the first is kept."""
    cost = np.array([-c if up else c for c, up in zip(columns, maximise, strict=True)])
    told = ~np.isnan(cost).any(axis=0)
    kept = []
    for i in np.flatnonzero(told):
        no_worse = np.all(cost[:, told] <= cost[:, [i]], axis=0)
        better = no_worse & np.any(cost[:, told] < cost[:, [i]], axis=0)
        twins = np.flatnonzero(told)[no_worse & ~better]
        if not better.any() and twins[0] == i:
            kept.append(int(i))
    return kept


# few distinct values, so that ties and twins are common
numbers = st.one_of(st.integers(0, 6).map(float), st.just(float("nan")), st.just(float("inf")))


@given(st.integers(2, 4), st.data())
def test_it_is_the_brute_force_frontier(objectives, data):
    size = data.draw(st.integers(0, 60))
    columns = [
        np.array(data.draw(st.lists(numbers, min_size=size, max_size=size)), dtype=float) for _ in range(objectives)
    ]
    up = data.draw(st.lists(st.booleans(), min_size=objectives, max_size=objectives))
    got = frontier(columns, up)
    assert sorted(got.tolist()) == brute_force(columns, up)
    first = columns[0][got]
    assert np.all(first[1:] <= first[:-1]) if up[0] else np.all(first[1:] >= first[:-1])


@pytest.mark.parametrize("objectives", [2, 3])
def test_random_clouds_over_several_blocks(objectives):
    rng = np.random.default_rng(11)
    columns = [rng.normal(size=3000).round(2) for _ in range(objectives)]
    got = frontier(columns, [True] * objectives)
    assert sorted(got.tolist()) == brute_force(columns, [True] * objectives)


def test_one_objective_or_unequal_lengths_are_refused():
    with pytest.raises(ValueError, match="two or more objectives"):
        frontier([np.arange(3.0)], [True])
    with pytest.raises(ValueError, match="same number of points"):
        frontier([np.arange(3.0), np.arange(4.0)], [True, True])
