"""Proofs and studies are kept reading by reading, and nothing of them ever changes."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.store.errors import StoreError
from gaugelink.store.series import Held, Renamed, SeriesBook, names_of
from tests.store.sample import Clock, open_store

STEP = Decimal("0.1")


def begin(book: SeriesBook, gauge: str = "left", kind: str = "proof", solved: bool = True) -> int:
    """A series of one reading."""
    record = book.begin(kind, gauge, b'{"a plan":1}')  # type: ignore[arg-type]
    book.add(record.series, 0, Decimal("10.05"), STEP, "mm", "0.1005")
    if solved:
        book.solved(record.series, b'{"found":2}')
    return record.series


def test_a_series_comes_back_as_it_was_kept(tmp_path: Path) -> None:
    clock = Clock()
    with open_store(tmp_path / "s.db", clock) as store:
        begun = store.series.begin("placing", "left", b'{"a plan":1}')
        assert (begun.made, begun.found_at, begun.result) == (0, None, None)
        for number, value in enumerate(("10.05", "-0.1", "40")):
            clock.seconds += 5
            store.series.add(begun.series, number, Decimal(value), STEP, "mm", value)
        store.series.solved(begun.series, b'{"found":2}')
    with open_store(tmp_path / "s.db", read_only=True) as store:
        found = store.series.one(begun.series)
        assert (found.kind, found.gauge, found.made) == ("placing", "left", 3)
        assert (found.plan, found.result) == (b'{"a plan":1}', b'{"found":2}')
        assert found.begun_at == "2031-05-04T12:00:00.000000Z"
        assert found.found_at == "2031-05-04T12:00:15.000000Z"
        readings = store.series.readings(begun.series)
        assert [each.hundredths for each in readings] == [
            Decimal("10.05"),
            Decimal("-0.1"),
            Decimal(40),
        ]
        assert [each.taken_at[17:19] for each in readings] == ["05", "10", "15"]
        with pytest.raises(StoreError, match="open for reading only"):
            store.series.begin("proof", "left", b"{}")


def test_readings_come_in_their_order_until_it_is_solved(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        book = store.series
        series = begin(book, solved=False)
        for number in (0, 2):
            with pytest.raises(StoreError, match=f"reading {number} .* is not the next: it has 1"):
                book.add(series, number, Decimal(1), STEP, "mm", "0.01")
        with pytest.raises(StoreError, match="no length to keep"):
            book.add(series, 1, Decimal("NaN"), STEP, "mm", "x")
        assert book.one(series).made == 1
        book.solved(series, b"{}")
        with pytest.raises(StoreError, match="solved already"):
            book.add(series, 1, Decimal(1), STEP, "mm", "0.01")
        with pytest.raises(StoreError, match="solved already"):
            book.solved(series, b"{}")
        with pytest.raises(StoreError, match="there is no series 9"):
            book.add(9, 0, Decimal(1), STEP, "mm", "0.01")
        with pytest.raises(StoreError, match="there is no series 9"):
            book.readings(9)


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE series SET gauge = 'other'",
        "DELETE FROM series",
        "INSERT OR REPLACE INTO series VALUES (1, 'proof', 'g', '', 'now', x'00')",
        "UPDATE series_readings SET nanometres = 1",
        "DELETE FROM series_readings",
        "INSERT OR REPLACE INTO series_readings VALUES (1, 0, 1, 1, 'mm', '1', 'now')",
        "INSERT INTO series_readings VALUES (1, 1, 1, 1, 'mm', '1', 'now')",
        "UPDATE series_results SET found_at = 'then'",
        "DELETE FROM series_results",
        "INSERT OR REPLACE INTO series_results VALUES (1, 'now', x'00')",
        "UPDATE gauge_names SET name = 'x'",
        "DELETE FROM gauge_names",
    ],
)
def test_nothing_of_it_can_be_changed_even_by_hand(tmp_path: Path, sql: str) -> None:
    with open_store(tmp_path / "s.db") as store:
        store.remember_gauge("left", "p", "d")
        store.rename_gauge("left", "west")
        begin(store.series)
    with (
        closing(sqlite3.connect(tmp_path / "s.db")) as other,
        pytest.raises(sqlite3.IntegrityError),
    ):
        other.execute(sql)


def test_a_proof_goes_with_its_gauge_to_a_new_name(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        book = store.series
        store.remember_gauge("gauge", "a", "d")
        first = begin(book, "gauge")
        store.rename_gauge("gauge", "left")
        store.remember_gauge("gauge", "b", "d")
        second = begin(book, "gauge")
        third = begin(book, "left", "crossed")
        assert [each.series for each in book.all("left")] == [first, third]
        assert [each.series for each in book.all("gauge")] == [second]
        assert [each.series for each in book.all()] == [first, second, third]
        store.rename_gauge("gauge", "right")
        store.rename_gauge("left", "gauge")
        assert [each.series for each in book.all("gauge")] == [first, third]
        assert [each.series for each in book.all("right")] == [second]
        assert book.all("left") == []


def test_another_device_of_the_same_name_has_not_its_proof(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        store.remember_gauge("left", "p", "d")
        store.place_gauge("left", "p", "one device")
        series = begin(store.series)
        assert store.series.one(series).identity == "one device"
        assert [each.series for each in store.series.all("left")] == [series]
        store.place_gauge("left", "p", "another")
        assert store.series.all("left") == []
        store.place_gauge("left", "p", "")
        assert [each.series for each in store.series.all("left")] == [series]


def test_the_newest_that_was_solved_counts(tmp_path: Path) -> None:
    with open_store(tmp_path / "s.db") as store:
        book = store.series
        assert book.newest("left") == (None, None)
        begin(book, kind="proof")
        proof = begin(book, kind="proof")
        study = begin(book, kind="placing")
        begin(book, kind="proof", solved=False)
        begin(book, kind="proof", gauge="right")
        found = [each.series for each in book.newest("left") if each is not None]
        assert found == [proof, study]


NAMES = st.sampled_from(["a", "b", "c", "d"])


@given(st.lists(st.tuples(st.sampled_from(["make", "rename", "prove"]), NAMES, NAMES), max_size=25))
def test_whatever_is_renamed_each_series_belongs_to_the_gauge_that_made_it(
    acts: list[tuple[str, str, str]],
) -> None:
    """Against a model that knows the gauges themselves, which are never let go of."""
    gauges: dict[str, int] = {}
    renamings: list[Renamed] = []
    made: list[tuple[str, int]] = []
    for act, name, to in acts:
        if act == "make":
            gauges.setdefault(name, len(gauges) + 100 * len(made) + 1000 * len(renamings))
        elif act == "rename" and name in gauges and to not in gauges:
            gauges[to] = gauges.pop(name)
            renamings.append(Renamed(name, to, len(made)))
        elif act == "prove" and name in gauges:
            made.append((name, gauges[name]))
    for name, gauge in gauges.items():
        held = names_of(name, renamings)
        ours = [
            number
            for number, (called, _) in enumerate(made, 1)
            if any(
                each.name == called
                and each.since < number
                and (each.until is None or number <= each.until)
                for each in held
            )
        ]
        assert ours == [number for number, (_, by) in enumerate(made, 1) if by == gauge]


def test_names_go_back_only_as_far_as_they_were_this_gauges() -> None:
    renamings = [Renamed("a", "b", 3), Renamed("c", "a", 5)]
    assert names_of("a", renamings) == [Held("a", 5, None), Held("c", 0, 5)]
    assert names_of("b", renamings) == [Held("b", 3, None), Held("a", 0, 3)]
    assert names_of("c", renamings) == [Held("c", 5, None)]
