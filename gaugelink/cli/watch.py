"""`gaugelink watch`: the readings of an indicator, as they come."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncGenerator
from typing import TYPE_CHECKING, Any

import click

from gaugelink.cli import common

if TYPE_CHECKING:
    from gaugelink.capture.settling import Settled
    from gaugelink.devices.supervisor import LinkState
    from gaugelink.folders import Folders
    from gaugelink.reading import Reading


@click.command("watch")
@click.option("--port", help="The indicator's port; without it, follow the running hub's gauges.")
@click.option("--description", default="", help="What it sends; recognised when not given.")
@click.option("--count", type=click.IntRange(1), help="End after this many readings.")
@common.json_option
@click.pass_context
def command(
    ctx: click.Context, port: str | None, description: str, count: int | None, as_json: bool
) -> None:
    """Print the readings of an indicator as they come.

    \b
    Example: gaugelink watch --port /dev/ttyUSB0 --count 10 --json
    """
    common.run(_watch(common.folders_of(ctx), port, description, count, as_json))


async def _watch(
    folders: Folders, port: str | None, description: str, count: int | None, as_json: bool
) -> None:
    left = count
    async with contextlib.aclosing(_lines(folders, port, description)) as lines:
        async for line in lines:
            common.say(common.json_line(line) if as_json else _plain(line))
            if left is not None:
                left -= 1
                if left == 0:
                    return


def _plain(line: dict[str, Any]) -> str:
    shown = line["settled_hundredths"] if line["settled"] else line["hundredths"]
    status = f"  {line['status']}" if line["status"] else ""
    return f"{shown:>9.2f}  {line['standing']:<8}  {line['value']} {line['unit']}{status}"


async def _lines(
    folders: Folders, port: str | None, description: str
) -> AsyncGenerator[dict[str, Any], None]:
    """One line a reading, from the running hub if it has the port, else from the port itself."""
    from gaugelink.daemon import messages as m
    from gaugelink.daemon.address import address_in
    from gaugelink.daemon.client import connect
    from gaugelink.reading import GaugelinkError

    client = await connect(address_in(folders.runtime))
    if client is not None:
        try:
            gauges = await client.ask(m.Gauges())
            names = [each.name for each in gauges if port in (None, each.port)]
            if names:
                await client.ask(m.Follow(gauges=names))
                async for event in client.events():
                    if isinstance(event, m.ReadingEvent):
                        yield _from_event(event)
                    elif isinstance(event, m.GaugeEvent) and event.name in names:
                        _say_link(event.link, event.reason)
                return
        finally:
            await client.close()
    if port is None:
        raise GaugelinkError("no hub with a gauge is running: give the indicator's --port")
    async with contextlib.aclosing(_from_port(folders, port, description)) as lines:
        async for line in lines:
            yield line


def _say_link(state: LinkState, reason: str) -> None:
    if state == "down":
        common.say(f"gaugelink: {reason}", err=True)


async def _from_port(
    folders: Folders, port: str, description: str
) -> AsyncGenerator[dict[str, Any], None]:
    from gaugelink.capture.settling import Settler
    from gaugelink.craft.style import Settling
    from gaugelink.devices import catalog
    from gaugelink.devices.pipeline import Pipeline
    from gaugelink.devices.recognise import recognise
    from gaugelink.devices.serial_link import SerialLink
    from gaugelink.devices.supervisor import Supervisor

    if description:
        found = catalog.find(description, folders.descriptions)
    else:
        known = list(catalog.catalog(folders.descriptions).values())
        found = await recognise(port, known, SerialLink)
        common.say(f"gaugelink: {port} speaks {found.name} ({found.title})", err=True)
    pipeline = Pipeline(found, port)
    sink = _Queue()
    supervisor = Supervisor(SerialLink(port, found.link), pipeline, sink)
    settler = Settler(Settling())
    running = asyncio.create_task(supervisor.run())
    try:
        while True:
            readings = await sink.next(ever_opened=lambda: supervisor.opened > 0)
            for reading in readings:
                yield _from_reading(reading, settler.feed(reading))
    finally:
        running.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await running


class _Queue:
    """A supervisor's sink that hands readings to one consumer, and says a lost link aloud."""

    def __init__(self) -> None:
        self._queue: asyncio.Queue[list[Reading] | str] = asyncio.Queue()

    def heard(self, readings: list[Reading]) -> None:
        self._queue.put_nowait(readings)

    def link(self, state: LinkState, reason: str, retry_in: float) -> None:
        if state == "down":
            self._queue.put_nowait(reason)

    async def next(self, ever_opened: Any) -> list[Reading]:
        """The next readings; LinkError when the port could not be opened even once."""
        from gaugelink.devices.link import LinkError

        while isinstance(item := await self._queue.get(), str):
            if not ever_opened():
                raise LinkError(item)
            _say_link("down", f"{item}; waiting for it")
        return item


def _from_reading(reading: Reading, settled: Settled) -> dict[str, Any]:
    from gaugelink.daemon.gauges import reading_event

    return _from_event(reading_event(reading, settled))


def _from_event(event: Any) -> dict[str, Any]:
    return {
        "is": "reading",
        "gauge": event.gauge,
        "seq": event.seq,
        "hundredths": event.hundredths,
        "resolution": event.resolution,
        "unit": event.unit,
        "value": event.value,
        "settled": event.standing == "settled",
        "settled_hundredths": event.settled,
        "standing": event.standing,
        "status": event.status,
        "at": event.at,
        "missed": event.missed,
    }
