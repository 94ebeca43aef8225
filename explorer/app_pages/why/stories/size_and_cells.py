"""Stories on one inch and one cell more. Pure functions."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from explorer.app_pages.why.stories.phrases import (
    AMPS,
    COMMAND,
    PULL,
    STAY,
    TURNS,
    by_words,
    gain_words,
    limit_words,
    over_words,
    per_cent_of,
    scree_with,
)
from explorer.app_pages.why.stories.story import Facts, Note, Quiz, Story, Task, answers_at, required
from explorer.inputs import Inputs, demo_inputs, to_build
from explorer.text.numbers import value
from explorer.text.working_step import Step
from propmodel.assess.assessment import Assessment
from propmodel.assess.limits import limits
from propmodel.base.units import GRAM
from propmodel.studies.solve_for import solve_for

__all__ = [
    "CELL_STORY",
    "INCH_STORY",
]

# ---- 1 one more inch --------------------------------------------------------------------------------------


def _inch_path(i: Inputs, t: NDArray) -> dict[str, Any]:
    # a larger propeller of the same make is heavier: 15 g for four
    return {"diameter_in": i.diameter_in + t, "propeller_g": required(i.propeller_g) + 3.75 * t}


def _inch_also(f: Facts) -> list[str]:
    fits = limit_words(f.after, "frame_clearance")
    now = to_build(f.after)
    solved = solve_for(now, "motor.kv", "full_throttle_current", f.a["full_throttle_current"], low=600.0, high=3000.0)
    kv = (
        f"To bring the amps back to {value('current', f.a['full_throttle_current'])} it wants a motor of about "
        f"{value('kv', solved.value)} instead of {f.before.kv:.0f}."
        if math.isfinite(solved.value)
        else f"No winding between 600 and 3000 KV brings the amps back. {solved.words}".strip()
    )
    passed = over_words(f.after)
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
            f"{per_cent_of(ideal)}; the whole craft: {per_cent_of(f.change)}",
            "Momentum theory. The rest is the propeller's own figure of merit, and motors that turn slower.",
        ),
        (
            "Torque at the same speed",
            f"Q ~ D^5: ({b:.1f} / {a:.1f})^5 = {torque:.2f} times",
            "Definition of the torque coefficient, same shape.",
        ),
        (
            "So the motor slows, and draws more amps",
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
    start=scree_with,
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
        lambda f: by_words(gain_words(f.b["full_throttle_current"], f.a["full_throttle_current"]), still=0.03),
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
        pack_g=round(required(whole.pack_g) * 5 / 6, 1),
        motor_max_cells=5,
        vtx_max_cells=5,
        pack_name="Thornbarrow 5S 1300 (invented part)",
    )


def _cell_path(i: Inputs, t: NDArray) -> dict[str, Any]:
    cells = np.rint(i.cells + t)
    return {"cells": cells, "pack_g": i.pack_g * cells / i.cells}


def _thrust_of_all(a: Assessment) -> NDArray:
    return np.asarray(a.build.rotors) * a.full_throttle.thrust


def _capped(f: Facts) -> dict[str, float]:
    return answers_at(f.after, command_cap_percent=100.0 * f.before.cells / f.after.cells)


def _cell_right(f: Facts) -> int:
    thrust = _capped(f)["full_throttle_thrust"]
    evened = abs(gain_words(thrust, f.a["full_throttle_thrust"])) < abs(gain_words(thrust, f.b["full_throttle_thrust"]))
    unfit = [x for x in limits(to_build(f.after)) if x.kind == "fits" and x.state == "over"]
    return (1 if unfit else 0) if evened else 2


def _cell_because(f: Facts) -> str:
    cap = 100.0 * f.before.cells / f.after.cells
    gain = gain_words(_capped(f)["full_throttle_thrust"], f.a["full_throttle_thrust"])
    unfit = [x.name for x in limits(to_build(f.after)) if x.kind == "fits" and x.state == "over"]
    duty = 100.0 * float(to_build(replace(f.after, command_cap_percent=cap)).duty_cap)
    return (
        f"A command of {cap:.0f} % passes about {duty:.0f} % of the volts, and six cells sag less: capped so, a rotor "
        f"lifts {per_cent_of(gain)} than on five cells. But the parts still see the whole pack; not made for it: "
        f"{'; '.join(unfit) or 'none'}."
    )


def _cell_also(f: Facts) -> list[str]:
    kv = f.before.kv * f.before.cells / f.after.cells
    wound = answers_at(f.after, kv=kv)
    return [
        f"A motor wound for {kv:.0f} KV would turn as fast on six cells as this one on five: with it a rotor lifts "
        f"{per_cent_of(gain_words(wound['full_throttle_thrust'], f.a['full_throttle_thrust']))} than now, for "
        f"{value('current', wound['full_throttle_current'])} from the pack instead of "
        f"{value('current', f.a['full_throttle_current'])}.",
        "Passed on six cells: " + ("; ".join(over_words(f.after)) or "nothing") + ".",
    ]


def _cell_why(f: Facts) -> list[Step]:
    r = f.after.cells / f.before.cells
    volts = f.b["full_throttle_voltage"] / f.a["full_throttle_voltage"]
    turns = f.b["full_throttle_rev_per_s"] / f.a["full_throttle_rev_per_s"]
    return [
        (
            "No-load speed follows the volts",
            f"{f.after.cells} / {f.before.cells} = {r:.2f}: {per_cent_of(r - 1)}",
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
    output=_thrust_of_all,
    kind="thrust",
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
        Task("kv", 1500, 2300, 50, "Five cells, motors of {} KV.", "thrust_to_weight", "thrust_to_weight",
             "What is its thrust, in times its weight?"),
        Task("command_cap_percent", 60, 90, 5, "Five cells, the throttle capped at {} %.", "thrust_to_weight",
             "thrust_to_weight", "What is its thrust, in times its weight?"),
    ),
    caution="Do not plug a part into more cells than it is made for: capacitors, transmitters and ESC fail with fire.",
    after_name="Scree on six cells",
)  # fmt: skip
