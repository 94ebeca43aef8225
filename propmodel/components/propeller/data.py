"""The propeller as data: its fields, its own measured fit, its spread and its range flags."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntFlag

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base.checks import as_floats, check_finite, check_range, keep_arrays

__all__ = ["OwnFit", "Propeller", "RangeFlag", "Spread"]

FloatArray = NDArray[np.float64]


class RangeFlag(IntFlag):
    """Which input lies outside what was measured (bits, added up)."""

    INSIDE = 0
    PITCH = 1
    CHORD = 2
    BLADES = 4
    REYNOLDS = 8
    MACH = 16
    DIAMETER = 32
    ADVANCE = 64
    """Backwards (J < 0, static value held) or beyond 1.5 J0 (disc drag, no measurement)."""


@dataclass(frozen=True)
class OwnFit:
    """A propeller's own measured coefficients; NaN in ``log_c_t`` where an element of an array has none.

    Parameters
    ----------
    log_c_t, slope_c_t, log_c_p, slope_c_p : array_like
        Static C = exp(log_c + slope ln(Re75/5e4)). [-]
    zero_thrust_advance_ratio : array_like
        J at zero thrust, J0. [-]
    shape_c_t, shape_c_p : tuple of array_like
        Three and five polynomial coefficients of C/C_static against J/J0, see ``PreparedPropeller.at``. [-]
    reynolds_low, reynolds_high : array_like
        Range of Re75 measured. [-]
    static_rows : array_like
        Static rows behind it; 0 = none, carried back to J = 0 from advancing rows. [-]
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


OFFSETS = (-100.0, 100.0)
"""Far beyond anything drawn or measured, and still no overflow. [-]"""


def _check_optional(name: str, value: ArrayLike | None, low: float, high: float, unit: str) -> None:
    """Check the known entries of a field that may be None or hold NaN for unknown."""
    if value is not None:
        values = as_floats(name, value)
        check_range(name, np.where(np.isnan(values), low, values), low, high, unit)


@dataclass(frozen=True)
class Propeller:
    """One propeller, or an array of them: every field but ``name`` may be an array, all broadcast together.

    Parameters
    ----------
    diameter : array_like, 0.02 to 1.5
        Tip to tip. [m]
    pitch : array_like
        As printed, 0.1 to 2.5 diameters. [m]
    blades : array_like, 2 to 8
        Number of blades. [-]
    chord_ratio : array_like, 0.03 to 0.6, or None
        Chord at 75 % radius over tip radius; None or NaN = unknown. By eye: narrow 0.125, middle 0.155, wide 0.20,
        which takes a third off the error of a label (``data/propellers/SOURCE.md``). [-]
    mass : array_like, 0 to 2, or None
        None or NaN = the estimate of ``propeller.mass``. [kg]
    multirotor : array_like of bool, or None
        Whether the blade was made to hover fast, as racing propellers are: they keep their figure of merit at pitches
        where propellers of model aeroplanes stall. None or NaN = yes for three blades and more, no for two.
    name : str
    own_fit : OwnFit or None
        Coefficients measured on exactly this propeller.
    log_c_t_offset, figure_of_merit_offset, log_zero_thrust_offset : array_like
        Shifts of ln C_T, of logit(FM/0.85) and of ln J0, for draws and calibration. [-]
    unstalled_offset : array_like
        Shift of the share w by which C_T(J) is straightened, for draws. [-]
    log_inplane_offset : array_like
        Shift of ln of the in-plane force, see :mod:`propmodel.components.inplane`, for draws. [-]
    log_sd_c_t, log_sd_c_p, spread_correlation : array_like or None
        Own spread where measured or calibrated; None or NaN = the spread of the label. [-]

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

    diameter: ArrayLike
    pitch: ArrayLike
    blades: ArrayLike = 2
    chord_ratio: ArrayLike | None = None
    mass: ArrayLike | None = None
    multirotor: ArrayLike | None = None
    name: str = ""
    own_fit: OwnFit | None = None
    log_c_t_offset: ArrayLike = 0.0
    figure_of_merit_offset: ArrayLike = 0.0
    log_zero_thrust_offset: ArrayLike = 0.0
    unstalled_offset: ArrayLike = 0.0
    log_inplane_offset: ArrayLike = 0.0
    log_sd_c_t: ArrayLike | None = None
    log_sd_c_p: ArrayLike | None = None
    spread_correlation: ArrayLike | None = None

    def __post_init__(self) -> None:
        diameter = check_range("diameter", self.diameter, 0.02, 1.5, "m")
        pitch = check_range("pitch", self.pitch, 0.002, 3.75, "m")
        check_range("pitch over diameter", pitch / diameter, 0.1 - 1e-9, 2.5 + 1e-9)
        check_range("blades", self.blades, 2, 8)
        _check_optional("chord_ratio", self.chord_ratio, 0.03, 0.6, "")
        _check_optional("mass", self.mass, 0.0, 2.0, "kg")
        if self.multirotor is not None:
            # True and False are meant here, which a number is not
            flag = float(self.multirotor) if isinstance(self.multirotor, bool) else self.multirotor
            _check_optional("multirotor", flag, 0.0, 1.0, "")
        check_range("log_c_t_offset", self.log_c_t_offset, *OFFSETS)
        check_range("figure_of_merit_offset", self.figure_of_merit_offset, *OFFSETS)
        check_range("log_zero_thrust_offset", self.log_zero_thrust_offset, *OFFSETS)
        check_finite("unstalled_offset", self.unstalled_offset)
        check_range("log_inplane_offset", self.log_inplane_offset, *OFFSETS)
        _check_optional("log_sd_c_t", self.log_sd_c_t, 0.0, 2.0, "")
        _check_optional("log_sd_c_p", self.log_sd_c_p, 0.0, 2.0, "")
        _check_optional("spread_correlation", self.spread_correlation, -1.0, 1.0, "")
        keep_arrays(self)


@dataclass(frozen=True)
class Spread:
    """How far a propeller may lie from its forecast: standard deviations of natural logarithms. [-]

    Parameters
    ----------
    log_sd_c_t, log_sd_c_p, correlation : ndarray
        Of ln C_T and ln C_P, and their correlation. The 80 % interval of C_T is exp(+-1.2816 log_sd_c_t).
    log_sd_figure_of_merit : ndarray
        Of ln FM, at the propeller's own FM.
    logit_sd_figure_of_merit, correlation_c_t_figure_of_merit : ndarray
        Of logit(FM/0.85) and its correlation with ln C_T: **draw in these two**, C_P follows and the figure
        of merit stays physical.
    log_sd_zero_thrust, correlation_c_t_zero_thrust : ndarray
        Of ln J0, and its correlation with ln C_T.
    """

    log_sd_c_t: FloatArray
    log_sd_c_p: FloatArray
    correlation: FloatArray
    log_sd_figure_of_merit: FloatArray
    logit_sd_figure_of_merit: FloatArray
    correlation_c_t_figure_of_merit: FloatArray
    log_sd_zero_thrust: FloatArray
    correlation_c_t_zero_thrust: FloatArray
