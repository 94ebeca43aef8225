"""Saved builds and part tables on the user's own disk: nothing half written, nothing overwritten unseen.

How a save stays safe
---------------------
The new text goes to a temporary file in the same folder and is flushed to the disk (``fsync``). The
version that was there is kept as ``<key>.json.previous``. One rename (``os.replace``) then puts the
new text in place and the folder is flushed too. A crash at any point leaves the old build or the
new one, never a piece. A lock file makes windows and processes take turns. A window that saves over
a build which another window has changed since gets a copy beside it.

``PROPULSION_WHAT_IF_DATA`` names another folder; the value ``none`` keeps everything in memory (hosted mode).
This module knows no Streamlit; what a build file holds is in `explorer.build_file`.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import re
import secrets
import shutil
import stat
import sys
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Protocol

from explorer.build_file import (
    FORMAT_VERSION,
    MAX_BUILDS,
    MAX_BYTES,
    LaterVersionError,
    Record,
    Scalar,
    StoreError,
    check_record,
    clean_name,
    decode,
    decode_many,
    encode,
    encode_many,
    file_name,
    free_name,
    new_key,
    parse,
)

__all__ = [
    "DATA_VARIABLE",
    "FORMAT_VERSION",
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
MAX_TABLE_BYTES = 4 * 1024 * 1024
"""Largest part table kept. [byte]"""

# A key always has a dash: so it is never the name of a device ("con", "nul").
_KEY = re.compile(r"[a-z0-9][a-z0-9-]{0,60}-[a-z0-9]{1,10}")
_KINDS = ("motors", "propellers", "packs", "controllers")
_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}

# --- where ---


def data_folder(
    environ: Mapping[str, str] | None = None, platform: str | None = None, *, home: Path | None = None
) -> Path | None:
    """Return the folder for the user's data, or None when everything stays in memory.

    Parameters
    ----------
    environ : mapping, optional
        Environment; the process's own by default.
    platform : str, optional
        As ``sys.platform``.
    home : Path, optional
        The user's home folder.

    Returns
    -------
    Path or None
        Not created yet.

    Notes
    -----
    Linux and other Unix: XDG Base Directory Specification 0.8 (``$XDG_DATA_HOME``, a relative value is
    ignored, else ``~/.local/share``). macOS: ``~/Library/Application Support``. Windows: ``%LOCALAPPDATA%``.

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
    home = Path.home() if home is None else home
    if chosen:
        return home / chosen[2:] if chosen.startswith(("~/", "~\\")) else Path(chosen)
    if platform.startswith("win"):
        local = environ.get("LOCALAPPDATA", "")
        return (Path(local) if local else home / "AppData" / "Local") / "Propulsion what-if"
    if platform == "darwin":
        return home / "Library" / "Application Support" / "Propulsion what-if"
    xdg = environ.get("XDG_DATA_HOME", "")
    return (Path(xdg) if xdg.startswith("/") else home / ".local" / "share") / "propulsion-what-if"


def _check_key(key: object) -> str:
    if not isinstance(key, str) or not _KEY.fullmatch(key):
        raise StoreError(f"'{clean_name(key)}' is not the key of a saved build.")
    return key


def _check_kind(kind: object) -> str:
    if kind not in _KINDS:
        raise StoreError(f"'{clean_name(kind)}' is not the name of a part table.")
    return kind


# --- what a store gives back ---


@dataclass(frozen=True)
class SavedBuild:
    """One build as it is kept.

    ``revision`` changes with every save: handed back with the next save, it shows a change made in another
    window.
    ``notice`` is empty or one sentence the user should read.
    """

    key: str
    name: str
    record: Record
    revision: str
    saved: str = ""
    notice: str = ""


@dataclass(frozen=True)
class Listing:
    """All builds that can be read, newest first, and a sentence for each file that cannot."""

    builds: list[SavedBuild] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class SavedTable:
    """A part table as it is kept: the text of its CSV file."""

    kind: str
    text: str
    revision: str
    notice: str = ""


class Store(Protocol):
    """What both stores can do."""

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


def _revision(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:16]


