"""Stories on a cold morning and on a high pass. Pure functions."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from explorer.app_pages.why.stories.phrases import (
    AMPS,
    COMMAND,
    DIVE,
    HOVER,
    PULL,
    STAY,
    TURNS,
    by_words,
    gain_words,
    per_cent_of,
    scree_with,
)
from explorer.app_pages.why.stories.story import Facts, Note, Quiz, Story, Task, answers_at
from explorer.inputs import Inputs, demo_inputs, to_build
from explorer.text.numbers import value
from explorer.text.working_step import Step
from propmodel.assembly.build import drag_areas
from propmodel.assess.assessment import Assessment
from propmodel.base.arrays import number
from propmodel.base.constants import STANDARD_GRAVITY
from propmodel.base.units import KMH
from propmodel.flight.endurance import flight_time

__all__ = [
    "COLD_STORY",
    "HIGH_STORY",
]

# ---- 3 a cold morning -------------------------------------------------------------------------------------

FROST_C = -4.0


def _frost() -> Inputs:
    return scree_with(
        name="Scree, pack from the pocket", air_temperature_c=FROST_C, pack_temperature_c=20.0, cutoff_v=3.5
    )


def _cold_path(i: Inputs, t: NDArray) -> dict[str, Any]:
    return {"pack_temperature_c": i.pack_temperature_c + (FROST_C - i.pack_temperature_c) * t}


def _usual(f: Facts) -> dict[str, float]:
    """Return the results of the same craft and pack at the usual air temperature. [SI units]"""
    return answers_at(f.before, air_temperature_c=demo_inputs("scree").air_temperature_c)


def _cold_also(f: Facts) -> list[str]:
    usual, cells = _usual(f), f.before.cells
    low = [f.a["full_throttle_voltage_at_reserve"] / cells, f.b["full_throttle_voltage_at_reserve"] / cells]
    return [
        f"Against the usual 12 C, with the pack warm, a hover takes "
        f"{per_cent_of(gain_words(f.a['hover_power'], usual['hover_power']))} power in the cold air.",
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
    rho = [number(x.air.density) for x in (home, warm)]
    amps = f.a["hover_current"]
    left = [100 * float(flight_time(x, "hang still").end_state_of_charge) for x in (warm, cold)]
    return [
        (
            "Air",
            f"rho ~ 1 / T: {rho[0]:.3f} becomes {rho[1]:.3f} kg/m3; P ~ 1 / sqrt(rho): "
            f"{per_cent_of(math.sqrt(rho[0] / rho[1]) - 1)}",
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
        lambda f: by_words(gain_words(f.a["hover_power"], _usual(f)["hover_power"]), still=0.005),
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
        Task("pack_temperature_c", -8, 12, 1, "A pack at {} C in this air.", "thrust_to_weight", "thrust_to_weight",
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
    return number(before), number(after)


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
    fall = [math.sqrt(2 * x["mass"] * STANDARD_GRAVITY / (d * front)) for x, d in ((f.a, rho), (f.b, thin))]
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
        lambda f: by_words(gain_words(f.b["hover_time"], f.a["hover_time"]), still=0.01),
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
        Task("altitude_m", 1000, 3500, 100, "Moor at {} m, as warm as at home.", "thrust_to_weight", "thrust_to_weight",
             "What is its thrust, in times its weight?"),
        Task("air_temperature_c", -10, 34, 2, "Moor at home in air of {} C.", "hover_rev_per_s", "rpm",
             "How fast do the rotors turn in the hover, in rpm?"),
    ),
    caution="Away from home: learn the place's rules, wind over a pass is rough, and give a dive far more height.",
    after_name="Moor on the pass",
)  # fmt: skip
