"""Saved builds and part tables in one SQLite database of the user's own folder.

How a save stays safe
---------------------
Every change is one transaction, written to a write-ahead log and flushed before the call returns (SQLite's own
promise: "Atomic Commit In SQLite", "Write-Ahead Logging"). After a crash, a kill or a full disk the database holds
the state before or after the change. Windows and processes take turns; whoever waits longer than ``lock_seconds``
is told. A window that saves over a build which another window has changed since gets a copy beside it.

A new database is made complete under a temporary name, with all that the older folder of files holds, and then
renamed. A file that is not a sound database is kept in ``set-aside``, and what can still be read of it comes back.

Longer than others because what may run in one transaction stays in one module.
"""

from __future__ import annotations

import contextlib
import os
import random
import secrets
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import quote

from explorer.saved.build_file import (
    MAX_BUILDS,
    LaterVersionError,
    Scalar,
    StoreError,
    clean_name,
    decode_many,
    encode,
    free_name,
    new_key,
    parse,
)
from explorer.saved.disk import on_network, words_of
from explorer.saved.items import (
    MAX_TABLE_BYTES,
    Downloads,
    Listing,
    SavedBuild,
    SavedTable,
    check_key,
    check_kind,
    revision_of,
    table_bytes,
    with_free_names,
)
from explorer.saved.old_folder import read_old_folder, remove_old_build

__all__ = ["DATABASE", "SCHEMA_VERSION", "FolderStore"]

DATABASE = "saved.sqlite3"
SCHEMA_VERSION = 1
"""Kept in the database as ``PRAGMA user_version``."""

# A build keeps its document as the bytes of its JSON file, so that `build_file` alone knows what is in it.
_TABLES = """
CREATE TABLE builds (
    number INTEGER PRIMARY KEY,  -- a new one with every save: the highest is the newest
    key TEXT NOT NULL UNIQUE,
    document BLOB NOT NULL CHECK (typeof(document) = 'blob'),
    previous BLOB CHECK (typeof(previous) IN ('blob', 'null')));
CREATE TABLE part_tables (kind TEXT PRIMARY KEY, csv BLOB NOT NULL CHECK (typeof(csv) = 'blob'));
CREATE TABLE sentences (number INTEGER PRIMARY KEY, words TEXT NOT NULL);  -- still to be told
"""
_TAKEN = "Another window is still saving. Nothing was changed: try again in a moment."
_UNTOUCHED = " What was saved before is untouched."

_BUSY = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
_DAMAGED = (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT)


def _code(wrong: Exception) -> int:
    """Return SQLite's primary result code, -1 for another error."""
    code = getattr(wrong, "sqlite_errorcode", None)
    return -1 if code is None else code & 0xFF


