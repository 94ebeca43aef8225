"""Execution of the pieces of a sweep: in this process, in worker processes, or on an executor of the caller.

Threads do not speed up a sweep: each numpy loop over a piece is so short that passing the interpreter lock costs as
much as the loop. A large sweep therefore uses worker processes: a `concurrent.futures.ProcessPoolExecutor`, or any
other `concurrent.futures.Executor`, such as that of a cluster.

A worker imports its own propmodel. With another version of the source, some builds would silently get the results of
another model. Each task therefore carries a fingerprint of the caller's source, and a worker with another one raises
`OtherModelError`.
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
"""Largest number of worker processes: Windows can wait for no more. [-]"""
AHEAD = 64
"""Largest number of pieces submitted to an executor of the caller at a time; enough for 64 cores. [-]"""
EARLY = 32
"""Largest number of results that are stored until an earlier piece is finished; it limits memory. [-]"""
PATIENCE = 0.5
"""Longest wait for an executor before ``progress`` is called again. [s]"""


IDLE = 20.0
"""Time that idle worker processes wait for another sweep before they end. [s]"""


class SourceFingerprint(NamedTuple):
    """Identity of the propmodel that a process runs."""

    source: str
    """Hash of its source files and tables."""
    folder: str
    """Folder from which it was imported."""


class OtherModelError(RuntimeError):
    """A worker runs a propmodel with another source than the caller's."""


def _fingerprint() -> SourceFingerprint:
    package = Path(__file__).resolve().parents[1]
    mark = hashlib.sha256()
    for folder, kind in ((package, "*.py"), (data_path(), "*.csv")):
        for path in sorted(folder.rglob(kind), key=lambda p: p.relative_to(folder).parts):
            parts = path.relative_to(folder).parts
            if (kind == "*.py" and parts[0] == "data") or parts[-1] == "source_keys.csv":
                continue  # a checkout and a wheel differ in these files, and no result depends on them
            mark.update("/".join(parts).encode() + b"\0")
            # line endings may differ between systems
            mark.update(path.read_bytes().replace(b"\r", b"") + b"\0")
    return SourceFingerprint(mark.hexdigest()[:16], str(package))


_HERE = _fingerprint()  # at import, because the files may change afterwards


def own_fingerprint() -> SourceFingerprint:
    """Return the fingerprint of the propmodel that this process has imported.

    Returns
    -------
    SourceFingerprint
        Computed at import.
    """
    return _HERE


def _checked(task: Callable[[Any, Any], Any], setup: Any, piece: Any, wanted: SourceFingerprint) -> Any:
    """Run one piece in a worker; raise `OtherModelError` if its propmodel differs from the caller's."""
    if wanted.source != _HERE.source:
        raise OtherModelError(
            f"a worker runs another propmodel ({_HERE.source} in {_HERE.folder}) than this program "
            f"({wanted.source} in {wanted.folder}): install the same one there, and start the worker again"
        )
    return task(setup, piece)


# ---- worker processes of this machine ---------------------------------------------------------------------


def cores() -> int:
    """Return the number of processor cores that this process may use.

    Returns
    -------
    int
        At least 1. [-]
    """
    if sys.platform == "linux":
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def check_processes(processes: Any) -> int:
    """Check a number of processes.

    Parameters
    ----------
    processes : int
        Number of processes. [-]

    Returns
    -------
    int
        The same number.

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
"""Environment variables with the number of threads, which numpy's linear algebra library reads when it is loaded."""


class _Setting:
    """An environment variable that is set in the process that unpickles this object."""

    def __init__(self, name: str) -> None:
        self.name = name

    def __reduce__(self) -> tuple[Callable[[str, str], None], tuple[str, str]]:
        return os.putenv, (self.name, "1")


def _one_thread() -> list[_Setting]:
    """Settings that give the linear algebra of each worker one thread, unless the caller's environment sets a number.

    There is already one worker per core, and threads that wait actively for one another would occupy the cores. The
    caller's own environment is not changed.
    """
    return [_Setting(name) for name in _THREADS if name not in os.environ]


