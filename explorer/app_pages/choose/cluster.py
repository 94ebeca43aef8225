"""Connection to a Dask cluster for large sweeps, if the operator has set one.

``PROPULSION_WHAT_IF_SCHEDULER`` is the address of the scheduler of a running Dask cluster, such as
``tcp://10.0.0.5:8786``. Without it, or if the cluster cannot be reached, sweeps run on the server; the page shows
which. Pages do not show the address, which is for the operator only.
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
"""Number of combinations from which a sweep is sent to the cluster; smaller sweeps are faster on the server. [-]"""
CONNECT = 3.0
"""Time limit for connecting to the scheduler. [s]"""


def scheduler_address(environment: Mapping[str, str] | None = None) -> str:
    """Return the address of the scheduler from the environment; "" if it is not set.

    Examples
    --------
    >>> scheduler_address({"PROPULSION_WHAT_IF_SCHEDULER": " tcp://127.0.0.1:8786 "})
    'tcp://127.0.0.1:8786'
    """
    return (os.environ if environment is None else environment).get(SCHEDULER_VARIABLE, "").strip()


class Place(NamedTuple):
    """Where a sweep runs."""

    executor: Executor | None
    """None for this server."""
    words: str
    """Text for the page; "" without a cluster."""


class Cluster:
    """Connection to one scheduler, opened at the first use and again after a loss.

    Parameters
    ----------
    address : str
        Address of the scheduler; "" for no cluster.
    """

    def __init__(self, address: str) -> None:
        self.address = address
        self._lock = threading.Lock()
        self._client: Any = None

    def place(self, size: int) -> Place:
        """Return where a sweep of this number of combinations runs. Can take `CONNECT` seconds."""
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
        """Close the connection after a failed sweep; return this server as the place."""
        logging.getLogger("explorer").warning("scheduler %s: %s", self.address, wrong)
        if type(wrong).__name__ == "OtherModelError":
            return self._here("The cluster runs another state of this program")
        return self._here("The cluster failed on the way")

    def close(self) -> None:
        """Close the connection to the scheduler."""
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
