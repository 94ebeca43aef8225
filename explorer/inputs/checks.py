"""Validation of the inputs: a sentence for each invalid field, and a default in its place."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from explorer.inputs.fields import number_text, problem, short_text
from explorer.inputs.inputs import FIELDS, MIX, Inputs
from propmodel.assembly.build_record import motor_of
from propmodel.components import propeller
from propmodel.components.battery import CHEMISTRIES

__all__ = ["check", "with_defaults_for_bad"]

_SCREE = Inputs()

_TOGETHER: tuple[frozenset[str], ...] = (
    frozenset(MIX),
    frozenset({"esc_min_cells", "esc_max_cells"}),
    frozenset({"esc_a", "esc_burst_a"}),
    frozenset({"pack_label_c", "pack_burst_c"}),
    frozenset({"rotors", "coaxial"}),
    frozenset({"chemistry", "cutoff_v"}),
    frozenset({"diameter_in", "pitch_in", "blade_width_mm"}),
    frozenset({"no_load_a", "no_load_v", "kv", "stator_d_mm", "stator_h_mm", "winding_mohm"}),
)
"""Groups of fields that can contradict each other. If resetting one field does not help, the whole group is reset."""

_PITCH_TO_DIAMETER = (0.1, 2.5)
_WIDTH_TO_RADIUS = (0.03, 0.6)
"""Range of blade width over radius that a `Propeller` accepts. [-]"""


def check(inputs: Inputs) -> list[tuple[str, str]]:
    """Return one sentence for each field that cannot be used.

    Parameters
    ----------
    inputs : Inputs

    Returns
    -------
    list of (field name, sentence)
        Empty if all fields are valid. A valid build that performs badly is not an error here.

    Examples
    --------
    >>> check(replace(Inputs(), cells=0))
    [('cells', 'Cells in series must be 1 to 14 S, got 0 S.')]
    """
    found = [(name, text) for name, field in FIELDS.items() if (text := problem(field, getattr(inputs, name)))]
    bad = {name for name, _ in found}
    mixed = [getattr(inputs, name) for name in MIX]
    if not bad & set(MIX) and any(share is not None for share in mixed):
        total = sum(share or 0.0 for share in mixed)
        if abs(total - 100.0) > 0.5:
            found.append((MIX[0], f"The four shares of your flying must add up to 100 %, got {number_text(total)} %."))
    for low, high, words in (
        ("esc_min_cells", "esc_max_cells", "ESC, cells from {} must not be above ESC, cells up to {}."),
        (
            "esc_a",
            "esc_burst_a",
            "ESC burst amps for each motor ({1} A) must not be below its amps for good ({0} A).",
        ),
        (
            "pack_label_c",
            "pack_burst_c",
            "Burst C rating ({1}) must not be below the C rating on the label ({0}).",
        ),
    ):
        a, b = getattr(inputs, low), getattr(inputs, high)
        if low not in bad and high not in bad and a is not None and b is not None and a > b:
            found.append((high, words.format(number_text(a), number_text(b))))
    if inputs.coaxial is True and "rotors" not in bad and inputs.rotors % 2:
        found.append(("rotors", f"Rotors must be an even number when they come in pairs, got {inputs.rotors}."))
    if not bad & {"cutoff_v", "chemistry"} and inputs.cutoff_v is not None:
        full = CHEMISTRIES[inputs.chemistry].full_voltage
        if inputs.cutoff_v >= full:
            found.append(
                (
                    "cutoff_v",
                    f"Land at, each cell must be below a full cell ({full} V), got {inputs.cutoff_v} V.",
                )
            )
    found += _size_problems(inputs, bad)
    measured = inputs.measured_propeller
    if "measured_propeller" not in bad and measured is not None and measured not in _measured_names():
        found.append(("measured_propeller", f"No measured propeller is called {short_text(measured)}."))
    return found


def _size_problems(inputs: Inputs, bad: set[str]) -> list[tuple[str, str]]:
    """Errors for sizes that are each in range but together give no valid propeller or motor."""
    found = []
    if not bad & {"diameter_in", "pitch_in"}:
        low, high = (share * inputs.diameter_in for share in _PITCH_TO_DIAMETER)
        if not low <= inputs.pitch_in <= high:
            found.append(
                (
                    "pitch_in",
                    f"Pitch must be {number_text(round(low, 2))} to {number_text(round(high, 2))} in on a propeller of "
                    f"{number_text(inputs.diameter_in)} in, got {number_text(inputs.pitch_in)} in.",
                )
            )
    width = inputs.blade_width_mm
    if not bad & {"diameter_in", "blade_width_mm"} and width is not None:
        low, high = (share * inputs.diameter_in * 12.7 for share in _WIDTH_TO_RADIUS)
        if not low <= width <= high:
            found.append(
                (
                    "blade_width_mm",
                    f"Blade width must be {number_text(round(low, 1))} to {number_text(round(high, 1))} mm on a "
                    f"propeller of {number_text(inputs.diameter_in)} in, got {number_text(width)} mm.",
                )
            )
    if not bad & {"no_load_a", "no_load_v", "kv", "stator_d_mm", "stator_h_mm", "winding_mohm"}:
        found += _motor_problems(inputs)
    return found


def _motor_problems(inputs: Inputs) -> list[tuple[str, str]]:
    """Errors for a KV that is impossible for the stator, or a no-load current above the stall current."""
    size = f"{number_text(inputs.stator_d_mm)} x {number_text(inputs.stator_h_mm)} mm"
    most = _most_no_load(inputs.kv, inputs.stator_d_mm, inputs.stator_h_mm, inputs.winding_mohm, inputs.no_load_v)
    if most is None:
        return [("kv", f"KV must be far lower on a stator of {size}, got {number_text(inputs.kv)} rpm/V.")]
    if inputs.no_load_a is None or inputs.no_load_a <= most:
        return []
    sentence = (
        f"Amps spinning bare must be below {number_text(round(most, 2))} A at {number_text(inputs.no_load_v)} V: "
        f"this motor takes little more held still; got {number_text(inputs.no_load_a)} A."
    )
    return [("no_load_a", sentence)]


@lru_cache(maxsize=256)
def _most_no_load(kv: float, d_mm: float, h_mm: float, winding_mohm: float | None, volts: float) -> float | None:
    """Nine tenths of the stall current at the no-load voltage [A]; None for an invalid motor."""
    record = {"kv": kv, "stator_d_mm": d_mm, "stator_h_mm": h_mm, "winding_mohm": winding_mohm, "no_load_v": volts}
    try:
        made = motor_of(record)
    except ValueError:
        return None
    most = 0.9 * volts / float(made.resistance)
    # with the loss estimated from stator and KV it would not turn
    return most if float(made.no_load_current) < most else None


@lru_cache(maxsize=1)
def _measured_names() -> frozenset[str]:
    return frozenset(propeller.measured_names())


def with_defaults_for_bad(inputs: Inputs, fallback: Inputs = _SCREE) -> tuple[Inputs, list[tuple[str, str]]]:
    """Replace each invalid field by its value in ``fallback``.

    Parameters
    ----------
    inputs, fallback : Inputs
        The inputs, and a valid build.

    Returns
    -------
    Inputs, list of (field name, sentence)
        The valid inputs, and the sentences of `check`.
    """
    found = check(inputs)
    if not found:
        return inputs, []
    good, left = inputs, found
    for whole in (False, True, True):
        bad = {name for name, _ in left}
        if whole:
            bad = bad.union(*(group for group in _TOGETHER if bad & group))
        good = replace(good, **{name: getattr(fallback, name) for name in bad})
        left = check(good)
        if not left:
            return good, found
    return fallback, found
