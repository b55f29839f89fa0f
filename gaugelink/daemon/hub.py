"""The hub: gauges on one side, followers on the other, walks and the store between.

Everything here runs on one event loop; the store and the links have threads of their own.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import logging
import time
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import msgspec

from gaugelink import __version__
from gaugelink.capture import walk
from gaugelink.capture.settling import Settled
from gaugelink.capture.walk import WalkState
from gaugelink.craft import style as styles
from gaugelink.daemon import answers
from gaugelink.daemon import messages as m
from gaugelink.daemon.benches import Bench
from gaugelink.daemon.followers import Follower, QueueFollower
from gaugelink.daemon.gauges import Gauge, reading_event
from gaugelink.daemon.keeper import Keeper
from gaugelink.devices import catalog, links
from gaugelink.devices.description import Description
from gaugelink.devices.link import LinkError
from gaugelink.devices.supervisor import Retry
from gaugelink.reading import GaugelinkError, Reading
from gaugelink.store.errors import UnknownReed

log = logging.getLogger(__name__)


class HubSettings(msgspec.Struct, frozen=True):
    """What a hub needs to know besides its store."""

    styles: Path | None = None
    """The user's own styles."""
    descriptions: Path | None = None
    """The user's own device descriptions."""
    retry: Retry = Retry()


