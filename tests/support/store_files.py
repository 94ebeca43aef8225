"""The database behind a store of saved builds, looked at and changed behind its back."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from explorer.saved.folder_store import DATABASE

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
