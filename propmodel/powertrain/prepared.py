"""A build prepared for solving: everything that does not depend on a speed, worked out once."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel.assembly.build import COAXIAL_THRUST, Build, shape_of
from propmodel.components import battery, controller
from propmodel.components import propeller as propellers
from propmodel.components.motor import winding_part

__all__ = ["MIN_BUS_RATIO", "PreparedPowertrain", "at_state_of_charge", "cached_for_scalars", "prepare"]

MIN_BUS_RATIO = 0.60
"""Bus over rest voltage below which the most the pack can give is looked up. [-]"""
_MIN_DUTY = 1e-6


@dataclass(frozen=True)
class PreparedPowertrain:
    """A build prepared for solving at one state of charge: plain arrays, derived once.

    Parameters
    ----------
    prop : PreparedPropeller
    controller : Controller
    density, diameter, disc_area : ndarray
        Of the air [kg/m^3]; of one propeller [m, m^2].
    rotors : ndarray
        [-]
    torque_constant : ndarray
        K_t. [N m/A]
    winding_resistance : ndarray
        The winding's part of ``resistance``. [ohm]
    iron_slope : ndarray
        Loss torque over n. [N m s]
    emf, pack_resistance : ndarray
        Rest voltage and resistance of the pack at this charge. [V, ohm]
    electronics_power : ndarray
        [W]
    minimum_voltage : ndarray
        Of the flight electronics. [V]
    """

    prop: propellers.PreparedPropeller
    controller: controller.Controller
    density: NDArray
    diameter: NDArray
    disc_area: NDArray
    rotors: NDArray
    thrust_share: NDArray
    """Installed over bare thrust: arms in the wash, coaxial loss. [-]"""
    volts_per_rev: NDArray
    """Back-EMF per rev/s, 2 pi K_t. [V s]"""
    torque_constant: NDArray
    resistance: NDArray
    """Effective motor resistance plus any extra of the controller. [ohm]"""
    winding_resistance: NDArray
    iron_slope: NDArray
    emf: NDArray
    pack_resistance: NDArray
    electronics_power: NDArray
    minimum_voltage: NDArray

    # Quantities that the solver needs repeatedly, computed once. asarray: a 0-d array is faster than a numpy scalar.

    @cached_property
    def load_amps_per_c_p_n2(self) -> NDArray:
        """Current of the load over C_P n^2: rho D^5 / (2 pi K_t). [A s^2]"""
        diameter_squared = self.diameter * self.diameter
        return np.asarray(
            self.density * (diameter_squared * diameter_squared * self.diameter) / (2.0 * np.pi * self.torque_constant)
        )

    @cached_property
    def thrust_per_c_t_n2(self) -> NDArray:
        """Installed thrust over C_T n^2. [N s^2]"""
        diameter_squared = self.diameter * self.diameter
        return np.asarray(self.thrust_share * self.density * (diameter_squared * diameter_squared))

    @cached_property
    def ideal_power_per_thrust_1_5(self) -> NDArray:
        """Induced power of ideal discs in all rotors' place, over the thrust of one to the power 3/2. [W/N^1.5]"""
        return np.asarray(self.rotors / np.sqrt(2.0 * self.density * self.disc_area))

    @cached_property
    def no_load_amps_per_n(self) -> NDArray:
        """Current of the iron loss over n. [A s]"""
        return np.asarray(self.iron_slope / self.torque_constant)

    @cached_property
    def no_load_volts_per_n(self) -> NDArray:
        """Motor voltage over n without a load. [V s]"""
        return np.asarray(self.volts_per_rev + self.resistance * self.no_load_amps_per_n)

    @cached_property
    def load_volts_per_c_p_n2(self) -> NDArray:
        """Voltage drop of the load in the motor over C_P n^2. [V s^2]"""
        return np.asarray(self.resistance * self.load_amps_per_c_p_n2)

    @cached_property
    def pack_load_per_c_p_n2(self) -> NDArray:
        """Voltage drop in the pack by the load of all rotors at full duty, over C_P n^2. [V s^2]"""
        return np.asarray(self.rotors * self.pack_resistance * self.load_amps_per_c_p_n2)

    @cached_property
    def pack_no_load_volts_per_n(self) -> NDArray:
        """Voltage drop in the pack by the iron loss of all rotors at full duty, over n. [V s]"""
        return np.asarray(self.rotors * self.pack_resistance * self.no_load_amps_per_n)

    @cached_property
    def total_ripple_coefficient(self) -> NDArray:
        """Ripple coefficient of all rotors. [W/V^2]"""
        return np.asarray(self.rotors * self.controller.ripple_coefficient)

    @cached_property
    def slow_tip_speed(self) -> float:
        """Speed below which no tip exceeds the knee in Mach number, with a margin for the first guess. [1/s]"""
        return 0.9 * self.prop.mach_knee_speed

    @cached_property
    def idle_power(self) -> NDArray:
        """Power that is independent of the duty. [W]"""
        return np.asarray(self.rotors * self.controller.standby_power + self.electronics_power)

    @cached_property
    def idle_power_resistance(self) -> NDArray:
        """`idle_power` times the resistance of the pack. [V^2]"""
        return np.asarray(self.idle_power * self.pack_resistance)

    @cached_property
    def min_duty(self) -> NDArray:
        """A negligible duty, broadcast to the shape of the powertrain. [-]"""
        arrays = [getattr(self, f.name) for f in fields(self) if f.name not in {"prop", "controller"}]
        prop = self.prop
        arrays += [prop.clamp_low_speed, prop.clamp_high_speed, prop.speed_c_t, prop.speed_c_p, prop.mach_factor]
        arrays += [prop.c_t_multiplier, prop.fm_odds_ratio, self.total_ripple_coefficient, self.idle_power]
        shape = np.broadcast_shapes(*(np.shape(x) for x in arrays))
        return np.full(shape, _MIN_DUTY)

    @cached_property
    def min_normal_bus(self) -> NDArray:
        """Lowest bus voltage that neither overloads the pack nor browns out the electronics. [V]"""
        return np.asarray(np.maximum(MIN_BUS_RATIO * self.emf, self.minimum_voltage))


