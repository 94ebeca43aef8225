"""The stories as data: scenes at the club Thornbarrow, paths of change, formulas with both builds' numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from explorer.app_pages.why.story import Facts, Note, Quiz, Story, Task, answers_at, mass_g, told
from explorer.app_pages.why.tiny_story import TINY_STORY
from explorer.inputs import Inputs, demo_inputs, to_build
from explorer.text.numbers import value
from explorer.text.working_step import Step
from propmodel.assembly.build import drag_areas
from propmodel.assess.assessment import Assessment
from propmodel.assess.limits import limits
from propmodel.base.units import GRAM, KMH
from propmodel.components.controller import throttle_from_duty
from propmodel.flight.endurance import flight_time
from propmodel.powertrain.throttle_curve import throttle_curve
from propmodel.studies.solve_for import solve_for

__all__ = ["STORIES"]

HOVER = Note("hover_power", "power", "watts in the hover")
STAY = Note("hover_time", "minutes", "a hover lasts")
COMMAND = Note("hover_throttle", "percent", "hover command")
TURNS = Note("hover_rev_per_s", "rpm", "rotor speed in the hover")
PULL = Note("thrust_to_weight", "pull_to_weight", "thrust to weight, fresh pack")
AMPS = Note("full_throttle_current", "current", "amps from the pack, flat out")
DIVE = Note("pull_out_height", "distance", "height a 40 m dive costs, on a low pack")


def _p(share: float) -> str:
    return f"{100 * abs(share):.0f} % {'less' if share < 0 else 'more'}"


def _gain(new: float, old: float) -> float:
    return new / old - 1.0


def _by(change: float, *, still: float) -> int:
    """0 for a fall, 1 for no change to speak of, 2 for a rise."""
    return 1 if abs(change) < still else 2 if change > 0 else 0


def _over(inputs: Inputs) -> list[str]:
    """Names of limits that are passed."""
    return [found.name for found in limits(to_build(inputs)) if found.state == "over"]


def _limit_words(inputs: Inputs, key: str) -> str:
    return next((found.sentence for found in limits(to_build(inputs)) if found.key == key), "")


def _scree(**changes: Any) -> Inputs:
    return replace(demo_inputs("scree"), **changes)


# ---- 1 one more inch --------------------------------------------------------------------------------------


def _inch_path(i: Inputs, t: NDArray) -> dict[str, Any]:
    # a propeller of the same make weighs more: 15 g for the four of them
    return {"diameter_in": i.diameter_in + t, "propeller_g": told(i.propeller_g) + 3.75 * t}


def _inch_also(f: Facts) -> list[str]:
    fits = _limit_words(f.after, "frame_clearance")
    now = to_build(f.after)
    solved = solve_for(now, "motor.kv", "full_throttle_current", f.a["full_throttle_current"], low=600.0, high=3000.0)
    kv = (
        f"To bring the amps back to {value('current', f.a['full_throttle_current'])} it wants a motor of about "
        f"{value('kv', solved.value)} instead of {f.before.kv:.0f}."
        if math.isfinite(solved.value)
        else f"No winding between 600 and 3000 KV brings the amps back. {solved.words}".strip()
    )
    passed = _over(f.after)
    over = f"What it passes now: {'; '.join(passed)}." if passed else "It passes no label, but look how near it comes."
    return [f"Before all physics: {fits}" if fits else "", kv, over]


def _inch_why(f: Facts) -> list[Step]:
    a, b = f.before.diameter_in, f.after.diameter_in
    m, n = f.a["mass"], f.b["mass"]
    ideal = (n / m) ** 1.5 * a / b - 1.0
    torque = (b / a) ** 5
    return [
        (
            "Least power for the same lift",
            f"P ~ m^1.5 / D: ({n / GRAM:.0f} g / {m / GRAM:.0f} g)^1.5 x {a:.1f} in / {b:.1f} in - 1 = "
            f"{_p(ideal)}; the whole craft: {_p(f.change)}",
            "Momentum theory. The rest is the propeller's own figure of merit, and motors that turn slower.",
        ),
        (
            "Torque at the same speed",
            f"Q ~ D^5: ({b:.1f} / {a:.1f})^5 = {torque:.2f} times",
            "Definition of the torque coefficient, same shape.",
        ),
        (
            "So the motor slows, and asks more amps",
            f"{60 * f.a['full_throttle_rev_per_s']:,.0f} rpm becomes {60 * f.b['full_throttle_rev_per_s']:,.0f}; "
            f"I ~ Q: {f.a['full_throttle_motor_current']:.0f} A becomes {f.b['full_throttle_motor_current']:.0f} A "
            "in each motor",
            "Amps are torque over K_t; fewer turns leave more volts over the resistance.",
        ),
    ]


INCH_STORY = Story(
    key="inch",
    title="One more inch",
    teaser="A larger propeller on the same motor: thrifty, or greedy?",
    start=_scree,
    path=_inch_path,
    spots=tuple(np.linspace(-0.6, 1.6, 23)),
    x_name="Propeller diameter",
    x_unit="in",
    x=lambda i, t: i.diameter_in + t,
    output="hover_power",
    kind="power",
    y_name="Watts in the hover",
    setting="Scree hums over the club's field at Thornbarrow. Somebody on the bench says: put six-inch propellers on, "
    "larger ones are more efficient. Same motors, same pack, 5.1 inch becomes 6.1; the four weigh 15 g more.",
    ask="What does a hover take then, against now?",
    quiz=Quiz(
        "And the amps from the pack, flat out?",
        ("Fewer: a thriftier propeller draws less", "About the same: same motor, same pack", "More, though it turns slower"),
        lambda f: _by(_gain(f.b["full_throttle_current"], f.a["full_throttle_current"]), still=0.03),
        lambda f: f"Flat out it takes {value('current', f.b['full_throttle_current'])} instead of "
        f"{value('current', f.a['full_throttle_current'])}: torque grows with the fifth power of the diameter.",
    ),
    notes=(TURNS, STAY, PULL, AMPS, Note("full_throttle_motor_current", "current", "amps in each motor, flat out")),
    also=_inch_also,
    why=_inch_why,
    misconception="A larger propeller saves power, so it saves amps. It saves them in the hover, where it moves more air "
    "more slowly. Flat out the same motor is asked for far more torque, and torque is amps.",
    tasks=(
        Task("diameter_in", 4.6, 6.4, 0.1, "Scree with {} in propellers.", "hover_power", "power",
             "How many watts in the hover?"),
        Task("diameter_in", 4.6, 6.0, 0.1, "Scree with {} in propellers.", "full_throttle_current", "current",
             "How many amps from the pack, flat out?"),
        Task("pitch_in", 3.0, 5.0, 0.1, "Scree with a pitch of {} in.", "full_throttle_motor_current", "current",
             "How many amps in each motor, flat out?"),
    ),
    caution="Blades that reach over the frame cut cables and fingers: what does not fit stays off.",
    after_name="Scree on 6.1 inch",
)  # fmt: skip


# ---- 2 one more cell --------------------------------------------------------------------------------------


def _five() -> Inputs:
    whole = demo_inputs("scree")
    return replace(
        whole,
        name="Scree on five cells",
        cells=5,
        pack_g=round(told(whole.pack_g) * 5 / 6, 1),
        motor_max_cells=5,
        vtx_max_cells=5,
        pack_name="Thornbarrow 5S 1300 (invented part)",
    )


def _cell_path(i: Inputs, t: NDArray) -> dict[str, Any]:
    cells = np.rint(i.cells + t)
    return {"cells": cells, "pack_g": i.pack_g * cells / i.cells}


def _all_pull(a: Assessment) -> NDArray:
    return np.asarray(a.build.rotors) * a.full_throttle.thrust


def _capped(f: Facts) -> dict[str, float]:
    return answers_at(f.after, command_cap_percent=100.0 * f.before.cells / f.after.cells)


def _cell_right(f: Facts) -> int:
    pull = _capped(f)["full_throttle_thrust"]
    evened = abs(_gain(pull, f.a["full_throttle_thrust"])) < abs(_gain(pull, f.b["full_throttle_thrust"]))
    unfit = [x for x in limits(to_build(f.after)) if x.kind == "fits" and x.state == "over"]
    return (1 if unfit else 0) if evened else 2


def _cell_because(f: Facts) -> str:
    cap = 100.0 * f.before.cells / f.after.cells
    gain = _gain(_capped(f)["full_throttle_thrust"], f.a["full_throttle_thrust"])
    unfit = [x.name for x in limits(to_build(f.after)) if x.kind == "fits" and x.state == "over"]
    duty = 100.0 * float(to_build(replace(f.after, command_cap_percent=cap)).duty_cap)
    return (
        f"A command of {cap:.0f} % passes about {duty:.0f} % of the volts, and six cells sag less: capped so, a rotor "
        f"lifts {_p(gain)} than on five cells. But the parts still see the whole pack; not made for it: "
        f"{'; '.join(unfit) or 'none'}."
    )


def _cell_also(f: Facts) -> list[str]:
    kv = f.before.kv * f.before.cells / f.after.cells
    wound = answers_at(f.after, kv=kv)
    return [
        f"A motor wound for {kv:.0f} KV would turn as fast on six cells as this one on five: with it a rotor lifts "
        f"{_p(_gain(wound['full_throttle_thrust'], f.a['full_throttle_thrust']))} than now, for "
        f"{value('current', wound['full_throttle_current'])} from the pack instead of "
        f"{value('current', f.a['full_throttle_current'])}.",
        "Passed on six cells: " + ("; ".join(_over(f.after)) or "nothing") + ".",
    ]


def _cell_why(f: Facts) -> list[Step]:
    r = f.after.cells / f.before.cells
    volts = f.b["full_throttle_voltage"] / f.a["full_throttle_voltage"]
    turns = f.b["full_throttle_rev_per_s"] / f.a["full_throttle_rev_per_s"]
    return [
        (
            "No-load speed follows the volts",
            f"{f.after.cells} / {f.before.cells} = {r:.2f}: {_p(r - 1)}",
            "Back-EMF: volts = turns / KV.",
        ),
        (
            "At most",
            f"thrust ~ n^2: {r:.2f}^2 = {r**2:.2f}; power ~ n^3: {r:.2f}^3 = {r**3:.2f}",
            "Same propeller, same coefficients, no losses.",
        ),
        (
            "In truth",
            f"the loaded pack gives {f.a['full_throttle_voltage']:.1f} V, then {f.b['full_throttle_voltage']:.1f} V "
            f"({volts:.2f}); speed {turns:.2f}; thrust {turns:.2f}^2 = {turns**2:.2f} times",
            "More amps through the same resistances: the pack sags further, and the motor takes its share.",
        ),
    ]


CELL_STORY = Story(
    key="cell",
    title="One more cell",
    teaser="A six-cell pack on a five-cell craft, with a cap. Safe?",
    start=_five,
    path=_cell_path,
    spots=(-1.0, 0.0, 1.0, 2.0),
    x_name="Cells in series",
    x_unit="",
    x=lambda i, t: np.rint(i.cells + t),
    output=_all_pull,
    kind="pull",
    y_name="Thrust of all rotors, flat out",
    setting="This Scree flies on five cells; its motors and its video transmitter are made for five. A six-cell pack of "
    "the same capacity lies on the bench, and it plugs in.",
    ask="How much thrust on six cells, flat out, against five?",
    quiz=Quiz(
        "Capped at five sixths it is the same craft, and safe. True?",
        ("True: the motors get the same volts", "Half: the average is the same, the parts are not safe", "False: a cap changes nothing"),
        _cell_right,
        _cell_because,
    ),
    notes=(PULL, AMPS, Note("full_throttle_rev_per_s", "rpm", "rotor speed, flat out"), COMMAND, STAY),
    also=_cell_also,
    why=_cell_why,
    misconception="A cap makes an over-voltage motor safe. The cap lowers an average. Each pulse, each braking surge and "
    "every mode that ignores the cap still brings the voltage of all cells.",
    tasks=(
        Task("cells", 3, 6, 1, "Scree on {} cells, the pack as heavy as five.", "full_throttle_current", "current",
             "How many amps from the pack, flat out?"),
        Task("kv", 1500, 2300, 50, "Five cells, motors of {} KV.", "thrust_to_weight", "pull_to_weight",
             "What is its thrust, in times its weight?"),
        Task("command_cap_percent", 60, 90, 5, "Five cells, the throttle capped at {} %.", "thrust_to_weight",
             "pull_to_weight", "What is its thrust, in times its weight?"),
    ),
    caution="Do not plug a part into more cells than it is made for: capacitors, transmitters and ESC fail with fire.",
    after_name="Scree on six cells",
)  # fmt: skip


# ---- 3 a cold morning -------------------------------------------------------------------------------------

FROST_C = -4.0


def _frost() -> Inputs:
    return _scree(name="Scree, pack from the pocket", air_temperature_c=FROST_C, pack_temperature_c=20.0, cutoff_v=3.5)


def _cold_path(i: Inputs, t: NDArray) -> dict[str, Any]:
    return {"pack_temperature_c": i.pack_temperature_c + (FROST_C - i.pack_temperature_c) * t}


def _usual(f: Facts) -> dict[str, float]:
    """The same craft and pack in the club's usual air."""
    return answers_at(f.before, air_temperature_c=demo_inputs("scree").air_temperature_c)


