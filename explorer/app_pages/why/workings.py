"""Why: each result as words, formula, this build's numbers and the answer. Pure: a build in, steps out.

The last figure of every working is computed here, from the numbers shown, by the formula shown, and by another way
than the engine's (a march in time for its closed form, slices for its quadrature, a sum of squares for its draws).
The page shows both, and a test holds one against the other.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import wraps

import numpy as np

from explorer.text.search import holding
from explorer.text.working_step import Step
from propmodel import heat
from propmodel.assembly.build import Build, drag_areas, with_fields
from propmodel.assess.assessment import Assessment
from propmodel.assess.performance import evaluate
from propmodel.base.constants import STANDARD_GRAVITY as G
from propmodel.base.units import CELSIUS_ZERO, GRAM, KMH, MINUTE
from propmodel.components import battery, momentum, motor, propeller
from propmodel.components.battery import LEAST_TEMPERATURE, MOST_TEMPERATURE
from propmodel.components.controller import RIPPLE_MOST, THROTTLE_EXPONENT
from propmodel.dive import closed_forms
from propmodel.dive.pull_out import pull_out
from propmodel.flight import spin_up
from propmodel.flight.best_speeds import best_speeds
from propmodel.flight.level import level_flight
from propmodel.flight.top_speed import top_speed
from propmodel.power_up import transients
from propmodel.studies.spread import bands, contributions

__all__ = ["QUESTIONS", "Question", "Worked", "check_words", "found"]


@dataclass(frozen=True)
class Worked:
    """A working of one build.

    Parameters
    ----------
    steps : list of (what, formula with numbers, source)
    by_formula : float
        Last figure, from the numbers shown. [SI]
    by_engine : float
        The engine's answer to the same question. [SI]
    within : float
        By how much the two may differ, relative: what the sum leaves out. [-]
    """

    steps: list[Step]
    by_formula: float
    by_engine: float
    within: float = 1e-3

    @property
    def agrees(self) -> bool:
        """Whether sum and engine say the same; also where both say that there is no such number."""
        if not (math.isfinite(self.by_formula) and math.isfinite(self.by_engine)):
            return str(self.by_formula) == str(self.by_engine)  # nan, inf and -inf by name
        return abs(self.by_formula - self.by_engine) <= self.within * abs(self.by_engine)


def check_words(got: Worked) -> str:
    """Say how the sum shown compares with the engine; empty where there is no number to compare.

    Examples
    --------
    >>> check_words(Worked([], 2.0, 2.01, within=0.01))
    "Checked: the engine's own answer, found another way, is 0.5 % larger."
    """
    if not (math.isfinite(got.by_formula) and math.isfinite(got.by_engine) and got.by_engine):
        return ""
    off = got.by_engine / got.by_formula - 1.0 if got.by_formula else math.inf
    if not got.agrees:
        return f"This sum and the engine differ by {100 * abs(off):.0f} %: trust neither until somebody knows why."
    if abs(off) < 5e-4:
        return "Checked: the engine's own answer is the same."
    side = "larger" if off > 0.0 else "smaller"
    return f"Checked: the engine's own answer, found another way, is {100 * abs(off):.1f} % {side}."


@dataclass(frozen=True)
class Question:
    """One thing a reader may ask why about.

    Parameters
    ----------
    key, ask, words : str
        Name; the question; the answer in plain words.
    work : callable
        Gives the working of a build of plain numbers.
    page : str
        Where the result stands.
    knob : str
        Input whose change shows it best.
    also : str
        Further words that find it.
    """

    key: str
    ask: str
    words: str
    work: Callable[[Build], Worked]
    page: str
    knob: str
    also: str = ""


def _f(value: object) -> float:
    return float(np.asarray(value, dtype=np.float64))


def _s(value: float, digits: int = 3) -> str:
    """A number with so many significant digits, never in powers of ten."""
    if not math.isfinite(value):
        return "none" if math.isnan(value) else "without end"
    if value == 0.0:
        return "0"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    return f"{value:,.{places}f}"


def _if_it_hovers(work: Callable[[Build], Worked]) -> Callable[[Build], Worked]:
    """Say that a craft cannot hover instead of working out a hover that it never has."""

    @wraps(work)
    def guarded(b: Build) -> Worked:
        a = Assessment(b)
        if bool(a.can_hover):
            return work(b)
        pull = _f(a.thrust_to_weight)
        why = (
            "below 1 it stays on the ground"
            if pull < 1.0
            else "for seconds on a fresh pack; once the pack sags under the load, full throttle does not hold it up"
        )
        step = (
            "It does not hover",
            f"flat out all rotors together lift {pull:.2f} times the weight: {why}",
            "A larger propeller, more cells or less mass comes first; this working appears once it hovers.",
        )
        return Worked([step], math.nan, math.nan)

    return guarded


def _mass(b: Build) -> Worked:
    rotors = _f(b.rotors)
    parts = {
        "frame and electronics": _f(b.craft.frame_mass),
        "payload": _f(b.craft.payload_mass),
        "pack": _f(battery.mass(b.pack)),
        f"{rotors:.0f} motors": rotors * _f(motor.motor_mass(b.motor)),
        f"{rotors:.0f} propellers": rotors * _f(propeller.mass(b.propeller)),
    }
    if b.controller.mass is not None:
        parts[f"{rotors:.0f} ESC"] = rotors * _f(b.controller.mass)
    total = sum(parts.values())
    text = " + ".join(f"{name} {mass / GRAM:.1f}" for name, mass in parts.items())
    return Worked(
        [("Sum of the parts", f"{text} = {total / GRAM:.0f} g", "Kitchen scale where you typed it, else an estimate.")],
        total,
        _f(b.mass),
    )


@_if_it_hovers
def _ideal(b: Build) -> Worked:
    a = Assessment(b)
    thrust, area, rho = _f(a.bare_thrust), _f(b.disc_area), _f(b.air.density)
    v = math.sqrt(thrust / (2.0 * rho * area))
    shaft = _f(a.hover.shaft_power)
    merit = thrust * v / shaft
    return Worked(
        [
            (
                "Air pushed down",
                f"v = sqrt(T / (2 rho A)) = sqrt({_s(thrust)} N / (2 x {_s(rho, 4)} x {_s(area)} m2)) = {_s(v)} m/s",
                "Momentum theory, ideal disc (Rankine and Froude).",
            ),
            ("Least power", f"P = T v = {_s(thrust)} x {_s(v)} = {_s(thrust * v)} W for each rotor", "The same."),
            (
                "Figure of merit",
                f"FM = {_s(thrust * v)} W / {_s(shaft)} W at the shaft = {_s(merit, 2)}",
                "Open wind-tunnel measurements end near 0.79; full-size rotors reach 0.75 to 0.80.",
            ),
        ],
        merit,
        _f(a.figure_of_merit),
    )


@_if_it_hovers
def _hover_speed(b: Build) -> Worked:
    a = Assessment(b)
    d = a.fresh_sustained
    n = _f(a.hover.rev_per_s)
    c_t = _f(d.prop.static(a.hover.rev_per_s)[0])
    each, k, rho, size = _f(b.weight) / _f(b.rotors), _f(d.thrust_share), _f(d.density), _f(d.diameter)
    got = math.sqrt(each / (k * rho * c_t * size**4))
    return Worked(
        [
            (
                "Thrust of one rotor",
                f"T = m g / N = {_s(_f(b.mass))} kg x {G:.2f} / {_f(b.rotors):.0f} = {_s(each)} N",
                "Weight shared by the rotors.",
            ),
            (
                "Speed",
                f"n = sqrt(T / (k rho C_T D^4)) = sqrt({_s(each)} / ({_s(k, 2)} x {_s(rho, 4)} x {_s(c_t)} x "
                f"{_s(size, 4)}^4)) = {_s(got)} turns a second = {60 * got:,.0f} rpm",
                "C_T at this speed, from the fit to wind-tunnel and stand tables; k is what arms in the wash leave.",
            ),
        ],
        got,
        n,
    )


@_if_it_hovers
def _hover_power(b: Build) -> Worked:
    a = Assessment(b)
    p, rotors = a.hover, _f(b.rotors)
    shaft, winding, rest = _f(p.shaft_power), _f(p.winding_loss), _f(p.rest_loss)
    iron, ripple, other = _f(p.iron_loss), _f(p.ripple_loss), _f(b.craft.electronics_power)
    each = shaft + winding + rest + iron + ripple
    total = rotors * each + other
    return Worked(
        [
            (
                "One rotor",
                f"shaft {_s(shaft)} + winding {_s(winding, 2)} + ESC and leads {_s(rest, 2)} + iron {_s(iron, 2)} + "
                f"ripple {_s(ripple, 2)} = {_s(each)} W",
                "Copper heat I^2 R; iron loss grows with speed; ripple k V^2 [d (1 - d)]^2, k fitted to thrust stands, "
                "largest at half duty.",
            ),
            (
                "The craft",
                f"{rotors:.0f} x {_s(each)} + electronics {_s(other, 2)} = {_s(total)} W",
                "At the pack's terminals, fresh pack.",
            ),
        ],
        total,
        _f(p.pack_power),
    )


@_if_it_hovers
def _hover_command(b: Build) -> Worked:
    a = Assessment(b)
    p, d = a.hover, a.fresh_sustained
    emf = _f(d.volts_per_rev) * _f(p.rev_per_s)
    current, r, bus = _f(p.motor_current), _f(d.resistance), _f(p.bus_voltage)
    volts = emf + current * r
    duty = volts / bus
    esc = b.controller
    exponent, cap = _f(esc.throttle_exponent), _f(b.command_cap)
    top = cap**exponent
    got = (duty / top) ** (1.0 / exponent)
    capped = "" if cap >= 1.0 else f"; under the cap of {100 * cap:.0f} % full throttle is {100 * top:.0f} % duty"
    most = "d" if cap >= 1.0 else f"d / {top:.3f}"
    sheets = (
        " (one exponent for all ESC; on twelve stands it was 0.66 to 1.01)"
        if exponent == THROTTLE_EXPONENT and esc.log_sd_throttle_exponent is None
        else ""
    )
    return Worked(
        [
            (
                "Volts at the motor",
                f"V = K_e n + I R = {_s(emf)} + {_s(current)} A x {1000 * r:.0f} mohm = {_s(volts)} V",
                "Motor of three constants; R is the effective resistance, two to three times a printed winding.",
            ),
            (
                "Duty",
                f"d = {_s(volts)} V / {_s(bus)} V on the bus = {100 * duty:.1f} %{capped}",
                "The ESC passes on an average share of the bus voltage.",
            ),
            (
                "Hover command",
                f"command = ({most})^(1 / {exponent:.2f}) = {duty / top:.3f}^{1.0 / exponent:.2f} = {100 * got:.1f} %",
                f"Throttle map duty = command^{exponent:.2f}{sheets}, idle included. Where firmware makes thrust follow "
                f"the stick, its own thrust command is "
                f"nearer 1 / (thrust over weight) = {100 / _f(a.thrust_to_weight):.0f} %.",
            ),
        ],
        got,
        _f(evaluate(a, ["hover_throttle"])["hover_throttle"]),
    )


SLICES = 200
"""Slices of charge in the sum of the minutes. [-]"""


@_if_it_hovers
def _minutes(b: Build) -> Worked:
    a = Assessment(b)
    capacity, amps = _f(battery.capacity(b.pack)), _f(a.hover.pack_current)
    reserve, rotors = _f(b.pack.reserve), _f(b.rotors)
    # the motors keep their speed and load: their volts and amps stay while the pack's volts fall
    volts, steady = _f(a.hover.motor_voltage), _f(a.hover.motor_voltage) * _f(a.hover.motor_current)
    aside, ripple_k = _f(b.craft.electronics_power), _f(b.controller.ripple_coefficient)
    standby, cut = _f(b.controller.standby_power), _f(battery.cutoff_voltage(b.pack)) * _f(b.pack.cells)
    # full throttle gives these volts from no lower a bus; and ripple is held where little power goes with it
    least = volts / _f(a.cap)
    ripple_k = min(ripple_k, RIPPLE_MOST * (steady + standby + aside / rotors) / max(volts * volts, 1e-30))
    seconds = energy = charge = 0.0
    bus, cut_off = _f(a.hover.bus_voltage), False
    air, kelvin = _f(b.air.temperature), _f(b.pack.temperature)
    held_heat = _f(battery.mass(b.pack)) * heat.PACK_HEAT
    for k in range(SLICES):
        left = 1.0 - (1.0 - reserve) * (k + 0.5) / SLICES
        emf = _f(battery.open_circuit_voltage(b.pack, left))
        r = _f(battery.resistance(replace(b.pack, temperature=kelvin), left, sustained=True))
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
        warming = (power / bus) ** 2 * (r - _f(b.pack.lead_resistance))
        warming -= _f(heat.pack_cooling(battery.mass(b.pack))) * (kelvin - air)
        kelvin = min(max(kelvin + warming * slice_seconds / held_heat, LEAST_TEMPERATURE), MOST_TEMPERATURE)
        energy += 3600.0 * ampere_hours * bus
    label = _f(b.pack.capacity_ah) * _f(b.pack.parallel)
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
                f"{1000 * charge:.0f} mAh x {_s(energy / 3600.0 / charge)} V on average under load = "
                f"{_s(energy / 3600)} Wh",
                f"{SLICES} slices of charge, each at its own voltage: V = E / 2 + sqrt(E^2 / 4 - P R), E and R from "
                f"the cell table. Its own loss I^2 R takes the pack from {_f(b.pack.temperature) - CELSIUS_ZERO:.0f} to "
                f"{kelvin - CELSIUS_ZERO:.0f} C, and R falls with it.",
            ),
            (
                "Time",
                f"{_s(energy / 3600)} Wh / {_s(energy / seconds)} W = {seconds / MINUTE:.1f} min",
                f"Capacity over the first amps, {1000 * capacity:.0f} mAh / {_s(amps)} A, would promise "
                f"{60 * capacity / amps:.1f} min: it spends the reserve and forgets that falling volts take more amps.",
            ),
        ]
    return Worked(steps, seconds, _f(a.hover_flight.hours) * 3600.0, within=0.01)


def _pull(b: Build) -> Worked:
    a = Assessment(b)
    d, p = a.fresh_burst, a.full_throttle
    n = _f(p.rev_per_s)
    c_t = _f(d.prop.static(p.rev_per_s)[0])
    k, rho, size, rotors = _f(d.thrust_share), _f(d.density), _f(d.diameter), _f(b.rotors)
    thrust = k * rho * c_t * n * n * size**4
    got = rotors * thrust / _f(b.weight)
    return Worked(
        [
            (
                "Speed flat out",
                f"the pack sags to {_s(_f(p.bus_voltage))} V; there motor and propeller agree at {60 * n:,.0f} rpm",
                "Torque of the motor = torque of the propeller, bus voltage from the pack's resistance.",
            ),
            (
                "Thrust of one rotor",
                f"T = k rho C_T n^2 D^4 = {_s(k, 2)} x {_s(rho, 4)} x {_s(c_t)} x {_s(n)}^2 x {_s(size, 4)}^4 = "
                f"{_s(thrust)} N = {thrust / G * 1000:.0f} g",
                "Definition of C_T; its value from the fit to wind-tunnel and stand tables.",
            ),
            (
                "Thrust to weight",
                f"{rotors:.0f} x {_s(thrust)} N / {_s(_f(b.weight))} N = {got:.1f}",
                "Fresh pack, first ten seconds.",
            ),
        ],
        got,
        _f(a.thrust_to_weight),
    )


def _full_current(b: Build) -> Worked:
    a = Assessment(b)
    d, p = a.fresh_burst, a.full_throttle
    torque, iron, k_t = _f(p.torque), _f(d.iron_slope) * _f(p.rev_per_s), _f(d.torque_constant)
    current = (torque + iron) / k_t
    duty, bus, rotors = _f(p.duty), _f(p.bus_voltage), _f(b.rotors)
    other = (rotors * _f(p.ripple_loss) + _f(d.electronics_power)) / bus
    got = rotors * duty * current + other
    return Worked(
        [
            (
                "Current in one motor",
                f"I = (Q + q n) / K_t = ({_s(torque)} + {_s(iron, 2)}) N m / {_s(k_t)} N m/A = {_s(current)} A",
                f"K_t = 60 / (2 pi KV), KV under load {100 * _f(b.motor.loaded_kv_ratio):.0f} % of the label: more KV, more "
                "amps for the same torque.",
            ),
            (
                "Current from the pack",
                f"{rotors:.0f} x {duty:.2f} x {_s(current)} + {_s(other, 2)} A for ripple and electronics = {got:.0f} A",
                "Amps from the pack are duty times amps in the motor.",
            ),
        ],
        got,
        _f(p.pack_current),
    )


def _sag(b: Build) -> Worked:
    a = Assessment(b)
    d, p = a.fresh_burst, a.full_throttle
    emf, r, amps, cells = _f(d.emf), _f(d.pack_resistance), _f(p.pack_current), _f(b.pack.cells)
    got = emf - amps * r
    guessed = b.pack.cell_resistance is None
    known = "estimated from " + (
        "chemistry and size" if b.pack.label_c is None else "chemistry, size and the C rating on the label"
    )
    return Worked(
        [
            (
                "Under load",
                f"V = E - I R = {_s(emf)} - {_s(amps)} A x {1000 * r:.0f} mohm = {_s(got)} V, {got / cells:.2f} V a cell",
                "Ten-second resistance of cells, leads and connector"
                + (
                    f", {known}: a charger's reading of one cell would narrow it."
                    if guessed
                    else "; that of the cells is 1.7 times a charger's short reading."
                ),
            )
        ],
        got,
        _f(p.bus_voltage),
    )


def _top(b: Build) -> Worked:
    found_ = top_speed(b)
    v, tilt = _f(found_.speed), _f(found_.tilt)
    if not math.isfinite(v):
        return Worked([("No level flight", "full throttle does not lift the craft", "")], math.nan, v)
    d = Assessment(b).fresh_burst
    _, top = (_f(x) for x in drag_areas(b))
    rho, weight, rotors, size = _f(b.air.density), _f(b.weight), _f(b.rotors), _f(d.diameter)
    n, k = _f(found_.rev_per_s), _f(d.thrust_share)
    j = v * math.sin(tilt) / (n * size)
    c_t = _f(d.prop.at(np.asarray(j), np.asarray(n))[0])
    pull = rotors * k * rho * c_t * n * n * size**4
    # along the shaft: the pull carries its share of the weight and what the air does to the plate, and nothing else
    plate = pull - weight * math.cos(tilt)
    got = math.sqrt(2.0 * max(plate, 0.0) / (rho * top * math.sin(tilt)))
    return Worked(
        [
            (
                "Thrust in that stream",
                f"J = V sin / (n D) = {_s(v)} m/s x {math.sin(tilt):.2f} / ({_s(n)} x {_s(size)}) = {_s(j)}; "
                f"{rotors:.0f} k rho C_T n^2 D^4 = {rotors:.0f} x {_s(k, 2)} x {_s(rho, 4)} x {_s(c_t)} x {_s(n)}^2 x "
                f"{_s(size, 4)}^4 = {_s(pull)} N",
                "C_T falls as the air runs into the disc; it reaches zero near J0, above pitch speed.",
            ),
            (
                "What is left for the air",
                f"F = T - m g cos = {_s(pull)} - {_s(weight)} x {math.cos(tilt):.2f} = {_s(plate)} N at "
                f"{math.degrees(tilt):.0f} degrees of tilt",
                "Along the shafts: thrust = weight cos + the air on the plate. The rotors' in-plane force lies across them; "
                "it leans the craft further.",
            ),
            (
                "The plate in the stream",
                f"F = rho/2 V^2 f_top sin, f_top = {1e4 * top:.0f} cm2, sin = {math.sin(tilt):.2f}",
                "The plate turns into the stream. Estimate, a factor 1.7 either way.",
            ),
            (
                "Speed",
                f"V = sqrt(2 F / (rho f_top sin)) = {_s(got)} m/s = {got / KMH:.0f} km/h; pitch speed there is "
                f"{_f(found_.pitch_speed) / KMH:.0f} km/h",
                "Fresh pack, a sprint: the fastest speed at which the sum closes with the motors flat out.",
            ),
        ],
        got,
        v,
        within=0.02,
    )


TRIED = 241
"""Speeds tried along the power curve, with standing still. [-]"""


def _bucket(b: Build) -> Worked:
    best = best_speeds(b)
    slow, fast = _f(best.endurance_speed), _f(best.range_speed)
    if not math.isfinite(slow):
        return Worked([("No level flight", "full throttle does not lift the craft", "")], math.nan, math.nan)
    at = level_flight(b, np.array([0.0, slow, fast]))
    power = np.asarray(at.electrical_power)
    # by trying: the least of the curve, and the least of power over speed
    tried = np.linspace(0.0, 2.0 * fast, TRIED)[1:]
    along = np.asarray(level_flight(b, tried).electrical_power)
    got = float(along.min() / power[0])
    return Worked(
        [
            (
                "Hover",
                f"{_s(float(power[0]))} W: all the air must be made to move",
                "Momentum theory; in forward flight more air passes by itself (Glauert).",
            ),
            (
                "Longest aloft",
                f"{_s(float(along.min()))} W / {_s(float(power[0]))} W = {100 * got:.0f} % of hover, at "
                f"{tried[along.argmin()] / KMH:.0f} km/h",
                f"Lowest of {TRIED - 1} speeds tried along the curve.",
            ),
            (
                "Farthest",
                f"{_s(float(power[2]))} W at {fast / KMH:.0f} km/h: {_s(float(power[2]) / fast)} J for each metre",
                "Where a ray from the origin touches the curve.",
            ),
        ],
        got,
        _f(best.power_ratio),
    )


@_if_it_hovers
def _heat(b: Build) -> Worked:
    a = Assessment(b)
    copper, iron = _f(a.winding_heat(a.hover)), _f(a.hover.iron_loss)
    t = a.thermal_hover
    wb, ba = _f(t.winding_body), _f(t.body_air)
    air = _f(b.air.temperature)
    alpha = 0.00393
    k = copper * (wb + ba)
    spare = 1.0 - alpha * k
    if spare <= 0.0:
        step = (
            "It never settles",
            f"0.00393 x {_s(k, 2)} K of copper heating is {alpha * k:.1f}, not below 1: each degree adds more heat than "
            "the air takes away",
            "Copper gains 0.393 % of resistance a degree (IEC 60028). Do not fly this.",
        )
        return Worked([step], math.nan, _f(a.hover_heat.winding))
    rise = (air - (CELSIUS_ZERO + 20.0) + k + iron * ba) / spare
    got = CELSIUS_ZERO + 20.0 + rise
    return Worked(
        [
            (
                "Heat",
                f"winding {_s(copper, 2)} W and iron {_s(iron, 2)} W in each motor",
                "Only the winding's share of the effective resistance heats the winding.",
            ),
            (
                "Way out",
                f"winding to bell {_s(wb, 2)} K/W, bell to the air of the wash {_s(ba, 2)} K/W",
                "Estimates from the stator size; nothing is published for a bare motor in wash.",
            ),
            (
                "Temperature",
                f"20 + ({air - CELSIUS_ZERO:.0f} - 20 + {_s(k, 2)} + {_s(iron * ba, 2)}) / (1 - 0.00393 x {_s(k, 2)}) = "
                f"{got - CELSIUS_ZERO:.0f} C",
                "Copper gains 0.393 % of resistance a degree (IEC 60028): at 1 / 0.00393 it would run away.",
            ),
        ],
        got,
        _f(a.hover_heat.winding),
    )


COPPER_GAIN = 0.00393
"""Resistance that copper gains for each degree (IEC 60028). [1/K]"""
WARM = 55.0
"""A motor warmed by flying. [C]"""


def _march(copper: float, iron: float, wb: float, ba: float, cw: float, cb: float, air: float, limit: float) -> float:
    """Seconds until the winding reaches its limit, stepped in time by the midpoint rule; inf where it never does.

    Watts at 20 C; resistances in K/W, capacities in J/K, temperatures in C.
    """

    def rates(w: float, body: float) -> tuple[float, float]:
        across = (w - body) / wb
        return (copper * (1.0 + COPPER_GAIN * (w - 20.0)) - across) / cw, (across + iron - (body - air) / ba) / cb

    w = body = WARM
    step = _step(cw, wb)
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
            return math.inf  # settled below
        w, body, time = w + step * mw, body + step * mb, time + step
    return math.inf


def _step(cw: float, wb: float) -> float:
    """Hundredth of the time in which the winding answers. [s]"""
    return min(0.01 * cw * wb, 0.05)


def _seconds(b: Build) -> Worked:
    a = Assessment(b)
    copper, iron = _f(a.winding_heat(a.full_throttle)), _f(a.full_throttle.iron_loss)
    cw, cb = _f(a.heat_capacity.winding), _f(a.heat_capacity.body)
    wb, ba = _f(a.thermal_full.winding_body), _f(a.thermal_full.body_air)
    limit, air = _f(b.motor.winding_limit) - CELSIUS_ZERO, _f(b.air.temperature) - CELSIUS_ZERO
    warm = copper * (1.0 + COPPER_GAIN * (WARM - 20.0))
    got = _march(copper, iron, wb, ba, cw, cb, air, limit)
    end = (
        f"it settles below {limit:.0f} C"
        if math.isinf(got)
        else f"{limit:.0f} C is reached after {_s(got, 3 if got >= 1.0 else 2)} s"
    )
    return Worked(
        [
            (
                "First second",
                f"{_s(copper)} W at 20 C are {_s(warm)} W at {WARM:.0f} C, into {_s(cw, 2)} J/K of copper: "
                f"{_s(warm / cw, 2)} degrees a second",
                "13 % of a motor is copper (estimate).",
            ),
            (
                "Two bodies",
                f"winding: {_s(cw, 2)} dTw/dt = {_s(copper)} (1 + 0.00393 (Tw - 20)) - (Tw - Tb) / {_s(wb, 2)}; "
                f"bell: {_s(cb, 2)} dTb/dt = (Tw - Tb) / {_s(wb, 2)} + {_s(iron, 2)} - (Tb - {air:.0f}) / {_s(ba, 2)}",
                "Heat in, less heat on to the next; resistances are estimates from the stator size and the wash.",
            ),
            (
                "To the limit",
                f"from {WARM:.0f} C both, stepped in time by {_s(1000.0 * _step(cw, wb), 2)} ms: {end}",
                "The engine has the closed form, a sum of two exponentials.",
            ),
        ],
        got,
        _f(a.full_throttle_seconds),
        within=2e-3,
    )


def _dive(b: Build) -> Worked:
    drop = 40.0
    front, _ = (_f(x) for x in drag_areas(b))
    rho, mass = _f(b.air.density), _f(b.mass)
    terminal = math.sqrt(2.0 * mass * G / (rho * front))
    speed = float(closed_forms.fall_speed(drop, terminal_speed=terminal))
    out = pull_out(b, drop)
    load, lost = _f(out.peak_load), _f(out.height_lost)
    got = terminal * math.sqrt(1.0 - math.exp(-2.0 * G * drop / terminal**2))
    return Worked(
        [
            (
                "Speed after 40 m, nose down",
                f"V = V_t sqrt(1 - exp(-2 g h / V_t^2)) with V_t = sqrt(2 m g / (rho f)) = {_s(terminal)} m/s: "
                f"{_s(got)} m/s",
                "Fall with quadratic drag, closed form.",
            ),
            (
                "Before the pull-out",
                f"{_s(speed)} m/s x 0.5 s of seeing, deciding, turning and spinning up = {_s(0.5 * speed, 2)} m and more",
                "Common practice, from memory: 0.4 to 0.7 s. On Dive you set your own; spinning up comes on top there.",
            ),
            (
                "Pull-out",
                "a stop costs V^2 / (2 g (n - 1)), a pull-out on an arc more: "
                + (
                    f"with n = {load:.1f} times the weight, {lost:.0f} m lost from the command"
                    if math.isfinite(lost)
                    else "with no more thrust than weight there is no way out"
                ),
                "Point mass, stepped; the reserve left in the pack; 85 % of the thrust, since the motors steer too.",
            ),
        ],
        got,
        _f(out.speed),
    )


@_if_it_hovers
def _wash(b: Build) -> Worked:
    each, k = _f(b.weight) / _f(b.rotors), _f(Assessment(b).fresh_sustained.thrust_share)
    rho, size = _f(b.air.density), _f(b.propeller.diameter)
    area = 0.25 * math.pi * size * size
    v = math.sqrt(each / k / (2.0 * rho * area))
    return Worked(
        [
            (
                "Wash speed",
                f"v = sqrt(T / (2 rho A)) with T = m g / (N k) = {_s(each)} N / {_s(k, 2)} and A = pi D^2 / 4 = "
                f"{_s(area)} m2: sqrt({_s(each / k)} / (2 x {_s(rho, 4)} x {_s(area)})) = {_s(v)} m/s",
                "Momentum theory; k is what arms in the wash leave.",
            ),
            (
                "Sinking into it",
                f"between 0.4 and 1.4 v, {0.4 * v:.1f} to {1.4 * v:.1f} m/s straight down, the rotors breathe their own "
                "wash and lose up to a third of the thrust; leave sideways",
                "Johnson as reproduced by Hoffmann et al. 2007; escape by side speed 2.75 times the descent: "
                "Talaeizadeh et al., arXiv 1909.09069.",
            ),
        ],
        v,
        _f(Assessment(b).wash_speed),
    )


def _stall(b: Build) -> Worked:
    volts = _f(battery.open_circuit_voltage(b.pack, 1.0))
    r = _f(b.motor.resistance)
    got = volts / r
    return Worked(
        [
            (
                "Blocked",
                f"I = V / R = {_s(volts)} V / {1000 * r:.0f} mohm = {got:.0f} A at full command",
                "A motor that stands makes no back-EMF: nothing but resistance holds the current. Disarm at once.",
            )
        ],
        got,
        float(spin_up.stall_current(volts, r)),
    )


def _inrush(b: Build) -> Worked:
    volts = _f(battery.open_circuit_voltage(b.pack, 1.0))
    c = _f(b.craft.capacitance)
    got = 0.5 * c * volts * volts
    return Worked(
        [
            (
                "The spark",
                f"E = C V^2 / 2 = {1e6 * c:.0f} uF x {_s(volts)}^2 / 2 = {_s(got, 2)} J into the capacitor in about "
                "a tenth of a millisecond, and as much again into spark and leads",
                "Textbook capacitor. An anti-spark connector takes it through a resistor.",
            )
        ],
        got,
        float(transients.capacitor_energy(volts, c)),
    )


@_if_it_hovers
def _tilted_ideal(b: Build) -> Worked:
    a = Assessment(b)
    thrust, area, rho = _f(a.bare_thrust), _f(b.disc_area), _f(b.air.density)
    bigger = area * 1.44
    before = thrust * math.sqrt(thrust / (2 * rho * area))
    after = thrust * math.sqrt(thrust / (2 * rho * bigger))
    got = after / before
    return Worked(
        [
            (
                "A fifth more diameter",
                f"P ~ 1 / sqrt(A): {_s(before)} W becomes {_s(after)} W for each rotor, {100 * (got - 1):.0f} %",
                "Momentum theory: move more air, more slowly.",
            )
        ],
        got,
        float(
            momentum.ideal_power(thrust, disc_area=bigger, air_density=rho)
            / momentum.ideal_power(thrust, disc_area=area, air_density=rho)
        ),
    )


def _more_kv(b: Build) -> Worked:
    m = b.motor
    k_t, r = _f(m.torque_constant), _f(m.resistance)
    # the rule from the stator: this motor's own resistance may lie above or below it, both parts alike
    by_rule = (k_t / _f(motor.motor_constant(_f(m.stator_diameter), _f(m.stator_height)))) ** 2
    fixed = r * motor.FIXED_RESISTANCE / (by_rule + motor.FIXED_RESISTANCE)
    wound = r - fixed
    got = k_t / math.sqrt(wound)
    after, told = wound / 4.0 + fixed, ""
    if m.winding_resistance is not None:
        # the printed winding counts beside the rule, in ln ohm
        after = r * (after / r) ** (1.0 - motor.WINDING_WEIGHT) * 0.25**motor.WINDING_WEIGHT
        told = " by stator and printed winding"
    # what the engine makes of the same stator with another label
    rewound = with_fields(b, {"motor.kv": 2.0 * _f(m.kv)}).motor
    return Worked(
        [
            (
                "Torque for the square root of a watt of heat",
                f"K_m = K_t / sqrt(R - R_0) = {_s(1000 * k_t)} mN m/A / sqrt({1000 * r:.0f} - {1000 * fixed:.0f} mohm) = "
                f"{_s(1000 * got)} mN m/sqrt(W)",
                "Motor constant; grows with the stator, not with KV. R_0 is not wound: ESC, leads, connectors.",
            ),
            (
                "The same stator wound for twice the KV",
                f"K_t halves, the wound part falls to a quarter, K_m stays: R = {1000 * after:.0f} mohm{told}",
                "More KV is not more power: it asks more amps at fewer volts.",
            ),
        ],
        after,
        _f(rewound.resistance),
    )


NINE_IN_TEN = 1.2816
"""Standard deviations to either side that hold eight in ten of a bell curve; nine in ten lie below the upper one."""


def _spread(b: Build) -> Worked:
    low, mid, high = bands(b)
    pull, ends = _f(mid.thrust_to_weight), (_f(low.thrust_to_weight), _f(high.thrust_to_weight))
    rows = [row for row in contributions(b, "thrust_to_weight") if row.log_sd > 0.0]
    total = math.sqrt(sum(row.log_sd**2 for row in rows))
    # half the width of the band, in logarithms: by the sum, and by the engine's joint draws
    got, drawn = NINE_IN_TEN * total, 0.5 * math.log(ends[1] / ends[0])
    told = " + ".join(f"{100 * row.log_sd:.1f}^2" for row in rows[:5])
    more = f" + {len(rows) - 5} smaller" if len(rows) > 5 else ""
    names = ", ".join(f"{row.group} {100 * row.log_sd:.0f} %" for row in rows[:5])
    return Worked(
        [
            (
                "Each thing alone",
                f"thrust to weight would spread by: {names}",
                "One standard deviation; two propellers of one label differ by a sixth.",
            ),
            (
                "All together",
                f"sqrt({told}{more}) = {100 * total:.0f} %",
                "Doubts that know nothing of each other add by their squares: the largest rules.",
            ),
            (
                "Eight in ten",
                f"{pull:.1f} times its weight, multiplied and divided by exp(1.28 x {total:.2f}) = "
                f"{math.exp(got):.2f}: {pull / math.exp(got):.1f} to {pull * math.exp(got):.1f}",
                f"Bell curve in the logarithm. The engine draws all at once: {ends[0]:.1f} to {ends[1]:.1f}, lopsided "
                "where limits bite.",
            ),
        ],
        got,
        drawn,
        within=0.15,
    )


def _cap(b: Build) -> Worked:
    cells = _f(b.pack.cells)
    told = b.motor.max_cells is not None
    limit = _f(b.motor.max_cells) if told else max(cells - 1.0, 1.0)
    fits = told and cells <= limit
    on = limit + 1.0 if cells <= limit else cells
    got = limit / on
    exponent = _f(b.controller.throttle_exponent)
    kv = _f(b.motor.kv)
    pack_on = with_fields(b, {"pack.cells": on}).pack
    volts, drained = (_f(battery.open_circuit_voltage(pack_on, left)) for left in (1.0, b.pack.reserve))
    made_for = _f(battery.open_circuit_voltage(with_fields(b, {"pack.cells": limit}).pack, 1.0))
    first = (
        f"the motors are made for {limit:.0f} cells and see {cells:.0f}: it fits as it is; with {on:.0f} cells "
        if fits
        else ("" if told else f"the motors' cells are not told: say {limit:.0f}; ")
    )
    return Worked(
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
                f"at the reserve the pack stands at {_s(drained)} V: the same average then takes {_s(made_for)} / "
                f"{_s(drained)} = {min(100.0 * made_for / drained, 100.0):.0f} % duty",
                "A cap is a ratio of voltages: one that is right for a full pack is stricter than need be for an "
                "empty one.",
            ),
            (
                "No-load speed, capped",
                f"KV x duty x V = {kv:,.0f} x {got:.3f} x {_s(volts)} V = {kv * got * volts:,.0f} rpm",
                f"On the {limit:.0f} cells it is made for, full: {kv:,.0f} x {_s(made_for)} V = {kv * made_for:,.0f} rpm.",
            ),
            (
                "What it does not change",
                f"switching, ripple and braking still see all {_s(volts)} V; a mode that ignores the cap sees all of it",
                "A part that is not rated for these cells stays unfit.",
            ),
        ],
        kv * got * volts,
        kv * made_for,
    )


QUESTIONS: tuple[Question, ...] = (
    Question("mass", "Why does it weigh that?", "The parts, added up.", _mass, "lift", "payload_g", "take-off weight"),
    Question(
        "ideal", "How near is it to the ideal?",
        "Holding a weight up in the air costs power however good the parts are; the figure of merit says how near they "
        "come.", _ideal, "lift", "diameter_in", "figure of merit disc loading induced",
    ),
    Question(
        "hover_speed", "Why does it turn that fast to hover?", "Each rotor carries its share of the weight.",
        _hover_speed, "lift", "diameter_in", "rpm thrust coefficient",
    ),
    Question(
        "hover_command", "Why that throttle to hover?",
        "The motor needs volts for its speed and volts for its resistance. Their share of the pack's volts is the duty; "
        "the throttle map turns duty into throttle.",
        _hover_command, "lift", "kv", "throttle duty hover stick",
    ),
    Question(
        "hover_power", "Where do the watts of a hover go?", "Lift, air losses, heat, electronics.", _hover_power, "lift",
        "payload_g", "watts current amps efficiency",
    ),
    Question(
        "minutes", "Why not simply capacity over amps?",
        "A pack is energy at a falling voltage, and you land with some of it left.", _minutes, "minutes",
        "capacity_mah", "mAh flight time endurance",
    ),
    Question("pull", "Why that much thrust?", "Speed squared, diameter to the fourth.", _pull, "lift", "kv",
             "thrust to weight punch"),
    Question("full_current", "Why so many amps flat out?", "Torque needs amps; KV sets how many.", _full_current,
             "margins", "pitch_in", "ESC current"),
    Question("sag", "Why does the voltage fall in a punch?", "Amps through the pack's own resistance.", _sag, "margins",
             "capacity_mah", "C rating resistance voltage alarm"),
    Question("top", "Why no faster?", "Tilted, it trades lift for speed until drag takes up the thrust.", _top, "minutes",
             "pitch_in", "top speed pitch speed drag"),
    Question("bucket", "Why does slow flight cost less than a hover?",
             "Moving forward, the discs meet fresh air.", _bucket, "minutes", "cruise_kmh", "range endurance power curve"),
    Question("heat", "Why is the motor that warm in a hover?", "Heat in, wash cools: it settles.", _heat, "margins",
             "payload_g", "temperature winding hot motor"),
    Question("seconds", "How long can it be held flat out?", "Copper is light: it heats in seconds.", _seconds, "margins",
             "pitch_in", "burst winding limit"),
    Question("dive", "Why does a dive cost that much height?",
             "Speed grows while you fall and while you decide; then the spare thrust must turn the path.", _dive, "dive",
             "payload_g", "pull-out"),
    Question("wash", "Why wobble when coming straight down?", "It sinks into its own wash.", _wash, "dive",
             "diameter_in", "vortex ring descent prop wash propwash"),
    Question("stall", "What if a propeller is blocked?", "Standing, the motor is only a resistor.", _stall, "plug_in",
             "kv", "stall grass"),
    Question("inrush", "Why does it spark when plugged in?", "The capacitor fills at once.", _inrush, "plug_in",
             "cells", "spark capacitor"),
    Question("size", "What does a larger propeller change first?", "More air, moved more slowly.", _tilted_ideal,
             "choose", "diameter_in", "diameter inch"),
    Question("kv", "Is more KV more power?", "No: it is a gear.", _more_kv, "choose", "kv", "motor constant winding"),
    Question("cap", "Does a throttle cap make too many cells safe?", "No.", _cap, "margins", "command_cap_percent",
             "limit over-voltage cells"),
    Question("spread", "Why a band and not a number?", "Labels do not tell everything.", _spread, "choose",
             "blade_width_mm", "uncertainty band"),
)  # fmt: skip


def found(words: str) -> list[Question]:
    """Questions that hold the words asked for; all of them for no words.

    Examples
    --------
    >>> [q.key for q in found("spark")]
    ['inrush']
    """
    return holding(words, QUESTIONS, lambda q: f"{q.ask} {q.words} {q.also}")
