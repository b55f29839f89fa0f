"""The hub's gauges by name: connected, remembered, renamed, taught, and let go of."""

from __future__ import annotations

import asyncio
import itertools
import logging
from collections.abc import Callable, Iterator
from pathlib import Path

from gaugelink.capture.settling import Settled
from gaugelink.daemon import messages as m
from gaugelink.daemon.gauges import Ears, Gauge
from gaugelink.daemon.keeper import Keeper
from gaugelink.daemon.lessons import Lessons
from gaugelink.devices import catalog, links
from gaugelink.devices.description import Description
from gaugelink.devices.link import Chunk, LinkError
from gaugelink.devices.supervisor import Retry
from gaugelink.reading import GaugelinkError, Reading

log = logging.getLogger(__name__)

BEING_TAUGHT = "its format is being worked out"
"""Why a gauge gives no readings for the time being."""


class Registry:
    """Every gauge of a hub. One change at a time: whoever calls holds the hub's lock."""

    def __init__(
        self,
        keeper: Keeper,
        descriptions: Path | None,
        retry: Retry,
        tasks: asyncio.TaskGroup,
        clock: Callable[[], float],
        open_link: links.OpenLink,
        on_reading: Callable[[Gauge, Reading, Settled], None],
        on_bytes: Callable[[Gauge, Chunk], None],
        tell: Callable[[m.Event], None],
    ) -> None:
        self._keeper = keeper
        self._descriptions = descriptions
        self._retry = retry
        self._tasks = tasks
        self._clock = clock
        self._open_link = open_link
        self._ears = Ears(on_reading, on_bytes, tell, self._identified)
        self._tell = tell
        self._gauges: dict[str, Gauge] = {}
        self._lessons = Lessons(tasks, open_link, tell)

    def __iter__(self) -> Iterator[Gauge]:
        return iter(self._gauges.values())

    def __getitem__(self, name: str) -> Gauge:
        """The gauge of that name; GaugelinkError lists those there are."""
        if name not in self._gauges:
            known = ", ".join(self._gauges) or "none: give its --port"
            raise GaugelinkError(f"no gauge is called {name!r}; connected: {known}")
        return self._gauges[name]

    async def add(self, name: str, port: str, description: str) -> m.GaugeEvent:
        """Supervise an indicator from now on, and remember it; without a name it is given one."""
        for other in self._gauges.values():
            if other.port == port:
                if name in ("", other.name):
                    other.trust_the_port()
                    return other.event
                raise GaugelinkError(f"{port} is already the port of gauge {other.name!r}")
        found = await self._describe(port, description) if description else None
        there = self._gauges.get(name)
        if there is not None:
            if there.linked:
                raise GaugelinkError(
                    f"gauge {name!r} is in use at {there.port}: give this one another name"
                )
            # It was there once; whoever names another port for it knows where it is now.
            await self.remove(name)
        name = name or self._free_name()
        await self._keeper.run(self._keeper.store.remember_gauge, name, port, description)
        gauge = self._supervise(name, port, description, found)
        self._tell(gauge.event)
        return gauge.event

    def _free_name(self) -> str:
        names = ("gauge" if number == 1 else f"gauge-{number}" for number in itertools.count(1))
        return next(name for name in names if name not in self._gauges)

    def _supervise(
        self,
        name: str,
        port: str,
        description: str,
        found: Description | None = None,
        identity: str = "",
    ) -> Gauge:
        gauge = Gauge(name, port, description, self._clock, self._ears)
        gauge.identity = identity
        self._gauges[name] = gauge
        self._listen(gauge, description, found)
        return gauge

    def _listen(self, gauge: Gauge, description: str, found: Description | None = None) -> None:
        gauge.task = self._tasks.create_task(
            gauge.run(
                found,
                lambda: self._describe(gauge.port, description, gauge.overhearing(self._open_link)),
                self._open_link,
                self._retry,
            )
        )

    def _identified(self, gauge: Gauge) -> None:
        """The system told what device a gauge is, or that it is at another port by now."""
        self._tasks.create_task(self._place(gauge.name, gauge.port, gauge.identity))

    async def _place(self, name: str, port: str, identity: str) -> None:
        try:
            await self._keeper.run(self._keeper.store.place_gauge, name, port, identity)
        except GaugelinkError as error:
            # It is read all the same; on another day its port has to be named again.
            log.warning("where gauge %r is was not kept: %s", name, error)

    async def _describe(
        self, port: str, name: str, open_link: links.OpenLink | None = None
    ) -> Description:
        """The description of that name, or the one that fits what the port sends."""
        own = self._descriptions
        if name:
            named = await asyncio.to_thread(catalog.find, name, own)
            return links.as_carried(port, named)
        known, broken = await asyncio.to_thread(catalog.usable, own)
        try:
            return await links.describe(port, list(known.values()), open_link or self._open_link)
        except LinkError as error:
            # The one that would fit may be the one that cannot be used.
            raise LinkError("; ".join(map(str, (error, *broken)))) from error

    async def connect_remembered(self) -> None:
        """Supervise the gauges of earlier days again, but for those there already.

        One whose description can no longer be used is down, and says why, until it can.
        """
        known = await self._keeper.run(self._keeper.store.gauges)
        # Of two that were at one port on different days, the one used last is there now.
        for record in sorted(known, key=lambda each: each.last_used, reverse=True):
            ports = {gauge.port for gauge in self._gauges.values()}
            if record.name not in self._gauges and record.port not in ports:
                self._supervise(
                    record.name, record.port, record.description, identity=record.identity
                )

    async def remove(self, name: str) -> None:
        """Let go of a gauge, and do not connect it again by itself."""
        gauge = self[name]
        del self._gauges[name]
        await self._lessons.end(gauge)
        await gauge.stop()
        await self._keeper.run(self._keeper.store.forget_gauge, name)
        self._tell(m.GaugeGone(name))

    async def rename(self, name: str, to: str) -> m.GaugeEvent:
        """Call a gauge by another name; what it measured keeps the name that it had then."""
        gauge, wanted = self[name], to.strip()
        if not wanted:
            raise GaugelinkError("a gauge needs a name: give it one")
        if wanted == name:
            return gauge.event
        if wanted in self._gauges:
            raise GaugelinkError(f"there is a gauge called {wanted!r} already: choose another name")
        await self._keeper.run(self._keeper.store.rename_gauge, name, wanted)
        # In its place, so that a list of gauges does not jump.
        self._gauges = {wanted if key == name else key: each for key, each in self._gauges.items()}
        gauge.rename(wanted)
        self._tell(m.GaugeGone(name, renamed=wanted))
        self._tell(gauge.event)
        return gauge.event

    async def teach(self, name: str, seconds: float) -> m.GaugeEvent:
        """Begin to work out what a gauge sends; it gives no readings until that has ended."""
        gauge = self[name]
        if not self._lessons.going_on(gauge):
            await gauge.stop()
            gauge.link("opening", BEING_TAUGHT, 0.0)
            self._lessons.begin(
                gauge,
                seconds,
                self._descriptions,
                lambda: self._listen(gauge, gauge.described_by),
            )
        return gauge.event

    async def stop_teaching(self, name: str) -> None:
        """Leave off working out; the gauge goes on as before."""
        await self._lessons.end(self[name])

    async def learn(self, request: m.Learn) -> m.GaugeEvent:
        """Keep a description among the user's own, and read the gauge by it."""
        gauge = self[request.gauge]
        found = await self._lessons.keep(self._descriptions, request.name, request.toml)
        await self._lessons.end(gauge)
        await gauge.stop()
        await self._keeper.run(
            self._keeper.store.remember_gauge, gauge.name, gauge.port, found.name
        )
        gauge.described_by = found.name
        self._listen(gauge, found.name, links.as_carried(gauge.port, found))
        return gauge.event

    def close(self) -> None:
        """Let go of every gauge; they are remembered."""
        self._lessons.close()
        for gauge in self._gauges.values():
            if gauge.task is not None:
                gauge.task.cancel()