def _cold_also(f: Facts) -> list[str]:
    usual, cells = _usual(f), f.before.cells
    low = [f.a["full_throttle_voltage_at_reserve"] / cells, f.b["full_throttle_voltage_at_reserve"] / cells]
    return [
        f"Against the usual 12 C, with the pack warm, a hover takes "
        f"{_p(_gain(f.a['hover_power'], usual['hover_power']))} power in the cold air.",
        f"Punched with a fifth of its charge left the warm pack falls to {low[0]:.2f} V a cell, the cold one to "
        f"{low[1]:.2f} V: an alarm on volts rings with charge still in it.",
        "The cold figures come from pulses through one LiPo pouch, measured from 10 C below zero to 40 C. Packs differ: the "
        "band is wide.",
    ]


def _cold_why(f: Facts) -> list[Step]:
    warm, cold = to_build(f.before), to_build(f.after)
    home = to_build(replace(f.before, air_temperature_c=demo_inputs("scree").air_temperature_c))
    a, b = Assessment(warm), Assessment(cold)
    r = [1000 * float(x.fresh_sustained.pack_resistance) for x in (a, b)]
    rho = [float(np.asarray(x.air.density)) for x in (home, warm)]
    amps = f.a["hover_current"]
    left = [100 * float(flight_time(x, "hang still").end_state_of_charge) for x in (warm, cold)]
    return [
        (
            "Air",
            f"rho ~ 1 / T: {rho[0]:.3f} becomes {rho[1]:.3f} kg/m3; P ~ 1 / sqrt(rho): "
            f"{_p(math.sqrt(rho[0] / rho[1]) - 1)}",
            "Gas law and momentum theory.",
        ),
        (
            "Pack",
            f"V = E - I R: at {amps:.1f} A the hover loses {amps * r[0] / 1000:.2f} V in {r[0]:.0f} mohm warm, "
            f"{amps * r[1] / 1000:.2f} V in {r[1]:.0f} mohm cold",
            "Ions move slowly in the cold; resistance against temperature as measured on that pouch.",
        ),
        (
            "Minutes",
            f"{value('minutes', f.a['hover_time'])} becomes {value('minutes', f.b['hover_time'])}: it has to "
            f"land with {left[0]:.0f} % and {left[1]:.0f} % left in it",
            "The cold pack is warmed by its own loss within minutes, but its volts stay low: an alarm on volts rings early. By "
            "the charge drawn both last nearly as long.",
        ),
    ]


