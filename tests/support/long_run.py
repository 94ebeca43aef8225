"""How many random examples a test draws: ten times as many in the long run (``sh .ci/test --long``)."""

from __future__ import annotations

import os

LONG = bool(os.environ.get("PROPMODEL_LONG"))


def examples(count: int) -> int:
    """The number for hypothesis' ``max_examples``, from that of the usual run."""
    return 10 * count if LONG else count
