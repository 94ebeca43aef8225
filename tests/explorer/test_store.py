"""Saved builds: nothing lost by a crash, a full disk, two windows or a hostile file.

Outside sources: the XDG Base Directory Specification 0.8 for the folder; POSIX.1-2017 ``rename``
for the promise that a name shows the old file or the new one. The rest are invariants of a store:
what was acknowledged is there.
"""

from __future__ import annotations

import errno
import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from explorer import build_file, store
from explorer.store import FolderStore, MemoryStore, StoreError, data_folder, decode, encode

RECORD = {"name": "Scree", "kv": 1950.0, "cells": 6, "chemistry": "lipo", "coaxial": False, "mass": None}


def write_loop(folder: Path, seed: int) -> subprocess.Popen[str]:
    """A process that saves over three builds again and again and says each save only after it is done."""
    code = f"""
import random, sys
from explorer.store import FolderStore
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


def test_twenty_random_kills_lose_nothing(tmp_path: Path) -> None:
    rng = random.Random(6)
    said: dict[str, int] = {}
    for turn in range(1, 21):
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
    assert max(said.values()) > 20_000_000, "the last process must have saved something before its kill"


CALLS = ["write", "fsync", "replace", "open"]


@pytest.mark.parametrize("call", CALLS)
def test_death_at_every_single_step_of_a_save(tmp_path: Path, call: str) -> None:
    """The process dies at the first, second, ... use of a system call, before and after the call itself."""
    first = FolderStore(tmp_path).save("craft", {"count": 1})
    reached = 0
    for after in (False, True):
        for step in range(1, 12):
            code = f"""
import os
from explorer.store import FolderStore
store = FolderStore({str(tmp_path)!r})
real, seen = os.{call}, 0
def dying(*args, **kwargs):
    global seen
    seen += 1
    if seen == {step} and not {after}:
        os._exit(9)
    out = real(*args, **kwargs)
    if seen == {step}:
        os._exit(9)
    return out
os.{call} = dying
store.save("craft", {{"count": 2}}, key={first.key!r})
"""
            done = subprocess.run([sys.executable, "-c", code], check=False).returncode
            listing = FolderStore(tmp_path).builds()
            assert listing.problems == []
            assert [b.key for b in listing.builds] == [first.key]
            assert listing.builds[0].record["count"] in (1, 2)
            if done == 0:
                break
            assert done == 9
            reached += 1
            FolderStore(tmp_path).save("craft", {"count": 1}, key=first.key)
        else:
            pytest.fail("the save never ended: the step count is too small")
    assert reached >= 4
    assert list(tmp_path.rglob("*.part")) == [], "pieces of a cut save are swept by the next one"


def test_two_windows_saving_new_builds_of_one_name_lose_none(tmp_path: Path) -> None:
    code = f"""
from explorer.store import FolderStore
s = FolderStore({str(tmp_path)!r})
for i in range(25):
    s.save("Scree", {{"count": i}})
"""
    both = [subprocess.Popen([sys.executable, "-c", code]) for _ in range(2)]
    assert [p.wait() for p in both] == [0, 0]
    listing = FolderStore(tmp_path).builds()
    assert listing.problems == []
    assert sorted(b.record["count"] for b in listing.builds) == sorted(list(range(25)) * 2)


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
    a, b = FolderStore(tmp_path), FolderStore(tmp_path)
    first = a.save("craft", {"count": 1})
    monkeypatch.setattr(b, "lock_seconds", 0.05)
    with a._locked(), pytest.raises(StoreError, match="Another window is still saving"):
        b.save("craft", {"count": 2}, key=first.key)
    assert a.load(first.key).record["count"] == 1


# --- full and forbidden disks ---


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT])
@pytest.mark.parametrize("call", ["write", "fsync"])
def test_full_disk_is_one_sentence_and_the_old_file_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str, number: int
) -> None:
    kept = FolderStore(tmp_path)
    first = kept.save("Scree", {"count": 1})
    before = (tmp_path / "builds" / f"{first.key}.json").read_bytes()

    def full(*_: object) -> int:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(store.os, call, full)
    with pytest.raises(StoreError) as caught:
        kept.save("Scree", {"count": 2}, key=first.key)
    monkeypatch.undo()
    assert str(caught.value) == "'Scree' was not saved: the disk is full. What was saved before is untouched."
    assert (tmp_path / "builds" / f"{first.key}.json").read_bytes() == before
    assert list(tmp_path.rglob("*.part")) == []
    kept.save("Scree", {"count": 3}, key=first.key)
    assert kept.load(first.key).record["count"] == 3


@pytest.mark.skipif(sys.platform == "win32", reason="the system limits no file size")
def test_a_real_size_limit_of_the_system_leaves_the_old_file(tmp_path: Path) -> None:
    """The kernel itself refuses the write part-way (setrlimit RLIMIT_FSIZE, POSIX)."""
    first = FolderStore(tmp_path).save("Scree", {"count": 1})
    code = f"""