COLD_STORY = Story(
    key="cold",
    title="A cold morning",
    teaser="Four degrees of frost: is it the air, or the pack?",
    start=_frost,
    path=_cold_path,
    spots=tuple(np.linspace(-0.5, 1.2, 18)),
    x_name="Temperature of the pack",
    x_unit="C",
    x=lambda i, t: i.pack_temperature_c + (FROST_C - i.pack_temperature_c) * t,
    output="hover_time",
    kind="minutes",
    y_name="Minutes of hover",
    setting="Filming at 4 degrees below zero. One pack was kept in a pocket at 20 C, its twin stayed in the car all night "
    "and is as cold as the air. You land by an alarm on volts, set to 3.5 V a cell under load.",
    ask="How long does it hover on the cold pack, against the warm one?",
    quiz=Quiz(
        "And the cold air itself, against a mild day?",
        ("It eases the hover: denser air", "It changes nothing worth a word", "It makes hovering harder: cold costs power"),
        lambda f: _by(_gain(f.a["hover_power"], _usual(f)["hover_power"]), still=0.005),
        lambda f: f"With the same warm pack the hover takes {value('power', _usual(f)['hover_power'])} at 12 C and "
        f"{value('power', f.a['hover_power'])} at {FROST_C:.0f} C".replace("-", "\u2212") + ". It is the pack that suffers.",
    ),
    notes=(STAY, HOVER, PULL, AMPS, Note("full_throttle_voltage_at_reserve", "pack_voltage", "volts flat out, a fifth left")),
    also=_cold_also,
    why=_cold_why,
    misconception="Cold air makes it fly badly. Cold air is denser and helps; the cold pack is what lets the craft down.",
    tasks=(
        Task("pack_temperature_c", -8, 14, 1, "A pack at {} C in this air.", "hover_time", "minutes",
             "How many minutes of hover?"),
        Task("air_temperature_c", 10, 36, 2, "A warm pack in air of {} C.", "hover_power", "power",
             "How many watts in the hover?"),
        Task("pack_temperature_c", -8, 12, 1, "A pack at {} C in this air.", "thrust_to_weight", "pull_to_weight",
             "What is its thrust, in times its weight?"),
    ),
    caution="Warm the pack before you fly, set the alarm on mAh used, and never charge a LiPo or Li-ion pack below 0 C.",
    after_name="Scree, pack from the car",
)  # fmt: skip


