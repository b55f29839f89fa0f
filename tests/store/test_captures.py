"""Captures: what is given back is what is on disk, retakes supersede, and nothing ever changes."""

from __future__ import annotations

import sqlite3
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.verdict import LEAVE, Verdict
from gaugelink.reading import from_nanometres, to_nanometres
from gaugelink.store.errors import StoreError
from gaugelink.store.records import Counts
from tests.store.sample import begin_walk, capture, open_store

WHOLE_NANOMETRES = st.integers(-(10**15), 10**15)


def test_what_is_given_back_is_what_is_kept(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store)
        given_back = store.add_capture(
            capture(walk, hundredths=Decimal("45.50"), verdict=Verdict("take", 2)), b'{"n": 1}'
        )
    with open_store(tmp_path / "s.db") as store:
        assert store.captures() == [given_back]
        assert store.captures("amber 1") == [given_back]
    assert (given_back.reed, given_back.style, given_back.stage) == ("amber 1", "long", "windows")
    assert given_back.hundredths == Decimal("45.5")
    assert given_back.verdict == Verdict("take", 2)
    assert given_back.value == "0.435"
    assert given_back.supersedes is None
    assert given_back.superseded_by is None


def test_a_commit_waits_for_the_disk(tmp_path: Path) -> None:
    # Killing a process cannot show this, only cutting the power could.
    asked = {"journal_mode": "wal", "synchronous": 2, "fullfsync": 1, "foreign_keys": 1}
    with open_store(tmp_path / "s.db") as store:
        for pragma, expected in asked.items():
            assert store._connection.execute(f"PRAGMA {pragma}").fetchone() == (expected,)
        walk = begin_walk(store)
        assert not store._connection.in_transaction
        store.add_capture(capture(walk), b"{}")
        assert not store._connection.in_transaction


def test_the_walk_and_the_reed_move_on_with_the_capture(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store)
        store.add_capture(capture(walk), b'{"n": 1}')
        store.add_capture(capture(walk, station="crossed/55/+0"), b'{"n": 2}')
        latest = store.latest_walk("bench")
        assert latest is not None
        assert latest.state == b'{"n": 2}'
        assert store.reed("amber 1").stage == "windows"
        assert store.reed("amber 1").captures == 2
        assert [change.stage for change in store.changes("amber 1")] == ["", "windows"]
        assert store.counts() == Counts(reeds=1, walks=1, captures=2)


def test_a_retake_supersedes_the_newest_of_the_same_station_in_the_same_pass(
    tmp_path: Path,
) -> None:
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store)
        first = store.add_capture(capture(walk), b"{}")
        elsewhere = store.add_capture(capture(walk, station="uncrossed/53/+0"), b"{}")
        later_pass = store.add_capture(capture(walk, in_pass=2), b"{}")
        second = store.add_capture(capture(walk), b"{}")
        third = store.add_capture(capture(walk), b"{}")
        other_walk = store.add_capture(capture(begin_walk(store)), b"{}")
        everything, current = store.captures(), store.captures(current_only=True)
    assert [each.supersedes for each in (first, elsewhere, later_pass, other_walk)] == [None] * 4
    assert second.supersedes == first.capture
    assert third.supersedes == second.capture
    assert {each.capture: each.superseded_by for each in everything} == {
        first.capture: second.capture,
        elsewhere.capture: None,
        later_pass.capture: None,
        second.capture: third.capture,
        third.capture: None,
        other_walk.capture: None,
    }
    assert current == [each for each in everything if each.superseded_by is None]


