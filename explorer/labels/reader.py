"""Read the labels on parts: motor, propeller, pack and ESC in any order, in one text field.

Each piece is read, gives a question (if it has two meanings), is unread (with a suggestion), or is left out (words
without a number). Values common to all meanings of a question are read.
"""

from __future__ import annotations

import re

from explorer.inputs import short_text
from explorer.labels import (
    mass_and_length_reader,
    meanings,
    motor_and_propeller_reader,
    pack_and_esc_reader,
    settling,
)
from explorer.labels.cursor import FILLERS, OWNER, WORDS, Cursor, Handler
from explorer.labels.pieces import MAX_LENGTH, Piece, pieces_of, suggestions
from explorer.labels.records import LabelReading, Unread

__all__ = ["read_labels"]


def read_labels(text: str) -> LabelReading:
    """Read the labels of motor, propeller, pack and ESC, in any order.

    Parameters
    ----------
    text : str
        Labels separated by commas, spaces or line ends; truncated at `MAX_LENGTH` characters.

    Returns
    -------
    LabelReading

    Examples
    --------
    >>> read_labels("2207-1950").values
    {'stator_d_mm': 22.0, 'stator_h_mm': 7.0, 'kv': 1950.0}
    >>> read_labels("22o7").unread[0].sentence
    'I could not read "22o7": did you mean 2207?'
    """
    text = _TWO_OF_A_UNIT.sub(r"\1\4\2\3\4", str(text))
    cursor = Cursor(pieces_of(text, _accept), _better)
    _run(cursor)
    if (between := _BETWEEN.search(text[:MAX_LENGTH])) and cursor.questions:
        return _first_of_two(text[: between.start()], text[between.end() : MAX_LENGTH]) or cursor.reading()
    if len(text) > MAX_LENGTH:
        end = short_text(text[MAX_LENGTH:])
        sentence = f"I read the first {MAX_LENGTH} characters only; the rest was left out."
        cursor.unread.append(Unread(end, sentence))
    return cursor.reading()


_TWO_OF_A_UNIT = re.compile(r"(?<![\w.])(\d{3,5})( (?:or|vs\.?|versus|oder|ou) )(\d{3,5})\s?(KV|mAh)", re.IGNORECASE)
"""Two numbers with one unit: 1750 or 1950 KV."""
_BETWEEN = re.compile(r"(?<![\w.])(?:or|vs\.?|versus|oder|ou)(?!\w)", re.IGNORECASE)


def _first_of_two(first: str, second: str) -> LabelReading | None:
    """Read two alternative parts ("or"): values of the first with those common to both; None if they are equal."""
    one, other = read_labels(first), read_labels(second)
    if not any(field in other.values and other.values[field] != value for field, value in one.values.items()):
        return None
    named = set(one.values) | one.open_fields()
    shared = tuple(found for found in other.found if found.field not in named)
    own = [found.source for found in other.found if found.field in one.values and found.source not in first]
    label = " ".join(dict.fromkeys(short_text(source) for source in own))
    said = f'Of two, the first is read. Pin this build, then type "{label}" in its place: both stand side by side.'
    return LabelReading(
        (*one.found, *shared),
        (*one.questions, *(q for q in other.questions if not named & {f for o in q.options for f, _ in o.values})),
        (*one.unread, *other.unread),
        tuple(dict.fromkeys((*one.left_out, *other.left_out))),
        (said, *one.assumed, *(other.assumed if any(found.note == "assumed" for found in shared) else ())),
    )


