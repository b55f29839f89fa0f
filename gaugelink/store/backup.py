"""A copy of the store in one file, and putting one back.

A copy is made by SQLite's own backup while the hub may be writing: it holds everything that was
committed when it began. What is put back is looked through first, and the store that it takes the
place of is kept beside it.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
from datetime import datetime
from pathlib import Path

import msgspec

from gaugelink.store import connection as files
from gaugelink.store import schema
from gaugelink.store.errors import StoreError, speaking
from gaugelink.store.lock import Holder, WriterLock

NOTHING_CHANGED = "nothing was changed; "

BESIDE = ("-wal", "-shm", "-journal")
"""What SQLite may have left beside a store, and what only fits that very store."""


class Kept(msgspec.Struct, frozen=True):
    """What is in a copy."""

    path: str
    schema: int
    reeds: int
    captures: int


class Restored(msgspec.Struct, frozen=True):
    """What was put back."""

    kept: Kept
    before: str
    """The file with the store as it was; empty when there was none."""


def backup(store: Path, target: Path) -> Kept:
    """Copy the store into a new file; a hub may be at work on it.

    Raises StoreError when there is no store, when the file is there already, and when it cannot be
    written, which then leaves nothing behind.
    """
    store, target = store.resolve(), target.absolute()
    with speaking(target, "no backup was made; "), contextlib.ExitStack() as stack:
        if target.exists():
            raise StoreError(f"{target} is there already: choose another name")
        with speaking(store):
            connection = stack.enter_context(contextlib.closing(files.connect_to_read(store)))
            schema.version_of(connection, store, len(schema.migrations()))
        part = target.with_name(target.name + ".part")
        stack.callback(part.unlink, missing_ok=True)
        _copy(connection, part)
        kept = look(part)
        # Unlike a renaming, a link never takes the place of what has come there meanwhile.
        _place_new(part, target)
    return msgspec.structs.replace(kept, path=str(target))


def restore(store: Path, source: Path, now: datetime) -> Restored:
    """Put a copy in the place of the store, which is kept beside it under the time `now`.

    Raises StoreError when a process uses the store, when the copy is damaged, of a newer gaugelink
    or no store at all, and when the disk does not let it be done; the store then stands as it was.
    """
    store, source = store.resolve(), source.resolve()
    with speaking(store, NOTHING_CHANGED):
        if source == store:
            raise StoreError(f"{source} is the store itself: name a backup of it")
        kept = look(source)
        store.parent.mkdir(parents=True, exist_ok=True)
        lock = WriterLock(store, Holder(os.getpid(), since=now.isoformat()))
        try:
            return _put_back(store, source, kept, now)
        finally:
            lock.release()


def look(copy: Path) -> Kept:
    """What is in a copy, once every page of it has been checked; StoreError when it is damaged."""
    with speaking(copy, NOTHING_CHANGED, "name another backup"):
        if not copy.is_file():
            raise StoreError(f"there is no file {copy}: name a backup")
        with contextlib.closing(files.connect_to_read(copy)) as connection:
            number = schema.version_of(connection, copy, len(schema.migrations()))
            if number == 0:
                raise StoreError(f"{copy} is empty: name a backup")
            found = connection.execute("PRAGMA integrity_check (1)").fetchone()[0]
            if found != "ok" or connection.execute("PRAGMA foreign_key_check").fetchone():
                raise StoreError(f"{copy} is damaged: name another backup")
            counts = connection.execute(
                "SELECT (SELECT count(*) FROM reeds), (SELECT count(*) FROM captures)"
            ).fetchone()
    return Kept(str(copy), number, *counts)


def _put_back(store: Path, source: Path, kept: Kept, now: datetime) -> Restored:
    part = store.with_name(store.name + ".restoring")
    part.unlink(missing_ok=True)
    try:
        with contextlib.closing(files.connect_to_read(source)) as connection:
            _copy(connection, part)
        before = str(_keep(store, now)) if store.exists() else ""
        os.replace(part, store)
    finally:
        part.unlink(missing_ok=True)
    return Restored(kept, before)


def _copy(connection: sqlite3.Connection, target: Path) -> None:
    """The whole of an open store in a file that stands by itself, durable when this returns."""
    target.unlink(missing_ok=True)
    with contextlib.closing(sqlite3.connect(target, isolation_level=None)) as copy:
        copy.execute("PRAGMA synchronous = FULL")
        connection.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")


def _keep(store: Path, now: datetime) -> Path:
    """The store under a second name beside it, with what SQLite had left there.

    It is not opened: it may be damaged, and opening could make that worse. A program that is just
    reading it goes on with the old files.
    """
    stem = f"{store.name}.before-{now:%Y%m%dT%H%M%S}"
    names = (stem, *(f"{stem}-{number}" for number in range(2, 100)))
    kept = next(path for name in names if not (path := store.with_name(name)).exists())
    _place(store, kept)
    for suffix in BESIDE:
        beside = store.with_name(store.name + suffix)
        if beside.exists():
            os.replace(beside, kept.with_name(kept.name + suffix))
    return kept


def _place(file: Path, name: Path) -> None:
    """The file under a further name; the first stays, so that at no moment there is no store."""
    try:
        os.link(file, name)
    except FileExistsError:
        raise
    except OSError:
        shutil.copy2(file, name)  # a file system without links


def _place_new(file: Path, name: Path) -> None:
    try:
        _place(file, name)
    except FileExistsError as error:
        raise StoreError(f"{name} is there already: choose another name") from error
