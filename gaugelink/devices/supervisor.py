"""Keeps one gauge's link alive: opens it, reads it, asks when it must be asked, heals it.

The supervisor never gives up and never raises for what a line does: a lost link is said at once,
tried again with growing delays, and read on when it is back.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable
from typing import Literal, Protocol

import msgspec

from gaugelink.devices.description import Ask
from gaugelink.devices.link import Chunk, Link, LinkError
from gaugelink.devices.pipeline import Pipeline
from gaugelink.reading import Reading
from gaugelink.together import until_one_ends

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
        # Beyond a hundred it has long ceased to grow; a thousand would be no float any more.
        return min(self.most, self.first * self.growth ** min(failures - 1, 100))


SENSELESS_FOR = 3.0
"""Seconds in which nothing that came made sense, after which the link is taken for garbled: noise
is shorter, and a maker who waits longer measures nothing."""

SENSELESS_BYTES = 200
"""Bytes that must have come by then: several frames of any format."""

LONGEST_WAIT = 5.0
"""Seconds that an indicator may take to answer, however slow; as long as the longest retry."""


class Garbled(LinkError):
    """Bytes come, but none that make sense by the description."""


class Sense:
    """Whether what comes still makes sense. Pure: times come with the bytes."""

    def __init__(self, now: float) -> None:
        self._since = now
        self._bytes = 0
        self._made = 0

    def lost(self, chunk: Chunk, made: int) -> bool:
        """Whether it makes none any more, `made` being the frames so far that did."""
        if made != self._made:
            self._made, self._since, self._bytes = made, chunk.at, 0
            return False
        self._bytes += len(chunk.data)
        return self._bytes >= SENSELESS_BYTES and chunk.at - self._since >= SENSELESS_FOR


class Sink(Protocol):
    """Who hears of a gauge."""

    def heard(self, readings: list[Reading]) -> None:
        """Readings came, in order."""
        ...

    def link(self, state: LinkState, reason: str, retry_in: float) -> None:
        """The link's state changed."""
        ...


class Supervisor:
    """Runs one gauge until it is cancelled.

    `came` is called with the bytes as they come, whatever will be made of them.
    """

    def __init__(
        self,
        link: Link,
        pipeline: Pipeline,
        sink: Sink,
        retry: Retry | None = None,
        clock: Callable[[], float] = time.monotonic,
        came: Callable[[Chunk], None] = lambda chunk: None,
    ) -> None:
        self._link = link
        self._pipeline = pipeline
        self._sink = sink
        self._retry = retry or Retry()
        self._clock = clock
        self._came = came
        self._answered = asyncio.Event()
        self._answers = 0
        """Frames since the last question, refused ones too."""
        self.opened = 0
        """How often the link has been opened."""

    async def run(self) -> None:
        """Open, read, and open again for ever.

        Ends only by cancellation, or with Garbled when what comes makes no sense any more.
        """
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
        ask = self._pipeline.description.ask
        try:
            await until_one_ends(self._read(), *([self._ask(ask)] if ask is not None else []))
        except Garbled:
            raise
        except LinkError as error:
            return str(error)
        finally:
            await self._link.close()
        raise AssertionError("reading and asking end only with an error")

    async def _read(self) -> None:
        pipeline = self._pipeline
        sense = Sense(self._clock())
        while True:
            chunk = await self._next(pipeline.patience)
            before = pipeline.seq + pipeline.refused.total()
            if chunk is None:
                readings = pipeline.quiet(self._clock())
            else:
                self._came(chunk)
                readings = pipeline.feed(chunk.data, chunk.at)
            if answers := pipeline.seq + pipeline.refused.total() - before:
                self._answers += answers
                self._answered.set()
            if readings:
                self._sink.heard(readings)
            if chunk is not None and sense.lost(chunk, pipeline.sense):
                raise Garbled(
                    f"{self._link.port}: bytes come, but they make no sense as "
                    f"{pipeline.description.name}; was its speed or format changed? teach it "
                    f"anew: gaugelink teach {self._link.port}"
                )
            # A line that always has more to say must let the others have their turn.
            await asyncio.sleep(0)

    async def _next(self, patience: float | None) -> Chunk | None:
        """The next bytes, None when none came for `patience` seconds."""
        # Tried again at once: what came in time to a loop that was busy was no silence.
        for seconds in (patience, 0.0):
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(seconds):
                    return await self._link.read()
        return None

    async def _ask(self, ask: Ask) -> None:
        """Ask, wait for the answer or its time-out, and ask again: never two questions at once.

        An answer that comes after its time-out shows an indicator slower than described. Then the
        answers still owed are waited for, and it is given more time from now on: else every late
        answer would bring on one more question, and it would fall ever further behind.
        """
        question = ask.send.encode("latin-1")
        wait, owed = ask.wait, 0
        while True:
            self._answers = 0
            asked = self._clock()
            await self._link.write(question)
            owed += 1
            if not await self._answered_by(1, wait):
                continue
            if owed > 1:
                wait = max(wait, min(2 * wait, LONGEST_WAIT))
                for count in range(2, owed + 1):
                    if not await self._answered_by(count, wait):
                        break  # the rest of them were lost, not late
            owed = 0
            await asyncio.sleep(max(0.0, ask.every - (self._clock() - asked)))

    async def _answered_by(self, count: int, seconds: float) -> bool:
        """Whether so many answers have come since the last question, or come within `seconds`."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                while self._answers < count:
                    self._answered.clear()
                    await self._answered.wait()
                return True
        return False
