-- The workbook of each reed: what the maker counts, hears and finds beside what is measured. All of
-- it is only ever added to: an entry that was wrong is superseded by another of the same reed.
-- Times called `at` here are UTC. `after` is the newest capture that there was of the reed, so that
-- an entry's place among them does not hang on any clock; NULL before the first.

CREATE TABLE strokes (
    id         INTEGER PRIMARY KEY,
    reed       INTEGER NOT NULL REFERENCES reeds (id),
    zone       TEXT NOT NULL,
    blade      TEXT NOT NULL, -- empty: on both
    side       TEXT NOT NULL, -- empty: on all
    count      INTEGER NOT NULL CHECK (count >= 0), -- 0 takes back what it supersedes
    stage      TEXT NOT NULL,
    at         TEXT NOT NULL,
    after      INTEGER REFERENCES captures (id),
    supersedes INTEGER REFERENCES strokes (id)
) STRICT;

CREATE TABLE lengths (
    id          INTEGER PRIMARY KEY,
    reed        INTEGER NOT NULL REFERENCES reeds (id),
    micrometres INTEGER NOT NULL CHECK (micrometres > 0),
    how         TEXT NOT NULL CHECK (how IN ('typed', 'gauge')),
    stage       TEXT NOT NULL,
    at          TEXT NOT NULL,
    after       INTEGER REFERENCES captures (id),
    supersedes  INTEGER REFERENCES lengths (id)
) STRICT;

CREATE TABLE crows (
    id          INTEGER PRIMARY KEY,
    reed        INTEGER NOT NULL REFERENCES reeds (id),
    note        TEXT NOT NULL,
    cents       TEXT NOT NULL, -- decimal, from the note, as it was said
    hertz       REAL NOT NULL CHECK (hertz > 0),
    tuning      REAL NOT NULL CHECK (tuning > 0), -- hertz of A4
    micrometres INTEGER CHECK (micrometres > 0), -- the length that it had then; NULL when not known
    source      TEXT NOT NULL CHECK (source IN ('typed', 'wav')),
    stage       TEXT NOT NULL,
    at          TEXT NOT NULL,
    after       INTEGER REFERENCES captures (id),
    supersedes  INTEGER REFERENCES crows (id)
) STRICT;

CREATE TABLE playing_tests (
    id         INTEGER PRIMARY KEY,
    reed       INTEGER NOT NULL REFERENCES reeds (id),
    day        TEXT NOT NULL, -- of the maker's calendar, ISO 8601
    grades     TEXT NOT NULL, -- JSON, aspect to grade
    note       TEXT NOT NULL,
    stage      TEXT NOT NULL,
    at         TEXT NOT NULL,
    after      INTEGER REFERENCES captures (id),
    supersedes INTEGER REFERENCES playing_tests (id)
) STRICT;

CREATE INDEX strokes_by_reed ON strokes (reed);
CREATE INDEX lengths_by_reed ON lengths (reed);
CREATE INDEX crows_by_reed ON crows (reed);
CREATE INDEX playing_tests_by_reed ON playing_tests (reed);

CREATE UNIQUE INDEX strokes_by_superseded ON strokes (supersedes) WHERE supersedes IS NOT NULL;
CREATE UNIQUE INDEX lengths_by_superseded ON lengths (supersedes) WHERE supersedes IS NOT NULL;
CREATE UNIQUE INDEX crows_by_superseded ON crows (supersedes) WHERE supersedes IS NOT NULL;
CREATE UNIQUE INDEX playing_tests_by_superseded ON playing_tests (supersedes)
    WHERE supersedes IS NOT NULL;

CREATE TRIGGER strokes_never_change BEFORE UPDATE ON strokes BEGIN
    SELECT RAISE (ABORT, 'strokes that were counted are never changed; a correction supersedes');
END;

CREATE TRIGGER strokes_never_go BEFORE DELETE ON strokes BEGIN
    SELECT RAISE (ABORT, 'strokes that were counted are never deleted; a correction supersedes');
END;

CREATE TRIGGER strokes_are_not_replaced BEFORE INSERT ON strokes
WHEN EXISTS (SELECT 1 FROM strokes WHERE id = NEW.id)
    OR EXISTS (SELECT 1 FROM strokes WHERE supersedes = NEW.supersedes)
