"""`gaugelink watch`: the readings of an indicator, as they come."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncGenerator, Callable, Iterator
from typing import TYPE_CHECKING, Any, NamedTuple, NoReturn

import click

from gaugelink.cli import common

if TYPE_CHECKING:
    from gaugelink.capture.settling import Settled
    from gaugelink.daemon.client import Client
    from gaugelink.devices.description import Description
    from gaugelink.devices.link import Link
    from gaugelink.devices.supervisor import LinkState, Supervisor
    from gaugelink.folders import Folders
    from gaugelink.reading import Reading


@click.command("watch")
@click.option("--port", help="The indicator's port; without it, follow the running hub's gauges.")
@click.option("--description", default="", help="What it sends; recognised when not given.")
@click.option("--count", type=click.IntRange(1), help="End after this many readings.")
@click.option(
    "--record",
    metavar="FILE",
    type=click.Path(dir_okay=False),
    help="Keep the raw bytes with their times, for a bug report or to play again.",
)
@common.json_option
@click.pass_context
def command(
    ctx: click.Context,
    port: str | None,
    description: str,
    count: int | None,
    record: str | None,
    as_json: bool,
) -> None:
    """Print the readings of an indicator as they come.

    A recording is played by its name: --port replay:FILE, or replay:FILE@0 without waiting.

    \b
    Example: gaugelink watch --port /dev/ttyUSB0 --count 10 --json
             gaugelink watch --port /dev/ttyUSB0 --record odd.jsonl
    """
    if record and not port:
        raise click.UsageError("--record needs the --port to record")
    source = _Source(common.folders_of(ctx), port, description, record)
    common.run(_watch(source, count, as_json))


class _Source(NamedTuple):
    """Where the readings come from."""

    folders: Folders
    port: str | None
    description: str
    record: str | None


async def _watch(source: _Source, count: int | None, as_json: bool) -> None:
    left = count
    async with contextlib.aclosing(_lines(source)) as lines:
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


async def _lines(source: _Source) -> AsyncGenerator[dict[str, Any], None]:
    """One line a reading, from the running hub if it has the port, else from the port itself."""
    from gaugelink.reading import GaugelinkError

    port = source.port
    if not source.record:  # which needs the port for itself
        async with (
            common.running_hub(source.folders) as client,
            contextlib.aclosing(_from_hub(client, port)) as lines,
        ):
            async for line in lines:
                yield line
    if port is None:
        raise GaugelinkError("no hub with a gauge is running: give the indicator's --port")
    async with contextlib.aclosing(_from_port(source, port)) as lines:
        async for line in lines:
            yield line


async def _from_hub(
    client: Client | None, port: str | None
) -> AsyncGenerator[dict[str, Any], None]:
    """The readings of the hub's gauge at the port, or of all its gauges; none if it has none."""
    from gaugelink.daemon import messages as m
    from gaugelink.reading import GaugelinkError

    if client is None:
        return
    names = [each.name for each in await client.ask(m.Gauges()) if port in (None, each.port)]
    if not names:
        return
    await client.ask(m.Follow(gauges=names))
    async for event in client.events():
        if isinstance(event, m.ReadingEvent):
            yield _from_event(event)
        elif isinstance(event, m.GaugeEvent) and event.name in names:
            _say_link(event.link, event.reason)
        elif isinstance(event, m.GaugeGone) and event.name in names:
            names.remove(event.name)
            if event.renamed:
                names.append(event.renamed)
            elif not names:
                raise GaugelinkError(f"gauge {event.name!r} was let go of: connect it again")
    raise GaugelinkError("the hub ended; is `gaugelink serve` still running?")


def _say_link(state: LinkState, reason: str) -> None:
    if state == "down":
        common.say(f"gaugelink: {reason}", err=True)


async def _from_port(source: _Source, port: str) -> AsyncGenerator[dict[str, Any], None]:
    from gaugelink.capture.settling import Settler
    from gaugelink.craft.style import Settling
    from gaugelink.devices import catalog
    from gaugelink.devices.links import as_carried, describe, open_link
    from gaugelink.devices.pipeline import Pipeline
    from gaugelink.devices.replay_link import ReplayLink
    from gaugelink.devices.supervisor import Supervisor

    own = source.folders.descriptions
    if source.description:
        found = as_carried(port, catalog.find(source.description, own))
    else:
        found = await describe(port, list(catalog.usable(own)[0].values()))
        common.say(f"gaugelink: {port} speaks {found.name} ({found.title})", err=True)
    link = open_link(port, found.link)
    with _recorded(link, found, source.record) as heard:
        sink = _Queue()
        supervisor = Supervisor(heard, Pipeline(found, port), sink)
        settler = Settler(Settling())
        running = asyncio.create_task(_supervise(supervisor, sink))
        try:
            while readings := await sink.next(
                ever_opened=lambda: supervisor.opened > 0,
                ended=lambda: isinstance(link, ReplayLink) and link.ended,
            ):
                for reading in readings:
                    yield _from_reading(reading, settler.feed(reading))
        finally:
            running.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await running


async def _supervise(supervisor: Supervisor, sink: _Queue) -> NoReturn:
    """Go on for ever, also when what comes makes no sense: that is said, and may be looked at."""
    from gaugelink.devices.supervisor import Garbled

    while True:
        try:
            await supervisor.run()
        except Garbled as error:
            sink.link("down", str(error), 0.0)


@contextlib.contextmanager
def _recorded(link: Link, description: Description, record: str | None) -> Iterator[Link]:
    """The link, written down in a file of that name if there is one; never over another file."""
    if record is None:
        yield link
        return
    from gaugelink.devices.recording import FORMAT, Header, RecordingError, RecordingLink

    header = Header(FORMAT, link.port, description.name, description.link.short)
    try:
        file = open(record, "x", encoding="utf-8", newline="\n")  # noqa: SIM115
    except OSError as error:
        raise RecordingError(f"{record}: cannot be made ({error.strerror})") from error
    with file:
        yield RecordingLink(link, file, header)


class _Queue:
    """A supervisor's sink that hands readings to one consumer, and says a lost link aloud."""

    def __init__(self) -> None:
        self._queue: asyncio.Queue[list[Reading] | str] = asyncio.Queue()

    def heard(self, readings: list[Reading]) -> None:
        self._queue.put_nowait(readings)

    def link(self, state: LinkState, reason: str, retry_in: float) -> None:
        if state == "down":
            self._queue.put_nowait(reason)

    async def next(
        self, ever_opened: Callable[[], bool], ended: Callable[[], bool]
    ) -> list[Reading]:
        """The next readings, none once the source has `ended`.

        LinkError when the port could not be opened even once.
        """
        from gaugelink.devices.link import LinkError

        while isinstance(item := await self._queue.get(), str):
            if ended():
                return []
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
