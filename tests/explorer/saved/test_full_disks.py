"""Saved builds on disks that are full or forbidden: one sentence, and the old build stays.

Outside source: POSIX.1-2017 ``setrlimit`` for a write that the kernel refuses or that ends the process part-way.
"""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from store_files import RECORD, document_of

from explorer.saved import store
from explorer.saved.folder_store import DATABASE
from explorer.saved.store import FolderStore, MemoryStore, StoreError, encode


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
