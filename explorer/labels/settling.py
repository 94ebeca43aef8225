"""Values that depend on the whole text: voltage and cells, cells in series, four-in-one boards."""

from __future__ import annotations

from explorer.inputs import CHEMISTRY_NAMES, short_text
from explorer.labels import meanings
from explorer.labels.cursor import MAX_PIECES, Cursor
from explorer.labels.mass_and_length_reader import settle_inches, settle_lengths, settle_masses
from explorer.labels.records import LabelQuestion, Option, Unread, Values
from explorer.labels.words import g as _g
from propmodel.components.battery import CHEMISTRIES

__all__ = ["settle"]


def settle(at: Cursor) -> None:
    """Determine the values that depend on the whole text."""
    _settle_what_is_not_computed(at)
    _settle_volts(at)
    _settle_series(at)
    _settle_capacity(at)
    _settle_four_in_one(at)
    settle_lengths(at)
    settle_inches(at)
    _settle_blades(at)
    _settle_rotors(at)
    settle_masses(at)
    if at.dropped > 0:
        sentence = f"I read the first {MAX_PIECES} pieces only; {at.dropped} more were left out."
        at.unread.append(Unread("", sentence))


_NOT_COMPUTED = {
    "brushed": "Brushed motors are not computed: brushless motors only.",
    "coreless": "Brushed motors are not computed: brushless motors only.",
    "puffed": "A puffed pack must not be flown or charged: see Why, puffed.",
    "swollen": "A swollen pack must not be flown or charged: see Why, swollen.",
    "nimh": "NiMH cells are not computed: lithium cells only.",
    "nicd": "NiCd cells are not computed: lithium cells only.",
    "life": "LiFe cells are not computed: LiPo, high-voltage LiPo and Li-ion are.",
    "bicopter": "Two rotors are not computed: 3 to 8 are.",
}


def _settle_what_is_not_computed(at: Cursor) -> None:
    """Say so of craft and motors that no field describes; the size of a brushed motor is no stator."""
    for word, said in _NOT_COMPUTED.items():
        if at.any_word(word):
            at.left_out = [text for text in at.left_out if text.lower() != word]
            at.unread.append(Unread(word, said))
    if at.any_word("brushed", "coreless"):
        for field in ("stator_d_mm", "stator_h_mm"):
            at.found.pop(field, None)


_MANY_BLADES_BELOW = 7.0
"""Diameter from which two blades are usual; below it three (common practice, from memory). [in]"""


def _settle_blades(at: Cursor) -> None:
    size = at.found.get("diameter_in")
    if size is None or "blades" in at.found or {"blades", "diameter_in"} & at.asked():
        return
    count = 3 if float(size.value) < _MANY_BLADES_BELOW else 2
    said = f"Blades are not on the label: {count} are taken, usual at {_g(float(size.value))} in."
    at.assume(size.source, said, ("blades", count))


def _settle_rotors(at: Cursor) -> None:
    """Read coaxial pairs: six rotors on three arms, eight on four."""
    if at.coaxial is None:
        return
    rotors = at.found.get("rotors")
    if rotors is None:
        at.ask(
            at.coaxial,
            "How many rotors in pairs?",
            Option("8, on four arms", (("rotors", 8), ("coaxial", True))),
            Option("6, on three arms", (("rotors", 6), ("coaxial", True))),
        )
        return
    at.add(at.coaxial, ("coaxial", True))
    if rotors.value in (3, 4):
        del at.found["rotors"]
        count = 2 * int(rotors.value)
        said = f'"{short_text(at.coaxial)}" is taken as {count} rotors on {rotors.value} arms.'
        at.assume(at.coaxial, said, ("rotors", count))


def _settle_volts(at: Cursor) -> None:
    for volts, source in at.volts:
        packs = meanings.cells_of_volts(volts)
        cells, chemistry = at.found.get("cells"), at.found.get("chemistry")
        if _one_cell(at, volts, source):
            continue
        if cells is not None:
            agreeing = [p for p in packs if p[0] == cells.value]
            if packs and not agreeing:
                del at.found["cells"]
                options = [Option(f"{cells.value} cells ({short_text(cells.source)})", (("cells", cells.value),))]
                options += [_pack_option(p) for p in packs]
                sentence = f'"{short_text(cells.source)}" and "{short_text(source)}" do not agree. Which is it?'
                at.ask(source, sentence, *options)
                continue
            packs = agreeing or packs
        if chemistry is not None and len(packs) > 1:
            packs = [p for p in packs if p[1] == chemistry.value] or packs
        if not packs:
            near = min((n * 3.7 for n in range(1, 15)), key=lambda v: abs(v - volts))
            better = f"{near:.1f} V" if abs(near - volts) < 0.7 else None
            end = f": did you mean {better}?" if better else "."
            text = f'I could not read "{short_text(source)}" as a pack voltage{end}'
            at.unread.append(Unread(source, text, better))
            continue
        if len(packs) == 1 or cells is not None:
            values = _pack_option(packs[0]).values
            is_known = chemistry is not None
            for field, value in values:
                if field == "chemistry" and is_known:
                    continue
                at.add(source, (field, value), note=f"from {packs[0][2]}")
        else:
            at.ask(source, f'Which pack is "{short_text(source)}"?', *(_pack_option(p) for p in packs))


