"""Records of a propeller: its fields, its measured coefficients, its spread, and range flags."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntFlag
from functools import lru_cache
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base.arrays import FloatArray, floats
from propmodel.base.checks import as_floats, check_in, check_range, keep_arrays, quoted
from propmodel.base.ranges import allowed, check_fields

__all__ = [
    "BLADE_WIDTHS",
    "WIDTH_BOUNDS",
    "OwnFit",
    "Propeller",
    "RangeFlag",
    "Spread",
    "blade_width_index",
    "chord_given",
    "width_by_ruler",
]


class RangeFlag(IntFlag):
    """Inputs outside the measured range, as bits."""

    INSIDE = 0
    PITCH = 1
    CHORD = 2
    BLADES = 4
    REYNOLDS = 8
    MACH = 16
    DIAMETER = 32
    ADVANCE = 64
    """J < 0 (static value used) or J > 1.5 J0 (disc drag, not measured)."""


@dataclass(frozen=True)
class OwnFit:
    """Measured coefficients of a propeller; NaN in ``log_c_t`` for elements of an array without measurements.

    Parameters
    ----------
    log_c_t, slope_c_t, log_c_p, slope_c_p : array_like
        Static C = exp(log_c + slope ln(Re75/5e4)). [-]
    zero_thrust_advance_ratio : array_like
        J at zero thrust, J0. [-]
    shape_c_t, shape_c_p : tuple of array_like
        Three and five polynomial coefficients of C/C_static against J/J0, see ``PreparedPropeller.at``. [-]
    reynolds_low, reynolds_high : array_like
        Measured range of Re75. [-]
    static_rows : array_like
        Number of static measurements; 0 if the static value is extrapolated from rows with J > 0. [-]
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


BLADE_WIDTHS: Mapping[str, float | None] = MappingProxyType(
    {"unknown": None, "slim": 0.125, "middle": 0.155, "broad": 0.20}
)
"""Class of blade width -> chord at 75 % radius over the radius. [-]"""
WIDTH_BOUNDS = (0.07, 0.09)
"""Limits of blade width over diameter between slim, middle and broad, at 75 % radius. [-]"""
_WIDTH_NAMES = tuple(BLADE_WIDTHS)
_WIDTH_CHORDS = np.array([np.nan if v is None else v for v in BLADE_WIDTHS.values()])
_WIDTH_CHORDS.flags.writeable = False


@lru_cache(maxsize=16)
def _width_index(name: str) -> NDArray[np.intp]:
    """Index of one width class, as a 0-d array."""
    found = np.asarray(_WIDTH_NAMES.index(check_in("blade_width", name, _WIDTH_NAMES)))
    found.flags.writeable = False
    return found


def blade_width_index(blade_width: str | int | ArrayLike) -> NDArray[np.intp]:
    """Return the index of each width class in `BLADE_WIDTHS`; indices are returned unchanged.

    Parameters
    ----------
    blade_width : str, array of str or array of int
        Names, or indices.

    Returns
    -------
    ndarray of int
        Same shape as ``blade_width``.

    Raises
    ------
    ValueError
        For an unknown name or index.

    Examples
    --------
    >>> blade_width_index(["unknown", "broad"])
    array([0, 3])
    """
    if isinstance(blade_width, str):
        return _width_index(blade_width)
    try:
        names = np.asarray(blade_width)
    except ValueError:
        raise ValueError(f"blade_width must be a name or a plain list of names, got {quoted(blade_width)}") from None
    if names.dtype.kind == "O" and not all(isinstance(name, str) for name in names.flat):
        raise ValueError(f"blade_width must be a name or a plain list of names, got {quoted(blade_width)}")
    if names.dtype.kind in "iu":
        if np.any((names < 0) | (names >= len(_WIDTH_NAMES))):
            raise ValueError(f"blade_width positions run from 0 to {len(_WIDTH_NAMES) - 1}")
        return names
    asked: list[Any] = np.atleast_1d(names).ravel().tolist()
    known = {name: int(_width_index(name if isinstance(name, str) else quoted(name))) for name in dict.fromkeys(asked)}
    return np.array([known[name] for name in asked], dtype=np.intp).reshape(names.shape)


