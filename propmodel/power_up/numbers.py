"""The plain numbers of one build that its first power-up is judged by."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from propmodel.assembly.build import Build, shape_of
from propmodel.base.arrays import number
from propmodel.base.checks import check_flag, check_number, check_positive, quoted
from propmodel.components import battery, motor, propeller
from propmodel.components.controller import command_from_duty, ripple_power, winding_ripple
from propmodel.powertrain import operating_point
from propmodel.powertrain.prepared import prepare

__all__ = [
    "PowerUp",
    "bare_motor",
    "from_build",
    "most_bare_rise",
    "no_load_supply_current",
    "round_up",
    "standby_current",
    "supply_limit",
]

IDLE_COMMAND = 0.055
"""Idle command of a motor test where the build names none. [-] Common practice."""
CURRENT_BAND = round(motor.IRON_TORQUE_BAND**1.2816, 2)
"""Eight in ten bare motors lie within x or / this of a forecast from the stator size. [-]"""
SHEET_CURRENT_BAND = 1.35
"""The same where the no-load figure was read from a sheet or a bench. [-] Estimate."""
FAULT_FACTOR = 2.0
"""More than this times a known no-load current means a fault. [-] Common practice. Where the figure is only
estimated, one sd of it more: a healthy motor must not be called faulty, nor a fault passed over."""


@dataclass(frozen=True)
class PowerUp:
    """The plain numbers the steps are made of, SI; one build."""

    cells: float
    """In series. [-]"""
    full_voltage: float
    """Of the full pack at rest. [V]"""
    supply_voltage: float
    """At which the motor tests are done. [V]"""
    pack_resistance: float
    """10-second, with leads. [ohm]"""
    lead_length: float
    """One main lead. [m]"""
    capacitance: float
    """At the pack leads. [F]"""
    capacitor_voltage: float | None
    """Printed on the capacitor; None where it is not known. [V]"""
    rotors: int
    """Motors on the craft. [-]"""
    pole_pairs: float
    """Of one motor. [-]"""
    kv: float
    """Label: a bare motor turns near it. [rpm/V]"""
    resistance: float
    """Effective. [ohm]"""
    winding_resistance: float
    """Of the winding alone, between two leads. [ohm]"""
    no_load_current: float
    """Of one bare motor at `no_load_voltage`. [A]"""
    no_load_voltage: float
    """[V]"""
    motor_mass: float
    """Of one. [kg]"""
    bell_inertia: float
    """Of one motor's turning part. [kg m^2]"""
    propeller_inertia: float
    """Of one. [kg m^2]"""
    electronics_power: float
    """Drawn with all motors still. [W]"""
    controller_standby: float
    """Of one controller, drawn at any duty. [W]"""
    ripple_coefficient: float
    """Of one controller: loss over (voltage x duty x (1 - duty))^2. [W/V^2]"""
    idle_command: float
    """Least command of a motor test, idle. [-]"""
    command_cap: float
    """Highest command allowed, 0 to 1. [-]"""
    active_freewheeling: bool | None
    """Of the ESC: True for nearly all since about 2016, None where it is not known."""
    no_load_known: bool = False
    """True where the no-load current is a sheet's or a bench's, not estimated from the stator."""
    hover_command: tuple[float, float, float] | None = None
    """Low, middle, high, idle included, as a share of the largest command. [-]"""
    hover_duty: float = 0.3
    """Average duty of the hover; an estimate where it does not hover. [-]"""
    throttle_exponent: float = 1.0
    """Of the controller: duty = command^exponent. [-]"""
    hover_current: tuple[float, float, float] | None = None
    """Of the pack. [A]"""
    hover_heat: float | None = None
    """In each motor. [W]"""
    hover_rev_per_s: float | None = None
    """Of each motor. [1/s]"""
    stand_current: tuple[float, float, float] | None = None
    """Pack current of one motor with its propeller at full command, without the electronics. [A]"""
    stand_pull: tuple[float, float, float] | None = None
    """Of the same. [N]"""


def round_up(value: float, step: float = 0.1) -> float:
    """Round up to a step one can set on a supply.

    Parameters
    ----------
    value : float
        To be rounded, in any unit.
    step : float
        Of the supply's setting, in the same unit.

    Examples
    --------
    >>> round_up(0.41)
    0.5
    """
    return round(math.ceil(value / step - 1e-9) * step, 6)


