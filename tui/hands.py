"""Practice mode: moving the simulated spindle along with the walk, and scraping, in order."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from typing import Any

from gaugelink.reading import GaugelinkError
from tui.plan import Practice


class Hands:
    """Does one thing after another, so that the spindle always ends where it was last wanted."""

    def __init__(self, practice: Practice, trouble: Callable[[str], None]) -> None:
        self._practice = practice
        self._trouble = trouble
        self._turn = asyncio.Lock()
        self._station: str | None = None
        self.lifted = True
        """Whether the spindle is up, as far as it was told."""

    def wants(self, station: str | None) -> bool:
        """Whether the spindle is not yet where the walk stands; remembered as if it went there."""
        changed = station != self._station
        self._station = station
        return changed

    async def go(self) -> None:
        """Set the spindle down anew where the walk stands, or lift it when it stands nowhere."""
        async with self._turn:
            await self._try(self._put(self._station))

    async def lift(self) -> None:
        """Lift the spindle, or set it down again when it is up."""
        async with self._turn:
            await self._try(self._put(self._station if self.lifted else None))

    async def scrape(self, station: str, zone: str, strokes: int) -> bool:
        """Scrape, then set the spindle down anew where the walk stands; whether it was done."""
        async with self._turn:
            scraped = await self._try(self._practice.scrape(station, zone, strokes))
            return scraped and await self._try(self._put(self._station))

    async def _put(self, station: str | None) -> None:
        if station is None:
            await self._practice.lift()
        else:
            await self._practice.place(station)
        self.lifted = station is None

    async def _try(self, act: Coroutine[Any, Any, None]) -> bool:
        try:
            await act
        except (GaugelinkError, OSError) as error:
            self._trouble(f"practice: {error}")
            return False
        return True
