"""Reader of labels of packs, speed controllers and wires."""

from __future__ import annotations

import math

from explorer.inputs import short_text
from explorer.labels.cursor import OWNER, WORDS, Cursor, Handler
from explorer.labels.pieces import Piece
from explorer.labels.records import LabelQuestion, Option, Values
from explorer.labels.words import cells_words
from explorer.labels.words import g as _g

__all__ = ["READERS", "age_of_pack", "ask_cell_type"]


def _four_in_one(at: Cursor, index: int, piece: Piece) -> None:
    at.four_in_one = piece.text


def _cell_format(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("chemistry", "li_ion"), note="a cylindrical cell size")


def _quantity(at: Cursor, index: int, piece: Piece) -> None:
    count = int(piece.number(0))
    packish = {"cells", "mah", "ah"}
    pack = bool({at.kind(index, 1), at.kind(index, -1)} & packish) or at.pieces[index - 1].kind in packish
    if pack and 2 <= count <= 4 and at.any_word("series", "parallel"):
        at.packs = count
        if at.any_word("parallel"):
            at.add(piece.text, ("parallel", count))
    elif pack and "parallel" in at.found and at.found["parallel"].value == count:
        at.packs = count
    elif pack and 2 <= count <= 4 and "parallel" not in at.found:
        at.ask(
            piece.text,
            f"{count} packs side by side at once, or one in the craft and the others spare?",
            Option(f"{count} in parallel", (("parallel", count),)),
            Option("one at a time", (("parallel", 1),)),
        )
    else:
        at.left_out.append(piece.text)


def _cells(at: Cursor, index: int, piece: Piece) -> None:
    count = int(piece.number(0))
    pack = Option(f"pack of {cells_words(count)}", (("cells", count),))
    if len(piece.numbers) > 1 and piece.numbers[1]:
        at.add(piece.text, *pack.values, ("parallel", int(piece.number(1))))
        return
    before, after = at.kind(index, -1), at.kind(index, 1)
    packish = {"mah", "ah", "wh", "c_rate", "c_burst", "volts", "code", "number", "parallel", "chemistry"}
    follows = {"mah", "ah", "wh", "c_rate", "c_burst", "volts", "chemistry", "parallel", "cell_format"}
    if after in packish or before in follows or at.word_before(index) == "pack":
        at.add(piece.text, *pack.values)
        return
    elsewhere = sum(p.kind in ("cells", "volts") for p in at.pieces) > 1
    owner = OWNER.get(before, "")
    motor = Option(f"motor made for up to {cells_words(count)}", (("motor_max_cells", count),))
    esc = Option(f"ESC made for up to {cells_words(count)}", (("esc_max_cells", count),))
    part = None
    if owner == "esc" or at.word_before(index) == "esc" or (not before and after == "amps"):
        part = esc
    elif owner == "motor" or (at.last == "stator" and before == "code"):
        part = motor
    elif elsewhere and not at.names(piece.segment, "pack") and at.count_in(piece.segment, "cells") == 1:
        part = esc if at.names(piece.segment, "esc") else motor if at.names(piece.segment, "motor") else None
    if part is None:
        at.add(piece.text, *pack.values)
    elif part is motor and not elsewhere:
        at.assume(piece.text, f'"{short_text(piece.text)}" is taken as your pack.', *pack.values)
    elif elsewhere:
        at.add(piece.text, *part.values)
    else:
        at.ask(piece.text, f'Is "{short_text(piece.text)}" your pack, or what the part may take?', pack, part)


def _cell_range(at: Cursor, index: int, piece: Piece) -> None:
    low, high = sorted(int(piece.number(k)) for k in (0, 1))
    esc = Option(f"ESC, {low} to {high} cells", (("esc_min_cells", low), ("esc_max_cells", high)))
    motor = Option(f"motor, up to {high} cells", (("motor_max_cells", high),))
    owners = at.owners.get(piece.segment, set())
    before = OWNER.get(at.kind(index, -1), "")
    if "esc" in owners and (before != "motor" or "motor" not in owners):
        at.add(piece.text, *esc.values)
    elif before == "motor" or "motor" in owners or at.last == "stator":
        at.add(piece.text, *motor.values)
    else:
        at.ask(piece.text, f'Which part takes "{short_text(piece.text)}"?', esc, motor)


def _cell_max(at: Cursor, index: int, piece: Piece) -> None:
    high = int(piece.number(0))
    owners = at.owners.get(piece.segment, set())
    esc = Option(f"ESC, up to {cells_words(high)}", (("esc_max_cells", high),))
    motor = Option(f"motor, up to {cells_words(high)}", (("motor_max_cells", high),))
    options = [esc] if "esc" in owners else [motor] if "motor" in owners else [esc, motor]
    at.ask(piece.text, f'Which part takes "{short_text(piece.text)}"?', *options)


def _parallel(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("parallel", int(piece.number(0))))


def _mah(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("capacity_mah", piece.number(0)))


def _ah(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("capacity_mah", round(piece.number(0) * 1000.0, 3)))


def _wh(at: Cursor, index: int, piece: Piece) -> None:
    at.watt_hours = (piece.number(0), piece.text)


