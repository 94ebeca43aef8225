"""Forecast of propeller coefficients from the label, and its spread.

The numbers are fits to the UIUC propeller measurements (Brandt, Deters, Ananda, Dantsker, Selig) and, for
the label alone, also to the bench tables of multirotor propellers; ``data/propellers/SOURCE.md`` describes the
fit and its errors. Valid for pitch/diameter 0.3 to 1.2, chord ratio 0.10 to 0.28, 2 to 4 blades, diameter 3 to 15
inch, blade Reynolds number 8,000 to 120,000. Outside, the nearest edge is used, which ``range_status`` of the
prepared propeller states.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base import tables
from propmodel.base.arrays import FloatArray

__all__ = ["LabelForecast", "LabelSpread", "default_chord_ratio", "forecast", "label_fit", "label_spread"]


@lru_cache(maxsize=1)
def label_fit() -> dict[str, Any]:
    """Coefficients of the label fit, as written by ``data/propellers/fit_propellers.py``."""
    fit: dict[str, Any] = json.loads(tables.data_path("propellers", "label_fit.json").read_text(encoding="utf-8"))
    return fit


@lru_cache(maxsize=1)
def _local_table() -> FloatArray:
    table = np.array(label_fit()["local_cp"]["table"], dtype=np.float64)
    table.flags.writeable = False
    return table


def default_chord_ratio(diameter: ArrayLike) -> FloatArray:
    """Assumed chord ratio for the Reynolds number of a blade without a measured chord.

    Parameters
    ----------
    diameter : array_like, > 0
        Propeller diameter. [m]

    Returns
    -------
    ndarray
        Chord at 75 % radius over tip radius: the trend of the measured blades. [-]

    Examples
    --------
    >>> round(float(default_chord_ratio(0.2286)), 3)
    0.157
    """
    fit = label_fit()
    a, b = fit["default_chord"]
    return np.exp(a + b * np.log(np.asarray(diameter, dtype=np.float64) / fit["diameter_mid_m"]))


@dataclass(frozen=True)
class LabelForecast:
    """Forecast from the label, one entry per propeller.

    Parameters
    ----------
    log_c_t, slope_c_t, log_c_p, slope_c_p : ndarray
        Static C = exp(log_c + slope ln(Re75/5e4)). [-]
    zero_thrust_advance_ratio : ndarray
        J0. [-]
    chord_ratio : ndarray
        The chord the Reynolds number uses: the given one, or the default for the diameter. [-]
    shape_c_t, shape_c_p : tuple of ndarray
        Polynomial coefficients of C/C_static against J/J0 (3 and 5). [-]
    """

    log_c_t: FloatArray
    slope_c_t: FloatArray
    log_c_p: FloatArray
    slope_c_p: FloatArray
    zero_thrust_advance_ratio: FloatArray
    chord_ratio: FloatArray
    shape_c_t: tuple[FloatArray, ...]
    shape_c_p: tuple[FloatArray, ...]


@dataclass(frozen=True)
class LabelSpread:
    """Standard deviations and correlations of what the label leaves open, see ``propeller.Spread``.

    Parameters
    ----------
    log_sd_c_t, log_sd_c_p, correlation : ndarray
        Of ln C_T and ln C_P. [-]
    logit_sd_figure_of_merit, correlation_c_t_figure_of_merit : ndarray
        Of logit(FM/0.85), and with ln C_T. [-]
    log_sd_zero_thrust, correlation_c_t_zero_thrust : ndarray
        Of ln J0, and with ln C_T. [-]
    """

    log_sd_c_t: FloatArray
    log_sd_c_p: FloatArray
    correlation: FloatArray
    logit_sd_figure_of_merit: FloatArray
    correlation_c_t_figure_of_merit: FloatArray
    log_sd_zero_thrust: FloatArray
    correlation_c_t_zero_thrust: FloatArray


def _total(terms: dict[str, FloatArray], weights: dict[str, float]) -> FloatArray:
    out: FloatArray | float = weights["one"]
    for name, weight in weights.items():
        if name != "one":
            out = out + weight * terms[name]
    return np.asarray(out)


def _local_power(log_chord: FloatArray, diameter: FloatArray) -> FloatArray:
    """Local correction of ln C_P by bilinear interpolation in ln chord and ln diameter, constant beyond the edges."""
    fit, table = label_fit()["local_cp"], _local_table()
    rows, cols = table.shape

    def place(x: FloatArray, limits: tuple[float, float], count: int) -> tuple[NDArray[np.intp], FloatArray]:
        low, high = np.log(limits)
        at = np.clip((x - low) * ((count - 1) / (high - low)), 0.0, count - 1)
        index = np.minimum(at.astype(np.intp), count - 2)
        return index, at - index

    i, a = place(log_chord, fit["chord_range"], rows)
    k, b = place(np.log(diameter), fit["diameter_range_m"], cols)
    low = table[i, k] + b * (table[i, k + 1] - table[i, k])
    high = table[i + 1, k] + b * (table[i + 1, k + 1] - table[i + 1, k])
    return np.asarray(low + a * (high - low))


MULTIROTOR_MERIT = 0.61
"""Static figure of merit of multirotor propellers at Re75 6.7e4, whatever their blades and pitch: ten bench propellers,
two to four blades, P/D 0.67 to 1.06. 0.64 and 0.68 where torque was measured; 0.63 +- 0.01 on the other eight with the
printed KV and 0.59 with the loaded KV of the motor rule; between them. See data/propellers/SOURCE.md. [-]"""
UNKNOWN_KIND_SHARE = 0.5
"""How far a two-blade propeller of low pitch and unknown kind lies from the aeroplane fit towards the multirotor one:
half way serves the measured two-blade propellers below P/D 0.7 best (median error of C_P 9 % in place of 12 %). [-]"""
_UNKNOWN_KIND_PITCH = (0.55, 0.75)  # P/D where that share begins to fall, and is zero
_MERIT_LOG_RE = 0.3  # ln(Re75/5e4) of those readings
_MERIT_CORNER = 0.06  # width of the soft maximum, in ln FM
_LOG_SQRT_2_OVER_PI = 0.5 * np.log(2.0 / np.pi)


def _multirotor_power(
    log_c_t: FloatArray, terms: dict[str, FloatArray], slope_c_t: FloatArray, slope_c_p: FloatArray
) -> FloatArray:
    """ln C_P of a multirotor propeller: the better of a two-blade label's figure of merit and their own."""
    weights = label_fit()["label"]
    two = {**terms, "b": 0.0 * terms["b"], "pb": 0.0 * terms["pb"]}
    plain = _LOG_SQRT_2_OVER_PI + 1.5 * _total(two, weights["ct"]) - _total(two, weights["cp"])
    own = np.log(MULTIROTOR_MERIT) - _MERIT_LOG_RE * (1.5 * slope_c_t - slope_c_p)
    gap = plain - own
    merit = 0.5 * (plain + own + np.sqrt(gap * gap + _MERIT_CORNER**2))
    return np.asarray(_LOG_SQRT_2_OVER_PI + 1.5 * log_c_t - merit)