def width_by_ruler(width: ArrayLike, diameter: ArrayLike) -> NDArray[np.intp]:
    """Return the width class of a blade from its measured width.

    Parameters
    ----------
    width, diameter : array_like
        Width of the blade at 75 % radius, and diameter, in the same unit; NaN for unknown.

    Returns
    -------
    ndarray of int
        Index in `BLADE_WIDTHS`, of the broadcast shape.

    Examples
    --------
    >>> [list(BLADE_WIDTHS)[i] for i in width_by_ruler([8.0, 10.5, 13.0], 130.0)]
    ['slim', 'middle', 'broad']
    """
    share = np.asarray(as_floats("width", width) / as_floats("diameter", diameter))
    return np.where(np.isnan(share), 0, 1 + np.searchsorted(WIDTH_BOUNDS, share, side="right"))


OFFSETS = (-100.0, 100.0)
"""Allowed range of offsets: far beyond drawn or measured values, without overflow. [-]"""


def _check_optional(name: str, value: ArrayLike | None, low: float, high: float, unit: str) -> None:
    """Check the known values of a field; None and NaN mean unknown."""
    if value is not None:
        values = as_floats(name, value)
        check_range(name, np.where(np.isnan(values), low, values), low, high, unit)


@dataclass(frozen=True)
class Propeller:
    """One propeller, or an array of propellers: every field except ``name`` may be an array; all broadcast.

    Parameters
    ----------
    diameter : array_like, 0.02 to 1.5
        Diameter. [m]
    pitch : array_like
        Pitch of the label, 0.1 to 2.5 diameters. [m]
    blades : array_like, 2 to 8
        Number of blades. [-]
    chord_ratio : array_like, 0.03 to 0.6, or None
        Chord at 75 % radius over tip radius, measured; None or NaN = unknown. [-]
    blade_width : str, int or array of them
        Width class judged by eye, a name or index of `BLADE_WIDTHS`; used if ``chord_ratio`` is unknown. At 75 % radius
        a slim blade is less than 7 % of the diameter wide, a broad one 9 % or more. It reduces the error of a label by
        a third (``data/propellers/SOURCE.md``).
    mass : array_like, 0 to 2, or None
        Mass; None or NaN means the estimate of ``propeller.mass``. [kg]
    multirotor : array_like of bool, or None
        True for a multirotor propeller, such as a racing propeller, which keeps its figure of merit at pitches where
        propellers of model aeroplanes stall. None or NaN means True for three or more blades, else False.
    name : str
        Name for display.
    own_fit : OwnFit or None
        Coefficients measured on this propeller.
    log_c_t_offset, figure_of_merit_offset, log_zero_thrust_offset : array_like
        Offsets of ln C_T, of logit(FM/0.85) and of ln J0, for draws and calibration. [-]
    unstalled_offset : array_like
        Offset of the share w in C_T(J), see :mod:`propmodel.components.propeller.advance`, for draws. [-]
    log_inplane_offset : array_like
        Offset of ln of the in-plane force, see :mod:`propmodel.components.inplane`, for draws. [-]
    log_sd_c_t, log_sd_c_p, spread_correlation : array_like or None
        Spread if measured or calibrated; None or NaN means the spread of the label. [-]

    Raises
    ------
    ValueError
        If a field is not a number or outside the stated range.

    Examples
    --------
    >>> Propeller(diameter=0.254, pitch=0.119).blades
    2
    >>> Propeller(diameter=10, pitch=4.7)
    Traceback (most recent call last):
    ...
    ValueError: diameter must be between 0.02 and 1.5 m, got 10 m
    """

    diameter: ArrayLike = field(metadata=allowed(0.02, 1.5, "m"))
    pitch: ArrayLike = field(metadata=allowed(0.002, 3.75, "m"))
    blades: ArrayLike = field(default=2, metadata=allowed(2.0, 8.0))
    chord_ratio: ArrayLike | None = field(default=None, metadata=allowed(0.03, 0.6, nan=True))
    mass: ArrayLike | None = field(default=None, metadata=allowed(0.0, 2.0, "kg", nan=True))
    multirotor: ArrayLike | None = None
    name: str = ""
    own_fit: OwnFit | None = None
    log_c_t_offset: ArrayLike = field(default=0.0, metadata=allowed(*OFFSETS))
    figure_of_merit_offset: ArrayLike = field(default=0.0, metadata=allowed(*OFFSETS))
    log_zero_thrust_offset: ArrayLike = field(default=0.0, metadata=allowed(*OFFSETS))
    unstalled_offset: ArrayLike = field(default=0.0, metadata=allowed(-np.inf))
    log_inplane_offset: ArrayLike = field(default=0.0, metadata=allowed(*OFFSETS))
    log_sd_c_t: ArrayLike | None = field(default=None, metadata=allowed(0.0, 2.0, nan=True))
    log_sd_c_p: ArrayLike | None = field(default=None, metadata=allowed(0.0, 2.0, nan=True))
    spread_correlation: ArrayLike | None = field(default=None, metadata=allowed(-1.0, 1.0, nan=True))
    blade_width: str | int | NDArray = "unknown"

    def __post_init__(self) -> None:
        check_fields(self)
        check_range("pitch over diameter", floats(self.pitch) / floats(self.diameter), 0.1 - 1e-9, 2.5 + 1e-9)
        blade_width_index(self.blade_width)
        if self.multirotor is not None:
            # only True and False are valid here, not other numbers
            flag = float(self.multirotor) if isinstance(self.multirotor, bool) else self.multirotor
            _check_optional("multirotor", flag, 0.0, 1.0, "")
        keep_arrays(self)


