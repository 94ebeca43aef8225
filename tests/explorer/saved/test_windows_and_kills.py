"""Saved builds while processes are killed and several windows write: what was acknowledged is there."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from store_files import RECORD, held, poke

from explorer.saved import folder_store
from explorer.saved.folder_store import DATABASE
from explorer.saved.store import FolderStore, StoreError


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
