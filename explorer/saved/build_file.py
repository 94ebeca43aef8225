"""Format of a build file (JSON): names, validation, versions. This module does not access a disk.

A record is a plain ``dict`` of field names to text, numbers, yes/no or ``None``.
"""

from __future__ import annotations

import codecs
import json
import math
import re
import secrets
import unicodedata
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any

__all__ = [
    "FORMAT_VERSION",
    "MAX_BUILDS",
    "MAX_BYTES",
    "LaterVersionError",
    "Record",
    "Scalar",
    "StoreError",
    "check_record",
    "clean_name",
    "decode",
    "decode_many",
    "encode",
    "encode_many",
    "file_name",
    "free_name",
    "new_key",
    "one_line",
    "parse",
]

FORMAT = "propulsion-what-if build"
FORMAT_MANY = "propulsion-what-if builds"
FORMAT_VERSION = 1
MAX_BYTES = 256 * 1024
"""Largest build file read or written; a build takes about 3 kB. [byte]"""
MAX_BUILDS = 1000
MAX_FIELDS = 400
MAX_TEXT = 2000
MAX_NAME = 80

Scalar = str | int | float | bool | None
Record = dict[str, Scalar]

_FIELD = re.compile(r"[A-Za-z_][A-Za-z0-9_.]{0,79}")


class StoreError(ValueError):
    """A build or table could not be saved or read; the message is one sentence for the user."""


class LaterVersionError(StoreError):
    """The file is valid but was written by a later version; it is not changed."""


def clean_name(name: object) -> str:
    """Return a name for display and files: one line, no control or direction characters, at most 80 characters.

    Examples
    --------
    >>> clean_name("  my \\n craft \\x00 ")
    'my craft'
    >>> clean_name("")
    'Unnamed build'
    """
    return one_line(str(name)[: MAX_NAME * 20])[:MAX_NAME].strip() or "Unnamed build"


def one_line(text: str) -> str:
    """Return a text as one line, without control characters, direction characters and surrogates.

    Examples
    --------
    >>> one_line("a\\x00b\\n c\\ud83d")
    'a b c'
    """
    text = unicodedata.normalize("NFC", text)
    # Cc control, Cf direction and joining, Cs surrogates, Co private use, Zl and Zp line breaks
    text = "".join(" " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c for c in text)
    text = "".join(c for c in text if unicodedata.category(c) not in ("Cf", "Cs", "Co", "Cn"))
    return " ".join(text.split())


def file_name(name: object, ending: str = ".json") -> str:
    """Return a file name for a download: letters, digits and dashes only.

    Examples
    --------
    >>> file_name("../../Fell & Söhne")
    'fell-sohne.json'
    """
    return _slug(name) + ending


def _slug(name: object) -> str:
    plain = unicodedata.normalize("NFKD", clean_name(name)).encode("ascii", "ignore").decode("ascii").lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:40].strip("-") or "build"


def new_key(name: object) -> str:
    """Return a key for a new build, from its name and a random suffix."""
    # The suffix prevents equal keys of two windows, and device names such as "con".
    return f"{_slug(name)}-{secrets.token_hex(5)}"


def free_name(name: str, taken: set[str]) -> str:
    """Return the name; if it is taken, with the first free number after it."""
    if name not in taken:
        return name
    number = 2
    while f"{name[: MAX_NAME - 6]} ({number})" in taken:
        number += 1
    return f"{name[: MAX_NAME - 6]} ({number})"


def check_record(record: object, fields: Mapping[str, Any] | None = None) -> Record:
    """Return the record as a plain dict, or raise with the field that is wrong.

    Parameters
    ----------
    record : mapping
        Field names to text, finite numbers, yes/no or None.
    fields : mapping, optional
        Known field names -> a type or a tuple of types (a whole number is valid for ``float``). If given, unknown
        fields raise an error.

    Raises
    ------
    StoreError
        One sentence that names the field.

    Examples
    --------
    >>> check_record({"kv": 1950, "name": "Scree"})
    {'kv': 1950, 'name': 'Scree'}
    >>> check_record({"kv": [1, 2]})
    Traceback (most recent call last):
    ...
    explorer.saved.build_file.StoreError: Field 'kv' must be text, a number, yes/no or empty, not a list.
    """
    if not isinstance(record, Mapping):
        raise StoreError("The build must be a set of named fields.")
    if len(record) > MAX_FIELDS:
        raise StoreError(f"The build has {len(record)} fields; at most {MAX_FIELDS} are read.")
    out: Record = {}
    for key, value in record.items():
        if not isinstance(key, str) or not _FIELD.fullmatch(key):
            raise StoreError(f"'{clean_name(key)}' is not a field name.")
        if value is not None and not isinstance(value, str | int | float | bool):
            raise StoreError(f"Field '{key}' must be text, a number, yes/no or empty, not a {type(value).__name__}.")
        if isinstance(value, str) and len(value) > MAX_TEXT:
            raise StoreError(f"Field '{key}' holds {len(value)} letters; at most {MAX_TEXT} are kept.")
        if isinstance(value, float) and not math.isfinite(value):
            raise StoreError(f"Field '{key}' must be a finite number, got {value}.")
        if isinstance(value, int) and abs(value) > 2**53:
            raise StoreError(f"Field '{key}' is too large a number.")
        if fields is not None:
            if key not in fields:
                raise StoreError(f"Field '{key}' is not known here.")
            wanted = fields[key] if isinstance(fields[key], tuple) else (fields[key],)
            wanted += (int,) if float in wanted else ()
            if not isinstance(value, wanted) or (isinstance(value, bool) and bool not in wanted):
                names = " or ".join(
                    {"str": "text", "float": "a number", "int": "a whole number"}.get(t.__name__, t.__name__)
                    for t in wanted[:1]
                )
                raise StoreError(f"Field '{key}' must be {names}, got {clean_name(value)!r}.")
        # only built-in types: a numpy scalar is a subclass of float but cannot be written as JSON
        out[key] = float(value) if isinstance(value, float) else value
    return out