_WEATHER = {
    "day",
    "air",
    "outside",
    "weather",
    "hot",
    "cold",
    "morning",
    "evening",
    "sun",
    "winter",
    "summer",
    "temperature",
}
_HOTTEST = 50.0
"""Air is not warmer where people fly. [C]"""


def _c_rate(at: Cursor, index: int, piece: Piece) -> None:
    beside = {at.next_word(index, -1), at.next_word(index, 1)}
    if beside & _WEATHER and piece.numbers[1:] in ((), (None,)) and piece.number(0) <= _HOTTEST:
        at.add(piece.text, ("air_temperature_c", piece.number(0)))
        return
    rates = sorted(n for n in piece.numbers if n is not None)
    at.add(piece.text, ("pack_label_c", rates[0]))
    if len(rates) > 1 and rates[1] > rates[0]:
        at.add(piece.text, ("pack_burst_c", rates[1]))


def _c_burst(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("pack_burst_c", piece.number(0)))


def _chemistry(at: Cursor, index: int, piece: Piece) -> None:
    name = "lipo_hv" if "hv" in piece.mark or "high" in piece.mark else "li_ion" if "ion" in piece.mark else "lipo"
    at.add(piece.text, ("chemistry", name))


def _volts(at: Cursor, index: int, piece: Piece) -> None:
    volts = piece.number(0)
    if "regulator" in at.owners.get(piece.segment, set()):
        at.left_out.append(piece.text)
    elif "capacitor" in (at.kind(index, -1), at.kind(index, 1)) and "capacitor_v" not in at.found:
        at.add(piece.text, ("capacitor_v", volts))
    else:
        at.volts.append((volts, piece.text))


def _volt_range(at: Cursor, index: int, piece: Piece) -> None:
    high = math.floor(max(n for n in piece.numbers if n is not None) / 4.2 + 0.01)
    owners = at.owners.get(piece.segment, set())
    if "esc" in owners and high >= 1:
        at.add(piece.text, ("esc_max_cells", high), note="full cells of 4.2 V")
    else:
        at.left_out.append(piece.text)


_LIMITS = {"max", "maximum", "peak", "current"}


def _amps(at: Cursor, index: int, piece: Piece) -> None:
    amps = [n for n in piece.numbers if n is not None]
    owners = at.owners.get(piece.segment, set())
    if "regulator" in owners and amps[0] <= 10:
        at.left_out.append(piece.text)
        return
    if at.word_before(index) == "connector":
        at.add(piece.text, ("connector_a", amps[0]))
        return
    values: Values = (("esc_a", amps[0]),)
    if len(amps) > 1 and amps[1] > amps[0]:
        values = (*values, ("esc_burst_a", amps[1]))
    named = at.word_before(index)
    said = named == "esc" or at.any("four_in_one") or at.kind(index, 1) == "cell_range"
    said = said or at.names(piece.segment, "esc") or len(amps) > 1
    before = OWNER.get(at.kind(index, -1), "motor" if at.last == "stator" else "")
    motor = Option(f"motor, up to {_g(amps[0])} A", (("motor_max_a", amps[0]),))
    esc = Option(f"ESC, {_g(amps[0])} A for each motor", values)
    follows = at.pieces[index + 1].mark if index + 1 < len(at.pieces) else ""
    other = any(p.kind == "amps" and i != index and at.names(p.segment, "esc") for i, p in enumerate(at.pieces))
    beside = {follows, at.next_word(index, -1)}
    if beside & _LIMITS and not said and before != "motor" and named == "":
        at.ask(piece.text, f'Is "{short_text(piece.text)}" the ESC or the motor\'s limit?', motor, esc)
    elif named == "motor" or (before == "motor" and not said and (other or follows in ("max", "peak"))):
        at.add(piece.text, *motor.values)
    elif before == "motor" and not said:
        at.ask(piece.text, f'Is "{short_text(piece.text)}" the ESC or the motor\'s limit?', esc, motor)
    elif before == "pack" and not said and "capacity_mah" in at.found:
        rate = round(amps[0] / float(at.found["capacity_mah"].value) * 1000.0, 2)
        pack = Option(f"pack, {_g(amps[0])} A for good ({_g(rate)}C)", (("pack_label_c", rate),))
        at.ask(piece.text, f'Is "{short_text(piece.text)}" the ESC or what the pack may give?', esc, pack)
    else:
        at.add(piece.text, *values)


def _amps_burst(at: Cursor, index: int, piece: Piece) -> None:
    owner = OWNER.get(at.kind(index, -1), "")
    behind = at.names(piece.segment, "esc") or at.any("amps")
    owner = "motor" if at.stator_known and not behind else owner
    field = "motor_max_a" if owner == "motor" and "esc" not in (at.word_before(index),) else "esc_burst_a"
    at.add(piece.text, (field, piece.number(0)))


def _milliohm(at: Cursor, index: int, piece: Piece) -> None:
    _resistance(at, index, piece, piece.number(0))


def _ohm(at: Cursor, index: int, piece: Piece) -> None:
    _resistance(at, index, piece, round(1000.0 * piece.number(0), 1))


