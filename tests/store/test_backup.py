"""A backup is whole, and putting one back loses nothing."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import datetime
from pathlib import Path

import pytest

from gaugelink.store import schema
from gaugelink.store.backup import backup, look, restore
from gaugelink.store.errors import StoreError
from tests.store.sample import NOON, begin_walk, capture, files_in, open_store


def make(path: Path, captures: int = 3) -> None:
    with open_store(path) as store:
        walk = begin_walk(store)
        for number in range(captures):
            store.add_capture(capture(walk, contact=number), b"{}")


def test_a_backup_of_a_store_in_use_holds_what_was_committed(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store)
        kept = [store.add_capture(capture(walk, contact=number), b"{}") for number in range(5)]
        found = backup(tmp_path / "s.db", tmp_path / "copy.db")
        assert (found.reeds, found.captures) == (1, 5)
        store.add_capture(capture(walk, contact=9), b"{}")
    with open_store(tmp_path / "copy.db", read_only=True) as copy:
        assert [each.capture for each in copy.captures()] == [each.capture for each in kept]
    assert files_in(tmp_path) == {"s.db", "s.db.lock", "copy.db"}


def test_a_backup_is_never_written_over_a_file(tmp_path: Path) -> None:
    make(tmp_path / "s.db")
    (tmp_path / "copy.db").write_text("notes")
    with pytest.raises(StoreError, match="is there already: choose another name"):
        backup(tmp_path / "s.db", tmp_path / "copy.db")
    assert (tmp_path / "copy.db").read_text() == "notes"
    with pytest.raises(StoreError, match="no store at"):
        backup(tmp_path / "none.db", tmp_path / "other.db")
    with pytest.raises(StoreError, match=r"nowhere.*no backup was made"):
        backup(tmp_path / "s.db", tmp_path / "nowhere" / "copy.db")
    assert files_in(tmp_path) == {"s.db", "s.db.lock", "copy.db"}


def test_a_backup_put_back_is_the_store_and_the_old_one_is_kept(tmp_path: Path) -> None:
    make(tmp_path / "s.db", captures=2)
    backup(tmp_path / "s.db", tmp_path / "copy.db")
    with open_store(tmp_path / "s.db") as store:
        store.add_reed("amber 2", "long")
    for turn in (1, 2):
        found = restore(tmp_path / "s.db", tmp_path / "copy.db", NOON)
        assert found.kept.captures == 2
        with open_store(tmp_path / "s.db") as store:
            assert [each.name for each in store.reeds()] == ["amber 1"]
            store.add_reed(f"after {turn}", "long")
        with open_store(Path(found.before), read_only=True) as old:
            assert old.reeds()[-1].name == ("amber 2" if turn == 1 else "after 1")
    assert look(tmp_path / "copy.db").captures == 2, "the backup is still there"
    assert files_in(tmp_path) == {
        "s.db",
        "s.db.lock",
        "copy.db",
        "s.db.before-20310504T120000",
        "s.db.before-20310504T120000-2",
    }


def test_a_backup_can_be_put_where_there_is_no_store(tmp_path: Path) -> None:
    make(tmp_path / "s.db")
    backup(tmp_path / "s.db", tmp_path / "copy.db")
    found = restore(tmp_path / "new" / "s.db", tmp_path / "copy.db", NOON)
    assert found.before == ""
    with open_store(tmp_path / "new" / "s.db") as store:
        assert store.counts().captures == 3


def test_a_store_in_use_is_left_alone(tmp_path: Path) -> None:
    make(tmp_path / "s.db")
    backup(tmp_path / "s.db", tmp_path / "copy.db")
    with open_store(tmp_path / "s.db") as store:
        store.add_reed("amber 2", "long")
        with pytest.raises(StoreError, match="is in use by process"):
            restore(tmp_path / "s.db", tmp_path / "copy.db", NOON)
    with open_store(tmp_path / "s.db") as store:
        assert len(store.reeds()) == 2
    assert files_in(tmp_path) == {"s.db", "s.db.lock", "copy.db"}


def test_whoever_is_reading_goes_on_with_the_old_store(tmp_path: Path) -> None:
    make(tmp_path / "s.db", captures=2)
    backup(tmp_path / "s.db", tmp_path / "copy.db")
    with closing(sqlite3.connect(tmp_path / "s.db", isolation_level=None)) as other:
        # As a writer that was killed: what it has committed is in the WAL alone.
        other.execute("PRAGMA journal_mode = WAL")
        other.execute("PRAGMA wal_autocheckpoint = 0")
        other.execute("UPDATE reeds SET note = 'sings'")
        found = restore(tmp_path / "s.db", tmp_path / "copy.db", NOON)
        assert other.execute("SELECT note FROM reeds").fetchone() == ("sings",)
        with open_store(Path(found.before), read_only=True) as old:
            assert old.reed("amber 1").note == "sings"
        assert Path(found.before + "-wal").exists()
        assert not (tmp_path / "s.db-wal").exists()
    with open_store(tmp_path / "s.db") as store:
        assert store.reed("amber 1").note == ""


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"Some notes on cane, long enough to be looked at. " * 40, "is not a gaugelink store"),
    ],
)
def test_what_is_no_backup_is_not_put_back(tmp_path: Path, content: bytes, said: str) -> None:
    make(tmp_path / "s.db")
    (tmp_path / "copy.db").write_bytes(content)
    before = (tmp_path / "s.db").read_bytes()
    with pytest.raises(StoreError, match=said):
        restore(tmp_path / "s.db", tmp_path / "copy.db", NOON)
    with pytest.raises(StoreError, match="the store itself"):
        restore(tmp_path / "s.db", tmp_path / "s.db", NOON)
    with pytest.raises(StoreError, match="there is no file"):
        restore(tmp_path / "s.db", tmp_path / "none.db", NOON)
    assert (tmp_path / "s.db").read_bytes() == before


def test_a_damaged_or_newer_backup_is_not_put_back(tmp_path: Path) -> None:
    make(tmp_path / "s.db", captures=200)
    backup(tmp_path / "s.db", tmp_path / "copy.db")
    whole = (tmp_path / "copy.db").read_bytes()
    middle = len(whole) // 2
    for name, content in (
        ("cut.db", whole[:middle]),
        ("torn.db", whole[:middle] + b"\xff" * 4096 + whole[middle + 4096 :]),
    ):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(StoreError, match="is damaged"):
            restore(tmp_path / "s.db", tmp_path / name, NOON)
    with closing(sqlite3.connect(tmp_path / "copy.db")) as copy:
        copy.execute(f"PRAGMA user_version = {len(schema.migrations()) + 1}")
    with pytest.raises(StoreError, match="newer gaugelink"):
        restore(tmp_path / "s.db", tmp_path / "copy.db", NOON)
    with open_store(tmp_path / "s.db") as store:
        assert store.counts().captures == 200


def test_a_damaged_store_is_kept_and_replaced(tmp_path: Path) -> None:
    make(tmp_path / "s.db")
    backup(tmp_path / "s.db", tmp_path / "copy.db")
    rubbish = b"not a database at all " * 100
    (tmp_path / "s.db").write_bytes(rubbish)
    (tmp_path / "s.db-wal").write_bytes(b"of another day")
    found = restore(tmp_path / "s.db", tmp_path / "copy.db", NOON)
    assert Path(found.before).read_bytes() == rubbish
    assert Path(found.before + "-wal").read_bytes() == b"of another day"
    with open_store(tmp_path / "s.db") as store:
        assert store.counts().captures == 3


def test_an_older_backup_is_brought_up_to_date_when_it_is_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shipped = schema.migrations()
    with monkeypatch.context() as patch:
        patch.setattr(schema, "migrations", lambda: shipped[:2])
        with closing(sqlite3.connect(tmp_path / "old.db")) as old:
            schema.migrate(old, tmp_path / "old.db", shipped[:2])
    assert restore(tmp_path / "s.db", tmp_path / "old.db", datetime.now()).kept.schema == 2
    with open_store(tmp_path / "s.db") as store:
        assert store.schema == len(shipped)
