"""Margins of an array of builds: used shares of allowances, and yes-or-no fits.

A share has the same meaning for lower and upper limits: 0 is unused, 1 is fully used. It depends on the duration of the
load: 2 s, 10 s, 60 s, or continuous (infinity).

Longer than others because every allowance, its function and its texts are in one table.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmodel import heat
from propmodel.assess.assessment import Assessment
from propmodel.base.constants import COPPER_RESISTIVITY_20C
from propmodel.base.units import CELSIUS_ZERO
from propmodel.components import battery
from propmodel.components.air import STANDARD

__all__ = [
    "FITS", "SHARES", "Fit", "Share", "evaluate", "hover_pack_rise", "motor_temperatures", "pack_rise", "pack_seconds",
]  # fmt: skip

BURST_SECONDS = 10.0
"""Longest load to which a burst rating applies; beyond it the continuous rating (common practice). [s]"""
PACK_LIMIT = 60.0 + CELSIUS_ZERO
"""Highest temperature of a pouch cell (data sheets: discharge up to 60 C). [K]"""
LEAST_VOLTAGE_ROOM = 0.02
"""Smallest allowance between open-circuit voltage and voltage limit; it keeps the share finite. [V]"""
MAGNET_LIMIT = 120.0 + CELSIUS_ZERO
"""Temperature limit of magnets with suffix H (trade practice, from memory); plain grades only 60 to 80 C. [K]"""
INSULATION_LIMIT = 150.0 + CELSIUS_ZERO
"""Temperature limit of a lead. Silicone wire is sold for 180 to 200 C (from memory); solder and adjacent parts tolerate
less. [K]"""
TIP_MACH_LIMIT = 0.75
"""Limit of the tip Mach number. Here the fitted rise of C_P, extrapolated beyond its fastest point (0.62), increases
the power by half. In practice noise and losses set about the same limit (from memory). [-]"""
WARM_MOTOR = 55.0 + CELSIUS_ZERO
"""Initial temperature of a motor in flight. [K]"""
WIRE_SECONDS = 25.0
"""Time constant of an insulated lead in moving air (estimate). [s]"""
COPPER_VOLUMETRIC_HEAT = 3.45e6
"""Volumetric heat capacity of copper (handbook value). [J/(m^3 K)]"""
COPPER_HEAT_SHARE = 0.5
"""Share of the copper in the heat capacity of a silicone-insulated lead (estimate). [-]"""
HOVER_HIGH, HOVER_LOW = 0.50, 0.12
"""Hover command above which the control reserve is small, and below which the throttle stick is too sensitive (common
practice). [-]"""
LIGHT_CRAFT_MASS, HOVER_HIGH_TINY = 0.06, 0.65
"""Mass of a tiny craft [kg], and its `HOVER_HIGH`: such craft hover at 40 to 60 % (common practice, memory). [-]"""
LIFTER_MASS, HOVER_HIGH_LIFTER = 2.0, 0.60
"""Mass of a craft built to lift [kg], and its `HOVER_HIGH`: with twice its weight of thrust, which is common for such
craft, it hovers at 55 to 65 % (common practice, from memory). [-]"""


class Usual(NamedTuple):
    """Excess over an allowance that is common at ten seconds of full throttle, without failures in normal flight.

    Powerful craft hold full throttle for two or three seconds, and seldom with a nearly empty pack, while the limit is
    computed for ten seconds. Common practice, from memory. It never applies to limits whose violation causes immediate
    failure (voltage, current of the speed controller).
    """

    up_to: float
    """Largest used share that is usual. [-]"""
    thrust_to_weight: float
    """Smallest thrust-to-weight ratio to which it applies; craft with less use full throttle for longer. [-]"""


BURST_RATIO = 3.0
"""Thrust-to-weight ratio from which full throttle lasts only seconds (common practice, from memory). [-]"""


def is_usual(usual: Usual | None, used: ArrayLike, thrust_to_weight: ArrayLike) -> NDArray[np.bool_]:
    """Return True where an excess over an allowance is usual for such a craft.

    Parameters
    ----------
    usual : Usual or None
        None: an excess is never usual.
    used : array_like
        Used share of the allowance. [-]
    thrust_to_weight : array_like
        Thrust-to-weight ratio of the craft. [-]

    Returns
    -------
    ndarray of bool
        Of the broadcast shape.

    Examples
    --------
    >>> bool(is_usual(Usual(2.0, 3.0), 1.5, 6.0)), bool(is_usual(None, 1.5, 6.0))
    (True, False)
    """
    if usual is None:
        return np.zeros(np.broadcast_shapes(np.shape(used), np.shape(thrust_to_weight)), dtype=bool)
    return (np.asarray(used) <= usual.up_to) & (np.asarray(thrust_to_weight) >= usual.thrust_to_weight)


class Share(NamedTuple):
    """One allowance: the function for its used share, and its texts."""

    of: Callable[[Assessment, float], NDArray]
    """Function of an assessment and the duration of the load [s] that returns the used share [-]."""
    name: str
    """Name for display."""
    part: str
    """The part that is loaded."""
    basis: str
    """Origin of the limit: label, standard, common practice, physics or estimate."""
    held: bool
    """False if the duration does not matter."""
    usual: Usual | None = None
    """Usual excess at ten seconds of full throttle; None if an excess is never usual."""


class Fit(NamedTuple):
    """One yes-or-no limit of numbers of cells, voltages or sizes: the function for it, and its texts."""

    of: Callable[[Assessment], NDArray | None]
    """Function of an assessment that returns True where it fits, or None where the rating is not given."""
    name: str
    """Name for display."""
    part: str
    """The part that is limited."""
    basis: str
    """Origin of the limit: label, common practice or the user's own limit."""


