"""Names of several builds, told apart where they are alike."""

from __future__ import annotations

from collections.abc import Sequence

from explorer.inputs.inputs import Inputs

__all__ = ["names_of"]

_TELLING = (
    ("kv", "{:g} KV"), ("stator_d_mm", "{:g} mm stator"), ("diameter_in", "{:g} in"), ("pitch_in", "{:g} in pitch"),
    ("blades", "{:g} blades"), ("cells", "{:g} cells"), ("capacity_mah", "{:g} mAh"), ("parallel", "{:g} in parallel"),
    ("payload_g", "{:g} g payload"), ("frame_g", "{:g} g frame"), ("command_cap_percent", "cap {:g} %"),
)  # fmt: skip
"""Fields that tell builds of one name apart, and how they are said."""


def names_of(pins: Sequence[Inputs]) -> list[str]:
    """Names of the pinned builds; those of one name are told apart by the first field that differs, else by a number.

    Examples
    --------
    >>> names_of([Inputs(kv=1750.0), Inputs(kv=1850.0)])
    ['Scree, 1750 KV', 'Scree, 1850 KV']
    """
    plain = [one.name or "unnamed" for one in pins]
    out = []
    for k, (one, name) in enumerate(zip(pins, plain, strict=True)):
        alike = [other for other, its in zip(pins, plain, strict=True) if its == name]
        if len(alike) > 1:
            field, words = next(
                ((f, w) for f, w in _TELLING if len({getattr(other, f) for other in alike}) == len(alike)), ("", "")
            )
            name = f"{name}, {words.format(getattr(one, field))}" if field else f"{name}, no. {k + 1}"
        out.append(name)
    return out
