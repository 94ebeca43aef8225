"""Saved builds in files that are broken, foreign, of a later version or no database: kept aside, and told.

Outside source: "File Format" of the SQLite documentation for the header of a database.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from store_files import RECORD, document_of, poke, put_document

from explorer.saved import build_file, store
from explorer.saved.folder_store import DATABASE
from explorer.saved.store import FolderStore, StoreError, decode, encode

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
