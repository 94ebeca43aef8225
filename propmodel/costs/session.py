"""What a session costs: packs worn, propellers broken, motors and controllers lost.

All prices and rates are the user's; a currency never appears. Everything broadcasts over arrays, so a
table of builds or a range of crash rates is priced at once.

State: **estimate**. The form of the pack wear and its default figures are rules of thumb (see
`pack_wear`); they rank choices and show what counts, they do not forecast a bill.
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
"""The lines of a bill, in this order everywhere."""
CYCLE_LIFE = 200.0
"""Cycles at `REFERENCE_DEPTH` until a hobby pack flown hard is put away. [-] Common practice, from memory;
`CYCLE_LIFE_FACTOR` either way."""
CYCLE_LIFE_FACTOR = 2.0
REFERENCE_DEPTH = 0.8
"""Depth of discharge that `CYCLE_LIFE` is for: landing with a fifth left. [-]"""
DEPTH_EXPONENT = 1.2
"""Cycles go as depth^-1.2. [-] Battery University, BU-808, table 2 (from memory): 300 cycles at 100 % and
2000 at 20 % depth give 1.18."""
HEAT_DOUBLING = 10.0
"""Kelvin of cell temperature that double the wear above 25 C. [K] Rule of thumb, from memory."""
HEAT_REFERENCE = CELSIUS_ZERO + 25.0
CALENDAR_LIFE = 4.0
"""Years after which a pack is put away though hardly flown. [year] Common practice, from memory."""
RATE_FACTOR = 1.6
"""How far off a guessed rate of crashes or failures may be: x or / this. [-] Estimate."""
DAYS_PER_YEAR = 365.25


@dataclass(frozen=True)
class Session:
    """How one flies and what breaks; every field may be an array.

    Parameters
    ----------
    flights : array_like
        Packs flown per session. [-]
    flight_time : array_like
        Of one flight. [s]
    packs_owned : array_like
        Packs the flights are spread over. [-]
    sessions_per_year : array_like
        [1/year]
    depth : array_like
        Share of a pack's charge used per flight, 0 to 1. [-]
    pack_temperature : array_like
        Of the cells in use. [K]
    crashes : array_like
        Per session, on average. [-]
    propellers_per_crash : array_like
        Broken per crash, on average; at most ``rotors``. [-]
    packs_per_crash : array_like
        Packs dented, cut or puffed per crash, on average: to be put away, never flown again. [-]
    motors_per_100_flights, controllers_per_100_flights : array_like
        Lost for any reason, of the whole craft. [-]
    rotors : array_like
        Propellers on the craft. [-]
    cycle_life : array_like
        Cycles a pack lasts at 80 % depth and 25 C. [-]
    calendar_life : array_like
        Years a pack lasts though hardly flown. [year]

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
    """Price of one piece, in any currency; None while it is not known. Every field may be an array."""

    packs: ArrayLike | None = None
    """One pack. [currency]"""
    propellers: ArrayLike | None = None
    """One propeller. [currency]"""
    motors: ArrayLike | None = None
    """One motor. [currency]"""
    controllers: ArrayLike | None = None
    """One controller, or a board's share for one motor. [currency]"""
    other: ArrayLike = 0.0
    """Per session: travel, field fee, charging."""

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if value is not None:
                check_range(f"price of {field.name}", value, 0.0, 1e9)


@dataclass(frozen=True)
class Consumption:
    """Pieces used up by one session, on average over many; packs are shares of a pack. [-]"""

    packs: FloatArray
    """Worn by use and age, and lost in crashes."""
    propellers: FloatArray
    """Broken in crashes."""
    motors: FloatArray
    """Lost for any reason."""
    controllers: FloatArray
    """Lost for any reason."""


@dataclass(frozen=True)
class SessionCost:
    """Cost of one session, averaged over many, in the currency of the prices.

    ``low`` and ``high`` bracket the *average*, for rates that are guesses. A single session may cost
    nothing or a whole craft: ``chance_of_no_crash`` tells how often nothing breaks.
    """

    packs: FloatArray
    """Of the packs used up. [currency]"""
    propellers: FloatArray
    """Of the propellers. [currency]"""
    motors: FloatArray
    """Of the motors. [currency]"""
    controllers: FloatArray
    """Of the controllers. [currency]"""
    other: FloatArray
    """Travel, field fee, charging. [currency]"""
    total: FloatArray
    """Sum of the lines that have a price. [currency]"""
    low: FloatArray
    """Of the average, where guessed rates are too high. [currency]"""
    high: FloatArray
    """Of the average, where guessed rates are too low. [currency]"""
    per_minute: FloatArray
    """Total over minutes aloft; NaN where nothing is flown. [currency/min]"""
    per_minute_low: FloatArray
    """The same for `low`. [currency/min]"""
    per_minute_high: FloatArray
    """The same for `high`. [currency/min]"""
    minutes: FloatArray
    """Aloft in the session. [min]"""
    chance_of_no_crash: FloatArray
    """That one session passes without any crash, 0 to 1. [-]"""
    largest: NDArray[np.intp]
    """Index into `PARTS` of the dearest line; -1 where nothing is priced."""
    unpriced: tuple[str, ...]
    """Lines left out of the total because their price is not known."""


def pack_wear(
    depth: ArrayLike,
    temperature: ArrayLike = HEAT_REFERENCE,
    *,
    days_between: ArrayLike = 14.0,
    cycle_life: ArrayLike = CYCLE_LIFE,
    calendar_life: ArrayLike = CALENDAR_LIFE,
) -> FloatArray:
    r"""Share of a pack's life that one cycle takes, with the ageing until its next cycle.

    .. math:: w = \frac{h}{N} \left(\frac{d}{0.8}\right)^{1.2} + \frac{t}{L},
              \qquad h = 2^{\max(0, T - 25\,C)/10\,K}

    Parameters
    ----------
    depth : array_like
        Share of the charge used, d. [-]
    temperature : array_like
        Of the cells in use, T. [K]
    days_between : array_like
        From one cycle of this pack to its next, t. [day]
    cycle_life : array_like
        N: cycles at 80 % depth and 25 C. [-]
    calendar_life : array_like
        L: years until the pack is put away unflown. [year]

    Returns
    -------
    ndarray
        At most 1. [-]

    Notes
    -----
    **Estimate.** Wear by use and by age are taken to add up. Below 25 C no credit is given: cold cells
    are not spared (and must never be charged below 0 C). A pack that was dented, cut or puffed has no
    life left at all.

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
    """Pieces that one session uses up on average, before any price.

    Parameters
    ----------
    session : Session

    Returns
    -------
    Consumption

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
    """Cost of a session with its low and high.

    Parameters
    ----------
    session : Session
    prices : Prices
        A line without a price is left out and named in ``unpriced``.
    rate_factor : array_like
        Rates of crashes and failures may be off by x or / this. [-]
    life_factor : array_like
        The same for the life of a pack. [-]

    Returns
    -------
    SessionCost

    Notes
    -----
    The lines' deviations are taken as independent and added in quadrature, upwards and downwards apart.

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