def bare_motor(
    duty: float,
    *,
    voltage: float,
    kv: float,
    resistance: float,
    no_load_current: float,
    no_load_voltage: float = 10.0,
) -> tuple[float, float]:
    """Speed and motor current without a propeller; a bare motor turns near its label KV.

    Parameters
    ----------
    duty : float
        Average duty, 0 to 1. [-]
    voltage : float
        Of the supply. [V]
    kv : float
        Label. [rpm/V]
    resistance : float
        Effective. [ohm]
    no_load_current, no_load_voltage : float
        A known point: current and back voltage of a bare motor both grow in proportion to its voltage. [A, V]

    Returns
    -------
    rev_per_s, motor_current : float
        [1/s], [A]

    Examples
    --------
    >>> n, amps = bare_motor(1.0, voltage=15.0, kv=1800, resistance=0.15, no_load_current=0.8)
    >>> round(60 * n), round(amps, 2)
    (26676, 1.2)
    """
    kv, resistance = check_number("motor KV", kv), check_number("resistance", resistance)
    no_load_current = check_number("no-load current", no_load_current)
    no_load_voltage = float(check_positive("no-load voltage", check_number("no-load voltage", no_load_voltage), "V"))
    volts = check_number("duty", duty) * check_number("voltage", voltage)
    current = no_load_current * volts / no_load_voltage
    return (volts - current * resistance) * kv / 60.0, current


def from_build(
    build: Build,
    *,
    active_freewheeling: bool | None = None,
    no_load_known: bool = False,
    supply_voltage: float | None = None,
    bands: Mapping[str, tuple[float, float]] | None = None,
) -> PowerUp:
    """Collect what the steps need from one build.

    Parameters
    ----------
    build : Build
        Of plain numbers.
    active_freewheeling : bool, optional
        True for an ESC younger than about 2016; None where its age is not known: part-throttle figures
        are then left out, since they depend on it.
    no_load_known : bool
        True where the motor's no-load current was typed from a sheet or measured: the band narrows.
    supply_voltage : float, optional
        For the motor tests; the full pack's voltage by default. [V]
    bands : mapping, optional
        Low and high of ``hover_throttle``, ``hover_current`` (pack), ``full_throttle_motor_current`` and
        ``full_throttle_thrust``, as shares of the middle (0.8, 1.25). Missing ones are estimated.

    Returns
    -------
    PowerUp

    Raises
    ------
    ValueError
        If the build holds arrays, or the supply voltage is not a positive number.

    Examples
    --------
    >>> from propmodel.assembly.demo import demo
    >>> from_build(demo("scree")).cells
    6.0
    """
    if shape_of(build) != ():
        raise ValueError("first power-up is for one build of plain numbers, not for arrays")
    full = float(battery.open_circuit_voltage(build.pack, 1.0))
    if supply_voltage is not None:
        volts = check_number("supply voltage", supply_voltage)
        if not 1.0 <= volts <= 200.0:
            raise ValueError(f"supply voltage must be between 1 and 200 V, got {volts:g} V")
    if bands is not None and not isinstance(bands, Mapping):
        raise ValueError(f"bands must be a mapping of answers to their ends, got {quoted(bands)}")
    share = {
        "hover_throttle": (0.85, 1.18),
        "hover_current": (0.75, 1.33),
        "full_throttle_motor_current": (0.67, 1.4),
        "full_throttle_thrust": (0.75, 1.33),
    } | dict(bands or {})

    def spread(name: str, middle: float) -> tuple[float, float, float]:
        low, high = share[name]
        return middle * low, middle, middle * high

    craft, m, esc = build.craft, build.motor, build.controller
    hover = operating_point.at_thrust(
        prepare(build, 1.0, sustained=True), build.weight / np.asarray(build.rotors, float)
    )
    flies = int(hover.status) == 0 and float(hover.duty) <= float(build.duty_cap)
    command = command_from_duty(esc, hover.duty, command_cap=build.command_cap)
    # One motor on a stand: the same pack, one rotor, no arm in the wash, no electronics.
    alone = replace(
        build,
        rotors=1,
        coaxial=False,
        craft=replace(craft, electronics_power=0.0, thrust_loss=0.0),
    )
    stand = operating_point.at_duty(prepare(alone, 1.0), build.duty_cap)
    return PowerUp(
        cells=number(build.pack.cells),
        full_voltage=full,
        supply_voltage=full if supply_voltage is None else volts,
        pack_resistance=float(battery.resistance(build.pack, 1.0)),
        lead_length=number(craft.lead_length),
        capacitance=number(craft.capacitance),
        capacitor_voltage=None if craft.capacitor_voltage is None else number(craft.capacitor_voltage),
        rotors=round(number(build.rotors)),
        pole_pairs=number(m.pole_pairs),
        kv=number(m.kv),
        resistance=number(m.resistance),
        winding_resistance=float(motor.winding_part(m)),
        no_load_current=number(m.no_load_current),
        no_load_voltage=number(m.no_load_voltage),
        motor_mass=float(motor.motor_mass(m)),
        bell_inertia=float(motor.bell_inertia(m)),
        propeller_inertia=float(propeller.inertia(build.propeller)),
        electronics_power=number(craft.electronics_power),
        controller_standby=number(esc.standby_power),
        ripple_coefficient=number(esc.ripple_coefficient),
        idle_command=number(command_from_duty(esc, esc.idle_duty)) or IDLE_COMMAND,
        command_cap=number(build.command_cap),
        active_freewheeling=active_freewheeling,
        no_load_known=no_load_known,
        hover_command=spread("hover_throttle", float(command)) if flies else None,
        hover_duty=float(hover.duty) if flies else 0.3,
        throttle_exponent=number(esc.exponent),
        hover_current=spread("hover_current", float(hover.pack_current)) if flies else None,
        hover_heat=float(hover.winding_loss + winding_ripple(esc, hover.ripple_loss) + hover.iron_loss)
        if flies
        else None,
        hover_rev_per_s=float(hover.rev_per_s) if flies else None,
        stand_current=spread("full_throttle_motor_current", float(stand.pack_current)),
        stand_pull=spread("full_throttle_thrust", float(stand.thrust)),
    )


