"""`gaugelink find`: what could be connected, and what is."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

import click
import msgspec

from gaugelink.cli import common

if TYPE_CHECKING:
    from gaugelink.daemon.messages import GaugeEvent
    from gaugelink.devices.discovery import PortInfo
    from gaugelink.folders import Folders

EVERY = 1.0
"""Seconds between two looks with --follow: soon enough for somebody who has just plugged it in."""


class Found(msgspec.Struct, frozen=True, tag_field="is", tag="port"):
    """A port that an indicator may be at."""

    port: str
    title: str
    usb: str
    serial_number: str
    gauge: str
    """The hub's gauge at it, empty when it has none there."""
    description: str
    """What that gauge is described by."""
    holders: list[str]


class Gone(msgspec.Struct, frozen=True, tag_field="is", tag="gone"):
    """A port that was there and is not any more."""

    port: str


@click.command("find")
@click.option("--follow", is_flag=True, help="Go on looking: say what is plugged in and pulled.")
@common.json_option
@click.pass_context
def command(ctx: click.Context, follow: bool, as_json: bool) -> None:
    """Show the serial ports, what the system knows of each, and who uses it.

    \b
    Example: gaugelink find --follow
    """
    common.run(_find(common.folders_of(ctx), follow, as_json))


async def _find(folders: Folders, follow: bool, as_json: bool) -> None:
    before: dict[str, Found] = {}
    while True:
        now = {each.port: each for each in await _look(folders)}
        for port, found in now.items():
            if before.get(port) != found:
                common.say(common.json_line(found) if as_json else _plain(found))
        for port in before.keys() - now.keys():
            common.say(common.json_line(Gone(port)) if as_json else f"{port}  gone")
        if not now and not before and not as_json:
            common.say("no serial port is there: plug the indicator in", err=True)
        if not follow:
            return
        before = now
        await asyncio.sleep(EVERY)


async def _look(folders: Folders) -> list[Found]:
    from gaugelink.devices.discovery import PortInfo, holders, serial_ports

    gauges = {gauge.port: gauge for gauge in await _gauges(folders)}
    ports = await asyncio.to_thread(serial_ports)
    # A port that the system does not list, such as a pseudo-terminal, may be in use all the same.
    listed = {each.port for each in ports}
    ports += [PortInfo(port) for port in gauges if port not in listed]
    held = await asyncio.to_thread(holders, [each.port for each in ports])
    return [_found(each, gauges.get(each.port), held.get(each.port, [])) for each in ports]


def _found(port: PortInfo, gauge: GaugeEvent | None, held: list[str]) -> Found:
    return Found(
        port.port,
        port.title,
        port.usb,
        port.serial_number,
        gauge.name if gauge else "",
        gauge.description if gauge else "",
        held,
    )


async def _gauges(folders: Folders) -> list[GaugeEvent]:
    """The running hub's gauges; none when no hub runs."""
    from gaugelink.daemon.address import address_in
    from gaugelink.daemon.client import connect
    from gaugelink.daemon.messages import Gauges

    client = await connect(address_in(folders.runtime))
    if client is None:
        return []
    try:
        found: list[GaugeEvent] = await client.ask(Gauges())
        return found
    finally:
        await client.close()


def _plain(found: Found) -> str:
    what = " ".join(filter(None, (found.title, found.usb, found.serial_number)))
    if found.gauge:
        use = f"gauge {found.gauge!r}, {found.description or 'not recognised yet'}"
    elif found.holders:
        use = f"held by {', '.join(found.holders)}"
    else:
        use = "free"
    return f"{found.port:<16} {use:<44} {what}".rstrip()
