"""A recording as a link: what was recorded comes again, at its speed or as fast as it is read."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from pathlib import Path

from gaugelink.devices.link import Chunk, LinkError
from gaugelink.devices.recording import Entry, RecordingError, load

PREFIX = "replay:"
"""Ports that begin with it name a recording: `replay:FILE`, or `replay:FILE@0` for no waiting."""


class ReplayEnded(LinkError):
    """The recording has no more entries."""


class ReplayLink:
    """Plays a recording, from where it was when the link was last closed.

    `speed` is how much faster than recorded it plays; 0 waits for nothing. The times of the chunks
    are the recorded ones at any speed, from the moment of opening, so that settling sees what it
    saw. What a hub sends is not compared with what was sent then: an answer comes at its time.
    """

    def __init__(
        self, file: Path, speed: float = 1.0, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.file = file
        self._speed = speed
        self._clock = clock
        self._entries: list[Entry] | None = None
        self._next = 0
        self._opened = 0.0
        self._from = 0.0

    @property
    def port(self) -> str:
        return f"{PREFIX}{self.file}"

    @property
    def ended(self) -> bool:
        """Whether everything has been played."""
        return self._entries is not None and self._next >= len(self._entries)

    async def open(self) -> None:
        """Go on playing; LinkError when the file cannot be read, ReplayEnded at its end."""
        if self._entries is None:
            try:
                self._entries = (await asyncio.to_thread(load, self.file)).entries
            except RecordingError as error:
                raise LinkError(str(error)) from error
        if self.ended:
            raise self._ended()
        self._opened = self._clock()
        self._from = self._entries[self._next].t

    async def read(self) -> Chunk:
        assert self._entries is not None
        while self._next < len(self._entries):
            entry = self._entries[self._next]
            after = entry.t - self._from
            if self._speed > 0:
                wait = self._opened + after / self._speed - self._clock()
                await asyncio.sleep(max(0.0, wait))
            else:
                await asyncio.sleep(0)
            self._next += 1
            if entry.lost is not None:
                raise LinkError(entry.lost)
            if entry.got is not None:
                return Chunk(entry.got.encode("latin-1"), self._opened + after)
        raise self._ended()

    async def write(self, data: bytes) -> None:
        """Nothing hears it: the answers were recorded."""

    async def close(self) -> None:
        """Stays where it is."""

    def _ended(self) -> ReplayEnded:
        return ReplayEnded(f"{self.port}: the recording has ended")


def replay_of(port: str) -> ReplayLink:
    """The link that a `replay:` port names; LinkError when its speed is no number."""
    name = port.removeprefix(PREFIX)
    file, at, speed = name.rpartition("@")
    if not at:
        return ReplayLink(Path(name))
    try:
        factor = float(speed)
    except ValueError as error:
        raise LinkError(f"{port}: after @ comes how much faster it plays, or 0") from error
    return ReplayLink(Path(file), factor)