class _Common:
    """What does not depend on where the builds are."""

    notice = ""

    def download(self: Any, key: str) -> bytes:
        """Return one build as the bytes of a file."""
        build = self.load(key)
        return encode(build.name, build.record)

    def download_all(self: Any) -> bytes:
        """Return every build as the bytes of one file."""
        return encode_many([(b.name, b.record) for b in self.builds().builds])

    def upload(self: Any, data: bytes) -> list[SavedBuild]:
        """Add the builds of a file, each under a key of its own; a name already taken gets a number."""
        read = decode_many(data)
        taken = {b.name for b in self.builds().builds}
        out = []
        for name, record in read:
            name = free_name(name, taken)
            taken.add(name)
            out.append(self.save(name, record))
        return out


class MemoryStore(_Common):
    """Builds of one visit only, for a hosted page without a folder: one per session, never one for all."""

    def __init__(self, notice: str = "") -> None:
        self.notice = notice or "Builds last for this visit only: download what you want to keep."
        self._builds: dict[str, bytes] = {}
        self._tables: dict[str, str] = {}

    def save(
        self,
        name: object,
        record: Mapping[str, Scalar],
        *,
        key: str | None = None,
        revision: str | None = None,
    ) -> SavedBuild:
        """Keep a build; see `FolderStore.save`."""
        if key is not None:
            _check_key(key)
        if key not in self._builds and len(self._builds) >= MAX_BUILDS:
            raise StoreError(f"{MAX_BUILDS} builds are kept already: delete some first.")
        data = encode(name, record)
        key = key or new_key(name)
        self._builds[key] = data
        return self.load(key)

    def load(self, key: str) -> SavedBuild:
        """Return one build."""
        data = self._builds.get(_check_key(key))
        if data is None:
            raise StoreError("This build is no longer there.")
        name, record, saved = parse(data)
        return SavedBuild(key, name, record, _revision(data), saved)

    def builds(self) -> Listing:
        """Return every build, newest first."""
        return Listing([self.load(key) for key in reversed(self._builds)])

    def delete(self, key: str) -> None:
        """Forget one build."""
        if self._builds.pop(_check_key(key), None) is None:
            raise StoreError("This build is no longer there.")

    def save_table(self, kind: str, text: str, *, revision: str | None = None) -> SavedTable:
        """Keep a part table; see `FolderStore.save_table`."""
        _table_bytes(_check_kind(kind), text)
        self._tables[kind] = text
        return SavedTable(kind, text, _revision(text.encode()))

    def load_table(self, kind: str) -> SavedTable | None:
        """Return a part table, or None when none was kept."""
        text = self._tables.get(_check_kind(kind))
        return None if text is None else SavedTable(kind, text, _revision(text.encode()))


def _table_bytes(kind: str, text: str) -> bytes:
    data = text.encode("utf-8")
    if len(data) > MAX_TABLE_BYTES:
        raise StoreError(f"The table of {kind} is too large to keep (at most {MAX_TABLE_BYTES // 2**20} MB).")
    return data


# --- on disk ---


def _fsync_folder(folder: Path) -> None:
    if os.name != "posix":
        return  # Windows has no handle on a folder to flush; the rename itself is journalled
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _write_new(path: Path, data: bytes) -> None:
    """Write a file that must not exist yet and flush it to the disk."""
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
    handle = os.open(path, flags, 0o600)
    try:
        view = memoryview(data)
        while view:
            view = view[os.write(handle, view) :]
        os.fsync(handle)
    finally:
        os.close(handle)


def _read(path: Path, limit: int) -> bytes | None:
    """Return the bytes of an ordinary file (no link, no device), None when it is not there."""
    try:
        handle = os.open(
            path,
            os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0),
        )
    except FileNotFoundError:
        return None
    except OSError as wrong:
        if wrong.errno == errno.ELOOP:
            raise StoreError(f"{path.name} is a link to somewhere else and is not followed.") from None
        raise
    with os.fdopen(handle, "rb") as file:
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            raise StoreError(f"{path.name} is not an ordinary file.")
        return file.read(limit + 1)


