"""What every first power-up needs to hear, whatever the build: cautions, when to stop, the usual faults.

Common practice in the trade, from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CAUTIONS", "FAULTS", "FIRST_CAUTION", "STOP_AT_ONCE", "STOP_AT_ONCE_SHORT", "Fault"]

CAUTIONS = (
    "Propellers off until the very last steps. A motor that twitches with a propeller on cuts to the bone.",
    "Put a current limit between pack and craft the first time: a bench supply or a current-limiting plug.",
    "Wear eye protection, keep others out of the plane of the propellers and at least ten metres away.",
    "Work on a surface that does not burn, near an open door or outdoors, with sand or a lidded metal box at hand.",
    "Never leave a pack on charge alone, never charge below 0 °C, and put dented or swollen packs in quarantine.",
    "Never arm the flight controller without propellers, and never with the craft tied down: its "
    "control loop "
    "waits for a movement that cannot come and winds up to full power. Use its own motor test instead.",
    "Screw the antenna on before the video transmitter gets power.",
    "Your country's rules, your field's rules and the makers' sheets come before anything written here.",
)
"""Read before the first step."""

FIRST_CAUTION = (
    "Propellers off until the steps that ask for them, a current limit between pack and craft, a surface that does not "
    "burn. Never arm the flight controller for a test: use its motor test."
)
"""The cautions in two sentences."""

STOP_AT_ONCE = (
    "smoke, a smell of varnish, a hiss or a crackle",
    "the limiter trips or its lamp lights up and stays lit",
    "anything too hot to touch within a minute",
    "a motor that stutters, whines without turning, or turns by itself",
    "a pack that swells or gets warm while nothing runs",
)
"""Pull the plug, wait, and look for the cause before trying again. More current never finds a fault."""


STOP_AT_ONCE_SHORT = "smoke, a smell, a hiss, heat, a motor that stutters or turns by itself"
"""The same in one line."""


@dataclass(frozen=True)
class Fault:
    """A usual fault of a new craft."""

    name: str
    """What is wrong, in the trade's words."""
    sign: str
    """How it shows."""
    check: str
    """How to find out, and what to do."""


FAULTS = (
    Fault(
        "Motor screws too long, touching the windings",
        "a current too high, a hot motor, one dead corner",
        "Back each screw out one turn: does the reading change? The thread may enter only as far as the base is thick.",
    ),
    Fault(
        "Solder bridge",
        "a short across the leads, one hot corner of a board",
        "Look along every joint under a lamp, between motor pads above all; reflow, clean.",
    ),
    Fault(
        "Frame touching a pad",
        "a short that comes and goes with pressure; carbon conducts",
        "Meter from each main lead to the frame: no reading at all. Lift the board on its posts.",
    ),
    Fault(
        "Reversed polarity",
        "instant smoke at plug-in",
        "Meter on volts at the plug before it meets the craft: red is plus.",
    ),
    Fault(
        "Propeller, motor order or motor direction wrong",
        "flips on take-off, then stalls in the grass at full command",
        "Motor test, one at a time, against the flight controller's own picture; print up, leading edge forward.",
    ),
    Fault(
        "No antenna on a transmitter",
        "weak picture, then a dead transmitter",
        "Antenna on before power, always.",
    ),
    Fault(
        "No fail-safe",
        "it flies away when the radio drops out",
        "Propellers off, not armed: switch the radio off. The flight controller must show the loss and "
        "refuse "
        "to arm; read in its settings what it will do in the air.",
    ),
)
"""In the order in which they are found most often. Common practice, from memory."""
