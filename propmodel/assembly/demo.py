"""The five demo craft of the hill-flying club Thornbarrow: invented parts, and they say so."""

from __future__ import annotations

import json
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from propmodel.assembly.build import Build
from propmodel.assembly.build_record import from_record
from propmodel.base.checks import check_in
from propmodel.base.tables import data_path

__all__ = ["demo", "demo_names", "demo_record"]

_NAMES = ("scree", "tarn", "moor", "fell", "rill")


def demo_names() -> list[str]:
    """Names of the demo craft; the first is the default.

    Returns
    -------
    list of str

    Examples
    --------
    >>> demo_names()
    ['scree', 'tarn', 'moor', 'fell', 'rill']
    """
    return list(_NAMES)


@lru_cache(maxsize=len(_NAMES))
def _read(name: str) -> MappingProxyType[str, Any]:
    text = data_path("demo", f"{name}.json").read_text(encoding="utf-8")
    return MappingProxyType(json.loads(text))


def demo_record(name: str) -> dict[str, Any]:
    """Return a demo craft as it is written down, in the units people type.

    Parameters
    ----------
    name : str
        One of `demo_names`.

    Returns
    -------
    dict
        A record as :func:`propmodel.assembly.build_record.from_record` takes it.

    Examples
    --------
    >>> demo_record("scree")["kv"]
    1950
    """
    return dict(_read(check_in("demo craft", str(name).lower(), _NAMES)))


def demo(name: str) -> Build:
    """Build a demo craft at the club's field: 420 m above sea level, 12 C.

    Parameters
    ----------
    name : str
        One of `demo_names`.

    Returns
    -------
    Build
        Parts with invented names; no such product exists.

    Raises
    ------
    ValueError
        For an unknown name; the nearest known ones are listed.

    Examples
    --------
    >>> demo("scree").pack.cells
    6
    """
    return from_record(demo_record(name))
