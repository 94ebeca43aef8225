"""Minutes flown the reader's own way, for many combinations at once: what a sweep of headline answers leaves out.

The engine's sweep knows the hover; a mix of cruise, hard flying and punches is a flight of its own for every
combination, counted here by the same `flight.endurance.flight_time` as on the page Minutes.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from propmodel.assembly.build import Build, with_fields
from propmodel.flight.endurance import Profile, flight_time
from propmodel.studies.sweep import Sweep

__all__ = ["MIXED_TIME", "mixed_flight_times"]

MIXED_TIME = "way_time"
"""Name of this answer beside those of `propmodel.assess.performance.OUTPUTS`."""
CHUNK = 8192


def mixed_flight_times(
    base: Build,
    found: Sweep,
    way: Profile,
    *,
    progress: Callable[[int], bool] | None = None,
) -> NDArray[np.float32] | None:
    """Minutes of every combination of a sweep, flown one way.

    Parameters
    ----------
    base : Build
        What the sweep started from.
    found : Sweep
    way : Profile
    progress : callable or None
        Called with how many are done after each chunk; answering False stops it.

    Returns
    -------
    ndarray or None
        In the sweep's shape; NaN where the craft cannot fly so. None where it was stopped. [s]

    Examples
    --------
    >>> import propmodel
    >>> scree = propmodel.demo("scree")
    >>> grid = propmodel.sweep(scree, {"pack.capacity_ah": [0.85, 1.3]}, ["mass"])
    >>> times = mixed_flight_times(scree, grid, Profile(0.2, 0.5, 0.3))
    >>> bool(times[0] < times[1])
    True
    """
    out = np.full(found.size, np.nan, dtype=np.float32)

    for start in range(0, found.size, CHUNK):
        index = np.arange(start, min(start + CHUNK, found.size))
        out[index] = flight_time(with_fields(base, found.at(index)), way).time
        if progress is not None and progress(int(index[-1]) + 1) is False:
            return None
    return out.reshape(found.shape)
