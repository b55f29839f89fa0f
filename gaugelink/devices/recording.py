"""Recorded lines: an indicator's raw bytes with their times, in a file that is a whole bug report.

The file is text, one JSON value a line. The first says what was recorded; each other says what
happened and when, `t` in seconds from the first byte:

    {"recording": 1, "port": "/dev/ttyUSB0", "description": "bare-decimal-lf", "line": "9600 8N1"}
    {"t": 0.0, "open": true}
    {"t": 0.013, "got": "0.430\\n"}
    {"t": 0.5, "sent": "?\\r"}
    {"t": 9.1, "lost": "/dev/ttyUSB0: the line was lost"}

Bytes are written as text of which each character stands for the byte of its number (Latin-1), so
that a person can read what an indicator says and any JSON library gives the bytes back.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import IO, TypeVar

import msgspec

from gaugelink.devices.link import Chunk, Link, LinkError
from gaugelink.reading import GaugelinkError

T = TypeVar("T")

FORMAT = 1

LONGEST = 64 * 1024 * 1024
"""Bytes of a file that is read whole: days of a slow indicator, hours of a fast one."""


class RecordingError(GaugelinkError):
    """A recording that cannot be read; the text names the file, the line and the fault."""


class Header(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What was recorded."""

    recording: int
    port: str
    description: str = ""
    """The description's name, empty when it was not known."""
    line: str = ""
    """The line's settings in the usual short form."""
    note: str = ""


class Entry(msgspec.Struct, frozen=True, omit_defaults=True, forbid_unknown_fields=True):
    """One thing that happened; exactly one of the fields after `t` is set."""

    t: float
    """Seconds from the first byte."""
    got: str | None = None
    sent: str | None = None
    open: bool = False
    lost: str | None = None


class Recording(msgspec.Struct, frozen=True):
    """A recording, whole."""

    header: Header
    entries: list[Entry]

    def chunks(self) -> Iterator[Chunk]:
        """What came, with its times."""
        for entry in self.entries:
            if entry.got is not None:
                yield Chunk(entry.got.encode("latin-1"), entry.t)


def parse(lines: Iterable[str], source: str) -> Recording:
    """A recording from its lines; RecordingError names `source`, the line and the fault.

    A last line that was cut off, as when the recording program was killed, is left out.
    """
    numbered = [(number, line) for number, line in enumerate(lines, 1) if line.strip()]
    if not numbered:
        raise RecordingError(f"{source}: is empty, not a recording")
    header = _decode(numbered[0], Header, source)
    if header.recording != FORMAT:
        raise RecordingError(
            f"{source}: is a recording of format {header.recording}; this gaugelink reads {FORMAT}"
        )
    entries: list[Entry] = []
    for number, line in numbered[1:]:
        if not line.endswith("\n") and number == numbered[-1][0]:
            break
        entry = _decode((number, line), Entry, source)
        if entry.t < (entries[-1].t if entries else 0.0):
            raise RecordingError(f"{source}: line {number}: t goes back")
        if any(ord(letter) > 255 for letter in (entry.got or "") + (entry.sent or "")):
            raise RecordingError(f"{source}: line {number}: a character stands for no byte")
        entries.append(entry)
    return Recording(header, entries)


def _decode(numbered: tuple[int, str], kind: type[T], source: str) -> T:
    number, line = numbered
    try:
        return msgspec.json.decode(line, type=kind)
    except msgspec.DecodeError as error:
        raise RecordingError(f"{source}: line {number}: {error}") from error


def load(path: Path) -> Recording:
    """The recording in a file; RecordingError when it cannot be read."""
    try:
        if path.stat().st_size > LONGEST:
            raise RecordingError(f"{path}: is larger than {LONGEST >> 20} MiB: cut it first")
        with path.open(encoding="utf-8", newline="\n") as file:
            return parse(file, str(path))
    except (OSError, UnicodeDecodeError) as error:
        raise RecordingError(f"{path}: cannot be read: {error}") from error


class RecordingLink:
    """A link that writes down what another one gives, and otherwise is that one.

    Each entry is handed to the system at once, so that a crash of ours loses nothing.
    """

    def __init__(self, inner: Link, file: IO[str], header: Header) -> None:
        self._inner = inner
        self._file = file
        self._start: float | None = None
        self._last = 0.0
        self._write_line(msgspec.json.encode(header))

    @property
    def port(self) -> str:
        return self._inner.port

    async def open(self) -> None:
        await self._inner.open()
        self._write(Entry(self._last, open=True))

    async def read(self) -> Chunk:
        try:
            chunk = await self._inner.read()
        except LinkError as error:
            self._write(Entry(self._last, lost=str(error)))
            raise
        if self._start is None:
            self._start = chunk.at
        self._last = max(self._last, round(chunk.at - self._start, 6))
        self._write(Entry(self._last, got=chunk.data.decode("latin-1")))
        return chunk

    async def write(self, data: bytes) -> None:
        await self._inner.write(data)
        self._write(Entry(self._last, sent=data.decode("latin-1")))

    async def close(self) -> None:
        await self._inner.close()

    def _write(self, entry: Entry) -> None:
        self._write_line(msgspec.json.encode(entry))

    def _write_line(self, line: bytes) -> None:
        try:
            self._file.write(line.decode() + "\n")
            self._file.flush()
        except OSError as error:
            raise RecordingError(f"the recording cannot be written: {error}") from error
