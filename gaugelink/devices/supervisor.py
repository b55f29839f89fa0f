"""Keeps one gauge's link alive: opens it, reads it, asks when it must be asked, heals it.

The supervisor never gives up and never raises for what a line does: a lost link is said at once,
tried again with growing delays, and read on when it is back.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from typing import Literal, Protocol

import msgspec

from gaugelink.devices.description import Ask
from gaugelink.devices.link import Link, LinkError
from gaugelink.devices.pipeline import Pipeline
from gaugelink.reading import Reading

LinkState = Literal["opening", "up", "down"]


class Retry(msgspec.Struct, frozen=True):
    """How soon a lost link is tried again; seconds."""

    first: float = 0.2
    """Short: most losses are a plug that was moved and is back at once."""
    growth: float = 1.6
    most: float = 5.0
    """No longer, or the maker would wait beside an indicator that is plainly on."""

    def after(self, failures: int) -> float:
        """The delay after that many failures in a row, 1 or more."""
        return min(self.most, self.first * self.growth ** (failures - 1))


class Sink(Protocol):
    """Who hears of a gauge."""

    def heard(self, readings: list[Reading]) -> None:
        """Readings came, in order."""
        ...

    def link(self, state: LinkState, reason: str, retry_in: float) -> None:
        """The link's state changed."""
        ...


class Supervisor:
    """Runs one gauge until it is cancelled."""

    def __init__(
        self,
        link: Link,
        pipeline: Pipeline,
        sink: Sink,
        retry: Retry | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._link = link
        self._pipeline = pipeline
        self._sink = sink
        self._retry = retry or Retry()
        self._clock = clock
        self._answered = asyncio.Event()
        self.opened = 0
        """How often the link has been opened."""

    async def run(self) -> None:
        """Open, read, and open again for ever; ends only by cancellation."""
        failures = 0
        while True:
            before = self._pipeline.seq
            reason = await self._once()
            # A link that gave readings was good: the next try starts with the shortest delay.
            failures = 1 if self._pipeline.seq > before else failures + 1
            wait = self._retry.after(failures)
            self._sink.link("down", reason, wait)
            await asyncio.sleep(wait)

    async def _once(self) -> str:
        """Hold the link open as long as it lasts; returns why it ended."""
        self._sink.link("opening", "", 0.0)
        try:
            await self._link.open()
        except LinkError as error:
            return str(error)
        self.opened += 1
        self._pipeline.reset()
        self._sink.link("up", "", 0.0)
        lost = ""
        try:
            async with asyncio.TaskGroup() as tasks:
                tasks.create_task(self._read())
                if (ask := self._pipeline.description.ask) is not None:
                    tasks.create_task(self._ask(ask))
        except* LinkError as group:
            lost = str(group.exceptions[0])
        finally:
            await self._link.close()
        return lost

    async def _read(self) -> None:
        while True:
            try:
                async with asyncio.timeout(self._pipeline.patience):
                    chunk = await self._link.read()
            except TimeoutError:
                readings = self._pipeline.quiet(self._clock())
            else:
                readings = self._pipeline.feed(chunk.data, chunk.at)
            if readings:
                self._answered.set()
                self._sink.heard(readings)

    async def _ask(self, ask: Ask) -> None:
        """Ask, wait for the answer or its time-out, and ask again: never two questions at once."""
        question = ask.send.encode("latin-1")
        while True:
            self._answered.clear()
            asked = self._clock()
            await self._link.write(question)
            try:
                async with asyncio.timeout(ask.wait):
                    await self._answered.wait()
            except TimeoutError:
                continue
            await asyncio.sleep(max(0.0, ask.every - (self._clock() - asked)))
