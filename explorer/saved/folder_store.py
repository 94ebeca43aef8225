"""Saved builds and part tables in one SQLite database in the user's folder.

How a save stays safe
---------------------
Every change is one transaction, written to a write-ahead log and flushed before the call returns (guaranteed by SQLite:
"Atomic Commit In SQLite", "Write-Ahead Logging"). After a crash, a kill or a full disk the database has the state
before or after the change. Only one window or process writes at a time; a wait longer than ``lock_seconds`` raises an
error. If a window saves a build that another window has changed in the meantime, the build is saved as a copy.

A new database is created under a temporary name, with the contents of an older folder of files, and then renamed. A
file that is not a valid database is moved to ``set-aside``, and its readable rows are copied into the new database.

Longer than others because all steps of a transaction are in one module.
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
"""Version of the tables, stored in the database as ``PRAGMA user_version``."""

# A build is stored as the bytes of its JSON file, so only `build_file` knows its contents.
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
    """Builds and part tables in a folder of the user.

    Parameters
    ----------
    folder : Path
        The folder; it is created if it does not exist.

    Raises
    ------
    StoreError
        If the folder cannot be created or used, or if its database is of a later version of the program.

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
        """Create the folder and the database if they do not exist."""
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            if self.path.is_symlink() or (self.path.exists() and not self.path.is_file()):
                raise StoreError(f"The folder {self.folder} cannot be used: {DATABASE} is not an ordinary file.")
            if self._state() != "ready":
                with self._alone():
                    state = self._state()  # another window may have created it in the meantime
                    if state != "ready":
                        self._make(broken=state == "broken")
        except (OSError, sqlite3.Error) as wrong:
            raise StoreError(f"The folder {self.folder} cannot be used: {self._reason(wrong)}.") from None

    # opening

    def _uri(self, path: Path, query: str) -> str:
        place = path.as_posix()
        return f"file://{'' if place.startswith('/') else '/'}{quote(place)}?{query}"

    def _connect(self, path: Path, query: str, *, alone: bool) -> sqlite3.Connection:
        wait = (
            0.0 if alone else self.lock_seconds
        )  # with exclusive access do not wait, because this connection holds a lock
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

        Usually readers and one writer work concurrently through shared memory. Without shared memory (network folder,
        full disk) each connection has exclusive access. A read-only folder is opened for reading.
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
        """Context of one transaction; an error rolls it back and becomes a `StoreError` with one sentence.

        A database that has been deleted, with or without its folder, is created again before a change.
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
        """Return the reason of a disk error. SQLite does not report it, so writing a small file is tried."""
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
        """Context in which only one window creates the database; the system releases the lock if a process ends."""
        with closing(self._connect(self.path.with_name("opening.lock"), "mode=rwc", alone=False)) as lock:
            lock.execute("BEGIN EXCLUSIVE")
            yield

    def _make(self, *, broken: bool) -> None:
        """Create a new database with the contents of an older folder or of a damaged database."""
        for piece in self.path.parent.glob("new-*.sqlite3*"):  # left by an interrupted start
            piece.unlink()
        old = read_old_folder(self.path.parent)
        builds, tables, sentences = {key: (document, before) for key, document, before in old.builds}, old.tables, []
        if broken:
            for key, document, before in self._salvage("SELECT key, document, previous FROM builds ORDER BY number"):
                builds.pop(key, None)
                builds[key] = (document, before)
            tables |= dict(self._salvage("SELECT kind, csv FROM part_tables ORDER BY kind"))
            where = self._place_aside(DATABASE)
            for ending in ("-wal", "-shm"):  # these must not remain beside the new database
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
                db.execute("PRAGMA journal_mode=WAL")  # without effect where it is not available
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
        """Return the rows that can be read, from the start up to the damage and from the end back to it."""
        found: list[tuple] = []
        for order in ("ASC", "DESC"):
            rows: list[tuple] = []
            place = self._uri(self.path, "mode=rw")
            with contextlib.suppress(sqlite3.Error), closing(sqlite3.connect(place, uri=True)) as db:
                db.execute("PRAGMA writable_schema=ON")  # SQLite then also reads a truncated file
                for row in db.execute(f"{query} {order}"):
                    rows.append(row)
            found += rows if order == "ASC" else [row for row in reversed(rows) if row not in found]
        return found

    def _place_aside(self, name: str) -> Path:
        folder = self.path.parent / "set-aside"
        folder.mkdir(mode=0o700, exist_ok=True)
        return folder / f"{datetime.now(UTC):%Y%m%d-%H%M%S}-{secrets.token_hex(3)}-{name}"

    def _set_aside(self, name: str, data: bytes) -> str:
        """Write bytes to a file in ``set-aside``, flushed before the call returns; return its path."""
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
        """Save a build.

        Parameters
        ----------
        name : str
            Any text; see `clean_name`.
        record : mapping
            See `check_record`.
        key : str, optional
            Key of the build to replace; without it a new build is created.
        revision : str, optional
            Latest revision known to this window. If the stored build has another revision, or was deleted, the build is
            saved as a new one and ``notice`` says so, so that neither window loses data.

        Returns
        -------
        SavedBuild
            The build as stored.

        Raises
        ------
        StoreError
            With one sentence (disk full, no permission, too large); the stored builds are then unchanged.
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
        """Add the builds of a file, all or none, each with a new key; a name that is taken gets a number."""
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
        """Return one build; a damaged one is set aside and replaced by its previous version if there is one."""
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
        """Set aside a build that cannot be read and restore its previous version if that is valid."""
        with self._work(f"'{key}' could not be set aside", change=True) as db:
            row = db.execute("SELECT document, previous FROM builds WHERE key = ?", (key,)).fetchone()
            if row is None:
                return None, ""
            try:
                return _build(key, row[0]), ""  # another window may have repaired it in the meantime
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
        """Return all readable builds, the newest first, and a sentence for each that cannot be read."""
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
        """Delete one build and its previous version, also from the older folder."""
        check_key(key)
        with self._work("The build was not deleted", change=True) as db:
            if db.execute("DELETE FROM builds WHERE key = ?", (key,)).rowcount == 0:
                raise StoreError("This build is no longer there.")
            remove_old_build(self.path.parent, key)

    # part tables

    def save_table(self, kind: str, text: str, *, revision: str | None = None) -> SavedTable:
        """Save a part table (the text of its CSV file).

        If another window has changed the table since ``revision``, its version is kept in a separate file, named in
        ``notice``. ``revision`` None means that this window knows no stored table.
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
        """Return a part table, or None if none is stored. The caller must validate its contents."""
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
    """Return the names of the readable builds."""
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
