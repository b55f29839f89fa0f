"""A hub on a scripted link, with a clock that the test moves: no port, no waiting."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

from gaugelink.daemon import messages as m
from gaugelink.daemon.client import LocalClient
from gaugelink.daemon.hub import Hub, HubSettings, hosting
from gaugelink.daemon.keeper import keeping
from gaugelink.devices.description import LinkSettings
from gaugelink.devices.link import Chunk, Link, LinkError
from gaugelink.devices.supervisor import Retry
from gaugelink.store.store import Store

STILL = 12
"""Readings, 50 ms apart, that are more than enough to settle."""


class Clock:
    """A monotonic clock that stands until it is moved, and wakes whoever sleeps by it."""

    def __init__(self) -> None:
        self._now = 100.0
        self._asleep: list[tuple[float, asyncio.Future[None]]] = []

    def __call__(self) -> float:
        return self._now

    @property
    def now(self) -> float:
        return self._now

    @now.setter
    def now(self, now: float) -> None:
        self._now = now
        due = [sleeper for sleeper in self._asleep if sleeper[0] <= now]
        self._asleep = [sleeper for sleeper in self._asleep if sleeper[0] > now]
        for _, woken in due:
            if not woken.done():  # whoever slept may have been called off
                woken.set_result(None)

    async def sleep(self, seconds: float) -> None:
        woken = asyncio.get_running_loop().create_future()
        self._asleep.append((self._now + seconds, woken))
        await woken


class ScriptedLink:
    """A link that gives what the test feeds it."""

    def __init__(self, port: str, settings: LinkSettings) -> None:
        self._port = port
        self._queue: asyncio.Queue[Chunk | LinkError] = asyncio.Queue()
        self.written: list[bytes] = []
        self.opened = 0
        self.closed = 0
        self.refuse: str = ""

    @property
    def port(self) -> str:
        return self._port

    async def open(self) -> None:
        if self.refuse:
            raise LinkError(self.refuse)
        self.opened += 1
        self._queue = asyncio.Queue()

    async def read(self) -> Chunk:
        item = await self._queue.get()
        if isinstance(item, LinkError):
            raise item
        return item

    async def write(self, data: bytes) -> None:
        self.written.append(data)

    async def close(self) -> None:
        self.closed += 1

    def feed(self, data: bytes, at: float) -> None:
        self._queue.put_nowait(Chunk(data, at))

    def lose(self, why: str = "unplugged") -> None:
        self._queue.put_nowait(LinkError(why))


class Scene:
    """A hub, its one gauge on a scripted link, a client, and hands that place and press."""

    def __init__(self, hub: Hub, client: LocalClient, clock: Clock) -> None:
        self.hub = hub
        self.client = client
        self.clock = clock
        self.links: dict[str, ScriptedLink] = {}
        self.events: list[m.Event] = []

    @property
    def link(self) -> ScriptedLink:
        return self.links["scripted"]

    async def gauge(
        self, name: str = "g", port: str = "scripted", description: str = "bare-decimal-lf"
    ) -> None:
        await self.client.ask(m.AddGauge(name=name, port=port, description=description))
        await settle()

    async def walk(self, stage: str = "windows", reed: str = "R1", **more: Any) -> m.WalkEvent:
        if not any(each.name == reed for each in await self.client.ask(m.Rack(all=True))):
            await self.client.ask(m.AddReed(name=reed, style="millrace-long"))
        event = await self.client.ask(
            m.StartWalk(
                reed=reed,
                style=more.pop("style", "millrace-long"),
                stage=stage,
                gauge=more.pop("gauge", "g"),
                **more,
            )
        )
        assert isinstance(event, m.WalkEvent)
        return event

    async def say(self, hundredths: float, count: int = 1) -> None:
        """The indicator says a value, `count` times 50 ms apart."""
        for _ in range(count):
            self.clock.now += 0.05
            self.link.feed(b"%.3f\n" % (hundredths / 100), self.clock.now)
            await settle()

    async def place(self, hundredths: float) -> None:
        """The spindle is lifted for as long as a hand needs, set down and stands still."""
        await self.say(900, 6)
        await self.say(950, 6)
        await self.say(hundredths, STILL)

    async def press(self, gesture: Any = "capture", **more: Any) -> Any:
        """A press, long enough after the one before."""
        self.clock.now += 0.6
        if self.link.opened and gesture == "capture":
            # The stream goes on while the foot moves.
            await self.say(float(self.last_value), 1)
        answer = await self.client.ask(m.Press(gesture=gesture, **more))
        await settle()
        return answer

    @property
    def last_value(self) -> Any:
        readings = [each for each in self.events if isinstance(each, m.ReadingEvent)]
        return readings[-1].hundredths

    def of(self, kind: type[Any]) -> list[Any]:
        """The events of a kind so far."""
        return [each for each in self.events if isinstance(each, kind)]


async def settle(turns: int = 12) -> None:
    """Let every task that can go on go on."""
    for _ in range(turns):
        await asyncio.sleep(0)


async def until(true: Callable[[], bool], within: float = 10.0) -> None:
    """Wait for something that other threads or processes bring about."""
    async with asyncio.timeout(within):
        while not true():
            await asyncio.sleep(0.005)


@contextlib.asynccontextmanager
async def scene(
    path: Path, styles: Path | None = None, descriptions: Path | None = None
) -> AsyncIterator[Scene]:
    """A running hub over a store at `path`."""
    clock = Clock()
    links: dict[str, ScriptedLink] = {}

    def open_link(port: str, settings: LinkSettings) -> Link:
        return links.setdefault(port, ScriptedLink(port, settings))

    retry = Retry(first=0.001, growth=1.0, most=0.001)
    settings = HubSettings(styles=styles, descriptions=descriptions, retry=retry)
    async with (
        keeping(lambda: Store.open(path)) as keeper,
        hosting(keeper, settings, clock, open_link, clock.sleep) as hub,
    ):
        client = LocalClient(hub)
        made = Scene(hub, client, clock)
        made.links = links
        await client.ask(m.Follow())

        async def collect() -> None:
            async for event in client.events():
                made.events.append(event)

        collecting = asyncio.create_task(collect())
        try:
            yield made
        finally:
            await client.close()
            await collecting