class FolderStore(_Common):
    """Builds and part tables in a folder of the user's own.

    Parameters
    ----------
    folder : Path
        Made when it is not there.

    Raises
    ------
    StoreError
        When the folder cannot be made or written to.

    Examples
    --------
    >>> import tempfile
    >>> store = FolderStore(Path(tempfile.mkdtemp()))
    >>> first = store.save("Scree", {"kv": 1950.0})
    >>> store.load(first.key).record
    {'kv': 1950.0}
    """

    lock_seconds = 10.0

    def __init__(self, folder: Path | str) -> None:
        self.folder = Path(folder)
        self.notice = ""
        self._build_folder = self.folder / "builds"
        self._table_folder = self.folder / "parts"
        self._aside = self.folder / "set-aside"
        try:
            for path in (self._build_folder, self._table_folder):
                path.mkdir(mode=0o700, parents=True, exist_ok=True)
        except OSError as wrong:
            raise StoreError(f"The folder {self.folder} cannot be used: {_reason(wrong)}.") from None

    # locking

    @contextlib.contextmanager
    def _locked(self) -> Iterator[None]:
        """Hold the folder for one change. The system frees the lock when a process dies."""
        path = self.folder / "lock"
        handle = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o600)
        try:
            until = time.monotonic() + self.lock_seconds
            while not _try_lock(handle):
                if time.monotonic() > until:
                    raise StoreError("Another window is still saving. Nothing was changed: try again in a moment.")
                time.sleep(0.01)
            self._sweep()
            yield
        finally:
            os.close(handle)  # closing frees the lock

    def _sweep(self) -> None:
        """Remove pieces of a save that was cut short. Nobody else writes while the lock is held."""
        for folder in (self._build_folder, self._table_folder):
            for path in folder.glob("*.part"):
                with contextlib.suppress(OSError):
                    path.unlink()

    def _put(self, path: Path, data: bytes, *, what: str, old: bytes | None) -> None:
        """Replace a file: each moment shows the old text or the new one. The old becomes ``.previous``."""
        new = path.with_name(f"{path.name}.{secrets.token_hex(4)}.part")
        kept = path.with_name(f"{path.name}.{secrets.token_hex(4)}.part")
        try:
            _write_new(new, data)
            if old is not None:
                _write_new(kept, old)
                os.replace(kept, path.with_name(path.name + ".previous"))
            os.replace(new, path)
            _fsync_folder(path.parent)
        except OSError as wrong:
            for piece in (new, kept):
                with contextlib.suppress(OSError):
                    piece.unlink()
            raise StoreError(f"{what} was not saved: {_reason(wrong)}. What was saved before is untouched.") from None

    def _set_aside(self, path: Path, *, leave: bool = False) -> str:
        """Keep an unreadable file under a name of its own; with ``leave`` it also stays where it is."""
        self._aside.mkdir(mode=0o700, exist_ok=True)
        target = self._aside / f"{datetime.now(UTC):%Y%m%d-%H%M%S}-{secrets.token_hex(3)}-{path.name}"
        if leave:
            shutil.copyfile(path, target, follow_symlinks=False)
        else:
            os.replace(path, target)
        return f"{self._aside.name}/{target.name}"

    # builds

    def _path(self, key: str) -> Path:
        return self._build_folder / f"{_check_key(key)}.json"

    def _read_build(self, key: str) -> SavedBuild | None:
        data = _read(self._path(key), MAX_BYTES)
        if data is None:
            return None
        name, record, saved = parse(data)
        return SavedBuild(key, name, record, _revision(data), saved)

    def _rescue(self, key: str) -> tuple[SavedBuild | None, str]:
        """Set aside a file that cannot be read and go back to its previous version if that is sound."""
        with self._locked():
            try:
                return self._read_build(key), ""  # another window may have mended it meanwhile
            except LaterVersionError as wrong:
                return None, f"'{key}' was left as it is. {wrong}"
            except StoreError as wrong:
                why = str(wrong)
            path = self._path(key)
            previous = path.with_name(path.name + ".previous")
            try:
                data = _read(previous, MAX_BYTES)
                name, record, saved = parse(data) if data is not None else ("", {}, "")
            except (StoreError, OSError):
                data = None
            try:
                # A copy goes aside first, so that a crash in between leaves the build where it was.
                where = self._set_aside(path, leave=data is not None)
            except OSError as wrong:
                return (
                    None,
                    f"'{key}' cannot be read. {why} It could not be set aside either: {_reason(wrong)}.",
                )
            if data is None:
                return None, f"'{key}' cannot be read. {why} The file is kept in {where}."
            self._put(path, data, what=f"'{name}'", old=None)
            said = f"'{name}' could not be read. {why} The version before it is back, the file in {where}."
            return SavedBuild(key, name, record, _revision(data), saved, said), said

    def save(
        self,
        name: object,
        record: Mapping[str, Scalar],
        *,
        key: str | None = None,
        revision: str | None = None,
    ) -> SavedBuild:
        """Keep a build.

        Parameters
        ----------
        name : str
            Any text; cleaned for the screen.
        record : mapping
            See `check_record`.
        key : str, optional
            Save over this build; without it a new one is made.
        revision : str, optional
            The revision this window last saw. When the build on disk is another one by now, or is gone, this
            save becomes a build of its own and ``notice`` says so: neither window loses anything.

        Returns
        -------
        SavedBuild
            As it is kept now.

        Raises
        ------
        StoreError
            One sentence (disk full, no permission, too large); what was saved before is then untouched.
        """
        data = encode(name, record)
        cleaned, notice = clean_name(name), ""
        if key is not None:
            self._path(key)
        try:
            with self._locked():
                old: bytes | None = None
                if key is not None:
                    try:
                        old = _read(self._path(key), MAX_BYTES)
                    except StoreError:
                        old = None
                    if revision is not None and (old is None or _revision(old) != revision):
                        gone = old is None
                        names = {p.name for p in self._names()}
                        cleaned = free_name(cleaned, names)
                        data, key, old = encode(cleaned, record), None, None
                        notice = (
                            f"The build was {'deleted' if gone else 'changed'} in another window meanwhile, "
                            f"so yours is kept beside it as '{cleaned}'."
                        )
                    elif old is not None:
                        try:
                            parse(old)
                        except StoreError:
                            where = self._set_aside(self._path(key), leave=True)
                            old, notice = None, f"What was there could not be read; it is kept in {where}."
                if key is None:
                    if sum(1 for _ in self._build_folder.glob("*.json")) >= MAX_BUILDS:
                        raise StoreError(f"{MAX_BUILDS} builds are kept already: delete some first.")
                    key = new_key(cleaned)
                self._put(self._path(key), data, what=f"'{cleaned}'", old=old)
        except OSError as wrong:
            raise StoreError(
                f"'{cleaned}' was not saved: {_reason(wrong)}. What was saved before is untouched."
            ) from None
        name, kept, saved = parse(data)
        return SavedBuild(key, name, kept, _revision(data), saved, notice)

    def _names(self) -> Iterator[SavedBuild]:
        for path in self._build_folder.glob("*.json"):
            with contextlib.suppress(StoreError, OSError):
                build = self._read_build(path.stem)
                if build is not None:
                    yield build

    def load(self, key: str) -> SavedBuild:
        """Return one build; a broken file goes aside and its previous version comes back if there is one."""
        try:
            build = self._read_build(key)
        except LaterVersionError:
            raise
        except StoreError:
            _check_key(key)
            build, problem = self._rescue(key)
            if build is None:
                raise StoreError(problem) from None
        except OSError as wrong:
            raise StoreError(f"The build cannot be read: {_reason(wrong)}.") from None
        if build is None:
            raise StoreError("This build is no longer there.")
        return build

    def builds(self) -> Listing:
        """Return every build that can be read, newest first, and a sentence for each that cannot."""
        found: list[SavedBuild] = []
        problems: list[str] = []
        try:
            keys = sorted(path.stem for path in self._build_folder.glob("*.json"))
        except OSError as wrong:
            return Listing([], [f"The folder cannot be read: {_reason(wrong)}."])
        if len(keys) > MAX_BUILDS:
            problems.append(f"The folder holds {len(keys)} builds; the first {MAX_BUILDS} are shown.")
        for key in keys[:MAX_BUILDS]:
            if not _KEY.fullmatch(key):
                problems.append(f"'{clean_name(key)}.json' is not a name this program gives, so it was left alone.")
                continue
            try:
                build, problem = self._read_build(key), ""
            except LaterVersionError as wrong:
                build, problem = None, f"'{key}' was left as it is. {wrong}"
            except StoreError:
                try:
                    build, problem = self._rescue(key)
                except (StoreError, OSError) as wrong:
                    build, problem = None, f"'{key}' cannot be read just now: {wrong}"
            except OSError as wrong:
                build, problem = None, f"'{key}' cannot be read: {_reason(wrong)}."
            if build is not None:
                found.append(build)
            if problem:
                problems.append(problem)
        found.sort(key=lambda build: (build.saved, build.name), reverse=True)
        return Listing(found, problems)

    def delete(self, key: str) -> None:
        """Delete one build and its previous version: the user asked for it."""
        path = self._path(key)
        try:
            with self._locked():
                path.with_name(path.name + ".previous").unlink(missing_ok=True)
                path.unlink()
                _fsync_folder(path.parent)
        except FileNotFoundError:
            raise StoreError("This build is no longer there.") from None
        except OSError as wrong:
            raise StoreError(f"The build was not deleted: {_reason(wrong)}.") from None

    # part tables

    def save_table(self, kind: str, text: str, *, revision: str | None = None) -> SavedTable:
        """Keep a part table (the text of its CSV file).

        A table that another window has changed since ``revision`` is kept as a file beside this one, named
        in ``notice``. ``revision`` None means that this window saw no table.
        """
        path = self._table_folder / f"{_check_kind(kind)}.csv"
        data, notice = _table_bytes(kind, text), ""
        try:
            with self._locked():
                old = _read(path, MAX_TABLE_BYTES)
                if old is not None and _revision(old) != revision and old != data:
                    beside = path.with_name(f"{kind}-{datetime.now(UTC):%Y%m%d-%H%M%S}-{secrets.token_hex(3)}.csv")
                    _write_new(beside, old)
                    notice = (
                        f"The table of {kind} was changed in another window; that version is kept as "
                        f"{self._table_folder.name}/{beside.name}."
                    )
                self._put(path, data, what=f"The table of {kind}", old=old)
        except OSError as wrong:
            raise StoreError(
                f"The table of {kind} was not saved: {_reason(wrong)}. What was saved before is untouched."
            ) from None
        return SavedTable(kind, text, _revision(data), notice)

    def load_table(self, kind: str) -> SavedTable | None:
        """Return a part table, or None when none was kept. Whether it is sound its reader must check."""
        path = self._table_folder / f"{_check_kind(kind)}.csv"
        try:
            data = _read(path, MAX_TABLE_BYTES)
        except OSError as wrong:
            raise StoreError(f"The table of {kind} cannot be read: {_reason(wrong)}.") from None
        if data is None:
            return None
        if len(data) > MAX_TABLE_BYTES:
            raise StoreError(f"The table of {kind} is too large to read.")
        return SavedTable(kind, data.decode("utf-8", "replace"), _revision(data))


