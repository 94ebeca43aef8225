"""Saved builds: nothing lost by a crash, a full disk, two windows or a hostile file.

Outside sources: the XDG Base Directory Specification 0.8 for the folder; POSIX.1-2017 ``setrlimit`` for a write that
the kernel refuses or that ends the process part-way; "File Format" of the SQLite documentation for the header of a
database. The rest are invariants of a store: what was acknowledged is there.
"""

from __future__ import annotations

import errno
import json
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from long_run import examples

from explorer.saved import build_file, folder_store, store
from explorer.saved.folder_store import DATABASE
from explorer.saved.store import FolderStore, MemoryStore, StoreError, data_folder, decode, encode

RECORD = {"name": "Scree", "kv": 1950.0, "cells": 6, "chemistry": "lipo", "coaxial": False, "mass": None}


def poke(folder: Path, statement: str, *values: object) -> list[tuple]:
    """Do one statement in the database behind the store's back."""
    with closing(sqlite3.connect(folder / DATABASE)) as db, db:
        return db.execute(statement, values).fetchall()


def put_document(folder: Path, key: str, document: bytes) -> None:
    """Put a build's document into the database as it is."""
    known = "SELECT previous FROM builds WHERE key = ?"
    poke(folder, f"REPLACE INTO builds (key, document, previous) VALUES (?, ?, ({known}))", key, document, key)


def document_of(folder: Path, key: str) -> bytes:
    """The document of a build as it is in the database."""
    return poke(folder, "SELECT document FROM builds WHERE key = ?", key)[0][0]


@contextmanager
def held(folder: Path) -> Iterator[sqlite3.Connection]:
    """Another window in the middle of a save."""
    with closing(sqlite3.connect(folder / DATABASE, isolation_level=None)) as db:
        db.execute("BEGIN IMMEDIATE")
        yield db


def write_loop(folder: Path, seed: int) -> subprocess.Popen[str]:
    """A process that saves over three builds again and again and says each save only after it is done."""
    code = f"""
import random, sys
from explorer.saved.store import FolderStore
store = FolderStore({str(folder)!r})
rng = random.Random({seed})
keys = [b.key for b in store.builds().builds]
while len(keys) < 3:
    keys.append(store.save("craft", {{"count": 0, "filler": "x"}}).key)
    print(keys[-1], 0, flush=True)
count = {seed} * 1_000_000
while True:
    count += 1
    key = rng.choice(keys)
    store.save("craft", {{"count": count, "filler": "x" * rng.randrange(1500)}}, key=key)
    print(key, count, flush=True)
"""
    return subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)


def test_random_kills_lose_nothing(tmp_path: Path) -> None:
    rng = random.Random(6)
    said: dict[str, int] = {}
    turns = examples(20)
    for turn in range(1, turns + 1):
        process = write_loop(tmp_path, turn)
        assert process.stdout is not None
        lines = [process.stdout.readline()]
        time.sleep(rng.uniform(0.0, 0.05))
        process.send_signal(signal.SIGKILL)
        rest = process.stdout.read()
        process.stdout.close()
        assert process.wait() == -signal.SIGKILL
        # a line cut short by the kill was not said; whole lines are promises
        lines += [line for line in rest.splitlines(keepends=True) if line.endswith("\n")]
        for line in lines:
            key, count = line.split()
            said[key] = int(count)
        listing = FolderStore(tmp_path).builds()
        assert listing.problems == []
        found = {b.key: b.record["count"] for b in listing.builds}
        assert set(said) <= set(found)
        for key, count in said.items():
            assert found[key] >= count, "an acknowledged save is gone"
        assert not (tmp_path / "set-aside").exists()
    assert max(said.values()) > turns * 1_000_000, "the last process must have saved something before its kill"


