"""The folder of files that held saved builds and part tables before the database: read once, never changed.

``builds/<key>.json`` holds a build, ``<key>.json.previous`` the version before it, ``parts/<kind>.csv`` a part table.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from explorer.saved.build_file import MAX_BYTES, LaterVersionError, StoreError, clean_name, parse
from explorer.saved.items import KEY, KINDS, MAX_TABLE_BYTES

__all__ = ["OldFolder", "read_old_folder", "readable", "remove_old_build"]


@dataclass(frozen=True)
class OldFolder:
    """What such a folder holds.

    ``builds`` are key, document and the document before it (or None), oldest first. ``tables`` are the bytes of the
    CSV files by kind. ``problems`` has a sentence for each file that could not be taken over.
    """

    builds: list[tuple[str, bytes, bytes | None]] = field(default_factory=list)
    tables: dict[str, bytes] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)


def readable(document: bytes) -> bool:
    """Whether the bytes are a sound build file of this version or an older one."""
    try:
        parse(document)
    except StoreError:
        return False
    return True


def _read(path: Path, limit: int) -> bytes | None:
    """Return the first bytes of an ordinary file (no link, no device), None when it is not there."""
    if path.is_symlink():
        raise StoreError(f"{path.name} is a link to somewhere else and is not followed.")
    if not path.exists():
        return None
    if not path.is_file():
        raise StoreError(f"{path.name} is not an ordinary file.")
    with path.open("rb") as file:
        return file.read(limit + 1)


def read_old_folder(folder: Path) -> OldFolder:
    """Read every build and part table.

    A build that cannot be read gives way to the version before it. One that a later version of the program saved is
    taken as it is.

    Raises
    ------
    OSError
        When the folder itself cannot be read.

    Examples
    --------
    >>> read_old_folder(Path("not there"))
    OldFolder(builds=[], tables={}, problems=[])
    """
    found = OldFolder()
    order: dict[str, tuple[str, str]] = {}
    place = folder / "builds"
    files = sorted(p for p in place.iterdir() if p.suffix == ".json") if place.is_dir() else []
    for path in files:
        key, name, saved = path.stem, "", ""
        if not KEY.fullmatch(key):
            found.problems.append(f"'{clean_name(key)}.json' is not a name this program gives, so it was left alone.")
            continue
        previous = _previous(path)
        try:
            document = _read(path, MAX_BYTES) or b""
            name, _, saved = parse(document)
        except LaterVersionError:
            pass
        except (StoreError, OSError) as wrong:
            why = str(wrong) if isinstance(wrong, StoreError) else f"{(wrong.strerror or 'The disk failed')}."
            backup = f"{place.name}/{path.name}"
            if previous is None:
                found.problems.append(f"'{key}' cannot be read. {why} The file is kept in {backup}.")
                continue
            document, previous = previous, None
            name, _, saved = parse(document)
            found.problems.append(
                f"'{name}' could not be read. {why} The version before it is back, the file in {backup}."
            )
        found.builds.append((key, document, previous))
        order[key] = (saved, name)
    found.builds.sort(key=lambda build: order[build[0]])
    for kind in KINDS:
        try:
            table = _read(folder / "parts" / f"{kind}.csv", MAX_TABLE_BYTES)
        except StoreError as wrong:
            found.problems.append(f"The table of {kind} cannot be read: {wrong}")
            continue
        except OSError as wrong:
            found.problems.append(f"The table of {kind} cannot be read: {(wrong.strerror or 'a fault').lower()}.")
            continue
        if table is not None and len(table) > MAX_TABLE_BYTES:
            found.problems.append(f"The table of {kind} is too large to read.")
        elif table is not None:
            found.tables[kind] = table
    return found


def _previous(path: Path) -> bytes | None:
    """Return the version before, if it is sound."""
    try:
        data = _read(path.with_name(path.name + ".previous"), MAX_BYTES)
    except (StoreError, OSError):
        return None
    return data if data is not None and readable(data) else None


def remove_old_build(folder: Path, key: str) -> None:
    """Delete the files of a build that the user deletes for good."""
    for ending in (".json.previous", ".json"):
        (folder / "builds" / f"{key}{ending}").unlink(missing_ok=True)