def _ratio(value: NDArray, limit: ArrayLike | None) -> NDArray:
    """Value over limit; NaN where the limit is not given."""
    if limit is None:
        return np.full(np.shape(value), np.nan)
    return value / np.asarray(limit, dtype=np.float64)


def _by_hold(hold: float, burst: ArrayLike | None, continuous: ArrayLike | None) -> ArrayLike | None:
    if hold <= BURST_SECONDS and burst is not None:
        return burst
    return continuous if continuous is not None else burst


def _pack_label(a: Assessment, hold: float) -> NDArray:
    pack = a.build.pack
    return _ratio(a.full_throttle.pack_current, _by_hold(hold, pack.max_burst_current, pack.max_continuous_current))


def pack_seconds(a: Assessment, hold: float) -> NDArray:
    """Duration of full throttle, limited by the charge of the pack.

    Parameters
    ----------
    a : Assessment
        Results of the builds.
    hold : float
        Requested duration of full throttle. [s]

    Returns
    -------
    ndarray
        ``hold``, or the time in which full throttle empties the pack if that is shorter. [s]
    """
    charge = battery.capacity(a.build.pack) * (1.0 - a.reserve) * 3600.0
    return np.minimum(hold, charge / np.maximum(a.full_throttle.pack_current, 1e-9))


def pack_rise(a: Assessment, hold: float) -> NDArray:
    """Temperature rise of the pack during full throttle.

    Parameters
    ----------
    a : Assessment
        Results of the builds.
    hold : float
        Duration of full throttle. [s]

    Returns
    -------
    ndarray
        Temperature rise, of the shape of the builds. [K]
    """
    resistance = battery.resistance(a.build.pack, 0.5)
    rate = heat.pack_temperature_rate(
        a.full_throttle.pack_current, resistance=resistance, mass=battery.mass(a.build.pack)
    )
    return rate * pack_seconds(a, hold)


def hover_pack_rise(a: Assessment) -> NDArray:
    """Temperature rise of the pack during a hover from full to its end.

    Parameters
    ----------
    a : Assessment
        Results of the builds.

    Returns
    -------
    ndarray
        Temperature rise; negative where the air cools the pack; 0 where the craft cannot hover. [K]
    """
    rise = a.hover_flight.temperature - np.asarray(a.build.pack.temperature, dtype=np.float64)
    return np.where(a.can_hover, rise, 0.0)


def _pack_heat(a: Assessment, hold: float) -> NDArray:
    start = np.asarray(a.build.pack.temperature, dtype=np.float64)
    return np.maximum(pack_rise(a, hold), hover_pack_rise(a)) / np.maximum(PACK_LIMIT - start, 1.0)


def _sag(a: Assessment, *, low: bool) -> NDArray:
    pack = a.build.pack
    point = a.full_throttle_at_reserve if low else a.full_throttle
    rest = battery.open_circuit_voltage(pack, a.reserve if low else 1.0)
    floor = battery.of_chemistry(pack, "punch_floor") * np.asarray(pack.cells)
    return (rest - point.bus_voltage) / np.maximum(rest - floor, LEAST_VOLTAGE_ROOM * np.asarray(pack.cells))


def _controller(a: Assessment, hold: float) -> NDArray:
    c = a.build.controller
    return _ratio(a.full_throttle.motor_current, _by_hold(hold, c.burst_current, c.continuous_current))


