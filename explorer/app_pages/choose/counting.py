"""Sweeps of page Choose, which run in a thread that can be stopped.

A sweep of a million combinations takes seconds and 100 MB. At most two run at once on the server (or on the cluster).
The latest results are cached for all sessions, up to a memory limit.
"""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, replace

import pandas as pd
import streamlit as st

from explorer.app_pages.choose.cluster import Cluster, Place, scheduler_address
from explorer.app_pages.choose.plan import Plan, plan, priced
from explorer.app_pages.choose.ranges import Values
from explorer.forecasts import headlines
from explorer.forecasts.mixed_flight import MIXED_TIME, mixed_flight_times
from explorer.inputs import Inputs
from propmodel.flight.endurance import Profile
from propmodel.studies.sweep import Sweep, sweep

__all__ = ["HOLD", "CountedSweep", "SweepJob", "start"]

CACHE_BYTES = 400_000_000
COUNTING = 2
"""Number of sweeps that run at once on this server. [-]"""
HOLD = 10.0
"""Duration of full throttle for the limits. [s]"""


@dataclass(frozen=True)
class CountedSweep:
    """A finished sweep and its plan."""

    plan: Plan
    found: Sweep
    where: str = ""
    """Where it was computed, in words; "" without a cluster."""


class SweepCache:
    """The latest finished sweeps by key, up to a memory limit, and the semaphore for running sweeps."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, CountedSweep] = OrderedDict()
        self._lock = threading.Lock()
        self.turn = threading.BoundedSemaphore(COUNTING)

    def get(self, key: str) -> CountedSweep | None:
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
            return self._kept.get(key)

    def put(self, key: str, counted: CountedSweep) -> None:
        with self._lock:
            self._kept[key] = counted
            self._kept.move_to_end(key)
            while len(self._kept) > 1 and sum(_bytes(c) for c in self._kept.values()) > CACHE_BYTES:
                self._kept.popitem(last=False)


def _bytes(counted: CountedSweep) -> int:
    return sum(v.nbytes for v in counted.found.values.values())


@st.cache_resource
def cluster() -> Cluster:
    """Return the connection of this server to its cluster."""
    return Cluster(scheduler_address())


@st.cache_resource
def sweep_cache() -> SweepCache:
    """Return the cache of this server."""
    return SweepCache()


class SweepJob:
    """One running sweep.

    Parameters
    ----------
    key : str
        Identifies inputs, ranges, lists and results.
    planned : Plan
        Arguments of the sweep.
    outputs : tuple of str
        Results to compute.
    size : int
        Number of combinations.
    held : SweepCache
        Cache of finished sweeps.
    way : Profile
        Way of flying, for the mixed flight time; None if it is not needed.
    """

    def __init__(
        self, key: str, planned: Plan, outputs: tuple[str, ...], size: int, held: SweepCache, way: Profile | None = None
    ) -> None:
        self.key, self.size, self.done = key, size, 0
        self.answer: CountedSweep | None = None
        self.fault = ""
        self.stopped = False
        self.waiting = True
        self.away = False
        """Whether it runs on the cluster now."""
        self._plan, self._keeper = planned, held
        self._outputs = tuple(k for k in outputs if k != MIXED_TIME)
        # the mixed flight time is computed in a second pass, after the other results
        self._way = (way or Profile()) if MIXED_TIME in outputs else None
        self._stop, self._ready = threading.Event(), threading.Event()

    def begin(self) -> None:
        """Start the sweep in its own thread, or use the cached result."""
        self.answer = self._keeper.get(self.key)
        if self.answer is not None:
            self.done, self.waiting = self.size, False
            self._ready.set()
            return
        threading.Thread(target=self._run, name="counting", daemon=True).start()

    def _progress(self, done: int, _total: int = 0) -> bool:
        self.done = done if self._way is None else done // 2
        return not self._stop.is_set()

    def _progress_of_way(self, done: int) -> bool:
        self.done = (self.size + done) // 2
        return not self._stop.is_set()

    def _run(self) -> None:
        try:
            while not self._keeper.turn.acquire(timeout=0.2):
                if self._stop.is_set():
                    self.stopped = True
                    return
            try:
                self.waiting = False
                if self._stop.is_set():
                    self.stopped = True
                    return
                p = self._plan
                found, where = self._swept()
                if not found.complete:
                    self.stopped = True
                    return
                if self._way is not None:
                    minutes = mixed_flight_times(p.base, found, self._way, progress=self._progress_of_way)
                    if minutes is None:
                        self.stopped = True
                        return
                    found = replace(found, values={**found.values, MIXED_TIME: minutes})
                self.answer = CountedSweep(p, priced(found, p.prices), where)
                self._keeper.put(self.key, self.answer)
            finally:
                self._keeper.turn.release()
        except ValueError as wrong:
            self.fault = str(wrong)
        except Exception:
            logging.getLogger("explorer").exception("counting combinations")
            self.fault = "These combinations could not be counted. Change a range, or take a coarser step."
        finally:
            self._ready.set()

    def _swept(self) -> tuple[Sweep, str]:
        """Return the sweep, and in words where it was computed."""
        place = cluster().place(self.size)
        if place.executor is not None:
            self.away = True
            try:
                return self._sweep(place), place.words
            except RuntimeError as wrong:
                place = cluster().lost(wrong)
            finally:
                self.away = False
        return self._sweep(place), place.words

    def _sweep(self, place: Place) -> Sweep:
        p = self._plan
        return sweep(
            p.base, p.axes, list(self._outputs), tables=p.tables, hold=HOLD, progress=self._progress,
            executor=place.executor,
        )  # fmt: skip

    def stop(self) -> None:
        """Stop the sweep; its partial result is discarded, and the previous map stays."""
        self._stop.set()

    def wait(self, seconds: float) -> bool:
        """Wait until it is done, stopped or failed; return False if it still runs."""
        return self._ready.wait(seconds)


def start(
    inputs: Inputs,
    values: Values,
    frames: Mapping[str, pd.DataFrame],
    outputs: tuple[str, ...],
    size: int,
    before: SweepJob | None,
) -> SweepJob:
    """Return the job for these arguments: the previous one if its key is the same, otherwise a new one.

    Parameters
    ----------
    inputs : Inputs
        Valid.
    values, frames : mapping
        As for `explorer.app_pages.choose.plan.plan`.
    outputs : tuple of str
        Results to compute.
    size : int
        Number of combinations.
    before : SweepJob or None
        The previous job of this session; stopped if its key differs.

    Returns
    -------
    SweepJob
        Started.
    """
    asked = headlines.plain(inputs)
    csv_by_kind = {k: f.to_csv() for k, f in sorted(frames.items())}
    key = repr((asked, {k: values[k] for k in sorted(values)}, csv_by_kind, outputs))
    if before is not None:
        over = before.answer is not None or before.fault or before.stopped
        if before.key == key and (over or not before.wait(0.0)):
            return before
        before.stop()
    job = SweepJob(key, plan(asked, values, frames), outputs, size, sweep_cache(), headlines.profile(asked))
    job.begin()
    return job