BEGIN
    SELECT RAISE (ABORT, 'strokes that were counted are never replaced; a correction supersedes the newest');
END;

CREATE TRIGGER strokes_keep_to_their_reed BEFORE INSERT ON strokes
WHEN NEW.supersedes IS NOT NULL
    AND NOT EXISTS (SELECT 1 FROM strokes WHERE id = NEW.supersedes AND reed = NEW.reed)
BEGIN
    SELECT RAISE (ABORT, 'a correction supersedes an entry of the same reed');
END;

CREATE TRIGGER lengths_never_change BEFORE UPDATE ON lengths BEGIN
    SELECT RAISE (ABORT, 'a length is never changed; a correction supersedes');
END;

CREATE TRIGGER lengths_never_go BEFORE DELETE ON lengths BEGIN
    SELECT RAISE (ABORT, 'a length is never deleted; a correction supersedes');
END;

CREATE TRIGGER lengths_are_not_replaced BEFORE INSERT ON lengths
WHEN EXISTS (SELECT 1 FROM lengths WHERE id = NEW.id)
    OR EXISTS (SELECT 1 FROM lengths WHERE supersedes = NEW.supersedes)
BEGIN
    SELECT RAISE (ABORT, 'a length is never replaced; a correction supersedes the newest');
END;

CREATE TRIGGER lengths_keep_to_their_reed BEFORE INSERT ON lengths
WHEN NEW.supersedes IS NOT NULL
    AND NOT EXISTS (SELECT 1 FROM lengths WHERE id = NEW.supersedes AND reed = NEW.reed)
BEGIN
    SELECT RAISE (ABORT, 'a correction supersedes an entry of the same reed');
END;

CREATE TRIGGER crows_never_change BEFORE UPDATE ON crows BEGIN
    SELECT RAISE (ABORT, 'a crow is never changed; a correction supersedes');
END;

CREATE TRIGGER crows_never_go BEFORE DELETE ON crows BEGIN
    SELECT RAISE (ABORT, 'a crow is never deleted; a correction supersedes');
END;

CREATE TRIGGER crows_are_not_replaced BEFORE INSERT ON crows
WHEN EXISTS (SELECT 1 FROM crows WHERE id = NEW.id)
    OR EXISTS (SELECT 1 FROM crows WHERE supersedes = NEW.supersedes)
BEGIN
    SELECT RAISE (ABORT, 'a crow is never replaced; a correction supersedes the newest');
END;

CREATE TRIGGER crows_keep_to_their_reed BEFORE INSERT ON crows
WHEN NEW.supersedes IS NOT NULL
    AND NOT EXISTS (SELECT 1 FROM crows WHERE id = NEW.supersedes AND reed = NEW.reed)
BEGIN
    SELECT RAISE (ABORT, 'a correction supersedes an entry of the same reed');
END;

CREATE TRIGGER playing_tests_never_change BEFORE UPDATE ON playing_tests BEGIN
    SELECT RAISE (ABORT, 'a playing test is never changed; a correction supersedes');
END;

CREATE TRIGGER playing_tests_never_go BEFORE DELETE ON playing_tests BEGIN
    SELECT RAISE (ABORT, 'a playing test is never deleted; a correction supersedes');
END;

CREATE TRIGGER playing_tests_are_not_replaced BEFORE INSERT ON playing_tests
WHEN EXISTS (SELECT 1 FROM playing_tests WHERE id = NEW.id)
    OR EXISTS (SELECT 1 FROM playing_tests WHERE supersedes = NEW.supersedes)
BEGIN
    SELECT RAISE (ABORT, 'a playing test is never replaced; a correction supersedes the newest');
END;

CREATE TRIGGER playing_tests_keep_to_their_reed BEFORE INSERT ON playing_tests
WHEN NEW.supersedes IS NOT NULL
    AND NOT EXISTS (SELECT 1 FROM playing_tests WHERE id = NEW.supersedes AND reed = NEW.reed)
BEGIN
    SELECT RAISE (ABORT, 'a correction supersedes an entry of the same reed');
END;
