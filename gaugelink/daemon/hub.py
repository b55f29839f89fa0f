"""The hub: gauges on one side, followers on the other, walks and the store between.

Everything here runs on one event loop; the store and the links have threads of their own.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import time
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import msgspec

from gaugelink import __version__
from gaugelink.capture.settling import Settled
from gaugelink.capture.walk import WalkState
from gaugelink.craft import style as styles
from gaugelink.daemon import answers, batches, trust, workbook
from gaugelink.daemon import messages as m
from gaugelink.daemon.advisor import Advisor
from gaugelink.daemon.benches import Bench
from gaugelink.daemon.followers import Follower, QueueFollower
from gaugelink.daemon.gauges import Gauge, reading_event
from gaugelink.daemon.keeper import Keeper
from gaugelink.daemon.registry import Registry
from gaugelink.daemon.soaking import Basin, Sleep
from gaugelink.daemon.starting import begin_or_resume, take_in_hand
from gaugelink.daemon.sureness import sureness
from gaugelink.devices import links
from gaugelink.devices.link import Chunk
from gaugelink.devices.supervisor import Retry
from gaugelink.reading import GaugelinkError, Reading

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
        sleep: Sleep = asyncio.sleep,
    ) -> None:
        self._keeper = keeper
        self._settings = settings
        self._tasks = tasks
        self._clock = clock
        self._started = clock()
        self._followers: list[Follower] = []
        self._missed_by_gone = 0
        self._gauges = Registry(
            keeper,
            settings.descriptions,
            settings.retry,
            tasks,
            clock,
            open_link,
            self._on_reading,
            self._on_bytes,
            self.tell,
        )
        self._benches: dict[str, Bench] = {}
        self._basin = Basin(tasks, clock, sleep)
        self._advisor = Advisor(keeper, tasks, self._style, self.tell)
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

    def _on_bytes(self, gauge: Gauge, chunk: Chunk) -> None:
        # Written out only when somebody looks at them.
        if any(each.interest.raw for each in self._followers):
            self.tell(m.RawEvent(gauge.name, chunk.at, chunk.data.hex()))

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
                follower.interest.ask(request.readings, request.gauges, request.raw)
                return None
            case m.Press():
                return await self._bench(request.bench).press(request.gesture, request.station)
            case m.Soak():
                return self._bench(request.bench).soak(request.where)
            case m.WatchZone():
                return await self._bench(request.bench).watch(request.zone, request.blade)
            case m.StopWatching():
                return await self._bench(request.bench).stop_watching()
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
            case m.RemoveGauge() | m.RenameGauge() | m.Teach() | m.StopTeaching() | m.Learn():
                async with self._changing:
                    return await self._change_gauge(request)
            case m.Gauges():
                return [gauge.event for gauge in self._gauges]
            case m.Diagnose():
                return await self._diagnose()
            case m.Styles():
                return answers.styles(styles.usable(self._settings.styles)[0])
            case m.Open():
                raise GaugelinkError("open: only the first line on TCP opens a connection")
            case m.Advise() if request.bench:
                bench = self._bench(request.bench)
                return await self._advisor.advise(
                    bench.name, bench.gauge.name, bench.state, request.uncertainty
                )
            case _ if isinstance(request, m.CraftRequest):
                return await workbook.answer(self._keeper, request, self._style)
            case _ if isinstance(request, m.BatchRequest):
                own = self._settings.styles
                return await batches.answer(self._keeper, request, self._style, own)
            case _ if isinstance(request, m.TrustRequest):
                return await trust.answer(self._keeper, request)
            case _:
                return await answers.from_store(self._keeper, request, self._check_style)

    def _check_style(self, name: str) -> None:
        self._style(name)

    def _style(self, name: str) -> styles.Style:
        return styles.find(name, self._settings.styles)

    def _tell_of_bench(self, event: m.Event) -> None:
        self.tell(event)
        if isinstance(event, m.WalkEvent) and event.bench in self._benches:
            self._advisor.hear(event, self._benches[event.bench].state)

    def _bench(self, name: str) -> Bench:
        if name not in self._benches:
            raise GaugelinkError(f"no walk is going on at {name!r}: start one first")
        return self._benches[name]

    async def add_gauge(self, name: str, port: str, description: str = "") -> m.GaugeEvent:
        """Supervise an indicator from now on, and remember it; without a name it is given one."""
        async with self._changing:
            return await self._gauges.add(name, port, description)

    async def connect_remembered(self) -> None:
        """Supervise the gauges of earlier days again, but for those there already."""
        async with self._changing:
            await self._gauges.connect_remembered()

    async def _change_gauge(self, request: m.Request) -> m.GaugeEvent | None:
        match request:
            case m.RemoveGauge():
                for bench in self._benches.values():
                    if bench.gauge is self._gauges[request.name]:
                        raise GaugelinkError(
                            f"gauge {request.name!r} is in use at {bench.name!r}: stop that walk"
                        )
                await self._gauges.remove(request.name)
            case m.RenameGauge():
                event = await self._gauges.rename(request.name, request.to)
                self._renamed(request.name, event.name)
                return event
            case m.Teach():
                return await self._gauges.teach(request.gauge, request.seconds)
            case m.StopTeaching():
                await self._gauges.stop_teaching(request.gauge)
            case m.Learn():
                return await self._gauges.learn(request)
        return None

    def _renamed(self, name: str, to: str) -> None:
        for follower in self._followers:
            follower.interest.renamed(name, to)
        for bench in self._benches.values():
            if bench.gauge.name == to:
                self.tell(bench.event())

    async def _start_walk(self, request: m.StartWalk, follower: Follower) -> m.WalkEvent:
        gauge = self._gauges[request.gauge]
        there = self._benches.get(request.bench)
        if there is not None and self._began.get(request.bench, follower) is not follower:
            return self._join(there, request)
        for bench in self._benches.values():
            if bench is not there and _same_walk(bench.state, request):
                raise GaugelinkError(f"{request.reed} is being walked at {bench.name!r}")
        style = styles.find(request.style, self._settings.styles)
        stage = style.stage(request.stage)
        await self._stop_walk(request.bench)
        await take_in_hand(self._keeper, request.reed, style.name, stage.day)
        number, state = await begin_or_resume(self._keeper, request, style)
        gauge.settle_by(style.settling)
        bench = Bench(
            request.bench,
            number,
            state,
            style,
            gauge,
            self._keeper,
            self._clock,
            self._tell_of_bench,
            self._basin.at(request.bench, request.reed, style.soaking),
            await sureness(self._keeper, gauge.name, gauge.resolution),
        )
        self._benches[request.bench] = bench
        self._began[request.bench] = follower
        event = bench.event()
        self.tell(event)
        return event

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
            gauges=await trust.with_proofs(
                self._keeper, [gauge.counts() for gauge in self._gauges]
            ),
        )

    async def close(self) -> None:
        """Leave every walk as it stands, and let go of the gauges and the followers."""
        for name in list(self._benches):
            await self._stop_walk(name)
        self._gauges.close()
        for follower in self._followers:
            if isinstance(follower, QueueFollower):
                follower.close()


def _same_walk(state: WalkState, request: m.StartWalk) -> bool:
    return (state.reed, state.style, state.stage) == (request.reed, request.style, request.stage)


@contextlib.asynccontextmanager
async def hosting(
    keeper: Keeper,
    settings: HubSettings | None = None,
    clock: Callable[[], float] = time.monotonic,
    open_link: links.OpenLink = links.open_link,
    sleep: Sleep = asyncio.sleep,
) -> AsyncIterator[Hub]:
    """A running hub over an open store, until the block is left.

    `sleep` waits for seconds of `clock`.
    """
    async with asyncio.TaskGroup() as tasks:
        hub = Hub(keeper, settings or HubSettings(), tasks, clock, open_link, sleep)
        try:
            yield hub
        finally:
            await hub.close()
