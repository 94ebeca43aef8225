"""What the label of a propeller says: the fitted forecast of its coefficients, and how far it may be off.

The numbers are fits to the UIUC propeller measurements (Brandt, Deters, Ananda, Dantsker, Selig) and, for the label
alone, to the bench tables of multirotor propellers; ``data/propellers/SOURCE.md`` tells how and how well.
Valid for pitch/diameter 0.3 to 1.2, chord ratio 0.10 to 0.28, 2 to 4 blades, diameter 3 to 15 inch, blade Reynolds
number 8,000 to 120,000. Outside, the nearest edge is used and ``range_status`` of the prepared propeller says so.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel import tables

__all__ = ["LabelForecast", "default_chord_ratio", "forecast", "label_fit"]

FloatArray = NDArray[np.float64]


@lru_cache(maxsize=1)
def label_fit() -> dict[str, Any]:
    """Coefficients of the label fit, as written by ``data/propellers/fit_propellers.py``."""
    fit: dict[str, Any] = json.loads(tables.data_path("propellers", "label_fit.json").read_text())
    return fit


def default_chord_ratio(diameter: ArrayLike) -> FloatArray:
    """Chord ratio taken for the Reynolds number of a blade whose chord nobody measured.

    Parameters
    ----------
    diameter : array_like, > 0
        Propeller diameter. [m]

    Returns
    -------
    ndarray
        Chord at 75 % radius over tip radius: the trend of the 114 measured blades. [-]

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
    """Static coefficients C = exp(log_c + slope ln(Re/5e4)) and the advance-ratio shape, one entry per propeller."""

    log_c_t: FloatArray
    slope_c_t: FloatArray
    log_c_p: FloatArray
    slope_c_p: FloatArray
    zero_thrust_advance_ratio: FloatArray
    chord_ratio: FloatArray
    shape_c_t: tuple[FloatArray, ...]
    shape_c_p: tuple[FloatArray, ...]


def forecast(
    diameter: FloatArray, pitch: FloatArray, *, blades: FloatArray, chord_ratio: FloatArray | None
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

    Returns
    -------
    LabelForecast
    """
    fit = label_fit()
    ratio = pitch / diameter
    p = np.clip(ratio, *fit["pitch_range"]) - fit["pitch_mid"]
    p2 = p * p
    b = np.log(np.minimum(blades, fit["blades_range"][1]) / 2.0)
    d = np.log(np.clip(diameter, *fit["diameter_range_m"]) / fit["diameter_mid_m"])
    used = default_chord_ratio(diameter)

    def total(terms: dict[str, FloatArray | float], weights: dict[str, float]) -> FloatArray:
        out = weights["one"]
        for name, weight in weights.items():
            if name != "one":
                out = out + weight * terms[name]
        return np.asarray(out, dtype=np.float64)

    terms: dict[str, FloatArray | float] = {"p": p, "p2": p2, "b": b, "pb": p * b, "d": d}
    if chord_ratio is None or np.isnan(chord_ratio).all():
        log_c_t, log_c_p = (total(terms, fit["label"][w]) for w in ("ct", "cp"))
    else:
        known = ~np.isnan(chord_ratio)
        used = np.where(known, chord_ratio, used)
        c = np.log(np.clip(used, *fit["chord_range"]) / fit["chord_mid"])
        with_chord = {**terms, "c": c, "pc": p * c}
        log_c_t, log_c_p = (total(with_chord, fit["chord"][w]) for w in ("ct", "cp"))
        if not known.all():
            log_c_t = np.where(known, log_c_t, total(terms, fit["label"]["ct"]))
            log_c_p = np.where(known, log_c_p, total(terms, fit["label"]["cp"]))
    lp = np.log(np.clip(ratio, 0.2, 1.6) / fit["pitch_mid"])
    log_j0 = total({"lp": lp, "lp2": lp * lp, "d": d, "b": b}, fit["zero_thrust"])

    def shape(which: str) -> tuple[FloatArray, ...]:
        return tuple(k0 + k1 * p for k0, k1 in zip(fit["shape"][which]["common"], fit["shape"][which]["pitch"], strict=True))

    return LabelForecast(
        log_c_t=log_c_t,
        slope_c_t=total(terms, fit["slope"]["ct"]),
        log_c_p=log_c_p,
        slope_c_p=total(terms, fit["slope"]["cp"]),
        zero_thrust_advance_ratio=np.exp(log_j0),
        chord_ratio=used,
        shape_c_t=shape("f"),
        shape_c_p=shape("g"),
    )