def _reason(wrong: OSError) -> str:
    if wrong.errno in _FULL:
        return "the disk is full"
    if wrong.errno in (errno.EACCES, errno.EPERM):
        return "this folder may not be written to"
    if wrong.errno == errno.EROFS:
        return "the disk is read-only"
    return (wrong.strerror or "the disk reports a fault").lower()


if sys.platform != "win32":
    import fcntl

    def _try_lock(handle: int) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as wrong:
            if wrong.errno in (errno.EAGAIN, errno.EACCES):
                return False
            raise
        return True

else:
    import msvcrt

    def _try_lock(handle: int) -> bool:
        try:
            os.lseek(handle, 0, os.SEEK_SET)
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError as wrong:
            if wrong.errno in (errno.EACCES, errno.EDEADLK):
                return False
            raise
        return True


def open_store(folder: Path | str | None = None) -> Store:
    """Open the user's store: the folder of `data_folder`, or memory when there is none or it cannot be used.

    A failing disk must not keep the page from opening, so the reason is in ``notice``, not in an exception.
    """
    chosen = Path(folder) if folder is not None else data_folder()
    if chosen is None:
        return MemoryStore()
    try:
        return FolderStore(chosen)
    except StoreError as wrong:
        return MemoryStore(f"{wrong} Builds last for this visit only: download what you want to keep.")
