"""Worked examples of mass, hover and flight time. Pure functions."""

from __future__ import annotations

import math
from dataclasses import replace

from explorer.app_pages.why.derivations.derivation import Derivation, if_it_hovers, short
from propmodel import heat
from propmodel.assembly.build import Build
from propmodel.assess.assessment import Assessment
from propmodel.assess.performance import evaluate
from propmodel.base.arrays import number
from propmodel.base.constants import STANDARD_GRAVITY as G
from propmodel.base.units import CELSIUS_ZERO, GRAM, MINUTE
from propmodel.components import battery, momentum, motor, propeller
from propmodel.components.battery import LEAST_TEMPERATURE, MOST_TEMPERATURE
from propmodel.components.controller import (
    REFERENCE_TIP_MACH,
    RIPPLE_MOST,
    THROTTLE_EXPONENT,
    TIP_POWER,
    nominal_tip_mach,
)

__all__ = [
    "hover_command_working",
    "hover_power_working",
    "hover_speed_working",
    "ideal_working",
    "mass_working",
    "minutes_working",
    "tilted_ideal_working",
]


def mass_working(b: Build) -> Derivation:
    """Return the worked example of the take-off mass."""
    rotors = number(b.rotors)
    parts = {
        "frame and electronics": number(b.craft.frame_mass),
        "payload": number(b.craft.payload_mass),
        "pack": number(battery.mass(b.pack)),
        f"{rotors:.0f} motors": rotors * number(motor.motor_mass(b.motor)),
        f"{rotors:.0f} propellers": rotors * number(propeller.mass(b.propeller)),
    }
    if b.controller.mass is not None:
        parts[f"{rotors:.0f} ESC"] = rotors * number(b.controller.mass)
    total = sum(parts.values())
    text = " + ".join(f"{name} {mass / GRAM:.1f}" for name, mass in parts.items())
    return Derivation(
        [("Sum of the parts", f"{text} = {total / GRAM:.0f} g", "Kitchen scale where you typed it, else an estimate.")],
        total,
        number(b.mass),
    )


@if_it_hovers
def ideal_working(b: Build) -> Derivation:
    """Return the worked example of the ideal power in hover."""
    a = Assessment(b)
    thrust, area, rho = number(a.bare_thrust), number(b.disc_area), number(b.air.density)
    v = math.sqrt(thrust / (2.0 * rho * area))
    shaft = number(a.hover.shaft_power)
    merit = thrust * v / shaft
    return Derivation(
        [
            (
                "Air pushed down",
                f"v = sqrt(T / (2 rho A)) = sqrt({short(thrust)} N / (2 x {short(rho, 4)} x {short(area)} m2)) = {short(v)} m/s",
                "Momentum theory, ideal disc (Rankine and Froude).",
            ),
            (
                "Least power",
                f"P = T v = {short(thrust)} x {short(v)} = {short(thrust * v)} W for each rotor",
                "The same.",
            ),
            (
                "Figure of merit",
                f"FM = {short(thrust * v)} W / {short(shaft)} W at the shaft = {short(merit, 2)}",
                "Open wind-tunnel measurements end near 0.79; full-size rotors reach 0.75 to 0.80.",
            ),
        ],
        merit,
        number(a.figure_of_merit),
    )


@if_it_hovers
def hover_speed_working(b: Build) -> Derivation:
    """Return the worked example of the rotor speed in hover."""
    a = Assessment(b)
    d = a.fresh_sustained
    n = number(a.hover.rev_per_s)
    c_t = number(d.prop.static(a.hover.rev_per_s)[0])
    each, k, rho, size = (
        number(b.weight) / number(b.rotors),
        number(d.thrust_share),
        number(d.density),
        number(d.diameter),
    )
    got = math.sqrt(each / (k * rho * c_t * size**4))
    return Derivation(
        [
            (
                "Thrust of one rotor",
                f"T = m g / N = {short(number(b.mass))} kg x {G:.2f} / {number(b.rotors):.0f} = {short(each)} N",
                "Weight shared by the rotors.",
            ),
            (
                "Speed",
                f"n = sqrt(T / (k rho C_T D^4)) = sqrt({short(each)} / ({short(k, 2)} x {short(rho, 4)} x {short(c_t)} x "
                f"{short(size, 4)}^4)) = {short(got)} turns a second = {60 * got:,.0f} rpm",
                "C_T at this speed, from the fit to wind-tunnel and stand tables; k is what arms in the wash leave.",
            ),
        ],
        got,
        n,
    )


