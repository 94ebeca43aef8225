"""Glossary of technical terms. Pure functions."""

from __future__ import annotations

from typing import NamedTuple

from explorer.text.search import holding

__all__ = ["TERMS", "Term", "meaning", "terms_with"]


class Term(NamedTuple):
    """One term, its meaning, and other search words for it."""

    word: str
    plain: str
    also: str = ""


TERMS: tuple[Term, ...] = (
    Term("advance ratio", "How far the craft moves along the propeller's axis in one turn, in diameters. At rest it is "
         "0.", "J"),
    Term("all-up mass", "Everything that leaves the ground: frame, motors, pack, camera, straps. Put it on a kitchen "
         "scale as it flies.", "take-off mass AUW weight"),
    Term("back-EMF", "A turning motor makes volts of its own, against those that drive it. What is left over pushes the "
         "current.", "generator voltage"),
    Term("bell", "The outer part of the motor that turns, with the magnets in it.", "can rotor"),
    Term("brownout", "The volts fall so low that radio or flight controller restart in the air.", "reset"),
    Term("bus", "The two wires that all ESC share: the pack's volts, less what its leads lose.", "rail"),
    Term("C rating", "A number on the pack's label: amps it may give, in capacities an hour. A promise of the seller, "
         "not a measurement, and silent about volts.", "discharge rating"),
    Term("cell", "One unit of a pack. A LiPo cell has 4.2 V full, about 3.7 V half way; 6S means six in a row.", "S"),
    Term("chord", "Width of a blade from its leading to its trailing edge.", "blade width"),
    Term("command", "What the flight controller asks of an ESC, from idle to all: the throttle of one motor.",
         "throttle stick"),
    Term("cut-off voltage", "Loaded volts a cell at which you stop. Below it cells are harmed.", "alarm low voltage"),
    Term("disc area", "The circle a propeller sweeps. Larger circles lift with fewer watts.", "rotor"),
    Term("disc loading", "Weight over the area of all circles. Low is thrifty and floats, high is quick and loud.",
         "wing loading"),
    Term("drag area", "The flat plate that the air would hold back as much as it does the craft. In square "
         "centimetres.", "resistance air"),
    Term("duty", "Share of the time that the ESC switches the pack onto the motor. Half duty is half the volts on "
         "average. Half command is a little more than half duty: see throttle map.", "PWM modulation"),
    Term("effective resistance", "Everything between pack and torque that eats volts as amps rise: winding, ESC, leads "
         "and the switching from coil to coil. Two to three times a printed winding, 2.6 on average.", "ohm Rm"),
    Term("ESC", "The speed controller: it switches the pack onto the motor's three wires in turn.", "speed controller"),
    Term("figure of merit", "Least power a hover could take, over what the propeller takes. Good ones reach 0.6 to "
         "0.75.", "FM"),
    Term("grams per watt", "Grams held up for each watt in the hover. Falls as the craft grows heavy on small discs.",
         "g/W efficiency"),
    Term("induced velocity", "Speed of the air that the propeller pushes down through itself.", "downwash"),
    Term("inrush", "The short, very large current that fills the capacitors when you plug in.", "spark"),
    Term("internal resistance", "What a cell loses in volts for each amp. At freezing it is about three times as much, and "
         "it grows with age. It tells more about a pack than its C rating. A charger reads that of a moment; over ten "
         "seconds it is 1.7 times that.",
         "IR mohm"),
    Term("iron loss", "Watts lost by turning magnets past iron, with no load at all. Grows with speed.", "no-load"),
    Term("KV", "Turns a minute that a motor makes for each volt, unloaded. A gear, not a strength. Under load it is "
         "about 2 % less than printed.", "rpm per volt"),
    Term("mAh", "Charge: a thousand of them are one amp for an hour. How long it lasts depends on amps, and you do not "
         "spend all of it.", "capacity milliamp-hour"),
    Term("motor constant", "Torque for the square root of a watt of heat. Grows with the stator; the same for every KV "
         "wound on it.", "Km"),
    Term("pitch", "How far a propeller would screw itself forward in one turn, through butter.", "5.1x4.3"),
    Term("pitch speed", "Pitch times turns: about where the thrust ends in fast flight.", "speed"),
    Term("pull-out", "The turn from diving to level. It takes thrust beyond the weight, and height.", "dive recovery"),
    Term("reserve", "Charge you land with. A fifth is common practice.", "80 % rule"),
    Term("Reynolds number", "How thick air seems to a small or slow blade. Small propellers work in syrup and are worse "
         "for it.", "scale"),
    Term("ripple", "Small fast waves of current from the switching: they warm winding, ESC and capacitor and lift "
         "nothing.", "switching loss"),
    Term("sag", "Volts that the pack loses while you draw amps. They come back when you stop.", "voltage drop"),
    Term("spread", "Where 8 in 10 craft with the same labels land. Labels leave much open.", "band uncertainty"),
    Term("stator", "The inner part of the motor with the coils. 2207 means 22 mm wide and 7 mm tall.", "2207 size"),
    Term("throttle cap", "The most that the command to a motor may reach, set in the firmware. It lowers average volts, "
         "never what a part must bear.", "limit command"),
    Term("throttle map", "How duty follows the command: duty is command to a power, 0.66 to 1.01 on twelve thrust "
         "stands. Without a measurement it is 0.79 to 0.92 and rises with diameter x KV x volts.", "exponent ESC linear"),
    Term("thrust coefficient", "A propeller's thrust, freed of its size, speed and the air: it belongs to its shape.",
         "C_T"),
    Term("thrust to weight", "Thrust of all rotors flat out, over the weight. Below 2 is too little, 4 to 8 is relaxed, "
         "more is quick.", "pull over weight TWR ratio"),
    Term("tip Mach number", "Speed of the blade's tip over the speed of sound. Above 0.4 a propeller takes more power than "
         "a slow one of its shape: 9 % at 0.55, 19 % at 0.62, the fastest measured. Above about 0.7 it is loud too.",
         "noise"),
    Term("torque", "Twist. A motor makes it from amps, a propeller takes it as drag.", "moment"),
    Term("vortex ring", "A rotor sinking into its own wash: the air goes round and round and the thrust fails. Leave "
         "sideways.", "propwash descent"),
    Term("wash", "The air a rotor has pushed down. It cools the motors and shakes what flies into it.", "downwash"),
    Term("Wh", "Energy: mAh times volts. It says more than mAh when packs have different cells.", "watt-hour"),
    Term("winding limit", "Temperature at which the wire's varnish begins to fail; then the motor is gone.",
         "overheat burnt"),
)  # fmt: skip


def meaning(word: str) -> str:
    """Return the meaning of a term; "" for an unknown one.

    Examples
    --------
    >>> meaning("KV").split(",")[0]
    'Turns a minute that a motor makes for each volt'
    """
    return next((t.plain for t in TERMS if t.word.lower() == word.lower()), "")


def terms_with(words: str) -> list[Term]:
    """Return the terms that match the search words; all terms without a search word.

    Examples
    --------
    >>> [t.word for t in terms_with("spark")]
    ['inrush']
    """
    return holding(words, TERMS, lambda t: f"{t.word} {t.plain} {t.also}")
