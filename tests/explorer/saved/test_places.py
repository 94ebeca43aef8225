"""Where saved builds are: folders that go away, other systems, all or none."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path, PureWindowsPath
from types import SimpleNamespace

import pytest

from explorer.saved import disk, folder_store
from explorer.saved.build_file import MAX_BUILDS, encode_many
from explorer.saved.store import FolderStore, MemoryStore, StoreError, data_folder, open_store

RECORD = {"kv": 1950.0}


def many(count: int) -> bytes:
    """A file with so many builds."""
    return encode_many([(f"B{k}", RECORD) for k in range(count)])


# ---- all or none ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["memory", "folder"])
def test_past_the_limit_none_is_brought_in(kind: str, tmp_path: Path) -> None:
    store = MemoryStore() if kind == "memory" else FolderStore(tmp_path)
    assert len(store.upload(many(MAX_BUILDS - 1))) == MAX_BUILDS - 1
    before = [(b.key, b.name) for b in store.builds().builds]
    with pytest.raises(StoreError, match=f"{MAX_BUILDS - 1} .*kept.*{MAX_BUILDS}"):
        store.upload(many(2))
    assert [(b.key, b.name) for b in store.builds().builds] == before
    assert len(store.upload(many(1))) == 1


def test_names_of_builds_brought_in_twice_differ_in_memory_too() -> None:
    store = MemoryStore()
    assert [b.name for b in (*store.upload(many(2)), *store.upload(many(2)))] == ["B0", "B1", "B0 (2)", "B1 (2)"]


# ---- a folder that goes away ------------------------------------------------------------------------------


@pytest.mark.parametrize("what", ["folder", "database"])
def test_a_folder_that_vanishes_is_said_and_comes_back_with_the_next_save(what: str, tmp_path: Path) -> None:
    folder = tmp_path / "a" / "data"
    store = FolderStore(folder)
    key = store.save("Scree", RECORD).key
    if what == "folder":
        shutil.rmtree(folder)
    else:
        for piece in folder.glob("saved.sqlite3*"):
            piece.unlink()
    listing = store.builds()
    assert listing.builds == [] and "gone from" in listing.problems[0]
    for ask in (lambda: store.load(key), lambda: store.download(key), lambda: store.load_table("motors")):
        with pytest.raises(StoreError, match="moved, deleted or unplugged"):
            ask()
    assert not (folder / "saved.sqlite3").exists(), "reading makes nothing"
    again = store.save("Tarn", RECORD)
    assert "had gone" in store.notice
    assert [b.name for b in store.builds().builds] == ["Tarn"]
    assert FolderStore(folder).load(again.key).name == "Tarn"


def test_a_folder_that_comes_back_is_read_again(tmp_path: Path) -> None:
    folder = tmp_path / "stick"
    store = FolderStore(folder)
    store.save("Scree", RECORD)
    folder.rename(tmp_path / "elsewhere")
    assert store.builds().problems
    (tmp_path / "elsewhere").rename(folder)
    assert [b.name for b in store.builds().builds] == ["Scree"] and not store.builds().problems


def test_a_folder_that_cannot_be_made_again_is_said(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    store = FolderStore(folder)
    shutil.rmtree(folder)
    folder.write_text("in the way", encoding="utf-8")
    with pytest.raises(StoreError, match="cannot be used"):
        store.save("Scree", RECORD)
    assert folder.read_text(encoding="utf-8") == "in the way"


# ---- names of folders -------------------------------------------------------------------------------------


def test_a_tilde_is_the_home_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def at(text: str) -> Path | None:
        return data_folder({"PROPULSION_WHAT_IF_DATA": text}, home=tmp_path)

    assert at("~") == at("~/") == at("~\\") == tmp_path
    assert at("~/my data") == at("~\\my data") == at("~//my data/") == tmp_path / "my data"
    assert at("x~y") == Path("x~y")


@pytest.mark.parametrize("platform", ["linux", "darwin", "win32"])
def test_without_a_home_folder_builds_last_for_the_visit(platform: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def nowhere() -> Path:
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.setattr(Path, "home", nowhere)
    assert data_folder({}, platform) is None
    assert data_folder({"PROPULSION_WHAT_IF_DATA": "~/x"}, platform) is None
    assert data_folder({"PROPULSION_WHAT_IF_DATA": "~nobody-of-that-name/x"}, platform) is None
    assert data_folder({"PROPULSION_WHAT_IF_DATA": "/somewhere"}, platform) == Path("/somewhere")
    for name in ("PROPULSION_WHAT_IF_DATA", "XDG_DATA_HOME", "LOCALAPPDATA"):
        monkeypatch.delenv(name, raising=False)
    assert isinstance(open_store(), MemoryStore)


@pytest.mark.parametrize("name", ["my builds", "ä ö ü", "100% sure?", "a#b", "a&b=c", "quote's", "日本"])
def test_any_name_of_a_folder_will_do(name: str, tmp_path: Path) -> None:
    if sys.platform == "win32" and "?" in name:
        pytest.skip("Windows allows no question mark")
    kept = FolderStore(tmp_path / name).save("Scree", RECORD)
    assert FolderStore(tmp_path / name).load(kept.key).name == "Scree"
    assert sorted(p.name for p in tmp_path.iterdir()) == [name]


# ---- as on Windows ----------------------------------------------------------------------------------------


def test_addresses_of_windows_paths_for_the_database() -> None:
    """Forms of "URI Filenames in SQLite"."""
    uri = FolderStore._uri
    assert (
        uri(None, PureWindowsPath("C:\\my data\\ü.sqlite3"), "mode=rw")
        == "file:///C%3A/my%20data/%C3%BC.sqlite3?mode=rw"
    )
    assert uri(None, PureWindowsPath("\\\\box\\share\\a.sqlite3"), "mode=ro") == "file:////box/share/a.sqlite3?mode=ro"


@pytest.mark.parametrize(("kind", "remote"), [(4, True), (3, False), (2, False)])
def test_a_network_drive_of_windows_is_known(kind: int, remote: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """``GetDriveTypeW``: 2 removable, 3 fixed, 4 remote (Win32, fileapi.h)."""
    import ctypes

    asked = []
    kernel = SimpleNamespace(GetDriveTypeW=lambda anchor: asked.append(anchor) or kind)
    monkeypatch.setattr(ctypes, "windll", SimpleNamespace(kernel32=kernel), raising=False)
    monkeypatch.setattr(disk.sys, "platform", "win32")
    assert disk.on_network(PureWindowsPath("Z:\\data")) is remote  # type: ignore[arg-type]
    assert asked == ["Z:\\"]


def test_a_system_without_a_list_of_mounts_takes_a_disk_as_local(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """MacOS has no ``/proc``."""

    def nothing(*_: object, **__: object) -> str:
        raise FileNotFoundError

    monkeypatch.setattr(Path, "read_text", nothing)
    assert disk.on_network(tmp_path) is False


def test_a_file_that_is_open_elsewhere_is_not_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows refuses to rename over an open file: one sentence, and nothing is lost or left behind."""
    (tmp_path / "saved.sqlite3").write_bytes(b"no database" * 100)

    def refused(*_: object) -> None:
        raise PermissionError(13, "The process cannot access the file because it is being used by another process")

    with monkeypatch.context() as windows:
        windows.setattr(folder_store.os, "replace", refused)
        with pytest.raises(StoreError, match="may not be written to"):
            FolderStore(tmp_path)
        store = open_store(tmp_path)
        assert isinstance(store, MemoryStore) and "Builds last for this visit only" in store.notice
    assert (tmp_path / "saved.sqlite3").read_bytes() == b"no database" * 100
    assert not list(tmp_path.glob("new-*"))
    assert FolderStore(tmp_path).save("Scree", RECORD).name == "Scree"


def test_no_file_the_program_makes_has_a_name_that_windows_refuses(tmp_path: Path) -> None:
    (tmp_path / "saved.sqlite3").write_bytes(b"no database")
    store = FolderStore(tmp_path)
    for name in ("con", "nul.txt", "a:b", "x?", "trailing.", "trailing "):
        assert ":" not in store.save(name, RECORD).key
    names = [p.name for p in tmp_path.rglob("*")]
    assert len(names) > 2 and not any(c in name for name in names for c in '<>:"|?*')


@pytest.mark.skipif(not hasattr(os, "fork"), reason="a start by spawn is what this system does anyway")
def test_processes_started_afresh_share_the_store(tmp_path: Path) -> None:
    """As on macOS and Windows, where a new process begins with nothing of the old one."""
    import multiprocessing

    context = multiprocessing.get_context("spawn")
    with context.Pool(2) as pool:
        kept = pool.starmap(_save, [(str(tmp_path), k) for k in range(6)])
    assert len(set(kept)) == 6
    assert len(FolderStore(tmp_path).builds().builds) == 6


def _save(folder: str, number: int) -> str:
    return FolderStore(folder).save(f"B{number}", RECORD).key