DEATHS = """
import os, resource, signal, sys
from pathlib import Path
from explorer.saved.folder_store import FolderStore

filler = {f"field_{n}": "x" * 1900 for n in range(5)}
folder, kind = Path(sys.argv[1]), sys.argv[2]
first = FolderStore(folder).save("craft", {"count": 1, **filler}).key

def dying(step):
    signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
    if kind == "write":
        # the kernel ends the process at the write that goes beyond so many bytes of a file
        resource.setrlimit(resource.RLIMIT_FSIZE, (step * 512, step * 512))
    else:
        seen = 0
        def count():
            nonlocal seen
            seen += 1
            return os._exit(9) if seen == step else 0
        begin = FolderStore._begin
        def counted(self, **how):
            db = begin(self, **how)
            db.set_progress_handler(count, 1)  # before each instruction of SQLite's machine
            return db
        FolderStore._begin = counted
    FolderStore(folder).save("craft", {"count": 2, **filler}, key=first)
    os._exit(0)

deaths = 0
for step in range(1, 3000):
    pid = os.fork()
    if pid == 0:
        dying(step)
    ended = os.waitpid(pid, 0)[1]
    listing = FolderStore(folder).builds()
    assert listing.problems == [], listing.problems
    assert [b.key for b in listing.builds] == [first]
    count = listing.builds[0].record["count"]
    if ended == 0:
        assert count == 2
        break
    assert ended in (9 << 8, signal.SIGXFSZ, signal.SIGXFSZ | 128), ended
    assert count in (1, 2)
    deaths += 1
    if count == 2:
        FolderStore(folder).save("craft", {"count": 1, **filler}, key=first)
print(deaths)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="needs fork and setrlimit")
@pytest.mark.parametrize(("kind", "least"), [("write", 40), ("instruction", 40)])
def test_death_at_every_single_step_of_a_save(tmp_path: Path, kind: str, least: int) -> None:
    """The process dies at each half kilobyte written, and before each instruction of a transaction."""
    done = subprocess.run([sys.executable, "-c", DEATHS, str(tmp_path), kind], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) >= least
    assert not (tmp_path / "set-aside").exists()


@pytest.mark.parametrize(("network", "each"), [(False, 25), (True, 12)])
def test_two_windows_saving_new_builds_of_one_name_lose_none(tmp_path: Path, network: bool, each: int) -> None:
    code = f"""
from explorer.saved import folder_store
from explorer.saved.store import FolderStore
if {network}:
    folder_store.on_network = lambda _: True
s = FolderStore({str(tmp_path)!r})
for i in range({each}):
    s.save("Scree", {{"count": i}})
