"""Reader of masses and lengths on labels."""

from __future__ import annotations

import math

from explorer.inputs import TAKE_OFF, short_text
from explorer.labels.cursor import FILLERS, MOST_KV_DIAMETER, OWNER, WORDS, Cursor, Handler
from explorer.labels.pieces import Piece
from explorer.labels.records import Option, Unread
from explorer.labels.words import g as _g
from propmodel.base.units import INCH
from propmodel.components import battery, motor, propeller

__all__ = ["READERS", "across_the_frame", "settle_inches", "settle_lengths", "settle_masses"]


_POUND = 0.45359237
"""Avoirdupois pound (international agreement of 1959). [kg]"""


def _kilograms(at: Cursor, index: int, piece: Piece) -> None:
    _mass(at, index, piece, round(piece.number(0) * 1000.0, 1))


def _grams(at: Cursor, index: int, piece: Piece) -> None:
    _mass(at, index, piece, piece.number(0))


def _pounds(at: Cursor, index: int, piece: Piece) -> None:
    _mass(at, index, piece, float(round(1000.0 * _POUND * (piece.number(0) + (piece.numbers[1] or 0.0) / 16.0))))


def _ounces(at: Cursor, index: int, piece: Piece) -> None:
    _mass(at, index, piece, float(round(1000.0 * _POUND * piece.number(0) / 16.0)))


def _mass(at: Cursor, index: int, piece: Piece, grams: float) -> None:
    at.masses.append((index, piece, grams))


_LIKELY = (0.6, 1.6)
"""Range of a mass relative to the usual one in which it is assigned to the part before it. [-]"""


_KINDS = {"freestyle", "race", "racing", "racer", "lr", "range", "cinematic", "rtf"}
"""Words for a kind of craft, not for a part."""


_MOST = (0.2, 5.0)
"""Range of a mass relative to the usual one outside which a word before it does not name the part. [-]"""
_TOO_MUCH_FOR_AN_ESC = 100.0
"""A board of four weighs 5 to 30 g (common practice, from memory). [g]"""


def _usual(at: Cursor) -> dict[str, float]:
    """Part -> usual mass, for parts whose size was read. [g]"""
    got = {name: float(found.value) for name, found in at.found.items() if isinstance(found.value, int | float)}
    usual = {}
    if {"stator_d_mm", "stator_h_mm"} <= got.keys():
        usual["motor"] = 1e3 * float(motor.estimated_mass(1e-3 * got["stator_d_mm"], 1e-3 * got["stator_h_mm"]))
    if "diameter_in" in got:
        pitch = got.get("pitch_in", 0.8 * got["diameter_in"])
        made = propeller.Propeller(INCH * got["diameter_in"], INCH * pitch, got.get("blades", 3))
        usual["propeller"] = 1e3 * float(propeller.mass(made))
    if {"cells", "capacity_mah"} <= got.keys():
        kind = str(at.found["chemistry"].value) if "chemistry" in at.found else "lipo"
        made_pack = battery.Pack(kind, got["cells"], 1e-3 * got["capacity_mah"], parallel=got.get("parallel", 1))
        usual["pack"] = 1e3 * float(battery.mass(made_pack))
    return usual


