"""Running cost of a session: wear of packs, broken propellers, failed motors and controllers.

The user supplies all prices and rates, in any currency. All fields broadcast, so a table of builds or a range of crash
rates is priced in one call.

**Estimate.** The form and the defaults of the pack wear are rules of thumb (see `pack_wear`). They rank choices and
show which part dominates; they do not forecast a bill.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base.arrays import FloatArray, floats
from propmodel.base.checks import check_positive, check_range
from propmodel.base.units import CELSIUS_ZERO

__all__ = ["PARTS", "Consumption", "Prices", "Session", "SessionCost", "consumption", "pack_wear", "session_cost"]

PARTS = ("packs", "propellers", "motors", "controllers")
"""The items of the cost, in the order used everywhere."""
CYCLE_LIFE = 200.0
"""Cycles at `REFERENCE_DEPTH` until a hobby pack with high loads is retired. [-] Common practice, from memory; within
a factor of `CYCLE_LIFE_FACTOR`."""
CYCLE_LIFE_FACTOR = 2.0
REFERENCE_DEPTH = 0.8
"""Depth of discharge of `CYCLE_LIFE`: landing with a fifth of the charge left. [-]"""
DEPTH_EXPONENT = 1.2
"""The cycle life is proportional to depth^-1.2. [-] Battery University, BU-808, table 2 (from memory): 300 cycles at
100 % and 2000 at 20 % depth give 1.18."""
HEAT_DOUBLING = 10.0
"""Increase of the cell temperature above 25 C that doubles the wear. [K] Rule of thumb, from memory."""
HEAT_REFERENCE = CELSIUS_ZERO + 25.0
CALENDAR_LIFE = 4.0
"""Years after which a pack that is hardly used is retired. [year] Common practice, from memory."""
RATE_FACTOR = 1.6
"""Uncertainty factor, either way, of a guessed rate of crashes or failures. [-] Estimate."""
DAYS_PER_YEAR = 365.25


@dataclass(frozen=True)
class Session:
    """Use of the craft in a session, and rates of failure; every field may be an array.

    Parameters
    ----------
    flights : array_like
        Flights per session, one pack each. [-]
    flight_time : array_like
        Duration of one flight. [s]
    packs_owned : array_like
        Number of packs over which the flights are distributed. [-]
    sessions_per_year : array_like
        Number of sessions per year. [1/year]
    depth : array_like
        Depth of discharge per flight, 0 to 1. [-]
    pack_temperature : array_like
        Temperature of the cells in use. [K]
    crashes : array_like
        Average number of crashes per session. [-]
    propellers_per_crash : array_like
        Average number of propellers broken per crash, at most ``rotors``. [-]
    packs_per_crash : array_like
        Average number of packs dented, cut or puffed per crash; such a pack must not be used again. [-]
    motors_per_100_flights, controllers_per_100_flights : array_like
        Average number of failures of the whole craft, for any reason. [-]
    rotors : array_like
        Number of propellers on the craft. [-]
    cycle_life : array_like
        Cycle life of a pack at 80 % depth of discharge and 25 C. [-]
    calendar_life : array_like
        Life of a pack that is hardly used. [year]

    Examples
    --------
    >>> Session(flights=6).crashes
    1.0
    """

    flights: ArrayLike = 6.0
    flight_time: ArrayLike = 240.0
    packs_owned: ArrayLike = 6.0
    sessions_per_year: ArrayLike = 26.0
    depth: ArrayLike = 0.8
    pack_temperature: ArrayLike = CELSIUS_ZERO + 35.0
    crashes: ArrayLike = 1.0
    propellers_per_crash: ArrayLike = 1.5
    packs_per_crash: ArrayLike = 0.02
    motors_per_100_flights: ArrayLike = 1.0
    controllers_per_100_flights: ArrayLike = 0.5
    rotors: ArrayLike = 4.0
    cycle_life: ArrayLike = CYCLE_LIFE
    calendar_life: ArrayLike = CALENDAR_LIFE

    def __post_init__(self) -> None:
        check_range("flights per session", self.flights, 0.0, 1000.0)
        check_range("flight time", self.flight_time, 1.0, 86400.0, "s")
        check_range("packs owned", self.packs_owned, 1.0, 1000.0)
        check_range("sessions per year", self.sessions_per_year, 0.1, 1000.0)
        check_range("depth of discharge", self.depth, 0.01, 1.0)
        check_range("pack temperature", self.pack_temperature, 223.15, 353.15, "K")
        check_range("crashes per session", self.crashes, 0.0, 1000.0)
        check_range("rotors", self.rotors, 1.0, 16.0)
        check_range("propellers per crash", self.propellers_per_crash, 0.0, 16.0)
        if np.any(np.asarray(self.propellers_per_crash, float) > np.asarray(self.rotors, float)):
            raise ValueError("propellers per crash must be at most the number of rotors")
        check_range("packs per crash", self.packs_per_crash, 0.0, 10.0)
        check_range("motors per 100 flights", self.motors_per_100_flights, 0.0, 1000.0)
        check_range("controllers per 100 flights", self.controllers_per_100_flights, 0.0, 1000.0)
        check_positive("cycle life", self.cycle_life, "cycles")
        check_positive("calendar life", self.calendar_life, "years")


@dataclass(frozen=True)
class Prices:
    """Price of one piece in any currency, None if unknown. Every field may be an array."""

    packs: ArrayLike | None = None
    """Price of one pack. [currency]"""
    propellers: ArrayLike | None = None
    """Price of one propeller. [currency]"""
    motors: ArrayLike | None = None
    """Price of one motor. [currency]"""
    controllers: ArrayLike | None = None
    """Price of one controller, or the share of a board for one motor. [currency]"""
    other: ArrayLike = 0.0
    """Other cost per session: travel, field fee, charging. [currency]"""

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if value is not None:
                check_range(f"price of {field.name}", value, 0.0, 1e9)


@dataclass(frozen=True)
class Consumption:
    """Average number of pieces consumed by one session."""

    packs: FloatArray
    """Packs: wear by use and age, and losses in crashes. [-]"""
    propellers: FloatArray
    """Propellers broken in crashes. [-]"""
    motors: FloatArray
    """Motors that fail for any reason. [-]"""
    controllers: FloatArray
    """Controllers that fail for any reason. [-]"""


@dataclass(frozen=True)
class SessionCost:
    """Average cost of a session, in the currency of the prices.

    ``low`` and ``high`` are bounds of the *average*, for uncertain rates. A single session may cost nothing or a whole
    craft; ``chance_of_no_crash`` is the probability of a session without a crash.
    """

    packs: FloatArray
    """Cost of the packs consumed. [currency]"""
    propellers: FloatArray
    """Cost of the propellers. [currency]"""
    motors: FloatArray
    """Cost of the motors. [currency]"""
    controllers: FloatArray
    """Cost of the controllers. [currency]"""
    other: FloatArray
    """Travel, field fee, charging. [currency]"""
    total: FloatArray
    """Sum of the items with a known price. [currency]"""
    low: FloatArray
    """Lower bound of the average, if the assumed rates are too high. [currency]"""
    high: FloatArray
    """Upper bound of the average, if the assumed rates are too low. [currency]"""
    per_minute: FloatArray
    """Total per minute of flight; NaN without flights. [currency/min]"""
    per_minute_low: FloatArray
    """`low` per minute of flight. [currency/min]"""
    per_minute_high: FloatArray
    """`high` per minute of flight. [currency/min]"""
    minutes: FloatArray
    """Flight time of the session. [min]"""
    chance_of_no_crash: FloatArray
    """Probability of a session without a crash, 0 to 1. [-]"""
    largest: NDArray[np.intp]
    """Index into `PARTS` of the most expensive item; -1 if no item has a price."""
    unpriced: tuple[str, ...]
    """Items left out of the total because their price is unknown."""


def pack_wear(
    depth: ArrayLike,
    temperature: ArrayLike = HEAT_REFERENCE,
    *,
    days_between: ArrayLike = 14.0,
    cycle_life: ArrayLike = CYCLE_LIFE,
    calendar_life: ArrayLike = CALENDAR_LIFE,
) -> FloatArray:
    r"""Share of a pack's life consumed by one cycle and by the ageing until its next cycle.

    .. math:: w = \frac{h}{N} \left(\frac{d}{0.8}\right)^{1.2} + \frac{t}{L},
              \qquad h = 2^{\max(0, T - 25\,C)/10\,K}

    Parameters
    ----------
    depth : array_like
        Depth of discharge, d. [-]
    temperature : array_like
        Temperature of the cells in use, T. [K]
    days_between : array_like
        Time between two cycles of this pack, t. [day]
    cycle_life : array_like
        Cycle life at 80 % depth of discharge and 25 C, N. [-]
    calendar_life : array_like
        Life of an unused pack, L. [year]

    Returns
    -------
    ndarray
        Share of the life, at most 1, of the broadcast shape. [-]

    Notes
    -----
    **Estimate.** Wear by use and wear by age are added. The wear is not reduced below 25 C, because cold does not
    protect cells in use (and cells must never be charged below 0 C). A pack that was dented, cut or puffed has no life
    left.

    Examples
    --------
    >>> round(float(pack_wear(0.8, days_between=0.0)), 4)
    0.005
    """
    check_range("depth of discharge", depth, 0.0, 1.0)
    check_range("pack temperature", temperature, 223.15, 353.15, "K")
    check_range("days between cycles", days_between, 0.0, 36525.0, "days")
    check_positive("cycle life", cycle_life, "cycles")
    check_positive("calendar life", calendar_life, "years")
    heat = 2.0 ** (np.maximum(floats(temperature) - HEAT_REFERENCE, 0.0) / HEAT_DOUBLING)
    use = heat / floats(cycle_life) * (floats(depth) / REFERENCE_DEPTH) ** DEPTH_EXPONENT
    return np.minimum(use + floats(days_between) / (floats(calendar_life) * DAYS_PER_YEAR), 1.0)


def consumption(session: Session) -> Consumption:
    """Average number of pieces consumed by one session.

    Parameters
    ----------
    session : Session
        Use and rates.

    Returns
    -------
    Consumption
        Of the broadcast shape of the session's fields.

    Examples
    --------
    >>> used = consumption(Session(crashes=2.0, propellers_per_crash=1.5))
    >>> float(used.propellers)
    3.0
    """
    flights, crashes = floats(session.flights), floats(session.crashes)
    by_use = pack_wear(session.depth, session.pack_temperature, days_between=0.0, cycle_life=session.cycle_life)
    by_age = floats(session.packs_owned) / (floats(session.sessions_per_year) * floats(session.calendar_life))
    return Consumption(
        packs=flights * by_use + by_age + crashes * floats(session.packs_per_crash),
        propellers=crashes * floats(session.propellers_per_crash),
        motors=flights * floats(session.motors_per_100_flights) / 100.0,
        controllers=flights * floats(session.controllers_per_100_flights) / 100.0,
    )


def session_cost(
    session: Session,
    prices: Prices,
    *,
    rate_factor: ArrayLike = RATE_FACTOR,
    life_factor: ArrayLike = CYCLE_LIFE_FACTOR,
) -> SessionCost:
    """Average cost of a session with its lower and upper bound.

    Parameters
    ----------
    session : Session
        Use and rates.
    prices : Prices
        Prices of the pieces. An item without a price is left out and named in ``unpriced``.
    rate_factor : array_like
        Uncertainty factor of the rates of crashes and failures, either way. [-]
    life_factor : array_like
        Uncertainty factor of the life of a pack, either way. [-]

    Returns
    -------
    SessionCost
        Of the broadcast shape of all fields.

    Notes
    -----
    The deviations of the items are taken as independent and added in quadrature, separately upwards and downwards.

    Examples
    --------
    >>> cost = session_cost(Session(crashes=2.0, propellers_per_crash=1.5), Prices(propellers=1.0))
    >>> float(cost.total), PARTS[int(cost.largest)], cost.unpriced
    (3.0, 'propellers', ('packs', 'motors', 'controllers'))
    """
    check_range("rate factor", rate_factor, 1.0, 100.0)
    check_range("life factor", life_factor, 1.0, 100.0)
    used = consumption(session)
    unpriced = tuple(part for part in PARTS if getattr(prices, part) is None)
    lines = [getattr(used, part) * floats(0.0 if part in unpriced else getattr(prices, part)) for part in PARTS]
    factors = [floats(life_factor)] + [floats(rate_factor)] * 3
    *stack, other, minutes, _ = np.broadcast_arrays(
        *lines,
        floats(prices.other),
        floats(session.flights) * floats(session.flight_time) / 60.0,
        factors[0] * factors[1],
    )
    total = sum(stack) + other
    up = np.sqrt(sum((line * (factor - 1.0)) ** 2 for line, factor in zip(stack, factors, strict=True)))
    down = np.sqrt(sum((line * (1.0 - 1.0 / factor)) ** 2 for line, factor in zip(stack, factors, strict=True)))
    low, high = total - down, total + up
    largest = np.where(np.max(stack, axis=0) > 0.0, np.argmax(stack, axis=0), -1)
    # no flights: no minutes, so a cost per minute does not exist (NaN, not infinite)
    aloft = minutes > 1e-6
    share = np.where(aloft, 1.0 / np.where(aloft, minutes, 1.0), np.nan)
    return SessionCost(
        packs=np.array(stack[0]),
        propellers=np.array(stack[1]),
        motors=np.array(stack[2]),
        controllers=np.array(stack[3]),
        other=np.array(other),
        total=total,
        low=low,
        high=high,
        per_minute=total * share,
        per_minute_low=low * share,
        per_minute_high=high * share,
        minutes=np.array(minutes),
        chance_of_no_crash=np.exp(-floats(session.crashes)),
        largest=largest,
        unpriced=unpriced,
    )
