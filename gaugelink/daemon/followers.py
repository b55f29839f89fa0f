"""Those who follow the hub: each gets every event, and of readings what it can keep up with."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Iterable
from typing import Protocol

import msgspec

from gaugelink.daemon.messages import Event, RawEvent, ReadingEvent

MOST_RAW = 4096
"""Bytes of each gauge that wait for a slow follower: more than a screen shows."""


class Mailbox:
    """What waits for a slow follower, in order: all events, and the newest reading of each gauge.

    A reading that was never taken out is replaced by the next of its gauge, which says in `missed`
    how many it stands for. One that was pushed is an event like any other: somebody's hand sent
    it, and no other stands for it. Raw bytes are joined, and of too many the newest are kept.
    Pure: no clock, no I/O.
    """

    def __init__(self) -> None:
        self._events: deque[Event] = deque()
        self._newest: dict[str, ReadingEvent] = {}
        self._missed: dict[str, int] = {}
        self._raw: dict[str, RawEvent] = {}
        self.missed = 0
        """Readings replaced unseen, over all gauges and all time."""

    def __len__(self) -> int:
        return len(self._events) + len(self._newest) + len(self._raw)

    def put(self, event: Event) -> None:
        """Add an event, or a reading in place of the one of the same gauge that waits."""
        if isinstance(event, RawEvent):
            self._put_raw(event)
        elif not isinstance(event, ReadingEvent) or event.pushed:
            self._events.append(event)
        else:
            if event.gauge in self._newest:
                self._missed[event.gauge] = self._missed.get(event.gauge, 0) + 1
                self.missed += 1
            self._newest[event.gauge] = event

    def _put_raw(self, event: RawEvent) -> None:
        waiting = self._raw.get(event.gauge)
        if waiting is not None:
            joined = waiting.hex + event.hex
            over = max(0, len(joined) // 2 - MOST_RAW)
            event = msgspec.structs.replace(
                event, hex=joined[2 * over :], missed=waiting.missed + event.missed + over
            )
        self._raw[event.gauge] = event

    def take(self) -> list[Event]:
        """Everything that waits: events in their order, then raw bytes, then newest readings."""
        events: list[Event] = [*self._events, *self._raw.values()]
        self._events.clear()
        self._raw.clear()
        for gauge, reading in self._newest.items():
            missed = self._missed.pop(gauge, 0)
            events.append(
                msgspec.structs.replace(reading, missed=reading.missed + missed)
                if missed
                else reading
            )
        self._newest.clear()
        return events


class Interest:
    """Which events a follower asked for: none until it asks."""

    def __init__(self) -> None:
        self.following = False
        self.readings = False
        self.raw = False
        self.gauges: frozenset[str] = frozenset()

    def ask(self, readings: bool, gauges: Iterable[str], raw: bool = False) -> None:
        """Events from now on, with the readings of these gauges, or of all if there are none.

        `raw` asks for their bytes too.
        """
        self.following = True
        self.readings = readings
        self.raw = raw
        self.gauges = frozenset(gauges)

    def covers(self, event: Event) -> bool:
        """Whether the event is among those asked for."""
        if not self.following:
            return False
        # Asked for every follower of every reading, so without a union of types to be made first.
        if isinstance(event, ReadingEvent):
            return self.readings and (not self.gauges or event.gauge in self.gauges)
        if isinstance(event, RawEvent):
            return self.raw and (not self.gauges or event.gauge in self.gauges)
        return True

    def renamed(self, name: str, to: str) -> None:
        """A gauge goes by another name: who asked for it goes on getting it."""
        self.gauges = frozenset(to if each == name else each for each in self.gauges)


class Follower(Protocol):
    """One follower as the hub sees it."""

    @property
    def interest(self) -> Interest:
        """Which events it asked for."""
        ...

    def deliver(self, event: Event, line: bytes | None) -> None:
        """Give it an event; never waits and never raises. `line` is the event encoded, if it is."""
        ...

    @property
    def needs_line(self) -> bool:
        """Whether it sends encoded lines."""
        ...

    @property
    def missed(self) -> int:
        """Readings that it did not get."""
        ...


class QueueFollower:
    """A follower in the hub's own process."""

    needs_line = False

    def __init__(self) -> None:
        self.interest = Interest()
        self._mailbox = Mailbox()
        self._something = asyncio.Event()
        self._closed = False

    @property
    def missed(self) -> int:
        return self._mailbox.missed

    def deliver(self, event: Event, line: bytes | None) -> None:
        self._mailbox.put(event)
        self._something.set()

    def close(self) -> None:
        """No more events: `wait` returns what is left and then nothing."""
        self._closed = True
        self._something.set()

    async def wait(self) -> list[Event]:
        """The events since the last call, at least one; an empty list once closed."""
        while not self._mailbox and not self._closed:
            self._something.clear()
            await self._something.wait()
        return self._mailbox.take()