def test_the_captures_of_a_reed_are_its_own(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        for name in ("amber 1", "amber 2", "amber 1"):
            walk = begin_walk(store, name)
            store.add_capture(capture(walk), b"{}")
            store.add_capture(capture(walk), b"{}")
        found = store.captures("amber 1")
        assert [each.capture for each in found] == [1, 2, 5, 6]
        assert [each.capture for each in store.captures("amber 1", current_only=True)] == [2, 6]
        assert {each.name: each.captures for each in store.reeds()} == {"amber 1": 4, "amber 2": 2}


def test_a_capture_of_no_walk_is_refused(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        with pytest.raises(StoreError, match="there is no walk 9"):
            store.add_capture(capture(9), b"{}")
        assert store.captures() == []


@pytest.mark.parametrize("length", ["NaN", "Infinity", "-Infinity", "1E+14", "1E+999999"])
def test_what_is_no_length_is_refused(tmp_path: Path, length: str) -> None:
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store)
        with pytest.raises(StoreError, match="no length to keep: nothing was saved"):
            store.add_capture(capture(walk, hundredths=Decimal(length)), b"{}")
        with pytest.raises(StoreError, match="too large for the store: nothing was saved"):
            store.add_capture(capture(walk, contact=2**63), b"{}")
        assert store.captures() == []


def test_a_later_fault_in_the_same_transaction_takes_the_capture_back(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store, state=b'{"n": 0}')
        store._connection.execute(
            "CREATE TEMP TRIGGER fault BEFORE UPDATE OF state ON walks "
            "BEGIN SELECT RAISE (ABORT, 'a fault'); END"
        )
        with pytest.raises(StoreError, match="a fault: nothing was saved; press again"):
            store.add_capture(capture(walk), b'{"n": 1}')
        store._connection.execute("DROP TRIGGER fault")
        assert store.captures() == []
        assert store.reed("amber 1").stage == ""
        assert store.add_capture(capture(walk), b'{"n": 1}').capture == 1


@given(WHOLE_NANOMETRES)
def test_whole_nanometres_come_through_hundredths_unharmed(nanometres: int) -> None:
    assert to_nanometres(from_nanometres(nanometres)) == nanometres


@given(nanometres=st.lists(WHOLE_NANOMETRES, min_size=1, max_size=20))
def test_whole_nanometres_come_through_the_store_unharmed(
    nanometres: list[int], tmp_path_factory: pytest.TempPathFactory
) -> None:
    lengths = [from_nanometres(each) for each in nanometres]
    with open_store(tmp_path_factory.mktemp("s") / "s.db") as store:
        walk = begin_walk(store)
        for length in lengths:
            store.add_capture(
                capture(walk, hundredths=length, resolution=length, target=length), b"{}"
            )
        assert [each.hundredths for each in store.captures()] == lengths
        assert [each.resolution for each in store.captures()] == lengths
        assert [each.target for each in store.captures()] == lengths


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE captures SET nanometres = 0",
        "UPDATE captures SET supersedes = 1 WHERE id = 3",
        "DELETE FROM captures",
        "DELETE FROM captures WHERE id = 1",
        "INSERT OR REPLACE INTO captures SELECT * FROM captures WHERE id = 1",
        "UPDATE reed_changes SET state = 'finished'",
        "DELETE FROM reed_changes",
        "INSERT OR REPLACE INTO reed_changes SELECT * FROM reed_changes",
        "DELETE FROM walks",
        "DELETE FROM reeds",
        "DELETE FROM sessions",
    ],
)
def test_history_cannot_be_changed_by_any_statement(tmp_path: Path, sql: str) -> None:
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store)
        for station in ("a", "a", "b"):
            store.add_capture(capture(walk, station=station), b"{}")
        before = store.captures(), store.changes("amber 1")
        with pytest.raises(sqlite3.IntegrityError):
            store._connection.execute(sql)
        assert (store.captures(), store.changes("amber 1")) == before


def test_a_capture_cannot_be_pushed_out_by_another_that_supersedes_the_same(
    tmp_path: Path,
) -> None:
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store)
        for _ in range(2):
            store.add_capture(capture(walk), b"{}")
        columns = [row[1] for row in store._connection.execute("PRAGMA table_info (captures)")]
        rest = ", ".join(columns[1:])
        with pytest.raises(sqlite3.IntegrityError, match="never replaced"):
            store._connection.execute(
                f"INSERT OR REPLACE INTO captures ({rest}) SELECT {rest} FROM captures WHERE id = 2"
            )
        assert len(store.captures()) == 2


def test_a_verdict_keeps_its_word_and_amount(tmp_path: Path) -> None:
    verdicts = [LEAVE, Verdict("take", 3), Verdict("over", 2)]
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store)
        for each in verdicts:
            store.add_capture(capture(walk, verdict=each), b"{}")
        assert [each.verdict for each in store.captures()] == verdicts
