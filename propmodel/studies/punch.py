"""The punch of a whole build: times from hover to shares of the full thrust, and their band.

`flight.spin_up` holds the formulas in plain arrays; here they are asked of a build.
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
    """How quickly a rotor follows the command.

    Parameters
    ----------
    time_63, time_90 : ndarray
        From the full command in a hover to 63 % and 90 % of the full thrust. [s]
    time_constant : ndarray
        Of small changes of speed about the hover, controller included. [s]
    full_rev_per_s : ndarray
        Where a punch settles. [1/s]
    inertia : ndarray
        Of one rotor. [kg m^2]
    energy : ndarray
        In one rotor in hover. [J]

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
        May hold arrays.
    factor : array_like, > 0
        On all times: a drawn one for the band. [-]
    quick : bool
        Coarser operating points, for many draws.

    Returns
    -------
    Punch

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
        # at full command every motor draws through the pack that all share
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
    """Low and high of every part of the response, over what the labels leave open.

    Parameters
    ----------
    build : Build
        Of plain numbers or arrays.
    coverage : float
        Share of the craft between low and high. [-]
    draws : int

    Returns
    -------
    low, high : Punch

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
