"""Opening and leaving the store's file.

A writer uses WAL with `synchronous=FULL`: a commit returns when the disk has it, and readers are
never in its way. When it leaves, it puts the file back into rollback mode. A file left in WAL mode
cannot be read without creating its `-wal` and `-shm` again, and a reader must not create files.
"""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path

from gaugelink.store.errors import StoreError

OLDEST_SQLITE = (3, 37, 0)
"""The first with STRICT tables."""

PATIENCE = 1.0
"""Seconds to wait for a program that holds the file, such as a copying one."""

PAGE_SIZE = 1024
"""Bytes. A capture is a small record, committed alone: what counts is the bytes that a commit
writes, each changed page being one, not how fast a long table is read."""

CHECKPOINT_AFTER = 8000
"""Pages in the WAL (8 MB, some hundreds of captures) after which a commit also checkpoints.

Eight times SQLite's own choice: the checkpoint is made when a walk begins, and this is only for a
walk without end, so that no press has to wait for it.
"""


def check_sqlite(version: tuple[int, ...] = sqlite3.sqlite_version_info) -> None:
    """Raise StoreError when the SQLite that Python was built with is too old."""
    if version < OLDEST_SQLITE:
        found, needed = (".".join(map(str, each)) for each in (version, OLDEST_SQLITE))
        raise StoreError(f"SQLite {found} is too old, {needed} is needed: use a newer Python")


def connect(path: Path) -> sqlite3.Connection:
    """The file opened for writing, and made if need be; nothing in it is touched yet."""
    check_sqlite()
    return _connect(path.as_uri() + "?mode=rwc")


def connect_to_read(path: Path) -> sqlite3.Connection:
    """The file opened for reading only.

    Nothing is created, but for SQLite's own `-shm` when a copy of a store in use has brought a
    `-wal` without it. Raises StoreError when there is no such file.
    """
    check_sqlite()
    if not path.is_file():
        raise StoreError(f"there is no store at {path} yet: measure something first")
    uri = path.as_uri() + "?mode=ro"
    # A copy made while a writer was there may lack the WAL that its header speaks of. It stands
    # still, so it needs neither that nor a lock. (With a `-wal` the file must not even be looked
    # at like this: closing it would take from this process the locks that SQLite has on it.)
    if not path.with_name(path.name + "-wal").exists() and _header_says_wal(path):
        uri += "&immutable=1"
    return _connect(uri)


def enter_wal(connection: sqlite3.Connection, path: Path) -> None:
    """Make commits durable and let readers in; StoreError where the file system cannot."""
    connection.execute(f"PRAGMA page_size = {PAGE_SIZE:d}")  # heeded in an empty file only
    mode = connection.execute("PRAGMA journal_mode = WAL").fetchone()[0]
    if mode != "wal":
        raise StoreError(f"{path} is on a file system without shared memory: use a local disk")
    connection.execute("PRAGMA synchronous = FULL")
    # On macOS fsync leaves it in the drive's own cache; elsewhere this means nothing.
    connection.execute("PRAGMA fullfsync = ON")
    connection.execute(f"PRAGMA wal_autocheckpoint = {CHECKPOINT_AFTER:d}")


def leave_wal(connection: sqlite3.Connection) -> None:
    """Put the file into rollback mode, unless somebody is reading it or the disk is full.

    Then the WAL stays. Every commit is in it, and the next to open the store reads it there.
    """
    connection.execute("PRAGMA busy_timeout = 0")
    with contextlib.suppress(sqlite3.OperationalError):
        connection.execute("PRAGMA journal_mode = DELETE")


def _connect(uri: str) -> sqlite3.Connection:
    # Opened in one thread and used in another, but never in two at once. Transactions are begun
    # and ended by hand.
    return sqlite3.connect(
        uri, uri=True, timeout=PATIENCE, isolation_level=None, check_same_thread=False
    )


def _header_says_wal(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(20)[18:20] == b"\x02\x02"
