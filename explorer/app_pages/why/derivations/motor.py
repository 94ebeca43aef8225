"""Worked examples of the motor: heat, stall, inrush, KV and the throttle cap. Pure functions."""

from __future__ import annotations

import math

from explorer.app_pages.why.derivations.derivation import Derivation, if_it_hovers, short
from propmodel.assembly.build import Build, with_fields
from propmodel.assess.assessment import Assessment
from propmodel.base.arrays import number
from propmodel.base.units import CELSIUS_ZERO
from propmodel.components import battery, motor
from propmodel.flight import spin_up
from propmodel.power_up import transients

__all__ = [
    "cap_working",
    "heat_working",
    "inrush_working",
    "more_kv_working",
    "seconds_working",
    "stall_working",
]

COPPER_GAIN = 0.00393
"""Temperature coefficient of the resistance of copper (IEC 60028). [1/K]"""


@if_it_hovers
def heat_working(b: Build) -> Derivation:
    """Return the worked example of the heat in a motor."""
    a = Assessment(b)
    copper, iron = number(a.winding_heat(a.hover)), number(a.hover.iron_loss)
    t = a.thermal_hover
    wb, ba = number(t.winding_body), number(t.body_air)
    air = number(b.air.temperature)
    k = copper * (wb + ba)
    spare = 1.0 - COPPER_GAIN * k
    if spare <= 0.0:
        step = (
            "It never settles",
            f"0.00393 x {short(k, 2)} K of copper heating is {COPPER_GAIN * k:.1f}, not below 1: each degree adds more heat than "
            "the air takes away",
            "Copper gains 0.393 % of resistance a degree (IEC 60028). Do not fly this.",
        )
        return Derivation([step], math.nan, number(a.hover_heat.winding))
    rise = (air - (CELSIUS_ZERO + 20.0) + k + iron * ba) / spare
    got = CELSIUS_ZERO + 20.0 + rise
    return Derivation(
        [
            (
                "Heat",
                f"winding {short(copper, 2)} W and iron {short(iron, 2)} W in each motor",
                "Only the winding's share of the effective resistance heats the winding.",
            ),
            (
                "Way out",
                f"winding to bell {short(wb, 2)} K/W, bell to the air of the wash {short(ba, 2)} K/W",
                "Estimates from the stator size; nothing is published for a bare motor in wash.",
            ),
            (
                "Temperature",
                f"20 + ({air - CELSIUS_ZERO:.0f} - 20 + {short(k, 2)} + {short(iron * ba, 2)}) / (1 - 0.00393 x {short(k, 2)}) = "
                f"{got - CELSIUS_ZERO:.0f} C",
                "Copper gains 0.393 % of resistance a degree (IEC 60028): at 1 / 0.00393 it would run away.",
            ),
        ],
        got,
        number(a.hover_heat.winding),
    )


WARM = 55.0
"""Initial temperature of a motor after flying. [C]"""


def march_working(
    copper: float, iron: float, wb: float, ba: float, cw: float, cb: float, air: float, limit: float
) -> float:
    """Return the time until the winding reaches its limit, by the midpoint rule; infinite if it never does. [s]

    Losses are in W at 20 C, resistances in K/W, heat capacities in J/K, temperatures in C.
    """

    def rates(w: float, body: float) -> tuple[float, float]:
        across = (w - body) / wb
        return (copper * (1.0 + COPPER_GAIN * (w - 20.0)) - across) / cw, (across + iron - (body - air) / ba) / cb

    w = body = WARM
    step = step_once(cw, wb)
    longest = 40.0 * (cb * ba + cw * wb)
    time = 0.0
    while time < longest:
        if w >= limit:
            return time
        dw, db = rates(w, body)
        mw, mb = rates(w + 0.5 * step * dw, body + 0.5 * step * db)
        if mw > 0.0 and w + step * mw >= limit:
            return time + (limit - w) / mw
        if abs(mw) < 1e-7 and abs(mb) < 1e-7:
            return math.inf  # steady state below the limit
        w, body, time = w + step * mw, body + step * mb, time + step
    return math.inf


