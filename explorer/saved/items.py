"""Records and interface of a store of builds and tables, and the validation that all stores share.

The stores are `explorer.saved.store.MemoryStore` and `explorer.saved.folder_store.FolderStore`.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from explorer.saved.build_file import (
    Record,
    Scalar,
    StoreError,
    clean_name,
    decode_many,
    encode,
    encode_many,
    free_name,
)

__all__ = [
    "KEY",
    "KINDS",
    "MAX_TABLE_BYTES",
    "Downloads",
    "Listing",
    "SavedBuild",
    "SavedTable",
    "Store",
    "check_key",
    "check_kind",
    "revision_of",
    "table_bytes",
    "with_free_names",
]

MAX_TABLE_BYTES = 4 * 1024 * 1024
"""Largest part table that is saved. [byte]"""

# A key always has a dash, so it is never the name of a device ("con", "nul").
KEY = re.compile(r"[a-z0-9][a-z0-9-]{0,60}-[a-z0-9]{1,10}")
KINDS = ("motors", "propellers", "packs", "controllers")


def check_key(key: object) -> str:
    """Return the key of a saved build, or raise StoreError."""
    if not isinstance(key, str) or not KEY.fullmatch(key):
        raise StoreError(f"'{clean_name(key)}' is not the key of a saved build.")
    return key


def check_kind(kind: object) -> str:
    """Return the name of a part table, or raise StoreError."""
    if kind not in KINDS:
        raise StoreError(f"'{clean_name(kind)}' is not the name of a part table.")
    return str(kind)


def revision_of(data: bytes) -> str:
    """Return a hash of the content."""
    return hashlib.sha256(data).hexdigest()[:16]


def table_bytes(kind: str, text: str) -> bytes:
    """Return a part table in UTF-8; raise StoreError if it is larger than `MAX_TABLE_BYTES`."""
    data = text.encode("utf-8")
    if len(data) > MAX_TABLE_BYTES:
        raise StoreError(f"The table of {kind} is too large to keep (at most {MAX_TABLE_BYTES // 2**20} MB).")
    return data


def with_free_names(builds: Iterable[tuple[str, Record]], taken: set[str]) -> list[tuple[str, Record]]:
    """Return the builds; a name that is taken gets a number.

    Examples
    --------
    >>> with_free_names([("Scree", {"kv": 1950.0}), ("Scree", {"kv": 2100.0})], {"Tarn"})
    [('Scree', {'kv': 1950.0}), ('Scree (2)', {'kv': 2100.0})]
    """
    taken, out = set(taken), []
    for name, record in builds:
        name = free_name(name, taken)
        taken.add(name)
        out.append((name, record))
    return out


@dataclass(frozen=True)
class SavedBuild:
    """One stored build.

    ``revision`` changes with every save; given to the next save, it detects a change by another window. ``notice`` is
    empty or one sentence for the user.
    """

    key: str
    name: str
    record: Record
    revision: str
    saved: str = ""
    notice: str = ""


@dataclass(frozen=True)
class Listing:
    """All readable builds, the newest first, and a sentence for each that cannot be read."""

    builds: list[SavedBuild] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class SavedTable:
    """One stored part table: the text of its CSV file."""

    kind: str
    text: str
    revision: str
    notice: str = ""


class Store(Protocol):
    """Interface of both stores."""

    notice: str

    def save(
        self,
        name: object,
        record: Mapping[str, Scalar],
        *,
        key: str | None = None,
        revision: str | None = None,
    ) -> SavedBuild: ...
    def load(self, key: str) -> SavedBuild: ...
    def builds(self) -> Listing: ...
    def delete(self, key: str) -> None: ...
    def download(self, key: str) -> bytes: ...
    def download_all(self) -> bytes: ...
    def upload(self, data: bytes) -> list[SavedBuild]: ...
    def save_table(self, kind: str, text: str, *, revision: str | None = None) -> SavedTable: ...
    def load_table(self, kind: str) -> SavedTable | None: ...


class Downloads:
    """Downloads and uploads, which are the same for all stores."""

    notice = ""

    def download(self: Any, key: str) -> bytes:
        """Return one build as the bytes of a file."""
        build = self.load(key)
        return encode(build.name, build.record)

    def download_all(self: Any) -> bytes:
        """Return every build as the bytes of one file."""
        return encode_many([(b.name, b.record) for b in self.builds().builds])

    def upload(self: Any, data: bytes) -> list[SavedBuild]:
        """Add the builds of a file, each with a new key; a name that is taken gets a number."""
        named = with_free_names(decode_many(data), {b.name for b in self.builds().builds})
        return [self.save(name, record) for name, record in named]
