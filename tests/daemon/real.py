"""A hub over real ports, and what its clients hear."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

from gaugelink.daemon import messages as m
from gaugelink.daemon.client import LocalClient
from gaugelink.daemon.hub import HubSettings, hosting
from gaugelink.daemon.keeper import keeping
from gaugelink.devices import links
from gaugelink.devices.description import LinkSettings
from gaugelink.devices.links import OpenLink
from gaugelink.devices.supervisor import Retry
from gaugelink.store.store import Store
from simulators.serial_pty import PseudoTerminal
from tests.daemon.scripted import until


@contextlib.asynccontextmanager
async def real_hub(
    store: Path,
    open_link: OpenLink = links.open_link,
    remembered: bool = False,
    descriptions: Path | None = None,
) -> AsyncIterator[LocalClient]:
    """A hub over real ports, and a client of it."""
    settings = HubSettings(descriptions=descriptions, retry=Retry(0.05, 1.0, 0.05))
    async with (
        keeping(lambda: Store.open(store)) as keeper,
        hosting(keeper, settings, open_link=open_link) as hub,
    ):
        if remembered:
            await hub.connect_remembered()
        client = LocalClient(hub)
        try:
            yield client
        finally:
            await client.close()


async def link_of(client: LocalClient, name: str, state: str = "up") -> m.GaugeEvent:
    """The gauge once its link is in that state."""
    async with asyncio.timeout(10):
        while True:
            for gauge in await client.ask(m.Gauges()):
                if (gauge.name, gauge.link) == (name, state):
                    # What goes with it is told by tasks of its own.
                    await asyncio.sleep(0.05)
                    assert isinstance(gauge, m.GaugeEvent)
                    return gauge
            await asyncio.sleep(0.01)


async def following(client: LocalClient, raw: bool = False) -> list[m.Event]:
    """What the client hears from now on, as it comes."""
    await client.ask(m.Follow(raw=raw))
    heard: list[m.Event] = []

    async def collect() -> None:
        async for event in client.events():
            heard.append(event)

    _collecting.add(task := asyncio.create_task(collect()))
    task.add_done_callback(_collecting.discard)
    return heard


_collecting: set[asyncio.Task[None]] = set()


async def first(events: list[m.Event], kind: type[Any]) -> Any:
    """The first event of a kind, waited for."""
    await until(lambda: any(isinstance(each, kind) for each in events), within=50)
    return next(each for each in events if isinstance(each, kind))


class PtyIndicator:
    """A pseudo-terminal that can be given any name."""

    def __init__(self) -> None:
        self._port = PseudoTerminal(
            LinkSettings(), opened=lambda master: None, closing=lambda master: None
        )
        self._link: Path | None = None

    def plug(self, name: Path) -> None:
        name.unlink(missing_ok=True)
        name.symlink_to(self._port.plug())
        self._link = name

    def unplug(self) -> None:
        self._port.unplug()
        if self._link is not None:
            self._link.unlink(missing_ok=True)
