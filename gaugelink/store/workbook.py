"""The workbook: strokes, lengths, crows and playing tests of each reed, beside its captures.

Entries are only ever added. A correction supersedes the newest entry of its kind and is kept
beside it; what is given back here is what stands.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from decimal import Decimal
from sqlite3 import Connection
from typing import Any, Literal

import msgspec

from gaugelink.craft.grades import PlayingTest
from gaugelink.store.errors import StoreError, UnknownReed
from gaugelink.store.queries import Row

How = Literal["typed", "gauge"]
"""Where a length comes from."""

Source = Literal["typed", "wav"]
"""Where a crow comes from."""

MOST_STROKES = 10_000
"""More in one entry are a slip of the keys."""

LONGEST_UM = 200_000
"""Micrometres; no reed of the family is as long."""


class StrokesRecord(msgspec.Struct, frozen=True):
    """Strokes over a zone."""

    entry: int
    reed: str
    zone: str
    blade: str
    """Empty: on both."""
    side: str
    """Empty: on all."""
    count: int
    """Over each place."""
    stage: str
    at: str
    after: int
    """The newest capture of the reed at that time; 0 before the first."""


class LengthRecord(msgspec.Struct, frozen=True):
    """A reed's length."""

    entry: int
    reed: str
    length: Decimal
    """Millimetres from the bottom of the tube."""
    how: How
    stage: str
    at: str
    after: int


class CrowRecord(msgspec.Struct, frozen=True):
    """A crow that was noted."""

    entry: int
    reed: str
    note: str
    cents: Decimal
    """From the note."""
    hertz: float
    tuning: float
    """Hertz of A4."""
    length: Decimal | None
    """Millimetres that the reed had then; None when not known."""
    source: Source
    stage: str
    at: str
    after: int


class TestRecord(msgspec.Struct, frozen=True):
    """A playing test of a day."""

    __test__ = False

    entry: int
    reed: str
    day: str
    """Of the maker's calendar, ISO 8601."""
    test: PlayingTest
    stage: str
    at: str
    after: int


_PLACE = "stage, at, after"
_STROKES = "zone, blade, side, count"
_LENGTHS = "micrometres, how"
_CROWS = "note, cents, hertz, tuning, micrometres, source"
_TESTS = "day, grades, note"

_REED = """
    SELECT id, stage, (SELECT max(id) FROM captures WHERE captures.reed = reeds.id)
    FROM reeds WHERE name = ?
"""


def _adding(table: str, columns: str) -> str:
    holes = ", ".join("?" for _ in columns.split(","))
    return f"""
        INSERT INTO {table} (reed, {_PLACE}, {columns}, supersedes)
        VALUES (?, ?, ?, ?, {holes}, ?)
    """


def _standing(table: str, columns: str) -> str:
    """Entries that none has superseded, of one reed or, for an empty name, of all."""
    own = ", ".join(f"entry.{each.strip()}" for each in columns.split(","))
    return f"""
        SELECT entry.id, reeds.name, {own}, entry.stage, entry.at, coalesce(entry.after, 0)
        FROM {table} AS entry JOIN reeds ON reeds.id = entry.reed
        WHERE (?1 = '' OR reeds.name = ?1)
            AND NOT EXISTS (SELECT 1 FROM {table} AS later WHERE later.supersedes = entry.id)
        ORDER BY entry.id
    """


