"""Migrations: each whole or not at all, a copy before, and no other program's file touched."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from gaugelink.store import schema
from gaugelink.store.connection import check_sqlite
from gaugelink.store.errors import StoreError
from gaugelink.store.schema import Migration
from tests.store.sample import begin_walk, capture, files_in, open_store

SHIPPED = schema.migrations()
NEXT = len(SHIPPED) + 1
GOOD = Migration(NEXT, "moods", "CREATE TABLE moods (id INTEGER PRIMARY KEY) STRICT;")


def ship(monkeypatch: pytest.MonkeyPatch, *more: Migration) -> None:
    """Let the program know further migrations."""
    monkeypatch.setattr(schema, "migrations", lambda: [*SHIPPED, *more])


def look(path: Path) -> tuple[int, set[str]]:
    """The schema's number and the tables of a file."""
    with closing(sqlite3.connect(path)) as connection:
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        tables = connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")
        return version, {name for (name,) in tables}


def make(path: Path) -> None:
    """A store with a capture in it."""
    with open_store(path) as store:
        store.add_capture(capture(begin_walk(store)), b"{}")


def test_an_empty_file_becomes_a_store(tmp_path: Path) -> None:
    (tmp_path / "s.db").touch()
    make(tmp_path / "s.db")
    version, tables = look(tmp_path / "s.db")
    assert version == len(SHIPPED)
    assert {"sessions", "reeds", "reed_changes", "walks", "captures", "gauges"} <= tables
    assert files_in(tmp_path) == {"s.db", "s.db.lock"}


def test_an_older_store_is_brought_up_to_date_and_a_copy_of_it_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make(tmp_path / "s.db")
    ship(monkeypatch, GOOD)
    with pytest.raises(StoreError, match="written by an older gaugelink"):
        open_store(tmp_path / "s.db", read_only=True)
    with open_store(tmp_path / "s.db") as store:
        assert store.schema == NEXT
        assert store.counts().captures == 1
    copy = schema.copy_of(tmp_path / "s.db", NEXT - 1)
    assert files_in(tmp_path) == {"s.db", "s.db.lock", copy.name}
    monkeypatch.undo()
    with open_store(copy, read_only=True) as old:
        assert old.schema == NEXT - 1
        assert old.counts().captures == 1


@pytest.mark.parametrize(
    ("sql", "words"),
    [
        ("CREATE TABLE half (id INTEGER) STRICT; INSERT INTO nowhere VALUES (1);", "nowhere"),
        ("CREATE TABLE half (id INTEGER) STRICT; this is no SQL", "syntax error"),
        (
            "CREATE TABLE half (id INTEGER REFERENCES reeds (id)) STRICT;"
            "INSERT INTO half VALUES (99);",
            "would leave 1 loose references",
        ),
        ("CREATE TABLE half (id INTEGER) STRICT; DELETE FROM captures;", "never deleted"),
    ],
)
def test_a_migration_that_fails_leaves_the_schema_before_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, sql: str, words: str
) -> None:
    make(tmp_path / "s.db")
    ship(monkeypatch, GOOD, Migration(NEXT + 1, "wrong", sql))
    with pytest.raises(StoreError, match=words):
        open_store(tmp_path / "s.db")
    version, tables = look(tmp_path / "s.db")
    assert version == NEXT
    assert "moods" in tables
    assert "half" not in tables
    ship(monkeypatch, GOOD)
    with open_store(tmp_path / "s.db") as store:
        assert store.counts().captures == 1


def test_a_first_migration_that_fails_leaves_an_empty_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(schema, "migrations", lambda: [Migration(1, "wrong", "no SQL")])
    with pytest.raises(StoreError):
        open_store(tmp_path / "s.db")
    assert look(tmp_path / "s.db") == (0, set())
    monkeypatch.undo()
    make(tmp_path / "s.db")


@pytest.mark.parametrize("read_only", [False, True])
def test_a_store_of_a_newer_program_is_left_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, read_only: bool
) -> None:
    ship(monkeypatch, GOOD)
    make(tmp_path / "s.db")
    monkeypatch.undo()
    before = (tmp_path / "s.db").read_bytes()
    with pytest.raises(StoreError, match=r"newer gaugelink .*: update gaugelink"):
        open_store(tmp_path / "s.db", read_only=read_only)
    assert (tmp_path / "s.db").read_bytes() == before


@pytest.mark.parametrize("read_only", [False, True])
@pytest.mark.parametrize(
    "sql", ["CREATE TABLE mine (id)", "PRAGMA user_version = 1", "PRAGMA application_id = 7"]
)
def test_the_database_of_another_program_is_left_alone(
    tmp_path: Path, sql: str, read_only: bool
) -> None:
    with closing(sqlite3.connect(tmp_path / "s.db")) as other:
        other.execute(sql)
    before = (tmp_path / "s.db").read_bytes()
    with pytest.raises(StoreError, match="the database of another program"):
        open_store(tmp_path / "s.db", read_only=read_only)
    assert (tmp_path / "s.db").read_bytes() == before


def test_a_file_that_is_no_database_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "s.db").write_text("Some notes on cane, long enough to be looked at. " * 40)
    before = (tmp_path / "s.db").read_bytes()
    with pytest.raises(StoreError, match="is not a gaugelink store: name another file"):
        open_store(tmp_path / "s.db")
    assert (tmp_path / "s.db").read_bytes() == before


def test_the_migrations_that_are_shipped_are_numbered_from_one() -> None:
    assert [each.number for each in SHIPPED] == list(range(1, len(SHIPPED) + 1))
    assert all("COMMIT" not in each.sql and "BEGIN TRANS" not in each.sql for each in SHIPPED)


def test_a_gap_in_the_numbers_is_noticed(tmp_path: Path) -> None:
    (tmp_path / "0001_first.sql").write_text("SELECT 1;")
    (tmp_path / "0003_third.sql").write_text("SELECT 1;")
    (tmp_path / "notes.txt").write_text("not a migration")
    with pytest.raises(ValueError, match=r"numbered \[1, 3\]"):
        schema.migrations(tmp_path)
    (tmp_path / "0002_second.sql").write_text("SELECT 2;")
    assert [each.name for each in schema.migrations(tmp_path)] == ["first", "second", "third"]


def test_an_sqlite_that_is_too_old_is_refused() -> None:
    check_sqlite((3, 37, 0))
    with pytest.raises(StoreError, match=r"SQLite 3\.36\.0 is too old, 3\.37\.0 is needed"):
        check_sqlite((3, 36, 0))