def step_once(cw: float, wb: float) -> float:
    """Return the time step: 1 % of the time constant of the winding, at most 0.05 s. [s]"""
    return min(0.01 * cw * wb, 0.05)


def seconds_working(b: Build) -> Derivation:
    """Return the worked example of the time to the limit."""
    a = Assessment(b)
    copper, iron = number(a.winding_heat(a.full_throttle)), number(a.full_throttle.iron_loss)
    cw, cb = number(a.heat_capacity.winding), number(a.heat_capacity.body)
    wb, ba = number(a.thermal_full.winding_body), number(a.thermal_full.body_air)
    limit, air = number(b.motor.winding_limit) - CELSIUS_ZERO, number(b.air.temperature) - CELSIUS_ZERO
    warm = copper * (1.0 + COPPER_GAIN * (WARM - 20.0))
    got = march_working(copper, iron, wb, ba, cw, cb, air, limit)
    end = (
        f"it settles below {limit:.0f} C"
        if math.isinf(got)
        else f"{limit:.0f} C is reached after {short(got, 3 if got >= 1.0 else 2)} s"
    )
    return Derivation(
        [
            (
                "First second",
                f"{short(copper)} W at 20 C are {short(warm)} W at {WARM:.0f} C, into {short(cw, 2)} J/K of copper: "
                f"{short(warm / cw, 2)} degrees a second",
                "13 % of a motor is copper (estimate).",
            ),
            (
                "Two bodies",
                f"winding: {short(cw, 2)} dTw/dt = {short(copper)} (1 + 0.00393 (Tw - 20)) - (Tw - Tb) / {short(wb, 2)}; "
                f"bell: {short(cb, 2)} dTb/dt = (Tw - Tb) / {short(wb, 2)} + {short(iron, 2)} - (Tb - {air:.0f}) / {short(ba, 2)}",
                "Heat in, less heat on to the next; resistances are estimates from the stator size and the wash.",
            ),
            (
                "To the limit",
                f"from {WARM:.0f} C both, stepped in time by {short(1000.0 * step_once(cw, wb), 2)} ms: {end}",
                "The engine has the closed form, a sum of two exponentials.",
            ),
        ],
        got,
        number(a.full_throttle_seconds),
        within=2e-3,
    )


def stall_working(b: Build) -> Derivation:
    """Return the worked example of the current of a blocked motor."""
    volts = number(battery.open_circuit_voltage(b.pack, 1.0))
    r = number(b.motor.resistance)
    got = volts / r
    return Derivation(
        [
            (
                "Blocked",
                f"I = V / R = {short(volts)} V / {1000 * r:.0f} mohm = {got:.0f} A at full command",
                "A motor that stands makes no back-EMF: nothing but resistance holds the current. Disarm at once.",
            )
        ],
        got,
        float(spin_up.stall_current(volts, r)),
    )


def inrush_working(b: Build) -> Derivation:
    """Return the worked example of the inrush current at plug-in."""
    volts = number(battery.open_circuit_voltage(b.pack, 1.0))
    c = number(b.craft.capacitance)
    got = 0.5 * c * volts * volts
    return Derivation(
        [
            (
                "The spark",
                f"E = C V^2 / 2 = {1e6 * c:.0f} uF x {short(volts)}^2 / 2 = {short(got, 2)} J into the capacitor in about "
                "a tenth of a millisecond, and as much again into spark and leads",
                "Textbook capacitor. An anti-spark connector takes it through a resistor.",
            )
        ],
        got,
        float(transients.capacitor_energy(volts, c)),
    )