"""
    both = [subprocess.Popen([sys.executable, "-c", code]) for _ in range(2)]
    assert [p.wait() for p in both] == [0, 0]
    listing = FolderStore(tmp_path).builds()
    assert listing.problems == []
    assert sorted(b.record["count"] for b in listing.builds) == sorted(list(range(each)) * 2)


def test_two_windows_on_one_build_keep_both(tmp_path: Path) -> None:
    a, b = FolderStore(tmp_path), FolderStore(tmp_path)
    start = a.save("Scree", {"kv": 1950.0})
    mine = a.save("Scree", {"kv": 1800.0}, key=start.key, revision=start.revision)
    theirs = b.save("Scree", {"kv": 2100.0}, key=start.key, revision=start.revision)
    assert mine.notice == "" and "another window" in theirs.notice
    assert mine.key != theirs.key
    assert {x.record["kv"] for x in a.builds().builds} == {1800.0, 2100.0}
    assert theirs.name == "Scree (2)"
    # without a clash the same build is saved over and its name stays
    again = b.save("Scree (2)", {"kv": 2200.0}, key=theirs.key, revision=theirs.revision)
    assert (again.key, again.notice) == (theirs.key, "")


def test_a_build_deleted_in_the_other_window_is_kept_by_the_one_that_saves(tmp_path: Path) -> None:
    a = FolderStore(tmp_path)
    start = a.save("Scree", RECORD)
    a.delete(start.key)
    back = a.save("Scree", RECORD, key=start.key, revision=start.revision)
    assert "deleted in another window" in back.notice
    assert a.load(back.key).record == RECORD


def test_threads_of_one_server_take_turns(tmp_path: Path) -> None:
    key = FolderStore(tmp_path).save("craft", {"count": -1}).key
    wrong: list[BaseException] = []

    def work(number: int) -> None:
        try:
            for i in range(10):
                FolderStore(tmp_path).save("craft", {"count": number * 100 + i}, key=key)
        except BaseException as fault:
            wrong.append(fault)

    threads = [threading.Thread(target=work, args=(n,)) for n in range(4)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert wrong == []
    assert FolderStore(tmp_path).load(key).record["count"] >= 0


def test_a_held_lock_gives_a_sentence_and_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    a = FolderStore(tmp_path)
    first = a.save("craft", {"count": 1})
    monkeypatch.setattr(a, "lock_seconds", 0.05)
    with held(tmp_path):
        with pytest.raises(StoreError, match=r"Another window is still saving\. Nothing was changed"):
            a.save("craft", {"count": 2}, key=first.key)
        # who only reads does not wait
        assert a.load(first.key).record["count"] == 1
        assert [b.key for b in a.builds().builds] == [first.key]
    assert a.load(first.key).record["count"] == 1
    a.save("craft", {"count": 3}, key=first.key)


def test_one_file_in_wal_mode_and_nothing_else(tmp_path: Path) -> None:
    kept = FolderStore(tmp_path / "with a space, ? and #, %20 é")
    kept.save("Scree", RECORD)
    kept.save_table("motors", "a")
    assert poke(kept.folder, "PRAGMA journal_mode") == [("wal",)]
    assert poke(kept.folder, "PRAGMA user_version") == [(folder_store.SCHEMA_VERSION,)]
    assert {p.name for p in kept.folder.iterdir()} == {DATABASE, "opening.lock"}


@pytest.mark.parametrize("why", ["no shared memory", "network folder"])
def test_without_shared_memory_windows_take_turns(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, why: str) -> None:
    if why == "no shared memory":
        (tmp_path / f"{DATABASE}-shm").mkdir()
    else:
        monkeypatch.setattr(folder_store, "on_network", lambda _: True)
    a, b = FolderStore(tmp_path), FolderStore(tmp_path)
    first = a.save("Scree", {"count": 1})
    b.save("Scree", {"count": 2}, key=first.key, revision=first.revision)
    assert [x.record for x in a.builds().builds] == [{"count": 2}]
    opened = []
    connect = FolderStore._connect
    monkeypatch.setattr(FolderStore, "_connect", lambda self, *a, **k: opened.append(k) or connect(self, *a, **k))
    a.load(first.key)
    if why == "network folder":
        assert opened == [{"alone": True}]
        assert not (tmp_path / f"{DATABASE}-shm").exists()


# --- full and forbidden disks ---


def test_full_database_is_one_sentence_and_the_old_build_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = FolderStore(tmp_path)
    first = kept.save("Scree", {"count": 1})
    before = document_of(tmp_path, first.key)
    connect = FolderStore._connect

    def full(self: FolderStore, *where: object, **how: object) -> sqlite3.Connection:
        db = connect(self, *where, **how)  # type: ignore[arg-type]
        db.execute("PRAGMA max_page_count=1")  # SQLite then says SQLITE_FULL, as on a full disk
        return db

    monkeypatch.setattr(FolderStore, "_connect", full)
    said = "was not saved: the disk is full. What was saved before is untouched."
    long = {f"f{i}": "x" * 1900 for i in range(100)}
    with pytest.raises(StoreError) as caught:
        kept.save("Scree", long, key=first.key)
    assert str(caught.value) == f"'Scree' {said}"
    with pytest.raises(StoreError) as caught:
        kept.save_table("motors", "x" * 100_000)
    assert str(caught.value) == f"The table of motors {said}"
    monkeypatch.undo()
    assert document_of(tmp_path, first.key) == before
    kept.save("Scree", {"count": 3}, key=first.key)
    assert kept.load(first.key).record["count"] == 3


@pytest.mark.parametrize(
    ("number", "said"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EDQUOT, "the disk is full"),
        (errno.EACCES, "this folder may not be written to"),
        (errno.EROFS, "the disk is read-only"),
        (errno.EIO, os.strerror(errno.EIO).lower()),
    ],
)
def test_the_reason_is_the_systems_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, said: str) -> None:
    """SQLite says "disk I/O error" for many things: a small file is tried to know which."""
    kept = FolderStore(tmp_path)

    def refused(**_: object) -> None:
        raise OSError(number, os.strerror(number))

    def fault(**_: object) -> None:
        wrong = sqlite3.OperationalError("disk I/O error")
        wrong.sqlite_errorcode = sqlite3.SQLITE_IOERR_WRITE
        raise wrong

    monkeypatch.setattr(tempfile, "TemporaryFile", refused)
    monkeypatch.setattr(kept, "_begin", fault)
    with pytest.raises(StoreError) as caught:
        kept.save("Scree", {"count": 2})
    assert str(caught.value) == f"'Scree' was not saved: {said}. What was saved before is untouched."


@pytest.mark.skipif(sys.platform == "win32", reason="the system limits no file size")
def test_a_real_size_limit_of_the_system_leaves_the_old_build(tmp_path: Path) -> None:
    """The kernel itself refuses the write part-way (setrlimit RLIMIT_FSIZE, POSIX), wherever that is."""
    first = FolderStore(tmp_path).save("Scree", {"count": 1})
    code = f"""