def settle_masses(at: Cursor) -> None:
    """Assign each mass to a part: the one named beside it, the one before it, else the whole craft."""
    usual = _usual(at)

    def likely_parts(grams: float) -> list[str]:
        return [part for part, mass in usual.items() if _LIKELY[0] <= grams / mass <= _LIKELY[1]]

    def possible(part: str, grams: float) -> bool:
        return part not in usual or _MOST[0] <= grams / usual[part] <= _MOST[1]

    without_pack: list[tuple[str, float]] = []

    def owner_of(index: int, grams: float) -> str:
        """Part named beside a mass, unless the mass is impossible for it."""
        owner = at.word_before(index)
        alone = {WORDS[p.mark] for p in at.pieces if p.segment == at.pieces[index].segment and p.mark in WORDS}
        if not owner and alone == {"frame"} and at.owners[at.pieces[index].segment] == {"frame"}:
            return "frame"
        if owner == "pack" and at.carried(index, "pack") and all(g <= grams for _, _, g in at.masses):
            return "all"  # with battery 612 g
        if owner == "esc" or not possible(owner, grams):
            return ""
        return owner

    whole = [index for index, _, grams in at.masses if not owner_of(index, grams) and not likely_parts(grams)]
    for index, piece, grams in at.masses:
        owner = owner_of(index, grams)
        fields = {
            "motor": Option(f"one motor, {_g(grams)} g", (("motor_mass_g", grams),)),
            "propeller": Option(f"one propeller, {_g(grams)} g", (("propeller_g", grams),)),
            "pack": Option(f"pack, {_g(grams)} g", (("pack_g", grams),)),
            "frame": Option(f"frame, electronics and ESC, {_g(grams)} g", (("frame_g", grams),)),
            "load": Option(f"payload, {_g(grams)} g", (("payload_g", grams),)),
            "all": Option(f"take-off mass, {_g(grams)} g", (("take_off_g", grams),)),
        }
        said = f'"{short_text(piece.text)}"'
        if owner == "thrust":
            at.left_out.append(piece.text)
            continue
        if at.beside(index, "dry"):
            without_pack.append((piece.text, grams))
            continue
        if owner == "frame":
            whole_frame = Option(f"frame with electronics and ESC, {_g(grams)} g", (("frame_g", grams),))
            bare = Option(
                f"bare frame: with electronics and ESC about {_g(2.0 * grams)} g", (("frame_g", 2.0 * grams),)
            )  # half and half (common practice, from memory)
            options = [whole_frame] if at.any_word("electronics") else [bare, whole_frame]
            if any(owner_of(i, g) == "all" for i, _, g in at.masses):
                at.left_out.append(piece.text)  # the take-off mass includes it
            else:
                at.ask(piece.text, f"Is {said} the bare frame, or with electronics and ESC?", *options)
            continue
        larger = [i for i, _, g in at.masses if g > grams and owner_of(i, g) in ("all", "")]
        if owner == "load" and at.carried(index) and not larger:
            at.ask(piece.text, f"What weighs {said}?", fields["all"], fields["load"])
            continue
        if owner in fields:
            at.ask(piece.text, f"What weighs {said}?", fields[owner])
            continue
        likely = likely_parts(grams)
        before = OWNER.get(at.kind(index, -1), {"code": "motor", "volts": "pack"}.get(at.kind(index, -1), ""))
        if at.near(index, -1) in [at.pieces[i] for i in at.beside_cells]:
            before = "pack"
        word = at.next_word(index, -1)
        named = (
            word not in ("", *FILLERS, *_KINDS) and not (WORDS.get(word) == "esc" and grams >= _TOO_MUCH_FOR_AN_ESC)
        ) or at.kind_before(index) in ("junk", "other")
        named = named or (at.next_word(index, 1) == "each" and before not in ("motor", "propeller"))
        if before in likely and not named:
            at.assume(piece.text, f"{said} is taken as the mass of one {before}.", *fields[before].values)
        elif not named and not likely and grams >= TAKE_OFF.bounds()[0] and whole == [index]:
            at.assume(piece.text, f"{said} is taken as the take-off mass.", *fields["all"].values)
        else:
            rest = [part for part in reversed(fields) if possible(part, grams) or part == at.word_before(index)]
            order = [*likely, *(part for part in rest if part not in likely)]
            at.ask(piece.text, f"What weighs {said}?", *(fields[part] for part in order))
    for source, grams in without_pack:
        _add_the_pack(at, source, grams, usual.get("pack"))


def _add_the_pack(at: Cursor, source: str, grams: float, usual: float | None) -> None:
    """Take-off mass from one without the pack, with the given or the usual mass of the pack."""
    pack_mass = at.found.get("pack_g")
    pack = usual if pack_mass is None else float(pack_mass.value)
    if pack is None:
        text = f'"{short_text(source)}" is without the pack: type the mass of the pack too, or the take-off mass.'
        at.unread.append(Unread(source, text))
        return
    total = float(round(grams + pack))
    guess = "" if pack_mass else " (a guess)"
    said = (
        f'"{short_text(source)}" is without the pack: with {_g(round(pack))} g of pack{guess} it takes off at '
        f"{_g(total)} g."
    )
    at.assume(source, said, ("take_off_g", total))


