"""Intermediate results of a build, or of an array of builds, each computed at most once.

`performance`, `limits`, `sweep` and the spread use this module, so a hover is solved once for all outputs.
``quick=True`` takes fewer iterations, for sweeps and intervals. Its errors relative to the full solution are about
0.6 % for the top speed and 0.1 % for most other outputs. The speed of least power is mostly within 4 %; for a craft
with little excess thrust it may be off by a quarter (the power by 2 %, because the minimum is flat).
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel import heat
from propmodel.assembly.build import Build, drag_areas, shape_of
from propmodel.base.status import Status
from propmodel.components import battery, controller, momentum, motor
from propmodel.dive.estimate import estimate_height_lost, estimate_pull_out
from propmodel.dive.pull_out import inflow_rise
from propmodel.dive.stepped import Dive, PullOut
from propmodel.flight.best_speeds import lowest_point
from propmodel.flight.endurance import HoverTime, hover_hours, lifts, possible_temperature
from propmodel.flight.top_speed import TopSpeed, find_top_speed
from propmodel.flight.trim import Airframe, hover_trim, trim
from propmodel.powertrain.operating_point import OperatingPoint, at_duty, at_thrust, electrical
from propmodel.powertrain.prepared import PreparedPowertrain, at_state_of_charge, prepare
from propmodel.powertrain.rotor_speed import PASSES

__all__ = ["Assessment"]

MIN_POWER_SHARES = (0.25, 0.42, 0.65)
"""First trial speeds in the search for the minimum of power against speed, relative to the top speed. [-]"""
MIN_POWER_AROUND = (1.13, 1.0, 0.87)
"""Second-pass trial speeds, relative to the first minimum, in an order suited to a warm start. [-]"""


class Assessment:
    """Lazily computed results of a build.

    Parameters
    ----------
    build : Build
        Its fields may be arrays; every result has their broadcast shape.
    quick : bool
        True takes fewer iterations, for sweeps.
    drawn : bool
        True for random draws: the speed of least power is then found as precisely as for a forecast, because its
        interval is narrower than the error of a quick search.
    drop : array_like
        Height of the dive for the pull-out results. [m]
    thermal_factor : array_like
        Factor on the thermal resistances of the motors, for random draws. [-]
    """

    def __init__(
        self,
        build: Build,
        *,
        quick: bool = False,
        drawn: bool = False,
        drop: ArrayLike = 40.0,
        thermal_factor: ArrayLike = 1.0,
    ) -> None:
        self.build = build
        self.drawn = drawn
        self.thermal_factor = np.asarray(thermal_factor, dtype=np.float64)
        self.quick = quick
        self.drop = drop
        self.passes = 4 if quick else PASSES
        self.shape = np.broadcast_shapes(shape_of(build), np.shape(drop))
        self._one = np.ones(self.shape)
        self.warmed: dict[float, tuple[NDArray, NDArray]] = {}
        """Duration of full throttle [s] -> winding and body temperature [K]; cache of `margins.motor_temperatures`."""

    # --- the parts, prepared ---------------------------------------------------------------------------------

    @cached_property
    def mass(self) -> NDArray:
        """All-up mass. [kg]"""
        return self.build.mass * self._one

    @cached_property
    def weight(self) -> NDArray:
        """All-up weight. [N]"""
        return self.build.weight * self._one

    @cached_property
    def reserve(self) -> NDArray:
        """State of charge at landing. [-]"""
        return np.asarray(self.build.pack.reserve, dtype=np.float64)

    @cached_property
    def cap(self) -> NDArray:
        """Largest duty. [-]"""
        return np.asarray(self.build.duty_cap)

    @cached_property
    def frame(self) -> Airframe:
        """Weight and drag areas."""
        return Airframe.of(self.build)

    @cached_property
    def fresh_burst(self) -> PreparedPowertrain:
        """Powertrain with a full pack and its resistance for loads of seconds."""
        return prepare(self.build, 1.0)

    @cached_property
    def reserve_burst(self) -> PreparedPowertrain:
        """Powertrain with the pack at its reserve and its resistance for loads of seconds."""
        return at_state_of_charge(self.fresh_burst, self.build, self.reserve)

    @cached_property
    def fresh_sustained(self) -> PreparedPowertrain:
        """Powertrain with a full pack and its resistance for loads of minutes."""
        return at_state_of_charge(self.fresh_burst, self.build, 1.0, sustained=True)

    @cached_property
    def landing_sustained(self) -> PreparedPowertrain:
        """Powertrain at the end of a hover: charge and warmth of the pack as there, its resistance for minutes."""
        return at_state_of_charge(self.fresh_burst, self._after_hover, self.hover_flight.end, sustained=True)

    @cached_property
    def landing_burst(self) -> PreparedPowertrain:
        """The same with the resistance of the pack for loads of seconds."""
        return at_state_of_charge(self.fresh_burst, self._after_hover, self.hover_flight.end)

    @cached_property
    def _after_hover(self) -> Build:
        """The build with the pack as warm as a hover has made it."""
        pack = self.build.pack
        return replace(self.build, pack=replace(pack, temperature=possible_temperature(self.hover_flight.temperature)))

    # --- operating points -----------------------------------------------------------------------------------

    @cached_property
    def hover(self) -> OperatingPoint:
        """Operating point in hover with a full pack."""
        lift = self.weight / np.asarray(self.build.rotors, dtype=np.float64)
        return at_thrust(self.fresh_sustained, lift, passes=self.passes)

    @cached_property
    def hover_at_reserve(self) -> OperatingPoint:
        """Operating point at the end of a hover: the same speed and torque at a lower bus voltage."""
        return electrical(self.landing_sustained, self.hover.rev_per_s, self.hover.torque, self.hover.thrust)

    @cached_property
    def hover_command(self) -> NDArray:
        """Motor command in hover with a full pack, idle included. [-]"""
        b = self.build
        return controller.command_from_duty(b.controller, self.hover.duty, command_cap=b.command_cap)

    @cached_property
    def hover_command_at_reserve(self) -> NDArray:
        """The same at the end of a hover, with the pack as warm as that has made it. [-]"""
        b = self.build
        return controller.command_from_duty(b.controller, self.hover_at_reserve.duty, command_cap=b.command_cap)

    @cached_property
    def full_throttle(self) -> OperatingPoint:
        """Operating point at full throttle with a full pack, in the first seconds."""
        return at_duty(self.fresh_burst, self.cap, passes=self.passes)

    @cached_property
    def full_throttle_at_reserve(self) -> OperatingPoint:
        """Operating point at full throttle with the pack at its reserve."""
        return at_duty(self.reserve_burst, self.cap, passes=self.passes)

    @cached_property
    def thrust_to_weight(self) -> NDArray:
        """Thrust-to-weight ratio of all rotors with a full pack. [-]"""
        return np.asarray(self.build.rotors) * self.full_throttle.thrust / self.weight

    @cached_property
    def thrust_to_weight_at_reserve(self) -> NDArray:
        """The same with the reserve left. [-]"""
        return np.asarray(self.build.rotors) * self.full_throttle_at_reserve.thrust / self.weight

    @cached_property
    def can_hover(self) -> NDArray:
        """True where full throttle supports the weight for minutes and the pack can supply the power."""
        return lifts(self.hover, self.cap)

    @cached_property
    def hover_flight(self) -> HoverTime:
        """Flight time in hover from a full pack to the cut-off or the reserve."""
        return hover_hours(
            self.build,
            self.fresh_sustained,
            self.hover,
            cut=battery.cutoff_voltage(self.build.pack),
            reserve=self.reserve,
            quick=self.quick,
        )

    @cached_property
    def bare_thrust(self) -> NDArray:
        """Thrust of one propeller in hover without the loss from the arms. [N]"""
        return self.hover.thrust / self.fresh_burst.thrust_share

    @cached_property
    def wash_speed(self) -> NDArray:
        """Induced velocity in hover. [m/s]"""
        return momentum.induced_velocity_hover(
            self.bare_thrust, disc_area=self.build.disc_area, air_density=self.build.air.density
        )

    @cached_property
    def figure_of_merit(self) -> NDArray:
        """Figure of merit of the propeller in hover. [-]"""
        return self.bare_thrust * self.wash_speed / self.hover.shaft_power

    # --- flight ---------------------------------------------------------------------------------------------

    @cached_property
    def top(self) -> TopSpeed:
        """Fastest level flight with a full pack."""
        return find_top_speed(
            self.fresh_burst,
            self.frame,
            self.cap,
            np.asarray(self.build.propeller.pitch),
            quick=self.quick,
            full=self.full_throttle,
        )

    @cached_property
    def min_power_point(self) -> tuple[NDArray, NDArray]:
        """Speed [m/s] and power [W] of least power, from cubics through hover and three trims, in two passes."""
        top = np.nan_to_num(self.top.speed, nan=1.0)
        speeds, powers = [np.zeros(self.shape)], [self.hover.pack_power]
        state = hover_trim(self.hover)
        most = np.minimum(top, 30.0)
        for share in MIN_POWER_SHARES:
            speed = share * most
            passes = 3 if len(speeds) == 1 else 2
            state, point = trim(self.fresh_sustained, self.frame, speed, start=state, passes=passes, quick=True)
            speeds.append(speed)
            powers.append(point.pack_power)
        slow, least = _lowest_cubic(speeds, powers)
        if self.quick and not self.drawn:
            return slow, least
        speeds, powers = [slow * k for k in MIN_POWER_AROUND], []
        for speed in speeds:
            state, point = trim(self.fresh_sustained, self.frame, speed, start=state, passes=3)
            powers.append(point.pack_power)
        closer, lower = lowest_point(np.stack(speeds, axis=-1), np.stack(powers, axis=-1))
        return np.where(slow > 0.0, closer, slow), np.where(slow > 0.0, lower, least)

    # --- heat -----------------------------------------------------------------------------------------------

    @cached_property
    def thermal_hover(self) -> heat.ThermalResistance:
        """Thermal resistances of one motor in the wash of hover."""
        return self._thermal(self.hover, self.wash_speed)

    @cached_property
    def thermal_full(self) -> heat.ThermalResistance:
        """Thermal resistances of one motor in the wash of full throttle."""
        ratio = np.sqrt(self.full_throttle.thrust / np.maximum(self.hover.thrust, 1e-9))
        return self._thermal(self.full_throttle, self.wash_speed * ratio)

    def _thermal(self, point: OperatingPoint, wash: NDArray) -> heat.ThermalResistance:
        can_diameter, can_length = motor.can_size(self.build.motor)
        found = heat.resistances(
            stator_diameter=can_diameter - heat.BELL_OVERHANG,
            stator_height=can_length - heat.LENGTH_OVER,
            wash_speed=wash,
            rev_per_s=point.rev_per_s,
            air=self.build.air,
        )
        return heat.ThermalResistance(found.winding_body * self.thermal_factor, found.body_air * self.thermal_factor)

    @cached_property
    def heat_capacity(self) -> heat.HeatCapacity:
        """Heat capacities of one motor."""
        return heat.capacities(motor.motor_mass(self.build.motor))

    def winding_heat(self, point: OperatingPoint) -> NDArray:
        """Heat in one winding: its share of the resistance, and half of the ripple loss. [W]"""
        return point.winding_loss + controller.winding_ripple(self.build.controller, point.ripple_loss)

    @cached_property
    def hover_heat(self) -> heat.SteadyHeat:
        """Steady temperatures in hover."""
        return heat.steady_temperatures(
            self.winding_heat(self.hover),
            self.hover.iron_loss,
            resistance=self.thermal_hover,
            air_temperature=self.build.air.temperature,
        )

    @cached_property
    def full_heat(self) -> heat.SteadyHeat:
        """Steady temperatures at full throttle, as if the pack lasted indefinitely."""
        return heat.steady_temperatures(
            self.winding_heat(self.full_throttle),
            self.full_throttle.iron_loss,
            resistance=self.thermal_full,
            air_temperature=self.build.air.temperature,
        )

    @cached_property
    def full_throttle_seconds(self) -> NDArray:
        """Time of full throttle from a warm motor (55 C) until the winding reaches its limit. [s]"""
        return heat.seconds_to_limit(
            self.winding_heat(self.full_throttle),
            self.full_throttle.iron_loss,
            resistance=self.thermal_full,
            capacity=self.heat_capacity,
            air_temperature=self.build.air.temperature,
            winding_limit=self.build.motor.winding_limit,
        )

    # --- dive -----------------------------------------------------------------------------------------------

    def pull_out_estimate(self, *, at_reserve: bool = True) -> PullOut:
        """Closed-form estimate of the pull-out from a nose-down dive, at the reserve or with a full pack."""
        return estimate_pull_out(self._dive(at_reserve=at_reserve))

    @cached_property
    def pull_out_height(self) -> NDArray:
        """Height lost in that pull-out, at the reserve. [m]"""
        return estimate_height_lost(self._dive(at_reserve=True))

    def _dive(self, *, at_reserve: bool) -> Dive:
        point = self.full_throttle_at_reserve if at_reserve else self.full_throttle
        front, top = drag_areas(self.build)
        return Dive(
            mass=self.mass,
            max_thrust=np.asarray(self.build.rotors) * point.thrust,
            drag_area_front=front,
            drag_area_top=top,
            air_density=self.build.air.density,
            drop=self.drop,
            disc_area=self.build.total_disc_area,
            inflow_rise=inflow_rise(self.build, self.fresh_burst.prop, point.rev_per_s),
            pack_limited=point.status == Status.PACK_CANNOT_DELIVER,
        )


def _lowest_cubic(x: list[NDArray], y: list[NDArray]) -> tuple[NDArray, NDArray]:
    """Minimum of the cubic through four points, the first at x = 0, between the first and the last point."""
    (_, x1, x2, x3), (y0, y1, y2, y3) = x, y
    # Newton's divided differences
    a1 = (y1 - y0) / x1
    b1 = (y2 - y1) / (x2 - x1)
    c1 = (y3 - y2) / (x3 - x2)
    a2, b2 = (b1 - a1) / x2, (c1 - b1) / (x3 - x1)
    a3 = (b2 - a2) / x3
    # upward zero crossing of the slope, first + 2 second x + 3 a3 x^2; this form allows a3 = 0
    first, second = a1 - a2 * x1 + a3 * x1 * x2, a2 - a3 * (x1 + x2)
    with np.errstate(divide="ignore", invalid="ignore"):
        flat = -first / (second + np.sqrt(second * second - 3.0 * a3 * first))
    at = np.where(np.isfinite(flat), np.clip(flat, 0.0, x3), 0.0)
    value = y0 + at * (a1 + (at - x1) * (a2 + (at - x2) * a3))
    at, value = np.where(value < y0, at, 0.0), np.minimum(value, y0)
    return np.where(y3 < value, x3, at), np.minimum(y3, value)