def forecast(
    diameter: FloatArray,
    pitch: FloatArray,
    *,
    blades: FloatArray,
    chord_ratio: FloatArray | None,
    multirotor: FloatArray | None = None,
) -> LabelForecast:
    """Forecast of a propeller from its label, with the chord ratio where it is known.

    Parameters
    ----------
    diameter, pitch : ndarray
        As printed. [m]
    blades : ndarray
        Number of blades; above 4 counted as 4. [-]
    chord_ratio : ndarray or None
        Chord at 75 % radius over tip radius; None or NaN where unknown. [-]
    multirotor : ndarray or None
        1 for a multirotor propeller, 0 for an aeroplane propeller. None or NaN: 1 for three or more blades, 0.5 for two
        blades of low pitch.

    Returns
    -------
    LabelForecast
    """
    fit = label_fit()
    ratio = pitch / diameter
    p = np.clip(ratio, *fit["pitch_range"]) - fit["pitch_mid"]
    b = np.log(np.minimum(blades, fit["blades_range"][1]) / 2.0)
    d = np.log(np.clip(diameter, *fit["diameter_range_m"]) / fit["diameter_mid_m"])
    used = default_chord_ratio(diameter)
    terms = {"p": p, "p2": p * p, "b": b, "pb": p * b, "d": d}
    known = None if chord_ratio is None else ~np.isnan(chord_ratio)
    if known is None or not known.any():
        log_c_t, log_c_p = (_total(terms, fit["label"][w]) for w in ("ct", "cp"))
    else:
        assert chord_ratio is not None
        used = np.where(known, chord_ratio, used)
        log_chord = np.log(np.clip(used, *fit["chord_range"]))
        with_chord = {**terms, "c": log_chord - np.log(fit["chord_mid"])}
        log_c_t, log_c_p = (_total(with_chord, fit["chord"][w]) for w in ("ct", "cp"))
        log_c_p = log_c_p + _local_power(log_chord, diameter)
        if not known.all():
            log_c_t = np.where(known, log_c_t, _total(terms, fit["label"]["ct"]))
            log_c_p = np.where(known, log_c_p, _total(terms, fit["label"]["cp"]))
    lp = np.log(np.clip(ratio, 0.2, 1.6) / fit["pitch_mid"])
    log_j0 = _total({"lp": lp, "lp2": lp * lp, "d": d, "b": b}, fit["zero_thrust"])

    def shape(which: str) -> tuple[FloatArray, ...]:
        part = fit["shape"][which]
        return tuple(k0 + k1 * p for k0, k1 in zip(part["common"], part["pitch"], strict=True))

    slope_c_t, slope_c_p = _total(terms, fit["slope"]["ct"]), _total(terms, fit["slope"]["cp"])
    low, high = _UNKNOWN_KIND_PITCH
    unknown = UNKNOWN_KIND_SHARE * np.clip((high - ratio) / (high - low), 0.0, 1.0)
    share = np.where(np.asarray(blades) > 2.5, 1.0, unknown)
    if multirotor is not None:
        share = np.where(np.isnan(multirotor), share, np.nan_to_num(multirotor) > 0.5)
    if chord_ratio is not None:  # with the chord known the two-blade fit needs no kind
        share = np.where(~np.isnan(chord_ratio) & (share < 1.0), 0.0, share)
    if share.any():
        log_c_p = log_c_p + share * (_multirotor_power(log_c_t, terms, slope_c_t, slope_c_p) - log_c_p)
    return LabelForecast(
        log_c_t=log_c_t,
        slope_c_t=slope_c_t,
        log_c_p=log_c_p,
        slope_c_p=slope_c_p,
        zero_thrust_advance_ratio=np.exp(log_j0),
        chord_ratio=used,
        shape_c_t=shape("f"),
        shape_c_p=shape("g"),
    )


