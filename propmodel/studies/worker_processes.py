"""A second process for large sweeps.

Threads do not speed a sweep up: each of numpy's loops over a chunk is so short that handing over the interpreter's
lock costs as much as the loop. So the chunks of a large sweep are shared with further Python processes, one a core.
They are plain children with pipes rather than `multiprocessing` workers, which would run the user's own script again.
If none can be started, or one fails on the way, the sweep goes on without it and gives the same answers.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterable
from contextlib import suppress
from typing import Any

__all__ = ["Partner", "serve", "share"]


class Partner:
    """One further Python process that works out pieces of one job.

    Parameters
    ----------
    task : callable
        A function of a module, ``task(setup, piece)``.
    setup : object
        What all pieces have in common; must be picklable, as must pieces and answers.

    Raises
    ------
    OSError
        If no process can be started.
    """

    def __init__(self, task: Callable[[Any, Any], Any], setup: Any) -> None:
        path = os.pathsep.join(part or os.getcwd() for part in sys.path)
        self._process = subprocess.Popen(
            [sys.executable, "-c", "from propmodel.studies import worker_processes; worker_processes.serve()"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=os.environ | {"PYTHONPATH": path},
        )
        try:
            self._send((task, setup))
        except BaseException:
            self.close()
            raise

    def _send(self, message: Any) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(pickle.dumps(message, protocol=pickle.HIGHEST_PROTOCOL))
        self._process.stdin.flush()

    def ask(self, piece: Any) -> Any:
        """Have one piece worked out.

        Parameters
        ----------
        piece : object

        Returns
        -------
        object
            What ``task(setup, piece)`` returned.

        Raises
        ------
        OSError, EOFError, pickle.UnpicklingError
            If the process has failed.
        """
        self._send(piece)
        assert self._process.stdout is not None
        return pickle.load(self._process.stdout)

    def close(self) -> None:
        """End the process, whatever it is doing."""
        self._process.kill()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                with suppress(OSError):  # what is left in a broken pipe is of no use to anybody
                    pipe.close()
        self._process.wait()


_FAILED = (OSError, EOFError, pickle.PickleError, AttributeError, TypeError, ValueError)
"""What a process that cannot start, cannot be told the task, or dies may raise here."""


def share(
    task: Callable[[Any, Any], Any],
    setup: Any,
    pieces: Iterable[Any],
    *,
    take: Callable[[Any, Any], None],
    partners: int,
    told: Callable[[int], bool | None] | None = None,
) -> bool:
    """Work out pieces here and in further processes.

    Parameters
    ----------
    task : callable
        A function of a module, ``task(setup, piece)``.
    setup : object
        What all pieces have in common.
    pieces : iterable
    take : callable
        ``take(piece, answer)``, called from several threads, once for each piece.
    partners : int
        Further processes.
    told : callable or None
        Called here with the number of pieces done, after each piece of this process; False stops.

    Returns
    -------
    bool
        False where it was stopped before all was done.
    """
    waiting = deque(pieces)
    total, lock, done, stop = len(waiting), threading.Lock(), 0, threading.Event()

    def next_piece() -> Any:
        with lock:
            return waiting.popleft() if waiting and not stop.is_set() else None

    def count() -> None:
        nonlocal done
        with lock:
            done += 1

    def feed() -> None:
        partner = piece = None
        try:
            partner = Partner(task, setup)
            while (piece := next_piece()) is not None:
                answer = partner.ask(piece)
                take(piece, answer)
                count()
                piece = None
        except _FAILED:
            if piece is not None and not stop.is_set():
                with lock:
                    waiting.append(piece)
        finally:
            if partner is not None:
                partner.close()

    feeders = [threading.Thread(target=feed, daemon=True) for _ in range(partners)]
    for feeder in feeders:
        feeder.start()
    try:
        while True:
            while (piece := next_piece()) is not None:
                take(piece, task(setup, piece))
                count()
                if told is not None and told(done) is False:
                    stop.set()
            for feeder in feeders:
                feeder.join()
            if stop.is_set() or not waiting:
                break
        if feeders and told is not None and not stop.is_set():
            told(done)  # the last pieces may have come from another process
    finally:
        stop.set()
    return done == total


def serve() -> None:
    """Answer the pieces that come in, until the pipe ends: what the further process does."""
    pipe_in, pipe_out = sys.stdin.buffer, os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # nothing printed may fall between the answers
    with suppress(EOFError, BrokenPipeError):
        task, setup = pickle.load(pipe_in)
        while True:
            pickle.dump(task(setup, pickle.load(pipe_in)), pipe_out, protocol=pickle.HIGHEST_PROTOCOL)
            pipe_out.flush()
