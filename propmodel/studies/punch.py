"""Punch of a build: times from hover to 63 % and 90 % of full thrust, and their interval.

The formulas are in `propmodel.flight.spin_up`; this module supplies them with the values of a build.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from propmodel.assembly.build import Build
from propmodel.assess.assessment import Assessment
from propmodel.base.arrays import FloatArray, quantiles, tails
from propmodel.base.checks import check_number, check_range
from propmodel.components import motor, propeller
from propmodel.flight import spin_up
from propmodel.power_up import transients
from propmodel.studies.spread import draw

__all__ = ["Punch", "punch", "punch_band"]


@dataclass(frozen=True)
class Punch:
    """Response of a rotor to a step of the command; all fields have the shape of the build.

    Parameters
    ----------
    time_63, time_90 : ndarray
        Times from the full command in hover until 63 % and 90 % of full thrust. [s]
    time_constant : ndarray
        Time constant of small changes of speed about hover, delay of the controller included. [s]
    full_rev_per_s : ndarray
        Steady speed at the full command. [1/s]
    inertia : ndarray
        Moment of inertia of one rotor. [kg m^2]
    energy : ndarray
        Kinetic energy of one rotor in hover. [J]

    Notes
    -----
    Times are NaN where the craft cannot hover.
    """

    time_63: FloatArray
    time_90: FloatArray
    time_constant: FloatArray
    full_rev_per_s: FloatArray
    inertia: FloatArray
    energy: FloatArray


def punch(build: Build, *, factor: ArrayLike = 1.0, quick: bool = False) -> Punch:
    """Response of a build's rotors from a hover on a fresh pack.

    Parameters
    ----------
    build : Build
        Its fields may be arrays.
    factor : array_like, > 0
        Factor on all times, for random draws. [-]
    quick : bool
        True solves the operating points with a coarser tolerance, for many draws.

    Returns
    -------
    Punch
        Fields of the broadcast shape of ``build`` and ``factor``.

    Examples
    --------
    >>> import propmodel
    >>> found = punch(propmodel.demo("scree"))
    >>> bool(0.03 < found.time_constant < 0.05), bool(found.time_63 < found.time_90 < 0.2)
    (True, True)
    """
    a = Assessment(build, quick=quick)
    inertia = motor.bell_inertia(build.motor) + propeller.inertia(build.propeller)
    rotors, full, hover = np.asarray(build.rotors, dtype=np.float64), a.full_throttle, a.hover
    shared = rotors * a.fresh_burst.pack_resistance
    q = build.motor.iron_torque_slope
    up = spin_up.spin_up(
        inertia=inertia,
        hover_rev_per_s=hover.rev_per_s,
        source_voltage=a.fresh_burst.emf * a.cap,
        # at full command all motors share the pack, so its resistance counts once per motor
        loop_resistance=a.fresh_burst.resistance + a.cap**2 * shared,
        torque_constant=build.motor.torque_constant,
        torque_coefficient=full.torque / full.rev_per_s**2,
        iron_torque_slope=q,
    )
    mechanical = spin_up.speed_time_constant(
        inertia=inertia,
        rev_per_s=hover.rev_per_s,
        loop_resistance=a.fresh_burst.resistance + hover.duty**2 * shared,
        torque_constant=build.motor.torque_constant,
        torque_coefficient=hover.torque / hover.rev_per_s**2,
        iron_torque_slope=q,
    )
    k = check_range("factor", factor, 1e-3, 1e3)
    return Punch(
        k * up.time_63,
        k * up.time_90,
        np.where(a.can_hover, k * spin_up.rotor_time_constant(mechanical), np.nan)[()],
        up.full_rev_per_s,
        np.asarray(inertia, dtype=np.float64),
        np.asarray(transients.rotor_energy(inertia, hover.rev_per_s), dtype=np.float64),
    )


def punch_band(build: Build, *, coverage: float = 0.8, draws: int = 128) -> tuple[Punch, Punch]:
    """Return the interval of the response over the spread of the labels.

    Parameters
    ----------
    build : Build
        Its fields may be arrays.
    coverage : float
        Share of the draws between low and high. [-]
    draws : int
        Number of draws, at least 16. [-]

    Returns
    -------
    low, high : Punch
        Lower and upper quantile of each field.

    Raises
    ------
    ValueError
        If coverage is not between 0.01 and 0.999 or there are fewer than 16 draws.

    Examples
    --------
    >>> import propmodel
    >>> low, high = punch_band(propmodel.demo("scree"), draws=64)
    >>> bool(low.time_constant < punch(propmodel.demo("scree")).time_constant < high.time_constant)
    True
    """
    coverage = check_number("coverage", check_range("coverage", coverage, 0.01, 0.999))
    draws = int(check_number("draws", check_range("draws", draws, 16, 65536)))
    many = draw(build, draws=draws)
    found = punch(many.build, factor=many.response_factor, quick=True)
    shape = np.broadcast_shapes(*(np.shape(v) for v in vars(found).values()))
    sides: list[dict[str, FloatArray]] = [{}, {}]
    for name, value in vars(found).items():
        for side, end in zip(sides, quantiles(np.broadcast_to(value, shape), tails(coverage)), strict=True):
            side[name] = end[()]
    return Punch(**sides[0]), Punch(**sides[1])
