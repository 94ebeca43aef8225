"""Saved builds: names, keys, records, limits and folders of a store.

Outside source: the XDG Base Directory Specification 0.8 for the folder. The rest are invariants of a store.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from store_files import RECORD, held, put_document

from explorer.saved import folder_store, store
from explorer.saved.folder_store import DATABASE
from explorer.saved.store import FolderStore, MemoryStore, StoreError, data_folder, decode, encode


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
