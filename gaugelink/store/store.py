"""The store: reeds, walks, captures and gauges in one SQLite file.

Everything here waits for the disk, so the hub calls it from one worker thread of its own. What
returns without an error is durable; what raises StoreError has left the store as it was.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Self

from gaugelink import __version__
from gaugelink.store import connection as files
from gaugelink.store import queries, schema
from gaugelink.store.errors import StoreError, UnknownReed, speaking
from gaugelink.store.lock import Holder, WriterLock
from gaugelink.store.records import (
    OFF_THE_RACK,
    STATES,
    CaptureRecord,
    Counts,
    GaugeRecord,
    NewCapture,
    ReedChange,
    ReedRecord,
    SessionRecord,
    WalkRecord,
)
from gaugelink.store.series import SeriesBook
from gaugelink.store.workbook import Workbook

NOTHING_SAVED = "nothing was saved; "


def system_utc() -> datetime:
    """The present moment in UTC."""
    return datetime.now(UTC)


class Store:
    """An open store. Its methods may be called from any thread, but from one at a time."""

    def __init__(
        self,
        connection: sqlite3.Connection,
        path: Path,
        *,
        schema: int,
        session: int | None,
        now_utc: Callable[[], datetime],
        monotonic: Callable[[], float],
        leave: contextlib.ExitStack,
    ) -> None:
        """Use `Store.open`."""
        self.path = path
        self.schema = schema
        """The schema's number."""
        self.session = session
        """The number of this run of the program, None when the store is open for reading only."""
        self._connection = connection
        self._now_utc = now_utc
        self._monotonic = monotonic
        self._leave = leave
        self.workbook = Workbook(self._rows, self._transaction, self._now)
        """What the maker counts, hears and finds, beside what is measured."""
        self.series = SeriesBook(self._rows, self._transaction, self._now)
        """How far the gauges can be trusted: what was done to prove and to study them."""

    @classmethod
    def open(
        cls,
        path: Path,
        *,
        now_utc: Callable[[], datetime] = system_utc,
        monotonic: Callable[[], float] = time.monotonic,
        version: str = __version__,
        read_only: bool = False,
        socket: str = "",
    ) -> Self:
        """Open the store in the file `path`, made with its folder if it is not there.

        The clocks are asked whenever something is written: `now_utc` for an aware moment,
        `monotonic` for the seconds that the captures' `at` counts. `socket` is where a second
        writer is told that it can join this one. With `read_only` a writer may be at work, and no
        file is created.

        Raises StoreError when another process writes to the store, when it is of a newer schema,
        or not a store, or when the disk does not let it be read or written.
        """
        path = path.resolve()
        with speaking(path), contextlib.ExitStack() as stack:
            if read_only:
                connection = stack.enter_context(contextlib.closing(files.connect_to_read(path)))
                number, session = _check_readable(connection, path), None
            else:
                path.parent.mkdir(parents=True, exist_ok=True)
                started = utc_text(now_utc())
                lock = WriterLock(path, Holder(os.getpid(), socket, started))
                stack.callback(lock.release)
                connection = stack.enter_context(contextlib.closing(files.connect(path)))
                steps = schema.migrations()
                # Asked before anything is changed, even by WAL mode.
                schema.version_of(connection, path, len(steps))
                files.enter_wal(connection, path)
                stack.callback(files.leave_wal, connection)
                number = schema.migrate(connection, path, steps)
                begun = connection.execute(queries.BEGIN_SESSION, (started, monotonic(), version))
                session = begun.lastrowid
            connection.execute("PRAGMA foreign_keys = ON")
            return cls(
                connection,
                path,
                schema=number,
                session=session,
                now_utc=now_utc,
                monotonic=monotonic,
                leave=stack.pop_all(),
            )

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let the file go, and another writer in. Closing again does nothing."""
        with speaking(self.path):
            self._leave.close()

    # Reeds

    def add_reed(self, name: str, style: str, batch: str = "", note: str = "") -> ReedRecord:
        """Put a reed on the rack as a blank; StoreError when the name is taken or empty."""
        if not name.strip():
            raise StoreError("a reed needs a name: give it one")
        now = self._now()
        with self._transaction() as connection:
            values = (name, style, batch, STATES[0], note, now, now)
            if not connection.execute(queries.ADD_REED, values).rowcount:
                raise StoreError(f"there is a reed called {name!r} already: choose another name")
        return ReedRecord(name, style, batch, STATES[0], "", now, now, 0, note)

    def update_reed(
        self,
        name: str,
        *,
        state: str | None = None,
        note: str | None = None,
        stage: str | None = None,
    ) -> ReedRecord:
        """Change what is given of a reed, and keep how it stood before in its history.

        Raises StoreError for a state that is not one of `STATES`, UnknownReed for the reed.
        """
        if state is not None and state not in STATES:
            raise StoreError(f"{state!r} is no state of a reed: use one of {', '.join(STATES)}")
        with self._transaction() as connection:
            values = (state, note, stage, self._now(), name)
            if not connection.execute(queries.UPDATE_REED, values).rowcount:
                raise UnknownReed(name)
        return self.reed(name)

    def reed(self, name: str) -> ReedRecord:
        """The reed of that name; UnknownReed when there is none."""
        for row in self._rows(f"{queries.REEDS} WHERE name = ?", name):
            return ReedRecord(*row)
        raise UnknownReed(name)

    def reeds(self, all: bool = False) -> list[ReedRecord]:
        """The reeds in the order in which they were added; `all` with those off the rack."""
        found = [ReedRecord(*row) for row in self._rows(f"{queries.REEDS} ORDER BY id")]
        return [reed for reed in found if all or reed.state not in OFF_THE_RACK]

    def changes(self, name: str) -> list[ReedChange]:
        """How a reed stood from its adding to now, oldest first; UnknownReed for no reed."""
        found = [ReedChange(*row) for row in self._rows(queries.REED_CHANGES, name)]
        if not found:
            raise UnknownReed(name)
        return found

    # Walks

    def start_walk(
        self,
        *,
        bench: str,
        reed: str,
        style: str,
        stage: str,
        gauge: str,
        trigger: str,
        state: bytes,
    ) -> int:
        """Begin a walk and return its number; UnknownReed when there is no such reed.

        A walk of the same reed, style and stage that was left unfinished is ended by it.
        """
        now = self._now()
        # Now, while nobody waits with a wet reed in the hand, rather than after some press.
        self._rows("PRAGMA wal_checkpoint (PASSIVE)")
        with self._transaction() as connection:
            connection.execute(queries.END_UNFINISHED_WALKS, (now, reed, style, stage))
            kept = queries.padded(state)
            values = (bench, style, stage, gauge, trigger, now, now, kept, reed)
            for (walk,) in connection.execute(queries.START_WALK, values).fetchall():
                return int(walk)
            raise UnknownReed(reed)

    def resume_walk(self, walk: int, *, gauge: str, trigger: str) -> None:
        """Go on with a walk, perhaps with another gauge or trigger; StoreError for no walk."""
        self._change_walk(walk, queries.RESUME_WALK, gauge, trigger, self._now())

    def save_walk(self, walk: int, state: bytes, *, ended: bool = False) -> None:
        """Keep where a walk stands, and whether it has ended; StoreError for no walk."""
        now = self._now()
        self._change_walk(
            walk, queries.SAVE_WALK, queries.padded(state), now, now if ended else None
        )

    def unfinished_walk(self, reed: str, style: str, stage: str) -> WalkRecord | None:
        """The walk that was left unfinished, at whatever bench; None when there is none."""
        for row in self._rows(queries.UNFINISHED_WALK, reed, style, stage):
            return queries.walk_of(row)
        return None

    def latest_walk(self, bench: str) -> WalkRecord | None:
        """The walk that was last gone on with at a bench, ended or not; None when there is none."""
        for row in self._rows(queries.LATEST_WALK, bench):
            return queries.walk_of(row)
        return None

    # Captures

    def add_capture(self, new: NewCapture, walk_state: bytes) -> CaptureRecord:
        """Make a capture durable, with where its walk then stands; its reed is at that stage now.

        It supersedes the newest capture of the same walk, station and pass. When this returns, the
        disk has it; when it raises StoreError, nothing of it is kept.
        """
        ago = timedelta(seconds=self._monotonic() - new.at)
        taken_at = utc_text(self._now_utc() - ago)
        kept = queries.padded(walk_state)
        values = (*queries.values_of(new), self.session, taken_at, new.at)
        with self._transaction(again="press again") as connection:
            place = (new.walk, new.in_pass, new.station)
            found = connection.execute(queries.PLACE_OF_CAPTURE, place).fetchone()
            if found is None:
                raise _no_walk(new.walk)
            reed, name, stands_at, style, stage, supersedes = found
            added = connection.execute(
                queries.ADD_CAPTURE, (*values, reed, style, stage, supersedes, new.wet)
            )
            connection.execute(queries.KEEP_WALK_STATE, (kept, taken_at, new.walk))
            if stage != stands_at:
                connection.execute(queries.MOVE_REED, (stage, taken_at, reed))
        return queries.capture_of(
            (added.lastrowid, name, style, stage, *values, supersedes, None, new.wet)
        )

    def captures(self, reed: str | None = None, current_only: bool = False) -> list[CaptureRecord]:
        """The captures of one reed or of all, oldest first; UnknownReed for no such reed.

        With `current_only` those that a retake has superseded are left out.
        """
        if reed is None:
            rows = self._rows(queries.ALL_CAPTURES, current_only)
        else:
            self.reed(reed)
            rows = self._rows(queries.CAPTURES_OF_REED, current_only, reed)
        return [queries.capture_of(row) for row in rows]

    # Gauges, sessions, counts

    def remember_gauge(self, name: str, port: str, description: str) -> None:
        """Keep where a gauge was last found, so that its name is enough the next time."""
        with self._transaction() as connection:
            connection.execute(queries.REMEMBER_GAUGE, (name, port, description, self._now()))

    def place_gauge(self, name: str, port: str, identity: str) -> None:
        """Keep what the system tells a gauge's device by, and where it is by now."""
        with self._transaction() as connection:
            connection.execute(queries.PLACE_GAUGE, (port, identity, name))

    def rename_gauge(self, name: str, to: str) -> None:
        """Remember a gauge by another name; what it measured keeps the one it had then.

        StoreError when another is remembered by that name.
        """
        with self._transaction() as connection:
            if not connection.execute(queries.RENAME_GAUGE, (to, name)).rowcount:
                raise StoreError(f"a gauge called {to!r} is remembered: choose another name")

    def forget_gauge(self, name: str) -> None:
        """Do not connect the gauge of that name again; what it measured stays."""
        with self._transaction() as connection:
            connection.execute(queries.FORGET_GAUGE, (name,))

    def gauges(self) -> list[GaugeRecord]:
        """The gauges that were ever used, the newest used first."""
        return [GaugeRecord(*row) for row in self._rows(queries.GAUGES)]

    def sessions(self) -> list[SessionRecord]:
        """The runs of the program that wrote, oldest first."""
        return [SessionRecord(*row) for row in self._rows(queries.SESSIONS)]

    def counts(self) -> Counts:
        """How much is kept."""
        return Counts(*self._rows(queries.COUNTS)[0])

    def _now(self) -> str:
        return utc_text(self._now_utc())

    def _rows(self, sql: str, *values: object) -> list[queries.Row]:
        with speaking(self.path):
            return self._connection.execute(sql, values).fetchall()

    def _change_walk(self, walk: int, sql: str, *values: object) -> None:
        with self._transaction() as connection:
            if not connection.execute(sql, (*values, walk)).rowcount:
                raise _no_walk(walk)

    @contextlib.contextmanager
    def _transaction(self, again: str = "try again") -> Iterator[sqlite3.Connection]:
        """All or nothing; what is done in it is durable once the block has been left."""
        if self.session is None:
            raise StoreError(f"{self.path} is open for reading only: open it for writing")
        connection = self._connection
        with speaking(self.path, NOTHING_SAVED, again):
            try:
                connection.execute("BEGIN IMMEDIATE")
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                # A full disk ends the transaction by itself, at times.
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                raise


def utc_text(moment: datetime) -> str:
    """An aware moment as UTC, ISO 8601 with microseconds: `2031-05-04T09:30:00.000000Z`.

    Raises ValueError for a moment that does not say its offset from UTC.
    """
    if moment.tzinfo is None:
        raise ValueError(f"{moment!r} does not say its offset from UTC")
    return moment.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def _no_walk(walk: int) -> StoreError:
    return StoreError(f"there is no walk {walk}: begin one")


def _check_readable(connection: sqlite3.Connection, path: Path) -> int:
    """The schema of a store opened for reading; StoreError when it is not the newest."""
    newest = len(schema.migrations())
    number = schema.version_of(connection, path, newest)
    if number == 0:
        raise StoreError(f"nothing is in {path} yet: measure something first")
    if number < newest:
        raise StoreError(
            f"{path} was written by an older gaugelink (schema {number} of {newest}): "
            "open the bench once, which brings it up to date"
        )
    return number
