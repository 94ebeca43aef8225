"""Story of the smallest craft: a larger pack on a craft not much heavier than its pack."""

from __future__ import annotations

from typing import Any

from numpy.typing import NDArray

from explorer.app_pages.why.stories.story import Facts, Note, Quiz, Story, Task, required
from explorer.inputs import Inputs, demo_inputs, to_build
from explorer.text.numbers import value
from explorer.text.working_step import Step
from propmodel.base.units import GRAM
from propmodel.components import battery

__all__ = ["TINY_STORY"]

MORE_MAH = 150.0
MORE_G = 4.0
"""Additional mass: a 1S 450 weighs about 12 g, a 1S 300 about 8 g (common practice, from memory). [g]"""
STILL = 0.02
"""Relative change of thrust to weight below which it counts as equal. [-]"""


def _path(i: Inputs, t: NDArray) -> dict[str, Any]:
    return {"capacity_mah": i.capacity_mah + MORE_MAH * t, "pack_g": required(i.pack_g) + MORE_G * t}


def _thrust_change(f: Facts) -> float:
    return f.b["thrust_to_weight"] / f.a["thrust_to_weight"] - 1.0


def _right(f: Facts) -> int:
    change = _thrust_change(f)
    return 2 if abs(change) < STILL else 0 if change < 0.0 else 1


def _because(f: Facts) -> str:
    volts = [x["full_throttle_voltage"] for x in (f.a, f.b)]
    pulls = [value("thrust_to_weight", x["thrust_to_weight"]) for x in (f.a, f.b)]
    return (
        f"From {pulls[0]} its weight to {pulls[1]}. It is {100 * (f.b['mass'] / f.a['mass'] - 1):.0f} % heavier; "
        f"the larger cell sags less and holds {volts[1]:.2f} V flat out in place of {volts[0]:.2f} V, which gives a "
        "part of it back."
    )


def _also(f: Facts) -> list[str]:
    share = [100 * required(x.pack_g) * GRAM / y["mass"] for x, y in ((f.before, f.a), (f.after, f.b))]
    return [
        f"The pack is {share[0]:.0f} % of the craft, then {share[1]:.0f} %. Each step adds fewer minutes, until "
        "the pack carries little but itself.",
        f"Its hover command is then {value('percent', f.b['hover_throttle'])} in place of "
        f"{value('percent', f.a['hover_throttle'])}: less is left for a gust or a turn.",
    ]


def _why(f: Facts) -> list[Step]:
    charge = f.after.capacity_mah / f.before.capacity_mah
    mass = f.b["mass"] / f.a["mass"]
    ohms = [1000 * float(battery.cell_resistance_new(to_build(x).pack)) for x in (f.before, f.after)]
    return [
        (
            "Charge",
            f"{f.after.capacity_mah:.0f} / {f.before.capacity_mah:.0f} mAh = {charge:.2f} times",
            "Labels.",
        ),
        (
            "Power for a heavier craft",
            f"P ~ m^1.5: ({f.b['mass'] / GRAM:.0f} g / {f.a['mass'] / GRAM:.0f} g)^1.5 = {mass**1.5:.2f} times",
            "Momentum theory, same propellers.",
        ),
        (
            "Minutes",
            f"{charge:.2f} / {mass**1.5:.2f} = {charge / mass**1.5:.2f} times; whole craft: {1 + f.change:.2f} times",
            "Time is charge over current. The electronics take the same watts on both packs, and the larger cell "
            "wastes less.",
        ),
        (
            "Cell",
            f"{ohms[0]:.0f} mohm becomes {ohms[1]:.0f} mohm",
            "Resistance falls as capacity rises; estimate by the label.",
        ),
    ]


TINY_STORY = Story(
    key="tiny",
    title="Half again the pack",
    teaser="Thirty grams, and a larger pack. How much longer?",
    start=lambda: demo_inputs("rill"),
    path=_path,
    spots=tuple(k / 10.0 for k in range(-6, 22, 2)),
    x_name="Capacity",
    x_unit="mAh",
    x=lambda i, t: i.capacity_mah + MORE_MAH * t,
    output="hover_time",
    kind="minutes",
    y_name="Minutes of hover",
    setting="Rain over Thornbarrow, so Rill flies in the hut: 30 g with propeller guards, one cell of 300 mAh that "
    "weighs 8 g. In the drawer lies one of 450 mAh, half again the charge, 4 g heavier. It fits the clip.",
    ask="How long does it hover on the larger pack, against the smaller one?",
    quiz=Quiz(
        "And thrust to weight, on a fresh pack?",
        ("Less: it is heavier", "More: the larger cell sags less", "About the same"),
        _right,
        _because,
    ),
    notes=(
        Note("hover_power", "power", "watts in the hover"),
        Note("hover_throttle", "percent", "hover command"),
        Note("thrust_to_weight", "thrust_to_weight", "thrust to weight, fresh pack"),
        Note("full_throttle_current", "current", "amps from the pack, flat out"),
    ),
    also=_also,
    why=_why,
    misconception="Half again the charge is half again the time. On a large craft nearly so; here a quarter "
    "of all there is to lift is the pack, and power grows with mass to the power of one and a half.",
    tasks=(
        Task("capacity_mah", 200, 600, 50, "Rill with {} mAh, the pack as heavy as now.", "hover_time", "minutes",
             "How many minutes of hover?"),
        Task("frame_g", 8, 20, 1, "Rill with {} g of frame and electronics.", "hover_throttle", "percent",
             "What command hovers it, in %?"),
        Task("kv", 13000, 20000, 500, "Rill with motors of {} KV.", "thrust_to_weight", "thrust_to_weight",
             "What is its thrust, in times its weight?"),
    ),
    caution="Small cells burn too: charge them on a plate, never alone. Small blades cut an eye: not near faces.",
    after_name="Rill, larger pack",
)  # fmt: skip
