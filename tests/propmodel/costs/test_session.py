"""Costs and spares: the Poisson part against printed tables, the wear form against published rules of thumb.

The printed figures below are quoted from memory; each names its source.
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from propmodel.base.units import CELSIUS_ZERO
from propmodel.costs.session import PARTS, Prices, Session, consumption, pack_wear, session_cost
from propmodel.costs.spares import chance_enough, chance_enough_propellers, chance_in_words, spares_list, spares_needed

PRICES = Prices(packs=31.0, propellers=0.9, motors=17.0, controllers=43.0, other=2.0)

# Abramowitz & Stegun, Handbook of Mathematical Functions (1964), table 26.7 (probability integral of
# chi-square and cumulative Poisson sum): c - 1 losses at most, average m. Printed to five digits; from
# memory.
HANDBOOK = [
    (0, 1.0, 0.36788),
    (1, 1.0, 0.73576),
    (2, 1.0, 0.91970),
    (3, 1.0, 0.98101),
    (4, 1.0, 0.99634),
    (0, 2.0, 0.13534),
    (1, 2.0, 0.40601),
    (2, 2.0, 0.67668),
    (3, 2.0, 0.85712),
    (4, 2.0, 0.94735),
    (5, 2.0, 0.98344),
    (6, 2.0, 0.99547),
    (0, 0.5, 0.60653),
    (1, 0.5, 0.90980),
    (2, 0.5, 0.98561),
]


@pytest.mark.parametrize(("spares", "expected", "printed"), HANDBOOK)
def test_chance_that_spares_suffice_is_the_handbook_poisson_sum(spares: int, expected: float, printed: float) -> None:
    assert chance_enough(spares, expected) == pytest.approx(printed, abs=6e-6)


def test_the_horse_kick_corps() -> None:
    # L. von Bortkiewicz, Das Gesetz der kleinen Zahlen (1898), as tabled by R. A. Fisher, Statistical
    # Methods for Research Workers: deaths by horse kick, 200 corps-years, average 0.61; expected 108.67,
    # 66.29, 20.22, 4.11, 0.63. From memory.
    at_most = chance_enough(np.arange(5), 0.61)
    expected = 200.0 * np.diff(at_most, prepend=0.0)
    np.testing.assert_allclose(expected, [108.67, 66.29, 20.22, 4.11, 0.63], rtol=0, atol=0.006)


def test_fewest_spares_of_the_same_table() -> None:
    # read off the handbook rows above
    np.testing.assert_array_equal(spares_needed([1.0, 2.0, 0.5], chance=0.95), [3, 5, 2])
    np.testing.assert_array_equal(spares_needed(1.0, chance=[0.7, 0.9, 0.98, 0.99]), [1, 2, 3, 4])
    assert spares_needed(0.0) == 0


def test_one_propeller_per_crash_is_plain_poisson() -> None:
    ours = chance_enough_propellers(np.arange(6), 2.0, propellers_per_crash=1.0, rotors=1.0, two_hands=False)
    np.testing.assert_allclose(ours, chance_enough(np.arange(6), 2.0), rtol=1e-12)


def test_a_bag_of_propellers_against_a_simulation() -> None:
    """Counted crash by crash, propeller by propeller, with no formula in between."""
    rng = np.random.default_rng(5)
    runs, mean, rotors, broken = 40_000, 2.4, 4, 1.5
    crashes = rng.poisson(mean, runs)
    left, right = np.zeros(runs, int), np.zeros(runs, int)
    for i, c in enumerate(crashes):
        hits = rng.random((c, rotors)) < broken / rotors
        left[i], right[i] = hits[:, :2].sum(), hits[:, 2:].sum()
    for bag in (2, 4, 6, 10):
        both = np.mean((left <= bag // 2) & (right <= bag // 2))
        anyhand = np.mean(left + right <= bag)
        error = 3.5 * np.sqrt(0.25 / runs)
        said = chance_enough_propellers(bag, mean, propellers_per_crash=broken)
        either = chance_enough_propellers(bag, mean, propellers_per_crash=broken, two_hands=False)
        assert said == pytest.approx(both, abs=error)
        assert either == pytest.approx(anyhand, abs=error)
        assert said < either < 1.0
        assert either < chance_enough(bag, mean * broken) or bag < mean * broken


def test_wear_by_depth_follows_the_published_table() -> None:
    # Battery University BU-808 table 2, cycles of a Li-ion cell at depth 100, 80, 60, 40, 20 %: about
    # 300, 400, 600, 1000, 2000 (from memory). The exponent was rounded from its ends; the inner rows are
    # a check of the form only.
    depth = np.array([1.0, 0.8, 0.6, 0.4, 0.2])
    cycles = 1.0 / pack_wear(depth, days_between=0.0, cycle_life=400.0)
    np.testing.assert_allclose(cycles, [300, 400, 600, 1000, 2000], rtol=0.10)


def test_wear_by_heat_lies_between_the_published_storage_figures() -> None:
    # Battery University BU-808 table 3, capacity lost in a year at 25 and 40 C: 4 and 15 % at 40 % charge
    # (3.75 times), 20 and 35 % when full (1.75 times). From memory.
    ratio = pack_wear(0.8, CELSIUS_ZERO + 40.0, days_between=0.0) / pack_wear(0.8, days_between=0.0)
    assert 1.75 < ratio < 3.75
    # the rule itself: 10 K double it; cold gives no credit
    assert pack_wear(0.8, CELSIUS_ZERO + 45.0, days_between=0.0) == pytest.approx(4 * 0.005, rel=1e-12)
    assert pack_wear(0.8, CELSIUS_ZERO - 5.0, days_between=0.0) == pytest.approx(0.005, rel=1e-12)


def test_a_pack_that_lies_on_the_shelf_ages_away() -> None:
    assert pack_wear(0.0, days_between=4 * 365.25) == 1.0
    assert pack_wear(0.0, days_between=365.25) == pytest.approx(0.25, rel=1e-12)
    assert pack_wear(1.0, 350.0, cycle_life=1.0) == 1.0


def test_a_bill_reckoned_by_hand() -> None:
    """Two crashes of 1.5 propellers at 0.9; 6 flights; 1 motor and half a controller in 100 flights; 25 C."""
    session = Session(
        flights=6, flight_time=300.0, packs_owned=4, sessions_per_year=20, depth=0.8,
        pack_temperature=CELSIUS_ZERO + 25.0, crashes=2.0, propellers_per_crash=1.5, packs_per_crash=0.05,
        motors_per_100_flights=1.0, controllers_per_100_flights=0.5, cycle_life=200, calendar_life=5,
    )  # fmt: skip
    cost = session_cost(session, PRICES)
    # packs: 6/200 by use + 4/(20 x 5) by age + 2 x 0.05 dented = 0.03 + 0.04 + 0.1
    assert cost.packs == pytest.approx(0.17 * 31.0, rel=1e-12)
    assert cost.propellers == pytest.approx(2.7, rel=1e-12)
    assert cost.motors == pytest.approx(1.02, rel=1e-12)
    assert cost.controllers == pytest.approx(1.29, rel=1e-12)
    assert cost.total == pytest.approx(5.27 + 2.7 + 1.02 + 1.29 + 2.0, rel=1e-12)
    assert cost.minutes == 30.0
    assert cost.per_minute == pytest.approx(12.28 / 30.0, rel=1e-12)
    assert cost.chance_of_no_crash == pytest.approx(0.1353353, rel=1e-6)  # e^-2, any table
    assert PARTS[int(cost.largest)] == "packs"
    # band by hand: packs x 2, the rest x 1.6, in quadrature
    up = (5.27**2 + (2.7 * 0.6) ** 2 + (1.02 * 0.6) ** 2 + (1.29 * 0.6) ** 2) ** 0.5
    assert cost.high - cost.total == pytest.approx(up, rel=1e-12)
    assert cost.low < cost.total < cost.high and cost.low > 0


def test_blank_prices_are_named_and_left_out() -> None:
    cost = session_cost(Session(), Prices())
    assert cost.unpriced == PARTS and cost.total == 0.0 and cost.largest == -1
    some = session_cost(Session(), Prices(motors=10.0))
    assert some.unpriced == ("packs", "propellers", "controllers")
    assert some.total == some.motors > 0


def test_no_flights_cost_something_but_have_no_cost_per_minute() -> None:
    cost = session_cost(Session(flights=0.0), PRICES)
    assert np.isnan(cost.per_minute) and cost.total > 0


def test_broadcasts_and_scalar_equals_element() -> None:
    crashes = np.array([0.0, 1.0, 3.0])[:, None]
    price = np.array([0.5, 2.0])
    cost = session_cost(Session(crashes=crashes), replace(PRICES, propellers=price))
    for field in fields(cost):
        value = getattr(cost, field.name)
        if field.name in ("unpriced", "chance_of_no_crash"):
            continue
        assert np.shape(value) == (3, 2), field.name
    one = session_cost(Session(crashes=3.0), replace(PRICES, propellers=2.0))
    for name in ("packs", "propellers", "total", "low", "high", "per_minute"):
        assert getattr(cost, name)[2, 1] == getattr(one, name)
    assert np.all(np.diff(cost.total, axis=0) > 0) and np.all(np.diff(cost.total, axis=1)[1:] > 0)


@given(
    crashes=st.floats(0, 20),
    flights=st.floats(0, 50),
    depth=st.floats(0.01, 1),
    heat=st.floats(-20, 60),
    factor=st.floats(1, 5),
)
def test_any_session_has_an_ordered_finite_bill(
    crashes: float, flights: float, depth: float, heat: float, factor: float
) -> None:
    session = Session(crashes=crashes, flights=flights, depth=depth, pack_temperature=CELSIUS_ZERO + heat)
    cost = session_cost(session, PRICES, rate_factor=factor)
    assert 0 <= cost.low <= cost.total <= cost.high < np.inf
    used = consumption(session)
    assert all(0 <= getattr(used, part) < np.inf for part in PARTS)


def test_weekend_list_meets_its_chance_with_the_fewest_pieces() -> None:
    session = Session(crashes=1.5, packs_per_crash=0.1, motors_per_100_flights=4.0)
    for chance in (0.6, 0.9, 0.99):
        spares = spares_list(session, sessions=2.0, chance=chance)
        assert [s.part for s in spares] == list(PARTS)
        for spare in spares:
            assert spare.chance >= chance
            if spare.part == "propellers":
                assert spare.take % 2 == 0
                one_pair_less = chance_enough_propellers(spare.take - 2, 3.0, propellers_per_crash=1.5)
                assert one_pair_less < chance
            elif spare.take:
                assert chance_enough(spare.take - 1, spare.expected) < chance
            assert "enough" in spare.sentence and str(spare.take) in spare.sentence
    motors = spares_list(session, sessions=2.0)[2]
    assert motors.expected == pytest.approx(0.48, rel=1e-12)
    assert motors.sentence == "1 motor: enough 9 times in 10"  # e^-0.48 (1 + 0.48) = 0.916
    nothing = spares_list(Session(crashes=0.0, motors_per_100_flights=0.0, controllers_per_100_flights=0.0))
    assert [s.take for s in nothing] == [0, 0, 0, 0]


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.0, "less than once in 10"),
        (0.1, "once in 10"),
        (0.3, "3 times in 10"),
        (0.9, "9 times in 10"),
        (0.949, "9 times in 10"),
        (0.95, "19 times in 20"),
        (0.99, "99 times in 100"),
        (1.0, "999 times in 1000"),
    ],
)
def test_chances_in_words_never_promise_more(chance: float, words: str) -> None:
    assert chance_in_words(chance) == words


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: Session(crashes=-1.0), "crashes per session must be between 0 and 1000"),
        (lambda: Session(depth=1.2), "depth of discharge"),
        (lambda: Session(propellers_per_crash=5.0), "at most the number of rotors"),
        (lambda: Session(flights=float("nan")), "finite"),
        (lambda: Session(flights="many"), "must be a number"),  # type: ignore[arg-type]
        (lambda: Prices(packs=-3.0), "price of packs"),
        (lambda: chance_enough(1, -1.0), "expected losses"),
        (lambda: chance_enough_propellers(1, 1.0, propellers_per_crash=5.0), "at most the number of rotors"),
        (lambda: spares_needed(1.0, chance=1.0), "wanted chance"),
        (lambda: spares_list(Session(crashes=np.array([1.0, 2.0]))), "not for arrays"),
        (lambda: session_cost(Session(), PRICES, rate_factor=0.5), "rate factor"),
    ],
)
def test_nonsense_is_told(make, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        make()