# ---- 4 at 2500 m -----------------------------------------------------------------------------------------

RIDGE_M = 2500.0
LAPSE = 6.5e-3  # K/m, ISO 2533


def _high_path(i: Inputs, t: NDArray) -> dict[str, Any]:
    up = (RIDGE_M - i.altitude_m) * t
    return {"altitude_m": i.altitude_m + up, "air_temperature_c": i.air_temperature_c - LAPSE * up}


def _density(f: Facts) -> tuple[float, float]:
    before, after = (to_build(one).air.density for one in (f.before, f.after))
    return float(np.asarray(before)), float(np.asarray(after))


def _high_also(f: Facts) -> list[str]:
    warm = answers_at(f.after, air_temperature_c=f.before.air_temperature_c)
    return [
        f"Tips flat out reach Mach {f.a['tip_mach']:.2f} at home and {f.b['tip_mach']:.2f} up there: colder air carries "
        "sound more slowly.",
        f"On a day as mild as at home the pass would ask {value('power', warm['hover_power'])} for a hover.",
    ]


def _high_why(f: Facts) -> list[Step]:
    rho, thin = _density(f)
    ratio = thin / rho
    front = float(drag_areas(to_build(f.before))[0])
    fall = [math.sqrt(2 * x["mass"] * 9.80665 / (d * front)) for x, d in ((f.a, rho), (f.b, thin))]
    return [
        ("Density", f"{thin:.3f} / {rho:.3f} kg/m3 = {ratio:.2f}", "ISO 2533, the same offset from its temperature."),
        (
            "Hover",
            f"P ~ 1 / sqrt(rho) and n ~ 1 / sqrt(rho): 1 / sqrt({ratio:.2f}) = {1 / math.sqrt(ratio):.2f}; the engine: "
            f"watts {f.y_after / f.y_before:.2f}, speed {f.b['hover_rev_per_s'] / f.a['hover_rev_per_s']:.2f}",
            "Momentum theory; electronics take no notice of the air, motor losses grow with speed.",
        ),
        (
            "Thrust",
            f"T ~ rho n^2: {ratio:.2f} x ({60 * f.b['full_throttle_rev_per_s']:,.0f} / "
            f"{60 * f.a['full_throttle_rev_per_s']:,.0f})^2 = "
            f"{ratio * (f.b['full_throttle_rev_per_s'] / f.a['full_throttle_rev_per_s']) ** 2:.2f} times",
            "At the same speed it would be the density alone; lightly loaded, the motors turn a little faster.",
        ),
        (
            "Fall",
            f"V_t ~ 1 / sqrt(rho): {fall[0] / KMH:.0f} becomes {fall[1] / KMH:.0f} km/h nose down, and less thrust to "
            "turn the path with",
            "Quadratic drag.",
        ),
    ]


