"""All the pedals of one bench: their sources kept open, and what is meant by them told in time."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Iterable
from typing import NoReturn

from gaugelink.capture.gestures import Gestures, Meant
from gaugelink.capture.pedals.event import PedalEvent
from gaugelink.capture.pedals.mapping import Context
from gaugelink.capture.pedals.source import Delays, Source, SourceState, keep


class PedalBoard:
    """Reads gestures from its sources, and from events that are fed by hand.

    `does` is told what is meant the moment it is known, `told` which sources come and go. `clock`
    is the monotonic clock that the events are dated by.
    """

    def __init__(
        self,
        gestures: Gestures,
        does: Callable[[Meant], None],
        told: Callable[[SourceState], None],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._gestures = gestures
        self._does = does
        self._told = told
        self._clock = clock
        self._timer: asyncio.TimerHandle | None = None

    async def run(self, sources: Iterable[Source], delays: Delays | None = None) -> NoReturn:
        """Keep the sources open and listen to them; ends only by cancellation."""
        try:
            async with asyncio.TaskGroup() as tasks:
                for source in sources:
                    tasks.create_task(keep(source, self._heard, self._changed, delays))
                # Without any source there are still the events that are fed by hand.
                await asyncio.Event().wait()
        finally:
            self._rest()
        raise AssertionError("a board ends only by cancellation")

    def feed(self, event: PedalEvent) -> None:
        """A press or release from elsewhere: a key in the terminal, a pushed button."""
        self._heard([event])

    def turn_to(self, context: Context) -> None:
        """Read presses as at a walk, or as in a list, from now on."""
        self._gestures.turn_to(context)
        self._arm()

    def _heard(self, events: list[PedalEvent]) -> None:
        for event in events:
            self._do(self._gestures.feed(event))
        self._arm()

    def _changed(self, state: SourceState) -> None:
        if not state.is_up:
            self._gestures.forget(state.source)
            self._arm()
        self._told(state)

    def _due(self) -> None:
        self._timer = None
        self._do(self._gestures.due(self._clock()))
        self._arm()

    def _do(self, found: list[Meant]) -> None:
        for each in found:
            self._does(each)

    def _arm(self) -> None:
        """Wait for the moment at which a press will be known for what it is."""
        self._rest()
        deadline = self._gestures.deadline
        if deadline is not None:
            wait = max(0.0, deadline - self._clock())
            self._timer = asyncio.get_running_loop().call_later(wait, self._due)

    def _rest(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
