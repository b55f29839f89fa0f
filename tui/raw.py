"""Bytes of a gauge as lines to read: begun anew where a frame seems to end, only the newest kept.

Pure: no clock, no I/O. Times are seconds on the hub's clock, and come in with the bytes.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Iterable, Iterator
from itertools import islice

import msgspec

SILENCE = 0.04
"""Seconds without a byte after which a line begins. An adapter may hold bytes back for 16 ms, so
that less would part a slow frame (from memory)."""

LONGEST = 128
"""Bytes in a line, where nothing ends it."""

KEPT = 400
"""Lines that are remembered."""

MOST_ACROSS = 32
"""Bytes in a row at most, however wide the screen."""

_START = 0x02
_PIECES = re.compile(rb"\x02?[^\x02\r\n]*(?:\r\n?|\n)|\x02?[^\x02\r\n]+|\x02")


class Line(msgspec.Struct, frozen=True):
    """What seems to be one frame, or a part of a long one."""

    at: float
    """When its first byte came."""
    data: bytes
    begins: int
    """How many bytes came before it."""


class Row(msgspec.Struct, frozen=True):
    """One row of the screen."""

    at: float | None
    """None for a row that only goes on with the line above it."""
    text: str
    hex: str
    begins: int
    """How many bytes came before it."""


class Lines:
    """The newest lines. A line ends after a carriage return or a line feed, before a start of text,
    after a silence, and where bytes are missing."""

    def __init__(self) -> None:
        self._lines: deque[Line] = deque(maxlen=KEPT)
        self._last_at: float | None = None
        self._over = True
        self.came = 0
        """Bytes taken in."""
        self.missed = 0
        """Bytes that never came here."""
        self.since = 0.0
        """When the first byte came; 0 before it."""

    def __reversed__(self) -> Iterator[Line]:
        return reversed(self._lines)

    def __iter__(self) -> Iterator[Line]:
        return iter(self._lines)

    def feed(self, data: bytes, at: float, missed: int = 0) -> None:
        """Take in bytes that came at a time, after so many that never came here."""
        if self._last_at is None:
            self.since = at
        elif at - self._last_at >= SILENCE:
            self._over = True
        if missed:
            self.missed += missed
            self._over = True
        self._last_at = at
        for piece in _PIECES.findall(data):
            self._add(piece, at)

    def _add(self, piece: bytes, at: float) -> None:
        while piece:
            last = None if self._over else self._lines[-1]
            if last is None or _ended(last.data, piece[0]):
                taken = piece[:LONGEST]
                self._lines.append(Line(at, taken, self.came))
                self._over = False
            else:
                taken = piece[: LONGEST - len(last.data)]
                self._lines[-1] = Line(last.at, last.data + taken, last.begins)
            self.came += len(taken)
            piece = piece[len(taken) :]


def _ended(data: bytes, coming: int) -> bool:
    """Whether a line is over before the byte that comes now."""
    if len(data) >= LONGEST or coming == _START:
        return True
    return data.endswith(b"\n") or (data.endswith(b"\r") and coming != ord("\n"))


class Shown:
    """Which bytes have been on the screen, to say how many never were."""

    def __init__(self) -> None:
        self._up_to = 0
        self.skipped = 0
        """Bytes that came, and were gone again before the next painting."""

    def show(self, first: int, end: int) -> None:
        """The bytes from number `first` up to `end` are on the screen."""
        if end > self._up_to:
            self.skipped += max(0, first - self._up_to)
            self._up_to = end


def sign(byte: int) -> str:
    """A byte as it is read: itself, the picture of a control character, or `\\xA3`."""
    if 0x20 <= byte < 0x7F:
        return chr(byte)
    if byte < 0x20:
        return chr(0x2400 + byte)
    return "␡" if byte == 0x7F else f"\\x{byte:02X}"


def measures(width: int) -> tuple[int, int]:
    """How many bytes go into a row of so many cells, and how many cells its text may take.

    A byte takes three cells in hexadecimal and at least one as text; two cells part the columns.
    """
    across = max(1, min(MOST_ACROSS, (width - 1) // 4))
    return across, max(len("\\xFF"), width - 2 - (3 * across - 1))


def newest(lines: Iterable[Line], count: int, across: int, cells: int, back: int = 0) -> list[Row]:
    """So many rows of lines that come newest first, but for the newest `back`; the oldest first.

    Where there are not so many rows, those that there are.
    """
    found = (row for line in lines for row in reversed(rows(line, across, cells)))
    return list(islice(found, back, back + count))[::-1]


def rows(line: Line, across: int, cells: int) -> list[Row]:
    """A line in rows of at most so many bytes, and so many cells of text."""
    found: list[Row] = []
    start = 0
    text = ""
    for index, byte in enumerate(line.data):
        if index - start == across or len(text) + len(sign(byte)) > cells:
            found.append(_row(line, start, index, text))
            start, text = index, ""
        text += sign(byte)
    found.append(_row(line, start, len(line.data), text))
    return found


def _row(line: Line, start: int, end: int, text: str) -> Row:
    at = None if start else line.at
    return Row(at, text, line.data[start:end].hex(" ").upper(), line.begins + start)