def _accept(piece: Piece) -> bool:
    """Return True if a matched piece is plausible; otherwise the scanner tries the next pattern."""
    if piece.kind == "stator_kv":
        if " KV " in piece.text.upper() and (piece.number(0) % 5 == 0 or meanings.stator_of_code(piece.number(1))):
            return False  # a KV and what stands behind it: 2450 KV 2207
        return meanings.stator_of_code(piece.number(0)) is not None and 100 <= piece.number(1) <= 30000
    if piece.kind == "code_blades":
        return bool(meanings.propeller_of_code(piece.number(0)))
    if piece.kind == "c_rate":
        return piece.number(0) > 0
    if piece.kind == "across":
        return 31.0 <= piece.number(0) <= 508.0
    if piece.kind == "magnets":
        return piece.number(0) % 2 == 0 and piece.number(0) >= 4
    if piece.kind == "poles":
        return piece.number(1) % 2 == 0 and piece.number(1) >= 4
    if piece.kind == "dims":
        return not _INCHES_THEN_X8.search(piece.text)
    if piece.kind == "cells":  # 50S is the type of a cell; other numbers are too many cells
        return piece.number(0) not in (25, 30, 35, 40, 45, 50)
    return True


_INCHES_THEN_X8 = re.compile(r"(?:in|inch(?:es)?|zoll|\"|'')\s+x8$", re.IGNORECASE)
"""Eight rotors in pairs behind a size, not a pitch: 8 inch X8."""


def _better(source: str) -> str | None:
    """Return the most likely correction of a piece that cannot be read."""
    return next(filter(_can_be_read, suggestions(source, _accept)), None)


def _can_be_read(text: str) -> bool:
    cursor = Cursor(pieces_of(text, _accept))
    _run(cursor)
    return not cursor.unread and bool(cursor.found or cursor.questions)


_TYPE = re.compile(r"[A-Za-z]{1,4}-?\d{1,3}[A-Za-z]{0,2}|\d{1,2}[A-Za-z]{1,2}")


def _junk(at: Cursor, index: int, piece: Piece) -> None:
    owners = at.owners.get(piece.segment, set())
    if _TYPE.fullmatch(piece.text) and owners and not _better(piece.text):
        if "pack" in owners and not re.search(r"\d{3}", piece.text):
            pack_and_esc_reader.ask_cell_type(at, piece)
        else:
            at.left_out.append(piece.text)  # a name beside a part that is told by its sizes
        return
    if WORDS.get(at.next_word(index, 1)) == "connector":
        at.left_out.append(piece.text)  # the type of a plug without a rating
        return
    at.cannot(piece.text)


_SMALL_WORDS = {
    "a", "air", "alt", "altitude", "asl", "incl", "wind", "an", "and", "temperature",
    "are", "at", "be", "by", "class", "do", "does", "flying", "for", "freestyle", "from", "how", "i",
    "in", "is", "it", "long", "lr", "me", "my", "no", "of", "on", "or", "race", "racing", "rated", "running", "size",
    "that", "the", "these", "this", "to", "use", "using", "what", "which", "will", "with", "x",
}  # fmt: skip
"""Words without information about a part; they are ignored."""


def _word(at: Cursor, index: int, piece: Piece) -> None:
    if piece.mark in ("bullnose", "bn"):
        at.add(piece.text, ("blade_width", "broad"), note="blunt, broad tips")
    elif piece.mark in ("duct", "ducts", "ducted"):
        at.add(piece.text, ("body_shape", "ducts or boxy body"), note="ducts add drag; their lift is not computed")
    elif pack_and_esc_reader.age_of_pack(at, index, piece):
        return
    elif piece.mark not in WORDS and piece.mark not in FILLERS and piece.mark not in _SMALL_WORDS:
        at.left_out.append(piece.text)


_READERS: dict[str, Handler] = {
    **motor_and_propeller_reader.READERS,
    **pack_and_esc_reader.READERS,
    **mass_and_length_reader.READERS,
    "junk": _junk,
    "word": _word,
}


def _run(at: Cursor) -> None:
    """Read the pieces in order, then the values that depend on the whole text."""
    for index, piece in enumerate(at.pieces):
        handler = _READERS.get(piece.kind)
        if handler is None:
            at.left_out.append(piece.text)
        else:
            handler(at, index, piece)
        at.last = OWNER.get(piece.kind, at.last)
    settling.settle(at)