def _motor_label(a: Assessment, hold: float) -> NDArray:
    return _ratio(a.full_throttle.motor_current, a.build.motor.max_current)


def motor_temperatures(a: Assessment, hold: float) -> tuple[NDArray, NDArray]:
    """Temperatures of winding and body after full throttle, from a warm motor.

    Parameters
    ----------
    a : Assessment
        Results of the builds.
    hold : float
        Duration of full throttle; infinity for continuous load. [s]

    Returns
    -------
    (winding, body) : tuple of ndarray
        Temperatures; inf where there is no steady state. [K]
    """
    if np.isinf(hold):
        never = np.isnan(a.full_heat.winding)
        return np.where(never, np.inf, a.full_heat.winding), np.where(never, np.inf, a.full_heat.body)
    if hold not in a.warmed:
        a.warmed[hold] = _warmed(a, hold)
    return a.warmed[hold]


def _warmed(a: Assessment, hold: float) -> tuple[NDArray, NDArray]:
    return heat.temperatures_after(
        hold,
        copper_loss=a.winding_heat(a.full_throttle),
        iron_loss=a.full_throttle.iron_loss,
        resistance=a.thermal_full,
        capacity=a.heat_capacity,
        air_temperature=a.build.air.temperature,
        winding=WARM_MOTOR,
        body=WARM_MOTOR,
    )


def _winding(a: Assessment, hold: float) -> NDArray:
    air = np.asarray(a.build.air.temperature, dtype=np.float64)
    limit = np.asarray(a.build.motor.winding_limit, dtype=np.float64)
    return (motor_temperatures(a, hold)[0] - air) / (limit - air)


def _magnets(a: Assessment, hold: float) -> NDArray:
    air = np.asarray(a.build.air.temperature, dtype=np.float64)
    return (motor_temperatures(a, hold)[1] - air) / (MAGNET_LIMIT - air)


def _hover_winding(a: Assessment, hold: float) -> NDArray:
    air = np.asarray(a.build.air.temperature, dtype=np.float64)
    limit = np.asarray(a.build.motor.winding_limit, dtype=np.float64)
    return np.where(np.isnan(a.hover_heat.winding), np.inf, (a.hover_heat.winding - air) / (limit - air))


def _wire(current: NDArray, area: ArrayLike | None, a: Assessment, hold: float) -> NDArray:
    if area is None:
        return np.full(np.shape(current), np.nan)
    diameter = np.sqrt(4.0 / np.pi * np.asarray(area, dtype=np.float64))
    air = np.asarray(a.build.air.temperature, dtype=np.float64)
    rise, _ = heat.wire_rise(current, conductor_diameter=diameter, air_temperature=air)
    settled = np.where(np.isnan(rise), np.inf, rise)
    part = 1.0 if np.isinf(hold) else 1.0 - np.exp(-hold / WIRE_SECONDS)
    # in the first seconds copper and insulation are heated without cooling
    density = current / np.asarray(area)
    adiabatic = density**2 * COPPER_RESISTIVITY_20C / COPPER_VOLUMETRIC_HEAT * COPPER_HEAT_SHARE * min(hold, 600.0)
    return np.minimum(np.where(np.isinf(settled), np.inf, settled * part), adiabatic) / (INSULATION_LIMIT - air)


def _main_leads(a: Assessment, hold: float) -> NDArray:
    return _wire(a.full_throttle.pack_current, a.build.craft.lead_area, a, hold)


def _motor_leads(a: Assessment, hold: float) -> NDArray:
    # each of the three wires carries the motor current for two thirds of the time
    rms = a.full_throttle.motor_current * np.sqrt(2.0 / 3.0)
    return _wire(rms, a.build.craft.motor_lead_area, a, hold)


def _connector(a: Assessment, hold: float) -> NDArray:
    # a few seconds at 1.5 times the rating: common practice
    grace = 1.5 if hold <= BURST_SECONDS else 1.0
    return _ratio(a.full_throttle.pack_current, a.build.craft.connector_current) / grace


def _brownout(a: Assessment, hold: float) -> NDArray:
    rest = battery.open_circuit_voltage(a.build.pack, a.reserve)
    floor = np.asarray(a.build.craft.electronics_min_voltage, dtype=np.float64)
    return (rest - a.full_throttle_at_reserve.bus_voltage) / np.maximum(rest - floor, LEAST_VOLTAGE_ROOM)


