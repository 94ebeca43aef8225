"""Cached duties of a throttle array that is used repeatedly, and their powers.

The duty equation of a powertrain of plain numbers is a sum of a few powers of the duty, so a curve needs one product
of two small tables in place of a dozen passes over the row. Nothing here knows of a craft.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from propmodel.base.checks import check_range
from propmodel.components.controller import Controller

__all__ = ["SMALL", "DutyRow", "duty_row"]

SMALL = 4096
"""Largest size of a short row. A longer one would start a second BLAS thread, which then slows everything else. [-]"""
_LEAST = 1e-6  # a negligible duty


class DutyRow(NamedTuple):
    """Duties of a row of commands, and their powers.

    Parameters
    ----------
    duty : ndarray
        Above zero. [-]
    powers : ndarray, shape (7, points)
        1, duty, duty^2, duty^3, (duty - duty^2)^2, duty ln duty, duty^3 ln duty. [-]
    share : ndarray or None
        Requested duty over ``duty``; None if it is 1 throughout. [-]
    """

    duty: NDArray
    powers: NDArray
    share: NDArray | None


def duty_row(throttle: bytes, controller: Controller, command_cap: float) -> DutyRow:
    """Return the duties of a row of commands, from a cache.

    Parameters
    ----------
    throttle : bytes
        Command as doubles, 0 to 1. [-]
    controller : Controller
        Holds the throttle map; of plain numbers.
    command_cap : float
        Largest duty the flight controller may ask for. [-]

    Returns
    -------
    DutyRow

    Raises
    ------
    ValueError
        If the throttle is outside 0 to 1.
    """
    return _cached(throttle, controller.exponent, controller.idle_duty, command_cap)  # type: ignore[arg-type]


@lru_cache(maxsize=64)
def _cached(throttle: bytes, exponent: float, idle: float, command_cap: float) -> DutyRow:
    command = check_range("throttle", np.frombuffer(throttle), 0.0, 1.0)
    # duty_from_throttle of plain numbers
    cap = command_cap**exponent
    asked = cap * (1.0 - idle) * command**exponent + cap * idle
    duty = np.maximum(asked, _LEAST)
    square = duty * duty
    cube, log = square * duty, np.log(duty)
    powers = np.array([np.ones_like(duty), duty, square, cube, (duty - square) ** 2, duty * log, cube * log])
    share = asked / duty
    for array in (duty, powers, share):
        array.flags.writeable = False
    return DutyRow(duty, powers, None if np.all(share == 1.0) else share)
