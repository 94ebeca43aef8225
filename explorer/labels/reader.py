"""Read the labels on parts: motor, propeller, pack and ESC in any order, in one text field.

Every piece ends in one of four places: read, asked about (two meanings are never decided silently), not read
(with a suggestion), or left out (words that carry no number). What all meanings of a question share is read.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from explorer.inputs import CHEMISTRY_NAMES, FIELDS, TAKE_OFF, problem, typed
from explorer.labels import meanings
from explorer.labels.pieces import MAX_LENGTH, Piece, pieces_of, suggestions
from explorer.text.numbers import lowered
from propmodel.components.battery import CHEMISTRIES

__all__ = ["Found", "Option", "Question", "Reading", "Unread", "Value", "answered", "read_labels"]

Value = float | int | str | bool
Values = tuple[tuple[str, Value], ...]

MAX_PIECES = 80


@dataclass(frozen=True)
class Found:
    """One field that was read: its name in `explorer.inputs.Inputs`, its value, the text it came from."""

    field: str
    value: Value
    source: str
    note: str = ""


@dataclass(frozen=True)
class Option:
    """One meaning, in words and as field values; no values means "leave as it is"."""

    text: str
    values: Values


@dataclass(frozen=True)
class Question:
    """A piece with two meanings or more. ``assumed`` is the option in use until it is answered, if any."""

    source: str
    sentence: str
    options: tuple[Option, ...]
    assumed: int | None = None


@dataclass(frozen=True)
class Unread:
    """A piece that makes no sense here, and what may have been meant."""

    source: str
    sentence: str
    suggestion: str | None = None


@dataclass(frozen=True)
class Reading:
    """What was read from a text.

    Parameters
    ----------
    found : tuple of Found
        One for each field.
    questions : tuple of Question
        To be answered by a choice each (see `answered`).
    unread : tuple of Unread
    left_out : tuple of str
        Words and sizes that no field takes.
    """

    found: tuple[Found, ...] = ()
    questions: tuple[Question, ...] = ()
    unread: tuple[Unread, ...] = ()
    left_out: tuple[str, ...] = ()

    @property
    def values(self) -> dict[str, Value]:
        """Field values, ready for `explorer.inputs.apply`."""
        return {found.field: found.value for found in self.found}

    @property
    def sentence(self) -> str:
        """One plain sentence.

        Examples
        --------
        >>> read_labels("2207 1950KV, 5.1x4.3x3, 6S 1300").sentence
        'I read this as: motor 2207 (22 mm wide, 7 mm tall), 1950 KV; propeller 5.1 x 4.3 in, 3 blades; \
pack 6 cells, 1300 mAh.'
        """
        return _sentence(self)


def answered(reading: Reading, answers: Mapping[int, int]) -> dict[str, Value]:
    """Field values with the questions answered.

    Parameters
    ----------
    reading : Reading
    answers : mapping
        Number of a question to number of the chosen option; others are left out.

    Returns
    -------
    dict
        For `explorer.inputs.apply`.

    Examples
    --------
    >>> answered(read_labels("51433"), {0: 0})
    {'diameter_in': 5.1, 'pitch_in': 4.3, 'blades': 3}
    """
    values = reading.values
    for number, choice in answers.items():
        if 0 <= number < len(reading.questions) and 0 <= choice < len(reading.questions[number].options):
            values.update(reading.questions[number].options[choice].values)
    return values


def read_labels(text: str) -> Reading:
    """Read the labels of motor, propeller, pack and ESC, in any order.

    Parameters
    ----------
    text : str
        Labels with commas, spaces or line ends between them; cut at `MAX_LENGTH` characters.

    Returns
    -------
    Reading

    Examples
    --------
    >>> read_labels("2207-1950").values
    {'stator_d_mm': 22.0, 'stator_h_mm': 7.0, 'kv': 1950.0}
    >>> read_labels("22o7").unread[0].sentence
    'I could not read "22o7": did you mean 2207?'
    """
    text = str(text)
    reader = _Reader(pieces_of(text, _accept))
    reader.run()
    if len(text) > MAX_LENGTH:
        end = typed(text[MAX_LENGTH:])
        sentence = f"I read the first {MAX_LENGTH} characters only; the rest was left out."
        reader.unread.append(Unread(end, sentence))
    return reader.reading()


def _accept(piece: Piece) -> bool:
    """Whether a pattern that fits also makes sense; if not, the scanner tries the next one."""
    n = piece.numbers
    if piece.kind == "stator_kv":
        return meanings.stator_of_code(n[0]) is not None and 100 <= n[1] <= 30000
    if piece.kind == "code_blades":
        return bool(meanings.propeller_of_code(n[0]))
    if piece.kind == "poles":
        return n[1] % 2 == 0 and n[1] >= 4
    return True


_OWNER = {
    "kv": "motor", "stator_kv": "motor", "poles": "motor", "no_load": "motor",
    "dims": "propeller", "code_blades": "propeller", "blades": "propeller", "blade_word": "propeller",
    "blade_shape": "propeller",
    "cells": "pack", "mah": "pack", "ah": "pack", "wh": "pack", "c_rate": "pack", "c_burst": "pack",
    "parallel": "pack", "chemistry": "pack", "cell_format": "pack",
    "amps": "esc", "amps_burst": "esc", "four_in_one": "esc",
}  # fmt: skip
_WORDS = {
    **dict.fromkeys(("motor", "motors", "stator"), "motor"),
    **dict.fromkeys(("prop", "props", "propeller", "propellers"), "propeller"),
    **dict.fromkeys(("pack", "packs", "battery", "batteries", "accu", "akku"), "pack"),
    **dict.fromkeys(("esc", "escs", "controller", "controllers"), "esc"),
    **dict.fromkeys(("frame", "wheelbase", "diagonal"), "frame"),
    **dict.fromkeys(("take-off", "takeoff", "auw", "all-up", "total", "overall"), "all"),
    **dict.fromkeys(("payload", "camera"), "load"),
    **dict.fromkeys(("bec", "ubec", "regulator", "output"), "regulator"),
    **dict.fromkeys(("shaft", "screw", "screws", "bolt", "hole", "holes", "mounting", "hub", "bore"), "fitting"),
}
_FILLERS = {"mass", "weight", "weighs"}
"""Words between a part and its grams."""
_BLADES = {"two": 2, "twin": 2, "bi": 2, "three": 3, "tri": 3, "four": 4, "quad": 4, "five": 5, "six": 6}
_CRAFT = {"tri": (3, False), "qua": (4, False), "hex": (6, False), "oct": (8, False), "y6": (6, True)}


_SHAPES = {
    **dict.fromkeys(("narrow", "slim", "thin"), "slim"),
    **dict.fromkeys(("medium", "middle"), "middle"),
    **dict.fromkeys(("broad", "wide"), "broad"),
}
_SLOW_FLIGHT = "propellers for slow flight have broad blades"
"""The two measured families of them have chord ratios of 0.197 to 0.206: data/propellers/SOURCE.md."""


def _slow_flight(piece: Piece) -> bool:
    return "slow" in piece.mark or "sf" in piece.mark.split()


def _g(number: float) -> str:
    return f"{number:g}" if number < 1e5 else f"{number:.0f}"


def _size(size: meanings.Size) -> str:
    blades = "blades not on the label" if size[2] is None else f"{size[2]} blades"
    return f"propeller {_g(size[0])} x {_g(size[1])} in, {blades}"


def _size_values(size: meanings.Size) -> Values:
    values: Values = (("diameter_in", size[0]), ("pitch_in", size[1]))
    return values if size[2] is None else (*values, ("blades", size[2]))


def _can_be_read(text: str) -> bool:
    reader = _Reader(pieces_of(text, _accept), suggest=False)
    reader.run()
    return not reader.unread and bool(reader.found or reader.questions)


def _with_blades(sizes: list[meanings.Size]) -> list[meanings.Size]:
    """Sizes with the blade count spelt out, so that one answer settles all of it."""
    counts = [(d, p, [blades] if blades else [3, 2] if d < 7 else [2, 3]) for d, p, blades in sizes]
    return [(d, p, blades) for d, p, many in counts for blades in many]


class _Reader:
    """Walks the pieces once, left to right; holds what has been read so far."""

    def __init__(self, pieces: list[Piece], *, suggest: bool = True) -> None:
        self.suggest = suggest
        self.dropped = len(pieces) - MAX_PIECES
        self.pieces = pieces[:MAX_PIECES]
        self.found: dict[str, Found] = {}
        self.questions: list[Question] = []
        self.unread: list[Unread] = []
        self.left_out: list[str] = []
        self.stators = self._stators_beside_kv()
        self.stator_known = bool(self.stators) or self._any("stator_kv")
        self.owners: dict[int, set[str]] = {}
        for piece in self.pieces:
            owner = _OWNER.get(piece.kind) or _WORDS.get(piece.mark if piece.kind == "word" else "")
            if owner:
                self.owners.setdefault(piece.segment, set()).add(owner)
        self.four_in_one: str | None = None
        self.watt_hours: tuple[float, str] | None = None
        self.volts: list[tuple[float, str]] = []
        self.last = ""

    # --- looking around

    def _near(self, index: int, step: int) -> Piece | None:
        """Neighbour in the same segment, words skipped."""
        here = self.pieces[index].segment
        index += step
        while 0 <= index < len(self.pieces) and self.pieces[index].segment == here:
            if self.pieces[index].kind not in ("word", "quantity"):
                return self.pieces[index]
            index += step
        return None

    def _kind(self, index: int, step: int) -> str:
        piece = self._near(index, step)
        return "" if piece is None else piece.kind

    def _stators_beside_kv(self) -> set[int]:
        """Codes that stand beside a KV; of two, the one that cannot be a propeller, else the one before."""
        found = set()
        for index, piece in enumerate(self.pieces):
            if piece.kind != "kv":
                continue
            beside = [self._near(index, step) for step in (-1, 1)]
            codes = [
                p for p in beside if p and p.kind == "code" and not p.mark and meanings.stator_of_code(p.numbers[0])
            ]
            sure = [p for p in codes if not meanings.propeller_of_code(p.numbers[0], also_a_motor=True)]
            for chosen in (sure or codes)[:1]:
                found.add(next(i for i, p in enumerate(self.pieces) if p is chosen))
        return found

    def _any(self, *kinds: str) -> bool:
        return any(piece.kind in kinds for piece in self.pieces)

    def _word_before(self, index: int) -> str:
        """Part named by the word just before or just after a piece."""
        for step in (-1, 1):
            other = index + step
            if 0 <= other < len(self.pieces) and self.pieces[other].mark in _FILLERS:
                other += step
            if 0 <= other < len(self.pieces) and self.pieces[other].segment == self.pieces[index].segment:
                owner = _WORDS.get(self.pieces[other].mark) if self.pieces[other].kind == "word" else None
                if owner:
                    return owner
        return ""

    # --- taking things down

    def add(self, source: str, *values: tuple[str, Value], note: str = "") -> None:
        for field, value in values:
            wrong = problem(TAKE_OFF if field == "take_off_g" else FIELDS[field], value)
            if wrong:
                self.unread.append(Unread(source, f'I read "{typed(source)}", but {lowered(wrong)}'))
                continue
            if field == "chemistry" and field in self.found and self.found[field].note.startswith("from"):
                del self.found[field]
            before = self.found.get(field)
            if before is None:
                self.found[field] = Found(field, value, source, note)
            elif before.value != value:
                del self.found[field]
                label, unit = FIELDS[field].label, FIELDS[field].unit
                shown = [f"{before.value} {unit}".strip(), f"{value} {unit}".strip()]
                options = tuple(
                    Option(f"{shown[i]} ({typed(text)})", ((field, v),))
                    for i, (v, text) in enumerate(((before.value, before.source), (value, source)))
                )
                self.questions.append(Question(source, f"{label}: {shown[0]} or {shown[1]}?", options))

    def ask(self, source: str, sentence: str, *options: Option) -> None:
        """Ask between meanings; what all of them share is read at once."""
        good = [o for o in options if not any(self._wrong(field, value) for field, value in o.values)]
        if len(good) == 1:
            self.add(source, *good[0].values)
        elif not good:
            self.cannot(source)
        else:
            shared = set(good[0].values).intersection(*(o.values for o in good[1:]))
            self.add(source, *(pair for pair in good[0].values if pair in shared))
            self.questions.append(Question(source, sentence, tuple(good)))

    @staticmethod
    def _wrong(field: str, value: Value) -> bool:
        return bool(problem(TAKE_OFF if field == "take_off_g" else FIELDS[field], value))

    def cannot(self, source: str) -> None:
        better = next(filter(_can_be_read, suggestions(source, _accept)), None) if self.suggest else None
        end = f": did you mean {typed(better)}?" if better else "."
        # signs that never leave as they came have no text of their own
        what = f'"{typed(source)}"' if typed(source) else "one of the signs"
        self.unread.append(Unread(source, f"I could not read {what}{end}", better))

    # --- one piece after the other

    def run(self) -> None:
        for index, piece in enumerate(self.pieces):
            handler = getattr(self, f"_read_{piece.kind}", None)
            if handler is None:
                self.left_out.append(piece.text)
            else:
                handler(index, piece)
            owner = _OWNER.get(piece.kind)
            if owner:
                self.last = owner
        self._finish()

    def _read_junk(self, index: int, piece: Piece) -> None:
        self.cannot(piece.text)

    def _read_word(self, index: int, piece: Piece) -> None:
        if piece.mark in ("bullnose", "bn"):
            self.add(piece.text, ("blade_width", "broad"), note="blunt, broad tips")
        elif piece.mark not in _WORDS and piece.mark not in _FILLERS:
            self.left_out.append(piece.text)

    def _read_poles(self, index: int, piece: Piece) -> None:
        self.add(piece.text, ("pole_pairs", int(piece.numbers[1]) // 2))

    def _read_four_in_one(self, index: int, piece: Piece) -> None:
        self.four_in_one = piece.text

    def _read_kv(self, index: int, piece: Piece) -> None:
        self.add(piece.text, ("kv", piece.numbers[0]))

    def _stator(self, code: float, text: str) -> None:
        size = meanings.stator_of_code(code)
        assert size is not None
        self.add(text, ("stator_d_mm", size[0]), ("stator_h_mm", size[1]))
        self.stator_known = True
        self.last = "stator"

    def _read_stator_kv(self, index: int, piece: Piece) -> None:
        self._stator(piece.numbers[0], piece.text)
        self.add(piece.text, ("kv", piece.numbers[1]))

    def _read_cell_format(self, index: int, piece: Piece) -> None:
        self.add(piece.text, ("chemistry", "li_ion"), note="a cylindrical cell size")

    def _nose(self, piece: Piece) -> None:
        if "bn" in piece.mark.split() or "nose" in piece.mark:
            self.add(piece.text, ("blade_width", "broad"), note="bull nose: blunt, broad tips")
        elif _slow_flight(piece):
            self.add(piece.text, ("blade_width", "broad"), note=_SLOW_FLIGHT)

    def _read_blade_shape(self, index: int, piece: Piece) -> None:
        if _slow_flight(piece):
            self.add(piece.text, ("blade_width", "broad"), note=_SLOW_FLIGHT)
        else:
            self.add(piece.text, ("blade_width", _SHAPES[piece.mark]), note="by the word alone: a ruler tells better")

    def _read_code_blades(self, index: int, piece: Piece) -> None:
        sizes = [(d, p, int(piece.numbers[1])) for d, p, _ in meanings.propeller_of_code(piece.numbers[0])]
        self._propeller(piece.text, sizes)

    def _propeller(self, source: str, sizes: list[meanings.Size]) -> None:
        options = [Option(_size(size), _size_values(size)) for size in sizes]
        self.ask(source, f'"{typed(source)}" can be read in {len(options)} ways. Which propeller is it?', *options)
        self.last = "propeller"

    def _read_dims(self, index: int, piece: Piece) -> None:
        first, second, third = piece.numbers
        stator = Option(
            f"motor {_g(first)} mm wide, {_g(second)} mm tall",
            (("stator_d_mm", first), ("stator_h_mm", second)),
        )
        if "mm" in piece.mark:
            is_stator, is_propeller = meanings.metric_size(first, second)
            size = (round(first / 25.4, 2), round(second / 25.4, 2), None if third is None else int(third))
            options = [stator] if is_stator and third is None else []
            options += [Option(_size(size), _size_values(size))] if is_propeller else []
            if first == second and third is None and first <= 35:
                self.left_out.append(piece.text)
            else:
                self.ask(piece.text, f'Is "{typed(piece.text)}" a propeller or a motor?', *options)
            return
        if first == second and first >= 12 and third is None:
            self.left_out.append(piece.text)  # a hole pattern
            return
        found = meanings.propeller_of_size(first, second, third)
        options = [] if found is None else [Option(_size(found), _size_values(found))]
        beside = "kv" in (self._kind(index, -1), self._kind(index, 1)) or found is None
        whole = third is None and first == int(first) and "in" not in piece.mark and '"' not in piece.mark
        if beside and whole and not self.stator_known and meanings.stator_of_code(first * 100 + second):
            options.append(stator)
        self.ask(piece.text, f'Is "{typed(piece.text)}" a propeller or a motor?', *options)
        self._nose(piece)

    def _read_code(self, index: int, piece: Piece) -> None:
        """Four or five digits, or a bare number: a motor, a propeller, a KV or a capacity."""
        number = piece.numbers[0]
        source = piece.text
        stator = meanings.stator_of_code(number) if number < 10000 and piece.kind == "code" else None
        sizes = meanings.propeller_of_code(number, also_a_motor=stator is not None) if piece.kind == "code" else []
        kv, capacity = meanings.bare_kv(number), meanings.bare_capacity(number)
        before, after = self._kind(index, -1), self._kind(index, 1)
        named = self._word_before(index)
        if {before, after} & {"blades", "blade_word"} and named != "motor":
            named = "propeller"
        if "bn" in piece.mark or "nose" in piece.mark or _slow_flight(piece) or named == "propeller":
            stator, kv, capacity = None, False, False
            sizes = meanings.propeller_of_code(number)
        elif named == "motor":
            sizes, capacity = [], False
        elif named == "pack":
            stator, sizes, kv = None, [], False
        beside_pack = before in ("cells", "chemistry", "volts", "parallel") or after in (
            "c_rate",
            "cells",
            "volts",
        )
        if index in self.stators:
            self._stator(number, source)
            return
        if self.last == "stator" and before == "code" and kv and not self._any("kv", "stator_kv"):
            stator, capacity = None, False
        elif beside_pack and capacity and not self._any("mah", "ah"):
            stator, kv = None, False
        else:
            # a bare KV or capacity far from its part counts only as a round figure, and once
            other = bool(stator or sizes)
            kv = kv and not self._any("kv", "stator_kv") and "kv" not in self.found
            capacity = capacity and not self._any("mah", "ah") and "capacity_mah" not in self.found
            if other and number % 50:
                kv = capacity = False
            if stator and self.stator_known and (sizes or kv or capacity):
                stator = None
            if sizes and self._any("dims", "code_blades") and (stator or kv or capacity):
                sizes = []
        options = []
        if stator:
            text = f"motor {source} ({_g(stator[0])} mm wide, {_g(stator[1])} mm tall)"
            options.append(Option(text, (("stator_d_mm", stator[0]), ("stator_h_mm", stator[1]))))
        alone = len(sizes) == 1 and not (options or kv or capacity)
        sizes = sizes if alone or self._any("blades", "blade_word") else _with_blades(sizes)
        options += [Option(_size(size), _size_values(size)) for size in sizes]
        options += [Option(f"{_g(number)} KV", (("kv", number),))] if kv else []
        options += [Option(f"{_g(number)} mAh", (("capacity_mah", number),))] if capacity else []
        if len(options) == 1 and stator:
            self._stator(number, source)
        else:
            self.ask(source, f'"{typed(source)}" can be read in {len(options)} ways. Which is it?', *options)
        self._nose(piece)

    _read_number = _read_code

    def _read_blades(self, index: int, piece: Piece) -> None:
        self.add(piece.text, ("blades", int(piece.numbers[0])))

    def _read_blade_word(self, index: int, piece: Piece) -> None:
        self.add(piece.text, ("blades", _BLADES[piece.mark]))

    def _read_quantity(self, index: int, piece: Piece) -> None:
        count = int(piece.numbers[0])
        if self._kind(index, 1) == "cells" and 2 <= count <= 4 and "parallel" not in self.found:
            self.ask(
                piece.text,
                f"{count} packs side by side at once, or one in the craft and the others spare?",
                Option(f"{count} in parallel", (("parallel", count),)),
                Option("one at a time", (("parallel", 1),)),
            )
        else:
            self.left_out.append(piece.text)

    # --- pack

    def _read_cells(self, index: int, piece: Piece) -> None:
        count = int(piece.numbers[0])
        pack = Option(f"pack of {count} cells", (("cells", count),))
        if len(piece.numbers) > 1 and piece.numbers[1]:
            self.add(piece.text, *pack.values, ("parallel", int(piece.numbers[1])))
            return
        before, after = self._kind(index, -1), self._kind(index, 1)
        packish = {"mah", "ah", "wh", "c_rate", "c_burst", "volts", "code", "number", "parallel", "chemistry"}
        follows = {"mah", "ah", "wh", "c_rate", "c_burst", "volts", "chemistry", "parallel", "cell_format"}
        if after in packish or before in follows or self._word_before(index) == "pack":
            self.add(piece.text, *pack.values)
            return
        elsewhere = sum(p.kind in ("cells", "volts") for p in self.pieces) > 1
        owner = _OWNER.get(before, "")
        motor = Option(f"motor made for up to {count} cells", (("motor_max_cells", count),))
        esc = Option(f"ESC made for up to {count} cells", (("esc_max_cells", count),))
        part = None
        if owner == "esc" or self._word_before(index) == "esc" or (not before and after == "amps"):
            part = esc
        elif owner == "motor" or (self.last == "stator" and before == "code"):
            part = motor
        if part is None:
            self.add(piece.text, *pack.values)
        elif elsewhere:
            self.add(piece.text, *part.values)
        else:
            self.ask(piece.text, f'Is "{typed(piece.text)}" your pack, or what the part may take?', pack, part)

    def _read_cell_range(self, index: int, piece: Piece) -> None:
        low, high = sorted(int(n) for n in piece.numbers)
        esc = Option(f"ESC, {low} to {high} cells", (("esc_min_cells", low), ("esc_max_cells", high)))
        motor = Option(f"motor, up to {high} cells", (("motor_max_cells", high),))
        owners = self.owners.get(piece.segment, set())
        before = _OWNER.get(self._kind(index, -1), "")
        if "esc" in owners and (before != "motor" or "motor" not in owners):
            self.add(piece.text, *esc.values)
        elif before == "motor" or "motor" in owners or self.last == "stator":
            self.add(piece.text, *motor.values)
        else:
            self.ask(piece.text, f'Which part takes "{typed(piece.text)}"?', esc, motor)

    def _read_cell_max(self, index: int, piece: Piece) -> None:
        high = int(piece.numbers[0])
        owners = self.owners.get(piece.segment, set())
        esc = Option(f"ESC, up to {high} cells", (("esc_max_cells", high),))
        motor = Option(f"motor, up to {high} cells", (("motor_max_cells", high),))
        options = [esc] if "esc" in owners else [motor] if "motor" in owners else [esc, motor]
        self.ask(piece.text, f'Which part takes "{typed(piece.text)}"?', *options)

    def _read_parallel(self, index: int, piece: Piece) -> None:
        self.add(piece.text, ("parallel", int(piece.numbers[0])))

    def _read_mah(self, index: int, piece: Piece) -> None:
        self.add(piece.text, ("capacity_mah", piece.numbers[0]))

    def _read_ah(self, index: int, piece: Piece) -> None:
        self.add(piece.text, ("capacity_mah", round(piece.numbers[0] * 1000.0, 3)))

    def _read_wh(self, index: int, piece: Piece) -> None:
        self.watt_hours = (piece.numbers[0], piece.text)

    def _read_c_rate(self, index: int, piece: Piece) -> None:
        rates = sorted(n for n in piece.numbers if n is not None)
        self.add(piece.text, ("pack_label_c", rates[0]))
        if len(rates) > 1 and rates[1] > rates[0]:
            self.add(piece.text, ("pack_burst_c", rates[1]))

    def _read_c_burst(self, index: int, piece: Piece) -> None:
        self.add(piece.text, ("pack_burst_c", piece.numbers[0]))

    def _read_chemistry(self, index: int, piece: Piece) -> None:
        name = "lipo_hv" if "h" in piece.mark else "li_ion" if "ion" in piece.mark else "lipo"
        self.add(piece.text, ("chemistry", name))

    def _read_volts(self, index: int, piece: Piece) -> None:
        volts = piece.numbers[0]
        if "regulator" in self.owners.get(piece.segment, set()):
            self.left_out.append(piece.text)
        elif "capacitor" in (self._kind(index, -1), self._kind(index, 1)) and "capacitor_v" not in self.found:
            self.add(piece.text, ("capacitor_v", volts))
        else:
            self.volts.append((volts, piece.text))

    def _read_volt_range(self, index: int, piece: Piece) -> None:
        high = math.floor(max(n for n in piece.numbers if n is not None) / 4.2 + 0.01)
        owners = self.owners.get(piece.segment, set())
        if "esc" in owners and high >= 1:
            self.add(piece.text, ("esc_max_cells", high), note="full cells of 4.2 V")
        else:
            self.left_out.append(piece.text)

    # --- ESC, wires, the rest

    def _read_amps(self, index: int, piece: Piece) -> None:
        amps = [n for n in piece.numbers if n is not None]
        owners = self.owners.get(piece.segment, set())
        if "regulator" in owners and amps[0] <= 10:
            self.left_out.append(piece.text)
            return
        values: Values = (("esc_a", amps[0]),)
        if len(amps) > 1 and amps[1] > amps[0]:
            values = (*values, ("esc_burst_a", amps[1]))
        named = self._word_before(index)
        said = named == "esc" or self._any("four_in_one") or self._kind(index, 1) == "cell_range"
        said = said or self._names(piece.segment, "esc") or len(amps) > 1
        before = _OWNER.get(self._kind(index, -1), "motor" if self.last == "stator" else "")
        motor = Option(f"motor, up to {_g(amps[0])} A", (("motor_max_a", amps[0]),))
        esc = Option(f"ESC, {_g(amps[0])} A for each motor", values)
        follows = self.pieces[index + 1].mark if index + 1 < len(self.pieces) else ""
        other = any(
            p.kind == "amps" and i != index and self._names(p.segment, "esc") for i, p in enumerate(self.pieces)
        )
        if named == "motor" or (before == "motor" and not said and (other or follows in ("max", "peak"))):
            self.add(piece.text, *motor.values)
        elif before == "motor" and not said:
            self.ask(piece.text, f'Is "{typed(piece.text)}" the ESC or the motor\'s limit?', esc, motor)
        elif before == "pack" and not said and "capacity_mah" in self.found:
            rate = round(amps[0] / float(self.found["capacity_mah"].value) * 1000.0, 2)
            pack = Option(f"pack, {_g(amps[0])} A for good ({_g(rate)}C)", (("pack_label_c", rate),))
            self.ask(piece.text, f'Is "{typed(piece.text)}" the ESC or what the pack may give?', esc, pack)
        else:
            self.add(piece.text, *values)

    def _names(self, segment: int, owner: str) -> bool:
        return any(p.segment == segment and p.kind == "word" and _WORDS.get(p.mark) == owner for p in self.pieces)

    def _read_amps_burst(self, index: int, piece: Piece) -> None:
        owner = _OWNER.get(self._kind(index, -1), "")
        field = "motor_max_a" if owner == "motor" and "esc" not in (self._word_before(index),) else "esc_burst_a"
        self.add(piece.text, (field, piece.numbers[0]))

    def _read_no_load(self, index: int, piece: Piece) -> None:
        self.add(piece.text, ("no_load_a", piece.numbers[0]))
        if len(piece.numbers) > 1 and piece.numbers[1] is not None:
            self.add(piece.text, ("no_load_v", piece.numbers[1]))

    def _read_milliohm(self, index: int, piece: Piece) -> None:
        value = piece.numbers[0]
        winding = Option("winding of the motor", (("winding_mohm", value),))
        cell = Option("one cell of the pack", (("cell_mohm", value),))
        owner = self._word_before(index) or _OWNER.get(self._kind(index, -1), "")
        options = [winding] if owner == "motor" else [cell] if owner == "pack" else [winding, cell]
        self.ask(piece.text, f'What has "{typed(piece.text)}"?', *options)

    def _read_awg(self, index: int, piece: Piece) -> None:
        field = "motor_wire_awg" if self._word_before(index) == "motor" else "wire_awg"
        self.add(piece.text, (field, int(piece.numbers[0])))

    def _read_capacitor(self, index: int, piece: Piece) -> None:
        self.add(piece.text, ("capacitor_uf", piece.numbers[0]))
        if piece.numbers[1] is not None:
            self.add(piece.text, ("capacitor_v", piece.numbers[1]))

    def _read_kilograms(self, index: int, piece: Piece) -> None:
        self._mass(index, piece, round(piece.numbers[0] * 1000.0, 1))

    def _read_grams(self, index: int, piece: Piece) -> None:
        self._mass(index, piece, piece.numbers[0])

    def _mass(self, index: int, piece: Piece, grams: float) -> None:
        fields = {
            "motor": Option(f"one motor, {_g(grams)} g", (("motor_mass_g", grams),)),
            "propeller": Option(f"one propeller, {_g(grams)} g", (("propeller_g", grams),)),
            "pack": Option(f"pack, {_g(grams)} g", (("pack_g", grams),)),
            "frame": Option(f"frame, electronics and ESC, {_g(grams)} g", (("frame_g", grams),)),
            "load": Option(f"payload, {_g(grams)} g", (("payload_g", grams),)),
            "all": Option(f"take-off mass, {_g(grams)} g", (("take_off_g", grams),)),
        }
        owner = self._word_before(index)
        options = [fields[owner]] if owner in fields else list(fields.values())[::-1]
        self.ask(piece.text, f'What weighs "{typed(piece.text)}"?', *options)

    def _read_cm(self, index: int, piece: Piece) -> None:
        self._length(index, piece, piece.numbers[0] * 10.0)

    def _read_mm(self, index: int, piece: Piece) -> None:
        self._length(index, piece, piece.numbers[0])

    def _length(self, index: int, piece: Piece, mm: float) -> None:
        named = self._word_before(index)
        if named in ("fitting", "motor") or mm < 30.5:
            self.left_out.append(piece.text)
            return
        inches = round(mm / 25.4, 2)
        options = []
        if named != "frame":
            options.append(Option(f"propeller {_g(inches)} in across", (("diameter_in", inches),)))
        # on a square frame neighbours stand diagonal / sqrt 2 apart; 5 mm are left between the tips
        clear = math.floor((mm / math.sqrt(2.0) - 5.0) / 2.54) / 10.0
        if named != "propeller" and mm >= 60:
            text = f"{_g(mm)} mm from motor to motor across the frame: room for {_g(clear)} in"
            options.append(Option(text, (("frame_propeller_in", clear),)))
        self.ask(piece.text, f'What measures "{typed(piece.text)}"?', *options)

    def _read_inch(self, index: int, piece: Piece) -> None:
        inches = piece.numbers[0]
        frame = Option(f"frame made for {_g(inches)} in propellers", (("frame_propeller_in", inches),))
        blade = Option(f"propeller {_g(inches)} in across", (("diameter_in", inches),))
        named = self._word_before(index)
        if named == "frame" or self._any("dims", "code_blades"):
            options = [frame]
        else:
            options = [blade] if named == "propeller" else [blade, frame]
        self.ask(piece.text, f'What measures "{typed(piece.text)}"?', *options)

    def _read_craft(self, index: int, piece: Piece) -> None:
        rotors, coaxial = _CRAFT[piece.mark[:3]]
        self.add(piece.text, ("rotors", rotors), *((("coaxial", True),) if coaxial else ()))

    # --- what needs the whole text

    def _finish(self) -> None:
        self._settle_volts()
        self._settle_capacity()
        self._settle_four_in_one()
        asked = {field for question in self.questions for option in question.options for field, _ in option.values}
        if "pitch_in" in self.found and "blades" not in self.found and "blades" not in asked:
            source = self.found["pitch_in"].source
            self.questions.append(
                Question(
                    source,
                    f'How many blades has the "{typed(source)}"? The label does not say.',
                    tuple(Option(f"{count} blades", (("blades", count),)) for count in (2, 3, 4)),
                )
            )
        if self.dropped > 0:
            sentence = f"I read the first {MAX_PIECES} pieces only; {self.dropped} more were left out."
            self.unread.append(Unread("", sentence))

    def _settle_volts(self) -> None:
        for volts, source in self.volts:
            packs = meanings.cells_of_volts(volts)
            cells, chemistry = self.found.get("cells"), self.found.get("chemistry")
            if cells is not None:
                agreeing = [p for p in packs if p[0] == cells.value]
                if packs and not agreeing:
                    del self.found["cells"]
                    options = [Option(f"{cells.value} cells ({typed(cells.source)})", (("cells", cells.value),))]
                    options += [self._pack_option(p) for p in packs]
                    sentence = f'"{typed(cells.source)}" and "{typed(source)}" do not agree. Which is it?'
                    self.ask(source, sentence, *options)
                    continue
                packs = agreeing or packs
            if chemistry is not None and len(packs) > 1:
                packs = [p for p in packs if p[1] == chemistry.value] or packs
            if not packs:
                near = min((n * 3.7 for n in range(1, 15)), key=lambda v: abs(v - volts))
                better = f"{near:.1f} V" if abs(near - volts) < 0.7 else None
                end = f": did you mean {better}?" if better else "."
                text = f'I could not read "{typed(source)}" as a pack voltage{end}'
                self.unread.append(Unread(source, text, better))
                continue
            if len(packs) == 1 or cells is not None:
                values = self._pack_option(packs[0]).values
                told = chemistry is not None
                for field, value in values:
                    if field == "chemistry" and told:
                        continue
                    self.add(source, (field, value), note=f"from {packs[0][2]}")
            else:
                self.ask(source, f'Which pack is "{typed(source)}"?', *(self._pack_option(p) for p in packs))

    @staticmethod
    def _pack_option(pack: tuple[int, str | None, str]) -> Option:
        cells, chemistry, why = pack
        values: Values = (("cells", cells),) if chemistry is None else (("cells", cells), ("chemistry", chemistry))
        name = "" if chemistry is None else f" {CHEMISTRY_NAMES[chemistry]}"
        return Option(f"{cells}{name} cells ({why})", values)

    def _settle_capacity(self) -> None:
        cells, chemistry = self.found.get("cells"), self.found.get("chemistry")
        if self.watt_hours is not None:
            if cells is not None and "capacity_mah" not in self.found:
                kind = CHEMISTRIES[str(chemistry.value) if chemistry else "lipo"]
                mah = self.watt_hours[0] / (float(cells.value) * kind.nominal_voltage) * 1000.0
                self.add(self.watt_hours[1], ("capacity_mah", round(mah, -1)), note="from watt-hours and cells")
            else:
                self.left_out.append(self.watt_hours[1])
        capacity, parallel = self.found.get("capacity_mah"), self.found.get("parallel")
        if capacity is not None and parallel is not None and int(parallel.value) > 1:
            count, mah = int(parallel.value), float(capacity.value)
            del self.found["capacity_mah"]
            self.ask(
                capacity.source,
                f'Is "{typed(capacity.source)}" all {count} strings together, or each one?',
                Option(f"together: {_g(mah / count)} mAh each", (("capacity_mah", mah / count),)),
                Option(f"each: {_g(mah)} mAh, {_g(mah * count)} together", (("capacity_mah", mah),)),
            )

    def _settle_four_in_one(self) -> None:
        amps = self.found.get("esc_a")
        if self.four_in_one is None or amps is None:
            if self.four_in_one is not None:
                self.left_out.append(self.four_in_one)
            return
        each = float(amps.value)
        burst = self.found.get("esc_burst_a")
        usual: Values = (("esc_a", each),)
        board: Values = (("esc_a", each / 4.0),)
        if burst is not None:
            usual = (*usual, ("esc_burst_a", burst.value))
            board = (*board, ("esc_burst_a", float(burst.value) / 4.0))
        self.questions.append(
            Question(
                amps.source,
                f"Are the {_g(each)} A for each motor, or for the whole board?",
                (
                    Option(f"{_g(each)} A for each motor (usual for a four-in-one)", usual),
                    Option(f"{_g(each)} A for the board: {_g(each / 4.0)} A for each motor", board),
                ),
                assumed=0,
            )
        )

    def reading(self) -> Reading:
        return Reading(
            tuple(self.found.values()),
            tuple(self.questions),
            tuple(self.unread),
            tuple(dict.fromkeys(self.left_out)),
        )


def _sentence(reading: Reading) -> str:
    values = reading.values
    parts: list[str] = []

    def take(head: str, *texts: str | None) -> None:
        told = [text for text in texts if text]
        if told:
            parts.append(f"{head} {', '.join(told)}")

    def say(field: str, form: str) -> str | None:
        value = values.pop(field, None)
        return None if value is None else form.format(_g(value) if isinstance(value, int | float) else value)

    stator = None
    if "stator_d_mm" in values and "stator_h_mm" in values:
        wide, tall = float(values.pop("stator_d_mm")), float(values.pop("stator_h_mm"))
        code = f"{wide:02.0f}{'0' if tall < 10 else ''}{_g(tall)}" if wide == int(wide) else ""
        stator = f"{code} ({_g(wide)} mm wide, {_g(tall)} mm tall)".strip()
    motor_limits = say("motor_max_cells", "up to {} cells"), say("motor_max_a", "up to {} A")
    take("motor", stator, say("kv", "{} KV"), *motor_limits, say("motor_mass_g", "{} g"))
    size = None
    if "diameter_in" in values:
        pitch = values.pop("pitch_in", None)
        size = f"{_g(float(values.pop('diameter_in')))}{'' if pitch is None else f' x {_g(float(pitch))}'} in"
    width = say("blade_width", "{} blades")
    take("propeller", size, say("blades", "{} blades"), width, say("propeller_g", "{} g"))
    chemistry = values.pop("chemistry", None)
    take(
        "pack",
        None if chemistry is None else CHEMISTRY_NAMES[str(chemistry)],
        say("cells", "{} cells"),
        say("parallel", "{} in parallel"),
        say("capacity_mah", "{} mAh"),
        say("pack_label_c", "{}C"),
        say("pack_burst_c", "burst {}C"),
        say("pack_g", "{} g"),
    )
    low, high = values.pop("esc_min_cells", None), values.pop("esc_max_cells", None)
    cells = f"up to {high} cells" if low is None else f"{low} to {high} cells"
    esc = say("esc_a", "{} A for each motor"), say("esc_burst_a", "burst {} A")
    take("ESC", *esc, cells if high is not None else None)
    for field, value in values.items():
        described = TAKE_OFF if field == "take_off_g" else FIELDS[field]
        shown = _g(value) if isinstance(value, int | float) and not isinstance(value, bool) else str(value)
        parts.append(f"{described.label.lower()} {shown} {described.unit}".strip())
    if not parts:
        return "I read nothing yet." if not reading.questions else "I have a question first."
    return f"I read this as: {'; '.join(parts)}."
