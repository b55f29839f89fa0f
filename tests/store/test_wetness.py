"""Each capture keeps whether the reed was wet; of what is older nobody knows."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import get_args

import pytest

from gaugelink.craft.soaking import Wetness
from gaugelink.store import schema
from gaugelink.store.errors import StoreError
from gaugelink.store.schema import copy_of, migrate, migrations
from tests.store.sample import begin_walk, capture, open_store

BEFORE = 2
"""The schema in which captures say nothing of water."""

OLD = """
    INSERT INTO sessions (id, started_at, monotonic, version)
    VALUES (1, '2031-05-03T08:00:00.000000Z', 100.0, '0.1.0');
    INSERT INTO reeds (id, name, style, batch, state, stage, note, added_at, changed_at)
    VALUES (1, 'amber 1', 'long', '', 'first day', 'windows', '', '2031-05-03T08:00:00.000000Z',
        '2031-05-03T08:00:00.000000Z');
    INSERT INTO walks
        (id, bench, reed, style, stage, gauge, "trigger", started_at, changed_at, state)
    VALUES (1, 'bench', 1, 'long', 'windows', 'left', 'press', '2031-05-03T08:00:00.000000Z',
        '2031-05-03T08:00:00.000000Z', '{}');
    INSERT INTO captures
        (walk, in_pass, station, zone, nanometres, resolution_nm, target_nm, tolerance_nm,
        verdict, verdict_amount, gauge, unit, value, contact, session, taken_at, at,
        reed, style, stage, supersedes)
    VALUES
        (1, 1, 'crossed/53/+0', 'windows', 430000, 10000, 400000, 10000, 'take', 3, 'left', 'mm',
        '0.43', 1, 1, '2031-05-03T08:01:00.000000Z', 160.0, 1, 'long', 'windows', NULL),
        (1, 1, 'crossed/53/+0', 'windows', 410000, 10000, 400000, 10000, 'leave', 0, 'left', 'mm',
        '0.41', 2, 1, '2031-05-03T08:02:00.000000Z', 220.0, 1, 'long', 'windows', 1);
"""
"""What the program of that schema wrote: a capture, and one that superseded it. Invented."""


def old_store(path: Path) -> None:
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        assert migrate(connection, path, migrations()[:BEFORE]) == BEFORE
        connection.executescript(OLD.replace("'{}'", "CAST('{}' AS BLOB)"))


def test_an_old_store_says_unknown_and_all_else_as_before(tmp_path: Path) -> None:
    old_store(tmp_path / "s.db")
    with open_store(tmp_path / "s.db") as store:
        assert store.schema == len(schema.migrations()) > BEFORE
        first, second = store.captures("amber 1")
        assert (first.wet, second.wet) == ("unknown", "unknown")
        assert (str(first.hundredths), first.superseded_by) == ("43", second.capture)
        assert (str(second.hundredths), second.supersedes) == ("41", first.capture)
        assert store.unfinished_walk("amber 1", "long", "windows") is not None
        # The walk goes on, now with what is known.
        third = store.add_capture(capture(1, wet="wet"), b"{}")
        assert (third.wet, third.supersedes) == ("wet", second.capture)
    assert copy_of(tmp_path / "s.db", BEFORE).exists()


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE captures SET wet = 'dry'",
        "DELETE FROM captures",
        "INSERT OR REPLACE INTO captures SELECT * FROM captures WHERE id = 1",
    ],
)
def test_old_captures_still_never_change(tmp_path: Path, sql: str) -> None:
    old_store(tmp_path / "s.db")
    with open_store(tmp_path / "s.db") as store:
        before = store.captures()
        with pytest.raises(sqlite3.IntegrityError, match="never"):
            store._connection.execute(sql)
        assert store.captures() == before


@pytest.mark.parametrize("wet", get_args(Wetness))
def test_what_was_known_of_the_reed_is_given_back(tmp_path: Path, wet: Wetness) -> None:
    with open_store(tmp_path / "s.db") as store:
        given_back = store.add_capture(capture(begin_walk(store), wet=wet), b"{}")
    with open_store(tmp_path / "s.db") as store:
        assert store.captures() == [given_back]
    assert given_back.wet == wet


def test_another_word_is_refused(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store)
        with pytest.raises(StoreError, match="nothing was saved"):
            store.add_capture(capture(walk, wet="damp"), b"{}")
        assert store.captures() == []
