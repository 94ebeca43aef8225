"""Cursor over the pieces of a text: access to neighbouring pieces, and record of the values read."""

from __future__ import annotations

from collections.abc import Callable

from explorer.inputs import FIELDS, TAKE_OFF, problem, short_text
from explorer.labels import meanings
from explorer.labels.pieces import Piece
from explorer.labels.records import Found, LabelQuestion, LabelReading, Option, Unread, Value
from explorer.text.numbers import lowered

__all__ = ["FILLERS", "MAX_PIECES", "MOST_KV_DIAMETER", "OWNER", "WORDS", "Cursor", "Handler"]

MAX_PIECES = 80
MOST_KV_DIAMETER = 35000.0
"""Upper limit of KV times propeller diameter: usual are 8,000 to 12,000, up to 31,000 on one cell. [rpm/V in]"""

OWNER = {
    "kv": "motor", "kilo_kv": "motor", "stator_kv": "motor", "poles": "motor", "magnets": "motor", "no_load": "motor",
    "dims": "propeller", "across": "propeller", "code_blades": "propeller", "blades": "propeller",
    "blade_word": "propeller", "blade_shape": "propeller",
    "cells": "pack", "mah": "pack", "ah": "pack", "wh": "pack", "c_rate": "pack", "c_burst": "pack",
    "cycles": "pack", "parallel": "pack", "chemistry": "pack", "cell_format": "pack",
    "amps": "esc", "amps_burst": "esc", "four_in_one": "esc",
}  # fmt: skip
WORDS = {
    **dict.fromkeys(("motor", "motors", "moteur", "moteurs", "motore", "motori", "stator", "winding"), "motor"),
    **dict.fromkeys(("lead", "leads", "wire", "wires", "cable", "cables"), "lead"),
    **dict.fromkeys(("thrust", "pull", "lift"), "thrust"),
    **dict.fromkeys(
        (
            "prop",
            "props",
            "propeller",
            "propellers",
            "h\u00e9lice",
            "h\u00e9lices",
            "helice",
            "helices",
            "elica",
            "eliche",
        ),
        "propeller",
    ),
    **dict.fromkeys(
        (
            "pack",
            "packs",
            "battery",
            "batteries",
            "accu",
            "akku",
            "batterie",
            "batteria",
            "bater\u00eda",
            "bateria",
            "cell",
            "cells",
            "ir",
        ),
        "pack",
    ),
    **dict.fromkeys(("batt", "bat"), "pack"),
    **dict.fromkeys(("plug", "plugs", "connector"), "connector"),
    **dict.fromkeys(("esc", "escs", "controller", "controllers"), "esc"),
    **dict.fromkeys(("frame", "wheelbase", "diagonal"), "frame"),
    **dict.fromkeys(
        (
            "take-off",
            "takeoff",
            "auw",
            "tow",
            "mtow",
            "flying",
            "all-up",
            "total",
            "overall",
            "all",
            "craft",
            "build",
            "drone",
        ),
        "all",
    ),
    **dict.fromkeys(("payload", "camera", "cam", "kamera"), "load"),
    **dict.fromkeys(("bec", "ubec", "regulator", "output"), "regulator"),
    **dict.fromkeys(
        ("shaft", "screw", "screws", "bolt", "hole", "holes", "mounting", "hub", "bore", "stack", "holes"), "fitting"
    ),
}
MASSES = ("grams", "kilograms", "pounds", "ounces")
FILLERS = {
    "mass", "weight", "weighs", "per", "of", "is", "gewicht", "abfluggewicht", "abflugmasse", "startgewicht",
    "masse", "poids", "peso",
}  # fmt: skip
"""Words that may be between a part and its mass."""
_WITH = {"with", "incl", "including", "inkl", "mit", "avec", "con"}