class FolderStore(Downloads):
    """Builds and part tables in a folder of the user's own.

    Parameters
    ----------
    folder : Path
        Made when it is not there.

    Raises
    ------
    StoreError
        When the folder cannot be made or used, or when a later version of the program has written its database.

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
        self.path = Path(os.path.abspath(folder)) / DATABASE
        self.notice = ""
        self._shared_memory = not on_network(self.path.parent)
        self._open()

    def _open(self) -> None:
        """Make the folder and the database where they are not there."""
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            if self.path.is_symlink() or (self.path.exists() and not self.path.is_file()):
                raise StoreError(f"The folder {self.folder} cannot be used: {DATABASE} is not an ordinary file.")
            if self._state() != "ready":
                with self._alone():
                    state = self._state()  # another window may have made it meanwhile
                    if state != "ready":
                        self._make(broken=state == "broken")
        except (OSError, sqlite3.Error) as wrong:
            raise StoreError(f"The folder {self.folder} cannot be used: {self._reason(wrong)}.") from None

    # opening

    def _uri(self, path: Path, query: str) -> str:
        place = path.as_posix()
        return f"file://{'' if place.startswith('/') else '/'}{quote(place)}?{query}"

    def _connect(self, path: Path, query: str, *, alone: bool) -> sqlite3.Connection:
        wait = 0.0 if alone else self.lock_seconds  # who has the file alone would wait with a lock in hand
        db = sqlite3.connect(self._uri(path, query), uri=True, timeout=wait, isolation_level=None)
        try:
            db.execute(f"PRAGMA locking_mode={'EXCLUSIVE' if alone else 'NORMAL'}")
            db.execute("PRAGMA synchronous=FULL")
        except sqlite3.Error:
            db.close()
            raise
        return db

    def _begin(self, *, change: bool) -> sqlite3.Connection:
        """Return a connection within a transaction.

        Usually readers and one writer work side by side by way of shared memory. Where there can be none (a network
        folder, a full disk), each connection has the file to itself. A folder that may only be read is read.
        """
        ways = [("mode=rw", False), ("mode=rw", True)] if self._shared_memory else [("mode=rw", True)]
        if not change:
            ways.append(("mode=ro", False))
            if not self.path.with_name(f"{DATABASE}-wal").exists():
                ways.append(("mode=ro&immutable=1", False))
        fault: sqlite3.Error | None = None
        until = time.monotonic() + self.lock_seconds
        while ways:
            query, alone = ways[0]
            db = None
            try:
                db = self._connect(self.path, query, alone=alone)
                db.execute("BEGIN IMMEDIATE" if change else "BEGIN")
                db.execute("SELECT count(*) FROM sqlite_master").fetchone()
                return db
            except sqlite3.Error as wrong:
                if db is not None:
                    db.close()
                if alone and _code(wrong) in _BUSY and time.monotonic() < until:
                    time.sleep(random.uniform(0.002, 0.02))
                    continue
                if _code(wrong) in (*_BUSY, *_DAMAGED):
                    raise
                fault = fault or wrong
                del ways[0]
        assert fault is not None
        raise fault

    @contextmanager
    def _work(self, failed: str, *, change: bool = False, after: str = "") -> Iterator[sqlite3.Connection]:
        """Do one thing in one transaction; an error undoes all of it and becomes one sentence.

        A database that went away, with its folder or alone, is made again when something is to be kept.
        """
        if not self.path.exists():
            if not change:
                raise StoreError(
                    f"The saved builds are gone from {self.folder}: the folder was moved, deleted or unplugged. Put it "
                    "back, or save: then a new one is made."
                )
            self._open()
            self.notice = f"The folder {self.folder} had gone, with the builds in it. A new one was made."
        try:
            with closing(self._begin(change=change)) as db, db:
                yield db
        except (OSError, sqlite3.Error) as wrong:
            if _code(wrong) in _BUSY:
                raise StoreError(_TAKEN) from None
            raise StoreError(f"{failed}: {self._reason(wrong)}.{after}") from None

    def _reason(self, wrong: OSError | sqlite3.Error) -> str:
        """Say why the disk refused; SQLite names no reason of the system, so a small file is tried."""
        code = _code(wrong)
        if code in _BUSY:
            return "another window is still saving"
        if code == sqlite3.SQLITE_FULL:
            return "the disk is full"
        if code in _DAMAGED:
            return f"{DATABASE} is damaged"
        if isinstance(wrong, OSError):
            return words_of(wrong)
        try:
            with tempfile.TemporaryFile(dir=self.path.parent) as probe:
                probe.write(bytes(64 * 1024))
                probe.flush()
                os.fsync(probe.fileno())
        except OSError as refused:
            return words_of(refused)
        if not self.path.exists():
            return "no such file or directory"
        return "this folder may not be written to" if code == sqlite3.SQLITE_READONLY else "the disk reports a fault"

    # making

    def _state(self) -> str:
        """Return ``ready``, ``missing`` or ``broken``; raise StoreError for the database of a later version."""
        if not self.path.exists():
            return "missing"
        try:
            with closing(self._begin(change=False)) as db:
                (version,) = db.execute("PRAGMA user_version").fetchone()
                if version > SCHEMA_VERSION:
                    raise StoreError(
                        f"The saved builds were kept by a later version (format {version}; this one reads up to "
                        f"{SCHEMA_VERSION}). Update the program to open them."
                    )
                sound = db.execute("PRAGMA quick_check(1)").fetchone() == ("ok",)
                return "ready" if sound and version == SCHEMA_VERSION else "broken"
        except sqlite3.Error as wrong:
            if _code(wrong) in _DAMAGED:
                return "broken"
            raise

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """Let one window at a time make the database. The system frees the lock when a process dies."""
        with closing(self._connect(self.path.with_name("opening.lock"), "mode=rwc", alone=False)) as lock:
            lock.execute("BEGIN EXCLUSIVE")
            yield

    def _make(self, *, broken: bool) -> None:
        """Put a new database in place, with what an older folder or a broken database holds."""
        for piece in self.path.parent.glob("new-*.sqlite3*"):  # of a start that was cut short
            piece.unlink()
        old = read_old_folder(self.path.parent)
        builds, tables, sentences = {key: (document, before) for key, document, before in old.builds}, old.tables, []
        if broken:
            for key, document, before in self._salvage("SELECT key, document, previous FROM builds ORDER BY number"):
                builds.pop(key, None)
                builds[key] = (document, before)
            tables |= dict(self._salvage("SELECT kind, csv FROM part_tables ORDER BY kind"))
            where = self._place_aside(DATABASE)
            for ending in ("-wal", "-shm"):  # never beside the new one
                with contextlib.suppress(FileNotFoundError):
                    os.replace(self.path.with_name(DATABASE + ending), where.with_name(where.name + ending))
            shutil.copyfile(self.path, where)
            with where.open("r+b") as copy:
                os.fsync(copy.fileno())
            sentences = [
                f"{DATABASE} is damaged or is no database. It is kept in {where.parent.name}/{where.name}; "
                "what could still be read of it is here."
            ]
        new = self.path.with_name(f"new-{secrets.token_hex(4)}.sqlite3")
        try:
            os.close(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
            with closing(self._connect(new, "mode=rw", alone=True)) as db:
                db.execute("PRAGMA journal_mode=WAL")  # stays as it is where there is none
                db.executescript(_TABLES)
                with db:
                    db.execute("BEGIN")
                    db.executemany(
                        "INSERT INTO builds (key, document, previous) VALUES (?, ?, ?)",
                        [(key, *both) for key, both in builds.items()],
                    )
                    db.executemany("INSERT INTO part_tables VALUES (?, ?)", tables.items())
                    words = [(text,) for text in (*sentences, *old.problems)]
                    db.executemany("INSERT INTO sentences (words) VALUES (?)", words)
                    db.execute(f"PRAGMA user_version={SCHEMA_VERSION}")
            os.replace(new, self.path)
        finally:
            for piece in self.path.parent.glob(f"{new.name}*"):
                piece.unlink()

    def _salvage(self, query: str) -> list[tuple]:
        """Return the rows that can still be read, from the front up to the fault and from the end down to it."""
        found: list[tuple] = []
        for order in ("ASC", "DESC"):
            rows: list[tuple] = []
            place = self._uri(self.path, "mode=rw")
            with contextlib.suppress(sqlite3.Error), closing(sqlite3.connect(place, uri=True)) as db:
                db.execute("PRAGMA writable_schema=ON")  # SQLite then also reads a file that breaks off
                for row in db.execute(f"{query} {order}"):
                    rows.append(row)
            found += rows if order == "ASC" else [row for row in reversed(rows) if row not in found]
        return found

    def _place_aside(self, name: str) -> Path:
        folder = self.path.parent / "set-aside"
        folder.mkdir(mode=0o700, exist_ok=True)
        return folder / f"{datetime.now(UTC):%Y%m%d-%H%M%S}-{secrets.token_hex(3)}-{name}"

    def _set_aside(self, name: str, data: bytes) -> str:
        """Keep bytes as a file of their own, on the disk before this returns; return where."""
        place = self._place_aside(name)
        with open(place, "xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        return f"{place.parent.name}/{place.name}"

    # builds

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
        data, cleaned, notice = encode(name, record), clean_name(name), ""
        if key is not None:
            check_key(key)
        with self._work(f"'{cleaned}' was not saved", change=True, after=_UNTOUCHED) as db:
            old = None if key is None else _document(db, key)
            if revision is not None and key is not None and (old is None or revision_of(old) != revision):
                cleaned = free_name(cleaned, _names(db))
                notice = (
                    f"The build was {'deleted' if old is None else 'changed'} in another window meanwhile, "
                    f"so yours is kept beside it as '{cleaned}'."
                )
                data, key, old = encode(cleaned, record), None, None
            before = old
            if old is not None:
                try:
                    parse(old)
                except StoreError:
                    where = self._set_aside(f"{key}.json", old)
                    before, notice = None, f"What was there could not be read; it is kept in {where}."
            _room_for(db, 0 if old is not None else 1)
            key = key or new_key(cleaned)
            db.execute("REPLACE INTO builds (key, document, previous) VALUES (?, ?, ?)", (key, data, before))
        return _build(key, data, notice)

    def upload(self, data: bytes) -> list[SavedBuild]:
        """Add the builds of a file, all or none, each under a key of its own; a name already taken gets a number."""
        read = decode_many(data)
        out = []
        with self._work("The builds were not saved", change=True, after=_UNTOUCHED) as db:
            _room_for(db, len(read), "None of them was brought in.")
            for name, record in with_free_names(read, _names(db)):
                out.append(_build(new_key(name), encode(name, record)))
                row = (out[-1].key, encode(name, record))
                db.execute("INSERT INTO builds (key, document) VALUES (?, ?)", row)
        return out

    def load(self, key: str) -> SavedBuild:
        """Return one build; a broken one goes aside and the version before it comes back if there is one."""
        check_key(key)
        with self._work("The build cannot be read") as db:
            data = _document(db, key)
        if data is None:
            raise StoreError("This build is no longer there.")
        try:
            return _build(key, data)
        except LaterVersionError:
            raise
        except StoreError:
            build, problem = self._rescue(key)
        if build is None:
            raise StoreError(problem or "This build is no longer there.")
        return build

    def _rescue(self, key: str) -> tuple[SavedBuild | None, str]:
        """Set aside a build that cannot be read and go back to the version before it if that is sound."""
        with self._work(f"'{key}' could not be set aside", change=True) as db:
            row = db.execute("SELECT document, previous FROM builds WHERE key = ?", (key,)).fetchone()
            if row is None:
                return None, ""
            try:
                return _build(key, row[0]), ""  # another window may have repaired it meanwhile
            except StoreError as wrong:
                why = str(wrong)
            where = self._set_aside(f"{key}.json", row[0])
            try:
                build = _build(key, row[1] or b"")
            except StoreError:
                db.execute("DELETE FROM builds WHERE key = ?", (key,))
                return None, f"'{key}' cannot be read. {why} The file is kept in {where}."
            db.execute("UPDATE builds SET document = previous, previous = NULL WHERE key = ?", (key,))
        said = f"'{build.name}' could not be read. {why} The version before it is back, the file in {where}."
        return _build(key, row[1], said), said

    def builds(self) -> Listing:
        """Return every build that can be read, newest first, and a sentence for each that cannot."""
        try:
            with self._work("The folder cannot be read") as db:
                rows = db.execute("SELECT key, document FROM builds ORDER BY number DESC").fetchall()
                said = db.execute("SELECT number, words FROM sentences ORDER BY number").fetchall()
        except StoreError as wrong:
            return Listing([], [str(wrong)])
        found: list[SavedBuild] = []
        problems = [words for _, words in said]
        if said:
            with contextlib.suppress(StoreError), self._work("", change=True) as db:
                db.execute("DELETE FROM sentences WHERE number <= ?", (said[-1][0],))
        if len(rows) > MAX_BUILDS:
            problems.append(f"The folder holds {len(rows)} builds; the first {MAX_BUILDS} are shown.")
        for key, document in rows[:MAX_BUILDS]:
            build, problem = None, ""
            try:
                build = _build(key, document)
            except LaterVersionError as wrong:
                problem = f"'{key}' was left as it is. {wrong}"
            except StoreError:
                try:
                    build, problem = self._rescue(key)
                except StoreError as wrong:
                    problem = f"'{key}' cannot be read just now: {wrong}"
            if build is not None:
                found.append(build)
            if problem:
                problems.append(problem)
        return Listing(found, problems)

    def delete(self, key: str) -> None:
        """Delete one build and the version before it, also from the older folder: the user asked for it."""
        check_key(key)
        with self._work("The build was not deleted", change=True) as db:
            if db.execute("DELETE FROM builds WHERE key = ?", (key,)).rowcount == 0:
                raise StoreError("This build is no longer there.")
            remove_old_build(self.path.parent, key)

    # part tables

    def save_table(self, kind: str, text: str, *, revision: str | None = None) -> SavedTable:
        """Keep a part table (the text of its CSV file).

        A table that another window has changed since ``revision`` is kept as a file of its own, named in
        ``notice``. ``revision`` None means that this window saw no table.
        """
        data, notice = table_bytes(check_kind(kind), text), ""
        with self._work(f"The table of {kind} was not saved", change=True, after=_UNTOUCHED) as db:
            old = _table(db, kind)
            if old is not None and revision_of(old) != revision and old != data:
                where = self._set_aside(f"{kind}.csv", old)
                notice = f"The table of {kind} was changed in another window; that version is kept as {where}."
            db.execute("REPLACE INTO part_tables VALUES (?, ?)", (kind, data))
        return SavedTable(kind, text, revision_of(data), notice)

    def load_table(self, kind: str) -> SavedTable | None:
        """Return a part table, or None when none was kept. Whether it is sound its reader must check."""
        with self._work(f"The table of {check_kind(kind)} cannot be read") as db:
            data = _table(db, kind)
        if data is None:
            return None
        if len(data) > MAX_TABLE_BYTES:
            raise StoreError(f"The table of {kind} is too large to read.")
        return SavedTable(kind, data.decode("utf-8", "replace"), revision_of(data))


def _build(key: str, document: bytes, notice: str = "") -> SavedBuild:
    name, record, saved = parse(document)
    return SavedBuild(key, name, record, revision_of(document), saved, notice)


def _document(db: sqlite3.Connection, key: str) -> bytes | None:
    row = db.execute("SELECT document FROM builds WHERE key = ?", (key,)).fetchone()
    return None if row is None else row[0]


def _table(db: sqlite3.Connection, kind: str) -> bytes | None:
    row = db.execute("SELECT csv FROM part_tables WHERE kind = ?", (kind,)).fetchone()
    return None if row is None else row[0]


def _names(db: sqlite3.Connection) -> set[str]:
    """Names of the builds that can be read."""
    names = set()
    for (document,) in db.execute("SELECT document FROM builds"):
        with contextlib.suppress(StoreError):
            names.add(parse(document)[0])
    return names


def _room_for(db: sqlite3.Connection, more: int, after: str = "") -> None:
    (saved,) = db.execute("SELECT count(*) FROM builds").fetchone()
    if more and saved + more > MAX_BUILDS:
        room = f"{saved} builds are kept, and {MAX_BUILDS} can be" if saved < MAX_BUILDS else ""
        words = f"{room or f'{MAX_BUILDS} builds are kept already'}: delete some first."
        raise StoreError(f"{words} {after}".strip())