HIGH_STORY = Story(
    key="high",
    title="The same craft at 2500 m",
    teaser="A trip to a high pass: thinner air, less drag, so what?",
    start=lambda: demo_inputs("moor"),
    path=_high_path,
    spots=tuple(np.linspace(-0.2, 1.45, 17)),
    x_name="Altitude of the field",
    x_unit="m",
    x=lambda i, t: i.altitude_m + (RIDGE_M - i.altitude_m) * t,
    output="hover_power",
    kind="power",
    y_name="Watts in the hover",
    setting="Moor, the long-flying seven-inch craft, leaves Thornbarrow at 420 m and goes to a pass at 2500 m. Nothing "
    "is changed on it; the air up there is thinner, and colder in step.",
    ask="What does a hover take on the pass, against home?",
    quiz=Quiz(
        "Thinner air, less drag. So a hover lasts ...",
        ("shorter", "as long", "longer"),
        lambda f: _by(_gain(f.b["hover_time"], f.a["hover_time"]), still=0.01),
        lambda f: f"It lasts {value('minutes', f.b['hover_time'])} instead of {value('minutes', f.a['hover_time'])}. "
        "In a hover there is no drag to save; lift is what thin air makes dear.",
    ),
    notes=(TURNS, STAY, COMMAND, PULL, DIVE),
    also=_high_also,
    why=_high_why,
    misconception="Thinner air, less drag, longer flight. Drag matters only at speed; a rotor has to move a given weight of "
    "air, and thin air must be moved faster.",
    tasks=(
        Task("altitude_m", 1000, 3500, 100, "Moor at {} m, as warm as at home.", "hover_power", "power",
             "How many watts in the hover?"),
        Task("altitude_m", 1000, 3500, 100, "Moor at {} m, as warm as at home.", "thrust_to_weight", "pull_to_weight",
             "What is its thrust, in times its weight?"),
        Task("air_temperature_c", -10, 34, 2, "Moor at home in air of {} C.", "hover_rev_per_s", "rpm",
             "How fast do the rotors turn in the hover, in rpm?"),
    ),
    caution="Away from home: learn the place's rules, wind over a pass is rough, and give a dive far more height.",
    after_name="Moor on the pass",
)  # fmt: skip


