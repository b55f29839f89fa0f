"""The table and the document say all that the captures say, to other programs."""

from __future__ import annotations

import csv
import io
import json
from decimal import Decimal
from pathlib import Path
from typing import Any, get_args

import msgspec
from hypothesis import given
from hypothesis import strategies as st

from gaugelink.craft.soaking import Wetness
from gaugelink.craft.verdict import Verdict
from gaugelink.reading import from_nanometres
from gaugelink.store.export import COLUMNS, Document, export_csv, export_json
from gaugelink.store.records import CaptureRecord, ReedRecord
from tests.store.sample import begin_walk, capture, open_store

AWKWARD = 'Ada\'s "best", the\r\nlong one;\ttied\nblue é'

# Text that UTF-8 can carry.
TEXT = st.text(st.characters(exclude_categories=["Cs"]))
LENGTH = st.integers(-(10**12), 10**12).map(from_nanometres)
CAPTURES = st.builds(
    CaptureRecord,
    reed=TEXT,
    zone=TEXT,
    gauge=TEXT,
    value=TEXT,
    station=TEXT,
    hundredths=LENGTH,
    resolution=LENGTH,
    target=LENGTH,
    tolerance=LENGTH,
    at=st.floats(allow_nan=False, allow_infinity=False),
    wet=st.sampled_from(get_args(Wetness)),
)


def read_table(lines: list[str]) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO("".join(lines), newline=""), strict=True))


def of_cells(cells: dict[str, str]) -> CaptureRecord:
    """The capture that a row of the table tells of."""
    fields: dict[str, Any] = dict(cells)
    for name in ("supersedes", "superseded_by"):
        fields[name] = cells[name] or None
    fields["verdict"] = Verdict(fields["verdict"], int(fields.pop("verdict_amount")))
    return msgspec.convert(fields, CaptureRecord, strict=False)


def kept(tmp_path: Path) -> tuple[list[ReedRecord], list[CaptureRecord]]:
    with open_store(tmp_path / "s.db") as store:
        walk = begin_walk(store, AWKWARD)
        store.add_capture(
            capture(walk, hundredths=Decimal("45.5"), verdict=Verdict("take", 2)), b"{}"
        )
        store.add_capture(capture(walk, hundredths=Decimal("0.0001")), b"{}")
        return store.reeds(), store.captures()


def test_the_table_has_every_column_and_the_superseded_capture(tmp_path: Path) -> None:
    _, captures = kept(tmp_path)
    lines = list(export_csv(captures))
    assert lines[0] == ",".join(COLUMNS) + "\r\n"
    assert all(line.endswith("\r\n") for line in lines)
    first, second = read_table(lines)
    assert first["reed"] == AWKWARD
    assert (first["hundredths"], second["hundredths"]) == ("45.5", "0.0001")
    assert (first["verdict"], first["verdict_amount"]) == ("take", "2")
    assert (first["supersedes"], first["superseded_by"]) == ("", second["capture"])
    assert (second["supersedes"], second["superseded_by"]) == (first["capture"], "")


def test_the_columns_are_the_fields_of_a_capture() -> None:
    fields = list(CaptureRecord.__struct_fields__)
    fields.insert(fields.index("verdict") + 1, "verdict_amount")
    assert list(COLUMNS) == fields


@given(st.lists(CAPTURES, max_size=5))
def test_a_table_read_again_is_what_was_written(captures: list[CaptureRecord]) -> None:
    assert [of_cells(row) for row in read_table(list(export_csv(captures)))] == captures


@given(st.lists(CAPTURES, max_size=5))
def test_a_document_read_again_is_what_was_written(captures: list[CaptureRecord]) -> None:
    document = msgspec.json.decode(export_json([], captures), type=Document)
    assert list(document.captures) == captures


def test_the_document_holds_reeds_and_captures_with_exact_numbers(tmp_path: Path) -> None:
    reeds, captures = kept(tmp_path)
    text = export_json(reeds, captures)
    document = json.loads(text, parse_float=Decimal)
    assert text.endswith("}\n")
    assert document["format"] == 1
    assert [reed["name"] for reed in document["reeds"]] == [AWKWARD]
    first, second = document["captures"]
    assert (first["hundredths"], second["hundredths"]) == (Decimal("45.5"), Decimal("0.0001"))
    assert first["verdict"] == {"word": "take", "amount": 2}
    assert first["superseded_by"] == second["capture"]


def test_nothing_kept_is_a_header_and_empty_lists() -> None:
    assert list(export_csv([])) == [",".join(COLUMNS) + "\r\n"]
    assert json.loads(export_json([], [])) == {"format": 1, "reeds": [], "captures": []}
