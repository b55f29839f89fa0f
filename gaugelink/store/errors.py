"""What a person is told when the store could not do something."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from gaugelink.reading import GaugelinkError


class StoreError(GaugelinkError):
    """The store did not do what was asked, and nothing of it is kept."""


class UnknownReed(StoreError):
    """No reed has that name."""

    def __init__(self, name: str) -> None:
        super().__init__(f"no reed is called {name!r}: look on the rack, or add it")
        self.name = name


_FULL = "the disk is full: {outcome}free some space and {again}"
_BUSY = "another program is using {store}: {outcome}close it and {again}"
_FAULTS = {
    sqlite3.SQLITE_FULL: _FULL,
    sqlite3.SQLITE_BUSY: _BUSY,
    sqlite3.SQLITE_LOCKED: _BUSY,
    sqlite3.SQLITE_READONLY: (
        "{store} is write-protected: {outcome}make it and its folder writable and {again}"
    ),
    sqlite3.SQLITE_PERM: "no permission for {store}: {outcome}change it and {again}",
    sqlite3.SQLITE_CANTOPEN: (
        "{store} cannot be opened: "
        "{outcome}check that its folder is there and writable, and {again}"
    ),
    sqlite3.SQLITE_IOERR: (
        "the disk did not read or write {store}: "
        "{outcome}check its free space and its health, and {again}"
    ),
    sqlite3.SQLITE_CORRUPT: "{store} is damaged: {outcome}restore the newest backup",
    sqlite3.SQLITE_NOTADB: "{store} is not a gaugelink store: name another file",
}
"""By SQLite's primary result code."""


@contextmanager
def speaking(store: Path, outcome: str = "", again: str = "try again") -> Iterator[None]:
    """Turn what SQLite or the file system raises into a StoreError of one line.

    `outcome` says what became of what was asked, such as `nothing was saved; `, and `again` how
    to ask once more. A wrong call of SQLite by the store itself is not turned into anything.
    """
    try:
        yield
    except sqlite3.ProgrammingError:
        raise
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF
        fault = _FAULTS.get(code, "{store}: {error}: {outcome}{again}")
        text = fault.format(store=store, outcome=outcome, again=again, error=error)
        raise StoreError(text) from error
    except UnicodeEncodeError as error:
        raise StoreError(f"{error.object!r} is no text: {outcome}write it anew") from error
    except OverflowError as error:
        raise StoreError(f"a number is too large for the store: {outcome}check it") from error
    except OSError as error:
        reason = error.strerror or str(error)
        raise StoreError(f"{store}: {reason}: {outcome}change that and {again}") from error
