"""The face that every link shows: open, read, write, close."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple, Protocol

from gaugelink.reading import GaugelinkError


class LinkError(GaugelinkError):
    """A link that cannot be opened, or was lost; the text says why and what to do."""


class Chunk(NamedTuple):
    """Bytes, and when they came, in seconds on the monotonic clock."""

    data: bytes
    at: float


class Link(Protocol):
    """A line to one indicator. Opened and closed many times in its life."""

    @property
    def port(self) -> str:
        """The name by which the system knows it."""
        ...

    async def open(self) -> None:
        """Open it; LinkError when that cannot be done now."""
        ...

    async def read(self) -> Chunk:
        """The next bytes, at least one; waits for them. LinkError once the line is lost."""
        ...

    async def write(self, data: bytes) -> None:
        """Send bytes; LinkError once the line is lost."""
        ...

    async def close(self) -> None:
        """Close it, whatever its state; never raises."""
        ...


class OverheardLink:
    """A link whose bytes somebody else is told of too, and that otherwise is the one inside."""

    def __init__(self, inner: Link, came: Callable[[Chunk], None]) -> None:
        self._inner = inner
        self._came = came

    @property
    def port(self) -> str:
        return self._inner.port

    async def open(self) -> None:
        await self._inner.open()

    async def read(self) -> Chunk:
        chunk = await self._inner.read()
        self._came(chunk)
        return chunk

    async def write(self, data: bytes) -> None:
        await self._inner.write(data)

    async def close(self) -> None:
        await self._inner.close()
