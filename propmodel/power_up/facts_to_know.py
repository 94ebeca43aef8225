"""What to know beside the readings: blocked propeller, plugging in, braking."""

from __future__ import annotations

from dataclasses import dataclass

from propmodel.power_up import transients
from propmodel.power_up.numbers import (
    PowerUp,
    no_load_supply_current,
)

__all__ = ["CAPACITOR_RESISTANCE", "CERAMIC", "COPPER_SHARE", "LEAD_INDUCTANCE", "Fact", "facts"]

LEAD_INDUCTANCE = 0.8e-6
"""Of a metre of straight lead. [H/m] Estimate."""
CAPACITOR_RESISTANCE = 0.02
"""Own resistance of a bus capacitor. [ohm] Estimate."""
CERAMIC = 20e-6
"""Ceramic capacitors on the boards by themselves. [F] Estimate."""
COPPER_SHARE = 0.13
"""Copper in a motor's mass. [-] Estimate."""


@dataclass(frozen=True)
class Fact:
    """A thing to know rather than to read: the figure, and what it means."""

    title: str
    """A few words."""
    value: float
    """In `unit`."""
    unit: str
    """Of the value."""
    text: str
    """What it means, in a sentence or two."""


def facts(p: PowerUp) -> list[Fact]:
    """Return what to know beside the readings: blocked propeller, plugging in, braking.

    Parameters
    ----------
    p : PowerUp

    Returns
    -------
    list of Fact

    Examples
    --------
    >>> from propmodel.assembly.demo import demo
    >>> from propmodel.power_up.numbers import from_build
    >>> [f.unit for f in facts(from_build(demo("scree")))]
    ['A', 's', 'A', 'J', 'V', 'V']
    """
    stall = p.full_voltage / p.resistance
    part = (p.hover_command or (0.0, 0.3, 0.0))[1]
    seconds = float(
        transients.blocked_seconds(
            p.hover_duty * stall, winding_resistance=p.winding_resistance, copper_mass=COPPER_SHARE * p.motor_mass
        )
    )
    loop = {
        "resistance": p.pack_resistance + CAPACITOR_RESISTANCE,
        "inductance": 2.0 * max(p.lead_length, 0.02) * LEAD_INDUCTANCE,
    }
    capacitance = max(p.capacitance, CERAMIC)
    inrush = float(transients.inrush_current(p.full_voltage, capacitance=capacitance, **loop))
    energy = float(transients.capacitor_energy(p.full_voltage, capacitance))
    bare = loop | {"resistance": p.pack_resistance}
    ring = float(transients.ring_voltage(p.full_voltage, capacitance=CERAMIC, **bare))
    speed = no_load_supply_current(p, 1.0)[0] if p.hover_rev_per_s is None else p.hover_rev_per_s
    kinetic = float(transients.rotor_energy(p.bell_inertia + p.propeller_inertia, speed))
    rise = float(transients.braking_voltage(p.supply_voltage, capacitance=capacitance, energy=kinetic))
    rating = (
        f"Its capacitor is rated {p.capacitor_voltage:.0f} V."
        if p.capacitor_voltage is not None
        else "A capacitor needs a rating well above the full pack (35 V on six cells: common practice)."
    )
    return [
        Fact(
            "Blocked propeller: motor current at full command",
            stall,
            "A",
            "A motor that stands still makes no voltage of its own, so only its resistance holds the "
            "current back: "
            "volts over ohms. Caught in grass: disarm at once.",
        ),
        Fact(
            "Blocked propeller: time to burn at hover command",
            seconds,
            "s",
            f"Even at {100 * part:.0f} % command the windings go from 25 to 120 °C in about this time, "
            "with no air moving.",
        ),
        Fact(
            "Spark at plug-in: peak current",
            inrush,
            "A",
            "Pack meets empty capacitors through a few hundredths of an ohm. It lasts well under a "
            "millisecond but pits the "
            "contacts: push the plug home in one go, or use an anti-spark resistor or connector.",
        ),
        Fact(
            "Spark at plug-in: energy",
            energy,
            "J",
            "C V²/2 goes into the capacitors, and as much again into the spark and the leads.",
        ),
        Fact(
            "Plug-in without the capacitor: bus peak",
            ring,
            "V",
            "Leads and small ceramic capacitors ring; the large capacitor's own resistance damps it. " + rating,
        ),
        Fact(
            "Braking one motor with its propeller on a bench supply: bus could reach",
            rise,
            "V",
            f"From hover speed one rotor gives back {kinetic:.1f} J. A pack takes it; a supply cannot, "
            "and the voltage climbs "
            "until something fails. Switch active braking off on a supply, or test on a pack.",
        ),
    ]
