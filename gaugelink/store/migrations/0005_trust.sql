-- How far a gauge can be trusted: the proofs and studies that were made with it. A series is planned,
-- its readings are kept one by one as they are made, and in the end there is a result. All of it is
-- only ever added to. Lengths are whole nanometres, times are UTC.

CREATE TABLE series (
    id       INTEGER PRIMARY KEY,
    kind     TEXT NOT NULL CHECK (kind IN ('proof', 'crossed', 'placing')),
    gauge    TEXT NOT NULL, -- as it was called then
    identity TEXT NOT NULL, -- what the system told its device by then; empty when by nothing
    begun_at TEXT NOT NULL,
    plan     BLOB NOT NULL -- JSON that the store does not look into
) STRICT;

CREATE TABLE series_readings (
    series        INTEGER NOT NULL REFERENCES series (id),
    number        INTEGER NOT NULL CHECK (number >= 0), -- its place in the plan
    nanometres    INTEGER NOT NULL,
    resolution_nm INTEGER NOT NULL,
    unit          TEXT NOT NULL,
    value         TEXT NOT NULL, -- the digits as sent, in unit
    taken_at      TEXT NOT NULL,
    PRIMARY KEY (series, number)
) STRICT, WITHOUT ROWID;

CREATE TABLE series_results (
    series   INTEGER PRIMARY KEY REFERENCES series (id),
    found_at TEXT NOT NULL,
    result   BLOB NOT NULL -- likewise
) STRICT;

-- What a gauge was called: its proofs go with it to its new name, and not to the next gauge that
-- takes the old one.
CREATE TABLE gauge_names (
    id       INTEGER PRIMARY KEY,
    name     TEXT NOT NULL,
    renamed  TEXT NOT NULL,
    after    INTEGER NOT NULL -- the newest series that there was; 0 before the first
) STRICT;

CREATE INDEX series_by_gauge ON series (gauge);

CREATE TRIGGER gauges_keep_their_names AFTER UPDATE OF name ON gauges
WHEN NEW.name <> OLD.name
BEGIN
    INSERT INTO gauge_names (name, renamed, after)
    VALUES (OLD.name, NEW.name, coalesce((SELECT max(id) FROM series), 0));
END;

CREATE TRIGGER series_never_change BEFORE UPDATE ON series BEGIN
    SELECT RAISE (ABORT, 'a series is never changed; begin another');
END;

CREATE TRIGGER series_never_go BEFORE DELETE ON series BEGIN
    SELECT RAISE (ABORT, 'a series is never deleted; begin another');
END;

CREATE TRIGGER series_are_not_replaced BEFORE INSERT ON series
WHEN EXISTS (SELECT 1 FROM series WHERE id = NEW.id)
BEGIN
    SELECT RAISE (ABORT, 'a series is never replaced; begin another');
END;

CREATE TRIGGER series_readings_never_change BEFORE UPDATE ON series_readings BEGIN
    SELECT RAISE (ABORT, 'a reading of a series is never changed; begin another series');
END;

CREATE TRIGGER series_readings_never_go BEFORE DELETE ON series_readings BEGIN
    SELECT RAISE (ABORT, 'a reading of a series is never deleted; begin another series');
END;

-- Also: in their order, and none once there is a result.
CREATE TRIGGER series_readings_come_in_order BEFORE INSERT ON series_readings
WHEN NEW.number <> (SELECT count(*) FROM series_readings WHERE series = NEW.series)
    OR EXISTS (SELECT 1 FROM series_results WHERE series = NEW.series)
BEGIN
    SELECT RAISE (ABORT, 'the readings of a series come one after another, until it is solved');
END;

CREATE TRIGGER series_results_never_change BEFORE UPDATE ON series_results BEGIN
    SELECT RAISE (ABORT, 'the result of a series is never changed; begin another series');
END;

CREATE TRIGGER series_results_never_go BEFORE DELETE ON series_results BEGIN
    SELECT RAISE (ABORT, 'the result of a series is never deleted; begin another series');
END;

CREATE TRIGGER series_results_are_not_replaced BEFORE INSERT ON series_results
WHEN EXISTS (SELECT 1 FROM series_results WHERE series = NEW.series)
BEGIN
    SELECT RAISE (ABORT, 'a series has one result');
END;

CREATE TRIGGER gauge_names_never_change BEFORE UPDATE ON gauge_names BEGIN
    SELECT RAISE (ABORT, 'what a gauge was called is never changed');
END;

CREATE TRIGGER gauge_names_never_go BEFORE DELETE ON gauge_names BEGIN
    SELECT RAISE (ABORT, 'what a gauge was called is never deleted');
END;
