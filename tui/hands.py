"""Practice mode: moving the simulated spindle along with the walk, and scraping, in order."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from gaugelink.reading import GaugelinkError
from tui.plan import Practice


class Hands:
    """Does one thing after another, so that the spindle always ends where it was last wanted."""

    def __init__(self, practice: Practice, trouble: Callable[[str], None]) -> None:
        self._practice = practice
        self._trouble = trouble
        self._turn = asyncio.Lock()
        self._station: str | None = None

    def wants(self, station: str | None) -> bool:
        """Whether the spindle is not yet where the walk stands; remembered as if it went there."""
        changed = station != self._station
        self._station = station
        return changed

    async def go(self, station: str | None) -> None:
        """Set the spindle down at a station, or lift it when there is none."""
        async with self._turn:
            await self._try(station, None)

    async def scrape(self, station: str, zone: str, strokes: int) -> None:
        """Scrape, then set the spindle down anew."""
        async with self._turn:
            await self._try(station, (zone, strokes))

    async def _try(self, station: str | None, scraped: tuple[str, int] | None) -> None:
        try:
            if station is None:
                await self._practice.lift()
                return
            if scraped is not None:
                await self._practice.scrape(station, *scraped)
            await self._practice.place(station)
        except (GaugelinkError, OSError) as error:
            self._trouble(f"practice: {error}")
