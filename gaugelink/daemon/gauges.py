"""The hub's gauges: each supervised in a task of its own, settled, counted and told of."""

from __future__ import annotations

import asyncio
import logging
from collections import deque
from collections.abc import Awaitable, Callable
from decimal import Decimal
from functools import partial
from typing import NamedTuple, NoReturn

import msgspec

from gaugelink.capture.settling import Settled, Settler
from gaugelink.craft.style import Settling
from gaugelink.daemon.messages import GaugeCounts, GaugeEvent, ReadingEvent
from gaugelink.devices.bluetooth import is_bluetooth
from gaugelink.devices.description import Description
from gaugelink.devices.link import Chunk, Link, OverheardLink
from gaugelink.devices.links import OpenLink, when_charged, when_identified
from gaugelink.devices.pipeline import Pipeline
from gaugelink.devices.supervisor import Garbled, LinkState, Retry, Supervisor
from gaugelink.reading import GaugelinkError, Reading
from gaugelink.together import until_one_ends

log = logging.getLogger(__name__)

RATE_WINDOW = 200
"""Readings over which the rate is counted, at most."""

RATE_OVER = 5.0
"""Seconds over which the rate is counted, at most: it falls while nothing comes."""


class Ears(NamedTuple):
    """Who hears of a gauge."""

    reading: Callable[[Gauge, Reading, Settled], None]
    """A reading came, and that is what it amounts to."""
    came: Callable[[Gauge, Chunk], None]
    """Bytes came, whatever will be made of them."""
    changed: Callable[[GaugeEvent], None]
    """The gauge or its link changed."""
    identified: Callable[[Gauge], None]
    """Its identity or its port changed."""


class Gauge:
    """One connected indicator, from its link to what its newest reading amounts to."""

    def __init__(
        self,
        name: str,
        port: str,
        description: str,
        clock: Callable[[], float],
        ears: Ears,
    ) -> None:
        self.name = name
        self.port = port
        self.described_by = description
        """The description that it was connected with, empty when it is to be recognised."""
        self.identity = ""
        """What the system tells the device by, empty when by nothing but its port."""
        self.live: Settled | None = None
        self._clock = clock
        self._ears = ears
        self._settler = Settler(Settling())
        self._times: deque[float] = deque(maxlen=RATE_WINDOW)
        self._pipeline: Pipeline | None = None
        self._supervisor: Supervisor | None = None
        self._state = GaugeEvent(name, port, description, "", "opening")
        self._battery: int | None = None
        self._link: Link | None = None
        self.task: asyncio.Task[None] | None = None

    def overhearing(self, open_link: OpenLink) -> OpenLink:
        """Opens links as `open_link` does, and has this gauge's ears hear what comes over them.

        A Bluetooth link is asked for more than its bytes, and stays as it is.
        """
        if is_bluetooth(self.port):
            return open_link
        return lambda port, settings: OverheardLink(
            open_link(port, settings), partial(self._ears.came, self)
        )

    @property
    def linked(self) -> bool:
        """Whether its link is up."""
        return self._state.link == "up"

    @property
    def resolution(self) -> Decimal:
        """Its last digit in hundredths, by its newest reading; a hundredth before the first."""
        return self.live.resolution if self.live is not None else Decimal(1)

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
            except Garbled as error:
                reason = str(error)
                if not self.described_by:
                    # Another indicator may be there, or this one was set anew.
                    description = None
            except GaugelinkError as error:
                reason = str(error)
            except Exception as error:
                log.exception("gauge %r failed", self.name)
                reason = f"it failed: {error!r}; report it"
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
        self._link = link = open_link(self.port, description.link)
        when_charged(link, self._charged)
        when_identified(link, self.identity, self._identified)
        self._supervisor = Supervisor(
            link, self._pipeline, self, retry, self._clock, partial(self._ears.came, self)
        )
        await until_one_ends(self._supervisor.run(), _warm(self._pipeline))
        raise AssertionError("a supervisor ends only by cancellation")

    def heard(self, readings: list[Reading]) -> None:
        """Readings came, in order."""
        for reading in readings:
            self._times.append(reading.at)
            self.live = self._settler.feed(reading)
            if (status := reading.status or self._charge) != self._state.status:
                self._tell(status=status)
            self._ears.reading(self, reading, self.live)

    @property
    def _charge(self) -> str:
        return "" if self._battery is None else f"battery {self._battery} %"

    def _charged(self, percent: int) -> None:
        """Its battery's charge; the indicator's own word goes before it."""
        self._battery = percent
        self._tell(status=self._charge)

    def _identified(self, identity: str, port: str) -> None:
        """Its link was opened at that port, and the system tells the device by that."""
        if (identity, port) != (self.identity, self.port):
            moved, self.identity, self.port = port != self.port, identity, port
            self._ears.identified(self)
            if moved:
                self._tell()

    def trust_the_port(self) -> None:
        """Whoever names its port knows that it is there, whatever was there before."""
        if not self.linked:
            self.identity = ""
            if self._link is not None:
                when_identified(self._link, "", self._identified)

    def rename(self, name: str) -> None:
        """Go by another name from now on."""
        self.name = name
        if self._pipeline is not None:
            self._pipeline.gauge = name
        self._state = msgspec.structs.replace(self._state, name=name)

    async def stop(self) -> None:
        """Let go of its port."""
        if self.task is not None:
            self.task.cancel()
            await asyncio.wait([self.task])
            self._settler.interrupt()
            self.live = None

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
        self._ears.changed(self._state)

    def counts(self) -> GaugeCounts:
        """How well it is heard."""
        pipeline = self._pipeline
        now = self._clock()
        last = self._times[-1] if self._times else None
        recent = [at for at in self._times if now - at <= RATE_OVER]
        refused = pipeline.last_refused if pipeline else None
        return GaugeCounts(
            name=self.name,
            port=self.port,
            description=self._state.description,
            link=self._state.link,
            readings=pipeline.seq if pipeline else 0,
            per_second=round((len(recent) - 1) / (now - recent[0]), 2) if recent[1:] else 0.0,
            last_heard=None if last is None else round(now - last, 3),
            refused=dict(pipeline.refused) if pipeline else {},
            last_refused=f"{refused.reason}: {refused.payload!r}" if refused else "",
            reopened=max(0, self._supervisor.opened - 1) if self._supervisor else 0,
            battery=self._battery,
        )


async def _warm(pipeline: Pipeline) -> NoReturn:
    """Load what the pipeline's units need, beside its first readings; then wait for the end."""
    await asyncio.to_thread(pipeline.warm)
    await asyncio.Event().wait()
    raise AssertionError("nobody sets it")


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
        contact=settled.contact,
        unlifted=settled.unlifted,
    )
