"""Reader of labels of motors and propellers: sizes, KV, blades."""

from __future__ import annotations

from explorer.inputs import short_text
from explorer.labels import mass_and_length_reader, meanings
from explorer.labels.cursor import MOST_KV_DIAMETER, Cursor, Handler
from explorer.labels.pieces import Piece
from explorer.labels.records import Option, Values
from explorer.labels.words import g as _g

__all__ = ["READERS"]

_COUNTS = ("blades", "blade_word")
BLADES = {
    "two": 2,
    "twin": 2,
    "bi": 2,
    "three": 3,
    "tri": 3,
    "zwei": 2,
    "drei": 3,
    "four": 4,
    "quad": 4,
    "five": 5,
    "six": 6,
}
_CRAFT = {"tri": (3, False), "qua": (4, False), "hex": (6, False), "oct": (8, False), "y6": (6, True), "x8": (8, True)}

_LEAST_KV_WIDTH = 15000.0
"""Lower limit of KV times stator width: motors that are sold have 16,000 (4014 400 KV) to 150,000 (0802). [rpm/V mm]"""


_SHAPES = {
    **dict.fromkeys(("narrow", "slim", "thin"), "slim"),
    **dict.fromkeys(("medium", "middle"), "middle"),
    **dict.fromkeys(("broad", "wide"), "broad"),
}
_SLOW_FLIGHT = "propellers for slow flight have broad blades"
"""The two measured families of them have chord ratios of 0.197 to 0.206: data/propellers/SOURCE.md."""


def _slow_flight(piece: Piece) -> bool:
    return "slow" in piece.mark or "sf" in piece.mark.split()


def _size(size: meanings.Size) -> str:
    blades = "blades not on the label" if size[2] is None else f"{size[2]} blades"
    return f"propeller {_g(size[0])} x {_g(size[1])} in, {blades}"


def _size_values(size: meanings.Size) -> Values:
    values: Values = (("diameter_in", size[0]), ("pitch_in", size[1]))
    return values if size[2] is None else (*values, ("blades", size[2]))


def _with_blades(sizes: list[meanings.Size]) -> list[meanings.Size]:
    """Return the sizes with explicit blade counts, so that one answer is sufficient."""
    counts = [(d, p, [blades] if blades else [3, 2] if d < 7 else [2, 3]) for d, p, blades in sizes]
    return [(d, p, blades) for d, p, many in counts for blades in many]


_LARGEST = 0.6
"""Propeller diameter over stator diameter that is not flown any more (common practice: 10 in on 22 mm). [in/mm]"""


