"""Shipped measurements of motor-propeller pairs from open stands and data sheets, and a search for the nearest ones.

A pair is named by sizes. Its points are as measured and not corrected to another voltage.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from propmodel.base import tables
from propmodel.base.checks import check_flag, check_number, check_positive, check_range
from propmodel.base.units import GRAM_FORCE, INCH, RPM
from propmodel.components.air import STANDARD, Air
from propmodel.components.motor import from_stator
from propmodel.components.propeller import Propeller
from propmodel.powertrain.throttle_curve import BenchCurve, bench_curve

__all__ = ["NEAR", "MeasuredPair", "NearPair", "forecast", "measured_pairs", "nearest_pairs"]

WEIGHTS = {"diameter": 4.0, "kv": 1.5, "voltage": 1.5, "pitch": 0.7, "blades": 0.4, "stator": 0.2}
"""Weight of each log ratio in the distance: about the exponent of full-throttle thrust in that quantity. [-]
Estimates."""
UNKNOWN_STATOR = 0.1
"""Distance added where a measurement states no stator size. [-]"""
NEAR = 0.5
"""Largest distance at which a pair is compared: about 1.5 times or two thirds of the thrust. [-]"""
FULL = 0.99
"""Throttle from which a point counts as full throttle. [-]"""


@dataclass(frozen=True, eq=False)
class MeasuredPair:
    """Measurements of one motor with one propeller on a stand, in SI units.

    Parameters
    ----------
    name : str
        Neutral name, such as ``pair 001``.
    stator_diameter, stator_height : float
        Size of the stator, NaN where not stated. [m]
    kv : float
        KV of the label. [rpm/V]
    diameter, pitch : float
        Size of the propeller. [m]
    blades, cells : int
        Number of blades; number of cells that corresponds to the supply voltage.
    throttle, voltage, current, rev_per_s, thrust, torque : ndarray, shape (points,)
        Readings of one rotor, NaN where not measured; voltage and current at the supply. [-, V, A, 1/s, N, N m]
    usable : ndarray of bool, shape (points,)
        False where a reading is wrong or the supply was at its current limit.
    source : str
        Kind of measurement, in words. The origin is in ``data/bench/SOURCE.md``.
    source_key : str
        Key of the row in ``data/bench/SOURCE.md``.
    doubt : str
        Reason why the usable points may be inaccurate; empty where none is known.
    """

    name: str
    stator_diameter: float
    stator_height: float
    kv: float
    diameter: float
    pitch: float
    blades: int
    cells: int
    throttle: NDArray
    voltage: NDArray
    current: NDArray
    rev_per_s: NDArray
    thrust: NDArray
    torque: NDArray
    usable: NDArray
    source: str
    source_key: str
    doubt: str

    @property
    def full_voltage(self) -> float:
        """Voltage at the highest usable throttle; 4.1 V per cell where none was stated. [V]"""
        known = self.voltage[self.usable & np.isfinite(self.voltage)]
        return float(known[-1]) if known.size else 4.1 * self.cells

    @property
    def volts_label(self) -> str:
        """Text of the voltage at full throttle, or of the number of cells where no voltage was stated."""
        known = bool(np.isfinite(self.voltage[self.usable]).any())
        return f"{self.full_voltage:.3g} V" if known else f"{self.cells}S, volts not told"

    @property
    def motor_label(self) -> str:
        """Text of the motor's size: ``2207 1950 KV``."""
        kv = f"{self.kv:.0f} KV"
        if not np.isfinite(self.stator_diameter):
            return f"motor of {kv}"
        height = 1e3 * self.stator_height
        whole = f"{height:02.0f}" if abs(height - round(height)) < 0.05 else f"{height:04.1f}"
        return f"{1e3 * self.stator_diameter:02.0f}{whole} {kv}"

    @property
    def propeller_label(self) -> str:
        """Text of the propeller's size in inches: ``5.1x4.3x3``."""
        return f"{self.diameter / INCH:.4g}x{self.pitch / INCH:.3g}x{self.blades}"

    @property
    def label(self) -> str:
        """Text of motor, propeller and voltage: ``2207 1950 KV, 5.1x4.3x3, 24.5 V``."""
        return f"{self.motor_label}, {self.propeller_label}, {self.volts_label}"