def _bare_record_to_1(document: dict[str, Any]) -> dict[str, Any]:
    """Convert version 0, which was only the record, to version 1."""
    name = document.get("name")
    return {
        "format": FORMAT,
        "format_version": 1,
        "name": name if isinstance(name, str) else "Unnamed build",
        "saved": "",
        "record": {k: v for k, v in document.items() if k not in ("format", "format_version")},
    }


_MIGRATIONS: dict[int, Callable[[dict[str, Any]], dict[str, Any]]] = {0: _bare_record_to_1}
"""Version n -> function that converts a document to version n + 1. A new version adds one entry and changes none."""


def _now() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _document(name: object, record: object, saved: str | None = None) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "name": clean_name(name),
        "saved": _now() if saved is None else saved,
        "record": check_record(record),
    }


def _dump(document: dict[str, Any]) -> bytes:
    text = json.dumps(document, ensure_ascii=True, allow_nan=False, indent=1) + "\n"
    return text.encode("ascii")


def encode(name: object, record: Mapping[str, Scalar]) -> bytes:
    """Return the build as the bytes of a JSON file.

    Examples
    --------
    >>> decode(encode("Scree", {"kv": 1950.0}))
    ('Scree', {'kv': 1950.0})
    """
    data = _dump(_document(name, record))
    if len(data) > MAX_BYTES:
        raise StoreError(f"The build is too large to keep ({len(data) // 1024} kB, at most {MAX_BYTES // 1024} kB).")
    return data


def encode_many(builds: list[tuple[str, Mapping[str, Scalar]]]) -> bytes:
    """Return several builds as the bytes of one JSON file."""
    return _dump(
        {
            "format": FORMAT_MANY,
            "format_version": FORMAT_VERSION,
            "builds": [_document(name, record) for name, record in builds],
        }
    )


def _no_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    out = dict(pairs)
    if len(out) != len(pairs):
        raise StoreError("The file names one field twice.")
    return out


def _no_constant(text: str) -> float:
    raise StoreError(f"The file holds {text} where a finite number belongs.")


def _load(data: bytes, limit: int) -> Any:
    if len(data) > limit:
        raise StoreError(f"The file is too large ({len(data) // 1024} kB, at most {limit // 1024} kB are read).")
    try:
        # some editors save text as UTF-16 with a byte order mark
        wide = data[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
        text = data.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError:
        raise StoreError("This is not a saved build: the file is not text.") from None
    if not text.strip():
        raise StoreError("The file is empty.")
    try:
        return json.loads(text, object_pairs_hook=_no_twins, parse_constant=_no_constant)
    except StoreError:
        raise
    except json.JSONDecodeError as wrong:
        raise StoreError(
            f"This is not a whole saved build: the text breaks off or is wrong in line {wrong.lineno}."
        ) from None
    except (RecursionError, ValueError):
        raise StoreError("This is not a saved build.") from None


def _version(document: dict[str, Any]) -> int:
    """Return the version of a parsed document; raise if this program cannot read it."""
    version = document.get("format_version", 0)
    if isinstance(version, bool) or not isinstance(version, int) or version < 0:
        raise StoreError("The file does not say which version it has.")
    if version > FORMAT_VERSION:
        named = f"format {version}" if version < 10**6 else "a format of many digits"
        raise LaterVersionError(
            f"This build was saved by a later version ({named}; this one reads up to "
            f"{FORMAT_VERSION}). Update the program to open it."
        )
    return version


def _one(document: Any) -> tuple[str, Record, str]:
    """Convert one parsed document to the present version and validate it; return name, record and time saved."""
    if not isinstance(document, dict):
        raise StoreError("This is not a saved build.")
    version = _version(document)
    if version >= 1 and document.get("format") != FORMAT:
        raise StoreError("This is not a saved build: its heading names something else.")
    while version < FORMAT_VERSION:
        document = _MIGRATIONS[version](document)
        version += 1
    if "record" not in document:
        raise StoreError("The saved build holds no fields.")
    record = check_record(document["record"])
    if not record:
        raise StoreError("The saved build holds no fields.")
    saved = document.get("saved", "")
    name = document.get("name", "")
    return (
        clean_name(name if isinstance(name, str) else ""),
        record,
        one_line(saved[:32]) if isinstance(saved, str) else "",
    )


def parse(data: bytes) -> tuple[str, Record, str]:
    """Read the bytes of one build file: name, record and the time it was saved."""
    return _one(_load(data, MAX_BYTES))


def decode(data: bytes) -> tuple[str, Record]:
    """Read the bytes of one build file, of this or an older version.

    Returns
    -------
    tuple
        Name and record.

    Raises
    ------
    StoreError
        With one sentence, if the file is not text, is incomplete, is of a later version, or has an invalid field.
    """
    name, record, _ = parse(data)
    return name, record


def decode_many(data: bytes) -> list[tuple[str, Record]]:
    """Read a file with one build or with many."""
    document = _load(data, 16 * 1024 * 1024)
    if isinstance(document, dict) and document.get("format") == FORMAT_MANY:
        _version(document)
        builds = document.get("builds")
        if not isinstance(builds, list) or len(builds) > MAX_BUILDS:
            raise StoreError(f"The file must list its builds, at most {MAX_BUILDS}.")
        if not builds:
            raise StoreError("The file holds no builds.")
        return [_one(build)[:2] for build in builds]
    return [_one(document)[:2]]
