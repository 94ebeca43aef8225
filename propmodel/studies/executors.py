"""Where the pieces of a sweep are worked out: here, in processes of this machine, or on an executor that is handed in.

Threads do not speed a sweep up: each of numpy's loops over a piece is so short that handing over the interpreter's lock
costs as much as the loop. So a large sweep is shared with worker processes: a `concurrent.futures.ProcessPoolExecutor`
here, or any other `concurrent.futures.Executor`, as a cluster's.

A worker imports propmodel for itself. It must be the same source as the caller's, or some builds would silently get the
answers of another model: every piece carries a fingerprint of the caller's source, and a worker of another refuses.
"""

from __future__ import annotations

import hashlib
import multiprocessing
import os
import signal
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from multiprocessing import connection, context, spawn
from numbers import Integral
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from propmodel.base.checks import quoted
from propmodel.base.tables import data_path

__all__ = [
    "MOST_PROCESSES",
    "STANDBY",
    "OtherModelError",
    "SourceFingerprint",
    "check_processes",
    "cores",
    "hold_memory",
    "own_fingerprint",
    "process_pool",
    "walk",
]

MOST_PROCESSES = 61
"""Processes that a pool takes on every system; Windows waits for no more. [-]"""
AHEAD = 64
"""Pieces that an executor which is handed in holds at a time: enough for as many cores. [-]"""
EARLY = 32
"""Answers that may wait for an earlier one, so that a slow worker holds nobody up; they take memory. [-]"""
PATIENCE = 0.5
"""How long a wait for an executor lasts before the caller is asked again whether to go on. [s]"""


IDLE = 20.0
"""How long worker processes wait for a next sweep before they end. [s]"""


class SourceFingerprint(NamedTuple):
    """Which propmodel a process runs."""

    source: str
    """Fingerprint of its program text and tables."""
    folder: str
    """Where it was imported from."""


class OtherModelError(RuntimeError):
    """A worker runs another propmodel than the caller."""


def _fingerprint() -> SourceFingerprint:
    package = Path(__file__).resolve().parents[1]
    mark = hashlib.sha256()
    for folder, kind in ((package, "*.py"), (data_path(), "*.csv")):
        for path in sorted(folder.rglob(kind), key=lambda p: p.relative_to(folder).parts):
            parts = path.relative_to(folder).parts
            if (kind == "*.py" and parts[0] == "data") or parts[-1] == "source_keys.csv":
                continue  # a checkout and a wheel differ in these, which no answer comes from
            mark.update("/".join(parts).encode() + b"\0")
            # a checkout on another system may end its lines otherwise
            mark.update(path.read_bytes().replace(b"\r", b"") + b"\0")
    return SourceFingerprint(mark.hexdigest()[:16], str(package))


_HERE = _fingerprint()  # at import: what is on disk later may be newer than what runs here


def own_fingerprint() -> SourceFingerprint:
    """Which propmodel this process runs, as it was on import.

    Returns
    -------
    SourceFingerprint
    """
    return _HERE


def _checked(task: Callable[[Any, Any], Any], setup: Any, piece: Any, wanted: SourceFingerprint) -> Any:
    """What a worker runs: one piece, by the caller's own propmodel or not at all."""
    if wanted.source != _HERE.source:
        raise OtherModelError(
            f"a worker runs another propmodel ({_HERE.source} in {_HERE.folder}) than this program "
            f"({wanted.source} in {wanted.folder}): install the same one there, and start the worker again"
        )
    return task(setup, piece)


# ---- worker processes of this machine ---------------------------------------------------------------------


def cores() -> int:
    """Processor cores that this process may use.

    Returns
    -------
    int
    """
    if sys.platform == "linux":
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def check_processes(processes: Any) -> int:
    """A number of processes, checked.

    Parameters
    ----------
    processes : int

    Returns
    -------
    int

    Raises
    ------
    ValueError
        If it is not a whole number from 1 to `MOST_PROCESSES`.

    Examples
    --------
    >>> check_processes(2)
    2
    """
    whole = isinstance(processes, Integral) and not isinstance(processes, bool | np.timedelta64)
    if not whole or not 1 <= int(processes) <= MOST_PROCESSES:
        raise ValueError(f"processes must be a whole number from 1 to {MOST_PROCESSES}, got {quoted(processes)}")
    return int(processes)


_STARTING = threading.Lock()

_THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""Variables that the linear algebra below numpy reads when it is loaded."""


class _Setting:
    """A variable of the environment that is set where this is unpickled, and nowhere else."""

    def __init__(self, name: str) -> None:
        self.name = name

    def __reduce__(self) -> tuple[Callable[[str, str], None], tuple[str, str]]:
        return os.putenv, (self.name, "1")


def _one_thread() -> list[_Setting]:
    """Each worker's linear algebra gets one thread, unless the caller's environment says otherwise.

    There is a worker for each core already, and threads that wait for one another in a loop hold the cores up. The
    caller's own environment stays as it is.
    """
    return [_Setting(name) for name in _THREADS if name not in os.environ]


@contextmanager
def _without_main() -> Iterator[None]:
    """While it lasts, a process started by this thread is not told to import the caller's own script.

    It is told first, before anything imports numpy, how many threads its linear algebra has. A worker needs propmodel
    alone. By default `multiprocessing` runs the script again in every worker, which repeats
    what it does where it is not guarded by ``if __name__ == "__main__"``.
    """
    whole, thread = spawn.get_preparation_data, threading.get_ident()

    def preparation(name: str) -> dict[str, Any]:
        data = whole(name)
        if threading.get_ident() == thread:
            data = {k: v for k, v in data.items() if not k.startswith("init_main_from")}
            data["environment"] = _one_thread()
        return data

    with _STARTING:
        spawn.get_preparation_data = preparation
        try:
            yield
        finally:
            spawn.get_preparation_data = whole


class _Worker(context.SpawnProcess):
    @staticmethod
    def _Popen(process_obj: Any) -> Any:  # the name that multiprocessing asks for
        with _without_main():
            return context.SpawnProcess._Popen(process_obj)


class _Workers(context.SpawnContext):
    Process = _Worker


def _begin() -> None:
    """First thing in a worker: leave an interrupt to the caller, and end when the caller is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    hold_memory()
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    connection.wait([sentinel])
    os._exit(1)


def hold_memory() -> None:
    """Have freed memory of a few hundred kilobytes kept for the next array instead of returned to the system.

    Returning and asking again for every array of a piece takes a tenth of the time of a sweep. Where memory comes from
    glibc, freeing one larger array once raises both its limits; elsewhere nothing happens. The array is never touched.
    """
    np.empty(30 * 2**20, dtype=np.uint8)


def process_pool(processes: int) -> ProcessPoolExecutor:
    """A standard pool of worker processes for sweeps, to be kept over several of them.

    Parameters
    ----------
    processes : int
        1 to `MOST_PROCESSES`.

    Returns
    -------
    concurrent.futures.ProcessPoolExecutor
        Its workers are fresh interpreters (`spawn`) on every system, which import propmodel and not the caller's
        script; they end with the caller, however it ends.

    Raises
    ------
    ValueError
        If the number is out of range.

    Examples
    --------
    >>> import propmodel
    >>> with process_pool(1) as pool:
    ...     found = propmodel.sweep(propmodel.demo("scree"), {"pack.cells": [4, 6]}, "mass", executor=pool)
    >>> found.complete
    True
    """
    return ProcessPoolExecutor(check_processes(processes), mp_context=_Workers(), initializer=_begin)