@dataclass(frozen=True, eq=False)
class NearPair:
    """A measured pair and its distance from the given labels.

    Parameters
    ----------
    pair : MeasuredPair
        The measurements.
    distance : float
        0 for the same labels; see `nearest_pairs`. [-]
    differences : tuple of str
        The differences other than the voltage, in words; empty for the same labels.
    """

    pair: MeasuredPair
    distance: float
    differences: tuple[str, ...]

    @property
    def differs(self) -> str:
        """Text of the differences: ``0.1 in smaller, KV 4 % lower, 24.5 V``. It always ends with the voltage."""
        return ", ".join([*self.differences, self.pair.volts_label])

    @property
    def near(self) -> bool:
        """True if the pair is near enough to be compared."""
        return self.distance <= NEAR


def measured_pairs(*, all_points: bool = False) -> list[MeasuredPair]:
    """Return all measured pairs in ``data/bench``.

    Parameters
    ----------
    all_points : bool
        True includes pairs without a usable point.

    Returns
    -------
    list of MeasuredPair
        In the order of the file.

    Examples
    --------
    >>> pairs = measured_pairs()
    >>> len(pairs) > 90, pairs[0].label
    (True, '1104 7200 KV, 2.2x1.8x3, 12 V')
    """
    check_flag("all_points", all_points)
    return [pair for pair in _pairs() if all_points or pair.usable.any()]


@lru_cache(maxsize=1)
def _pairs() -> tuple[MeasuredPair, ...]:
    words = dict(tables.read_table("bench", "pair_sources.csv")[["source", "words"]].to_numpy())
    frame = tables.read_table("bench", "pairs.csv").rename(columns=lambda name: name.split(" [")[0])
    out = []
    for name, rows in frame.groupby("pair", sort=False):
        first = rows.iloc[0]
        good = rows[rows["usable"] == "yes"]
        doubts = dict.fromkeys((good if len(good) else rows)["doubt"].dropna())
        out.append(
            MeasuredPair(
                name=str(name),
                stator_diameter=1e-3 * float(first["stator_diameter"]),
                stator_height=1e-3 * float(first["stator_height"]),
                kv=float(first["kv"]),
                diameter=INCH * float(first["diameter"]),
                pitch=INCH * float(first["pitch"]),
                blades=int(first["blades"]),
                cells=int(first["cells"]),
                throttle=0.01 * rows["throttle"].to_numpy(float),
                voltage=rows["voltage"].to_numpy(float),
                current=rows["current"].to_numpy(float),
                rev_per_s=RPM * rows["speed"].to_numpy(float),
                thrust=GRAM_FORCE * rows["thrust"].to_numpy(float),
                torque=rows["torque"].to_numpy(float),
                usable=(rows["usable"] == "yes").to_numpy(),
                source=str(words[first["source"]]),
                source_key=str(first["source"]),
                doubt="; ".join(doubts),
            )
        )
    for pair in out:
        for column in (
            pair.throttle,
            pair.voltage,
            pair.current,
            pair.rev_per_s,
            pair.thrust,
            pair.torque,
            pair.usable,
        ):
            column.flags.writeable = False
    return tuple(out)


@lru_cache(maxsize=1)
def _labels() -> tuple[tuple[MeasuredPair, ...], dict[str, NDArray]]:
    pairs = tuple(measured_pairs())
    columns = {
        name: np.array([getattr(pair, name) for pair in pairs], dtype=np.float64)
        for name in ("stator_diameter", "stator_height", "kv", "diameter", "pitch", "blades")
    }
    columns["voltage"] = np.array([pair.full_voltage for pair in pairs])
    columns["stator"] = columns["stator_diameter"] ** 2 * columns["stator_height"]
    return pairs, columns


