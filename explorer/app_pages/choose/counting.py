"""Sweeps of the Choose page, counted in a thread that can be stopped.

A sweep of a million combinations takes seconds and a hundred megabytes: two at a time are counted on the whole server
(or sent to the cluster that it was told of) and the last few are kept for all visitors, within a bound.
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
"""Sweeps counted at the same time on this server. [-]"""
HOLD = 10.0
"""How long full throttle is held for the limits. [s]"""


@dataclass(frozen=True)
class CountedSweep:
    """A finished sweep and the plan behind it."""

    plan: Plan
    found: Sweep
    where: str = ""
    """Where it was counted, in words; empty where no cluster was asked for."""


class SweepCache:
    """The last finished sweeps, by question, within a bound of memory; and the turn to count."""

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
    """The connection of this server to its cluster."""
    return Cluster(scheduler_address())


@st.cache_resource
def sweep_cache() -> SweepCache:
    """The one cache of this server."""
    return SweepCache()


class SweepJob:
    """One sweep being counted.

    Parameters
    ----------
    key : str
        The whole question.
    planned : Plan
    outputs : tuple of str
    size : int
        Combinations.
    held : SweepCache
        Where finished counts are kept.
    way : Profile
        How it is flown, where the minutes of that are asked.
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
        """On the cluster now."""
        self._plan, self._keeper = planned, held
        self._outputs = tuple(k for k in outputs if k != MIXED_TIME)
        # minutes flown one way are a count of their own after the other answers
        self._way = (way or Profile()) if MIXED_TIME in outputs else None
        self._stop, self._ready = threading.Event(), threading.Event()

    def begin(self) -> None:
        """Count in a thread of its own, or take what was kept."""
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
        """The sweep, on the cluster or here, and where in words."""
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
        """Stop counting; what was counted is dropped, the last good picture stays."""
        self._stop.set()

    def wait(self, seconds: float) -> bool:
        """Wait until it is done, stopped or failed; False if it is still counting."""
        return self._ready.wait(seconds)


def start(
    inputs: Inputs,
    values: Values,
    frames: Mapping[str, pd.DataFrame],
    outputs: tuple[str, ...],
    size: int,
    before: SweepJob | None,
) -> SweepJob:
    """The job that answers a question: the one under way if it asks the same, else a new one.

    Parameters
    ----------
    inputs : Inputs
        Usable.
    values, frames : mapping
        As for `explorer.app_pages.choose.plan.plan`.
    outputs : tuple of str
    size : int
    before : SweepJob or None
        The visitor's last job; stopped if it asks something else.

    Returns
    -------
    SweepJob
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