def prepare(build: Build, state_of_charge: ArrayLike = 1.0, *, sustained: bool = False) -> PreparedPowertrain:
    """Prepare a build for solving.

    Parameters
    ----------
    build : Build
    state_of_charge : array_like
        0 to 1, broadcasts with the build. [-]
    sustained : bool
        False: 10-second pack resistance (punch). True: over minutes (hover, cruise).

    Returns
    -------
    PreparedPowertrain
    """
    cached = None if np.ndim(state_of_charge) else cached_for_scalars(build, float(state_of_charge), sustained)  # type: ignore[arg-type]
    return _prepared(build, state_of_charge, sustained) if cached is None else cached


def cached_for_scalars(build: Build, state_of_charge: float, sustained: bool = False) -> PreparedPowertrain | None:
    """Prepared powertrain of a build of plain numbers, from a cache.

    Parameters
    ----------
    build : Build
    state_of_charge : float
        0 to 1. [-]
    sustained : bool
        As for :func:`prepare`.

    Returns
    -------
    PreparedPowertrain or None
        None for a build that holds arrays.
    """
    try:
        return _cached(build, state_of_charge, sustained)
    except TypeError:  # arrays are not hashable
        return None
    except AttributeError:
        shape_of(build)  # raises a clear error if it is no build
        raise


@lru_cache(maxsize=64)
def _cached(build: Build, state_of_charge: float, sustained: bool) -> PreparedPowertrain:
    found = _prepared(build, state_of_charge, sustained)
    if found.min_duty.ndim:
        raise ValueError("a build takes several values of a field as a list or an array, not as a tuple")
    for part in (found, found.prop):
        for value in vars(part).values():
            if isinstance(value, np.ndarray):  # shared by all callers
                value.flags.writeable = False
    return found


def _prepared(build: Build, state_of_charge: ArrayLike, sustained: bool) -> PreparedPowertrain:
    motor, craft = build.motor, build.craft
    share = 1.0 - np.asarray(craft.thrust_loss, dtype=np.float64)
    torque_constant = np.asarray(motor.torque_constant)
    # asarray: a 0-d array is faster than a numpy scalar
    return PreparedPowertrain(
        prop=propellers.prepare(build.propeller, build.air),
        controller=build.controller,
        density=np.asarray(build.air.density, dtype=np.float64),
        diameter=np.asarray(build.propeller.diameter, dtype=np.float64),
        disc_area=np.asarray(build.disc_area),
        rotors=np.asarray(build.rotors, dtype=np.float64),
        thrust_share=np.asarray(share * (COAXIAL_THRUST if build.coaxial else 1.0)),
        volts_per_rev=np.asarray(2.0 * np.pi * torque_constant),
        torque_constant=torque_constant,
        resistance=np.asarray(np.asarray(motor.resistance, dtype=np.float64) + build.controller.resistance),
        winding_resistance=np.asarray(winding_part(motor)),
        iron_slope=np.asarray(motor.iron_torque_slope),
        emf=np.asarray(battery.open_circuit_voltage(build.pack, state_of_charge)),
        pack_resistance=np.asarray(battery.resistance(build.pack, state_of_charge, sustained=sustained)),
        electronics_power=np.asarray(craft.electronics_power, dtype=np.float64),
        minimum_voltage=np.asarray(craft.electronics_min_voltage, dtype=np.float64),
    )


def at_state_of_charge(
    d: PreparedPowertrain, build: Build, state_of_charge: ArrayLike, *, sustained: bool = False
) -> PreparedPowertrain:
    """Return the same powertrain at another state of charge; only the quantities of the pack are computed again.

    Parameters
    ----------
    d : PreparedPowertrain
    build : Build
        The build it was made from.
    state_of_charge : array_like
        0 to 1. [-]
    sustained : bool
        As for :func:`prepare`.

    Returns
    -------
    PreparedPowertrain
    """
    return replace(
        d,
        emf=np.asarray(battery.open_circuit_voltage(build.pack, state_of_charge)),
        pack_resistance=np.asarray(battery.resistance(build.pack, state_of_charge, sustained=sustained)),
    )
