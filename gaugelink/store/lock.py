"""One writer at a time, whatever happens to the one before.

The lock is an exclusive transaction held open on an empty database beside the store. SQLite
takes it with the file locks of the platform (fcntl, LockFileEx), which the operating system
lets go of when the process ends in any way, kill -9 included: there is no stale lock to clear by
hand, and a process number used again cannot be taken for the holder. The store's own file cannot
be locked like that, for in WAL mode its lock would shut out the readers as well. The lock's file
stays when it is released; removing it could take it from under a process that is just opening it.

Beside it a small JSON file says who holds the lock, for the message to a person only.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

import msgspec

from gaugelink.store.errors import StoreError, speaking

CONTEST = 0.25
"""Seconds to go on trying: two that open at the same moment may each turn the other away once."""


class Holder(msgspec.Struct, frozen=True):
    """The process that writes to a store."""

    pid: int
    socket: str = ""
    """The path of the socket on which it can be joined, empty when it has none."""
    since: str = ""
    """UTC, ISO 8601."""


class WriterLock:
    """Held from its making until `release`, or until the process ends."""

    def __init__(self, store: Path, holder: Holder) -> None:
        """Take the lock of `store`; StoreError naming the holder when another has it."""
        self._holder_file = _beside(store, ".holder")
        lock = _beside(store, ".lock")
        with speaking(lock):
            self._connection = sqlite3.connect(
                lock, timeout=CONTEST, isolation_level=None, check_same_thread=False
            )
            try:
                self._connection.execute("PRAGMA journal_mode = MEMORY")
                self._connection.execute("BEGIN EXCLUSIVE")
                # Of a file that may only be read SQLite takes a lock that keeps nobody out, and
                # says nothing. Writing, though it is never committed, makes it speak.
                self._connection.execute("PRAGMA user_version = 1")
                self._holder_file.write_bytes(msgspec.json.encode(holder))
            except BaseException as error:
                self._connection.close()
                if _is_busy(error):
                    raise StoreError(_refusal(store, holder_of(store))) from error
                raise

    def release(self) -> None:
        """Let another writer in."""
        # In this order: once the lock is free, the holder's file may be another's.
        try:
            self._holder_file.unlink(missing_ok=True)
        finally:
            self._connection.close()


def holder_of(store: Path) -> Holder | None:
    """Who said last that it holds the lock, None when nobody did or its file is half-written."""
    try:
        return msgspec.json.decode(_beside(store, ".holder").read_bytes(), type=Holder)
    except (OSError, msgspec.DecodeError):
        return None


def _beside(store: Path, suffix: str) -> Path:
    return store.with_name(store.name + suffix)


def _is_busy(error: BaseException) -> bool:
    return (
        isinstance(error, sqlite3.OperationalError)
        and error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY
    )


def _refusal(store: Path, holder: Holder | None) -> str:
    if holder is None:
        return f"{store} is in use by another process: end it, or use another store"
    if holder.socket:
        return (
            f"{store} is in use by process {holder.pid}: "
            f"join it at {holder.socket}, or end it and try again"
        )
    return f"{store} is in use by process {holder.pid}: end it and try again, or use another store"
