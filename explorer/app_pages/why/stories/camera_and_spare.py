"""Stories on a heavier camera and on a spare motor. Pure functions."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from explorer.app_pages.why.stories.phrases import (
    AMPS,
    COMMAND,
    DIVE,
    PULL,
    STAY,
    by_words,
    gain_words,
    per_cent_of,
    scree_with,
)
from explorer.app_pages.why.stories.story import Facts, Note, Quiz, Story, Task, answers_at, mass_g, required
from explorer.inputs import Inputs, demo_inputs, to_build
from explorer.text.numbers import value
from explorer.text.working_step import Step
from propmodel.assess.assessment import Assessment
from propmodel.base.arrays import number
from propmodel.base.units import GRAM
from propmodel.components.controller import throttle_from_duty
from propmodel.powertrain.throttle_curve import throttle_curve

__all__ = [
    "CAMERA_STORY",
    "SPARE_STORY",
]

# ---- 5 a heavier camera -----------------------------------------------------------------------------------

CAMERA_G = 120.0
MORE_MAH = 150.0


def _camera_path(i: Inputs, t: NDArray) -> dict[str, Any]:
    return {"payload_g": i.payload_g + CAMERA_G * t}


def _curve_change(f: Facts) -> float:
    """Return the largest change of thrust along the throttle curve, over its largest thrust. [-]"""
    grid = np.linspace(0.0, 1.0, 21)
    a, b = (np.asarray(throttle_curve(to_build(x), grid).thrust) for x in (f.before, f.after))
    return float(np.nanmax(np.abs(b - a)) / np.nanmax(a) * (1.0 if np.nansum(b) >= np.nansum(a) else -1.0))


def _from_to(a: float, b: float) -> str:
    first, second = (value("thrust_to_weight", v) for v in (a, b))
    return f"stays at {first}" if first == second else f"goes from {first} to {second}"


def _moves(share: float) -> str:
    return "stays where it is" if abs(share) < 5e-4 else f"moves by {100 * abs(share):.1f} % of its height"


def _camera_also(f: Facts) -> list[str]:
    more = answers_at(
        f.after,
        capacity_mah=f.after.capacity_mah + MORE_MAH,
        pack_g=required(f.after.pack_g) * (f.after.capacity_mah + MORE_MAH) / f.after.capacity_mah,
    )
    gain = gain_words(more["hover_time"], f.b["hover_time"])
    return [
        f"The throttle curve of the rotors {_moves(_curve_change(f))}; the mark where "
        f"it hovers moves from {value('percent', f.a['hover_throttle'])} to {value('percent', f.b['hover_throttle'])}.",
        f"{MORE_MAH:.0f} mAh more of the same pack on top of the camera: {value('minutes', more['hover_time'])} against "
        f"{value('minutes', f.b['hover_time'])}, {per_cent_of(gain)}; thrust to weight {_from_to(f.b['thrust_to_weight'], more['thrust_to_weight'])}.",
    ]


def _camera_why(f: Facts) -> list[Step]:
    m, n = f.a["mass"], f.b["mass"]
    r = n / m
    return [
        (
            "Mass",
            f"{n / GRAM:.0f} g / {m / GRAM:.0f} g = {r:.3f}: {per_cent_of(r - 1)}",
            "Kitchen scale.",
        ),
        (
            "Hover power",
            f"P ~ m^1.5: {r:.3f}^1.5 = {r**1.5:.3f}, {per_cent_of(r**1.5 - 1)}; the engine: {per_cent_of(f.change)}",
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
    start=scree_with,
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
        lambda f: by_words(_curve_change(f), still=0.005),
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
        Task("payload_g", 0, 300, 10, "Scree with {} g of camera.", "thrust_to_weight", "thrust_to_weight",
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
        # not shorter than the available motors; the bent one has the labels of the right motor
        "stator_h_mm": i.stator_h_mm + np.array([0.0, 0.0, -4.0, 0.0])[which],
    }


def _corner(a: Assessment) -> NDArray:
    """Return the command of a corner with this motor, at the pack voltage with the four original motors. [-]"""
    duty = a.hover.motor_voltage / a.hover.bus_voltage[:1]
    # all four ESCs are equal: throttle exponent and idle of the craft with its original motors
    esc = a.build.controller
    exponent, idle = (np.atleast_1d(value)[:1] for value in (esc.exponent, esc.idle_duty))
    return throttle_from_duty(replace(esc, throttle_exponent=exponent, idle_duty=idle), duty)


def _spare_heat(f: Facts) -> list[Assessment]:
    """Return the craft with its original motors, and with four motors of the shorter stator."""
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
    ratio = number(to_build(f.before).motor.loaded_kv_ratio)
    parts = []
    for kv, point in ((f.before.kv, own), (f.before.kv * 1.08, quick)):
        emf = 60.0 * n / (kv * ratio)
        parts.append((emf, float(point.motor_current), float(point.motor_voltage)))
    (e1, i1, v1), (e2, i2, v2) = parts
    power = 1.0 / number(to_build(f.before).controller.exponent)
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
    notes=(Note("full_throttle_thrust", "thrust", "most thrust of one rotor, if all four were so"),
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