def _poles(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("pole_pairs", int(piece.number(1)) // 2))


def _magnets(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("pole_pairs", int(piece.number(0)) // 2))


def _pole_pairs(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("pole_pairs", int(piece.number(0))))


def _across(at: Cursor, index: int, piece: Piece) -> None:
    """Read a propeller given by its diameter in mm, as is usual for ducts."""
    at.add(piece.text, ("diameter_in", round(piece.number(0) / 25.4, 2)))
    if piece.numbers[1] is not None:
        at.add(piece.text, ("blades", int(piece.number(1))))


def _kv(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("kv", piece.number(0)))


def _kilo_kv(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("kv", round(1000.0 * piece.number(0), 1)))


def _pitch(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("pitch_in", piece.number(0)))


def _diameter(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("diameter_in", piece.number(0)))


def _rotors(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("rotors", int(piece.number(0))))


def _coaxial(at: Cursor, index: int, piece: Piece) -> None:
    at.coaxial = piece.text


def _prefix(at: Cursor, index: int, piece: Piece) -> None:
    at.left_out.append(piece.text)  # letters of a type before its size


def _no_load(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("no_load_a", piece.number(0)))
    if len(piece.numbers) > 1 and piece.numbers[1] is not None:
        at.add(piece.text, ("no_load_v", piece.number(1)))


def _stator(at: Cursor, code: float, text: str) -> None:
    size = meanings.stator_of_code(code)
    assert size is not None
    at.add(text, ("stator_d_mm", size[0]), ("stator_h_mm", size[1]))
    at.stator_known = True
    at.last = "stator"


def _stator_kv(at: Cursor, index: int, piece: Piece) -> None:
    _stator(at, piece.number(0), piece.text)
    at.add(piece.text, ("kv", piece.number(1)))


def _code_blades(at: Cursor, index: int, piece: Piece) -> None:
    sizes: list[meanings.Size] = [
        (d, p, int(piece.number(1))) for d, p, n in meanings.propeller_of_code(piece.number(0)) if n is None
    ]
    _propeller(at, piece.text, sizes)
    _nose(at, piece)


def _propeller(at: Cursor, source: str, sizes: list[meanings.Size]) -> None:
    options = [Option(_size(size), _size_values(size)) for size in sizes]
    at.ask(source, f'"{short_text(source)}" can be read in {len(options)} ways. Which propeller is it?', *options)
    at.last = "propeller"


def _dims(at: Cursor, index: int, piece: Piece) -> None:
    first, second, third = piece.number(0), piece.number(1), piece.numbers[2]
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
            at.left_out.append(piece.text)
        else:
            at.ask(piece.text, f'Is "{short_text(piece.text)}" a propeller or a motor?', *options)
        return
    if first == second and first >= 12 and third is None:
        at.left_out.append(piece.text)  # a hole pattern
        return
    found = meanings.propeller_of_size(first, second, third)
    if found is None and third is None and 1.2 <= first <= 2.5 and second in (3, 4, 5, 6):
        at.add(piece.text, ("diameter_in", first), ("blades", int(second)))  # 1.2x4: no pitch is that steep
        return
    options = [] if found is None else [Option(_size(found), _size_values(found))]
    beside = bool({"kv", "kilo_kv"} & {at.kind(index, -1), at.kind(index, 1)}) or found is None
    whole = third is None and first == int(first) and "in" not in piece.mark and '"' not in piece.mark
    if beside and whole and not at.stator_known and meanings.stator_of_code(first * 100 + second):
        options.append(stator)
    if len(options) == 2:
        options = _of_the_kv(at, first, options)
    at.ask(piece.text, f'Is "{short_text(piece.text)}" a propeller or a motor?', *options)
    _nose(at, piece)


def _of_the_kv(at: Cursor, first: float, options: list[Option]) -> list[Option]:
    """Return the options, propeller or motor, that are consistent with the KV in the text."""
    blade, stator = options
    if at.kv_entered and at.kv_entered * first < _LEAST_KV_WIDTH:
        return [blade]
    return [stator] if at.kv_entered * first > MOST_KV_DIAMETER else options


_CRAFT_WORDS = {"craft", "build", "drone"}
"""Behind these words four digits are a part; behind "take-off" they are a mass."""


def _code(at: Cursor, index: int, piece: Piece) -> None:
    """Read four or five digits, or a number without a unit, as a motor, a propeller, a KV or a capacity."""
    number = piece.number(0)
    source = piece.text
    word = at.pieces[index + 1].mark if index + 1 < len(at.pieces) else ""
    if at.word_before(index) == "esc" and piece.kind == "number" and 4 <= number <= 200:
        at.add(source, ("esc_a", number))
        return
    of_a_part = index in at.stators or (piece.kind == "code" and at.next_word(index, -1) in _CRAFT_WORDS)
    if at.word_before(index) == "all" and number >= 10 and not of_a_part:
        at.masses.append((index, piece, number))
        return
    if (word == "class" or (word == "size" and piece.kind == "number")) and 100 <= number <= 1500:
        mass_and_length_reader.across_the_frame(at, source, number)
        return
    if number in (2, 3, 4, 5, 6) and at.kind(index, -1) in ("code", "dims") and "diameter_in" in at.found:
        at.add(source, ("blades", int(number)))
        return
    if number in (16, 32) and "esc" in at.owners.get(piece.segment, set()):
        at.left_out.append(source)  # bits of a processor
        return
    stator = meanings.stator_of_code(number) if number < 10000 and piece.kind == "code" else None
    sizes = meanings.propeller_of_code(number, also_a_motor=stator is not None) if piece.kind == "code" else []
    kv, capacity = meanings.bare_kv(number), meanings.bare_capacity(number)
    capacity = capacity and not (at.beside_cells - {index})  # another number stands behind the cells
    before, after = at.kind(index, -1), at.kind(index, 1)
    if after in ("kv", "kilo_kv") and index not in at.beside_cells and number % 50:
        capacity = False  # the size of a motor stands there
    named = at.word_before(index)
    if {before, after} & {"blades", "blade_word"} and named != "motor" and index not in at.beside_cells:
        named = "propeller"
    if named == "propeller" and stator and not meanings.propeller_of_code(number):
        named = "motor"  # "5 in props 2207 motors": the word behind it counts
    if "bn" in piece.mark or "nose" in piece.mark or _slow_flight(piece) or named == "propeller":
        stator, kv, capacity = None, False, False
        sizes = meanings.propeller_of_code(number)
    elif named == "motor":
        sizes, capacity = [], False
    elif named == "pack":
        stator, sizes, kv = None, [], False
    beside_pack = before in ("cells", "chemistry", "volts", "parallel", "c_rate", "c_burst") or after in (
        "c_rate",
        "cells",
        "volts",
    )
    if index in at.stators:
        _stator(at, number, source)
        return
    if at.last == "stator" and before == "code" and kv and not at.any("kv", "kilo_kv", "stator_kv"):
        stator, capacity = None, False
        across = float(at.found["stator_d_mm"].value)
        sizes = [size for size in sizes if size[0] <= _LARGEST * across]
    elif beside_pack and capacity and not at.any("mah", "ah"):
        stator, kv = None, False
    else:
        # a bare KV or capacity far from its part counts only as a round figure, and once
        other = bool(stator or sizes)
        kv = kv and not at.any("kv", "kilo_kv", "stator_kv") and "kv" not in at.found
        capacity = capacity and not at.any("mah", "ah") and "capacity_mah" not in at.found
        if other and number % 50:
            kv = capacity = False
        if stator and at.stator_known and (sizes or kv or capacity):
            stator = None
        if sizes and at.any("dims", "code_blades") and (stator or kv or capacity):
            sizes = []
    options = []
    if stator:
        text = f"motor {source} ({_g(stator[0])} mm wide, {_g(stator[1])} mm tall)"
        options.append(Option(text, (("stator_d_mm", stator[0]), ("stator_h_mm", stator[1]))))
    counts = [int(p.number(0)) if p.kind == "blades" else BLADES[p.mark] for p in at.pieces if p.kind in _COUNTS]
    if counts:
        sizes = [size for size in sizes if size[2] in (None, counts[0])]
    if before in ("cells", "chemistry") and capacity and number < 2500:
        sizes = []  # a pack of that capacity is far more common than the propeller
    alone = len(sizes) == 1 and not (options or kv or capacity)
    sizes = sizes if alone or at.any("blades", "blade_word") else _with_blades(sizes)
    options += [Option(_size(size), _size_values(size)) for size in sizes]
    options += [Option(f"{_g(number)} KV", (("kv", number),))] if kv else []
    options += [Option(f"{_g(number)} mAh", (("capacity_mah", number),))] if capacity else []
    if len(options) == 1 and stator:
        _stator(at, number, source)
    else:
        at.ask(source, f'"{short_text(source)}" can be read in {len(options)} ways. Which is it?', *options)
    _nose(at, piece)


def _nose(at: Cursor, piece: Piece) -> None:
    if "bn" in piece.mark.split() or "nose" in piece.mark:
        at.add(piece.text, ("blade_width", "broad"), note="bull nose: blunt, broad tips")
    elif _slow_flight(piece):
        at.add(piece.text, ("blade_width", "broad"), note=_SLOW_FLIGHT)


def _blade_shape(at: Cursor, index: int, piece: Piece) -> None:
    if _slow_flight(piece):
        at.add(piece.text, ("blade_width", "broad"), note=_SLOW_FLIGHT)
    else:
        at.add(piece.text, ("blade_width", _SHAPES[piece.mark]), note="by the word alone: a ruler tells better")


def _blades(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("blades", int(piece.number(0))))


def _blade_word(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("blades", BLADES[piece.mark]))


def _craft(at: Cursor, index: int, piece: Piece) -> None:
    rotors, coaxial = _CRAFT[piece.mark[:3]]
    at.add(piece.text, ("rotors", rotors), *((("coaxial", True),) if coaxial else ()))


READERS: dict[str, Handler] = {
    "poles": _poles,
    "magnets": _magnets,
    "pole_pairs": _pole_pairs,
    "across": _across,
    "kv": _kv,
    "kilo_kv": _kilo_kv,
    "pitch": _pitch,
    "diameter": _diameter,
    "rotors": _rotors,
    "coaxial": _coaxial,
    "prefix": _prefix,
    "no_load": _no_load,
    "stator_kv": _stator_kv,
    "code_blades": _code_blades,
    "dims": _dims,
    "code": _code,
    "blades": _blades,
    "blade_word": _blade_word,
    "blade_shape": _blade_shape,
    "craft": _craft,
    "number": _code,
}