class Workbook:
    """The workbook of an open store; see `Store.workbook`."""

    def __init__(
        self,
        rows: Callable[..., list[Row]],
        transaction: Callable[[], AbstractContextManager[Connection]],
        now: Callable[[], str],
    ) -> None:
        """`rows` asks, `transaction` writes all or nothing, `now` is the UTC time as text."""
        self._rows = rows
        self._transaction = transaction
        self._now = now

    def add_strokes(
        self,
        reed: str,
        zone: str,
        count: int,
        *,
        blade: str = "",
        side: str = "",
        correct: bool = False,
    ) -> StrokesRecord:
        """Note strokes over each place of a zone, or of one blade or side of it.

        0 is only for a correction that takes the newest entry back. Raises StoreError for any
        other count that cannot be, UnknownReed for the reed.
        """
        if not (0 if correct else 1) <= count <= MOST_STROKES:
            raise StoreError(f"{count} strokes cannot be: give 1 to {MOST_STROKES}")
        self._add("strokes", _STROKES, reed, (zone, blade, side, count), correct)
        return self._strokes(reed)[-1]

    def strokes(self, reed: str = "") -> list[StrokesRecord]:
        """The strokes that stand, of one reed or of all, oldest first; UnknownReed for no reed."""
        return [each for each in self._strokes(reed) if each.count]

    def add_length(
        self, reed: str, length: Decimal, how: How = "typed", *, correct: bool = False
    ) -> LengthRecord:
        """Note a reed's length in millimetres, exact to the micrometre.

        Raises StoreError for what is no length of a reed or finer than that.
        """
        self._add("lengths", _LENGTHS, reed, (_micrometres(length), how), correct)
        return self.lengths(reed)[-1]

    def lengths(self, reed: str = "") -> list[LengthRecord]:
        """The lengths that stand, of one reed or of all, oldest first; UnknownReed for no reed."""
        return [_length_of(row) for row in self._standing("lengths", _LENGTHS, reed)]

    def add_crow(
        self,
        reed: str,
        *,
        note: str,
        cents: Decimal,
        hertz: float,
        tuning: float,
        source: Source = "typed",
        correct: bool = False,
    ) -> CrowRecord:
        """Note a crow, in hertz and as a note with cents; `tuning` is hertz of A4.

        It is kept with the length that was noted last, a correction with that of what it corrects.
        """
        if not cents.is_finite():
            raise StoreError(f"{cents} cents cannot be: give how far the crow is off its note")
        known = [each.length for each in (self.crows if correct else self.lengths)(reed)]
        length = _micrometres(known[-1]) if known and known[-1] is not None else None
        values = (note, f"{cents:f}", hertz, tuning, length, source)
        self._add("crows", _CROWS, reed, values, correct)
        return self.crows(reed)[-1]

    def crows(self, reed: str = "") -> list[CrowRecord]:
        """The crows that stand, of one reed or of all, oldest first; UnknownReed for no reed."""
        return [_crow_of(row) for row in self._standing("crows", _CROWS, reed)]

    def add_test(
        self, reed: str, day: str, test: PlayingTest, *, correct: bool = False
    ) -> TestRecord:
        """Note how a reed played on a day, written as ISO 8601."""
        grades = msgspec.json.encode(test.grades).decode()
        self._add("playing_tests", _TESTS, reed, (day, grades, test.note), correct)
        return self.tests(reed)[-1]

    def tests(self, reed: str = "") -> list[TestRecord]:
        """The playing tests that stand, of one reed or of all, in the order of their entry.

        Raises UnknownReed for no reed.
        """
        return [_test_of(row) for row in self._standing("playing_tests", _TESTS, reed)]

    def _strokes(self, reed: str) -> list[StrokesRecord]:
        return [StrokesRecord(*row) for row in self._standing("strokes", _STROKES, reed)]

    def _add(
        self, table: str, columns: str, name: str, values: tuple[Any, ...], correct: bool
    ) -> None:
        now = self._now()
        with self._transaction() as connection:
            found = connection.execute(_REED, (name,)).fetchone()
            if found is None:
                raise UnknownReed(name)
            reed, stage, after = found
            supersedes = None
            if correct:
                newest = connection.execute(_standing(table, columns), (name,)).fetchall()
                if not newest:
                    raise StoreError(f"nothing of that kind is noted of {name!r}: note it first")
                # It stands where the entry stood that was wrong, whatever was measured since.
                supersedes, stage, after = newest[-1][0], newest[-1][-3], newest[-1][-1] or None
            connection.execute(
                _adding(table, columns), (reed, stage, now, after, *values, supersedes)
            )

    def _standing(self, table: str, columns: str, reed: str) -> list[Row]:
        if reed and not self._rows(_REED, reed):
            raise UnknownReed(reed)
        return self._rows(_standing(table, columns), reed)


def _length_of(row: Row) -> LengthRecord:
    fields: Row = (*row[:2], _millimetres(row[2]), *row[3:])
    return LengthRecord(*fields)


def _crow_of(row: Row) -> CrowRecord:
    length = None if row[6] is None else _millimetres(row[6])
    fields: Row = (*row[:3], Decimal(row[3]), *row[4:6], length, *row[7:])
    return CrowRecord(*fields)


def _test_of(row: Row) -> TestRecord:
    grades = msgspec.json.decode(row[3], type=dict[str, int])
    fields: Row = (*row[:3], PlayingTest(**grades, note=row[4]), *row[5:])
    return TestRecord(*fields)


def _micrometres(length: Decimal) -> int:
    # Numbers far too long must not be turned into as many digits.
    exact = length.scaleb(3) if length.is_finite() and abs(length.adjusted()) < 9 else None
    if exact is None or exact != exact.to_integral_value() or not 0 < exact <= LONGEST_UM:
        raise StoreError(
            f"{length} is no length of a reed: give millimetres, with three decimals at most"
        )
    return int(exact)


def _millimetres(micrometres: int) -> Decimal:
    exact = Decimal(micrometres).scaleb(-3)
    whole = exact.to_integral_value()
    return whole if exact == whole else exact.normalize()
