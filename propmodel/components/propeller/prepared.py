"""A propeller in given air, prepared for fast evaluation of its coefficients at any speed.

Order of the static model: fit of the label or of the propeller at the clamped Reynolds number; cap on the figure of
merit by an increase of C_P (0.75 is unchanged, 0.79 becomes 0.785, the limit is 0.82); offsets of draws or calibration
in ln C_T and logit(FM/0.85), so that no draw reaches 0.85; increase of C_P with tip Mach number above 0.4, fitted to
bench tables and makers' tables up to 0.62 (data/motors/SOURCE.md). With advance ratio: polynomials of J/J0, which are 1
at rest, and C_T is 0 at J0.

Longer than others because the coefficients are the innermost loop of all results: functions, breakpoints and slopes are
in one place, so that they are changed together.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.base.arrays import FloatArray, floats
from propmodel.components.air import Air
from propmodel.components.propeller import label_fit
from propmodel.components.propeller.advance import POWER_SHARE, unstalled_share
from propmodel.components.propeller.data import OwnFit, Propeller, RangeFlag, chord_given

__all__ = [
    "FM_CEILING",
    "IDEAL_MARGIN",
    "MACH_KNEE",
    "MACH_MEASURED",
    "MACH_RISE",
    "PreparedPropeller",
    "prepare",
    "smooth_cap",
]

IntArray = NDArray[np.int64]

FM_CEILING = 0.85
"""Upper limit of the figure of merit of all draws; the highest measured static value is 0.79 (UIUC). [-]"""
_FM_KNEE, _FM_ROOM = 0.75, 0.07
MACH_KNEE = 0.4
"""Tip Mach number from which C_P increases; 0.3 to 0.45 fit equally well. [-] Chosen."""
MACH_RISE = 4.0
"""C_P x (1 + 4.0 (M - 0.4)^2); 4.0 +- 0.8. [-] Fitted."""
MACH_MEASURED = 0.62
"""Highest tip Mach number in that fit. [-]"""
IDEAL_MARGIN = 1.03
"""Lower limit of shaft power over induced plus climb power. [-]"""
_LOG_REFERENCE = float(np.log(5.0e4))  # of Re75
_MERIT = float(np.sqrt(2.0 / np.pi))  # FM = sqrt(2/pi) C_T^1.5 / C_P, propeller convention
_CLOSE_BY = 1e-6  # of n
_LEAST_POWER = 0.05  # of the static one; the least in any row of the source is 0.03
_FURTHEST = np.asarray(1.0e3)  # J/J0 beyond which nothing changes but J itself
# 0-d arrays are faster in numpy calls than Python floats, and these lines run millions of times
_ZERO, _HALF, _ONE, _TWO, _THREE = (np.asarray(x) for x in (0.0, 0.5, 1.0, 2.0, 3.0))
_LEAST, _MARGIN, _DISC = (np.asarray(x) for x in (_LEAST_POWER, IDEAL_MARGIN, 2.0 / np.pi))
_RISE_KNEE = np.asarray(MACH_KNEE * np.sqrt(MACH_RISE))


def smooth_cap(figure_of_merit: ArrayLike) -> FloatArray:
    """Figure of merit of the forecast after its cap.

    Parameters
    ----------
    figure_of_merit : array_like
        Figure of merit of the fit. [-]

    Returns
    -------
    ndarray
        Same shape: unchanged up to 0.75, then approaching 0.82. [-]

    Examples
    --------
    >>> smooth_cap([0.7, 0.79, 1.2]).round(3)
    array([0.7  , 0.785, 0.819])
    """
    merit = floats(figure_of_merit)
    over = np.maximum((merit - _FM_KNEE) / _FM_ROOM, 0.0)
    return np.minimum(merit, _FM_KNEE) + _FM_ROOM * over / np.sqrt(1.0 + over * over)


@dataclass(frozen=True)
class PreparedPropeller:
    """Quantities of a propeller in given air that do not depend on its speed; returned by ``prepare``.

    Parameters
    ----------
    log_c_t, slope_c_t, log_c_p, slope_c_p : ndarray
        Static C = exp(log_c + slope ln(Re75/5e4)). [-]
    base_c_t, base_c_p : ndarray
        Static C extrapolated to Re75 = 1. [-]
    middle_c_p : ndarray
        Static C_P at Re75 = 50,000, an initial value for solvers. [-]
    reynolds_factor : ndarray
        Re75 over n: 0.375 pi D^2 (c75/R) rho/mu. [s]
    reynolds_low, reynolds_high : ndarray
        Clamp of Re75 in the fit. [-]
    mach_factor : ndarray
        Tip Mach number over n: pi D/a. [s]
    c_t_multiplier, fm_odds_ratio : ndarray
        exp of the offsets in ln C_T and logit(FM/0.85). [-]
    has_offsets : bool
        True if any such offset is not zero.
    capped : bool
        True if the figure of merit exceeds 0.75 at some Reynolds number, so that the cap applies.
    zero_thrust_advance_ratio : ndarray
        J at zero thrust, J0. [-]
    shape_c_t, shape_c_p : tuple of ndarray
        Polynomial coefficients of ``at``. [-]
    breakpoints : tuple of float
        J/J0 at which disc drag starts, the power polynomial ends, its constant part ends, and power is zero. [-]
    bulge_share, power_lost : ndarray
        1 - w and 0.7 w, see `components.propeller.advance`. [-]
    straightened : bool
        True if w differs from 0 for any element.
    inplane_factor : ndarray
        exp of the offset in ln of the in-plane force. [-]
    measured_low, measured_high : ndarray
        Range of Re75 of the fit. [-]
    fixed_flags : ndarray of int
        ``RangeFlag`` bits that do not depend on speed.
    """

    log_c_t: FloatArray
    slope_c_t: FloatArray
    log_c_p: FloatArray
    slope_c_p: FloatArray
    base_c_t: FloatArray
    base_c_p: FloatArray
    middle_c_p: FloatArray
    reynolds_factor: FloatArray
    reynolds_low: FloatArray
    reynolds_high: FloatArray
    mach_factor: FloatArray
    c_t_multiplier: FloatArray
    fm_odds_ratio: FloatArray
    has_offsets: bool
    capped: bool
    zero_thrust_advance_ratio: FloatArray
    shape_c_t: tuple[FloatArray, ...]
    shape_c_p: tuple[FloatArray, ...]
    breakpoints: tuple[float, float, float, float]
    bulge_share: FloatArray
    power_lost: FloatArray
    straightened: bool
    inplane_factor: FloatArray
    measured_low: FloatArray
    measured_high: FloatArray
    fixed_flags: IntArray

    def reynolds_75(self, rev_per_s: ArrayLike) -> FloatArray:
        """Reynolds number of the chord at 75 % radius, from rotation alone.

        An unknown chord is taken as ``label_fit.default_chord_ratio`` of the diameter.

        Parameters
        ----------
        rev_per_s : array_like
            n. [1/s]
        """
        return self.reynolds_factor * floats(rev_per_s)

    def tip_mach(self, rev_per_s: ArrayLike) -> FloatArray:
        """Mach number of the tip, from rotation alone.

        Parameters
        ----------
        rev_per_s : array_like
            n. [1/s]
        """
        return self.mach_factor * floats(rev_per_s)

    # The same fit as a function of speed: ln C = speed_c + slope ln(n), with n clipped to a range.

    @cached_property
    def clamp_low_speed(self) -> FloatArray:
        """Speed below which the coefficients are constant. [1/s]"""
        return floats(self.reynolds_low / self.reynolds_factor)

    @cached_property
    def clamp_high_speed(self) -> FloatArray:
        """Speed above which the coefficients are constant. [1/s]"""
        return floats(self.reynolds_high / self.reynolds_factor)

    @cached_property
    def speed_c_t(self) -> FloatArray:
        """ln C_T extrapolated to n = 1/s. [-]"""
        return floats(self.base_c_t + self.slope_c_t * np.log(self.reynolds_factor))

    @cached_property
    def speed_c_p(self) -> FloatArray:
        """ln C_P extrapolated to n = 1/s. [-]"""
        return floats(self.base_c_p + self.slope_c_p * np.log(self.reynolds_factor))

    def _held(self, n: FloatArray) -> FloatArray:
        """Return the speed clipped to the range of the fit. [1/s]"""
        return np.minimum(np.maximum(n, self.clamp_low_speed), self.clamp_high_speed)

    def static_c_t(self, rev_per_s: ArrayLike) -> FloatArray:
        """Static C_T only, at half the cost of ``static``.

        Parameters
        ----------
        rev_per_s : array_like
            n. [1/s]
        """
        c_t = np.exp(self.speed_c_t + self.slope_c_t * np.log(self._held(floats(rev_per_s))))
        return c_t * self.c_t_multiplier if self.has_offsets else c_t

    def static(self, rev_per_s: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """C_T and C_P at rest.

        Parameters
        ----------
        rev_per_s : array_like, >= 0
            n. [1/s]

        Returns
        -------
        (c_t, c_p) : tuple of ndarray
            [-]
        """
        n = floats(rev_per_s)
        log_n = np.log(self._held(n))
        c_t = np.exp(self.speed_c_t + self.slope_c_t * log_n)
        c_p = np.exp(self.speed_c_p + self.slope_c_p * log_n)
        if self.capped or self.has_offsets:
            ideal = _MERIT * c_t * np.sqrt(c_t)
            merit = ideal / c_p
            high = merit > _FM_KNEE
            if high.any():
                if np.ndim(merit):  # few elements are above the limit: change only those
                    merit[high] = smooth_cap(merit[high])
                    c_p[high] = ideal[high] / merit[high]
                else:
                    merit = smooth_cap(merit)
                    c_p = ideal / merit
            if self.has_offsets:
                # logit(FM/0.85) is offset by ln(odds), ln C_T by ln(factor); C_P follows from C_T^1.5/FM
                c_t = c_t * self.c_t_multiplier
                room = FM_CEILING + merit * (self.fm_odds_ratio - 1.0)
                c_p = (
                    c_p * self.c_t_multiplier * np.sqrt(self.c_t_multiplier) * room / (FM_CEILING * self.fm_odds_ratio)
                )
        return c_t, self._fast_tips(n, c_p)

    def static_c_p_with_slope(self, rev_per_s: ArrayLike, *, fast_tips: bool = True) -> tuple[FloatArray, FloatArray]:
        """C_P at rest with its slope d ln C_P/d ln n, for Newton's method on a speed.

        Parameters
        ----------
        rev_per_s : array_like, >= 0
            n. [1/s]
        fast_tips : bool
            False if all speeds are known to be below ``mach_knee_speed``.

        Returns
        -------
        (c_p, slope) : tuple of ndarray
            [-]
        """
        n = floats(rev_per_s)
        if self.capped or self.has_offsets:
            # with cap or offsets the slope is a finite difference
            c_p, beside = self.static(n)[1], self.static(n * (1.0 + _CLOSE_BY))[1]
            return c_p, (beside / c_p - _ONE) / _CLOSE_BY
        held = self._held(n)
        slope = self.slope_c_p * (held == n)
        c_p = np.exp(self.speed_c_p + self.slope_c_p * np.log(held))
        if fast_tips:
            mach = self._mach * n
            fast = np.maximum(mach - _RISE_KNEE, _ZERO)
            rise = fast * fast
            rise += _ONE
            fast += fast
            fast *= mach
            fast /= rise
            c_p, slope = c_p * rise, slope + fast
        return c_p, slope

    @cached_property
    def mach_knee_speed(self) -> float:
        """Speed up to which the tip Mach number of all elements is below `MACH_KNEE`. [1/s]"""
        return float(np.min(MACH_KNEE / self.mach_factor, initial=np.inf))

    @cached_property
    def _mach(self) -> FloatArray:
        """Tip Mach number over n, times the root of the rise: c_p (1 + x^2) with x above its knee. [s]"""
        return floats(self.mach_factor * np.sqrt(MACH_RISE))

    def _fast_tips(self, n: FloatArray, c_p: FloatArray) -> FloatArray:
        """C_P with its increase above the tip Mach number `MACH_KNEE`. [-]"""
        if n.max(initial=0.0) <= self.mach_knee_speed:
            return c_p
        fast = np.maximum(self._mach * n - _RISE_KNEE, _ZERO)
        return c_p * (fast * fast + _ONE)

    def at(self, advance_ratio: ArrayLike, rev_per_s: ArrayLike) -> tuple[FloatArray, FloatArray]:
        r"""C_T and C_P at an advance ratio.

        .. math::
            C_T/C_{T0} = (1-u)(1 + (1-w) e), \quad e = k_1 u + k_2 u^2 + k_3 u^3, \quad
            C_P/C_{P0} = (1 + c_1 u + ... + c_5 u^5)(1 - 0.7 w e/(1+e))

        with u = J/J0 and w of `components.propeller.advance`. Beyond u = 1.5 C_T is proportional to J^2 (constant
        disc-drag coefficient). C_P is constant from u = 1.1 to 1.5 and falls to 0 at 2: negative torque is neither
        measured nor modelled. Below J = 0 the static value is used. C_P is at least 1.03 times induced plus climb
        power.

        Parameters
        ----------
        advance_ratio : array_like
            J = V/(n D), V along the shaft. [-]
        rev_per_s : array_like, >= 0
            n. [1/s]

        Returns
        -------
        (c_t, c_p) : tuple of ndarray
            [-]
        """
        still, c_p = self.static(rev_per_s)
        end_t, end_p, hold, zero = self.breakpoints
        j0 = self.zero_thrust_advance_ratio
        u = np.maximum(floats(advance_ratio), _ZERO) / j0
        most = np.max(u, initial=0.0)  # NaN if a build has no solution
        slow = most <= end_p
        if not slow:
            u = np.minimum(u, _FURTHEST)
        x = u if slow else np.minimum(u, end_t)
        k1, k2, k3 = self.shape_c_t
        bulge = _cubic(x, k1, k2, k3)
        if self.straightened:
            c_t = (_ONE - x) * (_ONE + self.bulge_share * bulge)
            lost = self.power_lost * bulge
            lost /= np.maximum(_ONE + bulge, _LEAST)
            c_p = c_p * (_ONE - lost)
        else:
            c_t = (_ONE - x) * (_ONE + bulge)
        c_t = c_t * still
        if not slow:
            x = np.minimum(u, end_p)
        a, b, c, d, e = self.shape_c_p
        share = _cubic(x, c, d, e)
        share += b
        share *= x
        share += a
        share *= x
        share += _ONE
        c_p = c_p * np.maximum(share, _LEAST)
        if not (slow or most <= end_t):
            far = np.maximum(u, end_t) / end_t
            c_t = c_t * (far * far)
            c_p = c_p * np.clip((zero - u) / (zero - hold), 0.0, 1.0)
        # Induced plus climb power of an ideal disc: C_T (J + v/(nD)), v from momentum theory in climb.
        lift_coefficient = np.maximum(c_t, _ZERO)
        half = _HALF * j0 * u
        ideal = np.sqrt(half * half + _DISC * lift_coefficient)
        ideal += half
        ideal *= lift_coefficient
        ideal *= _MARGIN
        return c_t, np.maximum(c_p, ideal)

    def thrust_with_slope(self, advance_ratio: ArrayLike, rev_per_s: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """C_T and its slope against J at an advance ratio, for Newton's method on a thrust.

        Parameters
        ----------
        advance_ratio : array_like
            J. [-]
        rev_per_s : array_like, >= 0
            n. [1/s]

        Returns
        -------
        (c_t, slope) : tuple of ndarray
            The slope is that at J = 1.5 J0 beyond it. [-]
        """
        still = self.static_c_t(rev_per_s)
        end_t = self.breakpoints[0]
        j0 = self.zero_thrust_advance_ratio
        u = np.maximum(floats(advance_ratio), _ZERO) / j0
        beyond = not np.max(u, initial=0.0) <= end_t
        if beyond:
            u = np.minimum(u, _FURTHEST)
        x = np.minimum(u, end_t) if beyond else u
        k1, k2, k3, twice_k2, thrice_k3 = self._scaled_bulge
        left = _ONE - x
        rise = _cubic(x, k1, k2, k3)
        rise += _ONE
        slope = x * thrice_k3 + twice_k2
        slope *= x
        slope += k1
        slope *= left
        slope -= rise
        slope = slope * (still / j0)
        c_t = still * left
        c_t *= rise
        if beyond:
            far = np.maximum(u, end_t) / end_t
            c_t = c_t * (far * far)
        return c_t, slope

    @cached_property
    def _scaled_bulge(self) -> tuple[FloatArray, ...]:
        """Return k1, k2, k3 times (1 - w), and the corresponding coefficients of the slope. [-]"""
        k1, k2, k3 = (self.bulge_share * k if self.straightened else k for k in self.shape_c_t)
        return k1, k2, k3, floats(_TWO * k2), floats(_THREE * k3)

    def range_status(self, rev_per_s: ArrayLike, advance_ratio: ArrayLike = 0.0) -> IntArray:
        """Return the bits of ``RangeFlag`` for inputs outside the measured range.

        Parameters
        ----------
        rev_per_s : array_like
            n. [1/s]
        advance_ratio : array_like
            J. [-]

        Returns
        -------
        ndarray of int
        """
        n, j = floats(rev_per_s), floats(advance_ratio)
        re = self.reynolds_factor * n
        flags = self.fixed_flags + np.where(
            (re < self.measured_low) | (re > self.measured_high), int(RangeFlag.REYNOLDS), 0
        )
        flags = flags + np.where(self.mach_factor * n > MACH_MEASURED, int(RangeFlag.MACH), 0)
        outside = (j < 0.0) | (j > self.breakpoints[0] * self.zero_thrust_advance_ratio)
        return np.asarray(flags + np.where(outside, int(RangeFlag.ADVANCE), 0))


def _cubic(x: FloatArray, a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """Return a x + b x^2 + c x^3, computed in place because it runs millions of times."""
    value = x * c + b
    value *= x
    value += a
    value *= x
    return value


def _own_clamp(own: OwnFit, low: float, high: float) -> tuple[FloatArray, FloatArray]:
    """Range of Re75 for a measured propeller: its slope is extrapolated at most by a factor of 2."""
    first, last = floats(own.reynolds_low), floats(own.reynolds_high)
    return np.minimum(first, np.maximum(low, first / 2.0)), np.maximum(last, np.minimum(high, last * 2.0))


def prepare(propeller: Propeller, air: Air) -> PreparedPropeller:
    """Compute all quantities that do not depend on speed.

    Parameters
    ----------
    propeller : Propeller
        The propeller.
    air : Air
        The air; broadcasts with the propeller.

    Returns
    -------
    PreparedPropeller
        Of the broadcast shape.

    Examples
    --------
    >>> from propmodel.components.air import STANDARD
    >>> ready = prepare(Propeller(diameter=0.254, pitch=0.119), STANDARD)
    >>> round(float(ready.tip_mach(108.8)), 3)
    0.255
    """
    fit = label_fit.label_fit()
    d, pitch, blades = floats(propeller.diameter), floats(propeller.pitch), floats(propeller.blades)
    chord, _ = chord_given(propeller)
    made_for = None if propeller.multirotor is None else np.asarray(propeller.multirotor, dtype=np.float64)
    label = label_fit.forecast(d, pitch, blades=blades, chord_ratio=chord, multirotor=made_for)
    base = (label.log_c_t, label.slope_c_t, label.log_c_p, label.slope_c_p, label.zero_thrust_advance_ratio)
    shape_c_t, shape_c_p = label.shape_c_t, label.shape_c_p
    low, high = (floats(v) for v in fit["reynolds_range"])
    measured_low, measured_high = low, high
    ratio, slack = pitch / d, 1e-6  # slack: 3 x 0.0254 m is not under 3 inch
    least, most = fit["pitch_range"]
    flags = np.where((ratio < least - slack) | (ratio > most + slack), int(RangeFlag.PITCH), 0)
    flags = flags + np.where(blades > fit["blades_range"][1], int(RangeFlag.BLADES), 0)
    small, large = fit["diameter_range_m"]
    flags = flags + np.where((d < small - slack) | (d > large + slack), int(RangeFlag.DIAMETER), 0)
    if chord is not None:
        slim, wide = fit["chord_range"]
        flags = flags + np.where((chord < slim) | (chord > wide), int(RangeFlag.CHORD), 0)
    own = propeller.own_fit
    if own is not None:
        has = ~np.isnan(floats(own.log_c_t))

        def pick(mine: ArrayLike, theirs: ArrayLike) -> FloatArray:
            return np.where(has, floats(mine), floats(theirs))

        mine = (own.log_c_t, own.slope_c_t, own.log_c_p, own.slope_c_p, own.zero_thrust_advance_ratio)
        base = tuple(pick(m, t) for m, t in zip(mine, base, strict=True))  # type: ignore[assignment]
        shape_c_t = tuple(pick(m, t) for m, t in zip(own.shape_c_t, shape_c_t, strict=True))
        shape_c_p = tuple(pick(m, t) for m, t in zip(own.shape_c_p, shape_c_p, strict=True))
        # all of one shape, so that polynomials can be computed in place
        shape_c_t, shape_c_p = np.broadcast_arrays(*shape_c_t), np.broadcast_arrays(*shape_c_p)
        first, last = _own_clamp(own, *fit["reynolds_range"])
        low, high = pick(first, low), pick(last, high)
        measured_low, measured_high = (
            pick(own.reynolds_low, measured_low),
            pick(own.reynolds_high, measured_high),
        )
        flags = np.where(has, 0, flags)
    log_c_t, slope_c_t, log_c_p, slope_c_p, j0 = base
    unstalled = unstalled_share(propeller)
    shift_t, shift_fm = floats(propeller.log_c_t_offset), floats(propeller.figure_of_merit_offset)
    # ln FM is linear in ln Re: if it is below the limit at both ends of the range, it is below in between
    base_c_t, base_c_p = log_c_t - slope_c_t * _LOG_REFERENCE, log_c_p - slope_c_p * _LOG_REFERENCE
    merit, rise = np.log(_MERIT) + 1.5 * base_c_t - base_c_p, 1.5 * slope_c_t - slope_c_p
    best = np.maximum(merit + rise * np.log(low), merit + rise * np.log(high))
    return PreparedPropeller(
        log_c_t=log_c_t,
        slope_c_t=slope_c_t,
        log_c_p=log_c_p,
        slope_c_p=slope_c_p,
        base_c_t=floats(base_c_t),
        base_c_p=floats(base_c_p),
        middle_c_p=floats(np.exp(log_c_p)),
        reynolds_factor=floats(
            0.375 * np.pi * d * d * label.chord_ratio * (floats(air.density) / floats(air.viscosity))
        ),
        reynolds_low=low,
        reynolds_high=high,
        mach_factor=floats(np.pi * d / floats(air.speed_of_sound)),
        c_t_multiplier=np.exp(shift_t),
        fm_odds_ratio=np.exp(shift_fm),
        has_offsets=bool(np.any(shift_t != 0.0) or np.any(shift_fm != 0.0)),
        capped=bool(np.any(best > np.log(_FM_KNEE) - 1e-9)),
        zero_thrust_advance_ratio=j0 * np.exp(floats(propeller.log_zero_thrust_offset)),
        shape_c_t=shape_c_t,
        shape_c_p=shape_c_p,
        breakpoints=(
            fit["shape"]["f"]["end"],
            fit["shape"]["g"]["end"],
            fit["shape"]["g"]["hold"],
            fit["shape"]["g"]["zero"],
        ),
        bulge_share=1.0 - unstalled,
        power_lost=POWER_SHARE * unstalled,
        straightened=bool(np.any(unstalled != 0.0)),
        inplane_factor=np.exp(floats(propeller.log_inplane_offset)),
        measured_low=measured_low,
        measured_high=measured_high,
        fixed_flags=np.asarray(flags),
    )