@if_it_hovers
def hover_power_working(b: Build) -> Derivation:
    """Return the worked example of the power in hover."""
    a = Assessment(b)
    p, rotors = a.hover, number(b.rotors)
    shaft, winding, rest = number(p.shaft_power), number(p.winding_loss), number(p.rest_loss)
    iron, ripple, other = (
        number(p.iron_loss),
        number(p.ripple_loss),
        number(b.craft.electronics_power),
    )
    each = shaft + winding + rest + iron + ripple
    total = rotors * each + other
    return Derivation(
        [
            (
                "One rotor",
                f"shaft {short(shaft)} + winding {short(winding, 2)} + ESC and leads {short(rest, 2)} + iron {short(iron, 2)} + "
                f"ripple {short(ripple, 2)} = {short(each)} W",
                "Copper heat I^2 R; iron loss grows with speed; ripple k V^2 [d (1 - d)]^2, k fitted to thrust stands, "
                "largest at half duty.",
            ),
            (
                "The craft",
                f"{rotors:.0f} x {short(each)} + electronics {short(other, 2)} = {short(total)} W",
                "At the pack's terminals, fresh pack.",
            ),
        ],
        total,
        number(p.pack_power),
    )


def _rule_of_map(b: Build, exponent: float) -> str:
    """Return the source of the throttle exponent, if it was not entered."""
    tip = number(nominal_tip_mach(b.propeller.diameter, b.motor.kv, battery.nominal_voltage(b.pack)))
    worked = THROTTLE_EXPONENT * (tip / REFERENCE_TIP_MACH) ** TIP_POWER
    held = "" if abs(worked - exponent) < 1e-9 else f", held at {exponent:.2f} outside the tables"
    return (
        f" (not measured: {THROTTLE_EXPONENT:.2f} x ({tip:.2f} / {REFERENCE_TIP_MACH:.1f})^{TIP_POWER:.2f}{held}, from the tip "
        f"speed without load, pi D KV V, over that of sound; twelve stands had 0.66 to 1.01)"
    )


@if_it_hovers
def hover_command_working(b: Build) -> Derivation:
    """Return the worked example of the hover command."""
    a = Assessment(b)
    p, d = a.hover, a.fresh_sustained
    emf = number(d.volts_per_rev) * number(p.rev_per_s)
    current, r, bus = number(p.motor_current), number(d.resistance), number(p.bus_voltage)
    volts = emf + current * r
    duty = volts / bus
    esc = b.controller
    exponent, cap = number(esc.exponent), number(b.command_cap)
    top = cap**exponent
    got = (duty / top) ** (1.0 / exponent)
    capped = "" if cap >= 1.0 else f"; under the cap of {100 * cap:.0f} % full throttle is {100 * top:.0f} % duty"
    most = "d" if cap >= 1.0 else f"d / {top:.3f}"
    sheets = "" if esc.throttle_exponent is not None else _rule_of_map(b, exponent)
    return Derivation(
        [
            (
                "Volts at the motor",
                f"V = K_e n + I R = {short(emf)} + {short(current)} A x {1000 * r:.0f} mohm = {short(volts)} V",
                "Motor of three constants; R is the effective resistance, two to three times a printed winding.",
            ),
            (
                "Duty",
                f"d = {short(volts)} V / {short(bus)} V on the bus = {100 * duty:.1f} %{capped}",
                "The ESC passes on an average share of the bus voltage.",
            ),
            (
                "Hover command",
                f"command = ({most})^(1 / {exponent:.2f}) = {duty / top:.3f}^{1.0 / exponent:.2f} = {100 * got:.1f} %",
                f"Throttle map duty = command^{exponent:.2f}{sheets}, idle included. Where firmware makes thrust follow "
                f"the stick, its own thrust command is "
                f"nearer 1 / (thrust over weight) = {100 / number(a.thrust_to_weight):.0f} %.",
            ),
        ],
        got,
        number(evaluate(a, ["hover_throttle"])["hover_throttle"]),
    )


SLICES = 200
"""Number of charge steps in the sum of the flight time. [-]"""


