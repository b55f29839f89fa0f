"""The hub's gauges: each supervised in a task of its own, settled, counted and told of."""

from __future__ import annotations

import asyncio
import logging
from collections import deque
from collections.abc import Awaitable, Callable
from typing import NoReturn

from gaugelink.capture.settling import Settled, Settler
from gaugelink.craft.style import Settling
from gaugelink.daemon.messages import GaugeCounts, GaugeEvent, ReadingEvent
from gaugelink.devices.description import Description
from gaugelink.devices.links import OpenLink, when_charged
from gaugelink.devices.pipeline import Pipeline
from gaugelink.devices.supervisor import LinkState, Retry, Supervisor
from gaugelink.reading import GaugelinkError, Reading

log = logging.getLogger(__name__)

RATE_WINDOW = 200
"""Readings over which the rate is counted."""


class Gauge:
    """One connected indicator, from its link to what its newest reading amounts to."""

    def __init__(
        self,
        name: str,
        port: str,
        description: str,
        clock: Callable[[], float],
        on_reading: Callable[[Gauge, Reading, Settled], None],
        on_change: Callable[[GaugeEvent], None],
    ) -> None:
        self.name = name
        self.port = port
        self.live: Settled | None = None
        self._clock = clock
        self._on_reading = on_reading
        self._on_change = on_change
        self._settler = Settler(Settling())
        self._times: deque[float] = deque(maxlen=RATE_WINDOW)
        self._pipeline: Pipeline | None = None
        self._supervisor: Supervisor | None = None
        self._state = GaugeEvent(name, port, description, "", "opening")
        self._battery = ""
        self.task: asyncio.Task[None] | None = None

    @property
    def linked(self) -> bool:
        """Whether its link is up."""
        return self._state.link == "up"

    @property
    def event(self) -> GaugeEvent:
        """The gauge as its followers were last told of it."""
        return self._state

    def settle_by(self, rule: Settling) -> None:
        """Go by a style's rule for when a reading stands still."""
        self._settler.retune(rule)

    async def run(
        self,
        description: Description | None,
        describe: Callable[[], Awaitable[Description]],
        open_link: OpenLink,
        retry: Retry,
    ) -> None:
        """Find out the description if it is not given, then supervise; ends only by cancellation.

        Whatever fails is said as the reason why the link is down, and tried again: a gauge never
        takes the hub with it.
        """
        failures = 0
        while True:
            try:
                description = description or await describe()
                await self._supervise(description, open_link, retry)
            except GaugelinkError as error:
                reason = str(error)
            except Exception as error:
                log.exception("gauge %r failed", self.name)
                reason = f"it failed: {_root(error)!r}; report it"
            failures += 1
            wait = retry.after(failures)
            self.link("down", reason, wait)
            await asyncio.sleep(wait)
            self.link("opening", "", 0.0)

    async def _supervise(
        self, description: Description, open_link: OpenLink, retry: Retry
    ) -> NoReturn:
        self._state = GaugeEvent(
            self.name, self.port, description.name, description.title, self._state.link
        )
        self._pipeline = Pipeline(description, self.name)
        link = open_link(self.port, description.link)
        when_charged(link, self._charged)
        self._supervisor = Supervisor(link, self._pipeline, self, retry, self._clock)
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self._supervisor.run())
            tasks.create_task(asyncio.to_thread(self._pipeline.warm))
        raise AssertionError("a supervisor ends only by cancellation")

    def heard(self, readings: list[Reading]) -> None:
        """Readings came, in order."""
        for reading in readings:
            self._times.append(reading.at)
            self.live = self._settler.feed(reading)
            if (status := reading.status or self._battery) != self._state.status:
                self._tell(status=status)
            self._on_reading(self, reading, self.live)

    def _charged(self, percent: int) -> None:
        """Its battery's charge; the indicator's own word goes before it."""
        self._battery = f"battery {percent} %"
        self._tell(status=self._battery)

    def link(self, state: LinkState, reason: str, retry_in: float) -> None:
        """The link's state changed."""
        if state != "up":
            # Nothing that stood before the loss may be captured after it.
            self._settler.interrupt()
            self.live = None
        self._tell(link=state, reason=reason, retry_in=retry_in)

    def _tell(
        self,
        link: LinkState | None = None,
        reason: str = "",
        retry_in: float = 0.0,
        status: str | None = None,
    ) -> None:
        before = self._state
        self._state = GaugeEvent(
            self.name,
            self.port,
            before.description,
            before.title,
            link or before.link,
            reason,
            retry_in,
            before.status if status is None else status,
        )
        self._on_change(self._state)

    def counts(self) -> GaugeCounts:
        """How well it is heard."""
        pipeline = self._pipeline
        last = self._times[-1] if self._times else None
        spread = self._times[-1] - self._times[0] if len(self._times) > 1 else 0.0
        refused = pipeline.last_refused if pipeline else None
        return GaugeCounts(
            name=self.name,
            port=self.port,
            description=self._state.description,
            link=self._state.link,
            readings=pipeline.seq if pipeline else 0,
            per_second=round((len(self._times) - 1) / spread, 2) if spread else 0.0,
            last_heard=None if last is None else round(self._clock() - last, 3),
            refused=dict(pipeline.refused) if pipeline else {},
            last_refused=f"{refused.reason}: {refused.payload!r}" if refused else "",
            reopened=max(0, self._supervisor.opened - 1) if self._supervisor else 0,
        )


def _root(error: BaseException) -> BaseException:
    """The first error of a group, however deep it is nested."""
    while isinstance(error, BaseExceptionGroup):
        error = error.exceptions[0]
    return error


def reading_event(reading: Reading, settled: Settled) -> ReadingEvent:
    """A reading as followers get it."""
    return ReadingEvent(
        reading.gauge,
        reading.seq,
        reading.at,
        reading.hundredths,
        reading.resolution,
        reading.unit,
        reading.value,
        settled.standing,
        settled.value,
        round(settled.still, 3),
        reading.status,
        reading.pushed,
    )
