"""Masses and lengths on labels."""

from __future__ import annotations

import math

from explorer.inputs import typed
from explorer.labels.cursor import Cursor, Handler
from explorer.labels.pieces import Piece
from explorer.labels.records import Option
from explorer.labels.words import g as _g

__all__ = ["READERS"]


def _kilograms(at: Cursor, index: int, piece: Piece) -> None:
    _mass(at, index, piece, round(piece.numbers[0] * 1000.0, 1))


def _grams(at: Cursor, index: int, piece: Piece) -> None:
    _mass(at, index, piece, piece.numbers[0])


def _mass(at: Cursor, index: int, piece: Piece, grams: float) -> None:
    fields = {
        "motor": Option(f"one motor, {_g(grams)} g", (("motor_mass_g", grams),)),
        "propeller": Option(f"one propeller, {_g(grams)} g", (("propeller_g", grams),)),
        "pack": Option(f"pack, {_g(grams)} g", (("pack_g", grams),)),
        "frame": Option(f"frame, electronics and ESC, {_g(grams)} g", (("frame_g", grams),)),
        "load": Option(f"payload, {_g(grams)} g", (("payload_g", grams),)),
        "all": Option(f"take-off mass, {_g(grams)} g", (("take_off_g", grams),)),
    }
    owner = at.word_before(index)
    options = [fields[owner]] if owner in fields else list(fields.values())[::-1]
    at.ask(piece.text, f'What weighs "{typed(piece.text)}"?', *options)


def _cm(at: Cursor, index: int, piece: Piece) -> None:
    _length(at, index, piece, piece.numbers[0] * 10.0)


def _mm(at: Cursor, index: int, piece: Piece) -> None:
    _length(at, index, piece, piece.numbers[0])


def _length(at: Cursor, index: int, piece: Piece, mm: float) -> None:
    named = at.word_before(index)
    if named in ("fitting", "motor") or mm < 30.5:
        at.left_out.append(piece.text)
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
    at.ask(piece.text, f'What measures "{typed(piece.text)}"?', *options)


def _inch(at: Cursor, index: int, piece: Piece) -> None:
    inches = piece.numbers[0]
    frame = Option(f"frame made for {_g(inches)} in propellers", (("frame_propeller_in", inches),))
    blade = Option(f"propeller {_g(inches)} in across", (("diameter_in", inches),))
    named = at.word_before(index)
    if named == "frame" or at.any("dims", "code_blades"):
        options = [frame]
    else:
        options = [blade] if named == "propeller" else [blade, frame]
    at.ask(piece.text, f'What measures "{typed(piece.text)}"?', *options)


READERS: dict[str, Handler] = {
    "kilograms": _kilograms,
    "grams": _grams,
    "cm": _cm,
    "mm": _mm,
    "inch": _inch,
}