@if_it_hovers
def minutes_working(b: Build) -> Derivation:
    """Return the worked example of the hover time."""
    a = Assessment(b)
    capacity, amps = number(battery.capacity(b.pack)), number(a.hover.pack_current)
    reserve, rotors = number(b.pack.reserve), number(b.rotors)
    # rotor speed and load are constant, so motor voltage and current are, while the pack voltage falls
    volts, steady = (
        number(a.hover.motor_voltage),
        number(a.hover.motor_voltage) * number(a.hover.motor_current),
    )
    aside, ripple_k = number(b.craft.electronics_power), number(b.controller.ripple_coefficient)
    standby, cut = (
        number(b.controller.standby_power),
        number(battery.cutoff_voltage(b.pack)) * number(b.pack.cells),
    )
    # lowest bus voltage with this motor voltage at full throttle; the ripple loss has an upper limit at low power
    least = volts / number(a.cap)
    ripple_k = min(ripple_k, RIPPLE_MOST * (steady + standby + aside / rotors) / max(volts * volts, 1e-30))
    seconds = energy = charge = 0.0
    bus, cut_off = number(a.hover.bus_voltage), False
    air, kelvin = number(b.air.temperature), number(b.pack.temperature)
    held_heat = number(battery.mass(b.pack)) * heat.PACK_HEAT
    for k in range(SLICES):
        left = 1.0 - (1.0 - reserve) * (k + 0.5) / SLICES
        emf = number(battery.open_circuit_voltage(b.pack, left))
        r = number(battery.resistance(replace(b.pack, temperature=kelvin), left, sustained=True))
        for _ in range(3):
            through = volts * max(1.0 - volts / bus, 0.0)
            power = rotors * (steady + standby + ripple_k * through * through) + aside
            bus = 0.5 * (emf + math.sqrt(max(emf * emf - 4.0 * power * r, 0.0)))
        if bus < max(cut, least):
            cut_off = True
            break
        ampere_hours = capacity * (1.0 - reserve) / SLICES
        charge += ampere_hours
        slice_seconds = 3600.0 * ampere_hours * bus / power
        seconds += slice_seconds
        warming = (power / bus) ** 2 * (r - number(b.pack.lead_resistance))
        warming -= number(heat.pack_cooling(battery.mass(b.pack))) * (kelvin - air)
        kelvin = min(max(kelvin + warming * slice_seconds / held_heat, LEAST_TEMPERATURE), MOST_TEMPERATURE)
        energy += 3600.0 * ampere_hours * bus
    label = number(b.pack.capacity_ah) * number(b.pack.parallel)
    held = (
        ""
        if abs(capacity / label - 1.0) < 0.005
        else f"; the pack holds {100 * capacity / label:.0f} % of the {1000 * label:.0f} mAh on its label"
    )
    low = "the loaded cut-off voltage" if cut >= least else "the voltage at which the hover takes full throttle"
    end = low if cut_off else f"the {100 * reserve:.0f} % you land with"
    steps = [
        (
            "Charge used",
            f"{1000 * charge:.0f} of {1000 * capacity:.0f} mAh, to {end}{held}",
            "To the charge you land with; sooner where the loaded voltage reaches the cut-off, or where full throttle no "
            "longer holds it up.",
        )
    ]
    if seconds > 0.0:
        steps += [
            (
                "Energy",
                f"{1000 * charge:.0f} mAh x {short(energy / 3600.0 / charge)} V on average under load = "
                f"{short(energy / 3600)} Wh",
                f"{SLICES} slices of charge, each at its own voltage: V = E / 2 + sqrt(E^2 / 4 - P R), E and R from "
                f"the cell table. Its own loss I^2 R takes the pack from {number(b.pack.temperature) - CELSIUS_ZERO:.0f} to "
                f"{kelvin - CELSIUS_ZERO:.0f} C, and R falls with it.",
            ),
            (
                "Time",
                f"{short(energy / 3600)} Wh / {short(energy / seconds)} W = {seconds / MINUTE:.1f} min",
                f"Capacity over the first amps, {1000 * capacity:.0f} mAh / {short(amps)} A, would promise "
                f"{60 * capacity / amps:.1f} min: it spends the reserve and forgets that falling volts take more amps.",
            ),
        ]
    return Derivation(steps, seconds, number(a.hover_flight.hours) * 3600.0, within=0.01)


@if_it_hovers
def tilted_ideal_working(b: Build) -> Derivation:
    """Return the worked example of the power with a tilted disc."""
    a = Assessment(b)
    thrust, area, rho = number(a.bare_thrust), number(b.disc_area), number(b.air.density)
    bigger = area * 1.44
    before = thrust * math.sqrt(thrust / (2 * rho * area))
    after = thrust * math.sqrt(thrust / (2 * rho * bigger))
    got = after / before
    return Derivation(
        [
            (
                "A fifth more diameter",
                f"P ~ 1 / sqrt(A): {short(before)} W becomes {short(after)} W for each rotor, {100 * (got - 1):.0f} %",
                "Momentum theory: move more air, more slowly.",
            )
        ],
        got,
        float(
            momentum.ideal_power(thrust, disc_area=bigger, air_density=rho)
            / momentum.ideal_power(thrust, disc_area=area, air_density=rho)
        ),
    )