def _hover_high(a: Assessment, hold: float) -> NDArray:
    masses = (LIGHT_CRAFT_MASS, 2.0 * LIGHT_CRAFT_MASS, 0.5 * LIFTER_MASS, LIFTER_MASS)
    most = np.interp(a.mass, masses, (HOVER_HIGH_TINY, HOVER_HIGH, HOVER_HIGH, HOVER_HIGH_LIFTER))
    return np.where(a.can_hover, np.minimum(a.hover_command_at_reserve, 1.0), 1.0) / most


def _hover_low(a: Assessment, hold: float) -> NDArray:
    return HOVER_LOW / np.maximum(a.hover_command, 1e-3)


def _pull(a: Assessment, hold: float) -> NDArray:
    return 1.0 / np.maximum(a.thrust_to_weight_at_reserve - 1.0, 1e-3)


def _motor_lost(a: Assessment, hold: float) -> NDArray:
    rotors = np.asarray(a.build.rotors, dtype=np.float64) * a._one
    # the thrust of the opposite motor must be reduced too, or the craft flips
    left = (rotors - 2.0) / rotors * a.thrust_to_weight_at_reserve
    return np.where(rotors >= 6, 1.0 / np.maximum(left, 1e-3), np.nan)


def _motor_volts(a: Assessment, hold: float) -> NDArray:
    lost = 1.0 - a.fresh_burst.volts_per_rev * a.full_throttle.rev_per_s / np.maximum(
        a.full_throttle.motor_voltage, 1e-9
    )
    return lost / 0.5


def _tip(a: Assessment, hold: float) -> NDArray:
    return a.fresh_burst.prop.tip_mach(a.full_throttle.rev_per_s) / TIP_MACH_LIMIT


def _free_tip(a: Assessment, hold: float) -> NDArray:
    # a rule for the choice of KV: a frosty morning, when sound is slower, does not change what is sold for these cells
    slower = np.asarray(a.build.air.speed_of_sound, dtype=np.float64) / np.asarray(STANDARD.speed_of_sound)
    return a.fresh_burst.prop.tip_mach(free_speed(a)) * slower


def free_speed(a: Assessment) -> NDArray:
    """Speed of an unloaded motor at the voltage of the full pack, from the KV of its label. [1/s]"""
    return a.fresh_burst.emf * np.asarray(a.build.motor.kv, dtype=np.float64) / 60.0


_IN_BURSTS = Usual(1.25, BURST_RATIO)

SHARES: Mapping[str, Share] = MappingProxyType(
    {
        "pack_label": Share(_pack_label, "current on the pack's label", "pack", "label", True, Usual(1.5, BURST_RATIO)),
        "pack_heat": Share(_pack_heat, "heat in the pack", "pack", "estimate, to 60 C", True, _IN_BURSTS),
        "sag_fresh": Share(
            lambda a, h: _sag(a, low=False),
            "cell voltage in a punch, fresh",
            "pack",
            "common practice",
            False,
            Usual(1.15, BURST_RATIO),
        ),
        "sag_low": Share(
            lambda a, h: _sag(a, low=True),
            "cell voltage in a punch, at landing",
            "pack",
            "common practice",
            False,
            Usual(2.0, 0.0),
        ),
        "controller_current": Share(_controller, "current in each ESC", "ESC", "label", True),
        "motor_current": Share(_motor_label, "current on the motor's label", "motor", "label", True, _IN_BURSTS),
        "winding_heat": Share(_winding, "winding heat flat out", "motor", "estimate", True, _IN_BURSTS),
        "magnet_heat": Share(_magnets, "magnet heat flat out", "motor", "estimate, common practice", True),
        "hover_heat": Share(_hover_winding, "winding heat in a long hover", "motor", "estimate", False),
        "main_leads": Share(_main_leads, "heat in the pack leads", "wires", "estimate", True, _IN_BURSTS),
        "motor_leads": Share(_motor_leads, "heat in the motor leads", "wires", "estimate", True, _IN_BURSTS),
        "connector": Share(_connector, "current in the connector", "wires", "label, common practice", True, _IN_BURSTS),
        "brownout": Share(_brownout, "bus voltage for the electronics", "electronics", "label", False),
        "tip_speed": Share(_tip, "blade tip speed", "propeller", "fit, common practice", False),
        "motor_volts": Share(_motor_volts, "how hard the motor is loaded", "motor", "physics", False),
        "free_tip": Share(_free_tip, "no-load speed for these cells", "motor", "common practice", False),
        "pull": Share(_pull, "thrust to weight, at landing", "craft", "common practice", False),
        "hover_high": Share(_hover_high, "hover command, at landing", "craft", "common practice", False),
        "hover_low": Share(_hover_low, "hover command, too low", "craft", "common practice", False),
        "motor_lost": Share(_motor_lost, "one motor lost", "craft", "physics", False),
    }
)


