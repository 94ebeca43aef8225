"""What a server takes while visitors are inside: memory, open files, threads, processor time. Linux only."""

from __future__ import annotations

import os
import re
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Taken", "taken", "times_in_words"]


@dataclass(frozen=True)
class Taken:
    """What a process takes at one moment."""

    megabytes: float
    """Resident memory."""
    files: int
    """Open files, sockets among them."""
    threads: int
    seconds: float
    """Processor time since its start. [s]"""

    def __str__(self) -> str:
        return f"{self.megabytes:.0f} MB, {self.files} files, {self.threads} threads, {self.seconds:.0f} s of processor"


def taken(pid: int) -> Taken:
    """What a process takes now."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    numbers = {key: int(value) for key, value in re.findall(r"^(VmRSS|Threads):\s+(\d+)", status, re.M)}
    # the name of the command, in brackets, may hold spaces
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    ticks = int(fields[11]) + int(fields[12])
    files = len(list(Path(f"/proc/{pid}/fd").iterdir()))
    return Taken(numbers["VmRSS"] / 1024.0, files, numbers["Threads"], ticks / os.sysconf("SC_CLK_TCK"))


def times_in_words(seconds: Sequence[float]) -> str:
    """Median, 95 % and longest of the times to an answer.

    >>> times_in_words([0.2, 0.3, 0.4])
    'answers within 0.30 s (median), 0.39 s (95 %), 0.40 s (longest)'
    """
    if len(seconds) < 2:
        return "no answers to time"
    twentieths = statistics.quantiles(seconds, n=20, method="inclusive")
    return (
        f"answers within {statistics.median(seconds):.2f} s (median), {twentieths[-1]:.2f} s (95 %), "
        f"{max(seconds):.2f} s (longest)"
    )
