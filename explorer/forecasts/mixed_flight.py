"""Flight time of the user's mixed flight for all combinations of a sweep.

A sweep of the engine has only the flight time in hover. The mixed flight is computed here by the same function
`propmodel.flight.endurance.flight_time` as on the page Minutes.
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
"""Name of this output, in addition to those of `propmodel.assess.performance.OUTPUTS`."""
CHUNK = 8192


def mixed_flight_times(
    base: Build,
    found: Sweep,
    way: Profile,
    *,
    progress: Callable[[int], bool] | None = None,
) -> NDArray[np.float32] | None:
    """Flight time of all combinations of a sweep with one flight profile.

    Parameters
    ----------
    base : Build
        The build of the sweep.
    found : Sweep
        The sweep.
    way : Profile
        The flight profile.
    progress : callable or None
        Called after each chunk with the number of finished combinations. The return value False stops the computation.

    Returns
    -------
    ndarray or None
        Flight times in the shape of the sweep; NaN where the flight is not possible. None if it was stopped. [s]

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
