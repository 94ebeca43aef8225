"""Messages about a build that was saved or linked with another edition of the model.

Saved builds and links contain the inputs and the edition of the model (`propmodel.MODEL_EDITION`), but no results. The
messages therefore name the kinds of output that changed; DEVELOPERS.md has old and new values.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from propmodel import MODEL_EDITION
from propmodel.components.propeller import current_name

__all__ = ["RECORD_KEY", "edition_of", "of_today", "said"]

RECORD_KEY = "model_edition"
"""Field of a saved build beside the inputs."""

MOVED: dict[int, tuple[str, ...]] = {
    2: (
        "thrust to weight",
        "minutes",
        "current and watts at part throttle",
        "sag",
        "top speed",
        "tilt",
        "hover command",
    ),
    3: ("hover command", "current and watts at part throttle"),
}
"""Edition -> outputs that changed with it. The message for an older build includes all later editions."""


def edition_of(value: object) -> int | None:
    """Parse the edition in a file or link: 1 if it is absent, None if it is invalid.

    Examples
    --------
    >>> edition_of(None), edition_of("2"), edition_of(2), edition_of("x")
    (1, 2, 2, None)
    """
    if value is None:
        return 1
    if isinstance(value, bool) or not isinstance(value, int | str):
        return None
    text = str(value)
    return int(text) if text.isascii() and text.isdigit() and int(text[:6]) > 0 and len(text) <= 6 else None


def said(what: str, edition: int | None, *, reading: bool = False) -> str:
    """Message about a build of another edition; empty for the present edition.

    It has one sentence, and a second if an input has another meaning now.

    Parameters
    ----------
    what : str
        "link" or "build".
    edition : int or None
        From `edition_of`.
    reading : bool
        True if the cell resistance read from a charger was given.

    Examples
    --------
    >>> said("link", MODEL_EDITION)
    ''
    """
    if edition is None or edition == MODEL_EDITION:
        return ""
    if edition > MODEL_EDITION:
        return f"This {what} was made with a later edition of the model, so its maker saw other answers."
    moved = list(dict.fromkeys(word for n, words in sorted(MOVED.items()) if n > edition for word in words))
    listed = f"{', '.join(moved[:-1])} and {moved[-1]}" if len(moved) > 1 else moved[0]
    more = ""
    if reading and edition < 2:
        more = " The cell resistance you typed counts 1.7 times now, because a charger's step is short."
    return (
        f"This {what} was made before the model was refitted. What you typed stands, but {listed} have moved "
        f"(old and new in DEVELOPERS.md, Changes that move numbers).{more}"
    )


def of_today(record: Mapping[str, Any]) -> dict[str, Any]:
    """Convert a saved record of an older edition to the present meaning of its values.

    Formerly a measured propeller was named by its key in the source. Before edition 2 every file had a throttle
    exponent of 1 unless another was given, so 1 becomes None (not given).

    Examples
    --------
    >>> of_today({"throttle_exponent": 1.0}), of_today({"throttle_exponent": 1.0, "model_edition": 2})
    ({'throttle_exponent': None}, {'throttle_exponent': 1.0, 'model_edition': 2})
    """
    out = dict(record)
    if isinstance(out.get("measured_propeller"), str):
        out["measured_propeller"] = current_name(out["measured_propeller"])
    edition = edition_of(record.get(RECORD_KEY))
    if edition is not None and edition < 2:
        # a measured throttle map is stored with the label it was measured for (``own.controller.of``)
        for name in ("throttle_exponent", "own.controller.of.throttle_exponent"):
            if out.get(name) == 1.0 and not isinstance(out[name], bool):
                out[name] = None
    return out