import resource, signal
from explorer.store import FolderStore, StoreError
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
store = FolderStore({str(tmp_path)!r})
resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))
try:
    store.save("Scree", {{"count": 2, "filler": "x" * 1000}}, key={first.key!r})
except StoreError as wrong:
    print(wrong)
"""
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert "the disk is full" in said
    assert FolderStore(tmp_path).load(first.key).record == {"count": 1}


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
def test_a_broken_file_goes_aside_and_is_told(tmp_path: Path, data: bytes) -> None:
    kept = FolderStore(tmp_path)
    good = kept.save("good", {"count": 1})
    (tmp_path / "builds" / "bad-1.json").write_bytes(data)
    listing = kept.builds()
    assert [b.key for b in listing.builds] == [good.key]
    assert len(listing.problems) == 1 and "'bad-1' cannot be read" in listing.problems[0]
    aside = list((tmp_path / "set-aside").iterdir())
    assert [p.read_bytes() for p in aside] == [data], "set aside, never deleted or changed"
    assert kept.builds().problems == []
    with pytest.raises(StoreError):
        kept.upload(data)
    assert len(kept.builds().builds) == 1


def test_a_broken_file_gives_way_to_its_previous_version(tmp_path: Path) -> None:
    kept = FolderStore(tmp_path)
    first = kept.save("Scree", {"count": 1})
    kept.save("Scree", {"count": 2}, key=first.key)
    (tmp_path / "builds" / f"{first.key}.json").write_bytes(b'{"format": "prop')
    listing = kept.builds()
    assert [b.record["count"] for b in listing.builds] == [1]
    assert "The version before it is back" in listing.problems[0]
    assert [p.read_bytes() for p in (tmp_path / "set-aside").iterdir()] == [b'{"format": "prop']
    assert kept.load(first.key).record["count"] == 1


def test_saving_over_a_broken_file_keeps_it(tmp_path: Path) -> None:
    kept = FolderStore(tmp_path)
    first = kept.save("Scree", {"count": 1})
    (tmp_path / "builds" / f"{first.key}.json").write_bytes(b"rubbish")
    out = kept.save("Scree", {"count": 2}, key=first.key)
    assert "could not be read" in out.notice
    assert [p.read_bytes() for p in (tmp_path / "set-aside").iterdir()] == [b"rubbish"]
    assert kept.load(first.key).record["count"] == 2


def test_a_later_version_stays_where_it_is(tmp_path: Path) -> None:
    kept = FolderStore(tmp_path)
    later = json.dumps({"format": build_file.FORMAT, "format_version": 99, "record": {"a": 1}}).encode()
    path = tmp_path / "builds" / "later-1.json"
    path.write_bytes(later)
    listing = kept.builds()
    assert listing.builds == [] and "later version (format 99" in listing.problems[0]
    assert path.read_bytes() == later and not (tmp_path / "set-aside").exists()
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


def test_links_and_odd_files_in_the_folder_are_not_followed(tmp_path: Path) -> None:
    outside = tmp_path / "outside.json"
    outside.write_bytes(encode("secret", {"a": 1}))
    kept = FolderStore(tmp_path / "data")
    (tmp_path / "data" / "builds" / "link-1.json").symlink_to(outside)
    listing = kept.builds()
    assert listing.builds == [] and "link" in listing.problems[0]
    kept.save("mine", {"a": 2}, key="link-1")
    assert decode(outside.read_bytes())[0] == "secret"
    assert kept.load("link-1").name == "mine"


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
    assert {p.parent for p in files if p.suffix == ".json"} == {tmp_path / "data" / "builds"}
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
    texts = {p.read_text() for p in (tmp_path / "parts").iterdir()}
    assert texts == {"v2", "v3"}
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


def test_the_folder_is_the_users_alone(tmp_path: Path) -> None:
    kept = FolderStore(tmp_path / "data")
    saved = kept.save("x", {"a": 1})
    path = tmp_path / "data" / "builds" / f"{saved.key}.json"
    assert path.stat().st_mode & 0o077 == 0
    assert path.parent.stat().st_mode & 0o077 == 0