def _cm(at: Cursor, index: int, piece: Piece) -> None:
    at.lengths.append((index, piece, piece.number(0) * 10.0))


def _mm(at: Cursor, index: int, piece: Piece) -> None:
    at.lengths.append((index, piece, piece.number(0)))


def settle_lengths(at: Cursor) -> None:
    """Assign each length to the propeller or the frame; short lengths first, which can only be propellers."""
    for index, piece, mm in sorted(at.lengths, key=lambda length: length[2] >= _LEAST_FRAME_MM):
        _length(at, index, piece, mm)


def across_the_frame(at: Cursor, source: str, mm: float) -> None:
    """Read a length as the diagonal between motors, by which frames are named."""
    at.ask(source, "", _frame_option(mm))


def _frame_option(mm: float) -> Option:
    # on a square frame the distance of adjacent motors is diagonal / sqrt 2; 5 mm remain between the tips
    clear = math.floor((mm / math.sqrt(2.0) - 5.0) / 2.54) / 10.0
    text = f"{_g(mm)} mm from motor to motor across the frame: room for {_g(clear)} in"
    return Option(text, (("frame_propeller_in", clear),))


_LEAST_FRAME_MM = 60.0
"""Frames of 65 mm from motor to motor are the smallest sold (common practice)."""
_HOLES_MM = 30.6
"""Distances of mounting holes end at 30.5 mm (trade standard); the smallest propellers begin at 31 mm."""


def _length(at: Cursor, index: int, piece: Piece, mm: float) -> None:
    named = at.word_before(index)
    if (named == "lead" or at.kind_before(index) == "awg") and mm >= 5.0:
        of_motor = at.names(piece.segment, "motor")
        at.add(piece.text, ("motor_lead_mm" if of_motor else "pack_lead_mm", mm))
        return
    if named == "motor" and mm >= _LEAST_FRAME_MM:
        across_the_frame(at, piece.text, mm)  # motor to motor
        return
    if named in ("fitting", "motor", "esc") or (mm < _HOLES_MM and named != "propeller"):
        at.left_out.append(piece.text)
        return
    inches = round(mm / 25.4, 2)
    options = []
    too_fast = at.kv_entered * inches > MOST_KV_DIAMETER and mm >= _LEAST_FRAME_MM and named != "propeller"
    is_known = "diameter_in" in at.found or "diameter_in" in at.asked() or at.inches
    if is_known and named != "propeller" and mm >= _LEAST_FRAME_MM:
        across_the_frame(at, piece.text, mm)
        return
    if named != "frame" and not too_fast:
        options.append(Option(f"propeller {_g(inches)} in across", (("diameter_in", inches),)))
    if named != "propeller" and mm >= _LEAST_FRAME_MM:
        options.append(_frame_option(mm))
    at.ask(piece.text, f'What measures "{short_text(piece.text)}"?', *options)


def _inch(at: Cursor, index: int, piece: Piece) -> None:
    at.inches.append((index, piece, piece.number(0)))


def settle_inches(at: Cursor) -> None:
    """Read a size in inches alone as the propeller size for which the craft is made."""
    for index, piece, inches in at.inches:
        named = at.word_before(index)
        is_known = "diameter_in" in at.found or "diameter_in" in at.asked()
        if named == "frame" and not is_known and "frame_propeller_in" in at.found:
            named = ""  # the frame has its size already: 225 mm wheelbase 5 in
        if named == "frame" or (is_known and named != "propeller"):
            at.add(piece.text, ("frame_propeller_in", inches))
        elif named == "propeller":
            at.add(piece.text, ("diameter_in", inches))
        else:
            name = short_text(piece.text) if piece.text[-1].isalpha() else f"{_g(inches)} in"
            said = f'"{name}" is taken as the propeller.'
            at.assume(piece.text, said, ("diameter_in", inches))


def _threshold(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("mass_threshold_g", piece.number(0)))


def _dry(at: Cursor, index: int, piece: Piece) -> None:
    """Do nothing: the word is read together with the mass beside it."""


READERS: dict[str, Handler] = {
    "dry": _dry,
    "threshold": _threshold,
    "kilograms": _kilograms,
    "grams": _grams,
    "pounds": _pounds,
    "ounces": _ounces,
    "cm": _cm,
    "mm": _mm,
    "inch": _inch,
}