def _at_most(value: ArrayLike, limit: ArrayLike | None) -> NDArray | None:
    if limit is None:
        return None
    return np.asarray(value) <= np.asarray(limit) * (1.0 + 1e-9)


def _full_voltage(a: Assessment) -> NDArray:
    return battery.open_circuit_voltage(a.build.pack, 1.0)


def _controller_cells(a: Assessment) -> NDArray | None:
    c, cells = a.build.controller, np.asarray(a.build.pack.cells)
    if c.max_cells is None and c.max_voltage is None and c.min_cells is None:
        return None
    fits = np.ones(np.shape(cells), bool)
    if c.max_cells is not None:
        fits = fits & (cells <= np.asarray(c.max_cells))
    if c.min_cells is not None:
        fits = fits & (cells >= np.asarray(c.min_cells))
    if c.max_voltage is not None:
        fits = fits & (_full_voltage(a) <= np.asarray(c.max_voltage))
    return fits


def _capacitor(a: Assessment) -> NDArray | None:
    rating = a.build.craft.capacitor_voltage
    return None if rating is None else np.asarray(rating) >= CAPACITOR_MARGIN * _full_voltage(a)


CAPACITOR_MARGIN = 1.25
"""Required voltage rating of a capacitor over full pack voltage, because braking and ringing exceed it (common
practice: 35 V for six cells). [-]"""

FITS: Mapping[str, Fit] = MappingProxyType(
    {
        "motor_cells": Fit(
            lambda a: _at_most(a.build.pack.cells, a.build.motor.max_cells), "cells for the motor", "motor", "label"
        ),
        "controller_cells": Fit(_controller_cells, "cells for the ESC", "ESC", "label"),
        "video_voltage": Fit(
            lambda a: _at_most(_full_voltage(a), a.build.craft.video_max_voltage),
            "pack voltage for the video transmitter",
            "video transmitter",
            "label",
        ),
        "camera_voltage": Fit(
            lambda a: _at_most(_full_voltage(a), a.build.craft.camera_max_voltage),
            "pack voltage for the camera",
            "camera",
            "label",
        ),
        "regulator_voltage": Fit(
            lambda a: _at_most(_full_voltage(a), a.build.craft.regulator_max_voltage),
            "pack voltage for the regulator",
            "regulator",
            "label",
        ),
        "receiver_voltage": Fit(
            lambda a: _at_most(_full_voltage(a), a.build.craft.receiver_max_voltage),
            "pack voltage for the receiver",
            "receiver",
            "label",
        ),
        "capacitor_voltage": Fit(_capacitor, "capacitor rating for the pack", "capacitor", "common practice"),
        "frame_clearance": Fit(
            lambda a: _at_most(a.build.propeller.diameter, _with_room(a.build.craft.frame_propeller_diameter)),
            "propeller in the frame",
            "frame",
            "label",
        ),
        "mass_threshold": Fit(
            lambda a: _at_most(a.mass, a.build.craft.mass_threshold), "take-off mass you set", "craft", "your limit"
        ),
    }
)


def _with_room(limit: ArrayLike | None) -> ArrayLike | None:
    """Limit plus two per cent: a frame "for 5 inch" accepts 5.1 inch (common practice)."""
    return None if limit is None else np.asarray(limit) * 1.02


def evaluate(a: Assessment, *, hold: float = 10.0, names: Collection[str] | None = None) -> dict[str, NDArray]:
    """Compute margins of an array of builds.

    Parameters
    ----------
    a : Assessment
        Results of the builds.
    hold : float
        Duration of full throttle; infinity for continuous load. [s]
    names : collection of str or None
        Names in `SHARES` and `FITS`; None means all.

    Returns
    -------
    dict of ndarray
        Used shares (1 is fully used, NaN where the rating is not given), then fits as 0 (fits), 2 (does not fit) or NaN
        (rating not given); each of the shape of the builds. [-]
    """
    out: dict[str, NDArray] = {}
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        for key, share in SHARES.items():
            if names is not None and key not in names:
                continue
            out[key] = np.broadcast_to(share.of(a, hold), a.shape)
        for key, fit in FITS.items():
            if names is not None and key not in names:
                continue
            good = fit.of(a)
            value = np.nan if good is None else np.where(good, 0.0, 2.0)
            out[key] = np.broadcast_to(value, a.shape)
    return out
