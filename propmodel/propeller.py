"""Propeller: thrust and power coefficients against advance ratio and speed, with the spread of the forecast.

Propeller convention throughout: ``C_T = T/(rho n^2 D^4)``, ``C_P = P/(rho n^3 D^5)``, ``J = V/(n D)``, n in rev/s.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntFlag
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel import propeller_fit, tables
from propmodel.air import Air
from propmodel.errors import as_floats, check_finite, check_in, check_range

__all__ = [
    "OwnFit",
    "PreparedPropeller",
    "Propeller",
    "RangeFlag",
    "Spread",
    "coefficients",
    "inertia",
    "mass",
    "measured",
    "measured_names",
    "pitch_speed",
    "prepare",
    "spread",
    "stack",
]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_FM_CEILING = 0.85  # no draw may reach it: highest measured static figure of merit is 0.79
_FM_KNEE, _FM_ROOM = 0.75, 0.07  # forecasts bend from 0.75 towards 0.82; 0.80 becomes 0.791
_MACH_KNEE = 0.5
_IDEAL_MARGIN = 1.03  # least share of shaft power over ideal induced and climb power
_SQRT_2_OVER_PI = float(np.sqrt(2.0 / np.pi))


class RangeFlag(IntFlag):
    """Which input lies outside what was measured (bits; add up)."""

    INSIDE = 0
    PITCH = 1
    CHORD = 2
    BLADES = 4
    REYNOLDS = 8
    MACH = 16
    DIAMETER = 32
    ADVANCE = 64


@dataclass(frozen=True)
class OwnFit:
    """A propeller's own measured coefficients; NaN where an element of an array has none.

    Parameters
    ----------
    log_c_t, log_c_p : array_like
        ln of the static coefficients at blade Reynolds number 50,000. [-]
    slope_c_t, slope_c_p : array_like
        d ln C / d ln Re. [-]
    zero_thrust_advance_ratio : array_like
        J at zero thrust. [-]
    shape_c_t, shape_c_p : tuple of array_like
        Polynomial coefficients of C/C_static against J/J0 (3 and 5 of them). [-]
    reynolds_low, reynolds_high : array_like
        Range of Reynolds numbers measured. [-]
    static_rows : array_like
        Number of static rows behind it; 0 = carried back from advancing rows. [-]
    """

    log_c_t: ArrayLike
    slope_c_t: ArrayLike
    log_c_p: ArrayLike
    slope_c_p: ArrayLike
    zero_thrust_advance_ratio: ArrayLike
    shape_c_t: tuple[ArrayLike, ...]
    shape_c_p: tuple[ArrayLike, ...]
    reynolds_low: ArrayLike
    reynolds_high: ArrayLike
    static_rows: ArrayLike = 0


@dataclass(frozen=True)
class Propeller:
    """One propeller, or an array of them (every field but ``name`` may be an array).

    Parameters
    ----------
    diameter : array_like, 0.02 to 1.5
        Tip to tip. [m]
    pitch : array_like
        As printed; between 0.1 and 2.5 diameters. [m]
    blades : array_like, 2 to 8
        Number of blades. [-]
    chord_ratio : array_like, 0.03 to 0.6, or None
        Chord at 75 % radius over tip radius; None or NaN = unknown. [-]
    mass : array_like or None
        None = estimate of ``propeller.mass``. [kg]
    own_fit : OwnFit or None
        Measured coefficients of exactly this propeller.
    log_c_t_offset, figure_of_merit_offset, log_zero_thrust_offset : array_like
        Shifts of ln C_T, of logit(FM/0.85) and of ln J0: draws and calibration. [-]
    log_sd_c_t, log_sd_c_p, spread_correlation : array_like or None
        Own spread when measured or calibrated. [-]

    Raises
    ------
    ValueError
        If a field is not a number or outside the stated range.

    Examples
    --------
    >>> Propeller(0.254, 0.1194).blades
    2
    """

    diameter: ArrayLike
    pitch: ArrayLike
    blades: ArrayLike = 2
    chord_ratio: ArrayLike | None = None
    mass: ArrayLike | None = None
    name: str = ""
    own_fit: OwnFit | None = None
    log_c_t_offset: ArrayLike = 0.0
    figure_of_merit_offset: ArrayLike = 0.0
    log_zero_thrust_offset: ArrayLike = 0.0
    log_sd_c_t: ArrayLike | None = None
    log_sd_c_p: ArrayLike | None = None
    spread_correlation: ArrayLike | None = None

    def __post_init__(self) -> None:
        d = check_range("diameter", self.diameter, 0.02, 1.5, "m")
        p = check_range("pitch", self.pitch, 0.002, 3.75, "m")
        check_range("pitch/diameter", p / d, 0.1, 2.5, "")
        check_range("blades", self.blades, 2, 8, "")
        if self.chord_ratio is not None:
            c = as_floats("chord_ratio", self.chord_ratio)
            check_range("chord_ratio", np.where(np.isnan(c), 0.15, c), 0.03, 0.6, "")
        if self.mass is not None:
            m = as_floats("mass", self.mass)
            check_range("mass", np.where(np.isnan(m), 0.01, m), 0.0, 1.0, "kg")
        for name in ("log_c_t_offset", "figure_of_merit_offset", "log_zero_thrust_offset"):
            check_finite(name, getattr(self, name))


@dataclass(frozen=True)
class Spread:
    """How far a propeller may lie from its forecast (standard deviations of natural logarithms).

    ``log_sd_c_t``, ``log_sd_c_p`` and ``correlation`` describe C_T and C_P. For draws use ln C_T and
    logit(FM/0.85), which keep the figure of merit physical: ``log_sd_c_t``, ``logit_sd_figure_of_merit`` and
    ``correlation_c_t_figure_of_merit``; and ln J0 with its correlation to ln C_T.
    """

    log_sd_c_t: FloatArray
    log_sd_c_p: FloatArray
    correlation: FloatArray
    log_sd_figure_of_merit: FloatArray
    logit_sd_figure_of_merit: FloatArray
    correlation_c_t_figure_of_merit: FloatArray
    log_sd_zero_thrust: FloatArray
    correlation_c_t_zero_thrust: FloatArray


def _f(value: ArrayLike) -> FloatArray:
    return np.asarray(value, dtype=np.float64)


@dataclass(frozen=True)
class PreparedPropeller:
    """Everything of a propeller in given air that does not depend on its speed."""

    log_c_t: FloatArray
    slope_c_t: FloatArray
    log_c_p: FloatArray
    slope_c_p: FloatArray
    reynolds_factor: FloatArray  # Re75 = reynolds_factor * n
    reynolds_low: FloatArray
    reynolds_high: FloatArray
    mach_factor: FloatArray
    merit_odds: FloatArray  # exp(figure_of_merit_offset)
    thrust_factor: FloatArray  # exp(log_c_t_offset)
    zero_thrust_advance_ratio: FloatArray
    shape_c_t: tuple[FloatArray, ...]
    shape_c_p: tuple[FloatArray, ...]
    fixed_flags: IntArray
    reynolds_measured: tuple[FloatArray, FloatArray]

    def reynolds_75(self, rev_per_s: ArrayLike) -> FloatArray:
        """Reynolds number of the chord at 75 % radius, from rotation alone."""
        return self.reynolds_factor * _f(rev_per_s)

    def tip_mach(self, rev_per_s: ArrayLike) -> FloatArray:
        """Mach number of the tip, from rotation alone."""
        return self.mach_factor * _f(rev_per_s)

    def static(self, rev_per_s: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """C_T and C_P at rest."""
        n = _f(rev_per_s)
        log_re = np.log(np.clip(self.reynolds_factor * n, self.reynolds_low, self.reynolds_high) / 5.0e4)
        c_t = np.exp(self.log_c_t + self.slope_c_t * log_re)
        c_p = np.exp(self.log_c_p + self.slope_c_p * log_re)
        merit = _SQRT_2_OVER_PI * c_t * np.sqrt(c_t) / c_p
        over = np.maximum((merit - _FM_KNEE) / _FM_ROOM, 0.0)
        merit = np.minimum(merit, _FM_KNEE) + _FM_ROOM * over / np.sqrt(1.0 + over * over)
        merit = _FM_CEILING * merit * self.merit_odds / (_FM_CEILING + merit * (self.merit_odds - 1.0))
        c_t = c_t * self.thrust_factor
        c_p = _SQRT_2_OVER_PI * c_t * np.sqrt(c_t) / merit
        fast = np.maximum(self.mach_factor * n - _MACH_KNEE, 0.0)
        return c_t, c_p * (1.0 + 2.0 * fast * fast)

    def at(self, advance_ratio: ArrayLike, rev_per_s: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """C_T and C_P at an advance ratio."""
        c_t, c_p = self.static(rev_per_s)
        fit = propeller_fit.label_fit()["shape"]
        j = np.maximum(_f(advance_ratio), 0.0)
        u = j / self.zero_thrust_advance_ratio
        end = fit["f"]["end"]
        x = np.minimum(u, end)
        k1, k2, k3 = self.shape_c_t
        far = np.maximum(u, end) / end
        c_t = c_t * (1.0 - x) * (1.0 + x * (k1 + x * (k2 + x * k3))) * far * far
        x = np.minimum(u, fit["g"]["end"])
        a, b, c, d, e = self.shape_c_p
        fade = np.clip((fit["g"]["zero"] - u) / (fit["g"]["zero"] - fit["g"]["hold"]), 0.0, 1.0)
        c_p = c_p * (1.0 + x * (a + x * (b + x * (c + x * (d + x * e))))) * fade
        pull = np.maximum(c_t, 0.0)
        ideal = pull * (0.5 * j + np.sqrt(0.25 * j * j + (2.0 / np.pi) * pull))
        return c_t, np.maximum(c_p, _IDEAL_MARGIN * ideal)

    def range_status(self, rev_per_s: ArrayLike, advance_ratio: ArrayLike = 0.0) -> IntArray:
        """Bits of RangeFlag: what lies outside the measured range."""
        n, j = _f(rev_per_s), _f(advance_ratio)
        re = self.reynolds_factor * n
        low, high = self.reynolds_measured
        flags = self.fixed_flags | np.where((re < low) | (re > high), int(RangeFlag.REYNOLDS), 0)
        flags = flags | np.where(self.mach_factor * n > _MACH_KNEE, int(RangeFlag.MACH), 0)
        outside = (j < 0.0) | (j > 1.5 * self.zero_thrust_advance_ratio)
        return np.asarray(flags | np.where(outside, int(RangeFlag.ADVANCE), 0))


def prepare(propeller: Propeller, air: Air) -> PreparedPropeller:
    """Work out everything that does not depend on speed."""
    fit = propeller_fit.label_fit()
    d, pitch, blades = _f(propeller.diameter), _f(propeller.pitch), _f(propeller.blades)
    chord = None if propeller.chord_ratio is None else _f(propeller.chord_ratio)
    label = propeller_fit.forecast(d, pitch, blades=blades, chord_ratio=chord)
    log_c_t, slope_c_t, log_c_p, slope_c_p = label.log_c_t, label.slope_c_t, label.log_c_p, label.slope_c_p
    j0, shape_c_t, shape_c_p = label.zero_thrust_advance_ratio, label.shape_c_t, label.shape_c_p
    low, high = (_f(v) for v in fit["reynolds_range"])
    measured_range = (low, high)
    own = propeller.own_fit
    if own is not None:
        has = ~np.isnan(_f(own.log_c_t))

        def pick(mine: ArrayLike, theirs: FloatArray) -> FloatArray:
            return np.where(has, _f(mine), theirs)

        log_c_t, slope_c_t = pick(own.log_c_t, log_c_t), pick(own.slope_c_t, slope_c_t)
        log_c_p, slope_c_p = pick(own.log_c_p, log_c_p), pick(own.slope_c_p, slope_c_p)
        j0 = pick(own.zero_thrust_advance_ratio, j0)
        shape_c_t = tuple(pick(m, t) for m, t in zip(own.shape_c_t, shape_c_t, strict=True))
        shape_c_p = tuple(pick(m, t) for m, t in zip(own.shape_c_p, shape_c_p, strict=True))
        measured_range = (pick(own.reynolds_low, low), pick(own.reynolds_high, high))
    ratio = pitch / d
    flags = np.where((ratio < fit["pitch_range"][0]) | (ratio > fit["pitch_range"][1]), int(RangeFlag.PITCH), 0)
    flags = flags | np.where(blades > fit["blades_range"][1], int(RangeFlag.BLADES), 0)
    small, large = fit["diameter_range_m"]
    flags = flags | np.where((d < small) | (d > large), int(RangeFlag.DIAMETER), 0)
    if chord is not None:
        slim, wide = fit["chord_range"]
        flags = flags | np.where((chord < slim) | (chord > wide), int(RangeFlag.CHORD), 0)
    if own is not None:
        flags = np.where(has, 0, flags)
    return PreparedPropeller(
        log_c_t=log_c_t,
        slope_c_t=slope_c_t,
        log_c_p=log_c_p,
        slope_c_p=slope_c_p,
        reynolds_factor=0.375 * np.pi * d * d * label.chord_ratio * _f(air.density) / _f(air.viscosity),
        reynolds_low=low,
        reynolds_high=high,
        mach_factor=np.pi * d / _f(air.speed_of_sound),
        merit_odds=np.exp(_f(propeller.figure_of_merit_offset)),
        thrust_factor=np.exp(_f(propeller.log_c_t_offset)),
        zero_thrust_advance_ratio=j0 * np.exp(_f(propeller.log_zero_thrust_offset)),
        shape_c_t=shape_c_t,
        shape_c_p=shape_c_p,
        fixed_flags=np.asarray(flags),
        reynolds_measured=measured_range,
    )


def coefficients(
    propeller: Propeller, advance_ratio: ArrayLike, rev_per_s: ArrayLike, air: Air
) -> tuple[FloatArray, FloatArray]:
    """Thrust and power coefficients.

    Parameters
    ----------
    propeller : Propeller
    advance_ratio : array_like
        J = V/(n D); below 0 the static value is held. [-]
    rev_per_s : array_like, > 0
        n. [1/s]
    air : propmodel.air.Air

    Returns
    -------
    (c_t, c_p) : tuple of ndarray
        [-]
    """
    return prepare(propeller, air).at(advance_ratio, rev_per_s)


def spread(propeller: Propeller) -> Spread:
    """Spread of the forecast. (First version: the two-step form of the model notes.)"""
    d, ratio = _f(propeller.diameter), _f(propeller.pitch) / _f(propeller.diameter)
    wide = (d <= 5.2 * 0.0254) | (ratio < 0.45)
    known = np.zeros(np.shape(d), bool) if propeller.chord_ratio is None else ~np.isnan(_f(propeller.chord_ratio))
    sd_t = np.where(known, np.where(wide, 0.20, 0.085), np.where(wide, 0.22, 0.16))
    sd_p = np.where(known, np.where(wide, 0.28, 0.145), np.where(wide, 0.27, 0.20))
    rho = np.where(known, 0.77, 0.82)
    for name in ("log_sd_c_t", "log_sd_c_p", "spread_correlation"):
        value = getattr(propeller, name)
        if value is not None:
            value = _f(value)
            if name == "log_sd_c_t":
                sd_t = np.where(np.isnan(value), sd_t, value)
            elif name == "log_sd_c_p":
                sd_p = np.where(np.isnan(value), sd_p, value)
            else:
                rho = np.where(np.isnan(value), rho, value)
    var_fm = (1.5 * sd_t) ** 2 + sd_p**2 - 3.0 * rho * sd_t * sd_p
    sd_fm = np.sqrt(np.maximum(var_fm, 1e-8))
    corr = (1.5 * sd_t - rho * sd_p) / sd_fm
    return Spread(
        log_sd_c_t=sd_t,
        log_sd_c_p=sd_p,
        correlation=rho,
        log_sd_figure_of_merit=sd_fm,
        logit_sd_figure_of_merit=sd_fm * 4.0,
        correlation_c_t_figure_of_merit=np.clip(corr, -0.95, 0.95),
        log_sd_zero_thrust=np.full(np.shape(sd_t), 0.095),
        correlation_c_t_zero_thrust=np.full(np.shape(sd_t), 0.0),
    )


def mass(propeller: Propeller) -> FloatArray:
    """Mass of one propeller: given, or estimated as 0.057 g x (diameter in inch)^2 x blades (estimate). [kg]"""
    inch = _f(propeller.diameter) / 0.0254
    guess = 0.057e-3 * inch * inch * _f(propeller.blades)
    if propeller.mass is None:
        return guess
    given = _f(propeller.mass)
    return np.where(np.isnan(given), guess, given)


def inertia(propeller: Propeller) -> FloatArray:
    """Moment of inertia about the shaft, m R^2 / 6: blades that taper towards the tip (estimate). [kg m^2]"""
    radius = 0.5 * _f(propeller.diameter)
    return mass(propeller) * radius * radius / 6.0


def pitch_speed(propeller: Propeller, rev_per_s: ArrayLike) -> FloatArray:
    """Pitch times rotational speed; zero thrust lies above it. [m/s]"""
    return _f(propeller.pitch) * _f(rev_per_s)


@lru_cache(maxsize=1)
def _measured_table() -> dict[str, dict[str, float]]:
    frame = tables.read_table("propellers", "measured.csv").set_index("propeller")
    frame.columns = [c.split(" [")[0] for c in frame.columns]
    return {str(k): v for k, v in frame.to_dict("index").items()}


def measured_names() -> list[str]:
    """Names of the measured propellers."""
    return sorted(_measured_table())


def measured(name: str) -> Propeller:
    """One of the measured propellers, with its own coefficients.

    Raises
    ------
    ValueError
        If the name is not known; the message lists the nearest.
    """
    row = _measured_table()[check_in("propeller", name, _measured_table())]
    return Propeller(
        diameter=row["diameter"],
        pitch=row["pitch"],
        blades=int(row["blades"]),
        chord_ratio=None if np.isnan(row["chord_ratio"]) else row["chord_ratio"],
        name=name,
        own_fit=OwnFit(
            log_c_t=row["log_ct"],
            slope_c_t=row["ct_slope"],
            log_c_p=row["log_cp"],
            slope_c_p=row["cp_slope"],
            zero_thrust_advance_ratio=row["zero_thrust_advance_ratio"],
            shape_c_t=tuple(row[f"ct_shape_{i}"] for i in (1, 2, 3)),
            shape_c_p=tuple(row[f"cp_shape_{i}"] for i in (1, 2, 3, 4, 5)),
            reynolds_low=row["reynolds_low"],
            reynolds_high=row["reynolds_high"],
            static_rows=int(row["static_rows"]),
        ),
        log_sd_c_t=row["log_sd_ct"],
        log_sd_c_p=row["log_sd_cp"],
        spread_correlation=0.0,
    )


def stack(propellers: list[Propeller]) -> Propeller:
    """Several propellers as one whose fields are arrays."""

    def column(values: list[object], empty: float = np.nan) -> FloatArray:
        return np.array([empty if v is None else float(v) for v in values])  # type: ignore[arg-type]

    def field(name: str) -> FloatArray:
        return column([getattr(q, name) for q in propellers])

    owns = [q.own_fit for q in propellers]
    own = None
    if any(o is not None for o in owns):
        simple = ("log_c_t", "slope_c_t", "log_c_p", "slope_c_p", "zero_thrust_advance_ratio", "reynolds_low",
                  "reynolds_high", "static_rows")
        own = OwnFit(
            **{k: column([None if o is None else getattr(o, k) for o in owns]) for k in simple},
            shape_c_t=tuple(column([None if o is None else o.shape_c_t[i] for o in owns]) for i in range(3)),
            shape_c_p=tuple(column([None if o is None else o.shape_c_p[i] for o in owns]) for i in range(5)),
        )
    names = ("diameter", "pitch", "blades", "log_c_t_offset", "figure_of_merit_offset", "log_zero_thrust_offset")
    optional = ("chord_ratio", "mass", "log_sd_c_t", "log_sd_c_p", "spread_correlation")
    values = {k: field(k) for k in names}
    for k in optional:
        values[k] = None if all(getattr(q, k) is None for q in propellers) else field(k)  # type: ignore[assignment]
    return Propeller(own_fit=own, **values)  # type: ignore[arg-type]
