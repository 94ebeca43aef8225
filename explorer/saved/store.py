"""Choice of the store of builds and part tables: the user's folder, or memory for one visit.

The environment variable ``PROPULSION_WHAT_IF_DATA`` names another folder; with the value ``none`` everything is stored
in memory (hosted mode). The build file is defined in `explorer.saved.build_file`, the database of the folder in
`explorer.saved.folder_store`.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Mapping
from pathlib import Path

from explorer.saved.build_file import (
    FORMAT_VERSION,
    MAX_BUILDS,
    Scalar,
    StoreError,
    check_record,
    clean_name,
    decode,
    decode_many,
    encode,
    encode_many,
    file_name,
    new_key,
    parse,
)
from explorer.saved.folder_store import FolderStore
from explorer.saved.items import (
    MAX_TABLE_BYTES,
    Downloads,
    Listing,
    SavedBuild,
    SavedTable,
    Store,
    check_key,
    check_kind,
    revision_of,
    table_bytes,
    with_free_names,
)
from explorer.saved.old_folder import OldFolder, read_old_folder, readable

__all__ = [
    "DATA_VARIABLE",
    "FORMAT_VERSION",
    "MAX_TABLE_BYTES",
    "FolderStore",
    "Listing",
    "MemoryStore",
    "SavedBuild",
    "SavedTable",
    "Store",
    "StoreError",
    "check_record",
    "clean_name",
    "data_folder",
    "decode",
    "decode_many",
    "encode",
    "encode_many",
    "file_name",
    "open_store",
]

DATA_VARIABLE = "PROPULSION_WHAT_IF_DATA"


def data_folder(
    environ: Mapping[str, str] | None = None, platform: str | None = None, *, home: Path | None = None
) -> Path | None:
    """Return the folder for the user's data, or None if everything is stored in memory.

    Parameters
    ----------
    environ : mapping, optional
        Environment variables; those of the process by default.
    platform : str, optional
        As ``sys.platform``.
    home : Path, optional
        The user's home folder.

    Returns
    -------
    Path or None
        The folder, which may not exist yet.

    Notes
    -----
    Linux and other Unix: XDG Base Directory Specification 0.8 (``$XDG_DATA_HOME``, a relative value is
    ignored, else ``~/.local/share``). macOS: ``~/Library/Application Support``. Windows: ``%LOCALAPPDATA%``.
    ``~`` at the start of a chosen folder is the home folder. Without a home folder everything is stored in memory.

    Examples
    --------
    >>> data_folder({"PROPULSION_WHAT_IF_DATA": "none"}) is None
    True
    >>> data_folder({}, "linux", home=Path("/home/a")).as_posix()
    '/home/a/.local/share/propulsion-what-if'
    """
    environ = os.environ if environ is None else environ
    platform = sys.platform if platform is None else platform
    chosen = environ.get(DATA_VARIABLE, "").strip()
    if chosen.lower() == "none":
        return None
    if chosen and not chosen.startswith("~"):
        return Path(chosen)
    try:
        home = Path.home() if home is None else home
        if chosen:
            first, *rest = re.split(r"[/\\]", chosen)
            return (home if first == "~" else Path(first).expanduser()).joinpath(*filter(None, rest))
    except RuntimeError:  # no home folder, or an unknown user
        return None
    if platform.startswith("win"):
        local = environ.get("LOCALAPPDATA", "")
        return (Path(local) if local else home / "AppData" / "Local") / "Propulsion what-if"
    if platform == "darwin":
        return home / "Library" / "Application Support" / "Propulsion what-if"
    xdg = environ.get("XDG_DATA_HOME", "")
    return (Path(xdg) if xdg.startswith("/") else home / ".local" / "share") / "propulsion-what-if"


class MemoryStore(Downloads):
    """Builds and tables in memory for one session, for a hosted page without a folder.

    Parameters
    ----------
    notice : str, optional
        Reason for the user why there is no folder.
    start : OldFolder, optional
        Contents of a read-only folder, which are listed too.
    """

    def __init__(self, notice: str = "", start: OldFolder | None = None) -> None:
        self.notice = notice or "Builds last for this visit only: download what you want to keep."
        self._builds: dict[str, bytes] = {}
        self._tables: dict[str, str] = {}
        if start is not None:
            self._builds = {key: document for key, document, _ in start.builds if readable(document)}
            self._tables = {kind: data.decode("utf-8", "replace") for kind, data in start.tables.items()}

    def save(
        self,
        name: object,
        record: Mapping[str, Scalar],
        *,
        key: str | None = None,
        revision: str | None = None,
    ) -> SavedBuild:
        """Save a build; see `FolderStore.save`."""
        if key is not None:
            check_key(key)
        if key not in self._builds and len(self._builds) >= MAX_BUILDS:
            raise StoreError(f"{MAX_BUILDS} builds are kept already: delete some first.")
        data = encode(name, record)
        key = key or new_key(name)
        self._builds[key] = data
        return self.load(key)

    def upload(self, data: bytes) -> list[SavedBuild]:
        """Add the builds of a file, all or none; see `FolderStore.upload`."""
        read = decode_many(data)
        if len(self._builds) + len(read) > MAX_BUILDS:
            raise StoreError(
                f"None of the {len(read)} builds was brought in: {len(self._builds)} are kept, and {MAX_BUILDS} can "
                "be. Delete some first."
            )
        ready = [
            (new_key(name), encode(name, record))
            for name, record in with_free_names(read, {b.name for b in self.builds().builds})
        ]
        self._builds |= dict(ready)
        return [self.load(key) for key, _ in ready]

    def load(self, key: str) -> SavedBuild:
        """Return one build."""
        data = self._builds.get(check_key(key))
        if data is None:
            raise StoreError("This build is no longer there.")
        name, record, saved = parse(data)
        return SavedBuild(key, name, record, revision_of(data), saved)

    def builds(self) -> Listing:
        """Return every build, newest first."""
        return Listing([self.load(key) for key in reversed(self._builds)])

    def delete(self, key: str) -> None:
        """Delete one build."""
        if self._builds.pop(check_key(key), None) is None:
            raise StoreError("This build is no longer there.")

    def save_table(self, kind: str, text: str, *, revision: str | None = None) -> SavedTable:
        """Save a part table; see `FolderStore.save_table`."""
        table_bytes(check_kind(kind), text)
        self._tables[kind] = text
        return SavedTable(kind, text, revision_of(text.encode()))

    def load_table(self, kind: str) -> SavedTable | None:
        """Return a part table, or None if none is stored."""
        text = self._tables.get(check_kind(kind))
        return None if text is None else SavedTable(kind, text, revision_of(text.encode()))


def open_store(folder: Path | str | None = None) -> Store:
    """Open the user's store: the folder of `data_folder`, or memory if there is none or it cannot be used.

    A disk error must not prevent the page from opening, so its reason is in ``notice`` and no exception is raised.
    """
    chosen = Path(folder) if folder is not None else data_folder()
    if chosen is None:
        return MemoryStore()
    try:
        return FolderStore(chosen)
    except StoreError as wrong:
        notice = f"{wrong} Builds last for this visit only: download what you want to keep."
        try:
            return MemoryStore(notice, read_old_folder(chosen))
        except OSError:
            return MemoryStore(notice)