# ---- 5 a heavier camera -----------------------------------------------------------------------------------

CAMERA_G = 120.0
MORE_MAH = 150.0


def _camera_path(i: Inputs, t: NDArray) -> dict[str, Any]:
    return {"payload_g": i.payload_g + CAMERA_G * t}


def _curve_change(f: Facts) -> float:
    """Largest change of the throttle curve's pull, over its largest pull. [-]"""
    grid = np.linspace(0.0, 1.0, 21)
    a, b = (np.asarray(throttle_curve(to_build(x), grid).thrust) for x in (f.before, f.after))
    return float(np.nanmax(np.abs(b - a)) / np.nanmax(a) * (1.0 if np.nansum(b) >= np.nansum(a) else -1.0))


def _from_to(a: float, b: float) -> str:
    first, second = (value("pull_to_weight", v) for v in (a, b))
    return f"stays at {first}" if first == second else f"goes from {first} to {second}"


def _moves(share: float) -> str:
    return "stays where it is" if abs(share) < 5e-4 else f"moves by {100 * abs(share):.1f} % of its height"


def _camera_also(f: Facts) -> list[str]:
    more = answers_at(
        f.after,
        capacity_mah=f.after.capacity_mah + MORE_MAH,
        pack_g=told(f.after.pack_g) * (f.after.capacity_mah + MORE_MAH) / f.after.capacity_mah,
    )
    gain = _gain(more["hover_time"], f.b["hover_time"])
    return [
        f"The throttle curve of the rotors {_moves(_curve_change(f))}; the mark where "
        f"it hovers moves from {value('percent', f.a['hover_throttle'])} to {value('percent', f.b['hover_throttle'])}.",
        f"{MORE_MAH:.0f} mAh more of the same pack on top of the camera: {value('minutes', more['hover_time'])} against "
        f"{value('minutes', f.b['hover_time'])}, {_p(gain)}; thrust to weight {_from_to(f.b['thrust_to_weight'], more['thrust_to_weight'])}.",
    ]


def _camera_why(f: Facts) -> list[Step]:
    m, n = f.a["mass"], f.b["mass"]
    r = n / m
    return [
        (
            "Mass",
            f"{n / GRAM:.0f} g / {m / GRAM:.0f} g = {r:.3f}: {_p(r - 1)}",
            "Kitchen scale.",
        ),
        (
            "Hover power",
            f"P ~ m^1.5: {r:.3f}^1.5 = {r**1.5:.3f}, {_p(r**1.5 - 1)}; the engine: {_p(f.change)}",
            "More air must be pushed down, and faster: T v with v ~ sqrt(T). It grows less in truth: the electronics stay, "
            "the ESC's switching loss and the motors' iron loss grow little, and blades work better when they turn "
            "faster.",
        ),
        (
            "Thrust to weight",
            f"{f.a['thrust_to_weight']:.1f} / {r:.3f} = {f.a['thrust_to_weight'] / r:.1f}",
            "The rotors do not know what they carry.",
        ),
    ]