_CELL_VOLTS = {3.6: "li_ion", 3.7: "lipo", 3.8: "lipo_hv", 3.85: "lipo_hv", 4.2: None, 4.35: "lipo_hv", 4.4: "lipo_hv"}
"""Nominal and full voltage of one cell (common practice). [V]"""


def _one_cell(at: Cursor, volts: float, source: str) -> bool:
    """Read a voltage of one cell as the chemistry; return True if it is one."""
    cells = at.found.get("cells")
    many = cells is not None and cells.value != 1
    if volts not in _CELL_VOLTS or not (many or volts >= 4.35):
        return False
    kind = _CELL_VOLTS[volts]
    if kind is not None:
        if "chemistry" not in at.found:
            at.add(source, ("chemistry", kind), note=f"cells of {_g(volts)} V")
        elif at.found["chemistry"].value != kind:
            at.add(source, ("chemistry", kind))
    return True


def _pack_option(pack: tuple[int, str | None, str]) -> Option:
    cells, chemistry, why = pack
    values: Values = (("cells", cells),) if chemistry is None else (("cells", cells), ("chemistry", chemistry))
    name = "" if chemistry is None else f" {CHEMISTRY_NAMES[chemistry]}"
    return Option(f"{cells}{name} cells ({why})", values)


def _settle_series(at: Cursor) -> None:
    """Read packs in series: their cells are added."""
    cells = at.found.get("cells")
    if at.packs > 1 and at.any_word("series") and cells is not None:
        del at.found["cells"]
        at.add(cells.source, ("cells", int(cells.value) * at.packs), note=f"{at.packs} in series")


def _settle_capacity(at: Cursor) -> None:
    cells, chemistry = at.found.get("cells"), at.found.get("chemistry")
    if at.watt_hours is not None:
        if cells is not None and "capacity_mah" not in at.found:
            kind = CHEMISTRIES[str(chemistry.value) if chemistry else "lipo"]
            mah = at.watt_hours[0] / (float(cells.value) * kind.nominal_voltage) * 1000.0
            at.add(at.watt_hours[1], ("capacity_mah", round(mah, -1)), note="from watt-hours and cells")
        else:
            at.left_out.append(at.watt_hours[1])
    capacity, parallel = at.found.get("capacity_mah"), at.found.get("parallel")
    if capacity is not None and parallel is not None and int(parallel.value) > 1 and at.packs == 1:
        count, mah = int(parallel.value), float(capacity.value)
        if at.any_word("each") and at.next_word(_index_of(at, capacity.source), 1) == "each":
            return
        del at.found["capacity_mah"]
        at.ask(
            capacity.source,
            f'Is "{short_text(capacity.source)}" all {count} strings together, or each one?',
            Option(f"together: {_g(mah / count)} mAh each", (("capacity_mah", mah / count),)),
            Option(f"each: {_g(mah)} mAh, {_g(mah * count)} together", (("capacity_mah", mah),)),
        )


def _index_of(at: Cursor, source: str) -> int:
    return next((i for i, piece in enumerate(at.pieces) if piece.text == source), 0)


def _settle_four_in_one(at: Cursor) -> None:
    amps = at.found.get("esc_a")
    if at.four_in_one is None or amps is None:
        if at.four_in_one is not None:
            at.left_out.append(at.four_in_one)
        return
    each = float(amps.value)
    burst = at.found.get("esc_burst_a")
    usual: Values = (("esc_a", each),)
    board: Values = (("esc_a", each / 4.0),)
    if burst is not None:
        usual = (*usual, ("esc_burst_a", burst.value))
        board = (*board, ("esc_burst_a", float(burst.value) / 4.0))
    at.questions.append(
        LabelQuestion(
            amps.source,
            f"Are the {_g(each)} A for each motor, or for the whole board?",
            (
                Option(f"{_g(each)} A for each motor (usual for a four-in-one)", usual),
                Option(f"{_g(each)} A for the board: {_g(each / 4.0)} A for each motor", board),
            ),
            assumed=0,
        )
    )
