"""Questions about results, each with a worked example. Pure functions: a build in, steps out.

The last result of every worked example is computed here, from the displayed numbers and formula. The method differs
from that of `propmodel`: time steps for a closed form, charge steps for a quadrature, a sum of squares for random
draws. The page shows both results, and a test compares them.
"""

from __future__ import annotations

from explorer.app_pages.why.derivations.derivation import DerivationQuestion
from explorer.app_pages.why.derivations.flight import (
    bucket_working,
    dive_working,
    full_current_working,
    sag_working,
    thrust_working,
    top_working,
    wash_working,
)
from explorer.app_pages.why.derivations.hover import (
    hover_command_working,
    hover_power_working,
    hover_speed_working,
    ideal_working,
    mass_working,
    minutes_working,
    tilted_ideal_working,
)
from explorer.app_pages.why.derivations.motor import (
    cap_working,
    heat_working,
    inrush_working,
    more_kv_working,
    seconds_working,
    stall_working,
)
from explorer.app_pages.why.derivations.spread import spread_working
from explorer.text.search import holding

__all__ = [
    "QUESTIONS",
    "found",
]

QUESTIONS: tuple[DerivationQuestion, ...] = (
    DerivationQuestion("mass", "Why does it weigh that?", "The parts, added up.", mass_working, "lift", "payload_g", "take-off weight"),
    DerivationQuestion(
        "ideal", "How near is it to the ideal?",
        "Holding a weight up in the air costs power however good the parts are; the figure of merit says how near they "
        "come.", ideal_working, "lift", "diameter_in", "figure of merit disc loading induced",
    ),
    DerivationQuestion(
        "hover_speed", "Why does it turn that fast to hover?", "Each rotor carries its share of the weight.",
        hover_speed_working, "lift", "diameter_in", "rpm thrust coefficient",
    ),
    DerivationQuestion(
        "hover_command", "Why that throttle to hover?",
        "The motor needs volts for its speed and volts for its resistance. Their share of the pack's volts is the duty; "
        "the throttle map turns duty into throttle.",
        hover_command_working, "lift", "kv", "throttle duty hover stick",
    ),
    DerivationQuestion(
        "hover_power", "Where do the watts of a hover go?", "Lift, air losses, heat, electronics.", hover_power_working, "lift",
        "payload_g", "watts current amps efficiency",
    ),
    DerivationQuestion(
        "minutes", "Why not simply capacity over amps?",
        "A pack is energy at a falling voltage, and you land with some of it left.", minutes_working, "minutes",
        "capacity_mah", "mAh flight time endurance",
    ),
    DerivationQuestion("pull", "Why that much thrust?", "Speed squared, diameter to the fourth.", thrust_working, "lift", "kv",
             "thrust to weight punch"),
    DerivationQuestion("full_current", "Why so many amps flat out?", "Torque needs amps; KV sets how many.", full_current_working,
             "margins", "pitch_in", "ESC current"),
    DerivationQuestion("sag", "Why does the voltage fall in a punch?", "Amps through the pack's own resistance.", sag_working, "margins",
             "capacity_mah", "C rating resistance voltage alarm"),
    DerivationQuestion("top", "Why no faster?", "Tilted, it trades lift for speed until drag takes up the thrust.", top_working, "minutes",
             "pitch_in", "top speed pitch speed drag"),
    DerivationQuestion("bucket", "Why does slow flight cost less than a hover?",
             "Moving forward, the discs meet fresh air.", bucket_working, "minutes", "cruise_kmh", "range endurance power curve"),
    DerivationQuestion("heat", "Why is the motor that warm in a hover?", "Heat in, wash cools: it settles.", heat_working, "margins",
             "payload_g", "temperature winding hot motor"),
    DerivationQuestion("seconds", "How long can it be held flat out?", "Copper is light: it heats in seconds.", seconds_working, "margins",
             "pitch_in", "burst winding limit"),
    DerivationQuestion("dive", "Why does a dive cost that much height?",
             "Speed grows while you fall and while you decide; then the spare thrust must turn the path.", dive_working, "dive",
             "payload_g", "pull-out"),
    DerivationQuestion("wash", "Why wobble when coming straight down?", "It sinks into its own wash.", wash_working, "dive",
             "diameter_in", "vortex ring descent prop wash propwash"),
    DerivationQuestion("stall", "What if a propeller is blocked?", "Standing, the motor is only a resistor.", stall_working, "plug_in",
             "kv", "stall grass"),
    DerivationQuestion("inrush", "Why does it spark when plugged in?", "The capacitor fills at once.", inrush_working, "plug_in",
             "cells", "spark capacitor"),
    DerivationQuestion("size", "What does a larger propeller change first?", "More air, moved more slowly.", tilted_ideal_working,
             "choose", "diameter_in", "diameter inch"),
    DerivationQuestion("kv", "Is more KV more power?", "No: it is a gear.", more_kv_working, "choose", "kv", "motor constant winding"),
    DerivationQuestion("cap", "Does a throttle cap make too many cells safe?", "No.", cap_working, "margins", "command_cap_percent",
             "limit output percent over-voltage cells 66 %"),
    DerivationQuestion("spread", "Why a band and not a number?", "Labels do not tell everything.", spread_working, "choose",
             "blade_width_mm", "uncertainty band"),
)  # fmt: skip


def found(words: str) -> list[DerivationQuestion]:
    """Return the questions that match the search words; all questions without a search word.

    Examples
    --------
    >>> [q.key for q in found("spark")]
    ['inrush']
    """
    return holding(words, QUESTIONS, lambda q: f"{q.ask} {q.words} {q.also}")