def label_spread(
    diameter: FloatArray,
    pitch: FloatArray,
    *,
    blades: FloatArray,
    chord_ratio: FloatArray | None,
    by_eye: ArrayLike = False,
) -> LabelSpread:
    """Spread of ``forecast``: wider for small or low-pitch propellers and outside the range of the fit.

    Parameters
    ----------
    diameter, pitch, blades, chord_ratio : ndarray
        As in ``forecast``. [m, m, -, -]
    by_eye : array_like of bool
        True where the chord ratio is a width judged by eye.

    Returns
    -------
    LabelSpread
    """
    fit = label_fit()
    numbers, ratio = fit["spread"], pitch / diameter
    (low, high), (small, large) = fit["pitch_range"], fit["diameter_range_m"]
    known = np.zeros(np.shape(ratio), dtype=bool) if chord_ratio is None else ~np.isnan(chord_ratio)
    measured = known & ~np.asarray(by_eye)
    (d1, d2), (p1, p2) = numbers["ramp_diameter_m"], numbers["ramp_pitch"]
    wide = np.maximum(np.clip((d2 - diameter) / (d2 - d1), 0.0, 1.0), np.clip((p2 - ratio) / (p2 - p1), 0.0, 1.0))

    def pick(key: str) -> FloatArray:
        values = [
            numbers[form]["narrow"][key] + (numbers[form]["wide"][key] - numbers[form]["narrow"][key]) * wide
            for form in ("chord", "width", "label")
        ]
        return np.where(measured, values[0], np.where(known, values[1], values[2]))

    slack = 1e-6  # so that 3 x 0.0254 m is not under 3 inch
    outside = (ratio < low - slack) | (ratio > high + slack)
    outside = outside | (diameter < small - slack) | (diameter > large + slack)
    outside = outside | (blades > fit["blades_range"][1])
    if chord_ratio is not None:
        outside = outside | (chord_ratio < fit["chord_range"][0]) | (chord_ratio > fit["chord_range"][1])
    extra = np.where(outside, numbers["outside"] ** 2, 0.0)
    # The same extra variance, on the scale of logit(FM/0.85) at a usual FM of 0.55.
    merit_scale = 1.0 / (1.0 - 0.55 / 0.85)
    return LabelSpread(
        log_sd_c_t=np.sqrt(pick("ct") ** 2 + extra),
        log_sd_c_p=np.sqrt(pick("cp") ** 2 + extra),
        correlation=pick("rho"),
        logit_sd_figure_of_merit=np.sqrt(pick("logit_fm") ** 2 + 0.5 * extra * merit_scale**2),
        correlation_c_t_figure_of_merit=pick("rho_fm"),
        log_sd_zero_thrust=np.full(np.shape(wide), numbers["zero_thrust"]),
        correlation_c_t_zero_thrust=np.where(
            measured,
            numbers["chord"]["rho_j0"],
            np.where(known, numbers["width"]["rho_j0"], numbers["label"]["rho_j0"]),
        ),
    )