def chord_given(propeller: Propeller) -> tuple[FloatArray | None, NDArray[np.bool_]]:
    """Return the given chord ratio of a blade, measured or from its width class, and which of the two it is.

    Parameters
    ----------
    propeller : Propeller
        The propeller.

    Returns
    -------
    (chord_ratio, by_eye)
        Chord ratio: None if unknown for all elements, NaN for unknown elements [-]; True where it is from the class.

    Examples
    --------
    >>> chord_given(Propeller(0.13, 0.11, 3, blade_width="middle"))
    (array(0.155), array(True))
    """
    measured = None if propeller.chord_ratio is None else np.asarray(propeller.chord_ratio, dtype=np.float64)
    width = blade_width_index(propeller.blade_width)
    if not width.any():
        return measured, np.zeros((), dtype=np.bool_)
    seen = _WIDTH_CHORDS[width]
    if measured is None:
        return np.asarray(seen), np.asarray(width > 0)
    unknown = np.isnan(measured)
    return np.where(unknown, seen, measured), unknown & (width > 0)


@dataclass(frozen=True)
class Spread:
    """Spread of a propeller about its forecast: standard deviations and correlations. [-]

    Parameters
    ----------
    log_sd_c_t, log_sd_c_p, correlation : ndarray
        Standard deviations of ln C_T and ln C_P, and their correlation. The 80 % interval of C_T is a factor of
        exp(+-1.2816 log_sd_c_t).
    log_sd_figure_of_merit : ndarray
        Standard deviation of ln FM, at the FM of this propeller.
    logit_sd_figure_of_merit, correlation_c_t_figure_of_merit : ndarray
        Standard deviation of logit(FM/0.85), and its correlation with ln C_T. **Draw these two**: C_P follows, and the
        figure of merit remains physical.
    log_sd_zero_thrust, correlation_c_t_zero_thrust : ndarray
        Standard deviation of ln J0, and its correlation with ln C_T.
    """

    log_sd_c_t: FloatArray
    log_sd_c_p: FloatArray
    correlation: FloatArray
    log_sd_figure_of_merit: FloatArray
    logit_sd_figure_of_merit: FloatArray
    correlation_c_t_figure_of_merit: FloatArray
    log_sd_zero_thrust: FloatArray
    correlation_c_t_zero_thrust: FloatArray
