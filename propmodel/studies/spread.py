"""Spread of the outputs, from joint random draws of all quantities that a label does not state exactly.

The draws are another axis of the same engine. Their distributions keep every draw physical and the forecast in the
middle:

- Quantities that act as a factor (C_T, J0, KV, mass, drag, capacity, cooling) are lognormal.
- Quantities that are one of several terms in a sum of watts or volts (resistances, ripple, iron loss, electronics, the
  power of the propeller above that of an ideal one) are multiplied by 1 + tanh(sd z): positive, and symmetric about the
  forecast. A lognormal term is skewed upwards. One such term leaves the median of the sum unchanged, but several of
  them together raise it, by 3 to 5 % of the hover power.

The points are a scrambled Sobol sequence with a fixed seed, so the same build always has the same interval.

Longer than others because the list of unknowns, their spreads and the statistics belong together.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import Build, drag_areas, shape_of, with_axis
from propmodel.assess.assessment import Assessment
from propmodel.assess.performance import OUTPUTS, Performance, evaluate, performance, status_of
from propmodel.base.arrays import quantiles, tails
from propmodel.base.checks import check_flag, check_in, check_names, check_number, check_range, quoted
from propmodel.components import battery, motor, propeller
from propmodel.components.controller import LOG_SD_THROTTLE_EXPONENT
from propmodel.components.inplane import LOG_SD_INPLANE
from propmodel.components.propeller.advance import unstalled_sd
from propmodel.flight import spin_up
from propmodel.powertrain.throttle_curve import ThrottleCurve, throttle_curve

__all__ = [
    "GROUPS",
    "READINGS",
    "Contribution",
    "Reading",
    "bands",
    "contributions",
    "curve_bands",
    "draw",
    "reading_gains",
]

SEED = 420
"""Seed of the Sobol sequence, fixed so that an interval does not change between runs."""

# Standard deviations. Estimates unless a source is named.
LOG_SD_RIPPLE = 0.55  # between stands, data/motors/SOURCE.md
LOG_SD_PACK_RESISTANCE = 0.45  # no C rating on the label: 5 to 17 mohm Ah around 9.5
LOG_SD_PACK_LABEL = 0.35  # C rating known: ratings of makers are not comparable, one pouch cell measured
LOG_SD_PACK_READING = (
    0.20  # reading of a charger: 0.1 to 1 s instead of 10 s gives 15 % either way, its scatter is 10 %
)
LOG_SD_CAPACITY = 0.04  # one pouch cell measured, at 0.94 of its label
LOG_SD_CAPACITY_READING = 0.015
LOG_SD_MASS_ESTIMATE = 0.03
LOG_SD_MASS_GIVEN = 0.01
LOG_SD_DRAG_DEFAULT = 0.42  # a factor of 1.7 either way for 80 %
LOG_SD_DRAG_GIVEN = 0.20
SD_THRUST_LOSS = 0.02  # 5 to 10 % is common practice
LOG_SD_ELECTRONICS = 0.25
LOG_SD_THERMAL = 0.40
LOG_SD_WINDING_SHARE = 0.20

_AXES = (
    "c_t",
    "figure_of_merit",
    "zero_thrust",
    "kv",
    "resistance",
    "iron",
    "winding",
    "ripple",
    "pack_resistance",
    "capacity",
    "mass",
    "drag",
    "thrust_loss",
    "electronics",
    "thermal",
    "throttle_map",
    "response",  # time of the rotors; no headline output depends on it, so it is in no group
    "unstalled",
    "inplane",
)

GROUPS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "propeller": ("c_t", "figure_of_merit", "zero_thrust", "unstalled", "inplane"),
        "motor KV": ("kv",),
        "motor resistance and losses": ("resistance", "iron", "winding"),
        "ESC losses": ("ripple",),
        "throttle map": ("throttle_map",),
        "pack": ("pack_resistance", "capacity"),
        "mass": ("mass",),
        "drag": ("drag",),
        "arms in the wash": ("thrust_loss",),
        "electronics": ("electronics",),
        "motor cooling": ("thermal",),
    }
)
"""Name of a group of inputs, as displayed -> its axes."""


@lru_cache(maxsize=8)
def _normal(draws: int) -> NDArray:
    """Standard normal points, each with its negative (antithetic). Shape (axes, draws)."""
    # imported here because the import takes half a second
    from scipy.special import ndtri
    from scipy.stats import qmc

    half = (draws + 1) // 2
    power = int(np.ceil(np.log2(max(half, 2))))
    points = qmc.Sobol(len(_AXES), seed=SEED).random_base2(power)[:half]
    one_side = ndtri(np.clip(points, 1e-6, 1.0 - 1e-6)).T
    normal = np.stack([one_side, -one_side], axis=-1).reshape(len(_AXES), -1)[:, :draws].copy()
    normal.flags.writeable = False
    return normal


@dataclass(frozen=True)
class Draws:
    """A build with a trailing axis of draws, and the factors on its thermal resistance and response time. [-]"""

    build: Build
    thermal_factor: NDArray
    response_factor: NDArray


def draw(build: Build, *, draws: int = 512, only: tuple[str, ...] | None = None, forecast: bool = False) -> Draws:
    """Draw builds at random from the spread of the labels.

    Parameters
    ----------
    build : Build
        Its fields may be arrays; the draws are added as the last axis.
    draws : int
        Number of draws. [-]
    only : tuple of str or None
        Axes to vary, as in `GROUPS`; the others keep their forecast. None varies all.
    forecast : bool
        True appends the forecast itself after the last draw, which saves a separate evaluation.

    Returns
    -------
    Draws
        The drawn builds and factors, with ``draws`` (or ``draws`` + 1) elements along the last axis.

    Examples
    --------
    >>> import numpy as np
    >>> import propmodel
    >>> scree = propmodel.demo("scree")
    >>> many = draw(scree, draws=16, forecast=True).build
    >>> many.mass.shape, bool(np.isclose(many.mass[-1], scree.mass))
    ((17,), True)
    """
    if check_range("draws", check_number("draws", draws), 1, 10**7) != int(draws):
        raise ValueError(f"draws must be a whole number, got {quoted(draws)}")
    draws = int(draws)
    if only is not None:
        only = tuple(check_names("only", only, _AXES))
    check_flag("forecast", forecast)
    z = {
        name: row if only is None or name in only else np.zeros(draws)
        for name, row in zip(_AXES, _normal(draws), strict=True)
    }
    if forecast:
        z = {name: np.append(row, 0.0) for name, row in z.items()}
    return _apply(with_axis(build), z)


def _term(sd: ArrayLike, z: NDArray) -> NDArray:
    """Factor 1 + tanh(sd z) on one of several terms of a sum, symmetric about 1, 0 to 2. [-]"""
    return 1.0 + np.tanh(np.asarray(sd) * z)


def _apply(b: Build, z: Mapping[str, NDArray]) -> Draws:
    """Convert standard normal points into builds."""
    sd = propeller.spread(b.propeller)
    rho_fm, rho_j0 = sd.correlation_c_t_figure_of_merit, sd.correlation_c_t_zero_thrust
    merit = rho_fm * z["c_t"] + np.sqrt(1.0 - rho_fm**2) * z["figure_of_merit"]
    zero = rho_j0 * z["c_t"] + np.sqrt(1.0 - rho_j0**2) * z["zero_thrust"]
    prop = replace(
        b.propeller,
        log_c_t_offset=b.propeller.log_c_t_offset + sd.log_sd_c_t * z["c_t"],
        # the power above that of a disc with FM 0.85 is a term of a sum; 1/FM - 1/0.85 is proportional to the odds
        figure_of_merit_offset=b.propeller.figure_of_merit_offset - np.log(_term(sd.logit_sd_figure_of_merit, -merit)),
        log_zero_thrust_offset=b.propeller.log_zero_thrust_offset + sd.log_sd_zero_thrust * zero,
        unstalled_offset=np.asarray(b.propeller.unstalled_offset) + unstalled_sd(b.propeller) * z["unstalled"],
        log_inplane_offset=np.asarray(b.propeller.log_inplane_offset) + LOG_SD_INPLANE * z["inplane"],
    )
    m = b.motor
    sd_kv = motor.LOG_SD_KV if m.log_sd_kv is None else np.asarray(m.log_sd_kv)
    r_factor = _term(motor.resistance_spread(m, _likely_current(b)), z["resistance"])
    kv_factor = np.exp(sd_kv * z["kv"])
    # K_m does not depend on KV: a winding for a higher KV has a lower resistance
    r_factor = r_factor / kv_factor**2
    iron = _term(np.log(motor.IRON_TORQUE_BAND), z["iron"])
    resistance = np.asarray(m.resistance) * r_factor
    winding = motor.winding_part(m) * r_factor * np.exp(LOG_SD_WINDING_SHARE * z["winding"])
    drawn_motor = replace(
        m,
        kv=np.asarray(m.kv) * kv_factor,
        resistance=resistance,
        no_load_current=np.minimum(
            np.asarray(m.no_load_current) * iron, 0.5 * np.asarray(m.no_load_voltage) / resistance
        ),
        winding_resistance=np.minimum(winding, 0.8 * resistance),
        mass=motor.motor_mass(m),
    )
    own_map = b.controller.log_sd_throttle_exponent
    sd_map = LOG_SD_THROTTLE_EXPONENT if own_map is None else np.asarray(own_map)
    esc = replace(
        b.controller,
        ripple_coefficient=np.asarray(b.controller.ripple_coefficient) * _term(LOG_SD_RIPPLE, z["ripple"]),
        throttle_exponent=np.asarray(b.controller.exponent) * np.exp(sd_map * z["throttle_map"]),
    )
    cell = battery.cell_resistance_new(b.pack) * _term(pack_resistance_sd(b.pack), z["pack_resistance"])
    sd_q = LOG_SD_CAPACITY if b.pack.usable_share is None else LOG_SD_CAPACITY_READING
    pack = replace(
        b.pack,
        cell_resistance=cell,
        usable_share=battery.usable_share_new(b.pack) * np.exp(sd_q * z["capacity"]),
        mass=battery.mass(b.pack),
    )
    masses_given = [b.pack.mass, b.motor.mass, b.propeller.mass]
    sd_mass = LOG_SD_MASS_GIVEN if all(v is not None for v in masses_given) else LOG_SD_MASS_ESTIMATE
    all_up = b.mass
    extra = all_up * (np.exp(sd_mass * z["mass"]) - 1.0)
    front, top = drag_areas(b)
    sd_drag = LOG_SD_DRAG_DEFAULT if b.craft.drag_area_front is None else LOG_SD_DRAG_GIVEN
    drag = np.exp(sd_drag * z["drag"])
    craft = replace(
        b.craft,
        frame_mass=np.maximum(np.asarray(b.craft.frame_mass) + extra, 1e-3),
        drag_area_front=front * drag,
        drag_area_top=top * drag,
        thrust_loss=np.clip(np.asarray(b.craft.thrust_loss) + SD_THRUST_LOSS * z["thrust_loss"], 0.0, 0.5),
        electronics_power=np.asarray(b.craft.electronics_power) * _term(LOG_SD_ELECTRONICS, z["electronics"]),
    )
    drawn = replace(b, craft=craft, motor=drawn_motor, propeller=prop, controller=esc, pack=pack)
    return Draws(drawn, np.exp(LOG_SD_THERMAL * z["thermal"]), np.exp(spin_up.LOG_SD_RESPONSE * z["response"]))


def pack_resistance_sd(pack: battery.Pack) -> float:
    """Standard deviation of the logarithm of a pack's resistance.

    It depends on what is known: a reading, the C rating of the label, or neither.

    Parameters
    ----------
    pack : Pack
        The pack.

    Returns
    -------
    float
        Standard deviation. [-]

    Examples
    --------
    >>> pack_resistance_sd(battery.Pack("lipo", 6, 1.3)), pack_resistance_sd(battery.Pack("lipo", 6, 1.3, label_c=100))
    (0.45, 0.35)
    """
    if pack.cell_resistance is not None:
        return LOG_SD_PACK_READING
    has_label = pack.label_c is not None or pack.max_continuous_current is not None
    return LOG_SD_PACK_LABEL if has_label else LOG_SD_PACK_RESISTANCE


def _likely_current(b: Build) -> NDArray:
    """Rough motor current at full throttle: a quarter of the voltage over the resistance. [A]"""
    volts = battery.open_circuit_voltage(b.pack, 1.0) * b.duty_cap
    return np.minimum(volts / (4.0 * np.asarray(b.motor.resistance)), 200.0)


_UNBOUNDED = frozenset({"full_throttle_winding_temperature", "hover_winding_temperature"})
"""Outputs in which NaN means "no steady state"; treated as +inf when the draws are sorted."""


def _answers(drawn: Draws, outputs: list[str]) -> tuple[dict[str, NDArray], Assessment]:
    a = Assessment(drawn.build, quick=True, drawn=True, thermal_factor=drawn.thermal_factor)
    values = evaluate(a, outputs)
    for name in _UNBOUNDED & set(outputs):
        values[name] = np.where(np.isnan(values[name]), np.inf, values[name])
    return values, a


def bands(build: Build, *, coverage: float = 0.8, draws: int = 512) -> tuple[Performance, Performance, Performance]:
    """Low, forecast and high of every headline output.

    Parameters
    ----------
    build : Build
        Its fields may be arrays.
    coverage : float
        Share of the builds with these labels between low and high. [-]
    draws : int
        Number of draws, at least 16. [-]

    Returns
    -------
    low, mid, high : Performance
        ``mid`` is the forecast. A high winding temperature of NaN means that it may have no steady state.

    Raises
    ------
    ValueError
        If coverage is not between 0.01 and 0.999 or there are fewer than 16 draws.

    Examples
    --------
    >>> import propmodel
    >>> low, mid, high = bands(propmodel.demo("scree"), draws=64)
    >>> bool(low.thrust_to_weight < mid.thrust_to_weight < high.thrust_to_weight)
    True
    """
    coverage = check_number("coverage", check_range("coverage", coverage, 0.01, 0.999))
    draws = int(check_number("draws", check_range("draws", draws, 16, 65536)))
    mid = performance(build)
    values, a = _answers(draw(build, draws=draws), list(OUTPUTS))
    found = {name: quantiles(np.asarray(value), tails(coverage)) for name, value in values.items()}
    for name in _UNBOUNDED:
        found[name] = np.where(np.isinf(found[name]), np.nan, found[name])
    status = np.max(status_of(a), axis=-1)
    low = Performance(**{k: q[0][()] for k, q in found.items()}, status=status)
    high = Performance(**{k: q[1][()] for k, q in found.items()}, status=status)
    return low, mid, high


def curve_bands(
    build: Build,
    throttle: ArrayLike | None = None,
    *,
    coverage: float = 0.8,
    draws: int = 128,
    state_of_charge: ArrayLike = 1.0,
) -> tuple[ThrottleCurve, ThrottleCurve, ThrottleCurve]:
    """Low, forecast and high of each point of a throttle curve.

    Parameters
    ----------
    build : Build
        A single build (no arrays).
    throttle : array_like or None, shape (points,)
        Throttle commands; None means 41 points. [-]
    coverage : float
        As for :func:`bands`. [-]
    draws : int
        Number of draws, at least 16. [-]
    state_of_charge : array_like
        A single number. [-]

    Returns
    -------
    low, mid, high : ThrottleCurve
        Quantiles of each quantity at each point, so the low curve is not that of a single build.

    Raises
    ------
    ValueError
        If the build holds arrays or coverage is not between 0.01 and 0.999.
    """
    check_range("coverage", coverage, 0.01, 0.999)
    if shape_of(build) != ():
        raise ValueError("curve_bands needs one build of plain numbers")
    command = np.linspace(0.0, 1.0, 41) if throttle is None else np.asarray(throttle, dtype=np.float64)
    mid = throttle_curve(build, command, state_of_charge=state_of_charge)
    many = throttle_curve(draw(build, draws=draws).build, command, state_of_charge=state_of_charge)
    sides: list[dict[str, Any]] = [{}, {}]
    for field in fields(ThrottleCurve):
        value = getattr(many, field.name)
        if field.name == "throttle":
            low = high = command
        elif field.name == "status":
            low = high = np.max(value, axis=0)
        else:
            low, high = quantiles(np.moveaxis(value, 0, -1), tails(coverage))
        sides[0][field.name], sides[1][field.name] = low, high
    return ThrottleCurve(**sides[0]), mid, ThrottleCurve(**sides[1])


class Contribution(NamedTuple):
    """Contribution of a group of inputs to the spread of one output."""

    group: str
    """Name in `GROUPS`."""
    share: float
    """Share of the variance; the shares of all groups add up to 1. [-]"""
    log_sd: float
    """Standard deviation of ln output if only this group is uncertain. [-]"""


def _log_spread(values: NDArray) -> float:
    good = values[np.isfinite(values) & (values > 0.0)]
    return float(np.std(np.log(good))) if good.size > 8 else float("nan")


def contributions(build: Build, output: str, *, draws: int = 128) -> list[Contribution]:
    """Rank the groups of inputs by their contribution to the spread of one output.

    Parameters
    ----------
    build : Build
        A single build (no arrays).
    output : str
        Name in `propmodel.assess.performance.OUTPUTS`.
    draws : int
        Number of draws per group. [-]

    Returns
    -------
    list of Contribution
        Largest first.

    Raises
    ------
    ValueError
        If the output is not known or the build holds arrays.
    """
    check_in("output", output, OUTPUTS)
    if shape_of(build) != ():
        raise ValueError("contributions needs one build of plain numbers")
    base = _normal(draws)
    names = list(GROUPS)
    # one evaluation, with the groups along an axis before the draws
    z = {axis: np.zeros((len(names), draws)) for axis in _AXES}
    for row, name in enumerate(names):
        for axis in GROUPS[name]:
            z[axis][row] = base[_AXES.index(axis)]
    values, _ = _answers(_apply(build, z), [output])
    spread = np.array([_log_spread(np.broadcast_to(values[output], (len(names), draws))[i]) for i in range(len(names))])
    spread = np.nan_to_num(spread)
    total = float(np.sum(spread**2))
    rows = [
        Contribution(n, float(s * s / total) if total > 0 else 0.0, float(s))
        for n, s in zip(names, spread, strict=True)
    ]
    return sorted(rows, key=lambda c: -c.share)


class Reading(NamedTuple):
    """A possible measurement on the build, and its accuracy."""

    words: str
    """Description of the measurement."""
    of: tuple[Callable[[Assessment], NDArray], ...]
    """Functions that return the measured quantities of an assessment."""
    log_noise: float
    """Standard deviation of the logarithm of the reading. [-]"""


READINGS: Mapping[str, Reading] = MappingProxyType(
    {
        "weigh": Reading("weighing the craft", (lambda a: a.mass,), 0.003),
        "hover": Reading(
            "reading current and command in a hover", (lambda a: a.hover.pack_current, lambda a: a.hover_command), 0.02
        ),
        "full": Reading(
            "one full-throttle reading on a stand (thrust, current, rpm)",
            (
                lambda a: a.full_throttle.thrust,
                lambda a: a.full_throttle.motor_current,
                lambda a: a.full_throttle.rev_per_s,
            ),
            0.02,
        ),
        "pack": Reading("the charger's resistance reading", (lambda a: battery.resistance(a.build.pack, 0.5),), 0.20),
        "top": Reading("a flown top speed", (lambda a: a.top.speed,), 0.03),
    }
)


def reading_gains(build: Build, output: str, *, draws: int = 512) -> dict[str, float]:
    """Reduction of the interval of one output by each possible reading.

    Parameters
    ----------
    build : Build
        A single build (no arrays).
    output : str
        Name in `propmodel.assess.performance.OUTPUTS`.
    draws : int
        Number of draws. [-]

    Returns
    -------
    dict
        Key of `READINGS` -> relative reduction of the width of the interval, 0 to 1. [-]

    Notes
    -----
    Linear regression of ln output on the logarithm of the noisy reading, over the draws. The residual scatter is the
    spread that remains.
    """
    check_in("output", output, OUTPUTS)
    values, a = _answers(draw(build, draws=draws), [output])
    target = np.broadcast_to(values[output], (draws,))
    rng = np.random.default_rng(SEED)
    gains: dict[str, float] = {}
    for key, reading in READINGS.items():
        with np.errstate(invalid="ignore", divide="ignore"):
            seen = np.stack([np.log(np.broadcast_to(of(a), (draws,))) for of in reading.of])
            y = np.log(target)
        seen = seen + reading.log_noise * rng.standard_normal(seen.shape)
        good = np.isfinite(y) & np.isfinite(seen).all(axis=0)
        if good.sum() < 32 or np.std(y[good]) < 1e-9:
            gains[key] = 0.0
            continue
        x = np.vstack([np.ones(good.sum()), seen[:, good]]).T
        fit, *_ = np.linalg.lstsq(x, y[good], rcond=None)
        left = y[good] - x @ fit
        gains[key] = float(np.clip(1.0 - np.std(left) / np.std(y[good]), 0.0, 1.0))
    return gains