import resource, signal
from explorer.saved.store import FolderStore, StoreError
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
store = FolderStore({str(tmp_path)!r})
refused = 0
for size in range(0, 36_000, 1100):
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))
    try:
        store.save("Scree", {{"count": 2, "filler": "x" * 1000}}, key={first.key!r})
        count = 2
    except StoreError as wrong:
        assert str(wrong) == "'Scree' was not saved: the disk is full. What was saved before is untouched.", wrong
        refused, count = refused + 1, 1
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    assert store.load({first.key!r}).record["count"] == count
    store.save("Scree", {{"count": 1}}, key={first.key!r})
print(refused)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) >= 6
    assert FolderStore(tmp_path).load(first.key).record == {"count": 1}


@pytest.fixture
def plain_user() -> Iterator[Path]:
    """A folder whose permissions hold for the process that `as_plain_user` starts, even under root."""
    place = Path(tempfile.mkdtemp())
    yield place
    for path in (place, *place.rglob("*")):
        path.chmod(0o700)
    shutil.rmtree(place)


def as_plain_user(folder: Path, code: str) -> str:
    """Run code with ``folder`` set, as a user who is not root; what it printed."""
    start = f"""
import os
from pathlib import Path
from explorer.saved.store import *
folder = Path({str(folder)!r})
b"a".decode("utf-8-sig")  # loads the codec while the library can be read
if os.geteuid() == 0:
    os.setuid(65534)
"""
    if os.geteuid() == 0:
        for path in (folder, *folder.rglob("*")):
            os.chown(path, 65534, 65534)
    done = subprocess.run([sys.executable, "-c", start + code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


WITHOUT_PERMISSION = """
store = open_store(folder)
print(type(store).__name__, sorted(b.name for b in store.builds().builds), store.load_table("motors").text)
print(store.notice)
for change in (lambda: store.save("new", {"a": 1}), lambda: store.save_table("motors", "b")):
    try:
        change()
    except StoreError as wrong:
        print(wrong)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="permissions of POSIX")
@pytest.mark.parametrize("file_too", [True, False])
def test_a_folder_without_write_permission_is_read(plain_user: Path, file_too: bool) -> None:
    kept = FolderStore(plain_user)
    kept.save("Scree", RECORD)
    kept.save_table("motors", "a")
    if file_too:
        (plain_user / DATABASE).chmod(0o400)
    plain_user.chmod(0o500)
    before = (plain_user / DATABASE).read_bytes()
    said = as_plain_user(plain_user, WITHOUT_PERMISSION).splitlines()
    why = "was not saved: this folder may not be written to. What was saved before is untouched."
    assert said == ["FolderStore ['Scree'] a", "", f"'new' {why}", f"The table of motors {why}"]
    assert (plain_user / DATABASE).read_bytes() == before


@pytest.mark.skipif(sys.platform == "win32", reason="permissions of POSIX")
def test_an_older_folder_without_write_permission_is_shown(plain_user: Path) -> None:
    (plain_user / "builds").mkdir()
    (plain_user / "parts").mkdir()
    (plain_user / "builds" / "scree-1.json").write_bytes(encode("Scree", RECORD))
    (plain_user / "parts" / "motors.csv").write_bytes(b"a")
    plain_user.chmod(0o500)
    said = as_plain_user(plain_user, WITHOUT_PERMISSION).splitlines()
    assert said[0] == "MemoryStore ['Scree'] a"
    assert "cannot be used: this folder may not be written to. Builds last for this visit only" in said[1]


def test_a_folder_that_cannot_be_made_falls_back_to_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv(store.DATA_VARIABLE, str(tmp_path / "file" / "data"))
    kept = store.open_store()
    assert isinstance(kept, MemoryStore)
    assert "cannot be used" in kept.notice and "download" in kept.notice


# --- broken, foreign and later files ---

BROKEN = [
    b"",
    b"{",
    b"\x00\x01\x02\xff",
    b"PK\x03\x04 a zip",
    b"<html><body>not json</body></html>",
    b"[1, 2]",
    b"null",
    b'{"format": "another thing", "format_version": 1, "record": {"a": 1}}',
    b'{"format": "propulsion-what-if build", "format_version": 1, "name": "x"}',
    b'{"format": "propulsion-what-if build", "format_version": 1, "record": {"a": [1]}}',
    b'{"format": "propulsion-what-if build", "format_version": 1, "record": {"a": NaN}}',
    b'{"format": "propulsion-what-if build", "format_version": 1, "record": {"a": 1e999}}',
    b'{"format": "propulsion-what-if build", "format_version": 1, "record": {"../../a": 1}}',
    b'{"format": "propulsion-what-if build", "format_version": "1", "record": {"a": 1}}',
    b'{"a": 1, "a": 2}',
    b"[" * 100_000,
    b'{"a": ' + b"9" * 5000 + b"}",
    b'{"a": "' + b"x" * 300_000 + b'"}',
    encode("Scree", RECORD)[:-30],
]


@pytest.mark.parametrize("data", BROKEN, ids=range(len(BROKEN)))
def test_a_broken_build_goes_aside_and_is_told(tmp_path: Path, data: bytes) -> None:
    kept = FolderStore(tmp_path)
    good = kept.save("good", {"count": 1})
    put_document(tmp_path, "bad-1", data)
    listing = kept.builds()
    assert [b.key for b in listing.builds] == [good.key]
    assert len(listing.problems) == 1 and "'bad-1' cannot be read" in listing.problems[0]
    aside = list((tmp_path / "set-aside").iterdir())
    assert [p.read_bytes() for p in aside] == [data], "set aside, never deleted or changed"
    assert kept.builds().problems == []
    with pytest.raises(StoreError):
        kept.upload(data)
    assert len(kept.builds().builds) == 1


def test_a_broken_build_gives_way_to_its_previous_version(tmp_path: Path) -> None:
    kept = FolderStore(tmp_path)
    first = kept.save("Scree", {"count": 1})
    kept.save("Scree", {"count": 2}, key=first.key)
    put_document(tmp_path, first.key, b'{"format": "prop')
    listing = kept.builds()
    assert [b.record["count"] for b in listing.builds] == [1]
    assert "The version before it is back" in listing.problems[0]
    assert [p.read_bytes() for p in (tmp_path / "set-aside").iterdir()] == [b'{"format": "prop']
    assert kept.load(first.key).record["count"] == 1


def test_saving_over_a_broken_build_keeps_it(tmp_path: Path) -> None:
    kept = FolderStore(tmp_path)
    first = kept.save("Scree", {"count": 1})
    put_document(tmp_path, first.key, b"rubbish")
    out = kept.save("Scree", {"count": 2}, key=first.key)
    assert "could not be read" in out.notice
    assert [p.read_bytes() for p in (tmp_path / "set-aside").iterdir()] == [b"rubbish"]
    assert kept.load(first.key).record["count"] == 2


def test_a_later_version_stays_where_it_is(tmp_path: Path) -> None:
    kept = FolderStore(tmp_path)
    later = json.dumps({"format": build_file.FORMAT, "format_version": 99, "record": {"a": 1}}).encode()
    put_document(tmp_path, "later-1", later)
    listing = kept.builds()
    assert listing.builds == [] and "later version (format 99" in listing.problems[0]
    assert document_of(tmp_path, "later-1") == later and not (tmp_path / "set-aside").exists()
    with pytest.raises(StoreError, match="later version"):
        kept.load("later-1")


def test_older_versions_open(monkeypatch: pytest.MonkeyPatch) -> None:
    # version 0: the bare record
    assert decode(b'{"name": "Tarn", "kv": 3800.0}') == ("Tarn", {"name": "Tarn", "kv": 3800.0})
    # the chain: an invented version 2 renames a field, and both older forms reach it
    one = encode("Tarn", {"kv": 3800.0})

    def to_2(document: dict) -> dict:
        record = {"motor_kv" if k == "kv" else k: v for k, v in document["record"].items()}
        return document | {"format_version": 2, "record": record}

    monkeypatch.setattr(build_file, "FORMAT_VERSION", 2)
    monkeypatch.setitem(build_file._MIGRATIONS, 1, to_2)
    assert decode(one) == ("Tarn", {"motor_kv": 3800.0})
    assert decode(b'{"name": "Tarn", "kv": 3800.0}')[1]["motor_kv"] == 3800.0


# --- files that are no databases ---


@pytest.mark.parametrize(
    "data", [b"", b"rubbish", b"SQLite format 3\0" + b"x" * 4000, b"\0" * 8192], ids=["empty", "text", "head", "zeros"]
)
def test_a_file_that_is_no_database_is_kept_aside_and_told(tmp_path: Path, data: bytes) -> None:
    (tmp_path / DATABASE).write_bytes(data)
    kept = FolderStore(tmp_path)
    (aside,) = (tmp_path / "set-aside").iterdir()
    assert aside.read_bytes() == data
    (told,) = kept.builds().problems
    assert told.startswith(f"{DATABASE} is damaged or is no database. It is kept in set-aside/{aside.name};")
    assert kept.builds() == store.Listing()
    saved = kept.save("Scree", RECORD)
    assert FolderStore(tmp_path).load(saved.key).record == RECORD


def test_the_database_of_another_program_is_kept_aside(tmp_path: Path) -> None:
    poke(tmp_path, "CREATE TABLE builds (a)")
    kept = FolderStore(tmp_path)
    kept.save("Scree", RECORD)
    (aside,) = (tmp_path / "set-aside").iterdir()
    with closing(sqlite3.connect(aside)) as db:
        assert db.execute("SELECT sql FROM sqlite_master").fetchall() == [("CREATE TABLE builds (a)",)]


def test_the_sound_builds_of_a_damaged_database_come_back(tmp_path: Path) -> None:
    kept = FolderStore(tmp_path)
    for number in range(100):
        kept.save(f"craft {number}", {"count": number, "filler": "x" * 2000})
    kept.save_table("motors", "a")
    path = tmp_path / DATABASE
    data = bytearray(path.read_bytes())
    middle = len(data) // 2 // 4096 * 4096
    data[middle : middle + 4096] = b"\xff" * 4096
    path.write_bytes(data)
    with pytest.raises(StoreError, match=f"{DATABASE} is damaged"):
        kept.upload(encode("one more", RECORD))
    again = FolderStore(tmp_path)
    listing = again.builds()
    assert len(listing.problems) == 1 and "is damaged" in listing.problems[0]
    counts = {b.record["count"] for b in listing.builds}
    assert counts < set(range(100)) and len(counts) > 90
    assert again.load_table("motors").text == "a"
    (aside,) = (tmp_path / "set-aside").iterdir()
    assert aside.read_bytes() == data


def test_four_windows_that_find_a_broken_database_make_one_new(tmp_path: Path) -> None:
    for turn in range(3):
        folder = tmp_path / str(turn)
        folder.mkdir()
        (folder / DATABASE).write_bytes(b"rubbish" * 500)
        code = f"from explorer.saved.store import FolderStore\nFolderStore({str(folder)!r}).save('x', {{'a': 1}})"
        all_ = [subprocess.Popen([sys.executable, "-c", code]) for _ in range(4)]
        assert [p.wait() for p in all_] == [0, 0, 0, 0]
        assert len(FolderStore(folder).builds().builds) == 4
        assert len(list((folder / "set-aside").iterdir())) == 1


def test_the_database_of_a_later_version_is_left_alone(tmp_path: Path) -> None:
    FolderStore(tmp_path).save("Scree", RECORD)
    poke(tmp_path, "PRAGMA user_version=99")
    before = (tmp_path / DATABASE).read_bytes()
    with pytest.raises(StoreError, match=r"later version \(format 99; this one reads up to 1\)\. Update"):
        FolderStore(tmp_path)
    assert "later version" in store.open_store(tmp_path).notice
    assert (tmp_path / DATABASE).read_bytes() == before and not (tmp_path / "set-aside").exists()


def test_a_link_in_place_of_the_database_is_not_followed(tmp_path: Path) -> None:
    outside = FolderStore(tmp_path / "outside")
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / DATABASE).symlink_to(outside.path)
    with pytest.raises(StoreError, match="not an ordinary file"):
        FolderStore(tmp_path / "data")
    (tmp_path / "other" / DATABASE).mkdir(parents=True)
    with pytest.raises(StoreError, match="not an ordinary file"):
        FolderStore(tmp_path / "other")


def test_a_folder_deleted_meanwhile_is_one_sentence(tmp_path: Path) -> None:
    kept = FolderStore(tmp_path / "data")
    shutil.rmtree(tmp_path / "data")
    (problem,) = kept.builds().problems
    assert "moved, deleted or unplugged" in problem and problem.count("The saved builds are gone") == 1


def test_no_more_builds_than_the_limit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folder_store, "MAX_BUILDS", 2)
    kept = FolderStore(tmp_path)
    first = kept.save("a", {"a": 1})
    both = kept.download_all()
    kept.save("b", {"a": 2})
    for more in (lambda: kept.save("c", {"a": 3}), lambda: kept.upload(both)):
        with pytest.raises(StoreError, match=r"2 builds are kept already: delete some first\."):
            more()
    kept.save("a", {"a": 4}, key=first.key, revision=first.revision)
    assert [b.name for b in kept.builds().builds] == ["a", "b"], "newest first"
    put_document(tmp_path, "over-1", encode("c", {"a": 1}))
    assert kept.builds().problems == ["The folder holds 3 builds; the first 2 are shown."]


# --- names and keys ---

NASTY = [
    "../../etc/passwd",
    "/etc/passwd",
    "..",
    "a/b",
    "con",
    "x\x00y",
    "C:\\temp\\x",
    "\u202ecod.exe",
    "",
    " ",
    "é" * 500,
]


@pytest.mark.parametrize("name", NASTY)
def test_no_name_writes_outside_the_folder(tmp_path: Path, name: str) -> None:
    kept = FolderStore(tmp_path / "data")
    saved = kept.save(name, {"a": 1})
    files = [p for p in tmp_path.rglob("*") if p.is_file()]
    assert {p.relative_to(tmp_path / "data").as_posix() for p in files} == {DATABASE, "opening.lock"}
    assert all(c.isprintable() and c != "\u202e" for c in saved.name) and 0 < len(saved.name) <= 80
    assert set(store.file_name(name)) <= set("abcdefghijklmnopqrstuvwxyz0123456789-.")
    with pytest.raises(StoreError):
        kept.save("x", {"a": 1}, key=name)
    with pytest.raises(StoreError):
        kept.load(name)
    with pytest.raises(StoreError):
        kept.delete(name)
    with pytest.raises(StoreError):
        kept.save_table(name, "a")


@pytest.mark.parametrize(
    ("record", "said"),
    [
        ([1], "named fields"),
        ({"a": float("inf")}, "finite"),
        ({"a": object()}, "not a object"),
        ({1: 1}, "not a field name"),
        ({"a": "x" * 3000}, "3000 letters"),
        ({"a": 10**30}, "too large"),
        ({f"f{i}": 1 for i in range(500)}, "500 fields"),
    ],
)
def test_records_that_are_no_builds_are_refused(tmp_path: Path, record: object, said: str) -> None:
    kept = FolderStore(tmp_path)
    with pytest.raises(StoreError, match=said):
        kept.save("x", record)  # type: ignore[arg-type]
    assert kept.builds() == store.Listing()


def test_schema_of_known_fields() -> None:
    fields = {"kv": float, "name": str, "mass": (float, type(None)), "coaxial": bool, "cells": int}
    good = {"kv": 1950, "name": "Scree", "mass": None, "coaxial": True, "cells": 6}
    assert store.check_record(good, fields) == good
    for bad, said in [
        ({"kv": "x"}, "'kv' must be a number"),
        ({"kv": True}, "'kv'"),
        ({"z": 1}, "'z' is not known"),
    ]:
        with pytest.raises(StoreError, match=said):
            store.check_record(bad, fields)


# --- in and out ---


@pytest.mark.parametrize("make", [lambda p: FolderStore(p), lambda p: MemoryStore()], ids=["folder", "memory"])
def test_both_stores_do_the_same(tmp_path: Path, make) -> None:
    kept = make(tmp_path)
    a = kept.save("Scree", RECORD)
    b = kept.save("Tarn", {"kv": 3800.0})
    assert kept.load(a.key).record == RECORD
    data = kept.download(a.key)
    (copy,) = kept.upload(data)
    assert copy.name == "Scree (2)" and copy.record == RECORD and copy.key != a.key
    everything = kept.download_all()
    kept.delete(b.key)
    with pytest.raises(StoreError, match="no longer there"):
        kept.load(b.key)
    with pytest.raises(StoreError, match="no longer there"):
        kept.delete(b.key)
    assert len(kept.upload(everything)) == 3
    assert len(kept.builds().builds) == 5
    assert kept.load_table("motors") is None
    table = kept.save_table("motors", "name;KV\nä;1\n")
    assert kept.load_table("motors").text == "name;KV\nä;1\n"
    assert kept.load_table("motors").revision == table.revision
    # a spreadsheet's byte-order mark is no obstacle
    assert decode(b"\xef\xbb\xbf" + data)[1] == RECORD


def test_hosted_mode_shares_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(store.DATA_VARIABLE, "None")
    a, b = store.open_store(), store.open_store()
    a.save("mine", {"a": 1})
    assert isinstance(b, MemoryStore) and b.builds().builds == []
    assert "this visit only" in b.notice


def test_a_part_table_changed_in_another_window_is_kept(tmp_path: Path) -> None:
    a, b = FolderStore(tmp_path), FolderStore(tmp_path)
    first = a.save_table("motors", "v1")
    a.save_table("motors", "v2", revision=first.revision)
    clash = b.save_table("motors", "v3", revision=first.revision)
    assert "another window" in clash.notice
    (aside,) = (tmp_path / "set-aside").iterdir()
    assert aside.read_text() == "v2" and f"that version is kept as set-aside/{aside.name}" in clash.notice
    assert b.load_table("motors").text == "v3"
    assert b.save_table("motors", "v4", revision=clash.revision).notice == ""


def test_the_folder_follows_the_platform() -> None:
    home = Path("/home/a")
    # XDG Base Directory Specification 0.8: default $HOME/.local/share; relative values must be ignored
    assert data_folder({}, "linux", home=home) == home / ".local/share/propulsion-what-if"
    assert data_folder({"XDG_DATA_HOME": "/x"}, "linux", home=home) == Path("/x/propulsion-what-if")
    assert data_folder({"XDG_DATA_HOME": "x/y"}, "linux", home=home) == home / ".local/share/propulsion-what-if"
    assert data_folder({}, "darwin", home=home) == home / "Library/Application Support/Propulsion what-if"
    assert data_folder({"LOCALAPPDATA": "/l"}, "win32", home=home) == Path("/l/Propulsion what-if")
    for platform in ("linux", "darwin", "win32"):
        assert data_folder({store.DATA_VARIABLE: "/mine"}, platform, home=home) == Path("/mine")
        assert data_folder({store.DATA_VARIABLE: "~/mine"}, platform, home=home) == home / "mine"
        assert data_folder({store.DATA_VARIABLE: " NONE "}, platform, home=home) is None


@pytest.mark.skipif(sys.platform == "win32", reason="permissions of POSIX")
def test_the_folder_is_the_users_alone(tmp_path: Path) -> None:
    (tmp_path / "open").mkdir(mode=0o755)
    for folder in (tmp_path / "data", tmp_path / "open"):
        kept = FolderStore(folder)
        saved = kept.save("x", {"a": 1})
        kept.save_table("motors", "a")
        kept.save_table("motors", "b")
        with held(folder):
            names = {p.name for p in folder.iterdir()}
            assert f"{DATABASE}-wal" in names
            assert [p for p in folder.iterdir() if p.name != "opening.lock" and p.stat().st_mode & 0o077] == []
        assert kept.load(saved.key).name == "x"
    assert (tmp_path / "data").stat().st_mode & 0o077 == 0
