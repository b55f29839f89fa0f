"""The schema's versions, and bringing a store up to the newest one.

A migration is a file `NNNN_what.sql` in `migrations/`. Its number becomes the store's
`user_version`. Each runs in a transaction of its own, without BEGIN or COMMIT in the file, and
with foreign keys off, so that it may rebuild a table; they are checked before it is committed.
A file that has been released is never edited: a change is a new file.
"""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

import msgspec

from gaugelink.store.errors import StoreError

APPLICATION_ID = 0x6761756C
"""What the first migration writes into the file's header to mark it as ours."""


class Migration(msgspec.Struct, frozen=True):
    """A step from the schema `number - 1` to the schema `number`."""

    number: int
    name: str
    sql: str


def migrations(folder: Traversable | None = None) -> list[Migration]:
    """The migrations of a folder, those shipped if none is given, in their order.

    Raises ValueError when the numbers are not 1, 2, 3 and so on.
    """
    folder = folder or resources.files("gaugelink.store") / "migrations"
    found = [
        Migration(int(match[1]), match[2], file.read_text(encoding="utf-8"))
        for file in folder.iterdir()
        if (match := re.fullmatch(r"(\d{4})_(\w+)\.sql", file.name))
    ]
    found.sort(key=lambda each: each.number)
    numbers = [each.number for each in found]
    if numbers != list(range(1, len(numbers) + 1)):
        raise ValueError(f"migrations are numbered {numbers}; expected 1, 2, 3 and so on")
    return found


def version_of(connection: sqlite3.Connection, store: Path, newest: int) -> int:
    """The schema of a store, 0 for an empty file.

    Raises StoreError for another program's database, and for a schema above `newest`.
    """
    version: int = connection.execute("PRAGMA user_version").fetchone()[0]
    mark: int = connection.execute("PRAGMA application_id").fetchone()[0]
    tables: int = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if mark != APPLICATION_ID and (mark or version or tables):
        raise StoreError(f"{store} is the database of another program: name another file")
    if version > newest:
        raise StoreError(
            f"{store} was written by a newer gaugelink (schema {version}, this one knows "
            f"{newest}): update gaugelink"
        )
    return version


def migrate(connection: sqlite3.Connection, store: Path, steps: list[Migration]) -> int:
    """Bring a store to the newest schema and return its number; foreign keys must be off.

    Before an existing store is changed, it is copied to a file beside it. A step that fails leaves
    the schema before it in place.
    """
    newest = steps[-1].number if steps else 0
    version = version_of(connection, store, newest)
    if 0 < version < newest:
        _copy(connection, copy_of(store, version))
    for step in steps[version:]:
        _apply(connection, store, step)
    return newest


def copy_of(store: Path, version: int) -> Path:
    """Where the copy is put that is made before a store of schema `version` is changed."""
    return store.with_name(f"{store.name}.schema-{version}")


def _copy(connection: sqlite3.Connection, target: Path) -> None:
    with closing(sqlite3.connect(target, isolation_level=None)) as copy:
        connection.backup(copy)
        # The copy says that it is in WAL mode, as the store is; alone, it has to stand by itself.
        copy.execute("PRAGMA journal_mode = DELETE")


def _apply(connection: sqlite3.Connection, store: Path, step: Migration) -> None:
    try:
        connection.executescript(
            f"BEGIN IMMEDIATE;\n{step.sql}\n;PRAGMA user_version = {step.number:d};"
        )
        broken = connection.execute("PRAGMA foreign_key_check").fetchall()
        if broken:
            raise StoreError(
                f"{store}: migration {step.number} would leave {len(broken)} loose references: "
                "nothing was changed; report it"
            )
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
