"""Propeller: thrust and power coefficients against advance ratio and speed, with the spread of the forecast.

Propeller convention throughout: C_T = T/(rho n^2 D^4), C_P = P/(rho n^3 D^5) = 2 pi C_Q, J = V/(n D), n in
rev/s. The parts: ``data`` (fields), ``label_fit`` (label forecast), ``prepared`` (coefficients), ``measured_set``
(measured propellers). Use them through this module.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from propmodel.base.arrays import FloatArray, floats
from propmodel.base.checks import as_floats, check_range
from propmodel.base.units import INCH
from propmodel.components.air import STANDARD, Air
from propmodel.components.propeller import label_fit
from propmodel.components.propeller.data import (
    BLADE_WIDTHS,
    WIDTH_BOUNDS,
    OwnFit,
    Propeller,
    RangeFlag,
    Spread,
    blade_width_index,
    chord_given,
    width_by_ruler,
)
from propmodel.components.propeller.measured_set import current_name, measured, measured_names, stack
from propmodel.components.propeller.prepared import FM_CEILING, MACH_MEASURED, PreparedPropeller, prepare

__all__ = [
    "BLADE_WIDTHS",
    "WIDTH_BOUNDS",
    "OwnFit",
    "PreparedPropeller",
    "Propeller",
    "RangeFlag",
    "Spread",
    "blade_width_index",
    "coefficients",
    "current_name",
    "inertia",
    "mass",
    "measured",
    "measured_names",
    "pitch_speed",
    "prepare",
    "spread",
    "stack",
    "width_by_ruler",
]

# Estimate: 0.057 g x (inch of diameter)^2 x blades; a two-blade 10-inch is then 11 g, a tri-blade 5-inch
# 4.3 g.
_MASS_PER_BLADE = 0.057e-3 / INCH**2  # [kg/m^2]
_OWN_ZERO_THRUST_SD = 0.02  # within one measured propeller


def coefficients(
    propeller: Propeller, advance_ratio: ArrayLike, rev_per_s: ArrayLike, air: Air
) -> tuple[FloatArray, FloatArray]:
    """Thrust and power coefficients; everything broadcasts.

    Parameters
    ----------
    propeller : Propeller
    advance_ratio : array_like
        J = V/(n D); below 0 the static value is used. [-]
    rev_per_s : array_like, >= 0
        n. [1/s]
    air : propmodel.air.Air

    Returns
    -------
    (c_t, c_p) : tuple of ndarray
        [-]

    Raises
    ------
    ValueError
        If a speed is below 0, or either is no finite number.

    Examples
    --------
    >>> c_t, c_p = coefficients(measured("m062"), 0.0, 4590 / 60, STANDARD)
    >>> round(float(c_t), 2), round(float(c_p), 3)
    (0.12, 0.049)
    """
    speed = check_range("rev_per_s", rev_per_s, 0.0, 1e5, "1/s")
    return prepare(propeller, air).at(check_range("advance_ratio", advance_ratio, -1e3, 1e3), speed)


def spread(propeller: Propeller, *, tip_mach: ArrayLike = 0.0) -> Spread:
    """How far the propeller may lie from its forecast.

    A measured or calibrated propeller brings its own spread (about 2 %); for a label it is what is left
    between propellers of one label, wider for small and low-pitch ones and outside the range of the fit. A width
    judged by eye leaves less than a label alone, a measured one least.

    Parameters
    ----------
    propeller : Propeller
    tip_mach : array_like
        Tip Mach number; above 0.62, where nothing is measured, C_P widens by 0.15 per 0.2 (an estimate). [-]

    Returns
    -------
    Spread

    Examples
    --------
    >>> five = spread(Propeller(diameter=0.127, pitch=0.109, blades=3))
    >>> bool(five.log_sd_c_t < five.log_sd_c_p)
    True
    """
    d, pitch, blades = floats(propeller.diameter), floats(propeller.pitch), floats(propeller.blades)
    chord, by_eye = chord_given(propeller)
    label = label_fit.label_spread(d, pitch, blades=blades, chord_ratio=chord, by_eye=by_eye)
    ready = prepare(propeller, STANDARD)
    # The figure of merit that turns ln FM into logit(FM/0.85), at Re75 = 50,000.
    c_t, c_p = ready.static(5.0e4 / ready.reynolds_factor)
    room = 1.0 - np.minimum(np.sqrt(2.0 / np.pi) * c_t * np.sqrt(c_t) / c_p, 0.83) / FM_CEILING
    nan = np.nan
    own_t, own_p, own_rho = (
        floats(nan if v is None else v)
        for v in (propeller.log_sd_c_t, propeller.log_sd_c_p, propeller.spread_correlation)
    )
    sd_t = np.where(np.isnan(own_t), label.log_sd_c_t, own_t)
    sd_p = np.where(np.isnan(own_p), label.log_sd_c_p, own_p)
    rho = np.where(np.isnan(own_rho), label.correlation, own_rho)
    # With an own spread the figure of merit follows from FM ~ C_T^1.5/C_P.
    own = ~(np.isnan(own_t) & np.isnan(own_p))
    sd_fm = np.sqrt(np.maximum(2.25 * sd_t**2 + sd_p**2 - 3.0 * rho * sd_t * sd_p, 1e-12))
    logit_sd = np.where(own, sd_fm / room, label.logit_sd_figure_of_merit)
    rho_fm = np.where(own, np.clip((1.5 * sd_t - rho * sd_p) / sd_fm, -1.0, 1.0), label.correlation_c_t_figure_of_merit)
    has_fit = False if propeller.own_fit is None else ~np.isnan(floats(propeller.own_fit.log_c_t))
    wider = 0.15 * np.maximum(as_floats("tip_mach", tip_mach) - MACH_MEASURED, 0.0) / 0.2
    return Spread(
        log_sd_c_t=sd_t,
        log_sd_c_p=np.sqrt(sd_p**2 + wider**2),
        correlation=rho,
        log_sd_figure_of_merit=np.sqrt((logit_sd * room) ** 2 + wider**2),
        logit_sd_figure_of_merit=np.sqrt(logit_sd**2 + (wider / room) ** 2),
        correlation_c_t_figure_of_merit=rho_fm,
        log_sd_zero_thrust=np.where(has_fit, _OWN_ZERO_THRUST_SD, label.log_sd_zero_thrust),
        correlation_c_t_zero_thrust=np.where(has_fit, 0.0, label.correlation_c_t_zero_thrust),
    )


def mass(propeller: Propeller) -> FloatArray:
    """Mass of one propeller: the given one, else an estimate from diameter and blades.

    Parameters
    ----------
    propeller : Propeller

    Returns
    -------
    ndarray
        Given, or 0.057 g x (diameter in inch)^2 x blades (estimate, for moulded plastic). [kg]

    Examples
    --------
    >>> round(float(mass(Propeller(diameter=0.127, pitch=0.109, blades=3))) * 1e3, 1)
    4.3
    """
    guess = _MASS_PER_BLADE * floats(propeller.diameter) ** 2 * floats(propeller.blades)
    if propeller.mass is None:
        return np.asarray(guess)
    given = floats(propeller.mass)
    return np.where(np.isnan(given), guess, given)


def inertia(propeller: Propeller) -> FloatArray:
    """Moment of inertia about the shaft, m R^2/6.

    Estimate: between uniform rods (1/3) and all mass at the hub (0), for blades that taper in width and
    thickness and a solid hub.

    Parameters
    ----------
    propeller : Propeller

    Returns
    -------
    ndarray
        [kg m^2]

    Examples
    --------
    >>> round(float(inertia(Propeller(diameter=0.2, pitch=0.1, mass=0.006))) * 1e6, 1)
    10.0
    """
    radius = 0.5 * floats(propeller.diameter)
    return mass(propeller) * (radius * radius) / 6.0


def pitch_speed(propeller: Propeller, rev_per_s: ArrayLike) -> FloatArray:
    """Pitch times rotational speed. Zero thrust lies above it (J0 > pitch/diameter).

    Parameters
    ----------
    propeller : Propeller
    rev_per_s : array_like
        n. [1/s]

    Returns
    -------
    ndarray
        [m/s]

    Examples
    --------
    >>> round(float(pitch_speed(Propeller(diameter=0.254, pitch=4.7 * 0.0254), 6528 / 60)), 2)
    12.99
    """
    return floats(propeller.pitch) * as_floats("rev_per_s", rev_per_s)