def standby_current(p: PowerUp) -> tuple[float, float]:
    """Low and high current of the electronics with all motors still. [A]

    Parameters
    ----------
    p : PowerUp
        See `from_build`.
    """
    low = 0.25 * p.electronics_power / p.full_voltage
    high = 1.5 * (p.electronics_power + p.rotors * p.controller_standby) / p.full_voltage
    return low, max(high, 0.05)


def no_load_supply_current(p: PowerUp, duty: float) -> tuple[float, float]:
    """Speed [1/s] and rise of the supply current [A] of one bare motor.

    Parameters
    ----------
    p : PowerUp
        See `from_build`.
    duty : float
        Average duty, 0 to 1. [-]
    """
    n, amps = bare_motor(
        duty,
        voltage=p.supply_voltage,
        kv=p.kv,
        resistance=p.resistance,
        no_load_current=p.no_load_current,
        no_load_voltage=p.no_load_voltage,
    )
    return n, duty * amps + (
        p.controller_standby + number(ripple_power(p.ripple_coefficient, p.supply_voltage, duty))
    ) / p.supply_voltage


def most_bare_rise(p: PowerUp) -> float:
    """Rise of the current of one bare motor at full command beyond which something is wrong. [A]

    Parameters
    ----------
    p : PowerUp
        See `from_build`.
    """
    return FAULT_FACTOR * (1.0 if p.no_load_known else motor.IRON_TORQUE_BAND) * no_load_supply_current(p, 1.0)[1]


def supply_limit(p: PowerUp, *, motor_test: bool = False) -> float:
    """Current limit to set: for plugging in, or for testing one bare motor at a time. [A]

    Parameters
    ----------
    p : PowerUp
        See `from_build`.
    motor_test : bool
        False: all motors still. True: one bare motor runs at full command.

    Examples
    --------
    >>> from propmodel.assembly.demo import demo
    >>> p = from_build(demo("scree"))
    >>> supply_limit(p) < supply_limit(p, motor_test=True)
    True
    """
    standby = standby_current(p)[1]
    if not check_flag("motor_test", motor_test):
        return round_up(max(1.5 * standby, 0.5))
    return round_up(standby + most_bare_rise(p), 0.5)