def _resistance(at: Cursor, index: int, piece: Piece, value: float) -> None:
    winding = Option("winding of the motor", (("winding_mohm", value),))
    cell = Option("one cell of the pack", (("cell_mohm", value),))
    owner = at.word_before(index) or OWNER.get(at.kind(index, -1), "")
    options = [winding] if owner == "motor" else [cell] if owner == "pack" else [winding, cell]
    at.ask(piece.text, f'What has "{short_text(piece.text)}"?', *options)


def _cap(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("command_cap_percent", piece.number(0)))


def _cycles(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("cycles", piece.number(0)))


_AGES = {"old": "tired", "tired": "tired", "worn": "tired", "used": "a season"}
_AGE_WORDS = {"tired": "a tired pack", "a season": "a pack one season old"}


def age_of_pack(at: Cursor, index: int, piece: Piece) -> bool:
    """Read a word for the age of the pack after it; return True if it was one."""
    age = _AGES.get(piece.mark)
    if age is None or not (WORDS.get(at.next_word(index, 1)) == "pack" or OWNER.get(at.kind(index, 1)) == "pack"):
        return False
    at.assume(piece.text, f'"{short_text(piece.text)}" is taken as {_AGE_WORDS[age]}.', ("pack_age", age))
    return True


def _celsius(at: Cursor, index: int, piece: Piece) -> None:
    field = "pack_temperature_c" if at.word_before(index) == "pack" else "air_temperature_c"
    at.add(piece.text, (field, piece.number(0)))
    if field == "air_temperature_c" and piece.number(0) < _COLD_AIR and not any(_of_pack(at, i) for i in range(index)):
        at.assumed.append(f'The pack stays warm: type "pack {piece.number(0):g} C" too if it lay in the cold.')


_COLD_AIR = 10.0
"""Below this a pack that was carried outside matters (common practice, from memory). [C]"""


def _of_pack(at: Cursor, index: int) -> bool:
    return at.pieces[index].kind == "celsius" and at.word_before(index) == "pack"


def _fahrenheit(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("air_temperature_c", round((piece.number(0) - 32.0) / 1.8, 1)))


def _metres(at: Cursor, index: int, piece: Piece) -> None:
    if at.next_word(index, -1) in _HEIGHTS or at.next_word(index, 1) in _HEIGHTS:
        at.add(piece.text, ("altitude_m", piece.number(0)))
    else:
        at.cannot(piece.text)


_HEIGHTS = {"alt", "altitude", "elevation", "height", "asl", "above", "at", "high", "h\u00f6he", "auf"}


def _awg(at: Cursor, index: int, piece: Piece) -> None:
    of_motor = at.word_before(index) == "motor" or at.names(piece.segment, "motor")
    field = "motor_wire_awg" if of_motor and not at.names(piece.segment, "pack") else "wire_awg"
    at.add(piece.text, (field, int(piece.number(0))))


def _connector(at: Cursor, index: int, piece: Piece) -> None:
    amps = piece.number(0)
    at.assume(piece.text, f'"{short_text(piece.text)}" is taken as a {_g(amps)} A connector.', ("connector_a", amps))


def _cell_code(at: Cursor, index: int, piece: Piece) -> None:
    ask_cell_type(at, piece)


def ask_cell_type(at: Cursor, piece: Piece) -> None:
    """Ask about a maker's type code of a cell, which may be a cylindrical cell."""
    if at.any("cell_format") or any(p.kind == "chemistry" and "ion" in p.mark for p in at.pieces):
        at.left_out.append(piece.text)
        return
    said = f'"{short_text(piece.text)}" may be the type of a Li-ion cell; I know no types. What is it?'
    at.questions.append(
        LabelQuestion(
            piece.text,
            said,
            (
                Option("Li-ion cells: I type their mAh as well", (("chemistry", "li_ion"),)),
                Option("something else", ()),
            ),
        )
    )


def _capacitor(at: Cursor, index: int, piece: Piece) -> None:
    at.add(piece.text, ("capacitor_uf", piece.number(0)))
    if piece.numbers[1] is not None:
        at.add(piece.text, ("capacitor_v", piece.number(1)))


READERS: dict[str, Handler] = {
    "four_in_one": _four_in_one,
    "cell_format": _cell_format,
    "quantity": _quantity,
    "cells": _cells,
    "cell_range": _cell_range,
    "cell_max": _cell_max,
    "parallel": _parallel,
    "mah": _mah,
    "ah": _ah,
    "wh": _wh,
    "c_rate": _c_rate,
    "c_burst": _c_burst,
    "chemistry": _chemistry,
    "volts": _volts,
    "volt_range": _volt_range,
    "amps": _amps,
    "amps_burst": _amps_burst,
    "milliohm": _milliohm,
    "ohm": _ohm,
    "cap": _cap,
    "cycles": _cycles,
    "celsius": _celsius,
    "fahrenheit": _fahrenheit,
    "metres": _metres,
    "awg": _awg,
    "cell_code": _cell_code,
    "connector": _connector,
    "capacitor": _capacitor,
}
