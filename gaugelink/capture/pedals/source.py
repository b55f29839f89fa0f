"""The face that every pedal shows, and keeping it there: opened, read, and opened again when lost.

The keeper never gives up and never raises for what a pedal does: one that is not plugged in is
said to be away, and looked for with growing delays until it is there.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import NoReturn, Protocol

import msgspec

from gaugelink.capture.pedals.event import PedalError, PedalEvent


class Source(Protocol):
    """A device with pedals on it. Opened and closed many times in its life."""

    @property
    def name(self) -> str:
        """What the maker calls it; in every event of it."""
        ...

    async def open(self) -> None:
        """Open it; PedalError when that cannot be done now."""
        ...

    async def read(self) -> list[PedalEvent]:
        """The next events; waits for them. PedalError once it is lost."""
        ...

    async def close(self) -> None:
        """Close it, whatever its state; never raises."""
        ...


class SourceState(msgspec.Struct, frozen=True):
    """Whether a source is there."""

    source: str
    is_up: bool
    reason: str = ""
    """Why it is not, and what to do."""
    retry_in: float = 0.0
    """Seconds."""


class Delays(msgspec.Struct, frozen=True):
    """How soon a source that is away is looked for again; seconds."""

    first: float = 0.2
    growth: float = 1.6
    most: float = 3.0
    """No longer, or the maker would wonder whether the pedal just plugged in was noticed."""

    def after(self, failures: int) -> float:
        """The delay after that many failures in a row, 1 or more."""
        # Beyond a hundred it has long ceased to grow; a thousand would be no float any more.
        return min(self.most, self.first * self.growth ** min(failures - 1, 100))


async def keep(
    source: Source,
    heard: Callable[[list[PedalEvent]], None],
    told: Callable[[SourceState], None],
    delays: Delays | None = None,
) -> NoReturn:
    """Hand over what the source says and whether it is there; ends only by cancellation."""
    delays = delays or Delays()
    failures = 0
    while True:
        try:
            await source.open()
            told(SourceState(source.name, True))
            while True:
                heard(await source.read())
                failures = 0
        except PedalError as error:
            reason = str(error)
        finally:
            await source.close()
        failures += 1
        wait = delays.after(failures)
        told(SourceState(source.name, False, reason, wait))
        await asyncio.sleep(wait)