CAMERA_STORY = Story(
    key="camera",
    title="A heavier camera",
    teaser="A sixth more mass: a sixth more watts?",
    start=_scree,
    path=_camera_path,
    spots=tuple(np.linspace(-0.5, 1.6, 17)),
    x_name="Take-off mass",
    x_unit="g",
    x=lambda i, t: mass_g(i, _camera_path(i, t)),
    output="hover_power",
    kind="power",
    y_name="Watts in the hover",
    setting="A glider pilot at Thornbarrow wants better pictures of a thermal turn. Scree takes a camera that is 120 g "
    "heavier: 810 g instead of 690 g, 17 % more mass.",
    ask="What does a hover take with it, against now?",
    quiz=Quiz(
        "What happens to the throttle curve, thrust against stick?",
        ("It sinks: the craft is heavier", "Nothing: only the place where it hovers moves", "It rises: the motors work harder"),
        lambda f: _by(_curve_change(f), still=0.005),
        lambda f: f"It {_moves(_curve_change(f))}: motor, propeller and pack are the same. The craft "
        f"just sits higher on it, at {value('percent', f.b['hover_throttle'])} instead of "
        f"{value('percent', f.a['hover_throttle'])}.",
    ),
    notes=(COMMAND, STAY, PULL, DIVE, AMPS),
    also=_camera_also,
    why=_camera_why,
    misconception="Half stick is half the thrust, and a sixth more mass a sixth more power. Power grows with mass to the "
    "power of one and a half, and the curve of thrust against stick is bent and belongs to the rotors alone.",
    tasks=(
        Task("payload_g", 0, 300, 10, "Scree with {} g of camera.", "hover_power", "power",
             "How many watts in the hover?"),
        Task("payload_g", 0, 300, 10, "Scree with {} g of camera.", "thrust_to_weight", "pull_to_weight",
             "What is its thrust, in times its weight?"),
        Task("payload_g", 0, 300, 10, "Scree with {} g of camera.", "hover_time", "minutes",
             "How many minutes of hover?"),
    ),
    caution="Fix the camera so that it stays on in a hard turn; a heavier craft hits harder and needs more height.",
    after_name="Scree, heavier camera",
)  # fmt: skip


# ---- 6 which spare fits -----------------------------------------------------------------------------------

SPARES = ("its twin", "8 % more KV", "shorter stator", "bent bell")


def _spare_path(i: Inputs, t: NDArray) -> dict[str, Any]:
    which = np.rint(t).astype(int)
    return {
        "kv": i.kv * np.array([1.0, 1.08, 1.0, 1.0])[which],
        # no shorter than what the box holds; the bent one is, on paper, the right motor
        "stator_h_mm": i.stator_h_mm + np.array([0.0, 0.0, -4.0, 0.0])[which],
    }


def _corner(a: Assessment) -> NDArray:
    """Command of a corner with this motor, on the pack voltage of the craft with its own four motors."""
    duty = a.hover.motor_voltage / a.hover.bus_voltage[:1]
    return throttle_from_duty(a.build.controller, duty)


def _spare_heat(f: Facts) -> list[Assessment]:
    """The craft with its own motors, and with four of the shorter stator."""
    paths = [_spare_path(f.before, np.array([which])) for which in (0.0, 2.0)]
    changes: list[dict[str, Any]] = [{name: float(values[0]) for name, values in path.items()} for path in paths]
    return [Assessment(to_build(replace(f.before, **one))) for one in changes]


def _spare_also(f: Facts) -> list[str]:
    own, short = _spare_heat(f)
    copper = [float(a.winding_heat(a.hover)) for a in (own, short)]
    iron = [float(a.hover.iron_loss) for a in (own, short)]
    warm = [value("temperature", float(a.hover_heat.winding)) for a in (own, short)]
    seconds = [value("seconds", float(a.full_throttle_seconds)) for a in (own, short)]
    return [
        "In the hover the flight controller evens it out: each corner gets the command it needs. Flat out it cannot, and "
        "the craft tips toward the weak corner.",
        f"At the same KV a shorter stator has more resistance. In the hover its winding makes {copper[1]:.1f} W of heat "
        f"instead of {copper[0]:.1f} W, its iron {iron[1]:.1f} W instead of {iron[0]:.1f} W, in less metal: the winding "
        f"settles near {warm[1]} instead of {warm[0]}. Flat out it reaches its limit after {seconds[1]} instead of "
        f"{seconds[0]}.",
        "The bent bell stands exactly where its twin stands. It shakes, and no propulsion number shows that: spin it "
        "by hand, look along it, feel the bearings.",
    ]


