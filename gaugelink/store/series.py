"""How far a gauge can be trusted: the series of readings that were made to prove and to study it.

A series is planned, then read one step after another, each reading durable before the next is
asked for, and solved once. Nothing of it ever changes. What the plan and the result say is JSON
that the store does not look into.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager
from decimal import Decimal
from sqlite3 import Connection
from typing import Literal, NamedTuple

import msgspec

from gaugelink.reading import from_nanometres, to_nanometres
from gaugelink.store.errors import StoreError
from gaugelink.store.queries import BEYOND, Row

Kind = Literal["proof", "crossed", "placing"]


class SeriesRecord(msgspec.Struct, frozen=True):
    """A series, without its readings."""

    series: int
    kind: Kind
    gauge: str
    """What its gauge was called when it was begun."""
    identity: str
    """What the system told the gauge's device by then; empty when by nothing."""
    begun_at: str
    plan: bytes
    made: int
    """How many readings there are."""
    found_at: str | None
    """When it was solved; None while it is open."""
    result: bytes | None


class SeriesReading(msgspec.Struct, frozen=True):
    """A reading of a series."""

    hundredths: Decimal
    resolution: Decimal
    unit: str
    value: str
    """The digits as sent, in `unit`."""
    taken_at: str


class Renamed(NamedTuple):
    """A gauge went by another name from then on."""

    name: str
    renamed: str
    after: int
    """The newest series that there was."""


class Held(NamedTuple):
    """A gauge had a name from after the series `since` up to `until`, None when it has it still."""

    name: str
    since: int
    until: int | None

    def has(self, record: SeriesRecord) -> bool:
        """Whether a series was made with the gauge while it had that name."""
        within = self.since < record.series and (self.until is None or record.series <= self.until)
        return record.gauge == self.name and within


def names_of(gauge: str, renamings: Iterable[Renamed]) -> list[Held]:
    """The names that the gauge now called so has had, the present one first.

    `renamings` come oldest first.
    """
    found: list[Held] = []
    name, until = gauge, None
    for each in reversed(list(renamings)):
        if each.name == name:
            # From here on back the name was another gauge's.
            return [*found, Held(name, each.after, until)]
        if each.renamed == name:
            found.append(Held(name, each.after, until))
            name, until = each.name, each.after
    return [*found, Held(name, 0, until)]


_SERIES = """
    SELECT id, kind, gauge, identity, begun_at, plan,
        (SELECT count(*) FROM series_readings WHERE series = series.id), found_at, result
    FROM series LEFT JOIN series_results ON series_results.series = series.id
"""
_BEGIN = """
    INSERT INTO series (kind, gauge, identity, begun_at, plan)
    VALUES (?1, ?2, coalesce((SELECT identity FROM gauges WHERE name = ?2), ''), ?3, ?4)
"""
_ADD = """
    INSERT INTO series_readings (series, number, nanometres, resolution_nm, unit, value, taken_at)
    VALUES (?, ?, ?, ?, ?, ?, ?)
"""
_READINGS = """
    SELECT nanometres, resolution_nm, unit, value, taken_at FROM series_readings
    WHERE series = ? ORDER BY number
"""


class SeriesBook:
    """Part of an open store."""

    def __init__(
        self,
        rows: Callable[..., list[Row]],
        transaction: Callable[..., AbstractContextManager[Connection]],
        now: Callable[[], str],
    ) -> None:
        self._rows = rows
        self._transaction = transaction
        self._now = now

    def begin(self, kind: Kind, gauge: str, plan: bytes) -> SeriesRecord:
        """Keep a plan that is to be carried out with a gauge."""
        with self._transaction() as connection:
            added = connection.execute(_BEGIN, (kind, gauge, self._now(), plan))
        return self.one(added.lastrowid or 0)

    def add(
        self,
        series: int,
        number: int,
        hundredths: Decimal,
        resolution: Decimal,
        unit: str,
        value: str,
    ) -> None:
        """Make a series' next reading durable, `number` counting from 0.

        StoreError for no such series, one that is solved, a number out of turn, or a length that
        the store cannot keep.
        """
        for each in (hundredths, resolution):
            if not each.is_finite() or each.adjusted() >= BEYOND:
                raise StoreError(f"{each} hundredths is no length to keep: measure again")
        lengths = to_nanometres(hundredths), to_nanometres(resolution)
        with self._transaction() as connection:
            found = self.one(series)
            if found.found_at is not None:
                raise StoreError(f"series {series} is solved already: begin another")
            if number != found.made:
                raise StoreError(
                    f"reading {number} of series {series} is not the next: it has {found.made}"
                )
            values = (series, number, *lengths, unit, value, self._now())
            connection.execute(_ADD, values)

    def solved(self, series: int, result: bytes) -> SeriesRecord:
        """Keep what a series amounts to; StoreError for no such series, or one that is solved."""
        with self._transaction() as connection:
            if self.one(series).found_at is not None:
                raise StoreError(f"series {series} is solved already: begin another")
            connection.execute(
                "INSERT INTO series_results (series, found_at, result) VALUES (?, ?, ?)",
                (series, self._now(), result),
            )
        return self.one(series)

    def one(self, series: int) -> SeriesRecord:
        """The series of that number; StoreError when there is none."""
        for row in self._rows(f"{_SERIES} WHERE id = ?", series):
            return SeriesRecord(*row)
        raise StoreError(f"there is no series {series}: look at the list of them")

    def all(self, gauge: str | None = None) -> list[SeriesRecord]:
        """Every series, oldest first; or those of the gauge that is now called so.

        They go with it when it is renamed. One whose device the system told by another identity
        was made with another indicator that had the name, and is left out.
        """
        found = [SeriesRecord(*row) for row in self._rows(f"{_SERIES} ORDER BY id")]
        if gauge is None:
            return found
        renamings = self._rows("SELECT name, renamed, after FROM gauge_names ORDER BY id")
        names = names_of(gauge, (Renamed(*row) for row in renamings))
        known = self._rows("SELECT identity FROM gauges WHERE name = ?", gauge)
        identity = known[0][0] if known else ""
        return [
            each
            for each in found
            if any(name.has(each) for name in names)
            and (not identity or each.identity in ("", identity))
        ]

    def newest(self, gauge: str) -> tuple[SeriesRecord | None, SeriesRecord | None]:
        """The newest proof and the newest study that were solved of a gauge; None for neither."""
        solved = [each for each in self.all(gauge) if each.found_at is not None]
        proofs = [each for each in solved if each.kind == "proof"]
        studies = [each for each in solved if each.kind != "proof"]
        return (proofs[-1] if proofs else None), (studies[-1] if studies else None)

    def readings(self, series: int) -> list[SeriesReading]:
        """The readings of a series, in the order of its plan; StoreError for no such series."""
        self.one(series)
        return [
            SeriesReading(from_nanometres(row[0]), from_nanometres(row[1]), *row[2:])
            for row in self._rows(_READINGS, series)
        ]