def nearest_pairs(
    *,
    kv: float,
    diameter: float,
    pitch: float,
    blades: float,
    voltage: float,
    stator_diameter: float | None = None,
    stator_height: float | None = None,
    count: int = 3,
) -> list[NearPair]:
    r"""Return the measured pairs nearest to the given labels.

    Parameters
    ----------
    kv : float, > 0
        KV of the motor. [rpm/V]
    diameter, pitch : float, > 0
        Size of the propeller. [m]
    blades : float, >= 1
        Number of blades. [-]
    voltage : float, > 0
        Voltage at the controllers at full throttle. [V]
    stator_diameter, stator_height : float or None
        Size of the stator; None leaves it out of the distance. [m]
    count : int, >= 1
        Number of pairs.

    Returns
    -------
    list of NearPair
        Nearest first; at equal distance the pair with more points comes first.

    Raises
    ------
    ValueError
        If a label is not a number above zero, or the count is below 1.

    Notes
    -----
    The distance is :math:`\sum_k w_k |\ln(x_k/x_{pair})|` with the weights of `WEIGHTS`, the stator as volume
    d^2 h. The weights are about the exponents of full-throttle thrust, so a distance of 0.1 means about 10 % of the
    thrust if all differences have the same sign.

    Examples
    --------
    >>> near = nearest_pairs(kv=1950, diameter=0.1295, pitch=0.109, blades=3, voltage=24.5,
    ...                      stator_diameter=0.022, stator_height=0.007)[0]
    >>> near.pair.label, near.differs
    ('2306.5 1950 KV, 5.1x4.3x3, 24.5 V', 'stator 2306.5, 24.5 V')
    """
    count = int(check_number("count", check_range("count", count, 1, 1000)))
    asked = {
        name: check_number(name, check_positive(name, value))
        for name, value in (
            ("kv", kv), ("diameter", diameter), ("pitch", pitch), ("blades", blades), ("voltage", voltage)
        )
    }  # fmt: skip
    pairs, columns = _labels()
    distance = np.zeros(len(pairs))
    for name, value in asked.items():
        distance += WEIGHTS[name] * np.abs(np.log(columns[name] / value))
    if stator_diameter is not None and stator_height is not None:
        d = check_number("stator_diameter", check_positive("stator_diameter", stator_diameter, "m"))
        h = check_number("stator_height", check_positive("stator_height", stator_height, "m"))
        apart = WEIGHTS["stator"] * np.abs(np.log(columns["stator"] / (d * d * h)))
        distance += np.where(np.isnan(apart), UNKNOWN_STATOR, apart)
        asked |= {"stator_diameter": d, "stator_height": h}
    points = np.array([pair.usable.sum() for pair in pairs])
    order = np.lexsort((-points, np.round(distance, 6)))[:count]
    return [NearPair(pairs[k], float(distance[k]), _differs(pairs[k], asked)) for k in order]


def _differs(pair: MeasuredPair, asked: dict[str, float]) -> tuple[str, ...]:
    """Return the differences from the given labels in words, the most important first."""
    words: list[str] = []
    inch = (pair.diameter - asked["diameter"]) / INCH
    if abs(inch) >= 0.05:
        words.append(f"{abs(inch):.1f} in {'larger' if inch > 0 else 'smaller'}")
    if pair.blades != asked["blades"]:
        words.append(f"{pair.blades} blades")
    share = 100.0 * (pair.kv / asked["kv"] - 1.0)
    if abs(share) >= 1.0:
        words.append(f"KV {abs(share):.0f} % {'higher' if share > 0 else 'lower'}")
    inch = (pair.pitch - asked["pitch"]) / INCH
    if abs(inch) >= 0.05:
        words.append(f"pitch {abs(inch):.1f} in {'more' if inch > 0 else 'less'}")
    if "stator_diameter" in asked:
        if not np.isfinite(pair.stator_diameter):
            words.append("stator not stated")
        elif (
            abs(pair.stator_diameter - asked["stator_diameter"]) > 2.5e-4
            or abs(pair.stator_height - asked["stator_height"]) > 2.5e-4
        ):
            words.append(f"stator {pair.motor_label.split()[0]}")
    return tuple(words)


def forecast(pair: MeasuredPair, *, air: Air = STANDARD) -> BenchCurve | None:
    """Forecast the readings of a pair from its labels alone, at its measured voltage and throttle.

    Parameters
    ----------
    pair : MeasuredPair
        The measurements.
    air : Air
        Air at the stand, which the sources do not state.

    Returns
    -------
    BenchCurve or None
        One element per point; None where no stator is stated. A point without a voltage takes
        `MeasuredPair.full_voltage`.

    Examples
    --------
    >>> pair = measured_pairs()[0]
    >>> forecast(pair).thrust.shape == pair.thrust.shape
    True
    """
    if not (np.isfinite(pair.stator_diameter) and np.isfinite(pair.stator_height)):
        return None
    volts = np.where(np.isfinite(pair.voltage), pair.voltage, pair.full_voltage)
    wound = from_stator(pair.stator_diameter, pair.stator_height, pair.kv)
    return bench_curve(wound, Propeller(pair.diameter, pair.pitch, pair.blades), volts, pair.throttle, air=air)
