"""The cluster that large counts are sent to, where the server was told of one.

``PROPULSION_WHAT_IF_SCHEDULER`` names the scheduler of a running Dask cluster, such as ``tcp://10.0.0.5:8786``. Without
it, or while that is out of reach, counts run on the server itself; the page says which. The address stays out of pages:
it is the operator's.
"""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Mapping
from concurrent.futures import Executor
from typing import Any, NamedTuple

__all__ = ["SCHEDULER_VARIABLE", "SENT_FROM", "Cluster", "Place", "scheduler_address"]

SCHEDULER_VARIABLE = "PROPULSION_WHAT_IF_SCHEDULER"
SENT_FROM = 100_000
"""Combinations from which a count is sent: fewer are done here before an answer comes back. [-]"""
CONNECT = 3.0
"""How long a scheduler has to answer. [s]"""


def scheduler_address(environment: Mapping[str, str] | None = None) -> str:
    """Address of the scheduler that the operator named; empty if none.

    Examples
    --------
    >>> scheduler_address({"PROPULSION_WHAT_IF_SCHEDULER": " tcp://127.0.0.1:8786 "})
    'tcp://127.0.0.1:8786'
    """
    return (os.environ if environment is None else environment).get(SCHEDULER_VARIABLE, "").strip()


class Place(NamedTuple):
    """Where a count runs."""

    executor: Executor | None
    """None: here."""
    words: str
    """For the page; empty where no cluster was asked for."""


class Cluster:
    """The connection to one scheduler, made when it is first needed and again when it was lost.

    Parameters
    ----------
    address : str
        Empty: no cluster.
    """

    def __init__(self, address: str) -> None:
        self.address = address
        self._lock = threading.Lock()
        self._client: Any = None

    def place(self, size: int) -> Place:
        """Where a count of so many combinations runs. May take `CONNECT` seconds."""
        if not self.address or size < SENT_FROM:
            return Place(None, "")
        with self._lock:
            try:
                from distributed import Client
            except ImportError:
                return self._here("The cluster cannot be used, because distributed is not installed on this server")
            try:
                if self._client is None or self._client.status != "running":
                    self._drop()
                    self._client = Client(self.address, timeout=CONNECT, set_as_default=False)
                cores = sum(self._client.ncores().values())
            except Exception as wrong:
                self._drop()
                logging.getLogger("explorer").warning("scheduler %s: %s", self.address, wrong)
                return self._here("The cluster is out of reach")
            if not cores:
                return self._here("The cluster has no workers")
            return Place(self._client.get_executor(), f"Counted on the cluster, {cores} core{'s' * (cores != 1)}.")

    def lost(self, wrong: Exception) -> Place:
        """After a count has failed there: it runs here."""
        logging.getLogger("explorer").warning("scheduler %s: %s", self.address, wrong)
        if type(wrong).__name__ == "OtherModelError":
            return self._here("The cluster runs another state of this program")
        return self._here("The cluster failed on the way")

    def close(self) -> None:
        """Let go of the scheduler."""
        with self._lock:
            self._drop()

    @staticmethod
    def _here(why: str) -> Place:
        return Place(None, f"{why}: counted on this server.")

    def _drop(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            try:
                client.close(timeout=CONNECT)
            except Exception:
                logging.getLogger("explorer").debug("closing the connection", exc_info=True)
