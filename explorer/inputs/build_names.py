"""Distinct names for several builds."""

from __future__ import annotations

from collections.abc import Sequence

from explorer.inputs.inputs import Inputs

__all__ = ["distinct_names"]

_TELLING = (
    ("kv", "{:g} KV"), ("stator_d_mm", "{:g} mm stator"), ("diameter_in", "{:g} in"), ("pitch_in", "{:g} in pitch"),
    ("blades", "{:g} blades"), ("cells", "{:g} cells"), ("capacity_mah", "{:g} mAh"), ("parallel", "{:g} in parallel"),
    ("payload_g", "{:g} g payload"), ("frame_g", "{:g} g frame"), ("command_cap_percent", "cap {:g} %"),
)  # fmt: skip
"""Fields that distinguish builds of the same name, and their text."""


def distinct_names(pins: Sequence[Inputs], beside: Inputs | None = None) -> list[str]:
    """Return distinct names of the pinned builds.

    Builds of the same name get the value of the first field that differs, else a number.

    Parameters
    ----------
    pins : sequence of Inputs
    beside : Inputs or None
        The build on the screen, from which the names must differ too.

    Returns
    -------
    list of str

    Examples
    --------
    >>> distinct_names([Inputs(kv=1750.0), Inputs(kv=1850.0)])
    ['Scree, 1750 KV', 'Scree, 1850 KV']
    >>> distinct_names([Inputs(kv=1750.0)], Inputs(kv=1950.0))
    ['Scree, 1750 KV']
    """
    plain = [one.name or "unnamed" for one in pins]
    out = []
    for k, (one, name) in enumerate(zip(pins, plain, strict=True)):
        alike = [other for other, its in zip(pins, plain, strict=True) if its == name]
        current = [beside] if beside is not None and (beside.name or "unnamed") == name else []
        if difference := _telling([*alike, *current], one) or _telling(alike, one):
            name = f"{name}, {difference}"
        elif len(alike) > 1:
            name = f"{name}, no. {k + 1}"
        out.append(name)
    return out


def _telling(alike: Sequence[Inputs], one: Inputs) -> str:
    """Text of the first field in which all builds differ; empty if there is none, or only one build."""
    fields = (words.format(getattr(one, field)) for field, words in _TELLING if _all_differ(alike, field))
    return next(fields, "") if len(alike) > 1 else ""


def _all_differ(alike: Sequence[Inputs], field: str) -> bool:
    return len({getattr(other, field) for other in alike}) == len(alike)