def more_kv_working(b: Build) -> Derivation:
    """Return the worked example of a change of KV."""
    m = b.motor
    k_t, r = number(m.torque_constant), number(m.resistance)
    # rule from the stator: the deviation of this motor's resistance applies equally to both parts
    by_rule = (k_t / number(motor.motor_constant(number(m.stator_diameter), number(m.stator_height)))) ** 2
    fixed = r * motor.FIXED_RESISTANCE / (by_rule + motor.FIXED_RESISTANCE)
    wound = r - fixed
    got = k_t / math.sqrt(wound)
    after, note = wound / 4.0 + fixed, ""
    if m.winding_resistance is not None:
        # a given winding resistance is averaged with the rule, in ln ohm
        after = r * (after / r) ** (1.0 - motor.WINDING_WEIGHT) * 0.25**motor.WINDING_WEIGHT
        note = " by stator and printed winding"
    # result of `propmodel` for the same stator with another KV
    rewound = with_fields(b, {"motor.kv": 2.0 * number(m.kv)}).motor
    return Derivation(
        [
            (
                "Torque for the square root of a watt of heat",
                f"K_m = K_t / sqrt(R - R_0) = {short(1000 * k_t)} mN m/A / sqrt({1000 * r:.0f} - {1000 * fixed:.0f} mohm) = "
                f"{short(1000 * got)} mN m/sqrt(W)",
                "Motor constant; grows with the stator, not with KV. R_0 is not wound: ESC, leads, connectors.",
            ),
            (
                "The same stator wound for twice the KV",
                f"K_t halves, the wound part falls to a quarter, K_m stays: R = {1000 * after:.0f} mohm{note}",
                "More KV is not more power: it draws more amps at fewer volts.",
            ),
        ],
        after,
        number(rewound.resistance),
    )


def cap_working(b: Build) -> Derivation:
    """Return the worked example of the throttle cap."""
    cells = number(b.pack.cells)
    cells_given = b.motor.max_cells is not None
    limit = number(b.motor.max_cells) if cells_given else max(cells - 1.0, 1.0)
    fits = cells_given and cells <= limit
    on = limit + 1.0 if cells <= limit else cells
    got = limit / on
    exponent = number(b.controller.exponent)
    kv = number(b.motor.kv)
    pack_on = with_fields(b, {"pack.cells": on}).pack
    volts, drained = (number(battery.open_circuit_voltage(pack_on, left)) for left in (1.0, b.pack.reserve))
    made_for = number(battery.open_circuit_voltage(with_fields(b, {"pack.cells": limit}).pack, 1.0))
    first = (
        f"the motors are made for {limit:.0f} cells and see {cells:.0f}: it fits as it is; with {on:.0f} cells "
        if fits
        else ("" if cells_given else f"the motors' cells are not told: say {limit:.0f}; ")
    )
    return Derivation(
        [
            (
                "Same average volts",
                f"{first}duty = cells made for / cells on it = {limit:.0f} / {on:.0f} = {100 * got:.0f} %",
                "Full packs of both.",
            ),
            (
                "As a command",
                f"duty = command^{exponent:.2f}: cap = {got:.3f}^(1 / {exponent:.2f}) = {100 * got ** (1 / exponent):.0f} %",
                "Throttle map of the ESC; those of twelve stands differ, so a cap is no exact limit.",
            ),
            (
                "As it drains",
                f"at the reserve the pack stands at {short(drained)} V: the same average then takes {short(made_for)} / "
                f"{short(drained)} = {min(100.0 * made_for / drained, 100.0):.0f} % duty",
                "A cap is a ratio of voltages: one that is right for a full pack is stricter than need be for an "
                "empty one.",
            ),
            (
                "No-load speed, capped",
                f"KV x duty x V = {kv:,.0f} x {got:.3f} x {short(volts)} V = {kv * got * volts:,.0f} rpm",
                f"On the {limit:.0f} cells it is made for, full: {kv:,.0f} x {short(made_for)} V = {kv * made_for:,.0f} rpm.",
            ),
            (
                "What it does not change",
                f"switching, ripple and braking still see all {short(volts)} V; a mode that ignores the cap sees all of it",
                "A part that is not rated for these cells stays unfit.",
            ),
        ],
        kv * got * volts,
        kv * made_for,
    )
