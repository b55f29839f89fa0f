"""Lets cues be heard: each output says its own newest cue, and one that fails stops no other.

Every output has a queue and a task of its own, so that a tone never waits for a sentence. What is
offered is never waited for.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator, Callable, Collection, Sequence

from gaugelink.cues import queue
from gaugelink.cues.cue import Cue, CueError
from gaugelink.cues.output import Bell, Output
from gaugelink.cues.queue import CueQueue
from gaugelink.cues.settings import CueSettings
from gaugelink.cues.tones import length, score

LONGEST = 20.0
"""Seconds after which a cue is given up that still sounds; the slowest sentence is over by then."""

BREATH = 0.05
"""Seconds between a cue's tones and its words."""


class Lane:
    """One output with its queue."""

    def __init__(
        self,
        output: Output,
        kinds: Collection[str],
        trouble: Callable[[str], None],
        clock: Callable[[], float] = time.monotonic,
        lead: Callable[[Cue], float] = lambda cue: 0.0,
    ) -> None:
        """`kinds` are those that it says; `trouble` hears, once each, why something was not heard;
        `lead` gives the seconds that it leaves to others before it says a cue."""
        self._output = output
        self._kinds = frozenset(kinds)
        self._trouble = trouble
        self._clock = clock
        self._lead = lead
        self._queue = CueQueue()
        self._saying: asyncio.Task[None] | None = None
        self._offered = asyncio.Event()
        self._quiet = asyncio.Event()
        self._quiet.set()
        self._told = ""
        self._opened = asyncio.Event()
        self.failed = False
        """It could not be opened, or has ended, and says nothing any more."""

    def offer(self, cue: Cue) -> None:
        """Say a cue as soon as it is its turn, if it is still worth it then."""
        if self.failed or cue.kind not in self._kinds:
            return
        self._queue = queue.offer(self._queue, cue, self._clock())
        self._quiet.clear()
        self._offered.set()
        if queue.cuts(self._queue):
            self._cut()

    async def opened(self) -> None:
        """Return once the output is open, or cannot be."""
        await self._opened.wait()

    async def quiet(self) -> None:
        """Return once nothing sounds or waits."""
        await self._quiet.wait()

    async def run(self) -> None:
        """Say what is offered until cancelled; returns only when the output cannot be opened."""
        try:
            await self._output.open()
            self._opened.set()
            while True:
                await self._offered.wait()
                self._offered.clear()
                await self._say_all()
                self._quiet.set()
        except CueError as error:
            self._trouble(str(error))
        finally:
            self.failed = True
            self._queue = CueQueue()
            self._opened.set()
            self._quiet.set()
            await self._output.close()

    async def _say_all(self) -> None:
        while True:
            self._queue = queue.begin(self._queue, self._clock())
            cue = self._queue.sounding
            if cue is None:
                return
            self._saying = asyncio.create_task(self._say(cue))
            try:
                await asyncio.wait({self._saying})
            finally:
                # The lane itself may be cancelled: what it says does not outlive it.
                self._cut()
                await asyncio.wait({self._saying})
                saying, self._saying = self._saying, None
            if not saying.cancelled():
                self._judge(saying)

    def _cut(self) -> None:
        # Once only: a second time it would be torn from letting go of what it holds.
        if self._saying is not None and not self._saying.cancelling():
            self._saying.cancel()

    async def _say(self, cue: Cue) -> None:
        await asyncio.sleep(self._lead(cue))
        try:
            async with asyncio.timeout(LONGEST):
                await self._output.say(cue)
        except TimeoutError as error:
            raise CueError(f"a cue still sounded after {LONGEST:g} s and was cut off") from error

    def _judge(self, said: asyncio.Task[None]) -> None:
        """Tell what kept a cue from being heard, but not again for each that follows."""
        try:
            said.result()
        except CueError as error:
            if str(error) != self._told:
                self._told = str(error)
                self._trouble(self._told)
        else:
            self._told = ""


class Speaker:
    """All outputs that are on."""

    def __init__(self, lanes: Sequence[Lane], which: Collection[str]) -> None:
        self._lanes = lanes
        self._which = frozenset(which)

    def offer(self, cue: Cue) -> None:
        """Let a cue be heard by every output that says such; never waits and never raises."""
        if cue.kind in self._which:
            for lane in self._lanes:
                lane.offer(cue)

    async def opened(self) -> None:
        """Return once every output is open, or cannot be."""
        for lane in self._lanes:
            await lane.opened()

    async def quiet(self) -> None:
        """Return once nothing sounds or waits anywhere."""
        for lane in self._lanes:
            await lane.quiet()


@contextlib.asynccontextmanager
async def speaking(
    settings: CueSettings,
    trouble: Callable[[str], None],
    ring: Callable[[], None] | None = None,
    clock: Callable[[], float] = time.monotonic,
) -> AsyncIterator[Speaker]:
    """A speaker with the outputs that the settings turn on, until the block is left.

    `trouble` is told in a sentence what cannot be heard; `ring` rings the bell where the terminal
    is not ours to write to.
    """
    lanes = _lanes(settings, trouble, ring, clock)
    tasks = [asyncio.create_task(lane.run()) for lane in lanes]
    try:
        yield Speaker(lanes, settings.which)
    finally:
        for task in tasks:
            task.cancel()
        ended = await asyncio.gather(*tasks, return_exceptions=True)
    for error in ended:
        # A lane ends by being cancelled, or has told its trouble; all else is a fault of ours.
        if isinstance(error, Exception):
            raise error


def _lanes(
    settings: CueSettings,
    trouble: Callable[[str], None],
    ring: Callable[[], None] | None,
    clock: Callable[[], float],
) -> list[Lane]:
    found = []
    if settings.bell:
        found.append(Lane(Bell(ring), settings.rings, trouble, clock))
    tones: Lane | None = None
    if settings.tones:
        from gaugelink.cues.sound import Tones

        tones = Lane(Tones(settings), settings.which, trouble, clock)
        found.append(tones)
    if settings.voice:
        from gaugelink.cues.voice import Voice

        def lead(cue: Cue) -> float:
            heard = tones is not None and not tones.failed
            return length(score(cue)) + BREATH if heard else 0.0

        found.append(Lane(Voice(settings), settings.which, trouble, clock, lead))
    return found