class Hub:
    """Everybody's way to the gauges and the store. Made by `hosting`."""

    def __init__(
        self,
        keeper: Keeper,
        settings: HubSettings,
        tasks: asyncio.TaskGroup,
        clock: Callable[[], float] = time.monotonic,
        open_link: links.OpenLink = links.open_link,
    ) -> None:
        self._keeper = keeper
        self._settings = settings
        self._tasks = tasks
        self._clock = clock
        self._open_link = open_link
        self._started = clock()
        self._followers: list[Follower] = []
        self._missed_by_gone = 0
        self._gauges: dict[str, Gauge] = {}
        self._benches: dict[str, Bench] = {}
        self._began: dict[str, Follower] = {}
        """Who began the walk at each bench, as long as they are there."""
        self._changing = asyncio.Lock()
        """Gauges and walks come and go one at a time: two may ask for the same one at once."""

    # Followers

    def attach(self, follower: Follower) -> None:
        """From now on the follower is offered every event."""
        self._followers.append(follower)

    def detach(self, follower: Follower) -> None:
        """The follower is gone."""
        if follower in self._followers:
            self._followers.remove(follower)
            self._missed_by_gone += follower.missed
        for name in [name for name, began in self._began.items() if began is follower]:
            del self._began[name]
            bench = self._benches[name]
            if bench.state.trigger == "dwell":
                # Nobody looks any more at what would be captured by itself.
                self._tasks.create_task(self._abandon(name, bench))

    async def _abandon(self, name: str, bench: Bench) -> None:
        async with self._changing:
            if self._benches.get(name) is not bench:
                return
            try:
                await self._stop_walk(name)
            except GaugelinkError as error:
                log.warning("the walk at %r was left unsaved: %s", name, error)

    def tell(self, event: m.Event) -> None:
        """Give an event to all who asked for it; it is encoded once, however many there are."""
        line: bytes | None = None
        for follower in self._followers:
            if follower.interest.covers(event):
                if line is None and follower.needs_line:
                    line = m.encoder.encode(event) + b"\n"
                follower.deliver(event, line)

    # What comes from the gauges

    def _on_reading(self, gauge: Gauge, reading: Reading, live: Settled) -> None:
        self.tell(reading_event(reading, live))
        for bench in self._benches.values():
            if bench.gauge is gauge and bench.wants_capture(reading, live):
                self._tasks.create_task(self._capture_by_itself(bench, reading, live))

    async def _capture_by_itself(self, bench: Bench, reading: Reading, live: Settled) -> None:
        try:
            await bench.capture_by_itself(reading, live)
        except Exception as error:
            # Nobody waits for an answer, so everybody is told.
            log.exception("a capture at %r failed", bench.name)
            self.tell(m.Refused(bench.name, "not saved", f"it failed: {error!r}; report it"))

    # Requests

    async def handle(self, request: m.Request, follower: Follower) -> Any:
        """Carry out a request of a follower; GaugelinkError says why it was not done."""
        try:
            return await self._carry_out(request, follower)
        except GaugelinkError:
            raise
        except Exception as error:
            # The others' hub goes on, whatever one follower has come upon.
            log.exception("a request failed: %r", request)
            raise GaugelinkError(f"the hub failed at it: {error!r}; report it") from error

    async def _carry_out(self, request: m.Request, follower: Follower) -> Any:
        match request:
            case m.Follow():
                follower.interest.ask(request.readings, request.gauges)
                return None
            case m.Press():
                return await self._bench(request.bench).press(request.gesture, request.station)
            case m.Walk():
                bench = self._benches.get(request.bench)
                return None if bench is None else bench.event()
            case m.StartWalk():
                async with self._changing:
                    return await self._start_walk(request, follower)
            case m.StopWalk():
                async with self._changing:
                    return await self._stop_walk(request.bench)
            case m.AddGauge():
                return await self.add_gauge(request.name, request.port, request.description)
            case m.RemoveGauge():
                async with self._changing:
                    return await self._remove_gauge(request.name)
            case m.Gauges():
                return [gauge.event for gauge in self._gauges.values()]
            case m.Diagnose():
                return await self._diagnose()
            case m.Styles():
                return answers.styles(styles.usable(self._settings.styles)[0])
            case m.Open():
                raise GaugelinkError("open: only the first line on TCP opens a connection")
            case _:
                return await answers.from_store(self._keeper, request, self._check_style)

    def _check_style(self, name: str) -> None:
        styles.find(name, self._settings.styles)

    def _bench(self, name: str) -> Bench:
        if name not in self._benches:
            raise GaugelinkError(f"no walk is going on at {name!r}: start one first")
        return self._benches[name]

    def _gauge(self, name: str) -> Gauge:
        if name not in self._gauges:
            known = ", ".join(self._gauges) or "none: give its --port"
            raise GaugelinkError(f"no gauge is called {name!r}; connected: {known}")
        return self._gauges[name]

    async def add_gauge(self, name: str, port: str, description: str = "") -> m.GaugeEvent:
        """Supervise an indicator from now on, and remember it; without a name it is given one."""
        async with self._changing:
            for other in self._gauges.values():
                if other.port == port:
                    if name in ("", other.name):
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
                await self._remove_gauge(name)
            name = name or self._free_name()
            await self._keeper.run(self._keeper.store.remember_gauge, name, port, description)
            gauge = self._supervise(name, port, description, found)
            self.tell(gauge.event)
            return gauge.event

    def _free_name(self) -> str:
        names = ("gauge" if number == 1 else f"gauge-{number}" for number in itertools.count(1))
        return next(name for name in names if name not in self._gauges)

    def _supervise(
        self, name: str, port: str, description: str, found: Description | None = None
    ) -> Gauge:
        gauge = Gauge(name, port, description, self._clock, self._on_reading, self.tell)
        self._gauges[name] = gauge
        gauge.task = self._tasks.create_task(
            gauge.run(
                found,
                lambda: self._describe(port, description),
                self._open_link,
                self._settings.retry,
            )
        )
        return gauge

    async def _describe(self, port: str, name: str) -> Description:
        """The description of that name, or the one that fits what the port sends."""
        own = self._settings.descriptions
        if name:
            named = await asyncio.to_thread(catalog.find, name, own)
            return links.as_carried(port, named)
        known, broken = await asyncio.to_thread(catalog.usable, own)
        try:
            return await links.describe(port, list(known.values()), self._open_link)
        except LinkError as error:
            # The one that would fit may be the one that cannot be used.
            raise LinkError("; ".join(map(str, (error, *broken)))) from error

    async def connect_remembered(self) -> None:
        """Supervise the gauges of earlier days again, but for those there already.

        One whose description can no longer be used is down, and says why, until it can.
        """
        known = await self._keeper.run(self._keeper.store.gauges)
        # Of two that were at one port on different days, the one used last is there now.
        async with self._changing:
            for record in sorted(known, key=lambda each: each.last_used, reverse=True):
                ports = {gauge.port for gauge in self._gauges.values()}
                if record.name not in self._gauges and record.port not in ports:
                    self._supervise(record.name, record.port, record.description)

    async def _remove_gauge(self, name: str) -> None:
        gauge = self._gauge(name)
        for bench in self._benches.values():
            if bench.gauge is gauge:
                raise GaugelinkError(f"gauge {name!r} is in use at {bench.name!r}: stop that walk")
        del self._gauges[name]
        assert gauge.task is not None
        gauge.task.cancel()
        await asyncio.wait([gauge.task])
        await self._keeper.run(self._keeper.store.forget_gauge, name)

    async def _start_walk(self, request: m.StartWalk, follower: Follower) -> m.WalkEvent:
        gauge = self._gauge(request.gauge)
        there = self._benches.get(request.bench)
        if there is not None and self._began.get(request.bench, follower) is not follower:
            return self._join(there, request)
        for bench in self._benches.values():
            if bench is not there and _same_walk(bench.state, request):
                raise GaugelinkError(f"{request.reed} is being walked at {bench.name!r}")
        style = styles.find(request.style, self._settings.styles)
        stage = style.stage(request.stage)
        await self._stop_walk(request.bench)
        await self._take_in_hand(request.reed, style.name, stage.day)
        number, state = await self._begin_or_resume(request, style)
        gauge.settle_by(style.settling)
        bench = Bench(
            request.bench, number, state, style, gauge, self._keeper, self._clock, self.tell
        )
        self._benches[request.bench] = bench
        self._began[request.bench] = follower
        event = bench.event()
        self.tell(event)
        return event

    async def _take_in_hand(self, name: str, style: str, day: int) -> None:
        """Put a new reed on the rack, and move one on to the day of its stage."""
        store, run = self._keeper.store, self._keeper.run
        try:
            reed = await run(store.reed, name)
        except UnknownReed:
            # Whoever has a reed in hand and names it wants it measured, not filed first.
            reed = await run(store.add_reed, name, style)
        if (state := _state_on(day, reed.state)) != reed.state:
            await run(store.update_reed, name, state=state)

    async def _begin_or_resume(
        self, request: m.StartWalk, style: styles.Style
    ) -> tuple[int, WalkState]:
        """The walk's number in the store, and where it stands."""
        store, run = self._keeper.store, self._keeper.run
        fresh = walk.begin(style, request.stage, request.reed, request.trigger)
        left = None
        if not request.anew:
            left = await run(store.unfinished_walk, request.reed, style.name, request.stage)
        if left is not None:
            kept = walk.resumed(_kept(left.state))
            # An edited style has other stations or targets: its walk begins anew.
            if kept.stops == fresh.stops:
                await run(
                    store.resume_walk, left.walk, gauge=request.gauge, trigger=request.trigger
                )
                return left.walk, msgspec.structs.replace(
                    kept, trigger=request.trigger, walking=style.walking
                )
        number = await run(
            store.start_walk,
            bench=request.bench,
            reed=request.reed,
            style=style.name,
            stage=request.stage,
            gauge=request.gauge,
            trigger=request.trigger,
            state=msgspec.json.encode(fresh),
        )
        return number, fresh

    def _join(self, there: Bench, request: m.StartWalk) -> m.WalkEvent:
        """The walk at a bench where somebody else began it, for one who wants the very same."""
        same = _same_walk(there.state, request) and there.gauge.name == request.gauge
        if request.anew or not same:
            raise GaugelinkError(
                f"{there.state.reed} is being walked at bench {there.name!r} by somebody else: "
                "give this one a --bench of its own"
            )
        return there.event()

    async def _stop_walk(self, name: str) -> None:
        self._began.pop(name, None)
        bench = self._benches.pop(name, None)
        if bench is not None:
            await bench.leave()

    async def _diagnose(self) -> m.Diagnosis:
        store = self._keeper.store
        counts = await self._keeper.run(store.counts)
        return m.Diagnosis(
            version=__version__,
            protocol=m.PROTOCOL,
            up_for=round(self._clock() - self._started, 3),
            store=str(store.path),
            schema=store.schema,
            captures=counts.captures,
            followers=len(self._followers),
            missed=self._missed_by_gone + sum(each.missed for each in self._followers),
            gauges=[gauge.counts() for gauge in self._gauges.values()],
        )

    async def close(self) -> None:
        """Leave every walk as it stands, and let go of the gauges and the followers."""
        for name in list(self._benches):
            await self._stop_walk(name)
        for gauge in self._gauges.values():
            if gauge.task is not None:
                gauge.task.cancel()
        for follower in self._followers:
            if isinstance(follower, QueueFollower):
                follower.close()


def _same_walk(state: WalkState, request: m.StartWalk) -> bool:
    return (state.reed, state.style, state.stage) == (request.reed, request.style, request.stage)


def _state_on(day: int, state: str) -> str:
    """What a reed in that state is, once a stage of that day is begun on it."""
    if day == 1:
        return "first day" if state == "blank" else state
    return "second day" if state in ("blank", "first day", "resting") else state


def _kept(state: bytes) -> WalkState:
    try:
        return msgspec.json.decode(state, type=WalkState)
    except msgspec.DecodeError as error:
        raise GaugelinkError(
            f"the unfinished walk was kept by another version ({error}): begin it anew"
        ) from error


@contextlib.asynccontextmanager
async def hosting(
    keeper: Keeper,
    settings: HubSettings | None = None,
    clock: Callable[[], float] = time.monotonic,
    open_link: links.OpenLink = links.open_link,
) -> AsyncIterator[Hub]:
    """A running hub over an open store, until the block is left."""
    async with asyncio.TaskGroup() as tasks:
        hub = Hub(keeper, settings or HubSettings(), tasks, clock, open_link)
        try:
            yield hub
        finally:
            await hub.close()
