"""Sentence about the values read from labels."""

from __future__ import annotations

from typing import Any

from explorer.inputs import CHEMISTRY_NAMES, FIELDS, TAKE_OFF

__all__ = ["cells_words", "g", "sentence_of"]


def g(number: float) -> str:
    """Return a number as on a label."""
    return f"{number:g}" if number < 1e5 else f"{number:.0f}"


def cells_words(count: Any) -> str:
    """Return the number of cells in words."""
    return f"{count} cell{'' if count == 1 else 's'}"


def _cells(count: Any, before: str = "") -> str | None:
    return None if count is None else f"{before}{cells_words(count)}"


def sentence_of(values: dict[str, Any], *, asked: bool) -> str:
    """Return one sentence about the values read; entries of ``values`` are removed."""
    parts: list[str] = []

    def take(head: str, *texts: str | None) -> None:
        filled = [text for text in texts if text]
        if filled:
            parts.append(f"{head} {', '.join(filled)}")

    def say(field: str, form: str) -> str | None:
        value = values.pop(field, None)
        return None if value is None else form.format(g(value) if isinstance(value, int | float) else value)

    stator = None
    if "stator_d_mm" in values and "stator_h_mm" in values:
        wide, tall = float(values.pop("stator_d_mm")), float(values.pop("stator_h_mm"))
        code = f"{wide:02.0f}{'0' if tall < 10 else ''}{g(tall)}" if wide == int(wide) else ""
        stator = f"{code} ({g(wide)} mm wide, {g(tall)} mm tall)".strip()
    motor_limits = _cells(values.pop("motor_max_cells", None), "up to "), say("motor_max_a", "up to {} A")
    take("motor", stator, say("kv", "{} KV"), *motor_limits, say("motor_mass_g", "{} g"))
    size = None
    if "diameter_in" in values:
        pitch = values.pop("pitch_in", None)
        size = f"{g(float(values.pop('diameter_in')))}{'' if pitch is None else f' x {g(float(pitch))}'} in"
    width = say("blade_width", "{} blades")
    take("propeller", size, say("blades", "{} blades"), width, say("propeller_g", "{} g"))
    chemistry = values.pop("chemistry", None)
    take(
        "pack",
        None if chemistry is None else CHEMISTRY_NAMES[str(chemistry)],
        _cells(values.pop("cells", None)),
        say("parallel", "{} in parallel"),
        say("capacity_mah", "{} mAh"),
        say("pack_label_c", "{}C"),
        say("pack_burst_c", "burst {}C"),
        say("pack_g", "{} g"),
    )
    low, high = values.pop("esc_min_cells", None), values.pop("esc_max_cells", None)
    cells = _cells(high, "up to " if low is None else f"{low} to ")
    esc = say("esc_a", "{} A for each motor"), say("esc_burst_a", "burst {} A")
    take("ESC", *esc, cells)
    for field, value in values.items():
        described = TAKE_OFF if field == "take_off_g" else FIELDS[field]
        if isinstance(value, bool):
            parts += [described.label.lower()] * value
            continue
        displayed = g(value) if isinstance(value, int | float) else str(value)
        parts.append(f"{described.label.lower()} {displayed} {described.unit}".strip())
    if not parts:
        return "I read nothing yet." if not asked else "I have a question first."
    return f"I read this as: {'; '.join(parts)}."