class _Standby:
    """Pools of worker processes that outlive a sweep by `IDLE`, so that the next one need not wait for their start."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._pools: dict[int, tuple[ProcessPoolExecutor, int]] = {}
        """By number of workers: the pool and the sweeps that use it."""
        self._ends: dict[int, threading.Timer] = {}
        self._process = os.getpid()

    @contextmanager
    def pool(self, workers: int) -> Iterator[ProcessPoolExecutor]:
        """A pool of this size; a new one where the last has lost a worker."""
        with self._lock:
            if self._process != os.getpid():  # forked: the pools belong to the other process
                self._pools, self._ends, self._process = {}, {}, os.getpid()
            if workers in self._ends:
                self._ends.pop(workers).cancel()
            pool, users = self._pools.pop(workers, (None, 0))
            if pool is None or getattr(pool, "_broken", False):
                pool, users = process_pool(workers), 0
            self._pools[workers] = pool, users + 1
        try:
            yield pool
        finally:
            with self._lock:
                now, users = self._pools.get(workers, (None, 0))
                if now is not pool:
                    pool.shutdown(wait=False)  # replaced meanwhile
                else:
                    self._pools[workers] = pool, users - 1
                    if users == 1:
                        self._ends[workers] = end = threading.Timer(IDLE, self._end, (workers, pool))
                        end.daemon = True
                        end.start()

    def _end(self, workers: int, pool: ProcessPoolExecutor) -> None:
        with self._lock:
            if self._pools.get(workers) != (pool, 0) or self._process != os.getpid():
                return
            del self._pools[workers]
            self._ends.pop(workers, None)
        pool.shutdown(wait=True)

    def close(self) -> None:
        """End all pools that no sweep uses."""
        with self._lock:
            idle = [(workers, pool) for workers, (pool, users) in self._pools.items() if users == 0]
            for workers, _ in idle:
                del self._pools[workers]
                self._ends.pop(workers).cancel()
        for _, pool in idle:
            pool.shutdown(wait=True)


STANDBY = _Standby()


# ---- the walk over all pieces -----------------------------------------------------------------------------


def walk(
    task: Callable[[Any, Any], Any],
    setup: Any,
    pieces: Iterable[Any],
    *,
    on_result: Callable[[Any, Any], None],
    progress: Callable[[int], bool | None] | None = None,
    executor: Executor | None = None,
    partners: int = 0,
    ordered: bool = True,
) -> bool:
    """Work out all pieces, and take each answer once.

    Parameters
    ----------
    task : callable
        A function of a module, ``task(setup, piece)``.
    setup : object
        What all pieces have in common; must be picklable, as must pieces and answers.
    pieces : iterable
    on_result : callable
        ``on_result(piece, answer)``, called from this thread.
    progress : callable or None
        Called with the number of pieces taken, after each and while an executor keeps us waiting; False stops.
    executor : Executor or None
        Works out all pieces; this process only hands them over, `AHEAD` at a time.
    partners : int
        Without an executor: worker processes beside this one. If they cannot start or die, this one goes on alone.
    ordered : bool
        Answers are taken in the order of the pieces, rather than as they come.

    Returns
    -------
    bool
        False where it was stopped before all was done.

    Raises
    ------
    OtherModelError
        If a worker runs another propmodel.
    RuntimeError
        If an executor that was handed in fails.
    """
    if executor is not None:
        return _Walk(task, setup, pieces, on_result, progress, executor, AHEAD, alone=False, ordered=ordered).run()
    if partners < 1:
        return _Walk(task, setup, pieces, on_result, progress, None, 0, alone=True, ordered=ordered).run()
    with STANDBY.pool(partners) as pool:
        return _Walk(task, setup, pieces, on_result, progress, pool, 2 * partners, alone=True, ordered=ordered).run()


class _Walk:
    """One walk. ``alone`` says that this process works too, and all by itself once the executor fails."""

    def __init__(
        self,
        task: Callable[[Any, Any], Any],
        setup: Any,
        pieces: Iterable[Any],
        on_result: Callable[[Any, Any], None],
        progress: Callable[[int], bool | None] | None,
        executor: Executor | None,
        ahead: int,
        *,
        alone: bool,
        ordered: bool,
    ) -> None:
        self.task, self.setup, self.on_result, self.progress = task, setup, on_result, progress
        self.executor, self.ahead, self.alone, self.ordered = executor, ahead, alone, ordered
        self.pieces = iter(enumerate(pieces))
        self.again: deque[tuple[int, Any]] = deque()
        """Given to an executor that has failed."""
        self.away: dict[Future[Any], tuple[int, Any]] = {}
        self.ready: dict[int, tuple[Any, Any]] = {}
        """Derivation out, and not taken yet."""
        self.taken = 0

    def run(self) -> bool:
        try:
            while True:
                self._send()
                self._collect()
                if not self._take_ready():
                    # stopped: whether that was all
                    return not self.away and not self.ready and self._next() is None
                # early answers take memory; without an executor there are none
                room = self.executor is None or len(self.ready) < EARLY
                if self.alone and room and (item := self._next()) is not None:
                    self.ready[item[0]] = item[1], self.task(self.setup, item[1])
                elif self.away:
                    done, _ = wait(self.away, timeout=PATIENCE, return_when=FIRST_COMPLETED)
                    if not done and self.progress is not None and self.progress(self.taken) is False:
                        return False
                elif not self.ready:
                    return True
        finally:
            for future in self.away:
                future.cancel()

    def _next(self) -> tuple[int, Any] | None:
        return self.again.popleft() if self.again else next(self.pieces, None)

    def _send(self) -> None:
        while self.executor is not None and len(self.away) < self.ahead and len(self.ready) < EARLY:
            item = self._next()
            if item is None:
                return
            try:
                self.away[self.executor.submit(_checked, self.task, self.setup, item[1], _HERE)] = item
            except Exception as wrong:
                self.again.append(item)
                self._failed(wrong)

    def _collect(self) -> None:
        for future in [f for f in self.away if f.done()]:
            item = self.away.pop(future, None)
            if item is None:
                continue  # the executor has failed meanwhile
            try:
                self.ready[item[0]] = item[1], future.result()
            except (ValueError, OtherModelError):
                raise  # in its own words
            except Exception as wrong:
                self.again.append(item)
                self._failed(wrong)

    def _failed(self, wrong: Exception) -> None:
        if not self.alone:
            raise RuntimeError(
                f"the executor failed before all builds were counted ({type(wrong).__name__}: {wrong}): "
                "nothing is returned; start its workers again, or leave the executor out to count here"
            ) from wrong
        self.again = deque(sorted([*self.again, *self.away.values()], key=lambda item: item[0]))
        self.away.clear()
        self.executor = None

    def _take_ready(self) -> bool:
        while self.ready and (self.taken in self.ready or not self.ordered):
            order = self.taken if self.ordered else next(iter(self.ready))
            self.on_result(*self.ready.pop(order))
            self.taken += 1
            if self.progress is not None and self.progress(self.taken) is False:
                return False
        return True
