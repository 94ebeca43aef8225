"""Troubleshooting of problems before, during and after a flight, with the numbers of this build. Pure functions.

The questions are common among builders. The answers are common practice and textbook physics; the numbers are from
`propmodel`. An answer says so if propulsion cannot be the cause.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from explorer.app_pages.why.troubleshooting.change_troubles import CHANGE_TROUBLES
from explorer.app_pages.why.troubleshooting.setup_troubles import SETUP_TROUBLES
from explorer.app_pages.why.troubleshooting.trouble_records import CraftAnswers, Trouble
from explorer.text.numbers import spread, value
from explorer.text.search import holding
from propmodel import heat
from propmodel.assembly.build import with_fields
from propmodel.assess.assessment import Assessment
from propmodel.base.arrays import number
from propmodel.base.units import CELSIUS_ZERO
from propmodel.components import battery, wire
from propmodel.components.air import atmosphere
from propmodel.components.momentum import induced_velocity_hover
from propmodel.flight.endurance import flight_time
from propmodel.flight.level import level_flight, steepest_tilt
from propmodel.flight.spin_up import stall_current
from propmodel.heat.hot_motor import hot_motor_verdict
from propmodel.power_up import transients
from propmodel.powertrain.operating_point import at_duty
from propmodel.powertrain.prepared import prepare

__all__ = ["TROUBLES", "CraftAnswers", "Trouble", "troubles_with"]


def _hot(c: CraftAnswers) -> str:
    if not c.hovers:
        return (
            "It cannot hover by the forecast: every motor at full load gets hot. A larger propeller or less mass first."
        )
    a = c.whole
    watts = number(a.winding_heat(a.hover) + a.hover.iron_loss)
    rise = number(a.hover_heat.body) - number(c.build.air.temperature)
    verdict = hot_motor_verdict(watts, rise, air_temperature=number(c.build.air.temperature))
    start = f"In a hover, turning the propeller makes {value('power', watts)} of heat in each motor. "
    if verdict.explained == "yes":
        return start + "That is enough to make it hot: a smaller propeller, less pitch, fewer cells or a larger motor."
    return start + (
        f"That warms its bell by about {rise:.0f} degrees and cannot make it too hot to hold. Pack out, propellers "
        "off. Then look at control noise (the D share turns gyro noise into current), filters, a bearing, a bent "
        "propeller, screws touching the windings. After a swap of a motor or its leads, check the direction of "
        "rotation and the propeller nut before the next take-off."
    )


def _update(c: CraftAnswers) -> str:
    return (
        "The same parts at the same mass are the same load: pin this build, change nothing, and nothing here moves. So "
        "it is control: an update may reset filters and shares. Lower the D share, fly half a minute, touch again. How "
        "much heat that noise makes cannot be calculated from labels."
    )


def _cells(c: CraftAnswers) -> str:
    cells, kv = number(c.build.pack.cells), number(c.build.motor.kv)
    more = (cells + 1.0) / cells
    rpm, size = kv * c.full_volts * more, number(c.build.propeller.diameter)
    mach = math.pi * size * rpm / 60.0 / number(c.build.air.speed_of_sound)
    return (
        f"With {cells + 1:.0f} cells instead of {cells:.0f} the bare motor would turn {value('rpm', rpm / 60.0)}, its "
        f"propeller's tips at {mach:.2f} of the speed of sound; it never gets there and draws the difference as amps. "
        f"The power asked grows with about the cube of the volts: {more**3:.1f} times. The same speed on "
        f"{cells + 1:.0f} cells takes about {value('kv', kv / more)}. Every other part on the pack must be rated for the "
        "volts too, and a throttle cap does not change that."
    )


def _cap_mode(c: CraftAnswers) -> str:
    cap = number(c.build.command_cap)
    free = at_duty(prepare(c.build, 1.0), np.asarray(1.0))
    pack, motor = value("current", number(free.pack_current)), value("current", number(free.motor_current))
    all_of_it = f"{pack} from the pack, {motor} in each motor"
    if cap >= 0.999:
        return (
            f"This build has no cap; flat out it draws {all_of_it}. With a cap those figures would still be what a "
            "mode sends that ignores it, such as the one that turns a crashed craft upright: the weakest path "
            "counts."
        )
    held = c.whole.full_throttle
    return (
        f"Under the cap of {100 * cap:.0f} % it draws {value('current', number(held.pack_current))} flat out. A mode that "
        f"ignores the cap, such as the one that turns a crashed craft upright, sends {all_of_it}: the weakest path "
        "counts, and with propellers stuck in grass it is worse still."
    )


def _blocked(c: CraftAnswers) -> str:
    amps = number(stall_current(c.full_volts, c.build.motor.resistance))
    duty = number(c.whole.hover.duty) if c.hovers else 1.0
    return (
        f"A motor that stands makes no volts of its own: at full command {value('current', amps)} would flow, at the "
        f"command of a hover still {value('current', amps * duty)}, and windings go in a second or two. Software can "
        "cut off a blocked motor only if it is set to and sees it: disarm at once, by hand."
    )


def _bench_smoke(c: CraftAnswers) -> str:
    motor = c.build.motor
    k_e = 60.0 / (number(motor.kv) * number(motor.loaded_kv_ratio))
    speed = c.full_volts / (
        k_e + number(motor.resistance) * number(motor.iron_torque_slope) / number(motor.torque_constant)
    )
    amps = number(motor.iron_torque_slope) * speed / number(motor.torque_constant)
    return (
        f"Bare, at full command, a motor of this build should draw about {value('current', amps)}. That overloads no "
        "ESC. Twice as much is a fault: a solder bridge, a screw in the windings, a pad on the frame, wrong timing. "
        "Go through the steps of the first power-up with a current limit."
    )


def _esc_enough(c: CraftAnswers) -> str:
    low, mid, high = c.motor_amps
    rated = c.build.controller.continuous_current
    own_rating = "" if rated is None else f" Yours is sold for {value('current', number(rated))} a motor."
    return (
        f"Flat out each motor takes about {value('current', mid)} ({spread('current', low, high)}) here, so that is "
        f"what each ESC must pass.{own_rating} A rating holds for a time and with air over the board; cells come first: an "
        "ESC sold for fewer cells than the pack has fails whatever the amps."
    )


def _pulses(c: CraftAnswers) -> str:
    return (
        "Motor outputs can pulse while a flight controller restarts, and saving settings restarts it. Propellers off, "
        "pack out or behind a current limit, whenever settings are saved."
    )


def _fuse(c: CraftAnswers) -> str:
    energy = number(transients.capacitor_energy(c.full_volts, c.build.craft.capacitance))
    return (
        f"The spark is the capacitor filling: {energy:.2f} J at {value('pack_voltage', c.full_volts)}, and about as "
        "much again lost on the way. Without the capacitor the spark is small and the volts ring up to nearly twice "
        "the pack's, which kills boards. It belongs at the ESC's pads, legs short, 35 V or more on six "
        "cells, some 500 to 1000 µF (common practice)."
    )


def _supply(c: CraftAnswers) -> str:
    return (
        "A braking propeller pumps its energy back. A pack takes it; a bench supply cannot, and the volts climb until "
        "something fails. Switch active braking off on a supply, or test behind a pack with a current limit."
    )


def _flip(c: CraftAnswers) -> str:
    full = c.whole.full_throttle
    turns = number(full.rev_per_s) * number(c.build.motor.pole_pairs)
    return (
        f"Losing step comes with many amps at many turns: flat out here {value('current', number(full.motor_current))} in "
        f"each motor at {value('rpm', turns)} electrical ({number(c.build.motor.pole_pairs):.0f} pole pairs). Less output "
        "or more timing in the ESC often cures it, as do less pitch and fresh ESC firmware. Nobody can promise a "
        "limit; rule out a loose wire and a bent bell first."
    )


def _alarm(c: CraftAnswers) -> str:
    full, cells = c.whole.full_throttle, number(c.build.pack.cells)
    fall = c.full_volts - number(full.bus_voltage)
    return (
        f"A punch on a fresh pack takes {value('current', number(full.pack_current))} and pulls the pack down by "
        f"{value('pack_voltage', fall)} to {value('cell_voltage', number(full.bus_voltage) / cells)} a cell: amps times "
        "the pack's resistance, and the volts come back. Land by the charge drawn; the page Minutes has the figure to "
        "type in."
    )


def _c_label(c: CraftAnswers) -> str:
    pack = c.build.pack
    label = pack.max_continuous_current
    amps = 50.0 * number(battery.capacity(pack)) if label is None else number(label)
    r = number(battery.resistance(pack, 0.8))
    seconds = 3600.0 * number(battery.capacity(pack)) / amps
    warming = 60.0 * number(heat.pack_temperature_rate(amps, resistance=r, mass=number(battery.mass(pack))))
    said = "A label of 50C" if label is None else "The label"
    honest, floor = number(battery.believable_rate(pack)), number(battery.of_chemistry(pack, "punch_floor"))
    return (
        f"{said} would mean {value('current', amps)}. At that current this pack would be empty in "
        f"{value('seconds', seconds)}, lose {value('pack_voltage', amps * r)} inside itself, "
        f"{value('power', amps * amps * r)} "
        f"of heat, and warm by {warming:.0f} degrees a minute. By the resistance used here it can give about "
        f"{honest:.0f}C for ten seconds, half full, before a cell falls to {floor:.1f} V. "
        "Labels of two makers do not compare: go by milliohm a cell from a charger, at a stated temperature."
    )


def _cut(c: CraftAnswers) -> str:
    return (
        "No: a motor cut in the air is a crash. Warn early, by the charge drawn, and keep a fifth; the page Minutes "
        "tells the time from the warning to empty, your way and in a hover."
    )


def _li_ion(c: CraftAnswers) -> str:
    there = c.build.pack.chemistry == "li_ion"
    other_cells = "lipo" if there else "li_ion"
    pack = replace(c.build.pack, chemistry=other_cells, cell_resistance=None, mass=None, max_continuous_current=None,
                   max_burst_current=None, cutoff_voltage_per_cell=None, label_c=None, usable_share=None)  # fmt: skip
    # the same mass of cells
    pack = replace(
        pack, capacity_ah=number(pack.capacity_ah) * number(battery.mass(c.build.pack)) / number(battery.mass(pack))
    )
    other = replace(c.build, pack=pack)
    times = [number(flight_time(b).time) for b in (c.build, other)]
    pulls = [number(Assessment(b, quick=True).thrust_to_weight) for b in (c.build, other)]
    if not all(math.isfinite(t) and t > 10.0 for t in times):
        return "Li-ion cells hold more for their mass and give fewer amps; this craft does not hover on both."
    return (
        f"At the same pack mass, {'LiPo' if there else 'Li-ion'} instead of what it has: in a hover "
        f"{value('minutes', times[1])} against {value('minutes', times[0])}, thrust to weight "
        f"{value('thrust_to_weight', pulls[1])} against {value('thrust_to_weight', pulls[0])}. Li-ion cells go down to 2.5 "
        "to 3.1 V under load, so an alarm set for LiPo rings far too early. Pin this build and change what the "
        "cells are to see all of it."
    )


def _winter(c: CraftAnswers) -> str:
    cold = battery.resistance(replace(c.build.pack, temperature=CELSIUS_ZERO), 0.5)
    ratio = number(cold) / number(battery.resistance(c.build.pack, 0.5))
    now = number(c.build.pack.temperature) - CELSIUS_ZERO
    return (
        f"The charge is there, but at 0 °C the pack's resistance is about {ratio:.1f} times that at {now:.0f} °C "
        "(estimate, from one LiPo pouch), so the alarm rings early. Keep packs in a pocket, never charge "
        "them below freezing; the switch Cold pack on Minutes draws it."
    )


def _counter(c: CraftAnswers) -> str:
    return (
        "The scale of the current sensor is off. The counter should show what the charger puts back after the same "
        "flight: the one over the other is the factor. Some firmware wants its scale multiplied by it, some divided: "
        "change it, fly, and see that the two agree. A flight log dropped on Plug in gives the factor, once you type "
        "what the charger put back."
    )


def _jumps(c: CraftAnswers) -> str:
    if not c.hovers:
        return "This craft does not hover, so there is no hover setting to type in."
    start, end = c.stick_in_hover
    return (
        "Firmware that takes half throttle for the hover jumps up with a craft that needs less. Its setting counts "
        f"above idle: type {value('percent', 0.5 * (start + end))}, "
        f"{value('percent', start)} on a fresh pack, {value('percent', end)} at the end. Where the firmware evens out "
        f"the thrust it is nearer {value('percent', 1.0 / number(c.whole.thrust_to_weight))}."
    )


def _leads(c: CraftAnswers) -> str:
    def lost(amps: float, gauge: int) -> str:
        volts, watts = (number(of(amps, gauge=gauge, length=0.1)) for of in (wire.drop, wire.heat))
        return f"{volts:.2f} V and {watts:.1f} W of {gauge} AWG"

    motor, pack = c.motor_amps[1], number(c.whole.full_throttle.pack_current)
    return (
        f"Tables for bundles in walls do not fit. What counts is what is lost: flat out, 10 cm of motor wire costs "
        f"{lost(motor, 20)} or {lost(motor, 16)} at {value('current', motor)}; 10 cm of main lead {lost(pack, 14)} or "
        f"{lost(pack, 12)} at {value('current', pack)}. In a hover it is a small part of that."
    )


def _third_blade(c: CraftAnswers) -> str:
    prop = c.build.propeller
    blades = number(prop.blades)
    many = with_fields(c.build, {"propeller.blades": blades + 1.0})
    a, b = c.whole.full_throttle, Assessment(many, quick=True).full_throttle
    more_thrust, amps = (number(getattr(b, k)) / number(getattr(a, k)) - 1.0 for k in ("thrust", "motor_current"))
    pitch_speed = number(a.rev_per_s) * number(prop.pitch)
    return (
        f"One blade more on this one: {100 * more_thrust:+.0f} % thrust for {100 * amps:+.0f} % amps, standing still. Pitch "
        f"moves thrust to speed: pitch times turns is {value('road_speed', pitch_speed)} here. Amps on a stand are the "
        "worst case: in flight the propeller unloads. Ducts add thrust standing still and cost it in flight; they are "
        "not modelled here."
    )


def _mountain(c: CraftAnswers) -> str:
    here = number(c.build.air.density)
    up = number(atmosphere(2500.0, temperature=max(number(c.build.air.temperature) - 10.0, 230.0)).density)
    ratio = here / up
    if up >= here:
        return "Where it flies now the air is thinner than on most mountains: rotation and watts are already up."
    return (
        f"At 2500 m and ten degrees colder the air has {100 * up / here:.0f} % of the density where it flies now: in "
        f"the hover its rotors turn {100 * (math.sqrt(ratio) - 1):.0f} % faster and take that much more watts, and it "
        f"gives {100 * (1 - up / here):.0f} % less thrust at the same speed, and needs more height to pull out."
    )


def _tilt(c: CraftAnswers) -> str:
    if not c.hovers:
        return "This craft does not hover, so it holds no tilt."
    steep = math.degrees(number(steepest_tilt(c.whole.thrust_to_weight)))
    top = number(c.whole.top.speed)
    leans = np.degrees(np.asarray(level_flight(c.build, np.array([5.0, 10.0, 15.0])).tilt))
    at = ", ".join(
        f"{lean:.0f} degrees at {value('road_speed', v)}"
        for v, lean in zip((5.0, 10.0, 15.0), leans, strict=True)
        if v < top
    )
    return (
        (
            f"Level and steady this craft tilts {at} (estimate: 8 in 10 within a third; one that carries boxes up to "
            "twice as far). "
            if at
            else ""
        )
        + "Level flight at 45 degrees takes at least 1.41 times the weight, at 60 degrees 2 times: by its thrust on a "
        f"fresh pack, standing still, this craft could hold level to {steep:.0f} degrees. A camera tilted steeper than "
        "you cruise looks at the sky."
    )


def _pwm(c: CraftAnswers) -> str:
    return (
        "Raising the ESC's switching frequency smooths the current, most on tiny motors. It is no knob for power: full "
        "throttle does not depend on it, and above some 48 kHz little more is gained (common practice)."
    )


def _poles(c: CraftAnswers) -> str:
    poles = 2.0 * number(c.build.motor.pole_pairs)
    other = 12.0 if poles >= 13.0 else 14.0
    return (
        f"Count the magnets: loggers and firmware turn electrical turns into rpm with a number you set. {poles:.0f} "
        f"stands in this build; a motor of {other:.0f} read as {poles:.0f} shows {100 * abs(other / poles - 1):.0f} % "
        f"too {'few' if other < poles else 'many'}."
    )


def _kv_drifts(c: CraftAnswers) -> str:
    ratio = number(c.build.motor.loaded_kv_ratio)
    real = (
        "it was measured under load here"
        if ratio > 0.995
        else f"here it is taken as {100 * ratio:.0f} % of the label; single motors differ by some 6 %"
    )
    return (
        "The printed KV holds without load. Under load most of the missing speed is volts lost in the resistance; the "
        f"KV itself falls a little: {real}. A measured KV can be typed or read from a stand log on Plug in."
    )


def _drifts(c: CraftAnswers) -> str:
    if not c.hovers:
        return "By the forecast this craft does not hover, so it has no figures here."
    start, end = c.hover_command
    return (
        f"The pack's volts fall, so the same speed takes a larger share of them: the hover command goes from "
        f"{value('percent', start)} at the start to {value('percent', end)} at the end of the flight."
    )


def _minute(c: CraftAnswers) -> str:
    seconds = number(c.whole.full_throttle_seconds)
    text = (
        "settles below the limit of its winding by the forecast"
        if math.isinf(seconds)
        else f"reaches the limit of its winding after {value('seconds', seconds)} by the forecast"
    )
    return (
        f"From warm, held flat out, a motor of this build {text}; cooling is an estimate, so leave a wide margin. A "
        "motor that must hold full command in level flight has no thrust left to steer with: look for a heavy corner "
        "or one weak motor."
    )


def _headroom(c: CraftAnswers) -> str:
    left = number(c.whole.thrust_to_weight_at_reserve)
    return (
        f"At the end of the flight its thrust is {value('thrust_to_weight', left)} its weight. Below 2 it loses height when "
        "it corrects, and cannot catch a gust (common practice): more diameter, another cell or less mass."
    )


def _touch(c: CraftAnswers) -> str:
    return (
        "A bell or board that you can hold is below about 60 °C. ESC temperatures of 40 to 65 °C after a flight are "
        "usual on mid-size craft; one that rises within seconds is failing (common practice, from memory)."
    )


def _collapse(c: CraftAnswers) -> str:
    low = number(c.whole.full_throttle_at_reserve.bus_voltage)
    need = number(c.build.craft.electronics_min_voltage)
    return (
        f"Small packs fall fast at the end: a punch at the end of the flight pulls this one to "
        f"{value('pack_voltage', low)}, and the electronics restart below {value('pack_voltage', need)}."
    )


def _sink(c: CraftAnswers) -> str:
    v = number(
        induced_velocity_hover(c.whole.bare_thrust, disc_area=c.build.disc_area, air_density=c.build.air.density)
    )
    return (
        f"Straight down at {value('speed', 0.4 * v)} to {value('speed', 1.4 * v)} it sinks into its own wash: thrust "
        "falls, and adding throttle makes it worse. Leave sideways. A pull-out that ends in the ground began too low: "
        "the page Dive gives the height."
    )


def _against_wind(c: CraftAnswers) -> str:
    if not c.hovers:
        return "By the forecast this craft does not hover, so it has no figures here."
    held = level_flight(c.build, np.linspace(2.0, 60.0, 581))
    good = np.asarray(held.status) == 0
    if not good.any():
        return "It holds no level speed, so it comes home against no wind."
    most = float(np.asarray(held.speed)[good].max())
    return (
        f"Level and for minutes it holds up to {value('road_speed', most)} through the air; wind against it comes off "
        "that, and gusts come on top. Minutes tells from how far it comes home."
    )


TROUBLES: tuple[Trouble, ...] = (
    Trouble("hot", "My motors come down hot after gentle flying", _hot, "margins",
            "burning overheat warm too hot to touch D gain term noise ducted tiny indoor hover"),
    Trouble("update", "It runs hot since an update, same parts", _update, "margins",
            "firmware tune D gain term filter hot"),
    Trouble("blocked", "A propeller was blocked and the motor burnt", _blocked, "margins", "grass stall stuck fire"),
    Trouble("more_cells", "May I put one more cell on these motors?", _cells, "margins",
            "wrong KV too many cells 6S 4S over-voltage ESC burnt high"),
    Trouble("cap_mode", "A throttle cap was set and it burnt all the same", _cap_mode, "margins",
            "limit output percent flip over after crash mode upright upside down ESC capacitor"),
    Trouble("bench_smoke", "Smoke on the bench, without a propeller", _bench_smoke, "plug_in",
            "first power-up fire no-load current ESC burnt resettable fuse current-limiting plug"),
    Trouble("esc", "Is my ESC large enough?", _esc_enough, "margins", "20 A four-in-one burnt speed controller rating first take-off maiden"),
    Trouble("pulses", "Motors twitched while I saved settings", _pulses, "plug_in", "smoke configuration reboot spin"),
    Trouble("capacitor", "An ESC died on its first flight; is a capacitor needed?", _fuse, "margins",
            "maiden spark fuse anti-spark antispark spikes"),
    Trouble("supply", "It tripped or smoked on a bench supply", _supply, "margins", "braking regenerate voltage rises"),
    Trouble("flip", "It flips or drops a motor on a hard punch", _flip, "margins", "desync sync twitch lost step stutter stutters jerks"),
    Trouble("alarm", "The low-voltage alarm rings on the first punch", _alarm, "minutes", "sag beep battery old tired worn pack landing"),
    Trouble("c_label", "Are the C numbers on packs true?", _c_label, "margins", "C rating discharge label battery"),
    Trouble("cut", "Should low voltage stop the motors?", _cut, "minutes", "failsafe land landing beginner alarm"),
    Trouble("li_ion", "Li-ion for longer flights?", _li_ion, "minutes", "lithium ion long range chemistry 18650 21700"),
    Trouble("winter", "Half the minutes in winter", _winter, "minutes", "cold frost temperature pack freezing"),
    Trouble("counter", "The mAh counter and the charger disagree", _counter, "plug_in", "current sensor scale wrong"),
    Trouble("jumps", "It jumps up when I switch modes", _jumps, "minutes", "hover throttle altitude hold firmware"),
    Trouble("drifts", "The hover throttle creeps up during the flight", _drifts, "minutes", "stick voltage falls"),
    Trouble("leads", "Are my leads too thin?", _leads, "margins", "wire gauge AWG cable voltage drop connector plug hot melted"),
    Trouble("blade", "A third blade, more pitch, a duct: what do I gain?", _third_blade, "choose",
            "propeller tri-blade pitch speed ducts static in flight"),
    Trouble("mountain", "It flies worse on a mountain", _mountain, "lift", "altitude height density ridge thin air"),
    Trouble("tilt", "How steep may the camera be?", _tilt, "minutes", "camera angle lean fast"),
    Trouble("wind", "Does it come home against the wind?", _against_wind, "minutes", "range headwind"),
    Trouble("sink", "It fell through coming straight down", _sink, "dive",
            "vortex ring wobble prop wash propwash pull out dive"),
    Trouble("minute", "A motor burnt after a minute of full command", _minute, "margins", "100 % hot winding hover"),
    Trouble("headroom", "It loses height when it corrects", _headroom, "margins", "thrust to weight gust weak too heavy cannot won't lift take off"),
    Trouble("collapse", "The picture or the radio drops out in a punch", _collapse, "margins",
            "brownout reset tiny small pack 1S 2S video"),
    Trouble("pwm", "Does a higher PWM frequency cool it?", _pwm, "margins", "switching kHz ripple"),
    Trouble("poles", "The logged rpm looks wrong", _poles, "plug_in", "magnets poles electrical telemetry"),
    Trouble("kv", "The motor turns slower than its KV says", _kv_drifts, "plug_in", "measured KV label sheet"),
    Trouble("touch", "How hot may I touch?", _touch, "margins", "temperature ESC bell finger warm"),
    *SETUP_TROUBLES,
    *CHANGE_TROUBLES,
)  # fmt: skip


def troubles_with(words: str) -> list[Trouble]:
    """Return the entries that match the search words; all entries without a search word.

    Examples
    --------
    >>> [t.key for t in troubles_with("desync")]
    ['flip', 'idle']
    """
    return holding(words, TROUBLES, lambda t: f"{t.ask} {t.also}")
