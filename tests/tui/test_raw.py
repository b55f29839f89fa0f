"""Bytes as lines to read."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tui.raw import KEPT, LONGEST, SILENCE, Line, Lines, Shown, measures, newest, rows, sign


def lines(*fed: bytes, at: float = 1.0) -> list[bytes]:
    """The lines that chunks at one time make."""
    found = Lines()
    for data in fed:
        found.feed(data, at)
    return [line.data for line in found]


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"+1.0\r+2.0\r", [b"+1.0\r", b"+2.0\r"]),
        (b"+1.0\r\n+2.0\r\n", [b"+1.0\r\n", b"+2.0\r\n"]),
        (b"+1.0\n+2.0", [b"+1.0\n", b"+2.0"]),
        (b"\x021.0\x03K\x022.0\x03L", [b"\x021.0\x03K", b"\x022.0\x03L"]),
        (b"\r\r\n\n", [b"\r", b"\r\n", b"\n"]),
    ],
)
def test_a_line_ends_where_a_frame_seems_to(data: bytes, found: list[bytes]) -> None:
    assert lines(data) == found


def test_a_line_goes_on_in_the_next_chunk() -> None:
    assert lines(b"+1", b".0\r", b"\n+2") == [b"+1.0\r\n", b"+2"]


def test_a_silence_begins_a_line() -> None:
    found = Lines()
    found.feed(b"\x10\x20", 5.0)
    found.feed(b"\x30", 5.0 + SILENCE / 2)
    found.feed(b"\x40", 5.0 + 2 * SILENCE)
    assert [line.data for line in found] == [b"\x10\x20\x30", b"\x40"]
    assert [line.at for line in found] == [5.0, 5.0 + 2 * SILENCE]
    assert found.since == 5.0


def test_missing_bytes_begin_a_line_and_are_counted() -> None:
    found = Lines()
    found.feed(b"+1.", 1.0)
    found.feed(b"4\r", 1.0, missed=7)
    assert [line.data for line in found] == [b"+1.", b"4\r"]
    assert (found.came, found.missed) == (5, 7)


@given(st.binary(max_size=600), st.lists(st.integers(0, 600)))
def test_how_bytes_are_chunked_changes_nothing(data: bytes, cuts: list[int]) -> None:
    edges = [0, *sorted(cut for cut in cuts if cut < len(data)), len(data)]
    chunks = [data[start:end] for start, end in pairwise(edges)]
    assert lines(*chunks) == lines(data)


@given(st.lists(st.tuples(st.binary(max_size=3000), st.floats(0, 1), st.integers(0, 9))))
def test_the_newest_bytes_are_kept_whole_and_never_more_than_can_be(
    chunks: list[tuple[bytes, float, int]],
) -> None:
    found = Lines()
    at = 0.0
    for data, pause, missed in chunks:
        at += pause
        found.feed(data, at, missed)
    every = b"".join(data for data, _, _ in chunks)
    kept = list(found)
    joined = b"".join(line.data for line in kept)
    assert every.endswith(joined)
    assert joined == every or len(kept) == KEPT
    assert all(0 < len(line.data) <= LONGEST for line in kept)
    assert found.came == len(every)
    for line, after in pairwise(kept):
        assert after.begins == line.begins + len(line.data)
        assert after.at >= line.at


@pytest.mark.parametrize(
    ("byte", "read"),
    [
        (0x0D, "␍"),
        (0x0A, "␊"),
        (0x02, "␂"),
        (0x03, "␃"),
        (0x00, "␀"),
        (0x7F, "␡"),
        (0xA3, "\\xA3"),
        (ord("+"), "+"),
        (ord(" "), " "),
    ],
)
def test_every_byte_can_be_read(byte: int, read: str) -> None:
    assert sign(byte) == read


@given(st.binary(min_size=1, max_size=LONGEST), st.integers(1, 40), st.integers(4, 60))
def test_rows_hold_every_byte_once_and_fit(data: bytes, across: int, cells: int) -> None:
    found = rows(Line(1.0, data, 10), across, cells)
    assert bytes.fromhex("".join(row.hex for row in found)) == data
    assert "".join(row.text for row in found) == "".join(map(sign, data))
    assert all(len(row.text) <= cells and len(row.hex) <= 3 * across - 1 for row in found)
    assert [row.at for row in found] == [1.0, *[None] * (len(found) - 1)]
    assert found[0].begins == 10
    for row, after in pairwise(found):
        assert after.begins == row.begins + len(bytes.fromhex(row.hex))


@pytest.mark.parametrize("width", [20, 68, 108, 200])
def test_a_row_is_as_wide_as_the_screen_at_most(width: int) -> None:
    across, cells = measures(width)
    assert cells + 2 + 3 * across - 1 == width
    assert cells >= across


def test_the_newest_rows_are_taken_and_those_before_them() -> None:
    found = Lines()
    for number in range(10):
        found.feed(b"%d\r" % number, 1.0)
    newest_first = list(reversed(found))
    assert [row.text for row in newest(newest_first, 3, 8, 8)] == ["7␍", "8␍", "9␍"]
    assert [row.text for row in newest(newest_first, 3, 8, 8, back=2)] == ["5␍", "6␍", "7␍"]
    assert [row.text for row in newest(newest_first, 3, 8, 8, back=8)] == ["0␍", "1␍"]
    assert newest(newest_first, 0, 8, 8) == []


def test_bytes_that_were_never_on_the_screen_are_counted_once() -> None:
    shown = Shown()
    shown.show(0, 100)
    assert shown.skipped == 0
    shown.show(60, 120)
    assert shown.skipped == 0
    shown.show(200, 250)
    assert shown.skipped == 80
    shown.show(0, 250)
    assert shown.skipped == 80
