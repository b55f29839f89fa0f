"""The store's SQL, and the records made of its rows."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from gaugelink.craft.verdict import Verdict
from gaugelink.reading import from_nanometres, to_nanometres
from gaugelink.store.errors import StoreError
from gaugelink.store.records import CaptureRecord, NewCapture, WalkRecord

Row = tuple[Any, ...]

ROOM = 4096
"""Bytes by which the place kept for a walk's state grows."""

BEYOND = 14
"""Hundredths with this power of ten as their first digit do not fit 64 bits as nanometres."""

BEGIN_SESSION = "INSERT INTO sessions (started_at, monotonic, version) VALUES (?, ?, ?)"
SESSIONS = "SELECT id, started_at, monotonic, version FROM sessions ORDER BY id"

ADD_REED = """
    INSERT INTO reeds (name, style, batch, state, stage, note, added_at, changed_at)
    VALUES (?, ?, ?, ?, '', ?, ?, ?)
    ON CONFLICT (name) DO NOTHING
"""
UPDATE_REED = """
    UPDATE reeds
    SET state = coalesce(?, state), note = coalesce(?, note), stage = coalesce(?, stage),
        changed_at = ?
    WHERE name = ?
"""
REEDS = """
    SELECT name, style, batch, state, stage, added_at, changed_at,
        (SELECT count(*) FROM captures WHERE captures.reed = reeds.id), note
    FROM reeds
"""
REED_CHANGES = """
    SELECT change.state, change.stage, change.note, change.at
    FROM reed_changes AS change JOIN reeds ON reeds.id = change.reed
    WHERE reeds.name = ?
    ORDER BY change.id
"""

WALKS = """
    SELECT walks.id, bench, reeds.name, walks.style, walks.stage, gauge, "trigger",
        started_at, walks.changed_at, ended_at, walks.state
    FROM walks JOIN reeds ON reeds.id = walks.reed
"""
UNFINISHED_WALK = f"""{WALKS}
    WHERE reeds.name = ? AND walks.style = ? AND walks.stage = ? AND ended_at IS NULL
    ORDER BY walks.id DESC
    LIMIT 1
"""
LATEST_WALK = f"{WALKS} WHERE bench = ? ORDER BY walks.changed_at DESC, walks.id DESC LIMIT 1"
END_UNFINISHED_WALKS = """
    UPDATE walks
    SET ended_at = ?
    WHERE reed = (SELECT id FROM reeds WHERE name = ?) AND style = ? AND stage = ?
        AND ended_at IS NULL
"""
START_WALK = """
    INSERT INTO walks
        (bench, reed, style, stage, gauge, "trigger", started_at, changed_at, state)
    SELECT ?, id, ?, ?, ?, ?, ?, ?, ? FROM reeds WHERE name = ?
    RETURNING id
"""
RESUME_WALK = (
    'UPDATE walks SET gauge = ?, "trigger" = ?, changed_at = ?, ended_at = NULL WHERE id = ?'
)
SAVE_WALK = "UPDATE walks SET state = ?, changed_at = ?, ended_at = ? WHERE id = ?"
KEEP_WALK_STATE = "UPDATE walks SET state = ?, changed_at = ? WHERE id = ?"

# The newest capture at a place is the one that none has superseded yet.
PLACE_OF_CAPTURE = """
    SELECT reeds.id, reeds.name, reeds.stage, walks.style, walks.stage,
        (SELECT max(id) FROM captures
            WHERE reed = walks.reed AND walk = walks.id AND in_pass = ?2 AND station = ?3)
    FROM walks JOIN reeds ON reeds.id = walks.reed
    WHERE walks.id = ?1
"""
# A plain row of values: RETURNING and INSERT … SELECT each fill a temporary table first, which
# costs as much again as the row itself.
ADD_CAPTURE = """
    INSERT INTO captures
        (walk, in_pass, station, zone, nanometres, resolution_nm, target_nm, tolerance_nm,
        verdict, verdict_amount, gauge, unit, value, contact, session, taken_at, at,
        reed, style, stage, supersedes, wet)
    VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
"""
MOVE_REED = "UPDATE reeds SET stage = ?, changed_at = ? WHERE id = ?"

_CAPTURES = """
    SELECT capture.id, reeds.name, capture.style, capture.stage, capture.walk, capture.in_pass,
        capture.station, capture.zone, capture.nanometres, capture.resolution_nm,
        capture.target_nm, capture.tolerance_nm, capture.verdict, capture.verdict_amount,
        capture.gauge, capture.unit, capture.value, capture.contact, capture.session,
        capture.taken_at, capture.at, capture.supersedes, later.id, capture.wet
    FROM captures AS capture
        JOIN reeds ON reeds.id = capture.reed
        LEFT JOIN captures AS later ON later.supersedes = capture.id
    WHERE (later.id IS NULL OR NOT ?)
"""
ALL_CAPTURES = f"{_CAPTURES} ORDER BY capture.id"
CAPTURES_OF_REED = f"{_CAPTURES} AND reeds.name = ? ORDER BY capture.id"

REMEMBER_GAUGE = """
    INSERT INTO gauges (name, port, description, last_used) VALUES (?, ?, ?, ?)
    ON CONFLICT (name) DO UPDATE
    SET port = excluded.port, description = excluded.description, last_used = excluded.last_used
"""
PLACE_GAUGE = "UPDATE gauges SET port = ?, identity = ? WHERE name = ?"
RENAME_GAUGE = "UPDATE OR IGNORE gauges SET name = ? WHERE name = ?"
FORGET_GAUGE = "DELETE FROM gauges WHERE name = ?"

GAUGES = """
    SELECT name, port, description, last_used, identity
    FROM gauges
    ORDER BY last_used DESC, name
"""

COUNTS = """
    SELECT (SELECT count(*) FROM reeds), (SELECT count(*) FROM walks),
        (SELECT count(*) FROM captures)
"""


def values_of(new: NewCapture) -> Row:
    """The first values of `ADD_CAPTURE`; StoreError for a length that the store cannot keep."""
    return (
        new.walk,
        new.in_pass,
        new.station,
        new.zone,
        _nanometres(new.hundredths),
        _nanometres(new.resolution),
        _nanometres(new.target),
        _nanometres(new.tolerance),
        new.verdict.word,
        new.verdict.amount,
        new.gauge,
        new.unit,
        new.value,
        new.contact,
    )


def padded(state: bytes) -> bytes:
    """A walk's state with spaces behind it, up to a multiple of `ROOM`.

    JSON allows them. A value that keeps its length is overwritten in place, and only its pages
    that differ are written; one that grows by a few bytes is written anew as a whole.
    """
    return state.ljust(-(-len(state) // ROOM) * ROOM)


def walk_of(row: Row) -> WalkRecord:
    """The record of a row of `WALKS`."""
    fields: Row = (*row[:-1], row[-1].rstrip(b" "))
    return WalkRecord(*fields)


def capture_of(row: Row) -> CaptureRecord:
    """The record of a row of `ALL_CAPTURES` or `CAPTURES_OF_REED`."""
    lengths = map(from_nanometres, row[8:12])
    fields: Row = (*row[:8], *lengths, Verdict(*row[12:14]), *row[14:])
    return CaptureRecord(*fields)


def _nanometres(hundredths: Decimal) -> int:
    if not hundredths.is_finite() or hundredths.adjusted() >= BEYOND:
        raise StoreError(
            f"{hundredths} hundredths is no length to keep: nothing was saved; press again"
        )
    return to_nanometres(hundredths)
