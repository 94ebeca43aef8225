"""Spare parts for a session, and the probability that they suffice."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike

from propmodel.base.arrays import FloatArray, floats
from propmodel.base.checks import check_flag, check_number, check_range
from propmodel.costs.session import PARTS, Session, consumption

__all__ = ["Spare", "chance_enough", "chance_enough_propellers", "chance_in_words", "spares_list", "spares_needed"]


def chance_enough(spares: ArrayLike, expected: ArrayLike) -> FloatArray:
    r"""Probability that ``spares`` pieces suffice if ``expected`` break on average.

    .. math:: P(X \le s) = e^{-m} \sum_{k=0}^{s} m^k / k!

    Parameters
    ----------
    spares : array_like
        Number of spares, s, rounded down. [-]
    expected : array_like
        Average number that breaks, m. [-]

    Returns
    -------
    ndarray
        Probability, of the broadcast shape. [-]

    Notes
    -----
    Poisson distribution: the losses are single and independent. S. D. Poisson (1837); tables in any handbook of
    statistics.

    Examples
    --------
    >>> round(float(chance_enough(2, 1.0)), 4)
    0.9197
    """
    from scipy import stats  # imported here because the import takes half a second

    check_range("spares", spares, 0.0, 1e6)
    check_range("expected losses", expected, 0.0, 1e6)
    return stats.poisson.cdf(np.floor(floats(spares)), floats(expected))


def chance_enough_propellers(
    spares: ArrayLike,
    crashes: ArrayLike,
    *,
    propellers_per_crash: ArrayLike,
    rotors: ArrayLike = 4.0,
    two_hands: bool = True,
) -> FloatArray:
    """Probability that the spare propellers suffice: crashes are Poisson distributed, and one may break several.

    Parameters
    ----------
    spares : array_like
        Number of spare propellers; with ``two_hands`` half of them are of each direction of rotation. [-]
    crashes : array_like
        Expected number of crashes over the whole time. [-]
    propellers_per_crash : array_like
        Average number broken per crash, at most ``rotors``. [-]
    rotors : array_like
        Number of propellers on the craft. [-]
    two_hands : bool
        True if half of the propellers turn clockwise and half counterclockwise, so that they are not interchangeable.

    Returns
    -------
    ndarray
        Probability, of the broadcast shape. [-]

    Notes
    -----
    Each propeller breaks in a crash with probability q = broken per crash / rotors, so c crashes break a total of
    Binomial(c rotors, q). A Poisson distribution with the same mean gives too high a probability, because several
    propellers break in one crash. For rotors = 1 and q = 1 the result equals that of `chance_enough`.

    Examples
    --------
    >>> bag = chance_enough_propellers([4, 8], 2.0, propellers_per_crash=1.5)
    >>> bool(bag[0] < bag[1])
    True
    """
    check_flag("two_hands", two_hands)
    check_range("spares", spares, 0.0, 1e6)
    check_range("crashes", crashes, 0.0, 1e4)
    check_range("rotors", rotors, 1.0, 16.0)
    check_range("propellers per crash", propellers_per_crash, 0.0, 16.0)
    s, m, k, n = np.broadcast_arrays(floats(spares), floats(crashes), floats(propellers_per_crash), floats(rotors))
    if np.any(k > n):
        raise ValueError("propellers per crash must be at most the number of rotors")
    from scipy import stats  # imported here because the import takes half a second

    most = float(np.max(m, initial=0.0))
    c = np.arange(int(most + 12.0 * np.sqrt(most) + 20.0)).reshape((-1,) + (1,) * s.ndim)
    weight = stats.poisson.pmf(c, m)
    q = k / n
    if two_hands:
        one = np.ceil(n / 2.0)
        enough = stats.binom.cdf(np.floor(s / 2.0), c * one, q) * stats.binom.cdf(np.floor(s / 2.0), c * (n - one), q)
    else:
        enough = stats.binom.cdf(np.floor(s), c * n, q)
    return np.minimum(np.sum(weight * enough, axis=0), 1.0)


def spares_needed(expected: ArrayLike, *, chance: ArrayLike = 0.9) -> FloatArray:
    """Smallest number of spares that suffices with a given probability (Poisson distribution).

    Parameters
    ----------
    expected : array_like
        Average number that breaks. [-]
    chance : array_like
        Required probability, below 1. [-]

    Returns
    -------
    ndarray
        Number of pieces, of the broadcast shape. [-]

    Examples
    --------
    >>> float(spares_needed(1.0, chance=0.9))
    2.0
    """
    from scipy import stats  # imported here because the import takes half a second

    check_range("expected losses", expected, 0.0, 1e6)
    check_range("wanted chance", chance, 0.0, 0.999999)
    return np.maximum(stats.poisson.ppf(floats(chance), floats(expected)), 0.0)


def chance_in_words(chance: float) -> str:
    """Return a probability in words as a count, rounded down.

    Parameters
    ----------
    chance : float
        Probability, 0 to 1. [-]

    Returns
    -------
    str
        Such as "9 times in 10".

    Examples
    --------
    >>> chance_in_words(0.934)
    '9 times in 10'
    >>> chance_in_words(0.9961)
    '199 times in 200'
    """
    check_range("chance", check_number("chance", chance), 0.0, 1.0)
    for top, bottom in ((999, 1000), (199, 200), (99, 100), (49, 50), (19, 20)):
        if chance >= top / bottom:
            return f"{top} times in {bottom}"
    tenths = int(chance * 10.0 + 1e-9)
    if tenths == 0:
        return "less than once in 10"
    return "once in 10" if tenths == 1 else f"{tenths} times in 10"


@dataclass(frozen=True)
class Spare:
    """One line of the list of spares."""

    part: str
    """One of `PARTS`."""
    expected: float
    """Average number lost over the whole time. [-]"""
    take: int
    """Number of spares to take along. [-]"""
    chance: float
    """Probability that ``take`` suffices. [-]"""
    sentence: str
    """The line in words: the number, and how often it suffices."""


def spares_list(session: Session, *, sessions: float = 2.0, chance: float = 0.9) -> list[Spare]:
    """Return for each kind of part the smallest number of spares that suffices with a given probability.

    Parameters
    ----------
    session : Session
        Use and rates, without arrays.
    sessions : float
        Number of sessions for which the spares must last. [-]
    chance : float
        Required probability for each kind of part, 0.5 to 0.999. [-]

    Returns
    -------
    list of Spare
        In the order of `PARTS`. Propellers are in pairs of both directions of rotation.

    Raises
    ------
    ValueError
        If the session holds arrays, or the chance is outside its range.

    Examples
    --------
    >>> [(s.part, s.take) for s in spares_list(Session(crashes=1.0), sessions=2.0)]
    [('packs', 0), ('propellers', 8), ('motors', 1), ('controllers', 0)]
    """
    check_range("wanted chance", check_number("wanted chance", chance), 0.5, 0.999)
    check_range("sessions", check_number("sessions", sessions), 0.1, 1000.0)
    if any(np.ndim(getattr(session, field.name)) for field in fields(session)):
        raise ValueError("a spares list is made for one session of plain numbers, not for arrays")
    used = consumption(session)
    crashes = float(floats(session.crashes)) * sessions
    out = []
    for part in PARTS:
        if part == "propellers":
            expected = float(used.propellers) * sessions
            pairs = np.arange(0, int(2.0 * expected + 30.0 + 8.0 * float(floats(session.rotors)))) * 2.0
            all_chances = chance_enough_propellers(
                pairs,
                crashes,
                propellers_per_crash=session.propellers_per_crash,
                rotors=session.rotors,
            )
            index = int(np.argmax(all_chances >= chance))
            take, reached = int(pairs[index]), float(all_chances[index])
        else:
            # only packs lost in crashes need spares; wear is gradual and foreseeable
            expected = (
                crashes * float(floats(session.packs_per_crash))
                if part == "packs"
                else float(getattr(used, part)) * sessions
            )
            take = int(spares_needed(expected, chance=chance))
            reached = float(chance_enough(take, expected))
        what = f"{take} {part if take != 1 else part[:-1]}"
        out.append(Spare(part, expected, take, reached, f"{what}: enough {chance_in_words(reached)}"))
    return out
