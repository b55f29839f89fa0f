-- The first schema. Lengths are whole nanometres. Times are UTC in ISO 8601 with microseconds and
-- a closing Z; columns called `at` in captures are seconds on the monotonic clock of their session.

PRAGMA application_id = 0x6761756c; -- "gaul": tells this file from any other SQLite database

-- One run of the program that wrote. A monotonic clock means nothing without its beginning.
CREATE TABLE sessions (
    id         INTEGER PRIMARY KEY,
    started_at TEXT NOT NULL,
    monotonic  REAL NOT NULL, -- what the monotonic clock showed at started_at, in seconds
    version    TEXT NOT NULL
) STRICT;

CREATE TABLE reeds (
    id         INTEGER PRIMARY KEY,
    name       TEXT NOT NULL UNIQUE,
    style      TEXT NOT NULL,
    batch      TEXT NOT NULL,
    state      TEXT NOT NULL CHECK (state IN (
        'blank', 'first day', 'resting', 'second day', 'finished', 'handed over', 'set aside'
    )),
    stage      TEXT NOT NULL, -- empty before the first
    note       TEXT NOT NULL,
    added_at   TEXT NOT NULL,
    changed_at TEXT NOT NULL
) STRICT;

CREATE TABLE reed_changes (
    id    INTEGER PRIMARY KEY,
    reed  INTEGER NOT NULL REFERENCES reeds (id),
    state TEXT NOT NULL,
    stage TEXT NOT NULL,
    note  TEXT NOT NULL,
    at    TEXT NOT NULL
) STRICT;

CREATE INDEX reed_changes_by_reed ON reed_changes (reed);

CREATE TABLE walks (
    id         INTEGER PRIMARY KEY,
    bench      TEXT NOT NULL,
    reed       INTEGER NOT NULL REFERENCES reeds (id),
    style      TEXT NOT NULL,
    stage      TEXT NOT NULL,
    gauge      TEXT NOT NULL,
    "trigger"  TEXT NOT NULL,
    started_at TEXT NOT NULL,
    changed_at TEXT NOT NULL,
    ended_at   TEXT,
    state      BLOB NOT NULL -- JSON that only the walk itself reads; last, for it is long
) STRICT;

CREATE INDEX walks_by_bench ON walks (bench);
CREATE INDEX walks_by_reed ON walks (reed);

-- Reed, style and stage are the walk's, written out again: a capture says all about itself.
CREATE TABLE captures (
    id             INTEGER PRIMARY KEY,
    reed           INTEGER NOT NULL REFERENCES reeds (id),
    walk           INTEGER NOT NULL REFERENCES walks (id),
    in_pass        INTEGER NOT NULL,
    station        TEXT NOT NULL,
    zone           TEXT NOT NULL,
    nanometres     INTEGER NOT NULL,
    resolution_nm  INTEGER NOT NULL,
    target_nm      INTEGER NOT NULL,
    tolerance_nm   INTEGER NOT NULL,
    verdict        TEXT NOT NULL CHECK (verdict IN ('take', 'leave', 'over')),
    verdict_amount INTEGER NOT NULL, -- hundredths of a millimetre
    gauge          TEXT NOT NULL,
    unit           TEXT NOT NULL,
    value          TEXT NOT NULL, -- the digits as sent, in unit
    contact        INTEGER NOT NULL,
    style          TEXT NOT NULL,
    stage          TEXT NOT NULL,
    session        INTEGER NOT NULL REFERENCES sessions (id),
    taken_at       TEXT NOT NULL,
    at             REAL NOT NULL,
    supersedes     INTEGER REFERENCES captures (id)
) STRICT;

-- Serves both questions that are asked of captures: those of a reed, and the newest of a station
-- in a pass of a walk (the row id is the hidden last column of every index).
CREATE INDEX captures_by_place ON captures (reed, walk, station, in_pass);

-- At most one capture takes the place of another. Few do, so only those are indexed.
CREATE UNIQUE INDEX captures_by_superseded ON captures (supersedes) WHERE supersedes IS NOT NULL;

CREATE TABLE gauges (
    name        TEXT PRIMARY KEY,
    port        TEXT NOT NULL,
    description TEXT NOT NULL,
    last_used   TEXT NOT NULL
) STRICT;

-- History is only ever added to.

CREATE TRIGGER captures_never_change BEFORE UPDATE ON captures BEGIN
    SELECT RAISE (ABORT, 'a capture is never changed; a retake supersedes it');
END;

CREATE TRIGGER captures_never_go BEFORE DELETE ON captures BEGIN
    SELECT RAISE (ABORT, 'a capture is never deleted; a retake supersedes it');
END;

-- INSERT OR REPLACE deletes without firing the trigger above.
CREATE TRIGGER captures_are_not_replaced BEFORE INSERT ON captures
WHEN EXISTS (SELECT 1 FROM captures WHERE id = NEW.id)
    OR EXISTS (SELECT 1 FROM captures WHERE supersedes = NEW.supersedes)
BEGIN
    SELECT RAISE (ABORT, 'a capture is never replaced; a retake supersedes the newest one');
END;

CREATE TRIGGER reed_changes_never_change BEFORE UPDATE ON reed_changes BEGIN
    SELECT RAISE (ABORT, 'the history of a reed is never changed');
END;

CREATE TRIGGER reed_changes_never_go BEFORE DELETE ON reed_changes BEGIN
    SELECT RAISE (ABORT, 'the history of a reed is never deleted');
END;

CREATE TRIGGER reed_changes_are_not_replaced BEFORE INSERT ON reed_changes
WHEN EXISTS (SELECT 1 FROM reed_changes WHERE id = NEW.id)
BEGIN
    SELECT RAISE (ABORT, 'the history of a reed is never replaced');
END;

CREATE TRIGGER reeds_begin_their_history AFTER INSERT ON reeds BEGIN
    INSERT INTO reed_changes (reed, state, stage, note, at)
    VALUES (NEW.id, NEW.state, NEW.stage, NEW.note, NEW.changed_at);
END;

CREATE TRIGGER reeds_keep_their_history AFTER UPDATE OF state, stage, note ON reeds
WHEN NEW.state <> OLD.state OR NEW.stage <> OLD.stage OR NEW.note <> OLD.note
BEGIN
    INSERT INTO reed_changes (reed, state, stage, note, at)
    VALUES (NEW.id, NEW.state, NEW.stage, NEW.note, NEW.changed_at);
END;
