"""The captures as a table or a document, for a spreadsheet or another program.

Pure: records in, text out. Lengths are hundredths of a millimetre with exactly the digits known;
superseded captures are there too, and say which took their place.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence

import msgspec

from gaugelink.store.records import CaptureRecord, ReedRecord

FORMAT = 1
"""Raised when a program that reads the document of the format before would misread it."""

COLUMNS: tuple[str, ...] = (
    "capture",
    "reed",
    "style",
    "stage",
    "walk",
    "in_pass",
    "station",
    "zone",
    "hundredths",
    "resolution",
    "target",
    "tolerance",
    "verdict",
    "verdict_amount",
    "gauge",
    "unit",
    "value",
    "contact",
    "session",
    "taken_at",
    "at",
    "supersedes",
    "superseded_by",
    "wet",
)
"""The header of the table."""


class Document(msgspec.Struct, frozen=True):
    """The JSON document."""

    format: int
    reeds: Sequence[ReedRecord]
    captures: Sequence[CaptureRecord]


# A number in JSON, not a text: other programs do sums with it. The digits are exact all the same.
_encoder = msgspec.json.Encoder(decimal_format="number")


def export_csv(captures: Iterable[CaptureRecord]) -> Iterator[str]:
    """The lines of a table as RFC 4180 has it, the header first, each with its CR LF.

    A file for it has to be opened with `newline=""`. What is not there is left empty.
    """
    line = io.StringIO()
    writer = csv.writer(line)
    for row in _rows(captures):
        writer.writerow(row)
        yield line.getvalue()
        line.seek(0)
        line.truncate()


def export_json(reeds: Sequence[ReedRecord], captures: Sequence[CaptureRecord]) -> str:
    """One JSON document, `{"format": 1, "reeds": [...], "captures": [...]}`, and a line's end."""
    return _encoder.encode(Document(FORMAT, reeds, captures)).decode() + "\n"


def _rows(captures: Iterable[CaptureRecord]) -> Iterator[Sequence[object]]:
    yield COLUMNS
    for each in captures:
        cells = msgspec.structs.asdict(each)
        for length in ("hundredths", "resolution", "target", "tolerance"):
            cells[length] = f"{cells[length]:f}"
        cells["verdict"], cells["verdict_amount"] = each.verdict.word, each.verdict.amount
        yield [cells[column] for column in COLUMNS]