def _spare_why(f: Facts) -> list[Step]:
    own = Assessment(to_build(f.before)).hover
    quick = Assessment(to_build(replace(f.before, kv=f.before.kv * 1.08))).hover
    n = float(own.rev_per_s)
    ratio = float(np.asarray(to_build(f.before).motor.loaded_kv_ratio))
    parts = []
    for kv, point in ((f.before.kv, own), (f.before.kv * 1.08, quick)):
        emf = 60.0 * n / (kv * ratio)
        parts.append((emf, float(point.motor_current), float(point.motor_voltage)))
    (e1, i1, v1), (e2, i2, v2) = parts
    power = 1.0 / float(np.asarray(to_build(f.before).controller.throttle_exponent))
    return [
        (
            "Same thrust, same propeller, same speed",
            f"{60 * n:,.0f} rpm at each corner in the hover",
            "Thrust is a matter of propeller and speed; the motor only has to bring it there.",
        ),
        (
            "Volts that speed needs",
            f"V = 60 n / ({ratio:.2f} KV) + I R: {e1:.2f} + {v1 - e1:.2f} = {v1:.2f} V with {f.before.kv:.0f} KV; {e2:.2f} + "
            f"{v2 - e2:.2f} = {v2:.2f} V with {f.before.kv * 1.08:.0f} KV",
            f"Amps go the other way: {i1:.1f} A and {i2:.1f} A for the same torque.",
        ),
        (
            "Command",
            f"{v2:.2f} / {v1:.2f} = {v2 / v1:.3f} of the duty, and that to the power {power:.2f} of the command",
            "Duty is volts at the motor over volts of the pack; the throttle map turns it into throttle.",
        ),
    ]


SPARE_STORY = Story(
    key="spare",
    title="After the crash: which spare fits",
    teaser="One motor lost, three spares in the box. Which may fly?",
    start=lambda: demo_inputs("fell"),
    path=_spare_path,
    spots=(0.0, 1.0, 2.0, 3.0),
    x_name="Motor at that corner",
    x_unit="",
    x=lambda i, t: np.rint(t),
    x_words=SPARES,
    output=_corner,
    kind="percent",
    y_name="Command at that corner, hover",
    setting="Fell lost one of its four motors on the slope. The club's box holds three invented spares: the same stator "
    "wound for 8 % more KV; the right KV on a stator 4 mm shorter; and the right motor with a bent bell.",
    ask="With the 8 % quicker motor at one corner: what command does that corner need to hover, against the other three?",
    quiz=Quiz(
        "Which of the three may fly tomorrow at the club's field?",
        ("The quicker one: the flight controller evens it out", "The shorter one: KV is what counts",
         "The one with the bent bell: its numbers are right", "None of them"),
        lambda f: 3,
        lambda f: "Common practice: motors in a set, or not at all. The first two give unequal thrust when it matters, flat out; "
        "the third shakes itself and the gyros. Buy two, fly the matching set, keep the spare.",
    ),
    notes=(Note("full_throttle_thrust", "pull", "most thrust of one rotor, if all four were so"),
           Note("full_throttle_motor_current", "current", "amps in such a motor, flat out"),
           Note("hover_motor_heat", "power", "heat in such a motor, hover")),
    also=_spare_also,
    why=_spare_why,
    misconception="If it hovers it is fine. The hover hides an odd motor; the punch, the dive and the heat show it, and a "
    "bent bell shows in none of these numbers.",
    tasks=(
        Task("kv", 700, 1100, 20, "Fell with four motors of {} KV.", "hover_throttle", "percent",
             "What command hovers it, in %?"),
        Task("stator_h_mm", 9, 20, 1, "Fell with stators {} mm tall.", "hover_motor_heat", "power",
             "How many watts of heat in each motor in the hover?"),
        Task("kv", 700, 1100, 20, "Fell with four motors of {} KV.", "full_throttle_motor_current", "current",
             "How many amps in each motor, flat out?"),
    ),
    caution="After a repair go through Plug in from the first card, propellers off, and hover away from people first.",
    after_name="Fell, one odd motor",
    loads_before=True,
)  # fmt: skip


STORIES: Mapping[str, Story] = MappingProxyType(
    {s.key: s for s in (INCH_STORY, CELL_STORY, COLD_STORY, HIGH_STORY, CAMERA_STORY, SPARE_STORY, TINY_STORY)}
)
"""All of them, in the order of the list; the key stands in the address."""
