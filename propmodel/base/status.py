"""Status codes of results: the reason why a number is missing or limited."""

from __future__ import annotations

from enum import IntEnum

__all__ = ["Status", "text"]


class Status(IntEnum):
    """Why a result is what it is. Arrays of results carry arrays of these (int8)."""

    OK = 0
    PACK_CANNOT_DELIVER = 1
    BELOW_ELECTRONICS_MINIMUM = 2
    CANNOT_HOVER = 3
    BELOW_CUTOFF_AT_ONCE = 4
    CANNOT_FLY_AT_THIS_SPEED = 5
    NEVER_SETTLES = 6
    REACHES_THE_GROUND = 7
    NOT_ENOUGH_PULL = 8
    OUTSIDE_THE_TABLE = 9
    THROTTLE_FULL = 10


_TEXT = {
    Status.OK: "as asked",
    Status.PACK_CANNOT_DELIVER: "the pack cannot deliver this: more load only lowers the power it gives",
    Status.BELOW_ELECTRONICS_MINIMUM: "the bus falls below what the flight electronics need",
    Status.CANNOT_HOVER: "cannot hover: full throttle does not hold the craft up",
    Status.BELOW_CUTOFF_AT_ONCE: "the pack is under its cut-off voltage as soon as it is loaded",
    Status.CANNOT_FLY_AT_THIS_SPEED: "cannot hold level flight at this speed",
    Status.NEVER_SETTLES: "the winding never settles: it gets hotter until something fails",
    Status.REACHES_THE_GROUND: "reaches the ground before it is level",
    Status.NOT_ENOUGH_PULL: "its thrust is no more than its weight, so it cannot arrest a dive",
    Status.OUTSIDE_THE_TABLE: "outside the measured range",
    Status.THROTTLE_FULL: "flown down to where full throttle no longer holds it up, before the reserve is reached",
}


def text(code: int) -> str:
    """Return the plain sentence of one status code.

    Parameters
    ----------
    code : int
        A :class:`Status` or its number.

    Returns
    -------
    str
        For people; starts in lower case, has no full stop.

    Raises
    ------
    ValueError
        If there is no such code.

    Examples
    --------
    >>> text(3)
    'cannot hover: full throttle does not hold the craft up'
    """
    return _TEXT[Status(int(code))]