class Cursor:
    """Cursor that visits the pieces once, from left to right, and stores the values read so far."""

    def __init__(self, pieces: list[Piece], better: Callable[[str], str | None] = lambda text: None) -> None:
        self.better = better
        self.dropped = len(pieces) - MAX_PIECES
        self.pieces = pieces[:MAX_PIECES]
        self.found: dict[str, Found] = {}
        self.questions: list[LabelQuestion] = []
        self.unread: list[Unread] = []
        self.left_out: list[str] = []
        self.stators = self._stators_beside_kv()
        self.kv_entered = next((self._kv(piece) for piece in self.pieces if "kv" in piece.kind), 0.0)
        self.beside_cells = self._capacities_beside_cells()
        self.stator_known = bool(self.stators) or self.any("stator_kv")
        self.owners: dict[int, set[str]] = {}
        for piece in self.pieces:
            owner = OWNER.get(piece.kind) or WORDS.get(piece.mark if piece.kind == "word" else "")
            if owner:
                self.owners.setdefault(piece.segment, set()).add(owner)
        self.four_in_one: str | None = None
        self.watt_hours: tuple[float, str] | None = None
        self.volts: list[tuple[float, str]] = []
        self.masses: list[tuple[int, Piece, float]] = []
        self.lengths: list[tuple[int, Piece, float]] = []
        self.packs = 1
        self.inches: list[tuple[int, Piece, float]] = []
        self.coaxial: str | None = None
        self.assumed: list[str] = []
        self.last = ""

    def near(self, index: int, step: int) -> Piece | None:
        """Return the neighbour in the same segment, skipping words."""
        here = self.pieces[index].segment
        index += step
        while 0 <= index < len(self.pieces) and self.pieces[index].segment == here:
            if self.pieces[index].kind not in (
                "word",
                "quantity",
                "connector",
                "plug",
                "price",
                "dry",
                "other",
                "cell_code",
            ):
                return self.pieces[index]
            index += step
        return None

    def kind(self, index: int, step: int) -> str:
        piece = self.near(index, step)
        return "" if piece is None else piece.kind

    def _stators_beside_kv(self) -> set[int]:
        """Codes next to a KV; of two codes, the one that cannot be a propeller, else the one before the KV."""
        found = set()
        for index, piece in enumerate(self.pieces):
            if piece.kind not in ("kv", "kilo_kv"):
                continue
            beside = [self.near(index, step) for step in (-1, 1)]
            codes = [
                p for p in beside if p and p.kind == "code" and not p.mark and meanings.stator_of_code(p.number(0))
            ]
            sure = [p for p in codes if not meanings.propeller_of_code(p.number(0), also_a_motor=True)]
            for chosen in (sure or codes)[:1]:
                found.add(next(i for i, p in enumerate(self.pieces) if p is chosen))
        return found

    @staticmethod
    def _kv(piece: Piece) -> float:
        value = piece.numbers[1] if piece.kind == "stator_kv" else piece.numbers[0]
        return float(value or 0.0) * (1000.0 if piece.kind == "kilo_kv" else 1.0)

    def _capacities_beside_cells(self) -> set[int]:
        """Bare numbers directly after the cells or the chemistry of a pack that can be its capacity."""
        return {
            index
            for index, piece in enumerate(self.pieces)
            if piece.kind in ("code", "number")
            and self.kind(index, -1) in ("cells", "chemistry")
            and meanings.bare_capacity(float(piece.numbers[0] or 0.0))
        }

    def any(self, *kinds: str) -> bool:
        return any(piece.kind in kinds for piece in self.pieces)

    def names(self, segment: int, owner: str) -> bool:
        return any(p.segment == segment and p.kind == "word" and WORDS.get(p.mark) == owner for p in self.pieces)

    def kind_before(self, index: int) -> str:
        """Kind of the preceding piece in the same segment."""
        before = self.pieces[index - 1] if index else None
        return before.kind if before is not None and before.segment == self.pieces[index].segment else ""

    def count_in(self, segment: int, kind: str) -> int:
        return sum(piece.segment == segment and piece.kind == kind for piece in self.pieces)

    def any_word(self, *words: str) -> bool:
        return any(piece.kind == "word" and piece.mark in words for piece in self.pieces)

    def beside(self, index: int, kind: str) -> bool:
        """Return True if a piece of this kind is directly before or after, apart from one filler word."""
        for step in (-1, 1):
            other = index + step
            if 0 <= other < len(self.pieces) and self.pieces[other].mark in FILLERS:
                other += step
            if 0 <= other < len(self.pieces) and self.pieces[other].kind == kind:
                return True
        return False

    def next_word(self, index: int, step: int, *, skip: bool = False) -> str:
        """Word directly before or after a piece in its segment, else empty; ``skip`` allows one filler word."""
        other = index + step
        if skip and 0 <= other < len(self.pieces) and self.pieces[other].mark in FILLERS:
            other += step
        if 0 <= other < len(self.pieces) and self.pieces[other].segment == self.pieces[index].segment:
            return self.pieces[other].mark if self.pieces[other].kind == "word" else ""
        return ""

    def word_before(self, index: int) -> str:
        """Part named by the word directly before or after a piece."""
        behind = WORDS.get(self.next_word(index, 1)) in ("all", "thrust") and self.pieces[index].kind in MASSES
        for step in (1,) if behind else (-1, 1):
            other = index + step
            if 0 <= other < len(self.pieces) and self.pieces[other].mark in FILLERS:
                other += step
            if 0 <= other < len(self.pieces) and self.pieces[other].segment == self.pieces[index].segment:
                owner = WORDS.get(self.pieces[other].mark) if self.pieces[other].kind == "word" else None
                if owner and not (step == 1 and self._leads_a_mass(index, other)):
                    return owner
        return ""

    def carried(self, index: int, part: str = "load") -> bool:
        """Whether a mass stands behind a part that a larger thing flies with: with camera 900 g."""
        other = index - 1
        if other >= 0 and self.pieces[other].mark in FILLERS:
            other -= 1
        return other >= 1 and WORDS.get(self.pieces[other].mark) == part and self.pieces[other - 1].mark in _WITH

    def _leads_a_mass(self, index: int, word: int) -> bool:
        """Return True if the word after a mass belongs to the next mass, as in "1100g camera 150g"."""
        masses = [i for i, p in enumerate(self.pieces) if p.kind in MASSES]
        if (
            index not in masses
            or word + 1 not in masses
            or self.pieces[word].segment != self.pieces[masses[-1]].segment
        ):
            return False
        last = masses[-1] + 1
        return last >= len(self.pieces) or self.pieces[last].kind != "word"

    def add(self, source: str, *values: tuple[str, Value], note: str = "") -> None:
        for field, value in values:
            wrong = problem(TAKE_OFF if field == "take_off_g" else FIELDS[field], value)
            if wrong:
                self.unread.append(Unread(source, f'I read "{short_text(source)}", but {lowered(wrong)}'))
                continue
            if field == "chemistry" and field in self.found and self.found[field].note.startswith("from"):
                del self.found[field]
            before = self.found.get(field)
            if before is None:
                self.found[field] = Found(field, value, source, note)
            elif before.value != value:
                del self.found[field]
                label, unit = FIELDS[field].label, FIELDS[field].unit
                pair = [f"{before.value} {unit}".strip(), f"{value} {unit}".strip()]
                options = tuple(
                    Option(f"{pair[i]} ({short_text(text)})", ((field, v),))
                    for i, (v, text) in enumerate(((before.value, before.source), (value, source)))
                )
                self.questions.append(LabelQuestion(source, f"{label}: {pair[0]} or {pair[1]}?", options))

    def assume(self, source: str, sentence: str, *values: tuple[str, Value]) -> None:
        """Add customary values that the text does not state, with a sentence that says so."""
        self.add(source, *values, note="assumed")
        if all(field in self.found for field, _ in values):
            self.assumed.append(sentence)

    def asked(self) -> set[str]:
        """Fields with an open question."""
        return {field for question in self.questions for option in question.options for field, _ in option.values}

    def ask(self, source: str, sentence: str, *options: Option) -> None:
        """Add a question with several meanings; values common to all of them are read immediately."""
        good = [o for o in options if not any(self._wrong(field, value) for field, value in o.values)]
        if len(good) == 1:
            self.add(source, *good[0].values)
        elif not good:
            self.cannot(source)
        else:
            shared = set(good[0].values).intersection(*(o.values for o in good[1:]))
            self.add(source, *(pair for pair in good[0].values if pair in shared))
            self.questions.append(LabelQuestion(source, sentence, tuple(good)))

    @staticmethod
    def _wrong(field: str, value: Value) -> bool:
        return bool(problem(TAKE_OFF if field == "take_off_g" else FIELDS[field], value))

    def cannot(self, source: str) -> None:
        better = self.better(source)
        end = f": did you mean {short_text(better)}?" if better else "."
        # signs that never leave as they came have no text of their own
        what = f'"{short_text(source)}"' if short_text(source) else "one of the signs"
        self.unread.append(Unread(source, f"I could not read {what}{end}", better))

    def reading(self) -> LabelReading:
        return LabelReading(
            tuple(self.found.values()),
            tuple(self.questions),
            tuple(self.unread),
            tuple(dict.fromkeys(self.left_out)),
            tuple(dict.fromkeys(self.assumed)),
        )


Handler = Callable[[Cursor, int, Piece], None]