@contextmanager
def _without_main() -> Iterator[None]:
    """Context in which processes started by this thread do not import the caller's script.

    By default `multiprocessing` runs the script again in every worker, which repeats its actions unless they are
    guarded by ``if __name__ == "__main__"``. A worker needs only propmodel. The context also passes the thread
    settings of `_one_thread`, which take effect before numpy is imported.
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
    """Initialise a worker: ignore interrupts, which the caller handles, and end when the caller ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    hold_memory()
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    connection.wait([sentinel])
    os._exit(1)


def hold_memory() -> None:
    """Make the memory allocator keep freed blocks of a few hundred kilobytes instead of returning them to the system.

    Returning and requesting every array of a piece takes a tenth of the time of a sweep. With glibc, freeing one larger
    array raises both thresholds of the allocator; with other allocators this has no effect.
    """
    np.empty(30 * 2**20, dtype=np.uint8)


def process_pool(processes: int) -> ProcessPoolExecutor:
    """Return a pool of worker processes that can be used for several sweeps.

    Parameters
    ----------
    processes : int
        Number of workers, 1 to `MOST_PROCESSES`. [-]

    Returns
    -------
    concurrent.futures.ProcessPoolExecutor
        Its workers are new interpreters (start method `spawn`) on every system. They import propmodel but not the
        caller's script, and they end when the caller ends, also after a crash.

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
    """Pools of worker processes that remain for `IDLE` seconds after a sweep, so that the next one starts sooner."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._pools: dict[int, tuple[ProcessPoolExecutor, int]] = {}
        """Number of workers -> the pool, and the number of sweeps that use it."""
        self._ends: dict[int, threading.Timer] = {}
        self._process = os.getpid()

    @contextmanager
    def pool(self, workers: int) -> Iterator[ProcessPoolExecutor]:
        """Context with a pool of this size; a new pool if the last one has lost a worker."""
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
                    pool.shutdown(wait=False)  # another pool has replaced it
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
        """Shut down all pools that no sweep uses."""
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
    """Compute all pieces and pass each result to ``on_result`` once.

    Parameters
    ----------
    task : callable
        A module-level function, ``task(setup, piece)``, which returns the result of the piece.
    setup : object
        Data common to all pieces. ``setup``, pieces and results must be picklable.
    pieces : iterable
        The pieces, in order.
    on_result : callable
        ``on_result(piece, result)``, called from this thread.
    progress : callable or None
        Called with the number of finished pieces after each piece, and at intervals while waiting for an executor. The
        return value False stops the computation.
    executor : Executor or None
        Computes all pieces; this process only submits them, at most `AHEAD` at a time.
    partners : int
        Number of worker processes besides this one, if ``executor`` is None. If they cannot start, or end
        unexpectedly, this process continues alone.
    ordered : bool
        True passes the results on in the order of the pieces; False as soon as each is finished.

    Returns
    -------
    bool
        True if all pieces were computed, False if ``progress`` stopped the computation before.

    Raises
    ------
    OtherModelError
        If a worker runs a propmodel with another source.
    RuntimeError
        If the given executor fails.
    """
    if executor is not None:
        return _Walk(task, setup, pieces, on_result, progress, executor, AHEAD, alone=False, ordered=ordered).run()
    if partners < 1:
        return _Walk(task, setup, pieces, on_result, progress, None, 0, alone=True, ordered=ordered).run()
    with STANDBY.pool(partners) as pool:
        return _Walk(task, setup, pieces, on_result, progress, pool, 2 * partners, alone=True, ordered=ordered).run()


class _Walk:
    """State of one call of `walk`.

    With ``alone`` this process computes pieces too, and it continues by itself if the executor fails.
    """

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
        """Pieces that were submitted to an executor that failed; they are computed again."""
        self.away: dict[Future[Any], tuple[int, Any]] = {}
        """Submitted pieces."""
        self.ready: dict[int, tuple[Any, Any]] = {}
        """Piece number -> piece and result that ``on_result`` has not received yet."""
        self.taken = 0

    def run(self) -> bool:
        try:
            while True:
                self._send()
                self._collect()
                if not self._take_ready():
                    # stopped by `progress`: True only if it was the last piece
                    return not self.away and not self.ready and self._next() is None
                # stored results take memory; without an executor none are stored
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
                continue  # `_failed` has removed it in this loop
            try:
                self.ready[item[0]] = item[1], future.result()
            except (ValueError, OtherModelError):
                raise  # an error of the task itself, not of the executor
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
