"""The workbook: what was noted stands, a correction supersedes it, and nothing is ever lost."""

from __future__ import annotations

import sqlite3
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugelink.craft.grades import PlayingTest
from gaugelink.store.errors import StoreError, UnknownReed
from gaugelink.store.store import Store
from tests.store.sample import Clock, begin_walk, capture, open_store

TABLES = ("strokes", "lengths", "crows", "playing_tests")


def fill(store: Store) -> None:
    """An entry of each kind, and a correction of each."""
    store.add_reed("amber 1", "long")
    book = store.workbook
    for correct in (False, True):
        book.add_strokes("amber 1", "windows", 12, correct=correct)
        book.add_length("amber 1", Decimal("70.5"), correct=correct)
        book.add_crow(
            "amber 1", note="C5", cents=Decimal(-15), hertz=518.7, tuning=440.0, correct=correct
        )
        book.add_test("amber 1", "2031-05-04", PlayingTest(response=4), correct=correct)


def rows(store: Store) -> dict[str, list[tuple[object, ...]]]:
    """Everything in the workbook's tables."""
    return {
        table: store._connection.execute(f"SELECT * FROM {table}").fetchall() for table in TABLES
    }


def test_what_is_noted_is_there_after_reopening(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        store.add_reed("amber 1", "long")
        store.add_reed("amber 2", "long")
        book = store.workbook
        strokes = book.add_strokes("amber 1", "windows", 12, blade="crossed", side="left")
        length = book.add_length("amber 1", Decimal("70.50"), "gauge")
        crow = book.add_crow(
            "amber 1",
            note="C5",
            cents=Decimal("-15.25"),
            hertz=518.65,
            tuning=442.0,
            source="wav",
        )
        test = book.add_test("amber 1", "2031-05-04", PlayingTest(response=4, note="sings"))
        other = book.add_length("amber 2", Decimal(71))
    with open_store(tmp_path / "s.db") as store:
        book = store.workbook
        assert book.strokes("amber 1") == book.strokes() == [strokes]
        assert book.lengths("amber 1") == [length]
        assert book.lengths() == [length, other]
        assert book.crows("amber 1") == [crow]
        assert book.tests("amber 1") == [test]
        assert book.strokes("amber 2") == []
    assert length.length == crow.length == Decimal("70.5")
    assert (crow.cents, crow.tuning, crow.source) == (Decimal("-15.25"), 442.0, "wav")
    assert test.test == PlayingTest(response=4, note="sings")
    assert strokes.at == "2031-05-04T12:00:00.000000Z"


def test_a_crow_before_any_length_has_none(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        store.add_reed("amber 1", "long")
        crow = store.workbook.add_crow(
            "amber 1", note="C5", cents=Decimal(0), hertz=523.25, tuning=440.0
        )
        assert crow.length is None


def test_a_correction_stands_where_the_wrong_entry_stood(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store)
        first = store.add_capture(capture(walk), b"{}")
        book = store.workbook
        book.add_length("amber 1", Decimal(71))
        book.add_crow("amber 1", note="C5", cents=Decimal(-30), hertz=514.0, tuning=440.0)
        wrong = book.add_strokes("amber 1", "windows", 21)
        store.add_capture(capture(walk, in_pass=2), b"{}")
        book.add_length("amber 1", Decimal(70))
        right = book.add_strokes("amber 1", "windows", 12, correct=True)
        crow = book.add_crow(
            "amber 1", note="C5", cents=Decimal(-20), hertz=517.0, tuning=440.0, correct=True
        )
        assert wrong.after == right.after == first.capture
        assert book.strokes("amber 1") == [right]
        assert crow.length == 71, "it was crowed before it was clipped"
        assert [each.cents for each in book.crows("amber 1")] == [-20]
        assert len(rows(store)["strokes"]) == 2
        book.add_strokes("amber 1", "windows", 0, correct=True)
        assert book.strokes("amber 1") == []


def test_what_cannot_be_is_refused_and_nothing_kept(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        store.add_reed("amber 1", "long")
        book = store.workbook
        for count in (0, -1, 10_001):
            with pytest.raises(StoreError, match="strokes cannot be"):
                book.add_strokes("amber 1", "windows", count)
        for length in (
            "0",
            "-1",
            "200.001",
            "70.0005",
            "NaN",
            "Infinity",
            "1E+999999",
            "1E-999999",
        ):
            with pytest.raises(StoreError, match="no length of a reed"):
                book.add_length("amber 1", Decimal(length))
        with pytest.raises(StoreError, match="nothing of that kind is noted"):
            book.add_strokes("amber 1", "windows", 3, correct=True)
        for ask in (book.strokes, book.lengths, book.crows, book.tests):
            with pytest.raises(UnknownReed):
                ask("amber 2")
        with pytest.raises(UnknownReed):
            book.add_length("amber 2", Decimal(70))
        assert not any(rows(store).values())


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE {} SET at = ''",
        "UPDATE {} SET supersedes = NULL",
        "DELETE FROM {}",
        "INSERT OR REPLACE INTO {} SELECT * FROM {} WHERE id = 1",
        "INSERT OR REPLACE INTO {0} SELECT {1} FROM {0} WHERE id = 2",
    ],
)
def test_no_statement_changes_the_workbook(tmp_path: Path, table: str, sql: str) -> None:
    with open_store(tmp_path / "s.db") as store:
        fill(store)
        columns = [row[1] for row in store._connection.execute(f"PRAGMA table_info ({table})")]
        # The last form has a new number, and supersedes what is superseded already.
        fresh = ", ".join(["9", *columns[1:]])
        before = rows(store)
        with pytest.raises(sqlite3.IntegrityError, match=r"never|supersede"):
            store._connection.execute(sql.replace("{}", table).format(table, fresh))
        assert rows(store) == before


@pytest.mark.parametrize("table", TABLES)
def test_a_correction_keeps_to_its_reed(tmp_path: Path, table: str) -> None:
    with open_store(tmp_path / "s.db") as store:
        fill(store)
        store.add_reed("amber 2", "long")
        columns = [row[1] for row in store._connection.execute(f"PRAGMA table_info ({table})")]
        rest = ", ".join(columns[2:-1])
        with pytest.raises(sqlite3.IntegrityError, match="of the same reed"):
            store._connection.execute(
                f"INSERT INTO {table} (reed, {rest}, supersedes) "
                f"SELECT 2, {rest}, 2 FROM {table} WHERE id = 2"
            )


@settings(max_examples=25)
@given(
    entries=st.lists(
        st.tuples(st.integers(1, 200_000), st.booleans(), st.sampled_from(["a", "b"])), max_size=12
    )
)
def test_lengths_come_through_exactly_and_only_the_newest_is_ever_superseded(
    entries: list[tuple[int, bool, str]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    standing: dict[str, list[Decimal]] = {"a": [], "b": []}
    made = 0
    with open_store(tmp_path_factory.mktemp("s") / "s.db", Clock()) as store:
        for name in standing:
            store.add_reed(name, "long")
        for micrometres, correct, name in entries:
            length = Decimal(micrometres) / 1000
            if correct and not standing[name]:
                with pytest.raises(StoreError):
                    store.workbook.add_length(name, length, correct=True)
                continue
            if correct:
                standing[name].pop()
            store.workbook.add_length(name, length, correct=correct)
            standing[name].append(length)
            made += 1
        for name, lengths in standing.items():
            assert [each.length for each in store.workbook.lengths(name)] == lengths
        assert len(rows(store)["lengths"]) == made
