"""Explorer: the what-if pages, in a browser."""

from __future__ import annotations


def __getattr__(name: str) -> str:
    # The version is the engine's. It is read when it is asked for: `python -m explorer` must be able to say that the
    # engine's packages are missing.
    if name == "__version__":
        from propmodel import __version__

        return __version__
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
